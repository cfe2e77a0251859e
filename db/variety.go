package db

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
)

// PutVariety records what is known of a variety and reports whether it is a
// new one. What is known already is not recorded again. Errors:
// [forecast.ErrFarmNotFound].
func (s *Store) PutVariety(ctx context.Context, farm string, v forecast.Variety, by string, at time.Time) (created bool, err error) {
	return put(ctx, s, "variety", at, varietyRevision(farm, v, by))
}

func varietyRevision(farm string, v forecast.Variety, by string) revision[forecast.Variety] {
	return revision[forecast.Variety]{
		lockSQL: lockVarietySQL, addSQL: addVarietySQL, key: []any{farm, v.ID},
		read: func(ctx context.Context, tx pgx.Tx) (forecast.Variety, version, error) {
			return queryVariety(ctx, tx, farm, v.ID)
		},
		same: func(was forecast.Variety) bool { return sameVariety(was, v) },
		write: func(ctx context.Context, tx pgx.Tx, _ forecast.Variety, last version, at time.Time) error {
			row := rowOf(v)
			_, err := tx.Exec(ctx, addVarietyVersionSQL,
				farm, v.ID, last.number+1, later(at, last.at), by, v.Name, v.Ripens.String(),
				row.firstRipe, row.peak, row.lastPick, row.kind, row.base, row.upper, row.cutoff)
			return err
		},
	}
}

const (
	addVarietySQL = `
		INSERT INTO variety (farm, variety, created_at)
		VALUES ($1, $2, $3)
		ON CONFLICT DO NOTHING`

	lockVarietySQL = `
		SELECT variety
		FROM variety
		WHERE farm = $1 AND variety = $2
		FOR NO KEY UPDATE`

	addVarietyVersionSQL = `
		INSERT INTO variety_version (
			farm, variety, version, recorded_at, recorded_by, name, ripens,
			first_ripe_degree_days, peak_degree_days, last_pick_degree_days, method, base_c, upper_c, cutoff)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`
)

func sameVariety(a, b forecast.Variety) bool {
	if a.ID != b.ID || a.Name != b.Name || a.Ripens != b.Ripens || (a.Requirement == nil) != (b.Requirement == nil) {
		return false
	}
	return a.Requirement == nil || *a.Requirement == plain(*b.Requirement)
}

// plain returns r by a method that plainMethod has been at.
func plain(r forecast.Requirement) forecast.Requirement {
	r.Method = plainMethod(r.Method)
	return r
}

// plainMethod returns m without an upper threshold if nothing is cut there.
func plainMethod(m forecast.Method) forecast.Method {
	if m.Cutoff == forecast.NoCutoff {
		m.Upper = 0
	}
	return m
}

// varietyRow holds the columns of a requirement: all but upper are set, or
// none.
type varietyRow struct {
	firstRipe, peak, lastPick *float64
	kind                      *forecast.Kind
	base, upper               *float64
	cutoff                    *forecast.Cutoff
}

func rowOf(v forecast.Variety) varietyRow {
	if v.Requirement == nil {
		return varietyRow{}
	}
	r := *v.Requirement
	row := varietyRow{
		&r.FirstRipe, &r.Peak, &r.LastPick,
		&r.Method.Kind, &r.Method.Base, &r.Method.Upper, &r.Method.Cutoff,
	}
	if r.Method.Cutoff == forecast.NoCutoff {
		row.upper = nil
	}
	return row
}

func (r varietyRow) requirement() *forecast.Requirement {
	if r.kind == nil {
		return nil
	}
	m := forecast.Method{Kind: *r.kind, Base: *r.base, Cutoff: *r.cutoff}
	if r.upper != nil {
		m.Upper = *r.upper
	}
	return &forecast.Requirement{FirstRipe: *r.firstRipe, Peak: *r.peak, LastPick: *r.lastPick, Method: m}
}

// Variety returns what is known of a variety, or
// [forecast.ErrVarietyNotFound].
func (s *Store) Variety(ctx context.Context, farm, variety string) (forecast.Variety, error) {
	v, _, err := queryVariety(ctx, s.pool, farm, variety)
	if err != nil {
		return forecast.Variety{}, fmt.Errorf("read variety: %w", domain(orNotFound(err, forecast.ErrVarietyNotFound)))
	}
	return v, nil
}

const varietySQL = `
	SELECT
		version, recorded_at, variety, name, ripens,
		first_ripe_degree_days, peak_degree_days, last_pick_degree_days, method, base_c, upper_c, cutoff
	FROM variety_version
	WHERE farm = $1 AND variety = $2
	ORDER BY version DESC
	LIMIT 1`

func queryVariety(ctx context.Context, q querier, farm, variety string) (forecast.Variety, version, error) {
	return scanVariety(q.QueryRow(ctx, varietySQL, farm, variety))
}

func scanVariety(row pgx.Row) (v forecast.Variety, last version, err error) {
	var ripens string
	var r varietyRow
	if err := row.Scan(
		&last.number, &last.at, &v.ID, &v.Name, &ripens,
		&r.firstRipe, &r.peak, &r.lastPick, &r.kind, &r.base, &r.upper, &r.cutoff,
	); err != nil {
		return forecast.Variety{}, version{}, err
	}
	v.Requirement = r.requirement()
	v.Ripens, err = forecast.ParseClass(ripens)
	return v, last, err
}

// varietiesSQL reads the newest versions recorded by $2.
const varietiesSQL = `
	SELECT DISTINCT ON (variety)
		version, recorded_at, variety, name, ripens,
		first_ripe_degree_days, peak_degree_days, last_pick_degree_days, method, base_c, upper_c, cutoff
	FROM variety_version
	WHERE farm = $1 AND recorded_at <= $2
	ORDER BY variety, version DESC`

// Varieties returns the varieties of a farm in order of their slugs.
func (s *Store) Varieties(ctx context.Context, farm string) ([]forecast.Variety, error) {
	rows, _ := s.pool.Query(ctx, varietiesSQL, farm, now)
	varieties, err := collectVarieties(rows)
	if err != nil {
		return nil, fmt.Errorf("read varieties: %w", domain(err))
	}
	return varieties, nil
}

func collectVarieties(rows pgx.Rows) ([]forecast.Variety, error) {
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (forecast.Variety, error) {
		v, _, err := scanVariety(row)
		return v, err
	})
}
