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
	said   memo.Cache[frozenKey, forecast.Said]
}

// Options are the settings of a [Store]. Names and times that the connection
// string sets itself come before them.
type Options struct {
	ApplicationName  string        // Name in pg_stat_activity; default ripetide.
	MaxConns         int32         // Most connections, 4 at least; default: pool_max_conns of the connection string, else the greater of 4 and the number of cores.
	StatementTimeout time.Duration // Longest run of one statement; default 1 min.
	LockTimeout      time.Duration // Longest wait for another writer; default 10 s.
	IdleTimeout      time.Duration // Longest pause inside a transaction; default 1 min.
	ReadOnly         bool          // The database refuses every change.
}

// Open connects to a database that [Migrate] has brought up to date. Errors:
// [ErrDSN], [ErrServerTooOld]. The caller closes the store.
func Open(ctx context.Context, dsn string, o Options) (*Store, error) {
	cfg, err := parseDSN(dsn)
	if err != nil {
		return nil, fmt.Errorf("open database: %w", err)
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
	if o.ReadOnly {
		cfg.ConnConfig.RuntimeParams[readOnly] = "on"
	}
	if o.MaxConns > 0 {
		cfg.MaxConns = o.MaxConns
	}
	// A daily forecast holds two connections and asks for a third, see hold.
	cfg.MaxConns = max(cfg.MaxConns, leastConns)
	if cfg.ConnConfig.ConnectTimeout == 0 {
		cfg.ConnConfig.ConnectTimeout = connectTimeout
	}
	cfg.AfterConnect = prepare
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("open database: %w", err)
	}
	s := &Store{pool: pool, held: make(chan struct{}, max(1, cfg.MaxConns/2))}
	s.said.Most = 5000 // Of a farm every morning of a dozen seasons; some kilobytes each.
	if err := s.checkServer(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("open database: %w", err)
	}
	return s, nil
}

// leastConns is the fewest connections that a store works with.
const leastConns = 4

// connectTimeout is how long a server may take to answer, unless the connection
// string says.
const connectTimeout = 5 * time.Second

func millis(d, standard time.Duration) string {
	if d <= 0 {
		d = standard
	}
	return strconv.FormatInt(max(d.Milliseconds(), 1), 10)
}

const durableSQL = `SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'`

// prepare makes a connection one of ours and teaches it the types of the domain.
func prepare(ctx context.Context, conn *pgx.Conn) error {
	// What is answered as recorded must be on the disk, whatever is set for the
	// server, the database or the user. What is set for standbys is left as it is.
	if _, err := conn.Exec(ctx, durableSQL); err != nil {
		return err
	}
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

const writableSQL = `SELECT NOT pg_is_in_recovery() AND NOT current_setting('transaction_read_only')::boolean`

// Ping reports whether the database answers and takes writes.
func (s *Store) Ping(ctx context.Context) error {
	var writable bool
	if err := s.pool.QueryRow(ctx, writableSQL).Scan(&writable); err != nil {
		return fmt.Errorf("ping database: %w", err)
	}
	if !writable {
		return errors.New("ping database: it is read-only")
	}
	return nil
}

// Connections says how many connections a store has.
type Connections struct{ Used, Idle, Most int32 }

// Connections returns how many there are now.
func (s *Store) Connections() Connections {
	x := s.pool.Stat()
	return Connections{x.AcquiredConns(), x.IdleConns(), x.MaxConns()}
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
