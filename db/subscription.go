package db

import (
	"context"
	"crypto/sha256"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
)

const newSubscriptionSQL = `
	INSERT INTO subscription (farm, id, name, hash, made_at, made_by)
	VALUES ($1, $2, $3, $4, $5, $6)`

// NewSubscription records a secret address by the hash of its secret. When it
// was used or revoked is left out. Errors: [forecast.ErrFarmNotFound].
func (s *Store) NewSubscription(ctx context.Context, x forecast.Subscription, hash [sha256.Size]byte) error {
	_, err := s.pool.Exec(ctx, newSubscriptionSQL, x.Farm, x.ID, x.Name, hash[:], instant(x.MadeAt), x.MadeBy)
	if err != nil {
		return fmt.Errorf("new subscription: %w", domain(err))
	}
	return nil
}

const (
	subscriptionsSQL = `
		SELECT farm, id, name, made_at, made_by, last_used_at, revoked_at, COALESCE(revoked_by, '')
		FROM subscription
		WHERE farm = $1
		ORDER BY made_at, id`

	subscriptionSQL = `
		SELECT farm, id, name, made_at, made_by, last_used_at, revoked_at, COALESCE(revoked_by, '')
		FROM subscription
		WHERE hash = $1 AND revoked_at IS NULL`
)

func scanSubscription(row pgx.CollectableRow) (x forecast.Subscription, err error) {
	err = row.Scan(&x.Farm, &x.ID, &x.Name, &x.MadeAt, &x.MadeBy, &x.LastUsedAt, &x.RevokedAt, &x.RevokedBy)
	return x, err
}

// Subscriptions returns the secret addresses of a farm, also those that were
// revoked, the oldest first.
func (s *Store) Subscriptions(ctx context.Context, farm string) ([]forecast.Subscription, error) {
	rows, _ := s.pool.Query(ctx, subscriptionsSQL, farm)
	list, err := pgx.CollectRows(rows, scanSubscription)
	if err != nil {
		return nil, fmt.Errorf("read subscriptions: %w", domain(err))
	}
	return list, nil
}

// Subscription returns the secret address with a hash. Errors:
// [forecast.ErrSubscriptionNotFound], also when it was revoked.
func (s *Store) Subscription(ctx context.Context, hash [sha256.Size]byte) (forecast.Subscription, error) {
	rows, _ := s.pool.Query(ctx, subscriptionSQL, hash[:])
	x, err := pgx.CollectExactlyOneRow(rows, scanSubscription)
	if err != nil {
		return forecast.Subscription{}, fmt.Errorf("read subscription: %w", domain(orNotFound(err, forecast.ErrSubscriptionNotFound)))
	}
	return x, nil
}

const touchSubscriptionSQL = `
	UPDATE subscription
	SET last_used_at = $3
	WHERE farm = $1 AND id = $2 AND (last_used_at IS NULL OR last_used_at <= $3::timestamptz - interval '1 minute')`

// TouchSubscription records that a secret address was used, at most once a
// minute.
func (s *Store) TouchSubscription(ctx context.Context, farm, id string, at time.Time) error {
	if _, err := s.pool.Exec(ctx, touchSubscriptionSQL, farm, id, instant(at)); err != nil {
		return fmt.Errorf("touch subscription: %w", domain(err))
	}
	return nil
}

const revokeSubscriptionSQL = `
	UPDATE subscription
	SET revoked_at = $3, revoked_by = $4
	WHERE farm = $1 AND id = $2 AND revoked_at IS NULL`

// RevokeSubscription makes a secret address open nothing any more. Errors:
// [forecast.ErrSubscriptionNotFound], also when it was revoked before.
func (s *Store) RevokeSubscription(ctx context.Context, farm, id, by string, at time.Time) error {
	tag, err := s.pool.Exec(ctx, revokeSubscriptionSQL, farm, id, instant(at), by)
	if err == nil && tag.RowsAffected() == 0 {
		err = forecast.ErrSubscriptionNotFound
	}
	if err != nil {
		return fmt.Errorf("revoke subscription: %w", domain(err))
	}
	return nil
}

// Rows are added and never changed, so that their number names them.
const toldStateSQL = `
	SELECT
		concat_ws(' ', f.n, a.n, d.n, v.n, p.n, s.n, z.id),
		GREATEST(f.at, a.at, d.at, v.at, p.at, s.at, z.made_at)
	FROM
		(SELECT count(*) AS n, max(recorded_at) AS at FROM farm_version WHERE farm = $1) AS f,
		(SELECT count(*) AS n, max(recorded_at) AS at FROM announcing_version WHERE farm = $1) AS a,
		(SELECT count(*) AS n, max(decided_at) AS at FROM decision_version WHERE farm = $1) AS d,
		(SELECT count(*) AS n, max(recorded_at) AS at FROM variety_version WHERE farm = $1) AS v
		CROSS JOIN (SELECT count(*) AS n, max(recorded_at) AS at FROM planting_version WHERE farm = $1) AS p
		CROSS JOIN (SELECT count(*) AS n, max(recorded_at) AS at FROM spray_version WHERE farm = $1) AS s
		LEFT JOIN (
			SELECT id, made_at
			FROM frozen_forecast
			WHERE farm = $1 AND NOT hindcast
			ORDER BY as_of DESC, made_at DESC, id DESC
			LIMIT 1) AS z ON true
	WHERE f.n > 0`

// ToldState names all that a farm tells people from: the farm itself, its
// announcing, decisions, names of varieties, plantings, sprays and latest forecast. While it is the
// same, so are they. It also returns when any of them changed last. Errors:
// [forecast.ErrFarmNotFound].
func (s *Store) ToldState(ctx context.Context, farm string) (state string, at time.Time, err error) {
	if err := s.pool.QueryRow(ctx, toldStateSQL, farm).Scan(&state, &at); err != nil {
		return "", time.Time{}, fmt.Errorf("read state of what is told: %w", domain(orNotFound(err, forecast.ErrFarmNotFound)))
	}
	return state, at, nil
}
