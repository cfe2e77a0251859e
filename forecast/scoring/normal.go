package scoring

import (
	"fmt"
	"math"

	"ripetide/weather"
)

const (
	maxSD  = 1000 // Days: the tails still fit into maxDays.
	tailSD = 10   // Beyond it Φ has less than 10⁻²³.
)

// FromNormal returns the whole-day form of a normal with the given mean, in
// days since 1970-01-01, and standard deviation sd, in days: the distribution
// of the nearest day, so that
//
//	F(d) = Φ((d + 1/2 - mean) / sd).
//
// Its mean is that of the normal but for a ripple of less than 10⁻³ day from
// sd 0.6 on; its variance is sd² + 1/12. What lies more than ten sd out is
// given to the last day within.
//
// It is an error, matching [ErrInvalidDistribution], unless 0 < sd <= 1000 and
// the days are within a million of 1970-01-01.
func FromNormal(mean, sd float64) (Distribution, error) {
	if !(0 < sd && sd <= maxSD) {
		return Distribution{}, fmt.Errorf("%w: standard deviation %g not in (0, %d] days", ErrInvalidDistribution, sd, maxSD)
	}
	if !(math.Abs(mean) <= maxDate) {
		return Distribution{}, fmt.Errorf("%w: mean %g more than %d days from 1970-01-01", ErrInvalidDistribution, mean, maxDate)
	}
	first, last := int(math.Floor(mean-tailSD*sd)), int(math.Ceil(mean+tailSD*sd))
	cum := make([]float64, 0, last-first+1)
	for day := first; day <= last; day++ {
		c := 1.0
		if day < last {
			c = stdNormal((float64(day) + 0.5 - mean) / sd)
		}
		if c == 0 {
			first = day + 1
			continue
		}
		cum = append(cum, c)
		if c == 1 {
			break
		}
	}
	if err := checkSpan(first, first+len(cum)-1); err != nil {
		return Distribution{}, err
	}
	return Distribution{first: weather.Date(first), cum: cum}, nil
}

// stdNormal is Φ, the distribution function of the standard normal.
func stdNormal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
