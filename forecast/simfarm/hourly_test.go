package simfarm_test

import (
	"math"
	"testing"

	"ripetide/forecast/simfarm"
	"ripetide/weather"
)

// near reports whether got is within tol of want; NaN is near nothing.
func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

func TestDayLength(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name     string
		latitude float64
		yearDay  int
		want     float64 // Hours.
		tol      float64
	}{
		// The worked example of FAO-56 (equation 34; from memory) prints 11.7 h;
		// 11.666 is the same by hand.
		{"FAO-56: 20° S on 3 September", -20, 246, 11.7, 0.05},
		{"the same, recomputed", -20, 246, 11.666, 0.001},
		{"43° N in the middle of May", 43, 136, 14.51, 0.01}, // By hand.
		{"the equator at any time", 0, 20, 12, 1e-9},
		{"midnight sun", 80, 172, 24, 0},
		{"polar night", 80, 355, 0, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := simfarm.DayLength(tt.latitude, tt.yearDay); !near(got, tt.want, tt.tol) {
				t.Errorf("DayLength(%g, %d) = %.4f h, want %.3f", tt.latitude, tt.yearDay, got, tt.want)
			}
		})
	}
}

func TestTemperatureOfPartonAndLoganDay(t *testing.T) {
	t.Parallel()
	// A day between two like it, 8 to 24 °C, 15 hours of light: the values were
	// worked out from the published formula with a spreadsheet's precision,
	// apart from this code.
	day := weather.Day{Min: 8, Max: 24}
	for _, tt := range []struct{ hour, want float64 }{
		{0, 10.989}, {3, 9.435}, {6, 12.426}, {9, 19.295}, {12, 23.361},
		{15, 23.615}, {18, 19.994}, {20, 15.945}, {22, 12.873},
	} {
		if got := simfarm.TemperatureAt(tt.hour, 15, day, day, day); !near(got, tt.want, 0.0006) {
			t.Errorf("at %g h %.4f °C, want %.3f", tt.hour, got, tt.want)
		}
	}

	const step = 1.0 / 3600
	var sum, n float64
	lowest, highest := math.Inf(1), math.Inf(-1)
	for h := step / 2; h < 24; h += step {
		x := simfarm.TemperatureAt(h, 15, day, day, day)
		sum, n = sum+x, n+1
		lowest, highest = min(lowest, x), max(highest, x)
	}
	if !near(sum/n, 16.614, 0.01) {
		t.Errorf("mean of the day %.3f °C, want 16.614", sum/n)
	}
	if !near(lowest, day.Min, 0.001) || !near(highest, day.Max, 0.001) {
		t.Errorf("extremes %.3f and %.3f °C, want %g and %g", lowest, highest, day.Min, day.Max)
	}
}

func TestTemperatureLeansOnItsNeighbours(t *testing.T) {
	t.Parallel()
	cold, mild, warm := weather.Day{Min: 0, Max: 10}, weather.Day{Min: 8, Max: 24}, weather.Day{Min: 16, Max: 30}
	for _, tt := range []struct {
		name string
		hour float64
		of   string // The neighbour that counts at that hour.
	}{
		{"small hours", 2, "before"},
		{"noon", 12, "none"},
		{"late evening", 23, "after"},
	} {
		at := func(before, after weather.Day) float64 {
			return simfarm.TemperatureAt(tt.hour, 15, before, mild, after)
		}
		if got := at(warm, mild) > at(cold, mild); got != (tt.of == "before") {
			t.Errorf("%s: a warmer day before is felt: %t", tt.name, got)
		}
		if got := at(mild, warm) > at(mild, cold); got != (tt.of == "after") {
			t.Errorf("%s: a warmer day after is felt: %t", tt.name, got)
		}
	}
}
