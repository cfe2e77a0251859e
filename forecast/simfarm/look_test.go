package simfarm_test

import (
	"slices"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/simfarm"
)

func TestWhatPeopleWriteDown(t *testing.T) {
	t.Parallel()
	s := annArbor(t)
	rounds := []time.Weekday{time.Monday, time.Friday}
	f := tenPlantings(simfarm.UsualScatter)
	f.Rounds = rounds
	var late [2]float64 // Mean of noted minus true: bloom, ripe.
	var n [2]float64
	for year := 1994; year <= 2018; year++ {
		for _, x := range grow(t, f, s, year) {
			for st := forecast.Bloom10; st <= forecast.LastPick; st++ {
				noted, notYet := x.Noted[st], x.NotYet[st]
				if st > 0 && noted <= x.Noted[st-1] {
					t.Errorf("%d %s: %s noted on %s, not after the stage before", year, x.Planting, st, noted)
				}
				if notYet >= noted {
					t.Errorf("%d %s: %s not yet on %s and seen on %s", year, x.Planting, st, notYet, noted)
				}
				k := 0
				if st < forecast.FirstRipe {
					for _, d := range []time.Weekday{noted.Weekday(), notYet.Weekday()} {
						if !slices.Contains(rounds, d) {
							t.Errorf("%d %s: looked for %s on a %s", year, x.Planting, st, d)
						}
					}
				} else {
					k = 1
					if notYet != noted-1 {
						t.Errorf("%d %s: %s not yet on %s, seen on %s, but people look every day", year, x.Planting, st, notYet, noted)
					}
				}
				diff := float64(noted - x.Dates[st])
				if diff < -4 || diff > 8 {
					t.Errorf("%d %s: %s noted %g days late", year, x.Planting, st, diff)
				}
				late[k] += diff
				n[k]++
			}
		}
	}
	// Rounds on Monday and Friday are 3 and 4 days apart: a stage waits
	// (0+1+2+3+0+1+2)/7 = 9/7 days on average.
	if got := late[0] / n[0]; !near(got, 9.0/7, 0.5) {
		t.Errorf("bloom is noted %.2f days late, want about %.2f", got, 9.0/7)
	}
	if got := late[1] / n[1]; !near(got, 0, 0.15) {
		t.Errorf("ripe stages are noted %.2f days late, want none", got)
	}
}
