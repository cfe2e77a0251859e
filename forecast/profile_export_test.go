package forecast

import "ripetide/weather"

// Redated returns the dates that a season gets by m when it is left out, by
// planting: first ripe, peak, last pick, whether or not they were seen.
func Redated(in Inputs, asOf weather.Date, m Method, season int) (map[string][3]weather.Date, error) {
	var out LeftOut
	r := newRetrial(in, asOf, &out, false)
	dates := map[string][3]weather.Date{}
	for _, y := range r.seasons {
		if y.season != season {
			continue
		}
		c := r.by(m)(y)
		ds, err := y.date(c)
		if err != nil {
			return nil, err
		}
		for i, q := range y.plantings {
			dates[c.in.Plantings[q.index].ID] = ds[i]
		}
	}
	return dates, nil
}

// ProfileOf returns a profile whose methods have the given errors, by curve,
// point and season; the first curve's point at index use is in use. Bases are
// 0, 1, 2, … °C.
func ProfileOf(use int, u Units, curves ...[][]SeasonError) *MethodProfile {
	p := &MethodProfile{}
	for i, points := range curves {
		c := ProfileCurve{Kind: []Kind{SingleSine, Average, DoubleSine}[i]}
		for j, es := range points {
			c.Points = append(c.Points, ProfilePoint{Method: Method{Kind: c.Kind, Base: float64(j), Cutoff: NoCutoff}, BySeason: es})
		}
		p.Curves = append(p.Curves, c)
	}
	now := p.Curves[0].Points[use]
	for _, e := range now.BySeason {
		p.Seasons = append(p.Seasons, e.Season)
		p.Cases += e.Cases
	}
	p.judge(now.Method, u)
	return p
}

// ChosenBlind is chosenBlind.
func (p *MethodProfile) ChosenBlind() float64 { return p.chosenBlind() }
