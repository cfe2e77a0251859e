package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"ripetide/api/pages"
	"ripetide/forecast"
	"ripetide/testdata"
	"ripetide/weather"
)

var pagesFolder = flag.String("pages", "", "folder to write a picture of every page to, wide and narrow, light and dark")

// galleryTime bounds the gallery, which opens every page for every farm.
const galleryTime = 25 * time.Minute

// heaviest is what a page may weigh at its first load, bytes, without the
// pictures of charts.
const heaviest = 150_000

// TestGallery looks at every page, for farms that are unlike each other, in
// both themes: that it says nothing in the console and is refused nothing, fits
// a narrow screen, weighs little, and keeps to the rules of accessibility.
func TestGallery(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	axe, err := os.ReadFile("../../testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	clock := newTestClock(t)
	s := newServiceAt(t, clock.now)
	o, err := open(t.Context(), &config{DatabaseURL: s.env["DATABASE_URL"], Data: s.env["RIPETIDE_DATA"]}, mainDatabase, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer o.close(t.Context())
	b := newBrowserFor(t, s, galleryTime)
	g := &gallery{b: b, axe: string(axe)}
	routes := pageRoutes(t)

	// Before anything is set up, and nobody is signed in.
	g.look(t, "nobody", "/sign-in", 200)
	g.look(t, "nobody", "/sign-in/nonsense", 410)
	g.send(t, "nobody", "sign-in wrong key", sent{on: "/sign-in", to: "/sign-in", fields: []string{"key", "nonsense"}, status: 422})
	b.signIn(s, "Noor", "owner")
	for _, r := range routes {
		if r.isPage() && len(r.names()) == 0 && !strings.HasPrefix(r.path, "/sign-in") {
			g.look(t, "nothing", r.path, 200)
		}
	}
	for _, f := range galleryFarms(t) {
		clock.set(f.at)
		f.enter(t, o)
		f.show(t, o)
		parts := f.parts(t)
		parts["key"], parts["feed"] = f.people(t, s), f.feed(t, s)
		for _, r := range routes {
			if strings.HasSuffix(r.path, ".svg") { // A picture of a page.
				continue
			}
			if path, ok := r.fill(parts); ok && r.isPage() && len(r.names()) > 0 && unlike200["GET "+r.path] != http.StatusSeeOther {
				g.look(t, f.Farm.ID, path, f.status[r.path])
			}
		}
		if len(f.Plantings) > 0 {
			g.agree(t, s, &f)
		}
		for name, x := range f.sends(parts) {
			g.send(t, f.Farm.ID, name, x)
		}
	}
	g.look(t, "several", "/", 200)
}

// gallery looks at pages.
type gallery struct {
	b   *browser
	axe string
	// slowest page and its time.
}

// finding is what axe has found.
type finding struct {
	ID     string   `json:"id"`
	Impact string   `json:"impact"`
	Help   string   `json:"help"`
	Nodes  []string `json:"nodes"`
}

// runAxe comes to what axe finds on the page.
const runAxe = `axe.run(document, {resultTypes: ["violations"], xpath: false}).then(r => r.violations.map(v => ({
	id: v.id, impact: v.impact, help: v.help,
	nodes: v.nodes.slice(0, 4).map(n => n.html.slice(0, 160) + " " + n.any.concat(n.all).map(c => c.message).join("; ").slice(0, 200)),
})))`

// weigh comes to the bytes of the page and of what it has loaded, by name,
// without pictures of charts.
const weigh = `(() => {
	const all = performance.getEntriesByType("navigation").concat(performance.getEntriesByType("resource"));
	const out = {};
	const chart = e => e.initiatorType === "img" && /^\/v1\/|\/narrowing\.svg$|\/review\/\d+\/\w+\.svg$/.test(new URL(e.name).pathname);
	for (const e of all) if (!chart(e)) out[new URL(e.name).pathname] = e.encodedBodySize;
	return out;
})()`

// sent is what a form sends, for the page that answers it.
type sent struct {
	on, to string   // The page with the form, and where it goes.
	fields []string // Names and values in turn.
	file   string   // What a file named "file" holds; "" for none.
	status int      // Of the answer; 0 is 200.
}

// send looks at the page that answers a form. A name has no slash.
func (g *gallery) send(t *testing.T, farm, name string, x sent) {
	t.Helper()
	g.visit(t, farm+"/answer-"+strings.ReplaceAll(name, " ", "-"), x.to, x.status, func() {
		b := g.b
		b.open(x.on)
		eval[bool](b, "window.asked = true") // Gone with the page.
		fields, err := json.Marshal(append([]string{}, x.fields...))
		if err != nil {
			t.Fatal(err)
		}
		eval[bool](b, fmt.Sprintf(`(() => {
			const f = document.createElement("form"), fields = %s, file = %q;
			f.method = "post";
			f.action = %q;
			if (file) f.enctype = "multipart/form-data";
			const add = (name, type) => {
				const i = document.createElement("input");
				[i.type, i.name] = [type, name];
				f.append(i);
				return i;
			};
			for (let n = 0; n < fields.length; n += 2) {
				const a = document.createElement("textarea");
				[a.name, a.value] = [fields[n], fields[n + 1]];
				f.append(a);
			}
			if (file) {
				const all = new DataTransfer();
				all.items.add(new File([file], "logger.csv", {type: "text/csv"}));
				add("file", "file").files = all.files;
			}
			document.body.append(f);
			f.submit();
			return true;
		})()`, fields, x.file, x.to))
		b.wait(`!window.asked && document.readyState === "complete" && document.querySelector("main") !== null`)
	})
}

// look opens a page and checks it. A status of 0 is 200.
func (g *gallery) look(t *testing.T, farm, path string, status int) {
	t.Helper()
	g.visit(t, pictureName(farm, path), path, status, func() { g.b.do(chromedp.Navigate(g.b.base + path)) })
}

// visit checks the page that one comes to.
func (g *gallery) visit(t *testing.T, name, path string, status int, arrive func()) {
	t.Helper()
	t.Run(name, func(t *testing.T) {
		b := g.b
		b.t = t
		b.console() // What was said while the farm was entered.
		b.size(320, 640, false)
		arrive()
		if status == 0 {
			status = 200
		}
		if got := eval[int](b, `performance.getEntriesByType("navigation")[0].responseStatus`); got != status {
			t.Fatalf("%s: status %d, want %d", path, got, status)
		}
		g.weight(t, path)
		if n := eval[int](b, `document.querySelectorAll("h1").length`); n != 1 {
			t.Errorf("%d main headings", n)
		}
		for _, dark := range []bool{false, true} {
			theme := themeName(dark)
			g.size(320, 640, dark)
			if w := eval[int](b, `document.scrollingElement.scrollWidth`); w > 320 {
				t.Errorf("%s: %d px wide on a screen of 320: %s", theme, w, eval[string](b, widest))
			}
			if *pagesFolder != "" {
				g.size(390, 844, dark)
				eval[bool](b, drawn)
				b.shot(filepath.Join(*pagesFolder, name+"-390-"+theme+".png"))
			}
			g.size(1200, 900, dark)
			if *pagesFolder != "" {
				eval[bool](b, drawn)
				b.shot(filepath.Join(*pagesFolder, name+"-1200-"+theme+".png"))
			}
			g.accessible(t, theme)
		}
		for _, m := range b.console() {
			if status != 200 && strings.Contains(m, fmt.Sprintf("status of %d", status)) {
				continue
			}
			t.Errorf("the page said: %s", m)
		}
	})
	g.b.t = t
}

// drawn comes true when all pictures in sight show what they should in this window: a
// change of its size or theme fetches others.
const drawn = `new Promise(done => setTimeout(() => Promise.all([...document.images].filter(i => i.getClientRects().length).map(i => i.decode().catch(() => {}))).then(() => done(true)), 100))`

// size sets size and theme and waits for the pictures that are shown then, also
// those far down.
func (g *gallery) size(width, height int64, dark bool) {
	g.b.t.Helper()
	g.b.size(width, height, dark)
	eval[bool](g.b, `(async () => {
		const frame = () => new Promise(requestAnimationFrame);
		for (const i of document.images) i.loading = "eager";
		await frame();
		await frame();
		for (let n = 0; n < 200 && ![...document.images].every(i => i.complete); n++) await new Promise(r => setTimeout(r, 50));
		await Promise.all([...document.images].filter(i => i.getClientRects().length).map(i => i.decode().catch(() => {})));
		return true;
	})()`)
}

// shownRow is a planting in the table of the season page.
type shownRow struct {
	Name   string   `json:"name"`
	Block  string   `json:"block"`
	Dates  []string `json:"dates"`  // First ripe, peak, last pick.
	Ranges []string `json:"ranges"` // Of each, "" if it was seen.
}

const shownRows = `[...document.querySelectorAll("table tbody tr")].filter(r => r.querySelector("td[data-is=Bloom]")).map(r => {
	const cells = ["First ripe", "Peak", "Last pick"].map(n => r.querySelector("td[data-is='" + n + "']"));
	const text = (e, what) => e?.querySelector(what)?.textContent ?? "";
	return {name: text(r, "th a"), block: text(r, "th .block"), dates: cells.map(c => text(c, "b")), ranges: cells.map(c => text(c, ".range"))};
})`

// drawnTexts comes to the texts of the chart that is shown, in order.
const drawnTexts = `fetch(document.querySelector("figure picture img").currentSrc).then(r => r.text()).then(s =>
	[...new DOMParser().parseFromString(s, "image/svg+xml").querySelectorAll("text")].map(e => e.textContent))`

var dayNumber = regexp.MustCompile(`\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) (?:[A-Z][a-z]+ )?(\d+)\b`)

// agree holds the table of the season page, the chart beside it and the frozen
// forecast against each other, in both themes: for every planting all three have
// the same dates.
func (g *gallery) agree(t *testing.T, s *service, f *galleryFarm) {
	t.Helper()
	t.Run(f.Farm.ID+"/chart, table and forecast agree", func(t *testing.T) {
		g.b.t = t
		season := today(t, f).Year()
		g.b.do(chromedp.Navigate(g.b.base + fmt.Sprintf("/f/%s/season/%d", f.Farm.ID, season)))
		res, body := s.plain("GET", "/v1/farms/"+f.Farm.ID+"/forecasts/latest", "", nil)
		if res.StatusCode != http.StatusOK {
			t.Fatalf("latest forecast: %s", res.Status)
		}
		frozen, err := forecast.Decode(body)
		if err != nil {
			t.Fatal(err)
		}
		rows := eval[[]shownRow](g.b, shownRows)
		if len(rows) != len(frozen.Plantings) || len(rows) == 0 {
			t.Fatalf("the table has %d plantings, the forecast %d", len(rows), len(frozen.Plantings))
		}
		names := map[string]string{}
		for _, v := range f.Varieties {
			names[v.ID] = v.Name
		}
		var drawn [][]string
		for _, dark := range []bool{false, true} {
			g.size(1200, 900, dark)
			drawn = append(drawn, eval[[]string](g.b, drawnTexts))
		}
		at := make([]int, len(drawn))
		for i, p := range frozen.Plantings {
			r := rows[i]
			if r.Name != names[p.Variety] || r.Block != p.Block {
				t.Errorf("row %d is %s, %s, want %s, %s", i+1, r.Name, r.Block, names[p.Variety], p.Block)
			}
			if p.Stages == nil {
				t.Errorf("%s has no dates: nothing is compared", p.Planting)
				continue
			}
			var want []string
			for k, d := range []forecast.DateRange{p.Stages.FirstRipe, p.Stages.Peak, p.Stages.LastPick} {
				day := pages.Day(&f.Farm, d.P50)
				want = append(want, day)
				if r.Dates[k] != day {
					t.Errorf("%s, date %d: the table says %q, the forecast %s", p.Planting, k+1, r.Dates[k], day)
				}
				var ends []string
				if d.Seen == nil && d.P10 != d.P90 {
					ends = []string{d.P10.Time().Format("Mon 2"), d.P90.Time().Format("Mon 2")}
				}
				var said []string
				for _, m := range dayNumber.FindAllStringSubmatch(r.Ranges[k], -1) {
					said = append(said, m[1]+" "+m[2])
				}
				if !slices.Equal(said, ends) {
					t.Errorf("%s, date %d: the table's range is %q, the forecast's %v", p.Planting, k+1, r.Ranges[k], ends)
				}
			}
			for n, texts := range drawn { // The dates of a row of the chart follow each other, and so do the rows.
				from := at[n]
				for from+3 <= len(texts) && !slices.Equal(texts[from:from+3], want) {
					from++
				}
				if from+3 > len(texts) {
					t.Errorf("%s: the chart (dark %t) does not say %v after what it says of the planting before", p.Planting, n == 1, want)
					continue
				}
				at[n] = from + 3
			}
		}
	})
	g.b.t = t
}

// widest comes to the elements that reach out to the right.
const widest = `[...document.querySelectorAll("main *, header *, footer *")]
	.filter(e => e.getBoundingClientRect().right > 320.5 && !e.closest(".wide"))
	.slice(0, 5).map(e => e.outerHTML.slice(0, 120)).join(" | ")`

func (g *gallery) accessible(t *testing.T, theme string) {
	t.Helper()
	if eval[bool](g.b, `typeof axe === "undefined"`) {
		eval[bool](g.b, g.axe+";true")
	}
	for _, f := range eval[[]finding](g.b, runAxe) {
		text := fmt.Sprintf("%s: %s, %s: %s\n\t%s", theme, f.Impact, f.ID, f.Help, strings.Join(f.Nodes, "\n\t"))
		if f.Impact != "minor" {
			t.Error(text)
		} else {
			t.Log(text)
		}
	}
}

func (g *gallery) weight(t *testing.T, path string) {
	t.Helper()
	total := 0
	parts := eval[map[string]int](g.b, weigh)
	for _, n := range parts {
		total += n
	}
	if total == 0 || total > heaviest {
		t.Errorf("%s weighs %d bytes at its first load, more than %d: %v", path, total, heaviest, parts)
	}
}

func themeName(dark bool) string {
	if dark {
		return "dark"
	}
	return "light"
}

// pictureName names the picture of a page: the farm, and the path without it.
func pictureName(farm, path string) string {
	rest := strings.TrimPrefix(strings.TrimPrefix(path, "/f/"+farm), "/")
	if rest == "" {
		rest = "morning"
		if path == "/" {
			rest = "home"
		}
	}
	return farm + "/" + strings.NewReplacer("/", "-", "?", "-", "=", "-", "&", "-").Replace(rest)
}

// testClock is a clock that a test sets.
type testClock struct{ at atomic.Pointer[time.Time] }

// newTestClock returns one that stands on the demo's morning.
func newTestClock(t testing.TB) *testClock {
	t.Helper()
	_, at := demoMorning(t)
	c := &testClock{}
	c.set(at)
	return c
}

func (c *testClock) set(t time.Time)         { c.at.Store(&t) }
func (c *testClock) now() time.Time          { return *c.at.Load() }
func (c *testClock) advance(d time.Duration) { c.set(c.now().Add(d)) }

// galleryFarm is a farm to look at, on a morning.
type galleryFarm struct {
	testdata.Demo
	at        time.Time
	forecasts []weather.Date // The mornings on which a forecast was made.
	from      weather.Date   // First day of its weather.
	hole      int            // Days without weather before the last four.
	outlook   int            // Days of outlook.
	pickings  []forecast.Picking
	frosts    []forecast.Frost
	decisions []forecast.Decision
	status    map[string]int // Of its pages, by route, if not 200.
}

// galleryFarms are the demo's farm and farms that are unlike it.
func galleryFarms(t *testing.T) []galleryFarm {
	t.Helper()
	demo, at := demoMorning(t)
	on := func(date string) time.Time {
		d, err := weather.ParseDate(date)
		if err != nil {
			t.Fatal(err)
		}
		y, m, day := d.Civil()
		return time.Date(y, m, day, 5, 40, 0, 0, at.Location())
	}
	date := func(text string) weather.Date {
		d, err := weather.ParseDate(text)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	bearing := func(p forecast.Planting) bool { return p.RemovedOn == nil && p.PlantedOn.Year() < 2018 }
	standing := func(d testdata.Demo) (out []forecast.Planting) {
		for _, p := range d.Plantings {
			if bearing(p) {
				out = append(out, p)
			}
		}
		return out
	}
	farm := func(id, name string) galleryFarm {
		f := galleryFarm{Demo: demo, at: at, from: date("1990-01-01"), forecasts: []weather.Date{demo.AsOf - 1, demo.AsOf}}
		f.Farm.ID, f.Farm.Name = id, name
		f.Later = nil
		return f
	}

	one := farm("one", "One Bed")
	one.keep(standing(demo)[:1])

	none := farm("none", "Nothing Planted")
	none.keep(nil)
	none.forecasts = nil

	many := farm("many", "Five and Twenty")
	many.Farm.Units = forecast.Metric
	many.hole, many.outlook = 3, 7
	list := standing(demo)
	for n := 2; len(list) < 25; n++ {
		for _, p := range standing(demo) {
			if len(list) == 25 {
				break
			}
			q := p
			q.ID, q.Block = fmt.Sprintf("%s-%d", p.ID, n), fmt.Sprintf("%s %d", p.Block, n)
			list = append(list, q)
			for _, x := range demo.Sightings {
				if x.Planting == p.ID {
					x.Planting = q.ID
					many.Sightings = append(many.Sightings, x)
				}
			}
		}
	}
	many.keep(list)

	long := farm("long", strings.TrimSpace(strings.Repeat("Erdbeerselbstpflückparadies ", 3)))
	long.Farm.Units = forecast.Metric
	long.keep(standing(demo)[:4])
	long.Varieties = append([]forecast.Variety(nil), long.Varieties...)
	long.Plantings = append([]forecast.Planting(nil), long.Plantings...)
	for i := range long.Varieties {
		long.Varieties[i].Name = "Königin Wilhelmine von der Oberen Sonnenhalde, spätfrostharte Auslese Nummer Siebenundzwanzig"
	}
	for i := range long.Plantings {
		long.Plantings[i].Block = strings.Repeat("Donaudampfschifffahrtsgesellschaftsacker", 2) + fmt.Sprint(i)
	}
	long.Stations = append([]weather.Station(nil), long.Stations...)
	long.Stations[0].Name = strings.Repeat("Wetterbeobachtungsstation", 4)

	finished := farm("finished", "Season Over")
	finished.at = on("2018-08-20")
	finished.Later = demo.Later
	finished.forecasts = nil
	for d := date("2018-05-12"); d <= date("2018-07-23"); d += 3 { // As often as a review asks for.
		finished.forecasts = append(finished.forecasts, d)
	}
	finished.forecasts = append(finished.forecasts, date("2018-08-20"))
	finished.picked(t)
	opening := date("2018-06-16")
	finished.decisions = []forecast.Decision{{Season: 2018, Kind: forecast.DecideOpening, Day: &opening, DecidedBy: "Noor", DecidedAt: on("2018-06-09")}}

	spring := farm("spring", "Before Bloom")
	spring.at = on("2018-04-12")
	spring.forecasts = []weather.Date{date("2018-04-11"), date("2018-04-12")}

	return []galleryFarm{{Demo: demo, at: at}, one, many, none, long, finished, spring}
}

// keep keeps some of the plantings, with what was seen of them and their
// varieties.
func (f *galleryFarm) keep(list []forecast.Planting) {
	plantings, varieties := map[string]bool{}, map[string]bool{}
	for _, p := range list {
		plantings[p.ID], varieties[p.Variety] = true, true
	}
	var sightings []forecast.Sighting
	for _, x := range f.Sightings {
		if plantings[x.Planting] {
			sightings = append(sightings, x)
		}
	}
	var kept []forecast.Variety
	for _, v := range f.Varieties {
		if varieties[v.ID] {
			kept = append(kept, v)
		}
	}
	f.Plantings, f.Sightings, f.Varieties = list, sightings, kept
}

// parts are what the routes of pages can be filled with.
func (f *galleryFarm) parts(t *testing.T) map[string]string {
	t.Helper()
	now := today(t, f)
	m := map[string]string{
		"farm": f.Farm.ID, "year": fmt.Sprint(now.Year()), "station": f.Stations[0].ID, "date": (now - 3).String(),
	}
	for _, p := range f.Plantings {
		if p.RemovedOn == nil && p.PlantedOn.Year() < now.Year() {
			m["planting"], m["variety"] = p.ID, p.Variety
			break
		}
	}
	return m
}

// people makes a key of the farm and returns its identifier.
func (f *galleryFarm) people(t *testing.T, s *service) string {
	t.Helper()
	key := strings.TrimSpace(s.command("key", "new", "--role", "grower", "--name", "Gus", "--farm", f.Farm.ID))
	return strings.TrimPrefix(key, "ripetide-")[:8]
}

// feed makes a feed that rests and returns its identifier.
func (f *galleryFarm) feed(t *testing.T, s *service) string {
	t.Helper()
	s.json(201, "PUT", "/v1/farms/"+f.Farm.ID+"/stations/"+f.Stations[0].ID+"/feeds/sky",
		`{"kind":"acis","address":"https://192.0.2.1/StnData","source_station":"USC00200230","paused":true}`)
	return "sky"
}

// sends are forms whose answers are pages, by name.
func (f *galleryFarm) sends(parts map[string]string) map[string]sent {
	at := "/f/" + f.Farm.ID
	station := at + "/weather/" + parts["station"]
	areas, yields := "m2", "kg_m2"
	if f.Farm.Units == forecast.US {
		areas, yields = "acre", "lb_acre"
	}
	out := map[string]sent{
		"invitation":        {on: at + "/people", to: at + "/people/invite", fields: []string{"invite_name", "Gus", "invite_role", "grower"}},
		"invitation faults": {on: at + "/people", to: at + "/people/invite", status: 422},
		"link":              {on: at + "/people", to: at + "/people/" + parts["key"] + "/link"},
		"key":               {on: at + "/people", to: at + "/people/key", fields: []string{"key_name", "Logger", "key_role", "grower"}},
		"planting faults":   {on: at + "/book/planting", to: at + "/book/planting", fields: []string{"block", "", "area", "much"}, status: 422},
		"list": {on: at + "/book/list", to: at + "/book/list", fields: []string{
			"list", "Annapolis; early; Home; 2015-05-03; 1.5; 1.25\nHoneoye; sometimes; Hill; 2014\nCavendish; mid; Behind the house; 2014; 900 m²", "do", "look",
			"station", parts["station"], "area_unit", areas, "yield_unit", yields,
		}},
		"seen list": {on: at + "/book/seen", to: at + "/book/seen", fields: []string{"list", "Annapolis; bloom; 12 May 2016", "do", "look"}},
		"file": {
			on: station, to: station + "/file", fields: []string{"do", "look"},
			file: "date,min_c,max_c\n2017-01-02,-4,3.5\n2017-01-03,7,3\n2017-01-04,-30,21\n2017-02-30,1,2\n2017-01-07,-2,4\n",
		},
		"file refused": {on: station, to: station + "/file", fields: []string{"do", "look"}, file: "no table of days\n", status: 422},
		"day replaced": {on: station, to: station + "/day", fields: []string{"date", parts["date"], "low", "40", "high", "49"}},
		"day faults":   {on: station, to: station + "/day", fields: []string{"date", parts["date"], "low", "80", "high", "warm"}, status: 422},
		"feed faults":  {on: station + "/feeds/add", to: station + "/feeds/add", fields: []string{"kind", "", "every", "90"}, status: 422},
	}
	if p := parts["planting"]; p != "" {
		out["row faults"] = sent{
			on: at + "/row?planting=" + p, to: at + "/row", status: 422,
			fields: []string{"kind", "sighting", "planting", p, "stage", "bloom_10", "say", "seen", "date", "2199-06-01"},
		}
	}
	if f.Farm.ID == "none" { // No weather that could be replaced by other.
		delete(out, "day replaced")
	}
	return out
}

// enter puts a farm, its weather and its sightings on record and makes its
// forecasts, each as of its own morning.
func (f *galleryFarm) enter(t *testing.T, o *opened) {
	t.Helper()
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("farm %s: %v", f.Farm.ID, err)
		}
	}
	if f.forecasts == nil && f.from == 0 { // The demo's own farm.
		_, err := (&staged{o: o, demo: f.Demo}).play(ctx)
		must(err)
		return
	}
	id, early := f.Farm.ID, f.at.AddDate(0, -6, 0)
	_, err := o.PutFarm(ctx, f.Farm, demoBy, early)
	must(err)
	for _, st := range f.Stations {
		_, err := o.PutStation(ctx, id, st, demoBy, early)
		must(err)
	}
	for _, v := range f.Varieties {
		_, err := o.PutVariety(ctx, id, v, demoBy, early)
		must(err)
	}
	for _, p := range f.Plantings {
		_, err := o.PutPlanting(ctx, id, p, demoBy, early)
		must(err)
	}
	for _, asOf := range f.forecasts {
		y, m, d := asOf.Civil()
		morning := time.Date(y, m, d, 5, 30, 0, 0, f.at.Location())
		f.record(t, o, asOf, morning.Add(-time.Minute))
		service := &forecast.Service{Store: o.Store, Now: func() time.Time { return morning }, Program: version}
		_, _, err := service.Make(ctx, id, forecast.Request{AsOf: &asOf, Freeze: true})
		must(err)
	}
	if len(f.forecasts) == 0 {
		f.record(t, o, today(t, f), f.at.Add(-time.Minute))
	}
	for _, d := range f.decisions {
		d.Forecast = newest(t, o, id, d.DecidedAt)
		_, _, err := o.PutDecision(ctx, id, d)
		must(err)
	}
}

// newest is the forecast that was the newest at an instant.
func newest(t *testing.T, o *opened, farm string, at time.Time) (id string) {
	t.Helper()
	all, err := o.Forecasts(t.Context(), farm, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, z := range all { // The latest first.
		if z.MadeAt.Before(at) {
			return z.ID
		}
	}
	t.Fatal("nothing was forecast by then")
	return ""
}

// picked adds what was picked of every planting on three days in four between
// its first ripe fruit and a week after its last pick, most in the middle, and a
// frost of one of them.
func (f *galleryFarm) picked(t *testing.T) {
	t.Helper()
	ends := map[string][2]weather.Date{}
	for _, x := range slices.Concat(f.Sightings, f.Later) {
		if x.Seen && x.Date.Year() == 2018 && (x.Stage == forecast.FirstRipe || x.Stage == forecast.LastPick) {
			e := ends[x.Planting]
			e[int(x.Stage-forecast.FirstRipe)/2] = x.Date
			ends[x.Planting] = e
		}
	}
	for _, p := range f.Plantings {
		e, ok := ends[p.ID]
		if !ok || e[0] == 0 || e[1] == 0 {
			continue
		}
		for d := e[0]; d <= e[1]; d++ {
			if d%4 == 0 {
				continue
			}
			share := float64(min(d-e[0], e[1]-d)+1) / float64((e[1]-e[0])+2)
			f.pickings = append(f.pickings, forecast.Picking{Planting: p.ID, Date: d, Kg: math.Round(p.AreaM2 * 0.25 * share), Source: forecast.PickedByAll})
		}
	}
	if len(f.pickings) == 0 {
		t.Fatal("nothing was picked")
	}
	low := -1.5
	f.frosts = []forecast.Frost{{Planting: f.pickings[0].Planting, Date: weather.DateOf(2018, 5, 12), ShareLost: 0.1, LowC: &low}}
}

// record puts on record what was known on a morning.
func (f *galleryFarm) record(t *testing.T, o *opened, morning weather.Date, at time.Time) {
	t.Helper()
	ctx, id := t.Context(), f.Farm.ID
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("farm %s, %s: %v", f.Farm.ID, morning, err)
		}
	}
	all, err := testdata.AnnArbor()
	must(err)
	now := today(t, f)
	for _, st := range f.Stations {
		days := slices.DeleteFunc(all.Between(f.from, morning-1), func(d weather.Day) bool {
			back := int(now - d.Date)
			return 4 < back && back <= 4+f.hole
		})
		_, err = o.AddDays(ctx, id, st.ID, weather.Delivery{Source: "file csv", Days: days}, at)
		must(err)
		if f.outlook > 0 {
			ahead, err := weather.NewSeries(all.Between(morning, morning+weather.Date(f.outlook)-1))
			must(err)
			issued := at.Add(-4 * time.Hour)
			_, _, err = o.PutOutlook(ctx, id, st.ID, weather.Outlook{IssuedAt: issued, Days: ahead}, demoBy, issued)
			must(err)
		}
	}
	seen := slices.DeleteFunc(slices.Concat(f.Sightings, f.Later), func(x forecast.Sighting) bool { return x.Date > morning })
	results, err := o.AddSightings(ctx, id, seen, demoBy, at)
	must(err)
	for _, r := range results {
		must(r.Err)
	}
	picked := slices.DeleteFunc(slices.Clone(f.pickings), func(x forecast.Picking) bool { return x.Date >= morning })
	refused, err := o.AddPickings(ctx, id, picked, demoBy, at)
	must(errors.Join(append(refused, err)...))
	frosts := slices.DeleteFunc(slices.Clone(f.frosts), func(x forecast.Frost) bool { return x.Date > morning })
	refused, err = o.AddFrosts(ctx, id, frosts, demoBy, at)
	must(errors.Join(append(refused, err)...))
}

// today is the farm's date on the morning it is looked at.
func today(t *testing.T, f *galleryFarm) weather.Date {
	t.Helper()
	d, err := f.Farm.Today(f.at)
	if err != nil {
		t.Fatal(err)
	}
	return d
}
