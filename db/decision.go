package db

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
)

// PutDecision records what a farm has decided, with a nil day that it takes it
// back, and reports whether it is the first of its kind in the season. What is
// decided already, on the same forecast and with the same note, is not recorded
// again. It returns the decision as it is on record. Errors:
// [forecast.ErrFarmNotFound], [forecast.ErrForecastNotFound];
// [forecast.ErrDecisionNotFound] when there is nothing to take back.
func (s *Store) PutDecision(ctx context.Context, farm string, d forecast.Decision) (kept forecast.Decision, created bool, err error) {
	err = s.record(ctx, farm, d.DecidedAt, func(tx pgx.Tx, at time.Time) error {
		var since time.Time
		if err := tx.QueryRow(ctx, claimFarmSQL, farm).Scan(&since); err != nil {
			return orNotFound(err, forecast.ErrFarmNotFound)
		}
		rows, _ := tx.Query(ctx, decisionsSQL, farm, d.Season, now)
		all, err := pgx.CollectRows(rows, scanDecision)
		if err != nil {
			return err
		}
		var was forecast.Decision
		for _, x := range all {
			if x.Kind == d.Kind {
				was = x
			}
		}
		switch {
		case was.Day == nil && d.Day == nil:
			return forecast.ErrDecisionNotFound
		case was.Day != nil && d.Day != nil && *was.Day == *d.Day && was.Forecast == d.Forecast && was.Note == d.Note:
			kept = was
			return nil
		}
		created = was.Version == 0
		kept = d
		kept.Version, kept.DecidedAt = was.Version+1, later(at, was.DecidedAt, since)
		_, err = tx.Exec(ctx, addDecisionSQL,
			farm, d.Season, d.Kind, kept.Version, kept.DecidedAt, d.DecidedBy, d.Day, d.Forecast, d.Note)
		return err
	})
	if err != nil {
		return forecast.Decision{}, false, fmt.Errorf("put decision: %w", err)
	}
	return kept, created, nil
}

const (
	// decisionsSQL reads the decisions of farm $1 for season $2, or all with
	// NULL, that were recorded by $3.
	decisionsSQL = `
		SELECT season, kind, version, decided_at, decided_by, day, forecast, note
		FROM decision_version
		WHERE farm = $1 AND ($2::int IS NULL OR season = $2) AND decided_at <= $3
		ORDER BY season, kind, version`

	addDecisionSQL = `
		INSERT INTO decision_version (farm, season, kind, version, decided_at, decided_by, day, forecast, note)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`
)

func scanDecision(row pgx.CollectableRow) (d forecast.Decision, err error) {
	err = row.Scan(&d.Season, &d.Kind, &d.Version, &d.DecidedAt, &d.DecidedBy, &d.Day, &d.Forecast, &d.Note)
	return d, err
}

// Decisions returns what a farm has decided of a season, or of all with nil: all
// versions, by season, kind and version.
func (s *Store) Decisions(ctx context.Context, farm string, season *int) ([]forecast.Decision, error) {
	rows, _ := s.pool.Query(ctx, decisionsSQL, farm, season, now)
	ds, err := pgx.CollectRows(rows, scanDecision)
	if err != nil {
		return nil, fmt.Errorf("read decisions: %w", domain(err))
	}
	return ds, nil
}
