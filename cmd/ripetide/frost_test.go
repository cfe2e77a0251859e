package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// A frost on plowmoon three days after it bloomed, as it would be entered on the
// demo's morning.
const (
	demoFrosts  = "/v1/farms/lanternfen/frosts"
	demoFrost   = `{"frosts":[{"planting":"plowmoon-creekside","date":"2018-05-31","share_lost":0.8}]}`
	beforeBloom = `{"frosts":[{"planting":"plowmoon-creekside","date":"2018-05-28","share_lost":1}]}`
)

// What is shown before saving is what a forecast says after it, and nothing is
// kept of having looked.
func TestFrostsAreLookedAtBeforeTheyAreRecorded(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	owner := s.key
	stages := func() string {
		t.Helper()
		f := s.json(200, "POST", "/v1/farms/lanternfen/forecasts?freeze=false", "")
		for _, p := range f["plantings"].([]any) {
			if p := p.(map[string]any); p["planting"] == "plowmoon-creekside" {
				return fmt.Sprint(p["stages"])
			}
		}
		t.Fatal("no such planting")
		return ""
	}
	before := stages()
	s.key = strings.TrimSpace(s.command("key", "new", "--role", "reader", "--name", "x", "--farm", "lanternfen"))
	r := s.json(200, "POST", demoFrosts+"/preview", demoFrost)
	e := r["effects"].([]any)[0].(map[string]any)
	was, is := e["before"].(map[string]any), e["with"].(map[string]any)
	if r["as_of"] != "2018-06-11" || !strings.Contains(fmt.Sprint(r["caution"]), "no frost alarm") {
		t.Errorf("answer %v", r)
	}
	if got := fmt.Sprint(was["stages"]); got != before {
		t.Errorf("before:\n%s\na forecast says\n%s", got, before)
	}
	lost, kg, left := e["crop_lost"].(float64), was["crop_kg"].(float64), is["crop_kg"].(float64)
	if !(0.15 < lost && lost < 0.3) || !(left < kg) || !(left/kg > 1-lost-0.001 && left/kg < 1-lost+0.001) {
		t.Errorf("%v of the crop lost, %v kg become %v", lost, kg, left)
	}
	if got := listed(s.json(200, "GET", demoFrosts, ""), "frosts"); got != "" {
		t.Errorf("looking has recorded %s", got)
	}
	s.call(403, "POST", demoFrosts, "application/json", demoFrost)
	s.key = owner
	s.json(200, "POST", demoFrosts, demoFrost)
	if got := stages(); got != fmt.Sprint(is["stages"]) || got == before {
		t.Errorf("once recorded a forecast says\n%s\nit was to be\n%s", got, fmt.Sprint(is["stages"]))
	}
	// The same again takes the place of what is on record.
	e = s.json(200, "POST", demoFrosts+"/preview", demoFrost)["effects"].([]any)[0].(map[string]any)
	if e["crop_lost"].(float64) != 0 || fmt.Sprint(e["before"]) != fmt.Sprint(e["with"]) {
		t.Errorf("looking again: %v", e)
	}
	e = s.json(200, "POST", demoFrosts+"/preview", beforeBloom)["effects"].([]any)[0].(map[string]any)
	if e["crop_lost"].(float64) != 0 {
		t.Errorf("before bloom: %v", e)
	}
	r = s.json(200, "POST", demoFrosts+"/preview", `{"frosts":[{"planting":"nowhere","date":"2018-05-31","share_lost":0.8},
		{"planting":"plowmoon-creekside","date":"2018-05-30","share_lost":1.5},{"planting":"plowmoon-creekside","date":"2018-05-31","share_lost":0.1},
		{"planting":"plowmoon-creekside","date":"1999-05-21","share_lost":0.1}]}`)
	refused := strings.Split(listed(r, "refused"), "\n")
	if len(refused) != 3 || refused[0] != "[reason:there is no such planting row:1]" || !strings.Contains(refused[1], "share_lost must be above 0 and at most 1 row:2") || !strings.Contains(refused[2], "when it was planted row:4") {
		t.Errorf("refused %q", refused)
	}
	got := said(t, s.call(422, "POST", demoFrosts+"/preview", "application/json", `{"frosts":[{"planting":"plowmoon-creekside","date":"2030-05-31","share_lost":0.5}]}`))
	if len(got) != 1 || !strings.Contains(got[0], "date is after today") {
		t.Errorf("faults %q", got)
	}
}

// The planting's explanation names the frost, and its figures still add up to
// what the stages take.
func TestFrostIsExplained(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	s.json(200, "POST", demoFrosts, demoFrost)
	f := s.json(201, "POST", "/v1/farms/lanternfen/forecasts", "")
	var moved string
	for _, p := range f["plantings"].([]any) {
		if p := p.(map[string]any); p["planting"] == "plowmoon-creekside" {
			moved = fmt.Sprint(p["moved"])
		}
	}
	if !strings.Contains(moved, "cause:frosts") {
		t.Errorf("moved: %s", moved)
	}
	x := s.json(200, "GET", fmt.Sprintf("/v1/farms/lanternfen/forecasts/%s/plantings/plowmoon-creekside", f["id"]), "")
	first := x["stages"].([]any)[0].(map[string]any)
	effects := first["effects"].([]any)
	sum := first["prior"].(map[string]any)["log"].(float64)
	for _, e := range effects {
		sum += e.(map[string]any)["log"].(float64)
	}
	frost := effects[len(effects)-1].(map[string]any)
	if frost["effect"] != "frost" || !(frost["days"].(float64) > 0.5) || frost["observations"].(float64) != 1 {
		t.Errorf("the last effect is %v", frost)
	}
	if want := first["requirement"].(map[string]any)["log_mean"].(float64); !(sum-want < 1e-9 && want-sum < 1e-9) {
		t.Errorf("effects add up to %v, the requirement is %v", sum, want)
	}
	if !strings.Contains(fmt.Sprint(x["notes"]), "of its crop: dates and weights are those of what is left") {
		t.Errorf("notes %v", x["notes"])
	}
	v := newVisitor(t, s.base)
	v.signIn(strings.TrimSpace(s.command("key", "new", "--role", "reader", "--name", "x", "--farm", "lanternfen")))
	_, page := v.send("GET", "/f/lanternfen/season/2018/planting/plowmoon-creekside", "")
	for _, want := range []string{"1 frost on its open flowers", "The frost of Thu May 31 took about", "frosts on its flowers"} {
		if text := plainText(page); !strings.Contains(text, want) {
			t.Errorf("the page does not say %q:\n%s", want, text)
		}
	}
}

// By plain forms: one button looks, the other records.
func TestTheRowShowsWhatAFrostChanges(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	v := newVisitor(t, s.base)
	v.signIn(strings.TrimSpace(s.command("key", "new", "--role", "grower", "--name", "Noor", "--farm", "lanternfen")))
	form := func(do, tenths, date string) (int, string) {
		res, body := v.send("POST", "/f/lanternfen/row", "kind=frost&planting=plowmoon-creekside&do="+do+"&tenths="+tenths+"&date="+date)
		return res.StatusCode, plainText(body)
	}
	for _, tt := range []struct {
		do, tenths, date string
		status           int
		says             []string
	}{
		{"look", "8", "2018-05-31", 200, []string{
			"later: ", " → ", "8 in 10 open flowers lost, Thu May 31. Not recorded yet.", "First ripe", "Crop −", "% less",
			"no frost alarm", "thermometers at the plants", "Record frost",
		}},
		{"look", "10", "2018-05-28", 200, []string{"Nothing changes: by the date of its bloom hardly a flower was open in that night, "}},
		{"look", "", "2018-05-31", 422, []string{"Choose how many of ten open flowers were lost."}},
		{"look", "8", "2018-07-21", 422, []string{"has not come yet"}},
	} {
		status, page := form(tt.do, tt.tenths, tt.date)
		if status != tt.status {
			t.Errorf("%s of %s on %s: %d", tt.do, tt.tenths, tt.date, status)
		}
		for _, want := range tt.says {
			if !strings.Contains(page, want) {
				t.Errorf("%s of %s on %s: the page does not say %q:\n%s", tt.do, tt.tenths, tt.date, want, page)
			}
		}
	}
	if got := listed(s.json(200, "GET", demoFrosts, ""), "frosts"); got != "" {
		t.Errorf("looking has recorded %s", got)
	}
	if status, _ := form("record", "8", "2018-05-31"); status != 303 {
		t.Errorf("recording: %d", status)
	}
	wantList(t, "recorded", listed(s.json(200, "GET", demoFrosts, ""), "frosts"), "[date:2018-05-31 planting:plowmoon-creekside share_lost:0.8]")
	// Counted again, it was less; or the same.
	if _, page := form("look", "3", "2018-05-31"); !strings.Contains(page, "Crop +") || !strings.Contains(page, "% more") || strings.Contains(page, "Nothing changes") {
		t.Errorf("a lesser frost in its place:\n%s", page)
	}
	if _, page := form("look", "8", "2018-05-31"); !strings.Contains(page, "Nothing changes: ") || !strings.Contains(page, "the same is on record already") {
		t.Errorf("the same frost again:\n%s", page)
	}
}

// With the script the effect comes into the page, which stays; without a way to
// the service the page says so, and the frost is recorded all the same.
func TestLookingAtAFrostInTheRow(t *testing.T) {
	t.Parallel()
	s, r, b := rowBrowser(t)
	b.open(rowPath)
	eval[bool](b, `document.getElementById("frost").open = true`)
	b.click("#frost button[value=look]")
	if !eval[bool](b, `document.getElementById("effect").childElementCount === 0`) {
		t.Error("there is an effect of nothing")
	}
	b.click(`#frost input[value="8"]`)
	eval[bool](b, `document.getElementById("frost-on").value = "2018-05-21"; true`)
	b.click("#frost button[value=look]")
	b.wait(`document.querySelector("#effect table") !== null`)
	if got := b.text("#effect"); !strings.Contains(got, "Crop −") || !strings.Contains(got, "Not recorded yet") {
		t.Errorf("the effect: %q", got)
	}
	if got := r.changes(); slices.ContainsFunc(got, func(c string) bool { return strings.Contains(c, "frosts") }) {
		t.Errorf("looking sent %q", got)
	}
	b.offline(true)
	b.click("#frost button[value=look]")
	b.says("#frost .fault.script", "can be recorded all the same")
	if !eval[bool](b, `document.getElementById("effect").childElementCount === 0`) {
		t.Error("what was worked out before still stands there")
	}
	b.click("#frost button[value=record]")
	b.says("#entered", "8 in 10 open flowers lost")
	b.offline(false)
	b.wait(`/8 in 10.*\n?.*sent \d\d:\d\d/.test(document.querySelector("#entered").innerText)`)
	if got, want := r.changes(), []string{"POST " + demoFrosts}; !slices.Equal(got, want) {
		t.Errorf("sent were %v, want %v", got, want)
	}
	wantList(t, "recorded", listed(s.json(200, "GET", demoFrosts, ""), "frosts"), "[date:2018-05-21 planting:marrowby-schoolhouse share_lost:0.8]")
}
