package weather_test

import (
	"slices"
	"strings"
	"testing"

	"ripetide/weather"
)

// knmiRows is a file of the columns that matter; the heading as in knmi_356.txt.
func knmiRows(rows ...string) string {
	return "2 languages, 7 columns\nSOURCE: ROYAL NETHERLANDS METEOROLOGICAL INSTITUTE (KNMI)\nYYYYMMDD  = Date, see 1, 2 and \"3\n\n" +
		"# STN,YYYYMMDD,   TG,   TN,  TNH,   TX,  TXH\n\n" + strings.Join(rows, "\n") + "\n"
}

// Read in knmi_356.txt: ten rows of January 1989 that are blank, ten from
// 1994-06-22, four to 2026-06-29. TN is the 13th column and TX the 15th.
func TestReadKNMISample(t *testing.T) {
	t.Parallel()
	body := string(formatFile(t, "knmi_356.txt"))
	r := readService(t, "knmi", body, weather.ReadOptions{Latest: weather.DateOf(2026, 6, 30)})
	if len(r.Days) != 14 || r.Blank != 10 || len(r.Refused) != 0 || r.Unit != weather.Tenths {
		t.Errorf("%d days, %d blank, refused %v, unit %s", len(r.Days), r.Blank, r.Refused, r.Unit)
	}
	// "166,  100,   24,  210,   15,   84" of 19940622: TG, TN, TNH, TX, TXH, T10N.
	hasDays(t, r, "1994-06-22 10 21", "1994-06-23 8.9 20", "1994-07-01 12.6 26.6", "2026-06-26 20.8 37.4", "2026-06-29 12.4 24.6")
	finds(t, r, "station", "356")
	finds(t, r, "unit", "tenths of °C, by the format")
	finds(t, r, "day", "0 to 24 UTC")
	finds(t, r, "blank days", "10 dates have neither min nor max")

	readService(t, "knmi", body, weather.ReadOptions{Unit: weather.Tenths, Station: "356"})
	refusedWhole(t, body, weather.ReadOptions{Unit: weather.Celsius}, weather.ErrUnitConflict, "tenths of °C, the request says °C")
	refusedWhole(t, body, weather.ReadOptions{Station: "260"}, weather.ErrNoRows, `"260", but of 356`)
}

func TestReadKNMIRows(t *testing.T) {
	t.Parallel()
	r := readService(t, "knmi", knmiRows(
		"  260,20240101,   85,   62,    6,  102,   14",
		"  260,20240102,   -5,  -31,    6,   10,   14",
		"  260,20240103,     ,     ,     ,  102,   14",
		"  260,20240104,     ,   62,    6,     ,     ",
		"  260,20240105,     ,     ,     ,     ,     ",
		"  260,20240106,   85,  6.2,    6, 10.2,   14", // Degrees, which no file of the service has.
		"  260,20240107,   85,   -1,    6,   -1,   14", // -1 is missing in no column of temperature.
		"  260,20240230,   85,   62,    6,  102,   14",
		"  260,2024-01-08, 85,   62,    6,  102,   14",
		"  260,20240109,   85,  110,    6,  102,   14",
		"  260,20240110,   85,   62,    6",
		"",
		"  260,20240111,   85,   62,    6,  102,   14,    9",
	), weather.ReadOptions{})
	daysAre(t, r, "2024-01-01 6.2 10.2", "2024-01-02 -3.1 1", "2024-01-07 -0.1 -0.1")
	want := []weather.Refusal{
		{3, "20240103", "min is missing"},
		{4, "20240104", "max is missing"},
		{6, "20240106", `min "6.2" is no whole number of tenths`},
		{8, "20240230", `date "20240230" is not a calendar date YYYYMMDD`},
		{9, "2024-01-08", `date "2024-01-08" is not a calendar date YYYYMMDD`},
		{10, "2024-01-09", "min 110 tenths of °C is above max 102 tenths of °C"},
		{11, "20240110", "row has 5 of 7 cells, it is cut off"},
		{12, "20240111", "row has 8 cells instead of 7, is a comma its decimal sign?"},
	}
	if !slices.Equal(r.Refused, want) || r.Blank != 1 {
		t.Errorf("refused\n%v\nwant\n%v", r.Refused, want)
	}
}

// What the web service sends has its whole preamble behind signs, a line of one
// behind the heading, and often all stations. Layout: as programs that read it
// quote it.
func TestReadKNMIFromTheWebService(t *testing.T) {
	t.Parallel()
	body := "2 stations\n# This text file, with 2 stations, was made on request.\n# STN         LON(east)   LAT(north)  ALT(m)      NAME\n" +
		"# 249         4.979       52.644      -2.40       Berkhout\n# 260         5.180       52.100      1.90        De Bilt\n" +
		"# STN,YYYYMMDD,DDVEC,   TN,   TX\n# \n" +
		"  249,20180101,  229,   63,   97\n  249,20180102,  229,   33,   87\n  260,20180101,  228,   61,   98\n"
	asksForStation(t, body, "249", "260")
	daysAre(t, readService(t, "knmi", body, weather.ReadOptions{Station: "260"}), "2018-01-01 6.1 9.8")
	daysAre(t, readService(t, "knmi", body, weather.ReadOptions{Station: "249"}), "2018-01-01 6.3 9.7", "2018-01-02 3.3 8.7")
	// Two files in one, the second with the columns in another order.
	r := readService(t, "knmi", knmiRows("260,20240101,85,62,6,102,14")+"# STN,YYYYMMDD,TX,TN,TG,TXH,TNH\n260,20240102,102,62,85,14,6\n", weather.ReadOptions{})
	daysAre(t, r, "2024-01-01 6.2 10.2", "2024-01-02 6.2 10.2")
}

func TestReadKNMIRefusesWholeFiles(t *testing.T) {
	t.Parallel()
	file := knmiRows("260,20240101,85,62,6,102,14")
	swap := func(old, with string) string { return strings.Replace(file, old, with, 1) }
	for _, tt := range []struct {
		name string
		body string
		opt  weather.ReadOptions
		want error
		says string
	}{
		{"hourly", swap("   TG", "   HH"), weather.ReadOptions{}, weather.ErrBadHeader, "the values are hourly"},
		{"without TX", swap("   TX,", "   TA,"), weather.ReadOptions{}, weather.ErrBadHeader, "no column TX, the highest"},
		{"without TN", swap("   TN,", "   TA,"), weather.ReadOptions{}, weather.ErrBadHeader, "no column TN, the lowest"},
		{"heading only", knmiRows(), weather.ReadOptions{}, weather.ErrNoRows, "no rows"},
		{"another heading", swap("STN,", "STATION,"), weather.ReadOptions{Format: "knmi"}, weather.ErrBadHeader, "no heading"},
		{"another date", swap("YYYYMMDD,", "DATE,"), weather.ReadOptions{Format: "knmi"}, weather.ErrBadHeader, "no heading"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			refusedWhole(t, tt.body, tt.opt, tt.want, tt.says)
		})
	}
}

func FuzzKNMI(f *testing.F) {
	f.Add(formatFile(f, "knmi_356.txt"))
	f.Add([]byte(knmiRows("  260,20240101,   85,   62,    6,  102,   14", "  260,20240102,,-1,,,", "  260,20240103,,,,,")))
	fuzzService(f, "knmi", "20060102")
}
