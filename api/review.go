package api

import (
	"bytes"
	"context"
	"net/http"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast/review"
	"ripetide/weather"
)

// ReviewOut is what was said of a season beside what came.
type ReviewOut struct {
	Farm    string           `json:"farm"`
	Season  int              `json:"season"`
	Caution string           `json:"caution" doc:"How much the figures can bear, in words."`
	Rows    []ReviewRowOut   `json:"rows" doc:"By planting, stage and lead; of every stage that is on record as it came."`
	Totals  []ReviewTotalOut `json:"totals" doc:"By stage and lead."`
}

// ReviewRowOut is what was said of a stage at a lead.
type ReviewRowOut struct {
	ActualOut
	Lead      string         `json:"lead" enum:"at bloom,21 days before,14 days before,7 days before,3 days before"`
	Said      *ReviewSaidOut `json:"said" doc:"Null: nothing was said; why says why."`
	Why       string         `json:"why" doc:"Why nothing was said, in words."`
	ErrorDays *int           `json:"error_days" doc:"Median of the forecast minus what came; positive is late. Null when nothing was said, or when the date is only a bound."`
	Inside    *bool          `json:"inside" doc:"Whether it came within the range, both ends included; null as error_days."`
}

// ReviewSaidOut is what a frozen forecast said.
type ReviewSaidOut struct {
	Forecast string       `json:"forecast"`
	AsOf     weather.Date `json:"as_of"`
	P10      weather.Date `json:"p10"`
	P50      weather.Date `json:"p50"`
	P90      weather.Date `json:"p90"`
}

// ReviewTotalOut is how good the forecasts of a stage were at a lead.
type ReviewTotalOut struct {
	Stage    string   `json:"stage" enum:"first_ripe,peak,last_pick"`
	Lead     string   `json:"lead" enum:"at bloom,21 days before,14 days before,7 days before,3 days before"`
	N        int      `json:"n" doc:"Forecasts that can be held against what came."`
	Seasons  int      `json:"seasons"`
	LeftOut  int      `json:"left_out" doc:"Nothing was said, or the date is only a bound."`
	BiasDays *float64 `json:"bias_days" doc:"Mean error; positive is late. Null when n is 0."`
	MAEDays  *float64 `json:"mae_days" doc:"Mean absolute error; null when n is 0."`
	Inside   int      `json:"inside" doc:"Of n, how many came within the range."`
}

// oneWeather says what the figures of one season can bear.
const oneWeather = "All plantings of a season share its weather: this is one season and not as many tries as there are plantings. Decide nothing by it alone."

// ReviewPath names a season and the form of its review. The router cannot part
// what stands between two slashes, so the ending is part of the parameter.
type ReviewPath struct {
	FarmPath
	Year string `path:"year" pattern:"^[0-9]{4}([.]csv)?$" doc:"Harvest year; with the ending .csv the rows as CSV."`
}

// season returns the season and whether its rows are wanted as CSV.
func (p ReviewPath) season() (year int, csv bool) {
	digits, csv := strings.CutSuffix(p.Year, ".csv")
	year, _ = strconv.Atoi(digits) // Four digits, by the pattern.
	return year, csv
}

func (s *Server) reviewRoutes() {
	const what = "What was said of a season beside what came"
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/reviews/{year}", OperationID: "review", Tags: []string{"Forecast"},
		Summary: what,
		Description: "Only forecasts that were frozen on their morning count: neither hindcasts nor late ones do. " +
			"A lead in days takes the forecast of that morning or, if there was none, the latest of the three mornings before it; " +
			"at bloom it is the first forecast from the day on which bloom was seen, three days later at most.",
		Responses: map[string]*huma.Response{"200": {Description: what, Content: map[string]*huma.MediaType{
			jsonType: {Schema: schemaOf[ReviewOut](s)}, "text/csv": {Schema: &huma.Schema{Type: huma.TypeString}},
		}}},
	}, func(ctx context.Context, in *ReviewPath) (*frozenBody, error) {
		year, csv := in.season()
		known, err := s.forecast.Known(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		issued, err := s.store.IssuedOfAll(ctx, in.Farm, year)
		if err != nil {
			return nil, err
		}
		rows := review.Season(known, year, issued)
		var buf bytes.Buffer
		if csv {
			err := review.WriteCSV(&buf, rows)
			return &frozenBody{Status: http.StatusOK, ContentType: "text/csv; charset=utf-8", Body: buf.Bytes()}, err
		}
		err = s.huma.Marshal(&buf, jsonType, newReviewOut(in.Farm, year, rows))
		return &frozenBody{Status: http.StatusOK, ContentType: jsonType, Body: buf.Bytes()}, err
	})
}

func newReviewOut(farm string, season int, rows []review.Row) ReviewOut {
	out := ReviewOut{Farm: farm, Season: season, Caution: oneWeather, Rows: []ReviewRowOut{}, Totals: []ReviewTotalOut{}}
	for _, r := range rows {
		o := ReviewRowOut{
			ActualOut: ActualOut{r.Planting, r.Stage.String(), r.Date, string(r.From), string(r.Bound)},
			Lead:      r.Lead.String(), Why: string(r.Why),
		}
		if r.Said != nil {
			o.Said = &ReviewSaidOut{r.Said.Forecast, r.Said.AsOf, r.Said.P10, r.Said.P50, r.Said.P90}
		}
		if days, ok := r.Error(); ok {
			inside, _ := r.Inside()
			o.ErrorDays, o.Inside = &days, &inside
		}
		out.Rows = append(out.Rows, o)
	}
	for _, t := range review.Totals(rows) {
		o := ReviewTotalOut{Stage: t.Stage.String(), Lead: t.Lead.String(), N: t.N, Seasons: t.Seasons, LeftOut: t.LeftOut, Inside: t.Inside}
		if t.N > 0 {
			o.BiasDays, o.MAEDays = &t.Bias, &t.MAE
		}
		out.Totals = append(out.Totals, o)
	}
	return out
}
