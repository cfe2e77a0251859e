package review

import (
	"ripetide/forecast"
	"ripetide/weather"
)

// Season returns the rows of a season: of every stage of every planting that is
// on record as it came, by planting and stage, a row for each lead. Bloom counts
// as known from the day one plant in ten was seen in flower or, if only that was
// entered, the day of full bloom.
func Season(in forecast.Inputs, season int, issued []forecast.IssuedAll) []Row {
	bloomed := blooms(in, season)
	var rows []Row
	for _, a := range forecast.ActualDates(in, season) {
		var bloom *weather.Date
		if d, ok := bloomed[a.Planting]; ok {
			bloom = &d
		}
		said := make([]forecast.Issued, len(issued))
		for i, z := range issued {
			said[i] = z.Of(a.Planting)
		}
		rows = append(rows, Rows(a, bloom, said)...)
	}
	return rows
}

// blooms returns the days from which bloom was known, by planting.
func blooms(in forecast.Inputs, season int) map[string]weather.Date {
	by := map[string]weather.Date{}
	for _, stage := range []forecast.Stage{forecast.BloomFull, forecast.Bloom10} { // The latter overrides.
		for _, s := range in.Sightings {
			if s.Seen && s.Stage == stage && forecast.SeasonOf(s.Date, in.Farm.Southern()) == season {
				by[s.Planting] = s.Date
			}
		}
	}
	return by
}
