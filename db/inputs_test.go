package db_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

func TestInputsHoldTheWholeFarmAndNoOther(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	ctx := t.Context()
	attic := weather.Station{ID: "attic", Name: "Attic", StandIn: "barn", Suspects: weather.UseSuspects}
	cold := weather.Station{ID: "cold", Name: "Cold", Suspects: weather.LeaveOutSuspects} // The default.
	must(t)(s.PutStation(ctx, "hill", attic, "test", t0))
	must(t)(s.PutStation(ctx, "hill", weather.Station{ID: "cold", Name: "Cold"}, "test", t0))
	// Another farm with the same names.
	dale := hill
	dale.ID = "dale"
	must(t)(s.PutFarm(ctx, dale, "test", t0))
	must(t)(s.PutStation(ctx, "dale", barn, "test", t0))
	must(t)(s.PutVariety(ctx, "dale", jewel, "test", t0))
	must(t)(s.PutPlanting(ctx, "dale", north, "test", t0))
	for i, where := range [][2]string{{"hill", "barn"}, {"hill", "attic"}, {"dale", "barn"}} {
		if _, err := s.AddDays(ctx, where[0], where[1], weather.Delivery{Source: "test", Days: run("2026-04-01", 5+i, float64(i))}, t0); err != nil {
			t.Fatal(err)
		}
		if _, _, err := s.PutOutlook(ctx, where[0], where[1], outlook(0, run("2026-03-01", 2+i, float64(i))), "test", t0); err != nil {
			t.Fatal(err)
		}
		if where[1] != "barn" {
			continue
		}
		r, err := s.AddSightings(ctx, where[0], []forecast.Sighting{noted(seen(forecast.Bloom10, "2026-05-08"), where[0])}, "test", t0)
		if err != nil || r[0].Err != nil {
			t.Fatal(err, r)
		}
	}
	in, err := s.Inputs(ctx, "hill", time.Now().Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	type record struct {
		Station  weather.Station
		Days     []weather.Day
		Outlooks [][]weather.Day
	}
	var records []record
	for _, r := range in.Records {
		rec := record{Station: r.Station, Days: append([]weather.Day{}, r.Days.Days()...)}
		for _, o := range r.Outlooks {
			rec.Outlooks = append(rec.Outlooks, o.Days.Days())
		}
		records = append(records, rec)
	}
	if diff := cmp.Diff([]record{
		{attic, run("2026-04-01", 6, 1), [][]weather.Day{run("2026-03-01", 3, 1)}},
		{barn, run("2026-04-01", 5, 0), [][]weather.Day{run("2026-03-01", 2, 0)}},
		{cold, []weather.Day{}, nil},
	}, records); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(hill, in.Farm); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]forecast.Variety{jewel}, in.Varieties); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]forecast.Planting{north}, in.Plantings); diff != "" {
		t.Error(diff)
	}
	if len(in.Sightings) != 1 || in.Sightings[0].Note != "hill" {
		t.Errorf("sightings %+v", in.Sightings)
	}
	if n := pool.Stat().AcquiredConns(); n != 0 {
		t.Errorf("%d connections are out", n)
	}
}

// TestInputsGiveTheirConnectionBack asks more often than there are
// connections, also for a farm that is not there.
func TestInputsGiveTheirConnectionBack(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	for range 30 {
		if _, err := s.Inputs(t.Context(), "hill", at(1)); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Inputs(t.Context(), "dale", at(1)); err == nil {
			t.Fatal("found a farm that is not there")
		}
	}
}
