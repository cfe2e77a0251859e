package forecast

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"ripetide/weather"
)

const (
	aboutMembers = 1000               // How many members a forecast has, about.
	seed         = 0x5eed_0f_be77_135 // Of all draws: the same inputs give the same bytes.
	mostDraws    = 200                // Tries for a draw that agrees with what was seen.
)

// membersPerTrace returns an even number of members for each of n traces, about
// so many in all, so that antithetic pairs share their weather.
func membersPerTrace(about, n int) int { return 2 * max(1, (about/2+n-1)/n) }

// bounds is what a draw of log requirements must agree with.
type bounds struct {
	stages int       // As in posterior.
	above  []float64 // Log heat that was "not yet" enough, by component; -Inf: none.
	unseen []*unseen // What is not entered, by component; nil: nothing follows.
}

// at returns the bound of component i in one draw.
func (b bounds) at(r *rand.Rand, i int) float64 {
	if b.unseen == nil || b.unseen[i] == nil {
		return b.above[i]
	}
	return max(b.above[i], b.unseen[i].bound(r.Float64()))
}

// fix returns bounds in which what is not entered has been drawn.
func (b bounds) fix(r *rand.Rand) bounds {
	f := bounds{stages: b.stages, above: make([]float64, len(b.above))}
	for i := range f.above {
		f.above[i] = b.at(r, i)
	}
	return f
}

// agrees reports whether the stages of every planting are in order and above
// their bounds.
func (b bounds) agrees(x []float64) bool {
	for i, v := range x {
		if !(v > b.above[i]) {
			return false
		}
		if i%b.stages != 0 && !(v > x[i-1]) {
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
	flat := make([]float64, n*p.dim)
	for i := range xs {
		xs[i] = flat[i*p.dim : (i+1)*p.dim : (i+1)*p.dim]
	}
	var counts [parts]int
	inParts((n+1)/2, func(part, lo, hi int) {
		z := make([]float64, p.dim)
		for pair := lo; pair < hi; pair++ {
			for i := 2 * pair; i < min(2*pair+2, n); i++ {
				if !p.drawOne(i, z, xs[i], b) {
					counts[part]++
				}
			}
		}
	})
	for _, c := range counts {
		strained += c
	}
	return xs, strained
}

// drawOne draws the i-th member; after an even one z must be kept for the odd
// one that mirrors it. It reports whether x was found without being moved.
func (p posterior) drawOne(i int, z, x []float64, b bounds) bool {
	if len(p.apart) > 0 {
		return p.drawApart(i, z, x, b)
	}
	// Two generators for every pair: a draw that is drawn again leaves the
	// others as they were.
	r := rand.New(rand.NewPCG(seed+2*p.stream+uint64(i%2), uint64(i/2)))
	var ok bool
	if i%2 == 0 {
		ok = p.try(r, z, x, b)
	} else {
		for k := range z {
			z[k] = -z[k]
		}
		p.at(z, x)
		ok = b.fix(r).agrees(x)
	}
	for tries := 1; !ok && tries < mostDraws; tries++ {
		ok = p.try(r, z, x, b)
	}
	if !ok {
		normals(r, z)
		p.at(z, x)
		p.settle(r, x, b.fix(r))
	}
	return ok
}

// drawApart is drawOne where the last plantings are drawn after the others, each
// from a stream of its own and given all before it: so whether they are there
// changes nothing of the others. Nothing may be known of when they ripen. One
// whose stages are out of order is drawn again by itself.
func (p posterior) drawApart(i int, z, x []float64, b bounds) bool {
	n := p.dim - p.stages*len(p.apart)
	first := posterior{mean: p.mean[:n], chol: p.chol[:n*(n+1)/2], dim: n, sd: p.sd[:n], stages: p.stages, stream: p.stream}
	ok := n == 0 || first.drawOne(i, z[:n], x[:n], bounds{p.stages, b.above[:n], b.unseen[:n]})
	for k, stream := range p.apart {
		from, to := n+k*p.stages, n+(k+1)*p.stages
		r := rand.New(rand.NewPCG(seed+2*p.stream+uint64(i%2), stream^uint64(i/2)))
		for tries := range mostDraws {
			if i%2 == 1 && tries == 0 {
				for j := from; j < to; j++ {
					z[j] = -z[j]
				}
			} else {
				normals(r, z[from:to])
			}
			for j := from; j < to; j++ {
				x[j] = p.mean[j]
				for l, c := range p.chol[j*(j+1)/2 : (j+1)*(j+2)/2] {
					x[j] += c * z[l]
				}
			}
			if slices.IsSorted(x[from:to]) {
				break
			}
		}
		slices.Sort(x[from:to])
	}
	return ok
}

// parts is into how many parts work on members is cut. It does not depend on
// the machine, so that neither do sums.
const parts = 4

// inParts calls do for each part of n things, at the same time.
func inParts(n int, do func(part, lo, hi int)) {
	var wg sync.WaitGroup
	for part := range parts {
		wg.Go(func() { do(part, part*n/parts, (part+1)*n/parts) })
	}
	wg.Wait()
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
		if !(s > b.at(r, i)) || i%b.stages != 0 && !(s > x[i-1]) {
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

// far returns by how many sd the draws xs of p, which had to agree with what
// was not seen, lie above its means; of the component that was moved most.
func (p posterior) far(xs [][]float64) (most float64) {
	for i, m := range p.mean {
		var sum float64
		for _, x := range xs {
			sum += x[i] - m
		}
		if p.sd[i] > 0 {
			most = max(most, sum/float64(len(xs))/p.sd[i])
		}
	}
	return most
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
func crossing(h heat, t *target, bloom weather.Date, need triple) (day [ripeStages]weather.Date, reached bool) {
	reached = true
	for s := range need {
		if t.seen[s] != nil {
			day[s] = *t.seen[s]
			continue
		}
		d, ok := h.reach(bloom, need[s])
		// A later stage that was seen says that this one was reached.
		reached = reached && (ok || s < t.lastSeen())
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
