package pages

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// spraysPage is what is sprayed on the blocks, and what follows for picking.
type spraysPage struct {
	Caution string
	Blocks  []sprayBlock
	Later   []sprayLine // Planned for a later season.
	Form    string      // Where another one is entered; "" for those who may not.
	Fault   string
	Done    string
}

// sprayBlock is a block with its sprays.
type sprayBlock struct {
	Name    string
	Closed  string   // "Closed until …"; "" when it is open.
	Loud    []string // What falls into the time it is closed for.
	First   string   // From when it may be picked, and what that rests on.
	Doubts  []string
	Planned []sprayPlan
	Sprayed []sprayLine
}

// sprayLine is a spray on record.
type sprayLine struct {
	ID, Name  string
	Intervals string // As they were read off the label.
	When      string // When it was done and what it closes the block for.
	By        string // Who entered it, and when.
	Note      string
	InForce   bool
	Edit      string
}

// sprayPlan is a planned spray.
type sprayPlan struct {
	sprayLine
	Says   string
	Urgent bool   // Raised, or its time is over.
	Seen   string // Who took note of which day.
	Day    string // To take note of; "" when there is nothing to.
	Carry  string // Where it is entered as done.
}

func (p *Pages) addSprays() {
	p.get("/f/:farm/sprays", p.sprays)
	p.post("/f/:farm/sprays", api.Grower, p.changeSpray)
	p.page("GET", "/f/:farm/sprays/form", api.Grower, p.editSpray)
	p.post("/f/:farm/sprays/form", api.Grower, p.editSpray)
}

func (p *Pages) sprayBook() api.SprayBook {
	return api.SprayBook{Store: p.Store, Forecast: p.Forecast, Now: p.Now}
}

// blocksNow returns the blocks of the farm as sprays leave them.
func (p *Pages) blocksNow(v *visit) ([]forecast.Block, error) {
	return p.sprayBook().Blocks(v.Request().Context(), v.farm)
}

// sprays shows the page.
func (p *Pages) sprays(v *visit) error { return p.showSprays(v, http.StatusOK, "") }

// showSprays writes the page; fault is what went wrong with a form of it.
func (p *Pages) showSprays(v *visit, status int, fault string) error {
	ctx, f := v.Request().Context(), &v.farm
	blocks, err := p.blocksNow(v)
	if err != nil {
		return err
	}
	names, err := p.plantingNames(v)
	if err != nil {
		return err
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	page := spraysPage{Caution: api.SprayCaution, Fault: fault}
	to := "/f/" + f.ID + "/sprays/form"
	if v.may(api.Grower) {
		page.Form = to
		if v.QueryParam("done") == "back" {
			page.Done = "Taken back."
		}
	}
	line := func(s forecast.Spray) sprayLine {
		return sprayLine{
			ID: s.ID, Name: s.Name, Intervals: intervals(s), Note: s.Note, Edit: to + "?spray=" + s.ID,
			By: whoIs(s.RecordedBy) + ", " + api.TellMoment(*f, s.RecordedAt),
		}
	}
	for _, b := range blocks {
		x := sprayBlock{Name: b.Name, First: api.TellFirst(*f, b.First, names), Doubts: b.First.Doubts(names, f.Day)}
		if len(b.Plantings) == 0 {
			x.First, x.Doubts = "Nothing bears in it this season.", nil
		} else if b.First.Over {
			x.First = "By the forecast its picking is over this season. " + x.First
		}
		if b.Closed != nil {
			x.Closed = "Closed until " + api.TellMoment(*f, b.Closed.Until)
		}
		for _, c := range slices.Backward(b.Sprayed) {
			l := line(c.Spray)
			l.When, l.InForce = api.TellClosure(*f, c), c.InForce
			if !c.InForce {
				l.When = "Sprayed " + api.TellMoment(*f, *c.SprayedAt) + "; open again since " + api.TellMoment(*f, c.Until) + "."
			} else {
				x.Loud = append(x.Loud, api.TellInside(*f, c, b.First)...)
			}
			x.Sprayed = append(x.Sprayed, l)
		}
		for _, n := range b.Planned {
			l := sprayPlan{sprayLine: line(n.Spray), Says: api.TellPlan(*f, n, b.First), Urgent: (n.Raised || n.Passed) && !b.First.Over}
			l.Carry = l.Edit + "&done=1"
			if n.Raised {
				l.Day = b.First.Day.String()
			}
			if n.Seen != nil {
				l.Seen = fmt.Sprintf("%s took note of %s on %s.", whoIs(n.Seen.By), Day(f, n.Seen.Day), api.TellMoment(*f, n.Seen.At))
			}
			x.Planned = append(x.Planned, l)
		}
		page.Blocks = append(page.Blocks, x)
	}
	all, err := p.Store.Sprays(ctx, f.ID, nil, nil)
	if err != nil {
		return err
	}
	season := forecast.SeasonOf(today, f.Southern())
	for _, s := range all {
		if s.SprayedAt == nil && s.Season > season {
			l := line(s)
			l.When = fmt.Sprintf("%s, planned for %d.", s.Block, s.Season)
			page.Later = append(page.Later, l)
		}
	}
	return p.render(v, status, v, "sprays", "Sprays and picking", page)
}

// intervals says what was read off the label.
func intervals(s forecast.Spray) string {
	var pick []string
	if s.PreHarvestDays > 0 || s.PreHarvestHours == 0 {
		pick = append(pick, count(s.PreHarvestDays, "day", "days"))
	}
	if s.PreHarvestHours > 0 {
		pick = append(pick, count(s.PreHarvestHours, "hour", "hours"))
	}
	return strings.Join(pick, " and ") + " before picking, " + count(s.ReentryHours, "hour", "hours") + " before anybody goes in"
}

var keyOf = regexp.MustCompile(`^key \S+ \((.*)\)$`)

// whoIs returns the name of who has recorded something.
func whoIs(by string) string {
	if m := keyOf.FindStringSubmatch(by); m != nil {
		return m[1]
	}
	return by
}

// plantingNames returns a function that names plantings by their variety.
func (p *Pages) plantingNames(v *visit) (func(id string) string, error) {
	ctx, farm := v.Request().Context(), v.farm.ID
	plantings, err := p.Store.Plantings(ctx, farm)
	if err != nil {
		return nil, err
	}
	varieties, err := p.Store.Varieties(ctx, farm)
	if err != nil {
		return nil, err
	}
	names := map[string]string{}
	for _, x := range plantings {
		names[x.ID] = varietyName(varieties, x.Variety)
	}
	return func(id string) string { return names[id] }, nil
}

// changeSpray takes what the buttons of the page send: "kind" is seen or back.
func (p *Pages) changeSpray(v *visit) error {
	ctx, id := v.Request().Context(), v.FormValue("spray")
	var err error
	to := "/f/" + v.farm.ID + "/sprays"
	switch kind := v.FormValue("kind"); kind {
	case "seen":
		var day weather.Date
		if day, err = weather.ParseDate(v.FormValue("day")); err == nil {
			err = p.sprayBook().See(ctx, v.farm, id, day, v.who.By())
		}
		if errors.Is(err, forecast.ErrInvalid) { // It moved while the page was looked at.
			return p.showSprays(v, http.StatusUnprocessableEntity, "The day has moved again since this page was read. See below how it stands now.")
		}
	case "back":
		err = p.Store.WithdrawSpray(ctx, v.farm.ID, id, v.who.By(), p.Now())
		to += "?done=back"
	default:
		return &forecast.FieldError{Field: "kind", Reason: "must be seen or back"}
	}
	// What is gone already is not missed.
	if err != nil && !errors.Is(err, forecast.ErrSprayNotFound) {
		return err
	}
	return v.Redirect(http.StatusSeeOther, to)
}

// sprayFields are the form's names for what the domain calls otherwise.
var sprayFields = map[string]string{"pre_harvest_days": "days", "pre_harvest_hours": "hours", "reentry_hours": "reentry"}

// editSpray enters a spray, or changes the one that the address names.
func (p *Pages) editSpray(v *visit) error {
	ctx, farm := v.Request().Context(), &v.farm
	today, err := p.today(v)
	if err != nil {
		return err
	}
	var s forecast.Spray
	if id := v.QueryParam("spray"); id != "" {
		all, err := p.Store.Sprays(ctx, farm.ID, nil, nil)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(all, func(x forecast.Spray) bool { return x.ID == id })
		if i < 0 {
			return forecast.ErrSprayNotFound
		}
		s = all[i]
	}
	blocks, err := p.blockNames(v, s.Block)
	if err != nil {
		return err
	}
	f := newForm(v, "Enter a spray", "Save", "/f/"+farm.ID+"/sprays")
	f.page.Intro = api.SprayCaution
	if s.ID != "" {
		f.page.Heading = "The spray " + s.Name
	}
	number := func(n int) string {
		if s.ID == "" {
			return ""
		}
		return strconv.Itoa(n)
	}
	pick := []string{"", "Choose"}
	for _, b := range blocks {
		pick = append(pick, b, b)
	}
	block := s.Block
	if block == "" {
		block = v.QueryParam("block")
	}
	f.add(field{Name: "block", Label: "Block", Kind: "select", Value: block, Groups: choices(pick...)})
	f.add(field{Name: "name", Label: "What is sprayed", Value: s.Name, Help: "In your own words. The service knows no products."})
	f.section("From the label", "Copy the intervals from the label that is in your hand. 0 is an answer; an empty field is none.")
	f.add(field{
		Name: "days", Label: "Pre-harvest interval, days", Value: number(s.PreHarvestDays), Mode: "numeric", Optional: true,
		Help: "Whole days between spraying and picking: neither the day of the one nor the day of the other counts.",
	})
	f.add(field{Name: "hours", Label: "Pre-harvest interval, hours", Value: number(s.PreHarvestHours), Mode: "numeric", Optional: true, Help: "If the label says hours; with days as well they come after the last day."})
	f.add(field{Name: "reentry", Label: "Re-entry interval, hours", Value: number(s.ReentryHours), Mode: "numeric", Help: "Nobody may be in the block before it is over. Customers count."})
	day, clock := "", ""
	switch {
	case s.SprayedAt != nil:
		at := s.SprayedAt.In(v.zone)
		day, clock = weather.DateIn(at).String(), at.Format("15:04")
	case v.QueryParam("done") != "":
		day, clock = today.String(), p.Now().In(v.zone).Format("15:04")
	}
	f.section("When it was done", "Leave both empty while it is planned. When it was done, say when the last of it was.")
	f.add(field{Name: "day", Label: "Day", Kind: "date", Value: day, Optional: true})
	f.add(field{Name: "clock", Label: "Clock time", Value: clock, Hint: "17:30", Optional: true})
	f.section("", "")
	f.add(field{Name: "note", Label: "Note", Value: s.Note, Optional: true})
	if !f.posted {
		return p.show(f, "sprays-form", f.page.Heading)
	}

	was := s
	s.Block, s.Name, s.Note = f.value("block"), strings.Join(strings.Fields(f.value("name")), " "), strings.Join(strings.Fields(f.value("note")), " ")
	if s.Block == "" {
		f.fault("block", "must be chosen")
	}
	s.PreHarvestDays, s.PreHarvestHours, s.ReentryHours = f.whole("days"), f.whole("hours"), f.whole("reentry")
	if f.value("days") == "" && f.value("hours") == "" {
		f.fault("days", "or the hours are needed, as the label says; 0 is an answer")
	}
	s.Season = forecast.SeasonOf(today, farm.Southern())
	if was.ID != "" && was.SprayedAt == nil && was.Season > s.Season {
		s.Season = was.Season // A plan for a later season stays one.
	}
	if s.SprayedAt = f.moment(v, "day", "clock", was.SprayedAt, p.Now()); s.SprayedAt != nil {
		s.Season = forecast.SeasonOf(weather.DateIn(s.SprayedAt.In(v.zone)), farm.Southern())
	}
	f.domain(s.Validate(), sprayFields)
	if !f.faulty() {
		results, err := p.sprayBook().Add(ctx, v.farm, []forecast.Spray{s}, v.who.By())
		if err != nil {
			return err
		}
		if results[0].Err == nil {
			return v.Redirect(http.StatusSeeOther, f.page.Back+"#"+url.PathEscape("s-"+results[0].Spray.ID))
		}
		if err := f.refused(results[0].Err, sprayFields); err != nil {
			return err
		}
	}
	return p.show(f, "sprays-form", f.page.Heading)
}

// blockNames are the blocks to choose from: those of plantings that stand, and
// the one that is on record.
func (p *Pages) blockNames(v *visit, also string) ([]string, error) {
	all, err := p.Store.Plantings(v.Request().Context(), v.farm.ID)
	if err != nil {
		return nil, err
	}
	var names []string
	if also != "" {
		names = append(names, also)
	}
	for _, x := range all {
		if x.RemovedOn == nil {
			names = append(names, x.Block)
		}
	}
	slices.Sort(names)
	return slices.Compact(names), nil
}

// whole reads a whole number, or puts the fault beside the field; an empty
// optional one is 0.
func (f *form) whole(name string) int {
	text := f.value(name)
	switch {
	case text == "" && f.fields[name].Optional:
		return 0
	case text == "":
		f.fault(name, "is needed, as the label says; 0 is an answer")
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		f.fault(name, "must be a whole number")
	}
	return n
}

// clockLayouts are clock times as people write them.
var clockLayouts = []string{"15:04", "15.04", "3:04pm", "3pm", "15"}

// moment reads a day and a clock time that has come at the farm, or puts the
// fault beside the field; nil when both are empty. One that nobody changed stays
// exactly as it is on record.
func (f *form) moment(v *visit, dayField, clockField string, keep *time.Time, now time.Time) *time.Time {
	onText, clock := f.value(dayField), strings.ToLower(strings.ReplaceAll(f.value(clockField), " ", ""))
	switch {
	case onText == "" && clock == "":
		return nil
	case onText == "":
		f.fault(dayField, "is needed with the clock time; leave both empty while it is planned")
		return nil
	case clock == "":
		f.fault(clockField, "is needed with the day; leave both empty while it is planned")
		return nil
	}
	on, fault := readDate(onText, f.units)
	if fault != "" {
		f.fault(dayField, fault)
		return nil
	}
	var read time.Time
	err := errors.New("none yet")
	for _, layout := range clockLayouts {
		if read, err = time.Parse(layout, clock); err == nil {
			break
		}
	}
	if err != nil {
		f.fault(clockField, "is not a clock time, such as 17:30 or 5:30 pm")
		return nil
	}
	if keep != nil {
		if was := keep.In(v.zone); weather.DateIn(was) == on && was.Hour() == read.Hour() && was.Minute() == read.Minute() {
			return keep
		}
	}
	at, ok := forecast.AtClock(on, read.Hour(), read.Minute(), v.zone)
	switch {
	case !ok:
		f.fault(clockField, "did not come on "+Day(&v.farm, on)+": clocks were put forward over it")
		return nil
	case at.After(now):
		f.fault(clockField, "has not come yet; leave day and clock time empty while it is planned")
		return nil
	}
	return &at
}
