package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"

	"ripetide/db"
	"ripetide/db/dbtest"
	"ripetide/testdata"
	"ripetide/weather"
)

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" { // Started by a test that kills it.
		main()
		return
	}
	os.Exit(dbtest.Main(m))
}

// service is the whole program, run as a stranger would run it, on port 0 and
// a database of its own.
type service struct {
	t      testing.TB
	env    map[string]string
	base   string
	key    string
	now    func() time.Time // Nil: the real clock.
	log    io.Writer        // Nil: nobody reads it.
	router routers.Router
}

func (s *service) world(out io.Writer) *world {
	now := s.now
	if now == nil {
		now = time.Now
	}
	log := s.log
	if log == nil {
		log = io.Discard
	}
	return &world{Getenv: func(k string) string { return s.env[k] }, Stdout: out, Stderr: log, Now: now}
}

// command runs a command to its end and returns what it printed.
func (s *service) command(args ...string) string {
	s.t.Helper()
	out, err := s.try(args...)
	if err != nil {
		s.t.Fatalf("ripetide %s: %v\n%s", strings.Join(args, " "), err, out)
	}
	return out
}

// try runs a command that may fail.
func (s *service) try(args ...string) (string, error) {
	s.t.Helper()
	var out bytes.Buffer
	err := run(s.t.Context(), s.world(&out), args)
	return out.String(), err
}

// newService starts the program and reads its OpenAPI document.
func newService(t testing.TB) *service {
	t.Helper()
	return newServiceAt(t, nil)
}

// newServiceAt is newService by a clock of its own; nil is the real one.
func newServiceAt(t testing.TB, now func() time.Time) *service {
	t.Helper()
	return newServiceWith(t, now, nil)
}

// newServiceWith is newServiceAt with more settings.
func newServiceWith(t testing.TB, now func() time.Time, env map[string]string) *service {
	t.Helper()
	s := &service{t: t, now: now, env: map[string]string{
		"RIPETIDE_DATA": t.TempDir(), "RIPETIDE_ADDR": "127.0.0.1:0",
		"RIPETIDE_DAILY": "off", // Tests say themselves when a morning comes.
	}}
	maps.Copy(s.env, env)
	if s.env["DATABASE_URL"] == "" {
		s.env["DATABASE_URL"] = dbtest.Migrated(t, db.Migrate)
	}
	s.key = strings.TrimSpace(s.command("key", "new", "--role", "owner", "--name", "test"))
	s.start()
	return s
}

// start has the service answer until the end of the test.
func (s *service) start() {
	t := s.t
	t.Helper()
	ctx, stop := context.WithCancel(context.WithoutCancel(t.Context()))
	addr, done := make(chan string, 1), make(chan error, 1)
	w := s.world(io.Discard)
	w.Serving = func(a string) { addr <- a }
	go func() { done <- run(ctx, w, []string{"serve"}) }()
	select {
	case s.base = <-addr:
	case err := <-done:
		t.Fatalf("serve ended: %v", err)
	}
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	res, body := s.plain("GET", "/openapi.json", "", nil)
	if res.StatusCode != http.StatusOK {
		t.Fatalf("GET /openapi.json: %s", res.Status)
	}
	doc, err := openapi3.NewLoader().LoadFromData(body)
	if err != nil {
		t.Fatalf("OpenAPI document: %v", err)
	}
	if err := doc.Validate(t.Context()); err != nil {
		t.Fatalf("OpenAPI document: %v", err)
	}
	doc.Servers = openapi3.Servers{{URL: s.base}}
	if s.router, err = gorillamux.NewRouter(doc); err != nil {
		t.Fatal(err)
	}
}

// plain sends a request without looking at the document.
func (s *service) plain(method, path, contentType string, body []byte) (*http.Response, []byte) {
	s.t.Helper()
	req, err := http.NewRequestWithContext(s.t.Context(), method, s.base+path, bytes.NewReader(body))
	if err != nil {
		s.t.Fatal(err)
	}
	if contentType != "" {
		req.Header.Set("Content-Type", contentType)
	}
	if s.key != "" {
		req.Header.Set("Authorization", "Bearer "+s.key)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return res, b
}

// call sends a request, wants a status, and holds the answer against the
// OpenAPI document.
func (s *service) call(want int, method, path, contentType, body string) []byte {
	s.t.Helper()
	res, got := s.plain(method, path, contentType, []byte(body))
	if res.StatusCode != want {
		s.t.Fatalf("%s %s: %s, want %d\n%.2000s", method, path, res.Status, want, got)
	}
	req, err := http.NewRequestWithContext(s.t.Context(), method, s.base+path, strings.NewReader(body))
	if err != nil {
		s.t.Fatal(err)
	}
	route, params, err := s.router.FindRoute(req)
	if err != nil {
		s.t.Fatalf("%s %s is not in the OpenAPI document: %v", method, path, err)
	}
	err = openapi3filter.ValidateResponse(s.t.Context(), &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: req, PathParams: params, Route: route},
		Status:                 res.StatusCode, Header: res.Header, Body: io.NopCloser(bytes.NewReader(got)),
		Options: &openapi3filter.Options{IncludeResponseStatus: true, ExcludeResponseBody: strings.HasPrefix(res.Header.Get("Content-Type"), "image/")},
	})
	if err != nil {
		s.t.Fatalf("%s %s: the answer is not as the OpenAPI document says: %v", method, path, err)
	}
	return got
}

func (s *service) json(want int, method, path, body string) map[string]any {
	s.t.Helper()
	b := s.call(want, method, path, "application/json", body)
	var v map[string]any
	if len(b) > 0 {
		if err := json.Unmarshal(b, &v); err != nil {
			s.t.Fatalf("%s %s: %v in %.300s", method, path, err, b)
		}
	}
	return v
}

// csvOf writes days as a plain CSV.
func csvOf(days []weather.Day) string {
	var b strings.Builder
	b.WriteString("date,min_c,max_c\n")
	for _, d := range days {
		fmt.Fprintf(&b, "%s,%g,%g\n", d.Date, d.Min, d.Max)
	}
	return b.String()
}

// setUp puts the demo farm by HTTP, as another program would.
func (s *service) setUp() testdata.Demo {
	s.t.Helper()
	d, err := testdata.ReadDemo()
	if err != nil {
		s.t.Fatal(err)
	}
	s.json(201, "PUT", "/v1/farms/fen", `{"name":"Fen","latitude":42.3,"longitude":-83.7,"time_zone":"America/Detroit","units":"us","thin_kg_per_day":250,"gap_probability":0.4}`)
	s.json(201, "PUT", "/v1/farms/fen/stations/ann-arbor", `{"name":"Ann Arbor","latitude":42.3,"longitude":-83.7,"elevation_m":274,"stand_in":null}`)
	for _, v := range d.Varieties {
		s.json(201, "PUT", "/v1/farms/fen/varieties/"+v.ID, fmt.Sprintf(`{"name":%q,"ripens":%q}`, v.Name, v.Ripens))
	}
	for _, p := range d.Plantings {
		body := fmt.Sprintf(`{"variety":%q,"block":%q,"station":"ann-arbor","planted_on":%q,"area_m2":%g`, p.Variety, p.Block, p.PlantedOn, p.AreaM2)
		if p.RemovedOn != nil {
			body += fmt.Sprintf(`,"removed_on":%q`, p.RemovedOn)
		}
		s.json(201, "PUT", "/v1/farms/fen/plantings/"+p.ID, body+"}")
	}
	var items []string
	for _, x := range d.Sightings {
		items = append(items, fmt.Sprintf(`{"planting":%q,"date":%q,"stage":%q,"seen":%t}`, x.Planting, x.Date, x.Stage, x.Seen))
	}
	r := s.json(200, "POST", "/v1/farms/fen/sightings", `{"sightings":[`+strings.Join(items, ",")+`]}`)
	if n := len(r["refused"].([]any)); n != 0 {
		s.t.Fatalf("%d sightings refused: %v", n, r["refused"])
	}
	return d
}

// The main job through HTTP on a real PostgreSQL: days in, dates with ranges
// out, the gaps drawn.
func TestTheThread(t *testing.T) {
	t.Parallel()
	s := newService(t)
	d := s.setUp()
	record, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}

	// A plain CSV as it is, packed; again, nothing changes.
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	if _, err := io.WriteString(z, csvOf(record.Days())); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	const days = "/v1/farms/fen/stations/ann-arbor/days"
	n := float64(record.Len())
	for _, want := range []string{"added", "unchanged"} {
		b := s.call(200, "POST", days, "text/csv", packed.String())
		var r map[string]any
		if err := json.Unmarshal(b, &r); err != nil {
			t.Fatal(err)
		}
		if r["received"] != n || r[want] != n {
			t.Fatalf("loading %v days: %s, want all %s", n, b, want)
		}
	}

	// The forecast of a morning in 2018, made now: a hindcast.
	const make2018 = "/v1/farms/fen/forecasts?as_of="
	asOf := d.AsOf.String()
	f := s.json(201, "POST", make2018+asOf, "")
	if f["hindcast"] != true || f["as_of"] != asOf || f["season"] != 2018.0 {
		t.Errorf("forecast is %v of %v, season %v", f["hindcast"], f["as_of"], f["season"])
	}
	if !strings.Contains(fmt.Sprint(f["gaps"]), "kind:gap") {
		t.Errorf("no gap in a season that has one: %v", f["gaps"])
	}
	s.json(404, "GET", "/v1/farms/fen/forecasts/latest", "")
	id := f["id"].(string)
	frozen := s.call(200, "GET", "/v1/farms/fen/forecasts/"+id, "", "")

	// Computing again gives the same bytes but for id and made_at, also after
	// the later days were corrected: as_of does not see them.
	var poison []weather.Day
	for _, day := range record.Between(d.AsOf, d.AsOf+60) {
		poison = append(poison, weather.Day{Date: day.Date, Min: 39, Max: 41})
	}
	s.call(200, "POST", days, "text/csv", csvOf(poison))
	again := s.call(200, "POST", make2018+asOf+"&freeze=false", "", "")
	if a, b := without(t, frozen, "id", "made_at"), without(t, again, "id", "made_at"); a != b {
		t.Errorf("later days changed the forecast:\n%s\n%s", a, b)
	}

	// A correction of an earlier day does change it, but not as it was known
	// before.
	before := time.Now().UTC().Format(time.RFC3339Nano)
	s.call(200, "POST", days, "text/csv", csvOf([]weather.Day{{Date: d.AsOf - 3, Min: 30, Max: 40}}))
	if b := s.call(200, "POST", make2018+asOf+"&freeze=false", "", ""); without(t, b, "id", "made_at") == without(t, again, "id", "made_at") {
		t.Error("a correction of an earlier day changed nothing")
	}
	if b := s.call(200, "POST", make2018+asOf+"&freeze=false&known_at="+before, "", ""); without(t, b, "id", "made_at") != without(t, again, "id", "made_at") {
		t.Error("known_at lets a later correction through")
	}
	old := s.json(200, "GET", days+"?from="+(d.AsOf-3).String()+"&to="+(d.AsOf-3).String()+"&known_at="+before, "")
	if max := old["days"].([]any)[0].(map[string]any)["max"]; max == 40.0 {
		t.Error("known_at reads the corrected day")
	}
	if now := s.call(200, "GET", "/v1/farms/fen/forecasts/"+id, "", ""); !bytes.Equal(now, frozen) {
		t.Error("a frozen forecast changed")
	}

	// The chart in its three forms.
	o := s.json(200, "GET", "/v1/farms/fen/seasons/2018/overlap.json", "")
	if o["forecast"] != id {
		t.Errorf("the chart draws %v, want the hindcast %s", o["forecast"], id)
	}
	if svg := s.call(200, "GET", "/v1/farms/fen/seasons/2018/overlap.svg", "", ""); !bytes.HasPrefix(svg, []byte("<svg")) {
		t.Errorf("SVG begins with %.40q", svg)
	}
	if png := s.call(200, "GET", "/v1/farms/fen/seasons/2018/overlap.png", "", ""); !bytes.HasPrefix(png, []byte("\x89PNG")) {
		t.Errorf("PNG begins with %.8q", png)
	}
	s.json(404, "GET", "/v1/farms/fen/seasons/2012/overlap.json", "")

	// The command line sees the same database while the service runs.
	if out := s.command("forecast", "--as-of", asOf, "--no-freeze"); !strings.Contains(out, "FIRST RIPE") || !strings.Contains(out, "Nothing ripe") || !strings.Contains(out, "Opening: You have not said what is ready") {
		t.Errorf("the forecast command printed\n%s", out)
	}
}

// without returns a JSON object without some members, in its own order of
// bytes otherwise.
func without(t *testing.T, b []byte, names ...string) string {
	t.Helper()
	var m map[string]json.RawMessage
	if err := json.Unmarshal(b, &m); err != nil {
		t.Fatal(err)
	}
	text := string(b)
	for _, n := range names {
		text = strings.Replace(text, fmt.Sprintf("%q:%s,", n, m[n]), "", 1)
	}
	// Hindcast or not depends on the day it is made on, which is the same here.
	return text
}

func TestBadInputIsToldAndLosesNothing(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.json(201, "PUT", "/v1/farms/f", `{"name":"F","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	s.json(201, "PUT", "/v1/farms/f/stations/s", `{"name":"S","latitude":48,"longitude":8,"elevation_m":155,"stand_in":null}`)
	s.json(201, "PUT", "/v1/farms/f/varieties/v", `{"name":"V","ripens":"mid"}`)
	s.json(201, "PUT", "/v1/farms/f/plantings/p", `{"variety":"v","block":"B","station":"s","planted_on":"2020-04-01","area_m2":100}`)
	const days = "/v1/farms/f/stations/s/days"

	for _, tt := range []struct {
		name, method, path, contentType, body string
		status                                int
		says                                  []string
	}{
		{"every fault of a body at once", "PUT", "/v1/farms/g", "application/json", `{"name":"","latitude":95,"longitude":8,"time_zone":"Mars/Base","units":"metre","x":1}`, 422,
			[]string{"/name", "/latitude", "/time_zone", "/units", "/x"}},
		{"body that is not JSON", "PUT", "/v1/farms/g", "application/json", `{"name":`, 400, nil},
		{"unknown farm", "GET", "/v1/farms/none", "", "", 404, []string{"farm-not-found"}},
		{"unknown stand-in", "PUT", "/v1/farms/f/stations/s", "application/json", `{"name":"S","latitude":1,"longitude":1,"elevation_m":1,"stand_in":"none"}`, 404, []string{"station-not-found", `"/stand_in"`, "the farm has no such station"}},
		{"unknown variety and station", "PUT", "/v1/farms/f/plantings/p", "application/json", `{"variety":"none","block":"B","station":"none","planted_on":"2020-05-01","area_m2":1}`, 404, []string{`"/variety"`, "the farm has no such variety", `"/station"`, "the farm has no such station"}},
		{"unknown station", "POST", "/v1/farms/f/stations/none/days", "application/json", `{"unit":"C","days":[{"date":"2025-05-01","min":1,"max":2}]}`, 404, []string{"station-not-found"}},
		{"no unit", "POST", days, "application/json", `{"days":[{"date":"2025-05-01","min":1,"max":2}]}`, 422, []string{"/unit"}},
		{"unknown unit", "POST", days, "application/json", `{"unit":"K","days":[{"date":"2025-05-01","min":1,"max":2}]}`, 422, []string{"/unit"}},
		{"NaN", "POST", days, "application/json", `{"unit":"C","days":[{"date":"2025-05-01","min":NaN,"max":2}]}`, 400, nil},
		{"unknown field", "POST", days, "application/json", `{"unit":"C","tage":[],"days":[{"date":"2025-05-01","min":1,"max":2}]}`, 422, []string{"/tage"}},
		{"only bad rows", "POST", days, "application/json", `{"unit":"C","days":[{"date":"2025-05-01","min":3,"max":2}]}`, 422, []string{"row 1", "above max"}},
		{"a date twice with different values", "POST", days, "application/json", `{"unit":"C","days":[{"date":"2025-05-01","min":1,"max":2},{"date":"2025-05-01","min":1,"max":3}]}`, 422, []string{"row 1", "row 2"}},
		{"°F in a °C column", "POST", days, "text/csv", "date,min_c,max_c\n2025-07-01,60,88\n2025-07-02,61,90\n2025-07-03,62,91\n2025-07-04,63,86\n2025-07-05,64,87\n2025-07-06,59,85\n2025-07-07,60,88\n2025-07-08,61,90\n2025-07-09,62,91\n2025-07-10,63,86\n", 422, []string{"°F"}},
		{"empty file", "POST", days, "text/csv", "", 400, nil},
		{"file without a unit", "POST", days, "text/csv", "date,min,max\n2025-05-01,1,2\n", 422, []string{"unit-unknown"}},
		{"truncated gzip", "POST", days, "text/csv", "\x1f\x8b\x08\x00\x00", 400, []string{"damaged"}},
		{"wrong content type", "POST", days, "image/png", "x", 415, nil},
		{"impossible date in the query", "GET", days + "?from=2025-02-30", "", "", 422, []string{"from"}},
		{"first ripe before bloom", "POST", "/v1/farms/f/sightings", "application/json", `{"sightings":[{"planting":"p","date":"2025-05-10","stage":"first_ripe","seen":true},{"planting":"p","date":"2025-05-20","stage":"bloom_10","seen":true}]}`, 200, []string{`"row":2`}},
		{"last pick before first ripe", "POST", "/v1/farms/f/sightings", "application/json", `{"sightings":[{"planting":"p","date":"2025-05-09","stage":"last_pick","seen":true}]}`, 409, []string{"/sightings/0"}},
		{"as of tomorrow says both days", "POST", "/v1/farms/f/forecasts?as_of=2099-06-02", "", "", 422, []string{"2099-06-02", "today"}},
		{"only the reading of a broken body", "PUT", "/v1/farms/f/plantings/z", "application/json", "{", 400, []string{"unreadable"}},
		{"too few years", "POST", "/v1/farms/f/forecasts?as_of=2025-06-01", "", "", 409, []string{"too-few-years", "load older"}},
		{"as of tomorrow", "POST", "/v1/farms/f/forecasts?as_of=2099-06-01", "", "", 422, []string{"as-of-ahead"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := s.call(tt.status, tt.method, tt.path, tt.contentType, tt.body)
			for _, want := range tt.says {
				if !strings.Contains(string(b), want) {
					t.Errorf("the answer does not say %q: %s", want, b)
				}
			}
		})
	}
	if r := s.json(200, "GET", days, ""); len(r["days"].([]any)) != 0 {
		t.Errorf("bad bodies left days: %v", r["days"])
	}

	// Good rows of a body with bad ones are kept; nothing of it when asked so.
	mixed := `{"unit":"F","days":[{"date":"2025-05-01","min":50,"max":68},{"date":"2025-02-30","min":1,"max":2},{"date":"2025-05-03","min":"x","max":2}]}`
	s.json(422, "POST", days+"?all_or_nothing=true", mixed)
	r := s.json(200, "POST", days, mixed)
	if r["added"] != 1.0 || len(r["refused"].([]any)) != 2 {
		t.Errorf("mixed body: %v", r)
	}
	s.json(200, "POST", days, `{"unit":"C","days":[{"date":"2025-05-06","min":1,"max":2}]}`)
	holes := s.json(200, "GET", days+"?from=2025-05-03&to=2025-05-04", "")
	if got := fmt.Sprint(holes["days"], holes["holes"]); got != "[] [map[from:2025-05-03 to:2025-05-04]]" {
		t.Errorf("inside a hole: %s", got)
	}
	got := s.json(200, "GET", days, "")["days"].([]any)[0].(map[string]any)
	if got["min"] != 10.0 || got["max"] != 20.0 { // 50 and 68 °F.
		t.Errorf("50 and 68 °F are %v and %v °C", got["min"], got["max"])
	}
}

func TestAccess(t *testing.T) {
	t.Parallel()
	s := newService(t)
	owner := s.key
	s.json(201, "PUT", "/v1/farms/a", `{"name":"A","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	s.json(201, "PUT", "/v1/farms/b", `{"name":"B","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	key := func(role, farm string) string {
		return strings.TrimSpace(s.command("key", "new", "--role", role, "--name", "x", "--farm", farm))
	}
	s.key = ""
	s.json(401, "GET", "/v1/farms", "")
	s.key = "ripetide-nonsense"
	s.json(401, "GET", "/v1/farms/a", "")
	s.key = key("reader", "a")
	s.json(200, "GET", "/v1/farms/a", "")
	s.json(404, "GET", "/v1/farms/b", "")
	if l := s.json(200, "GET", "/v1/farms", "")["farms"].([]any); len(l) != 1 {
		t.Errorf("a key of one farm lists %d farms", len(l))
	}
	s.json(403, "POST", "/v1/farms/a/sightings", `{"sightings":[]}`)
	s.json(403, "POST", "/v1/farms/a/forecasts", "")
	s.json(200, "POST", "/v1/farms/a/forecasts?freeze=false", "")
	s.key = key("owner", "a")
	s.json(404, "PUT", "/v1/farms/c", `{"name":"C","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	s.json(404, "PUT", "/v1/farms/b", `{"name":"B","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	s.key = owner
	out := s.command("key", "list")
	if strings.Contains(out, owner) || strings.Count(out, "valid") != 3 {
		t.Errorf("key list printed\n%s", out)
	}
	id := strings.TrimPrefix(owner, "ripetide-")[:8]
	s.command("key", "revoke", id)
	s.json(401, "GET", "/v1/farms", "")
}
