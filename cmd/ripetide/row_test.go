package main

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"
)

// rowFarm puts a farm with plantings p, q (of two blocks), young and gone, and
// returns a visitor who may record. It is Sun 14 June 2026 there.
func rowFarm(t *testing.T, units string) (*service, *visitor) {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 6, 14, 6, 12, 0, 0, zone)
	s := newServiceAt(t, func() time.Time { return at })
	s.json(201, "PUT", "/v1/farms/f", fmt.Sprintf(`{"name":"F","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":%q}`, units))
	s.json(201, "PUT", "/v1/farms/f/stations/s", `{"name":"S","latitude":48,"longitude":8,"elevation_m":155,"stand_in":null}`)
	s.json(201, "PUT", "/v1/farms/f/varieties/v", `{"name":"Plow & Moon","ripens":"mid"}`)
	for id, more := range map[string]string{
		"p": `"block":"Creek","planted_on":"2020-04-01"`, "q": `"block":"Hill","planted_on":"2021-04-01"`,
		"young": `"block":"Hill","planted_on":"2026-04-01"`, "gone": `"block":"Hill","planted_on":"2019-04-01","removed_on":"2025-08-01"`,
	} {
		s.json(201, "PUT", "/v1/farms/f/plantings/"+id, `{"variety":"v","station":"s","area_m2":100,`+more+`}`)
	}
	v := newVisitor(t, s.base)
	v.signIn(strings.TrimSpace(s.command("key", "new", "--role", "grower", "--name", "Noor", "--farm", "f")))
	return s, v
}

// sendForm sends a form of the row and follows it back to the page.
func (v *visitor) sendForm(pairs ...string) (status int, page string) {
	v.t.Helper()
	form := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	res, body := v.send("POST", "/f/f/row", form.Encode())
	if res.StatusCode == http.StatusSeeOther {
		_, body = v.send("GET", res.Header.Get("Location"), "")
	}
	return res.StatusCode, plainText(body)
}

var (
	anyTag   = regexp.MustCompile(`(?s)<[^>]*>`)
	anySpace = regexp.MustCompile(`\s+`)
)

// plainText is what a page says, without its tags.
func plainText(page string) string {
	_, page, _ = strings.Cut(page, "<main")
	return anySpace.ReplaceAllString(html.UnescapeString(anyTag.ReplaceAllString("<main"+page, " ")), " ")
}

func TestTheRowByPlainForms(t *testing.T) {
	t.Parallel()
	const (
		sightings = "/v1/farms/f/sightings"
		pickings  = "/v1/farms/f/pickings"
		frosts    = "/v1/farms/f/frosts"
	)
	for _, tt := range []struct {
		name, units string
		before      []string // Forms that were sent before.
		form        string
		status      int
		says        []string
		list        string // Of the API, and what is on record there afterwards.
		want        string
	}{
		{
			"a stage seen today", "metric", nil, "kind=sighting&planting=p&stage=bloom_10&say=seen+2026-06-14", 303,
			[]string{"Recorded: Bloom seen, Sun 14 Jun."}, sightings, "date:2026-06-14 planting:p seen:true stage:bloom_10",
		},
		{
			"not yet, on a day of the past", "metric", nil, "kind=sighting&planting=p&stage=first_ripe&say=not_yet&date=2026-06-10", 303,
			[]string{"Recorded: Looked: first ripe not yet, Wed 10 Jun."}, sightings, "date:2026-06-10 planting:p seen:false stage:first_ripe",
		},
		{
			"the same sent twice is one", "metric", []string{"kind=sighting&planting=p&stage=bloom_10&say=seen+2026-06-14"},
			"kind=sighting&planting=p&stage=bloom_10&say=seen+2026-06-14", 303, nil, sightings, "date:2026-06-14 planting:p seen:true stage:bloom_10",
		},
		{
			"seen on another day replaces it", "metric", []string{"kind=sighting&planting=p&stage=bloom_10&say=seen+2026-06-14"},
			"kind=sighting&planting=p&stage=bloom_10&say=seen&date=2026-06-12", 303, nil, sightings, "date:2026-06-12 planting:p seen:true stage:bloom_10",
		},
		{
			"tomorrow is told, and stays in the field", "metric", nil, "kind=sighting&planting=p&stage=peak&say=seen&date=2026-06-15", 422,
			[]string{"Mon 15 Jun 2026 has not come yet: today is Sun 14 Jun."}, sightings, "",
		},
		{
			"a day of last year is told: it would not be seen on the page", "metric", nil, "kind=sighting&planting=p&stage=peak&say=seen&date=2025-06-14", 422,
			[]string{"Sat 14 Jun 2025 is before this season. Earlier ones are entered in the Book."}, sightings, "",
		},
		{
			"no day is told", "metric", nil, "kind=sighting&planting=p&stage=peak&say=seen&date=", 422, []string{"Choose the day it was."}, sightings, "",
		},
		{
			"a contradiction is told in words of the farm", "us", []string{"kind=sighting&planting=p&stage=first_ripe&say=not_yet+2026-06-14"},
			"kind=sighting&planting=p&stage=first_ripe&say=seen+2026-06-13", 422,
			[]string{"First ripe had not come on Sun Jun 14, so it cannot be seen on Sat Jun 13."}, sightings, "date:2026-06-14 planting:p seen:false stage:first_ripe",
		},
		{
			"another planting's farm is not found", "metric", nil, "kind=sighting&planting=elsewhere&stage=peak&say=seen+2026-06-14", 404, []string{"Planting not found"}, sightings, "",
		},
		{
			"a stage that is none", "metric", nil, "kind=sighting&planting=p&stage=jam&say=seen+2026-06-14", 422, nil, sightings, "",
		},
		{
			"kg", "metric", nil, "kind=picking&planting=q&amount=120,5&date=2026-06-14&left=some", 303,
			[]string{"Recorded: Picked 120.5 kg, ripe fruit left: some, Sun 14 Jun."}, pickings, "closed:false date:2026-06-14 kg:120.5 left:some planting:q source:all",
		},
		{
			"lb are kept as kg", "us", nil, "kind=picking&planting=q&amount=1,200&date=2026-06-13", 303,
			[]string{"Recorded: Picked 1200 lb, Sat Jun 13."}, pickings, "closed:false date:2026-06-13 kg:544.311 planting:q source:all", // 1200 × 0.45359237
		},
		{
			"a weight that is none is told and stays", "metric", nil, "kind=picking&planting=q&amount=a+lot&date=2026-06-14&left=lots", 422,
			[]string{"The weight is not a number."}, pickings, "",
		},
		{
			"more than can be", "metric", nil, "kind=picking&planting=q&amount=100001&date=2026-06-14", 422, []string{"Kg must"}, pickings, "",
		},
		{
			"a picking before it was planted", "metric", nil, "kind=picking&planting=young&amount=1&date=2026-03-31", 422, []string{"must not be before Wed 1 Apr, when it was planted."}, pickings, "",
		},
		{
			"frost, in tenths", "metric", nil, "kind=frost&planting=p&tenths=3&date=2026-05-02", 303,
			[]string{"Recorded: Frost: 3 in 10 open flowers lost, Sat 2 May."}, frosts, "date:2026-05-02 planting:p share_lost:0.3",
		},
		{
			"a frost that cost nothing is none", "metric", nil, "kind=frost&planting=p&tenths=0&date=2026-05-02", 422,
			[]string{"Choose how many of ten open flowers were lost."}, frosts, "",
		},
		{
			"a picking is taken back", "metric", []string{"kind=picking&planting=p&amount=5&date=2026-06-14"}, "kind=undo&planting=p&undo=picking+2026-06-14", 303,
			[]string{"Taken back."}, pickings, "",
		},
		{
			"what is gone already is not missed", "metric", nil, "kind=undo&planting=p&undo=frost+2026-06-14", 303, []string{"Taken back."}, frosts, "",
		},
		{"a kind that is none", "metric", nil, "kind=jam&planting=p", 422, nil, frosts, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s, v := rowFarm(t, tt.units)
			for _, f := range tt.before {
				if res, body := v.send("POST", "/f/f/row", f); res.StatusCode != http.StatusSeeOther {
					t.Fatalf("%s: %s\n%s", f, res.Status, body)
				}
			}
			res, body := v.send("POST", "/f/f/row", tt.form)
			if res.StatusCode != tt.status {
				t.Fatalf("%s, want %d\n%s", res.Status, tt.status, plainText(body))
			}
			if to := res.Header.Get("Location"); to != "" {
				_, body = v.send("GET", to, "")
			}
			for _, want := range tt.says {
				if text := plainText(body); !strings.Contains(text, want) {
					t.Errorf("the page does not say %q:\n%s", want, text)
				}
			}
			if tt.status == 422 { // What was typed is still there.
				f, err := url.ParseQuery(tt.form)
				if err != nil {
					t.Fatal(err)
				}
				for _, name := range []string{"amount", "date"} {
					if x := f.Get(name); x != "" && !strings.Contains(body, `value="`+x+`"`) && tt.says != nil {
						t.Errorf("%q is not in its field any more", x)
					}
				}
			}
			name := tt.list[strings.LastIndex(tt.list, "/")+1:]
			got := regexp.MustCompile(`id:\S+ `).ReplaceAllString(listed(s.json(200, "GET", tt.list, ""), name), "")
			if got != strings.TrimSpace("["+tt.want+"]") && !(got == "" && tt.want == "") {
				t.Errorf("on record is %s, want [%s]", got, tt.want)
			}
		})
	}
}

func TestASightingIsTakenBackByItsForm(t *testing.T) {
	t.Parallel()
	s, v := rowFarm(t, "metric")
	if status, text := v.sendForm("kind", "sighting", "planting", "p", "stage", "peak", "say", "seen 2026-06-14"); status != 303 || !strings.Contains(text, "Peak seen, Sun 14 Jun") {
		t.Fatalf("%d\n%s", status, text)
	}
	_, page := v.send("GET", "/f/f/row?planting=p", "")
	m := regexp.MustCompile(`name="undo" value="(sighting [a-z0-9]+)"`).FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("nothing to take back:\n%s", page)
	}
	for range 2 { // The second time it is gone already.
		if status, text := v.sendForm("kind", "undo", "planting", "p", "undo", m[1]); status != 303 || !strings.Contains(text, "Taken back.") || !strings.Contains(text, "Nothing yet.") {
			t.Errorf("%d\n%s", status, text)
		}
	}
	if got := listed(s.json(200, "GET", "/v1/farms/f/sightings", ""), "sightings"); got != "" {
		t.Errorf("still on record: %s", got)
	}
}

func TestTheRowListsWhatBears(t *testing.T) {
	t.Parallel()
	_, v := rowFarm(t, "metric")
	_, page := v.send("GET", "/f/f/row", "")
	text := plainText(page)
	for _, want := range []string{"Creek", "Hill", "Plow & Moon", "Next: bloom", "There is no forecast of 2026 yet"} {
		if !strings.Contains(text, want) {
			t.Errorf("the list does not say %q:\n%s", want, text)
		}
	}
	for _, not := range []string{"planting=young", "planting=gone"} {
		if strings.Contains(page, not) {
			t.Errorf("the list shows what does not bear: %s", not)
		}
	}
	for id, want := range map[string]string{
		"young": "It was planted on Wed 1 Apr 2026 and bears from 2027 on.",
		"gone":  "It was grubbed out on Fri 1 Aug 2025.",
		"p":     "At least one plant in ten has an open flower.",
	} {
		if _, page := v.send("GET", "/f/f/row?planting="+id, ""); !strings.Contains(plainText(page), want) {
			t.Errorf("%s does not say %q:\n%s", id, want, plainText(page))
		}
	}
}

// The stage to look for stands first: after the last that was seen, but full
// bloom gives way once first ripe is near.
func TestTheNextStageLeads(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	v := newVisitor(t, s.base)
	v.signIn(s.key)
	_, list := v.send("GET", "/f/lanternfen/row", "")
	text := plainText(list)
	// The farm's order on Mon 11 June 2018: Sandbar's early ones are picked.
	for _, pair := range [][2]string{{"Sandbar", "Creekside"}, {"Firstbell", "Lastlantern"}} {
		if a, b := strings.Index(text, pair[0]), strings.Index(text, pair[1]); a < 0 || b < 0 || a > b {
			t.Errorf("%s stands at %d, %s at %d:\n%s", pair[0], a, pair[1], b, text)
		}
	}
	for _, want := range []string{
		"Dusk Parade Next: first ripe",           // Bloom was seen long ago, full bloom not written down.
		"Plowmoon Next: full bloom; first ripe ", // Bloom was seen a week ago.
		"Lastlantern Next: first ripe",           // Only full bloom was seen.
		"Wrenlight Next: last pick",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the list does not say %q:\n%s", want, text)
		}
	}
	for _, m := range regexp.MustCompile(`planting=([a-z-]+)"><b>`).FindAllStringSubmatch(list, -1) {
		_, page := v.send("GET", "/f/lanternfen/row?planting="+m[1], "")
		if got := strings.Count(page, `class="card`); got != 7 { // Five stages, picking, frost.
			t.Errorf("%s: %d cards, want 7", m[1], got)
		}
	}
}
