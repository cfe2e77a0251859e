package charts_test

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/charts"
)

// sizes are the widths, in px, that every scenario is checked at.
var sizes = []int{320, 390, 700, 960, 1200, 2400}

func TestTextsNeverCollide(t *testing.T) {
	t.Parallel()
	each(t, func(t *testing.T, s charts.Season) {
		t.Helper()
		for _, units := range []charts.Units{charts.Metric, charts.US} {
			s.Units = units
			for _, w := range sizes {
				svg, _ := render(t, s, charts.Options{Width: w})
				checkTexts(t, svg)
			}
		}
	})
}

// checkTexts reports texts that overlap each other or leave the picture.
func checkTexts(t *testing.T, svg *node) {
	t.Helper()
	var w, h float64
	for i, f := range strings.Fields(svg.attr["viewBox"])[2:] {
		*[]*float64{&w, &h}[i] = (&node{attr: map[string]string{"v": f}}).num(t, "v")
	}
	texts := svg.texts()
	at := make([]box, len(texts))
	for i, n := range texts {
		at[i] = textBox(t, n)
		if b := at[i]; b.x0 < 2 || b.y0 < 2 || b.x1 > w-2 || b.y1 > h-2 {
			t.Errorf("at %.0f px %q leaves the picture: %.1f", w, n.text, b)
		}
		for j := range i {
			if at[i].overlaps(at[j]) {
				t.Errorf("at %.0f px %q %.1f and %q %.1f overlap", w, n.text, at[i], texts[j].text, at[j])
			}
		}
	}
}

// axis finds where dates are drawn from the words of the axis alone: two
// Mondays and the month they are in.
func axis(t *testing.T, svg *node, a, b string, first time.Time, days float64) func(time.Time) float64 {
	t.Helper()
	place := func(word string) float64 {
		for _, n := range svg.texts() {
			if n.text == word {
				return n.num(t, "x") - 4 // Words stand 4 px right of the start of their day.
			}
		}
		t.Fatalf("no %q on the axis", word)
		return 0
	}
	x0 := place(a)
	px := (place(b) - x0) / days
	return func(d time.Time) float64 { return x0 + d.Sub(first).Hours()/24*px }
}

// Fills of the light theme.
const (
	open  = "#fffefb"
	flesh = "#f0a199"
	berry = "#b01e30"
	straw = "#f6eedf"
	gap   = "#dfe9f2"
	thin  = "#eff3f6"
	ghost = "#fbe6e1"
)

func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

func TestBeadsStandOnTheirDays(t *testing.T) {
	t.Parallel()
	s := sample()
	svg, _ := render(t, s, charts.Options{})
	x := axis(t, svg, "Mon 8", "Mon 22", date("2026-06-08"), 14)
	px := x(date("2026-06-02")) - x(date("2026-06-01"))
	groups := svg.class("planting")
	if len(groups) != len(s.Bars) {
		t.Fatalf("%d groups for %d plantings", len(groups), len(s.Bars))
	}
	days := func(a, b time.Time) int { return int(b.Sub(a).Hours()/24) + 1 }
	for i, g := range groups {
		bar := s.Bars[i]
		beads := map[string][]box{}
		for _, fill := range []string{flesh, berry} {
			for _, p := range g.filled(fill) {
				beads[fill] = append(beads[fill], boxes(t, p)...)
			}
		}
		middle := append(slices.Clone(beads[berry]), beads[flesh]...)
		b := bounds(middle...)
		if want := x(bar.First.P50); !near(b.x0, want, 1) {
			t.Errorf("%s: beads start at %.1f, first ripe is at %.1f", bar.Variety, b.x0, want)
		}
		if want := x(bar.Last.P50.AddDate(0, 0, 1)); !near(b.x1, want, 1) {
			t.Errorf("%s: beads end at %.1f, the day of the last pick at %.1f", bar.Variety, b.x1, want)
		}
		if got, want := len(middle), days(bar.First.P50, bar.Last.P50); got != want {
			t.Errorf("%s: %d beads for %d days", bar.Variety, got, want)
		}
		if bar.SeenFirst && !bar.SeenLast {
			if got, want := bounds(beads[berry]...).x1, x(s.AsOf); got > want {
				t.Errorf("%s: seen up to %.1f, after the morning of the forecast at %.1f", bar.Variety, got, want)
			}
		}
		if !bar.SeenFirst && len(beads[berry]) > 0 {
			t.Errorf("%s: beads drawn as seen", bar.Variety)
		}
		all := slices.Clone(middle)
		for _, p := range g.filled(open) {
			for _, b := range boxes(t, p) {
				if b.width() > 2 && near(b.width(), px-1.5, 0.1) {
					all = append(all, b)
				}
			}
		}
		b = bounds(all...)
		if want := x(bar.First.P10); !near(b.x0, want, 1) {
			t.Errorf("%s: range starts at %.1f, want %.1f", bar.Variety, b.x0, want)
		}
		if want := x(bar.Last.P90.AddDate(0, 0, 1)); !near(b.x1, want, 1) {
			t.Errorf("%s: range ends at %.1f, want %.1f", bar.Variety, b.x1, want)
		}
		if got, want := len(all), days(bar.First.P10, bar.Last.P90); got != want {
			t.Errorf("%s: %d beads in all for %d days", bar.Variety, got, want)
		}
		slices.SortFunc(all, func(a, b box) int { return int(math.Copysign(1, a.x0-b.x0)) })
		falling := false
		for k := 1; k < len(all); k++ {
			a, b := all[k-1].y1-all[k-1].y0, all[k].y1-all[k].y0
			falling = falling || b < a-0.02
			if falling && b > a+0.02 {
				t.Errorf("%s: bead %d swells after the string has begun to thin", bar.Variety, k)
			}
		}
	}
}

func TestColumnsStandOnTheirDays(t *testing.T) {
	t.Parallel()
	s := sample()
	svg, _ := render(t, s, charts.Options{})
	x := axis(t, svg, "Mon 8", "Mon 22", date("2026-06-08"), 14)
	for class, fill := range map[string]string{"gap": gap, "thin": thin} {
		kind := charts.Gap
		if class == "thin" {
			kind = charts.Thin
		}
		var want []charts.Stretch
		for _, g := range s.Gaps {
			if g.Kind == kind {
				want = append(want, g)
			}
		}
		got := svg.class(class)
		if len(want) == 0 || len(got) != len(want) {
			t.Fatalf("%d columns for %d stretches", len(got), len(want))
		}
		for i, g := range got {
			b := bounds(boxes(t, g.filled(fill)[0])...)
			if !near(b.x0, x(want[i].From), 0.1) || !near(b.x1, x(want[i].To.AddDate(0, 0, 1)), 0.1) {
				t.Errorf("%s from %.1f to %.1f, want %.1f to %.1f", class, b.x0, b.x1, x(want[i].From), x(want[i].To.AddDate(0, 0, 1)))
			}
		}
	}
	weekends := 0
	for _, p := range svg.class("dates")[0].filled(straw) {
		b := bounds(boxes(t, p)...)
		sat := date("2026-05-30")
		for x(sat) < b.x0-0.1 {
			sat = sat.AddDate(0, 0, 7)
		}
		// The axis may start on a Sunday or end on a Saturday.
		if !near(b.x0, x(sat), 0.1) && weekends > 0 {
			t.Errorf("a weekend starts at %.1f, Saturday is at %.1f", b.x0, x(sat))
		}
		weekends++
	}
	if weekends < 6 {
		t.Errorf("%d weekends", weekends)
	}
	today := svg.class("dates")[0].find(func(n *node) bool {
		return n.attr["stroke-width"] == "1.6" && near(bounds(boxes(t, n)...).x0, x(s.AsOf), 0.1)
	})
	if len(today) != 1 {
		t.Errorf("%d lines at the as-of date", len(today))
	}
}

func TestSupplyStandsAtItsHeight(t *testing.T) {
	t.Parallel()
	for _, units := range []charts.Units{charts.Metric, charts.US} {
		s := sample()
		s.Units = units
		svg, _ := render(t, s, charts.Options{})
		height := map[string]float64{}
		for _, n := range svg.texts() {
			height[n.text] = n.num(t, "y") - 4 // Words stand 4 px under their height.
		}
		factor, mark, value := 1.0, "1,000", 1000.0
		if units == charts.US {
			factor, mark, value = 2.2046226218, "2,000", 2000
		}
		y := func(kg float64) float64 {
			return height["0"] + (height[mark]-height["0"])*kg*factor/value
		}
		var p10, p50, p90 float64
		for _, d := range s.Supply {
			p10, p50, p90 = max(p10, d.P10Kg), max(p50, d.P50Kg), max(p90, d.P90Kg)
		}
		top := box{}
		for i, g := range svg.class("layer") {
			for _, p := range g.find(func(n *node) bool { return n.name == "path" }) {
				b := bounds(boxes(t, p)...)
				if i == 0 {
					top = b
				}
				top = bounds(top, b)
			}
		}
		if !near(top.y0, y(p50), 0.1) {
			t.Errorf("units %d: the layers reach %.1f, the median %.1f", units, top.y0, y(p50))
		}
		var sure []box // What is drawn in full colour.
		for _, fill := range []string{"#5a1233", "#cb3a42", "#eeb05f"} {
			for _, g := range svg.class("layer") {
				for _, p := range g.filled(fill) {
					sure = append(sure, boxes(t, p)...)
				}
			}
		}
		if got := bounds(sure...).y0; !near(got, y(p10), 0.1) {
			t.Errorf("units %d: full colour reaches %.1f, the 0.1 quantile %.1f", units, got, y(p10))
		}
		b := bounds(boxes(t, svg.class("range")[0].filled(ghost)[0])...)
		if !near(b.y0, y(p90), 0.1) {
			t.Errorf("units %d: the range reaches %.1f, want %.1f", units, b.y0, y(p90))
		}
		word := map[charts.Units]string{charts.Metric: "minimum 220", charts.US: "minimum 485"}[units]
		if !near(height[word], y(s.ThinKg), 0.1) {
			t.Errorf("units %d: %q stands at %.1f, want %.1f", units, word, height[word], y(s.ThinKg))
		}
	}
}

func TestStepsAreDaysWide(t *testing.T) {
	t.Parallel()
	s := sample()
	// A farm with a single day of fruit, and one planting that bears it.
	for i := range s.Supply {
		d := &s.Supply[i]
		if !d.Date.Equal(date("2026-06-20")) {
			*d = charts.SupplyDay{Date: d.Date, PlantingKg: make([]float64, len(s.Bars))}
			continue
		}
		d.PlantingKg = make([]float64, len(s.Bars))
		d.PlantingKg[4] = 1
	}
	svg, _ := render(t, s, charts.Options{})
	x := axis(t, svg, "Mon 8", "Mon 22", date("2026-06-08"), 14)
	layers := svg.class("layer")
	if len(layers) != 1 || layers[0].attr["data-number"] != "5" {
		t.Fatalf("%d layers", len(layers))
	}
	b := bounds(boxes(t, layers[0].find(func(n *node) bool { return n.name == "path" })[0])...)
	if !near(b.x0, x(date("2026-06-20")), 0.1) || !near(b.x1, x(date("2026-06-21")), 0.1) {
		t.Errorf("fruit from %.1f to %.1f, want %.1f to %.1f", b.x0, b.x1, x(date("2026-06-20")), x(date("2026-06-21")))
	}
}

func TestBeadIsAsHighAsTheChance(t *testing.T) {
	t.Parallel()
	s := sample()
	s.Bars = []charts.Bar{{
		Variety: "Wendelin",
		First:   charts.Range{P10: date("2026-06-20"), P50: date("2026-06-22"), P90: date("2026-06-26")},
		Peak:    charts.Day(date("2026-06-28")),
		Last:    charts.Range{P10: date("2026-06-30"), P50: date("2026-07-01"), P90: date("2026-07-04")},
	}}
	s.Supply = nil
	svg, _ := render(t, s, charts.Options{})
	x := axis(t, svg, "Mon 22", "Mon 29", date("2026-06-22"), 7)
	px := x(date("2026-06-02")) - x(date("2026-06-01"))
	height := map[string]float64{}
	for _, p := range svg.class("planting")[0].find(func(n *node) bool { return n.name == "path" }) {
		for _, b := range boxes(t, p) {
			if !near(b.width(), px-1.5, 0.1) {
				continue
			}
			for d := date("2026-06-20"); d.Before(date("2026-07-05")); d = d.AddDate(0, 0, 1) {
				if near(b.x0, x(d)+0.75, 0.1) {
					height[d.Format(time.DateOnly)] = b.y1 - b.y0
				}
			}
		}
	}
	const full = 17.0
	for d, chance := range map[string]float64{
		"2026-06-20": 0.1, "2026-06-21": 0.3, "2026-06-22": 0.5, "2026-06-24": 0.7, "2026-06-26": 0.9,
		"2026-06-30": 0.9, "2026-07-01": 0.5, "2026-07-04": 0.1,
	} {
		if want := full * (0.25 + 0.75*(chance-0.1)/0.8); !near(height[d], want, 0.1) {
			t.Errorf("%s: %.2f high for a chance of %.1f, want %.2f", d, height[d], chance, want)
		}
	}
}

func TestLayersDifferInGrey(t *testing.T) {
	t.Parallel()
	for _, theme := range []charts.Theme{charts.Light, charts.Dark} {
		svg, _ := render(t, sample(), charts.Options{Theme: theme})
		var grey []float64
		for _, g := range svg.class("key")[0].find(func(n *node) bool { return strings.Contains(n.attr["d"], "A") && n.attr["fill"] != "none" }) {
			grey = append(grey, lightness(t, g.attr["fill"]))
		}
		tones := grey[len(grey)-3:]
		for i, a := range tones {
			for _, b := range tones[:i] {
				if math.Abs(a-b) < 20 {
					t.Errorf("theme %d: tones of lightness %.0f and %.0f", theme, a, b)
				}
			}
		}
	}
}

// lightness is L* of CIE 1976, 0 to 100.
func lightness(t *testing.T, hex string) float64 {
	t.Helper()
	var y float64
	for i, w := range []float64{0.2126, 0.7152, 0.0722} {
		n := strings.Index("0123456789abcdef", hex[1+2*i:2+2*i])*16 + strings.Index("0123456789abcdef", hex[2+2*i:3+2*i])
		c := float64(n) / 255
		if c > 0.04045 {
			c = math.Pow((c+0.055)/1.055, 2.4)
		} else {
			c /= 12.92
		}
		y += w * c
	}
	return 116*math.Cbrt(y) - 16
}

func FuzzSeason(f *testing.F) {
	f.Add("Lindenhof", "Wendelin", "no bloom", uint64(1), uint8(10), uint16(390))
	f.Add("", "Ä̈ \u202e \x00 & <", "", uint64(7), uint8(30), uint16(1200))
	f.Fuzz(func(t *testing.T, farm, name, reason string, seed uint64, n uint8, width uint16) {
		s := random(farm, name, reason, seed, int(n)%31)
		o := charts.Options{Width: 320 + int(width)%2081}
		if err := s.Validate(); err != nil {
			t.Skip() // A name without letters.
		}
		svg, raw := render(t, s, o)
		checkTexts(t, svg)
		if bytes.Contains(raw, []byte("NaN")) || bytes.Contains(raw, []byte("Inf\"")) {
			t.Error("not finite")
		}
	})
}
