package weather_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"ripetide/weather"
)

const formatsDir = "../testdata/weather/formats/"

func formatFile(tb testing.TB, name string) []byte {
	tb.Helper()
	b, err := os.ReadFile(formatsDir + name)
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// readService reads body, which must be one of days, as format of which it is
// recognised.
func readService(t *testing.T, format, body string, opt weather.ReadOptions) *weather.Reading {
	t.Helper()
	if opt.Latest == 0 {
		opt.Latest = today
	}
	r, err := weather.Read(strings.NewReader(body), opt)
	if err != nil {
		t.Fatal(err)
	}
	mustAddUp(t, r)
	if r.Format != format {
		t.Fatalf("taken for %s", r.Format)
	}
	return r
}

// daysAre says how the days of a reading differ from lines "date min max", °C.
func daysAre(t *testing.T, r *weather.Reading, want ...string) {
	t.Helper()
	got := make([]string, len(r.Days))
	for i, d := range r.Days {
		got[i] = fmt.Sprintf("%s %.4g %.4g", d.Date, d.Min, d.Max)
	}
	if !slices.Equal(got, want) {
		t.Errorf("days\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// hasDays checks that lines "date min max" are among the days of a reading.
func hasDays(t *testing.T, r *weather.Reading, want ...string) {
	t.Helper()
	for _, line := range want {
		if !slices.ContainsFunc(r.Days, func(d weather.Day) bool {
			return line == fmt.Sprintf("%s %.4g %.4g", d.Date, d.Min, d.Max)
		}) {
			t.Errorf("no day %s", line)
		}
	}
}

// findingOf returns what a reading found of something, and whether it did.
func findingOf(r *weather.Reading, what string) (string, bool) {
	for _, f := range r.Findings {
		if f.What == what {
			return f.Found, true
		}
	}
	return "", false
}

func finds(t *testing.T, r *weather.Reading, what, want string) {
	t.Helper()
	if got, _ := findingOf(r, what); got != want {
		t.Errorf("finding %s: %q, want %q", what, got, want)
	}
}

// refusedWhole checks that body is refused as a whole.
func refusedWhole(t *testing.T, body string, opt weather.ReadOptions, want error, says string) {
	t.Helper()
	opt.Latest = today
	r, err := weather.Read(strings.NewReader(body), opt)
	var file *weather.FileError
	if r != nil || !errors.Is(err, want) || !errors.As(err, &file) || !strings.Contains(file.Detail(), says) {
		t.Errorf("got %v, %v; want %v: … %s …", r, err, want, says)
	}
}

// asksForStation checks that body leaves the station open.
func asksForStation(t *testing.T, body string, choices ...string) {
	t.Helper()
	_, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Latest: today})
	var file *weather.FileError
	if !errors.Is(err, weather.ErrAmbiguous) || !errors.As(err, &file) {
		t.Fatalf("got %v", err)
	}
	q := file.Questions()
	if len(q) != 1 || q[0].Option != weather.OptionStation || !slices.Equal(q[0].Choices, choices) || q[0].Text == "" {
		t.Errorf("asks %+v", q)
	}
}

// fuzzService checks what holds of every file of format: no day without its
// date in the file, as layout has it, and no more rows than lines.
func fuzzService(f *testing.F, format, layout string) {
	f.Helper()
	f.Fuzz(func(t *testing.T, body []byte) {
		r, err := weather.Read(bytes.NewReader(body), weather.ReadOptions{Format: format, Latest: today})
		if err != nil {
			var file *weather.FileError
			if r != nil || !errors.As(err, &file) || file.Detail() == "" {
				t.Fatalf("%v, %v", r, err)
			}
			return
		}
		mustAddUp(t, r)
		if r.Received == 0 || r.Remarks != nil && len(r.Remarks) != len(r.Days) {
			t.Fatalf("%+v", r)
		}
		for _, remark := range r.Remarks {
			if len(remark.Flag) > 80 || remark.Hour != 0 {
				t.Fatalf("remark %+v", remark)
			}
		}
		for _, finding := range r.Findings {
			if finding.What == "" || finding.Found == "" || len(finding.Found) > 400 || strings.ContainsAny(finding.Found, "\x00\n\r") {
				t.Fatalf("finding %+v", finding)
			}
		}
		if bytes.HasPrefix(body, []byte("\x1f\x8b")) || bytes.HasPrefix(body, []byte("PK")) || bytes.IndexByte(body, 0) >= 0 {
			return // The file was packed, or in UTF-16.
		}
		lines := bytes.Count(body, []byte("\n")) + bytes.Count(body, []byte("\r")) + 1
		if r.Received+r.Blank > lines {
			t.Fatalf("%d rows and %d blanks in %d lines", r.Received, r.Blank, lines)
		}
		lower := bytes.ToLower(body)
		for _, d := range r.Days {
			if !bytes.Contains(lower, []byte(strings.ToLower(d.Date.Time().Format(layout)))) {
				t.Fatalf("%s is not in the file", d.Date)
			}
		}
	})
}

const (
	dwdHead = "STATIONS_ID;MESS_DATUM;QN_3;  FX;  FM;QN_4; RSK;RSKF; SDK;SHK_TAG;  NM; VPM;  PM; TMK; UPM; TXK; TNK; TGK;eor\n"
	// Made after the rows of the samples: only what is under test differs.
	dwdRow = "       %s;%s;    5;   5.6;   2.1;%s;   7.1;   1;-999;   0;   7.7;  14.9; 1008.30;   14.4;   92.00;%s;%s;   10.0;eor\n"
)

// dwdLine is a row of a station and date, with quality, max and min.
func dwdLine(station, date, quality, maximum, minimum string) string {
	return fmt.Sprintf(dwdRow, station, date, quality, maximum, minimum)
}

// Read in dwd_02667_1957.txt and dwd_02667_2018.txt: 37 rows from 1957-07-01,
// of which the first ten have -999 throughout; 20 rows to 2018-12-31.
func TestReadDWDSamples(t *testing.T) {
	t.Parallel()
	r := readService(t, "dwd", string(formatFile(t, "dwd_02667_1957.txt")), weather.ReadOptions{})
	if len(r.Days) != 27 || r.Blank != 10 || len(r.Refused) != 0 || r.Repeats != 0 || r.Unit != weather.Celsius {
		t.Errorf("%d days, %d blank, refused %v", len(r.Days), r.Blank, r.Refused)
	}
	// "16.8;   11.9;   10.0;eor" stands behind 19570901, TXK first: the third
	// is the minimum at the ground.
	hasDays(t, r, "1957-09-01 11.9 16.8", "1957-09-04 6 19.7", "1957-09-22 14 22.9", "1957-09-25 5.4 13.2")
	if r.Days[0].Date != weather.DateOf(1957, 9, 1) {
		t.Errorf("begins %s", r.Days[0].Date)
	}
	finds(t, r, "station", "2667")
	finds(t, r, "unit", "°C, by the format")
	finds(t, r, "day", "0 to 24 UTC since 2001-04-01; 27 days before that end at the evening reading")
	finds(t, r, "blank days", "10 dates have neither min nor max")
	if _, ok := findingOf(r, "quality"); ok {
		t.Error("QN_4 is 5")
	}

	r = readService(t, "dwd", string(formatFile(t, "dwd_02667_2018.txt")), weather.ReadOptions{})
	if len(r.Days) != 20 || r.Blank != 0 || len(r.Refused) != 0 {
		t.Errorf("%d days, %d blank, refused %v", len(r.Days), r.Blank, r.Refused)
	}
	hasDays(t, r, "2018-12-12 -0.3 7.6", "2018-12-26 -4.9 3.8", "2018-12-31 7.7 9.3")
	finds(t, r, "day", "0 to 24 UTC")
	finds(t, r, "blank days", "")
}

// The service hands out the historical and the recent file apart; here they are
// one, with the second heading in the middle and days that overlap.
func TestReadDWDTwoFilesInOne(t *testing.T) {
	t.Parallel()
	late := string(formatFile(t, "dwd_02667_2018.txt"))
	r := readService(t, "dwd", string(formatFile(t, "dwd_02667_1957.txt"))+late+late, weather.ReadOptions{})
	if len(r.Days) != 47 || r.Repeats != 20 || len(r.Refused) != 0 {
		t.Errorf("%d days, %d repeats, refused %v", len(r.Days), r.Repeats, r.Refused)
	}
}

func TestReadDWDRows(t *testing.T) {
	t.Parallel()
	body := dwdHead +
		dwdLine("2667", "20010331", "    1", "   14.4", "    3.1") + // The last day of the old kind.
		dwdLine("2667", "20010401", "    1", "   15.4", "    4.1") +
		dwdLine("2667", "20010402", "    3", "-999.0", "    4.1") +
		dwdLine("2667", "20010403", "    1", "   15.4", "-999") +
		dwdLine("2667", "20010404", "    1", "-999", "  -999.0") +
		dwdLine("2667", "20010405", "    3", "   15,4", "    4.1") +
		dwdLine("2667", "20010431", "    1", "   15.4", "    4.1") +
		dwdLine("2667", "2001040", "    1", "   15.4", "    4.1") +
		dwdLine("2667", "02010406", "    3", "   15.4", "    4.1") +
		dwdLine("2667", "2001040712", "    3", "   15.4", "    4.1") +
		dwdLine("2667", "20010408", "    3", "    4.1", "   15.4") +
		dwdLine("2667", "20010409", "   10", "     0.0", "   -9.99") +
		dwdLine("", "20010410", "    3", "   15.4", "    4.1") +
		dwdLine("2667", "20010411", "    3", "", "    4.1") +
		"       2667;20010412;    3;   3.6\n" +
		"       2667;20010413;    3;   5.6;   2.1;    3;   7.1;   1;-999;   0;   7.7;  14.9; 1008.30;   14.4;   92.00;   15.4;   1"
	r := readService(t, "dwd", body, weather.ReadOptions{})
	daysAre(t, r, "2001-03-31 3.1 14.4", "2001-04-01 4.1 15.4", "2001-04-09 -9.99 0")
	want := []weather.Refusal{
		{3, "20010402", "max is missing"},
		{4, "20010403", "min is missing"},
		{6, "20010405", `max "15,4" is not a number`},
		{7, "20010431", `date "20010431" is not a calendar date YYYYMMDD`},
		{8, "2001040", `date "2001040" is not a calendar date YYYYMMDD`},
		{9, "02010406", "date year 201 is outside 1700 to 2400"},
		{10, "2001040712", `date "2001040712" is not a calendar date YYYYMMDD`},
		{11, "2001-04-08", "min 15.4 °C is above max 4.1 °C"},
		{13, "20010410", "station is empty"},
		{14, "20010411", "max is missing"},
		{15, "20010412", "row has 4 of 19 cells, it is cut off"},
		{16, "20010413", "row has 17 of 19 cells, it is cut off"},
	}
	if !slices.Equal(r.Refused, want) {
		t.Errorf("refused\n%v\nwant\n%v", r.Refused, want)
	}
	if r.Blank != 1 {
		t.Errorf("%d blank", r.Blank)
	}
	finds(t, r, "quality", "2 days have had a formal check only (QN_4 is 1); they are used")
	finds(t, r, "day", "0 to 24 UTC since 2001-04-01; 1 day before that ends at the evening reading")
	finds(t, r, "blank days", "1 date has neither min nor max")
}

func TestReadDWDStations(t *testing.T) {
	t.Parallel()
	body := dwdHead +
		dwdLine(" 44", "20200101", "3", "5.5", "1.1") + dwdLine(" 44", "20200102", "3", "6.5", "2.1") +
		dwdLine("2667", "20200101", "1", "7.5", "3.1") + dwdLine("2667", "20200102", "3", "-999", "-999") +
		dwdLine(" 44", "20200103", "3", "x", "2.1") + dwdLine("2667", "20200103", "3", "x", "2.1") +
		"  44;20200104;   3\n2667;20200104;   3\n26"
	asksForStation(t, body, "44", "2667")

	for _, station := range []string{"2667", "02667", " 2667 "} { // File names have five digits.
		r := readService(t, "dwd", body, weather.ReadOptions{Station: station})
		daysAre(t, r, "2020-01-01 3.1 7.5")
		want := []weather.Refusal{
			{6, "20200103", `max "x" is not a number`},
			{8, "20200104", "row has 3 of 19 cells, it is cut off"},
			{9, "", "row has 1 of 19 cells, it is cut off"}, // Whose it is nobody knows.
		}
		if !slices.Equal(r.Refused, want) || r.Blank != 1 {
			t.Errorf("refused %v, %d blank", r.Refused, r.Blank)
		}
		finds(t, r, "station", "2667")
		finds(t, r, "quality", "1 day has had a formal check only (QN_4 is 1); it is used")
	}
	refusedWhole(t, body, weather.ReadOptions{Station: "3987"}, weather.ErrNoRows, `no row of station "3987", but of 44, 2667`)
	refusedWhole(t, string(formatFile(t, "dwd_02667_2018.txt")), weather.ReadOptions{Station: "44"}, weather.ErrNoRows, `no row of station "44", but of 2667`)

	// A row that is cut off in its station makes no second station.
	r := readService(t, "dwd", dwdHead+dwdLine("2667", "20200101", "3", "7.5", "3.1")+"       26", weather.ReadOptions{})
	if len(r.Days) != 1 || len(r.Refused) != 1 {
		t.Errorf("%v, refused %v", r.Days, r.Refused)
	}
}

func TestReadDWDManyStations(t *testing.T) {
	t.Parallel()
	var body strings.Builder
	body.WriteString(dwdHead)
	var first []string
	for i := 1; i <= 30; i++ {
		body.WriteString(dwdLine(fmt.Sprint(i), "20200101", "3", "5.5", "1.1"))
		if i <= 20 {
			first = append(first, fmt.Sprint(i))
		}
	}
	asksForStation(t, body.String(), first...)
	daysAre(t, readService(t, "dwd", body.String(), weather.ReadOptions{Station: "30"}), "2020-01-01 1.1 5.5")
	_, err := weather.Read(strings.NewReader(body.String()), weather.ReadOptions{Latest: today})
	if err == nil || !strings.Contains(err.Error(), "more than 20 stations, of which 20 are named here") {
		t.Errorf("got %v", err)
	}
}

func TestReadDWDRefusesWholeFiles(t *testing.T) {
	t.Parallel()
	row := dwdLine("2667", "20200101", "3", "5.5", "1.1")
	// The hourly file of temperatures, by the service's description.
	hourly := "STATIONS_ID;MESS_DATUM;QN_9;TT_TU;RF_TU;eor\n       2667;2020010100;    3;   5.1;  92.0;eor\n"
	for _, tt := range []struct {
		name string
		body string
		opt  weather.ReadOptions
		want error
		says string
	}{
		{"hourly", hourly, weather.ReadOptions{}, weather.ErrBadHeader, "no column TXK, the highest temperature; that is in the daily climate data"},
		{"without TNK", strings.Replace(dwdHead, "TNK", "T5K", 1) + row, weather.ReadOptions{}, weather.ErrBadHeader, "no column TNK, the lowest"},
		{"heading only", dwdHead, weather.ReadOptions{}, weather.ErrNoRows, "no rows"},
		{"no heading, though said to be of the format", row, weather.ReadOptions{Format: "dwd"}, weather.ErrBadHeader, "no heading"},
		{"nothing but dates", dwdHead + dwdLine("2667", "20200101", "3", "-999", "-999"), weather.ReadOptions{}, weather.ErrNoRows, "neither min nor max for any of its 1 dates"},
		{"another unit", dwdHead + row, weather.ReadOptions{Unit: weather.Fahrenheit}, weather.ErrUnitConflict, "°C, the request says °F"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			refusedWhole(t, tt.body, tt.opt, tt.want, tt.says)
		})
	}
	readService(t, "dwd", dwdHead+row, weather.ReadOptions{Unit: weather.Celsius})
}

func FuzzDWD(f *testing.F) {
	f.Add(formatFile(f, "dwd_02667_1957.txt"))
	f.Add(formatFile(f, "dwd_02667_2018.txt")[:400])
	f.Add([]byte(dwdHead + dwdLine("44", "20010331", "1", "-999.0", "4") + dwdLine("2667", "20010402", "1", "9", "4")))
	fuzzService(f, "dwd", "20060102")
}
