package main

import (
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"
)

// hillFarm starts the program with a small farm and returns visitors of every
// role.
func hillFarm(t *testing.T, units string) (*service, map[string]*visitor) {
	t.Helper()
	s := newServiceAt(t, inJune)
	s.json(201, "PUT", "/v1/farms/hill-farm", fmt.Sprintf(`{"name":"Hill Farm","latitude":42.3,"longitude":-83.7,"time_zone":"America/Detroit","units":%q}`, units))
	s.json(201, "PUT", "/v1/farms/far", `{"name":"Far","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	s.json(201, "PUT", "/v1/farms/hill-farm/stations/post", `{"name":"Post","latitude":42.3,"longitude":-83.7,"elevation_m":274,"stand_in":null}`)
	s.json(201, "PUT", "/v1/farms/hill-farm/varieties/jewel", `{"name":"Jewel","ripens":"late_mid"}`)
	s.json(201, "PUT", "/v1/farms/hill-farm/plantings/jewel-home", `{"variety":"jewel","block":"Home","station":"post","planted_on":"2015-04-20","area_m2":1234.56780012,"expected_kg_per_m2":1.1}`)
	who := map[string]*visitor{}
	for name, args := range map[string][]string{
		"owner": {"--role", "owner", "--farm", "hill-farm"}, "grower": {"--role", "grower", "--farm", "hill-farm"},
		"reader": {"--role", "reader", "--farm", "hill-farm"}, "stranger": {"--role", "owner", "--farm", "far"}, "installation": {"--role", "owner"},
	} {
		v := newVisitor(t, s.base)
		v.signIn(strings.TrimSpace(s.command(append([]string{"key", "new", "--name", name}, args...)...)))
		who[name] = v
	}
	return s, who
}

func TestTheBookShowsAndChangesWhatIsOnRecord(t *testing.T) {
	t.Parallel()
	s, who := hillFarm(t, "us")
	v := who["owner"]
	book := v.page("/f/hill-farm/book")
	pageSays(t, "the Book", book, "Home 0.305 acres Jewel", "9,810 lb/acre expected", "Planted Mon Apr 20, 2015.",
		"Jewel mid to late none yet its class, until it has own seasons", "Post 42.3° N, 83.7° W, 899 ft above the sea none left out until judged",
		"A day is thin below not set", "A gap is told from 50 in 100", "single sine from 37.4 °F to 86 °F, horizontal cutoff", "nobody yet: it is the usual one")

	// What nobody changed stays exactly, though it is shown in other units.
	const planting = "/f/hill-farm/book/planting/jewel-home"
	form := v.page(planting)
	pageHolds(t, "the planting's form", form, `name="area" value="1234.5678"`, `<option value="m2" selected>m²</option>`, `name="yield" value="1.1"`)
	same := []string{"variety", "jewel", "block", "Home", "station", "post", "planted_on", "2015-04-20", "area", "1234.5678", "area_unit", "m2", "yield", "1.1", "yield_unit", "kg_m2", "removed_on", ""}
	before := s.json(200, "GET", "/v1/farms/hill-farm/plantings/jewel-home", "")
	v.form(303, planting, same...)
	if after := s.json(200, "GET", "/v1/farms/hill-farm/plantings/jewel-home", ""); fmt.Sprint(after) != fmt.Sprint(before) {
		t.Errorf("saving what is there made %v of %v", after, before)
	}
	with := func(list []string, pairs ...string) []string {
		out := append([]string(nil), list...)
		for i := 0; i < len(pairs); i += 2 {
			for j := 0; j < len(out); j += 2 {
				if out[j] == pairs[i] {
					out[j+1] = pairs[i+1]
				}
			}
		}
		return out
	}
	_, body := v.form(422, planting, with(same, "block", "", "planted_on", "2019-02-30", "area", "0", "yield", "lots", "removed_on", "2010-01-01", "station", "none")...)
	pageSays(t, "a planting with faults", body, "Nothing is saved yet. 5 answers need another look:", "Block must not be empty", "Planted on is not a date", "Area must be between 1.08 sq ft and 2,471 acres", "Expected yield is not a number")
	pageHolds(t, "a planting with faults", body, `value="lots"`, `value="2010-01-01"`)
	v.form(422, planting, with(same, "removed_on", "2010-01-01")...)
	_, body = v.form(422, planting, with(same, "station", "none")...)
	pageSays(t, "a planting with a strange station", body, "must be chosen from the farm's own")
	v.form(303, planting, with(same, "area", "0.5", "area_unit", "acre", "removed_on", "2018-06-10")...)
	p := s.json(200, "GET", "/v1/farms/hill-farm/plantings/jewel-home", "")
	if p["area_m2"] != 2023.4282112 || p["removed_on"] != "2018-06-10" || p["expected_kg_per_m2"] != 1.1 {
		t.Errorf("half an acre removed on 10 June is %v", p)
	}
	pageSays(t, "the Book", v.page("/f/hill-farm/book"), "No planting stands.", "Removed plantings (1)", "removed Sun Jun 10, 2018")

	// A new planting of the same variety and block on the same day is refused.
	_, body = v.form(422, "/f/hill-farm/book/planting", with(same[:len(same)-2], "area", "1", "area_unit", "acre")...)
	pageSays(t, "a planting that is there", body, "has this variety already")
	v.form(303, "/f/hill-farm/book/planting", with(same[:len(same)-2], "planted_on", "2017-05-01", "area", "1,000", "area_unit", "ft2", "yield", "")...)
	p = s.json(200, "GET", "/v1/farms/hill-farm/plantings/jewel-home-2", "")
	if p["area_m2"] != 92.90304 || p["expected_kg_per_m2"] != 1.0 {
		t.Errorf("1,000 sq ft are %v", p)
	}

	// A variety with the farm's own belief, in °F·d.
	const variety = "/f/hill-farm/book/variety/jewel"
	v.form(303, variety, "name", "Jewel", "ripens", "late_mid", "first_ripe", "612", "peak", "720", "last_pick", "900", "base", "50", "method", "single sine")
	x := s.json(200, "GET", "/v1/farms/hill-farm/varieties/jewel", "")["requirement"].(map[string]any)
	if x["first_ripe"] != 340.0 || x["peak"] != 400.0 || x["last_pick"] != 500.0 || x["base_c"] != 10.0 {
		t.Errorf("612, 720 and 900 °F·d above 50 °F are %v", x)
	}
	pageSays(t, "the Book", v.page("/f/hill-farm/book"), "the farm's own belief first ripe 612 °F·d, peak 720 °F·d, last pick 900 °F·d, by single sine from 50 °F to 86 °F")
	_, body = v.form(422, variety, "name", "Jewel", "ripens", "late_mid", "first_ripe", "612", "peak", "", "last_pick", "500", "base", "50", "method", "single sine")
	pageSays(t, "half a belief", body, "Bloom to peak is needed too: all three, or none")
	_, body = v.form(422, "/f/hill-farm/book/variety", "name", "JEWEL", "ripens", "", "base", "37.4", "method", "single sine")
	pageSays(t, "a twin", body, "Name is that of another variety already", "Ripens must be chosen")

	// The farm's own settings; what an API set before stays.
	const farm = "/f/hill-farm/book/farm"
	settings := []string{"name", "Hill Farm", "latitude", "42.3", "longitude", "-83.7", "time_zone", "America/Detroit", "units", "us", "thin", "500", "gap", "40",
		"ready", "", "share", "", "sure", "90", "notice", "3", "weekdays", "6", "weekdays", "0",
		"ready_on", "", "firsts", "", "channels", "", "holidays", ""}
	v.form(303, farm, settings...)
	f := s.json(200, "GET", "/v1/farms/hill-farm", "")
	if f["gap_probability"] != 0.4 || fmt.Sprint(f["opening"]) != "map[confidence:0.9 notice_days:3 weekdays:[sunday saturday]]" {
		t.Errorf("the farm is %v", f)
	}
	_, body = v.form(422, farm, with(settings, "gap", "0", "sure", "101", "notice", "1.5", "latitude", "-42.3", "longitude", "83.7")...)
	pageSays(t, "a farm with faults", body, "must be between 1 and 100", "must be between 0 and 100", "must be whole days", "is far from America/Detroit")
	pageSays(t, "the Book", v.page("/f/hill-farm/book"), "500 lb of ripe fruit standing", "40 in 100", "90 in 100 sure of it; 3 days' notice; open on Sunday, Saturday")

	// Lists that are typed line by line; what is wrong names its line.
	lists := with(settings, "ready_on", "saturday: 1,000\n\nSunday: 900", "firsts", "2", "channels", "Sign: 0\nThe paper: Weekly: 7 days", "holidays", "Father's Day: third Sunday of June")
	v.form(303, farm, lists...)
	f = s.json(200, "GET", "/v1/farms/hill-farm", "")
	opening := f["opening"].(map[string]any)
	if kg := opening["ready_kg_on"].(map[string]any); len(kg) != 2 || !(math.Abs(kg["saturday"].(float64)-453.59237) <= 1e-9) || opening["first_varieties"] != 2.0 {
		t.Errorf("opening is %v", opening)
	}
	if got := fmt.Sprint(opening["channels"], f["holidays"]); got != "[map[name:Sign notice_days:0] map[name:The paper: Weekly notice_days:7]] [map[name:Father's Day rule:third Sunday of June]]" {
		t.Errorf("lists are %s", got)
	}
	pageHolds(t, "the farm's form", v.page(farm), "Sunday: 900", "Saturday: 1000", "The paper: Weekly: 7", "Father&#39;s Day: third Sunday of June")
	_, body = v.form(422, farm, with(settings, "ready_on", "Sabbath: 3", "channels", "Sign", "holidays", "Fair: 31 June", "firsts", "1.5")...)
	pageSays(t, "lists with faults", body, "line 1, “Sabbath: 3”, does not begin with a weekday", "line 1, “Sign”, needs a colon",
		"line 1, “Fair: 31 June”, after the colon is no date: June has no day 31", "must be a whole number")
	_, body = v.form(422, farm, with(settings, "channels", "Sign: 0\nMoon: 61")...)
	pageSays(t, "an entry out of bounds", body, "has an entry that cannot be: number 2 must be between 0 and 60")

	// Who chose the method, and when.
	s.json(201, "PUT", "/v1/farms/hill-farm/method", `{"degree_days":"single triangle","base_c":5,"upper_c":30,"cutoff":"horizontal","reason":"The triangle fits"}`)
	pageSays(t, "the Book", v.page("/f/hill-farm/book"), "single triangle from 41 °F to 86 °F, horizontal cutoff Chosen by test on Mon Jun 11, 2018 Because The triangle fits")
}

func TestPastSeasonsAreEnteredFromANotebook(t *testing.T) {
	t.Parallel()
	s, who := hillFarm(t, "metric")
	s.json(201, "PUT", "/v1/farms/hill-farm/plantings/jewel-hill", `{"variety":"jewel","block":"Hill","station":"post","planted_on":"2016-04-20","area_m2":900}`)
	v := who["grower"]
	const list = "/f/hill-farm/book/seen"
	text := "Jewel; bloom; 12 May 2016\nJewel; first ripe; 12 May 2017\njewel-home; first ripe; 2016-06-10\nHill Jewel; peak; 20 Jun 2030\nNovel; ripe; 2016-06-10\nJewel, Home; opened; 2016-06-10\nJewel (Home); last pick; 1 May 2016"
	_, body := v.form(200, list, "list", text, "do", "look")
	pageSays(t, "the list looked at", body, "3 lines are good, 4 lines cannot be entered",
		"Jewel, Home bloom Thu 12 May 2016", "the planting could be “Jewel, Hill” or “Jewel, Home”", "the date is after today",
		"the planting is not one that stood then", "the stage is not one of bloom, full bloom")
	_, body = v.form(422, list, "list", text, "do", "enter")
	pageSays(t, "the list entered", body, "2 lines were entered. 5 lines are left", "does not fit: bloom was seen on Thu 12 May 2016, and last pick cannot be on Sun 1 May 2016 then")
	got := s.json(200, "GET", "/v1/farms/hill-farm/sightings", "")["sightings"].([]any)
	if len(got) != 2 {
		t.Errorf("%d sightings are on record: %v", len(got), got)
	}

	// As a table: change both dates at once past an order that cannot be, clear
	// another, and keep what is good when something is not.
	const table = "/f/hill-farm/book/seen/2016"
	page := v.page(table)
	pageHolds(t, "the table", page, `name="jewel-home.bloom_10" value="2016-05-12"`, `aria-label="Jewel, Home: first ripe"`)
	if strings.Contains(page, "jewel-hill.bloom_10") {
		t.Error("a planting is asked about the year in which it was set")
	}
	to, _ := v.form(303, table, "jewel-home.bloom_10", "2016-06-12", "was.jewel-home.bloom_10", "2016-05-12",
		"jewel-home.first_ripe", "2016-07-10", "was.jewel-home.first_ripe", "2016-06-10")
	pageSays(t, "the table", v.page(to), "Saved.")
	_, body = v.form(422, table, "jewel-home.bloom_10", "2017-05-12", "was.jewel-home.bloom_10", "2016-06-12",
		"jewel-home.first_ripe", "", "was.jewel-home.first_ripe", "2016-07-10", "jewel-home.peak", "2016-07-20", "was.jewel-home.peak", "", "jewel-home.last_pick", "2016-07-01", "was.jewel-home.last_pick", "")
	pageSays(t, "the table with faults", body, "2 dates were not saved", "This is not in the season of 2016.", "This does not fit: peak was seen on Wed 20 Jul 2016, and last pick cannot be on Fri 1 Jul 2016 then.")
	pageHolds(t, "the table with faults", body, `name="jewel-home.bloom_10" value="2017-05-12"`, `name="was.jewel-home.bloom_10" value="2016-06-12"`, `name="was.jewel-home.peak" value="2016-07-20"`)
	if got := fmt.Sprint(s.json(200, "GET", "/v1/farms/hill-farm/sightings", "")["sightings"]); strings.Contains(got, "first_ripe") || !strings.Contains(got, "2016-06-12") || !strings.Contains(got, "2016-07-20") {
		t.Errorf("on record are %s", got)
	}
	// What somebody else has changed meanwhile is not written over.
	s.json(200, "POST", "/v1/farms/hill-farm/sightings", `{"sightings":[{"planting":"jewel-home","date":"2016-05-20","stage":"bloom_10","seen":true}]}`)
	v.form(303, table, "jewel-home.bloom_10", "2016-06-12", "was.jewel-home.bloom_10", "2016-06-12", "jewel-home.peak", "2016-07-20", "was.jewel-home.peak", "2016-07-20")
	pageSays(t, "the Book", v.page("/f/hill-farm/book"), "2017 nothing yet 2016 2 dates")
	pageHolds(t, "the table", v.page(table), `name="jewel-home.bloom_10" value="2016-05-20"`)
	for _, year := range []string{"abc", "99999", "-1"} {
		if res, _ := v.send("GET", "/f/hill-farm/book/seen/"+year, ""); res.StatusCode != http.StatusNotFound {
			t.Errorf("the season %s: %s", year, res.Status)
		}
	}
	pageSays(t, "a season before the farm", v.page("/f/hill-farm/book/seen/2001"), "No planting bore in 2001.")

	// A mistake of this season is taken back.
	r := s.json(200, "POST", "/v1/farms/hill-farm/sightings", `{"sightings":[{"planting":"jewel-home","date":"2018-05-09","stage":"bloom_10","seen":false,"note":"only buds"}]}`)
	id := r["sightings"].([]any)[0].(map[string]any)["id"].(string)
	pageSays(t, "the Book", v.page("/f/hill-farm/book"), "Wed 9 May not yet: bloom Jewel, Home “only buds” Take back")
	v.form(303, "/f/hill-farm/book/sighting/"+id+"/back")
	pageSays(t, "the Book", v.page("/f/hill-farm/book"), "Seen in 2018 Nothing yet.")
	v.form(404, "/f/hill-farm/book/sighting/"+id+"/back")
}

func TestRolesDecideWhatTheBookOffers(t *testing.T) {
	t.Parallel()
	_, who := hillFarm(t, "metric")
	forms := map[string]string{ // The least role that each is for.
		"/f/hill-farm/book/farm": "owner", "/f/hill-farm/book/station": "owner", "/f/hill-farm/book/station/post": "owner",
		"/f/hill-farm/book/variety": "owner", "/f/hill-farm/book/variety/jewel": "owner", "/f/hill-farm/book/planting": "owner",
		"/f/hill-farm/book/planting/jewel-home": "owner", "/f/hill-farm/book/list": "owner", "/f/hill-farm/setup": "owner", "/f/hill-farm/people": "owner",
		"/f/hill-farm/book/seen": "grower", "/f/hill-farm/book/seen/2016": "grower", "/setup": "installation",
	}
	allowed := map[string]string{"owner": "owner grower", "grower": "grower", "reader": "", "installation": "owner grower installation"}
	for path, least := range forms {
		for name, may := range allowed {
			want := http.StatusForbidden
			if strings.Contains(may, least) {
				want = http.StatusOK
			}
			if res, _ := who[name].send("GET", path, ""); res.StatusCode != want {
				t.Errorf("%s gets %s: %d, want %d", name, path, res.StatusCode, want)
			}
			if want == http.StatusForbidden && path != "/f/hill-farm/setup" && path != "/f/hill-farm/people" {
				if res, _ := who[name].send("POST", path, "name=x"); res.StatusCode != want {
					t.Errorf("%s posts %s: %d", name, path, res.StatusCode)
				}
			}
		}
		if path == "/setup" {
			continue
		}
		if res, _ := who["stranger"].send("GET", path, ""); res.StatusCode != http.StatusNotFound {
			t.Errorf("a stranger gets %s: %d", path, res.StatusCode)
		}
	}
	for name, links := range map[string]int{"owner": 1, "grower": 0, "reader": 0} {
		if n := strings.Count(who[name].page("/f/hill-farm/book"), "/book/planting/jewel-home"); n != links {
			t.Errorf("%s is offered to change the planting %d times", name, n)
		}
	}
	for name, links := range map[string]int{"owner": 1, "grower": 1, "reader": 0} {
		if n := strings.Count(who[name].page("/f/hill-farm/book"), "/book/seen/2016"); n != links {
			t.Errorf("%s is offered to enter 2016 %d times", name, n)
		}
	}
	who["reader"].form(403, "/f/hill-farm/book/sighting/x/back")
}

func TestLongNamesAndStrangeOnesAreKept(t *testing.T) {
	t.Parallel()
	s, who := hillFarm(t, "metric")
	v := who["owner"]
	long := strings.Repeat("Langer Name ", 8) + "é"
	v.form(303, "/f/hill-farm/book/variety", "name", long, "ripens", "early", "base", "3", "method", "single sine")
	v.form(303, "/f/hill-farm/book/variety", "name", long+"2", "ripens", "early", "base", "3", "method", "single sine")
	v.form(303, "/f/hill-farm/book/variety", "name", "草莓", "ripens", "early", "base", "3", "method", "single sine")
	_, body := v.form(422, "/f/hill-farm/book/variety", "name", strings.Repeat("x", 101), "ripens", "early", "base", "3", "method", "single sine")
	pageSays(t, "too long a name", body, "Name must be at most 100 characters")
	if n := s.asked(v, "varieties"); n != 4 {
		t.Errorf("%d varieties", n)
	}
	s.json(200, "GET", "/v1/farms/hill-farm/varieties/variety", "")
	pageSays(t, "the Book", v.page("/f/hill-farm/book"), long, "草莓 early")
}

func TestTheBookOfALargeFarmIsSmallAndQuick(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	v := newVisitor(t, s.base)
	v.signIn(s.key)
	for _, path := range []string{"/f/lanternfen/book", "/f/lanternfen/setup", "/f/lanternfen/people", "/f/lanternfen/book/seen/2017", "/f/lanternfen/book/farm", "/f/lanternfen/book/list"} {
		start := time.Now()
		page := v.page(path)
		if len(page) > 100<<10 {
			t.Errorf("%s has %d bytes", path, len(page))
		}
		t.Logf("%s: %d bytes, %v", path, len(page), time.Since(start))
	}
	pageSays(t, "the Book of the demo", v.page("/f/lanternfen/book"), "its own seasons, beginning from its class")
}
