package db_test

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"ripetide/db"
	"ripetide/db/dbtest"
	"ripetide/forecast"
)

// Codes are those of appendix A of PostgreSQL's manual.
func TestWhatMeansThatTheDatabaseIsAway(t *testing.T) {
	t.Parallel()
	for code, want := range map[string]bool{
		"08006": true, "53100": true, "53300": true, "57P01": true, "57P02": true, "57P03": true, "57014": true, "25006": true, "58030": true,
		"23505": false, "23514": false, "42601": false, "22021": false, "40001": false, "55P03": false, "XX000": false,
	} {
		if got := db.Unavailable(fmt.Errorf("read farms: %w", &pgconn.PgError{Code: code})); got != want {
			t.Errorf("%s: %v, want %v", code, got, want)
		}
	}
	if db.Unavailable(forecast.ErrFarmNotFound) || db.Unavailable(pgx.ErrNoRows) || db.Unavailable(context.Canceled) {
		t.Error("what is not found, or given up, is taken for a database that is away")
	}
	// Nobody listens on port 1.
	_, err := db.Open(t.Context(), "postgres://127.0.0.1:1/none?user=nobody", db.Options{})
	if !db.Unavailable(err) {
		t.Errorf("nobody listens: %v", err)
	}
}

// TestASessionThatIsEnded ends the sessions of a store, as a restart does: what
// was asked fails as unavailable, and the next is answered.
func TestASessionThatIsEnded(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	if err := s.Ping(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := pool.Exec(t.Context(), `
		SELECT pg_terminate_backend(pid) FROM pg_stat_activity
		WHERE datname = current_database() AND pid <> pg_backend_pid()`); err != nil {
		t.Fatal(err)
	}
	failed := 0
	for range 20 {
		if _, err := s.Farm(t.Context(), "hill"); err == nil {
			break
		} else if failed++; !db.Unavailable(err) {
			t.Errorf("an ended session fails with %v", err)
		}
	}
	if failed == 0 {
		t.Log("the pool had noticed")
	}
	if _, err := s.Farm(t.Context(), "hill"); err != nil {
		t.Errorf("afterwards: %v", err)
	}
}

// TestAStandbyIsNotReady: sessions that are read-only, as all are on a standby,
// are not taken for a database that works.
func TestAStandbyIsNotReady(t *testing.T) {
	t.Parallel()
	dsn := dbtest.Migrated(t, db.Migrate)
	u, err := url.Parse(dsn)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("default_transaction_read_only", "on")
	u.RawQuery = q.Encode()
	s, err := db.Open(t.Context(), u.String(), db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	if err := s.Ping(t.Context()); err == nil {
		t.Error("it is said to be ready")
	}
	_, err = s.PutFarm(t.Context(), hill, "test", t0)
	if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.Code != "25006" || !db.Unavailable(err) {
		t.Errorf("a write fails with %v", err)
	}
}
