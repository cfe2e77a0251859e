package api

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"ripetide/forecast"
	"ripetide/weather"
)

// Telling tells in plain words how the dates of a planting came to be. Its page
// and the command explain say the same sentences.
type Telling struct {
	Farm forecast.Farm
	Of   *forecast.Explanation
}

// ToldCause is a cause of a move and how much it moved.
type ToldCause struct{ Cause, Days string }

// ToldNeed is a row of the table of what each stage takes: of first ripe, peak
// and last pick.
type ToldNeed struct {
	What  string
	Cells [3]string
	Kind  NeedKind
}

// NeedKind is what a row of that table is.
type NeedKind int

// The kinds of rows.
const (
	NeedPrior  NeedKind = iota // What was believed before any season of the farm's own.
	NeedEffect                 // What changes it.
	NeedNow                    // Their sum.
	NeedRange                  // The range that holds 8 in 10.
)

// stagePhrases are the ripe stages within a sentence.
var stagePhrases = map[string]string{"first_ripe": "first ripe fruit", "peak": "the peak", "last_pick": "the last pick"}

func stagePhrase(name string) string { return cmp.Or(stagePhrases[name], name) }

// IsOver reports whether a planting was past its last pick on the morning asOf.
func IsOver(d forecast.PlantingDates, asOf weather.Date) bool {
	return d.Stages != nil && (d.Stages.LastPick.Seen != nil || d.Stages.LastPick.P90 < asOf)
}

// TellWindow says for how many days a planting is or was picked; "": it cannot
// be said.
func TellWindow(d forecast.PlantingDates, asOf weather.Date) string {
	w := d.PickingWindowDays
	if w == nil {
		return ""
	}
	text := "It is picked for "
	if IsOver(d, asOf) {
		text = "It was picked for "
	}
	text += countOf(w.P50, "day", "days")
	if w.P10 != w.P90 {
		text += fmt.Sprintf(" (8 in 10: %d to %d)", w.P10, w.P90)
	}
	return text + "."
}

// CauseWords say a cause of a move after "by".
func CauseWords(c forecast.MoveCause) string {
	switch c {
	case forecast.CauseWeather:
		return "the weather that came"
	case forecast.CauseOutlook:
		return "the outlook"
	case forecast.CauseSightings:
		return "what was seen in the field"
	case forecast.CauseFrosts:
		return "frosts on its flowers"
	case forecast.CauseSilence:
		return "days on which nothing was entered"
	case forecast.CauseConstants:
		return "changes in the book"
	}
	return string(c)
}

// TellShift says a move: "1.2 days later".
func TellShift(days float64) string {
	way := "later"
	if days < 0 {
		way = "earlier"
	}
	n := fmt.Sprintf("%.1f", math.Abs(days))
	if n == "1.0" {
		return "1 day " + way
	}
	return strings.TrimSuffix(n, ".0") + " days " + way
}

// TellMoved says how the next stage of a planting moved since the forecast
// before, and by what. had: an earlier forecast gave it dates too.
func TellMoved(farm forecast.Farm, d forecast.PlantingDates, asOf weather.Date, had bool) (text string, because []ToldCause) {
	m := d.Moved
	switch {
	case m != nil:
	case d.Stages != nil && d.Stages.LastPick.Seen != nil:
		return "Its last pick was seen, so no date of it can move any more.", nil
	case IsOver(d, asOf):
		return "Its season is over, so no date of it moves any more.", nil
	case had:
		return "How its dates moved since the forecast before cannot be said.", nil
	default:
		return "There are no earlier dates of this season to compare with.", nil
	}
	what, since := capital(stagePhrase(m.Stage)), "since the forecast of "+farm.Day(m.Since)
	if math.Abs(m.Days) < 0.05 {
		text = what + " has not moved " + since + "."
	} else {
		text = what + " has moved " + since + ": " + TellShift(m.Days) + "."
	}
	for _, c := range m.Because {
		because = append(because, ToldCause{CauseWords(c.Cause), TellShift(c.Days)})
	}
	return text, because
}

// capital begins a phrase with a capital.
func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// countOf writes a number with its noun.
func countOf(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// Dates are what the explained forecast says of the planting.
func (t Telling) Dates() forecast.PlantingDates {
	x := t.Of
	d := forecast.PlantingDates{
		Planting: x.Planting, Variety: x.Variety, Block: x.Block, Bloom: x.Bloom,
		DegreeDaysSinceBloom: x.DegreeDaysSinceBloom, PickingWindowDays: x.PickingWindowDays, Moved: x.Moved,
	}
	if s := x.Stages; len(s) == 3 && s[0].Date != nil && s[1].Date != nil && s[2].Date != nil {
		d.Stages = &forecast.StageDates{FirstRipe: *s[0].Date, Peak: *s[1].Date, LastPick: *s[2].Date}
	}
	return d
}

// over reports whether the planting was past its last pick.
func (t Telling) over() bool { return IsOver(t.Dates(), t.Of.AsOf) }

// Next returns the stage that is to come next; nil: none, or none can be
// forecast.
func (t Telling) Next() *forecast.StageReasons {
	s := t.Of.Stages
	at := 0
	for i, r := range s {
		if r.Date == nil || r.Date.Seen != nil {
			at = i + 1
		}
	}
	if at == len(s) || t.over() {
		return nil
	}
	return &s[at]
}

// Counted are the days since bloom that the story is about: of a planting that
// is over those up to its last pick.
func (t Telling) Counted() []forecast.HeatDay {
	days := t.Of.Days
	if !t.over() {
		return days
	}
	last := t.Dates().Stages.LastPick.P50
	if i := slices.IndexFunc(days, func(d forecast.HeatDay) bool { return d.Date > last }); i >= 0 {
		return days[:i]
	}
	return days
}

// Heat says how much warmth there was since bloom, how much is missing, and
// what the days ahead rest on.
func (t Telling) Heat() []string {
	x, f := t.Of, t.Farm
	b := x.Bloom
	if b == nil {
		return nil
	}
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch {
	case b.From == forecast.BloomSighted:
		say("It bloomed on %s.", f.Day(b.Date))
	case b.From == forecast.BloomFromFull:
		say("Only full bloom was entered; the first open flowers are reckoned back to %s.", f.Day(b.Date))
	case b.P10 == nil || b.P90 == nil:
		say("Bloom is not entered; it is reckoned back from the fruit to about %s.", f.Day(b.Date))
	default:
		within := ""
		if *b.P10 != *b.P90 {
			within = " (8 in 10: " + f.Span(*b.P10, *b.P90) + ")"
		}
		if b.Due(x.AsOf) {
			say("Bloom is not entered; by the warmth of the spring it is on about %s%s. Degree-days are counted from bloom on.", f.Day(b.Date), within)
		} else {
			say("By the warmth of the spring it blooms on about %s%s. Degree-days are counted from bloom on.", f.Day(b.Date), within)
		}
	}
	days := t.Counted()
	switch n := len(days); {
	case n == 0 || x.DegreeDaysSinceBloom == nil:
	case t.over():
		say("The %s from then to the last pick brought %s.", countOf(n, "day", "days"), f.Heat(days[n-1].Sum))
	default:
		say("The %s since, through %s, brought %s.", countOf(n, "day", "days"), f.Day(days[n-1].Date), f.Heat(*x.DegreeDaysSinceBloom))
	}
	if r := t.Next(); r != nil {
		s := fmt.Sprintf("%s takes about %s from bloom (8 in 10: %s to %s)", capital(stagePhrase(r.Stage)),
			f.Heat(r.Requirement.Mean), f.BareHeat(r.Requirement.P10), f.BareHeat(r.Requirement.P90))
		switch sum := x.DegreeDaysSinceBloom; {
		case sum == nil:
			say("%s.", s)
		case r.Requirement.Mean > *sum:
			say("%s, so about %s are still to come.", s, f.Heat(r.Requirement.Mean-*sum))
		default:
			say("%s, and that is reached.", s)
		}
		if pace := x.DegreeDaysPerDay; pace != nil {
			say("A day brings about %s now.", f.Heat(*pace))
		}
	}
	if len(x.Ahead) > 0 && !t.over() {
		years := countOf(x.Weather.PastYears, "past year", "past years")
		s := fmt.Sprintf("For the days ahead the weather of %s is played on", years)
		if k := x.Weather.OutlookDays; k > 0 {
			s = fmt.Sprintf("For the first %s ahead there is an outlook; after it the weather of %s is played on", countOf(k, "day", "days"), years)
		}
		if tr := x.Weather.TrendCPerYr; tr != nil {
			s += fmt.Sprintf(", each shifted to the present by the trend of this place, %s a decade", f.Difference(10**tr))
		}
		say("%s.", s)
	}
	say("Degree-days are counted by %s.", f.Method(MethodOf(x.Method)))
	return out
}

// MethodOf returns the method that a note tells of.
func MethodOf(n forecast.MethodNote) forecast.Method {
	m := forecast.Method{Kind: n.DegreeDays, Base: n.BaseC, Cutoff: n.Cutoff}
	if n.UpperC != nil {
		m.Upper = *n.UpperC
	}
	return m
}

// Needs is the table of what each stage takes and where that comes from. Figures
// are rounded as sums, so that what is shown adds up.
func (t Telling) Needs() []ToldNeed {
	x := t.Of
	if len(x.Stages) != 3 {
		return nil
	}
	all := len(x.Stages[0].Effects)
	out := []ToldNeed{t.prior()}
	for i := range all {
		if n, any := t.effect(i); any {
			out = append(out, n)
		}
	}
	return append(out,
		t.need(NeedNow, "Now", func(r forecast.StageReasons) string { return grouped(t.rounded(r, all)) }),
		t.need(NeedRange, "8 in 10 within", func(r forecast.StageReasons) string {
			return t.Farm.BareHeat(r.Requirement.P10) + " to " + t.Farm.BareHeat(r.Requirement.P90)
		}))
}

// Learned is the part of that table which holds for the variety in every
// season: what was believed, and what the farm's seasons have taught.
func (t Telling) Learned() []ToldNeed {
	if len(t.Of.Stages) != 3 {
		return nil
	}
	out := []ToldNeed{
		t.prior(),
		t.need(NeedRange, "8 in 10 such varieties within", func(r forecast.StageReasons) string {
			return t.around(r.Prior.DegreeDays, r.Prior.SDPct)
		}),
	}
	const lasting = 2 // Of the farm, and of the variety.
	for i := range lasting {
		if n, any := t.effect(i); any {
			out = append(out, n)
		}
	}
	return append(out,
		t.need(NeedNow, "Learned so far", func(r forecast.StageReasons) string { return grouped(t.rounded(r, lasting)) }),
		t.need(NeedRange, "8 in 10 seasons within", func(r forecast.StageReasons) string {
			log := r.Prior.Log
			for _, e := range r.Effects[:lasting] {
				log += e.Log
			}
			return t.around(math.Exp(log), math.Hypot(r.Spread.SeasonSDPct, r.Spread.OwnSDPct))
		}))
}

// around writes the range that holds 8 in 10 of what is spread around c, °C·d,
// by so many per cent, a standard deviation of the logarithm.
func (t Telling) around(c, sdPct float64) string {
	const p90 = 1.2816 // Of the standard normal distribution.
	f := math.Exp(p90 * sdPct / 100)
	return t.Farm.BareHeat(c/f) + " to " + t.Farm.BareHeat(c*f)
}

// rounded is the sum of the prior and the first effects of a stage, in the unit
// of the farm.
func (t Telling) rounded(r forecast.StageReasons, through int) int {
	log := r.Prior.Log
	for _, e := range r.Effects[:through] {
		log += e.Log
	}
	perC := 1.0
	if t.Farm.Units == forecast.US {
		perC = 9.0 / 5
	}
	return int(math.Round(math.Exp(log) * perC))
}

// need is a row of the table.
func (t Telling) need(kind NeedKind, what string, cell func(forecast.StageReasons) string) ToldNeed {
	n := ToldNeed{What: what, Kind: kind}
	for i, r := range t.Of.Stages {
		n.Cells[i] = cell(r)
	}
	return n
}

// prior is the first row.
func (t Telling) prior() ToldNeed {
	from := "Usual for its class, " + strings.ReplaceAll(t.Of.Ripens, "_", "-")
	if t.Of.Stages[0].Prior.From == forecast.PriorOwn {
		from = "The farm's own figure"
	}
	return t.need(NeedPrior, from, func(r forecast.StageReasons) string { return grouped(t.rounded(r, 0)) })
}

// effect is the row of the effect i, and whether it changes any figure.
func (t Telling) effect(i int) (n ToldNeed, any bool) {
	n = t.need(NeedEffect, taughtBy(t.Of.Stages[0].Effects[i]), func(r forecast.StageReasons) string {
		d := t.rounded(r, i+1) - t.rounded(r, i)
		if d == 0 {
			return "0"
		}
		any = true
		return strings.Replace(fmt.Sprintf("%+d", d), "-", "−", 1)
	})
	return n, any
}

// grouped writes a whole number, not below nought, with thousands parted.
func grouped(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// taughtBy says who taught an effect.
func taughtBy(e forecast.Effect) string {
	past := ", from " + countOf(e.Seasons, "past season", "past seasons")
	switch e.Effect {
	case forecast.EffectFarm:
		return "This farm" + past
	case forecast.EffectVariety:
		return "This variety" + past
	case forecast.EffectPlanting:
		return "This planting" + past
	case forecast.EffectSeason:
		return "This season, in all plantings"
	case forecast.EffectOwn:
		return "This season, in this planting"
	case forecast.EffectLasting:
		return "What this season adds to the past"
	case forecast.EffectFrost:
		return countOf(e.Observations, "frost on its open flowers", "frosts on its open flowers")
	}
	return "What has not come yet, and chance"
}

// Taught says what the season has taught so far.
func (t Telling) Taught() []string {
	x := t.Of
	if len(x.Stages) == 0 {
		return nil
	}
	if len(x.ThisSeason) == 0 {
		return []string{"No ripe fruit has been seen this season, so it has taught nothing yet."}
	}
	plantings := map[string]bool{}
	var sum float64
	var own []string
	for _, s := range x.ThisSeason {
		plantings[s.Planting] = true
		sum += s.Pct
		if s.Planting == x.Planting {
			own = append(own, fmt.Sprintf("%s on %s at %s, %s", stagePhrase(s.Stage), t.Farm.Day(s.Date), t.Farm.Heat(s.DegreeDays), heatThan(s.Pct)))
		}
	}
	so := "So far"
	if t.over() {
		so = "In all"
	}
	out := []string{fmt.Sprintf("%s %s of %s seen, on the whole at %s.", so, countOf(len(x.ThisSeason), "ripe stage", "ripe stages"),
		countOf(len(plantings), "planting was", "plantings were"), heatThan(sum/float64(len(x.ThisSeason))))}
	if len(own) > 0 {
		out = append(out, "Of this planting itself: "+strings.Join(own, "; ")+".")
	}
	if r := t.Next(); r != nil {
		i := slices.IndexFunc(r.Effects, func(e forecast.Effect) bool { return e.Effect == forecast.EffectSeason })
		if i >= 0 && r.Effects[i].Days != nil && math.Abs(*r.Effects[i].Days) >= 0.05 {
			out = append(out, fmt.Sprintf("What all plantings have in common this season puts %s of this one about %s.", stagePhrase(r.Stage), TellShift(*r.Effects[i].Days)))
		}
	}
	return out
}

// heatThan says how a heat compares with what was expected.
func heatThan(pct float64) string {
	switch n := math.Round(math.Abs(pct)); {
	case n == 0:
		return "the heat that past seasons made expect"
	case pct < 0:
		return fmt.Sprintf("%.0f %% less heat than past seasons made expect", n)
	default:
		return fmt.Sprintf("%.0f %% more heat than past seasons made expect", n)
	}
}

// Doubts says why there is a range, and what looks in vain say.
func (t Telling) Doubts() []string {
	r := t.Next()
	if r == nil {
		return nil
	}
	from := "what is usual, until there are four past seasons"
	if r.Spread.Estimated {
		from = "read from " + countOf(r.Spread.Seasons, "past season", "past seasons") + " here"
	}
	out := []string{fmt.Sprintf("What %s takes differs by about %.0f %% from season to season, and by %.0f %% between plantings within one (%s); the rest is the weather ahead.",
		stagePhrase(r.Stage), r.Spread.SeasonSDPct, r.Spread.OwnSDPct, from)}
	if f := r.Spread.Widened; f > 1 {
		out = append(out, fmt.Sprintf("This season is unlike those on record, so both are taken %.1f times as large.", f))
	}
	for _, s := range t.Of.Stages {
		if s.NotYet != nil {
			out = append(out, s.NotYet.Text)
		}
	}
	if r.Entered != nil {
		out = append(out, r.Entered.Text)
	}
	return out
}

// Notes are those of the explained forecast that are not said otherwise.
func (t Telling) Notes() []string {
	var out []string
	for _, n := range t.Of.Notes {
		switch n.Kind {
		case forecast.NoteEstimate, forecast.NoteFullBloom:
		default:
			out = append(out, n.Text)
		}
	}
	return out
}

// VarietyName names a variety; one that is gone keeps its identifier.
func VarietyName(varieties []forecast.Variety, id string) string {
	i := slices.IndexFunc(varieties, func(v forecast.Variety) bool { return v.ID == id })
	if i < 0 {
		return id
	}
	return cmp.Or(varieties[i].Name, id)
}
