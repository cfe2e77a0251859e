package forecast

import (
	"context"
	"fmt"
	"time"

	"ripetide/weather"
)

// Profile profiles the method of a farm, and returns the farm as it is now.
// asOf nil: the farm's today. Nothing is stored and nothing changed. Errors:
// ErrFarmNotFound, ErrAsOfAhead.
func (s *Service) Profile(ctx context.Context, farm string, asOf *weather.Date) (*MethodProfile, Farm, error) {
	now := s.Now().UTC().Truncate(time.Microsecond)
	in, err := s.Store.Inputs(ctx, farm, now)
	if err != nil {
		return nil, Farm{}, fmt.Errorf("read inputs: %w", err)
	}
	today, err := in.Farm.Today(now)
	if err != nil {
		return nil, Farm{}, err
	}
	d := today
	if asOf != nil {
		d = *asOf
	}
	if d > today {
		return nil, Farm{}, &AheadError{AsOf: d, Today: today}
	}
	p, err := Profile(in, d, ProfileOptions{})
	return p, in.Farm, err
}
