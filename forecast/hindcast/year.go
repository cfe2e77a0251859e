package hindcast

import (
	"cmp"
	"math"
	"slices"

	"ripetide/forecast"
	"ripetide/weather"
)

// row is a stage of one planting in a past season, with all that is known of
// that season.
type row struct {
	path
	on, bloom weather.Date
	need      float64 // Degree-days from bloom to the stage, °C·d.
	hasNeed   bool
}

// days returns the days from bloom to the stage.
func (r *row) days() (float64, bool) { return float64(r.on - r.bloom), true }

// year is what is known in a season of the ones before it. It does not change
// from morning to morning.
type year struct {
	season    int
	places    *places
	plantings []forecast.Planting
	stations  map[string]*station // One for every planting, if only an empty one.
	climates  map[string]*climate
	toFull    int
	// By stage and variety, in order of season and planting.
	dates [ripe]map[string][]*row // With a date of the stage.
	past  [ripe]map[string][]*row // And with bloom before it.
	lines [ripe]*line
}

// farm is what Replay reads of its inputs, in a fixed order.
type farm struct {
	southern  bool
	plantings []forecast.Planting
	varieties []string // Of the plantings, sorted.
	stations  map[string]*station
	entered   map[plantingSeason]*entered
	seasons   []int           // With sightings, rising.
	places    map[int]*places // Of every season with weather or sightings.
	strangers int             // Sightings of plantings that are not there.
}

func newFarm(in forecast.Inputs) *farm {
	f := &farm{
		southern:  in.Farm.Southern(),
		plantings: slices.SortedFunc(slices.Values(in.Plantings), func(a, b forecast.Planting) int { return cmp.Compare(a.ID, b.ID) }),
		stations:  map[string]*station{},
		places:    map[int]*places{},
	}
	index := map[string]int{}
	for i, p := range f.plantings {
		index[p.ID] = i
		f.stations[p.Station] = &station{}
		if !slices.Contains(f.varieties, p.Variety) {
			f.varieties = append(f.varieties, p.Variety)
		}
	}
	slices.Sort(f.varieties)
	for _, r := range in.Records {
		if f.stations[r.Station.ID] == nil {
			continue
		}
		f.stations[r.Station.ID] = newStation(r.Days)
		if first, last, ok := r.Days.Span(); ok {
			for s := forecast.SeasonOf(first, f.southern); s <= forecast.SeasonOf(last, f.southern); s++ {
				f.place(s)
			}
		}
	}
	f.entered, f.strangers = gather(in.Sightings, index, f.southern)
	for k := range f.entered {
		f.place(k.season)
		if !slices.Contains(f.seasons, k.season) {
			f.seasons = append(f.seasons, k.season)
		}
	}
	slices.Sort(f.seasons)
	return f
}

func (f *farm) place(season int) {
	if f.places[season] == nil {
		f.places[season] = newPlaces(season, f.southern)
	}
}

// earlier returns the number of seasons with sightings before season.
func (f *farm) earlier(season int) (n int) {
	for _, s := range f.seasons {
		if s < season {
			n++
		}
	}
	return n
}

// year gathers what is known in season of those before it.
func (f *farm) year(season int) *year {
	y := &year{
		season: season, places: f.places[season], plantings: f.plantings,
		stations: f.stations, climates: map[string]*climate{}, toFull: toFull(f.entered, season),
	}
	var before []*places
	for s, p := range f.places {
		if s < season {
			before = append(before, p)
		}
	}
	slices.SortFunc(before, func(a, b *places) int { return cmp.Compare(a.season, b.season) })
	for id, st := range f.stations {
		y.climates[id] = newClimate(st, before)
	}
	for s := range ripe {
		y.dates[s], y.past[s] = map[string][]*row{}, map[string][]*row{}
	}
	for _, s := range f.seasons {
		if s >= season {
			break
		}
		for i, p := range f.plantings {
			e := f.entered[plantingSeason{i, s}]
			if e == nil {
				continue
			}
			base := path{f.stations[p.Station], y.climates[p.Station], f.places[s], true, math.MaxInt32}
			bloom, bloomed := e.bloom(math.MaxInt32, y.toFull)
			for k := range ripe {
				if !e.seen[stageOf(k)] {
					continue
				}
				r := &row{path: base, on: e.on[stageOf(k)], bloom: bloom}
				y.dates[k][p.Variety] = append(y.dates[k][p.Variety], r)
				if !bloomed || r.on <= bloom {
					continue
				}
				if r.station.covered(r.bloom, r.on) {
					r.need, r.hasNeed = r.heatTo(r.bloom, r.on)
					r.hasNeed = r.hasNeed && r.need > 0
				}
				y.past[k][p.Variety] = append(y.past[k][p.Variety], r)
			}
		}
	}
	for k := range ripe {
		y.lines[k] = fitLine(y.past[k], f.varieties, ruleDays[k])
	}
	return y
}

// now returns the weather of the season as the morning asOf sees it from
// planting i, if its station has any.
func (y *year) now(i int, asOf weather.Date) (path, bool) {
	id := y.plantings[i].Station
	st := y.stations[id]
	return path{st, y.climates[id], y.places, false, asOf - 1}, len(st.days) > 0
}
