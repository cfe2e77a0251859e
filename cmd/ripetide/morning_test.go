package main

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"ripetide/testdata"
)

// person is somebody signed in, without a browser.
type person struct {
	s      *service
	client *http.Client
}

// signedIn signs somebody in by a link.
func signedIn(s *service, role string) *person {
	s.t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	p := &person{s, &http.Client{Jar: jar}}
	u, err := url.Parse(strings.TrimSpace(s.command("link", "--name", role, "--role", role)))
	if err != nil {
		s.t.Fatal(err)
	}
	p.do(http.StatusOK, "POST", u.Path)
	return p
}

// do asks for a page, wants a status, and returns the page and its address in
// the end.
func (p *person) do(want int, method, path string) (body, at string) {
	p.s.t.Helper()
	req, err := http.NewRequestWithContext(p.s.t.Context(), method, p.s.base+path, nil)
	if err != nil {
		p.s.t.Fatal(err)
	}
	res, err := p.client.Do(req)
	if err != nil {
		p.s.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		p.s.t.Fatal(err)
	}
	if res.StatusCode != want {
		p.s.t.Fatalf("%s %s: %s, want %d\n%.3000s", method, path, res.Status, want, b)
	}
	return string(b), res.Request.URL.Path
}

// says reports what of a page is missing.
func says(t *testing.T, page string, wants ...string) {
	t.Helper()
	for _, w := range wants {
		if !strings.Contains(page, w) {
			t.Errorf("the page does not say %q\n%s", w, page)
		}
	}
}

// A farm from nothing to this morning's forecast, by the page alone.
func TestMorningFromNothingToAForecast(t *testing.T) {
	t.Parallel()
	_, at := demoMorning(t)
	var later atomic.Int64 // By so many minutes.
	s := newServiceAt(t, func() time.Time { return at.Add(time.Duration(later.Load()) * time.Minute) })
	s.json(201, "PUT", "/v1/farms/fen", `{"name":"Fen <b>&","latitude":42.3,"longitude":-83.7,"time_zone":"America/Detroit","units":"us"}`)
	grower, reader := signedIn(s, "grower"), signedIn(s, "reader")

	page, _ := grower.do(200, "GET", "/f/fen")
	says(t, page, "Morning of Mon Jun 11", "There is no forecast yet: 3 things are missing", "No weather station", "No variety", "No planting", "Fen &lt;b&gt;&amp;")
	if strings.Contains(page, `action="/f/fen/forecast"`) {
		t.Error("a forecast that cannot be made is offered")
	}

	s.json(201, "PUT", "/v1/farms/fen/stations/post", `{"name":"Post","latitude":42.3,"longitude":-83.7,"elevation_m":274,"stand_in":null}`)
	s.json(201, "PUT", "/v1/farms/fen/varieties/v", `{"name":"Vee","ripens":"mid"}`)
	s.json(201, "PUT", "/v1/farms/fen/plantings/p", `{"variety":"v","block":"`+strings.Repeat("Long ", 19)+`Block","station":"post","planted_on":"2015-04-20","area_m2":1200}`)
	page, _ = grower.do(200, "GET", "/f/fen")
	says(t, page, "Post has no past year of weather", `href="/f/fen/weather"`)
	page, _ = grower.do(409, "POST", "/f/fen/forecast")
	says(t, page, `role="alert"`, "No forecast was made. Too few past years of weather. Post has 0 past years", "load older daily records.")

	record, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	s.call(200, "POST", "/v1/farms/fen/stations/post/days", "text/csv", csvOf(record.Days()))
	page, _ = grower.do(200, "GET", "/f/fen")
	says(t, page, "One can be made now; 2 things would make it surer.", "Make the first forecast", "No bloom of this season is entered")
	page, _ = reader.do(200, "GET", "/f/fen")
	if strings.Contains(page, "Make the first") || strings.Contains(page, "/row") {
		t.Error("a reader is offered what only growers may do")
	}
	reader.do(403, "POST", "/f/fen/forecast")

	page, where := grower.do(200, "POST", "/f/fen/forecast")
	if where != "/f/fen" {
		t.Errorf("the form leads to %s", where)
	}
	says(t, page, "No planting has dates yet.", "Bloom is not entered: Vee (Long ", `href="/f/fen/row?planting=p"`)
	s.json(200, "POST", "/v1/farms/fen/sightings", `{"sightings":[{"planting":"p","date":"2018-05-16","stage":"bloom_10","seen":true}]}`)
	later.Store(1)
	page, _ = grower.do(200, "POST", "/f/fen/forecast")
	says(t, page, `href="/f/fen/row?planting=p"`, "There are no earlier dates of this season", "weather through Sun Jun 10", "no outlook", "estimate: walk the field", "Wed Jun 20", "Thu Jun 14")

	// The same forecast on later mornings: its age is said before anything else.
	later.Store(2 * 24 * 60)
	page, _ = grower.do(200, "GET", "/f/fen")
	says(t, page, "Morning of Wed Jun 13", "No forecast is made for this morning yet. The newest is of Mon Jun 11, 2 days ago.", "Make this morning&#39;s forecast")
	later.Store(700 * 24 * 60)
	page, _ = signedIn(s, "grower").do(200, "GET", "/f/fen")
	says(t, page, "Morning of Mon Jun 11, 2018", "an earlier season", "Make this morning&#39;s forecast")
	if strings.Index(page, "an earlier season") > strings.Index(page, `class="sum"`) {
		t.Error("that the forecast is old is not said first")
	}
}

func TestMorningsFollowEachOther(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	page, _ := signedIn(s, "owner").do(200, "GET", "/f/lanternfen")
	says(t, page, "Morning of Mon Jun 11", "Moved since Sun Jun 10", "mostly by what was seen in the field", "gap Thu Jun 21 to Sun 24 (chance 8 in 10)", "Wrenlight", `href="/f/lanternfen/row?planting=`)
	if strings.Contains(page, "No forecast is made") {
		t.Error("this morning's forecast is called old")
	}
	if n := len(page); n > 60_000 {
		t.Errorf("the page has %d bytes", n)
	}
}
