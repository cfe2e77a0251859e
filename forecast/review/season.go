package review

import (
	"slices"

	"ripetide/forecast"
	"ripetide/weather"
)

// Season is a season looked back at.
type Season struct {
	Year    int
	Rows    []Row                           // By planting and stage, each lead; of every stage that is on record as it came.
	Windows []Window                        // By planting, each lead.
	AtBloom map[string]*forecast.StageDates // What was said at bloom, by planting, whatever has come; nil: nothing.
	Gaps    Gaps
	Opening Opening
}

// NewSeason looks back at a season: what frozen forecasts said of it beside what
// is on record as it came. Bloom counts as known from the day one plant in ten
// was seen in flower or, if only that was entered, the day of full bloom. Records
// and forecasts may be of other seasons too; only those of this one count.
func NewSeason(in forecast.Inputs, year int, issued []forecast.IssuedAll) Season {
	s := Season{Year: year, AtBloom: map[string]*forecast.StageDates{}}
	issued = ofSeason(in, year, issued)
	came := forecast.ActualDates(in, year)
	s.Rows, s.Windows = beside(in, year, came, issued)
	for p, bloom := range blooms(in, year) {
		said := make([]forecast.Issued, len(issued))
		for i, z := range issued {
			said[i] = z.Of(p)
		}
		if z, _ := AtBloom.pick(0, &bloom, said); z != nil {
			s.AtBloom[p] = z.Stages
		}
	}
	s.Gaps = newGaps(in, year, came, issued)
	s.Opening = newOpening(in, year, came, issued)
	return s
}

// Beside returns the rows and windows of [NewSeason] alone.
func Beside(in forecast.Inputs, year int, issued []forecast.IssuedAll) ([]Row, []Window) {
	return beside(in, year, forecast.ActualDates(in, year), ofSeason(in, year, issued))
}

// ofSeason leaves out what is of other seasons, and what was made afterwards.
func ofSeason(in forecast.Inputs, year int, issued []forecast.IssuedAll) []forecast.IssuedAll {
	return slices.DeleteFunc(slices.Clone(issued), func(z forecast.IssuedAll) bool {
		return z.Hindcast || forecast.SeasonOf(z.AsOf, in.Farm.Southern()) != year
	})
}

func beside(in forecast.Inputs, year int, came []forecast.Actual, issued []forecast.IssuedAll) (rows []Row, ws []Window) {
	bloomed := blooms(in, year)
	byPlanting := map[string][]forecast.Actual{}
	for _, a := range came {
		byPlanting[a.Planting] = append(byPlanting[a.Planting], a)
	}
	for _, p := range sortedPlantings(in) {
		var bloom *weather.Date
		if d, ok := bloomed[p]; ok {
			bloom = &d
		}
		said := make([]forecast.Issued, len(issued))
		for i, z := range issued {
			said[i] = z.Of(p)
		}
		for _, a := range byPlanting[p] {
			rows = append(rows, Rows(a, bloom, said)...)
		}
		ws = append(ws, windows(byPlanting[p], bloom, said)...)
	}
	return rows, ws
}

func sortedPlantings(in forecast.Inputs) []string {
	ids := make([]string, len(in.Plantings))
	for i, p := range in.Plantings {
		ids[i] = p.ID
	}
	slices.Sort(ids)
	return ids
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
