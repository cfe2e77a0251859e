package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"

	"ripetide/weather"
)

// Compute makes the forecast of the morning asOf. It sees weather dated up to
// the day before and sightings dated up to and including it, whatever else in
// holds. ID, MadeAt and Hindcast are left to the caller.
//
// A planting that cannot be forecast has null stages and a note; it never
// fails the others. An error that matches [ErrTooFewYears] says that no
// station has weather enough to stand for what is to come.
func Compute(in Inputs, asOf weather.Date) (*Forecast, error) {
	c := &computing{in: in.asSeenOn(asOf), asOf: asOf, southern: in.Farm.Southern()}
	c.season = SeasonOf(asOf, c.southern)
	c.f = &Forecast{
		Farm: in.Farm.ID, Season: c.season, AsOf: asOf,
		Plantings: []PlantingDates{}, Gaps: []Gap{}, Days: []DaySupply{}, Notes: []Note{},
	}
	c.note(NoteEstimate, "", "These dates are an estimate: walk the field before you open or announce.")
	c.f.Method = MethodNote{DegreeDays: DefaultMethod.Kind, BaseC: DefaultMethod.Base, Cutoff: DefaultMethod.Cutoff}
	if DefaultMethod.Cutoff != NoCutoff {
		upper := DefaultMethod.Upper
		c.f.Method.UpperC = &upper
	}
	c.index()
	if !slices.ContainsFunc(c.in.Plantings, func(p Planting) bool { return p.Bears(c.season, asOf) }) {
		c.note(NoteNoPlantings, "", "No planting bears this season.")
		return c.f, nil
	}
	if err := c.lookAhead(); err != nil {
		return nil, err
	}
	c.aim()
	if len(c.targets) > 0 {
		if err := c.run(); err != nil {
			return nil, err
		}
	}
	c.order()
	return c.f, nil
}

// computing is the state of one Compute.
type computing struct {
	in       Inputs
	asOf     weather.Date
	season   int
	southern bool
	f        *Forecast

	records  map[string]*record // By station.
	variety  map[string]int     // Index into in.Varieties.
	looks    map[plantingSeason]*looks
	years    []int
	ahead    map[string]*ahead // By station that can be used.
	heats    map[heatKey][]heat
	pastHeat map[pastKey]heat
	targets  []*target
	current  []observation
	toFull   float64
}

type heatKey struct {
	station string
	method  Method
}

type pastKey struct {
	station string
	method  Method
	season  int
}

func (c *computing) note(kind NoteKind, planting, format string, args ...any) {
	c.f.Notes = append(c.f.Notes, Note{kind, planting, fmt.Sprintf(format, args...)})
}

func (c *computing) index() {
	c.records = map[string]*record{}
	for _, r := range c.in.Records {
		c.records[r.Station.ID] = newRecord(r.Days)
	}
	c.variety = map[string]int{}
	for i, v := range c.in.Varieties {
		c.variety[v.ID] = i
	}
	slices.SortFunc(c.in.Plantings, func(a, b Planting) int { return cmp.Compare(a.ID, b.ID) })
	c.looks = gather(c.in.Sightings, c.southern)
	c.pastHeat = map[pastKey]heat{}
	c.heats = map[heatKey][]heat{}
}

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
	best := &TooFewYearsError{Need: leastYears}
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
			best.Station, best.Have = s, len(own)
			best.From, best.To = monthDay(t+1), monthDay(mustEnd(c.season, c.southern))
		}
		both := own
		if used != nil {
			both = intersect(c.years, own)
		}
		if len(both) < leastYears {
			if used != nil || len(own) < leastYears {
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
		if l := r.last(); oldest == nil || l < *oldest {
			oldest = &l
		}
		if l := r.last(); l < c.asOf-1 {
			c.note(NoteStale, "", "The record of station %s ends on %s, %d days before this morning: past years stand in for the days since.",
				s, weekday(l), c.asOf-1-l)
		}
	}
	c.f.WeatherThrough = oldest
	c.f.Method.Traces = len(c.years)
	return nil
}

func mustEnd(season int, southern bool) weather.Date {
	_, end := SeasonBounds(season, southern)
	return end - harvestMonth
}

func monthDay(d weather.Date) string { return d.Time().Format("2 January") }

func weekday(d weather.Date) string { return d.Time().Format("Mon 2 January") }

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

// aim finds the plantings to forecast and tells of the others.
func (c *computing) aim() {
	c.toFull = c.bloomToFull()
	var bloomed *weather.Date
	for i, p := range c.in.Plantings {
		if !p.Bears(c.season, c.asOf) {
			continue
		}
		d := PlantingDates{Planting: p.ID, Variety: p.Variety, Block: p.Block}
		v, known := c.variety[p.Variety]
		l := c.looks[plantingSeason{p.ID, c.season}]
		switch {
		case !known:
			c.note(NoteNoRecords, p.ID, "Its variety is not known.")
		case c.ahead[p.Station] == nil:
			c.note(NoteStation, p.ID, "Station %s has too few past years of weather in common with the others.", p.Station)
		case l == nil || l.seen[Bloom10] == nil && l.seen[BloomFull] == nil:
			c.note(NoteNoBloom, p.ID, "Bloom is not entered: not yet to be forecast.")
		default:
			c.take(i, v, l, &d)
			if b := d.Bloom.Date; bloomed == nil || b < *bloomed {
				bloomed = &b
			}
		}
		c.f.Plantings = append(c.f.Plantings, d)
	}
	if bloomed != nil {
		c.countHoles(*bloomed)
	}
	// Those with a look in vain come first: see posterior.try.
	looked := make([]*target, 0, len(c.targets))
	current := make([]observation, 0, len(c.targets))
	for _, want := range []bool{true, false} {
		for t, tg := range c.targets {
			if tg.looked() == want {
				looked, current = append(looked, tg), append(current, c.current[t])
			}
		}
	}
	c.targets, c.current = looked, current
}

// take makes planting i a target.
func (c *computing) take(i, v int, l *looks, d *PlantingDates) {
	p, variety := c.in.Plantings[i], c.in.Varieties[v]
	m := methodOf(variety)
	t := &target{
		planting: i, variety: v,
		record: c.records[p.Station], ahead: c.ahead[p.Station], heats: c.heatsOf(p.Station, m),
		kg: p.AreaM2 * p.KgPerM2,
	}
	t.mean = meanHeat(t.heats)
	copy(t.seen[:], l.seen[FirstRipe:])
	copy(t.notYet[:], l.notYet[FirstRipe:])
	bloom, sd, _ := l.bloomOf(t.mean, c.toFull)
	t.bloom = bloom.Date
	d.Bloom = &bloom
	if bloom.From == BloomFromFull {
		c.note(NoteFullBloom, p.ID, "Only full bloom was seen; the first open flowers are reckoned %.0f °C·d before it.", c.toFull)
	}
	if m != DefaultMethod {
		c.note(NoteMethod, p.ID, "Reckoned by its own method: %s.", m)
	}
	through := min(t.ahead.through, *c.f.WeatherThrough)
	sum := 0.0
	if through > t.bloom {
		sum = round(t.heats[0].after(t.bloom, through), 1)
	}
	d.DegreeDaysSinceBloom = &sum

	o := observation{planting: i}
	observe(l, t.mean, t.bloom, sd, t.record.borrowed, &o)
	mean, _ := prior(variety, m)
	bloomSpread(mean, t.mean, t.bloom, sd, &o)
	c.targets = append(c.targets, t)
	c.current = append(c.current, o)
}

// bloomToFull returns the heat from bloom_10 to full bloom: the mean of the
// farm's own seasons in which both were seen, or a default until there are
// three.
func (c *computing) bloomToFull() float64 {
	var sum float64
	n := 0
	for _, k := range sortedSeasons(c.looks) {
		l := c.looks[k]
		p, ok := c.planting(k.planting)
		if !ok || k.season == c.season || l.seen[Bloom10] == nil || l.seen[BloomFull] == nil || c.unrecorded(p.Station, k.season) {
			continue
		}
		sum += c.pastSeason(p.Station, DefaultMethod, k.season).after(*l.seen[Bloom10], *l.seen[BloomFull])
		n++
	}
	if n < 3 {
		return priors.BloomToFull
	}
	return sum / float64(n)
}

func (c *computing) planting(id string) (Planting, bool) {
	i, ok := slices.BinarySearchFunc(c.in.Plantings, id, func(p Planting, id string) int { return cmp.Compare(p.ID, id) })
	if !ok {
		return Planting{}, false
	}
	return c.in.Plantings[i], true
}

// unrecorded reports whether the station's record does not touch the season:
// then its heat would be nothing but the mean of other years.
func (c *computing) unrecorded(station string, season int) bool {
	r := c.records[station]
	if r == nil || r.empty() {
		return true
	}
	first, last := SeasonBounds(season, c.southern)
	return len(r.series.Between(first, last)) == 0
}

// countHoles counts the days since the first bloom that were not observed.
func (c *computing) countHoles(bloom weather.Date) {
	for s := range c.ahead {
		r := c.records[s]
		n := int(c.asOf-1-bloom) - len(r.series.Between(bloom+1, c.asOf-1))
		c.f.DaysNotObserved = max(c.f.DaysNotObserved, n)
	}
	if n := c.f.DaysNotObserved; n > 0 {
		c.note(NoteHole, "", "%d of the days since the first bloom have no weather record; they were filled in and count as uncertain.", n)
	}
}

// run draws the members and counts them.
func (c *computing) run() error {
	post, err := c.requirements()
	if err != nil {
		return err
	}
	perTrace := membersPerTrace(len(c.years))
	members := perTrace * len(c.years)
	c.f.Method.Members = members

	b := bounds{above: make([]float64, post.dim)}
	for t, tg := range c.targets {
		w := tg.bound(math.Inf(-1), math.Log)
		copy(b.above[ripeStages*t:], w[:])
	}
	xs, strained := post.draws(members, b)
	if 2*strained > members {
		c.note(NoteOutside, "", "The season is outside what is on record: the field is later than the model can explain, so the ranges mean less than usual.")
	}

	first := c.targets[0].ahead.first
	days := len(c.targets[0].ahead.paths[0])
	when := newDates(len(c.targets), members)
	sums := newTally(c.in.Farm, first, len(c.targets), members, days)
	w := &scratch{
		stamp: make([]int32, len(c.in.Varieties)*days), count: make([]uint16, days),
		ripened: make([]float64, len(c.targets)*days), total: make([]float64, days),
		from: make([]int, len(c.targets)), to: make([]int, len(c.targets)),
	}
	late := make([]int, len(c.targets))
	ps := make([]memberDay, len(c.targets))
	for m := range members {
		trace := m / perTrace
		for t, tg := range c.targets {
			need := exp3(xs[m], t)
			h := tg.heats[trace]
			day, reached := crossing(h, tg, need)
			if !reached {
				late[t]++
			}
			for s, d := range day {
				when.of(t, s)[m] = int16(d - first)
			}
			ps[t] = memberDay{
				heat: h, days: tg.ahead.paths[trace], bloom: tg.bloom, kg: tg.kg, variety: tg.variety,
				first: int(day[0] - first), last: int(day[2] - first), curve: newCropCurve(tg.asSeen(h, need, day)),
			}
		}
		sums.add(m, c.in.Farm, ps, w)
	}
	c.publish(when, sums, first, perTrace, late)
	return nil
}

// asSeen returns the requirements that put the stages on the days they were
// seen on, so that the crop curve agrees with the field.
func (t *target) asSeen(h heat, need triple, day [ripeStages]weather.Date) triple {
	for s := range need {
		if t.seen[s] == nil {
			continue
		}
		need[s] = h.after(t.bloom, day[s])
	}
	// What was not seen gives way to what was, and stages stay apart.
	const apart = 1 // °C·d.
	for s := ripeStages - 2; s >= 0; s-- {
		if t.seen[s] == nil && t.seen[s+1] != nil {
			need[s] = min(need[s], need[s+1]-apart)
		}
	}
	for s := 1; s < ripeStages; s++ {
		need[s] = max(need[s], need[s-1]+apart)
	}
	return need
}

// requirements conditions the log requirements of the targets on everything
// that was seen.
func (c *computing) requirements() (posterior, error) {
	m := model{varieties: len(c.in.Varieties)}
	for _, v := range c.in.Varieties {
		mean, cov := prior(v, methodOf(v))
		m.means, m.covs = append(m.means, mean), append(m.covs, cov)
	}
	// Plantings whose variety is unknown cannot teach anything.
	index := make([]int, len(c.in.Plantings))
	for i, p := range c.in.Plantings {
		index[i] = -1
		if v, ok := c.variety[p.Variety]; ok {
			index[i] = len(m.variety)
			m.variety = append(m.variety, v)
		}
	}
	seasons := map[int]int{}
	taught := make([]bool, len(c.in.Varieties))
	for _, k := range sortedSeasons(c.looks) {
		i, ok := slices.BinarySearchFunc(c.in.Plantings, k.planting, func(p Planting, id string) int { return cmp.Compare(p.ID, id) })
		if !ok || k.season == c.season || index[i] < 0 || c.unrecorded(c.in.Plantings[i].Station, k.season) {
			continue
		}
		p, l := c.in.Plantings[i], c.looks[k]
		v := m.variety[index[i]]
		h := c.pastSeason(p.Station, methodOf(c.in.Varieties[v]), k.season)
		bloom, sd, ok := l.bloomOf(h, c.toFull)
		if !ok {
			continue
		}
		o := observation{planting: index[i]}
		if !observe(l, h, bloom.Date, sd, c.records[p.Station].borrowed, &o) {
			continue
		}
		if _, ok := seasons[k.season]; !ok {
			seasons[k.season] = len(seasons)
		}
		o.season = seasons[k.season]
		taught[v] = true
		m.past = append(m.past, o)
	}
	m.seasons = len(seasons) + 1
	for t, o := range c.current {
		tg := c.targets[t]
		if !taught[tg.variety] {
			c.note(NoteNoRecords, c.in.Plantings[tg.planting].ID,
				"No past season of this variety is on record: its range rests on its ripening class and is wide.")
		}
		o.planting = index[o.planting]
		m.target = append(m.target, o.planting)
		m.current = append(m.current, o)
	}
	return condition(m)
}

// publish turns counts into the forecast.
func (c *computing) publish(when dates, sums *tally, first weather.Date, perTrace int, late []int) {
	at := map[string]*PlantingDates{}
	for i := range c.f.Plantings {
		at[c.f.Plantings[i].Planting] = &c.f.Plantings[i]
	}
	names := make([]string, len(c.targets))
	for t, tg := range c.targets {
		p := at[c.in.Plantings[tg.planting].ID]
		names[t] = p.Planting
		var r [ripeStages]DateRange
		for s := range r {
			q := dayQuantiles(when.of(t, s))
			r[s] = DateRange{first + weather.Date(q[0]), first + weather.Date(q[1]), first + weather.Date(q[2]), tg.seen[s]}
			if tg.seen[s] == nil && r[s].P50 < c.asOf {
				c.note(NoteLook, p.Planting, "By the model %s came about %s and nobody has entered it: look, and enter what you see.",
					stageWords[s], weekday(r[s].P50))
			}
		}
		p.Stages = &StageDates{r[0], r[1], r[2]}
		window := make([]int16, when.members)
		a, b := when.of(t, 0), when.of(t, ripeStages-1)
		for m := range window {
			window[m] = b[m] - a[m] + 1
		}
		q := dayQuantiles(window)
		p.PickingWindowDays = &DayCounts{q[0], q[1], q[2]}
		if late[t]*20 > when.members {
			c.note(NoteNotReached, p.Planting, "In %d of %d possible seasons it does not ripen to the end before %s.",
				late[t], when.members, first+weather.Date(sums.days-1))
		}
	}
	a, b := dayQuantiles(sums.first), dayQuantiles(sums.last)
	c.f.SeasonSpan = &Span{spanEnd(first, a), spanEnd(first, b)}
	c.f.Gaps = append(c.f.Gaps, sums.gaps(c.in.Farm, first, perTrace, c.f.Plantings)...)
	c.f.Days = append(c.f.Days, sums.supply(first, names)...)
}

var stageWords = [ripeStages]string{"first ripe fruit", "the peak", "the last pick"}

func spanEnd(first weather.Date, q [3]int) SpanEnd {
	return SpanEnd{first + weather.Date(q[0]), first + weather.Date(q[1]), first + weather.Date(q[2])}
}

// order puts plantings in the order in which they ripen.
func (c *computing) order() {
	slices.SortStableFunc(c.f.Plantings, func(a, b PlantingDates) int {
		if a.Stages == nil || b.Stages == nil {
			return cmp.Compare(btoi(a.Stages == nil), btoi(b.Stages == nil))
		}
		return cmp.Or(
			cmp.Compare(a.Stages.FirstRipe.P50, b.Stages.FirstRipe.P50),
			cmp.Compare(a.Stages.Peak.P50, b.Stages.Peak.P50),
			cmp.Compare(a.Stages.LastPick.P50, b.Stages.LastPick.P50),
		)
	})
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
