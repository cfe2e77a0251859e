package pages_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/api/pages"
	"ripetide/forecast"
	"ripetide/weather"
)

func near(got, want float64) bool { return math.Abs(got-want) <= 1e-9*math.Max(1, math.Abs(want)) }

func TestNumbersAreReadAsPeopleWriteThem(t *testing.T) {
	t.Parallel()
	const m, us = forecast.Metric, forecast.US
	for _, tt := range []struct {
		text  string
		units forecast.Units
		want  float64
		fault string
	}{
		{"1200", m, 1200, ""},
		{" 0.5 ", m, 0.5, ""},
		{".5", us, 0.5, ""},
		{"0,5", m, 0.5, ""},
		{"0,5", us, 0.5, ""},
		{"1,200", us, 1200, ""},
		{"1,200", m, 0, "can be read in two ways: write 1200 or 1.200"},
		{"1,200,000", m, 1.2e6, ""},
		{"1,200.5", m, 1200.5, ""},
		{"1.200,5", m, 1200.5, ""},
		{"1.200.000", m, 1.2e6, ""},
		{"1 200", m, 1200, ""},
		{"1'200", m, 1200, ""},
		{"−3", m, -3, ""},
		{"", m, 0, "is needed"},
		{"many", m, 0, "is not a number"},
		{"NaN", m, 0, "is not a number"},
		{"Inf", m, 0, "is not a number"},
		{"1e5", m, 0, "is not a number"},
		{"0x10", m, 0, "is not a number"},
		{"1_000", m, 0, "is not a number"},
		{"12,34,5", us, 0, "is not a number"},
		{strings.Repeat("9", 400), m, 0, "is not a number"},
	} {
		if got, fault := pages.ReadNumber(tt.text, tt.units); fault != tt.fault || fault == "" && !near(got, tt.want) {
			t.Errorf("%.20q in %s is %v, %q; want %v, %q", tt.text, tt.units, got, fault, tt.want, tt.fault)
		}
	}
}

func TestAreasAreConvertedExactly(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		text  string
		units forecast.Units
		want  float64 // m²
	}{
		{"1200", forecast.Metric, 1200},
		{"1200 m2", forecast.Metric, 1200},
		{"1200m²", forecast.US, 1200},
		{"0.12 ha", forecast.Metric, 1200},
		{"2", forecast.US, 2 * 4046.8564224}, // 43 560 ft² of 0.3048² m².
		{"1 acres", forecast.Metric, 4046.8564224},
		{"0.5 ac.", forecast.US, 2023.4282112},
		{"43,560 sq. ft.", forecast.US, 4046.8564224},
		{"43560 ft2", forecast.US, 4046.8564224},
	} {
		if got, fault := pages.ReadArea(tt.text, tt.units); fault != "" || !near(got, tt.want) {
			t.Errorf("%q in %s is %v m², %q; want %v", tt.text, tt.units, got, fault, tt.want)
		}
	}
	for _, text := range []string{"", "acres", "12 bushels", "-", "1..2"} {
		if got, fault := pages.ReadArea(text, forecast.US); fault == "" {
			t.Errorf("%q is taken for %v m²", text, got)
		}
	}
}

func TestAmountsAreShownAsTheyWereTyped(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		m2    float64
		units forecast.Units
		want  string
	}{
		{1200, forecast.Metric, "1200 m²"},
		{30000, forecast.Metric, "3 ha"},
		{0.3 * 4046.8564224, forecast.US, "0.3 acres"},
		{13000 * 0.09290304, forecast.US, "13000 sq ft"},
		{1000, forecast.US, "1000 m²"},
	} {
		text, again := pages.ShowArea(tt.m2, tt.units)
		if text != tt.want || !near(again, tt.m2) {
			t.Errorf("%v m² is shown as %q, which is %v m² again; want %q", tt.m2, text, again, tt.want)
		}
	}
	for x, want := range map[float64]string{0: "0", 0.0512: "0.0512", 1: "1", 1234567: "1,234,567", 12.34: "12.3", 999.6: "1,000", 0.3: "0.3"} {
		if got := pages.Figure(x); got != want {
			t.Errorf("%v reads %q, want %q", x, got, want)
		}
	}
	if got := pages.Area(12140.5692672, forecast.US); got != "3 acres" {
		t.Errorf("three acres read %q", got)
	}
}

func TestDatesAreReadAndNeverGuessed(t *testing.T) {
	t.Parallel()
	day := weather.DateOf(2015, 4, 20)
	early := weather.DateOf(2015, 4, 5)
	for _, tt := range []struct {
		text  string
		units forecast.Units
		want  weather.Date
		fault string
	}{
		{"2015-04-20", forecast.Metric, day, ""},
		{"20 Apr 2015", forecast.Metric, day, ""},
		{"April 20, 2015", forecast.US, day, ""},
		{"Mon Apr 20, 2015", forecast.US, day, ""},
		{"Monday 20 April 2015", forecast.Metric, day, ""},
		{"20.4.2015", forecast.Metric, day, ""},
		{"20. 4. 2015", forecast.Metric, day, ""},
		{"4/20/2015", forecast.Metric, day, ""},
		{"20/4/2015", forecast.US, day, ""},
		{"4/5/2015", forecast.US, early, ""},
		{"4/4/2015", forecast.Metric, early - 1, ""},
		{"4/5/2015", forecast.Metric, 0, "write 2015-05-04 or 2015-04-05"},
		{"Tue 20 Apr 2015", forecast.Metric, 0, "was a Monday"},
		{"2015-02-30", forecast.Metric, 0, "is not a date"},
		{"20 Apr", forecast.Metric, 0, "is not a date with its year"},
		{"1492-10-12", forecast.Metric, 0, "is not a date"},
		{"", forecast.Metric, 0, "is needed"},
	} {
		got, fault := pages.ReadDate(tt.text, tt.units)
		if (fault == "") != (tt.fault == "") || !strings.Contains(fault, tt.fault) || fault == "" && got != tt.want {
			t.Errorf("%q in %s is %s, %q; want %s, %q", tt.text, tt.units, got, fault, tt.want, tt.fault)
		}
	}
}

func TestDegreesAreReadWithTheirDirection(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]float64{"-83.7": -83.7, "83.7 W": -83.7, "83.7°W": -83.7, "w 83.7": -83.7, "83.7": 83.7, "8,25 E": 8.25, "8°": 8} {
		if got, fault := pages.ReadDegrees(text, "E", "W", forecast.Metric); fault != "" || !near(got, want) {
			t.Errorf("%q is %v, %q; want %v", text, got, fault, want)
		}
	}
	for _, text := range []string{"", "-83.7 W", "83.7 N", "here"} {
		if got, fault := pages.ReadDegrees(text, "E", "W", forecast.Metric); fault == "" {
			t.Errorf("%q is taken for %v", text, got)
		}
	}
	for _, tt := range [][4]string{
		{"42.3, -83.7", "", "42.3", "-83.7"}, {"42.3 N; 83.7 W", "", "42.3 N", "83.7 W"},
		{"48,1", "", "48,1", ""}, {"42.3, -83.7", "8", "42.3, -83.7", "8"},
	} {
		if lat, lon := pages.Pair(tt[0], tt[1]); lat != tt[2] || lon != tt[3] {
			t.Errorf("%q and %q part into %q and %q", tt[0], tt[1], lat, lon)
		}
	}
}

func TestEveryZoneOfTheListExistsAndFitsItsPlace(t *testing.T) {
	t.Parallel()
	names := pages.ZoneNames()
	if len(names) < 300 {
		t.Fatalf("%d time zones", len(names))
	}
	for _, n := range names {
		if _, err := time.LoadLocation(n); err != nil {
			t.Error(err)
		}
	}
	june := time.Date(2018, 6, 11, 9, 0, 0, 0, time.UTC)
	for _, tt := range []struct {
		zone string
		lon  float64
		fits bool
	}{
		{"America/Detroit", -83.7, true}, {"America/Detroit", 83.7, false}, {"Europe/Madrid", -8.9, true}, {"Asia/Shanghai", 76, true},
		{"Pacific/Apia", -171.8, true}, {"Pacific/Kiritimati", -157.4, true}, {"Europe/Berlin", 8, true}, {"America/Adak", -176.6, true},
	} {
		zone, err := time.LoadLocation(tt.zone)
		if err != nil {
			t.Fatal(err)
		}
		if got := pages.ZoneFits(zone, tt.lon, june); got != tt.fits {
			t.Errorf("%s at %v°: %v", tt.zone, tt.lon, got)
		}
	}
}

func TestWordsForClassesAndStages(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]forecast.Class{
		"early": forecast.Early, "Early-Mid": forecast.EarlyMid, "early_mid": forecast.EarlyMid, "early to mid": forecast.EarlyMid, "Midseason": forecast.Mid,
		"late mid": forecast.LateMid, "mid to late": forecast.LateMid, "LATE": forecast.Late, "very late": forecast.VeryLate,
	} {
		if got, fault := pages.ReadClass(text); got != want || fault != "" {
			t.Errorf("%q is %v, %q", text, got, fault)
		}
	}
	for text, want := range map[string]forecast.Stage{
		"bloom": forecast.Bloom10, "bloom_10": forecast.Bloom10, "10 % bloom": forecast.Bloom10, "Full bloom": forecast.BloomFull,
		"first ripe": forecast.FirstRipe, "Peak": forecast.Peak, "last pick": forecast.LastPick,
	} {
		if got, fault := pages.ReadStage(text); got != want || fault != "" {
			t.Errorf("%q is %v, %q", text, got, fault)
		}
	}
	for _, text := range []string{"", "soon", "opened"} {
		if _, fault := pages.ReadClass(text); fault == "" {
			t.Errorf("%q is a class", text)
		}
		if _, fault := pages.ReadStage(text); fault == "" {
			t.Errorf("%q is a stage", text)
		}
	}
}

func TestSlugsAreMadeOfNames(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{
		"Hill Farm": "hill-farm", "  Hügel & Söhne  ": "hugel-and-sohne", "Straße": "strasse", "L'Île": "l-ile", "草莓": "", "--": "",
	} {
		if got := pages.SlugOf(name); got != want {
			t.Errorf("%q makes %q, want %q", name, got, want)
		}
	}
	for _, name := range []string{strings.Repeat("long name ", 10), strings.Repeat("é", 100)} {
		if got := pages.SlugOf(name); !forecast.ValidSlug(got) || len(got) > 60 {
			t.Errorf("%q makes %q", name, got)
		}
	}
}

func TestListsArePartedByWhatTheyUse(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, text string
		want       [][]string
	}{
		{"semicolons, with a comma in a number", "a; 1,5\r\n\r\nb;2\n", [][]string{{"a", "1,5"}, {"b", "2"}}},
		{"cells of a sheet", "a\tb\n c \t\n", [][]string{{"a", "b"}, {"c", ""}}},
		{"bars", "a|b", [][]string{{"a", "b"}}},
		{"commas and quotes", "\"May 4, 2021\",b", [][]string{{"May 4, 2021", "b"}}},
		{"a stray quote", "a 5\" pot; b", [][]string{{"a 5\" pot", "b"}}},
		{"nothing", " \n;;\n", nil},
	} {
		if diff := cmp.Diff(tt.want, pages.Cells(tt.text)); diff != "" {
			t.Errorf("%s:\n%s", tt.name, diff)
		}
	}
	if got := pages.Without("head\na\nb\r\nc\n", []int{2, 4}); got != "head\nb" {
		t.Errorf("what is left of the list is %q", got)
	}
}

func TestAListOfPlantingsIsUnderstoodLineByLine(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, text string
		units      forecast.Units
		want       [][]string
	}{
		{
			"every unit and date that is clear", "Annapolis; early; Hill; 2021; 0.3 acres; 9000 lb/acre\nJewel;;Hill;May 4, 2021;13,000 sq ft", forecast.US,
			[][]string{
				{"Annapolis", "early", "Hill", "Fri Jan 1, 2021", "0.3 acres", "9,000 lb/acre", "new"},
				{"Jewel", "mid to late", "Hill", "Tue May 4, 2021", "0.298 acres", "8,920 lb/acre", "new"},
			},
		},
		{
			"what is there is not made twice", "jewel; ; Home; 2015-04-20; 1200\nJewel;;home;2015-04-20;900", forecast.Metric,
			[][]string{
				{"Jewel", "mid to late", "Home", "Mon 20 Apr 2015", "1,200 m²", "1.1 kg/m²", "there already"},
				{"says the same planting as line 1"},
			},
		},
		{
			"a header in any order", "Block,Variety,Area (m2),Planted on,Ripens\nHill,Annapolis,900,2021-05-04,early", forecast.Metric,
			[][]string{{"Annapolis", "early", "Hill", "Tue 4 May 2021", "900 m²", "1 kg/m²", "new"}},
		},
		{
			"a variety alone, known to later lines", "Annapolis; early\nAnnapolis;;Hill;2021;900\nannapolis; late;Low;2021;900", forecast.Metric,
			[][]string{
				{"Annapolis", "early", "", "", "", "", "new variety"},
				{"Annapolis", "early", "Hill", "Fri 1 Jan 2021", "900 m²", "1 kg/m²", "new"},
				{"ripens differs from an earlier line of the same variety"},
			},
		},
		{
			"all faults of a line at once", "Novel; soon; ; 30 Feb 2020; 3 bushels; lots", forecast.Metric,
			[][]string{{"ripens is not one of early, early mid, mid, late mid, late, very late; the block must not be empty; " +
				"the day of planting is not a date with its year, such as 2015-04-20 or 20 Apr 2015; " +
				"the area has a unit that is not one of m², ha, acres, sq ft; the yield is not a number with a unit"}},
		},
		{
			"bounds", "Jewel;;Hill;2021;0\nJewel;;Hill;2021;900;90", forecast.Metric,
			[][]string{{"the area must be between 0.1 m² and 1,000 ha"}, {"the yield must be between 0.001 kg/m² and 20 kg/m²"}},
		},
		{
			"a comma within a number", "Jewel,,Hill,2021,1,200,0,9", forecast.Metric,
			[][]string{{"the yield must be between 0.001 kg/m² and 20 kg/m²"}},
		},
		{"a strange column", "Variety;Colour\nJewel;red", forecast.Metric, [][]string{{"the header has a column that is not known: Colour"}}},
		{"nothing", "\n", forecast.Metric, nil},
	} {
		got := pages.PlantingRows(tt.text, tt.units)
		if tt.name == "a comma within a number" { // Any fault will do: it must not be taken.
			if len(got) != 1 || len(got[0]) != 1 || !strings.Contains(got[0][0], "has 8 parts where 6 are known") {
				t.Errorf("%s: %q", tt.name, got)
			}
			continue
		}
		if diff := cmp.Diff(tt.want, got); diff != "" {
			t.Errorf("%s:\n%s", tt.name, diff)
		}
	}
}

func TestTemperaturesAndCountsAreWrittenForReading(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		c     float64
		units forecast.Units
		want  string
	}{
		{-17.8, forecast.US, "0 °F"}, // -0.04 °F: nought without a sign.
		{-0.04, forecast.Metric, "0 °C"},
		{-17.9, forecast.US, "-0.2 °F"},
		{30, forecast.US, "86 °F"},
	} {
		if got := pages.Temperature(tt.c, tt.units); got != tt.want {
			t.Errorf("%g °C is written %q, want %q", tt.c, got, tt.want)
		}
	}
	for n, want := range map[int]string{0: "0 days", 1: "1 day", 999: "999 days", 15441: "15,441 days"} {
		if got := pages.Count(n, "day", "days"); got != want {
			t.Errorf("%d is written %q, want %q", n, got, want)
		}
	}
}
