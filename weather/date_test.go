package weather_test

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"ripetide/weather"
)

func TestParseDate(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, text string
		want       weather.Date
		ok         bool
	}{
		{"the first day of the count", "1970-01-01", 0, true},
		{"the day before it", "1969-12-31", -1, true},
		{"a leap day", "2024-02-29", 19782, true}, // date -d 2024-02-29 +%s / 86400
		{"a leap day of a year divisible by 400", "2000-02-29", 11016, true},
		{"no leap day in a century", "1900-02-29", 0, false},
		{"no leap day in a common year", "2025-02-29", 0, false},
		{"no 30 February", "2024-02-30", 0, false},
		{"no 31 June", "2025-06-31", 0, false},
		{"no month 0", "2025-00-10", 0, false},
		{"no month 13", "2025-13-10", 0, false},
		{"no day 0", "2025-01-00", 0, false},
		{"the first year", "1700-01-01", -98615, true},
		{"the year before it", "1699-12-31", 0, false},
		{"the last year", "2400-12-31", 157419, true},
		{"the year after it", "2401-01-01", 0, false},
		{"day and month without their zeros", "2025-5-1", 0, false},
		{"a time behind it", "2025-05-01T00:00:00Z", 0, false},
		{"a blank before it", " 2025-05-01", 0, false},
		{"slashes", "2025/05/01", 0, false},
		{"digits alone", "20250501", 0, false},
		{"another script's digits", "２０２５-05-01", 0, false},
		{"a sign", "+025-05-01", 0, false},
		{"nothing", "", 0, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, err := weather.ParseDate(tt.text)
			if got != tt.want || (err == nil) != tt.ok || !tt.ok && !errors.Is(err, weather.ErrInvalidDate) {
				t.Errorf("got %d, %v; want %d, ok %t", got, err, tt.want, tt.ok)
			}
			if tt.ok && got.String() != tt.text {
				t.Errorf("prints as %s", got)
			}
		})
	}
}

// Every day from the first year to the last, counted by the rule of the
// calendar.
func TestDateCountsEveryDay(t *testing.T) {
	t.Parallel()
	lengths := [...]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}
	want, err := weather.ParseDate("1700-01-01")
	if err != nil {
		t.Fatal(err)
	}
	first, weekday := want, time.Friday // 1 January 1700 was a Friday.
	for year := 1700; year <= 2400; year++ {
		leap := year%4 == 0 && (year%100 != 0 || year%400 == 0)
		for month := time.January; month <= time.December; month++ {
			n := lengths[month-1]
			if leap && month == time.February {
				n++
			}
			for day := 1; day <= n; day++ {
				got := weather.DateOf(year, month, day)
				y, m, d := got.Civil()
				if got != want || y != year || m != month || d != day || got.Year() != year || got.Weekday() != weekday {
					t.Fatalf("%d-%d-%d: got %d (%v), want %d", year, month, day, got, got.Weekday(), want)
				}
				want++
				weekday = (weekday + 1) % 7
			}
		}
	}
	if n := want - first; n != 256_035 { // 701·365 days and 170 leap days.
		t.Errorf("%d days", n)
	}
}

func TestDateIn(t *testing.T) {
	t.Parallel()
	instant := time.Date(2025, 6, 1, 11, 30, 0, 0, time.UTC)
	for _, tt := range []struct {
		zone  string
		hours int
		want  string
	}{{"UTC", 0, "2025-06-01"}, {"far east", 14, "2025-06-02"}, {"far west", -12, "2025-05-31"}} {
		if got := weather.DateIn(instant.In(time.FixedZone(tt.zone, tt.hours*3600))); got.String() != tt.want {
			t.Errorf("%s: got %s, want %s", tt.zone, got, tt.want)
		}
	}
}

func TestDateInYear(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		from string
		year int
		want string
	}{
		{"2025-05-31", 2024, "2024-05-31"},
		{"2024-02-29", 2028, "2028-02-29"},
		{"2024-02-29", 2025, "2025-03-01"},
		{"2024-02-29", 1900, "1900-03-01"},
		{"2025-12-31", 2024, "2024-12-31"},
	} {
		d, err := weather.ParseDate(tt.from)
		if err != nil {
			t.Fatal(err)
		}
		if got := d.InYear(tt.year).String(); got != tt.want {
			t.Errorf("%s in %d: got %s, want %s", tt.from, tt.year, got, tt.want)
		}
	}
}

func TestDateText(t *testing.T) {
	t.Parallel()
	d := weather.DateOf(2024, time.February, 29)
	b, err := json.Marshal(map[weather.Date]weather.Date{d: d})
	if err != nil || string(b) != `{"2024-02-29":"2024-02-29"}` {
		t.Errorf("encodes as %s, %v", b, err)
	}
	var back map[weather.Date]weather.Date
	if err := json.Unmarshal(b, &back); err != nil || back[d] != d {
		t.Errorf("decodes as %v, %v", back, err)
	}
	kept := d
	if err := kept.UnmarshalText([]byte("2023-02-29")); !errors.Is(err, weather.ErrInvalidDate) || kept != d {
		t.Errorf("decodes a date that is none: %v, %v", kept, err)
	}
}

// An error shows what was sent, but neither all of it nor its control
// characters.
func TestParseDateErrorIsShort(t *testing.T) {
	t.Parallel()
	for _, text := range []string{strings.Repeat("x", 1<<20), "\x00\n\u202e2025", "\xff\xfe", strings.Repeat("\u00fc", 50)} {
		_, err := weather.ParseDate(text)
		msg := err.Error()
		if len(msg) > 250 || !utf8.ValidString(msg) || strings.ContainsAny(msg, "\x00\n\u202e") {
			t.Errorf("%.20q…: %d bytes: %q", text, len(msg), msg)
		}
	}
}

func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"2024-02-29", "2023-02-29", "1700-01-01", "2400-12-31", "0000-00-00", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := weather.ParseDate(s)
		want, wantErr := time.Parse(time.DateOnly, s)
		ok := wantErr == nil && want.Year() >= 1700 && want.Year() <= 2400
		if ok != (err == nil) {
			t.Fatalf("%q: %v, time.Parse: %v", s, err, wantErr)
		}
		if ok && (d.String() != s || !d.Time().Equal(want)) {
			t.Fatalf("%q: %s", s, d)
		}
	})
}
