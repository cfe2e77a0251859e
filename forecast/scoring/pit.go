package scoring

import (
	"math"
	"math/rand/v2"

	"ripetide/weather"
)

// PIT returns the step [lo, hi] that the distribution function of f takes on
// the day y: lo = F(y-1), hi = F(y), 0 <= lo <= hi <= 1. If outcomes are drawn
// from their forecasts, points drawn evenly from the steps are uniform.
func PIT(f Distribution, y weather.Date) (lo, hi float64) {
	f.must()
	return f.upTo(int(y)-1) / f.total(), f.upTo(int(y)) / f.total()
}

// RandomisedPIT returns a point drawn evenly from the step of [PIT] by r, in
// [0, 1].
//
// Smith (1985), J. Forecast. 4, 283-291. From memory.
func RandomisedPIT(f Distribution, y weather.Date, r *rand.Rand) float64 {
	lo, hi := PIT(f, y)
	return lo + (hi-lo)*r.Float64()
}

// PITHistogram returns the expected number of cases whose [RandomisedPIT] lies
// in each of as many equal parts of [0, 1]; the numbers add up to that of the
// cases. Nothing is drawn: a step is shared out among the parts by length, and
// one of length 0 belongs to the part that begins at it, or to the last.
//
// Flat is honest. High ends mean ranges too narrow, a high middle means too
// wide. Outcomes earlier than forecast fill the left, later ones the right.
// [Flatness] puts a figure to it.
//
// PITHistogram panics if bins is below 1 or a case has no forecast.
//
// Czado, Gneiting and Held (2009), Biometrics 65, 1254-1261. From memory,
// checked against the mean of draws.
func PITHistogram(cases []Case, bins int) []float64 {
	h := newHistogram(bins)
	for _, c := range cases {
		lo, hi := PIT(c.Forecast, c.Actual)
		from, to := h.scale(lo), h.scale(hi)
		if from == to {
			h[h.bin(lo)]++
			continue
		}
		for i := int(from); float64(i) < to; i++ {
			h[i] += (min(to, float64(i+1)) - max(from, float64(i))) / (to - from)
		}
	}
	return h
}

// RandomisedPITHistogram returns the number of cases whose [RandomisedPIT]
// lies in each of as many equal parts of [0, 1], drawn in the order of the
// cases from a fixed seed. [PITHistogram] is its mean over all seeds; take this
// one where a test needs independent counts.
//
// RandomisedPITHistogram panics if bins is below 1 or a case has no forecast.
func RandomisedPITHistogram(cases []Case, bins int) []float64 {
	h := newHistogram(bins)
	r := rand.New(rand.NewPCG(1, 1))
	for _, c := range cases {
		h[h.bin(RandomisedPIT(c.Forecast, c.Actual, r))]++
	}
	return h
}

// histogram counts points of [0, 1] in equal parts.
type histogram []float64

func newHistogram(bins int) histogram {
	if bins < 1 {
		panic("scoring: histogram without bins")
	}
	return make(histogram, bins)
}

// scale returns p as a place on the bins, each of them of length 1. An edge
// missed by rounding is that edge.
func (h histogram) scale(p float64) float64 {
	x := p * float64(len(h))
	if edge := math.Round(x); math.Abs(x-edge) < 1e-9 {
		return edge
	}
	return x
}

// bin returns the part that p belongs to: the one that begins at it if there
// is such a part.
func (h histogram) bin(p float64) int { return min(len(h)-1, int(h.scale(p))) }
