package scoring

import "slices"

// Coverage says how many outcomes the ranges of forecasts held, and how many
// they should have.
type Coverage struct {
	Hits int // Cases whose actual date lies in the closed p10-p90 range.
	N    int // Cases.
	// Expected is the mass that the forecasts themselves put into their ranges,
	// added up: the hits to expect if they are honest. It is above 0.8 N, for a
	// closed range of whole days holds at least a share 0.8 and often 0.85-0.91.
	Expected float64
	// Lo and Hi are the hits that agree with Expected, both included; see
	// [HitBand]. Cases of one season share a weather, which makes the true band
	// wider.
	Lo, Hi int
}

// Agrees reports whether the hits lie in the band.
func (c Coverage) Agrees() bool { return c.Lo <= c.Hits && c.Hits <= c.Hi }

// Cover returns the coverage of the closed ranges from the 10 % to the 90 %
// quantile. It panics if a case has no forecast.
func Cover(cases []Case) Coverage {
	c := Coverage{N: len(cases)}
	own := make([]float64, len(cases))
	for i, k := range cases {
		lo, hi := k.Forecast.Quantile(levels[0]), k.Forecast.Quantile(levels[2])
		own[i] = k.Forecast.Mass(lo, hi)
		c.Expected += own[i]
		if lo <= k.Actual && k.Actual <= hi {
			c.Hits++
		}
	}
	c.Lo, c.Hi = HitBand(own)
	return c
}

// bandLevel is the chance of hits within the band if the forecasts are honest.
const bandLevel = 0.95

// HitBand returns the central 95 % band, both ends included, of the number of
// hits among independent events with probabilities ps: from the smallest k
// with P(hits <= k) >= 2.5 % to the smallest with 97.5 %. So at most 2.5 % of
// the probability lies on either side. 0 <= lo <= hi <= len(ps).
//
// HitBand panics if a probability is not in [0, 1].
//
// The distribution is worked out exactly, event by event; it is the binomial
// one if all probabilities are the same.
func HitBand(ps []float64) (lo, hi int) {
	pmf := make([]float64, 1, len(ps)+1)
	pmf[0] = 1
	for _, p := range ps {
		mustBeProbability(p)
		pmf = append(pmf, 0)
		for k := len(pmf) - 1; k > 0; k-- {
			pmf[k] = pmf[k]*(1-p) + pmf[k-1]*p
		}
		pmf[0] *= 1 - p
	}
	return hitQuantile(pmf, (1-bandLevel)/2), hitQuantile(pmf, (1+bandLevel)/2)
}

// BinomialBand returns the [HitBand] of n events that all have probability p.
// It panics if n is negative or p is not in [0, 1].
func BinomialBand(n int, p float64) (lo, hi int) {
	if n < 0 {
		panic("scoring: negative number of events")
	}
	return HitBand(slices.Repeat([]float64{p}, n))
}

// hitQuantile is the smallest k with a share p of pmf on or before it.
func hitQuantile(pmf []float64, p float64) int {
	sum := 0.0
	for k, x := range pmf {
		if sum += x; sum >= p-slack {
			return k
		}
	}
	return len(pmf) - 1
}

// mustBeProbability panics unless p lies in [0, 1].
func mustBeProbability(p float64) {
	if !(0 <= p && p <= 1) {
		panic("scoring: probability not in [0, 1]")
	}
}
