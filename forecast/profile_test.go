package forecast_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// trial is a farm whose seasons are grown by the model of requirements itself,
// with a linear base temperature that is known: degree-days are the mean of the
// extremes above it, with no cutoff, summed here and not by the forecaster.
type trial struct {
	base, use float64 // °C: the truth, and what the farm uses.
	seasons   int
	plantings int // Each of a variety of its own.
	seed      uint64
	season    float64 // Sd of the log requirement, shared by a season.
	own       float64 // Sd of what is left to a planting in a season.
}

// meanAbove returns the degree-days of a day, °C·d.
func meanAbove(d weather.Day, base float64) float64 { return max(0, (d.Min+d.Max)/2-base) }

// firstDay returns the first day after from by the end of which the degree-days
// reach need; days have no holes.
func firstDay(days []weather.Day, from weather.Date, base, need float64) weather.Date {
	for _, d := range days[from+1-days[0].Date:] {
		if need -= meanAbove(d, base); need <= 0 {
			return d.Date
		}
	}
	panic("not reached")
}

// fahrenheit returns x °F in °C, as far as floats go.
func fahrenheit(x float64) float64 { return (x - 32) * 5 / 9 }

func average(base float64) forecast.Method {
	return forecast.Method{Kind: forecast.Average, Base: base, Cutoff: forecast.NoCutoff}
}

// grow returns the farm and a morning after its last harvest, in seasons that
// begin between 1978 and 2007.
func (x trial) grow(tb testing.TB) (forecast.Inputs, weather.Date) {
	tb.Helper()
	days := annArbor(tb)
	s, err := weather.NewSeries(days)
	if err != nil {
		tb.Fatal(err)
	}
	whole, _ := forecast.Filled(s, days[0].Date, days[len(days)-1].Date)
	in := forecast.Inputs{
		Farm:    forecast.Farm{ID: "f", Name: "F", Latitude: 42, TimeZone: "America/Detroit", Units: forecast.Metric},
		Records: []forecast.Record{{Station: weather.Station{ID: "s"}, Days: s}},
		Choice:  &forecast.MethodChoice{Method: average(x.use)},
	}
	first := 1978 + int(x.seed%30)
	r := rand.New(rand.NewPCG(x.seed, 7))
	effect := func(sd float64) (e [3]float64) {
		common := r.NormFloat64()
		for s := range e {
			e[s] = sd * (math.Sqrt(0.9)*common + math.Sqrt(0.1)*r.NormFloat64())
		}
		return e
	}
	var of [][3]float64
	for i := range x.plantings {
		id := fmt.Sprintf("p%02d", i)
		in.Varieties = append(in.Varieties, forecast.Variety{ID: id, Name: id, Ripens: forecast.Class(i % 6)})
		in.Plantings = append(in.Plantings, forecast.Planting{
			ID: id, Variety: id, Block: "b", Station: "s", PlantedOn: weather.DateOf(first-2, time.April, 1), AreaM2: 1000, KgPerM2: 1,
		})
		of = append(of, effect(0.05))
	}
	for y := first; y < first+x.seasons; y++ {
		season, spring := effect(x.season), 8*r.NormFloat64()
		for i, p := range in.Plantings {
			see := func(st forecast.Stage, d weather.Date) {
				in.Sightings = append(in.Sightings, forecast.Sighting{Planting: p.ID, Stage: st, Date: d, Seen: true})
			}
			bloom := weather.DateOf(y, time.May, 12) + weather.Date(math.Round(spring+1.5*float64(i%6)+2*r.NormFloat64()))
			see(forecast.Bloom10, bloom)
			own, last := effect(x.own), bloom
			for k, above3 := range [3]float64{345, 405, 495} {
				// The requirements of a mid variety, taken over to the base by the
				// days they take.
				need := above3 + 15*float64(i%6-2) - [3]float64{31.5, 35.5, 41.5}[k]*(x.base-3)
				need *= math.Exp(of[i][k] + season[k] + own[k])
				last = max(last+1, firstDay(whole, bloom, x.base, need))
				see(forecast.FirstRipe+forecast.Stage(k), last)
			}
		}
	}
	return in, weather.DateOf(first+x.seasons-1, time.December, 1)
}

func profile(tb testing.TB, in forecast.Inputs, asOf weather.Date, opt forecast.ProfileOptions) *forecast.MethodProfile {
	tb.Helper()
	p, err := forecast.Profile(in, asOf, opt)
	if err != nil {
		tb.Fatal(err)
	}
	return p
}

// bases returns a grid.
func bases(from, to, step float64) (bs []float64) {
	for b := from; b <= to+step/2; b += step {
		bs = append(bs, b)
	}
	return bs
}

// justAverage profiles the kind by which trials are grown.
func justAverage(from, to, step float64) forecast.ProfileOptions {
	return forecast.ProfileOptions{Kinds: []forecast.Kind{forecast.Average}, Bases: bases(from, to, step)}
}

// leastBase returns the base of least RMSE by one kind.
func leastBase(c forecast.ProfileCurve) float64 {
	return slices.MinFunc(c.Points, func(a, b forecast.ProfilePoint) int {
		if a.RMSE < b.RMSE {
			return -1
		}
		return 1
	}).Method.Base
}

// Where nothing is left to chance, only that dates are whole days, the least
// error lies at the true base.
func TestProfileFindsTheBaseExactlyWithoutChance(t *testing.T) {
	t.Parallel()
	unwatched(t)
	for _, base := range []float64{0, 2, 4, 6} {
		in, asOf := trial{base: base, use: 3, seasons: 15, plantings: 5, seed: 4}.grow(t)
		p := profile(t, in, asOf, justAverage(-1, 7, 0.5))
		if got := leastBase(p.Curves[0]); got != base {
			t.Errorf("least error at %v °C, the truth is %v", got, base)
		}
		if least := p.Curves[0].Points[slices.Index(bases(-1, 7, 0.5), base)].RMSE; !(least < 0.4) {
			t.Errorf("an error of %v days at the truth, %v °C", least, base)
		}
	}
}

// With chance the base is found without bias: over many farms the mean of the
// bases found is within two of its standard errors of the truth. The grid
// goes so far beyond that its ends do not push.
func TestProfileFindsTheBaseWithoutBias(t *testing.T) {
	t.Parallel()
	unwatched(t)
	const farms = 16
	for _, base := range []float64{0, 2, 4, 6} {
		var sum, squares float64
		for seed := range uint64(farms) {
			in, asOf := trial{base: base, use: 3, seasons: 8, plantings: 4, seed: seed, season: 0.01, own: 0.02}.grow(t)
			b := leastBase(profile(t, in, asOf, justAverage(base-6, base+4, 1)).Curves[0])
			sum += b
			squares += b * b
		}
		mean := sum / farms
		se := math.Sqrt((squares/farms - mean*mean) / (farms - 1))
		t.Logf("truth %v °C: mean %.2f, standard error %.2f", base, mean, se)
		if !near(mean, base, 2*se) || !(se < 0.5) {
			t.Errorf("truth %v °C: mean of %d farms %.2f, standard error %.2f", base, farms, mean, se)
		}
	}
}

// steady returns a farm with one planting and seasons of constant temperature,
// x[i] °C in season i, in which the fruit was first ripe d[i] days after bloom.
func steady(tb testing.TB, x []float64, d []int) (forecast.Inputs, weather.Date) {
	tb.Helper()
	const first = 1990
	var days []weather.Day
	in := forecast.Inputs{
		Farm:      forecast.Farm{ID: "f", Name: "F", Latitude: 42, TimeZone: "America/Detroit", Units: forecast.Metric},
		Varieties: []forecast.Variety{{ID: "v", Name: "V", Ripens: forecast.Mid}},
		Plantings: []forecast.Planting{{ID: "p", Variety: "v", Block: "b", Station: "s", PlantedOn: weather.DateOf(first-2, 4, 1), AreaM2: 1, KgPerM2: 1}},
		Choice:    &forecast.MethodChoice{Method: average(3)},
	}
	for i := range x {
		from, to := forecast.SeasonBounds(first+i, false)
		for day := from; day <= to; day++ {
			days = append(days, flat(day, x[i]))
		}
		bloom := weather.DateOf(first+i, time.May, 10)
		in.Sightings = append(in.Sightings, see(forecast.Bloom10, bloom), see(forecast.FirstRipe, bloom+weather.Date(d[i])))
	}
	s, err := weather.NewSeries(days)
	if err != nil {
		tb.Fatal(err)
	}
	in.Records = []forecast.Record{{Station: weather.Station{ID: "s"}, Days: s}}
	return in, weather.DateOf(first+len(x)-1, time.December, 1)
}

// phase is how long the phases took at which temperature.
type phase struct{ x, d, t []float64 } // °C, days, °C·d above 0 °C.

func mean(xs []float64) (m float64) {
	for _, x := range xs {
		m += x / float64(len(xs))
	}
	return m
}

func cov(a, b []float64) (c float64) {
	for i := range a {
		c += (a[i] - mean(a)) * (b[i] - mean(b)) / float64(len(a))
	}
	return c
}

// newPhase takes whole days after bloom: a stage dated to a day came during it,
// on the average in its middle.
func newPhase(x []float64, d []int) (p phase) {
	for i := range x {
		p.x, p.d = append(p.x, x[i]), append(p.d, float64(d[i])-0.5)
		p.t = append(p.t, x[i]*p.d[i])
	}
	return p
}

// The classical closed forms of a base, with t = x d, after Yang, Logan and
// Coffey (1995), Agric. For. Meteorol. 74, 61-74; derived anew.
var closedForms = []struct {
	name string
	base func(phase) float64
}{
	{"least sd of degree-days", func(p phase) float64 { return cov(p.t, p.d) / cov(p.d, p.d) }},
	{"least sd in days (Arnold)", arnold},
	{"least relative sd of degree-days", func(p phase) float64 {
		w := mean(p.t) / mean(p.d)
		return (cov(p.t, p.d)*w - cov(p.t, p.t)) / (cov(p.d, p.d)*w - cov(p.t, p.d))
	}},
	{"degree-days do not depend on temperature", func(p phase) float64 { return cov(p.t, p.x) / cov(p.d, p.x) }},
	{"rate of development at zero", func(p phase) float64 {
		var rate []float64
		for _, d := range p.d {
			rate = append(rate, 1/d)
		}
		return mean(p.x) - mean(rate)*cov(p.x, p.x)/cov(rate, p.x)
	}},
}

func arnold(p phase) float64 {
	b, x := cov(p.t, p.d), mean(p.x)
	return (b*x - cov(p.t, p.t)) / (cov(p.d, p.d)*x - b)
}

// Four phases worked by hand: 12, 14, 16 and 18 °C took 40, 33, 27 and 24 days.
func TestClosedFormsOfABase(t *testing.T) {
	t.Parallel()
	p := phase{x: []float64{12, 14, 16, 18}, d: []float64{40, 33, 27, 24}}
	for i := range p.x {
		p.t = append(p.t, p.x[i]*p.d[i])
	}
	for i, want := range []float64{3.2800, 3.2406, 3.2391, 3.2222, 3.1899} {
		if got := closedForms[i].base(p); !near(got, want, 5e-5) {
			t.Errorf("%s: %v °C, want %v", closedForms[i].name, got, want)
		}
	}
}

// Development that takes exactly 330 °C·d above 4 °C.
func TestProfileOfExactPhases(t *testing.T) {
	t.Parallel()
	var x []float64
	d := []int{22, 25, 28, 30, 33, 36, 40, 45}
	for _, n := range d {
		x = append(x, 4+330/(float64(n)-0.5))
	}
	p := newPhase(x, d)
	for _, f := range closedForms {
		if got := f.base(p); !near(got, 4, 1e-9) {
			t.Errorf("%s: %v °C, want 4", f.name, got)
		}
	}
	in, asOf := steady(t, x, d)
	c := profile(t, in, asOf, justAverage(0, 7, 0.5)).Curves[0]
	for _, q := range c.Points {
		if (q.Method.Base == 4) != (q.RMSE == 0) {
			t.Errorf("above %v °C: an error of %v days", q.Method.Base, q.RMSE)
		}
	}
	if got := leastBase(c); got != 4 {
		t.Errorf("least error at %v °C, want 4", got)
	}
}

// Arnold (1959) takes the base at which degree-days vary least when they are
// read as days. With constant temperatures that is a closed form, and the
// profile must agree with it to a step of its grid. The phases lie about 13.95
// °C and 31.5 days, where what is assumed of a mid variety above any base is
// 31.5 days too: so the prior says nothing about the base.
func TestProfileAgreesWithArnold(t *testing.T) {
	t.Parallel()
	unwatched(t)
	for _, truth := range []float64{1, 3, 5} {
		r := rand.New(rand.NewPCG(5, 5))
		var x []float64
		var d []int
		for range 40 {
			c := 13.95 + 2*r.NormFloat64()
			x = append(x, c)
			d = append(d, int(math.Round(31.5*(13.95-truth)/(c-truth)*math.Exp(0.03*r.NormFloat64())+0.5)))
		}
		in, asOf := steady(t, x, d)
		want := arnold(newPhase(x, d))
		got := leastBase(profile(t, in, asOf, justAverage(truth-1.5, truth+1.5, 0.25)).Curves[0])
		t.Logf("truth %v: profile %v, Arnold %.3f", truth, got, want)
		if !near(got, want, 0.5) {
			t.Errorf("truth %v °C: least error at %v °C, by the closed form at %v", truth, got, want)
		}
	}
}

// The whole way of one planting, worked out apart: with three other seasons the
// sd are the defaults, and the posterior of one stage is a weighted mean of the
// prior and the logs of the heat that the others took.
func TestProfileByHand(t *testing.T) {
	t.Parallel()
	in, asOf := trial{base: 2, use: 5, seasons: 4, plantings: 1, seed: 11, season: 0.05, own: 0.05}.grow(t)
	in.Sightings = slices.DeleteFunc(in.Sightings, func(s forecast.Sighting) bool {
		return s.Stage == forecast.Peak || s.Stage == forecast.LastPick
	})
	s := in.Records[0].Days
	first, last, _ := s.Span()
	days, _ := forecast.Filled(s, first, last)
	heat := func(base float64, from, to weather.Date) (h float64) {
		for d := from + 1; d <= to; d++ {
			h += meanAbove(days[d-first], base)
		}
		return h
	}
	type year struct{ bloom, ripe weather.Date }
	var ys []year
	for i := 0; i < len(in.Sightings); i += 2 {
		ys = append(ys, year{in.Sightings[i].Date, in.Sightings[i+1].Date})
	}
	p := profile(t, in, asOf, justAverage(-2, 8, 0.5))
	if len(p.Seasons) != 4 || p.Cases != 4 || len(p.Curves) != 1 || len(p.Curves[0].Points) != 21 {
		t.Fatalf("%d seasons, %d dates, %d curves", len(p.Seasons), p.Cases, len(p.Curves))
	}
	for _, q := range p.Curves[0].Points {
		base := q.Method.Base
		var sum, abs, squares float64
		for out, y := range ys {
			mu := math.Log(345 - 30 - 31.5*(base-3)) // An early variety.
			prior := 1 / (0.12*0.12 + 0.02*0.02)     // Its own and its planting's.
			top, weight := mu*prior, prior
			for i, o := range ys {
				if i == out {
					continue
				}
				dd := heat(base, o.ripe-1, o.ripe)
				n := heat(base, o.bloom, o.ripe-1) + dd/2
				bloom := heat(base, o.bloom-1, o.bloom) / n // For one day.
				dated := max(dd/math.Sqrt(12)/n, 0.002)
				w := 1 / (0.06*0.06 + 0.04*0.04 + bloom*bloom + dated*dated)
				top, weight = top+w*math.Log(n), weight+w
			}
			e := float64(firstDay(days, y.bloom, base, math.Exp(top/weight)) - y.ripe)
			sum, abs, squares = sum+e, abs+math.Abs(e), squares+e*e
			if got := q.BySeason[out]; got != (forecast.SeasonError{Season: y.ripe.Year(), Cases: 1, Sum: e, SumAbs: math.Abs(e), SumOfSquares: e * e}) {
				t.Errorf("above %v °C: %+v, want an error of %v days", base, got, e)
			}
		}
		if !near(q.Bias, sum/4, 1e-12) || !near(q.MAE, abs/4, 1e-12) || !near(q.RMSE, math.Sqrt(squares/4), 1e-12) {
			t.Errorf("above %v °C: bias %v, MAE %v, RMSE %v, want %v, %v, %v", base, q.Bias, q.MAE, q.RMSE, sum/4, abs/4, math.Sqrt(squares/4))
		}
	}
}

// A season that is left out really is: whatever was seen of its fruit, and of
// its full bloom where its first flowers are on record, its dates do not move.
func TestSeasonLeftOutHasNoPart(t *testing.T) {
	t.Parallel()
	in, asOf := trial{base: 3, use: 3, seasons: 6, plantings: 4, seed: 3, season: 0.03, own: 0.03}.grow(t)
	// Of p00 full bloom alone is on record; the others tell how long it takes.
	for i, s := range in.Sightings {
		switch {
		case s.Stage != forecast.Bloom10:
		case s.Planting == "p00":
			in.Sightings[i].Stage = forecast.BloomFull
		default:
			in.Sightings = append(in.Sightings, forecast.Sighting{Planting: s.Planting, Stage: forecast.BloomFull, Date: s.Date + 6, Seen: true})
		}
	}
	out := asOf.Year() - 3
	for name, poison := range map[string]func(*forecast.Sighting){
		"fruit": func(s *forecast.Sighting) {
			if s.Stage >= forecast.FirstRipe {
				s.Date += 9
			}
		},
		"full bloom": func(s *forecast.Sighting) {
			if s.Stage == forecast.BloomFull && s.Planting != "p00" {
				s.Date += 30
			}
		},
	} {
		poisoned := in
		poisoned.Sightings = slices.Clone(in.Sightings)
		for i, s := range in.Sightings {
			if s.Date.Year() == out {
				poison(&poisoned.Sightings[i])
			}
		}
		for _, m := range []forecast.Method{average(1), average(6), forecast.DefaultMethod} {
			moved := 0
			for season := out - 2; season <= out+2; season++ {
				was, err := forecast.Redated(in, asOf, m, season)
				if err != nil {
					t.Fatal(err)
				}
				is, err := forecast.Redated(poisoned, asOf, m, season)
				if err != nil {
					t.Fatal(err)
				}
				if len(was) != 4 {
					t.Fatalf("%d plantings in %d", len(was), season)
				}
				switch {
				case reflect.DeepEqual(was, is):
				case season == out:
					t.Errorf("%s: the %s of %d moves the dates of that season from %v to %v", m, name, out, was, is)
				default:
					moved++
				}
			}
			if moved == 0 { // The test can fail.
				t.Errorf("%s: the %s of %d moves no date of any season", m, name, out)
			}
		}
	}
}

func TestProfileIsTheSameEveryTime(t *testing.T) {
	t.Parallel()
	in, asOf := trial{base: 3, use: 3, seasons: 6, plantings: 3, seed: 3, season: 0.03, own: 0.03}.grow(t)
	a, b := profile(t, in, asOf, forecast.ProfileOptions{}), profile(t, in, asOf, forecast.ProfileOptions{})
	if !reflect.DeepEqual(a, b) {
		t.Error("two runs differ")
	}
	// Neither does it depend on the order in which things were recorded.
	slices.Reverse(in.Sightings)
	slices.Reverse(in.Plantings)
	if c := profile(t, in, asOf, forecast.ProfileOptions{}); !reflect.DeepEqual(a, c) {
		t.Error("the order of the inputs matters")
	}
}

// What is dated later has no part; a season counts from when its harvest is
// over, 92 days before its end.
func TestProfileSeesWhatTheMorningSees(t *testing.T) {
	t.Parallel()
	in, asOf := trial{base: 3, use: 3, seasons: 5, plantings: 2, seed: 3, season: 0.03, own: 0.03}.grow(t)
	end := weather.DateOf(asOf.Year(), time.December, 31)
	opt := justAverage(2, 4, 1)
	whole := profile(t, in, end-91, opt)
	if len(whole.Seasons) != 5 || whole.AsOf != end-91 {
		t.Errorf("on the first morning after harvest: seasons %v", whole.Seasons)
	}
	before := profile(t, in, end-92, opt)
	if !slices.Equal(before.Seasons, whole.Seasons[:4]) {
		t.Errorf("the morning before: seasons %v", before.Seasons)
	}
	past := in
	past.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool { return s.Date.Year() == asOf.Year() })
	if without := profile(t, past, end-92, opt); !reflect.DeepEqual(without, before) {
		t.Error("a season that is not over has a part")
	}
	if of := profile(t, in, weather.DateOf(whole.Seasons[2], time.March, 1), opt); !slices.Equal(of.Seasons, whole.Seasons[:2]) {
		t.Errorf("as of the third spring: seasons %v", of.Seasons)
	}
}

// South of the equator the seasons cross New Year and all else is the same.
func TestProfileInTheSouth(t *testing.T) {
	t.Parallel()
	x := []float64{13, 14.5, 16, 13.5, 15, 17}
	d := []int{33, 30, 26, 33, 29, 22}
	in, asOf := steady(t, x, d)
	north := profile(t, in, asOf, justAverage(0, 7, 1))
	const half = 184
	in.Farm.Latitude = -42
	for i := range in.Sightings {
		in.Sightings[i].Date -= half
	}
	var days []weather.Day
	for _, day := range in.Records[0].Days.Days() {
		day.Date -= half
		days = append(days, day)
	}
	in.Records[0].Days = series(t, days)
	in.Plantings[0].PlantedOn -= half
	south := profile(t, in, asOf-half, justAverage(0, 7, 1))
	if !reflect.DeepEqual(south.Curves, north.Curves) || !slices.Equal(south.Seasons, north.Seasons) {
		t.Errorf("seasons %v and %v, curves\n%+v\n%+v", north.Seasons, south.Seasons, north.Curves, south.Curves)
	}
}

func TestProfileLeavesOut(t *testing.T) {
	t.Parallel()
	in, asOf := trial{base: 3, use: 3, seasons: 6, plantings: 4, seed: 3, season: 0.03, own: 0.03}.grow(t)
	opt := justAverage(2, 4, 1)
	all := profile(t, in, asOf, opt)
	if all.LeftOut != (forecast.LeftOut{}) || all.Cases != 6*4*3 {
		t.Errorf("%d dates, left out %+v", all.Cases, all.LeftOut)
	}
	first := all.Seasons[0]

	t.Run("varieties with a requirement of their own", func(t *testing.T) {
		t.Parallel()
		own, without := in, in
		own.Varieties = slices.Clone(in.Varieties)
		own.Varieties[1].Requirement = &forecast.Requirement{FirstRipe: 300, Peak: 350, LastPick: 430, Method: forecast.DefaultMethod}
		p := profile(t, own, asOf, opt)
		if p.LeftOut.OwnMethod != 1 || p.Cases != 6*3*3 {
			t.Errorf("%d dates, left out %+v", p.Cases, p.LeftOut)
		}
		without.Varieties = slices.Delete(slices.Clone(in.Varieties), 1, 2)
		if q := profile(t, without, asOf, opt); !reflect.DeepEqual(q.Curves, p.Curves) {
			t.Error("they have a part all the same")
		}
	})
	t.Run("plantings without bloom", func(t *testing.T) {
		t.Parallel()
		some := in
		some.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool {
			return s.Planting == "p02" && s.Stage == forecast.Bloom10 && s.Date.Year() == first
		})
		if p := profile(t, some, asOf, opt); p.LeftOut != (forecast.LeftOut{NoBloom: 1}) || p.Cases != all.Cases-3 {
			t.Errorf("%d dates, left out %+v", p.Cases, p.LeftOut)
		}
	})
	t.Run("seasons without weather", func(t *testing.T) {
		t.Parallel()
		some := in
		from, to := forecast.SeasonBounds(first, false)
		some.Records = []forecast.Record{{Station: in.Records[0].Station, Days: series(t, drop(slices.Clone(in.Records[0].Days.Days()), from, to))}}
		if p := profile(t, some, asOf, opt); p.LeftOut != (forecast.LeftOut{NoWeather: 4}) || p.Cases != all.Cases-12 || len(p.Seasons) != 5 {
			t.Errorf("%d dates, seasons %v, left out %+v", p.Cases, p.Seasons, p.LeftOut)
		}
	})
	t.Run("dates with more than a tenth of the days before them filled", func(t *testing.T) {
		t.Parallel()
		x, d := []float64{13, 14, 15}, []int{40, 36, 33}
		for _, tt := range []struct{ hole, cases int }{{4, 3}, {5, 2}} {
			some, asOf := steady(t, x, d)
			bloom := weather.DateOf(1990, time.May, 10)
			some.Records[0].Days = series(t, drop(slices.Clone(some.Records[0].Days.Days()), bloom+5, bloom+4+weather.Date(tt.hole)))
			p := profile(t, some, asOf, opt)
			if p.Cases != tt.cases || p.LeftOut != (forecast.LeftOut{NoWeather: 3 - tt.cases}) {
				t.Errorf("%d of 40 days filled: %d dates, left out %+v", tt.hole, p.Cases, p.LeftOut)
			}
		}
	})
	t.Run("but not what a stand-in has seen", func(t *testing.T) {
		t.Parallel()
		lent, asOf := steady(t, []float64{13, 14, 15}, []int{40, 36, 33})
		there := forecast.Record{Station: weather.Station{ID: "u"}, Days: lent.Records[0].Days}
		bloom := weather.DateOf(1990, time.May, 10)
		lent.Records[0].Days = series(t, drop(slices.Clone(there.Days.Days()), bloom+5, bloom+24))
		lent.Records[0].Station.StandIn = "u"
		lent.Records = append(lent.Records, there)
		if p := profile(t, lent, asOf, opt); p.Cases != 3 || p.LeftOut != (forecast.LeftOut{}) {
			t.Errorf("%d dates, left out %+v", p.Cases, p.LeftOut)
		}
	})
	t.Run("stages not after bloom", func(t *testing.T) {
		t.Parallel()
		some := in
		some.Sightings = slices.Clone(in.Sightings)
		some.Sightings[1].Date = some.Sightings[0].Date // First ripe on the day of bloom.
		if p := profile(t, some, asOf, opt); p.Cases != all.Cases-1 {
			t.Errorf("%d dates, want %d", p.Cases, all.Cases-1)
		}
	})
}

func TestProfileOfAFarmWithoutPastSeasons(t *testing.T) {
	t.Parallel()
	in, asOf := trial{base: 3, use: 3, seasons: 1, plantings: 2, seed: 3}.grow(t)
	p := profile(t, in, asOf-300, forecast.ProfileOptions{})
	if p.Cases != 0 || len(p.Curves) != 0 || p.Proposed != nil || p.InUse.Method != average(3) ||
		p.Finding != "Nothing is proposed: 0 past seasons are on record, and 6 are needed." {
		t.Errorf("%+v", p)
	}
	// One season is dated from the prior alone, and has no others to be drawn with.
	p = profile(t, in, asOf, forecast.ProfileOptions{})
	if p.Cases != 6 || p.InUse.RMSERange != nil || p.InUse.GainRange != nil || p.Proposed != nil || p.ChosenBlind() != 0 ||
		p.Finding != "Nothing is proposed: 1 past season is on record, and 6 are needed." {
		t.Errorf("%+v", p)
	}
}

func TestGridHoldsTheMethodInUse(t *testing.T) {
	t.Parallel()
	in, asOf := trial{base: 3, use: 3, seasons: 2, plantings: 1, seed: 3}.grow(t)
	usual := bases(0, 7, 0.5)
	for _, tt := range []struct {
		name  string
		use   forecast.Method
		opt   forecast.ProfileOptions
		kinds []forecast.Kind
		first []float64 // Bases of the first curve and of the others.
		rest  []float64
	}{
		{"the default", forecast.DefaultMethod, forecast.ProfileOptions{},
			[]forecast.Kind{forecast.SingleSine, forecast.Average, forecast.DoubleSine}, usual, usual},
		{"its kind comes first and a base of its own with it", forecast.Method{Kind: forecast.Average, Base: 10, Cutoff: forecast.NoCutoff}, forecast.ProfileOptions{},
			[]forecast.Kind{forecast.Average, forecast.SingleSine, forecast.DoubleSine}, append(slices.Clone(usual), 10), usual},
		{"no more than three curves", forecast.Method{Kind: forecast.DoubleTriangle, Base: 3, Upper: 28, Cutoff: forecast.Vertical}, forecast.ProfileOptions{},
			[]forecast.Kind{forecast.DoubleTriangle, forecast.SingleSine, forecast.Average}, usual, usual},
		{"bases below the cutoff only", forecast.Method{Kind: forecast.SingleSine, Base: 1.25, Upper: 2, Cutoff: forecast.Horizontal}, forecast.ProfileOptions{},
			[]forecast.Kind{forecast.SingleSine, forecast.Average, forecast.DoubleSine}, []float64{0, 0.5, 1, 1.25, 1.5}, []float64{0, 0.5, 1, 1.5}},
		{"37.4 °F is 3 °C", forecast.Method{Kind: forecast.SingleSine, Base: fahrenheit(37.4), Cutoff: forecast.NoCutoff},
			forecast.ProfileOptions{Kinds: []forecast.Kind{forecast.SingleSine}, Bases: []float64{2, 3}},
			[]forecast.Kind{forecast.SingleSine}, []float64{2, fahrenheit(37.4)}, nil},
	} {
		in.Choice = &forecast.MethodChoice{Method: tt.use}
		p := profile(t, in, asOf, tt.opt)
		var kinds []forecast.Kind
		for i, c := range p.Curves {
			kinds = append(kinds, c.Kind)
			want := tt.rest
			if i == 0 {
				want = tt.first
			}
			var got []float64
			for _, q := range c.Points {
				got = append(got, q.Method.Base)
				if m := q.Method; m.Kind != c.Kind || m.Upper != tt.use.Upper || m.Cutoff != tt.use.Cutoff {
					t.Errorf("%s: %s is compared with %s", tt.name, m, tt.use)
				}
			}
			if !slices.Equal(got, want) {
				t.Errorf("%s: bases by %s are %v, want %v", tt.name, c.Kind, got, want)
			}
		}
		if !slices.Equal(kinds, tt.kinds) {
			t.Errorf("%s: kinds %v, want %v", tt.name, kinds, tt.kinds)
		}
		if p.InUse.Method != tt.use || p.InUse.Gain != 0 || *p.InUse.GainRange != (forecast.DayRange{}) || len(p.InUse.BySeason) != 2 {
			t.Errorf("%s: in use is %+v", tt.name, p.InUse)
		}
	}
	for name, opt := range map[string]forecast.ProfileOptions{
		"not a kind": {Kinds: []forecast.Kind{"sine"}}, "too hot": {Bases: []float64{3, 21}}, "not a number": {Bases: []float64{math.NaN()}},
		"falling": {Bases: []float64{3, 2}}, "twice": {Bases: []float64{3, 3}},
	} {
		if _, err := forecast.Profile(in, asOf, opt); !errors.Is(err, forecast.ErrInvalid) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

// With five seasons nothing is proposed, however far off the method in use is.
func TestNothingIsProposedWithFiveSeasons(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		in, asOf := trial{base: 0, use: 7, seasons: 5, plantings: 4, seed: seed, own: 0.01}.grow(t)
		p := profile(t, in, asOf, justAverage(0, 7, 1))
		if p.Proposed != nil || p.Finding != "Nothing is proposed: 5 past seasons are on record, and 6 are needed." {
			t.Errorf("seed %d: %s", seed, p.Finding)
		}
	}
}

// Where the method in use is the true one, a proposal is a mistake: at most two
// in twenty farms, by two kinds and the usual bases.
func TestTheTrueMethodIsSeldomReplaced(t *testing.T) {
	t.Parallel()
	unwatched(t)
	mistakes := 0
	for seed := range uint64(20) {
		in, asOf := trial{base: 3, use: 3, seasons: 8, plantings: 3, seed: seed, season: 0.04, own: 0.03}.grow(t)
		opt := forecast.ProfileOptions{Kinds: []forecast.Kind{forecast.SingleSine, forecast.Average}}
		if p := profile(t, in, asOf, opt); p.Proposed != nil {
			t.Logf("seed %d: %s", seed, p.Finding)
			mistakes++
		}
	}
	if mistakes > 2 {
		t.Errorf("%d of 20 proposals are mistakes", mistakes)
	}
}

// Where the method in use is far off, ten seasons are enough to say so.
func TestABaseFarOffIsReplaced(t *testing.T) {
	t.Parallel()
	unwatched(t)
	for _, tt := range []struct{ base, use float64 }{{0, 7}, {7, 0}} {
		for seed := range uint64(8) {
			in, asOf := trial{base: tt.base, use: tt.use, seasons: 10, plantings: 4, seed: seed, season: 0.02, own: 0.02}.grow(t)
			p := profile(t, in, asOf, justAverage(0, 7, 1))
			if p.Proposed == nil || !near(p.Proposed.Method.Base, tt.base, 3) {
				t.Errorf("truth %v, in use %v, seed %d: %s", tt.base, tt.use, seed, p.Finding)
			}
		}
	}
}

// errs returns seasons of four dates each with the given RMSE, days.
func errs(rmse ...float64) (es []forecast.SeasonError) {
	for i, e := range rmse {
		es = append(es, forecast.SeasonError{Season: 2001 + i, Cases: 4, Sum: 4 * e, SumAbs: 4 * e, SumOfSquares: 4 * e * e})
	}
	return es
}

func six(e float64) []forecast.SeasonError { return errs(e, e, e, e, e, e) }

func TestWhenAMethodIsProposed(t *testing.T) {
	t.Parallel()
	type points = [][]forecast.SeasonError
	for _, tt := range []struct {
		name    string
		use     int
		curves  []points
		want    string // Method that is proposed.
		finding string // What it says, in part.
	}{
		{"a tenth of a day", 0, []points{{six(2), six(1.9)}}, "single sine above 1 °C", "Proposed: single sine above 1 °C in place of single sine above 0 °C. On 6 past seasons its error is 1.90 days instead of 2.00, that is 0.10 less; seasons drawn anew give 0.10 to 0.10 days, 9 times in 10. It lies at the end"},
		{"less than that", 0, []points{{six(2), six(1.91)}}, "", "an error of 1.91 days and the method in use, single sine above 0 °C, one of 2.00: less than a tenth"},
		{"five seasons", 0, []points{{errs(2, 2, 2, 2, 2), errs(1, 1, 1, 1, 1)}}, "", "5 past seasons are on record"},
		{"the one in use is best", 1, []points{{six(3), six(2), six(2.5)}}, "", "no other method is clearly better than the one in use, single sine above 1 °C, whose error on 6 past seasons is 2.00 days"},
		{"not at the end", 0, []points{{six(2), six(1), six(3)}}, "single sine above 1 °C", "9 times in 10."},
		{"a gain in three seasons, a loss in three", 0, []points{{six(2), errs(1, 1, 1, 2.3, 2.3, 2.3)}}, "", "an error 0.23 days less than the method in use, single sine above 0 °C, but that may be chance: seasons drawn anew give −"},
		// The last season's own gain is what decides for 1 °C; the others would
		// take 2 °C, which is the worst for it.
		{"a gain that is gone when chosen blindly", 0, []points{{six(2), errs(1.99, 1.99, 1.99, 1.99, 1.99, 0.1), errs(1.9, 1.9, 1.9, 1.9, 1.9, 2.9)}}, "", "less than a tenth of a day is left"},
		{"another kind that is clearly better", 0, []points{{six(2), six(1.9)}, {six(1.75)}}, "average above 0 °C", "Proposed"},
		{"another kind that is hardly better", 0, []points{{six(2), six(1.9)}, {six(1.85)}}, "single sine above 1 °C", "Proposed"},
		{"the best of other kinds", 0, []points{{six(2)}, {six(1.8), six(1.6)}, {six(1.5)}}, "double sine above 0 °C", "Proposed"},
		{"the best of other kinds comes first", 0, []points{{six(2)}, {six(1.5)}, {six(1.6)}}, "average above 0 °C", "Proposed"},
	} {
		p := forecast.ProfileOf(tt.use, forecast.Metric, tt.curves...)
		got := ""
		if p.Proposed != nil {
			got = fmt.Sprintf("%s above %g °C", p.Proposed.Method.Kind, p.Proposed.Method.Base)
		}
		if got != tt.want || !strings.Contains(p.Finding, tt.finding) || strings.HasPrefix(p.Finding, "Proposed") != (tt.want != "") {
			t.Errorf("%s: %q is proposed, want %q: %s", tt.name, got, tt.want, p.Finding)
		}
	}
	if p := forecast.ProfileOf(0, forecast.US, points{six(2), six(1)}); !strings.HasPrefix(p.Finding, "Proposed: single sine above 33.8 °F (1 °C) in place of single sine above 32 °F (0 °C).") {
		t.Errorf("for readers of °F: %s", p.Finding)
	}
}

// Two seasons, drawn anew: both once with probability ½, either twice with ¼
// each. So 90 % of the draws lie between the seasons' own figures.
func TestRangesDrawSeasonsAnew(t *testing.T) {
	t.Parallel()
	use := []forecast.SeasonError{{Season: 1, Cases: 1, SumOfSquares: 9}, {Season: 2, Cases: 3, SumOfSquares: 48}}
	other := []forecast.SeasonError{{Season: 1, Cases: 1, SumOfSquares: 16}, {Season: 2, Cases: 3, SumOfSquares: 3}}
	p := forecast.ProfileOf(0, forecast.Metric, [][]forecast.SeasonError{use, other})
	q := p.Curves[0].Points[1]
	if !near(q.RMSE, math.Sqrt(19.0/4), 1e-12) || !near(q.Gain, math.Sqrt(57.0/4)-math.Sqrt(19.0/4), 1e-12) {
		t.Errorf("RMSE %v, gain %v", q.RMSE, q.Gain)
	}
	if *q.RMSERange != (forecast.DayRange{Low: 1, High: 4}) || *q.GainRange != (forecast.DayRange{Low: -1, High: 3}) {
		t.Errorf("RMSE %v, gain %v", *q.RMSERange, *q.GainRange)
	}
	if r := *p.InUse.RMSERange; r != (forecast.DayRange{Low: 3, High: 4}) {
		t.Errorf("RMSE in use %v", r)
	}
	// Chosen on the other season: season 1 is dated by what is best on season 2
	// and the other way round.
	if got, want := p.ChosenBlind(), math.Sqrt(57.0/4)-math.Sqrt((16.0+48)/4); !near(got, want, 1e-12) {
		t.Errorf("chosen blindly: a gain of %v, want %v", got, want)
	}
	// Twenty seasons, of which one is off: it is drawn at least once in 1-(19/20)²⁰
	// = 64 % of the draws, so the lower end is without it and the upper one has it
	// twice or three times: binomially, 92 % of the draws have it at most twice,
	// 98 % at most three times.
	es := make([]forecast.SeasonError, 20)
	for i := range es {
		es[i] = forecast.SeasonError{Season: i, Cases: 1, SumOfSquares: 1}
	}
	es[7].SumOfSquares = 21
	r := *forecast.ProfileOf(0, forecast.Metric, [][]forecast.SeasonError{es}).InUse.RMSERange
	if !near(r.Low, 1, 1e-12) || !near(r.High, math.Sqrt((17+3*21)/20.0), 1e-12) {
		t.Errorf("range %v", r)
	}
	for i := range es { // The other way round it is the lower end that has it three times.
		es[i].SumOfSquares = 22 - es[i].SumOfSquares
	}
	r = *forecast.ProfileOf(0, forecast.Metric, [][]forecast.SeasonError{es}).InUse.RMSERange
	if !near(r.Low, math.Sqrt((17*21+3)/20.0), 1e-12) || !near(r.High, math.Sqrt(21), 1e-12) {
		t.Errorf("range %v", r)
	}
}

func TestProfileOfTheDemoFarm(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	p := profile(t, in, asOf, forecast.ProfileOptions{})
	if len(p.Seasons) != 10 || p.Cases != 300 || p.LeftOut != (forecast.LeftOut{}) {
		t.Errorf("seasons %v, %d dates, left out %+v", p.Seasons, p.Cases, p.LeftOut)
	}
	if !(1.5 < p.InUse.RMSE && p.InUse.RMSE < 3) || p.InUse.Method != forecast.DefaultMethod || p.Proposed != nil {
		t.Errorf("%s: RMSE %v days", p.InUse.Method, p.InUse.RMSE)
	}
	if !strings.HasPrefix(p.Basis, "Leave-one-season-out: the 300 dates of 10 past seasons") {
		t.Errorf("basis: %s", p.Basis)
	}
}

// BenchmarkProfile profiles ten seasons of twelve plantings by the usual grid.
func BenchmarkProfile(b *testing.B) {
	in, asOf := trial{base: 3, use: 3, seasons: 10, plantings: 12, seed: 12, season: 0.02, own: 0.03}.grow(b)
	for b.Loop() {
		profile(b, in, asOf, forecast.ProfileOptions{})
	}
}
