package forecast_test

import (
	"fmt"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

func picking(day int, kg float64, left forecast.Left) forecast.Picking {
	return forecast.Picking{Planting: "p", Date: weather.DateOf(2025, time.June, day), Kg: kg, Left: left, Source: forecast.PickedByAll}
}

func toldBy(ps []forecast.Picking) string {
	var s string
	for _, t := range forecast.FromPicked(ps) {
		if t == nil {
			s += "- "
			continue
		}
		s += fmt.Sprintf("%d%s ", t.Date.Time().Day(), map[forecast.ActualBound]string{forecast.BoundLatest: "<", forecast.BoundEarlier: ">"}[t.Bound])
	}
	return s
}

// Worked by hand.
func TestPickingsTellStages(t *testing.T) {
	t.Parallel()
	none, some := forecast.LeftNone, forecast.LeftSome
	closed := picking(14, 0, forecast.LeftUntold)
	closed.Closed = true
	for _, tt := range []struct {
		name string
		ps   []forecast.Picking
		want string
	}{
		{
			// 100 kg: 2 on the 10th, which is spread over the 7th to the 10th, half a kg
			// each. 5 kg are there on the 11th (2 + 18), 95 on the 15th (2 + 18 + 40 + 25
			// + 10 = 95); the densest day of 2, 18, 40, 25, 10, 5 is the 12th.
			"picked clean every day",
			[]forecast.Picking{picking(10, 2, none), picking(11, 18, none), picking(12, 40, none), picking(13, 25, none), picking(14, 10, none), picking(15, 5, none)},
			"11 12 14 ",
		},
		{
			// The order in which they are entered does not matter, and untold is clean.
			"in any order",
			[]forecast.Picking{picking(15, 5, ""), picking(12, 40, ""), picking(10, 2, ""), picking(11, 18, ""), picking(14, 10, ""), picking(13, 25, "")},
			"11 12 14 ",
		},
		{
			// Every third day 30 kg: each spread over three days, 10 a day; the first
			// over four, 7.5 a day. Of 120 kg, 6 are there on the first of these days, the
			// 7th, but it alone is more than a first berry. 114 are there on the 19th
			// (30 + 30 + 30 + 30 at the 19th = 120; the 18th has 110).
			"every third day",
			[]forecast.Picking{picking(10, 30, none), picking(13, 30, none), picking(16, 30, none), picking(19, 30, none)},
			"7< 13 19 ",
		},
		{
			// The 13th left fruit and the 14th was closed, so that what is picked on the
			// 15th ripened from the 13th on: 60 kg over the 12th (clean on the 11th) to
			// the 15th would be the most; it is spread over four days, 15 each.
			"fruit left, and a day closed for rain",
			[]forecast.Picking{picking(10, 1, none), picking(11, 9, none), picking(13, 10, some), closed, picking(15, 60, none), picking(16, 20, none)},
			"11 14 16 ",
		},
		{
			"fruit left at the end",
			[]forecast.Picking{picking(10, 1, none), picking(11, 9, none), picking(12, 60, none), picking(13, 30, some)},
			"11 12 13> ",
		},
		{"three pickings tell nothing", []forecast.Picking{picking(10, 1, none), picking(11, 9, none), picking(12, 60, none), picking(13, 0, none)}, "- - - "},
		{"none", nil, "- - - "},
	} {
		if got := toldBy(tt.ps); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// What was seen comes before what pickings tell, stage by stage, and a season is
// a season.
func TestActualDatesAreSeenOrTold(t *testing.T) {
	t.Parallel()
	in := forecast.Inputs{
		Farm:      forecast.Farm{ID: "f", Latitude: 48, TimeZone: "Europe/Berlin"},
		Plantings: []forecast.Planting{{ID: "q"}, {ID: "p"}},
		Sightings: []forecast.Sighting{
			{Planting: "p", Date: weather.DateOf(2025, time.June, 9), Stage: forecast.FirstRipe, Seen: true},
			{Planting: "p", Date: weather.DateOf(2025, time.June, 11), Stage: forecast.Peak}, // Not yet.
			{Planting: "p", Date: weather.DateOf(2024, time.June, 20), Stage: forecast.Peak, Seen: true},
			{Planting: "q", Date: weather.DateOf(2025, time.May, 9), Stage: forecast.Bloom10, Seen: true},
		},
		Pickings: []forecast.Picking{picking(10, 2, ""), picking(11, 18, ""), picking(12, 40, ""), picking(13, 25, ""), picking(14, 10, ""), picking(15, 5, forecast.LeftLots)},
	}
	var got string
	for _, a := range forecast.ActualDates(in, 2025) {
		got += fmt.Sprintf("%s %s %s %s%s\n", a.Planting, a.Stage, a.Date, a.From, a.Bound)
	}
	want := "p first_ripe 2025-06-09 sighting\np peak 2025-06-12 pickings\np last_pick 2025-06-14 pickingsno earlier\n"
	if got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
	// The peak was seen on the 10th, before pickings say that anything was ripe.
	in.Sightings[0] = forecast.Sighting{Planting: "p", Date: weather.DateOf(2025, time.June, 10), Stage: forecast.Peak, Seen: true}
	got = ""
	for _, a := range forecast.ActualDates(in, 2025) {
		got += fmt.Sprintf("%s %s %s\n", a.Stage, a.Date, a.From)
	}
	if want := "peak 2025-06-10 sighting\nlast_pick 2025-06-14 pickings\n"; got != want {
		t.Errorf("contradicted:\n%s\nwant\n%s", got, want)
	}
}
