package forecast

import (
	"cmp"
	"slices"

	"ripetide/weather"
)

// Spread is the whole distribution of a planting's stages, of which a
// [Forecast] shows three quantiles.
type Spread struct {
	Planting string
	Stages   [ripeStages]DateCounts // First ripe, peak, last pick.
}

// DateCounts says how many members put a stage on each day from First on.
type DateCounts struct {
	First  weather.Date
	Counts []int
}

// Mean returns the mean date, as a fraction of days since 1 January 1970.
func (c DateCounts) Mean() float64 {
	var n, sum float64
	for i, k := range c.Counts {
		n += float64(k)
		sum += float64(k) * float64(i)
	}
	return float64(c.First) + sum/n
}

// Spreads makes the same members as [Compute] and returns how their stages are
// spread, by planting in order of its identifier. Plantings that cannot be
// forecast are left out.
func Spreads(in Inputs, asOf weather.Date) ([]Spread, error) {
	c := newComputing(in, asOf)
	if !c.bears() {
		return nil, nil
	}
	if err := c.lookAhead(); err != nil {
		return nil, err
	}
	c.aim()
	if len(c.targets) == 0 {
		return nil, nil
	}
	ms, err := c.date()
	if err != nil {
		return nil, err
	}
	var out []Spread
	for _, t := range ms.ripening {
		s := Spread{Planting: c.in.Plantings[c.targets[t].planting].ID}
		for i := range s.Stages {
			s.Stages[i] = countDates(ms.when.of(t, i), ms.first)
		}
		out = append(out, s)
	}
	slices.SortFunc(out, func(a, b Spread) int { return cmp.Compare(a.Planting, b.Planting) })
	return out, nil
}

// countDates counts days, which are numbered from first.
func countDates(days []int16, first weather.Date) DateCounts {
	lo, hi := slices.Min(days), slices.Max(days)
	c := DateCounts{First: first + weather.Date(lo), Counts: make([]int, hi-lo+1)}
	for _, d := range days {
		c.Counts[d-lo]++
	}
	return c
}
