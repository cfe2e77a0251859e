package pages_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ripetide/api/pages"
	"ripetide/forecast"
	"ripetide/weather"
)

// mon11 is the morning of these tests, a Monday.
var mon11 = weather.DateOf(2018, time.June, 11)

func patch() forecast.Farm {
	return forecast.Farm{ID: "hill", Name: "Hill Farm", Latitude: 42.3, Longitude: -83.7, TimeZone: "America/Detroit", Units: forecast.Metric}
}

// dated returns a planting with dates that are a day off either way at most.
func dated(id, variety, block string, first, last weather.Date) forecast.PlantingDates {
	r := func(d weather.Date) forecast.DateRange { return forecast.DateRange{P10: d - 1, P50: d, P90: d + 1} }
	return forecast.PlantingDates{
		Planting: id, Variety: variety, Block: block,
		Bloom:  &forecast.Bloom{Date: first - 30, From: forecast.BloomSighted},
		Stages: &forecast.StageDates{FirstRipe: r(first), Peak: r((first + last) / 2), LastPick: r(last)},
	}
}

// thisMorning is a forecast of mon11 that lacks nothing.
func thisMorning(ps ...forecast.PlantingDates) *forecast.Forecast {
	through := mon11 - 1
	issued := time.Date(2018, 6, 11, 9, 30, 0, 0, time.UTC) // 5:30 at the farm.
	return &forecast.Forecast{Farm: "hill", Season: 2018, AsOf: mon11, WeatherThrough: &through, OutlookIssuedAt: &issued, Plantings: ps}
}

// show returns the page for a grower.
func show(f *forecast.Forecast, farm forecast.Farm, today weather.Date) pages.MorningPage {
	vs := []forecast.Variety{{ID: "w", Name: "Wrenlight"}, {ID: "c", Name: "Corduroy"}, {ID: "l", Name: "Lastlantern"}}
	ps := []forecast.Planting{
		{ID: "c12", PlantedOn: weather.DateOf(2012, 4, 1)}, {ID: "c15", PlantedOn: weather.DateOf(2015, 4, 1)},
	}
	return pages.NewMorning(&farm, today, f, vs, ps, nil, true)
}

// blocksOf writes what is ripe, a planting a line.
func blocksOf(p pages.MorningPage) string {
	var b strings.Builder
	for _, k := range p.Blocks {
		for _, r := range k.Rows {
			fmt.Fprintf(&b, "%s: %s %s %s (%s)\n", k.Name, r.Name, r.State, r.Says, r.Range)
		}
	}
	return b.String()
}

// tasksOf writes what needs doing, a task a line.
func tasksOf(p pages.MorningPage) string {
	var b strings.Builder
	for _, x := range p.Tasks {
		fmt.Fprintf(&b, "%s | %s | %s\n", x.What, x.Why, x.Href)
	}
	return b.String()
}

func TestWhatIsRipeComesByBlockInPickingOrder(t *testing.T) {
	t.Parallel()
	seen := dated("w1", "w", "Sandbar", mon11-4, mon11+4)
	seenOn := mon11 - 4
	seen.Stages.FirstRipe = forecast.DateRange{P10: seenOn, P50: seenOn, P90: seenOn, Seen: &seenOn}
	for _, tt := range []struct {
		name string
		ps   []forecast.PlantingDates
		want string
	}{
		{"the first and the last day of a window belong to it", []forecast.PlantingDates{
			dated("w1", "w", "A", mon11-9, mon11), dated("l1", "l", "B", mon11, mon11+9),
		}, "A: Wrenlight ripe until Mon 11 Jun (Sun 10 to Tue 12 Jun)\nB: Lastlantern ripe until Wed 20 Jun (Tue 19 to Thu 21 Jun)\n"},
		{"a block keeps its plantings together, the ripe before those that come", []forecast.PlantingDates{
			seen, dated("l1", "l", "Creek", mon11-1, mon11+7), dated("c12", "c", "Sandbar", mon11+3, mon11+12),
		}, "Sandbar: Wrenlight ripe until Fri 15 Jun (Thu 14 to Sat 16 Jun)\nSandbar: Corduroy coming from Thu 14 Jun (Wed 13 to Fri 15 Jun)\nCreek: Lastlantern ripe until Mon 18 Jun (Sun 17 to Tue 19 Jun)\n"},
		{"a block with something ripe comes before one in which fruit ends", []forecast.PlantingDates{
			dated("w1", "w", "Old", mon11-12, mon11-1), dated("l1", "l", "New", mon11, mon11+9),
		}, "New: Lastlantern ripe until Wed 20 Jun (Tue 19 to Thu 21 Jun)\nOld: Wrenlight ending over since about Sun 10 Jun (Sat 9 to Mon 11 Jun)\n"},
		{"within a block the ripe comes before what ends", []forecast.PlantingDates{
			dated("w1", "w", "A", mon11-12, mon11-1), dated("l1", "l", "A", mon11, mon11+9),
		}, "A: Lastlantern ripe until Wed 20 Jun (Tue 19 to Thu 21 Jun)\nA: Wrenlight ending over since about Sun 10 Jun (Sat 9 to Mon 11 Jun)\n"},
		{"what ripens in seven days is told of, in eight not", []forecast.PlantingDates{
			dated("w1", "w", "A", mon11+7, mon11+15), dated("l1", "l", "B", mon11+8, mon11+15),
		}, "A: Wrenlight coming from Mon 18 Jun (Sun 17 to Tue 19 Jun)\n"},
		{"two of a variety in a block are told apart by year", []forecast.PlantingDates{
			dated("c12", "c", "A", mon11, mon11+9), dated("c15", "c", "A", mon11, mon11+9),
		}, "A: Corduroy of 2012 ripe until Wed 20 Jun (Tue 19 to Thu 21 Jun)\nA: Corduroy of 2015 ripe until Wed 20 Jun (Tue 19 to Thu 21 Jun)\n"},
		{"what is surely over is not told of", []forecast.PlantingDates{dated("w1", "w", "A", mon11-12, mon11-2)}, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := blocksOf(show(thisMorning(tt.ps...), patch(), mon11)); got != tt.want {
				t.Errorf("got\n%swant\n%s", got, tt.want)
			}
		})
	}
}

func TestALargeFarmSeesFirstWhatIsRipe(t *testing.T) {
	t.Parallel()
	f := thisMorning()
	for i := range 10 {
		id := fmt.Sprint("p", i)
		f.Plantings = append(f.Plantings, dated(id, id, []string{"A", "B", "C"}[i%3], mon11-3+weather.Date(i), mon11+12))
	}
	p := show(f, patch(), mon11)
	if got := strings.Count(blocksOf(p), " ripe ") + 10*strings.Count(blocksOf(p), " coming "); got != 4 || len(p.Coming) != 3 || p.ComeTitle != "6 more come ripe within 7 days" {
		t.Errorf("shown\n%sfolded %+v %q", blocksOf(p), p.Coming, p.ComeTitle)
	}
	if want := "Ripe: 4 plantings in 3 blocks, 6 coming within 7 days; nothing needs doing."; p.Summary != want {
		t.Errorf("the summary is %q", p.Summary)
	}
	f.Plantings = f.Plantings[1:]
	if p := show(f, patch(), mon11); len(p.Coming) > 0 || strings.Count(blocksOf(p), "\n") != 9 {
		t.Errorf("nine are folded: %+v", p.Coming)
	}
}

func TestARangeIsExplainedWhereOneIsTold(t *testing.T) {
	t.Parallel()
	if !show(thisMorning(dated("w1", "w", "A", mon11, mon11+8)), patch(), mon11).Ranges {
		t.Error("a range is told and not explained")
	}
	d := dated("w1", "w", "A", mon11-20, mon11-12)
	for _, r := range []*forecast.DateRange{&d.Stages.FirstRipe, &d.Stages.Peak, &d.Stages.LastPick} {
		r.P10, r.P90, r.Seen = r.P50, r.P50, &r.P50
	}
	p := show(thisMorning(d), patch(), mon11)
	if p.Ranges || p.MoveNote != "Every last pick is over, so no date moves any more." {
		t.Errorf("of a season that is over: ranges %t, moves %q", p.Ranges, p.MoveNote)
	}
}

func TestLongNamesGetALineOfTheirOwn(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]bool{
		"Long Rows": false, "Schoolhouse": false, "Donaudampfacker": true, "Behind the house and beyond the brook": true, "Mühlfeldäck": false,
	} {
		b := show(thisMorning(dated("w1", "w", name, mon11, mon11+8)), patch(), mon11).Blocks[0]
		if b.Long() != want || b.Rows[0].Long() {
			t.Errorf("%s is long: %t, and so is %s: %t", name, b.Long(), b.Rows[0].Name, b.Rows[0].Long())
		}
	}
}

func TestOneTapOpensAPlantingForThoseWhoRecord(t *testing.T) {
	t.Parallel()
	f, farm := thisMorning(dated("w1", "w", "A", mon11, mon11+8)), patch()
	f.Notes = []forecast.Note{{Kind: forecast.NoteLook, Planting: "w1", Text: "look."}}
	p := show(f, farm, mon11)
	if got := p.Blocks[0].Rows[0].Href; got != "/f/hill/row?planting=w1" {
		t.Errorf("the planting leads to %q", got)
	}
	if got := p.Tasks[0].Href; got != "/f/hill/row?planting=w1" {
		t.Errorf("the look leads to %q", got)
	}
	p = pages.NewMorning(&farm, mon11+1, f, nil, nil, nil, false)
	if got := p.Blocks[0].Rows[0].Href + p.Tasks[0].Href + p.Make; got != "/f/hill/season/2018/planting/w1" {
		t.Errorf("a reader is led to %q, want only the story", got)
	}
	if got := p.Blocks[0].Rows[0].Name; got != "w" {
		t.Errorf("a variety that is gone is called %q, want its identifier", got)
	}
}

func TestWhatNeedsDoing(t *testing.T) {
	t.Parallel()
	w1, c12 := "w1", "c12"
	gap := func(kind forecast.GapKind, from, to weather.Date) forecast.Gap {
		return forecast.Gap{From: from, To: to, Kind: kind, Probability: 0.62, After: &w1, Before: &c12}
	}
	note := func(k forecast.NoteKind, planting, text string) forecast.Note {
		return forecast.Note{Kind: k, Planting: planting, Text: text}
	}
	for _, tt := range []struct {
		name   string
		change func(f *forecast.Forecast)
		want   string
	}{
		{"nothing, when nothing is lacking", func(*forecast.Forecast) {}, ""},
		{"a gap in three days, with what lies either side", func(f *forecast.Forecast) {
			f.Gaps = []forecast.Gap{gap(forecast.KindGap, mon11+3, mon11+4)}
		}, "Gap Thu 14 to Fri 15 Jun (chance 6 in 10) | After Wrenlight (A), before Corduroy (B). | /f/hill/season/2018\n"},
		{"thin in 13 days is told, in 15 days not", func(f *forecast.Forecast) {
			f.Gaps = []forecast.Gap{gap(forecast.KindThin, mon11+13, mon11+13), gap(forecast.KindThin, mon11+15, mon11+16)}
		}, "Thin Sun 24 Jun (chance 6 in 10) | After Wrenlight (A), before Corduroy (B). | /f/hill/season/2018\n"},
		{"the fourteenth day counts", func(f *forecast.Forecast) {
			f.Gaps = []forecast.Gap{gap(forecast.KindThin, mon11+14, mon11+20)}
		}, "Thin Mon 25 Jun to Sun 1 Jul (chance 6 in 10) | After Wrenlight (A), before Corduroy (B). | /f/hill/season/2018\n"},
		{"a gap that is going on is told, one that is past not", func(f *forecast.Forecast) {
			f.Gaps = []forecast.Gap{gap(forecast.KindThin, mon11-5, mon11-1), gap(forecast.KindGap, mon11-1, mon11)}
		}, "Gap Sun 10 to Mon 11 Jun (chance 6 in 10) | After Wrenlight (A), before Corduroy (B). | /f/hill/season/2018\n"},
		{"thin days and a gap that touch are one thing to do", func(f *forecast.Forecast) {
			f.Gaps = []forecast.Gap{gap(forecast.KindThin, mon11+2, mon11+2), gap(forecast.KindGap, mon11+3, mon11+4), gap(forecast.KindThin, mon11+6, mon11+6)}
		}, "Thin Wed 13 Jun (chance 6 in 10), gap Thu 14 to Fri 15 Jun (chance 6 in 10) | After Wrenlight (A), before Corduroy (B). | /f/hill/season/2018\n" +
			"Thin Sun 17 Jun (chance 6 in 10) | After Wrenlight (A), before Corduroy (B). | /f/hill/season/2018\n"},
		{"a weather record that ends before yesterday", func(f *forecast.Forecast) {
			d := mon11 - 3
			f.WeatherThrough = &d
		}, "The weather record stops on Fri 8 Jun | It should go through yesterday: 2 days are missing. | /f/hill/weather\n"},
		{"a stale record in the forecast's own words", func(f *forecast.Forecast) {
			f.Notes = []forecast.Note{note(forecast.NoteStale, "", "The record of station post ends.")}
		}, "A station's record has stopped | The record of station post ends. | /f/hill/weather\n"},
		{"bloom of one that is expected", func(f *forecast.Forecast) {
			a, b := mon11+1, mon11+5
			f.Plantings[1].Bloom = &forecast.Bloom{Date: mon11 + 3, From: forecast.BloomForecast, P10: &a, P90: &b}
			f.Notes = []forecast.Note{note(forecast.NoteNoBloom, "", "Bloom is not entered for 1 of the plantings.")}
		}, "Bloom is not entered: Corduroy (B) | Expected Tue 12 to Sat 16 Jun. Enter the day on which about one plant in ten has an open flower: ranges are wider until then. | /f/hill/row?planting=c12\n"},
		{"bloom without which there are no dates", func(f *forecast.Forecast) {
			for i := range f.Plantings {
				f.Plantings[i].Bloom, f.Plantings[i].Stages = nil, nil
				f.Notes = append(f.Notes, note(forecast.NoteNoBloom, f.Plantings[i].Planting, "none"))
			}
		}, "Bloom is not entered: Wrenlight (A) and Corduroy (B) | Enter the day on which about one plant in ten has an open flower: until then there are no dates. | /f/hill/row\n"},
		{"a look at a planting, with all that is asked of it", func(f *forecast.Forecast) {
			f.Notes = []forecast.Note{note(forecast.NoteLook, "w1", "First ripe?"), note(forecast.NoteLook, "w1", "The peak?")}
		}, "Look at Wrenlight (A) | First ripe? The peak? | /f/hill/row?planting=w1\n"},
		{"a season outside the record", func(f *forecast.Forecast) {
			f.Notes = []forecast.Note{note(forecast.NoteOutside, "", "Nine days early.")}
		}, "This season is unlike those on record | Nine days early. | /f/hill/season/2018\n"},
		{"suspects that are left out", func(f *forecast.Forecast) {
			f.Notes = []forecast.Note{note(forecast.NoteSuspect, "", "Two days are left out.")}
		}, "Some days of weather are doubted | Two days are left out. | /f/hill/weather\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f := thisMorning(dated("w1", "w", "A", mon11-4, mon11+2), dated("c12", "c", "B", mon11+5, mon11+15))
			tt.change(f)
			p := show(f, patch(), mon11)
			if got := tasksOf(p); got != tt.want {
				t.Errorf("got\n%swant\n%s", got, tt.want)
			}
			if (p.NoTasks == "") != (tt.want != "") {
				t.Errorf("with %d tasks the page says %q", len(p.Tasks), p.NoTasks)
			}
			if len(p.Notes) > 0 {
				t.Errorf("what needs doing is said again: %q", p.Notes)
			}
		})
	}
}

func TestManyLooksAreGathered(t *testing.T) {
	t.Parallel()
	f := thisMorning()
	for i := range 7 {
		id := fmt.Sprint("p", i)
		f.Plantings = append(f.Plantings, dated(id, id, "A", mon11-2, mon11+8))
		f.Notes = append(f.Notes, forecast.Note{Kind: forecast.NoteLook, Planting: id, Text: "Look."})
	}
	want := "Look at p0 (A) | Look. | /f/hill/row?planting=p0\nLook at p1 (A) | Look. | /f/hill/row?planting=p1\n" +
		"Look at p2 (A), p3 (A), p4 (A) and 2 more | By the model stages came there too that nobody has entered. | /f/hill/row\n"
	if got := tasksOf(show(f, patch(), mon11)); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

func TestWhatMovedAndWhy(t *testing.T) {
	t.Parallel()
	type cs = []forecast.Cause
	for _, tt := range []struct {
		name  string
		moved []*forecast.Moved
		notes []forecast.Note
		title string
		want  []string
		note  string
	}{
		{"the greatest first and three at most", []*forecast.Moved{
			{Stage: "first_ripe", Days: 0.2, Because: cs{{Cause: forecast.CauseOutlook, Days: 0.2}}},
			{Stage: "last_pick", Days: -1, Because: cs{{Cause: forecast.CauseSightings, Days: -1}}},
			{Stage: "peak", Days: 2.3, Because: cs{{Cause: forecast.CauseOutlook, Days: -0.8}, {Cause: forecast.CauseWeather, Days: 3.1}}},
			{Stage: "peak", Days: 0},
		}, nil, "Moved since Sun 10 Jun", []string{
			"p2 (A) peak 2.3 days later 3.1 days later by the weather that came, 0.8 days earlier by the outlook",
			"p1 (A) last pick 1 day earlier by what was seen in the field",
			"p0 (A) first ripe 0.2 days later by the outlook",
		}, ""},
		{"of four the last two in one line", []*forecast.Moved{
			{Stage: "peak", Days: 0.1}, {Stage: "peak", Days: 1.1, Because: cs{{Cause: forecast.CauseWeather, Days: 0.1}, {Cause: forecast.CauseConstants, Days: 1}}},
			{Stage: "peak", Days: -0.9}, {Stage: "peak", Days: -1},
		}, nil, "Moved since Sun 10 Jun", []string{
			"p1 (A) peak 1.1 days later mostly by changes in the book", "p3 (A) peak 1 day earlier ",
		}, "2 others moved, by 0.9 days at most."},
		{"nothing", []*forecast.Moved{{Stage: "peak"}, nil}, nil, "Moved since Sun 10 Jun", nil, "Nothing moved."},
		{"no earlier dates", []*forecast.Moved{nil}, nil, "What moved", nil, "There are no earlier dates of this season to compare with."},
		{"why it cannot be said", []*forecast.Moved{nil}, []forecast.Note{{Kind: forecast.NoteMoved, Text: "It cannot be said."}}, "What moved", nil, "It cannot be said."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f := thisMorning()
			f.Notes = tt.notes
			for i, m := range tt.moved {
				id := fmt.Sprint("p", i)
				d := dated(id, id, "A", mon11-2, mon11+8)
				if d.Moved = m; m != nil {
					m.Since = mon11 - 1
				}
				f.Plantings = append(f.Plantings, d)
			}
			p := show(f, patch(), mon11)
			var got []string
			for _, m := range p.Moves {
				got = append(got, m.Name+" "+m.By+" "+m.Why)
			}
			if p.MoveTitle != tt.title || p.MoveNote != tt.note || strings.Join(got, "\n") != strings.Join(tt.want, "\n") {
				t.Errorf("%s: %q, then %q", p.MoveTitle, got, p.MoveNote)
			}
			if len(p.Notes) > 0 {
				t.Errorf("it is said again: %q", p.Notes)
			}
		})
	}
}

func TestTheAgeOfAForecastIsSaidFirst(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name             string
		today            weather.Date
		title, old, make string
		ripe             bool
	}{
		{"this morning's", mon11, "Morning of Mon 11 Jun", "", "", true},
		{"yesterday's, read as of today", mon11 + 1, "Morning of Tue 12 Jun", "No forecast is made for this morning yet. The newest is yesterday's, of Mon 11 Jun.", "Make this morning's forecast", true},
		{"three days old", mon11 + 3, "Morning of Thu 14 Jun", "No forecast is made for this morning yet. The newest is of Mon 11 Jun, 3 days ago.", "Make this morning's forecast", true},
		{"of a season that is over", weather.DateOf(2018, time.July, 11), "Morning of Wed 11 Jul", "The season is over. The newest forecast is of Mon 11 Jun, 30 days ago.", "Make this morning's forecast", false},
		{"of an earlier season, read as of its morning", weather.DateOf(2019, time.May, 2), "Morning of Mon 11 Jun 2018",
			"The newest forecast is of Mon 11 Jun 2018, an earlier season. What follows is how things stood on that morning.", "Make this morning's forecast", true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p := show(thisMorning(dated("w1", "w", "A", mon11-2, mon11+8)), patch(), tt.today)
			if p.Title != tt.title || p.Old != tt.old || p.Make != tt.make {
				t.Errorf("title %q, old %q, button %q", p.Title, p.Old, p.Make)
			}
			if (len(p.Blocks) == 1) != tt.ripe {
				t.Errorf("ripe: %q, %s", blocksOf(p), p.NoneRipe)
			}
		})
	}
}

func TestTheNextTenDays(t *testing.T) {
	t.Parallel()
	farm := patch()
	farm.Units, farm.ThinKgPerDay = forecast.US, 250
	f := thisMorning(
		dated("w1", "w", "A", mon11-4, mon11+2), dated("c12", "c", "A", mon11+6, mon11+12), dated("c15", "c", "B", mon11+8, mon11+12),
		dated("l1", "l", "B", mon11+20, mon11+30),
	)
	f.Gaps = []forecast.Gap{{From: mon11 + 3, To: mon11 + 4, Kind: forecast.KindGap}, {From: mon11 + 5, To: mon11 + 5, Kind: forecast.KindThin}}
	f.Days = []forecast.DaySupply{
		{Date: mon11, RipeKg: forecast.KgRange{P10: 561, P50: 700, P90: 1234}},
		{Date: mon11 + 1, RipeKg: forecast.KgRange{P90: 40.2}},
		{Date: mon11 + 2, RipeKg: forecast.KgRange{P10: 40, P90: 40.1}},
		{Date: mon11 + 3, RipeKg: forecast.KgRange{P90: 0.1}},
	}
	p := show(f, farm, mon11)
	if p.Strip == nil {
		t.Fatal(p.NoStrip)
	}
	var names []string
	for _, n := range p.Strip.Names {
		names = append(names, n.Full)
	}
	if got := strings.Join(names, ", "); got != "Wrenlight, Corduroy" {
		t.Errorf("wires of %s", got)
	}
	want := []string{
		"Mon Jun 11|today||1,200 to 2,700 lb|likely,",
		"Tue Jun 12|||up to 89 lb|likely,",
		"Wed Jun 13|||88 lb|likely,",
		"Thu Jun 14||gap|none|possible,",
		"Fri Jun 15||gap|none|,",
		"Sat Jun 16|weekend|thin|none|,possible",
		"Sun Jun 17|weekend||none|,likely",
		"Mon Jun 18|||none|,likely",
		"Tue Jun 19|||none|,likely",
		"Wed Jun 20|||none|,likely",
	}
	for i, d := range p.Strip.Days {
		mark := ""
		if d.Today {
			mark += "today"
		}
		if d.Weekend {
			mark += "weekend"
		}
		got := strings.Join([]string{d.Date, mark, d.Lack, d.Fruit, strings.Join(d.Beads, ",")}, "|")
		if i >= len(want) || got != want[i] {
			t.Errorf("day %d is %s", i, got)
		}
	}
	if len(p.Strip.Days) != len(want) {
		t.Errorf("%d days", len(p.Strip.Days))
	}
	if p.Thin != "under 550 lb standing" {
		t.Errorf("thin is %q", p.Thin)
	}
	if got := strings.Join(p.Basis, "; "); got != "forecast of Mon Jun 11; weather through Sun Jun 10; outlook of Mon Jun 11 5:30 am; estimate: walk the field" {
		t.Errorf("it rests on %s", got)
	}
}

func TestNothingToPickIsSaidAndNotDrawn(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name        string
		ps          []forecast.PlantingDates
		none, strip string
		summary     string
	}{
		{"before the season", []forecast.PlantingDates{dated("l1", "l", "B", mon11+20, mon11+30), dated("w1", "w", "A", mon11+12, mon11+30)},
			"Nothing today or within 7 days. Next ripe: Wrenlight (A), about Sat 23 Jun (Fri 22 to Sun 24 Jun).",
			"Nothing to pick from Mon 11 to Wed 20 Jun.", "Nothing is ripe yet; nothing needs doing."},
		{"after the season", []forecast.PlantingDates{dated("w1", "w", "A", mon11-30, mon11-20), dated("l1", "l", "B", mon11-12, mon11-8)},
			"The season is over. Last pick: Lastlantern (B), about Sun 3 Jun (Sat 2 to Mon 4 Jun).",
			"Nothing to pick from Mon 11 to Wed 20 Jun.", "The season is over; nothing needs doing."},
		{"on what may be the last day", []forecast.PlantingDates{dated("w1", "w", "A", mon11-12, mon11-1)},
			"", "", "Nothing is surely ripe, 1 ending; nothing needs doing."},
		{"no dates", []forecast.PlantingDates{{Planting: "w1", Variety: "w", Block: "A"}},
			"No planting has dates yet.", "Nothing to pick from Mon 11 to Wed 20 Jun.", "No planting has dates yet; nothing needs doing."},
		{"no planting", nil, "No planting bears this season.", "Nothing to pick from Mon 11 to Wed 20 Jun.", "No planting bears this season; nothing needs doing."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p := show(thisMorning(tt.ps...), patch(), mon11)
			if p.NoneRipe != tt.none || p.NoStrip != tt.strip || (p.Strip == nil) != (tt.strip != "") || p.Summary != tt.summary {
				t.Errorf("%q\n%q\n%q", p.NoneRipe, p.NoStrip, p.Summary)
			}
		})
	}
}

func TestTheSummaryCountsWhatThePageSays(t *testing.T) {
	t.Parallel()
	f := thisMorning(
		dated("w1", "w", "A", mon11-9, mon11-1), dated("l1", "l", "A", mon11-2, mon11+6), dated("c12", "c", "B", mon11, mon11+8), dated("c15", "c", "B", mon11+5, mon11+15),
	)
	f.Plantings[3].Moved = &forecast.Moved{Stage: "first_ripe", Since: mon11 - 1, Days: 0.4}
	f.Gaps = []forecast.Gap{{From: mon11 + 3, To: mon11 + 3, Kind: forecast.KindThin}}
	f.OutlookIssuedAt = nil
	p := show(f, patch(), mon11)
	if want := "Ripe: 2 plantings in 2 blocks, 1 coming within 7 days, 1 ending; 1 moved; 1 thing needs doing."; p.Summary != want {
		t.Errorf("the summary is %q", p.Summary)
	}
	if got := strings.Join(p.Basis, "; "); !strings.Contains(got, "no outlook") {
		t.Errorf("it rests on %s", got)
	}
}

func TestOtherNotesAreKept(t *testing.T) {
	t.Parallel()
	f := thisMorning(dated("w1", "w", "A", mon11, mon11+8))
	f.Notes = []forecast.Note{
		{Kind: forecast.NoteEstimate, Text: "walk"}, {Kind: forecast.NoteFullBloom, Planting: "w1", Text: "from full bloom."}, {Kind: forecast.NoteHole, Text: "Holes."},
	}
	p := show(f, patch(), mon11)
	if got := strings.Join(p.Notes, "|"); got != "Wrenlight (A): from full bloom.|Holes." {
		t.Errorf("notes %q", got)
	}
}

func TestBeforeTheFirstForecast(t *testing.T) {
	t.Parallel()
	station := weather.Station{ID: "post", Name: "Post"}
	year := func(from, to int) weather.Series {
		var days []weather.Day
		for d := weather.DateOf(from, 1, 1); d <= weather.DateOf(to, 6, 10); d++ {
			days = append(days, weather.Day{Date: d, Min: 8 + float64(d%5), Max: 18 + float64(d%7)})
		}
		s, err := weather.NewSeries(days)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	full := forecast.Inputs{
		Farm:      patch(),
		Records:   []forecast.Record{{Station: station, Days: year(2012, 2018)}},
		Varieties: []forecast.Variety{{ID: "w", Name: "Wrenlight"}},
		Plantings: []forecast.Planting{{ID: "w1", Variety: "w", Station: "post", PlantedOn: weather.DateOf(2015, 4, 1)}},
		Sightings: []forecast.Sighting{
			{Planting: "w1", Date: weather.DateOf(2018, 5, 10), Stage: forecast.Bloom10, Seen: true},
			{Planting: "w1", Date: weather.DateOf(2017, 6, 10), Stage: forecast.FirstRipe, Seen: true},
		},
	}
	for _, tt := range []struct {
		name          string
		change        func(in *forecast.Inputs)
		needed, surer string
		summary       string
	}{
		{"nothing is missing", func(*forecast.Inputs) {}, "", "", "There is no forecast yet. One can be made now, and nothing is missing."},
		{"everything is missing", func(in *forecast.Inputs) { *in = forecast.Inputs{Farm: in.Farm} },
			"No variety /f/hill/setup|No planting /f/hill/setup|No weather station /f/hill/setup", "",
			"There is no forecast yet: 3 things are missing without which none can be made."},
		{"four past years are too few", func(in *forecast.Inputs) { in.Records[0].Days = year(2014, 2018) },
			"Post has 4 past years of weather /f/hill/weather", "", "There is no forecast yet: 1 thing is missing without which none can be made."},
		{"five past years are enough", func(in *forecast.Inputs) { in.Records[0].Days = year(2013, 2018) }, "", "",
			"There is no forecast yet. One can be made now, and nothing is missing."},
		{"planted this year", func(in *forecast.Inputs) { in.Plantings[0].PlantedOn = weather.DateOf(2018, 4, 1) },
			"No planting that bears this season /f/hill/book", "", "There is no forecast yet: 1 thing is missing without which none can be made."},
		{"no bloom and no past season", func(in *forecast.Inputs) { in.Sightings = nil }, "",
			"No bloom of this season is entered /f/hill/row|No past season is entered /f/hill/book",
			"There is no forecast yet. One can be made now; 2 things would make it surer."},
		{"bloom of last year is not this year's", func(in *forecast.Inputs) { in.Sightings[0].Date = weather.DateOf(2017, 5, 10) }, "",
			"No bloom of this season is entered /f/hill/row", "There is no forecast yet. One can be made now; 1 thing would make it surer."},
		{"weather that stops early", func(in *forecast.Inputs) { in.Records[0].Days = in.Records[0].Days.Until(mon11 - 4) }, "",
			"The record of Post stops on Thu 7 Jun 2018 /f/hill/weather", "There is no forecast yet. One can be made now; 1 thing would make it surer."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			in := full
			in.Records = append([]forecast.Record(nil), full.Records...)
			in.Plantings = append([]forecast.Planting(nil), full.Plantings...)
			in.Sightings = append([]forecast.Sighting(nil), full.Sightings...)
			tt.change(&in)
			p := pages.BeforeForecast(in, mon11, true, true)
			var needed, surer []string
			for _, l := range p.Needed {
				needed = append(needed, l.What+" "+l.Href)
			}
			for _, l := range p.Surer {
				surer = append(surer, l.What+" "+l.Href)
			}
			if got := strings.Join(needed, "|"); got != tt.needed {
				t.Errorf("needed: %s", got)
			}
			if got := strings.Join(surer, "|"); got != tt.surer {
				t.Errorf("surer: %s", got)
			}
			if p.Summary != tt.summary {
				t.Errorf("summary: %s", p.Summary)
			}
			if (p.Make != "") != (tt.needed == "") {
				t.Errorf("the button says %q", p.Make)
			}
		})
	}
	if p := pages.BeforeForecast(forecast.Inputs{Farm: patch()}, mon11, false, false); p.Make != "" || p.Needed[0].Href != "" {
		t.Errorf("a reader is offered %q and %q", p.Make, p.Needed[0].Href)
	}
}
