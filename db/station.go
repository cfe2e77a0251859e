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

// PutStation records what is known of a station and reports whether it is a
// new one. What is known already is not recorded again. Errors:
// [forecast.ErrFarmNotFound]; [forecast.ErrStationNotFound] if its stand-in
// does not exist.
func (s *Store) PutStation(ctx context.Context, farm string, st weather.Station, by string, at time.Time) (created bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx) error {
		created, err = putStation(ctx, tx, farm, st, by, instant(at))
		return err
	})
	if err != nil {
		return false, fmt.Errorf("put station: %w", err)
	}
	return created, nil
}

const (
	addStationSQL = `
		INSERT INTO station (farm, station, created_at)
		VALUES ($1, $2, $3)
		ON CONFLICT DO NOTHING`

	lockStationSQL = `
		SELECT station
		FROM station
		WHERE farm = $1 AND station = $2
		FOR NO KEY UPDATE`

	addStationVersionSQL = `
		INSERT INTO station_version (
			farm, station, version, recorded_at, recorded_by, name, latitude, longitude, elevation_m, stand_in)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, NULLIF($10, ''))`

	standInSQL = `
		SELECT created_at
		FROM station
		WHERE farm = $1 AND station = $2`
)

func putStation(ctx context.Context, tx pgx.Tx, farm string, st weather.Station, by string, at time.Time) (created bool, err error) {
	if created, err = claim(ctx, tx, lockStationSQL, []any{farm, st.ID}, addStationSQL, []any{farm, st.ID, at}); err != nil {
		return false, err
	}
	was, v, err := queryStation(ctx, tx, farm, st.ID)
	switch {
	case errors.Is(err, pgx.ErrNoRows): // The first version.
	case err != nil:
		return false, err
	case was == st:
		return created, nil
	}
	var known time.Time // The instant from which the stand-in is known.
	if st.StandIn != "" {
		if err := tx.QueryRow(ctx, standInSQL, farm, st.StandIn).Scan(&known); err != nil {
			return false, orNotFound(err, forecast.ErrStationNotFound)
		}
	}
	_, err = tx.Exec(ctx, addStationVersionSQL,
		farm, st.ID, v.number+1, later(at, v.at, known), by, st.Name, st.Latitude, st.Longitude, st.Elevation, st.StandIn)
	return created, err
}

// Station returns what is known of a station, or
// [forecast.ErrStationNotFound].
func (s *Store) Station(ctx context.Context, farm, station string) (weather.Station, error) {
	st, _, err := queryStation(ctx, s.pool, farm, station)
	if err != nil {
		return weather.Station{}, fmt.Errorf("read station: %w", domain(orNotFound(err, forecast.ErrStationNotFound)))
	}
	return st, nil
}

const stationSQL = `
	SELECT version, recorded_at, station, name, latitude, longitude, elevation_m, COALESCE(stand_in, '')
	FROM station_version
	WHERE farm = $1 AND station = $2
	ORDER BY version DESC
	LIMIT 1`

func queryStation(ctx context.Context, q querier, farm, station string) (weather.Station, version, error) {
	return scanStation(q.QueryRow(ctx, stationSQL, farm, station))
}

func scanStation(row pgx.Row) (st weather.Station, v version, err error) {
	err = row.Scan(&v.number, &v.at, &st.ID, &st.Name, &st.Latitude, &st.Longitude, &st.Elevation, &st.StandIn)
	return st, v, err
}

// stationsSQL reads the newest versions recorded by $2.
const stationsSQL = `
	SELECT DISTINCT ON (station)
		version, recorded_at, station, name, latitude, longitude, elevation_m, COALESCE(stand_in, '')
	FROM station_version
	WHERE farm = $1 AND recorded_at <= $2
	ORDER BY station, version DESC`

// Stations returns the stations of a farm in order of their slugs.
func (s *Store) Stations(ctx context.Context, farm string) ([]weather.Station, error) {
	rows, _ := s.pool.Query(ctx, stationsSQL, farm, now)
	stations, err := collectStations(rows)
	if err != nil {
		return nil, fmt.Errorf("read stations: %w", domain(err))
	}
	return stations, nil
}

func collectStations(rows pgx.Rows) ([]weather.Station, error) {
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (weather.Station, error) {
		st, _, err := scanStation(row)
		return st, err
	})
}
