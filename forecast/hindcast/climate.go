package hindcast

import (
	"ripetide/forecast"
	"ripetide/weather"
)

// sine is the method of the baseline [UsualHeat]. It stays what it is when the
// forecaster's own method changes.
var sine = forecast.Method{Kind: forecast.SingleSine, Base: 3, Upper: 30, Cutoff: forecast.Horizontal}

// warmth is what a day has to give.
type warmth struct {
	heat float64 // °C·d by the sine.
	mean float64 // Middle of its extremes, °C.
}

// station is a record, day by day.
type station struct {
	first weather.Date
	days  []warmth
	has   []bool
}

func newStation(s weather.Series) *station {
	first, last, ok := s.Span()
	if !ok {
		return &station{}
	}
	st := &station{first: first, days: make([]warmth, last-first+1), has: make([]bool, last-first+1)}
	for _, d := range s.Days() {
		st.days[d.Date-first] = warmth{sine.DegreeDays(d.Min, d.Max, d.Min), (d.Min + d.Max) / 2}
		st.has[d.Date-first] = true
	}
	return st
}

// at returns the day of d, if it is on record.
func (s *station) at(d weather.Date) (w warmth, ok bool) {
	i := int(d - s.first)
	if i < 0 || i >= len(s.days) || !s.has[i] {
		return warmth{}, false
	}
	return s.days[i], true
}

// climate is the mean of a station's past seasons by place in the year.
type climate struct {
	sum [366]warmth
	n   [366]int
}

// newClimate averages the seasons in ps.
func newClimate(s *station, ps []*places) *climate {
	c := new(climate)
	for _, p := range ps {
		for i, place := range p.of {
			if w, ok := s.at(p.first + weather.Date(i)); ok {
				c.sum[place].heat += w.heat
				c.sum[place].mean += w.mean
				c.n[place]++
			}
		}
	}
	return c
}

// usual returns the mean of the past seasons at a place. A season that is
// itself among them is left out of it by its own day, if others remain.
func (c *climate) usual(place int, own *warmth) (w warmth, ok bool) {
	n, w := c.n[place], c.sum[place]
	if own != nil && n > 1 {
		w.heat -= own.heat
		w.mean -= own.mean
		n--
	}
	if n == 0 {
		return warmth{}, false
	}
	return warmth{w.heat / float64(n), w.mean / float64(n)}, true
}

// path is the weather of one season at one station as it looked when days up
// to through were observed.
type path struct {
	station *station
	climate *climate
	places  *places
	past    bool // The season is among those of the climate.
	through weather.Date
}

// at returns a day: as observed, or the usual one where it is to come or not on
// record.
func (p path) at(d weather.Date) (w warmth, ok bool) {
	own, has := p.station.at(d)
	if has && d <= p.through {
		return own, true
	}
	place, ok := p.places.at(d)
	if !ok {
		return warmth{}, false
	}
	if has && p.past {
		return p.climate.usual(place, &own)
	}
	return p.climate.usual(place, nil)
}

// leastCover is the share of days on record from which a past season's weather
// is taken for its own.
const leastCover = 0.9

// covered reports whether enough of the days after a up to b are on record.
func (s *station) covered(a, b weather.Date) bool {
	n := 0
	for d := a + 1; d <= b; d++ {
		if _, ok := s.at(d); ok {
			n++
		}
	}
	return float64(n) >= leastCover*float64(b-a)
}
