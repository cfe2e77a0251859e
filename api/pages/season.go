package pages

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"ripetide/api"
	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

// seasonPage is a season as one forecast saw it. All of it is decided here; the
// template only sets it out.
type seasonPage struct {
	Year      int
	None      string // Why there is nothing to show; "" when there is a forecast.
	Hindcast  string // What a hindcast is; "" for a forecast.
	Other     string // That it is not the newest of its season; "" when it is.
	Newest    string // Address of the newest.
	Facts     []string
	Chart     *picture
	Words     string // All that the chart shows.
	Caption   string // Of the table.
	Rows      []seasonRow
	Lacks     []seasonLack
	PastYears bool // Some tells of past years.
	NoLacks   string
	Notes     []string
	Issued    []issuedChoice // Forecasts of the season, the newest first.
	Earlier   *pageLink      // Those of the mornings before and after.
	Later     *pageLink
	Years     []pageLink // Seasons with forecasts, the newest first.
	Back      string     // Where it is looked back at; "" while nothing ripe can be.
}

// pageLink leads to another page.
type pageLink struct {
	Text, Href string
	Here       bool
}

// seasonRow is a planting.
type seasonRow struct {
	Number            int // As in the chart.
	Name, Block, Href string
	Bloom             dateCell
	First, Peak, Last dateCell
	Days, DaysRange   string // Of the picking window.
	None              string // Why there are no dates.
}

// dateCell is a date in a table. A date without a range is sure.
type dateCell struct {
	Date  string
	Range string // Between which 8 in 10 lie; "" for none.
	How   string // "seen", or how it was reckoned; "" for a forecast.
}

// seasonLack is a gap or a thin stretch.
type seasonLack struct{ What, Days, Chance, Between, Years string }

// issuedChoice is a forecast to choose.
type issuedChoice struct {
	ID, Text string
	Chosen   bool
}

// picture is a chart in all its sizes and both themes.
type picture struct {
	Sources []pictureSource // The first whose condition holds is shown.
	Src     string          // Where none does.
	Wide    string          // The condition of a window from which the wide one goes on paper.
	Print   string          // The wide light one.
	Alt     string
}

type pictureSource struct{ Media, Src string }

// pictureWidths are the widths of charts, px, and from which width of the
// window on each is shown. A chart changes its layout at 960.
var pictureWidths = []struct{ from, width int }{{1200, 1184}, {900, 960}, {560, 640}, {0, 390}}

// newPicture returns the chart at an address. On paper there is a picture of its
// own, light always, for browsers do not choose another source when they print.
// In a light window it is most often the one that is shown, so that nothing more
// is fetched.
func newPicture(address string, query url.Values, alt string) *picture {
	src := func(width int, theme string) string {
		q := url.Values{"theme": {theme}, "width": {strconv.Itoa(width)}}
		maps.Copy(q, query)
		return address + "?" + q.Encode()
	}
	p := &picture{Alt: alt, Wide: "(min-width: 900px)", Print: src(pictureWidths[0].width, "light")}
	for _, w := range pictureWidths {
		for _, theme := range []string{"dark", "light"} {
			var is []string
			if w.from > 0 {
				is = append(is, fmt.Sprintf("(min-width: %dpx)", w.from))
			}
			if theme == "dark" {
				is = append(is, "(prefers-color-scheme: dark)")
			}
			if len(is) == 0 {
				p.Src = src(w.width, theme)
				continue
			}
			p.Sources = append(p.Sources, pictureSource{strings.Join(is, " and "), src(w.width, theme)})
		}
	}
	return p
}

// seasonOf reads the year of a page's address; what cannot be a year is no
// page.
func seasonOf(v *visit) (int, error) {
	year, err := strconv.Atoi(v.Param("year"))
	if err != nil || year < 1700 || 2400 < year {
		return 0, errNoPage
	}
	return year, nil
}

// season shows a season: the chart, the same as a table and in words, and the
// way to its other forecasts and to other seasons.
func (p *Pages) season(v *visit) error {
	year, err := seasonOf(v)
	if err != nil {
		return err
	}
	ctx := v.Request().Context()
	all, err := p.Store.Forecasts(ctx, v.farm.ID, nil)
	if err != nil {
		return err
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	title := "Season " + strconv.Itoa(year)
	f, z, err := p.forecastOf(ctx, &v.farm, year, v.QueryParam("forecast"))
	switch {
	case errors.Is(err, forecast.ErrForecastNotFound) && v.QueryParam("forecast") == "":
		return p.render(v, http.StatusOK, v, "season", title, seasonPage{
			Year: year, None: noForecast(&v.farm, year, today), Years: seasonYears(&v.farm, all, year),
		})
	case err != nil:
		return err
	}
	varieties, err := p.Store.Varieties(ctx, v.farm.ID)
	if err != nil {
		return err
	}
	t := &seasonTeller{&v.farm, f, z, today, v.QueryParam("forecast")}
	return p.render(v, http.StatusOK, v, "season", title, t.season(varieties, all))
}

// season returns the page of a season; all are the frozen forecasts of the farm,
// the latest first.
func (t *seasonTeller) season(varieties []forecast.Variety, all []forecast.Frozen) seasonPage {
	page := seasonPage{Year: t.f.Season, Years: seasonYears(t.farm, all, t.f.Season)}
	t.tell(&page, api.SeasonChart(*t.farm, varieties, t.f))
	t.choices(&page, all)
	if s := t.f.SeasonSpan; s != nil && s.First.P50 < t.today {
		page.Back = reviewAddress(t.farm, t.f.Season)
	}
	return page
}

// forecastOf returns the forecast of a season that is meant by id, as the season
// chart chooses it.
func (p *Pages) forecastOf(ctx context.Context, farm *forecast.Farm, year int, id string) (*forecast.Forecast, forecast.Frozen, error) {
	z, err := api.ForecastOfSeason(ctx, p.Store, farm.ID, year, id)
	if err != nil {
		return nil, z, err
	}
	f, err := p.Forecast.Decode(ctx, z)
	return f, z, err
}

// noForecast says that a season has none.
func noForecast(farm *forecast.Farm, year int, today weather.Date) string {
	switch now := forecast.SeasonOf(today, farm.Southern()); {
	case year > now:
		return fmt.Sprintf("Season %d has not begun: there is no forecast of it.", year)
	case year < now:
		return fmt.Sprintf("No forecast of season %d was kept, so there is nothing to show.", year)
	}
	return fmt.Sprintf("There is no forecast of season %d yet.", year)
}

// seasonYears are the seasons with forecasts, and the one that is looked at.
func seasonYears(farm *forecast.Farm, all []forecast.Frozen, here int) []pageLink {
	real := map[int]bool{} // Seasons; false: of which there are hindcasts only.
	for _, z := range all {
		real[z.Season] = real[z.Season] || !z.Hindcast
	}
	if _, known := real[here]; !known {
		real[here] = true
	}
	years := make([]int, 0, len(real))
	for y := range real {
		years = append(years, y)
	}
	slices.SortFunc(years, func(a, b int) int { return b - a })
	var out []pageLink
	for _, y := range years {
		l := pageLink{Text: strconv.Itoa(y), Href: seasonAddress(farm, y, ""), Here: y == here}
		if !real[y] {
			l.Text += " (hindcast)"
		}
		out = append(out, l)
	}
	return out
}

// seasonAddress is where a season is shown, by the forecast id or, with "", by
// the newest.
func seasonAddress(farm *forecast.Farm, year int, id string) string {
	return fmt.Sprintf("/f/%s/season/%d%s", farm.ID, year, chosen(id))
}

// storyAddress is where a planting's story is told.
func storyAddress(farm *forecast.Farm, year int, planting, id string) string {
	return fmt.Sprintf("/f/%s/season/%d/planting/%s%s", farm.ID, year, planting, chosen(id))
}

func chosen(id string) string {
	if id == "" {
		return ""
	}
	return "?forecast=" + url.QueryEscape(id)
}

// seasonTeller holds what the pages of a season are told from.
type seasonTeller struct {
	farm  *forecast.Farm
	f     *forecast.Forecast
	z     forecast.Frozen
	today weather.Date
	asked string // Forecast that the visitor chose; "" for the newest.
}

// tell fills the page with what the forecast says. Names and dates come from the
// chart that is drawn, so that all agree.
func (t *seasonTeller) tell(page *seasonPage, chart charts.Season) {
	if t.f.Hindcast {
		page.Hindcast = t.hindcast()
	}
	page.Facts = t.facts()
	page.Words = chart.Description()
	page.Chart = newPicture(fmt.Sprintf("/v1/farms/%s/seasons/%d/overlap.svg", t.farm.ID, t.f.Season),
		url.Values{"forecast": {t.z.ID}}, chart.Title())
	page.Caption = "Dates of season " + strconv.Itoa(t.f.Season) + " as of the morning of " + DayYear(t.farm, t.f.AsOf) +
		"; in brackets the days between which 8 in 10 lie"
	ranged := false
	names := map[string]string{}
	for i, b := range chart.Bars {
		d := t.f.Plantings[i]
		r := seasonRow{Number: i + 1, Name: b.Variety, Block: blockOf(b), Href: storyAddress(t.farm, t.f.Season, d.Planting, t.asked), None: b.NoForecast}
		names[d.Planting] = r.Name + " (" + r.Block + ")"
		if d.Bloom != nil {
			r.Bloom = t.bloom(*d.Bloom)
		}
		if s := d.Stages; s != nil {
			r.First, r.Peak, r.Last = dateOf(t.farm, s.FirstRipe), dateOf(t.farm, s.Peak), dateOf(t.farm, s.LastPick)
		}
		if w := d.PickingWindowDays; w != nil {
			r.Days = count(w.P50, "day", "days")
			if w.P10 != w.P90 {
				r.DaysRange = fmt.Sprintf("%d to %d", w.P10, w.P90)
			}
		}
		ranged = ranged || r.DaysRange != "" || slices.ContainsFunc([]dateCell{r.Bloom, r.First, r.Peak, r.Last}, func(c dateCell) bool { return c.Range != "" })
		page.Rows = append(page.Rows, r)
	}
	if !ranged { // All of it was seen.
		page.Caption, _, _ = strings.Cut(page.Caption, ";")
	}
	for _, g := range t.f.Gaps {
		l := t.lack(g, names)
		page.Lacks = append(page.Lacks, l)
		page.PastYears = page.PastYears || l.Years != ""
	}
	switch {
	case len(t.f.Plantings) == 0:
		page.NoLacks = "No planting bears this season."
	case t.f.SeasonSpan == nil:
		page.NoLacks = "Too early to say: no planting has dates yet."
	case len(page.Lacks) == 0:
		page.NoLacks = "No gap and no thin stretch."
	}
	page.Notes = t.notes(names)
}

// blockOf names where a planting stands, and itself where two of a variety stand
// in one block.
func blockOf(b charts.Bar) string {
	if b.Planting != "" {
		return b.Block + ", " + b.Planting
	}
	return b.Block
}

// hindcast says what a hindcast is and when this one was made.
func (t *seasonTeller) hindcast() string {
	return "Made afterwards, on " + t.moment(t.z.MadeAt) + ", from what was on record and dated up to the morning of " +
		DayYear(t.farm, t.f.AsOf) + ". Nobody had it then."
}

// facts say what the forecast rests on and how old that is.
func (t *seasonTeller) facts() []string {
	out := []string{"as of the morning of " + DayYear(t.farm, t.f.AsOf)}
	if t.f.Season == forecast.SeasonOf(t.today, t.farm.Southern()) {
		switch n := int(t.today - t.f.AsOf); {
		case n == 0:
			out[0] += ", today"
		case n > 0:
			out[0] += ", " + count(n, "day", "days") + " ago"
		}
	}
	switch w := t.f.WeatherThrough; {
	case w == nil:
		out = append(out, "no weather observed")
	case *w < t.f.AsOf-1:
		out = append(out, "weather observed through "+Day(t.farm, *w)+", "+count(int(t.f.AsOf-1-*w), "day", "days")+" missing")
	default:
		out = append(out, "weather observed through "+Day(t.farm, *w))
	}
	if o := t.f.OutlookIssuedAt; o == nil {
		out = append(out, "no outlook")
	} else {
		out = append(out, "outlook of "+t.moment(*o)+", "+t.outlookAge(*o))
	}
	if s := t.f.SeasonSpan; s != nil && s.Last.P90 < t.f.AsOf {
		return append(out, "the season was over")
	}
	if n := t.f.Method.Traces; n > 0 {
		out = append(out, "days ahead by "+count(n, "past year", "past years")+" of weather")
	}
	return append(out, "estimate: walk the field")
}

// outlookAge says how old an outlook was at half past five on the morning of the
// forecast, or when that was made, if it was made on that day.
func (t *seasonTeller) outlookAge(issued time.Time) string {
	at := t.z.MadeAt
	if t.f.Hindcast {
		y, m, d := t.f.AsOf.Civil()
		at = time.Date(y, m, d, 5, 30, 0, 0, t.zone())
	}
	n := int(at.Sub(issued).Hours())
	switch {
	case n < 1:
		return "fresh then"
	case n < 48:
		return count(n, "hour", "hours") + " old then"
	}
	return count(n/24, "day", "days") + " old then"
}

func (t *seasonTeller) zone() *time.Location {
	if zone, err := t.farm.Location(); err == nil {
		return zone
	}
	return time.UTC
}

// moment writes an instant at the farm, with the year.
func (t *seasonTeller) moment(at time.Time) string {
	at = at.In(t.zone())
	clock := "15:04"
	if t.farm.Units == forecast.US {
		clock = "3:04 pm"
	}
	return DayYear(t.farm, weather.DateIn(at)) + " " + at.Format(clock)
}

// bloom says a planting's bloom.
func (t *seasonTeller) bloom(b forecast.Bloom) dateCell {
	c := dateCell{Date: Day(t.farm, b.Date)}
	switch {
	case b.From == forecast.BloomSighted:
		c.How = "seen"
	case b.From == forecast.BloomFromFull:
		c.How = "reckoned from full bloom"
	case b.P10 != nil && b.P90 != nil && *b.P10 < *b.P90:
		c.Range = t.farm.Span(*b.P10, *b.P90)
	case b.P10 == nil:
		c.How = "reckoned from the fruit"
	}
	return c
}

// dateOf says the date of a stage: "Tue 5 Jun", "Mon 4 to Fri 8 Jun".
func dateOf(farm *forecast.Farm, r forecast.DateRange) dateCell {
	if r.Seen != nil {
		return dateCell{Date: Day(farm, *r.Seen), How: "seen"}
	}
	c := dateCell{Date: Day(farm, r.P50)}
	if r.P10 < r.P90 {
		c.Range = farm.Span(r.P10, r.P90)
	}
	return c
}

// lack says a gap or thin stretch.
func (t *seasonTeller) lack(g forecast.Gap, names map[string]string) seasonLack {
	l := seasonLack{What: "Thin", Days: t.farm.Span(g.From, g.To), Chance: charts.Chance(g.Probability)}
	if g.Kind == forecast.KindGap {
		l.What = "Nothing ripe"
	}
	var near []string
	if g.After != nil {
		near = append(near, "after "+cmp.Or(names[*g.After], *g.After))
	}
	if g.Before != nil {
		near = append(near, "before "+cmp.Or(names[*g.Before], *g.Before))
	}
	l.Between = strings.Join(near, ", ")
	if api.WasSo(g, t.f.AsOf) {
		l.Chance = "it was so"
	} else if n := t.f.Method.Traces; n > 0 {
		l.Years = fmt.Sprintf("%d of %d", g.PastYears, n)
	}
	return l
}

// notes are those of the forecast, but for the estimate, which is said above.
func (t *seasonTeller) notes(names map[string]string) []string {
	var out []string
	for _, n := range t.f.Notes {
		switch {
		case n.Kind == forecast.NoteEstimate || n.Kind == forecast.NoteNoPlantings:
		case n.Planting != "":
			out = append(out, cmp.Or(names[n.Planting], n.Planting)+": "+n.Text)
		default:
			out = append(out, n.Text)
		}
	}
	return out
}

// choices lists the forecasts of the season, the newest first, and tells whether
// this is the newest of them.
func (t *seasonTeller) choices(page *seasonPage, all []forecast.Frozen) {
	all = slices.DeleteFunc(slices.Clone(all), func(z forecast.Frozen) bool { return z.Season != t.f.Season })
	type morning struct {
		asOf     weather.Date
		hindcast bool
	}
	made := map[morning]int{}
	for _, z := range all {
		made[morning{z.AsOf, z.Hindcast}]++
	}
	name := func(z forecast.Frozen) string {
		text := Day(t.farm, z.AsOf)
		if z.AsOf.Year() != z.Season {
			text = DayYear(t.farm, z.AsOf)
		}
		if made[morning{z.AsOf, z.Hindcast}] > 1 {
			text += ", made " + t.moment(z.MadeAt)
		}
		if z.Hindcast {
			text += " (hindcast)"
		}
		return text
	}
	here := -1
	for i, z := range all {
		if z.ID == t.z.ID {
			here = i
		}
		page.Issued = append(page.Issued, issuedChoice{z.ID, name(z), z.ID == t.z.ID})
	}
	if here < 0 {
		return
	}
	link := func(i int) *pageLink {
		return &pageLink{Text: name(all[i]), Href: seasonAddress(t.farm, t.f.Season, all[i].ID)}
	}
	if here+1 < len(all) {
		page.Earlier = link(here + 1)
	}
	if here > 0 {
		page.Later = link(here - 1)
	}
	newest := newestOf(all)
	if newest.ID != t.z.ID {
		page.Other = "This is not the newest forecast of the season, but one as it was issued. The newest is of " + name(newest) + "."
		if t.z.Hindcast {
			page.Other = "What the farm was told in this season is another: the newest forecast is of " + name(newest) + "."
			if newest.Hindcast {
				page.Other = "The newest hindcast of the season is of " + name(newest) + "."
			}
		}
		page.Newest = seasonAddress(t.farm, t.f.Season, "")
	}
}

// newestOf returns what a season shows unless another is asked for; all come the
// latest first.
func newestOf(all []forecast.Frozen) forecast.Frozen {
	return all[max(slices.IndexFunc(all, func(z forecast.Frozen) bool { return !z.Hindcast }), 0)]
}
