package db_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/feed"
)

// What was known when a forecast was made stays what was known: many people
// record at once, by clocks of which some are behind, while others settle and
// read. Whatever they read they read again when all is over.
func TestWhatIsSettledStaysAsItIs(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	if err := s.Freeze(ctx, frozen("one", "2026-06-01", 0, false)); err != nil {
		t.Fatal(err)
	}
	clock := time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)
	began := time.Now()
	now := func() time.Time { return clock.Add(time.Since(began)) }
	type reading struct {
		known time.Time
		in    forecast.Inputs
	}
	const writers, settlers, times = 6, 3, 25
	var mu sync.Mutex
	var readings []reading
	errs := make(chan error, writers+settlers)
	var wg sync.WaitGroup
	for w := range writers {
		behind := time.Duration(w%3) * 40 * time.Millisecond
		wg.Go(func() {
			for i := range times {
				at := now().Add(-behind)
				time.Sleep(time.Duration(i%4) * time.Millisecond) // A body that takes long to read.
				var err error
				switch w % 3 {
				case 0:
					d := decided(0, forecast.DecideOpening, "")
					d.Day, d.DecidedAt, d.Note = ptr(date("2026-06-01")+weather.Date(i)), at, fmt.Sprint("by ", w)
					_, _, err = s.PutDecision(ctx, "hill", d)
				case 1:
					x := hill
					x.Name = fmt.Sprintf("Hill %d of %d", i, w)
					_, err = s.PutFarm(ctx, x, "test", at)
				default:
					d := weather.Delivery{Source: "test"} // Enough of them to take a while between the first and the commit.
					for k := range weather.Date(800) {
						d.Days = append(d.Days, weather.Day{Date: date("2024-01-01") + k, Min: float64(w), Max: float64(10 + i)})
					}
					_, err = s.AddDays(ctx, "hill", "barn", d, at)
				}
				if err != nil {
					errs <- err
					return
				}
			}
		})
	}
	for range settlers {
		wg.Go(func() {
			for range times {
				time.Sleep(15 * time.Millisecond)
				known, done, err := s.Settle(ctx, "hill", now())
				if err != nil {
					errs <- err
					return
				}
				in, err := s.Inputs(ctx, "hill", known)
				done()
				if err != nil {
					errs <- err
					return
				}
				mu.Lock()
				readings = append(readings, reading{known, in})
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	close(errs)
	for err := range errs {
		t.Error(err)
	}
	seen := map[time.Time]bool{}
	grew, with := map[int]bool{}, 0
	for _, r := range readings {
		if seen[r.known] {
			t.Errorf("%s was settled twice", r.known)
		}
		seen[r.known] = true
		days := daysOf(r.in)
		grew[len(r.in.Decisions)] = true
		with += len(days) / 800
		again, err := s.Inputs(ctx, "hill", r.known)
		if diff := cmp.Diff(r.in.Decisions, again.Decisions); err != nil || diff != "" || r.in.Farm.Name != again.Farm.Name ||
			!slices.Equal(days, daysOf(again)) {
			t.Errorf("known at %s: another story when read again: %v\n%s", r.known, err, diff)
		}
	}
	if len(readings) != settlers*times || len(grew) < 5 || with < 10 {
		t.Errorf("%d readings, %d of them different, %d with days: the test sees too little", len(readings), len(grew), with)
	}
}

// daysOf returns the days of all stations.
func daysOf(in forecast.Inputs) (days []weather.Day) {
	for _, r := range in.Records {
		days = append(days, r.Days.Days()...)
	}
	return days
}

func TestSettlingGoesOn(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	if x, err := s.Settled(t.Context(), "hill"); err != nil || !x.IsZero() {
		t.Errorf("before anything is settled: %s, %v", x, err)
	}
	first, done, err := s.Settle(t.Context(), "hill", at(10))
	if err != nil || !first.Equal(at(10)) {
		t.Fatal(first, err)
	}
	done()
	// By a clock that is behind.
	second, done, err := s.Settle(t.Context(), "hill", at(3))
	if err != nil || !second.Equal(at(10).Add(time.Microsecond)) {
		t.Errorf("settled to %s, %v", second, err)
	}
	done()
	if x, err := s.Settled(t.Context(), "hill"); err != nil || !x.Equal(second) {
		t.Errorf("settled is %s, %v", x, err)
	}
	// What is recorded then is recorded later, whatever the writer's clock says.
	if _, err := s.PutFarm(t.Context(), forecast.Farm{ID: "hill", Name: "Renamed", Latitude: hill.Latitude, Longitude: hill.Longitude, TimeZone: hill.TimeZone, Units: hill.Units, GapProbability: 1}, "test", at(4)); err != nil {
		t.Fatal(err)
	}
	if in, err := s.Inputs(t.Context(), "hill", second); err != nil || in.Farm.Name == "Renamed" {
		t.Errorf("known then: %q, %v", in.Farm.Name, err)
	}
	if in, err := s.Inputs(t.Context(), "hill", second.Add(time.Microsecond)); err != nil || in.Farm.Name != "Renamed" {
		t.Errorf("known after: %q, %v", in.Farm.Name, err)
	}
	if _, _, err := s.Settle(t.Context(), "moor", at(1)); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("of a farm that is not there: %v", err)
	}
}

// However many hold locks while they work, there is a connection left for the
// work.
func TestLocksLeaveConnectionsForTheWork(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var wg sync.WaitGroup
	for i := range 40 {
		wg.Go(func() {
			unlock, got, err := s.Lock(ctx, feed.Key{Farm: "hill", Station: "barn", Feed: fmt.Sprint(i)})
			if err != nil || !got {
				t.Errorf("%d: got %v, %v", i, got, err)
				return
			}
			defer unlock()
			if _, err := s.Farm(ctx, "hill"); err != nil {
				t.Errorf("%d: %v", i, err)
			}
		})
	}
	wg.Wait()
}
