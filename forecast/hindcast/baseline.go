package hindcast

import (
	"fmt"
	"iter"
	"math"

	"ripetide/weather"
)

// Baseline is a simpler way to forecast the same dates. Each knows of this
// season what the morning knew and of others only the earlier ones, and each
// has a range, from how far it was off before, so that its scores compare: a
// normal, see [scoring.FromNormal], of which the days that are over are cut
// off, for that its stage has not come is known.
//
// None of them learns from other stages that have come this season.
type Baseline int

// The baselines.
const (
	MeanDate        Baseline = iota // The variety's own mean calendar date.
	BloomRule                       // Bloom and 30 days, by common practice.
	OwnDays                         // Bloom and the variety's own mean days.
	UsualHeat                       // Degree-days, with the usual weather to come.
	MeanTemperature                 // A regression of days on mean temperature.
)

const baselines = int(MeanTemperature) + 1

// Baselines returns all baselines in order.
func Baselines() []Baseline {
	return []Baseline{MeanDate, BloomRule, OwnDays, UsualHeat, MeanTemperature}
}

var baselineNames = [...]struct{ name, column string }{
	MeanDate:        {"mean date", "mean_date"},
	BloomRule:       {"bloom + 30 days", "bloom_rule"},
	OwnDays:         {"own mean days", "own_days"},
	UsualHeat:       {"usual heat", "usual_heat"},
	MeanTemperature: {"mean temperature", "mean_temperature"},
}

// String returns the baseline's name in words.
func (b Baseline) String() string {
	if b < 0 || int(b) >= baselines {
		return fmt.Sprintf("Baseline(%d)", int(b))
	}
	return baselineNames[b].name
}

// usualSD holds the standard deviations, days, that are assumed while a
// baseline has been tried in one season only, or none.
var usualSD = struct{ date, rule, days, heat, line float64 }{
	date: 6, // First harvest of one variety in several years: 10 to 27 May (Beltsville; USDA 2019), a span of nearly three sd.
	rule: 5, // From bloom to ripe 24 to 44 days, by variety and warmth (Queensland 2000): about four sd.
	days: 4, // Of one variety 29 to 34 or 27 to 38 days from place to place (Krüger et al. 2012). A default.
	heat: 3, // Defaults: between that and the day or two of a known requirement.
	line: 3,
}

// leastSD, days, is the smallest standard deviation that is believed: dates
// are entered to the day, and a few seasons can agree by chance.
const leastSD = 1

// normal is a forecast as a mean date and its standard deviation, days.
type normal struct{ mean, sd float64 }

// baseline returns the forecast of a stage of planting i on the morning asOf,
// or why there is none. bloomed says that bloom was entered by then.
func (y *year) baseline(b Baseline, i, stage int, asOf, bloom weather.Date, bloomed bool) (normal, Reason) {
	v := y.plantings[i].Variety
	if b == MeanDate {
		return y.meanDate(v, stage)
	}
	if !bloomed {
		return normal{}, NoBloomYet
	}
	switch b {
	case BloomRule:
		return y.bloomRule(v, stage, bloom)
	case OwnDays:
		return y.ownDays(v, stage, bloom)
	case UsualHeat:
		return y.usualHeat(i, stage, asOf, bloom)
	case MeanTemperature:
		return y.meanTemperature(i, stage, asOf, bloom)
	}
	panic("hindcast: unknown baseline")
}

// seasonMeans returns, season by season, the mean of f over the rows of the
// season for which it is defined: plantings of a variety share a weather, so a
// season counts once.
func seasonMeans(rows []*row, f func(*row) (float64, bool)) (means []float64) {
	for part := range bySeason(rows) {
		sum, n := 0.0, 0
		for _, r := range part {
			if x, ok := f(r); ok {
				sum, n = sum+x, n+1
			}
		}
		if n > 0 {
			means = append(means, sum/float64(n))
		}
	}
	return means
}

// bySeason parts rows, which are in order of season, by season.
func bySeason(rows []*row) iter.Seq[[]*row] {
	return func(yield func([]*row) bool) {
		for i := 0; i < len(rows); {
			j := i
			for j < len(rows) && rows[j].places.season == rows[i].places.season {
				j++
			}
			if !yield(rows[i:j]) {
				return
			}
			i = j
		}
	}
}

func mean(xs []float64) float64 {
	sum := 0.0
	for _, x := range xs {
		sum += x
	}
	return sum / float64(len(xs))
}

// predictive returns the standard deviation, days, of the prediction of a new
// season by something whose level was set to the mean of n seasons, from its
// residuals r in them:
//
//	√(Σr²/(n-1)) √(1+1/n),
//
// with the usual sd for the first root while n is 1. It is at least leastSD.
func predictive(r []float64, usual float64) float64 {
	n, sd := float64(len(r)), usual
	if len(r) > 1 {
		sd = math.Sqrt(squares(r) / (n - 1))
	}
	return max(leastSD, sd*math.Sqrt(1+1/n))
}

func squares(xs []float64) (sum float64) {
	for _, x := range xs {
		sum += x * x
	}
	return sum
}

// minus returns xs with m taken from each.
func minus(xs []float64, m float64) []float64 {
	out := make([]float64, len(xs))
	for i, x := range xs {
		out[i] = x - m
	}
	return out
}
