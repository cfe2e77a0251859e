package main

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"
)

var madeAt = regexp.MustCompile(`"made_at":"[^"]*"`)

// TestWhatIsProposedIsAcceptedByName: four seasons in which a planting gave more
// than was expected of it. While the fruit of the fifth is on its way nothing
// is changed; in winter it is, from the next forecast on, and taken back.
func TestWhatIsProposedIsAcceptedByName(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	s := newDemoServiceAt(t, clock.now)
	s.json(201, "PUT", "/v1/farms/elsewhere", `{"name":"Elsewhere","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	const farm, planting = "/v1/farms/lanternfen", "wrenlight-sandbar"
	was := s.json(200, "GET", farm+"/plantings/"+planting, "")
	area, expected := was["area_m2"].(float64), was["expected_kg_per_m2"].(float64)
	var pickings []string
	for year, more := range map[int]float64{2014: 1.5, 2015: 1.5, 2016: 1.6, 2017: 1.4} {
		for i, share := range []float64{0.04, 0.46, 0.3, 0.2} {
			pickings = append(pickings, fmt.Sprintf(`{"planting":%q,"date":"%d-06-%02d","kg":%.3f,"left":"none"}`, planting, year, 10+2*i, area*expected*more*share))
		}
	}
	s.json(200, "POST", farm+"/pickings", `{"pickings":[`+strings.Join(pickings, ",")+`]}`)
	list := s.json(200, "GET", farm+"/proposals", "")
	open := list["open"].([]any)
	if len(open) != 1 || list["season_runs"] != true || list["from_season"] != 2019.0 {
		t.Fatalf("proposed: %v", list)
	}
	p := open[0].(map[string]any)
	id, text := p["id"].(string), p["text"].(string)
	if p["kind"] != "yield" || p["subject"] != planting || p["seasons"] != 4.0 || !strings.Contains(text, "the mean of 4 seasons that were picked to the end") {
		t.Errorf("proposed: %v", p)
	}
	if fault := s.json(409, "PUT", farm+"/proposals/"+id, `{"accept":true}`); fault["type"] != "/problems/season-runs" {
		t.Errorf("in June: %v", fault)
	}

	// Declined it may be all the same, and that be taken back.
	s.json(201, "PUT", farm+"/proposals/"+id, `{"accept":false}`)
	s.call(204, "DELETE", farm+"/proposals/"+id, "", "")

	clock.set(time.Date(2018, 12, 1, 9, 0, 0, 0, time.UTC))
	known := clock.now().UTC().Format(time.RFC3339)
	then := farm + "/forecasts?as_of=2018-06-11&freeze=false&known_at=" + url.QueryEscape(known)
	before := madeAt.ReplaceAllString(string(s.call(200, "POST", then, "", "")), "")
	clock.set(time.Date(2018, 12, 1, 10, 0, 0, 0, time.UTC))

	people := s.people()
	if _, body := people["reader"].send("GET", "/f/lanternfen/proposals", ""); !strings.Contains(body, "Yield of Wrenlight") || strings.Contains(body, ">Accept<") {
		t.Errorf("a reader sees\n%s", body)
	}
	for name, who := range people {
		if name == "reader" || name == "grower" {
			if res, _ := who.send("POST", "/f/lanternfen/proposals", url.Values{"proposal": {id}, "do": {"accept"}}.Encode()); res.StatusCode != http.StatusForbidden {
				t.Errorf("%s may accept: %s", name, res.Status)
			}
		}
	}
	if res, body := people["owner"].send("POST", "/f/lanternfen/proposals", url.Values{"proposal": {id}, "do": {"accept"}, "reason": {"four good years"}}.Encode()); res.StatusCode != http.StatusSeeOther {
		t.Fatalf("accepting: %s\n%s", res.Status, body)
	}
	if now := s.json(200, "GET", farm+"/plantings/"+planting, "")["expected_kg_per_m2"].(float64); !(now > 1.4*expected && now < 1.6*expected) {
		t.Errorf("accepted, %g kg/m² are expected, and were %g", now, expected)
	}
	if after := madeAt.ReplaceAllString(string(s.call(200, "POST", then, "", "")), ""); after != before {
		t.Error("what was known before is forecast otherwise now")
	}
	if after := madeAt.ReplaceAllString(string(s.call(200, "POST", farm+"/forecasts?as_of=2018-06-11&freeze=false", "", "")), ""); after == before {
		t.Error("the next forecast does not use it")
	}
	list = s.json(200, "GET", farm+"/proposals", "")
	if got := listed(list, "decisions"); len(list["open"].([]any)) != 0 || !strings.Contains(got, "(owner) counts:true") || !strings.Contains(got, "Accepted for 2019 and later.") || !strings.Contains(got, "reason:four good years state:accepted") {
		t.Errorf("what was decided: %v", list)
	}
	if fault := s.json(404, "PUT", farm+"/proposals/"+id, `{"accept":false}`); fault["type"] != "/problems/proposal-not-found" {
		t.Errorf("accepted, it is declined: %v", fault)
	}
	s.call(204, "DELETE", farm+"/proposals/"+id, "", "")
	s.call(404, "DELETE", farm+"/proposals/"+id, "", "")
	if now := s.json(200, "GET", farm+"/plantings/"+planting, "")["expected_kg_per_m2"].(float64); now != expected {
		t.Errorf("taken back, %g kg/m² are expected, and were %g", now, expected)
	}
	// Declined, it is not proposed any more.
	s.json(200, "PUT", farm+"/proposals/"+id, `{"accept":false,"reason":"new plants"}`)
	if open := s.json(200, "GET", farm+"/proposals", "")["open"].([]any); len(open) != 0 {
		t.Errorf("declined, and proposed again: %v", open)
	}
	kept := s.json(200, "GET", farm+"/proposals", "")["kept"].([]any)
	if len(kept) == 0 || !strings.Contains(fmt.Sprint(kept), "on 11 past seasons") {
		t.Errorf("kept: %v", kept)
	}
}
