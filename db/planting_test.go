package db_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

func TestPlantingIsReadAsItWasPut(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	south := forecast.Planting{
		ID: "south", Variety: "jewel", Block: "South / low", Station: "barn", PlantedOn: date("1969-12-31"),
		RemovedOn: ptr(date("1970-01-01")), AreaM2: 0.1, KgPerM2: 2.345,
	}
	must(t)(s.PutPlanting(t.Context(), "hill", south, "test", at(1)))
	all, err := s.Plantings(t.Context(), "hill")
	if diff := cmp.Diff([]forecast.Planting{north, south}, all); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	south.RemovedOn = nil
	if created, err := s.PutPlanting(t.Context(), "hill", south, "test", at(2)); err != nil || created {
		t.Fatal(created, err)
	}
	got, err := s.Planting(t.Context(), "hill", "south")
	if diff := cmp.Diff(south, got); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	if _, err := s.Planting(t.Context(), "hill", "west"); !errors.Is(err, forecast.ErrPlantingNotFound) {
		t.Errorf("not there: %v", err)
	}
}

func TestPlantingThatRefersToNothing(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	p := north
	p.Variety, p.Station = "earliglow", "tower"
	_, err := s.PutPlanting(t.Context(), "hill", p, "test", at(1))
	if !errors.Is(err, forecast.ErrVarietyNotFound) || !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("want both faults, got %v", err)
	}
	if _, err := s.PutPlanting(t.Context(), "dale", north, "test", at(1)); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("on no farm: %v", err)
	}
	if got, err := s.Planting(t.Context(), "hill", "north"); err != nil || got != north {
		t.Errorf("changed to %+v, %v", got, err)
	}
}

// TestNothingIsKnownBeforeWhatItRefersTo: the clock of whoever recorded the
// planting was behind that of whoever recorded the variety.
func TestNothingIsKnownBeforeWhatItRefersTo(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	must(t)(s.PutVariety(t.Context(), "hill", forecast.Variety{ID: "late", Name: "Late"}, "test", at(10)))
	must(t)(s.PutStation(t.Context(), "hill", weather.Station{ID: "tower", Name: "Tower"}, "test", at(20)))
	p := north
	p.Variety = "late"
	if _, err := s.PutPlanting(t.Context(), "hill", p, "test", at(5)); err != nil {
		t.Fatal(err)
	}
	p.Station = "tower"
	if _, err := s.PutPlanting(t.Context(), "hill", p, "test", at(5)); err != nil {
		t.Fatal(err)
	}
	st := barn
	st.StandIn = "tower"
	if _, err := s.PutStation(t.Context(), "hill", st, "test", at(5)); err != nil {
		t.Fatal(err)
	}
	for n := range 25 {
		in, err := s.Inputs(t.Context(), "hill", at(n))
		if err != nil {
			t.Fatal(err)
		}
		known := map[string]bool{"": true}
		for _, v := range in.Varieties {
			known[v.ID] = true
		}
		for _, r := range in.Records {
			known[r.Station.ID] = true
		}
		if p := in.Plantings[0]; !known[p.Variety] || !known[p.Station] {
			t.Errorf("at minute %d the planting refers to %s and %s", n, p.Variety, p.Station)
		}
		if in := in.Records[0].Station.StandIn; !known[in] {
			t.Errorf("at minute %d %s stands in", n, in)
		}
	}
	if in, err := s.Inputs(t.Context(), "hill", at(24)); err != nil || in.Plantings[0] != p || in.Records[0].Station != st {
		t.Errorf("in the end: %+v, %v", in.Plantings, err)
	}
}

func TestPlantingIsNotPlantedAfterItsSightings(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	r, err := s.AddSightings(t.Context(), "hill", []forecast.Sighting{
		{Planting: "north", Date: date("2025-05-08"), Stage: forecast.Bloom10, Seen: true},
	}, "test", at(1))
	if err != nil || r[0].Err != nil {
		t.Fatal(err, r)
	}
	p := north
	p.PlantedOn = date("2025-05-09")
	_, err = s.PutPlanting(t.Context(), "hill", p, "test", at(2))
	if f, ok := errors.AsType[*forecast.FieldError](err); !ok || f.Field != "planted_on" {
		t.Fatalf("planted the day after it bloomed: %v", err)
	}
	p.PlantedOn = date("2025-05-08")
	if _, err := s.PutPlanting(t.Context(), "hill", p, "test", at(2)); err != nil {
		t.Error(err)
	}
}
