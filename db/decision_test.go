package db_test

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

// decided is a decision at minute n.
func decided(n int, kind forecast.DecisionKind, day string) forecast.Decision {
	d := forecast.Decision{Season: 2026, Kind: kind, Forecast: "one", DecidedAt: at(n), DecidedBy: "key ann"}
	if day != "" {
		d.Day = ptr(date(day))
	}
	return d
}

func TestDecisionsAreKeptInVersions(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	if _, _, err := s.PutDecision(ctx, "hill", decided(0, forecast.DecideOpening, "2026-06-13")); !errors.Is(err, forecast.ErrForecastNotFound) {
		t.Errorf("on a forecast that is not there: %v", err)
	}
	if err := s.Freeze(ctx, frozen("one", "2026-06-01", 0, false)); err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.PutDecision(ctx, "moor", decided(0, forecast.DecideOpening, "2026-06-13")); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("on a farm that is not there: %v", err)
	}
	if _, _, err := s.PutDecision(ctx, "hill", decided(0, forecast.DecideOpening, "")); !errors.Is(err, forecast.ErrDecisionNotFound) {
		t.Errorf("nothing to take back: %v", err)
	}
	var want []forecast.Decision
	for i, x := range []struct {
		day              string
		minute           int
		version, at      int
		created, repeats bool
	}{
		{day: "2026-06-13", minute: 1, version: 1, at: 1, created: true},
		{day: "2026-06-13", minute: 2, version: 1, at: 1, repeats: true},
		{day: "2026-06-14", minute: 3, version: 2, at: 3},
		{day: "", minute: 4, version: 3, at: 4},
		{day: "2026-06-14", minute: 5, version: 4, at: 5},
	} {
		d := decided(x.minute, forecast.DecideOpening, x.day)
		kept, created, err := s.PutDecision(ctx, "hill", d)
		d.Version, d.DecidedAt = x.version, at(x.at)
		if diff := cmp.Diff(d, kept); err != nil || created != x.created || diff != "" {
			t.Errorf("%d: created %v, %v\n%s", i, created, err, diff)
		}
		if !x.repeats {
			want = append(want, d)
		}
	}
	if _, _, err := s.PutDecision(ctx, "hill", decided(6, forecast.DecideClosing, "2026-07-05")); err != nil {
		t.Fatal(err)
	}
	got, err := s.Decisions(ctx, "hill", ptr(2026))
	if diff := cmp.Diff(want, got[1:]); err != nil || diff != "" || got[0].Kind != forecast.DecideClosing {
		t.Errorf("%v %v\n%s", got[0], err, diff)
	}
	if got, err := s.Decisions(ctx, "hill", ptr(2025)); err != nil || len(got) != 0 {
		t.Errorf("of another season: %v, %v", got, err)
	}
	in, err := s.Inputs(ctx, "hill", at(3))
	if err != nil || len(in.Decisions) != 2 {
		t.Fatalf("known at minute 3: %v, %v", in.Decisions, err)
	}
	if d, ok := forecast.Decided(in.Decisions, 2026, forecast.DecideOpening); !ok || d != date("2026-06-14") {
		t.Errorf("at minute 3 it was to open on %s, %v", d, ok)
	}
}

// Many people decide at once: every decision has a number of its own, and none
// is lost.
func TestDecisionsAtOnceAreAllKept(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	if err := s.Freeze(t.Context(), frozen("one", "2026-06-01", 0, false)); err != nil {
		t.Fatal(err)
	}
	const n = 20
	errs := make([]error, n)
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() {
			d := decided(i, forecast.DecideOpening, "")
			d.Day = ptr(date("2026-06-01") + weather.Date(i))
			_, _, errs[i] = s.PutDecision(t.Context(), "hill", d)
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	var rows, last int
	var newest time.Time
	if err := pool.QueryRow(t.Context(), "SELECT count(*), max(version), max(decided_at) FROM decision_version").Scan(&rows, &last, &newest); err != nil {
		t.Fatal(err)
	}
	if rows != n || last != n {
		t.Errorf("%d rows, last version %d, want %d", rows, last, n)
	}
}
