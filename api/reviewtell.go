package api

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/review"
	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// ReviewTelling tells in plain words what a review found. Its page and the
// command review say the same.
type ReviewTelling struct {
	*Review
	farm  forecast.Farm
	names map[string]ToldName
}

// ToldName names a planting: its variety, and where it stands.
type ToldName struct{ Variety, Block string }

// String is the name in a sentence.
func (n ToldName) String() string { return n.Variety + " (" + n.Block + ")" }

// NewReviewTelling returns what tells a review.
func NewReviewTelling(r *Review) ReviewTelling {
	return ReviewTelling{r, r.Inputs.Farm, plantingNames(r.Inputs)}
}

// plantingNames names plantings by variety and block, and by themselves where
// two of a variety stand in one block.
func plantingNames(in forecast.Inputs) map[string]ToldName {
	varieties := map[string]string{}
	for _, v := range in.Varieties {
		varieties[v.ID] = v.Name
	}
	names := map[string]ToldName{}
	same := map[ToldName]int{}
	for _, p := range in.Plantings {
		n := ToldName{cmp.Or(varieties[p.Variety], p.Variety), p.Block}
		names[p.ID] = n
		same[n]++
	}
	for id, n := range names {
		if same[n] > 1 {
			names[id] = ToldName{n.Variety, n.Block + ", " + id}
		}
	}
	return names
}

// Name names a planting.
func (t ReviewTelling) Name(planting string) ToldName { return t.names[planting] }

// Caution says what the season's figures can bear.
func (t ReviewTelling) Caution() string { return reviewCaution(t.Judged) }

// CautionTogether is the same of all seasons up to it; "" when there is no other.
func (t ReviewTelling) CautionTogether() string {
	if len(t.Together.Seasons) < 2 {
		return ""
	}
	return reviewCaution(t.Together.Judged)
}

// ToldOutcome is a stage of a planting: what came, and what was said of it at
// each lead.
type ToldOutcome struct {
	Planting string // Identifier.
	ToldName
	Came string // Its date.
	How  string // How that is known, where it was not seen; "" where it was.
	Said []ToldSaid
}

// ToldSaid is what was said at a lead.
type ToldSaid struct {
	Lead    string
	Date    string
	Range   string // Where it is wider than a day.
	Off     string // "2 days late", "on the day"; "" when it cannot be said.
	Outside bool   // It came outside the range.
	None    string // Why nothing was said; "" when something was.
}

// Outcomes tells a stage, in the order in which it came.
func (t ReviewTelling) Outcomes(stage forecast.Stage) []ToldOutcome {
	var rows []review.Row
	for _, r := range t.Season.Rows {
		if r.Stage == stage {
			rows = append(rows, r)
		}
	}
	slices.SortStableFunc(rows, func(a, b review.Row) int { return cmp.Compare(a.Date, b.Date) })
	var out []ToldOutcome
	for _, r := range rows {
		i := slices.IndexFunc(out, func(o ToldOutcome) bool { return o.Planting == r.Planting })
		if i < 0 {
			i = len(out)
			out = append(out, ToldOutcome{Planting: r.Planting, ToldName: t.names[r.Planting], Came: t.farm.Day(r.Date), How: howCame(r.Actual)})
		}
		out[i].Said = append(out[i].Said, t.said(r))
	}
	return out
}

// howCame says how a date is known that nobody saw.
func howCame(a forecast.Actual) string {
	switch {
	case a.From == forecast.FromSighting:
		return ""
	case a.Bound == forecast.BoundLatest:
		return "or before, by the pickings"
	case a.Bound == forecast.BoundEarlier:
		return "or later, by the pickings"
	}
	return "by the pickings"
}

func (t ReviewTelling) said(r review.Row) ToldSaid {
	s := ToldSaid{Lead: r.Lead.String(), None: string(r.Why)}
	if r.Said == nil {
		return s
	}
	s.Date = t.farm.Day(r.Said.P50)
	if r.Said.P10 < r.Said.P90 {
		s.Range = t.farm.Span(r.Said.P10, r.Said.P90)
	}
	if n, ok := r.Error(); ok {
		inside, _ := r.Inside()
		s.Off, s.Outside = OffBy(n), !inside
	}
	return s
}

// OffBy says an error in days, forecast minus what came.
func OffBy(days int) string {
	switch {
	case days > 0:
		return countOf(days, "day", "days") + " late"
	case days < 0:
		return countOf(-days, "day", "days") + " early"
	}
	return "on the day"
}

// ToldSeasoned is what else is on record of a planting's season.
type ToldSeasoned struct {
	Planting string
	ToldName
	Bloom, First, Peak, Last string // As they came; "" when nobody knows.
	Window                   string // Days from first ripe to last pick.
	WindowSaid               string // What was said of it at bloom or, without that, soonest after.
	Picked, PerArea          string // "" without pickings.
	Frost                    string // "" without one.
	Age                      string
}

// Seasoned tells every planting that bore, those that came first at the top.
func (t ReviewTelling) Seasoned() []ToldSeasoned {
	_, end := forecast.SeasonBounds(t.Season.Year, t.farm.Southern())
	var out []ToldSeasoned
	first := map[string]weather.Date{}
	came := forecast.ActualDates(t.Inputs, t.Season.Year)
	harvest := review.Harvest(came, end)
	for _, p := range t.Inputs.Plantings {
		s := ToldSeasoned{Planting: p.ID, ToldName: t.names[p.ID], Age: countOf(t.Season.Year-p.PlantedOn.Year(), "year", "years")}
		known := false
		for _, a := range came {
			if a.Planting != p.ID {
				continue
			}
			known = true
			text := t.farm.Day(a.Date)
			if a.Bound != forecast.BoundNone {
				text += " " + howCame(a)
			}
			switch a.Stage {
			case forecast.FirstRipe:
				s.First, first[p.ID] = text, a.Date
			case forecast.Peak:
				s.Peak = text
			case forecast.LastPick:
				s.Last = text
			}
		}
		if !known && !p.Bears(t.Season.Year, harvest) {
			continue
		}
		t.bloomed(&s)
		t.weighed(&s, p)
		t.windowed(&s)
		out = append(out, s)
	}
	slices.SortStableFunc(out, func(a, b ToldSeasoned) int {
		x, xok := first[a.Planting]
		y, yok := first[b.Planting]
		if xok != yok { // What did not come is last.
			return map[bool]int{true: -1, false: 1}[xok]
		}
		return cmp.Or(cmp.Compare(x, y), cmp.Compare(a.Planting, b.Planting))
	})
	return out
}

func (t ReviewTelling) bloomed(s *ToldSeasoned) {
	for _, stage := range []forecast.Stage{forecast.BloomFull, forecast.Bloom10} {
		for _, x := range t.Inputs.Sightings {
			if x.Planting != s.Planting || !x.Seen || x.Stage != stage || forecast.SeasonOf(x.Date, t.farm.Southern()) != t.Season.Year {
				continue
			}
			s.Bloom = t.farm.Day(x.Date)
			if stage == forecast.BloomFull {
				s.Bloom += ", full bloom"
			}
		}
	}
}

func (t ReviewTelling) weighed(s *ToldSeasoned, p forecast.Planting) {
	kg, picked := 0.0, false
	for _, x := range t.Inputs.Pickings {
		if x.Planting == p.ID && forecast.SeasonOf(x.Date, t.farm.Southern()) == t.Season.Year {
			kg += x.Kg
			picked = picked || x.Kg > 0
		}
	}
	if picked {
		s.Picked, s.PerArea = t.farm.Weight(kg), t.farm.Yield(kg/p.AreaM2)
	}
	var lost []string
	for _, f := range t.Inputs.Frosts {
		if f.Planting == p.ID && forecast.SeasonOf(f.Date, t.farm.Southern()) == t.Season.Year {
			lost = append(lost, fmt.Sprintf("%.0f %% on %s", 100*f.ShareLost, t.farm.Day(f.Date)))
		}
	}
	s.Frost = strings.Join(lost, ", ")
}

func (t ReviewTelling) windowed(s *ToldSeasoned) {
	for _, w := range t.Season.Windows {
		if w.Planting != s.Planting {
			continue
		}
		s.Window = countOf(w.Days, "day", "days")
		if w.Said == nil || s.WindowSaid != "" {
			continue
		}
		s.WindowSaid = fmt.Sprintf("%d %s", w.Said.P50, w.Lead)
		if w.Said.P10 < w.Said.P90 {
			s.WindowSaid = fmt.Sprintf("%d (%d to %d) %s", w.Said.P50, w.Said.P10, w.Said.P90, w.Lead)
		}
	}
}

// Gaps says which days had nothing ripe, and how that was foreseen.
func (t ReviewTelling) Gaps() (out []string) {
	g := t.Season.Gaps
	if g.First == nil || *g.First == *g.Last {
		return []string{"No more than one ripe day is on record, so it cannot be said whether there was a gap."}
	}
	for _, c := range g.Came {
		text := "Nothing was ripe " + onDays(t.farm, c.From, c.To)
		var said []string
		for i, l := range review.GapLeads() {
			if p := c.Chances[i]; p != nil {
				said = append(said, l.String()+" "+chance(*p))
			}
		}
		if len(said) == 0 {
			text += "; no forecast was made in time to warn of it"
		} else {
			text += "; the chance given: " + strings.Join(said, ", ")
		}
		out = append(out, text+".")
	}
	if len(g.Came) == 0 && g.Unknown == 0 {
		out = append(out, fmt.Sprintf("No gap: something was ripe on every day from %s to %s.", t.farm.Day(*g.First), t.farm.Day(*g.Last)))
	}
	if g.Unknown > 0 {
		out = append(out, fmt.Sprintf("Of %s it cannot be said whether something was ripe, for first ripe fruit or a last pick is not on record.", countOf(g.Unknown, "day", "days")))
	}
	return out
}

// ToldForeseen is how gap days were foreseen at a lead.
type ToldForeseen struct{ Lead, Foreseen, InVain string }

// Foreseen tells how gap days were foreseen, lead by lead; nothing when none came
// and none was foreseen.
func (t ReviewTelling) Foreseen() (out []ToldForeseen) {
	some := false
	for _, s := range t.Season.Gaps.Said {
		some = some || s.Came > 0 || s.False > 0
		if s.Days > 0 {
			out = append(out, ToldForeseen{s.Lead.String(), fmt.Sprintf("%d of %d", s.Foreseen, s.Came), strconv.Itoa(s.False)})
		}
	}
	if !some {
		return nil
	}
	return out
}

// chance writes a probability as the season page does.
func chance(p float64) string { return fmt.Sprintf("%.0f %%", 100*p) }

// onDays writes a run of days after a verb.
func onDays(f forecast.Farm, from, to weather.Date) string {
	if from == to {
		return "on " + f.Day(from)
	}
	return "from " + f.Span(from, to)
}

// Opening says what was possible, announced and advised.
func (t ReviewTelling) Opening() (out []string) {
	o := t.Season.Opening
	day, announced := o.Day()
	if o.Possible == nil {
		out = append(out, "Which day was the first that was possible cannot be said: "+o.Why+".")
	} else {
		out = append(out, "The first day possible, by your own rule and all that is known now: "+t.farm.Day(*o.Possible)+".")
	}
	switch {
	case !announced:
		out = append(out, "No opening day was recorded as announced.")
	case o.Possible == nil:
		out = append(out, "Announced: "+t.farm.Day(day)+".")
	case day == *o.Possible:
		out = append(out, "Announced: that very day.")
	case day > *o.Possible:
		text := fmt.Sprintf("Announced: %s, %s after it", t.farm.Day(day), countOf(int(day-*o.Possible), "day", "days"))
		if o.Past != nil {
			text += fmt.Sprintf("; by then about %.0f %% of the crop had ripened and spoiled unpicked", 100*max(0, *o.Past))
		}
		out = append(out, text+".")
	default:
		out = append(out, fmt.Sprintf("Announced: %s, %s before it: too early by your own rule.", t.farm.Day(day), countOf(int(*o.Possible-day), "day", "days")))
	}
	if n := len(o.Announced); n > 1 {
		var was []string
		for _, d := range o.Announced {
			said := "taken back"
			if d.Day != nil {
				said = t.farm.Day(*d.Day)
			}
			was = append(was, said+" by "+d.DecidedBy)
		}
		out = append(out, fmt.Sprintf("It was decided %d times: %s.", n, strings.Join(was, ", then ")))
	}
	var advised []string
	for _, a := range o.Advised {
		switch {
		case a.Forecast == "":
		case a.Day == nil:
			advised = append(advised, a.Lead.String()+" no day yet")
		default:
			advised = append(advised, a.Lead.String()+" "+t.farm.Day(*a.Day))
		}
	}
	if len(advised) > 0 {
		out = append(out, "Advised: "+strings.Join(advised, ", ")+".")
	}
	return out
}

// ToldScore is how good forecasts were at a lead.
type ToldScore struct {
	Lead     string
	N        int
	Seasons  int
	LeftOut  int
	Off      string // Mean distance, days; "" when N is 0.
	OffRange string // Of it when seasons are drawn anew.
	Bias     string
	Inside   string // "9 of 12".
	Against  []ToldAgainst
}

// ToldAgainst is a simpler forecast beside it.
type ToldAgainst struct {
	Name  string
	Off   string // With the number of dates where it is defined for some only; "" where for none.
	Skill string // How much nearer the forecasts were on the same dates.
}

// reviewBaselines are those that are told; the others are in the JSON.
var reviewBaselines = []hindcast.Baseline{hindcast.MeanDate, hindcast.BloomRule, hindcast.OwnDays}

// Told tells the scores of a stage and class, lead by lead; the leads of which
// nothing can be said too.
func Told(scores []review.Score, stage forecast.Stage, class *forecast.Class) (out []ToldScore) {
	for _, l := range review.Leads() {
		s, ok := review.Find(scores, review.Slice{Stage: stage, Ripens: class, Lead: l})
		if !ok {
			continue
		}
		x := ToldScore{Lead: l.String(), N: s.N, Seasons: s.Seasons, LeftOut: s.LeftOut}
		if s.N > 0 {
			x.Off, x.Bias = fmt.Sprintf("%.1f", s.MAE), signedDays(s.Bias)
			x.Inside = fmt.Sprintf("%d of %d", s.Inside, s.N)
		}
		x.OffRange = rangeWords(s.MAERange)
		for _, b := range reviewBaselines {
			a := ToldAgainst{Name: b.String()}
			if s.N > 0 && s.Against[b].N > 0 {
				of := s.Against[b]
				a.Off = fmt.Sprintf("%.1f", of.MAE)
				if of.N < s.N { // It is not defined for the others.
					a.Off += fmt.Sprintf(" on %d", of.N)
				}
				if of.Skill.OK {
					a.Skill = skillWords(of.Skill)
				}
			}
			x.Against = append(x.Against, a)
		}
		out = append(out, x)
	}
	return out
}

func rangeWords(r scoring.Range) string {
	if !r.OK {
		return ""
	}
	return fmt.Sprintf("%.1f to %.1f", r.Lo, r.Hi)
}

// skillWords says how much smaller the errors are: "a third smaller" would read
// better, but a figure can be compared.
func skillWords(s scoring.SkillScore) string {
	pct := func(x float64) string {
		n := int(math.Round(100 * math.Abs(x)))
		switch {
		case n == 0:
			return "as far off"
		case x < 0:
			return fmt.Sprintf("%d %% farther off", n)
		}
		return fmt.Sprintf("%d %% nearer", n)
	}
	if !s.RangeOK {
		return pct(s.Value)
	}
	if s.Lo < 0 && s.Hi > 0 {
		return pct(s.Value) + ", may be chance"
	}
	return pct(s.Value)
}

// signedDays writes a bias in days; what rounds to nothing has no sign.
func signedDays(x float64) string {
	n := math.Round(10 * x)
	switch {
	case n > 0:
		return fmt.Sprintf("%.1f late", n/10)
	case n < 0:
		return fmt.Sprintf("%.1f early", -n/10)
	}
	return "none"
}

// ToldWindow is how good the lengths said at a lead were.
type ToldWindow struct {
	Lead      string
	N         int
	Off, Bias string
	Inside    string
}

// TellWindows tells the lengths of picking windows, lead by lead, of those of
// which something can be said.
func TellWindows(ws []review.Window) (out []ToldWindow) {
	for _, w := range review.WindowTotals(ws) {
		if w.N == 0 {
			continue
		}
		bias := "none"
		switch n := math.Round(10 * w.Bias); {
		case n > 0:
			bias = fmt.Sprintf("%.1f too long", n/10)
		case n < 0:
			bias = fmt.Sprintf("%.1f too short", -n/10)
		}
		out = append(out, ToldWindow{w.Lead.String(), w.N, fmt.Sprintf("%.1f", w.MAE), bias, fmt.Sprintf("%d of %d", w.Inside, w.N)})
	}
	return out
}
