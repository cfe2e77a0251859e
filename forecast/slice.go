package forecast

import (
	"math"
	"math/rand/v2"
)

// steps is how many steps a draw takes that had to be moved into what the
// sightings allow. Five already bring the means to within the noise of
// rejection in the test; far in a tail more are wanted.
const steps = 30

// settle moves x, a draw of p, to where it agrees with b and draws it afresh
// there, in steps of elliptical slice sampling: each step draws another point
// of the uncut Gaussian, and takes a random place on the ellipse through both
// that agrees. The Gaussian cut off by b is left as it is by every step.
//
// Murray, Adams and MacKay (2010), Elliptical slice sampling, AISTATS 9; from
// memory.
func (p posterior) settle(r *rand.Rand, x []float64, b bounds) {
	p.lift(x, b)
	z, y, try := make([]float64, p.dim), make([]float64, p.dim), make([]float64, p.dim)
	for range steps {
		normals(r, z)
		p.at(z, y)
		angle := r.Float64() * 2 * math.Pi
		lo, hi := angle-2*math.Pi, angle
		for {
			sin, cos := math.Sincos(angle)
			for i, m := range p.mean {
				try[i] = m + (x[i]-m)*cos + (y[i]-m)*sin
			}
			if b.agrees(try) {
				copy(x, try)
				break
			}
			if hi-lo < 1e-9 { // Rounding: x itself is all there is.
				break
			}
			if angle < 0 {
				lo = angle
			} else {
				hi = angle
			}
			angle = lo + r.Float64()*(hi-lo)
		}
	}
}

// lift moves x up to its bounds. What goes with a requirement goes up with it,
// by the correlation between the two.
func (p posterior) lift(x []float64, b bounds) {
	const margin = 1e-6 // Of the log: a thousandth of a degree-day.
	for i := range x {
		lack := b.above[i] + margin - x[i]
		if !(lack > 0) {
			continue
		}
		v := p.cov(i, i)
		for j := range x {
			x[j] += lack * max(p.cov(i, j), 0) / v
		}
	}
	for i := range x {
		lo := b.above[i]
		if i%b.stages != 0 {
			lo = max(lo, x[i-1])
		}
		x[i] = max(x[i], lo+margin)
	}
}

// cov returns an element of the covariance.
func (p posterior) cov(i, j int) (s float64) {
	if i > j {
		i, j = j, i
	}
	a, b := p.chol[i*(i+1)/2:], p.chol[j*(j+1)/2:]
	for k := range i + 1 {
		s += a[k] * b[k]
	}
	return s
}
