package forecast

import (
	"cmp"
	"slices"

	"ripetide/weather"
)

// FrostEffect is what frosts would change of what a forecast says of a planting.
type FrostEffect struct {
	Planting string     // Planting.ID.
	Before   *CropDates // Without them; nil when it has no dates.
	With     *CropDates // Nil when it has none, or hardly a flower is left.
	CropLost float64    // Mean share, at most 1, that they take of the crop there is without them; below 0 when they take the place of worse ones on record.
}

// CropDates is what the members of a forecast say of a planting.
type CropDates struct {
	Stages StageDates
	CropKg float64 // Mean.
}

// FrostEffects returns what frosts would change of the forecast of the morning
// asOf if they were on record, by planting in order of its identifier. Each takes
// the place of one of the same planting and date. The members are those of
// [Compute]. Errors: those of Compute.
func FrostEffects(in Inputs, asOf weather.Date, fs []Frost) ([]FrostEffect, error) {
	with := in
	with.Frosts = slices.DeleteFunc(slices.Clone(in.Frosts), func(f Frost) bool {
		return slices.ContainsFunc(fs, func(x Frost) bool { return x.Planting == f.Planting && x.Date == f.Date })
	})
	for i, f := range fs { // Of two for one night the later one counts, as it would on record.
		if !slices.ContainsFunc(fs[i+1:], func(x Frost) bool { return x.Planting == f.Planting && x.Date == f.Date }) {
			with.Frosts = append(with.Frosts, f)
		}
	}
	before, left, err := cropDates(in, asOf)
	if err != nil {
		return nil, err
	}
	after, leftAfter, err := cropDates(with, asOf)
	if err != nil {
		return nil, err
	}
	var out []FrostEffect
	for _, f := range fs {
		e := FrostEffect{Planting: f.Planting, Before: before[f.Planting], With: after[f.Planting]}
		if l := left[f.Planting]; l > 0 {
			e.CropLost = 1 - leftAfter[f.Planting]/l
		}
		out = append(out, e)
	}
	slices.SortStableFunc(out, func(a, b FrostEffect) int { return cmp.Compare(a.Planting, b.Planting) })
	return slices.CompactFunc(out, func(a, b FrostEffect) bool { return a.Planting == b.Planting }), nil
}

// cropDates returns what the members of a forecast say of the plantings that
// have dates, and the mean share of their crop that frosts have left, also of
// those that have none.
func cropDates(in Inputs, asOf weather.Date) (by map[string]*CropDates, left map[string]float64, err error) {
	c := newComputing(in, asOf)
	if !c.bears() {
		return nil, nil, nil
	}
	if err := c.lookAhead(); err != nil {
		return nil, nil, err
	}
	c.aim()
	if len(c.targets) == 0 {
		return nil, nil, nil
	}
	ms, err := c.date()
	if err != nil {
		return nil, nil, err
	}
	by, left = map[string]*CropDates{}, map[string]float64{}
	for t, tg := range c.targets {
		left[c.in.Plantings[tg.planting].ID] = ms.left[t]
	}
	for _, t := range ms.ripening {
		tg := c.targets[t]
		r := tg.ranges(ms.when, t, ms.first)
		by[c.in.Plantings[tg.planting].ID] = &CropDates{StageDates{r[0], r[1], r[2]}, tg.kg * ms.left[t]}
	}
	return by, left, nil
}
