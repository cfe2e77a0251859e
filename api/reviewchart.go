package api

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/review"
	"ripetide/weather"
)

// seasons names the seasons that scores are of, and which scores these are: all
// up to the one looked back at, or it alone.
func (t ReviewTelling) seasons() (name string, scores []review.Score) {
	if n := len(t.Together.Seasons); n > 1 {
		return fmt.Sprintf("%d seasons from %d to %d", n, t.Together.Seasons[0], t.Together.Seasons[n-1]), t.Together.Scores
	}
	return fmt.Sprintf("season %d", t.Season.Year), t.Scores
}

// ErrorChart is how far off the frozen forecasts were, by lead, all stages
// together; of all seasons up to the one looked back at. It is not valid without
// a forecast that can be scored.
func (t ReviewTelling) ErrorChart() charts.LeadError {
	name, scores := t.seasons()
	c := charts.LeadError{Heading: "Error by lead, all stages", Basis: t.farm.Name + ", " + name + ", forecasts as they were frozen"}
	lines := make([]charts.LeadSeries, len(hindcast.Baselines()))
	seasons := 0
	for i, l := range review.Leads() {
		s, ok := review.Find(scores, review.Slice{Stage: hindcast.AllStages, Lead: l})
		c.Leads = append(c.Leads, charts.Lead{Label: l.String(), Cases: s.N, Seasons: s.Seasons})
		if !ok || s.N == 0 {
			continue
		}
		seasons = max(seasons, s.Seasons)
		c.Forecast.Points = append(c.Forecast.Points, charts.LeadPoint{Lead: i, Days: s.MAE, Low: s.MAERange.Lo, High: s.MAERange.Hi})
		c.Bias = append(c.Bias, charts.LeadPoint{Lead: i, Days: s.Bias, Low: s.BiasRange.Lo, High: s.BiasRange.Hi})
		for _, b := range reviewBaselines {
			if a := s.Against[b]; a.N > 0 {
				lines[b].Points = append(lines[b].Points, charts.LeadPoint{Lead: i, Days: a.MAE})
			}
		}
	}
	for _, b := range reviewBaselines {
		if lines[b].Name = b.String(); len(lines[b].Points) > 0 {
			c.Baselines = append(c.Baselines, lines[b])
		}
	}
	if len(c.Forecast.Points) == 0 {
		return charts.LeadError{}
	}
	c.Finding = reviewCaution(seasons)
	return c
}

func (t ReviewTelling) units() charts.Units {
	if t.farm.Units == forecast.US {
		return charts.US
	}
	return charts.Metric
}

// OutcomeChart is what was forecast at bloom over what came, of every planting
// that bore. It is not valid without any date.
func (t ReviewTelling) OutcomeChart() charts.Outcome {
	c := charts.Outcome{
		Heading: fmt.Sprintf("Season %d, as forecast and as it came", t.Season.Year), Units: t.units(), Said: review.AtBloom.String(),
		Basis: t.farm.Name + ", forecasts as they were frozen",
	}
	bore := t.Seasoned()
	if n := len(bore); n > charts.MaxOutcomeRows {
		c.Basis += fmt.Sprintf("; the first %d of %d plantings", charts.MaxOutcomeRows, n)
		bore = bore[:charts.MaxOutcomeRows]
	}
	for _, p := range bore {
		row := charts.OutcomeRow{Variety: p.Variety, Block: p.Block}
		for _, r := range t.Season.Rows {
			if r.Planting != p.Planting {
				continue
			}
			d := charts.OutcomeDate{Date: r.Date.Time(), Open: r.Bound != forecast.BoundNone}
			switch r.Stage {
			case forecast.FirstRipe:
				row.First = d
			case forecast.Peak:
				row.Peak = d
			case forecast.LastPick:
				row.Last = d
			}
			if days, ok := r.Error(); ok && r.Lead == review.AtBloom && r.Stage == forecast.FirstRipe {
				row.Error = OffBy(days)
			}
		}
		if z := t.Season.AtBloom[p.Planting]; z != nil && z.FirstRipe.Seen == nil && z.Peak.Seen == nil && z.LastPick.Seen == nil {
			row.Said = &charts.OutcomeSaid{First: saidRange(z.FirstRipe), Peak: saidRange(z.Peak), Last: saidRange(z.LastPick)}
		}
		c.Rows = append(c.Rows, row)
	}
	for _, g := range t.Season.Gaps.Came {
		c.Gaps = append(c.Gaps, charts.OutcomeGap{From: g.From.Time(), To: g.To.Time()})
	}
	o := t.Season.Opening
	if o.Possible != nil {
		c.Flags = append(c.Flags, charts.OutcomeFlag{Date: o.Possible.Time(), Text: "opening possible"})
	}
	if day, ok := o.Day(); ok {
		c.Flags = append(c.Flags, charts.OutcomeFlag{Date: day.Time(), Text: "announced"})
	}
	return c
}

func saidRange(r forecast.DateRange) charts.Range {
	return charts.Range{P10: r.P10.Time(), P50: r.P50.Time(), P90: r.P90.Time()}
}

// DepartureChart is how warm the season was beside other years, at the station of
// most plantings, from a fortnight before the first bloom on. It is not valid
// without a bloom.
func (t ReviewTelling) DepartureChart() charts.Departure {
	station, name := t.station()
	bloom, first, last := t.ends()
	if bloom == nil {
		return charts.Departure{}
	}
	const before, after, most = 14, 3, 199
	to := *bloom + 60 // While nothing is known of the fruit.
	if last != nil {
		to = *last + after
	}
	ds := t.departures(station, *bloom-before, min(to, *bloom-before+most))
	c := charts.Departure{
		Heading: fmt.Sprintf("Weather of season %d", t.Season.Year), Units: t.units(),
		Basis: name + ", the mean of each day beside the two weeks around it in all other years on record.",
	}
	for _, d := range ds {
		c.Days = append(c.Days, charts.DepartureDay{Date: d.Date.Time(), MeanC: d.MeanC, UsualC: d.UsualC})
	}
	stretch := func(text string, from, to *weather.Date) {
		if from == nil || to == nil || *from >= *to || len(ds) == 0 {
			return
		}
		a, b := max(*from, ds[0].Date), min(*to, ds[len(ds)-1].Date)
		if mean, ok := forecast.MeanDeparture(ds, a, b); ok && a < b {
			c.Stretches = append(c.Stretches, charts.DepartureStretch{From: a.Time(), To: b.Time(), Name: text, MeanC: mean})
		}
	}
	stretch("first bloom to first ripe", bloom, first)
	stretch("first ripe to last pick", first, last)
	return c
}

// station returns the station of most plantings and its name.
func (t ReviewTelling) station() (id, name string) {
	bore := map[string]bool{}
	for _, s := range t.Seasoned() {
		bore[s.Planting] = true
	}
	use := map[string]int{}
	for _, p := range t.Inputs.Plantings {
		if bore[p.ID] {
			use[p.Station]++
		}
	}
	ids := slices.SortedFunc(maps.Keys(use), func(a, b string) int { return cmp.Or(cmp.Compare(use[b], use[a]), cmp.Compare(a, b)) })
	if len(ids) == 0 {
		return "", ""
	}
	name = ids[0]
	for _, r := range t.Inputs.Records {
		if r.Station.ID == ids[0] && r.Station.Name != "" {
			name = r.Station.Name
		}
	}
	return ids[0], name
}

// ends returns the first bloom, the first ripe fruit and the last pick of the
// season; nil what is not on record.
func (t ReviewTelling) ends() (bloom, first, last *weather.Date) {
	for _, s := range t.Inputs.Sightings {
		if s.Seen && s.Stage < forecast.FirstRipe && forecast.SeasonOf(s.Date, t.farm.Southern()) == t.Season.Year && (bloom == nil || s.Date < *bloom) {
			bloom = new(s.Date)
		}
	}
	return bloom, t.Season.Gaps.First, t.Season.Gaps.Last
}

// PickingsForecast names the forecast that pickings are held against: of a week
// before the first ripe fruit or, without it, the next best lead; "" when there
// is none.
func (t ReviewTelling) PickingsForecast() string {
	for _, l := range []review.Lead{review.Before7, review.Before14, review.Before3, review.Before21, review.AtBloom} {
		best := -1
		for i, r := range t.Season.Rows {
			if r.Stage == forecast.FirstRipe && r.Lead == l && r.Said != nil && (best < 0 || r.Date < t.Season.Rows[best].Date) {
				best = i
			}
		}
		if best >= 0 {
			return t.Season.Rows[best].Said.Forecast
		}
	}
	return ""
}

// PickingsChart is what was picked day by day beside the ripe fruit that a
// forecast expected; f may be nil. It is not valid without pickings.
func (t ReviewTelling) PickingsChart(f *forecast.Forecast) charts.Pickings {
	c := charts.Pickings{
		Heading: fmt.Sprintf("Ripe fruit forecast, and what was picked, %d", t.Season.Year), Units: t.units(),
		Basis: t.farm.Name + ", all plantings together. What people take is not all that was ripe.",
	}
	kg, closed := map[weather.Date]float64{}, map[weather.Date]bool{}
	for _, p := range t.Inputs.Pickings {
		if forecast.SeasonOf(p.Date, t.farm.Southern()) == t.Season.Year {
			kg[p.Date] += p.Kg
			closed[p.Date] = closed[p.Date] || p.Closed
		}
	}
	for _, d := range slices.Sorted(maps.Keys(kg)) {
		c.Picked = append(c.Picked, charts.PickingsDay{Date: d.Time(), Kg: kg[d], Closed: closed[d] && kg[d] == 0})
	}
	if len(c.Picked) == 0 {
		return c
	}
	c.AsOf = c.Picked[0].Date // Nothing is drawn by it without a forecast.
	if f == nil {
		return c
	}
	c.AsOf = f.AsOf.Time()
	for _, d := range f.Days {
		c.Ripe = append(c.Ripe, charts.PickingsRipe{Date: d.Date.Time(), P10: d.RipeKg.P10, P50: d.RipeKg.P50, P90: d.RipeKg.P90})
	}
	return c
}
