package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// FrozenOut tells of a frozen forecast without its body.
type FrozenOut struct {
	ID       string       `json:"id"`
	Season   int          `json:"season"`
	AsOf     weather.Date `json:"as_of"`
	MadeAt   time.Time    `json:"made_at"`
	KnownAt  time.Time    `json:"known_at" doc:"Records received later were not used."`
	Hindcast bool         `json:"hindcast"`
	Program  string       `json:"program" doc:"Version of the program that made it."`
}

// ForecastList is a list of frozen forecasts, the newest first.
type ForecastList struct {
	Forecasts []FrozenOut `json:"forecasts"`
}

type postForecast struct {
	FarmPath
	AsOf    string    `query:"as_of" format:"date" required:"false" doc:"The morning it is made for. Default: the farm's today."`
	KnownAt time.Time `query:"known_at" required:"false" doc:"Use only what had been received by this instant. Default: now."`
	Freeze  bool      `query:"freeze" default:"true" doc:"false: compute only."`
}

type listForecasts struct {
	FarmPath
	Season int `query:"season" required:"false" minimum:"1700" maximum:"2400" doc:"Harvest year."`
}

// ForecastPath is the part of a path that names a frozen forecast.
type ForecastPath struct {
	FarmPath
	ID string `path:"id" maxLength:"64" doc:"Identifier of the forecast, or latest."`
}

// frozenBody answers with a forecast's own bytes.
type frozenBody struct {
	Status      int
	ContentType string `header:"Content-Type"`
	ETag        string `header:"ETag" doc:"Of a picture: sent back as If-None-Match it saves sending the same again."`
	Body        []byte
}

const jsonType = "application/json"

func (s *Server) forecastRoutes() {
	schema := schemaOf[forecast.Forecast](s)
	answer := func(what string) *huma.Response {
		return &huma.Response{Description: what, Content: map[string]*huma.MediaType{jsonType: {Schema: schema}}}
	}
	// Freezing is recording; computing is reading. Which of the two it is
	// stands in the query, so the operation asks for a reader and freezing for
	// more.
	add(s, Reader, long(huma.Operation{
		Method: http.MethodPost, Path: "/v1/farms/{farm}/forecasts", OperationID: "make-forecast", Tags: []string{"Forecast"},
		Summary: "Make a forecast and freeze it",
		Description: "The morning as_of knows weather dated up to the day before and sightings dated up to and including it. " +
			"One as of an earlier day than today is a hindcast and never becomes the latest. " +
			"The same inputs give the same bytes but for id and made_at. A reader may compute with freeze=false.",
		DefaultStatus: http.StatusCreated,
		Responses:     map[string]*huma.Response{"201": answer("Made and frozen"), "200": answer("Computed only")},
		Errors:        []int{http.StatusConflict},
	}), s.makeForecast)
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/forecasts", OperationID: "list-forecasts", Tags: []string{"Forecast"},
		Summary: "List frozen forecasts, the newest first",
	}, func(ctx context.Context, in *listForecasts) (*got[ForecastList], error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		all, err := s.store.Forecasts(ctx, in.Farm, some(in.Season))
		if err != nil {
			return nil, err
		}
		list := ForecastList{Forecasts: []FrozenOut{}}
		for _, f := range all {
			list.Forecasts = append(list.Forecasts, frozenOut(f))
		}
		return &got[ForecastList]{list}, nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/forecasts/latest", OperationID: "latest-forecast", Tags: []string{"Forecast"},
		Summary: "Read the latest frozen forecast", Responses: map[string]*huma.Response{"200": answer("The forecast as it was issued")},
	}, func(ctx context.Context, in *FarmPath) (*frozenBody, error) {
		f, err := s.store.LatestForecast(ctx, in.Farm)
		return frozen(f, err)
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/forecasts/{id}", OperationID: "get-forecast", Tags: []string{"Forecast"},
		Summary: "Read a frozen forecast", Responses: map[string]*huma.Response{"200": answer("The forecast as it was issued")},
	}, func(ctx context.Context, in *ForecastPath) (*frozenBody, error) {
		f, err := s.store.Forecast(ctx, in.Farm, in.ID)
		return frozen(f, err)
	})
}

func frozenOut(f forecast.Frozen) FrozenOut {
	return FrozenOut{f.ID, f.Season, f.AsOf, f.MadeAt, f.KnownAt, f.Hindcast, f.Program}
}

func frozen(f forecast.Frozen, err error) (*frozenBody, error) {
	if err != nil {
		return nil, err
	}
	return &frozenBody{Status: http.StatusOK, ContentType: jsonType, Body: f.Body}, nil
}

func (s *Server) makeForecast(ctx context.Context, in *postForecast) (*frozenBody, error) {
	if in.Freeze && callerOf(ctx).Role.rank() < Grower.rank() {
		return nil, ErrForbidden
	}
	var errs []error
	r := forecast.Request{AsOf: dateParam("as_of", in.AsOf, &errs), Freeze: in.Freeze}
	if err := invalid(errs); err != nil {
		return nil, err
	}
	if !in.KnownAt.IsZero() {
		r.KnownAt = &in.KnownAt
	}
	_, z, err := s.forecast.Make(ctx, in.Farm, r)
	if err != nil {
		return nil, err
	}
	status := http.StatusOK
	if in.Freeze {
		status = http.StatusCreated
	}
	return &frozenBody{Status: status, ContentType: jsonType, Body: z.Body}, nil
}
