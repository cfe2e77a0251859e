package forecast_test

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"gonum.org/v1/gonum/mat"

	"ripetide/forecast"
	"ripetide/testdata"
	"ripetide/weather"
)

func explain(t *testing.T, in forecast.Inputs, asOf weather.Date, planting string) *forecast.Explanation {
	t.Helper()
	x, err := forecast.Explain(in, asOf, planting)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func explainAll(t *testing.T, in forecast.Inputs, asOf weather.Date) (*forecast.Forecast, map[string]*forecast.Explanation) {
	t.Helper()
	f, all, err := forecast.ExplainAll(in, asOf)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(compute(t, in, asOf), f); diff != "" {
		t.Fatalf("an explanation changed the forecast:\n%s", diff)
	}
	return f, all
}

// mornings of the demo: in winter, when some have bloomed, when some are ripe,
// and late in the season.
func mornings(asOf weather.Date) []weather.Date {
	return []weather.Date{weather.DateOf(2018, time.February, 10), asOf - 22, asOf, asOf + 16}
}

func lateDemo(t *testing.T) (forecast.Inputs, weather.Date) {
	t.Helper()
	in, asOf := demo(t)
	d, err := testdata.ReadDemo()
	if err != nil {
		t.Fatal(err)
	}
	in.Sightings = append(slices.Clone(in.Sightings), d.Later...)
	return in, asOf
}

// What is explained is what is published, for every planting.
func TestExplanationShowsWhatIsPublished(t *testing.T) {
	t.Parallel()
	in, asOf := lateDemo(t)
	for _, at := range mornings(asOf) {
		f, all := explainAll(t, in, at)
		for _, p := range f.Plantings {
			x := all[p.Planting]
			var stages []*forecast.DateRange
			for _, s := range x.Stages {
				stages = append(stages, s.Date)
			}
			want := []*forecast.DateRange{&p.Stages.FirstRipe, &p.Stages.Peak, &p.Stages.LastPick}
			if diff := cmp.Diff(want, stages); diff != "" {
				t.Errorf("%s as of %s:\n%s", p.Planting, at, diff)
			}
			got := forecast.PlantingDates{
				Planting: x.Planting, Variety: x.Variety, Block: x.Block, Bloom: x.Bloom,
				DegreeDaysSinceBloom: x.DegreeDaysSinceBloom, Stages: p.Stages, PickingWindowDays: x.PickingWindowDays,
			}
			if diff := cmp.Diff(p, got); diff != "" {
				t.Errorf("%s as of %s:\n%s", p.Planting, at, diff)
			}
			if x.AsOf != at || x.Season != 2018 || x.Method.Members != f.Method.Members || x.Weather.PastYears != f.Method.Traces {
				t.Errorf("%s as of %s: %s, %d, %+v", p.Planting, at, x.AsOf, x.Season, x.Method)
			}
			for _, n := range f.Notes {
				if has := slices.Contains(x.Notes, n); has != (n.Planting == "" || n.Planting == p.Planting) {
					t.Errorf("%s as of %s: note %v is there: %t", p.Planting, at, n, has)
				}
			}
		}
	}
}

// Prior and effects add up: in logs to the mean of the posterior and, with the
// looks, of the members; in degree-days too, but for rounding.
func TestRequirementIsPriorAndEffects(t *testing.T) {
	t.Parallel()
	in, asOf := lateDemo(t)
	for _, at := range mornings(asOf) {
		means, err := forecast.LogMeans(in, at)
		if err != nil {
			t.Fatal(err)
		}
		_, all := explainAll(t, in, at)
		var season [3]float64 // The same for all plantings.
		for i, p := range forecast.Plantings(means) {
			x := all[p]
			seen := slices.ContainsFunc(x.ThisSeason, func(s forecast.StageSeen) bool { return s.Planting == p })
			for s, r := range x.Stages {
				if i == 0 {
					season[s] = r.Effects[3].Log
				}
				if u, e := r.Effects[3].Log, r.Effects[4].Log; !near(u, season[s], 1e-9) || seen == near(e, 0, 1e-9) {
					t.Errorf("%s %s as of %s: the season does %v, to another planting %v; what is its own does %v, seen %t", p, r.Stage, at, u, season[s], e, seen)
				}
				log, heat := r.Prior.Log, r.Prior.DegreeDays
				for _, e := range r.Effects {
					if e.Effect == forecast.EffectLooks && !near(log, means[p][s], 1e-9) {
						t.Errorf("%s %s as of %s: adds up to %v, the posterior's mean is %v", p, r.Stage, at, log, means[p][s])
					}
					log += e.Log
					heat += e.DegreeDays
					if !near(e.Pct, 100*math.Expm1(e.Log), 0.006) {
						t.Errorf("%s %s as of %s: %s is %v %% of %v", p, r.Stage, at, e.Effect, e.Pct, e.Log)
					}
				}
				if !near(log, r.Requirement.Log, 1e-9) || !near(r.Requirement.Mean, math.Exp(log), 0.06) || !near(heat, r.Requirement.Mean, 0.5) {
					t.Errorf("%s %s as of %s: %v and %v °C·d, members have %+v", p, r.Stage, at, log, heat, r.Requirement)
				}
				if !near(r.Prior.DegreeDays, math.Exp(r.Prior.Log), 0.06) {
					t.Errorf("%s %s: prior %+v", p, r.Stage, r.Prior)
				}
			}
		}
	}
}

// The oracle conditions each effect by the textbook formula, in the space of
// observations.
func TestEffectsAgreeWithPartitionedGaussian(t *testing.T) {
	t.Parallel()
	e := effects()
	parts, covOf, err := e.Parts()
	if err != nil {
		t.Fatal(err)
	}
	mean, observed, cov := e.Covariances()
	n := len(observed)
	soo := mat.NewDense(n, n, nil)
	diff := mat.NewVecDense(n, nil)
	for i, y := range observed {
		soo.SetRow(i, cov[i][:n])
		diff.SetVec(i, y-mean[i])
	}
	var w mat.VecDense
	if err := w.SolveVec(soo, diff); err != nil {
		t.Fatal(err)
	}
	for p := range e.Plantings {
		for s := range 3 {
			for i, row := range covOf(p, s) {
				want := mat.Dot(mat.NewVecDense(n, row), &w)
				if got := parts[p][i][s]; !near(got, want, 1e-9) {
					t.Errorf("effect %d on stage %d of planting %d is %v, want %v", i, s, p, got, want)
				}
			}
		}
	}
}

// What past seasons have taught does not depend on this one.
func TestPastSeasonsTeachTheSameWhateverThisOneDoes(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	blank := in
	blank.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool {
		return s.Date.Year() == asOf.Year() && s.Stage >= forecast.FirstRipe
	})
	name := compute(t, in, asOf).Plantings[0].Planting
	a, b := explain(t, in, asOf, name), explain(t, blank, asOf, name)
	if len(a.ThisSeason) == 0 || len(b.ThisSeason) != 0 {
		t.Fatalf("this season: %v and %v", a.ThisSeason, b.ThisSeason)
	}
	for s := range a.Stages {
		for i := range 3 {
			if x, y := a.Stages[s].Effects[i], b.Stages[s].Effects[i]; !near(x.Log, y.Log, 1e-9) || x.Seasons != y.Seasons || x.Observations != y.Observations {
				t.Errorf("%s: %+v, without this season %+v", a.Stages[s].Stage, x, y)
			}
		}
		for i := 3; i < 6; i++ {
			if y := b.Stages[s].Effects[i]; !near(y.Log, 0, 1e-9) || y.Observations != 0 {
				t.Errorf("%s: nothing was seen this season, and it taught %+v", b.Stages[s].Stage, y)
			}
		}
	}
	// What it was expected to take is what past seasons had taught.
	for _, seen := range a.ThisSeason {
		if seen.Planting != name {
			continue
		}
		r := a.Stages[stageIndex(t, seen.Stage)]
		want := math.Exp(r.Prior.Log + r.Effects[0].Log + r.Effects[1].Log + r.Effects[2].Log)
		if !near(seen.Expected, want, 0.06) || !near(seen.Pct, 100*(seen.DegreeDays/seen.Expected-1), 0.05) {
			t.Errorf("%+v, past seasons say %v", seen, want)
		}
	}
}

// Counted in the demo's records: who taught a planting its stages.
func TestEffectsCountTheirTeachers(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	f := compute(t, in, asOf)
	name := f.Plantings[3].Planting
	p := in.Plantings[slices.IndexFunc(in.Plantings, func(p forecast.Planting) bool { return p.ID == name })]
	varieties := map[string]string{}
	for _, q := range in.Plantings {
		varieties[q.ID] = q.Variety
	}
	var want [3][3]struct { // By stage and effect.
		n       int
		seasons map[int]bool
	}
	now := 0
	for _, s := range in.Sightings {
		if !s.Seen || s.Date.Year() == asOf.Year() {
			if s.Seen && s.Stage >= forecast.FirstRipe {
				now++
			}
			continue
		}
		if s.Stage < forecast.FirstRipe {
			continue
		}
		for i, is := range []bool{true, varieties[s.Planting] == p.Variety, s.Planting == p.ID} {
			if is {
				w := &want[s.Stage-forecast.FirstRipe][i]
				if w.seasons == nil {
					w.seasons = map[int]bool{}
				}
				w.n++
				w.seasons[s.Date.Year()] = true
			}
		}
	}
	x := explain(t, in, asOf, name)
	for s, row := range want {
		for i, w := range row {
			if e := x.Stages[s].Effects[i]; e.Observations != w.n || e.Seasons != len(w.seasons) {
				t.Errorf("%s, stage %d: %d observations in %d seasons, want %d in %d", e.Effect, s, e.Observations, e.Seasons, w.n, len(w.seasons))
			}
		}
	}
	if e := x.Stages[0].Effects[3]; e.Observations != now || e.Seasons != 1 {
		t.Errorf("this season taught by %d observations, want %d", e.Observations, now)
	}
}

// The members, taken as they were drawn, have the requirements and the sums
// that are shown.
func TestExplainedHeatIsThatOfTheMembers(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	for _, at := range []weather.Date{asOf - 22, asOf} { // Before and after all have bloomed.
		ms, _, err := forecast.MembersOf(in, at)
		if err != nil {
			t.Fatal(err)
		}
		for k := 0; k < len(ms[0]); k += 4 {
			name := ms[0][k].Planting
			x := explain(t, in, at, name)
			for s, r := range x.Stages {
				var needs []float64
				for _, m := range ms {
					needs = append(needs, m[k].Need[s])
				}
				for _, c := range []struct{ got, p float64 }{{r.Requirement.P10, 0.1}, {r.Requirement.P50, 0.5}, {r.Requirement.P90, 0.9}} {
					if want := quantile(needs, c.p); !near(c.got, want, 0.051) {
						t.Errorf("%s %s as of %s: %v °C·d at %v, members say %v", name, r.Stage, at, c.got, c.p, want)
					}
				}
			}
			if len(x.Ahead) == 0 {
				t.Fatalf("%s as of %s: no day ahead", name, at)
			}
			sums := map[weather.Date][]float64{}
			for _, m := range ms {
				y := m[k]
				if y.Spring > 0 {
					y.Bloom = bloomOf(y)
				}
				h := heatTo(y)
				for _, d := range x.Ahead {
					sums[d.Date] = append(sums[d.Date], h[d.Date])
				}
			}
			for i, d := range x.Ahead {
				for _, c := range []struct{ got, p float64 }{{d.P10, 0.1}, {d.P50, 0.5}, {d.P90, 0.9}} {
					if want := quantile(sums[d.Date], c.p); !near(c.got, want, 0.051) {
						t.Errorf("%s on %s, as of %s: %v °C·d at %v, members say %v", name, d.Date, at, c.got, c.p, want)
					}
				}
				if want := x.Ahead[0].Date + weather.Date(i); d.Date != want || d.Source != forecast.DayReplayed {
					t.Errorf("%s: day ahead %d is %+v, want %s", name, i, d, want)
				}
			}
			if last := x.Ahead[len(x.Ahead)-1].Date; last != x.Stages[2].Date.P90 || x.Ahead[0].Date < at-1 {
				t.Errorf("%s as of %s: ahead from %s to %s", name, at, x.Ahead[0].Date, last)
			}
		}
	}
}

// Worked by hand at 10 °C·d a day: two days are missing and bridged, five are
// missing and taken from other years, the record ends three days early.
func TestExplainedDays(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	asOf := bloom + 23
	days := slices.Clone(in.Records[0].Days.Until(asOf - 4).Days())
	days = drop(days, bloom+3, bloom+4)
	days = drop(days, bloom+10, bloom+14)
	in.Records[0].Days = series(t, days)
	x := explain(t, in, asOf, "p")
	if *x.WeatherThrough != asOf-4 || *x.DegreeDaysSinceBloom != 190 || *x.DegreeDaysPerDay != 10 {
		t.Errorf("through %s, %v °C·d, %v a day; want %s, 190, 10", x.WeatherThrough, *x.DegreeDaysSinceBloom, *x.DegreeDaysPerDay, asOf-4)
	}
	last := x.Stages[2].Date.P90
	want := forecast.WeatherBasis{ObservedDays: 12, FilledDays: 7, ReplayedDays: int(last - (asOf - 4)), PastYears: 13}
	if diff := cmp.Diff(want, x.Weather); diff != "" {
		t.Errorf("weather:\n%s", diff)
	}
	if len(x.Days) != 19 {
		t.Fatalf("%d days, want 19", len(x.Days))
	}
	for i, d := range x.Days {
		n := i + 1
		source := forecast.DayObserved
		switch {
		case n == 3 || n == 4:
			source = forecast.DayInterpolated
		case 10 <= n && n <= 14:
			source = forecast.DayUsual
		}
		want := forecast.HeatDay{Date: bloom + weather.Date(n), MinC: 13, MaxC: 13, DegreeDays: 10, Sum: float64(10 * n), Source: source}
		if diff := cmp.Diff(want, d, cmpopts.EquateApprox(0, 1e-9)); diff != "" {
			t.Errorf("day %d:\n%s", n, diff)
		}
	}
	if a := x.Ahead[0]; a.Date != asOf-3 || a.P10 != 200 || a.P90 != 200 {
		t.Errorf("ahead begins with %+v", a)
	}
	// On the morning of bloom itself no day counts yet.
	if x = explain(t, in, bloom, "p"); len(x.Days) != 0 || *x.DegreeDaysSinceBloom != 0 || x.Ahead[0].Date != bloom+1 || x.Ahead[0].P50 != 10 {
		t.Errorf("on the morning of bloom: %d days, ahead from %+v", len(x.Days), x.Ahead[0])
	}
}

func TestWhatAStageIsBoundedAndEnteredBy(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	asOf := bloom + 34
	in.Sightings = append(in.Sightings,
		saw("p", forecast.FirstRipe, bloom+30, false), saw("p", forecast.FirstRipe, bloom+32, false), saw("q", forecast.FirstRipe, bloom+33, true))
	in.Varieties[0].Requirement = &forecast.Requirement{FirstRipe: 340, Peak: 400, LastPick: 500, Method: forecast.DefaultMethod}
	p, q := explain(t, in, asOf, "p"), explain(t, in, asOf, "q")
	n := p.Stages[0].NotYet
	if n == nil || n.Date != bloom+32 || *n.DegreeDays != 320 || p.Stages[1].NotYet != nil || q.Stages[0].NotYet != nil {
		t.Errorf("looks in vain: %+v, %+v and %+v", n, p.Stages[1].NotYet, q.Stages[0].NotYet)
	}
	// Without a past season one made-up one of two has entered it.
	if e := p.Stages[0].Entered; e == nil || e.Share != 0.5 || q.Stages[0].Entered != nil || q.Stages[1].Entered == nil {
		t.Errorf("entering: %+v, %+v, %+v", e, q.Stages[0].Entered, q.Stages[1].Entered)
	}
	if r := p.Stages[0].Prior; r.From != forecast.PriorOwn || r.DegreeDays != 340 || r.SDPct != 6 {
		t.Errorf("prior: %+v, want the farm's own figure 340 with 6 %%", r)
	}
	if s := p.Stages[0].Spread; s.Estimated || s.SeasonSDPct != 6 || s.OwnSDPct != 4 || s.Seasons != 0 {
		t.Errorf("spread: %+v, want the defaults", s)
	}
	want := []forecast.StageSeen{{Planting: "q", Stage: "first_ripe", Date: bloom + 33, DegreeDays: 325, Expected: 340, Pct: round2(100 * (325.0/340 - 1))}}
	if diff := cmp.Diff(want, p.ThisSeason); diff != "" {
		t.Errorf("this season:\n%s", diff)
	}
	for _, e := range p.Stages[0].Effects {
		if days := e.DegreeDays / 10; !near(*e.Days, days, 0.06) {
			t.Errorf("%s: %v °C·d are %v days, want %v", e.Effect, e.DegreeDays, *e.Days, days)
		}
	}
}

func round2(x float64) float64 { return math.Round(100*x) / 100 }

func TestExplanationBeforeBloom(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	at := weather.DateOf(2018, time.March, 1)
	name := compute(t, in, at).Plantings[0].Planting
	x := explain(t, in, at, name)
	if x.Bloom.From != forecast.BloomForecast || x.DegreeDaysSinceBloom != nil || len(x.Days) != 0 || len(x.Ahead) == 0 || len(x.Stages) != 3 {
		t.Errorf("bloom %+v, %v °C·d, %d days, %d ahead, %d stages", x.Bloom, x.DegreeDaysSinceBloom, len(x.Days), len(x.Ahead), len(x.Stages))
	}
	if x.Stages[0].Entered != nil {
		t.Error("that first ripe is not entered says nothing before bloom")
	}
}

func TestPlantingThatIsNotForecastIsExplainedByItsNotes(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	in.Plantings[1].Variety = "nobody's"
	x := explain(t, in, bloom+10, "q")
	if len(x.Stages) != 0 || x.Bloom != nil || x.Ripens != "" || !slices.ContainsFunc(x.Notes, func(n forecast.Note) bool { return n.Planting == "q" }) {
		t.Errorf("%+v", x)
	}
	if _, err := forecast.Explain(in, bloom+10, "r"); !errors.Is(err, forecast.ErrPlantingNotFound) {
		t.Errorf("no such planting: %v", err)
	}
}

func TestExplanationIsBlindToLaterRecords(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	name := compute(t, in, asOf).Plantings[5].Planting
	tell := func(in forecast.Inputs) string {
		b, err := json.Marshal(explain(t, in, asOf, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	want := tell(in)
	poisoned := in
	var days []weather.Day
	for _, d := range in.Records[0].Days.Days() {
		if d.Date >= asOf {
			d.Min, d.Max = 55, 60
		}
		days = append(days, d)
	}
	poisoned.Records = []forecast.Record{{Station: in.Records[0].Station, Days: series(t, days)}}
	poisoned.Sightings = append(slices.Clone(in.Sightings), saw(name, forecast.FirstRipe, asOf+1, true))
	if got := tell(poisoned); got != want {
		t.Errorf("later records changed the explanation:\n%s", cmp.Diff(want, got))
	}
	if got := tell(in); got != want {
		t.Error("two runs differ")
	}
}
