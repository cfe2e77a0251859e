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
	Window   *DayCounts  // Likewise.
	Bloomed  bool        // It knew of bloom that somebody had seen.
}

// IssuedAll is what one frozen forecast said.
type IssuedAll struct {
	ID       string
	AsOf     weather.Date
	MadeAt   time.Time
	Hindcast bool
	Said
}

// Said is what the body of a frozen forecast says of dates: as much of it as
// looking back needs.
type Said struct {
	Stages  map[string]*StageDates // By planting; nil when it could not be forecast.
	Windows map[string]*DayCounts  // Likewise.
	Bloomed map[string]bool        // Plantings whose bloom was known, because somebody had seen it.
	Gaps    []Gap
	Chances []GapChance   // In order of date; of a day that is not there 0.
	Opening *weather.Date // That was advised; nil: none.
}

// GapChance is the probability that a day has a gap.
type GapChance struct {
	Date        weather.Date
	Probability float64
}

// Of returns what was said of one planting.
func (i IssuedAll) Of(planting string) Issued {
	return Issued{i.ID, i.AsOf, i.MadeAt, i.Hindcast, i.Stages[planting], i.Windows[planting], i.Bloomed[planting]}
}

// Chance returns the probability that was given for a gap on a day.
func (s Said) Chance(d weather.Date) float64 {
	for _, c := range s.Chances {
		if c.Date == d {
			return c.Probability
		}
	}
	return 0
}

// Said reads what a frozen forecast says of dates, and no more of its body than
// that takes.
func (z Frozen) Said() (Said, error) {
	var f struct {
		Plantings []struct {
			Planting string      `json:"planting"`
			Bloom    *Bloom      `json:"bloom"`
			Stages   *StageDates `json:"stages"`
			Window   *DayCounts  `json:"picking_window_days"`
		} `json:"plantings"`
		Gaps []Gap `json:"gaps"`
		Days []struct {
			Date weather.Date `json:"date"`
			Gap  float64      `json:"gap_probability"`
		} `json:"days"`
		Advice *struct {
			Opening struct {
				Day *weather.Date `json:"day"`
			} `json:"opening"`
		} `json:"advice"`
	}
	if err := json.Unmarshal(z.Body, &f); err != nil {
		return Said{}, fmt.Errorf("decode forecast: %w", err)
	}
	s := Said{Stages: make(map[string]*StageDates, len(f.Plantings)), Windows: make(map[string]*DayCounts, len(f.Plantings)), Bloomed: map[string]bool{}, Gaps: f.Gaps}
	for _, p := range f.Plantings {
		s.Stages[p.Planting], s.Windows[p.Planting] = p.Stages, p.Window
		if p.Bloom != nil && p.Bloom.From != BloomForecast {
			s.Bloomed[p.Planting] = true
		}
	}
	for _, d := range f.Days {
		if d.Gap > 0 {
			s.Chances = append(s.Chances, GapChance{d.Date, d.Gap})
		}
	}
	if f.Advice != nil {
		s.Opening = f.Advice.Opening.Day
	}
	return s, nil
}
