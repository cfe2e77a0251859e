package forecast

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// tailShare is the share of the crop before first ripe, and after last pick.
const tailShare = 0.05

// cropCurve is how the crop of one planting ripens against the clock: a normal
// distribution with one sd before its mode and another after it, °C·d since
// bloom.
type cropCurve struct {
	mode           float64
	before, after  float64 // sd on either side, > 0.
	weight         float64 // Share of the crop before the mode.
	scaleB, scaleA float64 // 1/before, 1/after.

	pieces []piece // What frosts have left of it, from -Inf on; nil: all. See frosted.
	left   float64 // The share of the crop that is left, if there are pieces.
}

// newCropCurve returns the curve with its mode at the peak and 5 % of the crop
// ripe by first ripe and 95 % by last pick, given the heat to each, °C·d,
// strictly rising.
//
// With w the share before the mode, which for a continuous density is
// before/(before+after), and z(p) the standard normal quantile,
//
//	before = (peak-first) / -z(0.05/2w), after = (last-peak) / -z(0.05/2(1-w)).
//
// One w solves both; it depends on (peak-first)/(last-peak) alone and is looked
// up in a table. Where that ratio is beyond e±4, the table's end is taken. The
// two-piece normal is textbook knowledge, from memory.
func newCropCurve(need triple) cropCurve {
	const tiny = 1e-6 // °C·d, for stages that a draw puts on top of each other.
	a, b := max(need[1]-need[0], tiny), max(need[2]-need[1], tiny)
	s := shapeOf(a / b)
	c := cropCurve{mode: need[1], weight: s.w, before: a / s.zBefore, after: b / s.zAfter}
	c.scaleB, c.scaleA = 1/c.before, 1/c.after
	return c
}

// ripeBy returns the share of the crop, of what is left of it, that is ripe at h
// °C·d since bloom, 0 to 1.
func (c *cropCurve) ripeBy(h float64) float64 {
	if c.pieces == nil {
		return c.whole(h)
	}
	i := len(c.pieces) - 1
	for c.pieces[i].from > h {
		i--
	}
	p := c.pieces[i]
	return (p.left + p.keep*(c.whole(h)-p.ripe)) / c.left
}

// whole is ripeBy without frosts.
func (c *cropCurve) whole(h float64) float64 {
	if x := h - c.mode; x < 0 {
		return 2 * c.weight * normalCDF(x*c.scaleB)
	} else {
		return 1 - 2*(1-c.weight)*normalCDF(-x*c.scaleA)
	}
}

// reach returns the heat between which all of the crop ripens but a few
// millionths.
func (c cropCurve) reach() (lo, hi float64) {
	return c.mode - cdfEnd*c.before, c.mode + cdfEnd*c.after
}

// shape is what the ratio of the two sides decides.
type shape struct {
	w               float64 // Share before the mode.
	zBefore, zAfter float64 // sd between the mode and first ripe, last pick.
}

func newShape(w float64) shape {
	return shape{w, -distuv.UnitNormal.Quantile(tailShare / (2 * w)), -distuv.UnitNormal.Quantile(tailShare / (2 * (1 - w)))}
}

// logRatio is the log of (peak-first)/(last-peak) that belongs to the shape.
func (s shape) logRatio() float64 { return math.Log(s.w / (1 - s.w) * s.zBefore / s.zAfter) }

const (
	shapeEnd  = 4.0 // Of the log of the ratio, either way.
	shapeStep = 1.0 / 128
)

// shapes is the shape by the log of the ratio, from -shapeEnd up.
var shapes = func() []shape {
	t := make([]shape, int(2*shapeEnd/shapeStep)+1)
	for i := range t {
		x := -shapeEnd + float64(i)*shapeStep
		lo, hi := tailShare/2, 1-tailShare/2 // The ratio rises with w between them.
		for range 60 {
			if w := (lo + hi) / 2; newShape(w).logRatio() < x {
				lo = w
			} else {
				hi = w
			}
		}
		t[i] = newShape((lo + hi) / 2)
	}
	return t
}()

// shapeOf returns the shape for a ratio > 0, by linear interpolation.
func shapeOf(ratio float64) shape {
	x := (math.Log(ratio) + shapeEnd) / shapeStep
	x = min(max(x, 0), float64(len(shapes)-1)-1e-9)
	i := int(x)
	f := x - float64(i)
	a, b := shapes[i], shapes[i+1]
	return shape{a.w + f*(b.w-a.w), a.zBefore + f*(b.zBefore-a.zBefore), a.zAfter + f*(b.zAfter-a.zAfter)}
}

const (
	cdfEnd  = 4.5
	cdfStep = 1.0 / 256
)

var cdfTable = func() []float64 {
	t := make([]float64, int(cdfEnd/cdfStep)+2)
	for i := range t {
		t[i] = distuv.UnitNormal.CDF(-float64(i) * cdfStep)
	}
	return t
}()

// normalCDF returns the standard normal distribution function for x <= 0 by
// linear interpolation, within 1e-6; 0 below -4.5, where 3e-6 is left.
func normalCDF(x float64) float64 {
	f := -x / cdfStep
	i := int(f)
	if i >= len(cdfTable)-1 {
		return 0
	}
	f -= float64(i)
	return cdfTable[i] + f*(cdfTable[i+1]-cdfTable[i])
}
