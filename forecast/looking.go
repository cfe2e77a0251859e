package forecast

import (
	"math"

	"ripetide/weather"
)

// lookBack is how many days a stage that came may stay unentered before it
// counts as missed, not late.
const lookBack = 10

// habit is how a farm enters what it sees: of the stages that came, the share
// that is entered at all. A stage that is not entered has then probably not
// come.
type habit struct {
	bloom float64
	ripe  triple
}

// habit counts, over past seasons, the plantings of which anything was entered
// and how many of them have bloom; and the plantings with bloom and how many of
// them have each ripe stage. One made-up season with and one without stand for
// what is not known before.
func (c *computing) habit() (h habit) {
	any, bloomed := 2.0, 2.0
	h = habit{1, alike(1)}
	for k, l := range c.looks {
		if k.season == c.season {
			continue
		}
		any++
		if l.seen[Bloom10] == nil && l.seen[BloomFull] == nil {
			continue
		}
		h.bloom++
		bloomed++
		for s := range h.ripe {
			if l.seen[FirstRipe+Stage(s)] != nil {
				h.ripe[s]++
			}
		}
	}
	h.bloom /= any
	for s := range h.ripe {
		h.ripe[s] /= bloomed
	}
	return h
}

// unentered returns the probability that a stage is not entered k+1 days after
// it came, k = 0, 1, …, given the share of stages that are entered: either it
// never will be, or it is entered late.
func unentered(share float64) (p [lookBack]float64) {
	late := 1.0
	for k := range p {
		late *= priors.EnteredLate
		p[k] = 1 - share + share*late
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

// unseen returns what follows from a stage that is not entered, by the heat h
// after the date from; nil: nothing.
func (c *computing) unseen(h heat, from weather.Date, shift, share float64) *unseen {
	if c.entered-1 <= from {
		return nil
	}
	w := &unseen{prob: unentered(share)}
	for k := range w.log {
		w.log[k] = math.Log(max(h.after(from, c.entered-1-weather.Date(k))-shift, 0))
	}
	return w
}
