package db_test

import (
	"errors"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

func TestStationIsReadAsItWasPut(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	tower := weather.Station{ID: "tower", Name: "Türm 5 °", Latitude: -0.5, Longitude: 180, Elevation: -12.5, StandIn: "barn", Suspects: weather.UseSuspects}
	must(t)(s.PutStation(t.Context(), "hill", tower, "test", at(1)))
	got, err := s.Station(t.Context(), "hill", "tower")
	if err != nil || got != tower {
		t.Errorf("got %+v, %v", got, err)
	}
	all, err := s.Stations(t.Context(), "hill")
	if diff := cmp.Diff([]weather.Station{barn, tower}, all); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	tower.StandIn = ""
	if created, err := s.PutStation(t.Context(), "hill", tower, "test", at(2)); err != nil || created {
		t.Fatal(created, err)
	}
	if got, err := s.Station(t.Context(), "hill", "tower"); err != nil || got != tower {
		t.Errorf("without a stand-in: %+v, %v", got, err)
	}
	none, err := s.Stations(t.Context(), "dale")
	if err != nil || none == nil || len(none) != 0 {
		t.Errorf("stations of no farm: %#v, %v", none, err)
	}
}

func TestStationThatRefersToNothing(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	if _, err := s.PutStation(t.Context(), "dale", barn, "test", t0); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("on no farm: %v", err)
	}
	tower := weather.Station{ID: "tower", Name: "Tower", StandIn: "mast"}
	if _, err := s.PutStation(t.Context(), "hill", tower, "test", t0); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("with no stand-in: %v", err)
	}
	if _, err := s.Station(t.Context(), "hill", "tower"); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("a station that was refused: %v", err)
	}
	if _, err := s.PutStation(t.Context(), "hill", weather.Station{ID: "tower", Name: "Tower", Latitude: 91}, "test", t0); !errors.Is(err, forecast.ErrInvalid) {
		t.Errorf("beyond the pole: %v", err)
	}
	if n := count(t, pool, "station"); n != 1 {
		t.Errorf("%d stations, want 1", n)
	}
}

// TestManyPutOneThing: those who put the same write one version, those who put
// what differs write one each, in some order.
func TestManyPutOneThing(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	var created atomic.Int32
	var wg sync.WaitGroup
	for i := range 20 {
		wg.Go(func() {
			st := weather.Station{ID: "tower", Name: "Tower", Elevation: float64(i % 2)}
			ok, err := s.PutStation(t.Context(), "hill", st, "test", at(1))
			if err != nil {
				t.Error(err)
			}
			if ok {
				created.Add(1)
			}
		})
	}
	wg.Wait()
	if created.Load() != 1 {
		t.Errorf("created %d times", created.Load())
	}
	var n, last int
	if err := pool.QueryRow(t.Context(), "SELECT count(*), max(version) FROM station_version WHERE station = 'tower'").Scan(&n, &last); err != nil || n != last || n < 2 {
		t.Errorf("%d versions up to number %d, %v", n, last, err)
	}
}
