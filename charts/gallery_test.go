package charts_test

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/charts"
)

// sampleLead is an invented table of scores: the forecast gains on the
// baselines as the season runs.
func sampleLead() charts.LeadError {
	return charts.LeadError{
		Heading: "Error by lead, first ripe", Hindcast: true,
		Finding: "A week ahead the forecast is off by a day and a half, less than half as far as bloom and the mean number of days.",
		Basis:   "Nine seasons, each forecast from the others; seasons drawn anew 2,000 times.",
		Leads: []charts.Lead{
			{Label: "at bloom", Cases: 74, Seasons: 9}, {Label: "21 days", Cases: 74, Seasons: 9},
			{Label: "14", Cases: 73, Seasons: 9}, {Label: "7", Cases: 70, Seasons: 9}, {Label: "3 days before", Cases: 66, Seasons: 8},
		},
		Forecast: charts.LeadSeries{Points: []charts.LeadPoint{
			{Lead: 0, Days: 3.3, Low: 2.6, High: 4.1}, {Lead: 1, Days: 3.0, Low: 2.3, High: 3.8},
			{Lead: 2, Days: 2.2, Low: 1.7, High: 2.8}, {Lead: 3, Days: 1.5, Low: 1.2, High: 1.9}, {Lead: 4, Days: 0.9, Low: 0.7, High: 1.2},
		}},
		Baselines: []charts.LeadSeries{
			{Name: "the variety's mean date", Points: []charts.LeadPoint{{Lead: 0, Days: 5.6}, {Lead: 1, Days: 5.6}, {Lead: 2, Days: 5.6}, {Lead: 3, Days: 5.5}, {Lead: 4, Days: 5.4}}},
			{Name: "bloom and 30 days", Points: []charts.LeadPoint{{Lead: 0, Days: 4.2}, {Lead: 1, Days: 4.2}, {Lead: 2, Days: 4.2}, {Lead: 3, Days: 4.2}, {Lead: 4, Days: 4.1}}},
			{Name: "bloom and the variety's own mean days", Points: []charts.LeadPoint{{Lead: 0, Days: 3.4}, {Lead: 1, Days: 3.4}, {Lead: 2, Days: 3.4}, {Lead: 3, Days: 3.4}, {Lead: 4, Days: 3.3}}},
			{Name: "degree-days in mean weather", Points: []charts.LeadPoint{{Lead: 0, Days: 3.6}, {Lead: 1, Days: 3.2}, {Lead: 2, Days: 2.7}, {Lead: 3, Days: 2.3}, {Lead: 4, Days: 1.9}}},
			{Name: "days from mean temperature", Points: []charts.LeadPoint{{Lead: 0, Days: 3.2}, {Lead: 1, Days: 3.1}, {Lead: 2, Days: 2.6}}},
		},
		Bias: []charts.LeadPoint{
			{Lead: 0, Days: 0.6, Low: -0.7, High: 1.8}, {Lead: 1, Days: 0.4, Low: -0.6, High: 1.3}, {Lead: 2, Days: 0.04, Low: -0.6, High: 0.6},
			{Lead: 3, Days: -0.3, Low: -0.7, High: 0.1}, {Lead: 4, Days: -0.2, Low: -0.4, High: 0.1},
		},
	}
}

func sampleReliability() charts.Reliability {
	return charts.Reliability{
		Heading: "Reliability, all stages and gaps", Event: "a gap", Hindcast: true,
		Finding: "Gaps come about as often as forecast; the ranges are a little too wide.",
		Basis:   "Nine seasons, a week ahead.",
		Chances: []charts.ChanceBin{
			{Forecast: 0.03, Came: 0.01, Cases: 412, Low: 0.015, High: 0.05}, {Forecast: 0.14, Came: 0.18, Cases: 96, Low: 0.09, High: 0.2},
			{Forecast: 0.25, Came: 0.21, Cases: 58, Low: 0.17, High: 0.33}, {Forecast: 0.35, Came: 0.42, Cases: 31, Low: 0.23, High: 0.48},
			{Forecast: 0.46, Came: 0.36, Cases: 22, Low: 0.32, High: 0.59}, {Forecast: 0.55, Came: 0.61, Cases: 18, Low: 0.39, High: 0.72},
			{Forecast: 0.66, Came: 0.79, Cases: 14, Low: 0.5, High: 0.79}, {Forecast: 0.78, Came: 0.75, Cases: 12, Low: 0.58, High: 0.92},
			{Forecast: 0.93, Came: 0.97, Cases: 33, Low: 0.88, High: 1},
		},
		Falls: []int{17, 24, 30, 38, 41, 36, 33, 29, 20, 19}, FallsLow: 21, FallsHigh: 36,
	}
}

func sampleBase() charts.BaseProfile {
	proposed := 1.5
	b := charts.BaseProfile{
		Heading:  "Base temperature, all varieties",
		Finding:  "A base of 1.5 °C would have been off by 0.2 days less than 3 °C: a clear gain over nine seasons.",
		Basis:    "First ripe, each season forecast from the others.",
		CurrentC: 3, ProposedC: &proposed,
	}
	for i, name := range []string{"single sine", "average of the extremes", "single triangle"} {
		k := charts.BaseCurve{Name: name}
		for c := 0.0; c <= 7; c += 0.5 {
			d := 2.1 + 0.1*(c-1.6-0.4*float64(i))*(c-1.6-0.4*float64(i)) + 0.12*float64(i)
			p := charts.BasePoint{BaseC: c, Days: d}
			if i == 0 {
				p.Low, p.High = d*0.82, d*1.2
			}
			k.Points = append(k.Points, p)
		}
		b.Curves = append(b.Curves, k)
	}
	return b
}

// sampleStory is an invented planting in an invented spring, told on the
// morning of asOf.
func sampleStory(asOf string) charts.Story {
	bloom := date("2026-05-08")
	s := charts.Story{
		Heading: "Wendelin, North slope", Bloom: bloom, AsOf: date(asOf),
		Basis: "Ahead: the outlook, then 41 past years.",
	}
	s.OutlookThrough = s.AsOf.AddDate(0, 0, 8)
	heat := func(d int) float64 {
		return 8.6 + 0.11*float64(d) + 3*math.Sin(float64(d)*0.9) + 1.5*math.Sin(float64(d)*0.37)
	}
	sum, spread := 0.0, 0.0
	for d := 1; d <= 75; d++ {
		day := bloom.AddDate(0, 0, d)
		sum += heat(d)
		if day.Before(s.AsOf) {
			s.Past = append(s.Past, charts.HeatDay{Date: day, SumC: sum, Filled: 9 <= d && d <= 11 || d == 20})
			continue
		}
		far := day.Sub(s.AsOf).Hours() / 24
		spread += 0.8 + 1.2*min(1, far/9)
		s.Ahead = append(s.Ahead, charts.HeatRange{Date: day, P10C: sum - spread, P50C: sum, P90C: sum + spread*1.1})
	}
	s.Needs = []charts.Need{
		{Stage: "first ripe", P10C: 322, P50C: 345, P90C: 369}, {Stage: "peak", P10C: 380, P50C: 408, P90C: 437},
		{Stage: "last pick", P10C: 455, P50C: 496, P90C: 540},
	}
	// Stages came a day after what is usual for their degree-days; to come they
	// are expected from an early to a late crossing.
	for i := range s.Needs {
		n := &s.Needs[i]
		for _, d := range s.Past {
			if d.SumC >= n.P50C && n.Seen.IsZero() && d.Date.AddDate(0, 0, 1).Before(s.AsOf) {
				n.Seen = d.Date.AddDate(0, 0, 1)
			}
		}
		for _, d := range slices.Backward(s.Ahead) {
			for _, k := range []struct {
				at        *time.Time
				sum, need float64
			}{
				{&n.When.P10, d.P90C, n.P10C*0.4 + n.P50C*0.6}, {&n.When.P50, d.P50C, n.P50C}, {&n.When.P90, d.P10C, n.P90C*0.4 + n.P50C*0.6},
			} {
				if k.sum >= k.need {
					*k.at = d.Date
				}
			}
		}
	}
	return s
}

// sampleNarrowing is an invented season of forecasts: every step days one, from
// the first of April on until the morning of asOf. The plain truth is at 11, 16
// and 25 June.
func sampleNarrowing(step int, asOf string) charts.Narrowing {
	n := charts.Narrowing{Heading: "Wendelin, North slope", Marked: date(asOf)}
	for i, k := range []struct{ name, day string }{{"first ripe", "2026-06-11"}, {"peak", "2026-06-16"}, {"last pick", "2026-06-25"}} {
		truth := date(k.day)
		s := charts.NarrowingStage{Stage: k.name}
		for d := date("2026-04-01"); !d.After(date(asOf)); d = d.AddDate(0, 0, step) {
			if !d.Before(truth) {
				s.Seen = truth
				s.Issued = append(s.Issued, charts.IssuedRange{AsOf: d, When: charts.Day(truth)})
				continue
			}
			left := truth.Sub(d).Hours() / 24
			off := int(math.Round(3 * math.Sin(left/9+float64(i)) * left / 40))
			wide := int(math.Ceil(left / 9))
			mid := truth.AddDate(0, 0, off)
			s.Issued = append(s.Issued, charts.IssuedRange{AsOf: d, When: charts.Range{
				P10: mid.AddDate(0, 0, -wide), P50: mid, P90: mid.AddDate(0, 0, wide+1),
			}})
		}
		n.Stages = append(n.Stages, s)
	}
	return n
}

// gallery is the charts that every rule about pictures must hold for, by the
// name of their picture.
func gallery() map[string]chart {
	out := map[string]chart{
		"lead": sampleLead(), "reliability": sampleReliability(), "base": sampleBase(),
		"story": sampleStory("2026-06-02"), "story at bloom": sampleStory("2026-05-10"),
		"story with stages seen": sampleStory("2026-06-18"), "story of a season that is over": sampleStory("2026-07-20"),
	}

	e := sampleLead()
	e.Baselines, e.Bias, e.Hindcast = nil, nil, false
	out["lead, forecast alone"] = e

	e = sampleLead()
	e.Baselines = append(e.Baselines, charts.LeadSeries{Name: "last year's dates", Points: e.Baselines[0].Points[2:]})
	e.Leads[1].Cases, e.Leads[1].Seasons = 0, 0
	without := func(pts []charts.LeadPoint) []charts.LeadPoint {
		return slices.DeleteFunc(slices.Clone(pts), func(p charts.LeadPoint) bool { return p.Lead == 1 })
	}
	e.Forecast.Points, e.Bias = without(e.Forecast.Points), without(e.Bias)
	for i, b := range e.Baselines {
		e.Baselines[i].Points = without(b.Points)
	}
	out["lead with a lead without cases"] = e

	e = sampleLead()
	e.Heading, e.Finding, e.Basis = "", "", ""
	e.Leads = nil
	for i := range 8 {
		e.Leads = append(e.Leads, charts.Lead{Label: fmt.Sprintf("%d Vegetationstage vorher", 40-5*i), Cases: 123456, Seasons: 123})
	}
	for i := range e.Baselines { // All lines end at one place.
		e.Baselines[i] = charts.LeadSeries{Name: strings.Repeat("Übergangslösung ", 5), Points: []charts.LeadPoint{{Lead: 6, Days: 412}, {Lead: 7, Days: 500}}}
	}
	e.Forecast = charts.LeadSeries{Name: "Vorhersage", Points: []charts.LeadPoint{{Lead: 7, Days: 500, Low: 480, High: 999}}}
	e.Bias = []charts.LeadPoint{{Lead: 0, Days: -800, Low: -900, High: -700}, {Lead: 1, Days: 0}, {Lead: 7, Days: -300}}
	out["lead, long words"] = e

	e = sampleLead()
	for i := range e.Forecast.Points { // A perfect forecast.
		e.Forecast.Points[i] = charts.LeadPoint{Lead: i}
	}
	e.Baselines = nil
	out["lead, perfect"] = e

	r := sampleReliability()
	r.Falls = nil
	out["reliability of chances"] = r

	r = sampleReliability()
	r.Chances = nil
	out["reliability of ranges"] = r

	r = sampleReliability()
	r.Chances, r.Falls, r.FallsLow, r.FallsHigh = nil, []int{3, 0}, 0, 0
	for i := range 12 { // Crowded in a corner.
		r.Chances = append(r.Chances, charts.ChanceBin{Forecast: 0.01 * float64(i+1), Came: 0.02 + 0.002*float64(i%3), Cases: 1000 - 70*i})
	}
	r.Event = "weniger reife Früchte als der Betrieb für seine Gäste braucht"
	out["reliability in a corner"] = r

	b := sampleBase()
	b.ProposedC, b.Curves = nil, b.Curves[:1]
	b.Finding = "No other base is clearly better."
	out["base, none proposed"] = b

	b = sampleBase()
	b.Units = charts.US
	b.Finding = "A base of 34.7 °F would have been off by 0.2 days less than 37.4 °F."
	out["base, US units"] = b

	b = sampleBase()
	b.ProposedC = &b.CurrentC
	for i := range b.Curves {
		b.Curves[i].Name = strings.Repeat("Doppelsinusmethode ", 9)
		for j := range b.Curves[i].Points {
			b.Curves[i].Points[j].Days, b.Curves[i].Points[j].Low, b.Curves[i].Points[j].High = 0, 0, 0
		}
	}
	out["base, all alike"] = b

	s := sampleStory("2026-06-18")
	s.Units, s.Hindcast = charts.US, true
	out["story, US units"] = s

	s = sampleStory("2026-06-02")
	s.Past, s.Ahead, s.Needs, s.OutlookThrough = nil, nil, nil, time.Time{}
	out["story without days"] = s

	s = sampleStory("2026-07-15")
	s.Ahead, s.OutlookThrough = nil, time.Time{}
	for i := range s.Past {
		s.Past[i].Filled = i%2 == 0
	}
	out["story told to the end"] = s

	s = sampleStory("2026-06-18")
	s.Needs = nil
	for i := range 5 { // Requirements that lie on each other, seen on one day.
		s.Needs = append(s.Needs, charts.Need{Stage: fmt.Sprintf("Pflückdurchgang Nummer %d", i+1), P10C: 300, P50C: 340 + float64(i), P90C: 400, Seen: date("2026-06-04")})
	}
	s.Heading = `<b>R&D "bed"</b>`
	out["story, all at once"] = s

	out["narrowing"] = sampleNarrowing(4, "2026-06-08")
	out["narrowing, every day"] = sampleNarrowing(1, "2026-06-27")

	n := sampleNarrowing(3, "2026-06-20")
	n.Units, n.Hindcast = charts.US, true
	out["narrowing, US units"] = n

	n = sampleNarrowing(1, "2026-04-01")
	out["narrowing, one forecast"] = n

	n = sampleNarrowing(7, "2026-06-20")
	n.Heading, n.Marked = strings.Repeat("Überlandquelle Frühe Schönäugige ", 4), time.Time{}
	n.Stages[1].Issued, n.Stages[2].Issued = nil, nil
	n.Stages = append(n.Stages, charts.NarrowingStage{Stage: strings.Repeat("Nachlese ", 20), Issued: n.Stages[0].Issued, Seen: date("2026-07-30")})
	out["narrowing, long words"] = n
	maps.Copy(out, recordGallery())
	maps.Copy(out, departureGallery())
	maps.Copy(out, pickingsGallery())
	maps.Copy(out, designGallery())
	maps.Copy(out, outcomeGallery())
	maps.Copy(out, readinessGallery())
	maps.Copy(out, ripeWeekGallery())
	return out
}

// eachChart runs f for every chart of the gallery.
func eachChart(t *testing.T, f func(t *testing.T, c chart)) {
	t.Helper()
	all := gallery()
	for _, name := range slices.Sorted(maps.Keys(all)) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f(t, all[name])
		})
	}
}

func TestGalleryGolden(t *testing.T) {
	t.Parallel()
	all := gallery()
	for _, tt := range []struct {
		file, name string
		opt        charts.Options
	}{
		{"lead.svg", "lead", charts.Options{}},
		{"lead-phone.svg", "lead", charts.Options{Width: 360}},
		{"lead-dark.svg", "lead", charts.Options{Theme: charts.Dark, Fixed: true}},
		{"lead-missing.svg", "lead with a lead without cases", charts.Options{}},
		{"reliability.svg", "reliability", charts.Options{}},
		{"reliability-phone.svg", "reliability", charts.Options{Width: 360}},
		{"reliability-dark.svg", "reliability", charts.Options{Theme: charts.Dark}},
		{"reliability-ranges.svg", "reliability of ranges", charts.Options{}},
		{"base.svg", "base", charts.Options{}},
		{"base-phone.svg", "base", charts.Options{Width: 360}},
		{"base-dark.svg", "base", charts.Options{Theme: charts.Dark}},
		{"base-us.svg", "base, US units", charts.Options{}},
		{"base-none.svg", "base, none proposed", charts.Options{}},
		{"story.svg", "story", charts.Options{}},
		{"story-phone.svg", "story", charts.Options{Width: 360}},
		{"story-dark.svg", "story", charts.Options{Theme: charts.Dark}},
		{"story-seen.svg", "story with stages seen", charts.Options{}},
		{"story-over.svg", "story of a season that is over", charts.Options{}},
		{"story-us.svg", "story, US units", charts.Options{Width: 1000}},
		{"narrowing.svg", "narrowing", charts.Options{}},
		{"narrowing-phone.svg", "narrowing", charts.Options{Width: 360}},
		{"narrowing-dark.svg", "narrowing", charts.Options{Theme: charts.Dark}},
		{"narrowing-days.svg", "narrowing, every day", charts.Options{}},
		{"narrowing-us.svg", "narrowing, US units", charts.Options{Width: 1000}},
		{"narrowing-one.svg", "narrowing, one forecast", charts.Options{}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			t.Parallel()
			_, got := render(t, all[tt.name], tt.opt)
			golden(t, tt.file, got)
		})
	}
}

func TestGalleryPictures(t *testing.T) {
	t.Parallel()
	if *pictures == "" {
		return // Nothing was asked for.
	}
	eachChart(t, func(t *testing.T, c chart) {
		t.Helper()
		for suffix, o := range map[string]charts.Options{
			"": {}, "-dark": {Theme: charts.Dark}, "-phone": {Width: 360}, "-phone-dark": {Width: 360, Theme: charts.Dark}, "-middle": {Width: 800},
		} {
			name := strings.ReplaceAll(strings.TrimPrefix(t.Name(), "TestGalleryPictures/"), " ", "_") + suffix
			var p, v bytes.Buffer
			if err := errors.Join(c.WritePNG(&p, o), c.WriteSVG(&v, o),
				os.WriteFile(filepath.Join(*pictures, name+".png"), p.Bytes(), 0o644),
				os.WriteFile(filepath.Join(*pictures, name+".svg"), v.Bytes(), 0o644)); err != nil {
				t.Error(err)
			}
		}
	})
}

func TestGalleryTextsNeverCollide(t *testing.T) {
	t.Parallel()
	eachChart(t, func(t *testing.T, c chart) {
		t.Helper()
		for _, w := range append([]int{360, 640, 760}, sizes...) {
			svg, _ := render(t, c, charts.Options{Width: w})
			checkTexts(t, svg)
		}
	})
}

func TestGalleryIsFitForPages(t *testing.T) {
	t.Parallel()
	bad := regexp.MustCompile(`NaN|Inf|[0-9]e[+-][0-9]| style=|<style|<script|<image|href=|  `)
	eachChart(t, func(t *testing.T, c chart) {
		t.Helper()
		svg, raw := render(t, c, charts.Options{ID: "chart-7"})
		if m := bad.FindString(string(raw)); m != "" {
			t.Errorf("contains %q", m)
		}
		for k, v := range map[string]string{"role": "img", "aria-labelledby": "chart-7-title chart-7-desc", "width": "100%", "height": ""} {
			if svg.attr[k] != v {
				t.Errorf("%s is %q, want %q", k, svg.attr[k], v)
			}
		}
		title, desc := svg.children[0], svg.children[1]
		if title.name != "title" || title.attr["id"] != "chart-7-title" || title.text != c.Title() {
			t.Errorf("title %v is not %q", title, c.Title())
		}
		if desc.name != "desc" || desc.attr["id"] != "chart-7-desc" || desc.text != c.Description() {
			t.Errorf("desc %v is not %q", desc, c.Description())
		}
		_, again := render(t, c, charts.Options{ID: "chart-7"})
		if !bytes.Equal(raw, again) {
			t.Error("two runs differ")
		}
		var img bytes.Buffer
		if err := c.WritePNG(&img, charts.Options{Width: 360, Scale: 0.5}); err != nil || img.Len() == 0 {
			t.Errorf("WritePNG: %v after %d bytes", err, img.Len())
		}
		if err := c.WriteSVG(broken{}, charts.Options{}); !errors.Is(err, errBroken) {
			t.Errorf("WriteSVG to a broken pipe: %v", err)
		}
		if err := c.WriteSVG(&img, charts.Options{Width: 1}); !errors.Is(err, charts.ErrInvalidOptions) {
			t.Errorf("WriteSVG one px wide: %v", err)
		}
	})
}

func TestIdsNameTheKindOfChart(t *testing.T) {
	t.Parallel()
	for id, c := range map[string]chart{
		"season": sample(), "lead": sampleLead(), "reliability": sampleReliability(), "base": sampleBase(), "story": sampleStory("2026-06-02"), "record": sampleRecord(), "departure": sampleDeparture(), "pickings": samplePickings(), "outcome": sampleOutcome(), "readiness": sampleReadiness(),
		"ripe": sampleRipeWeek(),
	} {
		svg, _ := render(t, c, charts.Options{})
		if got := svg.children[0].attr["id"]; got != id+"-title" {
			t.Errorf("id %q, want it to start with %q", got, id)
		}
	}
}

// changed returns v after f.
func changed[T any](v T, f func(*T)) T {
	f(&v)
	return v
}

func TestBadChartsAreRefused(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	lead := func(f func(*charts.LeadError)) chart { return changed(sampleLead(), f) }
	rel := func(f func(*charts.Reliability)) chart { return changed(sampleReliability(), f) }
	base := func(f func(*charts.BaseProfile)) chart { return changed(sampleBase(), f) }
	story := func(f func(*charts.Story)) chart { return changed(sampleStory("2026-06-18"), f) }
	narrow := func(f func(*charts.Narrowing)) chart { return changed(sampleNarrowing(4, "2026-06-20"), f) }
	for _, tt := range []struct {
		name  string
		chart chart
		want  string // in the error
	}{
		{"no leads", lead(func(e *charts.LeadError) { e.Leads = nil }), "Leads: 0"},
		{"nine leads", lead(func(e *charts.LeadError) { e.Leads = make([]charts.Lead, 9) }), "Leads: 9"},
		{"a lead without a name", lead(func(e *charts.LeadError) { e.Leads[0].Label = " " }), "Leads[0].Label"},
		{"more seasons than cases", lead(func(e *charts.LeadError) { e.Leads[2].Seasons = 99 }), "Leads[2].Seasons"},
		{"a figure without cases", lead(func(e *charts.LeadError) { e.Leads[2] = charts.Lead{Label: "x"} }), "Forecast.Points[2]: a figure without cases"},
		{"an error that is not a number", lead(func(e *charts.LeadError) { e.Forecast.Points[1].Days = nan }), "Forecast.Points[1].Days"},
		{"a negative error", lead(func(e *charts.LeadError) { e.Baselines[1].Points[1].Days = -1 }), "Baselines[1].Points[1].Days"},
		{"a range upside down", lead(func(e *charts.LeadError) { e.Forecast.Points[1].Low = 9 }), "Forecast.Points[1]: Low"},
		{"a figure for no lead", lead(func(e *charts.LeadError) { e.Bias[4].Lead = 5 }), "Bias[4].Lead"},
		{"a negative lead", lead(func(e *charts.LeadError) { e.Bias[0].Lead = -1 }), "Bias[0].Lead"},
		{"two figures for a lead", lead(func(e *charts.LeadError) { e.Bias[4].Lead = 3 }), "Bias[4].Lead: not after"},
		{"a bias out of all bounds", lead(func(e *charts.LeadError) { e.Bias[0].Days = -1e9 }), "Bias[0].Days"},
		{"a baseline without a name", lead(func(e *charts.LeadError) { e.Baselines[0].Name = "" }), "Baselines[0].Name"},
		{"seven baselines", lead(func(e *charts.LeadError) { e.Baselines = make([]charts.LeadSeries, 7) }), "Baselines: 7"},

		{"nothing to show", charts.Reliability{}, "both empty"},
		{"a chance in percent", rel(func(r *charts.Reliability) { r.Chances[3].Forecast = 35 }), "Chances[3].Forecast"},
		{"a share that is not a number", rel(func(r *charts.Reliability) { r.Chances[3].Came = nan }), "Chances[3].Came"},
		{"a bin without cases", rel(func(r *charts.Reliability) { r.Chances[3].Cases = 0 }), "Chances[3].Cases"},
		{"chances out of order", rel(func(r *charts.Reliability) { r.Chances[3].Forecast = 0.01 }), "Chances[3].Forecast: not above"},
		{"a range of shares upside down", rel(func(r *charts.Reliability) { r.Chances[3].Low = 0.9 }), "Chances[3]: Low"},
		{"one bin of ranges", rel(func(r *charts.Reliability) { r.Falls = r.Falls[:1] }), "Falls: 1"},
		{"no truth", rel(func(r *charts.Reliability) { r.Falls = make([]int, 10) }), "Falls: no cases"},
		{"fewer than no cases", rel(func(r *charts.Reliability) { r.Falls[1] = -1 }), "Falls[1]"},
		{"a band that is not a number", rel(func(r *charts.Reliability) { r.FallsHigh = nan }), "FallsLow and FallsHigh"},

		{"no curve", base(func(b *charts.BaseProfile) { b.Curves = nil }), "Curves: 0"},
		{"a curve of one point", base(func(b *charts.BaseProfile) { b.Curves[1].Points = b.Curves[1].Points[:1] }), "Curves[1].Points"},
		{"bases out of order", base(func(b *charts.BaseProfile) { b.Curves[1].Points[3].BaseC = 0 }), "Curves[1].Points[3].BaseC"},
		{"a base in °F", base(func(b *charts.BaseProfile) { b.CurrentC = 37.4 }), "CurrentC"},
		{"a proposal that is not a number", base(func(b *charts.BaseProfile) { b.ProposedC = &nan }), "ProposedC"},
		{"a base error that is not a number", base(func(b *charts.BaseProfile) { b.Curves[0].Points[3].Days = nan }), "Curves[0].Points[3].Days"},
		{"unknown units", base(func(b *charts.BaseProfile) { b.Units = 9 }), "Units"},

		{"no bloom", story(func(s *charts.Story) { s.Bloom = time.Time{} }), "Bloom: missing"},
		{"bloom to come", story(func(s *charts.Story) { s.Bloom = date("2026-07-01") }), "Bloom: after AsOf"},
		{"a hole in the days", story(func(s *charts.Story) { s.Past = slices.Delete(slices.Clone(s.Past), 4, 5) }), "Past[4].Date"},
		{"a day observed before it was over", story(func(s *charts.Story) { s.AsOf = date("2026-06-17") }), "Past[39].Date: not before AsOf"},
		{"degree-days that fall", story(func(s *charts.Story) { s.Past[4].SumC = 0 }), "Past[4]: degree-days fall"},
		{"degree-days that are not a number", story(func(s *charts.Story) { s.Ahead[4].P90C = nan }), "Ahead[4].P90C"},
		{"quantiles out of order", story(func(s *charts.Story) { s.Ahead[4].P90C = s.Ahead[4].P10C - 1 }), "Ahead[4]"},
		{"a requirement of nothing", story(func(s *charts.Story) { s.Needs[1].P10C, s.Needs[1].P50C = 0, 0 }), "Needs[1]"},
		{"a stage without a name", story(func(s *charts.Story) { s.Needs[1].Stage = "" }), "Needs[1].Stage"},
		{"seen in the future", story(func(s *charts.Story) { s.Needs[1].Seen = date("2026-07-01") }), "Needs[1].Seen"},
		{"seen at noon", story(func(s *charts.Story) { s.Needs[1].Seen = s.Needs[1].Seen.Add(time.Hour) }), "Needs[1].Seen"},
		{"a thousand days", story(func(s *charts.Story) { s.Ahead = make([]charts.HeatRange, 1000) }), "more than"},
		{"no stage", narrow(func(n *charts.Narrowing) { n.Stages = nil }), "Stages: 0"},
		{"no range", narrow(func(n *charts.Narrowing) { n.Stages = []charts.NarrowingStage{{Stage: "peak"}} }), "Stages: no range"},
		{"a narrowing stage without a name", narrow(func(n *charts.Narrowing) { n.Stages[1].Stage = "" }), "Stages[1].Stage"},
		{"two forecasts of one morning", narrow(func(n *charts.Narrowing) { n.Stages[1].Issued[3].AsOf = n.Stages[1].Issued[2].AsOf }), "Stages[1].Issued[3].AsOf"},
		{"a morning at noon", narrow(func(n *charts.Narrowing) { n.Marked = n.Marked.Add(12 * time.Hour) }), "Marked"},
		{"dates out of order", narrow(func(n *charts.Narrowing) { n.Stages[2].Issued[0].When.P10 = date("2026-12-01") }), "Stages[2].Issued[0].When"},
		{"a narrowing stage seen at noon", narrow(func(n *charts.Narrowing) { n.Stages[0].Seen = n.Stages[0].Seen.Add(1) }), "Stages[0].Seen"},
		{"mornings of two years", narrow(func(n *charts.Narrowing) { n.Stages[0].Issued[0].AsOf = date("2024-04-01") }), "days apart"},
		{"seen years ahead", narrow(func(n *charts.Narrowing) { n.Stages[0].Seen = date("2029-04-01") }), "days apart"},
		{"a thousand forecasts", narrow(func(n *charts.Narrowing) { n.Stages[0].Issued = make([]charts.IssuedRange, 1000) }), "more than 370"},
		{"unknown units of dates", narrow(func(n *charts.Narrowing) { n.Units = 9 }), "Units"},
		{"expected years ahead", story(func(s *charts.Story) { s.Needs[2].When = charts.Day(date("2029-01-01")) }), "days apart"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			err := tt.chart.Validate()
			if !errors.Is(err, charts.ErrInvalidChart) || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one about %q", err, tt.want)
			}
			var b bytes.Buffer
			if err := errors.Join(tt.chart.WriteSVG(&b, charts.Options{})); !errors.Is(err, charts.ErrInvalidChart) || b.Len() > 0 {
				t.Errorf("WriteSVG: %v after %d bytes", err, b.Len())
			}
			if err := tt.chart.WritePNG(&b, charts.Options{}); !errors.Is(err, charts.ErrInvalidChart) || b.Len() > 0 {
				t.Errorf("WritePNG: %v after %d bytes", err, b.Len())
			}
			if tt.chart.Title() == "" || !strings.Contains(tt.chart.Description(), "no chart") {
				t.Errorf("title %q, description %q", tt.chart.Title(), tt.chart.Description())
			}
		})
	}
}

func TestGalleryDescriptionSays(t *testing.T) {
	t.Parallel()
	all := gallery()
	for _, tt := range []struct{ name, want string }{
		{"lead", "Mean absolute error, days, by lead. At bloom, 74 cases in 9 seasons: forecast 3.3 (2.6 to 4.1), the variety's mean date 5.6,"},
		{"lead", "; on average 0.6 days late (-0.7 to 1.8)."},
		{"lead", "; on average neither late nor early (-0.6 to 0.6)."},
		{"lead", "; on average 0.3 days early"},
		{"lead", "The range of the forecast: 8 times in 10 when seasons are drawn anew."},
		{"lead with a lead without cases", "21 days, no cases: no figures."},
		{"reliability", "How often a gap came, by the chance given for it. Forecast 0.3 in 10, came 0.1 in 10, 412 cases (8 times in 10 between 0.1 and 0.5 in 10 if the chances are right)."},
		{"reliability", "in 10 parts of equal chance: 17, 24, 30, 38, 41, 36, 33, 29, 20, 19 cases; each part should hold about 28.7, 8 times in 10 between 21.0 and 36.0."},
		{"base", "Base in use 3 °C. Proposed 1.5 °C. Single sine: least 2.1 days at 1.5 °C; 0 °C 2.4 (1.9 to 2.8), 0.5 °C"},
		{"base, none proposed", "No other is proposed."},
		{"base, US units", "Base in use 37.4 °F. Proposed 34.7 °F."},
		{"story", "Bloom Fri 8 May; first ripe about Wed 10 Jun, peak about Mon 15 Jun, last pick about Sun 21 Jun. As of the morning of Tue 2 Jun 2026: 254 °C·d since bloom, 4 days of it not observed; outlook through Wed 10 Jun."},
		{"story", "First ripe requires 322–369 °C·d from bloom; about Wed 10 Jun (8 in 10: Mon 8 – Fri 12 Jun)."},
		{"story of a season that is over", "As of the morning of Mon 20 Jul 2026, when the season was over: 513 °C·d from bloom to Mon 22 Jun, 4 days of it not observed. Ahead"},
		{"story with stages seen", "Peak requires 380–437 °C·d from bloom; seen Tue 16 Jun."},
		{"narrowing", "First ripe about Thu 11 Jun, the range 4 days wide on Mon 8 Jun, 18 days on Wed 1 Apr."},
		{"narrowing", "18 forecasts, as of the mornings from Wed 1 Apr to Mon 8 Jun 2026, each as it was issued."},
		{"narrowing, every day", "First ripe seen Thu 11 Jun; on Wed 1 Apr it was about Tue 16 Jun (8 in 10: Mon 8 – Thu 25 Jun)."},
		{"narrowing, every day", "Peak: as of Wed 1 Apr about "},
		{"narrowing, one forecast", "One forecast, as of the morning of Wed 1 Apr 2026: there is nothing yet to compare it with."},
		{"narrowing, long words", "Peak: seen Tue 16 Jun."},
		{"story, US units", "First ripe requires 580–664 °F·d from bloom; seen Thu Jun 11."},
	} {
		if got := strings.ReplaceAll(all[tt.name].Description(), "−", "-"); !strings.Contains(got, tt.want) {
			t.Errorf("%s: got  %s\nwant %s", tt.name, got, tt.want)
		}
	}
}

// scaleOf returns the place of values from two numbers of an upright axis.
func scaleOf(t *testing.T, svg *node, a, b string, va, vb float64) func(float64) float64 {
	t.Helper()
	at := map[string]float64{}
	for _, n := range svg.texts() {
		if _, ok := at[n.text]; !ok {
			at[n.text] = n.num(t, "y") - 4 // Words stand 4 px under their height.
		}
	}
	ya, yb := at[a], at[b]
	if ya == 0 || yb == 0 {
		t.Fatalf("no %q and %q on the axis", a, b)
	}
	return func(v float64) float64 { return ya + (v-va)/(vb-va)*(yb-ya) }
}

// dotsOf returns the middles of the round marks with a fill in a group.
func dotsOf(t *testing.T, g *node, fill string) [][2]float64 {
	t.Helper()
	var out [][2]float64
	for _, p := range g.filled(fill) {
		if strings.Contains(p.attr["d"], "A") {
			b := bounds(boxes(t, p)...)
			out = append(out, [2]float64{(b.x0 + b.x1) / 2, (b.y0 + b.y1) / 2})
		}
	}
	return out
}

func TestLeadPointsStandAtTheirErrors(t *testing.T) {
	t.Parallel()
	e := sampleLead()
	svg, _ := render(t, e, charts.Options{})
	y := scaleOf(t, svg, "0", "4", 0, 4)
	column := map[string]float64{}
	for _, n := range svg.texts() {
		b := textBox(t, n)
		column[n.text] = (b.x0 + b.x1) / 2
	}
	lines := svg.class("line")
	if len(lines) != 6 {
		t.Fatalf("%d lines", len(lines))
	}
	dots := dotsOf(t, lines[len(lines)-1], open) // The forecast lies on top.
	if len(dots) != len(e.Forecast.Points) {
		t.Fatalf("%d dots for %d points", len(dots), len(e.Forecast.Points))
	}
	for i, p := range e.Forecast.Points {
		if !near(dots[i][1], y(p.Days), 0.6) || !near(dots[i][0], column[e.Leads[i].Label], 1) {
			t.Errorf("point %d at %.1f, want %.1f, %.1f", i, dots[i], column[e.Leads[i].Label], y(p.Days))
		}
	}
	ranges := svg.class("lines")[0].children
	for i, p := range e.Forecast.Points {
		b := bounds(boxes(t, ranges[2*i])...)
		if !near(b.y0, y(p.High), 0.6) || !near(b.y1, y(p.Low), 0.6) {
			t.Errorf("range %d from %.1f to %.1f, want %.1f to %.1f", i, b.y0, b.y1, y(p.High), y(p.Low))
		}
	}
	if got := len(svg.class("bias")[0].filled(flesh)); got != len(e.Bias) {
		t.Errorf("%d beads for %d biases", got, len(e.Bias))
	}
}

func TestALeadWithoutCasesIsNotDrawnAsNought(t *testing.T) {
	t.Parallel()
	svg, _ := render(t, gallery()["lead with a lead without cases"], charts.Options{})
	y := scaleOf(t, svg, "0", "4", 0, 4)
	for _, g := range svg.class("line") {
		for _, p := range g.find(func(n *node) bool { return n.name == "path" }) {
			if b := bounds(boxes(t, p)...); b.y1 > y(0.3) {
				t.Errorf("%s reaches down to %.1f, nought is at %.1f", g.children[0].text, b.y1, y(0))
			}
		}
	}
	// The forecast has one point, then a hole, then three: one line is left, and
	// it does not cross the hole.
	lines := svg.class("line")
	strokes := lines[len(lines)-1].find(func(n *node) bool { return n.attr["stroke-width"] == "2.6" })
	if len(strokes) != 1 {
		t.Fatalf("%d strokes of the forecast", len(strokes))
	}
	for _, n := range svg.texts() {
		if at := textBox(t, n); n.text == "14" && !near(bounds(boxes(t, strokes[0])...).x0, (at.x0+at.x1)/2, 1) {
			t.Errorf("the line starts at %.1f, the lead after the hole is at %.1f", bounds(boxes(t, strokes[0])...).x0, (at.x0+at.x1)/2)
		}
	}
}

func TestShareDotsStandAtTheirChances(t *testing.T) {
	t.Parallel()
	for _, w := range []int{360, 1200} {
		r := sampleReliability()
		svg, _ := render(t, r, charts.Options{Width: w})
		y := scaleOf(t, svg, "10", "2", 10, 2)
		groups := svg.class("share")
		if len(groups) != len(r.Chances) {
			t.Fatalf("%d dots for %d bins", len(groups), len(r.Chances))
		}
		var discs []box
		for i, g := range groups {
			dots := dotsOf(t, g, berry)
			if len(dots) != 1 || !near(dots[0][1], y(10*r.Chances[i].Came), 0.6) {
				t.Errorf("dot %d at %.1f, want %.1f", i, dots, y(10*r.Chances[i].Came))
			}
			discs = append(discs, bounds(boxes(t, g.filled(berry)[0])...))
		}
		// The count of a bin stands in its dot or beside every dot.
		for i, b := range r.Chances {
			var at []box
			for _, n := range svg.texts() {
				if n.text == fmt.Sprint(b.Cases) {
					at = append(at, textBox(t, n))
				}
			}
			if len(at) == 0 {
				t.Errorf("width %d: no count %d", w, b.Cases)
				continue
			}
			for j, d := range discs {
				inner := box{d.x0 + 1, d.y0 + 1, d.x1 - 1, d.y1 - 1}
				if j != i && at[0].overlaps(inner) && b.Cases > 20 {
					// A box is wider than its disc in the corners only.
					dx := max(at[0].x0-(d.x0+d.x1)/2, (d.x0+d.x1)/2-at[0].x1, 0)
					dy := max(at[0].y0-(d.y0+d.y1)/2, (d.y0+d.y1)/2-at[0].y1, 0)
					if math.Hypot(dx, dy) < d.width()/2 {
						t.Errorf("width %d: the count %d lies on dot %d", w, b.Cases, j)
					}
				}
			}
		}
	}
}

func TestFallsStandAtTheirCounts(t *testing.T) {
	t.Parallel()
	r := sampleReliability()
	r.Chances = nil
	svg, _ := render(t, r, charts.Options{})
	y := scaleOf(t, svg, "0", "40", 0, 40)
	for i, g := range svg.class("fall") {
		if b := bounds(boxes(t, g.filled(flesh)[0])...); !near(b.y0, y(float64(r.Falls[i])), 0.6) || !near(b.y1, y(0), 0.6) {
			t.Errorf("bin %d from %.1f to %.1f, want %.1f to %.1f", i, b.y0, b.y1, y(float64(r.Falls[i])), y(0))
		}
	}
	if b := bounds(boxes(t, svg.class("falls")[0].filled(gap)[0])...); !near(b.y0, y(36), 0.6) || !near(b.y1, y(21), 0.6) {
		t.Errorf("band from %.1f to %.1f, want %.1f to %.1f", b.y0, b.y1, y(36), y(21))
	}
}

func TestBasesStandAtTheirTemperatures(t *testing.T) {
	t.Parallel()
	b := sampleBase()
	svg, _ := render(t, b, charts.Options{})
	y := scaleOf(t, svg, "1", "2", 1, 2)
	place := map[string]float64{}
	for _, n := range svg.texts() {
		q := textBox(t, n)
		place[n.text] = (q.x0 + q.x1) / 2
	}
	x := func(c float64) float64 { return place["4"] + (place["6"]-place["4"])*(c-4)/2 }
	curves := svg.class("curve")
	if len(curves) != 3 {
		t.Fatalf("%d curves", len(curves))
	}
	dots := dotsOf(t, curves[2], berry)
	for i, p := range b.Curves[0].Points {
		if !near(dots[i][0], x(p.BaseC), 0.6) || !near(dots[i][1], y(p.Days), 0.6) {
			t.Errorf("point %d at %.1f, want %.1f %.1f", i, dots[i], x(p.BaseC), y(p.Days))
		}
	}
	now := svg.class("curves")[0].find(func(n *node) bool {
		return n.attr["stroke-width"] == "1.6" && near(bounds(boxes(t, n)...).x0, x(3), 0.6)
	})
	if len(now) != 1 {
		t.Errorf("%d lines at the base in use", len(now))
	}
}

func TestStoryStandsOnItsDays(t *testing.T) {
	t.Parallel()
	s := sampleStory("2026-06-18")
	svg, _ := render(t, s, charts.Options{})
	x := axis(t, svg, "Mon 18", "Mon 25", date("2026-05-18"), 7)
	y := scaleOf(t, svg, "0", "500", 0, 500)
	var full []box
	heat := svg.class("heat")[0]
	for _, p := range heat.find(func(n *node) bool { return n.attr["stroke-width"] == "2.8" }) {
		full = append(full, bounds(boxes(t, p)...))
	}
	past := bounds(full...)
	last := s.Past[len(s.Past)-1]
	if !near(past.x0, x(s.Bloom.AddDate(0, 0, 1)), 0.6) || !near(past.x1, x(s.AsOf), 0.6) {
		t.Errorf("degree-days from %.1f to %.1f, want %.1f to %.1f", past.x0, past.x1, x(s.Bloom.AddDate(0, 0, 1)), x(s.AsOf))
	}
	if !near(past.y1, y(0), 0.6) || !near(past.y0, y(last.SumC), 0.6) {
		t.Errorf("degree-days reach %.1f, want %.1f", past.y0, y(last.SumC))
	}
	for i, g := range svg.class("need") {
		b, n := bounds(boxes(t, g.filled(gap)[0])...), s.Needs[i]
		if !near(b.y0, y(n.P90C), 0.6) || !near(b.y1, y(n.P10C), 0.6) {
			t.Errorf("%s from %.1f to %.1f, want %.1f to %.1f", n.Stage, b.y0, b.y1, y(n.P90C), y(n.P10C))
		}
	}
	for i, g := range svg.class("stage") {
		n := s.Needs[i]
		if n.Seen.IsZero() {
			continue
		}
		dots := dotsOf(t, g, "#2a211d")
		k := int(n.Seen.Sub(s.Past[0].Date).Hours() / 24)
		want := (s.Past[k-1].SumC + s.Past[k].SumC) / 2
		noon := (x(n.Seen) + x(n.Seen.AddDate(0, 0, 1))) / 2
		if len(dots) != 1 || !near(dots[0][0], noon, 0.6) || !near(dots[0][1], y(want), 0.6) {
			t.Errorf("%s at %.1f, want %.1f %.1f", n.Stage, dots, noon, y(want))
		}
	}
	beads := svg.class("days")[0]
	filled := 0
	for _, d := range s.Past {
		if d.Filled {
			filled++
		}
	}
	if got, want := len(beads.filled(berry)), len(s.Past)-filled; got != want {
		t.Errorf("%d beads in full colour for %d days observed", got, want)
	}
	if got := len(beads.filled(flesh)); got != 9 { // 18 to 26 June.
		t.Errorf("%d beads of the outlook", got)
	}
}

func TestRangesStandOnTheirDates(t *testing.T) {
	t.Parallel()
	n := sampleNarrowing(4, "2026-06-20")
	svg, _ := render(t, n, charts.Options{})
	x := axis(t, svg, "Mon 13", "Mon 27", date("2026-04-13"), 14)
	// The dates at the side of the first panel come first.
	at := map[string]float64{}
	for _, k := range svg.texts() {
		if _, ok := at[k.text]; !ok {
			at[k.text] = k.num(t, "y") - 4
		}
	}
	y := func(d time.Time) float64 { // The middle of a date.
		return at["Mon 8 Jun"] + (at["Mon 15 Jun"]-at["Mon 8 Jun"])*d.Sub(date("2026-06-08")).Hours()/24/7
	}
	half := (y(date("2026-06-08")) - y(date("2026-06-09"))) / 2
	st := n.Stages[0]
	g := svg.class("stage")[0]
	var wide, full []box
	for _, p := range g.filled(ghost) {
		wide = append(wide, boxes(t, p)...)
	}
	for _, p := range g.filled(berry) {
		full = append(full, boxes(t, p)...)
	}
	if len(wide)+len(full) != len(st.Issued) || len(full) != 3 {
		t.Fatalf("%d open and %d full beads for %d forecasts", len(wide), len(full), len(st.Issued))
	}
	for i, b := range append(wide, full...) {
		r := st.Issued[i]
		noon := (x(r.AsOf) + x(r.AsOf.AddDate(0, 0, 1))) / 2
		if !near((b.x0+b.x1)/2, noon, 0.6) || !near(b.y0, y(r.When.P90)-half, 0.8) || !near(b.y1, y(r.When.P10)+half, 0.8) {
			t.Errorf("the forecast of %s at %.1f, want %.1f from %.1f to %.1f", r.AsOf.Format("2 Jan"), b, noon, y(r.When.P90)-half, y(r.When.P10)+half)
		}
	}
	for i, d := range dotsOf(t, g, open) {
		if r := st.Issued[i]; !near(d[1], y(r.When.P50), 0.8) {
			t.Errorf("the median of %s at %.1f, want %.1f", r.AsOf.Format("2 Jan"), d[1], y(r.When.P50))
		}
	}
}

func TestAllButSureIsNotSeen(t *testing.T) {
	t.Parallel()
	on := date("2026-06-11")
	n := charts.Narrowing{Stages: []charts.NarrowingStage{{Stage: "peak", Seen: on, Issued: []charts.IssuedRange{
		{AsOf: on.AddDate(0, 0, -1), When: charts.Day(on)}, {AsOf: on, When: charts.Day(on)},
	}}}}
	if want := "Peak: as of Wed 10 Jun about Thu 11 Jun; seen Thu 11 Jun."; !strings.Contains(n.Description(), want) {
		t.Errorf("%q is not in %s", want, n.Description())
	}
	svg, _ := render(t, n, charts.Options{})
	g := svg.class("stage")[0]
	if full, wide := len(g.filled(berry)), len(g.filled(ghost)); full != 1 || wide != 1 {
		t.Errorf("%d full and %d open beads for one forecast that knew and one that did not", full, wide)
	}
}

// randomCharts is one of each, at random.
func randomCharts(words string, seed uint64) []chart {
	rng := rand.New(rand.NewPCG(seed, 2))
	size := math.Pow(10, float64(rng.IntN(5)-2))
	e := charts.LeadError{Heading: words, Finding: words, Loss: words, Hindcast: rng.IntN(2) == 0}
	n := 1 + rng.IntN(8)
	for i := range n {
		e.Leads = append(e.Leads, charts.Lead{Label: fmt.Sprint(i, words), Cases: 1 + rng.IntN(5000), Seasons: 1})
	}
	series := func(name string) charts.LeadSeries {
		s := charts.LeadSeries{Name: name}
		for i := range n {
			if rng.IntN(4) > 0 {
				d := size * rng.Float64()
				s.Points = append(s.Points, charts.LeadPoint{Lead: i, Days: d, Low: d / 2, High: d * 1.5})
			}
		}
		return s
	}
	e.Forecast = series(words)
	for i := range rng.IntN(7) {
		e.Baselines = append(e.Baselines, series(fmt.Sprint(i, words)))
	}
	for _, p := range series("").Points {
		shift := size * 2 * (rng.Float64() - 0.5)
		e.Bias = append(e.Bias, charts.LeadPoint{Lead: p.Lead, Days: p.Days - shift, Low: p.Low - shift, High: p.High - shift})
	}
	r := charts.Reliability{Heading: words, Event: words, Falls: []int{1}}
	for range 1 + rng.IntN(19) {
		r.Falls = append(r.Falls, rng.IntN(int(3+size)))
	}
	for at := rng.Float64() / 9; at <= 1 && len(r.Chances) < 12; at += 0.001 + rng.Float64()/9 {
		r.Chances = append(r.Chances, charts.ChanceBin{Forecast: at, Came: rng.Float64(), Cases: 1 + rng.IntN(int(9+100*size)), Low: at / 2, High: at})
	}
	proposed := 9 * rng.Float64()
	b := charts.BaseProfile{Heading: words, CurrentC: 9 * rng.Float64(), ProposedC: &proposed, Units: charts.Units(rng.IntN(2))}
	for i := range 1 + rng.IntN(3) {
		k := charts.BaseCurve{Name: fmt.Sprint(i, words)}
		for c := rng.Float64(); c < 8; c += 0.1 + rng.Float64() {
			d := size * rng.Float64()
			k.Points = append(k.Points, charts.BasePoint{BaseC: c, Days: d, Low: d / 2, High: d})
		}
		b.Curves = append(b.Curves, k)
	}
	at := func(d int) time.Time { return date("2026-04-20").AddDate(0, 0, d) }
	s := charts.Story{Heading: words, Bloom: at(0), AsOf: at(1 + rng.IntN(60)), Units: charts.Units(rng.IntN(2)), OutlookThrough: at(rng.IntN(90))}
	sum, wide := 0.0, 0.0
	for d := 1; d < 90; d++ {
		sum += 20 * rng.Float64()
		if at(d).Before(s.AsOf) {
			s.Past = append(s.Past, charts.HeatDay{Date: at(d), SumC: sum, Filled: rng.IntN(3) == 0})
			continue
		}
		wide += rng.Float64()
		s.Ahead = append(s.Ahead, charts.HeatRange{Date: at(d), P10C: sum, P50C: sum + wide, P90C: sum + 3*wide})
	}
	for range rng.IntN(6) {
		p := 1 + 900*rng.Float64()
		k := charts.Need{Stage: "x" + words, P10C: p, P50C: p * 1.1, P90C: p * 1.2}
		switch rng.IntN(3) {
		case 0:
			k.Seen = s.AsOf
		case 1:
			d := 1 + rng.IntN(80)
			k.When = charts.Range{P10: at(d), P50: at(d + 2), P90: at(d + 5)}
		}
		s.Needs = append(s.Needs, k)
	}
	k := charts.Record{Heading: words, Finding: words, From: at(0), To: at(rng.IntN(399)), AsOf: at(rng.IntN(400)), Units: charts.Units(rng.IntN(2))}
	for d := 0; !at(d).After(k.To); d++ {
		lo := 60 - 150*rng.Float64()
		hi := lo + (60-lo)*rng.Float64()
		switch rng.IntN(4) {
		case 0:
			k.Holes = append(k.Holes, charts.RecordHole{From: at(d), To: at(d)})
		case 1:
			k.Suspects = append(k.Suspects, charts.RecordSuspect{Date: at(d), Letter: "A", Test: "x" + words, Used: rng.IntN(2) == 0})
			fallthrough
		default:
			k.Days = append(k.Days, charts.RecordDay{Date: at(d), MinC: lo, MaxC: hi, Lent: rng.IntN(3) == 0})
		}
		if rng.IntN(9) > 0 {
			k.Usual = append(k.Usual, charts.UsualDay{Date: at(d), LowC: lo, HighC: hi})
		}
	}
	return []chart{e, r, b, s, k}
}

func FuzzGallery(f *testing.F) {
	f.Add("first ripe", uint64(1), uint16(360))
	f.Add("Ä̈ \u202e \x00 & <", uint64(7), uint16(1200))
	f.Add("Überlandquelle Frühe Schönäugige von Großräschen am Südhang", uint64(9), uint16(700))
	f.Fuzz(func(t *testing.T, words string, seed uint64, width uint16) {
		o := charts.Options{Width: 320 + int(width)%2081}
		for _, c := range randomCharts(words, seed) {
			if err := c.Validate(); err != nil {
				t.Fatal(err)
			}
			svg, raw := render(t, c, o)
			checkTexts(t, svg)
			if bytes.Contains(raw, []byte("NaN")) || bytes.Contains(raw, []byte("Inf\"")) {
				t.Error("not finite")
			}
		}
	})
}
