package forecast_test

import (
	"math"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// Elsanta, the middle of the ranges of Krüger et al. (2012), J. Berry Research:
// 345 °C·d above 3 °C over 31.5 days. Above another base a constant mean
// temperature gives 345 - 31.5 (base - 3), worked by hand.
func TestPriorHoldsForItsBase(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ base, want float64 }{{3, 345}, {0, 439.5}, {5, 282}, {7, 219}, {10, 124.5}} {
		m := forecast.DefaultMethod
		m.Base = tt.base
		if need, _ := forecast.Prior(forecast.Variety{Ripens: forecast.Mid}, m); !near(need[0], tt.want, 1e-9) {
			t.Errorf("above %g °C: %v °C·d, want %v", tt.base, need[0], tt.want)
		}
	}
}

// A variety lasts a week to ten days (common practice): 150 °C·d with 30 %.
// The sd of last pick follows by propagation: √((12 % of 345)² + (30 % of
// 150)²)/495.
func TestPriorOfTheWindow(t *testing.T) {
	t.Parallel()
	need, sd := forecast.Prior(forecast.Variety{Ripens: forecast.Mid}, forecast.DefaultMethod)
	if want := [3]float64{345, 345 + 0.4*150, 345 + 150}; !near(need[0], want[0], 1e-9) || !near(need[1], want[1], 1e-9) || !near(need[2], want[2], 1e-9) {
		t.Errorf("requirement %v, want %v", need, want)
	}
	if want := math.Hypot(0.12*345, 0.3*150) / 495; !near(sd[0], 0.12, 1e-12) || !near(sd[2], want, 1e-12) {
		t.Errorf("sd %v, want 0.12 and %v", sd, want)
	}
}

func TestLaterClassesNeedMoreHeat(t *testing.T) {
	t.Parallel()
	last := 0.0
	for c := forecast.Early; c <= forecast.VeryLate; c++ {
		need, _ := forecast.Prior(forecast.Variety{Ripens: c}, forecast.DefaultMethod)
		if !(need[0] > last) {
			t.Errorf("%s needs %v °C·d, the class before it %v", c, need[0], last)
		}
		last = need[0]
	}
}

func TestOwnBeliefReplacesTheClass(t *testing.T) {
	t.Parallel()
	v := forecast.Variety{Ripens: forecast.Early, Requirement: &forecast.Requirement{
		FirstRipe: 300, Peak: 350, LastPick: 430, Method: forecast.DefaultMethod,
	}}
	need, sd := forecast.Prior(v, forecast.DefaultMethod)
	if !near(need[0], 300, 1e-9) || !near(need[1], 350, 1e-9) || !near(need[2], 430, 1e-9) {
		t.Errorf("requirement %v", need)
	}
	if !near(sd[0], 0.06, 1e-12) { // Half as wide as a class.
		t.Errorf("sd %v, want 0.06", sd[0])
	}
}

// A year of 10 °C·d each day, worked by hand.
func tens(t *testing.T, without ...weather.Date) weather.Series {
	t.Helper()
	var days []weather.Day
	for d := weather.DateOf(2020, time.January, 1); d <= weather.DateOf(2020, time.December, 31); d++ {
		days = append(days, flat(d, 13))
	}
	for _, d := range without {
		days = drop(days, d, d)
	}
	return series(t, days)
}

func see(stage forecast.Stage, d weather.Date) forecast.Sighting {
	return forecast.Sighting{Planting: "p", Stage: stage, Date: d, Seen: true}
}

func TestSightingsBecomeHeatSinceBloom(t *testing.T) {
	t.Parallel()
	may := weather.DateOf(2020, time.May, 1)
	e := forecast.Observe([]forecast.Sighting{
		see(forecast.Bloom10, may), see(forecast.FirstRipe, may+30), see(forecast.LastPick, may+40),
	}, tens(t), 2020, 60)
	if e.Bloom != (forecast.Bloom{Date: may, From: forecast.BloomSighted}) || e.BloomSD != 1 {
		t.Errorf("bloom %v, sd %v", e.Bloom, e.BloomSD)
	}
	// Thirty days after bloom, of which the last counts half: 295 °C·d.
	if !near(e.Log[0], math.Log(295), 1e-12) || e.Log[1] != 0 || !near(e.Log[2], math.Log(395), 1e-12) {
		t.Errorf("log heat %v", e.Log)
	}
	if !near(e.SD[0], 10/math.Sqrt(12)/295, 1e-12) {
		t.Errorf("sd %v", e.SD[0])
	}
	// A bloom date off by its sd of a day is 10 °C·d.
	if !near(e.Shift[0], 10.0/295, 1e-12) || !near(e.Shift[2], 10.0/395, 1e-12) {
		t.Errorf("shift by bloom %v", e.Shift)
	}
}

func TestBloomIsKnownBetterWhenTheDayBeforeWasNotYet(t *testing.T) {
	t.Parallel()
	may := weather.DateOf(2020, time.May, 1)
	not := func(d weather.Date) forecast.Sighting {
		return forecast.Sighting{Planting: "p", Stage: forecast.Bloom10, Date: d}
	}
	for _, tt := range []struct {
		looked weather.Date
		want   float64
	}{{may - 1, 0.5}, {may - 3, 1}} {
		e := forecast.Observe([]forecast.Sighting{not(tt.looked), see(forecast.Bloom10, may)}, tens(t), 2020, 60)
		if e.BloomSD != tt.want {
			t.Errorf("looked %d days before: sd %v, want %v", may-tt.looked, e.BloomSD, tt.want)
		}
	}
}

// At 10 °C·d a day, 60 °C·d before full bloom are six days.
func TestBloomIsReckonedBackFromFullBloom(t *testing.T) {
	t.Parallel()
	full := weather.DateOf(2020, time.May, 7)
	e := forecast.Observe([]forecast.Sighting{see(forecast.BloomFull, full)}, tens(t), 2020, 60)
	if e.Bloom != (forecast.Bloom{Date: full - 6, From: forecast.BloomFromFull}) || e.BloomSD != 2 {
		t.Errorf("bloom %v, sd %v", e.Bloom, e.BloomSD)
	}
}

// Five days between bloom and ripe are not on record: 2 °C·d of doubt for each.
func TestHolesMakeAnObservationUncertain(t *testing.T) {
	t.Parallel()
	may := weather.DateOf(2020, time.May, 1)
	s := tens(t, may+10, may+11, may+12, may+13, may+14)
	e := forecast.Observe([]forecast.Sighting{see(forecast.Bloom10, may), see(forecast.FirstRipe, may+30)}, s, 2020, 60)
	if want := math.Hypot(10/math.Sqrt(12), 2*5) / 295; !near(e.SD[0], want, 1e-12) {
		t.Errorf("sd %v, want %v", e.SD[0], want)
	}
}
