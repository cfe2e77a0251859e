package db

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
	"ripetide/weather"
)

const freezeSQL = `
	INSERT INTO frozen_forecast (farm, id, season, as_of, known_at, made_at, hindcast, program, body)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`

// Freeze stores a forecast for ever. Errors: [forecast.ErrFarmNotFound].
func (s *Store) Freeze(ctx context.Context, f forecast.Frozen) error {
	_, err := s.pool.Exec(ctx, freezeSQL,
		f.Farm, f.ID, f.Season, f.AsOf, instant(f.KnownAt), instant(f.MadeAt), f.Hindcast, f.Program, f.Body)
	if err != nil {
		return fmt.Errorf("freeze forecast: %w", domain(err))
	}
	return nil
}

const forecastSQL = `
	SELECT farm, id, season, as_of, known_at, made_at, hindcast, program
	FROM frozen_forecast
	WHERE farm = $1 AND id = $2`

// Forecast returns a frozen forecast, or [forecast.ErrForecastNotFound].
func (s *Store) Forecast(ctx context.Context, farm, id string) (forecast.Frozen, error) {
	return s.frozen(ctx, forecastSQL, farm, id)
}

// latestForecastSQL goes by when forecasts were made, which always grows: each
// was made for its own morning, but a clock that was ahead may have left one of a
// morning that is still far away. The row is found by an index alone.
const latestForecastSQL = `
	SELECT farm, id, season, as_of, known_at, made_at, hindcast, program
	FROM frozen_forecast
	WHERE farm = $1 AND id = (
		SELECT id
		FROM frozen_forecast
		WHERE farm = $1 AND NOT hindcast
		ORDER BY made_at DESC, as_of DESC, id DESC
		LIMIT 1)`

// LatestForecast returns the forecast of a farm that was made last on its own
// morning; never a hindcast. Errors: [forecast.ErrForecastNotFound].
func (s *Store) LatestForecast(ctx context.Context, farm string) (forecast.Frozen, error) {
	return s.frozen(ctx, latestForecastSQL, farm)
}

// latestOfSeasonSQL is latestForecastSQL for a season. Hindcasts may be made in any
// order, so their mornings count.
const latestOfSeasonSQL = `
	SELECT farm, id, season, as_of, known_at, made_at, hindcast, program
	FROM frozen_forecast
	WHERE farm = $1 AND id = (
		SELECT id
		FROM frozen_forecast
		WHERE farm = $1 AND season = $2
		ORDER BY hindcast, CASE WHEN NOT hindcast THEN made_at END DESC, as_of DESC, made_at DESC, id DESC
		LIMIT 1)`

// LatestOfSeason returns the forecast of a season that was made last on its own
// morning, and only if there is none the hindcast of the latest one. Errors:
// [forecast.ErrForecastNotFound].
func (s *Store) LatestOfSeason(ctx context.Context, farm string, season int) (forecast.Frozen, error) {
	return s.frozen(ctx, latestOfSeasonSQL, farm, season)
}

// previousSQL compares made_at as it is kept, to the microsecond.
const previousSQL = `
	SELECT farm, id, season, as_of, known_at, made_at, hindcast, program
	FROM frozen_forecast
	WHERE farm = $1 AND season = $2 AND as_of < $3 AND made_at <= $4
	ORDER BY as_of DESC, hindcast, made_at DESC, id DESC
	LIMIT 1`

// Previous returns the forecast of a season that came before the morning
// before, as far as it had been made by knownAt: the one for the latest earlier
// morning, of those no hindcast if there is another, and of those the one made
// last. It reports whether there is any.
func (s *Store) Previous(ctx context.Context, farm string, season int, before weather.Date, knownAt time.Time) (forecast.Frozen, bool, error) {
	f, err := s.frozen(ctx, previousSQL, farm, season, before, instant(knownAt))
	if errors.Is(err, forecast.ErrForecastNotFound) {
		return forecast.Frozen{}, false, nil
	}
	return f, err == nil, err
}

// frozen reads what a query finds, and the body that belongs to it.
func (s *Store) frozen(ctx context.Context, sql string, args ...any) (forecast.Frozen, error) {
	f, err := scanFrozen(s.pool.QueryRow(ctx, sql, args...))
	if err == nil {
		f.Body, err = s.body(ctx, frozenKey{f.Farm, f.ID})
	}
	if err != nil {
		return forecast.Frozen{}, fmt.Errorf("read forecast: %w", domain(orNotFound(err, forecast.ErrForecastNotFound)))
	}
	return f, nil
}

// scanFrozen reads all but the body.
func scanFrozen(row pgx.Row) (f forecast.Frozen, err error) {
	err = row.Scan(&f.Farm, &f.ID, &f.Season, &f.AsOf, &f.KnownAt, &f.MadeAt, &f.Hindcast, &f.Program)
	return f, err
}

// frozenKey names a frozen forecast.
type frozenKey struct{ farm, id string }

const bodySQL = `
	SELECT body
	FROM frozen_forecast
	WHERE farm = $1 AND id = $2`

// body returns the frozen form of a forecast. It never changes, so those asked
// for last are kept.
func (s *Store) body(ctx context.Context, k frozenKey) ([]byte, error) {
	return s.bodies.Get(ctx, k, func(ctx context.Context) (body []byte, lasts bool, err error) {
		err = s.pool.QueryRow(ctx, bodySQL, k.farm, k.id).Scan(&body)
		return body, true, err
	})
}

const forecastsSQL = `
	SELECT farm, id, season, as_of, known_at, made_at, hindcast, program
	FROM frozen_forecast
	WHERE farm = $1 AND ($2::int IS NULL OR season = $2)
	ORDER BY as_of DESC, made_at DESC, id DESC`

// Forecasts returns the frozen forecasts of a farm, of one season or of all,
// hindcasts too, the latest first, without their bodies.
func (s *Store) Forecasts(ctx context.Context, farm string, season *int) ([]forecast.Frozen, error) {
	rows, _ := s.pool.Query(ctx, forecastsSQL, farm, season)
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (forecast.Frozen, error) { return scanFrozen(row) })
	if err != nil {
		return nil, fmt.Errorf("read forecasts: %w", domain(err))
	}
	return list, nil
}
