package forecast_test

import (
	"errors"
	"testing"

	"ripetide/forecast"
	"ripetide/weather"
)

func TestCheckOrder(t *testing.T) {
	t.Parallel()
	const (
		bloom = forecast.Bloom10
		full  = forecast.BloomFull
		ripe  = forecast.FirstRipe
		peak  = forecast.Peak
		last  = forecast.LastPick
	)
	seen := func(stage forecast.Stage, day weather.Date) forecast.Sighting {
		return forecast.Sighting{Stage: stage, Date: day, Seen: true}
	}
	notYet := func(stage forecast.Stage, day weather.Date) forecast.Sighting {
		return forecast.Sighting{Stage: stage, Date: day}
	}
	for _, tt := range []struct {
		name string
		a, b forecast.Sighting
		fits bool
	}{
		{"stages in order", seen(bloom, 10), seen(ripe, 40), true},
		{"stages the wrong way round", seen(bloom, 40), seen(ripe, 10), false},
		{"full bloom on the day of first bloom", seen(bloom, 10), seen(full, 10), true},
		{"full bloom before first bloom", seen(bloom, 11), seen(full, 10), false},
		{"a flower and a ripe fruit in one day", seen(bloom, 10), seen(ripe, 10), false},
		{"full bloom and a ripe fruit in one day", seen(full, 10), seen(ripe, 10), false},
		{"full bloom and the peak in one day", seen(full, 10), seen(peak, 10), false},
		{"full bloom the day before the peak", seen(full, 10), seen(peak, 11), true},
		{"first ripe and peak in one day", seen(ripe, 40), seen(peak, 40), true},
		{"peak before first ripe", seen(ripe, 40), seen(peak, 39), false},
		{"peak and last pick in one day", seen(peak, 40), seen(last, 40), true},
		{"last pick before the peak", seen(peak, 41), seen(last, 40), false},
		{"the whole crop in one day", seen(ripe, 40), seen(last, 40), false},
		{"the whole crop in two days", seen(ripe, 40), seen(last, 41), true},

		{"not yet, seen the day after", notYet(ripe, 39), seen(ripe, 40), true},
		{"not yet and seen on one day", notYet(ripe, 40), seen(ripe, 40), false},
		{"not yet after it was seen", notYet(ripe, 41), seen(ripe, 40), false},
		{"a later stage seen the day after", notYet(bloom, 39), seen(ripe, 40), true},
		{"a later stage seen on that day", notYet(bloom, 40), seen(ripe, 40), false},
		{"a later stage seen before", notYet(bloom, 41), seen(last, 40), false},
		{"an earlier stage seen on that day", notYet(ripe, 40), seen(bloom, 40), true},
		{"an earlier stage seen after", notYet(last, 10), seen(bloom, 40), true},
		{"two that were not yet", notYet(bloom, 40), notYet(last, 10), true},
		{"one stage seen twice, of which one replaces the other", seen(peak, 40), seen(peak, 39), true},
		{"one stage not yet twice", notYet(peak, 40), notYet(peak, 39), true},
	} {
		for _, pair := range [][2]forecast.Sighting{{tt.a, tt.b}, {tt.b, tt.a}} {
			s, other := pair[0], pair[1]
			err := forecast.CheckOrder([]forecast.Sighting{seen(bloom, 1), other}, s)
			if s.Stage == bloom || other.Stage == bloom {
				err = forecast.CheckOrder([]forecast.Sighting{other}, s)
			}
			if (err == nil) != tt.fits {
				t.Errorf("%s: %+v beside %+v: %v", tt.name, s, other, err)
			}
			if err == nil {
				continue
			}
			o, ok := errors.AsType[*forecast.OrderError](err)
			if !ok || !errors.Is(err, forecast.ErrStagesOutOfOrder) || o.Sighting != s || o.Other != other {
				t.Errorf("%s: the error names %+v", tt.name, err)
			}
		}
	}
}

func TestOrderErrorSaysHow(t *testing.T) {
	t.Parallel()
	may, june := weather.DateOf(2025, 5, 8), weather.DateOf(2025, 6, 10)
	seen := func(stage forecast.Stage, day weather.Date) forecast.Sighting {
		return forecast.Sighting{Stage: stage, Date: day, Seen: true}
	}
	notYet := func(stage forecast.Stage, day weather.Date) forecast.Sighting {
		return forecast.Sighting{Stage: stage, Date: day}
	}
	for want, pair := range map[string][2]forecast.Sighting{
		"bloom_10 cannot be seen on 2025-06-10: it comes before first_ripe, which was seen on 2025-05-08": {seen(forecast.Bloom10, june), seen(forecast.FirstRipe, may)},
		"first_ripe cannot be seen on 2025-05-08: it comes after bloom_10, which was seen on 2025-06-10":  {seen(forecast.FirstRipe, may), seen(forecast.Bloom10, june)},
		"bloom_full had not come on 2025-06-10, so peak cannot be seen on 2025-05-08: it comes later":     {seen(forecast.Peak, may), notYet(forecast.BloomFull, june)},
		"peak had not come on 2025-06-10, so it cannot be seen on 2025-05-08":                             {seen(forecast.Peak, may), notYet(forecast.Peak, june)},
		"peak was seen on 2025-05-08, so it cannot be that bloom_full had not come on 2025-06-10":         {notYet(forecast.BloomFull, june), seen(forecast.Peak, may)},
		"peak was seen on 2025-05-08, so it cannot be that it had not come on 2025-06-10":                 {notYet(forecast.Peak, june), seen(forecast.Peak, may)},
	} {
		err := forecast.CheckOrder([]forecast.Sighting{pair[1]}, pair[0])
		if err == nil || err.Error() != want {
			t.Errorf("got  %v\nwant %s", err, want)
		}
	}
}
