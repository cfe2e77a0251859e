package pages_test

import (
	"context"
	"html"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"ripetide/api"
	"ripetide/api/pages"
	"ripetide/forecast"
)

// goodKey opens the door of fakeDoor, and no other.
const goodKey = "ripetide-good"

// fakeDoor knows one key and keeps sessions.
type fakeDoor struct {
	api.Store
	pages.People

	mu       sync.Mutex
	sessions map[[32]byte]time.Time // Until when.
	asked    int                    // How often a key was looked up.
}

func (f *fakeDoor) Caller(_ context.Context, hash [32]byte, _ time.Time) (api.Caller, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked++
	if hash != api.HashKey(goodKey) {
		return api.Caller{}, api.ErrUnauthorized
	}
	return api.Caller{KeyID: "k", Name: "Noor", Role: api.Owner}, nil
}

func (f *fakeDoor) LinkCaller(context.Context, [32]byte, time.Time) (api.Caller, error) {
	return api.Caller{}, pages.ErrLinkSpent
}

func (f *fakeDoor) OpenSession(_ context.Context, _ string, session [32]byte, _, until time.Time) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.sessions[session] = until
	return nil
}

// door is the service with a store that does nothing but open the door.
type door struct {
	http.Handler
	*fakeDoor
	now time.Time
}

func newDoor() *door {
	d := &door{fakeDoor: &fakeDoor{sessions: map[[32]byte]time.Time{}}, now: time.Date(2018, 6, 11, 5, 40, 0, 0, time.UTC)}
	now := func() time.Time { return d.now }
	log := slog.New(slog.DiscardHandler)
	service := &forecast.Service{Now: now}
	s := api.New(api.Config{Store: d.fakeDoor, Forecast: service, Now: now, Log: log, Version: "test"})
	pages.Add(pages.Config{API: s, Store: d.fakeDoor, People: d.fakeDoor, Forecast: service, Now: now, Log: log, Version: "test"})
	d.Handler = s
	return d
}

// send sends a request from an address.
func (d *door) send(from, method, target string, form url.Values) *http.Response {
	r := httptest.NewRequest(method, target, strings.NewReader(form.Encode()))
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	r.RemoteAddr = from + ":40000"
	w := httptest.NewRecorder()
	d.ServeHTTP(w, r)
	return w.Result()
}

// try tries a key from an address.
func (d *door) try(from, key string) *http.Response {
	return d.send(from, http.MethodPost, "/sign-in", url.Values{"key": {key}})
}

// Ten wrong keys from an address are answered, the eleventh is not even looked
// at; others may go on, and after a quarter of an hour so may it.
func TestTriesToSignInAreLimited(t *testing.T) {
	t.Parallel()
	const here, there = "192.0.2.1", "192.0.2.2"
	d := newDoor()
	for i := range 10 {
		if res := d.try(here, "ripetide-wrong"+strconv.Itoa(i)); res.StatusCode != http.StatusUnprocessableEntity {
			t.Fatalf("wrong key %d: %s", i+1, res.Status)
		}
		d.now = d.now.Add(time.Second)
	}
	asked := d.asked
	for _, key := range []string{"ripetide-wrong", goodKey} {
		res := d.try(here, key)
		if res.StatusCode != http.StatusTooManyRequests || len(res.Cookies()) > 0 {
			t.Errorf("the eleventh key, %s: %s, cookies %v", key, res.Status, res.Cookies())
		}
		wait, err := strconv.Atoi(res.Header.Get("Retry-After"))
		if want := 15*60 - 10; err != nil || wait < want || wait > want+2 {
			t.Errorf("Retry-After is %q, want %d s", res.Header.Get("Retry-After"), want)
		}
	}
	if d.asked != asked {
		t.Error("a key was looked up that nobody may try")
	}
	for _, method := range []string{http.MethodGet, http.MethodPost} {
		if res := d.send(here, method, "/sign-in/abc", nil); res.StatusCode != http.StatusTooManyRequests {
			t.Errorf("after ten wrong keys a link, %s: %s", method, res.Status)
		}
	}
	if res := d.try(there, goodKey); res.StatusCode != http.StatusSeeOther {
		t.Errorf("another address: %s", res.Status)
	}

	d.now = d.now.Add(15*time.Minute - 10*time.Second - time.Millisecond)
	if res := d.try(here, goodKey); res.StatusCode != http.StatusTooManyRequests {
		t.Errorf("a moment before the time is up: %s", res.Status)
	}
	d.now = d.now.Add(time.Millisecond)
	if res := d.try(here, goodKey); res.StatusCode != http.StatusSeeOther {
		t.Errorf("a quarter of an hour after the first: %s", res.Status)
	}
}

// Links are tried as keys are.
func TestTriesOfLinksAreLimited(t *testing.T) {
	t.Parallel()
	d := newDoor()
	var got []int
	for range 12 {
		got = append(got, d.send("192.0.2.1", http.MethodGet, "/sign-in/abc", nil).StatusCode)
	}
	want := append(slices.Repeat([]int{http.StatusGone}, 10), http.StatusTooManyRequests, http.StatusTooManyRequests)
	if !slices.Equal(got, want) {
		t.Errorf("twelve links: %v, want %v", got, want)
	}
}

// Whoever has a network of IPv6 has all of its addresses to try from.
func TestTriesAreCountedByNetwork(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		from string // # stands for the number of the try.
		next string
		want int
	}{
		"other addresses of one /64":   {"[2001:db8:5:7::#]", "[2001:db8:5:7:ffff::1]", http.StatusTooManyRequests},
		"the /64 beside it":            {"[2001:db8:5:7::#]", "[2001:db8:5:8::1]", http.StatusUnprocessableEntity},
		"an interface's own addresses": {"[fe80::#%eth0]", "[fe80::ff%eth1]", http.StatusTooManyRequests},
		"other IPv4 addresses":         {"192.0.2.1#", "192.0.2.9", http.StatusUnprocessableEntity},
		"IPv4 written as IPv6":         {"[::ffff:192.0.2.1]", "192.0.2.1", http.StatusTooManyRequests},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := newDoor()
			for i := range pages.MostFails {
				if res := d.try(strings.ReplaceAll(tt.from, "#", strconv.Itoa(i)), "ripetide-wrong"); res.StatusCode != http.StatusUnprocessableEntity {
					t.Fatalf("wrong key %d: %s", i+1, res.Status)
				}
			}
			if res := d.try(tt.next, "ripetide-wrong"); res.StatusCode != tt.want {
				t.Errorf("from %s after %d from %s: %s, want %d", tt.next, pages.MostFails, tt.from, res.Status, tt.want)
			}
		})
	}
}

// A browser that signs in gets a cookie that scripts and other sites cannot use.
func TestTheCookieIsKeptFromScriptsAndOtherSites(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, target string
		secure       bool
	}{
		{"over plain HTTP on the farm's own machine", "/sign-in", false},
		{"over TLS", "https://ripetide.example/sign-in", true},
	} {
		d := newDoor()
		res := d.send("192.0.2.1", http.MethodPost, tt.target, url.Values{"key": {" " + goodKey + "\n"}})
		if res.StatusCode != http.StatusSeeOther || len(res.Cookies()) != 1 {
			t.Fatalf("%s: %s, cookies %v", tt.name, res.Status, res.Cookies())
		}
		k := res.Cookies()[0]
		if k.Name != api.SessionCookie || !k.HttpOnly || k.SameSite != http.SameSiteLaxMode || k.Path != "/" || k.Domain != "" || k.Secure != tt.secure {
			t.Errorf("%s: cookie %s", tt.name, k)
		}
		until, kept := d.sessions[api.HashKey(k.Value)]
		if !kept || !until.Equal(d.now.Add(time.Duration(k.MaxAge)*time.Second)) {
			t.Errorf("%s: the cookie lives %d s, the session until %s", tt.name, k.MaxAge, until)
		}
	}
}

var backField = regexp.MustCompile(`name="back" value="([^"]*)"`)

// Nobody is led elsewhere by a link to our sign-in page.
func TestSigningInLeadsNowhereElse(t *testing.T) {
	t.Parallel()
	d := newDoor()
	for _, tt := range []struct{ back, want string }{
		{"/f/hill", "/f/hill"},
		{"/f/hill/season/2018?forecast=a%2Fb&x=//evil.example", "/f/hill/season/2018?forecast=a%2Fb&x=//evil.example"},
		{"", "/"},
		{"f/hill", "/"},
		{"https://evil.example/", "/"},
		{"HTTPS:evil.example", "/"},
		{"https:/evil.example", "/"},
		{"//evil.example/f/hill", "/"},
		{"///evil.example", "/"},
		{`/\evil.example`, "/"},
		{`\\evil.example`, "/"},
		{`/f/..\..\\evil.example`, "/"},
		{"/\t/evil.example", "/"},
		{"/\n/evil.example", "/"},
		{"\t//evil.example", "/"},
		{" //evil.example", "/"},
		{"/f\r\nLocation: https://evil.example", "/"},
		{"/f\r\nSet-Cookie: a=b", "/"},
		{"/\x00/evil.example", "/"},
		{"javascript:alert(1)", "/"},
		{"data:text/html,x", "/"},
		{"/%", "/"},
		{"//user:password@evil.example/", "/"},
		{"/.//evil.example", "/.//evil.example"},       // A path of ours to every browser.
		{"/f/..//evil.example", "/f/..//evil.example"}, // The same.
	} {
		res := d.send("192.0.2.1", http.MethodGet, "/sign-in?back="+url.QueryEscape(tt.back), nil)
		body, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		m := backField.FindSubmatch(body)
		if m == nil || res.StatusCode != http.StatusOK {
			t.Fatalf("back to %q: %s\n%s", tt.back, res.Status, body)
		}
		asked := html.UnescapeString(string(m[1]))
		res = d.send("192.0.2.1", http.MethodPost, "/sign-in", url.Values{"key": {goodKey}, "back": {tt.back}})
		for where, got := range map[string]string{"the form says": asked, "the answer leads to": res.Header.Get("Location")} {
			if got != tt.want || !harmless(got) {
				t.Errorf("back to %q: %s %q, want %q", tt.back, where, got, tt.want)
			}
		}
	}
}

// harmless reports whether a browser on our page that is sent to an address
// stays with us: browsers take \ for / and leave out tabs and line ends.
func harmless(to string) bool {
	to = strings.NewReplacer("\t", "", "\n", "", "\r", "", `\`, "/").Replace(to)
	return strings.HasPrefix(to, "/") && !strings.HasPrefix(to, "//")
}

// What somebody wanted to see before signing in is what they see after.
func TestNobodyIsSentToSignInAndBack(t *testing.T) {
	t.Parallel()
	d := newDoor()
	for _, tt := range []struct{ method, path, want string }{
		{"GET", "/f/hill/season/2018?forecast=a%2Fb", "/sign-in?back=%2Ff%2Fhill%2Fseason%2F2018%3Fforecast%3Da%252Fb"},
		{"GET", "/", "/sign-in"},
		{"POST", "/f/hill/forecast", "/sign-in"}, // A form is not sent again.
		{"GET", "/f/hill/book?next=//evil.example", "/sign-in?back=%2Ff%2Fhill%2Fbook%3Fnext%3D%2F%2Fevil.example"},
	} {
		res := d.send("192.0.2.1", tt.method, tt.path, nil)
		if got := res.Header.Get("Location"); res.StatusCode != http.StatusSeeOther || got != tt.want {
			t.Errorf("%s %s: %s to %q, want %q", tt.method, tt.path, res.Status, got, tt.want)
		}
	}
}
