package db_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/db"
	"ripetide/forecast"
)

func TestFarmIsReadAsItWasPut(t *testing.T) {
	t.Parallel()
	s, pool := open(t)
	full := hill
	full.ThinKgPerDay = 120.5
	full.Opening = forecast.Opening{
		ReadyKg: 300, ReadyShare: 0.25, Confidence: 0.8, NoticeDays: 5,
		Weekdays:       []time.Weekday{time.Saturday, time.Sunday},
		FirstVarieties: 2,
		ReadyKgOn:      [7]float64{time.Saturday: 500.5},
		Channels:       []forecast.Channel{{Name: "Sign at the road", NoticeDays: 0}, {Name: "Weekly paper", NoticeDays: 8}},
	}
	full.Holidays = []forecast.Holiday{{Name: "Midsummer", Rule: "24 June"}, {Name: "Whit Monday", Rule: "50 days after Easter"}}
	dale := forecast.Farm{ID: "dale", Name: "Dale", Latitude: -41.2, Longitude: 174.9, TimeZone: "Pacific/Auckland", Units: forecast.Metric, GapProbability: 1}
	must(t)(s.PutFarm(t.Context(), full, "key ann", t0))
	must(t)(s.PutFarm(t.Context(), dale, "key ann", t0))
	for _, want := range []forecast.Farm{full, dale} {
		got, err := s.Farm(t.Context(), want.ID)
		if diff := cmp.Diff(want, got); err != nil || diff != "" {
			t.Errorf("%s: %v\n%s", want.ID, err, diff)
		}
	}
	farms, err := s.Farms(t.Context())
	if diff := cmp.Diff([]forecast.Farm{dale, full}, farms); err != nil || diff != "" {
		t.Errorf("farms: %v\n%s", err, diff)
	}
	var by string
	if err := pool.QueryRow(t.Context(), "SELECT recorded_by FROM farm_version WHERE farm = 'hill'").Scan(&by); err != nil || by != "key ann" {
		t.Errorf("recorded by %q, %v", by, err)
	}
	if _, err := s.Farm(t.Context(), "moor"); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("a farm that is not there: %v", err)
	}
}

func TestEqualContentIsNoNewVersion(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	jewel := jewel
	jewel.Requirement = &forecast.Requirement{
		FirstRipe: 340, Peak: 400, LastPick: 490,
		Method: forecast.Method{Kind: forecast.Average, Base: 3, Upper: 30, Cutoff: forecast.NoCutoff}, // Upper means nothing.
	}
	north := north
	north.RemovedOn = ptr(date("2027-08-01"))
	opening := hill
	opening.Opening.Weekdays = []time.Weekday{time.Friday}
	put := func(n int) {
		t.Helper()
		ctx := t.Context()
		for name, put := range map[string]func() (bool, error){
			"farm":     func() (bool, error) { return s.PutFarm(ctx, opening, "test", at(n)) },
			"station":  func() (bool, error) { return s.PutStation(ctx, "hill", barn, "test", at(n)) },
			"variety":  func() (bool, error) { return s.PutVariety(ctx, "hill", jewel, "test", at(n)) },
			"planting": func() (bool, error) { return s.PutPlanting(ctx, "hill", north, "test", at(n)) },
		} {
			if created, err := put(); err != nil || created {
				t.Fatalf("%s: created %v, %v", name, created, err)
			}
		}
	}
	put(1)
	put(2)
	for table, want := range map[string]int{"farm_version": 2, "station_version": 1, "variety_version": 2, "planting_version": 2} {
		if n := count(t, pool, table); n != want {
			t.Errorf("%s has %d rows, want %d", table, n, want)
		}
	}
}

func TestVersionsAreReadAsKnown(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	// Each thing is renamed at minute 10, and again by a clock that is behind.
	for i, name := range []string{"Second", "Third"} {
		n := []int{10, 5}[i]
		f, st, v, p := hill, barn, jewel, north
		f.Name, st.Name, v.Name, p.Block = name, name, name, name
		for _, err := range []error{
			second(s.PutFarm(ctx, f, "test", at(n))),
			second(s.PutStation(ctx, "hill", st, "test", at(n))),
			second(s.PutVariety(ctx, "hill", v, "test", at(n))),
			second(s.PutPlanting(ctx, "hill", p, "test", at(n))),
		} {
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	names := func(n int) [4]string {
		t.Helper()
		in, err := s.Inputs(ctx, "hill", at(n))
		if err != nil {
			t.Fatal(err)
		}
		return [4]string{in.Farm.Name, in.Records[0].Station.Name, in.Varieties[0].Name, in.Plantings[0].Block}
	}
	for n, want := range map[int][4]string{
		0:  {"Hill Farm", "Barn", "Jewel", "North"},
		9:  {"Hill Farm", "Barn", "Jewel", "North"},
		10: {"Third", "Third", "Third", "Third"},
		99: {"Third", "Third", "Third", "Third"},
	} {
		if got := names(n); got != want {
			t.Errorf("at minute %d: %q, want %q", n, got, want)
		}
	}
	if _, err := s.Inputs(ctx, "hill", t0.Add(-time.Microsecond)); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("before anything was known: %v", err)
	}
}

func second[T any](_ T, err error) error { return err }

func TestFarmStaysOnItsSideOfTheEquator(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	south := hill
	south.Latitude = -42.3
	add := func(day string) string {
		t.Helper()
		r, err := s.AddSightings(t.Context(), "hill", []forecast.Sighting{
			{Planting: "north", Date: date(day), Stage: forecast.Bloom10, Seen: true},
		}, "test", at(1))
		if err != nil || r[0].Err != nil {
			t.Fatal(err, r)
		}
		return r[0].Sighting.ID
	}
	add("2025-05-08") // Of the season 2025 in both halves of the world.
	november := add("2026-11-03")
	_, err := s.PutFarm(t.Context(), south, "test", at(2))
	if f, ok := errors.AsType[*forecast.FieldError](err); !ok || f.Field != "latitude" {
		t.Fatalf("crossed the equator with a sighting in November: %v", err)
	}
	if err := s.WithdrawSighting(t.Context(), "hill", november, "test", at(3)); err != nil {
		t.Fatal(err)
	}
	if _, err := s.PutFarm(t.Context(), south, "test", at(4)); err != nil {
		t.Fatal(err)
	}
	add("2026-11-03")
	for season, want := range map[int]int{2025: 1, 2026: 0, 2027: 1} {
		got, err := s.Sightings(t.Context(), "hill", db.SightingFilter{Season: &season})
		if err != nil || len(got) != want {
			t.Errorf("season %d has %d sightings, %v, want %d", season, len(got), err, want)
		}
	}
}
