package feed

import (
	"context"
	"net/url"

	"ripetide/weather"
)

// ncei asks for a station's daily summaries, in °C: the answer does not tell
// its unit, which is the one that was asked for.
var ncei = service{
	home:   "https://www.ncei.noaa.gov/access/services/data/v1",
	accept: "application/json",
}

func (f *fetch) askNCEI(ctx context.Context) (*answer, error) {
	a, err := f.get(ctx, f.spec.base(), url.Values{
		"dataset":           {"daily-summaries"},
		"stations":          {f.spec.SourceStation},
		"startDate":         {f.first.String()},
		"endDate":           {(f.today - 1).String()},
		"dataTypes":         {"TMAX,TMIN"},
		"units":             {"metric"},
		"format":            {"json"},
		"includeAttributes": {"1"},
	})
	if err != nil {
		return nil, err
	}
	a.days = true
	a.opt = weather.ReadOptions{Format: "ncei-json", Unit: weather.Celsius, Station: f.spec.SourceStation}
	return a, nil
}
