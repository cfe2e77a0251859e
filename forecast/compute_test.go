package forecast_test

import (
	"bytes"
	"errors"
	"slices"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/testdata"
	"ripetide/weather"
)

// demo returns the demo farm's inputs, with the whole record, and its morning.
func demo(t *testing.T) (forecast.Inputs, weather.Date) {
	t.Helper()
	d, err := testdata.ReadDemo()
	if err != nil {
		t.Fatal(err)
	}
	in, err := d.Inputs()
	if err != nil {
		t.Fatal(err)
	}
	return in, d.AsOf
}

// unwatched skips a test under the race detector, which is for the run without it.
func unwatched(t *testing.T) {
	t.Helper()
	if watched {
		t.Skip("it calculates for long; the race detector sees the same in others")
	}
}

func compute(t *testing.T, in forecast.Inputs, asOf weather.Date) *forecast.Forecast {
	t.Helper()
	f, err := forecast.Compute(in, asOf)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func encode(t *testing.T, f *forecast.Forecast) []byte {
	t.Helper()
	b, err := f.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestSameInputsGiveTheSameBytes(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	a, b := encode(t, compute(t, in, asOf)), encode(t, compute(t, in, asOf))
	if !bytes.Equal(a, b) {
		t.Errorf("two runs differ:\n%s\n%s", a, b)
	}
}

// Whatever is dated later than the morning of the forecast must not be able to
// change a byte of it: the later records are replaced by absurd ones.
func TestForecastIsBlindToLaterRecords(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	want := encode(t, compute(t, in, asOf))
	poisoned := in
	var days []weather.Day
	for _, d := range in.Records[0].Days.Days() {
		if d.Date >= asOf {
			d.Min, d.Max = 59, 60
		}
		days = append(days, d)
	}
	series, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	poisoned.Records = []forecast.Record{{Station: in.Records[0].Station, Days: series}}
	poisoned.Sightings = append([]forecast.Sighting{}, in.Sightings...)
	for _, p := range in.Plantings {
		for s := forecast.Bloom10; s <= forecast.LastPick; s++ {
			poisoned.Sightings = append(poisoned.Sightings, forecast.Sighting{Planting: p.ID, Stage: s, Seen: true, Date: asOf + 1})
		}
	}
	if got := encode(t, compute(t, poisoned, asOf)); !bytes.Equal(got, want) {
		t.Errorf("later records changed the forecast:\n%s\n%s", got, want)
	}
	// The test can fail: the last record that the morning does know matters.
	for i, d := range days {
		if d.Date == asOf-1 {
			days[i].Max = 45
		}
	}
	if series, err = weather.NewSeries(days); err != nil {
		t.Fatal(err)
	}
	poisoned.Records[0].Days = series
	if got := encode(t, compute(t, poisoned, asOf)); bytes.Equal(got, want) {
		t.Error("yesterday's weather does not matter")
	}
}

func TestStagesAreInOrderAndRangesAreOrdered(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	for d := asOf - 20; d < asOf+60; d += 7 {
		for _, p := range compute(t, in, d).Plantings {
			if p.Stages == nil {
				continue
			}
			s := p.Stages
			for _, r := range []forecast.DateRange{s.FirstRipe, s.Peak, s.LastPick} {
				if !(r.P10 <= r.P50 && r.P50 <= r.P90) {
					t.Errorf("%s as of %s: range %v is out of order", p.Planting, d, r)
				}
				if r.Seen != nil && (r.P10 != *r.Seen || r.P90 != *r.Seen) {
					t.Errorf("%s as of %s: seen on %s, published as %v", p.Planting, d, *r.Seen, r)
				}
			}
			if !(s.FirstRipe.P50 <= s.Peak.P50 && s.Peak.P50 <= s.LastPick.P50) {
				t.Errorf("%s as of %s: stages are out of order: %v", p.Planting, d, *s)
			}
			if w := p.PickingWindowDays; !(1 <= w.P10 && w.P10 <= w.P50 && w.P50 <= w.P90) {
				t.Errorf("%s as of %s: window %v", p.Planting, d, *w)
			}
		}
	}
}

// withoutBloom takes away every look at a planting in the season of asOf.
func withoutBloom(in forecast.Inputs, asOf weather.Date, planting string) forecast.Inputs {
	in.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool {
		return s.Planting == planting && s.Date.Year() == asOf.Year()
	})
	return in
}

func TestBloomThatIsNotEnteredIsForecast(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	asOf := weather.DateOf(2018, time.May, 20)
	f := compute(t, in, asOf)
	i := slices.IndexFunc(f.Plantings, func(d forecast.PlantingDates) bool { return d.Bloom.From == forecast.BloomSighted })
	if i < 0 {
		t.Fatal("none of the demo's plantings has bloomed")
	}
	p := f.Plantings[i]
	seen := p.Bloom.Date
	f = compute(t, withoutBloom(in, asOf, p.Planting), asOf)
	q := f.Plantings[slices.IndexFunc(f.Plantings, func(d forecast.PlantingDates) bool { return d.Planting == p.Planting })]
	if q.Bloom == nil || q.Bloom.From != forecast.BloomForecast || q.DegreeDaysSinceBloom != nil || q.Stages == nil {
		t.Fatalf("a planting without bloom is %+v, want bloom forecast, no degree-days and stages", q)
	}
	if !(*q.Bloom.P10 <= q.Bloom.Date && q.Bloom.Date <= *q.Bloom.P90) || *q.Bloom.P10 == *q.Bloom.P90 {
		t.Errorf("bloom is forecast for %s to %s, median %s", *q.Bloom.P10, *q.Bloom.P90, q.Bloom.Date)
	}
	if d := q.Bloom.Date - seen; d < -4 || d > 4 {
		t.Errorf("bloom is forecast for %s, it was seen on %s", q.Bloom.Date, seen)
	}
	width := func(r forecast.DateRange) weather.Date { return r.P90 - r.P10 }
	if !(width(q.Stages.FirstRipe) >= width(p.Stages.FirstRipe)) {
		t.Errorf("without bloom first ripe spans %d days, with it %d", width(q.Stages.FirstRipe), width(p.Stages.FirstRipe))
	}
	if !noted(f, forecast.NoteNoBloom, "") {
		t.Error("no note says that bloom is missing")
	}
}

func noted(f *forecast.Forecast, kind forecast.NoteKind, planting string) bool {
	return slices.ContainsFunc(f.Notes, func(n forecast.Note) bool { return n.Kind == kind && n.Planting == planting })
}

func TestWinterForecastIsWiderThanAtBloom(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	widths := func(asOf weather.Date) (sum weather.Date) {
		f := compute(t, in, asOf)
		for _, p := range f.Plantings {
			if p.Stages == nil {
				t.Fatalf("as of %s %s has no dates", asOf, p.Planting)
			}
			sum += p.Stages.FirstRipe.P90 - p.Stages.FirstRipe.P10
		}
		return sum
	}
	january, may := widths(weather.DateOf(2018, time.January, 15)), widths(weather.DateOf(2018, time.May, 26))
	if !(january > may+may/3) {
		t.Errorf("in January the ranges of first ripe add up to %d days, at bloom to %d: not visibly wider", january, may)
	}
}

func TestWithoutAnyBloomOnRecordNothingIsForecast(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	in.Sightings = nil
	f := compute(t, in, asOf)
	for _, p := range f.Plantings {
		if p.Stages != nil || p.Bloom != nil || p.PickingWindowDays != nil || p.DegreeDaysSinceBloom != nil {
			t.Errorf("without any bloom %s is %+v, want it without dates", p.Planting, p)
		}
		if !noted(f, forecast.NoteNoBloom, p.Planting) {
			t.Errorf("no note says that %s has no bloom", p.Planting)
		}
	}
}

func TestRipeFruitWithoutBloomIsTakenForWhatItIs(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	f := compute(t, in, asOf)
	p := f.Plantings[0]
	if p.Stages.FirstRipe.Seen == nil {
		t.Fatal("the demo's first planting was not seen ripe")
	}
	in.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool {
		return s.Planting == p.Planting && s.Date.Year() == asOf.Year() && s.Stage < forecast.FirstRipe
	})
	f = compute(t, in, asOf)
	q := f.Plantings[slices.IndexFunc(f.Plantings, func(d forecast.PlantingDates) bool { return d.Planting == p.Planting })]
	if q.Stages == nil || *q.Stages.FirstRipe.Seen != *p.Stages.FirstRipe.Seen || q.Stages.FirstRipe.P90 != p.Stages.FirstRipe.P90 {
		t.Fatalf("first ripe was seen on %s and is published as %+v", *p.Stages.FirstRipe.Seen, q.Stages)
	}
	if q.Bloom == nil || q.Bloom.From != forecast.BloomForecast || q.Bloom.Date < p.Bloom.Date-6 || q.Bloom.Date > p.Bloom.Date+6 {
		t.Errorf("bloom is reckoned back to %v, it was seen on %s", q.Bloom, p.Bloom.Date)
	}
	if !noted(f, forecast.NoteNoBloom, p.Planting) {
		t.Error("no note says that bloom is missing")
	}
}

func TestFewerThanFivePastYearsIsRefused(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	since := func(year int) forecast.Inputs {
		s, err := weather.NewSeries(in.Records[0].Days.Between(weather.DateOf(year, time.January, 1), asOf))
		if err != nil {
			t.Fatal(err)
		}
		out := in
		out.Records = []forecast.Record{{Station: in.Records[0].Station, Days: s}}
		return out
	}
	_, err := forecast.Compute(since(2014), asOf)
	var few *forecast.TooFewYearsError
	if !errors.As(err, &few) || few.Have != 4 || few.Need != 5 {
		t.Errorf("with four past years the error is %v, want 4 of 5", err)
	}
	if !errors.Is(err, forecast.ErrTooFewYears) {
		t.Errorf("%v does not match ErrTooFewYears", err)
	}
	if f := compute(t, since(2013), asOf); f.Method.Traces != 5 {
		t.Errorf("with five past years there are %d traces", f.Method.Traces)
	}
}

// Common practice: bloom to ripe takes about a month, a variety lasts a week
// to two weeks, a season of a dozen varieties three to five weeks.
func TestDemoForecastIsPlausible(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	f := compute(t, in, asOf)
	for _, p := range f.Plantings {
		if p.Stages == nil {
			t.Errorf("%s is not forecast", p.Planting)
			continue
		}
		if d := p.Stages.FirstRipe.P50 - p.Bloom.Date; d < 22 || d > 42 {
			t.Errorf("%s: %d days from bloom to first ripe", p.Planting, d)
		}
		if w := p.PickingWindowDays.P50; w < 6 || w > 15 {
			t.Errorf("%s: a window of %d days", p.Planting, w)
		}
	}
	if d := f.SeasonSpan.Last.P50 - f.SeasonSpan.First.P50 + 1; d < 21 || d > 38 {
		t.Errorf("the season lasts %d days", d)
	}
	kinds := map[forecast.GapKind]int{}
	for _, g := range f.Gaps {
		kinds[g.Kind]++
	}
	if kinds[forecast.KindGap] == 0 || kinds[forecast.KindThin] == 0 {
		t.Errorf("the demo shows %v, want a gap and a thin stretch", kinds)
	}
}

// A season that is over is known: every stage was seen, so every member agrees.
func TestFinishedSeasonHasNoSpread(t *testing.T) {
	t.Parallel()
	d, err := testdata.ReadDemo()
	if err != nil {
		t.Fatal(err)
	}
	in, _ := demo(t)
	in.Sightings = append(in.Sightings, d.Later...)
	f := compute(t, in, weather.DateOf(2018, time.September, 1))
	for _, p := range f.Plantings {
		if s := p.Stages; s == nil || s.FirstRipe.Seen == nil || s.LastPick.Seen == nil {
			t.Errorf("%s: %+v, want every stage seen", p.Planting, p.Stages)
		}
		if w := p.PickingWindowDays; w != nil && w.P10 != w.P90 {
			t.Errorf("%s: window %v of a season that is over", p.Planting, *w)
		}
	}
	if s := f.SeasonSpan; s.First.P10 != s.First.P90 || s.Last.P10 != s.Last.P90 {
		t.Errorf("season span %+v has spread", *s)
	}
}

// A look in vain on the season's last day leaves no day for the stage to come.
func TestLookInVainOnTheLastDayOfTheSeason(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	last := weather.DateOf(2017, time.December, 31)
	var rest []forecast.Sighting
	for _, s := range in.Sightings {
		if s.Date.Year() != 2017 || s.Stage != forecast.LastPick {
			rest = append(rest, s)
		}
	}
	for _, p := range in.Plantings {
		rest = append(rest, forecast.Sighting{Planting: p.ID, Stage: forecast.LastPick, Date: last})
	}
	in.Sightings = rest
	for _, p := range compute(t, in, last).Plantings {
		if p.Stages != nil && p.Stages.LastPick.P90 > last {
			t.Errorf("%s: last pick %v is outside the season", p.Planting, p.Stages.LastPick)
		}
	}
}

// Two days since bloom were never observed, and the record ends two days before
// the morning: the heat so far is of the days that there are or were bridged.
func TestHeatSoFarAndDaysNotObserved(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	in.Farm.Latitude = 42
	var days []weather.Day
	for d := weather.DateOf(2005, time.January, 1); d <= asOf-3; d++ {
		days = append(days, flat(d, 13)) // 10 °C·d each.
	}
	bloom := asOf - 20
	days = drop(days, bloom+5, bloom+6)
	s, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	in.Records = []forecast.Record{{Station: in.Records[0].Station, Days: s}}
	in.Sightings = nil
	for _, p := range in.Plantings {
		in.Sightings = append(in.Sightings, forecast.Sighting{Planting: p.ID, Stage: forecast.Bloom10, Date: bloom, Seen: true})
	}
	f := compute(t, in, asOf)
	if f.DaysNotObserved != 4 || *f.WeatherThrough != asOf-3 {
		t.Errorf("%d days not observed, weather through %s", f.DaysNotObserved, f.WeatherThrough)
	}
	for _, p := range f.Plantings {
		if !near(*p.DegreeDaysSinceBloom, 170, 1e-9) { // 17 days after bloom through asOf-3.
			t.Errorf("%s: %v °C·d since bloom, want 170", p.Planting, *p.DegreeDaysSinceBloom)
		}
	}
	// Without any records of its own each planting takes its class's prior, and
	// in 10 °C·d a day a mid variety's 345 °C·d are crossed on day 35.
	for _, v := range in.Varieties {
		if v.Ripens != forecast.Mid {
			continue
		}
		for _, p := range f.Plantings {
			if p.Variety == v.ID && (p.Stages.FirstRipe.P50 < bloom+34 || p.Stages.FirstRipe.P50 > bloom+36) {
				t.Errorf("%s: first ripe %s, want about %s", p.Planting, p.Stages.FirstRipe.P50, bloom+35)
			}
		}
	}
}

// A sighting of the morning itself counts, at once and whatever the model says.
func TestSightingOfTheMorningCounts(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	late := compute(t, in, asOf).Plantings
	name := late[len(late)-1].Planting // Weeks from being ripe.
	in.Sightings = append(slices.Clone(in.Sightings), forecast.Sighting{Planting: name, Stage: forecast.FirstRipe, Date: asOf, Seen: true})
	for _, p := range compute(t, in, asOf).Plantings {
		if p.Planting == name && (p.Stages.FirstRipe.Seen == nil || p.Stages.FirstRipe.P10 != asOf || p.Stages.FirstRipe.P90 != asOf) {
			t.Errorf("%s was seen ripe on %s and is published as %+v", name, asOf, p.Stages.FirstRipe)
		}
	}
}

// Each sighting of a ripe stage teaches once: those of this season condition
// their own planting, those of the past the varieties.
func TestEverySightingTeachesOnce(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	wantPast, wantNow := 0, 0
	bears := map[string]bool{}
	for _, p := range in.Plantings {
		bears[p.ID] = p.Bears(asOf.Year(), asOf)
	}
	for _, s := range in.Sightings {
		switch {
		case !s.Seen || s.Stage < forecast.FirstRipe:
		case s.Date.Year() < asOf.Year():
			wantPast++
		case bears[s.Planting]:
			wantNow++
		}
	}
	past, now, err := forecast.Teachers(in, asOf)
	if err != nil {
		t.Fatal(err)
	}
	if past != wantPast || now != wantNow || now == 0 {
		t.Errorf("%d past and %d current observations, want %d and %d", past, now, wantPast, wantNow)
	}
}

func TestVarietyWithoutRecordsIsSaidToRestOnItsClass(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	noted := func(f *forecast.Forecast) (names []string) {
		for _, n := range f.Notes {
			if n.Kind == forecast.NoteNoRecords {
				names = append(names, n.Planting)
			}
		}
		return names
	}
	if got := noted(compute(t, in, asOf)); len(got) != 0 {
		t.Errorf("with records of all: %v", got)
	}
	in.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool { return s.Date.Year() < asOf.Year() })
	f := compute(t, in, asOf)
	if got := noted(f); len(got) != len(f.Plantings) {
		t.Errorf("without any records: %v", got)
	}
}

// With three seasons in which both were seen, the farm's own heat between first
// and full bloom replaces the default of 60 °C·d. Worked by hand at 10 °C·d a
// day: four days of its own, six by default.
func TestFarmsOwnBloomReplacesTheDefault(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	var days []weather.Day
	for d := weather.DateOf(2008, time.January, 1); d < asOf; d++ {
		days = append(days, flat(d, 13))
	}
	in.Records = []forecast.Record{{Station: in.Records[0].Station, Days: series(t, days)}}
	in.Plantings = in.Plantings[:1]
	in.Plantings[0].PlantedOn, in.Plantings[0].RemovedOn = weather.DateOf(2009, time.April, 1), nil
	name := in.Plantings[0].ID
	for _, tt := range []struct {
		seasons int
		before  weather.Date // Days from first to full bloom.
	}{{2, 6}, {3, 4}} {
		in.Sightings = []forecast.Sighting{{Planting: name, Stage: forecast.BloomFull, Date: asOf - 20, Seen: true}}
		for y := range tt.seasons {
			d := weather.DateOf(2012+y, time.May, 10)
			in.Sightings = append(in.Sightings,
				forecast.Sighting{Planting: name, Stage: forecast.Bloom10, Date: d, Seen: true},
				forecast.Sighting{Planting: name, Stage: forecast.BloomFull, Date: d + 4, Seen: true})
		}
		f := compute(t, in, asOf)
		if b := f.Plantings[0].Bloom; b.Date != asOf-20-tt.before || b.From != forecast.BloomFromFull {
			t.Errorf("%d seasons: bloom %v, want %s", tt.seasons, *b, asOf-20-tt.before)
		}
	}
}

// In a year of 1 °C·d a day nothing ripens: such a planting has a note instead
// of dates, and takes no part in the season.
func TestPlantingThatDoesNotRipenHasNoDates(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	var days []weather.Day
	for d := weather.DateOf(2008, time.January, 1); d < asOf; d++ {
		days = append(days, flat(d, 4))
	}
	in.Records = []forecast.Record{{Station: in.Records[0].Station, Days: series(t, days)}}
	in.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool {
		return s.Date.Year() < asOf.Year() || s.Stage >= forecast.FirstRipe
	})
	f := compute(t, in, asOf)
	noted := 0
	for _, n := range f.Notes {
		if n.Kind == forecast.NoteNotReached {
			noted++
		}
	}
	for _, p := range f.Plantings {
		if p.Stages != nil || p.Bloom == nil {
			t.Errorf("%s: %+v", p.Planting, p)
		}
	}
	if noted != len(f.Plantings) || f.SeasonSpan != nil || len(f.Gaps) != 0 || len(f.Days) != 0 {
		t.Errorf("%d notes for %d plantings, span %v, %d gaps, %d days", noted, len(f.Plantings), f.SeasonSpan, len(f.Gaps), len(f.Days))
	}
}
