package forecast_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// someTraces returns n traces over the dates from first to last, alike up to
// through, with half-ranges of at least 4 °C.
func someTraces(r *rand.Rand, n int, first, last, through weather.Date) [][]weather.Day {
	paths := make([][]weather.Day, n)
	for i := range paths {
		for d := first; d <= last; d++ {
			if d <= through && i > 0 {
				paths[i] = append(paths[i], paths[0][d-first])
				continue
			}
			mid, half := 15+4*r.NormFloat64(), 4+4*r.Float64()
			paths[i] = append(paths[i], weather.Day{Date: d, Min: mid - half, Max: mid + half})
		}
	}
	return paths
}

// someOutlook predicts n days from first on.
func someOutlook(t *testing.T, r *rand.Rand, first weather.Date, n int) weather.Outlook {
	t.Helper()
	var days []weather.Day
	for d := first; d < first+weather.Date(n); d++ {
		mid, half := 15+4*r.NormFloat64(), 4+4*r.Float64()
		days = append(days, weather.Day{Date: d, Min: mid - half, Max: mid + half})
	}
	return weather.Outlook{Days: series(t, days)}
}

// someSkill is monotone and has none of the special values 0 and 1.
func someSkill(r *rand.Rand) (s forecast.OutlookSkill) {
	b, k := 0.95, 0.1
	for i := range s.Believe {
		b -= 0.08 * r.Float64()
		k += 0.08 * r.Float64()
		s.Believe[i], s.Remain[i] = b, k
	}
	return s
}

func constantSkill(believe, remain float64) (s forecast.OutlookSkill) {
	for i := range s.Believe {
		s.Believe[i], s.Remain[i] = believe, remain
	}
	return s
}

// midHalf returns the middle and the half-range of d.
func midHalf(d weather.Day) [2]float64 { return [2]float64{(d.Max + d.Min) / 2, (d.Max - d.Min) / 2} }

// meanTrace returns the mean middle and half-range of day i.
func meanTrace(paths [][]weather.Day, i int) (c [2]float64) {
	for _, p := range paths {
		for k, x := range midHalf(p[i]) {
			c[k] += x / float64(len(paths))
		}
	}
	return c
}

// blendByDefinition is the oracle: each value of each day by itself, from the
// formula, looking through the whole outlook for the days around it.
func blendByDefinition(paths [][]weather.Day, through weather.Date, o weather.Outlook, issued weather.Date, s forecast.OutlookSkill) [][]weather.Day {
	out := make([][]weather.Day, len(paths))
	last := paths[0][len(paths[0])-1].Date
	isUsed := func(d weather.Date) bool {
		_, ok := o.Days.At(d)
		return ok && d > through && d <= last && d-issued+1 >= 1 && d-issued+1 <= 10
	}
	gap := func(d weather.Date) [2]float64 { // outlook - c
		day, _ := o.Days.At(d)
		x, c := midHalf(day), meanTrace(paths, int(d-paths[0][0].Date))
		return [2]float64{x[0] - c[0], x[1] - c[1]}
	}
	for t, path := range paths {
		for i, day := range path {
			d := day.Date
			var before, after *weather.Date
			for u := paths[0][0].Date; u <= last; u++ {
				v := u
				if isUsed(u) && u <= d {
					before = &v
				}
				if isUsed(u) && u >= d && after == nil {
					after = &v
				}
			}
			if d <= through || (before == nil && after == nil) {
				out[t] = append(out[t], day)
				continue
			}
			var v [2]float64
			for k := range v {
				c := meanTrace(paths, i)[k]
				var add, keep float64
				switch {
				case before != nil && after != nil:
					x := gap(*before)[k]
					if *after > *before {
						x = (gap(*before)[k]*float64(*after-d) + gap(*after)[k]*float64(d-*before)) / float64(*after-*before)
					}
					add, keep = s.Believe[d-issued]*x, s.Remain[d-issued]
				default:
					e := before
					if e == nil {
						e = after
					}
					n := math.Abs(float64(d - *e))
					if n > 30 {
						add, keep = 0, 1
						break
					}
					f := math.Exp(n * math.Log(0.7))
					add = f * s.Believe[*e-issued] * gap(*e)[k]
					keep = math.Sqrt(1 - f*f + f*f*s.Remain[*e-issued]*s.Remain[*e-issued])
				}
				v[k] = c + add + keep*(midHalf(day)[k]-c)
			}
			v[1] = math.Max(v[1], 0)
			out[t] = append(out[t], weather.Day{Date: d, Min: v[0] - v[1], Max: v[0] + v[1]})
		}
	}
	return out
}

func samePaths(t *testing.T, name string, got, want [][]weather.Day, tol float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d traces, want %d", name, len(got), len(want))
	}
	for i := range want {
		if len(got[i]) != len(want[i]) {
			t.Fatalf("%s: trace %d has %d days, want %d", name, i, len(got[i]), len(want[i]))
		}
		for j, w := range want[i] {
			if g := got[i][j]; g.Date != w.Date || !near(g.Min, w.Min, tol) || !near(g.Max, w.Max, tol) {
				t.Fatalf("%s: trace %d: %v, want %v", name, i, g, w)
			}
		}
	}
}

// sameBits fails on a day that differs in a single bit.
func sameBits(t *testing.T, name string, got, want [][]weather.Day) {
	t.Helper()
	for i := range want {
		for j, w := range want[i] {
			g := got[i][j]
			if g.Date != w.Date || math.Float64bits(g.Min) != math.Float64bits(w.Min) || math.Float64bits(g.Max) != math.Float64bits(w.Max) {
				t.Fatalf("%s: trace %d: %v became %v", name, i, w, g)
			}
		}
	}
}

func TestBlendIsItsFormula(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 1))
	first := weather.DateOf(2024, time.January, 1)
	for range 300 {
		last := first + weather.Date(30+r.IntN(60))
		through := first + weather.Date(r.IntN(25)) - 1
		paths := someTraces(r, 1+r.IntN(6), first, last, through)
		// Issued up to twelve days before the record ends and up to five after.
		issued := through + weather.Date(r.IntN(18)-12)
		o := someOutlook(t, r, issued+weather.Date(r.IntN(2)), 1+r.IntN(16))
		var kept []weather.Day
		for _, d := range o.Days.Days() {
			if r.IntN(4) > 0 {
				kept = append(kept, d)
			}
		}
		o.Days = series(t, kept)
		s := someSkill(r)
		got, used := forecast.Blend(paths, through, o, issued, s)
		samePaths(t, "random outlook", got, blendByDefinition(paths, through, o, issued, s), 1e-9)
		n := 0
		for _, d := range kept {
			if d.Date > through && d.Date < issued+10 && d.Date <= last {
				n++
			}
		}
		if used != n {
			t.Errorf("%d days used, want %d", used, n)
		}
	}
}

// Worked by hand: one trace, so it is its own mean, at 10 °C ± 5.
func TestBlendedOutlookFadesByThreeTenthsADay(t *testing.T) {
	t.Parallel()
	first := weather.DateOf(2025, time.May, 1)
	var path []weather.Day
	for d := first; d < first+60; d++ {
		path = append(path, weather.Day{Date: d, Min: 5, Max: 15})
	}
	s := constantSkill(0.5, 0.5)
	// 20 °C ± 7 from the sixth day on, for two days.
	o := weather.Outlook{Days: series(t, []weather.Day{{Date: first + 5, Min: 13, Max: 27}, {Date: first + 6, Min: 13, Max: 27}})}
	got, used := forecast.Blend([][]weather.Day{path}, first+2, o, first+5, s)
	if used != 2 {
		t.Errorf("%d days used, want 2", used)
	}
	for _, want := range []struct {
		day       int
		mid, half float64
	}{
		{2, 10, 5}, // Observed.
		{3, 10 + 5*0.49, 5 + 0.49}, {4, 13.5, 5.7},
		{5, 15, 6}, {6, 15, 6},
		{7, 13.5, 5.7}, {8, 10 + 5*0.49, 5 + 0.49}, {9, 10 + 5*0.343, 5 + 0.343},
		{37, 10, 5}, // 31 days after the end nothing is left.
	} {
		if g := midHalf(got[0][want.day]); !near(g[0], want.mid, 1e-12) || !near(g[1], want.half, 1e-12) {
			t.Errorf("day %d is %v ± %v, want %v ± %v", want.day, g[0], g[1], want.mid, want.half)
		}
	}
}

func TestBlendedMeanIsClimateAndThePartBelieved(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(2, 1))
	first := weather.DateOf(2025, time.April, 1)
	for range 50 {
		through := first + 9
		paths := someTraces(r, 2+r.IntN(40), first, first+60, through)
		s := someSkill(r)
		o := someOutlook(t, r, through+1, 10)
		got, _ := forecast.Blend(paths, through, o, through+1, s)
		for lead := 1; lead <= 10; lead++ {
			i := int(through-first) + lead
			day, _ := o.Days.At(first + weather.Date(i))
			c, m := meanTrace(paths, i), meanTrace(got, i)
			for k := range m {
				if want := c[k] + s.Believe[lead-1]*(midHalf(day)[k]-c[k]); !near(m[k], want, 1e-12*30) {
					t.Fatalf("lead %d: mean %v, want %v", lead, m[k], want)
				}
			}
		}
	}
}

func TestBlendBelievingAllOrNothing(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 1))
	first := weather.DateOf(2025, time.April, 1)
	through := first + 9
	paths := someTraces(r, 12, first, first+80, through)
	o := someOutlook(t, r, through+1, 14)

	got, _ := forecast.Blend(paths, through, o, through+1, constantSkill(0, 1))
	sameBits(t, "nothing believed", got, paths)

	got, used := forecast.Blend(paths, through, o, through+1, constantSkill(1, 0))
	if used != 10 {
		t.Errorf("%d days used, want 10", used)
	}
	for i, path := range got {
		for _, d := range o.Days.Between(through+1, through+10) {
			if g := path[d.Date-first]; g.Date != d.Date || !near(g.Min, d.Min, 1e-12) || !near(g.Max, d.Max, 1e-12) {
				t.Errorf("all believed: trace %d: %v, want %v", i, g, d)
			}
		}
	}
}

// Half-ranges here are often cut off at zero: outlooks of days without any
// range over traces with little of it.
func TestWarmerOutlookMakesNoTraceColder(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 1))
	first := weather.DateOf(2025, time.April, 1)
	cut := 0
	for range 2000 {
		through := first + weather.Date(r.IntN(4)) - 1
		n := 2 + r.IntN(5)
		paths := make([][]weather.Day, n)
		for i := range paths {
			for d := first; d < first+30; d++ {
				mid, half := 4*r.NormFloat64(), max(0, 2+3*r.NormFloat64())
				paths[i] = append(paths[i], weather.Day{Date: d, Min: mid - half, Max: mid + half})
			}
		}
		s := someSkill(r)
		issued := first + weather.Date(r.IntN(4))
		var days, warmer []weather.Day
		for d := issued; d < issued+8; d++ {
			if r.IntN(5) == 0 {
				continue
			}
			mid, half := 4*r.NormFloat64(), max(0, r.NormFloat64())
			day := weather.Day{Date: d, Min: mid - half, Max: mid + half}
			days = append(days, day)
			if r.IntN(3) == 0 {
				day.Max += 3 * r.Float64()
			}
			if r.IntN(3) == 0 {
				day.Min += (day.Max - day.Min) * r.Float64()
			}
			warmer = append(warmer, day)
		}
		a, _ := forecast.Blend(paths, through, weather.Outlook{Days: series(t, days)}, issued, s)
		b, _ := forecast.Blend(paths, through, weather.Outlook{Days: series(t, warmer)}, issued, s)
		for i := range a {
			for j := range a[i] {
				x, y := a[i][j], b[i][j]
				if !(x.Min <= x.Max) || !(y.Min <= y.Max) {
					t.Fatalf("extremes crossed: %v, %v", x, y)
				}
				if x.Min == x.Max {
					cut++
				}
				if !(y.Min >= x.Min-1e-12) || !(y.Max >= x.Max-1e-12) {
					t.Fatalf("trace %d: %v became %v by a warmer outlook", i, x, y)
				}
			}
		}
	}
	if cut < 1000 {
		t.Errorf("only %d half-ranges were cut off", cut)
	}
}

func TestBlendUsesTheDaysOfAnOutlookThatAreToCome(t *testing.T) {
	t.Parallel()
	june := weather.DateOf(2025, time.June, 1)
	for _, tt := range []struct {
		name          string
		through       weather.Date // Of the record.
		issued        weather.Date
		first         weather.Date // Of the outlook.
		n             int
		used          int
		leadOfFirst   int // Of the first day used; 0: none.
		firstUsedDate weather.Date
	}{
		{"issued this morning", june - 1, june, june, 10, 10, 1, june},
		{"begins tomorrow", june - 1, june, june + 1, 10, 9, 2, june + 1},
		{"three days old", june - 1, june - 3, june - 3, 10, 7, 4, june},
		{"longer than ten days", june - 1, june, june, 16, 10, 1, june},
		{"longer than ten days and old", june - 1, june - 3, june - 3, 16, 7, 4, june},
		{"record ends four days ago", june - 5, june - 2, june - 2, 5, 5, 1, june - 2},
		{"one day", june - 1, june, june, 1, 1, 1, june},
		{"wholly past", june - 1, june - 5, june - 5, 5, 0, 0, 0},
		{"eleven days old", june - 1, june - 11, june - 11, 16, 0, 0, 0},
		{"no day", june - 1, june, june, 0, 0, 0, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(5, 1))
			first := weather.DateOf(2025, time.January, 1)
			paths := someTraces(r, 4, first, weather.DateOf(2025, time.December, 31), tt.through)
			o := someOutlook(t, r, tt.first, tt.n)
			s := someSkill(r)
			got, used := forecast.Blend(paths, tt.through, o, tt.issued, s)
			if used != tt.used {
				t.Errorf("%d days used, want %d", used, tt.used)
			}
			if tt.used == 0 {
				sameBits(t, "nothing to use", got, paths)
				return
			}
			for i := range paths { // Observed days stay as they are.
				n := int(tt.through-first) + 1
				sameBits(t, "observed", [][]weather.Day{got[i][:n]}, [][]weather.Day{paths[i][:n]})
			}
			i := int(tt.firstUsedDate - first)
			day, _ := o.Days.At(tt.firstUsedDate)
			c := meanTrace(paths, i)[0]
			rho, keep := s.Believe[tt.leadOfFirst-1], s.Remain[tt.leadOfFirst-1]
			for k := range paths {
				want := c + rho*(midHalf(day)[0]-c) + keep*(midHalf(paths[k][i])[0]-c)
				if g := midHalf(got[k][i])[0]; !near(g, want, 1e-12) {
					t.Errorf("trace %d on %s: %v, want %v", k, tt.firstUsedDate, g, want)
				}
			}
		})
	}
}

func TestBlendAtTheEdgesOfASeason(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(6, 1))
	for _, tt := range []struct {
		name        string
		first, last weather.Date
		through     weather.Date
		used        int
	}{
		{"over a leap day", weather.DateOf(2024, time.January, 1), weather.DateOf(2024, time.December, 31), weather.DateOf(2024, time.February, 25), 10},
		{"in the south over New Year", weather.DateOf(2024, time.July, 1), weather.DateOf(2025, time.June, 30), weather.DateOf(2024, time.December, 27), 10},
		{"before the first observed day", weather.DateOf(2025, time.January, 1), weather.DateOf(2025, time.December, 31), weather.DateOf(2024, time.December, 31), 10},
		{"to the end of the season", weather.DateOf(2025, time.January, 1), weather.DateOf(2025, time.December, 31), weather.DateOf(2025, time.December, 27), 4},
		{"at the last day of the season", weather.DateOf(2025, time.January, 1), weather.DateOf(2025, time.December, 31), weather.DateOf(2025, time.December, 31), 0},
	} {
		paths := someTraces(r, 3, tt.first, tt.last, tt.through)
		o := someOutlook(t, r, tt.through+1, 10)
		s := someSkill(r)
		got, used := forecast.Blend(paths, tt.through, o, tt.through+1, s)
		if used != tt.used {
			t.Errorf("%s: %d days used, want %d", tt.name, used, tt.used)
		}
		samePaths(t, tt.name, got, blendByDefinition(paths, tt.through, o, tt.through+1, s), 1e-9)
	}
	if got, used := forecast.Blend(nil, 0, someOutlook(t, r, 1, 5), 1, someSkill(r)); len(got) != 0 || used != 0 {
		t.Errorf("without traces: %d traces, %d days used", len(got), used)
	}
}

func TestBlendOfTracesThatAreAllAlikeKeepsThemAlike(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 1))
	first := weather.DateOf(2025, time.April, 1)
	one := someTraces(r, 1, first, first+60, first-1)[0]
	paths := [][]weather.Day{one, slices.Clone(one), slices.Clone(one)}
	got, _ := forecast.Blend(paths, first+4, someOutlook(t, r, first+5, 10), first+5, someSkill(r))
	for i := range got[1:] {
		sameBits(t, "alike", [][]weather.Day{got[i+1]}, [][]weather.Day{got[0]})
	}
}

// The spread of the traces grows without a fall from the first predicted day to
// the whole, and what the outlook adds falls without a jump, whatever the traces.
func TestBlendedSpreadGrowsAndDepartureFades(t *testing.T) {
	t.Parallel()
	first := weather.DateOf(2025, time.April, 1)
	var paths [][]weather.Day
	for i := range 5 {
		var path []weather.Day
		for d := first; d < first+60; d++ {
			mid := 10 + 3*float64(i)
			path = append(path, weather.Day{Date: d, Min: mid - 5, Max: mid + 5})
		}
		paths = append(paths, path)
	}
	for _, n := range []int{1, 4, 10} {
		var days []weather.Day
		for d := first; d < first+weather.Date(n); d++ {
			days = append(days, weather.Day{Date: d, Min: 21, Max: 31}) // 10 °C warmer than the mean of 16 °C.
		}
		got, _ := forecast.Blend(paths, first-1, weather.Outlook{Days: series(t, days)}, first, forecast.DefaultOutlookSkill())
		width, dep := 0.0, 10.0
		for i := range 60 {
			w := midHalf(got[4][i])[0] - midHalf(got[0][i])[0]
			e := meanTrace(got, i)[0] - 16
			if !(w >= width-1e-9 && w <= 12+1e-9) {
				t.Errorf("%d days: on day %d traces are %v °C apart after %v", n, i, w, width)
			}
			if !(e <= dep+1e-9 && e >= 0.7*dep-1e-3 || i == 0) {
				t.Errorf("%d days: on day %d the mean departs by %v °C after %v", n, i, e, dep)
			}
			width, dep = w, e
		}
		if !near(width, 12, 1e-9) || !near(dep, 0, 1e-3) {
			t.Errorf("%d days: at the end %v °C apart, departing by %v °C", n, width, dep)
		}
	}
}

func TestDefaultOutlookSkill(t *testing.T) {
	t.Parallel()
	s := forecast.DefaultOutlookSkill()
	for i := range 10 {
		// Lines through (1, 1), (10, 0.3) and (1, 0.3), (10, 1).
		if lead := float64(i + 1); !near(s.Believe[i], (9.7-0.7*lead)/9, 1e-12) || !near(s.Remain[i], (2+0.7*lead)/9, 1e-12) {
			t.Errorf("lead %v: %v and %v", lead, s.Believe[i], s.Remain[i])
		}
	}
	if s.Learned() || s.Outlooks != 0 {
		t.Error("the default claims to rest on outlooks")
	}
}

// climateByDefinition goes through all days and asks of each whether it lies
// within seven days of d's month and day in another year.
func climateByDefinition(days []weather.Day, d weather.Date) (mean, sd float64, n int) {
	var xs []float64
	for _, e := range days {
		for y := e.Date.Year() - 1; y <= e.Date.Year()+1; y++ {
			if at := d.InYear(y); y != d.Year() && at-7 <= e.Date && e.Date <= at+7 {
				xs = append(xs, (e.Min+e.Max)/2)
			}
		}
	}
	for _, x := range xs {
		mean += x / float64(len(xs))
	}
	for _, x := range xs {
		sd += (x - mean) * (x - mean) / float64(len(xs)-1)
	}
	return mean, math.Sqrt(sd), len(xs)
}

func TestOutlookClimateIsThatOfOtherYears(t *testing.T) {
	t.Parallel()
	days := annArbor(t)
	days = days[len(days)-12*366:] // Begins within a year.
	s := series(t, days)
	for _, d := range []weather.Date{
		weather.DateOf(2012, time.June, 3), weather.DateOf(2012, time.February, 29), weather.DateOf(2013, time.March, 1),
		weather.DateOf(2012, time.March, 1), weather.DateOf(2013, time.February, 28), weather.DateOf(2014, time.January, 1),
		weather.DateOf(2013, time.December, 31), days[0].Date, days[len(days)-1].Date, days[len(days)-1].Date + 5,
		weather.DateOf(2030, time.January, 3),
	} {
		mean, sd, n := climateByDefinition(days, d)
		if n < 60 {
			t.Fatalf("%s: only %d days", d, n)
		}
		if m, x := forecast.ClimateOf(s, d); !near(m, mean, 1e-9) || !near(x, sd, 1e-9) {
			t.Errorf("%s: %v ± %v, want %v ± %v", d, m, x, mean, sd)
		}
	}
	// Years cut off at New Year still lie about dates of the years beside them.
	whole := s.Between(weather.DateOf(2009, time.January, 1), weather.DateOf(2014, time.December, 31))
	for _, d := range []weather.Date{weather.DateOf(2012, time.January, 2), weather.DateOf(2012, time.December, 29), weather.DateOf(2016, time.January, 4)} {
		mean, sd, _ := climateByDefinition(whole, d)
		if m, x := forecast.ClimateOf(series(t, whole), d); !near(m, mean, 1e-9) || !near(x, sd, 1e-9) {
			t.Errorf("%s: %v ± %v, want %v ± %v", d, m, x, mean, sd)
		}
	}
	// Three other years are 45 days: too few.
	short := series(t, s.Between(weather.DateOf(2010, time.January, 1), weather.DateOf(2013, time.December, 31)))
	if _, sd := forecast.ClimateOf(short, weather.DateOf(2012, time.June, 3)); sd != 0 {
		t.Errorf("three years make a climate with sd %v", sd)
	}
	// Four are 60: enough.
	short = series(t, s.Between(weather.DateOf(2010, time.January, 1), weather.DateOf(2014, time.December, 31)))
	if _, sd := forecast.ClimateOf(short, weather.DateOf(2012, time.June, 3)); !(sd > 0) {
		t.Error("four years make no climate")
	}
	flat := series(t, flatDays(weather.DateOf(2000, time.January, 1), 4000, 8.3))
	if m, sd := forecast.ClimateOf(flat, weather.DateOf(2005, time.June, 3)); !near(m, 8.3, 1e-9) || sd != 0 {
		t.Errorf("weather that never changes: %v ± %v", m, sd)
	}
}

func flatDays(first weather.Date, n int, c float64) (days []weather.Day) {
	for d := first; d < first+weather.Date(n); d++ {
		days = append(days, flat(d, c))
	}
	return days
}

// skillByDefinition is the oracle for what is learned: pairs by lead, a search
// for the best ρ, the formula for what is left, and the max-min formula.
func skillByDefinition(came, past []weather.Day, outlooks []weather.Outlook, zone *time.Location) (s forecast.OutlookSkill) {
	seen := map[weather.Date]weather.Day{}
	for _, d := range came {
		seen[d.Date] = d
	}
	newest := map[weather.Date]weather.Outlook{}
	for _, o := range outlooks {
		newest[weather.DateIn(o.IssuedAt.In(zone))] = o
	}
	type normal struct {
		mean, sd float64
		n        int
	}
	normals := map[weather.Date]normal{}
	var xs, ys [10][]float64
	for issued, o := range newest {
		any := false
		for _, d := range o.Days.Days() {
			y, ok := seen[d.Date]
			lead := int(d.Date-issued) + 1
			if !ok || lead < 1 || lead > 10 {
				continue
			}
			c, ok := normals[d.Date]
			if !ok {
				c.mean, c.sd, c.n = climateByDefinition(past, d.Date)
				normals[d.Date] = c
			}
			if c.n < 60 {
				continue
			}
			xs[lead-1] = append(xs[lead-1], (midHalf(d)[0]-c.mean)/c.sd)
			ys[lead-1] = append(ys[lead-1], (midHalf(y)[0]-c.mean)/c.sd)
			any = true
		}
		if any {
			s.Outlooks++
		}
	}
	d := forecast.DefaultOutlookSkill()
	var believe, remain, weights [10]float64
	for i := range 10 {
		n := len(xs[i])
		s.Verified[i] = n
		believe[i], remain[i], weights[i] = d.Believe[i], d.Remain[i], 30
		if n < 10 {
			continue
		}
		left := func(rho float64) (sum float64) {
			for k, x := range xs[i] {
				sum += (ys[i][k] - rho*x) * (ys[i][k] - rho*x)
			}
			return sum
		}
		lo, hi := -50.0, 50.0 // Least squares by trisection.
		for range 300 {
			a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
			if left(a) < left(b) {
				hi = b
			} else {
				lo = a
			}
		}
		rest := left(lo) / float64(n-1)
		weights[i] += float64(n)
		believe[i] = (30*believe[i] + float64(n)*lo) / weights[i]
		remain[i] = math.Sqrt((30*remain[i]*remain[i] + float64(n)*rest) / weights[i])
	}
	falling := believe
	for i := range falling {
		falling[i] = -falling[i]
	}
	for i := range 10 {
		s.Believe[i] = math.Min(math.Max(-maxMin(falling[:], weights[:], i), 0), 1)
		s.Remain[i] = math.Min(math.Max(maxMin(remain[:], weights[:], i), 0), 1)
	}
	return s
}

// maxMin is place i of the rising sequence nearest to xs: the greatest, over
// the starts up to i, of the least, over the ends from i on, of the mean.
func maxMin(xs, weights []float64, i int) float64 {
	best := math.Inf(-1)
	for a := 0; a <= i; a++ {
		least := math.Inf(1)
		for b := i; b < len(xs); b++ {
			var sum, w float64
			for k := a; k <= b; k++ {
				sum += weights[k] * xs[k]
				w += weights[k]
			}
			least = math.Min(least, sum/w)
		}
		best = math.Max(best, least)
	}
	return best
}

func sameSkill(t *testing.T, name string, got, want forecast.OutlookSkill, tol float64) {
	t.Helper()
	if got.Verified != want.Verified || got.Outlooks != want.Outlooks {
		t.Errorf("%s: %d outlooks, %v verified, want %d, %v", name, got.Outlooks, got.Verified, want.Outlooks, want.Verified)
	}
	for i := range 10 {
		if !near(got.Believe[i], want.Believe[i], tol) || !near(got.Remain[i], want.Remain[i], tol) {
			t.Errorf("%s: lead %d: %v and %v, want %v and %v", name, i+1, got.Believe[i], got.Remain[i], want.Believe[i], want.Remain[i])
		}
	}
}

// guesses returns outlooks issued at noon UTC on each of n dates, of the given
// length, that are what came and noise that grows by grow °C a day. A day that
// the record lacks is predicted to be as the day before.
func guesses(t testing.TB, r *rand.Rand, days []weather.Day, from weather.Date, n, length int, grow float64) (os []weather.Outlook) {
	t.Helper()
	all, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	for d := from; d < from+weather.Date(n); d++ {
		var ds []weather.Day
		var day weather.Day
		for at := d; at < d+weather.Date(length); at++ {
			if came, ok := all.At(at); ok {
				day = came
			}
			err := min(max(grow*float64(at-d+1)*r.NormFloat64(), -50), 15)
			ds = append(ds, weather.Day{Date: at, Min: day.Min + err, Max: day.Max + err})
		}
		s, err := weather.NewSeries(ds)
		if err != nil {
			t.Fatal(err)
		}
		os = append(os, weather.Outlook{IssuedAt: d.Time().Add(12 * time.Hour), Days: s})
	}
	return os
}

func TestOutlookSkillIsItsDefinition(t *testing.T) {
	t.Parallel()
	all := annArbor(t)
	all = all[len(all)-9*366:]
	from := weather.DateOf(2016, time.April, 20)
	auckland, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		zone *time.Location
		make func(r *rand.Rand) (came, past []weather.Day, os []weather.Outlook)
	}{
		"a season of outlooks": {time.UTC, func(r *rand.Rand) ([]weather.Day, []weather.Day, []weather.Outlook) {
			return all, all, guesses(t, r, all, from, 90, 12, 0.6)
		}},
		"worthless outlooks": {time.UTC, func(r *rand.Rand) ([]weather.Day, []weather.Day, []weather.Outlook) {
			return all, all, guesses(t, r, all, from, 60, 10, 9)
		}},
		"outlooks worse near than far": {time.UTC, func(r *rand.Rand) ([]weather.Day, []weather.Day, []weather.Outlook) {
			os := guesses(t, r, all, from, 120, 10, 0)
			for i, o := range os {
				var ds []weather.Day
				for k, d := range o.Days.Days() {
					e := float64(9-k) * r.NormFloat64()
					ds = append(ds, weather.Day{Date: d.Date, Min: d.Min + e, Max: d.Max + e})
				}
				os[i].Days = series(t, ds)
			}
			return all, all, os
		}},
		"worse near than far, half of them short": {time.UTC, func(r *rand.Rand) ([]weather.Day, []weather.Day, []weather.Outlook) {
			os := guesses(t, r, all, from, 60, 10, 0)
			for i, o := range os {
				var ds []weather.Day
				for k, d := range o.Days.Days()[:10-i%2*6] {
					e := float64(9-k) * r.NormFloat64()
					ds = append(ds, weather.Day{Date: d.Date, Min: d.Min + e, Max: d.Max + e})
				}
				os[i].Days = series(t, ds)
			}
			return all, all, os
		}},
		"few at long leads": {time.UTC, func(r *rand.Rand) ([]weather.Day, []weather.Day, []weather.Outlook) {
			return all, all, append(guesses(t, r, all, from, 8, 10, 1), guesses(t, r, all, from+20, 40, 6, 0.2)...)
		}},
		"a record with holes and an end": {time.UTC, func(r *rand.Rand) ([]weather.Day, []weather.Day, []weather.Outlook) {
			came := drop(drop(all, from+10, from+14), from+50, all[len(all)-1].Date)
			return came, all, guesses(t, r, all, from, 90, 10, 0.6)
		}},
		"several a day, by a clock far from Greenwich": {auckland, func(r *rand.Rand) ([]weather.Day, []weather.Day, []weather.Outlook) {
			// At noon UTC it is midnight or later there: the date is the next one.
			var os []weather.Outlook
			for _, o := range guesses(t, r, all, from, 60, 10, 0.6) {
				bad := guesses(t, r, all, weather.DateIn(o.IssuedAt), 1, 10, 5)[0]
				bad.IssuedAt = o.IssuedAt.Add(-time.Minute * time.Duration(r.IntN(2)))
				if bad.IssuedAt.Before(o.IssuedAt) {
					os = append(os, bad)
				}
				os = append(os, o)
			}
			return all, all, os
		}},
	} {
		came, past, os := tt.make(rand.New(rand.NewPCG(8, 1)))
		got := forecast.LearnOutlookSkill(series(t, came), series(t, past), os, tt.zone)
		if !got.Learned() {
			t.Errorf("%s: nothing learned", name)
		}
		sameSkill(t, name, got, skillByDefinition(came, past, os, tt.zone), 1e-7)
		for i := range 9 {
			if !(got.Believe[i] >= got.Believe[i+1]) || !(got.Remain[i] <= got.Remain[i+1]) {
				t.Errorf("%s: from lead %d to %d belief goes from %v to %v and the traces' part from %v to %v", name,
					i+1, i+2, got.Believe[i], got.Believe[i+1], got.Remain[i], got.Remain[i+1])
			}
		}
	}
}

// An outlook that is always right has ρ = 1 and leaves nothing. The default
// weighs as 30 outlooks.
func TestOutlookSkillOfPerfectOutlooks(t *testing.T) {
	t.Parallel()
	all := annArbor(t)
	s := series(t, all)
	d := forecast.DefaultOutlookSkill()
	from := weather.DateOf(2015, time.June, 1)
	for _, n := range []int{9, 10, 60} {
		os := guesses(t, rand.New(rand.NewPCG(9, 1)), all, from, n, 10, 0)
		got := forecast.LearnOutlookSkill(s, s, os, time.UTC)
		if got.Learned() != (n >= 10) || got.Outlooks != n {
			t.Errorf("%d outlooks: learned is %v from %d", n, got.Learned(), got.Outlooks)
		}
		for i := range 10 {
			believe := (30*d.Believe[i] + float64(n)) / float64(30+n)
			remain := d.Remain[i] * math.Sqrt(30/float64(30+n))
			if n < 10 {
				believe, remain = d.Believe[i], d.Remain[i]
			}
			if !near(got.Believe[i], believe, 1e-9) || !near(got.Remain[i], remain, 1e-6) {
				t.Errorf("%d outlooks, lead %d: %v and %v, want %v and %v", n, i+1, got.Believe[i], got.Remain[i], believe, remain)
			}
		}
	}
}

// Weather is drawn without correlation from day to day, then outlooks such that
// the weather given them is ρ·x + e: their skill is known.
func TestOutlookSkillIsRecovered(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(10, 1))
	const sd = 4.0
	norm := func(d weather.Date) float64 {
		return 10 - 10*math.Cos(2*math.Pi*float64(d-weather.DateOf(d.Year(), time.January, 1))/365.25)
	}
	first := weather.DateOf(1990, time.January, 1)
	var days []weather.Day
	for d := first; d < weather.DateOf(2026, time.January, 1); d++ {
		mid := norm(d) + sd*r.NormFloat64()
		days = append(days, weather.Day{Date: d, Min: mid - 5, Max: mid + 5})
	}
	var rho, rest [10]float64
	for i := range rho {
		rho[i] = 0.9 - 0.07*float64(i)
		rest[i] = 0.4 + 0.05*float64(i)
	}
	const n = 3000
	var os []weather.Outlook
	for k := range n {
		issued := weather.DateOf(2015, time.January, 1) + weather.Date(k)
		var ds []weather.Day
		for i := range 10 {
			d := issued + weather.Date(i)
			y := midHalf(days[d-first])[0] - norm(d)
			v := sd * sd * (1 - rest[i]*rest[i]) / (rho[i] * rho[i]) // Variance of the outlook's departures.
			beta := rho[i] * v / (sd * sd)
			x := beta*y + math.Sqrt(v-beta*beta*sd*sd)*r.NormFloat64()
			ds = append(ds, weather.Day{Date: d, Min: norm(d) + x - 5, Max: norm(d) + x + 5})
		}
		os = append(os, weather.Outlook{IssuedAt: issued.Time(), Days: series(t, ds)})
	}
	s := series(t, days)
	got := forecast.LearnOutlookSkill(s, s, os, time.UTC)
	def := forecast.DefaultOutlookSkill()
	for i := range 10 {
		wantRho := (30*def.Believe[i] + n*rho[i]) / (n + 30)
		wantRest := math.Sqrt((30*def.Remain[i]*def.Remain[i] + n*rest[i]*rest[i]) / (n + 30))
		// Standard errors: of a slope, r/√(n·var x); of an sd, r/√2n. The sd of
		// the climate is itself known to 1/√(2·525), and it is the same for all.
		v := (1 - rest[i]*rest[i]) / (rho[i] * rho[i])
		if se := rest[i] / math.Sqrt(n*v); !near(got.Believe[i], wantRho, 4*se) {
			t.Errorf("lead %d: ρ is %v, want %v within %v", i+1, got.Believe[i], wantRho, 4*se)
		}
		if se := rest[i] * (1/math.Sqrt(2*n) + 0.005); !near(got.Remain[i], wantRest, 4*se) {
			t.Errorf("lead %d: r is %v, want %v within %v", i+1, got.Remain[i], wantRest, 4*se)
		}
	}
}

func TestOutlookSkillCountsOnlyWhatWasObserved(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(11, 1))
	all := annArbor(t)
	past := series(t, all)
	morning := weather.DateOf(2017, time.June, 20)
	os := guesses(t, r, all, morning-40, 41, 10, 0.6)
	came := past.Until(morning - 1)
	want := forecast.LearnOutlookSkill(came, past, os, time.UTC)
	for i, n := range want.Verified {
		if n != 40-i { // The last ones reach into what is to come.
			t.Errorf("lead %d: %d verified, want %d", i+1, n, 40-i)
		}
	}
	if want.Outlooks != 40 {
		t.Errorf("%d outlooks, want 40", want.Outlooks)
	}
	for i, o := range os { // Days that have not come say what they will.
		var ds []weather.Day
		for _, d := range o.Days.Days() {
			if d.Date >= morning {
				d.Min, d.Max = -50, 50
			}
			ds = append(ds, d)
		}
		os[i].Days = series(t, ds)
	}
	if got := forecast.LearnOutlookSkill(came, past, os, time.UTC); got != want {
		t.Errorf("days to come change what is learned: %v, want %v", got, want)
	}
}

func TestOutlookSkillWithNothingToLearnFromIsTheDefault(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(12, 1))
	all := annArbor(t)
	s := series(t, all)
	os := guesses(t, r, all, weather.DateOf(2010, time.May, 1), 60, 10, 1)
	young := series(t, s.Between(weather.DateOf(2009, time.January, 1), weather.DateOf(2011, time.December, 31)))
	same := series(t, flatDays(weather.DateOf(2000, time.January, 1), 5000, 11))
	for name, got := range map[string]forecast.OutlookSkill{
		"no outlook":                forecast.LearnOutlookSkill(s, s, nil, time.UTC),
		"no record":                 forecast.LearnOutlookSkill(weather.Series{}, weather.Series{}, os, time.UTC),
		"nothing observed":          forecast.LearnOutlookSkill(weather.Series{}, s, os, time.UTC),
		"record ends before":        forecast.LearnOutlookSkill(s.Until(weather.DateOf(2010, time.April, 30)), s, os, time.UTC),
		"record begins after":       forecast.LearnOutlookSkill(series(t, s.Between(weather.DateOf(2010, time.August, 30), weather.DateOf(2018, time.January, 1))), s, os, time.UTC),
		"three years of record":     forecast.LearnOutlookSkill(young, young, os, time.UTC),
		"weather that is all alike": forecast.LearnOutlookSkill(same, same, os, time.UTC),
		"outlooks without days":     forecast.LearnOutlookSkill(s, s, make([]weather.Outlook, 50), time.UTC),
	} {
		if got != forecast.DefaultOutlookSkill() {
			t.Errorf("%s: %v", name, got)
		}
	}
	if got := forecast.LearnOutlookSkill(s, s, os, time.UTC); !got.Learned() {
		t.Error("the same outlooks teach nothing with the whole record either")
	}
}

// Outlooks that always miss in the same direction and by as much as the season
// allows leave both curves within 0 and 1.
func TestOutlookSkillStaysWithinBounds(t *testing.T) {
	t.Parallel()
	all := annArbor(t)
	s := series(t, all)
	from := weather.DateOf(2012, time.May, 1)
	means := map[weather.Date]float64{}
	for d := from; d < from+210; d++ {
		means[d], _, _ = climateByDefinition(s.Between(d-5*366, d+5*366), d)
	}
	for name, of := range map[string]func(r *rand.Rand, mean, came float64) float64{
		"the opposite comes":    func(_ *rand.Rand, mean, came float64) float64 { return mean - (came - mean) },
		"always half as far":    func(_ *rand.Rand, mean, came float64) float64 { return mean + (came-mean)/2 },
		"far too warm":          func(_ *rand.Rand, mean, _ float64) float64 { return mean + 40 },
		"a hundredth as far":    func(_ *rand.Rand, mean, came float64) float64 { return mean + (came-mean)/100 },
		"ten times as far":      func(_ *rand.Rand, mean, came float64) float64 { return mean + min(10*(came-mean), 30) },
		"anything within 60 °C": func(r *rand.Rand, _, _ float64) float64 { return 60 * (r.Float64() - 0.5) },
	} {
		r := rand.New(rand.NewPCG(13, 1))
		var os []weather.Outlook
		for _, o := range guesses(t, r, all, from, 200, 10, 0) {
			var ds []weather.Day
			for _, d := range o.Days.Days() {
				x := of(r, means[d.Date], midHalf(d)[0])
				ds = append(ds, flat(d.Date, min(max(x, -80), 55)))
			}
			os = append(os, weather.Outlook{IssuedAt: o.IssuedAt, Days: series(t, ds)})
		}
		got := forecast.LearnOutlookSkill(s, s, os, time.UTC)
		for i := range 10 {
			if !(0 <= got.Believe[i] && got.Believe[i] <= 1) || !(0 <= got.Remain[i] && got.Remain[i] <= 1) {
				t.Errorf("%s: lead %d: %v and %v", name, i+1, got.Believe[i], got.Remain[i])
			}
		}
	}
}

func TestSkillRiseIsTheMaxMinFormula(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(14, 1))
	for range 2000 {
		n := 1 + r.IntN(12)
		xs, ws := make([]float64, n), make([]float64, n)
		for i := range xs {
			xs[i], ws[i] = float64(i)*0.2*r.Float64()+math.Round(4*r.NormFloat64())/4, 0.1+5*r.Float64()
		}
		got := forecast.Rise(xs, ws)
		for i := range xs {
			if want := maxMin(xs, ws, i); !near(got[i], want, 1e-9) {
				t.Fatalf("place %d of %v with weights %v: %v, want %v", i, xs, ws, got[i], want)
			}
		}
	}
}

// Ten years of an outlook every morning.
func BenchmarkOutlookSkill(b *testing.B) {
	all := annArbor(b)
	s, err := weather.NewSeries(all)
	if err != nil {
		b.Fatal(err)
	}
	os := guesses(b, rand.New(rand.NewPCG(15, 1)), all, weather.DateOf(2008, time.January, 1), 3650, 10, 0.5)
	b.ReportAllocs()
	for b.Loop() {
		if got := forecast.LearnOutlookSkill(s, s, os, time.UTC); !got.Learned() {
			b.Fatal("nothing learned")
		}
	}
}
