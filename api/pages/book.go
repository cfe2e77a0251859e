package pages

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// addBook adds the pages of what is on record: the Book, its forms and lists.
func (p *Pages) addBook() {
	p.get("/f/:farm/book", p.book)
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		p.page(method, "/f/:farm/book/station", api.Owner, p.editStation)
		p.page(method, "/f/:farm/book/station/:station", api.Owner, p.editStation)
		p.page(method, "/f/:farm/book/variety", api.Owner, p.editVariety)
		p.page(method, "/f/:farm/book/variety/:variety", api.Owner, p.editVariety)
		p.page(method, "/f/:farm/book/planting", api.Owner, p.editPlanting)
		p.page(method, "/f/:farm/book/planting/:planting", api.Owner, p.editPlanting)
		p.page(method, "/f/:farm/book/list", api.Owner, p.plantingList)
		p.page(method, "/f/:farm/book/seen", api.Grower, p.seenList)
		p.page(method, "/f/:farm/book/seen/:year", api.Grower, p.seenTable)
	}
	p.post("/f/:farm/book/sighting/:id/back", api.Grower, p.takeBack)
}

type bookPage struct {
	Blocks    []bookBlock
	Gone      []bookPlanting // Removed plantings.
	Varieties []bookVariety
	Stations  []bookStation
	Season    int
	Sightings []bookSighting // The latest of the season.
	Earlier   []bookSighting // The others.
	Seasons   []bookSeason
	Farm      []bookFact
	Method    []bookFact
	NoCrop    bool // No planting bears this season.
}

// latestSeen is how many sightings are shown at first.
const latestSeen = 12

type bookBlock struct {
	Name      string
	Size      string
	Plantings []bookPlanting
}

type bookPlanting struct {
	ID, Variety, Block, Station  string // Station is empty where there is one only.
	Planted, Removed, Area, Crop string
	Bears                        string // From when, of one that does not yet.
}

type bookVariety struct {
	ID, Name, Ripens string
	From             string   // Where its requirement comes from.
	Figures          []string // The farm's own belief.
	Seasons          string
}

type bookStation struct {
	ID, Name, Place, StandIn, Suspects string
}

type bookSighting struct {
	ID, Planting, What, Date, Note string
}

type bookSeason struct {
	Year  int
	Dates string
}

// bookFact is one line of a short table.
type bookFact struct{ Name, Value string }

// book shows what is on record of a farm.
func (p *Pages) book(v *visit) error {
	ctx, farm, units := v.Request().Context(), v.farm.ID, v.farm.Units
	r, err := p.ground(v)
	if err != nil {
		return err
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	sightings, err := p.sightings(v)
	if err != nil {
		return err
	}
	methods, err := p.Store.Methods(ctx, farm)
	if err != nil {
		return err
	}
	south := v.farm.Southern()
	page := bookPage{Season: forecast.SeasonOf(today, south), Farm: farmFacts(v.farm)}
	page.Method = methodFacts(v, methods)
	sizes := map[string]float64{}
	bears := 0
	for _, x := range r.plantings {
		row := bookPlanting{
			ID: x.ID, Variety: varietyName(r.varieties, x.Variety), Block: x.Block,
			Planted: DayYear(&v.farm, x.PlantedOn), Area: area(x.AreaM2, units), Crop: yield(x.KgPerM2, units),
		}
		for _, s := range r.stations {
			if s.ID == x.Station && len(r.stations) > 1 {
				row.Station = s.Name
			}
		}
		if x.Bears(page.Season, today) {
			bears++
		}
		if x.RemovedOn != nil {
			row.Removed = DayYear(&v.farm, *x.RemovedOn)
			if *x.RemovedOn <= today {
				page.Gone = append(page.Gone, row)
				continue
			}
		}
		if y := x.PlantedOn.Year() + 1; y > page.Season {
			row.Bears = fmt.Sprintf("bears from %d", y)
		}
		i := slices.IndexFunc(page.Blocks, func(b bookBlock) bool { return b.Name == x.Block })
		if i < 0 {
			page.Blocks = append(page.Blocks, bookBlock{Name: x.Block})
			i = len(page.Blocks) - 1
		}
		page.Blocks[i].Plantings = append(page.Blocks[i].Plantings, row)
		sizes[x.Block] += x.AreaM2
	}
	slices.SortFunc(page.Blocks, func(a, b bookBlock) int { return strings.Compare(strings.ToLower(a.Name), strings.ToLower(b.Name)) })
	for i := range page.Blocks {
		page.Blocks[i].Size = area(sizes[page.Blocks[i].Name], units)
	}
	page.NoCrop = bears == 0 && len(page.Blocks) > 0
	page.Varieties = bookVarieties(v, r, sightings, page.Season)
	for _, s := range r.stations {
		page.Stations = append(page.Stations, bookStationOf(s, r.stations, units))
	}
	page.Sightings, page.Seasons = bookSightings(v, r, sightings, page.Season)
	if n := latestSeen; len(page.Sightings) > n {
		page.Sightings, page.Earlier = page.Sightings[:n], page.Sightings[n:]
	}
	return p.render(v, http.StatusOK, v, "book", "Book", page)
}

// toldVariety is what a variety takes here, as the forecasts have learned it.
type toldVariety struct {
	None  string // Why nothing can be told; "".
	From  string
	Unit  string
	Needs []api.ToldNeed
}

// learned tells what the newest forecast has learned of a variety.
func (p *Pages) learned(v *visit, variety string) (*toldVariety, error) {
	ctx := v.Request().Context()
	out := &toldVariety{Unit: v.farm.HeatUnit(), None: "No forecast tells of it yet. Until it has seasons of its own, what it takes comes from its class, or from the belief below."}
	z, err := p.Store.LatestForecast(ctx, v.farm.ID)
	if errors.Is(err, forecast.ErrForecastNotFound) {
		return out, nil
	}
	if err != nil {
		return nil, err
	}
	f, err := p.Forecast.Decode(ctx, z)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(f.Plantings, func(d forecast.PlantingDates) bool { return d.Variety == variety && d.Stages != nil })
	if i < 0 {
		return out, nil
	}
	var x *forecast.Explanation
	err = p.API.Placed(ctx, func() error {
		x, _, err = p.Forecast.Explain(ctx, z, f.Plantings[i].Planting)
		return err
	})
	switch {
	case errors.Is(err, forecast.ErrPlantingNotFound), errors.Is(err, forecast.ErrTooFewYears):
		return out, nil // Another version of the program made it, by other rules.
	case err != nil:
		return nil, err
	}
	if out.Needs = (api.Telling{Farm: v.farm, Of: x}).Learned(); len(out.Needs) == 0 {
		return out, nil
	}
	out.None, out.From = "", "As the forecast of "+DayYear(&v.farm, z.AsOf)+" reckons, by "+v.farm.Method(api.MethodOf(x.Method))+"."
	return out, nil
}

// bookVarieties tells of each variety where its requirement comes from.
func bookVarieties(v *visit, r *groundReader, sightings []forecast.Sighting, season int) []bookVariety {
	of := map[string]string{}
	for _, x := range r.plantings {
		of[x.ID] = x.Variety
	}
	own := map[string]map[int]bool{}
	for _, s := range sightings {
		y := forecast.SeasonOf(s.Date, v.farm.Southern())
		if id := of[s.Planting]; s.Seen && s.Stage >= forecast.FirstRipe && y < season {
			if own[id] == nil {
				own[id] = map[int]bool{}
			}
			own[id][y] = true
		}
	}
	var out []bookVariety
	for _, x := range r.varieties {
		n := len(own[x.ID])
		row := bookVariety{ID: x.ID, Name: x.Name, Ripens: className[x.Ripens], Seasons: "none yet"}
		if n > 0 {
			row.Seasons = strconv.Itoa(n)
		}
		switch q := x.Requirement; {
		case q != nil:
			row.From = "the farm's own belief"
			if n > 0 {
				row.From += ", and its own seasons"
			}
			row.Figures = []string{
				"first ripe " + heat(q.FirstRipe, v.farm.Units), "peak " + heat(q.Peak, v.farm.Units), "last pick " + heat(q.LastPick, v.farm.Units),
				"by " + methodWords(q.Method, v.farm.Units),
			}
		case n > 0:
			row.From = "its own seasons, beginning from its class"
		default:
			row.From = "its class, until it has own seasons"
		}
		out = append(out, row)
	}
	return out
}

func bookStationOf(s weather.Station, all []weather.Station, u forecast.Units) bookStation {
	h := heightUnit(u)
	row := bookStation{
		ID: s.ID, Name: s.Name, Place: place(s.Latitude, s.Longitude) + ", " + figure(s.Elevation/h.factor) + " " + h.name + " above the sea",
		StandIn: "none", Suspects: "left out until judged",
	}
	for _, o := range all {
		if o.ID == s.StandIn {
			row.StandIn = o.Name
		}
	}
	if s.Suspects == weather.UseSuspects {
		row.Suspects = "used until judged"
	}
	return row
}

// bookSightings lists what was seen this season, the latest first, and counts
// what is on record of the seasons before.
func bookSightings(v *visit, r *groundReader, sightings []forecast.Sighting, season int) (now []bookSighting, past []bookSeason) {
	names := map[string]string{}
	for _, x := range r.plantings {
		names[x.ID] = r.plantingName(x)
	}
	dates := map[int]int{}
	for _, s := range sightings {
		if y := forecast.SeasonOf(s.Date, v.farm.Southern()); y != season {
			dates[y]++
			continue
		}
		row := bookSighting{ID: s.ID, Planting: names[s.Planting], What: stageName[s.Stage], Date: Day(&v.farm, s.Date), Note: s.Note}
		if !s.Seen {
			row.What = "not yet: " + row.What
		}
		now = append(now, row)
	}
	for y := season - 1; y > season-12; y-- {
		n := dates[y]
		delete(dates, y)
		what := "nothing yet"
		if n > 0 {
			what = count(n, "date", "dates")
		}
		past = append(past, bookSeason{y, what})
	}
	var older []int
	for y := range dates {
		if y < season {
			older = append(older, y)
		}
	}
	slices.Sort(older)
	for _, y := range slices.Backward(older) {
		past = append(past, bookSeason{y, count(dates[y], "date", "dates")})
	}
	return now, past
}

// farmFacts tells what is set of a farm.
func farmFacts(f forecast.Farm) []bookFact {
	units := "°C, kg, m² and hectares"
	if f.Units == forecast.US {
		units = "°F, lb, acres and feet"
	}
	facts := []bookFact{
		{"Name", f.Name}, {"Place", place(f.Latitude, f.Longitude)}, {"Time zone", f.TimeZone}, {"Units", units},
	}
	thin := "not set: no day is told as thin"
	if f.ThinKgPerDay > 0 {
		thin = weight(f.ThinKgPerDay, f.Units) + " of ripe fruit standing"
	}
	facts = append(facts, bookFact{"A day is thin below", thin}, bookFact{"A gap is told from", digits(f.GapProbability*100) + " in 100"})
	o := f.Opening
	var asks []string
	if o.ReadyKg > 0 {
		asks = append(asks, weight(o.ReadyKg, f.Units)+" of ripe fruit")
	}
	for i := range 7 {
		w := time.Weekday((i + 1) % 7)
		if kg := o.ReadyKgOn[w]; kg > 0 {
			asks = append(asks, weight(kg, f.Units)+" on a "+w.String())
		}
	}
	if o.ReadyShare > 0 {
		of := "first variety's crop"
		if o.FirstVarieties > 1 {
			of = fmt.Sprintf("crop of the first %d varieties", o.FirstVarieties)
		}
		asks = append(asks, digits(o.ReadyShare*100)+" % of the "+of)
	}
	if o.Confidence > 0 {
		asks = append(asks, digits(o.Confidence*100)+" in 100 sure of it")
	}
	if o.NoticeDays > 0 {
		asks = append(asks, count(o.NoticeDays, "day's notice", "days' notice"))
	}
	if len(o.Weekdays) > 0 {
		var days []string
		for _, d := range o.Weekdays {
			days = append(days, d.String())
		}
		asks = append(asks, "open on "+strings.Join(days, ", "))
	}
	for _, c := range o.Channels {
		asks = append(asks, c.Name+" "+count(c.NoticeDays, "day", "days")+" before")
	}
	if len(asks) == 0 {
		asks = []string{"the usual"}
	}
	facts = append(facts, bookFact{"An opening day needs", strings.Join(asks, "; ")})
	var heads []string
	for _, h := range f.Holidays {
		heads = append(heads, h.Name+" ("+h.Rule+")")
	}
	if heads != nil {
		facts = append(facts, bookFact{"Days in people’s heads", strings.Join(heads, "; ")})
	}
	return facts
}

// methodWords says how degree-days are summed.
func methodWords(m forecast.Method, u forecast.Units) string {
	words := string(m.Kind) + " above " + temperature(m.Base, u)
	if m.Cutoff != forecast.NoCutoff {
		words = fmt.Sprintf("%s from %s to %s, %s cutoff", m.Kind, temperature(m.Base, u), temperature(m.Upper, u), m.Cutoff)
	}
	return words
}

// methodFacts tells of the method in use, who chose it, and when.
func methodFacts(v *visit, choices []forecast.MethodChoice) []bookFact {
	if len(choices) == 0 {
		return []bookFact{
			{"Degree-days are summed by", methodWords(forecast.DefaultMethod, v.farm.Units)},
			{"Chosen by", "nobody yet: it is the usual one"},
		}
	}
	c := choices[0]
	facts := []bookFact{
		{"Degree-days are summed by", methodWords(c.Method, v.farm.Units)},
		{"Chosen by", c.By + " on " + DayYear(&v.farm, weather.DateIn(c.At.In(v.zone)))},
	}
	if c.Reason != "" {
		facts = append(facts, bookFact{"Because", c.Reason})
	}
	return facts
}

// takeBack withdraws a sighting.
func (p *Pages) takeBack(v *visit) error {
	if err := p.Store.WithdrawSighting(v.Request().Context(), v.farm.ID, v.Param("id"), v.who.By(), p.Now()); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/book#sightings")
}
