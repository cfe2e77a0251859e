package api

import (
	"context"
	"net/http"
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
		Elevation: b.ElevationM, StandIn: or(b.StandIn, ""),
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
	return StationOut{s.ID, StationBody{s.Name, s.Latitude, s.Longitude, s.Elevation, some(s.StandIn)}}
}

// StationList is a list of stations.
type StationList struct {
	Stations []StationOut `json:"stations"`
}

func (s *Server) stationRoutes() {
	add(s, Owner, huma.Operation{
		Method: http.MethodPut, Path: "/v1/farms/{farm}/stations/{station}", OperationID: "put-station", Tags: []string{"Set-up"},
		Summary: "Create or replace a station",
	}, func(ctx context.Context, in *stationIn) (*put[StationOut], error) {
		st := in.station()
		created, err := s.store.PutStation(ctx, in.Farm, st, by(ctx), s.now())
		if err != nil {
			return nil, err
		}
		return putDone(created, stationOut(st)), nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/stations/{station}", OperationID: "get-station", Tags: []string{"Set-up"}, Summary: "Read a station",
	}, func(ctx context.Context, in *StationPath) (*got[StationOut], error) {
		st, err := s.store.Station(ctx, in.Farm, in.Station)
		if err != nil {
			return nil, err
		}
		return &got[StationOut]{stationOut(st)}, nil
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/stations", OperationID: "list-stations", Tags: []string{"Set-up"}, Summary: "List the stations",
	}, func(ctx context.Context, in *FarmPath) (*got[StationList], error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		all, err := s.store.Stations(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		list := StationList{Stations: []StationOut{}}
		for _, st := range all {
			list.Stations = append(list.Stations, stationOut(st))
		}
		return &got[StationList]{list}, nil
	})
}
