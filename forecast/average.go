package forecast

// averageExcess returns E(t) of [Average], °C: the mean excess over t of a day
// that stands at its mean throughout,
//
//	E(t) = max(0, C-t),  C = (minC+maxC)/2.
//
// With no cutoff that is the plain formula max(0, C-Base), with a horizontal
// one it is min(C, Upper)-Base. The result lies in [0, max(0, maxC-t)].
//
// Method 1 of McMaster and Wilhelm (1997), Agric. For. Meteorol. 87, 291-300,
// doi:10.1016/S0168-1923(97)00027-0 (read in the abstract).
func averageExcess(minC, maxC, t float64) float64 {
	return above((minC+maxC)/2, t)
}

// averageShare returns F(t) of [Average], a fraction: 1 when the mean is above
// t, otherwise 0.
func averageShare(minC, maxC, t float64) float64 {
	return isAbove((minC+maxC)/2, t)
}

// clippedExcess returns E(t) of [ClippedAverage], °C: the mean excess over t
// of a day that stands half at its minimum and half at its maximum,
//
//	E(t) = ½ max(0, minC-t) + ½ max(0, maxC-t).
//
// With a horizontal cutoff E(Base)-E(Upper) is what the literature writes as
// each extreme set to [Base, Upper] and then averaged, less Base: the "86/50"
// rule for maize. The result lies in [0, max(0, maxC-t)] and is never below
// averageExcess.
//
// Method 2 of McMaster and Wilhelm (1997), as averageExcess.
func clippedExcess(minC, maxC, t float64) float64 {
	return (above(minC, t) + above(maxC, t)) / 2
}

// clippedShare returns F(t) of [ClippedAverage], a fraction: 0, ½ or 1, half
// for each extreme above t.
func clippedShare(minC, maxC, t float64) float64 {
	return (isAbove(minC, t) + isAbove(maxC, t)) / 2
}

// above returns max(0, x-t).
func above(x, t float64) float64 {
	if x > t {
		return x - t
	}
	return 0
}

// isAbove returns 1 when x > t, otherwise 0.
func isAbove(x, t float64) float64 {
	if x > t {
		return 1
	}
	return 0
}
