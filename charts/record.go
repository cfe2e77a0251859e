package charts

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

// Record shows the daily lows and highs of a station over about a year: what is
// there, what is missing and what is doubted. All dates are midnights in UTC of
// the years 1900 to 2199. AsOf, From and To are required.
type Record struct {
	Heading string // "Post by the gate"; empty stands for "Daily record"
	Finding string // what there is to know, in a sentence; may be empty
	Basis   string // what it rests on; may be empty
	Units   Units  // US draws °F

	AsOf     time.Time // the morning on which it is looked at
	From, To time.Time // the dates that are drawn, both included, at most 400

	Days     []RecordDay     // in rising order, from From to To
	Usual    []UsualDay      // in rising order, from From to To; may be empty
	Holes    []RecordHole    // in rising order, from From to To, apart from each other
	Suspects []RecordSuspect // in order of date, from From to To
}

// RecordDay is one day that is known.
type RecordDay struct {
	Date       time.Time
	MinC, MaxC float64 // °C, -90 to 60, MinC not above MaxC
	Lent       bool    // another station's, moved to this place
}

// UsualDay is between what the days of that time of year usually lie.
type UsualDay struct {
	Date        time.Time
	LowC, HighC float64 // °C, -90 to 60, LowC not above HighC
}

// RecordHole is a run of dates without a record, both included.
type RecordHole struct{ From, To time.Time }

// RecordSuspect is a day that a test doubts.
type RecordSuspect struct {
	Date   time.Time
	Letter string // A to Z, the same for the same test
	Test   string // what the test finds, in a few words
	Used   bool   // it is used all the same
}

const (
	maxRecordSpan = 400
	coldest       = -90 // °C, as the days of package weather
	warmest       = 60
)

// lohi is a low and a high in display units.
type lohi struct {
	date   day
	lo, hi float64
	lent   bool
}

type suspect struct {
	date         day
	letter, test string
	used         bool
}

// recordModel is a validated copy of a Record, in display units.
type recordModel struct {
	caption
	units    Units
	asOf     day
	lo, hi   day // dates on the axis: lo <= d < hi
	days     []lohi
	usual    []lohi
	holes    [][2]day // both included
	suspects []suspect
}

// Title is the name of the chart in one line.
func (r Record) Title() string { return r.caption().title() }

func (r Record) caption() caption {
	return newCaption(r.Heading, "Daily record", r.Finding, r.Basis, false)
}

// Description says in plain sentences all that the chart shows but the single
// days: how many there are, the coldest and the warmest, every hole and every
// suspect.
func (r Record) Description() string {
	m, err := r.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are
// joined; each wraps [ErrInvalidChart] and names the field.
func (r Record) Validate() error {
	_, err := r.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (r Record) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "record", r.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (r Record) WritePNG(w io.Writer, opt Options) error {
	return writePNG(w, opt, r.lay)
}

func (r Record) lay(opt Options) (drawing, error) {
	m, err := r.model()
	if err != nil {
		return nil, err
	}
	return newRecordSheet(m, opt), nil
}

func (r Record) model() (*recordModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &recordModel{
		caption: r.caption(), units: r.Units, asOf: c.date("AsOf", r.AsOf),
		lo: c.date("From", r.From), hi: c.date("To", r.To) + 1,
	}
	c.must(r.Units == Metric || r.Units == US, "Units: %d is unknown", r.Units)
	c.must(m.lo < m.hi && m.hi-m.lo <= maxRecordSpan, "From and To: %d days are not 1 to %d", m.hi-m.lo, maxRecordSpan)
	for _, n := range []int{len(r.Days), len(r.Usual), len(r.Holes)} {
		c.must(n <= maxRecordSpan, "Days, Usual or Holes: %d are more than %d", n, maxRecordSpan)
	}
	c.must(len(r.Suspects) <= 26*maxRecordSpan, "Suspects: %d are too many", len(r.Suspects))
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	before := m.lo - 1
	for i, d := range r.Days {
		at := fmt.Sprintf("Days[%d]", i)
		x := c.lohi(at, d.Date, d.MinC, d.MaxC, r.Units)
		x.lent = d.Lent
		c.must(before < x.date && x.date < m.hi, "%s.Date: not in rising order from From to To", at)
		before = x.date
		m.days = append(m.days, x)
	}
	before = m.lo - 1
	for i, d := range r.Usual {
		at := fmt.Sprintf("Usual[%d]", i)
		x := c.lohi(at, d.Date, d.LowC, d.HighC, r.Units)
		c.must(before < x.date && x.date < m.hi, "%s.Date: not in rising order from From to To", at)
		before = x.date
		m.usual = append(m.usual, x)
	}
	before = m.lo - 1
	for i, h := range r.Holes {
		at := fmt.Sprintf("Holes[%d]", i)
		from, to := c.date(at+".From", h.From), c.date(at+".To", h.To)
		c.must(before < from && from <= to && to < m.hi, "%s: not in rising order from From to To", at)
		before = to
		m.holes = append(m.holes, [2]day{from, to})
	}
	tests := map[string]string{}
	before = m.lo
	for i, s := range r.Suspects {
		at := fmt.Sprintf("Suspects[%d]", i)
		x := suspect{c.date(at+".Date", s.Date), s.Letter, clean(s.Test), s.Used}
		c.must(before <= x.date && x.date < m.hi, "%s.Date: not in order from From to To", at)
		before = x.date
		c.must(len(x.letter) == 1 && "A" <= x.letter && x.letter <= "Z", "%s.Letter: %q is not A to Z", at, x.letter)
		c.must(x.test != "", "%s.Test: empty", at)
		c.must(or(tests[x.letter], x.test) == x.test, "%s: %s stands for two tests", at, x.letter)
		tests[x.letter] = x.test
		m.suspects = append(m.suspects, x)
	}
	return m, errors.Join(c.errs...)
}

// lohi checks a low and a high in °C and returns them in display units.
func (c *checker) lohi(at string, date time.Time, lo, hi float64, u Units) lohi {
	c.must(coldest <= lo && lo <= hi && hi <= warmest, "%s: %v and %v are not in order from %d to %d", at, lo, hi, coldest, warmest)
	x := lohi{date: c.date(at+".Date", date), lo: lo, hi: hi}
	if u == US {
		x.lo, x.hi = lo*9/5+32, hi*9/5+32
	}
	return x
}

// degree writes a temperature as people say it: whole °F, tenths of °C.
func (u Units) degree(x float64) string {
	if u == US {
		x = math.Round(x)
	}
	return u.degrees(x)
}

func (m *recordModel) description() string {
	out := []string{m.finding, m.basis, "Looked at on the morning of " + m.units.dateYear(m.asOf)}
	out = append(out, fmt.Sprintf("Drawn from %s to %s", m.units.dateYear(m.lo), m.units.dateYear(m.hi-1)))
	own, lent := 0, 0
	var cold, warm *lohi
	for i := range m.days {
		d := &m.days[i]
		if d.lent {
			lent++
			continue
		}
		own++
		if cold == nil || d.lo < cold.lo {
			cold = d
		}
		if warm == nil || d.hi > warm.hi {
			warm = d
		}
	}
	if own == 0 {
		out = append(out, "No day is on record")
	} else {
		out = append(out, fmt.Sprintf("%s on record; coldest %s on %s, warmest %s on %s", plural(own, "day", "days"),
			m.units.degree(cold.lo), m.units.date(cold.date), m.units.degree(warm.hi), m.units.date(warm.date)))
	}
	if lent > 0 {
		out = append(out, plural(lent, "day is", "days are")+" lent by another station")
	}
	var holes []string
	for _, h := range m.holes {
		holes = append(holes, m.units.dates(h[0], h[1]))
	}
	switch len(holes) {
	case 0:
		out = append(out, "No hole")
	default:
		out = append(out, "Nothing on record: "+strings.Join(holes, "; "))
	}
	for _, r := range m.runs() {
		s := m.units.dates(r.from, r.to) + ": " + r.test
		if r.used {
			s += " (used all the same)"
		}
		out = append(out, s)
	}
	if len(m.suspects) == 0 {
		out = append(out, "No day is doubted")
	}
	return prose(out...)
}

// suspectRun is days in a row that one test doubts.
type suspectRun struct {
	suspect
	from, to day
}

// runs joins suspects of days in a row, of one test and used alike, in order of
// their first day.
func (m *recordModel) runs() []suspectRun {
	var out []suspectRun
	open := map[string]int{} // The last run of a letter.
	for _, s := range m.suspects {
		if i, ok := open[s.letter]; ok && out[i].used == s.used && s.date-out[i].to <= 1 {
			out[i].to = s.date
			continue
		}
		open[s.letter] = len(out)
		out = append(out, suspectRun{s, s.date, s.date})
	}
	return out
}
