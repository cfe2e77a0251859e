package weather_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"ripetide/weather"
)

// Dates of rows of days, each in a file of its own.
func TestClockDates(t *testing.T) {
	t.Parallel()
	const asks = "asks"
	for _, tt := range []struct {
		date, heading string
		opt           weather.DateOrder
		want          string // How it is printed, asks, or part of a refusal.
	}{
		{"2026-05-20", "", "", "2026-05-20"},
		{"2026/5/2", "", "", "2026-05-02"},
		{"2026.05.20.", "", "", "2026-05-20"},
		{"20260520", "", "", "2026-05-20"},
		{"2026-05-20T00:00:00Z", "", "", "2026-05-20"},
		{"2026-05-20 24:00", "", "", "2026-05-20"}, // A row of a day is of the date it names.
		{"20/05/2026", "", "", "2026-05-20"},
		{"05/20/2026", "", "", "2026-05-20"},
		{"20-5-26", "", "", asks}, // 2020-05-26, or the day first.
		{"20/5/26", "", "", "2026-05-20"},
		{"20.5.26", "", "", "2026-05-20"},
		{"20. 5. 2026", "", "", "2026-05-20"},
		{"5/20/69", "", "", "date 2069-05-20 is after today"},
		{"5/20/70", "", "", "1970-05-20"},
		{"05.06.2026", "", "", "2026-06-05"},
		{"05.20.2026", "", "", "2026-05-20"}, // Even with dots there is no month 20.
		{"05/06/2026", "", "", asks},
		{"05/06/2026", "", "dmy", "2026-06-05"},
		{"05/06/2026", "", "mdy", "2026-05-06"},
		{"05/06/2026", "(dd/mm/yyyy)", "", "2026-06-05"},
		{"05/06/2026", "(mm/dd/yyyy)", "", "2026-05-06"},
		{"20/05/2026", "(mm/dd/yyyy)", "", "2026-05-20"}, // The heading is wrong.
		{"05/05/2026", "", "", "2026-05-05"},
		{"05-05-05", "", "", asks}, // It may be a year, though all are the same.
		{"05/06/07", "", "ymd", "2005-06-07"},
		{"05/06/07", "(yy/mm/dd)", "", "2005-06-07"},
		{"98-05-20", "", "", "1998-05-20"}, // 98 is a year in any case.
		{"20-May-26", "", "", "2026-05-20"},
		{"20 mai 2026", "", "", "2026-05-20"},
		{"May 20, 2026", "", "", "2026-05-20"},
		{"2026-MAY-20", "", "", "2026-05-20"},
		{"Mi, 20. Mai 2026", "", "", "2026-05-20"},
		{"mar 19 mai 2026", "", "", "2026-05-19"}, // A Tuesday.
		{"19 mar 2026", "", "", "2026-03-19"},
		{"3 juin 2026", "", "", "2026-06-03"},
		{"3 juil. 2025", "", "", "2025-07-03"},
		{"3 août 2025", "", "", "2025-08-03"},
		{"3 mrt. 2026", "", "", "2026-03-03"},
		{"3 giugno 2026", "", "", "2026-06-03"},
		{"3 de enero de 2026", "", "", "2026-01-03"},
		{"3. Dez 2025", "", "", "2025-12-03"},
		{"June 3rd 2026", "", "", "2026-06-03"},
		{"31-Jun-26", "", "", `date "31-Jun-26" is not in the calendar`},
		{"31/06/2026", "", "", `date "31/06/2026" is not in the calendar`},
		{"29/02/2026", "", "", "is not in the calendar"},
		{"29/02/2024", "", "", "2024-02-29"},
		{"20260532", "", "", "is not in the calendar"},
		{"2026-13-01", "", "", `date "2026-13-01" is not in the calendar`},
		{"20/05-2026", "", "", "is no date"},
		{"20 foo 2026", "", "", "is no date"},
		{"may may 20 2026", "", "", "is no date"},
		{"20 2026", "", "", "is no date"},
		{"May 2026", "", "", "is no date"},
		{"1 2 3 4", "", "", "is no date"},
		{"100/05/2026", "", "", "is no date"},
		{"200605", "", "", "is no date"},
		{"0206-05-20", "", "", "date year 206 is outside 1700 to 2400"},
		{"", "", "", "date is empty"},
		{"46162", "", "", "2026-05-20"}, // 25569 is 1970-01-01, in every spreadsheet.
		{"46162,75", "", "", "2026-05-20"},
		{"80001", "", "", "no date"},
		{"1779228000", "", "", "2026-05-19"}, // 22:00 UTC, by date(1).
		{"1779228000000", "", "", "2026-05-19"},
		{"999999999", "", "", "no date"},
		{"2026052014", "", "", "no date"},
		{"202605201430", "", "", "2026-05-20"},
		{"20260520T1430", "", "", "2026-05-20"},
	} {
		body := "date" + tt.heading + ";min;max\n" + tt.date + ";1;2\n"
		r, err := readTable(t, body, weather.ReadOptions{Unit: "C", Dates: tt.opt})
		switch {
		case err != nil:
			if tt.want != asks || !errors.Is(err, weather.ErrAmbiguous) {
				t.Errorf("%q: %v", tt.date, err)
			}
		case len(r.Days) == 1:
			if r.Days[0].Date.String() != tt.want {
				t.Errorf("%q: %v", tt.date, r.Days)
			}
		case len(r.Refused) != 1 || !strings.Contains(r.Refused[0].Reason, tt.want):
			t.Errorf("%q: refused %v, want %s", tt.date, r.Refused, tt.want)
		}
	}
}

// The order of all dates of a file by all of them.
func TestClockOrder(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name  string
		dates string
		opt   weather.DateOrder
		want  string // The days, "asks", or "fails".
		says  string // The finding.
	}{
		{"one shows it", "05/06/2026 06/06/2026 13/05/2026", "", "2026-05-13 2026-06-05 2026-06-06", `day before the month, as "13/05/2026" shows; "05/06/2026" is 2026-06-05`},
		{"dots, some of them", "05.06.2026 06/06/2026", "", "asks", ""},
		{"all dots", "05.06.2026 06.06.2026", "", "2026-06-05 2026-06-06", `day before the month, as usual with dots; "05.06.2026" is 2026-06-05`},
		{"a year that stands and a day that moves", "25-05-10 25-05-11", "", "asks", ""},
		{"a day that moves more than the year", "10-05-25 13-05-25", "", "2025-05-10 2025-05-13", `day before the month, as "13-05-25" shows; "10-05-25" is 2025-05-10`},
		{"a month that shows itself", "05-10-25 05-13-25", "", "2025-05-10 2025-05-13", `month before the day, as "05-13-25" shows; "05-10-25" is 2025-05-10`},
		{"as said, which most can be", "05/06/2026 06/06/2026 13/05/2026", "mdy", "2026-05-06 2026-06-06", `month before the day, by the request; "05/06/2026" is 2026-05-06`},
		{"as said, which half can be", "05/06/2026 13/05/2026", "mdy", "2026-05-06", ""},
		{"as said, which few can be", "05/06/2026 13/05/2026 14/05/2026", "mdy", "fails", ""},
		{"year first is said of dates that end with it", "05/06/2026", "ymd", "fails", ""},
		{"nothing to be said of", "2026-05-06 7-May-2026", "mdy", "2026-05-06 2026-05-07", `with the name of the month; "7-May-2026" is 2026-05-07`},
		{"a slip does not count", "05/06/2026 99/99/2026 13/05/2026", "", "2026-05-13 2026-06-05", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			body := "date;min;max\n"
			for d := range strings.FieldsSeq(tt.dates) {
				body += d + ";1;2\n"
			}
			r, err := readTable(t, body, weather.ReadOptions{Unit: "C", Dates: tt.opt})
			got := ""
			switch {
			case errors.Is(err, weather.ErrAmbiguous):
				var file *weather.FileError
				if got = "fails"; errors.As(err, &file) && len(file.Questions()) > 0 {
					got = "asks"
				}
			case err != nil:
				t.Fatal(err)
			default:
				for _, d := range r.Days {
					got += " " + d.Date.String()
				}
				if tt.says != "" && tableFinding(r, "dates") != tt.says {
					t.Errorf("found %s", tableFinding(r, "dates"))
				}
			}
			if strings.TrimSpace(got) != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

// A time of day is told by the reading it contradicts: among readings of 10 °C
// every half hour one of 11 °C.
func TestClockTimes(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		zone, clock, want string // The date and the time by the zone, or "" if it is none.
	}{
		{"", "14:30", "2026-05-20 14:30:00"},
		{"", "4:30", "2026-05-20 04:30:00"},
		{"", "14:30:00.25", "2026-05-20 14:30:00"},
		{"", "14:30:00,5", "2026-05-20 14:30:00"},
		{"", "24:00", "2026-05-21 00:00:00"},
		{"", "00:00", "2026-05-20 00:00:00"},
		{"", "12:00 AM", "2026-05-20 00:00:00"},
		{"", "12:30am", "2026-05-20 00:30:00"},
		{"", "12:00 PM", "2026-05-20 12:00:00"},
		{"", "1:30 p.m.", "2026-05-20 13:30:00"},
		{"", "1:30 p. m.", "2026-05-20 13:30:00"},
		{"", "11:30a", "2026-05-20 11:30:00"},
		{"", "0230", "2026-05-20 02:30:00"},
		{"", "230", "2026-05-20 02:30:00"},
		{"", "143000", "2026-05-20 14:30:00"},
		{"", "24:01", ""}, {"", "24:00:01", ""}, {"", "25:00", ""}, {"", "14:60", ""}, {"", "14:30:61", ""},
		{"", "13:00 PM", ""}, {"", "0:30 AM", ""}, {"", "14", ""}, {"", "14.30", ""}, {"", "1:30 xm", ""}, {"", "14:", ""},
		{"", "14:30:", ""}, {"", "14:30:00.", ""}, {"", "", ""}, {"", "14:300", ""}, {"", "114:30", ""},
	} {
		body := "date;time;temp_c\n"
		for d := 19; d <= 21; d++ {
			for m := 0; m < 1440; m += 30 {
				body += fmt.Sprintf("2026-05-%d;%02d:%02d;10\n", d, m/60, m%60)
			}
		}
		r, err := readTable(t, body+"2026-05-20;"+tt.clock+";11\n", weather.ReadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if got := contradicted(r); got != tt.want {
			t.Errorf("%q: %q, want %q", tt.clock, got, tt.want)
		}
		if tt.want == "" && !strings.Contains(tableFinding(r, "unreadable"), "1 reading passed over, first row 145: time") {
			t.Errorf("%q: %v", tt.clock, r.Findings)
		}
	}
}

func contradicted(r *weather.Reading) string {
	if len(r.Refused) != 1 {
		return ""
	}
	_, at, _ := strings.Cut(r.Refused[0].Reason, "differ about ")
	return r.Refused[0].Date + " " + at
}

// The same with offsets, in zones that have others: readings tell theirs.
func TestClockOffsets(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ zone, heading, stamp, want string }{
		{"Europe/Berlin", "time", "2026-05-20T12:00Z", "2026-05-20 14:00:00"},
		{"Europe/Berlin", "time", "2026-05-20T12:00:00.000+00:00", "2026-05-20 14:00:00"},
		{"Europe/Berlin", "time", "2026-05-20 12:00 UTC", "2026-05-20 14:00:00"},
		{"Europe/Berlin", "time", "2026-05-20 12:00 GMT-04:00", "2026-05-20 18:00:00"},
		{"Europe/Berlin", "time", "2026-05-20 12:00 UTC+3", "2026-05-20 11:00:00"},
		{"Europe/Berlin", "time", "2026-05-20 12:00 -0330", "2026-05-20 17:30:00"},
		{"Europe/Berlin", "time", "2026-05-20 12:00 −04:00", "2026-05-20 18:00:00"}, // A printer's minus.
		{"Europe/Berlin", "time", "2026-05-20 12:00 CET", "2026-05-20 13:00:00"},
		{"Europe/Berlin", "time", "2026-05-20 12:00 MEZ", "2026-05-20 13:00:00"},
		{"Europe/Berlin", "time", "2026-05-20 12:00 MESZ", "2026-05-20 12:00:00"},
		{"Europe/Berlin", "time", "5/20/2026 2:00 PM -04:00", "2026-05-20 20:00:00"},
		{"America/New_York", "time", "2026-05-20 12:00 EST", "2026-05-20 13:00:00"},
		{"Asia/Kolkata", "time", "2026-05-20T12:00Z", "2026-05-20 17:30:00"},
		{"Asia/Kolkata", "time", "2026-05-20T22:00Z", "2026-05-21 03:30:00"},
		{"Asia/Kolkata", "time", "2026-05-20 12:00 IST", "2026-05-20 12:00:00"},
		{"Europe/Berlin", "time", "2026-05-20 12:00 IST", ""},
		{"Europe/Berlin", "time", "2026-05-20 12:00 +15:00", ""},
		{"Europe/Berlin", "time", "2026-05-20 12:00 +02:60", ""},
		{"Europe/Berlin", "time", "2026-05-20 12:00 +02:00x", ""},
	} {
		z := zone(t, tt.zone)
		body := tt.heading + ";temp_c\n"
		for d := 18; d <= 22; d++ {
			for m := 0; m < 1440; m += 30 {
				body += fmt.Sprintf("2026-05-%dT%02d:%02dZ;10\n", d, m/60, m%60)
			}
		}
		r, err := readTable(t, body+tt.stamp+";11\n", weather.ReadOptions{Zone: z})
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, f := range r.Refused {
			if _, at, ok := strings.Cut(f.Reason, "differ about "); ok {
				got = f.Date + " " + at
			}
		}
		if got != tt.want {
			t.Errorf("%s in %s: %q, want %q: %v", tt.stamp, tt.zone, got, tt.want, r.Findings)
		}
	}
}

// The offset of a heading holds for all rows, unless a row tells its own.
func TestClockOffsetOfHeading(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ heading, clock string }{
		{"Date Time, GMT-04:00", "times are UTC-04:00, by the heading"},
		{"Date Time, GMT -0400", "times are UTC-04:00, by the heading"},
		{"Date Time (UTC+5:30)", "times are UTC+05:30, by the heading"},
		{"Date Time, GMT−04:00", "times are UTC-04:00, by the heading"},
		{"time (UTC)", "times are UTC, by the heading"},
		{"timestamp_utc", "times are UTC, by the heading"},
		{"dateutc", "times are UTC, by the heading"},
		{"time", "times are taken as those of the farm's own clock, UTC"},
		{"date hourutcx", "times are taken as those of the farm's own clock, UTC"},
		{"Date Time (UTC offset)", "times are UTC, by the heading"},
	} {
		r, err := readTable(t, tt.heading+";temp_c\n2026-05-20 12:00;1\n2026-05-20 13:00;2\n", weather.ReadOptions{})
		if err != nil || !strings.HasPrefix(tableFinding(r, "clock"), tt.clock) {
			t.Errorf("%s: %v, %v", tt.heading, r, err)
		}
	}
	// 12:00-04:00 and 16:00Z are one moment.
	r, err := readTable(t, "Date Time, GMT-04:00;temp_c\n2026-05-20 12:00;1\n2026-05-20 16:00Z;1\n2026-05-20 13:00;2\n", weather.ReadOptions{})
	if err != nil || tableFinding(r, "repeats") != "1 reading that an earlier row had given" {
		t.Errorf("%v, %v", r, err)
	}
}

// Serial numbers are rounded to seconds: a third of a day has no end.
func TestClockSerialNumbers(t *testing.T) {
	t.Parallel()
	r, err := readTable(t, "date;temp_c\n46162.0416666666;1\n46162.041666667;2\n46162.125;1\n", weather.ReadOptions{})
	if err != nil || contradicted(r) != "2026-05-20 01:00:00" {
		t.Errorf("%v, %v", r, err)
	}
}
