package forecast

import (
	"bytes"
	"context"
	"fmt"
	"hash/maphash"
)

// frozenKey names a frozen forecast. Its bytes never change; that other bytes
// are another key keeps those who changed them in memory from each other.
type frozenKey struct {
	id  string
	sum uint64 // Of the body.
}

var bodySeed = maphash.MakeSeed()

func (z Frozen) key() frozenKey { return frozenKey{z.ID, maphash.Bytes(bodySeed, z.Body)} }

// Decode reads the frozen form of z. What it returns is shared: it must not be
// changed.
func (s *Service) Decode(ctx context.Context, z Frozen) (*Forecast, error) {
	return s.decoded.Get(ctx, z.key(), func(context.Context) (*Forecast, bool, error) {
		f, err := Decode(z.Body)
		return f, z.ID != "", err
	})
}

// explained is how all that a frozen forecast says came to be.
type explained struct {
	by         map[string]reasons // By planting.
	reproduced bool
}

type reasons struct {
	x   *Explanation
	err error
}

// Explain explains what a frozen forecast, or one that [Service.Make] has just
// made, says of one planting, by making it again from what was known to it. It
// also reports whether that gives the same bytes; it does not when another
// program version made it. What moved is told as it was issued. What it returns is shared: it
// must not be changed. Errors: [ErrPlantingNotFound], [ErrFarmNotFound],
// [ErrTooFewYears].
//
// An explanation of a frozen forecast stays as it is, so it is kept, with those
// of the other plantings, which are most often asked for next and cost little
// more: the work is in making the forecast again.
func (s *Service) Explain(ctx context.Context, z Frozen, planting string) (x *Explanation, reproduced bool, err error) {
	issued, err := s.Decode(ctx, z)
	if err != nil {
		return nil, false, err
	}
	told := false
	for _, d := range issued.Plantings {
		told = told || d.Planting == planting
	}
	if !told {
		return nil, false, ErrPlantingNotFound
	}
	e, err := s.explained.Get(ctx, z.key(), func(ctx context.Context) (*explained, bool, error) {
		e, err := s.explain(ctx, z, issued)
		if err != nil {
			return nil, false, err
		}
		return e, z.ID != "", nil
	})
	if err != nil {
		return nil, false, err
	}
	r, ok := e.by[planting]
	if !ok {
		return nil, false, ErrPlantingNotFound // By another program's rules it bears nothing.
	}
	return r.x, e.reproduced, r.err
}

// explain makes z, which says what issued says, again and explains all of it.
func (s *Service) explain(ctx context.Context, z Frozen, issued *Forecast) (*explained, error) {
	in, err := s.Store.Inputs(ctx, z.Farm, z.KnownAt)
	if err != nil {
		return nil, fmt.Errorf("read inputs: %w", err)
	}
	c, err := s.compute(ctx, in, z.AsOf, z.KnownAt)
	if err != nil {
		return nil, err
	}
	c.f.ID, c.f.MadeAt, c.f.Hindcast, c.f.Late = issued.ID, z.MadeAt.UTC(), z.Hindcast, issued.Late
	again, err := c.f.Encode()
	if err != nil {
		return nil, err
	}
	e := &explained{by: map[string]reasons{}, reproduced: bytes.Equal(again, z.Body)}
	for _, d := range issued.Plantings {
		x, err := c.explain(d.Planting)
		if err == nil {
			x.Moved = d.Moved
		}
		e.by[d.Planting] = reasons{x, err}
	}
	return e, nil
}
