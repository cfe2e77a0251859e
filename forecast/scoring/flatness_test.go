package scoring_test

import (
	"math"
	"testing"

	"ripetide/forecast/scoring"
)

func TestFlatnessByHand(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		h       []float64
		chi2, p float64
	}{
		{[]float64{4, 4}, 0, 1},
		{[]float64{6, 2}, 2, math.Erfc(1)},                                          // One degree: P(|Z| >= √2).
		{[]float64{1, 2, 3}, 1, math.Exp(-0.5)},                                     // Two: exp(-χ²/2).
		{[]float64{5, 5, 5, 5, 30}, 50, math.Exp(-25) * (1 + 25)},                   // Four: exp(-χ²/2) (1+χ²/2).
		{[]float64{3, 0, 0}, 6, math.Exp(-3)},                                       //
		{[]float64{1e100, 0, 0}, 2e100, 0},                                          // The largest.
		{[]float64{math.SmallestNonzeroFloat64, math.SmallestNonzeroFloat64}, 0, 1}, // The smallest.
	} {
		chi2, p := scoring.Flatness(tt.h)
		if !near(chi2, tt.chi2, 1e-12*(1+tt.chi2)) || !near(p, tt.p, 1e-12) {
			t.Errorf("%v: chi-square %g, p %g; want %g, %g", tt.h, chi2, p, tt.chi2, tt.p)
		}
	}
	nan, inf := math.NaN(), math.Inf(1)
	for _, h := range [][]float64{nil, {1}, {0, 0}, {2, -1}, {nan, 1}, {inf, 1}, {math.SmallestNonzeroFloat64, 0, 0}} {
		if !panics(func() { scoring.Flatness(h) }) {
			t.Errorf("%v: does not panic", h)
		}
	}
}
