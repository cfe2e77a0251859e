package forecast

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"ripetide/weather"
)

// draw draws the log requirements of the members; those of one trace stand
// together, perTrace of them.
func (c *computing) draw() (xs [][]float64, perTrace int, err error) {
	c.known = c.model()
	post, err := condition(c.known)
	if err != nil {
		return nil, 0, err
	}
	strange := post.seenNow > 0 && post.strange > distuv.ChiSquared{K: float64(post.seenNow)}.Quantile(farOut)
	if strange {
		c.known.widen = math.Sqrt(post.strange / float64(post.seenNow))
		c.noteOutside(post)
		if post, err = condition(c.known); err != nil {
			return nil, 0, err
		}
	}
	post.apart = c.apart
	perTrace = membersPerTrace(c.about, len(c.years))
	members := perTrace * len(c.years)
	b := bounds{stages: ripeStages, above: make([]float64, post.dim), unseen: make([]*unseen, post.dim)}
	habit := c.habit()
	for t, tg := range c.targets {
		w := tg.bound(math.Inf(-1), math.Log)
		copy(b.above[ripeStages*t:], w[:])
		// A stage with a later one seen has come, entered or not.
		for s := tg.lastSeen() + 1; s < ripeStages; s++ {
			if tg.spring == nil {
				b.unseen[ripeStages*t+s] = c.unseen(tg.mean, tg.bloom, tg.shift[s], habit.ripe[s])
			}
		}
	}
	xs, _ = post.draws(members, b)
	if far := post.far(xs); far > farLate {
		if !strange {
			c.note(NoteOutside, "", "The field is later than anything on record can explain: what should have come has not. The ranges are wider for it; look again soon.")
		}
		c.known.widen = far / farLate * max(1, c.known.widen)
		if post, err = condition(c.known); err != nil {
			return nil, 0, err
		}
		xs, _ = post.draws(members, b)
	}
	c.post = post
	return xs, perTrace, nil
}

const (
	// farOut is how sure it must be that a season is unlike those on record.
	farOut = 0.99
	// farLate is how many sd a requirement may be moved by looks in vain, and by
	// what is not entered, before the season counts as unlike those on record.
	farLate = 2.5
)

// noteOutside says in days how far this season is from what was expected.
func (c *computing) noteOutside(post posterior) {
	var days, n float64
	for t, o := range c.known.current {
		tg := c.targets[t]
		for s := range ripeStages {
			if !o.seen[s] {
				continue
			}
			// What the season and the rest have added to the heat, by the heat of
			// the days about the stage.
			more := o.log[s] - (post.mean[ripeStages*t+s] - post.effects[t][3][s] - post.effects[t][4][s])
			from := max(*tg.seen[s]-4, tg.mean.first-1)
			to := min(*tg.seen[s]+3, tg.mean.last())
			perDay := tg.mean.after(from, to) / float64(to-from)
			if perDay > 0 {
				days += math.Exp(o.log[s]) * more / perDay
				n++
			}
		}
	}
	way := "later"
	if days < 0 {
		way = "earlier"
	}
	if d := math.Abs(days / max(n, 1)); d >= 0.5 {
		c.note(NoteOutside, "", "This season is outside what is on record: what was seen came about %.0f days %s than the warmth there was can explain. The ranges are wider for it.", d, way)
		return
	}
	c.note(NoteOutside, "", "This season is outside what is on record: some of what was seen came much earlier, some much later than the warmth there was can explain. The ranges are wider for it.")
}

// members are the members of a forecast: draws of the log requirements and the
// dates of the stages, those of one trace together.
type members struct {
	xs       [][]float64
	perTrace int
	when     dates
	first    weather.Date // Day 0 of when.
	ripening []int        // Targets that are counted.
	left     []float64    // Mean share of the crop that frosts have left, by target.
}

// date draws the members and dates their stages, of what frosts have left. A
// planting that does not ripen to the end within the season in more than half of
// them, or of which frosts have left hardly anything, has no dates that mean
// anything; it is set aside before anything is counted.
func (c *computing) date() (members, error) {
	xs, perTrace, err := c.draw()
	if err != nil {
		return members{}, err
	}
	n := len(xs)
	if err := c.flower(n, perTrace); err != nil {
		return members{}, err
	}
	c.f.Method.Members = n

	first := c.targets[0].ahead.first
	days := len(c.targets[0].ahead.paths[0])
	ms := members{xs: xs, perTrace: perTrace, when: newDates(len(c.targets), n), first: first, left: make([]float64, len(c.targets))}
	lates, losts := make([]int, len(c.targets)), make([]int, len(c.targets))
	inParts(len(c.targets), func(_, lo, hi int) {
		var ns []night
		for t := lo; t < hi; t++ {
			tg := c.targets[t]
			for m, x := range xs {
				h, bloom, need, left := tg.heats[m/perTrace], tg.bloomIn(m, first), exp3(x, t), 1.0
				if len(tg.frosts) > 0 {
					ns = nights(ns[:0], tg.frosts, h, bloom)
					need, left = need.frosted(ns)
					losts[t] += btoi(left < leastLeft)
				}
				ms.left[t] += left / float64(n)
				day, reached := crossing(h, tg, bloom, need)
				if !reached {
					lates[t]++
				}
				for s, d := range day {
					ms.when.of(t, s)[m] = int16(d - first)
				}
			}
		}
	})
	for t, tg := range c.targets {
		late := lates[t]
		if 20*late > n {
			c.note(NoteNotReached, c.in.Plantings[tg.planting].ID, "In %d of %d possible seasons it does not ripen to the end before %s.",
				late, n, c.day(first+weather.Date(days-1)))
		}
		if 2*late <= n && 2*losts[t] <= n {
			ms.ripening = append(ms.ripening, t)
		}
	}
	return ms, nil
}

// run makes the members and counts them.
func (c *computing) run() error {
	ms, err := c.date()
	c.members = ms
	if err != nil {
		return err
	}
	c.noteFrosts()
	if len(ms.ripening) == 0 {
		return nil
	}
	var tallies [parts]*tally
	on := c.picked(ms.ripening)
	inParts(len(ms.xs), func(part, lo, hi int) {
		tallies[part] = c.count(ms.ripening, ms.xs, ms.when, on, ms.perTrace, lo, hi)
	})
	c.publish(ms.ripening, ms.when, join(tallies[:]), ms.first, ms.perTrace)
	c.notePickings(on)
	return nil
}

// count tallies the members from lo up to hi.
func (c *computing) count(ripening []int, xs [][]float64, when dates, on *picked, perTrace, lo, hi int) *tally {
	first := c.targets[0].ahead.first
	days := len(c.targets[0].ahead.paths[0])
	sums := newTally(c.in.Farm, c.in.Decisions, c.season, first, len(ripening), hi-lo, days)
	sums.picked = on
	w := newScratch(len(c.in.Varieties), len(ripening), days)
	ps := make([]memberDay, len(ripening))
	for m := lo; m < hi; m++ {
		trace := m / perTrace
		for i, t := range ripening {
			ps[i] = c.memberOf(t, m, trace, xs[m], when, first)
		}
		sums.add(m-lo, c.in.Farm, ps, w)
	}
	return sums
}

// memberOf returns what target t is in member m, whose draw is x and whose day 0
// is first.
func (c *computing) memberOf(t, m, trace int, x []float64, when dates, first weather.Date) memberDay {
	tg := c.targets[t]
	var day [ripeStages]weather.Date
	for s := range day {
		day[s] = first + weather.Date(when.of(t, s)[m])
	}
	h, bloom := tg.heats[trace], tg.bloomIn(m, first)
	curve := c.curve(tg, h, bloom, exp3(x, t), day)
	return memberDay{
		heat: h, days: tg.ahead.paths[trace], bloom: bloom, kg: tg.kg * curve.kept(), variety: tg.variety, slug: c.in.Varieties[tg.variety].ID,
		first: int(day[0] - first), last: int(day[2] - first), curve: curve,
	}
}

// curve returns how the crop of a target ripens in one member, given what its
// stages require there without frosts and their days.
func (c *computing) curve(t *target, h heat, bloom weather.Date, need triple, day [ripeStages]weather.Date) cropCurve {
	if len(t.frosts) == 0 {
		return newCropCurve(t.asSeen(h, bloom, need, triple{}, day))
	}
	ns := nights(nil, t.frosts, h, bloom)
	after, _ := need.frosted(ns)
	var shift triple
	for s := range shift {
		shift[s] = after[s] - need[s]
	}
	need = t.asSeen(h, bloom, need, shift, day)
	return newCropCurve(need).frosted(need[0], ns)
}

// model is everything that was seen, in past seasons and in this one, as
// observations of log requirements.
func (c *computing) model() model {
	m := model{varieties: len(c.in.Varieties), common: c.common}
	for _, v := range c.in.Varieties {
		mean, cov := prior(v, c.in.methodOf(v))
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
		h := c.pastSeason(p.Station, c.in.methodOf(c.in.Varieties[v]), k.season)
		bloom, sd, ok := l.bloomOf(c.pastSeason(p.Station, DefaultMethod, k.season), c.toFull)
		if !ok {
			continue
		}
		o := observation{planting: index[i]}
		shift, left := frostShift(c.frostsOf(p.ID, k.season), h, bloom.Date, m.means[v])
		if !left || !observe(l, h, bloom.Date, sd, shift, c.records[p.Station].heatSD, &o) {
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
	return m
}
