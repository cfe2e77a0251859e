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

// DecideProposal records what was decided about a proposal. To accept it, its
// value becomes a new version of what it is about, in the same transaction; to
// take it back the former value does, unless somebody has changed it since. What
// is decided already is not recorded again, but where somebody has changed the
// value since it was accepted, it can be decided about again. Of p only its
// identifier is needed to take it back. Errors: [forecast.ErrFarmNotFound];
// [forecast.ErrProposalNotFound] when there is nothing to take back;
// [forecast.ErrVarietyNotFound] and [forecast.ErrPlantingNotFound];
// [forecast.ErrProposalOvertaken].
func (s *Store) DecideProposal(ctx context.Context, farm string, d forecast.ProposalDecision, p forecast.Proposal) (kept forecast.ProposalDecision, err error) {
	if m := p.Value.Method; m != nil {
		p.Value.Method = new(plainMethod(*m))
	}
	err = s.record(ctx, farm, d.At, func(tx pgx.Tx, at time.Time) error {
		var since time.Time
		if err := tx.QueryRow(ctx, claimFarmSQL, farm).Scan(&since); err != nil {
			return orNotFound(err, forecast.ErrFarmNotFound)
		}
		rows, _ := tx.Query(ctx, proposalsSQL, farm, d.Proposal)
		all, err := pgx.CollectRows(rows, scanProposal)
		if err != nil {
			return err
		}
		var last decidedProposal
		if len(all) > 0 {
			last = all[0]
		}
		next := decidedProposal{d, forecast.ProposalValue{}, p.Value}
		next.Version, next.At = last.Version+1, later(at, last.At, since)
		c := constants{tx, farm, d, next.At}
		holds := false // It was accepted, and nobody has changed the value since.
		if last.State == forecast.ProposalAccepted {
			now, err := c.value(ctx, last.Kind, last.Subject)
			if err != nil {
				return err
			}
			holds = reflect.DeepEqual(now, last.becomes)
		}
		if kept = last.ProposalDecision; kept.State == d.State && (holds || d.State == forecast.ProposalDeclined) {
			return nil
		}
		switch {
		case d.State == forecast.ProposalTakenBack && (last.Version == 0 || last.State == forecast.ProposalTakenBack):
			return forecast.ErrProposalNotFound
		case d.State == forecast.ProposalTakenBack && last.State == forecast.ProposalDeclined:
			next.Kind, next.Subject, next.Told, next.becomes = last.Kind, last.Subject, last.Told, last.becomes
		case d.State == forecast.ProposalTakenBack:
			next.Kind, next.Subject, next.Told = last.Kind, last.Subject, last.Told
			next.becomes, next.was = last.was, last.becomes
			err = c.change(ctx, next.Kind, next.Subject, &last.becomes, last.was)
		case holds: // It is taken back first.
			return forecast.ErrProposalOvertaken
		case d.State == forecast.ProposalAccepted:
			if next.was, err = c.value(ctx, p.Kind, p.Subject); err == nil {
				err = c.change(ctx, p.Kind, p.Subject, nil, p.Value)
			}
		}
		if err != nil {
			return err
		}
		kept = next.ProposalDecision
		_, err = tx.Exec(ctx, addProposalSQL,
			farm, next.Proposal, next.Version, next.At, next.By, next.State, next.Kind, next.Subject, next.was, next.becomes, next.Told, next.Reason)
		return err
	})
	if err != nil {
		return forecast.ProposalDecision{}, fmt.Errorf("decide proposal: %w", err)
	}
	return kept, nil
}

// Proposals returns all that a farm decided about proposals, the latest first.
func (s *Store) Proposals(ctx context.Context, farm string) ([]forecast.ProposalDecision, error) {
	rows, _ := s.pool.Query(ctx, proposalsSQL, farm, "")
	all, err := pgx.CollectRows(rows, scanProposal)
	if err != nil {
		return nil, fmt.Errorf("read proposals: %w", domain(err))
	}
	out := make([]forecast.ProposalDecision, len(all))
	for i, x := range all {
		out[i] = x.ProposalDecision
	}
	return out, nil
}

const (
	// proposalsSQL reads what was decided about proposal $2, or about all with "".
	proposalsSQL = `
		SELECT proposal, version, decided_at, decided_by, state, kind, subject, was, becomes, told, reason
		FROM proposal_version
		WHERE farm = $1 AND ($2 = '' OR proposal = $2)
		ORDER BY decided_at DESC, proposal, version DESC`

	addProposalSQL = `
		INSERT INTO proposal_version (
			farm, proposal, version, decided_at, decided_by, state, kind, subject, was, becomes, told, reason)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`
)

// decidedProposal is a decision with the value before and the one it is for.
type decidedProposal struct {
	forecast.ProposalDecision
	was, becomes forecast.ProposalValue
}

func scanProposal(row pgx.CollectableRow) (d decidedProposal, err error) {
	err = row.Scan(&d.Proposal, &d.Version, &d.At, &d.By, &d.State, &d.Kind, &d.Subject, &d.was, &d.becomes, &d.Told, &d.Reason)
	return d, err
}

// constants reads and writes what proposals are about.
type constants struct {
	tx       pgx.Tx
	farm     string
	decision forecast.ProposalDecision
	at       time.Time
}

// value returns the value in use.
func (c constants) value(ctx context.Context, kind forecast.ProposalKind, subject string) (v forecast.ProposalValue, err error) {
	switch kind {
	case forecast.ProposeMethod:
		was, _, err := scanChoice(c.tx.QueryRow(ctx, methodSQL, c.farm, now))
		if errors.Is(err, pgx.ErrNoRows) {
			was.Method, err = forecast.DefaultMethod, nil
		}
		return forecast.ProposalValue{Method: &was.Method}, err
	case forecast.ProposeRequirement:
		x, _, err := queryVariety(ctx, c.tx, c.farm, subject)
		return forecast.ProposalValue{Requirement: x.Requirement}, orNotFound(err, forecast.ErrVarietyNotFound)
	case forecast.ProposeYield:
		x, _, err := queryPlanting(ctx, c.tx, c.farm, subject)
		return forecast.ProposalValue{KgPerM2: &x.KgPerM2}, orNotFound(err, forecast.ErrPlantingNotFound)
	}
	return v, forecast.ErrProposalNotFound
}

// change writes a value; if expect is given, only in place of that one.
func (c constants) change(ctx context.Context, kind forecast.ProposalKind, subject string, expect *forecast.ProposalValue, v forecast.ProposalValue) error {
	if expect != nil {
		switch now, err := c.value(ctx, kind, subject); {
		case err != nil:
			return err
		case !reflect.DeepEqual(now, *expect):
			return forecast.ErrProposalOvertaken
		}
	}
	by := c.decision.By
	switch kind {
	case forecast.ProposeMethod:
		_, err := putMethod(ctx, c.tx, c.farm, forecast.MethodChoice{Method: *v.Method, By: by, At: c.at, Reason: c.decision.Reason}, by, c.at)
		return err
	case forecast.ProposeRequirement:
		x, _, err := queryVariety(ctx, c.tx, c.farm, subject)
		if err != nil {
			return orNotFound(err, forecast.ErrVarietyNotFound)
		}
		x.Requirement = v.Requirement
		_, err = varietyRevision(c.farm, x, by).put(ctx, c.tx, c.at)
		return err
	case forecast.ProposeYield:
		x, _, err := queryPlanting(ctx, c.tx, c.farm, subject)
		if err != nil {
			return orNotFound(err, forecast.ErrPlantingNotFound)
		}
		x.KgPerM2 = *v.KgPerM2
		_, err = plantingRevision(c.farm, x, by).put(ctx, c.tx, c.at)
		return err
	}
	return forecast.ErrProposalNotFound
}
