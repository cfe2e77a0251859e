package db

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/pgxpool"

	"ripetide/forecast"
	"ripetide/forecast/memo"
)

var _ forecast.Store = (*Store)(nil)

// Store is the database. It is safe for concurrent use.
type Store struct {
	pool *pgxpool.Pool
	held chan struct{} // Places for those who hold a connection, see hold.

	// What is frozen never changes: bodies of forecasts, and their dates alone, of
	// as many as some long seasons have.
	bodies memo.Cache[frozenKey, []byte]
	stages memo.Cache[frozenKey, map[string]*forecast.StageDates]
}

// Options are the settings of a [Store]. Names and times that the connection
// string sets itself come before them.
type Options struct {
	ApplicationName  string        // Name in pg_stat_activity; default ripetide.
	MaxConns         int32         // Most connections, 4 at least; default: pool_max_conns of the connection string, else the greater of 4 and the number of cores.
	StatementTimeout time.Duration // Longest run of one statement; default 1 min.
	LockTimeout      time.Duration // Longest wait for another writer; default 10 s.
	IdleTimeout      time.Duration // Longest pause inside a transaction; default 1 min.
}

// Open connects to a database that [Migrate] has brought up to date. Errors:
// [ErrServerTooOld]. The caller closes the store.
func Open(ctx context.Context, dsn string, o Options) (*Store, error) {
	cfg, err := pgxpool.ParseConfig(dsn)
	if err != nil {
		return nil, fmt.Errorf("read connection string: %w", err) // pgx leaves the password out.
	}
	for name, value := range map[string]string{
		"application_name":                    cmp.Or(o.ApplicationName, "ripetide"),
		"statement_timeout":                   millis(o.StatementTimeout, time.Minute),
		"lock_timeout":                        millis(o.LockTimeout, 10*time.Second),
		"idle_in_transaction_session_timeout": millis(o.IdleTimeout, time.Minute),
		"timezone":                            "UTC",
	} {
		if own := cfg.ConnConfig.RuntimeParams; own[name] == "" {
			own[name] = value
		}
	}
	if o.MaxConns > 0 {
		cfg.MaxConns = o.MaxConns
	}
	// A daily forecast holds two connections and asks for a third, see hold.
	cfg.MaxConns = max(cfg.MaxConns, leastConns)
	cfg.AfterConnect = registerTypes
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("open database: %w", err)
	}
	s := &Store{pool: pool, held: make(chan struct{}, max(1, cfg.MaxConns/2))}
	s.stages.Most = 1000
	if err := s.checkServer(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("open database: %w", err)
	}
	return s, nil
}

// leastConns is the fewest connections that a store works with.
const leastConns = 4

func millis(d, standard time.Duration) string {
	if d <= 0 {
		d = standard
	}
	return strconv.FormatInt(max(d.Milliseconds(), 1), 10)
}

// registerTypes teaches a connection the types of the domain.
func registerTypes(_ context.Context, conn *pgx.Conn) error {
	m := conn.TypeMap()
	m.RegisterType(&pgtype.Type{
		Name: "timestamptz", OID: pgtype.TimestamptzOID,
		Codec: &pgtype.TimestamptzCodec{ScanLocation: time.UTC},
	})
	registerDate(m)
	return nil
}

const serverVersionSQL = `SELECT current_setting('server_version_num')::int, current_setting('server_version')`

func (s *Store) checkServer(ctx context.Context) error {
	var num int
	var name string
	if err := s.pool.QueryRow(ctx, serverVersionSQL).Scan(&num, &name); err != nil {
		return err
	}
	return serverFault(num, name)
}

// serverFault refuses a server whose server_version_num is too low.
func serverFault(num int, name string) error {
	if num < oldestServer*10000 {
		return &ServerTooOldError{Version: name}
	}
	return nil
}

// Ping reports whether the database answers.
func (s *Store) Ping(ctx context.Context) error {
	if err := s.pool.Ping(ctx); err != nil {
		return fmt.Errorf("ping database: %w", err)
	}
	return nil
}

// Close waits for the connections in use and closes all.
func (s *Store) Close() { s.pool.Close() }

// attempts is how often a transaction is tried that loses to others.
const attempts = 5

// write runs fn in a transaction, again if PostgreSQL gave it up for the sake
// of others. fn must not leave anything behind that a second run would not
// set anew.
func (s *Store) write(ctx context.Context, fn func(pgx.Tx) error) error {
	var err error
	for n := range attempts {
		if err = pgx.BeginFunc(ctx, s.pool, fn); !retryable(err) {
			break
		}
		pause := time.Duration(1+rand.Int64N(10<<n)) * time.Millisecond
		select {
		case <-ctx.Done():
			return errors.Join(ctx.Err(), domain(err))
		case <-time.After(pause):
		}
	}
	return domain(err)
}

// retryable reports whether a transaction failed for being the one to go.
func retryable(err error) bool {
	e, ok := errors.AsType[*pgconn.PgError](err)
	return ok && (e.Code == serializationFailure || e.Code == deadlockDetected)
}

// instant returns t as PostgreSQL keeps it.
func instant(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// later returns t, or the latest of others that t lies before.
func later(t time.Time, others ...time.Time) time.Time {
	for _, o := range others {
		if t.Before(o) {
			t = o
		}
	}
	return t
}

// now stands for "as known now" in queries that ask for an instant.
var now = pgtype.Timestamptz{InfinityModifier: pgtype.Infinity, Valid: true}

// known returns the argument for "as known at t", nil being now.
func known(t *time.Time) pgtype.Timestamptz {
	if t == nil {
		return now
	}
	return pgtype.Timestamptz{Time: instant(*t), Valid: true}
}
