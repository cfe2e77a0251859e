package charts

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

// Departure shows how warm days were beside their time of year in other years.
// All dates are midnights in UTC of the years 1900 to 2199. Days is required.
type Departure struct {
	Heading string // "Weather of 2018"; empty stands for "Warmer or cooler than usual"
	Finding string // what there is to know, in a sentence; may be empty
	Basis   string // what it rests on; may be empty
	Units   Units  // US draws °F

	// Days in rising order, over 200 dates at most; a date between them that is
	// not there is a hole.
	Days []DepartureDay
	// Stretches are parts of the season with their mean, at most 4, in the order in
	// which they are drawn.
	Stretches []DepartureStretch
}

// DepartureDay is one day.
type DepartureDay struct {
	Date          time.Time
	MeanC, UsualC float64 // °C, -90 to 60
}

// DepartureStretch is a part of the season, both dates included.
type DepartureStretch struct {
	From, To time.Time
	Name     string  // "bloom to first ripe"
	MeanC    float64 // mean of MeanC - UsualC over its days, °C
}

const (
	maxDepartureSpan = 200
	maxStretches     = 4
)

// off is a day's departure in display units.
type off struct {
	date  day
	value float64
}

type offStretch struct {
	from, to day // both included
	text     string
}

// departureModel is a validated copy of a Departure, in display units.
type departureModel struct {
	caption
	units     Units
	lo, hi    day // dates on the axis: lo <= d < hi
	days      []off
	stretches []offStretch
}

// Title is the name of the chart in one line.
func (d Departure) Title() string { return d.caption().title() }

func (d Departure) caption() caption {
	return newCaption(d.Heading, "Warmer or cooler than usual", d.Finding, d.Basis, false)
}

// Description says in plain sentences what the chart shows, but for the single
// days: its stretches, the warmest and the coldest day and how many are missing.
func (d Departure) Description() string {
	m, err := d.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are joined;
// each wraps [ErrInvalidChart] and names the field.
func (d Departure) Validate() error {
	_, err := d.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (d Departure) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "departure", d.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (d Departure) WritePNG(w io.Writer, opt Options) error { return writePNG(w, opt, d.lay) }

func (d Departure) lay(opt Options) (drawing, error) {
	m, err := d.model()
	if err != nil {
		return nil, err
	}
	return newDepartureSheet(m, opt), nil
}

func (d Departure) model() (*departureModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &departureModel{caption: d.caption(), units: d.Units}
	c.must(d.Units == Metric || d.Units == US, "Units: %d is unknown", d.Units)
	c.must(1 <= len(d.Days) && len(d.Days) <= maxDepartureSpan, "Days: %d are not 1 to %d", len(d.Days), maxDepartureSpan)
	c.must(len(d.Stretches) <= maxStretches, "Stretches: %d are more than %d", len(d.Stretches), maxStretches)
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	factor := 1.0
	if d.Units == US {
		factor = 9.0 / 5
	}
	for i, x := range d.Days {
		at := fmt.Sprintf("Days[%d]", i)
		for _, t := range []float64{x.MeanC, x.UsualC} {
			c.must(coldest <= t && t <= warmest, "%s: %v is not %d to %d °C", at, t, coldest, warmest)
		}
		date := c.date(at+".Date", x.Date)
		c.must(i == 0 || m.days[i-1].date < date, "%s.Date: not after the one before", at)
		m.days = append(m.days, off{date, factor * (x.MeanC - x.UsualC)})
	}
	m.lo, m.hi = m.days[0].date, m.days[len(m.days)-1].date+1
	c.must(m.hi-m.lo <= maxDepartureSpan, "Days: over %d dates, more than %d", m.hi-m.lo, maxDepartureSpan)
	for i, s := range d.Stretches {
		at := fmt.Sprintf("Stretches[%d]", i)
		x := offStretch{from: c.date(at+".From", s.From), to: c.date(at+".To", s.To)}
		c.must(m.lo <= x.from && x.from <= x.to && x.to < m.hi, "%s: not in order within the days", at)
		c.must(math.Abs(s.MeanC) <= warmest-coldest, "%s.MeanC: %v cannot be", at, s.MeanC)
		name := clean(s.Name)
		c.must(name != "", "%s.Name: empty", at)
		x.text = name + ": " + m.units.beside(factor*s.MeanC)
		m.stretches = append(m.stretches, x)
	}
	return m, errors.Join(c.errs...)
}

// beside says a departure in display units: "1.8 °C warmer".
func (u Units) beside(x float64) string {
	n := oneDecimal(math.Abs(x))
	switch {
	case n == "0.0":
		return "as usual"
	case x < 0:
		return n + nbsp + u.degreeUnit() + " cooler"
	}
	return n + nbsp + u.degreeUnit() + " warmer"
}

func (m *departureModel) description() string {
	out := []string{m.finding, m.basis}
	var parts []string
	for _, s := range m.stretches {
		parts = append(parts, s.text+", "+m.units.dates(s.from, s.to))
	}
	out = append(out, upper(strings.Join(parts, "; ")))
	warm, cold := m.days[0], m.days[0]
	for _, d := range m.days {
		if d.value > warm.value {
			warm = d
		}
		if d.value < cold.value {
			cold = d
		}
	}
	out = append(out, fmt.Sprintf("Most above the usual on %s, %s; most below on %s, %s",
		m.units.date(warm.date), m.units.beside(warm.value), m.units.date(cold.date), m.units.beside(cold.value)))
	if n := int(m.hi-m.lo) - len(m.days); n > 0 {
		out = append(out, plural(n, "day is", "days are")+" not on record")
	}
	return prose(out...)
}
