package hindcast

import (
	"math"

	"ripetide/forecast"
	"ripetide/weather"
)

// ripe is the number of stages that are forecast: first ripe, peak, last pick.
const ripe = int(forecast.LastPick-forecast.FirstRipe) + 1

// stageOf returns the i-th stage that is forecast.
func stageOf(i int) forecast.Stage { return forecast.FirstRipe + forecast.Stage(i) }

// entered is what was entered of one planting in one season: the first day of
// each stage.
type entered struct {
	on   [forecast.LastPick + 1]weather.Date
	seen [forecast.LastPick + 1]bool
}

// bloomEntered returns the first date on which the planting's bloom is known.
func (e *entered) bloomEntered() (weather.Date, bool) {
	switch {
	case e == nil:
		return 0, false
	case e.seen[forecast.Bloom10]:
		return e.on[forecast.Bloom10], true
	}
	return e.on[forecast.BloomFull], e.seen[forecast.BloomFull]
}

// bloom returns the date of bloom_10 as it was known by asOf: as entered, or
// toFull days before full bloom.
func (e *entered) bloom(asOf weather.Date, toFull int) (weather.Date, bool) {
	switch {
	case e == nil:
		return 0, false
	case e.seen[forecast.Bloom10] && e.on[forecast.Bloom10] <= asOf:
		return e.on[forecast.Bloom10], true
	case e.seen[forecast.BloomFull] && e.on[forecast.BloomFull] <= asOf:
		return e.on[forecast.BloomFull] - weather.Date(toFull), true
	}
	return 0, false
}

// plantingSeason is a planting, by index into the plantings, and a season.
type plantingSeason struct{ planting, season int }

// gather sorts what was seen by planting and season. Of several first days of
// one stage the last one given counts, as in package forecast. Sightings of
// plantings that are not in index are counted.
func gather(ss []forecast.Sighting, index map[string]int, southern bool) (by map[plantingSeason]*entered, strangers int) {
	by = map[plantingSeason]*entered{}
	for _, s := range ss {
		i, ok := index[s.Planting]
		if !ok {
			strangers++
			continue
		}
		if !s.Seen {
			continue
		}
		k := plantingSeason{i, forecast.SeasonOf(s.Date, southern)}
		if by[k] == nil {
			by[k] = new(entered)
		}
		by[k].on[s.Stage], by[k].seen[s.Stage] = s.Date, true
	}
	return by, strangers
}

// usualToFull is the number of days from bloom_10 to full bloom while the farm
// has no season with both: the 60 °C·d that the forecaster assumes, at about
// 10 °C·d a day. A default.
const usualToFull = 6

// toFull returns the mean number of whole days from bloom_10 to full bloom in
// the seasons before season.
func toFull(by map[plantingSeason]*entered, season int) int {
	sum, n := 0, 0
	for k, e := range by {
		if k.season < season && e.seen[forecast.Bloom10] && e.seen[forecast.BloomFull] {
			sum += int(e.on[forecast.BloomFull] - e.on[forecast.Bloom10])
			n++
		}
	}
	if n == 0 {
		return usualToFull
	}
	return int(math.Round(float64(sum) / float64(n)))
}
