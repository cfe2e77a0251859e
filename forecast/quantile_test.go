package forecast_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
)

// The definition, word by word: the smallest date with at least a share p of
// the members on or before it.
func TestQuantilesAreTheSmallestWithTheShareOnOrBefore(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(2, 2))
	for range 200 {
		n := 1 + r.IntN(60)
		days, kg := make([]int16, n), make([]float32, n)
		for i := range days {
			days[i] = int16(r.IntN(12))
			kg[i] = float32(days[i])
		}
		var want [3]int
		for i, p := range []float64{0.1, 0.5, 0.9} {
			sorted := slices.Sorted(slices.Values(days))
			for _, d := range sorted {
				before := 0
				for _, x := range days {
					if x <= d {
						before++
					}
				}
				if 10*before >= int(10*p)*n {
					want[i] = int(d)
					break
				}
			}
		}
		if got := forecast.DayQuantiles(days); got != want {
			t.Fatalf("days %v: quantiles %v, want %v", days, got, want)
		}
		got := forecast.KgQuantiles(kg)
		if diff := cmp.Diff([3]float64{float64(want[0]), float64(want[1]), float64(want[2])}, got); diff != "" {
			t.Fatalf("kg %v (-want +got):\n%s", days, diff)
		}
	}
}

func TestGapsAreMaximalRunsOfLikelyDays(t *testing.T) {
	t.Parallel()
	// Four members, two traces of two members each, ten days.
	day := func(s string) []bool {
		row := make([]bool, len(s))
		for i := range s {
			row[i] = s[i] == 'x'
		}
		return row
	}
	got := forecast.GapRuns([][]bool{
		day("..xx......"),
		day("...x.....x"),
		day("..x....x.."),
		day(".........x"),
	}, 0.5, 2)
	want := []forecast.Gap{
		// Days 2 and 3 have two members each. Members 0, 1 and 2 have a day in
		// it: 3 of 4. In the first trace both, in the second one of two.
		{From: 2, To: 3, Kind: forecast.KindGap, Probability: 0.75, PastYears: 2},
		// Day 9: members 1 and 3, one in each trace.
		{From: 9, To: 9, Kind: forecast.KindGap, Probability: 0.5, PastYears: 2},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
