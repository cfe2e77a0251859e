package forecast_test

import (
	"slices"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/testdata"
	"ripetide/weather"
)

// A stage that nobody entered although a later one was seen has come: it must
// not make the farm's season look late, nor take its planting's dates away.
func TestForgottenStageHarmsNobody(t *testing.T) {
	t.Parallel()
	_, asOf := demo(t)
	in, at := demoLater(t), asOf+4
	whole := compute(t, in, at)
	for _, gone := range []string{"wrenlight-sandbar", "firstbell-sandbar"} {
		some := in
		some.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool {
			return s.Planting == gone && s.Stage == forecast.FirstRipe && s.Date.Year() == asOf.Year()
		})
		f := compute(t, some, at)
		if noted(f, forecast.NoteOutside, "") {
			t.Errorf("without first ripe of %s the season is called outside the record", gone)
		}
		want := ranges(whole)
		for p, ds := range ranges(f) {
			if p == gone {
				continue
			}
			for i, d := range ds {
				if off := d - want[p][i]; off < -2 || off > 2 {
					t.Errorf("without first ripe of %s date %d of %s moved from %s to %s", gone, i, p, want[p][i], d)
				}
			}
		}
		if len(ranges(f)) != len(want) {
			t.Errorf("without first ripe of %s %d plantings have dates, %d had", gone, len(ranges(f)), len(want))
		}
	}
	// At the season's end, every peak forgotten, every last pick seen.
	late := in
	late.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool {
		return s.Stage == forecast.Peak && s.Date.Year() == asOf.Year()
	})
	f := compute(t, late, asOf+40)
	for _, p := range f.Plantings {
		if p.Stages == nil {
			t.Errorf("%s was seen to its last pick and has no dates", p.Planting)
		}
		if noted(f, forecast.NoteNotReached, p.Planting) {
			t.Errorf("of %s, seen to its last pick, is said that it may not ripen", p.Planting)
		}
	}
}

// A base near the temperature of the season, allowed though foolish, must not
// fail the farm.
func TestHighBaseFailsNobody(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	for _, base := range []float64{-10, 10, 13, 14, 17, 20} {
		m := forecast.Method{Kind: forecast.SingleSine, Base: base, Upper: 30, Cutoff: forecast.Horizontal}
		farm := in
		farm.Choice = &forecast.MethodChoice{Method: m, By: "test"}
		if f := compute(t, farm, asOf); len(f.Plantings) == 0 {
			t.Errorf("base %g: no plantings", base)
		}
		one := in
		one.Varieties = slices.Clone(in.Varieties)
		one.Varieties[0].Requirement = &forecast.Requirement{FirstRipe: 200, Peak: 250, LastPick: 300, Method: m}
		if f := compute(t, one, asOf); len(ranges(f)) < 9 {
			t.Errorf("base %g for one variety: %d plantings have dates", base, len(ranges(f)))
		}
	}
}

// A stage seen in the season's last days is nonsense, but no reason to fail.
func TestStageOnTheSeasonsLastDays(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	for _, last := range []weather.Date{weather.DateOf(2018, time.December, 29), weather.DateOf(2018, time.December, 31)} {
		x := in
		x.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool { return s.Date.Year() == 2018 })
		for stage, d := range map[forecast.Stage]weather.Date{
			forecast.Bloom10: weather.DateOf(2018, time.May, 5), forecast.FirstRipe: weather.DateOf(2018, time.June, 5), forecast.LastPick: last,
		} {
			x.Sightings = append(x.Sightings, forecast.Sighting{Planting: "wrenlight-sandbar", Date: d, Stage: stage, Seen: true})
		}
		f := compute(t, x, weather.DateOf(2018, time.December, 31))
		if s := datesOf(f, "wrenlight-sandbar"); s == nil || s.LastPick.P50 != last {
			t.Errorf("last pick was seen on %s and is published as %v", last, s)
		}
	}
}

// With a record that is a fortnight old bloom lies in the traces, each with its
// own warmth; none of them may put it on or before a look that found none.
func TestBloomComesAfterALookInVain(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	for _, day := range []int{16, 19, 22, 25} {
		asOf := weather.DateOf(2018, time.May, day)
		stale := in
		stale.Records = []forecast.Record{{Station: in.Records[0].Station, Days: in.Records[0].Days.Until(asOf - 14)}}
		stale.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool { return s.Date.Year() == 2018 })
		for _, p := range in.Plantings {
			stale.Sightings = append(stale.Sightings, forecast.Sighting{Planting: p.ID, Date: asOf, Stage: forecast.Bloom10})
		}
		for _, p := range compute(t, stale, asOf).Plantings {
			if p.Bloom == nil || *p.Bloom.P10 <= asOf {
				t.Errorf("%s had not bloomed on %s; bloom is forecast as %v", p.Planting, asOf, p.Bloom)
			}
		}
	}
}

// An explanation says of each day what it rests on: the outlook as far as it
// goes, the stand-in where the sensor has a hole, and its own station's record
// even if another ends sooner.
func TestExplanationNamesWhatDaysRestOn(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	const planting = "plowmoon-creekside"
	o := withOutlook(t, in, time.Date(2018, time.June, 11, 9, 0, 0, 0, time.UTC), asOf, 0)
	x, err := forecast.Explain(o, asOf, planting)
	if err != nil {
		t.Fatal(err)
	}
	if x.Weather.OutlookDays != 10 || x.Weather.ReplayedDays == 0 {
		t.Errorf("%d days by an outlook of ten, %d by past years", x.Weather.OutlookDays, x.Weather.ReplayedDays)
	}

	hole := slices.DeleteFunc(slices.Clone(in.Records[0].Days.Days()), func(d weather.Day) bool { return d.Date >= asOf-10 && d.Date < asOf-2 })
	s, err := weather.NewSeries(hole)
	if err != nil {
		t.Fatal(err)
	}
	lent := in
	station := in.Records[0].Station
	station.StandIn = "nearby"
	lent.Records = []forecast.Record{{Station: station, Days: s}, {Station: weather.Station{ID: "nearby"}, Days: in.Records[0].Days}}
	if x, err = forecast.Explain(lent, asOf, planting); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, d := range x.Days {
		if d.Source == forecast.DayStandIn {
			n++
		}
	}
	if n != 8 {
		t.Errorf("%d days by the stand-in, want 8: %v", n, x.Days)
	}

	two := in
	two.Records = []forecast.Record{in.Records[0], {Station: weather.Station{ID: "old"}, Days: in.Records[0].Days.Until(asOf - 20)}}
	two.Plantings = slices.Clone(in.Plantings)
	i := slices.IndexFunc(two.Plantings, func(p forecast.Planting) bool { return p.ID == "wrenlight-sandbar" })
	two.Plantings[i].Station = "old"
	if x, err = forecast.Explain(two, asOf, planting); err != nil {
		t.Fatal(err)
	}
	if last := x.Days[len(x.Days)-1].Date; last != asOf-1 || x.Ahead[0].Date != asOf {
		t.Errorf("days are told through %s and ahead from %s, the record of its station goes to %s", last, x.Ahead[0].Date, asOf-1)
	}
}

// demoLater is the demo with what its people wrote down in the rest of the
// season.
func demoLater(t *testing.T) forecast.Inputs {
	t.Helper()
	d, err := testdata.ReadDemo()
	if err != nil {
		t.Fatal(err)
	}
	in, err := d.Inputs()
	if err != nil {
		t.Fatal(err)
	}
	in.Sightings = append(slices.Clone(in.Sightings), d.Later...)
	// What had not come by the demo's morning has been seen since.
	in.Sightings = slices.DeleteFunc(in.Sightings, func(s forecast.Sighting) bool { return !s.Seen })
	return in
}
