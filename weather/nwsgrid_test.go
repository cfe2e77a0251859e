package weather_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ripetide/weather"
)

// nwsIssued is when the forecast of nws_grid_ALY.json was made.
var nwsIssued = time.Date(2026, time.June, 10, 18, 36, 45, 0, time.UTC)

func TestNWSGrid(t *testing.T) {
	t.Parallel()
	r := readAhead(t, "nws-grid", replyFile(t, "nws_grid_ALY.json"), weather.ReadOptions{Zone: newYork, Latest: today})
	mustFit(t, r)
	// From nws_grid_ALY.json: maxTemperature 28.888…, 28.888…, 28.333…, 27.222…,
	// 27.222…, 28.888…, 26.666… from 11 June on; minTemperature 18.888…,
	// 16.666…, 16.666…, 17.777…, 15, 17.777…, 17.222…, whose intervals of 14 h
	// begin at midnight UTC and end at 10 in the morning in New York. The min of
	// 24.444… is of 12 to 14 h UTC on 10 June; that of 18 June has no max.
	checkDays(t, r.Days, "2026-06-11 18.9 28.9", "2026-06-12 16.7 28.9", "2026-06-13 16.7 28.3",
		"2026-06-14 17.8 27.2", "2026-06-15 15 27.2", "2026-06-16 17.8 28.9", "2026-06-17 17.2 26.7")
	if r.Days[0].Max != 28.9 {
		t.Errorf("%v is not rounded", r.Days[0].Max)
	}
	checkRefused(t, r.Refused, "1 2026-06-10: min is of 2 h only, the rest of a night", "9 2026-06-18: max is missing")
	checkFindings(t, r.Findings, "grid: ALY 71,67", "unit: °C", "days: a max is of the date it begins on, a min of the date it ends on, in America/New_York")
	if !r.IssuedAt.Equal(nwsIssued) { // updateTime.
		t.Errorf("issued at %v", r.IssuedAt)
	}
	mustSuit(t, r, "America/New_York", nwsIssued)
}

func TestNWSGridWithAHole(t *testing.T) {
	t.Parallel()
	r := readAhead(t, "nws-grid", replyFile(t, "nws_grid_MPX_SPEC.json"), weather.ReadOptions{Zone: mustZone("America/Chicago"), Latest: today})
	mustFit(t, r)
	// From nws_grid_MPX_SPEC.json, °F: 50 and 59, 41 and 68, 32 and 77; the max
	// of 14 June is null.
	checkDays(t, r.Days, "2026-06-11 10 15", "2026-06-12 5 20", "2026-06-13 0 25")
	checkRefused(t, r.Refused, "1 2026-06-10: min is of 3 h only, the rest of a night",
		"5 2026-06-14: max is missing", "6 2026-06-15: comes after a day that is left out")
	checkFindings(t, r.Findings, "grid: MPX 112,73", "unit: °F", "days: ")
	mustSuit(t, r, "America/Chicago", time.Date(2026, time.June, 10, 11, 20, 0, 0, time.UTC))
}

// nwsGridOf returns a forecast of 10 June 2026, 14 h UTC, with values written as
// "10T12/PT13H 25": day of June, hour UTC, duration, value.
func nwsGridOf(maxima, minima []string) string {
	list := func(values []string) string {
		var items []string
		for _, v := range values {
			var day, hour int
			var rest string
			when, value, _ := strings.Cut(v, " ")
			if _, err := fmt.Sscanf(when, "%dT%d/%s", &day, &hour, &rest); err != nil {
				panic(err)
			}
			items = append(items, fmt.Sprintf(`{"validTime":"2026-06-%02dT%02d:00:00+00:00/%s","value":%s}`, day, hour, rest, value))
		}
		return `{"uom":"wmoUnit:degC","values":[` + strings.Join(items, ",") + "]}"
	}
	return `{"properties":{"updateTime":"2026-06-10T14:00:00Z","maxTemperature":` + list(maxima) + `,"minTemperature":` + list(minima) + "}}"
}

func TestNWSGridDays(t *testing.T) {
	t.Parallel()
	type values = []string
	for _, tt := range []struct {
		name    string
		zone    string
		max     []string
		min     []string
		want    values // Days.
		refused values
	}{
		{
			"a whole day from the date of issue on", "America/New_York",
			values{"10T12/PT13H 25", "11T12/PT13H 26"}, values{"10T00/PT14H 12", "11T00/PT14H 13"},
			values{"2026-06-10 12 25", "2026-06-11 13 26"}, nil,
		},
		{
			"dates are the farm's, not those of Greenwich", "Pacific/Guam", // 10 h ahead: 7 in the morning to 8 in the evening, 19 to 9.
			values{"10T21/PT13H 31", "11T21/PT13H 32"}, values{"10T09/PT14H 24", "11T09/PT14H 25"},
			values{"2026-06-11 24 31", "2026-06-12 25 32"}, nil,
		},
		{
			"the rest of an afternoon is no max", "America/New_York",
			values{"10T19/PT6H 25", "11T12/PT13H 26"}, values{"10T00/PT14H 12", "11T00/PT14H 13"},
			values{"2026-06-11 13 26"}, values{"1 2026-06-10: max is of 6 h only, the rest of a day"},
		},
		{
			"a little more than six hours is one", "America/New_York",
			values{"10T18/PT6H1M 25"}, values{"10T07/PT6H30M 12"},
			values{"2026-06-10 12 25"}, nil,
		},
		{
			"two rests of one day", "America/New_York",
			values{"10T23/PT2H 25", "11T12/PT13H 26"}, values{"10T12/PT1H30M 12", "11T00/PT14H 13"},
			values{"2026-06-11 13 26"},
			values{"1 2026-06-10: min is of 1.5 h only, the rest of a night, max is of 2 h only, the rest of a day"},
		},
		{
			"a rest beside the whole, before and after it", "America/New_York",
			values{"10T12/PT13H 25", "10T22/PT3H 20"}, values{"10T13/PT1H 17", "10T00/PT14H 12"},
			values{"2026-06-10 12 25"}, nil,
		},
		{
			"several days in one", "America/New_York",
			values{"10T12/P1DT1H 25", "11T12/P1D 26"}, values{"10T00/PT14H 12", "11T00/PT14H 13"},
			values{"2026-06-11 13 26"}, values{"1 2026-06-10: max is of 25 h, which is more than a day"},
		},
		{
			"days before the date of issue", "America/New_York",
			values{"9T12/PT13H 24", "10T12/PT13H 25"}, values{"9T00/PT14H 11", "10T00/PT14H 12"},
			values{"2026-06-10 12 25"}, values{"1 2026-06-09: the day is before the forecast was issued"},
		},
		{
			"a date of which nothing is told", "America/New_York",
			values{"10T12/PT13H 25", "12T12/PT13H 26"}, values{"10T00/PT14H 12", "12T00/PT14H 13"},
			values{"2026-06-10 12 25"}, values{"2 2026-06-12: is not the day after 2026-06-10"},
		},
		{
			"everything after a hole", "America/New_York",
			values{"10T12/PT13H 25", "12T12/PT13H 26", "13T12/PT13H 27"}, values{"10T00/PT14H 12", "12T00/PT14H 13", "13T00/PT14H 14"},
			values{"2026-06-10 12 25"}, values{"2 2026-06-12: is not the day after 2026-06-10", "3 2026-06-13: comes after a day that is left out"},
		},
		{
			"a value out of bounds ends the list", "America/New_York",
			values{"10T12/PT13H 25", "11T12/PT13H 121.1", "12T12/PT13H 26"}, values{"10T00/PT14H 12", "11T00/PT14H 13", "12T00/PT14H 14"},
			values{"2026-06-10 12 25"}, values{"2 2026-06-11: max 121.1 °C is above 60 °C, is it °F?", "3 2026-06-12: comes after a day that is left out"},
		},
		{
			"a min above the max ends the list", "America/New_York",
			values{"10T12/PT13H 25", "11T12/PT13H 12", "12T12/PT13H 26"}, values{"10T00/PT14H 12", "11T00/PT14H 13", "12T00/PT14H 14"},
			values{"2026-06-10 12 25"}, values{"2 2026-06-11: min 13 °C is above max 12 °C", "3 2026-06-12: comes after a day that is left out"},
		},
		{
			"what is no number ends the list", "America/New_York",
			values{"10T12/PT13H 25", `11T12/PT13H {"a":1}`, "12T12/PT13H 26"}, values{"10T00/PT14H 12", "11T00/PT14H 13", "12T00/PT14H 14"},
			values{"2026-06-10 12 25"}, values{`2 2026-06-11: max "{\"a\":1}" is not a number`, "3 2026-06-12: comes after a day that is left out"},
		},
		{
			"null on the first date", "America/New_York",
			values{"10T12/PT13H null", "11T12/PT13H 26"}, values{"10T00/PT14H 12", "11T00/PT14H 13"},
			values{"2026-06-11 13 26"}, values{"1 2026-06-10: max is missing"},
		},
		{
			"values in any order, in words, and below zero", "America/New_York",
			values{"11T12/PT13H -0.04", `10T12/PT13H "25"`}, values{"11T00/PT14H -0.05", "10T00/PT14H -3.333333"},
			values{"2026-06-10 -3.3 25", "2026-06-11 -0.1 0"}, nil,
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := readAhead(t, "nws-grid", nwsGridOf(tt.max, tt.min), weather.ReadOptions{Zone: mustZone(tt.zone), Latest: today})
			mustFit(t, r)
			checkDays(t, r.Days, tt.want...)
			checkRefused(t, r.Refused, tt.refused...)
			mustSuit(t, r, tt.zone, time.Date(2026, time.June, 10, 14, 0, 0, 0, time.UTC))
		})
	}
}

func TestNWSGridLongerThanAnOutlook(t *testing.T) {
	t.Parallel()
	var maxima, minima []string
	for i := range 18 {
		maxima = append(maxima, fmt.Sprintf("%dT12/PT13H 25", 10+i))
		minima = append(minima, fmt.Sprintf("%dT00/PT14H 12", 10+i))
	}
	r := readAhead(t, "nws-grid", nwsGridOf(maxima, minima), weather.ReadOptions{Zone: newYork, Latest: today})
	mustFit(t, r)
	if len(r.Days) != 16 || len(r.Refused) != 0 {
		t.Errorf("%d days, %v refused", len(r.Days), r.Refused)
	}
	checkFindings(t, r.Findings, "grid: not told", "unit: ", "days: ", "length: 2 days beyond the first 16 are left out")
}

func TestNWSGridWithoutAMoment(t *testing.T) {
	t.Parallel()
	body := nwsGridOf([]string{"9T12/PT13H 25"}, []string{"9T00/PT14H 12"})
	body = strings.Replace(body, "updateTime", "madeAt", 1)
	r := readAhead(t, "nws-grid", body, weather.ReadOptions{Zone: newYork, Latest: today})
	if !r.IssuedAt.IsZero() || len(r.Days) != 1 {
		t.Errorf("issued %v, days %v", r.IssuedAt, r.Days)
	}
}

// In the evening at the farm it is the next day in Greenwich.
func TestNWSGridIssuedInTheEvening(t *testing.T) {
	t.Parallel()
	body := nwsGridOf([]string{"10T12/PT13H 25", "11T12/PT13H 26"}, []string{"10T00/PT14H 12", "11T00/PT14H 13"})
	body = strings.Replace(body, "2026-06-10T14:00:00Z", "2026-06-10T21:00:00-04:00", 1)
	r := readAhead(t, "nws-grid", body, weather.ReadOptions{Zone: newYork, Latest: today})
	checkDays(t, r.Days, "2026-06-10 12 25", "2026-06-11 13 26")
	at := time.Date(2026, time.June, 11, 1, 0, 0, 0, time.UTC)
	if r.IssuedAt != at { // In UTC, and not only the same moment.
		t.Errorf("issued at %v", r.IssuedAt)
	}
	mustSuit(t, r, "America/New_York", at)
}

// A real forecast has hours of temperatures before its extremes, more than is
// looked at to recognise it.
func TestNWSGridIsRecognisedByItsBeginning(t *testing.T) {
	t.Parallel()
	body := nwsGridOf([]string{"10T12/PT13H 25"}, []string{"10T00/PT14H 12"})
	hours := `"temperature":{"values":[` + strings.Repeat("7,", 20_000) + "7]},"
	for _, name := range []string{"gridId", "forecastGenerator"} {
		readAhead(t, "nws-grid", strings.Replace(body, `{"properties":{`, `{"properties":{"`+name+`":"ALY",`+hours, 1), weather.ReadOptions{Zone: newYork, Latest: today})
	}
}

func TestNWSGridRefusesWholeFiles(t *testing.T) {
	t.Parallel()
	good := nwsGridOf([]string{"10T12/PT13H 25"}, []string{"10T00/PT14H 12"})
	with := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %s", old)
		}
		return strings.ReplaceAll(good, old, new)
	}
	many := make([]string, 1001)
	for i := range many {
		many[i] = "10T12/PT1H 25"
	}
	for _, tt := range []struct {
		name string
		body string
		opt  weather.ReadOptions
		want error
		says string
	}{
		{"the period forecast", replyFile(t, "nws_periods_ALY.json"), weather.ReadOptions{}, weather.ErrUnknownFormat, "without /forecast"},
		{"the description of a place", `{"properties":{"gridId":"ALY","forecastGridData":"https://api.weather.gov/gridpoints/ALY/71,67"}}`, weather.ReadOptions{}, weather.ErrUnknownFormat, "forecastGridData, https://api.weather.gov/gridpoints/ALY/71,67"},
		{"an expired grid", replyFile(t, "nws_expired_SPEC.json"), weather.ReadOptions{}, weather.ErrNoRows, "an error: Forecast Grid Expired: The requested forecast grid was issued 2026-06-08T15:12:0…"},
		{"an error without a detail", `{"type":"about:blank","title":"Not Found","status":404}`, weather.ReadOptions{}, weather.ErrNoRows, "an error: Not Found"},
		{"an error without a type", `{"title":"Not Found","status":404,"detail":"No such grid"}`, weather.ReadOptions{}, weather.ErrNoRows, "an error: Not Found: No such grid"},
		{"no max", with("maxTemperature", "temperature"), weather.ReadOptions{}, weather.ErrBadHeader, "no properties.maxTemperature"},
		{"no min", with("minTemperature", "temperature"), weather.ReadOptions{}, weather.ErrBadHeader, "no properties.minTemperature"},
		{"no values", nwsGridOf(nil, nil), weather.ReadOptions{}, weather.ErrNoRows, "no max and no min"},
		{"no whole day", nwsGridOf([]string{"10T12/PT13H 25"}, []string{"11T00/PT14H 12"}), weather.ReadOptions{}, weather.ErrNoRows, "no day of the forecast is whole; of 2026-06-10, min is missing"},
		{"a first day that cannot be", nwsGridOf([]string{"10T12/PT13H 250", "11T12/PT13H 25"}, []string{"10T00/PT14H 12", "11T00/PT14H 12"}), weather.ReadOptions{}, weather.ErrNoRows, "of 2026-06-10, max 250 °C is above 60 °C"},
		{"only history", nwsGridOf([]string{"9T12/PT13H 25"}, []string{"9T00/PT14H 12"}), weather.ReadOptions{}, weather.ErrNoRows, "before the forecast was issued"},
		{"two maxima of a date", nwsGridOf([]string{"10T12/PT13H 25", "10T13/PT12H 25"}, nil), weather.ReadOptions{}, weather.ErrBadHeader, "two max of 2026-06-10"},
		{"two minima of a date", nwsGridOf(nil, []string{"10T00/PT14H 12", "10T01/PT13H 13"}), weather.ReadOptions{}, weather.ErrBadHeader, "two min of 2026-06-10"},
		{"another unit", with("degC", "K"), weather.ReadOptions{}, weather.ErrBadHeader, `unit "wmoUnit:K" is neither`},
		{"two units", strings.Replace(good, "degC", "degF", 1), weather.ReadOptions{}, weather.ErrBadHeader, "max is told in °F and the min in °C"},
		{"another unit than said", good, weather.ReadOptions{Unit: "F"}, weather.ErrUnitConflict, "°C, the request says °F"},
		{"no unit", with(`"uom":"wmoUnit:degC",`, ""), weather.ReadOptions{}, weather.ErrUnitUnknown, "C or F"},
		{"a moment that is none", with("2026-06-10T14:00:00Z", "yesterday"), weather.ReadOptions{}, weather.ErrBadHeader, `updateTime "yesterday"`},
		{"too many values", nwsGridOf(many, nil), weather.ReadOptions{}, weather.ErrTooLarge, "more than 1000 values of max"},
		{"just not too many", nwsGridOf(many[:1000], nil), weather.ReadOptions{}, weather.ErrNoRows, "min is missing, max is of 1 h only"},
		{"another file", "{}", weather.ReadOptions{Format: "nws-grid"}, weather.ErrBadHeader, "maxTemperature"},
		{"a list", "[1]", weather.ReadOptions{Format: "nws-grid"}, weather.ErrBadHeader, "maxTemperature"},
		{"no start", with("2026-06-10T12:00:00+00:00/PT13H", "tomorrow/PT13H"), weather.ReadOptions{}, weather.ErrBadHeader, `validTime "tomorrow/PT13H" of a max`},
		{"a number for an interval", with(`"2026-06-10T00:00:00+00:00/PT14H"`, "7"), weather.ReadOptions{}, weather.ErrBadHeader, `validTime "7" of a min`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tt.opt.Latest, tt.opt.Zone = today, newYork
			_, err := weather.ReadOutlook(strings.NewReader(tt.body), tt.opt)
			mustRefuse(t, err, tt.want, tt.says)
		})
	}
}

func TestNWSGridDurations(t *testing.T) {
	t.Parallel()
	for span, ok := range map[string]bool{
		"PT13H": true, "P0DT13H0M": true, "P1D": true, "PT780M": true, "P0DT13H": true,
		"": false, "P": false, "PT": false, "P1DT": false, "T13H": false, "13H": false, "PT0H": false, "PT13": false, "P13H": false,
		"PT-13H": false, "PT13H5": false, "PT5M13H": false, "P2W": false, "P2WT13H": false, "P1D5": false, "P1D5T1H": false, "PT13.5H": false, "PT70000H": false, "PT13H/x": false, "PTH": false,
	} {
		body := nwsGridOf([]string{"10T12/X 25"}, []string{"10T00/PT14H 12"})
		_, err := weather.ReadOutlook(strings.NewReader(strings.Replace(body, "/X", "/"+span, 1)), weather.ReadOptions{Zone: newYork, Latest: today})
		if ok != (err == nil) {
			t.Errorf("%q: %v", span, err)
		}
		if !ok {
			mustRefuse(t, err, weather.ErrBadHeader, "no start and duration")
		}
	}
}

// The service's forecast holds no observed days.
func TestNWSGridHoldsNoDays(t *testing.T) {
	t.Parallel()
	_, err := weather.Read(strings.NewReader(replyFile(t, "nws_grid_ALY.json")), weather.ReadOptions{Latest: today})
	mustRefuse(t, err, weather.ErrOutlook, "send it as an outlook")
}

func FuzzNWSGrid(f *testing.F) {
	for _, name := range []string{"nws_grid_MPX_SPEC.json", "nws_periods_ALY.json", "nws_expired_SPEC.json"} {
		f.Add(replyFile(f, name), "", "")
	}
	f.Add(nwsGridOf([]string{"10T12/PT13H 25", "11T12/PT13H 26"}, []string{"10T00/PT14H 12", "11T00/PT14H 13"}), "", "")
	fuzzReply(f, "nws-grid", "America/New_York", func(t *testing.T, r *weather.Reading) {
		t.Fatalf("%d observed days", len(r.Days))
	})
}
