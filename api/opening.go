package api

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/api/announce"
	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

// OpeningOut is when to open, by one frozen forecast.
type OpeningOut struct {
	Farm      string           `json:"farm"`
	Season    int              `json:"season"`
	Forecast  string           `json:"forecast" doc:"The frozen forecast that the advice is of."`
	AsOf      weather.Date     `json:"as_of"`
	Hindcast  bool             `json:"hindcast"`
	Certainty CertaintyOut     `json:"certainty"`
	Advice    *forecast.Advice `json:"advice" doc:"Null when nothing can be forecast, or when the forecast was frozen by a program that gave none."`
	Why       []string         `json:"why" doc:"What the advice rests on, in sentences for the farm's own people."`
	Days      []OpeningDay     `json:"days" doc:"Every day of the season from as_of on, open or not: the candidates and their neighbours."`
	Channels  []ChannelOut     `json:"channels" doc:"Each way of telling people, with the last day to hand the words in for the day that was decided, else advised."`
	Holidays  []HolidayOut     `json:"holidays" doc:"Those of the season, in order."`
	Decisions []DecisionNow    `json:"decisions" doc:"What the farm has decided, apart from the advice."`
	Public    PublicWords      `json:"public" doc:"What may be told to everybody, in the farm's language."`
}

// CertaintyOut is how sure the farm may be of its opening day.
type CertaintyOut struct {
	Step  int    `json:"step" minimum:"1" maximum:"5" doc:"From 1, a guess, to 5, ripe in the rows."`
	Key   string `json:"key" enum:"guess,season,week,day,ripe" doc:"What may be told: nothing, a part of the season, a week, a day, that it is ripe."`
	Words string `json:"words" doc:"The same for the farm's own people."`
}

// OpeningDay is one day as a day to open on.
type OpeningDay struct {
	Date    weather.Date `json:"date"`
	Opens   bool         `json:"opens" doc:"Whether the farm opens on this weekday."`
	Ready   float64      `json:"ready" doc:"Probability of enough ripe fruit standing on this day, if nobody has picked."`
	ReadyBy float64      `json:"ready_by" doc:"The same on this or an earlier day."`
	Past    float64      `json:"past_share" doc:"Mean share of the crop that has ripened and spoiled by then, if nobody has picked."`
	Enough  float64      `json:"enough" doc:"Probability of enough for the day's crowd, the farm having opened when it was ready or as it decided."`
}

// ChannelOut is a way of telling people.
type ChannelOut struct {
	Name       string        `json:"name"`
	NoticeDays int           `json:"notice_days"`
	HandInBy   *weather.Date `json:"hand_in_by" doc:"Null while no day is decided or advised."`
}

// HolidayOut is a day that customers carry in their heads.
type HolidayOut struct {
	Name    string       `json:"name"`
	Date    weather.Date `json:"date"`
	ReadyBy *float64     `json:"ready_by" doc:"Probability of being ready on it or before; null outside the days of the forecast."`
}

// PublicWords are sentences for everybody. None names a single day more than
// seven days ahead, a probability or a degree-day.
type PublicWords struct {
	Language string            `json:"language"`
	Opening  string            `json:"opening"`
	Peak     string            `json:"peak" doc:"Empty until it is sure enough."`
	Ripe     string            `json:"ripe" doc:"Empty while the farm is not open."`
	Next     string            `json:"next" doc:"Likewise."`
	Caution  string            `json:"caution"`
	Texts    map[string]string `json:"texts" doc:"The texts of several lengths, filled: sign, telephone, post, paper."`
}

// OpeningQuery asks for the opening by a forecast.
type OpeningQuery struct {
	FarmPath
	Forecast string `query:"forecast" required:"false" maxLength:"64" doc:"Identifier of a frozen forecast. Default: the latest."`
}

func (s *Server) openingRoutes() {
	s.openingPictures()
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/opening", OperationID: "opening", Tags: []string{"Opening"},
		Summary: "Read when to open, and what may be told",
		Description: "Advice by the farm's own rule, from the members of a frozen forecast: the first day on which it opens that is ready with its confidence. " +
			"Advice is an estimate: walk the field before you announce. What the farm decides is recorded apart.",
	}, func(ctx context.Context, in *OpeningQuery) (*got[OpeningOut], error) {
		o, err := ReadOpening(ctx, s.store, s.forecast, in.Farm, in.Forecast, s.now())
		if err != nil {
			return nil, err
		}
		return &got[OpeningOut]{o.Out()}, nil
	})
}

// Opening is everything about a farm's opening, for pages and messages.
type Opening struct {
	announce.State
	Frozen     forecast.Frozen
	Announcing forecast.Announcing
	Now        []DecisionNow
	Blocks     []forecast.Block // As sprays leave them.
}

// ReadOpening gathers the opening of a farm by a frozen forecast, or by the
// latest with "". Errors: [forecast.ErrFarmNotFound],
// [forecast.ErrForecastNotFound].
func ReadOpening(ctx context.Context, store Store, service *forecast.Service, farm, id string, now time.Time) (*Opening, error) {
	o := &Opening{}
	var err error
	if o.Farm, err = store.Farm(ctx, farm); err != nil {
		return nil, err
	}
	if o.Today, err = o.Farm.Today(now); err != nil {
		return nil, err
	}
	if id == "" {
		o.Frozen, err = store.LatestForecast(ctx, farm)
	} else {
		o.Frozen, err = store.Forecast(ctx, farm, id)
	}
	if err != nil {
		return nil, err
	}
	if o.Forecast, err = service.Decode(ctx, o.Frozen); err != nil {
		return nil, err
	}
	if o.Decisions, err = store.Decisions(ctx, farm, &o.Frozen.Season); err != nil {
		return nil, err
	}
	o.Now = decisionsNow(o.Decisions)
	if o.Announcing, err = store.Announcing(ctx, farm); err != nil {
		return nil, err
	}
	book := SprayBook{store, service, func() time.Time { return now }}
	if o.Blocks, o.Shut, err = shutThrough(ctx, book, o.Farm); err != nil {
		return nil, err
	}
	varieties, err := store.Varieties(ctx, farm)
	if err != nil {
		return nil, err
	}
	o.Varieties = map[string]string{}
	for _, v := range varieties {
		o.Varieties[v.ID] = v.Name
	}
	return o, nil
}

// shutThrough returns the blocks of a farm, and until when sprays keep those of
// plantings closed; nothing when no spray is on record.
func shutThrough(ctx context.Context, book SprayBook, farm forecast.Farm) ([]forecast.Block, map[string]weather.Date, error) {
	zone, err := farm.Location()
	if err != nil {
		return nil, nil, err
	}
	sprays, err := book.Store.Sprays(ctx, farm.ID, nil, nil)
	if err != nil || len(sprays) == 0 {
		return nil, nil, err
	}
	blocks, err := book.Blocks(ctx, farm)
	return blocks, forecast.ShutThrough(blocks, zone), err
}

// Day returns the day that was decided to open on, else the one advised.
func (o *Opening) Day() (day weather.Date, decided, ok bool) {
	if d, ok := forecast.Decided(o.Decisions, o.Forecast.Season, forecast.DecideOpening); ok {
		return d, true, true
	}
	if a := o.Forecast.Advice; a != nil && a.Opening.Day != nil {
		return *a.Opening.Day, false, true
	}
	return 0, false, false
}

// Out is the opening as it is served.
func (o *Opening) Out() OpeningOut {
	f := o.Forecast
	out := OpeningOut{
		Farm: o.Farm.ID, Season: f.Season, Forecast: o.Frozen.ID, AsOf: f.AsOf, Hindcast: f.Hindcast,
		Advice: f.Advice, Why: o.Why(), Days: []OpeningDay{}, Channels: o.Channels(), Holidays: o.Holidays(),
		Decisions: o.Now, Public: o.Words(),
	}
	c := o.Certainty()
	out.Certainty = CertaintyOut{c.Step(), string(c), CertaintyWords[c]}
	for _, d := range f.Days {
		if d.Date >= f.AsOf {
			out.Days = append(out.Days, OpeningDay{d.Date, d.Opens, d.Ready, d.ReadyBy, d.Past, d.Enough})
		}
	}
	return out
}

// CertaintyWords say a step to the farm's own people.
var CertaintyWords = map[announce.Certainty]string{
	announce.Guess:  "No bloom has been entered: any date is a guess. Tell nobody a time yet.",
	announce.Season: "A part of the season is in sight. Tell people the part of the month.",
	announce.Week:   "A week to aim for. Tell people a range of days, and when you will know more.",
	announce.Day:    "A day to count on. Walk the field, decide, and tell people the day once it is near.",
	announce.Ripe:   "Enough is ripe in the rows. Walk the field and open.",
}

// Channels returns each way of telling people with its last day.
func (o *Opening) Channels() []ChannelOut {
	day, _, ok := o.Day()
	out := make([]ChannelOut, 0, len(o.Farm.Opening.Channels))
	for _, c := range o.Farm.Opening.Channels {
		x := ChannelOut{Name: c.Name, NoticeDays: c.NoticeDays}
		if ok {
			by := day - weather.Date(c.NoticeDays)
			x.HandInBy = &by
		}
		out = append(out, x)
	}
	return out
}

// Holidays returns the farm's holidays that fall in the season or within a week
// of it; without days, in the season's year.
func (o *Opening) Holidays() []HolidayOut {
	out := []HolidayOut{}
	first, last := forecast.SeasonBounds(o.Forecast.Season, o.Farm.Southern())
	days := o.Forecast.Days
	if len(days) > 0 {
		first, last = days[0].Date-7, days[len(days)-1].Date+7
	}
	for _, h := range o.Farm.Holidays {
		for year := first.Year(); year <= last.Year(); year++ {
			d, ok := h.On(year)
			if !ok || d < first || d > last {
				continue
			}
			x := HolidayOut{Name: h.Name, Date: d}
			if i := slices.IndexFunc(days, func(s forecast.DaySupply) bool { return s.Date == d }); i >= 0 {
				x.ReadyBy = &days[i].ReadyBy
			}
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b HolidayOut) int { return int(a.Date - b.Date) })
	return out
}

// Words returns what may be told to everybody.
func (o *Opening) Words() PublicWords {
	l := announce.LanguageOf(o.Announcing.LanguageOf(o.Farm.Units))
	w := PublicWords{
		Language: l.Tag, Opening: l.Opening(o.State), Peak: l.Peak(o.State), Ripe: l.Ripe(o.State), Next: l.Next(o.State),
		Caution: l.Caution(), Texts: map[string]string{},
	}
	for _, t := range forecast.Texts {
		w.Texts[string(t)] = announce.Fill(t, o.Announcing, o.State)
	}
	return w
}

// Why returns what the advice rests on, in sentences for the farm's own people.
func (o *Opening) Why() []string {
	f, a := o.Farm, o.Forecast.Advice
	if a == nil {
		if len(o.Forecast.Days) > 0 {
			return []string{"This forecast was frozen by a program that gave no advice yet; the next one will."}
		}
		return []string{"Nothing can be forecast, so nothing can be advised."}
	}
	out := []string{o.whatIsReady(a)}
	at := func(d weather.Date) *forecast.DaySupply {
		for i := range o.Forecast.Days {
			if o.Forecast.Days[i].Date == d {
				return &o.Forecast.Days[i]
			}
		}
		return nil
	}
	// What was decided opens a day and advises nothing.
	allowed := func(d forecast.DaySupply) bool { return d.Opens && f.Opening.OpensOn(d.Date.Weekday()) }
	if o.IsOver() {
		return append(out, "The season is over: there is nothing left to advise.")
	}
	if a.Opening.Day == nil {
		best := 0.0
		for _, d := range o.Forecast.Days {
			if allowed(d) && d.Date >= o.Forecast.AsOf {
				best = max(best, d.Ready)
			}
		}
		return append(out, fmt.Sprintf("On no day that you open does that reach your confidence of %s in 100: the best has %s. Ask for less fruit or less confidence, or wait for a later forecast.",
			InHundred(a.Confidence), InHundred(best)))
	}
	day := *a.Opening.Day
	s := fmt.Sprintf("%s is the first of your open days on which at least %s in 100 possible seasons are ready: %s are.", f.Day(day), InHundred(a.Confidence), InHundred(*a.Opening.Probability))
	var before *forecast.DaySupply
	for i, d := range o.Forecast.Days {
		if allowed(d) && d.Date < day && d.Date >= o.Forecast.AsOf {
			before = &o.Forecast.Days[i]
		}
	}
	if before != nil {
		s += fmt.Sprintf(" On %s, the open day before, %s are.", f.Day(before.Date), InHundred(before.Ready))
	}
	out = append(out, s)
	if o.IsOpen() { // Nothing is waited for any more.
		return out
	}
	if a.Opening.Next != nil {
		out = append(out, fmt.Sprintf("Waiting until %s, the next open day, lets %s in 100 of the crop spoil.", f.Day(*a.Opening.Next), aboutInHundred(*a.Opening.PastIfNext)))
	}
	if m := a.MayMove; m != nil {
		out = append(out, o.howItMoves(m))
	}
	if d, decided, _ := o.Day(); decided && d != day {
		if s := at(d); s != nil {
			out = append(out, fmt.Sprintf("You have decided on %s: %s in 100 possible seasons are ready then.", f.Day(d), InHundred(s.Ready)))
		} else { // Such days are not published.
			out = append(out, fmt.Sprintf("You have decided on %s: in hardly any possible season is anything in its picking window then.", f.Day(d)))
		}
	}
	return out
}

func (o *Opening) whatIsReady(a *forecast.Advice) string {
	f, r := o.Farm, a.Ready
	var s string
	switch r.By {
	case forecast.ReadyByKg:
		s = fmt.Sprintf("Ready means %s of ripe fruit standing", f.Weight(*r.Kg))
	case forecast.ReadyByShare:
		of := "the first variety's crop"
		if r.FirstVarieties > 1 {
			of = fmt.Sprintf("the crop of the first %d varieties", r.FirstVarieties)
		}
		s = fmt.Sprintf("Ready means ripe fruit standing of %s in 100 of %s", InHundred(*r.Share), of)
	case forecast.ReadyByThin:
		s = fmt.Sprintf("You have not said what is ready, so it is the least that serves your crowd, %s of ripe fruit standing", f.Weight(*r.Kg))
	default:
		s = "You have not said what is ready, so any ripe fruit is"
	}
	var on []string
	for w := time.Sunday; w <= time.Saturday; w++ {
		if kg, ok := r.KgOn[forecast.WeekdayName(w)]; ok {
			on = append(on, fmt.Sprintf("%s on %ss", f.Weight(kg), w))
		}
	}
	if on != nil {
		s += "; " + strings.Join(on, ", ")
	}
	return s + "."
}

func (o *Opening) howItMoves(m *forecast.MayMove) string {
	if m.Opening.Days == nil {
		return fmt.Sprintf("As seen from %s, when you have to commit, none of %d possible seasons has a day to advise.", o.Farm.Day(m.By), m.Seasons)
	}
	s := fmt.Sprintf("By %s, when you have to commit, the advice is still the same in %s in 100 possible seasons, earlier in %s and later in %s",
		o.Farm.Day(m.By), aboutInHundred(m.Opening.Stays), InHundred(m.Opening.Earlier), InHundred(m.Opening.Later))
	lo, hi := m.Opening.Days.P10, m.Opening.Days.P90
	switch {
	case lo == 0 && hi == 0:
		return s + "."
	case lo >= 0:
		return fmt.Sprintf("%s, mostly by no more than %s.", s, countOf(hi, "day", "days"))
	case hi <= 0:
		return fmt.Sprintf("%s, mostly by no more than %s.", s, countOf(-lo, "day", "days"))
	}
	return fmt.Sprintf("%s, mostly by no more than %s earlier and %s later.", s, countOf(-lo, "day", "days"), countOf(hi, "day", "days"))
}

// InHundred writes a fraction as a whole number in a hundred; what is not quite
// all or nothing does not become it.
func InHundred(p float64) string {
	switch n := math.Round(100 * p); {
	case p > 0 && n == 0:
		return "fewer than 1"
	case p < 1 && n == 100:
		return "more than 99"
	default:
		return fmt.Sprint(int(n))
	}
}

// aboutInHundred is the same where "about" belongs before a number.
func aboutInHundred(p float64) string {
	if s := InHundred(p); s != "0" && s != "100" && !strings.Contains(s, " ") {
		return "about " + s
	}
	return InHundred(p)
}

// Chart returns the chart of readiness, or false when nothing was advised.
func (o *Opening) Chart() (charts.Readiness, bool) {
	f, a := o.Forecast, o.Forecast.Advice
	c := charts.Readiness{
		Heading: fmt.Sprintf("When to open, %s %d", o.Farm.Name, f.Season), Hindcast: f.Hindcast, AsOf: f.AsOf.Time(),
	}
	if o.Farm.Units == forecast.US {
		c.Units = charts.US
	}
	if a == nil {
		return c, false
	}
	why := o.Why()
	c.Confidence, c.Basis = a.Confidence, why[0]
	if len(why) > 1 {
		c.Finding = why[1]
	}
	for _, d := range f.Days {
		if d.Date >= f.AsOf && len(c.Days) < charts.MaxReadyDays { // A planting that hardly ripens makes a season long.
			c.Days = append(c.Days, charts.ReadyDay{Date: d.Date.Time(), Opens: d.Opens, Ready: d.Ready, Past: d.Past})
		}
	}
	if a.Opening.Day != nil {
		c.Advised = a.Opening.Day.Time()
	}
	if d, ok := forecast.Decided(o.Decisions, f.Season, forecast.DecideOpening); ok {
		c.Decided = d.Time()
	}
	for _, h := range o.Holidays() {
		c.Marks = append(c.Marks, charts.Mark{Date: h.Date.Time(), Label: h.Name})
	}
	return c, len(c.Days) > 0
}

type openingPicture struct {
	OpeningQuery
	Theme string `query:"theme" enum:"light,dark" default:"light" required:"false" doc:"Of the picture."`
	Width int    `query:"width" minimum:"320" maximum:"2400" default:"1200" required:"false" doc:"Of the picture, px."`
}

func (s *Server) openingPictures() {
	for _, ending := range []string{"svg", "png"} {
		mt := pictureTypes[ending]
		const what = "The chart of readiness by day, with the days that the farm opens on"
		add(s, Reader, huma.Operation{
			Method: http.MethodGet, Path: "/v1/farms/{farm}/opening." + ending, OperationID: "opening-" + ending, Tags: []string{"Opening"},
			Summary: what + ", as " + strings.ToUpper(ending), Errors: []int{http.StatusConflict},
			Responses: map[string]*huma.Response{"200": {Description: what, Content: map[string]*huma.MediaType{mt: {Schema: &huma.Schema{Type: huma.TypeString}}}}},
		}, func(ctx context.Context, in *openingPicture) (*frozenBody, error) {
			o, err := ReadOpening(ctx, s.store, s.forecast, in.Farm, in.Forecast, s.now())
			if err != nil {
				return nil, err
			}
			chart, ok := o.Chart()
			if !ok {
				return nil, errNoAdvice
			}
			key := drawingKey{o.Forecast, fmt.Sprint("readiness ", around(o.Farm, nil), chart.Decided, chart.Finding), mt, pictureOptions(in.Theme, in.Width)}
			return s.draw(ctx, key, func() drawable { return chart })
		})
	}
}
