package charts_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"ripetide/charts"
)

// sampleDesign is an invented list with a gap between two varieties that a third
// one closes for the most part.
func sampleDesign() charts.Design {
	d := charts.Design{
		Finding: "A season has 3.1 gap days fewer with the changes.", Basis: "Hill Farm, 40 past years of weather.", Changed: true,
	}
	for n, day := 0, date("2028-05-22"); n < 50; n, day = n+1, day.AddDate(0, 0, 1) {
		gap := 0.6 * math.Exp(-math.Pow((float64(n)-24)/5, 2))
		d.Days = append(d.Days, charts.DesignDay{Date: day, GapBefore: gap, GapAfter: gap / 4})
		if day.Weekday() == time.Saturday {
			mid := 700*math.Exp(-math.Pow((float64(n)-14)/7, 2)) + 500*math.Exp(-math.Pow((float64(n)-36)/7, 2))
			more := mid + 250*math.Exp(-math.Pow((float64(n)-24)/6, 2))
			d.Saturdays = append(d.Saturdays, charts.DesignSaturday{Date: day,
				Before: charts.DesignRange{P10: mid * 0.5, P50: mid, P90: mid * 1.5}, After: charts.DesignRange{P10: more * 0.5, P50: more, P90: more * 1.5}})
		}
	}
	return d
}

// designGallery is what every rule about pictures must hold for.
func designGallery() map[string]chart {
	out := map[string]chart{"design": sampleDesign()}
	d := sampleDesign()
	d.Units = charts.US
	out["design, US units"] = d
	d = sampleDesign()
	d.Changed = false
	out["design as it stands"] = d
	d = sampleDesign()
	d.Days, d.Saturdays = d.Days[:1], nil
	d.Heading, d.Finding, d.Basis = `<b>R&D "fruit"</b> `+strings.Repeat("Donaudampfschifffahrt ", 8), "", ""
	out["design of one day, long words"] = d
	return out
}

func TestDesignGolden(t *testing.T) {
	t.Parallel()
	all := designGallery()
	for _, tt := range []struct {
		file, name string
		opt        charts.Options
	}{
		{"design.svg", "design", charts.Options{}},
		{"design-phone.svg", "design", charts.Options{Width: 360}},
		{"design-dark.svg", "design", charts.Options{Theme: charts.Dark}},
		{"design-stands.svg", "design as it stands", charts.Options{}},
		{"design-us.svg", "design, US units", charts.Options{Width: 800}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			_, got := render(t, all[tt.name], tt.opt)
			golden(t, tt.file, got)
		})
	}
}

// Solid roots are as long as the share of seasons, read from the figures of the
// axis.
func TestRootsAreAsLongAsTheShareOfSeasons(t *testing.T) {
	t.Parallel()
	d := sampleDesign()
	svg, _ := render(t, d, charts.Options{})
	y := map[string]float64{}
	for _, n := range svg.texts() {
		y[n.text] = n.num(t, "y") - 4
	}
	per := (y["5.0"] - y["0.0"]) / 5
	if !(per > 0) {
		t.Fatalf("the axis says %v", y)
	}
	groups := svg.class("day")
	if len(groups) != len(d.Days) {
		t.Fatalf("%d days are drawn of %d", len(groups), len(d.Days))
	}
	seen := 0
	for i, g := range groups {
		for _, r := range g.filled("#1d4a72") {
			seen++
			if b := bounds(boxes(t, r)...); !near(b.y0, y["0.0"], 1) || !near(b.y1, y["0.0"]+per*10*d.Days[i].GapAfter, 1) {
				t.Errorf("day %d is drawn from %.1f to %.1f, want to %.1f", i, b.y0, b.y1, y["0.0"]+per*10*d.Days[i].GapAfter)
			}
		}
	}
	if seen < 10 {
		t.Errorf("%d solid roots", seen)
	}
}

func TestDesignsSayWhatTheyShow(t *testing.T) {
	t.Parallel()
	text := sampleDesign().Description()
	for _, want := range []string{"Ripe fruit on Sat 3 Jun: as it stands ", "Nothing ripe on Thu 15 Jun, in 100 seasons: as it stands 60, with the changes 15."} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
	d := sampleDesign()
	d.Changed = false
	if text := d.Description(); strings.Contains(text, "with the changes 15") {
		t.Errorf("what is not drawn is told: %s", text)
	}
}

func TestBadDesignsAreRefused(t *testing.T) {
	t.Parallel()
	for name, f := range map[string]func(*charts.Design){
		"no days":             func(d *charts.Design) { d.Days = nil },
		"a day twice":         func(d *charts.Design) { d.Days[1].Date = d.Days[0].Date },
		"more than all":       func(d *charts.Design) { d.Days[1].GapAfter = 1.1 },
		"no number":           func(d *charts.Design) { d.Days[1].GapBefore = math.NaN() },
		"a Sunday":            func(d *charts.Design) { d.Saturdays[0].Date = d.Saturdays[0].Date.AddDate(0, 0, 1) },
		"a Saturday apart":    func(d *charts.Design) { d.Saturdays[0].Date = d.Saturdays[0].Date.AddDate(0, 0, -70) },
		"a range that falls":  func(d *charts.Design) { d.Saturdays[0].After.P10 = 1e6 },
		"units of no country": func(d *charts.Design) { d.Units = 9 },
	} {
		d := sampleDesign()
		f(&d)
		if err := d.Validate(); !errors.Is(err, charts.ErrInvalidChart) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
