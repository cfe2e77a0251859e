package postmaster

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// CreateDatabase makes an empty database, unless there is one of that name.
func (s *Server) CreateDatabase(ctx context.Context, name string) error {
	conn, err := pgx.Connect(ctx, s.DSN("postgres"))
	if err != nil {
		return fmt.Errorf("create database %s: %w", name, err)
	}
	_, err = conn.Exec(ctx, "CREATE DATABASE "+pgx.Identifier{name}.Sanitize())
	// duplicate_database, or unique_violation when two make it at once.
	if e, ok := errors.AsType[*pgconn.PgError](err); ok && (e.Code == "42P04" || e.Code == "23505") {
		err = nil
	}
	if err := errors.Join(err, conn.Close(ctx)); err != nil {
		return fmt.Errorf("create database %s: %w", name, err)
	}
	return nil
}
