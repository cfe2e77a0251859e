package quality

import (
	"fmt"
	"math"

	"ripetide/weather"
)

// inUnit returns what x, written as °C, is when the record was given in the
// wrong unit: °F that were taken for °C, or °C that were taken for °F.
var inUnit = [...]struct {
	detail string
	of     func(x float64) float64
}{
	{"°F taken for °C", weather.Fahrenheit.Celsius},
	{"°C taken for °F", func(x float64) float64 { return x*9/5 + 32 }},
}

// unit marks runs of days that fit the station's own season only when they are
// read in the other unit. With z the distance of a value from what is usual,
// in scales, and y that of the value read in the other unit, the log-odds of a
// day are the mean of (z²-y²)/2 over min and max, but at most mostOdds, so
// that it takes a few days. The weather of one day is much that of the day
// before (correlation about 0.7), so that a day counts for
// (1-0.7)/(1+0.7) = 1/5.7 of an independent one. A run is suspect when its sum
// is at least 15, odds of three million to one.
//
// A run begins with a day that is itself off, by two scales or so.
func (r *record) unit() {
	const persistence, mostOdds, enoughOdds, off = 5.7, 25, 15, 2
	var runs [len(inUnit)]stretch
	for k := range runs {
		runs[k] = stretch{least: enoughOdds, found: func(i, j int) {
			r.markAll(i, j, Unit, fmt.Sprintf("%d days from %s on fit the season only as %s", j-i+1, r.days[i].Date, inUnit[k].detail))
		}}
	}
	for i, d := range r.days {
		low, high := &r.normal[lows][r.bin[i]], &r.normal[highs][r.bin[i]]
		zl, zh := low.z(d.Min), high.z(d.Max)
		for k := range runs {
			run := &runs[k]
			switch {
			case low.n < enough || high.n < enough:
				run.end()
			case run.sum > 0 || zl*zl+zh*zh >= 2*off*off:
				of := inUnit[k].of
				yl, yh := low.z(of(d.Min)), high.z(of(d.Max))
				run.add(i, min((zl*zl+zh*zh-yl*yl-yh*yh)/4, mostOdds)/persistence)
			}
		}
	}
	for k := range runs {
		runs[k].end()
	}
}

// stretch finds runs of places whose odds sum to at least least, each as long
// as its sum grows: a run is over when the sum has fallen by least, or to
// nought.
type stretch struct {
	least       float64
	found       func(i, j int) // Called with the first and the last place of a run.
	sum, peak   float64
	start, last int
}

// add adds the odds of the place i; NaN ends the run.
func (s *stretch) add(i int, odds float64) {
	if s.sum == 0 {
		s.start = i
	}
	s.sum += odds
	switch {
	case s.sum > s.peak:
		s.peak, s.last = s.sum, i
	case !(s.sum > 0) || s.sum <= s.peak-s.least:
		s.end()
	}
}

// end ends the run.
func (s *stretch) end() {
	if s.peak >= s.least {
		s.found(s.start, s.last)
	}
	s.sum, s.peak = 0, 0
}

// climate marks ten days on record in a row, within twelve dates, whose mean
// is beyond what any place on Earth at that latitude and elevation has at that
// time of year, where the record is too young to know its own seasons, or all
// of it may be in the wrong unit.
func (r *record) climate(p Place) {
	const length, within = 10, 12
	if !(math.Abs(p.Latitude) <= 90) || math.IsNaN(p.Elevation) || len(r.days) < length {
		return
	}
	var warmest, coldest [bins]float64
	for b := range bins {
		warmest[b], coldest[b] = extremes(p, float64(5*b+2))
	}
	mean := func(i int) float64 { return (r.days[i].Min + r.days[i].Max) / 2 }
	sum := 0.0
	last := [2]int{-1, -1} // The last places marked, of warm ones and of cold.
	for i, d := range r.days {
		sum += mean(i)
		first := i - length + 1
		if first > 0 {
			sum -= mean(first - 1)
		}
		if first < 0 || d.Date-r.days[first].Date >= within {
			continue
		}
		b := r.bin[i-length/2]
		k, side, bound, sign := 0, "above", warmest[b], 1.0
		switch {
		case sum/length > warmest[b]:
		case sum/length < coldest[b]:
			k, side, bound, sign = 1, "below", coldest[b], -1
		default:
			continue
		}
		// The days at the ends that are not so themselves are left out.
		beyond := func(i int) bool { return sign*(mean(i)-bound) > 0 }
		to := i
		for to > first && !beyond(to) {
			to--
		}
		for first < to && !beyond(first) {
			first++
		}
		if last[k] >= i-length {
			first = last[k] + 1
		}
		r.markAll(first, to, Unit, fmt.Sprintf("the mean of ten days, %.1f °C, is %s %.1f, which no place at that latitude has at that time of year: %s?",
			sum/length, side, bound, inUnit[k].detail))
		last[k] = max(last[k], to)
	}
}

// extremes returns bounds of the mean temperature of ten days, °C, at a place
// on a day of the year from 0. They are wide on purpose, drawn by hand around
// the warmest and coldest inhabited places of a latitude, from memory: the
// deserts of 36 degrees, the steppes of 45 to 50, islands in cold currents.
// The warm bound holds from spring to autumn nearly its summer value, for heat
// comes early; the cold one is high in the middle of summer only.
func extremes(p Place, day float64) (warmest, coldest float64) {
	if p.Latitude < 0 {
		day += 182.5
	}
	summer := (1 + math.Cos(2*math.Pi*(day-205)/365)) / 2 // 1 on 25 July.
	lat := math.Abs(p.Latitude)
	w := line(lat, warmWinter)
	warmest = w + (line(lat, warmSummer)-w)*math.Sqrt(summer)
	c := line(lat, coldWinter)
	coldest = c + (line(lat, coldSummer)-c)*summer*summer
	height := max(p.Elevation, 0) / 1000
	return warmest - 4*height, coldest - 8*height // °C per km: less and more than air cools.
}

// Bounds at sea level by latitude.
var (
	warmWinter = [][2]float64{{0, 40}, {15, 36}, {25, 28}, {35, 21}, {45, 15}, {60, 10}, {75, 4}, {90, 0}}
	warmSummer = [][2]float64{{0, 42}, {20, 45}, {38, 45}, {55, 33}, {70, 25}, {90, 12}}
	coldSummer = [][2]float64{{0, 14}, {20, 12}, {30, 8}, {42, 2}, {55, -1}, {65, -6}, {75, -20}, {90, -50}}
	coldWinter = [][2]float64{{0, 12}, {15, 4}, {25, -8}, {35, -28}, {45, -45}, {60, -60}, {90, -75}}
)

// line returns the value at x of the line through points, which begin at or
// before x.
func line(x float64, points [][2]float64) float64 {
	for k := 1; k < len(points); k++ {
		if a, b := points[k-1], points[k]; x <= b[0] {
			return a[1] + (b[1]-a[1])*(x-a[0])/(b[0]-a[0])
		}
	}
	return points[len(points)-1][1]
}
