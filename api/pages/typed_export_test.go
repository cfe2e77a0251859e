package pages

import (
	"ripetide/forecast"
	"ripetide/weather"
)

// What people type, for the tests.
var (
	ReadNumber  = readNumber
	ReadDate    = readDate
	ReadDegrees = readDegrees
	ReadClass   = readClass
	ReadStage   = readStage
	SlugOf      = slugOf
	Figure      = figure
	Temperature = temperature
	Count       = count
	Area        = area
	ZoneFits    = zoneFits
	Pair        = pair
	Without     = without
)

// ReadArea reads an area in m², with acres or m² if it names no unit.
func ReadArea(text string, u forecast.Units) (float64, string) {
	return readAmount(text, allAreaUnits, areaUnits(u)[0], u)
}

// ShowArea writes an area as a form shows it, and reads that again.
func ShowArea(m2 float64, u forecast.Units) (text string, again float64) {
	text, in := shortest(m2, areaUnits(u))
	x, _ := readNumber(text, u)
	return text + " " + in.name, x * in.factor
}

// Cells parts a list into its lines.
func Cells(text string) (out [][]string) {
	for _, l := range readLines(text) {
		out = append(out, l.cells)
	}
	return out
}

// ZoneNames are all time zones to choose from.
func ZoneNames() (out []string) {
	for _, g := range zoneGroups("") {
		for _, o := range g.Options {
			if o.Value != "" {
				out = append(out, o.Value)
			}
		}
	}
	return out
}

// PlantingRows reads a list of plantings for a farm that has one station and
// one variety, Jewel; a row is its cells, its state or its fault.
func PlantingRows(text string, u forecast.Units) (out [][]string) {
	r := &groundReader{
		units: u, varieties: []forecast.Variety{{ID: "jewel", Name: "Jewel", Ripens: forecast.LateMid}},
		stations: []weather.Station{{ID: "post", Name: "Post"}}, station: "post",
		plantings: []forecast.Planting{{
			ID: "jewel-home", Variety: "jewel", Block: "Home", Station: "post", PlantedOn: weather.DateOf(2015, 4, 20), AreaM2: 1200, KgPerM2: 1.1,
		}},
		areaUnit: areaUnits(u)[0], yieldUnit: yieldUnits(u)[0],
	}
	for _, x := range r.read(text) {
		if x.Fault != "" {
			out = append(out, []string{x.Fault})
			continue
		}
		out = append(out, append(x.Cells, x.State))
	}
	return out
}
