package forecast

import (
	"context"
	"fmt"

	"ripetide/weather"
)

// FrostEffects returns what frosts would change of this morning's forecast, which
// it returns too, if they were recorded. It keeps nothing. Errors:
// ErrFarmNotFound, ErrTooFewYears.
func (s *Service) FrostEffects(ctx context.Context, farm string, fs []Frost) (asOf weather.Date, _ []FrostEffect, err error) {
	in, err := s.Known(ctx, farm)
	if err != nil {
		return 0, nil, err
	}
	if asOf, err = in.Farm.Today(s.Now()); err != nil {
		return 0, nil, err
	}
	effects, err := FrostEffects(in, asOf, fs)
	if err != nil {
		return 0, nil, fmt.Errorf("work out frosts: %w", err)
	}
	return asOf, effects, nil
}
