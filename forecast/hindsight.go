package forecast

import (
	"slices"

	"ripetide/weather"
)

// Medians are the median dates of first ripe, peak and last pick that a forecast
// gives, by planting; of plantings that it cannot forecast there are none.
type Medians map[string][ripeStages]weather.Date

// Hindsight is what a forecast would have said had it known more. Each of its
// parts knows what the one before it did.
type Hindsight struct {
	Issued  Medians // What it said, made again from what was known.
	Bloomed Medians // Had it known of this season's bloom what is known now.
	Came    Medians // Had it known the weather of the whole season.
	// Through is the last day of the weather that came, by planting: of what
	// happened later than that Came knows nothing.
	Through map[string]weather.Date
}

// InHindsight makes the forecast of a morning again from what was known then, and
// with what is known now in place of it: of bloom, and of the season's weather,
// also where it was corrected. Requirements stay those of then, the draws of
// members and everything that was seen of the fruit too, so that what is left
// between Came and the dates that came is the requirements' own. A bloom that is
// known now to have been later than the morning is looked at from its own day
// on. Errors are those of [Compute].
func InHindsight(then, now Inputs, asOf weather.Date) (Hindsight, error) {
	h := Hindsight{Through: map[string]weather.Date{}}
	var err error
	if h.Issued, _, err = medians(then, asOf, nil); err != nil {
		return h, err
	}
	season := SeasonOf(asOf, then.Farm.Southern())
	bloomed, later := knowingBloom(then, now, season, asOf)
	truth := then
	truth.Records = nil
	_, end := SeasonBounds(season, then.Farm.Southern())
	for _, r := range now.Records {
		truth.Records = append(truth.Records, r.siftOnce(end))
	}
	if h.Bloomed, _, err = medians(bloomed, asOf, nil); err != nil {
		return h, err
	}
	var through map[string]weather.Date
	if h.Came, through, err = medians(bloomed, asOf, truth.Records); err != nil {
		return h, err
	}
	for d, plantings := range later { // In any order: a planting has one day.
		a, _, err := medians(bloomed, d, nil)
		if err != nil {
			return h, err
		}
		b, _, err := medians(bloomed, d, truth.Records)
		if err != nil {
			return h, err
		}
		for _, p := range plantings {
			h.Bloomed.take(a, p)
			h.Came.take(b, p)
		}
	}
	for _, p := range then.Plantings {
		if d, ok := through[p.Station]; ok {
			h.Through[p.ID] = d
		}
	}
	return h, nil
}

// take sets what m says of a planting to what other says of it.
func (m Medians) take(other Medians, planting string) {
	delete(m, planting)
	if d, ok := other[planting]; ok {
		m[planting] = d
	}
}

// knowingBloom returns then with the first days of bloom of a season as they are
// known now, and the plantings whose bloom is later than asOf, by its day.
func knowingBloom(then, now Inputs, season int, asOf weather.Date) (Inputs, map[weather.Date][]string) {
	southern := then.Farm.Southern()
	isBloom := func(s Sighting) bool {
		return s.Seen && (s.Stage == Bloom10 || s.Stage == BloomFull) && SeasonOf(s.Date, southern) == season
	}
	out := then
	out.Sightings = slices.DeleteFunc(slices.Clone(then.Sightings), isBloom)
	first := map[string]weather.Date{}
	for _, s := range now.Sightings {
		if !isBloom(s) {
			continue
		}
		out.Sightings = append(out.Sightings, s)
		if d, ok := first[s.Planting]; !ok || s.Date < d {
			first[s.Planting] = s.Date
		}
	}
	later := map[weather.Date][]string{}
	for _, p := range then.Plantings {
		if d, ok := first[p.ID]; ok && d > asOf {
			later[d] = append(later[d], p.ID)
		}
	}
	return out, later
}

// medians makes the forecast of a morning and returns its medians. With truth,
// records that are sifted, every possible season has the weather that they hold;
// through is then the last day of it by station.
func medians(in Inputs, asOf weather.Date, truth []Record) (m Medians, through map[string]weather.Date, err error) {
	c := newComputing(in, asOf)
	m = Medians{}
	if !c.bears() {
		return m, nil, nil
	}
	if err := c.lookAhead(); err != nil {
		return nil, nil, err
	}
	if truth != nil {
		through = c.come(truth)
	}
	c.aim()
	if len(c.targets) == 0 {
		return m, through, nil
	}
	ms, err := c.date()
	if err != nil {
		return nil, nil, err
	}
	for _, t := range ms.ripening {
		var dates [ripeStages]weather.Date
		for s, r := range c.targets[t].ranges(ms.when, t, ms.first) {
			dates[s] = r.P50
			if r.Seen != nil {
				dates[s] = *r.Seen
			}
		}
		m[c.in.Plantings[c.targets[t].planting].ID] = dates
	}
	return m, through, nil
}

// come puts the weather that came in the place of all that lies ahead, and of
// what was observed, and returns the last day of it by station.
func (c *computing) come(truth []Record) map[string]weather.Date {
	days := map[string]weather.Series{}
	standIn := map[string]string{}
	for _, r := range truth {
		days[r.Station.ID], standIn[r.Station.ID] = r.Days, r.Station.StandIn
	}
	through := map[string]weather.Date{}
	for station, w := range c.ahead {
		r := newRecord(days[station], days[standIn[station]])
		if r.empty() || r.last() < w.first {
			continue
		}
		last := min(r.last(), w.first+weather.Date(len(w.paths[0]))-1)
		through[station] = last
		came := r.span(w.first, last)
		for _, path := range w.paths {
			copy(path, came)
		}
	}
	return through
}
