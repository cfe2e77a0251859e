package forecast

import (
	"encoding/json"
	"fmt"
	"time"

	"ripetide/weather"
)

// Issued is what one frozen forecast said of one planting.
type Issued struct {
	ID       string
	AsOf     weather.Date
	MadeAt   time.Time
	Hindcast bool
	Stages   *StageDates // Nil when it could not be forecast, or is not told of.
}

// Issued returns what a frozen forecast says of a planting. It reads only as
// much of the body as that takes.
func (z Frozen) Issued(planting string) (Issued, error) {
	var f struct {
		Plantings []struct {
			Planting string          `json:"planting"`
			Stages   json.RawMessage `json:"stages"`
		} `json:"plantings"`
	}
	if err := json.Unmarshal(z.Body, &f); err != nil {
		return Issued{}, fmt.Errorf("decode forecast: %w", err)
	}
	out := Issued{ID: z.ID, AsOf: z.AsOf, MadeAt: z.MadeAt, Hindcast: z.Hindcast}
	for _, p := range f.Plantings {
		if p.Planting != planting {
			continue
		}
		if err := json.Unmarshal(p.Stages, &out.Stages); err != nil {
			return Issued{}, fmt.Errorf("decode forecast: stages of %s: %w", planting, err)
		}
	}
	return out, nil
}
