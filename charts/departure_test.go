package charts_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"ripetide/charts"
)

// sampleDeparture is an invented spring with a hole of three days.
func sampleDeparture() charts.Departure {
	d := charts.Departure{
		Heading: "Weather of 2026", Finding: "A warm bloom and a cool picking.", Basis: "Post by the gate, beside 32 other years.",
		Stretches: []charts.DepartureStretch{
			{From: date("2026-05-10"), To: date("2026-06-08"), Name: "first bloom to first ripe", MeanC: 1.8},
			{From: date("2026-06-08"), To: date("2026-07-02"), Name: "first ripe to last pick", MeanC: -0.9},
		},
	}
	for n, day := 0, date("2026-05-01"); n < 70; n, day = n+1, day.AddDate(0, 0, 1) {
		if 40 <= n && n < 43 {
			continue
		}
		x := float64(n)
		d.Days = append(d.Days, charts.DepartureDay{Date: day, MeanC: 14 + x/8 + 4*math.Sin(x/6) + 1.5*math.Cos(x*1.7), UsualC: 14 + x/8})
	}
	return d
}

// departureGallery is what every rule about pictures must hold for.
func departureGallery() map[string]chart {
	out := map[string]chart{"departure": sampleDeparture()}
	d := sampleDeparture()
	d.Units = charts.US
	out["departure, US units"] = d
	d = sampleDeparture()
	d.Days, d.Stretches = d.Days[:1], nil
	d.Heading, d.Finding, d.Basis = "", "", ""
	out["departure of one day"] = d
	d = sampleDeparture()
	d.Heading = `<b>R&D "weather"</b> ` + strings.Repeat("Donaudampfschifffahrt ", 8)
	for i := range d.Stretches {
		d.Stretches[i].Name = strings.Repeat("von der ersten Blüte ", 6)
	}
	d.Stretches = append(d.Stretches, d.Stretches...)
	for i := range d.Days {
		d.Days[i].MeanC = d.Days[i].UsualC
	}
	out["departure, as usual, long words"] = d
	return out
}

func TestDepartureGolden(t *testing.T) {
	t.Parallel()
	all := departureGallery()
	for _, tt := range []struct {
		file, name string
		opt        charts.Options
	}{
		{"departure.svg", "departure", charts.Options{}},
		{"departure-phone.svg", "departure", charts.Options{Width: 360}},
		{"departure-dark.svg", "departure", charts.Options{Theme: charts.Dark}},
		{"departure-us.svg", "departure, US units", charts.Options{Width: 800}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			_, got := render(t, all[tt.name], tt.opt)
			golden(t, tt.file, got)
		})
	}
}

// Warm days rise from the line by as much as they are warm, cool ones hang from
// it, read from the figures of the axis.
func TestDepartureBeadsAreAsLongAsTheDaysAreWarm(t *testing.T) {
	t.Parallel()
	d := sampleDeparture()
	svg, _ := render(t, d, charts.Options{})
	y := map[string]float64{}
	for _, n := range svg.texts() {
		y[n.text] = n.num(t, "y") - 4
	}
	per := (y["0"] - y["4"]) / 4
	if !(per > 0) {
		t.Fatalf("the axis says %v", y)
	}
	groups := svg.class("days")
	if len(groups) != 1 {
		t.Fatalf("%d groups of days", len(groups))
	}
	warm, cool := groups[0].filled(berry), 0
	n := 0
	for _, x := range d.Days {
		off := x.MeanC - x.UsualC
		if off < 0 {
			cool++
			continue
		}
		b := bounds(boxes(t, warm[n])...)
		if !near(b.y0, y["0"]-per*off, 1) || !near(b.y1, y["0"], 1) {
			t.Errorf("%s, %.1f °C warmer, is drawn from %.1f up to %.1f, want %.1f to %.1f", x.Date.Format("2 Jan"), off, b.y1, b.y0, y["0"], y["0"]-per*off)
		}
		n++
	}
	if n != len(warm) || n < 20 || cool < 20 {
		t.Errorf("%d warm days of %d drawn, %d cool ones", n, len(warm), cool)
	}
}

func TestDepartureSaysWhatItShows(t *testing.T) {
	t.Parallel()
	text := sampleDeparture().Description()
	for _, want := range []string{
		"First bloom to first ripe: 1.8 °C warmer, ", "first ripe to last pick: 0.9 °C cooler, ", "Most above the usual on ", "3 days are not on record.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
	us := sampleDeparture()
	us.Units = charts.US
	if text := us.Description(); !strings.Contains(text, "3.2 °F warmer") || !strings.Contains(text, "1.6 °F cooler") { // 1.8 and 0.9 by 9/5.
		t.Errorf("in °F: %s", text)
	}
}

func TestBadDeparturesAreRefused(t *testing.T) {
	t.Parallel()
	for name, f := range map[string]func(*charts.Departure){
		"no day":                func(d *charts.Departure) { d.Days = nil },
		"a day twice":           func(d *charts.Departure) { d.Days[1].Date = d.Days[0].Date },
		"a year of days":        func(d *charts.Departure) { d.Days[0].Date = date("2025-05-01") },
		"no number":             func(d *charts.Departure) { d.Days[3].MeanC = math.NaN() },
		"a stretch elsewhere":   func(d *charts.Departure) { d.Stretches[0].To = date("2026-12-01") },
		"a stretch of no name":  func(d *charts.Departure) { d.Stretches[0].Name = " " },
		"a mean of no number":   func(d *charts.Departure) { d.Stretches[0].MeanC = math.NaN() },
		"five stretches":        func(d *charts.Departure) { d.Stretches = append(d.Stretches, append(d.Stretches, d.Stretches[0])...) },
		"units of no country":   func(d *charts.Departure) { d.Units = 9 },
		"a moment and no date":  func(d *charts.Departure) { d.Days[0].Date = d.Days[0].Date.Add(3600e9) },
		"a stretch of no dates": func(d *charts.Departure) { d.Stretches[1].From = d.Stretches[1].From.AddDate(1, 0, 0) },
	} {
		d := sampleDeparture()
		f(&d)
		if err := d.Validate(); !errors.Is(err, charts.ErrInvalidChart) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
