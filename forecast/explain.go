package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"ripetide/weather"
)

// Explanation is how the published dates of one planting came to be. Heat is
// °C·d since bloom, relative figures are per cent, differences are positive
// when they make a stage later. Lists are never null.
type Explanation struct {
	Planting             string         `json:"planting"`
	Variety              string         `json:"variety"`
	Block                string         `json:"block"`
	Station              string         `json:"station"`
	Ripens               string         `json:"ripens"` // Class of the variety.
	Season               int            `json:"season"`
	AsOf                 weather.Date   `json:"as_of"`
	WeatherThrough       *weather.Date  `json:"weather_through"`
	Bloom                *Bloom         `json:"bloom"`
	DegreeDaysSinceBloom *float64       `json:"degree_days_since_bloom"` // Through weather_through; null before bloom was seen.
	DegreeDaysPerDay     *float64       `json:"degree_days_per_day"`     // Expected of the seven days from as_of on: the current pace.
	Method               MethodNote     `json:"method"`                  // The planting's own.
	Weather              WeatherBasis   `json:"weather"`
	Days                 []HeatDay      `json:"days"`   // After bloom through weather_through; none while bloom is forecast.
	Ahead                []HeatAhead    `json:"ahead"`  // From there to the last pick, p90.
	Stages               []StageReasons `json:"stages"` // First ripe, peak, last pick; none when they cannot be forecast.
	ThisSeason           []StageSeen    `json:"this_season"`
	PickingWindowDays    *DayCounts     `json:"picking_window_days"`
	Moved                *Moved         `json:"moved"`
	Notes                []Note         `json:"notes"` // Of the planting, and those of the whole farm.
}

// WeatherBasis counts what the days from bloom to the last pick, p90, rest on.
type WeatherBasis struct {
	ObservedDays int      `json:"observed_days"`
	FilledDays   int      `json:"filled_days"`      // Had to be filled in.
	OutlookDays  int      `json:"outlook_days"`     // Ahead, with an outlook.
	ReplayedDays int      `json:"replayed_days"`    // Ahead, by past years alone.
	PastYears    int      `json:"past_years"`       // How many are replayed.
	TrendCPerYr  *float64 `json:"trend_c_per_year"` // By which past years are shifted; null: not.
}

// DaySource says how a day's temperatures are known.
type DaySource string

// The sources of a day.
const (
	DayObserved     DaySource = "observed"
	DayInterpolated DaySource = "interpolated" // Between its neighbours.
	DayUsual        DaySource = "usual"        // The mean of other years.
	DayStandIn      DaySource = "stand-in"     // From the station that stands in.
	DayOutlook      DaySource = "outlook"      // To come.
	DayReplayed     DaySource = "past years"   // To come.
)

// HeatDay is a day since bloom.
type HeatDay struct {
	Date       weather.Date `json:"date"`
	MinC       float64      `json:"min_c"`
	MaxC       float64      `json:"max_c"`
	DegreeDays float64      `json:"degree_days"`
	Sum        float64      `json:"degree_days_since_bloom"`
	Source     DaySource    `json:"source"`
}

// HeatAhead is a day to come: quantiles, over members, of the heat since bloom
// at its end.
type HeatAhead struct {
	Date   weather.Date `json:"date"`
	P10    float64      `json:"p10_degree_days"`
	P50    float64      `json:"p50_degree_days"`
	P90    float64      `json:"p90_degree_days"`
	Source DaySource    `json:"source"`
}

// StageReasons says what a stage requires, and why. The prior's log and the
// logs of the effects add up to the log of the mean requirement; so do their
// degree-days, in this order.
type StageReasons struct {
	Stage       string         `json:"stage"`
	Date        *DateRange     `json:"date"` // As published; null when it cannot be forecast.
	Requirement RequirementNow `json:"requirement"`
	Prior       PriorBelief    `json:"prior"`
	Effects     []Effect       `json:"effects"`
	Spread      SpreadBasis    `json:"spread"`
	NotYet      *NotYet        `json:"not_yet"` // The latest look in vain; null when there was none, or it was seen since.
	Entered     *EnteringHabit `json:"entered"` // Null when it was seen, and before bloom was.
}

// RequirementNow is the heat from bloom to a stage over members.
type RequirementNow struct {
	Mean float64 `json:"mean_degree_days"` // Of the logs.
	P10  float64 `json:"p10_degree_days"`
	P50  float64 `json:"p50_degree_days"`
	P90  float64 `json:"p90_degree_days"`
	Log  float64 `json:"log_mean"`
}

// PriorBelief is what is assumed of a variety before a farm's own seasons.
type PriorBelief struct {
	DegreeDays float64     `json:"degree_days"`
	SDPct      float64     `json:"sd_pct"`
	From       PriorSource `json:"from"`
	Log        float64     `json:"log"`
}

// PriorSource says where a prior comes from.
type PriorSource string

// The sources of a prior.
const (
	PriorClass PriorSource = "class" // The variety's ripening class.
	PriorOwn   PriorSource = "farm's own figure"
)

// EffectKind names what changes a requirement.
type EffectKind string

// The effects, in the order in which they are told. The first three are what
// past seasons have taught.
const (
	EffectFarm     EffectKind = "farm"     // Common to all plantings of the farm.
	EffectVariety  EffectKind = "variety"  // Its own.
	EffectPlanting EffectKind = "planting" // Its own, in every season.
	EffectSeason   EffectKind = "season"   // This season, common to all plantings.
	EffectOwn      EffectKind = "own"      // This season, this planting.
	EffectLasting  EffectKind = "lasting"  // What this season adds to the first three.
	EffectLooks    EffectKind = "looks"    // Looks in vain and what is not entered, on any planting; the order of stages; and the chance of the draw.
	EffectFrost    EffectKind = "frost"    // Frosts on its open flowers; only where there are any.
)

// Effect is one change of a requirement.
type Effect struct {
	Effect       EffectKind `json:"effect"`
	Pct          float64    `json:"pct"`
	DegreeDays   float64    `json:"degree_days"`
	Days         *float64   `json:"days"`         // At the current pace; null without one.
	Seasons      int        `json:"seasons"`      // That taught it.
	Observations int        `json:"observations"` // Sightings that taught it: of this stage in past seasons, of any in this one.
	Log          float64    `json:"log"`
}

// SpreadBasis is how much seasons, and plantings within a season, differ.
type SpreadBasis struct {
	SeasonSDPct float64 `json:"season_sd_pct"`
	OwnSDPct    float64 `json:"own_sd_pct"`
	Estimated   bool    `json:"estimated"` // From the farm's own seasons; else defaults.
	Seasons     int     `json:"seasons"`   // From how many.
	Widened     float64 `json:"widened"`   // By which both are multiplied for this season; 1 unless it is unlike those on record.
}

// NotYet is a look that found a stage had not come.
type NotYet struct {
	Date       weather.Date `json:"date"`
	DegreeDays *float64     `json:"degree_days"` // Which were not enough; null while bloom is forecast.
	Text       string       `json:"text"`
}

// EnteringHabit is how surely the farm enters a stage.
type EnteringHabit struct {
	Share float64 `json:"share"` // Of the stages that came in past seasons, 0 to 1.
	Text  string  `json:"text"`
}

// StageSeen is a stage that was seen this season, on any planting, and what
// past seasons had made expect.
type StageSeen struct {
	Planting   string       `json:"planting"`
	Stage      string       `json:"stage"`
	Date       weather.Date `json:"date"`
	DegreeDays float64      `json:"degree_days"`
	Expected   float64      `json:"expected_degree_days"`
	Pct        float64      `json:"pct"` // More than expected.
}

// Explain explains what the forecast of [Compute] says of one planting. Moved
// is left to the caller. Errors: [ErrPlantingNotFound], when it does not bear,
// and those of Compute.
func Explain(in Inputs, asOf weather.Date, planting string) (*Explanation, error) {
	c, err := compute(in, asOf)
	if err != nil {
		return nil, err
	}
	return c.explain(planting)
}

// explain is [Explain] after the forecast was computed.
func (c *computing) explain(planting string) (*Explanation, error) {
	i := slices.IndexFunc(c.f.Plantings, func(d PlantingDates) bool { return d.Planting == planting })
	if i < 0 {
		return nil, ErrPlantingNotFound
	}
	d := c.f.Plantings[i]
	p, _ := c.planting(planting)
	x := &Explanation{
		Planting: planting, Variety: d.Variety, Block: d.Block, Station: p.Station, Season: c.season, AsOf: c.asOf,
		Bloom: d.Bloom, DegreeDaysSinceBloom: d.DegreeDaysSinceBloom, Method: c.f.Method,
		Days: []HeatDay{}, Ahead: []HeatAhead{}, Stages: []StageReasons{}, ThisSeason: []StageSeen{},
		PickingWindowDays: d.PickingWindowDays, Notes: []Note{},
	}
	for _, n := range c.f.Notes {
		if n.Planting == planting || n.Planting == "" {
			x.Notes = append(x.Notes, n)
		}
	}
	if v, ok := c.variety[d.Variety]; ok {
		x.Ripens = c.in.Varieties[v].Ripens.String()
		m := c.in.methodOf(c.in.Varieties[v])
		x.Method.DegreeDays, x.Method.BaseC, x.Method.Cutoff, x.Method.UpperC = m.Kind, m.Base, m.Cutoff, nil
		if m.Cutoff != NoCutoff {
			x.Method.UpperC = &m.Upper
		}
	}
	t := slices.IndexFunc(c.targets, func(t *target) bool { return c.in.Plantings[t.planting].ID == planting })
	if t < 0 {
		return x, nil
	}
	e := explaining{computing: c, x: x, t: t, tg: c.targets[t]}
	e.requirements()
	e.weather(d.Stages)
	if err := e.stages(d.Stages); err != nil {
		return nil, err
	}
	return x, nil
}

// explaining is the state of one explanation.
type explaining struct {
	*computing
	x  *Explanation
	t  int // Index into targets.
	tg *target
	by []triple // By member: the logs of the requirements, after frosts.
}

// requirements works out what the stages require in each member, after frosts.
func (e *explaining) requirements() {
	ms := e.members
	var ns []night
	for m, x := range ms.xs {
		log := triple(x[ripeStages*e.t:])
		if len(e.tg.frosts) > 0 {
			ns = nights(ns[:0], e.tg.frosts, e.tg.heats[m/ms.perTrace], e.tg.bloomIn(m, ms.first))
			need, _ := exp3(x, e.t).frosted(ns)
			for s := range log {
				log[s] = math.Log(need[s])
			}
		}
		e.by = append(e.by, log)
	}
}

// weather tells of the days since bloom and of those to come.
func (e *explaining) weather(stages *StageDates) {
	t, x := e.tg, e.x
	through := t.ahead.through // Of its own station; the forecast tells of the one that ends first.
	x.WeatherThrough = &through
	x.Weather.PastYears = len(e.years)
	if tr := trendOf(t.record, e.season, e.southern); tr.slope != 0 {
		slope := round(tr.slope, 4)
		x.Weather.TrendCPerYr = &slope
	}
	if last := min(e.asOf+6, t.mean.last()); last >= e.asOf {
		pace := round(t.mean.after(e.asOf-1, last)/float64(last-e.asOf+1), 2)
		x.DegreeDaysPerDay = &pace
	}

	from := through + 1
	if t.spring == nil {
		from = max(from, t.bloom+1)
		h := t.heats[0] // As Forecast.DegreeDaysSinceBloom is counted.
		for d := t.bloom + 1; d <= through; d++ {
			day := t.ahead.paths[0][d-t.ahead.first]
			s := t.record.source(d)
			if s == DayObserved {
				x.Weather.ObservedDays++
			} else {
				x.Weather.FilledDays++
			}
			x.Days = append(x.Days, HeatDay{
				Date: d, MinC: round(day.Min, 2), MaxC: round(day.Max, 2),
				DegreeDays: round(h.of(d), 2), Sum: round(h.after(t.bloom, d), 1), Source: s,
			})
		}
	}
	if stages == nil {
		return
	}
	for d := from; d <= min(stages.LastPick.P90, t.mean.last()); d++ {
		q := e.sums(d)
		s := t.ahead.source(d)
		if s == DayOutlook {
			x.Weather.OutlookDays++
		} else {
			x.Weather.ReplayedDays++
		}
		x.Ahead = append(x.Ahead, HeatAhead{d, round(q[0], 1), round(q[1], 1), round(q[2], 1), s})
	}
}

// source says how the day of d, which is on record, is known.
func (r *record) source(d weather.Date) DaySource {
	switch _, borrowed := r.at(d); {
	case len(r.lent.Between(d, d)) > 0:
		return DayStandIn
	case borrowed:
		return DayUsual
	case len(r.series.Between(d, d)) == 0:
		return DayInterpolated
	}
	return DayObserved
}

// source says what the weather of d, which was not observed, rests on.
func (w *ahead) source(d weather.Date) DaySource {
	if d <= w.outlook {
		return DayOutlook
	}
	return DayReplayed
}

// sums returns the quantiles, over members, of the heat since bloom at the end
// of d.
func (e *explaining) sums(d weather.Date) [3]float64 {
	t, ms := e.tg, e.members
	var xs []float64
	if t.spring == nil { // All members of a trace agree.
		for _, h := range t.heats {
			xs = append(xs, h.after(t.bloom, d))
		}
		return quantiles(xs)
	}
	for m := range ms.xs {
		xs = append(xs, t.heats[m/ms.perTrace].after(t.bloomIn(m, ms.first), d))
	}
	return quantiles(xs)
}

// quantiles returns the published quantiles of xs, which it sorts.
func quantiles(xs []float64) (q [3]float64) {
	slices.Sort(xs)
	for i, p := range published {
		q[i] = xs[rank(p, len(xs))-1]
	}
	return q
}

// stages tells of the requirements.
func (e *explaining) stages(dates *StageDates) error {
	t, m := e.tg, e.known
	// What would be believed had nothing been seen this season.
	then := m
	then.current = slices.Clone(m.current)
	for i := range then.current {
		then.current[i].seen = [ripeStages]bool{}
	}
	past, err := condition(then)
	if err != nil {
		return err
	}
	e.thisSeason(past)

	habit := e.habit()
	spread := m.estimate()
	p := m.target[e.t]
	v := e.in.Varieties[t.variety]
	_, cov := prior(v, e.in.methodOf(v))
	for s := range ripeStages {
		r := StageReasons{
			Stage:       (FirstRipe + Stage(s)).String(),
			Requirement: e.requirement(s),
			Prior: PriorBelief{
				DegreeDays: round(math.Exp(m.means[m.variety[p]][s]), 1), SDPct: round(100*math.Sqrt(cov[s][s]), 1),
				From: PriorClass, Log: m.means[m.variety[p]][s],
			},
			Spread: SpreadBasis{
				SeasonSDPct: round(100*spread.season[s], 1), OwnSDPct: round(100*spread.own[s], 1),
				Estimated: spread.seasons > 0, Seasons: spread.seasons, Widened: round(max(m.widen, 1), 2),
			},
			NotYet: e.notYet(s),
		}
		if t.seen[s] == nil && t.spring == nil {
			r.Entered = entering(s, habit.ripe[s])
		}
		if v.Requirement != nil {
			r.Prior.From = PriorOwn
		}
		if dates != nil {
			r.Date = [...]*DateRange{&dates.FirstRipe, &dates.Peak, &dates.LastPick}[s]
		}
		r.Effects = e.effects(s, past.effects[e.t], r.Prior.Log, r.Requirement.Log)
		e.x.Stages = append(e.x.Stages, r)
	}
	return nil
}

// thisSeason tells of what was seen this season; past is what had been
// expected.
func (e *explaining) thisSeason(past posterior) {
	for t, o := range e.known.current {
		for s, seen := range o.seen {
			if !seen {
				continue
			}
			want := past.mean[ripeStages*t+s]
			shift := e.targets[t].shift[s] // Frosts change what was seen and what was to be expected alike.
			e.x.ThisSeason = append(e.x.ThisSeason, StageSeen{
				Planting: e.in.Plantings[e.targets[t].planting].ID, Stage: (FirstRipe + Stage(s)).String(), Date: *e.targets[t].seen[s],
				DegreeDays: round(math.Exp(o.log[s])+shift, 1), Expected: round(math.Exp(want)+shift, 1), Pct: percent(o.log[s] - want),
			})
		}
	}
	slices.SortStableFunc(e.x.ThisSeason, func(a, b StageSeen) int {
		return cmp.Or(cmp.Compare(a.Date, b.Date), cmp.Compare(a.Planting, b.Planting))
	})
}

// percent is what a difference of logs is, %.
func percent(log float64) float64 { return round(100*math.Expm1(log), 2) }

// requirement tells of the members' requirements of a stage, after frosts.
func (e *explaining) requirement(s int) RequirementNow {
	var sum float64
	logs := make([]float64, 0, len(e.members.xs))
	for _, by := range e.by {
		log := by[s]
		logs = append(logs, log)
		sum += log
	}
	mean := sum / float64(len(logs))
	q := quantiles(logs)
	return RequirementNow{
		Mean: round(math.Exp(mean), 1), Log: mean,
		P10: round(math.Exp(q[0]), 1), P50: round(math.Exp(q[1]), 1), P90: round(math.Exp(q[2]), 1),
	}
}

// effects tells what led from the prior of a stage to the mean of its members;
// past is what past seasons alone have taught.
func (e *explaining) effects(s int, past effects, prior, mean float64) []Effect {
	m, now := e.known, e.post.effects[e.t]
	planting := m.target[e.t]
	taught := func(by func(observation) bool) (seasons, observations int) {
		in := map[int]bool{}
		for _, o := range m.past {
			if o.seen[s] && by(o) {
				in[o.season] = true
				observations++
			}
		}
		return len(in), observations
	}
	lasting, posterior := 0.0, e.post.mean[ripeStages*e.t+s]
	frost := 0.0
	for m, x := range e.members.xs {
		frost += (e.by[m][s] - x[ripeStages*e.t+s]) / float64(len(e.members.xs))
	}
	for i := range 3 {
		lasting += now[i][s] - past[i][s]
	}
	list := []Effect{
		{Effect: EffectFarm, Log: past[0][s]}, {Effect: EffectVariety, Log: past[1][s]}, {Effect: EffectPlanting, Log: past[2][s]},
		{Effect: EffectSeason, Log: now[3][s]}, {Effect: EffectOwn, Log: now[4][s]}, {Effect: EffectLasting, Log: lasting},
		{Effect: EffectLooks, Log: mean - posterior - frost},
	}
	if n := len(e.tg.frosts); n > 0 {
		list = append(list, Effect{Effect: EffectFrost, Log: frost, Seasons: 1, Observations: n})
	}
	list[0].Seasons, list[0].Observations = taught(func(observation) bool { return true })
	list[1].Seasons, list[1].Observations = taught(func(o observation) bool { return m.variety[o.planting] == m.variety[planting] })
	list[2].Seasons, list[2].Observations = taught(func(o observation) bool { return o.planting == planting })
	own := 0
	for _, seen := range m.current[e.t].seen {
		own += btoi(seen)
	}
	for i, n := range map[int]int{3: len(e.x.ThisSeason), 4: own, 5: len(e.x.ThisSeason)} {
		list[i].Seasons, list[i].Observations = min(n, 1), n
	}
	at := math.Exp(prior)
	log := prior
	for i := range list {
		log += list[i].Log
		next := math.Exp(log)
		list[i].Pct, list[i].DegreeDays = percent(list[i].Log), round(next-at, 1)
		if pace := e.x.DegreeDaysPerDay; pace != nil && *pace > 0 {
			days := round((next-at) / *pace, 1)
			list[i].Days = &days
		}
		at = next
	}
	return list
}

// entering tells of the habit of entering a stage that came; share is the share
// that is entered.
func entering(stage int, share float64) *EnteringHabit {
	h := &EnteringHabit{Share: round(share, 2)}
	h.Text = fmt.Sprintf("Of 100 times that %s came, about %.0f were entered: ", stageWords[stage], 100*share)
	if share >= 0.7 {
		h.Text += "as it is not entered now, it has probably not come."
	} else {
		h.Text += "that it is not entered now says little."
	}
	return h
}

// notYet tells of the look in vain that bounds a stage; nil: there is none.
func (e *explaining) notYet(s int) *NotYet {
	t := e.tg
	d := t.notYet[s]
	if d == nil || t.seen[s] != nil {
		return nil
	}
	n := &NotYet{Date: *d, Text: fmt.Sprintf("Somebody looked for %s on %s and it had not come, so it comes later.", stageWords[s], e.day(*d))}
	if t.spring == nil && *d > t.bloom {
		heat := round(t.mean.after(t.bloom, min(*d, t.mean.last())), 1)
		n.DegreeDays = &heat
		n.Text = fmt.Sprintf("Somebody looked for %s on %s and it had not come, so it takes more than %s.", stageWords[s], e.day(*d), e.in.Farm.Heat(heat))
	}
	return n
}
