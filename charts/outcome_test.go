package charts_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"ripetide/charts"
)

// sampleOutcome is an invented season: a planting as forecast, one of which the
// end is a bound, one of which only the first ripe fruit is on record, and one of
// which nothing was said.
func sampleOutcome() charts.Outcome {
	june := func(d int) time.Time { return date("2026-06-01").AddDate(0, 0, d-1) }
	around := func(d, less, more int) charts.Range {
		return charts.Range{P10: june(d - less), P50: june(d), P90: june(d + more)}
	}
	at := func(d int) charts.OutcomeDate { return charts.OutcomeDate{Date: june(d)} }
	return charts.Outcome{
		Heading: "Season 2026, as forecast and as it came", Finding: "The early ones came two days late, the late ones as said.", Basis: "Hill Farm, forecasts as they were frozen.",
		Said: "at bloom",
		Rows: []charts.OutcomeRow{
			{Variety: "Wrenlight", Block: "Sandbar", Said: &charts.OutcomeSaid{First: around(5, 3, 4), Peak: around(9, 3, 4), Last: around(14, 3, 5)}, First: at(7), Peak: at(11), Last: at(16), Error: "2 days early"},
			{Variety: "Marrowby", Block: "Schoolhouse", Said: &charts.OutcomeSaid{First: around(10, 2, 3), Peak: around(14, 3, 3), Last: around(19, 4, 4)}, First: at(10), Peak: at(13), Last: charts.OutcomeDate{Date: june(17), Open: true}, Error: "on the day"},
			{Variety: "Corduroy", Block: "Long Rows", Said: &charts.OutcomeSaid{First: around(13, 2, 3), Peak: around(17, 2, 3), Last: around(22, 4, 5)}, First: at(12), Error: "1 day late"},
			{Variety: "Lastlantern", Block: "Creekside", First: at(25), Peak: at(29), Last: at(36)},
		},
		Gaps:  []charts.OutcomeGap{{From: june(23), To: june(24)}},
		Flags: []charts.OutcomeFlag{{Date: june(8), Text: "possible"}, {Date: june(13), Text: "announced"}},
	}
}

// outcomeGallery is what every rule about pictures must hold for.
func outcomeGallery() map[string]chart {
	out := map[string]chart{"outcome": sampleOutcome()}
	o := sampleOutcome()
	o.Units = charts.US
	out["outcome, US units"] = o
	o = sampleOutcome()
	o.Rows, o.Gaps, o.Flags = o.Rows[2:3], nil, nil
	o.Heading, o.Finding, o.Basis, o.Said = "", "", "", ""
	out["outcome, one row"] = o
	o = sampleOutcome()
	o.Heading = `<b>R&D "season"</b> ` + strings.Repeat("Donaudampfschifffahrt ", 8)
	rows := o.Rows
	o.Rows = nil
	for n := range 25 {
		r := rows[n%4]
		r.Variety, r.Block, r.Error = strings.Repeat("Schönäugige ", 1+n%7), fmt.Sprint("Acker ", n, strings.Repeat(" am Hang", n%5)), strings.Repeat("sehr viele Tage zu früh ", n%3)
		o.Rows = append(o.Rows, r)
	}
	for n := range 4 {
		o.Flags = append(o.Flags, charts.OutcomeFlag{Date: o.Flags[0].Date.AddDate(0, 0, n), Text: strings.Repeat("Vatertag ", 1+n)})
	}
	out["outcome, crowded, long words"] = o
	return out
}

func TestOutcomeGolden(t *testing.T) {
	t.Parallel()
	all := outcomeGallery()
	for _, tt := range []struct {
		file, name string
		opt        charts.Options
	}{
		{"outcome.svg", "outcome", charts.Options{}},
		{"outcome-phone.svg", "outcome", charts.Options{Width: 360}},
		{"outcome-dark.svg", "outcome", charts.Options{Theme: charts.Dark}},
		{"outcome-us.svg", "outcome, US units", charts.Options{Width: 800}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			_, got := render(t, all[tt.name], tt.opt)
			golden(t, tt.file, got)
		})
	}
}

// What came lies under what was said, and as much later as it was late, read
// from the places of both.
func TestOutcomeWindowsLieOnTheirDays(t *testing.T) {
	t.Parallel()
	svg, _ := render(t, sampleOutcome(), charts.Options{})
	said, came := svg.class("said"), svg.class("came")
	if len(said) != 3 || len(came) != 4 {
		t.Fatalf("%d windows said and %d that came", len(said), len(came))
	}
	at := func(n *node, fill string) box {
		t.Helper()
		shapes := n.filled(fill)
		if len(shapes) == 0 {
			t.Fatalf("nothing is filled with %s", fill)
		}
		return bounds(boxes(t, shapes[0])...)
	}
	// The first: said 5 to 14 June, came 7 to 16 June, ten days each.
	s, c := at(said[0], open), at(came[0], berry)
	day := (s.x1 - s.x0) / 10
	if !near(c.x0-s.x0, 2*day, 1) || !near(c.x1-c.x0, 10*day, 1) || c.y0 < s.y1 {
		t.Errorf("said %+v, came %+v", s, c)
	}
	// The last: 25 June to 6 July, twelve days.
	if b := at(came[3], berry); !near(b.x0-c.x0, 18*day, 1) || !near(b.x1-b.x0, 12*day, 1) {
		t.Errorf("the last came %+v, want 18 and 12 days of %.1f px after %+v", b, day, c)
	}
}

func TestOutcomeSaysWhatItShows(t *testing.T) {
	t.Parallel()
	text := sampleOutcome().Description()
	for _, want := range []string{
		"Forecasts as they were issued at bloom.", "Wrenlight, Sandbar: said Fri 5 – Sun 14 Jun; came Sun 7 – Tue 16 Jun; 2 days early.",
		"Corduroy, Long Rows: said Sat 13 – Mon 22 Jun; first ripe Fri 12 Jun, its end is not on record; 1 day late.",
		"Lastlantern, Creekside: nothing was said; came Thu 25 Jun – Mon 6 Jul.", "Nothing ripe: Tue 23 – Wed 24 Jun.", "Possible: Mon 8 Jun.", "Announced: Sat 13 Jun.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
}

func TestBadOutcomesAreRefused(t *testing.T) {
	t.Parallel()
	for name, f := range map[string]func(*charts.Outcome){
		"no row":            func(o *charts.Outcome) { o.Rows = nil },
		"no name":           func(o *charts.Outcome) { o.Rows[0].Variety = "" },
		"no date":           func(o *charts.Outcome) { o.Rows, o.Flags = []charts.OutcomeRow{{Variety: "A"}}, nil },
		"last before first": func(o *charts.Outcome) { o.Rows[0].Last.Date = o.Rows[0].First.Date.AddDate(0, 0, -1) },
		"said out of order": func(o *charts.Outcome) {
			o.Rows[0].Said.First, o.Rows[0].Said.Last = o.Rows[0].Said.Last, o.Rows[0].Said.First
		},
		"a range that falls": func(o *charts.Outcome) { o.Rows[0].Said.First.P10 = o.Rows[0].Said.First.P90.AddDate(0, 0, 1) },
		"another year":       func(o *charts.Outcome) { o.Flags[0].Date = o.Flags[0].Date.AddDate(-1, 0, 0) },
		"a gap that falls":   func(o *charts.Outcome) { o.Gaps[0].To = o.Gaps[0].From.AddDate(0, 0, -1) },
		"a flag of no words": func(o *charts.Outcome) { o.Flags[0].Text = "" },
		"units":              func(o *charts.Outcome) { o.Units = 9 },
	} {
		o := sampleOutcome()
		f(&o)
		if err := o.Validate(); !errors.Is(err, charts.ErrInvalidChart) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
