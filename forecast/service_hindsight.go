package forecast

import (
	"context"
	"fmt"
)

// Hindsight looks back at a frozen forecast, given what is known now; see
// [InHindsight]. Of z its body is not needed.
func (s *Service) Hindsight(ctx context.Context, z Frozen, now Inputs) (Hindsight, error) {
	then, err := s.Store.Inputs(ctx, z.Farm, z.KnownAt)
	if err != nil {
		return Hindsight{}, fmt.Errorf("read inputs of forecast %s: %w", z.ID, err)
	}
	h, err := InHindsight(then, now, z.AsOf)
	if err != nil {
		return h, fmt.Errorf("look back at forecast %s: %w", z.ID, err)
	}
	return h, nil
}
