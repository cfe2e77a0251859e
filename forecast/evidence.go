package forecast

import (
	"cmp"
	"math"
	"slices"

	"ripetide/weather"
)

// looks is what was seen of one planting in one season.
type looks struct {
	seen   [LastPick + 1]*weather.Date
	notYet [LastPick + 1]*weather.Date // The latest look that found nothing.
}

type plantingSeason struct {
	planting string
	season   int
}

// gather sorts sightings by planting and season. Of several first days of one
// stage the last one given counts, as a store keeps only that one.
func gather(ss []Sighting, southern bool) map[plantingSeason]*looks {
	by := map[plantingSeason]*looks{}
	for _, s := range ss {
		k := plantingSeason{s.Planting, SeasonOf(s.Date, southern)}
		l := by[k]
		if l == nil {
			l = new(looks)
			by[k] = l
		}
		d := s.Date
		switch {
		case s.Seen:
			l.seen[s.Stage] = &d
		case l.notYet[s.Stage] == nil || d > *l.notYet[s.Stage]:
			l.notYet[s.Stage] = &d
		}
	}
	return by
}

// bloomOf returns the date accumulation starts from and the sd of that date in
// days. heatOf is the heat of the planting's season; toFull the heat from
// bloom_10 to full bloom.
func (l *looks) bloomOf(h heat, toFull float64) (b Bloom, sd float64, ok bool) {
	if d := l.seen[Bloom10]; d != nil {
		sd = priors.BloomSD
		if n := l.notYet[Bloom10]; n != nil && *n == *d-1 {
			sd = priors.BloomPinnedSD
		}
		return Bloom{Date: *d, From: BloomSighted}, sd, true
	}
	if d := l.seen[BloomFull]; d != nil {
		b := *d
		for b > h.first && h.after(b, *d) < toFull {
			b--
		}
		return Bloom{Date: b, From: BloomFromFull}, priors.BloomFromFulSD, true
	}
	return Bloom{}, 0, false
}

// any reports whether bloom or a later stage was seen.
func (l *looks) any() bool {
	return l != nil && slices.ContainsFunc(l.seen[:], func(d *weather.Date) bool { return d != nil })
}

// bloomBefore returns about when bloom must have been, given the first ripe
// stage that was seen and the expected log requirements, and the sd of that in
// days. It is called when some ripe stage but no bloom was seen.
func (l *looks) bloomBefore(h heat, mean triple) (b Bloom, sd float64) {
	for s := range ripeStages {
		d := l.seen[FirstRipe+Stage(s)]
		if d == nil {
			continue
		}
		at := *d
		for at > h.first && h.after(at, *d) < math.Exp(mean[s]) {
			at--
		}
		return Bloom{Date: at, From: BloomForecast}, priors.BloomFromRipeSD
	}
	panic("forecast: no ripe stage was seen")
}

// observe turns the dates of the ripe stages into log heat since bloom, without
// what frosts have added to it, shift.
// lost is the sd of the heat of the days between that were not observed.
func observe(l *looks, h heat, bloom weather.Date, bloomSD float64, shift triple, lost func(a, b weather.Date) float64, o *observation) (any bool) {
	perDay := h.of(bloom)
	for s := range ripeStages {
		d := l.seen[FirstRipe+Stage(s)]
		if d == nil || *d <= bloom || *d > h.last() {
			continue
		}
		n, sd := h.observed(bloom, *d)
		if shift[s] != 0 {
			n -= shift[s]
			sd = math.Hypot(sd, shiftDoubt*shift[s])
		}
		if !(n > 0) {
			continue
		}
		o.seen[s], any = true, true
		o.log[s] = math.Log(n)
		// A floor, for a day without heat dates a stage exactly but is no proof.
		o.sd[s] = max(math.Hypot(sd, lost(bloom, *d))/n, 0.002)
		o.bloom[s] = bloomSD * perDay / n
	}
	return any
}

// bloomSpread sets what a bloom date off by one sd, and the heat of days that
// were not observed (lostSD, °C·d), do to the stages that were not seen, at the
// expected requirement.
func bloomSpread(mean triple, h heat, bloom weather.Date, bloomSD, lostSD float64, o *observation) {
	for s := range ripeStages {
		if !o.seen[s] {
			o.bloom[s] = math.Hypot(bloomSD*h.of(bloom), lostSD) / math.Exp(mean[s])
		}
	}
}

// sortedSeasons returns the keys of by in a fixed order: season, then
// planting.
func sortedSeasons(by map[plantingSeason]*looks) []plantingSeason {
	ks := make([]plantingSeason, 0, len(by))
	for k := range by {
		ks = append(ks, k)
	}
	slices.SortFunc(ks, func(a, b plantingSeason) int {
		return cmp.Or(cmp.Compare(a.season, b.season), cmp.Compare(a.planting, b.planting))
	})
	return ks
}
