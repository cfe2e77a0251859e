package forecast

import (
	"math"
	"sort"

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
}

// newCropCurve returns the curve with its mode at the peak and 5 % of the crop
// ripe by first ripe and 95 % by last pick, given the heat to each, °C·d,
// strictly rising.
//
// With w the share before the mode, which for a continuous density is
// before/(before+after), and z(p) the standard normal quantile,
//
//	before = -(peak-first)/z(0.05/2w), after = -(last-peak)/z(0.05/2(1-w)).
//
// One w solves both; it depends on (peak-first)/(last-peak) alone and is looked
// up in a table. The two-piece normal is textbook knowledge, from memory.
func newCropCurve(need triple) cropCurve {
	a, b := need[1]-need[0], need[2]-need[1]
	const tiny = 1e-6 // °C·d, for stages that a draw puts on top of each other.
	a, b = max(a, tiny), max(b, tiny)
	w := shareBefore(a / b)
	c := cropCurve{
		mode: need[1], weight: w,
		before: -a / distuv.UnitNormal.Quantile(tailShare/(2*w)),
		after:  -b / distuv.UnitNormal.Quantile(tailShare/(2*(1-w))),
	}
	c.scaleB, c.scaleA = 1/c.before, 1/c.after
	return c
}

// ripeBy returns the share of the crop that is ripe at h °C·d since bloom, 0
// to 1.
func (c cropCurve) ripeBy(h float64) float64 {
	if x := h - c.mode; x < 0 {
		return 2 * c.weight * normalCDF(x*c.scaleB)
	} else {
		return 1 - 2*(1-c.weight)*normalCDF(-x*c.scaleA)
	}
}

// reach returns the heat between which all but a thousandth of the crop
// ripens.
func (c cropCurve) reach() (lo, hi float64) {
	const sds = 3.3
	return c.mode - sds*c.before, c.mode + sds*c.after
}

// shareTable maps the log of (peak-first)/(last-peak) to the share before the
// mode.
var shareTable = func() (t struct{ ratio, w []float64 }) {
	const steps = 2000
	for i := 1; i < steps; i++ {
		// w and the ratio that belongs to it: the equation solved backwards.
		w := tailShare + (1-2*tailShare)*float64(i)/steps
		w = math.Min(math.Max(w, tailShare/2+1e-4), 1-tailShare/2-1e-4)
		za := -distuv.UnitNormal.Quantile(tailShare / (2 * w))
		zb := -distuv.UnitNormal.Quantile(tailShare / (2 * (1 - w)))
		t.ratio = append(t.ratio, math.Log(w/(1-w)*za/zb))
		t.w = append(t.w, w)
	}
	return t
}()

// shareBefore returns the share before the mode for a ratio > 0, by linear
// interpolation; ratios beyond the table take its ends.
func shareBefore(ratio float64) float64 {
	t := shareTable
	x := math.Log(ratio)
	i := sort.SearchFloat64s(t.ratio, x)
	switch {
	case i == 0:
		return t.w[0]
	case i == len(t.ratio):
		return t.w[i-1]
	}
	f := (x - t.ratio[i-1]) / (t.ratio[i] - t.ratio[i-1])
	return t.w[i-1] + f*(t.w[i]-t.w[i-1])
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
