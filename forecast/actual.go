package forecast

import (
	"cmp"
	"slices"

	"ripetide/weather"
)

// Actual is the date of a stage of a planting in a season as it came, with how
// that is known.
type Actual struct {
	Planting string
	Season   int
	Stage    Stage
	Date     weather.Date
	From     ActualFrom
	Bound    ActualBound
}

// ActualFrom says how a date is known.
type ActualFrom string

// How dates are known. What was seen comes before what pickings tell.
const (
	FromSighting ActualFrom = "sighting"
	FromPickings ActualFrom = "pickings"
)

// ActualBound says that a date is only an end of when the stage can have come.
type ActualBound string

// The bounds.
const (
	BoundNone    ActualBound = ""
	BoundLatest  ActualBound = "no later"   // The first picking had more than a first berry.
	BoundEarlier ActualBound = "no earlier" // Fruit was left when picking ended.
)

const (
	// leastPickings are needed before pickings tell of stages.
	leastPickings = 4
	// mostSpread is over how many days at most a picking is spread: ripe berries
	// keep two to four days (common practice), so what is older was lost.
	mostSpread = 4
)

// ActualDates returns the ripe stages of a season as they came: seen in the
// field, or else told by the pickings, unless what was seen contradicts them. They
// are ordered by planting and stage.
func ActualDates(in Inputs, season int) []Actual {
	southern := in.Farm.Southern()
	seen := gather(in.Sightings, southern)
	picked := map[string][]Picking{}
	for _, p := range in.Pickings {
		if SeasonOf(p.Date, southern) == season {
			picked[p.Planting] = append(picked[p.Planting], p)
		}
	}
	var out []Actual
	for _, p := range in.Plantings {
		told := FromPicked(picked[p.ID])
		l := seen[plantingSeason{p.ID, season}]
		for s := FirstRipe; s <= LastPick; s++ {
			if l != nil && l.seen[s] != nil {
				out = append(out, Actual{p.ID, season, s, *l.seen[s], FromSighting, BoundNone})
				continue
			}
			if t := told[s-FirstRipe]; t != nil && l.agrees(s, t.Date) {
				out = append(out, Actual{p.ID, season, s, t.Date, FromPickings, t.Bound})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Actual) int {
		return cmp.Or(cmp.Compare(a.Planting, b.Planting), cmp.Compare(a.Stage, b.Stage))
	})
	return out
}

// agrees reports whether a date of a stage that pickings tell lies between those of
// other stages that were seen.
func (l *looks) agrees(s Stage, d weather.Date) bool {
	if l == nil {
		return true
	}
	for other := FirstRipe; other <= LastPick; other++ {
		if seen := l.seen[other]; seen != nil && (other < s && *seen > d || other > s && *seen < d) {
			return false
		}
	}
	return true
}

// PickedDate is a date of a stage that pickings tell.
type PickedDate struct {
	Date  weather.Date
	Bound ActualBound
}

// FromPicked tells the dates of first ripe, peak and last pick of one planting
// and season from its pickings, nil what they do not tell: the days by which 5
// and 95 % of the weight had ripened, and the densest day.
//
// What is picked on a day ripened since the planting was last picked clean, but
// at most four days before: older fruit is lost. A day on which fruit was left,
// or that was closed, leaves its fruit to the next picking; so does a day
// without an entry. Weight is spread evenly over those days. The densest day is
// found after smoothing with the weights 1, 2, 3, 2, 1, the first of equals.
//
// First ripe is a bound when the first picking had more than a twentieth of the
// weight itself, and last pick when fruit was left on the last day; fewer than
// four pickings tell nothing. Pickings are of what people took and not of what
// was ripe, which is why what was seen comes first.
func FromPicked(ps []Picking) (told [ripeStages]*PickedDate) {
	ps = slices.Clone(ps)
	slices.SortFunc(ps, func(a, b Picking) int { return cmp.Compare(a.Date, b.Date) })
	var total float64
	n := 0
	for _, p := range ps {
		if total += p.Kg; p.Kg > 0 {
			n++
		}
	}
	if n < leastPickings {
		return told
	}
	first, last := ps[0].Date-mostSpread, ps[len(ps)-1].Date
	ripened := make([]float64, last-first+1)
	clean := first - 1 // The last day on which it was picked clean.
	for _, p := range ps {
		if p.Kg > 0 {
			from := max(clean, p.Date-mostSpread) + 1
			for d := from; d <= p.Date; d++ {
				ripened[d-first] += p.Kg / float64(p.Date-from+1)
			}
		}
		if !p.Closed && (p.Left == LeftUntold || p.Left == LeftNone) {
			clean = p.Date
		}
	}
	by := func(share float64) weather.Date {
		sum := 0.0
		for i, kg := range ripened {
			if sum += kg; sum >= share*total-1e-9 {
				return first + weather.Date(i)
			}
		}
		return last
	}
	told[0] = &PickedDate{Date: by(0.05)}
	told[1] = &PickedDate{Date: first + weather.Date(densestDay(ripened))}
	told[2] = &PickedDate{Date: by(0.95)}
	i := slices.IndexFunc(ps, func(p Picking) bool { return p.Kg > 0 })
	if ps[i].Kg > 0.05*total {
		told[0].Bound = BoundLatest
	}
	if left := ps[len(ps)-1].Left; left == LeftSome || left == LeftLots {
		told[2].Bound = BoundEarlier
	}
	return told
}

// densestDay returns the index of the densest day of kg.
func densestDay(kg []float64) int {
	best, at := -1.0, 0
	for i := range kg {
		var sum float64
		for k, w := range [...]float64{1, 2, 3, 2, 1} {
			if j := i + k - 2; 0 <= j && j < len(kg) {
				sum += w * kg[j]
			}
		}
		if sum > best+1e-9 {
			best, at = sum, i
		}
	}
	return at
}
