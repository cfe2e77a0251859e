package forecast

import (
	"cmp"
	"slices"

	"ripetide/weather"
)

// publish turns counts into the forecast.
func (c *computing) publish(ripening []int, when dates, sums *tally, first weather.Date, perTrace int) {
	at := map[string]*PlantingDates{}
	for i := range c.f.Plantings {
		at[c.f.Plantings[i].Planting] = &c.f.Plantings[i]
	}
	names := make([]string, len(ripening))
	for i, t := range ripening {
		tg := c.targets[t]
		p := at[c.in.Plantings[tg.planting].ID]
		names[i] = p.Planting
		r := tg.ranges(when, t, first)
		for s := range r {
			if tg.seen[s] == nil && r[s].P50 < c.asOf {
				c.note(NoteLook, p.Planting, "By the model %s came about %s and nobody has entered it: look, and enter what you see.",
					stageWords[s], c.day(r[s].P50))
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
	}
	a, b := dayQuantiles(sums.first), dayQuantiles(sums.last)
	c.f.SeasonSpan = &Span{spanEnd(first, a), spanEnd(first, b)}
	c.f.Gaps = append(c.f.Gaps, sums.gaps(c.in.Farm, first, perTrace, c.f.Plantings)...)
	c.f.Days = append(c.f.Days, sums.supply(first, names)...)
	c.f.Advice = sums.advise(c.in.Farm, first, c.asOf, c.f.Days)
}

// ranges returns the dates of the stages of t, the target of that number; day 0
// is first.
func (t *target) ranges(when dates, number int, first weather.Date) (r [ripeStages]DateRange) {
	for s := range r {
		q := dayQuantiles(when.of(number, s))
		r[s] = DateRange{P10: first + weather.Date(q[0]), P50: first + weather.Date(q[1]), P90: first + weather.Date(q[2]), Seen: t.seen[s]}
	}
	earliest := first + weather.Date(slices.Min(when.of(number, 0)))
	r[0].Earliest = &earliest
	return r
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
