package pages

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

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
	Because []storyCause

	Narrowing      *picture
	NarrowingWords string
	Issued         []storyIssued
	IssuedNote     string

	Needs    []storyNeed
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

type storyCause struct{ Cause, Days string }

// storyIssued is a forecast of the planting as it was issued.
type storyIssued struct {
	Morning, Href     string
	Here              bool
	None              bool
	First, Peak, Last dateCell
}

// storyNeed is a row of the table of requirements.
type storyNeed struct {
	What  string
	Cells [3]string
	Total bool
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
	t.moved(&page, f.Plantings[at].Moved)

	sightings, err := p.Store.Sightings(ctx, v.farm.ID, &year, id)
	if err != nil {
		return err
	}
	t.seen(&page, sightings)
	issued, err := p.Issued.Issued(ctx, v.farm.ID, year, id)
	if err != nil {
		return err
	}
	chart := narrowingChart(&v.farm, page.Name+", "+page.Block, issued, sightings, f.AsOf)
	t.narrowing(&page, chart, issued)

	x, reproduced, err := p.Forecast.Explain(ctx, z, id)
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
	page.Name, page.Block = d.Variety, d.Block
	for _, k := range varieties {
		if k.ID == d.Variety {
			page.Name = k.Name
		}
	}
	return p.render(v, http.StatusOK, v, "story", page.Name+", "+page.Block+", season "+strconv.Itoa(page.Year), page)
}

// narrowing draws how the ranges of a planting narrowed.
func (p *Pages) narrowing(v *visit) error {
	year, err := seasonOf(v)
	if err != nil {
		return err
	}
	ctx, id := v.Request().Context(), v.Param("planting")
	opt := charts.Options{}
	switch v.QueryParam("theme") {
	case "", "light":
	case "dark":
		opt.Theme = charts.Dark
	default:
		return errNoPage
	}
	if w := v.QueryParam("width"); w != "" {
		if opt.Width, err = strconv.Atoi(w); err != nil || opt.Width == 0 {
			return errNoPage
		}
	}
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
	var out bytes.Buffer
	err = narrowingChart(&v.farm, name, issued, sightings, f.AsOf).WriteSVG(&out, opt)
	switch {
	case errors.Is(err, charts.ErrInvalidOptions):
		return errNoPage
	case errors.Is(err, charts.ErrInvalidChart):
		return forecast.ErrForecastNotFound // None that gives it dates.
	case err != nil:
		return err
	}
	return v.Blob(http.StatusOK, "image/svg+xml", out.Bytes())
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

// stageNamed says a stage by its name in a forecast.
func stageNamed(name string) string {
	s, err := forecast.ParseStage(name)
	if err != nil {
		return name
	}
	return stageText(s)
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
	if w := d.PickingWindowDays; w != nil {
		page.Window = "It is picked for " + count(w.P50, "day", "days")
		if w.P10 != w.P90 {
			page.Window += fmt.Sprintf(" (8 in 10: %d to %d)", w.P10, w.P90)
		}
		page.Window += "."
	}
}

// moved says what changed since the forecast before.
func (t *storyTeller) moved(page *storyPage, m *forecast.Moved) {
	if m == nil {
		page.Moved = "There are no earlier dates of this season to compare with."
		return
	}
	what := capital(stageNamed(m.Stage))
	since := "since the forecast of " + Day(t.farm, m.Since)
	if math.Abs(m.Days) < 0.05 {
		page.Moved = what + " has not moved " + since + "."
	} else {
		page.Moved = what + " has moved " + since + ": " + shift(m.Days) + "."
	}
	for _, c := range m.Because {
		page.Because = append(page.Because, storyCause{cmp.Or(moveCause[c.Cause], string(c.Cause)), shift(c.Days)})
	}
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
		return text + " Worked out again just now, it is the same to the last byte."
	}
	return text + " Version " + t.z.Program + " of the program made it; worked out again it comes out otherwise, so figures that explain it may differ from those that were issued."
}

// explain says where the dates come from.
func (t *storyTeller) explain(page *storyPage, x *forecast.Explanation) {
	page.Heat = t.heat(x)
	if w := x.Weather; len(x.Days)+len(x.Ahead) > 0 {
		for _, c := range []storyCount{
			{"days since bloom, observed", w.ObservedDays}, {"days since bloom, filled in", w.FilledDays},
			{"days ahead, by the outlook", w.OutlookDays}, {"days ahead, by past years alone", w.ReplayedDays},
		} {
			if c.Count > 0 {
				page.Days = append(page.Days, c)
			}
		}
	}
	page.NeedUnit = "°C·d"
	if t.farm.Units == forecast.US {
		page.NeedUnit = "°F·d"
	}
	page.Needs = t.needs(x)
	page.Taught = t.taught(x)
	page.Doubts = t.doubts(x)
	for _, n := range x.Notes {
		if n.Kind != forecast.NoteEstimate && n.Kind != forecast.NoteFullBloom { // Said above.
			page.Notes = append(page.Notes, n.Text)
		}
	}
}

// warmth writes degree-days as a whole number.
func (t *storyTeller) warmth(c float64) string {
	return heat(math.Round(t.perC()*c)/t.perC(), t.farm.Units)
}

// bare writes degree-days without their unit.
func (t *storyTeller) bare(c float64) string { return figure(math.Round(t.perC() * c)) }

func (t *storyTeller) perC() float64 {
	if t.farm.Units == forecast.US {
		return 9.0 / 5
	}
	return 1
}

// nextStage returns the stage that is to come next; nil: none.
func nextStage(x *forecast.Explanation) *forecast.StageReasons {
	at := 0
	for i, r := range x.Stages {
		if r.Date == nil || r.Date.Seen != nil {
			at = i + 1
		}
	}
	if at == len(x.Stages) {
		return nil
	}
	return &x.Stages[at]
}

// heat says how much warmth there was since bloom, and how much is missing.
func (t *storyTeller) heat(x *forecast.Explanation) []string {
	b := x.Bloom
	if b == nil {
		return nil
	}
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch {
	case b.From == forecast.BloomSighted:
		say("It bloomed on %s.", Day(t.farm, b.Date))
	case b.From == forecast.BloomFromFull:
		say("Only full bloom was entered; the first open flowers are reckoned back to %s.", Day(t.farm, b.Date))
	case b.P10 != nil && b.P90 != nil:
		say("Bloom is not entered; by the warmth of the spring it is on about %s (8 in 10: %s). Degree-days are counted from bloom on.",
			Day(t.farm, b.Date), rangeAround(t.farm, *b.P10, b.Date, *b.P90))
	default:
		say("Bloom is not entered; it is reckoned back from the fruit to about %s.", Day(t.farm, b.Date))
	}
	sum := x.DegreeDaysSinceBloom
	if sum != nil && len(x.Days) > 0 && x.WeatherThrough != nil {
		say("The %s since, through %s, brought %s.", count(len(x.Days), "day", "days"), Day(t.farm, *x.WeatherThrough), t.warmth(*sum))
	}
	if r := nextStage(x); r != nil && sum != nil {
		s := fmt.Sprintf("%s takes about %s from bloom (8 in 10: %s to %s)", capital(stageNamed(r.Stage)),
			t.warmth(r.Requirement.Mean), t.bare(r.Requirement.P10), t.bare(r.Requirement.P90))
		if left := r.Requirement.Mean - *sum; left > 0 {
			say("%s, so about %s are still to come.", s, t.warmth(left))
		} else {
			say("%s, and that is reached.", s)
		}
	}
	if pace := x.DegreeDaysPerDay; pace != nil && nextStage(x) != nil {
		say("A day brings about %s now.", t.warmth(*pace))
	}
	if len(x.Ahead) > 0 {
		s := fmt.Sprintf("For the days ahead the weather of %s is played on", count(x.Weather.PastYears, "past year", "past years"))
		if k := x.Weather.OutlookDays; k > 0 {
			s = fmt.Sprintf("For the first %s ahead there is an outlook; after it the weather of %s is played on",
				count(k, "day", "days"), count(x.Weather.PastYears, "past year", "past years"))
		}
		if tr := x.Weather.TrendCPerYr; tr != nil {
			s += fmt.Sprintf(", each shifted to the present by the trend of this place, %s a decade", t.degrees(10**tr))
		}
		say("%s.", s)
	}
	say("Degree-days are counted by %s.", t.method(x.Method))
	return out
}

// degrees writes a difference of temperatures with its sign.
func (t *storyTeller) degrees(c float64) string {
	unit := "°C"
	if t.farm.Units == forecast.US {
		unit = "°F"
	}
	return strings.Replace(fmt.Sprintf("%+.1f %s", c*t.perC(), unit), "-", "−", 1)
}

// method says how degree-days are counted.
func (t *storyTeller) method(n forecast.MethodNote) string {
	s := fmt.Sprintf("the %s method above %s", n.DegreeDays, temperature(n.BaseC, t.farm.Units))
	if n.UpperC != nil {
		s += fmt.Sprintf(", with a %s cutoff at %s", n.Cutoff, temperature(*n.UpperC, t.farm.Units))
	}
	return s
}

// needs is the table of what each stage takes and where that comes from. Figures
// are rounded as sums, so that what is shown adds up.
func (t *storyTeller) needs(x *forecast.Explanation) []storyNeed {
	if len(x.Stages) != 3 {
		return nil
	}
	at := func(r forecast.StageReasons, through int) int {
		log := r.Prior.Log
		for _, e := range r.Effects[:through] {
			log += e.Log
		}
		return int(math.Round(math.Exp(log) * t.perC()))
	}
	var out []storyNeed
	row := func(what string, total bool, cell func(forecast.StageReasons) string) {
		n := storyNeed{What: what, Total: total}
		for i, r := range x.Stages {
			n.Cells[i] = cell(r)
		}
		out = append(out, n)
	}
	first := x.Stages[0]
	from := "Usual for its class, " + strings.ReplaceAll(x.Ripens, "_", "-")
	if first.Prior.From == forecast.PriorOwn {
		from = "The farm's own figure"
	}
	row(from, false, func(r forecast.StageReasons) string { return figure(float64(at(r, 0))) })
	for i, e := range first.Effects {
		if !slices.ContainsFunc(x.Stages, func(r forecast.StageReasons) bool { return at(r, i+1) != at(r, i) }) {
			continue
		}
		row(taughtBy(e), false, func(r forecast.StageReasons) string {
			n := at(r, i+1) - at(r, i)
			if n == 0 {
				return "0"
			}
			return strings.Replace(fmt.Sprintf("%+d", n), "-", "−", 1)
		})
	}
	row("Now", true, func(r forecast.StageReasons) string { return figure(float64(at(r, len(r.Effects)))) })
	row("8 in 10 within", false, func(r forecast.StageReasons) string {
		return t.bare(r.Requirement.P10) + " to " + t.bare(r.Requirement.P90)
	})
	return out
}

// taughtBy says who taught an effect.
func taughtBy(e forecast.Effect) string {
	past := ", from " + count(e.Seasons, "past season", "past seasons")
	switch e.Effect {
	case forecast.EffectFarm:
		return "This farm" + past
	case forecast.EffectVariety:
		return "This variety" + past
	case forecast.EffectPlanting:
		return "This planting" + past
	case forecast.EffectSeason:
		return "This season, in all plantings"
	case forecast.EffectOwn:
		return "This season, in this planting"
	case forecast.EffectLasting:
		return "What this season adds to the past"
	}
	return "What has not come yet, and chance"
}

// taught says what the season has taught so far.
func (t *storyTeller) taught(x *forecast.Explanation) []string {
	if len(x.Stages) == 0 {
		return nil
	}
	if len(x.ThisSeason) == 0 {
		return []string{"No ripe fruit has been seen this season, so it has taught nothing yet."}
	}
	plantings := map[string]bool{}
	var sum float64
	var own []string
	for _, s := range x.ThisSeason {
		plantings[s.Planting] = true
		sum += s.Pct
		if s.Planting == x.Planting {
			own = append(own, fmt.Sprintf("%s on %s at %s, %s", stageNamed(s.Stage), Day(t.farm, s.Date), t.warmth(s.DegreeDays), heatThan(s.Pct)))
		}
	}
	out := []string{fmt.Sprintf("So far %s of %s seen, on the whole at %s.", count(len(x.ThisSeason), "ripe stage", "ripe stages"),
		count(len(plantings), "planting was", "plantings were"), heatThan(sum/float64(len(x.ThisSeason))))}
	if len(own) > 0 {
		out = append(out, "Of this planting itself: "+strings.Join(own, "; ")+".")
	}
	if r := nextStage(x); r != nil {
		i := slices.IndexFunc(r.Effects, func(e forecast.Effect) bool { return e.Effect == forecast.EffectSeason })
		if i >= 0 && r.Effects[i].Days != nil && math.Abs(*r.Effects[i].Days) >= 0.05 {
			out = append(out, fmt.Sprintf("What all plantings have in common this season puts %s of this one about %s.", stageNamed(r.Stage), shift(*r.Effects[i].Days)))
		}
	}
	return out
}

// heatThan says how a heat compares with what was expected.
func heatThan(pct float64) string {
	switch n := math.Round(math.Abs(pct)); {
	case n == 0:
		return "the heat that past seasons made expect"
	case pct < 0:
		return fmt.Sprintf("%.0f %% less heat than past seasons made expect", n)
	default:
		return fmt.Sprintf("%.0f %% more heat than past seasons made expect", n)
	}
}

// doubts says why there is a range.
func (t *storyTeller) doubts(x *forecast.Explanation) []string {
	r := nextStage(x)
	if r == nil {
		return nil
	}
	from := "what is usual, until there are four past seasons"
	if r.Spread.Estimated {
		from = "read from " + count(r.Spread.Seasons, "past season", "past seasons") + " here"
	}
	out := []string{fmt.Sprintf("What %s takes differs by about %.0f %% from season to season, and by %.0f %% between plantings within one (%s); the rest is the weather ahead.",
		stageNamed(r.Stage), r.Spread.SeasonSDPct, r.Spread.OwnSDPct, from)}
	if f := r.Spread.Widened; f > 1 {
		out = append(out, fmt.Sprintf("This season is unlike those on record, so both are taken %.1f times as large.", f))
	}
	for _, s := range x.Stages {
		if n := s.NotYet; n != nil {
			text := fmt.Sprintf("Somebody looked for %s on %s and it had not come", stageNamed(s.Stage), Day(t.farm, n.Date))
			if n.DegreeDays != nil {
				text += ", so it takes more than " + t.warmth(*n.DegreeDays)
			}
			out = append(out, text+".")
		}
	}
	if r.Entered != nil {
		out = append(out, r.Entered.Text)
	}
	return out
}
