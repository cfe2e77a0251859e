package forecast

import (
	"math"

	"ripetide/weather"
)

const (
	leastCommon = 60 // Days that two stations must share before one stands in for the other.
	// monthOffsetSD is by how much the offset of one month differs from that of
	// the year, °C: a default, no source gives it.
	monthOffsetSD = 0.5
	// mostPersistent is the strongest correlation from day to day that is
	// believed, for a record of a few weeks cannot tell a drift from an offset.
	mostPersistent = 0.95
)

// Offset is by how much something is warmer at a station than at the one that
// stands in for it, and the sd of that figure, both °C.
type Offset struct{ C, SD float64 }

// MonthOffset is how a station differs in one month from the one that stands in
// for it.
type MonthOffset struct {
	Days             int // That both have.
	Min, Max, Middle Offset
}

// StandInOffsets is how a station differs from the one that stands in for it,
// and how well that is known.
type StandInOffsets struct {
	Days   int             // That both have.
	Year   MonthOffset     // What the months have in common.
	Months [12]MonthOffset // From January.
	// DaySD is the sd of single days about the offset of their month, °C, of
	// their middles, and DayCorrelation how much of that carries over from one
	// day to the next: the correlation, in [0, 1).
	DaySD, DayCorrelation float64
}

// compareStations returns by how much own is warmer than from, on the days that
// both have. ok is false, and only Days is set, when these are fewer than
// leastCommon.
//
// The offset of a month is what both have in common in the year, μ, and what
// is the month's alone, normal with sd τ = monthOffsetSD. With y the mean
// difference of the month's common days and v its variance,
//
//	offset = μ + w·(y - μ),  w = τ² / (τ² + v)
//	variance = w·v + (1-w)²·var(μ)
//
// and μ is the mean of the y with weights 1/(τ² + v): the posterior mean and
// variance of a normal model with nothing assumed about μ. A month without
// common days has w = 0. v comes from the sd of single days and their number,
// which correlation from day to day makes worth less; see [noise.ofMean]. This
// is done for the minimum, the maximum and the middle, each by itself.
func compareStations(own, from weather.Series) (o StandInOffsets, ok bool) {
	var dates []weather.Date
	var lo, hi, mid []float64
	others := from.Days()
	for _, d := range own.Days() {
		for len(others) > 0 && others[0].Date < d.Date {
			others = others[1:]
		}
		if len(others) == 0 {
			break
		}
		if e := others[0]; e.Date == d.Date {
			dates = append(dates, d.Date)
			lo, hi, mid = append(lo, d.Min-e.Min), append(hi, d.Max-e.Max), append(mid, middle(d)-middle(e))
		}
	}
	o.Days = len(dates)
	if o.Days < leastCommon {
		return o, false
	}
	o.Year.Days = o.Days
	for _, x := range []struct {
		differences []float64
		of          func(*MonthOffset) *Offset
	}{
		{lo, func(m *MonthOffset) *Offset { return &m.Min }},
		{hi, func(m *MonthOffset) *Offset { return &m.Max }},
		{mid, func(m *MonthOffset) *Offset { return &m.Middle }},
	} {
		g := newGrouped(dates, x.differences)
		e := g.noise()
		o.DaySD, o.DayCorrelation = e.sd, e.correlation // The middle's, which comes last.
		year, months := g.offsets(e)
		*x.of(&o.Year) = year
		for m := range months {
			o.Months[m].Days = g.n[m]
			*x.of(&o.Months[m]) = months[m]
		}
	}
	return o, true
}

// grouped are the differences between two stations by month.
type grouped struct {
	dates []weather.Date
	rest  []float64 // Differences less the mean of their month, °C.
	month []int     // From 0.
	n     [12]int
	mean  [12]float64 // °C; 0 for a month without days.
}

func newGrouped(dates []weather.Date, differences []float64) grouped {
	g := grouped{dates: dates, rest: make([]float64, len(dates)), month: make([]int, len(dates))}
	for i, x := range differences {
		m := monthOf(dates[i])
		g.month[i] = m
		g.n[m]++
		g.mean[m] += x
	}
	for m, n := range g.n {
		if n > 0 {
			g.mean[m] /= float64(n)
		}
	}
	for i, x := range differences {
		g.rest[i] = x - g.mean[g.month[i]]
	}
	return g
}

// monthOf returns the month of d, January being 0.
func monthOf(d weather.Date) int {
	_, m, _ := d.Civil()
	return int(m) - 1
}

// noise is what single days do about the offset of their month.
type noise struct{ sd, correlation float64 } // °C; from one day to the next.

// noise estimates it. Residuals about a mean of n days correlate by less than
// the days do, by about (1 + 3φ)/n (Marriott and Pope (1954), Biometrika
// 41(3/4), 390-402, from memory, checked by simulation), which is undone with
// n the days of the average month.
func (g grouped) noise() noise {
	var squares, products float64
	pairs, months := 0, 0
	for i, x := range g.rest {
		squares += x * x
		if i > 0 && g.dates[i] == g.dates[i-1]+1 {
			products += x * g.rest[i-1]
			pairs++
		}
	}
	for _, n := range g.n {
		if n > 0 {
			months++
		}
	}
	e := noise{sd: 1}
	total := float64(len(g.rest))
	if pairs > 0 && squares > 0 {
		n := total / float64(months) // At least 5: 60 days in 12 months.
		seen := products / float64(pairs) / (squares / total)
		e.correlation = min(max((seen+1/n)/(1-3/n), 0), mostPersistent)
	}
	// The mean of a month takes as much from its n days as it varies itself.
	free := total
	for _, n := range g.n {
		if n > 0 {
			free -= float64(n) * e.ofMean(n)
		}
	}
	e.sd = math.Sqrt(squares / free)
	return e
}

// ofMean returns the variance, °C², of the mean of n days in a row of noise: a
// first-order autoregression with correlation φ,
//
//	sd²/n · [(1+φ)/(1-φ) - 2φ(1-φⁿ)/(n(1-φ)²)],
//
// which is sd² over the effective number of days. Days that do not follow each
// other say more; that is not counted. n must be above zero.
func (e noise) ofMean(n int) float64 {
	f, k := e.correlation, float64(n)
	return e.sd * e.sd / k * ((1+f)/(1-f) - 2*f*(1-math.Pow(f, k))/(k*(1-f)*(1-f)))
}

// offsets returns the offset that the months have in common and that of each;
// see compareStations.
func (g grouped) offsets(e noise) (year Offset, months [12]Offset) {
	const prior = monthOffsetSD * monthOffsetSD
	var sum, weights float64
	for m, n := range g.n {
		if n > 0 {
			w := 1 / (prior + e.ofMean(n))
			sum += w * g.mean[m]
			weights += w
		}
	}
	year = Offset{sum / weights, math.Sqrt(1 / weights)}
	for m, n := range g.n {
		w, known := 0.0, prior // Known to prior alone.
		if n > 0 {
			v := e.ofMean(n)
			w = prior / (prior + v)
			known = w * v
		}
		months[m] = Offset{year.C + w*(g.mean[m]-year.C), math.Sqrt(known + (1-w)*(1-w)/weights)}
	}
	return year, months
}

// move returns d, a day at the station that stands in, as it would be at the
// other one: the middle and the half-range are shifted by what the offsets of
// minimum and maximum say, the half-range stays at or above zero, and both
// extremes stay within [weather.Coldest, weather.Warmest].
func (o StandInOffsets) move(d weather.Day) weather.Day {
	m := o.Months[monthOf(d.Date)]
	by := band{(m.Min.C + m.Max.C) / 2, (m.Max.C - m.Min.C) / 2}
	d = bandOf(d).plus(by).on(d.Date)
	d.Min = min(max(d.Min, weather.Coldest), weather.Warmest)
	d.Max = min(max(d.Max, weather.Coldest), weather.Warmest)
	return d
}

// lend returns what from, moved to the place of own, has on dates that own has
// not: before its first day, after its last one and in holes of more than
// shortHole days, which shorter ones bridge better by themselves. whole is own
// together with it.
func (o StandInOffsets) lend(own, from weather.Series) (whole, lent weather.Series) {
	mine := own.Days()
	all := make([]weather.Day, 0, len(mine)+from.Len())
	moved := make([]weather.Day, 0, from.Len())
	next := 0 // Index in mine of the first day not in all.
	for _, d := range from.Days() {
		for next < len(mine) && mine[next].Date < d.Date {
			all = append(all, mine[next])
			next++
		}
		if next < len(mine) {
			if mine[next].Date == d.Date {
				continue
			}
			if next > 0 && mine[next].Date-mine[next-1].Date-1 <= shortHole {
				continue
			}
		}
		e := o.move(d)
		all, moved = append(all, e), append(moved, e)
	}
	return mustSeries(append(all, mine[next:]...)), mustSeries(moved)
}

// mustSeries returns a series of days that are known to be in order and valid.
func mustSeries(days []weather.Day) weather.Series {
	s, err := weather.NewSeries(days)
	if err != nil {
		panic("forecast: " + err.Error())
	}
	return s
}

// sharedHeatSD returns the sd, °C·d, that not knowing the offsets gives to the
// degree-days summed over lent days: the sum of the sd of the middle's offset
// over the days. It is one error for all days, and in all traces alike, if they
// are lent.
//
// A day counts one °C·d for each °C, as if it were above the base temperature
// and below the upper cutoff all day, and the errors of two months as fully
// correlated: both are bounds, and near the truth in a season's warm months.
func (o StandInOffsets) sharedHeatSD(lent []weather.Day) (sd float64) {
	for _, d := range lent {
		sd += o.Months[monthOf(d.Date)].Middle.SD
	}
	return sd
}

// heatSD returns the sd, °C·d, of the degree-days summed over lent days that
// have passed: of the offsets, as in sharedHeatSD, and of what single days do
// about them, which correlates from day to day,
//
//	√(shared² + n²·var(mean of n days)).
//
// Divided by the heat of the whole sum it is the relative error of that.
func (o StandInOffsets) heatSD(lent []weather.Day) float64 {
	n := len(lent)
	if n == 0 {
		return 0
	}
	e := noise{o.DaySD, o.DayCorrelation}
	return math.Hypot(o.sharedHeatSD(lent), float64(n)*math.Sqrt(e.ofMean(n)))
}
