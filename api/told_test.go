package api_test

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"ripetide/api"
	"ripetide/forecast"
)

// countingStore is a farm that shows itself; it counts what it is asked, and its
// state is told only once it is let.
type countingStore struct {
	api.Store
	states, farms, decisions atomic.Int32
	state                    atomic.Pointer[string]
	let                      chan struct{}
}

func (c *countingStore) ToldState(context.Context, string) (string, time.Time, error) {
	c.states.Add(1)
	<-c.let
	return *c.state.Load(), time.Unix(0, 0), nil
}

func (c *countingStore) Farm(context.Context, string) (forecast.Farm, error) {
	c.farms.Add(1)
	return forecast.Farm{ID: "a", Name: "Hollow Farm", Latitude: 48, TimeZone: "Europe/Berlin", Units: forecast.Metric}, nil
}

func (*countingStore) Announcing(context.Context, string) (forecast.Announcing, error) {
	return forecast.Announcing{Public: forecast.PublicPage{On: true}}, nil
}

func (c *countingStore) Decisions(context.Context, string, *int) ([]forecast.Decision, error) {
	c.decisions.Add(1)
	return nil, nil
}

func (*countingStore) Varieties(context.Context, string) ([]forecast.Variety, error) { return nil, nil }

func (*countingStore) LatestForecast(context.Context, string) (forecast.Frozen, error) {
	return forecast.Frozen{}, forecast.ErrForecastNotFound
}

// However many ask at once, the database is asked once for the state of the
// farm's record, and for the record itself once for each state.
func TestCrowdsDoNotReachTheDatabase(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		store := &countingStore{let: make(chan struct{})}
		state := "1"
		store.state.Store(&state)
		s := api.New(api.Config{Store: store, Now: time.Now, Log: slog.New(slog.DiscardHandler), Version: "test"})
		crowd := func() {
			var wg sync.WaitGroup
			for i := range 200 {
				wg.Go(func() {
					path := []string{"/at/a/ripe.svg", "/at/a/ripe.svg?width=1200&theme=dark", "/at/a/changes.atom"}[i%3]
					w := httptest.NewRecorder()
					s.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, path, nil))
					if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "Hollow Farm") {
						t.Errorf("%s: %d %.200s", path, w.Code, w.Body)
					}
				})
			}
			synctest.Wait() // All of them wait for the one that asks.
			store.let <- struct{}{}
			wg.Wait()
		}
		crowd()
		if a, b, c := store.states.Load(), store.farms.Load(), store.decisions.Load(); a != 1 || b != 1 || c != 1 {
			t.Errorf("a crowd asks for the state %d times, for the farm %d and for decisions %d", a, b, c)
		}
		crowd()
		if a, b, c := store.states.Load(), store.farms.Load(), store.decisions.Load(); a != 2 || b != 1 || c != 1 {
			t.Errorf("the next asks in all for the state %d times, for the farm %d and for decisions %d", a, b, c)
		}
		changed := "2"
		store.state.Store(&changed)
		crowd()
		if a, b, c := store.states.Load(), store.farms.Load(), store.decisions.Load(); a != 3 || b != 2 || c != 2 {
			t.Errorf("after a change: state %d, farm %d, decisions %d", a, b, c)
		}
	})
}
