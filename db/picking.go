package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
	"ripetide/weather"
)

// AddPickings records pickings, one after another, in one transaction. The good
// ones are kept; the i-th error says why the i-th picking was refused, or nil:
// [forecast.ErrPlantingNotFound], or every [*forecast.FieldError] of it, joined.
// A picking that says again what is on record of a planting and date is not
// recorded again; one that says otherwise replaces it, and what was said before
// stays on record. Errors: [forecast.ErrFarmNotFound].
func (s *Store) AddPickings(ctx context.Context, farm string, ps []forecast.Picking, by string, at time.Time) (refused []error, err error) {
	return pickings.add(ctx, s, farm, ps, by, at)
}

// Pickings returns the pickings of a farm from one date to another, both
// included, ordered by planting and date; nil leaves an end open, and "" is all
// plantings. With knownAt they are those that counted at that instant.
func (s *Store) Pickings(ctx context.Context, farm, planting string, from, to *weather.Date, knownAt *time.Time) ([]forecast.Picking, error) {
	return pickings.list(ctx, s.pool, farm, planting, from, to, knownAt)
}

// WithdrawPicking takes back the picking of a planting and date: it counts no
// more, and stays on record as withdrawn. Errors:
// [forecast.ErrPlantingNotFound]; [forecast.ErrPickingNotFound], also if it was
// withdrawn already.
func (s *Store) WithdrawPicking(ctx context.Context, farm, planting string, day weather.Date, by string, at time.Time) error {
	return pickings.withdraw(ctx, s, farm, planting, day, by, at)
}

const (
	newestPickingsSQL = `
		SELECT DISTINCT ON (planting, day)
			version, recorded_at, withdrawn, planting, day, kg, left_standing, closed, source, note
		FROM picking_version
		JOIN unnest($2::text[], $3::date[]) AS u (planting, day) USING (planting, day)
		WHERE farm = $1
		ORDER BY planting, day, version DESC`

	addPickingsSQL = `
		INSERT INTO picking_version (
			farm, planting, day, version, recorded_at, recorded_by, withdrawn,
			kg, left_standing, closed, source, note)
		SELECT
			$1, planting, day, version, recorded_at, $2, false,
			kg, left_standing, closed, source, note
		FROM unnest(
				$3::text[], $4::date[], $5::int[], $6::timestamptz[],
				$7::float8[], $8::text[], $9::bool[], $10::text[], $11::text[])
			AS u (planting, day, version, recorded_at, kg, left_standing, closed, source, note)`

	withdrawPickingSQL = `
		INSERT INTO picking_version (
			farm, planting, day, version, recorded_at, recorded_by, withdrawn,
			kg, left_standing, closed, source, note)
		SELECT
			farm, planting, day, version + 1, GREATEST($4, recorded_at), $5, true,
			kg, left_standing, closed, source, note
		FROM (
			SELECT *
			FROM picking_version
			WHERE farm = $1 AND planting = $2 AND day = $3
			ORDER BY version DESC
			LIMIT 1
		) AS newest
		WHERE NOT withdrawn`

	// pickingsSQL reads the pickings that counted at $2.
	pickingsSQL = `
		SELECT version, recorded_at, withdrawn, planting, day, kg, left_standing, closed, source, note
		FROM (
			SELECT DISTINCT ON (planting, day) *
			FROM picking_version
			WHERE
				farm = $1 AND recorded_at <= $2
				AND ($3 = '' OR planting = $3)
				AND ($4::date IS NULL OR $4 <= day) AND ($5::date IS NULL OR day <= $5)
			ORDER BY planting, day, version DESC
		) AS newest
		WHERE NOT withdrawn
		ORDER BY planting, day`
)

var pickings = dated[forecast.Picking]{
	name: "picking", names: "pickings", notFound: forecast.ErrPickingNotFound,
	of:   func(p forecast.Picking) dayOf { return dayOf{p.Planting, p.Date} },
	same: func(a, b forecast.Picking) bool { return a == b },
	scan: func(row pgx.Row) (v datedVersion[forecast.Picking], err error) {
		p := &v.value
		err = row.Scan(&v.number, &v.at, &v.withdrawn, &p.Planting, &p.Date, &p.Kg, &p.Left, &p.Closed, &p.Source, &p.Note)
		return v, err
	},
	columns: func(ps []forecast.Picking) []any {
		var kg []float64
		var left, source, note []string
		var closed []bool
		for _, p := range ps {
			kg, left, closed = append(kg, p.Kg), append(left, string(p.Left)), append(closed, p.Closed)
			source, note = append(source, string(p.Source)), append(note, p.Note)
		}
		return []any{kg, left, closed, source, note}
	},
	newestSQL: newestPickingsSQL, addSQL: addPickingsSQL, withdrawSQL: withdrawPickingSQL, listSQL: pickingsSQL,
}
