package demofarm_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/forecast/simfarm"
	"ripetide/forecast/simfarm/demofarm"
	"ripetide/testdata"
	"ripetide/weather"
)

func annArbor(t *testing.T) weather.Series {
	t.Helper()
	s, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func readDemo(t *testing.T) testdata.Demo {
	t.Helper()
	d, err := testdata.ReadDemo()
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestFilesAreWhatGrows holds the files in testdata/demo to the code that
// writes them, byte for byte.
func TestFilesAreWhatGrows(t *testing.T) {
	t.Parallel()
	grown, err := demofarm.Grow(annArbor(t))
	if err != nil {
		t.Fatal(err)
	}
	files, err := grown.Files()
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range files {
		got, err := testdata.Files.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(string(want), string(got)); diff != "" {
			t.Errorf("%s is stale, run: go generate ripetide/forecast/simfarm/growdemo (-grown +file)\n%s", name, diff)
		}
	}
	if entries, err := testdata.Files.ReadDir("demo"); err != nil || len(entries) != len(files) {
		t.Errorf("testdata/demo holds %d files (error %v), %d are grown", len(entries), err, len(files))
	}
	if diff := cmp.Diff(grown, readDemo(t)); diff != "" {
		t.Errorf("read back (-grown +read):\n%s", diff)
	}
}

func TestDemoIsSound(t *testing.T) {
	t.Parallel()
	d := readDemo(t)
	faults := d.Farm.Validate()
	stations, varieties, plantings := map[string]bool{}, map[string]bool{}, map[string]forecast.Planting{}
	for _, s := range d.Stations {
		if err := s.Validate(); err != nil {
			t.Error(err)
		}
		stations[s.ID] = true
	}
	for _, v := range d.Varieties {
		faults = append(faults, v.Validate()...)
		varieties[v.ID] = true
	}
	bearing, of, blocks := 0, map[string]bool{}, map[string]bool{}
	for _, p := range d.Plantings {
		faults = append(faults, p.Validate()...)
		if _, twice := plantings[p.ID]; twice || !stations[p.Station] || !varieties[p.Variety] {
			t.Errorf("planting %s: twice (%t), or of no known station or variety", p.ID, twice)
		}
		plantings[p.ID] = p
		if p.Bears(demofarm.Season, d.AsOf) {
			bearing++
			of[p.Variety], blocks[p.Block] = true, true
		}
	}
	for _, err := range faults {
		t.Error(err)
	}
	if bearing != 11 || len(of) != 10 || len(blocks) != 5 {
		t.Errorf("%d beds of %d varieties in %d blocks bear, want 11 of 10 in 5", bearing, len(of), len(blocks))
	}

	type bedSeason struct {
		planting string
		season   int
	}
	last := map[bedSeason]forecast.Sighting{}
	seasons := map[string]map[int]bool{} // By variety, those with first ripe on record.
	for _, s := range append(d.Sightings, d.Later...) {
		p, ok := plantings[s.Planting]
		k := bedSeason{s.Planting, s.Date.Year()}
		if !ok || !p.Bears(k.season, s.Date) {
			t.Errorf("sighting on %s of %s, which does not bear", s.Date, s.Planting)
		}
		if !s.Seen {
			if s.Date != d.AsOf {
				t.Errorf("%s: not yet on %s", s.Planting, s.Date)
			}
			continue
		}
		if before, ok := last[k]; ok && (s.Stage <= before.Stage || s.Date <= before.Date) {
			t.Errorf("%s: %s on %s after %s on %s", s.Planting, s.Stage, s.Date, before.Stage, before.Date)
		}
		last[k] = s
		if s.Stage == forecast.FirstRipe {
			if seasons[p.Variety] == nil {
				seasons[p.Variety] = map[int]bool{}
			}
			seasons[p.Variety][k.season] = true
		}
	}
	for k, s := range last {
		if s.Stage != forecast.LastPick {
			t.Errorf("%s %d: the last sighting is %s", k.planting, k.season, s.Stage)
		}
	}
	for v, want := range map[string]int{"wrenlight": 11, "firstbell": 4, "lastlantern": 6, "bridgewell": 10} { // With 2018.
		if len(seasons[v]) != want {
			t.Errorf("%s has %d seasons on record, want %d", v, len(seasons[v]), want)
		}
	}
	for _, s := range d.Sightings {
		if s.Date > d.AsOf {
			t.Errorf("%s: %s is after the morning of the demo", s.Planting, s.Date)
		}
	}
	for _, s := range d.Later {
		if s.Date <= d.AsOf || s.Date.Year() != demofarm.Season {
			t.Errorf("%s: %s is not in the rest of the season", s.Planting, s.Date)
		}
	}
}

// grown is one season of a farm, added up.
func grown(t *testing.T, f simfarm.Farm, s weather.Series, year int) (truths []simfarm.Truth, stands []simfarm.Stand) {
	t.Helper()
	truths, err := f.Season(s, year)
	if err != nil {
		t.Fatal(err)
	}
	return truths, simfarm.Supply(truths, s, demofarm.Open(truths, s))
}

func days(runs [][2]weather.Date) (n int) {
	for _, r := range runs {
		n += int(r[1]-r[0]) + 1
	}
	return n
}

func june(first, last int) [2]weather.Date {
	return [2]weather.Date{weather.DateOf(demofarm.Season, time.June, first), weather.DateOf(demofarm.Season, time.June, last)}
}

// TestSeasonHasItsGap: the truth of the demo's season has one gap of two days,
// also by the dates that people wrote down, and days on which what stands is
// thin though a variety is in its window.
func TestSeasonHasItsGap(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	truths, stands := grown(t, demofarm.Simulated(), s, demofarm.Season)
	want := [][2]weather.Date{june(22, 23)}
	if diff := cmp.Diff(want, simfarm.Gaps(stands)); diff != "" {
		t.Errorf("gaps (-want +got):\n%s", diff)
	}
	for i := range truths {
		truths[i].Dates = truths[i].Noted
	}
	if diff := cmp.Diff(want, simfarm.Gaps(simfarm.Supply(truths, s, demofarm.Open(truths, s)))); diff != "" {
		t.Errorf("gaps by the dates that were written down (-want +got):\n%s", diff)
	}
	thin := simfarm.Thin(stands, demofarm.Farm.ThinKgPerDay)
	for _, r := range thin {
		t.Logf("thin from %s to %s", r[0], r[1])
	}
	if end := stands[len(stands)-1].Date; len(thin) == 0 || thin[len(thin)-1][1] != end || days(thin[len(thin)-1:]) < 4 {
		t.Errorf("thin runs %v: the last days of the season, to %s, are not thin", thin, end)
	}
	beside := false
	for _, r := range thin {
		beside = beside || r[0] == want[0][1]+1
	}
	if !beside {
		t.Errorf("thin runs %v: none follows the gap", thin)
	}
}

// TestHowOftenTheLineupLeavesAGap replays the beds of the demo's season
// through other seasons' weather, and the farm's own past, when Bridgewell
// stood.
func TestHowOftenTheLineupLeavesAGap(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	count := func(first int) (with, short, of int) {
		for year := first; year <= demofarm.Season; year++ {
			_, stands := grown(t, demofarm.Replayed(), s, year)
			gaps := simfarm.Gaps(stands)
			n := days(gaps)
			if n > 0 {
				with++
			}
			if n == 1 || n == 2 {
				short++
			}
			if of++; first == demofarm.FirstSeason {
				t.Logf("%d: season of %d days, gaps %v, thin %v", year, len(stands), gaps, simfarm.Thin(stands, demofarm.Farm.ThinKgPerDay))
			}
		}
		return with, short, of
	}
	with, short, of := count(demofarm.FirstSeason)
	t.Logf("%d to %d: a gap in %d of %d seasons, of one or two days in %d", demofarm.FirstSeason, demofarm.Season, with, of, short)
	if with < 8 || short < 6 {
		t.Errorf("a gap in %d of %d seasons, of one or two days in %d: want most", with, of, short)
	}
	first, _, _ := s.Span()
	with, short, of = count(first.Year())
	t.Logf("%d to %d: a gap in %d of %d seasons, of one or two days in %d", first.Year(), demofarm.Season, with, of, short)

	for year := demofarm.FirstSeason; year < demofarm.Season; year++ {
		if _, stands := grown(t, demofarm.Simulated(), s, year); len(simfarm.Gaps(stands)) > 0 {
			t.Errorf("%d: a gap %v while Bridgewell stood", year, simfarm.Gaps(stands))
		}
	}
}

// TestForecastSeesTheGap is the point of the demo: on its morning the forecast
// reports a gap that overlaps the one that came.
func TestForecastSeesTheGap(t *testing.T) {
	t.Parallel()
	d := readDemo(t)
	in, err := d.Inputs()
	if err != nil {
		t.Fatal(err)
	}
	f, err := forecast.Compute(in, d.AsOf)
	if err != nil {
		t.Fatal(err)
	}
	came := june(22, 23)
	found := false
	for _, g := range f.Gaps {
		t.Logf("%s from %s to %s, probability %.2f, in %d of %d past years", g.Kind, g.From, g.To, g.Probability, g.PastYears, f.Method.Traces)
		if g.Kind == forecast.KindGap && g.From <= came[1] && g.To >= came[0] {
			found = true
		}
	}
	if !found {
		t.Errorf("no gap is forecast that overlaps %s to %s", came[0], came[1])
	}
	if n := len(f.Plantings); n != 11 {
		t.Errorf("%d plantings in the forecast, want 11", n)
	}
}
