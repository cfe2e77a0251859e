package scoring

import "ripetide/weather"

// levels are the quantiles a forecast publishes: the ends of its range and its
// median.
var levels = [3]float64{0.1, 0.5, 0.9}

// Pinball returns the pinball loss, in days, of the date q given for the
// tau-quantile when the date was y:
//
//	(y - q) (tau - 1{y < q}).
//
// It is at least 0; for tau = 0.5 it is half the absolute error. The
// tau-quantile of what the forecaster believes has the least expected loss.
//
// Pinball panics unless 0 < tau < 1.
//
// Koenker and Bassett (1978), Econometrica 46, 33-50. Formula from memory.
func Pinball(tau float64, q, y weather.Date) float64 {
	if !(0 < tau && tau < 1) {
		panic("scoring: quantile level not in (0, 1)")
	}
	late := float64(int(y) - int(q))
	if late < 0 {
		return late * (tau - 1)
	}
	return late * tau
}

// MeanPinball returns the mean of the [Pinball] losses, in days, of the 10 %,
// 50 % and 90 % quantiles of f when the date was y. It scores what a grower is
// shown: two ends of a range and the date between.
func MeanPinball(f Distribution, y weather.Date) float64 {
	sum := 0.0
	for _, tau := range levels {
		sum += Pinball(tau, f.Quantile(tau), y)
	}
	return sum / float64(len(levels))
}
