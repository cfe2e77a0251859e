package weather

import (
	"fmt"
	"slices"
)

// Series is the daily record of one station in strictly rising order of
// date, with or without holes. The zero value is an empty record.
type Series struct {
	days []Day
}

// NewSeries returns a series of the given days, which it copies. Days that
// are not in strictly rising order are an error that matches
// [ErrDaysOutOfOrder]; a day that [NewDay] would refuse is one that matches
// [ErrInvalidDay].
func NewSeries(days []Day) (Series, error) {
	s := Series{days: make([]Day, len(days))}
	for i, d := range days {
		if i > 0 && d.Date <= days[i-1].Date {
			return Series{}, fmt.Errorf("%w: %s after %s", ErrDaysOutOfOrder, d.Date, days[i-1].Date)
		}
		if _, err := NewDay(d.Date, d.Min, d.Max); err != nil {
			return Series{}, fmt.Errorf("%s: %w", d.Date, err)
		}
		s.days[i] = d
	}
	return s, nil
}

// Days returns the days in order. The slice must not be changed.
func (s Series) Days() []Day { return slices.Clip(s.days) }

// Len returns the number of days on record.
func (s Series) Len() int { return len(s.days) }

// Span returns the first and the last date on record; ok is false for an
// empty series.
func (s Series) Span() (first, last Date, ok bool) {
	if len(s.days) == 0 {
		return 0, 0, false
	}
	return s.days[0].Date, s.days[len(s.days)-1].Date, true
}

// Until returns the part of the record up to and including last. It shares
// memory with s.
func (s Series) Until(last Date) Series {
	return Series{days: s.days[:s.from(int(last)+1)]}
}

// Between returns the days from first to last, both included. The slice must
// not be changed.
func (s Series) Between(first, last Date) []Day {
	i, j := s.from(int(first)), s.from(int(last)+1)
	if j < i {
		return nil
	}
	return s.days[i:j:j]
}

// Without returns the record without the given dates, which must rise. It
// shares memory with s where there are none.
func (s Series) Without(dates []Date) Series {
	if len(dates) == 0 {
		return s
	}
	out := make([]Day, 0, len(s.days))
	for _, d := range s.days {
		for len(dates) > 0 && dates[0] < d.Date {
			dates = dates[1:]
		}
		if len(dates) == 0 || dates[0] != d.Date {
			out = append(out, d)
		}
	}
	return Series{days: out}
}

// At returns the day of a date, if it is on record.
func (s Series) At(d Date) (Day, bool) {
	i := s.from(int(d))
	if i < len(s.days) && s.days[i].Date == d {
		return s.days[i], true
	}
	return Day{}, false
}

// from returns the index of the first day on or after d, which is an int so
// that the day after the last Date there is, and any distance, can be said.
func (s Series) from(d int) int {
	n := len(s.days)
	if n == 0 || d <= int(s.days[0].Date) {
		return 0
	}
	// A record without holes has the day at its distance from the first; one
	// with holes has it further left.
	lo, hi := 0, min(n, d-int(s.days[0].Date))
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if int(s.days[mid].Date) < d {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo
}

// Hole is a run of dates without a record, both ends included.
type Hole struct {
	From, To Date
}

// Len returns the number of dates in the hole.
func (h Hole) Len() int { return int(h.To-h.From) + 1 }

// Holes returns the holes inside the record, in order; none lies before its
// first or after its last day.
func (s Series) Holes() []Hole {
	var holes []Hole
	for i := 1; i < len(s.days); i++ {
		if a, b := s.days[i-1].Date, s.days[i].Date; b > a+1 {
			holes = append(holes, Hole{From: a + 1, To: b - 1})
		}
	}
	return holes
}
