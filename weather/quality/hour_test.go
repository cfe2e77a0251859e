package quality_test

import (
	"slices"
	"testing"

	"ripetide/weather"
	"ripetide/weather/quality"
)

// late returns days as a reader in the morning writes them: the high of a date
// under the next one. What that makes impossible is refused, and so is out.
func late(days []weather.Day) []weather.Day {
	var out []weather.Day
	for i := 1; i < len(days); i++ {
		if days[i].Date == days[i-1].Date+1 && days[i].Min <= days[i-1].Max {
			out = append(out, weather.Day{Date: days[i].Date, Min: days[i].Min, Max: days[i-1].Max})
		}
	}
	return out
}

// years returns the days of calendar years.
func years(days []weather.Day, first, last int) []weather.Day {
	return slices.DeleteFunc(slices.Clone(days), func(d weather.Day) bool { return d.Date.Year() < first || d.Date.Year() > last })
}

// TestGuessHourFromValues has records whose days end at midnight (Minneapolis,
// Kamloops, and Lahr by UTC; of all its 67 years from
// 1950 to 2020 44 are proposed when late, and none when not) or in the afternoon (Ann Arbor, as the
// temperatures at its readings tell, which lie near the highs), each as it is
// and a day late, whole and in parts of a few years, and counts proposals of
// one hour for all days.
func TestGuessHourFromValues(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name         string
		days         []weather.Day
		span         int // Years.
		parts        int
		morning, off int // Of the parts, late ones that are proposed and others that are.
	}{
		{"Ann Arbor, whole", good(full(t)), 127, 1, 1, 0},
		{"Ann Arbor, ten years", good(full(t)), 10, 12, 12, 0},
		{"Ann Arbor, single years", good(full(t)), 1, 121, 121, 1}, // 1897.
		{"Lahr, whole", plain(t, data+"lahr_2005_2014.csv"), 10, 1, 1, 0},
		{"Lahr, two years", plain(t, data+"lahr_2005_2014.csv"), 2, 5, 5, 0},
		{"Lahr, single years", plain(t, data+"lahr_2005_2014.csv"), 1, 10, 7, 0},
		{"Kamloops", plain(t, data+"formats/kamloops_2018.csv"), 1, 1, 1, 0},
		{"Minneapolis", plain(t, data+"formats/minneapolis_2014_2015.csv"), 2, 1, 1, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			parts, morning, off := 0, 0, 0
			for y := tt.days[0].Date.Year(); y <= tt.days[len(tt.days)-1].Date.Year(); y += tt.span {
				part := years(tt.days, y, y+tt.span-1)
				if len(part) < 330*tt.span-300 || len(part) < 330 {
					continue
				}
				parts++
				if g, ok := quality.GuessHour(part, nil); ok {
					off++
					t.Log(y, g)
				}
				g, ok := quality.GuessHour(late(part), nil)
				if ok && len(g.Hours) == 1 && g.Hours[0] == (weather.ReadingHour{From: late(part)[0].Date, Hour: 7}) && !g.Told {
					morning++
				}
				if tt.span > 1 {
					t.Log(y, ok, g)
				}
			}
			if parts != tt.parts || morning != tt.morning || off != tt.off {
				t.Errorf("of %d parts %d are proposed when late and %d when not, want of %d %d and %d", parts, morning, off, tt.parts, tt.morning, tt.off)
			}
		})
	}
}

// A record whose reader changed has each of its hours.
func TestGuessHourThatChanges(t *testing.T) {
	t.Parallel()
	days := plain(t, data+"ann_arbor_1976_2018.csv")
	mixed := slices.Concat(years(days, 1976, 1984), late(years(days, 1985, 1999)), years(days, 2000, 2005))
	g, ok := quality.GuessHour(mixed, nil)
	want := []weather.ReadingHour{{From: weather.DateOf(1976, 1, 1), Hour: 24}, {From: weather.DateOf(1985, 1, 2), Hour: 7}, {From: weather.DateOf(2000, 1, 1), Hour: 24}}
	if !ok || !slices.Equal(g.Hours, want) {
		t.Errorf("%v, want %v", g, want)
	}
	const text = "on 5353 days the highs go with the lows of the date before (correlation 0.58) rather than with those of the date after (-0.26), as where they are of the afternoon before"
	if g.Evidence != text {
		t.Errorf("evidence %q, want %q", g.Evidence, text)
	}
	if g, ok := quality.GuessHour(days[:100], nil); ok {
		t.Errorf("from a hundred days: %v", g)
	}
	if g, ok := quality.GuessHour(late(days[:180]), nil); ok {
		t.Errorf("from 180 days less a few at the ends: %v", g)
	}
}

func TestGuessHourAsTold(t *testing.T) {
	t.Parallel()
	const n = 100
	start := weather.DateOf(2020, 1, 1)
	var days []weather.Day
	for i := range n {
		days = append(days, weather.Day{Date: start + weather.Date(i), Min: 1, Max: 10})
	}
	for _, tt := range []struct {
		name string
		hour func(i int) int8
		want []weather.ReadingHour
		text string
	}{
		{"one hour", func(int) int8 { return 7 }, []weather.ReadingHour{{From: start, Hour: 7}},
			"the source tells the hour of 100 of 100 days, and of 100 it is the one proposed, at last 7 o'clock from 2020-01-01 on"},
		{"midnight", func(int) int8 { return 24 }, []weather.ReadingHour{{From: start, Hour: 24}},
			"the source tells the hour of 100 of 100 days, and of 100 it is the one proposed, at last 24 o'clock from 2020-01-01 on"},
		{"told seldom", func(i int) int8 { return []int8{0, 0, 17}[i%3] }, []weather.ReadingHour{{From: start, Hour: 17}},
			"the source tells the hour of 33 of 100 days, and of 33 it is the one proposed, at last 17 o'clock from 2020-01-01 on"},
		{"stray ones", func(i int) int8 {
			if i%10 == 0 {
				return 24
			}
			return 7
		}, []weather.ReadingHour{{From: start, Hour: 7}},
			"the source tells the hour of 100 of 100 days, and of 90 it is the one proposed, at last 7 o'clock from 2020-01-01 on"},
		{"a change", func(i int) int8 {
			if i < 40 || i == 60 {
				return 17
			}
			return 7
		}, []weather.ReadingHour{{From: start, Hour: 17}, {From: start + 40, Hour: 7}},
			"the source tells the hour of 100 of 100 days, and of 99 it is the one proposed, at last 7 o'clock from 2020-02-10 on"},
		{"hours that no clock has", func(i int) int8 { return []int8{-1, 25, 7}[i%3] }, []weather.ReadingHour{{From: start, Hour: 7}},
			"the source tells the hour of 33 of 100 days, and of 33 it is the one proposed, at last 7 o'clock from 2020-01-01 on"},
		{"a few at the end are stray", func(i int) int8 {
			if i >= n-6 {
				return 7
			}
			return 17
		}, []weather.ReadingHour{{From: start, Hour: 17}},
			"the source tells the hour of 100 of 100 days, and of 94 it is the one proposed, at last 17 o'clock from 2020-01-01 on"},
		{"no more than the first", func(i int) int8 {
			if i < 3 {
				return 5
			}
			return 0
		}, []weather.ReadingHour{{From: start, Hour: 5}}, "the source tells the hour of 3 of 100 days, and of 3 it is the one proposed, at last 5 o'clock from 2020-01-01 on"},
		{"none", func(int) int8 { return 0 }, nil, ""},
		{"every hour as often", func(i int) int8 { return int8(i%24 + 1) }, nil, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			remarks := make([]weather.Remark, n)
			for i := range remarks {
				remarks[i].Hour = tt.hour(i)
			}
			g, ok := quality.GuessHour(days, remarks)
			if ok != (tt.want != nil) || !slices.Equal(g.Hours, tt.want) || g.Evidence != tt.text || g.Told != ok {
				t.Errorf("%v %v\nwant %v %q", ok, g, tt.want, tt.text)
			}
		})
	}
	remarks := slices.Repeat([]weather.Remark{{Hour: 7}}, n-1)
	if _, ok := quality.GuessHour(days, remarks); ok {
		t.Error("remarks that do not belong to the days are taken")
	}
}
