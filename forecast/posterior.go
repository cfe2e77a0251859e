package forecast

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// The model of requirements. For planting p of variety v in season y and stage
// s, the heat N from bloom to the stage is
//
//	log N = mean(v,s) + g(s) + m(v,s) + b(p,s) + u(y,s) + e(p,y,s)
//
// with mean the prior of the variety, g what the farm has in common (its
// thermometer, its idea of bloom), m the variety's own, b the planting's own in
// every season, u the season's, shared by all plantings, and e the rest. All
// are Gaussian around zero and correlated between stages. A bloom date that is
// a day off shifts all stages of its planting and season alike and belongs to
// e. The stages of the season that is being forecast are observations like any
// other, so that what the early varieties do moves the late ones.
//
// g and b are ours; the rest is the method's. Conditioning is exact: the
// precision matrix of all effects, one Cholesky factorization.

// observation is the heat, by log, of the stages of one planting and season
// that were seen.
type observation struct {
	planting, season int // Indexes into model.
	log              triple
	sd               triple // Of the log, from dating a stage to a whole day.
	seen             [ripeStages]bool
	bloom            triple // Change of the log for one sd of the bloom date.
}

// model is what the requirements are conditioned on.
type model struct {
	varieties int
	means     []triple // By variety.
	covs      []mat3   // By variety.
	variety   []int    // By planting: index of its variety.
	seasons   int      // The last one is the one to be forecast.
	past      []observation
	// target lists the plantings to forecast; current holds for each what was
	// seen of it this season and its uncertainty of bloom.
	target  []int
	current []observation
	// widen multiplies the sd of what is particular to the season that is
	// forecast; 0 means 1.
	widen float64
	// common is how many varieties, the first ones, the farm's part of the prior
	// is taken from; 0: all.
	common int
}

// posterior is the joint Gaussian of the log requirements of the target
// plantings, three stages each.
type posterior struct {
	mean []float64
	chol []float64 // Lower triangle of the Cholesky factor of the covariance, row by row.
	dim  int
	sd   []float64

	effects []effects // By target: what the means are the sums of, besides the prior's.

	// strange is the squared distance, in sd, of this season's stages from what
	// was to be expected; were the model right it would be about a chi-squared
	// of seenNow degrees of freedom.
	strange float64
	seenNow int

	stages int      // How many components that follow each other belong to one planting; they rise.
	stream uint64   // Tells the draws of one posterior from those of another.
	apart  []uint64 // Streams of the last plantings, each of its own; see drawApart.
}

// effects are the posterior means of the effects on one planting, g, m, b, u
// and e, in this order.
type effects [5]triple

// errNotDefinite is a fault of ours: sums of covariances are positive definite.
var errNotDefinite = errors.New("forecast: covariance of requirements is not positive definite")

// condition returns the posterior of m.
func condition(m model) (posterior, error) {
	nV, nP, nT := m.varieties, len(m.variety), len(m.target)
	atM := func(v int) int { return ripeStages * (1 + v) }
	atB := func(p int) int { return ripeStages * (1 + nV + p) }
	atU := func(y int) int { return ripeStages * (1 + nV + nP + y) }
	atE := func(t int) int { return ripeStages * (1 + nV + nP + m.seasons + t) }
	n := ripeStages * (1 + nV + nP + m.seasons + nT)

	prec := mat.NewSymDense(n, nil)
	rhs := make([]float64, n)
	all := [ripeStages]bool{true, true, true}
	add := func(i, j int, w mat3) {
		for a := range w {
			for b := range w[a] {
				if i+a <= j+b { // The upper triangle holds the matrix.
					prec.SetSym(i+a, j+b, prec.At(i+a, j+b)+w[a][b])
				}
			}
		}
	}
	vs := m.estimate()
	own := stageCov(vs.own)
	wide := 1.0
	if m.widen > 0 {
		wide = m.widen * m.widen
	}

	// What is assumed of each effect. The part of a variety's prior that the
	// farm has in common is taken from the mean of the classes in use.
	var common mat3
	inUse := cmp.Or(m.common, nV)
	for v := range nV {
		if v < inUse {
			common = common.plus(m.covs[v].scale(priors.FarmPart / float64(inUse)))
		}
		add(atM(v), atM(v), m.covs[v].scale(1-priors.FarmPart).invert(all))
	}
	add(0, 0, common.invert(all))
	planting := stageCov(alike(priors.PlantingSD)).invert(all)
	for p := range nP {
		add(atB(p), atB(p), planting)
	}
	season := stageCov(vs.season).invert(all)
	for y := range m.seasons {
		add(atU(y), atU(y), season)
	}
	add(atU(m.seasons-1), atU(m.seasons-1), season.scale(1/wide-1))
	rest := make([]mat3, nT)
	for t, o := range m.current {
		rest[t] = own.scale(wide).plus(outer(o.bloom)).invert(all)
		add(atE(t), atE(t), rest[t])
	}

	// What was seen.
	observe := func(o observation, noise mat3, at []int) {
		w := noise.invert(o.seen)
		mean := m.means[m.variety[o.planting]]
		for _, i := range at {
			for _, j := range at {
				if i <= j {
					add(i, j, w)
				}
			}
			for a := range w {
				for b := range w[a] {
					if o.seen[b] {
						rhs[i+a] += w[a][b] * (o.log[b] - mean[b])
					}
				}
			}
		}
	}
	for _, o := range m.past {
		noise := own.plus(outer(o.bloom)).plus(diagonal(o.sd))
		observe(o, noise, []int{0, atM(m.variety[o.planting]), atB(o.planting), atU(o.season)})
	}
	for t, o := range m.current {
		observe(o, diagonal(o.sd), []int{0, atM(m.variety[o.planting]), atB(o.planting), atU(m.seasons - 1), atE(t)})
	}

	var chol mat.Cholesky
	if !chol.Factorize(prec) {
		return posterior{}, errNotDefinite
	}
	means := mat.NewVecDense(n, nil)
	if err := chol.SolveVecTo(means, mat.NewVecDense(n, rhs)); err != nil {
		return posterior{}, fmt.Errorf("condition requirements: %w", err)
	}

	// The log requirements of the targets are sums of five effects each.
	d := ripeStages * nT
	pick := mat.NewDense(n, d, nil)
	post := posterior{mean: make([]float64, d), dim: d, stages: ripeStages, effects: make([]effects, nT)}
	for t, p := range m.target {
		v := m.variety[p]
		for s := range ripeStages {
			k := ripeStages*t + s
			post.mean[k] = m.means[v][s]
			for i, at := range [...]int{0, atM(v), atB(p), atU(m.seasons - 1), atE(t)} {
				pick.Set(at+s, k, 1)
				post.effects[t][i][s] = means.AtVec(at + s)
				post.mean[k] += means.AtVec(at + s)
			}
		}
	}
	for t, o := range m.current {
		for _, seen := range o.seen {
			if seen {
				post.seenNow++
			}
		}
		post.strange += rest[t].quadratic(post.effects[t][4])
	}
	if nT > 0 {
		post.strange += season.scale(1 / wide).quadratic(post.effects[0][3])
	}
	var solved, cov mat.Dense
	if err := chol.SolveTo(&solved, pick); err != nil {
		return posterior{}, fmt.Errorf("condition requirements: %w", err)
	}
	cov.Mul(pick.T(), &solved)
	return post.factor(&cov)
}

// factor stores the Cholesky factor of cov.
func (p posterior) factor(cov *mat.Dense) (posterior, error) {
	d := p.dim
	sym := mat.NewSymDense(d, nil)
	p.sd = make([]float64, d)
	for i := range d {
		for j := i; j < d; j++ {
			sym.SetSym(i, j, (cov.At(i, j)+cov.At(j, i))/2)
		}
		p.sd[i] = math.Sqrt(max(cov.At(i, i), 0))
	}
	var chol mat.Cholesky
	if !chol.Factorize(sym) {
		return posterior{}, errNotDefinite
	}
	var l mat.TriDense
	chol.LTo(&l)
	p.chol = make([]float64, 0, d*(d+1)/2)
	for i := range d {
		for j := range i + 1 {
			p.chol = append(p.chol, l.At(i, j))
		}
	}
	return p, nil
}

// quadratic returns xᵀ a x.
func (a mat3) quadratic(x triple) (q float64) {
	for i := range a {
		for j := range a[i] {
			q += x[i] * a[i][j] * x[j]
		}
	}
	return q
}

// diagonal is the covariance of independent errors with the given sd.
func diagonal(sd triple) (c mat3) {
	for i := range c {
		c[i][i] = sd[i] * sd[i]
	}
	return c
}
