package db

import (
	"context"
	"errors"
	"fmt"
	"slices"
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

// revision is one putting of a thing, whose values are T.
type revision[T any] struct {
	lockSQL, addSQL string // Of the row that says that the thing exists.
	key             []any  // Its primary key.

	read  func(ctx context.Context, tx pgx.Tx) (T, version, error)
	same  func(was T) bool // Nothing new is said.
	write func(ctx context.Context, tx pgx.Tx, was T, last version, at time.Time) error
}

// put records a thing as it is from the instant at on, unless that is known
// already, and reports whether the thing is a new one.
func put[T any](ctx context.Context, s *Store, what string, at time.Time, r revision[T]) (created bool, err error) {
	farm, _ := r.key[0].(string) // It leads every key.
	err = s.record(ctx, farm, at, func(tx pgx.Tx, at time.Time) error {
		created, err = r.put(ctx, tx, at)
		return err
	})
	if err != nil {
		return false, fmt.Errorf("put %s: %w", what, err)
	}
	return created, nil
}

// put is the transaction of the function put.
func (r revision[T]) put(ctx context.Context, tx pgx.Tx, at time.Time) (created bool, err error) {
	if created, err = claim(ctx, tx, r.lockSQL, r.key, r.addSQL, append(slices.Clone(r.key), at)); err != nil {
		return false, err
	}
	was, last, err := r.read(ctx, tx)
	switch {
	case errors.Is(err, pgx.ErrNoRows): // The first version.
	case err != nil:
		return false, err
	case r.same(was):
		return created, nil
	}
	return created, r.write(ctx, tx, was, last, at)
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
