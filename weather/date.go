package weather

import (
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Date is a civil date: whole days since 1970-01-01, without a time zone.
// Dates compare, subtract and index arrays as integers; a day is never taken
// for 24 hours.
type Date int32

// DateOf returns the civil date of year, month and day. Values outside their
// ranges are normalised as by [time.Date].
func DateOf(year int, month time.Month, day int) Date {
	return Date(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / secondsPerDay)
}

// DateIn returns the civil date of the instant t in its own location.
func DateIn(t time.Time) Date {
	y, m, d := t.Date()
	return DateOf(y, m, d)
}

// ParseDate reads "YYYY-MM-DD". Dates that the calendar does not have, such
// as 2025-02-30, and years outside 1700 to 2400 are errors that match
// [ErrInvalidDate].
func ParseDate(s string) (Date, error) {
	d, fault := parseDate(s)
	if fault != "" {
		return 0, &dateError{fault}
	}
	return d, nil
}

// dateError is a date that is none.
type dateError struct{ fault string }

func (e *dateError) Error() string { return ErrInvalidDate.Error() + ": " + e.fault }

// Detail says what is wrong with it.
func (e *dateError) Detail() string { return "date " + e.fault }

// Unwrap returns the error of the package.
func (e *dateError) Unwrap() error { return ErrInvalidDate }

// parseDate is ParseDate with the fault as a clause, or "".
func parseDate(s string) (d Date, fault string) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0, fmt.Sprintf("%q is not a calendar date YYYY-MM-DD", clip(s))
	}
	d = Date(t.Unix() / secondsPerDay)
	return d, yearFault(d)
}

// yearFault says in one clause why no record has a day of d's year, or "".
func yearFault(d Date) string {
	if y := d.Year(); y < minYear || y > maxYear {
		return fmt.Sprintf("year %d is outside %d to %d", y, minYear, maxYear)
	}
	return ""
}

const (
	secondsPerDay = 24 * 60 * 60 // of UTC, which has no clock changes.
	// Thermometers with daily records are younger than minYear; a year beyond
	// maxYear is a slip of the keyboard.
	minYear, maxYear = 1700, 2400
)

// Time returns midnight UTC of the date, for formatting and for drivers.
func (d Date) Time() time.Time { return time.Unix(int64(d)*secondsPerDay, 0).UTC() }

// Civil returns the year, month and day of the month.
func (d Date) Civil() (year int, month time.Month, day int) { return d.Time().Date() }

// Year returns the calendar year.
func (d Date) Year() int { return d.Time().Year() }

// Weekday returns the day of the week.
func (d Date) Weekday() time.Weekday { return d.Time().Weekday() }

// InYear returns the same month and day in another year; 29 February becomes
// 1 March where the year has none, so that it stays the 60th day or later.
func (d Date) InYear(year int) Date {
	_, m, day := d.Civil()
	return DateOf(year, m, day)
}

// String returns "YYYY-MM-DD".
func (d Date) String() string { return d.Time().Format(time.DateOnly) }

// MarshalText implements [encoding.TextMarshaler] as "YYYY-MM-DD".
func (d Date) MarshalText() ([]byte, error) { return d.Time().AppendFormat(nil, time.DateOnly), nil }

// UnmarshalText implements [encoding.TextUnmarshaler]; see [ParseDate].
func (d *Date) UnmarshalText(b []byte) error {
	v, err := ParseDate(string(b))
	if err != nil {
		return err
	}
	*d = v
	return nil
}

// clip returns the beginning of what a stranger sent with everything that does
// not print replaced, so that an error or a report can show it but cannot be
// flooded or upset by it. It shares no memory with s.
func clip(s string) string { return clipTo(s, 40) }

// clipTo is clip to at most so many runes.
func clipTo(s string, most int) string {
	var b strings.Builder
	n := 0
	for _, r := range s { // Bytes that are no UTF-8 come as U+FFFD.
		if n == most {
			b.WriteRune('…')
			break
		}
		if !unicode.IsPrint(r) {
			r = utf8.RuneError
		}
		b.WriteRune(r)
		n++
	}
	return b.String()
}
