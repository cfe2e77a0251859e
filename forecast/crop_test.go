package forecast_test

import (
	"math"
	"testing"

	"ripetide/forecast"
)

// By definition of the stages: 5 % is ripe at first ripe, 95 % at last pick,
// and ripening is densest at the peak.
func TestCropCurvePutsTheStagesWhereTheyAre(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name              string
		first, peak, last float64
	}{
		{"peak two fifths of the way", 345, 405, 495},
		{"peak in the middle", 300, 400, 500},
		{"early peak", 345, 360, 495},
		{"late peak", 345, 480, 495},
		{"short window", 345, 355, 370},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := forecast.CropShares(tt.first, tt.peak, tt.last, []float64{tt.first, tt.last})
			if !near(got[0], 0.05, 1e-4) || !near(got[1], 0.95, 1e-4) {
				t.Errorf("shares at first ripe and last pick are %v, want 0.05 and 0.95", got)
			}
			const step = 0.5
			var hs []float64
			for h := tt.first - 100; h < tt.last+100; h += step {
				hs = append(hs, h)
			}
			shares := forecast.CropShares(tt.first, tt.peak, tt.last, hs)
			densest, most := 0.0, math.Inf(-1)
			for i := 1; i < len(hs); i++ {
				rise := shares[i] - shares[i-1]
				if !(rise >= -1e-12) {
					t.Fatalf("the share falls by %v at %v °C·d", rise, hs[i])
				}
				if rise > most {
					densest, most = hs[i]-step/2, rise
				}
			}
			// The table of the normal distribution is good to 1e-6: near the
			// mode, where the density is flat, that hides a few °C·d.
			if !near(densest, tt.peak, 0.03*(tt.last-tt.first)+step) {
				t.Errorf("ripening is densest at %v °C·d, want %v", densest, tt.peak)
			}
		})
	}
}
