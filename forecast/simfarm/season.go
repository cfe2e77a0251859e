package simfarm

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"ripetide/forecast"
	"ripetide/weather"
)

// ranks are the flowers of a truss, in the order in which they open.
//
// Numbers: one primary, two secondary, four tertiary flowers. Weights against
// the primary berry: Sherman and Janick (1966) as told by Hancock (1999), from
// memory. How much later a rank opens (from memory: 2 to 5 days and 7 to 12
// days after the primary) and how much more its berries need (Krüger et al.
// 2012, J. Berry Research: the heat of tagged flowers rose from the first
// third of the season to the last; the amount is invented) are set for the
// simulation.
var ranks = [...]struct {
	flowers float64
	weight  float64 // Of a berry, against the primary's.
	later   float64 // Opens after the primary, days of spring development.
	sd      float64 // Of its opening from plant to plant, likewise.
	more    float64 // Share that its fruit needs on top.
}{
	{flowers: 1, weight: 1.00, later: 0, sd: 1.0, more: 0},
	{flowers: 2, weight: 0.80, later: 2.2, sd: 1.3, more: 0.03},
	{flowers: 4, weight: 0.47, later: 4.6, sd: 2.0, more: 0.07},
}

const (
	fruitSD = 0.04 // Relative, of the development that one berry needs.
	// Plants and berries are not drawn but taken at evenly spaced quantiles of
	// their normal distributions: a field has too many for luck to matter.
	plantQuantiles, fruitQuantiles = 15, 9
)

// berries are the flowers of one planting that share a fate.
type berries struct {
	open, ripe float64 // Hours from the start of the season.
	flowers    float64
	weight     float64
}

// Season grows the season of every planting that bears in it, in the order of
// f.Plantings. A planting that is removed before its last pick is left out.
//
// It needs the weather itself, from the start of the season (1 January, or
// 1 July of the year before in the south) until the last berry is ripe: a
// record that ends before, or with a hole of more than three days, is an error
// that matches [ErrRecordTooShort]. Shorter holes are bridged by a straight
// line.
func (f Farm) Season(s weather.Series, year int) ([]Truth, error) {
	days, err := seasonWeather(s, year, f.Latitude < 0)
	if err != nil {
		return nil, err
	}
	places := map[float64]clocks{}
	shared := f.luck("", year)
	var out []Truth
	for _, p := range f.Plantings {
		if !p.Bears(year, days[0].Date) {
			continue
		}
		i := slices.IndexFunc(f.Traits, func(t Trait) bool { return t.Variety == p.Variety })
		if i < 0 {
			return nil, fmt.Errorf("simfarm: planting %s: no trait of variety %q", p.ID, p.Variety)
		}
		warm := f.warmth(p.Block)
		place, ok := places[warm]
		if !ok {
			place = newClocks(days, f.Latitude, warm)
			places[warm] = place
		}
		t, err := f.grow(place, p, f.Traits[i], shared, f.luck(p.ID, year))
		if err != nil {
			return nil, fmt.Errorf("season %d: planting %s: %w", year, p.ID, err)
		}
		if p.Bears(year, t.Dates[forecast.LastPick]) {
			t.Season = year
			out = append(out, t)
		}
	}
	return out, nil
}

func (f Farm) warmth(block string) float64 {
	for _, s := range f.Sites {
		if s.Block == block {
			return s.WarmC
		}
	}
	return 0
}

// luck is what chance does to a planting in a season, or to all of them.
type luck struct {
	bloom, fruit, yield float64 // Standard normal.
	eye                 [stages]float64
}

// luck draws from a generator of its own for every planting and season; the
// empty name is the farm's.
func (f Farm) luck(planting string, year int) luck {
	h := fnv.New64a()
	h.Write([]byte(planting)) // Never fails, by its documentation.
	rng := rand.New(rand.NewPCG(f.Seed^h.Sum64(), uint64(year)))
	l := luck{bloom: rng.NormFloat64(), fruit: rng.NormFloat64(), yield: rng.NormFloat64()}
	for i := range l.eye {
		l.eye[i] = rng.NormFloat64()
	}
	return l
}

// grow lets one planting flower and ripen.
func (f Farm) grow(c clocks, p forecast.Planting, v Trait, shared, own luck) (Truth, error) {
	toBloom := v.Bloom * math.Exp(f.Scatter.SeasonBloom*shared.bloom+f.Scatter.OwnBloom*own.bloom)
	toRipe := v.Fruit * math.Exp(f.Scatter.SeasonFruit*shared.fruit+f.Scatter.OwnFruit*own.fruit)
	yield := p.AreaM2 * p.KgPerM2 * math.Exp(f.Scatter.SeasonYield*shared.yield+f.Scatter.OwnYield*own.yield)

	var all []berries
	for _, r := range ranks {
		for i := range plantQuantiles {
			open, ok := reach(c.spring, toBloom+v.Spread*(r.later+r.sd*normalQuantile(i, plantQuantiles)))
			if !ok {
				return Truth{}, fmt.Errorf("%w: it ends before bloom", ErrRecordTooShort)
			}
			from := at(c.fruit, open)
			for k := range fruitQuantiles {
				ripe, ok := reach(c.fruit, from+toRipe*(1+r.more)*math.Exp(fruitSD*normalQuantile(k, fruitQuantiles)))
				if !ok {
					return Truth{}, fmt.Errorf("%w: it ends before the last berry is ripe", ErrRecordTooShort)
				}
				all = append(all, berries{open: open, ripe: ripe, flowers: r.flowers, weight: r.flowers * r.weight})
			}
		}
	}

	t := Truth{Planting: p.ID, Variety: p.Variety}
	// One plant in ten has opened its first flower.
	bloom, _ := reach(c.spring, toBloom+v.Spread*ranks[0].sd*math.Sqrt2*math.Erfinv(2*0.1-1))
	t.Dates[forecast.Bloom10] = c.date(bloom)
	// Half of all flowers have opened.
	t.Dates[forecast.BloomFull] = c.date(passed(all, 0.5, func(b berries) (float64, float64) { return b.open, b.flowers }))
	ripe := func(b berries) (float64, float64) { return b.ripe, b.weight }
	t.Dates[forecast.FirstRipe] = c.date(passed(all, 0.05, ripe))
	t.Dates[forecast.LastPick] = c.date(passed(all, 0.95, ripe))

	t.From, t.RipeKg = c.daily(all, yield)
	t.Dates[forecast.Peak] = t.From + weather.Date(densest(t.RipeKg))
	f.look(&t, own)
	return t, nil
}

// normalQuantile returns the standard normal quantile in the middle of the
// i-th of n equal parts.
func normalQuantile(i, n int) float64 {
	return math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/float64(n)-1)
}

// date returns the day in which an hour lies.
func (c clocks) date(hour float64) weather.Date {
	return c.first + weather.Date(math.Floor(hour/hoursPerDay))
}

// passed returns the hour at which a share of the whole has come.
func passed(all []berries, share float64, of func(berries) (hour, amount float64)) float64 {
	sorted := slices.Clone(all)
	slices.SortStableFunc(sorted, func(a, b berries) int {
		x, _ := of(a)
		y, _ := of(b)
		switch {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	var whole, sum float64
	for _, b := range sorted {
		_, n := of(b)
		whole += n
	}
	for _, b := range sorted {
		hour, n := of(b)
		if sum += n; sum >= share*whole {
			return hour
		}
	}
	panic("simfarm: share above 1")
}

// daily returns the weight that ripens on each day, in all totalKg.
func (c clocks) daily(all []berries, totalKg float64) (first weather.Date, kg []float64) {
	last := weather.Date(math.MinInt32)
	first = math.MaxInt32
	var whole float64
	for _, b := range all {
		first, last = min(first, c.date(b.ripe)), max(last, c.date(b.ripe))
		whole += b.weight
	}
	kg = make([]float64, last-first+1)
	for _, b := range all {
		kg[c.date(b.ripe)-first] += b.weight / whole * totalKg
	}
	return first, kg
}

// densest returns the index of the densest day, after smoothing with the
// weights 1, 2, 3, 2, 1 over five days; the first of equals.
func densest(kg []float64) int {
	best, at := math.Inf(-1), 0
	for i := range kg {
		var sum float64
		for k, w := range [...]float64{1, 2, 3, 2, 1} {
			if j := i + k - 2; 0 <= j && j < len(kg) {
				sum += w * kg[j]
			}
		}
		if sum > best {
			best, at = sum, i
		}
	}
	return at
}
