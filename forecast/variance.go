package forecast

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// variances are the sd, of the log requirement to each stage, of what a season
// does to all plantings and of what is left to one planting in one season.
type variances struct {
	season, own triple
	seasons     int // Past seasons they rest on; 0: defaults.
}

const varianceSeasons = 4 // Fewer past seasons tell nothing of how seasons differ.

// estimate returns the most probable sd given the past seasons of m, each with
// a log-normal prior around its default: restricted maximum likelihood,
// shrunk. The farm's, the varieties' and the plantings' own effects are
// integrated out, so that what they take is not counted as chance. Each stage
// is taken by itself; the correlation between stages stays at its default.
func (m model) estimate() variances {
	v := variances{}
	for s := range ripeStages {
		v.season[s], v.own[s] = priors.SeasonSD, priors.OwnSD
	}
	if m.seasons-1 < varianceSeasons {
		return v
	}
	v.seasons = m.seasons - 1
	inParts(ripeStages, func(_, lo, hi int) {
		for s := lo; s < hi; s++ {
			v.season[s], v.own[s] = m.stage(s).estimate(priors.SeasonSD, priors.OwnSD)
		}
	})
	return v
}

// estimate returns the most probable sd of seasons and of the rest, with the
// given defaults.
func (q *scalarModel) estimate(season, own float64) (float64, float64) {
	x := climb(func(x [2]float64) float64 {
		shrink := (x[0]*x[0] + x[1]*x[1]) / (2 * priors.VarianceSD * priors.VarianceSD)
		return q.logLikelihood(season*math.Exp(x[0]), own*math.Exp(x[1])) - shrink
	}, [2]float64{}, 0.4, 0.04)
	return season * math.Exp(x[0]), own * math.Exp(x[1])
}

// climb walks from x to a maximum of f in steps along the axes, halved when
// none leads up, until they are shorter than least.
func climb(f func([2]float64) float64, x [2]float64, step, least float64) [2]float64 {
	best := f(x)
	for step > least {
		moved := false
		for i := range x {
			for _, d := range [2]float64{step, -step} {
				y := x
				y[i] += d
				if v := f(y); v > best {
					x, best, moved = y, v, true
					break
				}
			}
		}
		if !moved {
			step /= 2
		}
	}
	return x
}

// scalarModel is the model of one stage alone: y is a sum of a farm's, a
// variety's, a planting's and a season's effect and a rest.
type scalarModel struct {
	at    [][4]int  // By observation: its farm, variety, planting and season effect.
	y     []float64 // Log heat less the prior mean.
	known []float64 // Variance known beforehand: of dating and of bloom.
	prior []float64 // Precision of each effect; that of the seasons is not used.
	first int       // Index of the first season.
}

// stage returns the past of m as a model of the stage s.
func (m model) stage(s int) *scalarModel {
	nV, nP := m.varieties, len(m.variety)
	q := &scalarModel{first: 1 + nV + nP}
	q.prior = make([]float64, q.first+m.seasons-1)
	common := 0.0
	for v := range nV {
		c := m.covs[v][s][s]
		common += c * priors.FarmPart / float64(nV)
		q.prior[1+v] = 1 / (c * (1 - priors.FarmPart))
	}
	q.prior[0] = 1 / common
	for p := range nP {
		q.prior[1+nV+p] = 1 / (priors.PlantingSD * priors.PlantingSD)
	}
	for _, o := range m.past {
		if !o.seen[s] {
			continue
		}
		v := m.variety[o.planting]
		q.at = append(q.at, [4]int{0, 1 + v, 1 + nV + o.planting, q.first + o.season})
		q.y = append(q.y, o.log[s]-m.means[v][s])
		q.known = append(q.known, o.sd[s]*o.sd[s]+o.bloom[s]*o.bloom[s])
	}
	return q
}

// factor returns the Cholesky factor U, UᵀU = P, of the precision of the
// effects, and the right-hand side of their normal equations; logs is the sum
// of the logs of all precisions given, less the weighted squares of y.
func (q *scalarModel) factor(season, own float64) (u blas64.Triangular, rhs []float64, logs float64, ok bool) {
	n := len(q.prior)
	p := blas64.Symmetric{N: n, Stride: n, Data: make([]float64, n*n), Uplo: blas.Upper}
	rhs = make([]float64, n)
	for i := range n {
		w := q.prior[i]
		if i >= q.first {
			w = 1 / (season * season)
		}
		p.Data[i*n+i] = w
		logs += math.Log(w)
	}
	for k, at := range q.at {
		w := 1 / (own*own + q.known[k])
		logs += math.Log(w) - w*q.y[k]*q.y[k]
		for _, i := range at {
			rhs[i] += w * q.y[k]
			for _, j := range at {
				if i <= j {
					p.Data[i*n+j] += w
				}
			}
		}
	}
	u, ok = lapack64.Potrf(p)
	return u, rhs, logs, ok
}

// logLikelihood returns the log density of y, but for a constant.
func (q *scalarModel) logLikelihood(season, own float64) float64 {
	u, x, sum, ok := q.factor(season, own)
	if !ok {
		return math.Inf(-1)
	}
	for i := range u.N {
		sum -= 2 * math.Log(u.Data[i*u.Stride+i])
	}
	v := blas64.Vector{N: u.N, Inc: 1, Data: x}
	blas64.Trsv(blas.Trans, u, v)
	return (sum + blas64.Dot(v, v)) / 2
}
