package charts_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"ripetide/charts"
)

// sampleRecord is an invented year of a station, to June 2026: a hole of two
// weeks that another station fills, one of four days that none does, and
// doubtful days of which one is used.
func sampleRecord() charts.Record {
	r := charts.Record{
		Heading: "Post by the gate", Finding: "Last on record is Wed 3 Jun, 5 days ago.",
		Basis: "Lent days are those of Airport, moved to this place.",
		AsOf:  date("2026-06-09"), From: date("2025-07-01"), To: date("2026-06-30"),
		Holes: []charts.RecordHole{{From: date("2025-09-10"), To: date("2025-09-23")}, {From: date("2026-02-20"), To: date("2026-02-23")}, {From: date("2026-06-04"), To: date("2026-06-08")}},
	}
	in := func(d time.Time, h charts.RecordHole) bool { return !d.Before(h.From) && !d.After(h.To) }
	for d := r.From; !d.After(r.To); d = d.AddDate(0, 0, 1) {
		n := d.Sub(r.From).Hours() / 24
		season := 9 + 13*math.Cos((n-20)/365*2*math.Pi)
		r.Usual = append(r.Usual, charts.UsualDay{Date: d, LowC: season - 11, HighC: season + 12})
		day := charts.RecordDay{Date: d}
		mid := season + 4*math.Sin(n*0.71) + 3*math.Sin(n*0.23+1)
		wide := 4 + 2.5*math.Abs(math.Sin(n*1.3))
		day.MinC, day.MaxC = mid-wide, mid+wide
		switch d.Format("01-02") {
		case "11-05", "11-06", "11-07", "11-08":
			day.MinC, day.MaxC = 7, 11
		case "01-17":
			day.MinC = -31
		case "05-02":
			day.MaxC = 38
		}
		switch {
		case in(d, r.Holes[0]):
			day.Lent = true
		case in(d, r.Holes[1]), in(d, r.Holes[2]), !d.Before(r.AsOf):
			continue
		}
		r.Days = append(r.Days, day)
	}
	for d := 5; d <= 8; d++ {
		r.Suspects = append(r.Suspects, charts.RecordSuspect{Date: date(fmt.Sprintf("2025-11-0%d", d)), Letter: "T", Test: "the same too many times in a row"})
	}
	r.Suspects = append(r.Suspects,
		charts.RecordSuspect{Date: date("2026-01-17"), Letter: "K", Test: "far from the days around"},
		charts.RecordSuspect{Date: date("2026-01-17"), Letter: "S", Test: "far from the time of year"},
		charts.RecordSuspect{Date: date("2026-05-02"), Letter: "S", Test: "far from the time of year", Used: true})
	return r
}

// recordGallery is the records that every rule about pictures must hold for.
func recordGallery() map[string]chart {
	out := map[string]chart{"record": sampleRecord()}
	r := sampleRecord()
	r.Units = charts.US
	out["record, US units"] = r

	r = sampleRecord()
	r.Days, r.Usual, r.Suspects = nil, nil, nil
	r.Heading, r.Finding, r.Basis = "", "Nothing is on record yet.", ""
	r.Holes = []charts.RecordHole{{From: r.From, To: r.To}}
	out["record, nothing"] = r

	r = sampleRecord()
	r.Suspects = nil
	for i, d := range r.Days { // Every day doubted, by every test in turn.
		r.Suspects = append(r.Suspects, charts.RecordSuspect{Date: d.Date, Letter: string(rune('A' + i%26)), Test: strings.Repeat("Überprüfung ", 1+i%26), Used: i%3 == 0})
	}
	r.Heading = `<b>R&D "post"</b> ` + strings.Repeat("am Südhang ", 12)
	out["record, all doubted"] = r

	r = sampleRecord()
	r.From, r.To, r.AsOf = date("2026-06-05"), date("2026-06-07"), date("2026-06-05")
	r.Days, r.Usual, r.Holes, r.Suspects = []charts.RecordDay{{Date: date("2026-06-06"), MinC: 12, MaxC: 12}}, nil, nil, nil
	out["record of a day"] = r

	r = sampleRecord()
	r.From, r.To = r.From.AddDate(0, 0, 13), r.To.AddDate(0, 0, -4)
	r.Days, r.Usual, r.Suspects, r.Holes = r.Days[13:], nil, nil, nil
	r.Days[40].MinC, r.Days[41].MaxC = -90, 60
	out["record between odd dates"] = r
	return out
}

func TestRecordGolden(t *testing.T) {
	t.Parallel()
	all := recordGallery()
	for _, tt := range []struct {
		file, name string
		opt        charts.Options
	}{
		{"record.svg", "record", charts.Options{}},
		{"record-phone.svg", "record", charts.Options{Width: 360}},
		{"record-dark.svg", "record", charts.Options{Theme: charts.Dark}},
		{"record-us.svg", "record, US units", charts.Options{Width: 800}},
		{"record-nothing.svg", "record, nothing", charts.Options{}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			_, got := render(t, all[tt.name], tt.opt)
			golden(t, tt.file, got)
		})
	}
}

// TestRecordDaysStandOnTheirDates reads the places from the words of the axes.
func TestRecordDaysStandOnTheirDates(t *testing.T) {
	t.Parallel()
	r := sampleRecord()
	svg, _ := render(t, r, charts.Options{})
	panels := svg.class("panel")
	if len(panels) != 2 {
		t.Fatalf("%d panels at 1200 px, want two of half a year", len(panels))
	}
	// The second panel has its own axis of dates; its words come once.
	x := axis(t, svg, "Mon 5", "Mon 19", date("2026-01-05"), 14)
	y := map[string]float64{}
	for _, n := range svg.texts() {
		y[n.text] = n.num(t, "y") - 4 // The last of a number is that of the second panel.
	}
	up := func(c float64) float64 { return y["0"] + (y["20"]-y["0"])*c/20 }
	beads := panels[1].class("days")[0].filled(berry)
	var days []charts.RecordDay
	for _, d := range r.Days {
		if !d.Date.Before(date("2026-01-01")) && d.Date.Format("01-02") != "01-17" { // That one is left out.
			days = append(days, d)
		}
	}
	if len(beads) != len(days) {
		t.Fatalf("%d beads for %d days", len(beads), len(days))
	}
	for i, d := range days {
		b := bounds(boxes(t, beads[i])...)
		noon := (x(d.Date) + x(d.Date.AddDate(0, 0, 1))) / 2
		if !near((b.x0+b.x1)/2, noon, 0.6) || !near(b.y0, up(d.MaxC), 0.6) || !near(b.y1, up(d.MinC), 0.6) {
			t.Errorf("%s: bead %.1f, want x %.1f, %.1f to %.1f", d.Date.Format(time.DateOnly), b, noon, up(d.MaxC), up(d.MinC))
		}
	}
	holes := panels[1].class("hole")
	if len(holes) != 2 {
		t.Fatalf("%d holes in the second half", len(holes))
	}
	if b := bounds(boxes(t, holes[0].filled(gap)[0])...); !near(b.x0, x(date("2026-02-20")), 0.6) || !near(b.x1, x(date("2026-02-24")), 0.6) {
		t.Errorf("hole from %.1f to %.1f, want %.1f to %.1f", b.x0, b.x1, x(date("2026-02-20")), x(date("2026-02-24")))
	}
	const slate = "#1d4a72"
	marks := svg.class("suspects")[0]
	if full, hollow := len(marks.filled(slate)), len(marks.filled(open)); full != 6 || hollow != 1 {
		t.Errorf("%d marks of days left out and %d of days used, want 6 and 1", full, hollow)
	}
}

func TestRecordTellsWhatItShows(t *testing.T) {
	t.Parallel()
	got := sampleRecord().Description()
	for _, want := range []string{
		"Last on record is Wed 3 Jun", "14 days are lent by another station", "coldest −31 °C on Sat 17 Jan",
		"Nothing on record: Wed 10 – Tue 23 Sep; Fri 20 – Mon 23 Feb; Thu 4 – Mon 8 Jun.",
		"Wed 5 – Sat 8 Nov: the same too many times in a row.",
		"Sat 2 May: far from the time of year (used all the same).",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("it does not say %q: %s", want, got)
		}
	}
	r := sampleRecord()
	r.Units = charts.US
	if got := r.Description(); !strings.Contains(got, "coldest −24 °F on Sat Jan 17") {
		t.Errorf("in US units: %s", got)
	}
}

func TestBadRecordsAreRefused(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		do   func(*charts.Record)
		want string
	}{
		{"no date", func(r *charts.Record) { r.AsOf = time.Time{} }, "AsOf"},
		{"ends before it begins", func(r *charts.Record) { r.To = r.From.AddDate(0, 0, -1) }, "From and To"},
		{"too long", func(r *charts.Record) { r.To = r.From.AddDate(0, 0, 400) }, "From and To"},
		{"low above high", func(r *charts.Record) { r.Days[0].MinC = 59 }, "Days[0]"},
		{"not a number", func(r *charts.Record) { r.Days[3].MaxC = math.NaN() }, "Days[3]"},
		{"hotter than any air", func(r *charts.Record) { r.Usual[3].HighC = 61 }, "Usual[3]"},
		{"days out of order", func(r *charts.Record) { r.Days[1].Date = r.Days[0].Date }, "Days[1].Date"},
		{"usual beyond the end", func(r *charts.Record) { r.Usual[len(r.Usual)-1].Date = r.To.AddDate(0, 0, 1) }, "Usual[364].Date"},
		{"holes that meet", func(r *charts.Record) { r.Holes[1].From = r.Holes[0].To }, "Holes[1]"},
		{"a suspect before the start", func(r *charts.Record) { r.Suspects[0].Date = r.From.AddDate(0, 0, -1) }, "Suspects[0].Date"},
		{"no letter", func(r *charts.Record) { r.Suspects[0].Letter = "ä" }, "Suspects[0].Letter"},
		{"no words", func(r *charts.Record) { r.Suspects[0].Test = " " }, "Suspects[0].Test"},
		{"one letter for two tests", func(r *charts.Record) { r.Suspects[0].Letter = "K" }, "K stands for two tests"},
		{"unknown units", func(r *charts.Record) { r.Units = 7 }, "Units"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := sampleRecord()
			tt.do(&r)
			if err := r.Validate(); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("%v, want it to name %s", err, tt.want)
			}
			if got := r.Description(); !strings.Contains(got, "no chart") {
				t.Errorf("description %q", got)
			}
		})
	}
}
