package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ripetide/weather"
)

// small puts a farm with one station, in a time zone that is far from UTC.
func (s *service) small() {
	s.t.Helper()
	s.json(201, "PUT", "/v1/farms/f", `{"name":"F","latitude":-41,"longitude":175,"time_zone":"Pacific/Auckland","units":"metric"}`)
	s.json(201, "PUT", "/v1/farms/f/stations/s", `{"name":"S","latitude":-41,"longitude":175,"elevation_m":40,"stand_in":null}`)
}

const outlookPath = "/v1/farms/f/stations/s/outlook"

// outlookBody returns a body of n days from first on, of 5 to max.
func outlookBody(issued, first, unit string, n int, max float64) string {
	d, err := weather.ParseDate(first)
	if err != nil {
		panic(err)
	}
	var days []string
	for i := range n {
		days = append(days, fmt.Sprintf(`{"date":%q,"min":5,"max":%g}`, d+weather.Date(i), max))
	}
	return fmt.Sprintf(`{"issued_at":%q,"unit":%q,"days":[%s]}`, issued, unit, strings.Join(days, ","))
}

// said are the faults of a problem, "pointer: detail".
func said(t *testing.T, body []byte) []string {
	t.Helper()
	var p struct {
		Errors []struct{ Pointer, Parameter, Detail string }
	}
	if err := json.Unmarshal(body, &p); err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range p.Errors {
		out = append(out, e.Pointer+e.Parameter+": "+e.Detail)
	}
	return out
}

func TestOutlooksAreKept(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	s.json(404, "GET", outlookPath, "")
	if l := s.json(200, "GET", outlookPath+"s", "")["outlooks"].([]any); len(l) != 0 {
		t.Errorf("outlooks before one was sent: %v", l)
	}

	// In the evening of 3 June in UTC, when it is 4 June at the farm; in °F.
	one := `{"issued_at":"2025-06-03T20:00:00.25Z","unit":"F","days":[{"date":"2025-06-04","min":41,"max":59},{"date":"2025-06-05","min":32,"max":212}]}`
	b := s.call(422, "PUT", outlookPath, "application/json", one)
	if got, want := said(t, b), []string{"/days/1/max: max 212 °F is above 140 °F"}; !slices.Equal(got, want) {
		t.Errorf("faults %q, want %q", got, want)
	}
	one = strings.Replace(one, "212", "68", 1)
	first := s.json(201, "PUT", outlookPath, one)
	days := "[map[date:2025-06-04 max:15 min:5] map[date:2025-06-05 max:20 min:0]]"
	if fmt.Sprint(first["days"]) != days || first["station"] != "s" || first["version"] != 1.0 || first["issued_at"] != "2025-06-03T20:00:00.25Z" {
		t.Errorf("the outlook was kept as %v", first)
	}
	// The same again, said with another offset, changes nothing.
	same := s.json(200, "PUT", outlookPath, strings.Replace(one, "2025-06-03T20:00:00.25Z", "2025-06-04T08:00:00.25+12:00", 1))
	if fmt.Sprint(same) != fmt.Sprint(first) {
		t.Errorf("the same again: %v, want %v", same, first)
	}
	before := first["received_at"].(string)
	second := s.json(200, "PUT", outlookPath, outlookBody("2025-06-03T20:00:00.25Z", "2025-06-05", "C", 3, 17))
	if second["version"] != 2.0 || second["received_at"] == before {
		t.Errorf("with other days: %v", second)
	}
	// A later one, and an earlier one that comes last.
	s.json(201, "PUT", outlookPath, outlookBody("2025-06-05T06:00:00+12:00", "2025-06-05", "C", 16, 18))
	s.json(201, "PUT", outlookPath, outlookBody("2025-06-01T06:00:00+12:00", "2025-06-02", "C", 1, 19))
	if got := s.json(200, "GET", outlookPath, ""); got["issued_at"] != "2025-06-04T18:00:00Z" || len(got["days"].([]any)) != 16 {
		t.Errorf("the newest is %v", got)
	}
	if got := s.json(200, "GET", outlookPath+"?known_at="+before, ""); fmt.Sprint(got) != fmt.Sprint(first) {
		t.Errorf("as known before: %v, want %v", got, first)
	}
	s.json(404, "GET", outlookPath+"?known_at=2025-06-10T00:00:00Z", "")
	for query, want := range map[string]string{
		"":                                  "06-01T06 06-04T08v2 06-05T06",
		"?from=2025-06-04":                  "06-04T08v2 06-05T06", // The date at the farm, not in UTC.
		"?to=2025-06-04":                    "06-01T06 06-04T08v2",
		"?from=2025-06-02&to=2025-06-03":    "",
		"?from=2025-06-05&to=2025-06-01":    "",
		"?from=2025-06-04&to=2025-06-04":    "06-04T08v2",
		"?known_at=" + before:               "06-04T08",
		"?known_at=2025-06-10T00:00:00Z":    "",
		"?from=1700-01-01&to=2400-12-31":    "06-01T06 06-04T08v2 06-05T06",
		"?to=2025-06-04&known_at=" + before: "06-04T08",
	} {
		var got []string
		for _, o := range s.json(200, "GET", outlookPath+"s"+query, "")["outlooks"].([]any) {
			o := o.(map[string]any)
			issued, err := time.Parse(time.RFC3339, o["issued_at"].(string))
			if err != nil {
				t.Fatal(err)
			}
			name := issued.In(time.FixedZone("", 12*3600)).Format("01-02T15")
			if v := o["version"].(float64); v > 1 {
				name += fmt.Sprint("v", v)
			}
			got = append(got, name)
		}
		if g := strings.Join(got, " "); g != want {
			t.Errorf("outlooks%s: %q, want %q", query, g, want)
		}
	}
}

func TestOutlookFaultsAreToldAtOnce(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	soon := func(d time.Duration) (issued, date string) {
		at := time.Now().UTC().Add(d)
		zone, err := time.LoadLocation("Pacific/Auckland")
		if err != nil {
			t.Fatal(err)
		}
		return at.Format(time.RFC3339), weather.DateIn(at.In(zone)).String()
	}
	late, lateDate := soon(10 * time.Minute)
	for _, tt := range []struct {
		name, path, contentType, body string
		status                        int
		says                          []string // Each fault, or its beginning; for other statuses parts of the answer.
	}{
		{"an empty object", outlookPath, "application/json", `{}`, 422, []string{"/issued_at: is needed", "/unit: is needed", "/days: is needed"}},
		{"every kind at once", outlookPath, "application/json",
			`{"issued_at":"2025-06-04T08:00:00","unit":"K","source":"x","days":[{"date":"2025-02-30","min":"4","max":null},{"date":"2025-06-05","max":8,"mean":6},7,{"date":"2025-06-05","min":9,"max":8}]}`, 422,
			[]string{
				"/source: unknown field", "/issued_at: is not an instant", "/unit: must be one of", "/days/0/date: is not a calendar date", "/days/0/min: must be a number", "/days/0/max: must be a number",
				"/days/1/mean: unknown field", "/days/1/min: is needed", "/days/2: must be an object", "/days/2/date: is needed", "/days/2/min: is needed", "/days/2/max: is needed",
				"/days/3/date: is there twice", "/days/3/min: min 9 is above max 8",
			}},
		{"shape and calendar", outlookPath, "application/json",
			`{"issued_at":"2025-06-04T08:00:00+12:00","unit":"C","days":[{"date":"2025-06-03","min":4,"max":8,"x":1},{"date":"2025-06-05","min":4,"max":61}]}`, 422,
			[]string{"/days/0/x: unknown field", "/days/0/date: must be 2025-06-04", "/days/1/date: must be 2025-06-04, the day after", "/days/1/max: max 61 °C is above 60 °C, is it °F?"}},
		{"no days", outlookPath, "application/json", `{"issued_at":"2025-06-04T08:00:00+12:00","unit":"C","days":[]}`, 422, []string{"/days: must hold at least"}},
		{"days is null", outlookPath, "application/json", `{"issued_at":"2025-06-04T08:00:00+12:00","unit":"C","days":null}`, 422, []string{"/days: must be a list"}},
		{"too many days", outlookPath, "application/json", outlookBody("2025-06-04T08:00:00+12:00", "2025-06-04", "C", 17, 8), 422, []string{"/days: must hold at most"}},
		{"issued later than now", outlookPath, "application/json", outlookBody(late, lateDate, "C", 3, 8), 422, []string{"/issued_at: must not be later than now"}},
		{"°F given as °C", outlookPath, "application/json",
			`{"issued_at":"2025-06-04T08:00:00+12:00","unit":"C","days":[{"date":"2025-06-04","min":44,"max":58},{"date":"2025-06-05","min":45,"max":58},{"date":"2025-06-06","min":46,"max":58}]}`, 422,
			[]string{"/unit: 3 of 3 rows"}},
		{"a number that is too large", outlookPath, "application/json", `{"issued_at":"2025-06-04T08:00:00+12:00","unit":"C","days":[{"date":"2025-06-04","min":4,"max":1e999}]}`, 400, []string{"unreadable"}},
		{"NaN", outlookPath, "application/json", `{"issued_at":"2025-06-04T08:00:00+12:00","unit":"C","days":[{"date":"2025-06-04","min":4,"max":NaN}]}`, 400, []string{"unreadable"}},
		{"a list", outlookPath, "application/json", `[]`, 422, []string{": must be an object", "/issued_at: ", "/unit: ", "/days: "}},
		{"nothing", outlookPath, "application/json", ``, 400, []string{"a body is needed"}},
		{"a file", outlookPath, "text/csv", "date,min_c,max_c\n2025-06-04,4,8\n", 415, []string{"application/json"}},
		{"too large", outlookPath, "application/json", `{"issued_at":"` + strings.Repeat("x", 1<<20) + `"}`, 413, []string{"too-large"}},
		{"no such station", "/v1/farms/f/stations/t/outlook", "application/json", `{}`, 404, []string{"station-not-found"}},
		{"no such farm", "/v1/farms/g/stations/s/outlook", "application/json", `{}`, 404, []string{"farm-not-found"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := s.call(tt.status, "PUT", tt.path, tt.contentType, tt.body)
			if tt.status != 422 {
				for _, want := range tt.says {
					if !strings.Contains(string(b), want) {
						t.Errorf("the answer does not say %q: %s", want, b)
					}
				}
				return
			}
			got := said(t, b)
			for _, want := range tt.says {
				i := slices.IndexFunc(got, func(s string) bool { return strings.HasPrefix(s, want) })
				if i < 0 {
					t.Errorf("nothing says %q", want)
					continue
				}
				got = slices.Delete(got, i, i+1)
			}
			if len(got) > 0 {
				t.Errorf("says besides %q", got)
			}
		})
	}
	for query, want := range map[string]string{"?from=2025-02-30": "from", "?to=x": "to", "?known_at=now": "known_at", "?since=2025-01-01": "since"} {
		if b := s.call(422, "GET", outlookPath+"s"+query, "", ""); !strings.Contains(string(b), want) {
			t.Errorf("%s: %s", query, b)
		}
	}
	for _, path := range []string{"/v1/farms/f/stations/t/outlook", "/v1/farms/f/stations/t/outlooks"} {
		if b := s.call(404, "GET", path, "", ""); !strings.Contains(string(b), "station-not-found") {
			t.Errorf("%s: %s", path, b)
		}
	}
	if l := s.json(200, "GET", outlookPath+"s", "")["outlooks"].([]any); len(l) != 0 {
		t.Errorf("bad bodies left outlooks: %v", l)
	}
	// A clock that is a little ahead is forgiven.
	issued, date := soon(2 * time.Minute)
	s.json(201, "PUT", outlookPath, outlookBody(issued, date, "C", 3, 8))
}

// crowd sends the same request from many clients at once and returns how often
// each status was answered.
func (s *service) crowd(n int, method, path, body string) map[int]int {
	s.t.Helper()
	statuses := map[int]int{}
	var mu sync.Mutex
	var wg sync.WaitGroup
	for range n {
		wg.Go(func() {
			req, err := http.NewRequestWithContext(s.t.Context(), method, s.base+path, bytes.NewReader([]byte(body)))
			if err != nil {
				s.t.Error(err)
				return
			}
			req.Header.Set("Content-Type", "application/json")
			req.Header.Set("Authorization", "Bearer "+s.key)
			res, err := http.DefaultClient.Do(req)
			if err != nil {
				s.t.Error(err)
				return
			}
			res.Body.Close()
			mu.Lock()
			statuses[res.StatusCode]++
			mu.Unlock()
		})
	}
	wg.Wait()
	return statuses
}

func TestTwentyClientsPutTheSame(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	const issued = "2025-06-04T08:00:00+12:00"
	for version, max := range []float64{8, 9} {
		got := s.crowd(20, "PUT", outlookPath, outlookBody(issued, "2025-06-04", "C", 10, max))
		want := map[int]int{200: 20}
		if version == 0 {
			want = map[int]int{201: 1, 200: 19}
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("outlook: statuses %v, want %v", got, want)
		}
		if o := s.json(200, "GET", outlookPath, ""); o["version"] != float64(version+1) {
			t.Errorf("version %v, want %d", o["version"], version+1)
		}
	}
	for n, base := range []string{"2", "2.5"} {
		got := s.crowd(20, "PUT", "/v1/farms/f/method", `{"degree_days":"single sine","base_c":`+base+`,"upper_c":30,"cutoff":"horizontal"}`)
		want := map[int]int{200: 20}
		if n == 0 {
			want = map[int]int{201: 1, 200: 19}
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("method: statuses %v, want %v", got, want)
		}
		if m := s.json(200, "GET", "/v1/farms/f/method", ""); len(m["history"].([]any)) != n+1 {
			t.Errorf("history %v, want %d choices", m["history"], n+1)
		}
	}
}

func TestWhoMaySendOutlooksAndChooseMethods(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	s.json(201, "PUT", "/v1/farms/g", `{"name":"G","latitude":48,"longitude":8,"time_zone":"Europe/Berlin","units":"metric"}`)
	const method = "/v1/farms/f/method"
	outlook := outlookBody("2025-06-04T08:00:00+12:00", "2025-06-04", "C", 2, 8)
	choice := `{"degree_days":"average","base_c":4,"cutoff":"none"}`
	owner := s.key
	for _, tt := range []struct {
		role, farm                    string
		read, put, choose, readMethod int
	}{
		{"", "", 401, 401, 401, 401},
		{"owner", "g", 404, 404, 404, 404},
		{"reader", "f", 404, 403, 403, 200}, // 404: no outlook yet.
		{"grower", "f", 404, 201, 403, 200},
		{"owner", "f", 200, 200, 201, 200},
	} {
		s.key = ""
		if tt.role != "" {
			s.key = strings.TrimSpace(s.command("key", "new", "--role", tt.role, "--name", tt.role, "--farm", tt.farm))
		}
		s.json(tt.read, "GET", outlookPath, "")
		s.json(tt.put, "PUT", outlookPath, outlook)
		if tt.put == 403 || tt.put == 401 || tt.farm == "g" { // Nobody learns from faults what they may not know.
			s.json(tt.put, "PUT", outlookPath, `{}`)
		}
		s.json(tt.choose, "PUT", method, choice)
		s.json(tt.readMethod, "GET", method, "")
		list := tt.readMethod
		s.json(list, "GET", outlookPath+"s", "")
	}
	s.key = owner
	if m := s.json(200, "GET", method, ""); m["by"] != "owner" {
		t.Errorf("the method was chosen by %v", m["by"])
	}
}

// TestAnOutlookIsSentAsAFile sends what two services give: one tells when it was
// issued and begins with the rest of a night, the other does not tell.
func TestAnOutlookIsSentAsAFile(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	zone, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now().In(zone).Truncate(time.Second)
	y, m, d := now.Date()
	hour := func(day, hour int) string {
		return time.Date(y, m, d+day, hour, 0, 0, 0, zone).UTC().Format(time.RFC3339)
	}
	grid := fmt.Sprintf(`{"properties":{"gridId":"X","gridX":1,"gridY":2,"updateTime":%q,
		"maxTemperature":{"uom":"wmoUnit:degC","values":[{"validTime":"%s/PT13H","value":20},{"validTime":"%s/PT13H","value":21}]},
		"minTemperature":{"uom":"wmoUnit:degC","values":[{"validTime":"%s/PT2H","value":9},{"validTime":"%s/PT14H","value":8}]}}}`,
		now.UTC().Format(time.RFC3339), hour(0, 7), hour(1, 7), hour(0, 8), hour(0, 20))
	got := s.json(200, "POST", outlookPath, grid)
	days, refused := got["days"].([]any), got["refused"].([]any)
	if len(days) != 1 || days[0].(map[string]any)["min"] != 8.0 || days[0].(map[string]any)["max"] != 21.0 || got["format"] != "nws-grid" {
		t.Errorf("the grid: %v", got)
	}
	if len(refused) != 1 || !strings.Contains(fmt.Sprint(refused), "min is of 2 h only, the rest of a night") {
		t.Errorf("left out: %v", refused)
	}
	if o := s.json(200, "GET", outlookPath, ""); o["issued_at"] != got["issued_at"] || fmt.Sprint(o["days"]) != fmt.Sprint(days) {
		t.Errorf("kept %v of %v", o, got)
	}

	today := weather.DateIn(now)
	_, offset := now.Zone()
	model := fmt.Sprintf(`{"utc_offset_seconds":%d,"timezone":"Pacific/Auckland","daily_units":{"temperature_2m_max":"°F","temperature_2m_min":"°F"},
		"daily":{"time":[%q,%q,%q],"temperature_2m_max":[67,68,69],"temperature_2m_min":[49,50,51]}}`, offset, today-1, today, today+1)
	if got := said(t, s.call(422, "POST", outlookPath, "application/json", model)); !slices.Equal(got, []string{"issued_at: is needed, for the file does not tell it"}) {
		t.Errorf("without its time: %q", got)
	}
	at := "?issued_at=" + url.QueryEscape(now.Add(-time.Second).UTC().Format(time.RFC3339))
	got = s.json(200, "POST", outlookPath+at, model)
	if days = got["days"].([]any); len(days) != 2 || days[0].(map[string]any)["min"] != 10.0 || days[0].(map[string]any)["date"] != today.String() {
		t.Errorf("the model: %v", got)
	}
	if got := said(t, s.call(422, "POST", outlookPath+at, "application/json", grid)); len(got) != 1 || !strings.HasPrefix(got[0], "issued_at: is not what the file tells, ") {
		t.Errorf("another time: %q", got)
	}
	ahead := "?issued_at=" + url.QueryEscape(now.Add(time.Hour).UTC().Format(time.RFC3339))
	if got := said(t, s.call(422, "POST", outlookPath+ahead, "application/json", model)); len(got) != 1 || !strings.HasPrefix(got[0], ": of the file, issued_at: ") {
		t.Errorf("of later: %q", got)
	}
	s.json(422, "POST", outlookPath, `{"unit":"C","days":[]}`)
	s.call(422, "POST", outlookPath, "text/csv", "date,min_c,max_c\n2024-01-01,1,2\n")
}
