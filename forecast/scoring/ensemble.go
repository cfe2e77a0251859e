package scoring

import "slices"

// EnsembleCRPS returns the continuous ranked probability score, in the unit of
// its arguments, of the n members xs taken as the whole distribution when the
// value was y:
//
//	1/n Σ|x_i - y| - 1/(2n²) ΣΣ|x_i - x_j|,
//
// at least 0 but for rounding. The order of xs does not matter.
//
// EnsembleCRPS panics if xs is empty or if a value is not a number of at most
// 10¹⁰⁰ in size.
//
// Gneiting and Raftery (2007), J. Am. Stat. Assoc. 102, 359-378. Formula from
// memory, checked by [CRPS].
func EnsembleCRPS(xs []float64, y float64) float64 {
	if len(xs) == 0 {
		panic("scoring: ensemble without members")
	}
	dist, pairs := meanDistances(xs, y)
	n := float64(len(xs))
	return dist - pairs/n/n
}

// FairEnsembleCRPS is [EnsembleCRPS] for members that are a sample of the
// forecast distribution: an unbiased estimate of the score that endlessly many
// members would have,
//
//	1/n Σ|x_i - y| - 1/(2n(n-1)) ΣΣ|x_i - x_j|.
//
// So ensembles of different sizes compare fairly. It can be below 0.
//
// FairEnsembleCRPS panics as EnsembleCRPS does, and if there is one member only.
//
// Ferro (2014), Q. J. R. Meteorol. Soc. 140, 1917-1923. Formula from memory,
// checked by the mean over samples.
func FairEnsembleCRPS(xs []float64, y float64) float64 {
	if len(xs) < 2 {
		panic("scoring: fair ensemble of fewer than two members")
	}
	dist, pairs := meanDistances(xs, y)
	n := float64(len(xs))
	return dist - pairs/n/(n-1)
}

// meanDistances returns the mean distance of xs from y and the sum of the
// distances of all pairs, each once.
func meanDistances(xs []float64, y float64) (dist, pairs float64) {
	mustBeModest(y)
	for _, x := range xs {
		mustBeModest(x)
	}
	sorted := slices.Sorted(slices.Values(xs))
	sum := 0.0
	for i, x := range sorted {
		above := x - sorted[0]
		dist += max(x-y, y-x)
		pairs += float64(i)*above - sum
		sum += above
	}
	return dist / float64(len(xs)), pairs
}
