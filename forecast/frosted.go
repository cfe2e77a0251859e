package forecast

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"ripetide/weather"
)

// What a frost does to a crop. Every berry was a flower, and in one member every
// berry takes the same heat from flower to ripe: what first ripe requires, for
// the flowers of bloom_10 are the first twentieth of the crop. So flowers open
// against the clock as their berries ripen, only so much heat earlier, and the
// flowers that were open on a night are a slice of the crop curve.
//
// Buds that had not opened are not among those whose loss was counted, and stay.
// That what is left may bear more, or larger fruit, than it else would is known
// and not reckoned: no source says how much.

const (
	// flowerDays is for how many days a flower is open: a default, from memory.
	flowerDays = 4
	// leastLeft is the share of a crop of which stages still mean something.
	leastLeft = 0.01
	// leastCut is the share of a crop that is worth cutting off.
	leastCut = 1e-6
	// shiftDoubt is the relative sd of what a frost adds to the heat a stage
	// takes, for the shape of the curve is known no better: a default, as
	// priors.WindowSD.
	shiftDoubt = 0.3
)

// night is a frost as the clock of one planting sees it: the flowers that were
// open had opened between two sums of heat since bloom, °C·d, below 0 before it.
type night struct {
	from, to float64
	lost     float64 // Share of them.
}

// nights appends to dst the frosts that met open flowers of a planting that
// bloomed on a date. Open in the night before the morning d are those that
// opened on the flowerDays days before d. A night before the day of bloom_10
// meets none.
func nights(dst []night, fs []Frost, h heat, bloom weather.Date) []night {
	for _, f := range fs {
		if f.Date <= bloom || f.Date-1 > h.last() {
			continue
		}
		from := max(f.Date-1-flowerDays, h.first-1)
		dst = append(dst, night{h.after(bloom, from) - h.after(from, bloom), h.after(bloom, f.Date-1), f.ShareLost})
	}
	return dst
}

// piece is a stretch of a curve of which one share is kept, up to the next
// piece.
type piece struct {
	from       float64 // °C·d since bloom.
	keep       float64
	ripe, left float64 // Of the whole crop by then: ripe without frosts, and left of that.
}

// frosted returns c without the berries of flowers that were killed, given the
// heat that a flower takes to become ripe fruit. A flower that was open on two
// nights has to survive both. Nights that meet hardly anything leave c as it is.
func (c cropCurve) frosted(fruit float64, ns []night) cropCurve {
	edges := make([]float64, 0, 2*len(ns))
	cuts := make([]night, 0, len(ns))
	for _, n := range ns {
		n.from, n.to = n.from+fruit, n.to+fruit
		if n.lost*(c.whole(n.to)-c.whole(n.from)) >= leastCut {
			cuts, edges = append(cuts, n), append(edges, n.from, n.to)
		}
	}
	if len(cuts) == 0 {
		return c
	}
	slices.Sort(edges)
	edges = slices.Compact(edges)
	p := piece{from: math.Inf(-1), keep: 1}
	c.pieces = append(make([]piece, 0, len(edges)+1), p)
	for _, e := range edges {
		ripe := c.whole(e)
		p.left += p.keep * (ripe - p.ripe)
		p.from, p.ripe, p.keep = e, ripe, 1
		for _, n := range cuts {
			if n.from <= e && e < n.to {
				p.keep *= 1 - n.lost
			}
		}
		c.pieces = append(c.pieces, p)
	}
	c.left = p.left + p.keep*(1-p.ripe)
	return c
}

// kept returns the share of the crop that is left.
func (c cropCurve) kept() float64 {
	if c.pieces == nil {
		return 1
	}
	return c.left
}

// end returns the share of the whole crop that is left of what ripens by the end
// of piece i.
func (c cropCurve) end(i int) float64 {
	if i+1 < len(c.pieces) {
		return c.pieces[i+1].left
	}
	return c.left
}

// stages returns the heat to the stages of a curve after frosts: by when 5 % of
// what is left is ripe, its densest heat between the two ends, the first of
// equals, and by when 95 % of it is.
func (c cropCurve) stages() (need triple) {
	need[0], need[2] = c.leftBy(tailShare), c.leftBy(1-tailShare)
	best := -1.0
	for i, p := range c.pieces {
		from, to := max(p.from, need[0]), need[2]
		if i+1 < len(c.pieces) {
			to = min(to, c.pieces[i+1].from)
		}
		if !(from <= to) {
			continue
		}
		at := min(max(c.mode, from), to)
		if d := p.keep * c.density(at); d > best {
			best, need[1] = d, at
		}
	}
	return need
}

// leftBy returns the heat by which a share of what is left is ripe.
func (c cropCurve) leftBy(share float64) float64 {
	want := share * c.left
	i := 0
	for i+1 < len(c.pieces) && c.end(i) < want {
		i++
	}
	p := c.pieces[i]
	return c.ripeAt(p.ripe + (want-p.left)/p.keep)
}

// density returns the density of the whole crop, relative to that at its mode.
func (c cropCurve) density(h float64) float64 {
	x := (h - c.mode) * c.scaleB
	if x > 0 {
		x = (h - c.mode) * c.scaleA
	}
	return math.Exp(-x * x / 2)
}

// ripeAt returns the heat by which a share of the whole crop, within 0 and 1,
// is ripe.
func (c cropCurve) ripeAt(share float64) float64 {
	if share < c.weight {
		return c.mode + c.before*distuv.UnitNormal.Quantile(share/(2*c.weight))
	}
	return c.mode - c.after*distuv.UnitNormal.Quantile((1-share)/(2*(1-c.weight)))
}

// frosted returns what the stages of a planting require after frosts, given what
// they would without, °C·d since bloom, and the share of its crop that is left.
// Of a crop of which less than a hundredth is left the stages stay as they were.
func (need triple) frosted(ns []night) (after triple, left float64) {
	c := newCropCurve(need).frosted(need[0], ns)
	if c.pieces == nil || c.left < leastLeft {
		return need, c.kept()
	}
	return c.stages(), c.left
}

// frostsOf returns the frosts of a planting in a season.
func (c *computing) frostsOf(planting string, season int) []Frost {
	return c.frosts[plantingSeason{planting, season}]
}

// frostShift returns by how much frosts change the heat to the stages of a
// planting, °C·d, positive for more: at the requirement that is believed before
// anything is seen, whose logs are mean. That is what dates on record are
// corrected by, for what is learned of a planting is learned of it without
// frosts. It depends on how long the crop ripens and not on how late, so little
// is lost by the belief. It reports false when hardly a crop was left, of which
// dates say nothing.
func frostShift(fs []Frost, h heat, bloom weather.Date, mean triple) (shift triple, ok bool) {
	if len(fs) == 0 {
		return shift, true
	}
	need := exp3(mean[:], 0)
	after, left := need.frosted(nights(nil, fs, h, bloom))
	for s := range shift {
		shift[s] = after[s] - need[s]
	}
	return shift, left >= leastLeft
}

// gatherFrosts sorts frosts by planting and season, each in order of date.
func gatherFrosts(fs []Frost, southern bool) map[plantingSeason][]Frost {
	by := map[plantingSeason][]Frost{}
	for _, f := range fs {
		k := plantingSeason{f.Planting, SeasonOf(f.Date, southern)}
		by[k] = append(by[k], f)
	}
	for _, fs := range by {
		slices.SortFunc(fs, func(a, b Frost) int { return int(a.Date - b.Date) })
	}
	return by
}

// noteFrosts says of every planting with frosts what they cost it.
func (c *computing) noteFrosts() {
	for t, tg := range c.targets {
		if len(tg.frosts) == 0 {
			continue
		}
		id, lost := c.in.Plantings[tg.planting].ID, 1-c.members.left[t]
		on := make([]string, len(tg.frosts))
		for i, f := range tg.frosts {
			on[i] = c.day(f.Date)
		}
		what := "The frost of " + on[0]
		if n := len(on); n > 1 {
			what = "The frosts of " + strings.Join(on[:n-1], ", ") + " and " + on[n-1]
		}
		switch ripens := slices.Contains(c.members.ripening, t); {
		case 1-lost < leastLeft:
			c.note(NoteFrost, id, "%s left hardly a flower, so no dates mean anything.", what)
		case !ripens:
			c.note(NoteFrost, id, "%s took about %.0f %% of its crop. What is left has no dates either, for another reason.", what, 100*lost)
		case lost < 0.005:
			c.note(NoteFrost, id, "%s met hardly an open flower, by the date of its bloom, so dates and crop stay as they were.", what)
		default:
			c.note(NoteFrost, id, "%s took about %.0f %% of its crop: dates and weights are those of what is left. What buds may make up for is not reckoned.", what, 100*lost)
		}
	}
}
