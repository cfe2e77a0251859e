package db

import (
	"context"
	"fmt"
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
