package forecast_test

import (
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"

	"ripetide/forecast"
	"ripetide/weather"
)

// The oracle conditions in the space of the bloom dates on record, by the
// textbook formula for a partitioned Gaussian.
func TestSpringAgreesWithPartitionedGaussian(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	mean, cov, prior, joint, logs, err := forecast.SpringPosterior(in, weather.DateOf(2018, time.May, 12))
	if err != nil {
		t.Fatal(err)
	}
	n, d := len(logs), len(mean)
	if n < 50 || d < 5 {
		t.Fatalf("the demo has %d bloom dates on record and %d plantings to forecast", n, d)
	}
	soo, sto, stt := joint.SliceSym(0, n), mat.NewDense(d, n, nil), joint.SliceSym(n, n+d)
	for i := range d {
		for j := range n {
			sto.Set(i, j, joint.At(n+i, j))
		}
	}
	diff := mat.NewVecDense(n, nil)
	for i, y := range logs {
		diff.SetVec(i, y-prior[i])
	}
	var w, wt, shift, less mat.Dense
	if err := w.Solve(soo, diff); err != nil {
		t.Fatal(err)
	}
	if err := wt.Solve(soo, sto.T()); err != nil {
		t.Fatal(err)
	}
	shift.Mul(sto, &w)
	less.Mul(sto, &wt)
	for i := range d {
		if want := prior[n+i] + shift.At(i, 0); !near(mean[i], want, 1e-9) {
			t.Errorf("mean of planting %d is %v, want %v", i, mean[i], want)
		}
		for j := range d {
			if want := stt.At(i, j) - less.At(i, j); !near(cov.At(i, j), want, 1e-9) {
				t.Errorf("covariance of plantings %d and %d is %v, want %v", i, j, cov.At(i, j), want)
			}
		}
	}
}

// A bed that was looked at in vain, or of which nothing was entered although
// its time has come, blooms later.
func TestLooksForBloomInVainMoveIt(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	asOf := weather.DateOf(2018, time.May, 18)
	f := compute(t, in, asOf)
	var open string
	for _, p := range f.Plantings {
		if p.Bloom != nil && p.Bloom.From == forecast.BloomForecast {
			open = p.Planting
		}
		if p.Bloom != nil && p.Bloom.Date < asOf && p.Bloom.From == forecast.BloomForecast {
			t.Errorf("%s: bloom is forecast for %s, which is past and was not entered by people who enter theirs", p.Planting, p.Bloom.Date)
		}
	}
	if open == "" {
		t.Fatal("all of the demo has bloomed")
	}
	in.Sightings = append(in.Sightings, forecast.Sighting{Planting: open, Date: asOf, Stage: forecast.Bloom10})
	for _, p := range compute(t, in, asOf).Plantings {
		if p.Planting == open && !(*p.Bloom.P10 > asOf) {
			t.Errorf("bloom had not come on %s and is forecast from %s on", asOf, *p.Bloom.P10)
		}
	}
}

func TestSpringClockStartsAtTheEndOfWinter(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		southern bool
		want     weather.Date
	}{
		{false, weather.DateOf(2018, time.January, 31)},
		{true, weather.DateOf(2017, time.July, 31)},
	} {
		if got := forecast.WinterEnd(2018, tt.southern); got != tt.want {
			t.Errorf("southern %v: winter ends on %s, want %s", tt.southern, got, tt.want)
		}
	}
}
