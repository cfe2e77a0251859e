package pages

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"ripetide/api"
	"ripetide/api/announce"
	"ripetide/forecast"
	"ripetide/weather"
)

// addOpening adds the pages on when to open and what to tell.
func (p *Pages) addOpening() {
	p.get("/f/:farm/opening", p.opening)
	p.post("/f/:farm/opening", api.Grower, p.decide)
	p.get("/f/:farm/opening/sheet", p.openingSheet)
	p.addAddresses()
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		p.page(method, "/f/:farm/opening/words", api.Owner, p.announcing)
	}
}

// openingPage is the opening as one forecast saw it. All of it is decided here;
// the template only sets it out.
type openingPage struct {
	Season   int
	None     string // Why there is nothing to show; "" when there is a forecast.
	Done     string // What was just done.
	Fault    string
	AsOf     string
	Answer   string // The day decided, else advised, else that there is none.
	Under    []string
	Steps    []certaintyStep
	Says     string // Of the certainty.
	Why      []string
	Chart    *picture
	Words    string // The chart in words.
	Decide   []decideForm
	Days     []openingDay // The days to open on, to choose from.
	Caption  string
	Channels []channelLine
	Holidays []channelLine
	Texts    []openingText
	Weeks    []openingWeek
	Closing  string
	Moves    string         // How week and last day may move.
	Told     []decisionLine // How decisions came to be, the newest first.
	Grower   bool
	Owner    bool
	Forecast string // Identifier.
	Caution  string
	Closed   []closedBlock // By sprays.
}

// closedBlock is what sprays have to say of a block.
type closedBlock struct {
	Name string
	Says []string
}

type certaintyStep struct {
	Name string
	Here bool // The step reached.
	On   bool // This one or one before it.
}

// openingDay is a day to open on.
type openingDay struct {
	Value, Day   string
	Chance, Past string
	Mark         string // "advised", "decided", a holiday.
	Enough       bool   // It reaches the farm's confidence.
}

type channelLine struct{ Name, Says string }

// openingText is a text that is ready to be used.
type openingText struct {
	Name, Use, Text string
	Rows            int
}

type openingWeek struct{ Week, Kg, Chance string }

// decideForm is the form of one kind of decision.
type decideForm struct {
	Kind, Label string
	Now         string // What stands.
	Options     []option
	Taken       bool // Whether it can be taken back.
}

type decisionLine struct{ What, When, Who, Note string }

// certaintyNames are the steps as they stand on the page.
var certaintyNames = map[announce.Certainty]string{
	announce.Guess: "A guess", announce.Season: "Part of a month", announce.Week: "A week", announce.Day: "A day", announce.Ripe: "Ripe",
}

var textNames = map[forecast.Text][2]string{
	forecast.TextSign:      {"Sign", "at the road"},
	forecast.TextTelephone: {"Telephone", "read out by the answering machine, about twenty seconds"},
	forecast.TextPost:      {"Post", "for a page, or a message to many"},
	forecast.TextPaper:     {"Paper", "for print, about fifty words"},
}

var decisionNames = map[forecast.DecisionKind]string{
	forecast.DecideOpening: "Opening day", forecast.DecidePeakWeek: "Week with the most fruit, from", forecast.DecideClosing: "Last day",
}

func (p *Pages) opening(v *visit) error { return p.showOpening(v, http.StatusOK, "") }

func (p *Pages) showOpening(v *visit, status int, fault string) error {
	o, err := api.ReadOpening(v.Request().Context(), p.Store, p.Forecast, v.farm.ID, v.QueryParam("forecast"), p.Now())
	today, err2 := p.today(v)
	if err2 != nil {
		return err2
	}
	page := openingPage{Season: forecast.SeasonOf(today, v.farm.Southern()), Fault: fault, Grower: v.may(api.Grower), Owner: v.may(api.Owner)}
	if errors.Is(err, forecast.ErrForecastNotFound) && v.QueryParam("forecast") == "" {
		page.None = "There is no forecast yet, so there is nothing to advise."
		return p.render(v, status, v, "opening", "Opening", page)
	}
	if err != nil {
		return err
	}
	page.Done = map[string]string{"decided": "It is on record.", "back": "It was taken back."}[v.QueryParam("done")]
	page.tell(o)
	return p.render(v, status, v, "opening", fmt.Sprintf("Opening %d", page.Season), page)
}

// closedBlocks tells which blocks sprays keep closed, and what falls into that
// time.
func closedBlocks(o *api.Opening) (out []closedBlock) {
	for _, b := range o.Blocks {
		if says := api.TellBlock(o.Farm, b); len(b.Sprayed) > 0 && len(says) > 0 {
			out = append(out, closedBlock{b.Name, says})
		}
	}
	return out
}

// tell fills the page.
func (page *openingPage) tell(o *api.Opening) {
	f, farm := o.Forecast, &o.Farm
	page.Season, page.Forecast = f.Season, o.Frozen.ID
	page.AsOf = "As of the morning of " + farm.DayYear(f.AsOf)
	if n := int(o.Today - f.AsOf); n > 0 {
		page.AsOf += ", " + count(n, "day", "days") + " ago"
	}
	page.answer(o)
	page.Why = o.Why()
	if c := o.Certainty(); !o.IsOver() && !o.IsOpen() {
		for _, s := range announce.Steps {
			page.Steps = append(page.Steps, certaintyStep{certaintyNames[s], s == c, s.Step() <= c.Step()})
		}
		page.Says = api.CertaintyWords[c]
	}
	if chart, ok := o.Chart(); ok {
		page.Words = chart.Description()
		page.Chart = newPicture("/v1/farms/"+farm.ID+"/opening.svg", url.Values{"forecast": {o.Frozen.ID}}, chart.Title())
	}
	page.days(o)
	page.decisions(o)
	page.Channels = channelLines(o)
	page.Closed = closedBlocks(o)
	for _, h := range o.Holidays() {
		line := channelLine{h.Name, farm.Day(h.Date)}
		if h.ReadyBy != nil {
			line.Says += ": " + chancesOf(*h.ReadyBy) + " of being ready by then"
		}
		page.Holidays = append(page.Holidays, line)
	}
	for _, t := range forecast.Texts {
		text := o.Words().Texts[string(t)]
		page.Texts = append(page.Texts, openingText{textNames[t][0], textNames[t][1], text, 2 + strings.Count(text, "\n") + len(text)/60})
	}
	if a := f.Advice; a != nil {
		most := 0.0
		for _, w := range a.PeakWeek.Weeks {
			most = max(most, w.RipeningKg.P90)
		}
		for _, w := range a.PeakWeek.Weeks {
			if w.RipeningKg.P90 < most/100 { // A last berry is no week.
				continue
			}
			page.Weeks = append(page.Weeks, openingWeek{
				farm.Span(w.From, w.From+6), farm.Weight(w.RipeningKg.P10) + " to " + farm.Weight(w.RipeningKg.P90), chancesOf(w.Probability),
			})
		}
		if d := a.Closing.Day; d != nil {
			page.Closing = fmt.Sprintf("%s is the last of your open days with at least %s of enough for the day’s crowd; tell people by %s.", farm.Day(*d), chancesOf(a.Confidence), farm.Day(*a.Closing.CommitBy))
		}
	}
	if a := f.Advice; a != nil && a.MayMove != nil {
		m := a.MayMove
		page.Moves = fmt.Sprintf("As seen from %s, the week with the most fruit is still the same in %s and the last day in %s.",
			farm.Day(m.By), chancesOf(m.Peak.Stays), chancesOf(m.Closing.Stays))
	}
	page.Caution = "Advice is an estimate: walk the field before you tell anybody a day."
}

// channelLines says of each way of telling people until when it needs the words.
func channelLines(o *api.Opening) (out []channelLine) {
	for _, ch := range o.Channels() {
		line := channelLine{ch.Name, "needs " + count(ch.NoticeDays, "day", "days") + " of notice"}
		if by := ch.HandInBy; by != nil {
			line.Says = "hand in by " + o.Farm.Day(*by)
			if *by < o.Today {
				line.Says += ", which has passed"
			}
		}
		out = append(out, line)
	}
	return out
}

// answer says the day first.
func (page *openingPage) answer(o *api.Opening) {
	farm := &o.Farm
	d, decided, ok := o.Day()
	var range_ string
	if a := o.Forecast.Advice; a != nil && a.Opening.Range != nil && a.Opening.Range.P90 >= o.Forecast.AsOf {
		r := a.Opening.Range
		range_ = "Enough for opening comes, 8 times in 10, " + between(farm, r.P10, r.P90) + "."
	}
	switch {
	case o.IsOver():
		page.Answer = "The season is over"
	case o.IsOpen():
		page.Answer = "You are open"
		page.Under = append(page.Under, "Since "+farm.Day(d)+".")
	case decided:
		page.Answer = "You open on " + farm.Day(d)
		if n := int(d - o.Today); n > 0 {
			page.Under = append(page.Under, "In "+count(n, "day", "days")+".")
		}
	case ok:
		page.Answer = "Advised: " + farm.Day(d)
		if by := o.Forecast.Advice.Opening.CommitBy; by != nil && *by > o.Today {
			page.Under = append(page.Under, "Decide by "+farm.Day(*by)+".")
		} else {
			page.Under = append(page.Under, lateNotice(o, *o.Forecast.Advice.Opening.CommitBy))
		}
	default:
		page.Answer = "No day to advise yet"
	}
	if !o.IsOpen() && !o.IsOver() && range_ != "" {
		page.Under = append(page.Under, range_)
	}
}

// between writes a range in a sentence.
func between(farm *forecast.Farm, from, to weather.Date) string {
	if from == to {
		return "on " + farm.Day(from)
	}
	return "between " + farm.Day(from) + " and " + farm.Day(to)
}

// chancesOf writes a probability for the farm's own people: "82 chances in 100".
func chancesOf(p float64) string {
	n := api.InHundred(p)
	if n == "1" || n == "fewer than 1" {
		return n + " chance in 100"
	}
	return n + " chances in 100"
}

// days lists the days to open on, a fortnight around what matters.
func (page *openingPage) days(o *api.Opening) {
	f := o.Forecast
	if f.Advice == nil {
		return
	}
	decided, isDecided := forecast.Decided(o.Decisions, f.Season, forecast.DecideOpening)
	holidays := map[weather.Date]string{}
	for _, h := range o.Holidays() {
		holidays[h.Date] = h.Name
	}
	sure := 0
	for _, d := range f.Days {
		if !d.Opens || d.Date < o.Today {
			continue
		}
		x := openingDay{
			Value: d.Date.String(), Day: o.Farm.Day(d.Date), Chance: chancesOf(d.Ready), Past: fmt.Sprintf("%.0f in 100", 100*d.Past),
			Enough: d.Ready >= f.Advice.Confidence, Mark: holidays[d.Date],
		}
		if a := f.Advice.Opening.Day; a != nil && *a == d.Date {
			x.Mark = strings.TrimPrefix(x.Mark+", advised", ", ")
		}
		if isDecided && decided == d.Date {
			x.Mark = strings.TrimPrefix(x.Mark+", decided", ", ")
		}
		if x.Enough {
			sure++
		}
		page.Days = append(page.Days, x)
		if sure >= 6 { // Later ones say nothing new.
			break
		}
	}
	page.Caption = "The days you open on: the chance of enough ripe fruit if nobody has picked, and what of the crop has spoiled by then"
}

// decisions fills what was decided and the forms to decide.
func (page *openingPage) decisions(o *api.Opening) {
	f, farm := o.Forecast, &o.Farm
	zone, err := farm.Location()
	if err != nil { // A farm that is on record has one.
		zone = time.UTC
	}
	for _, kind := range forecast.DecisionKinds {
		form := decideForm{Kind: string(kind), Label: decisionNames[kind], Now: "Nothing is decided."}
		d, ok := forecast.Decided(o.Decisions, f.Season, kind)
		if ok {
			form.Now, form.Taken = farm.DayYear(d)+" is decided.", true
		}
		form.Options = page.choices(o, kind, d, ok)
		page.Decide = append(page.Decide, form)
	}
	for _, x := range slices.Backward(o.Decisions) {
		line := decisionLine{What: decisionNames[x.Kind] + ": taken back", Who: personIn(x.DecidedBy), Note: x.Note}
		if x.Day != nil {
			line.What = decisionNames[x.Kind] + ": " + farm.DayYear(*x.Day)
		}
		line.When = moment(farm, x.DecidedAt.In(zone), o.Today)
		page.Told = append(page.Told, line)
	}
}

// personIn returns the name in "key abc (Noor)", which is how records name who
// made them.
func personIn(by string) string {
	if _, name, ok := strings.Cut(by, "("); ok {
		return strings.TrimSuffix(name, ")")
	}
	return by
}

// choices are the days that may be decided on.
func (page *openingPage) choices(o *api.Opening, kind forecast.DecisionKind, now weather.Date, decided bool) []option {
	f, farm := o.Forecast, &o.Farm
	var out []option
	add := func(d weather.Date, text string) {
		out = append(out, option{Value: d.String(), Text: text, Chosen: decided && d == now})
	}
	a := f.Advice
	var advised *weather.Date
	if a != nil {
		switch kind {
		case forecast.DecideOpening:
			advised = a.Opening.Day
		case forecast.DecidePeakWeek:
			advised = a.PeakWeek.From
		case forecast.DecideClosing:
			advised = a.Closing.Day
		}
	}
	label := func(d weather.Date, text string) string {
		if advised != nil && *advised == d {
			return text + ", advised"
		}
		return text
	}
	switch kind {
	case forecast.DecidePeakWeek:
		if a != nil {
			for _, w := range a.PeakWeek.Weeks {
				add(w.From, label(w.From, farm.Span(w.From, w.From+6)))
			}
		}
	default:
		for _, d := range f.Days {
			if d.Date < o.Today || !farm.Opening.OpensOn(d.Date.Weekday()) && !(decided && d.Date == now) {
				continue
			}
			p := d.Ready
			if kind == forecast.DecideClosing {
				p = d.Enough
			}
			add(d.Date, label(d.Date, farm.Day(d.Date)+", "+chancesOf(p)))
		}
	}
	if !decided && advised != nil {
		for i := range out {
			out[i].Chosen = out[i].Value == advised.String()
		}
	}
	if decided && !slices.ContainsFunc(out, func(x option) bool { return x.Chosen }) {
		out = append([]option{{Value: now.String(), Text: farm.Day(now), Chosen: true}}, out...)
	}
	return out
}

// decide records what was decided on the page, or takes it back.
func (p *Pages) decide(v *visit) error {
	v.Request().Body = http.MaxBytesReader(v.Response(), v.Request().Body, listBytes)
	ctx := v.Request().Context()
	z, err := p.Store.LatestForecast(ctx, v.farm.ID)
	if err != nil {
		return err
	}
	d := forecast.Decision{
		Season: z.Season, Kind: forecast.DecisionKind(v.FormValue("kind")), Forecast: v.FormValue("forecast"),
		Note: strings.Join(strings.Fields(v.FormValue("note")), " "), DecidedBy: v.who.By(), DecidedAt: p.Now(),
	}
	if d.Forecast != "" { // That which the page showed.
		if z, err = p.Store.Forecast(ctx, v.farm.ID, d.Forecast); err != nil {
			return err
		}
		d.Season = z.Season
	}
	done := "back"
	if v.FormValue("do") != "back" {
		done = "decided"
		day, err := weather.ParseDate(v.FormValue("day"))
		if err != nil {
			return p.showOpening(v, http.StatusUnprocessableEntity, "Nothing is saved: choose a day.")
		}
		d.Day = &day
	}
	if errs := d.Validate(v.farm); len(errs) > 0 {
		var reasons []string
		for _, err := range errs {
			if f, ok := errors.AsType[*forecast.FieldError](err); ok {
				reasons = append(reasons, "the "+f.Field+" "+f.Reason)
			}
		}
		return p.showOpening(v, http.StatusUnprocessableEntity, "Nothing is saved: "+strings.Join(reasons, "; ")+".")
	}
	if _, _, err := api.Decide(ctx, p.Store, v.farm.ID, d); errors.Is(err, forecast.ErrDecisionNotFound) {
		return p.showOpening(v, http.StatusConflict, "There is nothing to take back any more.")
	} else if f, ok := errors.AsType[*forecast.FieldError](err); ok {
		return p.showOpening(v, http.StatusUnprocessableEntity, "Nothing is saved: the "+f.Field+" "+f.Reason+".")
	} else if err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/opening?done="+done)
}

// sheetPage is what is printed for those who tell people.
type sheetPage struct {
	Season    int
	AsOf      string
	Answer    string
	Range     []channelLine
	Certainty string
	Says      string
	Texts     []openingText
	Ripe      []channelLine // Varieties with their expected windows.
	Holidays  []channelLine
	Channels  []channelLine
	What      []string // That would change it.
	Closed    []closedBlock
}

// openingSheet is one page to print.
func (p *Pages) openingSheet(v *visit) error {
	o, err := api.ReadOpening(v.Request().Context(), p.Store, p.Forecast, v.farm.ID, v.QueryParam("forecast"), p.Now())
	if errors.Is(err, forecast.ErrForecastNotFound) && v.QueryParam("forecast") == "" {
		return p.showOpening(v, http.StatusOK, "")
	}
	if err != nil {
		return err
	}
	var full openingPage
	full.tell(o)
	farm, f := &o.Farm, o.Forecast
	page := sheetPage{
		Season: f.Season, AsOf: full.AsOf, Answer: full.Answer, Says: full.Says, Certainty: certaintyNames[o.Certainty()],
		Holidays: full.Holidays, Channels: full.Channels, Closed: full.Closed,
		What: []string{
			"A cool spell puts dates back; heat brings them forward and shortens the season.",
			"Frost on open flowers takes fruit, and rain can close fields: a frost that is not recorded, and rain, are not in these dates.",
		},
	}
	for _, t := range full.Texts {
		if t.Text != "" {
			page.Texts = append(page.Texts, t)
		}
	}
	if a := f.Advice; a != nil {
		if r := a.Opening.Range; r != nil {
			page.Range = []channelLine{
				{"One time in ten by", farm.Day(r.P10)}, {"As likely by as after", farm.Day(r.P50)}, {"Nine times in ten by", farm.Day(r.P90)},
			}
		}
		if w := a.PeakWeek; w.From != nil {
			page.Range = append(page.Range, channelLine{"The most fruit", farm.Span(*w.From, *w.To) + ", " + chancesOf(*w.Probability)})
		}
		if d := a.Closing.Day; d != nil {
			page.Range = append(page.Range, channelLine{"Enough until about", farm.Day(*d)})
		}
	}
	for _, d := range f.Plantings {
		if s := d.Stages; s != nil && s.LastPick.P50 >= o.Today {
			name := o.Varieties[d.Variety]
			if name == "" {
				name = d.Variety
			}
			page.Ripe = append(page.Ripe, channelLine{name + ", " + d.Block, "about " + farm.Span(s.FirstRipe.P50, s.LastPick.P50) + "; 8 times in 10 within " + farm.Span(s.FirstRipe.P10, s.LastPick.P90)})
		}
	}
	return p.render(v, http.StatusOK, v, "opening-sheet", fmt.Sprintf("Opening %d, to print", page.Season), page)
}

// announcing changes how the farm tells people.
func (p *Pages) announcing(v *visit) error {
	ctx := v.Request().Context()
	a, err := p.Store.Announcing(ctx, v.farm.ID)
	if err != nil {
		return err
	}
	f := newForm(v, "How you tell people", "Save", "/f/"+v.farm.ID+"/opening")
	f.section("", "Placeholders in braces are filled on the day: {opening} becomes the sentence on when you open, {ripe} what is ripe. No chances, no degree-days and no promises belong in words for the public.")
	f.add(field{Name: "language", Label: "Language of dates and texts", Kind: "select", Value: a.LanguageOf(v.farm.Units),
		Groups: choices("en-GB", "English, 14 June", "en-US", "English, June 14", "de", "Deutsch", "fr", "Français")})
	f.add(field{Name: "hours", Label: "Hours", Value: a.Hours, Optional: true, Hint: "Daily 8 to 12, while there is fruit"})
	f.add(field{Name: "where", Label: "How to find you", Value: a.Where, Optional: true})
	f.add(field{Name: "phone", Label: "Telephone", Value: a.Phone, Optional: true})
	f.add(field{Name: "website", Label: "Website", Value: a.Website, Optional: true, Hint: "https://"})
	texts := f.section("Your own texts", "Left empty, the text that comes with the program is used; it is shown in grey.")
	texts.Fold = true
	l := announce.LanguageOf(a.LanguageOf(v.farm.Units))
	for _, t := range forecast.Texts {
		f.add(field{
			Name: "text_" + string(t), Label: textNames[t][0] + ", " + textNames[t][1], Kind: "area", Rows: 3, Value: a.Texts[t], Optional: true, Hint: l.Default(t),
		})
	}
	var help []string
	for _, x := range announce.Placeholders {
		help = append(help, "{"+x.Name+"} "+strings.ToLower(x.About[:1])+x.About[1:])
	}
	texts.Text += " You may use: " + strings.Join(help, " ")
	f.section("What everybody may see", "Without a key, on a public page and in a picture for your own website. Nothing is public unless you say so.")
	public := field{Name: "public", Label: "Public", Kind: "checks", Groups: []optionGroup{{Options: []option{
		{"on", "A public page", a.Public.On}, {"varieties", "What is ripe, by name", a.Public.Varieties}, {"ahead", "What comes next", a.Public.Ahead},
	}}}}
	f.add(public)
	f.add(field{Name: "calendar", Label: "In the calendar to subscribe to", Kind: "checks", Groups: []optionGroup{{Options: []option{
		{"windows", "When each variety is expected", a.Windows},
	}}}, Help: "What you have decided is always in it."})
	if !f.posted {
		return p.show(f, "opening-words", f.page.Heading)
	}
	checked := func(name, value string) bool {
		for _, x := range f.fields[name].Groups[0].Options {
			if x.Value == value {
				return x.Chosen
			}
		}
		return false
	}
	next := forecast.Announcing{
		Language: f.value("language"), Hours: f.value("hours"), Where: f.value("where"), Phone: f.value("phone"), Website: f.value("website"),
		Public:  forecast.PublicPage{On: checked("public", "on"), Varieties: checked("public", "varieties"), Ahead: checked("public", "ahead")},
		Windows: checked("calendar", "windows"),
	}
	names := map[string]string{}
	for _, t := range forecast.Texts {
		names["texts."+string(t)] = "text_" + string(t)
		if s := strings.ReplaceAll(f.value("text_"+string(t)), "\r\n", "\n"); s != "" {
			if next.Texts == nil {
				next.Texts = map[forecast.Text]string{}
			}
			next.Texts[t] = s
		}
	}
	f.domain(api.ValidateAnnouncing(next), names)
	if !f.faulty() {
		if _, err := p.Store.PutAnnouncing(ctx, v.farm.ID, next, v.who.By(), p.Now()); err != nil {
			return err
		}
		return v.Redirect(http.StatusSeeOther, f.page.Back)
	}
	return p.show(f, "opening-words", f.page.Heading)
}
