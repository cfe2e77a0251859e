package scoring_test

import (
	"fmt"
	"time"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// A forecast of ten members: what it says, and what it scores if the first
// ripe fruit comes on 7 June.
func Example() {
	f, err := scoring.FromCounts(weather.DateOf(2025, time.June, 2), []int{1, 2, 4, 2, 0, 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	actual := weather.DateOf(2025, time.June, 7)
	fmt.Println("median", f.Median())
	fmt.Println("range ", f.Quantile(0.1), "to", f.Quantile(0.9))
	fmt.Printf("mass   %.1f\n", f.Mass(f.Quantile(0.1), f.Quantile(0.9)))
	fmt.Printf("CRPS   %.2f days\n", scoring.CRPS(f, actual))
	fmt.Printf("error  %.0f days for the median alone\n", scoring.CRPS(scoring.Point(f.Median()), actual))
	// Output:
	// median 2025-06-04
	// range  2025-06-02 to 2025-06-05
	// mass   0.9
	// CRPS   2.21 days
	// error  3 days for the median alone
}

// A normal as a baseline: the mean date of other years with their spread.
func ExampleFromNormal() {
	june10 := float64(weather.DateOf(2025, time.June, 10))
	f, err := scoring.FromNormal(june10+0.3, 5)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(f.Quantile(0.1), f.Median(), f.Quantile(0.9))
	fmt.Printf("%.3f of the mass on the day itself\n", f.Mass(f.Median(), f.Median()))
	// Output:
	// 2025-06-04 2025-06-10 2025-06-17
	// 0.080 of the mass on the day itself
}

// Two seasons are scored, and one planting was left out by the caller.
func ExampleScore() {
	june := func(day int) weather.Date { return weather.DateOf(2025, time.June, day) }
	f, err := scoring.FromDates([]weather.Date{june(3), june(4), june(5), june(5), june(6), june(9)})
	if err != nil {
		fmt.Println(err)
		return
	}
	a, err := scoring.Score([]scoring.Case{
		{Season: 2024, Key: "2024/strip-1/first_ripe/7", Lead: 7, Forecast: f, Actual: june(4)},
		{Season: 2025, Key: "2025/strip-1/first_ripe/7", Lead: 7, Forecast: f, Actual: june(8)},
	}, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d cases of %d seasons, %d excluded\n", a.N, a.Seasons, a.Excluded)
	fmt.Printf("bias %+.2f days, MAE %.2f days, CRPS %.2f days\n", a.Bias, a.MAE, a.CRPS)
	fmt.Printf("%d hits, %.1f expected\n", a.Coverage.Hits, a.Coverage.Expected)
	if !a.Conclusive() {
		fmt.Println("too few seasons to conclude anything")
	}
	// Output:
	// 2 cases of 2 seasons, 1 excluded
	// bias -0.67 days, MAE 2.00 days, CRPS 1.33 days
	// 2 hits, 2.0 expected
	// too few seasons to conclude anything
}

// Against a reference that names the same date every year.
func ExampleSkill() {
	june := func(day int) weather.Date { return weather.DateOf(2025, time.June, day) }
	var forecast, reference []scoring.Case
	for season, actual := range []int{4, 12, 7, 15} {
		key := fmt.Sprint(2021 + season)
		late := []int{1, -2, 0, -1}[season]
		forecast = append(forecast, scoring.Case{Season: 2021 + season, Key: key, Forecast: scoring.Point(june(actual + late)), Actual: june(actual)})
		reference = append(reference, scoring.Case{Season: 2021 + season, Key: key, Forecast: scoring.Point(june(9)), Actual: june(actual)})
	}
	c, err := scoring.Skill(forecast, reference)
	if err != nil {
		fmt.Println(err)
		return
	}
	if s := c.MAE; s.OK && s.RangeOK {
		fmt.Printf("skill %.2f, range %.2f to %.2f, of %d seasons\n", s.Value, s.Lo, s.Hi, c.Seasons)
	}
	// Output:
	// skill 0.75, range 0.53 to 0.88, of 4 seasons
}

// Outcomes that pile up at both ends: the ranges were too narrow.
func ExamplePITHistogram() {
	may := func(day int) weather.Date { return weather.DateOf(2025, time.May, day) }
	f, err := scoring.FromCounts(may(10), []int{1, 1, 2, 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	var cases []scoring.Case
	for _, day := range []int{7, 8, 10, 12, 13, 15, 16} {
		cases = append(cases, scoring.Case{Forecast: f, Actual: may(day)})
	}
	fmt.Printf("%.1f\n", scoring.PITHistogram(cases, 5))
	// Output:
	// [3.0 0.0 0.5 0.5 3.0]
}

// The chance that picking can begin by a given day, and how often it did.
func ExampleDecompose() {
	d := scoring.Decompose([]scoring.Event{
		{Probability: 0.1, Happened: false},
		{Probability: 0.1, Happened: false},
		{Probability: 0.6, Happened: true},
		{Probability: 0.6, Happened: false},
		{Probability: 0.9, Happened: true},
	}, 10)
	for _, b := range d.Table {
		fmt.Printf("said %.1f, happened %.1f of %d\n", b.Probability, b.Frequency, b.N)
	}
	fmt.Printf("%.3f = %.3f - %.3f + %.3f\n", d.Brier, d.Reliability, d.Resolution, d.Uncertainty)
	// Output:
	// said 0.1, happened 0.0 of 2
	// said 0.6, happened 0.5 of 2
	// said 0.9, happened 1.0 of 1
	// 0.110 = 0.010 - 0.140 + 0.240
}
