package hindcast

import (
	"math"

	"ripetide/weather"
)

// ruleDays are the days from bloom to each stage by common practice: 30 to
// first ripe ("about 30 days" in extension letters from North Carolina to
// Ontario), then ten days of picking, the first and the last included, a
// variety lasting a week to ten days, with the peak on the fifth.
var ruleDays = [ripe]int{30, 34, 39}

// bloomRule is bloom and ruleDays, whatever the variety's past. Nothing of it
// is fitted, so its spread is the root of the mean square of its errors in the
// variety's past seasons, bias and all; with fewer than two such seasons it is
// the usual one.
func (y *year) bloomRule(variety string, stage int, bloom weather.Date) (normal, Reason) {
	days := float64(ruleDays[stage])
	r := minus(seasonMeans(y.past[stage][variety], (*row).days), days)
	sd := usualSD.rule
	if len(r) > 1 {
		sd = max(leastSD, math.Sqrt(squares(r)/float64(len(r))))
	}
	return normal{float64(bloom) + days, sd}, ""
}
