package daily_test

import (
	"fmt"
	"log/slog"
	"slices"
	"testing"
	"time"
	_ "time/tzdata" // The changes of clocks must be those of the tests.

	"ripetide/forecast"
	"ripetide/forecast/daily"
	"ripetide/weather"
)

// change is one of a zone's clocks, from the tables of the zones: at an instant
// in UTC, from so many minutes east to so many.
type change struct {
	zone, at      string
	before, after int
}

var changes = []change{
	{"Europe/Berlin", "2018-03-25 01:00", 60, 120},
	{"Europe/Berlin", "2018-10-28 01:00", 120, 60},
	{"America/Detroit", "2018-03-11 07:00", -300, -240},
	{"America/Detroit", "2018-11-04 06:00", -240, -300},
	{"America/Sao_Paulo", "2018-11-04 03:00", -180, -120}, // Over midnight.
	{"America/Sao_Paulo", "2018-02-18 02:00", -120, -180}, // From midnight back to the day before.
	{"Africa/Cairo", "2023-04-27 22:00", 120, 180},        // Over midnight.
	{"Africa/Cairo", "2023-10-26 21:00", 180, 120},        // From midnight back to the day before.
	{"Australia/Lord_Howe", "2018-03-31 15:00", 660, 630},
	{"Australia/Lord_Howe", "2018-10-06 15:30", 630, 660},
	{"Pacific/Apia", "2011-12-30 10:00", -600, 840}, // 30 December is left out.
	{"Pacific/Apia", "2018-03-31 14:00", 840, 780},
	{"Pacific/Kiritimati", "2018-03-25 01:00", 840, 840}, // They never change.
	{"Etc/GMT+12", "2018-03-25 01:00", -720, -720},
	{"Asia/Kathmandu", "2018-10-28 01:00", 345, 345},
}

// byHand is the date and the minute of the day that the clock of a farm shows,
// reckoned without the tables of zones.
func (c change) byHand(t *testing.T, now time.Time) (weather.Date, int) {
	t.Helper()
	off := c.before
	if !now.Before(at(t, "UTC", c.at)) {
		off = c.after
	}
	minutes := now.Unix()/60 + int64(off)
	return weather.Date(minutes / (24 * 60)), int(minutes % (24 * 60))
}

// A runner that looks every ten minutes makes the forecast of each day that there
// is at the farm once, at five in the morning, whatever clocks do; and the farm's
// today is right all the time.
func TestEachDayHasItsForecastWhateverClocksDo(t *testing.T) {
	t.Parallel()
	for _, c := range changes {
		t.Run(c.zone+" "+c.at, func(t *testing.T) {
			t.Parallel()
			farm := forecast.Farm{ID: "f", TimeZone: c.zone}
			zone, err := farm.Location()
			if err != nil {
				t.Fatal(err)
			}
			var now time.Time
			s := &shed{farms: []forecast.Farm{farm}, zone: zone}
			r := &daily.Runner{Store: s, Maker: s, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler)}
			changed := at(t, "UTC", c.at)
			var want []string
			var last weather.Date
			for now = changed.Add(-7*24*time.Hour - 3*time.Minute); now.Before(changed.Add(7 * 24 * time.Hour)); now = now.Add(10 * time.Minute) {
				day, minute := c.byHand(t, now)
				if today, err := farm.Today(now); err != nil || today != day {
					t.Fatalf("at %s it is %s at the farm, not %s: %v", now, day, today, err)
				}
				before := len(s.made)
				r.Pass(t.Context())
				if day != last && minute >= daily.Hour*60 {
					if len(want) > 0 && minute >= daily.Hour*60+10 {
						t.Fatalf("at %s the clock shows minute %d of %s: the test steps over its morning", now, minute, day)
					}
					last = day
					want = append(want, "f "+day.String())
				}
				if !slices.Equal(s.made, want) {
					t.Fatalf("at %s, minute %d of %s, it made %q, and has %q", now, minute, day, s.made[before:], s.made)
				}
			}
			if len(want) < 14 || len(want) > 15 {
				t.Errorf("%d mornings in two weeks", len(want))
			}
		})
	}
}

// Nothing ran while the farm went over the date line: there is no forecast of the
// day that never was, nor is one made in the night after it.
func TestADayThatNeverWasIsNotCaughtUpWith(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		now  string
		want []string
	}{
		{"2011-12-31 04:59", nil},
		{"2011-12-31 05:00", []string{"f 2011-12-31"}},
		{"2012-01-01 06:00", []string{"f 2011-12-31 late, known at 2011-12-31 05:00", "f 2012-01-01"}},
	} {
		now := at(t, "Pacific/Apia", tt.now)
		s := &shed{farms: []forecast.Farm{{ID: "f", TimeZone: "Pacific/Apia"}}, zone: now.Location()}
		s.there = []daily.Morning{{Day: date(t, "2011-12-29"), MadeAt: at(t, "Pacific/Apia", "2011-12-29 05:00")}}
		r := &daily.Runner{Store: s, Maker: s, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler)}
		r.Pass(t.Context())
		if !slices.Equal(s.made, tt.want) {
			t.Errorf("at %s: made %q, want %q", tt.now, s.made, tt.want)
		}
	}
}

// Whatever the clock of the service does, no day has two forecasts, none is made
// of a day that it is not by the clock, and once the clock is right the days go on
// as if it had always been. What failed under the wrong clock is tried again.
func TestAClockThatJumps(t *testing.T) {
	t.Parallel()
	const day = 24 * time.Hour
	for _, tt := range []struct {
		name  string
		jump  time.Duration
		wrong []string // That are made while the clock is wrong.
		fails error    // Of what is tried then.
	}{
		{"an hour ahead", time.Hour, nil, nil},
		{"an hour behind", -time.Hour, nil, nil},
		{"a day ahead", day, []string{"2018-06-13"}, nil},
		{"ahead by years", 400 * day, []string{"2019-07-17"}, nil},
		{"ahead by years, when nothing can be made", 400 * day, nil, &forecast.TooFewYearsError{}},
		{"a day behind", -day, nil, nil},
		{"behind by years", -400 * day, []string{"2017-05-08"}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			var jump time.Duration
			now := at(t, "Europe/Berlin", "2018-06-11 04:30")
			clock := func() time.Time { return now.Add(jump) }
			s := &shed{farms: []forecast.Farm{{ID: "f", TimeZone: "Europe/Berlin"}}, zone: now.Location()}
			r := &daily.Runner{Store: s, Maker: s, Now: clock, Log: slog.New(slog.DiscardHandler)}
			run := func(until string) {
				for end := at(t, "Europe/Berlin", until); now.Before(end); now = now.Add(10 * time.Minute) {
					r.Pass(t.Context())
				}
			}
			run("2018-06-12 12:00")
			jump, s.fails = tt.jump, tt.fails
			run("2018-06-12 14:00")
			jump, s.fails = 0, nil
			made := len(s.made)
			run("2018-06-12 14:10")
			if len(s.made) != made {
				t.Errorf("when the clock is right again it made %q of a day that had one", s.made[made:])
			}
			run("2018-06-16 12:00")
			want := []string{"f 2018-06-11", "f 2018-06-12"}
			for _, d := range tt.wrong {
				want = append(want, "f "+d)
			}
			for d := 13; d <= 16; d++ {
				if x := fmt.Sprintf("f 2018-06-%d", d); !slices.Contains(want, x) {
					want = append(want, x)
				}
			}
			got := slices.DeleteFunc(slices.Clone(s.made), func(x string) bool { return x == "tried" })
			if !slices.Equal(got, want) {
				t.Errorf("made %q, want %q", got, want)
			}
		})
	}
}
