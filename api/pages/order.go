package pages

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// addOrder adds the page of the plant order. What is tried stands in its address
// and nowhere else, so that it can be kept as a bookmark or sent to somebody.
func (p *Pages) addOrder() {
	p.get("/f/:farm/order", p.order)
	p.get("/f/:farm/order/list.svg", p.orderChart)
}

// orderPage is a planting list tried over all past weather.
type orderPage struct {
	Intro   string
	Seasons []option
	Unit    string // Of areas.
	Rows    []orderRow
	Adds    []orderAdd
	Faults  []orderFault
	None    string // Why nothing can be told; "" when it can.
	Plain   string // The address without changes; "" when there are none.

	Text      []string
	Chart     *picture // Nil when nothing ripens.
	Words     string   // The chart in words.
	Changed   bool
	Lines     []orderLine
	Between   []orderBetween
	Saturdays []orderDay
	Weeks     []orderDay
	Plantings []orderPlanting
	Most      string // Area that is ranked.
	Thin      bool   // The farm has a minimum of ripe fruit.
	Ranking   []orderRanked
	Notes     []string
	Cautions  []string
}

// orderRow is a planting that stands, to be changed.
type orderRow struct {
	Name, Block     string
	AreaName, Area  string
	ByName, DayName string
	By              []option
	Days            string
}

// orderAdd is what may be added.
type orderAdd struct {
	Number           int
	WhatName, AreaIn string
	What             []optionGroup
	Area             string
}

// orderFault is what is wrong with a field.
type orderFault struct{ Field, Label, Text string }

// orderLine is a figure of both lists.
type orderLine struct {
	Name, Before, After, Difference string
	Chance                          bool
}

// orderBetween is where gap days lie, in both lists.
type orderBetween struct{ Where, Before, After string }

// orderDay is a weight on a day, in both lists.
type orderDay struct {
	Day           string
	Before, After orderKg
}

// orderKg is a weight with its range; empty when there is nothing.
type orderKg struct{ P50, Range string }

// orderPlanting is a planting's dates in both lists.
type orderPlanting struct {
	Name, Block, Area, Before, After string
}

// orderRanked is what an area more would do.
type orderRanked struct {
	Name, Rests, First, Range, Gap, GapSingle, Thin, Longer string
	Chance                                                  bool
}

// orderKey names all that a design rests on.
type orderKey struct {
	farm, state, query string
	today              weather.Date
}

// ordersKept is how many designs are kept.
const ordersKept = 16

// leastAdds is how many lines for additions are shown at least.
const leastAdds = 3

// mostAdds is how many there may be.
const mostAdds = 20

// ordered is a design, or what is wrong with its changes.
type ordered struct {
	d      *forecast.Designed
	faults []error
}

// orderForm reads what is tried from the address.
type orderForm struct {
	v       *visit
	query   url.Values
	unit    unit
	page    *orderPage
	today   weather.Date
	season  int
	changes []forecast.Change
	fields  []string // By change: what its fields begin with, and end with.
	labels  map[string]string
}

// order shows what the planting list does, and what is tried of it.
func (p *Pages) order(v *visit) error {
	farm, status := &v.farm, http.StatusOK
	f, err := p.orderForm(v)
	if err != nil {
		return err
	}
	page := f.page
	if len(page.Faults) == 0 {
		x, err := p.tried(f)
		switch {
		case errors.Is(err, forecast.ErrTooFewYears), errors.Is(err, forecast.ErrNoBloom):
			_, title, text := p.explain(v.Request().Context(), err)
			page.None = "Nothing can be tried yet. " + title + ": " + strings.ToLower(text[:1]) + text[1:]
			if errors.Is(err, forecast.ErrNoBloom) {
				page.None = "Nothing can be tried yet: no bloom is on record, and a season that has not begun has nothing else to go by. Enter in the Book when plantings bloomed in past seasons."
			}
		case err != nil:
			return err
		case len(x.faults) > 0:
			f.refused(x.faults)
		default:
			page.tell(farm, x.d)
			if c := (api.DesignTelling{Farm: *farm, Designed: x.d}).Chart(); c.Validate() == nil {
				page.Chart, page.Words = newPicture(fmt.Sprintf("/f/%s/order/list.svg", farm.ID), f.query, c.Title()), c.Description()
			}
		}
	}
	if len(page.Faults) > 0 {
		status = http.StatusUnprocessableEntity
	}
	return p.render(v, status, v, "order", "The plant order", page)
}

// orderChart draws what is tried in its address.
func (p *Pages) orderChart(v *visit) error {
	f, err := p.orderForm(v)
	if err != nil {
		return err
	}
	if len(f.page.Faults) > 0 {
		return errNoPage
	}
	x, err := p.tried(f)
	if err != nil {
		return err
	}
	if len(x.faults) > 0 {
		return errNoPage
	}
	return p.answerChart(v, api.DesignTelling{Farm: v.farm, Designed: x.d}.Chart())
}

// orderForm reads what is tried; what a picture is asked for beside it is no part
// of that.
func (p *Pages) orderForm(v *visit) (*orderForm, error) {
	today, err := p.today(v)
	if err != nil {
		return nil, err
	}
	r, err := p.ground(v)
	if err != nil {
		return nil, err
	}
	farm := &v.farm
	f := &orderForm{
		v: v, query: maps.Clone(v.QueryParams()), unit: areaUnits(farm.Units)[0], labels: map[string]string{}, today: today,
		page: &orderPage{Unit: areaUnits(farm.Units)[0].name, Most: area(forecast.RankedM2, farm.Units), Thin: farm.ThinKgPerDay > 0},
	}
	f.query.Del("theme")
	f.query.Del("width")
	f.seasons(today)
	f.standing(r.plantings, r.varieties)
	f.additions(r.varieties)
	return f, nil
}

// tried works out what is tried, once for the page and its pictures.
func (p *Pages) tried(f *orderForm) (ordered, error) {
	ctx, farm := f.v.Request().Context(), f.v.farm.ID
	state, err := p.States.FarmState(ctx, farm)
	if err != nil {
		return ordered{}, err
	}
	key := orderKey{farm, state, f.query.Encode(), f.today}
	return p.kept.orders.Get(ctx, key, func(ctx context.Context) (ordered, bool, error) {
		var out ordered
		err := p.API.Placed(ctx, func() (err error) {
			out.d, out.faults, err = p.Forecast.Design(ctx, farm, &f.season, f.changes)
			return err
		})
		return out, true, err
	})
}

// seasons reads the season.
func (f *orderForm) seasons(today weather.Date) {
	now := forecast.SeasonOf(today, f.v.farm.Southern())
	f.season = forecast.OrderedSeason(today)
	f.page.Intro = fmt.Sprintf("Plants that are ordered now go into the ground in %d and bear first in %d.", f.season-1, f.season)
	if text := f.query.Get("season"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < now || n > now+5 {
			f.fault("season", "Season", fmt.Sprintf("must be from %d to %d", now, now+5))
		} else {
			f.season = n
		}
	}
	for y := now; y <= now+5; y++ {
		f.page.Seasons = append(f.page.Seasons, option{strconv.Itoa(y), strconv.Itoa(y), y == f.season})
	}
}

func (f *orderForm) fault(field, label, text string) {
	f.page.Faults = append(f.page.Faults, orderFault{field, label, text})
}

// measures are what can be done to a planting.
var measures = []struct {
	by   forecast.Measure
	text string
}{{"", "as it is"}, {forecast.RowCover, "row cover, earlier"}, {forecast.LateStraw, "late straw, later"}}

// measureWords are the measures in words.
func measureWords(by forecast.Measure) string { return strings.ReplaceAll(string(by), "_", " ") }

// standing reads what is changed of the plantings that bear in the season.
func (f *orderForm) standing(plantings []forecast.Planting, varieties []forecast.Variety) {
	first, _ := forecast.SeasonBounds(f.season, f.v.farm.Southern())
	for _, x := range plantings {
		if !x.Bears(f.season, first) {
			continue
		}
		name := varietyName(varieties, x.Variety)
		row := orderRow{
			Name: name, Block: x.Block, Area: brief(x.AreaM2 / f.unit.factor),
			AreaName: "area-" + x.ID, ByName: "by-" + x.ID, DayName: "days-" + x.ID,
		}
		label := name + ", " + x.Block
		f.labels[row.AreaName], f.labels[row.ByName], f.labels[row.DayName] = "Area of "+label, "Harvest of "+label, "Days of "+label
		if f.query.Has(row.AreaName) {
			f.resized(x, &row)
		}
		by := forecast.Measure(f.query.Get(row.ByName))
		row.Days = strings.TrimSpace(f.query.Get(row.DayName))
		for _, m := range measures {
			row.By = append(row.By, option{string(m.by), m.text, m.by == by})
		}
		if by != "" && row.Area != "0" {
			s := &forecast.Shifting{Planting: x.ID, By: by}
			if row.Days != "" {
				days, fault := readNumber(row.Days, f.v.farm.Units)
				if fault != "" {
					f.fault(row.DayName, f.labels[row.DayName], fault)
				}
				s.Days = &days
			}
			f.change(forecast.Change{Shift: s}, x.ID)
		}
		f.page.Rows = append(f.page.Rows, row)
	}
}

// resized reads the area of a planting: none gives it up, the one that was shown
// leaves it as it is.
func (f *orderForm) resized(x forecast.Planting, row *orderRow) {
	text := strings.TrimSpace(f.query.Get(row.AreaName))
	if text == row.Area {
		return
	}
	if row.Area = text; text == "" {
		row.Area = "0"
	}
	n, fault := readNumber(row.Area, f.v.farm.Units)
	switch {
	case fault != "":
		f.fault(row.AreaName, f.labels[row.AreaName], fault)
	case n == 0:
		row.Area = "0"
		f.change(forecast.Change{Drop: x.ID}, x.ID)
	default:
		f.change(forecast.Change{Resize: &forecast.Resizing{Planting: x.ID, AreaM2: n * f.unit.factor}}, x.ID)
	}
}

// change adds a change whose fields end with a name.
func (f *orderForm) change(c forecast.Change, name string) {
	f.changes, f.fields = append(f.changes, c), append(f.fields, name)
}

// Begin of the values of additions.
const (
	ofVariety = "variety:"
	ofClass   = "class:"
)

// additions reads what is added, and leaves a line free for more.
func (f *orderForm) additions(varieties []forecast.Variety) {
	lines := leastAdds
	for n := range mostAdds { // One in between may have been cleared.
		if f.query.Get(fmt.Sprintf("add-%d", n+1)) != "" || strings.TrimSpace(f.query.Get(fmt.Sprintf("add-area-%d", n+1))) != "" {
			lines = max(lines, n+2)
		}
	}
	for n := 1; n <= min(lines, mostAdds); n++ {
		x := orderAdd{Number: n, WhatName: fmt.Sprintf("add-%d", n), AreaIn: fmt.Sprintf("add-area-%d", n)}
		what := f.query.Get(x.WhatName)
		x.Area = strings.TrimSpace(f.query.Get(x.AreaIn))
		f.labels[x.WhatName], f.labels[x.AreaIn] = fmt.Sprintf("Addition %d", n), fmt.Sprintf("Area of addition %d", n)
		x.What = append(choices("", "nothing"), optionGroup{Name: "Your varieties"}, optionGroup{Name: "Any variety that ripens"})
		for _, v := range varieties {
			x.What[1].Options = append(x.What[1].Options, option{ofVariety + v.ID, v.Name, what == ofVariety+v.ID})
		}
		for c := forecast.Early; c <= forecast.VeryLate; c++ {
			value := ofClass + c.String()
			x.What[2].Options = append(x.What[2].Options, option{value, className[c], what == value})
		}
		f.page.Adds = append(f.page.Adds, x)
		if what == "" && x.Area == "" {
			continue
		}
		a := &forecast.Addition{}
		if id, ok := strings.CutPrefix(what, ofVariety); ok {
			a.Variety = id
		} else if class, err := forecast.ParseClass(strings.TrimPrefix(what, ofClass)); err == nil {
			a.Ripens = &class
		} else {
			f.fault(x.WhatName, f.labels[x.WhatName], "is to be chosen")
		}
		m2, fault := readNumber(x.Area, f.v.farm.Units)
		if fault != "" {
			f.fault(x.AreaIn, f.labels[x.AreaIn], fault)
		}
		a.AreaM2 = m2 * f.unit.factor
		f.change(forecast.Change{Add: a}, strconv.Itoa(n))
	}
}

var changeField = regexp.MustCompile(`^changes\[(\d+)\]\.?(.*)$`)

// refused puts the domain's faults beside their fields.
func (f *orderForm) refused(errs []error) {
	begin := map[string]string{
		"resize.area_m2": "area-", "resize.planting": "area-", "drop": "area-", "shift.planting": "by-", "shift.by": "by-", "shift.days": "days-",
		"add": "add-", "add.variety": "add-", "add.area_m2": "add-area-",
	}
	for _, err := range errs {
		e, ok := errors.AsType[*forecast.FieldError](err)
		if !ok {
			f.fault("season", "What is tried", err.Error())
			continue
		}
		field := e.Field
		if m := changeField.FindStringSubmatch(field); m != nil {
			if i, err := strconv.Atoi(m[1]); err == nil && i < len(f.fields) {
				field = begin[m[2]] + f.fields[i]
			}
		}
		label := f.labels[field]
		if label == "" {
			field, label = "season", "What is tried"
		}
		reason := e.Reason
		if strings.HasPrefix(field, "area-") || strings.HasPrefix(field, "add-area-") {
			reason = fmt.Sprintf("must be between %s and %s %s", brief(0.1/f.unit.factor), figure(1e7/f.unit.factor), f.unit.name)
		}
		f.fault(field, label, reason)
	}
}

// tell sets a design out.
func (page *orderPage) tell(farm *forecast.Farm, d *forecast.Designed) {
	t := api.DesignTelling{Farm: *farm, Designed: d}
	page.Text, page.Changed, page.Notes, page.Cautions = t.Outcome(), t.Changed(), d.Notes, d.Cautions
	if page.Changed {
		page.Plain = fmt.Sprintf("/f/%s/order?season=%d", farm.ID, d.Season)
	}
	b, a, diff := d.Before, d.After, d.Difference
	line := func(name, before, after string, e *forecast.Paired, tell func(forecast.Paired) string) {
		l := orderLine{Name: name, Before: before, After: after}
		if e != nil {
			if l.Difference = "none"; *e != (forecast.Paired{}) {
				l.Difference, l.Chance = tell(*e), e.ByChance()
			}
		}
		page.Lines = append(page.Lines, l)
	}
	line("Gap days in a season", meanDays(b.GapDays, b.GapRange), meanDays(a.GapDays, a.GapRange), &diff.GapDays, api.TellPaired)
	of := fmt.Sprintf(" of %d", len(d.Years))
	line("Past years with a gap", strconv.Itoa(b.GapYears)+of, strconv.Itoa(a.GapYears)+of, nil, nil)
	if page.Thin {
		line("Thin days, under "+weight(d.ThinKg, farm.Units), meanDays(b.ThinDays, b.ThinRange), meanDays(a.ThinDays, a.ThinRange), &diff.ThinDays, api.TellPaired)
	}
	line("Length of the season", lengthOf(b), lengthOf(a), &diff.SeasonDays, api.TellPaired)
	line("First picking day", endOf(farm, b, b.First), endOf(farm, a, a.First), nil, nil)
	line("Last picking day", endOf(farm, b, b.Last), endOf(farm, a, a.Last), nil, nil)
	line("Crop, as you expect it", weight(b.CropKg, farm.Units), weight(a.CropKg, farm.Units), &diff.CropKg, func(e forecast.Paired) string {
		if e.Mean < 0 {
			return "−" + weight(-e.Mean, farm.Units)
		}
		return "+" + weight(e.Mean, farm.Units)
	})
	page.between(b.Between, a.Between)
	page.Saturdays = daysOf(farm, b.Saturdays, a.Saturdays)
	page.Weeks = daysOf(farm, b.Weeks, a.Weeks)
	for _, p := range d.Plantings {
		x := orderPlanting{Name: p.Name, Block: p.Block, Area: area(p.BeforeM2, farm.Units), Before: datesOf(farm, p.Before), After: datesOf(farm, p.After)}
		switch {
		case p.BeforeM2 == 0:
			x.Area = area(p.AfterM2, farm.Units) + ", added"
		case p.AfterM2 == 0:
			x.Area += ", given up"
		case p.AfterM2 != p.BeforeM2:
			x.Area += ", then " + area(p.AfterM2, farm.Units)
		}
		if p.ShiftedBy != "" {
			x.Area += ", " + measureWords(p.ShiftedBy)
		}
		page.Plantings = append(page.Plantings, x)
	}
	for _, r := range d.Ranking {
		x := orderRanked{
			Name: r.Name, Rests: "own records", Gap: api.TellPaired(r.GapDays), Thin: api.TellPaired(r.ThinDays), Longer: "–", Chance: r.GapDays.ByChance(),
			GapSingle: fmt.Sprintf("single seasons %s to %s", api.Signed(r.GapDays.Season[0]), api.Signed(r.GapDays.Season[2])),
		}
		if r.Variety == "" { // A class is no name of the farm's.
			x.Name = capital(r.Name)
		}
		if !r.Records {
			x.Rests = "its class: a guess"
		}
		if r.GapDays == (forecast.Paired{}) {
			x.Gap, x.GapSingle, x.Chance = "none", "", false
		}
		if r.ThinDays == (forecast.Paired{}) {
			x.Thin = "none"
		}
		if r.Dates != nil {
			x.First, x.Range = Day(farm, r.Dates.First.P50), farm.Span(r.Dates.First.P10, r.Dates.First.P90)
		}
		if r.Longer >= 0.05 {
			x.Longer = api.DaysOf(r.Longer, "")
		}
		page.Ranking = append(page.Ranking, x)
	}
}

// between sets out where gap days lie.
func (page *orderPage) between(before, after []forecast.GapBetween) {
	name := func(g forecast.GapBetween) string {
		return fmt.Sprintf("After %s, before %s", g.After, g.Before)
	}
	days := func(gs []forecast.GapBetween, where string) string {
		for _, g := range gs {
			if name(g) == where {
				return fmt.Sprintf("%s, in %.0f %% of seasons", api.DaysOf(g.Days, ""), 100*g.Share)
			}
		}
		return "none"
	}
	var told []string
	for _, g := range slices.Concat(before, after) {
		if where := name(g); g.Days >= 0.05 && !slices.Contains(told, where) {
			told = append(told, where)
			page.Between = append(page.Between, orderBetween{where, days(before, where), days(after, where)})
		}
	}
}

// meanDays writes a mean number of days with its range.
func meanDays(mean float64, r forecast.DayCounts) string {
	if r.P10 == r.P90 && float64(r.P10) == mean {
		return strconv.Itoa(r.P10)
	}
	return fmt.Sprintf("%s (%d to %d)", api.Tenth(mean), r.P10, r.P90)
}

func lengthOf(o forecast.DesignOutcome) string {
	if o.SeasonMean == 0 {
		return "none"
	}
	return fmt.Sprintf("%d days (%d to %d)", o.SeasonDays.P50, o.SeasonDays.P10, o.SeasonDays.P90)
}

func endOf(farm *forecast.Farm, o forecast.DesignOutcome, e forecast.SpanEnd) string {
	if o.SeasonMean == 0 {
		return "none"
	}
	return Day(farm, e.P50) + " (" + farm.Span(e.P10, e.P90) + ")"
}

func datesOf(farm *forecast.Farm, d *forecast.DesignedDates) string {
	if d == nil {
		return "–"
	}
	return farm.Span(d.First.P50, d.Last.P50)
}

// daysOf puts weights of both lists side by side by their day.
func daysOf(farm *forecast.Farm, before, after []forecast.DesignKg) (out []orderDay) {
	var days []weather.Date
	for _, x := range slices.Concat(before, after) {
		days = append(days, x.Date)
	}
	slices.Sort(days)
	on := func(xs []forecast.DesignKg, d weather.Date) orderKg {
		i := slices.IndexFunc(xs, func(x forecast.DesignKg) bool { return x.Date == d })
		if i < 0 {
			return orderKg{"–", ""}
		}
		k := xs[i].Kg
		return orderKg{farm.Weight(k.P50), farm.Weight(k.P10) + " to " + farm.Weight(k.P90)}
	}
	for _, d := range slices.Compact(days) {
		out = append(out, orderDay{Day(farm, d), on(before, d), on(after, d)})
	}
	return out
}
