package forecast

import (
	"math"
	"math/rand/v2"

	"ripetide/weather"
)

const (
	aboutMembers = 1000               // How many members a forecast has, about.
	seed         = 0x5eed_0f_be77_135 // Of all draws: the same inputs give the same bytes.
	mostDraws    = 200                // Tries for a draw that agrees with what was seen.
)

// membersPerTrace returns an even number of members for each of n traces, so
// that antithetic pairs share their weather.
func membersPerTrace(n int) int { return 2 * max(1, (aboutMembers/2+n-1)/n) }

// bounds is what a draw of log requirements must agree with.
type bounds struct {
	above []float64 // Log heat that was "not yet" enough, by component; -Inf: none.
}

// agrees reports whether the stages of every planting are in order and above
// their bounds.
func (b bounds) agrees(x []float64) bool {
	for i, v := range x {
		if !(v > b.above[i]) {
			return false
		}
		if i%ripeStages != 0 && !(v > x[i-1]) {
			return false
		}
	}
	return true
}

// draws returns n joint draws of the log requirements, in antithetic pairs,
// each of p.dim values. A draw that does not agree with b is drawn again; when
// that does not help, it is moved into the part of the distribution that does.
// strained counts those.
func (p posterior) draws(n int, b bounds) (xs [][]float64, strained int) {
	xs = make([][]float64, n)
	z := make([]float64, p.dim)
	flat := make([]float64, n*p.dim)
	for i := range xs {
		x := flat[i*p.dim : (i+1)*p.dim : (i+1)*p.dim]
		xs[i] = x
		// Two generators for every pair: a draw that is drawn again leaves the
		// others as they were.
		r := rand.New(rand.NewPCG(seed+uint64(i%2), uint64(i/2)))
		ok := false
		if i%2 == 0 {
			ok = p.try(r, z, x, b)
		} else {
			for k := range z {
				z[k] = -z[k]
			}
			p.at(z, x)
			ok = b.agrees(x)
		}
		for tries := 1; !ok && tries < mostDraws; tries++ {
			ok = p.try(r, z, x, b)
		}
		if !ok {
			normals(r, z)
			p.at(z, x)
			p.settle(r, x, b)
			strained++
		}
	}
	return xs, strained
}

// try draws x and stops at the first component that does not agree with b. The
// components that are bound come first, so that a draw in vain costs little.
func (p posterior) try(r *rand.Rand, z, x []float64, b bounds) bool {
	row := p.chol
	for i := range x {
		z[i] = r.NormFloat64()
		s := p.mean[i]
		for j, l := range row[:i+1] {
			s += l * z[j]
		}
		row = row[i+1:]
		x[i] = s
		if !(s > b.above[i]) || i%ripeStages != 0 && !(s > x[i-1]) {
			return false
		}
	}
	return true
}

func normals(r *rand.Rand, z []float64) {
	for k := range z {
		z[k] = r.NormFloat64()
	}
}

// at sets x to mean + L z.
func (p posterior) at(z, x []float64) {
	row := p.chol
	for i := range x {
		s := p.mean[i]
		for j, l := range row[:i+1] {
			s += l * z[j]
		}
		row = row[i+1:]
		x[i] = s
	}
}

// member dates, by planting, stage and member, as days from the season's
// first.
type dates struct {
	members int
	day     []int16 // [planting][stage][member].
}

func newDates(plantings, members int) dates {
	return dates{members, make([]int16, plantings*ripeStages*members)}
}

// of returns the dates of one stage of one planting over members.
func (d dates) of(planting, stage int) []int16 {
	i := (planting*ripeStages + stage) * d.members
	return d.day[i : i+d.members]
}

// crossing dates the stages of one planting in one member: the days on which
// the heat since bloom crosses the requirement. What was seen stands, what was
// "not yet" on a day comes after it, and stages keep their order.
func crossing(h heat, t *target, need triple) (day [ripeStages]weather.Date, reached bool) {
	reached = true
	for s := range need {
		if t.seen[s] != nil {
			day[s] = *t.seen[s]
			continue
		}
		d, ok := h.reach(t.bloom, need[s])
		reached = reached && ok
		if t.notYet[s] != nil {
			d = max(d, *t.notYet[s]+1)
		}
		if d > h.last() { // The look in vain was on the season's last day.
			d, reached = h.last(), false
		}
		day[s] = d
	}
	// A seen stage rules those around it.
	for s := 1; s < ripeStages; s++ {
		if t.seen[s] == nil {
			day[s] = max(day[s], day[s-1])
		}
	}
	for s := ripeStages - 2; s >= 0; s-- {
		if t.seen[s] == nil {
			day[s] = min(day[s], day[s+1])
		}
	}
	return day, reached
}

// exp3 returns the requirements of planting t from a draw of their logs.
func exp3(x []float64, t int) (n triple) {
	for s := range n {
		n[s] = math.Exp(x[ripeStages*t+s])
	}
	return n
}
