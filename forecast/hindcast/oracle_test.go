package hindcast_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/weather"
)

// oracle works baselines out again from the raw inputs: maps in place of
// running sums, one date after the other, and matrices for the regression.
type oracle struct {
	in   forecast.Inputs
	days map[weather.Date]weather.Day
	on   map[string]map[int]map[forecast.Stage]weather.Date // By planting, season and stage.
}

func newOracle(in forecast.Inputs) oracle {
	o := oracle{in, map[weather.Date]weather.Day{}, map[string]map[int]map[forecast.Stage]weather.Date{}}
	for _, d := range in.Records[0].Days.Days() {
		o.days[d.Date] = d
	}
	for _, s := range in.Sightings {
		y := s.Date.Year()
		if o.on[s.Planting] == nil {
			o.on[s.Planting] = map[int]map[forecast.Stage]weather.Date{}
		}
		if o.on[s.Planting][y] == nil {
			o.on[s.Planting][y] = map[forecast.Stage]weather.Date{}
		}
		o.on[s.Planting][y][s.Stage] = s.Date
	}
	return o
}

func sineHeat(d weather.Day) float64 {
	return forecast.Method{Kind: forecast.SingleSine, Base: 3, Upper: 30, Cutoff: forecast.Horizontal}.DegreeDays(d.Min, d.Max, d.Min)
}

func middle(d weather.Day) float64 { return (d.Min + d.Max) / 2 }

// usual is the mean of f on d's month and day over the years before season,
// d's own left out if it is one of them.
func (o oracle) usual(d weather.Date, season int, f func(weather.Day) float64) float64 {
	sum, n := 0.0, 0.0
	for y := 1970; y < season; y++ {
		if x, ok := o.days[d.InYear(y)]; ok && y != d.Year() {
			sum, n = sum+f(x), n+1
		}
	}
	return sum / n
}

// at is f of d when days before known are observed.
func (o oracle) at(d, known weather.Date, season int, f func(weather.Day) float64) float64 {
	if x, ok := o.days[d]; ok && d < known {
		return f(x)
	}
	return o.usual(d, season, f)
}

// when is the fractional date on which the heat after bloom reaches need.
func (o oracle) when(bloom, known weather.Date, season int, need float64) float64 {
	for d := bloom + 1; ; d++ {
		h := o.at(d, known, season, sineHeat)
		if need <= h {
			return float64(d) + need/h - 0.5
		}
		need -= h
	}
}

const never = weather.Date(1 << 20)

// need is the heat of a past planting and season.
func (o oracle) need(bloom, on weather.Date, season int) (sum float64) {
	for d := bloom + 1; d < on; d++ {
		sum += o.at(d, never, season, sineHeat)
	}
	return sum + o.at(on, never, season, sineHeat)/2
}

func (o oracle) temp(bloom, known weather.Date, season, window int) (t float64) {
	for d := bloom + 1; d <= bloom+weather.Date(window); d++ {
		t += o.at(d, known, season, middle) / float64(window)
	}
	return t
}

// past returns the means of f over the plantings of a variety, by season.
func (o oracle) past(variety string, before int, stage forecast.Stage, f func(bloom, on weather.Date) float64) (out []float64) {
	for y := 1990; y < before; y++ {
		sum, n := 0.0, 0.0
		for _, p := range o.in.Plantings {
			m := o.on[p.ID][y]
			if p.Variety == variety && m != nil {
				sum, n = sum+f(m[forecast.Bloom10], m[stage]), n+1
			}
		}
		if n > 0 {
			out = append(out, sum/n)
		}
	}
	return out
}

func average(xs []float64) (m float64) {
	for _, x := range xs {
		m += x / float64(len(xs))
	}
	return m
}

func (o oracle) usualHeat(c hindcast.Case) (mean, sd float64) {
	bloom := o.on[c.Planting][c.Season][forecast.Bloom10]
	need := average(o.past(c.Variety, c.Season, c.Stage, func(b, on weather.Date) float64 { return o.need(b, on, c.Season) }))
	off := o.past(c.Variety, c.Season, c.Stage, func(b, on weather.Date) float64 {
		return o.when(b, b+(c.AsOf-bloom), c.Season, need) - float64(on)
	})
	ss, n := 0.0, float64(len(off))
	for _, x := range off {
		ss += x * x
	}
	return o.when(bloom, c.AsOf, c.Season, need), max(1, math.Sqrt(ss/(n-1)*(1+1/n)))
}

// meanTemperature solves the whole regression at once, with a column for each
// variety and one for temperature.
func (o oracle) meanTemperature(c hindcast.Case) (mean, sd float64) {
	window := map[forecast.Stage]int{forecast.FirstRipe: 30, forecast.Peak: 34, forecast.LastPick: 39}[c.Stage]
	bloom := o.on[c.Planting][c.Season][forecast.Bloom10]
	var x, later, y []float64
	vs := []string{"a", "b", "c"}
	for i, v := range vs {
		days := o.past(v, c.Season, c.Stage, func(b, on weather.Date) float64 { return float64(on - b) })
		full := o.past(v, c.Season, c.Stage, func(b, _ weather.Date) float64 { return o.temp(b, never, c.Season, window) })
		then := o.past(v, c.Season, c.Stage, func(b, _ weather.Date) float64 { return o.temp(b, b+(c.AsOf-bloom), c.Season, window) })
		for k := range days {
			row := make([]float64, len(vs)+1)
			row[i] = 1
			row[len(vs)] = full[k]
			x, later, y = append(x, row...), append(later, then[k]), append(y, days[k])
		}
	}
	n, k := len(y), len(vs)+1
	a, b := mat.NewDense(n, k, x), mat.NewVecDense(n, y)
	var beta mat.VecDense
	if err := beta.SolveVec(a, b); err != nil {
		panic(err)
	}
	ss := 0.0
	for i := range n {
		fit := beta.AtVec(k-1) * later[i]
		for j := range vs {
			fit += a.At(i, j) * beta.AtVec(j)
		}
		ss += (y[i] - fit) * (y[i] - fit)
	}
	x0 := mat.NewVecDense(k, nil)
	x0.SetVec(slices.Index(vs, c.Variety), 1)
	x0.SetVec(k-1, o.temp(bloom, c.AsOf, c.Season, window))
	var ata, inv mat.Dense
	ata.Mul(a.T(), a)
	if err := inv.Inverse(&ata); err != nil {
		panic(err)
	}
	return float64(bloom) + mat.Dot(x0, &beta), max(1, math.Sqrt(ss/float64(n-k)*(1+mat.Inner(x0, &inv, x0))))
}

// The two baselines with weather in them agree with an oracle that shares no
// code with them, on real weather with days missing.
func TestWeatherBaselinesAgreeWithAnOracle(t *testing.T) {
	t.Parallel()
	in := grown(t, 2006, 2012)
	r := rand.New(rand.NewPCG(3, 3))
	days := slices.DeleteFunc(slices.Clone(in.Records[0].Days.Days()), func(weather.Day) bool { return r.IntN(100) < 2 })
	in.Records[0].Days = series(t, days)
	o := newOracle(in)
	res := replay(t, in, hindcast.Options{From: 2010, Every: 9})
	tried := 0
	for i, c := range res.Cases {
		if i%3 != 0 {
			continue
		}
		for b, f := range map[hindcast.Baseline]func(hindcast.Case) (mean, sd float64){
			hindcast.UsualHeat: o.usualHeat, hindcast.MeanTemperature: o.meanTemperature,
		} {
			mean, sd := f(c)
			d, why := c.Versus(b)
			if why != "" {
				t.Fatalf("%s, %s: %s", c.Key, b, why)
			}
			tried++
			if !sameAsNormal(t, d, 0, mean, sd, c.AsOf, 1e-6) {
				t.Errorf("%s, %s: mean %.3f, want N(%.3f, %.3f)", c.Key, b, d.Mean(), mean, sd)
			}
		}
	}
	if tried < 100 {
		t.Errorf("only %d were tried", tried)
	}
}
