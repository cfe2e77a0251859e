package weather_test

import (
	"slices"
	"strings"
	"testing"

	"ripetide/weather"
)

// metEireannRows is a file with the columns that matter; preamble and heading
// as in meteireann_532.csv.
func metEireannRows(rows ...string) string {
	return "Station Name: DUBLIN AIRPORT\nStation Height: 71 M \nLatitude:53.423  ,Longitude: -6.238\n\n\n" +
		"date:   -  00 to 00 utc\nmaxtp:  -  Maximum Air Temperature (C)\t  \nind:    -  Indicator (i)\n\n" +
		"date,ind,maxtp,ind,mintp,igmin,gmin,ind,rain\n" + strings.Join(rows, "\n") + "\n"
}

// Read in meteireann_532.csv: 39 rows from 1942-01-01 to 1942-02-08, of which
// the twelve with a minimum below zero, and no others, have the indicator 1
// before it.
func TestReadMetEireannSample(t *testing.T) {
	t.Parallel()
	body := string(formatFile(t, "meteireann_532.csv"))
	r := readService(t, "met-eireann", body, weather.ReadOptions{Station: "dublin airport"})
	if len(r.Days) != 39 || r.Blank != 0 || len(r.Refused) != 0 || r.Unit != weather.Celsius {
		t.Errorf("%d days, %d blank, refused %v", len(r.Days), r.Blank, r.Refused)
	}
	// "01-jan-1942,0,9.7,0,6.8,0,4.7,2,0.0": the maximum first, then the
	// minimum; 4.7 is the minimum at the grass.
	hasDays(t, r, "1942-01-01 6.8 9.7", "1942-01-05 -0.8 3.5", "1942-01-14 -3.1 4.7", "1942-02-08 -3.2 3.2")
	finds(t, r, "station", "DUBLIN AIRPORT")
	finds(t, r, "unit", "°C, by the format")
	finds(t, r, "day", "00 to 00 utc")
	finds(t, r, "indicators", "")

	below := 0
	for _, d := range r.Days {
		if d.Min < 0 {
			below++
		}
	}
	signs := 0
	for line := range strings.Lines(body) {
		if cells := strings.Split(line, ","); len(cells) > 4 && cells[3] == "1" && strings.HasPrefix(cells[4], "-") {
			signs++
		}
	}
	if below != 12 || signs != 12 {
		t.Errorf("%d days below zero, %d with the indicator 1", below, signs)
	}
	refusedWhole(t, body, weather.ReadOptions{Unit: weather.Tenths}, weather.ErrUnitConflict, "°C, the request says tenths")
	refusedWhole(t, body, weather.ReadOptions{Station: "Cork"}, weather.ErrNoRows, `"Cork", but of DUBLIN AIRPORT`)
	refusedWhole(t, strings.Replace(body, "Station Name", "Name", 1), weather.ReadOptions{Station: "Cork"}, weather.ErrNoRows, `whether it is "Cork" cannot be known`)
}

func TestReadMetEireannRows(t *testing.T) {
	t.Parallel()
	r := readService(t, "met-eireann", metEireannRows(
		"01-jan-1942,0,9.7,0,6.8,0,4.7,2,0.0",
		"02-JAN-1942,0,9.9,4,7.9,0,6.7,0,0.1", // An indicator that nobody explains.
		"03-Feb-1942,3,9.9,0,7.9,0,6.7,0,0.1",
		"04-dec-1942,3,9.9,4,7.9,0,6.7,0,0.1",
		"05-dec-1942,3, ,0,7.9,0,6.7,0,0.1",
		"06-dec-1942,0,9.9,3, ,0,6.7,0,0.1",
		"07-dec-1942,3, ,3, ,0,6.7,0,0.1",
		"08-mai-1942,0,9.9,0,7.9,0,6.7,0,0.1",
		"30-feb-1942,0,9.9,0,7.9,0,6.7,0,0.1",
		"9-dec-1942,0,9.9,0,7.9,0,6.7,0,0.1",
		"10-dec-42,0,9.9,0,7.9,0,6.7,0,0.1",
		"11-dec-0942,0,9.9,0,7.9,0,6.7,0,0.1",
		"12-dec-1942-01,0,9.9,0,7.9,0,6.7,0,0.1",
		"13-dec-1942,0,9.9x,0,7.9,0,6.7,0,0.1",
		"14-dec-1942,0,9.9",
	), weather.ReadOptions{})
	daysAre(t, r, "1942-01-01 6.8 9.7", "1942-01-02 7.9 9.9", "1942-02-03 7.9 9.9", "1942-12-04 7.9 9.9")
	date := func(s string) string { return `date "` + s + `" is not a calendar date dd-mon-yyyy` }
	want := []weather.Refusal{
		{5, "05-dec-1942", "max is missing"},
		{6, "06-dec-1942", "min is missing"},
		{8, "08-mai-1942", date("08-mai-1942")},
		{9, "30-feb-1942", date("30-feb-1942")},
		{10, "9-dec-1942", date("9-dec-1942")},
		{11, "10-dec-42", date("10-dec-42")},
		{12, "11-dec-0942", "date year 942 is outside 1700 to 2400"},
		{13, "12-dec-1942-01", date("12-dec-1942-01")},
		{14, "13-dec-1942", `max "9.9x" is not a number`},
		{15, "14-dec-1942", "row has 3 of 9 cells, it is cut off"},
	}
	if !slices.Equal(r.Refused, want) || r.Blank != 1 || r.Remarks != nil {
		t.Errorf("refused\n%v\nwant\n%v\n%d blank", r.Refused, want, r.Blank)
	}
	// Rows 5 to 7, which are not used, are not counted.
	finds(t, r, "indicators", "3 days have one other than 0 and 1, whose meaning the file does not tell; the values are used")
}

// Every month by its name, whose first letter stands for no other.
func TestReadMetEireannMonths(t *testing.T) {
	t.Parallel()
	var rows, want []string
	for i, m := range strings.Fields("jan feb mar apr may jun jul aug sep oct nov dec") {
		rows = append(rows, "17-"+m+"-1990,0,9.5,0,3.5,0,1,0,0")
		want = append(want, weather.DateOf(1990, 1, 17).Time().AddDate(0, i, 0).Format("2006-01-02")+" 3.5 9.5")
	}
	daysAre(t, readService(t, "met-eireann", metEireannRows(rows...), weather.ReadOptions{}), want...)
}

// Files of stations that are read at 09 utc have other names; the colon behind
// "date" is not always there. Both as programs that read the files have them.
func TestReadMetEireannOtherNames(t *testing.T) {
	t.Parallel()
	body := "Station Name: ARDEE (BOHARNAMOE)\n\n  date - 09 to 09 UTC\n\ndate,ind,maxt,ind,mint,ind,rain,gmin\n05-may-2010,0,15.5,2,4.5,0,0.0,2\n"
	r := readService(t, "met-eireann", body, weather.ReadOptions{})
	daysAre(t, r, "2010-05-05 4.5 15.5")
	finds(t, r, "station", "ARDEE (BOHARNAMOE)")
	finds(t, r, "day", "09 to 09 utc")
	finds(t, r, "indicators", "1 day has one other than 0 and 1, whose meaning the file does not tell; the values are used")
}

func TestReadMetEireannRefusesWholeFiles(t *testing.T) {
	t.Parallel()
	file := metEireannRows("01-jan-1942,0,9.7,0,6.8,0,4.7,2,0.0")
	swap := func(old, with string) string { return strings.Replace(file, old, with, 1) }
	for _, tt := range []struct {
		name string
		body string
		opt  weather.ReadOptions
		want error
		says string
	}{
		{"rain only", "Station Name: X\n\ndate,ind,rain\n01-jan-1942,0,9.7\n", weather.ReadOptions{}, weather.ErrBadHeader, "no column maxtp"},
		{"without mintp", swap("mintp,", "x,"), weather.ReadOptions{}, weather.ErrBadHeader, "no column mintp"},
		{"heading only", metEireannRows(), weather.ReadOptions{}, weather.ErrNoRows, "no rows"},
		{"date not first", swap("date,ind,", "ind,date,"), weather.ReadOptions{Format: "met-eireann"}, weather.ErrBadHeader, "no heading"},
		{"date third", swap("date,ind,", "x,ind,date,"), weather.ReadOptions{Format: "met-eireann"}, weather.ErrBadHeader, "no heading"},
		{"maxtp first", "maxtp,ind,mintp\n9,0,5\n", weather.ReadOptions{Format: "met-eireann"}, weather.ErrBadHeader, "no heading"},
		{"no indicator", swap("date,ind,", "date,flag,"), weather.ReadOptions{Format: "met-eireann"}, weather.ErrBadHeader, "no heading"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			refusedWhole(t, tt.body, tt.opt, tt.want, tt.says)
		})
	}
}

func FuzzMetEireann(f *testing.F) {
	f.Add(formatFile(f, "meteireann_532.csv"))
	f.Add([]byte(metEireannRows("01-jan-1942,0,9.7,0,6.8,0,4.7,2,0.0", "02-JAN-1942,0,,4,,0,6.7,0,0.1", "02-JAN-1942,5,3,4,,0,6.7,0,0.1")))
	f.Add([]byte("  date - 09 to 09 UTC\ndate,ind,maxt,ind,mint\n05-may-2010,0,15.5,2,4.5\n"))
	fuzzService(f, "met-eireann", "02-Jan-2006")
}
