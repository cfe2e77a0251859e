package forecast_test

import (
	"slices"
	"strings"
	"testing"

	"ripetide/forecast"
	"ripetide/weather"
)

// shiftRipe returns the demo with this season's ripe stages that were seen
// moved by some days.
func shiftRipe(in forecast.Inputs, asOf weather.Date, by weather.Date) forecast.Inputs {
	out := in
	out.Sightings = nil
	for _, s := range in.Sightings {
		if s.Date.Year() == asOf.Year() && s.Stage >= forecast.FirstRipe {
			if !s.Seen {
				continue
			}
			s.Date += by
		}
		out.Sightings = append(out.Sightings, s)
	}
	return out
}

// width adds up the ranges of the last picks, which nobody has seen.
func width(f *forecast.Forecast) (sum weather.Date) {
	for _, p := range f.Plantings {
		if p.Stages != nil {
			sum += p.Stages.LastPick.P90 - p.Stages.LastPick.P10
		}
	}
	return sum
}

// The early varieties ripe nine days before the warmth can explain: the ranges
// get wider, and the forecast says by how much the season is off.
func TestSeasonOutsideTheRecordWidens(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	usual, early := compute(t, in, asOf), compute(t, shiftRipe(in, asOf, -9), asOf)
	if noted(usual, forecast.NoteOutside, "") {
		t.Error("an ordinary season is called outside the record")
	}
	if !noted(early, forecast.NoteOutside, "") {
		t.Fatalf("nothing says that the season is outside the record: %v", early.Notes)
	}
	if !(width(early) > width(usual)*3/2) {
		t.Errorf("ranges add up to %d days, in an ordinary season to %d: not wider", width(early), width(usual))
	}
	for _, n := range early.Notes {
		if n.Kind == forecast.NoteOutside && !strings.Contains(n.Text, " days earlier than the warmth there was can explain") {
			t.Errorf("of a season nine days early is said: %s", n.Text)
		}
	}
}

// Weeks after the time nobody has found ripe fruit on a farm that looks: the
// forecast neither fails nor collapses, puts nothing into the past, and says
// what is the matter.
func TestFieldThatWillNotRipenWidens(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	in = shiftRipe(in, asOf, 400) // Never seen.
	for _, late := range []weather.Date{20, 34} {
		at := asOf + late
		looked := in
		for _, p := range in.Plantings {
			looked.Sightings = append(slices.Clip(looked.Sightings), forecast.Sighting{Planting: p.ID, Date: at, Stage: forecast.FirstRipe})
		}
		for name, in := range map[string]forecast.Inputs{"silence": in, "looked in vain": looked} {
			f := compute(t, in, at)
			if !noted(f, forecast.NoteOutside, "") {
				t.Errorf("%s, %d days late: nothing says that the season is outside the record", name, late)
			}
			for _, p := range f.Plantings {
				if p.Stages == nil {
					continue
				}
				if name == "looked in vain" && p.Stages.FirstRipe.P10 <= at {
					t.Errorf("%s, %d days late: %s is published first ripe from %s on", name, late, p.Planting, p.Stages.FirstRipe.P10)
				}
				if p.Stages.FirstRipe.P50 < at {
					t.Errorf("%s, %d days late: %s is published first ripe about %s, which is past", name, late, p.Planting, p.Stages.FirstRipe.P50)
				}
				if p.Stages.LastPick.P90-p.Stages.LastPick.P10 < 4 {
					t.Errorf("%s, %d days late: %s has collapsed to %v", name, late, p.Planting, p.Stages.LastPick)
				}
			}
		}
	}
}
