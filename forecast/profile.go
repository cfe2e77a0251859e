package forecast

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"ripetide/weather"
)

// MethodProfile shows how well a farm's past seasons would have been dated by
// other ways of summing heat than the one in use, and what follows from it.
//
// Every figure in it is leave-one-season-out: a season is dated from what the
// other seasons teach, so it is not in sample; but by the weather that came and
// from the bloom that was seen, so it is no forecast score either. A forecast,
// which does not know the weather, misses by more.
type MethodProfile struct {
	Farm    string
	AsOf    weather.Date
	Seasons []int // Past seasons with a date to compare, rising.
	Cases   int   // Dates compared: stages of plantings in seasons, the same for every method.
	LeftOut LeftOut
	InUse   ProfilePoint   // The farm's method.
	Curves  []ProfileCurve // By kind, that of the method in use first; empty without cases.
	// Proposed is the method to go over to; nil: none. It is for the grower to
	// accept, see [MethodChoice].
	Proposed *ProfilePoint
	Finding  string // What is proposed, on what grounds, or why nothing is.
	Basis    string // What the figures are and rest on.
}

// LeftOut counts what a profile could not use.
type LeftOut struct {
	// OwnMethod counts the varieties with a requirement of their own: it holds
	// for its own method, which another of the farm does not change.
	OwnMethod int
	NoBloom   int // Plantings in a season with a ripe stage seen, but no bloom.
	NoWeather int // Plantings in a season with too few days of weather on record.
}

// ProfileCurve is the profile of one kind.
type ProfileCurve struct {
	Kind   Kind
	Points []ProfilePoint // By base, rising.
}

// ProfilePoint is how a method does. Errors are forecast minus actual, in days;
// positive is late.
type ProfilePoint struct {
	Method Method
	RMSE   float64 // Root of the mean square error, days.
	MAE    float64 // Mean absolute error, days.
	Bias   float64 // Mean error, days.
	Gain   float64 // RMSE of the method in use less that of this one, days.
	// RMSERange and GainRange hold 90 % of what seasons drawn anew give; nil with
	// fewer than two seasons.
	RMSERange, GainRange *DayRange
	BySeason             []SeasonError // As MethodProfile.Seasons.
}

// DayRange is a range of days, or of differences in days.
type DayRange struct{ Low, High float64 }

// SeasonError are the errors of one season, so added up that seasons can be
// drawn anew.
type SeasonError struct {
	Season, Cases             int
	Sum, SumAbs, SumOfSquares float64 // Of errors, days or days².
}

// ProfileOptions says what is compared. The zero value is the usual grid.
type ProfileOptions struct {
	Bases []float64 // °C, rising; nil: 0 to 7 °C in steps of a half.
	Kinds []Kind    // Nil: single sine, average and double sine.
}

const (
	// A planting's season counts when at most this share of the days from bloom
	// to a stage were taken from other years.
	borrowedShare = 0.1
	// sameBase is how near, °C, a base is taken for one of the grid, as after
	// conversion from °F.
	sameBase = 1e-6
)

// grid returns the kinds and bases to compare, those of the method in use among
// them: its kind first, and its base with that kind if the grid lacks it.
// Bases that do not lie below the upper cutoff are left out.
func (o ProfileOptions) grid(use Method) (grid [][]Method, err error) {
	bases := o.Bases
	if bases == nil {
		for b := 0.0; b <= 7; b += 0.5 {
			bases = append(bases, b)
		}
	}
	var f faults
	for i, b := range bases {
		f.within("bases", b, -10, 20)
		if i > 0 && !(bases[i-1] < b) {
			f.add("bases", "must rise")
		}
	}
	kinds := []Kind{use.Kind}
	for _, k := range o.Kinds {
		f.errs = append(f.errs, Method{Kind: k, Cutoff: NoCutoff}.Validate()...)
		if !slices.Contains(kinds, k) {
			kinds = append(kinds, k)
		}
	}
	if o.Kinds == nil {
		for _, k := range []Kind{SingleSine, Average, DoubleSine} {
			if !slices.Contains(kinds, k) && len(kinds) < 3 {
				kinds = append(kinds, k)
			}
		}
	}
	if len(f.errs) > 0 {
		return nil, f.errs[0]
	}
	for i, k := range kinds {
		var ms []Method
		for _, b := range bases {
			m := use
			m.Kind = k
			if math.Abs(b-use.Base) > sameBase {
				m.Base = b
			}
			if m.Cutoff == NoCutoff || m.Base < m.Upper {
				ms = append(ms, m)
			}
		}
		if i == 0 && !slices.Contains(ms, use) {
			ms = append(ms, use)
			slices.SortFunc(ms, func(a, b Method) int { return cmp.Compare(a.Base, b.Base) })
		}
		if len(ms) > 0 {
			grid = append(grid, ms)
		}
	}
	return grid, nil
}

// Profile compares ways to sum heat on the farm's past seasons by the error in
// days with which each dates the stages, leaving one season out at a time: what
// the farm, its varieties and plantings require is conditioned on all other
// seasons, exactly as for a forecast and by that method throughout, the prior
// converted to its base; each planting of the season left out is then followed
// from its own bloom through the weather that came, and a stage is dated to the
// day during which the heat crosses the median requirement. Upper cutoff and
// its kind are those of the method in use.
//
// The spread of degree-days themselves would prefer high bases, for it shrinks
// merely because degree-days do; that of days does not (Arnold 1959, Proc. Am.
// Soc. Hort. Sci. 74, 430-445, after Yang, Logan and Coffey 1995, Agric. For.
// Meteorol. 74, 61-74).
//
// A season is past when its harvest is over on the morning of asOf, which is
// from 92 days before the season's end on. Weather and sightings are seen as a
// forecast of that morning sees them. The same inputs give the same profile.
//
// What is proposed, if anything: see propose. It is an error that matches
// [ErrInvalid] if opt names a kind that is none or a base that cannot be. No
// past season is no error.
func Profile(in Inputs, asOf weather.Date, opt ProfileOptions) (*MethodProfile, error) {
	grid, err := opt.grid(in.method())
	if err != nil {
		return nil, err
	}
	p := &MethodProfile{Farm: in.Farm.ID, AsOf: asOf}
	r := newRetrial(in, asOf, &p.LeftOut, false)
	for _, y := range r.seasons {
		p.Seasons = append(p.Seasons, y.season)
		for _, q := range y.plantings {
			p.Cases += q.cases()
		}
	}
	if p.Cases > 0 {
		if p.Curves, err = r.curves(grid); err != nil {
			return nil, err
		}
	}
	p.judge(in.method(), in.Farm.Units)
	return p, nil
}

// retrial dates past seasons again.
type retrial struct {
	c       *computing
	seasons []retriedSeason
}

// retriedSeason is a past season with something to compare.
type retriedSeason struct {
	season    int
	toFull    float64 // Heat from bloom_10 to full bloom, by the other seasons.
	plantings []retriedPlanting
}

// retriedPlanting is a planting in such a season.
type retriedPlanting struct {
	index int // In Inputs.Plantings and so, all varieties being known, in model.variety.
	bloom weather.Date
	seen  [ripeStages]*weather.Date // What is compared.
}

func (q *retriedPlanting) cases() (n int) {
	for _, d := range q.seen {
		if d != nil {
			n++
		}
	}
	return n
}

// newRetrial gathers the past seasons of in. What it compares does not depend
// on the method. Varieties whose requirement the farm states have a method of
// their own: they are left out, unless stated is set.
func newRetrial(in Inputs, asOf weather.Date, out *LeftOut, stated bool) *retrial {
	southern := in.Farm.Southern()
	season := SeasonOf(asOf, southern) // The first that is not over.
	if isPast(season, asOf, southern) {
		season++
	}
	known := map[string]bool{}
	in.Varieties = slices.DeleteFunc(slices.Clone(in.Varieties), func(v Variety) bool {
		known[v.ID] = stated || v.Requirement == nil
		return !known[v.ID]
	})
	for _, own := range known {
		if !own {
			out.OwnMethod++
		}
	}
	in.Plantings = slices.DeleteFunc(slices.Clone(in.Plantings), func(p Planting) bool { return !known[p.Variety] })
	in.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s Sighting) bool { return SeasonOf(s.Date, southern) >= season })
	c := newComputing(in, asOf)
	for _, r := range c.records {
		if !r.empty() {
			r.usual(r.first) // Works it out once, before many look at it.
		}
	}
	r := &retrial{c: c}
	for _, k := range sortedSeasons(c.looks) {
		i := slices.IndexFunc(c.in.Plantings, func(p Planting) bool { return p.ID == k.planting })
		if i < 0 || !c.looks[k].ripe() {
			continue
		}
		station := c.in.Plantings[i].Station
		if c.unrecorded(station, k.season) {
			out.NoWeather++
			continue
		}
		if n := len(r.seasons); n == 0 || r.seasons[n-1].season != k.season {
			c.season = k.season // Leaves it out.
			r.seasons = append(r.seasons, retriedSeason{season: k.season, toFull: c.bloomToFull()})
		}
		y := &r.seasons[len(r.seasons)-1]
		h := c.pastSeason(station, DefaultMethod, k.season)
		bloom, _, ok := c.looks[k].bloomOf(h, y.toFull)
		if !ok {
			out.NoBloom++
			continue
		}
		q := retriedPlanting{index: i, bloom: bloom.Date}
		short := false
		for s, d := range c.looks[k].seen[FirstRipe:] {
			if d == nil || *d <= bloom.Date || *d > h.last() {
				continue
			}
			if lost := c.records[station].fromOtherYears(bloom.Date, *d); float64(lost) > borrowedShare*float64(*d-bloom.Date) {
				short = true
				continue
			}
			q.seen[s] = d
		}
		if short {
			out.NoWeather++
		}
		if q.cases() > 0 {
			y.plantings = append(y.plantings, q)
		}
	}
	r.seasons = slices.DeleteFunc(r.seasons, func(y retriedSeason) bool { return len(y.plantings) == 0 })
	return r
}

// ripe reports whether any ripe stage was seen.
func (l *looks) ripe() bool {
	return slices.ContainsFunc(l.seen[FirstRipe:], func(d *weather.Date) bool { return d != nil })
}

// fromOtherYears counts the days after a up to b whose weather is the mean of
// other years: neither observed here nor lent by a stand-in.
func (r *record) fromOtherYears(a, b weather.Date) int {
	return r.unobserved(a, b) - len(r.lent.Between(a+1, b))
}

// by returns the farm as it is with m as its method and the season y left out.
// Nothing in it but its cache of sums is written to, which is shared by all
// seasons of one m.
func (r *retrial) by(m Method) func(y retriedSeason) *computing {
	c := *r.c
	c.in.Choice = &MethodChoice{Method: m}
	c.pastHeat = maps.Clone(r.c.pastHeat)
	return func(y retriedSeason) *computing {
		c.season, c.toFull = y.season, y.toFull
		return &c
	}
}

// date returns the dates of all stages of the plantings in y that their median
// requirements give, by the weather that came. The dates seen in y have no part
// in it, but for bloom.
func (y retriedSeason) date(c *computing) ([][ripeStages]weather.Date, error) {
	m := c.model()
	for _, q := range y.plantings {
		m.target = append(m.target, q.index)
		m.current = append(m.current, observation{planting: q.index})
	}
	post, err := condition(m)
	if err != nil {
		return nil, err
	}
	out := make([][ripeStages]weather.Date, len(y.plantings))
	for t, q := range y.plantings {
		p := c.in.Plantings[q.index]
		h := c.pastSeason(p.Station, c.in.methodOf(c.in.Varieties[m.variety[q.index]]), y.season)
		// Frosts moved the dates that were seen, so they have to move these.
		shift, _ := frostShift(c.frostsOf(p.ID, y.season), h, q.bloom, m.means[m.variety[q.index]])
		for s := range out[t] {
			out[t][s], _ = h.reach(q.bloom, math.Exp(post.mean[ripeStages*t+s])+shift[s])
		}
	}
	return out, nil
}

// curves returns the errors of every method of the grid, season by season.
func (r *retrial) curves(grid [][]Method) ([]ProfileCurve, error) {
	out := make([]ProfileCurve, len(grid))
	var all []*ProfilePoint
	for i, ms := range grid {
		out[i] = ProfileCurve{Kind: ms[0].Kind, Points: make([]ProfilePoint, len(ms))}
		for j, m := range ms {
			out[i].Points[j].Method = m
			all = append(all, &out[i].Points[j])
		}
	}
	errs := make([]error, len(all))
	inParts(len(all), func(_, lo, hi int) {
		for i := lo; i < hi; i++ {
			all[i].BySeason, errs[i] = r.bySeason(all[i].Method, func(Planting) bool { return true })
		}
	})
	for i, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("profile %s: %w", all[i].Method, err)
		}
	}
	return out, nil
}

// bySeason returns the errors of m on the plantings in question, season by
// season.
func (r *retrial) bySeason(m Method, of func(Planting) bool) ([]SeasonError, error) {
	out := make([]SeasonError, len(r.seasons))
	without := r.by(m)
	for i, y := range r.seasons {
		dates, err := y.date(without(y))
		if err != nil {
			return nil, err
		}
		e := SeasonError{Season: y.season}
		for t, q := range y.plantings {
			if !of(r.c.in.Plantings[q.index]) {
				continue
			}
			for s, seen := range q.seen {
				if seen == nil {
					continue
				}
				d := float64(dates[t][s] - *seen)
				e.Cases++
				e.Sum += d
				e.SumAbs += math.Abs(d)
				e.SumOfSquares += d * d
			}
		}
		out[i] = e
	}
	return out, nil
}
