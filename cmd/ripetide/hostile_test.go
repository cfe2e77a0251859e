package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"ripetide/db/dbtest"
)

var (
	hostile     = flag.Int("hostile", 3000, "how many requests TestHostileRequests sends")
	hostileSeed = flag.Uint64("hostile-seed", 0, "its seed; 0: by the clock")
)

// chance makes values that a schema asks for, or that it hardly expects.
type chance struct {
	*rand.Rand
	tame bool // Nothing odd, so that what lies deeper is reached.
}

// odd is one in so many, unless the request is a tame one.
func (c chance) odd(of int) bool { return !c.tame && c.one(of) }

// words are texts that have hurt others.
var words = []string{
	"", " ", "x", "f", "s", "p", "v", "A-b", "true", "null", "0", "-1", "1e309", "NaN", "Infinity", "2018-06-01", "2018-02-30", "0000-00-00", "9999-12-31",
	"2018-06-01T05:30:00Z", "2018-06-01T25:61:00+99:00", "10000-01-01T00:00:00Z", "../../etc/passwd", "%00", "\u0000", "\u202egro.mraf", "ÿ\ufeff", "<script>alert(1)</script>", "=1+1", "' OR 1=1 --",
	"{{.}}", "${jndi:ldap://x}", "line\nline", "\x1b[31m", strings.Repeat("a", 300), strings.Repeat("ä", 5000), "🍓", "https://127.0.0.1:1/", "http://169.254.169.254/latest", "file:///etc/passwd", "America/Detroit", "owner", "bloom_10", "first_ripe", "early", "us", "opening",
}

// numbers are those at which something ends.
var numbers = []any{0, json.Number("-0"), 1, -1, 5, 0.5, 1e-300, 1e300, -1e300, 2147483647, 2147483648, -2147483649, 9007199254740993, 9223372036854775807, 1066, 2018, 9999, 100000, 42.3, -83.7, json.Number("1e999"), json.Number("12345678901234567890123")}

func (c chance) one(of int) bool { return c.IntN(of) == 0 }

func pick[T any](c chance, from []T) T { return from[c.IntN(len(from))] }

// wild is any value at all.
func (c chance) wild(depth int) any {
	switch c.IntN(8) {
	case 0:
		return nil
	case 1:
		return c.one(2)
	case 2, 3:
		return pick(c, numbers)
	case 4:
		list := make([]any, c.IntN(4))
		for i := range list {
			if depth < 4 {
				list[i] = c.wild(depth + 1)
			}
		}
		return list
	case 5:
		m := map[string]any{}
		for range c.IntN(4) {
			if depth < 4 {
				m[pick(c, words)] = c.wild(depth + 1)
			}
		}
		return m
	}
	return pick(c, words)
}

// value is a value of a schema, mostly.
func (c chance) value(s *openapi3.Schema, depth int) any {
	if s == nil || depth > 8 || c.odd(12) {
		return c.wild(depth)
	}
	if len(s.Enum) > 0 {
		return pick(c, s.Enum)
	}
	for _, several := range []openapi3.SchemaRefs{s.OneOf, s.AnyOf} {
		if len(several) > 0 {
			return c.value(pick(c, several).Value, depth+1)
		}
	}
	switch {
	case s.Type.Is("object"):
		m := map[string]any{}
		for name, p := range s.Properties {
			if slices.Contains(s.Required, name) && !c.odd(15) || c.one(2) {
				m[name] = c.named(name, p.Value, depth+1)
			}
		}
		if c.odd(15) {
			m[pick(c, words)] = c.wild(depth)
		}
		return m
	case s.Type.Is("array"):
		list := make([]any, c.IntN(4))
		for i := range list {
			list[i] = c.value(s.Items.Value, depth+1)
		}
		return list
	case s.Type.Is("integer"):
		low, high := 0, 20
		if s.Min != nil {
			low = int(*s.Min)
		}
		if s.Max != nil {
			high = min(int(*s.Max), low+1000)
		}
		return low + c.IntN(max(high-low+1, 1))
	case s.Type.Is("number"):
		if c.odd(3) {
			return pick(c, numbers)
		}
		low, high := 0.0, 20.0
		if s.Min != nil {
			low = *s.Min
		}
		if s.Max != nil {
			high = *s.Max
		}
		return low + c.Float64()*(high-low)
	case s.Type.Is("boolean"):
		return c.one(2)
	case s.Type.Is("string"):
		switch s.Format {
		case "date":
			return fmt.Sprintf("20%02d-%02d-%02d", 8+c.IntN(12), 1+c.IntN(12), 1+c.IntN(31))
		case "date-time":
			return fmt.Sprintf("2018-06-%02dT%02d:00:00Z", 1+c.IntN(30), c.IntN(24))
		}
		if s.Pattern != "" || c.tame || c.one(2) {
			return pick(c, []string{"f", "s", "p", "q", "v", "x"})
		}
		return pick(c, words)
	}
	return c.wild(depth)
}

// named is a value that a member of this name may have on the test's farm.
func (c chance) named(name string, s *openapi3.Schema, depth int) any {
	known := map[string]any{
		"planting": "p", "variety": "v", "station": "s", "stand_in": nil, "time_zone": "America/Detroit", "language": "en", "name": "Ann", "by": "Ann",
		"date": "2018-06-12", "day": "2018-06-16", "planted_on": "2012-06-01", "unit": "C", "min": 3, "max": 17, "address": "ann@farm.example", "block": "B", "year": 2018,
	}
	if v, ok := known[name]; ok && (c.tame || c.one(2)) {
		return v
	}
	return c.value(s, depth)
}

func text(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case nil:
		return ""
	}
	b, err := json.Marshal(v)
	if err != nil {
		return "?"
	}
	return string(b)
}

// attempt is a request.
type attempt struct{ method, path, kind, body string }

// attempt makes one of an operation.
func (c chance) attempt(path string, item *openapi3.PathItem, method string) attempt {
	op := item.GetOperation(method)
	a := attempt{method: method, path: path}
	query := url.Values{}
	for _, p := range append(slices.Clone(item.Parameters), op.Parameters...) {
		var v string
		if p.Value.Schema != nil {
			v = text(c.value(p.Value.Schema.Value, 0))
		}
		switch p.Value.In {
		case "path":
			switch {
			case p.Value.Name == "farm" && !c.odd(20):
				v = "f"
			case c.tame || c.one(2):
				v = map[string]string{"station": "s", "planting": "p", "variety": "v", "year": "2018", "date": "2018-06-12", "kind": "opening"}[p.Value.Name]
			}
			a.path = strings.ReplaceAll(a.path, "{"+p.Value.Name+"}", url.PathEscape(v))
		case "query":
			if p.Value.Required && !c.odd(9) || c.one(4) {
				query.Set(p.Value.Name, v)
			}
		}
	}
	if c.odd(25) {
		query.Set(pick(c, words), pick(c, words))
	}
	if len(query) > 0 {
		a.path += "?" + query.Encode()
	}
	if op.RequestBody == nil {
		return a
	}
	kinds := slices.Sorted(maps.Keys(op.RequestBody.Value.Content))
	a.kind = pick(c, kinds)
	content := op.RequestBody.Value.Content[a.kind]
	switch {
	case c.odd(40):
		a.kind = pick(c, words)
	case c.odd(40):
		a.body = strings.Repeat("[", 20000)
		return a
	case c.odd(40):
		a.body = pick(c, words)
		return a
	}
	if strings.Contains(a.kind, "json") && content.Schema != nil {
		a.body = text(c.value(content.Schema.Value, 0))
	} else {
		a.body = "date,min_c,max_c\n" + text(c.wild(0)) + "," + text(c.wild(0)) + "," + text(c.wild(0)) + "\n2016-05-01,1,11\n" + pick(c, words)
	}
	if c.odd(30) && len(a.body) > 2 { // Cut off.
		a.body = a.body[:c.IntN(len(a.body))]
	}
	return a
}

// operation is one of the document.
type operation struct {
	path, method string
	item         *openapi3.PathItem
}

// hostileService starts a service with a farm, in June 2018, and returns the
// operations of its document in order.
func hostileService(t testing.TB) (*service, []operation, *faultLog) {
	t.Helper()
	at := time.Date(2018, 6, 14, 12, 0, 0, 0, time.UTC)
	log := &faultLog{}
	s := &service{t: t, now: func() time.Time { return at }, log: log, env: map[string]string{
		"DATABASE_URL": dbtest.DSN(t), "RIPETIDE_DATA": t.TempDir(), "RIPETIDE_ADDR": "127.0.0.1:0", "RIPETIDE_DAILY": "off", "RIPETIDE_RATE": "off",
	}}
	s.key = strings.TrimSpace(s.command("key", "new", "--role", "owner", "--name", "test"))
	s.start()
	_, body := s.plain("GET", "/openapi.json", "", nil)
	doc, err := openapi3.NewLoader().LoadFromData(body)
	if err != nil {
		t.Fatal(err)
	}
	var operations []operation
	for path, item := range doc.Paths.Map() {
		for method := range item.Operations() {
			operations = append(operations, operation{path, method, item})
		}
	}
	slices.SortFunc(operations, func(a, b operation) int { return strings.Compare(a.path+a.method, b.path+b.method) })
	s.hostFarm()
	return s, operations, log
}

// FuzzBodies sends bodies to every operation that takes one, on a real database.
// Whatever is sent, it is answered, and never as a fault of ours.
func FuzzBodies(f *testing.F) {
	unwatched(f) // TestHostileRequests sends the like.
	s, all, log := hostileService(f)
	operations := slices.DeleteFunc(all, func(o operation) bool { return o.item.GetOperation(o.method).RequestBody == nil })
	c := chance{Rand: rand.New(rand.NewPCG(1, 1)), tame: true} //nolint:gosec // No secret.
	paths := make([]string, len(operations))
	for i, o := range operations {
		for n := range 6 {
			a := c.attempt(o.path, o.item, o.method)
			paths[i], _, _ = strings.Cut(a.path, "?")
			f.Add(uint8(i), n == 5, a.body)
		}
	}
	f.Fuzz(func(t *testing.T, n uint8, text bool, body string) {
		i := int(n) % len(operations)
		o := operations[i]
		kinds := slices.Sorted(maps.Keys(o.item.GetOperation(o.method).RequestBody.Value.Content))
		kind := kinds[0] // JSON.
		if text {
			kind = kinds[len(kinds)-1]
		}
		if status, answer := s.attempt(attempt{o.method, paths[i], kind, body}); status == 0 || status >= 500 {
			t.Errorf("%s %s (%s): %d\n%.2000q\nwas answered\n%s\n%s", o.method, paths[i], kind, status, body, answer, log.text())
		}
	})
}

// TestHostileRequests sends requests that are made by chance from the document, by
// four clients at once. Whatever is sent, it is answered, and never as a fault of
// ours.
//
//	go test ./cmd/ripetide -run Hostile -hostile 100000 -timeout 3h -v
func TestHostileRequests(t *testing.T) {
	t.Parallel()
	seed := *hostileSeed
	if seed == 0 {
		seed = uint64(time.Now().UnixNano())
	}
	t.Logf("-hostile-seed %d", seed)
	s, operations, log := hostileService(t)
	statuses := map[int]int{}
	answered := map[string]bool{} // Operations that were answered with 2xx.
	var mu sync.Mutex
	const clients = 4
	for done := 0; done < *hostile && !t.Failed(); {
		n := min(1000, *hostile-done)
		var wg sync.WaitGroup
		for client := range clients {
			wg.Go(func() {
				c := chance{Rand: rand.New(rand.NewPCG(seed, uint64(done*clients+client)))} //nolint:gosec // No secret.
				for range (n + clients - 1) / clients {
					o := pick(c, operations)
					c.tame = c.one(2)
					a := c.attempt(o.path, o.item, o.method)
					status, answer := s.attempt(a)
					mu.Lock()
					statuses[status]++
					if status < 300 {
						answered[o.method+o.path] = true
					}
					mu.Unlock()
					if status == 0 || status >= 500 {
						t.Errorf("%s %s (%s): %d\n%.2000s\nwas answered\n%s\n%s", a.method, a.path, a.kind, status, a.body, answer, log.text())
					}
				}
			})
		}
		wg.Wait()
		done += n
		s.hostFarm() // What was removed or spoilt is put back.
	}
	t.Logf("%d requests, by status %v; %d of %d operations were answered with 2xx", *hostile, statuses, len(answered), len(operations))
	if *hostile >= 3000 && len(answered) < len(operations)*6/10 {
		t.Error("so few were good that little was tried")
	}
}

// faultLog keeps the lines of a log that tell of faults.
type faultLog struct {
	mu    sync.Mutex
	lines []string
}

func (l *faultLog) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if strings.Contains(string(b), "level=ERROR") {
		l.lines = append(l.lines, string(b))
	}
	return len(b), nil
}

func (l *faultLog) text() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.lines, "")
}

// attempt sends a request; status 0 is no answer.
func (s *service) attempt(a attempt) (status int, answer string) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute) // Inside a fuzz test its own context may not be asked for.
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, a.method, s.base+a.path, strings.NewReader(a.body))
	if err != nil {
		return 400, err.Error() // Go's own client does not send it.
	}
	req.Header.Set("Authorization", "Bearer "+s.key)
	if a.kind != "" && !strings.ContainsFunc(a.kind, func(r rune) bool { return r < ' ' || r == 127 }) {
		req.Header.Set("Content-Type", a.kind)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0, err.Error()
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		return 0, err.Error()
	}
	if res.StatusCode == http.StatusRequestHeaderFieldsTooLarge { // By Go's server, before it is ours.
		return res.StatusCode, ""
	}
	if res.StatusCode >= 400 && !strings.HasPrefix(res.Header.Get("Content-Type"), "application/problem+json") {
		return 599, "no problem+json: " + res.Header.Get("Content-Type") + " " + string(text)
	}
	return res.StatusCode, string(text)
}

// hostFarm puts a farm of two plantings that can be forecast, or puts it back.
func (s *service) hostFarm() {
	s.t.Helper()
	for _, x := range [][3]string{
		{"PUT", "", `{"name":"F","latitude":42.3,"longitude":-83.7,"time_zone":"America/Detroit","units":"metric"}`},
		{"PUT", "/stations/s", `{"name":"S","latitude":42.3,"longitude":-83.7,"elevation_m":40,"stand_in":null}`},
		{"PUT", "/varieties/v", `{"name":"V","ripens":"mid"}`},
		{"PUT", "/plantings/p", `{"variety":"v","block":"B","station":"s","planted_on":"2012-06-01","area_m2":100}`},
		{"PUT", "/plantings/q", `{"variety":"v","block":"B","station":"s","planted_on":"2012-06-01","area_m2":200}`},
		{"POST", "/sightings", `{"sightings":[{"planting":"p","date":"2018-05-12","stage":"bloom_10","seen":true}]}`},
	} {
		if res, body := s.plain(x[0], "/v1/farms/f"+x[1], "application/json", []byte(x[2])); res.StatusCode >= 500 {
			s.t.Fatalf("%s %s: %s %s", x[0], x[1], res.Status, body)
		}
	}
	if res, body := s.plain("POST", daysPath, "text/csv", []byte(annArbor(s.t, 2009, 2017))); res.StatusCode >= 500 {
		s.t.Fatalf("days: %s %s", res.Status, body)
	}
}
