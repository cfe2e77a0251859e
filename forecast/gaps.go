package forecast

import (
	"math"

	"ripetide/weather"
)

// runs returns the maximal runs of days [from, to] on which counts reach a
// share p of members and skip does not hold.
func (t *tally) runs(counts []int, p float64, skip func(d int) bool) (rs [][2]int) {
	need := p*float64(t.members) - 1e-9
	open := false
	for d, n := range counts {
		is := n > 0 && float64(n) >= need && !skip(d)
		switch {
		case is && open:
			rs[len(rs)-1][1] = d
		case is:
			rs = append(rs, [2]int{d, d})
		}
		open = is
	}
	return rs
}

// gaps reports the gaps and the thin stretches between them, in order of date.
func (t *tally) gaps(farm Farm, first weather.Date, perTrace int, ps []PlantingDates) []Gap {
	p := farm.GapProbability
	if p == 0 {
		p = DefaultGapProbability
	}
	var out []Gap
	inGap := make([]bool, t.days)
	for _, r := range t.runs(t.gap, p, func(int) bool { return false }) {
		for d := r[0]; d <= r[1]; d++ {
			inGap[d] = true
		}
		out = append(out, t.gapOf(KindGap, t.gapDays, r, first, perTrace, ps))
	}
	for _, r := range t.runs(t.thin, p, func(d int) bool { return inGap[d] }) {
		out = append(out, t.gapOf(KindThin, t.thinDays, r, first, perTrace, ps))
	}
	// Two rising lists of runs that do not touch: insertion keeps it short.
	for i := 1; i < len(out); i++ {
		for j := i; j > 0 && out[j].From < out[j-1].From; j-- {
			out[j], out[j-1] = out[j-1], out[j]
		}
	}
	return out
}

func (t *tally) gapOf(kind GapKind, days bitmap, r [2]int, first weather.Date, perTrace int, ps []PlantingDates) Gap {
	g := Gap{From: first + weather.Date(r[0]), To: first + weather.Date(r[1]), Kind: kind}
	hits, inTrace := 0, 0
	for m := range t.members {
		if days.any(m, r[0], r[1]) {
			hits++
			inTrace++
		}
		if (m+1)%perTrace == 0 {
			if 2*inTrace >= perTrace { // More likely than not with that year's weather.
				g.PastYears++
			}
			inTrace = 0
		}
	}
	g.Probability = round(float64(hits)/float64(t.members), 3)
	var after, before *PlantingDates
	for i := range ps {
		s := ps[i].Stages
		if s == nil {
			continue
		}
		// Twice the dates, so that the middle of the run is a whole number.
		middle := g.From + g.To
		if 2*s.LastPick.P50 <= middle && (after == nil || s.LastPick.P50 > after.Stages.LastPick.P50) {
			after = &ps[i]
		}
		if 2*s.FirstRipe.P50 >= middle && (before == nil || s.FirstRipe.P50 < before.Stages.FirstRipe.P50) {
			before = &ps[i]
		}
	}
	if after != nil {
		g.After = new(string)
		*g.After = after.Planting // A copy: the plantings are sorted afterwards.
	}
	if before != nil {
		g.Before = new(string)
		*g.Before = before.Planting
	}
	return g
}

// supply reports the days of the season.
func (t *tally) supply(first weather.Date, names []string) []DaySupply {
	var in []int
	for d, n := range t.season {
		if float64(n) >= leastSeason*float64(t.members) {
			in = append(in, d)
		}
	}
	out := make([]DaySupply, len(in))
	inParts(len(in), func(_, lo, hi int) {
		for i := lo; i < hi; i++ {
			out[i] = t.supplyOn(in[i], first, names)
		}
	})
	return out
}

// supplyOn reports one day.
func (t *tally) supplyOn(d int, first weather.Date, names []string) DaySupply {
	n := float64(t.members)
	var q [3]float64
	if t.kg[d] != nil {
		q = kgQuantiles(t.kg[d])
	}
	s := DaySupply{
		Date:            first + weather.Date(d),
		Ripe:            round(float64(t.ripe[d])/n, 2),
		RipeKg:          KgRange{round(q[0], 1), round(q[1], 1), round(q[2], 1)},
		RipeKgBy:        map[string]float64{},
		GapProbability:  round(float64(t.gap[d])/n, 3),
		ThinProbability: round(float64(t.thin[d])/n, 3),
		Opens:           t.opens[d] && d <= t.closing,
		Ready:           round(float64(t.ready[d])/n, 3),
		Enough:          round(float64(t.enough[d])/n, 3),
		Past:            round(t.past[d]/n, 3),
	}
	for _, f := range t.firstAny {
		if int(f) <= d {
			s.ReadyBy++
		}
	}
	s.ReadyBy = round(s.ReadyBy/n, 3)
	for i, name := range names {
		if kg := round(t.kgBy[i][d]/n, 1); kg > 0 {
			s.RipeKgBy[name] = kg
		}
	}
	return s
}

// round rounds x to n decimals, never to a negative zero.
func round(x float64, n int) float64 {
	p := math.Pow(10, float64(n))
	return math.Round(x*p)/p + 0
}
