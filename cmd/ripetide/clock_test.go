package main

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/daily"
)

// mornings returns what makes the forecasts of every morning by the service's own
// clock, on its database.
func (s *service) mornings() *daily.Runner {
	s.t.Helper()
	o, err := open(s.t.Context(), &config{DatabaseURL: s.env["DATABASE_URL"], Data: s.env["RIPETIDE_DATA"]}, mainDatabase, nil)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { o.close(s.t.Context()) })
	return &daily.Runner{
		Store: o.Store, Maker: &forecast.Service{Store: o.Store, Now: s.now, Program: version}, Now: s.now, Log: slog.New(slog.NewTextHandler(s.t.Output(), nil)),
	}
}

// The clock of the service jumps while it runs, ahead by more than a year at
// worst. No day gets two forecasts, what was frozen stays as it is and can be made
// again, what is dated after today is refused in words, and with the clock set
// right everything goes on: the next morning has its forecast, knows what was
// entered since, and is the latest.
func TestTheClockJumpsWhileTheServiceRuns(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	right := clock.now() // The morning of Mon 11 June 2018.
	s := newDemoServiceAt(t, clock.now)
	r := s.mornings()
	grower := signedIn(s, "grower")
	const farm = "/v1/farms/lanternfen"
	type kept struct {
		body          []byte
		asOf, knownAt string
	}
	frozen := map[string]kept{}
	mornings := map[string]int{} // How many forecasts there are of each from this one on.
	look := func() {
		t.Helper()
		clear(mornings)
		for _, x := range s.json(200, "GET", farm+"/forecasts", "")["forecasts"].([]any) {
			x := x.(map[string]any)
			id, asOf := x["id"].(string), x["as_of"].(string)
			if asOf >= "2018-06-11" {
				mornings[asOf]++
			}
			body := s.call(200, "GET", farm+"/forecasts/"+id, "", "")
			if was, ok := frozen[id]; ok && !bytes.Equal(was.body, body) {
				t.Errorf("the forecast of %s changed", asOf)
			}
			frozen[id] = kept{body, asOf, x["known_at"].(string)}
		}
	}
	wants := func(when, want string) {
		t.Helper()
		r.Pass(t.Context())
		r.Pass(t.Context())
		look()
		if got := fmt.Sprint(mornings); got != "map["+want+"]" {
			t.Fatalf("%s there are forecasts %s, want %s", when, got, want)
		}
	}
	latest := func(when, asOf string) {
		t.Helper()
		f := s.json(200, "GET", farm+"/forecasts/latest", "")
		if f["as_of"] != asOf || f["hindcast"] != false || f["season"] != 2018.0 {
			t.Errorf("%s the latest is of %v, season %v, hindcast %v, want %s", when, f["as_of"], f["season"], f["hindcast"], asOf)
		}
		if o := s.json(200, "GET", farm+"/seasons/2018/overlap.json", ""); o["forecast"] != f["id"] {
			t.Errorf("%s the chart of the season draws %v and not the latest, %v", when, o["forecast"], f["id"])
		}
	}
	sighting := func(date, seen string) string {
		return `{"sightings":[{"planting":"lastlantern-creekside","date":"` + date + `","stage":"first_ripe","seen":` + seen + `}]}`
	}
	wants("on the first morning", "2018-06-11:1")
	latest("on the first morning", "2018-06-11")

	clock.set(right.Add(time.Hour))
	wants("an hour ahead", "2018-06-11:1")
	clock.set(right.Add(-time.Hour)) // 4:40.
	wants("an hour behind", "2018-06-11:1")
	s.json(200, "POST", farm+"/sightings", sighting("2018-06-10", "false"))

	// More than a year ahead: a forecast is made, of a day that is not; people are
	// asked to sign in again; and what they record meanwhile stays on record.
	clock.set(right.AddDate(0, 0, 400))
	wants("more than a year ahead", "2018-06-11:1 2019-07-16:1")
	if _, at := grower.do(200, "GET", "/f/lanternfen"); !strings.HasPrefix(at, "/sign-in") {
		t.Errorf("400 days later a browser that was not used is still signed in, at %s", at)
	}
	s.json(200, "POST", farm+"/stations/"+demoStation(t)+"/days", `{"unit":"C","days":[{"date":"2018-06-10","min":11,"max":12}]}`)

	// Right again, the same day.
	clock.set(right.Add(4 * time.Hour))
	wants("right again", "2018-06-11:1 2019-07-16:1")
	if _, at := grower.do(200, "GET", "/f/lanternfen"); at != "/f/lanternfen" {
		t.Errorf("right again, the browser is at %s", at)
	}
	if f := s.json(200, "POST", farm+"/forecasts?freeze=false", ""); f["as_of"] != "2018-06-11" || f["hindcast"] != false {
		t.Errorf("right again, today's forecast is of %v, hindcast %v", f["as_of"], f["hindcast"])
	}
	// What was entered since counts from the next forecast on.
	s.json(200, "POST", farm+"/sightings", sighting("2018-06-11", "true"))

	clock.set(right.Add(24 * time.Hour))
	wants("on the second morning", "2018-06-11:1 2018-06-12:1 2019-07-16:1")
	latest("on the second morning", "2018-06-12")
	f := s.call(200, "GET", farm+"/forecasts/latest", "", "")
	if !strings.Contains(string(f), `"seen":"2018-06-11"`) {
		t.Error("the forecast of the second morning does not know what was seen the day before")
	}
	page, _ := grower.do(200, "GET", "/f/lanternfen")
	says(t, plainText(page), "Tue Jun 12")

	// A day behind: what people enter of their today is of tomorrow by the clock.
	// It is refused in words, and with the clock right it is taken.
	clock.set(right.Add(time.Hour))
	wants("a day behind", "2018-06-11:1 2018-06-12:1 2019-07-16:1")
	for what, x := range map[string]struct{ method, path, body, words string }{
		"a sighting": {"POST", farm + "/sightings", sighting("2018-06-12", "true"), "date is after today"},
		"a day":      {"POST", farm + "/stations/" + demoStation(t) + "/days", `{"unit":"C","days":[{"date":"2018-06-12","min":11,"max":22}]}`, "after today"},
		"a picking":  {"POST", farm + "/pickings", `{"pickings":[{"planting":"lastlantern-creekside","date":"2018-06-12","kg":10}]}`, "after today"},
		"a frost":    {"POST", farm + "/frosts", `{"frosts":[{"planting":"lastlantern-creekside","date":"2018-06-12","share_lost":0.1}]}`, "after today"},
		"a forecast": {"POST", farm + "/forecasts?as_of=2018-06-12", "", "2018-06-11"},
	} {
		res, body := s.plain(x.method, x.path, "application/json", []byte(x.body))
		if res.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(string(body), x.words) {
			t.Errorf("%s of tomorrow: %s, want a refusal that says %q\n%s", what, res.Status, x.words, body)
		}
	}
	clock.set(right.Add(25 * time.Hour))
	s.json(200, "POST", farm+"/sightings", sighting("2018-06-12", "true"))

	clock.set(right.Add(48 * time.Hour))
	wants("on the third morning", "2018-06-11:1 2018-06-12:1 2018-06-13:1 2019-07-16:1")
	latest("on the third morning", "2018-06-13")

	// What was frozen can be made again as it was, whatever was recorded since.
	again := 0
	for id, k := range frozen {
		if k.asOf < "2018-06-11" || k.asOf > "2018-06-13" {
			continue
		}
		again++
		b := s.call(200, "POST", farm+"/forecasts?freeze=false&as_of="+k.asOf+"&known_at="+k.knownAt, "", "")
		// Whether it is a hindcast depends on the day on which it is made.
		same := func(b []byte) string {
			return strings.Replace(without(t, b, "id", "made_at"), `"hindcast":true`, `"hindcast":false`, 1)
		}
		if same(b) != same(k.body) {
			t.Errorf("made again, the forecast of %s (%s) is another", k.asOf, id)
		}
	}
	if again != 3 {
		t.Errorf("%d forecasts were made again, want 3", again)
	}
}

// demoStation returns the station of the demo's farm.
func demoStation(t *testing.T) string {
	t.Helper()
	d, _ := demoMorning(t)
	return d.Stations[0].ID
}
