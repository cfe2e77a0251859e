package charts

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
)

// Outcome shows what was forecast of a season beside what came: for each
// planting the picking window as it was said, hollow, over the one that came,
// solid. All dates are midnights in UTC of the years 1900 to 2199. Rows are
// required, and at least one of them with a date.
type Outcome struct {
	Heading string // "Season 2018"; empty stands for "As forecast and as it came"
	Finding string // what there is to know, in a sentence; may be empty
	Basis   string // what it rests on; may be empty
	Units   Units  // US writes dates "Jun 5"

	Said  string        // how the forecasts were issued, "at bloom"
	Rows  []OutcomeRow  // 1 to MaxOutcomeRows, in the order drawn
	Gaps  []OutcomeGap  // days on which nothing was ripe, in rising order
	Flags []OutcomeFlag // at most 6
}

// OutcomeRow is one planting.
type OutcomeRow struct {
	Variety, Block string
	Said           *OutcomeSaid // nil: nothing was said
	First, Peak    OutcomeDate  // as they came
	Last           OutcomeDate
	Error          string // of the first ripe fruit, in words; empty: not known
}

// OutcomeSaid is what was forecast of a planting.
type OutcomeSaid struct{ First, Peak, Last Range }

// OutcomeDate is a date as it came. The zero value is not known.
type OutcomeDate struct {
	Date time.Time
	Open bool // it is a bound: first ripe may have come before, last pick after
}

// OutcomeGap is a run of dates, both included.
type OutcomeGap struct{ From, To time.Time }

// OutcomeFlag marks a date.
type OutcomeFlag struct {
	Date time.Time
	Text string // "announced"
}

// MaxOutcomeRows is how many plantings an [Outcome] has at most.
const MaxOutcomeRows = 40

const (
	maxOutcomeSpan = 200
	maxOutcomeFlag = 6
)

// came is a date as it came; known says that there is one.
type came struct {
	day         day
	known, open bool
}

type outcomeRow struct {
	name, block, err  string
	said              bool
	saidFirst, saidPk span
	saidLast          span
	first, peak, last came
}

// outcomeModel is a validated copy of an Outcome.
type outcomeModel struct {
	caption
	units  Units
	said   string
	lo, hi day // dates on the axis: lo <= d < hi
	rows   []outcomeRow
	gaps   [][2]day // both included
	flags  []struct {
		date day
		text string
	}
}

// Title is the name of the chart in one line.
func (o Outcome) Title() string { return o.caption().title() }

func (o Outcome) caption() caption {
	return newCaption(o.Heading, "As forecast and as it came", o.Finding, o.Basis, false)
}

// Description says in plain sentences all that the chart shows, planting by
// planting.
func (o Outcome) Description() string {
	m, err := o.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are joined;
// each wraps [ErrInvalidChart] and names the field.
func (o Outcome) Validate() error {
	_, err := o.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (o Outcome) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "outcome", o.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (o Outcome) WritePNG(w io.Writer, opt Options) error { return writePNG(w, opt, o.lay) }

func (o Outcome) lay(opt Options) (drawing, error) {
	m, err := o.model()
	if err != nil {
		return nil, err
	}
	return newOutcomeSheet(m, opt), nil
}

func (o Outcome) model() (*outcomeModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &outcomeModel{caption: o.caption(), units: o.Units, said: clean(o.Said)}
	c.must(o.Units == Metric || o.Units == US, "Units: %d is unknown", o.Units)
	c.must(1 <= len(o.Rows) && len(o.Rows) <= MaxOutcomeRows, "Rows: %d are not 1 to %d", len(o.Rows), MaxOutcomeRows)
	c.must(len(o.Flags) <= maxOutcomeFlag, "Flags: %d are more than %d", len(o.Flags), maxOutcomeFlag)
	c.must(len(o.Gaps) <= maxOutcomeSpan, "Gaps: %d are too many", len(o.Gaps))
	var all []day
	see := func(at string, d OutcomeDate) came {
		if d.Date.IsZero() {
			return came{}
		}
		x := came{c.date(at, d.Date), true, d.Open}
		all = append(all, x.day)
		return x
	}
	for i, r := range o.Rows {
		at := fmt.Sprintf("Rows[%d]", i)
		x := outcomeRow{name: clean(r.Variety), block: clean(r.Block), err: clean(r.Error)}
		c.must(x.name != "", "%s.Variety: empty", at)
		x.first, x.peak, x.last = see(at+".First", r.First), see(at+".Peak", r.Peak), see(at+".Last", r.Last)
		before := came{}
		for _, d := range []came{x.first, x.peak, x.last} {
			c.must(!d.known || !before.known || before.day <= d.day, "%s: First, Peak and Last are not in order", at)
			if d.known {
				before = d
			}
		}
		if s := r.Said; s != nil {
			x.said = true
			x.saidFirst, x.saidPk, x.saidLast = c.span(at+".Said.First", s.First), c.span(at+".Said.Peak", s.Peak), c.span(at+".Said.Last", s.Last)
			c.must(x.saidFirst[1] <= x.saidPk[1] && x.saidPk[1] <= x.saidLast[1], "%s.Said: First, Peak and Last are not in order", at)
			all = append(all, x.saidFirst[0], x.saidLast[2])
		}
		m.rows = append(m.rows, x)
	}
	for i, f := range o.Flags {
		at := fmt.Sprintf("Flags[%d]", i)
		d, text := c.date(at+".Date", f.Date), clean(f.Text)
		c.must(text != "", "%s.Text: empty", at)
		all = append(all, d)
		m.flags = append(m.flags, struct {
			date day
			text string
		}{d, text})
	}
	c.must(len(all) > 0, "Rows: no date in any of them")
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	m.lo, m.hi = all[0], all[0]
	for _, d := range all {
		m.lo, m.hi = min(m.lo, d), max(m.hi, d)
	}
	m.lo, m.hi = m.lo-2, m.hi+3
	c.must(m.hi-m.lo <= maxOutcomeSpan, "Rows and Flags: over %d dates, more than %d", m.hi-m.lo, maxOutcomeSpan)
	before := m.lo - 1
	for i, g := range o.Gaps {
		at := fmt.Sprintf("Gaps[%d]", i)
		from, to := c.date(at+".From", g.From), c.date(at+".To", g.To)
		c.must(before < from && from <= to && to < m.hi, "%s: not in rising order within the dates", at)
		before = to
		m.gaps = append(m.gaps, [2]day{from, to})
	}
	return m, errors.Join(c.errs...)
}

// label names a row in one line.
func (r outcomeRow) label() string {
	if r.block == "" {
		return r.name
	}
	return r.name + ", " + r.block
}

func (m *outcomeModel) description() string {
	out := []string{m.finding, m.basis}
	if m.said != "" {
		out = append(out, "Forecasts as they were issued "+m.said)
	}
	for _, r := range m.rows {
		var parts []string
		if r.said {
			parts = append(parts, "said "+m.units.dates(r.saidFirst[1], r.saidLast[1]))
		} else {
			parts = append(parts, "nothing was said")
		}
		switch {
		case r.first.known && r.last.known:
			parts = append(parts, "came "+m.units.dates(r.first.day, r.last.day))
		case r.first.known:
			parts = append(parts, "first ripe "+m.units.date(r.first.day)+", its end is not on record")
		case r.last.known:
			parts = append(parts, "last pick "+m.units.date(r.last.day)+", its beginning is not on record")
		default:
			parts = append(parts, "what came is not on record")
		}
		if r.err != "" {
			parts = append(parts, r.err)
		}
		out = append(out, r.label()+": "+strings.Join(parts, "; "))
	}
	for _, g := range m.gaps {
		out = append(out, "Nothing ripe: "+m.units.dates(g[0], g[1]))
	}
	for _, f := range m.flags {
		out = append(out, upper(f.text)+": "+m.units.date(f.date))
	}
	return prose(out...)
}
