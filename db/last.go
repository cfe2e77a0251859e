package db

import (
	"context"
	"fmt"
	"time"
)

const lastRecordedSQL = `
	SELECT GREATEST(
		(SELECT max(recorded_at) FROM farm_version WHERE farm = $1),
		(SELECT max(recorded_at) FROM station_version WHERE farm = $1),
		(SELECT max(recorded_at) FROM variety_version WHERE farm = $1),
		(SELECT max(recorded_at) FROM planting_version WHERE farm = $1),
		(SELECT max(recorded_at) FROM sighting WHERE farm = $1),
		(SELECT max(ended_at) FROM sighting_end WHERE farm = $1),
		(SELECT max(received_at) FROM station_day WHERE farm = $1),
		(SELECT max(received_at) FROM outlook_version WHERE farm = $1),
		(SELECT max(recorded_at) FROM picking_version WHERE farm = $1),
		(SELECT max(recorded_at) FROM frost_version WHERE farm = $1),
		(SELECT max(recorded_at) FROM spray_version WHERE farm = $1),
		(SELECT max(recorded_at) FROM announcing_version WHERE farm = $1),
		(SELECT max(decided_at) FROM decision_version WHERE farm = $1),
		(SELECT max(made_at) FROM frozen_forecast WHERE farm = $1))`

// LastRecorded returns the latest instant at which anything was recorded of a
// farm; the zero time if nothing was.
func (s *Store) LastRecorded(ctx context.Context, farm string) (time.Time, error) {
	var last *time.Time
	if err := s.pool.QueryRow(ctx, lastRecordedSQL, farm).Scan(&last); err != nil {
		return time.Time{}, fmt.Errorf("read last record: %w", domain(err))
	}
	if last == nil {
		return time.Time{}, nil
	}
	return *last, nil
}
