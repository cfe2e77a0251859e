package weather_test

import (
	"strings"
	"testing"

	"ripetide/weather"
)

// A cell of a temperature in °C beside a max of 59 °C.
func TestDialectNumbers(t *testing.T) {
	t.Parallel()
	const missing, bad = -1000, -2000
	for _, tt := range []struct {
		cell string
		want float64
	}{
		{"12.5", 12.5}, {"12,5", 12.5}, {" 12,5 ", 12.5}, {"-12,5", -12.5}, {"\u221212.5", -12.5}, {"+12.5", 12.5},
		{".5", 0.5}, {"5.", 5}, {"0", 0}, {"1.25e1", 12.5}, {"125E-1", 12.5}, {"12,345", 12.345}, {"1.2345678901234", 1.2345678901234},
		{"12.5 °C", 12.5}, {"12.5C", 12.5}, {"12.5 deg C", 12.5}, {"12.5\u00a0°C", 12.5}, {"54.5F", 12.5}, {"54.5 °F", 12.5}, {"12.5°", 12.5}, {"12.5 \uFFFDC", 12.5}, {"12.5 Grad Celsius", 12.5},
		{"", missing}, {"-", missing}, {"--", missing}, {"---", missing}, {"–", missing}, {"nan", missing}, {"NA", missing}, {"N/A", missing}, {"#N/A", missing},
		{"null", missing}, {"none", missing}, {"m", missing}, {"-999", missing}, {"-9999", missing}, {"-9999.00", missing}, {"-99,9", missing},
		{"1.234,5", bad}, {"1,234.5", bad}, {"1 234", bad}, {"12.5 K", bad}, {"12.5 %", bad}, {"<5", bad}, {"5*", bad}, {"1,5e1", bad}, {"1e999", bad}, {"0x1p2", bad},
		{"inf", bad}, {"12.5 C C 5", bad}, {"12.5.1", bad}, {"1234567890123456", bad}, {"e5", bad}, {"12.5 foo C", bad}, {"C", bad},
	} {
		r, err := readTable(t, "date;min;max °C\n2026-05-20;"+tt.cell+";59\n", weather.ReadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		got := float64(bad)
		switch {
		case len(r.Days) == 1:
			got = r.Days[0].Min
		case r.Refused[0].Reason == "min is missing":
			got = missing
		case !strings.HasSuffix(r.Refused[0].Reason, "is not a number"):
			t.Errorf("%q: %v", tt.cell, r.Refused)
		}
		if !(got-tt.want < 1e-12 && tt.want-got < 1e-12) {
			t.Errorf("%q: %g, want %g", tt.cell, got, tt.want)
		}
	}
}

// Where the heading is and what parts its cells.
func TestDialectHeading(t *testing.T) {
	t.Parallel()
	row := "2026-05-20 12:00"
	for _, tt := range []struct{ name, body, cells, preamble, columns string }{
		{"commas within the names between tabs", "Date Time, UTC\tTemp, °C\n" + row + "\t1\n" + row + ":30\t1\n", "parted by tabs", "", `date in "Date Time, UTC", temperature in "Temp, °C"`},
		{"commas within the names between semicolons", "Date, Time;Temp, °C\n" + row + ";1\n" + row + ":30;1\n", "parted by semicolons", "", `date in "Date, Time", temperature in "Temp, °C"`},
		{"prose that looks like a heading", "date, temp\nexport date 2026-01-01, temp logger\ntime,temp_c\n" + row + ",1\n" + row + ":30,1\n", "parted by commas", "2 lines before the heading passed over", `date in "time", temperature in "temp_c"`},
		{"a hundred lines before it", strings.Repeat("x\n\n", 100) + "time,temp_c\n" + row + ",1\n" + row + ":30,1\n", "parted by commas", "100 lines before the heading passed over", `date in "time", temperature in "temp_c"`},
		{"a line of numbers above it", ",1,2\ntime,temp_c,x\n" + row + ",1\n" + row + ":30,1\n", "parted by commas", "1 line before the heading passed over", `date in "time", temperature in "temp_c"`},
		{"a line above it with something over the date", "logger,air,probe\ntime,temp_c,x\n" + row + ",1\n" + row + ":30,1\n", "parted by commas", "1 line before the heading passed over", `date in "time", temperature in "temp_c"`},
		{"a line above it with one word", ",air\ntime,temp_c\n" + row + ",1\n" + row + ":30,1\n", "parted by commas", "1 line before the heading passed over", `date in "time", temperature in "temp_c"`},
		{"notes between heading and data", "time,temp_c\n" + strings.Repeat("note,\n", 19) + row + ",1\n" + row + ":30,1\n", "parted by commas", "", `date in "time", temperature in "temp_c"`},
		{"more cells in the first row only", "n,time,temp_c\n1," + row + ",1,extra\n2," + row + ":30,1\n", "parted by commas", "", `date in "time", temperature in "temp_c"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r, err := readTable(t, tt.body, weather.ReadOptions{})
			if err != nil {
				t.Fatal(err)
			}
			if c, p, n := tableFinding(r, "cells"), tableFinding(r, "preamble"), tableFinding(r, "columns"); c != tt.cells || p != tt.preamble || n != tt.columns || tableFinding(r, "unreadable") != "" {
				t.Errorf("%s; %s; %s; %v", c, p, n, r.Findings)
			}
		})
	}
}
