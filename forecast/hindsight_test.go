package forecast_test

import (
	"slices"
	"testing"

	"ripetide/forecast"
	"ripetide/weather"
)

// hindsightFarm is a planting on a station of twelve past years at 13 °C, hence
// 10 °C·d a day, whose variety is stated to take 300, 340 and 400 °C·d, and took
// that in four past seasons. This season, 2018, is at another temperature from
// the morning asOf on.
func hindsightFarm(t *testing.T, asOf weather.Date, aheadC float64, bloom weather.Date) forecast.Inputs {
	t.Helper()
	var days []weather.Day
	for d := weather.DateOf(2006, 1, 1); d < weather.DateOf(2018, 12, 31); d++ {
		c := 13.0
		if d >= asOf {
			c = aheadC
		}
		days = append(days, weather.Day{Date: d, Min: c, Max: c})
	}
	record, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	in := forecast.Inputs{
		Farm:    forecast.Farm{ID: "f", Name: "Farm", Latitude: 48, TimeZone: "UTC", Units: forecast.Metric, GapProbability: 0.5},
		Records: []forecast.Record{{Station: weather.Station{ID: "s", Latitude: 48}, Days: record}},
		Varieties: []forecast.Variety{{ID: "v", Name: "V", Ripens: forecast.Mid, Requirement: &forecast.Requirement{
			FirstRipe: 305, Peak: 345, LastPick: 405, Method: forecast.DefaultMethod,
		}}},
		Plantings: []forecast.Planting{{ID: "p", Variety: "v", Block: "b", Station: "s", PlantedOn: weather.DateOf(2010, 4, 1), AreaM2: 100, KgPerM2: 1}},
	}
	for y := 2012; y < 2018; y++ { // Reached during the day: half of it counts, so 30 days are 295 °C·d and the day after 305.
		b := weather.DateOf(y, 5, 1)
		for i, d := range []weather.Date{b, b + 31, b + 35, b + 41} {
			s := []forecast.Stage{forecast.Bloom10, forecast.FirstRipe, forecast.Peak, forecast.LastPick}[i]
			in.Sightings = append(in.Sightings, forecast.Sighting{Planting: "p", Date: d, Stage: s, Seen: true})
		}
	}
	in.Sightings = append(in.Sightings, forecast.Sighting{Planting: "p", Date: bloom, Stage: forecast.Bloom10, Seen: true})
	return in
}

// known cuts off what is dated later than a morning knows.
func known(t *testing.T, in forecast.Inputs, asOf weather.Date) forecast.Inputs {
	t.Helper()
	in.Records = slices.Clone(in.Records)
	for i := range in.Records {
		in.Records[i].Days = in.Records[i].Days.Until(asOf - 1)
	}
	return in
}

// TestWhatHindsightSaysByHand: bloom on 1 May and 10 °C·d a day put 305 °C·d on
// the 31st day, 1 June. As of 11 May nine days with 90 °C·d are over. At 15.5 °C,
// 12.5 °C·d a day, the other 215 take 17.2 days, so the 18th: 28 May, 4 days
// earlier. At 11.6 °C, 8.6 °C·d, they take 25, so 4 June, 3 days later.
func TestWhatHindsightSaysByHand(t *testing.T) {
	t.Parallel()
	asOf, bloom := weather.DateOf(2018, 5, 11), weather.DateOf(2018, 5, 1)
	for _, tt := range []struct {
		aheadC float64
		came   weather.Date
	}{{13, weather.DateOf(2018, 6, 1)}, {15.5, weather.DateOf(2018, 5, 28)}, {11.6, weather.DateOf(2018, 6, 4)}} {
		in := hindsightFarm(t, asOf, tt.aheadC, bloom)
		then := known(t, in, asOf)
		h, err := forecast.InHindsight(then, in, asOf)
		if err != nil {
			t.Fatal(err)
		}
		issued, err := forecast.Compute(then, asOf)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := h.Issued["p"][0], issued.Plantings[0].Stages.FirstRipe.P50; got != want || got != weather.DateOf(2018, 6, 1) {
			t.Errorf("made again %s, issued %s, want 1 June", got, want)
		}
		if got := h.Bloomed["p"]; got != h.Issued["p"] {
			t.Errorf("bloom was not corrected, and moves it to %v", got)
		}
		if got := h.Came["p"][0]; got != tt.came {
			t.Errorf("at %g °C: %s, want %s", tt.aheadC, got, tt.came)
		}
		if h.Through["p"] != weather.DateOf(2018, 12, 30) {
			t.Errorf("weather through %s", h.Through["p"])
		}
	}
}

// TestABloomThatWasCorrected from 1 to 4 May moves what would have been said by
// three days, also where the morning did not know of it yet.
func TestABloomThatWasCorrected(t *testing.T) {
	t.Parallel()
	wrong, right := weather.DateOf(2018, 5, 1), weather.DateOf(2018, 5, 4)
	for _, asOf := range []weather.Date{weather.DateOf(2018, 5, 11), weather.DateOf(2018, 5, 2)} {
		now := hindsightFarm(t, asOf, 13, right)
		then := known(t, hindsightFarm(t, asOf, 13, wrong), asOf)
		h, err := forecast.InHindsight(then, now, asOf)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range []struct {
			name string
			got  weather.Date
			want weather.Date
		}{{"issued", h.Issued["p"][0], wrong + 31}, {"had it known of bloom", h.Bloomed["p"][0], right + 31}, {"and the weather", h.Came["p"][0], right + 31}} {
			if x.got != x.want {
				t.Errorf("as of %s, %s: %s, want %s", asOf, x.name, x.got, x.want)
			}
		}
	}
}

// TestHindsightKeepsTheRequirementsOfThen: what was seen afterwards, this season
// or in past ones, does not come in.
func TestHindsightKeepsTheRequirementsOfThen(t *testing.T) {
	t.Parallel()
	asOf, bloom := weather.DateOf(2018, 5, 11), weather.DateOf(2018, 5, 1)
	now := hindsightFarm(t, asOf, 13, bloom)
	then := known(t, now, asOf)
	plain, err := forecast.InHindsight(then, now, asOf)
	if err != nil {
		t.Fatal(err)
	}
	now.Sightings = append(slices.Clone(now.Sightings), forecast.Sighting{Planting: "p", Date: bloom + 60, Stage: forecast.FirstRipe, Seen: true})
	for i := range now.Sightings { // Past seasons take twice as long.
		if s := &now.Sightings[i]; s.Date.Year() < 2018 && s.Stage >= forecast.FirstRipe {
			s.Date += 31
		}
	}
	poisoned, err := forecast.InHindsight(then, now, asOf)
	if err != nil {
		t.Fatal(err)
	}
	if plain.Came["p"] != poisoned.Came["p"] || plain.Issued["p"] != poisoned.Issued["p"] || plain.Bloomed["p"] != poisoned.Bloomed["p"] {
		t.Errorf("later records come in: %v, then %v", plain, poisoned)
	}
}
