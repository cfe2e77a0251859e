package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

const demoDesigns = "/v1/farms/lanternfen/designs"

// A reader tries the planting list; nothing is kept, and the same question has
// the same answer.
func TestAPlantingListIsTried(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	s.key = strings.TrimSpace(s.command("key", "new", "--role", "reader", "--name", "x", "--farm", "lanternfen"))
	same := s.json(200, "POST", demoDesigns, `{"season":2019,"changes":[]}`)
	if same["season"].(float64) != 2019 || len(same["years"].([]any)) < 40 || same["members"].(float64) < 1000 {
		t.Errorf("season %v, %v members of years %v", same["season"], same["members"], same["years"])
	}
	if fmt.Sprint(same["before"]) != fmt.Sprint(same["after"]) {
		t.Error("nothing was changed, and before and after differ")
	}
	listOf := func(name string) string { return listed(s.json(200, "GET", "/v1/farms/lanternfen/"+name, ""), name) }
	if n, varieties := len(same["ranking"].([]any)), len(strings.Split(listOf("varieties"), "\n")); n != 6+varieties {
		t.Errorf("%d are ranked, of 6 classes and %d varieties", n, varieties)
	}
	standing := listOf("plantings")
	const change = `{"season":2019,"changes":[{"drop":"bridgewell-windbreak"},{"resize":{"planting":"firstbell-sandbar","area_m2":5000}},
		{"shift":{"planting":"plowmoon-creekside","by":"late_straw"}},{"add":{"ripens":"very_late","area_m2":1000,"block":"New ground"}}]}`
	with := s.json(200, "POST", demoDesigns, change)
	if fmt.Sprint(with["before"]) != fmt.Sprint(same["before"]) {
		t.Error("what is tried changes the list as it stands")
	}
	if fmt.Sprint(with["before"]) == fmt.Sprint(with["after"]) {
		t.Error("the changes change nothing")
	}
	for _, p := range with["plantings"].([]any) {
		p := p.(map[string]any)
		moved := fmt.Sprint(p["before"]) != fmt.Sprint(p["after"])
		switch id := p["planting"]; id {
		case nil:
			if p["before"] != nil || p["first_bears"].(float64) != 2019 || p["rests_on"] != "class" || p["name"] != "any very late variety" {
				t.Errorf("what is added: %v", p)
			}
		case "bridgewell-windbreak":
			if p["after"] != nil || p["after_m2"].(float64) != 0 {
				t.Errorf("what is dropped: %v", p)
			}
		case "plowmoon-creekside":
			if d := p["shift_days"].(float64); !moved || !(d > 0.5 && d < 3) || p["shifted_by"] != "late_straw" {
				t.Errorf("what is shifted: %v", p)
			}
		default:
			if moved || p["rests_on"] != "own_records" && p["rests_on"] != "class" {
				t.Errorf("%v is not changed, and its dates are", id)
			}
		}
	}
	if text := fmt.Sprint(with["text"]); !strings.Contains(text, "As the list stands") || !strings.Contains(text, "With the changes") {
		t.Errorf("text %s", text)
	}
	if c := fmt.Sprint(with["cautions"]); !strings.Contains(c, "guesses") || !strings.Contains(c, "Purdue") || !strings.Contains(c, "in the ground by 2018") {
		t.Errorf("cautions %s", c)
	}
	if again := s.json(200, "POST", demoDesigns, change); fmt.Sprint(again) != fmt.Sprint(with) {
		t.Error("the same question has another answer")
	}
	if listOf("plantings") != standing {
		t.Error("trying has changed the list")
	}
	// Without a season it is the one in which plants ordered today, in June, bear
	// first.
	if d := s.json(200, "POST", demoDesigns, `{"changes":[]}`); d["season"].(float64) != 2019 {
		t.Errorf("season %v", d["season"])
	}
}

// Faults name the change and its member.
func TestFaultyDesignsAreRefused(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	for body, want := range map[string][]string{
		`{"changes":[{"drop":"nowhere"},{}]}`:                                                          {"/changes/0/drop is no planting of the farm", "/changes/1 must be one of"},
		`{"changes":[{"resize":{"planting":"firstbell-sandbar","area_m2":-1}}]}`:                       {"/changes/0/resize/area_m2 must be between"},
		`{"changes":[{"shift":{"planting":"firstbell-sandbar","by":"row_cover","days":30}}]}`:          {"/changes/0/shift/days must be between"},
		`{"changes":[{"shift":{"planting":"firstbell-sandbar","by":"prayer"}}]}`:                       {"/changes/0/shift/by must be one of"},
		`{"changes":[{"add":{"variety":"nothing","area_m2":10},"drop":"firstbell-sandbar"}]}`:          {"/changes/0 must be one of"},
		`{"changes":[{"add":{"variety":"nothing","area_m2":10}}]}`:                                     {"/changes/0/add/variety is no variety of the farm"},
		`{"season":2012,"changes":[]}`:                                                                 {"/season must be from 2018 to 2023"},
		`{"changes":[{"add":{"ripens":"late","variety":"plowmoon","area_m2":1,"station":"nowhere"}}]}`: {"/changes/0/add needs either", "/changes/0/add/station is no station of the farm"},
	} {
		got := said(t, s.call(422, "POST", demoDesigns, "application/json", body))
		if len(got) != len(want) || slices.ContainsFunc(want, func(w string) bool {
			return !slices.ContainsFunc(got, func(g string) bool { return strings.HasPrefix(strings.Replace(g, ":", "", 1), w) })
		}) {
			t.Errorf("%s: %q, want %q", body, got, want)
		}
	}
	s.key = strings.TrimSpace(s.command("key", "new", "--role", "reader", "--name", "y", "--farm", "lanternfen"))
	s.call(404, "POST", "/v1/farms/elsewhere/designs", "application/json", `{"changes":[]}`)
}
