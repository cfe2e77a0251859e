package charts

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
)

// LeadError shows how far off a forecast was by how long before the event it
// was made, beside simpler ways to forecast the same events. The zero value is
// not valid: Leads and Forecast are required.
type LeadError struct {
	Heading  string // "Error by lead, first ripe"; empty stands for "Error by lead"
	Finding  string // what the figures say, in a sentence; may be empty
	Basis    string // what they rest on; may be empty
	Hindcast bool   // true when the forecasts were made afterwards

	Loss  string // what is measured, in days; empty stands for "mean absolute error, days"
	Leads []Lead // in the order drawn, the longest first; 1 to 8

	Forecast  LeadSeries
	Baselines []LeadSeries // at most 6

	// Interval says what the ranges of the forecast are; empty stands for
	// "8 times in 10 when seasons are drawn anew".
	Interval string

	// Bias is the mean of forecast less actual in days, positive is late; empty
	// for no panel.
	Bias []LeadPoint
}

// Lead is one lead time and what was scored at it.
type Lead struct {
	Label   string // "at bloom", "21 days"
	Cases   int    // forecasts scored; 0 for none
	Seasons int    // that they come from
}

// LeadSeries is one way to forecast.
type LeadSeries struct {
	Name   string // for the forecast empty stands for "forecast"
	Points []LeadPoint
}

// LeadPoint is a figure at one lead. A lead without a figure has no point.
type LeadPoint struct {
	Lead      int     // index in LeadError.Leads; rises from point to point
	Days      float64 // of a loss 0 to 1000, of a bias -1000 to 1000
	Low, High float64 // its range in days, Low at most High; both 0 for none
}

const (
	maxLeads     = 8
	maxBaselines = 6
	maxDays      = 1000
)

// leadModel is a validated copy of a LeadError.
type leadModel struct {
	caption
	loss, interval string
	leads          []Lead
	series         []LeadSeries // the forecast first
	bias           []LeadPoint
}

// Title is the name of the chart in one line.
func (e LeadError) Title() string { return e.caption().title() }

func (e LeadError) caption() caption {
	return newCaption(e.Heading, "Error by lead", e.Finding, e.Basis, e.Hindcast)
}

// Description says in plain sentences all that the chart shows, lead by lead.
func (e LeadError) Description() string {
	m, err := e.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// noChart is the description of a chart that cannot be drawn.
const noChart = "There is no chart: its data are not complete."

// Validate reports what keeps the chart from being drawn. All faults are
// joined; each wraps [ErrInvalidChart] and names the field.
func (e LeadError) Validate() error {
	_, err := e.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (e LeadError) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "lead", e.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (e LeadError) WritePNG(w io.Writer, opt Options) error {
	return writePNG(w, opt, e.lay)
}

func (e LeadError) lay(opt Options) (drawing, error) {
	m, err := e.model()
	if err != nil {
		return nil, err
	}
	return newLeadSheet(m, opt), nil
}

func (e LeadError) model() (*leadModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &leadModel{
		caption: e.caption(), loss: upper(or(clean(e.Loss), "mean absolute error, days")),
		interval: or(clean(e.Interval), "8 times in 10 when seasons are drawn anew"),
	}
	c.must(1 <= len(e.Leads) && len(e.Leads) <= maxLeads, "Leads: %d are not 1 to %d", len(e.Leads), maxLeads)
	c.must(len(e.Baselines) <= maxBaselines, "Baselines: %d are more than %d", len(e.Baselines), maxBaselines)
	for i, l := range e.Leads {
		at := fmt.Sprintf("Leads[%d]", i)
		l.Label = clean(l.Label)
		c.must(l.Label != "", "%s.Label: empty", at)
		c.must(0 <= l.Cases && l.Cases <= 1e6, "%s.Cases: %d is not 0 to a million", at, l.Cases)
		c.must(0 <= l.Seasons && l.Seasons <= l.Cases, "%s.Seasons: %d is not 0 to the %d cases", at, l.Seasons, l.Cases)
		m.leads = append(m.leads, l)
	}
	f := e.Forecast
	f.Name = or(clean(f.Name), "forecast")
	c.leadPoints("Forecast.Points", f.Points, e.Leads, 0)
	m.series = append(m.series, f)
	for i, s := range e.Baselines {
		at := fmt.Sprintf("Baselines[%d]", i)
		s.Name = clean(s.Name)
		c.must(s.Name != "", "%s.Name: empty", at)
		c.leadPoints(at+".Points", s.Points, e.Leads, 0)
		m.series = append(m.series, s)
	}
	c.leadPoints("Bias", e.Bias, e.Leads, -maxDays)
	m.bias = e.Bias
	return m, errors.Join(c.errs...)
}

// leadPoints checks figures of at least lo days.
func (c *checker) leadPoints(at string, pts []LeadPoint, leads []Lead, lo float64) {
	for i, p := range pts {
		at := fmt.Sprintf("%s[%d]", at, i)
		if !(0 <= p.Lead && p.Lead < len(leads)) {
			c.must(false, "%s.Lead: %d is none of the %d leads", at, p.Lead, len(leads))
			continue
		}
		c.must(i == 0 || pts[i-1].Lead < p.Lead, "%s.Lead: not after the one before", at)
		c.must(leads[p.Lead].Cases > 0, "%s: a figure without cases", at)
		c.must(lo <= p.Days && p.Days <= maxDays, "%s.Days: %v is not %g to %d", at, p.Days, lo, maxDays)
		c.must(lo <= p.Low && p.Low <= p.High && p.High <= maxDays, "%s: Low %v and High %v are not in order from %g to %d", at, p.Low, p.High, lo, maxDays)
	}
}

func (p LeadPoint) ranged() bool { return p.Low != 0 || p.High != 0 }

// leadAt returns the figure at a lead.
func leadAt(pts []LeadPoint, lead int) (LeadPoint, bool) {
	for _, p := range pts {
		if p.Lead == lead {
			return p, true
		}
	}
	return LeadPoint{}, false
}

// cases says what a lead rests on.
func (l Lead) cases() string {
	if l.Cases == 0 {
		return "no cases"
	}
	return plural(l.Cases, "case", "cases") + " in " + plural(l.Seasons, "season", "seasons")
}

// lateness says a bias: "0.6 days late".
func lateness(days float64) string {
	switch s := oneDecimal(math.Abs(days)); {
	case s == "0.0":
		return "neither late nor early"
	case days > 0:
		return s + " days late"
	default:
		return s + " days early"
	}
}

func (m *leadModel) description() string {
	out := []string{m.finding, m.basis, m.loss + ", by lead"}
	ranged := false
	for i, l := range m.leads {
		var parts []string
		for _, s := range m.series {
			p, ok := leadAt(s.Points, i)
			if !ok {
				continue
			}
			t := s.Name + " " + oneDecimal(p.Days)
			if p.ranged() && s.Name == m.series[0].Name {
				ranged = true
				t += " (" + oneDecimal(p.Low) + " to " + oneDecimal(p.High) + ")"
			}
			parts = append(parts, t)
		}
		if len(parts) == 0 {
			parts = []string{"no figures"}
		}
		s := upper(l.Label) + ", " + l.cases() + ": " + strings.Join(parts, ", ")
		if p, ok := leadAt(m.bias, i); ok {
			s += "; on average " + lateness(p.Days)
			if p.ranged() {
				s += " (" + oneDecimal(p.Low) + " to " + oneDecimal(p.High) + ")"
			}
		}
		out = append(out, s)
	}
	if ranged {
		out = append(out, "The range of the forecast: "+m.interval)
	}
	return prose(out...)
}
