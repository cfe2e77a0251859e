package forecast

import (
	"cmp"
	"math"
	"slices"
)

// draw draws the log requirements of the members; those of one trace stand
// together, perTrace of them.
func (c *computing) draw() (xs [][]float64, perTrace int, err error) {
	post, err := condition(c.model())
	if err != nil {
		return nil, 0, err
	}
	perTrace = membersPerTrace(len(c.years))
	members := perTrace * len(c.years)
	b := bounds{above: make([]float64, post.dim)}
	for t, tg := range c.targets {
		w := tg.bound(math.Inf(-1), math.Log)
		copy(b.above[ripeStages*t:], w[:])
	}
	xs, strained := post.draws(members, b)
	if 2*strained > members {
		c.note(NoteOutside, "", "The season is outside what is on record: the field is later than the model can explain, so the ranges mean less than usual.")
	}
	return xs, perTrace, nil
}

// run draws the members and counts them.
func (c *computing) run() error {
	xs, perTrace, err := c.draw()
	if err != nil {
		return err
	}
	members := len(xs)
	c.f.Method.Members = members

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

// model is everything that was seen, in past seasons and in this one, as
// observations of log requirements.
func (c *computing) model() model {
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
	return m
}
