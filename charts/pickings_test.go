package charts_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"ripetide/charts"
)

// samplePickings is an invented season: a closed day, and two without an entry.
func samplePickings() charts.Pickings {
	k := charts.Pickings{
		Heading: "Ripe fruit forecast, and what was picked, 2026", Finding: "The middle of the season gave less than was forecast.",
		Basis: "Hill Farm, all plantings.", AsOf: date("2026-05-30"),
	}
	for n, day := 0, date("2026-06-02"); n < 40; n, day = n+1, day.AddDate(0, 0, 1) {
		mid := 900 * math.Exp(-math.Pow((float64(n)-18)/10, 2))
		k.Ripe = append(k.Ripe, charts.PickingsRipe{Date: day, P10: mid * 0.6, P50: mid, P90: mid * 1.5})
		switch {
		case n < 4 || n > 35 || n == 20 || n == 21:
		case n == 12:
			k.Picked = append(k.Picked, charts.PickingsDay{Date: day, Closed: true})
		default:
			k.Picked = append(k.Picked, charts.PickingsDay{Date: day, Kg: mid * (0.8 + 0.2*math.Sin(float64(n)))})
		}
	}
	return k
}

// pickingsGallery is what every rule about pictures must hold for.
func pickingsGallery() map[string]chart {
	out := map[string]chart{"pickings": samplePickings()}
	k := samplePickings()
	k.Units = charts.US
	out["pickings, US units"] = k
	k = samplePickings()
	k.Ripe, k.Picked = nil, k.Picked[:1]
	k.Heading, k.Finding, k.Basis = "", "", ""
	out["pickings of one day"] = k
	k = samplePickings()
	k.Heading = `<b>R&D "fruit"</b> ` + strings.Repeat("Donaudampfschifffahrt ", 8)
	for i := range k.Picked {
		if !k.Picked[i].Closed {
			k.Picked[i].Kg = 123456
		}
	}
	out["pickings of a great farm, long words"] = k
	return out
}

func TestPickingsGolden(t *testing.T) {
	t.Parallel()
	all := pickingsGallery()
	for _, tt := range []struct {
		file, name string
		opt        charts.Options
	}{
		{"pickings.svg", "pickings", charts.Options{}},
		{"pickings-phone.svg", "pickings", charts.Options{Width: 360}},
		{"pickings-dark.svg", "pickings", charts.Options{Theme: charts.Dark}},
		{"pickings-us.svg", "pickings, US units", charts.Options{Width: 800}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			_, got := render(t, all[tt.name], tt.opt)
			golden(t, tt.file, got)
		})
	}
}

// Pails are as high as what was picked, read from the figures of the axis, and
// there is none on a day that was closed or has no entry.
func TestPailsAreAsHighAsWhatWasPicked(t *testing.T) {
	t.Parallel()
	k := samplePickings()
	svg, _ := render(t, k, charts.Options{})
	y := map[string]float64{}
	for _, n := range svg.texts() {
		y[n.text] = n.num(t, "y") - 4
	}
	per := (y["0"] - y["500"]) / 500
	if !(per > 0) {
		t.Fatalf("the axis says %v", y)
	}
	groups := svg.class("picked")
	if len(groups) != 1 {
		t.Fatalf("%d groups of pickings", len(groups))
	}
	pails, n := groups[0].filled(berry), 0
	for _, d := range k.Picked {
		if d.Closed {
			continue
		}
		if n == len(pails) {
			t.Fatalf("%d pails are too few", n)
		}
		b := bounds(boxes(t, pails[n])...)
		if !near(b.y0, y["0"]-per*d.Kg, 1) || !near(b.y1, y["0"], 1) {
			t.Errorf("%s, %.0f kg, is drawn from %.1f up to %.1f, want up to %.1f", d.Date.Format("2 Jan"), d.Kg, b.y1, b.y0, y["0"]-per*d.Kg)
		}
		n++
	}
	if n != len(pails) || n != 29 { // Days 4 to 35 without 12, 20 and 21.
		t.Errorf("%d pails for %d pickings", len(pails), n)
	}
}

func TestPickingsSayWhatTheyShow(t *testing.T) {
	t.Parallel()
	text := samplePickings().Description()
	for _, want := range []string{
		"Ripe fruit as it was forecast on the morning of Sat 30 May 2026.", "Sun 14 Jun: closed, forecast 630 kg (380 kg to 940 kg).", "2 days in between have no entry.", "Picked in all: ",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
}

func TestBadPickingsAreRefused(t *testing.T) {
	t.Parallel()
	for name, f := range map[string]func(*charts.Pickings){
		"nothing picked":       func(k *charts.Pickings) { k.Picked = nil },
		"a day twice":          func(k *charts.Pickings) { k.Picked[1].Date = k.Picked[0].Date },
		"less than nothing":    func(k *charts.Pickings) { k.Picked[0].Kg = -1 },
		"picked, and closed":   func(k *charts.Pickings) { k.Picked[0].Closed = true },
		"a range that falls":   func(k *charts.Pickings) { k.Ripe[5].P10 = k.Ripe[5].P90 + 1 },
		"no number":            func(k *charts.Pickings) { k.Ripe[5].P50 = math.NaN() },
		"no morning":           func(k *charts.Pickings) { k.AsOf = date("2026-05-30").AddDate(-3000, 0, 0) },
		"another year":         func(k *charts.Pickings) { k.Ripe[0].Date = k.Ripe[0].Date.AddDate(-1, 0, 0) },
		"units of no country":  func(k *charts.Pickings) { k.Units = 9 },
		"a moment and no date": func(k *charts.Pickings) { k.Picked[0].Date = k.Picked[0].Date.Add(3600e9) },
	} {
		k := samplePickings()
		f(&k)
		if err := k.Validate(); !errors.Is(err, charts.ErrInvalidChart) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
