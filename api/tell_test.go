package api_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

func picked(first, last weather.Date, seen bool) forecast.PlantingDates {
	r := func(d weather.Date) forecast.DateRange {
		if seen {
			return forecast.DateRange{P10: d, P50: d, P90: d, Seen: &d}
		}
		return forecast.DateRange{P10: d - 1, P50: d, P90: d + 1}
	}
	return forecast.PlantingDates{
		Planting: "p", Bloom: &forecast.Bloom{Date: first - 30, From: forecast.BloomSighted}, PickingWindowDays: &forecast.DayCounts{P10: 8, P50: 10, P90: 12},
		Stages: &forecast.StageDates{FirstRipe: r(first), Peak: r((first + last) / 2), LastPick: r(last)},
	}
}

// A season that is over is told as one that is past.
func TestTellingASeasonThatIsOver(t *testing.T) {
	t.Parallel()
	farm := forecast.Farm{Units: forecast.US}
	first, last := weather.DateOf(2018, 6, 7), weather.DateOf(2018, 6, 16)
	for _, tt := range []struct {
		name          string
		d             forecast.PlantingDates
		asOf          weather.Date
		had           bool
		window, moved string
	}{
		{"in the season", picked(first, last, false), last - 3, false, "It is picked for 10 days (8 in 10: 8 to 12).", "There are no earlier dates of this season to compare with."},
		{"the last pick seen", picked(first, last, true), last, true, "It was picked for 10 days (8 in 10: 8 to 12).", "Its last pick was seen, so no date of it can move any more."},
		{"the last pick surely past", picked(first, last, false), last + 2, true, "It was picked for 10 days (8 in 10: 8 to 12).", "Its season is over, so no date of it moves any more."},
		{"the last pick perhaps past", picked(first, last, false), last + 1, true, "It is picked for 10 days (8 in 10: 8 to 12).", "How its dates moved since the forecast before cannot be said."},
	} {
		if got := api.TellWindow(tt.d, tt.asOf); got != tt.window {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.window)
		}
		if got, _ := api.TellMoved(farm, tt.d, tt.asOf, tt.had); got != tt.moved {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.moved)
		}
	}

	d := picked(first, last, true)
	x := &forecast.Explanation{
		Planting: "p", AsOf: last + 60, Bloom: d.Bloom, DegreeDaysSinceBloom: ptr(3000.0), DegreeDaysPerDay: ptr(20.0), Method: forecast.MethodNote{DegreeDays: forecast.SingleSine, BaseC: 3, Cutoff: forecast.NoCutoff},
		Stages: []forecast.StageReasons{{Stage: "first_ripe", Date: &d.Stages.FirstRipe}, {Stage: "peak", Date: &d.Stages.Peak}, {Stage: "last_pick", Date: &d.Stages.LastPick}},
	}
	for day := d.Bloom.Date + 1; day < x.AsOf; day++ {
		x.Days = append(x.Days, forecast.HeatDay{Date: day, Sum: 10 * float64(day-d.Bloom.Date)})
	}
	told := api.Telling{Farm: farm, Of: x}
	want := "It bloomed on Tue May 8. The 39 days from then to the last pick brought 702 °F·d. Degree-days are counted by the single sine method above 37.4 °F."
	if got := strings.Join(told.Heat(), " "); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if n := len(told.Counted()); n != 39 || told.Next() != nil || told.Doubts() != nil {
		t.Errorf("%d days count, next is %v, doubts are %v", n, told.Next(), told.Doubts())
	}
	x.AsOf = last - 1 // Before the last pick it is told as far as it has come.
	d.Stages.LastPick.Seen = nil
	if got := strings.Join(told.Heat(), " "); !strings.Contains(got, "The last pick takes about") || !strings.Contains(got, "brought 5,400 °F·d") {
		t.Errorf("within the season: %s", got)
	}
}

func ptr[T any](x T) *T { return &x }

// A cause is named as what it is: silence is not what was seen.
func TestCausesHaveNamesOfTheirOwn(t *testing.T) {
	t.Parallel()
	seen := map[string]forecast.MoveCause{}
	for _, c := range []forecast.MoveCause{forecast.CauseWeather, forecast.CauseOutlook, forecast.CauseSightings, forecast.CauseFrosts, forecast.CauseSilence, forecast.CauseConstants} {
		words := api.CauseWords(c)
		if other, twice := seen[words]; twice || words == string(c) {
			t.Errorf("%q is said %q, as %q is", c, words, other)
		}
		seen[words] = c
	}
	d := picked(weather.DateOf(2018, 6, 7), weather.DateOf(2018, 6, 16), false)
	d.Moved = &forecast.Moved{Stage: "peak", Since: weather.DateOf(2018, 6, 4), Days: 1, Because: []forecast.Cause{{Cause: forecast.CauseSilence, Days: 1}}}
	text, because := api.TellMoved(forecast.Farm{}, d, weather.DateOf(2018, 6, 6), true)
	if text != "The peak has moved since the forecast of Mon 4 Jun: 1 day later." || because[0] != (api.ToldCause{Cause: "days on which nothing was entered", Days: "1 day later"}) {
		t.Errorf("%q by %v", text, because)
	}
}

// What was learned of a variety adds up to its figure, without what is of one
// planting or season only.
func TestTellingWhatWasLearnedOfAVariety(t *testing.T) {
	t.Parallel()
	stage := func(name string, c float64) forecast.StageReasons {
		return forecast.StageReasons{
			Stage: name, Prior: forecast.PriorBelief{DegreeDays: c, SDPct: 10, From: forecast.PriorClass, Log: math.Log(c)},
			Effects: []forecast.Effect{
				{Effect: forecast.EffectFarm, Log: math.Log(1.1), Seasons: 4}, {Effect: forecast.EffectVariety, Log: math.Log(0.9), Seasons: 1},
				{Effect: forecast.EffectPlanting, Log: 1}, {Effect: forecast.EffectSeason, Log: 1},
			},
			Spread: forecast.SpreadBasis{SeasonSDPct: 3, OwnSDPct: 4},
		}
	}
	x := &forecast.Explanation{Ripens: "late_mid", Stages: []forecast.StageReasons{stage("first_ripe", 300), stage("peak", 400), stage("last_pick", 1000)}}
	var got []string
	for _, n := range (api.Telling{Farm: forecast.Farm{Units: forecast.Metric}, Of: x}).Learned() {
		got = append(got, n.What+": "+strings.Join(n.Cells[:], "; "))
	}
	// 300 times 1.1 times 0.9 is 297; a tenth either way is exp(0.12816), a
	// twentieth exp(0.06408).
	want := []string{
		"Usual for its class, late-mid: 300; 400; 1,000", "8 in 10 such varieties within: 264 to 341; 352 to 455; 880 to 1,137",
		"This farm, from 4 past seasons: +30; +40; +100", "This variety, from 1 past season: −33; −44; −110",
		"Learned so far: 297; 396; 990", "8 in 10 seasons within: 279 to 317; 371 to 422; 929 to 1,056",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %s\nwant %s", strings.Join(got, "\n     "), strings.Join(want, "\n     "))
	}
}
