package db_test

import (
	"errors"
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

// frost is a frost of north.
func frost(day string, share float64) forecast.Frost {
	return forecast.Frost{Planting: "north", Date: date(day), ShareLost: share}
}

// freeze adds frosts at minute n and returns why they were refused.
func freeze(t testing.TB, s *db.Store, n int, fs ...forecast.Frost) []error {
	t.Helper()
	refused, err := s.AddFrosts(t.Context(), "hill", fs, "test", at(n))
	if err != nil {
		t.Fatal(err)
	}
	if len(refused) != len(fs) {
		t.Fatalf("%d answers to %d frosts", len(refused), len(fs))
	}
	return refused
}

// frosts fails the test if other frosts count than those, at minute n.
func frosts(t testing.TB, s *db.Store, n int, want ...forecast.Frost) {
	t.Helper()
	got, err := s.Frosts(t.Context(), "hill", "", nil, nil, ptr(at(n)))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("at minute %d:\n%s", n, diff)
	}
	in, err := s.Inputs(t.Context(), "hill", at(n))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(got, in.Frosts, cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("inputs at minute %d differ from frosts:\n%s", n, diff)
	}
}

func TestFrostsAreReadAsTheyWereAdded(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	south(t, s)
	all := []forecast.Frost{
		{Planting: "north", Date: date("2025-05-11"), ShareLost: 1},
		{Planting: "north", Date: date("2026-05-10"), ShareLost: 0.25, LowC: ptr(-2.5), Note: "black centres"},
		{Planting: "north", Date: date("2026-05-11"), ShareLost: 0.01, LowC: ptr(0.0)},
		{Planting: "south", Date: date("2026-05-11"), ShareLost: 0.5, LowC: ptr(-40.0)},
	}
	kept(t, freeze(t, s, 1, all[3], all[2], all[1], all[0]))
	frosts(t, s, 0)
	frosts(t, s, 1, all...)
	kept(t, freeze(t, s, 2, all...))
	if n := count(t, pool, "frost_version"); n != len(all) {
		t.Errorf("%d rows after the same was sent again, want %d", n, len(all))
	}
	day := func(s string) *weather.Date { return ptr(date(s)) }
	for _, tt := range []struct {
		name, planting string
		from, to       *weather.Date
		want           []forecast.Frost
	}{
		{"all", "", nil, nil, all},
		{"of one planting", "south", nil, nil, all[3:]},
		{"from a date, which is included", "north", day("2026-05-11"), nil, all[2:3]},
		{"to a date, which is included", "", nil, day("2026-05-10"), all[:2]},
	} {
		got, err := s.Frosts(t.Context(), "hill", tt.planting, tt.from, tt.to, nil)
		if diff := cmp.Diff(tt.want, got); diff != "" || err != nil {
			t.Errorf("%s: %v\n%s", tt.name, err, diff)
		}
	}
}

func TestFrostOfTheSameNightReplaces(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	f := frost("2026-05-11", 0.5)
	kept(t, freeze(t, s, 10, f))
	for i, change := range []func(){
		func() { f.ShareLost = 0.6 },
		func() { f.LowC = ptr(-1.0) },
		func() { f.LowC = ptr(-1.5) },
		func() { f.LowC = nil },
		func() { f.Note = "counted again" },
	} {
		change()
		kept(t, freeze(t, s, 20+i, f))
		frosts(t, s, 20+i, f)
	}
	kept(t, freeze(t, s, 15, frost("2026-05-11", 0.7))) // By a clock that is behind.
	frosts(t, s, 19, frost("2026-05-11", 0.5))
	frosts(t, s, 23, frost("2026-05-11", 0.6))
	frosts(t, s, 24, frost("2026-05-11", 0.7))
	if n := count(t, pool, "frost_version"); n != 7 {
		t.Errorf("%d rows are kept, want all 7", n)
	}
}

func TestGoodFrostsAreKeptBadOnesTold(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	with := func(change func(*forecast.Frost)) forecast.Frost {
		f := frost("2026-05-11", 0.5)
		change(&f)
		return f
	}
	for _, tt := range []struct {
		name  string
		f     forecast.Frost
		err   error
		field string
	}{
		{"of no planting", with(func(f *forecast.Frost) { f.Planting = "south" }), forecast.ErrPlantingNotFound, ""},
		{"before it was planted", with(func(f *forecast.Frost) { f.Date = date("2020-04-30") }), forecast.ErrInvalid, "date"},
		{"nothing lost", with(func(f *forecast.Frost) { f.ShareLost = 0 }), forecast.ErrInvalid, "share_lost"},
		{"more lost than there was", with(func(f *forecast.Frost) { f.ShareLost = 1.01 }), forecast.ErrInvalid, "share_lost"},
		{"no number", with(func(f *forecast.Frost) { f.ShareLost = math.NaN() }), forecast.ErrInvalid, "share_lost"},
		{"a low in °F", with(func(f *forecast.Frost) { f.LowC = ptr(28.0) }), forecast.ErrInvalid, "low_c"},
		{"a low of another planet", with(func(f *forecast.Frost) { f.LowC = ptr(-40.1) }), forecast.ErrInvalid, "low_c"},
		{"a long note", with(func(f *forecast.Frost) { f.Note = strings.Repeat("x", 201) }), forecast.ErrInvalid, "note"},
	} {
		refused := freeze(t, s, 1, tt.f, frost("2026-05-11", 0.5))
		if !errors.Is(refused[0], tt.err) || refused[1] != nil || strings.Join(fields(refused[0]), " ") != tt.field {
			t.Errorf("%s: %v", tt.name, refused)
		}
	}
	frosts(t, s, 1, frost("2026-05-11", 0.5))
}

func TestWithdrawFrost(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	f := frost("2026-05-11", 0.5)
	f.LowC = ptr(-2.0)
	kept(t, freeze(t, s, 10, f, frost("2026-05-12", 0.1)))
	withdraw := func(n int, planting string) error {
		return s.WithdrawFrost(t.Context(), "hill", planting, f.Date, "key bob", at(n))
	}
	if err := withdraw(5, "north"); err != nil { // By a clock that is behind.
		t.Fatal(err)
	}
	inTurn(t, pool, "frost_version")
	frosts(t, s, 9)
	frosts(t, s, 10, frost("2026-05-12", 0.1))
	if err := withdraw(20, "north"); !errors.Is(err, forecast.ErrFrostNotFound) {
		t.Errorf("again: %v", err)
	}
	if err := withdraw(20, "west"); !errors.Is(err, forecast.ErrPlantingNotFound) {
		t.Errorf("of no planting: %v", err)
	}
	kept(t, freeze(t, s, 30, f))
	frosts(t, s, 30, f, frost("2026-05-12", 0.1))
	var by string
	var low float64
	if err := pool.QueryRow(t.Context(), "SELECT recorded_by, low_c FROM frost_version WHERE withdrawn").Scan(&by, &low); err != nil || by != "key bob" || low != -2 {
		t.Errorf("a low of %g withdrawn by %q, %v", low, by, err)
	}
}

// TestTwentySeeTheSameFrost: one of them records it, and no one is refused.
func TestTwentySeeTheSameFrost(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			refused, err := s.AddFrosts(t.Context(), "hill", []forecast.Frost{frost("2026-05-11", 0.5)}, "test", at(1))
			if err := errors.Join(append(refused, err)...); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if n := count(t, pool, "frost_version"); n != 1 {
		t.Errorf("recorded %d times", n)
	}
}
