package forecast

import (
	"math"
	"math/bits"
	"slices"
	"time"

	"gonum.org/v1/gonum/floats"

	"ripetide/weather"
)

const (
	keepDays    = 3.0 // Half-life of ripe fruit standing, days: ripe berries keep two to four (common practice).
	keepDaysHot = 1.5 // The same on days above hotC: a default.
	hotC        = 30.0
	leastSeason = 0.05 // A day is published when it lies in the season of this share of members.
)

// tally counts, day by day over members, what the farm has. Days are numbered
// from the season's first.
type tally struct {
	days, members int
	season        []int       // Members in whose season the day lies.
	ripe          []int       // Varieties in their window, summed over members.
	gap, thin     []int       // Members with a gap, a thin day.
	kg            [][]float32 // Ripe fruit standing [day][member]; nil: none on that day.
	kgBy          [][]float64 // Summed over members [planting][day].
	gapDays       bitmap      // [member][day].
	thinDays      bitmap
	first, last   []int16 // The season's ends by member.
	allowed       []bool  // Whether the farm opens on the weekday; advice follows it, whatever was decided.
	opens         []bool  // Whether the farm opens on the day, by its weekday and by what it has decided.
	opening       int     // The day it has decided to open on; -1: none.
	closing       int     // The day it has decided to close on; days: none.
	rule          readyRule
	weekdays      []time.Weekday
	ready         []int       // Members with enough to open on the day if nobody has picked.
	firstReady    []int16     // By member: the first allowed day of these; days: none.
	firstAny      []int16     // Likewise, whether it is allowed or not.
	past          []float64   // Share of the crop that has spoiled by the day if nobody picks, summed over members.
	enough        []int       // Members with enough for the day's crowd since they opened.
	weekKg        [][]float32 // kg ripening in a week [week][member]; nil: none.
	bestWeek      []int16     // By member.
	picked        *picked     // Nil: no picking of the season is on record.
}

// bitmap is a table of days by member.
type bitmap struct {
	words int
	bits  []uint64
}

func newBitmap(members, days int) bitmap {
	w := (days + 63) / 64
	return bitmap{w, make([]uint64, w*members)}
}

func (b bitmap) set(member, day int) { b.bits[member*b.words+day/64] |= 1 << (day % 64) }

// any reports whether a day from a to b is set for the member.
func (b bitmap) any(member, from, to int) bool {
	row := b.bits[member*b.words : (member+1)*b.words]
	for w := from / 64; w <= to/64; w++ {
		x := row[w]
		if w == from/64 {
			x &= ^uint64(0) << (from % 64)
		}
		if w == to/64 {
			x &= ^uint64(0) >> (63 - to%64)
		}
		if bits.OnesCount64(x) > 0 {
			return true
		}
	}
	return false
}

func newTally(farm Farm, decided []Decision, season int, first weather.Date, plantings, members, days int) *tally {
	t := &tally{
		days: days, members: members,
		season: make([]int, days), ripe: make([]int, days), gap: make([]int, days), thin: make([]int, days),
		kg: make([][]float32, days), kgBy: make([][]float64, plantings),
		gapDays: newBitmap(members, days), thinDays: newBitmap(members, days),
		first: make([]int16, members), last: make([]int16, members),
		allowed: make([]bool, days), opens: make([]bool, days), opening: -1, closing: days, rule: newReadyRule(farm), weekdays: make([]time.Weekday, days),
		ready: make([]int, days), firstReady: make([]int16, members), firstAny: make([]int16, members),
		past: make([]float64, days), enough: make([]int, days),
		weekKg: make([][]float32, days/7+2), bestWeek: make([]int16, members),
	}
	for d := range days {
		t.weekdays[d] = (first + weather.Date(d)).Weekday()
		t.allowed[d] = farm.Opening.OpensOn(t.weekdays[d])
		t.opens[d] = t.allowed[d]
	}
	// What was decided stands, also on a weekday on which the farm does not open
	// as a rule.
	if day, ok := Decided(decided, season, DecideOpening); ok && first <= day && int(day-first) < days {
		t.opening = int(day - first)
		t.opens[t.opening] = true
	}
	// What is picked afterwards is of no account, but whether there would be enough
	// to go on is: the advice when to close must not follow from having decided it.
	if day, ok := Decided(decided, season, DecideClosing); ok && first <= day && int(day-first) < days {
		t.closing = int(day - first)
	}
	for p := range t.kgBy {
		t.kgBy[p] = make([]float64, days)
	}
	return t
}

// join returns the tally of the members of all parts, one part behind the
// other.
func join(parts []*tally) *tally {
	t := parts[0]
	for _, b := range parts[1:] {
		for d := range t.days {
			t.season[d] += b.season[d]
			t.ripe[d] += b.ripe[d]
			t.gap[d] += b.gap[d]
			t.thin[d] += b.thin[d]
			t.ready[d] += b.ready[d]
			t.past[d] += b.past[d]
			t.enough[d] += b.enough[d]
		}
		for p := range t.kgBy {
			floats.Add(t.kgBy[p], b.kgBy[p])
		}
		t.gapDays.bits = append(t.gapDays.bits, b.gapDays.bits...)
		t.thinDays.bits = append(t.thinDays.bits, b.thinDays.bits...)
		t.first = append(t.first, b.first...)
		t.last = append(t.last, b.last...)
		t.firstReady = append(t.firstReady, b.firstReady...)
		t.firstAny = append(t.firstAny, b.firstAny...)
		t.bestWeek = append(t.bestWeek, b.bestWeek...)
	}
	members := len(t.first)
	for d := range t.days {
		t.kg[d] = joinRow(parts, members, func(b *tally) []float32 { return b.kg[d] })
	}
	for w := range t.weekKg {
		t.weekKg[w] = joinRow(parts, members, func(b *tally) []float32 { return b.weekKg[w] })
	}
	t.members = members
	return t
}

// joinRow joins a row over the members of all parts; nil is a row of noughts.
func joinRow(parts []*tally, members int, of func(*tally) []float32) []float32 {
	if !slices.ContainsFunc(parts, func(b *tally) bool { return of(b) != nil }) {
		return nil
	}
	row := make([]float32, 0, members)
	for _, b := range parts {
		if of(b) == nil {
			row = row[:len(row)+b.members]
			continue
		}
		row = append(row, of(b)...)
	}
	return row
}

// scratch is the working space of one member.
type scratch struct {
	stamp    []int32   // [variety][day]: the last member that counted it.
	count    []uint16  // Varieties in their window.
	ripened  []float64 // kg ripening on the day, [planting][day].
	standing []float64 // kg, by planting.
	alone    []float64 // Likewise, if nobody picks.
	from     []int     // First day on which a planting ripens something.
	to       []int
}

func newScratch(varieties, plantings, days int) *scratch {
	return &scratch{
		stamp: make([]int32, varieties*days), count: make([]uint16, days),
		ripened: make([]float64, plantings*days), standing: make([]float64, plantings), alone: make([]float64, plantings),
		from: make([]int, plantings), to: make([]int, plantings),
	}
}

// memberDay is what one planting is in one member.
type memberDay struct {
	heat        heat
	days        []weather.Day // The weather, from the season's first day on.
	first, last int
	curve       cropCurve
	bloom       weather.Date
	kg          float64 // The whole crop, of what frosts have left.
	variety     int
	slug        string // Of the variety.
}

// add counts one member.
//
// Standing fruit: what stood yesterday and was not picked spoils by a half-life
// of three days, 1.5 above 30 °C, and today's ripening comes on top. On days that
// the record of pickings tells of, what it says was picked; see [picked]. On
// others nobody picks before opening and everything ripe is picked on open days
// after it. The season opens on the day that the farm has decided on, else on
// the first on which the record says that customers picked, else on the first
// open day with enough that the record does not tell of, see [readyRule].
// Thin days lie between opening and the last picking day: before opening
// nobody comes. So a hole that a frost has left within a picking window is no
// gap, for the planting is picked before and after it; its days are thin.
func (t *tally) add(m int, farm Farm, ps []memberDay, w *scratch) {
	first, last := t.days, -1
	for _, p := range ps {
		first, last = min(first, p.first), max(last, p.last)
	}
	t.first[m], t.last[m] = int16(first), int16(last)
	for d := first; d <= last; d++ {
		w.count[d] = 0
		t.season[d]++
	}
	for _, p := range ps {
		for d := p.first; d <= p.last; d++ {
			if s := &w.stamp[p.variety*t.days+d]; *s != int32(m)+1 {
				*s = int32(m) + 1
				w.count[d]++
			}
		}
	}
	for d := first; d <= last; d++ {
		t.ripe[d] += int(w.count[d])
		if w.count[d] == 0 {
			t.gap[d]++
			t.gapDays.set(m, d)
		}
	}

	t.stand(m, farm, ps, w)
}

// stand follows the ripe fruit standing in one member from day to day, as the
// farm picks it and as it would stand if nobody did.
func (t *tally) stand(m int, farm Farm, ps []memberDay, w *scratch) {
	first, last := int(t.first[m]), int(t.last[m])
	begin, end := first, last
	for i := range ps {
		w.from[i], w.to[i] = t.ripening(&ps[i], w.ripened[i*t.days:(i+1)*t.days])
		begin, end = min(begin, w.from[i]), max(end, w.to[i])
		w.standing[i], w.alone[i] = 0, 0
	}
	t.weigh(m, ps, w, begin, end)
	needs := t.rule.needs(ps)
	crop := 0.0
	for _, p := range ps {
		crop += p.kg
	}
	t.firstReady[m], t.firstAny[m] = int16(t.days), int16(t.days)
	open := false
	// What nobody picks stands on after the last fruit has ripened.
	const (
		nothing = 0.01  // kg.
		hardly  = 0.001 // Of the crop.
	)
	total, alone, ripened := 0.0, 0.0, 0.0
	d := begin
	for ; d < t.days && (d <= end || total > nothing || alone > hardly*crop); d++ {
		total, alone = 0, 0
		for i := range ps {
			if d < w.from[i] || d > w.to[i] && w.alone[i] == 0 {
				continue
			}
			k := keeps(ps[i].days[d].Max)
			kg, kgAlone := w.standing[i]*k, w.alone[i]*k
			if d <= w.to[i] {
				kg += w.ripened[i*t.days+d]
				kgAlone += w.ripened[i*t.days+d]
				ripened += w.ripened[i*t.days+d]
			}
			w.standing[i], w.alone[i] = kg, kgAlone
			t.kgBy[i][d] += kg
			total += kg
			alone += kgAlone
		}
		if t.kg[d] == nil {
			t.kg[d] = make([]float32, t.members)
		}
		t.kg[d][m] = float32(total)
		if crop > 0 {
			t.past[d] += (ripened - alone) / crop
		}
		need := needs[t.weekdays[d]]
		if first <= d && d <= last && alone >= need {
			t.ready[d]++
			t.firstAny[m] = min(t.firstAny[m], int16(d))
			if t.allowed[d] {
				t.firstReady[m] = min(t.firstReady[m], int16(d))
			}
		}
		switch {
		case t.opening >= 0:
			open = d >= t.opening
		case t.picked.opened(d):
			open = true
		case !t.picked.tells(d):
			open = open || total >= need && d >= first && t.opens[d]
		}
		if open && d <= min(last, t.closing) && total < farm.ThinKgPerDay {
			t.thin[d]++
			t.thinDays.set(m, d)
		}
		if open && d <= last && total >= t.rule.least(need) {
			t.enough[d]++
		}
		switch {
		case t.picked.tells(d):
			t.picked.take(d, w.standing)
		case open && t.opens[d]:
			clear(w.standing)
		}
	}
	for ; d < t.days && crop > 0; d++ { // What is past stays past.
		t.past[d] += ripened / crop
	}
}

// weigh adds up what ripens week by week, from Monday to Sunday.
func (t *tally) weigh(m int, ps []memberDay, w *scratch, begin, end int) {
	best := float32(-1)
	for d := begin; d <= min(end, t.days-1); d++ {
		kg := 0.0
		for i := range ps {
			if w.from[i] <= d && d <= w.to[i] {
				kg += w.ripened[i*t.days+d]
			}
		}
		k := t.weekOf(d)
		if t.weekKg[k] == nil {
			t.weekKg[k] = make([]float32, t.members)
		}
		t.weekKg[k][m] += float32(kg)
	}
	for k := t.weekOf(begin); k <= t.weekOf(min(end, t.days-1)); k++ {
		if row := t.weekKg[k]; row != nil && row[m] > best {
			best, t.bestWeek[m] = row[m], int16(k)
		}
	}
}

// weekOf returns the week, from Monday on, that day d lies in; week 0 holds day
// 0.
func (t *tally) weekOf(d int) int {
	return (d + (int(t.weekdays[0])+6)%7) / 7
}

// ripening fills dst with the kg of p that ripen on each day and returns the
// first and the last day with any.
func (t *tally) ripening(p *memberDay, dst []float64) (from, to int) {
	lo, hi := p.curve.reach()
	base := p.heat.sum[p.bloom-p.heat.first+1]
	d, _ := p.heat.reach(p.bloom, max(lo, 0))
	from = int(d - p.heat.first)
	var before float64
	for to = from; to < t.days; to++ {
		h := p.heat.sum[to+1] - base
		by := p.curve.ripeBy(h)
		dst[to] = p.kg * max(by-before, 0)
		before = by
		if h >= hi {
			return from, to
		}
	}
	return from, t.days - 1
}

// keeps returns the share of ripe fruit standing that is still sound a day
// later, given the day's maximum in °C.
func keeps(maxC float64) float64 {
	if maxC > hotC {
		return keepHot
	}
	return keepCool
}

var keepCool, keepHot = math.Exp2(-1 / keepDays), math.Exp2(-1 / keepDaysHot)
