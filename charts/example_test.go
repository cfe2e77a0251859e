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
