package forecast

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"fmt"
	"strings"
	"time"

	"ripetide/forecast/memo"
	"ripetide/weather"
)

// Store is what the use case needs of a database.
type Store interface {
	// Inputs returns everything about a farm that had been recorded by the
	// instant knownAt, or ErrFarmNotFound.
	Inputs(ctx context.Context, farm string, knownAt time.Time) (Inputs, error)
	// Settle waits for its turn to make forecasts of a farm and for all that is
	// being recorded of it, and returns an instant not before at up to which
	// nothing will come to be known any more: what is recorded from then on is
	// recorded later. Two calls never return the same. The caller calls done once
	// its forecast is frozen.
	Settle(ctx context.Context, farm string, at time.Time) (known time.Time, done func(), err error)
	// Settled returns the latest instant that Settle has returned of a farm, the
	// zero time for none.
	Settled(ctx context.Context, farm string) (time.Time, error)
	// Freeze stores a forecast for ever.
	Freeze(ctx context.Context, f Frozen) error
	// Previous returns the frozen forecast of a season with the latest morning
	// earlier than before, of those that had been made by the instant knownAt:
	// of one morning no hindcast if there is another, and the one made last.
	// It reports whether there is any.
	Previous(ctx context.Context, farm string, season int, before weather.Date, knownAt time.Time) (Frozen, bool, error)
}

// Frozen is a forecast as it was issued, with what is needed to find it and
// to make it again: given an append-only store, AsOf, KnownAt and Program
// name its inputs.
type Frozen struct {
	ID       string
	Farm     string
	Season   int
	AsOf     weather.Date
	KnownAt  time.Time // Records received later were not used.
	MadeAt   time.Time
	Hindcast bool
	Program  string // Version of the program that made it.
	Body     []byte // The frozen form; it is shared and never changed.
}

// Service makes forecasts from a store. It is safe for concurrent use.
type Service struct {
	Store   Store
	Now     func() time.Time
	Program string // Version of this program.

	decoded   memo.Cache[frozenKey, *Forecast]
	explained memo.Cache[frozenKey, *explained]
}

// Request says which forecast is wanted.
type Request struct {
	AsOf    *weather.Date // Nil: the farm's today.
	KnownAt *time.Time    // Nil: now.
	Freeze  bool          // Otherwise it is only computed.
	Late    bool          // It should have been made on its morning; says so.
}

// Make computes a forecast and, if asked, freezes it. Errors: ErrFarmNotFound,
// ErrAsOfAhead, ErrTooFewYears.
func (s *Service) Make(ctx context.Context, farm string, r Request) (*Forecast, Frozen, error) {
	now, done, err := s.begin(ctx, farm, r.Freeze)
	if err != nil {
		return nil, Frozen{}, err
	}
	defer done()
	known := now
	if r.KnownAt != nil {
		known = r.KnownAt.UTC()
	}
	if known.After(now) { // What is received later must not come to belong to it.
		known = now
	}
	in, err := s.Store.Inputs(ctx, farm, known)
	if err != nil {
		return nil, Frozen{}, fmt.Errorf("read inputs: %w", err)
	}
	// By the clock and not by what is settled, which a clock that was ahead may have
	// left far ahead; and after the wait for a turn, which may last over midnight.
	today, err := in.Farm.Today(s.Now())
	if err != nil {
		return nil, Frozen{}, err
	}
	asOf := today
	if r.AsOf != nil {
		asOf = *r.AsOf
	}
	if asOf > today {
		return nil, Frozen{}, &AheadError{AsOf: asOf, Today: today}
	}
	c, err := s.compute(ctx, in, asOf, known)
	if err != nil {
		return nil, Frozen{}, err
	}
	f := c.f
	f.MadeAt = now
	f.Hindcast, f.Late = asOf < today, r.Late
	z := Frozen{
		Farm: farm, Season: f.Season, AsOf: asOf, KnownAt: known, MadeAt: now,
		Hindcast: f.Hindcast, Program: s.Program,
	}
	if r.Freeze {
		z.ID = newID()
		f.ID = &z.ID
	}
	if z.Body, err = f.Encode(); err != nil {
		return nil, Frozen{}, err
	}
	if r.Freeze {
		if err := s.Store.Freeze(ctx, z); err != nil {
			return nil, Frozen{}, fmt.Errorf("freeze: %w", err)
		}
	}
	return f, z, nil
}

// Known returns everything about a farm that is known now. Errors:
// ErrFarmNotFound.
func (s *Service) Known(ctx context.Context, farm string) (Inputs, error) {
	now, done, err := s.begin(ctx, farm, false)
	if err != nil {
		return Inputs{}, err
	}
	defer done()
	return s.Store.Inputs(ctx, farm, now)
}

// begin returns the instant that a forecast is made at: now, or as much later as
// what is settled asks for.
func (s *Service) begin(ctx context.Context, farm string, freeze bool) (now time.Time, done func(), err error) {
	now = s.Now().UTC().Truncate(time.Microsecond) // As fine as PostgreSQL keeps it.
	if freeze {
		if now, done, err = s.Store.Settle(ctx, farm, now); err != nil {
			return now, nil, fmt.Errorf("settle what is known: %w", err)
		}
		return now.UTC(), done, nil
	}
	settled, err := s.Store.Settled(ctx, farm)
	if err != nil {
		return now, nil, err
	}
	if next := settled.UTC().Add(time.Microsecond); now.Before(next) { // When what was recorded since is recorded at.
		now = next
	}
	return now, func() {}, nil
}

// compute makes the forecast of a morning from what was known at an instant,
// and says what moved since the one before it.
func (s *Service) compute(ctx context.Context, in Inputs, asOf weather.Date, known time.Time) (*computing, error) {
	z, compare, err := s.Store.Previous(ctx, in.Farm.ID, SeasonOf(asOf, in.Farm.Southern()), asOf, known)
	if err != nil {
		return nil, fmt.Errorf("find the forecast before: %w", err)
	}
	was := Earlier{Forecast: z.ID, AsOf: z.AsOf}
	if compare {
		if was.Inputs, err = s.Store.Inputs(ctx, in.Farm.ID, z.KnownAt); err != nil {
			return nil, fmt.Errorf("read inputs of the forecast before: %w", err)
		}
	}
	c, err := compute(in, asOf)
	if err != nil {
		return nil, fmt.Errorf("compute: %w", err)
	}
	if compare {
		c.since(was)
	}
	c.mayMove()
	return c, nil
}

// newID returns 26 random characters a-z2-7, 130 bits.
func newID() string {
	b := make([]byte, 17)
	rand.Read(b) // Never fails, by its documentation.
	return strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b))[:26]
}
