package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripetide/testdata"
	"ripetide/weather"
)

// What moved, and why a date is what it is, through HTTP and by the command, on
// a real PostgreSQL.
func TestExplanation(t *testing.T) {
	t.Parallel()
	s := newService(t)
	d := s.setUp()
	record, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	const days = "/v1/farms/fen/stations/ann-arbor/days"
	s.call(200, "POST", days, "text/csv", csvOf(record.Days()))
	const forecasts = "/v1/farms/fen/forecasts"
	before := s.json(201, "POST", forecasts+"?as_of="+(d.AsOf-4).String(), "")
	f := s.json(201, "POST", forecasts+"?as_of="+d.AsOf.String(), "")
	at := func(planting string) string { return forecasts + "/" + f["id"].(string) + "/plantings/" + planting }

	const name = "tamsin-red-long-rows"
	x := s.json(200, "GET", at(name), "")
	if x["reproduced"] != true || x["planting"] != name || x["forecast"].(map[string]any)["id"] != f["id"] {
		t.Errorf("%v explains %v of %v", x["reproduced"], x["planting"], x["forecast"])
	}
	moves := 0
	for _, p := range f["plantings"].([]any) {
		p := p.(map[string]any)
		m, ok := p["moved"].(map[string]any)
		if !ok {
			t.Errorf("%v has not moved", p["planting"])
			continue
		}
		sum := 0.0
		for _, c := range m["because"].([]any) {
			moves++
			sum += c.(map[string]any)["days"].(float64)
		}
		if m["forecast"] != before["id"] || m["since"] != (d.AsOf-4).String() || math.Abs(sum-m["days"].(float64)) > 1e-9 {
			t.Errorf("%v moved by %v since %v", p["planting"], m, before["id"])
		}
		if p["planting"] == name && fmt.Sprint(x["moved"]) != fmt.Sprint(m) {
			t.Errorf("explained as %v, issued as %v", x["moved"], m)
		}
	}
	if moves == 0 {
		t.Error("nothing moved in four days")
	}
	for _, p := range before["plantings"].([]any) {
		if m := p.(map[string]any)["moved"]; m != nil {
			t.Errorf("the first forecast moved: %v", m)
		}
	}

	// The story as a picture.
	for ending, begin := range map[string]string{".svg": "<svg", ".png": "\x89PNG", ".svg?width=360&theme=dark": "<svg", ".png?width=360": "\x89PNG"} {
		if b := s.call(200, "GET", at(name+ending), "", ""); !bytes.HasPrefix(b, []byte(begin)) {
			t.Errorf("%s begins with %.20q", ending, b)
		}
	}
	svg := string(s.call(200, "GET", at(name+".svg"), "", ""))
	for _, want := range []string{"Tamsin Red, Long Rows", "HINDCAST", "°F·d", "walk the field", "first ripe seen Sun"} {
		if !strings.Contains(strings.ReplaceAll(svg, "\u00a0", " "), want) {
			t.Errorf("the story does not say %q", want)
		}
	}

	// A record that comes later changes neither.
	explained := s.call(200, "GET", at(name), "", "")
	s.call(200, "POST", days, "text/csv", csvOf([]weather.Day{{Date: d.AsOf - 3, Min: 30, Max: 40}, {Date: d.AsOf - 9, Min: 30, Max: 40}}))
	if again := s.call(200, "GET", at(name), "", ""); !bytes.Equal(again, explained) {
		t.Errorf("a later correction changed the explanation:\n%s\n%s", explained, again)
	}
	// It moves the next forecast.
	after := s.json(200, "POST", forecasts+"?freeze=false&as_of="+(d.AsOf+1).String(), "")
	if m := fmt.Sprint(after["plantings"]); !strings.Contains(m, "cause:observed weather") || !strings.Contains(m, fmt.Sprint("forecast:", f["id"])) {
		t.Errorf("after a correction: %s", m)
	}

	// The latest one is of today; nothing has bloomed on record, so there is no
	// story yet.
	s.json(404, "GET", forecasts+"/latest/plantings/"+name, "")
	today := s.json(201, "POST", forecasts, "")
	latest := s.json(200, "GET", forecasts+"/latest/plantings/"+name, "")
	if latest["forecast"].(map[string]any)["id"] != today["id"] || latest["degree_days_since_bloom"] != nil || latest["reproduced"] != true {
		t.Errorf("the latest is %v with %v", latest["forecast"], latest["degree_days_since_bloom"])
	}
	if p := s.json(409, "GET", forecasts+"/latest/plantings/"+name+".svg", ""); p["type"] != "/problems/no-story" {
		t.Errorf("%v", p)
	}

	for _, tt := range []struct {
		path   string
		status int
		kind   string
	}{
		{at("nothing"), 404, "/problems/planting-not-found"},
		{at("nothing.svg"), 404, "/problems/planting-not-found"},
		{forecasts + "/none/plantings/" + name, 404, "/problems/forecast-not-found"},
		{"/v1/farms/none/forecasts/latest/plantings/" + name, 404, "/problems/farm-not-found"},
		{at(name + ".pdf"), 422, "/problems/invalid-body"},
		{at(name+".svg") + "?width=10", 422, "/problems/invalid-body"},
	} {
		if p := s.json(tt.status, "GET", tt.path, ""); p["type"] != tt.kind {
			t.Errorf("%s: %v", tt.path, p)
		}
	}

	s.explainCommand(name, d.AsOf, f["id"].(string))

	// A reader may read, one of another farm sees nothing.
	s.json(201, "PUT", "/v1/farms/other", `{"name":"O","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	owner := s.key
	for farm, status := range map[string]int{"fen": http.StatusOK, "other": http.StatusNotFound} {
		s.key = owner
		s.key = strings.TrimSpace(s.command("key", "new", "--role", "reader", "--name", "x", "--farm", farm))
		s.call(status, "GET", at(name), "", "")
		s.call(status, "GET", at(name+".svg"), "", "")
	}
	s.key = ""
	s.call(http.StatusUnauthorized, "GET", at(name), "", "")
}

func (s *service) explainCommand(name string, asOf weather.Date, id string) {
	t := s.t
	t.Helper()
	chart := filepath.Join(t.TempDir(), "story.svg")
	out := s.command("explain", name, "--as-of", asOf.String(), "--days", "--chart", chart)
	for _, want := range []string{
		"Tamsin Red, Long Rows: hindcast of season 2018, as of the morning of Mon Jun 11, 2018",
		"First ripe fruit was seen on Sun Jun 10.", "(8 in 10: ", "walk the field",
		"The peak has moved since the forecast of Thu Jun 7:", "by what was seen in the field", "°F·d FROM BLOOM TO", "Usual for its class, mid", "Of this planting itself",
		"Sat May 19", "observed", "past years", id, "same to the last byte",
	} {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("explain does not say %q:\n%s", want, out)
		}
	}
	s.tableAddsUp(out)
	if b, err := os.ReadFile(chart); err != nil || !bytes.HasPrefix(b, []byte("<svg")) {
		t.Errorf("chart: %v, %.20q", err, b)
	}
	// Of a morning for which none was frozen it is worked out.
	if out := s.command("explain", name, "--as-of", (asOf - 1).String()); !strings.Contains(out, "not frozen") || strings.Contains(out, "KNOWN BY") {
		t.Errorf("explain of a morning without a forecast:\n%s", out)
	}
	// Without a morning it is the latest one that was frozen.
	if out := s.command("explain", name); !strings.Contains(strings.Join(strings.Fields(out), " "), "This explains the forecast") {
		t.Errorf("explain of the latest forecast:\n%s", out)
	}
	for _, tt := range []struct {
		args []string
		says string
	}{
		{[]string{"nothing", "--as-of", asOf.String()}, name},
		{[]string{name, "--as-of", "June"}, "--as-of"},
		{[]string{name, "--chart", "story.pdf"}, ".svg or .png"},
		{[]string{name, "--chart", chart}, "bloom"},
		{[]string{name, "--farm", "none"}, "no such farm"},
	} {
		err := run(t.Context(), s.world(io.Discard), append([]string{"explain"}, tt.args...))
		if err == nil || !strings.Contains(plain(err), tt.says) {
			t.Errorf("explain %v: %v, want it to say %q", tt.args, err, tt.says)
		}
	}
}

// tableAddsUp adds up the printed table of requirements.
func (s *service) tableAddsUp(out string) {
	s.t.Helper()
	var sum []int
	for line := range strings.Lines(out) {
		var cells []int
		for f := range strings.SplitSeq(strings.TrimSpace(line), "  ") {
			var n int
			if _, err := fmt.Sscanf(strings.TrimSpace(f), "%d", &n); err == nil {
				cells = append(cells, n)
			}
		}
		switch {
		case len(cells) != 3:
		case strings.HasPrefix(line, "Usual for its class"):
			sum = cells
		case strings.HasPrefix(line, "+"):
			for i, n := range cells {
				sum[i] += n
			}
		case strings.HasPrefix(line, "Now"):
			if fmt.Sprint(sum) != fmt.Sprint(cells) {
				s.t.Errorf("the table adds up to %v and says %v:\n%s", sum, cells, out)
			}
			return
		}
	}
	s.t.Errorf("no table in\n%s", out)
}
