package db_test

import (
	"errors"
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/jackc/pgx/v5/pgxpool"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

// picked is a picking of north.
func picked(day string, kg float64) forecast.Picking {
	return forecast.Picking{Planting: "north", Date: date(day), Kg: kg, Source: forecast.PickedByAll}
}

// pick adds pickings at minute n and returns why they were refused.
func pick(t testing.TB, s *db.Store, n int, ps ...forecast.Picking) []error {
	t.Helper()
	refused, err := s.AddPickings(t.Context(), "hill", ps, "test", at(n))
	if err != nil {
		t.Fatal(err)
	}
	if len(refused) != len(ps) {
		t.Fatalf("%d answers to %d pickings", len(refused), len(ps))
	}
	return refused
}

// kept fails the test if anything was refused.
func kept(t testing.TB, refused []error) {
	t.Helper()
	if err := errors.Join(refused...); err != nil {
		t.Fatal(err)
	}
}

// pickings fails the test if other pickings count than those, at minute n.
func pickings(t testing.TB, s *db.Store, n int, want ...forecast.Picking) {
	t.Helper()
	got, err := s.Pickings(t.Context(), "hill", "", nil, nil, ptr(at(n)))
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
	if diff := cmp.Diff(got, in.Pickings, cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("inputs at minute %d differ from pickings:\n%s", n, diff)
	}
}

func south(t testing.TB, s *db.Store) {
	t.Helper()
	p := north
	p.ID = "south"
	must(t)(s.PutPlanting(t.Context(), "hill", p, "test", t0))
}

func TestPickingsAreReadAsTheyWereAdded(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	south(t, s)
	all := []forecast.Picking{
		{Planting: "north", Date: date("2025-06-14"), Kg: 0.25, Left: forecast.LeftNone, Source: forecast.PickedByCustomers, Note: "first row, ein „Anfang“"},
		{Planting: "north", Date: date("2026-06-12"), Kg: forecast.MaxPickingKg, Left: forecast.LeftLots, Source: forecast.PickedByStaff},
		{Planting: "north", Date: date("2026-06-13"), Kg: 0, Left: forecast.LeftSome, Closed: true, Source: forecast.PickedByAll},
		{Planting: "north", Date: date("2026-06-14"), Kg: 0, Source: forecast.PickedByAll},
		{Planting: "south", Date: date("2026-06-13"), Kg: 310.5, Source: forecast.PickedByAll, Note: strings.Repeat("ä", 200)},
	}
	kept(t, pick(t, s, 1, all[4], all[2], all[0], all[3], all[1]))
	pickings(t, s, 0)
	pickings(t, s, 1, all...)
	kept(t, pick(t, s, 2, all...))
	if n := count(t, pool, "picking_version"); n != len(all) {
		t.Errorf("%d rows after the same was sent again, want %d", n, len(all))
	}
	day := func(s string) *weather.Date { return ptr(date(s)) }
	for _, tt := range []struct {
		name, planting string
		from, to       *weather.Date
		want           []forecast.Picking
	}{
		{"all", "", nil, nil, all},
		{"of one planting", "south", nil, nil, all[4:]},
		{"of a planting that is not there", "west", nil, nil, nil},
		{"from a date, which is included", "north", day("2026-06-13"), nil, all[2:4]},
		{"to a date, which is included", "north", nil, day("2026-06-12"), all[:2]},
		{"of one day", "", day("2026-06-13"), day("2026-06-13"), []forecast.Picking{all[2], all[4]}},
		{"of no day", "", day("2026-06-14"), day("2026-06-13"), nil},
	} {
		got, err := s.Pickings(t.Context(), "hill", tt.planting, tt.from, tt.to, nil)
		if diff := cmp.Diff(tt.want, got, cmpopts.EquateEmpty()); diff != "" || err != nil || got == nil {
			t.Errorf("%s: %v\n%s", tt.name, err, diff)
		}
	}
	if got, err := s.Pickings(t.Context(), "dale", "", nil, nil, nil); err != nil || len(got) != 0 {
		t.Errorf("of another farm: %v, %v", got, err)
	}
}

func TestPickingOfTheSameDayReplaces(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	more, noted := picked("2026-06-12", 120), picked("2026-06-12", 120)
	noted.Note = "with the evening"
	kept(t, pick(t, s, 10, picked("2026-06-12", 90)))
	kept(t, pick(t, s, 20, more))
	kept(t, pick(t, s, 15, noted)) // By a clock that is behind.
	kept(t, pick(t, s, 30, picked("2026-06-13", 50)))
	pickings(t, s, 9)
	pickings(t, s, 19, picked("2026-06-12", 90))
	pickings(t, s, 20, noted)
	pickings(t, s, 30, noted, picked("2026-06-13", 50))
	for _, change := range []func(*forecast.Picking){
		func(p *forecast.Picking) { p.Kg = 121 },
		func(p *forecast.Picking) { p.Left = forecast.LeftSome },
		func(p *forecast.Picking) { p.Source = forecast.PickedByStaff },
		func(p *forecast.Picking) { p.Kg, p.Closed = 0, true },
		func(p *forecast.Picking) { p.Note = "" },
	} {
		change(&noted)
		kept(t, pick(t, s, 40, noted))
		pickings(t, s, 40, noted, picked("2026-06-13", 50))
	}
	if n := count(t, pool, "picking_version"); n != 9 {
		t.Errorf("%d rows are kept, want all 9", n)
	}
	var who int
	if err := pool.QueryRow(t.Context(), "SELECT count(*) FROM picking_version WHERE recorded_by = 'test'").Scan(&who); err != nil || who != 9 {
		t.Errorf("%d rows say who recorded them, %v", who, err)
	}
}

func TestPickingsOfOneBatchComeOneAfterAnother(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	kept(t, pick(t, s, 1, picked("2026-06-12", 90), picked("2026-06-12", 95), picked("2026-06-12", 95)))
	pickings(t, s, 1, picked("2026-06-12", 95))
	if n := count(t, pool, "picking_version"); n != 2 {
		t.Errorf("%d rows, want 2", n)
	}
}

func TestGoodPickingsAreKeptBadOnesTold(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	with := func(change func(*forecast.Picking)) forecast.Picking {
		p := picked("2026-06-12", 1)
		change(&p)
		return p
	}
	for _, tt := range []struct {
		name   string
		p      forecast.Picking
		err    error
		fields []string
	}{
		{"of no planting", with(func(p *forecast.Picking) { p.Planting = "south" }), forecast.ErrPlantingNotFound, nil},
		{"before it was planted", with(func(p *forecast.Picking) { p.Date = date("2020-04-30") }), forecast.ErrInvalid, []string{"date"}},
		{"less than nothing", with(func(p *forecast.Picking) { p.Kg = -0.1 }), forecast.ErrInvalid, []string{"kg"}},
		{"more than can be", with(func(p *forecast.Picking) { p.Kg = 100_000.5 }), forecast.ErrInvalid, []string{"kg"}},
		{"no number", with(func(p *forecast.Picking) { p.Kg = math.NaN() }), forecast.ErrInvalid, []string{"kg"}},
		{"fruit of a closed day", with(func(p *forecast.Picking) { p.Closed = true }), forecast.ErrInvalid, []string{"kg"}},
		{"an unknown word for what is left", with(func(p *forecast.Picking) { p.Left = "few" }), forecast.ErrInvalid, []string{"left"}},
		{"by nobody", with(func(p *forecast.Picking) { p.Source = "" }), forecast.ErrInvalid, []string{"source"}},
		{"a long note", with(func(p *forecast.Picking) { p.Note = strings.Repeat("ä", 201) }), forecast.ErrInvalid, []string{"note"}},
		{"a note that breaks the line", with(func(p *forecast.Picking) { p.Note = "a\nb" }), forecast.ErrInvalid, []string{"note"}},
		{"a note that the database cannot hold", with(func(p *forecast.Picking) { p.Note = "a\xff" }), forecast.ErrInvalid, []string{"note"}},
		{"everything at once", forecast.Picking{Planting: "north", Date: date("2020-04-30"), Kg: -1, Left: "few"}, forecast.ErrInvalid, []string{"kg", "left", "source", "date"}},
	} {
		refused := pick(t, s, 1, tt.p, picked("2026-06-12", 90))
		if !errors.Is(refused[0], tt.err) || refused[1] != nil {
			t.Errorf("%s: %v", tt.name, refused)
		}
		if diff := cmp.Diff(tt.fields, fields(refused[0]), cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("%s: faults of other fields:\n%s", tt.name, diff)
		}
	}
	kept(t, pick(t, s, 2, picked("2020-05-01", 0))) // On the day of planting.
	pickings(t, s, 2, picked("2020-05-01", 0), picked("2026-06-12", 90))
	if n := count(t, pool, "picking_version"); n != 2 {
		t.Errorf("%d rows, want 2", n)
	}
	if _, err := s.AddPickings(t.Context(), "dale", []forecast.Picking{picked("2026-06-12", 1)}, "test", at(1)); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("on no farm: %v", err)
	}
}

// fields returns the fields of the faults that err joins.
func fields(err error) (out []string) {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		for _, e := range joined.Unwrap() {
			out = append(out, fields(e)...)
		}
		return out
	}
	if f, ok := errors.AsType[*forecast.FieldError](err); ok {
		out = append(out, f.Field)
	}
	return out
}

func TestWithdrawPicking(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	south(t, s)
	day := date("2026-06-12")
	kept(t, pick(t, s, 10, picked("2026-06-12", 90), picked("2026-06-13", 50)))
	withdraw := func(n int, farm, planting string, day weather.Date) error {
		return s.WithdrawPicking(t.Context(), farm, planting, day, "key bob", at(n))
	}
	if err := withdraw(5, "hill", "north", day); err != nil { // By a clock that is behind.
		t.Fatal(err)
	}
	inTurn(t, pool, "picking_version")
	pickings(t, s, 9)
	pickings(t, s, 10, picked("2026-06-13", 50))
	for name, tt := range map[string]struct {
		err  error
		want error
	}{
		"again":               {withdraw(20, "hill", "north", day), forecast.ErrPickingNotFound},
		"of a day without":    {withdraw(20, "hill", "north", day+2), forecast.ErrPickingNotFound},
		"of another planting": {withdraw(20, "hill", "south", day+1), forecast.ErrPickingNotFound},
		"of no planting":      {withdraw(20, "hill", "west", day+1), forecast.ErrPlantingNotFound},
		"of another farm":     {withdraw(20, "dale", "north", day+1), forecast.ErrPlantingNotFound},
	} {
		if !errors.Is(tt.err, tt.want) {
			t.Errorf("%s: %v, want %v", name, tt.err, tt.want)
		}
	}
	var by string
	var kg float64
	if err := pool.QueryRow(t.Context(), "SELECT recorded_by, kg FROM picking_version WHERE withdrawn").Scan(&by, &kg); err != nil || by != "key bob" || kg != 90 {
		t.Errorf("%g kg withdrawn by %q, %v", kg, by, err)
	}
	// The same again comes back to count, from then on.
	kept(t, pick(t, s, 30, picked("2026-06-12", 90)))
	pickings(t, s, 29, picked("2026-06-13", 50))
	pickings(t, s, 30, picked("2026-06-12", 90), picked("2026-06-13", 50))
	if n := count(t, pool, "picking_version"); n != 4 {
		t.Errorf("%d rows are kept, want 4", n)
	}
}

// TestTwentyPickTheSame: one of them records it, and no one is refused.
func TestTwentyPickTheSame(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			refused, err := s.AddPickings(t.Context(), "hill", []forecast.Picking{picked("2026-06-12", 90)}, "test", at(1))
			if err := errors.Join(append(refused, err)...); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if n := count(t, pool, "picking_version"); n != 1 {
		t.Errorf("recorded %d times", n)
	}
}

// TestTwentyPickMore: all are kept one after another, and one counts.
func TestTwentyPickMore(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	south(t, s)
	var wg sync.WaitGroup
	for i := range 20 {
		wg.Go(func() {
			// Both plantings in both orders: no deadlock either.
			batch := []forecast.Picking{picked("2026-06-12", float64(i)), picked("2026-06-12", float64(i))}
			batch[i%2].Planting = "south"
			refused, err := s.AddPickings(t.Context(), "hill", batch, "test", at(i))
			if err := errors.Join(append(refused, err)...); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	got, err := s.Pickings(t.Context(), "hill", "", nil, nil, nil)
	if err != nil || len(got) != 2 || got[0].Kg != got[1].Kg {
		t.Errorf("%+v, %v", got, err)
	}
	if n := count(t, pool, "picking_version"); n != 40 {
		t.Errorf("%d rows, want 40", n)
	}
	inTurn(t, pool, "picking_version")
}

// inTurn fails the test if a version was recorded before one that it replaces.
func inTurn(t testing.TB, pool *pgxpool.Pool, table string) {
	t.Helper()
	if n := count(t, pool, table+" AS a JOIN "+table+" AS b USING (farm, planting, day) WHERE a.version < b.version AND b.recorded_at < a.recorded_at"); n != 0 {
		t.Errorf("%d versions were recorded before the one they replace", n)
	}
}

// TestPickingIsKnownNotBeforeItsPlanting: by a clock that is behind.
func TestPickingIsKnownNotBeforeItsPlanting(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	kept(t, pick(t, s, -60, picked("2026-06-12", 90)))
	pickings(t, s, 0, picked("2026-06-12", 90))
	in, err := s.Inputs(t.Context(), "hill", at(0))
	if err != nil || len(in.Plantings) != 1 {
		t.Fatal(err, in.Plantings)
	}
	if got, err := s.Pickings(t.Context(), "hill", "", nil, nil, ptr(at(-1))); err != nil || len(got) != 0 {
		t.Errorf("before there was a planting: %v, %v", got, err)
	}
}

func TestPlantingIsNotPlantedAfterItsPickingsAndFrosts(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	kept(t, pick(t, s, 1, picked("2025-06-12", 90), picked("2025-06-20", 90)))
	kept(t, freeze(t, s, 1, frost("2025-05-11", 0.5)))
	replant := func(day string) error {
		p := north
		p.PlantedOn = date(day)
		_, err := s.PutPlanting(t.Context(), "hill", p, "test", at(2))
		return err
	}
	err := replant("2025-06-13")
	if diff := cmp.Diff([]string{"planted_on", "planted_on"}, fields(errors.Unwrap(err))); diff != "" {
		t.Errorf("%v: %s", err, diff)
	}
	if err == nil || !strings.Contains(err.Error(), "2025-06-12, for which there is a picking") || !strings.Contains(err.Error(), "2025-05-11, for which there is a frost") {
		t.Errorf("planted after both: %v", err)
	}
	if err := s.WithdrawPicking(t.Context(), "hill", "north", date("2025-06-12"), "test", at(3)); err != nil {
		t.Fatal(err)
	}
	if err := replant("2025-06-13"); err == nil || strings.Contains(err.Error(), "picking") {
		t.Errorf("planted after the frost only: %v", err)
	}
	if err := s.WithdrawFrost(t.Context(), "hill", "north", date("2025-05-11"), "test", at(3)); err != nil {
		t.Fatal(err)
	}
	if err := replant("2025-06-20"); err != nil {
		t.Errorf("planted on the day of the first picking: %v", err)
	}
}

// TestFarmsWithTheSameNamesKeepTheirOwn: what another farm records of a
// planting of the same name on the same day touches nothing.
func TestFarmsWithTheSameNamesKeepTheirOwn(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	dale := hill
	dale.ID = "dale"
	must(t)(s.PutFarm(t.Context(), dale, "test", t0))
	must(t)(s.PutStation(t.Context(), "dale", barn, "test", t0))
	must(t)(s.PutVariety(t.Context(), "dale", jewel, "test", t0))
	must(t)(s.PutPlanting(t.Context(), "dale", north, "test", t0))
	for n := range 2 {
		refused, err := s.AddPickings(t.Context(), "dale", []forecast.Picking{picked("2026-06-12", float64(n))}, "test", at(n))
		kept(t, append(refused, err))
		refused, err = s.AddFrosts(t.Context(), "dale", []forecast.Frost{frost("2026-05-11", 1/float64(n+2))}, "test", at(n))
		kept(t, append(refused, err))
	}
	kept(t, pick(t, s, 3, picked("2026-06-12", 1)))
	kept(t, freeze(t, s, 3, frost("2026-05-11", 0.5)))
	pickings(t, s, 2)
	pickings(t, s, 3, picked("2026-06-12", 1))
	frosts(t, s, 2)
	frosts(t, s, 3, frost("2026-05-11", 0.5))
	for _, err := range []error{
		s.WithdrawPicking(t.Context(), "dale", "north", date("2026-06-12"), "test", at(4)),
		s.WithdrawFrost(t.Context(), "dale", "north", date("2026-05-11"), "test", at(4)),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	pickings(t, s, 4, picked("2026-06-12", 1))
	frosts(t, s, 4, frost("2026-05-11", 0.5))
	for _, table := range []string{"picking_version", "frost_version"} {
		if n := count(t, pool, table+" WHERE farm = 'hill' AND version = 1"); n != 1 {
			t.Errorf("%s: %d first versions on hill, want 1", table, n)
		}
	}
}
