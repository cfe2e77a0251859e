package db

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

const stationStatesSQL = `
	SELECT COALESCE(string_agg(station || ' ' || state, ' ' ORDER BY station), '')
	FROM station_state
	WHERE farm = $1`

// StationStates names what is on record of the stations of a farm, with their
// days, verdicts, hours of reading and outlooks: while it is the same, so are
// they, and after any change it is one that never was before. It costs little.
func (s *Store) StationStates(ctx context.Context, farm string) (string, error) {
	var states string
	if err := s.pool.QueryRow(ctx, stationStatesSQL, farm).Scan(&states); err != nil {
		return "", fmt.Errorf("read states of stations: %w", domain(err))
	}
	return states, nil
}

const stationStateSQL = `SELECT state FROM station_state WHERE farm = $1 AND station = $2`

// StationState is like [Store.StationStates], of one station. It is empty for one
// that nobody knows.
func (s *Store) StationState(ctx context.Context, farm, station string) (string, error) {
	var state string
	if err := s.pool.QueryRow(ctx, stationStateSQL, farm, station).Scan(&state); err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return "", fmt.Errorf("read state of a station: %w", domain(err))
	}
	return state, nil
}

// bit_xor of hashes of random identifiers: rows are added and never changed, so
// that the same number of rows with the same sum are the same rows.
const sightingStateSQL = `
	SELECT concat_ws(' ', s.n, s.sum, e.n, e.sum)
	FROM
		(SELECT count(*) AS n, bit_xor(hashtextextended(id, 0)) AS sum FROM sighting WHERE farm = $1) AS s,
		(SELECT count(*) AS n, bit_xor(hashtextextended(id, 0)) AS sum FROM sighting_end WHERE farm = $1) AS e`

// SightingState names the sightings of a farm: while it is the same, so are
// they. It costs a tenth of reading them.
func (s *Store) SightingState(ctx context.Context, farm string) (string, error) {
	var state string
	if err := s.pool.QueryRow(ctx, sightingStateSQL, farm).Scan(&state); err != nil {
		return "", fmt.Errorf("read state of sightings: %w", domain(err))
	}
	return state, nil
}

// Rows are added and never changed nor deleted, so that as many rows are the
// same rows. Of stations, which have many, the states are asked instead.
const farmStateSQL = `
	SELECT concat_ws(' ',
		(SELECT string_agg(station || ' ' || state, ' ' ORDER BY station) FROM station_state WHERE farm = $1),
		(SELECT count(*) FROM farm_version WHERE farm = $1),
		(SELECT count(*) FROM variety_version WHERE farm = $1),
		(SELECT count(*) FROM planting_version WHERE farm = $1),
		(SELECT count(*) FROM sighting WHERE farm = $1),
		(SELECT count(*) FROM sighting_end WHERE farm = $1),
		(SELECT count(*) FROM picking_version WHERE farm = $1),
		(SELECT count(*) FROM frost_version WHERE farm = $1),
		(SELECT count(*) FROM decision_version WHERE farm = $1),
		(SELECT count(*) FROM method_version WHERE farm = $1),
		(SELECT count(*) FROM frozen_forecast WHERE farm = $1))`

// FarmState names all that forecasts of a farm are made from, and the frozen
// ones: while it is the same, so are they.
func (s *Store) FarmState(ctx context.Context, farm string) (string, error) {
	var state string
	if err := s.pool.QueryRow(ctx, farmStateSQL, farm).Scan(&state); err != nil {
		return "", fmt.Errorf("read state of a farm: %w", domain(err))
	}
	return state, nil
}
