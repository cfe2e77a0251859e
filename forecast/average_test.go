package forecast_test

import (
	"testing"

	"ripetide/forecast"
)

// Worked values of published notes, °F and °F·d.
func TestAveragesPublished(t *testing.T) {
	t.Parallel()
	const avg, clip = forecast.Average, forecast.ClippedAverage
	for _, tt := range []struct {
		source     string
		m          forecast.Method
		minF, maxF float64
		want       float64
	}{
		{"Nugent, Michigan State University", none(avg, 50), 40, 65, 2.5},
		{"Nugent, Michigan State University: mean 47.5", none(avg, 50), 35, 60, 0},
		{"a citrus bulletin: mean 64", none(avg, 53), 52, 76, 11},
		{"Waushara Argus 2018, day 1", cut(clip, forecast.Horizontal, 50, 86), 65, 90, 25.5},
		{"Waushara Argus 2018, day 2", cut(clip, forecast.Horizontal, 50, 86), 46, 72, 11},
		{"Waushara Argus 2018, day 3", cut(clip, forecast.Horizontal, 50, 86), 42, 63, 6.5},
		{"Karhoff, Ohio State University Extension 2023", cut(clip, forecast.Horizontal, 50, 86), 63, 87, 24.5},
		{"Midwestern climate centre: mean 77", cut(clip, forecast.Horizontal, 50, 86), 68, 92, 27},
		{"Iowa State Agronomy 541", cut(clip, forecast.Horizontal, 50, 86), 50, 70, 10},
		{"Iowa State Agronomy 541: the ceiling", cut(clip, forecast.Horizontal, 50, 86), 86, 104, 36},
	} {
		if got := tt.m.DegreeDays(tt.minF, tt.maxF, tt.minF); !near(got, tt.want, 1e-12) {
			t.Errorf("%s: got %g, want %g", tt.source, got, tt.want)
		}
	}
	m, total := cut(clip, forecast.Horizontal, 50, 86), 0.0
	for _, day := range [][2]float64{{65, 90}, {46, 72}, {42, 63}} {
		total += m.DegreeDays(day[0], day[1], day[0])
	}
	if !near(total, 43, 1e-12) {
		t.Errorf("Waushara Argus 2018, three days: got %g, want 43", total)
	}
}

// Both readings side by side, tabulated with the sine and triangle values of
// the other tests; horizontal, or none where upper is 0.
func TestAveragesTabulated(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		lo, hi, base, upper float64
		average, clipped    float64
	}{
		{12, 24, 5, 30, 13, 13}, // °C from here.
		{2, 18, 5, 30, 5, 6.5},
		{-3, 4, 5, 30, 0, 0},
		{10, 33, 5, 30, 16.5, 15},
		{1, 34, 5, 30, 12.5, 12.5},
		{31, 38, 5, 30, 25, 25},
		{6, 20, 10, 0, 3, 5},
		{3, 15, 3, 0, 6, 6},
		{0, 10, 3, 25, 2, 3.5},
		{8, 28, 3, 25, 15, 13.5},
		{1, 29, 3, 25, 12, 11},
		{40, 65, 50, 0, 2.5, 7.5}, // °F from here.
		{35, 60, 50, 0, 0, 5},
		{46, 67, 50, 0, 6.5, 8.5},
		{48, 90, 50, 86, 19, 18},
		{45, 95, 50, 88, 20, 19},
	} {
		c := forecast.Horizontal
		if tt.upper == 0 {
			c = forecast.NoCutoff
		}
		if got := cut(forecast.Average, c, tt.base, tt.upper).DegreeDays(tt.lo, tt.hi, tt.lo); !near(got, tt.average, 1e-12) {
			t.Errorf("average of %g to %g: got %g, want %g", tt.lo, tt.hi, got, tt.average)
		}
		if got := cut(forecast.ClippedAverage, c, tt.base, tt.upper).DegreeDays(tt.lo, tt.hi, tt.lo); !near(got, tt.clipped, 1e-12) {
			t.Errorf("clipped average of %g to %g: got %g, want %g", tt.lo, tt.hi, got, tt.clipped)
		}
	}
}

func TestAveragesByHand(t *testing.T) {
	t.Parallel()
	const avg, clip = forecast.Average, forecast.ClippedAverage
	for _, tt := range []struct {
		name   string
		m      forecast.Method
		lo, hi float64
		want   float64
	}{
		{"mean above the cutoff, horizontal", cut(avg, forecast.Horizontal, 4, 20), 18, 28, 16},     // 20-4
		{"mean above the cutoff, intermediate", cut(avg, forecast.Intermediate, 4, 20), 18, 28, 13}, // 19-2·3
		{"mean above the cutoff, vertical", cut(avg, forecast.Vertical, 4, 20), 18, 28, 0},
		{"mean at the cutoff still counts, vertical", cut(avg, forecast.Vertical, 4, 20), 15, 25, 16},
		{"mean below the cutoff, vertical", cut(avg, forecast.Vertical, 4, 20), 10, 25, 13.5},
		{"far above the cutoff, intermediate", cut(avg, forecast.Intermediate, 4, 20), 40, 50, 0}, // 41-2·25 < 0
		{"mean at the base", none(avg, 9), 4, 14, 0},
		{"one extreme above the cutoff, horizontal", cut(clip, forecast.Horizontal, 4, 20), 10, 26, 11},      // ½(6+16)
		{"one extreme above the cutoff, intermediate", cut(clip, forecast.Intermediate, 4, 20), 10, 26, 8},   // ½(6+22-2·6)
		{"one extreme above the cutoff, vertical", cut(clip, forecast.Vertical, 4, 20), 10, 26, 3},           // ½(6+0)
		{"an extreme at the cutoff still counts, vertical", cut(clip, forecast.Vertical, 4, 20), 10, 20, 11}, // ½(6+16)
		{"both extremes above, vertical", cut(clip, forecast.Vertical, 4, 20), 21, 26, 0},
		{"both extremes above, horizontal", cut(clip, forecast.Horizontal, 4, 20), 21, 26, 16},
		{"only the maximum above the base", none(clip, 4), -10, 10, 3},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := tt.m.DegreeDays(tt.lo, tt.hi, tt.lo); !near(got, tt.want, 1e-12) {
				t.Errorf("got %g, want %g", got, tt.want)
			}
		})
	}
}
