package forecast

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"ripetide/weather"
)

// report counts the lists and tells of them.
func (d *designing) report() *Designed {
	c, out := d.c, &d.out
	out.Years, out.Members = c.years, len(d.ms.xs)
	var before, after []lot
	for _, s := range d.slots {
		was, is := d.lots(s)
		if was != nil {
			before = append(before, *was)
		}
		if is != nil {
			after = append(after, *is)
		}
		d.plantingOf(s, was, is)
	}
	lists := [][]lot{before, after}
	for _, s := range d.rank {
		if s.target >= 0 {
			lists = append(lists, append(slices.Clone(after), lot{target: s.target, name: d.nameOf(s), share: 1}))
		}
	}
	all := d.count(lists)
	out.Before, out.After = d.outcome(all[0]), d.outcome(all[1])
	out.Difference = DesignDifference{
		GapDays: d.effect(all[0].gapsIn, all[1].gapsIn), ThinDays: d.effect(all[0].thinsIn, all[1].thinsIn),
		SeasonDays: d.effect(all[0].daysIn, all[1].daysIn), CropKg: d.effect(d.cropIn(all[0]), d.cropIn(all[1])),
		Longer: all[1].beyond(all[0]), GapYears: out.After.GapYears - out.Before.GapYears,
	}
	k := 2
	for _, s := range d.rank {
		if s.target < 0 {
			continue
		}
		with := all[k]
		k++
		v := c.in.Varieties[c.targets[s.target].variety]
		r := Ranked{Name: v.Name, Ripens: v.Ripens, Records: d.records(v.ID), Dates: d.datesOf(with.lots[len(with.lots)-1])}
		if !strings.HasPrefix(v.ID, rankedMark) {
			r.Variety = v.ID
		}
		r.GapDays, r.ThinDays = d.effect(all[1].gapsIn, with.gapsIn), d.effect(all[1].thinsIn, with.thinsIn)
		r.Season, r.Longer = d.effect(all[1].daysIn, with.daysIn), with.beyond(all[1])
		out.Ranking = append(out.Ranking, r)
	}
	slices.SortStableFunc(out.Ranking, func(a, b Ranked) int { // A tenth of a gap day is not worth a rank.
		return cmp.Or(cmp.Compare(round(a.GapDays.Mean, 1), round(b.GapDays.Mean, 1)), cmp.Compare(a.ThinDays.Mean, b.ThinDays.Mean))
	})
	d.tell()
	return out
}

// lots returns what a slot is in the list before and in the one after; nil:
// nothing, for it is not in it or has no dates.
func (d *designing) lots(s slot) (before, after *lot) {
	if s.target < 0 {
		return nil, nil
	}
	l := lot{target: s.target, name: d.nameOf(s)}
	if s.before > 0 {
		was := l
		was.share = s.before / s.planting.AreaM2
		before = &was
	}
	if s.after > 0 {
		is := l
		is.share = s.after / s.planting.AreaM2
		if s.shift != nil {
			sh := s.shift.shifted(s.planting.Block, len(d.ms.xs))
			is.shift = &sh
		}
		after = &is
	}
	return before, after
}

// nameOf names the variety of a planting.
func (d *designing) nameOf(s slot) string {
	if i, ok := d.c.variety[s.planting.Variety]; ok {
		return d.c.in.Varieties[i].Name
	}
	return s.planting.Variety
}

// records reports whether past seasons of a variety taught what is known of it.
func (d *designing) records(variety string) bool {
	return slices.ContainsFunc(d.c.known.past, func(o observation) bool {
		return d.c.in.Varieties[d.c.known.variety[o.planting]].ID == variety
	})
}

// plantingOf reports a planting of the list, nil where it is not in it.
func (d *designing) plantingOf(s slot, before, after *lot) {
	p := DesignedPlanting{
		Planting: s.planting.ID, Name: d.nameOf(s), Block: s.planting.Block, Variety: s.planting.Variety,
		Records: d.records(s.planting.Variety), BeforeM2: s.before, AfterM2: s.after,
	}
	if i, ok := d.c.variety[s.planting.Variety]; ok {
		p.Ripens = d.c.in.Varieties[i].Ripens
	}
	if s.tried {
		p.Planting, p.FirstBears = "", d.c.season
		if strings.HasPrefix(p.Variety, triedMark) {
			p.Variety = ""
		}
	}
	if before != nil {
		p.Before = d.datesOf(*before)
	}
	if after != nil {
		p.After = d.datesOf(*after)
		if after.shift != nil {
			p.ShiftedBy = s.shift.By
			for _, n := range after.shift.days {
				p.ShiftDays += float64(n) / float64(len(after.shift.days))
			}
			p.ShiftDays = round(p.ShiftDays, 1)
		}
	}
	d.out.Plantings = append(d.out.Plantings, p)
}

// datesOf returns the dates of a lot over members.
func (d *designing) datesOf(l lot) *DesignedDates {
	n, days := len(d.ms.xs), len(d.c.targets[0].ahead.paths[0])
	first, last := make([]int16, n), make([]int16, n)
	for m := range n {
		a, b := l.window(d.ms.when, m, days)
		first[m], last[m] = int16(a), int16(b)
	}
	return &DesignedDates{spanEnd(d.ms.first, dayQuantiles(first)), spanEnd(d.ms.first, dayQuantiles(last))}
}

// gapsIn, thinsIn and daysIn return what one member has.
func (x counts) gapsIn(m int) float64  { return float64(x.gapDays.count(m, 0, x.days-1)) }
func (x counts) thinsIn(m int) float64 { return float64(x.thinDays.count(m, 0, x.days-1)) }
func (x counts) daysIn(m int) float64  { return float64(max(int(x.last[m])-int(x.first[m])+1, 0)) }

// cropIn returns the crop, kg, in a member.
func (d *designing) cropIn(x counts) func(m int) float64 {
	return func(m int) (kg float64) {
		for _, l := range x.lots {
			k := l.share * d.c.targets[l.target].kg
			if l.shift != nil {
				k *= l.shift.keep[m]
			}
			kg += k
		}
		return kg
	}
}

// beyond returns the mean gap days that lie outside the season of was.
func (x counts) beyond(was counts) float64 {
	n := 0
	for m := range x.members {
		a, b := int(was.first[m]), int(was.last[m])
		if b < a {
			n += x.gapDays.count(m, 0, x.days-1)
			continue
		}
		n += x.gapDays.count(m, 0, x.days-1) - x.gapDays.count(m, a, b)
	}
	return float64(n) / float64(x.members)
}

// effect compares two lists member by member.
func (d *designing) effect(before, after func(m int) float64) (e Paired) {
	n, years := len(d.ms.xs), len(d.c.years)
	diffs, by := make([]float64, n), make([]float64, years)
	for m := range diffs {
		diffs[m] = after(m) - before(m)
		by[m/d.ms.perTrace] += diffs[m] / float64(d.ms.perTrace)
	}
	for _, x := range by {
		e.Mean += x / float64(years)
	}
	e.Lo, e.Hi = redrawn(by)
	slices.Sort(diffs)
	for i, p := range published {
		e.Season[i] = diffs[rank(p, n)-1]
	}
	return e
}

// redrawn returns the central 80 % of the mean of xs when as many as there are
// are drawn with replacement, 2,000 times from a fixed seed.
func redrawn(xs []float64) (lo, hi float64) {
	const times, tail = 2000, 200
	r := rand.New(rand.NewPCG(1, 1))
	means := make([]float64, times)
	for i := range means {
		for range xs {
			means[i] += xs[r.IntN(len(xs))] / float64(len(xs))
		}
	}
	slices.Sort(means)
	return means[tail-1], means[times-tail]
}

// outcome tells a list that was counted.
func (d *designing) outcome(x counts) DesignOutcome {
	first, n := d.ms.first, float64(x.members)
	o := DesignOutcome{Between: []GapBetween{}, Days: []DesignDay{}, Weeks: []DesignKg{}, Saturdays: []DesignKg{}}
	if len(x.lots) == 0 {
		return o
	}
	gaps, thins, spans := make([]int16, x.members), make([]int16, x.members), make([]int16, x.members)
	crop := d.cropIn(x)
	inYear := 0
	for m := range gaps {
		gaps[m], thins[m], spans[m] = int16(x.gapsIn(m)), int16(x.thinsIn(m)), int16(x.daysIn(m))
		o.GapDays += float64(gaps[m]) / n
		o.ThinDays += float64(thins[m]) / n
		o.SeasonMean += float64(spans[m]) / n
		o.CropKg += crop(m) / n
		if gaps[m] > 0 {
			o.GapShare += 1 / n
			inYear++
		}
		if (m+1)%d.ms.perTrace == 0 {
			if 2*inYear >= d.ms.perTrace { // As of a forecast's gaps: more likely than not with that year's weather.
				o.GapYears++
			}
			inYear = 0
		}
	}
	of := func(xs []int16) DayCounts { q := dayQuantiles(xs); return DayCounts{q[0], q[1], q[2]} }
	o.GapRange, o.ThinRange, o.SeasonDays = of(gaps), of(thins), of(spans)
	o.First, o.Last = spanEnd(first, dayQuantiles(x.first)), spanEnd(first, dayQuantiles(x.last))
	o.Between = d.between(x)
	for day, k := range x.season {
		if float64(k) < leastSeason*n {
			continue
		}
		date := first + weather.Date(day)
		o.Days = append(o.Days, DesignDay{date, float64(k) / n, float64(x.gap[day]) / n, float64(x.thin[day]) / n})
		if x.weekdays[day] == time.Saturday {
			o.Saturdays = append(o.Saturdays, DesignKg{date, kgRange(x.kg[day])})
		}
	}
	for k, row := range x.weekKg {
		if kg := kgRange(row); kg.P90 > 0 {
			monday := first + weather.Date(7*k-(int(x.weekdays[0])+6)%7)
			o.Weeks = append(o.Weeks, DesignKg{monday, kg})
		}
	}
	return o
}

func kgRange(row []float32) KgRange {
	if row == nil {
		return KgRange{}
	}
	q := kgQuantiles(row)
	return KgRange{round(q[0], 1), round(q[1], 1), round(q[2], 1)}
}

// between finds between which varieties gap days lie, those with most days first.
func (d *designing) between(x counts) []GapBetween {
	type pair struct{ after, before string }
	sums := map[pair]*GapBetween{}
	n := float64(x.members)
	for m := range x.members {
		if x.gapsIn(m) == 0 {
			continue
		}
		counted := map[pair]bool{}
		for day := int(x.first[m]); day <= int(x.last[m]); day++ {
			if !x.gapDays.any(m, day, day) {
				continue
			}
			var p pair
			ended, begins := -1, x.days
			for _, l := range x.lots {
				a, b := l.window(d.ms.when, m, x.days)
				if b < day && (b > ended || b == ended && l.name < p.after) {
					ended, p.after = b, l.name
				}
				if a > day && (a < begins || a == begins && l.name < p.before) {
					begins, p.before = a, l.name
				}
			}
			g := sums[p]
			if g == nil {
				g = &GapBetween{After: p.after, Before: p.before}
				sums[p] = g
			}
			g.Days += 1 / n
			if !counted[p] {
				counted[p] = true
				g.Share += 1 / n
			}
		}
	}
	out := []GapBetween{}
	for _, g := range sums {
		out = append(out, *g)
	}
	slices.SortFunc(out, func(a, b GapBetween) int {
		return cmp.Or(cmp.Compare(b.Days, a.Days), cmp.Compare(a.After, b.After), cmp.Compare(a.Before, b.Before))
	})
	return out
}

// tell adds notes and cautions.
func (d *designing) tell() {
	c, out := d.c, &d.out
	for _, n := range c.f.Notes {
		if strings.HasPrefix(n.Planting, triedMark) || strings.HasPrefix(n.Planting, rankedMark) {
			continue
		}
		name := ""
		if p, ok := c.planting(n.Planting); ok {
			name = d.nameOf(slot{planting: p}) + " in " + p.Block + ": "
		}
		switch n.Kind {
		case NoteNotReached, NoteStation, NoteStandIn, NoteNoRecords:
			out.Notes = append(out.Notes, name+n.Text)
		}
	}
	for i, s := range d.slots {
		if s.tried && s.target < 0 {
			out.Notes = append(out.Notes, out.Plantings[i].Name+": it does not ripen within the season in most members, or its station has too few years, and it is left out.")
		}
	}
	out.Cautions = append(out.Cautions,
		"Offsets of ripening classes are guesses, no source gives them: a variety without own records has the dates of its class, with a wide range.")
	out.Cautions = append(out.Cautions, "Weights are the yields that the farm expects, spread over dates: no promise of a crop, and nothing to insure or lend on.")
	for _, s := range d.slots {
		if s.tried {
			out.Cautions = append(out.Cautions, fmt.Sprintf("A plant bears from the calendar year after it was planted: what is added here is taken as in the ground by %d.", c.season-1))
			break
		}
	}
	for _, by := range []Measure{RowCover, LateStraw} {
		if slices.ContainsFunc(d.slots, func(s slot) bool { return s.shift != nil && s.shift.By == by }) {
			out.Cautions = append(out.Cautions, by.Caution()+" Days are drawn about what is asked for, give or take half of it: a guess.")
		}
	}
}
