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

// IssuedAll is what one frozen forecast said of all plantings.
type IssuedAll struct {
	ID       string
	AsOf     weather.Date
	MadeAt   time.Time
	Hindcast bool
	Stages   map[string]*StageDates // By planting; nil when it could not be forecast.
}

// Of returns what was said of one planting.
func (i IssuedAll) Of(planting string) Issued {
	return Issued{ID: i.ID, AsOf: i.AsOf, MadeAt: i.MadeAt, Hindcast: i.Hindcast, Stages: i.Stages[planting]}
}

// Stages returns the dates that a frozen forecast gives, by planting; nil where
// it could give none. It reads only as much of the body as that takes.
func (z Frozen) Stages() (map[string]*StageDates, error) {
	var f struct {
		Plantings []struct {
			Planting string      `json:"planting"`
			Stages   *StageDates `json:"stages"`
		} `json:"plantings"`
	}
	if err := json.Unmarshal(z.Body, &f); err != nil {
		return nil, fmt.Errorf("decode forecast: %w", err)
	}
	out := make(map[string]*StageDates, len(f.Plantings))
	for _, p := range f.Plantings {
		out[p.Planting] = p.Stages
	}
	return out, nil
}
