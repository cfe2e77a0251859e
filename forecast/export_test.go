package forecast

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"

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
	vs := m.estimate()
	own, season, planting := stageCov(vs.own), stageCov(vs.season), stageCov(alike(priors.PlantingSD))
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

// Spread is the sd of seasons and of the rest that the model reads from its
// past, by stage.
func (e Effects) Spread() (season, own [3]float64) {
	v := e.model().estimate()
	return v.season, v.own
}

// LogLikelihood returns the log density of the observations of one stage, but
// for a constant, and the covariance and the departures that it is the density
// of, written down from the model's definition.
func (e Effects) LogLikelihood(stage int, season, own float64) (ll float64, cov *mat.SymDense, y []float64) {
	m := e.model()
	var common float64
	for _, c := range m.covs {
		common += priors.FarmPart * c[stage][stage] / float64(len(m.covs))
	}
	cov = mat.NewSymDense(len(m.past), nil)
	for i, a := range m.past {
		y = append(y, a.log[stage]-m.means[a.planting][stage])
		for j, b := range m.past[:i+1] {
			c := common
			if a.planting == b.planting {
				c += (1-priors.FarmPart)*m.covs[a.planting][stage][stage] + priors.PlantingSD*priors.PlantingSD
			}
			if a.season == b.season {
				c += season * season
			}
			if i == j {
				c += own*own + e.Bloom*e.Bloom + e.Noise*e.Noise
			}
			cov.SetSym(i, j, c)
		}
	}
	return m.stage(stage).logLikelihood(season, own), cov, y
}

// Unentered draws n members of e's posterior when no stage that came in the
// days before this morning was entered: logs holds, by component, the log heat
// through yesterday, the day before, …; share is the share of stages entered.
// It returns them with n members that know nothing of that, and the
// probability that a stage is not entered k+1 days after it came.
func Unentered(e Effects, logs [][lookBack]float64, share float64, n int) (given, free [][]float64, prob [lookBack]float64, err error) {
	p, err := condition(e.model())
	if err != nil {
		return nil, nil, prob, err
	}
	b := bounds{stages: ripeStages, above: make([]float64, p.dim), unseen: make([]*unseen, p.dim)}
	for i := range b.above {
		b.above[i] = math.Inf(-1)
		b.unseen[i] = &unseen{log: logs[i], prob: unentered(share)}
	}
	given, _ = p.draws(n, b)
	free, _ = p.draws(n, bounds{stages: ripeStages, above: b.above})
	return given, free, unentered(share), nil
}

// LookBack is lookBack.
const LookBack = lookBack

// SpringPosterior returns the mean and covariance of the log heat to bloom of
// the targets of a forecast, and what they rest on: prior means and covariances
// of all bloom dates on record and of the targets, written down from the
// model's definition, and the logs on record.
func SpringPosterior(in Inputs, asOf weather.Date) (mean []float64, cov *mat.SymDense, prior []float64, joint *mat.SymDense, logs []float64, err error) {
	c := newComputing(in, asOf)
	if err := c.lookAhead(); err != nil {
		return nil, nil, nil, nil, nil, err
	}
	c.aim()
	var plantings []int
	for _, t := range c.openTargets() {
		plantings = append(plantings, t.planting)
	}
	s := c.spring
	p, err := s.posterior(c, plantings)
	if err != nil {
		return nil, nil, nil, nil, nil, err
	}
	cov = mat.NewSymDense(p.dim, nil)
	for i := range p.dim {
		for j := i; j < p.dim; j++ {
			cov.SetSym(i, j, p.cov(i, j))
		}
	}
	rows := slices.Clone(s.q.at)
	for k, y := range s.q.y {
		v := s.q.at[k][1] - 1
		prior = append(prior, springMean(c.in.Varieties[v]))
		logs = append(logs, y+springMean(c.in.Varieties[v]))
	}
	for _, i := range plantings {
		v := c.variety[c.in.Plantings[i].Variety]
		prior = append(prior, springMean(c.in.Varieties[v]))
		rows = append(rows, [4]int{0, 1 + v, 1 + len(c.in.Varieties) + slices.Index(s.plantings, i), s.q.first + s.seasons - 1})
	}
	joint = mat.NewSymDense(len(rows), nil)
	sds := [4]float64{priors.SpringFarmSD, priors.SpringVarietySD, priors.PlantingSD, s.season}
	for i, a := range rows {
		for j, b := range rows[:i+1] {
			x := 0.0
			for k := range a {
				if a[k] == b[k] {
					x += sds[k] * sds[k]
				}
			}
			if i == j {
				x += s.own * s.own
				if i < len(s.q.y) {
					x += s.q.known[i]
				}
			}
			joint.SetSym(i, j, x)
		}
	}
	return p.mean, cov, prior, joint, logs, nil
}

// Trend returns the warming of the growing season that a forecast reads from
// a record, °C a year, and one of its traces: the path of the given past year.
func Trend(s weather.Series, asOf weather.Date, southern bool, year int) (slope float64, path []weather.Day) {
	r := newRecord(s.Until(asOf-1), weather.Series{})
	season := SeasonOf(asOf, southern)
	slope = trendOf(r, season, southern).slope
	return slope, lookAhead(r, season, southern, asOf-1, []int{year}).paths[0]
}

// Truncated draws n members of a posterior whose components must lie above
// the given bounds; strained counts those that rejection could not find.
func Truncated(e Effects, above []float64, n int) (xs [][]float64, strained int, err error) {
	p, err := condition(e.model())
	if err != nil {
		return nil, 0, err
	}
	xs, strained = p.draws(n, bounds{stages: ripeStages, above: above})
	return xs, strained, nil
}

// Settled draws n members by slice sampling alone.
func Settled(e Effects, above []float64, n int) ([][]float64, error) {
	p, err := condition(e.model())
	if err != nil {
		return nil, err
	}
	return p.settledDraws(n, bounds{stages: ripeStages, above: above}), nil
}

// GapRuns returns the runs and what is told of them for a table of days by
// member; perTrace members share a trace.
func GapRuns(gap [][]bool, p float64, perTrace int) []Gap {
	days := len(gap[0])
	t := newTally(Farm{}, nil, 0, 0, 0, len(gap), days)
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

// Heat sums the heat of consecutive days by the default method.
type Heat struct{ h heat }

// NewHeat sums days.
func NewHeat(m Method, days []weather.Day) Heat { return Heat{newHeat(m, days)} }

// After is heat.after.
func (h Heat) After(a, b weather.Date) float64 { return h.h.after(a, b) }

// Reach is heat.reach.
func (h Heat) Reach(a weather.Date, r float64) (weather.Date, bool) { return h.h.reach(a, r) }

// Observed is heat.observed.
func (h Heat) Observed(bloom, d weather.Date) (n, sd float64) { return h.h.observed(bloom, d) }

// Filled returns the days of a record from a to b and how many of them are
// taken from other years.
func Filled(s weather.Series, a, b weather.Date) ([]weather.Day, int) {
	r := newRecord(s, weather.Series{})
	return r.span(a, b), int(math.Round(r.heatSD(a-1, b) / priors.HoleSD))
}

// UsableYears is usableYears.
func UsableYears(s weather.Series, asOf, through weather.Date, southern bool) []int {
	return usableYears(newRecord(s, weather.Series{}), asOf, through, southern)
}

// LookAhead returns the weather of the season by trace.
func LookAhead(s weather.Series, season int, southern bool, through weather.Date, years []int) [][]weather.Day {
	return lookAhead(newRecord(s, weather.Series{}), season, southern, through, years).paths
}

// Prior returns the expected requirement, °C·d, and the sd of its log.
func Prior(v Variety, m Method) (need, sd [3]float64) {
	mean, cov := prior(v, m)
	for s := range need {
		need[s], sd[s] = math.Exp(mean[s]), math.Sqrt(cov[s][s])
	}
	return need, sd
}

// Draws returns n draws of a posterior without bounds.
func Draws(e Effects, n int) ([][]float64, error) {
	p, err := condition(e.model())
	if err != nil {
		return nil, err
	}
	free := make([]float64, p.dim)
	for i := range free {
		free[i] = math.Inf(-1)
	}
	xs, _ := p.draws(n, bounds{stages: ripeStages, above: free})
	return xs, nil
}

// Evidence is what the sightings of one planting and season say.
type Evidence struct {
	Bloom   Bloom
	BloomSD float64    // Days.
	Log     [3]float64 // Of the heat to each stage; 0: not seen.
	SD      [3]float64
	Shift   [3]float64 // Of the log for one sd of the bloom date.
}

// Observe reads sightings of one planting in the season of days.
func Observe(ss []Sighting, s weather.Series, season int, toFull float64) Evidence {
	r := newRecord(s, weather.Series{})
	first, last := SeasonBounds(season, false)
	h := newHeat(DefaultMethod, r.span(first, last))
	l := gather(ss, false)[plantingSeason{ss[0].Planting, season}]
	var e Evidence
	var o observation
	e.Bloom, e.BloomSD, _ = l.bloomOf(h, toFull)
	observe(l, h, e.Bloom.Date, e.BloomSD, triple{}, r.heatSD, &o)
	e.Log, e.SD, e.Shift = o.log, o.sd, o.bloom
	return e
}

// Member is what one planting is in one member before anything is counted.
type Member struct {
	Planting     string
	Variety      string
	Bloom        weather.Date
	Spring       float64      // °C·d above 0 °C after Winter to bloom, when it was not seen; else 0.
	Winter       weather.Date // Last day before the spring clock runs.
	Need         [3]float64   // °C·d to each stage, as drawn.
	Seen, NotYet [3]*weather.Date
	Method       Method
	Path         []weather.Day // From the season's first day to its last.
	Kg           float64
}

// MembersOf returns the members of a forecast, by member and planting, and how
// many share a trace.
func MembersOf(in Inputs, asOf weather.Date) (ms [][]Member, perTrace int, err error) {
	c := newComputing(in, asOf)
	if err := c.lookAhead(); err != nil {
		return nil, 0, err
	}
	c.aim()
	xs, perTrace, err := c.draw()
	if err != nil {
		return nil, 0, err
	}
	open := c.openTargets()
	var springs [][]float64
	if len(open) > 0 {
		if springs, err = c.springDraws(open, len(xs)); err != nil {
			return nil, 0, err
		}
	}
	for i, x := range xs {
		var row []Member
		for t, tg := range c.targets {
			row = append(row, Member{
				Planting: c.in.Plantings[tg.planting].ID, Variety: c.in.Varieties[tg.variety].ID,
				Bloom: tg.bloom, Need: exp3(x, t), Seen: tg.seen, NotYet: tg.notYet,
				Method: c.in.methodOf(c.in.Varieties[tg.variety]), Path: tg.ahead.paths[i/perTrace], Kg: tg.kg,
			})
			if k := slices.Index(open, tg); k >= 0 {
				row[t].Spring, row[t].Winter = math.Exp(springs[i][k]), tg.spring.start
			}
		}
		ms = append(ms, row)
	}
	return ms, perTrace, nil
}

// Teachers returns what the requirements of a forecast are conditioned on, as
// numbers of observations: from past seasons, and of this one.
func Teachers(in Inputs, asOf weather.Date) (past, current int, err error) {
	c := newComputing(in, asOf)
	if err := c.lookAhead(); err != nil {
		return 0, 0, err
	}
	c.aim()
	m := c.model()
	count := func(os []observation) (n int) {
		for _, o := range os {
			for _, seen := range o.seen {
				if seen {
					n++
				}
			}
		}
		return n
	}
	return count(m.past), count(m.current), nil
}

// Crossing is crossing for a planting that bloomed on a date.
func Crossing(m Method, days []weather.Day, bloom weather.Date, seen, notYet [3]*weather.Date, need [3]float64) ([3]weather.Date, bool) {
	return crossing(newHeat(m, days), &target{bloom: bloom, seen: seen, notYet: notYet}, bloom, need)
}

// WinterEnd is winterEnd.
func WinterEnd(season int, southern bool) weather.Date { return winterEnd(season, southern) }

// Grown is a farm drawn from the model: its records, and the log requirements
// that are to come.
type Grown struct {
	Effects Effects
	Now     []float64 // As in posterior.
}

// GrowFromModel draws every effect of the model from its own prior. Stages of
// each effect are drawn by the covariance that the model gives them.
func GrowFromModel(seed uint64, plantings, seasons int, season, own [3]float64) Grown {
	r := rand.New(rand.NewPCG(seed, 2))
	draw := func(c mat3) (x triple) {
		s := mat.NewSymDense(ripeStages, nil)
		for i := range c {
			for j := range c {
				s.SetSym(i, j, c[i][j])
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(s) {
			panic("covariance")
		}
		var l mat.TriDense
		chol.LTo(&l)
		var z triple
		for i := range z {
			z[i] = r.NormFloat64()
		}
		for i := range x {
			for j := range i + 1 {
				x[i] += l.At(i, j) * z[j]
			}
		}
		return x
	}
	const noise = 0.01
	all := make([][][ripeStages]float64, seasons+1)
	m := Effects{Plantings: plantings}.bare()
	var common mat3
	for _, c := range m.covs {
		common = common.plus(c.scale(priors.FarmPart / float64(len(m.covs))))
	}
	g := draw(common)
	fixed := make([]triple, plantings)
	for p := range fixed {
		v, b := draw(m.covs[p].scale(1-priors.FarmPart)), draw(stageCov(alike(priors.PlantingSD)))
		for s := range fixed[p] {
			fixed[p][s] = m.means[p][s] + g[s] + v[s] + b[s]
		}
	}
	for y := range all {
		u := draw(stageCov(season))
		for p := range plantings {
			e := draw(stageCov(own))
			var x [ripeStages]float64
			for s := range x {
				x[s] = fixed[p][s] + u[s] + e[s]
				if y < seasons {
					x[s] += noise * r.NormFloat64()
				}
			}
			all[y] = append(all[y], x)
		}
	}
	out := Grown{Effects: Effects{
		Plantings: plantings, Seasons: seasons, Noise: noise,
		Log:     func(p, y, s int) float64 { return all[y][p][s] },
		SeenNow: all[seasons][0][0] + noise*r.NormFloat64(),
	}}
	for p := range plantings {
		out.Now = append(out.Now, all[seasons][p][:]...)
	}
	return out
}

// bare is a model of the plantings without any record.
func (e Effects) bare() (m model) {
	for p := range e.Plantings {
		mean, cov := prior(Variety{Ripens: Class(p % 6)}, DefaultMethod)
		m.means, m.covs = append(m.means, mean), append(m.covs, cov)
	}
	return m
}

// LogHeat is the log heat of one variety in one season to its first stage, with
// the sd of dating it.
type LogHeat struct {
	Variety, Season int
	Log, SD         float64
}

// ExpectHeat returns the median log heat that the first of unripe will take
// this season, given past seasons, what others took this season so far, and the
// log heat that was not enough for those that are unripe. Before any record a
// variety has the given mean and sd.
func ExpectHeat(past, now, unripe []LogHeat, varieties, seasons int, mean, sd float64) (float64, error) {
	m := model{varieties: varieties, seasons: seasons + 1}
	var cov mat3
	for i := range cov {
		for j := range cov {
			cov[i][j] = 0.9 * sd * sd
		}
		cov[i][i] = sd * sd
	}
	for v := range varieties {
		m.means, m.covs, m.variety = append(m.means, alike(mean)), append(m.covs, cov), append(m.variety, v)
	}
	of := func(h LogHeat) observation {
		return observation{planting: h.Variety, season: h.Season, log: triple{h.Log}, sd: triple{h.SD}, seen: [ripeStages]bool{true}}
	}
	for _, h := range past {
		m.past = append(m.past, of(h))
	}
	b := bounds{stages: ripeStages}
	for _, h := range unripe {
		m.target, m.current = append(m.target, h.Variety), append(m.current, observation{planting: h.Variety})
		b.above = append(b.above, h.Log, math.Inf(-1), math.Inf(-1))
	}
	for _, h := range now {
		m.target, m.current = append(m.target, h.Variety), append(m.current, of(h))
		b.above = append(b.above, math.Inf(-1), math.Inf(-1), math.Inf(-1))
	}
	p, err := condition(m)
	if err != nil {
		return 0, err
	}
	// Only the first stage is of interest; the others have no order to keep.
	xs, _ := p.draws(400, bounds{stages: 1, above: b.above})
	var first []float64
	for _, x := range xs {
		first = append(first, x[0])
	}
	slices.Sort(first)
	return (first[199] + first[200]) / 2, nil
}

// ComputeMayMove is Compute, and says how the advice may move.
func ComputeMayMove(in Inputs, asOf weather.Date) (*Forecast, error) {
	c, err := compute(in, asOf)
	if err != nil {
		return nil, err
	}
	c.mayMove()
	return c.f, nil
}

// AdviceAbout is the advice of Compute with about so many members.
func AdviceAbout(in Inputs, asOf weather.Date, about int) (*Advice, error) {
	c := newComputing(in, asOf)
	c.about = about
	if err := c.forecast(); err != nil {
		return nil, err
	}
	return c.f.Advice, nil
}
