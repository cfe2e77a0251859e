package forecast

// triangleExcess returns E(t) of [SingleTriangle], °C: the mean excess over t
// of a day that rises in a straight line from minC to maxC and falls back,
//
//	E(t) = (maxC+minC)/2 - t               t <= minC
//	E(t) = (maxC-t)² / (2 (maxC-minC))     minC < t < maxC
//	E(t) = 0                               t >= maxC.
//
// The result lies in [0, max(0, maxC-t)], between those of the two averages.
//
// Lindsey and Newman (1956); Sevacherian et al. (1977), J. Econ. Entomol. 70,
// 399-402. The formula was not read there but integrated here.
func triangleExcess(minC, maxC, t float64) float64 {
	switch {
	case t >= maxC: // The ends belong to these branches, so that a flat day divides by nothing.
		return 0
	case t <= minC:
		return (minC+maxC)/2 - t
	}
	d := maxC - t
	return d * (d / (maxC - minC)) / 2 // d² of a tiny range would underflow.
}

// triangleShare returns F(t) of [SingleTriangle], the fraction of the day
// above t: (maxC-t)/(maxC-minC) between the extremes.
func triangleShare(minC, maxC, t float64) float64 {
	switch {
	case t >= maxC:
		return 0
	case t <= minC:
		return 1
	}
	return (maxC - t) / (maxC - minC)
}
