package forecast

import (
	"cmp"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"

	"ripetide/weather"
)

// Before bloom is seen it is forecast too, by a clock of its own: the warmth
// since the end of winter, above a base of 0 °C. How much a planting wants of
// it is learned from the farm's past bloom dates as requirements are,
//
//	log S(p,y) = mean + g + m(v) + b(p) + u(y) + e(p,y),
//
// so that the plantings that bloom first move those that follow. The farm's
// part g is all but free beforehand, for it depends on the place: a farm
// without any bloom date on record has nothing to forecast one from.

// springMethod is the clock that runs to bloom. Bloom is driven by warmth above
// a low base; 0 °C is a default.
var springMethod = Method{Kind: SingleSine, Base: 0, Cutoff: NoCutoff}

// winterEnd returns the last day before the spring clock starts: 31 January, in
// the south 31 July.
func winterEnd(season int, southern bool) weather.Date {
	if southern {
		return weather.DateOf(season-1, time.July, 31)
	}
	return weather.DateOf(season, time.January, 31)
}

// springMean is the log heat to bloom that is expected of a variety's class.
func springMean(v Variety) float64 {
	return math.Log(priors.Spring) + priors.BloomOffset[v.Ripens]*priors.BloomHeat/priors.Spring
}

// spring is what past springs and this one tell of the heat to bloom.
type spring struct {
	q           *scalarModel
	season, own float64 // Sd.
	plantings   []int   // Indexes into Inputs.Plantings of each planting of q.
	seasons     int
}

// springs gathers every bloom date on record, of past seasons and of this one,
// as heat. It returns nil if there is none.
func (c *computing) springs() *spring {
	nV := len(c.in.Varieties)
	s := &spring{}
	index := make([]int, len(c.in.Plantings))
	for i, p := range c.in.Plantings {
		index[i] = -1
		if _, ok := c.variety[p.Variety]; ok {
			index[i] = len(s.plantings)
			s.plantings = append(s.plantings, i)
		}
	}
	q := &scalarModel{first: 1 + nV + len(s.plantings)}
	seasons := map[int]int{}
	for _, k := range sortedSeasons(c.looks) {
		i, ok := slices.BinarySearchFunc(c.in.Plantings, k.planting, func(p Planting, id string) int { return cmp.Compare(p.ID, id) })
		if !ok || index[i] < 0 || c.unrecorded(c.in.Plantings[i].Station, k.season) {
			continue
		}
		p, l := c.in.Plantings[i], c.looks[k]
		start := winterEnd(k.season, c.southern)
		var h, fruit heat
		switch {
		case k.season != c.season:
			h, fruit = c.pastSeason(p.Station, springMethod, k.season), c.pastSeason(p.Station, DefaultMethod, k.season)
		case c.ahead[p.Station] != nil:
			h, fruit = c.meanOf(p.Station, springMethod), c.meanOf(p.Station, DefaultMethod)
		default:
			continue
		}
		bloom, sd, ok := l.bloomOf(fruit, c.toFull)
		if !ok || bloom.Date <= start {
			continue
		}
		n, within := h.observed(start, bloom.Date)
		if !(n > 0) {
			continue
		}
		if _, ok := seasons[k.season]; !ok {
			seasons[k.season] = len(seasons)
		}
		v := c.variety[p.Variety]
		lost := c.records[p.Station].heatSD(start, bloom.Date)
		off := math.Hypot(math.Hypot(within, sd*h.of(bloom.Date)), lost) / n
		q.at = append(q.at, [4]int{0, 1 + v, 1 + nV + index[i], q.first + seasons[k.season]})
		q.y = append(q.y, math.Log(n)-springMean(c.in.Varieties[v]))
		q.known = append(q.known, off*off)
	}
	if len(q.y) == 0 {
		return nil
	}
	if _, ok := seasons[c.season]; !ok {
		seasons[c.season] = len(seasons)
	}
	s.seasons = len(seasons)
	q.prior = make([]float64, q.first+s.seasons)
	precision := func(sd float64) float64 { return 1 / (sd * sd) }
	q.prior[0] = precision(priors.SpringFarmSD)
	for v := range nV {
		q.prior[1+v] = precision(priors.SpringVarietySD)
	}
	for p := range s.plantings {
		q.prior[1+nV+p] = precision(priors.PlantingSD)
	}
	s.q = q
	s.season, s.own = priors.SpringSeasonSD, priors.SpringOwnSD
	if s.seasons-1 >= varianceSeasons {
		s.season, s.own = q.estimate(s.season, s.own)
	}
	return s
}

// posterior returns the joint Gaussian of the log heat to bloom, in this
// season, of the plantings with the given indexes into Inputs.Plantings.
func (s *spring) posterior(c *computing, plantings []int) (posterior, error) {
	u, rhs, _, ok := s.q.factor(s.season, s.own)
	if !ok {
		return posterior{}, errNotDefinite
	}
	n, d, nV := u.N, len(plantings), len(c.in.Varieties)
	f := lapackFactor{u}
	f.solve(rhs)
	post := posterior{mean: make([]float64, d), dim: d, stages: 1, stream: 1}
	cols := make([][]float64, d)
	rows := make([][4]int, d)
	for t, i := range plantings {
		v := c.variety[c.in.Plantings[i].Variety]
		rows[t] = [4]int{0, 1 + v, 1 + nV + slices.Index(s.plantings, i), n - 1}
		post.mean[t] = springMean(c.in.Varieties[v])
		cols[t] = make([]float64, n)
		for _, k := range rows[t] {
			post.mean[t] += rhs[k]
			cols[t][k] = 1
		}
		f.solve(cols[t])
	}
	cov := mat.NewDense(d, d, nil)
	for a := range d {
		for b := range d {
			x := 0.0
			for _, k := range rows[a] {
				x += cols[b][k]
			}
			if a == b {
				x += s.own * s.own
			}
			cov.Set(a, b, x)
		}
	}
	return post.factor(cov)
}

// lapackFactor solves with a Cholesky factor.
type lapackFactor struct{ u blas64.Triangular }

// solve replaces x by the solution of P z = x.
func (f lapackFactor) solve(x []float64) {
	lapack64.Potrs(f.u, blas64.General{Rows: len(x), Cols: 1, Stride: 1, Data: x})
}

// openTargets returns the targets whose bloom was not seen.
func (c *computing) openTargets() (open []*target) {
	for _, t := range c.targets {
		if t.spring != nil {
			open = append(open, t)
		}
	}
	return open
}

// springDraws draws the log heat to bloom of the given targets, by member.
func (c *computing) springDraws(open []*target, members int) ([][]float64, error) {
	plantings := make([]int, len(open))
	for i, t := range open {
		plantings[i] = t.planting
	}
	post, err := c.spring.posterior(c, plantings)
	if err != nil {
		return nil, err
	}
	post.apart = c.apart
	b := bounds{stages: 1, above: make([]float64, post.dim), unseen: make([]*unseen, post.dim)}
	habit := c.habit()
	for i, t := range open {
		h := c.meanOf(c.in.Plantings[t.planting].Station, springMethod)
		b.above[i] = math.Inf(-1)
		if l := t.spring.looks; l != nil && l.notYet[Bloom10] != nil {
			b.above[i] = math.Log(h.after(t.spring.start, min(*l.notYet[Bloom10], h.last())))
		}
		b.unseen[i] = c.unseen(h, t.spring.start, 0, habit.bloom)
	}
	xs, _ := post.draws(members, b)
	if post.far(xs) > farLate {
		c.note(NoteOutside, "", "Bloom is outside what is on record: it is later than the warmth of this spring can explain, so the ranges mean less than usual.")
	}
	return xs, nil
}

// flower dates, in every member, the bloom of the plantings of which it was not
// seen.
func (c *computing) flower(members, perTrace int) error {
	open := c.openTargets()
	if len(open) == 0 {
		return nil
	}
	xs, err := c.springDraws(open, members)
	if err != nil {
		return err
	}
	first, due := open[0].ahead.first, 0
	for i, t := range open {
		t.spring.blooms = make([]int16, members)
		for m, x := range xs {
			h := t.spring.heats[m/perTrace]
			d, _ := h.reach(t.spring.start, math.Exp(x[i]))
			if l := t.spring.looks; l != nil && l.notYet[Bloom10] != nil {
				d = min(max(d, *l.notYet[Bloom10]+1), h.last())
			}
			t.spring.blooms[m] = int16(d - first)
		}
		q := dayQuantiles(t.spring.blooms)
		t.bloom = first + weather.Date(q[1])
		p10, p90 := first+weather.Date(q[0]), first+weather.Date(q[2])
		d := c.datesOf(c.in.Plantings[t.planting].ID)
		d.Bloom = &Bloom{Date: t.bloom, From: BloomForecast, P10: &p10, P90: &p90}
		if d.Bloom.Due(c.asOf) {
			due++
		}
		if t.bloom < c.asOf {
			c.note(NoteLook, d.Planting, "By the warmth of this spring bloom came about %s and nobody has entered it: look, and enter what you see.", c.day(t.bloom))
		}
	}
	switch {
	case due == 1:
		c.note(NoteNoBloom, "", "Bloom is not entered for one of the plantings: it is forecast from the warmth of the spring, and its ranges are wider for it.")
	case due > 1:
		c.note(NoteNoBloom, "", "Bloom is not entered for %d of the plantings: it is forecast from the warmth of the spring, and their ranges are wider for it.", due)
	}
	return nil
}

// datesOf returns what is published of a planting.
func (c *computing) datesOf(planting string) *PlantingDates {
	i := slices.IndexFunc(c.f.Plantings, func(d PlantingDates) bool { return d.Planting == planting })
	return &c.f.Plantings[i]
}
