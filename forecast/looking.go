package forecast

import (
	"math"

	"ripetide/weather"
)

// lookBack is how many days a stage that came may stay unentered before it
// counts as missed, not late.
const lookBack = 10

// habit is how a farm enters what it sees: of the stages that came, the share
// that is entered at all, by ripe stage. A stage that is not entered has then
// probably not come; how probably, entered says.
type habit [ripeStages]float64

// habit counts, over past seasons, the plantings whose bloom was entered and
// how many of them have each stage. One made-up season with and one without
// stand for what is not known before.
func (c *computing) habit() (h habit) {
	n := 2.0
	for s := range h {
		h[s] = 1
	}
	for k, l := range c.looks {
		if k.season == c.season || l.seen[Bloom10] == nil && l.seen[BloomFull] == nil {
			continue
		}
		n++
		for s := range h {
			if l.seen[FirstRipe+Stage(s)] != nil {
				h[s]++
			}
		}
	}
	for s := range h {
		h[s] /= n
	}
	return h
}

// unentered returns, for the stage s, the probability that it is not entered
// k+1 days after it came, k = 0, 1, …: either it never will be, or it is
// entered late.
func (h habit) unentered(s int) (p [lookBack]float64) {
	late := 1.0
	for k := range p {
		late *= priors.EnteredLate
		p[k] = 1 - h[s] + h[s]*late
	}
	return p
}

// unseen is what follows from a stage that is not entered: the log heat after
// bloom at the end of the days before this morning, yesterday's first, and the
// probability that a stage which came on that day is not entered yet.
type unseen struct {
	log, prob [lookBack]float64
}

// bound returns the log heat that a stage has not yet taken, given a uniform
// number u: the stage came after the first day of which u exceeds the
// probability that it would not be entered. A draw with a new u, taken again
// until it lies above its bound, is a draw given that nothing is entered.
func (w *unseen) bound(u float64) float64 {
	for k, p := range w.prob {
		if u > p {
			return w.log[k]
		}
	}
	return math.Inf(-1)
}

// unseen returns for each stage of t that is not entered what follows from
// that; nil: nothing.
func (c *computing) unseen(t *target, h habit) (out [ripeStages]*unseen) {
	for s := range out {
		if t.seen[s] != nil || c.asOf-1 <= t.bloom {
			continue
		}
		w := &unseen{prob: h.unentered(s)}
		for k := range w.log {
			w.log[k] = math.Log(t.mean.after(t.bloom, c.asOf-1-weather.Date(k)))
		}
		out[s] = w
	}
	return out
}
