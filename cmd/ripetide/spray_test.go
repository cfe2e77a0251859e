package main

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"
)

const (
	spraysPath = "/v1/farms/lanternfen/sprays"
	blocksPath = "/v1/farms/lanternfen/blocks"
	openPath   = "/v1/farms/lanternfen/seasons/2018/decisions/opening"
)

// block returns a block of an answer of blocksPath.
func (s *service) block(name string) map[string]any {
	s.t.Helper()
	for _, b := range s.json(200, "GET", blocksPath, "")["blocks"].([]any) {
		if b := b.(map[string]any); b["block"] == name {
			return b
		}
	}
	s.t.Fatalf("there is no block %s", name)
	return nil
}

func only(t *testing.T, list any) map[string]any {
	t.Helper()
	xs := list.([]any)
	if len(xs) != 1 {
		t.Fatalf("%d items, want 1: %v", len(xs), xs)
	}
	return xs[0].(map[string]any)
}

// want compares members of an object.
func want(t *testing.T, what string, got map[string]any, pairs ...any) {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		if g := got[pairs[i].(string)]; fmt.Sprint(g) != fmt.Sprint(pairs[i+1]) {
			t.Errorf("%s: %s is %v, want %v", what, pairs[i], g, pairs[i+1])
		}
	}
}

// The demo stands on Mon 11 June 2018, 5:40. Worked by hand: with three days and
// a first day of Sat 16 June the whole days are Wednesday to Friday, so that
// Tuesday is the last day of spraying; with Fri 15 it is Monday.
func TestAPlannedSprayIsCountedBackAndRaisedAgain(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	s := newDemoServiceAt(t, clock.now)
	earliest := "9999"
	for _, p := range s.json(200, "GET", "/v1/farms/lanternfen/forecasts/latest", "")["plantings"].([]any) {
		p := p.(map[string]any)
		first := p["stages"].(map[string]any)["first_ripe"].(map[string]any)
		if p["block"] == "Creekside" {
			earliest = min(earliest, first["earliest"].(string))
			if first["earliest"].(string) > first["p10"].(string) {
				t.Errorf("%s: the earliest member comes after the tenth part of all: %v", p["planting"], first)
			}
		}
	}
	if earliest < "2018-06-17" || earliest > "2018-07-10" {
		t.Fatalf("the earliest fruit in Creekside is on %s, which leaves nothing to test", earliest)
	}
	want(t, "before", s.block("Creekside"), "first_day", earliest, "first_day_from", "earliest_member", "earliest_fruit", earliest, "closed_until", nil, "warnings", []any{})

	const plan = `{"block":"Creekside","name":"from the blue can","pre_harvest_days":3,"reentry_hours":12}`
	kept := only(t, s.json(200, "POST", spraysPath, `{"sprays":[`+plan+`]}`)["sprays"])
	id := kept["id"].(string)
	want(t, "kept", kept, "season", 2018, "sprayed_at", nil, "closed_until", nil)
	who := kept["recorded_by"].(string)
	if !strings.Contains(who, "test") {
		t.Errorf("recorded by %s", who)
	}
	again := only(t, s.json(200, "POST", spraysPath, `{"sprays":[`+plan+`]}`)["sprays"])
	want(t, "the same again", again, "id", id)
	x := only(t, s.block("Creekside")["planned"])
	want(t, "as it was entered", x, "known_day", earliest, "raised", false, "passed", false, "seen_by", nil, "open_if_sprayed_now", "2018-06-15T00:00:00-04:00")
	day, err := time.Parse(time.DateOnly, earliest)
	if err != nil {
		t.Fatal(err)
	}
	want(t, "as it was entered", x, "last_safe_at", day.AddDate(0, 0, -4).Format(time.DateOnly)+"T23:59:00-04:00")

	// The farm announces a day that is earlier.
	s.json(201, "PUT", openPath, `{"day":"2018-06-16"}`)
	b := s.block("Creekside")
	want(t, "announced", b, "first_day", "2018-06-16", "first_day_from", "announced", "announced_day", "2018-06-16", "earliest_fruit", earliest)
	want(t, "announced", only(t, b["planned"]), "last_safe_at", "2018-06-12T23:59:00-04:00", "raised", true, "passed", false, "known_day", earliest)
	if got := fmt.Sprint(b["warnings"]); !strings.Contains(got, "from the blue can: The last safe moment is Tue Jun 12, 11:59 pm. It is earlier than was known: the block may be picked from Sat Jun 16 on") {
		t.Errorf("warnings %s", got)
	}
	// Somebody takes note of that day; of an earlier one nobody can.
	seen := spraysPath + "/" + id + "/seen"
	if got := said(t, s.call(422, "POST", seen, "application/json", `{"day":"2018-06-15"}`)); !slices.Equal(got, []string{"/day: must not be before 2018-06-16, from when the block may be picked as far as is known"}) {
		t.Errorf("faults %q", got)
	}
	s.call(422, "POST", seen, "application/json", `{"day":"16 June"}`)
	s.call(404, "POST", spraysPath+"/nothing/seen", "application/json", `{"day":"2018-06-16"}`)
	s.call(204, "POST", seen, "application/json", `{"day":"2018-06-16"}`)
	x = only(t, s.block("Creekside")["planned"])
	want(t, "noted", x, "raised", false, "known_day", "2018-06-16", "seen_by", who, "last_safe_at", "2018-06-12T23:59:00-04:00")
	// And it moves earlier again; then back.
	s.json(200, "PUT", openPath, `{"day":"2018-06-15"}`)
	want(t, "earlier again", only(t, s.block("Creekside")["planned"]), "raised", true, "known_day", "2018-06-16", "last_safe_at", "2018-06-11T23:59:00-04:00")
	clock.advance(19 * time.Hour)
	want(t, "after the last safe moment", only(t, s.block("Creekside")["planned"]), "raised", true, "passed", true)
	s.call(204, "DELETE", openPath, "", "")
	want(t, "taken back", only(t, s.block("Creekside")["planned"]), "raised", false, "passed", false)

	// Ripe fruit is seen: from then on it counts from today.
	s.json(200, "POST", "/v1/farms/lanternfen/sightings", `{"sightings":[{"planting":"plowmoon-creekside","date":"2018-06-12","stage":"first_ripe","seen":true}]}`)
	b = s.block("Creekside")
	want(t, "seen ripe", b, "first_day", "2018-06-12", "first_day_from", "seen", "earliest_of", "plowmoon-creekside")
	want(t, "seen ripe", only(t, b["planned"]), "raised", true, "passed", true)

	// Taken back it is gone, but for its history.
	before := clock.now().Format(time.RFC3339)
	clock.advance(time.Minute)
	s.call(204, "DELETE", spraysPath+"/"+id, "", "")
	s.call(404, "DELETE", spraysPath+"/"+id, "", "")
	if got := s.json(200, "GET", spraysPath, "")["sprays"].([]any); len(got) != 0 {
		t.Errorf("still there: %v", got)
	}
	want(t, "as it was known", only(t, s.json(200, "GET", spraysPath+"?known_at="+before, "")["sprays"]), "id", id)
}

// Worked by hand: sprayed on Sun 10 June at 20:00 with two days and 30 hours of
// re-entry, the whole days are Monday and Tuesday, and re-entry ends on Tue 12
// June at 2:00.
func TestASprayedBlockIsClosedWhereverItIsOffered(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	s := newDemoServiceAt(t, clock.now)
	const done = `{"block":"Sandbar","name":"from the blue can","sprayed_at":"2018-06-10T20:00:00-04:00","pre_harvest_days":2,"reentry_hours":30,"note":" all  rows "}`
	kept := only(t, s.json(200, "POST", spraysPath, `{"sprays":[`+done+`]}`)["sprays"])
	want(t, "kept", kept, "season", 2018, "sprayed_at", "2018-06-10T20:00:00-04:00", "enter_again_at", "2018-06-12T02:00:00-04:00",
		"pick_again_at", "2018-06-13T00:00:00-04:00", "closed_until", "2018-06-13T00:00:00-04:00", "note", "all rows", "plantings", "[firstbell-sandbar wrenlight-sandbar]")
	b := s.block("Sandbar")
	want(t, "closed", b, "closed_until", "2018-06-13T00:00:00-04:00")
	want(t, "closed", only(t, b["closures"]), "in_force", true, "fruit_inside", true, "announced_inside", false)
	warned := fmt.Sprint(b["warnings"])
	for _, want := range []string{
		"Closed until the start of Wed Jun 13 (12:00 am): sprayed Sun Jun 10, 8:00 pm (from the blue can).",
		"Nobody may be in it before Tue Jun 12, 2:00 am, customers included; nothing may be picked before the start of Wed Jun 13",
		"Ripe fruit was seen on Thu Jun 7, and the interval is not over: it must not be picked before the start of Wed Jun 13",
	} {
		if !strings.Contains(warned, want) {
			t.Errorf("the warnings lack %q: %s", want, warned)
		}
	}
	want(t, "another block", s.block("Creekside"), "closed_until", nil)

	// The announced opening day falls into it.
	s.json(201, "PUT", openPath, `{"day":"2018-06-12"}`)
	b = s.block("Sandbar")
	want(t, "announced", only(t, b["closures"]), "announced_inside", true)
	if got := fmt.Sprint(b["warnings"]); !strings.Contains(got, "The announced opening day, Tue Jun 12, falls inside the interval: this block cannot be opened then.") {
		t.Errorf("the warnings do not tell of the announced day: %s", got)
	}

	// It is said where the block is offered, to those who only read as well.
	for _, role := range []string{"grower", "reader"} {
		p := signedIn(s, role)
		page, _ := p.do(200, "GET", "/f/lanternfen")
		text := plainText(page)
		says(t, text, "Sandbar Closed until the start of Wed Jun 13 (12:00 am)", "The announced opening day, Tue Jun 12, falls inside the interval", "1 block closed after spraying")
		says(t, page, `href="/f/lanternfen/sprays"`)
		if n := strings.Count(text, "Closed until the start of Wed Jun 13"); n < 2 {
			t.Errorf("closed is said %d times, and not in the picking order too:\n%s", n, text)
		}
	}
	p := signedIn(s, "grower")
	page, _ := p.do(200, "GET", "/f/lanternfen/row")
	says(t, plainText(page), "Sandbar Closed until the start of Wed Jun 13 (12:00 am)")
	page, _ = p.do(200, "GET", "/f/lanternfen/row?planting=wrenlight-sandbar")
	says(t, plainText(page), "Closed until the start of Wed Jun 13 (12:00 am): sprayed Sun Jun 10, 8:00 pm (from the blue can).", "You can record it all the same")
	page, _ = p.do(200, "GET", "/f/lanternfen/row?planting=plowmoon-creekside")
	if strings.Contains(plainText(page), "Closed until") {
		t.Error("a block that was not sprayed is called closed")
	}

	// An entry is warned of and not lost.
	v := newVisitor(t, s.base)
	v.signIn(s.key)
	res, body := v.send("POST", "/f/lanternfen/row", "kind=picking&planting=wrenlight-sandbar&amount=20&date=2018-06-11")
	if res.StatusCode != http.StatusSeeOther {
		t.Fatalf("a picking in a closed block: %s\n%s", res.Status, body)
	}
	_, body = v.send("GET", res.Header.Get("Location"), "")
	says(t, plainText(body), "Recorded: Picked 20 lb, Mon Jun 11.", "Picked inside an interval: the block was closed from Sun Jun 10, 8:00 pm until the start of Wed Jun 13")
	list := s.json(200, "GET", "/v1/farms/lanternfen/pickings?from=2018-06-11", "")
	want(t, "the picking", only(t, list["pickings"]), "planting", "wrenlight-sandbar", "date", "2018-06-11")

	// The minute that it opens it is open, and what is on record stays.
	clock.advance(42*time.Hour + 19*time.Minute)
	want(t, "the minute before", s.block("Sandbar"), "closed_until", "2018-06-13T00:00:00-04:00")
	clock.advance(time.Minute)
	b = s.block("Sandbar")
	want(t, "open again", b, "closed_until", nil, "warnings", []any{})
	want(t, "open again", only(t, b["closures"]), "in_force", false)
	s.call(204, "DELETE", spraysPath+"/"+kept["id"].(string), "", "")
	if got := s.block("Sandbar")["closures"].([]any); len(got) != 0 {
		t.Errorf("taken back and still there: %v", got)
	}
}

func TestSpraysThatAreNotKept(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	for name, tt := range map[string]struct {
		item string
		want []string
	}{
		"without an interval":     {`{"block":"Sandbar","name":"x","reentry_hours":4}`, []string{"/pre_harvest_days: pre_harvest_days or pre_harvest_hours is needed, as the label says; 0 is an answer"}},
		"without re-entry":        {`{"block":"Sandbar","name":"x","pre_harvest_hours":4}`, []string{"/reentry_hours: reentry_hours is needed, as the label says; 0 is an answer"}},
		"half a day":              {`{"block":"Sandbar","name":"x","pre_harvest_days":0.5,"reentry_hours":4}`, []string{": pre_harvest_days must be a whole number, not a number 0.5"}},
		"too many":                {`{"block":"Sandbar","name":"x","pre_harvest_days":366,"reentry_hours":-1}`, []string{"/pre_harvest_days: pre_harvest_days must be between 0 and 365", "/reentry_hours: reentry_hours must be between 0 and 1000"}},
		"to come":                 {`{"block":"Sandbar","name":"x","pre_harvest_days":1,"reentry_hours":4,"sprayed_at":"2018-06-11T05:41:00-04:00"}`, []string{"/sprayed_at: sprayed_at has not come yet; leave it out while the spray is planned"}},
		"no instant":              {`{"block":"Sandbar","name":"x","pre_harvest_days":1,"reentry_hours":4,"sprayed_at":"2018-06-11"}`, []string{"/sprayed_at: sprayed_at is not an instant such as 2025-06-03T17:30:00+02:00"}},
		"of another season":       {`{"block":"Sandbar","name":"x","pre_harvest_days":1,"reentry_hours":4,"sprayed_at":"2018-06-10T08:00:00-04:00","season":2019}`, []string{"/season: season must be left out, or 2018, in which sprayed_at lies"}},
		"planned for the past":    {`{"block":"Sandbar","name":"x","pre_harvest_days":1,"reentry_hours":4,"season":2017}`, []string{"/season: season must not be before 2018, the present one"}},
		"no block":                {`{"block":"Beyond","name":"x","pre_harvest_days":1,"reentry_hours":4}`, []string{"/block: block is no block of the farm; they are Creekside, Long Rows, Sandbar, Schoolhouse, Windbreak"}},
		"nameless":                {`{"block":"Sandbar","pre_harvest_days":1,"reentry_hours":4}`, []string{"/name: name must not be empty"}},
		"of a spray that is none": {`{"id":"nothing","block":"Sandbar","name":"x","pre_harvest_days":1,"reentry_hours":4}`, []string{"/id: id is of no spray that counts"}},
		"a product":               {`{"block":"Sandbar","name":"x","product":"x"}`, []string{`: unknown field "product"`}},
	} {
		var want []string
		for _, w := range tt.want {
			want = append(want, "/sprays/0"+w)
		}
		if got := said(t, s.call(422, "POST", spraysPath, "application/json", `{"sprays":[`+tt.item+`]}`)); !slices.Equal(got, want) {
			t.Errorf("%s: faults %q, want %q", name, got, want)
		}
	}
	// Good ones are kept beside bad ones, and 0 is an answer.
	r := s.json(200, "POST", spraysPath, `{"sprays":[{"block":"Sandbar"},{"block":"Sandbar","name":"y","pre_harvest_days":0,"reentry_hours":0},
		{"block":"Creekside","name":"next year","season":2019,"pre_harvest_hours":12,"reentry_hours":4}]}`)
	if n := len(r["sprays"].([]any)); n != 2 {
		t.Errorf("%d kept, want 2", n)
	}
	wantList(t, "refused", listed(r, "refused"), "[reason:pre_harvest_days or pre_harvest_hours is needed, as the label says; 0 is an answer; reentry_hours is needed, as the label says; 0 is an answer; name must not be empty row:1]")
	for query, n := range map[string]int{"": 2, "?season=2018": 1, "?season=2019": 1, "?block=Creekside": 1, "?block=Beyond": 0} {
		if got := s.json(200, "GET", spraysPath+query, "")["sprays"].([]any); len(got) != n {
			t.Errorf("%s: %d sprays, want %d", query, len(got), n)
		}
	}
	if got := s.block("Creekside")["planned"].([]any); len(got) != 0 {
		t.Errorf("a plan for the next season counts in this one: %v", got)
	}
}

func TestWhoMayRecordSprays(t *testing.T) {
	t.Parallel()
	s := newDemoServiceWithNeighbour(t)
	owner := s.key
	id := only(t, s.json(200, "POST", spraysPath, `{"sprays":[{"block":"Creekside","name":"x","pre_harvest_days":1,"reentry_hours":4}]}`)["sprays"])["id"].(string)
	for _, who := range []struct {
		role, farm  string
		write, read int
	}{{"reader", "lanternfen", 403, 200}, {"owner", "elsewhere", 404, 404}, {"", "", 401, 401}} {
		s.key = owner
		if who.role != "" {
			s.key = strings.TrimSpace(s.command("key", "new", "--role", who.role, "--name", "x", "--farm", who.farm))
		} else {
			s.key = ""
		}
		s.call(who.write, "POST", spraysPath, "application/json", `{"sprays":[{"block":"Sandbar","name":"x","pre_harvest_days":1,"reentry_hours":4}]}`)
		s.call(who.write, "POST", spraysPath+"/"+id+"/seen", "application/json", `{"day":"2018-06-30"}`)
		s.call(who.write, "DELETE", spraysPath+"/"+id, "", "")
		s.call(who.read, "GET", spraysPath, "", "")
		s.call(who.read, "GET", blocksPath, "", "")
	}
}

// The page by plain forms, on the demo's morning: Mon 11 June 2018, 5:40.
func TestSpraysByPlainForms(t *testing.T) {
	t.Parallel()
	clock := newTestClock(t)
	s := newDemoServiceAt(t, clock.now)
	v := newVisitor(t, s.base)
	v.signIn(strings.TrimSpace(s.command("key", "new", "--role", "grower", "--name", "Noor", "--farm", "lanternfen")))
	send := func(want int, path, form string) string {
		t.Helper()
		res, body := v.send("POST", path, form)
		if res.StatusCode != want {
			t.Fatalf("%s with %s: %s, want %d\n%s", path, form, res.Status, want, plainText(body))
		}
		if want == http.StatusSeeOther {
			_, body = v.send("GET", res.Header.Get("Location"), "")
		}
		return plainText(body)
	}
	const form = "/f/lanternfen/sprays/form"
	for name, tt := range map[string]struct {
		form string
		says []string
	}{
		"nothing": {"", []string{"Block must be chosen", "What is sprayed must not be empty", "Pre-harvest interval, days or the hours are needed, as the label says; 0 is an answer", "Re-entry interval, hours is needed"}},
		"what cannot be": {"block=Creekside&name=x&days=half&reentry=1001", []string{
			"Pre-harvest interval, days must be a whole number", "Re-entry interval, hours must be between 0 and 1000",
		}},
		"a day without its time":     {"block=Creekside&name=x&days=1&reentry=4&day=2018-06-10", []string{"Clock time is needed with the day"}},
		"a time without its day":     {"block=Creekside&name=x&days=1&reentry=4&clock=17:30", []string{"Day is needed with the clock time"}},
		"a time to come":             {"block=Creekside&name=x&days=1&reentry=4&day=2018-06-11&clock=5:41", []string{"Clock time has not come yet"}},
		"a time that clocks skipped": {"block=Creekside&name=x&days=1&reentry=4&day=2018-03-11&clock=2:30am", []string{"Clock time did not come on Sun Mar 11: clocks were put forward over it"}},
		"a time that is none":        {"block=Creekside&name=x&days=1&reentry=4&day=2018-06-10&clock=noonish", []string{"Clock time is not a clock time, such as 17:30 or 5:30 pm"}},
		"a block that is none":       {"block=Beyond&name=x&days=1&reentry=4", []string{"Block is no block of the farm; they are Creekside"}},
	} {
		text := send(http.StatusUnprocessableEntity, form, tt.form)
		for _, want := range tt.says {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the form does not say %q:\n%s", name, want, text)
			}
		}
	}

	// Planned, raised by an announced day, noted, carried out, taken back. Worked by
	// hand: two whole days before Sat 16 June are Thursday and Friday.
	text := send(http.StatusSeeOther, form, "block=Creekside&name=from+the+blue+can&days=2&hours=&reentry=12&note=all+rows")
	says(t, text, "The label is the law.", "Customers count as people in the field during re-entry.",
		"from the blue can The last safe moment is", "2 days before picking, 12 hours before anybody goes in. Entered by Noor, Mon Jun 11, 5:40 am. all rows",
		"the earliest fruit that the forecast holds possible (Dusk Parade)")
	if strings.Contains(text, "I have seen it") {
		t.Errorf("what is not raised asks to be seen:\n%s", text)
	}
	s.json(201, "PUT", openPath, `{"day":"2018-06-16"}`)
	_, body := v.send("GET", "/f/lanternfen/sprays", "")
	text = plainText(body)
	says(t, text, "The last safe moment is Wed Jun 13, 11:59 pm. It is earlier than was known: the block may be picked from Sat Jun 16 on, not from", "I have seen it", "the announced opening day")
	id := only(t, s.json(200, "GET", spraysPath, "")["sprays"])["id"].(string)
	_, morning := v.send("GET", "/f/lanternfen", "")
	says(t, plainText(morning), "Planned spray in Creekside: from the blue can", "It is earlier than was known")
	text = send(http.StatusUnprocessableEntity, "/f/lanternfen/sprays", "kind=seen&spray="+id+"&day=2018-06-15")
	says(t, text, "The day has moved again since this page was read.")
	text = send(http.StatusSeeOther, "/f/lanternfen/sprays", "kind=seen&spray="+id+"&day=2018-06-16")
	says(t, text, "Noor took note of Sat Jun 16 on Mon Jun 11, 5:40 am.")
	if strings.Contains(text, "I have seen it") {
		t.Errorf("what was seen asks to be seen:\n%s", text)
	}

	_, body = v.send("GET", form+"?spray="+id+"&done=1", "")
	for _, want := range []string{`value="2018-06-11"`, `value="05:40"`, `value="from the blue can"`, `name="hours" value="0"`, `name="reentry" value="12"`} {
		if !strings.Contains(body, want) {
			t.Errorf("the form to carry it out lacks %s", want)
		}
	}
	text = send(http.StatusSeeOther, form+"?spray="+id, "block=Creekside&name=from+the+blue+can&days=2&hours=0&reentry=12&day=2018-06-11&clock=5.30&note=all+rows")
	says(t, text, "Creekside Closed until the start of Thu Jun 14 (12:00 am)", "Nobody may be in it before Mon Jun 11, 5:30 pm, customers included; nothing may be picked before the start of Thu Jun 14")
	want(t, "carried out", only(t, s.json(200, "GET", spraysPath, "")["sprays"]), "id", id, "sprayed_at", "2018-06-11T05:30:00-04:00")
	text = send(http.StatusSeeOther, "/f/lanternfen/sprays", "kind=back&spray="+id)
	says(t, text, "Taken back.", "Creekside Open, as far as sprays on record go")
	send(http.StatusSeeOther, "/f/lanternfen/sprays", "kind=back&spray="+id) // Twice does no harm.
	send(http.StatusNotFound, form+"?spray="+id, "block=Creekside&name=x&days=1&reentry=4")

	// Who only reads sees it and is offered nothing.
	s.json(200, "POST", spraysPath, `{"sprays":[{"block":"Creekside","name":"from the blue can","pre_harvest_days":2,"reentry_hours":12}]}`)
	page, _ := signedIn(s, "reader").do(200, "GET", "/f/lanternfen/sprays")
	says(t, plainText(page), "from the blue can The last safe moment is")
	main := page[strings.Index(page, "<main"):]
	if strings.Contains(main, "<form") || strings.Contains(main, "/sprays/form") {
		t.Error("a reader is offered what only growers may do")
	}
}

// A farm without a forecast: closures are told all the same, and what is not
// known is said to be so. It is Sun 14 June 2026, 6:12 there.
func TestSpraysBeforeTheFirstForecast(t *testing.T) {
	t.Parallel()
	s, v := rowFarm(t, "metric")
	const path = "/v1/farms/f/sprays"
	ids := s.json(200, "POST", path, `{"sprays":[{"block":"Creek","name":"x","pre_harvest_days":1,"reentry_hours":4},
		{"block":"Hill","name":"y","sprayed_at":"2026-06-14T06:00:00+02:00","pre_harvest_hours":0,"reentry_hours":12}]}`)["sprays"].([]any)
	id := ids[0].(map[string]any)["id"].(string)
	blocks := s.json(200, "GET", "/v1/farms/f/blocks", "")["blocks"].([]any)
	creek, hill := blocks[0].(map[string]any), blocks[1].(map[string]any)
	want(t, "Creek", creek, "first_day", nil, "earliest_fruit", nil, "closed_until", nil)
	want(t, "Creek", only(t, creek["planned"]), "last_safe_at", nil, "raised", false)
	want(t, "Hill", hill, "closed_until", "2026-06-14T18:00:00+02:00")
	says(t, fmt.Sprint(creek["warnings"]), "There is no forecast of this season yet, so the earliest fruit is not known.")
	if got := said(t, s.call(422, "POST", path+"/"+id+"/seen", "application/json", `{"day":"2026-06-15"}`)); len(got) != 1 || !strings.Contains(got[0], "is not known yet") {
		t.Errorf("faults %q", got)
	}

	_, body := v.send("GET", "/f/f", "")
	says(t, plainText(body), "1 block closed after spraying. There is no forecast yet", "Hill Closed until Sun 14 Jun, 18:00: sprayed Sun 14 Jun, 06:00 (y). Nobody may be in it before then, customers included.")
	_, body = v.send("GET", "/f/f/sprays", "")
	says(t, plainText(body), "x The last safe moment is not known.", "The first forecast will tell.", "Hill Closed until Sun 14 Jun, 18:00")
	// Picked on a day on which it was closed for a part.
	_, text := v.sendForm("kind", "picking", "planting", "q", "amount", "5", "date", "2026-06-14")
	says(t, text, "Closed for part of that day, from Sun 14 Jun, 06:00 until Sun 14 Jun, 18:00.")
	// What was picked there is ripe, so that nothing of it can be unknown.
	blocks = s.json(200, "GET", "/v1/farms/f/blocks", "")["blocks"].([]any)
	want(t, "Hill after picking", blocks[1].(map[string]any), "first_day", "2026-06-14", "first_day_from", "seen")
}
