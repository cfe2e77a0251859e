package charts_test

import (
	"strings"
	"testing"

	"ripetide/charts"
)

func TestDescriptionSays(t *testing.T) {
	t.Parallel()
	bar := charts.Bar{
		Variety: "Wendelin", Block: "Mill field", Planting: "2023 bed",
		First: charts.Range{P10: date("2026-06-25"), P50: date("2026-06-27"), P90: date("2026-07-02")},
		Peak:  charts.Range{P10: date("2026-06-28"), P50: date("2026-07-02"), P90: date("2026-07-04")},
		Last:  charts.Range{P10: date("2026-07-05"), P50: date("2026-07-08"), P90: date("2026-07-09")},
	}
	stretch := func(from, to string, kind charts.StretchKind, p float64) []charts.Stretch {
		return []charts.Stretch{{From: date(from), To: date(to), Kind: kind, Probability: p}}
	}
	for _, tt := range []struct {
		name   string
		change func(*charts.Season)
		want   string
	}{
		{"the range of a date, the month once", func(*charts.Season) {}, "last pick about Wed 8 Jul (8 in 10: Sun 5 – Thu 9 Jul)"},
		{"a range over two months", func(*charts.Season) {}, "first ripe about Sat 27 Jun (8 in 10: Thu 25 Jun – Thu 2 Jul)"},
		{"month before day in the US", func(s *charts.Season) { s.Units = charts.US }, "(8 in 10: Sun Jul 5 – Thu 9)"},
		{"variety, block and planting", func(*charts.Season) {}, "1. Wendelin (Mill field, 2023 bed): first ripe"},
		{"a range of one day", func(s *charts.Season) { s.Bars[0].Peak = charts.Day(date("2026-07-02")) }, "peak Thu 2 Jul, last pick"},
		{"a seen stage", func(s *charts.Season) { s.Bars[0].SeenFirst = true }, "first ripe seen Sat 27 Jun,"},
		{"no stage before a seen one", func(s *charts.Season) { s.Bars[0].SeenPeak = true }, "first ripe about Sat 27 Jun (8 in 10: Thu 25 Jun – Thu 2 Jul), peak seen Thu 2 Jul"},
		{"no later stage before a seen first", func(s *charts.Season) {
			s.Bars[0].SeenFirst, s.Bars[0].First.P50 = true, date("2026-07-01")
		}, "peak about Thu 2 Jul (8 in 10: Wed 1 – Sat 4 Jul)"},
		{"no first ripe after a seen last pick", func(s *charts.Season) {
			s.Bars[0].SeenLast, s.Bars[0].Peak.P90, s.Bars[0].First.P90 = true, date("2026-07-09"), date("2026-07-09")
		}, "first ripe about Sat 27 Jun (8 in 10: Thu 25 Jun – Wed 8 Jul)"},
		{"days of the window", func(s *charts.Season) { s.Bars[0].WindowDays = [3]int{9, 12, 14} }, ", 12 days (8 in 10: 9–14)."},
		{"a window of one day", func(s *charts.Season) { s.Bars[0].WindowDays = [3]int{1, 1, 1} }, ", 1 day."},
		{"no forecast", func(s *charts.Season) { s.Bars[0].NoForecast = "no bloom" }, "Too early to say: no planting has a forecast yet. 1. Wendelin (Mill field, 2023 bed): no forecast, no bloom."},
		{"a gap", func(s *charts.Season) { s.Gaps = stretch("2026-06-30", "2026-07-01", charts.Gap, 0.62) }, "Nothing ripe Tue 30 Jun – Wed 1 Jul (chance 6 in 10)."},
		{"a gap of one day", func(s *charts.Season) { s.Gaps = stretch("2026-07-01", "2026-07-01", charts.Gap, 0) }, "Nothing ripe Wed 1 Jul."},
		{"a certain thin stretch", func(s *charts.Season) { s.Gaps = stretch("2026-06-30", "2026-07-01", charts.Thin, 1) }, "Thin Tue 30 Jun – Wed 1 Jul (chance over 9 in 10)."},
		{"a faint gap", func(s *charts.Season) { s.Gaps = stretch("2026-07-01", "2026-07-01", charts.Gap, 0.04) }, "(chance under 1 in 10)"},
		{"an even chance", func(s *charts.Season) { s.Gaps = stretch("2026-07-01", "2026-07-01", charts.Gap, 0.5) }, "(chance 5 in 10)"},
		{"nothing amiss", func(*charts.Season) {}, "No gap and no thin stretch."},
		{"the basis", func(s *charts.Season) { s.TracesUsed, s.WeatherThrough = 1, date("2026-06-11") }, "As of the morning of Fri 12 Jun 2026, from 1 past weather year; weather observed through Thu 11 Jun. An estimate: walk the field."},
		{"a hindcast", func(s *charts.Season) { s.Hindcast = true }, "Made afterwards, from what was known on the morning of Fri 12 Jun 2026."},
		{"the most fruit", func(s *charts.Season) {
			s.Supply = []charts.SupplyDay{{Date: date("2026-07-01"), PlantingKg: []float64{1}, P10Kg: 1000, P50Kg: 1234, P90Kg: 2000}}
		}, "Most ripe fruit standing Wed 1 Jul: about 1,200 kg."},
		{"in pounds", func(s *charts.Season) {
			s.Units = charts.US
			s.Supply = []charts.SupplyDay{{Date: date("2026-07-01"), PlantingKg: []float64{1}, P10Kg: 1000, P50Kg: 1234, P90Kg: 2000}}
		}, "Most ripe fruit standing Wed Jul 1: about 2,700 lb."},
		{"the minimum as the farm gave it", func(s *charts.Season) { s.ThinKg = 1250 }, "The farm's minimum is 1,250 kg."},
		{"marks", func(s *charts.Season) {
			s.Holidays = []charts.Mark{{Date: date("2026-06-24"), Label: "St John's Day"}}
		}, "Marked: St John's Day, Wed 24 Jun."},
		{"no control characters or direction marks", func(s *charts.Season) { s.Bars[0].Variety = " A\u202eB\x00\tC\xff " }, "1. AB C\ufffd (Mill field"},
		{"a name out of all bounds", func(s *charts.Season) { s.Bars[0].Variety = strings.Repeat("ü", 999) }, strings.Repeat("ü", 200) + "… (Mill"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := charts.Season{Farm: "Lindenhof", Year: 2026, AsOf: date("2026-06-12"), Bars: []charts.Bar{bar}}
			tt.change(&s)
			if err := s.Validate(); err != nil {
				t.Fatal(err)
			}
			if got := s.Description(); !strings.Contains(got, tt.want) {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

func TestTitleNamesSeasonFarmAndKind(t *testing.T) {
	t.Parallel()
	for want, s := range map[string]charts.Season{
		"Strawberry season 2026":                       {Year: 2026},
		"Strawberry season 2026, Wilder Hill":          {Year: 2026, Farm: " Wilder\nHill "},
		"Strawberry season 2025, Lindenhof (hindcast)": {Year: 2025, Farm: "Lindenhof", Hindcast: true},
	} {
		if got := s.Title(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

func TestWeeksStartAsTheCustomIs(t *testing.T) {
	t.Parallel()
	for units, day := range map[charts.Units]string{charts.Metric: "Mon ", charts.US: "Sun "} {
		s := sample()
		s.Units = units
		svg, _ := render(t, s, charts.Options{})
		n := 0
		for _, text := range svg.texts() {
			f := strings.Fields(text.text)
			if len(f) != 2 || len(f[0]) != 3 || strings.Trim(f[1], "0123456789") != "" {
				continue
			}
			n++
			if !strings.HasPrefix(text.text, day) {
				t.Errorf("units %d: a week starts on %s", units, text.text)
			}
		}
		if n < 10 {
			t.Errorf("units %d: %d weeks on two axes", units, n)
		}
	}
}
