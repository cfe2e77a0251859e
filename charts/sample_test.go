package charts_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"ripetide/charts"
)

// date is midnight in UTC of a date like "2026-06-04".
func date(s string) time.Time {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return t
}

// plan is an invented planting: its stages in days from the start of its
// season, its crop and the spread of its dates.
type plan struct {
	variety, block    string
	first, peak, last float64
	sd                float64 // days
	kg                float64
}

// tenPlantings is an invented farm with a hole in the middle of its season and
// a weak spell before the end.
var tenPlantings = []plan{
	{"Maienfrost", "Home block", 3, 7.5, 12, 1.0, 900},
	{"Elfenrot", "Home block", 5, 9.5, 15, 1.1, 1500},
	{"Wendelin", "North slope", 8, 12.5, 18, 1.1, 2100},
	{"Hollerkind", "North slope", 10, 15, 20, 1.2, 2300},
	{"Tautropfen", "North slope", 12, 16.5, 21.5, 1.3, 1500},
	{"Bergamsel", "Mill field", 25, 29, 34, 1.4, 1900},
	{"Kupferhain", "Mill field", 26, 30.5, 35, 1.5, 2100},
	{"Silberdistel", "Lower mill field", 27, 31, 36, 1.6, 1000},
	{"Spätleuchten", "Hill top", 38, 43, 48, 1.5, 900},
	{"Winterwacht", "Hill top", 41, 46, 52, 1.9, 1000},
}

// simulate draws members of a season: dates, supply, gaps and thin stretches
// come from the same members, as they do in the service. A planting whose
// stage lies before asOf is taken to have been seen on its planned day.
func simulate(s charts.Season, start time.Time, plans []plan) charts.Season {
	const members, length = 300, 130
	rng := rand.New(rand.NewPCG(1, 1))
	day := func(x float64) time.Time { return start.AddDate(0, 0, int(math.Floor(x))) }
	asOf := s.AsOf.Sub(start).Hours() / 24

	stages := make([][3][]float64, len(plans)) // planting, stage, member
	windows := make([][]float64, len(plans))
	stand := make([][][]float64, len(plans)) // planting, day, member
	for i := range plans {
		stand[i] = make([][]float64, length)
	}
	inWindow := make([][]int, length) // day, member
	total := make([][]float64, length)
	for d := range length {
		inWindow[d], total[d] = make([]int, members), make([]float64, members)
	}
	for m := range members {
		season := rng.NormFloat64()
		for i, p := range plans {
			shift := p.sd * (0.8*season + 0.6*rng.NormFloat64())
			st := [3]float64{p.first, p.peak, p.last}
			for k := range st {
				at := math.Floor(st[k])
				if at >= asOf {
					far := min(1, (at-asOf)/12)
					at = max(math.Floor(st[k]+shift*(0.35+0.65*far)+0.5*rng.NormFloat64()*float64(k)), asOf)
				}
				if k > 0 {
					at = max(at, st[k-1])
				}
				st[k] = at
				stages[i][k] = append(stages[i][k], at)
			}
			windows[i] = append(windows[i], st[2]-st[0]+1)
			left := 0.0
			for d := range length {
				left = left*0.45 + p.kg*(ripened(float64(d+1), st)-ripened(float64(d), st))
				stand[i][d] = append(stand[i][d], left)
				total[d][m] += left
				if st[0] <= float64(d) && float64(d) <= st[2] {
					inWindow[d][m]++
				}
			}
		}
	}

	s.Bars, s.Supply, s.Gaps = nil, nil, nil
	for i, p := range plans {
		b := charts.Bar{Variety: p.variety, Block: p.block}
		for k, r := range []*charts.Range{&b.First, &b.Peak, &b.Last} {
			v := stages[i][k]
			*r = charts.Range{P10: day(quantile(v, 0.1)), P50: day(quantile(v, 0.5)), P90: day(quantile(v, 0.9))}
		}
		b.SeenFirst, b.SeenPeak, b.SeenLast = p.first < asOf, p.peak < asOf, p.last < asOf
		for k, q := range []float64{0.1, 0.5, 0.9} {
			b.WindowDays[k] = int(quantile(windows[i], q))
		}
		s.Bars = append(s.Bars, b)
	}
	none, thin := make([]float64, length), make([]float64, length)
	from, to := length, 0
	for d := range length {
		sd := charts.SupplyDay{Date: day(float64(d))}
		for i := range plans {
			sd.PlantingKg = append(sd.PlantingKg, math.Round(quantile(stand[i][d], 0.5)))
		}
		q := func(p float64) float64 { return math.Round(quantile(total[d], p)) }
		sd.P10Kg, sd.P50Kg, sd.P90Kg = q(0.1), q(0.5), q(0.9)
		s.Supply = append(s.Supply, sd)
		for m := range members {
			if inWindow[d][m] == 0 {
				none[d] += 1.0 / members
			}
			if total[d][m] < s.ThinKg {
				thin[d] += 1.0 / members
			}
		}
		if none[d] < 0.5 {
			from, to = min(from, d), max(to, d)
		}
	}
	isGap := func(d int) bool { return none[d] >= 0.5 }
	isThin := func(d int) bool { return thin[d] >= 0.5 && !isGap(d) && inWindow[d] != nil && d > from+4 && d < to-4 }
	for d := from; d <= to; d++ {
		for kind, is := range []func(int) bool{isGap, isThin} {
			if !is(d) || is(d-1) {
				continue
			}
			end, p := d, none[d]
			if kind == 1 {
				p = thin[d]
			}
			for is(end + 1) {
				end++
			}
			s.Gaps = append(s.Gaps, charts.Stretch{
				From: day(float64(d)), To: day(float64(end)), Kind: charts.StretchKind(kind), Probability: p,
			})
		}
	}
	return s
}

// ripened is the share of a crop that is ripe by x: a two-piece normal with its
// mode at the peak, 5 % at first ripe and 95 % at last pick.
func ripened(x float64, st [3]float64) float64 {
	const z = 1.645
	l, r := max(0.5, (st[1]-st[0])/z), max(0.5, (st[2]-st[1])/z)
	w := l / (l + r)
	phi := func(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }
	if x < st[1] {
		return 2 * w * phi((x-st[1])/l)
	}
	return w + (1-w)*(2*phi((x-st[1])/r)-1)
}

func quantile(v []float64, p float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return s[max(0, int(math.Ceil(p*float64(len(s))))-1)]
}

// sample is the season most tests draw: ten plantings, one gap, one thin
// stretch, seen from the morning of 18 June.
func sample() charts.Season {
	return simulate(charts.Season{
		Farm: "Lindenhof", Year: 2026, AsOf: date("2026-06-16"), ThinKg: 220, TracesUsed: 41,
		WeatherThrough: date("2026-06-15"),
		Holidays:       []charts.Mark{{Date: date("2026-06-24"), Label: "St John's Day"}},
	}, date("2026-06-01"), tenPlantings)
}

// scenarios are the seasons that every rule about the picture must hold for.
func scenarios() map[string]charts.Season {
	out := map[string]charts.Season{"ten plantings": sample()}

	s := sample()
	s.Units, s.Farm = charts.US, "Wilder Hill"
	s.Holidays = []charts.Mark{
		{Date: date("2026-06-21"), Label: "Father's Day"},
		{Date: date("2026-07-01"), Label: "Canada Day"},
		{Date: date("2026-07-04"), Label: "Fourth of July"},
	}
	out["US units"] = s

	s = sample()
	s.AsOf, s.WeatherThrough = date("2026-05-12"), date("2026-05-11")
	out["forecast at bloom"] = simulate(s, date("2026-06-01"), tenPlantings)

	s = sample()
	s.AsOf, s.WeatherThrough, s.Hindcast = date("2026-08-05"), date("2026-08-04"), true
	out["finished season"] = simulate(s, date("2026-06-01"), tenPlantings)

	s = sample()
	s.AsOf, s.WeatherThrough = date("2026-04-20"), date("2026-04-19")
	s.Supply, s.Gaps = nil, nil
	for i := range s.Bars {
		b := &s.Bars[i]
		*b = charts.Bar{Variety: b.Variety, Block: b.Block, NoForecast: "bloom not seen yet, and fewer than five past seasons to estimate it from"}
	}
	out["before bloom"] = s

	s = sample()
	s.Bars[3].NoForecast = "frost of 2 May killed the open flowers"
	for i := range s.Supply {
		s.Supply[i].PlantingKg[3] = 0
	}
	out["one without a forecast"] = s

	out["no plantings"] = charts.Season{Farm: "Lindenhof", Year: 2026, AsOf: date("2026-04-20")}

	s = sample()
	out["one planting"] = simulate(s, date("2026-06-01"), []plan{{"Wendelin", "", 9, 14, 20, 1.4, 2100}})

	var many []plan
	for i := range 25 {
		at := 3 + 3.9*float64(i)
		name := fmt.Sprintf("Überlandquelle Frühe Schönäugige von Großräschen %d", i+1)
		many = append(many, plan{name, "Block hinter der alten Mühle am Südhang", at, at + 6, at + 12, 1 + float64(i)/10, 900 + 90*float64(i%7)})
	}
	s = sample()
	s.Farm = "Obst- und Beerenhof Schulze-Überwasser & Töchter, Großräschen"
	s.Holidays = nil
	for i := range 12 {
		s.Holidays = append(s.Holidays, charts.Mark{Date: date("2026-06-10").AddDate(0, 0, 3*i), Label: fmt.Sprintf("Fest Nummer %d", i+1)})
	}
	out["25 plantings with long names"] = simulate(s, date("2026-06-01"), many)

	s = sample()
	s.AsOf, s.WeatherThrough = date("2026-12-12"), date("2026-12-11")
	s.Year, s.Farm = 2027, "Kōwhai Road"
	s.Holidays = []charts.Mark{{Date: date("2026-12-25"), Label: "Christmas Day"}, {Date: date("2027-01-01"), Label: "New Year's Day"}}
	out["across New Year"] = simulate(s, date("2026-12-01"), tenPlantings)

	s = sample()
	out["three weeks"] = simulate(s, date("2026-06-14"), []plan{
		{"Wendelin", "Home block", 3, 6, 9, 0.4, 2100},
		{"Hollerkind", "Home block", 5, 8, 12, 0.6, 1700},
	})

	s = sample()
	s.Gaps = nil
	for i := range 6 { // Many stretches, close together, some inside others.
		at := date("2026-06-12").AddDate(0, 0, 4*i)
		s.Gaps = append(s.Gaps,
			charts.Stretch{From: at, To: at.AddDate(0, 0, 2), Kind: charts.Thin, Probability: 0.7},
			charts.Stretch{From: at.AddDate(0, 0, 1), To: at.AddDate(0, 0, 1), Kind: charts.Gap, Probability: 0.55})
	}
	out["crowded stretches"] = s

	s = sample()
	s.Farm = `<Farm> & "Sons'" `
	s.Bars[0].Variety, s.Bars[1].Block = `<script>alert(1)</script>`, `a & b < c > d "e"`
	s.Holidays[0].Label = `R&D <day>`
	out["names with markup"] = s

	s = sample()
	for i := range s.Bars { // Ranges that touch and cross.
		b := &s.Bars[i]
		d := b.First.P50
		at := func(n int) time.Time { return d.AddDate(0, 0, n) }
		w := i % 4
		b.SeenFirst, b.SeenPeak, b.SeenLast = false, false, false
		b.First = charts.Range{P10: at(-4), P50: at(0), P90: at(3 + w)}
		b.Peak = charts.Range{P10: at(-2), P50: at(1), P90: at(4 + w)}
		b.Last = charts.Range{P10: at(-1), P50: at(2), P90: at(6 + w)}
		b.WindowDays = [3]int{1, 3, 6}
	}
	out["ranges that cross"] = s
	return out
}

// random is a season of n plantings with dates, ranges and supply at random.
func random(farm, name, reason string, seed uint64, n int) charts.Season {
	rng := rand.New(rand.NewPCG(seed, 1))
	at := func(d int) time.Time { return date("2026-05-20").AddDate(0, 0, d) }
	s := charts.Season{
		Farm: farm, Year: 2026, AsOf: at(rng.IntN(120) - 20), Hindcast: rng.IntN(2) == 0,
		Units: charts.Units(rng.IntN(2)), ThinKg: float64(rng.IntN(3)) * rng.Float64() * 1000,
	}
	for i := range n {
		var d [9]int // first, peak, last at p10, then at p50, then at p90
		d[0] = rng.IntN(80)
		for k := 1; k < len(d); k++ {
			d[k] = d[k-1] + rng.IntN(4)*rng.IntN(3)
		}
		b := charts.Bar{
			Variety: fmt.Sprint(name, i), Block: name, Planting: reason,
			First: charts.Range{P10: at(d[0]), P50: at(d[3]), P90: at(d[6])},
			Peak:  charts.Range{P10: at(d[1]), P50: at(d[4]), P90: at(d[7])},
			Last:  charts.Range{P10: at(d[2]), P50: at(d[5]), P90: at(d[8])},
		}
		b.SeenFirst, b.SeenPeak, b.SeenLast = rng.IntN(2) == 0, rng.IntN(2) == 0, rng.IntN(3) == 0
		if rng.IntN(2) == 0 {
			b.WindowDays = [3]int{1 + rng.IntN(5), 6, 6 + rng.IntN(300)}
		}
		if rng.IntN(6) == 0 {
			b.NoForecast = reason
		}
		s.Bars = append(s.Bars, b)
	}
	for d := 0; d < 100; d += 1 + rng.IntN(2)*rng.IntN(9) {
		low := rng.ExpFloat64() * math.Pow(10, float64(rng.IntN(8)-3))
		day := charts.SupplyDay{Date: at(d), P10Kg: low, P50Kg: low * 1.5, P90Kg: low * (2 + rng.Float64())}
		for range n {
			day.PlantingKg = append(day.PlantingKg, float64(rng.IntN(3))*rng.ExpFloat64())
		}
		s.Supply = append(s.Supply, day)
	}
	for range rng.IntN(8) {
		from := rng.IntN(90)
		s.Gaps = append(s.Gaps, charts.Stretch{
			From: at(from), To: at(from + rng.IntN(6)), Kind: charts.StretchKind(rng.IntN(2)), Probability: rng.Float64(),
		})
		s.Holidays = append(s.Holidays, charts.Mark{Date: at(rng.IntN(100)), Label: "x" + reason})
	}
	return s
}
