package simfarm

import "math"

// FruitRate returns how much of one day's development a fruit makes in a day
// at a steady temperature of t °C, 0 to 1; 1 is its fastest, at the optimum.
//
//	r = [(Tm - t)/(Tm - To) · ((t - Tb)/(To - Tb))^((To - Tb)/(Tm - To))]^c
//
// between Tb = 0 and Tm = 38 °C with the optimum To = 27 °C and c = 0.9; zero
// outside.
//
// The form is the beta function of Yin, Kropff, McLaren and Visperas (1995),
// Agricultural and Forest Meteorology 77, 1-16 (from memory); its four
// constants are invented for the simulation.
func FruitRate(t float64) float64 {
	const (
		coldest, best, warmest = 0.0, 27.0, 38.0
		skew                   = (best - coldest) / (warmest - best)
		flat                   = 0.9
	)
	if !(coldest < t && t < warmest) {
		return 0
	}
	r := (warmest - t) / (warmest - best) * math.Pow((t-coldest)/(best-coldest), skew)
	return math.Pow(r, flat)
}

// SpringRate returns how much of one day's development the plant makes in a
// day at a steady t °C on its way to bloom, and each truss from one flower to
// the next, 0 to 1: a logistic curve with its middle at 12 °C. It asks for no
// chilling. Form and constants are invented for the simulation.
func SpringRate(t float64) float64 {
	const middle, steepness = 12, 0.13 // °C, per °C.
	return 1 / (1 + math.Exp(-steepness*(t-middle)))
}
