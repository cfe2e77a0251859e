package scoring_test

import (
	"math"
	"testing"

	"ripetide/forecast/scoring"
)

// Worked by hand: the distances of the ten pairs are 2 3 5 10, 1 3 8, 2 7 and
// 5, together 46; 46/25 = 1.84 and 46/20 = 2.30.
func TestEnsembleCRPSByHand(t *testing.T) {
	t.Parallel()
	xs := []float64{163, 160, 170, 162, 165}
	for _, tt := range []struct{ y, want, fair float64 }{
		{164, 0.96, 0.50}, // Distances 4 2 1 1 6: mean 2.8.
		{158, 4.16, 3.70}, // Distances 2 4 5 7 12: mean 6.
	} {
		if got := scoring.EnsembleCRPS(xs, tt.y); !near(got, tt.want, 1e-12) {
			t.Errorf("y = %g: got %g, want %g", tt.y, got, tt.want)
		}
		if got := scoring.FairEnsembleCRPS(xs, tt.y); !near(got, tt.fair, 1e-12) {
			t.Errorf("y = %g, fair: got %g, want %g", tt.y, got, tt.fair)
		}
	}
	if xs[0] != 163 || xs[4] != 165 {
		t.Errorf("members put in another order: %v", xs)
	}
	if got := scoring.EnsembleCRPS([]float64{3}, 8); got != 5 {
		t.Errorf("one member: got %g, want its distance 5", got)
	}
	if got := scoring.FairEnsembleCRPS([]float64{0, 2}, 1); got != 0 {
		t.Errorf("two members about y: got %g, want 1 - 2/2 = 0", got)
	}
	if got := scoring.FairEnsembleCRPS([]float64{0, 4, 0, 4}, 2); !near(got, 2-16.0/12, 1e-12) {
		t.Errorf("four members: got %g, want 2 - 16/12", got)
	}
}

// Over all samples of m days from a distribution, the fair score is on average
// that of the distribution; the plain one is larger.
func TestFairEnsembleIsUnbiased(t *testing.T) {
	t.Parallel()
	ns := []int{1, 4, 0, 3, 2}
	xs := days(members(may(1), ns))
	y := float64(may(3))
	want := scoring.EnsembleCRPS(xs, y)
	fair, plain := 0.0, 0.0
	for _, a := range xs {
		for _, b := range xs {
			for _, c := range xs {
				fair += scoring.FairEnsembleCRPS([]float64{a, b, c}, y) / 1000
				plain += scoring.EnsembleCRPS([]float64{a, b, c}, y) / 1000
			}
		}
	}
	if !near(fair, want, 1e-12) {
		t.Errorf("fair on average %g, want %g", fair, want)
	}
	if !(plain > want+0.1) {
		t.Errorf("plain on average %g, not well above %g", plain, want)
	}
}

func TestEnsemblePanics(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for _, tt := range []struct {
		xs          []float64
		y           float64
		plain, fair bool
	}{
		{nil, 0, true, true},
		{[]float64{1}, 0, false, true},
		{[]float64{1, 2}, nan, true, true},
		{[]float64{1, 2}, inf, true, true},
		{[]float64{1, nan}, 0, true, true},
		{[]float64{-inf, 1}, 0, true, true},
		{[]float64{-1e100, 1e100}, 1e100, false, false},
	} {
		if got := panics(func() { scoring.EnsembleCRPS(tt.xs, tt.y) }); got != tt.plain {
			t.Errorf("%g, y = %g: panics %t, want %t", tt.xs, tt.y, got, tt.plain)
		}
		if got := panics(func() { scoring.FairEnsembleCRPS(tt.xs, tt.y) }); got != tt.fair {
			t.Errorf("%g, y = %g, fair: panics %t, want %t", tt.xs, tt.y, got, tt.fair)
		}
	}
	if got := scoring.EnsembleCRPS([]float64{-1e100, 1e100}, 1e100); !near(got, 0.5e100, 1e88) {
		t.Errorf("the largest: %g, want 5e99", got)
	}
}
