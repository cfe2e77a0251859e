package forecast_test

import (
	"math"
	"testing"

	"ripetide/forecast"
)

// Values on which the closed form and 20,000 steps of integration agreed:
// horizontal, intermediate, vertical. No published worked value of the sine
// method could be found. The same days as in TestTriangleTabulated.
func TestSineTabulated(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		lo, hi, base, upper float64
		want                [3]float64
	}{
		{12, 24, 5, 30, [3]float64{13, 13, 13}}, // °C from here.
		{2, 18, 5, 30, [3]float64{5.5623, 5.5623, 5.5623}},
		{-3, 4, 5, 30, [3]float64{0, 0, 0}},
		{10, 33, 5, 30, [3]float64{16.0339, 15.5678, 10.1530}},
		{1, 34, 5, 30, [3]float64{12.5, 11.9015, 6.8404}},
		{31, 38, 5, 30, [3]float64{25, 20.5, 0}},
		{0, 10, 3, 25, [3]float64{2.7207, 2.7207, 2.7207}},
		{8, 28, 3, 25, [3]float64{14.4991, 13.9982, 8.9291}},
		{1, 29, 3, 25, [3]float64{11.5772, 10.9260, 6.1487}},
		{48, 90, 50, 86, [3]float64{18.6571, 18.1280, 11.4670}}, // °F from here.
		{45, 95, 50, 88, [3]float64{19.5501, 18.4222, 10.2727}},
	} {
		for i, c := range cutoffs[1:] {
			m := cut(forecast.SingleSine, c, tt.base, tt.upper)
			if got := m.DegreeDays(tt.lo, tt.hi, tt.lo); !near(got, tt.want[i], fourDigits) {
				t.Errorf("%v: day %g to %g: got %.5f, want %.4f", m, tt.lo, tt.hi, got, tt.want[i])
			}
		}
	}
	for _, tt := range []struct {
		lo, hi, base, want, tol float64
	}{
		{6, 20, 10, 3.9361, fourDigits}, // °C.
		{3, 15, 3, 6, fourDigits},
		{3, 17, 7, 3.936117, 0.5e-6},     // Integrated with SciPy and with R, which agreed.
		{40, 65, 50, 5.3087, fourDigits}, // °F from here.
		{35, 60, 50, 2.8087, fourDigits},
		{46, 67, 50, 7.2560, fourDigits},
	} {
		m := none(forecast.SingleSine, tt.base)
		if got := m.DegreeDays(tt.lo, tt.hi, tt.lo); !near(got, tt.want, tt.tol) {
			t.Errorf("%v: day %g to %g: got %.7f, want %.7f", m, tt.lo, tt.hi, got, tt.want)
		}
	}
	// The closed form in 30-digit arithmetic; SciPy's quadrature, with two kinks, gave 11.755396461.
	if got := cut(forecast.SingleSine, forecast.Horizontal, 7, 30).DegreeDays(3, 35, 3); !near(got, 11.75539648904146, 1e-13) {
		t.Errorf("day 3 to 35 between 7 and 30: got %.15f, want 11.75539648904146", got)
	}
}

func TestSineByHand(t *testing.T) {
	t.Parallel()
	root3 := math.Sqrt(3)
	for _, tt := range []struct {
		name   string
		m      forecast.Method
		lo, hi float64
		want   float64
	}{
		{"base at the mean", none(forecast.SingleSine, 11), 5, 17, 6 / math.Pi},                   // A/π
		{"base half an amplitude up", none(forecast.SingleSine, 14), 5, 17, 3*root3/math.Pi - 1},  // θ = π/6
		{"base half an amplitude down", none(forecast.SingleSine, 8), 5, 17, 3*root3/math.Pi + 2}, // θ = -π/6
		{"base at the minimum", none(forecast.SingleSine, 5), 5, 17, 6},
		{"base at the maximum", none(forecast.SingleSine, 17), 5, 17, 0},
		{"flat day at the base", none(forecast.SingleSine, 7), 7, 7, 0},
		{"flat day above the base", none(forecast.SingleSine, 7), 9, 9, 2},
		{"flat day at the cutoff, vertical", cut(forecast.SingleSine, forecast.Vertical, 2, 7), 7, 7, 5},
		{"flat day above the cutoff, vertical", cut(forecast.SingleSine, forecast.Vertical, 2, 7), 8, 8, 0},
		{"half an amplitude either way, horizontal", cut(forecast.SingleSine, forecast.Horizontal, 8, 14), 5, 17, 3},                       // By symmetry half of 8 to 14.
		{"half an amplitude either way, vertical", cut(forecast.SingleSine, forecast.Vertical, 8, 14), 5, 17, 1},                           // 3 - 6/3: above 14 for a third of the day.
		{"half an amplitude either way, intermediate", cut(forecast.SingleSine, forecast.Intermediate, 8, 14), 5, 17, 4 - 3*root3/math.Pi}, // (3√3/π+2) - 2(3√3/π-1)
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := tt.m.DegreeDays(tt.lo, tt.hi, tt.lo); !near(got, tt.want, 1e-12) {
				t.Errorf("got %.14g, want %.14g", got, tt.want)
			}
		})
	}
}

// The polynomial against the closed form it stands for, over the whole wave,
// and against the leading term of the series where that form has lost its
// digits.
func TestSineKeepsItsDigits(t *testing.T) {
	t.Parallel()
	excess := func(level float64) float64 { return none(forecast.SingleSine, level).DegreeDays(-1, 1, -1) }
	for i := range 100_001 {
		s := float64(i)/50_000 - 1
		want := (math.Sqrt(1-s*s) - s*(math.Pi/2-math.Asin(s))) / math.Pi
		if got := excess(s); !near(got, want, 1e-15) {
			t.Fatalf("level %g: got %.17g, want %.17g", s, got, want)
		}
	}
	for w := 1.0 / 1024; w > 1e-9; w /= 4 { // Exact in binary, and so is 1-w.
		// √(1-u²) - u arccos u = 2√2/3 w^(3/2) (1 + w/20 + 9w²/1120 + …), u = 1-w.
		want := 2 * math.Sqrt2 / (3 * math.Pi) * w * math.Sqrt(w) * (1 + w/20 + 9*w*w/1120)
		if got := excess(1 - w); !near(got/want, 1, 3e-12+w*w*w) {
			t.Errorf("%g below the top: got %.17g, want %.17g", w, got, want)
		}
	}
}

// A weather service's four cases, which stand in for the sine with straight
// lines: worked values of that formula, and how near the sine comes to them.
func TestSineIsNearTheFourCases(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ lo, hi, base, four float64 }{
		{2, 18, 5, 5.75}, {0, 9, 5, 1}, {6, 20, 10, 4}, // °C.
		{35, 60, 50, 2.5}, {40, 65, 50, 5}, // °F.
	} {
		got := none(forecast.SingleSine, tt.base).DegreeDays(tt.lo, tt.hi, tt.lo)
		if !near(got, tt.four, 0.03*(tt.hi-tt.lo)) {
			t.Errorf("day %g to %g above %g: got %g, four cases %g", tt.lo, tt.hi, tt.base, got, tt.four)
		}
	}
}
