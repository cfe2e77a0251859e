package main

import (
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"ripetide/api/mail"
	"ripetide/testdata"
)

// elsewhere starts another instance of the program on the same database and
// returns its address.
func (s *service) elsewhere() string {
	s.t.Helper()
	o, err := open(s.t.Context(), &config{DatabaseURL: s.env["DATABASE_URL"], Data: s.env["RIPETIDE_DATA"]}, mainDatabase, nil)
	if err != nil {
		s.t.Fatal(err)
	}
	srv := httptest.NewServer(newHandler(s.world(io.Discard), handling{}, o.Store, nil, &mail.Runner{}, slog.New(slog.DiscardHandler)))
	s.t.Cleanup(func() {
		srv.Close()
		if err := o.close(s.t.Context()); err != nil {
			s.t.Error(err)
		}
	})
	return srv.URL
}

// TestTheNextRequestSeesEveryChange changes one thing after the other by an
// instance of the program, and reads pages by another one that has just shown
// what was there before, while others read there all the time.
func TestTheNextRequestSeesEveryChange(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	demo, err := testdata.ReadDemo()
	if err != nil {
		t.Fatal(err)
	}
	here := newVisitor(t, s.base)
	here.signIn(s.key)
	there := newVisitor(t, s.elsewhere())
	there.cookie = here.cookie

	st := demo.Stations[0]
	v1, farm := "/v1/farms/"+demo.Farm.ID, "/f/"+demo.Farm.ID
	station, season := farm+"/weather/"+st.ID, fmt.Sprintf("%s/season/%d", farm, demo.AsOf.Year())
	const date = "2018-06-05"
	days := v1 + "/stations/" + st.ID + "/days?from=" + date + "&to=" + date
	chart := fmt.Sprintf("%s/seasons/%d/overlap.svg", v1, demo.AsOf.Year())
	pages := []string{
		farm, farm + "/book", farm + "/setup", farm + "/row", farm + "/weather", station, station + "/record.svg", station + "/day/" + date,
		season, season + "/planting/wrenlight-sandbar", season + "/planting/wrenlight-sandbar/narrowing.svg", chart, days,
	}
	end := make(chan struct{})
	var readers sync.WaitGroup
	for i := range 2 {
		readers.Go(func() {
			for n := i; ; n++ {
				select {
				case <-end:
					return
				default:
				}
				path := pages[n%len(pages)]
				if res, body := here.send("GET", path, ""); res.StatusCode >= http.StatusInternalServerError {
					t.Errorf("GET %s: %s\n%.500s", path, res.Status, body)
					return
				}
			}
		})
	}
	defer readers.Wait()
	defer close(end)

	put := func(method, path, body string) func() {
		return func() {
			t.Helper()
			if res, text := there.send(method, path, body, "Content-Type", "application/json"); res.StatusCode >= http.StatusBadRequest {
				t.Fatalf("%s %s: %s\n%s", method, path, res.Status, text)
			}
		}
	}
	form := func(path string, fields ...string) func() {
		return func() {
			t.Helper()
			values := url.Values{}
			for i := 0; i < len(fields); i += 2 {
				values.Add(fields[i], fields[i+1])
			}
			if res, text := there.send("POST", path, values.Encode()); res.StatusCode != http.StatusSeeOther {
				t.Fatalf("POST %s: %s\n%s", path, res.Status, plainText(text))
			}
		}
	}
	setStation := func(name, suspects string) func() {
		return put("PUT", v1+"/stations/"+st.ID, fmt.Sprintf(`{"name":%q,"latitude":%v,"longitude":%v,"elevation_m":%v,"suspects":%q}`, name, st.Latitude, st.Longitude, st.Elevation, suspects))
	}
	day := func(maxC float64) func() {
		return put("POST", v1+"/stations/"+st.ID+"/days", fmt.Sprintf(`{"unit":"C","days":[{"date":%q,"min":-25,"max":%v}]}`, date, maxC))
	}
	first := demo.Varieties[0]
	morning := s.now()
	for _, c := range []struct {
		change string
		do     func()
		shows  map[string]string // By page, what it says after the change and not before it; "": the page is another.
	}{
		{"a day is corrected", day(21), map[string]string{days: `"max":21,`, station: "-13 °F", station + "/day/" + date: "leave this day out", station + "/record.svg": ""}},
		{"and again", day(21.5), map[string]string{days: `"max":21.5,`, station: "70.7 °F", station + "/day/" + date: "70.7 °F", station + "/record.svg": ""}},
		{"a verdict", form(station+"/verdict", "date", date, "use", "yes", "note", "it was so"), map[string]string{days: `"used":true`, station: "it was so", station + "/day/" + date: "Forecasts use this day"}},
		{"the verdict is taken back", form(station+"/verdict", "date", date, "use", "rule"), map[string]string{days: `"used":false`, station + "/day/" + date: "leave this day out", station: ""}},
		{"the rule of the station", setStation(st.Name, "use"), map[string]string{days: `"used":true`, station: "rule is to use them", station + "/day/" + date: "Forecasts use this day"}},
		{"the name of the station", setStation("Fresh Gate", "use"), map[string]string{station: "Fresh Gate", station + "/record.svg": "Fresh Gate", farm + "/book": "Fresh Gate", farm + "/setup": "Fresh Gate"}},
		{"hours of reading", form(station+"/hours", "hour", "1976-01-01 7"), map[string]string{station: "read at 7 in the morning", station + "/record.svg": ""}},
		{"an outlook", put("PUT", v1+"/stations/"+st.ID+"/outlook", fmt.Sprintf(
			`{"issued_at":%q,"unit":"C","days":[{"date":%q,"min":9,"max":21}]}`, morning.Add(-time.Hour).Format(time.RFC3339), demo.AsOf)), map[string]string{station: "The newest outlook was issued"}},
		{"a sighting", put("POST", v1+"/sightings", fmt.Sprintf(
			`{"sightings":[{"planting":"wrenlight-sandbar","date":%q,"stage":"last_pick","seen":false,"note":"by the fresh gate"}]}`, demo.AsOf)), map[string]string{farm + "/book": "by the fresh gate", season + "/planting/wrenlight-sandbar": "by the fresh gate"}},
		{"another note on it", put("POST", v1+"/sightings", fmt.Sprintf(
			`{"sightings":[{"planting":"wrenlight-sandbar","date":%q,"stage":"last_pick","seen":false,"note":"by the old gate"}]}`, demo.AsOf)), map[string]string{farm + "/book": "by the old gate"}},
		{"the name of a variety", put("PUT", v1+"/varieties/"+first.ID, fmt.Sprintf(`{"name":"Freshling","ripens":%q}`, first.Ripens)), map[string]string{chart: "Freshling", season: "Freshling", farm + "/book": "Freshling", farm: "Freshling"}},
		{"a forecast", put("POST", v1+"/forecasts", ""), map[string]string{season: "", season + "/planting/wrenlight-sandbar": "", farm: ""}},
		{"the units of the farm", put("PUT", v1, fmt.Sprintf(
			`{"name":"Fresh Farm","latitude":%v,"longitude":%v,"time_zone":%q,"units":"metric"}`, demo.Farm.Latitude, demo.Farm.Longitude, demo.Farm.TimeZone)), map[string]string{
			station: "21.5 °C", station + "/record.svg": "", chart: "Fresh Farm", season + "/planting/wrenlight-sandbar/narrowing.svg": "", farm + "/book": "Fresh Farm",
		}},
	} {
		before, tag := map[string]string{}, map[string]string{}
		for path, says := range c.shows {
			res, body := here.send("GET", path, "")
			if tag[path] = res.Header.Get("ETag"); strings.Contains(path, ".svg") != (tag[path] != "") {
				t.Errorf("%s has the tag %q", path, tag[path])
			}
			if before[path] = body; res.StatusCode != http.StatusOK || says != "" && strings.Contains(readable(path, body), says) {
				t.Fatalf("before %s %s says %q already, or it failed: %s", c.change, path, says, res.Status)
			}
		}
		c.do()
		for path, says := range c.shows {
			_, body := here.send("GET", path, "", "If-None-Match", tag[path])
			switch {
			case says == "" && body == before[path]:
				t.Errorf("after %s %s is as it was", c.change, path)
			case says != "" && !strings.Contains(readable(path, body), says):
				t.Errorf("after %s %s does not say %q\n%.3000s", c.change, path, says, readable(path, body))
			}
		}
	}
}

// TestAPictureIsNotSentAgain asks for pictures with the tag of what was sent.
func TestAPictureIsNotSentAgain(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	v := newVisitor(t, s.base)
	v.signIn(s.key)
	id := s.json(200, "GET", "/v1/farms/lanternfen/forecasts/latest", "")["id"]
	tags := map[string]string{}
	for _, path := range []string{
		"/v1/farms/lanternfen/seasons/2018/overlap.svg", "/v1/farms/lanternfen/seasons/2018/overlap.svg?theme=dark", "/v1/farms/lanternfen/seasons/2018/overlap.png",
		fmt.Sprintf("/v1/farms/lanternfen/forecasts/%s/plantings/wrenlight-sandbar.svg", id),
		"/f/lanternfen/weather/ann-arbor/record.svg?width=390", "/f/lanternfen/season/2018/planting/wrenlight-sandbar/narrowing.svg",
	} {
		res, first := v.send("GET", path, "")
		tag := res.Header.Get("ETag")
		if res.StatusCode != http.StatusOK || len(first) == 0 || tag == "" || res.Header.Get("Cache-Control") != "private, no-cache" {
			t.Fatalf("%s: %s, %d bytes, %v", path, res.Status, len(first), res.Header)
		}
		if other, twice := tags[tag]; twice {
			t.Errorf("%s has the tag of %s", path, other)
		}
		tags[tag] = path
		for asked, same := range map[string]bool{
			tag: true, "W/" + tag: true, `"other", ` + tag: true, "*": true,
			`"other"`: false, strings.Trim(tag, `"`): false, "": false,
		} {
			res, body := v.send("GET", path, "", "If-None-Match", asked)
			if same && (res.StatusCode != http.StatusNotModified || body != "" || res.Header.Get("ETag") != tag) {
				t.Errorf("%s, If-None-Match %s: %s, %d bytes, tag %s", path, asked, res.Status, len(body), res.Header.Get("ETag"))
			}
			if !same && (res.StatusCode != http.StatusOK || body != first) {
				t.Errorf("%s, If-None-Match %s: %s, %d bytes", path, asked, res.Status, len(body))
			}
		}
	}
	// A tag opens nothing to somebody who may not look.
	v.cookie = nil
	for tag, path := range tags {
		if res, _ := v.send("GET", path, "", "If-None-Match", tag); res.StatusCode != http.StatusUnauthorized && res.StatusCode != http.StatusSeeOther {
			t.Errorf("%s, signed out: %s", path, res.Status)
		}
	}
}

// readable is the text of a page, or of a picture or JSON all of it.
func readable(path, body string) string {
	if strings.HasSuffix(path, ".svg") || strings.Contains(path, "/days?") {
		return body
	}
	return plainText(body)
}
