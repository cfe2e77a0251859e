package weather_test

import (
	"errors"
	"math"
	"testing"

	"ripetide/weather"
)

func TestStationValidate(t *testing.T) {
	t.Parallel()
	good := weather.Station{ID: "barn", Name: "Behind the barn", Latitude: 42.3, Longitude: -83.7, Elevation: 274}
	for _, tt := range []struct {
		name   string
		change func(*weather.Station)
		ok     bool
	}{
		{"as it is", func(*weather.Station) {}, true},
		{"with a stand-in", func(s *weather.Station) { s.StandIn = "airport" }, true},
		{"at the south pole", func(s *weather.Station) { s.Latitude, s.Longitude, s.Elevation = -90, -180, 2835 }, true},
		{"on the Dead Sea", func(s *weather.Station) { s.Elevation = -430 }, true},
		{"at the bounds", func(s *weather.Station) { s.Latitude, s.Longitude, s.Elevation = 90, 180, 6000 }, true},
		{"without an id", func(s *weather.Station) { s.ID = "" }, false},
		{"without a name", func(s *weather.Station) { s.Name = "" }, false},
		{"latitude out of range", func(s *weather.Station) { s.Latitude = 90.1 }, false},
		{"latitude not a number", func(s *weather.Station) { s.Latitude = math.NaN() }, false},
		{"longitude out of range", func(s *weather.Station) { s.Longitude = -180.1 }, false},
		{"longitude not a number", func(s *weather.Station) { s.Longitude = math.NaN() }, false},
		{"elevation in feet", func(s *weather.Station) { s.Elevation = 9000 }, false},
		{"below the Dead Sea", func(s *weather.Station) { s.Elevation = -451 }, false},
		{"elevation not a number", func(s *weather.Station) { s.Elevation = math.NaN() }, false},
		{"standing in for itself", func(s *weather.Station) { s.StandIn = "barn" }, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := good
			tt.change(&s)
			if err := s.Validate(); (err == nil) != tt.ok || !tt.ok && !errors.Is(err, weather.ErrInvalidStation) {
				t.Errorf("got %v, want ok %t", err, tt.ok)
			}
		})
	}
}
