package charts

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"
)

// Readiness shows day by day how likely a farm has enough ripe fruit to open,
// on which days it opens at all, and what of the crop has spoiled by then if it
// has not. All dates are midnights in UTC of the years 1900 to 2199. AsOf,
// Confidence and Days are required.
type Readiness struct {
	Heading  string // "When to open"; which is what empty stands for
	Finding  string // what there is to know, in a sentence; may be empty
	Basis    string // what it rests on; may be empty
	Hindcast bool   // made for an earlier day than the day it was made on
	Units    Units  // US writes dates the American way

	AsOf       time.Time  // the morning it is made for
	Confidence float64    // that the farm wants, above 0 to 1
	Days       []ReadyDay // in rising order, at most 200 dates from first to last

	Advised, Decided time.Time // zero for none
	Marks            []Mark    // such as holidays
}

// ReadyDay is one day to open on.
type ReadyDay struct {
	Date  time.Time
	Opens bool    // whether the farm opens on the weekday
	Ready float64 // probability of enough, 0 to 1
	Past  float64 // share of the crop that has spoiled by then, 0 to 1
}

// MaxReadyDays is how many days such a chart has at most.
const MaxReadyDays = 200

type readyDay struct {
	date        day
	opens       bool
	ready, past float64
}

// readinessModel is a validated copy of a Readiness.
type readinessModel struct {
	caption
	units            Units
	asOf             day
	lo, hi           day // dates on the axis: lo <= d < hi
	confidence       float64
	days             []readyDay
	advised, decided *day
	marks            []mark
}

// Title is the name of the chart in one line.
func (r Readiness) Title() string { return r.caption().title() }

func (r Readiness) caption() caption {
	return newCaption(r.Heading, "When to open", r.Finding, r.Basis, r.Hindcast)
}

// Description says in plain sentences all that the chart shows, day by day.
func (r Readiness) Description() string {
	m, err := r.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are
// joined; each wraps [ErrInvalidChart] and names the field.
func (r Readiness) Validate() error {
	_, err := r.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (r Readiness) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "readiness", r.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (r Readiness) WritePNG(w io.Writer, opt Options) error {
	return writePNG(w, opt, r.lay)
}

func (r Readiness) lay(opt Options) (drawing, error) {
	m, err := r.model()
	if err != nil {
		return nil, err
	}
	return newReadinessSheet(m, opt), nil
}

func (r Readiness) model() (*readinessModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &readinessModel{caption: r.caption(), units: r.Units, asOf: c.date("AsOf", r.AsOf), confidence: r.Confidence}
	c.must(r.Units == Metric || r.Units == US, "Units: %d is unknown", r.Units)
	c.must(0 < r.Confidence && r.Confidence <= 1, "Confidence: %v is not above 0 to 1", r.Confidence)
	c.must(1 <= len(r.Days) && len(r.Days) <= MaxReadyDays, "Days: %d are not 1 to %d", len(r.Days), MaxReadyDays)
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	for i, d := range r.Days {
		at := fmt.Sprintf("Days[%d]", i)
		x := readyDay{c.date(at+".Date", d.Date), d.Opens, d.Ready, d.Past}
		c.must(0 <= d.Ready && d.Ready <= 1, "%s.Ready: %v is not 0 to 1", at, d.Ready)
		c.must(0 <= d.Past && d.Past <= 1, "%s.Past: %v is not 0 to 1", at, d.Past)
		c.must(i == 0 || m.days[i-1].date < x.date, "%s.Date: not in rising order", at)
		m.days = append(m.days, x)
	}
	m.lo, m.hi = m.days[0].date, m.days[len(m.days)-1].date+1
	c.must(m.hi-m.lo <= MaxReadyDays, "Days: from first to last are %d days, more than %d", m.hi-m.lo, MaxReadyDays)
	for _, x := range []struct {
		field string
		from  time.Time
		to    **day
	}{{"Advised", r.Advised, &m.advised}, {"Decided", r.Decided, &m.decided}} {
		if !x.from.IsZero() {
			d := c.date(x.field, x.from)
			*x.to = &d
		}
	}
	c.must(len(r.Marks) <= maxNotes, "Marks: %d are more than %d", len(r.Marks), maxNotes)
	for i, k := range r.Marks {
		at := fmt.Sprintf("Marks[%d]", i)
		x := mark{c.date(at+".Date", k.Date), clean(k.Label)}
		c.must(x.label != "", "%s.Label: empty", at)
		m.marks = append(m.marks, x)
	}
	return m, errors.Join(c.errs...)
}

// tenths writes a probability as whole chances in ten; what is not quite all or
// nothing does not become it.
func tenths(p float64) string {
	switch n := math.Round(10 * p); {
	case p > 0 && n == 0:
		return "fewer than 1"
	case p < 1 && n == 10:
		return "more than 9"
	default:
		return fmt.Sprint(n)
	}
}

func (m *readinessModel) description() string {
	out := []string{m.finding, m.basis, upper(asOfWords(m.asOf, m.hindcast, m.units))}
	if m.advised != nil {
		out = append(out, "Advised: "+m.units.date(*m.advised))
	}
	if m.decided != nil {
		out = append(out, "Decided: "+m.units.date(*m.decided))
	}
	out = append(out, fmt.Sprintf("The farm wants %s chances in ten of being ready", tenths(m.confidence)))
	for _, d := range m.days {
		s := fmt.Sprintf("%s: %s in ten", m.units.date(d.date), tenths(d.ready))
		if !d.opens {
			s += ", not open"
		}
		if p := math.Round(100 * d.past); p > 0 {
			s += fmt.Sprintf(", %.0f in 100 of the crop spoiled", p)
		}
		out = append(out, s)
	}
	for _, k := range m.marks {
		out = append(out, k.label+": "+m.units.date(k.date))
	}
	return prose(out...)
}
