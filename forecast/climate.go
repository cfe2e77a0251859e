package forecast

import (
	"time"

	"gonum.org/v1/gonum/stat"

	"ripetide/weather"
)

// trendYears is the least number of past seasons that tell of a trend.
const trendYears = 20

// middle returns the middle of a day, °C, in which all that is done to past
// weather is reckoned: its range stays as it was, so minimum and maximum never
// cross.
func middle(d weather.Day) float64 { return (d.Min + d.Max) / 2 }

// warmer returns d with both extremes raised by c, °C.
func warmer(d weather.Day, c float64) weather.Day {
	d.Min += c
	d.Max += c
	return d
}

// growingSeason returns the days whose mean temperature stands for a season:
// spring to the end of harvest, March to July, in the south September to
// January.
func growingSeason(season int, southern bool) (from, to weather.Date) {
	if southern {
		return weather.DateOf(season-1, time.September, 1), weather.DateOf(season, time.January, 31)
	}
	return weather.DateOf(season, time.March, 1), weather.DateOf(season, time.July, 31)
}

// trend is how the growing season of a station has warmed.
type trend struct {
	years int     // Past seasons that it rests on.
	slope float64 // °C a year.
}

// trendOf fits the means of the growing seasons before season.
func trendOf(r *record, season int, southern bool) trend {
	var xs, ys []float64
	for y := SeasonOf(r.first, southern); y < season; y++ {
		from, to := growingSeason(y, southern)
		days := r.series.Between(from, to)
		if float64(len(days)) < traceShare*float64(to-from+1) {
			continue
		}
		var sum float64
		for _, d := range days {
			sum += middle(d)
		}
		xs = append(xs, float64(y-season))
		ys = append(ys, sum/float64(len(days)))
	}
	return fitTrend(xs, ys)
}

func fitTrend(xs, ys []float64) trend {
	t := trend{years: len(xs)}
	if t.years >= trendYears {
		_, t.slope = stat.LinearRegression(xs, ys, nil, false)
	}
	return t
}
