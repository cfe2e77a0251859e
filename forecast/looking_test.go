package forecast_test

import (
	"math"
	"testing"

	"ripetide/forecast"
)

// What is not entered has probably not come. The oracle weighs members that
// know nothing of it by the probability that nothing would be entered of them
// (Bayes' rule); the members drawn must have the same means.
func TestMembersAgreeWithWhatIsNotEntered(t *testing.T) {
	t.Parallel()
	e := effects()
	mean, sd, err := e.Posterior()
	if err != nil {
		t.Fatal(err)
	}
	logs := make([][forecast.LookBack]float64, len(mean))
	for i := range logs {
		for k := range logs[i] {
			// Yesterday's heat is half an sd above the mean; each day before had less.
			logs[i][k] = mean[i] + sd[i]*(0.5-0.4*float64(k))
		}
	}
	for _, share := range []float64{0.5, 0.9, 0.99} {
		const n = 60000
		given, free, prob, err := forecast.Unentered(e, logs, share, n)
		if err != nil {
			t.Fatal(err)
		}
		want := make([]float64, len(mean))
		var weights, squares float64
		for _, x := range free {
			w := 1.0
			for i, v := range x {
				came := -1 // Days before this morning, less one.
				for k := range logs[i] {
					if v <= logs[i][k] {
						came = k
					}
				}
				if came >= 0 {
					w *= prob[came]
				}
			}
			weights += w
			squares += w * w
			for i, v := range x {
				want[i] += w * v
			}
		}
		effective := weights * weights / squares
		if effective < 300 {
			t.Fatalf("share %v: the oracle rests on %.0f members", share, effective)
		}
		for i := range want {
			got := 0.0
			for _, x := range given {
				got += x[i] / n
			}
			if w := want[i] / weights; !near(got, w, 4*sd[i]/math.Sqrt(effective)) {
				t.Errorf("share %v: mean of component %d is %v, weighing gives %v (free %v)", share, i, got, w, mean[i])
			}
		}
	}
}

// A farm that enters half of what it sees says little by its silence; one that
// enters everything says nearly all.
func TestSilenceWeighsByHabit(t *testing.T) {
	t.Parallel()
	e := effects()
	mean, sd, err := e.Posterior()
	if err != nil {
		t.Fatal(err)
	}
	logs := make([][forecast.LookBack]float64, len(mean))
	for i := range logs {
		for k := range logs[i] {
			logs[i][k] = mean[i] + sd[i]*(1-0.3*float64(k))
		}
	}
	before := -1.0
	for _, share := range []float64{0, 0.5, 0.9, 0.999} {
		given, _, prob, err := forecast.Unentered(e, logs, share, 4000)
		if err != nil {
			t.Fatal(err)
		}
		if !near(prob[0], 1-share+0.3*share, 1e-12) || !near(prob[1], 1-share+0.09*share, 1e-12) {
			t.Errorf("share %v: not entered after a day %v, two days %v", share, prob[0], prob[1])
		}
		later := 0.0
		for _, x := range given {
			if x[0] > logs[0][2] {
				later++
			}
		}
		later /= float64(len(given))
		if !(later > before) {
			t.Errorf("share %v: %v of members come after the day before the day before yesterday, no more than at a lower share (%v)", share, later, before)
		}
		before = later
	}
	if before < 0.98 {
		t.Errorf("of a farm that enters everything only %v of members lie after the day in question", before)
	}
}
