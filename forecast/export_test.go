package forecast

import (
	"math/rand/v2"

	"ripetide/weather"
)

// What the tests in package forecast_test look at from outside.

// CropShares returns the share ripe at each h for the given requirements.
func CropShares(first, peak, last float64, hs []float64) []float64 {
	c := newCropCurve(triple{first, peak, last})
	out := make([]float64, len(hs))
	for i, h := range hs {
		out[i] = c.ripeBy(h)
	}
	return out
}

// DayQuantiles is dayQuantiles.
func DayQuantiles(xs []int16) [3]int { return dayQuantiles(xs) }

// KgQuantiles is kgQuantiles.
func KgQuantiles(xs []float32) [3]float64 { return kgQuantiles(xs) }

// Effects is a small model for the test of conditioning: plantings of one
// variety each, all stages seen in past seasons, first ripe of the first
// planting seen in the season that is forecast.
type Effects struct {
	Plantings, Seasons int
	Log                func(planting, season, stage int) float64
	SeenNow            float64 // Log heat of the first planting's first ripe.
	Noise              float64 // sd of every observation's log.
	Bloom              float64 // Shift of the log for one sd of a bloom date.
}

func (e Effects) model() model {
	m := model{varieties: e.Plantings, seasons: e.Seasons + 1}
	bloom := triple{e.Bloom, e.Bloom, e.Bloom}
	noise := triple{e.Noise, e.Noise, e.Noise}
	for p := range e.Plantings {
		mean, cov := prior(Variety{Ripens: Class(p % 6)}, DefaultMethod)
		m.means, m.covs, m.variety = append(m.means, mean), append(m.covs, cov), append(m.variety, p)
		for y := range e.Seasons {
			o := observation{planting: p, season: y, sd: noise, bloom: bloom, seen: [3]bool{true, true, true}}
			for s := range o.log {
				o.log[s] = e.Log(p, y, s)
			}
			m.past = append(m.past, o)
		}
		m.target = append(m.target, p)
		m.current = append(m.current, observation{planting: p, bloom: bloom})
	}
	m.current[0].seen[0], m.current[0].log[0], m.current[0].sd = true, e.SeenNow, noise
	return m
}

// Posterior returns the mean and the sd of the log requirements by Cholesky.
func (e Effects) Posterior() (mean, sd []float64, err error) {
	p, err := condition(e.model())
	return p.mean, p.sd, err
}

// Covariances returns the prior mean and covariance of all that was observed,
// in the order of the model's past and then the current stage, followed by the
// log requirements to be forecast: written down from the model's definition.
func (e Effects) Covariances() (mean, observed []float64, cov [][]float64) {
	m := e.model()
	type item struct {
		p, y, s  int
		observed bool
	}
	var items []item
	for _, o := range m.past {
		for s := range o.log {
			items = append(items, item{o.planting, o.season, s, true})
			observed = append(observed, o.log[s])
		}
	}
	items = append(items, item{0, m.seasons - 1, 0, true})
	observed = append(observed, e.SeenNow)
	for p := range e.Plantings {
		for s := range ripeStages {
			items = append(items, item{p, m.seasons - 1, s, false})
		}
	}
	var common mat3
	for _, c := range m.covs {
		common = common.plus(c.scale(priors.FarmPart / float64(len(m.covs))))
	}
	own, season, planting := stageCov(priors.OwnSD), stageCov(priors.SeasonSD), stageCov(priors.PlantingSD)
	for i, a := range items {
		mean = append(mean, m.means[a.p][a.s])
		row := make([]float64, len(items))
		for j, b := range items {
			row[j] = common[a.s][b.s]
			if a.p == b.p {
				row[j] += m.covs[a.p].scale(1 - priors.FarmPart)[a.s][b.s] + planting[a.s][b.s]
			}
			if a.y == b.y {
				row[j] += season[a.s][b.s]
			}
			if a.p == b.p && a.y == b.y {
				row[j] += own[a.s][b.s] + e.Bloom*e.Bloom
			}
			if i == j && a.observed {
				row[j] += e.Noise * e.Noise
			}
		}
		cov = append(cov, row)
	}
	return mean, observed, cov
}

// Truncated draws n members of a posterior whose components must lie above
// the given bounds; strained counts those that rejection could not find.
func Truncated(e Effects, above []float64, n int) (xs [][]float64, strained int, err error) {
	p, err := condition(e.model())
	if err != nil {
		return nil, 0, err
	}
	xs, strained = p.draws(n, bounds{above})
	return xs, strained, nil
}

// Settled draws n members by slice sampling alone.
func Settled(e Effects, above []float64, n int) ([][]float64, error) {
	p, err := condition(e.model())
	if err != nil {
		return nil, err
	}
	return p.settledDraws(n, bounds{above}), nil
}

// GapRuns returns the runs and what is told of them for a table of days by
// member; perTrace members share a trace.
func GapRuns(gap [][]bool, p float64, perTrace int) []Gap {
	days := len(gap[0])
	t := newTally(Farm{}, 0, 0, len(gap), days)
	for m, row := range gap {
		for d, is := range row {
			if is {
				t.gap[d]++
				t.gapDays.set(m, d)
			}
		}
	}
	return t.gaps(Farm{GapProbability: p}, weather.Date(0), perTrace, nil)
}

// settledDraws returns n draws none of which is left to rejection.
func (p posterior) settledDraws(n int, b bounds) [][]float64 {
	xs := make([][]float64, n)
	z := make([]float64, p.dim)
	for i := range xs {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		normals(r, z)
		xs[i] = make([]float64, p.dim)
		p.at(z, xs[i])
		p.settle(r, xs[i], b)
	}
	return xs
}
