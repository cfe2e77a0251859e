package db

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

const (
	// Writers share the farm's lock; whoever settles what is known has it alone.
	// Each is a statement of its own, so that the next one sees what those who
	// were waited for have left.
	shareKnownSQL = `SELECT pg_advisory_xact_lock_shared(hashtextextended('known ' || $1, 2))`
	ownKnownSQL   = `SELECT pg_advisory_xact_lock(hashtextextended('known ' || $1, 2))`

	knownMarkSQL = `
		SELECT known_at
		FROM known_mark
		WHERE farm = $1`

	moveMarkSQL = `
		INSERT INTO known_mark (farm, known_at)
		VALUES ($1, $2)
		ON CONFLICT (farm) DO UPDATE
		SET known_at = EXCLUDED.known_at`
)

// tick is the finest difference of instants that PostgreSQL keeps.
const tick = time.Microsecond

// record runs fn in a transaction that records something of a farm, with the
// instant to record it at: at, or the first one after what is settled.
func (s *Store) record(ctx context.Context, farm string, at time.Time, fn func(tx pgx.Tx, at time.Time) error) error {
	return s.write(ctx, func(tx pgx.Tx) error {
		mark, err := lockKnown(ctx, tx, shareKnownSQL, farm)
		if err != nil {
			return err
		}
		return fn(tx, later(instant(at), mark.Add(tick)))
	})
}

// lockKnown takes the farm's lock for the transaction and returns the mark, the
// zero time for none.
func lockKnown(ctx context.Context, tx pgx.Tx, lockSQL, farm string) (mark time.Time, err error) {
	b := &pgx.Batch{}
	b.Queue(lockSQL, farm)
	b.Queue(knownMarkSQL, farm).QueryRow(func(row pgx.Row) error {
		if err := row.Scan(&mark); !errors.Is(err, pgx.ErrNoRows) {
			return err
		}
		return nil
	})
	return mark, tx.SendBatch(ctx, b).Close()
}

// Settle implements [forecast.Store].
func (s *Store) Settle(ctx context.Context, farm string, at time.Time) (known time.Time, done func(), err error) {
	conn, release, err := s.hold(ctx)
	if err != nil {
		return time.Time{}, nil, fmt.Errorf("settle: %w", err)
	}
	work := "forecast " + farm
	// Forecasts of a farm are made one after another: each is compared with the
	// one before, which must be there.
	if _, err := conn.Exec(ctx, waitRunSQL, work); err != nil {
		conn.Release()
		release()
		return time.Time{}, nil, fmt.Errorf("settle: %w", domain(err))
	}
	done = func() {
		unlockRun(context.WithoutCancel(ctx), conn, work)
		release()
	}
	err = s.write(ctx, func(tx pgx.Tx) error {
		mark, err := lockKnown(ctx, tx, ownKnownSQL, farm)
		if err != nil {
			return err
		}
		known = later(instant(at), mark.Add(tick))
		_, err = tx.Exec(ctx, moveMarkSQL, farm, known)
		return err
	})
	if err != nil {
		done()
		return time.Time{}, nil, fmt.Errorf("settle: %w", err)
	}
	return known, done, nil
}

// Settled implements [forecast.Store].
func (s *Store) Settled(ctx context.Context, farm string) (known time.Time, err error) {
	err = s.pool.QueryRow(ctx, knownMarkSQL, farm).Scan(&known)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return time.Time{}, fmt.Errorf("read what is settled: %w", domain(err))
	}
	return known, nil
}
