package hindcast

import (
	"math"

	"ripetide/weather"
)

// usualHeat is the date on which the degree-days after bloom reach the mean
// requirement of the variety's past seasons: observed days, then the mean of
// past years' degree-days on the same month and day. It learns nothing from
// other plantings, nor from this season.
//
// A requirement is the heat after bloom up to the day before the stage and
// half of that of its day. So that the spread holds both what is wrong with the
// requirement and what the weather may still do, past seasons are replayed with
// as many days after bloom observed as now, and the usual weather (of the other
// years) from there.
func (y *year) usualHeat(i, stage int, asOf, bloom weather.Date) (normal, Reason) {
	now, ok := y.now(i, asOf)
	rows := y.past[stage][y.plantings[i].Variety]
	switch {
	case len(rows) == 0:
		return normal{}, NoPast
	case !ok:
		return normal{}, NoWeather
	}
	needs := seasonMeans(rows, func(r *row) (float64, bool) { return r.need, r.hasNeed })
	if len(needs) == 0 {
		return normal{}, NoWeather
	}
	need := mean(needs)
	at, why := now.reach(bloom, need)
	if why != "" {
		return normal{}, why
	}
	known := asOf - bloom // One more than the days after bloom that are observed.
	off := seasonMeans(rows, func(r *row) (float64, bool) {
		if !r.hasNeed {
			return 0, false
		}
		p := r.path
		p.through = r.bloom + known - 1
		at, why := p.reach(r.bloom, need)
		return at - float64(r.on), why == ""
	})
	if len(off) == 0 {
		return normal{}, NotReached
	}
	return normal{at, predictive(off, usualSD.heat)}, ""
}

// heatTo returns the heat after a up to the day before b, and half of b's,
// °C·d.
func (p path) heatTo(a, b weather.Date) (sum float64, ok bool) {
	for d := a + 1; d <= b; d++ {
		w, ok := p.at(d)
		if !ok {
			return 0, false
		}
		if d == b {
			w.heat /= 2
		}
		sum += w.heat
	}
	return sum, true
}

// reach returns when the heat after a reaches need, as a fractional date whose
// nearest day is the day of the crossing: at that day for half of its heat.
func (p path) reach(a weather.Date, need float64) (float64, Reason) {
	sum := 0.0
	for d := a + 1; ; d++ {
		w, ok := p.at(d)
		if !ok {
			if _, within := p.places.at(d); !within {
				return math.NaN(), NotReached
			}
			return math.NaN(), NoWeather
		}
		if sum+w.heat >= need {
			return float64(d) - 0.5 + (need-sum)/w.heat, ""
		}
		sum += w.heat
	}
}
