package quality

import (
	"fmt"
	"math"

	"ripetide/weather"
)

// chance is how often, per record, a run may be found that is none. It is
// small because days that agree come in clusters: calm weather repeats itself
// a few times as often as the reckoning, which takes the days for independent.
const chance = 0.001

// longest returns the least length of a run that is suspect, of trials places
// at which one may begin and with the probability p that it goes on: the
// least k with trials·p^k <= chance.
func longest(trials, p float64) int {
	return int(math.Ceil(math.Log(trials/chance) / -math.Log(p)))
}

// share returns k/n, but at least least, so that a record which has not shown
// it yet may, and at most a half.
func share(k, n int, least float64) float64 {
	return min(max(float64(k)/float64(n), least), 0.5)
}

// streak marks runs of equal values: of a column 20 in a row (Durre et al.
// 2010), and fewer, of a column or of both at once, where so many repeats in a
// row are beyond chance, by how often the record repeats a value. Holes do not
// end a run.
func (r *record) streak() {
	for _, t := range [...]struct {
		what  string
		same  func(a, b weather.Day) bool
		least float64
	}{
		{"min", func(a, b weather.Day) bool { return a.Min == b.Min }, 0.02},
		{"max", func(a, b weather.Day) bool { return a.Max == b.Max }, 0.02},
		{"min and max", func(a, b weather.Day) bool { return a.Min == b.Min && a.Max == b.Max }, 0.002},
	} {
		is := func(i int) bool { return i > 0 && t.same(r.days[i-1], r.days[i]) }
		repeats, most := r.count(is)
		least := min(longest(float64(len(r.days)), share(repeats, len(r.days), t.least)), 19)
		if most < least {
			continue
		}
		r.runs(least, is, func(i, j int) {
			r.markAll(i-1, j, Streak, fmt.Sprintf("%s the same on %d days in a row, from %s on", t.what, j-i+2, r.days[i-1].Date))
		})
	}
}

// count returns for how many places is holds, and for how many in a row.
func (r *record) count(is func(i int) bool) (all, most int) {
	run := 0
	for i := range r.days {
		if !is(i) {
			run = 0
			continue
		}
		all++
		run++
		most = max(most, run)
	}
	return all, most
}

// runs calls found for each longest run of places from i to j, both included,
// for which is holds, and that has at least least of them.
func (r *record) runs(least int, is func(i int) bool, found func(i, j int)) {
	start := 0
	for i := 0; i <= len(r.days); i++ {
		if i < len(r.days) && is(i) {
			continue
		}
		if i-start >= least {
			found(start, i-1)
		}
		start = i + 1
	}
}

// columns marks runs of days whose min is the max of the same day, of the day
// before or of the day after, to the last digit, more often in a row than
// chance has it by how often the record has that at all, which comes to three
// times at least.
func (r *record) columns() {
	for _, t := range [...]struct {
		what string
		is   func(i int) bool
	}{
		{"min is the max of the same day", func(i int) bool { return r.days[i].Min == r.days[i].Max }},
		{"min is the max of the day before", func(i int) bool { return r.follows(i) && r.days[i].Min == r.days[i-1].Max }},
		{"min is the max of the day after", func(i int) bool { return r.follows(i+1) && r.days[i].Min == r.days[i+1].Max }},
	} {
		n := len(r.days)
		hits, most := r.count(t.is)
		least := longest(float64(n), share(hits, n, 0.002))
		if most < least {
			continue
		}
		r.runs(least, t.is, func(i, j int) {
			r.markAll(i, j, Columns, fmt.Sprintf("%s on %d days in a row, from %s on", t.what, j-i+1, r.days[i].Date))
		})
	}
}

// duplicate marks runs of consecutive days whose values, min and max, are
// those of another run; both of them, for which one is the copy cannot be
// seen. It takes at least five days, three different ones among the first of them,
// and more where
// the record is so coarse that chance makes longer ones: days a week or a year
// apart tell how often two days agree, and four times that is taken, for
// agreeing days come in clusters.
func (r *record) duplicate() {
	n := len(r.days)
	agree, pairs := 0, 0
	for _, lag := range [...]int{7, 365} {
		for i := lag; i < n; i++ {
			if r.same(i-lag, i) {
				agree++
			}
			pairs++
		}
	}
	if pairs == 0 {
		return
	}
	k := max(5, longest(float64(n)*float64(n)/2, min(4*share(agree, pairs, 1e-5), 0.8)))
	if k > n {
		return
	}
	const base = 0x9E3779B97F4A7C15 | 1
	power := uint64(1)
	for range k {
		power *= base
	}
	size := 1
	for size < 2*n {
		size *= 2
	}
	first := make([]int32, size) // By hash, the place after the end of a run of k days.
	key := make([]uint64, n+1)   // Of all days up to one.
	for i, d := range r.days {
		key[i+1] = key[i]*base + mix(math.Float64bits(d.Min+0)*3+math.Float64bits(d.Max+0))
	}
	done := 0 // Before it all is marked as the later of two runs.
	for end := k; end <= n; end++ {
		i := end - k
		if r.days[end-1].Date-r.days[i].Date != weather.Date(k-1) {
			continue
		}
		h := mix(key[end]-key[i]*power) & uint64(size-1)
		for ; first[h] != 0; h = (h + 1) & uint64(size-1) {
			if j := int(first[h]) - k; r.sameRun(j, i, k) {
				break
			}
		}
		if first[h] == 0 {
			first[h] = int32(end)
			continue
		}
		if i < done || r.kinds(i, k) < 3 {
			continue
		}
		j, length := int(first[h])-k, k
		for i+length < n && r.follows(i+length) && r.follows(j+length) && r.same(i+length, j+length) {
			length++
		}
		r.markAll(j, j+length-1, Duplicate, fmt.Sprintf("%d days from %s on have the values of those from %s on", length, r.days[j].Date, r.days[i].Date))
		r.markAll(i, i+length-1, Duplicate, fmt.Sprintf("%d days from %s on have the values of those from %s on", length, r.days[i].Date, r.days[j].Date))
		done = i + length
	}
}

// mix spreads the bits of x.
func mix(x uint64) uint64 {
	x ^= x >> 31
	x *= 0xBF58476D1CE4E5B9
	return x ^ x>>29
}

func (r *record) same(i, j int) bool {
	return r.days[i].Min == r.days[j].Min && r.days[i].Max == r.days[j].Max
}

func (r *record) sameRun(i, j, k int) bool {
	for m := range k {
		if !r.same(i+m, j+m) {
			return false
		}
	}
	return true
}

// kinds counts different days among length ones from i on, up to 3.
func (r *record) kinds(i, length int) int {
	second := -1
	for k := i + 1; k < i+length; k++ {
		switch {
		case r.same(i, k):
		case second < 0:
			second = k
		case !r.same(second, k):
			return 3
		}
	}
	if second < 0 {
		return 1
	}
	return 2
}
