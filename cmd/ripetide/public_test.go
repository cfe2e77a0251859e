package main

import (
	"encoding/hex"
	"encoding/xml"
	"fmt"
	"image/png"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/emersion/go-ical"

	"ripetide/api"
	"ripetide/forecast"
)

const (
	farmPath    = "/v1/farms/lanternfen"
	announcePut = farmPath + "/announcing"
)

// events reads a calendar by a parser that is not the writer's: by UID its start,
// sequence and status.
func events(t *testing.T, raw string) map[string]string {
	t.Helper()
	c, err := ical.NewDecoder(strings.NewReader(raw)).Decode()
	if err != nil {
		t.Fatalf("%v in\n%s", err, raw)
	}
	out := map[string]string{}
	for _, e := range c.Events() {
		out[e.Props.Get("UID").Value] = fmt.Sprint(e.Props.Get("DTSTART").Value, " ", e.Props.Get("DTEND").Value, " ", e.Props.Get("SEQUENCE").Value, " ", e.Props.Get("STATUS").Value)
	}
	return out
}

// The calendar is read by key and at a secret address, follows what is decided,
// and is sent again only when it is new; the address works until it is revoked.
func TestCalendarIsSubscribedTo(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	s := newDemoServiceAt(t, clock.now) // The morning of Mon 11 June 2018.
	nobody := newVisitor(t, s.base)
	s.json(201, "PUT", "/v1/farms/elsewhere", `{"name":"Elsewhere","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	const decide = farmPath + "/seasons/2018/decisions/"
	s.json(201, "PUT", decide+"opening", `{"day":"2018-06-16","note":"the school comes"}`)

	made := s.json(201, "POST", farmPath+"/subscriptions", `{"name":" Ann's  phone "}`)
	calendar, changes := made["calendar"].(string), made["changes"].(string)
	if made["name"] != "Ann's phone" || made["last_used_at"] != nil || made["revoked_at"] != nil || !strings.HasPrefix(made["made_by"].(string), "key ") {
		t.Errorf("made %v", made)
	}
	get := func(want int, path string, headers ...string) (*http.Response, string) {
		t.Helper()
		res, body := nobody.send("GET", path, "", headers...)
		if res.StatusCode != want {
			t.Fatalf("GET %s: %s, want %d\n%.500s", path, res.Status, want, body)
		}
		return res, body
	}
	const opening = "2018-opening.lanternfen@ripetide"
	res, first := get(200, calendar)
	if got := events(t, first); len(got) != 1 || got[opening] != "20180616 20180617 0 CONFIRMED" {
		t.Errorf("%v", got)
	}
	if strings.Contains(first, "school") || strings.Contains(first, "key ") {
		t.Errorf("the calendar tells what is the farm's own:\n%s", first)
	}
	etag, modified := res.Header.Get("ETag"), res.Header.Get("Last-Modified")
	if at, err := http.ParseTime(modified); err != nil || !at.Equal(clock.now().Truncate(time.Second)) || etag == "" || res.Header.Get("Content-Type") != "text/calendar; charset=utf-8" || !strings.Contains(res.Header.Get("Cache-Control"), "private") {
		t.Errorf("headers %v, %v", res.Header, err)
	}
	if _, body := s.plain("GET", farmPath+"/calendar.ics", "", nil); string(body) != first {
		t.Errorf("by key it is\n%s", body)
	}
	if res, body := nobody.send("GET", farmPath+"/calendar.ics", ""); res.StatusCode != http.StatusUnauthorized {
		t.Errorf("without a key: %s\n%s", res.Status, body)
	}
	if _, body := get(304, calendar, "If-None-Match", etag); body != "" {
		t.Errorf("nothing new is %q", body)
	}
	get(304, calendar, "If-Modified-Since", modified)
	get(200, calendar, "If-None-Match", `"other"`)
	if res, body := nobody.send("HEAD", calendar, ""); res.StatusCode != http.StatusOK || body != "" || res.Header.Get("ETag") != etag || res.ContentLength != int64(len(first)) {
		t.Errorf("HEAD: %s %v %q", res.Status, res.Header, body)
	}

	// Moved, taken back and told again: one event all the time, and the feed says
	// what happened.
	for i, step := range []struct{ method, body, want string }{
		{"PUT", `{"day":"2018-06-17"}`, "20180617 20180618 1 CONFIRMED"},
		{"DELETE", "", "20180617 20180618 2 CANCELLED"},
		{"PUT", `{"day":"2018-06-15"}`, "20180615 20180616 3 CONFIRMED"},
	} {
		clock.advance(time.Minute)
		want := map[string]int{"PUT": 200, "DELETE": 204}[step.method]
		s.call(want, step.method, decide+"opening", "application/json", step.body)
		res, body := get(200, calendar, "If-None-Match", etag, "If-Modified-Since", modified)
		if got := events(t, body); len(got) != 1 || got[opening] != step.want {
			t.Errorf("step %d: %v, want %s", i, got, step.want)
		}
		get(200, calendar, "If-Modified-Since", modified)
		etag, modified = res.Header.Get("ETag"), res.Header.Get("Last-Modified")
	}
	res, body := get(200, changes)
	var feed struct {
		Entries []struct {
			Title string `xml:"title"`
			Text  string `xml:"content"`
		} `xml:"entry"`
	}
	if err := xml.Unmarshal([]byte(body), &feed); err != nil || len(feed.Entries) != 4 || res.Header.Get("Content-Type") != "application/atom+xml; charset=utf-8" {
		t.Fatalf("%v, %v\n%s", err, res.Header, body)
	}
	for i, want := range []string{"We plan to open on Friday, June 15.", "no longer holds", "We plan to open on Sunday, June 17.", "We plan to open on Saturday, June 16."} {
		if got := feed.Entries[i].Title + ": " + feed.Entries[i].Text; !strings.Contains(got, want) {
			t.Errorf("entry %d is %q, want %q", i, got, want)
		}
	}
	if strings.Contains(body, "/at/") {
		t.Errorf("the feed leads to a page that is not there:\n%s", body)
	}
	// The next day its words may be others: it is asked for anew.
	if res, _ := nobody.send("GET", changes, "", "If-None-Match", res.Header.Get("ETag")); res.StatusCode != http.StatusNotModified {
		t.Errorf("the feed again: %s", res.Status)
	}

	// When varieties are expected, if wished.
	s.json(201, "PUT", announcePut, `{"windows":true,"language":"de"}`)
	_, body = get(200, calendar)
	if got := events(t, body); len(got) < 4 || !strings.HasSuffix(got["2018-window-wrenlight.lanternfen@ripetide"], "TENTATIVE") || !strings.Contains(strings.ReplaceAll(body, "\r\n ", ""), "Wrenlight reif (Schätzung)") {
		t.Errorf("%v\n%s", got, body)
	}
	if n := strings.Count(body, "%"); n > 0 {
		t.Errorf("the calendar has %d percentages", n)
	}

	// Used to about a minute; by the key of an owner only.
	list := s.json(200, "GET", farmPath+"/subscriptions", "")["subscriptions"].([]any)
	if x := list[0].(map[string]any); len(list) != 1 || x["id"] != made["id"] || x["last_used_at"] == nil || x["calendar"] != nil {
		t.Errorf("listed %v", list)
	}
	for role, want := range map[string]int{"grower": 403, "reader": 403} {
		v := newVisitor(t, s.base)
		v.signIn(strings.TrimSpace(s.command("key", "new", "--name", "x", "--role", role, "--farm", "lanternfen")))
		for _, c := range [][2]string{{"GET", farmPath + "/subscriptions"}, {"DELETE", farmPath + "/subscriptions/" + made["id"].(string)}} {
			if res, body := v.send(c[0], c[1], "", "Sec-Fetch-Site", "same-origin"); res.StatusCode != want {
				t.Errorf("%s by a %s: %s\n%s", c[0], role, res.Status, body)
			}
		}
		if res, body := v.send("GET", farmPath+"/calendar.ics", ""); res.StatusCode != http.StatusOK || len(events(t, body)) < 4 {
			t.Errorf("the calendar by a %s: %s", role, res.Status)
		}
	}
	other := s.json(201, "POST", "/v1/farms/elsewhere/subscriptions", `{"name":"other"}`)
	if _, body := get(200, other["calendar"].(string)); len(events(t, body)) != 0 {
		t.Errorf("of another farm:\n%s", body)
	}
	secret := strings.Split(calendar, "/")[2]
	dump := dumpDatabase(t, s.env["DATABASE_URL"])
	if hash := api.HashKey(secret); !strings.Contains(dump, hex.EncodeToString(hash[:])) || strings.Contains(dump, secret[:16]) {
		t.Error("the database has no hash of the secret, or the secret itself")
	}

	s.call(404, "DELETE", "/v1/farms/elsewhere/subscriptions/"+made["id"].(string), "", "")
	get(200, calendar)
	s.call(204, "DELETE", farmPath+"/subscriptions/"+made["id"].(string), "", "")
	_, gone := get(404, calendar, "If-None-Match", etag)
	_, gone2 := get(404, changes)
	_, never := get(404, "/subscribe/aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa/calendar.ics")
	if strings.ReplaceAll(gone, secret, "x") != strings.ReplaceAll(never, strings.Repeat("a", 32), "x") || strings.Contains(gone+gone2, "lanternfen") {
		t.Errorf("revoked: %s; never there: %s", gone, never)
	}
	get(200, other["calendar"].(string))
	s.call(404, "DELETE", farmPath+"/subscriptions/"+made["id"].(string), "", "")
	if x := s.json(200, "GET", farmPath+"/subscriptions", "")["subscriptions"].([]any)[0].(map[string]any); x["revoked_at"] == nil {
		t.Errorf("listed %v", x)
	}
	for body, want := range map[string]string{`{"name":" "}`: "must not be empty", `{}`: "is needed", `{"name":"` + strings.Repeat("x", 101) + `"}`: "at most 100"} {
		if got := string(s.call(422, "POST", farmPath+"/subscriptions", "application/json", body)); !strings.Contains(got, want) {
			t.Errorf("%s: %s", body, got)
		}
	}
	s.call(404, "POST", "/v1/farms/nofarm/subscriptions", "application/json", `{"name":"x"}`)
	s.call(404, "GET", "/v1/farms/nofarm/subscriptions", "", "")
}

// publicPaths are what everybody may see of a farm, if it lets them.
var publicPaths = []string{"/at/lanternfen", "/at/lanternfen/ripe.svg", "/at/lanternfen/ripe.png", "/at/lanternfen/changes.atom"}

func TestEverybodySeesWhatTheFarmLetsThem(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	s := newDemoServiceAt(t, clock.now)
	nobody := newVisitor(t, s.base)
	get := func(want int, path string, headers ...string) (*http.Response, string) {
		t.Helper()
		res, body := nobody.send("GET", path, "", headers...)
		if res.StatusCode != want {
			t.Fatalf("GET %s: %s, want %d\n%.500s", path, res.Status, want, body)
		}
		return res, body
	}
	hidden := func() {
		t.Helper()
		for _, path := range publicPaths {
			for _, method := range []string{"GET", "HEAD"} {
				res, body := nobody.send(method, path, "")
				none, nothing := nobody.send(method, strings.Replace(path, "lanternfen", "nofarm", 1), "")
				if res.StatusCode != http.StatusNotFound || none.StatusCode != http.StatusNotFound || strings.ReplaceAll(body, "lanternfen", "nofarm") != nothing || strings.Contains(body, "Lanternfen") {
					t.Errorf("%s %s, hidden: %s, and of no farm %s\n%.300s", method, path, res.Status, none.Status, body)
				}
			}
		}
	}
	hidden()
	s.json(201, "PUT", announcePut, `{"hours":"Daily 8 to 12","phone":"+1 (734) 555-0100","where":"Sandbar Road 7","website":"https://lanternfen.example"}`)
	hidden()
	set := func(public, rest string) { s.json(200, "PUT", announcePut, `{"public":`+public+rest+`}`) }
	const about = `,"hours":"Daily 8 to 12","phone":"+1 (734) 555-0100","where":"Sandbar Road 7","website":"https://lanternfen.example"`

	set(`{"on":true}`, about)
	_, page := get(200, "/at/lanternfen")
	for _, want := range []string{`<html lang="en-US">`, "Lanternfen", "We will tell you here when we open.", "Daily 8 to 12.", "Sandbar Road 7.", `href="tel:&#43;17345550100"`, `<a href="https://lanternfen.example">`, "Dates depend on the weather", "As of Monday, June\u00a011.", `href="/at/lanternfen/changes.atom"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q:\n%s", want, page)
		}
	}
	if strings.Contains(page, "<script") {
		t.Error("the page has a script")
	}
	set(`{"on":true,"ahead":true}`, about)
	if _, page := get(200, "/at/lanternfen"); !strings.Contains(page, "The first strawberries are ripe, and we will tell you any day now when we open.") {
		t.Errorf("what is to come is allowed, and the page lacks it:\n%s", page)
	}
	set(`{"on":true}`, about)
	// The farm decides, and the page follows.
	const decide = farmPath + "/seasons/2018/decisions/"
	s.json(201, "PUT", decide+"opening", `{"day":"2018-06-11","note":"the school comes"}`)
	latest := s.json(200, "GET", farmPath+"/opening", "")["public"].(map[string]any)
	ripe := strings.TrimSuffix(strings.TrimPrefix(latest["ripe"].(string), "Ripe this week: "), ".")
	names := strings.Split(strings.ReplaceAll(ripe, " and ", ", "), ", ")
	if len(names) < 1 || names[0] == "" {
		t.Fatalf("nothing is ripe: %v", latest)
	}
	for _, tt := range []struct {
		public         string
		wantRipe, next bool
	}{{`{"on":true}`, false, false}, {`{"on":true,"varieties":true}`, true, false}, {`{"on":true,"ahead":true}`, false, false}, {`{"on":true,"varieties":true,"ahead":true}`, true, true}} {
		set(tt.public, about)
		for _, path := range publicPaths[:2] {
			_, body := get(200, path)
			if !strings.Contains(body, "We are open for picking.") {
				t.Errorf("%s with %s:\n%.2000s", path, tt.public, body)
			}
			for _, name := range names {
				if strings.Contains(body, name) != tt.wantRipe {
					t.Errorf("%s with %s: names %q is %v", path, tt.public, name, !tt.wantRipe)
				}
			}
			if coming := latest["next"].(string); coming != "" && strings.Contains(body, "Coming next") != tt.next {
				t.Errorf("%s with %s: what comes next is %v", path, tt.public, !tt.next)
			}
		}
	}
	// Nothing else is told to anybody.
	blocks := []string{"%", "°", "school", "key ", " kg", " lb", "forecasts/", "Sandbar,"}
	for _, p := range s.json(200, "GET", farmPath+"/plantings", "")["plantings"].([]any) {
		if b := p.(map[string]any)["block"].(string); b != "Sandbar" { // Which is in the address of the farm, too.
			blocks = append(blocks, b)
		}
	}
	for _, path := range slices.Delete(slices.Clone(publicPaths), 2, 3) {
		_, body := get(200, path)
		if strings.HasSuffix(path, ".svg") {
			body = strings.ReplaceAll(body, `width="100%"`, "")
		}
		for _, secret := range blocks {
			if strings.Contains(body, secret) {
				t.Errorf("%s tells %q", path, secret)
			}
		}
	}
	// In the farm's language.
	set(`{"on":true,"varieties":true}`, about+`,"language":"de"`)
	_, page = get(200, "/at/lanternfen")
	_, picture := get(200, "/at/lanternfen/ripe.svg")
	for _, want := range []string{"Das Feld ist zum Selbstpflücken geöffnet.", "Diese Woche reif", "Stand: Montag, 11. Juni."} {
		if !strings.Contains(strings.ReplaceAll(page, "\u00a0", " "), want) || !strings.Contains(picture, want) {
			t.Errorf("page or picture lacks %q:\n%s", want, page)
		}
	}
	if !strings.Contains(page, `<html lang="de">`) {
		t.Errorf("the page is in no language:\n%s", page)
	}

	// Pictures of a size and theme, kept for a while by others.
	res, light := get(200, "/at/lanternfen/ripe.svg?width=640")
	_, dark := get(200, "/at/lanternfen/ripe.svg?width=640&theme=dark")
	_, near := get(200, "/at/lanternfen/ripe.svg?width=625")
	if !strings.Contains(light, `width="640"`) || light == dark || light != near {
		t.Errorf("pictures: %.200s\n%.200s\n%.200s", light, dark, near)
	}
	if res.Header.Get("Cache-Control") != "public, max-age=600" || res.Header.Get("Content-Type") != "image/svg+xml" || res.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("headers %v", res.Header)
	}
	_, body := get(200, "/at/lanternfen/ripe.png?width=320")
	if img, err := png.Decode(strings.NewReader(body)); err != nil || img.Bounds().Dx() != 480 {
		t.Errorf("a picture of 320 px is %v, %v", img.Bounds(), err)
	}
	get(422, "/at/lanternfen/ripe.svg?width=100000")
	get(422, "/at/lanternfen/ripe.svg?theme=plaid")
	for _, path := range publicPaths {
		res, body := get(200, path)
		get(304, path, "If-None-Match", res.Header.Get("ETag"))
		head, none := nobody.send("HEAD", path, "")
		if head.StatusCode != http.StatusOK || none != "" || head.Header.Get("ETag") != res.Header.Get("ETag") || head.ContentLength != int64(len(body)) {
			t.Errorf("HEAD %s: %s %v", path, head.Status, head.Header)
		}
	}
	// The day after, it is another page, without anything new on record.
	etag := func(path string) string {
		res, _ := get(200, path)
		return res.Header.Get("ETag")
	}
	before := etag("/at/lanternfen/ripe.svg")
	clock.advance(24 * time.Hour)
	if etag("/at/lanternfen/ripe.svg") == before {
		t.Error("the picture stands still")
	}
	// Another instance reads the same record, and so does the next request.
	s.json(201, "PUT", decide+"closing", `{"day":"2018-06-11"}`)
	if _, page := get(200, "/at/lanternfen"); !strings.Contains(page, "Die Saison ist zu Ende.") || strings.Contains(page, "Diese Woche reif") {
		t.Errorf("closed:\n%s", page)
	}
	set(`{"varieties":true,"ahead":true}`, about)
	hidden()
}

// show lets everybody see all of a farm of the gallery, each in a language of
// its own.
func (f *galleryFarm) show(t *testing.T, o *opened) {
	t.Helper()
	language := map[string]string{"many": "fr", "long": "de"}[f.Farm.ID]
	a := forecast.Announcing{
		Language: language, Hours: "Daily 8 to 12, Saturdays to 4", Where: "Sandbar Road, the second gate", Phone: "555 0100",
		Website: "https://farm.example/" + strings.Repeat("long-", 20), Public: forecast.PublicPage{On: true, Varieties: true, Ahead: true},
	}
	if _, err := o.PutAnnouncing(t.Context(), f.Farm.ID, a, demoBy, f.at); err != nil {
		t.Fatal(err)
	}
}

// The public page of a farm that is closed, open and over, looked at as the
// gallery looks at pages, without anybody being signed in.
func TestPublicPageIsForEverybody(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	axe, err := os.ReadFile("../../testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	clock := newTestClock(t)
	s := newDemoServiceAt(t, clock.now)
	b := newBrowser(t, s)
	g := &gallery{b: b, axe: string(axe)}
	const about = `"hours":"Täglich 8 bis 12 Uhr, samstags bis 16 Uhr","phone":"+49 7331 555 0100","where":"Sandweg 7, zweites Tor","website":"https://lanternfen.example"`
	s.json(201, "PUT", announcePut, `{"public":{"on":true,"varieties":true,"ahead":true},"language":"de",`+about+`}`)
	g.look(t, "public-ahead", "/at/lanternfen", 200)
	const decide = farmPath + "/seasons/2018/decisions/"
	s.json(201, "PUT", decide+"opening", `{"day":"2018-06-11"}`)
	s.json(201, "PUT", decide+"peak_week", `{"day":"2018-06-18"}`)
	g.look(t, "public-open", "/at/lanternfen", 200)
	// Pages of other sites may show the picture.
	other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprintf(w, "<!doctype html><title>Another site</title><img src='%s/at/lanternfen/ripe.svg?theme=dark&width=400'>", s.base)
	}))
	defer other.Close()
	b.do(chromedp.Navigate(other.URL))
	if got := eval[int](b, `document.images[0].decode().then(() => document.images[0].naturalWidth, () => -1)`); got != 400 {
		t.Errorf("on another site the picture is %d px wide", got)
	}
	s.json(201, "PUT", decide+"closing", `{"day":"2018-06-12"}`)
	clock.advance(48 * time.Hour)
	g.look(t, "public-over", "/at/lanternfen", 200)
}
