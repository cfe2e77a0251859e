package hindcast

// meanDate is the variety's own mean calendar date (month and day) of a stage
// in past seasons, with the scatter of these dates. It does not look at bloom.
func (y *year) meanDate(variety string, stage int) (normal, Reason) {
	xs := seasonMeans(y.dates[stage][variety], func(r *row) (float64, bool) {
		place, ok := r.places.at(r.on)
		return float64(place), ok
	})
	if len(xs) == 0 {
		return normal{}, NoPast
	}
	m := mean(xs)
	return normal{y.places.date(m), predictive(minus(xs, m), usualSD.date)}, ""
}
