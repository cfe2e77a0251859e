package forecast_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// moveDates returns in with every date put elsewhere.
func moveDates(t *testing.T, in forecast.Inputs, to func(weather.Date) weather.Date) forecast.Inputs {
	t.Helper()
	out := in
	out.Records, out.Plantings, out.Sightings = nil, nil, nil
	for _, r := range in.Records {
		var days []weather.Day
		for _, d := range r.Days.Days() {
			d.Date = to(d.Date)
			days = append(days, d)
		}
		s, err := weather.NewSeries(days)
		if err != nil {
			t.Fatal(err)
		}
		out.Records = append(out.Records, forecast.Record{Station: r.Station, Days: s})
	}
	for _, p := range in.Plantings {
		p.PlantedOn = to(p.PlantedOn)
		if p.RemovedOn != nil {
			d := to(*p.RemovedOn)
			p.RemovedOn = &d
		}
		out.Plantings = append(out.Plantings, p)
	}
	for _, s := range in.Sightings {
		s.Date = to(s.Date)
		out.Sightings = append(out.Sightings, s)
	}
	return out
}

// ranges returns every published date, by planting.
func ranges(f *forecast.Forecast) map[string][]weather.Date {
	out := map[string][]weather.Date{}
	for _, p := range f.Plantings {
		if s := p.Stages; s != nil {
			for _, r := range []forecast.DateRange{s.FirstRipe, s.Peak, s.LastPick} {
				out[p.Planting] = append(out[p.Planting], r.P10, r.P50, r.P90)
			}
		}
	}
	return out
}

// Twenty-eight years on, weekdays and leap years fall as they did: nothing
// changes but the year.
func TestTwentyEightYearsOnNothingChangesButTheYear(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	on := func(d weather.Date) weather.Date { return d.InYear(d.Year() + 28) }
	a, b := compute(t, in, asOf), compute(t, moveDates(t, in, on), on(asOf))
	want := ranges(a)
	if len(want) < 10 {
		t.Fatalf("only %d plantings have dates", len(want))
	}
	for p, got := range ranges(b) {
		for i, d := range got {
			if d != on(want[p][i]) {
				t.Errorf("%s: date %d is %s, was %s", p, i, d, want[p][i])
			}
		}
	}
	if len(a.Gaps) == 0 || len(a.Gaps) != len(b.Gaps) {
		t.Fatalf("%d gaps, then %d", len(a.Gaps), len(b.Gaps))
	}
	for i, g := range b.Gaps {
		if w := a.Gaps[i]; g.From != on(w.From) || g.To != on(w.To) || g.Probability != w.Probability || g.PastYears != w.PastYears {
			t.Errorf("gap %d is %+v, was %+v", i, g, w)
		}
	}
	for i, d := range b.Days {
		if w := a.Days[i]; d.Date != on(w.Date) || d.RipeKg != w.RipeKg || d.ThinProbability != w.ThinProbability {
			t.Errorf("supply of %s is %+v, was %+v", d.Date, d.RipeKg, w.RipeKg)
		}
	}
}

// A southern farm with the same weather half a year earlier, so that its
// season crosses New Year, has the same dates half a year earlier. July to
// December have 184 days in every year; leap days fall elsewhere, so a day is
// allowed.
func TestSouthernFarmMirrorsTheNorthern(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	// What is planted in spring bears from the next calendar year on: the same
	// summer, where the season crosses New Year. Not to be compared.
	in.Plantings = slices.DeleteFunc(slices.Clone(in.Plantings), func(p forecast.Planting) bool { return p.PlantedOn.Year() == asOf.Year() })
	const half = 184
	south := moveDates(t, in, func(d weather.Date) weather.Date { return d - half })
	south.Farm.Latitude = -south.Farm.Latitude
	for i := range south.Records {
		south.Records[i].Station.Latitude = -south.Records[i].Station.Latitude
	}
	for _, at := range []weather.Date{asOf - 100, asOf, asOf + 14} {
		a, b := compute(t, in, at), compute(t, south, at-half)
		if b.Season != at.Year() {
			t.Errorf("the season of %s in the south is %d, want %d", at-half, b.Season, at.Year())
		}
		want, got := ranges(a), ranges(b)
		if len(want) < 10 || len(got) != len(want) {
			t.Fatalf("%d plantings have dates in the north, %d in the south", len(want), len(got))
		}
		for p, ds := range got {
			for i, d := range ds {
				if off := d + half - want[p][i]; off < -1 || off > 1 {
					t.Errorf("as of %s %s: date %d is %s, half a year after %s in the north", at, p, i, d, want[p][i])
				}
			}
		}
	}
}

// The same days in °F give the same dates.
func TestFahrenheitIsCelsius(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	b, err := weather.NewBatch(weather.Fahrenheit, asOf)
	if err != nil {
		t.Fatal(err)
	}
	for i, d := range in.Records[0].Days.Days() {
		lo, hi := d.Min*9/5+32, d.Max*9/5+32
		b.AddNumbers(i+1, d.Date.String(), &lo, &hi)
	}
	r, err := b.Done()
	if err != nil {
		t.Fatal(err)
	}
	s, err := weather.NewSeries(r.Days)
	if err != nil {
		t.Fatal(err)
	}
	f := in
	f.Records = []forecast.Record{{Station: in.Records[0].Station, Days: s}}
	want, got := ranges(compute(t, in, asOf)), ranges(compute(t, f, asOf))
	for p, ds := range want {
		if !slices.Equal(ds, got[p]) {
			t.Errorf("%s: %v by °C, %v by °F", p, ds, got[p])
		}
	}
}

// Evidence fixed, a warmer day ahead never makes a stage later, as long as heat
// above the cutoff is not taken away again.
func TestWarmerDayAheadIsNeverLater(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 1))
	methods := []forecast.Method{
		forecast.DefaultMethod,
		{Kind: forecast.SingleSine, Base: 0, Cutoff: forecast.NoCutoff},
		{Kind: forecast.DoubleSine, Base: 5, Upper: 28, Cutoff: forecast.Horizontal},
		{Kind: forecast.Average, Base: 3, Upper: 25, Cutoff: forecast.Horizontal},
		{Kind: forecast.SingleTriangle, Base: 2, Cutoff: forecast.NoCutoff},
	}
	bloom := weather.DateOf(2020, time.May, 8)
	earlier := 0
	for range 3000 {
		days := make([]weather.Day, 120)
		for i := range days {
			lo := 4 + 8*r.NormFloat64()
			days[i] = weather.Day{Date: bloom - 5 + weather.Date(i), Min: lo, Max: lo + 16*r.Float64()}
		}
		m := methods[r.IntN(len(methods))]
		need := [3]float64{200 + 100*r.Float64()}
		need[1] = need[0] + 100*r.Float64()
		need[2] = need[1] + 100*r.Float64()
		var seen, notYet [3]*weather.Date
		if r.IntN(2) == 0 {
			d := bloom + weather.Date(r.IntN(60))
			notYet[0] = &d
		}
		before, _ := forecast.Crossing(m, days, bloom, seen, notYet, need)
		k, c := 6+r.IntN(60), 15*r.Float64()
		days[k].Max += c
		if r.IntN(2) == 0 {
			days[k].Min += c
		}
		after, _ := forecast.Crossing(m, days, bloom, seen, notYet, need)
		for s := range after {
			if after[s] > before[s] {
				t.Fatalf("%v: stage %d comes on %s, with a warmer day %d on %s", m, s, before[s], k, after[s])
			}
			if after[s] < before[s] {
				earlier++
			}
		}
	}
	if earlier < 300 {
		t.Errorf("warmth made a stage earlier only %d times: nothing was tested", earlier)
	}
}

// The more seasons a farm has on record the narrower its ranges, on average
// over farms that the model grows.
func TestMoreSeasonsNarrowTheRange(t *testing.T) {
	t.Parallel()
	sds := [3]float64{0.06, 0.06, 0.06}
	before := 0.0
	for i, seasons := range []int{0, 1, 3, 6, 12, 30} {
		sum := 0.0
		for seed := range uint64(60) {
			_, sd, err := forecast.GrowFromModel(seed, 6, seasons, sds, [3]float64{0.04, 0.04, 0.04}).Effects.Posterior()
			if err != nil {
				t.Fatal(err)
			}
			for _, x := range sd {
				sum += x / float64(60*len(sd))
			}
		}
		if i > 0 && !(sum < before) {
			t.Errorf("with %d seasons the mean sd is %.4f, with fewer it was %.4f", seasons, sum, before)
		}
		before = sum
	}
}

// A planting that is removed, renamed or has lost half its stages leaves the
// others' dates nearly as they are, and breaks nothing.
func TestIncompleteRecordsBreakNothing(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	whole := ranges(compute(t, in, asOf))
	r := rand.New(rand.NewPCG(3, 3))
	for name, change := range map[string]func(*forecast.Inputs){
		"removed": func(x *forecast.Inputs) {
			x.Plantings = slices.Clone(x.Plantings)
			gone := asOf - 300
			x.Plantings[3].RemovedOn = &gone
		},
		"renamed": func(x *forecast.Inputs) {
			x.Plantings = slices.Clone(x.Plantings)
			x.Plantings[3].ID = "another-name"
		},
		"half its stages": func(x *forecast.Inputs) {
			x.Sightings = slices.DeleteFunc(slices.Clone(x.Sightings), func(forecast.Sighting) bool { return r.IntN(2) == 0 })
		},
		"only last picks": func(x *forecast.Inputs) {
			x.Sightings = slices.DeleteFunc(slices.Clone(x.Sightings), func(s forecast.Sighting) bool {
				return s.Date.Year() < asOf.Year() && (s.Stage == forecast.FirstRipe || s.Stage == forecast.Peak)
			})
		},
		"variety unknown": func(x *forecast.Inputs) {
			x.Plantings = slices.Clone(x.Plantings)
			x.Plantings[3].Variety = "nobody-knows"
		},
	} {
		x := in
		change(&x)
		got := ranges(compute(t, x, asOf))
		if len(got) < len(whole)-2 {
			t.Errorf("%s: %d plantings have dates, %d had", name, len(got), len(whole))
		}
		for p, ds := range got {
			if w, ok := whole[p]; ok {
				for i := range ds {
					if off := ds[i] - w[i]; off < -8 || off > 8 {
						t.Errorf("%s: %s moved date %d from %s to %s", name, p, i, w[i], ds[i])
					}
				}
			}
		}
	}
}
