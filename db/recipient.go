package db

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/forecast"
	"ripetide/weather"
)

const (
	// askAgain is how long an address that was asked is left alone, whoever gives
	// it again: nobody shall be pestered by way of a farm.
	askAgain = 24 * time.Hour
	// mostRecipients is how many a farm may have.
	mostRecipients = 50
)

// AskRecipient records an address to be asked whether it wants the morning mail.
// One that is on the list already, confirmed or asked within a day, is returned
// as it is and not created. Errors: [forecast.ErrFarmNotFound]; a
// [*forecast.FieldError] for an address that was asked within a day and is not
// on the list any more, and for one too many.
func (s *Store) AskRecipient(ctx context.Context, r forecast.Recipient) (kept forecast.Recipient, created bool, err error) {
	at := instant(r.AskedAt)
	err = s.write(ctx, func(tx pgx.Tx) error {
		kept, created = forecast.Recipient{}, false
		var farm string
		if err := tx.QueryRow(ctx, lockFarmSQL, r.Farm).Scan(&farm); err != nil {
			return orNotFound(err, forecast.ErrFarmNotFound)
		}
		rows, _ := tx.Query(ctx, recipientsOfSQL, r.Farm, r.Address)
		before, err := pgx.CollectRows(rows, scanRecipient)
		if err != nil {
			return err
		}
		for _, b := range before { // The newest first.
			recent := b.AskedAt.After(at.Add(-askAgain))
			switch {
			case b.EndedAt == nil && (b.ConfirmedAt != nil || recent):
				kept = b
				return nil
			case b.EndedAt == nil:
				if _, err := tx.Exec(ctx, endRecipientSQL, b.Farm, b.ID, at, r.AskedBy); err != nil {
					return err
				}
			case recent:
				return &forecast.FieldError{Field: "address", Reason: "was asked within the last day already: ask again tomorrow"}
			}
		}
		var n int
		if err := tx.QueryRow(ctx, countRecipientsSQL, r.Farm).Scan(&n); err != nil {
			return err
		}
		if n >= mostRecipients {
			return &forecast.FieldError{Field: "address", Reason: fmt.Sprintf("is one too many: a farm may have %d", mostRecipients)}
		}
		kept = forecast.Recipient{ID: r.ID, Farm: r.Farm, Address: r.Address, AskedAt: at, AskedBy: r.AskedBy}
		created = true
		_, err = tx.Exec(ctx, addRecipientSQL, kept.Farm, kept.ID, kept.Address, kept.AskedAt, kept.AskedBy)
		return err
	})
	if err != nil {
		return forecast.Recipient{}, false, fmt.Errorf("ask recipient: %w", err)
	}
	return kept, created, nil
}

const (
	addRecipientSQL = `
		INSERT INTO recipient (farm, id, address, asked_at, asked_by)
		VALUES ($1, $2, $3, $4, $5)`

	recipientsOfSQL = `
		SELECT farm, id, address, asked_at, asked_by, confirmed_at, ended_at, COALESCE(ended_by, '')
		FROM recipient
		WHERE farm = $1 AND lower(address) = lower($2)
		ORDER BY asked_at DESC, id DESC`

	countRecipientsSQL = `
		SELECT count(*)
		FROM recipient
		WHERE farm = $1 AND ended_at IS NULL`

	endRecipientSQL = `
		UPDATE recipient
		SET ended_at = $3, ended_by = $4
		WHERE farm = $1 AND id = $2 AND ended_at IS NULL`
)

func scanRecipient(row pgx.CollectableRow) (r forecast.Recipient, err error) {
	err = row.Scan(&r.Farm, &r.ID, &r.Address, &r.AskedAt, &r.AskedBy, &r.ConfirmedAt, &r.EndedAt, &r.EndedBy)
	return r, err
}

const recipientStatesSQL = `
	SELECT
		r.farm, r.id, r.address, r.asked_at, r.asked_by, r.confirmed_at, r.ended_at, COALESCE(r.ended_by, ''),
		l.kind, l.day, l.try, l.started_at, l.answered_at, l.outcome, l.code, l.detail, l.next_at
	FROM recipient AS r
	LEFT JOIN LATERAL (
		SELECT t.kind, t.day, t.try, t.started_at, a.answered_at, a.outcome, a.code, a.detail, a.next_at
		FROM mail_try AS t
		LEFT JOIN mail_answer AS a USING (farm, recipient, kind, day, try)
		WHERE t.farm = r.farm AND t.recipient = r.id
		ORDER BY t.day DESC, t.kind DESC, t.try DESC
		LIMIT 1
	) AS l ON true
	WHERE r.farm = $1
	ORDER BY r.asked_at, r.id`

// Recipients returns the recipients of a farm, also those that were ended, the
// oldest first, each with the last that was sent to it.
func (s *Store) Recipients(ctx context.Context, farm string) ([]forecast.RecipientState, error) {
	rows, _ := s.pool.Query(ctx, recipientStatesSQL, farm)
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (r forecast.RecipientState, err error) {
		var kind, outcome, detail *string
		var day *weather.Date
		var try, code *int
		var started, answered, next *time.Time
		err = row.Scan(&r.Farm, &r.ID, &r.Address, &r.AskedAt, &r.AskedBy, &r.ConfirmedAt, &r.EndedAt, &r.EndedBy,
			&kind, &day, &try, &started, &answered, &outcome, &code, &detail, &next)
		if err != nil || kind == nil {
			return r, err
		}
		r.Last = &forecast.MailTry{
			MailKey: forecast.MailKey{Farm: r.Farm, Recipient: r.ID, Kind: forecast.MailKind(*kind), Day: *day}, Try: *try, StartedAt: *started,
		}
		if outcome != nil {
			r.Last.Answer = &forecast.MailAnswer{At: *answered, Outcome: forecast.MailOutcome(*outcome), Code: *code, Text: *detail, NextAt: next}
		}
		return r, nil
	})
	if err != nil {
		return nil, fmt.Errorf("read recipients: %w", domain(err))
	}
	return list, nil
}

// EndRecipient takes a recipient off the list. Errors:
// [forecast.ErrRecipientNotFound], also when it was ended before.
func (s *Store) EndRecipient(ctx context.Context, farm, id, by string, at time.Time) error {
	tag, err := s.pool.Exec(ctx, endRecipientSQL, farm, id, instant(at), by)
	if err == nil && tag.RowsAffected() == 0 {
		err = forecast.ErrRecipientNotFound
	}
	if err != nil {
		return fmt.Errorf("end recipient: %w", domain(err))
	}
	return nil
}

const mailedSQL = `
	SELECT r.farm, r.id, r.address, r.asked_at, r.asked_by, r.confirmed_at, r.ended_at, COALESCE(r.ended_by, '')
	FROM mail_try AS t
	JOIN recipient AS r ON r.farm = t.farm AND r.id = t.recipient
	WHERE t.hash = $1 AND t.kind = $2`

// Mailed returns whom a secret in the link of a mail of a kind was sent to, also
// when it was ended. Errors: [forecast.ErrRecipientNotFound].
func (s *Store) Mailed(ctx context.Context, hash [sha256.Size]byte, kind forecast.MailKind) (forecast.Recipient, error) {
	rows, _ := s.pool.Query(ctx, mailedSQL, hash[:], kind)
	r, err := pgx.CollectExactlyOneRow(rows, scanRecipient)
	if err != nil {
		return forecast.Recipient{}, fmt.Errorf("read whom a mail was for: %w", domain(orNotFound(err, forecast.ErrRecipientNotFound)))
	}
	return r, nil
}

const (
	confirmRecipientSQL = `
		UPDATE recipient AS r
		SET confirmed_at = COALESCE(r.confirmed_at, $2)
		FROM mail_try AS t
		WHERE t.hash = $1 AND t.kind = 'ask' AND t.started_at > $3 AND r.farm = t.farm AND r.id = t.recipient AND r.ended_at IS NULL
		RETURNING r.farm, r.id, r.address, r.asked_at, r.asked_by, r.confirmed_at, r.ended_at, COALESCE(r.ended_by, '')`

	leaveMailSQL = `
		UPDATE recipient AS r
		SET ended_at = COALESCE(r.ended_at, $2), ended_by = COALESCE(r.ended_by, $3)
		FROM mail_try AS t
		WHERE t.hash = $1 AND t.kind = 'morning' AND r.farm = t.farm AND r.id = t.recipient
		RETURNING r.farm, r.id, r.address, r.asked_at, r.asked_by, r.confirmed_at, r.ended_at, COALESCE(r.ended_by, '')`
)

// ConfirmRecipient confirms the recipient who was sent a secret after an
// instant; again it changes nothing. Errors: [forecast.ErrRecipientNotFound],
// also when the recipient was ended.
func (s *Store) ConfirmRecipient(ctx context.Context, hash [sha256.Size]byte, sentAfter, at time.Time) (forecast.Recipient, error) {
	return s.changeMailed(ctx, "confirm recipient", confirmRecipientSQL, hash[:], instant(at), instant(sentAfter))
}

// LeaveMail ends the recipient whose morning mail held a secret; again it
// changes nothing. Errors: [forecast.ErrRecipientNotFound].
func (s *Store) LeaveMail(ctx context.Context, hash [sha256.Size]byte, at time.Time) (forecast.Recipient, error) {
	return s.changeMailed(ctx, "leave mail", leaveMailSQL, hash[:], instant(at), forecast.ByReader)
}

func (s *Store) changeMailed(ctx context.Context, what, sql string, args ...any) (forecast.Recipient, error) {
	rows, _ := s.pool.Query(ctx, sql, args...)
	r, err := pgx.CollectExactlyOneRow(rows, scanRecipient)
	if err != nil {
		return forecast.Recipient{}, fmt.Errorf("%s: %w", what, domain(orNotFound(err, forecast.ErrRecipientNotFound)))
	}
	return r, nil
}

// Of $1 a farm, $2 a kind, $3 a day and $4 an instant, the recipients that a try
// may be made for: it is the first, or the last one failed for now and its time
// has come. A recipient is asked once, whatever the day.
const dueMailSQL = `
	FROM recipient AS r
	LEFT JOIN LATERAL (
		SELECT t.try, a.outcome, a.next_at
		FROM mail_try AS t
		LEFT JOIN mail_answer AS a USING (farm, recipient, kind, day, try)
		WHERE t.farm = r.farm AND t.recipient = r.id AND t.kind = $2 AND (t.day = $3 OR t.kind = 'ask')
		ORDER BY t.try DESC
		LIMIT 1
	) AS l ON true
	WHERE r.farm = $1 AND r.ended_at IS NULL
		AND (r.confirmed_at IS NOT NULL) = ($2::text = 'morning')
		AND (l.try IS NULL OR l.outcome = 'later' AND l.next_at <= $4)`

const mailDueSQL = `
	SELECT r.farm, r.id, r.address, r.asked_at, r.asked_by, r.confirmed_at, r.ended_at, COALESCE(r.ended_by, '')` + dueMailSQL + `
	ORDER BY r.asked_at, r.id`

// MailDue returns the recipients of a farm to whom a kind of mail may be sent on
// a day.
func (s *Store) MailDue(ctx context.Context, farm string, kind forecast.MailKind, day weather.Date, at time.Time) ([]forecast.Recipient, error) {
	rows, _ := s.pool.Query(ctx, mailDueSQL, farm, kind, day, instant(at))
	list, err := pgx.CollectRows(rows, scanRecipient)
	if err != nil {
		return nil, fmt.Errorf("read mail that is due: %w", domain(err))
	}
	return list, nil
}

const claimMailSQL = `
	INSERT INTO mail_try (farm, recipient, kind, day, try, hash, started_at)
	SELECT r.farm, r.id, $2, $3, COALESCE(l.try, 0) + 1, $6, $4` + dueMailSQL + `
		AND r.id = $5
	ON CONFLICT (farm, recipient, kind, day, try) DO NOTHING
	RETURNING try`

// ClaimMail records that a mail is about to be sent, with the hash of the secret
// in its link, and returns the number of the try; not got when it is not due,
// which may be because another instance of the service has taken it.
func (s *Store) ClaimMail(ctx context.Context, k forecast.MailKey, hash [sha256.Size]byte, at time.Time) (try int, got bool, err error) {
	err = s.pool.QueryRow(ctx, claimMailSQL, k.Farm, k.Kind, k.Day, instant(at), k.Recipient, hash[:]).Scan(&try)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return 0, false, nil
	case err != nil:
		return 0, false, fmt.Errorf("claim mail: %w", domain(err))
	}
	return try, true, nil
}

const keepMailSQL = `
	INSERT INTO mail_answer (farm, recipient, kind, day, try, answered_at, outcome, code, detail, next_at)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`

// KeepMail records what came of a try.
func (s *Store) KeepMail(ctx context.Context, k forecast.MailKey, try int, a forecast.MailAnswer) error {
	if a.NextAt != nil {
		next := instant(*a.NextAt)
		a.NextAt = &next
	}
	_, err := s.pool.Exec(ctx, keepMailSQL, k.Farm, k.Recipient, k.Kind, k.Day, try, instant(a.At), a.Outcome, a.Code, a.Text, a.NextAt)
	if err != nil {
		return fmt.Errorf("keep mail: %w", domain(err))
	}
	return nil
}
