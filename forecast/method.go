package forecast

import (
	"fmt"
	"time"
)

// Kind is a way to sum the heat of a day from its two extremes.
type Kind string

// The kinds. The two averages are the two readings of the literature that
// McMaster and Wilhelm (1997), doi:10.1016/S0168-1923(97)00027-0, told apart.
const (
	Average        Kind = "average"         // Mean of the extremes, then the thresholds.
	ClippedAverage Kind = "clipped average" // Each extreme to the thresholds, then the mean.
	SingleTriangle Kind = "single triangle"
	DoubleTriangle Kind = "double triangle"
	SingleSine     Kind = "single sine"
	DoubleSine     Kind = "double sine"
)

// Cutoff says what heat above the upper threshold does.
type Cutoff string

// The cutoffs.
const (
	NoCutoff     Cutoff = "none"
	Horizontal   Cutoff = "horizontal"   // Counts as the threshold.
	Intermediate Cutoff = "intermediate" // Takes away again what exceeds it.
	Vertical     Cutoff = "vertical"     // Counts nothing.
)

// Method is a way to turn a day into degree-days. Values compare with ==.
type Method struct {
	Kind   Kind
	Base   float64 // Lower threshold, °C.
	Upper  float64 // Upper threshold, °C; 0 when Cutoff is NoCutoff.
	Cutoff Cutoff
}

// DefaultMethod is the single sine between 3 and 30 °C with a horizontal
// cutoff. Bases fitted to strawberry lie at 0 to 3 °C (Krüger et al. 2012,
// J. Berry Research: 3 °C; Le Mière et al. 1998: 2.4 and 2.9 °C); ripening was
// linear in temperature up to a mean of 28 °C (Twitchen et al. 2023), so that
// the cutoff seldom binds.
var DefaultMethod = Method{Kind: SingleSine, Base: 3, Upper: 30, Cutoff: Horizontal}

// Validate returns every fault of m, each a [*FieldError].
func (m Method) Validate() []error {
	var f faults
	switch m.Kind {
	case Average, ClippedAverage, SingleTriangle, DoubleTriangle, SingleSine, DoubleSine:
	default:
		f.add("method", `must be "average", "clipped average", "single triangle", "double triangle", "single sine" or "double sine"`)
	}
	f.within("base_c", m.Base, -10, 20)
	switch m.Cutoff {
	case NoCutoff:
	case Horizontal, Intermediate, Vertical:
		if !(m.Upper > m.Base && m.Upper <= 60) {
			f.add("upper_c", "must be above base_c and at most 60")
		}
	default:
		f.add("cutoff", `must be "none", "horizontal", "intermediate" or "vertical"`)
	}
	return f.errs
}

// String returns the method in words, such as "single sine, 3 to 30 °C horizontal".
func (m Method) String() string {
	if m.Cutoff == NoCutoff {
		return fmt.Sprintf("%s above %g °C", m.Kind, m.Base)
	}
	return fmt.Sprintf("%s, %g to %g °C %s", m.Kind, m.Base, m.Upper, m.Cutoff)
}

// MethodChoice is a farm's decision for a method. Forecasts that were frozen
// before keep the one they were made by.
type MethodChoice struct {
	Method Method
	By     string    // Who decided: the name of a key or a person.
	At     time.Time // When.
	Reason string    // In their words; may be empty.
}

// Validate returns every fault of c, each a [*FieldError].
func (c MethodChoice) Validate() []error {
	f := faults{c.Method.Validate()}
	f.text("by", c.By)
	if c.Reason != "" {
		f.text("reason", c.Reason)
	}
	return f.errs
}
