package main

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"ripetide/testdata"
	"ripetide/weather"
)

// form is a file's form as a browser without a script sends it.
func fileForm(t *testing.T, name string, body []byte, fields ...string) (text, contentType string) {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for i := 0; i+1 < len(fields); i += 2 {
		if err := m.WriteField(fields[i], fields[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	if name != "" {
		w, err := m.CreateFormFile("file", name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(body); err != nil {
			t.Fatal(err)
		}
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String(), m.FormDataContentType()
}

// hill is a farm with a post and an airport that stands in for it, in June
// 2018, the post with ten years of a real record.
type hill struct {
	*service
	t     *testing.T
	clock *testClock
	owner *visitor
}

const postPath = "/f/hill/weather/post"

func newHill(t *testing.T, units string) *hill {
	t.Helper()
	clock := newTestClock(t)
	h := &hill{service: newServiceAt(t, clock.now), t: t, clock: clock}
	h.json(201, "PUT", "/v1/farms/hill", fmt.Sprintf(`{"name":"Hill Farm","latitude":42.3,"longitude":-83.7,"time_zone":"America/Detroit","units":%q}`, units))
	h.owner = h.as("Noor", "owner")
	return h
}

// as signs somebody in.
func (h *hill) as(name, role string) *visitor {
	h.t.Helper()
	v := newVisitor(h.t, h.base)
	v.signIn(strings.TrimSpace(h.command("key", "new", "--role", role, "--name", name, "--farm", "hill")))
	return v
}

// station puts the post.
func (h *hill) station() {
	h.t.Helper()
	h.json(201, "PUT", "/v1/farms/hill/stations/post", `{"name":"Post by the gate","latitude":42.3,"longitude":-83.7,"elevation_m":270}`)
}

// record gives the post the years 2008 to yesterday, without the given days.
func (h *hill) record(without ...weather.Date) {
	h.t.Helper()
	h.station()
	h.days(without...)
}

// days sends the record alone.
func (h *hill) days(without ...weather.Date) {
	h.t.Helper()
	all, err := testdata.AnnArbor()
	if err != nil {
		h.t.Fatal(err)
	}
	first, _ := weather.ParseDate("2008-01-01")
	last, _ := weather.ParseDate("2018-06-10")
	var days []weather.Day
	gone := map[weather.Date]bool{}
	for _, d := range without {
		gone[d] = true
	}
	for _, d := range all.Between(first, last) {
		if !gone[d.Date] {
			days = append(days, d)
		}
	}
	h.call(200, "POST", "/v1/farms/hill/stations/post/days", "text/csv", csvOf(days))
}

// page opens a page and returns its text.
func (h *hill) page(v *visitor, status int, path string) string {
	h.t.Helper()
	res, body := v.send("GET", path, "")
	if res.StatusCode != status {
		h.t.Fatalf("GET %s: %s, want %d\n%.3000s", path, res.Status, status, plainText(body))
	}
	return body
}

// post sends a form and returns the page that comes of it, also after a way
// round.
func (h *hill) post(v *visitor, status int, path string, fields ...string) string {
	h.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	res, body := v.send("POST", path, form.Encode())
	if res.StatusCode != status {
		h.t.Fatalf("POST %s: %s, want %d\n%.3000s", path, res.Status, status, plainText(body))
	}
	if status == http.StatusSeeOther {
		to, _, _ := strings.Cut(res.Header.Get("Location"), "#")
		return h.page(v, http.StatusOK, to)
	}
	return body
}

// file sends a file.
func (h *hill) file(v *visitor, status int, name string, body []byte, fields ...string) string {
	h.t.Helper()
	text, ct := fileForm(h.t, name, body, fields...)
	res, page := v.send("POST", postPath+"/file", text, "Content-Type", ct)
	if res.StatusCode != status {
		h.t.Fatalf("sending %s: %s, want %d\n%.3000s", name, res.Status, status, plainText(page))
	}
	return page
}

// tells checks what a page says.
func tells(t *testing.T, page string, want ...string) {
	t.Helper()
	text := plainText(page)
	for _, w := range want {
		if !strings.Contains(text, w) {
			t.Errorf("the page does not say %q:\n%.4000s", w, text)
		}
	}
}

func tellsNot(t *testing.T, page string, not ...string) {
	t.Helper()
	text := plainText(page)
	for _, w := range not {
		if strings.Contains(text, w) {
			t.Errorf("the page says %q:\n%.4000s", w, text)
		}
	}
}

func TestWeatherLeadsToTheOnlyStation(t *testing.T) {
	t.Parallel()
	h := newHill(t, "us")
	tells(t, h.page(h.owner, 200, "/f/hill/weather"), "no weather station yet", "Add a station")
	reader := h.as("Rae", "reader")
	tellsNot(t, h.page(reader, 200, "/f/hill/weather"), "Add a station")

	h.record()
	res, _ := h.owner.send("GET", "/f/hill/weather", "")
	if got := res.Header.Get("Location"); res.StatusCode != http.StatusSeeOther || got != postPath {
		t.Errorf("one station: %s to %q", res.Status, got)
	}
	h.json(201, "PUT", "/v1/farms/hill/stations/airport", `{"name":"Airport","latitude":42.2,"longitude":-83.7,"elevation_m":250}`)
	tells(t, h.page(reader, 200, "/f/hill/weather"), "Post by the gate", "The record goes through yesterday, Sun Jun 10.", "Airport", "Nothing is on record yet.")
	tells(t, h.page(reader, 200, postPath), "All stations")
	h.page(reader, 404, "/f/hill/weather/none")
	h.page(reader, 404, "/f/hill/weather/none/record.svg")
	h.page(reader, 404, "/f/hill/weather/airport/record.svg")
	h.page(reader, 404, postPath+"/day/2018-06-31")
	h.page(reader, 404, postPath+"/day/2018-06-12")
	if svg := h.page(reader, 200, postPath+"/record.svg?theme=dark&width=390"); !strings.HasPrefix(svg, "<svg") || !strings.Contains(svg, "Post by the gate") {
		t.Errorf("the chart begins %.80q", svg)
	}
}

// TestAReaderSeesAllButChangesNothing goes through every form.
func TestAReaderSeesAllButChangesNothing(t *testing.T) {
	t.Parallel()
	h := newHill(t, "us")
	h.record()
	h.json(200, "POST", "/v1/farms/hill/stations/post/days", `{"unit":"C","days":[{"date":"2018-06-05","min":-25,"max":21}]}`)
	h.json(201, "PUT", "/v1/farms/hill/stations/post/feeds/nws", `{"kind":"nws","contact":"ann@hill.example","paused":true}`)
	reader := h.as("Rae", "reader")
	page := h.page(reader, 200, postPath)
	tells(t, page, "The record goes through yesterday", "Tue Jun 5", "left out", "US National Weather Service", "never fetched", "it rests")
	forms := regexp.MustCompile(`<form[^>]*action="/f/`)
	if got := forms.FindAllString(page, -1); len(got) != 0 {
		t.Errorf("a reader gets the forms %q", got)
	}
	if got := forms.FindAllString(h.page(reader, 200, postPath+"/day/2018-06-05"), -1); len(got) != 0 {
		t.Errorf("a reader gets the forms %q", got)
	}
	h.page(reader, 403, postPath+"/file")
	h.page(reader, 403, postPath+"/feeds/add")
	for _, path := range []string{"/day", "/verdict", "/hours", "/file", "/feeds/add", "/feed/nws", "/feed/nws/fetch", "/feed/nws/pause", "/feed/nws/remove"} {
		h.post(reader, 403, postPath+path, "date", "2018-06-05", "use", "yes")
	}
	grower := h.as("Gus", "grower")
	for _, path := range []string{"/hours", "/feeds/add", "/feed/nws", "/feed/nws/pause", "/feed/nws/remove"} {
		h.post(grower, 403, postPath+path)
	}
	if page = h.page(grower, 200, postPath); !strings.Contains(page, "/verdict") || strings.Contains(page, "/remove") {
		t.Error("a grower's forms are not those of a grower")
	}
	// A page of another site does not change anything either.
	res, _ := h.owner.send("POST", postPath+"/verdict", "date=2018-06-05&use=yes", "Sec-Fetch-Site", "cross-site")
	if res.StatusCode != http.StatusForbidden {
		t.Errorf("from another site: %s", res.Status)
	}
}

func TestADoubtedDayIsJudgedOnThePage(t *testing.T) {
	t.Parallel()
	h := newHill(t, "us")
	h.record()
	h.json(200, "POST", "/v1/farms/hill/stations/post/days", `{"unit":"C","days":[{"date":"2018-06-05","min":-25,"max":21}]}`)
	grower := h.as("Gus", "grower")
	row := func(page string) string {
		t.Helper()
		_, rest, ok := strings.Cut(page, `id="d-2018-06-05">`)
		if !ok {
			t.Fatalf("no row of that day:\n%.3000s", plainText(page))
		}
		row, _, _ := strings.Cut(rest, "</tr>")
		return plainText("<main>" + row)
	}
	first := row(h.page(grower, 200, postPath))
	for _, want := range []string{"Tue Jun 5", "-13 °F", "69.8 °F", "left out", "the low -13 °F"} {
		if !strings.Contains(first, want) {
			t.Errorf("the row does not say %q: %s", want, first)
		}
	}
	if strings.Contains(first, "As the rule says") {
		t.Errorf("there is nothing to take back: %s", first)
	}
	page := h.post(grower, 303, postPath+"/verdict", "date", "2018-06-05", "use", "yes", "note", " I was there ")
	tells(t, page, "Your word on that day is on record")
	if got := row(page); !strings.Contains(got, "used Gus: use it, “I was there”") || !strings.Contains(got, "As the rule says") {
		t.Errorf("judged: %s", got)
	}
	if got := row(h.post(grower, 303, postPath+"/verdict", "date", "2018-06-05", "use", "rule")); !strings.Contains(got, "left out") || strings.Contains(got, "Gus") {
		t.Errorf("taken back: %s", got)
	}
	day := h.post(grower, 303, postPath+"/verdict", "date", "2018-06-05", "use", "no", "back", "day")
	tells(t, day, "Forecasts leave this day out.", "Gus: leave it out", "The word before was taken back", "Gus: use it, “I was there”")
	// A day that no test doubts may be left out too, and is listed then.
	tells(t, h.post(grower, 303, postPath+"/verdict", "date", "2018-06-01", "use", "no"), "No test doubts it.")
	tells(t, h.post(grower, 422, postPath+"/verdict", "date", "2018-06-05", "use", "yes", "note", strings.Repeat("ü", 501)), "nothing was recorded")
	h.post(grower, 404, postPath+"/verdict", "date", "2018-06-05", "use", "perhaps")
	h.post(grower, 404, postPath+"/verdict", "date", "soon", "use", "yes")
}

func TestADayIsEnteredAndCorrectedByHand(t *testing.T) {
	t.Parallel()
	h := newHill(t, "us")
	missing, _ := weather.ParseDate("2018-06-07")
	h.record(missing)
	tells(t, h.page(h.owner, 200, postPath), "3 holes of 3 days together; the latest is Thu Jun 7.", "a line between its neighbours")

	page := h.post(h.owner, 303, postPath+"/day", "date", "2018-06-07", "low", "50", "high", "68.5")
	tells(t, page, "The day is on record.", "50 °F", "68.5 °F", "by hand, Noor", "Forecasts use this day.")
	tells(t, h.page(h.owner, 200, postPath), "2 holes of 2 days together; the latest is Thu Aug 9, 2012.")

	// What would be replaced is shown first.
	page = h.post(h.owner, 200, postPath+"/day", "date", "06/07/2018", "low", "51", "high", "70")
	tells(t, page, "Thu Jun 7, 2018 has a low of 50 °F and a high of 68.5 °F, from by hand, Noor. They would be replaced by 51 °F and 70 °F.")
	if strings.Contains(h.page(h.owner, 200, postPath+"/day/2018-06-07"), "51 °F") {
		t.Fatal("it was replaced before anybody said so")
	}
	page = h.post(h.owner, 303, postPath+"/day", "date", "2018-06-07", "low", "51", "high", "70", "was", "1")
	tells(t, page, "The day is corrected.", "counts now 51 °F 70 °F", "before that 50 °F 68.5 °F")
	tells(t, h.post(h.owner, 303, postPath+"/day", "date", "2018-06-07", "low", "51", "high", "70", "was", "2"), "nothing has changed")
	// Somebody has corrected it since the form was shown.
	tells(t, h.post(h.owner, 200, postPath+"/day", "date", "2018-06-07", "low", "52", "high", "70", "was", "1"), "would be replaced")
	tells(t, h.page(h.owner, 200, postPath), "1 day was corrected in the last 30 days, the latest Thu Jun 7.", "Corrected lately")

	for _, tt := range []struct{ name, date, low, high, want, kept string }{
		{"a low above the high", "2018-06-07", "80", "70", "This cannot be: 80 °F is above the high 70 °F.", `value="80"`},
		{"no number", "2018-06-07", "warm", "70", "This is not a number.", `value="warm"`},
		{"nothing typed", "2018-06-07", "50", "", "This is needed.", `value="50"`},
		{"hotter than any air", "2018-06-07", "50", "250", "above 140 °F", `value="250"`},
		{"tomorrow", "2018-06-12", "50", "70", "This is after today, Mon Jun 11.", `value="50"`},
		{"a day that there is not", "2018-02-30", "50", "70", "This ", `value="50"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			page := h.post(h.owner, 422, postPath+"/day", "date", tt.date, "low", tt.low, "high", tt.high)
			tells(t, page, tt.want)
			if !strings.Contains(page, tt.kept) {
				t.Errorf("what was typed is gone, %s", tt.kept)
			}
		})
	}
	// A comma is a decimal comma where people write it so.
	m := newHill(t, "metric")
	m.record(missing)
	tells(t, m.post(m.owner, 303, postPath+"/day", "date", "2018-06-07", "low", "8,5", "high", "21"), "8.5 °C", "21 °C")
}

func TestTheHourOfReadingIsAccepted(t *testing.T) {
	t.Parallel()
	h := newHill(t, "metric")
	h.json(201, "PUT", "/v1/farms/hill/stations/post", `{"name":"Post by the gate","latitude":42.3,"longitude":-83.7,"elevation_m":270}`)
	all, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	first, _ := weather.ParseDate("2014-01-01")
	last, _ := weather.ParseDate("2018-06-10")
	days := all.Between(first, last)
	var moved []weather.Day // As a reader in the morning writes them.
	for i := 1; i < len(days); i++ {
		if days[i-1].Date == days[i].Date-1 && days[i-1].Max >= days[i].Min {
			moved = append(moved, weather.Day{Date: days[i].Date, Min: days[i].Min, Max: days[i-1].Max})
		}
	}
	h.call(200, "POST", "/v1/farms/hill/stations/post/days", "text/csv", csvOf(moved))
	page := h.page(h.owner, 200, postPath)
	tells(t, page, "The thermometers seem to be read at another hour than is set.", "read at 7 in the morning", "Take it so")
	tells(t, h.page(h.as("Gus", "grower"), 200, postPath), "Somebody who owns the farm's records can accept it.")
	var fields []string
	for _, m := range regexp.MustCompile(`name="hour" value="([^"]+)"`).FindAllStringSubmatch(page, -1) {
		fields = append(fields, "hour", m[1])
	}
	if len(fields) == 0 {
		t.Fatal("the form has no hours")
	}
	page = h.post(h.owner, 303, postPath+"/hours", fields...)
	tells(t, page, "The hour of reading is set.", "read at 7 in the morning, so that the high written down belongs to the day before")
	tellsNot(t, page, "seem to be read at another hour")
	tells(t, h.post(h.owner, 303, postPath+"/hours", "civil", "yes"), "seem to be read at another hour")
	for _, bad := range []string{"", "2014-01-01 25", "2014-13-01 7", "2014-01-01"} {
		h.post(h.owner, 404, postPath+"/hours", "hour", bad)
	}
	h.post(h.owner, 404, postPath+"/hours")
}

func TestAStandInIsTold(t *testing.T) {
	t.Parallel()
	h := newHill(t, "us")
	var gone []weather.Date
	from, _ := weather.ParseDate("2018-05-01")
	for d := from; d < from+20; d++ {
		gone = append(gone, d)
	}
	h.record(gone...)
	h.json(201, "PUT", "/v1/farms/hill/stations/airport", `{"name":"Airport","latitude":42.2,"longitude":-83.7,"elevation_m":250}`)
	all, err := testdata.AnnArbor()
	if err != nil {
		t.Fatal(err)
	}
	first, _ := weather.ParseDate("2010-01-01")
	last, _ := weather.ParseDate("2018-06-10")
	var days []weather.Day
	for _, d := range all.Between(first, last) { // Two degrees warmer.
		days = append(days, weather.Day{Date: d.Date, Min: d.Min + 2, Max: d.Max + 2})
	}
	h.call(200, "POST", "/v1/farms/hill/stations/airport/days", "text/csv", csvOf(days))
	tells(t, h.page(h.owner, 200, postPath), "None. A station nearby", "taken as other years had them", "what other years had")
	h.json(200, "PUT", "/v1/farms/hill/stations/post", `{"name":"Post by the gate","latitude":42.3,"longitude":-83.7,"elevation_m":270,"stand_in":"airport"}`)
	page := h.page(h.owner, 200, postPath)
	tells(t, page, "Airport; this station is −3.6 °F against it", "It lends 20 days", "20 lent by Airport", "Against Airport", "January −3.6 °F ± ", "lent by Airport")
	if svg := h.page(h.owner, 200, postPath+"/record.svg"); !strings.Contains(svg, "lent by the stand-in station") {
		t.Error("the chart does not show what is lent")
	}
}

func TestAStationWithoutARecordSaysWhatIsMissing(t *testing.T) {
	t.Parallel()
	h := newHill(t, "us")
	h.station()
	page := h.page(h.owner, 200, postPath)
	tells(t, page, "Nothing is on record yet.", "No past season can stand in for the days ahead and 5 are needed", "Drop a weather file here")
	if strings.Contains(page, "record.svg") {
		t.Error("there is a picture of nothing")
	}
	// A record that stopped long ago is drawn up to where it stopped.
	h.days()
	h.clock.advance(800 * 24 * time.Hour)
	h.owner = h.as("Noor", "owner") // A session does not last that long.
	page = h.page(h.owner, 200, postPath)
	tells(t, page, "The record stops on Sun Jun 10, 2018: 800 days are missing up to yesterday")
	if svg := h.page(h.owner, 200, postPath+"/record.svg"); !strings.Contains(svg, "July 2017") || !strings.Contains(svg, "nothing on record") {
		t.Error("the chart does not show the last year on record")
	}
}

func TestFeedsAreKeptOnThePage(t *testing.T) {
	t.Parallel()
	h := newHill(t, "us")
	h.record()
	const secret = "s3cret-key-of-noor"
	page := h.post(h.owner, 422, postPath+"/feeds/add", "kind", "", "every", "90", "address", "ftp://x")
	tells(t, page, "must be chosen", "must be 1 to 24 hours", "must be http")
	page = h.post(h.owner, 422, postPath+"/feeds/add", "kind", "acis", "every", "6")
	tells(t, page, "must be the service's identifier of the station")
	page = h.post(h.owner, 422, postPath+"/feeds/add", "kind", "nws", "every", "1.5", "contact", "ann@hill.example", "key", secret)
	tells(t, page, "must be a whole number of hours", "takes none")
	if strings.Contains(page, secret) || !strings.Contains(page, "ann@hill.example") {
		t.Error("a key is shown again, or what was typed is gone")
	}
	page = h.page(h.owner, 200, postPath+"/feeds/add")
	tells(t, page, "Open-Meteo's free service is for non-commercial use", "a model's and not a thermometer's", "never shown again")
	page = h.post(h.owner, 303, postPath+"/feeds/add", "kind", "open-meteo", "every", "6", "id", "grid", "key", secret, "address", "https://127.0.0.1/v1")
	tells(t, page, "The feed is saved.", "Every 6 hours", "next in a moment", "and a key", "non-commercial", "It was never fetched.")
	tells(t, h.post(h.owner, 422, postPath+"/feeds/add", "kind", "open-meteo", "every", "6", "id", "grid"), "is taken by another feed")
	page = h.page(h.owner, 200, postPath+"/feed/grid")
	tells(t, page, "One is on record and is never shown.")
	if strings.Contains(page, secret) {
		t.Error("the key is shown")
	}
	page = h.post(h.owner, 303, postPath+"/feed/grid", "kind", "open-meteo", "every", "12", "address", "https://127.0.0.1/v1")
	tells(t, page, "Every 12 hours", "and a key")
	page = h.post(h.owner, 303, postPath+"/feed/grid/pause", "rest", "yes")
	tells(t, page, "The feed rests", "but it rests", "and a key")

	// An address on this machine is refused, and the page says so.
	page = h.post(h.as("Gus", "grower"), 303, postPath+"/feed/grid/fetch")
	tells(t, page, "Refused, just now.", "Look")
	tells(t, h.post(h.owner, 409, postPath+"/feed/grid/fetch"), "too soon to fetch that again")
	tells(t, h.post(h.owner, 303, postPath+"/feed/grid/pause", "rest", "no"), "The feed goes on.")
	tellsNot(t, h.post(h.owner, 303, postPath+"/feed/grid/remove"), "Every 12 hours")
	h.post(h.owner, 404, postPath+"/feed/grid/remove")
	h.page(h.owner, 404, postPath+"/feed/grid")
}

const askingFile = "Date;Low;High\n05/06/2018;8,5;19\n06/06/2018;9;20,5\n07/06/2018;7;18\n"

// TestAFileWithoutAScript goes the whole way with plain forms.
func TestAFileWithoutAScript(t *testing.T) {
	t.Parallel()
	h := newHill(t, "metric")
	h.json(201, "PUT", "/v1/farms/hill/stations/post", `{"name":"Post by the gate","latitude":42.3,"longitude":-83.7,"elevation_m":270}`)
	seen := regexp.MustCompile(`name="seen" value="([0-9a-f]+)"`)
	page := h.file(h.owner, 200, "station.csv", []byte(askingFile), "do", "look")
	tells(t, page, "A question about station.csv", "In which unit are the temperatures?", "°F", "In which order are the dates written?", "day, month, year", "month, day, year")
	page = h.file(h.owner, 200, "station.csv", []byte(askingFile), "do", "look", "unit", "C", "dates", "dmy")
	tells(t, page, "3 days, from Tue 5 Jun 2018 to Thu 7 Jun 2018, read in °C.", "Kept, it would add 3 days.", "No day is missing in between.", "Choose the same file again", "8.5 °C")
	m := seen.FindStringSubmatch(page)
	if m == nil || !strings.Contains(page, `name="dates" value="dmy"`) {
		t.Fatalf("the form does not remember: %s", page)
	}
	tells(t, h.page(h.owner, 200, postPath), "Nothing is on record yet.")

	// Another file than was shown is not kept unseen.
	other := strings.Replace(askingFile, "8,5", "-8,5", 1)
	page = h.file(h.owner, 200, "station.csv", []byte(other), "do", "keep", "unit", "C", "dates", "dmy", "seen", m[1])
	tells(t, page, "This is another file than the one that was shown", "-8.5 °C")
	tells(t, h.page(h.owner, 200, postPath), "Nothing is on record yet.")

	page = h.file(h.owner, 200, "station.csv", []byte(askingFile), "do", "keep", "unit", "C", "dates", "dmy", "seen", m[1])
	tells(t, page, "Kept: station.csv", "3 days were added.")
	page = h.file(h.owner, 200, "station.csv", []byte(askingFile), "do", "keep", "unit", "C", "dates", "dmy", "seen", m[1])
	tells(t, page, "3 days were on record with these values.")
	tells(t, h.page(h.owner, 200, postPath+"/day/2018-06-05"), "a file (table)", "8.5 °C")
	// Answers that are left out are asked for again, also when keeping.
	tells(t, h.file(h.owner, 200, "station.csv", []byte(askingFile), "do", "keep", "seen", m[1]), "In which unit are the temperatures?")
}

func TestWhatIsWrongWithAFileIsSaid(t *testing.T) {
	t.Parallel()
	h := newHill(t, "us")
	h.record()
	mixed := "date,min_c,max_c\n2018-06-01,10,20\n2018-06-02,30,20\n2018-02-30,1,2\n2018-06-04,x,2\n2018-06-05,-25,21\n2018-06-12,1,2\n"
	page := h.file(h.owner, 200, "mixed.csv", []byte(mixed), "do", "look")
	tells(t, page, "4 rows cannot be kept", "the low 30 °C is above the high 20 °C", "2018-02-30", `the low "x" is not a number`, "is after today", "Days that look wrong", "Tue Jun 5, 2018")
	seen := regexp.MustCompile(`name="seen" value="([0-9a-f]+)"`).FindStringSubmatch(page)[1]
	page = h.file(h.owner, 200, "mixed.csv", []byte(mixed), "do", "keep", "seen", seen)
	tells(t, page, "2 days were corrected", "4 rows were refused, for the reasons below.", "Some look wrong")

	for _, tt := range []struct {
		name, file, body string
		status           int
		want             []string
	}{
		{"a picture", "photo.jpg", "\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00", 422, []string{"Not taken", "Nothing was kept."}},
		{"a workbook", "record.xlsx", "PK\x03\x04 and so on", 400, []string{"workbook of a spreadsheet", "save the sheet as CSV"}},
		{"an empty file", "empty.csv", "", 422, []string{"No rows"}},
		{"prose", "letter.txt", "Dear all,\nthe weather was fine.\n", 422, []string{"Any table will do"}},
		{"°F said to be °C", "hot.csv", "date,min_c,max_c\n2017-07-01,100,121\n2017-07-02,101,120\n2017-07-03,102,119\n", 422, []string{"Not in the unit it says", "°F?"}},
		{"a truncated archive", "record.csv.gz", "\x1f\x8b\x08\x00\x00", 400, []string{"Damaged file"}},
		{"no row that can be kept", "bad.csv", "date,min_c,max_c\n2018-06-02,30,20\n", 200, []string{"Its only row cannot be kept."}},
		{"a name that is markup", "<i>&amp;.csv", "Dear all", 422, []string{"<i>&amp;.csv", "which begins \"Dear all\", is none that is read here"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			tells(t, h.file(h.owner, tt.status, tt.file, []byte(tt.body), "do", "look"), tt.want...)
		})
	}
	tells(t, h.file(h.owner, 422, "", nil, "do", "look"), "Choose a file first.")
	tells(t, h.file(h.owner, 413, "large.csv", bytes.Repeat([]byte("x"), weather.MaxBytes+1), "do", "look"), "Too large", "in parts, year by year")
	if res, body := h.owner.send("POST", postPath+"/file", "do=look"); res.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("a form without a file: %s\n%s", res.Status, plainText(body))
	}
	text, ct := fileForm(t, "x.csv", []byte("x"), "do", "look")
	if res, _ := h.owner.send("POST", postPath+"/file", text[:len(text)-30], "Content-Type", ct); res.StatusCode != http.StatusBadRequest {
		t.Errorf("a form that breaks off: %s", res.Status)
	}
	text, ct = fileForm(t, "x.csv", []byte("date,min_c,max_c\n2018-06-01,10,20\n"), "do", "look")
	if res, _ := h.owner.send("POST", "/f/hill/weather/none/file", text, "Content-Type", ct); res.StatusCode != http.StatusNotFound {
		t.Errorf("a station that there is not: %s", res.Status)
	}
}

// Days on end that are doubted for one reason have one form, and are judged
// together or one by one.
func TestARunOfDoubtedDaysIsJudgedAtOnce(t *testing.T) {
	t.Parallel()
	h := newHill(t, "us")
	h.record()
	var days []string
	for d := 1; d <= 8; d++ {
		days = append(days, fmt.Sprintf(`{"date":"2018-05-%02d","min":5.5,"max":17.5}`, d))
	}
	h.json(200, "POST", "/v1/farms/hill/stations/post/days", `{"unit":"C","days":[`+strings.Join(days, ",")+`]}`)
	grower := h.as("Gus", "grower")
	page := h.page(grower, 200, postPath)
	tells(t, page, "Tue May 1 to Tue 8 8 days T the same value too many days in a row", "all left out", "Leave all out", "None this season.", "Of earlier seasons (")
	if n := strings.Count(page, `name="through"`); n != 1 {
		t.Errorf("%d forms for runs", n)
	}
	page = h.post(grower, 303, postPath+"/verdict", "date", "2018-05-01", "through", "2018-05-08", "use", "yes", "note", "a calm week")
	tells(t, page, "Your word on those days is on record.", "all used", "Gus: use it, “a calm week”")
	page = h.post(grower, 303, postPath+"/verdict", "date", "2018-05-03", "use", "no")
	tells(t, page, "1 of 8 left out")
	tells(t, h.page(grower, 200, postPath+"/day/2018-05-03"), "Forecasts leave this day out.")
	tells(t, h.page(grower, 200, postPath+"/day/2018-05-04"), "Forecasts use this day.")
	page = h.post(grower, 303, postPath+"/verdict", "date", "2018-05-01", "through", "2018-05-08", "use", "rule")
	tells(t, page, "The word on those days is taken back", "all left out")
	// A run takes in no day that nothing doubts.
	h.post(grower, 303, postPath+"/verdict", "date", "2018-04-25", "through", "2018-05-20", "use", "no")
	tells(t, h.page(grower, 200, postPath+"/day/2018-05-20"), "Forecasts use this day.")
	h.post(grower, 404, postPath+"/verdict", "date", "2018-05-20", "through", "2018-05-22", "use", "no")
	h.post(grower, 404, postPath+"/verdict", "date", "2018-05-01", "through", "soon", "use", "no")
}
