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

// pair is a stand-in's record and what a sensor would have measured on the same
// dates: by month a fixed difference of minimum and maximum, and noise that
// carries over from day to day.
type pair struct {
	from, own []weather.Day
}

// pairOf makes the days from first to last. min and max are the differences by
// month; noise of the given sd and correlation moves both extremes alike.
func pairOf(r *rand.Rand, first, last weather.Date, minC, maxC [12]float64, sd, correlation float64) (p pair) {
	x := sd * r.NormFloat64()
	for d := first; d <= last; d++ {
		mid, half := 12+5*r.NormFloat64(), 4+3*r.Float64()
		day := weather.Day{Date: d, Min: mid - half, Max: mid + half}
		_, m, _ := d.Civil()
		p.from = append(p.from, day)
		p.own = append(p.own, weather.Day{Date: d, Min: day.Min + minC[m-1] + x, Max: day.Max + maxC[m-1] + x})
		x = correlation*x + sd*math.Sqrt(1-correlation*correlation)*r.NormFloat64()
	}
	return p
}

func allYear(c float64) (xs [12]float64) {
	for i := range xs {
		xs[i] = c
	}
	return xs
}

// offsetsByDefinition is the oracle: the differences are sorted by month, the
// variance of a mean is the sum of all covariances, and the offsets are solved
// for together with what they have in common, as thirteen unknowns.
func offsetsByDefinition(dates []weather.Date, diffs []float64) (year forecast.Offset, months [12]forecast.Offset, sd, corr float64) {
	by := map[time.Month][]float64{}
	at := map[weather.Date]float64{}
	for i, d := range dates {
		by[d.Time().Month()] = append(by[d.Time().Month()], diffs[i])
		at[d] = diffs[i]
	}
	mean := func(xs []float64) (m float64) {
		for _, x := range xs {
			m += x / float64(len(xs))
		}
		return m
	}
	var products, squares []float64
	total := 0.0
	for _, d := range dates {
		rest := func(d weather.Date) float64 { return at[d] - mean(by[d.Time().Month()]) }
		squares = append(squares, rest(d)*rest(d))
		total += rest(d) * rest(d)
		if _, ok := at[d+1]; ok {
			products = append(products, rest(d)*rest(d+1))
		}
	}
	if len(products) > 0 && total > 0 {
		n := float64(len(dates)) / float64(len(by))
		corr = (mean(products)/mean(squares) + 1/n) / (1 - 3/n)
		corr = math.Max(0, math.Min(0.95, corr))
	}
	unit := func(n int) (v float64) { // Variance of the mean of n, for sd 1.
		for i := range n {
			for j := range n {
				v += math.Pow(corr, math.Abs(float64(i-j))) / float64(n*n)
			}
		}
		return v
	}
	free := 0.0
	for _, xs := range by {
		free += float64(len(xs)) * (1 - unit(len(xs)))
	}
	sd = math.Sqrt(total / free)

	// Minimise Σ(y - μ - δ)²/v + Σδ²/τ² over μ, at 0, and the δ.
	const tau = 0.5
	var a [13][26]float64 // The normal equations beside the unit matrix.
	var b [13]float64
	for i := range a {
		a[i][13+i] = 1
		if i > 0 {
			a[i][i] += 1 / (tau * tau)
		}
	}
	for m, xs := range by {
		w := 1 / (sd * sd * unit(len(xs)))
		i := int(m)
		a[0][0] += w
		a[0][i] += w
		a[i][0] += w
		a[i][i] += w
		b[0] += w * mean(xs)
		b[i] += w * mean(xs)
	}
	for i := range a { // Gauss and Jordan; the matrix is positive definite.
		p := a[i][i]
		for k := range a[i] {
			a[i][k] /= p
		}
		for j := range a {
			if f := a[j][i]; j != i {
				for k := range a[j] {
					a[j][k] -= f * a[i][k]
				}
			}
		}
	}
	inverse := func(i, j int) float64 { return a[i][13+j] }
	var x [13]float64
	for i := range x {
		for j := range b {
			x[i] += inverse(i, j) * b[j]
		}
	}
	year = forecast.Offset{C: x[0], SD: math.Sqrt(inverse(0, 0))}
	for i := 1; i < 13; i++ {
		v := inverse(0, 0) + 2*inverse(0, i) + inverse(i, i)
		months[i-1] = forecast.Offset{C: x[0] + x[i], SD: math.Sqrt(v)}
	}
	return year, months, sd, corr
}

func sameOffset(t *testing.T, name string, got, want forecast.Offset) {
	t.Helper()
	if !near(got.C, want.C, 1e-8) || !near(got.SD, want.SD, 1e-8) {
		t.Errorf("%s: %v ± %v, want %v ± %v", name, got.C, got.SD, want.C, want.SD)
	}
}

func TestStandInOffsetsAreTheirDefinition(t *testing.T) {
	t.Parallel()
	start := weather.DateOf(2023, time.September, 20)
	for _, tt := range []struct {
		name        string
		seed        uint64
		n           int
		correlation float64
		keep        float64 // Of the sensor's days.
	}{
		{"two years", 1, 731, 0.6, 1},
		{"a season across New Year", 2, 150, 0.5, 1},
		{"sixty-five days", 3, 65, 0.9, 1},
		{"half of the days at random", 4, 500, 0.7, 0.5},
		{"without correlation", 5, 400, 0, 1},
		{"a drift rather than an offset", 6, 90, 0.999, 1},
	} {
		r := rand.New(rand.NewPCG(tt.seed, 2))
		p := pairOf(r, start, start+weather.Date(tt.n-1), allYear(0.7), allYear(-1.2), 1.1, tt.correlation)
		p.own = slices.DeleteFunc(p.own, func(weather.Day) bool { return r.Float64() >= tt.keep })
		for i := range p.own { // Extremes differ each by itself too.
			p.own[i].Max += r.Float64()
		}
		from := drop(p.from, start+30, start+33) // Neither has all days of the other.
		got, ok := forecast.CompareStations(series(t, p.own), series(t, from))
		if !ok {
			t.Fatalf("%s: no offsets", tt.name)
		}
		var dates []weather.Date
		var lo, hi, mid []float64
		perMonth := [12]int{}
		for _, d := range p.own {
			for _, e := range from {
				if e.Date == d.Date {
					dates = append(dates, d.Date)
					lo, hi, mid = append(lo, d.Min-e.Min), append(hi, d.Max-e.Max), append(mid, (d.Min+d.Max-e.Min-e.Max)/2)
					perMonth[d.Date.Time().Month()-1]++
				}
			}
		}
		if got.Days != len(dates) || got.Year.Days != len(dates) {
			t.Errorf("%s: %d common days, %d in the year, want %d", tt.name, got.Days, got.Year.Days, len(dates))
		}
		for _, x := range []struct {
			name  string
			diffs []float64
			of    func(forecast.MonthOffset) forecast.Offset
		}{
			{"minimum", lo, func(m forecast.MonthOffset) forecast.Offset { return m.Min }},
			{"maximum", hi, func(m forecast.MonthOffset) forecast.Offset { return m.Max }},
			{"middle", mid, func(m forecast.MonthOffset) forecast.Offset { return m.Middle }},
		} {
			year, months, sd, corr := offsetsByDefinition(dates, x.diffs)
			sameOffset(t, tt.name+", year, "+x.name, x.of(got.Year), year)
			for m := range months {
				sameOffset(t, tt.name+", "+time.Month(m+1).String()+", "+x.name, x.of(got.Months[m]), months[m])
				if got.Months[m].Days != perMonth[m] {
					t.Errorf("%s: %d days in month %d, want %d", tt.name, got.Months[m].Days, m+1, perMonth[m])
				}
			}
			if x.name == "middle" && !(near(got.DaySD, sd, 1e-9) && near(got.DayCorrelation, corr, 1e-9)) {
				t.Errorf("%s: single days %v, correlation %v, want %v, %v", tt.name, got.DaySD, got.DayCorrelation, sd, corr)
			}
		}
	}
}

// Over many pairs of stations with offsets drawn as the model says, what is
// found lies about the truth by what it says of itself: the errors divided by
// their sd have mean square 1. The errors of twelve months share what they have
// in common, so 400 pairs count as 400 values: their mean square has a standard
// error of √(2/400) = 0.07.
func TestStandInOffsetsAreAsCertainAsTheySay(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name        string
		n           weather.Date
		correlation float64
	}{
		{"two years, correlated", 730, 0.6},
		{"a season, correlated", 120, 0.6},
		{"a season, not correlated", 120, 0},
	} {
		var known, unknown, sds float64
		const pairs = 400
		first := weather.DateOf(2024, time.April, 1)
		for k := range uint64(pairs) {
			r := rand.New(rand.NewPCG(k, 3))
			var truth [12]float64
			mu := 2 * r.NormFloat64()
			for m := range truth {
				truth[m] = mu + 0.5*r.NormFloat64()
			}
			p := pairOf(r, first, first+tt.n-1, truth, truth, 1.3, tt.correlation)
			got, ok := forecast.CompareStations(series(t, p.own), series(t, p.from))
			if !ok {
				t.Fatal("no offsets")
			}
			z := func(m time.Month) float64 {
				o := got.Months[m-1].Middle
				return (o.C - truth[m-1]) / o.SD
			}
			known += z(time.May) * z(time.May) / pairs
			unknown += z(time.December) * z(time.December) / pairs
			sds += got.DaySD / pairs
		}
		if !(0.75 <= known && known <= 1.25) || !(0.75 <= unknown && unknown <= 1.25) {
			t.Errorf("%s: mean square of errors in units of their sd is %v for May, %v for December, want 1", tt.name, known, unknown)
		}
		if !near(sds, 1.3, 0.05) {
			t.Errorf("%s: single days have sd %v, want 1.3", tt.name, sds)
		}
	}
}

// Without noise nothing is left to draw towards the year's offset.
func TestStandInWithoutNoiseIsMovedExactly(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 2))
	var minC, maxC [12]float64
	for m := range minC {
		minC[m], maxC[m] = float64(m)/4, 2-float64(m)/8
	}
	first, last := weather.DateOf(2014, time.January, 1), weather.DateOf(2025, time.June, 10)
	p := pairOf(r, first, last, minC, maxC, 0, 0)
	sensor := weather.DateOf(2023, time.March, 5)
	own := p.own[sensor-first:]
	short, long := weather.DateOf(2024, time.February, 27), weather.DateOf(2024, time.May, 30)
	own = drop(own, short, short+2) // 27 to 29 February.
	own = drop(own, long, long+3)
	own = drop(own, last-4, last)
	o, ok := forecast.CompareStations(series(t, own), series(t, p.from))
	if !ok {
		t.Fatal("no offsets")
	}
	for m, x := range o.Months {
		if !near(x.Min.C, minC[m], 1e-9) || !near(x.Max.C, maxC[m], 1e-9) || !near(x.Middle.SD, 0, 1e-6) {
			t.Errorf("month %d: %v", m+1, x)
		}
	}
	whole, lent := o.Lend(series(t, own), series(t, p.from))
	var wantWhole, wantLent []weather.Day
	for _, d := range p.own {
		switch in := func(a weather.Date, n int) bool { return a <= d.Date && d.Date < a+weather.Date(n) }; {
		case in(short, 3):
			continue // Bridged better by itself.
		case d.Date < sensor, in(long, 4), in(last-4, 5):
			wantLent = append(wantLent, d)
		}
		wantWhole = append(wantWhole, d)
	}
	for _, x := range []struct {
		name      string
		got, want []weather.Day
		tol       float64
	}{{"whole", whole.Days(), wantWhole, 1e-9}, {"lent", lent.Days(), wantLent, 1e-9}} {
		if len(x.got) != len(x.want) {
			t.Fatalf("%s has %d days, want %d", x.name, len(x.got), len(x.want))
		}
		for i, w := range x.want {
			if g := x.got[i]; g.Date != w.Date || !near(g.Min, w.Min, x.tol) || !near(g.Max, w.Max, x.tol) {
				t.Fatalf("%s: %v, want %v", x.name, g, w)
			}
		}
	}
	for _, d := range own { // What the sensor has measured stands to the last bit.
		if g, ok := whole.At(d.Date); !ok || g != d {
			t.Fatalf("the sensor's %v became %v", d, g)
		}
	}
	if d, ok := lent.At(weather.DateOf(2016, time.February, 29)); !ok || !near(d.Min, p.own[weather.DateOf(2016, time.February, 29)-first].Min, 1e-9) {
		t.Errorf("leap day is %v", d)
	}
}

func TestStandInNeedsSixtyCommonDays(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(5, 2))
	first := weather.DateOf(2025, time.April, 1)
	p := pairOf(r, first, first+200, allYear(1), allYear(1), 1, 0.5)
	from := series(t, p.from)
	for _, tt := range []struct {
		name string
		own  []weather.Day
		days int
		ok   bool
	}{
		{"none", nil, 0, false},
		{"fifty-nine", p.own[:59], 59, false},
		{"sixty", p.own[:60], 60, true},
		{"sixty of which one is not common", p.own[:60], 59, false},
		{"all before the stand-in's first", nil, 0, false},
	} {
		other := from
		switch tt.name {
		case "sixty of which one is not common":
			other = series(t, drop(p.from, first+7, first+7))
		case "all before the stand-in's first":
			tt.own = p.own[:100]
			other = series(t, p.from[100:])
		}
		got, ok := forecast.CompareStations(series(t, tt.own), other)
		if ok != tt.ok || got.Days != tt.days {
			t.Errorf("%s: %v with %d days, want %v with %d", tt.name, ok, got.Days, tt.ok, tt.days)
		}
		if !ok && got != (forecast.StandInOffsets{Days: tt.days}) {
			t.Errorf("%s: offsets %v", tt.name, got)
		}
	}
	if got, ok := forecast.CompareStations(from, weather.Series{}); ok || got.Days != 0 {
		t.Errorf("stand-in without a record: %v, %v", got, ok)
	}
}

// A sensor that is out from June to August alone knows little of January: it
// takes what the summer months have in common, and says how unsure that is.
func TestStandInOfASensorWithSummersOnly(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(6, 2))
	first := weather.DateOf(2022, time.January, 1)
	p := pairOf(r, first, weather.DateOf(2025, time.December, 31), allYear(1.5), allYear(2.5), 1, 0.5)
	own := slices.DeleteFunc(slices.Clone(p.own), func(d weather.Day) bool {
		m := d.Date.Time().Month()
		return m < time.June || m > time.August
	})
	o, ok := forecast.CompareStations(series(t, own), series(t, p.from))
	if !ok {
		t.Fatal("no offsets")
	}
	for _, m := range []time.Month{time.January, time.May, time.September} {
		x := o.Months[m-1]
		if x.Days != 0 || x.Min.C != o.Year.Min.C || x.Max.C != o.Year.Max.C {
			t.Errorf("%s: %v, want the year's %v", m, x, o.Year)
		}
		if want := math.Hypot(0.5, o.Year.Middle.SD); !near(x.Middle.SD, want, 1e-12) {
			t.Errorf("%s: sd %v, want %v", m, x.Middle.SD, want)
		}
		// Three months tell the year's offset to 0.5/√3 at best.
		if !near(x.Middle.C, 2, 4*0.5) || !(x.Middle.SD >= math.Sqrt(0.25+0.25/3)) {
			t.Errorf("%s: %v, want about 2 and unsure", m, x.Middle)
		}
	}
	for _, m := range []time.Month{time.June, time.July, time.August} {
		// 120 days count as 40 at correlation 0.5.
		if x := o.Months[m-1]; !near(x.Min.C, 1.5, 4/math.Sqrt(40)) || !near(x.Max.C, 2.5, 4/math.Sqrt(40)) || !(x.Middle.SD < 0.2) {
			t.Errorf("%s: %v", m, x)
		}
	}
	whole, lent := o.Lend(series(t, own), series(t, p.from))
	if whole.Len() != len(p.from) || lent.Len() != len(p.from)-len(own) {
		t.Errorf("%d days with %d lent, want %d with %d", whole.Len(), lent.Len(), len(p.from), len(p.from)-len(own))
	}
}

// In the south a season crosses New Year; months are months all the same.
func TestStandInOfASouthernSeason(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 2))
	first, last := weather.DateOf(2015, time.July, 1), weather.DateOf(2025, time.February, 10)
	minC := allYear(-3)
	minC[time.November-1], minC[time.January-1] = 3, 3
	p := pairOf(r, first, last, minC, minC, 0.4, 0)
	own := p.own[weather.DateOf(2024, time.November, 15)-first:]
	o, ok := forecast.CompareStations(series(t, own), series(t, p.from))
	if !ok {
		t.Fatal("no offsets")
	}
	for _, x := range []struct {
		month time.Month
		days  int
	}{{time.November, 16}, {time.December, 31}, {time.January, 31}, {time.February, 10}} {
		m := o.Months[x.month-1]
		// Ten days at 0.4: 0.13, and the rest is drawn to the year's offset by 0.06 of 6 °C.
		if m.Days != x.days || !near(m.Min.C, minC[x.month-1], 4*0.13+0.4) {
			t.Errorf("%s: %v, want %d days and %v", x.month, m, x.days, minC[x.month-1])
		}
	}
}

func TestStandInNeverLetsExtremesCrossOrLeaveTheEarth(t *testing.T) {
	t.Parallel()
	first := weather.DateOf(2024, time.January, 1)
	var from, own []weather.Day
	for d := first; d < first+400; d++ {
		half := 6.0
		if d%5 == 0 {
			half = 1
		}
		from = append(from, weather.Day{Date: d, Min: 10 - half, Max: 10 + half})
		if d%5 != 0 && d < first+200 {
			own = append(own, weather.Day{Date: d, Min: 11, Max: 13}) // The half-range is 5 °C less.
		}
	}
	from[390] = weather.Day{Date: first + 390, Min: 40, Max: 60}
	from[391] = weather.Day{Date: first + 391, Min: -90, Max: -88}
	o, ok := forecast.CompareStations(series(t, own), series(t, from))
	if !ok {
		t.Fatal("no offsets")
	}
	_, lent := o.Lend(series(t, own), series(t, from))
	flat := 0
	for _, d := range lent.Days() {
		if !(d.Min <= d.Max) {
			t.Fatalf("extremes crossed: %v", d)
		}
		if d.Min == d.Max && near(d.Min, 12, 1e-9) { // 10 °C, two warmer; ± 1, five less.
			flat++
		}
	}
	if flat != 40 {
		t.Errorf("%d days without range, want 40", flat)
	}
	hot, _ := lent.At(first + 390)
	if !near(hot.Min, 47, 0.5) || !near(hot.Max, 57, 0.5) {
		t.Errorf("hottest day is %v, want 47 to 57", hot)
	}
	for i := range own { // Twenty warmer than that.
		own[i].Min += 20
		own[i].Max += 20
	}
	if o, ok = forecast.CompareStations(series(t, own), series(t, from)); !ok {
		t.Fatal("no offsets")
	}
	_, lent = o.Lend(series(t, own), series(t, from))
	if hot, _ = lent.At(first + 390); hot.Max != weather.Warmest || hot.Min != weather.Warmest {
		t.Errorf("hottest day is %v, want %d at most", hot, weather.Warmest)
	}
	for i := range own {
		own[i].Min -= 60
		own[i].Max -= 60
	}
	if o, ok = forecast.CompareStations(series(t, own), series(t, from)); !ok {
		t.Fatal("no offsets")
	}
	_, lent = o.Lend(series(t, own), series(t, from))
	if cold, _ := lent.At(first + 391); cold.Max != weather.Coldest || cold.Min != weather.Coldest {
		t.Errorf("coldest day is %v, want %d at least", cold, weather.Coldest)
	}
}

func TestStandInLendsNothingItHasNot(t *testing.T) {
	t.Parallel()
	first := weather.DateOf(2024, time.January, 1)
	own := flatDays(first, 300, 10)
	own = drop(drop(own, first+1, first+3), first+100, first+109)
	from := drop(flatDays(first, 320, 8), first+102, first+105)
	o, ok := forecast.CompareStations(series(t, own), series(t, from))
	if !ok {
		t.Fatal("no offsets")
	}
	whole, lent := o.Lend(series(t, own), series(t, from))
	if lent.Len() != 6+20 || whole.Len() != len(own)+6+20 {
		t.Errorf("%d days with %d lent", whole.Len(), lent.Len())
	}
	for _, d := range lent.Days() {
		if !near(d.Min, 10, 1e-9) || !near(d.Max, 10, 1e-9) {
			t.Errorf("%v, want 10 °C", d)
		}
	}
	whole, lent = o.Lend(series(t, own), weather.Series{})
	if lent.Len() != 0 || !slices.Equal(whole.Days(), own) {
		t.Error("a stand-in without days changes the record")
	}
	whole, lent = o.Lend(weather.Series{}, series(t, from))
	if lent.Len() != len(from) || !slices.Equal(whole.Days(), lent.Days()) {
		t.Errorf("a sensor without days: %d of %d lent", lent.Len(), len(from))
	}
}

// Literals worked by hand.
func TestStandInHeatUncertainty(t *testing.T) {
	t.Parallel()
	var o forecast.StandInOffsets
	o.Months[4].Middle.SD, o.Months[5].Middle.SD = 0.3, 0.5
	o.DaySD = 1.2
	may := weather.DateOf(2025, time.May, 29) // Three days of May, then June.
	lent := flatDays(may, 7, 15)
	if got := o.SharedHeatSD(lent); !near(got, 3*0.3+4*0.5, 1e-12) {
		t.Errorf("offsets give %v °C·d, want 2.9", got)
	}
	if got, want := o.HeatSD(lent), math.Sqrt(2.9*2.9+7*1.2*1.2); !near(got, want, 1e-12) {
		t.Errorf("uncorrelated days give %v °C·d, want %v", got, want)
	}
	o.DayCorrelation = 0.5
	// Two days: variance 2(1 + 0.5)·1.44.
	if got, want := o.HeatSD(lent[:2]), math.Sqrt(0.6*0.6+3*1.44); !near(got, want, 1e-12) {
		t.Errorf("two days give %v °C·d, want %v", got, want)
	}
	if got := o.HeatSD(lent[:1]); !near(got, math.Hypot(0.3, 1.2), 1e-12) {
		t.Errorf("one day gives %v °C·d", got)
	}
	if a, b := o.HeatSD(nil), o.SharedHeatSD(nil); a != 0 || b != 0 {
		t.Errorf("no lent day gives %v and %v °C·d", a, b)
	}
}

// A sensor broken from 10 May to 18 June: the heat of the days that the stand-in
// lent is off by what is said of it, over many pairs of stations.
func TestStandInHeatIsOffByWhatItSays(t *testing.T) {
	t.Parallel()
	const pairs = 400
	first, last := weather.DateOf(2024, time.March, 1), weather.DateOf(2025, time.July, 31)
	from, to := weather.DateOf(2025, time.May, 10), weather.DateOf(2025, time.June, 18)
	square := 0.0
	for k := range uint64(pairs) {
		r := rand.New(rand.NewPCG(k, 4))
		var truth [12]float64
		mu := 2 * r.NormFloat64()
		for m := range truth {
			truth[m] = mu + 0.5*r.NormFloat64()
		}
		p := pairOf(r, first, last, truth, truth, 1, 0.5)
		for i := range p.own { // Warm enough that all of it counts.
			for _, d := range []*weather.Day{&p.own[i], &p.from[i]} {
				d.Min, d.Max = d.Min/4+12, d.Max/4+12
			}
			// A quarter of the weather, but all of the difference.
			diff := (p.own[i].Min - p.from[i].Min) * 3
			p.own[i].Min += diff
			p.own[i].Max += diff
		}
		own := drop(p.own, from, to)
		o, ok := forecast.CompareStations(series(t, own), series(t, p.from))
		if !ok {
			t.Fatal("no offsets")
		}
		_, lent := o.Lend(series(t, own), series(t, p.from))
		var err float64
		m := none(forecast.SingleSine, 3)
		for i, d := range lent.Between(from, to) {
			was := p.own[int(from-first)+i]
			err += m.DegreeDays(d.Min, d.Max, d.Min) - m.DegreeDays(was.Min, was.Max, was.Min)
		}
		z := err / o.HeatSD(lent.Between(from, to))
		square += z * z / pairs
	}
	// The offsets of May and June, both well known, hardly correlate here. 22 and
	// 18 days with an sd of 0.25 °C are taken as 40·0.25 °C·d beside √(40·3) of
	// single days, but are off by 28·0.25, which makes 0.77 ± 0.05.
	if !(0.57 <= square && square <= 0.97) {
		t.Errorf("mean square of errors in units of their sd is %v, want 0.77", square)
	}
}

func BenchmarkStandIn(b *testing.B) {
	all := annArbor(b)
	from, err := weather.NewSeries(all)
	if err != nil {
		b.Fatal(err)
	}
	own, err := weather.NewSeries(all[len(all)-1000:])
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		o, ok := forecast.CompareStations(own, from)
		if whole, _ := o.Lend(own, from); !ok || whole.Len() != len(all) {
			b.Fatal("nothing lent")
		}
	}
}
