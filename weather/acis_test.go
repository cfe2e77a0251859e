package weather_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"ripetide/weather"
)

func TestACIS(t *testing.T) {
	t.Parallel()
	// acis_flags_SPEC.json, °F: 68/49, M/51, 85/M, 84/63, 71/55; a third column
	// holds rain. 36·5/9, 17·5/9; 52·5/9, 31·5/9; 39·5/9, 23·5/9 °C.
	r := readReply(t, "acis", replyFile(t, "acis_flags_SPEC.json"), weather.ReadOptions{Latest: today})
	checkDays(t, r.Days, "2012-05-01 9.444 20", "2012-05-04 17.222 28.889", "2012-05-05 12.778 21.667")
	checkRefused(t, r.Refused, "2 2012-05-02: max is missing", "3 2012-05-03: min is missing")
	checkFindings(t, r.Findings, "station: ANN ARBOR U OF MICH, USC00200230", "unit: °F, by the format",
		"columns: max first, for that is never below the other; 1 of 3 columns are left out")
	if r.Unit != weather.Fahrenheit || r.Remarks != nil {
		t.Errorf("unit %s, remarks %v", r.Unit, r.Remarks)
	}
}

func TestACISHours(t *testing.T) {
	t.Parallel()
	// acis_hours_SPEC.json: 68/49 read at 17 h; a missing max whose hour is -1.
	r := readReply(t, "acis", replyFile(t, "acis_hours_SPEC.json"), weather.ReadOptions{Latest: today})
	checkDays(t, r.Days, "2012-05-01 9.444 20")
	checkRefused(t, r.Refused, "2 2012-05-02: max is missing")
	if want := []weather.Remark{{Hour: 17}}; !slices.Equal(r.Remarks, want) {
		t.Errorf("remarks %v", r.Remarks)
	}
	for name, tt := range map[string]struct {
		row  string
		want int8
	}{
		"both the same":               {`["68"," ",7],["49"," ",7]`, 7},
		"the max's is not known":      {`["68"," ",-1],["49"," ",7]`, 7},
		"the min's is not known":      {`["68"," ",7],["49"," ",-1]`, 7},
		"none is known":               {`["68"," ",-1],["49"," ",-1]`, 0},
		"they differ, the max counts": {`["68"," ",17],["49"," ",7]`, 17},
		"midnight":                    {`["68"," ",24],["49"," ",24]`, 24},
		"midnight in another way":     {`["68"," ",0],["49"," ",-1]`, 24},
		"minutes past midnight":       {`["68"," ",-1],["49"," ",0.4]`, 24},
		"minutes":                     {`["68"," ",6.6],["49"," ","7"]`, 7},
		"no hour of a day":            {`["68"," ",25],["49"," ",-1]`, 0},
		"minutes too many":            {`["68"," ",-1],["49"," ",24.2]`, 0},
		"no number":                   {`["68"," ","x"],["49"," ",null]`, 0},
		"no hour was asked for":       {`["68"," "],["49"," "]`, 0},
		"something else than flags":   {`["68",7,8],["49",7,8]`, 0},
		"one of them plain":           {`"68",["49"," ",7]`, 7},
	} {
		r := readReply(t, "acis", `{"meta":{},"data":[["2012-05-01",`+tt.row+`]]}`, weather.ReadOptions{Latest: today})
		if len(r.Days) != 1 || tt.want == 0 && r.Remarks != nil || tt.want != 0 && !slices.Equal(r.Remarks, []weather.Remark{{Hour: tt.want}}) {
			t.Errorf("%s: days %v, remarks %v", name, r.Days, r.Remarks)
		}
	}
}

func TestACISValues(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name    string
		row     string
		refusal string // "": kept as 49 to 68 °F.
	}{
		{"strings", `"2012-05-01","68","49"`, ""},
		{"blanks", `" 2012-05-01"," 68 "," 49"`, ""},
		{"numbers", `"2012-05-01",68,49`, ""},
		{"more columns than are looked at", `"2012-05-01","68","49"` + strings.Repeat(`,"0.1"`, 30), ""},
		{"M", `"2012-05-01","M","49"`, "max is missing"},
		{"null", `"2012-05-01","68",null`, "min is missing"},
		{"empty", `"2012-05-01","68",""`, "min is empty"},
		{"part of a later day's", `"2012-05-01","S","49"`, "max is missing"},
		{"a number that is part of a later day's", `"2012-05-01","68S","49"`, "max is missing"},
		{"several days", `"2012-05-01","68A","49"`, "max 68 is of several days (A)"},
		{"several days, with the flag apart", `"2012-05-01",["68","A",7],["49"," ",7]`, "max 68 is of several days (A)"},
		{"missing, with the flag apart", `"2012-05-01",["68"," ",7],["M","M",-1]`, "min is missing"},
		{"missing, whatever its flag", `"2012-05-01",["68"," ",7],["M","A",7]`, "min is missing"},
		{"an empty cell", `"2012-05-01",[],"49"`, "max is missing"},
		{"a trace of warmth", `"2012-05-01","T","49"`, `max "" has the flag T, which a temperature cannot have`},
		{"an unknown flag", `"2012-05-01",["68","Q",7],["49"," ",7]`, `max "68" has the flag Q, which a temperature cannot have`},
		{"a word", `"2012-05-01","warm","49"`, `max "warm" is not a number`},
		{"an object", `"2012-05-01",{"a":1},"49"`, `max "{\"a\":1}" is not a number`},
		{"no date of the calendar", `"2012-02-30","68","49"`, `date "2012-02-30" is not a calendar date YYYY-MM-DD`},
		{"a month", `"2012-05","68","49"`, `date "2012-05" is not a calendar date YYYY-MM-DD`},
		{"a month without a value", `"2012-05","M","M"`, `date "2012-05" is not a calendar date YYYY-MM-DD`},
		{"no date", `null,"68","49"`, `date "null" is not a calendar date YYYY-MM-DD`},
		{"tomorrow", `"2026-06-11","68","49"`, "date 2026-06-11 is after today"},
		{"too warm", `"2012-05-01","168","49"`, "max 168 °F is above 140 °F"},
		{"cut short", `"2012-05-01","68"`, "row has 1 of 2 values"},
		{"empty row", ``, "row is no list of a date and values"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			// Two good days tell the columns.
			body := `{"meta":{},"data":[["2012-04-29","60","40"],["2012-04-30","61","41"],[` + tt.row + `]]}`
			r := readReply(t, "acis", body, weather.ReadOptions{Latest: today})
			if tt.refusal == "" {
				if len(r.Days) != 3 || !near(r.Days[2].Min, 17.0*5/9, 1e-9) || !near(r.Days[2].Max, 20, 1e-9) {
					t.Fatalf("%v, %v refused", r.Days, r.Refused)
				}
				return
			}
			if len(r.Days) != 2 || len(r.Refused) != 1 || r.Refused[0].Row != 3 || r.Refused[0].Reason != tt.refusal {
				t.Fatalf("%v, %+v refused", r.Days, r.Refused)
			}
		})
	}
	r := readReply(t, "acis", `{"meta":{},"data":[["2012-04-29","60","40"],[" 2012-04-30","M","M"],["2012-05-01","S",null],"2012-05-02",["2012-05-03","-0","-1"]]}`, weather.ReadOptions{Latest: today})
	if r.Blank != 2 || r.Received != 3 || len(r.Days) != 2 {
		t.Errorf("%+v", r)
	}
	checkRefused(t, r.Refused, "4 : row is no list of a date and values")
}

// A reply of months is recognised, and then has no day.
func TestACISMonths(t *testing.T) {
	t.Parallel()
	r := readReply(t, "acis", `{"meta":{},"data":[["2012-05","68","49"]]}`, weather.ReadOptions{Latest: today})
	checkRefused(t, r.Refused, `1 2012-05: date "2012-05" is not a calendar date YYYY-MM-DD`)
	// Without meta a date tells.
	readReply(t, "acis", `{"data":[["2012-05-01","68","49"]]}`, weather.ReadOptions{Latest: today})
}

func TestACISColumns(t *testing.T) {
	t.Parallel()
	const maxFirst, minFirst = "max first, for that is never below the other", "min first, for that is never below the other"
	for _, tt := range []struct {
		name string
		rows string // Values of 1 May 2012 and the days after.
		said string
		want string // Finding, question or error.
		day  string // The first.
	}{
		{"never below and once above", `["68","49"],["50","50"]`, "", maxFirst, "9.444 20"},
		{"never above and once below", `["49","68"],["50","50"]`, "", minFirst, "9.444 20"},
		{"as was said", `["49","68"]`, "min first", minFirst, "9.444 20"},
		{"one number decides nothing", `["68","49"],["M","70"]`, "", maxFirst, "9.444 20"},
		{"mixed", `["68","49"],["50","51"]`, "", "such as 68 and 49 of 2012-05-01: say whether max or min is first.", ""},
		{"mixed, max first", `["68","49"],["50","51"]`, "max first", "max first, as was said", "9.444 20"},
		{"mixed, min first", `["49","68"],["51","50"]`, "min first", "min first, as was said", "9.444 20"},
		{"always the same", `["50","50"],["60","60"]`, "", "such as 50 and 50 of 2012-05-01: say", ""},
		{"never both", `["50","M"],["M","60"]`, "", "does not name its columns: say", ""},
		{"nothing at all", `["M","M"]`, "", "without a value", ""},
		{"contradicted", `["68","49"]`, "min first", "the values tell max first, for that is never below the other, the request says min first", ""},
		{"an answer that is none", `["68","49"]`, "maxt", `column "maxt" is neither "max first" nor "min first"`, ""},
		{"one column", `["68"],["69"]`, "", "one value: ask for both maxt and mint", ""},
		{"an average", `["58.5","49"]`, "", "such as 58.5 and 49 of 2012-05-01: say whether max or min is first; decimals are mostly those of an average.", ""},
		{"decimals, as was said", `["68.0","49.0"]`, "max first", "max first, as was said", "9.444 20"},
		{"rain before", `["0.10","68","49"],["T","50","40"]`, "", maxFirst + "; 1 of 3 columns are left out", "9.444 20"},
		{"an average between", `["68","58.5","49"],["50","45.0","40"]`, "", maxFirst + "; 1 of 3 columns are left out", "9.444 20"},
		{"an average between, with flags", `[["68"," "],["58.5"," "],["49"," "]]`, "", maxFirst + "; 1 of 3 columns are left out", "9.444 20"},
		{"a column without a number", `["M","68","49"]`, "", maxFirst + "; 1 of 3 columns are left out", "9.444 20"},
		{"a third temperature", `["68","49","52"]`, "", "such as 68 and 49 of 2012-05-01: say", ""},
		{"a third temperature, as was said", `["49","68","52"]`, "min first", "min first, as was said; 1 of 3 columns are left out", "9.444 20"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			rows := strings.Split(tt.rows, "],[")
			if strings.HasPrefix(tt.rows, "[[") {
				rows = []string{tt.rows}
			}
			for i, row := range rows {
				row = strings.TrimSuffix(strings.TrimPrefix(row, "["), "]")
				rows[i] = fmt.Sprintf(`["2012-05-%02d",%s]`, i+1, row)
			}
			body := `{"meta":{},"data":[` + strings.Join(rows, ",") + "]}"
			r, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Latest: today, Column: tt.said})
			if err != nil {
				kind := weather.ErrBadHeader
				if strings.Contains(tt.want, "say") && !strings.Contains(tt.want, "says") {
					kind = weather.ErrAmbiguous
					var file *weather.FileError
					if !errors.As(err, &file) || len(file.Questions()) != 1 || file.Questions()[0].Option != weather.OptionColumn ||
						!slices.Equal(file.Questions()[0].Choices, []string{"max first", "min first"}) {
						t.Fatalf("%v asks %+v", err, file)
					}
				}
				mustRefuse(t, err, kind, tt.want)
				if tt.day != "" {
					t.Fatal(err)
				}
				return
			}
			mustAddUp(t, r)
			checkFindings(t, r.Findings, "station: the reply does not name it", "unit: ", "columns: "+tt.want)
			if tt.day != "" {
				checkDays(t, r.Days[:1], "2012-05-01 "+tt.day)
			}
		})
	}
}

// The mean of a day and its min pass for its extremes, but for the half degree.
func TestACISAsksAboutAnAverage(t *testing.T) {
	t.Parallel()
	// acis_lincoln.json: 37.5 and 26 °F on 2000-01-01.
	body := replyFile(t, "acis_lincoln.json")
	_, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Latest: today})
	mustRefuse(t, err, weather.ErrAmbiguous, "37.5 and 26 of 2000-01-01")
	r := readReply(t, "acis", body, weather.ReadOptions{Latest: today, Column: "max first"})
	checkDays(t, r.Days, "2000-01-01 -3.333 3.056") // -6·5/9, 5.5·5/9.
	checkFindings(t, r.Findings, "station: LINCOLN AIRPORT, USW00014939", "unit: ", "columns: max first, as was said")
}

func TestACISStations(t *testing.T) {
	t.Parallel()
	many := replyFile(t, "acis_stations_SPEC.json")
	_, err := weather.Read(strings.NewReader(many), weather.ReadOptions{Latest: today})
	mustRefuse(t, err, weather.ErrAmbiguous, "about 2 stations")
	var file *weather.FileError
	if !errors.As(err, &file) || len(file.Questions()) != 1 || file.Questions()[0].Option != weather.OptionStation ||
		!slices.Equal(file.Questions()[0].Choices, []string{"USC00200230", "14939"}) {
		t.Errorf("asks %+v", file.Questions())
	}
	// acis_stations_SPEC.json: the min stands first. 49 and 68 °F; 55 and 81, 60
	// and 60 °F, which are 23·5/9, 49·5/9, 28·5/9 °C.
	for _, id := range []string{"USC00200230", "200230", "200230 2", "7911"} {
		r := readReply(t, "acis", many, weather.ReadOptions{Latest: today, Station: id})
		checkDays(t, r.Days, "2012-05-01 9.444 20")
		checkRefused(t, r.Refused, "2 2012-05-02: max is missing")
		checkFindings(t, r.Findings, "station: ANN ARBOR U OF MICH, USC00200230", "unit: ", "columns: min first, for")
		if r.Blank != 1 {
			t.Errorf("%d blank", r.Blank)
		}
	}
	r := readReply(t, "acis", many, weather.ReadOptions{Latest: today, Station: "KLNK"})
	checkDays(t, r.Days, "2012-05-01 12.778 27.222", "2012-05-02 15.556 15.556")

	// Both questions at once.
	_, err = weather.Read(strings.NewReader(strings.ReplaceAll(many, `"49"`, `"69"`)), weather.ReadOptions{Latest: today})
	if !errors.As(err, &file) || len(file.Questions()) != 2 || file.Questions()[1].Option != weather.OptionColumn {
		t.Errorf("asks %+v", file.Questions())
	}
	one := replyFile(t, "acis_flags_SPEC.json")
	if r := readReply(t, "acis", one, weather.ReadOptions{Latest: today, Station: "200230"}); len(r.Days) != 3 {
		t.Errorf("%d days", len(r.Days))
	}
	// What does not name itself is believed.
	readReply(t, "acis", `{"data":[["2012-05-01","68","49"]]}`, weather.ReadOptions{Latest: today, Station: "BUFthr"})
	const row = `"data":[["2012-05-01","68","49"]]}`
	readReply(t, "acis", `{"data":[{`+row+"]}", weather.ReadOptions{Latest: today})
	for _, tt := range []struct {
		name, body, station string
		want                error
		says                string
	}{
		{"another of one", one, "USC00200231", weather.ErrNoRows, "no station USC00200231; it is about USC00200230"},
		{"another of several", many, "X", weather.ErrNoRows, "no station X; it is about USC00200230, 14939"},
		{"a code is no station", many, "2", weather.ErrNoRows, "no station 2"},
		{"none that names itself", `{"data":[{` + row + `,{` + row + `]}`, "", weather.ErrBadHeader, "2 of the stations in the reply have the same identifier or none"},
		{"none that names itself, one said", `{"data":[{` + row + `,{` + row + `]}`, "X", weather.ErrNoRows, "it is about others"},
		{"one twice", `{"data":[{"meta":{"uid":1},` + row + `,{"meta":{"uid":1},` + row + `]}`, "1", weather.ErrBadHeader, "2 of the stations"},
	} {
		_, err := weather.Read(strings.NewReader(tt.body), weather.ReadOptions{Latest: today, Station: tt.station})
		if err == nil {
			t.Fatal(tt.name)
		}
		mustRefuse(t, err, tt.want, tt.says)
	}
}

// Of many stations a question offers twenty.
func TestACISOffersTwentyStations(t *testing.T) {
	t.Parallel()
	var list []string
	for i := range 30 {
		list = append(list, fmt.Sprintf(`{"meta":{"uid":%d},"data":[["2012-05-01","68","49"]]}`, i))
	}
	_, err := weather.Read(strings.NewReader(`{"data":[`+strings.Join(list, ",")+"]}"), weather.ReadOptions{Latest: today})
	mustRefuse(t, err, weather.ErrAmbiguous, "about 30 stations")
	var file *weather.FileError
	if !errors.As(err, &file) || len(file.Questions()[0].Choices) != 20 {
		t.Errorf("asks %+v", file.Questions())
	}
}

func TestACISRefusesWholeFiles(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		body string
		opt  weather.ReadOptions
		want error
		says string
	}{
		{"an error", replyFile(t, "acis_error_SPEC.json"), weather.ReadOptions{}, weather.ErrNoRows, "an error: no data available"},
		{"an error without end", `{"error":"` + strings.Repeat("ü", 5000) + `"}`, weather.ReadOptions{}, weather.ErrNoRows, "ü…"},
		{"an error that is no word", `{"error":{"code":7}}`, weather.ReadOptions{Format: "acis"}, weather.ErrNoRows, `an error: {"code":7}`},
		{"no day", `{"meta":{"uid":1},"data":[]}`, weather.ReadOptions{}, weather.ErrNoRows, "no day"},
		{"no day in a list", `{"data":[{"meta":{"uid":1},"data":[]}]}`, weather.ReadOptions{}, weather.ErrNoRows, "no day"},
		{"no data", `{"meta":{}}`, weather.ReadOptions{Format: "acis"}, weather.ErrBadHeader, "no list named data"},
		{"°C", replyFile(t, "acis_flags_SPEC.json"), weather.ReadOptions{Unit: "C"}, weather.ErrUnitConflict, "°F, the request says °C"},
		{"rows without dates", `{"data":[{"meta":{"uid":1},"data":[["68","49"]]}]}`, weather.ReadOptions{}, weather.ErrBadHeader, "no dates, as those of MultiStnData: ask StnData for one station"},
		{"a row without a date", `{"data":[{"meta":{"uid":1},"data":["68","49"]}]}`, weather.ReadOptions{}, weather.ErrBadHeader, "no dates"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tt.opt.Latest = today
			_, err := weather.Read(strings.NewReader(tt.body), tt.opt)
			mustRefuse(t, err, tt.want, tt.says)
		})
	}
	_, err := weather.ReadOutlook(strings.NewReader(replyFile(t, "acis_flags_SPEC.json")), weather.ReadOptions{Latest: today})
	mustRefuse(t, err, weather.ErrOutlook, "observed days")
}

// JSON of the same kind that is nobody's here is not claimed.
func TestJSONOfOthers(t *testing.T) {
	t.Parallel()
	for _, body := range []string{
		`{"data":[{"id":1,"meta":{}}]}`, `{"data":[["Kim","68"]]}`, `{"data":{"error":"x"}}`, `{"error":"x","data":[]}`, `{"error":{"code":7}}`,
		`{"data":[]}`, `{"data":[[]]}`, `{"data":["2012-05-01"]}`, `["error"]`, `{"properties":{"name":"a field"}}`, `{"title":"x","status":1}`, `{"title":"x","detail":"y"}`,
		`{"title":"x","detail":"y","status":1,"properties":{}}`, `{"daily":[{"dt":1}]}`, `{"daily":{"dt":[]}}`, `{"hourly":{"time":"now"}}`, `{"reason":"x"}`, `{"error":true}`, `[[{"daily_units":1}]]`,
		`{`, `{"`, `{"data`, `{"data":`, `{"data":[`, `[`, `[{`, `"daily_units"`, `"`, `{]`, `{"a" "daily_units":1}`, `{"a":{"daily_units":1}}`, `{"a":"\"daily_units\":1"}`,
	} {
		_, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Latest: today})
		mustRefuse(t, err, weather.ErrUnknownFormat, "is none of")
	}
}

func FuzzACIS(f *testing.F) {
	for _, name := range []string{"acis_flags_SPEC.json", "acis_hours_SPEC.json", "acis_lincoln.json", "acis_stations_SPEC.json", "acis_error_SPEC.json"} {
		f.Add(replyFile(f, name), "", "")
		f.Add(replyFile(f, name), "min first", "KLNK")
	}
	fuzzReply(f, "acis", "America/New_York", func(t *testing.T, r *weather.Reading) {
		if r.Unit != weather.Fahrenheit || len(r.Findings) < 3 { // One more if it is no UTF-8.
			t.Fatalf("unit %s, findings %q", r.Unit, r.Findings)
		}
		for _, m := range r.Remarks {
			if m.Flag != "" || m.Hour < 0 || m.Hour > 24 {
				t.Fatalf("remark %+v", m)
			}
		}
	})
}
