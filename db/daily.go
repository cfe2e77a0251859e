package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast/daily"
	"ripetide/weather"
)

var _ daily.Store = (*Store)(nil)

const morningsSQL = `
	SELECT DISTINCT as_of
	FROM frozen_forecast
	WHERE farm = $1 AND as_of >= $2
	ORDER BY as_of`

// Mornings implements [daily.Store].
func (s *Store) Mornings(ctx context.Context, farm string, from weather.Date) ([]weather.Date, error) {
	rows, _ := s.pool.Query(ctx, morningsSQL, farm, from)
	days, err := pgx.CollectRows(rows, pgx.RowTo[weather.Date])
	if err != nil {
		return nil, fmt.Errorf("read mornings: %w", domain(err))
	}
	return days, nil
}

// LockMorning implements [daily.Store].
func (s *Store) LockMorning(ctx context.Context, farm string) (unlock func(), got bool, err error) {
	return s.lockRun(ctx, "morning "+farm)
}
