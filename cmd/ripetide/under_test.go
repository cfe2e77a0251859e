package main

import (
	"encoding/json"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/net/html"

	"ripetide/api/mail"
)

// mount is where the site of the tests shows the service.
const mount = "/berries"

// site is a site with pages of its own that shows a service at [mount]; whatever is
// asked for elsewhere is not there, and is written down.
type site struct {
	base string

	mu      sync.Mutex
	outside []string
}

// newSite puts a proxy before a service. It takes the path off, or leaves it.
func newSite(t *testing.T, s *service, strips bool) *site {
	t.Helper()
	to, err := url.Parse(s.base)
	if err != nil {
		t.Fatal(err)
	}
	proxy := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(to)
			r.SetXForwarded()
			r.Out.Host = r.In.Host
		},
		ErrorLog: log.New(io.Discard, "", 0), // Browsers give up now and then.
	}
	var inside http.Handler = proxy
	if strips {
		inside = http.StripPrefix(mount, proxy)
	}
	x := &site{}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, mount+"/") {
			inside.ServeHTTP(w, r)
			return
		}
		x.mu.Lock()
		x.outside = append(x.outside, r.Method+" "+r.URL.Path)
		x.mu.Unlock()
		http.NotFound(w, r)
	}))
	t.Cleanup(srv.Close)
	x.base = srv.URL
	return x
}

// asked are the paths outside that were asked for. Browsers ask for an icon there by
// themselves.
func (x *site) asked() []string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(x.outside), func(s string) bool { return s == "GET /favicon.ico" })
}

// newMounted starts the demo's service under a path of a site.
func newMounted(t *testing.T, strips bool) (*service, *site) {
	t.Helper()
	_, at := demoMorning(t)
	s := newDemoServiceWith(t, func() time.Time { return at }, map[string]string{"RIPETIDE_PUBLIC_URL": "https://farm.example" + mount + "/"})
	return s, newSite(t, s, strips)
}

// linkPath makes a sign-in link and returns its path at the service.
func (s *service) linkPath(name, role, farm string) string {
	s.t.Helper()
	u, err := url.Parse(strings.TrimSpace(s.command("link", "--name", name, "--role", role, "--farm", farm)))
	if err != nil {
		s.t.Fatal(err)
	}
	return u.Path
}

// addressOf is an address on a page: of a link, a form or a file.
type addressOf struct{ tag, to string }

// addressesOn returns the addresses on a page.
func addressesOn(page string) (out []addressOf) {
	z := html.NewTokenizer(strings.NewReader(page))
	for kind := z.Next(); kind != html.ErrorToken; kind = z.Next() {
		if kind != html.StartTagToken && kind != html.SelfClosingTagToken {
			continue
		}
		t := z.Token()
		for _, a := range t.Attr {
			switch a.Key {
			case "href", "src", "srcset", "action", "formaction", "poster":
				out = append(out, addressOf{t.Data, a.Val})
			}
		}
	}
	return out
}

var (
	anyNumber = regexp.MustCompile(`\d+`)
	anyValue  = regexp.MustCompile(`=[^&]*`)
)

// crawl follows whatever pages lead to, from a path on, and returns the paths of
// all pages. Of addresses that are alike but for their numbers it asks for some.
func (v *visitor) crawl(from string) (pages []string) {
	v.t.Helper()
	at, err := url.Parse(v.base)
	if err != nil {
		v.t.Fatal(err)
	}
	seen, alike := map[string]bool{}, map[string]int{}
	type step struct{ on, tag, to string }
	todo := []step{{"", "a", from}}
	for len(todo) > 0 {
		now := todo[0]
		todo = todo[1:]
		base, err := at.Parse(now.on)
		if err != nil {
			v.t.Fatal(err)
		}
		u, err := base.Parse(now.to)
		if err != nil {
			v.t.Errorf("%s leads to %q: %v", now.on, now.to, err)
			continue
		}
		if u.Host != at.Host || u.Scheme != at.Scheme {
			continue // Of other sites, mailto: and the like.
		}
		u.Fragment = ""
		path := u.RequestURI()
		kind := anyNumber.ReplaceAllString(u.Path, "0") + "?" + anyValue.ReplaceAllString(u.RawQuery, "")
		if seen[path] || alike[kind] >= 3 {
			continue
		}
		seen[path] = true
		alike[kind]++
		res, body := v.send("GET", path, "", "Accept", "text/html,*/*")
		switch {
		case now.tag == "form" && res.StatusCode == http.StatusMethodNotAllowed: // It is sent by POST, and there.
		case res.StatusCode >= 300 && res.StatusCode < 400:
			todo = append(todo, step{path, "a", res.Header.Get("Location")})
		case res.StatusCode != http.StatusOK:
			v.t.Errorf("%s on %s leads to %s: %s", now.tag, now.on, path, res.Status)
		case strings.HasPrefix(res.Header.Get("Content-Type"), "text/html"):
			pages = append(pages, u.Path)
			for _, a := range addressesOn(body) {
				todo = append(todo, step{path, a.tag, a.to})
			}
		}
	}
	return pages
}

// Whatever pages lead to lies under the path, whether or not the proxy takes it off.
func TestEverythingLiesUnderThePath(t *testing.T) {
	t.Parallel()
	for name, strips := range map[string]bool{"the proxy takes the path off": true, "the proxy passes it on": false} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, site := newMounted(t, strips)
			s.demoParts() // A feed, a public page; and the service answers without the path too.
			v := newVisitor(t, site.base)

			// In by a link, which leads to the first page, and on to the farm's.
			link := mount + s.linkPath("Noor", "owner", "lanternfen")
			_, body := v.send("GET", link, "")
			form := slices.IndexFunc(addressesOn(body), func(a addressOf) bool { return a.tag == "form" })
			if form >= 0 { // Without an action it goes to where it stands.
				link = addressesOn(body)[form].to
			}
			res, body := v.send("POST", link, "")
			if res.StatusCode != http.StatusSeeOther || res.Header.Get("Location") != mount+"/" {
				t.Fatalf("signing in: %s to %q\n%s", res.Status, res.Header.Get("Location"), body)
			}
			v.cookie = res.Cookies()[0]
			if v.cookie.Path != mount+"/" {
				t.Errorf("the cookie is for %q", v.cookie.Path)
			}

			pages := v.crawl(mount + "/")
			for _, want := range []string{
				"/f/lanternfen", "/f/lanternfen/row", "/f/lanternfen/season/2018", "/f/lanternfen/opening", "/f/lanternfen/opening/sheet", "/f/lanternfen/weather/ann-arbor",
				"/f/lanternfen/book", "/f/lanternfen/book/farm", "/f/lanternfen/people", "/f/lanternfen/sprays", "/f/lanternfen/order", "/at/lanternfen",
			} {
				if !slices.Contains(pages, mount+want) {
					t.Errorf("nothing leads to %s, but to %q", want, pages)
				}
			}
			v.crawl(mount + "/reference")

			// What is shown to be copied elsewhere.
			copied := func(path, form, ending string) {
				t.Helper()
				_, body := v.send("POST", mount+path, form)
				found := regexp.MustCompile(`value="` + regexp.QuoteMeta(site.base) + `(/[^"]*` + ending + `)"`).FindStringSubmatch(body)
				if found == nil {
					t.Fatalf("%s shows no address:\n%s", path, body)
				}
				if res, body := v.send("GET", found[1], ""); res.StatusCode != http.StatusOK {
					t.Errorf("%s: %s\n%s", found[1], res.Status, body)
				} else if links := addressesOn(body); ending == "changes.atom" && !slices.Contains(links, addressOf{"link", mount + "/at/lanternfen"}) {
					t.Errorf("the feed leads to %v", links)
				}
			}
			copied("/f/lanternfen/opening/addresses", "name=Ilse", "calendar.ics")
			copied("/f/lanternfen/opening/addresses", "name=Bo", "changes.atom")
			copied("/f/lanternfen/people/invite", "invite_name=Ilse&invite_role=reader", "")

			// Back to where one was before signing in, told by the service or by a script.
			nobody := newVisitor(t, site.base)
			res, _ = nobody.send("GET", mount+"/f/lanternfen/row?planting=x", "")
			if to := res.Header.Get("Location"); to != mount+"/sign-in?back=%2Ff%2Flanternfen%2Frow%3Fplanting%3Dx" {
				t.Errorf("nobody is sent to %q", to)
			}
			for _, back := range []string{"/f/lanternfen/row?planting=x", mount + "/f/lanternfen/row?planting=x"} {
				res, _ := nobody.send("POST", mount+"/sign-in", url.Values{"key": {s.key}, "back": {back}}.Encode())
				if to := res.Header.Get("Location"); to != mount+"/f/lanternfen/row?planting=x" {
					t.Errorf("back to %s leads to %q", back, to)
				}
			}

			// What programs read.
			for _, path := range []string{"/v1/farms/none", "/v1/farms/lanternfen/plantings/none", "/v1/farms/lanternfen/sightings?season=x", "/nothing"} {
				_, body := v.send("GET", mount+path, "")
				var p struct{ Type, Instance string }
				if err := json.Unmarshal([]byte(body), &p); err != nil {
					t.Fatalf("%s: %v", path, err)
				}
				if at, _, _ := strings.Cut(path, "?"); p.Instance != mount+at || p.Type != "about:blank" && !strings.HasPrefix(p.Type, mount+"/problems/") {
					t.Errorf("%s: the problem has %+v", path, p)
				}
			}
			_, body = v.send("GET", mount+"/openapi.json", "")
			var doc struct{ Servers []struct{ URL string } }
			if err := json.Unmarshal([]byte(body), &doc); err != nil || fmt.Sprint(doc.Servers) != "[{"+mount+"}]" {
				t.Errorf("the document has the servers %v, %v", doc.Servers, err)
			}

			if got := site.asked(); len(got) > 0 {
				t.Errorf("outside the path were asked for %q", got)
			}
		})
	}
}

// In a browser: scripts, the worker and what it keeps.
func TestTheRowUnderAPath(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s, site := newMounted(t, true)
	front := *s
	front.base = site.base
	b := newBrowser(t, &front)
	b.open(mount + s.linkPath("Noor", "grower", "lanternfen"))
	b.click("main button")
	b.wait(`location.pathname === "` + mount + `/f/lanternfen"`)

	b.open(mount + "/f/lanternfen/season/2018")
	b.wait(`[...document.images].some(i => i.checkVisibility() && i.complete && i.naturalWidth > 0)`)

	b.open(mount + "/f/lanternfen/row")
	b.comes(`navigator.serviceWorker.ready.then(r => r.active.state === "activated")`)
	if got := eval[string](b, `navigator.serviceWorker.ready.then(r => new URL(r.scope).pathname + " " + new URL(r.active.scriptURL).pathname)`); got != mount+"/ "+mount+"/worker.js" {
		t.Errorf("the worker's scope and script are %s", got)
	}
	b.open(mount + "/f/lanternfen/row") // Now through the worker.
	b.comes(isKept(mount + rowPath))
	b.comes(isKept(mount + "/f/lanternfen/season/2018"))

	// Without a signal from the copy; the entry is sent once there is one again.
	b.offline(true)
	b.open(mount + rowPath)
	b.says(".kept", "No signal")
	b.click(button("not_yet", 0))
	b.says("#last", "peak not yet, Mon Jun 11: waiting for signal")
	b.open(mount + "/")
	b.wait(`location.pathname === "` + mount + `/f/lanternfen"`)
	b.click(`#signal a`)
	b.wait(`location.pathname === "` + mount + `/f/lanternfen/row"`)
	b.offline(false)
	b.says("#entered", "sent ")
	if n := s.rows(sightingRows, rowPlanting); n != 1 {
		t.Errorf("%d sightings in the database, want 1", n)
	}

	// Taken back by what the page says of the record.
	b.open(mount + rowPath)
	b.click(`#record form[data-entry=undo] button`)
	b.wait(`/(taken back|done) \d\d:\d\d/.test(document.querySelector("#entered").innerText)`)
	if got := s.current("peak"); len(got) > 0 {
		t.Errorf("on record is still %v", got)
	}

	if got := eval[string](b, `fetch(document.querySelector("link[rel=manifest]").href).then(async (r) => {
		const m = await r.json();
		return [m.start_url, m.scope, m.icons[0].src].map((a) => new URL(a, r.url).pathname).join(" ");
	})`); got != mount+"/ "+mount+"/ "+mount+"/static/icon.svg" {
		t.Errorf("installed, the pages are at %s", got)
	}
	for _, m := range b.console() {
		if !strings.Contains(m, "net::ERR_") { // What failed for want of a signal.
			t.Errorf("the pages said %q", m)
		}
	}
	if got := site.asked(); len(got) > 0 {
		t.Errorf("outside the path were asked for %q", got)
	}
}

// A public address whose path begins like one of ours would be read in two ways.
func TestThePathOfThePublicAddressIsNoneOfOurs(t *testing.T) {
	t.Parallel()
	read := func(public string) (*config, error) {
		env := map[string]string{"RIPETIDE_DATA": t.TempDir(), "RIPETIDE_PUBLIC_URL": public}
		return readConfig(func(k string) string { return env[k] })
	}
	for public, want := range map[string]string{"https://x.example": "", "https://x.example/": "", "https://x.example/berries/": "/berries", "https://x.example/a/f": "/a/f", "https://x.example/farm": "/farm"} {
		if c, err := read(public); err != nil || c.Under != want || c.PublicURL != "https://x.example"+want {
			t.Errorf("%s: %+v, %v", public, c, err)
		}
	}
	w := &world{Getenv: func(string) string { return "" }, Stdout: io.Discard, Stderr: io.Discard, Now: time.Now}
	for _, r := range newHandler(w, handling{}, nil, nil, &mail.Runner{}, slog.New(slog.DiscardHandler)).Echo().Routes() {
		name, _, _ := strings.Cut(strings.TrimPrefix(r.Path, "/"), "/")
		if name == "" {
			continue
		}
		for _, path := range []string{"/" + name, "/" + name + "/berries"} {
			if _, err := read("https://x.example" + path); err == nil || !strings.Contains(err.Error(), "pages of its own at /"+name) {
				t.Errorf("%s is taken: %v", path, err)
			}
		}
	}
}
