package db

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
)

// issuedSQL picks one forecast of a morning as latestOfSeasonSQL does.
const issuedSQL = `
	SELECT DISTINCT ON (as_of) id, as_of, made_at, hindcast, body
	FROM frozen_forecast AS f
	WHERE farm = $1 AND season = $2 AND (NOT hindcast OR NOT EXISTS (
		SELECT FROM frozen_forecast AS g
		WHERE g.farm = f.farm AND g.season = f.season AND NOT g.hindcast))
	ORDER BY as_of, made_at DESC, id DESC`

// Issued returns what the frozen forecasts of a season said of a planting, by
// rising morning: of each morning the one made last, hindcasts only if there is
// nothing else.
func (s *Store) Issued(ctx context.Context, farm string, season int, planting string) ([]forecast.Issued, error) {
	rows, _ := s.pool.Query(ctx, issuedSQL, farm, season)
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (forecast.Issued, error) {
		var z forecast.Frozen
		if err := row.Scan(&z.ID, &z.AsOf, &z.MadeAt, &z.Hindcast, &z.Body); err != nil {
			return forecast.Issued{}, err
		}
		return z.Issued(planting)
	})
	if err != nil {
		return nil, fmt.Errorf("read what was issued: %w", domain(err))
	}
	return list, nil
}
