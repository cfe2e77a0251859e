package hindcast

import (
	"fmt"
	"slices"

	"ripetide/forecast"
	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// References gives the baselines of single events, for forecasts that were not
// made by [Replay]. It is not safe for concurrent use.
type References struct {
	farm  *farm
	years map[int]*year
}

// NewReferences returns the references of a farm. Inputs are those of [Replay].
func NewReferences(in forecast.Inputs) *References {
	return &References{newFarm(in), map[int]*year{}}
}

// Of returns what a baseline says of a stage of a planting on the morning asOf of
// a season, knowing of this season what was dated by then and of others only the
// earlier ones; without a forecast, why there is none. The error is that of a
// date out of all reason, see [scoring.FromNormal].
func (r *References) Of(b Baseline, season int, planting string, s forecast.Stage, asOf weather.Date) (scoring.Distribution, Reason, error) {
	i := slices.IndexFunc(r.farm.plantings, func(p forecast.Planting) bool { return p.ID == planting })
	if i < 0 || s < forecast.FirstRipe || r.farm.places[season] == nil {
		return scoring.Distribution{}, NoPast, nil
	}
	y := r.years[season]
	if y == nil {
		y = r.farm.year(season)
		r.years[season] = y
	}
	bloom, bloomed := r.farm.entered[plantingSeason{i, season}].bloom(asOf, y.toFull)
	n, why := y.baseline(b, i, int(s-forecast.FirstRipe), asOf, bloom, bloomed)
	if why != "" {
		return scoring.Distribution{}, why, nil
	}
	d, err := scoring.FromNormal(n.mean, n.sd)
	if err != nil {
		return scoring.Distribution{}, "", fmt.Errorf("%s: %w", b, err)
	}
	return rest(d, asOf), "", nil
}
