package db

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
)

// PutAnnouncing records how a farm tells people about its season and reports
// whether it is the first time. What is set already is not recorded again.
// Errors: [forecast.ErrFarmNotFound].
func (s *Store) PutAnnouncing(ctx context.Context, farm string, a forecast.Announcing, by string, at time.Time) (created bool, err error) {
	err = s.write(ctx, func(tx pgx.Tx) error {
		var since time.Time
		if err := tx.QueryRow(ctx, claimFarmSQL, farm).Scan(&since); err != nil {
			return orNotFound(err, forecast.ErrFarmNotFound)
		}
		was, last, err := scanAnnouncing(tx.QueryRow(ctx, announcingSQL, farm))
		if err != nil && !errors.Is(err, pgx.ErrNoRows) {
			return err
		}
		if last.number > 0 && sameAnnouncing(was, a) {
			created = false
			return nil
		}
		created = last.number == 0
		names, texts := []string{}, []string{}
		for _, t := range forecast.Texts {
			if a.Texts[t] != "" {
				names, texts = append(names, string(t)), append(texts, a.Texts[t])
			}
		}
		_, err = tx.Exec(ctx, addAnnouncingSQL,
			farm, last.number+1, later(instant(at), last.at, since), by, a.Language, names, texts,
			a.Hours, a.Where, a.Phone, a.Website, a.Public.On, a.Public.Varieties, a.Public.Ahead, a.Windows)
		return err
	})
	if err != nil {
		return false, fmt.Errorf("put announcing: %w", err)
	}
	return created, nil
}

func sameAnnouncing(a, b forecast.Announcing) bool {
	for _, t := range forecast.Texts {
		if a.Texts[t] != b.Texts[t] {
			return false
		}
	}
	a.Texts, b.Texts = nil, nil
	return reflect.DeepEqual(a, b)
}

const (
	announcingSQL = `
		SELECT
			version, recorded_at, language, text_names, texts, hours, whereabouts, phone, website,
			public, public_varieties, public_ahead, windows
		FROM announcing_version
		WHERE farm = $1
		ORDER BY version DESC
		LIMIT 1`

	addAnnouncingSQL = `
		INSERT INTO announcing_version (
			farm, version, recorded_at, recorded_by, language, text_names, texts, hours, whereabouts, phone, website,
			public, public_varieties, public_ahead, windows)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`
)

func scanAnnouncing(row pgx.Row) (a forecast.Announcing, v version, err error) {
	var names, texts []string
	err = row.Scan(&v.number, &v.at, &a.Language, &names, &texts, &a.Hours, &a.Where, &a.Phone, &a.Website,
		&a.Public.On, &a.Public.Varieties, &a.Public.Ahead, &a.Windows)
	for i, name := range names {
		if a.Texts == nil {
			a.Texts = map[forecast.Text]string{}
		}
		a.Texts[forecast.Text(name)] = texts[i]
	}
	return a, v, err
}

// Announcing returns how a farm tells people about its season; a farm that has
// set nothing has the zero value.
func (s *Store) Announcing(ctx context.Context, farm string) (forecast.Announcing, error) {
	a, _, err := scanAnnouncing(s.pool.QueryRow(ctx, announcingSQL, farm))
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return forecast.Announcing{}, fmt.Errorf("read announcing: %w", domain(err))
	}
	return a, nil
}
