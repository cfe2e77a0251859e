package weather_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"ripetide/weather"
)

// The three samples have the same fortnight, which the record of the network
// has too; only in °F it is rounded to whole degrees.
func TestNceiSamples(t *testing.T) {
	t.Parallel()
	whole := readGhcn(t, ghcnSample(t, "ann_arbor_full.dly.gz"), weather.ReadOptions{})
	for _, tt := range []struct {
		file, format string
		unit         weather.Unit // Said; "" if the file tells.
		is           weather.Unit
		found        []weather.Finding
	}{
		{"ncei_metric_SPEC.csv", "ncei-csv", "", weather.Celsius, []weather.Finding{
			{"station", "USC00200230"},
			{"unit", `°C, for values have decimals, as in "18.3"`},
			{"flags", "1 day failed the source's own tests; it is kept and marked"},
			{"hours of observation", "17:00 on 14 days"},
		}},
		{"ncei_tenths_SPEC.csv", "ncei-csv", weather.Tenths, weather.Tenths, []weather.Finding{
			{"station", "USC00200230, ANN ARBOR U OF MICHIGAN, MI US"},
			{"unit", "tenths of °C, as was said"},
			{"flags", "1 day failed the source's own tests; it is kept and marked"},
			{"hours of observation", "17:00 on 14 days"},
		}},
		{"ncei_fahrenheit_SPEC.json", "ncei-json", weather.Fahrenheit, weather.Fahrenheit, []weather.Finding{
			{"station", "USC00200230"},
			{"unit", "°F, as was said"},
			{"flags", "the file has none, so days that failed the source's own tests are not known"},
		}},
	} {
		body := ghcnSample(t, tt.file)
		if tt.unit != "" {
			ghcnRefuses(t, body, weather.ReadOptions{}, weather.ErrUnitUnknown, "C or F, or tenths", []string{"C", "F", "tenths"})
		}
		r := readGhcn(t, body, weather.ReadOptions{Unit: tt.unit, Station: annArborID})
		if r.Format != tt.format || r.Unit != tt.is || !slices.Equal(r.Findings, tt.found) {
			t.Errorf("%s: %s, %s, %v", tt.file, r.Format, r.Unit, r.Findings)
		}
		days := 14
		if tt.format == "ncei-json" {
			days = 12 // 5 June has no TMAX, 6 June no TMIN.
			want := []weather.Refusal{{5, "1991-06-05", "max is missing"}, {6, "1991-06-06", "min is missing"}}
			if !slices.Equal(r.Refused, want) || r.Remarks != nil {
				t.Errorf("%s: refused %v, remarks %v", tt.file, r.Refused, r.Remarks)
			}
		}
		if len(r.Days) != days {
			t.Errorf("%s: %d days", tt.file, len(r.Days))
		}
		for i, d := range r.Days {
			want, remark := ghcnDay(t, whole, d.Date)
			if tt.is != weather.Fahrenheit {
				remark.Hour = 17
				if d != want || r.Remarks[i] != remark {
					t.Errorf("%s: %v %v, want %v %v", tt.file, d, r.Remarks[i], want, remark)
				}
				continue
			}
			if !near(d.Min, want.Min, 0.3) || !near(d.Max, want.Max, 0.3) { // Half a °F.
				t.Errorf("%s: %v, want %v", tt.file, d, want)
			}
		}
	}
}

func TestNcei(t *testing.T) {
	t.Parallel()
	const header = `"STATION","DATE","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"` + "\n"
	for _, tt := range []struct {
		name, format, body string
		opt                weather.ReadOptions
		want               string
	}{
		{
			"one missing, both missing, and no row for rain alone", "ncei-csv",
			header + `"A","2026-06-01","  20.6",",,0,0700","",""` + "\n" + `"A","2026-06-02","","","   7.8",",,0"` + "\n" +
				`"A","2026-06-03","",""," -9999",""` + "\n" + `"A","2026-06-04","  20.6","H,S,0,1700","   7.8",",I,0,0700"` + "\n" + `"A","2026-06-11","","","",""` + "\n",
			weather.ReadOptions{},
			"2026-06-04 7.8 20.6 @17 [min: internal consistency (I); max: spatial consistency (S)]\nrow 1, 2026-06-01: min is missing\nrow 2, 2026-06-02: max is missing\n1 blank\n",
		},
		{
			"what is wrong with a row", "ncei-csv",
			header + `A,2026-06-01,M,,7.8,` + "\n" + `A,2026-06-31,9,,7.8,` + "\n" + `,2026-06-02,9,,7.8,` + "\n" + `A,2026-06` + "\n" + `A,,9,,8,` + "\n" +
				`A,2026-06-03,"9` + "\n" + `A,2026-06-04,9,,7.8,,5` + "\n" + `A,2026-06-05,9,,x,` + "\n" + `A,2026-06-06T07:00:00,9,,8,` + "\n" + `A,2026-06-07,7,,8,` + "\n" +
				`A,2026-06-08T00:00:00,9,,8` + "\n" + `A,2026-06-09,9,,8`,
			weather.ReadOptions{},
			"2026-06-08 8 9\n" + `row 1, 2026-06-01: max "M" is not a number` + "\n" + `row 2, 2026-06-31: date "2026-06-31" is not a calendar date YYYYMMDD` + "\n" +
				"row 3, 2026-06-02: station is empty\nrow 4, 2026-06: row has 2 of 6 cells, it is cut off\nrow 5, : date is empty\nrow 6, 2026-06-03: a quote is not closed\n" +
				"row 7, 2026-06-04: row has 7 cells instead of 6, is a comma its decimal sign?\n" + `row 8, 2026-06-05: min "x" is not a number` + "\n" +
				`row 9, 2026-06-06T07:00:00: date "2026-06-06T07:00:00" is not a calendar date YYYYMMDD` + "\nrow 10, 2026-06-07: min 8 °C is above max 7 °C\n" +
				"row 12, 2026-06-09: row has 5 of 6 cells, it is cut off\n",
		},
		{
			"one of several stations; a decimal of another tells the unit too", "ncei-csv",
			header + "A,2026-06-01,9,,8,\nB,2026-06-01,19.5,,18,\nA,2026-06-02,10,,8,\nB,bad,10,,8,\nB,2026-06-01,\"10,,8,\n",
			weather.ReadOptions{Station: "a"},
			"2026-06-01 8 9\n2026-06-02 8 10\n",
		},
		{
			"a station with rain alone is none", "ncei-csv",
			header + "A,2026-06-01,9.5,,8,\nB,2026-06-01,,,,\n",
			weather.ReadOptions{},
			"2026-06-01 8 9.5\n",
		},
		{
			"a date twice", "ncei-csv",
			header + "A,2026-06-01,9.5,,8,\nA,2026-06-01,9.5,,8,\nA,2026-06-02,9.5,,8,\nA,2026-06-02,9.4,,8,\n",
			weather.ReadOptions{Unit: weather.Celsius},
			"2026-06-01 8 9.5\nrow 3, 2026-06-02: date 2026-06-02 is also in row 4, with other values\nrow 4, 2026-06-02: date 2026-06-02 is also in row 3, with other values\n1 repeats\n",
		},
		{
			"JSON: numbers, null, what is no object", "ncei-json",
			`[{"STATION":"A","DATE":"2026-06-01","TMAX":20.6,"TMIN":"7.8","TMAX_ATTRIBUTES":",S,0,700"}, 5, [], null, {"STATION":"A","DATE":"2026-06-02","TMAX":null,"TMIN":7.8},
			  {"STATION":"A","DATE":"2026-06-03","PRCP":"0"}, {"STATION":"A","DATE":20260604,"TMAX":[1],"TMIN":true}, {"STATION":"A","DATE":"2026-06-05","TMAX":"9","TMIN":"8"}]`,
			weather.ReadOptions{},
			"2026-06-01 7.8 20.6 @7 [max: spatial consistency (S)]\n2026-06-05 8 9\nrow 2, : item is number and no object\nrow 3, : item is array and no object\nrow 4, : date is empty\n" +
				"row 5, 2026-06-02: max is missing\n" + `row 7, 20260604: min "true" is not a number` + "\n1 blank\n",
		},
		{
			"the older service gives values on their own", "ncei-json",
			`{"metadata":{"resultset":{"offset":1,"count":5,"limit":1000}},"results":[
			  {"date":"2026-06-01T00:00:00","datatype":"PRCP","station":"GHCND:A","attributes":",,0,0700","value":0.5},
			  {"date":"2026-06-01T00:00:00","datatype":"TMAX","station":"GHCND:A","attributes":",,0,0700","value":206},
			  {"date":"2026-06-01T00:00:00","datatype":"TMIN","station":"GHCND:A","attributes":",I,0,0700","value":78},
			  {"date":"2026-06-02T00:00:00","datatype":"TMAX","station":"GHCND:A","attributes":",,0,0700","value":206},
			  {"date":"2026-06-03T00:00:00","datatype":"TMAX","station":"GHCND:B","attributes":",,0,0700","value":206}, 7,
			  {"date":"2026-06-04T00:00:00","station":"GHCND:A","value":206},
			  {"date":"2026-06-05T00:00:00","datatype":"TMAX","station":"GHCND:A","attributes":",,0,0700","value":206},
			  {"date":"2026-06-05T00:00:00","datatype":"TMAX","station":"GHCND:A","attributes":",,0,0700","value":207}
			]}`,
			weather.ReadOptions{Unit: weather.Tenths, Station: "GHCND:A"},
			"2026-06-01 7.8 20.6 @7 [min: internal consistency (I)]\nrow 4, 2026-06-02: min is missing\nrow 6, : item is number and no object\nrow 7, 2026-06-04T00:00:00: datatype is missing\n" +
				"row 8, 2026-06-05: max is 206 in row 8 and 207 in row 9\n",
		},
		{
			"the older service asked for °C", "ncei-json",
			`{"results":[{"date":"2026-06-01T00:00:00","datatype":"TMAX","station":"A","value":20.6},{"date":"2026-06-01T00:00:00","datatype":"TMIN","station":"A","value":8}]}`,
			weather.ReadOptions{},
			"2026-06-01 8 20.6\n",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := readGhcn(t, tt.body, tt.opt)
			if r.Format != tt.format || ghcnTold(r) != tt.want {
				t.Errorf("format %s\n%swant\n%s", r.Format, ghcnTold(r), tt.want)
			}
		})
	}
}

func TestNceiRefusesWholeFiles(t *testing.T) {
	t.Parallel()
	const header = "STATION,DATE,TMAX,TMIN\n"
	const results = `{"results":[{"date":"2026-06-01T00:00:00","datatype":"TMAX","station":"A","value":206}`
	unit := []string{"C", "F", "tenths"}
	for _, tt := range []struct {
		name, body string
		opt        weather.ReadOptions
		want       error
		says       string
		choices    []string // Of the first question.
	}{
		{"whole numbers", header + "A,2026-06-01,20,8\n", weather.ReadOptions{}, weather.ErrUnitUnknown, "C or F, or tenths", unit},
		// A spreadsheet of °F with an empty cell writes 69.0.
		{"a decimal of 0 proves nothing", header + "A,2026-06-01,69.0,46.0\n", weather.ReadOptions{}, weather.ErrUnitUnknown, "C or F, or tenths", unit},
		{"nor does what is no number", header + "A,2026-06-01,v1.5,46\n", weather.ReadOptions{}, weather.ErrUnitUnknown, "C or F, or tenths", unit},
		{"a decimal contradicts °F", header + "A,2026-06-01,20.5,8\n", weather.ReadOptions{Unit: "F"}, weather.ErrUnitConflict, "are °C, the request says °F", nil},
		{"a decimal contradicts tenths", header + "A,2026-06-01,20,8.5\n", weather.ReadOptions{Unit: "tenths"}, weather.ErrUnitConflict, "are °C, the request says tenths", nil},
		{"°F said to be °C", header + "A,2026-06-01,95,65\nA,2026-06-02,95,66\nA,2026-06-03,95,67\n", weather.ReadOptions{Unit: "C"}, weather.ErrWrongUnit, "°F?", nil},
		{"two stations", header + "A,2026-06-01,20.5,8\nB,2026-06-01,20,8\n", weather.ReadOptions{}, weather.ErrAmbiguous, "has 2 stations", []string{"A", "B"}},
		{"another station", header + "A,2026-06-01,20,8\nB,2026-06-01,20,8\n", weather.ReadOptions{Station: "C"}, weather.ErrNoRows, "no temperatures of station C, but of A, B", nil},
		{"no rows", header, weather.ReadOptions{}, weather.ErrNoRows, "no rows", nil},
		{"rain alone", header + "A,2026-06-01,,\nA,\n", weather.ReadOptions{}, weather.ErrNoRows, "no row of the file can be read and has TMIN or TMAX", nil},
		{"a stand-in for missing alone", header + "A,2026-06-01,-9999,-9999\n", weather.ReadOptions{Unit: "C"}, weather.ErrNoRows, "no day with TMIN or TMAX", nil},
		{"the older service with rain alone", strings.Replace(results, "TMAX", "PRCP", 1) + "]}", weather.ReadOptions{}, weather.ErrNoRows, "no item of the list", nil},
		{"no column of min", "STATION,DATE,TMAX\nA,2026-06-01,20.5\n", weather.ReadOptions{}, weather.ErrBadHeader, "no column TMIN", nil},
		{"no column of max", "STATION,DATE,TMIN\nA,2026-06-01,20.5\n", weather.ReadOptions{}, weather.ErrBadHeader, "no column TMAX", nil},
		{"no column of dates", "STATION,TMIN,TMAX\nA,5,20.5\n", weather.ReadOptions{Format: "ncei-csv"}, weather.ErrBadHeader, "no column DATE", nil},
		{"JSON without a unit", `[{"STATION":"A","DATE":"2026-06-01","TMAX":"87"}]`, weather.ReadOptions{}, weather.ErrUnitUnknown, "tenths", unit},
		{"the older service without a unit", results + "]}", weather.ReadOptions{}, weather.ErrUnitUnknown, "tenths", unit},
		{"the older service with two stations", results + `,{"date":"2026-06-01","datatype":"TMAX","station":"B","value":5}]}`, weather.ReadOptions{Unit: "tenths"}, weather.ErrAmbiguous, "has 2 stations", []string{"A", "B"}},
		{"an empty list", "[]", weather.ReadOptions{Format: "ncei-json"}, weather.ErrNoRows, "list of the file is empty", nil},
		{"JSON that breaks off within an item", `[{"STATION":"A","DATE":"2026-06-01","TMAX":"8.5"},{"STA`, weather.ReadOptions{}, weather.ErrDamaged, "after item 1", nil},
		{"JSON that breaks off between items", `[{"STATION":"A","DATE":"2026-06-01","TMAX":"8.5"},`, weather.ReadOptions{}, weather.ErrDamaged, "after item 1", nil},
		{"JSON without its end", `[{"STATION":"A","DATE":"2026-06-01","TMAX":"8.5"}`, weather.ReadOptions{}, weather.ErrDamaged, "after item 1", nil},
		{"the older service without its end", results + "]", weather.ReadOptions{Unit: "tenths"}, weather.ErrDamaged, "after item 1", nil},
		{"two answers in one file", `[{"STATION":"A","DATE":"2026-06-01","TMAX":"8.5"}][]`, weather.ReadOptions{}, weather.ErrDamaged, "one answer of the service at a time", nil},
		{"no JSON", "hello", weather.ReadOptions{Format: "ncei-json"}, weather.ErrDamaged, "after item 0", nil},
		{"JSON without a list", `{"a":[1],"b":{"c":2}}`, weather.ReadOptions{Format: "ncei-json"}, weather.ErrBadHeader, "no list of days", nil},
		{"JSON that breaks off before the list", `{"a":[1`, weather.ReadOptions{Format: "ncei-json"}, weather.ErrDamaged, "after item 0", nil},
		{"results that are no list", `{"results":5}`, weather.ReadOptions{Format: "ncei-json"}, weather.ErrBadHeader, "no list of days", nil},
		{"a number", `5`, weather.ReadOptions{Format: "ncei-json"}, weather.ErrBadHeader, "no list of days", nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			ghcnRefuses(t, tt.body, tt.opt, tt.want, tt.says, tt.choices)
		})
	}
}

func TestNceiStation(t *testing.T) {
	t.Parallel()
	for body, want := range map[string]string{
		"STATION,NAME,DATE,TMAX,TMIN\nA,Mill,2026-06-01,20.5,8\nA,,2026-06-02,20.5,8\n":     "A, Mill",
		"STATION,NAME,DATE,TMAX,TMIN\nA,Mill,2026-06-01,20.5,8\nB,Ford,2026-06-02,20.5,8\n": "A",
		"STATION,DATE,TMAX,TMIN\n A ,2026-06-01,20.5,8\nA,2026-06-02,20.5,8\n":              "A",
		`[{"STATION":" A ","NAME":"Mill","DATE":" 2026-06-01","TMAX":"20.5","TMIN":"8"}]`:   "A, Mill",
	} {
		r := readGhcn(t, body, weather.ReadOptions{Station: "A"})
		if got := ghcnFound(r, "station"); got != want || len(r.Days) == 0 || len(r.Refused) != 0 {
			t.Errorf("%s: %q, want %q; refused %v", body, got, want, r.Refused)
		}
	}
}

// Everything that is open is asked at once.
func TestNceiAsksAllAtOnce(t *testing.T) {
	t.Parallel()
	for name, body := range map[string]string{
		"csv":  "STATION,DATE,TMAX,TMIN\nA,2026-06-01,20,8\nB,2026-06-01,20,8\n",
		"json": `[{"STATION":"A","DATE":"2026-06-01","TMAX":20},{"STATION":"B","DATE":"2026-06-01","TMAX":20}]`,
		"older": `{"results":[{"date":"2026-06-01","datatype":"TMAX","station":"A","value":20},
			{"date":"2026-06-01","datatype":"TMAX","station":"B","value":20}]}`,
	} {
		_, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Latest: today})
		want := fmt.Sprint([]weather.Question{
			{weather.OptionUnit, "The file does not tell its unit: say whether it is C or F, or tenths.", []string{"C", "F", "tenths"}},
			{weather.OptionStation, "The file has 2 stations: say which one to take.", []string{"A", "B"}},
		})
		if got := fmt.Sprint(ghcnQuestions(t, err)); got != want || !errors.Is(err, weather.ErrUnitUnknown) || !errors.Is(err, weather.ErrAmbiguous) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzNceiCSV(f *testing.F) {
	f.Add(ghcnSample(f, "ncei_metric_SPEC.csv"), "", "")
	f.Add(ghcnSample(f, "ncei_tenths_SPEC.csv"), annArborID, "tenths")
	f.Add("STATION,DATE,TMAX,TMIN\nA,2026-06-01,69,46\nB,2026-06-01,20,8\n", "A", "F")
	fuzzGhcn(f, "ncei-csv")
}

func FuzzNceiJSON(f *testing.F) {
	f.Add(ghcnSample(f, "ncei_fahrenheit_SPEC.json"), "", "F")
	f.Add(`[{"STATION":"A","DATE":"2026-06-01","TMAX":20.5,"TMIN":null,"TMAX_ATTRIBUTES":",S,0,700"},7]`, "A", "")
	f.Add(`{"results":[{"date":"2026-06-01T00:00:00","datatype":"TMAX","station":"A","attributes":",I,0,0700","value":206},
		{"date":"2026-06-01T00:00:00","datatype":"TMIN","station":"A","attributes":",,0,0700","value":78}]}`, "", "tenths")
	fuzzGhcn(f, "ncei-json")
}
