package main

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/jackc/pgx/v5"
)

// anyone names the operations that ask for no key, and why.
var anyone = map[string]string{
	"GET /at/{farm}/changes.atom":          "what a farm tells everybody, once it says so",
	"GET /at/{farm}/ripe.png":              "as changes.atom",
	"GET /at/{farm}/ripe.svg":              "as changes.atom",
	"GET /subscribe/{secret}/calendar.ics": "whoever has the address may read it",
	"GET /subscribe/{secret}/changes.atom": "whoever has the address may read it",
}

// asSent are the roles that operations ask for as they are sent here, where that
// hangs on more than their names: a forecast is frozen, which is recording, unless
// ?freeze=false makes it reading.
var asSent = map[string]string{"POST /v1/farms/{farm}/forecasts": "grower"}

// matrixCaller is somebody who calls, with the role and farm that he may have.
type matrixCaller struct {
	name   string
	rank   int    // 0: nobody who is known.
	farm   string // "": the installation.
	header http.Header
	cookie *http.Cookie
	unsafe bool // What changes something is refused, whatever the role.
}

// ofOthers is in the names of the other farm.
const ofOthers = "Canarygorse"

// matrixRanks order the roles.
var matrixRanks = map[string]int{"reader": 1, "grower": 2, "owner": 3}

var instance = regexp.MustCompile(`"instance":"[^"]*"`)

// matrixCallers are callers of every kind.
func (s *service) matrixCallers() []matrixCaller {
	s.t.Helper()
	bearer := func(key string) http.Header { return http.Header{"Authorization": {"Bearer " + key}} }
	made := func(args ...string) string {
		return strings.TrimSpace(s.command(append([]string{"key", "new", "--name", "m"}, args...)...))
	}
	id := func(key string) string { return strings.TrimPrefix(key, "ripetide-")[:8] }
	expired := made("--role", "owner", "--expires", "1ms")
	revoked := made("--role", "owner")
	s.command("key", "revoke", id(revoked))
	out := []matrixCaller{
		{name: "no key"},
		{name: "malformed key", header: bearer("  \u00e9x")},
		{name: "key without its scheme", header: http.Header{"Authorization": {made("--role", "owner")}}},
		{name: "unknown key", header: bearer("ripetide-aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa")},
		{name: "key cut short", header: bearer(made("--role", "owner")[:40])},
		{name: "expired key", header: bearer(expired)},
		{name: "revoked key", header: bearer(revoked)},
		{name: "unknown session", cookie: &http.Cookie{Name: "ripetide_session", Value: "nonsense"}},
	}
	for role, rank := range matrixRanks {
		out = append(out,
			matrixCaller{name: role, rank: rank, farm: "f", header: bearer(made("--role", role, "--farm", "f"))},
			matrixCaller{name: role + " of another farm", rank: rank, farm: "g", header: bearer(made("--role", role, "--farm", "g"))},
			matrixCaller{name: role + " of the installation", rank: rank, header: bearer(made("--role", role))})
		v := newVisitor(s.t, s.base)
		v.signIn(made("--role", role, "--farm", "f"))
		out = append(out,
			matrixCaller{name: role + " in a browser", rank: rank, farm: "f", cookie: v.cookie},
			matrixCaller{name: role + " in a browser, from another site", rank: rank, farm: "f", cookie: v.cookie, unsafe: true, header: http.Header{"Sec-Fetch-Site": {"cross-site"}}})
	}
	gone := newVisitor(s.t, s.base)
	key := made("--role", "owner")
	gone.signIn(key)
	s.command("key", "revoke", id(key))
	out = append(out, matrixCaller{name: "session of a revoked key", cookie: gone.cookie})
	left := newVisitor(s.t, s.base)
	left.signIn(made("--role", "owner"))
	cookie := left.cookie
	if res, _ := left.send("POST", "/sign-out", ""); res.StatusCode != http.StatusSeeOther {
		s.t.Fatalf("signing out: %s", res.Status)
	}
	out = append(out, matrixCaller{name: "session that was signed out", cookie: cookie})
	slices.SortFunc(out, func(a, b matrixCaller) int { return strings.Compare(a.name, b.name) })
	return out
}

// matrixCell is one operation asked by one caller of one farm.
type matrixCell struct {
	op     *openapi3.Operation
	method string
	path   string // Of the document.
	caller matrixCaller
	farm   string
}

// ask sends it with a body that is hardly ever good, and returns the answer.
func (c matrixCell) ask(t *testing.T, base string, n int) (*http.Response, string) {
	t.Helper()
	parts := map[string]string{
		"farm": c.farm, "station": "s", "planting": "p", "variety": "v", "year": "2024", "date": "2024-12-12", "kind": "opening",
		"feed": "x", "id": "x", "proposal": "x", "recipient": "x", "secret": "x",
	}
	path := c.path
	for name, value := range parts {
		path = strings.ReplaceAll(path, "{"+name+"}", value)
	}
	if strings.Contains(path, "{") {
		t.Fatalf("%s: a part of the path is not filled", path)
	}
	var body io.Reader
	kind := ""
	if b := c.op.RequestBody; b != nil {
		kind = slices.Sorted(maps.Keys(b.Value.Content))[0]
		body = strings.NewReader("{}")
	}
	req, err := http.NewRequestWithContext(t.Context(), c.method, base+path, body)
	if err != nil {
		t.Fatal(err)
	}
	// From an address of its own, for so many keys that nobody has are too many from
	// one.
	req.Header.Set("X-Forwarded-For", fmt.Sprintf("198.18.%d.%d", n/250, n%250))
	maps.Copy(req.Header, c.caller.header)
	if kind != "" {
		req.Header.Set("Content-Type", kind)
	}
	if c.caller.cookie != nil {
		req.AddCookie(c.caller.cookie)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res, string(text)
}

// refused is the status that a cell must be refused with; 0: it is admitted.
func (c matrixCell) refused() int {
	need, _ := c.op.Extensions["x-needs-role"].(string)
	if more := asSent[c.method+" "+c.path]; more != "" {
		need = more
	}
	switch changes := c.method != "GET"; {
	case need == "":
		return 0
	case c.caller.rank == 0:
		return http.StatusUnauthorized
	case changes && c.caller.unsafe:
		return http.StatusForbidden
	case strings.Contains(c.path, "{farm}") && c.caller.farm != "" && c.caller.farm != c.farm:
		return http.StatusNotFound
	case c.caller.rank < matrixRanks[need]:
		return http.StatusForbidden
	}
	return 0
}

// TestPermissions asks every operation of the document as everybody, of his own
// farm, of another and of one that there is not.
func TestPermissions(t *testing.T) {
	t.Parallel()
	s := newServiceWith(t, nil, map[string]string{"RIPETIDE_RATE": "off", "RIPETIDE_PROXIES": "127.0.0.0/8"})
	s.planted()
	s.json(201, "PUT", "/v1/farms/g", `{"name":"`+ofOthers+`","latitude":-41,"longitude":175,"time_zone":"Pacific/Auckland","units":"metric"}`)
	s.json(201, "PUT", "/v1/farms/g/stations/s", `{"name":"`+ofOthers+`","latitude":-41,"longitude":175,"elevation_m":40,"stand_in":null}`)
	_, text := s.plain("GET", "/openapi.json", "", nil)
	doc, err := openapi3.NewLoader().LoadFromData(text)
	if err != nil {
		t.Fatal(err)
	}
	callers := s.matrixCallers()
	time.Sleep(2 * time.Millisecond) // The expired key lived for one.
	var cells []matrixCell
	operations, open := 0, map[string]bool{}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			operations++
			if op.Extensions["x-needs-role"] == nil {
				open[method+" "+path] = true
			}
			for _, caller := range callers {
				for _, farm := range []string{"f", "g", "nowhere"} {
					cells = append(cells, matrixCell{op, method, path, caller, farm})
					if !strings.Contains(path, "{farm}") {
						break
					}
				}
			}
		}
	}
	for name := range open {
		if _, known := anyone[name]; !known {
			t.Errorf("%s asks for no role, and nobody says why", name)
		}
	}
	for name := range anyone {
		if !open[name] {
			t.Errorf("%s is not an operation that is open to anyone", name)
		}
	}
	slices.SortFunc(cells, func(a, b matrixCell) int {
		return strings.Compare(a.path+a.method+a.caller.name+a.farm, b.path+b.method+b.caller.name+b.farm)
	})

	// First whatever is refused: nothing may change.
	before := s.rowsOfAll()
	answers := map[string]string{}
	refused := 0
	for n, c := range cells {
		want := c.refused()
		if want == 0 {
			continue
		}
		refused++
		res, body := c.ask(t, s.base, n)
		if res.StatusCode != want {
			t.Errorf("%s %s as %s of %s: %s, want %d", c.method, c.path, c.caller.name, c.farm, res.Status, want)
		}
		if c.caller.farm != "g" && strings.Contains(body, ofOthers) {
			t.Errorf("%s %s as %s of %s tells of another farm: %s", c.method, c.path, c.caller.name, c.farm, body)
		}
		if want == http.StatusNotFound { // Another's farm must not differ from none.
			body = instance.ReplaceAllString(body, "")
			name := c.method + c.path + c.caller.name
			if other, seen := answers[name]; seen && other != body {
				t.Errorf("%s %s as %s: of another farm\n%s\nand of none\n%s", c.method, c.path, c.caller.name, other, body)
			}
			answers[name] = body
		}
	}
	if after := s.rowsOfAll(); after != before {
		t.Errorf("what was refused has changed something:\n%s\nwas\n%s", after, before)
	}
	// Then whatever is admitted.
	for n, c := range cells {
		if c.refused() != 0 {
			continue
		}
		res, body := c.ask(t, s.base, n)
		missing := c.op.Extensions["x-needs-role"] == nil || c.farm == "nowhere" && strings.Contains(c.path, "{farm}")
		if res.StatusCode == http.StatusUnauthorized || res.StatusCode == http.StatusForbidden || res.StatusCode >= 500 ||
			!missing && strings.Contains(body, "farm-not-found") {
			t.Errorf("%s %s as %s of %s: %s\n%s", c.method, c.path, c.caller.name, c.farm, res.Status, body)
		}
		if c.caller.farm == "f" && strings.Contains(body, ofOthers) {
			t.Errorf("%s %s as %s of %s tells of another farm: %s", c.method, c.path, c.caller.name, c.farm, body)
		}
	}
	t.Logf("%d operations, %d callers, %d cells, %d of them refused", operations, len(callers), len(cells), refused)
	if operations < 60 || len(callers) < 24 || len(cells) < 4000 {
		t.Error("the matrix has shrunk")
	}
}

// rowsOfAll tells the rows of every table; of those in which use leaves a mark,
// their number.
func (s *service) rowsOfAll() string {
	s.t.Helper()
	conn, err := pgx.Connect(s.t.Context(), s.env["DATABASE_URL"])
	if err != nil {
		s.t.Fatal(err)
	}
	defer conn.Close(s.t.Context())
	rows, _ := conn.Query(s.t.Context(), "SELECT relname::text FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace ORDER BY 1")
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		s.t.Fatal(err)
	}
	used := []string{"api_key", "session", "subscription"}
	var out bytes.Buffer
	for _, table := range tables {
		what := "md5(COALESCE(string_agg(t::text, ' ' ORDER BY t::text), ''))"
		if slices.Contains(used, table) {
			what = "count(*)::text"
		}
		var state string
		if err := conn.QueryRow(s.t.Context(), "SELECT "+what+" FROM "+table+" AS t").Scan(&state); err != nil {
			s.t.Fatal(err)
		}
		fmt.Fprintln(&out, table, state)
	}
	return out.String()
}
