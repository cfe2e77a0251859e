package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// SeasonPath is the part of a path that names a season.
type SeasonPath struct {
	FarmPath
	Year int `path:"year" minimum:"1700" maximum:"2400" doc:"Harvest year."`
}

// DecisionPath is the part of a path that names a decision.
type DecisionPath struct {
	SeasonPath
	Kind string `path:"kind" enum:"opening,peak_week,closing" doc:"What is decided."`
}

// DecisionBody is a decision as it is put.
type DecisionBody struct {
	Day      string  `json:"day" format:"date" doc:"The day that people are told; of a peak week its first."`
	Forecast *string `json:"forecast,omitempty" maxLength:"64" doc:"The frozen forecast it was made on. Default: the latest of the season."`
	Note     *string `json:"note,omitempty" doc:"One line of at most 200 characters."`
}

// DecisionOut is one version of a decision.
type DecisionOut struct {
	Kind      string        `json:"kind"`
	Season    int           `json:"season"`
	Day       *weather.Date `json:"day" doc:"Null: it was taken back."`
	Version   int           `json:"version" doc:"Counts from 1."`
	DecidedAt time.Time     `json:"decided_at"`
	DecidedBy string        `json:"decided_by" doc:"The key that decided."`
	Forecast  string        `json:"forecast" doc:"The frozen forecast it was made on."`
	Note      *string       `json:"note"`
}

// DecisionNow is a decision as it stands, with how it came to be.
type DecisionNow struct {
	DecisionOut
	History []DecisionOut `json:"history" doc:"All versions, the newest first, which counts."`
}

// DecisionList is what was decided of a season.
type DecisionList struct {
	Decisions []DecisionNow `json:"decisions" doc:"In the order of a season; what was never decided is not there."`
}

type putDecision struct {
	DecisionPath
	Body DecisionBody
}

func decisionOut(d forecast.Decision) DecisionOut {
	return DecisionOut{string(d.Kind), d.Season, d.Day, d.Version, d.DecidedAt, d.DecidedBy, d.Forecast, some(d.Note)}
}

// decisionsNow gathers versions, which stand in order, by kind.
func decisionsNow(ds []forecast.Decision) []DecisionNow {
	out := []DecisionNow{}
	for _, kind := range forecast.DecisionKinds {
		var now DecisionNow
		for _, d := range ds {
			if d.Kind == kind {
				now.DecisionOut = decisionOut(d)
				now.History = append([]DecisionOut{now.DecisionOut}, now.History...)
			}
		}
		if now.History != nil {
			out = append(out, now)
		}
	}
	return out
}

func (s *Server) decisionRoutes() {
	const path = "/v1/farms/{farm}/seasons/{year}/decisions"
	tags := []string{"Opening"}
	add(s, Grower, huma.Operation{
		Method: http.MethodPut, Path: path + "/{kind}", OperationID: "put-decision", Tags: tags,
		Summary: "Decide when to open, to tell of the peak, or to close",
		Description: "What the farm decides is kept apart from what is advised, with who decided, when and on which frozen forecast. " +
			"Calendars and public pages follow it, and so does the supply of forecasts made from then on: nobody picks before an announced opening. " +
			"Deciding otherwise keeps the history; deciding the same again on the same forecast changes nothing.",
		Errors: []int{http.StatusNotFound},
	}, func(ctx context.Context, in *putDecision) (*put[DecisionNow], error) {
		var errs []error
		day, err := weather.ParseDate(in.Body.Day)
		if err != nil {
			errs = append(errs, &forecast.FieldError{Field: "day", Reason: notADate})
		}
		d := forecast.Decision{
			Season: in.Year, Kind: forecast.DecisionKind(in.Kind), Day: &day, Forecast: or(in.Body.Forecast, ""),
			Note: oneLine(or(in.Body.Note, "")), DecidedBy: by(ctx), DecidedAt: s.now(),
		}
		farm, err := s.store.Farm(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		if len(errs) == 0 {
			errs = d.Validate(farm)
		}
		if err := invalid(errs); err != nil {
			return nil, err
		}
		return s.decide(ctx, in.Farm, d)
	})
	add(s, Grower, huma.Operation{
		Method: http.MethodDelete, Path: path + "/{kind}", OperationID: "delete-decision", Tags: tags,
		Summary: "Take a decision back", Description: "Its history is kept.", DefaultStatus: http.StatusNoContent,
	}, func(ctx context.Context, in *DecisionPath) (*struct{}, error) {
		_, err := s.decide(ctx, in.Farm, forecast.Decision{
			Season: in.Year, Kind: forecast.DecisionKind(in.Kind), DecidedBy: by(ctx), DecidedAt: s.now(),
		})
		return nil, err
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "list-decisions", Tags: tags, Summary: "Read what was decided of a season",
	}, func(ctx context.Context, in *SeasonPath) (*got[DecisionList], error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		ds, err := s.store.Decisions(ctx, in.Farm, &in.Year)
		if err != nil {
			return nil, err
		}
		return &got[DecisionList]{DecisionList{decisionsNow(ds)}}, nil
	})
}

// decide records a decision on the forecast that it names, or on the season's
// latest.
func (s *Server) decide(ctx context.Context, farm string, d forecast.Decision) (*put[DecisionNow], error) {
	kept, created, err := Decide(ctx, s.store, farm, d)
	if f, ok := errors.AsType[*forecast.FieldError](err); ok {
		err = invalid([]error{f})
	}
	if err != nil {
		return nil, err
	}
	ds, err := s.store.Decisions(ctx, farm, &kept.Season)
	if err != nil {
		return nil, err
	}
	for _, now := range decisionsNow(ds) {
		if now.Kind == string(kept.Kind) {
			return putDone(created, now), nil
		}
	}
	return nil, errors.New("a decision that was just recorded is not there")
}

// Decide records a decision; one that names no forecast is made on the season's
// latest. Errors: [forecast.ErrForecastNotFound] also when the season has none; a
// [*forecast.FieldError] when it does not go with the forecast or with what else
// was decided.
func Decide(ctx context.Context, store Store, farm string, d forecast.Decision) (kept forecast.Decision, created bool, err error) {
	var z forecast.Frozen
	if d.Forecast == "" {
		z, err = store.LatestOfSeason(ctx, farm, d.Season)
	} else {
		z, err = store.Forecast(ctx, farm, d.Forecast)
	}
	if err != nil {
		return forecast.Decision{}, false, err
	}
	if d.Forecast = z.ID; z.Season != d.Season {
		return forecast.Decision{}, false, &forecast.FieldError{Field: "forecast", Reason: fmt.Sprintf("is of season %d, not of %d", z.Season, d.Season)}
	}
	ds, err := store.Decisions(ctx, farm, &d.Season)
	if err != nil {
		return forecast.Decision{}, false, err
	}
	if errs := d.Against(ds); len(errs) > 0 {
		return forecast.Decision{}, false, errs[0]
	}
	return store.PutDecision(ctx, farm, d)
}
