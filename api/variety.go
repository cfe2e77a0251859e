package api

import (
	"context"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
)

// VarietyBody is a variety as it is put.
type VarietyBody struct {
	Name        string           `json:"name" doc:"1 to 100 characters."`
	Ripens      string           `json:"ripens" enum:"early,early_mid,mid,late_mid,late,very_late" doc:"Ripening class among June-bearers."`
	Requirement *RequirementBody `json:"requirement,omitempty" doc:"The farm's own belief, used as the prior instead of the class's. It holds for its own method only."`
}

// RequirementBody is the heat from bloom to each stage, °C·d.
type RequirementBody struct {
	FirstRipe float64 `json:"first_ripe" minimum:"50" maximum:"2000" doc:"°C·d from bloom_10 to first ripe."`
	Peak      float64 `json:"peak" doc:"°C·d from bloom_10 to the peak, between the other two."`
	LastPick  float64 `json:"last_pick" minimum:"50" maximum:"3000" doc:"°C·d from bloom_10 to the last pick."`
	BaseC     float64 `json:"base_c" minimum:"-10" maximum:"20" doc:"Base temperature it was fitted with, °C."`
	Method    string  `json:"method" enum:"average,clipped average,single triangle,double triangle,single sine,double sine" doc:"Method it was fitted with; the upper cutoff is 30 °C, horizontal."`
}

// VarietyOut is a variety as it is read.
type VarietyOut struct {
	Variety string `json:"variety"`
	VarietyBody
}

// VarietyPath is the part of a path that names a variety.
type VarietyPath struct {
	FarmPath
	Variety string `path:"variety" pattern:"^[a-z0-9][a-z0-9_-]{0,63}$" doc:"Identifier of the variety, a slug."`
}

type varietyIn struct {
	VarietyPath
	Body VarietyBody
}

func (in *varietyIn) variety() (forecast.Variety, error) {
	class, err := forecast.ParseClass(in.Body.Ripens)
	v := forecast.Variety{ID: in.Variety, Name: strings.TrimSpace(in.Body.Name), Ripens: class}
	if r := in.Body.Requirement; r != nil {
		m := forecast.DefaultMethod
		m.Kind, m.Base = forecast.Kind(r.Method), r.BaseC
		v.Requirement = &forecast.Requirement{FirstRipe: r.FirstRipe, Peak: r.Peak, LastPick: r.LastPick, Method: m}
	}
	return v, err
}

// Resolve adds the faults that the schema cannot tell.
func (in *varietyIn) Resolve(huma.Context) []error {
	v, err := in.variety()
	if err != nil {
		return []error{err}
	}
	return v.Validate()
}

func varietyOut(v forecast.Variety) VarietyOut {
	out := VarietyOut{v.ID, VarietyBody{Name: v.Name, Ripens: v.Ripens.String()}}
	if r := v.Requirement; r != nil {
		out.Requirement = &RequirementBody{r.FirstRipe, r.Peak, r.LastPick, r.Method.Base, string(r.Method.Kind)}
	}
	return out
}

// VarietyList is a list of varieties.
type VarietyList struct {
	Varieties []VarietyOut `json:"varieties"`
}

func (s *Server) varietyRoutes() {
	add(s, Owner, huma.Operation{
		Method: http.MethodPut, Path: "/v1/farms/{farm}/varieties/{variety}", OperationID: "put-variety", Tags: []string{"Set-up"},
		Summary: "Create or replace a variety",
	}, func(ctx context.Context, in *varietyIn) (*put[VarietyOut], error) {
		v, err := in.variety()
		if err != nil {
			return nil, err
		}
		created, err := s.store.PutVariety(ctx, in.Farm, v, by(ctx), s.now())
		if err != nil {
			return nil, err
		}
		return putDone(created, varietyOut(v)), nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/varieties/{variety}", OperationID: "get-variety", Tags: []string{"Set-up"}, Summary: "Read a variety",
	}, func(ctx context.Context, in *VarietyPath) (*got[VarietyOut], error) {
		v, err := s.store.Variety(ctx, in.Farm, in.Variety)
		if err != nil {
			return nil, err
		}
		return &got[VarietyOut]{varietyOut(v)}, nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/varieties", OperationID: "list-varieties", Tags: []string{"Set-up"}, Summary: "List the varieties",
	}, func(ctx context.Context, in *FarmPath) (*got[VarietyList], error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		all, err := s.store.Varieties(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		list := VarietyList{Varieties: []VarietyOut{}}
		for _, v := range all {
			list.Varieties = append(list.Varieties, varietyOut(v))
		}
		return &got[VarietyList]{list}, nil
	})
}
