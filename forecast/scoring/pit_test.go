package scoring_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

func TestPITIsTheStepOfTheDay(t *testing.T) {
	t.Parallel()
	f := counts(t, may(1), 1, 0, 3) // F: 0.25 from 1 May, 1 from 3 May.
	for _, tt := range []struct {
		y      weather.Date
		lo, hi float64
	}{
		{may(0), 0, 0}, {may(1), 0, 0.25}, {may(2), 0.25, 0.25}, {may(3), 0.25, 1}, {may(4), 1, 1},
	} {
		lo, hi := scoring.PIT(f, tt.y)
		if lo != tt.lo || hi != tt.hi {
			t.Errorf("%v: %g to %g, want %g to %g", tt.y, lo, hi, tt.lo, tt.hi)
		}
		r := rand.New(rand.NewPCG(8, 8))
		mean := 0.0
		for range 4000 {
			u := scoring.RandomisedPIT(f, tt.y, r)
			if !(lo <= u && u <= hi) {
				t.Fatalf("%v: drew %g, not in %g to %g", tt.y, u, lo, hi)
			}
			mean += u / 4000
		}
		if !near(mean, (lo+hi)/2, 0.02*(hi-lo)+1e-12) { // Four standard deviations.
			t.Errorf("%v: draws from %g to %g have mean %g", tt.y, lo, hi, mean)
		}
	}
}

func TestPITHistogramByHand(t *testing.T) {
	t.Parallel()
	f := counts(t, may(1), 1, 0, 3)
	for _, tt := range []struct {
		name string
		y    weather.Date
		want []float64 // Of ten parts.
	}{
		{"before all", may(0), []float64{1, 0, 0, 0, 0, 0, 0, 0, 0, 0}},
		{"a step from 0 to 0.25", may(1), []float64{0.4, 0.4, 0.2, 0, 0, 0, 0, 0, 0, 0}},
		{"no step, at 0.25", may(2), []float64{0, 0, 1, 0, 0, 0, 0, 0, 0, 0}},
		{
			"a step from 0.25 to 1", may(3),
			[]float64{0, 0, 0.05 / 0.75, 0.1 / 0.75, 0.1 / 0.75, 0.1 / 0.75, 0.1 / 0.75, 0.1 / 0.75, 0.1 / 0.75, 0.1 / 0.75},
		},
		{"after all", may(4), []float64{0, 0, 0, 0, 0, 0, 0, 0, 0, 1}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			cases := []scoring.Case{{Forecast: f, Actual: tt.y}}
			got := scoring.PITHistogram(cases, 10)
			if !slices.EqualFunc(got, tt.want, func(a, b float64) bool { return near(a, b, 1e-12) }) {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
	// An edge that binary arithmetic misses from below: 1/49 · 49 < 1.
	ns := make([]int, 49)
	ns[0], ns[48] = 1, 48
	h := scoring.PITHistogram([]scoring.Case{{Forecast: counts(t, may(1), ns...), Actual: may(2)}}, 49)
	if h[1] != 1 {
		t.Errorf("no step, at 1/49: %v", h)
	}
	for _, bins := range []int{0, -1} {
		if !panics(func() { scoring.PITHistogram(nil, bins) }) || !panics(func() { scoring.RandomisedPITHistogram(nil, bins) }) {
			t.Errorf("%d bins: does not panic", bins)
		}
	}
}

// If each member comes true once, the histogram is flat to the last digit.
func TestPITOfTheMembersThemselvesIsFlat(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(9, 9))
	for range 100 {
		first, ns := randomCounts(r)
		f := counts(t, first, ns...)
		var cases []scoring.Case
		for _, x := range members(first, ns) {
			cases = append(cases, scoring.Case{Forecast: f, Actual: x})
		}
		for _, bins := range []int{1, 7, 10, 20} {
			h := scoring.PITHistogram(cases, bins)
			for i, got := range h {
				if want := float64(len(cases)) / float64(bins); !near(got, want, 1e-10) {
					t.Fatalf("%v, part %d of %d: %g, want %g", ns, i, bins, got, want)
				}
			}
			if bins > 1 {
				if chi2, p := scoring.Flatness(h); !near(chi2, 0, 1e-12) || !near(p, 1, 1e-6) {
					t.Fatalf("%v: flat histogram has chi-square %g, p %g", ns, chi2, p)
				}
			}
		}
	}
}

// The one is the mean of the other: over many copies of the same cases they
// come together.
func TestPITHistogramIsTheMeanOfDraws(t *testing.T) {
	t.Parallel()
	cases := drawn(t, 20, rand.New(rand.NewPCG(10, 10)))
	cases[3].Actual -= 100
	cases[4].Actual += 100
	const copies = 5000
	exact := scoring.PITHistogram(cases, 10)
	random := scoring.RandomisedPITHistogram(slices.Repeat(cases, copies), 10)
	sum := 0.0
	for i := range exact {
		sum += exact[i]
		if got := random[i] / copies; !near(got, exact[i], 0.1) { // Five standard deviations at most.
			t.Errorf("part %d: %g drawn, %g exact", i, got, exact[i])
		}
	}
	if !near(sum, 20, 1e-9) {
		t.Errorf("the parts add up to %g, want 20", sum)
	}
}

func TestPITOfHonestForecastsIsFlatAndOfOthersIsNot(t *testing.T) {
	t.Parallel()
	honest := drawn(t, 1000, rand.New(rand.NewPCG(11, 11)))
	late := slices.Clone(honest)
	for i := range late {
		late[i].Actual -= 3
	}
	for _, tt := range []struct {
		name  string
		cases []scoring.Case
		flat  bool
	}{{"honest", honest, true}, {"three days late", late, false}} {
		h := scoring.RandomisedPITHistogram(tt.cases, 10)
		if chi2, p := scoring.Flatness(h); (p > 0.01) != tt.flat {
			t.Errorf("%s: %v has chi-square %g, p %g", tt.name, h, chi2, p)
		}
		if again := scoring.RandomisedPITHistogram(tt.cases, 10); !slices.Equal(h, again) {
			t.Errorf("%s: %v, then %v", tt.name, h, again)
		}
		smooth := scoring.PITHistogram(tt.cases, 10)
		if chi2, p := scoring.Flatness(smooth); (p > 0.01) != tt.flat {
			t.Errorf("%s, exact: %v has chi-square %g, p %g", tt.name, smooth, chi2, p)
		}
	}
	if h := scoring.PITHistogram(late, 10); !(h[0] > 2*h[9]) {
		t.Errorf("outcomes earlier than forecast fill the left: %v", h)
	}
}
