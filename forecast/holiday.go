package forecast

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"ripetide/weather"
)

// Holiday is a day that customers carry in their heads, such as a public
// holiday by which they expect to pick.
type Holiday struct {
	Name string
	Rule string // See [ParseHolidayRule].
}

// On returns the date of h in a calendar year; a rule that is none, or 29
// February in a common year, has no date.
func (h Holiday) On(year int) (weather.Date, bool) {
	r, err := ParseHolidayRule(h.Rule)
	if err != nil {
		return 0, false
	}
	return r.on(year)
}

// HolidayRule says on which date of a year a holiday falls.
type HolidayRule struct {
	on func(year int) (weather.Date, bool)
}

// On returns the date in a calendar year, if there is one.
func (r HolidayRule) On(year int) (weather.Date, bool) { return r.on(year) }

var (
	nthRule    = regexp.MustCompile(`^(first|second|third|fourth|last) ([a-z]+day) (?:of|in) ([a-z]+)$`)
	fixedRule  = regexp.MustCompile(`^(\d{1,2}) ([a-z]+)$`)
	easterRule = regexp.MustCompile(`^(?:(\d{1,2}) days (before|after) )?easter$`)
)

var errHolidayRule = errors.New(`is none of the forms "24 June", "third Sunday of June", "last Monday of May", "Easter" and "49 days after Easter"`)

// ParseHolidayRule reads one of the forms "24 June", "third Sunday of June",
// "last Monday of May", "Easter" (the Western one), "49 days after Easter" and
// "2 days before Easter". The text of its error is a reason to be shown.
func ParseHolidayRule(s string) (HolidayRule, error) {
	s = strings.ToLower(strings.Join(strings.Fields(s), " "))
	if f := fixedRule.FindStringSubmatch(s); f != nil {
		day, _ := strconv.Atoi(f[1]) // Two digits.
		month, ok := monthNamed(f[2])
		if !ok {
			return HolidayRule{}, fmt.Errorf("names no month: %q", f[2])
		}
		if _, ok := dateIn(leapYear, month, day); !ok {
			return HolidayRule{}, fmt.Errorf("is no date: %s has no day %d", month, day)
		}
		return HolidayRule{func(year int) (weather.Date, bool) { return dateIn(year, month, day) }}, nil
	}
	if f := nthRule.FindStringSubmatch(s); f != nil {
		w, ok := WeekdayNamed(f[2])
		if !ok {
			return HolidayRule{}, fmt.Errorf("names no weekday: %q", f[2])
		}
		month, ok := monthNamed(f[3])
		if !ok {
			return HolidayRule{}, fmt.Errorf("names no month: %q", f[3])
		}
		return HolidayRule{func(year int) (weather.Date, bool) { return nthWeekday(year, month, w, f[1]), true }}, nil
	}
	if f := easterRule.FindStringSubmatch(s); f != nil {
		days, _ := strconv.Atoi(f[1]) // Two digits or none.
		if f[2] == "before" {
			days = -days
		}
		return HolidayRule{func(year int) (weather.Date, bool) { return easter(year) + weather.Date(days), true }}, nil
	}
	return HolidayRule{}, errHolidayRule
}

func nthWeekday(year int, month time.Month, w time.Weekday, nth string) weather.Date {
	first := weather.DateOf(year, month, 1)
	first += weather.Date((int(w) - int(first.Weekday()) + 7) % 7)
	if nth == "last" {
		d := first + 28
		if d.Time().Month() != month {
			d -= 7
		}
		return d
	}
	n := map[string]int{"first": 0, "second": 1, "third": 2, "fourth": 3}[nth]
	return first + weather.Date(7*n)
}

// dateIn returns a date if the month has that day.
func dateIn(year int, month time.Month, day int) (weather.Date, bool) {
	d := weather.DateOf(year, month, day)
	t := d.Time()
	return d, t.Month() == month && t.Day() == day
}

func monthNamed(s string) (time.Month, bool) {
	for m := time.January; m <= time.December; m++ {
		if s == strings.ToLower(m.String()) {
			return m, true
		}
	}
	return 0, false
}

// WeekdayName is the name of a weekday in interfaces, such as "saturday".
func WeekdayName(w time.Weekday) string { return strings.ToLower(w.String()) }

// WeekdayNamed returns the weekday that [WeekdayName] names so.
func WeekdayNamed(s string) (time.Weekday, bool) {
	for w := time.Sunday; w <= time.Saturday; w++ {
		if s == WeekdayName(w) {
			return w, true
		}
	}
	return 0, false
}

// easter returns Easter Sunday of the Gregorian calendar: the Sunday after the
// full moon, as the church reckons it, on or after 21 March. By the century's
// corrections to the moon's nineteen-year cycle (Meeus, Astronomical
// Algorithms, 2nd edition, chapter 8, from memory; checked against dates from
// an independent program).
func easter(year int) weather.Date {
	golden, century := year%19, year/100
	// The age of the moon, after the leap days that centuries leave out and the
	// drift of the moon's cycle.
	age := (19*golden + century - century/4 - (century-(century+8)/25+1)/3 + 15) % 30
	toSunday := (32 + 2*(century%4) + 2*(year%100/4) - age - year%100%4) % 7
	late := (golden + 11*age + 22*toSunday) / 451 // The two latest full moons come a day early.
	n := age + toSunday - 7*late + 114
	return weather.DateOf(year, time.Month(n/31), n%31+1)
}
