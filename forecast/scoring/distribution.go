package scoring

import (
	"fmt"
	"slices"

	"ripetide/weather"
)

// Distribution is a discrete distribution over whole days. It is made by
// [FromCounts], [FromDates], [FromQuantiles], [FromNormal] or [Point] and never changes. The
// zero value is no distribution: every method of it panics.
type Distribution struct {
	first weather.Date
	cum   []float64 // Weight on or before first, first+1, …; rises at both ends.
}

const (
	maxDays    = 36525         // A century: no forecast of a date spans more.
	maxDate    = 1_000_000     // Days from 1970-01-01, either way: 2,700 years.
	maxMembers = 1_000_000_000 // So that a member weighs more than slack.
	slack      = 1e-12         // Of the mass; hides that 0.1 is not one tenth.
)

// FromCounts returns the distribution of members of which counts[i] fall on
// the day first+i. Days without a member may stand anywhere.
//
// It is an error, matching [ErrInvalidDistribution], if a count is negative, if
// there is no member or more than 10⁹, if the members span more than 36,525
// days, or if one is more than a million days from 1970-01-01.
func FromCounts(first weather.Date, counts []int) (Distribution, error) {
	lo, hi, sum := len(counts), -1, 0
	for i, n := range counts {
		if n < 0 {
			return Distribution{}, fmt.Errorf("%w: count %d on day %d", ErrInvalidDistribution, n, i)
		}
		if n == 0 {
			continue
		}
		if n > maxMembers-sum {
			return Distribution{}, fmt.Errorf("%w: more than %d members", ErrInvalidDistribution, maxMembers)
		}
		lo, hi, sum = min(lo, i), i, sum+n
	}
	if sum == 0 {
		return Distribution{}, fmt.Errorf("%w: no members", ErrInvalidDistribution)
	}
	if err := checkSpan(int(first)+lo, int(first)+hi); err != nil {
		return Distribution{}, err
	}
	d := Distribution{first: first + weather.Date(lo), cum: make([]float64, hi-lo+1)}
	sum = 0
	for i := range d.cum {
		sum += counts[lo+i]
		d.cum[i] = float64(sum)
	}
	return d, nil
}

// FromDates returns the distribution of members that weigh the same and have
// the given dates, in any order. Errors are those of [FromCounts].
func FromDates(dates []weather.Date) (Distribution, error) {
	if len(dates) == 0 {
		return Distribution{}, fmt.Errorf("%w: no members", ErrInvalidDistribution)
	}
	first, last := slices.Min(dates), slices.Max(dates)
	if err := checkSpan(int(first), int(last)); err != nil { // Before room for it is made.
		return Distribution{}, err
	}
	counts := make([]int, last-first+1)
	for _, d := range dates {
		counts[d-first]++
	}
	return FromCounts(first, counts)
}

// Point returns the distribution that is certain of one date: a forecast
// without a range.
func Point(date weather.Date) Distribution {
	return Distribution{first: date, cum: []float64{1}}
}

// FromQuantiles returns a distribution whose 10, 50 and 90 % quantiles are the
// dates given, for forecasts of which nothing else was kept. What is made of
// these three is true of the forecast, such as its [MeanPinball]; its mean, CRPS
// and masses are not, for all of the mass lies on the three dates.
//
// It is an error, matching [ErrInvalidDistribution], if the dates fall, or are
// out of the reach of [FromDates].
func FromQuantiles(p10, p50, p90 weather.Date) (Distribution, error) {
	if p10 > p50 || p50 > p90 {
		return Distribution{}, fmt.Errorf("%w: quantiles %v, %v and %v fall", ErrInvalidDistribution, p10, p50, p90)
	}
	return FromDates([]weather.Date{p10, p50, p50, p50, p50, p90, p90, p90, p90, p90})
}

// checkSpan says why no distribution lies on the days first to last.
func checkSpan(first, last int) error {
	if first < -maxDate || last > maxDate {
		return fmt.Errorf("%w: a date more than %d days from 1970-01-01", ErrInvalidDistribution, maxDate)
	}
	if last-first >= maxDays {
		return fmt.Errorf("%w: spans more than %d days", ErrInvalidDistribution, maxDays)
	}
	return nil
}

// IsZero reports whether d is the zero value, which is no distribution.
func (d Distribution) IsZero() bool { return len(d.cum) == 0 }

// Support returns the first and the last day that have mass.
func (d Distribution) Support() (first, last weather.Date) {
	d.must()
	return d.first, d.first + weather.Date(len(d.cum)-1)
}

// CDF returns F(date), the mass on or before date, in [0, 1].
func (d Distribution) CDF(date weather.Date) float64 {
	d.must()
	return d.upTo(int(date)) / d.total()
}

// Mass returns the mass on the days lo to hi, both included, in [0, 1]. It is
// 0 if hi is before lo.
func (d Distribution) Mass(lo, hi weather.Date) float64 {
	d.must()
	return max(0, d.upTo(int(hi))-d.upTo(int(lo)-1)) / d.total()
}

// Quantile returns the smallest date with at least a share p of the mass on or
// before it. A share that falls short of p by less than 10⁻¹² counts as p, so
// that one member of ten is a tenth.
//
// Quantile panics unless 0 < p <= 1.
func (d Distribution) Quantile(p float64) weather.Date {
	d.must()
	if !(0 < p && p <= 1) {
		panic("scoring: probability of a quantile not in (0, 1]")
	}
	i, _ := slices.BinarySearch(d.cum, (p-slack)*d.total())
	return d.first + weather.Date(i)
}

// Median returns Quantile(0.5).
func (d Distribution) Median() weather.Date { return d.Quantile(0.5) }

// Mean returns the expected date, in days since 1970-01-01.
//
// It is the last day less Σ F(d) over the days d before it.
func (d Distribution) Mean() float64 {
	d.must()
	sum := 0.0
	for _, c := range d.cum[:len(d.cum)-1] {
		sum += c
	}
	return float64(int(d.first)+len(d.cum)-1) - sum/d.total()
}

// must panics if d is the zero value.
func (d Distribution) must() {
	if d.IsZero() {
		panic("scoring: zero Distribution")
	}
}

// total is the weight of all members.
func (d Distribution) total() float64 { return d.cum[len(d.cum)-1] }

// upTo is the weight on or before a day.
func (d Distribution) upTo(day int) float64 {
	switch i := day - int(d.first); {
	case i < 0:
		return 0
	case i < len(d.cum):
		return d.cum[i]
	}
	return d.total()
}

// weight is the weight of the day first+i.
func (d Distribution) weight(i int) float64 {
	if i == 0 {
		return d.cum[0]
	}
	return d.cum[i] - d.cum[i-1]
}
