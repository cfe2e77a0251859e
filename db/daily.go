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
	SELECT as_of, max(made_at)
	FROM frozen_forecast
	WHERE farm = $1 AND as_of >= $2
	GROUP BY as_of
	ORDER BY as_of`

// Mornings implements [daily.Store].
func (s *Store) Mornings(ctx context.Context, farm string, from weather.Date) ([]daily.Morning, error) {
	rows, _ := s.pool.Query(ctx, morningsSQL, farm, from)
	days, err := pgx.CollectRows(rows, pgx.RowToStructByPos[daily.Morning])
	if err != nil {
		return nil, fmt.Errorf("read mornings: %w", domain(err))
	}
	return days, nil
}

// LockMorning implements [daily.Store].
func (s *Store) LockMorning(ctx context.Context, farm string) (unlock func(), got bool, err error) {
	return s.lockRun(ctx, "morning "+farm)
}
