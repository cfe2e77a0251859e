package pages

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"ripetide/api"
	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

// addWeather adds the pages about stations and their records.
func (p *Pages) addWeather() {
	const station = "/f/:farm/weather/:station"
	p.get("/f/:farm/weather", p.weather)
	p.get(station, p.station)
	p.get(station+"/record.svg", p.recordPicture)
	p.get(station+"/day/:date", p.dayPage)
	p.post(station+"/day", api.Grower, p.enterDay)
	p.post(station+"/verdict", api.Grower, p.giveVerdict)
	p.post(station+"/hours", api.Owner, p.setHours)
	p.page(http.MethodGet, station+"/file", api.Grower, p.filePage)
	p.post(station+"/file", api.Grower, p.takeFile)
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		p.page(method, station+"/feeds/add", api.Owner, p.editFeed)
		p.page(method, station+"/feed/:feed", api.Owner, p.editFeed)
	}
	p.post(station+"/feed/:feed/fetch", api.Grower, p.fetchFeed)
	p.post(station+"/feed/:feed/pause", api.Owner, p.pauseFeed)
	p.post(station+"/feed/:feed/remove", api.Owner, p.removeFeed)
}

// weatherPage lists stations.
type weatherPage struct{ Stations []stationLine }

// stationLine is a station in a list.
type stationLine struct {
	ID, Name            string
	Fresh               bool // Nothing is on record.
	Lead, Holes, Doubts string
}

// weather lists the stations of a farm, or leads to the only one.
func (p *Pages) weather(v *visit) error {
	stations, err := p.Store.Stations(v.Request().Context(), v.farm.ID)
	if err != nil {
		return err
	}
	if len(stations) == 1 {
		return v.Redirect(http.StatusSeeOther, stationPath(v, stations[0].ID))
	}
	page := weatherPage{}
	if len(stations) > 0 {
		for _, s := range stations {
			x, err := p.lookAt(v, s.ID)
			if err != nil {
				return err
			}
			holes, doubts := x.holeWords(), x.doubtWords()
			page.Stations = append(page.Stations, stationLine{s.ID, s.Name, x.health.Last == nil, x.lead(), holes[0], doubts[0]})
		}
	}
	return p.render(v, http.StatusOK, v, "weather", "Weather", page)
}

func stationPath(v *visit, station string) string { return "/f/" + v.farm.ID + "/weather/" + station }

// look is what is known of a station at this moment.
type look struct {
	*known
	farm  *forecast.Farm
	now   time.Time
	zone  *time.Location
	today weather.Date
	fixed []api.StationDay // In the last days, see correctionDays.
}

// correctionDays is how long a correction counts as a late one, and corrections
// how many are shown.
const (
	correctionDays = 30
	corrections    = 20
)

// stationPage is a station: how its record stands, and what can be done.
type stationPage struct {
	Name, Base  string
	Several     bool   // The farm has other stations.
	Done, Fault string // What was just done, or what could not be.
	Lead        string
	Facts       []fact
	Proposal    *proposal
	HoursSet    bool
	Chart       *picture  // Nil without days.
	Picture     string    // What it shows, in words.
	Holes       []holeRow // Of this season.
	PastHoles   []holeRow
	OlderHoles  int
	Doubts      []doubtRow
	Older       string // Address of older doubts; "".
	Before      string // The page shows doubts before this date; "".
	Enter       enterForm
	StandIn     string
	Months      []monthRow
	Fixed       []fixedRow
	Feeds       []feedView
	Unit        string
	Terms       bool   // There is an Open-Meteo feed.
	Grower      bool   // May record.
	Owner       bool   // May set up.
	Fresh       bool   // Nothing is on record.
	RuleIsUse   bool   // Doubted days are used by the station's rule.
	LastISO     string // Date that the form for a day begins with.
}

// feedPart is a feed with what its buttons need.
type feedPart struct {
	F             feedView
	Base          string
	Grower, Owner bool
}

// WithFeed is for the template.
func (p stationPage) WithFeed(f feedView) feedPart { return feedPart{f, p.Base, p.Grower, p.Owner} }

// holeRow is a hole in a table.
type holeRow struct{ When, Days, Filled string }

// doubtRow is a doubted or judged day in a table, or a run of days that are
// doubted for one reason.
type doubtRow struct {
	ISO, Date, Low, High string
	Through              string     // Last day of a run; "" for a day.
	Days                 []doubtRow // Of a run.
	MoreDays             int        // Of it besides.
	Tests                []testWords
	State                string // "left out" or "used".
	Verdict              string // Who said what; "" for nobody.
	Judged               bool
}

// testWords is what a test says of a day.
type testWords struct{ Letter, Words, Figures string }

// monthRow is by how much the station differs from its stand-in.
type monthRow struct {
	Month, Low, High string
	Days             int
}

// fixedRow is a correction.
type fixedRow struct{ ISO, Date, Low, High, Source, When string }

// proposal is hours of reading to accept.
type proposal struct {
	What    []string
	Why     string
	Figures string
	Values  []string // As the form sends them.
}

const (
	holeRows  = 60
	doubtRows = 15
	runDays   = 31
)

// done says what a change has done, by the word in the address.
var done = map[string]string{
	"run":      "Your word on those days is on record. The next forecast goes by it.",
	"norun":    "The word on those days is taken back: the rule decides again.",
	"verdict":  "Your word on that day is on record. The next forecast goes by it.",
	"taken":    "The word on that day is taken back: the rule decides again.",
	"hours":    "The hour of reading is set. The next forecast uses the highs on the days they belong to.",
	"civil":    "The days are taken as civil days again, from midnight to midnight.",
	"added":    "The day is on record. The next forecast uses it.",
	"fixed":    "The day is corrected. What it was before stays in its history.",
	"same":     "The day was on record with just these values: nothing has changed.",
	"fetched":  "It was fetched: what came of it stands below.",
	"feed":     "The feed is saved.",
	"paused":   "The feed rests until you let it go on.",
	"resumed":  "The feed goes on.",
	"removed":  "The feed is taken away. What it has delivered stays.",
	"replaced": "The day is replaced. What it was before stays in its history.",
}

func (p *Pages) station(v *visit) error {
	return p.showStation(v, http.StatusOK, stationPage{})
}

// showStation renders a station; page holds what a form has left: its fault and
// what was typed.
func (p *Pages) showStation(v *visit, status int, page stationPage) error {
	ctx := v.Request().Context()
	x, err := p.lookAt(v, v.Param("station"))
	if err != nil {
		return err
	}
	all, err := p.Store.Stations(ctx, v.farm.ID)
	if err != nil {
		return err
	}
	page.Name, page.Base, page.Several = x.record.Station.Name, stationPath(v, x.record.Station.ID), len(all) > 1
	page.Done = cmp.Or(page.Done, done[v.QueryParam("done")])
	page.Grower, page.Owner = v.may(api.Grower), v.may(api.Owner)
	page.Unit = degreeUnit(&v.farm)
	page.Lead, page.Facts, page.Proposal = x.lead(), x.facts(), x.proposal()
	page.HoursSet = len(x.health.Hours) > 0
	page.Fresh = x.health.Last == nil
	page.RuleIsUse = x.record.Station.Suspects == weather.UseSuspects
	c, err := p.drawn(ctx, x)
	if err != nil {
		return err
	}
	if c.there {
		page.Picture = c.words
		page.Chart = newPicture(page.Base+"/record.svg", nil, "Chart of the daily lows and highs; the same in words below")
	}
	page.Holes, page.PastHoles, page.OlderHoles = x.holeRows()
	x.doubtRows(&page, v.QueryParam("before"))
	page.StandIn, page.Months = x.standIn, x.months()
	for _, d := range x.fixed {
		page.Fixed = append(page.Fixed, fixedRow{
			d.Date.String(), x.date(d.Date), temperature(d.Min, v.farm.Units), temperature(d.Max, v.farm.Units),
			sourceWords(d.Source), ago(x.now, d.ReceivedAt),
		})
	}
	page.LastISO = (x.today - 1).String()
	if page.Enter.Date == "" {
		page.Enter.Date = page.LastISO
	}
	page.Enter.Unit = page.Unit
	if page.Feeds, err = p.feeds(v, x); err != nil {
		return err
	}
	for _, f := range page.Feeds {
		page.Terms = page.Terms || f.Model
	}
	return p.render(v, status, v, "weather-station", page.Name, page)
}

// doubtRows fills in the doubted and judged days before a date, the latest
// first.
func (x *look) doubtRows(page *stationPage, before string) {
	last := x.today
	if d, err := weather.ParseDate(before); err == nil {
		last, page.Before = min(last, d), before
	}
	verdicts := map[weather.Date]weather.Verdict{}
	var dates []weather.Date
	for _, w := range x.record.Verdicts {
		verdicts[w.Date] = w
		dates = append(dates, w.Date)
	}
	for _, s := range x.health.Suspects {
		dates = append(dates, s.Date)
	}
	slices.Sort(dates)
	dates = slices.Compact(dates)
	for len(dates) > 0 && dates[len(dates)-1] >= last {
		dates = dates[:len(dates)-1]
	}
	reasons := map[weather.Date]string{}
	for _, t := range x.health.Suspects {
		reasons[t.Date] += string(t.Test) + " "
	}
	// Days on end that are doubted for one reason are judged together.
	var runs [][]weather.Date // The latest first.
	for i := len(dates); i > 0 && len(runs) < doubtRows; {
		j := i - 1
		for j > 0 && dates[j-1] == dates[j]-1 && reasons[dates[j]] != "" && reasons[dates[j-1]] == reasons[dates[j]] {
			j--
		}
		runs = append(runs, dates[j:i])
		if i = j; j > 0 && len(runs) == doubtRows {
			page.Older = page.Base + "?before=" + dates[j].String() + "#doubts"
		}
	}
	if len(runs) > 0 {
		dates = dates[len(dates)-totalDays(runs):]
	}
	tests := map[weather.Date][]testWords{}
	for _, s := range x.health.Suspects { // In words only those that are shown.
		if _, shown := slices.BinarySearch(dates, s.Date); shown {
			t := testNames[s.Test]
			tests[s.Date] = append(tests[s.Date], testWords{t.letter, t.words, figuresOf(x.farm, lowHigh(s.Detail))})
		}
	}
	day := func(d weather.Date) doubtRow {
		row := doubtRow{ISO: d.String(), Date: x.date(d), Tests: tests[d], State: "used"}
		if day, ok := dayAt(x.aligned, d); ok {
			row.Low, row.High = temperature(day.Min, x.farm.Units), temperature(day.Max, x.farm.Units)
		}
		if _, left := slices.BinarySearch(x.health.LeftOut, d); left {
			row.State = "left out"
		}
		if w, ok := verdicts[d]; ok {
			row.Judged, row.Verdict = true, verdictWords(w)
		}
		return row
	}
	for _, run := range runs {
		first, last := run[0], run[len(run)-1]
		row := day(first)
		if len(run) > 1 {
			row = x.runRow(run, day)
			row.Date, row.Through = spanNear(x.farm, first, last, x.today), last.String()
		}
		page.Doubts = append(page.Doubts, row)
	}
}

func totalDays(runs [][]weather.Date) (n int) {
	for _, r := range runs {
		n += len(r)
	}
	return n
}

// runRow is a run of days that are doubted for one reason; day is a day of it.
func (x *look) runRow(run []weather.Date, day func(weather.Date) doubtRow) doubtRow {
	out := doubtRow{ISO: run[0].String()}
	left := 0
	for k, d := range run {
		r := day(d)
		if k == 0 {
			out.Tests = slices.Clone(r.Tests)
		}
		for i := range out.Tests {
			if i < len(r.Tests) && out.Tests[i].Figures != r.Tests[i].Figures {
				out.Tests[i].Figures = "" // Those of the days differ.
			}
		}
		if r.State == "left out" {
			left++
		}
		out.Judged = out.Judged || r.Judged
		if len(run)-k <= runDays {
			out.Days = append(out.Days, r)
		}
	}
	out.MoreDays = len(run) - len(out.Days)
	switch left {
	case 0:
		out.State = "all used"
	case len(run):
		out.State = "all left out"
	default:
		out.State = fmt.Sprintf("%d of %d left out", left, len(run))
	}
	return out
}

// holeRows returns the holes that reach into this season, the latest of those
// before it, each the latest first, and how many there are besides.
func (x *look) holeRows() (now, before []holeRow, older int) {
	lent := map[weather.Date]bool{}
	if s := x.health.StandIn; s != nil {
		for _, d := range s.LentDays {
			lent[d.Date] = true
		}
	}
	season, _ := forecast.SeasonBounds(x.health.Leaning.Season, x.farm.Southern())
	for _, h := range slices.Backward(x.openHoles()) {
		if h.To < season && len(before) == holeRows {
			older++
			continue
		}
		n := 0
		for d := h.From; d <= h.To; d++ {
			if lent[d] {
				n++
			}
		}
		row := holeRow{spanNear(x.farm, h.From, h.To, x.today), count(h.Len(), "day", "days"), x.filled(h, n)}
		if h.To < season {
			before = append(before, row)
		} else {
			now = append(now, row)
		}
	}
	return now, before, older
}

// recordPicture draws the last twelve months of a record.
func (p *Pages) recordPicture(v *visit) error {
	x, err := p.lookAt(v, v.Param("station"))
	if err != nil {
		return err
	}
	opt := charts.Options{Fixed: true}
	if v.QueryParam("theme") == "dark" {
		opt.Theme = charts.Dark
	}
	if w, err := strconv.Atoi(v.QueryParam("width")); err == nil {
		opt.Width = min(max(w, 320), 2400)
	}
	d, err := p.picture(v.Request().Context(), x, opt)
	if err != nil {
		return err
	}
	return svg(v, d)
}
