package hindcast

import (
	"math"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

const (
	restParts = 100_000_000 // In which the mass is counted.
	leastRest = 1e-9        // Of the mass, from which the rest has a shape.
)

// rest returns d on the condition that the date lies after asOf: the days up to
// asOf are cut off and what is left is made whole, to 10⁻⁸ a day. Where next to
// nothing is left, the date is the day after.
//
// That a stage has not come is known on the morning, to a grower who goes by
// the calendar as well: a baseline that still names a day that is over would
// make any forecast look good.
func rest(d scoring.Distribution, asOf weather.Date) scoring.Distribution {
	first, last := d.Support()
	if first > asOf {
		return d
	}
	left := d.Mass(asOf+1, last)
	if !(left >= leastRest) {
		return scoring.Point(asOf + 1)
	}
	counts := make([]int, last-asOf)
	for i := range counts {
		day := asOf + 1 + weather.Date(i)
		counts[i] = int(math.Round(restParts * d.Mass(day, day) / left))
	}
	out, err := scoring.FromCounts(asOf+1, counts)
	if err != nil { // The parts of a whole are neither none nor too many.
		panic(err)
	}
	return out
}
