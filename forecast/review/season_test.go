package review_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/review"
	"ripetide/weather"
)

// handFarm is a farm of an early and a late planting with three seasons; every
// day of its record stands at 13 °C. What was seen, as month and day:
//
//	        early: bloom first peak last     late: bloom first peak last
//	2016           5-01  6-01  6-05 6-10           5-05  6-08  6-12 6-18
//	2017           5-03  6-01  6-05 6-09           5-08  6-09  6-13 6-20
//	2018           4-29  5-30  6-03 6-08           5-09  6-11  6-15 6-20
//
// So the early one took 31, 29 and 31 days to ripen. In 2018 nothing was ripe on
// 9 and 10 June.
func handFarm(t *testing.T) forecast.Inputs {
	t.Helper()
	var days []weather.Day
	for d := weather.DateOf(1998, 1, 1); d < weather.DateOf(2018, 12, 31); d++ {
		days = append(days, weather.Day{Date: d, Min: 13, Max: 13})
	}
	record, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	in := forecast.Inputs{
		Farm:      forecast.Farm{ID: "f", Name: "Farm", Latitude: 48, TimeZone: "UTC", Units: forecast.Metric, GapProbability: 0.5},
		Records:   []forecast.Record{{Station: weather.Station{ID: "s", Latitude: 48}, Days: record}},
		Varieties: []forecast.Variety{{ID: "early", Name: "Early", Ripens: forecast.Early}, {ID: "late", Name: "Late", Ripens: forecast.Late}},
	}
	for _, id := range []string{"early", "late"} {
		in.Plantings = append(in.Plantings, forecast.Planting{ID: id, Variety: id, Block: "b", Station: "s", PlantedOn: weather.DateOf(2014, 4, 1), AreaM2: 100, KgPerM2: 1})
	}
	stages := []forecast.Stage{forecast.Bloom10, forecast.FirstRipe, forecast.Peak, forecast.LastPick}
	for _, s := range []struct {
		planting string
		dates    [4]string
	}{
		{"early", [4]string{"2016-05-01", "2016-06-01", "2016-06-05", "2016-06-10"}},
		{"early", [4]string{"2017-05-03", "2017-06-01", "2017-06-05", "2017-06-09"}},
		{"early", [4]string{"2018-04-29", "2018-05-30", "2018-06-03", "2018-06-08"}},
		{"late", [4]string{"2016-05-05", "2016-06-08", "2016-06-12", "2016-06-18"}},
		{"late", [4]string{"2017-05-08", "2017-06-09", "2017-06-13", "2017-06-20"}},
		{"late", [4]string{"2018-05-09", "2018-06-11", "2018-06-15", "2018-06-20"}},
	} {
		for i, d := range s.dates {
			in.Sightings = append(in.Sightings, forecast.Sighting{Planting: s.planting, Stage: stages[i], Date: date(t, d), Seen: true})
		}
	}
	return in
}

// ranges are a p10, p50 and p90.
func ranges(t *testing.T, q [3]string) forecast.DateRange {
	t.Helper()
	return forecast.DateRange{P10: date(t, q[0]), P50: date(t, q[1]), P90: date(t, q[2])}
}

// of returns a forecast of the early planting; a stage that is not told of here
// is as first ripe.
func of(t *testing.T, asOf string, first [3]string, window *forecast.DayCounts) forecast.IssuedAll {
	t.Helper()
	r := ranges(t, first)
	return forecast.IssuedAll{ID: "z" + asOf, AsOf: date(t, asOf), Said: forecast.Said{
		Stages:  map[string]*forecast.StageDates{"early": {FirstRipe: r, Peak: r, LastPick: r}},
		Windows: map[string]*forecast.DayCounts{"early": window},
	}}
}

// TestThreeSeasonsWorkedByHand: what a week before first ripe was said of the
// early planting was 3 days late in 2016, 1 early in 2017 and right in 2018.
func TestThreeSeasonsWorkedByHand(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	issued := map[int][]forecast.IssuedAll{
		2016: {of(t, "2016-05-25", [3]string{"2016-06-02", "2016-06-04", "2016-06-06"}, &forecast.DayCounts{P10: 7, P50: 8, P90: 9})},
		2017: {of(t, "2017-05-24", [3]string{"2017-05-30", "2017-05-31", "2017-06-02"}, &forecast.DayCounts{P10: 8, P50: 10, P90: 12})},
		2018: {of(t, "2018-05-23", [3]string{"2018-05-29", "2018-05-30", "2018-06-01"}, nil)},
	}
	var rows []review.Row
	var windows []review.Window
	for _, year := range []int{2016, 2017, 2018} {
		// Forecasts of other seasons are of no account.
		s := review.NewSeason(in, year, slices.Concat(issued[2016], issued[2017], issued[2018]))
		rows, windows = append(rows, s.Rows...), append(windows, s.Windows...)
	}
	if len(rows) != 3*2*3*5 || len(windows) != 3*2*5 {
		t.Fatalf("%d rows and %d windows", len(rows), len(windows))
	}
	scores, err := review.Scores(in, rows)
	if err != nil {
		t.Fatal(err)
	}
	s, ok := review.Find(scores, review.Slice{Stage: forecast.FirstRipe, Lead: review.Before7})
	if !ok {
		t.Fatal("no score a week before")
	}
	// Errors +3, -1, 0. Ranges: 1 June before 2 June; 1 June to 2 June holds it; so
	// does 29 May to 1 June. Of six rows three are of the late planting, of which
	// nothing was said. Pinball losses, days:
	//   2016: came 1 June, said 2, 4, 6: 0.9·1, 0.5·3, 0.1·5 = 0.9, 1.5, 0.5; mean 2.9/3
	//   2017: came 1 June, said 30 May, 31 May, 2 June: 0.1·2, 0.5·1, 0.1·1; mean 0.8/3
	//   2018: came 30 May, said 29 May, 30 May, 1 June: 0.1·1, 0, 0.1·2; mean 0.3/3
	if s.N != 3 || s.Seasons != 3 || s.LeftOut != 3 || !near(s.Bias, 2.0/3, 1e-12) || !near(s.MAE, 4.0/3, 1e-12) ||
		s.Inside != 2 || !near(s.Pinball, 4.0/9, 1e-12) {
		t.Errorf("a week before first ripe: %+v", s)
	}
	// The range of the mean error holds 8 in 10 draws of three seasons out of
	// errors 3, 1 and 0: at least 1 in 27 of them is all 3, and 1 in 27 all 0, so
	// the tenth part at either end is in the next ones: 1/3 and 7/3.
	if r := s.MAERange; !r.OK || !near(r.Lo, 1.0/3, 1e-12) || !near(r.Hi, 7.0/3, 1e-12) {
		t.Errorf("the range of the mean error: %+v", r)
	}
	// Each baseline has a range, and the days up to the morning are cut off it, which
	// moves its median by z sd, the normal quantile of what is left over:
	//   own mean days  2017: 31 days, so 3 June, sd 4√2 = 5.7; 5 % lie up to 24 May,
	//                  z(0.523) = 0.06: 3 June still, 2 late
	//                  2018: 30 days, so 29 May, 1 early
	//   mean date      2017: 1 June, sd 6√2 = 8.5; 19 % cut off, z(0.594) = 0.24:
	//                  3 June, 2 late. 2018: 1 June, 2 late
	//   30 days        2016: 31 May, sd 5; 14 % cut off, z(0.568) = 0.17: 31.9 May,
	//                  so 1 June, right. 2017: 2 June, 1 late. 2018: 29 May, 1 early
	for _, w := range []struct {
		b         hindcast.Baseline
		n         int
		mae, ours float64
		skill     float64
	}{
		{hindcast.OwnDays, 2, 1.5, 0.5, 2.0 / 3},
		{hindcast.MeanDate, 2, 2, 0.5, 0.75},
		{hindcast.BloomRule, 3, 2.0 / 3, 4.0 / 3, -1},
	} {
		a := s.Against[w.b]
		if a.N != w.n || !near(a.MAE, w.mae, 1e-12) || !near(a.Ours, w.ours, 1e-12) || !near(a.Skill.Value, w.skill, 1e-12) {
			t.Errorf("%s: %+v, want %+v", w.b, a, w)
		}
	}
	early := forecast.Early
	if c, ok := review.Find(scores, review.Slice{Stage: hindcast.AllStages, Ripens: &early, Lead: review.Before7}); !ok || c.N != 3 || c.LeftOut != 6 {
		// Peak and last pick a week before: 2016-05-29 to 06-03 and later, of which the
		// nearest three mornings hold no forecast.
		t.Errorf("early varieties a week before: %+v", c)
	}
	// Windows of 10 and 9 days, said 8 (7 to 9) and 10 (8 to 12); of 2018 nothing
	// was said of its length, of the late planting nothing at all.
	for _, w := range review.WindowTotals(windows) {
		if w.Lead != review.Before7 {
			continue
		}
		if w.N != 2 || w.Seasons != 2 || w.LeftOut != 4 || !near(w.Bias, -0.5, 1e-12) || !near(w.MAE, 1.5, 1e-12) || w.Inside != 1 {
			t.Errorf("windows a week before: %+v", w)
		}
	}
}

// TestGapsWorkedByHand: in 2018 nothing was ripe on 9 and 10 June. A week before
// the forecast of 2 June stands for these days and, as the nearest of the three
// mornings before, for 11 and 12 June too.
func TestGapsWorkedByHand(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	june := func(d int) weather.Date { return weather.DateOf(2018, 6, d) }
	z := forecast.IssuedAll{ID: "z", AsOf: june(2), Said: forecast.Said{
		Gaps:    []forecast.Gap{{Kind: forecast.KindThin, From: june(8), To: june(12)}, {Kind: forecast.KindGap, From: june(9), To: june(9)}, {Kind: forecast.KindGap, From: june(11), To: june(11)}},
		Chances: []forecast.GapChance{{Date: june(9), Probability: 0.5}, {Date: june(10), Probability: 0.4}, {Date: june(11), Probability: 0.6}},
	}}
	g := review.NewSeason(in, 2018, []forecast.IssuedAll{z}).Gaps
	if len(g.Came) != 1 || g.Came[0].From != june(9) || g.Came[0].To != june(10) || g.Unknown != 0 {
		t.Fatalf("gaps: %+v", g)
	}
	if *g.First != weather.DateOf(2018, 5, 30) || *g.Last != june(20) {
		t.Errorf("the season from %s to %s", g.First, g.Last)
	}
	// Leads of 21, 14, 7 and 3 days; three days before 9 June there is none.
	if c := g.Came[0].Chances; c[0] != nil || c[1] != nil || c[2] == nil || *c[2] != 0.5 || c[3] != nil {
		t.Errorf("chances of the gap: %v", c)
	}
	// Brier: 0.5², 0.6², 0.6², 0² over four days.
	want := review.GapTotal{Lead: review.Before7, Days: 4, Came: 2, Foreseen: 1, False: 1, Brier: (0.25 + 0.36 + 0.36) / 4}
	if got := g.Said[2]; got.Days != want.Days || got.Came != want.Came || got.Foreseen != want.Foreseen || got.False != want.False || !near(got.Brier, want.Brier, 1e-12) {
		t.Errorf("a week before: %+v, want %+v", got, want)
	}

	// A planting that was grubbed before the harvest, or planted that year, bore
	// nothing; one that was grubbed after it may have been ripe on any day.
	for _, tt := range []struct {
		planted, removed string
		unknown          int
	}{{"2016-04-01", "2018-04-20", 0}, {"2018-04-01", "", 0}, {"2016-04-01", "2018-08-01", 2}} {
		more := in
		p := forecast.Planting{ID: "more", Variety: "late", Block: "c", Station: "s", PlantedOn: date(t, tt.planted)}
		if tt.removed != "" {
			p.RemovedOn = new(date(t, tt.removed))
		}
		more.Plantings = append(slices.Clone(in.Plantings), p)
		if g := review.NewSeason(more, 2018, nil).Gaps; g.Unknown != tt.unknown {
			t.Errorf("planted %s, removed %q: %d days unknown, want %d", tt.planted, tt.removed, g.Unknown, tt.unknown)
		}
	}

	// Without the late planting's first ripe it may have been ripe on any day up
	// to its last pick; without anything of it on any day at all.
	for _, tt := range []struct {
		without []forecast.Stage
		unknown int
		last    weather.Date
	}{
		{[]forecast.Stage{forecast.FirstRipe}, 11, june(20)}, // 9 to 19 June.
		{[]forecast.Stage{forecast.FirstRipe, forecast.Peak, forecast.LastPick}, 0, june(8)},
	} {
		less := in
		less.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool {
			return s.Planting == "late" && slices.Contains(tt.without, s.Stage)
		})
		g := review.NewSeason(less, 2018, []forecast.IssuedAll{z}).Gaps
		if len(g.Came) != 0 || g.Unknown != tt.unknown || *g.Last != tt.last {
			t.Errorf("without %v: %+v to %s", tt.without, g, g.Last)
		}
	}
}

// TestOpeningIsHeldAgainstWhatWasPossible: the first ripe fruit came on
// Wednesday 30 May 2018, and the farm opens on Saturdays.
func TestOpeningIsHeldAgainstWhatWasPossible(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	in.Farm.Opening.Weekdays = []time.Weekday{time.Saturday}
	saturday, later := weather.DateOf(2018, 6, 2), weather.DateOf(2018, 6, 9)
	z := forecast.IssuedAll{ID: "z", AsOf: weather.DateOf(2018, 6, 1), Said: forecast.Said{Opening: &saturday}}
	o := review.NewSeason(in, 2018, []forecast.IssuedAll{z}).Opening
	if o.Possible == nil || *o.Possible != saturday || o.Past != nil {
		t.Fatalf("possible: %v (%s), past %v", o.Possible, o.Why, o.Past)
	}
	if _, ok := o.Day(); ok {
		t.Error("nothing was announced")
	}
	in.Decisions = []forecast.Decision{
		{Season: 2018, Kind: forecast.DecideOpening, Day: &later, Version: 2, DecidedAt: later.Time().AddDate(0, 0, -6)},
		{Season: 2018, Kind: forecast.DecideOpening, Day: &saturday, Version: 1, DecidedAt: later.Time().AddDate(0, 0, -20)},
		{Season: 2018, Kind: forecast.DecideClosing, Day: &later, Version: 1},
		{Season: 2017, Kind: forecast.DecideOpening, Day: &saturday, Version: 1},
	}
	o = review.NewSeason(in, 2018, []forecast.IssuedAll{z}).Opening
	if day, ok := o.Day(); !ok || day != later || len(o.Announced) != 2 {
		t.Errorf("announced: %s, %d versions", day, len(o.Announced))
	}
	if o.Possible == nil || *o.Possible != saturday {
		t.Errorf("having decided moves what was possible to %v", o.Possible)
	}
	// A week of ripe fruit, of a half-life of three days, is lost on the way; the
	// early planting is half the crop, and all but the last of it ripens in it.
	if o.Past == nil || !(0.15 < *o.Past && *o.Past < 0.5) {
		t.Errorf("past by the day announced: %v", o.Past)
	}
	// 9 June less 7 days is 2 June: the forecast of the 1st stands for it.
	want := []string{"21 days before  false", "14 days before  false", "7 days before z true", "3 days before  false"}
	for i, a := range o.Advised {
		if got := fmt.Sprintf("%s %s %t", a.Lead, a.Forecast, a.Day != nil); got != want[i] {
			t.Errorf("advised %q, want %q", got, want[i])
		}
	}
	less := in
	less.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool { return s.Stage == forecast.LastPick })
	if o := review.NewSeason(less, 2018, nil).Opening; o.Possible != nil || o.Why == "" {
		t.Errorf("without a last pick: %v, %q", o.Possible, o.Why)
	}
}
