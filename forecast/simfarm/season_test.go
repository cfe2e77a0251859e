package simfarm_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/forecast/simfarm"
	"ripetide/testdata"
	"ripetide/weather"
)

// annArbor is a real record: GHCN-Daily USC00200230, see testdata/README.md.
func annArbor(t testing.TB) weather.Series {
	t.Helper()
	s, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// tenPlantings is a farm of ten varieties, from early to very late, whose
// traits are invented for these tests.
func tenPlantings(scatter simfarm.Scatter) simfarm.Farm {
	f := simfarm.Farm{
		Seed: 1, Latitude: 42.3, Scatter: scatter,
		Sites: []simfarm.Site{{Block: "slope", WarmC: 0.4}, {Block: "hollow", WarmC: -0.4}},
	}
	for i := range 10 {
		id := fmt.Sprintf("v%d", i)
		f.Traits = append(f.Traits, simfarm.Trait{Variety: id, Bloom: 34 + 0.6*float64(i), Fruit: 16.6 + 0.8*float64(i), Spread: 0.7})
		block := []string{"slope", "flat", "hollow"}[i*3/10]
		f.Plantings = append(f.Plantings, forecast.Planting{ID: "p" + id, Variety: id, Block: block, AreaM2: 1000, KgPerM2: 1.2})
	}
	return f
}

func grow(t testing.TB, f simfarm.Farm, s weather.Series, year int) []simfarm.Truth {
	t.Helper()
	truths, err := f.Season(s, year)
	if err != nil {
		t.Fatal(err)
	}
	return truths
}

// warmer returns s with delta °C added to the days from first to last.
func warmer(t testing.TB, s weather.Series, delta float64, first, last weather.Date) weather.Series {
	t.Helper()
	days := slices.Clone(s.Days())
	for i, d := range days {
		if first <= d.Date && d.Date <= last {
			days[i].Min += delta
			days[i].Max += delta
		}
	}
	out, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestPlausibility holds the world against common practice in the field; no
// source gives these ranges, and single years, such as 2012 with its bloom in
// April, may leave them.
func TestPlausibility(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	f := tenPlantings(simfarm.UsualScatter)
	var toRipe, window, toFull, peakAt, season, spread []float64
	for year := 1994; year <= 2018; year++ {
		truths := grow(t, f, s, year)
		if len(truths) != len(f.Plantings) {
			t.Fatalf("%d: %d plantings grew, want %d", year, len(truths), len(f.Plantings))
		}
		var firsts, lasts []weather.Date
		for _, x := range truths {
			if !slices.IsSorted(x.Dates[:]) {
				t.Errorf("%d %s: stages out of order: %v", year, x.Planting, x.Dates)
			}
			first, last := x.Date(forecast.FirstRipe), x.Date(forecast.LastPick)
			firsts, lasts = append(firsts, first), append(lasts, last)
			toRipe = append(toRipe, float64(first-x.Date(forecast.Bloom10)))
			toFull = append(toFull, float64(x.Date(forecast.BloomFull)-x.Date(forecast.Bloom10)))
			window = append(window, float64(last-first+1))
			peakAt = append(peakAt, float64(x.Date(forecast.Peak)-first)/float64(last-first))
		}
		season = append(season, float64(slices.Max(lasts)-slices.Min(firsts)+1))
		spread = append(spread, float64(slices.Max(firsts)-slices.Min(firsts)))
	}
	for _, tt := range []struct {
		what     string
		unit     string
		all      []float64
		lo, hi   float64 // Nine tenths of all lie within.
		mlo, mhi float64 // The mean does.
	}{
		{"bloom to first ripe, about a month", "d", toRipe, 24, 38, 28, 34},
		{"bloom to full bloom", "d", toFull, 3, 11, 4, 9},
		{"a variety ripe, a week to two", "d", window, 7, 16, 8, 13},
		{"a farm's season, three to five weeks", "d", season, 21, 37, 21, 35},
		{"first ripe of the earliest to the latest", "d", spread, 15, 30, 18, 27},
		{"place of the peak in the window", "", peakAt, 0.2, 0.7, 0.33, 0.5},
	} {
		slices.Sort(tt.all)
		n := len(tt.all)
		var mean float64
		for _, x := range tt.all {
			mean += x / float64(n)
		}
		t.Logf("%s: mean %.2f %s, 5 %% %.2f, 95 %% %.2f, from %.2f to %.2f",
			tt.what, mean, tt.unit, tt.all[n/20], tt.all[n-1-n/20], tt.all[0], tt.all[n-1])
		if !(tt.lo <= tt.all[n/20] && tt.all[n-1-n/20] <= tt.hi) {
			t.Errorf("%s: nine tenths lie within %g and %g, want %g to %g", tt.what, tt.all[n/20], tt.all[n-1-n/20], tt.lo, tt.hi)
		}
		if !(tt.mlo <= mean && mean <= tt.mhi) {
			t.Errorf("%s: mean %.2f, want %g to %g", tt.what, mean, tt.mlo, tt.mhi)
		}
	}
}

// TestSensitivityToTemperature: Døving and Måge (2001) found the Norwegian
// season 4.1 days earlier for each °C of the June mean, and 4.8 for that of
// May and June; Krüger et al. (2012) found 2.6 days of fruit development for
// each °C between sites.
func TestSensitivityToTemperature(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	f := tenPlantings(simfarm.Scatter{})
	var date, fruit, n float64
	for year := 1994; year <= 2018; year++ {
		first, last := forecast.SeasonBounds(year, false)
		s, err := weather.NewSeries(s.Between(first, last))
		if err != nil {
			t.Fatal(err)
		}
		usual := grow(t, f, s, year)
		warm := grow(t, f, warmer(t, s, 1, first, last), year)
		for i := range usual {
			// From bloom on: only the fruit's own development.
			alone := f
			alone.Plantings = f.Plantings[i : i+1]
			late := grow(t, alone, warmer(t, s, 1, usual[i].Date(forecast.Bloom10), last), year)[0]
			date += float64(usual[i].Date(forecast.FirstRipe) - warm[i].Date(forecast.FirstRipe))
			fruit += float64(usual[i].Date(forecast.FirstRipe) - late.Date(forecast.FirstRipe))
			n++
		}
	}
	date, fruit = date/n, fruit/n
	t.Logf("a warmer spring moves first ripe by %.2f days per °C, warmth from bloom on by %.2f", date, fruit)
	if !(2 <= date && date <= 5) {
		t.Errorf("first ripe moves by %.2f days per °C, want 2 to 5", date)
	}
	if !(1.3 <= fruit && fruit <= 3) {
		t.Errorf("warmth from bloom on moves it by %.2f days per °C, want 1.3 to 3", fruit)
	}
}

// TestSteadyWarmth grows one variety without chance at a temperature that
// never changes, where all can be reckoned by hand.
func TestSteadyWarmth(t *testing.T) {
	t.Parallel()
	const steady = 12.0 // °C: half a day of spring development a day.
	var days []weather.Day
	start := weather.DateOf(2021, 1, 1)
	for i := range 273 {
		days = append(days, weather.Day{Date: start + weather.Date(i), Min: steady, Max: steady})
	}
	s, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	trait := simfarm.Trait{Variety: "a", Bloom: 27, Fruit: 21, Spread: 0.7}
	f := simfarm.Farm{
		Latitude: 42, Traits: []simfarm.Trait{trait},
		Plantings: []forecast.Planting{{ID: "p", Variety: "a", AreaM2: 500, KgPerM2: 2}},
	}
	x := grow(t, f, s, 2021)[0]
	// The primary flowers open with an sd of 1 day of development, a tenth of
	// them 1.2816 sd before the middle one (standard normal quantile): half an
	// hour before and after midnight falls on either day.
	for _, tt := range []struct {
		hours float64
		want  weather.Date
	}{{-0.5, start + 49}, {0.5, start + 50}} {
		g := f
		g.Traits = []simfarm.Trait{trait}
		g.Traits[0].Bloom = (50+tt.hours/24)*0.5 + 1.2816*1.0*trait.Spread
		if got := grow(t, g, s, 2021)[0].Date(forecast.Bloom10); got != tt.want {
			t.Errorf("bloom %+.1f hours from the 50th midnight: %s, want %s", tt.hours, got, tt.want)
		}
	}
	// The middle primary berry ripens Bloom and Fruit after the start; all
	// primaries weigh 1 of 4.48 (1 + 2·0.80 + 4·0.47), so that the twentieth
	// part of the weight is among them and before their middle.
	middle := start + weather.Date(trait.Bloom/0.5+trait.Fruit/simfarm.FruitRate(steady))
	if first := x.Date(forecast.FirstRipe); !(middle-4 <= first && first < middle) {
		t.Errorf("first ripe %s, want in the four days before %s", first, middle)
	}
	if !near(x.TotalKg(), 1000, 1e-9) {
		t.Errorf("crop %.6f kg, want 1000: area times yield", x.TotalKg())
	}
	// Without chance people write down what is.
	if x.Noted != x.Dates {
		t.Errorf("noted %v, want %v", x.Noted, x.Dates)
	}
}

func TestStagesAreSharesOfTheCrop(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	for year := 1994; year <= 2018; year++ {
		for _, x := range grow(t, tenPlantings(simfarm.UsualScatter), s, year) {
			total, upTo := x.TotalKg(), 0.0
			for i, kg := range x.RipeKg {
				if kg < 0 {
					t.Fatalf("%d %s: %.3f kg ripen on a day", year, x.Planting, kg)
				}
				before := upTo
				upTo += kg
				d := x.From + weather.Date(i)
				for stage, share := range map[forecast.Stage]float64{forecast.FirstRipe: 0.05, forecast.LastPick: 0.95} {
					reached := before < share*total-1e-9 && upTo >= share*total-1e-9
					if reached != (x.Date(stage) == d) {
						t.Errorf("%d %s: %s is %s, but %.1f %% are ripe by the end of %s",
							year, x.Planting, stage, x.Date(stage), 100*upTo/total, d)
					}
				}
			}
			peak := x.Date(forecast.Peak)
			if !x.InWindow(peak) {
				t.Errorf("%d %s: peak %s outside its window", year, x.Planting, peak)
			}
			if x.KgOn(peak) < 0.7*slices.Max(x.RipeKg) {
				t.Errorf("%d %s: %.1f kg ripen at the peak, %.1f on the best day", year, x.Planting, x.KgOn(peak), slices.Max(x.RipeKg))
			}
			smooth := func(d weather.Date) float64 {
				return x.KgOn(d-2) + 2*x.KgOn(d-1) + 3*x.KgOn(d) + 2*x.KgOn(d+1) + x.KgOn(d+2)
			}
			for i := range x.RipeKg {
				if d := x.From + weather.Date(i); smooth(d) > smooth(peak)+1e-9 {
					t.Errorf("%d %s: peak %s, but %s is denser over five days", year, x.Planting, peak, d)
				}
			}
			if x.KgOn(x.From-1) != 0 || x.KgOn(x.From+weather.Date(len(x.RipeKg))) != 0 {
				t.Errorf("%d %s: fruit ripens outside the list", year, x.Planting)
			}
		}
	}
}

func TestLuckIsRepeatableAndItsOwn(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	f := tenPlantings(simfarm.UsualScatter)
	all := grow(t, f, s, 2010)
	if diff := cmp.Diff(all, grow(t, f, s, 2010)); diff != "" {
		t.Errorf("the same season grew twice (-first +second):\n%s", diff)
	}
	// A planting's luck does not depend on its neighbours.
	alone := f
	alone.Plantings = f.Plantings[3:4]
	if diff := cmp.Diff(all[3:4], grow(t, alone, s, 2010)); diff != "" {
		t.Errorf("planting among others and alone (-among +alone):\n%s", diff)
	}
	// Another year of the same weather is another year.
	cut := s.Between(weather.DateOf(2010, 1, 1), weather.DateOf(2010, 9, 30))
	next := slices.Clone(cut)
	for i := range next {
		next[i].Date += 365 // Neither year has a 29 February.
	}
	again, err := weather.NewSeries(next)
	if err != nil {
		t.Fatal(err)
	}
	late := 0
	for i, x := range grow(t, f, again, 2011) {
		if x.Date(forecast.FirstRipe)-365 != all[i].Date(forecast.FirstRipe) {
			late++
		}
	}
	if late == 0 {
		t.Error("the same weather in two years grew the same season")
	}
	// Another seed is another world.
	f.Seed++
	if cmp.Equal(all, grow(t, f, s, 2010)) {
		t.Error("another seed grew the same season")
	}
}

// TestScatterIsAsLargeAsItSays takes the sizes of chance out of many seeds of
// the same weather.
func TestScatterIsAsLargeAsItSays(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	const seeds = 100
	// The sd of the mean and the mean sd within a season, of first ripe.
	spread := func(c simfarm.Scatter) (shared, own float64) {
		f := tenPlantings(c)
		f.Sites = nil
		for i := range f.Traits {
			f.Traits[i] = simfarm.Trait{Variety: f.Traits[i].Variety, Bloom: 36, Fruit: 20, Spread: 0.7}
		}
		var means, within []float64
		for seed := range uint64(seeds) {
			f.Seed = seed
			var dates []float64
			for _, x := range grow(t, f, s, 2010) {
				dates = append(dates, float64(x.Date(forecast.FirstRipe)))
			}
			m, sd := meanSD(dates)
			means, within = append(means, m), append(within, sd*sd)
		}
		_, shared = meanSD(means)
		v, _ := meanSD(within)
		return shared, math.Sqrt(v)
	}
	// Near 32 days from flower to ripe: five per cent is 1.6 days.
	shared, own := spread(simfarm.Scatter{SeasonFruit: 0.05})
	if !near(shared, 1.6, 0.5) || !near(own, 0, 1e-9) {
		t.Errorf("season effect: %.2f days shared, %.2f within, want about 1.6 and 0", shared, own)
	}
	shared, own = spread(simfarm.Scatter{OwnFruit: 0.05})
	if !near(shared, own/math.Sqrt(10), 0.15) || !near(own, 1.6, 0.5) {
		t.Errorf("own effect: %.2f days shared, %.2f within, want about 0.5 and 1.6", shared, own)
	}
	shared, own = spread(simfarm.Scatter{Eye: 1})
	if !near(shared, 0, 1e-9) || !near(own, 0, 1e-9) {
		t.Errorf("the eye of the observer moved the truth by %.2f and %.2f days", shared, own)
	}
}

func meanSD(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / float64(len(x)-1)
	}
	return mean, math.Sqrt(sd)
}

func TestPlaceAndTraitsOrderThePlantings(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	trait := simfarm.Trait{Variety: "a", Bloom: 28, Fruit: 23, Spread: 0.8}
	first := func(change func(*simfarm.Trait, *simfarm.Site)) simfarm.Truth {
		tr, site := trait, simfarm.Site{Block: "b"}
		change(&tr, &site)
		f := simfarm.Farm{
			Latitude: 42.3, Traits: []simfarm.Trait{tr}, Sites: []simfarm.Site{site},
			Plantings: []forecast.Planting{{ID: "p", Variety: "a", Block: "b", AreaM2: 1, KgPerM2: 1}},
		}
		return grow(t, f, s, 2014)[0]
	}
	usual := first(func(*simfarm.Trait, *simfarm.Site) {})
	const either = 2 // Not looked at.
	for _, tt := range []struct {
		name         string
		other        simfarm.Truth
		bloom, first int // Sign of the move.
		window       int
	}{
		{"a south slope is earlier", first(func(_ *simfarm.Trait, s *simfarm.Site) { s.WarmC = 1 }), -1, -1, either},
		{"a hollow is later", first(func(_ *simfarm.Trait, s *simfarm.Site) { s.WarmC = -1 }), 1, 1, either},
		{"late bloom is late fruit", first(func(t *simfarm.Trait, _ *simfarm.Site) { t.Bloom = 31 }), 1, 1, either},
		{"slow fruit is late fruit", first(func(t *simfarm.Trait, _ *simfarm.Site) { t.Fruit = 26 }), 0, 1, either},
		{"a long bloom is a long window", first(func(t *simfarm.Trait, _ *simfarm.Site) { t.Spread = 1.8 }), -1, either, 1},
	} {
		sign := func(d weather.Date) int { return int(max(-1, min(1, d))) }
		if got := sign(tt.other.Date(forecast.Bloom10) - usual.Date(forecast.Bloom10)); got != tt.bloom {
			t.Errorf("%s: bloom moved %+d, want %+d", tt.name, got, tt.bloom)
		}
		if got := sign(tt.other.Date(forecast.FirstRipe) - usual.Date(forecast.FirstRipe)); tt.first != either && got != tt.first {
			t.Errorf("%s: first ripe moved %+d, want %+d", tt.name, got, tt.first)
		}
		days := func(x simfarm.Truth) weather.Date { return x.Date(forecast.LastPick) - x.Date(forecast.FirstRipe) }
		if got := sign(days(tt.other) - days(usual)); tt.window != either && got != tt.window {
			t.Errorf("%s: window changed %+d, want %+d", tt.name, got, tt.window)
		}
	}
}

func TestSeasonNeedsItsWeather(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	f := tenPlantings(simfarm.UsualScatter)
	f.Plantings = f.Plantings[:1]
	truth := grow(t, f, s, 2015)[0]
	end := truth.From + weather.Date(len(truth.RipeKg)) - 1

	without := func(first, last weather.Date) weather.Series {
		days := slices.DeleteFunc(slices.Clone(s.Days()), func(d weather.Day) bool { return first <= d.Date && d.Date <= last })
		out, err := weather.NewSeries(days)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	start := weather.DateOf(2015, 1, 1)
	for _, tt := range []struct {
		name string
		s    weather.Series
		ok   bool
	}{
		{"to the last berry", s.Until(end), true},
		{"to two days before the last berry", s.Until(end - 2), false},
		{"to the middle of bloom", s.Until(truth.Date(forecast.BloomFull)), false},
		{"to the end of winter", s.Until(start + 40), false},
		{"of other years only", s.Until(start - 1), false},
		{"nothing", weather.Series{}, false},
		{"three days missing in May", without(weather.DateOf(2015, 5, 10), weather.DateOf(2015, 5, 12)), true},
		{"four days missing in May", without(weather.DateOf(2015, 5, 10), weather.DateOf(2015, 5, 13)), false},
		{"New Year's Day missing", without(start, start), false},
	} {
		_, err := f.Season(tt.s, 2015)
		if tt.ok != (err == nil) || (!tt.ok && !errors.Is(err, simfarm.ErrRecordTooShort)) {
			t.Errorf("weather %s: error %v, want none: %t", tt.name, err, tt.ok)
		}
	}

	// The days up to the end matter: a cold end lengthens the harvest.
	cold := grow(t, f, warmer(t, s, -4, truth.Date(forecast.FirstRipe)+1, end+30), 2015)[0]
	if cold.Date(forecast.LastPick) <= truth.Date(forecast.LastPick) {
		t.Errorf("last pick %s after a cold end, %s without", cold.Date(forecast.LastPick), truth.Date(forecast.LastPick))
	}
	if cold.Date(forecast.FirstRipe) != truth.Date(forecast.FirstRipe) {
		t.Error("cold after first ripe moved it")
	}
	// A short hole is a straight line: where the days lie on one, nothing moves.
	line := slices.Clone(s.Days())
	at := slices.IndexFunc(line, func(d weather.Day) bool { return d.Date == weather.DateOf(2015, 5, 9) })
	for k := 1; k <= 3; k++ {
		a, b, f := line[at], line[at+4], float64(k)/4
		line[at+k].Min, line[at+k].Max = a.Min+f*(b.Min-a.Min), a.Max+f*(b.Max-a.Max)
	}
	full, err := weather.NewSeries(line)
	if err != nil {
		t.Fatal(err)
	}
	holed, err := weather.NewSeries(slices.Delete(slices.Clone(line), at+1, at+4))
	if err != nil {
		t.Fatal(err)
	}
	approx := cmp.Comparer(func(x, y float64) bool { return near(x, y, 1e-6) })
	if diff := cmp.Diff(grow(t, f, full, 2015), grow(t, f, holed, 2015), approx); diff != "" {
		t.Errorf("days on a line and a hole in their place (-days +hole):\n%s", diff)
	}
}

func TestWhoBears(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	f := tenPlantings(simfarm.Scatter{})
	last := grow(t, f, s, 2015)[0].Date(forecast.LastPick)
	on := func(d weather.Date) *weather.Date { return &d }
	for _, tt := range []struct {
		name    string
		planted weather.Date
		removed *weather.Date
		want    bool
	}{
		{"set the year before", weather.DateOf(2014, 9, 1), nil, true},
		{"set this spring", weather.DateOf(2015, 4, 1), nil, false},
		{"removed last autumn", weather.DateOf(2010, 4, 1), on(weather.DateOf(2014, 10, 1)), false},
		{"removed in mid harvest", weather.DateOf(2010, 4, 1), on(last), false},
		{"removed when all was picked", weather.DateOf(2010, 4, 1), on(last + 1), true},
	} {
		g := f
		g.Plantings = slices.Clone(f.Plantings[:1])
		g.Plantings[0].PlantedOn, g.Plantings[0].RemovedOn = tt.planted, tt.removed
		if got := len(grow(t, g, s, 2015)) == 1; got != tt.want {
			t.Errorf("%s: bears %t, want %t", tt.name, got, tt.want)
		}
	}
	f.Traits = f.Traits[1:]
	if _, err := f.Season(s, 2015); err == nil {
		t.Error("a planting of a variety without a trait grew")
	}
}

// TestSouthernSeason grows the same weather, half a year later, as far south
// as it was north: the season is named by its harvest and comes half a year
// later, but for the days by which the halves of the year differ.
func TestSouthernSeason(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	north := tenPlantings(simfarm.Scatter{})
	south := north
	south.Latitude = -north.Latitude
	start, _ := forecast.SeasonBounds(2015, false)
	southStart, _ := forecast.SeasonBounds(2015, true)
	var days []weather.Day
	for _, d := range s.Between(start, start+300) {
		d.Date += southStart - start
		days = append(days, d)
	}
	moved, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	a, b := grow(t, north, s, 2015), grow(t, south, moved, 2015)
	for i := range a {
		if b[i].Season != 2015 {
			t.Errorf("season %d, want 2015", b[i].Season)
		}
		for st := range a[i].Dates {
			if diff := (b[i].Dates[st] - southStart) - (a[i].Dates[st] - start); diff < -1 || diff > 1 {
				t.Errorf("%s %s: %d days off", a[i].Planting, forecast.Stage(st), diff)
			}
		}
	}
}

// BenchmarkTenPlantings25Seasons is what a test of the forecast asks for.
func BenchmarkTenPlantings25Seasons(b *testing.B) {
	s := annArbor(b)
	f := tenPlantings(simfarm.UsualScatter)
	for b.Loop() {
		for year := 1994; year <= 2018; year++ {
			grow(b, f, s, year)
		}
	}
}
