package weather_test

import (
	"encoding/csv"
	"slices"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"

	"ripetide/weather"
)

// ecccRows is a file of the columns that matter, headings as in
// eccc_1163781_2018.csv; rows begin with the date.
func ecccRows(rows ...string) string {
	var b strings.Builder
	b.WriteString("\"Station Name\",\"Climate ID\",\"Date/Time\",\"Data Quality\",\"Max Temp (°C)\",\"Max Temp Flag\",\"Min Temp (°C)\",\"Min Temp Flag\"\r\n")
	for _, row := range rows {
		b.WriteString(`"KAMLOOPS A","1163781","` + strings.ReplaceAll(row, " ", `","`) + "\"\r\n")
	}
	return b.String()
}

// Read in eccc_1163781_2018.csv: 80 rows, all with both values and no flag.
func TestReadECCCSample(t *testing.T) {
	t.Parallel()
	body := formatFile(t, "eccc_1163781_2018.csv")
	r := readService(t, "eccc", string(body), weather.ReadOptions{Unit: weather.Celsius, Station: "1163781"})
	if len(r.Days) != 80 || r.Blank != 0 || len(r.Refused) != 0 || r.Remarks != nil {
		t.Errorf("%d days, %d blank, refused %v", len(r.Days), r.Blank, r.Refused)
	}
	// `"-12.8","","-19.4","","-16.1",""` behind 2018-01-01: max, min, mean.
	hasDays(t, r, "2018-01-01 -19.4 -12.8", "2018-01-05 -6.6 1.6", "2018-12-29 -1.1 3.1", "2018-12-31 -10 -1.1")
	finds(t, r, "encoding", "UTF-8 with a byte order mark")
	finds(t, r, "station", "1163781, KAMLOOPS A")
	finds(t, r, "unit", "°C, by the format")
	finds(t, r, "day", "ends at 06 UTC of the next day where readings are taken around the clock, since 1961-07")
	for _, what := range []string{"estimated", "flags", "quality", "blank days"} {
		finds(t, r, what, "")
	}

	// The oracle: encoding/csv and places counted by hand.
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(body), "\uFEFF"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range rows[1:] {
		want, err := weather.ParseDate(row[4])
		if err != nil || r.Days[i].Date != want || number(r.Days[i].Max) != strings.TrimSuffix(row[9], ".0") || number(r.Days[i].Min) != strings.TrimSuffix(row[11], ".0") {
			t.Errorf("row %d: %v, want %v", i+1, r.Days[i], row[4:12])
		}
	}

	refusedWhole(t, string(body), weather.ReadOptions{Unit: weather.Fahrenheit}, weather.ErrUnitConflict, "°C, the request says °F")
	refusedWhole(t, string(body), weather.ReadOptions{Station: "51423"}, weather.ErrNoRows, `"51423", but of 1163781`)
}

// A row that is cut off after the longitude, which begins with a minus, is not
// taken for prose.
func TestReadECCCCutOffEarly(t *testing.T) {
	t.Parallel()
	body := string(formatFile(t, "eccc_1163781_2018.csv")) + "\"-120.45\",\"50.70\"\r\n"
	r := readService(t, "eccc", body, weather.ReadOptions{})
	if want := []weather.Refusal{{81, "", "row has 2 of 31 cells, it is cut off"}}; len(r.Days) != 80 || !slices.Equal(r.Refused, want) {
		t.Errorf("%d days, refused %v", len(r.Days), r.Refused)
	}
}

// The layout until 2018, with the values of Halifax: the station and a legend
// above the heading, and the days ahead empty without a flag.
func TestReadECCCOldLayout(t *testing.T) {
	t.Parallel()
	body := string(formatFile(t, "eccc_8202251_2015_SPEC.csv"))
	latin, err := charmap.Windows1252.NewEncoder().String(strings.TrimPrefix(body, "\uFEFF"))
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		body, quality string
	}{
		"UTF-8":               {body, "10 days are a partner's, not reviewed by the archive (‡)"},
		"Windows-1252":        {latin, "10 days are a partner's, not reviewed by the archive (‡)"},
		"damaged degree sign": {strings.ReplaceAll(strings.ReplaceAll(body, "°", "\uFFFD"), "‡", "\uFFFD"), ""},
		"read as Latin-1":     {strings.ReplaceAll(body, "°", "Â°"), "10 days are a partner's, not reviewed by the archive (‡)"},
		"no degree sign":      {strings.ReplaceAll(body, "°", ""), "10 days are a partner's, not reviewed by the archive (‡)"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := readService(t, "eccc", tt.body, weather.ReadOptions{Station: "8202251"})
			if len(r.Days) != 10 || r.Blank != 2 || len(r.Refused) != 0 {
				t.Errorf("%d days, %d blank, refused %v", len(r.Days), r.Blank, r.Refused)
			}
			// `"2015-01-04",…,"‡","8.1","","-13.4",""`.
			hasDays(t, r, "2015-01-01 -14.9 -2.2", "2015-01-04 -13.4 8.1", "2015-01-10 -10.6 -5.3")
			finds(t, r, "station", "8202251, HALIFAX INTL A")
			finds(t, r, "quality", tt.quality)
			finds(t, r, "blank days", "2 dates have neither min nor max")
		})
	}
	refusedWhole(t, body, weather.ReadOptions{Station: "1163781"}, weather.ErrNoRows, `"1163781", but of 8202251`)
}

// Years are handed out one by one, and people put them into one file.
func TestReadECCCFilesInOne(t *testing.T) {
	t.Parallel()
	old, kamloops := string(formatFile(t, "eccc_8202251_2015_SPEC.csv")), string(formatFile(t, "eccc_1163781_2018.csv"))
	r := readService(t, "eccc", old+strings.ReplaceAll(old, "2015-", "2016-"), weather.ReadOptions{})
	if len(r.Days) != 20 || r.Blank != 4 || len(r.Refused) != 0 {
		t.Errorf("%d days, %d blank, refused %v", len(r.Days), r.Blank, r.Refused)
	}
	asksForStation(t, old+kamloops, "8202251", "1163781")
	r = readService(t, "eccc", old+kamloops+old, weather.ReadOptions{Station: "8202251"})
	if len(r.Days) != 10 || r.Repeats != 10 || r.Blank != 4 || len(r.Refused) != 0 {
		t.Errorf("%d days, %d repeats, %d blank, refused %v", len(r.Days), r.Repeats, r.Blank, r.Refused)
	}
	finds(t, r, "station", "8202251, HALIFAX INTL A")
	r = readService(t, "eccc", old+kamloops, weather.ReadOptions{Station: "1163781"})
	if len(r.Days) != 80 || r.Blank != 0 || len(r.Refused) != 0 {
		t.Errorf("%d days, %d blank, refused %v", len(r.Days), r.Blank, r.Refused)
	}
	finds(t, r, "station", "1163781, KAMLOOPS A")
	// A file that tells a name only is not of the station before it.
	asksForStation(t, old+strings.Replace(old, "Climate Identifier", "Identifier", 1), "8202251", "")
}

// eccc_french_SPEC.csv: the values of the first days of Kamloops.
func TestReadECCCFrench(t *testing.T) {
	t.Parallel()
	r := readService(t, "eccc", string(formatFile(t, "eccc_french_SPEC.csv")), weather.ReadOptions{})
	daysAre(t, r, "2018-01-01 -19.4 -12.8", "2018-01-02 -18.7 -9.4")
	if want := []weather.Refusal{{4, "2018-01-04", "min is missing"}}; !slices.Equal(r.Refused, want) || r.Blank != 1 {
		t.Errorf("refused %v, %d blank", r.Refused, r.Blank)
	}
	finds(t, r, "station", "1163781, KAMLOOPS A")
	finds(t, r, "estimated", "1 value is an estimate (E) and used")
	finds(t, r, "quality", "1 day is preliminary (†)")

	old := "\"Nom de la Station\",\"LAVAL\"\n\"Identificateur climatologique\",\"7033650\"\n\n" +
		"\"Date/Heure\",\"Qualité des Données\",\"Temp max. (°C)\",\"Temp max. Indicateur\",\"Temp min. (°C)\",\"Temp min. Indicateur\"\n" +
		"\"2010-05-01\",\"\",\"1.234,5\",\"\",\"5\",\"\"\n\"2010-05-02\",\"\",\"15,5\",\"\",\"5\",\"\"\n\"2010-05-03\",\"\",\"1,5,5\",\"\",\"5\",\"\"\n"
	r = readService(t, "eccc", old, weather.ReadOptions{})
	daysAre(t, r, "2010-05-02 5 15.5")
	want := []weather.Refusal{{1, "2010-05-01", `max "1.234,5" is not a number`}, {3, "2010-05-03", `max "1,5,5" is not a number`}}
	if !slices.Equal(r.Refused, want) {
		t.Errorf("refused %v", r.Refused)
	}
	finds(t, r, "station", "7033650, LAVAL")
}

func TestReadECCCRows(t *testing.T) {
	t.Parallel()
	r := readService(t, "eccc", ecccRows(
		"2018-05-01  21.5  8.3 ",
		"2018-05-02 † 21.5 E 8.3 E",
		"2018-05-03 ‡ 21.5 E 8.3 ",
		"2018-05-04   M  M",
		"2018-05-05 †    ",
		"2018-05-06   M 8.3 E",
		"2018-05-07  21.5   N",
		"2018-05-08  21.5   Y",
		"2018-05-09   N  M",
		"2018-05-10  21.5 M 8.3 ",
		"2018-05-11  21.5  8.3 Y",
		"2018-05-12  <31  8.3 ",
		"2018-05-13  M  8.3 ",
		"2018-05-14  21.5 ^ 8.3 ",
		"2018-05-15  21.5 ^ 8.3 ^",
		"2018-05-16  21.5  8.3 T",
		"2018-05-17  21.5 "+strings.Repeat("é", 99)+" 8.3 T",
		"2018-05-18 †  ^ 8.3 T",
		"2018-02-30  21.5  8.3 ",
		"05/01/2018  21.5  8.3 ",
		"2018-05-19  21,5  8.3 ",
		"2018-05-20  7.5  8.3 ",
		"2018-05-21  21.5",
		"2018-05-22  21.5  8.3  x",
		"2018-05-23   E  E",
		"2026-06-11  21.5  8.3 ",
		"May  21.5  8.3 ",
	)+"\"KAMLOOPS A\",\"1163781\",\"2018-05-24\",\"\",\"21.5\",\"\",\"8.3\"", weather.ReadOptions{})
	daysAre(t, r, "2018-05-01 8.3 21.5", "2018-05-02 8.3 21.5", "2018-05-03 8.3 21.5",
		"2018-05-14 8.3 21.5", "2018-05-15 8.3 21.5", "2018-05-16 8.3 21.5", "2018-05-17 8.3 21.5")
	wantRemarks := []weather.Remark{
		{},
		{},
		{},
		{Flag: "max: from incomplete data (^)"},
		{Flag: "min: from incomplete data (^); max: from incomplete data (^)"},
		{Flag: `min: flag "T"`},
		{Flag: `min: flag "T"; max: unknown flag`},
	}
	if !slices.Equal(r.Remarks, wantRemarks) {
		t.Errorf("remarks %+v", r.Remarks)
	}
	want := []weather.Refusal{
		{6, "2018-05-06", "max is missing"},
		{7, "2018-05-07", "min is missing, only known to be above 0 °C (N)"},
		{8, "2018-05-08", "min is missing, only known to be below 0 °C (Y)"},
		{10, "2018-05-10", `max "21.5" is flagged missing (M)`},
		{11, "2018-05-11", `min "8.3" is flagged missing (Y)`},
		{12, "2018-05-12", `max "<31" is not a number`},
		{13, "2018-05-13", `max "M" is not a number`},
		{18, "2018-05-18", "max is missing"},
		{19, "2018-02-30", `date "2018-02-30" is not a calendar date YYYY-MM-DD`},
		{20, "05/01/2018", `date "05/01/2018" is not a calendar date YYYY-MM-DD`},
		{21, "2018-05-19", `max "21,5" is not a number`}, // No decimal comma in an English file.
		{22, "2018-05-20", "min 8.3 °C is above max 7.5 °C"},
		{23, "2018-05-21", "row has 5 of 8 cells, it is cut off"},
		{24, "2018-05-22", "row has 9 cells instead of 8, is a comma its decimal sign?"},
		{26, "2026-06-11", "date 2026-06-11 is after today"},
		{27, "May", `date "May" is not a calendar date YYYY-MM-DD`},
		{28, "2018-05-24", "row has 7 of 8 cells, it is cut off"},
	}
	if !slices.Equal(r.Refused, want) {
		t.Errorf("refused\n%v\nwant\n%v", r.Refused, want)
	}
	if r.Blank != 4 { // The 4th, 5th, 9th and 23rd.
		t.Errorf("%d blank", r.Blank)
	}
	finds(t, r, "estimated", "3 values are estimates (E) and used") // Not the 6th, which has no max.
	finds(t, r, "flags", "4 days have a value with a doubtful flag; they are kept and marked")
	finds(t, r, "blank days", "4 dates have neither min nor max")
	quality := 0
	for _, f := range r.Findings {
		if f == (weather.Finding{What: "quality", Found: "1 day is preliminary (†)"}) ||
			f == (weather.Finding{What: "quality", Found: "1 day is a partner's, not reviewed by the archive (‡)"}) {
			quality++
		}
	}
	if quality != 2 {
		t.Errorf("findings %v", r.Findings)
	}
}

// What other programs and other files of the service call their columns alike
// is not taken.
func TestECCCIsNotClaimed(t *testing.T) {
	t.Parallel()
	for name, heading := range map[string]string{
		"without flags":        "Date/Time,Data Quality,Max Temp (°C),Min Temp (°C)",
		"without min flag":     "Date/Time,Data Quality,Max Temp (°C),Max Temp Flag,Min Temp (°C)",
		"without max flag":     "Date/Time,Data Quality,Max Temp (°C),Min Temp (°C),Min Temp Flag",
		"without data quality": "Date/Time,Max Temp (°C),Max Temp Flag,Min Temp (°C),Min Temp Flag",
		"without a date":       "Date,Data Quality,Max Temp (°C),Max Temp Flag,Min Temp (°C),Min Temp Flag",
		"without max":          "Date/Time,Data Quality,Max Temp Flag,Min Temp (°C),Min Temp Flag",
		"without min":          "Date/Time,Data Quality,Max Temp (°C),Max Temp Flag,Min Temp Flag",
		"Fahrenheit":           "Date/Time,Data Quality,Max Temp (°F),Max Temp Flag,Min Temp (°F),Min Temp Flag",
		"monthly":              "Date/Time,Year,Month,Data Quality,Mean Max Temp (°C),Mean Max Temp Flag,Mean Min Temp (°C),Mean Min Temp Flag",
	} {
		r, err := weather.Read(strings.NewReader(heading+"\n2018-05-01,,21.5,,8.3,,,\n"), weather.ReadOptions{Format: "eccc", Latest: today})
		if err == nil || !strings.Contains(err.Error(), "no heading") {
			t.Errorf("%s: got %v, %v", name, r, err)
		}
	}
}

func TestReadECCCStations(t *testing.T) {
	t.Parallel()
	body := ecccRows("2018-05-01  21.5  8.3 ") + "\"LANGARA\",\"105450a\",\"2018-05-01\",\"\",\"11.5\",\"E\",\"7.3\",\"\"\n"
	asksForStation(t, body, "1163781", "105450a")
	r := readService(t, "eccc", body, weather.ReadOptions{Station: "105450A"})
	daysAre(t, r, "2018-05-01 7.3 11.5")
	finds(t, r, "station", "105450a, LANGARA")
	finds(t, r, "estimated", "1 value is an estimate (E) and used")
	r = readService(t, "eccc", body, weather.ReadOptions{Station: "1163781"})
	daysAre(t, r, "2018-05-01 8.3 21.5")
	finds(t, r, "estimated", "")
}

// A row that leaves a quote open costs only itself.
func TestReadECCCOpenQuote(t *testing.T) {
	t.Parallel()
	r := readService(t, "eccc", ecccRows("2018-05-01  21.5  8.3 ", "2018-05-02  21.5  8.3 ", "2018-05-03  21.5  8.3 ")+"\"KAM", weather.ReadOptions{})
	if len(r.Days) != 3 || !slices.Equal(r.Refused, []weather.Refusal{{4, "", "a quote is not closed"}}) {
		t.Errorf("%v, refused %v", r.Days, r.Refused)
	}
}

// A cell in quotes may run over two lines.
func TestReadECCCCellOverTwoLines(t *testing.T) {
	t.Parallel()
	body := strings.Replace(ecccRows("2018-05-01  21.5  8.3 ", "2018-05-02  20.5  7.3 "), `"KAMLOOPS A"`, "\"KAMLOOPS\r\nA\"", 1)
	r := readService(t, "eccc", body, weather.ReadOptions{})
	daysAre(t, r, "2018-05-01 8.3 21.5", "2018-05-02 7.3 20.5")
	if len(r.Refused) != 0 {
		t.Errorf("refused %v", r.Refused)
	}
}

func FuzzECCC(f *testing.F) {
	f.Add(formatFile(f, "eccc_1163781_2018.csv")[:1500])
	f.Add(formatFile(f, "eccc_8202251_2015_SPEC.csv"))
	f.Add(formatFile(f, "eccc_french_SPEC.csv"))
	f.Add([]byte(ecccRows("2018-05-01 † 21.5 ^ 8.3 T", "2018-05-02 ‡  M  ", "2018-05-03  21.5   N", "2018-05-04  <31  8.3 E")))
	fuzzService(f, "eccc", "2006-01-02")
}
