package quality

import (
	"fmt"
	"math"

	"ripetide/weather"
)

// Guess is a proposal for the hours at which the thermometers of a station
// were read. It is for a person to decide.
type Guess struct {
	Hours []weather.ReadingHour // As for [weather.Aligned]; not empty.
	// Told says that the hours are those that the source gives with its days.
	// Otherwise they are read from the values, which only tell a reader in the
	// morning from another: the hours are then 7 and 24, for any of the one and
	// any of the other kind, and changes fall on 1 January.
	Told     bool
	Evidence string // One sentence with the figures behind it.
}

// GuessHour proposes the hours at which the thermometers were read: from the
// hours in remarks, which belong to days one by one, or are none at all, where
// there are some; otherwise from the values. There is no proposal where no
// hour is told and the values do not look as if read in the morning. The days
// must be in strictly rising order.
//
// Of told hours a new one counts when more than half of the next 15 told ones
// are the same, so that a stray one does not.
//
// The values tell as follows. The warm afternoon between two nights goes with
// both of them, the one before and the one after. Where the day is the civil
// one, the high is written beside the low of the night before it, and the low
// of the next date is the night after. A reader in the morning writes the high
// of yesterday's afternoon beside the low of the night after it, so that the
// low of the date before is the night before. So, with highs and lows less
// their means over seven dates, which takes the season away, let b and a be
// the correlations of the highs with the lows of the date before and after,
// each with that of the same date held fixed. b - a is about -0.4 where the
// day is the civil one or ends in the afternoon, and 0.2 to 0.9 where it ends
// in the morning; its standard deviation from year to year is near 2/√n, with n days. Each year
// has its own, and years are morning or not such that the sum of (b-a)·√n over
// the ones less that over the others is largest, less turn for each change.
// Of n days together a run of mornings needs b - a > 2.5/√n, and 180 days.
func GuessHour(days []weather.Day, remarks []weather.Remark) (Guess, bool) {
	if len(remarks) == len(days) {
		if g, ok := toldHours(days, remarks); ok {
			return g, true
		}
	}
	return seenHours(days)
}

// toldHours makes runs of the hours that are told.
func toldHours(days []weather.Day, remarks []weather.Remark) (Guess, bool) {
	type told struct {
		date weather.Date
		hour int
	}
	var all []told
	for i, r := range remarks {
		if 1 <= r.Hour && r.Hour <= 24 {
			all = append(all, told{days[i].Date, int(r.Hour)})
		}
	}
	if len(all) == 0 {
		return Guess{}, false
	}
	const ahead = 15
	var hours []weather.ReadingHour
	agree := 0
	for i, t := range all {
		if len(hours) > 0 && t.hour == hours[len(hours)-1].Hour {
			agree++
			continue
		}
		next := all[i:min(i+ahead, len(all))]
		same := 0
		for _, other := range next {
			if other.hour == t.hour {
				same++
			}
		}
		if 2*same > min(len(all), ahead) {
			hours = append(hours, weather.ReadingHour{From: t.date, Hour: t.hour})
			agree++
		}
	}
	if len(hours) == 0 {
		return Guess{}, false
	}
	hours[0].From = days[0].Date
	last := hours[len(hours)-1]
	text := fmt.Sprintf("the source tells the hour of %d of %d days, and of %d it is the one proposed, at last %d o'clock from %s on",
		len(all), len(days), agree, last.Hour, last.From)
	return Guess{Hours: hours, Told: true, Evidence: text}, true
}

const (
	morning  = 7
	midnight = 24
	// turn is the price of a change of hour: what a year or two are worth, one
	// that is as clear as inland and two as by the sea.
	turn = 12
	// plainly times 1/√n is a difference that years without a reader in the
	// morning do not have.
	plainly = 2.5
	// leastDays are needed for a guess from values.
	leastDays = 180
)

// year is what the values of a calendar year tell.
type year struct {
	from    weather.Date // Its first day on record.
	moments moments
	morning bool
}

func seenHours(days []weather.Day) (Guess, bool) {
	years := yearsOf(days)
	// The best way through the years, by dynamic programming: of the best ways
	// that end in each of the two kinds, the sums, and where they came from.
	var best [2]float64
	from := make([][2]int, len(years))
	for y := range years {
		score := years[y].moments.difference() * math.Sqrt(years[y].moments.n)
		next := [2]float64{best[0] - score, best[1] + score}
		for k := range next {
			from[y][k] = k
			if y > 0 && best[1-k]-turn > best[k] {
				next[k] += best[1-k] - turn - best[k]
				from[y][k] = 1 - k
			}
		}
		best = next
	}
	kind := 0
	if best[1] > best[0] {
		kind = 1
	}
	for y := len(years) - 1; y >= 0; y-- {
		years[y].morning = kind == 1
		kind = from[y][kind]
	}
	g := Guess{}
	var all moments
	for y := 0; y < len(years); {
		var run moments
		first := y
		for ; y < len(years) && years[y].morning == years[first].morning; y++ {
			run.add(&years[y].moments)
		}
		hour := midnight
		if years[first].morning && run.n >= leastDays && run.difference() > plainly/math.Sqrt(run.n) {
			hour = morning
			all.add(&run)
		}
		if last := len(g.Hours) - 1; last < 0 || g.Hours[last].Hour != hour {
			g.Hours = append(g.Hours, weather.ReadingHour{From: years[first].from, Hour: hour})
		}
	}
	if all.n == 0 {
		return Guess{}, false
	}
	before, after := all.partial()
	g.Evidence = fmt.Sprintf("on %.0f days the highs go with the lows of the date before (correlation %.2f) rather than with those of the date after (%.2f), as where they are of the afternoon before",
		all.n, before, after)
	return g, true
}

// yearsOf returns the years on record with what their values tell.
func yearsOf(days []weather.Day) []year {
	const reach = 3
	var years []year
	var next weather.Date
	// The lows less their means of the days at i-1, i and i+1, as i moves on;
	// NaN where a date within reach is missing.
	lessMean := func(i int, value func(d *weather.Day) float64) float64 {
		if i < reach || i+reach >= len(days) || days[i+reach].Date-days[i-reach].Date != 2*reach {
			return math.NaN()
		}
		sum := 0.0
		for k := i - reach; k <= i+reach; k++ {
			sum += value(&days[k])
		}
		return value(&days[i]) - sum/(2*reach+1)
	}
	low := func(d *weather.Day) float64 { return d.Min }
	high := func(d *weather.Day) float64 { return d.Max }
	same, after := math.NaN(), lessMean(0, low)
	for i, d := range days {
		before := same
		same, after = after, lessMean(i+1, low)
		if i == 0 || d.Date >= next {
			next = weather.DateOf(d.Date.Year()+1, 1, 1)
			years = append(years, year{from: d.Date})
		}
		if x := lessMean(i, high); !math.IsNaN(x + before + same + after) {
			years[len(years)-1].moments.see([4]float64{x, before, same, after})
		}
	}
	return years
}

// moments are the sums of products of a high and the lows of the date before,
// the same and the date after. All have a mean near nought.
type moments struct {
	n    float64
	sums [4][4]float64
}

func (m *moments) see(x [4]float64) {
	m.n++
	for i := range x {
		for j := range x {
			m.sums[i][j] += x[i] * x[j]
		}
	}
}

func (m *moments) add(o *moments) {
	m.n += o.n
	for i := range m.sums {
		for j := range m.sums[i] {
			m.sums[i][j] += o.sums[i][j]
		}
	}
}

// partial returns the correlations of the high with the low of the date before
// and of the date after, each with the low of the same date held fixed; 0
// where there is none.
func (m *moments) partial() (before, after float64) {
	const high, same = 0, 2
	of := func(k int) float64 {
		r := (m.r(high, k) - m.r(high, same)*m.r(k, same)) /
			math.Sqrt((1-m.r(high, same)*m.r(high, same))*(1-m.r(k, same)*m.r(k, same)))
		if !(math.Abs(r) <= 1) {
			return 0
		}
		return r
	}
	return of(1), of(3)
}

func (m *moments) r(i, j int) float64 { return m.sums[i][j] / math.Sqrt(m.sums[i][i]*m.sums[j][j]) }

func (m *moments) difference() float64 {
	before, after := m.partial()
	return before - after
}
