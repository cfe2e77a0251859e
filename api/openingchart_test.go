package api_test

import (
	"bytes"
	"testing"

	"ripetide/api"
	"ripetide/api/announce"
	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

// TestALongSeasonIsDrawn: a planting that hardly ripens makes a season longer than
// a chart.
func TestALongSeasonIsDrawn(t *testing.T) {
	t.Parallel()
	from := weather.DateOf(2018, 4, 1)
	f := &forecast.Forecast{Season: 2018, AsOf: from, Advice: &forecast.Advice{Confidence: 0.8}}
	for i := range 270 {
		f.Days = append(f.Days, forecast.DaySupply{Date: from + weather.Date(i), Opens: true, Ready: 0.5})
	}
	o := &api.Opening{State: announce.State{Farm: forecast.Farm{ID: "f", Name: "F", TimeZone: "UTC"}, Forecast: f}}
	c, ok := o.Chart()
	if !ok || len(c.Days) != charts.MaxReadyDays {
		t.Fatalf("%t, %d days", ok, len(c.Days))
	}
	var b bytes.Buffer
	if err := c.WriteSVG(&b, charts.Options{}); err != nil {
		t.Error(err)
	}
}
