package weather_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"ripetide/weather"
)

// near reports whether got is within tol of want; NaN is near nothing.
func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

func TestNewDay(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for _, tt := range []struct {
		name     string
		min, max float64
		fault    string // "": a day.
	}{
		{"an ordinary day", 8.3, 21.7, ""},
		{"a flat day", 5, 5, ""},
		{"the coldest", -90, -90, ""},
		{"the warmest", 60, 60, ""},
		{"both zeros", math.Copysign(0, -1), 0, ""},
		{"below the coldest", math.Nextafter(-90, -91), 0, "min -90.00000000000001 °C is below -90 °C"},
		{"above the warmest", 0, math.Nextafter(60, 61), "max 60.00000000000001 °C is above 60 °C, is it °F?"},
		{"evidently °F", 55, 82, "max 82 °C is above 60 °C, is it °F?"},
		{"neither °C nor °F", 12, 278, "max 278 °C is above 60 °C"},
		{"min above max by a hair", 12.04, 12.03, "min 12.04 °C is above max 12.03 °C"},
		{"no min", nan, 3, "min is not a number"},
		{"no max", 3, nan, "max is not a number"},
		{"a stand-in for missing", -9999, 3, "min -9999 °C is below -90 °C"},
		{"infinite", -inf, inf, "min -Inf °C is below -90 °C"},
		{"infinite above", 3, inf, "max +Inf °C is above 60 °C"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			date := weather.DateOf(2025, 5, 1)
			got, err := weather.NewDay(date, tt.min, tt.max)
			if tt.fault == "" {
				if want := (weather.Day{Date: date, Min: tt.min, Max: tt.max}); got != want || err != nil {
					t.Errorf("got %v, %v", got, err)
				}
				return
			}
			if !errors.Is(err, weather.ErrInvalidDay) || !strings.HasSuffix(err.Error(), ": "+tt.fault) || got != (weather.Day{}) {
				t.Errorf("got %v, %v; want %q", got, err, tt.fault)
			}
		})
	}
}

func TestUnitCelsius(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ f, c float64 }{{32, 0}, {212, 100}, {-40, -40}, {50, 10}, {98.6, 37}, {140, 60}, {-130, -90}} {
		if got := weather.Fahrenheit.Celsius(tt.f); !near(got, tt.c, 1e-12) {
			t.Errorf("%g °F: got %g °C, want %g", tt.f, got, tt.c)
		}
		if got := weather.Celsius.Celsius(tt.c); got != tt.c {
			t.Errorf("%g °C: got %g", tt.c, got)
		}
	}
	if got := weather.Fahrenheit.Celsius(140); got > weather.Warmest { // The bound itself is let in.
		t.Errorf("140 °F: got %v", got)
	}
}
