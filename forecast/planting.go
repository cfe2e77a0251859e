package forecast

import "ripetide/weather"

// Planting is one variety in one block since a date: what a forecast is
// about.
type Planting struct {
	ID        string // Slug, unique within the farm.
	Variety   string // Variety.ID.
	Block     string // A piece of ground managed as one; a free name.
	Station   string // weather.Station.ID whose heat it is reckoned with.
	PlantedOn weather.Date
	RemovedOn *weather.Date // Nil while it stands.
	AreaM2    float64
	KgPerM2   float64 // Expected yield; see DefaultKgPerM2.
}

// DefaultKgPerM2 is the yield assumed when the farm gives none: 1 kg/m²,
// near the 10,000 lb/acre (1.1 kg/m²) that Penn State Extension named as the
// average of matted rows (2013).
const DefaultKgPerM2 = 1

// Validate returns every fault of p, each a [*FieldError].
func (p Planting) Validate() []error {
	var f faults
	f.slug("planting", p.ID)
	f.slug("variety", p.Variety)
	f.slug("station", p.Station)
	f.text("block", p.Block)
	f.within("area_m2", p.AreaM2, 0.1, 1e7)
	f.within("expected_kg_per_m2", p.KgPerM2, 0.001, 20)
	if p.RemovedOn != nil && *p.RemovedOn < p.PlantedOn {
		f.add("removed_on", "must not be before planted_on")
	}
	return f.errs
}

// Bears reports whether p has a crop to forecast in season on the date d: it
// bears from the calendar year after planting until it is removed.
func (p Planting) Bears(season int, d weather.Date) bool {
	return season > p.PlantedOn.Year() && (p.RemovedOn == nil || d < *p.RemovedOn)
}
