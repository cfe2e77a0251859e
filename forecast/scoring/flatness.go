package scoring

import "gonum.org/v1/gonum/stat/distuv"

// Flatness returns the chi-square figure of a histogram against a flat one,
//
//	Σ (h_i - m)² / m, with m the mean of h,
//
// which is at least 0, and the probability p of one as large or larger if the
// counts are independent and truly flat, with one degree of freedom fewer than
// there are bins.
//
// p is for [RandomisedPITHistogram]. For [PITHistogram], which is smoother, it
// errs towards flat. It is rough where m is below 5, and too small where many
// cases share a season.
//
// Flatness panics if h has fewer than two bins, if a count is negative or no
// number or above 10¹⁰⁰, or if all are 0.
func Flatness(h []float64) (chi2, p float64) {
	if len(h) < 2 {
		panic("scoring: flatness of fewer than two bins")
	}
	sum := 0.0
	for _, x := range h {
		mustBeModest(x)
		if x < 0 {
			panic("scoring: negative count")
		}
		sum += x
	}
	m := sum / float64(len(h))
	if !(m > 0) {
		panic("scoring: flatness of nothing")
	}
	for _, x := range h {
		chi2 += (x - m) * ((x - m) / m)
	}
	return chi2, distuv.ChiSquared{K: float64(len(h) - 1)}.Survival(chi2)
}
