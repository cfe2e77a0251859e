package db

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/pressly/goose/v3"
)

// Standing is how a database stands: what a person must know who looks for
// what is wrong with it.
type Standing struct {
	Version string        // Of the server, such as 15.18.
	Schema  int64         // Version of the tables; 0: there are none yet.
	Program int64         // Version of the tables that this program knows.
	Off     []string      // Settings that are off and without which a power cut can lose records or all of them, in order.
	Ahead   time.Duration // By how much the server's clock is ahead of now; negative: behind.
}

// Examine connects to a database and looks at it. It changes nothing: its
// session is read-only. now is this machine's clock. Errors: [ErrDSN],
// [ErrNoAnswer], [ErrRefused], [ErrNoDatabase], [ErrServerTooOld], which comes
// with the version alone.
func Examine(ctx context.Context, dsn string, now func() time.Time) (s Standing, err error) {
	cfg, err := parseDSN(dsn)
	if err != nil {
		return s, err
	}
	own := cfg.ConnConfig.RuntimeParams
	own["application_name"], own[readOnly] = "ripetide doctor", "on"
	conn, err := pgx.ConnectConfig(ctx, cfg.ConnConfig)
	if err != nil {
		return s, refusal(err)
	}
	defer func() { err = errors.Join(err, conn.Close(context.WithoutCancel(ctx))) }()
	// The server says its version before it is asked anything.
	s.Version = conn.PgConn().ParameterStatus("server_version")
	major, _, _ := strings.Cut(s.Version, ".")
	if n, err := strconv.Atoi(major); err == nil && n < oldestServer {
		return s, &ServerTooOldError{Version: s.Version}
	}
	if s.Program, err = newestSchema(); err != nil {
		return s, err
	}
	var exists bool
	if err := conn.QueryRow(ctx, schemaExistsSQL).Scan(&exists); err != nil {
		return s, fmt.Errorf("examine database: %w", err)
	}
	if exists {
		if err := conn.QueryRow(ctx, schemaVersionSQL).Scan(&s.Schema); err != nil {
			return s, fmt.Errorf("examine database: %w", err)
		}
	}
	rows, _ := conn.Query(ctx, settingsOffSQL)
	if s.Off, err = pgx.CollectRows(rows, pgx.RowTo[string]); err != nil {
		return s, fmt.Errorf("examine database: %w", err)
	}
	var clock time.Time
	before := now()
	if err := conn.QueryRow(ctx, clockSQL).Scan(&clock); err != nil {
		return s, fmt.Errorf("examine database: %w", err)
	}
	s.Ahead = clock.Sub(before.Add(now().Sub(before) / 2))
	return s, nil
}

// readOnly is the setting of a session that refuses every change.
const readOnly = "default_transaction_read_only"

const (
	settingsOffSQL = `
		SELECT name
		FROM pg_settings
		WHERE name IN ('fsync', 'full_page_writes', 'synchronous_commit') AND setting = 'off'
		ORDER BY name`

	clockSQL = `SELECT clock_timestamp()`
)

// newestSchema is the version of the tables that [Migrate] leaves.
func newestSchema() (int64, error) {
	files, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return 0, err
	}
	var newest int64
	for _, name := range files {
		n, err := goose.NumericComponent(name)
		if err != nil {
			return 0, err
		}
		newest = max(newest, n)
	}
	return newest, nil
}

// parseDSN reads a connection string. Its error says nothing of what it holds,
// for a password with a / or a # in it would be taken for another part.
func parseDSN(dsn string) (*pgxpool.Config, error) {
	if strings.Contains(dsn, "://") {
		u, err := url.Parse(dsn)
		if err != nil || u.User == nil && strings.Contains(dsn, "@") {
			return nil, ErrDSN
		}
	}
	cfg, err := pgxpool.ParseConfig(dsn) // It knows the settings of pools, which pgx alone would send to the server.
	if err != nil {
		return nil, ErrDSN
	}
	return cfg, nil
}

// Place says which database a connection string names and as whom, for people:
// no password. Errors: [ErrDSN].
func Place(dsn string) (string, error) {
	cfg, err := parseDSN(dsn)
	if err != nil {
		return "", err
	}
	c := cfg.ConnConfig
	at := net.JoinHostPort(c.Host, strconv.Itoa(int(c.Port)))
	if strings.HasPrefix(c.Host, "/") {
		at = c.Host // A folder with a socket.
	}
	database := c.Database
	if database == "" {
		database = c.User // As the server takes it.
	}
	return fmt.Sprintf("database %s at %s as user %s", database, at, c.User), nil
}

// refusal says what it means that there is no connection. What the server said
// stays in the chain for the log.
func refusal(err error) error {
	meaning := ErrNoAnswer
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		switch e.Code {
		case "28P01", "28000", "42501": // invalid_password, invalid_authorization_specification, insufficient_privilege
			meaning = ErrRefused
		case "3D000": // invalid_catalog_name
			meaning = ErrNoDatabase
		}
	}
	return fmt.Errorf("%w: %w", meaning, err)
}
