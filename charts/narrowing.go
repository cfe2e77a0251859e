package charts

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
)

// Narrowing shows how the dates of a planting's stages moved, and their ranges
// narrowed, from forecast to forecast of one season. All dates are midnights in
// UTC of the years 1900 to 2199. Stages is required, and a range in one of them.
type Narrowing struct {
	Heading  string // "Wendelin, North slope"; empty stands for "How the range narrowed"
	Finding  string // what came of it, in a sentence; empty stands for the first and the last forecast of each stage
	Basis    string // what it rests on; empty stands for the number of forecasts and their mornings
	Hindcast bool   // true when the forecasts were made afterwards
	Units    Units  // of dates and weeks

	Stages []NarrowingStage // in the order of the stages; at most 5

	Marked time.Time // the morning of a forecast to mark; zero for none
}

// NarrowingStage is one stage, as forecast after forecast dated it.
type NarrowingStage struct {
	Stage  string        // "first ripe"
	Issued []IssuedRange // by rising morning, at most 370; none draws nothing
	Seen   time.Time     // the day it was seen; zero if it was not
}

// IssuedRange is what the forecast of one morning said of a stage. Of a stage
// that had been seen by then the three dates are that day.
type IssuedRange struct {
	AsOf time.Time
	When Range
}

// issued is a validated IssuedRange.
type issued struct {
	asOf day
	when span
}

// known reports whether the stage had been seen that morning.
func (r issued) known(s *narrowStage) bool {
	return s.hasSeen && s.seen <= r.asOf && r.when == span{s.seen, s.seen, s.seen}
}

// days returns how many days the range takes in, both ends counted.
func (r issued) days() int { return int(r.when[2]-r.when[0]) + 1 }

// narrowStage is a validated NarrowingStage.
type narrowStage struct {
	stage   string
	issued  []issued
	seen    day
	hasSeen bool
}

// narrowModel is a validated copy of a Narrowing.
type narrowModel struct {
	caption
	units     Units
	stages    []narrowStage
	mornings  int // with a range of any stage
	from, to  day // first and last of them
	marked    day
	hasMarked bool
}

// Title is the name of the chart in one line.
func (n Narrowing) Title() string { return n.caption().title() }

func (n Narrowing) caption() caption {
	return newCaption(n.Heading, "How the range narrowed", n.Finding, n.Basis, n.Hindcast)
}

// Description says in plain sentences what the chart shows: stage by stage the
// dates and ranges of up to seven mornings, the first and the last among them,
// and when it was seen.
func (n Narrowing) Description() string {
	m, err := n.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are
// joined; each wraps [ErrInvalidChart] and names the field.
func (n Narrowing) Validate() error {
	_, err := n.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (n Narrowing) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "narrowing", n.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (n Narrowing) WritePNG(w io.Writer, opt Options) error {
	return writePNG(w, opt, n.lay)
}

func (n Narrowing) lay(opt Options) (drawing, error) {
	m, err := n.model()
	if err != nil {
		return nil, err
	}
	return newNarrowSheet(m, opt), nil
}

func (n Narrowing) model() (*narrowModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &narrowModel{caption: n.caption(), units: n.Units}
	c.must(n.Units == Metric || n.Units == US, "Units: %d is unknown", n.Units)
	c.must(1 <= len(n.Stages) && len(n.Stages) <= maxNeeds, "Stages: %d are not 1 to %d", len(n.Stages), maxNeeds)
	if !n.Marked.IsZero() {
		m.marked, m.hasMarked = c.date("Marked", n.Marked), true
	}
	mornings := map[day]bool{}
	for i, s := range n.Stages {
		m.stages = append(m.stages, c.narrowStage(fmt.Sprintf("Stages[%d]", i), s))
		for _, r := range m.stages[i].issued {
			mornings[r.asOf] = true
		}
	}
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	if m.mornings = len(mornings); m.mornings == 0 {
		return nil, fmt.Errorf("%w: Stages: no range in any of them", ErrInvalidChart)
	}
	first := true
	for d := range mornings {
		if first {
			m.from, m.to, first = d, d, false
		}
		m.from, m.to = min(m.from, d), max(m.to, d)
	}
	if n := int(m.to - m.from); n > maxSpan {
		return nil, fmt.Errorf("%w: its mornings are %d days apart, more than %d", ErrInvalidChart, n, maxSpan)
	}
	for _, s := range m.stages {
		if lo, hi := s.reach(); int(hi-lo) > maxSpan {
			return nil, fmt.Errorf("%w: the dates of %s are %d days apart, more than %d", ErrInvalidChart, s.stage, hi-lo, maxSpan)
		}
	}
	return m, nil
}

func (c *checker) narrowStage(at string, s NarrowingStage) narrowStage {
	out := narrowStage{stage: clean(s.Stage)}
	c.must(out.stage != "", "%s.Stage: empty", at)
	if !s.Seen.IsZero() {
		out.seen, out.hasSeen = c.date(at+".Seen", s.Seen), true
	}
	if n := len(s.Issued); n > maxSpan {
		c.must(false, "%s.Issued: %d are more than %d", at, n, maxSpan)
		return out
	}
	for i, r := range s.Issued {
		at := fmt.Sprintf("%s.Issued[%d]", at, i)
		out.issued = append(out.issued, issued{asOf: c.date(at+".AsOf", r.AsOf), when: c.span(at+".When", r.When)})
		c.must(i == 0 || out.issued[i-1].asOf < out.issued[i].asOf, "%s.AsOf: not after the one before", at)
	}
	return out
}

// reach returns the first and the last date to be drawn of a stage.
func (s *narrowStage) reach() (lo, hi day) {
	for i, r := range s.issued {
		if i == 0 {
			lo, hi = r.when[0], r.when[2]
		}
		lo, hi = min(lo, r.when[0]), max(hi, r.when[2])
	}
	if s.hasSeen && len(s.issued) > 0 {
		lo, hi = min(lo, s.seen), max(hi, s.seen)
	}
	return lo, hi
}

// split parts the forecasts that did not know the stage as seen from those that
// did.
func (s *narrowStage) split() (open, known []issued) {
	for _, r := range s.issued {
		if r.known(s) {
			known = append(known, r)
		} else {
			open = append(open, r)
		}
	}
	return open, known
}

// open returns the forecasts that did not know the stage as seen.
func (s *narrowStage) open() []issued {
	open, _ := s.split()
	return open
}

// says words a range: "about Wed 10 Jun (8 in 10: Mon 8 – Fri 12 Jun)".
func (r issued) says(u Units) string {
	if r.when[0] == r.when[2] {
		return "about " + u.date(r.when[1])
	}
	return "about " + u.date(r.when[1]) + " " + glue("(8 in 10: "+u.dates(r.when[0], r.when[2])+")")
}

// width words how many days a range takes in.
func (r issued) width() string { return plural(r.days(), "day", "days") }

// course words how a stage's range went: "5 days wide on Tue 2 Jun, 17 on Fri 8 May".
func (s *narrowStage) course(u Units) string {
	open := s.open()
	if len(open) == 0 {
		return ""
	}
	first, last := open[0], open[len(open)-1]
	if first.asOf == last.asOf {
		return glue(first.width() + " wide on " + u.date(first.asOf))
	}
	return glue(last.width()+" wide on "+u.date(last.asOf)) + ", " + glue(first.width()+" on "+u.date(first.asOf))
}

// now words what is known of a stage at last.
func (s *narrowStage) now(u Units) string {
	switch {
	case s.hasSeen:
		return "seen " + u.date(s.seen)
	case len(s.issued) == 0:
		return "no date yet"
	}
	return s.issued[len(s.issued)-1].says(u)
}

// findings words each stage: what is known at last, and how the range went.
func (m *narrowModel) findings() string {
	if m.finding != "" {
		return m.finding
	}
	var out []string
	for i := range m.stages {
		s := &m.stages[i]
		t := upper(s.stage) + " "
		switch open := s.open(); {
		case len(s.issued) == 0 && !s.hasSeen:
			continue
		case s.hasSeen && len(open) > 0:
			t += "seen " + glue(m.units.date(s.seen)) + "; on " + glue(m.units.date(open[0].asOf)) + " it was " + open[0].says(m.units)
		case s.hasSeen:
			t += "seen " + glue(m.units.date(s.seen))
		default:
			t += "about " + glue(m.units.date(open[len(open)-1].when[1])) + ", the range " + s.course(m.units)
		}
		out = append(out, t+".")
	}
	return strings.Join(out, " ")
}

// ground is the small print over the chart.
func (m *narrowModel) ground() string {
	if m.basis != "" {
		return m.basis
	}
	u := m.units
	if m.mornings == 1 {
		return "One forecast, as of the morning of " + glue(u.dateYear(m.from)) + ": there is nothing yet to compare it with."
	}
	return plural(m.mornings, "forecast", "forecasts") + ", as of the mornings from " + glue(u.date(m.from)) + " to " + glue(u.dateYear(m.to)) + ", each as it was issued."
}

const mostSaid = 7 // mornings of a stage in the description

func (m *narrowModel) description() string {
	out := []string{m.findings(), m.ground()}
	for i := range m.stages {
		s := &m.stages[i]
		open := s.open()
		var parts []string
		n := min(len(open), mostSaid)
		for k := range n {
			r := open[0]
			if n > 1 {
				r = open[k*(len(open)-1)/(n-1)]
			}
			parts = append(parts, "as of "+m.units.date(r.asOf)+" "+r.says(m.units))
		}
		if s.hasSeen {
			parts = append(parts, "seen "+m.units.date(s.seen))
		}
		if len(parts) == 0 {
			parts = []string{"no date yet"}
		}
		out = append(out, upper(s.stage)+": "+strings.Join(parts, "; "))
	}
	return prose(out...)
}
