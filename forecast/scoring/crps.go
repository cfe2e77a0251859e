package scoring

import "ripetide/weather"

// CRPS returns the continuous ranked probability score, in days, of the
// forecast f when the date was y:
//
//	∫ (F(x) - 1{x >= y})² dx,
//
// which for whole days is the sum of the same over the days. It is at least 0,
// and 0 only if f was certain of y; of a forecast that is certain of another
// date it is the absolute error. A forecaster who says what he believes has
// the least expected score: it is strictly proper.
//
// Hersbach (2000), Wea. Forecasting 15, 559-570. Formula from memory, checked
// against [CRPSEnergy].
func CRPS(f Distribution, y weather.Date) float64 {
	f.must()
	k, n := int(y)-int(f.first), len(f.cum)
	sum := float64(max(0, -k, k-n)) // Days outside the support, where the difference is 1.
	for i, c := range f.cum {
		diff := c / f.total()
		if i >= k {
			diff--
		}
		sum += diff * diff
	}
	return sum
}

// CRPSEnergy returns the figure of [CRPS] by its other form,
//
//	E|X-y| - 1/2 E|X-X'|,
//
// with X and X' drawn from f independently: the expected error less half the
// spread. They agree but for rounding; CRPS is the more exact.
//
// Gneiting and Raftery (2007), J. Am. Stat. Assoc. 102, 359-378. Formula from
// memory, checked by the double sum.
func CRPSEnergy(f Distribution, y weather.Date) float64 {
	f.must()
	k := int(y) - int(f.first)
	// Over the days so far: mass, and mass times distance from the first day.
	mass, moment := 0.0, 0.0
	dist, halfSpread := 0.0, 0.0
	for i := range f.cum {
		w := f.weight(i) / f.total()
		dist += w * float64(max(i-k, k-i))
		halfSpread += w * (float64(i)*mass - moment) // Each pair of days once.
		mass += w
		moment += w * float64(i)
	}
	return dist - halfSpread
}
