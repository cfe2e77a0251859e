package forecast

import (
	"maps"
	"slices"

	"ripetide/weather"
)

// Apportion is apportion.
func Apportion(parts []float64) (tenths []int, sum int) { return apportion(parts) }

// MeanDates are the mean dates of each planting's stages in an earlier
// forecast, after each exchange of inputs, and in the present forecast.
func MeanDates(in Inputs, asOf weather.Date, was Earlier) (out []map[string][3]float64, err error) {
	c, err := compute(in, asOf)
	if err != nil {
		return nil, err
	}
	steps, err := c.steps(was)
	for _, s := range steps {
		m := map[string][3]float64{}
		for p, x := range s {
			m[p] = x.date
		}
		out = append(out, m)
	}
	return out, err
}

// Exchanged returns records after the exchange of their days, and after that of
// their outlooks too.
func Exchanged(old, now []Record) (days, outlooks []Record) {
	days = exchangeDays(old, now)
	return days, exchangeOutlooks(days, now)
}

// ExplainAll is [Explain] of every planting of a forecast, which it returns too.
func ExplainAll(in Inputs, asOf weather.Date) (*Forecast, map[string]*Explanation, error) {
	c, err := compute(in, asOf)
	if err != nil {
		return nil, nil, err
	}
	out := map[string]*Explanation{}
	for _, p := range c.f.Plantings {
		if out[p.Planting], err = c.explain(p.Planting); err != nil {
			return nil, nil, err
		}
	}
	return c.f, out, nil
}

// LogMeans returns the posterior means of the log requirements by planting.
func LogMeans(in Inputs, asOf weather.Date) (map[string][3]float64, error) {
	c, err := compute(in, asOf)
	if err != nil {
		return nil, err
	}
	out := map[string][3]float64{}
	for t, tg := range c.targets {
		out[c.in.Plantings[tg.planting].ID] = [3]float64(c.post.mean[ripeStages*t:])
	}
	return out, nil
}

// Parts returns the posterior means of the effects on each target, and the
// covariance of each effect on one stage with what was observed, in the order
// of Covariances, written down from the model's definition.
func (e Effects) Parts() (means [][5][3]float64, cov func(target, stage int) [5][]float64, err error) {
	m := e.model()
	p, err := condition(m)
	for _, x := range p.effects {
		var y [5][3]float64
		for i := range x {
			y[i] = x[i]
		}
		means = append(means, y)
	}
	type item struct{ p, y, s int }
	var items []item
	for _, o := range m.past {
		for s := range o.log {
			items = append(items, item{o.planting, o.season, s})
		}
	}
	items = append(items, item{0, m.seasons - 1, 0})
	var common mat3
	for _, c := range m.covs {
		common = common.plus(c.scale(priors.FarmPart / float64(len(m.covs))))
	}
	vs := m.estimate()
	own, season, planting := stageCov(vs.own), stageCov(vs.season), stageCov(alike(priors.PlantingSD))
	return means, func(t, s int) (out [5][]float64) {
		for _, x := range items {
			row := [5]float64{common[s][x.s]}
			if x.p == t {
				row[1], row[2] = m.covs[t].scale(1 - priors.FarmPart)[s][x.s], planting[s][x.s]
			}
			if x.y == m.seasons-1 {
				row[3] = season[s][x.s]
				if x.p == t {
					row[4] = own[s][x.s] + e.Bloom*e.Bloom
				}
			}
			for i := range row {
				out[i] = append(out[i], row[i])
			}
		}
		return out
	}, err
}

// Plantings returns the identifiers of the plantings in m, in order.
func Plantings[T any](m map[string]T) []string { return slices.Sorted(maps.Keys(m)) }
