package simfarm

import (
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// Trait is what a variety is made of. Development is counted in days at the
// fastest: [SpringRate] to bloom, [FruitRate] from flower to ripe berry.
type Trait struct {
	Variety string  // forecast.Variety.ID.
	Bloom   float64 // From the start of the season until the middle plant opens its first flower; about 36.
	Fruit   float64 // From the first flower of a truss to its ripe berry; about 20.
	Spread  float64 // Time it takes over its bloom, against 1 for an ordinary variety.
}

// Site is what a block does to its plants.
type Site struct {
	Block string  // forecast.Planting.Block.
	WarmC float64 // How much warmer than at the station it is, °C: a south slope more, a hollow less.
}

// Scatter holds the sizes of what nobody can know beforehand. Its zero value
// is a world without chance.
type Scatter struct {
	SeasonBloom float64 // Relative sd of the development to bloom, shared by all plantings in a season.
	SeasonFruit float64 // Of the development from flower to ripe berry, likewise.
	OwnBloom    float64 // Of one planting in one season, on top.
	OwnFruit    float64
	SeasonYield float64 // Relative sd of the yield, shared.
	OwnYield    float64
	Eye         float64 // Sd of the date at which a person takes a stage for come, days.
}

// UsualScatter is invented for the simulation: one per cent is about two thirds
// of a day of bloom, or a third of a day from flower to ripe berry.
var UsualScatter = Scatter{
	SeasonBloom: 0.02, SeasonFruit: 0.05,
	OwnBloom: 0.01, OwnFruit: 0.02,
	SeasonYield: 0.12, OwnYield: 0.12,
	Eye: 0.7,
}

// Farm is a farm to be simulated.
type Farm struct {
	Seed      uint64
	Latitude  float64 // Degrees north; negative: the season begins on 1 July of the year before.
	Traits    []Trait // One for every variety that is planted.
	Sites     []Site  // Blocks that are not listed are as warm as the station.
	Plantings []forecast.Planting
	Scatter   Scatter
	// Rounds are the weekdays on which somebody walks the rows for bloom; none:
	// every day. Ripe stages are looked for every day, for people pick.
	Rounds []time.Weekday
}

// stages is the number of stages of a year.
const stages = int(forecast.LastPick) + 1

// Truth is what happened to one planting in one season.
type Truth struct {
	Planting string
	Variety  string
	Season   int
	// Dates are the true days on which each stage came, by forecast.Stage.
	Dates [stages]weather.Date
	// Noted are the days that the farm's people wrote down for it.
	Noted [stages]weather.Date
	// NotYet are the last days before on which they looked and it had not come.
	NotYet [stages]weather.Date
	// From is the day of RipeKg[0]; later elements are the days after it.
	From   weather.Date
	RipeKg []float64 // Weight that ripened on each day, kg.
}

// Date returns the true date of a stage.
func (t Truth) Date(s forecast.Stage) weather.Date { return t.Dates[s] }

// InWindow reports whether d lies in the picking window: from first ripe to
// last pick, both included.
func (t Truth) InWindow(d weather.Date) bool {
	return t.Dates[forecast.FirstRipe] <= d && d <= t.Dates[forecast.LastPick]
}

// KgOn returns the weight that ripened on d, kg.
func (t Truth) KgOn(d weather.Date) float64 {
	if i := int(d - t.From); 0 <= i && i < len(t.RipeKg) {
		return t.RipeKg[i]
	}
	return 0
}

// TotalKg returns the weight of the whole crop, kg.
func (t Truth) TotalKg() (kg float64) {
	for _, x := range t.RipeKg {
		kg += x
	}
	return kg
}
