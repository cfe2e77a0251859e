package api

import (
	"context"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/weather"
)

// StationBody is a station as it is put.
type StationBody struct {
	Name       string  `json:"name" doc:"1 to 100 characters."`
	Latitude   float64 `json:"latitude" minimum:"-90" maximum:"90" doc:"Degrees north."`
	Longitude  float64 `json:"longitude" minimum:"-180" maximum:"180" doc:"Degrees east."`
	ElevationM float64 `json:"elevation_m" minimum:"-450" maximum:"6000" doc:"m above sea level."`
	StandIn    *string `json:"stand_in" required:"false" doc:"Station whose record stands in for this one's holes, or null."`
	Suspects   string  `json:"suspects" required:"false" enum:"leave_out,use" default:"leave_out" doc:"What forecasts do with days that a test doubts and nobody has judged."`
}

// StationOut is a station as it is read.
type StationOut struct {
	Station string `json:"station"`
	StationBody
}

// StationPath is the part of a path that names a station.
type StationPath struct {
	FarmPath
	Station string `path:"station" pattern:"^[a-z0-9][a-z0-9_-]{0,63}$" doc:"Identifier of the station, a slug."`
}

type stationIn struct {
	StationPath
	Body StationBody
}

func (in *stationIn) station() weather.Station {
	b := in.Body
	return weather.Station{
		ID: in.Station, Name: strings.TrimSpace(b.Name), Latitude: b.Latitude, Longitude: b.Longitude,
		Elevation: b.ElevationM, StandIn: or(b.StandIn, ""), Suspects: weather.SuspectRule(b.Suspects),
	}
}

// Resolve adds the faults that the schema cannot tell.
func (in *stationIn) Resolve(huma.Context) []error {
	var errs []error
	if err := forecast.ValidName(in.Body.Name); err != "" {
		errs = append(errs, &forecast.FieldError{Field: "name", Reason: err})
	}
	if in.Body.StandIn != nil && *in.Body.StandIn == in.Station {
		errs = append(errs, &forecast.FieldError{Field: "stand_in", Reason: "a station cannot stand in for itself"})
	}
	return errs
}

func stationOut(s weather.Station) StationOut {
	return StationOut{s.ID, StationBody{s.Name, s.Latitude, s.Longitude, s.Elevation, some(s.StandIn), string(s.Suspects)}}
}

// StationList is a list of stations.
type StationList struct {
	Stations []StationOut `json:"stations"`
}

func (s *Server) stationRoutes() {
	thing[StationPath, stationIn, weather.Station, StationOut, StationList]{
		name: "station", names: "stations",
		id:   func(p *StationPath) (string, string) { return p.Farm, p.Station },
		read: func(in *stationIn) (string, weather.Station, error) { return in.Farm, in.station(), nil },
		out:  stationOut,
		list: func(xs []StationOut) StationList { return StationList{xs} },
		put: func(ctx context.Context, farm string, x weather.Station, by string) (bool, error) {
			return s.store.PutStation(ctx, farm, x, by, s.now())
		},
		one: s.store.Station,
		all: s.store.Stations,
	}.serve(s)
}
