package forecast

import (
	"cmp"
	"slices"
	"sort"

	"ripetide/weather"
)

// lookAhead chooses the past years whose weather is replayed. A member has one
// year for all stations, so only years that all of them have are used; a
// station that would leave too few is set aside.
func (c *computing) lookAhead() error {
	use := map[string]int{} // Plantings that bear, by station.
	for _, p := range c.in.Plantings {
		if p.Bears(c.season, c.asOf) {
			use[p.Station]++
		}
	}
	stations := make([]string, 0, len(use))
	for s := range use {
		stations = append(stations, s)
	}
	sort.Slice(stations, func(i, j int) bool {
		a, b := stations[i], stations[j]
		return cmp.Or(cmp.Compare(use[b], use[a]), cmp.Compare(a, b)) < 0
	})
	first, _ := SeasonBounds(c.season, c.southern)
	through := map[string]weather.Date{}
	best := &TooFewYearsError{Need: LeastYears}
	var used []string
	for _, s := range stations {
		r := c.records[s]
		if r == nil {
			r = &record{}
		}
		t := first - 1
		if !r.empty() {
			t = max(t, r.last())
		}
		own := usableYears(r, c.asOf, t, c.southern)
		if best.Station == "" || len(own) > best.Have {
			best.Station, best.Name, best.Have = s, c.stationName(s), len(own)
			from, to := replayed(c.asOf, t, c.southern)
			best.From, best.To = c.in.Farm.monthDay(from), c.in.Farm.monthDay(to)
		}
		both := own
		if used != nil {
			both = intersect(c.years, own)
		}
		if len(both) < LeastYears {
			if used != nil || len(own) < LeastYears {
				continue
			}
		}
		c.years, used = both, append(used, s)
		through[s] = t
	}
	if used == nil {
		return best
	}
	c.ahead = map[string]*ahead{}
	var oldest *weather.Date
	for _, s := range used {
		r := c.records[s]
		c.ahead[s] = lookAhead(r, c.season, c.southern, through[s], c.years)
		c.blend(s, r)
		if l := r.last(); oldest == nil || l < *oldest {
			oldest = &l
		}
		if _, l, ok := r.own.Span(); ok && l < c.asOf-1 && r.last() > l {
			c.note(NoteStale, "", "The record of %s ends on %s, %s before this morning: its stand-in is used until %s.",
				c.stationName(s), c.day(l), days(int(c.asOf-1-l)), c.day(r.last()))
		}
		c.noteStandIn(s, r)
		c.noteLeftOut(s)
		if l := r.last(); l < c.asOf-1 {
			c.note(NoteStale, "", "The record of %s ends on %s, %s before this morning: past years stand in for the days since.",
				c.stationName(s), c.day(l), days(int(c.asOf-1-l)))
		}
	}
	c.f.WeatherThrough = oldest
	c.f.Method.Traces = len(c.years)
	return nil
}

// noteStandIn says what a station borrows, or why it cannot.
func (c *computing) noteStandIn(station string, r *record) {
	i := slices.IndexFunc(c.in.Records, func(r Record) bool { return r.Station.ID == station })
	from := c.in.Records[i].Station.StandIn
	switch {
	case from == "":
	case r.lent.Len() > 0:
		o := r.offset.Year.Middle
		c.note(NoteStandIn, "", "Days and past years that %s does not have come from %s, moved by %s (give or take %s), the difference on the %d days that both have.",
			c.stationName(station), c.stationName(from), c.in.Farm.Difference(o.C), number(c.in.Farm.perC()*o.SD), r.offset.Days)
	case r.offset.Days < leastCommon:
		c.note(NoteStandIn, "", "%s has %d days in common with its stand-in %s; %d are needed before it can stand in.",
			c.stationName(station), r.offset.Days, c.stationName(from), leastCommon)
	}
}

// noteLeftOut says which days of this season a station has that are not used.
func (c *computing) noteLeftOut(station string) {
	i := slices.IndexFunc(c.in.Records, func(r Record) bool { return r.Station.ID == station })
	since := winterEnd(c.season, c.southern)
	var out []weather.Date
	for _, d := range c.in.Records[i].leftOut {
		if d > since {
			out = append(out, d)
		}
	}
	if misfit := c.in.Records[i].misfit; misfit != "" {
		c.note(NoteSuspect, "", "So many days of %s are doubtful that none is left out for it: look at its place, its unit and its record (%s).", c.stationName(station), c.in.Farm.Finding(misfit))
	}
	switch n := len(out); {
	case n == 1:
		c.note(NoteSuspect, "", "The record of %s for %s is left out as doubtful.", c.stationName(station), c.day(out[0]))
	case n > 1:
		c.note(NoteSuspect, "", "%d days of %s since %s are left out as doubtful, the last %s.", n, c.stationName(station), c.day(out[0]), c.day(out[n-1]))
	}
}

// blend puts the newest outlook of a station into its traces.
func (c *computing) blend(station string, r *record) {
	i := slices.IndexFunc(c.in.Records, func(r Record) bool { return r.Station.ID == station })
	outlooks := c.in.Records[i].Outlooks
	if len(outlooks) == 0 {
		return
	}
	zone, o := c.in.zone(), outlooks[len(outlooks)-1]
	issued := weather.DateIn(o.IssuedAt.In(zone))
	if c.ahead[station].blend(o, issued, learnSkill(r.own, r.series, outlooks, zone)) == 0 {
		return
	}
	if at := c.f.OutlookIssuedAt; at == nil || o.IssuedAt.Before(*at) {
		at := o.IssuedAt.UTC()
		c.f.OutlookIssuedAt = &at
	}
	if old := c.asOf - issued; old > 1 {
		c.note(NoteOutlook, "", "The newest outlook for %s was issued on %s, %d days before this morning.", c.stationName(station), c.day(issued), old)
	}
}

// day writes a date as the people of the farm do.
func (c *computing) day(d weather.Date) string { return c.in.Farm.Day(d) }

// stationName names a station to people; one that is gone keeps its identifier.
func (c *computing) stationName(id string) string {
	i := slices.IndexFunc(c.in.Records, func(r Record) bool { return r.Station.ID == id })
	if i < 0 {
		return id
	}
	return cmp.Or(c.in.Records[i].Station.Name, id)
}

func intersect(a, b []int) (out []int) {
	for _, x := range a {
		if slices.Contains(b, x) {
			out = append(out, x)
		}
	}
	return out
}

// heatsOf returns the running sums of a usable station's paths.
func (c *computing) heatsOf(station string, m Method) []heat {
	k := heatKey{station, m}
	if c.heats[k] == nil {
		c.heats[k] = c.ahead[station].heats(m)
	}
	return c.heats[k]
}

// meanOf returns the mean of heatsOf: what is expected.
func (c *computing) meanOf(station string, m Method) heat {
	k := heatKey{station, m}
	h, ok := c.means[k]
	if !ok {
		h = meanHeat(c.heatsOf(station, m))
		c.means[k] = h
	}
	return h
}

// pastSeason returns the running sum of a past season.
func (c *computing) pastSeason(station string, m Method, season int) heat {
	k := pastKey{station, m, season}
	h, ok := c.pastHeat[k]
	if !ok {
		first, last := SeasonBounds(season, c.southern)
		h = newHeat(m, c.records[station].span(first, last))
		c.pastHeat[k] = h
	}
	return h
}
