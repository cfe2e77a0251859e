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

// PutPlanting records what is known of a planting and reports whether it is a
// new one. What is known already is not recorded again. Errors, all that
// apply: [forecast.ErrFarmNotFound], [forecast.ErrVarietyNotFound],
// [forecast.ErrStationNotFound], a [*forecast.FieldError] if it would be
// planted after a sighting, picking or frost of it.
func (s *Store) PutPlanting(ctx context.Context, farm string, p forecast.Planting, by string, at time.Time) (created bool, err error) {
	return put(ctx, s, "planting", at, plantingRevision(farm, p, by))
}

func plantingRevision(farm string, p forecast.Planting, by string) revision[forecast.Planting] {
	return revision[forecast.Planting]{
		lockSQL: lockPlantingSQL, addSQL: addPlantingSQL, key: []any{farm, p.ID},
		read: func(ctx context.Context, tx pgx.Tx) (forecast.Planting, version, error) {
			return queryPlanting(ctx, tx, farm, p.ID)
		},
		same: func(was forecast.Planting) bool { return samePlanting(was, p) },
		write: func(ctx context.Context, tx pgx.Tx, _ forecast.Planting, last version, at time.Time) error {
			known, err := checkPlanting(ctx, tx, farm, p)
			if err != nil {
				return err
			}
			_, err = tx.Exec(ctx, addPlantingVersionSQL,
				farm, p.ID, last.number+1, later(at, last.at, known), by, p.Variety, p.Block, p.Station,
				p.PlantedOn, p.RemovedOn, p.AreaM2, p.KgPerM2)
			return err
		},
	}
}

const (
	addPlantingSQL = `
		INSERT INTO planting (farm, planting, created_at)
		VALUES ($1, $2, $3)
		ON CONFLICT DO NOTHING`

	lockPlantingSQL = `
		SELECT planting
		FROM planting
		WHERE farm = $1 AND planting = $2
		FOR NO KEY UPDATE`

	addPlantingVersionSQL = `
		INSERT INTO planting_version (
			farm, planting, version, recorded_at, recorded_by, variety, block, station,
			planted_on, removed_on, area_m2, expected_kg_per_m2)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`
)

func samePlanting(a, b forecast.Planting) bool {
	if (a.RemovedOn == nil) != (b.RemovedOn == nil) || a.RemovedOn != nil && *a.RemovedOn != *b.RemovedOn {
		return false
	}
	a.RemovedOn, b.RemovedOn = nil, nil
	return a == b
}

const plantingNeedsSQL = `
	SELECT
		(SELECT created_at FROM variety WHERE farm = $1 AND variety = $2),
		(SELECT created_at FROM station WHERE farm = $1 AND station = $3)`

// checkPlanting returns the instant from which everything that p refers to is
// known, or everything in which p does not fit what is known of the farm. The
// foreign keys would tell of the first fault only.
func checkPlanting(ctx context.Context, tx pgx.Tx, farm string, p forecast.Planting) (known time.Time, err error) {
	var variety, station *time.Time
	if err := tx.QueryRow(ctx, plantingNeedsSQL, farm, p.Variety, p.Station).Scan(&variety, &station); err != nil {
		return time.Time{}, err
	}
	var faults []error
	if variety == nil {
		faults = append(faults, noSuch("variety", "variety", forecast.ErrVarietyNotFound))
	} else {
		known = later(known, *variety)
	}
	if station == nil {
		faults = append(faults, noSuch("station", "station", forecast.ErrStationNotFound))
	} else {
		known = later(known, *station)
	}
	sightings, err := querySightings(ctx, tx, farm, SightingFilter{Planting: p.ID})
	if err != nil {
		return time.Time{}, err
	}
	for _, s := range sightings {
		if s.Date < p.PlantedOn {
			faults = append(faults, plantedAfter(s.Date, "a sighting of "+s.Stage.String()))
			break
		}
	}
	before := p.PlantedOn - 1
	picked, err := pickings.list(ctx, tx, farm, p.ID, nil, &before, nil)
	if err != nil {
		return time.Time{}, err
	}
	if len(picked) > 0 {
		faults = append(faults, plantedAfter(picked[0].Date, "a picking"))
	}
	frosted, err := frosts.list(ctx, tx, farm, p.ID, nil, &before, nil)
	if err != nil {
		return time.Time{}, err
	}
	if len(frosted) > 0 {
		faults = append(faults, plantedAfter(frosted[0].Date, "a frost"))
	}
	return known, errors.Join(faults...)
}

// plantedAfter refuses a planting that would be planted after something of it
// that is on record.
func plantedAfter(day weather.Date, what string) error {
	return &forecast.FieldError{
		Field:  "planted_on",
		Reason: fmt.Sprintf("must not be after %s, for which there is %s (withdraw it first)", day, what),
	}
}

// Planting returns what is known of a planting, or
// [forecast.ErrPlantingNotFound].
func (s *Store) Planting(ctx context.Context, farm, planting string) (forecast.Planting, error) {
	p, _, err := queryPlanting(ctx, s.pool, farm, planting)
	if err != nil {
		return forecast.Planting{}, fmt.Errorf("read planting: %w", domain(orNotFound(err, forecast.ErrPlantingNotFound)))
	}
	return p, nil
}

const plantingSQL = `
	SELECT
		version, recorded_at, planting, variety, block, station,
		planted_on, removed_on, area_m2, expected_kg_per_m2
	FROM planting_version
	WHERE farm = $1 AND planting = $2
	ORDER BY version DESC
	LIMIT 1`

func queryPlanting(ctx context.Context, q querier, farm, planting string) (forecast.Planting, version, error) {
	return scanPlanting(q.QueryRow(ctx, plantingSQL, farm, planting))
}

func scanPlanting(row pgx.Row) (p forecast.Planting, v version, err error) {
	err = row.Scan(
		&v.number, &v.at, &p.ID, &p.Variety, &p.Block, &p.Station,
		&p.PlantedOn, &p.RemovedOn, &p.AreaM2, &p.KgPerM2)
	return p, v, err
}

// plantingsSQL reads the newest versions recorded by $2.
const plantingsSQL = `
	SELECT DISTINCT ON (planting)
		version, recorded_at, planting, variety, block, station,
		planted_on, removed_on, area_m2, expected_kg_per_m2
	FROM planting_version
	WHERE farm = $1 AND recorded_at <= $2
	ORDER BY planting, version DESC`

// Plantings returns the plantings of a farm, removed ones too, in order of
// their slugs.
func (s *Store) Plantings(ctx context.Context, farm string) ([]forecast.Planting, error) {
	rows, _ := s.pool.Query(ctx, plantingsSQL, farm, now)
	plantings, err := collectPlantings(rows)
	if err != nil {
		return nil, fmt.Errorf("read plantings: %w", domain(err))
	}
	return plantings, nil
}

func collectPlantings(rows pgx.Rows) ([]forecast.Planting, error) {
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (forecast.Planting, error) {
		p, _, err := scanPlanting(row)
		return p, err
	})
}
