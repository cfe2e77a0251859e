package weather_test

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/weather"
)

// replyFile returns a file of testdata/weather/formats.
func replyFile(tb testing.TB, name string) string {
	tb.Helper()
	b, err := os.ReadFile("../testdata/weather/formats/" + name)
	if err != nil {
		tb.Fatal(err)
	}
	return string(b)
}

// readReply reads observed days that must be of the format.
func readReply(t *testing.T, format, body string, opt weather.ReadOptions) *weather.Reading {
	t.Helper()
	r, err := weather.Read(strings.NewReader(body), opt)
	if err != nil {
		t.Fatal(err)
	}
	mustAddUp(t, r)
	if r.Format != format {
		t.Fatalf("read as %s", r.Format)
	}
	return r
}

// readAhead reads predicted days that must be of the format.
func readAhead(t *testing.T, format, body string, opt weather.ReadOptions) *weather.OutlookReading {
	t.Helper()
	r, err := weather.ReadOutlook(strings.NewReader(body), opt)
	if err != nil {
		t.Fatal(err)
	}
	if r.Format != format {
		t.Fatalf("read as %s", r.Format)
	}
	return r
}

// mustRefuse checks that err refuses a whole file and says so.
func mustRefuse(t *testing.T, err, want error, says string) {
	t.Helper()
	var file *weather.FileError
	if !errors.Is(err, want) || !errors.As(err, &file) || !strings.Contains(file.Detail(), says) {
		t.Fatalf("got %v; want %v: … %s …", err, want, says)
	}
	if len(file.Detail()) > 400 || strings.ContainsAny(file.Detail(), "\x00\n\r") {
		t.Errorf("detail %q", file.Detail())
	}
}

// checkDays compares days, to a thousandth of a degree, written as
// "2026-06-11 18.9 28.9".
func checkDays(t *testing.T, got []weather.Day, want ...string) {
	t.Helper()
	var texts []string
	for _, d := range got {
		texts = append(texts, fmt.Sprintf("%s %s %s", d.Date, short(d.Min), short(d.Max)))
	}
	if !slices.Equal(texts, want) {
		t.Errorf("got  %q\nwant %q", texts, want)
	}
}

// short writes x with at most three decimals, and its sign even if it is zero.
func short(x float64) string {
	s := fmt.Sprintf("%.3f", x)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// checkRefused compares refusals, written as "2 2026-06-11: max is missing".
func checkRefused(t *testing.T, got []weather.Refusal, want ...string) {
	t.Helper()
	var texts []string
	for _, r := range got {
		texts = append(texts, fmt.Sprintf("%d %s: %s", r.Row, r.Date, r.Reason))
	}
	if !slices.Equal(texts, want) {
		t.Errorf("refused %q\nwant    %q", texts, want)
	}
}

// checkFindings checks that each of want, written as "station: KLNK", begins a
// finding, and that there are no others.
func checkFindings(t *testing.T, got []weather.Finding, want ...string) {
	t.Helper()
	ok := len(got) == len(want)
	for i := range min(len(got), len(want)) {
		ok = ok && strings.HasPrefix(got[i].What+": "+got[i].Found, want[i])
	}
	if !ok {
		t.Errorf("found %q\nwant  %q", got, want)
	}
}

// mustSuit checks that an outlook is one, at the farm, half an hour after it was
// issued.
func mustSuit(t *testing.T, r *weather.OutlookReading, zone string, issued time.Time) {
	t.Helper()
	o, faults := weather.NewOutlook(r.Draft(issued), mustZone(zone), issued.Add(30*time.Minute))
	if len(faults) > 0 || o.Days.Len() != len(r.Days) || !o.IssuedAt.Equal(issued) {
		t.Errorf("outlook of %d days issued at %v: faults %v", o.Days.Len(), o.IssuedAt, faults)
	}
}

// mustFit checks what is true of every reading of predicted days.
func mustFit(t *testing.T, r *weather.OutlookReading) {
	t.Helper()
	if len(r.Days) == 0 || len(r.Days) > weather.MaxOutlookDays {
		t.Fatalf("%d days", len(r.Days))
	}
	for i, d := range r.Days {
		if _, err := weather.NewDay(d.Date, d.Min, d.Max); err != nil || i > 0 && d.Date != r.Days[i-1].Date+1 {
			t.Fatalf("day %d of %v: %v", i, r.Days, err)
		}
	}
	for _, f := range r.Refused {
		if f.Row < 1 || f.Reason == "" || len(f.Date+f.Reason) > 400 || strings.ContainsAny(f.Date+f.Reason, "\x00\n\r") {
			t.Fatalf("refusal %+v", f)
		}
	}
}

// fuzzReply is a fuzz target for both doors of a format.
func fuzzReply(f *testing.F, format, zone string, also func(t *testing.T, r *weather.Reading)) {
	f.Fuzz(func(t *testing.T, body, column, station string) {
		opt := weather.ReadOptions{Format: format, Column: column, Station: station, Zone: mustZone(zone), Latest: today}
		r, err := weather.Read(strings.NewReader(body), opt)
		var file *weather.FileError
		switch {
		case err == nil:
			mustAddUp(t, r)
			also(t, r)
		case !errors.As(err, &file) || file.Detail() == "" || len(file.Detail()) > 500:
			t.Fatalf("error %v", err)
		}
		ahead, err := weather.ReadOutlook(strings.NewReader(body), opt)
		switch {
		case err == nil:
			mustFit(t, ahead)
		case !errors.As(err, &file) || file.Detail() == "" || len(file.Detail()) > 500:
			t.Fatalf("error %v", err)
		}
	})
}

// A reply that is cut off, nested without end or no JSON is refused in plain
// words, whatever service it is of.
func TestJSONThatIsNone(t *testing.T) {
	t.Parallel()
	whole := replyFile(t, "openmeteo_berlin.json")
	for _, tt := range []struct {
		name, format, body, says string
	}{
		{"cut off", "", whole[:len(whole)-9], fmt.Sprintf("cut off after %d bytes", len(whole)-9)},
		{"cut off in a string", "", whole[:strings.Index(whole, "Berlin")+3], "cut off after"},
		{"a comma too much", "acis", `{"data":[,]}`, "no JSON from its byte 10 on"},
		{"two values", "nws-grid", `{} {}`, "no JSON from its byte 4 on"},
		{"nested without end", "acis", strings.Repeat(`{"data":[`, 500_000), "no JSON from its byte"},
		{"lists without end", "open-meteo", strings.Repeat("[", 5_000_000), "no JSON from its byte"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for _, read := range []func() error{
				func() error {
					_, err := weather.Read(strings.NewReader(tt.body), weather.ReadOptions{Format: tt.format, Latest: today})
					return err
				},
				func() error {
					_, err := weather.ReadOutlook(strings.NewReader(tt.body), weather.ReadOptions{Format: tt.format, Latest: today})
					return err
				},
			} {
				if err := read(); !errors.Is(err, weather.ErrOutlook) {
					mustRefuse(t, err, weather.ErrDamaged, tt.says)
				}
			}
		})
	}
}

// JSON that is written in another way says the same.
func TestJSONInOtherWords(t *testing.T) {
	t.Parallel()
	for name, body := range map[string]string{
		"without blanks":          `{"meta":{},"data":[["2012-05-01","68","49"]]}`,
		"with blanks":             "\r\n{\t\"meta\" : { } , \"data\" :\n[ [ \"2012-05-01\" , \"68\" ,\t\"49\" ] ] }\n ",
		"escapes":                 `{"meta":{},"d\u0061ta":[["2012\u002d05-01","\u00368","49"]]}`,
		"brackets in strings":     `{"meta":{"name":"]}\"[{\\"},"data":[["2012-05-01","68","49"]]}`,
		"numbers that are bare":   `{"meta":{},"data":[["2012-05-01",68,49]]}`,
		"another order":           `{"data":[["2012-05-01"," 68","49 "]],"meta":{},"data2":{"data":[]}}`,
		"a name that comes twice": `{"data":[["2012-05-01","9","1"]],"meta":{},"data":[["2012-05-01","68","49"]]}`,
		"a service's byte order":  "\uFEFF" + `{"meta":{},"data":[["2012-05-01","68","49"]]}`,
	} {
		r := readReply(t, "acis", body, weather.ReadOptions{Latest: today})
		checkDays(t, r.Days, "2012-05-01 9.444 20") // 17·5/9 and 36·5/9 °C.
		if t.Failed() {
			t.Fatal(name)
		}
	}
}

// More days than the calendar has, and more places than a service gives.
func TestJSONTooLong(t *testing.T) {
	t.Parallel()
	many := func(item string, n int) string { return "[" + strings.Repeat(item+",", n-1) + item + "]" }
	for _, tt := range []struct {
		format, body, says string
	}{
		{"acis", `{"data":` + many("[]", 300_001) + "}", "more than 300000 rows"},
		{"acis", `{"data":` + many(`{}`, 10_001) + "}", "more than 10000 stations or places"},
		{"open-meteo", `{"daily":{"time":` + many("1", 300_001) + "}}", "more than 300000 rows"},
		{"open-meteo", many("{}", 10_001), "more than 10000 stations or places"},
	} {
		_, err := weather.Read(strings.NewReader(tt.body), weather.ReadOptions{Format: tt.format, Latest: today})
		mustRefuse(t, err, weather.ErrTooLarge, tt.says)
	}
	r := readReply(t, "acis", `{"meta":{},"data":`+many(`[]`, 300_000)+"}", weather.ReadOptions{Format: "acis", Latest: today})
	if len(r.Refused) != 300_000 {
		t.Errorf("%d refused", len(r.Refused))
	}
	_, err := weather.Read(strings.NewReader(`{"data":`+many(`{"meta":{"uid":1}}`, 10_000)+"}"), weather.ReadOptions{Format: "acis", Latest: today})
	mustRefuse(t, err, weather.ErrAmbiguous, "about 10000 stations")
}
