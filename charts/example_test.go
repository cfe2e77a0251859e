package charts_test

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"ripetide/charts"
)

func Example() {
	day := func(month time.Month, d int) time.Time { return time.Date(2026, month, d, 0, 0, 0, 0, time.UTC) }
	s := charts.Season{
		Farm: "Wilder Hill", Year: 2026, AsOf: day(6, 12), Units: charts.US,
		TracesUsed: 40, WeatherThrough: day(6, 11),
		Bars: []charts.Bar{{
			Variety: "Elfenrot", Block: "North block",
			First:     charts.Day(day(6, 10)),
			Peak:      charts.Range{P10: day(6, 14), P50: day(6, 15), P90: day(6, 17)},
			Last:      charts.Range{P10: day(6, 19), P50: day(6, 21), P90: day(6, 24)},
			SeenFirst: true, WindowDays: [3]int{10, 12, 15},
		}, {
			Variety: "Winterwacht", NoForecast: "bloom not seen yet",
		}},
		Gaps: []charts.Stretch{{From: day(6, 30), To: day(7, 1), Kind: charts.Gap, Probability: 0.6}},
	}

	fmt.Println(s.Title())
	for part := range strings.SplitAfterSeq(s.Description(), ". ") {
		fmt.Println("-", strings.TrimSpace(part))
	}

	var svg bytes.Buffer
	if err := s.WriteSVG(&svg, charts.Options{Width: 390}); err != nil {
		fmt.Println(err)
	}
	fmt.Println(strings.Contains(svg.String(), "nothing ripe Tue Jun 30 – Wed Jul 1"))
	// Output:
	// Strawberry season 2026, Wilder Hill
	// - 2 plantings.
	// - As of the morning of Fri Jun 12, 2026, from 40 past weather years; weather observed through Thu Jun 11.
	// - An estimate: walk the field.
	// - First ripe seen Wed Jun 10, last pick about Sun Jun 21.
	// - Nothing ripe Tue Jun 30 – Wed Jul 1 (chance 6 in 10).
	// - 1 of 2 plantings without a forecast.
	// - 1.
	// - Elfenrot (North block): first ripe seen Wed Jun 10, peak about Mon Jun 15 (8 in 10: Sun Jun 14 – Wed 17), last pick about Sun Jun 21 (8 in 10: Fri Jun 19 – Wed 24), 12 days (8 in 10: 10–15).
	// - 2.
	// - Winterwacht: no forecast, bloom not seen yet.
	// true
}

func ExampleLeadError() {
	e := charts.LeadError{
		Heading: "Error by lead, first ripe",
		Leads:   []charts.Lead{{Label: "at bloom", Cases: 41, Seasons: 7}, {Label: "7 days before", Cases: 38, Seasons: 7}},
		Forecast: charts.LeadSeries{Points: []charts.LeadPoint{
			{Lead: 0, Days: 3.3, Low: 2.6, High: 4.1}, {Lead: 1, Days: 1.5, Low: 1.2, High: 1.9},
		}},
		Baselines: []charts.LeadSeries{{Name: "bloom and 30 days", Points: []charts.LeadPoint{{Lead: 0, Days: 4.2}, {Lead: 1, Days: 4.2}}}},
		Bias:      []charts.LeadPoint{{Lead: 1, Days: -0.4}},
	}
	say(e)
	// Output:
	// Error by lead, first ripe
	// - Mean absolute error, days, by lead.
	// - At bloom, 41 cases in 7 seasons: forecast 3.3 (2.6 to 4.1), bloom and 30 days 4.2.
	// - 7 days before, 38 cases in 7 seasons: forecast 1.5 (1.2 to 1.9), bloom and 30 days 4.2; on average 0.4 days early.
	// - The range of the forecast: 8 times in 10 when seasons are drawn anew.
}

func ExampleReliability() {
	r := charts.Reliability{
		Event:   "a gap",
		Chances: []charts.ChanceBin{{Forecast: 0.12, Came: 0.1, Cases: 96}, {Forecast: 0.74, Came: 0.81, Cases: 27}},
		Falls:   []int{9, 12, 14, 8}, FallsLow: 7, FallsHigh: 15,
	}
	say(r)
	// Output:
	// Reliability
	// - How often a gap came, by the chance given for it.
	// - Forecast 1.2 in 10, came 1.0 in 10, 96 cases.
	// - Forecast 7.4 in 10, came 8.1 in 10, 27 cases.
	// - Where the truth fell in the forecast's range, from its early to its late end in 4 parts of equal chance: 9, 12, 14, 8 cases; each part should hold about 10.8, 8 times in 10 between 7.0 and 15.0.
}

func ExampleBaseProfile() {
	b := charts.BaseProfile{
		Finding:  "No other base is clearly better.",
		CurrentC: 3,
		Curves: []charts.BaseCurve{{Name: "single sine", Points: []charts.BasePoint{
			{BaseC: 0, Days: 2.6}, {BaseC: 2, Days: 2.3}, {BaseC: 4, Days: 2.4},
		}}},
	}
	say(b)
	// Output:
	// Base temperature
	// - No other base is clearly better.
	// - Mean absolute error, days, by base temperature.
	// - Base in use 3 °C.
	// - No other is proposed.
	// - Single sine: least 2.3 days at 2 °C; 0 °C 2.6, 2 °C 2.3, 4 °C 2.4.
}

func ExampleStory() {
	day := func(month time.Month, d int) time.Time { return time.Date(2026, month, d, 0, 0, 0, 0, time.UTC) }
	s := charts.Story{
		Heading: "Wendelin, North slope", Bloom: day(5, 28), AsOf: day(5, 31), OutlookThrough: day(5, 31),
		Past: []charts.HeatDay{{Date: day(5, 29), SumC: 14}, {Date: day(5, 30), SumC: 27, Filled: true}},
		Ahead: []charts.HeatRange{
			{Date: day(5, 31), P10C: 38, P50C: 41, P90C: 43}, {Date: day(6, 1), P10C: 47, P50C: 54, P90C: 60},
		},
		Needs: []charts.Need{{
			Stage: "first ripe", P10C: 322, P50C: 345, P90C: 369,
			When: charts.Range{P10: day(6, 20), P50: day(6, 23), P90: day(6, 27)},
		}},
	}
	say(s)
	// Output:
	// Wendelin, North slope
	// - Bloom Thu 28 May; first ripe about Tue 23 Jun.
	// - As of the morning of Sun 31 May 2026: 27 °C·d since bloom, 1 day of it not observed; outlook through Sun 31 May.
	// - First ripe requires 322–369 °C·d from bloom; about Tue 23 Jun (8 in 10: Sat 20 – Sat 27 Jun).
	// - By Mon 1 Jun about 54 °C·d are expected, 8 times in 10 47 to 60.
}

// say writes the title of a chart and its description, a sentence a line.
func say(c interface {
	Title() string
	Description() string
}) {
	fmt.Println(c.Title())
	for part := range strings.SplitAfterSeq(c.Description(), ". ") {
		fmt.Println("-", strings.TrimSpace(part))
	}
}
