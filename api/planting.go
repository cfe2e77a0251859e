package api

import (
	"context"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// PlantingBody is a planting as it is put.
type PlantingBody struct {
	Variety         string   `json:"variety" doc:"Identifier of its variety."`
	Block           string   `json:"block" doc:"The piece of ground it stands in, a free name."`
	Station         string   `json:"station" doc:"Identifier of the station whose heat it is reckoned with."`
	PlantedOn       string   `json:"planted_on" format:"date" doc:"It bears from the calendar year after."`
	AreaM2          float64  `json:"area_m2" minimum:"0.1" maximum:"10000000" doc:"m²."`
	ExpectedKgPerM2 *float64 `json:"expected_kg_per_m2,omitempty" minimum:"0.001" maximum:"20" doc:"Expected yield, kg/m². Default 1."`
	RemovedOn       *string  `json:"removed_on,omitempty" format:"date" doc:"When it was grubbed out."`
}

// PlantingOut is a planting as it is read.
type PlantingOut struct {
	Planting string `json:"planting"`
	PlantingBody
}

// PlantingPath is the part of a path that names a planting.
type PlantingPath struct {
	FarmPath
	Planting string `path:"planting" pattern:"^[a-z0-9][a-z0-9_-]{0,63}$" doc:"Identifier of the planting, a slug."`
}

type plantingIn struct {
	PlantingPath
	Body PlantingBody
}

func (in *plantingIn) planting() (forecast.Planting, []error) {
	b := in.Body
	p := forecast.Planting{
		ID: in.Planting, Variety: b.Variety, Block: strings.TrimSpace(b.Block), Station: b.Station,
		AreaM2: b.AreaM2, KgPerM2: or(b.ExpectedKgPerM2, forecast.DefaultKgPerM2),
	}
	var errs []error
	date := func(field, text string) weather.Date {
		d, err := weather.ParseDate(text)
		if err != nil {
			errs = append(errs, &forecast.FieldError{Field: field, Reason: "is not a calendar date YYYY-MM-DD of the years 1700 to 2400"})
		}
		return d
	}
	p.PlantedOn = date("planted_on", b.PlantedOn)
	if b.RemovedOn != nil {
		d := date("removed_on", *b.RemovedOn)
		p.RemovedOn = &d
	}
	return p, append(errs, p.Validate()...)
}

// Resolve adds the faults that the schema cannot tell.
func (in *plantingIn) Resolve(huma.Context) []error {
	_, errs := in.planting()
	return errs
}

func plantingOut(p forecast.Planting) PlantingOut {
	out := PlantingOut{p.ID, PlantingBody{
		Variety: p.Variety, Block: p.Block, Station: p.Station, PlantedOn: p.PlantedOn.String(),
		AreaM2: p.AreaM2, ExpectedKgPerM2: some(p.KgPerM2),
	}}
	if p.RemovedOn != nil {
		d := p.RemovedOn.String()
		out.RemovedOn = &d
	}
	return out
}

// PlantingList is a list of plantings.
type PlantingList struct {
	Plantings []PlantingOut `json:"plantings"`
}

func (s *Server) plantingRoutes() {
	thing[PlantingPath, plantingIn, forecast.Planting, PlantingOut, PlantingList]{
		name: "planting", names: "plantings", listed: ", removed ones too",
		id: func(p *PlantingPath) (string, string) { return p.Farm, p.Planting },
		read: func(in *plantingIn) (string, forecast.Planting, error) {
			p, errs := in.planting()
			return in.Farm, p, invalid(errs)
		},
		out:  plantingOut,
		list: func(xs []PlantingOut) PlantingList { return PlantingList{xs} },
		put: func(ctx context.Context, farm string, x forecast.Planting, by string) (bool, error) {
			return s.store.PutPlanting(ctx, farm, x, by, s.now())
		},
		one: s.store.Planting,
		all: s.store.Plantings,
	}.serve(s)
}
