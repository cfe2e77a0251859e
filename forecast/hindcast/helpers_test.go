package hindcast_test

import (
	"math"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/scoring"
	"ripetide/forecast/simfarm"
	"ripetide/testdata"
	"ripetide/weather"
)

// near reports whether got is within tol of want; NaN is near nothing.
func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

// flat is a record in which every day of a year stands at one temperature, °C,
// from the first year on.
func flat(t *testing.T, first int, temps ...float64) weather.Series {
	t.Helper()
	var days []weather.Day
	for i, c := range temps {
		for d := weather.DateOf(first+i, 1, 1); d < weather.DateOf(first+i+1, 1, 1); d++ {
			days = append(days, weather.Day{Date: d, Min: c, Max: c})
		}
	}
	return series(t, days)
}

func series(t *testing.T, days []weather.Day) weather.Series {
	t.Helper()
	s, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// seen is the first day of a stage.
func seen(planting string, s forecast.Stage, d weather.Date) forecast.Sighting {
	return forecast.Sighting{Planting: planting, Stage: s, Date: d, Seen: true}
}

// planting is a planting of 100 m² since 2000.
func planting(id, variety string) forecast.Planting {
	return forecast.Planting{ID: id, Variety: variety, Block: "b", Station: "s", PlantedOn: weather.DateOf(2000, 4, 1), AreaM2: 100, KgPerM2: 1}
}

// north is a farm with a record and no plantings yet.
func north(s weather.Series) forecast.Inputs {
	return forecast.Inputs{
		Farm:    forecast.Farm{ID: "f", Name: "Farm", Latitude: 48, TimeZone: "UTC", Units: forecast.Metric, GapProbability: 0.5},
		Records: []forecast.Record{{Station: weather.Station{ID: "s", Latitude: 48}, Days: s}},
	}
}

// replay is [hindcast.Replay] of what is known to be valid.
func replay(t *testing.T, in forecast.Inputs, opt hindcast.Options) hindcast.Result {
	t.Helper()
	r, err := hindcast.Replay(t.Context(), in, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// find returns the only case of a planting and stage on a morning.
func find(t *testing.T, r hindcast.Result, planting string, s forecast.Stage, asOf weather.Date) hindcast.Case {
	t.Helper()
	for _, c := range r.Cases {
		if c.Planting == planting && c.Stage == s && c.AsOf == asOf {
			return c
		}
	}
	t.Fatalf("no case of %s, %s, as of %s", planting, s, asOf)
	return hindcast.Case{}
}

// sameAsNormal reports whether d is the whole-day normal with the given mean
// (from the date zero) and sd of which the days up to asOf are cut off.
func sameAsNormal(t *testing.T, d scoring.Distribution, zero weather.Date, mean, sd float64, asOf weather.Date, tol float64) bool {
	t.Helper()
	phi := func(x weather.Date) float64 {
		return 0.5 * math.Erfc(-(float64(x-zero)+0.5-mean)/sd/math.Sqrt2)
	}
	before := phi(asOf)
	for x := asOf - 5; x < asOf+120; x++ {
		want := 0.0
		if x > asOf {
			want = (phi(x) - before) / (1 - before)
		}
		if !near(d.CDF(x), want, tol) {
			t.Logf("F(%s) = %.6f, want %.6f", x, d.CDF(x), want)
			return false
		}
	}
	return true
}

// grown is a farm of three varieties, one of them in two plantings, on the
// record of Ann Arbor, whose seasons from..to were grown by the simulator. Every
// sighting of a simulated farm is there.
func grown(t *testing.T, from, to int) forecast.Inputs {
	t.Helper()
	days, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	in := north(days)
	in.Farm.Latitude = 42.29
	in.Varieties = []forecast.Variety{{ID: "a", Name: "A", Ripens: forecast.Early}, {ID: "b", Name: "B", Ripens: forecast.Mid}, {ID: "c", Name: "C", Ripens: forecast.Late}}
	in.Plantings = []forecast.Planting{planting("c-1", "c"), planting("b-2", "b"), planting("b-1", "b"), planting("a-1", "a")}
	farm := simfarm.Farm{
		Seed: 7, Latitude: 42.29, Plantings: in.Plantings, Scatter: simfarm.UsualScatter, Rounds: []time.Weekday{1, 3, 5},
		Traits: []simfarm.Trait{{Variety: "a", Bloom: 34, Fruit: 18, Spread: 1}, {Variety: "b", Bloom: 36, Fruit: 20, Spread: 1}, {Variety: "c", Bloom: 38, Fruit: 22, Spread: 1}},
	}
	for y := from; y <= to; y++ {
		truths, err := farm.Season(days, y)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range truths {
			for s, d := range x.Noted {
				in.Sightings = append(in.Sightings, seen(x.Planting, forecast.Stage(s), d))
			}
		}
	}
	return in
}
