package weather

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// ErrOutlookNotFound is a station without an outlook on record.
var ErrOutlookNotFound = errors.New("weather: outlook not found")

// Outlook is what a weather service predicted for the days ahead of a station.
type Outlook struct {
	IssuedAt time.Time
	Days     Series // Predicted extremes, °C.
}

const (
	// MaxOutlookDays is the length of the longest outlook, days. Weather
	// services give daily extremes for two weeks or a little more.
	MaxOutlookDays = 16
	// ClockSkew is how far ahead of our clock the one may be by which an outlook
	// was issued.
	ClockSkew = 5 * time.Minute
)

// OutlookDraft is an outlook as it was sent. A nil stands for what was not
// sent, or could not be read.
type OutlookDraft struct {
	IssuedAt *time.Time
	Unit     Unit
	Days     []OutlookDay
}

// OutlookDay is a predicted day as it was sent, in the unit of its draft.
type OutlookDay struct {
	Date     *Date
	Min, Max *float64
}

// OutlookReading is what was read of a weather service's file.
type OutlookReading struct {
	Format string
	// IssuedAt is when the service made it; zero if the file does not tell.
	IssuedAt time.Time
	// Days are whole predicted days, °C, by the calendar of the farm, in order.
	// Nothing of them has been checked: that is for [NewOutlook].
	Days     []Day
	Refused  []Refusal // What was left out, such as the rest of a day that has begun.
	Findings []Finding
}

// Draft returns r as a draft; at is the moment of issue of a file that does not
// tell it.
func (r *OutlookReading) Draft(at time.Time) OutlookDraft {
	d := OutlookDraft{IssuedAt: &at, Unit: Celsius, Days: make([]OutlookDay, len(r.Days))}
	if !r.IssuedAt.IsZero() {
		d.IssuedAt = &r.IssuedAt
	}
	for i := range r.Days {
		day := &r.Days[i]
		d.Days[i] = OutlookDay{&day.Date, &day.Min, &day.Max}
	}
	return d
}

// OutlookFault says what about a draft cannot be.
type OutlookFault struct {
	Field  string // Such as "issued_at" or "days[3].min".
	Reason string // One clause in plain words.
}

// NewOutlook returns the outlook that d is, or every fault that d has. It is
// none when
//
//   - it was issued more than [ClockSkew] after now,
//   - it has no day or more than [MaxOutlookDays],
//   - its first day is neither the day it was issued on, by the calendar in
//     zone, nor the day after: services that publish in the evening often begin
//     with tomorrow,
//   - another day is not the day after the one before it, so that no date is
//     missing and none is there twice,
//   - a day is one that [NewDay] would refuse, or so many are hotter than any
//     air that the values cannot be in the unit they say.
func NewOutlook(d OutlookDraft, zone *time.Location, now time.Time) (Outlook, []OutlookFault) {
	c := outlookCheck{draft: d}
	c.issuedAt(zone, now)
	if !d.Unit.known() {
		c.add("unit", `must be "C" or "F"`)
	}
	switch n := len(d.Days); {
	case n == 0:
		c.add("days", "must hold at least one day")
	case n > MaxOutlookDays: // Whatever its days are, they are not told one by one.
		c.add("days", "must hold at most %d days", MaxOutlookDays)
		return Outlook{}, c.faults
	}
	for i := range d.Days {
		c.date(i)
		c.extremes(i)
	}
	if err, ok := errors.AsType[*FileError](c.hot.fault(c.numbers, d.Unit)); ok && d.Unit.known() {
		c.add("unit", "%s", err.Detail())
	}
	if len(c.faults) > 0 {
		return Outlook{}, c.faults
	}
	days, err := NewSeries(c.days)
	if err != nil {
		return Outlook{}, []OutlookFault{{"days", err.Error()}} // Cannot be: all of it was checked.
	}
	return Outlook{IssuedAt: *d.IssuedAt, Days: days}, nil
}

// outlookCheck gathers the faults of a draft and, where there are none, its
// days.
type outlookCheck struct {
	draft   OutlookDraft
	issued  *Date // Nil if it is not known.
	days    []Day // °C.
	hot     hotDays
	numbers int // Days with two numbers.
	faults  []OutlookFault
}

func (c *outlookCheck) add(field, reason string, args ...any) {
	c.faults = append(c.faults, OutlookFault{field, fmt.Sprintf(reason, args...)})
}

func (c *outlookCheck) issuedAt(zone *time.Location, now time.Time) {
	at := c.draft.IssuedAt
	if at == nil {
		c.add("issued_at", "is needed")
		return
	}
	if at.After(now.Add(ClockSkew)) {
		c.add("issued_at", "must not be later than now, %s", now.UTC().Format(time.RFC3339))
	}
	date := DateIn(at.In(zone))
	c.issued = &date
}

// date looks at the date of day i.
func (c *outlookCheck) date(i int) {
	field, days := fmt.Sprintf("days[%d].date", i), c.draft.Days
	d := days[i].Date
	same := func(o OutlookDay) bool { return o.Date != nil && *o.Date == *d }
	switch {
	case d == nil:
		c.add(field, "is needed")
	case slices.ContainsFunc(days[:i], same):
		c.add(field, "is there twice")
	case i == 0 && c.issued != nil && *d != *c.issued && *d != *c.issued+1:
		c.add(field, "must be %s, the day it was issued on at the farm, or the day after", *c.issued)
	case i > 0 && days[i-1].Date != nil && *d != *days[i-1].Date+1:
		c.add(field, "must be %s, the day after the one before", *days[i-1].Date+1)
	}
}

// extremes looks at the temperatures of day i, and keeps them.
func (c *outlookCheck) extremes(i int) {
	d, unit := c.draft.Days[i], c.draft.Unit
	prefix := fmt.Sprintf("days[%d].", i)
	bad := false
	for _, x := range []struct {
		field string
		value *float64
	}{{"min", d.Min}, {"max", d.Max}} {
		fault := "is needed"
		if x.value != nil {
			fault = ""
			if unit.known() {
				fault = temperatureFault(x.field, *x.value, unit)
			}
		}
		if fault != "" {
			c.add(prefix+x.field, "%s", fault)
			bad = true
		}
	}
	if d.Min == nil || d.Max == nil {
		return
	}
	c.numbers++
	lo, hi := unit.Celsius(*d.Min), unit.Celsius(*d.Max)
	c.hot.see(lo, hi)
	if !bad && !(*d.Min <= *d.Max) {
		c.add(prefix+"min", "min %g is above max %g", *d.Min, *d.Max)
	}
	if d.Date != nil {
		c.days = append(c.days, Day{*d.Date, lo, hi})
	}
}
