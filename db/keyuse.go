package db

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// KeyUse is how a key has been used in browsers.
type KeyUse struct {
	Key       string
	SessionAt *time.Time // When a session of it was used last, to about a minute; nil: it never signed in.
	LinkUntil *time.Time // Until when a link that signs in as it may be used; nil: there is none.
}

const keyUsesSQL = `
	SELECT
		k.id,
		(SELECT max(last_used_at) FROM session AS s WHERE s.api_key = k.id),
		(SELECT max(expires_at) FROM sign_in_link AS l WHERE l.api_key = k.id AND l.used_at IS NULL AND $2 < l.expires_at)
	FROM api_key AS k
	WHERE $1::text IS NULL OR k.farm = $1
	ORDER BY k.id`

// KeyUses returns how the keys of a farm, or all keys if farm is nil, have been
// used in browsers by the instant at, ordered by ID.
func (s *Store) KeyUses(ctx context.Context, farm *string, at time.Time) ([]KeyUse, error) {
	rows, _ := s.pool.Query(ctx, keyUsesSQL, farm, instant(at))
	uses, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (u KeyUse, err error) {
		err = row.Scan(&u.Key, &u.SessionAt, &u.LinkUntil)
		return u, err
	})
	if err != nil {
		return nil, fmt.Errorf("read uses of keys: %w", domain(err))
	}
	return uses, nil
}
