package forecast_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

func zoneOf(t testing.TB, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

func day(t testing.TB, text string) weather.Date {
	t.Helper()
	d, err := weather.ParseDate(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

const clockLayout = "Mon 2006-01-02 15:04 -0700"

func instantOf(t testing.TB, text string) time.Time {
	t.Helper()
	at, err := time.Parse(clockLayout, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// Worked by hand on a calendar. Clocks in Detroit went forward on Sun 11 Mar
// 2018 at 2:00 and back on Sun 4 Nov 2018 at 2:00; in Auckland forward on Sun
// 30 Sep 2018.
func TestClosuresWorkedByHand(t *testing.T) {
	t.Parallel()
	const detroit, auckland = "America/Detroit", "Pacific/Auckland"
	for name, tt := range map[string]struct {
		zone              string
		days, hours, rei  int
		at                string
		pick, enter, till string
	}{
		"no interval": {detroit, 0, 0, 0, "Sat 2018-06-02 10:30 -0400", "Sat 2018-06-02 10:30 -0400", "Sat 2018-06-02 10:30 -0400", "Sat 2018-06-02 10:30 -0400"},
		"three days are Sunday, Monday and Tuesday": {
			detroit, 3, 0, 12, "Sat 2018-06-02 10:30 -0400", "Wed 2018-06-06 00:00 -0400", "Sat 2018-06-02 22:30 -0400", "Wed 2018-06-06 00:00 -0400",
		},
		"the hour of spraying does not matter to days": {
			detroit, 3, 0, 12, "Sat 2018-06-02 23:59 -0400", "Wed 2018-06-06 00:00 -0400", "Sun 2018-06-03 11:59 -0400", "Wed 2018-06-06 00:00 -0400",
		},
		"re-entry lasts longer than the interval": {
			detroit, 1, 0, 96, "Sat 2018-06-02 10:30 -0400", "Mon 2018-06-04 00:00 -0400", "Wed 2018-06-06 10:30 -0400", "Wed 2018-06-06 10:30 -0400",
		},
		"hours alone begin at once": {
			detroit, 0, 12, 4, "Sat 2018-06-02 20:15 -0400", "Sun 2018-06-03 08:15 -0400", "Sun 2018-06-03 00:15 -0400", "Sun 2018-06-03 08:15 -0400",
		},
		"hours follow the last day": {
			detroit, 1, 12, 4, "Sat 2018-06-02 20:15 -0400", "Mon 2018-06-04 12:00 -0400", "Sun 2018-06-03 00:15 -0400", "Mon 2018-06-04 12:00 -0400",
		},
		"24 hours over the hour that is left out end an hour later by the clock": {
			detroit, 0, 24, 24, "Sat 2018-03-10 18:00 -0500", "Sun 2018-03-11 19:00 -0400", "Sun 2018-03-11 19:00 -0400", "Sun 2018-03-11 19:00 -0400",
		},
		"24 hours over the hour that comes twice end an hour earlier by the clock": {
			detroit, 0, 24, 24, "Sat 2018-11-03 18:00 -0400", "Sun 2018-11-04 17:00 -0500", "Sun 2018-11-04 17:00 -0500", "Sun 2018-11-04 17:00 -0500",
		},
		"days over the hour that is left out end at midnight":  {detroit, 1, 0, 0, "Sat 2018-03-10 18:00 -0500", "Mon 2018-03-12 00:00 -0400", "Sat 2018-03-10 18:00 -0500", "Mon 2018-03-12 00:00 -0400"},
		"days over the hour that comes twice end at midnight":  {detroit, 1, 0, 0, "Sat 2018-11-03 18:00 -0400", "Mon 2018-11-05 00:00 -0500", "Sat 2018-11-03 18:00 -0400", "Mon 2018-11-05 00:00 -0500"},
		"the day is that of the farm":                          {auckland, 2, 0, 0, "Fri 2018-06-01 12:30 +0000", "Tue 2018-06-05 00:00 +1200", "Sat 2018-06-02 00:30 +1200", "Tue 2018-06-05 00:00 +1200"},
		"also south of the equator, where clocks leap in fall": {auckland, 1, 0, 12, "Sat 2018-09-29 20:00 +1200", "Mon 2018-10-01 00:00 +1300", "Sun 2018-09-30 09:00 +1300", "Mon 2018-10-01 00:00 +1300"},
	} {
		s := forecast.Spray{PreHarvestDays: tt.days, PreHarvestHours: tt.hours, ReentryHours: tt.rei}
		zone, at := zoneOf(t, tt.zone), instantOf(t, tt.at)
		for _, x := range []struct {
			what string
			got  time.Time
			want string
		}{{"pick again", s.PickAgain(at, zone), tt.pick}, {"enter again", s.EnterAgain(at, zone), tt.enter}, {"closed until", s.ClosedUntil(at, zone), tt.till}} {
			if got := x.got.Format(clockLayout); got != x.want {
				t.Errorf("%s: %s %s, want %s", name, x.what, got, x.want)
			}
		}
	}
}

// Worked by hand: the last day of spraying is the day before the whole days,
// which come before the day of picking.
func TestLastSafeMomentsWorkedByHand(t *testing.T) {
	t.Parallel()
	const detroit, auckland = "America/Detroit", "Pacific/Auckland"
	for name, tt := range map[string]struct {
		zone             string
		days, hours, rei int
		day, want        string
	}{
		"no interval: as the day begins":                {detroit, 0, 0, 0, "2018-06-12", "Tue 2018-06-12 00:00 -0400"},
		"seven days before Tuesday are Tuesday to Mon":  {detroit, 7, 0, 4, "2018-06-12", "Mon 2018-06-04 23:59 -0400"},
		"one day before Tuesday is Monday":              {detroit, 1, 0, 4, "2018-06-12", "Sun 2018-06-10 23:59 -0400"},
		"re-entry alone":                                {detroit, 0, 0, 12, "2018-06-12", "Mon 2018-06-11 12:00 -0400"},
		"re-entry that is longer":                       {detroit, 1, 0, 96, "2018-06-12", "Fri 2018-06-08 00:00 -0400"},
		"hours":                                         {detroit, 0, 36, 4, "2018-06-12", "Sun 2018-06-10 12:00 -0400"},
		"an hour more than a day takes a whole one off": {detroit, 1, 1, 4, "2018-06-12", "Sat 2018-06-09 23:59 -0400"},
		"days and a whole day of hours":                 {detroit, 1, 24, 4, "2018-06-12", "Sat 2018-06-09 23:59 -0400"},
		"24 hours before a day after clocks leapt":      {detroit, 0, 24, 0, "2018-03-12", "Sat 2018-03-10 23:00 -0500"},
		"24 hours before a day after they were put back": {
			detroit, 0, 24, 0, "2018-11-05", "Sun 2018-11-04 01:00 -0400",
		},
		"one day before a day after clocks leapt":       {detroit, 1, 0, 0, "2018-03-12", "Sat 2018-03-10 23:59 -0500"},
		"one day before a day after they were put back": {detroit, 1, 0, 0, "2018-11-05", "Sat 2018-11-03 23:59 -0400"},
		"in a spring of the south":                      {auckland, 3, 0, 24, "2018-10-02", "Fri 2018-09-28 23:59 +1200"},
	} {
		s := forecast.Spray{PreHarvestDays: tt.days, PreHarvestHours: tt.hours, ReentryHours: tt.rei}
		if got := s.LastSafe(day(t, tt.day), zoneOf(t, tt.zone)).Format(clockLayout); got != tt.want {
			t.Errorf("%s: %s, want %s", name, got, tt.want)
		}
	}
}

// The last safe minute is found by trying minutes: sprayed then, the block is
// open as the day begins, and a minute later it is not.
func TestNoLaterMinuteIsSafe(t *testing.T) {
	t.Parallel()
	tried := 0
	for _, name := range []string{"America/Detroit", "Pacific/Auckland", "Europe/Berlin", "America/St_Johns", "America/Sao_Paulo", "America/Havana", "Asia/Kathmandu", "Australia/Lord_Howe"} {
		zone := zoneOf(t, name)
		for _, s := range []forecast.Spray{
			{ReentryHours: 4}, {PreHarvestDays: 1, ReentryHours: 12}, {PreHarvestDays: 3}, {PreHarvestHours: 1}, {PreHarvestHours: 36, ReentryHours: 24},
			{PreHarvestDays: 1, PreHarvestHours: 1}, {PreHarvestDays: 2, PreHarvestHours: 24}, {PreHarvestDays: 1, PreHarvestHours: 23, ReentryHours: 72},
		} {
			for d := day(t, "2018-01-03"); d < day(t, "2019-01-03"); d += 3 {
				last := s.LastSafe(d, zone)
				open := forecast.DayStart(d, zone)
				if till := s.ClosedUntil(last, zone); till.After(open) {
					t.Fatalf("%s, %+v: sprayed at %s it is closed until %s, and %s begins at %s", name, s, last, till, d, open)
				}
				if till := s.ClosedUntil(last.Add(time.Minute), zone); !till.After(open) {
					t.Fatalf("%s, %+v: %s is not the last safe minute before %s", name, s, last, d)
				}
				tried++
			}
		}
	}
	if tried < 5000 {
		t.Errorf("only %d tried", tried)
	}
}

// Worked by hand from the rules of these zones: clocks leapt over midnight in
// São Paulo on Sun 4 Nov 2018 and in Cuba show the hour from midnight twice on
// Sun 4 Nov 2018; Samoa had no 30 December 2011.
func TestDaysBeginWhenClocksShowThem(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ zone, day, want string }{
		{"Europe/Berlin", "2018-03-25", "Sun 2018-03-25 00:00 +0100"},
		{"Europe/Berlin", "2018-10-28", "Sun 2018-10-28 00:00 +0200"},
		{"America/Sao_Paulo", "2018-11-04", "Sun 2018-11-04 01:00 -0200"},
		{"America/Havana", "2018-11-04", "Sun 2018-11-04 00:00 -0400"},
		{"UTC", "2018-11-04", "Sun 2018-11-04 00:00 +0000"},
		{"Pacific/Apia", "2011-12-31", "Sat 2011-12-31 00:00 +1400"},
	} {
		if got := forecast.DayStart(day(t, tt.day), zoneOf(t, tt.zone)).Format(clockLayout); got != tt.want {
			t.Errorf("%s in %s begins %s, want %s", tt.day, tt.zone, got, tt.want)
		}
	}
}

func TestClockTimesThatAreNoneOrTwo(t *testing.T) {
	t.Parallel()
	berlin := zoneOf(t, "Europe/Berlin")
	for _, tt := range []struct {
		day          string
		hour, minute int
		want         string // "" is none.
	}{
		{"2018-06-02", 10, 30, "Sat 2018-06-02 10:30 +0200"},
		{"2018-03-25", 1, 59, "Sun 2018-03-25 01:59 +0100"},
		{"2018-03-25", 2, 30, ""},
		{"2018-03-25", 3, 0, "Sun 2018-03-25 03:00 +0200"},
		{"2018-10-28", 1, 59, "Sun 2018-10-28 01:59 +0200"},
		{"2018-10-28", 2, 30, "Sun 2018-10-28 02:30 +0100"}, // The later of the two.
		{"2018-10-28", 3, 0, "Sun 2018-10-28 03:00 +0100"},
	} {
		at, ok := forecast.AtClock(day(t, tt.day), tt.hour, tt.minute, berlin)
		got := ""
		if ok {
			got = at.Format(clockLayout)
		}
		if got != tt.want {
			t.Errorf("%s %d:%02d is %q, want %q", tt.day, tt.hour, tt.minute, got, tt.want)
		}
	}
}

func TestFaultsOfSpraysAreToldByField(t *testing.T) {
	t.Parallel()
	good := forecast.Spray{Block: "Creek", Name: "as on the can", Season: 2018, PreHarvestDays: 365, PreHarvestHours: 1000, ReentryHours: 1000}
	if errs := good.Validate(); len(errs) > 0 {
		t.Errorf("a good one: %v", errs)
	}
	for field, spoil := range map[string]func(*forecast.Spray){
		"block":             func(s *forecast.Spray) { s.Block = " " },
		"name":              func(s *forecast.Spray) { s.Name = strings.Repeat("x", 101) },
		"season":            func(s *forecast.Spray) { s.Season = 0 },
		"pre_harvest_days":  func(s *forecast.Spray) { s.PreHarvestDays = 366 },
		"pre_harvest_hours": func(s *forecast.Spray) { s.PreHarvestHours = -1 },
		"reentry_hours":     func(s *forecast.Spray) { s.ReentryHours = 1001 },
		"note":              func(s *forecast.Spray) { s.Note = strings.Repeat("x", 201) },
	} {
		s := good
		spoil(&s)
		errs := s.Validate()
		var fe *forecast.FieldError
		if len(errs) != 1 || !errors.As(errs[0], &fe) || fe.Field != field {
			t.Errorf("%s: %v", field, errs)
		}
	}
}
