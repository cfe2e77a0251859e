package main

import (
	"fmt"
	"net/url"
	"strings"
	"testing"
)

func TestWhoChangedWhat(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	s.json(201, "PUT", "/v1/farms/other", `{"name":"Other","latitude":-41,"longitude":175,"time_zone":"Pacific/Auckland","units":"metric"}`)
	ann := *s
	ann.key = strings.TrimSpace(s.command("key", "new", "--role", "grower", "--name", "Ann", "--farm", "f"))
	id := strings.TrimPrefix(ann.key, "ripetide-")[:8]
	s.json(200, "PUT", "/v1/farms/f/plantings/p", `{"variety":"v","block":"B","station":"s","planted_on":"2020-06-01","area_m2":250}`)
	ann.json(200, "POST", pickingsPath, `{"pickings":[{"planting":"p","date":"2024-12-12","kg":90.5}]}`)
	ann.json(200, "POST", pickingsPath, `{"pickings":[{"planting":"p","date":"2024-12-12","kg":80,"note":"scale\tread again"}]}`)
	ann.call(200, "POST", daysPath, "text/csv", "date,min_c,max_c\n2024-01-01,10,20\n2024-01-02,11,21\n")
	told := func(query string) (out []string) {
		t.Helper()
		for _, x := range s.json(200, "GET", "/v1/farms/f/changes"+query, "")["changes"].([]any) {
			c := x.(map[string]any)
			var fields []string
			for _, f := range c["fields"].([]any) {
				f := f.(map[string]any)
				fields = append(fields, fmt.Sprintf("%s %s>%s", f["name"], f["was"], f["is"]))
			}
			out = append(out, fmt.Sprintf("%v %v %s", c["what"], c["which"], strings.Join(fields, ", ")))
		}
		return out
	}
	all := told("")
	want := []string{
		"days s corrected >0, days >2, first >2024-01-01, last >2024-01-02",
		"picking p 2024-12-12 kg 90.5>80, note >scale read again",
		"picking p 2024-12-12 closed >false, day >2024-12-12, kg >90.5, planting >p, source >all, withdrawn >false",
		"planting p area_m2 100>250",
	}
	for i, w := range want {
		if i >= len(all) || all[i] != w {
			t.Errorf("change %d is not %q: %q", i, w, all)
			break
		}
	}
	if first := all[len(all)-1]; !strings.HasPrefix(first, "farm f ") {
		t.Errorf("the first is %q", first)
	}
	by := "key " + id + " (Ann)"
	if got := told("?what=picking&by=" + url.QueryEscape(by)); len(got) != 2 {
		t.Errorf("Ann's pickings are %q", got)
	}
	// Page by page it is the same.
	var paged []string
	for before := ""; ; {
		page := s.json(200, "GET", "/v1/farms/f/changes?limit=3"+before, "")
		for range page["changes"].([]any) {
			paged = append(paged, "x")
		}
		next, more := page["before"].(string)
		if !more {
			break
		}
		before = "&before=" + next
	}
	if len(paged) != len(all) {
		t.Errorf("%d changes by pages and %d at once", len(paged), len(all))
	}
	if strings.Contains(fmt.Sprint(all), "Other") {
		t.Error("another farm's changes are told")
	}
	ann.json(403, "GET", "/v1/farms/f/changes", "")
	s.json(422, "GET", "/v1/farms/f/changes?before=bm9uc2Vuc2U", "")
	s.json(404, "GET", "/v1/farms/nowhere/changes", "")

	v := newVisitor(t, s.base)
	v.signIn(s.key)
	const page = "/f/f/people/changes"
	pageSays(t, "Who changed what", v.page(page), "Ann (key "+id+")", "kg 90.5 → 80; note none → scale read again", "area m2 100 → 250", "days 2")
	ours := v.page(page + "?what=picking&by=" + url.QueryEscape(by))
	pageSays(t, "Ann's pickings", ours, "Only of the kind “picking” by Ann (key "+id+").", "kg 90.5 → 80")
	if strings.Contains(ours, "area m2") {
		t.Error("a planting is told as a picking")
	}

	out := s.command("changes", "--farm", "f", "--by", by)
	if lines := strings.Split(strings.TrimSpace(out), "\n"); len(lines) != 2 || !strings.HasSuffix(lines[0], by+"  picking p 2024-12-12: kg 90.5 → 80, note none → scale read again") {
		t.Errorf("the command says\n%s", out)
	}
	if out := s.command("changes", "--farm", "f", "--since", "2399-01-01"); out != "" {
		t.Errorf("after today there is %q", out)
	}
}
