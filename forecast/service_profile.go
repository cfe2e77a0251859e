package forecast

import (
	"context"
	"fmt"

	"ripetide/weather"
)

// Profile profiles the method of a farm, and returns the farm as it is now.
// asOf nil: the farm's today. Nothing is stored and nothing changed. Errors:
// ErrFarmNotFound, ErrAsOfAhead.
func (s *Service) Profile(ctx context.Context, farm string, asOf *weather.Date) (*MethodProfile, Farm, error) {
	in, err := s.Known(ctx, farm)
	if err != nil {
		return nil, Farm{}, fmt.Errorf("read inputs: %w", err)
	}
	today, err := in.Farm.Today(s.Now())
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
