package charts

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// BaseProfile shows how the error in days depends on the base temperature, for
// one or more ways to reckon degree-days. The zero value is not valid: Curves
// is required.
type BaseProfile struct {
	Heading string // "Base temperature, Wendelin"; empty stands for "Base temperature"
	Finding string // what the profile says, in a sentence; may be empty
	Basis   string // what it rests on; may be empty
	Units   Units  // US draws °F

	Loss string // what is measured, in days; empty stands for "mean absolute error, days"

	Curves []BaseCurve // 1 to 3; the first is the main one

	// Interval says what the ranges of the main curve are; empty stands for
	// "8 times in 10 when seasons are drawn anew".
	Interval string

	CurrentC  float64  // base temperature in use, °C, -10 to 20
	ProposedC *float64 // base temperature to go over to, °C; nil for none
}

// BaseCurve is the profile of one way to reckon degree-days.
type BaseCurve struct {
	Name   string // "single sine"
	Points []BasePoint
}

// BasePoint is the error at one base temperature.
type BasePoint struct {
	BaseC     float64 // °C, -10 to 20; rises from point to point
	Days      float64 // 0 to 1000
	Low, High float64 // range in days, drawn for the main curve; both 0 for none
}

const (
	maxCurves     = 3
	maxBasePoints = 200
)

// baseModel is a validated copy of a BaseProfile, in display units.
type baseModel struct {
	caption
	loss, interval string
	units          Units
	curves         []BaseCurve // BaseC is in display units
	current        float64
	proposed       float64
	hasProposed    bool
}

// Title is the name of the chart in one line.
func (b BaseProfile) Title() string { return b.caption().title() }

func (b BaseProfile) caption() caption {
	return newCaption(b.Heading, "Base temperature", b.Finding, b.Basis, false)
}

// Description says in plain sentences all that the chart shows: the bases
// marked, then curve by curve the least error and the error at every base.
func (b BaseProfile) Description() string {
	m, err := b.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are
// joined; each wraps [ErrInvalidChart] and names the field.
func (b BaseProfile) Validate() error {
	_, err := b.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (b BaseProfile) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "base", b.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (b BaseProfile) WritePNG(w io.Writer, opt Options) error {
	return writePNG(w, opt, b.lay)
}

func (b BaseProfile) lay(opt Options) (drawing, error) {
	m, err := b.model()
	if err != nil {
		return nil, err
	}
	return newBaseSheet(m, opt), nil
}

func (b BaseProfile) model() (*baseModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &baseModel{
		caption: b.caption(), units: b.Units, loss: upper(or(clean(b.Loss), "mean absolute error, days")),
		interval: or(clean(b.Interval), "8 times in 10 when seasons are drawn anew"),
		current:  c.base("CurrentC", b.CurrentC, b.Units),
	}
	c.must(b.Units == Metric || b.Units == US, "Units: %d is unknown", b.Units)
	if b.ProposedC != nil {
		m.proposed, m.hasProposed = c.base("ProposedC", *b.ProposedC, b.Units), true
	}
	c.must(1 <= len(b.Curves) && len(b.Curves) <= maxCurves, "Curves: %d are not 1 to %d", len(b.Curves), maxCurves)
	for i, curve := range b.Curves {
		at := fmt.Sprintf("Curves[%d]", i)
		k := BaseCurve{Name: clean(curve.Name)}
		c.must(k.Name != "", "%s.Name: empty", at)
		c.must(2 <= len(curve.Points) && len(curve.Points) <= maxBasePoints, "%s.Points: %d are not 2 to %d", at, len(curve.Points), maxBasePoints)
		for j, p := range curve.Points {
			at := fmt.Sprintf("%s.Points[%d]", at, j)
			c.must(j == 0 || curve.Points[j-1].BaseC < p.BaseC, "%s.BaseC: not above the one before", at)
			c.must(0 <= p.Days && p.Days <= maxDays, "%s.Days: %v is not 0 to %d", at, p.Days, maxDays)
			c.must(0 <= p.Low && p.Low <= p.High && p.High <= maxDays, "%s: Low %v and High %v are not in order from 0 to %d", at, p.Low, p.High, maxDays)
			p.BaseC = c.base(at+".BaseC", p.BaseC, b.Units)
			k.Points = append(k.Points, p)
		}
		m.curves = append(m.curves, k)
	}
	return m, errors.Join(c.errs...)
}

// base checks a base temperature in °C and returns it in display units.
func (c *checker) base(at string, x float64, u Units) float64 {
	c.must(-10 <= x && x <= 20, "%s: %v is not -10 to 20", at, x)
	if u == US {
		return x*9/5 + 32
	}
	return x
}

func (p BasePoint) ranged() bool { return p.Low != 0 || p.High != 0 }

// degrees writes a temperature in display units to a tenth: "2.5 °C".
func (u Units) degrees(x float64) string { return degreeNumber(x) + nbsp + u.degreeUnit() }

func degreeNumber(x float64) string {
	return signed(strconv.FormatFloat(math.Round(x*10)/10+0, 'f', -1, 64))
}

func (u Units) degreeUnit() string {
	if u == US {
		return "°F"
	}
	return "°C"
}

// least returns the point of least error, of equals the first.
func (k BaseCurve) least() BasePoint {
	best := k.Points[0]
	for _, p := range k.Points {
		if p.Days < best.Days {
			best = p
		}
	}
	return best
}

func (m *baseModel) description() string {
	out := []string{m.finding, m.basis, m.loss + ", by base temperature", "Base in use " + m.units.degrees(m.current)}
	if m.hasProposed {
		out = append(out, "Proposed "+m.units.degrees(m.proposed))
	} else {
		out = append(out, "No other is proposed")
	}
	for i, k := range m.curves {
		best := k.least()
		var all []string
		for _, p := range k.Points {
			s := m.units.degrees(p.BaseC) + " " + oneDecimal(p.Days)
			if i == 0 && p.ranged() {
				s += " (" + oneDecimal(p.Low) + " to " + oneDecimal(p.High) + ")"
			}
			all = append(all, s)
		}
		out = append(out, upper(k.Name)+": least "+oneDecimal(best.Days)+" days at "+m.units.degrees(best.BaseC)+"; "+strings.Join(all, ", "))
	}
	for _, p := range m.curves[0].Points {
		if p.ranged() {
			out = append(out, "The ranges: "+m.interval)
			break
		}
	}
	return prose(out...)
}
