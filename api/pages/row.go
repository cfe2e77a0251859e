package pages

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// rowPage is the list of plantings, or the page of one of them.
type rowPage struct {
	Blocks   []rowBlock
	NoDates  string // Why nothing is expected of the list; "" if it is.
	Planting *rowPlanting
}

type rowBlock struct {
	Name   string
	Closed string // "Closed until …", after spraying; "" when it is open.
	Items  []rowItem
}

type rowItem struct {
	ID, Name string
	Next     string // "First ripe Fri 8 Jun to Wed 13 Jun".
	Beads    []bead
	Seen     string // The beads in words.

	block string
	due   weather.Date // When the next stage is expected; far if it is not.
}

// bead is a stage on a planting's wire.
type bead struct{ Class string }

// rowPlanting is what can be said of one planting, and what was.
type rowPlanting struct {
	ID, Name, Block string
	Units           forecast.Units
	From            string // First day of the season.
	Idle            string // Why it bears nothing this season; "" if it does.
	Expected        string // Of the stage that leads.
	Beads           []bead
	Seen            string
	Lead            *stageCard // The stage to look for now; nil when all were seen.
	Others          []stageCard
	Picked          bool     // Fruit is ripe, so picking comes before the other stages.
	Shut            string   // "Closed until …", after spraying; "" when its block is open.
	Closed          []string // That its block is closed after spraying, and what falls into that.
	Picking         weightForm
	Frost           frostForm
	Record          []rowRecord
	Done            string // What was just recorded.
	Today           rowDay
	Yesterday       rowDay
}

type rowDay struct{ ISO, Words string }

// stageCard is one stage with its buttons.
type stageCard struct {
	Stage  string // As the API calls it.
	Name   string
	Means  string // In one sentence.
	On     string // "seen Tue 8 May", or "".
	Today  rowDay
	Before rowDay // Yesterday.
	Date   string // In the field for another date.
	Fault  string
	Opened bool   // The other dates are shown.
	Plant  string // ID of the planting.
}

type weightForm struct {
	Unit      string  // "kg" or "lb".
	KgPerUnit float64 // To send.
	Amount    string
	Date      string
	Left      string
	Fault     string
	Today     string
}

type frostForm struct {
	Tenths []int
	Chosen int
	Date   string
	Fault  string
	Today  string
	Effect *frostEffect // What it would change; nil: nobody has looked.
}

// rowRecord is a line of what is on record this season.
type rowRecord struct {
	What, When string
	Key        string // Says which entry would replace it.
	Body       string // JSON, as the API takes it.
	Path       string // Of the API, to take it back.
	Undo       string // Of the form, to take it back.
	Warn       string // That it falls into an interval after spraying.

	day    weather.Date
	picked bool // Fruit was picked.
}

// rowStages are the stages as people in the row call them.
var rowStages = [...]struct{ name, title, means string }{
	forecast.Bloom10:   {"bloom", "Bloom: 1 plant in 10 open", "At least one plant in ten has an open flower. Degree-days are counted from this day."},
	forecast.BloomFull: {"full bloom", "Full bloom", "Most of the flowers are open."},
	forecast.FirstRipe: {"first ripe", "First ripe", "About one berry in twenty is ripe: enough for a first light picking."},
	forecast.Peak:      {"peak", "Peak", "The day with the most ripe fruit of this planting."},
	forecast.LastPick:  {"last pick", "Last pick", "About nineteen berries in twenty have ripened; what is left is scattered."},
}

// beyond is later than any date: nothing is expected.
const beyond = weather.Date(math.MaxInt32)

// fullBloomLeads is for how many days after bloom full bloom is still worth
// looking for; it comes a week or so after it.
const fullBloomLeads = 14

// row shows the plantings to choose from, or one of them.
func (p *Pages) row(v *visit) error {
	if id := v.QueryParam("planting"); id != "" {
		pl, err := p.rowPlanting(v, id)
		if err != nil {
			return err
		}
		pl.Done = pl.done(v.QueryParam("done"))
		return p.renderRow(v, http.StatusOK, pl)
	}
	page, err := p.rowList(v)
	if err != nil {
		return err
	}
	return p.render(v, http.StatusOK, v, "row", "In the row", page)
}

func (p *Pages) renderRow(v *visit, status int, pl *rowPlanting) error {
	return p.render(v, status, v, "row", pl.Name+", "+pl.Block, rowPage{Planting: pl})
}

// expected returns what the latest forecast of a season says of each planting;
// nothing if there is none.
func (p *Pages) expected(ctx context.Context, farm string, season int) (map[string]forecast.PlantingDates, error) {
	z, err := p.Store.LatestOfSeason(ctx, farm, season)
	if errors.Is(err, forecast.ErrForecastNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	f, err := p.Forecast.Decode(ctx, z)
	if err != nil {
		return nil, err
	}
	out := map[string]forecast.PlantingDates{}
	for _, x := range f.Plantings {
		out[x.Planting] = x
	}
	return out, nil
}

// seenStages is when each stage of a season was seen.
type seenStages map[forecast.Stage]weather.Date

func seenOf(ss []forecast.Sighting) map[string]seenStages {
	out := map[string]seenStages{}
	for _, s := range ss {
		if !s.Seen {
			continue
		}
		if out[s.Planting] == nil {
			out[s.Planting] = seenStages{}
		}
		out[s.Planting][s.Stage] = s.Date
	}
	return out
}

// next returns the first stage after all that were seen; false when none is
// left.
func (s seenStages) next() (forecast.Stage, bool) {
	n := forecast.Bloom10
	for x := range s {
		n = max(n, x+1)
	}
	return n, n <= forecast.LastPick
}

// beads returns the wire of the five stages, and the same in words.
func (s seenStages) beads() ([]bead, string) {
	next, ok := s.next()
	var out []bead
	var seen []string
	for stage := forecast.Bloom10; stage <= forecast.LastPick; stage++ {
		class := ""
		if _, was := s[stage]; was {
			class = "seen"
			seen = append(seen, rowStages[stage].name)
		} else if ok && stage == next {
			class = "next"
		}
		out = append(out, bead{class})
	}
	if len(seen) == 0 {
		return out, "nothing seen yet"
	}
	return out, "seen: " + strings.Join(seen, ", ")
}

// stageDate returns when a stage is expected and its range; false if nothing is
// said of it.
func stageDate(x forecast.PlantingDates, stage forecast.Stage) (d forecast.DateRange, ok bool) {
	switch {
	case stage == forecast.Bloom10 && x.Bloom != nil && x.Bloom.P10 != nil && x.Bloom.P90 != nil:
		return forecast.DateRange{P10: *x.Bloom.P10, P50: x.Bloom.Date, P90: *x.Bloom.P90}, true
	case x.Stages == nil:
		return d, false
	case stage == forecast.FirstRipe:
		return x.Stages.FirstRipe, true
	case stage == forecast.Peak:
		return x.Stages.Peak, true
	case stage == forecast.LastPick:
		return x.Stages.LastPick, true
	}
	return d, false
}

// lead returns the stage to look for now. Full bloom that nobody wrote down
// gives way to first ripe after a while, for it matters less.
func (s seenStages) lead(today weather.Date) (forecast.Stage, bool) {
	stage, ok := s.next()
	if stage == forecast.BloomFull && today-s[forecast.Bloom10] > fullBloomLeads {
		return forecast.FirstRipe, ok
	}
	return stage, ok
}

// rowList lists what bears, by block, what is expected next first.
func (p *Pages) rowList(v *visit) (rowPage, error) {
	ctx := v.Request().Context()
	var page rowPage
	today, err := p.today(v)
	if err != nil {
		return page, err
	}
	season := forecast.SeasonOf(today, v.farm.Southern())
	all, err := p.Store.Plantings(ctx, v.farm.ID)
	if err != nil {
		return page, err
	}
	varieties, err := p.Store.Varieties(ctx, v.farm.ID)
	if err != nil {
		return page, err
	}
	sightings, err := p.Store.Sightings(ctx, v.farm.ID, &season, "")
	if err != nil {
		return page, err
	}
	dates, err := p.expected(ctx, v.farm.ID, season)
	if err != nil {
		return page, err
	}
	if dates == nil {
		page.NoDates = fmt.Sprintf("There is no forecast of %d yet, so no dates are shown.", season)
	}
	seen := seenOf(sightings)
	var items []rowItem
	for _, pl := range all {
		if !pl.Bears(season, today) {
			continue
		}
		it := rowItem{ID: pl.ID, Name: varietyName(varieties, pl.Variety), block: pl.Block, due: beyond}
		s := seen[pl.ID]
		it.Beads, it.Seen = s.beads()
		switch stage, ok := s.lead(today); {
		case !ok:
			it.Next = "Last pick seen " + Day(&v.farm, s[forecast.LastPick])
		default:
			it.Next = "Next: " + rowStages[stage].name
			from := stage
			if stage == forecast.BloomFull { // Not forecast by itself.
				from = forecast.FirstRipe
			}
			if d, known := stageDate(dates[pl.ID], from); known {
				it.due = d.P50
				if from == stage {
					it.Next += ", " + v.farm.Span(d.P10, d.P90)
				} else if d.Seen == nil {
					it.Next += "; " + rowStages[from].name + " " + v.farm.Span(d.P10, d.P90)
				}
			}
		}
		items = append(items, it)
	}
	slices.SortStableFunc(items, func(a, b rowItem) int {
		return cmp.Or(cmp.Compare(a.due, b.due), strings.Compare(a.Name, b.Name))
	})
	for _, it := range items { // A block stands where its first planting does.
		i := slices.IndexFunc(page.Blocks, func(b rowBlock) bool { return b.Name == it.block })
		if i < 0 {
			i = len(page.Blocks)
			page.Blocks = append(page.Blocks, rowBlock{Name: it.block})
		}
		page.Blocks[i].Items = append(page.Blocks[i].Items, it)
	}
	return page, p.closeRow(v, page.Blocks)
}

// rowPlanting gathers the page of one planting.
func (p *Pages) rowPlanting(v *visit, id string) (*rowPlanting, error) {
	ctx, f := v.Request().Context(), &v.farm
	pl, err := p.Store.Planting(ctx, f.ID, id)
	if err != nil {
		return nil, err
	}
	today, err := p.today(v)
	if err != nil {
		return nil, err
	}
	varieties, err := p.Store.Varieties(ctx, f.ID)
	if err != nil {
		return nil, err
	}
	season := forecast.SeasonOf(today, f.Southern())
	dates, err := p.expected(ctx, f.ID, season)
	if err != nil {
		return nil, err
	}
	on := func(d weather.Date) rowDay { return rowDay{d.String(), Day(f, d)} }
	in := weightUnit(f.Units)
	out := &rowPlanting{
		ID: pl.ID, Name: varietyName(varieties, pl.Variety), Block: pl.Block, Units: f.Units, From: seasonStart(v, today).String(),
		Today: on(today), Yesterday: on(today - 1),
		Picking: weightForm{Unit: in.name, KgPerUnit: in.factor, Date: today.String(), Today: today.String()},
		Frost:   frostForm{Date: today.String(), Today: today.String()},
	}
	for n := 1; n <= 10; n++ {
		out.Frost.Tenths = append(out.Frost.Tenths, n)
	}
	switch {
	case pl.RemovedOn != nil && *pl.RemovedOn <= today:
		out.Idle = "It was grubbed out on " + DayYear(f, *pl.RemovedOn) + "."
	case !pl.Bears(season, today):
		out.Idle = fmt.Sprintf("It was planted on %s and bears from %d on.", DayYear(f, pl.PlantedOn), pl.PlantedOn.Year()+1)
	}
	sightings, err := p.Store.Sightings(ctx, f.ID, &season, id)
	if err != nil {
		return nil, err
	}
	seen := seenOf(sightings)[id]
	out.Beads, out.Seen = seen.beads()
	_, out.Picked = seen[forecast.FirstRipe]
	lead, ok := seen.lead(today)
	for stage := forecast.Bloom10; stage <= forecast.LastPick; stage++ {
		w := rowStages[stage]
		c := stageCard{
			Stage: stage.String(), Name: w.title, Means: w.means, Today: out.Today, Before: out.Yesterday,
			Date: today.String(), Plant: id,
		}
		if d, was := seen[stage]; was {
			c.On = "seen " + Day(f, d)
		}
		if ok && stage == lead {
			out.Lead = &c
			if d, known := stageDate(dates[id], stage); known && d.Seen == nil {
				out.Expected = fmt.Sprintf("Expected %s, most likely %s.", f.Span(d.P10, d.P90), Day(f, d.P50))
				if d.P10 == d.P90 {
					out.Expected = fmt.Sprintf("Expected %s.", Day(f, d.P50))
				}
			}
			continue
		}
		out.Others = append(out.Others, c)
	}
	if err := p.rowRecords(v, out, sightings, season); err != nil {
		return nil, err
	}
	return out, p.warnRow(v, out)
}

// rowRecords lists what is on record of a planting this season, the latest
// first.
func (p *Pages) rowRecords(v *visit, out *rowPlanting, sightings []forecast.Sighting, season int) error {
	ctx, f := v.Request().Context(), &v.farm
	first, last := forecast.SeasonBounds(season, f.Southern())
	pickings, err := p.Store.Pickings(ctx, f.ID, out.ID, &first, &last, nil)
	if err != nil {
		return err
	}
	frosts, err := p.Store.Frosts(ctx, f.ID, out.ID, &first, &last, nil)
	if err != nil {
		return err
	}
	add := func(day weather.Date, what, key, path, undo string, body any) error {
		b, err := json.Marshal(body)
		if err != nil {
			return fmt.Errorf("write entry: %w", err)
		}
		out.Record = append(out.Record, rowRecord{
			What: what, When: Day(f, day), Key: key, Body: string(b), Path: "/v1/farms/" + f.ID + path, Undo: undo, day: day,
		})
		return nil
	}
	for _, s := range sightings {
		key, what := "sighting "+s.Planting+" "+s.Stage.String(), capital(rowStages[s.Stage].name)
		if s.Seen {
			key, what = key+" seen", what+" seen"
		} else {
			key, what = key+" "+s.Date.String(), "Looked: "+rowStages[s.Stage].name+" not yet"
		}
		err = errors.Join(err, add(s.Date, what, key, "/sightings/"+url.PathEscape(s.ID), "sighting "+s.ID,
			api.SightingIn{Planting: s.Planting, Date: s.Date.String(), Stage: s.Stage.String(), Seen: &s.Seen, Note: s.Note}))
	}
	for _, x := range pickings {
		on := x.Date.String()
		what := "Picked " + typedWeight(x.Kg, f.Units)
		switch {
		case x.Closed:
			what = "Closed, nothing could be picked"
		case x.Left != forecast.LeftUntold:
			what += ", ripe fruit left: " + string(x.Left)
		}
		err = errors.Join(err, add(x.Date, what, "picking "+x.Planting+" "+on, "/pickings/"+x.Planting+"/"+on, "picking "+on, api.PickingIn{
			Planting: x.Planting, Date: on, Kg: &x.Kg, Left: string(x.Left), Closed: x.Closed, Source: string(x.Source), Note: x.Note,
		}))
		if n := len(out.Record); n > 0 {
			out.Record[n-1].picked = x.Kg > 0
		}
	}
	for _, x := range frosts {
		on := x.Date.String()
		what := fmt.Sprintf("Frost: %s in 10 open flowers lost", figure(x.ShareLost*10))
		err = errors.Join(err, add(x.Date, what, "frost "+x.Planting+" "+on, "/frosts/"+x.Planting+"/"+on, "frost "+on,
			api.FrostIn{Planting: x.Planting, Date: on, ShareLost: &x.ShareLost, LowC: x.LowC, Note: x.Note}))
	}
	slices.SortStableFunc(out.Record, func(a, b rowRecord) int { return cmp.Compare(b.day, a.day) })
	return err
}

// done finds what was recorded just before in what is on record.
func (pl *rowPlanting) done(what string) string {
	if what == "undone" {
		return "Taken back."
	}
	for _, r := range pl.Record {
		if r.Undo == what {
			return strings.TrimSpace("Recorded: " + r.What + ", " + r.When + ". " + r.Warn)
		}
	}
	return ""
}

// rowRecord takes what the forms of the row send, for browsers without script:
// "kind" is sighting, picking, frost or undo.
func (p *Pages) rowRecord(v *visit) error {
	id := v.FormValue("planting")
	if _, err := p.Store.Planting(v.Request().Context(), v.farm.ID, id); err != nil {
		return err
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	var done string
	var ask rowAsk
	status := http.StatusUnprocessableEntity // Of a page that asks.
	switch kind := v.FormValue("kind"); kind {
	case "sighting":
		done, ask, err = p.recordSighting(v, id, today)
	case "picking":
		done, ask, err = p.recordPicking(v, id, today)
	case "frost":
		if v.FormValue("do") != "look" {
			done, ask, err = p.recordFrost(v, id, today)
			break
		}
		var fault bool
		if ask, fault, err = p.lookAtFrost(v, id, today); !fault {
			status = http.StatusOK
		}
	case "undo":
		done, ask, err = "undone", nil, p.rowTakeBack(v, id)
	default:
		return &forecast.FieldError{Field: "kind", Reason: "must be sighting, picking, frost or undo"}
	}
	if err != nil {
		return err
	}
	if ask != nil {
		pl, err := p.rowPlanting(v, id)
		if err != nil {
			return err
		}
		ask(pl)
		return p.renderRow(v, status, pl)
	}
	q := url.Values{"planting": {id}, "done": {done}}
	return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/row?"+q.Encode())
}

// rowAsk puts a fault, and what was typed, back on the page.
type rowAsk func(*rowPlanting)

func (p *Pages) recordSighting(v *visit, id string, today weather.Date) (string, rowAsk, error) {
	stage, err := forecast.ParseStage(v.FormValue("stage"))
	if err != nil {
		return "", nil, err
	}
	verb, on, dated := strings.Cut(v.FormValue("say"), " ")
	if !dated {
		on = v.FormValue("date")
	}
	ask := func(fault string) rowAsk {
		return func(pl *rowPlanting) {
			cards := pl.Others
			if pl.Lead != nil && pl.Lead.Stage == stage.String() {
				pl.Lead.Fault, pl.Lead.Date, pl.Lead.Opened = fault, on, !dated
			}
			for i := range cards {
				if cards[i].Stage == stage.String() {
					cards[i].Fault, cards[i].Date, cards[i].Opened = fault, on, true
				}
			}
		}
	}
	d, fault := dayOrFault(v, on, today)
	if fault != "" {
		return "", ask(fault), nil
	}
	s := forecast.Sighting{Planting: id, Date: d, Stage: stage, Seen: verb == "seen"}
	if !s.Seen && verb != "not_yet" {
		return "", nil, &forecast.FieldError{Field: "say", Reason: "must be seen or not_yet"}
	}
	r, err := p.Store.AddSightings(v.Request().Context(), v.farm.ID, []forecast.Sighting{s}, v.who.By(), p.Now())
	if err != nil {
		return "", nil, err
	}
	if r[0].Err != nil {
		fault, err := rowRefusal(v, r[0].Err)
		return "", ask(fault), err
	}
	return "sighting " + r[0].Sighting.ID, nil, nil
}

func (p *Pages) recordPicking(v *visit, id string, today weather.Date) (string, rowAsk, error) {
	amount, on, left := v.FormValue("amount"), v.FormValue("date"), v.FormValue("left")
	ask := func(fault string) rowAsk {
		return func(pl *rowPlanting) {
			pl.Picking.Fault, pl.Picking.Amount, pl.Picking.Date, pl.Picking.Left = fault, amount, on, left
		}
	}
	d, fault := dayOrFault(v, on, today)
	if fault != "" {
		return "", ask(fault), nil
	}
	x, fault := readNumber(amount, v.farm.Units)
	if fault != "" {
		return "", ask("The weight " + fault + "."), nil
	}
	kg := math.Round(x*weightUnit(v.farm.Units).factor*1000) / 1000
	pick := forecast.Picking{Planting: id, Date: d, Kg: kg, Left: forecast.Left(left), Source: forecast.PickedByAll}
	refused, err := p.Store.AddPickings(v.Request().Context(), v.farm.ID, []forecast.Picking{pick}, v.who.By(), p.Now())
	if err != nil {
		return "", nil, err
	}
	if refused[0] != nil {
		fault, err := rowRefusal(v, refused[0])
		return "", ask(fault), err
	}
	return "picking " + d.String(), nil, nil
}

// rowTakeBack withdraws what "undo" names: a kind and its identifier or date. What
// is gone already is not missed.
func (p *Pages) rowTakeBack(v *visit, id string) error {
	ctx, farm := v.Request().Context(), v.farm.ID
	kind, which, _ := strings.Cut(v.FormValue("undo"), " ")
	if kind == "sighting" {
		err := p.Store.WithdrawSighting(ctx, farm, which, v.who.By(), p.Now())
		if errors.Is(err, forecast.ErrSightingNotFound) {
			return nil
		}
		return err
	}
	d, err := weather.ParseDate(which)
	if err != nil {
		return err
	}
	switch kind {
	case "picking":
		if err = p.Store.WithdrawPicking(ctx, farm, id, d, v.who.By(), p.Now()); errors.Is(err, forecast.ErrPickingNotFound) {
			return nil
		}
	case "frost":
		if err = p.Store.WithdrawFrost(ctx, farm, id, d, v.who.By(), p.Now()); errors.Is(err, forecast.ErrFrostNotFound) {
			return nil
		}
	default:
		return &forecast.FieldError{Field: "undo", Reason: "must name a sighting, picking or frost"}
	}
	return err
}

// dayOrFault reads a day of this season that has come at the farm. An earlier one
// is a slip: it would be recorded and not be seen here.
func dayOrFault(v *visit, text string, today weather.Date) (d weather.Date, fault string) {
	d, err := weather.ParseDate(text)
	switch {
	case err != nil:
		return 0, "Choose the day it was."
	case d > today:
		return 0, fmt.Sprintf("%s has not come yet: today is %s.", DayYear(&v.farm, d), Day(&v.farm, today))
	case d < seasonStart(v, today):
		return 0, fmt.Sprintf("%s is before this season. Earlier ones are entered in the Book.", DayYear(&v.farm, d))
	}
	return d, ""
}

// seasonStart returns the first day of the season that a day lies in.
func seasonStart(v *visit, day weather.Date) weather.Date {
	south := v.farm.Southern()
	first, _ := forecast.SeasonBounds(forecast.SeasonOf(day, south), south)
	return first
}

// rowRefusal says why the store refused an entry. What no person can mend comes back
// as an error.
func rowRefusal(v *visit, err error) (fault string, other error) {
	var said []string
	errs := []error{err}
	if joined, ok := errors.AsType[interface {
		error
		Unwrap() []error
	}](err); ok {
		errs = joined.Unwrap()
	}
	for _, e := range errs {
		if fe, ok := errors.AsType[*forecast.FieldError](e); ok {
			said = append(said, fe.Field+" "+fe.Reason)
			continue
		}
		var d interface{ Detail() string }
		if !errors.As(e, &d) {
			return "", err
		}
		said = append(said, d.Detail())
	}
	return sentence(inWords(&v.farm, strings.Join(said, "; "))), nil
}

var (
	anyDate  = regexp.MustCompile(`\b\d{4}-\d{2}-\d{2}\b`)
	anyStage = regexp.MustCompile(`\b(bloom_10|bloom_full|first_ripe|last_pick)\b`)
)

// inWords puts stages and dates of a reason as people say them.
func inWords(f *forecast.Farm, text string) string {
	text = anyDate.ReplaceAllStringFunc(text, func(s string) string {
		d, err := weather.ParseDate(s)
		if err != nil {
			return s
		}
		return Day(f, d)
	})
	return anyStage.ReplaceAllStringFunc(text, func(s string) string {
		stage, err := forecast.ParseStage(s)
		if err != nil {
			return s
		}
		return rowStages[stage].name
	})
}

// capital begins a phrase with a capital.
func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// typedWeight writes a weight as it was typed: to a tenth, unlike a forecast's.
func typedWeight(kg float64, u forecast.Units) string {
	w := weightUnit(u)
	return digits(math.Round(kg/w.factor*10)/10) + " " + w.name
}
