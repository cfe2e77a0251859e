package charts_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"ripetide/charts"
)

// sampleReadiness is an invented season of a farm that opens on four days of the
// week.
func sampleReadiness() charts.Readiness {
	r := charts.Readiness{
		Heading: "When to open, Hollow Farm 2026", Finding: "Wed 17 Jun is the first day you open on with 8 chances in ten.",
		Basis: "Ready means 300 kg of ripe fruit standing.", AsOf: date("2026-06-05"), Confidence: 0.8,
		Advised: date("2026-06-17"), Decided: date("2026-06-20"),
		Marks: []charts.Mark{{Date: date("2026-06-21"), Label: "Father's Day"}, {Date: date("2026-06-24"), Label: "Midsummer"}},
	}
	for d := date("2026-06-05"); !d.After(date("2026-07-08")); d = d.AddDate(0, 0, 1) {
		n := d.Sub(date("2026-06-05")).Hours() / 24
		ready := 1 / (1 + math.Exp(-(n-10)*0.75))
		if n > 26 {
			ready *= 1 - (n-26)/9
		}
		w := d.Weekday()
		r.Days = append(r.Days, charts.ReadyDay{
			Date: d, Opens: w == time.Monday || w == time.Wednesday || w == time.Saturday || w == time.Sunday,
			Ready: ready, Past: min(1, max(0, (n-9)/30)),
		})
	}
	return r
}

// readinessGallery is what every rule about pictures must hold for.
func readinessGallery() map[string]chart {
	out := map[string]chart{"readiness": sampleReadiness()}
	r := sampleReadiness()
	r.Units, r.Hindcast, r.Decided = charts.US, true, r.Advised
	out["readiness, US units, decided as advised"] = r

	r = sampleReadiness()
	r.Days, r.Advised, r.Decided, r.Marks = r.Days[:1], time.Time{}, time.Time{}, nil
	r.Heading, r.Finding, r.Basis, r.Confidence = "", "", "", 1
	out["readiness of one day"] = r

	r = sampleReadiness()
	r.Heading = `<b>R&D</b> ` + strings.Repeat("am Südhang ", 12)
	r.Marks = nil
	for i := range 12 {
		r.Marks = append(r.Marks, charts.Mark{Date: r.AsOf.AddDate(0, 0, i), Label: strings.Repeat("Überlanger Feiertag ", 1+i%5)})
	}
	for i := range r.Days {
		r.Days[i].Ready, r.Days[i].Past = float64(i%2), 1
	}
	out["readiness, all or nothing"] = r
	return out
}

func TestReadinessGolden(t *testing.T) {
	t.Parallel()
	all := readinessGallery()
	for _, tt := range []struct {
		file, name string
		opt        charts.Options
	}{
		{"readiness.svg", "readiness", charts.Options{}},
		{"readiness-phone.svg", "readiness", charts.Options{Width: 360}},
		{"readiness-dark.svg", "readiness", charts.Options{Theme: charts.Dark}},
		{"readiness-us.svg", "readiness, US units, decided as advised", charts.Options{Width: 800}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			_, got := render(t, all[tt.name], tt.opt)
			golden(t, tt.file, got)
		})
	}
}

// Jars are as full as the days are ready, read from the words of the axis.
func TestReadinessJarsAreAsFullAsTheDaysAreReady(t *testing.T) {
	t.Parallel()
	r := sampleReadiness()
	svg, _ := render(t, r, charts.Options{})
	y := map[string]float64{}
	for _, n := range svg.texts() {
		if _, there := y[n.text]; !there { // The upper panel's come first.
			y[n.text] = n.num(t, "y") - 4
		}
	}
	days := svg.class("day")
	if len(days) != len(r.Days) {
		t.Fatalf("%d days drawn of %d", len(days), len(r.Days))
	}
	jars, full := 0, 0
	for i, d := range r.Days {
		fills := append(days[i].filled(berry), days[i].filled(flesh)...)
		if !d.Opens {
			if len(fills) > 0 {
				t.Errorf("%s is not open and has a jar", d.Date)
			}
			continue
		}
		if d.Ready < 0.1 {
			continue
		}
		jars++
		if len(fills) != 1 {
			t.Fatalf("%s has %d fillings", d.Date, len(fills))
		}
		if (d.Ready >= r.Confidence) != (len(days[i].filled(berry)) == 1) {
			t.Errorf("%s with %v is in the wrong colour", d.Date, d.Ready)
		} else if d.Ready >= r.Confidence {
			full++
		}
		want := y["0"] + (y["10"]-y["0"])*d.Ready
		if b := bounds(boxes(t, fills[0])...); !near(b.y0, want, 0.6) || !near(b.y1, y["0"], 0.6) {
			t.Errorf("%s is filled from %.1f up to %.1f, want %.1f to %.1f", d.Date, b.y1, b.y0, y["0"], want)
		}
	}
	if jars < 12 || full < 8 {
		t.Errorf("%d jars, %d full: the test sees too little", jars, full)
	}
}

func TestReadinessSaysWhatItShows(t *testing.T) {
	t.Parallel()
	text := sampleReadiness().Description()
	for _, want := range []string{
		"Advised: Wed 17 Jun.", "Decided: Sat 20 Jun.", "The farm wants 8 chances in ten of being ready.",
		"Fri 5 Jun: fewer than 1 in ten, not open.", "Mon 15 Jun: 5 in ten, 3 in 100 of the crop spoiled.", "Father's Day: Sun 21 Jun.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
	if n := strings.Count(text, " in ten"); n != len(sampleReadiness().Days)+2 { // And the finding, and the confidence.
		t.Errorf("%d days told of %d", n-2, len(sampleReadiness().Days))
	}
}

func TestReadinessThatCannotBeIsRefused(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]func(*charts.Readiness){
		"Confidence":    func(r *charts.Readiness) { r.Confidence = 0 },
		"Days: 0":       func(r *charts.Readiness) { r.Days = nil },
		"Days[1].Ready": func(r *charts.Readiness) { r.Days[1].Ready = math.NaN() },
		"Days[2].Past":  func(r *charts.Readiness) { r.Days[2].Past = 1.1 },
		"Days[3].Date":  func(r *charts.Readiness) { r.Days[3].Date = r.Days[2].Date },
		"Marks[0]":      func(r *charts.Readiness) { r.Marks[0].Label = " " },
		"AsOf":          func(r *charts.Readiness) { r.AsOf = time.Time{} },
		"Decided":       func(r *charts.Readiness) { r.Decided = date("2026-06-20").Add(time.Hour) },
		"Units":         func(r *charts.Readiness) { r.Units = 9 },
		"first to last": func(r *charts.Readiness) { r.Days[len(r.Days)-1].Date = date("2027-06-20") },
	} {
		r := sampleReadiness()
		spoil(&r)
		if err := r.Validate(); !errors.Is(err, charts.ErrInvalidChart) || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
