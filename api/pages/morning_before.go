package pages

import (
	"fmt"
	"slices"

	"ripetide/forecast"
	"ripetide/weather"
)

// beforeForecast tells, on the date today at the farm, what a first forecast
// lacks and how much it matters. grower and owner: the visitor may record, and
// may set up.
func beforeForecast(in forecast.Inputs, today weather.Date, grower, owner bool) morningPage {
	l := &lacking{in: in, today: today, season: forecast.SeasonOf(today, in.Farm.Southern()), grower: grower, owner: owner}
	l.ground()
	if len(l.bearing) > 0 { // What matters most comes first.
		l.bloom()
		l.past()
	}
	l.weather()
	p := morningPage{
		Title: "Morning of " + Day(&in.Farm, today), Nothing: true, Needed: l.needed, Surer: l.surer,
		Season: fmt.Sprintf("/f/%s/season/%d", in.Farm.ID, l.season),
	}
	switch n := len(l.needed); {
	case n > 0:
		p.Summary = "There is no forecast yet: " + count(n, "thing is", "things are") + " missing without which none can be made."
	case len(l.surer) > 0:
		p.Summary = "There is no forecast yet. One can be made now; " + count(len(l.surer), "thing", "things") + " would make it surer."
	default:
		p.Summary = "There is no forecast yet. One can be made now, and nothing is missing."
	}
	if len(l.needed) == 0 && grower {
		p.Make = "Make the first forecast"
	}
	return p
}

// lacking gathers what is missing.
type lacking struct {
	in            forecast.Inputs
	today         weather.Date
	season        int
	grower, owner bool
	bearing       []forecast.Planting
	needed, surer []morningLack
}

// to returns a link for those who may follow it.
func (l *lacking) to(page, name string, may bool) (href, link string) {
	if !may {
		return "", ""
	}
	return "/f/" + l.in.Farm.ID + "/" + page, name
}

func (l *lacking) need(what, why, href, link string) {
	l.needed = append(l.needed, morningLack{what, why, href, link})
}

func (l *lacking) better(what, why, href, link string) {
	l.surer = append(l.surer, morningLack{what, why, href, link})
}

// ground looks at varieties and plantings.
func (l *lacking) ground() {
	href, link := l.to("setup", "Set up", l.owner)
	if len(l.in.Varieties) == 0 {
		l.need("No variety", "Each variety has its own time: name those you grow, and how early each ripens.", href, link)
	}
	for _, p := range l.in.Plantings {
		if p.Bears(l.season, l.today) {
			l.bearing = append(l.bearing, p)
		}
	}
	switch {
	case len(l.in.Plantings) == 0:
		l.need("No planting", "A forecast is about plantings: a variety in a block since a date.", href, link)
	case len(l.bearing) == 0:
		href, link = l.to("book", "Book", l.owner)
		l.need("No planting that bears this season", "A planting bears from the year after it was planted until it is removed.", href, link)
	}
}

// weather looks at the records of the stations that count.
func (l *lacking) weather() {
	if len(l.in.Records) == 0 {
		href, link := l.to("setup", "Set up", l.owner)
		l.need("No weather station", "Dates come from daily temperatures: a station holds their record.", href, link)
		return
	}
	href, link := l.to("weather", "Weather", l.grower)
	for _, r := range l.in.Records {
		used := slices.ContainsFunc(l.bearing, func(p forecast.Planting) bool { return p.Station == r.Station.ID })
		if !used && len(l.bearing) > 0 {
			continue
		}
		h, err := forecast.StationHealth(l.in, r.Station.ID, nil, l.today)
		if err != nil { // It is one of the inputs'.
			continue
		}
		if n := h.Leaning.PastSeasons; n < forecast.LeastYears {
			have := count(n, "past year", "past years") + " of weather"
			if n == 0 {
				have = "no past year of weather"
			}
			l.need(r.Station.Name+" has "+have,
				fmt.Sprintf("Past years stand in for the days ahead: %d are the least, 20 and more are better. A record of a weather service nearby will do.", forecast.LeastYears), href, link)
		}
		if h.Last != nil && h.DaysOld > 0 {
			l.better("The record of "+r.Station.Name+" stops on "+DayYear(&l.in.Farm, *h.Last),
				count(h.DaysOld, "day is", "days are")+" missing up to yesterday; what other years had is taken for them. A few days matter little, weeks a lot.", href, link)
		}
	}
}

// bloom looks for this season's.
func (l *lacking) bloom() {
	seen := map[string]bool{}
	past := false
	for _, s := range l.in.Sightings {
		if !s.Seen || s.Stage != forecast.Bloom10 && s.Stage != forecast.BloomFull || s.Date > l.today {
			continue
		}
		if forecast.SeasonOf(s.Date, l.in.Farm.Southern()) == l.season {
			seen[s.Planting] = true
		} else {
			past = true
		}
	}
	n := 0
	for _, p := range l.bearing {
		if !seen[p.ID] {
			n++
		}
	}
	if n == 0 {
		return
	}
	what := "Bloom of this season is not entered for " + count(n, "planting", "plantings")
	if n == len(l.bearing) {
		what = "No bloom of this season is entered"
	}
	why := "Bloom starts the clock. It matters most: until it is entered there are no dates for a planting."
	if past {
		why = "Bloom starts the clock. It matters most: until it is entered it is reckoned from the warmth of the spring, and ranges are wider."
	}
	href, link := l.to("row", "In the row", l.grower)
	l.better(what, why, href, link)
}

// past looks for seasons before this one, by variety.
func (l *lacking) past() {
	variety := map[string]string{}
	for _, p := range l.in.Plantings {
		variety[p.ID] = p.Variety
	}
	known := map[string]bool{}
	for _, s := range l.in.Sightings {
		if s.Seen && s.Stage >= forecast.FirstRipe && forecast.SeasonOf(s.Date, l.in.Farm.Southern()) < l.season {
			known[variety[s.Planting]] = true
		}
	}
	all, without := map[string]bool{}, map[string]bool{}
	for _, p := range l.bearing {
		all[p.Variety] = true
		if !known[p.Variety] {
			without[p.Variety] = true
		}
	}
	if len(without) == 0 {
		return
	}
	what := fmt.Sprintf("No past season of %d of %s", len(without), count(len(all), "variety", "varieties"))
	if len(without) == len(all) {
		what = "No past season is entered"
	}
	href, link := l.to("book", "Book", l.grower)
	l.better(what, "It matters much: dates then come from the ripening class alone, and ranges are wide. Enter when fruit was first ripe, at its peak and over in earlier years.", href, link)
}
