package charts

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// ErrInvalidSeason is wrapped by every error about the content of a [Season].
var ErrInvalidSeason = errors.New("charts: invalid season")

const (
	maxBars    = 200
	maxNotes   = 60 // stretches, and marks
	maxSpan    = 370
	maxKg      = 1e9
	lbPerKg    = 1 / 0.45359237 // the international pound is 0.45359237 kg exactly
	maxRunes   = 200            // of a name
	minDrawn   = 21             // days on the axis
	asOfBefore = 21             // days the axis stretches to show an as-of date before the season
	asOfAfter  = 14             // and after it
	markSlack  = 7              // days it stretches for a mark
)

// day counts days from 1 January 1970.
type day int

func (d day) time() time.Time       { return time.Unix(int64(d)*86400, 0).UTC() }
func (d day) weekday() time.Weekday { return d.time().Weekday() }

// span is a Range in days: quantiles 0.1, 0.5, 0.9.
type span [3]day

// row is a validated Bar.
type row struct {
	number            int // from 1
	name, sub         string
	first, peak, last span
	window            [3]int
	seenFirst         bool
	seenPeak          bool
	seenLast          bool
	none              string // reason for no forecast; empty when there is one
}

// stretch is a validated Stretch: days from to to, both included.
type stretch struct {
	from, to    day
	kind        StretchKind
	probability float64
}

// stand is a validated SupplyDay in display units, its layers scaled so that
// they add up to the median.
type stand struct {
	date          day
	layers        []float64
	p10, p50, p90 float64
}

type mark struct {
	date  day
	label string
}

// model is a validated copy of a Season: whole days, display units, clean
// text, finite numbers. Drawing needs no further checks.
type model struct {
	farm       string
	year       int
	asOf       day
	hindcast   bool
	units      Units
	rows       []row
	stretches  []stretch
	supply     []stand
	minimum    float64
	marks      []mark
	traces     int
	through    day
	hasThrough bool
	lo, hi     day // dates on the axis: lo <= d < hi
}

// Validate reports what keeps the season from being drawn: missing dates,
// dates that are not midnight in UTC, quantiles out of order, numbers that are
// not finite, weather from the as-of date or later. All faults are joined; each
// wraps [ErrInvalidSeason] and names the field.
func (s Season) Validate() error {
	_, err := s.model()
	return err
}

func (s Season) model() (*model, error) {
	c := &checker{kind: ErrInvalidSeason}
	m := &model{
		farm: clean(s.Farm), year: s.Year, hindcast: s.Hindcast, units: s.Units,
		asOf: c.date("AsOf", s.AsOf), minimum: c.kg("ThinKg", s.ThinKg), traces: s.TracesUsed,
	}
	c.must(1900 <= s.Year && s.Year <= 2200, "Year: %d is not 1900 to 2200", s.Year)
	c.must(s.Units == Metric || s.Units == US, "Units: %d is unknown", s.Units)
	c.must(s.TracesUsed >= 0, "TracesUsed: %d is negative", s.TracesUsed)
	c.must(len(s.Bars) <= maxBars, "Bars: %d are more than %d", len(s.Bars), maxBars)
	c.must(len(s.Gaps) <= maxNotes, "Gaps: %d are more than %d", len(s.Gaps), maxNotes)
	c.must(len(s.Holidays) <= maxNotes, "Holidays: %d are more than %d", len(s.Holidays), maxNotes)
	if !s.WeatherThrough.IsZero() {
		m.through, m.hasThrough = c.date("WeatherThrough", s.WeatherThrough), true
		c.must(s.WeatherThrough.Before(s.AsOf), "WeatherThrough: not before AsOf")
	}
	for i, b := range s.Bars {
		m.rows = append(m.rows, c.row(i, b))
	}
	for i, g := range s.Gaps {
		m.stretches = append(m.stretches, c.stretch(i, g))
	}
	for i, d := range s.Supply {
		m.supply = append(m.supply, c.stand(i, d, len(s.Bars)))
		if i > 0 {
			c.must(s.Supply[i-1].Date.Before(d.Date), "Supply[%d].Date: not after the one before", i)
		}
	}
	for i, h := range s.Holidays {
		at := fmt.Sprintf("Holidays[%d]", i)
		k := mark{date: c.date(at+".Date", h.Date), label: clean(h.Label)}
		c.must(k.label != "", "%s.Label: empty", at)
		m.marks = append(m.marks, k)
	}
	if err := errors.Join(c.errs...); err != nil {
		return nil, err
	}
	m.setAxis()
	if n := int(m.hi - m.lo); n > maxSpan {
		return nil, fmt.Errorf("%w: its dates are %d days apart, more than %d", ErrInvalidSeason, n, maxSpan)
	}
	if m.units == US {
		m.toPounds()
	}
	return m, nil
}

// setAxis chooses the dates to draw: every date of a bar, every stretch, every
// day that may have a fiftieth of the greatest supply, near marks, and the as-of date unless it is far away. Two
// days of air on both sides, three weeks at least.
func (m *model) setAxis() {
	lo, hi, some := m.asOf, m.asOf+1, false
	add := func(from, to day) { // both included
		if !some {
			lo, hi, some = from, to+1, true
			return
		}
		lo, hi = min(lo, from), max(hi, to+1)
	}
	for _, r := range m.rows {
		if r.none == "" {
			add(r.first[0], r.last[2])
		}
	}
	for _, g := range m.stretches {
		add(g.from, g.to)
	}
	most := 0.0
	for _, d := range m.supply {
		most = max(most, d.p90)
	}
	for _, d := range m.supply {
		if d.p90 > 0.02*most {
			add(d.date, d.date)
		}
	}
	if !some { // Nothing to show yet: the weeks ahead.
		add(m.asOf-3, m.asOf+52)
	}
	if lo-m.asOf <= asOfBefore && m.asOf-hi <= asOfAfter {
		add(m.asOf, m.asOf)
	}
	coreLo, coreHi := lo, hi
	for _, k := range m.marks {
		if coreLo-markSlack <= k.date && k.date < coreHi+markSlack {
			add(k.date, k.date)
		}
	}
	lo, hi = lo-2, hi+2
	if n := minDrawn - int(hi-lo); n > 0 {
		lo -= day(n / 2)
		hi += day(n - n/2)
	}
	m.lo, m.hi = lo, hi
}

func (m *model) toPounds() {
	m.minimum *= lbPerKg
	for i := range m.supply {
		d := &m.supply[i]
		d.p10, d.p50, d.p90 = d.p10*lbPerKg, d.p50*lbPerKg, d.p90*lbPerKg
		for j := range d.layers {
			d.layers[j] *= lbPerKg
		}
	}
}

// checker collects what is wrong with the content of a chart; each fault wraps
// kind.
type checker struct {
	kind error
	errs []error
}

func (c *checker) must(ok bool, format string, args ...any) {
	if !ok {
		c.errs = append(c.errs, fmt.Errorf("%w: "+format, append([]any{c.kind}, args...)...))
	}
}

func (c *checker) date(at string, t time.Time) day {
	switch sec := t.Unix(); {
	case t.IsZero():
		c.must(false, "%s: missing", at)
	case t.Year() < 1900 || 2199 < t.Year():
		c.must(false, "%s: not in the years 1900 to 2199", at)
	case sec%86400 != 0 || t.Nanosecond() != 0 || t.Hour() != 0:
		c.must(false, "%s: %s is not midnight in UTC", at, t.Format(time.RFC3339))
	default:
		return day(sec / 86400) // Exact, so right before 1970 too.
	}
	return 0
}

func (c *checker) kg(at string, x float64) float64 {
	c.must(0 <= x && x <= maxKg, "%s: %v is not 0 to %g", at, x, float64(maxKg))
	return x
}

func (c *checker) span(at string, r Range) span {
	s := span{c.date(at+".P10", r.P10), c.date(at+".P50", r.P50), c.date(at+".P90", r.P90)}
	c.must(s[0] <= s[1] && s[1] <= s[2], "%s: P10, P50 and P90 are not in order", at)
	return s
}

func (c *checker) row(i int, b Bar) row {
	at := fmt.Sprintf("Bars[%d]", i)
	r := row{number: i + 1, name: clean(b.Variety), none: clean(b.NoForecast)}
	block, planting := clean(b.Block), clean(b.Planting)
	switch {
	case r.name == "" && planting != "":
		r.name, r.sub = planting, block
	case r.name == "":
		r.name, r.sub = block, ""
	case planting == "" || planting == r.name || planting == block:
		r.sub = block
	case block == "":
		r.sub = planting
	default:
		r.sub = block + ", " + planting
	}
	c.must(r.name != "", "%s: no name", at)
	if r.none != "" {
		return r
	}
	if b.NoForecast != "" {
		r.none = "no forecast" // The reason was blank.
		return r
	}
	r.first, r.peak, r.last = c.span(at+".First", b.First), c.span(at+".Peak", b.Peak), c.span(at+".Last", b.Last)
	for q, name := range []string{"P10", "P50", "P90"} {
		c.must(r.first[q] <= r.peak[q] && r.peak[q] <= r.last[q], "%s: First, Peak and Last are not in order at %s", at, name)
	}
	r.window = b.WindowDays
	w := r.window
	c.must(w == [3]int{} || 1 <= w[0] && w[0] <= w[1] && w[1] <= w[2] && w[2] <= maxSpan, "%s.WindowDays: %v is not in order from 1 to %d", at, w, maxSpan)
	// A seen stage has one date, whatever range came with it, and no other
	// stage of the planting lies on its wrong side.
	for i, s := range []struct {
		seen  bool
		stage *span
	}{{b.SeenFirst, &r.first}, {b.SeenPeak, &r.peak}, {b.SeenLast, &r.last}} {
		if !s.seen {
			continue
		}
		d := s.stage[1]
		for j, other := range []*span{&r.first, &r.peak, &r.last} {
			for q := range other {
				switch {
				case j < i:
					other[q] = min(other[q], d)
				case j > i:
					other[q] = max(other[q], d)
				default:
					other[q] = d
				}
			}
		}
	}
	r.seenFirst, r.seenPeak, r.seenLast = b.SeenFirst, b.SeenPeak, b.SeenLast
	return r
}

func (c *checker) stretch(i int, g Stretch) stretch {
	at := fmt.Sprintf("Gaps[%d]", i)
	s := stretch{from: c.date(at+".From", g.From), to: c.date(at+".To", g.To), kind: g.Kind, probability: g.Probability}
	c.must(s.from <= s.to, "%s: From is after To", at)
	c.must(g.Kind == Gap || g.Kind == Thin, "%s.Kind: %d is unknown", at, g.Kind)
	c.must(0 <= g.Probability && g.Probability <= 1, "%s.Probability: %v is not 0 to 1", at, g.Probability)
	return s
}

func (c *checker) stand(i int, d SupplyDay, bars int) stand {
	at := fmt.Sprintf("Supply[%d]", i)
	s := stand{
		date: c.date(at+".Date", d.Date), layers: make([]float64, bars),
		p10: c.kg(at+".P10Kg", d.P10Kg), p50: c.kg(at+".P50Kg", d.P50Kg), p90: c.kg(at+".P90Kg", d.P90Kg),
	}
	c.must(s.p10 <= s.p50 && s.p50 <= s.p90, "%s: P10Kg, P50Kg and P90Kg are not in order", at)
	if len(d.PlantingKg) != bars {
		c.must(false, "%s.PlantingKg: %d figures for %d bars", at, len(d.PlantingKg), bars)
		return s
	}
	var sum float64
	for j, kg := range d.PlantingKg {
		sum += c.kg(fmt.Sprintf("%s.PlantingKg[%d]", at, j), kg)
	}
	for j, kg := range d.PlantingKg {
		if sum > 0 {
			s.layers[j] = kg / sum * s.p50
		}
	}
	return s
}

// clean makes a name fit to be drawn: valid UTF-8 without control, format or
// bidirectional characters, single spaces, at most 200 runes.
func clean(s string) string { return cleanTo(s, maxRunes) }

// cleanTo is clean for a text of at most most runes.
func cleanTo(s string, most int) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r), unicode.IsControl(r):
			return ' '
		case unicode.Is(unicode.Cf, r), unicode.Is(unicode.Noncharacter_Code_Point, r), unicode.Is(unicode.Co, r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, string(utf8.RuneError)))
	s = strings.Join(strings.Fields(s), " ")
	if n := 0; utf8.RuneCountInString(s) > most {
		for i := range s {
			if n++; n > most {
				return s[:i] + "…"
			}
		}
	}
	return s
}
