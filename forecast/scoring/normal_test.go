package scoring_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"ripetide/weather"
)

// A day has the mass of the normal from half a day before it to half a day
// after it.
func TestNormalDaysHaveTheMassAroundThem(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ mean, sd float64 }{
		{20000, 4}, {20000.3, 0.6}, {-150.75, 12.5}, {20000.5, 1}, {0, 200}, {20000.4, 0.05},
	} {
		d := normal(t, tt.mean, tt.sd)
		n := distuv.Normal{Mu: tt.mean, Sigma: tt.sd}
		mean, variance := 0.0, 0.0
		first, last := d.Support()
		for day := first; day <= last; day++ {
			x, m := float64(day), d.Mass(day, day)
			if want := n.CDF(x+0.5) - n.CDF(x-0.5); !near(m, want, 1e-14) {
				t.Errorf("N(%g, %g): mass %g on %g, want %g", tt.mean, tt.sd, m, x, want)
			}
			mean += m * (x - tt.mean)
			variance += m * (x - tt.mean) * (x - tt.mean)
		}
		if got := d.Mean() - tt.mean; !near(got, mean, 1e-9) {
			t.Errorf("N(%g, %g): mean off by %g, by its days %g", tt.mean, tt.sd, got, mean)
		}
		if tt.sd >= 0.6 && !near(mean, 0, 1e-3) {
			t.Errorf("N(%g, %g): mean off by %g", tt.mean, tt.sd, mean)
		}
		if want := tt.sd*tt.sd + 1.0/12; tt.sd >= 1 && !near(variance, want, 1e-6) {
			t.Errorf("N(%g, %g): variance %g, want %g", tt.mean, tt.sd, variance, want)
		}
		if got := d.CDF(last); got != 1 {
			t.Errorf("N(%g, %g): total mass %g", tt.mean, tt.sd, got)
		}
	}
}

func TestNormalQuantilesAreTheNearestDays(t *testing.T) {
	t.Parallel()
	for _, mean := range []float64{20000, 20000.2, 20000.49, 20000.51, 19999.9} {
		d := normal(t, mean, 4)
		for _, p := range []float64{0.05, 0.1, 0.3, 0.5, 0.8, 0.9, 0.99} {
			want := weather.Date(math.Round(distuv.Normal{Mu: mean, Sigma: 4}.Quantile(p)))
			if got := d.Quantile(p); got != want {
				t.Errorf("N(%g, 4): quantile %g is %d, want %d", mean, p, got, want)
			}
		}
	}
}

func TestNormalWithoutSpreadIsAPoint(t *testing.T) {
	t.Parallel()
	for mean, want := range map[float64]weather.Date{20000.4: 20000, 20000.6: 20001, 20001: 20001} {
		if first, last := normal(t, mean, 1e-300).Support(); first != want || last != want {
			t.Errorf("mean %g: from %d to %d, want %d alone", mean, first, last, want)
		}
	}
	d := normal(t, 20000.5, 1e-300) // Half way between two days.
	if got := d.CDF(20000); got != 0.5 {
		t.Errorf("half way: F = %g, want 0.5", got)
	}
}
