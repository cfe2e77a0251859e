package weather_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/weather"
)

var berlinDays = []string{ // From openmeteo_berlin.json, temperature_2m_min and _max.
	"2021-11-24 5.5 7.6", "2021-11-25 0.2 5.4", "2021-11-26 1.8 4.8", "2021-11-27 -0.1 4.5",
	"2021-11-28 -0.2 3.4", "2021-11-29 -0.5 2.2", "2021-11-30 -0.3 3",
}

func TestOpenMeteo(t *testing.T) {
	t.Parallel()
	opt := weather.ReadOptions{Zone: mustZone("Europe/Berlin"), Latest: date("2021-11-26")}
	body := replyFile(t, "openmeteo_berlin.json")
	r := readReply(t, "open-meteo", body, opt)
	checkDays(t, r.Days, berlinDays[:2]...) // Today is not over.
	checkFindings(t, r.Findings, "place: the model's values at 52.52, 13.419998, no thermometer's", "unit: °C", "zone: Europe/Berlin",
		"predicted days: 5 from today on are passed over")
	if r.Received != 2 || len(r.Refused) != 0 || r.Blank != 0 || r.Unit != weather.Celsius {
		t.Errorf("%+v", r)
	}

	ahead := readAhead(t, "open-meteo", body, opt)
	mustFit(t, ahead)
	checkDays(t, ahead.Days, berlinDays[2:]...)
	checkFindings(t, ahead.Findings, "place: ", "unit: °C", "zone: Europe/Berlin", "days before today: 2 are passed over")
	if !ahead.IssuedAt.IsZero() || len(ahead.Refused) != 0 {
		t.Errorf("%+v", ahead)
	}
	mustSuit(t, ahead, "Europe/Berlin", time.Date(2021, time.November, 26, 4, 30, 0, 0, time.UTC))

	// The last day it has is yesterday: nothing is predicted, and nothing passed over.
	opt.Latest = date("2021-12-01")
	r = readReply(t, "open-meteo", body, opt)
	checkDays(t, r.Days, berlinDays...)
	checkFindings(t, r.Findings, "place: ", "unit: ", "zone: ")
	opt.Latest = date("2021-11-24")
	checkFindings(t, readAhead(t, "open-meteo", body, opt).Findings, "place: ", "unit: ", "zone: ")
}

func TestOpenMeteoUnixTime(t *testing.T) {
	t.Parallel()
	// openmeteo_unixtime_SPEC.json: three midnights of Detroit, 4 h UTC on 9, 10
	// and 11 May 2026, °F: 45.9 to 67.3, 50.2 to 71.6, and nothing; 13.9·5/9,
	// 35.3·5/9, 18.2·5/9, 39.6·5/9 °C.
	body := replyFile(t, "openmeteo_unixtime_SPEC.json")
	opt := weather.ReadOptions{Zone: mustZone("America/Detroit"), Latest: today}
	r := readReply(t, "open-meteo", body, opt)
	checkDays(t, r.Days, "2026-05-09 7.722 19.611", "2026-05-10 10.111 22")
	checkFindings(t, r.Findings, "place: the model's values at 42.284, -83.71387, no", "unit: °F", "zone: America/Detroit")
	if r.Blank != 1 || r.Received != 2 || r.Unit != weather.Fahrenheit {
		t.Errorf("%+v", r)
	}
	opt.Latest = date("2026-05-09")
	ahead := readAhead(t, "open-meteo", body, opt)
	checkDays(t, ahead.Days, "2026-05-09 7.722 19.611", "2026-05-10 10.111 22")
	checkRefused(t, ahead.Refused, "3 2026-05-11: min and max are missing")
	mustSuit(t, ahead, "America/Detroit", time.Date(2026, time.May, 9, 11, 0, 0, 0, time.UTC))
}

// meteoOf returns a reply with what stands before daily and three lists.
func meteoOf(head, dates, maxima, minima string) string {
	return `{` + head + `"daily_units":{"temperature_2m_max":"°C","temperature_2m_min":"°C"},"daily":{"time":[` + dates +
		`],"temperature_2m_max":[` + maxima + `],"temperature_2m_min":[` + minima + "]}}"
}

const meteoNewYork = `"utc_offset_seconds":-14400,"timezone":"America/New_York",`

func TestOpenMeteoDates(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, date string
		want       string // Date, or refusal.
	}{
		{"written", `"2026-05-09"`, "2026-05-09"},
		{"midnight in summer", "1778299200", "2026-05-09"}, // 4 h UTC on 9 May.
		{"midnight in summer as a fraction", "1778299200.0", "2026-05-09"},
		// 1767243600 is 5 h UTC on 1 January 2026, 1767240000 an hour before.
		{"midnight in winter, an hour late by the offset", "1767243600", "2026-01-01"},
		{"midnight by the offset, an hour before the clock's", "1767240000", "2026-01-01"},
		{"an hour before midnight by the offset", "1767236400", "2026-01-01"},
		{"before 1970", "-86385600", "1967-04-07"}, // 4 h UTC on 7 April 1967: -1000 days and 4 h.
		{"an hour and a half late", "1778304600", "2026-05-09"},
		{"more than that", "1778304601", "date 1778304601 does not begin at midnight"},
		{"noon", "1778342400", "date 1778342400 does not begin at midnight"},
		{"another century", "1e13", "date 1e13 is no time of these centuries"},
		{"more than a number can be", "1e999", "date 1e999 is no time of these centuries"},
		{"a year beyond all records", "16757380800", "date year 2501 is outside 1700 to 2400"}, // 4 h UTC on 9 January 2501.
		{"an hour too", `"2026-05-09T00:00"`, `date "2026-05-09T00:00" is not a calendar date YYYY-MM-DD`},
		{"null", "null", `date "null" is not a calendar date YYYY-MM-DD`},
	} {
		body := meteoOf(meteoNewYork, `"2026-05-01",`+tt.date, "20,21", "10,11")
		r := readReply(t, "open-meteo", body, weather.ReadOptions{Zone: newYork, Latest: today})
		got := ""
		switch {
		case len(r.Refused) == 1 && r.Refused[0].Row == 2:
			got = r.Refused[0].Reason
		case len(r.Days) == 2:
			for _, d := range r.Days {
				if d.Min == 11 {
					got = d.Date.String()
				}
			}
		}
		if got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
		if strings.HasPrefix(tt.want, "date") {
			_, err := weather.ReadOutlook(strings.NewReader(body), weather.ReadOptions{Zone: newYork, Latest: date("2026-05-01")})
			mustRefuse(t, err, weather.ErrBadHeader, "day 2 of the reply: "+tt.want)
		}
	}
}

func TestOpenMeteoValues(t *testing.T) {
	t.Parallel()
	body := meteoOf(meteoNewYork, `"2026-05-01","2026-05-02","2026-05-03","2026-05-04","2026-05-05","2026-05-06","2026-05-07","2026-05-07"`,
		`-0,3,null,"59",61,1e999,null,null`, `-0.0,null,1,"9","x",[1],null,null`)
	r := readReply(t, "open-meteo", body, weather.ReadOptions{Zone: newYork, Latest: today})
	checkDays(t, r.Days, "2026-05-01 0 0", "2026-05-04 9 59")
	checkRefused(t, r.Refused, "2 2026-05-02: min is missing", "3 2026-05-03: max is missing", `5 2026-05-05: min "x" is not a number`,
		`6 2026-05-06: min "[1]" is not a number`)
	if r.Blank != 2 {
		t.Errorf("%d blank", r.Blank)
	}
}

func TestOpenMeteoWithoutAnError(t *testing.T) {
	t.Parallel()
	body := meteoOf(`"error":false ,"reason":"x",`+meteoNewYork, `"2026-05-01"`, "20", "10")
	r := readReply(t, "open-meteo", body, weather.ReadOptions{Zone: newYork, Latest: today})
	checkDays(t, r.Days, "2026-05-01 10 20")
}

func TestOpenMeteoAhead(t *testing.T) {
	t.Parallel()
	opt := weather.ReadOptions{Zone: newYork, Latest: today}
	dates := func(days ...int) string {
		var s []string
		for _, d := range days {
			s = append(s, fmt.Sprintf(`"2026-06-%02d"`, d))
		}
		return strings.Join(s, ",")
	}
	for _, tt := range []struct {
		name                  string
		dates, maxima, minima string
		want, refused         []string
	}{
		{
			"today is not whole yet", dates(9, 10, 11), "20,null,22", "9,10,11",
			[]string{"2026-06-11 11 22"}, []string{"2 2026-06-10: max is missing"},
		},
		{
			"a hole", dates(10, 11, 12, 13), "20,21,null,23", "10,11,null,13",
			[]string{"2026-06-10 10 20", "2026-06-11 11 21"},
			[]string{"3 2026-06-12: min and max are missing", "4 2026-06-13: comes after a day that is left out"},
		},
		{
			"a date left out", dates(10, 12), "20,22", "10,12",
			[]string{"2026-06-10 10 20"}, []string{"2 2026-06-12: is not the day after 2026-06-10"},
		},
		{
			"a date twice", dates(10, 10), "20,22", "10,12",
			[]string{"2026-06-10 10 20"}, []string{"2 2026-06-10: is not the day after 2026-06-10"},
		},
		{
			"a value that cannot be", dates(10, 11, 12), "20,85,22", "10,11,12",
			[]string{"2026-06-10 10 20"}, []string{"2 2026-06-11: max 85 °C is above 60 °C, is it °F?", "3 2026-06-12: comes after a day that is left out"},
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := readAhead(t, "open-meteo", meteoOf(meteoNewYork, tt.dates, tt.maxima, tt.minima), opt)
			mustFit(t, r)
			checkDays(t, r.Days, tt.want...)
			checkRefused(t, r.Refused, tt.refused...)
			mustSuit(t, r, "America/New_York", time.Date(2026, time.June, 10, 10, 0, 0, 0, time.UTC))
		})
	}
}

func TestOpenMeteoZones(t *testing.T) {
	t.Parallel()
	zone := func(seconds int, name string) string {
		return fmt.Sprintf(`"utc_offset_seconds":%d,"timezone":"%s",`, seconds, name)
	}
	for _, tt := range []struct {
		name, head, farm, day string
		want                  string // The finding, or the error.
	}{
		{"the farm's", zone(-14400, "America/New_York"), "America/New_York", "2026-05-09", "zone: America/New_York"},
		{"the farm's by another name", zone(-14400, "America/Toronto"), "America/New_York", "2026-05-09", "zone: America/Toronto"},
		{"asked for in winter, about summer", zone(-18000, "America/New_York"), "America/New_York", "2026-05-09", "zone: America/New_York"},
		{"asked for in summer, about winter", zone(-14400, "America/New_York"), "America/New_York", "2026-01-09", "zone: America/New_York"},
		{"Greenwich's", zone(0, "GMT"), "America/Detroit", "2026-05-09", "days are of the zone GMT, not of America/Detroit: ask for timezone=auto"},
		{"Greenwich's, two hours off", zone(0, "GMT"), "Europe/Berlin", "2026-05-09", "warning: the days are of the zone GMT and begin 2 h off those of Europe/Berlin"},
		{"Greenwich's, one hour off", zone(0, "GMT"), "Europe/Berlin", "2026-01-09", "warning: the days are of the zone GMT and begin 1 h off those of Europe/Berlin"},
		{"just over two hours off", zone(-1, "X"), "Europe/Berlin", "2026-05-09", "days are of the zone X, not of Europe/Berlin"},
		{"more than two hours east", zone(14401, "X"), "Europe/Berlin", "2026-05-09", "days are of the zone X, not of Europe/Berlin"},
		{"a neighbour's", zone(-18000, "America/Chicago"), "America/Denver", "2026-05-20", "warning: the days are of the zone America/Chicago and begin 1 h off"},
		{"without a name", `"utc_offset_seconds":19800,`, "Asia/Kolkata", "2026-05-09", "zone: UTC+5.5 h"},
		{"without a name, elsewhere", `"utc_offset_seconds":0,`, "Asia/Kolkata", "2026-05-09", "days are of the zone UTC+0 h, not of"},
		{"not told", "", "America/Detroit", "2026-05-09", "warning: the reply does not tell in which zone its days begin"},
		{"null", `"utc_offset_seconds":null,`, "America/Detroit", "2026-05-09", "warning: the reply does not tell"},
		{"no offset", `"utc_offset_seconds":1e9,`, "America/Detroit", "2026-05-09", "utc_offset_seconds 1e9 is no offset from UTC"},
		{"a part of a second", `"utc_offset_seconds":0.5,`, "America/Detroit", "2026-05-09", "utc_offset_seconds 0.5 is no"},
		{"a word", `"utc_offset_seconds":"east",`, "America/Detroit", "2026-05-09", "utc_offset_seconds east is no"},
	} {
		// The first day, half a year before, is not what decides.
		body := meteoOf(tt.head, `"2025-11-09","`+tt.day+`"`, "20,20", "10,10")
		r, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Zone: mustZone(tt.farm), Latest: today})
		if err != nil {
			if !errors.Is(err, weather.ErrBadHeader) || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("%s: %v", tt.name, err)
			}
			continue
		}
		if got := r.Findings[len(r.Findings)-1]; !strings.HasPrefix(got.What+": "+got.Found, tt.want) {
			t.Errorf("%s: %q", tt.name, got)
		}
	}
	// Without a zone the farm is at Greenwich.
	body := meteoOf(zone(-14400, "America/New_York"), `"2026-05-09"`, "20", "10")
	_, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Latest: today})
	mustRefuse(t, err, weather.ErrBadHeader, "not of UTC")
}

func TestOpenMeteoPlaces(t *testing.T) {
	t.Parallel()
	place := func(head, value string) string {
		return meteoOf(head+meteoNewYork, `"2026-06-09"`, value, "10")
	}
	two := "[" + place(`"latitude":42.5,"longitude":-73.5,`, "20") + "," + place(`"latitude":43.5,"longitude":-74.5,"location_id":1,`, "21") + "]"
	opt := weather.ReadOptions{Zone: newYork, Latest: today}
	_, err := weather.Read(strings.NewReader(two), opt)
	mustRefuse(t, err, weather.ErrAmbiguous, "about 2 places, 0 at 42.5, -73.5; 1 at 43.5, -74.5: say which one to take.")
	var file *weather.FileError
	if !errors.As(err, &file) || file.Questions()[0].Option != weather.OptionStation || !slices.Equal(file.Questions()[0].Choices, []string{"0", "1"}) {
		t.Errorf("asks %+v", file.Questions())
	}
	for id, want := range map[string]string{"0": "2026-06-09 10 20", "1": "2026-06-09 10 21"} {
		opt.Station = id
		r := readReply(t, "open-meteo", two, opt)
		checkDays(t, r.Days, want)
		checkFindings(t, r.Findings, "place: number "+id+", the model's values at 4", "unit: ", "zone: ")
	}
	opt.Station = "2"
	_, err = weather.Read(strings.NewReader(two), opt)
	mustRefuse(t, err, weather.ErrNoRows, "no place 2; it is about places 0, 1")
	opt.Station = ""
	r := readReply(t, "open-meteo", "["+place("", "20")+"]", opt)
	checkFindings(t, r.Findings, "unit: ", "zone: ")
	var many []string
	for range 30 {
		many = append(many, place("", "20"))
	}
	_, err = weather.Read(strings.NewReader("["+strings.Join(many, ",")+"]"), opt)
	if !errors.As(err, &file) || len(file.Questions()[0].Choices) != 20 {
		t.Errorf("asks %v", err)
	}
	opt.Format = "open-meteo"
	_, err = weather.Read(strings.NewReader("[]"), opt)
	mustRefuse(t, err, weather.ErrNoRows, "empty list")
}

func TestOpenMeteoRefusesWholeFiles(t *testing.T) {
	t.Parallel()
	good := meteoOf(meteoNewYork, `"2026-05-09","2026-05-10"`, "20,21", "10,11")
	with := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %s", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	for _, tt := range []struct {
		name string
		body string
		opt  weather.ReadOptions
		want error
		says string
	}{
		{"an error", replyFile(t, "openmeteo_error_SPEC.json"), weather.ReadOptions{}, weather.ErrNoRows, "an error: Cannot initialize WeatherVariable from invalid String value"},
		{"an error in words and its reason", `{"error":"yes","reason":"no such place"}`, weather.ReadOptions{}, weather.ErrNoRows, "an error: no such place"},
		{"an error without a reason", `{"error":true}`, weather.ReadOptions{Format: "open-meteo"}, weather.ErrNoRows, "an error: true"},
		{"hourly values only", `{"hourly_units":{},"hourly":{"time":[],"temperature_2m":[]}}`, weather.ReadOptions{}, weather.ErrBadHeader, "hourly values only, and no daily: ask for daily=temperature_2m_max,temperature_2m_min"},
		{"neither", `{"generationtime_ms":1}`, weather.ReadOptions{}, weather.ErrBadHeader, "no object daily"},
		{"no time", with(`"time"`, `"times"`), weather.ReadOptions{}, weather.ErrBadHeader, "no list time; it has times, temperature_2m_max, temperature_2m_min"},
		{"no max", with(`"temperature_2m_max":[`, `"temperature_2m_max_gfs":[`), weather.ReadOptions{}, weather.ErrBadHeader, "no list temperature_2m_max; it has time, temperature_2m_max_gfs"},
		{"no min", with(`"temperature_2m_min":[`, `"temperature_2m_mean":[`), weather.ReadOptions{}, weather.ErrBadHeader, "no list temperature_2m_min; it has time"},
		{"a min that is no list", with(`[10,11]`, `10`), weather.ReadOptions{}, weather.ErrBadHeader, "no list temperature_2m_min"},
		{"nothing in daily", `{"daily_units":{},"daily":{}}`, weather.ReadOptions{}, weather.ErrBadHeader, "no list time; it has nothing"},
		{"too few maxima", with(`[20,21]`, `[20]`), weather.ReadOptions{}, weather.ErrBadHeader, "1 values temperature_2m_max for 2 days"},
		{"too many minima", with(`[10,11]`, `[10,11,12]`), weather.ReadOptions{}, weather.ErrBadHeader, "3 values temperature_2m_min for 2 days"},
		{"two units", with(`"°C"`, `"°F"`), weather.ReadOptions{}, weather.ErrBadHeader, `"°F" for the max and "°C" for the min`},
		{"another unit", strings.ReplaceAll(good, "°C", "K"), weather.ReadOptions{}, weather.ErrBadHeader, `"K", which is neither °C nor °F`},
		{"another unit than said", good, weather.ReadOptions{Unit: "F"}, weather.ErrUnitConflict, "°C, the request says °F"},
		{"no unit", with("daily_units", "units"), weather.ReadOptions{}, weather.ErrUnitUnknown, "C or F"},
		{"no day", meteoOf(meteoNewYork, "", "", ""), weather.ReadOptions{}, weather.ErrNoRows, "no day"},
		{"unix time without an offset", meteoOf("", `"2026-05-09",1778385600`, "20,21", "10,11"), weather.ReadOptions{}, weather.ErrBadHeader, "no utc_offset_seconds"},
		{"a list in a list", "[[]]", weather.ReadOptions{Format: "open-meteo"}, weather.ErrBadHeader, "no object daily"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tt.opt.Latest, tt.opt.Zone = today, newYork
			_, err := weather.Read(strings.NewReader(tt.body), tt.opt)
			mustRefuse(t, err, tt.want, tt.says)
			_, err = weather.ReadOutlook(strings.NewReader(tt.body), tt.opt)
			mustRefuse(t, err, tt.want, tt.says)
		})
	}
	opt := weather.ReadOptions{Zone: newYork, Latest: date("2026-05-08")}
	_, err := weather.Read(strings.NewReader(good), opt)
	mustRefuse(t, err, weather.ErrOutlook, "no day of the reply is over")
	opt.Latest = date("2026-05-11")
	_, err = weather.ReadOutlook(strings.NewReader(good), opt)
	mustRefuse(t, err, weather.ErrOutlook, "all days of the reply are before today")

	long := make([]string, 1001)
	values := make([]string, len(long))
	for i := range long {
		long[i], values[i] = `"`+(today+weather.Date(i)).String()+`"`, "10"
	}
	list := strings.Join(values, ",")
	_, err = weather.ReadOutlook(strings.NewReader(meteoOf(meteoNewYork, strings.Join(long, ","), list, list)), weather.ReadOptions{Zone: newYork, Latest: today})
	mustRefuse(t, err, weather.ErrTooLarge, "more than 1000 days ahead")
}

// A reply that only has what is missing is no error: the days come later.
func TestOpenMeteoWithoutAValue(t *testing.T) {
	t.Parallel()
	// openmeteo_null.json: 2026-08-30, of which everything is null; it tells
	// neither unit nor zone.
	body := replyFile(t, "openmeteo_null.json")
	opt := weather.ReadOptions{Zone: mustZone("America/Detroit"), Latest: date("2026-09-01")}
	_, err := weather.Read(strings.NewReader(body), opt)
	mustRefuse(t, err, weather.ErrUnitUnknown, "C or F")
	opt.Unit = weather.Celsius
	r := readReply(t, "open-meteo", body, opt)
	if r.Blank != 1 || r.Received != 0 || len(r.Days) != 0 {
		t.Errorf("%+v", r)
	}
	checkFindings(t, r.Findings, "unit: °C", "warning: the reply does not tell in which zone")
	opt.Latest = date("2026-08-30")
	_, err = weather.ReadOutlook(strings.NewReader(body), opt)
	mustRefuse(t, err, weather.ErrNoRows, "no day of the forecast is whole; of 2026-08-30, min and max are missing")
}

func FuzzOpenMeteo(f *testing.F) {
	for _, name := range []string{"openmeteo_berlin.json", "openmeteo_unixtime_SPEC.json", "openmeteo_null.json", "openmeteo_error_SPEC.json"} {
		f.Add(replyFile(f, name), "", "")
	}
	f.Add(meteoOf(meteoNewYork, `"2026-06-09","2026-06-10","2026-06-11","2026-06-11"`, "20,-0,null,1e9", "10,-0.0,1,1"), "", "")
	f.Add("["+meteoOf(`"location_id":1,`, "", "", "")+","+meteoOf(`"latitude":1,`, "1", "2", "1")+"]", "", "1")
	fuzzReply(f, "open-meteo", "America/New_York", func(t *testing.T, r *weather.Reading) {
		if r.Remarks != nil || r.Received+r.Blank == 0 && len(r.Findings) < 3 {
			t.Fatalf("%+v", r)
		}
		for _, d := range r.Days {
			if d.Date > today {
				t.Fatalf("day %v", d)
			}
		}
	})
}
