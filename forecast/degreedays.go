package forecast

import (
	"math"
	"slices"

	"ripetide/weather"
)

// DegreeDays returns the degree-days, in °C·d, that one day with extremes
// minC and maxC (°C) adds by m. nextMinC, the minimum of the day after, is
// looked at by the double kinds alone.
//
// Every kind assumes a course T of temperature over the day. With
//
//	E(t) = the mean over the day of max(0, T-t), °C,
//	F(t) = the fraction of the day with T > t,
//
// L = Base and U = Upper, the cutoffs are
//
//	none          E(L)
//	horizontal    E(L) - E(U)
//	intermediate  E(L) - 2 E(U), at least 0
//	vertical      E(L) - E(U) - (U-L) F(U)
//
// and the kinds
//
//	average          T is the mean of the extremes all day
//	clipped average  T is minC for half the day and maxC for the other half
//	single triangle  T runs straight from minC to maxC and back
//	single sine      T is a sine wave between minC and maxC
//	double …         half the day is the half wave from minC to maxC, the other
//	                 half the one from maxC to nextMinC.
//
// So the horizontal average is min(mean, U)-L and the vertical one counts
// nothing on a day whose mean is above U; the horizontal clipped average sets
// each extreme to [L, U] first, its vertical one counts nothing for an extreme
// above U. A double day is the mean of two single days. Where nextMinC is
// above maxC, as when a warm front passes at night, the second half wave rises
// to it: the extremes of that half are the lesser and the greater of the two.
//
// The intermediate cutoff would go below zero when most of the day is warmer
// than 2U-L; such a day, or half of a double day, counts 0. The result lies in
// [0, U-L], with no cutoff in [0, max(0, maxC-L)], where for a double kind
// nextMinC stands for maxC if it is greater. Thresholds and extremes in °F give
// °F·d, which is 9/5 of the °C·d of the same day.
//
// DegreeDays panics if minC > maxC, if one of them (for a double kind also
// nextMinC) is NaN or infinite, if Kind or Cutoff is none of the constants, or
// if Base, or with a cutoff Upper, is not finite or Upper <= Base. Days made by
// [weather.NewDay] and methods that passed [Method.Validate] cause no panic.
//
// Sources of the kinds stand with them. Cutoffs: Allen (1976), Environ.
// Entomol. 5(3), 388-396, doi:10.1093/ee/5.3.388; six cases of the horizontal
// one in Zalom et al. (1983), UC Leaflet 21373. Formulas from memory, checked
// by quadrature.
func (m Method) DegreeDays(minC, maxC, nextMinC float64) float64 {
	if m.Kind == SingleSine && math.Abs(m.Base) <= math.MaxFloat64 { // The short way takes half the time.
		switch {
		case m.Cutoff == NoCutoff:
			return sineBetween(minC, maxC, m.Base, math.Inf(1))
		case m.Cutoff == Horizontal && m.Base < m.Upper && m.Upper <= math.MaxFloat64:
			return sineBetween(minC, maxC, m.Base, m.Upper)
		}
	}
	var r rule
	r.set(&m)
	if r.double {
		return (r.of(minC, maxC) + r.of(min(nextMinC, maxC), max(nextMinC, maxC))) / 2
	}
	return r.of(minC, maxC)
}

// AppendDegreeDays appends the degree-days, °C·d, of each of days to dst and
// returns the longer slice. It gives what DegreeDays gives for each day, and
// panics as it does, but chooses the formula once for all: some 10,000 days
// make a forecast. The next minimum of a day is that of the following element
// if it is the next date; the last day, or one before a hole, ends with its
// own minimum.
func (m Method) AppendDegreeDays(dst []float64, days []weather.Day) []float64 {
	dst = slices.Grow(dst, len(days))
	var r rule
	r.set(&m)
	switch {
	case m.Kind == SingleSine && (m.Cutoff == NoCutoff || m.Cutoff == Horizontal):
		for i := range days {
			dst = append(dst, sineBetween(days[i].Min, days[i].Max, r.base, r.upper))
		}
	case r.double:
		for i, d := range days {
			next := d.Min
			if i+1 < len(days) && days[i+1].Date == d.Date+1 {
				next = days[i+1].Min
			}
			dst = append(dst, (r.of(d.Min, d.Max)+r.of(min(next, d.Max), max(next, d.Max)))/2)
		}
	default:
		for i := range days {
			dst = append(dst, r.of(days[i].Min, days[i].Max))
		}
	}
	return dst
}

// sineBetween is the single sine with a horizontal cutoff, by far the most
// used, without the detour over a rule.
func sineBetween(minC, maxC, base, upper float64) float64 {
	mustBeExtremes(minC, maxC)
	dd := sineExcess(minC, maxC, base)
	if maxC > upper {
		dd = above(dd, sineExcess(minC, maxC, upper))
	}
	return dd
}

// rule is a method taken apart: what it does to a day or to half of one.
type rule struct {
	excess, share func(minC, maxC, t float64) float64 // E and F.
	double        bool
	base, upper   float64 // Upper is +Inf without a cutoff.
	overs         float64 // How often E(upper) is taken away.
	vertical      bool    // And also (upper-base) F(upper).
}

// set takes m apart. It panics if m is no method.
func (r *rule) set(m *Method) {
	r.base, r.upper, r.overs = m.Base, m.Upper, 1
	switch m.Kind {
	case SingleSine, DoubleSine:
		r.excess, r.share, r.double = sineExcess, sineShare, m.Kind == DoubleSine
	case SingleTriangle, DoubleTriangle:
		r.excess, r.share, r.double = triangleExcess, triangleShare, m.Kind == DoubleTriangle
	case Average:
		r.excess, r.share = averageExcess, averageShare
	case ClippedAverage:
		r.excess, r.share = clippedExcess, clippedShare
	default:
		panic("forecast: unknown kind of degree-days")
	}
	if !(math.Abs(r.base) <= math.MaxFloat64) {
		panic("forecast: base temperature not finite")
	}
	switch m.Cutoff {
	case NoCutoff:
		r.upper = math.Inf(1)
		return
	case Horizontal:
	case Intermediate:
		r.overs = 2
	case Vertical:
		r.vertical = true
	default:
		panic("forecast: unknown cutoff")
	}
	if !(r.base < r.upper && r.upper <= math.MaxFloat64) {
		panic("forecast: upper cutoff not finite or not above base temperature")
	}
}

// of returns the degree-days of a single day, or of a half wave.
func (r *rule) of(minC, maxC float64) float64 {
	mustBeExtremes(minC, maxC)
	dd := r.excess(minC, maxC, r.base)
	if maxC <= r.upper {
		return dd
	}
	over := r.overs * r.excess(minC, maxC, r.upper)
	if r.vertical {
		over += (r.upper - r.base) * r.share(minC, maxC, r.upper)
	}
	return above(dd, over) // Never below zero, by rounding either.
}

// mustBeExtremes panics unless minC <= maxC and both are finite.
func mustBeExtremes(minC, maxC float64) {
	if r := maxC - minC; !(0 <= r && r <= math.MaxFloat64) { // NaN fails, and so does Inf-Inf.
		panic("forecast: minimum temperature not at or below maximum")
	}
}
