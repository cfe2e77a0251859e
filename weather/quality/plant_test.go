package quality_test

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/weather"
	"ripetide/weather/quality"
)

// fault is a mistake as it happens to records.
type fault struct {
	name string
	days int // 0 is the whole month.
	// spoil changes the days from i to j, both included, in place; false where
	// there is nothing to spoil.
	spoil func(days []weather.Day, i, j int, r *rand.Rand) bool
	// floors are the least shares found, in per cent, of all months together, at
	// Ann Arbor and at Lahr; worst are those of the month where it is lowest.
	// They lie a little under what was found when the tests were made. Much is
	// not found, for it looks like weather.
	floors, worst [2]int
}

func oneOf(days []weather.Day, i int, r *rand.Rand, change func(x float64) float64) bool {
	x := &days[i].Min
	if r.IntN(2) == 1 {
		x = &days[i].Max
	}
	y := change(*x)
	was := *x
	*x = y
	return math.Abs(y-was) >= 3 // Less does nobody harm.
}

func always(change func(d weather.Day) weather.Day) func([]weather.Day, int, int, *rand.Rand) bool {
	return func(days []weather.Day, i, j int, _ *rand.Rand) bool {
		for k := i; k <= j; k++ {
			date := days[k].Date
			days[k] = change(days[k])
			days[k].Date = date
		}
		return true
	}
}

func tenth(x float64) float64 { return math.Round(10*x) / 10 }

var faults = []fault{
	{"a month in °F", 0, always(func(d weather.Day) weather.Day {
		return weather.Day{Min: tenth(d.Min*9/5 + 32), Max: tenth(d.Max*9/5 + 32)}
	}), [2]int{100, 100}, [2]int{100, 100}},
	{"a week in °F", 7, always(func(d weather.Day) weather.Day {
		return weather.Day{Min: tenth(d.Min*9/5 + 32), Max: tenth(d.Max*9/5 + 32)}
	}), [2]int{85, 100}, [2]int{70, 100}},
	{"a month of °C taken for °F", 0, always(func(d weather.Day) weather.Day {
		return weather.Day{Min: tenth((d.Min - 32) * 5 / 9), Max: tenth((d.Max - 32) * 5 / 9)}
	}), [2]int{75, 95}, [2]int{20, 70}},
	{"highs of a month a day late", 0, func(days []weather.Day, i, j int, _ *rand.Rand) bool {
		for k := j; k >= i; k-- {
			days[k].Max = days[k-1].Max
		}
		return true
	}, [2]int{38, 0}, [2]int{15, 0}},
	{"highs of a month as lows of the next day", 0, func(days []weather.Day, i, j int, _ *rand.Rand) bool {
		for k := j; k >= i; k-- {
			days[k].Min = days[k-1].Max
		}
		return true
	}, [2]int{70, 90}, [2]int{20, 75}},
	{"two days exchanged", 2, func(days []weather.Day, i, j int, _ *rand.Rand) bool {
		a, b := &days[i], &days[j]
		a.Min, a.Max, b.Min, b.Max = b.Min, b.Max, a.Min, a.Max
		return math.Abs(a.Min-b.Min)+math.Abs(a.Max-b.Max) >= 6
	}, [2]int{15, 10}, [2]int{0, 0}},
	{"decimal point a place left", 1, func(days []weather.Day, i, _ int, r *rand.Rand) bool {
		return oneOf(days, i, r, func(x float64) float64 { return x / 10 })
	}, [2]int{65, 70}, [2]int{30, 0}},
	{"decimal point lost", 1, func(days []weather.Day, i, _ int, r *rand.Rand) bool {
		return oneOf(days, i, r, func(x float64) float64 { return x * 10 })
	}, [2]int{95, 90}, [2]int{85, 70}},
	{"minus lost", 1, func(days []weather.Day, i, _ int, _ *rand.Rand) bool {
		if days[i].Min > -3 {
			return false
		}
		days[i].Min *= -1
		return true
	}, [2]int{90, 80}, [2]int{0, 30}},
	{"stuck for 10 days", 10, func(days []weather.Day, i, j int, _ *rand.Rand) bool {
		for k := i + 1; k <= j; k++ {
			days[k].Min, days[k].Max = days[i].Min, days[i].Max
		}
		return true
	}, [2]int{100, 100}, [2]int{100, 100}},
	{"low stuck for 10 days", 10, func(days []weather.Day, i, j int, _ *rand.Rand) bool {
		for k := i + 1; k <= j; k++ {
			days[k].Min = days[i].Min
		}
		return true
	}, [2]int{95, 100}, [2]int{85, 100}},
	{"0 and 0 for missing", 1, always(func(weather.Day) weather.Day { return weather.Day{} }), [2]int{100, 100}, [2]int{100, 100}},
	{"0 for a missing low", 1, always(func(d weather.Day) weather.Day { return weather.Day{Max: d.Max} }), [2]int{45, 35}, [2]int{0, 0}},
	{"0 °F for a missing low", 1, always(func(d weather.Day) weather.Day { return weather.Day{Min: -17.8, Max: d.Max} }), [2]int{65, 95}, [2]int{0, 75}},
	{"a day copied", 1, func(days []weather.Day, i, _ int, _ *rand.Rand) bool {
		days[i].Min, days[i].Max = days[i-1].Min, days[i-1].Max
		return true
	}, [2]int{0, 0}, [2]int{0, 0}},
	{"a week copied from the year before", 7, func(days []weather.Day, i, j int, _ *rand.Rand) bool {
		for k := i; k <= j; k++ {
			days[k].Min, days[k].Max = days[k-365].Min, days[k-365].Max
		}
		return true
	}, [2]int{95, 100}, [2]int{85, 100}},
}

// TestFaults plants faults of a kind in a month of several years and counts
// those that are found: at least half of their days are suspects, or
// are refused when they are read. What goes by unseen is in the table too.
func TestFaults(t *testing.T) {
	t.Parallel()
	places := []quality.Place{{Latitude: 42.3, Elevation: 274}, {Latitude: 48.4, Elevation: 155}}
	var table strings.Builder
	fmt.Fprintf(&table, "%% found of as many as stand last %10s  J   F   M   A   M   J   J   A   S   O   N   D | all\n", "")
	for p, path := range []string{"ann_arbor_1976_2018.csv", "lahr_2005_2014.csv"} {
		all := slices.DeleteFunc(plain(t, data+path), func(d weather.Day) bool { y := d.Date.Year(); return y < 2005 || y > 2014 })
		for _, f := range faults {
			r := rand.New(rand.NewPCG(1, 1))
			var planted, found [12]int
			for m := range 12 {
				// Faults of days are planted in all years at once, longer ones in
				// every other year by themselves.
				step := 2
				if f.days == 1 || f.days == 2 {
					step = 1
				}
				var days []weather.Day
				var runs [][2]weather.Date
				for year := 2006; year <= 2014; year += step {
					if step > 1 || runs == nil {
						days, runs = slices.Clone(all), [][2]weather.Date{}
					}
					first, last := weather.DateOf(year, time.Month(m+1), 1), weather.DateOf(year, time.Month(m+2), 1)-1
					if f.days > 0 {
						first += weather.Date(r.IntN(int(last-first) + 2 - f.days))
						last = first + weather.Date(f.days-1)
					}
					if f.spoil(days, index(days, first), index(days, last+1)-1, r) {
						runs = append(runs, [2]weather.Date{first, last})
					}
					if step == 1 && year < 2014 {
						continue
					}
					bad := map[weather.Date]bool{}
					for _, d := range days {
						if _, err := weather.NewDay(d.Date, d.Min, d.Max); err != nil {
							bad[d.Date] = true
						}
					}
					for _, s := range quality.Check(days, places[p]) {
						bad[s.Date] = true
					}
					for _, run := range runs {
						n := 0
						for d := run[0]; d <= run[1]; d++ {
							if bad[d] {
								n++
							}
						}
						planted[m]++
						if 2*n >= int(run[1]-run[0])+1 {
							found[m]++
						}
					}
				}
			}
			fmt.Fprintf(&table, "%-9s %-41s", []string{"Ann Arbor", "Lahr"}[p], f.name)
			sum, of, worst := 0, 0, 100
			for m := range 12 {
				if planted[m] == 0 {
					fmt.Fprintf(&table, "  --")
					continue
				}
				share := 100 * found[m] / planted[m]
				fmt.Fprintf(&table, " %3d", share)
				sum, of, worst = sum+found[m], of+planted[m], min(worst, share)
			}
			fmt.Fprintf(&table, " | %3d of %d\n", 100*sum/max(of, 1), of)
			if 100*sum < f.floors[p]*of || worst < f.worst[p] {
				t.Errorf("%s at place %d: %d of %d found, %d %% in the worst month", f.name, p, sum, of, worst)
			}
		}
	}
	t.Log("\n" + table.String())
}

// index returns the place of the first day on or after d.
func index(days []weather.Day, d weather.Date) int {
	i, _ := slices.BinarySearchFunc(days, d, func(day weather.Day, d weather.Date) int { return cmp.Compare(day.Date, d) })
	return i
}
