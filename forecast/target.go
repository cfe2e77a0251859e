package forecast

import (
	"ripetide/weather"
)

// target is a planting that is forecast.
type target struct {
	planting int // Index into Inputs.Plantings.
	variety  int // Index into Inputs.Varieties.
	record   *record
	ahead    *ahead
	heats    []heat       // By trace.
	mean     heat         // The mean of heats: what is expected.
	bloom    weather.Date // Expected, when it is forecast.
	spring   *toBloom     // Nil when bloom was seen.
	seen     [ripeStages]*weather.Date
	notYet   [ripeStages]*weather.Date
	kg       float64
	frosts   []Frost
	shift    triple // By what frosts change the heat to the stages; see frostShift.
}

// toBloom is a planting's way to bloom while that has not been seen.
type toBloom struct {
	start  weather.Date // Last day before the spring clock runs.
	heats  []heat       // By trace, of the spring clock.
	looks  *looks       // Nil: nobody has looked.
	blooms []int16      // By member, days from the season's first.
}

// bloomIn returns the date of bloom in a member; first is day 0 of a season.
func (t *target) bloomIn(member int, first weather.Date) weather.Date {
	if t.spring == nil {
		return t.bloom
	}
	return first + weather.Date(t.spring.blooms[member])
}

// lastSeen returns the latest ripe stage that was seen, -1 for none.
func (t *target) lastSeen() int {
	for s := ripeStages - 1; s >= 0; s-- {
		if t.seen[s] != nil {
			return s
		}
	}
	return -1
}

// looked reports whether a stage that has not come was looked for in vain.
func (t *target) looked() bool {
	for s := range ripeStages {
		if t.notYet[s] != nil && t.seen[s] == nil {
			return true
		}
	}
	return false
}

// bound returns the log heat that each stage of t has not yet taken, frosts
// aside: of the day on which somebody looked in vain. Inf means there was no
// such look.
func (t *target) bound(none float64, log func(float64) float64) (b triple) {
	for s := range b {
		b[s] = none
		if d := t.notYet[s]; d != nil && t.seen[s] == nil && t.spring == nil && *d > t.bloom {
			b[s] = log(max(t.mean.after(t.bloom, min(*d, t.mean.last()))-t.shift[s], 0))
		}
	}
	return b
}

// asSeen returns the requirements that put the stages on the days they were
// seen on, so that the crop curve agrees with the field. What frosts add to the
// heat of each stage, shift, is no part of them.
func (t *target) asSeen(h heat, bloom weather.Date, need, shift triple, day [ripeStages]weather.Date) triple {
	for s := range need {
		if t.seen[s] == nil {
			continue
		}
		need[s] = h.after(bloom, day[s]) - shift[s]
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
