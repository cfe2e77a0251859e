package db

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
	"ripetide/weather"
)

// AddFrosts records frosts, one after another, in one transaction. The good
// ones are kept; the i-th error says why the i-th frost was refused, or nil:
// [forecast.ErrPlantingNotFound], or every [*forecast.FieldError] of it, joined.
// A frost that says again what is on record of a planting and date is not
// recorded again; one that says otherwise replaces it, and what was said before
// stays on record. Errors: [forecast.ErrFarmNotFound].
func (s *Store) AddFrosts(ctx context.Context, farm string, fs []forecast.Frost, by string, at time.Time) (refused []error, err error) {
	return frosts.add(ctx, s, farm, fs, by, at)
}

// Frosts returns the frosts of a farm from one date to another, both included,
// ordered by planting and date; nil leaves an end open, and "" is all plantings.
// With knownAt they are those that counted at that instant.
func (s *Store) Frosts(ctx context.Context, farm, planting string, from, to *weather.Date, knownAt *time.Time) ([]forecast.Frost, error) {
	return frosts.list(ctx, s.pool, farm, planting, from, to, knownAt)
}

// WithdrawFrost takes back the frost of a planting and date: it counts no more,
// and stays on record as withdrawn. Errors: [forecast.ErrPlantingNotFound];
// [forecast.ErrFrostNotFound], also if it was withdrawn already.
func (s *Store) WithdrawFrost(ctx context.Context, farm, planting string, day weather.Date, by string, at time.Time) error {
	return frosts.withdraw(ctx, s, farm, planting, day, by, at)
}

const (
	newestFrostsSQL = `
		SELECT DISTINCT ON (planting, day)
			version, recorded_at, withdrawn, planting, day, share_lost, low_c, note
		FROM frost_version
		JOIN unnest($2::text[], $3::date[]) AS u (planting, day) USING (planting, day)
		WHERE farm = $1
		ORDER BY planting, day, version DESC`

	addFrostsSQL = `
		INSERT INTO frost_version (
			farm, planting, day, version, recorded_at, recorded_by, withdrawn, share_lost, low_c, note)
		SELECT $1, planting, day, version, recorded_at, $2, false, share_lost, low_c, note
		FROM unnest($3::text[], $4::date[], $5::int[], $6::timestamptz[], $7::float8[], $8::float8[], $9::text[])
			AS u (planting, day, version, recorded_at, share_lost, low_c, note)`

	withdrawFrostSQL = `
		INSERT INTO frost_version (
			farm, planting, day, version, recorded_at, recorded_by, withdrawn, share_lost, low_c, note)
		SELECT farm, planting, day, version + 1, GREATEST($4, recorded_at), $5, true, share_lost, low_c, note
		FROM (
			SELECT *
			FROM frost_version
			WHERE farm = $1 AND planting = $2 AND day = $3
			ORDER BY version DESC
			LIMIT 1
		) AS newest
		WHERE NOT withdrawn`

	// frostsSQL reads the frosts that counted at $2.
	frostsSQL = `
		SELECT version, recorded_at, withdrawn, planting, day, share_lost, low_c, note
		FROM (
			SELECT DISTINCT ON (planting, day) *
			FROM frost_version
			WHERE
				farm = $1 AND recorded_at <= $2
				AND ($3 = '' OR planting = $3)
				AND ($4::date IS NULL OR $4 <= day) AND ($5::date IS NULL OR day <= $5)
			ORDER BY planting, day, version DESC
		) AS newest
		WHERE NOT withdrawn
		ORDER BY planting, day`
)

var frosts = dated[forecast.Frost]{
	name: "frost", names: "frosts", notFound: forecast.ErrFrostNotFound,
	of: func(f forecast.Frost) dayOf { return dayOf{f.Planting, f.Date} },
	same: func(a, b forecast.Frost) bool {
		if (a.LowC == nil) != (b.LowC == nil) || a.LowC != nil && *a.LowC != *b.LowC {
			return false
		}
		a.LowC, b.LowC = nil, nil
		return a == b
	},
	scan: func(row pgx.Row) (v datedVersion[forecast.Frost], err error) {
		f := &v.value
		err = row.Scan(&v.number, &v.at, &v.withdrawn, &f.Planting, &f.Date, &f.ShareLost, &f.LowC, &f.Note)
		return v, err
	},
	columns: func(fs []forecast.Frost) []any {
		var share []float64
		var low []*float64
		var note []string
		for _, f := range fs {
			share, low, note = append(share, f.ShareLost), append(low, f.LowC), append(note, f.Note)
		}
		return []any{share, low, note}
	},
	newestSQL: newestFrostsSQL, addSQL: addFrostsSQL, withdrawSQL: withdrawFrostSQL, listSQL: frostsSQL,
}
