package demofarm

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/simfarm"
	"ripetide/testdata"
	"ripetide/weather"
)

// seed of the simulation; see the package comment.
const seed = 1824

// Plantings returns every bed that stands or stood on the farm.
func Plantings() (out []forecast.Planting) {
	for _, v := range varieties {
		for _, b := range v.beds {
			p := forecast.Planting{
				ID: v.id + "-" + slug(b.block), Variety: v.id, Block: b.block, Station: Station.ID,
				PlantedOn: weather.DateOf(b.planted, time.April, 28), AreaM2: b.areaM2, KgPerM2: v.kgPerM2,
			}
			if b.removed != 0 {
				p.RemovedOn = &b.removed
			}
			out = append(out, p)
		}
	}
	return out
}

// slug is a block's name as part of an identifier.
func slug(block string) string { return strings.ReplaceAll(strings.ToLower(block), " ", "-") }

// Simulated returns the farm as simfarm grows it.
func Simulated() simfarm.Farm {
	f := simfarm.Farm{
		Seed: seed, Latitude: Farm.Latitude, Sites: sites, Plantings: Plantings(),
		Scatter: simfarm.UsualScatter,
		Rounds:  []time.Weekday{time.Monday, time.Wednesday, time.Friday, time.Saturday},
	}
	for _, v := range varieties {
		f.Traits = append(f.Traits, simfarm.Trait{Variety: v.id, Bloom: v.bloom, Fruit: v.fruit, Spread: v.spread})
	}
	return f
}

// Replayed returns the farm with the beds that bear in the demo's season, and
// no others, as if they had always stood: to ask how often its lineup leaves a
// hole.
func Replayed() simfarm.Farm {
	f := Simulated()
	f.Plantings = slices.DeleteFunc(f.Plantings, func(p forecast.Planting) bool { return !p.Bears(Season, AsOf) })
	for i := range f.Plantings {
		f.Plantings[i].PlantedOn = weather.DateOf(1900, time.January, 1)
	}
	return f
}

// Open returns the days on which the farm lets people pick: from the first
// allowed weekday on which enough stands, on allowed weekdays.
func Open(truths []simfarm.Truth, days weather.Series) func(weather.Date) bool {
	allowed := func(d weather.Date) bool { return slices.Contains(Farm.Opening.Weekdays, d.Weekday()) }
	from := weather.Date(math.MaxInt32)
	for _, s := range simfarm.Supply(truths, days, func(weather.Date) bool { return false }) {
		if allowed(s.Date) && s.StandingKg >= Farm.Opening.ReadyKg {
			from = s.Date
			break
		}
	}
	return func(d weather.Date) bool { return d >= from && allowed(d) }
}

// Grow returns the demo on a weather record that covers its seasons.
func Grow(days weather.Series) (testdata.Demo, error) {
	d := testdata.Demo{
		About: about, AsOf: AsOf, Farm: Farm,
		Stations: []weather.Station{Station}, Plantings: Plantings(),
	}
	for _, v := range varieties {
		d.Varieties = append(d.Varieties, forecast.Variety{ID: v.id, Name: v.name, Ripens: v.ripens})
	}
	farm := Simulated()
	for year := FirstSeason; year <= Season; year++ {
		truths, err := farm.Season(days, year)
		if err != nil {
			return testdata.Demo{}, fmt.Errorf("grow %d: %w", year, err)
		}
		for _, t := range truths {
			block := blockOf(d.Plantings, t.Planting)
			for s := forecast.Bloom10; s <= forecast.LastPick; s++ {
				if !written(t, block, s) {
					continue
				}
				seen := forecast.Sighting{Planting: t.Planting, Date: t.Noted[s], Stage: s, Seen: true}
				if seen.Date > AsOf {
					d.Later = append(d.Later, seen)
					if s == forecast.FirstRipe && seen.Date <= AsOf+lookAhead {
						d.Sightings = append(d.Sightings, forecast.Sighting{Planting: t.Planting, Date: AsOf, Stage: s})
					}
					continue
				}
				d.Sightings = append(d.Sightings, seen)
			}
		}
	}
	for _, list := range [][]forecast.Sighting{d.Sightings, d.Later} {
		slices.SortStableFunc(list, func(a, b forecast.Sighting) int {
			return cmp.Or(cmp.Compare(a.Date, b.Date), cmp.Compare(a.Planting, b.Planting), cmp.Compare(a.Stage, b.Stage))
		})
	}
	return d, nil
}

// lookAhead is how many days before its first ripe fruit a bed gets a look
// that ends in "not yet".
const lookAhead = 5

// written reports whether the farm's people wrote a stage down.
func written(t simfarm.Truth, block string, s forecast.Stage) bool {
	switch {
	case t.Season == Season && t.Planting == missedBloom:
		return s != forecast.Bloom10 // They came a few days late.
	case s == forecast.BloomFull:
		return block != "Creekside" // It is out of the way.
	case s == forecast.Peak:
		return t.Season != FirstSeason // Nobody thought of it in the first year.
	}
	return true
}

// missedBloom is the bed of which only full bloom was seen in the demo's
// season.
const missedBloom = "lastlantern-creekside"

func blockOf(plantings []forecast.Planting, id string) string {
	for _, p := range plantings {
		if p.ID == id {
			return p.Block
		}
	}
	return ""
}
