package db

import (
	"context"
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
	if st.Suspects == "" {
		st.Suspects = weather.LeaveOutSuspects
	}
	return put(ctx, s, "station", at, revision[weather.Station]{
		lockSQL: lockStationSQL, addSQL: addStationSQL, key: []any{farm, st.ID},
		read: func(ctx context.Context, tx pgx.Tx) (weather.Station, version, error) {
			return queryStation(ctx, tx, farm, st.ID)
		},
		same: func(was weather.Station) bool { return was == st },
		write: func(ctx context.Context, tx pgx.Tx, _ weather.Station, last version, at time.Time) error {
			var known time.Time // The instant from which the stand-in is known.
			if st.StandIn != "" {
				if err := tx.QueryRow(ctx, stationSinceSQL, farm, st.StandIn).Scan(&known); err != nil {
					return orNotFound(err, noSuch("stand_in", "station", forecast.ErrStationNotFound))
				}
			}
			_, err := tx.Exec(ctx, addStationVersionSQL,
				farm, st.ID, last.number+1, later(at, last.at, known), by,
				st.Name, st.Latitude, st.Longitude, st.Elevation, st.StandIn, st.Suspects)
			return err
		},
	})
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
			farm, station, version, recorded_at, recorded_by, name, latitude, longitude, elevation_m, stand_in, suspects)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, NULLIF($10, ''), $11)`

	stationSinceSQL = `
		SELECT created_at
		FROM station
		WHERE farm = $1 AND station = $2`
)

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
	SELECT version, recorded_at, station, name, latitude, longitude, elevation_m, COALESCE(stand_in, ''), suspects
	FROM station_version
	WHERE farm = $1 AND station = $2
	ORDER BY version DESC
	LIMIT 1`

func queryStation(ctx context.Context, q querier, farm, station string) (weather.Station, version, error) {
	return scanStation(q.QueryRow(ctx, stationSQL, farm, station))
}

func scanStation(row pgx.Row) (st weather.Station, v version, err error) {
	err = row.Scan(&v.number, &v.at, &st.ID, &st.Name, &st.Latitude, &st.Longitude, &st.Elevation, &st.StandIn, &st.Suspects)
	return st, v, err
}

// stationsSQL reads the newest versions recorded by $2.
const stationsSQL = `
	SELECT DISTINCT ON (station)
		version, recorded_at, station, name, latitude, longitude, elevation_m, COALESCE(stand_in, ''), suspects
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
