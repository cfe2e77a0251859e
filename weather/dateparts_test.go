package weather_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"ripetide/weather"
)

// Dates whose parts stand in columns of their own. Days of the year by hand:
// 31 + 28 + 31 + 30 = 120 days before 1 May of a common year.
func TestTableDatesInParts(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, body, want string
		opt              weather.ReadOptions
		columns, dates   string
		unreadable       string
	}{
		{
			name: "year, month and day, with rows that are none",
			body: "Year,Month,Day,Tmax_c,Tmin_c\n2026,5,1,20,4\n2026,5,2,21,5\n2026,2,30,21,5\n2026,,3,21,5\n,,,21,5\n2026,5,4,-999,-999\n2026,5,5,3,9\n",
			want: "2026-05-01 4.00 20.00\n2026-05-02 5.00 21.00\n" +
				"row 3 2026-2-30: date \"2026-2-30\" is not in the calendar\nrow 4 2026--3: date \"2026--3\" is no date\n" +
				"row 5 : date is empty\nrow 7 2026-05-05: min 9 °C is above max 3 °C\n",
			columns: `date in "Year" and "Month" and "Day", min in "Tmin_c", max in "Tmax_c"`,
			dates:   `year first; "2026-5-1" is 2026-05-01`,
		},
		{
			name: "short names and semicolons, under a paragraph, with the unit of the request",
			body: "-BEGIN HEADER-\nT2M_MAX  Temperature at 2 metres, maximum\n-END HEADER-\nYEAR;MO;DY;T2M_MAX;T2M_MIN\n2026;05;01;20,5;4\n2026;05;02;21;5\n",
			opt:  weather.ReadOptions{Unit: weather.Celsius}, want: "2026-05-01 4.00 20.50\n2026-05-02 5.00 21.00\n",
			columns: `date in "YEAR" and "MO" and "DY", min in "T2M_MIN", max in "T2M_MAX"`,
			dates:   `year first; "2026-05-01" is 2026-05-01`,
		},
		{
			name: "the day of the year, with 29 February and a day that the year has not",
			body: "Year,DOY,min °C,max °C\n2024,59,1,2\n2024,60,1,2\n2024,61,1,2\n2024,366,1,2\n2025,60,1,2\n2025,366,1,2\n2026,121,1,2\n2026,x,1,2\n",
			want: "2024-02-28 1.00 2.00\n2024-02-29 1.00 2.00\n2024-03-01 1.00 2.00\n2024-12-31 1.00 2.00\n2025-03-01 1.00 2.00\n2026-05-01 1.00 2.00\n" +
				"row 6 2025-366: date \"2025-366\" is not in the calendar\nrow 8 2026-x: date \"2026-x\" is no date\n",
			columns: `date in "Year" and "DOY", min in "min °C", max in "max °C"`,
			dates:   `year first; "2024-059" is 2024-02-28`,
		},
		{
			name: "months by name, years of two digits, German",
			body: "Jahr;Monat;Tag;Tmin °C;Tmax °C\n26;Mai;1;4;20\n98;Dez;31;-4;2\n", want: "1998-12-31 -4.00 2.00\n2026-05-01 4.00 20.00\n",
			dates: `with the name of the month; "2026-Mai-1" is 2026-05-01`,
		},
		{
			name: "a whole date beside them, which counts",
			body: "date;year;month;day;doy;Tmin °C;Tmax °C\n2026-05-01;2025;1;1;1;4;20\n", want: "2026-05-01 4.00 20.00\n",
			columns: `date in "date", min in "Tmin °C", max in "Tmax °C"`,
		},
		{
			name: "a day of the month and one of the year, of which the former counts",
			body: "doy,day,month,year,tmin_c,tmax_c\n121,1,5,2026,4,20\n", want: "2026-05-01 4.00 20.00\n",
		},
		{
			name: "readings, with an hour and a minute",
			body: "YYYY,MM,DD,Hour,Minute,AirTemp_C\n" + hours(func(h int, temp string) string {
				return fmt.Sprintf("2026,5,20,%d,0,%s\n2026,5,20,%d,30,%s", h, temp, h, temp)
			}),
			want: theDay, columns: `date in "YYYY" and "MM" and "DD", time in "Hour" and "Minute", temperature in "AirTemp_C"`,
		},
		{
			name: "a minute without its hour, and beside a whole time",
			body: "year,month,day,time,minute,temp_c\n" + hours(func(h int, temp string) string { return fmt.Sprintf("2026,5,20,%d:00,0,%s", h, temp) }) + "2026,5,20,,30,30\n",
			want: theDay, unreadable: "1 reading passed over, first row 25: time is empty",
		},
		{
			name: "readings, with an hour and a day of the year",
			body: "year,doy,time,temp_c\n" + hours(func(h int, temp string) string { return fmt.Sprintf("2026,140,%d:00,%s", h, temp) }),
			want: theDay,
		},
		{
			name: "the day of the year in one cell with the year",
			body: "date;min_c;max_c\n2026-121;4;20\n2026-366;4;20\n",
			want: "2026-05-01 4.00 20.00\nrow 2 2026-366: date \"2026-366\" is not in the calendar\n",
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
			for what, want := range map[string]string{"columns": tt.columns, "dates": tt.dates, "unreadable": tt.unreadable} {
				if got := tableFinding(r, what); want != "" && got != want {
					t.Errorf("%s: %s\nwant %s", what, got, want)
				}
			}
		})
	}
}

// What may be a part of a date is none by itself, and days of the year counted
// from 0 would all be a day off.
func TestTablePartsThatAreNoDate(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, body string
		want       error
		says       string
	}{
		{"from 0", "Year,DOY,min_c,max_c\n2026,1,1,2\n2026,0,1,2\n", weather.ErrBadHeader, `"DOY" is 0 in row 2, so that it does not count the days of the year from 1`},
		{"a year and a day that may be of a month", "year,day,temp_c\n2026,1,1\n", weather.ErrNoRows, `no row has a date that can be read; the first is "1"`},
		{"no year", "month,doy,min_c,max_c\n5,121,1,2\n", weather.ErrUnknownFormat, "none of"},
	} {
		_, err := weather.Read(strings.NewReader(tt.body), weather.ReadOptions{Latest: today})
		var file *weather.FileError
		if !errors.Is(err, tt.want) || !errors.As(err, &file) || !strings.Contains(file.Detail(), tt.says) {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}
