package forecast

import (
	"time"

	"ripetide/weather"
)

// SeasonOf returns the season, named by the year of its harvest, that d lies
// in: the calendar year in the north; in the south the season Y runs from
// 1 July Y-1 to 30 June Y.
func SeasonOf(d weather.Date, southern bool) int {
	y, m, _ := d.Civil()
	if southern && m >= time.July {
		return y + 1
	}
	return y
}

// SeasonBounds returns the first and the last date of a season.
func SeasonBounds(season int, southern bool) (first, last weather.Date) {
	if southern {
		return weather.DateOf(season-1, time.July, 1), weather.DateOf(season, time.June, 30)
	}
	return weather.DateOf(season, time.January, 1), weather.DateOf(season, time.December, 31)
}

// Growing reports whether the days of a station are wanted on d: from the start
// of the spring clock to the end of harvest.
func Growing(d weather.Date, southern bool) bool {
	season := SeasonOf(d, southern)
	_, last := SeasonBounds(season, southern)
	return winterEnd(season, southern) < d && d <= last-afterHarvest
}
