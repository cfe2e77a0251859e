package charts_test

import (
	"errors"
	"strings"
	"testing"

	"ripetide/charts"
)

// sampleRipeWeek is an invented week of an invented farm.
func sampleRipeWeek() charts.RipeWeek {
	r := charts.RipeWeek{
		Heading: "Hollow Farm", Finding: "We are open for picking.", Head: "Ripe this week", Key: "Strong red: ripe today. Soft red: expected.",
		Next: "Coming next: Wendelin.", Basis: "As of Thursday 11 June. Dates hang on the weather: please ask or look here before you drive.",
		Rows: []charts.RipeRow{
			{"Wrenlight", []bool{true, true, true, false, false, false, false}},
			{"Sandmartin", []bool{true, true, true, true, true, true, true}},
			{"Orla", []bool{false, false, false, false, true, true, true}},
		},
	}
	for i, name := range []string{"Thu", "Fri", "Sat", "Sun", "Mon", "Tue", "Wed"} {
		r.Days = append(r.Days, charts.WeekDay{Name: name, Number: []string{"11", "12", "13", "14", "15", "16", "17"}[i], Weekend: i == 2 || i == 3})
	}
	return r
}

// ripeWeekGallery is what every rule about pictures must hold for.
func ripeWeekGallery() map[string]chart {
	out := map[string]chart{"ripe week": sampleRipeWeek()}
	r := sampleRipeWeek()
	r.Days, r.Rows, r.Next, r.Finding = nil, nil, "", "We expect our first strawberries in late June."
	out["ripe week, not yet open"] = r

	r = sampleRipeWeek()
	r.Heading = strings.Repeat("Erdbeerselbstpflückparadies ", 4)
	r.Head, r.Finding = "Diese Woche reif", "Das Feld ist zum Selbstpflücken geöffnet."
	for i := range r.Rows {
		r.Rows[i].Name = "Königin Wilhelmine von der Oberen Sonnenhalde, spätfrostharte Auslese Nummer " + strings.Repeat("I", i+1)
	}
	for i := range r.Days {
		r.Days[i].Name = "Donnerstag"
	}
	out["ripe week, long words"] = r

	r = sampleRipeWeek()
	r.Heading = `<b>R&D "bed"</b>`
	for len(r.Rows) < 40 {
		r.Rows = append(r.Rows, r.Rows[len(r.Rows)%3])
	}
	out["ripe week of many"] = r
	return out
}

func TestRipeWeekGolden(t *testing.T) {
	t.Parallel()
	all := ripeWeekGallery()
	for _, tt := range []struct {
		file, name string
		opt        charts.Options
	}{
		{"ripe.svg", "ripe week", charts.Options{Width: 480, Fixed: true}},
		{"ripe-dark.svg", "ripe week", charts.Options{Width: 480, Theme: charts.Dark, Fixed: true}},
		{"ripe-narrow.svg", "ripe week, long words", charts.Options{Width: 320}},
		{"ripe-closed.svg", "ripe week, not yet open", charts.Options{Width: 480}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			_, got := render(t, all[tt.name], tt.opt)
			golden(t, tt.file, got)
		})
	}
}

// Every variety has a bead on each day on which it is ripe, under that day, and
// none on others; today's are strong red.
func TestRipeWeekHasABeadForEachRipeDay(t *testing.T) {
	t.Parallel()
	r := sampleRipeWeek()
	for _, w := range []int{320, 480, 960} {
		svg, _ := render(t, r, charts.Options{Width: w})
		middle := map[string]float64{}
		for _, n := range svg.texts() {
			b := textBox(t, n)
			middle[n.text] = (b.x0 + b.x1) / 2
		}
		rows := svg.class("row")
		if len(rows) != len(r.Rows) {
			t.Fatalf("%d px: %d rows", w, len(rows))
		}
		for i, row := range rows {
			got := map[int]string{}
			for _, hex := range []string{berry, flesh} {
				for _, path := range row.filled(hex) {
					for _, b := range boxes(t, path) {
						for k, d := range r.Days {
							if at := middle[d.Number]; b.x0 < at && at < b.x1 {
								got[k] = hex
							}
						}
					}
				}
			}
			for k, on := range r.Rows[i].On {
				want := ""
				if on && k == 0 {
					want = berry
				} else if on {
					want = flesh
				}
				if got[k] != want {
					t.Errorf("%d px: %s on %s is %q, want %q", w, r.Rows[i].Name, r.Days[k].Name, got[k], want)
				}
			}
		}
	}
}

func TestRipeWeekTellsItsFaults(t *testing.T) {
	t.Parallel()
	for want, spoil := range map[string]func(*charts.RipeWeek){
		"Heading: empty":            func(r *charts.RipeWeek) { r.Heading = " \t" },
		"Days: 11 are more than 10": func(r *charts.RipeWeek) { r.Days = make([]charts.WeekDay, 11) },
		"Rows: 41 are more than 40": func(r *charts.RipeWeek) { r.Rows = make([]charts.RipeRow, 41) },
		"Days: none for the rows":   func(r *charts.RipeWeek) { r.Days = nil },
		"Days[2]: has no name":      func(r *charts.RipeWeek) { r.Days[2].Number = "" },
		"Rows[1].Name: empty":       func(r *charts.RipeWeek) { r.Rows[1].Name = "" },
		"Rows[0].On: 1 are not":     func(r *charts.RipeWeek) { r.Rows[0].On = []bool{true} },
	} {
		r := sampleRipeWeek()
		spoil(&r)
		if err := r.Validate(); !errors.Is(err, charts.ErrInvalidChart) || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
		if got := r.Description(); strings.Contains(got, "Wrenlight") {
			t.Errorf("%s: described as %q", want, got)
		}
	}
}
