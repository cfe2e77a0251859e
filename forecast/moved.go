package forecast

import (
	"cmp"
	"errors"
	"math"
	"reflect"
	"slices"
	"sync"

	"ripetide/weather"
)

// What moved since an earlier forecast is found by exchanging its inputs for
// the present ones, one kind after the other, and dating the members anew after
// each exchange. A cause is the difference between two neighbours, so the
// causes add up; draws are the same throughout, so an input that did not change
// moves nothing. The order matters where inputs act together, and is fixed:
// weather, outlook, sightings, frosts, silence, constants.

// MoveCause names an input that moved a date.
type MoveCause string

// The causes, in the order in which inputs are exchanged.
const (
	CauseWeather   MoveCause = "observed weather" // Days added and corrected, and that the morning is a later one.
	CauseOutlook   MoveCause = "outlook"
	CauseSightings MoveCause = "sightings" // Also those in vain.
	CauseFrosts    MoveCause = "frosts"    // Of this season and of past ones.
	// CauseSilence is the time since in which a stage was not entered: so it has
	// probably not come.
	CauseSilence   MoveCause = "nothing entered"
	CauseConstants MoveCause = "constants" // Farm, stations, varieties, plantings and method.
)

var moveCauses = [...]MoveCause{CauseWeather, CauseOutlook, CauseSightings, CauseFrosts, CauseSilence, CauseConstants}

// NoteMoved says why it cannot be said what moved.
const NoteMoved NoteKind = "moved"

// Earlier is a forecast that another one is compared with.
type Earlier struct {
	Forecast string // Identifier.
	AsOf     weather.Date
	Inputs   Inputs // As they were known to it.
}

// ComputeSince is [Compute], and says of every planting that had dates in an
// earlier forecast how they moved since, and why. The earlier one is of the
// same season and of no later morning; it is worked out again by the present
// program.
func ComputeSince(in Inputs, asOf weather.Date, was Earlier) (*Forecast, error) {
	c, err := compute(in, asOf)
	if err != nil {
		return nil, err
	}
	c.since(was)
	return c.f, nil
}

// since adds to a forecast that was computed what moved since an earlier one.
func (c *computing) since(was Earlier) {
	if len(c.members.ripening) == 0 {
		return
	}
	steps, err := c.steps(was)
	if err != nil {
		why := "it could not be worked out again from what was known then"
		if few, ok := errors.AsType[*TooFewYearsError](err); ok {
			why = few.Detail()
		}
		c.note(NoteMoved, "", "How dates moved since the forecast of %s cannot be said: %s.", c.day(was.AsOf), why)
		return
	}
	before, now := steps[0], steps[len(steps)-1]
	for i := range c.f.Plantings {
		p := &c.f.Plantings[i]
		from, had := before[p.Planting]
		to, has := now[p.Planting]
		s := nextStage(from.seen, to.seen)
		if !had || !has || s == ripeStages {
			continue
		}
		var parts [len(moveCauses)]float64
		known := true
		for k := range parts {
			a, known1 := steps[k][p.Planting]
			b, known2 := steps[k+1][p.Planting]
			known = known && known1 && known2
			parts[k] = b.date[s] - a.date[s]
		}
		if !known {
			c.note(NoteMoved, p.Planting, "How its dates moved since the forecast of %s cannot be said: with some of what changed since, but not all, it has no dates.", c.day(was.AsOf))
			continue
		}
		tenths, sum := apportion(parts[:])
		m := &Moved{
			Stage: (FirstRipe + Stage(s)).String(), Since: was.AsOf, Forecast: was.Forecast,
			Days: float64(sum) / 10, Because: []Cause{},
		}
		for k, n := range tenths {
			if n != 0 {
				m.Because = append(m.Because, Cause{moveCauses[k], float64(n) / 10})
			}
		}
		p.Moved = m
	}
}

// nextStage returns the first ripe stage that is still to come by both of what
// was seen: none that follows it was seen either. ripeStages: none.
func nextStage(a, b [ripeStages]bool) int {
	for s := ripeStages; s > 0; s-- {
		if a[s-1] || b[s-1] {
			return s
		}
	}
	return 0
}

// middles are the mean dates of the stages of a planting and which of them were
// seen.
type middles struct {
	date [ripeStages]float64 // Days since 1 January 1970.
	seen [ripeStages]bool
}

// middles returns those of every planting that has dates, after its members
// were dated.
func (c *computing) middles() map[string]middles {
	out := map[string]middles{}
	for _, t := range c.members.ripening {
		tg := c.targets[t]
		var m middles
		for s := range m.date {
			sum := 0
			for _, d := range c.members.when.of(t, s) {
				sum += int(d)
			}
			m.date[s] = float64(c.members.first) + float64(sum)/float64(c.members.when.members)
			m.seen[s] = tg.seen[s] != nil
		}
		out[c.in.Plantings[tg.planting].ID] = m
	}
	return out
}

// step is one stage of the exchange of inputs.
type step struct {
	in            Inputs
	asOf, entered weather.Date
}

// steps returns the middles of the earlier forecast, after each exchange, and
// of c, which must have been run.
func (c *computing) steps(was Earlier) (out [len(moveCauses) + 1]map[string]middles, err error) {
	// What the earlier morning did not see must not come in through it, though
	// it was on record.
	old, now := was.Inputs.asSeenOn(was.AsOf), c.in
	slices.SortFunc(old.Plantings, func(a, b Planting) int { return cmp.Compare(a.ID, b.ID) }) // As now's are.
	var todo [len(out)]step
	x := step{old, was.AsOf, was.AsOf}
	todo[0] = x
	x.in.Records, x.asOf = exchangeDays(old.Records, now.Records), c.asOf
	todo[1] = x
	x.in.Records = exchangeOutlooks(x.in.Records, now.Records)
	todo[2] = x
	x.in.Sightings = now.Sightings
	todo[3] = x
	x.in.Frosts = now.Frosts
	todo[4] = x
	x.entered = c.asOf
	todo[5] = x
	todo[6] = step{now, c.asOf, c.asOf}

	// An exchange of like for like need not be worked out.
	var same [len(out)]int // The last step with the same inputs.
	for i := range todo {
		same[i] = i
	}
	for i := len(todo) - 2; i >= 0; i-- {
		if reflect.DeepEqual(todo[i], todo[i+1]) {
			same[i] = same[i+1]
		}
	}
	var errs [len(out)]error
	var wg sync.WaitGroup
	for i := range out {
		switch {
		case i == len(out)-1:
			out[i] = c.middles()
		case same[i] == i:
			wg.Go(func() { out[i], errs[i] = todo[i].middles() })
		}
	}
	wg.Wait()
	for i := range out {
		out[i] = out[same[i]]
	}
	for _, err := range errs { // The first, so that it is always the same one.
		if err != nil {
			return out, err
		}
	}
	return out, nil
}

// middles dates the members of a step.
func (x step) middles() (map[string]middles, error) {
	c := newComputing(x.in, x.asOf)
	c.entered = x.entered
	if !c.bears() {
		return nil, nil
	}
	if err := c.lookAhead(); err != nil {
		return nil, err
	}
	c.aim()
	if len(c.targets) == 0 {
		return nil, nil
	}
	var err error
	c.members, err = c.date()
	return c.middles(), err
}

// exchangeDays returns the records old, which are sifted, with the days of now,
// and stations that are new with days alone.
func exchangeDays(old, now []Record) []Record {
	out := slices.Clone(old)
	for _, r := range now {
		i := slices.IndexFunc(out, func(o Record) bool { return o.Station.ID == r.Station.ID })
		if i < 0 {
			out = append(out, Record{Station: r.Station, Days: r.Days, sifted: true})
			continue
		}
		out[i].Days = r.Days
	}
	return out
}

// exchangeOutlooks returns the records old with the outlooks of now.
func exchangeOutlooks(old, now []Record) []Record {
	out := slices.Clone(old)
	for i := range out {
		j := slices.IndexFunc(now, func(r Record) bool { return r.Station.ID == out[i].Station.ID })
		if j >= 0 {
			out[i].Outlooks = now[j].Outlooks
		}
	}
	return out
}

// apportion rounds parts to tenths so that they add up to their sum rounded to
// tenths: each is rounded down, and the tenths that are missing then go to
// those that lost most, of equals to the first (largest remainder). A part of
// nothing stays nothing, and none is off by a whole tenth.
func apportion(parts []float64) (tenths []int, sum int) {
	total, down := 0.0, 0
	lost := make([]float64, len(parts))
	tenths = make([]int, len(parts))
	order := make([]int, len(parts))
	for i, p := range parts {
		total += p
		floor := math.Floor(10 * p)
		lost[i] = 10*p - floor
		tenths[i] = int(floor)
		down += tenths[i]
		order[i] = i
	}
	sum = int(math.Round(10 * total))
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(lost[b], lost[a]) })
	for k := range sum - down {
		tenths[order[k]]++
	}
	return tenths, sum
}
