package main

import (
	"bytes"
	"context"
	"encoding/json"
	"html"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"ripetide/db/dbtest"
	"ripetide/testdata"
	"ripetide/weather"
)

// bare starts the program on an installation that nobody has set up, and
// returns what it printed until it served.
func bare(t *testing.T, s *service) (printed string, stop func()) {
	t.Helper()
	if s.env == nil {
		s.env = map[string]string{"DATABASE_URL": dbtest.DSN(t), "RIPETIDE_DATA": t.TempDir(), "RIPETIDE_ADDR": "127.0.0.1:0"}
	}
	ctx, cancel := context.WithCancel(context.WithoutCancel(t.Context()))
	addr, done := make(chan string, 1), make(chan error, 1)
	var out bytes.Buffer
	w := s.world(&out)
	w.Serving = func(a string) { addr <- a }
	go func() { done <- run(ctx, w, []string{"serve"}) }()
	select {
	case s.base = <-addr:
	case err := <-done:
		t.Fatalf("serve ended: %v", err)
	}
	stopped := false
	stop = func() {
		cancel()
		if !stopped {
			stopped = true
			if err := <-done; err != nil {
				t.Errorf("serve: %v", err)
			}
		}
	}
	t.Cleanup(stop)
	return out.String(), stop
}

// useLink signs in by a link.
func (v *visitor) useLink(link string) *http.Response {
	v.t.Helper()
	u, err := url.Parse(strings.TrimSpace(link))
	if err != nil {
		v.t.Fatal(err)
	}
	res, body := v.send("POST", u.Path, "")
	if res.StatusCode != http.StatusSeeOther || len(res.Cookies()) == 0 {
		v.t.Fatalf("using the link: %s\n%.1000s", res.Status, body)
	}
	v.cookie = res.Cookies()[0]
	return res
}

// page gets a page that must be there.
func (v *visitor) page(path string) string {
	v.t.Helper()
	res, body := v.send("GET", path, "")
	if res.StatusCode != http.StatusOK {
		v.t.Fatalf("GET %s: %s\n%.1500s", path, res.Status, body)
	}
	return body
}

// form sends pairs of names and values, and wants a status; it returns where
// the answer leads, and the page.
func (v *visitor) form(want int, path string, pairs ...string) (to, body string) {
	v.t.Helper()
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		q.Add(pairs[i], pairs[i+1])
	}
	res, body := v.send("POST", path, q.Encode())
	if res.StatusCode != want {
		v.t.Fatalf("POST %s %v: %s, want %d\n%s", path, pairs, res.Status, want, plainText(body))
	}
	return res.Header.Get("Location"), body
}

// pageSays fails unless a page says all of want.
func pageSays(t *testing.T, what, page string, want ...string) {
	t.Helper()
	text := plainText(page)
	for _, w := range want {
		if !strings.Contains(text, w) {
			t.Errorf("%s does not say %q: %s", what, w, text)
		}
	}
}

// pageHolds fails unless the source of a page holds all of want.
func pageHolds(t *testing.T, what, page string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(page, w) {
			t.Errorf("%s does not hold %q: %s", what, w, page)
		}
	}
}

// inJune is a morning in the season of 2018, at the end of a long record.
func inJune() time.Time { return time.Date(2018, 6, 11, 9, 40, 0, 0, time.UTC) }

func TestTheFirstRunLeadsToAForecast(t *testing.T) {
	t.Parallel()
	s := &service{t: t, now: inJune}
	printed, stop := bare(t, s)
	link := regexp.MustCompile(`First run: open (http://127\.0\.0\.1:\d+/sign-in/\w+) within an hour`).FindStringSubmatch(printed)
	if link == nil {
		t.Fatalf("it printed %q", printed)
	}
	// Stopped before anybody used it, it offers another way in.
	stop()
	again, _ := bare(t, s)
	link = regexp.MustCompile(`open (http://\S+) within`).FindStringSubmatch(again)
	if link == nil {
		t.Fatalf("started again it printed %q", again)
	}
	if list := s.command("key", "list"); strings.Count(list, "valid") != 1 {
		t.Errorf("two first runs made the keys\n%s", list)
	}

	v := newVisitor(t, s.base)
	if to := v.useLink(link[1]).Header.Get("Location"); to != "/" {
		t.Errorf("the link leads to %q", to)
	}
	if res, _ := v.send("GET", "/", ""); res.Header.Get("Location") != "/setup" {
		t.Errorf("without a farm / leads to %q", res.Header.Get("Location"))
	}
	pageSays(t, "the form for a farm", v.page("/setup"), "Set up your farm", "Latitude", "Time zone")

	// Everything that is wrong is told at once, and nothing typed is lost.
	_, body := v.form(422, "/setup", "name", "Hill <Farm>", "latitude", "95", "longitude", "far", "time_zone", "Mars/Base", "units", "", "thin", "some")
	pageSays(t, "a farm with faults", body, "This must be between -90 and 90.", "This is not a number of degrees", "Time zone is not a name", "Units must be chosen", "Least ripe fruit that serves a day's crowd is not a number")
	pageHolds(t, "a farm with faults", body, `value="Hill &lt;Farm&gt;"`, `value="95"`, `value="far"`, `value="some"`, `<option value="Mars/Base" selected>`, `aria-invalid="true"`)
	_, body = v.form(422, "/setup", "name", "Hill Farm", "latitude", "42.3", "longitude", "83.7", "time_zone", "America/Detroit", "units", "us")
	pageSays(t, "a farm on the wrong side of the world", body, "42.3° N, 83.7° E is far from America/Detroit", "83.7 W")

	to, _ := v.form(303, "/setup", "name", "Hill Farm", "latitude", "42.3, -83.7", "longitude", "", "time_zone", "America/Detroit", "units", "us", "thin", "550")
	if to != "/f/hill-farm/setup" {
		t.Fatalf("the farm leads to %q", to)
	}
	_, body = v.form(422, "/setup", "name", "Hill farm", "latitude", "10", "longitude", "8", "time_zone", "Africa/Lagos", "units", "metric")
	pageSays(t, "a second farm of that name", body, "is taken by another farm")
	steps := v.page("/f/hill-farm/setup")
	pageSays(t, "the steps of a new farm", steps, "Hill Farm, 42.3° N, 83.7° W, America/Detroit.", "A station missing", "It still needs: a station its weather a variety a planting that bears in 2018")
	if strings.Contains(steps, "Make the first forecast") {
		t.Error("a forecast of nothing is offered")
	}

	_, body = v.form(422, "/f/hill-farm/book/station?from=setup", "name", "", "latitude", "42.3", "longitude", "-83.7", "elevation_m", "99999", "suspects", "leave_out")
	pageSays(t, "a station with faults", body, "Name must not be empty", "must be between -1,476 and 19,685 ft")
	to, _ = v.form(303, "/f/hill-farm/book/station?from=setup", "name", "Post by the gate", "latitude", "42.3", "longitude", "-83.7", "elevation_m", "900", "suspects", "leave_out")
	if to != "/f/hill-farm/setup" {
		t.Errorf("a station added from the set-up leads to %q", to)
	}
	pageSays(t, "the steps with a station", v.page(to), "A station done Post by the gate.", "5 past years of weather")

	record, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	days := csvOf(record.Between(weather.DateOf(2010, 1, 1), weather.DateOf(2018, 6, 10)))
	if res, body := v.send("POST", "/v1/farms/hill-farm/stations/post-by-the-gate/days", days, "Content-Type", "text/csv"); res.StatusCode != http.StatusOK {
		t.Fatalf("the record: %s %s", res.Status, body)
	}
	pageSays(t, "the steps with weather", v.page("/f/hill-farm/setup"), "Its weather done 8 past seasons on record. Enough to begin with.")

	list := "Annapolis; early; Home; 2015-04-20; 0.3 acres; 9000 lb/acre\nJewel; late mid; Hill; 2014; 13,000 sq ft"
	_, body = v.form(200, "/f/hill-farm/book/list", "list", list, "do", "look", "station", "post-by-the-gate", "area_unit", "acre", "yield_unit", "lb_acre")
	pageSays(t, "the list looked at", body, "2 lines are good. Nothing is entered yet. New: Annapolis, Jewel.", "Mon Apr 20, 2015", "0.3 acres", "9,000 lb/acre")
	if n := s.asked(v, "varieties"); n != 0 {
		t.Errorf("looking entered %d varieties", n)
	}
	to, _ = v.form(303, "/f/hill-farm/book/list", "list", list, "do", "enter", "station", "post-by-the-gate", "area_unit", "acre", "yield_unit", "lb_acre")
	steps = v.page(to)
	pageSays(t, "the steps with plantings", steps, "2 varieties.", "2 plantings stand, 2 of them with a crop in 2018.", "Bloom in 2018 missing Entered for 0 of 2 plantings. Needed for dates:", "until a bloom is entered it has no dates", "can be a week out", "The first forecast ready to be made")

	bloom := "Annapolis; bloom; May 8, 2018\nJewel, Hill; bloom; Fri May 11, 2018"
	to, _ = v.form(303, "/f/hill-farm/book/seen", "list", bloom, "do", "enter")
	pageSays(t, "the Book", v.page(to), "Seen in 2018 Fri May 11 bloom Jewel, Hill")
	pageSays(t, "the steps with bloom", v.page("/f/hill-farm/setup"), "Bloom in 2018 done")

	if to, _ = v.form(303, "/f/hill-farm/forecast"); !strings.HasPrefix(to, "/f/hill-farm") {
		t.Errorf("the first forecast leads to %q", to)
	}
	morning := v.page("/f/hill-farm")
	pageSays(t, "the morning page", morning, "Annapolis", "Jewel")
	pageSays(t, "the steps in the end", v.page("/f/hill-farm/setup"), "The forecast done")
	if res, svg := v.send("GET", "/v1/farms/hill-farm/seasons/2018/overlap.svg", ""); res.StatusCode != http.StatusOK || !strings.Contains(svg, "Annapolis") {
		t.Errorf("the first chart: %s", res.Status)
	}
	if _, farm := v.send("GET", "/v1/farms/hill-farm", ""); !strings.Contains(farm, `"thin_kg_per_day":249.4758035`) { // 550 × 0.45359237.
		t.Errorf("550 lb are %s", farm)
	}
	if to, _ := v.send("GET", "/", ""); to.Header.Get("Location") != "/f/hill-farm" {
		t.Errorf("with a farm / leads to %q", to.Header.Get("Location"))
	}
}

func TestAFirstRunLinkIsForFirstRunsOnly(t *testing.T) {
	t.Parallel()
	s := &service{t: t, now: inJune, env: map[string]string{"DATABASE_URL": dbtest.DSN(t), "RIPETIDE_DATA": t.TempDir(), "RIPETIDE_ADDR": "127.0.0.1:0"}}
	s.command("key", "new", "--role", "reader", "--name", "logger")
	if printed, _ := bare(t, s); strings.Contains(printed, "sign-in") {
		t.Errorf("with a key there is: %q", printed)
	}
}

func TestAListWithBadLinesEntersTheGoodOnes(t *testing.T) {
	t.Parallel()
	s := newServiceAt(t, inJune)
	s.json(201, "PUT", "/v1/farms/hill-farm", `{"name":"Hill Farm","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	s.json(201, "PUT", "/v1/farms/hill-farm/stations/post", `{"name":"Post","latitude":48,"longitude":8,"elevation_m":150,"stand_in":null}`)
	v := newVisitor(t, s.base)
	v.signIn(s.key)
	const path = "/f/hill-farm/book/list"
	list := "Variety;Ripens;Block;Planted;Area\nAnnapolis;early;Home;2015-04-20;1200\nNovel;soon;Home;2015-04-20;1200\n<b>;mid;Home;4/5/2015;1,200\nAnnapolis;;Hill;2016;0.2 ha"
	fields := []string{"list", list, "station", "post", "area_unit", "m2", "yield_unit", "kg_m2"}
	_, body := v.form(200, path, append(fields, "do", "look")...)
	pageSays(t, "the list looked at", body, "2 lines are good, 2 lines cannot be entered as they are. Nothing is entered yet.",
		"ripens is not one of early", "the day of planting can be read in two ways: write 2015-05-04 or 2015-04-05", "the area can be read in two ways: write 1200 or 1.200", "Enter the 2 good lines")
	pageHolds(t, "the list looked at", body, "&lt;b&gt;;mid;Home")
	_, body = v.form(422, path, append(fields, "do", "enter")...)
	pageSays(t, "the list entered", body, "2 lines were entered. 2 lines are left, with what is wrong beside them.")
	_, text, _ := strings.Cut(body, `spellcheck="false">`)
	text, _, _ = strings.Cut(text, "</textarea>")
	if got, want := strings.TrimSpace(html.UnescapeString(text)), "Variety;Ripens;Block;Planted;Area\nNovel;soon;Home;2015-04-20;1200\n<b>;mid;Home;4/5/2015;1,200"; got != want {
		t.Errorf("what is left of the list is\n%s", got)
	}
	if n, m := s.asked(v, "varieties"), s.asked(v, "plantings"); n != 1 || m != 2 {
		t.Errorf("%d varieties and %d plantings were entered", n, m)
	}
	// As a file, as Windows writes it, and what is there already again.
	var file bytes.Buffer
	w := multipart.NewWriter(&file)
	for i := 2; i < len(fields); i += 2 {
		if err := w.WriteField(fields[i], fields[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	part, err := w.CreateFormFile("file", "list.csv")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(part, "Annapolis,early,Home,2015-04-20,1200\r\nFr\xfche Sch\xf6ne,early,H\xfcgel,2016,900\r\n"); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	res, body := v.send("POST", path, file.String(), "Content-Type", w.FormDataContentType())
	if res.StatusCode != http.StatusOK {
		t.Fatalf("the file: %s\n%s", res.Status, plainText(body))
	}
	pageSays(t, "the file looked at", body, "Frühe Schöne early Hügel Fri 1 Jan 2016 900 m² 1 kg/m² new", "1,200 m² 1 kg/m² there already")
	_, body = v.form(422, path, "list", "\x00\x01", "do", "look")
	pageSays(t, "no text", body, "This file is no text")
	_, body = v.form(422, path, "list", strings.Repeat("Jewel;mid\n", 1001), "do", "look")
	pageSays(t, "a very long list", body, "more than 1000 lines")
	_, body = v.form(422, path, "list", strings.Repeat("x", 600<<10), "do", "look")
	pageSays(t, "a far too long list", body, "too long for this page")
	_, body = v.form(422, path, "list", "", "do", "look")
	pageSays(t, "an empty list", body, "There is no line in the list yet.")
}

// asked counts what the API lists of a farm.
func (s *service) asked(v *visitor, what string) int {
	s.t.Helper()
	_, body := v.send("GET", "/v1/farms/hill-farm/"+what, "")
	var list map[string][]any
	if err := json.Unmarshal([]byte(body), &list); err != nil {
		s.t.Fatalf("%s: %v in %s", what, err, body)
	}
	return len(list[what])
}
