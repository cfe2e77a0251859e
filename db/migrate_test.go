package db_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/pressly/goose/v3/lock"

	"ripetide/db"
	"ripetide/db/dbtest"
)

func TestThreeMigrateAtOnceAndAgain(t *testing.T) {
	t.Parallel()
	dsn := dbtest.DSN(t)
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			if err := db.Migrate(t.Context(), dsn); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	pool := dbtest.Connect(t, dsn)
	before := schema(t, pool)
	if len(before) == 0 {
		t.Fatal("no tables")
	}
	if err := db.Migrate(t.Context(), dsn); err != nil {
		t.Fatalf("the second time: %v", err)
	}
	if after := schema(t, pool); after != before {
		t.Error("the second time changed something")
	}
}

// TestMigrateWaitsForItsTurn: while another program holds goose's lock, none of
// our tables is made.
func TestMigrateWaitsForItsTurn(t *testing.T) {
	t.Parallel()
	dsn := dbtest.DSN(t)
	pool := dbtest.Connect(t, dsn)
	other, err := pool.Acquire(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer other.Release()
	if _, err := other.Exec(t.Context(), "SELECT pg_advisory_lock($1)", lock.DefaultLockID); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
	defer cancel()
	if err := db.Migrate(ctx, dsn); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("did not wait: %v", err)
	}
	if n := count(t, pool, "pg_class WHERE relnamespace = 'public'::regnamespace AND relname NOT LIKE 'goose%'"); n != 0 {
		t.Errorf("made %d tables and indexes out of turn", n)
	}
	if _, err := other.Exec(t.Context(), "SELECT pg_advisory_unlock_all()"); err != nil {
		t.Fatal(err)
	}
	if err := db.Migrate(t.Context(), dsn); err != nil {
		t.Error(err)
	}
}

// schema returns every object of the schema with the transaction that made it,
// and every version.
func schema(t *testing.T, q interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}) string {
	t.Helper()
	rows, _ := q.Query(t.Context(), `
		SELECT relname || ' ' || xmin FROM pg_class WHERE relnamespace = 'public'::regnamespace
		UNION ALL
		SELECT 'version ' || id || ' ' || version_id FROM goose_db_version
		ORDER BY 1`)
	lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(lines, "\n")
}

func TestNewerSchemaIsRefused(t *testing.T) {
	t.Parallel()
	dsn := dbtest.Migrated(t, db.Migrate)
	pool := dbtest.Connect(t, dsn)
	if _, err := pool.Exec(t.Context(), "INSERT INTO goose_db_version (version_id, is_applied) VALUES (999, true)"); err != nil {
		t.Fatal(err)
	}
	before := schema(t, pool)
	err := db.Migrate(t.Context(), dsn)
	newer, ok := errors.AsType[*db.SchemaNewerError](err)
	if !ok || !errors.Is(err, db.ErrSchemaNewer) {
		t.Fatalf("got %v, want an error that matches ErrSchemaNewer", err)
	}
	if newer.Database != 999 || newer.Program < 1 || newer.Program > 998 {
		t.Errorf("got versions %+v", newer)
	}
	if after := schema(t, pool); after != before {
		t.Error("the refused program changed something")
	}
}

// TestEveryTableKeepsTheRules reads the rules of the tables off the catalogue,
// so that a table that comes later cannot forget them.
func TestEveryTableKeepsTheRules(t *testing.T) {
	t.Parallel()
	_, pool := open(t)
	for rule, sql := range map[string]string{
		"a primary key that begins with the farm": `
			SELECT c.relname
			FROM pg_class AS c
			WHERE c.relkind IN ('r', 'p') AND c.relnamespace = 'public'::regnamespace
				AND c.relname NOT IN ('goose_db_version', 'api_key', 'sign_in_link', 'session')
				AND NOT EXISTS (
					SELECT FROM pg_index AS i
					JOIN pg_attribute AS a ON a.attrelid = c.oid AND a.attnum = i.indkey[0]
					JOIN pg_collation AS l ON l.oid = a.attcollation
					WHERE i.indrelid = c.oid AND i.indisprimary AND a.attname = 'farm' AND l.collname = 'C'
				)`,
		"foreign keys that begin with the farm": `
			SELECT o.conname
			FROM pg_constraint AS o
			JOIN pg_attribute AS a ON a.attrelid = o.conrelid AND a.attnum = o.conkey[1]
			WHERE o.contype = 'f' AND a.attname <> 'farm' AND o.conname NOT IN ('sign_in_link_api_key_fk', 'session_api_key_fk')`,
		"names given by us for keys and checks": `
			SELECT o.conname
			FROM pg_constraint AS o
			JOIN pg_class AS c ON c.oid = o.conrelid
			WHERE c.relnamespace = 'public'::regnamespace AND c.relname <> 'goose_db_version'
				AND o.conname !~ ('^' || c.relname || '_([a-z_]+_)?(pk|fk|key|check)$')`,
		"a trigger that refuses every change, for everybody": `
			SELECT c.relname
			FROM pg_class AS c
			WHERE c.relkind IN ('r', 'p') AND c.relnamespace = 'public'::regnamespace
				AND c.relname <> 'goose_db_version'
				AND NOT EXISTS (
					SELECT FROM pg_trigger AS t
					WHERE t.tgrelid = c.oid AND t.tgfoid = 'refuse_change'::regproc AND t.tgenabled = 'A'
						AND t.tgtype = 2 + 8 + 16 + 32 -- BEFORE DELETE, UPDATE, TRUNCATE, each statement.
						AND (t.tgattr::text = '') = (c.relname NOT IN ('api_key', 'sign_in_link', 'session', 'station_state', 'subscription', 'recipient', 'known_mark'))
				)`,
		"another state of the station after each change of what is known of it": `
			SELECT c.relname
			FROM pg_class AS c
			JOIN pg_attribute AS a ON a.attrelid = c.oid AND a.attname = 'station'
			WHERE c.relkind IN ('r', 'p') AND c.relnamespace = 'public'::regnamespace
				-- A planting is not of its station, and a feed shows in what it delivers.
				AND c.relname NOT IN ('station', 'station_state', 'outlook', 'planting_version', 'feed', 'feed_version', 'feed_run')
				AND NOT EXISTS (
					SELECT FROM pg_trigger AS t
					WHERE t.tgrelid = c.oid AND t.tgfoid = 'change_station_state'::regproc AND t.tgenabled = 'A'
						AND t.tgtype = 4 -- AFTER INSERT, each statement.
				)`,
		"a comment with the unit of every number": `
			SELECT c.relname || '.' || a.attname
			FROM pg_class AS c
			JOIN pg_attribute AS a ON a.attrelid = c.oid
			WHERE c.relkind IN ('r', 'p') AND c.relnamespace = 'public'::regnamespace
				AND a.atttypid IN ('float8'::regtype, 'float8[]'::regtype) AND NOT a.attisdropped
				AND col_description(c.oid, a.attnum) IS NULL`,
	} {
		rows, _ := pool.Query(t.Context(), sql)
		names, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatalf("%s: %v", rule, err)
		}
		if len(names) > 0 {
			t.Errorf("without %s: %s", rule, strings.Join(names, ", "))
		}
	}
}
