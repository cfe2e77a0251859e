package db_test

import (
	"errors"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/jackc/pgx/v5"

	"ripetide/db"
	"ripetide/forecast"
)

func seen(stage forecast.Stage, day string) forecast.Sighting {
	return forecast.Sighting{Planting: "north", Date: date(day), Stage: stage, Seen: true}
}

func notYet(stage forecast.Stage, day string) forecast.Sighting {
	return forecast.Sighting{Planting: "north", Date: date(day), Stage: stage}
}

func noted(s forecast.Sighting, note string) forecast.Sighting {
	s.Note = note
	return s
}

func sight(t testing.TB, s *db.Store, n int, sightings ...forecast.Sighting) []db.SightingResult {
	t.Helper()
	results, err := s.AddSightings(t.Context(), "hill", sightings, "test", at(n))
	if err != nil {
		t.Fatal(err)
	}
	if len(results) != len(sightings) {
		t.Fatalf("%d results of %d sightings", len(results), len(sightings))
	}
	return results
}

// good fails the test if a sighting was refused, and returns their ids.
func good(t testing.TB, results []db.SightingResult) []string {
	t.Helper()
	var ids []string
	for _, r := range results {
		if r.Err != nil || r.Sighting.ID == "" {
			t.Fatalf("%+v", r)
		}
		ids = append(ids, r.Sighting.ID)
	}
	return ids
}

// current fails the test if other sightings count than those, at minute n.
func current(t testing.TB, s *db.Store, n int, want ...forecast.Sighting) {
	t.Helper()
	got, err := s.Sightings(t.Context(), "hill", db.SightingFilter{KnownAt: ptr(at(n))})
	if err != nil {
		t.Fatal(err)
	}
	withoutID := cmpopts.IgnoreFields(forecast.Sighting{}, "ID")
	if diff := cmp.Diff(want, got, withoutID, cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("at minute %d:\n%s", n, diff)
	}
	in, err := s.Inputs(t.Context(), "hill", at(n))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(got, in.Sightings, cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("inputs at minute %d differ from sightings:\n%s", n, diff)
	}
}

func TestSightingsAreReadAsTheyWereAdded(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	all := []forecast.Sighting{
		notYet(forecast.Bloom10, "2026-05-06"),
		noted(seen(forecast.Bloom10, "2026-05-08"), "row 3, ein „Anfang“"),
		seen(forecast.BloomFull, "2026-05-08"),
		notYet(forecast.FirstRipe, "2026-06-08"),
		seen(forecast.FirstRipe, "2026-06-10"),
		seen(forecast.Peak, "2026-06-10"),
	}
	ids := good(t, sight(t, s, 1, all...))
	current(t, s, 1, all...)
	current(t, s, 0)
	if again := good(t, sight(t, s, 2, all...)); !cmp.Equal(again, ids) {
		t.Errorf("the same again got other ids: %v, %v", again, ids)
	}
	seasons := func(f db.SightingFilter) int {
		t.Helper()
		got, err := s.Sightings(t.Context(), "hill", f)
		if err != nil || got == nil {
			t.Fatal(got, err)
		}
		return len(got)
	}
	good(t, sight(t, s, 3, seen(forecast.Bloom10, "2025-05-20")))
	for want, f := range map[int]db.SightingFilter{
		7: {}, 6: {Season: ptr(2026)}, 1: {Season: ptr(2025), Planting: "north"}, 0: {Planting: "south"},
	} {
		if got := seasons(f); got != want {
			t.Errorf("%+v: %d sightings, want %d", f, got, want)
		}
	}
}

func TestSeenOnAnotherDateReplaces(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	first := good(t, sight(t, s, 10, seen(forecast.Bloom10, "2026-05-08")))[0]
	second := good(t, sight(t, s, 20, seen(forecast.Bloom10, "2026-05-10")))[0]
	third := good(t, sight(t, s, 15, noted(seen(forecast.Bloom10, "2026-05-10"), "sure")))[0] // By a clock that is behind.
	other := good(t, sight(t, s, 30, seen(forecast.Bloom10, "2025-05-01")))[0]                // Another season.
	current(t, s, 10, seen(forecast.Bloom10, "2026-05-08"))
	current(t, s, 19, seen(forecast.Bloom10, "2026-05-08"))
	current(t, s, 20, noted(seen(forecast.Bloom10, "2026-05-10"), "sure"))
	current(t, s, 30, seen(forecast.Bloom10, "2025-05-01"), noted(seen(forecast.Bloom10, "2026-05-10"), "sure"))

	rows, _ := pool.Query(t.Context(), "SELECT id, replaced_by FROM sighting_end")
	replaced := map[string]string{}
	var id, by string
	if _, err := pgx.ForEachRow(rows, []any{&id, &by}, func() error { replaced[id] = by; return nil }); err != nil {
		t.Fatal(err)
	}
	if want := map[string]string{first: second, second: third}; !cmp.Equal(replaced, want) {
		t.Errorf("replaced %v, want %v (and not %s)", replaced, want, other)
	}
	if n := count(t, pool, "sighting"); n != 4 {
		t.Errorf("%d sightings are kept, want 4", n)
	}
}

func TestNotYetAgain(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	a := good(t, sight(t, s, 1, notYet(forecast.Peak, "2026-06-01"), notYet(forecast.Peak, "2026-06-03")))
	b := good(t, sight(t, s, 2, notYet(forecast.Peak, "2026-06-01")))
	if a[0] != b[0] || count(t, pool, "sighting") != 2 {
		t.Errorf("recorded again: %v, %v", a, b)
	}
	good(t, sight(t, s, 3, noted(notYet(forecast.Peak, "2026-06-01"), "still green")))
	current(t, s, 3, noted(notYet(forecast.Peak, "2026-06-01"), "still green"), notYet(forecast.Peak, "2026-06-03"))
}

func TestOneBatchOneAfterAnother(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	ids := good(t, sight(t, s, 1,
		seen(forecast.Bloom10, "2026-05-08"),
		seen(forecast.Bloom10, "2026-05-09"),
		seen(forecast.Bloom10, "2026-05-09"),
	))
	if ids[0] == ids[1] || ids[1] != ids[2] {
		t.Errorf("ids %v", ids)
	}
	current(t, s, 1, seen(forecast.Bloom10, "2026-05-09"))
	if n := count(t, pool, "sighting"); n != 2 {
		t.Errorf("%d rows, want 2", n)
	}
}

func TestGoodSightingsAreKeptBadOnesTold(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	bad := seen(forecast.Bloom10, "2026-05-08")
	bad.Planting = "south"
	results := sight(t, s, 1,
		bad,
		seen(forecast.Bloom10, "2026-05-08"),
		seen(forecast.Bloom10, "2020-04-30"),
		seen(forecast.FirstRipe, "2026-05-07"),
		seen(forecast.Stage(9), "2026-06-10"),
		seen(forecast.FirstRipe, "2026-06-10"),
	)
	for i, want := range []error{
		forecast.ErrPlantingNotFound, nil, forecast.ErrInvalid, forecast.ErrStagesOutOfOrder, forecast.ErrInvalid, nil,
	} {
		r := results[i]
		if !errors.Is(r.Err, want) || (r.Sighting.ID == "") != (want != nil) {
			t.Errorf("sighting %d: %+v, want %v", i, r, want)
		}
	}
	if f, ok := errors.AsType[*forecast.FieldError](results[2].Err); !ok || f.Field != "date" || !strings.Contains(f.Reason, "2020-05-01") {
		t.Errorf("before it was planted: %v", results[2].Err)
	}
	if o, ok := errors.AsType[*forecast.OrderError](results[3].Err); !ok || o.Other.ID != results[1].Sighting.ID {
		t.Errorf("out of order: %+v", results[3].Err)
	}
	current(t, s, 1, seen(forecast.Bloom10, "2026-05-08"), seen(forecast.FirstRipe, "2026-06-10"))
	if _, err := s.AddSightings(t.Context(), "dale", []forecast.Sighting{bad}, "test", at(1)); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("on no farm: %v", err)
	}
}

// TestOrderIsCheckedAgainstTheRecord: the order counts what is on record, of
// the same planting and season, and not what was replaced or withdrawn.
func TestOrderIsCheckedAgainstTheRecord(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	south := north
	south.ID = "south"
	must(t)(s.PutPlanting(t.Context(), "hill", south, "test", t0))
	refused := func(n int, x forecast.Sighting) {
		t.Helper()
		if r := sight(t, s, n, x)[0]; !errors.Is(r.Err, forecast.ErrStagesOutOfOrder) {
			t.Errorf("%+v: %v, want a refusal", x, r.Err)
		}
	}
	ids := good(t, sight(t, s, 1, seen(forecast.Bloom10, "2026-05-08"), seen(forecast.FirstRipe, "2026-06-10")))
	refused(2, seen(forecast.Bloom10, "2026-06-10"))
	refused(2, seen(forecast.LastPick, "2026-06-10"))
	refused(2, notYet(forecast.FirstRipe, "2026-06-10"))
	refused(2, notYet(forecast.BloomFull, "2026-06-11"))
	good(t, sight(t, s, 3, seen(forecast.Bloom10, "2025-06-20"))) // Another season.
	elsewhere := seen(forecast.Bloom10, "2026-06-20")
	elsewhere.Planting = "south"
	good(t, sight(t, s, 3, elsewhere))
	good(t, sight(t, s, 4, seen(forecast.FirstRipe, "2026-06-15"))) // Replaces the 10th.
	good(t, sight(t, s, 5, notYet(forecast.FirstRipe, "2026-06-10"), seen(forecast.Bloom10, "2026-06-10")))
	if err := s.WithdrawSighting(t.Context(), "hill", ids[1], "test", at(6)); !errors.Is(err, forecast.ErrSightingNotFound) {
		t.Errorf("withdrew what was replaced: %v", err)
	}
}

func TestWithdrawSighting(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	ids := good(t, sight(t, s, 10, seen(forecast.Bloom10, "2026-05-08"), seen(forecast.FirstRipe, "2026-06-10")))
	if err := s.WithdrawSighting(t.Context(), "hill", ids[1], "key bob", at(5)); err != nil { // By a clock that is behind.
		t.Fatal(err)
	}
	current(t, s, 9)
	current(t, s, 10, seen(forecast.Bloom10, "2026-05-08"))
	for name, err := range map[string]error{
		"again":           s.WithdrawSighting(t.Context(), "hill", ids[1], "test", at(20)),
		"never there":     s.WithdrawSighting(t.Context(), "hill", "none", "test", at(20)),
		"of another farm": s.WithdrawSighting(t.Context(), "dale", ids[0], "test", at(20)),
	} {
		if !errors.Is(err, forecast.ErrSightingNotFound) {
			t.Errorf("%s: %v", name, err)
		}
	}
	var by string
	if err := pool.QueryRow(t.Context(), "SELECT ended_by FROM sighting_end WHERE replaced_by IS NULL").Scan(&by); err != nil || by != "key bob" {
		t.Errorf("ended by %q, %v", by, err)
	}
	var early int
	if err := pool.QueryRow(t.Context(), "SELECT count(*) FROM sighting_end JOIN sighting USING (farm, id) WHERE ended_at < recorded_at").Scan(&early); err != nil || early != 0 {
		t.Errorf("%d sightings ended before they were recorded, %v", early, err)
	}
	again := good(t, sight(t, s, 30, seen(forecast.FirstRipe, "2026-06-10")))
	if again[0] == ids[1] {
		t.Error("a withdrawn sighting came back to life")
	}
}

// TestManySeeTheSame: one of them records it, and all are told its id.
func TestManySeeTheSame(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	ids := make([]string, 30)
	var wg sync.WaitGroup
	for i := range ids {
		wg.Go(func() {
			r, err := s.AddSightings(t.Context(), "hill", []forecast.Sighting{seen(forecast.Bloom10, "2026-05-08")}, "test", at(1))
			if err != nil || r[0].Err != nil {
				t.Error(err, r)
				return
			}
			ids[i] = r[0].Sighting.ID
		})
	}
	wg.Wait()
	if n := count(t, pool, "sighting"); n != 1 {
		t.Errorf("recorded %d times", n)
	}
	for _, id := range ids {
		if id != ids[0] {
			t.Fatalf("ids %v", ids)
		}
	}
}

// TestContradictingWriters: of two that contradict each other one is refused,
// whoever is first.
func TestContradictingWriters(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	south := north
	south.ID = "south"
	must(t)(s.PutPlanting(t.Context(), "hill", south, "test", t0))
	for year := 2021; year < 2031; year++ {
		day := date("2000-06-01").InYear(year)
		var refused [2]bool
		var wg sync.WaitGroup
		for i, stage := range []forecast.Stage{forecast.LastPick, forecast.Bloom10} {
			wg.Go(func() {
				// Both plantings in both orders: no deadlock either.
				batch := []forecast.Sighting{
					{Planting: "north", Date: day, Stage: stage, Seen: true},
					{Planting: "south", Date: day, Stage: forecast.Peak},
				}
				if i == 1 {
					batch[0], batch[1] = batch[1], batch[0]
				}
				r, err := s.AddSightings(t.Context(), "hill", batch, "test", at(1))
				if err != nil {
					t.Error(err)
					return
				}
				refused[i] = errors.Is(r[i].Err, forecast.ErrStagesOutOfOrder)
			})
		}
		wg.Wait()
		if refused[0] == refused[1] {
			t.Errorf("%d: refused %v, want exactly one", year, refused)
		}
	}
}

// TestSeasonsHoldWhileAFarmMoves: a farm crosses the equator while a sighting
// is added that this would move to another season; one of the two is refused,
// or the sighting is filed by where the farm is then.
func TestSeasonsHoldWhileAFarmMoves(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	for i := range 10 {
		farm := hill
		farm.ID = "farm" + string(rune('a'+i))
		must(t)(s.PutFarm(ctx, farm, "test", t0))
		must(t)(s.PutStation(ctx, farm.ID, barn, "test", t0))
		must(t)(s.PutVariety(ctx, farm.ID, jewel, "test", t0))
		must(t)(s.PutPlanting(ctx, farm.ID, north, "test", t0))
		var wg sync.WaitGroup
		wg.Go(func() {
			south := farm
			south.Latitude = -farm.Latitude
			_, err := s.PutFarm(ctx, south, "test", at(1))
			if err != nil && !errors.Is(err, forecast.ErrInvalid) {
				t.Error(err)
			}
		})
		wg.Go(func() {
			if _, err := s.AddSightings(ctx, farm.ID, []forecast.Sighting{seen(forecast.Bloom10, "2026-11-03")}, "test", at(1)); err != nil {
				t.Error(err)
			}
		})
		wg.Wait()
		farm, err := s.Farm(ctx, farm.ID)
		if err != nil {
			t.Fatal(err)
		}
		got, err := s.Sightings(ctx, farm.ID, db.SightingFilter{Season: ptr(forecast.SeasonOf(date("2026-11-03"), farm.Southern()))})
		if err != nil || len(got) != 1 {
			t.Errorf("%s, southern %v: %d sightings in their season, %v", farm.ID, farm.Southern(), len(got), err)
		}
	}
}
