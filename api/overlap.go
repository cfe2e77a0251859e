package api

import (
	"bytes"
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

// OverlapOut is the season chart in numbers.
type OverlapOut struct {
	Forecast    string                   `json:"forecast" doc:"Identifier of the frozen forecast that is drawn."`
	Farm        string                   `json:"farm"`
	Season      int                      `json:"season"`
	AsOf        weather.Date             `json:"as_of"`
	Hindcast    bool                     `json:"hindcast"`
	Title       string                   `json:"title"`
	Description string                   `json:"description" doc:"What the chart shows, in words."`
	Plantings   []forecast.PlantingDates `json:"plantings"`
	Gaps        []forecast.Gap           `json:"gaps"`
	SeasonSpan  *forecast.Span           `json:"season_span"`
	Days        []forecast.DaySupply     `json:"days"`
}

// OverlapPath is the part of a path that names a season and how it is drawn.
type OverlapPath struct {
	FarmPath
	Year     int    `path:"year" minimum:"1700" maximum:"2400" doc:"Harvest year."`
	Forecast string `query:"forecast" required:"false" maxLength:"64" doc:"Identifier of a frozen forecast. Default: the latest of the season, a hindcast if there is no other."`
	Theme    string `query:"theme" enum:"light,dark" default:"light" required:"false" doc:"Of a picture."`
	Width    int    `query:"width" minimum:"320" maximum:"2400" default:"1200" required:"false" doc:"Of a picture, px."`
}

type overlapNegotiated struct {
	OverlapPath
	Accept string `header:"Accept" required:"false" doc:"application/json, image/svg+xml or image/png."`
}

// pictureTypes are the forms of the season chart by the ending of its address.
var pictureTypes = map[string]string{"json": jsonType, "svg": "image/svg+xml", "png": "image/png"}

func (s *Server) overlapRoutes() {
	schema := schemaOf[OverlapOut](s)
	media := map[string]*huma.MediaType{
		jsonType:        {Schema: schema},
		"image/svg+xml": {Schema: &huma.Schema{Type: huma.TypeString}},
		"image/png":     {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}},
	}
	const path = "/v1/farms/{farm}/seasons/{year}/overlap"
	const what = "The season chart: picking windows, gaps and supply"
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "overlap", Tags: []string{"Forecast"},
		Summary: what, Description: "As JSON, SVG or PNG by Accept.",
		Responses: map[string]*huma.Response{"200": {Description: what, Content: media}, "304": unchangedAnswer},
	}, func(ctx context.Context, in *overlapNegotiated) (*frozenBody, error) {
		return s.overlap(ctx, &in.OverlapPath, negotiate(in.Accept))
	})
	for _, ending := range []string{"json", "svg", "png"} {
		mt := pictureTypes[ending]
		add(s, Reader, huma.Operation{
			Method: http.MethodGet, Path: path + "." + ending, OperationID: "overlap-" + ending, Tags: []string{"Forecast"},
			Summary:   what + ", as " + strings.ToUpper(ending),
			Responses: map[string]*huma.Response{"200": {Description: what, Content: map[string]*huma.MediaType{mt: media[mt]}}, "304": unchangedAnswer},
		}, func(ctx context.Context, in *OverlapPath) (*frozenBody, error) {
			return s.overlap(ctx, in, mt)
		})
	}
}

// negotiate picks the first type in accept that the chart comes in; JSON if
// none is named.
func negotiate(accept string) string {
	for part := range strings.SplitSeq(accept, ",") {
		mt, _, _ := strings.Cut(strings.TrimSpace(part), ";")
		for _, have := range pictureTypes {
			if strings.EqualFold(mt, have) {
				return have
			}
		}
		if strings.EqualFold(mt, "image/*") {
			return "image/svg+xml"
		}
	}
	return jsonType
}

func (s *Server) overlap(ctx context.Context, in *OverlapPath, mediaType string) (*frozenBody, error) {
	farm, err := s.store.Farm(ctx, in.Farm)
	if err != nil {
		return nil, err
	}
	z, err := ForecastOfSeason(ctx, s.store, in.Farm, in.Year, in.Forecast)
	if err != nil {
		return nil, err
	}
	f, err := s.forecast.Decode(ctx, z)
	if err != nil {
		return nil, err
	}
	varieties, err := s.store.Varieties(ctx, in.Farm)
	if err != nil {
		return nil, err
	}
	if mediaType == jsonType {
		chart := SeasonChart(farm, varieties, f)
		var buf bytes.Buffer
		err := s.huma.Marshal(&buf, jsonType, &OverlapOut{
			Forecast: z.ID, Farm: f.Farm, Season: f.Season, AsOf: f.AsOf, Hindcast: f.Hindcast,
			Title: chart.Title(), Description: chart.Description(),
			Plantings: f.Plantings, Gaps: f.Gaps, SeasonSpan: f.SeasonSpan, Days: f.Days,
		})
		return &frozenBody{Status: http.StatusOK, ContentType: mediaType, Body: buf.Bytes()}, err
	}
	key := drawingKey{f, around(farm, varieties), mediaType, pictureOptions(in.Theme, in.Width)}
	return s.draw(ctx, key, func() drawable { return SeasonChart(farm, varieties, f) })
}

// ForecastOfSeason returns the frozen forecast of a season that is meant by id;
// by "" the latest, a hindcast if there is no other. Errors:
// [forecast.ErrForecastNotFound], also when it is of another season.
func ForecastOfSeason(ctx context.Context, s FrozenStore, farm string, season int, id string) (forecast.Frozen, error) {
	if id == "" {
		return s.LatestOfSeason(ctx, farm, season)
	}
	z, err := s.Forecast(ctx, farm, id)
	if err == nil && z.Season != season {
		return forecast.Frozen{}, forecast.ErrForecastNotFound
	}
	return z, err
}

// SeasonChart returns the chart of a forecast. Names come from the farm's
// present set-up; a variety that is gone keeps its identifier.
func SeasonChart(farm forecast.Farm, varieties []forecast.Variety, f *forecast.Forecast) charts.Season {
	names := map[string]string{}
	for _, v := range varieties {
		names[v.ID] = v.Name
	}
	c := charts.Season{
		Farm: farm.Name, Year: f.Season, AsOf: f.AsOf.Time(), Hindcast: f.Hindcast,
		ThinKg: farm.ThinKgPerDay, TracesUsed: f.Method.Traces,
	}
	if farm.Units == forecast.US {
		c.Units = charts.US
	}
	if s := f.SeasonSpan; s != nil && s.Last.P90 < f.AsOf { // No weather ahead is in it.
		c.TracesUsed = 0
	}
	if f.WeatherThrough != nil {
		c.WeatherThrough = f.WeatherThrough.Time()
	}
	type place struct{ variety, block string }
	same := map[place]int{}
	for _, p := range f.Plantings {
		same[place{p.Variety, p.Block}]++
	}
	for _, p := range f.Plantings {
		b := bar(p, or(some(names[p.Variety]), p.Variety), f.Notes)
		if same[place{p.Variety, p.Block}] > 1 { // Told apart by their own names.
			b.Planting = p.Planting
		}
		c.Bars = append(c.Bars, b)
	}
	for _, g := range f.Gaps {
		kind := charts.Gap
		if g.Kind == forecast.KindThin {
			kind = charts.Thin
		}
		c.Gaps = append(c.Gaps, charts.Stretch{From: g.From.Time(), To: g.To.Time(), Kind: kind, Probability: chanceOf(g, f.AsOf)})
	}
	for _, d := range f.Days {
		day := charts.SupplyDay{
			Date: d.Date.Time(), PlantingKg: make([]float64, len(f.Plantings)),
			P10Kg: d.RipeKg.P10, P50Kg: d.RipeKg.P50, P90Kg: d.RipeKg.P90,
		}
		for i, p := range f.Plantings {
			day.PlantingKg[i] = d.RipeKgBy[p.Planting]
		}
		c.Supply = append(c.Supply, day)
	}
	return c
}

// WasSo reports whether a gap or thin stretch lies behind the morning asOf and is
// known: then there is no chance to speak of.
func WasSo(g forecast.Gap, asOf weather.Date) bool { return g.To < asOf && g.Probability > 0.995 }

// chanceOf returns the probability of a gap, 0 to leave it unsaid.
func chanceOf(g forecast.Gap, asOf weather.Date) float64 {
	if WasSo(g, asOf) {
		return 0
	}
	return g.Probability
}

func bar(p forecast.PlantingDates, variety string, notes []forecast.Note) charts.Bar {
	b := charts.Bar{Variety: variety, Block: p.Block}
	if p.Stages == nil {
		b.NoForecast = "cannot be forecast yet"
		for _, n := range notes {
			if n.Planting == p.Planting && n.Kind == forecast.NoteNoBloom {
				b.NoForecast = "bloom not entered yet"
			}
		}
		return b
	}
	b.First, b.SeenFirst = span(p.Stages.FirstRipe)
	b.Peak, b.SeenPeak = span(p.Stages.Peak)
	b.Last, b.SeenLast = span(p.Stages.LastPick)
	if w := p.PickingWindowDays; w != nil {
		b.WindowDays = [3]int{w.P10, w.P50, w.P90}
	}
	return b
}

func span(r forecast.DateRange) (charts.Range, bool) {
	t := func(d weather.Date) time.Time { return d.Time() }
	return charts.Range{P10: t(r.P10), P50: t(r.P50), P90: t(r.P90)}, r.Seen != nil
}
