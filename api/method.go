package api

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
)

// MethodBody is a method as it is put.
type MethodBody struct {
	DegreeDays string   `json:"degree_days" enum:"average,clipped average,single triangle,double triangle,single sine,double sine" doc:"How the heat of a day is summed."`
	BaseC      float64  `json:"base_c" minimum:"-10" maximum:"20" doc:"Lower threshold, °C."`
	UpperC     *float64 `json:"upper_c" required:"false" maximum:"60" doc:"Upper threshold, °C, above the lower one. Needed, unless cutoff is none."`
	Cutoff     string   `json:"cutoff" enum:"none,horizontal,intermediate,vertical" doc:"What heat above the upper threshold does. horizontal: it counts as the threshold. intermediate: it takes away again what exceeds it. vertical: it counts nothing."`
	Reason     *string  `json:"reason" required:"false" doc:"Why it was chosen, at most 100 characters."`
}

// MethodShape is a method as it is read.
type MethodShape struct {
	DegreeDays string   `json:"degree_days"`
	BaseC      float64  `json:"base_c" doc:"°C."`
	UpperC     *float64 `json:"upper_c" doc:"°C; null when cutoff is none."`
	Cutoff     string   `json:"cutoff"`
}

// MethodOut is the method that a farm uses. The last three of its own are null
// where the farm never chose.
type MethodOut struct {
	MethodShape
	By      *string           `json:"by" doc:"The name of the key or person who chose it; null: the farm never chose, and this is the default."`
	At      *time.Time        `json:"at" doc:"When it was chosen; null: never."`
	Reason  *string           `json:"reason" doc:"Why, if that was said."`
	History []MethodChoiceOut `json:"history" doc:"Everything that the farm chose, the newest first, which is in use."`
}

// MethodChoiceOut is one choice of a farm.
type MethodChoiceOut struct {
	MethodShape
	By     string    `json:"by"`
	At     time.Time `json:"at"`
	Reason *string   `json:"reason"`
}

type putMethod struct {
	FarmPath
	Body MethodBody

	choice forecast.MethodChoice // What Resolve made of the body.
}

// Resolve adds the faults that the schema cannot tell.
func (in *putMethod) Resolve(huma.Context) []error {
	b := in.Body
	method, errs := forecast.NewMethod(forecast.Kind(b.DegreeDays), b.BaseC, b.UpperC, forecast.Cutoff(b.Cutoff))
	for _, err := range errs {
		if f, ok := errors.AsType[*forecast.FieldError](err); ok && f.Field == "method" {
			f.Field = "degree_days"
		}
	}
	reason := strings.TrimSpace(or(b.Reason, ""))
	if fault := forecast.ValidName(reason); reason != "" && fault != "" {
		errs = append(errs, &forecast.FieldError{Field: "reason", Reason: fault})
	}
	in.choice = forecast.MethodChoice{Method: method, Reason: reason}
	return errs
}

func methodShape(m forecast.Method) MethodShape {
	shape := MethodShape{DegreeDays: string(m.Kind), BaseC: m.Base, Cutoff: string(m.Cutoff)}
	if m.Cutoff != forecast.NoCutoff {
		shape.UpperC = &m.Upper
	}
	return shape
}

func (s *Server) methodRoutes() {
	const path = "/v1/farms/{farm}/method"
	// An owner: recording adds to what is known, but this changes every date of
	// every planting, from the next forecast on.
	add(s, Owner, huma.Operation{
		Method: http.MethodPut, Path: path, OperationID: "put-method", Tags: []string{"Set-up"},
		Summary: "Choose how the farm sums degree-days",
		Description: "Every date is reckoned by it from the next forecast on, which is why only an owner may choose; " +
			"frozen forecasts stay as they are. Earlier choices are kept, and one of them can be put again. " +
			"Putting what is in use, for the same reason, changes nothing.",
	}, func(ctx context.Context, in *putMethod) (*put[MethodOut], error) {
		c := in.choice
		c.By, c.At = callerOf(ctx).Name, s.now()
		created, err := s.store.PutMethod(ctx, in.Farm, c, by(ctx))
		if err != nil {
			return nil, err
		}
		out, err := s.method(ctx, in.Farm)
		return putDone(created, out), err
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "get-method", Tags: []string{"Set-up"},
		Summary: "Read how the farm sums degree-days, and what it chose before",
	}, func(ctx context.Context, in *FarmPath) (*got[MethodOut], error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		out, err := s.method(ctx, in.Farm)
		return &got[MethodOut]{out}, err
	})
}

// method returns the method of a farm that exists.
func (s *Server) method(ctx context.Context, farm string) (MethodOut, error) {
	choices, err := s.store.Methods(ctx, farm)
	if err != nil {
		return MethodOut{}, err
	}
	out := MethodOut{MethodShape: methodShape(forecast.DefaultMethod), History: []MethodChoiceOut{}}
	for _, c := range choices {
		out.History = append(out.History, MethodChoiceOut{methodShape(c.Method), c.By, c.At, some(c.Reason)})
	}
	if len(choices) > 0 {
		first := &out.History[0]
		out.MethodShape, out.By, out.At, out.Reason = first.MethodShape, &first.By, &first.At, first.Reason
	}
	return out, nil
}
