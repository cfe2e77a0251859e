package forecast

import (
	"math"
	"slices"
	"sort"
	"time"

	"ripetide/weather"
)

const (
	// outlookDays is how many days of an outlook are used: beyond ten, daily
	// extremes are hardly foreseen better than by the calendar.
	outlookDays = 10
	// departureKept is the part of a day's departure from climate that is left
	// on the day after. The departures of daily middles correlate by 0.7 and 0.8
	// over one day, 0.4 and 0.5 over two, 0.2 and 0.3 over three at Ann Arbor and
	// at Lahr (testdata/weather, April to July).
	departureKept = 0.7
	// fadeDays is how long a departure fades; less than 1/40 000 is left then.
	fadeDays = 30

	leastVerified = 10 // Outlooks; fewer that came to pass say nothing of a lead.
	// defaultWeight is how many verified outlooks the default stands for. Those
	// of neighbouring days see much the same weather, so a month is little.
	defaultWeight = 30
	climateReach  = 7  // Days either side of a date that make its climate.
	leastClimate  = 60 // Days of other years that make a climate: four whole windows.
)

// outlookSkill is what outlooks are worth by lead, from 1, the day of issue, at
// index 0. All values lie in [0, 1].
type outlookSkill struct {
	believe  [outlookDays]float64 // ρ, how much of the outlook's departure from climate to believe; never rises.
	remain   [outlookDays]float64 // r, how much of the traces' own departures remains; never falls.
	verified [outlookDays]int     // Outlooks that came to pass. With fewer than leastVerified a lead keeps its default.
	outlooks int                  // Outlooks of which any day was verified.
}

// learned reports whether any lead rests on more than the default.
func (s outlookSkill) learned() bool { return slices.Max(s.verified[:]) >= leastVerified }

// defaultSkill returns what is assumed before outlooks have been verified:
// belief falls on a line from 1 to 0.3 and the traces' departures return from
// 0.3 to 1. These are defaults; no source gives them.
func defaultSkill() (s outlookSkill) {
	for i := range outlookDays {
		f := float64(i) / (outlookDays - 1)
		s.believe[i] = 1 + f*(0.3-1)
		s.remain[i] = 0.3 + f*(1-0.3)
	}
	return s
}

// band is a day as its middle and its half-range, °C, in which all blending is
// done. Extremes that are shifted each by itself can cross.
type band struct{ mid, half float64 }

func bandOf(d weather.Day) band { return band{middle(d), (d.Max - d.Min) / 2} }

func (s band) plus(o band) band { return band{s.mid + o.mid, s.half + o.half} }

func (s band) minus(o band) band { return band{s.mid - o.mid, s.half - o.half} }

func (s band) times(f float64) band { return band{f * s.mid, f * s.half} }

// on returns the day of the date d. A half-range below zero is taken as zero.
func (s band) on(d weather.Date) weather.Day {
	half := max(s.half, 0)
	return weather.Day{Date: d, Min: s.mid - half, Max: s.mid + half}
}

// blend lays the outlook o, which was issued on the given date at the farm,
// over the traces of w and returns how many of its days were used: those not
// observed, of lead 1 to outlookDays, within the season. If there is none the
// traces stay as they are. Observed days and the order of traces stay in any
// case.
//
// The lead L of a date counts from the day of issue, which has lead 1, so an
// outlook that was not renewed is believed less from day to day. With c the
// mean of the traces on the date, each trace becomes
//
//	T = c + ρ(L)·(outlook - c) + r(L)·(trace - c)
//
// in middle and half-range, °C; a half-range below zero becomes zero. On dates
// that the outlook leaves out between two that it has, outlook - c lies on a
// line between theirs. On the kth date after its last day and, if the record
// ends before it begins, before its first one, what it adds there fades with
// k, and what it knows with it:
//
//	T = c + φ^k·ρ·(outlook - c) + √(1 - φ^2k·(1 - r²))·(trace - c)
//
// with φ = departureKept, as if departures were a first-order autoregression.
// r is then 1 soon, but not at once where an outlook ends early.
//
// c is not smoothed from day to day: only about their own mean do the traces'
// departures add up to nothing, so that their mean becomes c + ρ·(outlook - c)
// whatever r is, and with ρ = 0 the traces' mean stays as it was. Half-ranges
// that were cut off at zero, which takes an outlook of a day with hardly any
// range, are the exception.
//
// An outlook that is warmer by day, by night or both makes no trace colder by
// day or by night.
func (w *ahead) blend(o weather.Outlook, issued weather.Date, s outlookSkill) (used int) {
	if len(w.paths) == 0 {
		return 0
	}
	last := w.first + weather.Date(len(w.paths[0])) - 1
	days := o.Days.Between(max(w.through+1, issued), min(issued+outlookDays-1, last))
	if len(days) == 0 {
		return 0
	}
	l := overlay{issued: issued, skill: s}
	for _, d := range days {
		l.dates = append(l.dates, d.Date)
		l.departures = append(l.departures, bandOf(d).minus(w.expected(d.Date)))
	}
	from := max(w.through+1, days[0].Date-fadeDays)
	to := min(last, days[len(days)-1].Date+fadeDays)
	for d := from; d <= to; d++ {
		add, keep := l.on(d)
		if add == (band{}) && keep == 1 {
			continue // To the last bit.
		}
		c := w.expected(d)
		for _, path := range w.paths {
			day := &path[d-w.first]
			*day = c.plus(add).plus(bandOf(*day).minus(c).times(keep)).on(d)
		}
	}
	w.outlook = days[len(days)-1].Date
	return len(days)
}

// expected returns the mean of the traces on the date d.
func (w *ahead) expected(d weather.Date) (c band) {
	for _, path := range w.paths {
		c = c.plus(bandOf(path[d-w.first]))
	}
	n := float64(len(w.paths))
	return band{c.mid / n, c.half / n}
}

// overlay is an outlook as departures from the mean of the traces.
type overlay struct {
	issued     weather.Date
	skill      outlookSkill
	dates      []weather.Date // Rising; at least one, of lead 1 to outlookDays.
	departures []band         // Of the outlook on dates, °C.
}

// on returns what the outlook adds to the mean of the traces on the date d, and
// the part of each trace's departure from that mean that is kept.
func (l overlay) on(d weather.Date) (add band, keep float64) {
	j := sort.Search(len(l.dates), func(i int) bool { return l.dates[i] >= d })
	switch {
	case j == len(l.dates):
		return l.beside(j-1, d)
	case l.dates[j] == d:
		return l.weigh(d, l.departures[j])
	case j == 0:
		return l.beside(0, d)
	}
	a, b := l.dates[j-1], l.dates[j]
	f := float64(d-a) / float64(b-a)
	return l.weigh(d, l.departures[j-1].times(1-f).plus(l.departures[j].times(f)))
}

// weigh returns on of a date within the outlook, which departs by x there.
func (l overlay) weigh(d weather.Date, x band) (add band, keep float64) {
	i := d - l.issued
	return x.times(l.skill.believe[i]), l.skill.remain[i]
}

// beside returns on of a date outside the outlook, whose nearest day is j.
func (l overlay) beside(j int, d weather.Date) (add band, keep float64) {
	add, keep = l.weigh(l.dates[j], l.departures[j])
	left := math.Pow(departureKept, math.Abs(float64(d-l.dates[j])))
	return add.times(left), math.Sqrt(1 - left*left*(1-keep*keep))
}

// learnSkill returns what outlooks for a station have been worth. They come in
// order of IssuedAt; of several issued on one date in zone, the farm's, the
// last one counts. came is what the station itself observed: a predicted day
// that is not in it does not count, be it still to come or never measured. past
// tells the climate; it is the same record, or one to which another station
// has lent years.
//
// By lead, with x the outlook's and y the weather's departure from climate,
// both of the day's middle and in units of the climate's sd,
//
//	ρ = Σxy / Σx²,  r² = Σ(y - ρx)² / (n-1)
//
// is the regression through the origin and what it leaves. The climate of a
// date is the mean and the sd of the days of past within climateReach of its
// month and day in all other years. ρ and r² are then drawn towards the default
// as if it had been seen in defaultWeight outlooks more, made monotone in lead
// by weighted least squares, and cut to [0, 1]. Leads with fewer than
// leastVerified outlooks keep their defaults, but for what the order of the
// others asks of them.
func learnSkill(came, past weather.Series, outlooks []weather.Outlook, zone *time.Location) outlookSkill {
	s := defaultSkill()
	if len(outlooks) == 0 || came.Len() == 0 || past.Len() == 0 {
		return s
	}
	sums := s.verify(came, newClimate(past), outlooks, zone)
	if !s.learned() {
		return s
	}
	var weight [outlookDays]float64
	for i, q := range sums {
		weight[i] = defaultWeight
		n := float64(s.verified[i])
		if s.verified[i] < leastVerified || !(q.xx > 0) {
			continue
		}
		weight[i] += n
		trust := n / weight[i]
		rho := q.xy / q.xx
		rest := max(q.yy-rho*q.xy, 0) / (n - 1)
		r := s.remain[i]
		s.believe[i] += trust * (rho - s.believe[i])
		s.remain[i] = math.Sqrt(r*r + trust*(rest-r*r))
	}
	slices.Reverse(s.believe[:])
	slices.Reverse(weight[:])
	rise(s.believe[:], weight[:])
	slices.Reverse(s.believe[:])
	slices.Reverse(weight[:])
	rise(s.remain[:], weight[:])
	for i := range outlookDays {
		s.believe[i] = min(max(s.believe[i], 0), 1)
		s.remain[i] = min(s.remain[i], 1)
	}
	return s
}

// moments are sums over the verified outlooks of one lead.
type moments struct{ xx, xy, yy float64 }

// verify sums over the outlooks by lead and counts them in s.
func (s *outlookSkill) verify(came weather.Series, c *climate, outlooks []weather.Outlook, zone *time.Location) (sums [outlookDays]moments) {
	next := weather.DateIn(outlooks[0].IssuedAt.In(zone))
	_, last, _ := came.Span()
	days := came.Between(next, last)
	known := make([]normal, len(days)) // The climate of days, as it is asked for.
	for i, o := range outlooks {
		issued := next
		if i+1 < len(outlooks) {
			if next = weather.DateIn(outlooks[i+1].IssuedAt.In(zone)); next == issued {
				continue
			}
		}
		any := false
		j := sort.Search(len(days), func(j int) bool { return days[j].Date >= issued })
		for _, d := range o.Days.Between(issued, issued+outlookDays-1) {
			for j < len(days) && days[j].Date < d.Date {
				j++
			}
			if j == len(days) {
				break
			}
			if days[j].Date != d.Date {
				continue
			}
			if !known[j].asked {
				known[j] = c.of(d.Date)
			}
			n := known[j]
			if !(n.sd > 0) {
				continue
			}
			x, y := (middle(d)-n.mean)/n.sd, (middle(days[j])-n.mean)/n.sd
			lead := d.Date - issued
			q := &sums[lead]
			q.xx += x * x
			q.xy += x * y
			q.yy += y * y
			s.verified[lead]++
			any = true
		}
		if any {
			s.outlooks++
		}
	}
	return sums
}

// rise changes xs to the sequence that never falls and is nearest to it in
// least squares with the given weights, which are above zero: neighbours in the
// wrong order are pooled until none are.
//
// Pool adjacent violators: Ayer et al. (1955), Ann. Math. Statist. 26(4),
// 641-647; from memory, checked against the max-min formula.
func rise(xs, weights []float64) {
	type pool struct {
		mean, weight float64
		n            int
	}
	var pools []pool
	for i, x := range xs {
		p := pool{x, weights[i], 1}
		for k := len(pools) - 1; k >= 0 && pools[k].mean > p.mean; k-- {
			q := pools[k]
			w := q.weight + p.weight
			p = pool{q.mean + p.weight/w*(p.mean-q.mean), w, q.n + p.n}
			pools = pools[:k]
		}
		pools = append(pools, p)
	}
	i := 0
	for _, p := range pools {
		for range p.n {
			xs[i] = p.mean
			i++
		}
	}
}

// normal is the climate of one date, of its middle, °C.
type normal struct {
	mean, sd float64 // sd is 0 where other years tell too little.
	asked    bool
}

// climate answers what other years were like about a date, from running sums.
type climate struct {
	first  weather.Date
	sums   []powerSums // sums[i] is over the days before first+i.
	years  []weather.Date
	leap   []bool // Of years, which are given by their first days.
	places [366]powerSums
	asked  [366]bool
}

// powerSums is a number of values, their sum and the sum of their squares.
type powerSums struct{ n, sum, squares float64 }

func (s powerSums) plus(o powerSums) powerSums {
	return powerSums{s.n + o.n, s.sum + o.sum, s.squares + o.squares}
}

func (s powerSums) minus(o powerSums) powerSums {
	return powerSums{s.n - o.n, s.sum - o.sum, s.squares - o.squares}
}

// newClimate sums s, which must not be empty.
func newClimate(s weather.Series) *climate {
	first, last, _ := s.Span()
	c := &climate{first: first, sums: make([]powerSums, last-first+2)}
	for _, d := range s.Days() {
		m := middle(d)
		c.sums[d.Date-first+1] = powerSums{1, m, m * m}
	}
	for i := 1; i < len(c.sums); i++ {
		c.sums[i] = c.sums[i].plus(c.sums[i-1])
	}
	// Days next to New Year are also near dates of the years beside the record.
	for y := first.Year() - 1; y <= last.Year()+1; y++ {
		start := weather.DateOf(y, time.January, 1)
		c.years = append(c.years, start)
		c.leap = append(c.leap, weather.DateOf(y+1, time.January, 1)-start == 366)
	}
	return c
}

// about sums the days within climateReach of d.
func (c *climate) about(d weather.Date) powerSums {
	end := weather.Date(len(c.sums) - 1)
	lo := min(max(d-climateReach-c.first, 0), end)
	hi := min(max(d+climateReach+1-c.first, 0), end)
	return c.sums[hi].minus(c.sums[lo])
}

// of returns the climate of d from all years but its own.
func (c *climate) of(d weather.Date) normal {
	const endOfFebruary = 59 // Place of 29 February from 0.
	p := d.InYear(leapYear) - leapStart
	if !c.asked[p] {
		c.asked[p] = true
		for i, start := range c.years {
			at := start + p
			if p > endOfFebruary && !c.leap[i] {
				at--
			}
			c.places[p] = c.places[p].plus(c.about(at))
		}
	}
	s := c.places[p].minus(c.about(d))
	n := normal{asked: true}
	if s.n < leastClimate {
		return n
	}
	n.mean = s.sum / s.n
	// What is left of days that are all alike is rounding.
	if v := (s.squares - s.sum*n.mean) / (s.n - 1); v > 1e-9*(1+n.mean*n.mean) {
		n.sd = math.Sqrt(v)
	}
	return n
}
