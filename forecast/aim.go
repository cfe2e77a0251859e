package forecast

import (
	"cmp"
	"math"
	"slices"

	"ripetide/weather"
)

// aim finds the plantings to forecast and tells of the others.
func (c *computing) aim() {
	c.toFull = c.bloomToFull()
	tried := false
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
			c.note(NoteStation, p.ID, "%s has too few past years of weather in common with the others.", c.stationName(p.Station))
		case !l.any():
			if !tried {
				c.spring, tried = c.springs(), true
			}
			if c.spring == nil {
				c.note(NoteNoBloom, p.ID, "Bloom is not entered, and there is no bloom of past years on record to forecast it from.")
				break
			}
			c.expect(i, v, l)
		default:
			c.take(i, v, l, &d)
		}
		c.f.Plantings = append(c.f.Plantings, d)
	}
	c.countHoles()
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
	m := c.in.methodOf(variety)
	t := &target{
		planting: i, variety: v,
		record: c.records[p.Station], ahead: c.ahead[p.Station], heats: c.heatsOf(p.Station, m),
		kg: p.AreaM2 * p.KgPerM2,
	}
	t.mean = c.meanOf(p.Station, m)
	copy(t.seen[:], l.seen[FirstRipe:])
	copy(t.notYet[:], l.notYet[FirstRipe:])
	mean, _ := prior(variety, m)
	bloom, sd, ok := l.bloomOf(c.meanOf(p.Station, DefaultMethod), c.toFull)
	if !ok {
		bloom, sd = l.bloomBefore(t.mean, mean)
		c.note(NoteNoBloom, p.ID, "Bloom is not entered; it is reckoned back from what was seen of the fruit, to about %s.", c.day(bloom.Date))
	}
	t.bloom = bloom.Date
	d.Bloom = &bloom
	if bloom.From == BloomFromFull {
		c.note(NoteFullBloom, p.ID, "Only full bloom was seen; the first open flowers are reckoned back from it by the usual warmth between the two, to %s.", c.day(bloom.Date))
	}
	if m != c.in.method() {
		c.note(NoteMethod, p.ID, "Reckoned by its own method: %s.", c.in.Farm.Method(m))
	}
	through := min(t.ahead.through, *c.f.WeatherThrough)
	sum := 0.0
	if through > t.bloom {
		sum = round(t.heats[0].after(t.bloom, through), 1)
	}
	d.DegreeDaysSinceBloom = &sum

	o := observation{planting: i}
	var left bool
	t.frosts = c.frostsOf(p.ID, c.season)
	if t.shift, left = frostShift(t.frosts, t.mean, t.bloom, mean); left {
		observe(l, t.mean, t.bloom, sd, t.shift, t.record.heatSD, &o)
	}
	lost := t.record.heatSD(t.bloom, max(t.bloom, t.ahead.through))
	if t.record.lent.Len() > 0 { // So is the weather ahead: the offset is off by the same on all of it.
		lost = math.Hypot(lost, t.record.offset.sharedHeatSD(t.ahead.ripening(t.bloom)))
	}
	bloomSpread(mean, t.mean, t.bloom, sd, lost, &o)
	c.targets = append(c.targets, t)
	c.current = append(c.current, o)
}

// expect makes planting i, of which no bloom was seen, a target.
func (c *computing) expect(i, v int, l *looks) {
	p := c.in.Plantings[i]
	m := c.in.methodOf(c.in.Varieties[v])
	t := &target{
		planting: i, variety: v,
		record: c.records[p.Station], ahead: c.ahead[p.Station], heats: c.heatsOf(p.Station, m),
		kg: p.AreaM2 * p.KgPerM2,
		spring: &toBloom{
			start: winterEnd(c.season, c.southern), heats: c.heatsOf(p.Station, springMethod), looks: l,
		},
		frosts: c.frostsOf(p.ID, c.season),
	}
	t.mean = c.meanOf(p.Station, m)
	if l != nil {
		copy(t.notYet[:], l.notYet[FirstRipe:])
	}
	c.targets = append(c.targets, t)
	c.current = append(c.current, observation{planting: i})
}

// bloomToFull returns the heat from bloom_10 to full bloom, by the default
// method whatever the farm's is: the mean of the
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

// countHoles counts, over the stations in use, the days since the first bloom
// there that were not observed.
func (c *computing) countHoles() {
	bloom := map[*record]weather.Date{}
	for _, t := range c.targets {
		if t.spring != nil {
			continue
		}
		if b, ok := bloom[t.record]; !ok || t.bloom < b {
			bloom[t.record] = t.bloom
		}
	}
	for r, b := range bloom {
		if since := int(c.asOf - 1 - b); since > 0 {
			c.f.DaysNotObserved += since - len(r.own.Between(b+1, c.asOf-1))
		}
	}
	switch n := c.f.DaysNotObserved; {
	case n == 1:
		c.note(NoteHole, "", "One of the days since the first bloom has no weather record; it was filled in and counts as uncertain.")
	case n > 1:
		c.note(NoteHole, "", "%d of the days since the first bloom have no weather record; they were filled in and count as uncertain.", n)
	}
}
