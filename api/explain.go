package api

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/charts"
	"ripetide/forecast"
)

// errNoStory is a planting whose degree-days have not begun to add up.
var errNoStory = errors.New("api: planting has not bloomed")

// ExplanationOut is how what a frozen forecast says of one planting came to be.
type ExplanationOut struct {
	Forecast   FrozenOut `json:"forecast" doc:"The frozen forecast that is explained."`
	Reproduced bool      `json:"reproduced" doc:"Whether working it out again from its as_of and known_at gave the same bytes. If not, another version of the program made it, or a record was being written in that very moment, and the figures here may differ from those that were issued."`
	forecast.Explanation
}

// ExplainPath is the part of a path that names a planting of a forecast, and
// how it is shown.
type ExplainPath struct {
	ForecastPath
	Planting string `path:"planting" pattern:"^[a-z0-9][a-z0-9_-]{0,63}(\\.svg|\\.png)?$" doc:"Identifier of the planting; with the ending .svg or .png its story is drawn."`
	Theme    string `query:"theme" enum:"light,dark" default:"light" required:"false" doc:"Of a picture."`
	Width    int    `query:"width" minimum:"320" maximum:"2400" default:"1200" required:"false" doc:"Of a picture, px."`
}

func (s *Server) explainRoutes() {
	const what = "How a planting's dates came to be"
	schema := schemaOf[ExplanationOut](s)
	add(s, Reader, long(huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/forecasts/{id}/plantings/{planting}", OperationID: "explain-planting", Tags: []string{"Forecast"},
		Summary: "Explain what a forecast says of a planting",
		Description: "Bloom, the degree-days since, those to come, what each stage requires and who taught it: the variety's class, past seasons, this one. " +
			"The forecast is worked out again from its as_of and known_at. With .svg or .png after the planting the same is drawn, once it has bloomed.",
		Responses: map[string]*huma.Response{"200": {Description: what, Content: map[string]*huma.MediaType{
			jsonType:            {Schema: schema},
			pictureTypes["svg"]: {Schema: &huma.Schema{Type: huma.TypeString}},
			pictureTypes["png"]: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}},
		}}, "304": unchangedAnswer},
		Errors: []int{http.StatusConflict},
	}), s.explain)
}

func (s *Server) explain(ctx context.Context, in *ExplainPath) (*frozenBody, error) {
	farm, err := s.store.Farm(ctx, in.Farm)
	if err != nil {
		return nil, err
	}
	var z forecast.Frozen
	if in.ID == "latest" {
		z, err = s.store.LatestForecast(ctx, in.Farm)
	} else {
		z, err = s.store.Forecast(ctx, in.Farm, in.ID)
	}
	if err != nil {
		return nil, err
	}
	planting, ending, _ := strings.Cut(in.Planting, ".")
	x, reproduced, err := s.forecast.Explain(ctx, z, planting)
	if err != nil {
		return nil, err
	}
	if ending == "" {
		var buf bytes.Buffer
		out := ExplanationOut{frozenOut(z), reproduced, *x}
		err := s.huma.Marshal(&buf, jsonType, &out)
		return &frozenBody{Status: http.StatusOK, ContentType: jsonType, Body: buf.Bytes()}, err
	}
	varieties, err := s.store.Varieties(ctx, in.Farm)
	if err != nil {
		return nil, err
	}
	story, ok := StoryChart(farm, varieties, x, z.Hindcast)
	if !ok {
		return nil, errNoStory
	}
	key := drawingKey{x, around(farm, varieties), pictureTypes[ending], pictureOptions(in.Theme, in.Width)}
	return s.draw(ctx, key, func() drawable { return story })
}

// StoryChart returns the chart of a planting's story. It reports whether there
// is any yet: there is none before it was seen to bloom.
func StoryChart(farm forecast.Farm, varieties []forecast.Variety, x *forecast.Explanation, hindcast bool) (charts.Story, bool) {
	if x.Bloom == nil || x.DegreeDaysSinceBloom == nil {
		return charts.Story{}, false
	}
	c := charts.Story{
		Heading: VarietyName(varieties, x.Variety) + ", " + x.Block, Hindcast: hindcast,
		Bloom: x.Bloom.Date.Time(), AsOf: x.AsOf.Time(),
	}
	if farm.Units == forecast.US {
		c.Units = charts.US
	}
	if len(x.Ahead) > 0 {
		years := countOf(x.Weather.PastYears, "past year", "past years")
		c.Basis = "Ahead: " + years + " of weather"
		if x.Weather.OutlookDays > 0 {
			c.Basis = "Ahead: the outlook, then " + years + " of weather"
		}
		if t := x.Weather.TrendCPerYr; t != nil {
			c.Basis += ", shifted to the present by the trend, " + farm.Difference(10**t) + " a decade"
		}
		c.Basis += ". "
	}
	c.Basis += "An estimate: walk the field."
	for _, d := range x.Days {
		c.Past = append(c.Past, charts.HeatDay{Date: d.Date.Time(), SumC: d.Sum, Filled: d.Source != forecast.DayObserved})
	}
	// By the methods that look at the next day's minimum, the last observed day
	// differs a little from path to path.
	least := *x.DegreeDaysSinceBloom
	for _, d := range x.Ahead {
		r := charts.HeatRange{Date: d.Date.Time(), P10C: max(d.P10, least), P50C: max(d.P50, least), P90C: max(d.P90, least)}
		c.Ahead = append(c.Ahead, r)
		if d.Source == forecast.DayOutlook {
			c.OutlookThrough = r.Date
		}
	}
	for _, r := range x.Stages {
		n := charts.Need{
			Stage: strings.ReplaceAll(r.Stage, "_", " "),
			P10C:  r.Requirement.P10, P50C: r.Requirement.P50, P90C: r.Requirement.P90,
		}
		if r.Date != nil {
			var seen bool
			if n.When, seen = span(*r.Date); seen {
				n.Seen = n.When.P50
			}
		}
		c.Needs = append(c.Needs, n)
	}
	return c, true
}
