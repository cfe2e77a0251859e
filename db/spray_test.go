package db_test

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/jackc/pgx/v5/pgconn"

	"ripetide/db"
	"ripetide/forecast"
)

// planned is a planned spray of north's block.
func planned(name string) forecast.Spray {
	return forecast.Spray{Block: north.Block, Name: name, Season: 2026, PreHarvestDays: 7, ReentryHours: 24, Known: ptr(date("2026-06-12"))}
}

// spray adds sprays at minute n and fails the test if one was refused.
func spray(t testing.TB, s *db.Store, n int, sprays ...forecast.Spray) []forecast.Spray {
	t.Helper()
	results, err := s.AddSprays(t.Context(), "hill", sprays, "key ann", at(n))
	if err != nil {
		t.Fatal(err)
	}
	var out []forecast.Spray
	for _, r := range results {
		if r.Err != nil {
			t.Fatal(r.Err)
		}
		out = append(out, r.Spray)
	}
	return out
}

// sprays fails the test if other sprays count than those, at minute n; nil is
// now.
func sprays(t testing.TB, s *db.Store, n *int, want ...forecast.Spray) {
	t.Helper()
	var known *time.Time
	if n != nil {
		known = ptr(at(*n))
	}
	got, err := s.Sprays(t.Context(), "hill", nil, known)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
		t.Error(diff)
	}
}

func TestSpraysArePlannedDoneSeenAndTakenBack(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	south(t, s)
	gone := north // In the same block, and grubbed out.
	gone.ID, gone.RemovedOn = "gone", ptr(date("2026-02-01"))
	must(t)(s.PutPlanting(t.Context(), "hill", gone, "test", t0))
	done := planned("from the can")
	done.SprayedAt, done.Known, done.PreHarvestHours, done.Note = ptr(at(5)), nil, 12, "along the hedge"
	kept := spray(t, s, 10, planned("the other"), done)
	for i, x := range kept {
		if len(x.ID) != 26 || !x.RecordedAt.Equal(at(10)) || x.RecordedBy != "key ann" || !cmp.Equal(x.Plantings, []string{"north", "south"}) {
			t.Errorf("%d: %+v", i, x)
		}
	}
	sprays(t, s, nil, kept[1], kept[0]) // What is done comes first.
	sprays(t, s, ptr(9))

	// The same again, also with something else known of the block, is the same.
	again := planned("the other")
	again.Known = nil
	if got := spray(t, s, 11, again); got[0].ID != kept[0].ID || got[0].Known == nil {
		t.Errorf("the same again: %+v", got)
	}
	if n := count(t, pool, "spray_version"); n != 2 {
		t.Errorf("%d versions", n)
	}

	// Somebody takes note of an earlier day, twice the same.
	for _, n := range []int{12, 13} {
		if err := s.SeeSpray(t.Context(), "hill", kept[0].ID, date("2026-06-10"), "key ben", at(n)); err != nil {
			t.Fatal(err)
		}
	}
	noted := kept[0]
	noted.Seen = &forecast.SpraySeen{Day: date("2026-06-10"), At: at(12), By: "key ben"}
	sprays(t, s, nil, kept[1], noted)
	sprays(t, s, ptr(11), kept[1], kept[0])
	if err := s.SeeSpray(t.Context(), "hill", kept[0].ID, date("2026-06-09"), "key ann", at(14)); err != nil {
		t.Fatal(err)
	}
	noted.Seen = &forecast.SpraySeen{Day: date("2026-06-09"), At: at(14), By: "key ann"}
	sprays(t, s, nil, kept[1], noted)

	// The plan is carried out: another version of the same.
	carried := planned("the other")
	carried.ID, carried.SprayedAt, carried.Known = kept[0].ID, ptr(at(15)), nil
	after := spray(t, s, 16, carried)[0]
	if after.ID != kept[0].ID || after.Seen != nil || !after.RecordedAt.Equal(at(16)) {
		t.Errorf("carried out: %+v", after)
	}
	sprays(t, s, nil, kept[1], after)
	sprays(t, s, ptr(15), kept[1], noted)
	if err := s.SeeSpray(t.Context(), "hill", after.ID, date("2026-06-08"), "key ann", at(17)); !errors.Is(err, forecast.ErrSprayNotFound) {
		t.Errorf("note of a spray that is done: %v", err)
	}

	if err := s.WithdrawSpray(t.Context(), "hill", after.ID, "key ann", at(18)); err != nil {
		t.Fatal(err)
	}
	sprays(t, s, nil, kept[1])
	sprays(t, s, ptr(17), kept[1], after)
	for what, err := range map[string]error{
		"withdrawn again": s.WithdrawSpray(t.Context(), "hill", after.ID, "key ann", at(19)),
		"that never was":  s.WithdrawSpray(t.Context(), "hill", "nothing", "key ann", at(19)),
		"noted":           s.SeeSpray(t.Context(), "hill", after.ID, date("2026-06-08"), "key ann", at(19)),
	} {
		if !errors.Is(err, forecast.ErrSprayNotFound) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if err := s.WithdrawSpray(t.Context(), "moor", after.ID, "key ann", at(19)); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("of a farm that is not there: %v", err)
	}
	if n := count(t, pool, "spray_version"); n != 4 {
		t.Errorf("%d versions are on record, want 4", n)
	}
	// Taken back, it can be entered anew.
	if got := spray(t, s, 20, planned("the other"))[0]; got.ID == after.ID {
		t.Error("a spray that was taken back came to life")
	}
}

func TestSpraysAreRefusedOneByOne(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	elsewhere, nameless, unknown := planned("x"), planned(" "), planned("x")
	elsewhere.Block, unknown.ID = "Beyond", "nothing"
	nameless.ReentryHours = -1
	results, err := s.AddSprays(t.Context(), "hill", []forecast.Spray{elsewhere, planned("good"), nameless, unknown}, "test", t0)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{
		"block: is no block of the farm; they are " + north.Block, "",
		"name: must not be empty\nreentry_hours: must be between 0 and 1000", "forecast: spray not found",
	} {
		got := ""
		if results[i].Err != nil {
			got = results[i].Err.Error()
		}
		if got != want {
			t.Errorf("%d: %q, want %q", i, got, want)
		}
	}
	if _, err := s.AddSprays(t.Context(), "moor", nil, "test", t0); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("on a farm that is not there: %v", err)
	}
	year := 2025
	if got, err := s.Sprays(t.Context(), "hill", &year, nil); err != nil || len(got) != 0 {
		t.Errorf("of another season: %v, %v", got, err)
	}
	year = 2026
	if got, err := s.Sprays(t.Context(), "hill", &year, nil); err != nil || len(got) != 1 {
		t.Errorf("of the season: %v, %v", got, err)
	}
}

// A spray keeps what stood in its block, and can be carried out when the block
// has another name by then.
func TestASprayOutlivesTheNameOfItsBlock(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	x := spray(t, s, 1, planned("x"))[0]
	p := north
	p.Block = "New Name"
	if _, err := s.PutPlanting(t.Context(), "hill", p, "test", at(2)); err != nil {
		t.Fatal(err)
	}
	x.SprayedAt = ptr(at(3))
	got := spray(t, s, 4, x)[0]
	if got.Block != north.Block || !cmp.Equal(got.Plantings, []string{"north"}) {
		t.Errorf("carried out: %+v", got)
	}
}

func TestManyWritersOfOneSpray(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	var wg sync.WaitGroup
	for n := range 8 {
		wg.Go(func() {
			results, err := s.AddSprays(t.Context(), "hill", []forecast.Spray{planned("x"), planned("y")}, "test", at(n))
			if err != nil || results[0].Err != nil || results[1].Err != nil {
				t.Error(results, err)
			}
		})
	}
	wg.Wait()
	if n := count(t, pool, "spray_version"); n != 2 {
		t.Errorf("%d versions of two sprays", n)
	}
}

// TestSpraysThatCannotBe breaks constraints with raw rows.
func TestSpraysThatCannotBe(t *testing.T) {
	t.Parallel()
	_, pool := farmed(t)
	row := func(version int, withdrawn bool, values string) string {
		return fmt.Sprintf(`INSERT INTO spray_version (farm, spray, recorded_at, recorded_by, plantings, version, withdrawn,
			block, name, season, sprayed_at, pre_harvest_days, pre_harvest_hours, reentry_hours, note, known_day)
			VALUES ('hill', 'a', now(), 'test', '{north}', %d, %v, %s)`, version, withdrawn, values)
	}
	for constraint, sql := range map[string]string{
		"spray_version_version_check":   row(0, false, `'Creek', 'x', 2026, NULL, 7, 0, 24, '', NULL`),
		"spray_version_withdrawn_check": row(1, true, `'Creek', 'x', 2026, NULL, 7, 0, 24, '', NULL`),
		"spray_version_block_check":     row(1, false, `'', 'x', 2026, NULL, 7, 0, 24, '', NULL`),
		"spray_version_name_check":      row(1, false, `'Creek', '', 2026, NULL, 7, 0, 24, '', NULL`),
		"spray_version_season_check":    row(1, false, `'Creek', 'x', 0, NULL, 7, 0, 24, '', NULL`),
		"spray_version_sprayed_check":   row(1, false, `'Creek', 'x', 2026, 'infinity', 7, 0, 24, '', NULL`),
		"spray_version_days_check":      row(1, false, `'Creek', 'x', 2026, NULL, 366, 0, 24, '', NULL`),
		"spray_version_hours_check":     row(1, false, `'Creek', 'x', 2026, NULL, 7, -1, 24, '', NULL`),
		"spray_version_reentry_check":   row(1, false, `'Creek', 'x', 2026, NULL, 7, 0, 1001, '', NULL`),
		"spray_version_note_check":      row(1, false, `'Creek', 'x', 2026, NULL, 7, 0, 24, '`+strings.Repeat("x", 201)+`', NULL`),
		"spray_version_known_check":     row(1, false, `'Creek', 'x', 2026, NULL, 7, 0, 24, '', 'infinity'`),
		"spray_version_farm_fk":         strings.Replace(row(1, false, `'Creek', 'x', 2026, NULL, 7, 0, 24, '', NULL`), "'hill'", "'dale'", 1),
		"spray_seen_spray_version_fk":   `INSERT INTO spray_seen VALUES ('hill', 'a', 1, 1, now(), 'test', '2026-06-10')`,
		"spray_seen_number_check":       `INSERT INTO spray_seen VALUES ('hill', 'a', 1, 0, now(), 'test', '2026-06-10')`,
		"spray_seen_day_check":          `INSERT INTO spray_seen VALUES ('hill', 'a', 1, 1, now(), 'test', '-infinity')`,
	} {
		_, err := pool.Exec(t.Context(), sql)
		if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.ConstraintName != constraint {
			t.Errorf("%s: %v, want a refusal by %s", sql, err, constraint)
		}
	}
}
