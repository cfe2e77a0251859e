package quality

import (
	"fmt"
	"math"
)

// spike marks values that lie on the same side of both the day before and the
// day after by
//
//   - 25 °C or more: Durre et al. (2010), or
//   - spikeScales scales or more of the changes from day to day that are usual
//     at that time of year, where enough are known.
func (r *record) spike() {
	const plain = 25 // °C.
	for i := range r.days {
		if !r.follows(i) || !r.follows(i+1) {
			continue
		}
		for c := lows; c <= highs; c++ {
			before, x, after := r.value(c, i-1), r.value(c, i), r.value(c, i+1)
			height := between(before, x, after)
			n := &r.normal[c+lowChanges][r.bin[i]]
			if height >= plain || n.n >= enough && height >= spikeScales*n.scale {
				r.mark(i, Spike, fmt.Sprintf("%s %.1f °C, where the days around have %.1f and %.1f", names[c], x, before, after))
			}
		}
	}
}

// spikeScales: three either way, as one change that is followed by its opposite
// is rarer than either.
const spikeScales = 3

// between returns by how much x lies on the same side of both others; it is
// below nought if it lies between them.
func between(before, x, after float64) float64 {
	return max(min(x-before, x-after), min(before-x, after-x))
}

// rangeOfThree marks a max 40 °C or more above the warmest min of the day
// itself, the one before and the one after, and a min as far below the coldest
// max: the lagged range of Durre et al. (2010).
func (r *record) rangeOfThree() {
	const far = 40 // °C.
	for i, d := range r.days {
		low, high := d.Min, d.Max
		if r.follows(i) {
			low, high = max(low, r.days[i-1].Min), min(high, r.days[i-1].Max)
		}
		if r.follows(i + 1) {
			low, high = max(low, r.days[i+1].Min), min(high, r.days[i+1].Max)
		}
		if d.Max-low >= far {
			r.mark(i, Range, fmt.Sprintf("max %.1f °C, where the warmest low of the days around is %.1f", d.Max, low))
		}
		if high-d.Min >= far {
			r.mark(i, Range, fmt.Sprintf("min %.1f °C, where the coldest high of the days around is %.1f", d.Min, high))
		}
	}
}

// buffer is by how much, °C, a day may contradict the day before or after
// (Durre et al. 2010). It takes up that values are rounded, to whole °F often.
const buffer = 1

// neighbour marks days whose min lies above the max of the day before or after,
// by more than buffer. Where both thermometers are read at one hour, as they
// are mostly, the temperature of that hour is between the two, so that cannot
// be: one of the days is wrong. Which one, the two do not say. If one of them
// contradicts its other neighbour too, or has failed another test, it is that
// one (the worst offender first, as Durre et al. do); otherwise both are
// marked. It must be the last of the tests.
func (r *record) neighbour() {
	var pairs []int // The places of the later days.
	for i := range r.days {
		if r.follows(i) && r.contradict(i) {
			pairs = append(pairs, i)
		}
	}
	if len(pairs) == 0 {
		return
	}
	failed := make([]bool, len(r.days))
	for _, m := range r.marks {
		failed[m.i] = true
	}
	for k, i := range pairs {
		if k > 0 && pairs[k-1] == i-1 {
			failed[i-1] = true
		}
	}
	for _, i := range pairs {
		a, b := r.days[i-1], r.days[i]
		first, second := fmt.Sprintf("min %.1f °C is above the max of the day after, %.1f", a.Min, b.Max),
			fmt.Sprintf("max %.1f °C is below the min of the day before, %.1f", b.Max, a.Min)
		if b.Min > a.Max {
			first, second = fmt.Sprintf("max %.1f °C is below the min of the day after, %.1f", a.Max, b.Min),
				fmt.Sprintf("min %.1f °C is above the max of the day before, %.1f", b.Min, a.Max)
		}
		if failed[i-1] || !failed[i] {
			r.mark(i-1, Neighbour, first)
		}
		if failed[i] || !failed[i-1] {
			r.mark(i, Neighbour, second)
		}
	}
}

// contradict reports whether the day at i contradicts the one before.
func (r *record) contradict(i int) bool {
	a, b := r.days[i-1], r.days[i]
	return b.Min-a.Max > buffer || a.Min-b.Max > buffer
}

// naught marks 0 °C or 0 °F that stand for a missing value:
//
//   - as min and max of one day: Durre et al. (2010), who look for 0 °F in the
//     United States and for 0 °C elsewhere;
//   - as one of the two, 3.5 scales or more from what is usual at that time of
//     year (about 1 day in 4,000 is, and of those 1 in 100 is just so), or,
//     where that is not known, 10 °C or more on the same side of both days
//     around.
func (r *record) naught() {
	const far, height = 3.5, 10
	for i, d := range r.days {
		low, high := naughtOf(d.Min), naughtOf(d.Max)
		if low != "" && low == high {
			r.mark(i, Naught, fmt.Sprintf("min and max are both %s, as where nothing was written", low))
			continue
		}
		for c, name := range [...]string{lows: low, highs: high} {
			if name == "" {
				continue
			}
			x := r.value(c, i)
			if z, ok := r.z(c, i, x); ok {
				if math.Abs(z) >= far {
					r.mark(i, Naught, fmt.Sprintf("%s is %s, where %.1f °C is usual at that time of year", names[c], name, r.normal[c][r.bin[i]].centre))
				}
				continue
			}
			if !r.follows(i) || !r.follows(i+1) {
				continue
			}
			before, after := r.value(c, i-1), r.value(c, i+1)
			if between(before, x, after) >= height {
				r.mark(i, Naught, fmt.Sprintf("%s is %s, where the days around have %.1f and %.1f °C", names[c], name, before, after))
			}
		}
	}
}

// naughtOf returns how x, °C, is nought, or "".
func naughtOf(x float64) string {
	switch {
	case x == 0:
		return "0 °C"
	case -17.8-1e-9 <= x && x <= -17.77: // As it is rounded, and as it is.
		return "0 °F"
	}
	return ""
}
