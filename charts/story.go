package charts

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// Story shows how a planting gathers degree-days from bloom on and when they
// reach what its stages require. All dates are midnights in UTC of the years
// 1900 to 2199. Bloom and AsOf are required.
type Story struct {
	Heading  string // "Wendelin, North slope"; empty stands for "Story of a planting"
	Finding  string // what is to come, in a sentence; empty stands for the stages and their dates
	Basis    string // what it rests on; may be empty
	Hindcast bool   // true when it was made afterwards, from what was known on AsOf
	Units    Units  // US draws °F·d

	Bloom time.Time // degree-days are summed over the days after it
	AsOf  time.Time // the morning it is told

	Past  []HeatDay   // every day from the one after Bloom to the last known one, before AsOf
	Ahead []HeatRange // every day after these, as far as the story goes

	OutlookThrough time.Time // last day that rests on an outlook; zero for none

	Needs []Need // in the order of the stages; at most 5
}

// HeatDay is the degree-days since bloom at the end of one day.
type HeatDay struct {
	Date   time.Time
	SumC   float64 // °C·d, this day included; never falls
	Filled bool    // the day was not observed
}

// HeatRange holds quantiles of the degree-days since bloom at the end of a day
// to come, in °C·d; none falls from day to day.
type HeatRange struct {
	Date             time.Time
	P10C, P50C, P90C float64
}

// Need is what one stage requires, and when it came or should come.
type Need struct {
	Stage            string    // "first ripe"
	P10C, P50C, P90C float64   // degree-days from bloom, °C·d
	Seen             time.Time // the day it was seen, from Bloom to AsOf; zero if it was not
	When             Range     // expected date; zero to leave unsaid
}

const (
	maxNeeds = 5
	maxHeatC = 20000 // °C·d
	fPerC    = 9.0 / 5
)

// heat is one drawn day: degree-days at its end, in display units.
type heat struct {
	date          day
	p10, p50, p90 float64
	kind          heatKind
}

type heatKind int

const (
	observed heatKind = iota
	filled            // past, but not observed
	outlook           // to come, from an outlook
	replayed          // to come, from past weather
)

type need struct {
	stage         string
	p10, p50, p90 float64
	seen          day
	hasSeen       bool
	when          span
	hasWhen       bool
}

// storyModel is a validated copy of a Story, in display units.
type storyModel struct {
	caption
	units       Units
	bloom, asOf day
	days        []heat // from the day after bloom on, without holes
	needs       []need
	outlookEnd  day
	hasOutlook  bool
	lo, hi      day
	over        day // of a season that is over: when its last stage came, or should have
	isOver      bool
	top         float64
}

// Title is the name of the chart in one line.
func (s Story) Title() string { return s.caption().title() }

func (s Story) caption() caption {
	return newCaption(s.Heading, "Story of a planting", s.Finding, s.Basis, s.Hindcast)
}

// Description says in plain sentences all that the chart shows: bloom, the
// degree-days so far and to come, and stage by stage what it requires and when
// it came or should come.
func (s Story) Description() string {
	m, err := s.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are
// joined; each wraps [ErrInvalidChart] and names the field.
func (s Story) Validate() error {
	_, err := s.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (s Story) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "story", s.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (s Story) WritePNG(w io.Writer, opt Options) error {
	return writePNG(w, opt, s.lay)
}

func (s Story) lay(opt Options) (drawing, error) {
	m, err := s.model()
	if err != nil {
		return nil, err
	}
	return newStorySheet(m, opt), nil
}

func (s Story) model() (*storyModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &storyModel{
		caption: s.caption(), units: s.Units,
		bloom: c.date("Bloom", s.Bloom), asOf: c.date("AsOf", s.AsOf),
	}
	factor := 1.0
	if s.Units == US {
		factor = fPerC
	}
	c.must(s.Units == Metric || s.Units == US, "Units: %d is unknown", s.Units)
	c.must(m.bloom <= m.asOf, "Bloom: after AsOf")
	c.must(len(s.Needs) <= maxNeeds, "Needs: %d are more than %d", len(s.Needs), maxNeeds)
	if !s.OutlookThrough.IsZero() {
		m.outlookEnd, m.hasOutlook = c.date("OutlookThrough", s.OutlookThrough), true
	}
	if n := len(s.Past) + len(s.Ahead); n > maxSpan {
		c.must(false, "Past and Ahead: %d days are more than %d", n, maxSpan)
		return nil, errors.Join(c.errs...)
	}
	before := heat{date: m.bloom}
	add := func(at string, h heat) {
		c.must(h.date == before.date+1, "%s.Date: not the day after the one before", at)
		c.must(before.p10 <= h.p10 && before.p50 <= h.p50 && before.p90 <= h.p90, "%s: degree-days fall", at)
		c.must(h.p10 <= h.p50 && h.p50 <= h.p90, "%s: P10C, P50C and P90C are not in order", at)
		before = h
		h.p10, h.p50, h.p90 = h.p10*factor, h.p50*factor, h.p90*factor
		m.days = append(m.days, h)
	}
	for i, d := range s.Past {
		at := fmt.Sprintf("Past[%d]", i)
		h := heat{date: c.date(at+".Date", d.Date)}
		h.p50 = c.heat(at+".SumC", d.SumC)
		h.p10, h.p90 = h.p50, h.p50
		if d.Filled {
			h.kind = filled
		}
		c.must(h.date < m.asOf, "%s.Date: not before AsOf", at)
		add(at, h)
	}
	for i, d := range s.Ahead {
		at := fmt.Sprintf("Ahead[%d]", i)
		h := heat{
			date: c.date(at+".Date", d.Date), kind: replayed,
			p10: c.heat(at+".P10C", d.P10C), p50: c.heat(at+".P50C", d.P50C), p90: c.heat(at+".P90C", d.P90C),
		}
		if m.hasOutlook && h.date <= m.outlookEnd {
			h.kind = outlook
		}
		add(at, h)
	}
	for i, n := range s.Needs {
		m.needs = append(m.needs, c.need(i, n, m, factor))
	}
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	m.setAxis()
	if n := int(m.hi - m.lo); n > maxSpan+30 {
		return nil, fmt.Errorf("%w: its dates are %d days apart, more than %d", ErrInvalidChart, n, maxSpan+30)
	}
	return m, nil
}

func (c *checker) heat(at string, x float64) float64 {
	c.must(0 <= x && x <= maxHeatC, "%s: %v is not 0 to %d", at, x, maxHeatC)
	return x
}

func (c *checker) need(i int, n Need, m *storyModel, factor float64) need {
	at := fmt.Sprintf("Needs[%d]", i)
	out := need{
		stage: clean(n.Stage), p10: c.heat(at+".P10C", n.P10C) * factor,
		p50: c.heat(at+".P50C", n.P50C) * factor, p90: c.heat(at+".P90C", n.P90C) * factor,
	}
	c.must(out.stage != "", "%s.Stage: empty", at)
	c.must(0 < n.P50C && n.P10C <= n.P50C && n.P50C <= n.P90C, "%s: P10C, P50C and P90C are not above 0 and in order", at)
	if !n.Seen.IsZero() {
		out.seen, out.hasSeen = c.date(at+".Seen", n.Seen), true
		c.must(m.bloom <= out.seen && out.seen <= m.asOf, "%s.Seen: not from Bloom to AsOf", at)
	}
	if n.When != (Range{}) {
		out.when, out.hasWhen = c.span(at+".When", n.When), true
		c.must(m.bloom <= out.when[0], "%s.When: before Bloom", at)
	}
	return out
}

// setAxis chooses what to draw: from bloom to the day on which even a cool
// season has passed the last requirement, or to the end of what is given.
func (m *storyModel) setAxis() {
	most := 0.0
	for _, n := range m.needs {
		most = max(most, n.p90)
	}
	m.lo, m.hi = m.bloom-1, m.asOf+1
	if end, over := m.ended(); over {
		// What came after it is no part of the story.
		m.isOver, m.hi = true, end+1
		m.days = slices.DeleteFunc(m.days, func(h heat) bool { return h.date > m.hi })
		m.hasOutlook = false
	}
	for _, h := range m.days {
		m.hi = max(m.hi, h.date+1)
		if most > 0 && h.p10 >= most && h.date >= m.asOf {
			break
		}
	}
	for _, n := range m.needs {
		if n.hasWhen && !n.hasSeen {
			m.hi = max(m.hi, n.when[2]+1)
		}
	}
	m.hi += 2
	if n := minDrawn - int(m.hi-m.lo); n > 0 {
		m.hi += day(n)
	}
	m.top = most * 1.1
	for _, h := range m.days {
		if h.date < m.hi && (h.kind == observed || h.kind == filled || most == 0) {
			m.top = max(m.top, h.p90*1.05)
		}
	}
	if m.top == 0 {
		m.top = 100
	}
}

// ended returns the latest day of the stages, if all of them were over well
// before the morning of the story.
func (m *storyModel) ended() (last day, ok bool) {
	for _, n := range m.needs {
		d, middle, sure := n.seen, n.seen, n.hasSeen
		if !sure {
			d, middle, sure = n.when[2], n.when[1], n.hasWhen
		}
		if !sure || d >= m.asOf-overAfter {
			return 0, false
		}
		last, m.over = max(last, d), max(m.over, middle)
	}
	return last, len(m.needs) > 0
}

// overAfter is how many days after its last stage the story ends: until then
// the morning it is told on is drawn with it.
const overAfter = 7

// sum returns the median degree-days at the end of a day.
func (m *storyModel) sum(d day) float64 {
	i := int(d - m.bloom - 1)
	switch {
	case i < 0 || len(m.days) == 0:
		return 0
	case i >= len(m.days):
		return m.days[len(m.days)-1].p50
	}
	return m.days[i].p50
}

// reached returns the degree-days in the middle of a day, which is what a
// stage dated to it had.
func (m *storyModel) reached(d day) float64 { return (m.sum(d-1) + m.sum(d)) / 2 }

// heatUnit is "°C·d" or "°F·d".
func (u Units) heatUnit() string { return u.degreeUnit() + "·d" }

// requires says the requirement of a stage: "320–370 °C·d".
func (n need) requires(u Units) string {
	if number(n.p10) == number(n.p90) {
		return number(n.p50) + nbsp + u.heatUnit()
	}
	return number(n.p10) + "–" + number(n.p90) + nbsp + u.heatUnit()
}

// dated says when a stage came or should come; it may be empty.
func (n need) dated(u Units) string {
	switch {
	case n.hasSeen:
		return "seen " + u.date(n.seen)
	case !n.hasWhen:
		return ""
	case n.when[0] == n.when[2]:
		return "about " + u.date(n.when[1])
	}
	return "about " + u.date(n.when[1]) + " " + glue("(8 in 10: "+u.dates(n.when[0], n.when[2])+")")
}

// findings says the stages and their dates.
func (m *storyModel) findings() string {
	if m.finding != "" {
		return m.finding
	}
	var out []string
	for _, n := range m.needs {
		switch {
		case n.hasSeen:
			out = append(out, n.stage+" seen "+glue(m.units.date(n.seen)))
		case n.hasWhen:
			out = append(out, n.stage+" about "+glue(m.units.date(n.when[1])))
		}
	}
	bloom := "Bloom " + glue(m.units.date(m.bloom))
	if len(out) == 0 {
		return bloom + "."
	}
	return bloom + "; " + strings.Join(out, ", ") + "."
}

// now says how far the planting has come.
func (m *storyModel) now() string {
	last, missing := -1, 0
	for i, h := range m.days {
		switch h.kind {
		case filled:
			missing++
			fallthrough
		case observed:
			last = i
		}
	}
	s := "As of the morning of " + glue(m.units.dateYear(m.asOf))
	if m.hindcast {
		s = "Made afterwards, from what was known on the morning of " + glue(m.units.dateYear(m.asOf))
	}
	switch {
	case m.isOver:
		s += ", when the season was over: " + number(m.sum(m.over)) + nbsp + m.units.heatUnit() + " from bloom to " + glue(m.units.date(m.over))
		if missing > 0 {
			s += ", " + plural(missing, "day", "days") + " of it not observed"
		}
	case last >= 0:
		s += ": " + number(m.days[last].p50) + nbsp + m.units.heatUnit() + " since bloom"
		if missing > 0 {
			s += ", " + plural(missing, "day", "days") + " of it not observed"
		}
	}
	if m.hasOutlook {
		s += "; outlook through " + glue(m.units.date(m.outlookEnd))
	}
	return s + "."
}

// ground is the small print over the chart.
func (m *storyModel) ground() string {
	if m.basis == "" {
		return m.now()
	}
	return m.now() + " " + m.basis
}

func (m *storyModel) description() string {
	out := []string{m.findings(), m.ground()}
	for _, n := range m.needs {
		s := upper(n.stage) + " requires " + n.requires(m.units) + " from bloom"
		if d := n.dated(m.units); d != "" {
			s += "; " + d
		}
		out = append(out, s)
	}
	var last *heat
	for i := range m.days {
		if h := &m.days[i]; h.date < m.hi {
			last = h
		}
	}
	if last != nil && last.kind >= outlook {
		out = append(out, fmt.Sprintf("By %s about %s %s are expected, 8 times in 10 %s to %s",
			m.units.date(last.date), number(last.p50), m.units.heatUnit(), number(last.p10), number(last.p90)))
	}
	return prose(out...)
}
