package db_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
)

// frozen returns a forecast of hill made at minute n.
func frozen(id, asOf string, n int, hindcast bool) forecast.Frozen {
	return forecast.Frozen{
		ID: id, Farm: "hill", Season: date(asOf).Year(), AsOf: date(asOf), KnownAt: at(n), MadeAt: at(n),
		Hindcast: hindcast, Program: "v1.2.3", Body: []byte("{\"id\":\"" + id + "\", \"\\u0000\": 1e0}\n\xff"),
	}
}

func TestFrozenForecastIsServedByteForByte(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	want := frozen("one", "2026-06-01", 1, false)
	want.KnownAt = at(0)
	if err := s.Freeze(t.Context(), want); err != nil {
		t.Fatal(err)
	}
	got, err := s.Forecast(t.Context(), "hill", "one")
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	forged := want
	forged.Body = []byte("forged")
	if err := s.Freeze(t.Context(), forged); err == nil {
		t.Error("frozen twice under one id")
	}
	for _, where := range [][2]string{{"hill", "two"}, {"dale", "one"}, {"hill", "\x00"}} {
		_, err := s.Forecast(t.Context(), where[0], where[1])
		if !errors.Is(err, forecast.ErrForecastNotFound) && !errors.Is(err, forecast.ErrInvalid) {
			t.Errorf("%q: %v", where, err)
		}
	}
	stray := want
	stray.Farm = "dale"
	if err := s.Freeze(t.Context(), stray); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("of no farm: %v", err)
	}
}

func TestLatestForecasts(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	if _, err := s.LatestForecast(ctx, "hill"); !errors.Is(err, forecast.ErrForecastNotFound) {
		t.Errorf("none yet: %v", err)
	}
	for _, f := range []forecast.Frozen{
		frozen("hindcast24", "2024-06-05", 1, true),
		frozen("hindcast24late", "2024-06-20", 2, true),
		frozen("hindcast25", "2025-06-30", 3, true),
		frozen("first25", "2025-06-01", 4, false),
		frozen("ahead26", "2026-07-10", 5, false), // By a clock that was ahead.
		frozen("morning26", "2026-06-02", 6, false),
		frozen("again26", "2026-06-02", 7, false),
		frozen("late26", "2026-06-01", 7, true), // Made later, for an earlier morning.
		frozen("hindcast26", "2026-06-03", 8, true),
	} {
		if err := s.Freeze(ctx, f); err != nil {
			t.Fatal(err)
		}
	}
	if f, err := s.LatestForecast(ctx, "hill"); err != nil || f.ID != "again26" {
		t.Errorf("latest is %s, %v", f.ID, err)
	}
	for season, want := range map[int]string{2024: "hindcast24late", 2025: "first25", 2026: "again26"} {
		if f, err := s.LatestOfSeason(ctx, "hill", season); err != nil || f.ID != want || len(f.Body) == 0 {
			t.Errorf("latest of %d is %s, %v, want %s", season, f.ID, err, want)
		}
	}
	if _, err := s.LatestOfSeason(ctx, "hill", 2023); !errors.Is(err, forecast.ErrForecastNotFound) {
		t.Errorf("of a season without any: %v", err)
	}
	list := func(season *int) (ids []string) {
		t.Helper()
		forecasts, err := s.Forecasts(ctx, "hill", season)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range forecasts {
			if f.Body != nil {
				t.Error("a list with bodies")
			}
			ids = append(ids, f.ID)
		}
		return ids
	}
	if diff := cmp.Diff([]string{
		"ahead26", "hindcast26", "again26", "morning26", "late26", "hindcast25", "first25", "hindcast24late", "hindcast24",
	}, list(nil)); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]string{"hindcast24late", "hindcast24"}, list(ptr(2024))); diff != "" {
		t.Error(diff)
	}
}

func TestPreviousForecast(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	other := hill
	other.ID = "dale"
	must(t)(s.PutFarm(ctx, other, "test", t0))
	elsewhere := frozen("dale", "2026-06-04", 1, false)
	elsewhere.Farm = "dale"
	for _, f := range []forecast.Frozen{
		elsewhere,
		frozen("last year", "2025-12-31", 2, false),
		frozen("first", "2026-06-01", 3, false),
		frozen("second", "2026-06-03", 4, false),
		frozen("second again", "2026-06-03", 5, false),
		frozen("second afterwards", "2026-06-03", 6, true),
		frozen("hindcast", "2026-06-05", 7, true),
		frozen("hindcast again", "2026-06-05", 8, true),
	} {
		if err := s.Freeze(ctx, f); err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct {
		before string
		known  int    // Minutes.
		want   string // "": none.
	}{
		{"2026-06-01", 9, ""},
		{"2026-06-02", 9, "first"},
		{"2026-06-03", 9, "first"}, // Earlier than that morning.
		{"2026-06-04", 9, "second again"},
		{"2026-06-05", 9, "second again"},
		{"2026-06-06", 9, "hindcast again"},
		{"2026-06-06", 7, "hindcast"}, // Made in that very minute.
		{"2026-06-06", 6, "second again"},
		{"2026-06-06", 4, "second"},
		{"2026-06-06", 2, ""},
	} {
		f, ok, err := s.Previous(ctx, "hill", 2026, date(tt.before), at(tt.known))
		if err != nil || ok != (tt.want != "") || f.ID != tt.want {
			t.Errorf("before %s, known at minute %d: %q, %t, %v, want %q", tt.before, tt.known, f.ID, ok, err, tt.want)
		}
	}
	if f, ok, err := s.Previous(ctx, "hill", 2026, date("2026-06-06"), at(9)); err != nil || !ok || len(f.Body) == 0 || f.KnownAt != at(8) {
		t.Errorf("%+v, %t, %v", f, ok, err)
	}
}
