package quality_test

import (
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

var (
	from  = weather.DateOf(2025, 6, 1)
	where = quality.Place{Latitude: 45, Elevation: 100}
)

// run makes days in a row from lows and highs by turns.
func run(values ...float64) []weather.Day {
	var days []weather.Day
	for i := 0; i+1 < len(values); i += 2 {
		days = append(days, weather.Day{Date: from + weather.Date(i/2), Min: values[i], Max: values[i+1]})
	}
	return days
}

// show writes suspects in short, one a line.
func show(suspects []quality.Suspect) string {
	var b strings.Builder
	for _, s := range suspects {
		fmt.Fprintf(&b, "%s %s: %s\n", s.Date, s.Test, s.Detail)
	}
	return b.String()
}

// A record too short to know its seasons is tested by what a day and those
// around it say.
func TestCheckShort(t *testing.T) {
	t.Parallel()
	without := func(days []weather.Day, i int) []weather.Day { return slices.Delete(days, i, i+1) }
	nan := math.NaN()
	for _, tt := range []struct {
		name string
		days []weather.Day
		want string
	}{
		{"nothing", nil, ""},
		{"a day", run(-15, 27), ""},
		{"good days", run(11.1, 25.6, 12.2, 27.8, 13.9, 28.3), ""},
		{"a low far below both others", run(11.1, 25.6, -15, 24.5, 13.9, 28.3), "2025-06-02 spike: min -15.0 °C, where the days around have 11.1 and 13.9\n"},
		{"25 °C are far", run(10, 20, -15, 20, 11, 20), "2025-06-02 spike: min -15.0 °C, where the days around have 10.0 and 11.0\n"},
		{"24.9 are not", run(10, 20, -14.9, 20, 11, 20), ""},
		{"nor are 40 from one only", run(-29, -11, -29, 10, 10, 20, 11, 21), ""},
		{"a high far above both others", run(1, 5, 1, 30.5, 1, 4), "2025-06-02 spike: max 30.5 °C, where the days around have 5.0 and 4.0\n"},
		{"the day after is not the next on record", without(run(10, 20, -15, 20, 9, 19, 11, 20), 2), ""},
		{"nor the day before", without(run(10, 20, 9, 19, -15, 20, 11, 20), 1), ""},

		{"a range of 40 °C", run(-20, 5, -18, 22, -19, 6), "2025-06-02 range: max 22.0 °C, where the warmest low of the days around is -18.0\n"},
		{"of 39.9", run(-20, 5, -18, 21.9, -19, 6), ""},
		{"the day before is warm", run(-17.9, 5, -18, 22, -19, 6), ""},
		{"the day after is warm", run(-20, 5, -18, 22, -17.9, 6), ""},
		{"a low 40 °C below all highs", run(-4, 20, -20, 20, -4, 20.5), "2025-06-02 range: min -20.0 °C, where the coldest high of the days around is 20.0\n"},
		{"a day before with a colder high", run(-4, 19.9, -20, 20, -4, 20.5), ""},
		{"a day after with a colder high", run(-4, 20.5, -20, 20, -4, 19.9), ""},

		{"a max below the next min", run(2.2, 12.2, 13.3, 18.3), "2025-06-01 neighbour: max 12.2 °C is below the min of the day after, 13.3\n" +
			"2025-06-02 neighbour: min 13.3 °C is above the max of the day before, 12.2\n"},
		{"a min above the next max", run(10, 17.8, 0, 4.4), "2025-06-01 neighbour: min 10.0 °C is above the max of the day after, 4.4\n" +
			"2025-06-02 neighbour: max 4.4 °C is below the min of the day before, 10.0\n"},
		{"the day in the middle contradicts both", run(10, 20, 1, 8, 10, 20), "2025-06-02 neighbour: max 8.0 °C is below the min of the day before, 10.0; max 8.0 °C is below the min of the day after, 10.0\n"},
		{"and all four days two", run(10, 20, 1, 8, 10, 20, 0, 2), "2025-06-02 neighbour: max 8.0 °C is below the min of the day before, 10.0; max 8.0 °C is below the min of the day after, 10.0\n" +
			"2025-06-03 neighbour: min 10.0 °C is above the max of the day before, 8.0; min 10.0 °C is above the max of the day after, 2.0\n"},
		{"the day that failed another test is the one", run(10, 20, 0, 0, -3, 11), "2025-06-02 naught: min and max are both 0 °C, as where nothing was written\n" +
			"2025-06-02 neighbour: max 0.0 °C is below the min of the day before, 10.0\n"},
		{"by the buffer", run(2.25, 12.25, 13.25, 18.25), ""},
		{"and the other way round", run(10.25, 17.25, 0, 9.25), ""},
		{"over a hole", without(run(2, 12, 9, 17, 20, 28), 1), ""},

		{"both nought", run(-5, 6, 0, 0, -5, 6), "2025-06-02 naught: min and max are both 0 °C, as where nothing was written\n"},
		{"both 0 °F", run(-20, -15, -17.8, -17.8, -20, -15), "2025-06-02 naught: min and max are both 0 °F, as where nothing was written\n"},
		{"both 0 °F, not rounded", run(-20, -15, weather.Fahrenheit.Celsius(0), weather.Fahrenheit.Celsius(0), -20, -15),
			"2025-06-02 naught: min and max are both 0 °F, as where nothing was written\n"},
		{"0 °F and 0 °C", run(-16, -1, -17.8, 0, -20, -1), ""},
		{"equal, but not nought", run(-20, -15, -17.7, -17.7, -20, -15), ""},
		{"a low of nought among warm ones", run(10, 20, 0, 19, 12, 20), "2025-06-02 naught: min is 0 °C, where the days around have 10.0 and 12.0 °C\n"},
		{"a high of nought among cold ones", run(-20, -10, -21, 0, -20, -11), "2025-06-02 naught: max is 0 °C, where the days around have -10.0 and -11.0 °C\n"},
		{"not so warm ones", run(10, 20, 0, 19, 9.9, 20), ""},
		{"nearly nought", run(10, 20, 0.1, 19, 12, 20), ""},

		{"a low four times", run(5.1, 20, 7.2, 21, 7.2, 22, 7.2, 23, 7.2, 24, 5, 25), ""},
		{"min and max four times", run(5.1, 20, 7.2, 21, 7.2, 21, 7.2, 21, 7.2, 21, 5, 25), ""}, // A half of six days: nothing is odd there.
		{"highs of the day before as lows", run(5, 20, 20, 21, 21, 23, 23, 24, 24, 25, 6, 26), ""},
		{"impossible days are passed over", run(10, 20, nan, 5, 61, 62, 12, 9, -91, 0, 11, 21), ""},
		{"so is a low above the high", run(10, 20, 15, -5, 10, 20), ""},
		{"and what is around them is not", run(10, 20, nan, 5, 5, 10, 10, 20, -15, 20, 10, 20), "2025-06-05 spike: min -15.0 °C, where the days around have 10.0 and 10.0\n"},
		{"two faults of a day", run(10, 31, -15.5, 0, 11, 30), "2025-06-02 naught: max is 0 °C, where the days around have 31.0 and 30.0 °C\n" +
			"2025-06-02 neighbour: max 0.0 °C is below the min of the day before, 10.0; max 0.0 °C is below the min of the day after, 11.0\n" +
			"2025-06-02 spike: min -15.5 °C, where the days around have 10.0 and 11.0; max 0.0 °C, where the days around have 31.0 and 30.0\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			before := slices.Clone(tt.days)
			if got := show(quality.Check(tt.days, where)); got != tt.want {
				t.Errorf("got\n%swant\n%s", got, tt.want)
			}
			for i, d := range tt.days {
				if d != before[i] && d.Min == d.Min {
					t.Errorf("day %d was changed", i)
				}
			}
		})
	}
}

// tests returns the tests that the days from i to j fail, each once with how
// many of them fail it.
func tests(days []weather.Day, i, j int) map[quality.Test]int {
	out := map[quality.Test]int{}
	for _, s := range quality.Check(days, where) {
		if days[i].Date <= s.Date && s.Date <= days[j].Date {
			out[s.Test]++
		}
	}
	return out
}

// lahrDays returns the days of Lahr from a year on, to copy at will. None of
// them is a suspect.
func lahrDays(t *testing.T, years int) []weather.Day {
	t.Helper()
	return plain(t, data+"lahr_2005_2014.csv")[:365*years]
}

// In ten years of Lahr a value repeats on 1 in 50 days, and both do on 1 in
// 2,000. By the comment on longest, 3,650 days take 1+ceil(ln(3.65e6)/ln(50))
// equal lows, which is 5, and 1+ceil(ln(3.65e6)/ln(500)), which is 4, of both,
// with 1 in 500 as the least share.
func TestRunsTakeSoMany(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name  string
		least int
		test  quality.Test
		spoil func(days []weather.Day) // The first of them is before the fault.
	}{
		{"equal lows", 5, quality.Streak, func(days []weather.Day) {
			for k := 2; k < len(days); k++ {
				days[k].Min = days[1].Min
			}
		}},
		{"equal highs", 5, quality.Streak, func(days []weather.Day) {
			for k := 2; k < len(days); k++ {
				days[k].Max = days[1].Max
			}
		}},
		{"equal days", 4, quality.Streak, func(days []weather.Day) {
			for k := 2; k < len(days); k++ {
				days[k].Min, days[k].Max = days[1].Min, days[1].Max
			}
		}},
		{"lows that are highs of the day", 3, quality.Columns, func(days []weather.Day) {
			for k := 1; k < len(days); k++ {
				days[k].Min = days[k].Max
			}
		}},
		{"lows that are highs of the day before", 3, quality.Columns, func(days []weather.Day) {
			for k := 1; k < len(days); k++ {
				days[k].Min, days[k].Max = days[k-1].Max, days[k-1].Max+0.3
			}
		}},
		{"lows that are highs of the day after", 3, quality.Columns, func(days []weather.Day) {
			for k := 1; k < len(days); k++ {
				days[k].Max = 30 - 0.3*float64(k)
			}
			for k := 1; k+1 < len(days); k++ {
				days[k].Min = days[k+1].Max
			}
		}},
		{"days of another year", 5, quality.Duplicate, func(days []weather.Day) {}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for n := tt.least - 1; n <= tt.least+4; n++ {
				days := lahrDays(t, 10)
				const i = 1250
				end := i + n
				if strings.Contains(tt.name, "after") {
					end++
				}
				tt.spoil(days[i-1 : end])
				if tt.test == quality.Duplicate {
					for k := i; k < end; k++ {
						days[k].Min, days[k].Max = days[k+900].Min, days[k+900].Max
					}
				}
				want := n
				if n < tt.least {
					want = 0
				}
				got := tests(days, i, i+n-1)[tt.test]
				all := tests(days, 0, len(days)-1)[tt.test]
				if tt.test == quality.Duplicate {
					all -= tests(days, i+900, i+900+n-1)[tt.test]
				}
				if got != want || all != want {
					t.Errorf("%d days: %d are marked and %d in all, want %d", n, got, all, want)
				}
			}
		})
	}
}

// A run may have holes in it and still be one; copied days may not.
func TestStreakOverHoles(t *testing.T) {
	t.Parallel()
	days := lahrDays(t, 10)
	for k := 1000; k < 1006; k++ {
		days[k].Min = days[1000].Min
	}
	days = slices.Delete(days, 1003, 1004)
	if got := tests(days, 1000, 1004); got[quality.Streak] != 5 {
		t.Errorf("%v, want 5 days of a streak", got)
	}
	days = lahrDays(t, 10)
	for k := 1000; k < 1008; k++ {
		days[k].Min, days[k].Max = days[k+900].Min, days[k+900].Max
	}
	days = slices.Delete(days, 1004, 1005)
	for k := range 7 {
		days[1000+k].Min, days[1000+k].Max = days[1900+k].Min, days[1900+k].Max
	}
	if got := tests(days, 990, 1010); got[quality.Duplicate] != 0 {
		t.Errorf("%v, want no duplicates of four days and three", got)
	}
	for _, hole := range []int{1006, 1906} {
		days = slices.Delete(lahrDays(t, 10), hole, hole+1)
		for k := range 9 {
			days[1000+k].Min, days[1000+k].Max = days[1900+k].Min, days[1900+k].Max
		}
		if got := tests(days, 990, 1010); got[quality.Duplicate] != 6 {
			t.Errorf("%v, want 6 duplicates of six days and three", got)
		}
	}
}

// A record of a season can have duplicates too, and streaks of the same values
// are none.
func TestDuplicatesOfOneSeason(t *testing.T) {
	t.Parallel()
	days := lahrDays(t, 1)[:100]
	for k := 20; k < 30; k++ {
		days[k].Min, days[k].Max = days[k+50].Min, days[k+50].Max
	}
	if got := tests(days, 20, 29)[quality.Duplicate]; got != 10 {
		t.Errorf("%d of 10 copied days are marked", got)
	}
	for _, s := range quality.Check(days, where) {
		if s.Test == quality.Duplicate && s.Detail != "10 days from 2005-01-21 on have the values of those from 2005-03-12 on" && s.Detail != "10 days from 2005-03-12 on have the values of those from 2005-01-21 on" {
			t.Errorf("%v", s)
		}
	}
	days = lahrDays(t, 10)
	for k := range 12 {
		days[1000+k].Min, days[1000+k].Max = 5, 9
		days[2000+k].Min, days[2000+k].Max = 5, 9
	}
	got := tests(days, 0, len(days)-1)
	if got[quality.Duplicate] != 0 || got[quality.Streak] != 24 {
		t.Errorf("%v, want 24 days of streaks", got)
	}
}

// Twenty equal values are a streak even where values repeat all the time.
func TestTwentyAreAStreak(t *testing.T) {
	t.Parallel()
	for n := 18; n <= 21; n++ {
		var days []weather.Day
		for i := range 3000 {
			days = append(days, weather.Day{Date: from + weather.Date(i), Min: float64(i / 10 % 2), Max: 20 + float64(i%7)})
		}
		for i := range n {
			days[205+i].Min = 5
		}
		want := 0
		if n >= 20 {
			want = n
		}
		if got := tests(days, 0, 2999)[quality.Streak]; got != want {
			t.Errorf("%d equal lows: %d marked, want %d", n, got, want)
		}
	}
}

// Days that agree with others of a coarse record by chance are no duplicates.
func TestCoarseRecordHasNoDuplicates(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 1))
	var days []weather.Day
	for i := range 3650 { // The tropics in whole degrees: six different days.
		days = append(days, weather.Day{Date: from + weather.Date(i), Min: 22 + float64(r.IntN(2)), Max: 31 + float64(r.IntN(3))})
	}
	if got := quality.Check(days, quality.Place{}); len(got) > 0 {
		t.Errorf("%d suspects, the first %v", len(got), got[0])
	}
	copied := slices.Clone(days)
	for k := range 45 {
		copied[700+k].Min, copied[700+k].Max = copied[2000+k].Min, copied[2000+k].Max
	}
	if got := tests(copied, 0, len(days)-1)[quality.Duplicate]; got != 0 {
		t.Errorf("%d days are marked where 45 are copied", got)
	}
	for k := range 60 { // ln(3650²/2/0.001) / -ln(4/6) is 56.
		days[700+k].Min, days[700+k].Max = days[2000+k].Min, days[2000+k].Max
	}
	if got := tests(days, 700, 759)[quality.Duplicate]; got != 60 {
		t.Errorf("%d of 60 copied days are marked", got)
	}
}

// byDefinition returns the biweight mean and standard deviation as they are
// defined, from all values in order, sharing no code with the package.
func byDefinition(values []float64) (centre, scale float64) {
	median := func(x []float64) float64 {
		x = slices.Sorted(slices.Values(x))
		return x[(len(x)-1)/2]
	}
	m := median(values)
	var apart []float64
	for _, x := range values {
		apart = append(apart, math.Abs(x-m))
	}
	c := 7.5 * median(apart)
	var up, w, above, below float64
	for _, x := range values {
		if u := (x - m) / c; math.Abs(u) < 1 {
			weight := (1 - u*u) * (1 - u*u)
			up += (x - m) * weight
			w += weight
			above += (x - m) * (x - m) * weight * weight
			below += (1 - u*u) * (1 - 5*u*u)
		}
	}
	return m + up/w, math.Sqrt(float64(len(values))*above) / math.Abs(below)
}

// TestSeason compares with the definition, a hair's breadth on both sides of
// six scales: of fifteen days in ten years, of thirty-five in four, and of
// nothing in two.
func TestSeason(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 1))
	for _, tt := range []struct{ years, reach int }{{10, 1}, {7, 1}, {6, 3}, {4, 3}, {3, 3}, {2, 0}} {
		for range 60 {
			days := lahrDays(t, tt.years)
			i := r.IntN(len(days))
			at := five(days[i].Date)
			scale, centre := 5.0, 10.0
			off := []float64{-6.06, -5.94, 5.94, 6.06}[r.IntN(4)]
			low := r.IntN(2) == 0
			for range 5 { // The value itself is among those that it is measured by.
				var values []float64
				for _, d := range days {
					if apart := (five(d.Date) - at + 73 + 36) % 73; 36-tt.reach <= apart && apart <= 36+tt.reach {
						if low {
							values = append(values, d.Min)
						} else {
							values = append(values, d.Max)
						}
					}
				}
				if tt.reach > 0 {
					centre, scale = byDefinition(values)
				}
				if low {
					days[i].Min = tenth(centre + off*scale)
				} else {
					days[i].Max = tenth(centre + off*scale)
				}
			}
			if days[i].Min > days[i].Max || days[i].Max > weather.Warmest {
				continue
			}
			got := tests(days, i, i)[quality.Season]
			want := 0
			if math.Abs(off) > 6 && tt.reach > 0 {
				want = 1
			}
			if got != want {
				t.Errorf("%d years, %v: %d marks at %g scales, want %d", tt.years, days[i], got, off, want)
			}
		}
	}
}

// A record too young to know its seasons is held against what there is on
// Earth. Of each month of Ann Arbor in °F, by itself, most months are found.
func TestUnitOfYoungRecords(t *testing.T) {
	t.Parallel()
	all := plain(t, data+"ann_arbor_1976_2018.csv")
	place := quality.Place{Latitude: 42.3, Elevation: 274}
	fahrenheit := func(days []weather.Day) []weather.Day {
		var out []weather.Day
		for _, d := range days {
			if low, high := tenth(d.Min*9/5+32), tenth(d.Max*9/5+32); high <= weather.Warmest {
				out = append(out, weather.Day{Date: d.Date, Min: low, Max: high})
			}
		}
		return out
	}
	// The share of years in which at least half the days of a month are found
	// or refused, in per cent.
	want := [12]int{92, 87, 100, 92, 100, 100, 100, 100, 100, 97, 97, 90}
	for m := range want {
		n, found := 0, 0
		for y := 1977; y < 2018; y++ {
			first, last := weather.DateOf(y, time.Month(m+1), 1), weather.DateOf(y, time.Month(m+2), 1)
			month := fahrenheit(all[index(all, first):index(all, last)])
			if index(all, last)-index(all, first) < 25 {
				continue
			}
			n++
			marked := map[weather.Date]bool{}
			for _, s := range quality.Check(month, place) {
				if s.Test == quality.Unit {
					marked[s.Date] = true
				}
			}
			if bad := index(all, last) - index(all, first) - len(month) + len(marked); 2*bad >= index(all, last)-index(all, first) {
				found++
			}
		}
		if got := 100 * found / n; got != want[m] {
			t.Errorf("month %d: %d %% of %d found, want %d", m+1, got, n, want[m])
		}
	}
	var cold []weather.Day // °C taken for °F.
	summer := years(all, 2016, 2016)
	for _, d := range summer[181:212] {
		cold = append(cold, weather.Day{Date: d.Date, Min: tenth((d.Min - 32) * 5 / 9), Max: tenth((d.Max - 32) * 5 / 9)})
	}
	for _, tt := range []struct {
		name  string
		place quality.Place
		days  []weather.Day
		want  int
	}{
		{"a cold July", place, cold, 31},
		{"in a January of the south it would be the same", quality.Place{Latitude: -42.3, Elevation: 274}, shiftDays(cold, 184), 31},
		{"a winter of the south may be so", quality.Place{Latitude: -42.3, Elevation: 274}, cold, 0},
		{"a mountain may be so", quality.Place{Latitude: 42.3, Elevation: 4000}, cold, 0},
		{"nine days are too few", place, cold[:9], 0},
		{"ten are not", place, cold[:10], 10},
		{"within twelve dates", place, slices.Concat(cold[:5], cold[7:12]), 10},
		{"not thirteen", place, slices.Concat(cold[:5], cold[8:13]), 0},
		{"a place that is not known", quality.Place{Latitude: math.NaN(), Elevation: 274}, cold, 0},
		{"nor its height", quality.Place{Latitude: 42.3, Elevation: math.NaN()}, cold, 0},
		{"a place that is nowhere", quality.Place{Latitude: 91}, cold, 0},
	} {
		if got := tests2(tt.days, tt.place)[quality.Unit]; got != tt.want {
			t.Errorf("%s: %d marked, want %d", tt.name, got, tt.want)
		}
	}
	if s := quality.Check(cold[:10], place); s[0].Detail != "the mean of ten days, -5.4 °C, is below -3.5, which no place at that latitude has at that time of year: °C taken for °F?" {
		t.Errorf("detail %q", s[0].Detail)
	}
	// A January too warm for Michigan is none for the tropics.
	warm := fahrenheit(all[index(all, weather.DateOf(2016, 1, 1)):index(all, weather.DateOf(2016, 2, 1))])
	if got := tests2(warm, place)[quality.Unit]; got < 20 {
		t.Errorf("%d days of January marked", got)
	}
	if got := tests2(warm, quality.Place{Latitude: 20})[quality.Unit]; got > 0 {
		t.Errorf("%d days of January marked in the tropics", got)
	}
}

func shiftDays(days []weather.Day, by weather.Date) []weather.Day {
	out := slices.Clone(days)
	for i := range out {
		out[i].Date += by
	}
	return out
}

func tests2(days []weather.Day, p quality.Place) map[quality.Test]int {
	out := map[quality.Test]int{}
	for _, s := range quality.Check(days, p) {
		out[s.Test]++
	}
	return out
}

// A run in °F is marked from its first to its last day, and a spell of three
// days is none.
func TestUnitOfARun(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 3, 4, 5, 12, 40} {
		days := lahrDays(t, 10)
		const i = 2000 // In June 2010.
		for k := i; k < i+n; k++ {
			days[k].Min, days[k].Max = tenth(days[k].Min*9/5+32), tenth(min(days[k].Max*9/5+32, weather.Warmest))
			days[k].Min = min(days[k].Min, days[k].Max)
		}
		want := n
		if n < 4 {
			want = 0
		}
		got, all := 0, 0
		for _, s := range quality.Check(days, quality.Place{Latitude: math.NaN()}) {
			if s.Test == quality.Unit {
				all++
				if days[i].Date <= s.Date && s.Date <= days[i+n-1].Date {
					got++
				}
			}
		}
		if got != want || all != want {
			t.Errorf("%d days: %d marked, %d in all", n, got, all)
		}
	}
}

// Good days between two runs belong to neither.
func TestUnitOfTwoRuns(t *testing.T) {
	t.Parallel()
	days := lahrDays(t, 10)
	const i = 2000
	for k := i; k < i+90; k++ {
		if k < i+40 || k >= i+50 {
			days[k].Max = tenth(min(days[k].Max*9/5+32, weather.Warmest))
			days[k].Min = min(tenth(days[k].Min*9/5+32), days[k].Max)
		}
	}
	if first, between, second := tests(days, i, i+39)[quality.Unit], tests(days, i+40, i+49)[quality.Unit], tests(days, i+50, i+89)[quality.Unit]; first != 40 || between != 0 || second != 40 {
		t.Errorf("%d, %d and %d days marked, want 40, 0 and 40", first, between, second)
	}
}

// Spikes of three scales are marked where the changes of the season are known.
func TestSpikeOfTheSeason(t *testing.T) {
	t.Parallel()
	days := lahrDays(t, 10)
	const i = 2000
	var changes []float64
	for k := 1; k < len(days); k++ {
		if apart := (days[k].Date - days[i].Date + 3650 + 182) % 365; 182-7 <= apart && apart <= 182+7 {
			changes = append(changes, days[k].Min-days[k-1].Min)
		}
	}
	_, scale := byDefinition(changes)
	for _, off := range []float64{2.8, 3.2} {
		spoiled := slices.Clone(days)
		spoiled[i-1].Min, spoiled[i].Min, spoiled[i+1].Min = 8, tenth(8-off*scale), 8
		want := 0
		if off > 3 {
			want = 1
		}
		if got := tests(spoiled, i, i)[quality.Spike]; got != want {
			t.Errorf("a dip of %g scales of %.1f °C: %d", off, scale, got)
		}
		if got := tests(spoiled[i-300:i+300], 300, 300)[quality.Spike]; got != 0 {
			t.Errorf("a dip in a record without seasons is marked")
		}
	}
}

// A gap of 10 °C in the values of a calendar month, of at least a hundred.
func TestGap(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		years int
		apart float64
		want  int
	}{{10, 10, 1}, {10, 9.9, 0}, {4, 10, 1}, {3, 10, 0}} {
		for _, low := range []bool{true, false} {
			days := lahrDays(t, tt.years)
			i := index(days, weather.DateOf(2006, 6, 15))
			least, most := 99.0, -99.0
			for k, d := range days {
				if _, m, _ := d.Date.Civil(); m == time.June && k != i {
					least, most = min(least, d.Min), max(most, d.Max)
				}
			}
			days[i].Min = tenth(least - tt.apart)
			detail := fmt.Sprintf("min %.1f °C, where the next lowest of that month is %.1f", days[i].Min, least)
			if !low {
				days[i].Min, days[i].Max = 15, tenth(most+tt.apart)
				detail = fmt.Sprintf("max %.1f °C, where the next highest of that month is %.1f", days[i].Max, most)
			}
			n := 0
			for _, s := range quality.Check(days, where) {
				if s.Test == quality.Gap {
					n++
					if s.Date != days[i].Date || s.Detail != detail {
						t.Errorf("%v", s)
					}
				}
			}
			if n != tt.want {
				t.Errorf("%d years, %g °C, low %v: %d marks, want %d", tt.years, tt.apart, low, n, tt.want)
			}
		}
	}
}

// Highs that have slipped by a day are marked, either way, but not where most
// of the record has them so, nor for years on end.
func TestShifted(t *testing.T) {
	t.Parallel()
	all := plain(t, data+"ann_arbor_1976_2018.csv")
	from := func(first, last weather.Date) []weather.Day { return all[index(all, first):index(all, last)] }
	a, b, c, d := weather.DateOf(1990, 1, 1), weather.DateOf(1995, 3, 1), weather.DateOf(1995, 7, 1), weather.DateOf(2000, 1, 1)
	early := func(days []weather.Day) []weather.Day { // The high of the next day.
		out := slices.Clone(days[:len(days)-1])
		for i := range out {
			out[i].Max = days[i+1].Max
		}
		return slices.DeleteFunc(out, func(d weather.Day) bool { return d.Min > d.Max })
	}
	for _, tt := range []struct {
		name        string
		days        []weather.Day
		least, most int
		detail      string
	}{
		{"as it is", from(a, d), 0, 0, ""},
		{"four months late", slices.Concat(from(a, b), late(from(b, c)), from(c, d)), 90, 140, "go with the lows of the day before"},
		{"four months early", slices.Concat(from(a, b), early(from(b, c)), from(c, d)), 90, 140, "go with the lows of the day after"},
		{"all late", late(from(a, d)), 0, 0, ""},
		{"four months in time where the rest is late", slices.Concat(late(from(a, b)), from(b, c), late(from(c, d))), 90, 140, "go with the lows of the day after"},
		{"four years late", slices.Concat(from(a, b), late(from(b, b+1460)), from(b+1460, d+3650)), 0, 0, ""},
	} {
		n := 0
		for _, s := range quality.Check(tt.days, where) {
			if s.Test == quality.Shifted {
				n++
				if s.Date < b-20 || s.Date > c+20 || !strings.Contains(s.Detail, tt.detail) {
					t.Fatalf("%s: %v", tt.name, s)
				}
			}
		}
		if n < tt.least || n > tt.most {
			t.Errorf("%s: %d days marked, want %d to %d", tt.name, n, tt.least, tt.most)
		}
	}
}

// In summer 0 °C is no low of Lahr, and in winter it may be.
func TestNaughtOfTheSeason(t *testing.T) {
	t.Parallel()
	days := lahrDays(t, 10)
	for _, tt := range []struct {
		date weather.Date
		low  float64
		want int
	}{
		{weather.DateOf(2010, 7, 15), 0, 1},
		{weather.DateOf(2010, 7, 15), 0.1, 0},
		{weather.DateOf(2010, 7, 15), -17.8, 1},
		{weather.DateOf(2010, 1, 15), 0, 0},
		{weather.DateOf(2010, 1, 15), -17.8, 0},
		{weather.DateOf(2010, 4, 15), -17.8, 1},
		{weather.DateOf(2010, 10, 15), 0, 0},
	} {
		i := index(days, tt.date)
		spoiled := slices.Clone(days)
		spoiled[i].Min = tt.low
		if got := tests(spoiled, i, i)[quality.Naught]; got != tt.want {
			t.Errorf("%s, low %g: %d", tt.date, tt.low, got)
		}
	}
}

// It is no low that lies three and a half scales below what is usual.
func TestNaughtByDefinition(t *testing.T) {
	t.Parallel()
	marked := 0
	for date := weather.DateOf(2010, 4, 1); date < weather.DateOf(2010, 8, 1); date += 2 {
		days := lahrDays(t, 10)
		i := index(days, date)
		days[i].Min = 0
		var values []float64
		for _, d := range days {
			if apart := (five(d.Date) - five(date) + 73 + 36) % 73; 35 <= apart && apart <= 37 {
				values = append(values, d.Min)
			}
		}
		centre, scale := byDefinition(values)
		z := -centre / scale
		got := tests(days, i, i)[quality.Naught]
		marked += got
		if math.Abs(z+3.5) > 0.03 && (got == 1) != (z < -3.5) {
			t.Errorf("%s: 0 °C is %.2f scales from what is usual; %d marks", date, z, got)
		}
	}
	if marked < 5 || marked > 55 {
		t.Errorf("%d of 61 are marked, which is no test", marked)
	}
}

// five returns which five days of the year d is in, from 0 to 72.
func five(d weather.Date) int {
	_, m, day := d.Civil()
	if m == time.February && day == 29 {
		day = 28
	}
	return int(weather.DateOf(2001, m, day)-weather.DateOf(2001, 1, 1)) / 5
}

// Where all days are nearly the same, 3 °C are little still, and 7 are not.
func TestSeasonOfAnEvenPlace(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 1))
	for _, tt := range []struct {
		high float64
		want int
	}{{34.1, 0}, {36.8, 0}, {37.2, 1}, {38.1, 1}} {
		var days []weather.Day
		for i := range 3650 {
			days = append(days, weather.Day{Date: from + weather.Date(i), Min: 24 + tenth(r.Float64()/5), Max: 31 + tenth(r.Float64()/5)})
		}
		days[2000].Max = tt.high
		if got := tests(days, 0, len(days)-1)[quality.Season]; got != tt.want {
			t.Errorf("%g °C: %d marks, want %d", tt.high, got, tt.want)
		}
	}
}
