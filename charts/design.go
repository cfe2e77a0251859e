package charts

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"
)

// Design shows what a planting list does over many possible seasons, as it stands
// and with changes: the ripe fruit standing on each Saturday with its range, and
// day by day in how many of ten seasons nothing is ripe. All dates are midnights
// in UTC of the years 1900 to 2199. Days are required.
type Design struct {
	Heading string // empty stands for "The planting list over all past weather"
	Finding string // what there is to know, in a sentence; may be empty
	Basis   string // what it rests on; may be empty
	Units   Units  // US draws lb
	Changed bool   // else only Before is drawn

	Days      []DesignDay      // in rising order, at most 200 dates from first to last
	Saturdays []DesignSaturday // in rising order, within Days
}

// DesignDay is a day; a gap is a share of seasons, 0 to 1.
type DesignDay struct {
	Date                time.Time
	GapBefore, GapAfter float64
}

// DesignSaturday is the ripe fruit standing on a Saturday, kg.
type DesignSaturday struct {
	Date          time.Time
	Before, After DesignRange
}

// DesignRange is a range of weights, kg.
type DesignRange struct{ P10, P50, P90 float64 }

const maxDesignDays = 200

type designDay struct {
	date          day
	before, after float64
}

type designSaturday struct {
	date          day
	before, after DesignRange // in display units
}

// designModel is a validated copy of a Design, in display units.
type designModel struct {
	caption
	units     Units
	changed   bool
	lo, hi    day // dates on the axis: lo <= d < hi
	days      []designDay
	saturdays []designSaturday
}

// Title is the name of the chart in one line.
func (d Design) Title() string { return d.caption().title() }

func (d Design) caption() caption {
	return newCaption(d.Heading, "The planting list over all past weather", d.Finding, d.Basis, false)
}

// Description says in plain sentences all that the chart shows.
func (d Design) Description() string {
	m, err := d.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are joined;
// each wraps [ErrInvalidChart] and names the field.
func (d Design) Validate() error {
	_, err := d.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (d Design) WriteSVG(w io.Writer, opt Options) error { return writeSVG(w, opt, "design", d.lay) }

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (d Design) WritePNG(w io.Writer, opt Options) error { return writePNG(w, opt, d.lay) }

func (d Design) lay(opt Options) (drawing, error) {
	m, err := d.model()
	if err != nil {
		return nil, err
	}
	return newDesignSheet(m, opt), nil
}

func (d Design) model() (*designModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &designModel{caption: d.caption(), units: d.Units, changed: d.Changed}
	c.must(d.Units == Metric || d.Units == US, "Units: %d is unknown", d.Units)
	c.must(1 <= len(d.Days) && len(d.Days) <= maxDesignDays, "Days: %d are not 1 to %d", len(d.Days), maxDesignDays)
	c.must(len(d.Saturdays) <= maxDesignDays, "Saturdays: %d are more than %d", len(d.Saturdays), maxDesignDays)
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	per := 1.0
	if d.Units == US {
		per = lbPerKg
	}
	for i, x := range d.Days {
		at := fmt.Sprintf("Days[%d]", i)
		y := designDay{c.date(at+".Date", x.Date), x.GapBefore, x.GapAfter}
		for _, p := range []float64{x.GapBefore, x.GapAfter} {
			c.must(0 <= p && p <= 1, "%s: share %v is not 0 to 1", at, p)
		}
		c.must(i == 0 || m.days[i-1].date < y.date, "%s.Date: not in rising order", at)
		m.days = append(m.days, y)
	}
	m.lo, m.hi = m.days[0].date, m.days[len(m.days)-1].date+1
	c.must(m.hi-m.lo <= maxDesignDays, "Days: from first to last are %d days, more than %d", m.hi-m.lo, maxDesignDays)
	for i, x := range d.Saturdays {
		at := fmt.Sprintf("Saturdays[%d]", i)
		weigh := func(field string, r DesignRange) DesignRange {
			c.must(r.P10 <= r.P50 && r.P50 <= r.P90, "%s.%s: P10, P50 and P90 are not in order", at, field)
			return DesignRange{per * c.kg(at+".P10", r.P10), per * c.kg(at+".P50", r.P50), per * c.kg(at+".P90", r.P90)}
		}
		y := designSaturday{c.date(at+".Date", x.Date), weigh("Before", x.Before), weigh("After", x.After)}
		c.must(y.date.weekday() == time.Saturday, "%s.Date: is no Saturday", at)
		c.must(m.lo <= y.date && y.date < m.hi, "%s.Date: is not among the days", at)
		c.must(i == 0 || m.saturdays[i-1].date < y.date, "%s.Date: not in rising order", at)
		m.saturdays = append(m.saturdays, y)
	}
	return m, errors.Join(c.errs...)
}

func (m *designModel) description() string {
	out := []string{m.finding, m.basis}
	pair := func(before, after string) string {
		if !m.changed {
			return before
		}
		return "as it stands " + before + ", with the changes " + after
	}
	kg := func(r DesignRange) string {
		return m.units.weight(r.P50) + " (" + m.units.weight(r.P10) + " to " + m.units.weight(r.P90) + ")"
	}
	for _, s := range m.saturdays {
		out = append(out, "Ripe fruit on "+m.units.date(s.date)+": "+pair(kg(s.before), kg(s.after)))
	}
	any := false
	for _, d := range m.days {
		if math.Round(100*d.before) == 0 && (!m.changed || math.Round(100*d.after) == 0) {
			continue
		}
		any = true
		out = append(out, "Nothing ripe on "+m.units.date(d.date)+", in 100 seasons: "+pair(fmt.Sprintf("%.0f", 100*d.before), fmt.Sprintf("%.0f", 100*d.after)))
	}
	if !any {
		out = append(out, "On no day is nothing ripe in as many as one of 100 seasons")
	}
	return prose(out...)
}
