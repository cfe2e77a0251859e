package weather_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripetide/weather"
)

// ghcnDir holds the samples that testdata/README.md describes.
const ghcnDir = "../testdata/weather/formats"

func ghcnSample(tb testing.TB, name string) string {
	tb.Helper()
	body, err := os.ReadFile(filepath.Join(ghcnDir, name))
	if err != nil {
		tb.Fatal(err)
	}
	return string(body)
}

// readGhcn reads a file that must be readable.
func readGhcn(t *testing.T, body string, opt weather.ReadOptions) *weather.Reading {
	t.Helper()
	opt.Latest = today
	r, err := weather.Read(strings.NewReader(body), opt)
	if err != nil {
		t.Fatal(err)
	}
	mustAddUp(t, r)
	if r.Remarks != nil && len(r.Remarks) != len(r.Days) {
		t.Fatalf("%d remarks of %d days", len(r.Remarks), len(r.Days))
	}
	return r
}

// ghcnTold writes a reading in lines: the good days with what is remarked of them,
// then the refused rows.
func ghcnTold(r *weather.Reading) string {
	var b strings.Builder
	for i, d := range r.Days {
		fmt.Fprintf(&b, "%s %g %g", d.Date, d.Min, d.Max)
		if r.Remarks != nil && r.Remarks[i].Hour != 0 {
			fmt.Fprintf(&b, " @%d", r.Remarks[i].Hour)
		}
		if r.Remarks != nil && r.Remarks[i].Flag != "" {
			fmt.Fprintf(&b, " [%s]", r.Remarks[i].Flag)
		}
		b.WriteString("\n")
	}
	for _, x := range r.Refused {
		fmt.Fprintf(&b, "row %d, %s: %s\n", x.Row, x.Date, x.Reason)
	}
	if r.Blank > 0 {
		fmt.Fprintf(&b, "%d blank\n", r.Blank)
	}
	if r.Repeats > 0 {
		fmt.Fprintf(&b, "%d repeats\n", r.Repeats)
	}
	return b.String()
}

// ghcnFound returns what was found of a thing, "" if it is not among the findings.
func ghcnFound(r *weather.Reading, what string) string {
	for _, f := range r.Findings {
		if f.What == what {
			return f.Found
		}
	}
	return ""
}

// ghcnDay returns the day of a date and what is remarked of it.
func ghcnDay(t *testing.T, r *weather.Reading, d weather.Date) (weather.Day, weather.Remark) {
	t.Helper()
	i := slices.IndexFunc(r.Days, func(x weather.Day) bool { return x.Date == d })
	if i < 0 {
		t.Fatalf("%s is not there", d)
	}
	return r.Days[i], r.Remarks[i]
}

// The figures are those of the record of the station as one CSV with a row a day
// (testdata/README.md), against which every day, flag and refusal of this file
// was compared once: 45,882 days equal, 277 of them flagged, 114 with one value
// missing and the four with min above max.
func TestGhcnDlyWholeStation(t *testing.T) {
	t.Parallel()
	r := readGhcn(t, ghcnSample(t, "ann_arbor_full.dly.gz"), weather.ReadOptions{})
	if r.Format != "ghcn-dly" || r.Unit != weather.Tenths || len(r.Days) != 45_882 || r.Repeats != 0 || len(r.Refused) != 118 || r.Blank != 81 {
		t.Errorf("%s, %s, %d days, %d repeats, %d refused, %d blank", r.Format, r.Unit, len(r.Days), r.Repeats, len(r.Refused), r.Blank)
	}
	want := []weather.Finding{
		{"station", "USC00200230"},
		{"unit", "tenths of °C, by the format"},
		{"flags", "277 days failed the source's own tests; they are kept and marked"},
		{"blank days", "81 dates have neither min nor max"},
	}
	if !slices.Equal(r.Findings, want) {
		t.Errorf("findings %v", r.Findings)
	}
	var crossed []weather.Refusal
	missing := 0
	for _, x := range r.Refused {
		if x.Reason == "min is missing" || x.Reason == "max is missing" {
			missing++
		} else {
			crossed = append(crossed, x)
		}
	}
	// The lines are where grep -n finds 189704, 191710, 194204 and 194408 first.
	wantCrossed := []weather.Refusal{
		{133, "1897-04-23", "min 267 tenths of °C is above max 244 tenths of °C"},
		{625, "1917-10-30", "min 44 tenths of °C is above max -11 tenths of °C"},
		{1406, "1942-04-26", "min 139 tenths of °C is above max -11 tenths of °C"},
		{1490, "1944-08-18", "min 122 tenths of °C is above max 61 tenths of °C"},
	}
	if missing != 114 || !slices.Equal(crossed, wantCrossed) {
		t.Errorf("%d with one missing, crossed %v", missing, crossed)
	}
	unflagged := map[weather.Date]weather.Day{}
	for i, d := range r.Days {
		if r.Remarks[i].Flag == "" {
			unflagged[d.Date] = d
		}
	}
	days := annArbor(t)
	for _, d := range days {
		if unflagged[d.Date] != d {
			t.Fatalf("%v in one file, %v in the other", unflagged[d.Date], d)
		}
		delete(unflagged, d.Date)
	}
	for d := range unflagged {
		if days[0].Date <= d && d <= days[len(days)-1].Date {
			t.Errorf("%s is in one file only", d)
		}
	}
}

// The excerpt has the lines of 1891-10 and 11, 1897-04, 1917-10, 1942-04,
// 1944-08, 1991, 2000-10 and 2018-04 to 09.
func TestGhcnDlyExcerpt(t *testing.T) {
	t.Parallel()
	body := ghcnSample(t, "ann_arbor.dly")
	r := readGhcn(t, body, weather.ReadOptions{Station: "usc00200230", Unit: weather.Tenths})
	want := map[weather.Date]weather.Day{}
	for _, d := range annArbor(t) {
		want[d.Date] = d
	}
	equal := 0
	for i, d := range r.Days {
		w, ok := want[d.Date]
		switch {
		case d.Date < weather.DateOf(1976, 1, 1): // Before the other file begins.
		case r.Remarks[i].Flag != "" && ok, r.Remarks[i].Flag == "" && d != w:
			t.Errorf("%v %q, but %v", d, r.Remarks[i].Flag, w)
		case ok:
			equal++
		}
	}
	// grep -cE '^(1991|2000-10|2018-0[4-9])' ann_arbor_1976_2018.csv.
	if equal != 565 {
		t.Errorf("%d days are equal", equal)
	}
	day, remark := ghcnDay(t, r, weather.DateOf(1991, 6, 8))
	if day.Min != -15 || day.Max != 27.8 || remark != (weather.Remark{Flag: "min: gap (G)"}) {
		t.Errorf("%v %v", day, remark)
	}
	day, remark = ghcnDay(t, r, weather.DateOf(2000, 10, 4))
	if day.Max != 17.2 || remark.Flag != "max: internal consistency (I)" {
		t.Errorf("%v %v", day, remark)
	}

	stripped := ""
	for line := range strings.Lines(body) {
		stripped += strings.TrimRight(line, " \n") + "\r\n"
	}
	if len(stripped) >= len(body)+71 {
		t.Fatal("nothing was stripped")
	}
	if s := readGhcn(t, strings.TrimSuffix(stripped, "\r\n"), weather.ReadOptions{}); ghcnTold(s) != ghcnTold(r) || s.Format != "ghcn-dly" {
		t.Error("other days when blanks at the ends are stripped")
	}
	// The order of the lines does not matter.
	lines := slices.Collect(strings.Lines(body))
	slices.SortStableFunc(lines, func(a, b string) int { return strings.Compare(a[17:21], b[17:21]) })
	if s := readGhcn(t, strings.Join(lines, ""), weather.ReadOptions{}); !slices.Equal(s.Days, r.Days) || !slices.Equal(s.Remarks, r.Remarks) {
		t.Error("other days when lines are in the order of elements")
	}
}

// dly writes a line of a .dly by readme 3.26: values are "VALUE" or "VALUEMQS" of
// the first days; the others are missing.
func dly(id, yearMonth, element string, values ...string) string {
	line := id + yearMonth + element
	for i := range 31 {
		value, flags := "-9999", "   "
		if i < len(values) {
			value, flags, _ = strings.Cut(values[i], "|")
			if flags == "" {
				flags = "  0"
			}
		}
		line += fmt.Sprintf("%5s%3s", value, flags)
	}
	return line + "\n"
}

const (
	annArborID    = "USC00200230"
	minneapolisID = "USW00014922"
)

func TestGhcnDlyLines(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, body string
		want       string
	}{
		{
			"min and max are joined, other elements are not taken",
			dly(annArborID, "202606", "TMAX", "206", "267") + dly(annArborID, "202606", "TMIN", "78", "-139") +
				dly(annArborID, "202606", "TAVG", "1", "2", "3") + dly(annArborID, "202606", "TOBS", "1", "2", "3") +
				dly(annArborID, "202606", "MDTX", "1", "2", "3") + dly(annArborID, "202606", "MDTN", "1", "2", "3"),
			"2026-06-01 7.8 20.6\n2026-06-02 -13.9 26.7\n8 blank\n", // Up to today, 10 June.
		},
		{
			"one of the two is missing",
			dly(annArborID, "202604", "TMIN", "78", "139", "-9999|   ", "-9999|   ", "0") + dly(annArborID, "202604", "TMAX", "206", "-9999|   ", "261", "-9999|   ", "0"),
			"2026-04-01 7.8 20.6\n2026-04-05 0 0\nrow 1, 2026-04-02: max is missing\nrow 1, 2026-04-03: min is missing\n26 blank\n",
		},
		{
			"a month with only one element, one with neither",
			dly(annArborID, "202602", "TMAX", "78") + dly(annArborID, "202603", "PRCP", "0", "0"),
			"row 1, 2026-02-01: min is missing\n27 blank\n",
		},
		{
			"flags of both, of a letter nobody knows and of one that does not print",
			dly(annArborID, "202606", "TMAX", "206| O0", "267| q0", "261|\tX0", "100|LI ") + dly(annArborID, "202606", "TMIN", "78| O0", "139|HT0", "161|H 0", "50|L 0"),
			"2026-06-01 7.8 20.6 [min: climatological outlier (O); max: climatological outlier (O)]\n" +
				"2026-06-02 13.9 26.7 [min: temporal consistency (T); max: unknown test (q)]\n" +
				"2026-06-03 16.1 26.1 [max: bounds (X)]\n" +
				"2026-06-04 5 10 [max: internal consistency (I)]\n6 blank\n",
		},
		{
			"an element twice with other values, and with the same",
			dly(annArborID, "202606", "TMAX", "206", "267", "261") + dly(annArborID, "202606", "TMIN", "78", "139", "161") +
				dly(annArborID, "202606", "TMAX", "206", "276| I0", "261| S0"),
			"2026-06-01 7.8 20.6\n2026-06-03 16.1 26.1 [max: spatial consistency (S)]\nrow 1, 2026-06-02: max is 267 in row 1 and 276 in row 3\n7 blank\n",
		},
		{
			"a month said again",
			dly(annArborID, "202606", "TMAX", "206") + dly(annArborID, "202606", "TMIN", "78") + dly(annArborID, "202606", "TMIN", "78") + dly(annArborID, "202606", "TMAX", "206"),
			"2026-06-01 7.8 20.6\n9 blank\n1 repeats\n",
		},
		{
			"days that the month has not",
			dly(annArborID, "202402", "TMAX", slices.Repeat([]string{"10"}, 31)...) + dly(annArborID, "202302", "TMIN", slices.Repeat([]string{"0"}, 29)...),
			"row 1, 2024-02-30: date 2024-02-30 is not in the calendar\nrow 1, 2024-02-31: date 2024-02-31 is not in the calendar\n" +
				func() (s string) {
					for d := 1; d <= 29; d++ {
						s += fmt.Sprintf("row 1, 2024-02-%02d: min is missing\n", d)
					}
					s += "row 2, 2023-02-29: date 2023-02-29 is not in the calendar\n"
					for d := 1; d <= 28; d++ {
						s += fmt.Sprintf("row 2, 2023-02-%02d: max is missing\n", d)
					}
					return s
				}(),
		},
		{
			"values that are none",
			dly(annArborID, "202606", "TMAX", "206", "20.6", "2O6", "99999", "30", "") + dly(annArborID, "202606", "TMIN", "78", "78", "78", "78", "x", "50"),
			"2026-06-01 7.8 20.6\n" + `row 1, 2026-06-02: max "20.6" is no whole number, as tenths of °C are` + "\n" +
				`row 1, 2026-06-03: max "2O6" is not a number` + "\n" +
				"row 1, 2026-06-04: max 99999 tenths of °C is above 600 tenths of °C\n" +
				`row 1, 2026-06-05: min "x" is not a number` + "\nrow 1, 2026-06-06: max is missing\n4 blank\n",
		},
		{
			"a day after today",
			dly(annArborID, "202606", "TMAX", slices.Repeat([]string{"206"}, 11)...) + dly(annArborID, "202606", "TMIN", slices.Repeat([]string{"78"}, 11)...),
			func() (s string) {
				for d := 1; d <= 10; d++ {
					s += fmt.Sprintf("2026-06-%02d 7.8 20.6\n", d)
				}
				return s + "row 1, 2026-06-11: date 2026-06-11 is after today\n"
			}(),
		},
		{
			"lines that are none, which are counted, and blank ones, which are not",
			dly(annArborID, "202606", "TMIN", "78") + "\n \r\nUSC00200230\n" + dly(annArborID, "202613", "TMAX", "206") +
				dly(annArborID, "0026 6", "TMAX", "206") + dly(annArborID, "2O2606", "TMIN", "206") + dly(annArborID, "2O2606", "PRCP", "206") +
				dly(annArborID, "2026 6", "TMAX", "206"),
			"2026-06-01 7.8 20.6\nrow 2, : line is cut off before its values\n" + `row 3, : "202613" is no year and month` + "\n" +
				"row 4, : date year 26 is outside 1700 to 2400\n" + `row 5, : "2O2606" is no year and month` + "\n9 blank\n",
		},
		{
			"cut off within a value",
			dly(annArborID, "202606", "TMAX", "206", "267", "261") + dly(annArborID, "202606", "TMIN", "78", "139", "161")[:21+2*8+4],
			"2026-06-01 7.8 20.6\n2026-06-02 13.9 26.7\nrow 1, 2026-06-03: min \"16\" is cut off\n7 blank\n",
		},
		{
			"cut off before the flags of a value",
			dly(annArborID, "202606", "TMAX", "206", "267") + dly(annArborID, "202606", "TMIN", "78", "139")[:21+8+5],
			"2026-06-01 7.8 20.6\nrow 1, 2026-06-02: min \"139\" is cut off before its flags\n8 blank\n",
		},
		{
			"cut off within the flags of a value",
			dly(annArborID, "202606", "TMAX", "206", "267") + dly(annArborID, "202606", "TMIN", "78", "139")[:21+8+6],
			"2026-06-01 7.8 20.6\nrow 1, 2026-06-02: min \"139\" is cut off before its flags\n8 blank\n",
		},
		{
			"a line that was only stripped",
			dly(annArborID, "202606", "TMAX", "206", "267") + dly(annArborID, "202606", "TMIN", "78", "139")[:21+8+5] + "\n",
			"2026-06-01 7.8 20.6\n2026-06-02 13.9 26.7\n8 blank\n",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := readGhcn(t, tt.body, weather.ReadOptions{})
			if r.Format != "ghcn-dly" || ghcnTold(r) != tt.want {
				t.Errorf("format %s\n%swant\n%s", r.Format, ghcnTold(r), tt.want)
			}
		})
	}
}

// Each flag of readme 3.26.
func TestGhcnFlags(t *testing.T) {
	t.Parallel()
	for flag, want := range map[string]string{
		"D": "duplicate", "G": "gap", "I": "internal consistency", "K": "streak", "L": "length of period",
		"M": "mega-consistency", "N": "naught", "O": "climatological outlier", "R": "lagged range",
		"S": "spatial consistency", "T": "temporal consistency", "W": "too warm for snow", "X": "bounds",
		"Z": "official investigation",
	} {
		r := readGhcn(t, dly(annArborID, "202606", "TMAX", "206| "+flag+"0")+dly(annArborID, "202606", "TMIN", "78| "+flag+"0"), weather.ReadOptions{})
		if want = fmt.Sprintf("min: %s (%s); max: %[1]s (%[2]s)", want, flag); r.Remarks[0].Flag != want || len(want) > 80 {
			t.Errorf("%s: %q, want %q", flag, r.Remarks[0].Flag, want)
		}
	}
}

func TestGhcnWide(t *testing.T) {
	t.Parallel()
	months := readGhcn(t, ghcnSample(t, "ann_arbor_ghcn_wide_months.csv"), weather.ReadOptions{Station: annArborID})
	whole := readGhcn(t, ghcnSample(t, "ann_arbor_full.dly.gz"), weather.ReadOptions{})
	// The months of 1891-10, 1991-06, 2000-10 and 2018-09, of which the last has
	// 25 days and five blank ones (the file has -9999 twelve times, twice for the 31st).
	if months.Format != "ghcn-wide" || months.Unit != weather.Tenths || len(months.Days) != 31+30+31+25 || ghcnFound(months, "station") != annArborID {
		t.Errorf("%s, %s, %d days, %v, %v", months.Format, months.Unit, len(months.Days), months.Refused, months.Findings)
	}
	days := readGhcn(t, ghcnSample(t, "ann_arbor_ghcn_wide_days.csv"), weather.ReadOptions{})
	if days.Format != "ghcn-wide" || days.Unit != weather.Celsius || ghcnFound(days, "unit") != "°C, by the heading" || ghcnFound(days, "station") != "the file names none" {
		t.Errorf("%s, %s, %v", days.Format, days.Unit, days.Findings)
	}
	if want := []weather.Refusal{{18, "1944-08-18", "min 12.2 °C is above max 6.1 °C"}}; !slices.Equal(days.Refused, want) || len(days.Days) != 60 {
		t.Errorf("%d days, refused %v", len(days.Days), days.Refused)
	}
	for _, r := range []*weather.Reading{months, days} {
		for i, d := range r.Days {
			if day, remark := ghcnDay(t, whole, d.Date); day != d || remark != r.Remarks[i] {
				t.Errorf("%v %v, but %v %v", d, r.Remarks[i], day, remark)
			}
		}
	}
	at := readGhcn(t, ghcnSample(t, "minneapolis_ghcn_wide_days.csv"), weather.ReadOptions{})
	if at.Format != "ghcn-wide" || len(at.Days) != 31 || ghcnFound(at, "hours of observation") != "24:00 on 31 days" || ghcnFound(at, "flags") != "no day failed the source's own tests" {
		t.Errorf("%s, %d days, %v", at.Format, len(at.Days), at.Findings)
	}
}

// monthsCSV writes rows of a month; the header is that of the sample.
func monthsCSV(rows ...string) string {
	header := "ID,YEAR,MONTH,ELEMENT"
	for i := 1; i <= 31; i++ {
		header += fmt.Sprintf(",VALUE%d,MFLAG%[1]d,QFLAG%[1]d,SFLAG%[1]d", i)
	}
	return header + "\n" + strings.Join(rows, "\n") + "\n"
}

func TestGhcnWideRows(t *testing.T) {
	t.Parallel()
	const days = "date,tmin,tmax,tmin_qflag,tmax_qflag,obs_time\n"
	for _, tt := range []struct {
		name, body string
		opt        weather.ReadOptions
		want       string
	}{
		{
			"months, with R's NA",
			monthsCSV("X1,2026,6,TMAX,206,NA,NA,0,NA,NA,NA,NA,261,,S,0", "X1,2026,06,TMIN,78,,,0,-9999,,,,161,,,0", "X1,2026,6,TOBS,1,,,0,2,,,0,3,,,0"),
			weather.ReadOptions{},
			"2026-06-01 7.8 20.6\n2026-06-03 16.1 26.1 [max: spatial consistency (S)]\n8 blank\n",
		},
		{
			"months: what is wrong with a row",
			monthsCSV("X1,2026,13,TMAX,206", "X1,2026,x,TMAX,206", ",2026,6,TMAX,206", "X1,26,6,TMIN,206", "X1,2026", "X1,2025,6,TMIN,2,,,,3x") + "X1,2026,6,TMIN,20",
			weather.ReadOptions{},
			`row 1, : year "2026" and month "13" are no month` + "\n" + `row 2, : year "2026" and month "x" are no month` + "\n" +
				"row 3, : station is empty\nrow 4, : date year 26 is outside 1700 to 2400\nrow 5, : row has 2 of 128 cells, it is cut off\n" +
				"row 6, 2025-06-01: max is missing\n" + `row 6, 2025-06-02: min "3x" is not a number` + "\n" +
				"row 7, : row has 5 of 128 cells, it is cut off\n28 blank\n",
		},
		{
			"months, with blanks around the cells and no name for the station's column",
			strings.ReplaceAll(monthsCSV("X1,2026,6,TMAX,206,,X,0,267", "X1,2026,6,TMIN,78,,,0,139"), ",", ", ")[len("ID"):],
			weather.ReadOptions{Format: "ghcn-wide"},
			"2026-06-01 7.8 20.6 [max: bounds (X)]\n2026-06-02 13.9 26.7\n8 blank\n",
		},
		{
			"months: a day that it has not",
			monthsCSV("X1,2026,2,TMAX"+strings.Repeat(",,,,", 28)+",5,,,0", "X1,2026,2,TMIN,1,,,"),
			weather.ReadOptions{},
			"row 1, 2026-02-29: date 2026-02-29 is not in the calendar\nrow 1, 2026-02-01: max is missing\n27 blank\n",
		},
		{
			"days: a date twice is refused",
			days + "20260601,7.8,20.6,,S,700\n2026-06-02,9,20,,,0700\n2026-06-02,9,21,NA,,\n2026-06-03,NA,,,,\n2026-06-04,NA,5,,,\n",
			weather.ReadOptions{Unit: weather.Celsius},
			"2026-06-01 7.8 20.6 @7 [max: spatial consistency (S)]\nrow 2, 2026-06-02: date 2026-06-02 is also in row 3, with other values\n" +
				"row 3, 2026-06-02: date 2026-06-02 is also in row 2, with other values\nrow 5, 2026-06-04: min is missing\n1 blank\n",
		},
		{
			"days: the unit is told by the sender",
			days + "2026-06-01,46,69,,,1700\n",
			weather.ReadOptions{Unit: weather.Fahrenheit},
			"2026-06-01 7.777777777777778 20.555555555555557 @17\n", // (46-32)·5/9.
		},
		{
			"days: the unit is told by the headings",
			strings.Replace(days, "tmin,tmax", "tmin_f,tmax_f", 1) + "2026-06-01,46.4,68,,,1700\n",
			weather.ReadOptions{},
			"2026-06-01 8 20 @17\n", // (46.4-32)·5/9.
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := readGhcn(t, tt.body, tt.opt)
			if r.Format != "ghcn-wide" || ghcnTold(r) != tt.want {
				t.Errorf("format %s\n%swant\n%s", r.Format, ghcnTold(r), tt.want)
			}
		})
	}
}

func TestGhcnRowsSample(t *testing.T) {
	t.Parallel()
	body := ghcnSample(t, "minneapolis_ghcn_rows.csv")
	r := readGhcn(t, body, weather.ReadOptions{})
	if r.Format != "ghcn-rows" || r.Unit != weather.Tenths || len(r.Days) != 30 || len(r.Refused) != 0 || r.Blank != 0 {
		t.Errorf("%s, %s, %d days, %v, %d blank", r.Format, r.Unit, len(r.Days), r.Refused, r.Blank)
	}
	want := []weather.Finding{
		{"station", "the file names none"},
		{"unit", "tenths of °C, by the format"},
		{"flags", "no day failed the source's own tests"},
		{"hours of observation", "24:00 on 30 days"},
	}
	if !slices.Equal(r.Findings, want) {
		t.Errorf("findings %v", r.Findings)
	}
	// The same station in another layout.
	wide := readGhcn(t, ghcnSample(t, "minneapolis_ghcn_wide_days.csv"), weather.ReadOptions{})
	for i, d := range r.Days {
		if day, remark := ghcnDay(t, wide, d.Date); day != d || remark != r.Remarks[i] {
			t.Errorf("%v %v, but %v %v", d, r.Remarks[i], day, remark)
		}
	}
	// The layout of the official files: no header, but the station.
	_, rest, _ := strings.Cut(body, "\n")
	official := minneapolisID + "," + strings.ReplaceAll(strings.TrimSpace(rest), "\n", "\n"+minneapolisID+",") + "\n"
	for _, header := range []string{"", "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\n"} {
		o := readGhcn(t, header+official, weather.ReadOptions{})
		if o.Format != "ghcn-rows" || ghcnTold(o) != ghcnTold(r) || ghcnFound(o, "station") != minneapolisID {
			t.Errorf("%q: %s, %v\n%s", header, o.Format, o.Findings, ghcnTold(o))
		}
	}
}

func TestGhcnRows(t *testing.T) {
	t.Parallel()
	const header = "id,date,element,value,mflag,qflag,sflag,time\n"
	for _, tt := range []struct {
		name, body string
		opt        weather.ReadOptions
		want       string
	}{
		{
			"hours: of the max where they differ, of the min where the max has none",
			"USC00200230,20260601,TMIN,78,,,0,0700\nUSC00200230,20260601,TMAX,206,,,0,1700\n" +
				"USC00200230,20260602,TMIN,78,,,0,700\nUSC00200230,20260602,TMAX,206,,,0,\n" +
				"USC00200230,20260603,TMIN,78,,,0,\nUSC00200230,20260603,TMAX,206,,,0,0000\n" +
				"USC00200230,20260604,TMIN,78,,,0,\nUSC00200230,20260604,TMAX,206,,,0,\n",
			weather.ReadOptions{},
			"2026-06-01 7.8 20.6 @17\n2026-06-02 7.8 20.6 @7\n2026-06-03 7.8 20.6 @24\n2026-06-04 7.8 20.6\n",
		},
		{
			"other elements and other stations are not taken",
			"USC00200230,20260601,PRCP,8,,,0,0700\nUSC00200230,20260601,TMIN,78,,,0,\nUSW00014922,20260601,TMIN,70,,,0,\n" +
				"USC00200230,20260601,TMAX,206,,X,0,\nUSW00014922,20260601,TMAX,200,,,0,\nUSC00200230,20260601,MDTX,300,,,0,\nUSC00200230,20260602,TAVG,300,,,0,\nUSC00200230,bad,TAVG,300,,,0,\n",
			weather.ReadOptions{Station: annArborID},
			"2026-06-01 7.8 20.6 [max: bounds (X)]\n",
		},
		{
			"the only station with temperatures is taken",
			"US1MNHN0012,20260601,PRCP,8,,,N,0700\nUSC00200230,20260601,TMIN,78,,,0,\nUSC00200230,20260601,TMAX,206,,,0,\n",
			weather.ReadOptions{},
			"2026-06-01 7.8 20.6\n",
		},
		{
			"one missing, both missing, another value, the same value",
			header + "S,20260601,TMIN,78,,,0,\nS,20260602,TMAX,-9999,,,,\nS,20260602,TMIN,,,,,\nS,20260603,TMAX,9,,,,\nS,20260603,TMAX,8,,,,\nS,20260603,TMIN,1,,,,\n" +
				"S,20260604,TMAX,9,,,,\nS,20260604,TMIN,1,,,,\nS,20260604,TMAX,9,,,,\nS,20260604,TMIN,1,,,,700\n",
			weather.ReadOptions{},
			"2026-06-04 0.1 0.9 @7\nrow 1, 2026-06-01: max is missing\nrow 4, 2026-06-03: max is 9 in row 4 and 8 in row 5\n1 blank\n1 repeats\n",
		},
		{
			"what is wrong with a row",
			header + "S,20260631,TMIN,78,,,0,\nS,2026-06-01,TMIN,7,,,0,\nS,06/02/2026,TMAX,78,,,0,\nS,,TMAX,78,,,0,\n,20260603,TMAX,78,,,0,\nS,20260605\nS,20260606,TMAX,7O,,,0,\nS,02060606,TMAX,70,,,0,\n" +
				"S,20260607,TMAX,70,\"\nS,-2026060,TMAX,70,,,0,\n\nS,20260001,TMAX,70,,,0,\nS,20260600,TMAX,70,,,0,\nS,20260608,TMAX,70",
			weather.ReadOptions{},
			`row 1, 20260631: date "20260631" is not a calendar date YYYYMMDD` + "\nrow 2, 2026-06-01: max is missing\n" +
				`row 3, 06/02/2026: date "06/02/2026" is not a calendar date YYYYMMDD` + "\nrow 4, : date is empty\nrow 5, 20260603: station is empty\n" +
				"row 6, 20260605: row has 2 of 8 cells, it is cut off\n" + `row 7, 2026-06-06: max "7O" is not a number` + "\nrow 8, 02060606: date year 206 is outside 1700 to 2400\n" +
				"row 9, 20260607: a quote is not closed\n" + `row 10, -2026060: date "-2026060" is not a calendar date YYYYMMDD` + "\n" +
				`row 11, 20260001: date "20260001" is not a calendar date YYYYMMDD` + "\n" + `row 12, 20260600: date "20260600" is not a calendar date YYYYMMDD` + "\n" +
				"row 13, 20260608: row has 4 of 8 cells, it is cut off\n",
		},
		{
			"a flag that does not print is still one",
			header + "S,20260601,TMIN,7,,é,0,\nS,20260601,TMAX,9,,,0,\n",
			weather.ReadOptions{},
			"2026-06-01 0.7 0.9 [min: unknown test (?)]\n",
		},
		{
			"leap days", // 1900 had none, 2000 had one.
			header + "S,19000229,TMIN,7,,,0,\nS,20000229,TMIN,7,,,0,\nS,20000229,TMAX,7,,,0,\nS,20240229,TMIN,7,,,0,\nS,20240229,TMAX,7,,,0,\nS,20230229,TMIN,7,,,0,\n",
			weather.ReadOptions{},
			"2000-02-29 0.7 0.7\n2024-02-29 0.7 0.7\n" + `row 1, 19000229: date "19000229" is not a calendar date YYYYMMDD` + "\n" + `row 6, 20230229: date "20230229" is not a calendar date YYYYMMDD` + "\n",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := readGhcn(t, tt.body, tt.opt)
			if r.Format != "ghcn-rows" || ghcnTold(r) != tt.want {
				t.Errorf("format %s\n%swant\n%s", r.Format, ghcnTold(r), tt.want)
			}
		})
	}
}

func TestGhcnHours(t *testing.T) {
	t.Parallel()
	for hhmm, want := range map[string]int8{
		"0700": 7, "700": 7, " 700 ": 7, "0": 24, "0000": 24, "2400": 24, "15": 24, "0029": 24, "0030": 1, "0729": 7, "0730": 8,
		"1659": 17, "2330": 24, "2329": 23, "100": 1, "": 0, "NA": 0, "2401": 0, "0760": 0, "9999": 0, "-700": 0, "7:00": 0, "00700": 0,
	} {
		r := readGhcn(t, "id,date,element,value,obs_time\nS,20260601,TMIN,7,"+hhmm+"\nS,20260601,TMAX,9,"+hhmm+"\n", weather.ReadOptions{})
		got := int8(0)
		if r.Remarks != nil {
			got = r.Remarks[0].Hour
		}
		if got != want {
			t.Errorf("%q: %d, want %d", hhmm, got, want)
		}
	}
}

func TestGhcnFindings(t *testing.T) {
	t.Parallel()
	body := "date,element,value,qflag,time\n"
	day := weather.DateOf(2026, 1, 1)
	add := func(n int, flag, hhmm string) {
		for range n {
			date := strings.ReplaceAll(day.String(), "-", "")
			body += fmt.Sprintf("%s,TMIN,7,%s,%s\n%[1]s,TMAX,9,,%[3]s\n", date, flag, hhmm)
			day++
		}
	}
	add(1, "", "0800")
	add(3, "S", "0700")
	add(4, "", "1700")
	add(2, "", "")
	r := readGhcn(t, body+"20260201,TMIN,,,\n", weather.ReadOptions{})
	for what, want := range map[string]string{
		"flags":                "3 days failed the source's own tests; they are kept and marked",
		"hours of observation": "17:00 on 4 days, 7:00 on 3, 8:00 on 1, not told on 2",
		"blank days":           "1 date has neither min nor max",
	} {
		if got := ghcnFound(r, what); got != want {
			t.Errorf("%s: %q, want %q", what, got, want)
		}
	}
	add(1, "", "0900")
	r = readGhcn(t, body, weather.ReadOptions{})
	if got, want := ghcnFound(r, "hours of observation"), "17:00 on 4 days, 7:00 on 3, 8:00 on 1, 9:00 on 1, not told on 2"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	add(1, "", "1000")
	r = readGhcn(t, body, weather.ReadOptions{})
	if got, want := ghcnFound(r, "hours of observation"), "17:00 on 4 days, 7:00 on 3, 8:00 on 1, 9:00 on 1, 1 other hour, not told on 2"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	r = readGhcn(t, "value,element,date\n1,TMIN,20260601\n1,TMAX,20260601\n", weather.ReadOptions{})
	if len(r.Days) != 1 {
		t.Errorf("columns in another order: %v", r.Refused)
	}
	r = readGhcn(t, "tmin_qflag,tmin_c,date,tmax_c\nS,1,2026-06-01,2\n", weather.ReadOptions{})
	if got := ghcnFound(r, "flags"); got != "1 day failed the source's own tests; it is kept and marked" {
		t.Errorf("flags of the min alone: %s", got)
	}
	r = readGhcn(t, "tmin_c,date,tmax_c,tmin_qflag\n1,2026-06-01,2,\n", weather.ReadOptions{})
	if len(r.Days) != 1 {
		t.Errorf("min in the first column: %v", r.Refused)
	}
	r = readGhcn(t, "tmax_qflag,date,tmin_c,tmax_c\nS,2026-06-01,1,2\n", weather.ReadOptions{})
	if got := ghcnFound(r, "flags"); got != "1 day failed the source's own tests; it is kept and marked" {
		t.Errorf("flags of the max alone: %s", got)
	}
	r = readGhcn(t, "date,element,value\n20260601,TMIN,1\n20260601,TMAX,1\n", weather.ReadOptions{})
	if got := ghcnFound(r, "flags"); !strings.HasPrefix(got, "the file has none") || r.Remarks != nil || ghcnFound(r, "hours of observation")+ghcnFound(r, "blank days") != "" {
		t.Errorf("%v, %v", r.Findings, r.Remarks)
	}
	r = readGhcn(t, "date,element,value,qflag\n20260601,TMIN,1,S\n20260601,TMAX,1,\n", weather.ReadOptions{})
	if got := ghcnFound(r, "flags"); got != "1 day failed the source's own tests; it is kept and marked" {
		t.Error(got)
	}
}

// manyStations are n stations with one value each.
func manyStations(n int) (body string) {
	for i := range n {
		body += fmt.Sprintf("USC%08d,20260601,TMIN,78,,,0,\n", i)
	}
	return body
}

func TestGhcnRefusesWholeFiles(t *testing.T) {
	t.Parallel()
	line := dly(annArborID, "202606", "TMAX", "206")
	for _, tt := range []struct {
		name, body string
		opt        weather.ReadOptions
		want       error
		says       string
		choices    []string // Of the first question.
	}{
		{"another unit than the format's", line, weather.ReadOptions{Unit: "C"}, weather.ErrUnitConflict, "are tenths of °C, the request says °C", nil},
		{"another unit, in rows", manyStations(1), weather.ReadOptions{Unit: "F"}, weather.ErrUnitConflict, "the request says °F", nil},
		{"another unit, in months", monthsCSV("X,2026,6,TMIN,5"), weather.ReadOptions{Unit: "F"}, weather.ErrUnitConflict, "the request says °F", nil},
		{"only rain", dly(annArborID, "202606", "PRCP", "206"), weather.ReadOptions{}, weather.ErrNoRows, "no day with TMIN or TMAX", nil},
		{"only blanks", dly(annArborID, "202605", "TMAX"), weather.ReadOptions{}, weather.ErrNoRows, "no day with TMIN or TMAX", nil},
		{"only rain, in rows", "USC00200230,20260601,PRCP,0,,,0,\n", weather.ReadOptions{}, weather.ErrNoRows, "no day with TMIN or TMAX", nil},
		{"another station", line, weather.ReadOptions{Station: minneapolisID}, weather.ErrNoRows, "no temperatures of station USW00014922, but of USC00200230", nil},
		{"another station, in rows", manyStations(5), weather.ReadOptions{Station: "X"}, weather.ErrNoRows, "station X, but of USC00000000, USC00000001, USC00000002 and 2 more", nil},
		{"another station, in months", monthsCSV("A,2026,6,TMIN,5"), weather.ReadOptions{Station: "X"}, weather.ErrNoRows, "station X, but of A", nil},
		{"two stations", line + dly(minneapolisID, "202606", "TMAX", "206"), weather.ReadOptions{}, weather.ErrAmbiguous, "has 2 stations", []string{annArborID, minneapolisID}},
		{"two stations, in months", monthsCSV("B,2026,6,TMIN,5", "A,2026,6,TMIN,5"), weather.ReadOptions{}, weather.ErrAmbiguous, "has 2 stations", []string{"B", "A"}},
		{"25 stations", manyStations(25), weather.ReadOptions{}, weather.ErrAmbiguous, "has 25 stations, of which 20 are named here", nil},
		{"no line of the format", "Dear Sir,\n", weather.ReadOptions{Format: "ghcn-dly"}, weather.ErrBadHeader, "no line begins with a station", nil},
		{"rows without dates", "element,value\nTMIN,1\n", weather.ReadOptions{Format: "ghcn-rows"}, weather.ErrBadHeader, "no column date", nil},
		{"rows without elements", "date,value\n20260601,1\n", weather.ReadOptions{Format: "ghcn-rows"}, weather.ErrBadHeader, "no column element", nil},
		{"rows without values", "date,element\n20260601,TMIN\n", weather.ReadOptions{Format: "ghcn-rows"}, weather.ErrBadHeader, "no column value", nil},
		{"a quote in the header of rows", "date,\"element\n", weather.ReadOptions{Format: "ghcn-rows"}, weather.ErrBadHeader, "quote", nil},
		{"a quote in a wide header", "date,\"element\n", weather.ReadOptions{Format: "ghcn-wide"}, weather.ErrBadHeader, "quote", nil},
		{"months without a day", strings.Replace(monthsCSV("X,2026,6,TMIN,5"), "VALUE17", "V", 1), weather.ReadOptions{Format: "ghcn-wide"}, weather.ErrBadHeader, "no column value17", nil},
		{"months without a year", strings.Replace(monthsCSV("X,2026,6,TMIN,5"), "YEAR", "Y", 1), weather.ReadOptions{Format: "ghcn-wide"}, weather.ErrBadHeader, "no column year", nil},
		{"months without an element", strings.Replace(monthsCSV("X,2026,6,TMIN,5"), "ELEMENT", "E", 1), weather.ReadOptions{Format: "ghcn-wide"}, weather.ErrBadHeader, "no column element", nil},
		{"days without a max", "date,tmin\n2026-06-01,1\n", weather.ReadOptions{Format: "ghcn-wide"}, weather.ErrBadHeader, "no column TMAX", nil},
		{"days of two units", "date,tmin_c,tmax_f,tmin_qflag\n2026-06-01,1,2,\n", weather.ReadOptions{Format: "ghcn-wide"}, weather.ErrBadHeader, `"tmin_c" and "tmax_f" do not tell the same unit`, nil},
		{"days without a unit", "date,tmin,tmax,tmin_qflag\n2026-06-01,1.5,2.5,\n", weather.ReadOptions{}, weather.ErrUnitUnknown, "say whether it is C or F, or tenths", []string{"C", "F", "tenths"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			ghcnRefuses(t, tt.body, tt.opt, tt.want, tt.says, tt.choices)
		})
	}
	_, err := weather.Read(strings.NewReader(manyStations(3)), weather.ReadOptions{Station: "X", Latest: today})
	if want := "weather: no rows: the file has no temperatures of station X, but of USC00000000, USC00000001, USC00000002"; err == nil || err.Error() != want {
		t.Errorf("%v, want %s", err, want)
	}
	opt := weather.ReadOptions{Latest: today}
	_, err = weather.Read(strings.NewReader(manyStations(25)), opt)
	if q := ghcnQuestions(t, err); len(q) != 1 || q[0].Option != weather.OptionStation || len(q[0].Choices) != 20 || q[0].Choices[19] != "USC00000019" {
		t.Errorf("questions %v", q)
	}
}

// ghcnRefuses checks that a file is refused as a whole, and how.
func ghcnRefuses(t *testing.T, body string, opt weather.ReadOptions, want error, says string, choices []string) {
	t.Helper()
	opt.Latest = today
	r, err := weather.Read(strings.NewReader(body), opt)
	var file *weather.FileError
	if r != nil || !errors.Is(err, want) || !errors.As(err, &file) || !strings.Contains(file.Detail(), says) {
		t.Fatalf("got %v, %v; want %v: … %s …", r, err, want, says)
	}
	if choices != nil && !slices.Equal(file.Questions()[0].Choices, choices) {
		t.Errorf("questions %v", file.Questions())
	}
}

func ghcnQuestions(t *testing.T, err error) []weather.Question {
	t.Helper()
	var file *weather.FileError
	if !errors.As(err, &file) {
		t.Fatal(err)
	}
	return file.Questions()
}

// What the formats of the network must leave to others.
func TestGhcnLeavesOthers(t *testing.T) {
	t.Parallel()
	line := dly(annArborID, "202606", "TMAX", "206")
	for name, body := range map[string]string{
		"a plain CSV":                              "date,tmin_c,tmax_c\n2026-06-01,1,2\n",
		"a plain CSV with a station":               "station,date,tmin_c,tmax_c\nA,2026-06-01,1,2\n",
		"a line without its values":                line[:21] + "\n",
		"a line whose element is none":             strings.Replace(line, "TMAX", "tmax", 1),
		"a line whose element begins with a digit": strings.Replace(line, "TMAX", "1MAX", 1),
		"a line whose station is none":             "  " + line[2:],
		"a line whose station has odd signs":       "USC0020023?" + line[11:],
		"a line whose value is none":               line[:21] + "  x  " + line[26:],
		"a line of a month there is not":           strings.Replace(line, "202606", "202600", 1),
		"rows whose date is none":                  "USC00200230,20260631,TMIN,1,,,,\n",
		"rows whose station is none":               "USC002,20260601,TMIN,1,,,,\n",
		"rows whose value is none":                 "USC00200230,20260601,TMIN,x,,,,\n",
		"rows of another length of date":           "USC00200230,2026-06-01,TMIN,1,,,,\n",
		"rows of codes that are not the network's": "date,element,value\n2026-06-01,tmax,20\n",
		"rows with decimals":                       "date,element,value\n2026-06-01,TMAX,20.5\n",
		"JSON of stations without temperatures":    `[{"STATION":"A","DATE":"2026-06-01","PRCP":"1"}]`,
		"JSON of another service":                  `{"results":[{"date":"2026-06-01","station":"A"}]}`,
	} {
		r, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Latest: today})
		if err == nil && (strings.HasPrefix(r.Format, "ghcn") || strings.HasPrefix(r.Format, "ncei")) {
			t.Errorf("%s: taken as %s", name, r.Format)
		}
		if err != nil && !errors.Is(err, weather.ErrUnknownFormat) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// fuzzGhcn reads anything in one format. What comes out must add up, and read
// again by the plain CSV must be the same days.
func fuzzGhcn(f *testing.F, format string) {
	f.Fuzz(func(t *testing.T, body, station, unit string) {
		opt := weather.ReadOptions{Format: format, Station: station, Latest: today}
		if u := weather.Unit(unit); u == weather.Celsius || u == weather.Fahrenheit || u == weather.Tenths {
			opt.Unit = u
		}
		r, err := weather.Read(strings.NewReader(body), opt)
		if err != nil {
			var file *weather.FileError
			if !errors.As(err, &file) || file.Detail() == "" || r != nil {
				t.Fatalf("%v, %v", r, err)
			}
			for _, q := range file.Questions() {
				if q.Option == "" || q.Text == "" || len(q.Choices) < 2 || len(q.Choices) > 20 {
					t.Fatalf("question %+v", q)
				}
			}
			return
		}
		mustAddUp(t, r)
		if r.Received == 0 || r.Blank < 0 || len(r.Findings) < 3 {
			t.Fatalf("%d received, findings %v", r.Received, r.Findings)
		}
		for i, m := range r.Remarks {
			if m.Hour < 0 || m.Hour > 24 || len(m.Flag) > 80 || strings.ContainsAny(m.Flag, "\x00\r\n") {
				t.Fatalf("%v: %+v", r.Days[i], m)
			}
		}
		if len(r.Days) == 0 {
			return
		}
		if last := r.Days[len(r.Days)-1]; last.Date > today {
			t.Fatalf("%v is after today", last)
		}
		plain := "date,min_c,max_c\n"
		for _, d := range r.Days {
			plain += fmt.Sprintf("%s,%v,%v\n", d.Date, d.Min, d.Max)
			if len(plain) > 1<<16 {
				return
			}
		}
		again, err := weather.Read(strings.NewReader(plain), weather.ReadOptions{Latest: today})
		if err != nil || !slices.Equal(again.Days, r.Days) {
			t.Fatalf("read again: %v, %v", again, err)
		}
	})
}

func FuzzGhcnDly(f *testing.F) {
	body := ghcnSample(f, "ann_arbor.dly") // Small seeds are quicker.
	f.Add(body[:5*270], "", "tenths")
	f.Add(body[:2*270-100], annArborID, "")
	f.Add(body[:270]+minneapolisID+body[281:2*270], annArborID, "")
	fuzzGhcn(f, "ghcn-dly")
}

func FuzzGhcnWide(f *testing.F) {
	f.Add(monthsCSV("X1,2026,6,TMAX,206,NA,NA,0,NA,NA,NA,NA,261,,S,0", "X1,2026,06,TMIN,78,,,0,-9999,,,,161,,,0"), "", "")
	f.Add(ghcnSample(f, "ann_arbor_ghcn_wide_days.csv"), "", "C")
	f.Add(ghcnSample(f, "minneapolis_ghcn_wide_days.csv"), minneapolisID, "")
	f.Add("id,date,tmin,tmax,tmin_qflag\nA,2026-06-01,1,2,\nB,2026-06-01,1,2,S\n", "B", "F")
	fuzzGhcn(f, "ghcn-wide")
}

func FuzzGhcnRows(f *testing.F) {
	f.Add(ghcnSample(f, "minneapolis_ghcn_rows.csv"), "", "")
	f.Add(manyStations(3), "USC00000001", "tenths")
	f.Add("id,date,element,value,qflag,time\nS,20260601,TMIN,7,I,700\nS,20260601,TMAX,9,,\n", "", "")
	fuzzGhcn(f, "ghcn-rows")
}

// BenchmarkReadDly reads 127 years of a station; a row is a day.
func BenchmarkReadDly(b *testing.B) {
	body, err := weather.Unpack(strings.NewReader(ghcnSample(b, "ann_arbor_full.dly.gz")))
	if err != nil {
		b.Fatal(err)
	}
	rows := 0
	for b.Loop() {
		r, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Latest: today})
		if err != nil {
			b.Fatal(err)
		}
		rows += r.Received
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(rows), "ns/row")
}
