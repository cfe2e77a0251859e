package review

import (
	"ripetide/forecast"
	"ripetide/weather"
)

// Gaps are the days of a season on which nothing was ripe, beside what was said
// of them.
type Gaps struct {
	First, Last *weather.Date // The season's ends as they are known; nil: nothing ripe is on record.
	Came        []Gap
	Unknown     int // Days between the ends of which the record does not tell.
	// Said is how it was foreseen, by lead from 21 days on.
	Said []GapTotal
}

// Gap is a run of days, both ends included, on which nothing was ripe.
type Gap struct {
	From, To weather.Date
	// Chances are the highest probabilities that were given to one of its days, by
	// lead from 21 days on; nil where nothing was said.
	Chances [gapLeads]*float64
}

// GapTotal is how the gap days of a season were foreseen at a lead. Foreseen are
// days within a gap that the forecast reported.
type GapTotal struct {
	Lead     Lead
	Days     int     // Days of the season that are known and of which something was said.
	Came     int     // Of these, gap days that came.
	Foreseen int     // Of these that came, foreseen.
	False    int     // Foreseen, and something was ripe.
	Brier    float64 // Of the probabilities; 0 when Days is 0.
}

// gapLeads is the number of leads in days.
const gapLeads = 4

// GapLeads returns the leads of [Gap.Chances].
func GapLeads() []Lead { return Leads()[1:] }

// newGaps tells the days of the season from the dates that came.
//
// A day is a gap day if it lies between the first ripe fruit and the last pick
// of the farm and in nobody's window. Of a planting whose dates are missing, or
// are bounds, only what is sure counts: where it may have been ripe the day is
// unknown, unless another planting was.
func newGaps(in forecast.Inputs, season int, came []forecast.Actual, issued []forecast.IssuedAll) Gaps {
	var g Gaps
	type span struct{ first, last weather.Date } // Both included.
	var sure, maybe []span
	start, end := forecast.SeasonBounds(season, in.Farm.Southern())
	harvest := Harvest(came, end)
	for _, p := range in.Plantings {
		first, last, knows := span{start, end}, span{start, end}, false // When first ripe, and last pick, can have been.
		for _, a := range came {
			if a.Planting != p.ID || a.Stage == forecast.Peak {
				continue
			}
			knows = true
			at := &first
			if a.Stage == forecast.LastPick {
				at = &last
			}
			if a.Bound != forecast.BoundLatest {
				at.first = a.Date
			}
			if a.Bound != forecast.BoundEarlier {
				at.last = a.Date
			}
			if g.First == nil || a.Date < *g.First {
				g.First = &a.Date
			}
			if g.Last == nil || a.Date > *g.Last {
				g.Last = &a.Date
			}
		}
		if !knows && !p.Bears(season, harvest) {
			continue
		}
		last.first, first.last = max(last.first, first.first), min(first.last, last.last) // The one is not before the other.
		if first.last <= last.first {
			sure = append(sure, span{first.last, last.first})
		}
		maybe = append(maybe, span{first.first, last.last})
	}
	if g.First == nil {
		return g
	}
	within := func(ss []span, d weather.Date) bool {
		for _, s := range ss {
			if s.first <= d && d <= s.last {
				return true
			}
		}
		return false
	}
	g.Said = make([]GapTotal, gapLeads)
	for i, l := range GapLeads() {
		g.Said[i].Lead = l
	}
	for d := *g.First; d <= *g.Last; d++ {
		ripe := within(sure, d)
		if !ripe && within(maybe, d) {
			g.Unknown++
			continue
		}
		if !ripe {
			if n := len(g.Came); n == 0 || g.Came[n-1].To != d-1 {
				g.Came = append(g.Came, Gap{From: d})
			}
			g.Came[len(g.Came)-1].To = d
		}
		for i := range g.Said {
			g.Said[i].day(d, !ripe, issued)
		}
	}
	for i := range g.Said {
		if n := g.Said[i].Days; n > 0 {
			g.Said[i].Brier /= float64(n)
		}
	}
	for i := range g.Came {
		g.Came[i].chances(issued)
	}
	return g
}

// Harvest returns the first date of what came, by which it is told what bore that
// season; without any end.
func Harvest(came []forecast.Actual, end weather.Date) weather.Date {
	for _, a := range came {
		end = min(end, a.Date)
	}
	return end
}

// day counts a day of which it is known whether it was a gap day.
func (t *GapTotal) day(d weather.Date, gap bool, issued []forecast.IssuedAll) {
	before, _ := t.Lead.Days()
	z := nearestAll(issued, d-weather.Date(before))
	if z == nil {
		return
	}
	t.Days++
	outcome := 0.0
	if gap {
		outcome = 1
		t.Came++
	}
	off := z.Chance(d) - outcome
	t.Brier += off * off
	for _, x := range z.Gaps {
		if x.Kind == forecast.KindGap && x.From <= d && d <= x.To {
			if gap {
				t.Foreseen++
			} else {
				t.False++
			}
			return
		}
	}
}

// chances looks up what was said of the gap before its first day.
func (g *Gap) chances(issued []forecast.IssuedAll) {
	for i, l := range GapLeads() {
		before, _ := l.Days()
		z := nearestAll(issued, g.From-weather.Date(before))
		if z == nil {
			continue
		}
		most := 0.0
		for d := g.From; d <= g.To; d++ {
			most = max(most, z.Chance(d))
		}
		g.Chances[i] = &most
	}
}

// nearestAll returns the forecast of a morning or, if there was none, the latest
// of the three mornings before it; nil if there is none.
func nearestAll(issued []forecast.IssuedAll, at weather.Date) *forecast.IssuedAll {
	var n *forecast.IssuedAll
	for i := range issued {
		z := &issued[i]
		if z.AsOf > at || z.AsOf < at-reach {
			continue
		}
		if n == nil || z.AsOf > n.AsOf || z.AsOf == n.AsOf && z.MadeAt.After(n.MadeAt) {
			n = z
		}
	}
	return n
}
