package simfarm_test

import (
	"math"
	"testing"

	"ripetide/forecast/simfarm"
)

// The constants of the curves are invented for the simulation; these values
// follow from them by hand.
func TestFruitRate(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name    string
		t, want float64
	}{
		{"optimum", 27, 1},
		{"freezing", 0, 0},
		{"frost", -5, 0},
		{"too hot", 38, 0},
		{"far too hot", 45, 0},
		{"not a temperature", math.NaN(), 0},
		{"half of the way up", 13.5, math.Pow(24.5/11*math.Pow(0.5, 27.0/11), 0.9)},
		{"half of the way down", 32.5, math.Pow(0.5*math.Pow(32.5/27, 27.0/11), 0.9)},
	} {
		if got := simfarm.FruitRate(tt.t); !near(got, tt.want, 1e-12) {
			t.Errorf("%s: FruitRate(%g) = %.6f, want %.6f", tt.name, tt.t, got, tt.want)
		}
	}
	for x := 0.1; x < 38; x += 0.1 {
		rising := simfarm.FruitRate(x) > simfarm.FruitRate(x-0.1)
		if want := x < 27.05; rising != want {
			t.Fatalf("at %.1f °C the rate rises: %t", x, rising)
		}
	}
}

func TestSpringRate(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ t, want float64 }{
		{12, 0.5}, {-1000, 0}, {1000, 1}, {12 + 1/0.13, 1 / (1 + math.Exp(-1))},
	} {
		if got := simfarm.SpringRate(tt.t); !near(got, tt.want, 1e-12) {
			t.Errorf("SpringRate(%g) = %.6f, want %.6f", tt.t, got, tt.want)
		}
	}
}
