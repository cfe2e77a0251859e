package hindcast

import (
	"math"
	"slices"

	"ripetide/weather"
)

const (
	// publishedSlope, days per °C, stands in while there are too few seasons for
	// a slope: 2 °C cooler from bloom to harvest was 5.2 days longer across
	// Europe (Krüger et al. 2012, J. Berry Research).
	publishedSlope = -2.6
	// slopeSeasons is the least number of seasons that tell a slope.
	slopeSeasons = 3
	// leastScatter, °C, is the least root mean square of mean temperatures about
	// those of their varieties that tells a slope.
	leastScatter = 0.05
)

// line is a regression of the days from bloom to a stage on the mean
// temperature of the ruleDays after bloom,
//
//	days = a(variety) + slope × temperature,
//
// with one slope for all varieties, fitted by least squares to past seasons:
// one point for each variety and season, the mean of its plantings.
type line struct {
	points []point
	byName map[string]centre
	slope  float64 // Days per °C.
	sxx    float64 // Sum of squares of temperatures about those of their variety, °C²; 0: the slope is the published one.
	free   int     // Degrees of freedom.
}

// point is a variety in a past season.
type point struct {
	variety    string
	rows       []*row
	temp, days float64
}

// centre is the mean of a variety's points.
type centre struct {
	n          int
	temp, days float64
}

// fitLine fits a stage's line to rows, by variety in order of season.
func fitLine(past map[string][]*row, varieties []string, window int) *line {
	l := &line{byName: map[string]centre{}, slope: publishedSlope}
	seasons := map[int]bool{}
	for _, v := range varieties {
		var own []point
		usable := slices.DeleteFunc(slices.Clone(past[v]), func(r *row) bool {
			return !r.station.covered(r.bloom, r.bloom+weather.Date(window))
		})
		for part := range bySeason(usable) {
			temp, ok := meanTemp(part, func(r *row) path { return r.path }, window)
			if !ok {
				continue
			}
			own = append(own, point{v, part, temp, seasonMeans(part, (*row).days)[0]})
			seasons[part[0].places.season] = true
		}
		if len(own) == 0 {
			continue
		}
		c := centre{n: len(own)}
		for _, p := range own {
			c.temp += p.temp / float64(c.n)
			c.days += p.days / float64(c.n)
		}
		l.byName[v] = c
		l.points = append(l.points, own...)
	}
	var sxx, sxy float64
	for _, p := range l.points {
		c := l.byName[p.variety]
		sxx += (p.temp - c.temp) * (p.temp - c.temp)
		sxy += (p.temp - c.temp) * (p.days - c.days)
	}
	l.free = len(l.points) - len(l.byName) - 1
	if len(seasons) >= slopeSeasons && l.free >= 1 && sxx >= leastScatter*leastScatter*float64(len(l.points)) {
		l.slope, l.sxx = sxy/sxx, sxx
	}
	return l
}

// meanTemp returns the mean over rows of the mean temperature, °C, of the
// window days after bloom, as pathOf shows them.
func meanTemp(rows []*row, pathOf func(*row) path, window int) (float64, bool) {
	sum := 0.0
	for _, r := range rows {
		t, ok := pathOf(r).meanTemp(r.bloom, window)
		if !ok {
			return 0, false
		}
		sum += t
	}
	return sum / float64(len(rows)), true
}

// meanTemp returns the mean temperature, °C, of the window days after bloom.
func (p path) meanTemp(bloom weather.Date, window int) (float64, bool) {
	sum := 0.0
	for d := bloom + 1; d <= bloom+weather.Date(window); d++ {
		w, ok := p.at(d)
		if !ok {
			return 0, false
		}
		sum += w.mean
	}
	return sum / float64(window), true
}

// at returns the days for a variety at a temperature.
func (l *line) at(variety string, temp float64) float64 {
	c := l.byName[variety]
	return c.days + l.slope*(temp-c.temp)
}

// meanTemperature is bloom and the days that the line gives for the mean
// temperature of the ruleDays after bloom: observed days, then the usual ones.
// In 33 Norwegian seasons regressions on mean temperature beat heat units:
// Døving and Måge (2001), Acta Agric. Scand. B 51(1).
//
// Its standard deviation is
//
//	s √(1 + 1/n + (x-m)²/Sxx),  s² = Σr²/(N-V-1),
//
// with n and m the number and the mean temperature of the variety's points, N
// points of V varieties in all, and r the residuals of the line in the past
// seasons with as many days after bloom observed as now. With too few seasons
// for a slope it takes the published one, without the last term, and the usual
// s.
func (y *year) meanTemperature(i, stage int, asOf, bloom weather.Date) (normal, Reason) {
	v, window, l := y.plantings[i].Variety, ruleDays[stage], y.lines[stage]
	now, ok := y.now(i, asOf)
	c, known := l.byName[v]
	switch {
	case len(y.past[stage][v]) == 0:
		return normal{}, NoPast
	case !known || !ok:
		return normal{}, NoWeather
	}
	temp, ok := now.meanTemp(bloom, window)
	if !ok {
		return normal{}, NoWeather
	}
	s, spread := usualSD.line, 1+1/float64(c.n)
	if l.sxx > 0 {
		observed := asOf - bloom
		sum := 0.0
		for _, p := range l.points {
			t, ok := meanTemp(p.rows, func(r *row) path {
				q := r.path
				q.through = r.bloom + observed - 1
				return q
			}, window)
			if !ok {
				return normal{}, NoWeather
			}
			r := p.days - l.at(p.variety, t)
			sum += r * r
		}
		s = math.Sqrt(sum / float64(l.free))
		spread += (temp - c.temp) * (temp - c.temp) / l.sxx
	}
	return normal{float64(bloom) + l.at(v, temp), max(leastSD, s*math.Sqrt(spread))}, ""
}
