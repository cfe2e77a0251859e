package feed_test

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"ripetide/weather/feed"
)

func nwsSpec(address string) feed.Spec {
	return feed.Spec{
		ID: "nws", Kind: feed.NWS, Address: address, Latitude: 42.73501, Longitude: -73.7,
		Contact: contact, Every: time.Hour,
	}
}

// nws is a service that answers as api.weather.gov does.
type nws struct {
	*service
	cell   string // The grid cell of the point.
	grid   string // Its forecast.
	points http.HandlerFunc
	set    func(h http.Header)
}

func serveNWS(t *testing.T) *nws {
	t.Helper()
	n := &nws{cell: "ALY/71,67", grid: sample(t, "nws_grid_ALY.json"), set: func(http.Header) {}}
	n.points = func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprintf(w, `{"properties":{"gridId":"ALY","forecastGridData":"%s/gridpoints/%s"}}`, n.URL, n.cell)
	}
	n.service = serve(t, func(w http.ResponseWriter, r *http.Request) {
		if !strings.Contains(r.Header.Get("User-Agent"), contact) || r.Header.Get("Accept") != "application/geo+json" {
			http.Error(w, "", http.StatusForbidden)
			return
		}
		switch r.URL.Path {
		case "/points/42.735,-73.7":
			n.points(w, r)
		case "/gridpoints/" + n.cell:
			n.set(w.Header())
			http.ServeContent(w, r, "", time.Time{}, strings.NewReader(n.grid)) // Minds the validators.
		default:
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(http.StatusNotFound)
			io.WriteString(w, `{"title":"Not Found","status":404,"detail":"'`+r.URL.Path+`' is not a valid resource path"}`)
		}
	})
	return n
}

// paths returns the paths asked since the first n requests.
func (n *nws) paths(from int) string {
	var paths []string
	for _, r := range n.requests()[from:] {
		paths = append(paths, r.path)
	}
	return strings.Join(paths, " ")
}

const (
	albany = "2026-06-10T20:00:00Z" // nws_grid_ALY.json was issued at 18:36:45.
	point  = "/points/42.735,-73.7"
	cell   = "/gridpoints/ALY/71,67"
)

func TestNWSGivesAnOutlookByWayOfTheGridCell(t *testing.T) {
	t.Parallel()
	n := serveNWS(t)
	res, st := fetch(t, client(at(t, albany)), nwsSpec(n.URL), zone(t, "America/New_York"), feed.State{})
	wantOutcome(t, res, feed.New, "Outlook issued 2026-06-10 14:36 EDT", "from 2026-06-11")
	if n.paths(0) != point+" "+cell {
		t.Errorf("asked %s", n.paths(0))
	}
	issued := time.Date(2026, 6, 10, 18, 36, 45, 0, time.UTC)
	if !res.Outlook.IssuedAt.Equal(issued) || !st.LastIssued.Equal(issued) || res.Days != nil {
		t.Errorf("issued %v, want %v; days %v", res.Outlook.IssuedAt, issued, res.Days)
	}
	// The last of the night of 10 June is a stub and no min of that day.
	if first, _, _ := res.Outlook.Days.Span(); first != date(t, "2026-06-11") {
		t.Errorf("first day %v, want 11 June", first)
	}
	if st.Grid != n.URL+cell || res.Requests != 2 || res.Status != 200 {
		t.Errorf("grid %q, %d requests, status %d", st.Grid, res.Requests, res.Status)
	}
}

func TestNWSRemembersTheCellForAWeek(t *testing.T) {
	t.Parallel()
	n, c := serveNWS(t), at(t, albany)
	cl, z := client(c), zone(t, "America/New_York")
	_, st := fetch(t, cl, nwsSpec(n.URL), z, feed.State{})
	ask := func(when string) string {
		from := len(n.requests())
		c.set(t, when)
		_, st = fetch(t, cl, nwsSpec(n.URL), z, st)
		return n.paths(from)
	}
	if got := ask("2026-06-17T19:59:59Z"); got != cell {
		t.Errorf("within a week asked %s", got)
	}
	if got := ask("2026-06-17T20:00:00Z"); got != point+" "+cell {
		t.Errorf("after a week asked %s", got)
	}
	// When the cell cannot be asked for, the old one is good for another day.
	n.points = func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusBadGateway) }
	if got := ask("2026-06-25T20:00:00Z"); got != point+" "+cell {
		t.Errorf("after another week asked %s", got)
	}
	if got := ask("2026-06-26T19:59:00Z"); got != cell {
		t.Errorf("the same day asked %s", got)
	}
	if got := ask("2026-06-26T20:01:00Z"); got != point+" "+cell {
		t.Errorf("the next day asked %s", got)
	}
}

func TestNWSCellThatIsGoneIsAskedForAgain(t *testing.T) {
	t.Parallel()
	n := serveNWS(t)
	cl, z := client(at(t, albany)), zone(t, "America/New_York")
	_, st := fetch(t, cl, nwsSpec(n.URL), z, feed.State{})
	n.cell = "ALY/70,66"
	from := len(n.requests())
	res, moved := fetch(t, cl, nwsSpec(n.URL), z, st)
	wantOutcome(t, res, feed.Unchanged) // It is the same outlook.
	if want := cell + " " + point + " /gridpoints/ALY/70,66"; n.paths(from) != want || moved.Grid != n.URL+"/gridpoints/ALY/70,66" {
		t.Errorf("asked %s, want %s; grid %s", n.paths(from), want, moved.Grid)
	}
	// If it is still said to be there, that is the end of it.
	n.cell = "none"
	n.points = func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprintf(w, `{"properties":{"forecastGridData":"%s%s"}}`, n.URL, cell)
	}
	from = len(n.requests())
	res, _ = fetch(t, cl, nwsSpec(n.URL), z, st)
	wantOutcome(t, res, feed.Refused, "404 Not Found: '/gridpoints/ALY/71,67' is not a valid resource path")
	if want := cell + " " + point; n.paths(from) != want {
		t.Errorf("asked %s, want %s", n.paths(from), want)
	}
	// Nor is it asked for twice.
	from = len(n.requests())
	res, _ = fetch(t, cl, nwsSpec(n.URL), z, feed.State{})
	wantOutcome(t, res, feed.Refused)
	if want := point + " " + cell; n.paths(from) != want {
		t.Errorf("asked %s, want %s", n.paths(from), want)
	}
}

func TestNWSIsNotFollowedToAnotherServer(t *testing.T) {
	t.Parallel()
	canary := serve(t, text(sample(t, "nws_grid_ALY.json")))
	for _, address := range []string{
		canary.URL + cell, "http://169.254.169.254/latest", "https://api.weather.gov.example.org" + cell,
		"file:///etc/passwd", "/gridpoints/ALY/71,67", "http://user@HOST" + cell, "http://HOST" + cell + "?x=1", "https://HOST" + cell,
	} {
		n := serveNWS(t)
		address := strings.Replace(address, "HOST", strings.TrimPrefix(n.URL, "http://"), 1)
		n.points = func(w http.ResponseWriter, _ *http.Request) {
			fmt.Fprintf(w, `{"properties":{"forecastGridData":%q}}`, address)
		}
		res, st := fetch(t, client(at(t, albany)), nwsSpec(n.URL), zone(t, "America/New_York"), feed.State{})
		wantOutcome(t, res, feed.Refused)
		if res.Requests != 1 || st.Grid != "" {
			t.Errorf("%s: %d requests, grid %q", address, res.Requests, st.Grid)
		}
		// Nor is one that a state holds.
		n = serveNWS(t)
		_, st = fetch(t, client(at(t, albany)), nwsSpec(n.URL), zone(t, "America/New_York"), feed.State{})
		st.Grid, st.ETag = canary.URL+cell, ""
		fetch(t, client(at(t, albany)), nwsSpec(n.URL), zone(t, "America/New_York"), st)
	}
	if got := canary.requests(); len(got) != 0 {
		t.Errorf("the other server was asked %v", got)
	}
}

func TestNWSPointOutsideTheUS(t *testing.T) {
	t.Parallel()
	n := serveNWS(t)
	spec := nwsSpec(n.URL)
	spec.Latitude, spec.Longitude = 48.3, 7.8
	res, _ := fetch(t, client(at(t, albany)), spec, time.UTC, feed.State{})
	wantOutcome(t, res, feed.Refused, "404 Not Found: '/points/48.3,7.8' is not a valid resource path")
	for _, body := range []string{`{}`, `{"properties":{"forecastGridData":null}}`, `[1]`, `<html>`} {
		n.points = text(body)
		res, _ := fetch(t, client(at(t, albany)), nwsSpec(n.URL), time.UTC, feed.State{})
		wantOutcome(t, res, feed.Failed)
	}
}

func TestPointsAreWrittenToFourPlacesWithoutZeros(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		lat, lon float64
		want     string
	}{
		{42.735, -73.7, "/points/42.735,-73.7"},
		{42.73504, -73.70004, "/points/42.735,-73.7"},
		{42.73506, -73.7, "/points/42.7351,-73.7"},
		{40, -100, "/points/40,-100"},
		{-0.00001, 0, "/points/0,0"},
	} {
		n := serveNWS(t)
		spec := nwsSpec(n.URL)
		spec.Latitude, spec.Longitude = tt.lat, tt.lon
		fetch(t, client(at(t, albany)), spec, time.UTC, feed.State{})
		if got := n.requests()[0].path; got != tt.want {
			t.Errorf("%v, %v asked %s, want %s", tt.lat, tt.lon, got, tt.want)
		}
	}
}

func TestAnOutlookOfYesterdayMorningIsNotOneOfToday(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, now string
		want      feed.Outcome
	}{
		// Issued 14:36 at the farm, 9 h 24 min before midnight; the limit is 12 h.
		{"the same afternoon", albany, feed.New},
		{"the next morning", "2026-06-11T12:00:00Z", feed.New},
		{"the last second of the next day", "2026-06-12T03:59:59Z", feed.New},
		{"the day after next", "2026-06-12T04:00:00Z", feed.Stale},
	} {
		n := serveNWS(t)
		n.set = func(h http.Header) { h.Set("ETag", `"a"`) }
		c := at(t, tt.now)
		res, st := fetch(t, client(c), nwsSpec(n.URL), zone(t, "America/New_York"), feed.State{})
		if res.Outcome != tt.want {
			t.Errorf("%s: %s, want %s: %s", tt.name, res.Outcome, tt.want, res.Detail)
			continue
		}
		if tt.want != feed.Stale {
			continue
		}
		wantOutcome(t, res, feed.Stale, "still gives the outlook issued 2026-06-10 14:36 EDT")
		if res.Outlook != nil || !st.LastIssued.IsZero() || st.ETag != "" || st.Failures != 0 {
			t.Errorf("%s: outlook %v, state %+v", tt.name, res.Outlook, st)
		}
		// In an hour, and half of ten minutes of jitter.
		if wait := st.NextAt.Sub(c.Now()); wait != 65*time.Minute {
			t.Errorf("%s: asked again after %v", tt.name, wait)
		}
	}
}

func TestOutlookAgeCanBeSet(t *testing.T) {
	t.Parallel()
	n := serveNWS(t)
	c := client(at(t, "2026-06-11T12:00:00Z"), func(o *feed.Options) { o.OutlookAge = 9 * time.Hour })
	res, _ := fetch(t, c, nwsSpec(n.URL), zone(t, "America/New_York"), feed.State{})
	wantOutcome(t, res, feed.Stale)
}

func TestAnOlderCopyThanTheLastIsStale(t *testing.T) {
	t.Parallel()
	n, c := serveNWS(t), at(t, albany)
	cl, z := client(c), zone(t, "America/New_York")
	_, st := fetch(t, cl, nwsSpec(n.URL), z, feed.State{})
	n.grid = strings.Replace(n.grid, "2026-06-10T18:36:45", "2026-06-10T17:36:45", 1)
	res, st := fetch(t, cl, nwsSpec(n.URL), z, st)
	wantOutcome(t, res, feed.Stale, "13:36")
	if st.LastIssued.Format(time.TimeOnly) != "18:36:45" {
		t.Errorf("last issued %v", st.LastIssued)
	}
	n.grid = strings.Replace(n.grid, "2026-06-10T17:36:45", "2026-06-10T19:36:45", 1)
	res, _ = fetch(t, cl, nwsSpec(n.URL), z, st)
	wantOutcome(t, res, feed.New)
}

func TestNothingHasChangedSince(t *testing.T) {
	t.Parallel()
	n, c := serveNWS(t), at(t, albany)
	n.set = func(h http.Header) {
		h.Set("ETag", `W/"5f-67"`)
		h.Set("Last-Modified", "Wed, 10 Jun 2026 18:36:45 GMT")
		h.Set("Date", "Wed, 10 Jun 2026 19:00:00 GMT")
	}
	cl, z := client(c), zone(t, "America/New_York")
	_, st := fetch(t, cl, nwsSpec(n.URL), z, feed.State{})
	c.set(t, "2026-06-10T21:00:00Z")
	res, st := fetch(t, cl, nwsSpec(n.URL), z, st)
	wantOutcome(t, res, feed.Unchanged)
	r := n.requests()[2]
	if r.header.Get("If-None-Match") != `W/"5f-67"` || r.header.Get("If-Modified-Since") != "Wed, 10 Jun 2026 18:36:45 GMT" {
		t.Errorf("asked with %v", r.header)
	}
	if res.Status != http.StatusNotModified || !st.LastOK.Equal(c.Now()) || st.ETag == "" {
		t.Errorf("status %d, state %+v", res.Status, st)
	}
	// A copy that never changes is told as stale and then asked for whole.
	c.set(t, "2026-06-12T12:00:00Z")
	res, st = fetch(t, cl, nwsSpec(n.URL), z, st)
	wantOutcome(t, res, feed.Stale, "2026-06-10 14:36")
	fetch(t, cl, nwsSpec(n.URL), z, st)
	if r := n.requests()[4]; r.header.Get("If-None-Match") != "" || r.header.Get("If-Modified-Since") != "" {
		t.Errorf("asked with %v after a stale answer", r.header)
	}
}

func TestADateOfTheFutureIsNoValidator(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ modified, date, want string }{
		{"Sun, 28 Jun 2026 07:00:00 GMT", "Wed, 10 Jun 2026 20:00:00 GMT", ""}, // A server of NWS sent such.
		{"Wed, 10 Jun 2026 20:00:01 GMT", "Wed, 10 Jun 2026 20:00:00 GMT", ""},
		{"Wed, 10 Jun 2026 20:00:00 GMT", "Wed, 10 Jun 2026 20:00:00 GMT", "Wed, 10 Jun 2026 20:00:00 GMT"},
		{"Wed, 10 Jun 2026 20:00:01 GMT", "soon", ""}, // Then our clock says it.
		{"yesterday", "Wed, 10 Jun 2026 20:00:00 GMT", ""},
	} {
		n := serveNWS(t)
		n.set = func(h http.Header) { h.Set("Last-Modified", tt.modified); h.Set("Date", tt.date) }
		_, st := fetch(t, client(at(t, albany)), nwsSpec(n.URL), zone(t, "America/New_York"), feed.State{})
		if st.LastModified != tt.want {
			t.Errorf("%s on %s: remembered %q, want %q", tt.modified, tt.date, st.LastModified, tt.want)
		}
	}
	for _, tag := range []string{`abc`, `"` + strings.Repeat("x", 300) + `"`, `"a b"`} {
		n := serveNWS(t)
		n.set = func(h http.Header) { h.Set("ETag", tag) }
		_, st := fetch(t, client(at(t, albany)), nwsSpec(n.URL), zone(t, "America/New_York"), feed.State{})
		if st.ETag != "" {
			t.Errorf("remembered the ETag %q", st.ETag)
		}
	}
}

func TestAnswersThatWereNotTakenAreNotRemembered(t *testing.T) {
	t.Parallel()
	n, c := serveNWS(t), at(t, albany)
	good := n.grid
	n.grid = `{"properties":{"maxTemperature":`
	n.set = func(h http.Header) { h.Set("ETag", `"a"`) }
	cl, z := client(c), zone(t, "America/New_York")
	res, st := fetch(t, cl, nwsSpec(n.URL), z, feed.State{})
	wantOutcome(t, res, feed.Failed)
	n.grid = good // With the same ETag.
	res, _ = fetch(t, cl, nwsSpec(n.URL), z, st)
	wantOutcome(t, res, feed.New)
}

func TestOurClockMayBeOff(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		now  string
		want feed.Outcome
	}{
		{"2026-06-10T18:31:45Z", feed.New}, // weather.ClockSkew is 5 minutes.
		{"2026-06-10T18:31:44Z", feed.Failed},
	} {
		n := serveNWS(t)
		res, st := fetch(t, client(at(t, tt.now)), nwsSpec(n.URL), zone(t, "America/New_York"), feed.State{})
		if res.Outcome != tt.want || (res.Outlook == nil) != (tt.want == feed.Failed) {
			t.Errorf("%s: %s, want %s: %s", tt.now, res.Outcome, tt.want, res.Detail)
		}
		if tt.want == feed.Failed && !st.LastIssued.IsZero() {
			t.Error("an outlook of the future is remembered")
		}
	}
}

func TestTheServiceSaysThatItsGridIsExpired(t *testing.T) {
	t.Parallel()
	n := serveNWS(t)
	inner := n.Config.Handler
	n.Config.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, "/gridpoints") {
			w.Header().Set("Content-Type", "application/problem+json")
			w.WriteHeader(http.StatusServiceUnavailable)
			io.WriteString(w, sample(t, "nws_expired_SPEC.json"))
			return
		}
		inner.ServeHTTP(w, r)
	})
	res, st := fetch(t, client(at(t, albany)), nwsSpec(n.URL), zone(t, "America/New_York"), feed.State{})
	wantOutcome(t, res, feed.Failed, "503 Service Unavailable: ", "expired")
	if st.Grid == "" {
		t.Error("the cell is forgotten")
	}
}
