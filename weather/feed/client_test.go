package feed_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ripetide/weather"
	"ripetide/weather/feed"
)

// clock is a clock that is set by hand.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

func at(t *testing.T, s string) *clock {
	t.Helper()
	c := &clock{}
	c.set(t, s)
	return c
}

func (c *clock) set(t *testing.T, s string) {
	t.Helper()
	now, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	c.to(now)
}

func (c *clock) to(now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = now
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

var loopback = []netip.Prefix{netip.MustParsePrefix("127.0.0.1/32")}

// client returns a client that may reach the servers of tests and whose jitter
// is always half of what it may be.
func client(c *clock, change ...func(*feed.Options)) *feed.Client {
	opt := feed.Options{
		Now: c.Now, Rand: func() float64 { return 0.5 }, UserAgent: "ripetide/test", Allow: loopback,
		Limits: feed.Limits{Connect: 5 * time.Second, Header: 20 * time.Second, Whole: 30 * time.Second},
	}
	for _, f := range change {
		f(&opt)
	}
	return feed.NewClient(opt)
}

// service is a server that remembers what it was asked.
type service struct {
	*httptest.Server
	mu    sync.Mutex
	asked []asked
}

type asked struct {
	method, path string
	query        map[string][]string
	header       http.Header
	body         string
}

// serve answers by h.
func serve(t *testing.T, h http.HandlerFunc) *service {
	t.Helper()
	return start(t, h, (*httptest.Server).Start)
}

func serveTLS(t *testing.T, h http.HandlerFunc) *service {
	t.Helper()
	return start(t, h, (*httptest.Server).StartTLS)
}

func start(t *testing.T, h http.HandlerFunc, how func(*httptest.Server)) *service {
	t.Helper()
	s := &service{}
	s.Server = httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		s.mu.Lock()
		s.asked = append(s.asked, asked{r.Method, r.URL.Path, r.URL.Query(), r.Header.Clone(), string(body)})
		s.mu.Unlock()
		h(w, r)
	}))
	how(s.Server)
	t.Cleanup(s.Close)
	return s
}

// requests returns what was asked so far.
func (s *service) requests() []asked {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.asked)
}

// text answers 200 with a body.
func text(body string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, body) }
}

// sample reads a file of the formats' samples.
func sample(t testing.TB, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "weather", "formats", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func date(t testing.TB, s string) weather.Date {
	t.Helper()
	d, err := weather.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// fetch fetches once, by way of a state that was stored and read again.
func fetch(t *testing.T, c *feed.Client, s feed.Spec, z *time.Location, st feed.State) (feed.Result, feed.State) {
	t.Helper()
	res, next := c.Fetch(t.Context(), s, z, stored(t, st))
	if res.Detail == "" || !strings.HasSuffix(res.Detail, ".") {
		t.Errorf("detail is %q, want a sentence", res.Detail)
	}
	return res, next
}

// stored returns a state as it comes back from a store.
func stored(t *testing.T, st feed.State) feed.State {
	t.Helper()
	b, err := json.Marshal(st)
	if err != nil {
		t.Fatal(err)
	}
	var again feed.State
	if err := json.Unmarshal(b, &again); err != nil {
		t.Fatal(err)
	}
	return again
}

func wantOutcome(t *testing.T, r feed.Result, o feed.Outcome, words ...string) {
	t.Helper()
	if r.Outcome != o {
		t.Fatalf("outcome %s, want %s: %s (%v)", r.Outcome, o, r.Detail, r.Err)
	}
	for _, w := range words {
		if !strings.Contains(r.Detail, w) {
			t.Errorf("detail %q does not say %q", r.Detail, w)
		}
	}
}

const contact = "grower@example.org"

func meteoSpec(address string) feed.Spec {
	return feed.Spec{
		ID: "model", Kind: feed.OpenMeteo, Address: address,
		Latitude: 52.52, Longitude: 13.419998, Contact: contact, Every: 3 * time.Hour,
	}
}

func acisSpec(address string) feed.Spec {
	return feed.Spec{ID: "coop", Kind: feed.ACIS, Address: address, SourceStation: "USC00200230", Every: 6 * time.Hour}
}

func nceiSpec(address string) feed.Spec {
	return feed.Spec{ID: "summaries", Kind: feed.NCEI, Address: address, SourceStation: "USC00200230", Every: 24 * time.Hour}
}

// berlin is the morning at which the sample of Open-Meteo (values of 24 to
// 30 November 2021) has three days behind it.
const berlin = "2021-11-27T06:00:00Z"

func TestOpenMeteoGivesDaysUntilYesterdayAndAnOutlookFromToday(t *testing.T) {
	t.Parallel()
	c := at(t, berlin)
	s := serve(t, text(sample(t, "openmeteo_berlin.json")))
	res, st := fetch(t, client(c), meteoSpec(s.URL), zone(t, "Europe/Berlin"), feed.State{})
	wantOutcome(t, res, feed.New, "3 observed days from 2021-11-24 to 2021-11-26", "4 days from 2021-11-27 to 2021-11-30")
	want := []weather.Day{ // openmeteo_berlin.json, daily.
		{Date: date(t, "2021-11-24"), Min: 5.5, Max: 7.6},
		{Date: date(t, "2021-11-25"), Min: 0.2, Max: 5.4},
		{Date: date(t, "2021-11-26"), Min: 1.8, Max: 4.8},
	}
	if !slices.Equal(res.Days.Days, want) {
		t.Errorf("days %v, want %v", res.Days.Days, want)
	}
	if len(res.Days.Refused) != 0 {
		t.Errorf("days ahead are no refusals, but these are: %v", res.Days.Refused)
	}
	ahead := res.Outlook.Days.Days()
	if len(ahead) != 4 || ahead[0] != (weather.Day{Date: date(t, "2021-11-27"), Min: -0.1, Max: 4.5}) {
		t.Errorf("outlook %v, want four days from 4.5/-0.1 on 27 November", ahead)
	}
	if !res.Outlook.IssuedAt.Equal(c.Now()) {
		t.Errorf("issued %v, want the moment of the request, for the service does not tell", res.Outlook.IssuedAt)
	}
	if st.LastDay != date(t, "2021-11-26") || !st.LastOK.Equal(c.Now()) || st.Failures != 0 {
		t.Errorf("state %+v", st)
	}
	r := s.requests()[0]
	wantQuery := map[string][]string{
		"latitude": {"52.52"}, "longitude": {"13.42"}, "daily": {"temperature_2m_max,temperature_2m_min"},
		"temperature_unit": {"celsius"}, "timezone": {"Europe/Berlin"}, "past_days": {"30"}, "forecast_days": {"14"},
	}
	if r.method != http.MethodGet || r.path != "/v1/forecast" || fmt.Sprint(r.query) != fmt.Sprint(wantQuery) {
		t.Errorf("asked %s %s %v, want %v", r.method, r.path, r.query, wantQuery)
	}
	if got := r.header.Get("User-Agent"); got != "ripetide/test (grower@example.org)" {
		t.Errorf("User-Agent %q", got)
	}
}

func TestOpenMeteoAnswersAgainAndAgain(t *testing.T) {
	t.Parallel()
	c := at(t, berlin)
	s := serve(t, text(sample(t, "openmeteo_berlin.json")))
	cl, z := client(c), zone(t, "Europe/Berlin")
	_, st := fetch(t, cl, meteoSpec(s.URL), z, feed.State{})
	c.set(t, "2021-11-27T09:30:00Z")
	res, st := fetch(t, cl, meteoSpec(s.URL), z, st)
	wantOutcome(t, res, feed.Unchanged)
	if res.Days != nil || res.Outlook != nil {
		t.Error("the same days and outlook are delivered twice")
	}
	// Days are asked again ten days back from the day after the newest one.
	if got := s.requests()[1].query["past_days"]; got[0] != "10" {
		t.Errorf("past_days %v, want 10", got)
	}
	// The next morning the same answer has one day more behind it.
	c.set(t, "2021-11-28T06:00:00Z")
	res, _ = fetch(t, cl, meteoSpec(s.URL), z, st)
	wantOutcome(t, res, feed.New, "4 observed days", "3 days from 2021-11-28")
	if got := s.requests()[2].query["past_days"]; got[0] != "11" { // 17 to 27 November: 26 + 1 - 10.
		t.Errorf("past_days %v, want 11", got)
	}
}

func TestAFeedThatWasAwayAsksForWhatItMissed(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, last string // The newest day delivered, or "".
		history    int
		first      string // Asked for, on 27 November 2021.
	}{
		{"never asked", "", 0, "2021-10-28"},                                  // 30 days.
		{"never asked, with a longer history", "", 60, "2021-09-28"},          // 60 days.
		{"never asked, with too long a history", "", 400, "2021-08-27"},       // 92 days.
		{"asked yesterday", "2021-11-26", 0, "2021-11-17"},                    // 27 - 10.
		{"has a day that is not yet", "2021-12-05", 0, "2021-11-17"},          // Today - 10.
		{"away for three weeks", "2021-11-05", 0, "2021-10-27"},               // 6 November - 10.
		{"away for longer than services give", "2021-01-01", 0, "2021-08-27"}, // 92 days.
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := serve(t, text("[]"))
			cl := client(at(t, berlin), func(o *feed.Options) { o.History = tt.history })
			spec := nceiSpec(s.URL)
			_, st := fetch(t, cl, spec, time.UTC, feed.State{})
			if tt.last != "" {
				st.LastDay = date(t, tt.last)
			}
			fetch(t, cl, spec, time.UTC, st)
			q := s.requests()[1].query
			if q["startDate"][0] != tt.first || q["endDate"][0] != "2021-11-26" {
				t.Errorf("asked for %s to %s, want %s to yesterday", q["startDate"][0], q["endDate"][0], tt.first)
			}
		})
	}
}

func TestOpenMeteoArchiveIsAskedForPastDaysOnly(t *testing.T) {
	t.Parallel()
	s := serve(t, text(sample(t, "openmeteo_berlin.json")))
	res, _ := fetch(t, client(at(t, berlin)), meteoSpec(s.URL+"/v1/archive"), zone(t, "Europe/Berlin"), feed.State{})
	wantOutcome(t, res, feed.New)
	if res.Days == nil || res.Outlook != nil {
		t.Errorf("days %v outlook %v, want days only", res.Days, res.Outlook)
	}
	q := s.requests()[0].query
	if q["start_date"][0] != "2021-10-28" || q["end_date"][0] != "2021-11-26" || q["past_days"] != nil || q["forecast_days"] != nil {
		t.Errorf("asked for %v", q)
	}
}

func TestOpenMeteoGetsItsKeyByHTTPS(t *testing.T) {
	t.Parallel()
	s := serveTLS(t, text(sample(t, "openmeteo_berlin.json")))
	spec := meteoSpec(s.URL)
	spec.Key = "k3y/of+farm"
	res, st := fetch(t, client(at(t, berlin), trust(s)), spec, zone(t, "Europe/Berlin"), feed.State{})
	wantOutcome(t, res, feed.New)
	if got := s.requests()[0].query["apikey"]; len(got) != 1 || got[0] != "k3y/of+farm" {
		t.Errorf("apikey %q", got)
	}
	if b, _ := json.Marshal(st); strings.Contains(string(b), "k3y") {
		t.Errorf("the state holds the key: %s", b)
	}
}

// trust lets a client believe the certificate of s.
func trust(s *service) func(*feed.Options) {
	return func(o *feed.Options) { o.RootCAs = s.Client().Transport.(*http.Transport).TLSClientConfig.RootCAs }
}

func TestOpenMeteoNeedsTheNameOfTheZone(t *testing.T) {
	t.Parallel()
	s := serve(t, text(""))
	for _, z := range []*time.Location{time.Local, time.FixedZone("", 3600)} {
		res, _ := fetch(t, client(at(t, berlin)), meteoSpec(s.URL), z, feed.State{})
		wantOutcome(t, res, feed.Refused, "time zone")
	}
	if n := len(s.requests()); n != 0 {
		t.Errorf("%d requests, want none", n)
	}
}

func TestOpenMeteoDaysOfAnotherZoneAreNotTaken(t *testing.T) {
	t.Parallel()
	s := serve(t, text(sample(t, "openmeteo_berlin.json"))) // Of Europe/Berlin.
	res, _ := fetch(t, client(at(t, berlin)), meteoSpec(s.URL), zone(t, "America/Detroit"), feed.State{})
	wantOutcome(t, res, feed.Failed, "Europe/Berlin")
	if res.Days != nil || res.Outlook != nil {
		t.Error("they are taken")
	}
}

func TestOnePartOfAnAnswerIsKeptWhenTheOtherIsBad(t *testing.T) {
	t.Parallel()
	// Past days without values, and three days ahead.
	body := `{"utc_offset_seconds":3600,"timezone":"Europe/Berlin","daily_units":{"temperature_2m_max":"°C","temperature_2m_min":"°C"},
		"daily":{"time":["2021-11-25","2021-11-26","2021-11-27","2021-11-28","2021-11-29"],
		"temperature_2m_max":[null,null,4.5,3.4,2.2],"temperature_2m_min":[null,null,-0.1,-0.2,-0.5]}}`
	s := serve(t, func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("ETag", `"a"`)
		io.WriteString(w, body)
	})
	res, st := fetch(t, client(at(t, berlin)), meteoSpec(s.URL), zone(t, "Europe/Berlin"), feed.State{})
	wantOutcome(t, res, feed.Failed, "no whole day from 2021-10-28 to 2021-11-26", "3 days from 2021-11-27")
	if res.Days != nil || res.Outlook == nil || st.Failures != 1 || st.ETag != "" {
		t.Errorf("days %v, outlook %v, state %+v", res.Days, res.Outlook, st)
	}
}

// observed answers as ACIS does: a list of dates with max and min, °F, a flag
// and the hour (acis_hours_SPEC.json).
func observed(rows string) string {
	return `{"meta":{"name":"ANN ARBOR U OF MICH","sids":["200230 2","USC00200230 6"]},"data":[` + rows + `]}`
}

func TestACISIsAskedForMaxAndMinUntilYesterday(t *testing.T) {
	t.Parallel()
	c := at(t, "2012-05-04T03:00:00Z") // The evening of 3 May in Detroit.
	s := serve(t, text(observed(`["2012-05-01",["68"," ",17],["50"," ",17]],["2012-05-02",["M"," ",-1],["51"," ",17]]`)))
	res, st := fetch(t, client(c), acisSpec(s.URL), zone(t, "America/Detroit"), feed.State{})
	wantOutcome(t, res, feed.New, "1 observed day from 2012-05-01 to 2012-05-01; 1 row refused, the first because max is missing")
	want := weather.Day{Date: date(t, "2012-05-01"), Min: 10, Max: 20} // 50 and 68 °F.
	if len(res.Days.Days) != 1 || res.Days.Days[0] != want || res.Days.Remarks[0].Hour != 17 {
		t.Errorf("got %v, want %v read at 17", res.Days, want)
	}
	if st.LastDay != want.Date {
		t.Errorf("last day %v", st.LastDay)
	}
	r := s.requests()[0]
	const question = `{"sid":"USC00200230","sdate":"2012-04-03","edate":"2012-05-02",` +
		`"elems":[{"name":"maxt","add":"f,t"},{"name":"mint","add":"f,t"}],"meta":["name","sids"]}`
	if r.method != http.MethodPost || r.path != "/StnData" || r.body != question || r.header.Get("Content-Type") != "application/json" {
		t.Errorf("asked %s %s %s %v", r.method, r.path, r.body, r.header)
	}
}

func TestACISColumnsAreKnownEvenWhereValuesDoNotTell(t *testing.T) {
	t.Parallel()
	// One day with max = min: the reader would ask which is which.
	s := serve(t, text(observed(`["2012-05-01",["50"," ",17],["50"," ",17]]`)))
	res, _ := fetch(t, client(at(t, "2012-05-04T12:00:00Z")), acisSpec(s.URL), time.UTC, feed.State{})
	wantOutcome(t, res, feed.New)
}

func TestDaysThatWereNotAskedForAreLeftOut(t *testing.T) {
	t.Parallel()
	rows := `["1950-07-01",["86","",7],["59","",7]],["2012-05-01",["68","",17],["50","",7]],` +
		`["2012-05-03",["77","",17],["50","",17]],["2012-05-04",["77","",17],["50","",17]]`
	s := serve(t, text(observed(rows)))
	res, st := fetch(t, client(at(t, "2012-05-03T12:00:00Z")), acisSpec(s.URL), time.UTC, feed.State{})
	wantOutcome(t, res, feed.New)
	if r := res.Days; len(r.Days) != 1 || r.Days[0].Date != date(t, "2012-05-01") || len(r.Remarks) != 1 || r.Remarks[0].Hour != 17 {
		t.Errorf("got %v %v, want 1 May only: a day of today is not over", r.Days, r.Remarks)
	}
	if r := res.Days; r.Received != len(r.Days)+r.Repeats+len(r.Refused) || len(r.Refused) != 3 {
		t.Errorf("%d received, %d days, %d repeats, refused %v: does not add up", r.Received, len(r.Days), r.Repeats, r.Refused)
	}
	if st.LastDay != date(t, "2012-05-01") {
		t.Errorf("last day %v", st.LastDay)
	}
}

func TestAnotherStationIsNotTaken(t *testing.T) {
	t.Parallel()
	s := serve(t, text(observed(`["2012-05-01",["68"," ",17],["50"," ",17]]`)))
	spec := acisSpec(s.URL)
	spec.SourceStation = "USW00014922"
	res, _ := fetch(t, client(at(t, "2012-05-04T12:00:00Z")), spec, time.UTC, feed.State{})
	wantOutcome(t, res, feed.Failed, "USW00014922")
}

// The values of ncei_metric_SPEC.csv, as the service gives them as JSON.
const nceiJSON = `[{"DATE":"1991-06-07","STATION":"USC00200230","TMAX":"  25.6","TMAX_ATTRIBUTES":",,0,1700","TMIN":"  11.1","TMIN_ATTRIBUTES":",,0,1700"},
{"DATE":"1991-06-08","STATION":"USC00200230","TMAX":"  27.8","TMAX_ATTRIBUTES":",,0,1700","TMIN":" -15.0","TMIN_ATTRIBUTES":",G,0,1700"},
{"DATE":"1991-06-09","STATION":"USC00200230","TMIN":"  13.9","TMIN_ATTRIBUTES":",,0,1700"}]`

func TestNCEIIsAskedInCelsiusWithAttributes(t *testing.T) {
	t.Parallel()
	s := serve(t, text(nceiJSON))
	res, _ := fetch(t, client(at(t, "1991-06-11T12:00:00Z")), nceiSpec(s.URL), zone(t, "America/Detroit"), feed.State{})
	wantOutcome(t, res, feed.New, "2 observed days", "1 row refused")
	want := []weather.Day{{Date: date(t, "1991-06-07"), Min: 11.1, Max: 25.6}, {Date: date(t, "1991-06-08"), Min: -15, Max: 27.8}}
	if !slices.Equal(res.Days.Days, want) || res.Days.Remarks[1].Flag == "" || res.Days.Remarks[1].Hour != 17 {
		t.Errorf("got %v %v, want %v with the flag of the second", res.Days.Days, res.Days.Remarks, want)
	}
	r := s.requests()[0]
	wantQuery := map[string][]string{
		"dataset": {"daily-summaries"}, "stations": {"USC00200230"}, "startDate": {"1991-05-12"}, "endDate": {"1991-06-10"},
		"dataTypes": {"TMAX,TMIN"}, "units": {"metric"}, "format": {"json"}, "includeAttributes": {"1"},
	}
	if r.path != "/access/services/data/v1" || fmt.Sprint(r.query) != fmt.Sprint(wantQuery) {
		t.Errorf("asked %s %v, want %v", r.path, r.query, wantQuery)
	}
	if got := r.header.Get("User-Agent"); got != "ripetide/test" {
		t.Errorf("User-Agent %q", got)
	}
}

func TestNCEIWholeDegreesAreCelsius(t *testing.T) {
	t.Parallel()
	// Without a decimal the reader would ask for the unit.
	s := serve(t, text(`[{"DATE":"1991-06-07","STATION":"USC00200230","TMAX":"25","TMIN":"11"}]`))
	res, _ := fetch(t, client(at(t, "1991-06-11T12:00:00Z")), nceiSpec(s.URL), time.UTC, feed.State{})
	wantOutcome(t, res, feed.New)
	if d := res.Days.Days[0]; d.Min != 11 || d.Max != 25 {
		t.Errorf("got %v, want 11 to 25 °C", d)
	}
}

func TestCorrectedDaysAreDeliveredAgain(t *testing.T) {
	t.Parallel()
	body := nceiJSON
	s := serve(t, func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, body) })
	cl, spec := client(at(t, "1991-06-11T12:00:00Z")), nceiSpec(s.URL)
	_, st := fetch(t, cl, spec, time.UTC, feed.State{})
	res, st := fetch(t, cl, spec, time.UTC, st)
	wantOutcome(t, res, feed.Unchanged, "Nothing new")
	body = strings.Replace(body, ",G,0,1700", ",,0,1700", 1) // Only what the source says of it.
	res, _ = fetch(t, cl, spec, time.UTC, st)
	wantOutcome(t, res, feed.New)
}

func TestASettingThatChangesBeginsAnew(t *testing.T) {
	t.Parallel()
	s := serve(t, func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("ETag", `"a"`)
		io.WriteString(w, sample(t, "openmeteo_berlin.json"))
	})
	z, cl := zone(t, "Europe/Berlin"), client(at(t, berlin))
	_, before := fetch(t, cl, meteoSpec(s.URL), z, feed.State{})
	change := map[string]func(*feed.Spec, **time.Location){
		"address": func(s *feed.Spec, _ **time.Location) { s.Address += "/v1/forecast/" },
		"point":   func(s *feed.Spec, _ **time.Location) { s.Latitude += 0.001 },
		"zone":    func(_ *feed.Spec, z **time.Location) { *z = zone(t, "Europe/Vienna") },
		"contact": func(s *feed.Spec, _ **time.Location) { s.Contact = "other@example.org" },
	}
	for name, f := range change {
		spec, z := meteoSpec(s.URL), z
		f(&spec, &z)
		if due := (feed.Job{Spec: spec, Zone: z, State: before}).Due(at(t, berlin).Now()); !due.IsZero() {
			t.Errorf("%s: due %v, want at once", name, due)
		}
		res, st := fetch(t, cl, spec, z, before)
		wantOutcome(t, res, feed.New)
		rs := s.requests()
		if r := rs[len(rs)-1]; r.header.Get("If-None-Match") != "" || r.query["past_days"][0] != "30" {
			t.Errorf("%s: asked as if nothing had changed: %v %v", name, r.query, r.header)
		}
		if st.Of == before.Of {
			t.Errorf("%s: the state is for the old settings", name)
		}
	}
	if due := (feed.Job{Spec: meteoSpec(s.URL), Zone: z, State: before}).Due(at(t, berlin).Now()); !due.Equal(before.NextAt) || due.IsZero() {
		t.Errorf("due %v with the same settings, want %v", due, before.NextAt)
	}
}

func TestSettingsThatCannotBeAreNotSent(t *testing.T) {
	t.Parallel()
	c := at(t, berlin)
	spec := meteoSpec("ftp://example.org")
	res, st := fetch(t, client(c), spec, time.UTC, feed.State{})
	wantOutcome(t, res, feed.Refused, "address must be http or https")
	if res.Requests != 0 || !st.NextAt.After(c.Now()) {
		t.Errorf("%d requests, next at %v", res.Requests, st.NextAt)
	}
	spec.Kind = "weather.com"
	res, _ = fetch(t, client(c), spec, time.UTC, feed.State{})
	wantOutcome(t, res, feed.Refused)
}

func TestAnotherQuestionIsAskedWithoutCondition(t *testing.T) {
	t.Parallel()
	c := at(t, "1991-06-11T12:00:00Z")
	s := serve(t, answers(200, nceiJSON, "ETag", `"a"`))
	cl, spec := client(c), nceiSpec(s.URL)
	_, st := fetch(t, cl, spec, time.UTC, feed.State{})
	_, st = fetch(t, cl, spec, time.UTC, st) // Ten days back from the newest one.
	_, st = fetch(t, cl, spec, time.UTC, st) // The same.
	c.set(t, "1991-06-12T12:00:00Z")
	fetch(t, cl, spec, time.UTC, st) // Until a day later.
	for i, want := range []string{"", "", `"a"`, ""} {
		if got := s.requests()[i].header.Get("If-None-Match"); got != want {
			t.Errorf("request %d: If-None-Match %q, want %q: %v", i+1, got, want, s.requests()[i].query)
		}
	}
}
