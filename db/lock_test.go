package db_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

// writers lists the methods that write with the table whose row they lock.
var writers = []struct {
	name, table string
	write       func(ctx context.Context, s *db.Store, id string) error
}{
	{"PutFarm", "farm", func(ctx context.Context, s *db.Store, id string) error {
		f := hill
		f.Name = "Renamed"
		return second(s.PutFarm(ctx, f, "test", at(2)))
	}},
	{"PutStation", "station", func(ctx context.Context, s *db.Store, id string) error {
		st := barn
		st.Name = "Renamed"
		return second(s.PutStation(ctx, "hill", st, "test", at(2)))
	}},
	{"PutVariety", "variety", func(ctx context.Context, s *db.Store, id string) error {
		v := jewel
		v.Name = "Renamed"
		return second(s.PutVariety(ctx, "hill", v, "test", at(2)))
	}},
	{"PutPlanting", "planting", func(ctx context.Context, s *db.Store, id string) error {
		p := north
		p.Block = "Renamed"
		return second(s.PutPlanting(ctx, "hill", p, "test", at(2)))
	}},
	{"AddDays", "station", func(ctx context.Context, s *db.Store, id string) error {
		_, err := s.AddDays(ctx, "hill", "barn", weather.Delivery{Source: "test", Days: run("2026-05-01", few, 2)}, at(2))
		return err
	}},
	{"AddSightings", "planting", func(ctx context.Context, s *db.Store, id string) error {
		r, err := s.AddSightings(ctx, "hill", []forecast.Sighting{seen(forecast.FirstRipe, "2026-06-12")}, "test", at(2))
		if err == nil {
			err = r[0].Err
		}
		return err
	}},
	{"AddSightings of a farm that moves", "farm", func(ctx context.Context, s *db.Store, id string) error {
		return second(s.AddSightings(ctx, "hill", []forecast.Sighting{seen(forecast.FirstRipe, "2026-06-12")}, "test", at(2)))
	}},
	{"AddPickings", "planting", func(ctx context.Context, s *db.Store, id string) error {
		r, err := s.AddPickings(ctx, "hill", []forecast.Picking{picked("2026-06-12", 120)}, "test", at(2))
		return errors.Join(append(r, err)...)
	}},
	{"AddFrosts", "planting", func(ctx context.Context, s *db.Store, id string) error {
		r, err := s.AddFrosts(ctx, "hill", []forecast.Frost{frost("2026-05-11", 0.6)}, "test", at(2))
		return errors.Join(append(r, err)...)
	}},
	{"WithdrawPicking", "planting", func(ctx context.Context, s *db.Store, id string) error {
		err := s.WithdrawPicking(ctx, "hill", "north", date("2026-06-12"), "test", at(2))
		if errors.Is(err, forecast.ErrPickingNotFound) {
			err = nil // Another one was first.
		}
		return err
	}},
	{"WithdrawFrost", "planting", func(ctx context.Context, s *db.Store, id string) error {
		err := s.WithdrawFrost(ctx, "hill", "north", date("2026-05-11"), "test", at(2))
		if errors.Is(err, forecast.ErrFrostNotFound) {
			err = nil // Another one was first.
		}
		return err
	}},
	{"PutOutlook", "outlook", func(ctx context.Context, s *db.Store, id string) error {
		_, _, err := s.PutOutlook(ctx, "hill", "barn", outlook(0, run("2026-03-01", few, 2)), "test", at(2))
		return err
	}},
	{"PutReadingHours", "station", func(ctx context.Context, s *db.Store, id string) error {
		return second(s.PutReadingHours(ctx, "hill", "barn", hours("1950-01-01", 7), "test", at(2)))
	}},
	{"PutVerdict", "station", func(ctx context.Context, s *db.Store, id string) error {
		return second(s.PutVerdict(ctx, "hill", "barn", date("2026-05-01"), &weather.Verdict{By: "Ann"}, "test", at(2)))
	}},
	{"PutFeed", "feed", func(ctx context.Context, s *db.Store, id string) error {
		spec := gridSpec
		spec.Paused = true
		return second(s.PutFeed(ctx, gridKey, spec, "test", at(2)))
	}},
	{"PutMethod", "farm", func(ctx context.Context, s *db.Store, id string) error {
		return second(s.PutMethod(ctx, "hill", forecast.MethodChoice{Method: forecast.DefaultMethod, By: "Ann", At: at(2)}, "test"))
	}},
	{"WithdrawSighting", "planting", func(ctx context.Context, s *db.Store, id string) error {
		err := s.WithdrawSighting(ctx, "hill", id, "test", at(2))
		if errors.Is(err, forecast.ErrSightingNotFound) {
			err = nil // Another one was first.
		}
		return err
	}},
}

// TestWritersOfOneThingTakeTurns lets writers of the same wait behind a lock
// until all are there, and then go at once: one writes, the others find it
// written.
func TestWritersOfOneThingTakeTurns(t *testing.T) {
	t.Parallel()
	const n = 6
	for _, w := range writers {
		t.Run(w.name, func(t *testing.T) {
			t.Parallel()
			_, pool := farmed(t)
			s, id := sighted(t, pool, db.Options{MaxConns: n})
			before := rows(t, pool)
			release := hold(t, pool, w.table)
			var wg sync.WaitGroup
			for range n {
				wg.Go(func() {
					if err := w.write(t.Context(), s, id); err != nil {
						t.Error(err)
					}
				})
			}
			waiting(t, pool, n)
			release()
			wg.Wait()
			want := before + 1
			switch w.name {
			case "AddDays": // A correction of each day.
				want = before + few
			case "AddSightings", "AddSightings of a farm that moves": // With the end of the one it replaces.
				want = before + 2
			}
			if got := rows(t, pool); got != want {
				t.Errorf("%d rows were written, want %d", got-before, want-before)
			}
		})
	}
}

// TestWritersOfANewThingTakeTurns: all find that there is no such station, and
// wait while somebody makes it.
func TestWritersOfANewThingTakeTurns(t *testing.T) {
	t.Parallel()
	const n = 6
	_, pool := farmed(t)
	s, err := db.Open(t.Context(), pool.Config().ConnString(), db.Options{MaxConns: n})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	tx, err := pool.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), "INSERT INTO station VALUES ('hill', 'tower', $1)", t0); err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for range n {
		wg.Go(func() {
			if created, err := s.PutStation(t.Context(), "hill", weather.Station{ID: "tower", Name: "Tower"}, "test", at(1)); err != nil || created {
				t.Errorf("created %v, %v", created, err)
			}
		})
	}
	waiting(t, pool, n)
	if err := tx.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	wg.Wait()
	if n := count(t, pool, "station_version WHERE station = 'tower'"); n != 1 {
		t.Errorf("%d versions, want 1", n)
	}
}

// TestWriterThatWaitsTooLong: a wait for another writer ends as ErrBusy.
func TestWriterThatWaitsTooLong(t *testing.T) {
	t.Parallel()
	_, pool := farmed(t)
	s, id := sighted(t, pool, db.Options{LockTimeout: 50 * time.Millisecond})
	for _, w := range writers {
		release := hold(t, pool, w.table)
		if err := w.write(t.Context(), s, id); !errors.Is(err, db.ErrBusy) {
			t.Errorf("%s: %v, want ErrBusy", w.name, err)
		}
		release()
	}
}

// TestLoserOfADeadlockTriesAgain brings about a deadlock that the store loses.
func TestLoserOfADeadlockTriesAgain(t *testing.T) {
	t.Parallel()
	_, pool := farmed(t)
	s, err := db.Open(t.Context(), withSetting(pool.Config().ConnString(), "deadlock_timeout=2s"), db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	tx, err := pool.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, sql := range []string{"SET LOCAL deadlock_timeout = '1min'", "SELECT FROM planting FOR NO KEY UPDATE"} {
		if _, err := tx.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	var wg sync.WaitGroup
	wg.Go(func() { good(t, sight(t, s, 2, seen(forecast.FirstRipe, "2026-06-12"))) })
	waiting(t, pool, 1) // It holds the farm, wants the planting, and looks for a deadlock in 2 s.
	if _, err := tx.Exec(t.Context(), "SELECT FROM farm FOR NO KEY UPDATE"); err != nil {
		t.Errorf("the other one lost: %v", err)
	}
	if err := tx.Rollback(t.Context()); err != nil {
		t.Error(err)
	}
	wg.Wait()
	current(t, s, 2, seen(forecast.FirstRipe, "2026-06-12"))
}

// sighted opens another store on the database of pool, and adds days, an
// outlook, a picking, a frost and a sighting, whose id it returns.
func sighted(t *testing.T, pool *pgxpool.Pool, o db.Options) (*db.Store, string) {
	t.Helper()
	s, err := db.Open(t.Context(), pool.Config().ConnString(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	add(t, s, run("2026-05-01", few, 1), "test", at(1))
	if _, _, err := s.PutOutlook(t.Context(), "hill", "barn", outlook(0, run("2026-03-01", few, 1)), "test", at(1)); err != nil {
		t.Fatal(err)
	}
	if _, err := s.PutFeed(t.Context(), gridKey, gridSpec, "test", at(1)); err != nil {
		t.Fatal(err)
	}
	kept(t, pick(t, s, 1, picked("2026-06-12", 90)))
	kept(t, freeze(t, s, 1, frost("2026-05-11", 0.5)))
	return s, good(t, sight(t, s, 1, seen(forecast.FirstRipe, "2026-06-10")))[0]
}

// hold locks the rows of a table as a writer does.
func hold(t *testing.T, pool *pgxpool.Pool, table string) (release func()) {
	t.Helper()
	tx, err := pool.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tx.Exec(t.Context(), "SELECT FROM "+table+" FOR NO KEY UPDATE"); err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := tx.Rollback(t.Context()); err != nil {
			t.Error(err)
		}
	}
}

// waiting returns when n sessions wait for a lock.
func waiting(t *testing.T, pool *pgxpool.Pool, n int) {
	t.Helper()
	for end := time.Now().Add(8 * time.Second); ; {
		var got int
		if err := pool.QueryRow(t.Context(), `
			SELECT count(*)
			FROM pg_stat_activity, pg_sleep(0.01)
			WHERE datname = current_database() AND wait_event_type = 'Lock'`).Scan(&got); err != nil {
			t.Fatal(err)
		}
		if got == n {
			return
		}
		if time.Now().After(end) {
			t.Errorf("%d sessions wait for a lock, want %d", got, n)
			return
		}
	}
}

// rows returns the number of rows of all tables that hold history.
func rows(t *testing.T, pool *pgxpool.Pool) (n int) {
	t.Helper()
	for _, table := range []string{
		"farm_version", "station_version", "variety_version", "planting_version", "station_day",
		"outlook_version", "method_version", "sighting", "sighting_end", "reading_hours_version", "day_verdict_version",
		"feed_version", "picking_version", "frost_version",
	} {
		n += count(t, pool, table)
	}
	return n
}

// TestWhoLosesEachTimeIsToldToComeBack lets the database give a write up again and
// again, as it does for the sake of others.
func TestWhoLosesEachTimeIsToldToComeBack(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	for _, sql := range []string{
		"CREATE SEQUENCE lost", // It counts what is rolled back, too.
		"CREATE TABLE luck (after bigint)",
		"INSERT INTO luck VALUES (4)",
		"GRANT ALL ON SEQUENCE lost TO public",
		"GRANT ALL ON luck TO public",
		`CREATE FUNCTION lose() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
			IF nextval('lost') <= (SELECT after FROM luck) THEN
				RAISE EXCEPTION 'could not serialize access' USING ERRCODE = 'serialization_failure';
			END IF;
			RETURN NEW;
		END $$`,
		"CREATE TRIGGER lose BEFORE INSERT ON variety_version FOR EACH ROW EXECUTE FUNCTION lose()",
	} {
		if _, err := pool.Exec(t.Context(), sql); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
	late := forecast.Variety{ID: "late", Name: "Late", Ripens: forecast.Late}
	if _, err := s.PutVariety(t.Context(), "hill", late, "test", t0); err != nil {
		t.Errorf("lost four times and won: %v", err)
	}
	if _, err := pool.Exec(t.Context(), "UPDATE luck SET after = 1000"); err != nil {
		t.Fatal(err)
	}
	late.Name = "Latest"
	_, err := s.PutVariety(t.Context(), "hill", late, "test", t0.Add(time.Minute))
	if !errors.Is(err, forecast.ErrBusy) {
		t.Errorf("lost each time: %v, want %v", err, forecast.ErrBusy)
	}
	var lost int
	if err := pool.QueryRow(t.Context(), "SELECT last_value FROM lost").Scan(&lost); err != nil {
		t.Fatal(err)
	}
	if lost != 5+5 {
		t.Errorf("%d tries, want five each", lost)
	}
}
