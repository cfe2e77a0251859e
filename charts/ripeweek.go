package charts

import (
	"errors"
	"io"
	"math"
	"strings"

	"gonum.org/v1/plot/vg"
)

// RipeWeek is a picture for everybody: whether a farm is open, and what is ripe
// in the coming days. It makes no words of its own, so that it speaks whatever
// language they are in. Heading is required.
type RipeWeek struct {
	Heading string // the farm
	Finding string // when it is open, in a sentence; may be empty
	Head    string // what stands above the rows, "Ripe this week"; without rows unused
	Days    []WeekDay
	Rows    []RipeRow
	Next    string // what comes next, in a sentence; may be empty
	Key     string // what the beads mean; without rows unused
	Basis   string // as of when, and what to mind; may be empty
}

// WeekDay is one day of the coming ones, the first of which is today; at most
// ten.
type WeekDay struct {
	Name    string // "Mon"
	Number  string // "11"
	Weekend bool
}

// RipeRow is a variety; On says for each of the days whether it is ripe. There
// are at most 40.
type RipeRow struct {
	Name string
	On   []bool
}

const (
	maxWeekDays = 10
	maxRipeRows = 40
)

// Title is the name of the picture in one line.
func (r RipeWeek) Title() string { return clean(r.Heading) }

// Description says all that the picture shows.
func (r RipeWeek) Description() string {
	m, err := r.model()
	if err != nil {
		return noChart
	}
	var names []string
	for _, x := range m.Rows {
		var on []string
		for i, yes := range x.On {
			if yes {
				on = append(on, m.Days[i].Name+" "+m.Days[i].Number)
			}
		}
		names = append(names, x.Name+" ("+strings.Join(on, ", ")+")")
	}
	rows := ""
	if names != nil {
		rows = m.Head + ": " + strings.Join(names, "; ")
	}
	return prose(m.Finding, rows, m.Next, m.Basis)
}

// Validate reports what keeps the picture from being drawn. All faults are
// joined; each wraps [ErrInvalidChart] and names the field.
func (r RipeWeek) Validate() error {
	_, err := r.model()
	return err
}

// WriteSVG draws the picture as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (r RipeWeek) WriteSVG(w io.Writer, opt Options) error { return writeSVG(w, opt, "ripe", r.lay) }

// WritePNG draws the picture as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (r RipeWeek) WritePNG(w io.Writer, opt Options) error { return writePNG(w, opt, r.lay) }

func (r RipeWeek) lay(opt Options) (drawing, error) {
	m, err := r.model()
	if err != nil {
		return nil, err
	}
	return newRipeSheet(m, opt), nil
}

// model returns a clean copy.
func (r RipeWeek) model() (*RipeWeek, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &RipeWeek{
		Heading: clean(r.Heading), Finding: cleanTo(r.Finding, maxSentences), Head: clean(r.Head), Next: cleanTo(r.Next, maxSentences),
		Key: clean(r.Key), Basis: cleanTo(r.Basis, maxSentences),
	}
	c.must(m.Heading != "", "Heading: empty")
	c.must(len(r.Days) <= maxWeekDays, "Days: %d are more than %d", len(r.Days), maxWeekDays)
	c.must(len(r.Rows) <= maxRipeRows, "Rows: %d are more than %d", len(r.Rows), maxRipeRows)
	c.must(len(r.Rows) == 0 || len(r.Days) > 0, "Days: none for the rows")
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	for i, d := range r.Days {
		d.Name, d.Number = clean(d.Name), clean(d.Number)
		c.must(d.Name != "" && d.Number != "", "Days[%d]: has no name or number", i)
		m.Days = append(m.Days, d)
	}
	for i, x := range r.Rows {
		x.Name = clean(x.Name)
		c.must(x.Name != "", "Rows[%d].Name: empty", i)
		c.must(len(x.On) == len(r.Days), "Rows[%d].On: %d are not one for each of %d days", i, len(x.On), len(r.Days))
		m.Rows = append(m.Rows, x)
	}
	return m, errors.Join(c.errs...)
}

// ripeSheet is the picture laid out: a wire for each variety with a bead on each
// day on which it is ripe.
type ripeSheet struct {
	board
	m           *RipeWeek
	x0, column  float64
	top, bottom float64   // of the days
	wires       []float64 // heights of the rows' lines
}

const (
	ripeBead = 17.0 // height of a bead
	ripeLine = 32.0 // of a row with its name beside it
	daysHead = 36.0 // height of the names and numbers of days
)

func newRipeSheet(m *RipeWeek, opt Options) *ripeSheet {
	s := &ripeSheet{board: newBoard(opt, m.Heading, m.Description()), m: m}
	y := s.heading(m.Heading, false, m.Finding, "")
	inner := s.w - 2*s.margin
	if len(m.Rows) > 0 {
		y = s.placeWeek(y, inner)
	}
	y -= 6
	if m.Next != "" {
		y = s.paragraph(s.margin, y, findingStyle, s.pal.ink, style{14, false}.wrap(m.Next, inner, 4)) + 4
	}
	for _, words := range []string{m.key(), m.Basis} {
		if words != "" {
			y = s.paragraph(s.margin, y, noteStyle, s.pal.soft, noteStyle.wrap(words, inner, 6))
		}
	}
	s.h = math.Ceil(y + s.margin*0.7)
	return s
}

// key is what the beads mean, if there are any.
func (r *RipeWeek) key() string {
	if len(r.Rows) == 0 {
		return ""
	}
	return r.Key
}

// placeWeek sets the days and the rows under y and returns their end.
func (s *ripeSheet) placeWeek(y, inner float64) float64 {
	m, n := s.m, float64(len(s.m.Days))
	names := 0.0
	for _, r := range m.Rows {
		names = max(names, nameStyle.width(r.Name))
	}
	beside := names+16 <= inner*0.42 // Else names stand above their wires.
	s.x0 = s.margin
	head := m.Head
	if beside {
		s.x0 = math.Round(s.margin + max(names, min(nameStyle.width(head), inner*0.42-16)) + 16)
	}
	s.column = (s.w - s.margin - s.x0) / n
	if beside && nameStyle.width(head) <= s.x0-s.margin-8 {
		s.say(s.margin, y+29, nameStyle, left, s.pal.ink, head)
	} else {
		y += 20
		s.say(s.margin, y-5, nameStyle, left, s.pal.ink, nameStyle.fit(head, inner))
	}
	s.top = y
	for i, d := range m.Days {
		st, ink := tickStyle, s.pal.soft
		if i == 0 {
			st, ink = seenStyle, s.pal.ink
		}
		x := s.x0 + s.column*(float64(i)+0.5)
		s.say(x, y+14, st, centre, ink, st.fit(d.Name, s.column-2))
		s.say(x, y+29, st, centre, ink, st.fit(d.Number, s.column-2))
	}
	y += daysHead
	for _, r := range m.Rows {
		if beside {
			s.say(s.margin, y+ripeLine/2+4.5, nameStyle, left, s.pal.ink, r.Name)
			s.wires = append(s.wires, y+ripeLine/2)
			y += ripeLine
			continue
		}
		for _, l := range nameStyle.wrap(r.Name, inner, 2) {
			y += 17
			s.say(s.margin, y-3, nameStyle, left, s.pal.ink, l)
		}
		s.wires = append(s.wires, y+ripeBead/2+4)
		y += ripeBead + 10
	}
	s.bottom = y
	return y + 14
}

// draw draws the whole picture on c.
func (s *ripeSheet) draw(c vg.Canvas) {
	_, p := s.paint(c)
	p.group("days", 0, "", func() {
		for i := 0; i < len(s.m.Days) && len(s.wires) > 0; i++ {
			from := i // Days that follow each other are one rectangle, without a seam.
			for i < len(s.m.Days) && s.m.Days[i].Weekend {
				i++
			}
			p.rect(s.x0+s.column*float64(from), s.top, s.x0+s.column*float64(i), s.bottom, p.pal.weekend)
		}
	})
	for i, y := range s.wires {
		p.group("row", i+1, s.m.Rows[i].Name, func() { s.drawRow(p, s.m.Rows[i], y) })
	}
	p.group("words", 0, "", func() { s.writeLabels(p) })
}

// drawRow draws a wire and its beads: today's in strong red, the others in soft
// red with a rim.
func (s *ripeSheet) drawRow(p pen, r RipeRow, y float64) {
	p.line([]point{{s.x0, y}, {s.w - s.margin, y}}, p.pal.wire, 1)
	half := min(s.column*0.42, 26)
	for i, on := range r.On {
		if !on {
			continue
		}
		x := s.x0 + s.column*(float64(i)+0.5)
		bead := p.pill(x-half, y-ripeBead/2, x+half, y+ripeBead/2)
		fill := p.pal.flesh
		if i == 0 {
			fill = p.pal.berry
		}
		p.c.SetColor(fill)
		p.c.Fill(bead)
		p.set(p.pal.berry, 1.2)
		p.c.Stroke(bead)
	}
}
