package forecast

import (
	"math"
	"math/bits"
	"slices"

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
	opens         []bool  // Whether the farm opens on the day.
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

func newTally(farm Farm, first weather.Date, plantings, members, days int) *tally {
	t := &tally{
		days: days, members: members,
		season: make([]int, days), ripe: make([]int, days), gap: make([]int, days), thin: make([]int, days),
		kg: make([][]float32, days), kgBy: make([][]float64, plantings),
		gapDays: newBitmap(members, days), thinDays: newBitmap(members, days),
		first: make([]int16, members), last: make([]int16, members),
		opens: openDays(farm, first, days),
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
		}
		for p := range t.kgBy {
			floats.Add(t.kgBy[p], b.kgBy[p])
		}
		t.gapDays.bits = append(t.gapDays.bits, b.gapDays.bits...)
		t.thinDays.bits = append(t.thinDays.bits, b.thinDays.bits...)
		t.first = append(t.first, b.first...)
		t.last = append(t.last, b.last...)
	}
	members := len(t.first)
	for d := range t.days {
		if !slices.ContainsFunc(parts, func(b *tally) bool { return b.kg[d] != nil }) {
			continue
		}
		row := make([]float32, 0, members)
		for _, b := range parts {
			if b.kg[d] == nil { // No fruit on that day in any of its members.
				row = row[:len(row)+b.members]
				continue
			}
			row = append(row, b.kg[d]...)
		}
		t.kg[d] = row
	}
	t.members = members
	return t
}

// scratch is the working space of one member.
type scratch struct {
	stamp    []int32   // [variety][day]: the last member that counted it.
	count    []uint16  // Varieties in their window.
	ripened  []float64 // kg ripening on the day, [planting][day].
	standing []float64 // kg, by planting.
	from     []int     // First day on which a planting ripens something.
	to       []int
}

func newScratch(varieties, plantings, days int) *scratch {
	return &scratch{
		stamp: make([]int32, varieties*days), count: make([]uint16, days),
		ripened: make([]float64, plantings*days), standing: make([]float64, plantings),
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
	kg          float64 // The whole crop.
	variety     int
}

// add counts one member.
//
// Standing fruit: what stood yesterday and was not picked spoils by a half-life
// of three days, 1.5 above 30 °C, and today's ripening comes on top. As long as
// nothing is known of pickings, nobody picks before opening and everything ripe
// is picked on open days after it. The season opens on the first open day with
// enough to open (Opening.ReadyKg, else ThinKgPerDay, else anything ripe).
// Thin days lie between opening and the last picking day: before opening
// nobody comes.
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

// stand follows the ripe fruit standing in one member from day to day.
func (t *tally) stand(m int, farm Farm, ps []memberDay, w *scratch) {
	first, last := int(t.first[m]), int(t.last[m])
	begin, end := first, last
	for i, p := range ps {
		w.from[i], w.to[i] = t.ripening(p, w.ripened[i*t.days:(i+1)*t.days])
		begin, end = min(begin, w.from[i]), max(end, w.to[i])
		w.standing[i] = 0
	}
	enough := farm.Opening.ReadyKg
	if enough == 0 {
		enough = farm.ThinKgPerDay
	}
	open := false
	// What nobody picks stands on after the last fruit has ripened.
	const nothing = 0.01 // kg.
	total := 0.0
	for d := begin; d < t.days && (d <= end || total > nothing); d++ {
		total = 0
		for i := range ps {
			if d < w.from[i] || d > w.to[i] && w.standing[i] == 0 {
				continue
			}
			kg := w.standing[i] * keep(ps[i].days[d].Max)
			if d <= w.to[i] {
				kg += w.ripened[i*t.days+d]
			}
			w.standing[i] = kg
			t.kgBy[i][d] += kg
			total += kg
		}
		if t.kg[d] == nil {
			t.kg[d] = make([]float32, t.members)
		}
		t.kg[d][m] = float32(total)
		open = open || total >= enough && d >= first && t.opens[d]
		if !open {
			continue
		}
		if d <= last && total < farm.ThinKgPerDay {
			t.thin[d]++
			t.thinDays.set(m, d)
		}
		if t.opens[d] {
			clear(w.standing)
		}
	}
}

// ripening fills dst with the kg of p that ripen on each day and returns the
// first and the last day with any.
func (t *tally) ripening(p memberDay, dst []float64) (from, to int) {
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

// keep returns the share of ripe fruit standing that is still sound a day
// later, given the day's maximum in °C.
func keep(maxC float64) float64 {
	if maxC > hotC {
		return keepHot
	}
	return keepCool
}

var keepCool, keepHot = math.Exp2(-1 / keepDays), math.Exp2(-1 / keepDaysHot)

// openDays returns on which of the days from first on the farm opens.
func openDays(f Farm, first weather.Date, days int) []bool {
	open := make([]bool, days)
	for d := range open {
		open[d] = len(f.Opening.Weekdays) == 0 || slices.Contains(f.Opening.Weekdays, (first+weather.Date(d)).Weekday())
	}
	return open
}
