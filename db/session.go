package db

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// ErrLinkNotFound is a sign-in link that does not exist, was used or has
// expired.
var ErrLinkNotFound = errors.New("db: sign-in link not found")

// Link is a link that opens one session.
type Link struct {
	Hash      [sha256.Size]byte // Of its secret, which is not kept.
	Key       string            // ID of the key as whom it signs in.
	CreatedAt time.Time
	CreatedBy string
	ExpiresAt time.Time
}

const newLinkSQL = `
	INSERT INTO sign_in_link (hash, api_key, created_at, created_by, expires_at)
	VALUES ($1, $2, $3, $4, $5)`

// NewLink records a sign-in link. Errors: [ErrKeyNotFound].
func (s *Store) NewLink(ctx context.Context, l Link) error {
	_, err := s.pool.Exec(ctx, newLinkSQL, l.Hash[:], l.Key, instant(l.CreatedAt), l.CreatedBy, instant(l.ExpiresAt))
	if err != nil {
		return fmt.Errorf("new link: %w", domain(err))
	}
	return nil
}

const (
	linkKeySQL = `
		SELECT k.id, k.farm, k.role, k.name, k.hash, k.created_at, k.expires_at, k.revoked_at, k.last_used_at
		FROM sign_in_link AS l
		JOIN api_key AS k ON k.id = l.api_key
		WHERE l.hash = $1 AND l.used_at IS NULL AND $2 < l.expires_at
			AND k.revoked_at IS NULL AND (k.expires_at IS NULL OR $2 < k.expires_at)`

	useLinkSQL = `
		UPDATE sign_in_link
		SET used_at = $2
		WHERE hash = $1 AND used_at IS NULL AND $2 < expires_at`

	newSessionSQL = `
		INSERT INTO session (hash, api_key, created_at, expires_at, last_used_at)
		VALUES ($1, $2, $3, $4, $3)`
)

// LinkKey returns the key as whom a link signs in, if it still opens a session
// at the instant at. Errors: [ErrLinkNotFound].
func (s *Store) LinkKey(ctx context.Context, link [sha256.Size]byte, at time.Time) (Key, error) {
	k, err := scanKey(s.pool.QueryRow(ctx, linkKeySQL, link[:], instant(at)))
	if err != nil {
		return Key{}, fmt.Errorf("read link: %w", domain(orNotFound(err, ErrLinkNotFound)))
	}
	return k, nil
}

// UseLink uses a link up and opens a session with the given hash until an
// instant; of many that use it at once one does. It returns the key as whom the
// session is. Errors: [ErrLinkNotFound].
func (s *Store) UseLink(ctx context.Context, link, session [sha256.Size]byte, at, until time.Time) (Key, error) {
	var k Key
	err := s.write(ctx, func(tx pgx.Tx) (err error) {
		if k, err = scanKey(tx.QueryRow(ctx, linkKeySQL, link[:], instant(at))); err != nil {
			return orNotFound(err, ErrLinkNotFound)
		}
		tag, err := tx.Exec(ctx, useLinkSQL, link[:], instant(at))
		if err != nil {
			return err
		}
		if tag.RowsAffected() == 0 { // Another was first.
			return ErrLinkNotFound
		}
		_, err = tx.Exec(ctx, newSessionSQL, session[:], k.ID, instant(at), instant(until))
		return err
	})
	if err != nil {
		return Key{}, fmt.Errorf("use link: %w", err)
	}
	return k, nil
}

// NewSession opens a session with the given hash for a key. Errors:
// [ErrKeyNotFound].
func (s *Store) NewSession(ctx context.Context, key string, session [sha256.Size]byte, at, until time.Time) error {
	if _, err := s.pool.Exec(ctx, newSessionSQL, session[:], key, instant(at), instant(until)); err != nil {
		return fmt.Errorf("new session: %w", domain(err))
	}
	return nil
}

const (
	sessionKeySQL = `
		SELECT k.id, k.farm, k.role, k.name, k.hash, k.created_at, k.expires_at, k.revoked_at, s.last_used_at
		FROM session AS s
		JOIN api_key AS k ON k.id = s.api_key
		WHERE s.hash = $1 AND s.ended_at IS NULL AND $2 < s.expires_at
			AND k.revoked_at IS NULL AND (k.expires_at IS NULL OR $2 < k.expires_at)`

	touchSessionSQL = `
		UPDATE session
		SET last_used_at = $2
		WHERE hash = $1 AND last_used_at <= $2::timestamptz - interval '1 minute'`

	endSessionSQL = `
		UPDATE session
		SET ended_at = COALESCE(ended_at, $2)
		WHERE hash = $1`
)

// SessionKey returns the key as whom a session is, with the session's last use,
// or [ErrKeyNotFound] if it has ended or expired or the key has.
func (s *Store) SessionKey(ctx context.Context, session [sha256.Size]byte, at time.Time) (Key, error) {
	k, err := scanKey(s.pool.QueryRow(ctx, sessionKeySQL, session[:], instant(at)))
	if err != nil {
		return Key{}, fmt.Errorf("read session: %w", domain(orNotFound(err, ErrKeyNotFound)))
	}
	return k, nil
}

// TouchSession records that a session was used, at most once a minute.
func (s *Store) TouchSession(ctx context.Context, session [sha256.Size]byte, at time.Time) error {
	if _, err := s.pool.Exec(ctx, touchSessionSQL, session[:], instant(at)); err != nil {
		return fmt.Errorf("touch session: %w", domain(err))
	}
	return nil
}

// EndSession signs out. A session that does not exist is no error.
func (s *Store) EndSession(ctx context.Context, session [sha256.Size]byte, at time.Time) error {
	if _, err := s.pool.Exec(ctx, endSessionSQL, session[:], instant(at)); err != nil {
		return fmt.Errorf("end session: %w", domain(err))
	}
	return nil
}
