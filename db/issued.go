package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
)

const (
	// issuedSQL picks one forecast of a morning as latestOfSeasonSQL does.
	issuedSQL = `
		SELECT DISTINCT ON (as_of) farm, id, season, as_of, known_at, made_at, hindcast, program
		FROM frozen_forecast AS f
		WHERE farm = $1 AND season = $2 AND (NOT hindcast OR NOT EXISTS (
			SELECT FROM frozen_forecast AS g
			WHERE g.farm = f.farm AND g.season = f.season AND NOT g.hindcast))
		ORDER BY as_of, made_at DESC, id DESC`

	bodiesSQL = `
		SELECT id, body
		FROM frozen_forecast
		WHERE farm = $1 AND id = ANY($2)
		ORDER BY id`
)

// Issued returns what the frozen forecasts of a season said of a planting, as
// [Store.IssuedOfAll] does of all.
func (s *Store) Issued(ctx context.Context, farm string, season int, planting string) ([]forecast.Issued, error) {
	all, err := s.IssuedOfAll(ctx, farm, season)
	if err != nil {
		return nil, err
	}
	out := make([]forecast.Issued, len(all))
	for i, z := range all {
		out[i] = z.Of(planting)
	}
	return out, nil
}

// IssuedOfAll returns what the frozen forecasts of a season said, by rising
// morning: of each morning the one made last, hindcasts only if there is nothing
// else.
func (s *Store) IssuedOfAll(ctx context.Context, farm string, season int) ([]forecast.IssuedAll, error) {
	rows, _ := s.pool.Query(ctx, issuedSQL, farm, season)
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (forecast.Frozen, error) { return scanFrozen(row) })
	if err != nil {
		return nil, fmt.Errorf("read what was issued: %w", domain(err))
	}
	said, err := s.saidOf(ctx, farm, list)
	if err != nil {
		return nil, fmt.Errorf("read what was issued: %w", domain(err))
	}
	out := make([]forecast.IssuedAll, len(list))
	for i, z := range list {
		out[i] = forecast.IssuedAll{ID: z.ID, AsOf: z.AsOf, MadeAt: z.MadeAt, Hindcast: z.Hindcast, Said: said[z.ID]}
	}
	return out, nil
}

// saidOf returns what frozen forecasts said, by forecast. A season has many, with
// large bodies, so what was read of one is kept.
func (s *Store) saidOf(ctx context.Context, farm string, list []forecast.Frozen) (map[string]forecast.Said, error) {
	said := make(map[string]forecast.Said, len(list))
	var missing []string
	for _, z := range list {
		if one, ok := s.said.Look(frozenKey{farm, z.ID}); ok {
			said[z.ID] = one
		} else {
			missing = append(missing, z.ID)
		}
	}
	if len(missing) == 0 {
		return said, nil
	}
	rows, _ := s.pool.Query(ctx, bodiesSQL, farm, missing)
	var z forecast.Frozen
	_, err := pgx.ForEachRow(rows, []any{&z.ID, &z.Body}, func() error {
		one, err := z.Said()
		if err != nil {
			return err
		}
		said[z.ID] = one
		s.said.Put(frozenKey{farm, z.ID}, one)
		return nil
	})
	return said, err
}
