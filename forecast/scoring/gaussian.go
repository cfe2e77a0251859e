package scoring

import "math"

// GaussianCRPS returns the continuous ranked probability score of a normal
// with the given mean and standard deviation sd when the value was y, in the
// unit they share. With z = (y-mean)/sd it is
//
//	sd [z (2Φ(z) - 1) + 2φ(z) - 1/√π],
//
// at least sd (√2-1)/√π, at y = mean. It is the score of the continuous
// normal; that of [FromNormal] is less by about φ(z)/(12 sd), for it knows that
// days are whole.
//
// GaussianCRPS panics unless sd > 0 and all three are at most 10¹⁰⁰ in size.
//
// Gneiting et al. (2005), Mon. Wea. Rev. 133, 1098-1118. Formula from memory,
// checked by quadrature.
func GaussianCRPS(mean, sd, y float64) float64 {
	mustBeModest(mean)
	mustBeModest(y)
	mustBeModest(sd)
	if !(sd > 0) {
		panic("scoring: standard deviation not above 0")
	}
	z := (y - mean) / sd // Infinite if sd is tiny, which does no harm.
	phi := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	return (y-mean)*math.Erf(z/math.Sqrt2) + sd*(2*phi-1/math.Sqrt(math.Pi))
}

// mustBeModest panics unless x is a number of a size whose sums stay finite.
func mustBeModest(x float64) {
	if !(math.Abs(x) <= 1e100) {
		panic("scoring: value not a number of at most 1e100")
	}
}
