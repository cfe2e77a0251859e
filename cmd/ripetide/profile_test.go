package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/testdata"
)

// The profile of the method through HTTP and by the command, on a real
// PostgreSQL: what is proposed is accepted by hand and never by itself.
func TestProfile(t *testing.T) {
	t.Parallel()
	s := newService(t)
	d := s.setUp()
	record, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	s.call(200, "POST", "/v1/farms/fen/stations/ann-arbor/days", "text/csv", csvOf(record.Days()))
	const method, path = "/v1/farms/fen/method", "/v1/farms/fen/method/profile"
	asOf := "as_of=" + d.AsOf.String()

	// What is answered is what the core works out.
	in, err := d.Inputs()
	if err != nil {
		t.Fatal(err)
	}
	want, err := forecast.Profile(in, d.AsOf, forecast.ProfileOptions{})
	if err != nil {
		t.Fatal(err)
	}
	p := s.json(200, "GET", path+"?"+asOf, "")
	if p["farm"] != "fen" || p["as_of"] != d.AsOf.String() || p["scored"] != "leave-one-season-out" || len(p["seasons"].([]any)) != len(want.Seasons) ||
		p["dates"] != float64(want.Cases) || p["finding"] != want.Finding || p["basis"] != want.Basis || p["proposed"] != nil || p["accept"] != nil {
		t.Errorf("%.2000v", p)
	}
	for i, c := range p["curves"].([]any) {
		points := c.(map[string]any)["points"].([]any)
		if len(points) != len(want.Curves[i].Points) {
			t.Fatalf("curve %d has %d points", i, len(points))
		}
		for j, q := range points {
			q, w := q.(map[string]any), want.Curves[i].Points[j]
			r := q["gain_range"].(map[string]any)
			if q["degree_days"] != string(w.Method.Kind) || q["base_c"] != w.Method.Base || q["upper_c"] != 30.0 || q["cutoff"] != "horizontal" ||
				!closeTo(q["rmse_days"], w.RMSE) || !closeTo(q["mae_days"], w.MAE) || !closeTo(q["bias_days"], w.Bias) || !closeTo(q["gain_days"], w.Gain) ||
				!closeTo(r["low"], w.GainRange.Low) || !closeTo(r["high"], w.GainRange.High) || len(q["by_season"].([]any)) != len(want.Seasons) {
				t.Errorf("%.500v, want %+v", q, w)
			}
		}
	}
	zone, err := in.Farm.Location()
	if err != nil {
		t.Fatal(err)
	}
	before := time.Now().In(zone).Format(time.DateOnly)
	if got, after := s.json(200, "GET", path, "")["as_of"], time.Now().In(zone).Format(time.DateOnly); got != before && got != after {
		t.Errorf("by default as of %v, not the farm's today, %s", got, after)
	}

	// The pictures.
	for ending, begin := range map[string]string{".svg?width=360&theme=dark&": "<svg", ".png?": "\x89PNG"} {
		if b := s.call(200, "GET", path+ending+asOf, "", ""); !bytes.HasPrefix(b, []byte(begin)) {
			t.Errorf("%s begins with %.20q", ending, b)
		}
	}
	svg := string(s.call(200, "GET", path+".svg?"+asOf, "", ""))
	for _, want := range []string{"Base temperature, Fen", "Nothing is proposed", "Leave-one-season-out", "base in use, 37.4 °F", "double sine", "9 times in 10"} {
		if !strings.Contains(strings.ReplaceAll(svg, "\u00a0", " "), want) {
			t.Errorf("the picture does not say %q", want)
		}
	}
	out := s.profileCommand("--as-of", d.AsOf.String())
	for _, want := range []string{
		"Fen, as of the morning of Mon Jun 11 2018. In use: single sine, 3 to 30 °C horizontal (37.4 to 86 °F).",
		"BASE SINGLE SINE GAIN AVERAGE DOUBLE SINE", "37.4 °F 2.24 in use 0.00 (0.00 to 0.00) ", want.Finding, want.Basis, "Nothing was changed.",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("the command does not say %q:\n%s", want, out)
		}
	}

	s.acceptProposal(method, path+"?"+asOf, "--as-of", d.AsOf.String())
	s.profileFaults(path, d.AsOf.String())
}

// closeTo holds a rounded figure against the one it was rounded from.
func closeTo(got any, want float64) bool {
	x, ok := got.(float64)
	return ok && math.Abs(x-want) <= 0.0005+1e-9
}

// profileCommand returns what "method profile" prints, each run of spaces one
// space.
func (s *service) profileCommand(args ...string) string {
	s.t.Helper()
	return strings.Join(strings.Fields(s.command(append([]string{"method", "profile"}, args...)...)), " ")
}

// acceptProposal puts a method that is far off, and goes over to what is
// proposed in its place.
func (s *service) acceptProposal(method, profile string, args ...string) {
	t := s.t
	t.Helper()
	s.json(201, "PUT", method, `{"degree_days":"average","base_c":12,"cutoff":"none"}`)
	p := s.json(200, "GET", profile, "")
	best, ok := p["proposed"].(map[string]any)
	if !ok {
		t.Fatalf("nothing is proposed in place of a base of 12 °C: %v", p["finding"])
	}
	if r := best["gain_range"].(map[string]any); best["gain_days"].(float64) < 0.1 || r["low"].(float64) <= 0 || !strings.HasPrefix(p["finding"].(string), "Proposed: ") {
		t.Errorf("proposed: %.500v", best)
	}
	chart := filepath.Join(t.TempDir(), "profile.svg")
	out := s.profileCommand(append(args, "--chart", chart)...)
	for _, want := range []string{
		"Nothing changes until somebody accepts it", "PUT /v1/farms/fen/method", " proposed ", " in use ", p["finding"].(string),
		fmt.Sprintf(`ripetide method use --farm fen --degree-days %q --base=%v --by NAME --reason "`, best["degree_days"], best["base_c"]),
	} {
		if !strings.Contains(out, want) {
			t.Errorf("the command does not say %q:\n%s", want, out)
		}
	}
	if b, err := os.ReadFile(chart); err != nil || !bytes.HasPrefix(b, []byte("<svg")) || !bytes.Contains(b, []byte("proposed")) {
		t.Errorf("chart: %v, %.20q", err, b)
	}
	if m := s.json(200, "GET", method, ""); m["base_c"] != 12.0 || len(m["history"].([]any)) != 1 {
		t.Errorf("a profile changed the method: %v", m)
	}
	body, err := json.Marshal(p["accept"])
	if err != nil {
		t.Fatal(err)
	}
	m := s.json(200, "PUT", method, string(body))
	for _, field := range []string{"degree_days", "base_c", "upper_c", "cutoff"} {
		if m[field] != best[field] {
			t.Errorf("accepted by %s: %s is %v, proposed was %v", body, field, m[field], best[field])
		}
	}
	if r, _ := m["reason"].(string); !strings.Contains(r, "days less error on 10 past seasons") {
		t.Errorf("reason: %q", r)
	}
	if after := s.json(200, "GET", profile, ""); after["proposed"] != nil || after["in_use"].(map[string]any)["rmse_days"] != best["rmse_days"] {
		t.Errorf("once accepted: %v", after["finding"])
	}
}

func (s *service) profileFaults(path, asOf string) {
	t := s.t
	t.Helper()
	// A farm without a past season has a profile that says so, and no picture.
	s.json(201, "PUT", "/v1/farms/other", `{"name":"O","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	const other = "/v1/farms/other/method/profile"
	if p := s.json(200, "GET", other, ""); len(p["curves"].([]any)) != 0 || len(p["seasons"].([]any)) != 0 || !strings.Contains(p["finding"].(string), "0 past seasons are on record") {
		t.Errorf("without a past season: %v", p)
	}
	for _, tt := range []struct {
		path   string
		status int
		kind   string
	}{
		{other + ".svg", 409, "/problems/no-profile"},
		{other + ".png", 409, "/problems/no-profile"},
		{"/v1/farms/none/method/profile", 404, "/problems/farm-not-found"},
		{"/v1/farms/none/method/profile.svg", 404, "/problems/farm-not-found"},
		{path + "?as_of=June", 422, "/problems/invalid-body"},
		{path + "?as_of=1492-10-12", 422, "/problems/invalid-body"},
		{path + "?as_of=2399-01-01", 422, "/problems/as-of-ahead"},
		{path + ".svg?width=10", 422, "/problems/invalid-body"},
		{path + "?base=3", 422, "/problems/invalid-body"},
	} {
		if p := s.json(tt.status, "GET", tt.path, ""); p["type"] != tt.kind {
			t.Errorf("%s: %v", tt.path, p)
		}
	}
	for _, tt := range []struct {
		args []string
		says string
	}{
		{[]string{"--farm", "fen", "--as-of", "June"}, "--as-of"},
		{[]string{"--farm", "fen", "--as-of", "2399-01-01"}, "today"},
		{[]string{"--farm", "fen", "--chart", "profile.pdf"}, ".svg or .png"},
		{[]string{"--farm", "other", "--chart", filepath.Join(t.TempDir(), "a.svg")}, "past season"},
		{[]string{"--farm", "none"}, "no such farm"},
	} {
		err := run(t.Context(), s.world(io.Discard), append([]string{"method", "profile"}, tt.args...))
		if err == nil || !strings.Contains(plain(err), tt.says) {
			t.Errorf("method profile %v: %v, want it to say %q", tt.args, err, tt.says)
		}
	}
	if out := s.profileCommand("--farm", "other"); !strings.Contains(out, "0 past seasons are on record") || strings.Contains(out, "BASE") {
		t.Errorf("without a past season the command prints\n%s", out)
	}

	// A reader may read, one of another farm sees nothing.
	owner := s.key
	for farm, status := range map[string]int{"fen": http.StatusOK, "other": http.StatusNotFound} {
		s.key = owner
		s.key = strings.TrimSpace(s.command("key", "new", "--role", "reader", "--name", "x", "--farm", farm))
		s.call(status, "GET", path+"?as_of="+asOf, "", "")
		s.call(status, "GET", path+".svg?as_of="+asOf, "", "")
	}
	s.key = ""
	s.call(http.StatusUnauthorized, "GET", path, "", "")
}
