package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
)

const openingPath = "/v1/farms/lanternfen/opening"

// Advice is read, a day decided apart from it, and what follows from the
// decision follows: the words for the public, the last days to hand them in, and
// the next forecast.
func TestOpeningIsAdvisedAndDecided(t *testing.T) {
	t.Parallel()
	s := newDemoService(t) // The morning of Mon 11 June 2018.
	farm := s.json(200, "GET", "/v1/farms/lanternfen", "")
	farm["opening"] = map[string]any{
		"ready_kg": 300, "ready_kg_on": map[string]any{"saturday": 450}, "confidence": 0.8, "notice_days": 1, "first_varieties": 2,
		"weekdays": []string{"monday", "wednesday", "saturday", "sunday"},
		"channels": []any{map[string]any{"name": "Sign at the road", "notice_days": 0}, map[string]any{"name": "Weekly paper", "notice_days": 6}},
	}
	farm["holidays"] = []any{
		map[string]any{"name": "Father's Day", "rule": "third Sunday of June"},
		map[string]any{"name": "Midsummer", "rule": "24 June"},
		map[string]any{"name": "Labor Day", "rule": "first Monday of September"},
	}
	delete(farm, "farm")
	put := s.json(200, "PUT", "/v1/farms/lanternfen", jsonOf(t, farm))
	if got := fmt.Sprint(put["holidays"], put["opening"]); !strings.Contains(got, "Weekly paper") || !strings.Contains(got, "saturday:450") || !strings.Contains(got, "third Sunday of June") {
		t.Errorf("the farm came back as %s", got)
	}
	f := s.json(201, "POST", "/v1/farms/lanternfen/forecasts", "")
	o := s.json(200, "GET", openingPath, "")
	advice := o["advice"].(map[string]any)
	opening := advice["opening"].(map[string]any)
	day, ok := opening["day"].(string)
	if !ok || o["forecast"] != f["id"] || opening["probability"].(float64) < 0.8 || advice["notice_days"] != 6.0 {
		t.Fatalf("advice %v of %v", advice, o["forecast"])
	}
	if got := fmt.Sprint(advice["ready"]); !strings.Contains(got, "saturday:450") || !strings.Contains(got, "kg:300") {
		t.Errorf("ready is %s", got)
	}
	if len(o["days"].([]any)) == 0 || fmt.Sprint(o["days"].([]any)[0].(map[string]any)["date"]) < "2018-06-11" {
		t.Errorf("days %v", o["days"])
	}
	var holidays []string
	for _, h := range o["holidays"].([]any) {
		holidays = append(holidays, fmt.Sprint(h.(map[string]any)["name"], " ", h.(map[string]any)["date"]))
	}
	if want := []string{"Father's Day 2018-06-17", "Midsummer 2018-06-24"}; !slices.Equal(holidays, want) {
		t.Errorf("holidays %q, want %q", holidays, want)
	}
	if len(o["why"].([]any)) < 3 || len(o["decisions"].([]any)) != 0 {
		t.Errorf("why %v, decisions %v", o["why"], o["decisions"])
	}

	// Decided otherwise than advised, on the forecast that the farm looked at.
	const decide = "/v1/farms/lanternfen/seasons/2018/decisions/opening"
	d := s.json(201, "PUT", decide, fmt.Sprintf(`{"day":"2018-06-16","forecast":%q,"note":"the school comes"}`, f["id"]))
	if d["version"] != 1.0 || d["day"] != "2018-06-16" || d["note"] != "the school comes" || !strings.Contains(d["decided_by"].(string), "key ") || d["forecast"] != f["id"] {
		t.Errorf("decided %v", d)
	}
	o = s.json(200, "GET", openingPath, "")
	if got := o["public"].(map[string]any)["opening"]; got != "We plan to open on Saturday, June 16." {
		t.Errorf("the public reads %q", got)
	}
	if got := fmt.Sprint(o["channels"]); got != "[map[hand_in_by:2018-06-16 name:Sign at the road notice_days:0] map[hand_in_by:2018-06-10 name:Weekly paper notice_days:6]]" {
		t.Errorf("channels %s", got)
	}
	if o["advice"].(map[string]any)["opening"].(map[string]any)["day"] != day {
		t.Error("the decision changed the advice of a frozen forecast")
	}
	// Nobody picks before it: from the next forecast on.
	next := s.json(201, "POST", "/v1/farms/lanternfen/forecasts", "")
	for _, x := range next["days"].([]any) {
		x := x.(map[string]any)
		if x["date"].(string) < "2018-06-16" && x["enough_probability"] != 0.0 {
			t.Errorf("%s: enough for a crowd of %v before the announced opening", x["date"], x["enough_probability"])
		}
	}

	// A changed mind, the same mind again, and taken back.
	if d := s.json(200, "PUT", decide, `{"day":"2018-06-17"}`); d["version"] != 2.0 || len(d["history"].([]any)) != 2 {
		t.Errorf("decided anew %v", d)
	}
	if d := s.json(200, "PUT", decide, `{"day":"2018-06-17"}`); d["version"] != 2.0 {
		t.Errorf("the same again %v", d)
	}
	s.call(204, "DELETE", decide, "", "")
	s.call(404, "DELETE", decide, "", "")
	list := s.json(200, "GET", "/v1/farms/lanternfen/seasons/2018/decisions", "")["decisions"].([]any)
	if got := list[0].(map[string]any); len(list) != 1 || got["day"] != nil || got["version"] != 3.0 || len(got["history"].([]any)) != 3 {
		t.Errorf("in the end %v", list)
	}

	// What cannot be is told.
	for body, want := range map[string]string{
		`{"day":"2019-06-16"}`: "must lie in season 2018",
		`{"day":"2018-02-30"}`: "calendar date",
		`{"day":"2018-06-16","note":"` + strings.Repeat("x", 201) + `"}`: "at most 200 characters",
		`{"day":"2018-06-16","when":"soon"}`:                             "unknown field",
		`{}`:                                                             `"detail":"is needed"`,
	} {
		if got := string(s.call(422, "PUT", decide, "application/json", body)); !strings.Contains(got, want) {
			t.Errorf("%s: %s, want %q", body, got, want)
		}
	}
	s.call(404, "PUT", decide, "application/json", `{"day":"2018-06-16","forecast":"nosuch"}`)
	s.call(422, "PUT", strings.Replace(decide, "opening", "picnic", 1), "application/json", `{"day":"2018-06-16"}`)
	s.call(404, "GET", "/v1/farms/nofarm/opening", "", "")
	s.call(404, "GET", openingPath+"?forecast=nosuch", "", "")
}

func jsonOf(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestAnnouncingIsSetAndChecked(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	const path = "/v1/farms/f/announcing"
	a := s.json(200, "GET", path, "")
	if a["language"] != nil || !strings.Contains(fmt.Sprint(a["defaults"]), "{opening}") || !strings.Contains(fmt.Sprint(a["placeholders"]), "hours") {
		t.Errorf("before anything is set: %v", a)
	}
	body := `{"language":"de","hours":"Täglich 8 bis 12 Uhr","texts":{"sign":"{farm}\n{when}"},"public":{"on":true}}`
	if a := s.json(201, "PUT", path, body); a["language"] != "de" || fmt.Sprint(a["texts"]) != "map[sign:{farm}\n{when}]" ||
		fmt.Sprint(a["public"]) != "map[ahead:false on:true varieties:false]" || !strings.Contains(fmt.Sprint(a["defaults"]), "Erdbeeren") {
		t.Errorf("as it was put: %v", a)
	}
	if a := s.json(200, "GET", path, ""); a["hours"] != "Täglich 8 bis 12 Uhr" {
		t.Errorf("as it is read: %v", a)
	}
	for body, want := range map[string]string{
		`{"texts":{"sign":"80 % sure"}}`:               "no probabilities",
		`{"texts":{"sign":"{day}"}}`:                   "none of {farm}",
		`{"texts":{"banner":"{farm}"}}`:                "is no text",
		`{"language":"tlh"}`:                           "must be one of",
		`{"website":"javascript:alert(1)"}`:            "must begin with https://",
		`{"hours":"` + strings.Repeat("x", 201) + `"}`: "at most 200 characters",
	} {
		if got := string(s.call(422, "PUT", path, "application/json", body)); !strings.Contains(got, want) {
			t.Errorf("%s: %s, want %q", body, got, want)
		}
	}
	for body, want := range map[string]string{
		`"holidays":[{"name":"X","rule":"31 June"}]`:                                         "holidays[0].rule",
		`"opening":{"ready_kg_on":{"sabbath":3}}`:                                            "is no weekday",
		`"opening":{"channels":[{"name":"a","notice_days":1},{"name":"a","notice_days":2}]}`: "is there twice",
	} {
		body = `{"name":"F","latitude":-41,"longitude":174,"time_zone":"Pacific/Auckland","units":"metric",` + body + `}`
		if got := string(s.call(422, "PUT", "/v1/farms/f", "application/json", body)); !strings.Contains(got, strings.Split(want, "[")[0]) {
			t.Errorf("%s: %s, want %q", body, got, want)
		}
	}
}

// The morning page says when there is an opening to decide on, and when the day
// that was announced is no longer sure.
func TestTheMorningTellsOfTheOpening(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	v := newVisitor(t, s.base)
	v.signIn(strings.TrimSpace(s.command("key", "new", "--role", "grower", "--name", "Noor", "--farm", "lanternfen")))
	morning := func() string { return plainText(v.page("/f/lanternfen")) }
	o := s.json(200, "GET", openingPath, "")
	f := o["forecast"].(string)
	if got := morning(); !strings.Contains(got, "Decide when to open: Tue Jun 12 is advised") {
		t.Errorf("undecided, the page says %s", got)
	}
	const decide = "/v1/farms/lanternfen/seasons/2018/decisions/opening"
	s.json(201, "PUT", decide, fmt.Sprintf(`{"day":"2018-06-13","forecast":%q}`, f))
	if got := morning(); !strings.Contains(got, "You open on Wed Jun 13, in 2 days") || strings.Contains(got, "Decide when to open") {
		t.Errorf("decided, the page says %s", got)
	}
	// A block that a spray keeps closed is told wherever an opening is prepared.
	s.json(200, "POST", "/v1/farms/lanternfen/sprays", `{"sprays":[{"block":"Sandbar","name":"from the blue can","sprayed_at":"2018-06-10T20:00:00-04:00","pre_harvest_days":5,"reentry_hours":4}]}`)
	for _, path := range []string{"/f/lanternfen/opening", "/f/lanternfen/opening/sheet"} {
		pageSays(t, path, v.page(path), "Blocks closed by sprays Sandbar Closed until", "The announced opening day, Wed Jun 13, falls inside the interval")
	}
	// Far into the season there is no longer enough in most seasons.
	s.json(200, "PUT", decide, fmt.Sprintf(`{"day":"2018-07-10","forecast":%q}`, f))
	if got := morning(); !strings.Contains(got, "The opening on Tue Jul 10 is not sure You have announced it, and only") {
		t.Errorf("decided on a day that is not sure, the page says %s", got)
	}
	s.json(200, "PUT", decide, fmt.Sprintf(`{"day":"2018-06-10","forecast":%q}`, f))
	if got := morning(); strings.Contains(got, "You open on") || strings.Contains(got, "Decide when") {
		t.Errorf("open, the page says %s", got)
	}
}
