package db

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
)

// querier is what the pool and a transaction have in common for reading.
type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

// version tells which version of a thing was read. The zero value comes before
// the first.
type version struct {
	number int
	at     time.Time
}

// claim locks the row of a thing until the end of the transaction, and makes
// it if there is none. lockSQL must be a statement of its own: the next one
// then sees what the writer before has left, which a snapshot taken before the
// wait would not.
func claim(ctx context.Context, tx pgx.Tx, lockSQL string, lockArgs []any, addSQL string, addArgs []any) (created bool, err error) {
	var slug string
	err = tx.QueryRow(ctx, lockSQL, lockArgs...).Scan(&slug)
	if !errors.Is(err, pgx.ErrNoRows) {
		return false, err
	}
	tag, err := tx.Exec(ctx, addSQL, addArgs...)
	if err != nil || tag.RowsAffected() == 1 {
		return err == nil, err
	}
	// Another writer was first.
	return false, tx.QueryRow(ctx, lockSQL, lockArgs...).Scan(&slug)
}
