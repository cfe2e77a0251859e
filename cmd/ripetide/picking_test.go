package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/weather"
)

const (
	pickingsPath = "/v1/farms/f/pickings"
	frostsPath   = "/v1/farms/f/frosts"
)

// planted puts the small farm, south of the equator, with two plantings.
func (s *service) planted() {
	s.t.Helper()
	s.small()
	s.json(201, "PUT", "/v1/farms/f/varieties/v", `{"name":"V","ripens":"mid"}`)
	for _, id := range []string{"p", "q"} {
		s.json(201, "PUT", "/v1/farms/f/plantings/"+id, `{"variety":"v","block":"B","station":"s","planted_on":"2020-06-01","area_m2":100}`)
	}
}

// listed returns the pickings or frosts of an answer, one in a line.
func listed(answer map[string]any, name string) string {
	var lines []string
	for _, x := range answer[name].([]any) {
		lines = append(lines, strings.TrimPrefix(fmt.Sprint(x), "map"))
	}
	return strings.Join(lines, "\n")
}

func wantList(t *testing.T, what, got string, want ...string) {
	t.Helper()
	if w := strings.Join(want, "\n"); got != w {
		t.Errorf("%s:\n%s\nwant\n%s", what, got, w)
	}
}

func TestPickingsAreKeptReplacedAndTakenBack(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	if got := listed(s.json(200, "GET", pickingsPath, ""), "pickings"); got != "" {
		t.Errorf("before there was one: %s", got)
	}
	const (
		p12    = "[closed:false date:2024-12-12 kg:90.5 left:some note:first row, then rain planting:p source:customers]"
		p12b   = "[closed:false date:2024-12-12 kg:120 planting:p source:all]"
		pRain  = "[closed:true date:2024-12-13 kg:0 left:lots planting:p source:all]"
		qEarly = "[closed:false date:2024-06-30 kg:0 planting:q source:all]"
		q12    = "[closed:false date:2024-12-12 kg:100000 planting:q source:staff]"
	)
	r := s.json(200, "POST", pickingsPath, `{"pickings":[
		{"planting":"q","date":"2024-12-12","kg":100000,"source":"staff"},
		{"planting":"q","date":"2024-12-13","kg":100001},
		{"planting":"p","date":"2024-12-12","kg":90.5,"left":"some","source":"customers","note":" first row,\n then rain "},
		{"planting":"west","date":"2024-12-12","kg":1},
		{"planting":"p","date":"2024-12-13","kg":0,"closed":true,"left":"lots"},
		{"planting":"q","date":"2024-06-30","kg":0,"source":"all"}]}`)
	wantList(t, "kept", listed(r, "pickings"), q12, p12, pRain, qEarly)
	wantList(t, "refused", listed(r, "refused"),
		"[reason:kg must be between 0 and 100000 row:2]", "[reason:there is no such planting row:4]")
	before := time.Now().UTC().Format(time.RFC3339Nano)

	// The same again changes nothing; the same day with another sum replaces.
	again := `{"pickings":[{"planting":"q","date":"2024-12-12","kg":100000,"source":"staff"}]}`
	wantList(t, "the same again", listed(s.json(200, "POST", pickingsPath, again), "pickings"), q12)
	s.json(200, "POST", pickingsPath, `{"pickings":[{"planting":"p","date":"2024-12-12","kg":120}]}`)

	for query, want := range map[string][]string{
		"":                                 {p12b, pRain, qEarly, q12},
		"?planting=q":                      {qEarly, q12},
		"?planting=west":                   nil,
		"?season=2024":                     {qEarly}, // It ends on 30 June there.
		"?season=2025":                     {p12b, pRain, q12},
		"?season=2025&from=2024-12-13":     {pRain},
		"?season=2025&to=2024-12-12":       {p12b, q12},
		"?season=2025&from=2024-01-01":     {p12b, pRain, q12},
		"?season=2024&to=2024-12-31":       {qEarly},
		"?season=2026":                     nil,
		"?from=2024-12-12&to=2024-12-12":   {p12b, q12},
		"?known_at=" + before:              {p12, pRain, qEarly, q12},
		"?known_at=2020-01-01T00:00:00Z":   nil,
		"?planting=p&known_at=" + before:   {p12, pRain},
		"?to=2024-12-12&season=2025&from=": {p12b, q12},
	} {
		wantList(t, "list "+query, listed(s.json(200, "GET", pickingsPath+query, ""), "pickings"), want...)
	}
	for query, want := range map[string]string{
		"?from=2024-02-30": "from: is not a calendar date YYYY-MM-DD", "?to=1500-01-01": "to: is not a calendar date YYYY-MM-DD of the years 1700 to 2400",
		"?season=12": "season: must be at least 1700", "?day=2024-12-12": "day: unknown query parameter",
	} {
		if got := said(t, s.call(422, "GET", pickingsPath+query, "", "")); !slices.Equal(got, []string{want}) {
			t.Errorf("list %s: faults %q, want %q", query, got, want)
		}
	}

	s.call(204, "DELETE", pickingsPath+"/p/2024-12-12", "", "")
	wantList(t, "after one was taken back", listed(s.json(200, "GET", pickingsPath+"?planting=p", ""), "pickings"), pRain)
	wantList(t, "as it was known before", listed(s.json(200, "GET", pickingsPath+"?planting=p&known_at="+before, ""), "pickings"), p12, pRain)
	for path, want := range map[string]string{
		pickingsPath + "/p/2024-12-12":       "/problems/picking-not-found",
		pickingsPath + "/west/2024-12-12":    "/problems/planting-not-found",
		"/v1/farms/g/pickings/p/2024-12-12":  "/problems/farm-not-found",
		"/v1/farms/f/frosts/p/2024-12-13":    "/problems/frost-not-found",
		"/v1/farms/f/frosts/west/2024-12-13": "/problems/planting-not-found",
	} {
		if got := s.json(404, "DELETE", path, "")["type"]; got != want {
			t.Errorf("DELETE %s: %v, want %s", path, got, want)
		}
	}
	for _, day := range []string{"2024-02-30", "1500-01-01"} {
		if got := said(t, s.call(422, "DELETE", pickingsPath+"/p/"+day, "", "")); len(got) != 1 || !strings.HasPrefix(got[0], "date: is not a calendar date") {
			t.Errorf("DELETE of %s: %q", day, got)
		}
	}
	s.json(404, "POST", "/v1/farms/g/pickings", again)
	s.json(404, "GET", "/v1/farms/g/pickings", "")
}

func TestPickingsThatAreNotKept(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	zone, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	today := weather.DateIn(time.Now().In(zone))
	long := strings.Repeat("ä", 200)
	for name, tt := range map[string]struct {
		item string
		want []string
	}{
		"without a sum":         {`{"planting":"p","date":"2024-12-12"}`, []string{"/kg: kg is needed"}},
		"with no sum":           {`{"planting":"p","date":"2024-12-12","kg":null}`, []string{"/kg: kg is needed"}},
		"a sum in words":        {`{"planting":"p","date":"2024-12-12","kg":"much"}`, []string{": kg must be a number, not a string"}},
		"less than nothing":     {`{"planting":"p","date":"2024-12-12","kg":-1}`, []string{"/kg: kg must be between 0 and 100000"}},
		"fruit of a closed day": {`{"planting":"p","date":"2024-12-12","kg":5,"closed":true}`, []string{"/kg: kg must be 0 on a day that was closed"}},
		"before it was planted": {`{"planting":"p","date":"2020-05-31","kg":5}`, []string{"/date: date must not be before 2020-06-01, when it was planted"}},
		// The morning after next, so that midnight may come while the test runs.
		"the day after tomorrow":  {fmt.Sprintf(`{"planting":"p","date":%q,"kg":5}`, today+2), []string{"/date: date is after today, which is "}},
		"no date of the calendar": {`{"planting":"p","date":"2024-02-30","kg":5}`, []string{"/date: date is not a calendar date YYYY-MM-DD of the years 1700 to 2400"}},
		"of no planting":          {`{"planting":"west","date":"2024-12-12","kg":5}`, []string{"/planting: there is no such planting"}},
		"of a planting unnamed":   {`{"date":"2024-12-12","kg":5}`, []string{"/planting: planting must be 1 to 64 of"}},
		"a long note":             {`{"planting":"p","date":"2024-12-12","kg":5,"note":"` + long + `x"}`, []string{"/note: note must be at most 200 characters"}},
		"an unknown field":        {`{"planting":"p","date":"2024-12-12","kg":5,"lb":10}`, []string{`: unknown field "lb"`}},
		"no object":               {`5`, []string{": must be an object"}},
		"everything at once": {`{"planting":"p","date":"2020-02-30","left":"few","source":"birds"}`, []string{
			"/date: date is not", "/kg: kg is needed", "/left: left must be one of none, some, lots", "/source: source must be one of customers, staff, all",
		}},
	} {
		got := said(t, s.call(422, "POST", pickingsPath, "application/json", `{"pickings":[`+tt.item+`]}`))
		if len(got) != len(tt.want) {
			t.Errorf("%s: faults %q, want %q", name, got, tt.want)
			continue
		}
		for i, want := range tt.want {
			if !strings.HasPrefix(got[i], "/pickings/0"+want) {
				t.Errorf("%s: fault %q, want %q", name, got[i], want)
			}
		}
	}
	for name, tt := range map[string]struct {
		status            int
		contentType, body string
	}{
		"no list":           {422, "application/json", `{"pickings":{}}`},
		"an empty list":     {422, "application/json", `{"pickings":[]}`},
		"something besides": {422, "application/json", `{"pickings":[{"planting":"p","date":"2024-12-12","kg":5}],"unit":"lb"}`},
		"broken":            {400, "application/json", `{"pickings":[`},
		"another type":      {415, "text/csv", `{"pickings":[{"planting":"p","date":"2024-12-12","kg":5}]}`},
	} {
		if b := s.call(tt.status, "POST", pickingsPath, tt.contentType, tt.body); !strings.Contains(string(b), "type") {
			t.Errorf("%s: %s", name, b)
		}
	}
	if got := listed(s.json(200, "GET", pickingsPath, ""), "pickings"); got != "" {
		t.Errorf("kept all the same: %s", got)
	}
	// Today and the day of planting can be picked, and a note may be as long.
	r := s.json(200, "POST", pickingsPath, fmt.Sprintf(`{"pickings":[
		{"planting":"p","date":%q,"kg":5},{"planting":"p","date":"2020-06-01","kg":5,"note":%q},
		{"planting":"p","date":"2020-02-30","kg":-1}]}`, today, long))
	wantList(t, "refused", listed(r, "refused"), "[reason:date is not a calendar date YYYY-MM-DD of the years 1700 to 2400; kg must be between 0 and 100000 row:3]")
	if n := len(r["pickings"].([]any)); n != 2 {
		t.Errorf("%d kept, want 2", n)
	}
}

func TestFrostsAreKeptReplacedAndTakenBack(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	const (
		p7  = "[date:2024-10-07 low_c:-2.5 note:black centres planting:p share_lost:0.4]"
		p7b = "[date:2024-10-07 planting:p share_lost:1]"
		q7  = "[date:2024-10-07 low_c:0 planting:q share_lost:0.01]"
	)
	r := s.json(200, "POST", frostsPath, `{"frosts":[
		{"planting":"q","date":"2024-10-07","share_lost":0.01,"low_c":0},
		{"planting":"p","date":"2024-10-07","share_lost":0},
		{"planting":"p","date":"2024-10-07","share_lost":0.4,"low_c":-2.5,"note":"black centres"},
		{"planting":"p","date":"2024-10-08","low_c":28}]}`)
	wantList(t, "kept", listed(r, "frosts"), q7, p7)
	wantList(t, "refused", listed(r, "refused"), "[reason:share_lost must be above 0 and at most 1 row:2]",
		"[reason:share_lost is needed; low_c must be between -40 and 10 row:4]")
	before := time.Now().UTC().Format(time.RFC3339Nano)
	s.json(200, "POST", frostsPath, `{"frosts":[{"planting":"p","date":"2024-10-07","share_lost":1}]}`)
	for query, want := range map[string][]string{
		"":                    {p7b, q7},
		"?known_at=" + before: {p7, q7},
		"?season=2025":        {p7b, q7},
		"?season=2024":        nil,
		"?planting=q":         {q7},
		"?from=2024-10-08":    nil,
		"?to=2024-10-06":      nil,
	} {
		wantList(t, "list "+query, listed(s.json(200, "GET", frostsPath+query, ""), "frosts"), want...)
	}
	s.call(204, "DELETE", frostsPath+"/p/2024-10-07", "", "")
	wantList(t, "after one was taken back", listed(s.json(200, "GET", frostsPath, ""), "frosts"), q7)
	if got := s.json(404, "DELETE", frostsPath+"/p/2024-10-07", "")["type"]; got != "/problems/frost-not-found" {
		t.Errorf("taken back again: %v", got)
	}
	got := said(t, s.call(422, "POST", frostsPath, "application/json", `{"frosts":[{"planting":"p","date":"2020-05-31","share_lost":0.5}]}`))
	if !slices.Equal(got, []string{"/frosts/0/date: date must not be before 2020-06-01, when it was planted"}) {
		t.Errorf("faults %q", got)
	}
	if _, b := s.plain("GET", "/openapi.json", "", nil); !strings.Contains(string(b), "no frost alarm") {
		t.Error("the document does not say that this is no frost alarm")
	}
}

func TestWhoMayRecordPickingsAndFrosts(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	s.json(201, "PUT", "/v1/farms/g", `{"name":"G","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	key := func(role, farm string) string {
		return strings.TrimSpace(s.command("key", "new", "--role", role, "--name", "x", "--farm", farm))
	}
	bodies := map[string]string{
		pickingsPath: `{"pickings":[{"planting":"p","date":"2024-12-12","kg":5}]}`,
		frostsPath:   `{"frosts":[{"planting":"p","date":"2024-12-12","share_lost":0.5}]}`,
	}
	for _, who := range []struct {
		role, farm       string
		post, read, take int
	}{
		{"grower", "f", 200, 200, 204},
		{"owner", "f", 200, 200, 204},
		{"reader", "f", 403, 200, 403},
		{"owner", "g", 404, 404, 404},
		{"", "", 401, 401, 401},
	} {
		s.key = ""
		if who.role != "" {
			s.key = key(who.role, who.farm)
		}
		for path, body := range bodies {
			s.call(who.post, "POST", path, "application/json", body)
			s.call(who.read, "GET", path, "", "")
			s.call(who.take, "DELETE", path+"/p/2024-12-12", "", "")
		}
	}
}

func TestActualsAreSeenOrToldByPickings(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	s.json(200, "POST", pickingsPath, `{"pickings":[
		{"planting":"p","date":"2024-12-10","kg":2},{"planting":"p","date":"2024-12-11","kg":18},{"planting":"p","date":"2024-12-12","kg":40},
		{"planting":"p","date":"2024-12-13","kg":25},{"planting":"p","date":"2024-12-14","kg":10},{"planting":"p","date":"2024-12-15","kg":5,"left":"some"}]}`)
	s.json(200, "POST", "/v1/farms/f/sightings", `{"sightings":[{"planting":"p","date":"2024-12-09","stage":"first_ripe","seen":true}]}`)
	const path = "/v1/farms/f/seasons/2025/actuals" // South of the equator.
	wantList(t, "actuals", listed(s.json(200, "GET", path, ""), "actuals"),
		"[bound: date:2024-12-09 from:sighting planting:p stage:first_ripe]",
		"[bound: date:2024-12-12 from:pickings planting:p stage:peak]",
		"[bound:no earlier date:2024-12-14 from:pickings planting:p stage:last_pick]")
	if got := listed(s.json(200, "GET", strings.Replace(path, "2025", "2024", 1), ""), "actuals"); got != "" {
		t.Errorf("of another season: %s", got)
	}
	s.call(404, "GET", strings.Replace(path, "/f/", "/g/", 1), "", "")
}
