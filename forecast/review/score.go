package review

import (
	"fmt"
	"math"
	"slices"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/scoring"
)

// Slice is a part of all rows.
type Slice struct {
	Stage  forecast.Stage // Or [hindcast.AllStages].
	Ripens *forecast.Class
	Lead   Lead
}

// Score is how good the forecasts of a slice were, days. Plantings of one season
// share one weather, so N of them are one try and not N: Seasons says how many
// there were.
type Score struct {
	Slice
	N       int     // Forecasts that can be held against what came.
	Seasons int     // Different seasons among them.
	LeftOut int     // Nothing was said, or what came is only known to a bound.
	Bias    float64 // Mean error, positive is late; this and what follows 0 when N is 0.
	MAE     float64 // Mean absolute error.
	// MAERange and BiasRange hold 80 % of what comes out when the seasons are drawn
	// anew.
	MAERange, BiasRange scoring.Range
	Pinball             float64 // Mean pinball loss of p10, p50 and p90.
	Inside              int     // Of N, how many came within the range from p10 to p90.
	// InsideLo and InsideHi are the hits that honest ranges would have if every
	// forecast were a try of its own, both included.
	InsideLo, InsideHi int
	Against            []Against // By baseline; empty when N is 0.
}

// Against is a baseline on the events of a score, of those for which it is
// defined.
type Against struct {
	Baseline hindcast.Baseline
	N        int // For how many it is defined.
	MAE      float64
	Ours     float64 // MAE of the forecasts on these.
	// Skill compares absolute errors, Pinball losses of three quantiles, the
	// baseline with a range of its own.
	Skill, Pinball scoring.SkillScore
}

// Closed ranges of whole days from the 10 to the 90 % quantile hold between 80
// and 91 % of outcomes if they are honest, for a day is not divided.
const leastInside, mostInside = 0.80, 0.91

// scored is a row that can be scored.
type scored struct {
	row   Row
	class *forecast.Class
	own   scoring.Case
	other []scoring.Case // By baseline; without a forecast: it is not defined.
}

// Scores returns how good the forecasts of rows were, beside simpler ones of the
// same events on the same mornings: by stage, all stages first, each lead; then
// by ripening class of all stages. Rows may be of several seasons. The inputs
// are those that the rows were made from; a baseline knows of the season of a
// row what was dated by the morning and of others only earlier ones.
func Scores(in forecast.Inputs, rows []Row) ([]Score, error) {
	list, err := compare(in, rows)
	if err != nil {
		return nil, err
	}
	var out []Score
	add := func(sl Slice, always bool) error {
		of := slices.DeleteFunc(slices.Clone(list), func(x scored) bool { return !sl.holds(x) })
		if len(of) == 0 && !always {
			return nil
		}
		s, err := sl.score(of)
		out = append(out, s)
		return err
	}
	for _, stage := range hindcast.Stages() {
		for _, l := range Leads() {
			if err := add(Slice{Stage: stage, Lead: l}, len(list) > 0); err != nil {
				return nil, err
			}
		}
	}
	for c := forecast.Early; c <= forecast.VeryLate; c++ {
		for _, l := range Leads() {
			if err := add(Slice{Stage: hindcast.AllStages, Ripens: &c, Lead: l}, false); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// compare finds the baselines of rows.
func compare(in forecast.Inputs, rows []Row) ([]scored, error) {
	class := map[string]*forecast.Class{}
	for _, p := range in.Plantings {
		if i := slices.IndexFunc(in.Varieties, func(v forecast.Variety) bool { return v.ID == p.Variety }); i >= 0 {
			class[p.ID] = &in.Varieties[i].Ripens
		}
	}
	refs := hindcast.NewReferences(withPicked(in))
	list := make([]scored, len(rows))
	for i, r := range rows {
		x := scored{row: r, class: class[r.Planting], other: make([]scoring.Case, len(hindcast.Baselines()))}
		list[i] = x
		if _, ok := r.Error(); !ok {
			continue
		}
		key := fmt.Sprintf("%d/%s/%s/%s", r.Season, r.Planting, r.Stage, r.Lead)
		own, err := scoring.FromQuantiles(r.Said.P10, r.Said.P50, r.Said.P90)
		if err != nil {
			return nil, fmt.Errorf("forecast %s: %w", r.Said.Forecast, err)
		}
		x.own = scoring.Case{Season: r.Season, Key: key, Lead: int(r.Date - r.Said.AsOf), Forecast: own, Actual: r.Date}
		for _, b := range hindcast.Baselines() {
			d, why, err := refs.Of(b, r.Season, r.Planting, r.Stage, r.Said.AsOf)
			if err != nil {
				return nil, err
			}
			if why == "" {
				x.other[b] = x.own
				x.other[b].Forecast = d
			}
		}
		list[i] = x
	}
	return list, nil
}

// withPicked returns in with what pickings tell of stages as if it had been
// seen, so that baselines learn from the same dates that forecasts are held
// against. Bounds are left out.
func withPicked(in forecast.Inputs) forecast.Inputs {
	seasons := map[int]bool{}
	for _, p := range in.Pickings {
		seasons[forecast.SeasonOf(p.Date, in.Farm.Southern())] = true
	}
	in.Sightings = slices.Clone(in.Sightings)
	for season := range seasons { // In any order: no two write the same.
		for _, a := range forecast.ActualDates(in, season) {
			if a.From == forecast.FromPickings && a.Bound == forecast.BoundNone {
				in.Sightings = append(in.Sightings, forecast.Sighting{Planting: a.Planting, Date: a.Date, Stage: a.Stage, Seen: true})
			}
		}
	}
	return in
}

// holds reports whether a row belongs to the slice.
func (sl Slice) holds(x scored) bool {
	return x.row.Lead == sl.Lead && (sl.Stage == hindcast.AllStages || x.row.Stage == sl.Stage) &&
		(sl.Ripens == nil || x.class != nil && *x.class == *sl.Ripens)
}

// score scores the rows of a slice.
func (sl Slice) score(list []scored) (Score, error) {
	s := Score{Slice: sl}
	var own []scoring.Case
	seasons := map[int]bool{}
	for _, x := range list {
		days, ok := x.row.Error()
		if !ok {
			s.LeftOut++
			continue
		}
		s.N++
		s.Bias += float64(days)
		s.MAE += math.Abs(float64(days))
		s.Pinball += scoring.MeanPinball(x.own.Forecast, x.own.Actual)
		if inside, _ := x.row.Inside(); inside {
			s.Inside++
		}
		seasons[x.row.Season] = true
		own = append(own, x.own)
	}
	s.Seasons = len(seasons)
	if s.N == 0 {
		return s, nil
	}
	n := float64(s.N)
	s.Bias, s.MAE, s.Pinball = s.Bias/n, s.MAE/n, s.Pinball/n
	s.MAERange = scoring.Redrawn(own, func(c scoring.Case) float64 { return math.Abs(float64(c.Forecast.Median() - c.Actual)) })
	s.BiasRange = scoring.Redrawn(own, func(c scoring.Case) float64 { return float64(c.Forecast.Median() - c.Actual) })
	s.InsideLo, _ = scoring.BinomialBand(s.N, leastInside)
	_, s.InsideHi = scoring.BinomialBand(s.N, mostInside)
	for _, b := range hindcast.Baselines() {
		a, err := against(b, list)
		if err != nil {
			return s, fmt.Errorf("%s: %w", b, err)
		}
		s.Against = append(s.Against, a)
	}
	return s, nil
}

// against scores a baseline on the rows of a slice.
func against(b hindcast.Baseline, list []scored) (Against, error) {
	a := Against{Baseline: b}
	var own, other []scoring.Case
	for _, x := range list {
		if x.other[b].Forecast.IsZero() {
			continue
		}
		own, other = append(own, x.own), append(other, x.other[b])
		a.N++
		a.Ours += math.Abs(float64(x.own.Forecast.Median() - x.own.Actual))
		a.MAE += math.Abs(float64(x.other[b].Forecast.Median() - x.own.Actual))
	}
	if a.N == 0 {
		return a, nil
	}
	a.Ours, a.MAE = a.Ours/float64(a.N), a.MAE/float64(a.N)
	c, err := scoring.Skill(own, other)
	a.Skill, a.Pinball = c.MAE, c.Pinball
	return a, err
}

// Find returns the score of a slice.
func Find(scores []Score, sl Slice) (Score, bool) {
	i := slices.IndexFunc(scores, func(s Score) bool {
		return s.Stage == sl.Stage && s.Lead == sl.Lead && classOr(s.Ripens) == classOr(sl.Ripens)
	})
	if i < 0 {
		return Score{}, false
	}
	return scores[i], true
}

// classOr returns the class, or what is none.
func classOr(c *forecast.Class) forecast.Class {
	if c == nil {
		return -1
	}
	return *c
}
