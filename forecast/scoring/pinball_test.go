package scoring_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

func TestPinballByHand(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		tau  float64
		q, y weather.Date
		want float64
	}{
		{"ten days later than a low quantile", 0.1, may(1), may(11), 1},
		{"ten days earlier than a low quantile", 0.1, may(11), may(1), 9},
		{"ten days later than a high quantile", 0.9, may(1), may(11), 9},
		{"ten days earlier than a high quantile", 0.9, may(11), may(1), 1},
		{"half the error of a median, late", 0.5, may(9), may(4), 2.5},
		{"half the error of a median, early", 0.5, may(4), may(9), 2.5},
		{"on the day", 0.3, may(4), may(4), 0},
		{"over the whole calendar", 0.5, math.MinInt32, math.MaxInt32, math.MaxUint32 / 2.0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := scoring.Pinball(tt.tau, tt.q, tt.y); !near(got, tt.want, 1e-12) {
				t.Errorf("got %g, want %g", got, tt.want)
			}
		})
	}
	for _, tau := range []float64{0, 1, -0.5, 1.5, math.NaN()} {
		if !panics(func() { scoring.Pinball(tau, 0, 0) }) {
			t.Errorf("tau %g: does not panic", tau)
		}
	}
}

func TestMeanPinballByHand(t *testing.T) {
	t.Parallel()
	f := counts(t, may(1), 1, 1, 1, 1, 1, 1, 1, 1, 1, 1) // 10 % on 1 May, 50 % on 5 May, 90 % on 9 May.
	for _, tt := range []struct {
		y    weather.Date
		want float64
	}{
		{may(5), (0.1*4 + 0 + 0.1*4) / 3},
		{may(3), (0.1*2 + 0.5*2 + 0.1*6) / 3},
		{may(12), (0.1*11 + 0.5*7 + 0.9*3) / 3},
		{may(-1), (0.9*2 + 0.5*6 + 0.1*10) / 3},
	} {
		if got := scoring.MeanPinball(f, tt.y); !near(got, tt.want, 1e-12) {
			t.Errorf("y = %v: got %g, want %g", tt.y, got, tt.want)
		}
	}
}

// The quantile itself has the least expected loss among all dates; the CRPS is
// twice the loss averaged over all levels.
func TestPinballIsLeastAtTheQuantileAndAddsUpToTheCRPS(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 4))
	for range 50 {
		first, ns := randomCounts(r)
		f := counts(t, first, ns...)
		xs := members(first, ns)
		for _, tau := range []float64{0.1, 0.3, 0.5, 0.9} {
			loss := func(q weather.Date) float64 {
				return expected(f, func(y weather.Date) float64 { return scoring.Pinball(tau, q, y) })
			}
			best := loss(f.Quantile(tau))
			for q := first - 3; q < first+40; q++ {
				if !(loss(q) >= best-1e-12) {
					t.Fatalf("%v from %v: loss of %v at %g is below that of the quantile", ns, first, q, tau)
				}
			}
		}
		// Between k/n and (k+1)/n the quantile is the same member, and the loss
		// is linear: its value half way is the mean.
		y := first + weather.Date(r.IntN(40)-5)
		sum := 0.0
		for k := range xs {
			tau := (float64(k) + 0.5) / float64(len(xs))
			sum += 2 * scoring.Pinball(tau, f.Quantile(tau), y) / float64(len(xs))
		}
		if got := scoring.CRPS(f, y); !near(sum, got, 1e-10) {
			t.Fatalf("%v from %v, y = %v: all levels %g, CRPS %g", ns, first, y, sum, got)
		}
	}
}
