package api

import (
	"context"
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
	thing[VarietyPath, varietyIn, forecast.Variety, VarietyOut, VarietyList]{
		name: "variety", names: "varieties",
		id: func(p *VarietyPath) (string, string) { return p.Farm, p.Variety },
		read: func(in *varietyIn) (string, forecast.Variety, error) {
			v, err := in.variety()
			return in.Farm, v, err
		},
		out:  varietyOut,
		list: func(xs []VarietyOut) VarietyList { return VarietyList{xs} },
		put: func(ctx context.Context, farm string, x forecast.Variety, by string) (bool, error) {
			return s.store.PutVariety(ctx, farm, x, by, s.now())
		},
		one: s.store.Variety,
		all: s.store.Varieties,
	}.serve(s)
}
