package forecast

import "math"

// sineExcess returns E(t) of [SingleSine], °C: the mean excess over t of a day
// that is a sine wave of mean C = (maxC+minC)/2 and amplitude A = (maxC-minC)/2,
//
//	E(t) = C - t                                   t <= minC
//	E(t) = [(C-t)(π/2-θ) + A cos θ] / π            minC < t < maxC, sin θ = (t-C)/A
//	E(t) = 0                                       t >= maxC.
//
// The result lies in [0, max(0, maxC-t)] and has full relative precision: the
// middle line is computed as A·waveTop((maxC-t)/A) above the mean and, by the
// symmetry of the wave, as C-t + A·waveTop((t-minC)/A) below it. Written as it
// stands it loses all its digits as t nears maxC, and takes twice as long.
//
// Baskerville and Emin (1969), Ecology 50(3), 514-517, doi:10.2307/1933912.
// The formula is from memory, checked by quadrature.
func sineExcess(minC, maxC, t float64) float64 {
	switch {
	case t >= maxC: // The ends belong to these branches, so that a flat day divides by nothing.
		return 0
	case t <= minC:
		return (minC+maxC)/2 - t
	}
	mean, amp := (minC+maxC)/2, (maxC-minC)/2
	if t < mean {
		return mean - t + amp*waveTop((t-minC)/amp)
	}
	return amp * waveTop((maxC-t)/amp)
}

// sineShare returns F(t) of [SingleSine], the fraction of the day above t:
// 1/2 - θ/π = arccos((t-C)/A)/π between the extremes.
func sineShare(minC, maxC, t float64) float64 {
	switch {
	case t >= maxC:
		return 0
	case t <= minC:
		return 1
	}
	mean, amp := (minC+maxC)/2, (maxC-minC)/2
	return math.Acos((t-mean)/amp) / math.Pi
}

// waveTop returns, for w in [0, 1], the mean over a whole turn of what a sine
// wave of amplitude 1 rises above the level u = 1-w,
//
//	waveTop(w) = [√(1-u²) - u arccos u] / π = w^(3/2) P(w).
//
// P is smooth on [0, 1], its nearest singularity being at w = 2, so that a
// polynomial takes the place of arccos: degree 15, through P at the Chebyshev
// nodes, solved with 60 digits. It is within 4e-16 of P, relatively.
func waveTop(w float64) float64 {
	const (
		c0  = 0.3001054387190352982 // P(0) = 2√2/(3π).
		c1  = 0.01500527193598159685
		c2  = 0.00241156155861076867
		c3  = 0.0005582319269919873974
		c4  = 0.0001554153531936232914
		c5  = 0.00004843370701406519034
		c6  = 0.00001616849567259050266
		c7  = 6.273868204906117292e-6
		c8  = 4.863271207255582022e-7
		c9  = 4.781296999801139065e-6
		c10 = -6.569713412240094733e-6
		c11 = 8.748939096378083805e-6
		c12 = -7.541540726598918381e-6
		c13 = 4.518816040690709793e-6
		c14 = -1.614875549742398451e-6
		c15 = 2.81369516715369358e-7
	)
	// Estrin's scheme: the four cubics do not wait for each other.
	w2 := w * w
	w4 := w2 * w2
	lo := (c0 + c1*w) + (c2+c3*w)*w2 + ((c4+c5*w)+(c6+c7*w)*w2)*w4
	hi := (c8 + c9*w) + (c10+c11*w)*w2 + ((c12+c13*w)+(c14+c15*w)*w2)*w4
	return w * math.Sqrt(w) * (lo + hi*(w4*w4))
}
