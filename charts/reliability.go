package charts

import (
	"errors"
	"fmt"
	"io"
	"strings"
)

// Reliability shows whether chances came true as often as they said, and
// whether the truth fell evenly in the ranges given for it. Each of the two
// panels may be absent, not both.
type Reliability struct {
	Heading  string // "Reliability, gaps"; empty stands for "Reliability"
	Finding  string // what the figures say, in a sentence; may be empty
	Basis    string // what they rest on; may be empty
	Hindcast bool   // true when the forecasts were made afterwards

	// Event names what the chances were given for: "a gap". Empty stands for
	// "the event".
	Event   string
	Chances []ChanceBin // by rising forecast; at most 12, empty for no panel

	// Falls counts the cases by where the truth fell in the forecast's range,
	// in bins of equal probability from the early to the late end; 2 to 20
	// bins, empty for no panel.
	Falls []int
	// FallsLow and FallsHigh are the band in which a bin's count lies 8 times
	// in 10 when the ranges are right; both 0 for none.
	FallsLow, FallsHigh float64
}

// ChanceBin is the forecasts that gave about the same chance.
type ChanceBin struct {
	Forecast float64 // mean chance given, 0 to 1
	Came     float64 // share of the cases in which the event came, 0 to 1
	Cases    int     // at least 1

	// Low and High are the range of the share 8 times in 10 when the chances
	// are right; both 0 for none.
	Low, High float64
}

const (
	maxChances = 12
	maxFalls   = 20
)

// reliabilityModel is a validated copy of a Reliability.
type reliabilityModel struct {
	caption
	event     string
	chances   []ChanceBin
	falls     []int
	low, high float64
	flat      float64 // cases per bin
}

// Title is the name of the chart in one line.
func (r Reliability) Title() string { return r.caption().title() }

func (r Reliability) caption() caption {
	return newCaption(r.Heading, "Reliability", r.Finding, r.Basis, r.Hindcast)
}

// Description says in plain sentences all that the chart shows, bin by bin.
func (r Reliability) Description() string {
	m, err := r.model()
	if err != nil {
		return noChart
	}
	return m.description()
}

// Validate reports what keeps the chart from being drawn. All faults are
// joined; each wraps [ErrInvalidChart] and names the field.
func (r Reliability) Validate() error {
	_, err := r.model()
	return err
}

// WriteSVG draws the chart as [Season.WriteSVG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (r Reliability) WriteSVG(w io.Writer, opt Options) error {
	return writeSVG(w, opt, "reliability", r.lay)
}

// WritePNG draws the chart as [Season.WritePNG] does. The error wraps
// [ErrInvalidChart] or [ErrInvalidOptions], or comes from w.
func (r Reliability) WritePNG(w io.Writer, opt Options) error {
	return writePNG(w, opt, r.lay)
}

func (r Reliability) lay(opt Options) (drawing, error) {
	m, err := r.model()
	if err != nil {
		return nil, err
	}
	return newReliabilitySheet(m, opt), nil
}

func (r Reliability) model() (*reliabilityModel, error) {
	c := &checker{kind: ErrInvalidChart}
	m := &reliabilityModel{
		caption: r.caption(), event: or(clean(r.Event), "the event"),
		chances: r.Chances, falls: r.Falls, low: r.FallsLow, high: r.FallsHigh,
	}
	c.must(len(r.Chances) > 0 || len(r.Falls) > 0, "Chances and Falls: both empty")
	c.must(len(r.Chances) <= maxChances, "Chances: %d are more than %d", len(r.Chances), maxChances)
	for i, b := range r.Chances {
		at := fmt.Sprintf("Chances[%d]", i)
		c.must(0 <= b.Forecast && b.Forecast <= 1, "%s.Forecast: %v is not 0 to 1", at, b.Forecast)
		c.must(0 <= b.Came && b.Came <= 1, "%s.Came: %v is not 0 to 1", at, b.Came)
		c.must(1 <= b.Cases && b.Cases <= 1e6, "%s.Cases: %d is not 1 to a million", at, b.Cases)
		c.must(0 <= b.Low && b.Low <= b.High && b.High <= 1, "%s: Low %v and High %v are not in order from 0 to 1", at, b.Low, b.High)
		c.must(i == 0 || r.Chances[i-1].Forecast < b.Forecast, "%s.Forecast: not above the one before", at)
	}
	sum := 0
	if len(r.Falls) > 0 {
		c.must(2 <= len(r.Falls) && len(r.Falls) <= maxFalls, "Falls: %d bins are not 2 to %d", len(r.Falls), maxFalls)
		for i, n := range r.Falls {
			c.must(0 <= n && n <= 1e6, "Falls[%d]: %d is not 0 to a million", i, n)
			sum += n
		}
		c.must(sum > 0, "Falls: no cases")
		m.flat = float64(sum) / float64(len(r.Falls))
	}
	c.must(0 <= r.FallsLow && r.FallsLow <= r.FallsHigh && r.FallsHigh <= 1e6,
		"FallsLow and FallsHigh: %v and %v are not in order from 0 to a million", r.FallsLow, r.FallsHigh)
	return m, errors.Join(c.errs...)
}

func (b ChanceBin) ranged() bool { return b.Low != 0 || b.High != 0 }

// inTen says a share of ten: "3.4 in 10".
func inTen(p float64) string { return oneDecimal(10*p) + " in 10" }

func (b ChanceBin) sentence() string {
	s := "Forecast " + inTen(b.Forecast) + ", came " + inTen(b.Came) + ", " + plural(b.Cases, "case", "cases")
	if b.ranged() {
		s += " (8 times in 10 between " + oneDecimal(10*b.Low) + " and " + oneDecimal(10*b.High) + " in 10 if the chances are right)"
	}
	return s
}

func (m *reliabilityModel) description() string {
	out := []string{m.finding, m.basis}
	if len(m.chances) > 0 {
		out = append(out, "How often "+m.event+" came, by the chance given for it")
		for _, b := range m.chances {
			out = append(out, b.sentence())
		}
	}
	if len(m.falls) > 0 {
		var counts []string
		for _, n := range m.falls {
			counts = append(counts, number(float64(n)))
		}
		s := "Where the truth fell in the forecast's range, from its early to its late end in " +
			plural(len(m.falls), "part", "parts") + " of equal chance: " + strings.Join(counts, ", ") + " cases; each part should hold about " + oneDecimal(m.flat)
		if m.high > 0 {
			s += ", 8 times in 10 between " + oneDecimal(m.low) + " and " + oneDecimal(m.high)
		}
		out = append(out, s)
	}
	return prose(out...)
}
