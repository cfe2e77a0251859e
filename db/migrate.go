package db

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"

	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed migrations/*.sql
var migrations embed.FS

// The wait for another program that migrates: one look a second for five
// minutes.
const lockPeriod, lockLooks = 1, 300

// Migrate brings the tables of a database up to what this program knows, under
// a lock, so that any number of programs may start at once. Where there is
// nothing to do it does nothing. Errors: [ErrServerTooOld], [ErrSchemaNewer].
func Migrate(ctx context.Context, dsn string) error {
	if err := migrate(ctx, dsn); err != nil {
		return fmt.Errorf("migrate database: %w", err)
	}
	return nil
}

func migrate(ctx context.Context, dsn string) (err error) {
	cfg, err := parseDSN(dsn)
	if err != nil {
		return err
	}
	if own := cfg.ConnConfig.RuntimeParams; own["application_name"] == "" {
		own["application_name"] = "ripetide migrate"
	}
	conn := stdlib.OpenDB(*cfg.ConnConfig)
	defer func() { err = errors.Join(err, conn.Close()) }()

	var num int
	var name string
	if err := conn.QueryRowContext(ctx, serverVersionSQL).Scan(&num, &name); err != nil {
		return err
	}
	if err := serverFault(num, name); err != nil {
		return err
	}
	provider, err := newProvider(conn)
	if err != nil {
		return err
	}
	sources := provider.ListSources()
	last := sources[len(sources)-1].Version
	if done, err := upToDate(ctx, conn, last); done || err != nil {
		return err
	}
	if _, err := provider.Up(ctx); err != nil {
		return err
	}
	// A newer program may have been at it while this one waited for the lock.
	_, err = upToDate(ctx, conn, last)
	return err
}

func newProvider(conn *sql.DB) (*goose.Provider, error) {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(lockPeriod, lockLooks))
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectPostgres, conn, files,
		goose.WithSessionLocker(locker), goose.WithDisableGlobalRegistry(true))
}

const (
	schemaExistsSQL = `SELECT to_regclass('goose_db_version') IS NOT NULL`

	schemaVersionSQL = `
		SELECT COALESCE(max(version_id), 0)
		FROM goose_db_version
		WHERE is_applied`
)

// upToDate reports whether the tables are those of version last, and refuses
// newer ones. It needs no lock.
func upToDate(ctx context.Context, conn *sql.DB, last int64) (bool, error) {
	var exists bool
	if err := conn.QueryRowContext(ctx, schemaExistsSQL).Scan(&exists); err != nil || !exists {
		return false, err
	}
	var have int64
	if err := conn.QueryRowContext(ctx, schemaVersionSQL).Scan(&have); err != nil {
		return false, err
	}
	if have > last {
		return false, &SchemaNewerError{Database: have, Program: last}
	}
	return have == last, nil
}
