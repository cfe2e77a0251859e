package db

import (
	"context"
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// ServerFault lets tests pretend to be an old server.
var ServerFault = serverFault

// FarmStateSQL lets tests see what the state of a farm counts.
const FarmStateSQL = farmStateSQL

// Setting returns a setting of the sessions of s.
func Setting(t testing.TB, s *Store, name string) string {
	t.Helper()
	var value string
	if err := s.pool.QueryRow(t.Context(), "SELECT current_setting($1)", name).Scan(&value); err != nil {
		t.Fatal(err)
	}
	return value
}

// MigrateTo makes the tables of a version, as the program of its time did.
func MigrateTo(ctx context.Context, dsn string, version int64) error {
	cfg, err := pgx.ParseConfig(dsn)
	if err != nil {
		return err
	}
	conn := stdlib.OpenDB(*cfg)
	return errors.Join(tablesOf(ctx, conn, version), conn.Close())
}

// ChangesSQL lets tests see which tables changes are read from.
var ChangesSQL = changesSQL
