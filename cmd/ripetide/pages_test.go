package main

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/api"
	"ripetide/api/mail"
	"ripetide/db/dbtest"
)

// route is a page, or what a form is sent to.
type route struct{ method, path string }

var pathPart = regexp.MustCompile(`:([a-z]+)`)

// isPage reports whether a route answers with a page.
func (r route) isPage() bool { return r.method == http.MethodGet && files["GET "+r.path] == "" }

// names are the parts of a path that are filled.
func (r route) names() (out []string) {
	for _, m := range pathPart.FindAllStringSubmatch(r.path, -1) {
		out = append(out, m[1])
	}
	return out
}

// fill fills a path; not ok if a part is not known.
func (r route) fill(parts map[string]string) (path string, ok bool) {
	ok = true
	path = pathPart.ReplaceAllStringFunc(r.path, func(m string) string {
		v, known := parts[m[1:]]
		ok = ok && known
		return url.PathEscape(v)
	})
	return path, ok
}

// notPages are the beginnings of what the service answers programs with, and of
// the files of pages.
var notPages = []string{"/v1/", "/openapi.json", "/reference", "/problems/", "/healthz", "/readyz", "/metrics", "/static/", "/subscribe/", "/at/:farm/"}

// pageRoutes are all routes of pages as the router knows them, so that a new
// page cannot be forgotten here.
func pageRoutes(t testing.TB) (out []route) {
	t.Helper()
	w := &world{Getenv: func(string) string { return "" }, Stdout: io.Discard, Stderr: io.Discard, Now: time.Now}
	for _, r := range newHandler(w, handling{}, nil, nil, &mail.Runner{}, slog.New(slog.DiscardHandler)).Echo().Routes() {
		if !slices.ContainsFunc(notPages, func(p string) bool { return strings.HasPrefix(r.Path, p) }) {
			out = append(out, route{r.Method, r.Path})
		}
	}
	slices.SortFunc(out, func(a, b route) int { return strings.Compare(a.path+" "+a.method, b.path+" "+b.method) })
	if len(out) < 7 {
		t.Fatalf("the router has only the pages %v", out)
	}
	return out
}

// visitor is a browser without a picture of anything.
type visitor struct {
	t      testing.TB
	base   string
	cookie *http.Cookie // Nil: nobody is signed in.
	client *http.Client
}

func newVisitor(t testing.TB, base string) *visitor {
	t.Helper()
	return &visitor{t: t, base: base, client: &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

// send sends a request with pairs of header names and values.
func (v *visitor) send(method, path, body string, headers ...string) (*http.Response, string) {
	v.t.Helper()
	req, err := http.NewRequestWithContext(v.t.Context(), method, v.base+path, strings.NewReader(body))
	if err != nil {
		v.t.Fatal(err)
	}
	if method != http.MethodGet {
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	if v.cookie != nil {
		req.AddCookie(v.cookie)
	}
	res, err := v.client.Do(req)
	if err != nil {
		v.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	return res, string(b)
}

// signIn signs in with a key and keeps the cookie.
func (v *visitor) signIn(key string) *http.Response {
	v.t.Helper()
	res, body := v.send("POST", "/sign-in", url.Values{"key": {key}}.Encode())
	if res.StatusCode != http.StatusSeeOther {
		v.t.Fatalf("signing in: %s\n%s", res.Status, body)
	}
	v.cookie = res.Cookies()[0]
	return res
}

// people are visitors of every kind, for the farm lanternfen.
func (s *service) people() map[string]*visitor {
	s.t.Helper()
	out := map[string]*visitor{"nobody": newVisitor(s.t, s.base)}
	for name, args := range map[string][]string{
		"owner":        {"--role", "owner", "--farm", "lanternfen"},
		"grower":       {"--role", "grower", "--farm", "lanternfen"},
		"reader":       {"--role", "reader", "--farm", "lanternfen"},
		"owner of all": {"--role", "owner"},
		"stranger":     {"--role", "owner", "--farm", "elsewhere"},
	} {
		v := newVisitor(s.t, s.base)
		v.signIn(strings.TrimSpace(s.command(append([]string{"key", "new", "--name", name}, args...)...)))
		out[name] = v
	}
	return out
}

// demoParts fill the routes of the demo's farm.
func (s *service) demoParts() map[string]string {
	s.t.Helper()
	d, _ := demoMorning(s.t)
	farm, station := d.Farm.ID, d.Stations[0].ID
	s.json(201, "PUT", "/v1/farms/"+farm+"/stations/"+station+"/feeds/sky", `{"kind":"acis","address":"https://192.0.2.1/StnData","source_station":"USC00200230","paused":true}`)
	sightings := s.json(200, "GET", "/v1/farms/"+farm+"/sightings", "")["sightings"].([]any)
	s.json(201, "PUT", "/v1/farms/"+farm+"/announcing", `{"public":{"on":true,"varieties":true,"ahead":true}}`)
	key := strings.TrimSpace(s.command("key", "new", "--name", "spare", "--role", "reader", "--farm", farm))
	return map[string]string{
		"farm": farm, "year": fmt.Sprint(d.AsOf.Year()), "station": station, "planting": "wrenlight-sandbar",
		"variety": "wrenlight", "date": (d.AsOf - 3).String(), "link": "nonsense", "recipient": "nobody", "feed": "sky",
		"id": fmt.Sprint(sightings[0].(map[string]any)["id"]), "key": strings.TrimPrefix(key, "ripetide-")[:8],
	}
}

// newDemoServiceWithNeighbour is newDemoService with another farm beside it.
func newDemoServiceWithNeighbour(t *testing.T) *service {
	t.Helper()
	s := newDemoService(t)
	s.json(201, "PUT", "/v1/farms/elsewhere", `{"name":"Elsewhere","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	return s
}

// Who may open a page or send a form.
const (
	everybody    = "everybody"
	reader       = "reader"
	grower       = "grower"
	owner        = "owner"
	installation = "owner of all" // Who sets up farms.
)

// least says of every route of the pages who may use it at least. A route that
// is not here fails the test.
var least = map[string]string{
	"GET /":               reader,
	"GET /sign-in":        everybody,
	"POST /sign-in":       everybody,
	"GET /sign-in/:link":  everybody,
	"POST /sign-in/:link": everybody,
	"POST /sign-out":      everybody,
	"GET /worker.js":      everybody,
	"GET /at/:farm":       everybody,
	"HEAD /at/:farm":      everybody,
	"GET /setup":          installation,
	"POST /setup":         installation,

	"GET /f/:farm":           reader,
	"POST /f/:farm/forecast": grower,
	"GET /f/:farm/setup":     owner,

	"GET /f/:farm/row":  grower,
	"POST /f/:farm/row": grower,

	"GET /f/:farm/sprays":       reader,
	"POST /f/:farm/sprays":      grower,
	"GET /f/:farm/sprays/form":  grower,
	"POST /f/:farm/sprays/form": grower,

	"GET /f/:farm/opening":        reader,
	"POST /f/:farm/opening":       grower,
	"GET /f/:farm/opening/sheet":  reader,
	"GET /f/:farm/opening/words":  owner,
	"POST /f/:farm/opening/words": owner,

	"GET /f/:farm/opening/addresses":             owner,
	"POST /f/:farm/opening/addresses":            owner,
	"POST /f/:farm/opening/addresses/:id/revoke": owner,

	"GET /f/:farm/season/:year":                                  reader,
	"GET /f/:farm/season/:year/planting/:planting":               reader,
	"GET /f/:farm/season/:year/planting/:planting/narrowing.svg": reader,
	"GET /f/:farm/proposals":                                     reader,
	"POST /f/:farm/proposals":                                    owner,
	"GET /f/:farm/order":                                         reader,
	"GET /f/:farm/order/list.svg":                                reader,
	"GET /f/:farm/review/:year":                                  reader,
	"GET /f/:farm/review/:year/season.svg":                       reader,
	"GET /f/:farm/review/:year/weather.svg":                      reader,
	"GET /f/:farm/review/:year/pickings.svg":                     reader,
	"GET /f/:farm/review/:year/error.svg":                        reader,

	"GET /f/:farm/weather":                             reader,
	"GET /f/:farm/weather/:station":                    reader,
	"GET /f/:farm/weather/:station/record.svg":         reader,
	"GET /f/:farm/weather/:station/day/:date":          reader,
	"POST /f/:farm/weather/:station/day":               grower,
	"POST /f/:farm/weather/:station/verdict":           grower,
	"POST /f/:farm/weather/:station/hours":             owner,
	"GET /f/:farm/weather/:station/file":               grower,
	"POST /f/:farm/weather/:station/file":              grower,
	"GET /f/:farm/weather/:station/feeds/add":          owner,
	"POST /f/:farm/weather/:station/feeds/add":         owner,
	"GET /f/:farm/weather/:station/feed/:feed":         owner,
	"POST /f/:farm/weather/:station/feed/:feed":        owner,
	"POST /f/:farm/weather/:station/feed/:feed/fetch":  grower,
	"POST /f/:farm/weather/:station/feed/:feed/pause":  owner,
	"POST /f/:farm/weather/:station/feed/:feed/remove": owner,

	"GET /f/:farm/book":                     reader,
	"GET /f/:farm/book/farm":                owner,
	"POST /f/:farm/book/farm":               owner,
	"GET /f/:farm/book/station":             owner,
	"POST /f/:farm/book/station":            owner,
	"GET /f/:farm/book/station/:station":    owner,
	"POST /f/:farm/book/station/:station":   owner,
	"GET /f/:farm/book/variety":             owner,
	"POST /f/:farm/book/variety":            owner,
	"GET /f/:farm/book/variety/:variety":    owner,
	"POST /f/:farm/book/variety/:variety":   owner,
	"GET /f/:farm/book/planting":            owner,
	"POST /f/:farm/book/planting":           owner,
	"GET /f/:farm/book/planting/:planting":  owner,
	"POST /f/:farm/book/planting/:planting": owner,
	"GET /f/:farm/book/list":                owner,
	"POST /f/:farm/book/list":               owner,
	"GET /f/:farm/book/seen":                grower,
	"POST /f/:farm/book/seen":               grower,
	"GET /f/:farm/book/seen/:year":          grower,
	"POST /f/:farm/book/seen/:year":         grower,
	"POST /f/:farm/book/sighting/:id/back":  grower,

	"GET /f/:farm/people":            owner,
	"GET /f/:farm/people/changes":    owner,
	"POST /f/:farm/people/invite":    owner,
	"POST /f/:farm/people/key":       owner,
	"POST /f/:farm/people/:key/link": owner,

	"POST /f/:farm/people/mail":                   owner,
	"POST /f/:farm/people/mail/test":              owner,
	"POST /f/:farm/people/mail/:recipient/remove": owner,
	"GET /mail/confirm/:link":                     everybody,
	"POST /mail/confirm/:link":                    everybody,
	"GET /mail/leave/:link":                       everybody,
	"POST /mail/leave/:link":                      everybody,

	"GET /f/:farm/people/:key/revoke":  owner,
	"POST /f/:farm/people/:key/revoke": owner,
}

// files are routes that answer with what a page loads, and of which type.
var files = map[string]string{
	"GET /worker.js": "text/javascript",
	"GET /f/:farm/season/:year/planting/:planting/narrowing.svg": "image/svg+xml",
	"GET /f/:farm/weather/:station/record.svg":                   "image/svg+xml",
	"GET /f/:farm/review/:year/season.svg":                       "image/svg+xml",
	"GET /f/:farm/review/:year/weather.svg":                      "image/svg+xml",
	"GET /f/:farm/review/:year/error.svg":                        "image/svg+xml",
	"GET /f/:farm/order/list.svg":                                "image/svg+xml",
}

// unlike200 are pages that answer otherwise to those who may open them.
var unlike200 = map[string]int{
	"GET /":              http.StatusSeeOther, // To the one farm.
	"GET /sign-in/:link": http.StatusGone,     // The link is nonsense.

	"GET /mail/confirm/:link": http.StatusGone,
	"GET /mail/leave/:link":   http.StatusGone,

	"GET /f/:farm/weather": http.StatusSeeOther, // To the one station.

	"GET /f/:farm/review/:year/pickings.svg": http.StatusNotFound, // Nothing was picked.
}

// rank orders those who are signed in and belong to the farm.
var rank = []string{reader, grower, owner, installation}

func TestEveryPageIsForThoseItIsFor(t *testing.T) {
	t.Parallel()
	s := newDemoServiceWithNeighbour(t)
	people, parts := s.people(), s.demoParts()
	for _, r := range pageRoutes(t) {
		name := r.method + " " + r.path
		role, known := least[name]
		if !known {
			t.Errorf("%s: say in least who may use it", name)
			continue
		}
		path, ok := r.fill(parts)
		if !ok {
			t.Errorf("%s: demoParts does not say what stands for %v", name, r.names())
			continue
		}
		for who, v := range people {
			var want int
			rankOf := slices.Index(rank, who)
			switch {
			case role == everybody, role == reader && who == "stranger" && !strings.Contains(path, "/f/"):
				want = http.StatusOK
			case who == "nobody":
				want = http.StatusSeeOther
			case who == "stranger" && strings.HasPrefix(path, "/f/"):
				want = http.StatusNotFound
			case rankOf < slices.Index(rank, role):
				want = http.StatusForbidden
			default:
				want = http.StatusOK
			}
			allowed := want == http.StatusOK
			if n, ok := unlike200[name]; ok && allowed {
				want = n
			}
			if name == "GET /" && who == installation {
				want = http.StatusOK // There are two.
			}
			if r.method != http.MethodGet && allowed {
				continue // See TestFormsOfOurOwnPagesArrive.
			}
			t.Run(name+" by "+who, func(t *testing.T) {
				res, body := v.send(r.method, path, "")
				if res.StatusCode != want {
					t.Errorf("%s, want %d\n%.500s", res.Status, want, body)
				}
				if who == "nobody" && !allowed && !strings.HasPrefix(res.Header.Get("Location"), "/sign-in") {
					t.Errorf("nobody is sent to %q", res.Header.Get("Location"))
				}
				if want == http.StatusNotFound && (strings.Contains(body, "Lanternfen") || strings.Contains(body, "Wrenlight")) {
					t.Errorf("a page that is not found tells of the farm:\n%s", body)
				}
				checkHeaders(t, res)
				kind := "text/html"
				if x, ok := files[name]; ok && allowed {
					kind = x
				}
				if got := res.Header.Get("Content-Type"); want != http.StatusSeeOther && !strings.HasPrefix(got, kind) {
					t.Errorf("Content-Type is %q, want %s", got, kind)
				}
			})
		}
	}
	for name := range least {
		if !slices.ContainsFunc(pageRoutes(t), func(r route) bool { return r.method+" "+r.path == name }) {
			t.Errorf("least speaks of %s, which is not there", name)
		}
	}
}

// checkHeaders holds an answer of a page against what keeps pages to
// themselves.
func checkHeaders(t *testing.T, res *http.Response) {
	t.Helper()
	csp := map[string]string{}
	for d := range strings.SplitSeq(res.Header.Get("Content-Security-Policy"), ";") {
		name, value, _ := strings.Cut(strings.TrimSpace(d), " ")
		csp[name] = value
	}
	for name, want := range map[string]string{
		"default-src": "'none'", "script-src": "'self'", "style-src": "'self'", "base-uri": "'none'", "frame-ancestors": "'none'", "form-action": "'self'",
	} {
		if csp[name] != want {
			t.Errorf("Content-Security-Policy: %s is %q, want %q", name, csp[name], want)
		}
	}
	for name, want := range map[string]string{
		"X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin",
	} {
		if got := res.Header.Get(name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
	if got := res.Header.Get("Cache-Control"); !strings.Contains(got, "private") && !strings.Contains(got, "no-store") {
		t.Errorf("Cache-Control is %q: caches on the way may keep the page", got)
	}
	if got := res.Header.Get("Access-Control-Allow-Origin"); got != "" {
		t.Errorf("other sites may read the page: %q", got)
	}
}

// Changes are taken from our own pages only: of pages and of the API, when a
// browser's cookie says who it is.
func TestFormsOfOtherSitesAreRefused(t *testing.T) {
	t.Parallel()
	s := newDemoServiceWithNeighbour(t)
	parts := s.demoParts()
	v := s.people()[installation]
	w := &world{Getenv: func(string) string { return "" }, Stdout: io.Discard, Stderr: io.Discard, Now: time.Now}
	n := 0
	for _, r := range newHandler(w, handling{}, nil, nil, &mail.Runner{}, slog.New(slog.DiscardHandler)).Echo().Routes() {
		if !slices.Contains([]string{"POST", "PUT", "DELETE", "PATCH"}, r.Method) || r.Path == "/mail/leave/:link" {
			continue // Leaving needs no cookie, and mail programs in browsers send it from pages of their own.
		}
		n++
		path := pathPart.ReplaceAllStringFunc(r.Path, func(m string) string {
			if v, ok := parts[m[1:]]; ok {
				return v
			}
			return "x"
		})
		for name, headers := range map[string][]string{
			"another site, as browsers say":    {"Sec-Fetch-Site", "cross-site"},
			"a sister site":                    {"Sec-Fetch-Site", "same-site"},
			"another site, as old ones say":    {"Origin", "https://evil.example"},
			"a page without an origin":         {"Origin", "null"},
			"another port of the same machine": {"Origin", "http://127.0.0.1:1"},
		} {
			t.Run(r.Method+" "+r.Path+" from "+name, func(t *testing.T) {
				res, body := v.send(r.Method, path, "", headers...)
				if res.StatusCode != http.StatusForbidden {
					t.Errorf("%s, want 403\n%.300s", res.Status, body)
				}
				if len(res.Cookies()) > 0 {
					t.Errorf("it changed the cookie: %v", res.Cookies())
				}
			})
		}
	}
	if n < 20 {
		t.Errorf("the router has only %d routes that change something", n)
	}
	if res, _ := v.send("GET", "/", ""); res.StatusCode != http.StatusOK {
		t.Errorf("the session is gone: %s", res.Status)
	}
}

// The same forms, empty, from our own pages: none is refused as foreign or
// forbidden, and none breaks.
func TestFormsOfOurOwnPagesArrive(t *testing.T) {
	t.Parallel()
	s := newDemoServiceWithNeighbour(t)
	people, parts := s.people(), s.demoParts()
	for _, r := range pageRoutes(t) {
		name := r.method + " " + r.path
		role := least[name]
		path, ok := r.fill(parts)
		if r.method == http.MethodGet || role == "" || !ok || r.path == "/sign-out" {
			continue
		}
		if role == everybody {
			role = "nobody"
		}
		t.Run(name, func(t *testing.T) {
			for _, body := range []string{"", "a=b&a=c&%zz", strings.Repeat("x=y&", 300_000)} {
				res, text := people[role].send(r.method, path, body, "Sec-Fetch-Site", "same-origin", "Origin", s.base)
				if res.StatusCode == http.StatusForbidden || res.StatusCode == http.StatusUnauthorized || res.StatusCode >= 500 {
					t.Errorf("%.20q: %s\n%.500s", body, res.Status, text)
				}
				checkHeaders(t, res)
			}
		})
	}
}

// A session ends when the person signs out, and when the key is revoked that it
// is for.
func TestSessionsEnd(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	s := newServiceAt(t, clock.now)
	for _, f := range []string{"lanternfen", "elsewhere"} {
		s.json(201, "PUT", "/v1/farms/"+f, `{"name":"F","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	}
	signedIn := func(v *visitor) bool {
		t.Helper()
		res, _ := v.send("GET", "/f/lanternfen", "")
		api, _ := v.send("GET", "/v1/farms/lanternfen", "")
		if (res.StatusCode == http.StatusOK) != (api.StatusCode == http.StatusOK) {
			t.Errorf("the page says %s, the API %s", res.Status, api.Status)
		}
		return res.StatusCode == http.StatusOK
	}

	key := strings.TrimSpace(s.command("key", "new", "--role", "owner", "--name", "x"))
	one, other := newVisitor(t, s.base), newVisitor(t, s.base)
	res := one.signIn(key)
	other.signIn(key)
	if k := res.Cookies()[0]; !k.HttpOnly || k.SameSite != http.SameSiteLaxMode || k.Path != "/" || k.Domain != "" || len(k.Value) < 32 {
		t.Errorf("the cookie is %s", k)
	}
	if one.cookie.Value == other.cookie.Value {
		t.Error("two sessions have one secret")
	}
	if !signedIn(one) || !signedIn(other) {
		t.Fatal("not signed in")
	}
	res, _ = one.send("POST", "/sign-out", "")
	if k := res.Cookies(); len(k) != 1 || k[0].MaxAge >= 0 || k[0].Value != "" {
		t.Errorf("signing out leaves the cookie %v", k)
	}
	if !strings.Contains(res.Header.Get("Clear-Site-Data"), `"cache"`) {
		t.Error("signing out leaves the pages that the browser has kept")
	}
	if signedIn(one) {
		t.Error("signed out, the old cookie still opens")
	}
	if !signedIn(other) {
		t.Error("signing out in one browser ended another's session")
	}
	s.command("key", "revoke", strings.TrimPrefix(key, "ripetide-")[:8])
	if signedIn(other) {
		t.Error("the key is revoked, its session still opens")
	}

	third := newVisitor(t, s.base)
	third.signIn(s.key)
	clock.advance(120*24*time.Hour - time.Minute)
	if !signedIn(third) {
		t.Error("a session ended before its time")
	}
	clock.advance(2 * time.Minute)
	if signedIn(third) {
		t.Error("a session outlives its time")
	}
}

// A link signs in once, within its time, one of many who use it at once.
func TestLinksWorkOnce(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	s := newServiceAt(t, clock.now)
	s.json(201, "PUT", "/v1/farms/lanternfen", `{"name":"F","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	link := func(args ...string) string {
		u, err := url.Parse(strings.TrimSpace(s.command(append([]string{"link", "--name", "Emmett"}, args...)...)))
		if err != nil {
			t.Fatal(err)
		}
		return u.Path
	}
	v := newVisitor(t, s.base)
	status := func(method, path string) int {
		t.Helper()
		res, body := v.send(method, path, "")
		if res.StatusCode == http.StatusGone && strings.Contains(body, "Emmett") {
			t.Error("a spent link says whom it was for")
		}
		return res.StatusCode
	}

	l := link()
	for range 3 { // Looking does not use it up.
		if got := status("GET", l); got != http.StatusOK {
			t.Fatalf("looking at a link: %d", got)
		}
	}
	var wg sync.WaitGroup
	got := make([]int, 8)
	for i := range got {
		wg.Go(func() {
			req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.base+l, nil)
			if err != nil {
				t.Error(err)
				return
			}
			res, err := v.client.Do(req)
			if err != nil {
				t.Error(err)
				return
			}
			defer res.Body.Close()
			got[i] = res.StatusCode
		})
	}
	wg.Wait()
	slices.Sort(got)
	if got[0] != http.StatusSeeOther || got[1] != http.StatusGone || got[7] != http.StatusGone {
		t.Errorf("eight use a link at once: %v, want one 303 and seven 410", got)
	}
	if g, p := status("GET", l), status("POST", l); g != http.StatusGone || p != http.StatusGone {
		t.Errorf("a used link: GET %d, POST %d, want 410", g, p)
	}

	clock.advance(time.Hour) // The fails above are forgotten.
	l = link("--valid", "10m")
	clock.advance(10*time.Minute - time.Second)
	if got := status("GET", l); got != http.StatusOK {
		t.Errorf("a link just before its end: %d", got)
	}
	clock.advance(time.Second)
	if g, p := status("GET", l), status("POST", l); g != http.StatusGone || p != http.StatusGone {
		t.Errorf("an expired link: GET %d, POST %d, want 410", g, p)
	}

	l = link("--role", "reader")
	for line := range strings.SplitSeq(s.command("key", "list"), "\n") {
		if f := strings.Fields(line); len(f) > 3 && f[3] == "Emmett" && f[1] == "reader" {
			s.command("key", "revoke", f[0])
		}
	}
	if g, p := status("GET", l), status("POST", l); g != http.StatusGone || p != http.StatusGone {
		t.Errorf("a link of a revoked key: GET %d, POST %d, want 410", g, p)
	}
}

// What opens a door is kept nowhere: not in the database, not in the log.
func TestNoSecretIsKept(t *testing.T) {
	t.Parallel()
	dsn := dbtest.DSN(t)
	clock := newTestClock(t)
	o, err := open(t.Context(), &config{DatabaseURL: dsn, Data: t.TempDir()}, mainDatabase, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer o.close(t.Context())
	var log lockedBuffer
	w := &world{Stdout: io.Discard, Stderr: io.Discard, Now: clock.now}
	srv := httptest.NewServer(newHandler(w, handling{}, o.Store, nil, &mail.Runner{}, slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))))
	defer srv.Close()

	key, _, err := newKey(t.Context(), o.Store, owner, "key", "", 0, clock.now())
	if err != nil {
		t.Fatal(err)
	}
	link := func() string {
		l, err := newLink(t.Context(), o.Store, "link", owner, "", time.Hour, clock.now())
		if err != nil {
			t.Fatal(err)
		}
		return strings.TrimPrefix(l, "/sign-in/")
	}
	used, unused := link(), link()
	byKey, byLink := newVisitor(t, srv.URL), newVisitor(t, srv.URL)
	byKey.signIn(key)
	byLink.send("GET", "/sign-in/"+used, "")
	res, _ := byLink.send("POST", "/sign-in/"+used, "")
	if len(res.Cookies()) == 0 {
		t.Fatalf("the link does not sign in: %s", res.Status)
	}
	byLink.cookie = res.Cookies()[0]
	for _, v := range []*visitor{byKey, byLink} {
		for _, path := range []string{"/", "/f/none", "/v1/farms", "/sign-in/" + unused} {
			v.send("GET", path, "")
		}
	}
	byKey.send("POST", "/sign-in", "key=ripetide-wrongwrongwrong")

	dump := dumpDatabase(t, dsn)
	for name, secret := range map[string]string{
		"a key": key, "a link that was used": used, "a link that was not": unused,
		"a session by key": byKey.cookie.Value, "a session by link": byLink.cookie.Value,
	} {
		hash := api.HashKey(secret)
		if !strings.Contains(dump, hex.EncodeToString(hash[:])) {
			t.Errorf("%s: not even its hash is in the database, so this looks in the wrong place", name)
		}
		text := strings.TrimPrefix(secret, "ripetide-")
		for where, kept := range map[string]string{"database": dump, "log": log.String()} {
			for _, form := range []string{text, strings.ToUpper(text), text[:16], hex.EncodeToString([]byte(text)), url.QueryEscape(secret)} {
				if strings.Contains(kept, form) {
					t.Errorf("%s is in the %s", name, where)
				}
			}
		}
	}
	if !strings.Contains(log.String(), "/sign-in") || strings.Contains(log.String(), "wrongwrong") {
		t.Errorf("the log is\n%s", log.String())
	}
}

// lockedBuffer is a buffer for many writers.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// dumpDatabase returns every row of every table as text.
func dumpDatabase(t *testing.T, dsn string) string {
	t.Helper()
	pool := dbtest.Connect(t, dsn)
	rows, err := pool.Query(t.Context(), `
		SELECT format('%I.%I', table_schema, table_name)
		FROM information_schema.tables
		WHERE table_schema NOT IN ('pg_catalog', 'information_schema') AND table_type = 'BASE TABLE'
		ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	for _, table := range tables {
		rows, err := pool.Query(t.Context(), "SELECT x::text FROM "+table+" AS x")
		if err != nil {
			t.Fatal(err)
		}
		lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&out, "%s\n%s\n", table, strings.Join(lines, "\n"))
	}
	return out.String()
}
