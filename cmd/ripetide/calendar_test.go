package main

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/testdata"
	"ripetide/weather"
)

// putDemo puts the demo's farm by HTTP under another name, with what else a farm
// has, and all of its dates so many days later; but for what was planted in the
// demo's own year: it bears from the next calendar year on, which in the south
// begins amid the same summer.
func (s *service) putDemo(id, farm string, later weather.Date) testdata.Demo {
	s.t.Helper()
	d, err := testdata.ReadDemo()
	if err != nil {
		s.t.Fatal(err)
	}
	at := "/v1/farms/" + id
	s.json(201, "PUT", at, farm)
	s.json(201, "PUT", at+"/stations/post", `{"name":"Post","latitude":0,"longitude":0,"elevation_m":274,"stand_in":null,"suspects":"use"}`)
	for _, v := range d.Varieties {
		s.json(201, "PUT", at+"/varieties/"+v.ID, fmt.Sprintf(`{"name":%q,"ripens":%q}`, v.Name, v.Ripens))
	}
	d.Plantings = slices.DeleteFunc(d.Plantings, func(p forecast.Planting) bool { return p.PlantedOn.Year() == d.AsOf.Year() })
	for i := range d.Plantings {
		p := &d.Plantings[i]
		p.PlantedOn += later
		body := fmt.Sprintf(`{"variety":%q,"block":%q,"station":"post","planted_on":%q,"area_m2":%g`, p.Variety, p.Block, p.PlantedOn, p.AreaM2)
		if p.RemovedOn != nil {
			*p.RemovedOn += later
			body += fmt.Sprintf(`,"removed_on":%q`, p.RemovedOn)
		}
		s.json(201, "PUT", at+"/plantings/"+p.ID, body+"}")
	}
	for _, list := range [][]forecast.Sighting{d.Sightings, d.Later} {
		for i := range list {
			list[i].Date += later
		}
	}
	d.AsOf += later
	return d
}

// see records the sightings of some days, from after one until another.
func (s *service) see(farm string, list []forecast.Sighting, after, until weather.Date) {
	s.t.Helper()
	var items []string
	for _, x := range list {
		if after < x.Date && x.Date <= until {
			items = append(items, fmt.Sprintf(`{"planting":%q,"date":%q,"stage":%q,"seen":%t}`, x.Planting, x.Date, x.Stage, x.Seen))
		}
	}
	if len(items) == 0 {
		return
	}
	r := s.json(200, "POST", "/v1/farms/"+farm+"/sightings", `{"sightings":[`+strings.Join(items, ",")+`]}`)
	if refused := r["refused"].([]any); len(refused) != 0 {
		s.t.Fatalf("until %s: refused %v", until, refused)
	}
}

// The whole thread on a farm at 37 °S with the demo's weather, half a year
// earlier: bloom in November, fruit from December into January. All of it is one
// season, named by the year in which it ends; and its dates, gaps and lengths are
// those of the farm in the north, half a year away.
func TestASeasonAcrossNewYear(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	s := newServiceAt(t, clock.now)
	record, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	const half = 184 // Days of July to December.
	zone, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	const farm = "/v1/farms/south"
	through := weather.Date(math.MinInt32) // Of what was sent.
	send := func(last weather.Date) {
		t.Helper()
		var days []weather.Day
		for _, d := range record.Days() {
			if d.Date -= half; through < d.Date && d.Date <= last {
				days = append(days, d)
			}
		}
		s.call(200, "POST", farm+"/stations/post/days", "text/csv", csvOf(days))
		through = last
	}
	morning := func(d weather.Date) {
		y, m, day := d.Civil()
		clock.set(time.Date(y, m, day, 5, 40, 0, 0, zone))
	}
	d0, _ := demoMorning(t)
	morning(d0.AsOf - half - 21)
	d := s.putDemo("south", `{"name":"South","latitude":-37.8,"longitude":175.3,"time_zone":"Pacific/Auckland","units":"metric","thin_kg_per_day":113.4,"gap_probability":0.4}`, -half)
	if d.AsOf.String() != "2017-12-09" {
		t.Fatalf("the demo's morning is %s in the south", d.AsOf)
	}

	// Morning by morning, into the new year.
	var f map[string]any
	seen := weather.Date(math.MinInt32)
	all := append(append([]forecast.Sighting{}, d.Sightings...), d.Later...)
	for _, n := range []weather.Date{-21, -7, 0, 7, 22, 24} {
		on := d.AsOf + n
		morning(on)
		send(on - 1)
		s.see("south", all, seen, on)
		seen = on
		x := s.json(201, "POST", farm+"/forecasts", "")
		if x["season"] != 2018.0 || x["hindcast"] != false || x["as_of"] != on.String() {
			t.Errorf("the forecast of %s is of season %v, as of %v, hindcast %v", on, x["season"], x["as_of"], x["hindcast"])
		}
		if n == 0 {
			f = x
		}
	}
	if d.AsOf+22 != weather.DateOf(2017, time.December, 31) {
		t.Fatal("no morning on either side of New Year")
	}

	// The season's dates begin in one year and end in the next; none is elsewhere.
	type overlap struct {
		Forecast, Description string
		Season                int
		Plantings             []forecast.PlantingDates
		Gaps                  []forecast.Gap
		Days                  []struct{ Date weather.Date }
	}
	read := func(path string) (o overlap) {
		t.Helper()
		if err := json.Unmarshal(s.call(200, "GET", path, "", ""), &o); err != nil {
			t.Fatal(err)
		}
		return o
	}
	o := read(farm + "/seasons/2018/overlap.json?forecast=" + f["id"].(string))
	if o.Season != 2018 {
		t.Errorf("the overlap is of season %d", o.Season)
	}
	first, last := forecast.SeasonBounds(2018, true)
	south := map[string]*forecast.PlantingDates{}
	years := map[int]int{}
	for i, p := range o.Plantings {
		south[p.Planting] = &o.Plantings[i]
		if p.Stages == nil {
			continue
		}
		for _, x := range []forecast.DateRange{p.Stages.FirstRipe, p.Stages.Peak, p.Stages.LastPick} {
			years[x.P50.Year()]++
			if x.P10 < first || x.P90 > last || x.P50.Year() == 2017 && x.P50.Time().Month() < time.November || x.P50.Year() == 2018 && x.P50.Time().Month() > time.January {
				t.Errorf("%s: %s to %s is not of this season", p.Planting, x.P10, x.P90)
			}
		}
	}
	if years[2017] < 5 || years[2018] < 3 || len(years) != 2 {
		t.Errorf("dates by year: %v, want some of 2017 and some of 2018", years)
	}
	for _, y := range []string{"2017", "2019"} {
		s.json(404, "GET", farm+"/seasons/"+y+"/overlap.json", "")
	}
	bloom := 0
	for _, x := range s.json(200, "GET", farm+"/sightings?season=2018", "")["sightings"].([]any) {
		date := x.(map[string]any)["date"].(string)
		if date < "2017-07-01" || date > "2018-01-02" {
			t.Errorf("a sighting of %s is told as one of season 2018", date)
		}
		if x.(map[string]any)["stage"] == "bloom_10" && strings.HasPrefix(date, "2017-1") {
			bloom++
		}
	}
	if bloom < 5 {
		t.Errorf("%d plantings that bloomed in 2017 are in season 2018", bloom)
	}
	page, _ := signedIn(s, "reader").do(200, "GET", "/f/south/season/2018")
	text := plainText(page)
	if !regexp.MustCompile(`\bDec \d|\d\d? Dec\b`).MatchString(text) || !regexp.MustCompile(`\bJan \d|\d\d? Jan\b`).MatchString(text) || !strings.Contains(text, "2018") {
		t.Errorf("the page of the season does not tell of December and January:\n%.1500s", text)
	}

	// An opening day of December belongs to the season that ends the year after.
	s.json(201, "PUT", farm+"/seasons/2018/decisions/opening", `{"day":"2018-01-03"}`)
	if res, body := s.plain("PUT", farm+"/seasons/2017/decisions/opening", "application/json", []byte(`{"day":"2018-01-03"}`)); res.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("an opening day of January 2018 in season 2017: %s\n%s", res.Status, body)
	}

	// The end of the season, and what was said of it beside what came.
	end := weather.DateOf(2018, time.February, 20)
	morning(end)
	send(end - 1)
	s.see("south", all, seen, end)
	var r struct {
		Season int
		Rows   []struct {
			Planting, Stage, Lead string
			Came                  json.RawMessage
			Said                  *struct {
				Forecast string
				P50      weather.Date `json:"p50"`
			}
			Error *int `json:"error_days"`
		}
	}
	if err := json.Unmarshal(s.call(200, "GET", farm+"/reviews/2018", "", ""), &r); err != nil {
		t.Fatal(err)
	}
	came := map[string]weather.Date{}
	for _, x := range all {
		if x.Seen && x.Date >= first && x.Date <= last {
			came[x.Planting+" "+x.Stage.String()] = x.Date
		}
	}
	judged := map[int]int{}
	for _, x := range r.Rows {
		if x.Said == nil || x.Error == nil {
			continue
		}
		on := came[x.Planting+" "+x.Stage]
		judged[on.Year()]++
		if got := int(x.Said.P50 - on); *x.Error != got {
			t.Errorf("%s %s %s: said %s, came %s: an error of %d days is told", x.Planting, x.Stage, x.Lead, x.Said.P50, on, *x.Error)
		}
	}
	if r.Season != 2018 || judged[2017] < 3 || judged[2018] < 3 {
		t.Errorf("season %d: judged by the year in which it came %v", r.Season, judged)
	}
	for _, y := range []string{"2017", "2019"} {
		if res, body := s.plain("GET", farm+"/reviews/"+y, "", nil); res.StatusCode == http.StatusOK && strings.Contains(string(body), f["id"].(string)) {
			t.Errorf("the review of %s has a forecast of 2018", y)
		}
	}

	// The same farm in the north: dates, lengths and gaps are half a year apart.
	clock.set(clock.now().AddDate(1, 0, 0))
	n := s.putDemo("north", `{"name":"North","latitude":37.8,"longitude":-83.7,"time_zone":"America/Detroit","units":"metric","thin_kg_per_day":113.4,"gap_probability":0.4}`, 0)
	s.call(200, "POST", "/v1/farms/north/stations/post/days", "text/csv", csvOf(record.Until(n.AsOf-1).Days()))
	s.see("north", n.Sightings, math.MinInt32, n.AsOf)
	g := s.json(201, "POST", "/v1/farms/north/forecasts?as_of="+n.AsOf.String(), "")
	on := read("/v1/farms/north/seasons/2018/overlap.json?forecast=" + g["id"].(string))
	near := func(what string, a, b weather.Date) {
		t.Helper()
		if off := a + half - b; off < -1 || off > 1 {
			t.Errorf("%s: %s in the south, %s in the north", what, a, b)
		}
	}
	compared := 0
	for _, p := range on.Plantings {
		q := south[p.Planting]
		if p.Stages == nil || q == nil || q.Stages == nil {
			continue
		}
		compared++
		near(p.Planting+" first ripe", q.Stages.FirstRipe.P50, p.Stages.FirstRipe.P50)
		near(p.Planting+" last pick", q.Stages.LastPick.P50, p.Stages.LastPick.P50)
	}
	if compared < 8 || len(on.Gaps) == 0 || len(on.Gaps) != len(o.Gaps) {
		t.Fatalf("%d plantings have dates in both, with %d gaps in the south and %d in the north", compared, len(o.Gaps), len(on.Gaps))
	}
	for i, x := range on.Gaps {
		near("gap", o.Gaps[i].From, x.From)
		near("gap", o.Gaps[i].To, x.To)
	}
}

// A farm in the far south of the north, where strawberries bloom in winter (from
// memory): bloom on 29 February, sums over it, and holes about it.
func TestTheLeapDay(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	clock.set(time.Date(2020, 3, 10, 12, 0, 0, 0, time.UTC))
	s := newServiceAt(t, clock.now)
	const farm, days = "/v1/farms/f", "/v1/farms/f/stations/post/days"
	s.json(201, "PUT", farm, `{"name":"F","latitude":28,"longitude":-82,"time_zone":"America/New_York","units":"metric"}`)
	s.json(201, "PUT", farm+"/stations/post", `{"name":"Post","latitude":28,"longitude":-82,"elevation_m":10,"stand_in":null,"suspects":"use"}`)
	s.json(201, "PUT", farm+"/varieties/v", `{"name":"V","ripens":"mid"}`)
	for _, p := range []string{"leap", "early"} {
		s.json(201, "PUT", farm+"/plantings/"+p, `{"variety":"v","block":"`+p+`","station":"post","planted_on":"2015-10-01","area_m2":1000}`)
	}
	// Every day has a low of 10 °C and a high of 20, a little more or less in past
	// years: between base and cutoff it gives the mean of both less the base,
	// 15 - 3 = 12 °C·d.
	const perDay = 12
	var record []weather.Day
	for d := weather.DateOf(2004, time.January, 1); d < weather.DateOf(2020, time.March, 10); d++ {
		off := float64((d.Year()*7)%5-2) / 2
		if d.Year() == 2020 {
			off = 0
		}
		record = append(record, weather.Day{Date: d, Min: 10 + off, Max: 20 + off})
	}
	s.call(200, "POST", days, "text/csv", csvOf(record))
	got := s.json(200, "GET", days+"?from=2020-02-29&to=2020-02-29", "")["days"].([]any)
	if len(got) != 1 || got[0].(map[string]any)["date"] != "2020-02-29" {
		t.Errorf("the leap day is %v", got)
	}
	if got := s.json(200, "GET", days+"?from=2020-02-29", "")["days"].([]any); len(got) != 10 { // 29 February to 9 March.
		t.Errorf("%d days from 29 February to 9 March", len(got))
	}
	if got := s.json(200, "GET", days+"?from=2020-01-01", "")["days"].([]any); len(got) != 31+29+9 {
		t.Errorf("%d days from New Year to 9 March 2020", len(got))
	}
	for _, y := range []string{"2019", "1900"} {
		if res, _ := s.plain("GET", days+"?from="+y+"-02-29", "", nil); res.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s has a 29 February: %s", y, res.Status)
		}
	}

	s.see("f", []forecast.Sighting{
		{Planting: "leap", Date: weather.DateOf(2020, time.February, 29), Stage: forecast.Bloom10, Seen: true},
		{Planting: "early", Date: weather.DateOf(2020, time.February, 10), Stage: forecast.Bloom10, Seen: true},
		{Planting: "early", Date: weather.DateOf(2019, time.February, 10), Stage: forecast.Bloom10, Seen: true},
	}, 0, weather.DateOf(2020, time.March, 1))
	sums := func(asOf string) map[string]float64 {
		t.Helper()
		out := map[string]float64{}
		for _, p := range s.json(200, "POST", farm+"/forecasts?freeze=false&as_of="+asOf, "")["plantings"].([]any) {
			p := p.(map[string]any)
			if x, ok := p["degree_days_since_bloom"].(float64); ok {
				out[p["planting"].(string)] = x
			}
			if bloom := p["bloom"].(map[string]any); p["planting"] == "leap" && asOf > "2020-02-29" && bloom["date"] != "2020-02-29" {
				t.Errorf("as of %s bloom is %v", asOf, bloom)
			}
		}
		return out
	}
	for _, tt := range []struct {
		asOf, planting string
		days           float64 // After bloom, through the day before.
	}{
		{"2020-03-01", "leap", 0},
		{"2020-03-10", "leap", 9},
		{"2020-02-29", "early", 18},
		{"2020-03-01", "early", 19},
		{"2020-03-10", "early", 19 + 9}, // 11 to 29 February and 1 to 9 March.
	} {
		if got, want := sums(tt.asOf)[tt.planting], tt.days*perDay; math.Abs(got-want) > 0.06 {
			t.Errorf("as of %s, %s has %.2f °C·d since bloom, by hand %g", tt.asOf, tt.planting, got, want)
		}
	}
	y2019 := float64(2019*7%5-2) / 2
	if got, want := sums("2019-03-10")["early"], (18+9)*(perDay+y2019); math.Abs(got-want) > 0.06 {
		t.Errorf("in a common year %.2f °C·d since bloom, by hand %g", got, want)
	}
	// First ripe as the chart has it is on a day that there is, in order.
	f := s.json(201, "POST", farm+"/forecasts", "")
	for _, p := range s.json(200, "GET", farm+"/seasons/2020/overlap.json?forecast="+f["id"].(string), "")["plantings"].([]any) {
		st, ok := p.(map[string]any)["stages"].(map[string]any)
		if !ok {
			t.Errorf("%v has no dates", p)
			continue
		}
		if ripe := st["first_ripe"].(map[string]any)["p50"].(string); ripe <= "2020-03-10" || ripe > "2020-06-30" {
			t.Errorf("first ripe is %s", ripe)
		}
	}

	// Holes from 28 February to 1 March: three days in a leap year, two in another.
	s.json(201, "PUT", farm+"/stations/gap", `{"name":"Gap","latitude":28,"longitude":-82,"elevation_m":10,"stand_in":null,"suspects":"use"}`)
	var rest []weather.Day
	for _, d := range record {
		if s := d.Date.String()[5:]; d.Date.Year() < 2019 || s != "02-28" && s != "02-29" && s != "03-01" {
			rest = append(rest, d)
		}
	}
	s.call(200, "POST", farm+"/stations/gap/days", "text/csv", csvOf(rest))
	h := s.json(200, "GET", farm+"/stations/gap/health", "")["holes"].(map[string]any)
	want := "map[count:2 days:5 latest:[map[from:2019-02-28 to:2019-03-01] map[from:2020-02-28 to:2020-03-01]]]"
	if fmt.Sprint(h) != want {
		t.Errorf("holes %v, want %s", h, want)
	}
}
