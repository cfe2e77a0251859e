package weather_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // The changes of clocks must be those of the tests.

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"ripetide/weather"
)

// zone loads a time zone.
func zone(tb testing.TB, name string) *time.Location {
	tb.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		tb.Fatal(err)
	}
	return z
}

// readTable reads body as a table.
func readTable(tb testing.TB, body string, opt weather.ReadOptions) (*weather.Reading, error) {
	tb.Helper()
	opt.Format = "table"
	if opt.Latest == 0 {
		opt.Latest = today
	}
	return weather.Read(strings.NewReader(body), opt)
}

// tableFinding returns what a reading found.
func tableFinding(r *weather.Reading, what string) string {
	for _, f := range r.Findings {
		if f.What == what {
			return f.Found
		}
	}
	return ""
}

// told is a reading as text: days with 0.01 °C, then refusals.
func told(r *weather.Reading) string {
	var b strings.Builder
	for _, d := range r.Days {
		fmt.Fprintf(&b, "%s %.2f %.2f\n", d.Date, d.Min, d.Max)
	}
	for _, f := range r.Refused {
		fmt.Fprintf(&b, "row %d %s: %s\n", f.Row, f.Date, f.Reason)
	}
	return b.String()
}

func logger(tb testing.TB, name string) string {
	tb.Helper()
	body, err := os.ReadFile(filepath.Join("../testdata/weather/formats", name))
	if err != nil {
		tb.Fatal(err)
	}
	return string(body)
}

// The samples are described in testdata/README.md. Extremes were read off
// their columns with sort(1).
func TestTableSamples(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		file, zone string
		opt        weather.ReadOptions
		want       string
		blank      int
		findings   map[string]string
	}{
		{
			// 46.1 °F = 14.1·5/9 = 7.83 °C at night, 57.6 °F = 25.6·5/9 = 14.22
			// °C at 16:30, on both days. The two rows of events lie on a third.
			file: "logger_titleblock_us_fahrenheit_SPEC.csv", zone: "America/New_York",
			opt:   weather.ReadOptions{Dates: weather.MonthFirst},
			want:  "2026-05-10 7.83 14.22\n2026-05-11 7.83 14.22\n",
			blank: 1,
			findings: map[string]string{
				"cells":    "parted by commas",
				"preamble": "1 line before the heading passed over",
				"columns":  `date in "Date Time, GMT-04:00", temperature in "Temp, °F (LGR S/N: 20338010, SEN S/N: 20…"`,
				"dates":    `month before the day, by the request; "05/10/26" is 2026-05-10`,
				"unit":     "°F, by the heading",
				"clock":    "times are UTC-04:00, by the heading; days are those of America/New_York",
				"step":     "30 min, 96 readings",
				"days":     "2 kept, 0 too thin: a day needs 90 % of its readings and no stretch without one longer than 2 h",
				"missing":  "2 rows without a temperature passed over",
				"sensor":   "did not move by 0.1 °C for 6 h or more 2 times, first from 2026-05-10 17:00: it may be dead",
			},
		},
		{
			file: "logger_easylog_style_dmy_celsius_SPEC.csv", zone: "Europe/London",
			opt: weather.ReadOptions{Dates: weather.DayFirst},
			want: "row 1 2026-05-09: 1 of 48 readings, the longest stretch without one is 23 h 30 min\n" +
				"row 2 2026-05-10: 3 of 48 readings, the longest stretch without one is 23 h\n",
			findings: map[string]string{
				"columns": `date in "Time", temperature in "Celsius(°C)"`,
				"unit":    "°C, by the heading",
				"clock":   "times are taken as those of the farm's own clock, Europe/London",
			},
		},
		{
			// The day of the spring change has 23 hours, 46 half hours. 03:30 to
			// its end are 20 h 30 min.
			file: "logger_semicolon_decimal_comma_utf8bom_SPEC.csv", zone: "Europe/Berlin",
			want: "row 1 2026-03-29: 3 of 46 readings, the longest stretch without one is 20 h 30 min\n" +
				"row 4 2026-03-30: 2 of 48 readings, the longest stretch without one is 23 h 30 min\n",
			findings: map[string]string{
				"cells":    "parted by semicolons, decimal comma",
				"encoding": "UTF-8 with a byte order mark",
				"columns":  `date in "Datum", time in "Uhrzeit", temperature in "Temperatur [°C]"`,
				"dates":    `day before the month, as "29.03.2026" shows; "29.03.2026" is 2026-03-29`,
				"missing":  "1 row without a temperature passed over",
			},
		},
		{
			// 26 October 2025 has 25 hours and 50 readings; 1,2 in the second
			// hour from 02:00 to 03:00, 13,4 at 14:30.
			file: "logger_semicolon_decimal_comma_cp1252_SPEC.csv", zone: "Europe/Berlin",
			want: "2025-10-26 1.20 13.40\n" +
				"row 1 2025-10-25: 4 of 48 readings, the longest stretch without one is 22 h\n" +
				"row 55 2025-10-27: 3 of 48 readings, the longest stretch without one is 23 h\n",
			findings: map[string]string{"encoding": "Windows-1252, for it is no valid UTF-8", "repeats": ""},
		},
		{
			file: "logger_iso_offset_clean_SPEC.csv", zone: "America/New_York",
			want: "row 1 2026-05-10: 3 of 96 readings, the longest stretch without one is 23 h 15 min\n",
			findings: map[string]string{
				"clock": "times tell their offset from UTC; days are those of America/New_York",
				"step":  "15 min, 3 readings",
				"unit":  "°C, by the heading",
			},
		},
		{
			// 50.0 °F at 4:00, 72.0 °F at 16:00; 7:00 to midnight of the 14th
			// and 2:00 to midnight of the 16th are not there.
			file: "logger_utf16le_tab_SPEC.txt", zone: "America/Chicago",
			want: "2026-05-15 10.00 22.22\n" +
				"row 1 2026-05-14: 1 of 24 readings, the longest stretch without one is 23 h\n" +
				"row 26 2026-05-16: 3 of 24 readings, the longest stretch without one is 22 h\n",
			findings: map[string]string{
				"encoding": "UTF-16", "cells": "parted by tabs",
				"dates": `month before the day, as "05/14/2026" shows; "05/14/2026" is 2026-05-14`,
			},
		},
		{
			// 46 °F = 70/9 °C, 67 °F = 175/9, 48 °F = 80/9, 71 °F = 195/9.
			file: "logger_daily_minmax_mixed_units_SPEC.csv", zone: "UTC",
			want: "2026-05-08 7.78 19.44\n2026-05-09 8.89 21.67\n2026-05-10 9.50 21.70\n" +
				"row 4 2026-05-11: max is missing\nrow 5 2026-05-12: min 55 °F is above max 49 °F\n" +
				"row 6 2026-05-12: date 2026-05-12 is also in row 5, with other values\n",
			findings: map[string]string{
				"columns": `date in "Date", min in "Low", max in "High", unit in "Unit"`,
				"unit":    "°C in 2 values, °F in 9, as each row tells",
			},
		},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			tt.opt.Zone, tt.opt.Latest = zone(t, tt.zone), today
			r, err := weather.Read(strings.NewReader(logger(t, tt.file)), tt.opt)
			if err != nil {
				t.Fatal(err)
			}
			mustAddUp(t, r)
			if r.Format != "table" || told(r) != tt.want || r.Blank != tt.blank {
				t.Errorf("format %s, %d blank, got\n%swant\n%s", r.Format, r.Blank, told(r), tt.want)
			}
			for what, want := range tt.findings {
				if got := tableFinding(r, what); got != want {
					t.Errorf("%s: %s\nwant %s", what, got, want)
				}
			}
		})
	}
}

// hours are 24 readings of a day, on the hour, between -1.5 and 21.5 °C: lo at
// 4 and hi at 15 o'clock; each line is made by line of the hour and the text of
// the temperature.
func hours(line func(hour int, temp string) string) string {
	var b strings.Builder
	for h := range 24 {
		temp := 10 + math.Round(10*6*math.Sin(float64(h-9)*math.Pi/12))/10
		switch h {
		case 4:
			temp = -1.5
		case 15:
			temp = 21.5
		}
		b.WriteString(line(h, strconv.FormatFloat(temp, 'f', 1, 64)) + "\n")
	}
	return b.String()
}

const theDay = "2026-05-20 -1.50 21.50\n" // What hours come to.

func comma(s string) string { return strings.ReplaceAll(s, ".", ",") }

// hour12 is an hour on a clock of twelve.
func hour12(h int) (hour int, half string) { return (h+11)%12 + 1, [...]string{"AM", "PM"}[h/12] }

func TestTableNastyFiles(t *testing.T) {
	t.Parallel()
	iso := func(h int, temp string) string { return fmt.Sprintf("2026-05-20 %02d:00,%s", h, temp) }
	for _, tt := range []struct {
		name, body string
		opt        weather.ReadOptions
		want       string
		findings   map[string]string
	}{
		{
			name: "a logger of dataloggers' format with names, units and kinds of values in four lines",
			body: `"TOA5","farm","CR1000","4711","CR1000.Std.32","CPU:farm.CR1","1234","Table1"` + "\n" +
				`"TIMESTAMP","RECORD","BattV_Avg","PTemp_C_Avg","AirTC_Avg","RH"` + "\n" +
				`"TS","RN","Volts","Deg C","Deg C","%"` + "\n" + `"","","Avg","Avg","Avg","Smp"` + "\n" +
				hours(func(h int, temp string) string {
					return fmt.Sprintf(`"2026-05-20 %02d:00:00",%d,12.9,99.1,%s,50`, h, h, temp)
				}),
			want: theDay,
			findings: map[string]string{
				"columns":  `date in "TIMESTAMP", temperature in "AirTC_Avg"`,
				"preamble": "1 line before the heading passed over",
				"notes":    `2 rows without a date and a temperature passed over, first row 1: "TS RN Volts Deg C Deg C %"`,
			},
		},
		{
			name: "a heading of two lines, 12 hours with one letter, dashes, °F, columns of the same name",
			body: "\t\tTemp\tHi\tLow\tOut\tDew\tWind\tIn\tSoil 1\n" +
				"Date\tTime\tOut\tTemp\tTemp\tHum\tPt.\tChill\tTemp\tTemp.\n" +
				hours(func(h int, temp string) string {
					c, _ := strconv.ParseFloat(temp, 64)
					hour, half := hour12(h)
					return fmt.Sprintf("5/20/26\t%d:00%s\t%.2f\t99\t11\t%d\t---\t0.0\t70.0\t60", hour, strings.ToLower(half[:1]), c*9/5+32, 50+h)
				}),
			opt: weather.ReadOptions{Unit: weather.Fahrenheit}, want: theDay,
			findings: map[string]string{"columns": `date in "Date", time in "Time", temperature in "Temp Out"`},
		},
		{
			name: "pages of preamble with words of a heading in it, sep=, blank lines and a footer",
			body: "sep=;\nReport: date range 01.05.2026, temperature logger; site 4\n" + strings.Repeat("\nSome; prose; with cells\n", 90) +
				"Datum/Zeit;Lufttemperatur 2 m über Grund (�C);Bodentemperatur (°C);Taupunkttemperatur (°C)\n" +
				hours(func(h int, temp string) string {
					return fmt.Sprintf("20.05.2026 %02d.00.00;1;2;3\n20.05.2026 %d:00;%s;99,0;-40,0", h, h, comma(temp))
				}) + "Ende der Aufzeichnung;;;\n",
			want: theDay + strings.Join(func() (bad []string) {
				for h := range 24 {
					bad = append(bad, fmt.Sprintf("row %d 20.05.2026 %02d.00.00: date \"20.05.2026 %02d.00.00\" is no date\n", 2*h+1, h, h))
				}
				return bad
			}(), ""),
			findings: map[string]string{
				"preamble": "92 lines before the heading passed over",
				"notes":    `1 row without a date and a temperature passed over, first row 49: "Ende der Aufzeichnung"`,
			},
		},
		{
			name: "decimal commas in quotes between commas, a unit behind each number, two units",
			body: "zeitpunkt,außentemperatur\n" + hours(func(h int, temp string) string {
				if h%2 == 1 && h != 15 {
					c, _ := strconv.ParseFloat(temp, 64)
					return fmt.Sprintf(`2026-05-20T%02d:00,"%s °F"`, h, comma(fmt.Sprintf("%.2f", c*9/5+32)))
				}
				return fmt.Sprintf(`2026-05-20T%02d:00,"%s °C"`, h, comma(temp))
			}),
			want: theDay,
			findings: map[string]string{
				"cells": "parted by commas, decimal comma",
				"unit":  "°C in 13 values, °F in 11, as each row tells",
			},
		},
		{
			name: "the newest first, each line twice, lines that end in CR",
			body: func() string {
				lines := strings.Split(strings.TrimSpace(hours(iso)), "\n")
				slices.Reverse(lines)
				var twice []string
				for _, l := range lines {
					twice = append(twice, l, l)
				}
				return "time,temp_c\r" + strings.Join(twice, "\r") + "\r"
			}(),
			want:     theDay,
			findings: map[string]string{"repeats": "24 readings that an earlier row had given"},
		},
		{
			name: "one moment twice with different values",
			body: "time,temp_c\n" + hours(iso) + "2026-05-20 13:00,3\n",
			want: "row 1 2026-05-20: rows 14 and 25 differ about 13:00:00\n",
		},
		{
			name: "marks for missing, words, impossible numbers and thousands, which do not spoil a day",
			body: "time;temp °C\n" + hours(func(h int, temp string) string {
				bad := [...]string{"", "-", "--", "---", "NaN", "NA", "n/a", "null", "#N/A", "M", "-9999", "-999.0", "-99.9", "err", "1.234,5", "61", "-91", "<5", "85 %"}
				rows := fmt.Sprintf("2026-05-20 %02d:00;%s", h, temp)
				if h < len(bad) {
					rows = fmt.Sprintf("2026-05-20 %02d:30;%s\n", h, bad[h]) + rows
				}
				for _, m := range []int{6, 12, 18, 24, 36, 42, 48, 54} {
					rows += fmt.Sprintf("\n2026-05-20 %02d:%02d;10", h, m)
				}
				return rows
			}),
			want: theDay,
			findings: map[string]string{
				"missing":    "13 rows without a temperature passed over",
				"unreadable": "4 readings passed over, first row 131: err",
				"impossible": "2 readings below -90 or above 60 °C passed over, first row 151: 61 °C",
			},
		},
		{
			name: "serial numbers of a spreadsheet", // 46162 is 2026-05-20: 25569 + 20593 days since 1970.
			body: "Date;Temp C\n" + hours(func(h int, temp string) string {
				return comma(fmt.Sprintf("%.10g;%s", 46162+float64(h)/24, temp))
			}),
			want:     theDay,
			findings: map[string]string{"dates": "serial numbers of a spreadsheet, counted from 1900"},
		},
		{
			name: "seconds since 1970", // 1779228000 is 2026-05-20 00:00 in Berlin, by date(1).
			body: "epoch time|temp C\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("%d|%s", 1779228000+3600*h, temp)
			}),
			opt: weather.ReadOptions{Zone: zone(t, "Europe/Berlin")}, want: theDay,
			findings: map[string]string{"clock": "times are instants; days are those of Europe/Berlin"},
		},
		{
			name: "names of months, days of the week, a.m., commas within quotes",
			body: "Day,Temperature [deg F]\n" + hours(func(h int, temp string) string {
				c, _ := strconv.ParseFloat(temp, 64)
				hour, half := hour12(h)
				return fmt.Sprintf(`"Wednesday, May 20, 2026 %d:00:00 %s",%.2f`, hour, [...]string{"a.m.", "p.m."}[count(half == "PM")], c*9/5+32)
			}),
			want:     theDay,
			findings: map[string]string{"dates": `with the name of the month; "Wednesday, May 20, 2026" is 2026-05-20`},
		},
		{
			name: "hours in a column of their own, 24 for the end of the day before",
			body: "fecha\thora\ttemperatura media (°C)\n2026/05/19\t24\t5\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("2026/05/20\t%d\t%s", h, temp)
			})[len("2026/05/20\t0\t5.8\n"):],
			want: "2026-05-20 -1.50 21.50\n",
		},
		{
			name: "only some rows have a decimal comma too many",
			body: "time,temp_c,rain\n2026-05-20 00:00,5,1,0\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("2026-05-20 %02d:00,%s,0", h, temp)
			}) + "2026-05-20 23:30,31,5,0\n",
			want:     theDay,
			findings: map[string]string{"unreadable": "2 readings passed over, first row 1: row has 4 cells instead of 3, is a comma…"},
		},
		{
			name: "cut off within the last number",
			body: "time,temp_c,rh\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("2026-05-20 %02d:00,%s,50", h, temp)
			}) + "2026-05-20 23:30,-9",
			want:     theDay,
			findings: map[string]string{"unreadable": "1 reading passed over, first row 25: row has 2 of 3 cells, it is cut off"},
		},
		{
			name: "an open quote costs its line",
			body: "time,temp_c\n" + hours(iso) + "\"2026-05-20 23:30,99\n",
			want: theDay,
		},
		{
			name: "tenths of a degree",
			body: "time,temp 0.1 °C\n" + strings.ReplaceAll(hours(iso), ".", ""),
			want: theDay,
		},
		{
			name: "a short name of the farm's own offset",
			body: "time,temp_c\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("2026-05-20 %02d:00 EDT,%s", h, temp)
			}),
			opt: weather.ReadOptions{Zone: zone(t, "America/New_York")}, want: theDay,
		},
		{
			name: "a short name that is not the farm's",
			body: "time,temp_c\n" + hours(iso) + "2026-05-20 12:30 IST,30\n",
			opt:  weather.ReadOptions{Zone: zone(t, "America/New_York")}, want: theDay,
			findings: map[string]string{"unreadable": `1 reading passed over, first row 25: time "12:30 IST" is none`},
		},
		{
			name: "offsets in some rows",
			body: "time,temp_c\n" + hours(iso) + "2026-05-20 12:30+00:00,30\n",
			want: theDay,
			findings: map[string]string{
				"unreadable": "1 reading passed over, first row 25: its time has an offset from UTC, those o…",
			},
		},
		{
			name: "days, of a spreadsheet that writes midnight, in five spellings, with blanks and errors",
			body: "Tag;Tiefsttemperatur;Höchsttemperatur (°C)\n" +
				"20.05.2026 00:00:00;4,5;21\n21.5.26;5;22\n22. Mai 2026;-;---\n2026-05-23;x;20\n20260524;7;\n25.05.2026;8 °C;70 °F\n31.06.2026;8;9\nSumme;;\n;1;2\n",
			want: "2026-05-20 4.50 21.00\n2026-05-21 5.00 22.00\n2026-05-25 8.00 21.11\n" +
				"row 4 2026-05-23: min \"x\" is not a number\nrow 5 2026-05-24: max is missing\n" +
				"row 7 31.06.2026: date \"31.06.2026\" is not in the calendar with the day before the month\n" +
				"row 9 : date is empty\n",
			findings: map[string]string{"columns": `date in "Tag", min in "Tiefsttemperatur", max in "Höchsttemperatur (°C)"`},
		},
		{
			name: "days, of a logger that stamps them when they are over",
			body: `"TOA5","farm","CR1000","4711","CR1000.Std.32","CPU:farm.CR1","1234","Daily"` + "\n" +
				`"TIMESTAMP","RECORD","AirTC_Max","AirTC_Min"` + "\n" + `"TS","RN","Deg C","Deg C"` + "\n" + `"","","Max","Min"` + "\n" +
				`"2026-05-21 00:00:00",0,21.5,-1.5` + "\n" + `"2026-06-10 00:00:00",1,20,4` + "\n" + `"2026-06-11 00:00:00",1,20,"NAN"` + "\n",
			want: theDay + "2026-06-09 4.00 20.00\nrow 5 2026-06-10: min is missing\n",
			findings: map[string]string{
				"days": `a row stamped at midnight is of the day that ends there, as in files that begin with "TOA5"`, "time": "",
			},
		},
		{
			name:     "days that the same logger stamps at nine, which says nothing of their date",
			body:     "TOA5,farm\nTIMESTAMP,AirTC_Max,AirTC_Min\n2026-05-20 09:00:00,21.5,-1.5\n2026-05-21 00:00:00,20,4\n",
			want:     theDay + "2026-05-21 4.00 20.00\n",
			findings: map[string]string{"days": "", "time": "the time of day of a row is passed over"},
		},
		{
			name: "today and days to come",
			body: "time,temp_c\n" + hours(func(h int, temp string) string { return fmt.Sprintf("2026-06-10 %02d:00,%s", h, temp) }) +
				hours(func(h int, temp string) string { return fmt.Sprintf("2026-06-12 %02d:00,%s", h, temp) }),
			want: "row 1 2026-06-10: date 2026-06-10 is today, which is not over\nrow 25 2026-06-12: date 2026-06-12 is after today\n",
		},
		{
			name: "rows of two stations, of which one is wanted",
			body: "Station;Time;Temp C\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("north;2026-05-20 %02d:00;%s\nsouth;2026-05-20 %02d:00;30", h, temp, h)
			}),
			opt: weather.ReadOptions{Station: "North"}, want: theDay,
		},
		{
			name: "two pairs of extremes, of which one is wanted",
			body: "date,t1 min,t1 max,t2 min,t2 max\n2026-05-20,1,2,-1.5,21.5\n",
			opt:  weather.ReadOptions{Column: "T2 MAX", Unit: weather.Celsius}, want: theDay,
		},
		{
			name: "the soil, because it is wanted",
			body: "date,air temp_c,soil temp_c\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("2026-05-20 %02d:00,99,%s", h, temp)
			}),
			opt: weather.ReadOptions{Column: "Soil Temp_C"}, want: theDay,
		},
		{
			name: "a column of another time beside whole stamps",
			body: "Timestamp;Zeit;temp_c\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("2026-05-20 %02d:00;%02d:30;%s", h, (h+5)%24, temp)
			}),
			want:     theDay,
			findings: map[string]string{"columns": `date in "Timestamp", temperature in "temp_c"`},
		},
		{
			name: "two columns of one name, of which the second is wanted",
			body: "date,temp,temp\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("2026-05-20 %02d:00,99,%s", h, temp)
			}),
			opt: weather.ReadOptions{Column: "temp (column 3)", Unit: weather.Celsius}, want: theDay,
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tt.opt.Latest = today
			r, err := weather.Read(strings.NewReader(tt.body), tt.opt)
			if err != nil {
				t.Fatal(err)
			}
			mustAddUp(t, r)
			if r.Format != "table" || told(r) != tt.want {
				t.Errorf("format %s, got\n%swant\n%s%v", r.Format, told(r), tt.want, r.Findings)
			}
			for what, want := range tt.findings {
				if got := tableFinding(r, what); got != want {
					t.Errorf("%s: %s\nwant %s", what, got, want)
				}
			}
		})
	}
}

// Units that change do not contradict a request; the reading is in that of most.
func TestTableUnitsThatChange(t *testing.T) {
	t.Parallel()
	body := "date;low;high;unit\n2026-05-20;50;68;F\n2026-05-21;50;68;°F\n2026-05-22;10;20;K\n2026-05-23;10;20;C\n"
	want := "2026-05-20 10.00 20.00\n2026-05-21 10.00 20.00\n2026-05-23 10.00 20.00\nrow 3 2026-05-22: unit \"K\" is neither C nor F\n"
	for _, said := range []weather.Unit{"", "C", "F"} {
		r, err := readTable(t, body, weather.ReadOptions{Unit: said})
		if err != nil || told(r) != want || r.Unit != "F" {
			t.Errorf("%q: %v, %v", said, r, err)
		}
	}
}

// Cells beyond the heading are not the decimals of one, but between commas;
// a station that is not named in each row is one station.
func TestTableCellsBeyond(t *testing.T) {
	t.Parallel()
	r, err := readTable(t, "station;time;temp_c\n"+hours(func(h int, temp string) string {
		return fmt.Sprintf("%s;2026-05-20 %02d:00;%s;x;y", strings.Repeat("north", count(h%5 == 1)), h, temp)
	}), weather.ReadOptions{})
	if err != nil || told(r) != theDay {
		t.Errorf("%v, %v", r, err)
	}
}

// A line under the heading tells the unit; so may a column that is not chosen
// yet, and a row of a day is no worse for a time that is none.
func TestTableUnitUnderTheHeading(t *testing.T) {
	t.Parallel()
	r, err := readTable(t, "time;temp;rh\n;deg F;%\n2026-05-20 12:00;50;1\n2026-05-20 13:00;50;1\n", weather.ReadOptions{})
	if err != nil || r.Unit != "F" || tableFinding(r, "unit") != "°F, by the line under the heading" {
		t.Errorf("%v, %v", r, err)
	}
	_, err = readTable(t, "time;temp 1 °C;temp 2 °F\n2026-05-20 12:00;50;1\n2026-05-20 13:00;50;1\n", weather.ReadOptions{Unit: "F"})
	if !errors.Is(err, weather.ErrAmbiguous) {
		t.Errorf("%v", err)
	}
	r, err = readTable(t, "date;min;max\n2026-05-20 7 o:clock;1;2\n2026-05-21 07:61;1;2\n", weather.ReadOptions{Unit: "C"})
	if err != nil || told(r) != "2026-05-21 1.00 2.00\nrow 1 2026-05-20 7 o: date \"2026-05-20 7 o\" is no date\n" {
		t.Errorf("%v, %v", r, err)
	}
}

// A column of times that holds none is passed over.
func TestTableTimesThatAreNone(t *testing.T) {
	t.Parallel()
	r, err := readTable(t, "date;time zone;temp_c\n"+hours(func(h int, temp string) string {
		return fmt.Sprintf("46162,%d;CET;%s", h*10000/24, temp)
	})+"46163;CET;1\n", weather.ReadOptions{})
	if err != nil || tableFinding(r, "columns") != `date in "date", temperature in "temp_c"` {
		t.Errorf("%v, %v", r, err)
	}
	if r, err := readTable(t, "date;time;temp_c\n2026-05-20;noon;1\n2026-05-21;noon;1\n", weather.ReadOptions{}); !errors.Is(err, weather.ErrNoRows) || !strings.Contains(err.Error(), "24 h apart") {
		t.Errorf("%v, %v", r, err)
	}
}

// A column that is no temperature of air by its name makes a heading only if it
// is wanted.
func TestTableColumnThatIsWanted(t *testing.T) {
	t.Parallel()
	body := "date,soil probe [°C]\n" + hours(func(h int, temp string) string { return fmt.Sprintf("2026-05-20 %02d:00,%s", h, temp) })
	r, err := readTable(t, body, weather.ReadOptions{Column: "soil  PROBE [°C]"})
	if err != nil || told(r) != theDay {
		t.Errorf("%v, %v", r, err)
	}
	if r, err := readTable(t, body, weather.ReadOptions{}); !errors.Is(err, weather.ErrBadHeader) {
		t.Errorf("not wanted: %v, %v", r, err)
	}
}

func count(is bool) int {
	if is {
		return 1
	}
	return 0
}

func TestTableAsks(t *testing.T) {
	t.Parallel()
	type answers map[string][]string
	for _, tt := range []struct {
		name, body string
		opt        weather.ReadOptions
		want       answers
		says       string
	}{
		{
			"the unit", "date;min;max\n2026-05-01;1;2\n", weather.ReadOptions{},
			answers{"unit": {"C", "F"}}, "does not tell its unit",
		},
		{
			"the order of dates", "time,temp_c\n05/06/2026 12:00,1\n05/07/2026 12:00,2\n", weather.ReadOptions{},
			answers{"dates": {"dmy", "mdy"}}, `"05/06/2026" in row 1`,
		},
		{
			"the order of dates that prove both", "time,temp_c\n05/06/2026 12:00,1\n25/06/2026 12:00,2\n06/25/2026 12:00,2\n", weather.ReadOptions{},
			answers{"dates": {"dmy", "mdy"}}, `Row 2 has the date "25/06/2026", in which the day comes first, and row 3 "06/25/2026"`,
		},
		{
			"whether a year comes first that moves less than the last part", "time,temp_c\n26/05/10 12:00,1\n26/05/11 12:00,2\n", weather.ReadOptions{},
			answers{"dates": {"dmy", "ymd"}}, `"26/05/10"`,
		},
		{
			"whether a year comes first, with a dash", "time,temp_c\n10-05-11 12:00,1\n10-05-11 12:30,1\n", weather.ReadOptions{},
			answers{"dates": {"dmy", "mdy", "ymd"}}, "whether the day or the month or the year comes first",
		},
		{
			"the column", "time,temp 1 (°C),temp 2 (°C),humidity\n2026-05-20 12:00,1,2,3\n2026-05-20 13:00,1,2,3\n", weather.ReadOptions{},
			answers{"column": {"temp 1 (°C)", "temp 2 (°C)"}}, `2 columns that may be the temperature of the air, "temp 1 (°C)", "temp 2 (°C)"`,
		},
		{
			"the column of days", "date,min a,max a,min b,max b\n2026-05-20,1,2,3,4\n", weather.ReadOptions{Unit: "C"},
			answers{"column": {"min a", "min b"}}, "2 columns",
		},
		{
			"the station", "station,time,temp_c\nnorth,2026-05-20 12:00,1\nsouth,2026-05-20 12:00,2\n", weather.ReadOptions{},
			answers{"source_station": {"north", "south"}}, `"station"`,
		},
		{
			"all at once", "node;time;temp a;temp b\n1;05/06/26 12:00;1;2\n2;05/06/26 13:00;1;2\n", weather.ReadOptions{},
			answers{"unit": {"C", "F"}, "dates": {"dmy", "mdy"}, "column": {"temp a", "temp b"}, "source_station": {"1", "2"}}, "unit",
		},
		{
			"the unit of values that do not tell it", "time,temp\n2026-05-20 12:00,1 °C\n2026-05-20 13:00,2\n", weather.ReadOptions{},
			answers{"unit": {"C", "F"}}, "unit",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r, err := readTable(t, tt.body, tt.opt)
			var file *weather.FileError
			if r != nil || !errors.As(err, &file) || !errors.Is(err, weather.ErrAmbiguous) || !strings.Contains(file.Detail(), tt.says) {
				t.Fatalf("got %v, %v", r, err)
			}
			if _, unit := tt.want["unit"]; unit != errors.Is(err, weather.ErrUnitUnknown) {
				t.Errorf("unit unknown: %v", err)
			}
			if len(file.Detail()) > 700 || len(file.Questions()) != len(tt.want) {
				t.Fatalf("detail %s, questions %v", file.Detail(), file.Questions())
			}
			for _, q := range file.Questions() {
				if !slices.Equal(q.Choices, tt.want[q.Option]) {
					t.Errorf("%s: choices %q, want %q", q.Option, q.Choices, tt.want[q.Option])
				}
			}
		})
	}
}

func TestTableRefusesFiles(t *testing.T) {
	t.Parallel()
	row := "2026-05-20 12:00,1,2\n2026-05-20 13:00,1,2\n"
	for _, tt := range []struct {
		name, body string
		opt        weather.ReadOptions
		want       error
		says       string
	}{
		{"no heading", row, weather.ReadOptions{}, weather.ErrBadHeader, "it must name a column of dates, such as date, time or timestamp, or year, month and day, and one of temperatures"},
		{"a heading without dates", "place,temp\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, "must name"},
		{"a heading without temperatures", "date,rain\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, "must name"},
		{"only of the soil", "date,soil temp\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, "must name"},
		{"a heading too far down", strings.Repeat("x\n", 101) + "date,temp_c\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, "near the beginning"},
		{"min without max", "date,min_c\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, `a min, "min_c", but no max`},
		{"max without min", "date;high °C\n" + row, weather.ReadOptions{}, weather.ErrBadHeader, `a max, "high °C", but no min`},
		{"extremes within the day", "time;min °C;max °C\n2026-05-20 12:00;1;2\n2026-05-20 13:00;1;2\n", weather.ReadOptions{}, weather.ErrBadHeader, "rows lie within the day"},
		{"two units", "date;min °C;max °F\n2026-05-20;1;2\n", weather.ReadOptions{}, weather.ErrBadHeader, `"min °C" and "max °F" do not tell the same unit`},
		{"kelvin", "date;temp (K)\n2026-05-20 12:00;288\n", weather.ReadOptions{}, weather.ErrBadHeader, "kelvin"},
		{"no such column", "date,temp_c\n" + row, weather.ReadOptions{Column: "probe"}, weather.ErrBadHeader, `no column "probe"; it has "date", "temp_c"`},
		{"a heading only", "date;temp_c\n", weather.ReadOptions{}, weather.ErrNoRows, "no rows"},
		{"a heading and notes", "date;temp_c\nstarted;\n", weather.ReadOptions{}, weather.ErrNoRows, `the first is "started"`},
		{"no date that can be read", "date;temp_c\nsoon;12\nlater;13\n", weather.ReadOptions{}, weather.ErrNoRows, `"soon"`},
		{"no temperature that can be read", "date;temp_c\n2026-05-20 12:00;a\n", weather.ReadOptions{}, weather.ErrNoRows, `temperature in "temp_c"`},
		{"one moment", "date;temp_c\n2026-05-20 12:00;1\n", weather.ReadOptions{}, weather.ErrNoRows, "of one moment"},
		{"a reading a day", "date;temp_c\n2026-05-20;1\n2026-05-21;1\n2026-05-22;1\n", weather.ReadOptions{}, weather.ErrNoRows, "usually 24 h apart"},
		{"a reading every four hours", "date;temp_c\n2026-05-20 00:00;1\n2026-05-20 04:00;1\n2026-05-20 08:00;1\n", weather.ReadOptions{}, weather.ErrNoRows, "usually 4 h apart: a day's min and max need one every 3 h"},
		{"another unit than said", "date;temp_c\n2026-05-20 00:00;1\n", weather.ReadOptions{Unit: "F"}, weather.ErrUnitConflict, "°C, the request says °F"},
		{"another unit than said, behind the numbers", "date;temp\n2026-05-20 00:00;1 °C\n", weather.ReadOptions{Unit: "F"}, weather.ErrUnitConflict, "°C, the request says °F"},
		{"another order than said", "date;temp_c\n25/05/2026 00:00;1\n26/05/2026 00:00;1\n05/06/2026 00:00;1\n", weather.ReadOptions{Dates: "mdy"}, weather.ErrAmbiguous, `month before the day, but 2 of 3 dates, such as "25/05/2026" in row 1`},
		{"no such station", "station;date;temp_c\nnorth;2026-05-20 12:00;1\n", weather.ReadOptions{Station: "south"}, weather.ErrNoRows, `no row is of the station "south"; the file has "north"`},
		{
			"°F as °C", "time;temp\n" + hours(func(h int, _ string) string { return fmt.Sprintf("2026-05-20 %02d:00;%d", h, 50+h) }), weather.ReadOptions{Unit: "C"},
			weather.ErrWrongUnit, "13 of 24 readings are above 60 °C",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r, err := readTable(t, tt.body, tt.opt)
			var file *weather.FileError
			if r != nil || !errors.Is(err, tt.want) || !errors.As(err, &file) || !strings.Contains(file.Detail(), tt.says) {
				t.Fatalf("got %v, %v; want %v: … %s …", r, err, tt.want, tt.says)
			}
			if len(file.Detail()) > 400 {
				t.Errorf("detail %q", file.Detail())
			}
		})
	}
}

// What is a table and what is not, by content alone.
func TestTableRecognises(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		body string
		want bool
	}{
		{"Date,Low,High\n2026-05-20,1,2\n", true},
		{"[Header]\nsome=1\n[Data]\nTimestamp\tTemp\n2026-05-20 12:00\t1\n", true},
		{"Timestamp for sample frequency every 15 min min,Temperature_Celsius,Relative_Humidity\n2026-05-20 12:00,1,2\n", true},
		{"Time,Temp.(℃),Hum.(%)\n2026-05-20 12:00,1,2\n", true},
		{"heure;température ext. (°C)\n20/05/2026 12:00;1\n", true},
		{"Data;Temperatura massima;Temperatura minima\n20/05/2026;1;2\n", true},
		{"Datum;Laagste;Hoogste\n20-05-2026;1;2\n", true},
		{"Fecha;Mínima;Máxima\n20/05/2026;1;2\n", true},
		{`{"date":"2026-05-20","temp":1,"x":2}`, false},
		{"[\n{\"date\": \"2026-05-20\", \"temp\": 1}]", false},
		{"<table>\ndate,temp\n2026-05-20,1\n", false},
		{"date temp\n2026-05-20 1\n", false},
		{"Dear Sir,\non that date, the temperature was low,\n", false},
		{"High Temp Time,Low Alarm\n2026-05-20 12:00,1\n", false},
		{"time,dew point (°C),wind chill,heat index,battery,soil temp,indoor temp\n2026-05-20 12:00,1,1,1,1,1,1\n", false},
		{"{date,temp\n2026-05-20,1\n", false},
		{"[ [date,temp\n2026-05-20,1\n", false},
		{"Temp Time,Temp\n2026-05-20 12:00,1\n", false},
		{"Max Time,Temp\n2026-05-20 12:00,1\n", false},
		{"STATIONS_ID;Datum;Temp\n1;2026-05-20;2\n", false},
		{"date;temp_c;temp_qflag\n2026-05-20;1;\n", false},
		{"STATION;DATE;TMAX;TMAX_ATTRIBUTES;TMIN\nX;2026-05-20;1;;2\n", false},
		{"Date/Time;Climate ID;Max Temp (°C);Min Temp (°C)\n2026-05-20;1;2;1\n", false},
	} {
		_, err := weather.Read(strings.NewReader(tt.body), weather.ReadOptions{Latest: today})
		if got := !errors.Is(err, weather.ErrUnknownFormat) && !errors.Is(err, weather.ErrOutlook); got != tt.want {
			t.Errorf("%.40q: %v", tt.body, err)
		}
	}
}

// Units in headings, with all the ways in which a degree sign is spoilt.
func TestTableUnitOfHeading(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		heading string
		want    weather.Unit
	}{
		{"Temp (°C)", "C"}, {"Temp (°F)", "F"}, {"temp_c", "C"}, {"temp_f", "F"}, {"Temp C", "C"}, {"Temp [F]", "F"},
		{"Temp deg C", "C"}, {"Temperature, degrees F", "F"}, {"Temperature_Celsius", "C"}, {"Temperature (Fahrenheit)", "F"},
		{"tempf", "F"}, {"tempC", "C"}, {"Temp (\uFFFDC)", "C"}, {"Temp (?F)", "F"}, {"Temp (Â°C)", "C"}, {"Temp (ºC)", "C"},
		{"Temp (˚F)", "F"}, {"Temp (℃)", "C"}, {"Temp (℉)", "F"}, {"Temp (øC)", "C"}, {"Temp (¡F)", "F"},
		{"Temp F, °C", "C"}, // The letter is the sensor's.
		{"Temp in °C", "C"}, {"Temperatur in Grad Celsius", "C"}, {"Temp in Fahrenheit", "F"},
		{"Temp, 1/10 °C", "tenths"}, {"Temp (0,1 °C)", "tenths"},
		{"Temp", ""}, {"Temp (°C/°F)", ""}, {"Temperature Celsius or Fahrenheit", ""}, {"Temp sensor C or F", ""},
	} {
		r, err := readTable(t, "time;"+tt.heading+"\n"+hours(func(h int, temp string) string {
			return fmt.Sprintf("2026-05-20 %02d:00;%s", h, temp)
		}), weather.ReadOptions{})
		if tt.want == "" {
			if !errors.Is(err, weather.ErrUnitUnknown) {
				t.Errorf("%s: %v, %v", tt.heading, r, err)
			}
			continue
		}
		if err != nil || r.Unit != tt.want || len(r.Days) != 1 {
			t.Errorf("%s: %v, %v", tt.heading, r, err)
		}
	}
}

// Columns that are taken for the temperature of the air, among others.
func TestTableColumnOfAir(t *testing.T) {
	t.Parallel()
	for _, heading := range []string{
		"#;Date Time, GMT+00:00;Temp, °C (LGR S/N: 1, SEN S/N: 1);RH, %;DewPt, °C;Coupler Attached",
		"i;Time;Outdoor Temperature (°C);Indoor Temperature (°C);Feels Like (°C);Wind Chill",
		"i;dateTime;outTemp_C;inTemp_C;heatindex_C;windchill_C",
		"i;Zeit;Lufttemperatur [°C];Bodentemperatur [°C];Taupunkt [°C];Innentemperatur",
		"i;heure;Température (°C);Point de rosée (°C);Température du sol (°C);ressentie (°C)",
		"i;fecha;Temperatura (°C);Punto de rocío (°C);Temperatura del suelo (°C);Humedad",
		"i;tijd;Buitentemperatuur (°C);Bodemtemperatuur (°C);Binnentemperatuur (°C);Dauwpunt",
		"i;ora;Temperatura (°C);Temperatura suolo (°C);Punto di rugiada (°C);Umidità",
		"i;time;air temp 2 m above ground °C;ground temp °C;battery temp °C;Leaf Temp",
		"i;time;Temp °C;High Alarm;Low Alarm;Temp Flag",
	} {
		r, err := readTable(t, heading+"\n"+hours(func(h int, temp string) string {
			return fmt.Sprintf("%d;2026-05-20 %02d:00;%s;50;60;70", h, h, temp)
		}), weather.ReadOptions{})
		if err != nil || told(r) != theDay {
			t.Errorf("%s: %v, %v", heading, r, err)
		}
	}
}

// The same readings in every dialect come to the same days.
func TestTableDialects(t *testing.T) {
	t.Parallel()
	z := zone(t, "Europe/Berlin")
	rng := rand.New(rand.NewPCG(1, 1))
	type at struct {
		time time.Time
		temp float64
	}
	var rows []at
	want := map[string][2]float64{} // The oracle: extremes by the date as it is printed.
	for i := time.Date(2026, 3, 27, 23, 0, 0, 0, time.UTC); i.Before(time.Date(2026, 3, 30, 22, 0, 0, 0, time.UTC)); i = i.Add(20 * time.Minute) {
		x := math.Round(rng.Float64()*400-100) / 10
		rows = append(rows, at{i.In(z), x})
		date := i.In(z).Format(time.DateOnly)
		e, ok := want[date]
		if !ok {
			e = [2]float64{x, x}
		}
		want[date] = [2]float64{math.Min(e[0], x), math.Max(e[1], x)}
	}
	var days strings.Builder
	for _, date := range []string{"2026-03-28", "2026-03-29", "2026-03-30"} {
		fmt.Fprintf(&days, "%s %.2f %.2f\n", date, want[date][0], want[date][1])
	}
	stamps := []string{
		"2006-01-02 15:04:05", "2006-01-02T15:04:05Z07:00", "2006-01-02 15:04 -0700", "2006-01-02T15:04:05.000-07", "2006/01/02 15:04", "20060102 15:04",
		"200601021504", "20060102T150405", "02/01/2006 15:04", "2.1.06 15:04", "02-01-2006 15:04:05.5", "02 01 2006 15:04", "1/2/2006 3:04 PM", "01/02/06 03:04:05 PM",
		"01-02-2006 03:04pm", "2-Jan-06 15:04", "02-Jan-2006 15:04", "January 2 2006 3:04 PM", "2 January 2006 15:04", "02/Mrz/2006 15:04", "2 de marzo de 2006 15:04",
		"2 mars 2006 15:04", "2 maart 2006 15:04", "15:04|02.01.2006", "1504|2006-01-02", "3:04 PM|1/2/2006", "15:04:05|2. März 2006",
	}
	encodings := map[string]encoding.Encoding{
		"UTF-8": unicode.UTF8, "UTF-8 with a mark": unicode.UTF8BOM, "cp1252": charmap.Windows1252,
		"UTF-16LE": unicode.UTF16(unicode.LittleEndian, unicode.UseBOM), "UTF-16BE": unicode.UTF16(unicode.BigEndian, unicode.UseBOM),
	}
	files := 0
	for _, delimiter := range []string{",", ";", "\t", "|"} {
		for _, decimal := range []string{".", ","} {
			for _, stamp := range stamps {
				clock, date, apart := strings.Cut(stamp, "|")
				if !apart {
					date = stamp
				}
				fahrenheit := strings.Contains(stamp, "PM")
				quote := func(s string) string {
					if strings.Contains(s, delimiter) {
						return `"` + s + `"`
					}
					return s
				}
				var b strings.Builder
				b.WriteString("Datum" + delimiter)
				if apart {
					b.WriteString("Zeit" + delimiter)
				}
				b.WriteString(map[bool]string{false: "Temp °C", true: "Temp °F"}[fahrenheit] + delimiter + "Höhe\r\n")
				for _, r := range rows {
					b.WriteString(quote(r.time.Format(strings.NewReplacer("Mrz", "Mär", "marzo", "marzo").Replace(date))) + delimiter)
					if apart {
						b.WriteString(r.time.Format(clock) + delimiter)
					}
					x := r.temp
					if fahrenheit {
						x = x*9/5 + 32
					}
					b.WriteString(quote(strings.ReplaceAll(strconv.FormatFloat(x, 'f', 2, 64), ".", decimal)) + delimiter + "3\r\n")
				}
				for name, e := range encodings {
					body, err := e.NewEncoder().String(b.String())
					if err != nil {
						t.Fatal(err)
					}
					r, err := weather.Read(strings.NewReader(body), weather.ReadOptions{Latest: today, Zone: z})
					if err != nil || told(r) != days.String() {
						t.Fatalf("%q, decimal %q, %q, %s: %v\n%+v\n%.200s", delimiter, decimal, stamp, name, err, r, b.String())
					}
					files++
				}
			}
		}
	}
	if files != 4*2*len(stamps)*len(encodings) {
		t.Error(files)
	}
}

func FuzzTable(f *testing.F) {
	for _, name := range []string{
		"logger_titleblock_us_fahrenheit_SPEC.csv", "logger_easylog_style_dmy_celsius_SPEC.csv", "logger_semicolon_decimal_comma_utf8bom_SPEC.csv",
		"logger_semicolon_decimal_comma_cp1252_SPEC.csv", "logger_iso_offset_clean_SPEC.csv", "logger_daily_minmax_mixed_units_SPEC.csv",
	} {
		f.Add(logger(f, name), "dmy", "")
	}
	f.Add("epoch time|temp\n1779228000|5\n1779231600|6\n", "", "C")
	f.Add("date;min;max\n46162;1 °C;2\n", "mdy", "F")
	f.Add("Year,Month,Day,Hour,Minute,temp_c\n2026,5,1,0,30,2\n2026,5,1,1,0,3\n", "", "")
	f.Add("YEAR;DOY;min;max\n2026;121;1;2\n", "", "C")
	f.Add("Temp\tHi\nDate\tOut\tTemp\n5/20/26 1:00p\t1\t2\n", "ymd", "tenths")
	berlin := zone(f, "Europe/Berlin")
	f.Fuzz(func(t *testing.T, body, dates, unit string) {
		opt := weather.ReadOptions{Unit: weather.Unit(unit), Dates: weather.DateOrder(dates), Latest: today, Zone: berlin}
		r, err := readTable(t, body, opt)
		if err != nil {
			var file *weather.FileError
			if r != nil || !errors.As(err, &file) || file.Detail() == "" {
				t.Fatalf("%v, %v", r, err)
			}
			for _, q := range file.Questions() {
				if len(q.Choices) < 2 || q.Text == "" {
					t.Fatalf("question %+v", q)
				}
			}
			return
		}
		mustAddUp(t, r)
		for _, f := range r.Findings {
			if f.What == "" || f.Found == "" || len(f.Found) > 600 {
				t.Fatalf("finding %+v", f)
			}
		}
		// A line of prose above changes nothing but its count, if there is a
		// heading without it.
		if strings.HasPrefix(body, "\x1f\x8b") || strings.HasPrefix(body, "PK") || len(r.Findings) > 0 && r.Findings[0].What == "encoding" {
			return
		}
		again, err := readTable(t, "prose\n"+body, opt)
		if err != nil || told(again) != told(r) {
			if strings.Contains(body, "\r") && !strings.Contains(body, "\n") || len(r.Days) == 0 && errors.Is(err, weather.ErrBadHeader) {
				return // Its lines end otherwise now; a heading without a row of a day must stand first.
			}
			if tableFinding(r, "preamble") == "" && tableFinding(r, "dates") == "none can be read" {
				return
			}
			t.Fatalf("with a line of prose: %v, %v", again, err)
		}
	})
}

// A year of readings every five minutes.
func BenchmarkTable(b *testing.B) {
	var body strings.Builder
	body.WriteString("Date Time;Temp (°C);Hum\n")
	const rows = 105_120
	at := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range rows {
		fmt.Fprintf(&body, "%s;%.1f;50\n", at.Add(time.Duration(i)*5*time.Minute).Format("02.01.2006 15:04:05"), 10*math.Sin(float64(i)/45)+float64(i%7)/10)
	}
	opt := weather.ReadOptions{Latest: today, Zone: zone(b, "Etc/UTC")}
	b.SetBytes(int64(body.Len()))
	b.ReportAllocs()
	for b.Loop() {
		r, err := weather.Read(strings.NewReader(body.String()), opt)
		if err != nil || len(r.Days) != 365 {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rows, "ns/row")
}
