package forecast

import "ripetide/weather"

// CompareStations is compareStations.
func CompareStations(own, from weather.Series) (StandInOffsets, bool) {
	return compareStations(own, from)
}

// Lend is lend.
func (o StandInOffsets) Lend(own, from weather.Series) (whole, lent weather.Series) {
	return o.lend(own, from)
}

// HeatSD is heatSD.
func (o StandInOffsets) HeatSD(lent []weather.Day) float64 { return o.heatSD(lent) }

// SharedHeatSD is sharedHeatSD.
func (o StandInOffsets) SharedHeatSD(lent []weather.Day) float64 { return o.sharedHeatSD(lent) }
