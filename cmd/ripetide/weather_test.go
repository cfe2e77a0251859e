package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/testdata"
	"ripetide/weather"
)

// michigan puts a farm with a station at Ann Arbor and loads the years from
// first to last of its record.
func (s *service) michigan(first, last int) {
	s.t.Helper()
	s.json(201, "PUT", "/v1/farms/f", `{"name":"F","latitude":42.3,"longitude":-83.7,"time_zone":"America/Detroit","units":"us"}`)
	s.json(201, "PUT", "/v1/farms/f/stations/s", `{"name":"S","latitude":42.3,"longitude":-83.7,"elevation_m":270}`)
	var report struct{ Added, Received int }
	if err := json.Unmarshal(s.call(200, "POST", daysPath, "text/csv", annArbor(s.t, first, last)), &report); err != nil || report.Added != report.Received || report.Added < 300 {
		s.t.Fatalf("%+v, %v", report, err)
	}
}

// annArbor are years of its record as a plain CSV.
func annArbor(t testing.TB, first, last int) string {
	t.Helper()
	record, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	var body strings.Builder
	body.WriteString("date,min_c,max_c\n")
	for _, d := range record.Between(weather.DateOf(first, time.January, 1), weather.DateOf(last, time.December, 31)) {
		fmt.Fprintf(&body, "%s,%g,%g\n", d.Date, d.Min, d.Max)
	}
	return body.String()
}

const daysPath = "/v1/farms/f/stations/s/days"

// tests are the names of the tests among suspects.
func tests(list any) (out []string) {
	for _, x := range list.([]any) {
		x := x.(map[string]any)
		out = append(out, x["date"].(string)+" "+x["test"].(string))
	}
	return out
}

// TestASuspectIsKeptMarkedAndOverruled sends the famous low of 8 June 1991 in
// Ann Arbor, −15 °C between 11.1 and 13.9 (GHCN-Daily USC00200230; it failed
// the record's own tests).
func TestASuspectIsKeptMarkedAndOverruled(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.michigan(1981, 1991)
	low := `{"unit":"C","days":[{"date":"1991-06-08","min":-15,"max":26.1}]}`
	preview := s.json(200, "POST", daysPath+"/preview", low)
	if got := tests(preview["suspect"]); len(got) == 0 || !strings.HasPrefix(got[0], "1991-06-08 ") || preview["added"].(float64)+preview["corrected"].(float64) != 1 {
		t.Fatalf("preview %v", preview)
	}
	day := func() map[string]any {
		t.Helper()
		days := s.json(200, "GET", daysPath+"?from=1991-06-08&to=1991-06-08", "")["days"].([]any)
		if len(days) == 0 {
			return nil
		}
		return days[0].(map[string]any)
	}
	if d := day(); d != nil && d["min"] == -15.0 {
		t.Fatal("a preview was kept")
	}
	report := s.json(200, "POST", daysPath, low)
	if !slices.Equal(tests(report["suspect"]), tests(preview["suspect"])) {
		t.Errorf("the load doubts %v, the preview %v", report["suspect"], preview["suspect"])
	}
	if d := day(); d["min"] != -15.0 || d["used"] != false || len(d["marks"].([]any)) == 0 {
		t.Errorf("kept as %v", d)
	}

	// A person overrules, with a name, and takes it back.
	const verdict = daysPath + "/1991-06-08/verdict"
	if got := said(t, s.call(422, "PUT", verdict, "application/json", `{"use":true,"by":" "}`)); !slices.Equal(got, []string{"/by: is needed"}) {
		t.Errorf("without a name: %q", got)
	}
	s.json(404, "DELETE", verdict, "")
	if got := s.json(422, "GET", daysPath+"/1500-01-01", ""); got["detail"] != "date year 1500 is outside 1700 to 2400" {
		t.Errorf("of 1500: %v", got)
	}
	h := s.json(201, "PUT", verdict, `{"use":true,"by":"Ann Baker","note":"I was there"}`)
	if d := day(); d["used"] != true || h["used"] != true {
		t.Errorf("overruled: %v, %v", d, h)
	}
	s.json(200, "PUT", verdict, `{"use":false,"by":"Bob"}`)
	s.call(204, "DELETE", verdict, "", "")
	if d := day(); d["used"] != false {
		t.Errorf("taken back: %v", d)
	}
	h = s.json(200, "GET", daysPath+"/1991-06-08", "")
	var said []string
	for _, v := range h["verdicts"].([]any) {
		v := v.(map[string]any)
		said = append(said, fmt.Sprint(v["use"], " ", v["by"]))
	}
	if len(said) != 3 || said[0] != "true Ann Baker" || said[1] != "false Bob" || !strings.HasPrefix(said[2], "<nil> key ") {
		t.Errorf("verdicts %q", said)
	}

	// By its own rule the station may use what is doubted.
	s.json(200, "PUT", "/v1/farms/f/stations/s", `{"name":"S","latitude":42.3,"longitude":-83.7,"elevation_m":270,"suspects":"use"}`)
	if d := day(); d["used"] != true || len(d["marks"].([]any)) == 0 {
		t.Errorf("by the station's rule: %v", d)
	}
	s.json(200, "PUT", "/v1/farms/f/stations/s", `{"name":"S","latitude":42.3,"longitude":-83.7,"elevation_m":270}`)

	// The health of the station tells it all, on the page and on the terminal.
	health := s.json(200, "GET", "/v1/farms/f/stations/s/health", "")
	if got := tests(health["suspects"].(map[string]any)["latest"]); !slices.Contains(got, tests(report["suspect"])[0]) {
		t.Errorf("health %v", health["suspects"])
	}
	if c := health["corrections"].([]any); len(c) > 1 || health["last"] != "1991-12-31" || health["days_old"].(float64) < 12_000 {
		t.Errorf("health %v", health)
	}
	if out := s.command("health", "s"); !strings.Contains(out, "1991-06-08") || !strings.Contains(out, "are missing since") || !strings.Contains(out, "outlook          none") {
		t.Errorf("health printed\n%s", out)
	}

	// A day whose low and high both failed the tests of its source is one day.
	before := health["suspects"].(map[string]any)
	s.call(200, "POST", daysPath+"?unit=C", "text/csv", `"STATION","DATE","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"`+"\n"+
		`"X","1991-07-01","  25.6",",I,0","  15.6",",I,0"`+"\n"+`"X","1991-07-02","  25.7",",,0","  15.7",",S,0"`+"\n")
	if out := s.command("health", "s"); !regexp.MustCompile(`(?m)^corrections +2 days were corrected in the last 30 days$`).MatchString(out) {
		t.Errorf("health printed\n%s", out)
	}
	after := s.json(200, "GET", "/v1/farms/f/stations/s/health", "")["suspects"].(map[string]any)
	if after["days"].(float64)-before["days"].(float64) != 2 || after["by_test"].(map[string]any)["source"] != 2.0 {
		t.Errorf("of two days by their source: %v, before %v", after, before)
	}
}

// TestReadingHoursMoveTheHighs writes a record as a reader in the morning does:
// the high of a day under the next date.
func TestReadingHoursMoveTheHighs(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.michigan(1990, 1991)
	record, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	days := record.Between(weather.DateOf(2000, time.January, 1), weather.DateOf(2003, time.December, 31))
	s.json(201, "PUT", "/v1/farms/f/stations/coop", `{"name":"Coop","latitude":42.3,"longitude":-83.7,"elevation_m":270}`)
	var body strings.Builder
	body.WriteString("date,min_c,max_c\n")
	for i := 1; i < len(days); i++ {
		if days[i-1].Date == days[i].Date-1 && days[i-1].Max >= days[i].Min {
			fmt.Fprintf(&body, "%s,%g,%g\n", days[i].Date, days[i].Min, days[i-1].Max)
		}
	}
	const coop = "/v1/farms/f/stations/coop"
	s.call(200, "POST", coop+"/days", "text/csv", body.String())
	health := s.json(200, "GET", coop+"/health", "")
	p, ok := health["reading_hours_proposed"].(map[string]any)
	if !ok || len(p["hours"].([]any)) == 0 || p["evidence"] == "" {
		t.Fatalf("nothing is proposed: %v", health)
	}
	if got := s.json(200, "GET", coop+"/reading-hours", ""); len(got["hours"].([]any)) != 0 {
		t.Errorf("set without anybody's word: %v", got)
	}
	hours, err := json.Marshal(map[string]any{"hours": p["hours"]})
	if err != nil {
		t.Fatal(err)
	}
	s.json(201, "PUT", coop+"/reading-hours", string(hours))
	if health = s.json(200, "GET", coop+"/health", ""); health["reading_hours_proposed"] != nil {
		t.Errorf("proposed again: %v", health["reading_hours_proposed"])
	}
	for body, want := range map[string]string{
		`{"hours":[{"from":"2000-01-01","hour":7},{"from":"2000-01-01","hour":17}]}`: "/hours/1/from: must be later than the one before",
		`{"hours":[{"from":"2000-13-01","hour":0}]}`:                                 "/hours/0/hour: must be at least 1",
	} {
		if got := said(t, s.call(422, "PUT", coop+"/reading-hours", "application/json", body)); !slices.Contains(got, want) {
			t.Errorf("%s: %q, want %q", body, got, want)
		}
	}
}

// TestALoadAsksWhatAFileLeavesOpen reads dates that can be read in two ways and
// temperatures without a unit.
func TestALoadAsksWhatAFileLeavesOpen(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	const file = "Date;Low;High\n05/06/2024;8,5;19\n06/06/2024;9;20,5\n07/06/2024;7;18\n"
	preview := s.call(200, "POST", daysPath+"/preview", "text/csv", file)
	var p struct {
		Questions []struct {
			Option  string
			Choices []string
		}
		First []struct{ Date string }
	}
	if err := json.Unmarshal(preview, &p); err != nil {
		t.Fatal(err)
	}
	var asked []string
	for _, q := range p.Questions {
		asked = append(asked, q.Option+"="+strings.Join(q.Choices, ","))
	}
	slices.Sort(asked)
	if want := []string{"dates=dmy,mdy", "unit=C,F"}; !slices.Equal(asked, want) || len(p.First) != 0 {
		t.Fatalf("asked %q, want %q; %s", asked, want, preview)
	}
	faults := said(t, s.call(422, "POST", daysPath, "text/csv", file))
	if len(faults) != 2 || !strings.Contains(faults[0]+faults[1], "dates: ") || !strings.Contains(faults[0]+faults[1], "unit: ") {
		t.Errorf("faults %q", faults)
	}
	if got := s.call(200, "POST", daysPath+"/preview?unit=C&dates=dmy", "text/csv", file); json.Unmarshal(got, &p) != nil || len(p.First) != 3 || p.First[0].Date != "2024-06-05" {
		t.Errorf("answered: %s", got)
	}

	// The command asks too, and says how to answer.
	name := filepath.Join(t.TempDir(), "station.csv")
	if err := os.WriteFile(name, []byte(file), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := s.try("load", "s", name)
	if err == nil || !strings.Contains(out, "--dates=dmy") || !strings.Contains(out, "--unit=F") {
		t.Errorf("load: %v\n%s", err, out)
	}
	if out = s.command("load", "s", name, "--preview", "--unit=C", "--dates=mdy"); !strings.Contains(out, "2024-05-06") || !strings.Contains(out, "Nothing was kept") {
		t.Errorf("preview:\n%s", out)
	}
	empty := filepath.Join(t.TempDir(), "empty.csv")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err = s.try("load", "s", empty); err == nil || !strings.Contains(out, "the file is empty") {
		t.Errorf("load of nothing: %v\n%s", err, out)
	}
	for i, want := range []string{"3 days added", "3 unchanged"} {
		if out = s.command("load", "s", name, "--unit=C", "--dates=dmy"); !strings.Contains(out, want) {
			t.Errorf("load %d:\n%s", i+1, out)
		}
	}
}

// TestAFeedKeepsItselfFresh serves a year's end of a model's days and an outlook
// from this machine, and lets the service fetch it.
func TestAFeedKeepsItselfFresh(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.small()
	var asked []string
	zone, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	grid := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = append(asked, r.URL.RawQuery+" "+r.UserAgent())
		today := weather.DateIn(time.Now().In(zone))
		_, offset := time.Now().In(zone).Zone()
		var dates, lows, highs []string
		for d := today - 5; d < today+7; d++ {
			dates, lows, highs = append(dates, fmt.Sprintf("%q", d)), append(lows, "8.5"), append(highs, "19")
		}
		fmt.Fprintf(w, `{"latitude":-41,"longitude":175,"utc_offset_seconds":%d,"timezone":"Pacific/Auckland","daily_units":{"time":"iso8601","temperature_2m_max":"°C","temperature_2m_min":"°C"},"daily":{"time":[%s],"temperature_2m_max":[%s],"temperature_2m_min":[%s]}}`,
			offset, strings.Join(dates, ","), strings.Join(highs, ","), strings.Join(lows, ","))
	}))
	defer grid.Close()
	const feeds = "/v1/farms/f/stations/s/feeds"
	body := fmt.Sprintf(`{"kind":"open-meteo","address":%q,"contact":"ann@hill.example","every_hours":6,"paused":true}`, grid.URL)
	if got := said(t, s.call(422, "PUT", feeds+"/grid", "application/json", `{"kind":"acis","address":"ftp://x","every_hours":25}`)); len(got) != 3 {
		t.Errorf("faults %q", got)
	}
	s.json(201, "PUT", feeds+"/grid", body)
	f := s.json(200, "POST", feeds+"/grid/fetch", "")
	run := f["runs"].([]any)[0].(map[string]any)
	if run["outcome"] != "refused" || len(asked) != 0 {
		t.Fatalf("an address on this machine was asked: %v, %q", run, asked)
	}
	if s.json(200, "GET", feeds, "")["feeds"].([]any)[0].(map[string]any)["has_key"] != false {
		t.Error("it says it has a key")
	}
	s.call(204, "DELETE", feeds+"/grid", "", "")
	s.json(404, "GET", feeds+"/grid", "")

	// With the network allowed, by the command.
	s.env["RIPETIDE_FEED_NETWORKS"] = "127.0.0.0/8, ::1/128"
	s.json(201, "PUT", feeds+"/lan", body)
	if out := s.command("feed", "fetch", "s", "lan"); !strings.HasPrefix(out, "new: ") {
		t.Fatalf("fetch:\n%s\nasked %q", out, asked)
	}
	if out, err := s.try("feed", "fetch", "s", "lan"); err == nil || !strings.Contains(out+err.Error(), "it was asked a moment ago") {
		t.Errorf("fetched again at once: %v\n%s", err, out)
	}
	if len(asked) != 1 || !strings.Contains(asked[0], "ann@hill.example") || !strings.Contains(asked[0], "Pacific%2FAuckland") {
		t.Errorf("asked %q", asked)
	}
	if days := s.json(200, "GET", daysPath, "")["days"].([]any); len(days) != 5 {
		t.Errorf("%d days, want the five before today", len(days))
	}
	if o := s.json(200, "GET", outlookPath, ""); len(o["days"].([]any)) != 7 {
		t.Errorf("outlook %v", o)
	}
	if out := s.command("feed", "list", "s"); !strings.Contains(out, "lan") || !strings.Contains(out, "paused; ") {
		t.Errorf("list:\n%s", out)
	}
}
