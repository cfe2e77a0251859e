package forecast

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// sweeps is how often every component is drawn afresh when a draw has to be
// moved into what the sightings allow.
const sweeps = 30

// gibbs draws from a Gaussian cut off by bounds, one component after the other
// given the rest.
type gibbs struct {
	p    posterior
	b    bounds
	prec *mat.Dense
}

func newGibbs(p posterior, b bounds) *gibbs {
	u := mat.NewTriDense(p.dim, mat.Upper, nil)
	row := p.chol
	for i := range p.dim {
		for j, v := range row[:i+1] {
			u.SetTri(j, i, v)
		}
		row = row[i+1:]
	}
	var chol mat.Cholesky
	chol.SetFromU(u)
	var inv mat.SymDense
	if err := chol.InverseTo(&inv); err != nil {
		panic("forecast: covariance was factored and yet cannot be inverted")
	}
	return &gibbs{p, b, mat.DenseCopyOf(&inv)}
}

// settle moves x into the bounds and draws it there.
func (g *gibbs) settle(r *rand.Rand, x []float64) {
	const margin = 1e-3 // Of the log requirement: less than a tenth of a day.
	for i := range x {
		lo := g.b.above[i]
		if i%ripeStages != 0 {
			lo = max(lo, x[i-1])
		}
		x[i] = max(x[i], lo+margin)
	}
	for range sweeps {
		for i := range x {
			lo, hi := g.b.above[i], math.Inf(1)
			if i%ripeStages != 0 {
				lo = max(lo, x[i-1])
			}
			if i%ripeStages != ripeStages-1 {
				hi = x[i+1]
			}
			row := g.prec.RawRowView(i)
			var s float64
			for j, q := range row {
				if j != i {
					s += q * (x[j] - g.p.mean[j])
				}
			}
			x[i] = truncated(r, g.p.mean[i]-s/row[i], 1/math.Sqrt(row[i]), lo, hi)
		}
	}
}

// truncated draws from the normal distribution with mean and sd given that it
// lies between lo and hi, by inversion in the tail that keeps its digits.
func truncated(r *rand.Rand, mean, sd, lo, hi float64) float64 {
	a, b := (lo-mean)/sd, (hi-mean)/sd
	if a > 0 { // Mirror, so that the far tail is the lower one.
		return mean - sd*lowerTail(r, -b, -a)
	}
	return mean + sd*lowerTail(r, a, b)
}

// lowerTail draws a standard normal between a and b.
func lowerTail(r *rand.Rand, a, b float64) float64 {
	pa, pb := distuv.UnitNormal.CDF(a), distuv.UnitNormal.CDF(b)
	p := pa + r.Float64()*(pb-pa)
	if !(p > 0) { // Beyond some 38 sd nothing is left to tell apart.
		return b
	}
	return min(max(distuv.UnitNormal.Quantile(p), a), b)
}
