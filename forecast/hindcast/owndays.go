package hindcast

import "ripetide/weather"

// ownDays is bloom and the variety's own mean days from bloom to the stage in
// past seasons, with the scatter of these days.
func (y *year) ownDays(variety string, stage int, bloom weather.Date) (normal, Reason) {
	xs := seasonMeans(y.past[stage][variety], (*row).days)
	if len(xs) == 0 {
		return normal{}, NoPast
	}
	m := mean(xs)
	return normal{float64(bloom) + m, predictive(minus(xs, m), usualSD.days)}, ""
}
