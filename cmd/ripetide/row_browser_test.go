package main

import (
	"context"
	"fmt"
	"io"
	"log"
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

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/jackc/pgx/v5"
)

// road is the way from a browser to a service, on which replies can be lost.
type road struct {
	base string

	mu    sync.Mutex
	lose  int           // So many replies to changes are lost from now on, after they have begun.
	bare  bool          // They are lost before.
	stall chan struct{} // Pages are held up until it is closed; nil: they are not.
	hold  chan struct{} // The same of changes.
	seen  []string      // Changes of the API that came by: method, path, body's length.
}

func newRoad(t *testing.T, s *service) *road {
	t.Helper()
	to, err := url.Parse(s.base)
	if err != nil {
		t.Fatal(err)
	}
	proxy := httputil.NewSingleHostReverseProxy(to)
	proxy.ErrorLog = log.New(io.Discard, "", 0) // Browsers give up now and then.
	r := &road{}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		change := req.Method != http.MethodGet && strings.HasPrefix(req.URL.Path, "/v1/")
		r.mu.Lock()
		wait, lose, bare := r.stall, false, r.bare
		if change {
			r.seen = append(r.seen, req.Method+" "+req.URL.Path)
			wait, lose = r.hold, r.lose > 0
			r.lose -= min(r.lose, 1)
		}
		r.mu.Unlock()
		if wait != nil {
			select {
			case <-wait:
			case <-req.Context().Done():
			}
		}
		if !lose {
			proxy.ServeHTTP(w, req)
			return
		}
		proxy.ServeHTTP(httptest.NewRecorder(), req) // It arrives, and nobody learns of it.
		if !bare {
			w.Header().Set("Content-Type", "application/json")
			w.Header().Set("Content-Length", "1000")
			w.WriteHeader(http.StatusOK)
			_ = http.NewResponseController(w).Flush()
		}
		panic(http.ErrAbortHandler)
	}))
	t.Cleanup(srv.Close)
	r.base = srv.URL
	return r
}

// changes are what came by since the last call.
func (r *road) changes() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	out := r.seen
	r.seen = nil
	return out
}

func (r *road) set(do func(*road)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	do(r)
}

const (
	rowPlanting = "marrowby-schoolhouse"
	rowPath     = "/f/lanternfen/row?planting=" + rowPlanting
)

// rowBrowser is a phone of Noor, a grower, who has looked at the morning page:
// everything that is needed in the row is kept.
func rowBrowser(t *testing.T) (*service, *road, *browser) {
	t.Helper()
	needBrowser(t)
	s := newDemoService(t)
	r := newRoad(t, s)
	front := *s
	front.base = r.base
	b := newBrowser(t, &front)
	b.size(390, 844, false)
	b.signInTo(s, "Noor", "grower", "lanternfen")
	b.ready()
	return s, r, b
}

// ready waits until the worker answers and has kept the pages of the row.
func (b *browser) ready() {
	b.t.Helper()
	b.open("/f/lanternfen/row")
	b.comes(`navigator.serviceWorker.ready.then(r => r.active.state === "activated")`)
	b.open("/f/lanternfen/row") // Now through the worker.
	b.comes(isKept(rowPath))
	b.open("/f/lanternfen")
	b.comes(isKept("/f/lanternfen"))
}

// isKept comes to whether a page is kept.
func isKept(path string) string {
	return fmt.Sprintf(`caches.match(%q).then(x => x !== undefined)`, path)
}

// comes waits until a promise comes to true on the page that is open.
func (b *browser) comes(script string) {
	b.t.Helper()
	for end := time.Now().Add(time.Minute); !eval[bool](b, script); {
		if time.Now().After(end) {
			kept := eval[string](b, `caches.keys().then(async (names) => {
				const out = [String(navigator.serviceWorker.controller?.state)];
				for (const n of names) for (const r of await (await caches.open(n)).keys()) out.push(r.url);
				return out.join("\n");
			})`)
			b.t.Fatalf("%s did not come true; the worker and what is kept:\n%s", script, kept)
		}
		select {
		case <-b.ctx.Done():
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// says waits until an element that can be seen says something.
func (b *browser) says(selector, want string) {
	b.t.Helper()
	b.wait(fmt.Sprintf(`(e => e !== null && e.checkVisibility() && e.innerText.includes(%q))(document.querySelector(%q))`, want, selector))
}

// reload loads the page again.
func (b *browser) reload() {
	b.t.Helper()
	eval[bool](b, `window.before = true; setTimeout(() => location.reload()); true`)
	b.wait(`window.before === undefined && document.readyState === "complete"`)
}

// online fires what fires when there is a signal again, so that no test waits
// for the next try.
func (b *browser) online() {
	b.t.Helper()
	eval[bool](b, `dispatchEvent(new Event("online"))`)
}

// button is a button of the card of the stage that leads.
func button(say string, back int) string {
	return fmt.Sprintf(`.lead button[data-say=%s][data-back="%d"]`, say, back)
}

// rows counts rows of the database, those that count no more too.
func (s *service) rows(sql string, args ...any) (n int) {
	s.t.Helper()
	conn, err := pgx.Connect(s.t.Context(), s.env["DATABASE_URL"])
	if err != nil {
		s.t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(s.t.Context()))
	if err := conn.QueryRow(s.t.Context(), sql, args...).Scan(&n); err != nil {
		s.t.Fatal(err)
	}
	return n
}

const (
	sightingRows = "SELECT count(*) FROM sighting WHERE planting = $1 AND day = '2018-06-11'"
	pickingRows  = "SELECT count(*) FROM picking_version WHERE planting = $1"
)

// current returns the dates on record of a planting's stage this season, with
// "seen" or "not yet".
func (s *service) current(stage string) (out []string) {
	s.t.Helper()
	for _, x := range s.json(200, "GET", "/v1/farms/lanternfen/sightings?season=2018&planting="+rowPlanting, "")["sightings"].([]any) {
		m := x.(map[string]any)
		if m["stage"] == stage {
			how := "not yet "
			if m["seen"] == true {
				how = "seen "
			}
			out = append(out, how+m["date"].(string))
		}
	}
	return out
}

// The whole way: entered without a signal, kept through a reload, sent once
// when there is one again, and told.
func TestASightingMadeWithoutSignalArrivesOnce(t *testing.T) {
	t.Parallel()
	s, r, b := rowBrowser(t)
	b.offline(true)
	b.open("/f/lanternfen")
	b.says(".kept", "No signal: this copy is as of Mon Jun 11, 05:40")

	// The season was not even looked at.
	b.open("/f/lanternfen/season/2018")
	b.says(".kept", "No signal: this copy is as of Mon Jun 11, 05:40")
	b.says("main", "Candlemere")

	// Two taps.
	b.open("/f/lanternfen")
	b.click(`a[href="` + rowPath + `"]`)
	b.wait(`document.querySelector(".lead") !== null`)
	b.click(button("not_yet", 0))
	b.says("#last", "Marrowby, Schoolhouse: looked: peak not yet, Mon Jun 11: waiting for signal")
	b.says("#signal", "Waiting for signal (1)")

	b.reload()
	b.says("#entered", "waiting for signal")
	b.says(".kept", "No signal")
	b.fill("#amount", "1,200")
	b.click(`input[name=left][value=lots]`)
	b.click(`[data-entry=picking] button`)
	b.says("#signal", "Waiting for signal (2)")
	b.says("#last", "picked 1200 lb, Mon Jun 11")
	if got := r.changes(); len(got) > 0 {
		t.Fatalf("without a signal there came %v", got)
	}

	b.offline(false)
	b.wait(`/peak not yet.*\n?.*sent \d\d:\d\d/.test(document.querySelector("#entered").innerText)`)
	b.wait(`/picked 1200 lb.*\n?.*sent \d\d:\d\d/.test(document.querySelector("#entered").innerText)`)
	b.wait(`document.querySelector("#signal").hidden`)
	if got, want := r.changes(), []string{"POST /v1/farms/lanternfen/sightings", "POST /v1/farms/lanternfen/pickings"}; !slices.Equal(got, want) {
		t.Errorf("sent were %v, want %v", got, want)
	}
	if n := s.rows(sightingRows, rowPlanting); n != 1 {
		t.Errorf("%d sightings in the database, want 1", n)
	}
	if got := s.current("peak"); !slices.Equal(got, []string{"not yet 2018-06-11"}) {
		t.Errorf("on record is %v", got)
	}
	const picked = "[closed:false date:2018-06-11 kg:544.311 left:lots planting:marrowby-schoolhouse source:all]"
	if got := listed(s.json(200, "GET", "/v1/farms/lanternfen/pickings", ""), "pickings"); got != picked {
		t.Errorf("picked is %s, want %s", got, picked)
	}
	for _, m := range b.console() {
		if !strings.Contains(m, "net::ERR_") { // What failed for want of a signal.
			t.Errorf("the pages said %q", m)
		}
	}

	// With a signal the page is fresh, and says what is on record.
	b.open(rowPath)
	if eval[bool](b, `"kept" in document.body.dataset`) {
		t.Error("with a signal the kept copy is shown")
	}
	if got := b.text("#record"); !strings.Contains(got, "peak not yet, Mon Jun 11") || !strings.Contains(got, "Picked 1200 lb") {
		t.Errorf("on record: %s", got)
	}
}

func TestALostReplyLeavesOneRecord(t *testing.T) {
	t.Parallel()
	s, r, b := rowBrowser(t)
	b.open(rowPath)
	r.set(func(r *road) { r.lose = 2 })
	b.click(button("not_yet", 0))
	for range 2 {
		b.says("#last", "waiting for signal")
		b.online()
	}
	b.says("#last", "sent ")
	if got := r.changes(); len(got) != 3 {
		t.Errorf("sent were %v, want three tries", got)
	}
	if n := s.rows(sightingRows, rowPlanting); n != 1 {
		t.Errorf("%d sightings in the database, want 1", n)
	}

	// Where nothing came back some browsers ask again by themselves.
	r.set(func(r *road) { r.lose, r.bare = 2, true })
	b.fill("#amount", "100")
	b.click(`[data-entry=picking] button`)
	for b.says("#last", "picked 100 lb"); !eval[bool](b, `document.querySelector("#last").innerText.includes("sent ")`); {
		b.online()
	}
	b.says("#last", "sent ")
	if n := s.rows(pickingRows, rowPlanting); n != 1 {
		t.Errorf("%d versions of the picking in the database, want 1", n)
	}
}

func TestAMistakeIsTakenBack(t *testing.T) {
	t.Parallel()
	s, r, b := rowBrowser(t)

	// Before it has left: nothing is ever sent.
	b.open(rowPath)
	b.offline(true)
	b.click(button("seen", 1))
	b.says("#last", "waiting for signal")
	b.click("#last button")
	b.wait(`document.querySelector("#last").hidden && document.querySelector("#entered").hidden && document.querySelector("#signal").hidden`)
	b.offline(false)
	b.online()

	// After it was sent.
	b.click(button("seen", 1))
	b.says("#last", "peak seen Sun Jun 10: sent ")
	if got := s.current("peak"); !slices.Equal(got, []string{"seen 2018-06-10"}) {
		t.Errorf("on record is %v", got)
	}
	b.says("#record", "Peak seen, Sun Jun 10")

	// A correction, taken back, leaves what was there before it.
	b.click(button("seen", 0))
	b.says("#last", "peak seen Mon Jun 11: sent ")
	b.click("#last button")
	b.says("#last", "taken back ")
	if got := s.current("peak"); !slices.Equal(got, []string{"seen 2018-06-10"}) {
		t.Errorf("on record is %v, want what was there before the mistake", got)
	}
	if text := b.text("#entered"); !strings.Contains(text, "replaced by a later entry") {
		t.Errorf("the earlier entry still offers to be undone: %s", text)
	}

	// What is on record is taken back from its line, also without a signal.
	b.says("#record", "Peak seen, Sun Jun 10")
	b.offline(true)
	b.click(`#record form[data-key$="peak seen"] button`)
	b.says("#last", "waiting for signal")
	b.offline(false)
	b.says("#last", "done ")
	if got := s.current("peak"); got != nil {
		t.Errorf("on record is %v", got)
	}
	if got := r.changes(); !strings.HasPrefix(strings.Join(got, "\n"), "POST /v1/farms/lanternfen/sightings\nPOST /v1/farms/lanternfen/sightings\nPOST /v1/farms/lanternfen/sightings\nDELETE ") {
		t.Errorf("sent were %v", got)
	}

	// The reply is lost, so the service has what is taken back.
	r.set(func(r *road) { r.lose = 1 })
	b.click(button("not_yet", 0))
	b.says("#last", "waiting for signal")
	b.click("#last button")
	b.says("#last", "taken back ")
	if got := s.current("peak"); got != nil {
		t.Errorf("on record is %v, want nothing", got)
	}
}

func TestARefusalIsToldUntilItIsDismissed(t *testing.T) {
	t.Parallel()
	s, _, b := rowBrowser(t)
	b.open(rowPath)
	b.click(button("not_yet", 0))
	b.says("#last", "sent ")
	b.click(button("seen", 1))
	const why = "refused: peak had not come on Mon Jun 11, so it cannot be seen on Sun Jun 10"
	b.says("#last", why)
	b.open(rowPath)
	b.says("#entered", why)
	b.says("#signal", "Refused (1)")
	b.click("#entered .refused button")
	b.wait(`document.querySelector("#signal").hidden && !document.querySelector("#entered").innerText.includes("refused")`)
	if got := s.current("peak"); !slices.Equal(got, []string{"not yet 2018-06-11"}) {
		t.Errorf("on record is %v", got)
	}

	// A correction puts it right.
	b.click(button("seen", 1))
	b.says("#last", why)
	b.click(`.lead details > summary`)
	eval[bool](b, `document.querySelector("#date-peak").value = "2018-06-12"; true`)
	b.click(`.lead details button[data-say=seen]`)
	b.says(".lead .fault", "Tue Jun 12 has not come yet: today is Mon Jun 11.")
	eval[bool](b, `document.querySelector("#date-peak").value = "2017-06-11"; true`)
	b.click(`.lead details button[data-say=seen]`)
	b.says(".lead .fault", "Sun Jun 11, 2017 is before this season. Earlier ones are entered in the Book.")
}

// Whoever is signed out loses nothing, and shows nothing to who comes next.
func TestSignedOutWithEntriesWaiting(t *testing.T) {
	t.Parallel()
	s, r, b := rowBrowser(t)
	b.open(rowPath)
	if _, err := chromedp.Call(b.ctx, network.ClearBrowserCookies, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	b.click(button("not_yet", 0))
	b.says("#signal", "Sign in again to send (1)")
	b.click("#signal a")
	b.wait(`location.pathname === "/sign-in"`)
	b.comes(isKept("/f/lanternfen") + ".then(x => !x)")

	// Somebody else signs in: it is not sent as theirs, unless they say so.
	b.signInTo(s, "Emmett", "grower", "lanternfen")
	b.says("#signal", "1 entered by Noor, not sent yet")
	if n := s.rows(sightingRows, rowPlanting); n != 0 {
		t.Errorf("%d sightings: sent as somebody else's", n)
	}
	b.click("form[action='/sign-out'] button")
	b.wait(`location.pathname === "/sign-in"`)
	r.changes()
	b.signInTo(s, "Noor", "grower", "lanternfen")
	b.open(rowPath)
	b.says("#entered", "sent ")
	if n := s.rows("SELECT count(*) FROM sighting WHERE planting = $1 AND day = '2018-06-11' AND recorded_by LIKE '%(Noor)'", rowPlanting); n != 1 {
		t.Errorf("%d sightings by Noor, want 1", n)
	}

	// Signed out, nothing of the farm is shown without a signal.
	b.ready()
	b.click("form[action='/sign-out'] button")
	b.wait(`location.pathname === "/sign-in"`)
	b.comes(isKept("/f/lanternfen") + ".then(x => !x)")
	b.offline(true)
	for _, path := range []string{"/f/lanternfen", rowPath, "/"} {
		b.open(path)
		if text := b.text("body"); !strings.Contains(text, "No copy of this page is kept") || strings.Contains(text, "Marrowby") {
			t.Errorf("signed out, %s shows\n%s", path, text)
		}
	}
}

func TestTwoTabsSendOnce(t *testing.T) {
	t.Parallel()
	s, r, b := rowBrowser(t)
	ctx, closeTab := chromedp.NewContext(b.ctx)
	defer closeTab()
	other := &browser{t: t, ctx: ctx, base: b.base, gate: b.gate}
	other.open(rowPath)
	b.open(rowPath)
	hold := make(chan struct{})
	r.set(func(r *road) { r.hold = hold })
	b.front() // A tab behind another one may not be clicked.
	b.click(button("not_yet", 0))
	b.says("#last", "sending")
	other.says("#entered", "sending")
	// Both tabs are told of a signal while the entry is on its way.
	for range 3 {
		other.online()
		b.online()
	}
	if got := eval[int](b, `navigator.locks.query().then(q => q.held.length)`); got != 1 {
		t.Errorf("%d senders at a time, want 1", got)
	}
	close(hold)
	b.says("#last", "sent ")
	other.says("#entered", "sent ")
	eval[bool](b, `navigator.locks.request("ripetide-send", () => true)`) // Everybody has had their turn.
	if got := r.changes(); len(got) != 1 {
		t.Errorf("sent were %v, want one", got)
	}
	if n := s.rows(sightingRows, rowPlanting); n != 1 {
		t.Errorf("%d sightings in the database, want 1", n)
	}
}

// A signal that is there but too weak: after three seconds the kept copy is
// shown, with its age.
func TestAWeakSignalShowsTheKeptCopy(t *testing.T) {
	t.Parallel()
	_, r, b := rowBrowser(t)
	stall := make(chan struct{})
	r.set(func(r *road) { r.stall = stall })
	start := time.Now()
	b.open("/f/lanternfen")
	b.says(".kept", "No signal: this copy is as of Mon Jun 11, 05:40")
	if took := time.Since(start); took < 2900*time.Millisecond || took > 15*time.Second {
		t.Errorf("it took %v, want three seconds", took)
	}
	b.click(`a[href="` + rowPath + `"]`)
	b.wait(`document.querySelector(".lead") !== null`)
	b.says(".kept", "No signal")
	r.set(func(r *road) { r.stall = nil })
	close(stall)
	b.open("/f/lanternfen")
	b.wait(`!("kept" in document.body.dataset)`)
}

// Big enough for gloves: whatever is tapped on the page of a planting.
func TestTheRowHasBigTargets(t *testing.T) {
	t.Parallel()
	_, _, b := rowBrowser(t)
	for _, path := range []string{rowPath, "/f/lanternfen/row"} {
		b.open(path)
		eval[bool](b, `for (const d of document.querySelectorAll("details")) d.open = true; true`)
		small := eval[[]string](b, `[...document.querySelectorAll("main a, main button, main summary, main input:not([type=radio]):not([type=hidden]), .choices label")]
			.filter(e => e.checkVisibility() && e.getBoundingClientRect().height < 48).map(e => e.outerHTML.slice(0, 80))`)
		if len(small) > 0 {
			t.Errorf("%s: lower than 48 px are %q", path, small)
		}
	}
	b.open(rowPath)
	for _, say := range []string{button("seen", 0), button("seen", 1), button("not_yet", 0)} {
		if bottom := eval[float64](b, fmt.Sprintf(`document.querySelector(%q).getBoundingClientRect().bottom`, say)); bottom > 844 {
			t.Errorf("%s ends at %g px: one has to scroll to it", say, bottom)
		}
	}
	if text := b.text(".lead"); !regexp.MustCompile(`Seen today\s+Mon Jun 11`).MatchString(text) || !strings.Contains(text, "Seen yesterday") {
		t.Errorf("the card says %q", text)
	}
}

// A page that is left while it makes the browser's store, and that the browser
// puts to sleep half-way, is not waited for by the pages after it.
func TestAPageThatIsLeftHoldsNobodyUp(t *testing.T) {
	t.Parallel()
	_, _, b := rowBrowser(t)
	for n := range 12 {
		b.open(rowPath)
		eval[bool](b, fmt.Sprintf(`window.before = true; indexedDB.deleteDatabase("ripetide").onsuccess = () => {
			queue.look();
			setTimeout(() => { location.href = "/f/lanternfen/row"; }, %d);
		}; true`, 2*n))
		b.wait(`window.before === undefined && document.readyState === "complete"`)
		if said := eval[string](b, `queue.look().then(q => "", String)`); said != "" {
			t.Fatalf("page %d: %s", n+1, said)
		}
	}
}

// Who grows for several farms has them side by side on one phone: the last
// forecast of each with its date, and what was entered for each, also where
// plantings of both are called the same.
func TestSeveralFarmsOnOnePhone(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s := newDemoService(t)
	s.json(201, "PUT", "/v1/farms/fenside", `{"name":"Fenside","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	s.json(201, "PUT", "/v1/farms/fenside/stations/post", `{"name":"Post","latitude":48,"longitude":8,"elevation_m":150,"stand_in":null}`)
	s.json(201, "PUT", "/v1/farms/fenside/varieties/marrowby", `{"name":"Marrowby","ripens":"mid"}`)
	s.json(201, "PUT", "/v1/farms/fenside/plantings/"+rowPlanting, `{"variety":"marrowby","block":"Schoolhouse","station":"post","planted_on":"2016-04-20","area_m2":1000}`)
	r := newRoad(t, s)
	front := *s
	front.base = r.base
	b := newBrowser(t, &front)
	b.size(390, 844, false)
	b.signIn(s, "Noor", "grower")
	const fenPath = "/f/fenside/row?planting=" + rowPlanting
	b.ready()
	b.open("/f/fenside/row")
	b.comes(isKept(fenPath))
	b.comes(isKept("/f/fenside"))

	b.offline(true)
	b.open("/")
	b.wait(`location.pathname === "/f/fenside"`) // Looked at last.
	b.says(".kept", "No signal: this copy is as of Mon 11 Jun, 11:40")
	b.open(fenPath)
	pick := func(amount string) {
		eval[bool](b, `document.querySelector("details.card:has([data-entry=picking])").open = true; true`)
		b.fill("#amount", amount)
		b.click(`[data-entry=picking] button`)
	}
	pick("40")
	b.says("#last", "Marrowby, Schoolhouse: picked 40 kg, Mon 11 Jun: waiting for signal")
	b.open("/f/lanternfen")
	b.says(".kept", "No signal: this copy is as of Mon Jun 11, 05:40")
	b.says("main", "Marrowby")
	b.open(rowPath)
	pick("100")
	b.says("#last", "picked 100 lb, Mon Jun 11: waiting for signal")
	b.says("#signal", "Waiting for signal (2)")
	b.says("#entered", "Fenside, Marrowby, Schoolhouse: picked 40 kg, Mon 11 Jun")
	b.offline(false)
	b.wait(`document.querySelector("#signal").hidden`)
	for farm, want := range map[string]string{"fenside": "kg:40 ", "lanternfen": "kg:45.359 "} {
		if got := listed(s.json(200, "GET", "/v1/farms/"+farm+"/pickings", ""), "pickings"); strings.Count(got, "kg:") != 1 || !strings.Contains(got, want) {
			t.Errorf("picked at %s is %s, want %s", farm, got, want)
		}
	}

	// Signed out where there is no signal: what was kept is gone at once, and it
	// is said that the service has not heard of it.
	b.offline(true)
	b.open("/f/lanternfen")
	b.click("form[action='/sign-out'] button")
	b.says("h1", "Not signed out yet")
	for _, path := range []string{"/f/lanternfen", "/f/fenside", rowPath, fenPath, "/"} {
		b.open(path)
		if text := b.text("body"); !strings.Contains(text, "No copy of this page is kept") || strings.Contains(text, "Marrowby") {
			t.Errorf("signed out, %s shows\n%s", path, text)
		}
	}
}

// A browser that has no room to keep an entry says so where there is no signal
// either, and else sends it at once.
func TestAnEntryThatCannotBeKeptIsNotLostInSilence(t *testing.T) {
	t.Parallel()
	s, _, b := rowBrowser(t)
	b.offline(true)
	b.open(rowPath)
	const full = `queue.add = () => Promise.reject(new Error("full")); true`
	eval[bool](b, full)
	b.click(button("not_yet", 0))
	b.says(".lead .fault", "It was not recorded: there is no signal")
	b.offline(false)
	b.open(rowPath)
	eval[bool](b, full)
	b.click(button("not_yet", 0))
	b.says("#done", "Recorded: Looked: peak not yet, Mon Jun 11.")
	if got := s.current("peak"); !slices.Equal(got, []string{"not yet 2018-06-11"}) {
		t.Errorf("on record is %v", got)
	}
}
