package forecast_test

import (
	"testing"

	"ripetide/forecast"
)

// Values on which the closed form and 20,000 steps of integration agreed:
// horizontal, intermediate, vertical. The same days as in TestSineTabulated.
func TestTriangleTabulated(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		lo, hi, base, upper float64
		want                [3]float64
	}{
		{12, 24, 5, 30, [3]float64{13, 13, 13}},
		{2, 18, 5, 30, [3]float64{5.2812, 5.2812, 5.2812}},
		{-3, 4, 5, 30, [3]float64{0, 0, 0}},
		{10, 33, 5, 30, [3]float64{16.3043, 16.1087, 13.0435}},
		{1, 34, 5, 30, [3]float64{12.5, 12.2576, 9.4697}},
		{31, 38, 5, 30, [3]float64{25, 20.5, 0}},
		{0, 10, 3, 25, [3]float64{2.45, 2.45, 2.45}},
		{8, 28, 3, 25, [3]float64{14.775, 14.55, 11.475}},
		{1, 29, 3, 25, [3]float64{11.7857, 11.5, 8.6429}},
	} {
		for i, c := range cutoffs[1:] {
			m := cut(forecast.SingleTriangle, c, tt.base, tt.upper)
			if got := m.DegreeDays(tt.lo, tt.hi, tt.lo); !near(got, tt.want[i], fourDigits) {
				t.Errorf("%v: day %g to %g: got %.5f, want %.4f", m, tt.lo, tt.hi, got, tt.want[i])
			}
		}
	}
	for _, tt := range []struct {
		m      forecast.Method
		lo, hi float64
		want   float64
	}{
		{none(forecast.SingleTriangle, 10), 6, 20, 3.5714}, // °C.
		{none(forecast.SingleTriangle, 3), 3, 15, 6},
		{none(forecast.SingleTriangle, 50), 40, 65, 4.5}, // °F from here.
		{none(forecast.SingleTriangle, 50), 35, 60, 2},
		{none(forecast.SingleTriangle, 50), 46, 67, 6.8810},
		{cut(forecast.SingleTriangle, forecast.Horizontal, 50, 86), 48, 90, 18.8571},
		{cut(forecast.SingleTriangle, forecast.Horizontal, 50, 88), 45, 95, 19.76},
	} {
		if got := tt.m.DegreeDays(tt.lo, tt.hi, tt.lo); !near(got, tt.want, fourDigits) {
			t.Errorf("%v: day %g to %g: got %.5f, want %.4f", tt.m, tt.lo, tt.hi, got, tt.want)
		}
	}
}

func TestTriangleByHand(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		m      forecast.Method
		lo, hi float64
		want   float64
	}{
		{"base a quarter up", none(forecast.SingleTriangle, 4), 0, 16, 4.5}, // 12²/(2·16)
		{"base at the mean", none(forecast.SingleTriangle, 8), 0, 16, 2},    // 8²/(2·16)
		{"base at the minimum", none(forecast.SingleTriangle, 0), 0, 16, 8}, // The mean.
		{"base at the maximum", none(forecast.SingleTriangle, 16), 0, 16, 0},
		{"flat day at the base", none(forecast.SingleTriangle, 7), 7, 7, 0},
		{"flat day at the cutoff, vertical", cut(forecast.SingleTriangle, forecast.Vertical, 2, 7), 7, 7, 5},
		{"flat day above the cutoff, vertical", cut(forecast.SingleTriangle, forecast.Vertical, 2, 7), 8, 8, 0},
		{"both thresholds inside, horizontal", cut(forecast.SingleTriangle, forecast.Horizontal, 4, 12), 0, 16, 4},       // 4.5-4²/32
		{"both thresholds inside, intermediate", cut(forecast.SingleTriangle, forecast.Intermediate, 4, 12), 0, 16, 3.5}, // 4.5-2·½
		{"both thresholds inside, vertical", cut(forecast.SingleTriangle, forecast.Vertical, 4, 12), 0, 16, 2},           // 4-8·¼
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := tt.m.DegreeDays(tt.lo, tt.hi, tt.lo); !near(got, tt.want, 1e-12) {
				t.Errorf("got %.14g, want %.14g", got, tt.want)
			}
		})
	}
}
