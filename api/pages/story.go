package pages

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"ripetide/api"
	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

// Issued tells how what was forecast of a planting changed from morning to
// morning.
type Issued interface {
	// Issued returns what the frozen forecasts of a season said of a planting,
	// one for each morning, by rising morning; hindcasts only if there is
	// nothing else.
	Issued(ctx context.Context, farm string, season int, planting string) ([]forecast.Issued, error)
}

// storyPage is a planting's story as one forecast saw it. All of it is decided
// here; the template only sets it out.
type storyPage struct {
	Name, Block string
	Year        int
	Season      string // Address of the season's page.
	None        string // Why there is nothing to tell; "" when there is a forecast.
	Hindcast    string
	Facts       []string
	Neighbours  []pageLink // Plantings before and after it in order of ripening.

	Dates  []storyDate
	Window string // Of picking.
	NoDate string

	Chart   *picture // Nil before bloom.
	Words   string
	Heat    []string // Sentences.
	Days    []storyCount
	Seen    []storySeen
	NoSeen  string
	Moved   string
	Because []api.ToldCause

	Narrowing      *picture
	NarrowingWords string
	Issued         []storyIssued
	IssuedNote     string

	Needs    []api.ToldNeed
	NeedUnit string
	Taught   []string
	Doubts   []string
	Notes    []string
	Origin   string
}

type storyDate struct {
	Stage string
	dateCell
}

type storyCount struct {
	What  string
	Count int
}

// storySeen is somebody's look at the planting.
type storySeen struct{ Date, What, Note string }

// storyIssued is a forecast of the planting as it was issued.
type storyIssued struct {
	Morning, Href     string
	Here              bool
	None              bool
	First, Peak, Last dateCell
}

// mostIssued is how many forecasts the table of a story lists: with all of a
// long season the page would be heavy.
const mostIssued = 60

// story tells how the dates of a planting came to be and what became of them.
func (p *Pages) story(v *visit) error {
	year, err := seasonOf(v)
	if err != nil {
		return err
	}
	ctx, id, asked := v.Request().Context(), v.Param("planting"), v.QueryParam("forecast")
	varieties, err := p.Store.Varieties(ctx, v.farm.ID)
	if err != nil {
		return err
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	page := storyPage{Year: year, Season: seasonAddress(&v.farm, year, asked)}
	f, z, err := p.forecastOf(ctx, &v.farm, year, asked)
	if errors.Is(err, forecast.ErrForecastNotFound) && asked == "" {
		page.None = noForecast(&v.farm, year, today)
		return p.storyless(v, page, id, varieties)
	}
	if err != nil {
		return err
	}
	t := &storyTeller{seasonTeller{&v.farm, f, z, today, asked}, id}
	at := slices.IndexFunc(f.Plantings, func(d forecast.PlantingDates) bool { return d.Planting == id })
	if at < 0 {
		page.None = "The forecast as of the morning of " + DayYear(&v.farm, f.AsOf) + " does not tell of this planting: it bore no fruit that season, or was not in the book yet."
		return p.storyless(v, page, id, varieties)
	}
	bars := api.SeasonChart(v.farm, varieties, f).Bars
	page.Name, page.Block = bars[at].Variety, blockOf(bars[at])
	for _, k := range []int{at - 1, at + 1} {
		if 0 <= k && k < len(bars) {
			word := "Before: "
			if k > at {
				word = "After: "
			}
			page.Neighbours = append(page.Neighbours, pageLink{
				Text: word + bars[k].Variety + ", " + blockOf(bars[k]),
				Href: storyAddress(&v.farm, year, f.Plantings[k].Planting, asked),
			})
		}
	}
	if f.Hindcast {
		page.Hindcast = t.hindcast()
	}
	page.Facts = t.facts()
	t.dates(&page, f.Plantings[at], bars[at].NoForecast)

	sightings, err := p.Store.Sightings(ctx, v.farm.ID, &year, id)
	if err != nil {
		return err
	}
	t.seen(&page, sightings)
	issued, err := p.Issued.Issued(ctx, v.farm.ID, year, id)
	if err != nil {
		return err
	}
	had := slices.ContainsFunc(issued, func(z forecast.Issued) bool { return z.AsOf < f.AsOf && z.Stages != nil })
	page.Moved, page.Because = api.TellMoved(v.farm, f.Plantings[at], f.AsOf, had)
	chart := narrowingChart(&v.farm, page.Name+", "+page.Block, issued, sightings, f.AsOf)
	t.narrowing(&page, chart, issued)

	var x *forecast.Explanation
	var reproduced bool
	err = p.API.Placed(ctx, func() error {
		x, reproduced, err = p.Forecast.Explain(ctx, z, id)
		return err
	})
	switch {
	case err == nil:
		story, ok := api.StoryChart(v.farm, varieties, x, z.Hindcast)
		if ok {
			page.Chart = newPicture(fmt.Sprintf("/v1/farms/%s/forecasts/%s/plantings/%s.svg", v.farm.ID, z.ID, id), nil, story.Title()+": degree-days since bloom")
			page.Words = story.Description()
		}
		t.explain(&page, x)
		page.Origin = t.origin(reproduced)
	case errors.Is(err, forecast.ErrPlantingNotFound), errors.Is(err, forecast.ErrTooFewYears):
		// Another version of the program made it, by other rules.
		page.Origin = "How these dates came to be cannot be worked out again: version " + z.Program + " of the program made them."
	default:
		return err
	}
	return p.render(v, http.StatusOK, v, "story", page.Name+", "+page.Block+", season "+strconv.Itoa(year), page)
}

// storyless answers for a planting of which no forecast tells; it is in the
// book, or there is no such page.
func (p *Pages) storyless(v *visit, page storyPage, id string, varieties []forecast.Variety) error {
	d, err := p.Store.Planting(v.Request().Context(), v.farm.ID, id)
	if err != nil {
		return err
	}
	page.Name, page.Block = api.VarietyName(varieties, d.Variety), d.Block
	return p.render(v, http.StatusOK, v, "story", page.Name+", "+page.Block+", season "+strconv.Itoa(page.Year), page)
}

// narrowing draws how the ranges of a planting narrowed.
func (p *Pages) narrowing(v *visit) error {
	year, err := seasonOf(v)
	if err != nil {
		return err
	}
	ctx, id := v.Request().Context(), v.Param("planting")
	f, _, err := p.forecastOf(ctx, &v.farm, year, v.QueryParam("forecast"))
	if err != nil {
		return err
	}
	varieties, err := p.Store.Varieties(ctx, v.farm.ID)
	if err != nil {
		return err
	}
	sightings, err := p.Store.Sightings(ctx, v.farm.ID, &year, id)
	if err != nil {
		return err
	}
	issued, err := p.Issued.Issued(ctx, v.farm.ID, year, id)
	if err != nil {
		return err
	}
	name := id
	for i, d := range f.Plantings {
		if d.Planting == id {
			b := api.SeasonChart(v.farm, varieties, f).Bars[i]
			name = b.Variety + ", " + blockOf(b)
		}
	}
	return p.answerChart(v, narrowingChart(&v.farm, name, issued, sightings, f.AsOf))
}

// narrowingChart returns the chart of what was issued of a planting; here is the
// morning that is looked at.
func narrowingChart(farm *forecast.Farm, heading string, issued []forecast.Issued, sightings []forecast.Sighting, here weather.Date) charts.Narrowing {
	c := charts.Narrowing{Heading: heading, Marked: here.Time()}
	if farm.Units == forecast.US {
		c.Units = charts.US
	}
	for i, s := range []forecast.Stage{forecast.FirstRipe, forecast.Peak, forecast.LastPick} {
		k := charts.NarrowingStage{Stage: stageText(s)}
		for _, g := range sightings {
			if g.Stage == s && g.Seen {
				k.Seen = g.Date.Time()
			}
		}
		for _, z := range issued {
			if z.Stages == nil {
				continue
			}
			c.Hindcast = z.Hindcast
			r := [...]forecast.DateRange{z.Stages.FirstRipe, z.Stages.Peak, z.Stages.LastPick}[i]
			k.Issued = append(k.Issued, charts.IssuedRange{
				AsOf: z.AsOf.Time(), When: charts.Range{P10: r.P10.Time(), P50: r.P50.Time(), P90: r.P90.Time()},
			})
		}
		c.Stages = append(c.Stages, k)
	}
	return c
}

// stageText says a stage as it is said in the field.
func stageText(s forecast.Stage) string {
	switch s {
	case forecast.Bloom10:
		return "bloom"
	case forecast.BloomFull:
		return "full bloom"
	case forecast.FirstRipe:
		return "first ripe"
	case forecast.Peak:
		return "peak"
	case forecast.LastPick:
		return "last pick"
	}
	return s.String()
}

// storyTeller holds what a story is told from.
type storyTeller struct {
	seasonTeller
	planting string
}

// dates says when the stages came or will come.
func (t *storyTeller) dates(page *storyPage, d forecast.PlantingDates, none string) {
	if d.Bloom != nil {
		page.Dates = append(page.Dates, storyDate{"Bloom", t.bloom(*d.Bloom)})
	}
	if d.Stages == nil {
		page.NoDate = "No dates: " + cmp.Or(none, "it cannot be forecast yet") + "."
		return
	}
	for i, r := range []forecast.DateRange{d.Stages.FirstRipe, d.Stages.Peak, d.Stages.LastPick} {
		page.Dates = append(page.Dates, storyDate{capital(stageText(forecast.FirstRipe + forecast.Stage(i))), dateOf(t.farm, r)})
	}
	page.Window = api.TellWindow(d, t.f.AsOf)
}

// seen lists the looks of the season, by date.
func (t *storyTeller) seen(page *storyPage, sightings []forecast.Sighting) {
	sightings = slices.Clone(sightings)
	slices.SortStableFunc(sightings, func(a, b forecast.Sighting) int {
		return cmp.Or(cmp.Compare(a.Date, b.Date), cmp.Compare(a.Stage, b.Stage))
	})
	for _, s := range sightings {
		row := storySeen{Date: Day(t.farm, s.Date), What: capital(stageText(s.Stage)) + " seen", Note: s.Note}
		if !s.Seen {
			row.What = "Looked for " + stageText(s.Stage) + ": not yet"
		}
		if s.Date > t.f.AsOf {
			row.What += " (after this forecast)"
		}
		page.Seen = append(page.Seen, row)
	}
	if len(sightings) == 0 {
		page.NoSeen = "Nothing is entered for it in this season."
	}
}

// narrowing shows how the ranges went from forecast to forecast.
func (t *storyTeller) narrowing(page *storyPage, chart charts.Narrowing, issued []forecast.Issued) {
	if chart.Validate() != nil {
		return
	}
	page.Narrowing = newPicture(fmt.Sprintf("/f/%s/season/%d/planting/%s/narrowing.svg", t.farm.ID, t.f.Season, url.PathEscape(t.planting)),
		url.Values{"forecast": {t.z.ID}}, chart.Title()+": how the range narrowed")
	page.NarrowingWords = chart.Description()
	n := len(issued)
	shown := min(n, mostIssued)
	for k := range shown {
		z := issued[n-1]
		if shown > 1 {
			z = issued[n-1-k*(n-1)/(shown-1)]
		}
		row := storyIssued{Morning: Day(t.farm, z.AsOf), Href: storyAddress(t.farm, t.f.Season, t.planting, z.ID), Here: z.ID == t.z.ID, None: z.Stages == nil}
		if s := z.Stages; s != nil {
			row.First, row.Peak, row.Last = dateOf(t.farm, s.FirstRipe), dateOf(t.farm, s.Peak), dateOf(t.farm, s.LastPick)
		}
		page.Issued = append(page.Issued, row)
	}
	if shown < n {
		page.IssuedNote = fmt.Sprintf("%d of %d forecasts, evenly chosen.", shown, n)
	}
}

// origin says which forecast this is.
func (t *storyTeller) origin(reproduced bool) string {
	kind := "forecast"
	if t.z.Hindcast {
		kind = "hindcast"
	}
	text := "This is the " + kind + " " + t.z.ID + ", frozen on " + t.moment(t.z.MadeAt) + "."
	if reproduced {
		return text + " Worked out again, it is the same to the last byte."
	}
	return text + " Version " + t.z.Program + " of the program made it; worked out again it comes out otherwise, so figures that explain it may differ from those that were issued."
}

// explain says where the dates come from.
func (t *storyTeller) explain(page *storyPage, x *forecast.Explanation) {
	told := api.Telling{Farm: *t.farm, Of: x}
	page.Heat = told.Heat()
	observed, filled := 0, 0
	for _, d := range told.Counted() {
		if d.Source == forecast.DayObserved {
			observed++
		} else {
			filled++
		}
	}
	w := x.Weather
	for _, c := range []storyCount{
		{"days since bloom, observed", observed}, {"days since bloom, filled in", filled},
		{"days ahead, by the outlook", w.OutlookDays}, {"days ahead, by past years alone", w.ReplayedDays},
	} {
		if c.Count > 0 {
			page.Days = append(page.Days, c)
		}
	}
	page.NeedUnit, page.Needs = t.farm.HeatUnit(), told.Needs()
	page.Taught, page.Doubts, page.Notes = told.Taught(), told.Doubts(), told.Notes()
}
