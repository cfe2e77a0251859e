package scoring

import "ripetide/weather"

// IntervalScore returns the interval score, in days, of the range lo to hi
// given for the central share level of the mass when the date was y:
//
//	(hi - lo) + 2/(1-level) max(0, lo - y) + 2/(1-level) max(0, y - hi).
//
// It is at least 0: the width, and a fine for each day outside. It is
// 2/(1-level) times the [Pinball] losses of the two ends together.
//
// IntervalScore panics if hi is before lo or unless 0 < level < 1.
//
// Gneiting and Raftery (2007), J. Am. Stat. Assoc. 102, 359-378,
// doi:10.1198/016214506000001437, section 6.2. Formula from memory.
func IntervalScore(level float64, lo, hi, y weather.Date) float64 {
	if !(0 < level && level < 1) {
		panic("scoring: level of a range not in (0, 1)")
	}
	if hi < lo {
		panic("scoring: range ends before it begins")
	}
	outside := max(0, int(lo)-int(y), int(y)-int(hi))
	return float64(int(hi)-int(lo)) + 2/(1-level)*float64(outside)
}
