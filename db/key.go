package db

import (
	"context"
	"crypto/sha256"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// Key is the right of a program or a person to act. The key itself is not
// kept, only its hash.
type Key struct {
	ID         string
	Farm       *string // Nil: the installation, with all its farms.
	Role       string  // owner, grower or reader.
	Name       string
	Hash       [sha256.Size]byte
	CreatedAt  time.Time
	ExpiresAt  *time.Time // It opens nothing from then on; nil: never.
	RevokedAt  *time.Time // Nil: it was not.
	LastUsedAt *time.Time // To about a minute; nil: never.
}

const newKeySQL = `
	INSERT INTO api_key (id, farm, role, name, hash, created_at, expires_at)
	VALUES ($1, $2, $3, $4, $5, $6, $7)`

// NewKey records a key. When it was revoked or last used is left out. Errors:
// [forecast.ErrFarmNotFound].
func (s *Store) NewKey(ctx context.Context, k Key) error {
	var expires *time.Time
	if k.ExpiresAt != nil {
		t := instant(*k.ExpiresAt)
		expires = &t
	}
	_, err := s.pool.Exec(ctx, newKeySQL, k.ID, k.Farm, k.Role, k.Name, k.Hash[:], instant(k.CreatedAt), expires)
	if err != nil {
		return fmt.Errorf("new key: %w", domain(err))
	}
	return nil
}

const keyByHashSQL = `
	SELECT id, farm, role, name, hash, created_at, expires_at, revoked_at, last_used_at
	FROM api_key
	WHERE hash = $1 AND revoked_at IS NULL AND (expires_at IS NULL OR $2 < expires_at)`

// KeyByHash returns the key with a hash, or [ErrKeyNotFound] if there is none
// or it was revoked or has expired by the instant at.
func (s *Store) KeyByHash(ctx context.Context, hash [sha256.Size]byte, at time.Time) (Key, error) {
	k, err := scanKey(s.pool.QueryRow(ctx, keyByHashSQL, hash[:], instant(at)))
	if err != nil {
		return Key{}, fmt.Errorf("read key: %w", domain(orNotFound(err, ErrKeyNotFound)))
	}
	return k, nil
}

func scanKey(row pgx.Row) (k Key, err error) {
	var hash []byte
	err = row.Scan(&k.ID, &k.Farm, &k.Role, &k.Name, &hash, &k.CreatedAt, &k.ExpiresAt, &k.RevokedAt, &k.LastUsedAt)
	copy(k.Hash[:], hash)
	return k, err
}

const keysSQL = `
	SELECT id, farm, role, name, hash, created_at, expires_at, revoked_at, last_used_at
	FROM api_key
	WHERE $1::text IS NULL OR farm = $1
	ORDER BY created_at, id`

// Keys returns the keys of a farm, or all keys if farm is nil, also those that
// open nothing any more, the oldest first.
func (s *Store) Keys(ctx context.Context, farm *string) ([]Key, error) {
	rows, _ := s.pool.Query(ctx, keysSQL, farm)
	keys, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Key, error) { return scanKey(row) })
	if err != nil {
		return nil, fmt.Errorf("read keys: %w", domain(err))
	}
	return keys, nil
}

const revokeKeySQL = `
	UPDATE api_key
	SET revoked_at = COALESCE(revoked_at, $3)
	WHERE id = $2 AND ($1::text IS NULL OR farm = $1)`

// RevokeKey makes a key of a farm, or any key if farm is nil, open nothing any
// more. A key that was revoked before stays revoked since then. Errors:
// [ErrKeyNotFound].
func (s *Store) RevokeKey(ctx context.Context, farm *string, id string, at time.Time) error {
	tag, err := s.pool.Exec(ctx, revokeKeySQL, farm, id, instant(at))
	if err != nil {
		return fmt.Errorf("revoke key: %w", domain(err))
	}
	if tag.RowsAffected() == 0 {
		return fmt.Errorf("revoke key: %w", ErrKeyNotFound)
	}
	return nil
}

const lastOwnerSQL = `
	SELECT EXISTS (
		SELECT FROM api_key AS k JOIN farm AS f ON k.farm IS NULL OR k.farm = f.farm
		WHERE k.id = $1 AND k.role = 'owner' AND NOT EXISTS (
			SELECT FROM api_key AS other
			WHERE other.id <> k.id AND other.role = 'owner' AND (other.farm IS NULL OR other.farm = f.farm)
				AND other.revoked_at IS NULL AND other.expires_at IS NULL
				AND (other.last_used_at IS NOT NULL OR EXISTS (SELECT FROM session WHERE session.api_key = other.id))))`

// LastOwner reports whether a key must stay, for a farm that it opens would have
// no other owner who can sign in. One who was invited and has not come does not
// count, for their link may expire unused, nor one whose key expires.
func (s *Store) LastOwner(ctx context.Context, id string) (last bool, err error) {
	if err := s.pool.QueryRow(ctx, lastOwnerSQL, id).Scan(&last); err != nil {
		return false, fmt.Errorf("look for owners: %w", domain(err))
	}
	return last, nil
}

// RevokeUnlessLast is [Store.RevokeKey] for a key that is not the last of an
// owner, whoever else revokes one at the same time. Errors: [ErrKeyNotFound];
// [ErrLastOwner].
func (s *Store) RevokeUnlessLast(ctx context.Context, farm *string, id string, at time.Time) error {
	err := s.write(ctx, func(tx pgx.Tx) error {
		// One at a time: two owners must not revoke each other.
		if _, err := tx.Exec(ctx, "LOCK TABLE api_key IN SHARE ROW EXCLUSIVE MODE"); err != nil {
			return err
		}
		var last bool
		if err := tx.QueryRow(ctx, lastOwnerSQL, id).Scan(&last); err != nil {
			return err
		}
		if last {
			return ErrLastOwner
		}
		tag, err := tx.Exec(ctx, revokeKeySQL, farm, id, instant(at))
		if err == nil && tag.RowsAffected() == 0 {
			err = ErrKeyNotFound
		}
		return err
	})
	if err != nil {
		return fmt.Errorf("revoke key: %w", err)
	}
	return nil
}

const touchKeySQL = `
	UPDATE api_key
	SET last_used_at = $2
	WHERE id = $1 AND (last_used_at IS NULL OR last_used_at <= $2::timestamptz - interval '1 minute')`

// TouchKey records that a key was used, at most once a minute. A key that does
// not exist is no error.
func (s *Store) TouchKey(ctx context.Context, id string, at time.Time) error {
	if _, err := s.pool.Exec(ctx, touchKeySQL, id, instant(at)); err != nil {
		return fmt.Errorf("touch key: %w", domain(err))
	}
	return nil
}
