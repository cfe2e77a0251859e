package charts

import (
	"errors"
	"fmt"
	"io"
	"time"
)

// Pickings shows the ripe fruit that one forecast expected to stand on each day
// beside what was picked. All dates are midnights in UTC of the years 1900 to
// 2199. AsOf and Picked are required.
type Pickings struct {
	Heading string // empty stands for "Ripe fruit forecast, and what was picked"
	Finding string // what there is to know, in a sentence; may be empty
	Basis   string // what it rests on; may be empty
	Units   Units  // US draws lb

	AsOf   time.Time      // the morning of the forecast
	Ripe   []PickingsRipe // in rising order; may be empty
	Picked []PickingsDay  // in rising order; a date without a day is not known
}

// PickingsRipe is the ripe fruit standing on a day, kg, as it was forecast.
type PickingsRipe struct {
	Date          time.Time
	P10, P50, P90 float64
}

// PickingsDay is what was picked on a day.
type PickingsDay struct {
	Date   time.Time
	Kg     float64 // the sum of all plantings
	Closed bool    // for rain or rest nothing could be picked; Kg is 0
}

const maxPickingsSpan = 200

type pickedDay struct {
	date   day
	weight float64
	closed bool
}

type ripeDay struct {
	date        day
	lo, mid, hi float64
}

// pickingsModel is a validated copy of a Pickings, in display units.
type pickingsModel struct {
	caption
	units  Units
	asOf   day
	lo, hi day // dates on the axis: lo <= d < hi
	ripe   []ripeDay
	picked []pickedDay
}

// Title is the name of the chart in one line.
func (k Pickings) Title() string { return k.caption().title() }

func (k Pickings) caption() caption {
	return newCaption(k.Heading, "Ripe fruit forecast, and what was picked", k.Finding, k.Basis, false)
}

// Description says in plain sentences what the chart shows: day by day what was
// picked and what was forecast to stand.
func (k Pickings) Description() string {
	m, err := k.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are joined;
// each wraps [ErrInvalidChart] and names the field.
func (k Pickings) Validate() error {
	_, err := k.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (k Pickings) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "pickings", k.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (k Pickings) WritePNG(w io.Writer, opt Options) error { return writePNG(w, opt, k.lay) }

func (k Pickings) lay(opt Options) (drawing, error) {
	m, err := k.model()
	if err != nil {
		return nil, err
	}
	return newPickingsSheet(m, opt), nil
}

func (k Pickings) model() (*pickingsModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &pickingsModel{caption: k.caption(), units: k.Units, asOf: c.date("AsOf", k.AsOf)}
	c.must(k.Units == Metric || k.Units == US, "Units: %d is unknown", k.Units)
	c.must(1 <= len(k.Picked) && len(k.Picked) <= maxPickingsSpan, "Picked: %d are not 1 to %d", len(k.Picked), maxPickingsSpan)
	c.must(len(k.Ripe) <= maxPickingsSpan, "Ripe: %d are more than %d", len(k.Ripe), maxPickingsSpan)
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	per := 1.0
	if k.Units == US {
		per = lbPerKg
	}
	for i, r := range k.Ripe {
		at := fmt.Sprintf("Ripe[%d]", i)
		x := ripeDay{c.date(at+".Date", r.Date), per * c.kg(at+".P10", r.P10), per * c.kg(at+".P50", r.P50), per * c.kg(at+".P90", r.P90)}
		c.must(r.P10 <= r.P50 && r.P50 <= r.P90, "%s: P10, P50 and P90 are not in order", at)
		c.must(i == 0 || m.ripe[i-1].date < x.date, "%s.Date: not after the one before", at)
		m.ripe = append(m.ripe, x)
	}
	for i, p := range k.Picked {
		at := fmt.Sprintf("Picked[%d]", i)
		x := pickedDay{c.date(at+".Date", p.Date), per * c.kg(at+".Kg", p.Kg), p.Closed}
		c.must(!p.Closed || p.Kg == 0, "%s: closed, and something was picked", at)
		c.must(i == 0 || m.picked[i-1].date < x.date, "%s.Date: not after the one before", at)
		m.picked = append(m.picked, x)
	}
	m.lo, m.hi = m.picked[0].date, m.picked[len(m.picked)-1].date+1
	if n := len(m.ripe); n > 0 {
		m.lo, m.hi = min(m.lo, m.ripe[0].date), max(m.hi, m.ripe[n-1].date+1)
	}
	c.must(m.hi-m.lo <= maxPickingsSpan, "Ripe and Picked: over %d dates, more than %d", m.hi-m.lo, maxPickingsSpan)
	return m, errors.Join(c.errs...)
}

// gone counts the days between the first and the last picking without an entry.
func (m *pickingsModel) gone() int {
	return int(m.picked[len(m.picked)-1].date-m.picked[0].date) + 1 - len(m.picked)
}

func (m *pickingsModel) description() string {
	out := []string{m.finding, m.basis}
	if len(m.ripe) > 0 {
		out = append(out, "Ripe fruit as it was forecast on the morning of "+m.units.dateYear(m.asOf))
	}
	ripe := map[day]ripeDay{}
	for _, r := range m.ripe {
		ripe[r.date] = r
	}
	total := 0.0
	for _, p := range m.picked {
		total += p.weight
		s := m.units.date(p.date) + ": "
		if p.closed {
			s += "closed"
		} else {
			s += "picked " + m.units.weight(p.weight)
		}
		if r, ok := ripe[p.date]; ok {
			s += ", forecast " + m.units.weight(r.mid) + " (" + m.units.weight(r.lo) + " to " + m.units.weight(r.hi) + ")"
		}
		out = append(out, s)
	}
	out = append(out, "Picked in all: "+m.units.weight(total))
	if n := m.gone(); n > 0 {
		out = append(out, plural(n, "day in between has", "days in between have")+" no entry")
	}
	return prose(out...)
}
