package pages

import (
	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// What tests look at.
type (
	SeasonPage = seasonPage
	StoryPage  = storyPage
	DateCell   = dateCell
)

var (
	DateOf         = dateOf
	NoForecast     = noForecast
	SeasonYears    = seasonYears
	NarrowingChart = narrowingChart
)

// NewSeason is the page of a season by a frozen forecast, of all that there are.
func NewSeason(farm *forecast.Farm, f *forecast.Forecast, z forecast.Frozen, today weather.Date, vs []forecast.Variety, all []forecast.Frozen) SeasonPage {
	return (&seasonTeller{farm, f, z, today, ""}).season(vs, all)
}

// ExplainInto adds what explains a planting to the page of its story.
func ExplainInto(page *StoryPage, farm *forecast.Farm, f *forecast.Forecast, planting string, x *forecast.Explanation, ss []forecast.Sighting) {
	t := &storyTeller{seasonTeller{farm, f, forecast.Frozen{}, f.AsOf, ""}, planting}
	for _, d := range f.Plantings {
		if d.Planting == planting {
			t.dates(page, d, "bloom not entered yet")
			page.Moved, page.Because = api.TellMoved(*farm, d, f.AsOf, false)
		}
	}
	t.seen(page, ss)
	t.explain(page, x)
}
