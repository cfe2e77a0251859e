package scoring_test

import (
	"math"
	"testing"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// The first four by hand from Gneiting and Raftery (2007): 2/0.2 = 10 a day.
func TestIntervalScoreByHand(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		level     float64
		lo, hi, y weather.Date
		want      float64
	}{
		{0.8, 160, 168, 164, 8},
		{0.8, 160, 168, 170, 28},
		{0.8, 160, 168, 157, 38},
		{0.8, 160, 168, 168, 8},
		{0.8, 160, 168, 160, 8},
		{0.5, 160, 160, 161, 4},
		{0.5, math.MinInt32, math.MaxInt32, 0, math.MaxUint32},
		{0.5, math.MinInt32, math.MinInt32, math.MaxInt32, 4 * math.MaxUint32},
	} {
		if got := scoring.IntervalScore(tt.level, tt.lo, tt.hi, tt.y); !near(got, tt.want, 1e-10) {
			t.Errorf("level %g, %d to %d, y = %d: got %g, want %g", tt.level, tt.lo, tt.hi, tt.y, got, tt.want)
		}
	}
}

func TestIntervalScoreIsThePinballOfItsEnds(t *testing.T) {
	t.Parallel()
	for _, level := range []float64{0.5, 0.8, 0.95} {
		tail := (1 - level) / 2
		for y := weather.Date(150); y < 180; y++ {
			ends := scoring.Pinball(tail, 160, y) + scoring.Pinball(1-tail, 168, y)
			if got := scoring.IntervalScore(level, 160, 168, y); !near(got, ends/tail, 1e-10) {
				t.Errorf("level %g, y = %d: got %g, by its ends %g", level, y, got, ends/tail)
			}
		}
	}
}

func TestIntervalScorePanics(t *testing.T) {
	t.Parallel()
	for _, level := range []float64{0, 1, -1, 2, math.NaN()} {
		if !panics(func() { scoring.IntervalScore(level, 0, 1, 0) }) {
			t.Errorf("level %g: does not panic", level)
		}
	}
	if !panics(func() { scoring.IntervalScore(0.8, 1, 0, 0) }) {
		t.Error("range the wrong way round: does not panic")
	}
}
