package weather_test

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ripetide/weather"
)

// number writes a float64 so that it is read as the same one.
func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// show writes a reading in short: the days, then the refusals.
func show(r *weather.Reading) []string {
	var out []string
	for _, d := range r.Days {
		out = append(out, fmt.Sprintf("%s %g %g", d.Date, d.Min, d.Max))
	}
	for _, f := range r.Refused {
		out = append(out, fmt.Sprintf("%d %s: %s", f.Row, f.Date, f.Reason))
	}
	return out
}

func TestReadCSV(t *testing.T) {
	t.Parallel()
	const c = "date,min_c,max_c\n"
	for _, tt := range []struct {
		name string
		unit weather.Unit
		body string
		want []string
	}{
		{"plain", "", c + "2026-05-01,1.5,12\n2026-05-02,2,13.25\n", []string{"2026-05-01 1.5 12", "2026-05-02 2 13.25"}},
		{"unit said", "C", "date,min,max\n2026-05-01,1.5,12\n", []string{"2026-05-01 1.5 12"}},
		{"unit said and told", "C", c + "2026-05-01,1.5,12\n", []string{"2026-05-01 1.5 12"}},
		{"°F told", "", "date,tmin_f,tmax_f\n2026-05-01,50,59\n", []string{"2026-05-01 10 15"}},
		{"°F said", "F", "date,tmin,max\n2026-05-01,50,59\n", []string{"2026-05-01 10 15"}},
		{"any case, order and company", "", "Station, TMax_C ,note,DATE,TMin_C\nx,12,,2026-05-01,1.5\n", []string{"2026-05-01 1.5 12"}},
		{"byte order mark and CRLF", "", "\uFEFFdate,min_c,max_c\r\n2026-05-01,1.5,12\r\n", []string{"2026-05-01 1.5 12"}},
		{"lines that end in CR", "", "date,min_c,max_c\r2026-05-01,1.5,12\r2026-05-02,2,13\r", []string{"2026-05-01 1.5 12", "2026-05-02 2 13"}},
		{"no end of the last line", "", c + "2026-05-01,1.5,12", []string{"2026-05-01 1.5 12"}},
		{"days out of order", "", c + "2026-05-02,2,13\n2026-05-01,1.5,12\n", []string{"2026-05-01 1.5 12", "2026-05-02 2 13"}},
		{"everything in quotes, CRLF", "", "\"date\",\"min_c\",\"max_c\"\r\n\"2026-05-01\",\"1.5\",\"12\"\r\n", []string{"2026-05-01 1.5 12"}},
		{"a printer's minus", "", c + "2026-05-01,−1.5,12\n", []string{"2026-05-01 -1.5 12"}},
		{"a doubled quote is one", "", c + "2026-05-01,\"1\"\"5\",12\n", []string{`1 2026-05-01: min "1\"5" is not a number`}},
		{"everything in quotes, padded", "", "\"DATE\",\"TMIN_C\",\"TMAX_C\"\n\"2026-05-01\",\"  1.5\" , \" 12\"\n", []string{"2026-05-01 1.5 12"}},
		{"blank lines are no rows", "", "\n" + c + "\n2026-05-01,1.5,12\n \t\n,,\n2026-05-02,x,13\n", []string{"2026-05-01 1.5 12", `2 2026-05-02: min "x" is not a number`}},
		{"dates in another spelling are for the table", "C", "Date,Min,Max\n05/20/2026,1.5,12\n", []string{"2026-05-20 1.5 12"}},
		{"units in a column are for the table", "", "date,min,max,unit\n2026-05-01,50,59,F\n2026-05-02,1,2,C\n", []string{"2026-05-01 10 15", "2026-05-02 1 2"}},
		{"a hole", "", c + "2026-05-01,,\n2026-05-02,2,13\n", []string{"2026-05-02 2 13", "1 2026-05-01: min and max are empty"}},
		{"a header in the middle", "", c + "2026-05-01,1.5,12\n" + c + "2026-05-02,2,13\n", []string{"2026-05-01 1.5 12", "2026-05-02 2 13", `2 date: date "date" is not a calendar date YYYY-MM-DD`}},
		{"cells beyond the header, blank", "", c + "2026-05-01,1.5,12,, \n", []string{"2026-05-01 1.5 12"}},
		{"a decimal comma", "", c + "2026-05-01,1,5,12,0\n2026-05-02,2,13\n", []string{"2026-05-02 2 13", "1 2026-05-01: row has 5 cells instead of 3, is a comma its decimal sign?"}},
		{"a decimal comma in quotes", "", c + "2026-05-01,\"1,5\",\"12,0\"\n", []string{`1 2026-05-01: min "1,5" is not a number`}},
		{"needless cells left out", "", "date,min_c,max_c,note,sky\n2026-05-01,1.5,12\n2026-05-02,2,13,fine,\n", []string{"2026-05-01 1.5 12", "2026-05-02 2 13"}},
		{"needed cells left out", "", c + "2026-05-01,1.5\n2026-05-02\n2026-05-03,2,13\n", []string{"2026-05-03 2 13", "1 2026-05-01: row has 2 of 3 cells, it is cut off", "2 2026-05-02: row has 1 of 3 cells, it is cut off"}},
		{"cut off in the last row", "", "date,min_c,max_c,note\n2026-05-01,1.5,12,x\n2026-05-02,2,1", []string{"2026-05-01 1.5 12", "2 2026-05-02: row has 3 of 4 cells, it is cut off"}},
		{"cut off within quotes", "", c + "2026-05-01,1.5,12\n2026-05-02,2,\"13", []string{"2026-05-01 1.5 12", "2 2026-05-02: a quote is not closed"}},
		{"a quote that is not closed costs its row", "", c + "2026-05-01,\"1.5,12\n2026-05-02,2,13\n", []string{"2026-05-02 2 13", "1 2026-05-01: a quote is not closed"}},
		{"nor when others are quoted", "", c + "\"2026-05-01\",\"1.5,12\n\"2026-05-02\",\"2\",\"13\"\n", []string{"2026-05-02 2 13", "1 2026-05-01: a quote is not closed"}},
		{"text after a quote", "", c + "2026-05-01,\"1.5\"x,12\n2026-05-02,2,13\n", []string{"2026-05-02 2 13", "1 2026-05-01: text follows a closed quote"}},
		{"a note over lines", "", "date,min_c,note,max_c\n2026-05-01,1.5,\"frost,\r\nsaid \"\"Ann\"\"\",12\r\n2026-05-02,2,,13\n", []string{"2026-05-01 1.5 12", "2026-05-02 2 13"}},
		{"a note over lines at the end", "", "date,min_c,max_c,note\n2026-05-01,1.5,12,\"frost\n\nand snow\"", []string{"2026-05-01 1.5 12"}},
		{"a note that is never closed", "", "date,min_c,max_c,note\n2026-05-01,1.5,12,\"frost\n2026-05-02,2,13,\n", []string{"2026-05-02 2 13", "1 2026-05-01: a quote is not closed"}},
		{"nor may another row close it", "", "date,min_c,max_c,note,sky\n2026-05-01,\"1.5,12\n2026-05-02,2,13,x\",dry\n", []string{"2026-05-02 2 13", "1 2026-05-01: a quote is not closed"}},
		{"a row over lines takes no more lines than it needs", "", "date,min_c,max_c,note,sky,wind\n\"2026-05-01,1.5\nx\",a\n2026-05-03,3,14,fine,dry\n", []string{
			"2026-05-03 3 14", "1 : a quote is not closed", `2 x": row has 2 of 6 cells, it is cut off`,
		}},
		{"a note over a line without end", "", "date,min_c,max_c,note\n2026-05-01,1.5,12,\"x\n" + strings.Repeat("y", 70_000) + "\"\n", []string{
			"1 2026-05-01: a quote is not closed", "2 : row is longer than 65536 bytes",
		}},
		{"cut off in a row over lines", "", "date,min_c,note,max_c,sky\n2026-05-01,1.5,\"frost\n\",12,dry", []string{"2026-05-01 1.5 12"}},
		{"a quote within a cell is itself", "", "date,min_c,max_c,note\n2026-05-01,1.5,12,5\" of snow\n", []string{"2026-05-01 1.5 12"}},
		{"Latin-1 in a note", "", "date,min_c,max_c,b\xf6e\n2026-05-01,1.5,12,k\xfchl\n", []string{"2026-05-01 1.5 12"}},
		{"bytes that are no text", "", c + "2026-05-01\x00,1,2\n2026-05-02,\x001,2\n2026-05-03,1,\xff\n2026-05-04,1,2\n", []string{
			"2026-05-04 1 2",
			"1 2026-05-01\ufffd: date \"2026-05-01\ufffd\" is not a calendar date YYYY-MM-DD",
			"2 2026-05-02: min \"\ufffd1\" is not a number",
			"3 2026-05-03: max \"ÿ\" is not a number",
		}},
		{"a row without end", "", c + "2026-05-01,1," + strings.Repeat("2", 70_000) + "\n2026-05-02,2,13\n", []string{"2026-05-02 2 13", "1 : row is longer than 65536 bytes"}},
		{"a cell of quotes", "", "date,min_c,max_c,note\n2026-05-01,1.5,12,\"" + strings.Repeat(`""`, 30_000) + "\"\n", []string{"2026-05-01 1.5 12"}},
		{"after today", "", c + "2026-06-10,1.5,12\n2026-06-11,1.5,12\n", []string{"2026-06-10 1.5 12", "2 2026-06-11: date 2026-06-11 is after today"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r, err := weather.Read(strings.NewReader(tt.body), weather.ReadOptions{Unit: tt.unit, Latest: today})
			if err != nil {
				t.Fatal(err)
			}
			mustAddUp(t, r)
			if got := show(r); !slices.Equal(got, tt.want) {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(tt.want, "\n"))
			}
		})
	}
}

// A preview shows by whose word the unit is.
func TestReadCSVTellsItsUnit(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		header string
		unit   weather.Unit
		want   string
	}{
		{"date,min_f,max_f", "", "°F, by the heading"},
		{"date,min_c,max_c", "C", "°C, by the heading"},
		{"date,min,max", "F", "°F, by the request"},
	} {
		r, err := weather.Read(strings.NewReader(tt.header+"\n2026-05-01,1,2\n"), weather.ReadOptions{Unit: tt.unit, Latest: today})
		if err != nil || tableFinding(r, "unit") != tt.want {
			t.Errorf("%s: %v, %v; want %s", tt.header, r, err, tt.want)
		}
	}
}

// Two stations in one file are not one record.
func TestReadCSVOfStations(t *testing.T) {
	t.Parallel()
	const body = "station,date,min,max\nnorth,2026-05-01,1,2\nNorth ,2026-05-02,3,4\n,2026-05-03,5,6\nsouth,2026-05-04,7,8\nsouth,x,7,8\n"
	read := func(opt weather.ReadOptions) (*weather.Reading, error) {
		opt.Latest = today
		return weather.Read(strings.NewReader(body), opt)
	}
	_, err := read(weather.ReadOptions{})
	var file *weather.FileError
	if !errors.As(err, &file) || len(file.Questions()) != 2 || file.Questions()[0].Option != weather.OptionStation || file.Questions()[1].Option != weather.OptionUnit {
		t.Fatalf("asks %v", err)
	}
	for station, want := range map[string][]string{
		"NORTH": {"2026-05-01 1 2", "2026-05-02 3 4", "2026-05-03 5 6"},
		"south": {"2026-05-03 5 6", "2026-05-04 7 8", `5 x: date "x" is not a calendar date YYYY-MM-DD`},
	} {
		r, err := read(weather.ReadOptions{Unit: "C", Station: station})
		if err != nil || r.Format != "csv" || !slices.Equal(show(r), want) {
			t.Errorf("%s: %v, %v; want %q", station, r, err, want)
		}
	}
	if _, err = read(weather.ReadOptions{Unit: "C", Station: "west"}); !errors.Is(err, weather.ErrNoRows) || !strings.Contains(err.Error(), `no row is of the station "west"; the file has "north"`) {
		t.Errorf("of west: %v", err)
	}
}
