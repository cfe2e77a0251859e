package hindcast

import (
	"math"

	"ripetide/forecast"
	"ripetide/weather"
)

// leapSeason has 29 February, north and south, so that every date of any
// season has a place in it.
const leapSeason = 2000

// places is a season's days on the calendar: the same month and day has the
// same place, 0 to 365, in every season.
type places struct {
	season int
	first  weather.Date
	of     []int // By day from first.
}

func newPlaces(season int, southern bool) *places {
	first, last := forecast.SeasonBounds(season, southern)
	start, _ := forecast.SeasonBounds(leapSeason, southern)
	p := &places{season: season, first: first, of: make([]int, last-first+1)}
	for i := range p.of {
		d := first + weather.Date(i)
		p.of[i] = int(d.InYear(d.Year()+leapSeason-season) - start)
	}
	return p
}

// at returns the place of d, if it lies in the season.
func (p *places) at(d weather.Date) (place int, ok bool) {
	i := int(d - p.first)
	if i < 0 || i >= len(p.of) {
		return 0, false
	}
	return p.of[i], true
}

// date returns the date that has a fractional place: that of the whole place,
// and the fraction. 29 February becomes 1 March where the season has none.
func (p *places) date(place float64) float64 {
	whole := math.Floor(place)
	i, most := 0, len(p.of)-1
	for i < most && float64(p.of[i]) < whole {
		i++
	}
	return float64(p.first) + float64(i) + place - whole
}
