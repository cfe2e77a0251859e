package forecast_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// By python3-dateutil, see testdata/calendar.
func TestEasterIsThatOfAnIndependentProgram(t *testing.T) {
	t.Parallel()
	f, err := os.Open("../testdata/calendar/easter.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != 301 {
		t.Fatal(len(rows), err)
	}
	rule, err := forecast.ParseHolidayRule("Easter")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		year, err := strconv.Atoi(row[0])
		if err != nil {
			t.Fatal(err)
		}
		if d, ok := rule.On(year); !ok || d.String() != row[1] {
			t.Errorf("Easter %d is %s, want %s", year, d, row[1])
		}
	}
}

// Dates of 2026 by the calendar printed by cal (util-linux) and the Easter of
// 5 April.
func TestHolidayRules(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		rule string
		want weather.Date
	}{
		{"24 June", weather.DateOf(2026, time.June, 24)},
		{"1 july", weather.DateOf(2026, time.July, 1)},
		{"third Sunday of June", weather.DateOf(2026, time.June, 21)},
		{"first Monday in June", weather.DateOf(2026, time.June, 1)}, // The month begins with it.
		{"second Sunday of May", weather.DateOf(2026, time.May, 10)},
		{"fourth Thursday of November", weather.DateOf(2026, time.November, 26)},
		{"last Monday of May", weather.DateOf(2026, time.May, 25)},
		{"last Sunday of May", weather.DateOf(2026, time.May, 31)}, // The fifth.
		{"49 days after Easter", weather.DateOf(2026, time.May, 24)},
		{"  2 days  before Easter ", weather.DateOf(2026, time.April, 3)},
	} {
		r, err := forecast.ParseHolidayRule(tt.rule)
		if err != nil {
			t.Errorf("%q: %v", tt.rule, err)
			continue
		}
		if d, ok := r.On(2026); !ok || d != tt.want {
			t.Errorf("%q is %s, want %s", tt.rule, d, tt.want)
		}
	}
	leap, err := forecast.ParseHolidayRule("29 February")
	if err != nil {
		t.Fatal(err)
	}
	if d, ok := leap.On(2026); ok {
		t.Errorf("29 February 2026 is %s", d)
	}
	if d, ok := leap.On(2028); !ok || d != weather.DateOf(2028, time.February, 29) {
		t.Errorf("29 February 2028 is %s", d)
	}
	for _, bad := range []string{
		"", "06-24", "June 24", "31 June", "0 June", "24 Juin", "fifth Sunday of June", "third sunday", "third Funday of June",
		"third Sunday of Juneau", "49 days after Easter Monday", "x days after Easter", "30 February",
	} {
		if _, err := forecast.ParseHolidayRule(bad); err == nil {
			t.Errorf("%q is taken for a holiday", bad)
		}
	}
}

// Whatever is typed is a rule whose dates lie in the year, or near it if they
// hang on Easter, or an error with a reason.
func FuzzParseHolidayRule(f *testing.F) {
	for _, s := range []string{"24 June", "third Sunday of June", "last Monday of May", "Easter", "49 days after Easter", "29 February", "99 days before easter", "0 May"} {
		f.Add(s, 2026)
	}
	f.Fuzz(func(t *testing.T, s string, year int) {
		year = 1900 + (year%300+300)%300
		r, err := forecast.ParseHolidayRule(s)
		if err != nil {
			if err.Error() == "" {
				t.Error("an error without a reason")
			}
			return
		}
		d, ok := r.On(year)
		if !ok {
			if _, leap := r.On(2000); !leap {
				t.Errorf("%q has no date even in a leap year", s)
			}
			return
		}
		if y := d.Year(); y != year && !strings.Contains(strings.ToLower(s), "easter") {
			t.Errorf("%q of %d falls in %d", s, year, y)
		}
	})
}
