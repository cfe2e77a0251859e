package forecast

import (
	"context"
	"fmt"
)

// Design tries changes of a farm's planting list; see [Design]. Without a season
// it is that in which plants ordered today bear first; it may be the present one
// and up to five later. Nothing is kept. Errors: ErrFarmNotFound and those of
// [Design]; faults also of "season".
func (s *Service) Design(ctx context.Context, farm string, season *int, changes []Change) (_ *Designed, faults []error, err error) {
	in, err := s.Known(ctx, farm)
	if err != nil {
		return nil, nil, err
	}
	today, err := in.Farm.Today(s.Now())
	if err != nil {
		return nil, nil, err
	}
	year := OrderedSeason(today)
	if season != nil {
		year = *season
	}
	if now := SeasonOf(today, in.Farm.Southern()); year < now || year > now+seasonsAhead {
		return nil, []error{&FieldError{"season", fmt.Sprintf("must be from %d to %d", now, now+seasonsAhead)}}, nil
	}
	d, faults, err := Design(in, year, changes)
	if err != nil {
		return nil, nil, fmt.Errorf("design season %d: %w", year, err)
	}
	return d, faults, nil
}
