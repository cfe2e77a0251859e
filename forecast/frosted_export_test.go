package forecast

import (
	"math"

	"ripetide/weather"
)

// KilledNight is a night on the clock of a planting: the flowers open in it had
// opened between two sums of heat since bloom.
type KilledNight struct{ From, To, Lost float64 }

// FrostedStages returns what the stages require after the nights, given what
// they would without, and the share of the crop that is left.
func FrostedStages(need [3]float64, ns []KilledNight) (after [3]float64, left float64) {
	return triple(need).frosted(nightsOf(ns))
}

// FrostedShares returns the share of what is left that is ripe at each h.
func FrostedShares(need [3]float64, ns []KilledNight, hs []float64) []float64 {
	c := newCropCurve(need).frosted(need[0], nightsOf(ns))
	out := make([]float64, len(hs))
	for i, h := range hs {
		out[i] = c.ripeBy(h)
	}
	return out
}

func nightsOf(ns []KilledNight) (out []night) {
	for _, n := range ns {
		out = append(out, night{n.From, n.To, n.Lost})
	}
	return out
}

// Nights is nights.
func Nights(fs []Frost, h Heat, bloom weather.Date) (out []KilledNight) {
	for _, n := range nights(nil, fs, h.h, bloom) {
		out = append(out, KilledNight{n.from, n.to, n.lost})
	}
	return out
}

// FrostShift is frostShift for a variety whose requirement is believed to be
// need.
func FrostShift(fs []Frost, h Heat, bloom weather.Date, need [3]float64) [3]float64 {
	shift, _ := frostShift(fs, h.h, bloom, triple{math.Log(need[0]), math.Log(need[1]), math.Log(need[2])})
	return shift
}
