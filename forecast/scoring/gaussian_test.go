package scoring_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// sixDigits is the tolerance for a value printed with six decimals.
const sixDigits = 0.5e-6 + 1e-12

// The closed form of Gneiting et al. (2005), worked out apart from this code.
func TestGaussianCRPSTabulated(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ mean, sd, y, want float64 }{
		{0, 1, 0, 0.233695},
		{0, 1, 1, 0.602441},
		{0, 1, 2, 1.452792},
		{0, 1, -2, 1.452792},
		{160, 4, 165, 3.147937},
		{160, 4, 155, 3.147937},
	} {
		if got := scoring.GaussianCRPS(tt.mean, tt.sd, tt.y); !near(got, tt.want, sixDigits) {
			t.Errorf("N(%g, %g), y = %g: got %.7f, want %.6f", tt.mean, tt.sd, tt.y, got, tt.want)
		}
	}
}

// The defining integral, on either side of y.
func TestGaussianCRPSByQuadrature(t *testing.T) {
	t.Parallel()
	for _, sd := range []float64{0.5, 1, 4, 30} {
		for _, z := range []float64{-3, -1.2, -0.1, 0, 0.7, 2, 5} {
			n := distuv.Normal{Mu: 150, Sigma: sd}
			y := n.Mu + z*sd
			want := quad.Fixed(func(x float64) float64 { return n.CDF(x) * n.CDF(x) }, n.Mu-12*sd, y, 400, nil, 0) +
				quad.Fixed(func(x float64) float64 { return n.Survival(x) * n.Survival(x) }, y, n.Mu+12*sd, 400, nil, 0)
			if got := scoring.GaussianCRPS(n.Mu, sd, y); !near(got, want, 1e-11*sd) {
				t.Errorf("sd %g, z %g: got %.14g, by quadrature %.14g", sd, z, got, want)
			}
		}
	}
}

// Summing a smooth function by its midpoints misses, to second order, 1/24 of
// the change of its slope; at y the slope jumps by 2φ(z)/sd.
func TestWholeDaysScoreALittleLessThanTheGaussian(t *testing.T) {
	t.Parallel()
	for _, sd := range []float64{3, 6, 12} {
		f := normal(t, 20000.3, sd)
		for y := weather.Date(19980); y <= 20020; y++ {
			z := (float64(y) - 20000.3) / sd
			want := scoring.GaussianCRPS(20000.3, sd, float64(y)) - distuv.UnitNormal.Prob(z)/(12*sd)
			if got := scoring.CRPS(f, y); !near(got, want, 0.01/(sd*sd*sd)) {
				t.Errorf("sd %g, y = %d: got %.9g, want about %.9g", sd, y, got, want)
			}
		}
	}
}

func TestGaussianCRPSAtItsLimits(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name             string
		mean, sd, y, tol float64
		want             float64
	}{
		{"no spread is the absolute error", 3, 1e-320, 8, 1e-12, 5},
		{"no spread and no error", 3, 1e-320, 3, 1e-300, 0},
		{"far out is the error less half the spread", 0, 1, 1e8, 1e-7, 1e8 - 1/math.Sqrt(math.Pi)},
		{"the largest", -1e100, 1e100, 1e100, 1e96, 1.452792e100},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := scoring.GaussianCRPS(tt.mean, tt.sd, tt.y); !near(got, tt.want, tt.tol) {
				t.Errorf("got %g, want %g", got, tt.want)
			}
		})
	}
	nan, inf := math.NaN(), math.Inf(1)
	for _, x := range [][3]float64{{nan, 1, 0}, {0, nan, 0}, {0, 1, nan}, {inf, 1, 0}, {0, inf, 0}, {0, 1, -inf}, {0, 0, 1}, {0, -1, 1}, {2e100, 1, 1}} {
		if !panics(func() { scoring.GaussianCRPS(x[0], x[1], x[2]) }) {
			t.Errorf("%g: does not panic", x)
		}
	}
}
