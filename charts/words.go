package charts

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// date says a day with its weekday: "Thu 4 Jun", in the US "Thu Jun 4".
func (u Units) date(d day) string {
	if u == US {
		return d.time().Format("Mon Jan 2")
	}
	return d.time().Format("Mon 2 Jan")
}

// dateYear is date with the year.
func (u Units) dateYear(d day) string {
	if u == US {
		return d.time().Format("Mon Jan 2, 2006")
	}
	return d.time().Format("Mon 2 Jan 2006")
}

// dates says the days from a to b, naming the month once if it is one month:
// "Tue 1 – Wed 2 Jul", in the US "Tue Jul 1 – Wed 2".
func (u Units) dates(a, b day) string {
	if a == b {
		return u.date(a)
	}
	s, e := u.date(a), u.date(b)
	ya, ma, _ := a.time().Date()
	yb, mb, _ := b.time().Date()
	switch {
	case ya != yb || ma != mb:
	case u == US:
		e = b.time().Format("Mon 2")
	default:
		s = a.time().Format("Mon 2")
	}
	return s + " – " + e
}

// weightUnit is "kg" or "lb".
func (u Units) weightUnit() string {
	if u == US {
		return "lb"
	}
	return "kg"
}

// number writes x with thousands separated by commas, without decimals from 10
// on and with at most one below.
func number(x float64) string {
	if x < 9.95 {
		return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64)
	}
	s := strconv.FormatFloat(math.Round(x), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// axisNumber is number on an axis up to top, in thousands or millions where
// the figures would be long.
func axisNumber(x, top float64) string {
	switch {
	case x == 0 || top < 1e5:
		return number(x)
	case top < 1e8:
		return number(x/1e3) + "k"
	}
	return number(x/1e6) + "M"
}

// weight says an amount rounded to two figures, as befits an estimate:
// "about 1,200 kg" is said of 1234.
func (u Units) weight(x float64) string {
	if x >= 100 {
		p := math.Pow(10, math.Floor(math.Log10(x))-1)
		x = math.Round(x/p) * p
	}
	return number(x) + " " + u.weightUnit()
}

// chance says a probability as "6 in 10"; the ends as "under 1 in 10" and
// "over 9 in 10". The empty string stands for no probability.
func chance(p float64) string {
	switch n := math.Round(p * 10); {
	case p == 0:
		return ""
	case p < 0.1:
		return "under 1 in 10"
	case p > 0.9:
		return "over 9 in 10"
	default:
		return fmt.Sprintf("%.0f in 10", n)
	}
}

// Chance says a probability as the charts do: "6 in 10", "under 1 in 10" and
// "over 9 in 10" at the ends, and nothing for 0.
func Chance(p float64) string { return chance(p) }

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// words names a stretch: "nothing ripe Tue 1 – Wed 2 Jul".
func (g stretch) words(u Units) string {
	what := "nothing ripe "
	if g.kind == Thin {
		what = "thin "
	}
	return what + u.dates(g.from, g.to)
}

// withChance is words followed by the chance, where it is known.
func (g stretch) withChance(u Units) string {
	if c := chance(g.probability); c != "" {
		return g.words(u) + " (chance " + c + ")"
	}
	return g.words(u)
}

// windowDays says the length of a picking window: "12 (10–14)".
func (r row) windowDays() (median, spread string) {
	w := r.window
	if r.none != "" || w[1] == 0 {
		return "", ""
	}
	median = strconv.Itoa(w[1])
	if w[0] != w[2] {
		spread = fmt.Sprintf("%d–%d", w[0], w[2])
	}
	return median, spread
}

// Title is the name of the chart in one line: "Strawberry season 2026, Wilder
// Hill". It is meant for a season that passes [Season.Validate] and never
// fails.
func (s Season) Title() string {
	return title(clean(s.Farm), s.Year, s.Hindcast)
}

func title(farm string, year int, hindcast bool) string {
	t := "Strawberry season " + strconv.Itoa(year)
	if farm != "" {
		t += ", " + farm
	}
	if hindcast {
		t += " (hindcast)"
	}
	return t
}

// Description says in plain sentences all that the chart shows: what it rests
// on, the whole season, every gap and thin stretch, then planting by planting
// the dates and their ranges. It is the text for those who cannot see the
// chart. For a season that does not pass [Season.Validate] it says only that
// there is no chart.
func (s Season) Description() string {
	m, err := s.model()
	if err != nil {
		return "There is no chart: the season's data are not complete."
	}
	return m.description()
}

func (m *model) description() string {
	var b strings.Builder
	say := func(sentences ...string) {
		for _, s := range sentences {
			if b.Len() > 0 {
				b.WriteByte(' ')
			}
			b.WriteString(s)
		}
	}
	say(plural(len(m.rows), "planting", "plantings") + ".")
	say(m.basis(), m.findings(maxNotes))
	if best, ok := m.fullest(); ok {
		say(fmt.Sprintf("Most ripe fruit standing %s: about %s.", m.units.date(best.date), m.units.weight(best.p50)))
	}
	if m.minimum > 0 {
		say(fmt.Sprintf("The farm's minimum is %s %s.", number(m.minimum), m.units.weightUnit()))
	}
	for _, r := range m.rows {
		say(fmt.Sprintf("%d. %s", r.number, r.sentence(m.units)))
	}
	if len(m.marks) > 0 {
		var l []string
		for _, k := range m.marks {
			l = append(l, k.label+", "+m.units.date(k.date))
		}
		say("Marked: " + strings.Join(l, "; ") + ".")
	}
	return strings.ReplaceAll(b.String(), nbsp, " ")
}

// sentence says one planting: its name, stages and ranges.
func (r row) sentence(u Units) string {
	name := r.name
	if r.sub != "" {
		name += " (" + r.sub + ")"
	}
	if r.none != "" {
		return name + ": no forecast, " + r.none + "."
	}
	stage := func(what string, s span, seen bool) string {
		switch {
		case seen:
			return what + " seen " + u.date(s[1])
		case s[0] == s[2]:
			return what + " " + u.date(s[1])
		}
		return what + " about " + u.date(s[1]) + " (8 in 10: " + u.dates(s[0], s[2]) + ")"
	}
	t := name + ": " + strings.Join([]string{
		stage("first ripe", r.first, r.seenFirst),
		stage("peak", r.peak, r.seenPeak),
		stage("last pick", r.last, r.seenLast),
	}, ", ")
	if n, spread := r.windowDays(); n != "" {
		t += ", " + plural(r.window[1], "day", "days")
		if spread != "" {
			t += " (8 in 10: " + spread + ")"
		}
	}
	return t + "."
}

// glue keeps a phrase on one line.
func glue(s string) string { return strings.ReplaceAll(s, " ", nbsp) }

const nbsp = "\u00a0"

// basis says when the forecast was made and what it rests on.
func (m *model) basis() string {
	s := "As of the morning of "
	if m.hindcast {
		s = "Made afterwards, from what was known on the morning of "
	}
	s += glue(m.units.dateYear(m.asOf))
	if m.traces > 0 {
		s += ", from " + plural(m.traces, "past weather year", "past weather years")
	}
	if m.hasThrough {
		s += "; weather observed through " + glue(m.units.date(m.through))
	}
	s += "."
	for _, r := range m.rows {
		if r.none == "" && (!r.seenFirst || !r.seenLast) {
			return s + " An estimate: walk the field."
		}
	}
	return s
}

// findings says what the season looks like as a whole. More than most
// stretches are only counted.
func (m *model) findings(most int) string {
	var first, last *row
	missing := 0
	for i := range m.rows {
		r := &m.rows[i]
		if r.none != "" {
			missing++
			continue
		}
		if first == nil || r.first[1] < first.first[1] {
			first = r
		}
		if last == nil || r.last[1] > last.last[1] {
			last = r
		}
	}
	switch {
	case len(m.rows) == 0:
		return "No plantings recorded for this season."
	case first == nil:
		return "Too early to say: no planting has a forecast yet."
	}
	about := func(what string, d day, seen bool) string {
		if seen {
			return what + " seen " + glue(m.units.date(d))
		}
		return what + " about " + glue(m.units.date(d))
	}
	out := []string{about("First ripe", first.first[1], first.seenFirst) + ", " +
		about("last pick", last.last[1], last.seenLast) + "."}
	out = append(out, m.stretchWords(most)...)
	if missing > 0 {
		out = append(out, fmt.Sprintf("%d of %s without a forecast.", missing, plural(len(m.rows), "planting", "plantings")))
	}
	return strings.Join(out, " ")
}

// stretchWords is a sentence for each gap, then for each thin stretch, or one
// that counts them if they are more than most.
func (m *model) stretchWords(most int) []string {
	var named []string
	count := map[StretchKind]int{}
	for _, kind := range []StretchKind{Gap, Thin} {
		for _, g := range m.stretches {
			if g.kind != kind {
				continue
			}
			count[kind]++
			s := "Nothing ripe "
			if kind == Thin {
				s = "Thin "
			}
			s += glue(m.units.dates(g.from, g.to))
			if c := chance(g.probability); c != "" {
				s += " " + glue("(chance "+c+")")
			}
			named = append(named, s+".")
		}
	}
	switch {
	case len(named) == 0:
		return []string{"No gap and no thin stretch."}
	case len(named) <= most:
		return named
	}
	return []string{plural(count[Gap], "gap", "gaps") + " and " + plural(count[Thin], "thin stretch", "thin stretches") + "."}
}

// fullest returns the day with the most ripe fruit, if there is any.
func (m *model) fullest() (stand, bool) {
	var best stand
	for _, d := range m.supply {
		if d.p50 > best.p50 {
			best = d
		}
	}
	return best, best.p50 > 0
}
