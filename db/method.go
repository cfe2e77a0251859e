package db

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
)

// PutMethod records a farm's decision for a method, which holds from c.At on,
// and reports whether it is the farm's first. A decision for the method that is
// in use, for the same reason, is not recorded again, whoever makes it: the
// method is theirs who chose it. Errors: [forecast.ErrFarmNotFound].
func (s *Store) PutMethod(ctx context.Context, farm string, c forecast.MethodChoice, by string) (created bool, err error) {
	err = s.record(ctx, farm, c.At, func(tx pgx.Tx, at time.Time) error {
		created, err = putMethod(ctx, tx, farm, c, by, at)
		return err
	})
	if err != nil {
		return false, fmt.Errorf("put method: %w", err)
	}
	return created, nil
}

// putMethod is the transaction of [Store.PutMethod].
func putMethod(ctx context.Context, tx pgx.Tx, farm string, c forecast.MethodChoice, by string, at time.Time) (created bool, err error) {
	c.Method = plainMethod(c.Method)
	var upper *float64
	if c.Method.Cutoff != forecast.NoCutoff {
		upper = &c.Method.Upper
	}
	var since time.Time
	if err := tx.QueryRow(ctx, claimFarmSQL, farm).Scan(&since); err != nil {
		return false, orNotFound(err, forecast.ErrFarmNotFound)
	}
	was, last, err := scanChoice(tx.QueryRow(ctx, methodSQL, farm, now))
	switch {
	case errors.Is(err, pgx.ErrNoRows): // The first one.
	case err != nil:
		return false, err
	case was.Method == c.Method && was.Reason == c.Reason:
		return false, nil
	}
	_, err = tx.Exec(ctx, addMethodSQL,
		farm, last.number+1, later(at, last.at, since), by,
		c.Method.Kind, c.Method.Base, upper, c.Method.Cutoff, c.By, c.Reason)
	return last.number == 0, err
}

const (
	// Writers wait for each other at the farm's row.
	claimFarmSQL = `
		SELECT created_at
		FROM farm
		WHERE farm = $1
		FOR NO KEY UPDATE`

	// methodSQL reads the newest decision recorded by $2.
	methodSQL = `
		SELECT version, recorded_at, degree_days, base_c, upper_c, cutoff, chosen_by, reason
		FROM method_version
		WHERE farm = $1 AND recorded_at <= $2
		ORDER BY version DESC
		LIMIT 1`

	addMethodSQL = `
		INSERT INTO method_version (
			farm, version, recorded_at, recorded_by, degree_days, base_c, upper_c, cutoff, chosen_by, reason)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`
)

func scanChoice(row pgx.Row) (c forecast.MethodChoice, v version, err error) {
	var upper *float64
	m := &c.Method
	err = row.Scan(&v.number, &v.at, &m.Kind, &m.Base, &upper, &m.Cutoff, &c.By, &c.Reason)
	if upper != nil {
		m.Upper = *upper
	}
	c.At = v.at
	return c, v, err
}

const methodsSQL = `
	SELECT version, recorded_at, degree_days, base_c, upper_c, cutoff, chosen_by, reason
	FROM method_version
	WHERE farm = $1
	ORDER BY version DESC`

// Methods returns the decisions of a farm for methods, the one that holds
// first. A farm that never decided has none.
func (s *Store) Methods(ctx context.Context, farm string) ([]forecast.MethodChoice, error) {
	rows, _ := s.pool.Query(ctx, methodsSQL, farm)
	choices, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (forecast.MethodChoice, error) {
		c, _, err := scanChoice(row)
		return c, err
	})
	if err != nil {
		return nil, fmt.Errorf("read methods: %w", domain(err))
	}
	return choices, nil
}
