package forecast_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

// sprayFarm is a farm with the block Creek of the plantings early and late, and
// the block Hill of mid. It is Fri 1 June 2018, 8:00 there; earliest fruit is on
// the given days, "" for a forecast from before they were kept, "-" for no dates.
func sprayFarm(t testing.TB, early, late, mid string) forecast.Grounds {
	t.Helper()
	g := forecast.Grounds{
		Farm: forecast.Farm{ID: "f", Latitude: 42, TimeZone: "America/Detroit", Units: forecast.US},
		Now:  instantOf(t, "Fri 2018-06-01 08:00 -0400"), Forecast: &forecast.Forecast{Season: 2018, AsOf: day(t, "2018-06-01")},
	}
	for _, p := range []struct{ id, block, earliest string }{{"late", "Creek", late}, {"early", "Creek", early}, {"mid", "Hill", mid}} {
		g.Plantings = append(g.Plantings, forecast.Planting{ID: p.id, Block: p.block, PlantedOn: day(t, "2015-04-20")})
		d := forecast.PlantingDates{Planting: p.id, Block: p.block}
		if p.earliest != "-" {
			// Quantiles that must not take the place of the earliest member.
			d.Stages = &forecast.StageDates{
				FirstRipe: forecast.DateRange{P10: day(t, "2018-06-15"), P50: day(t, "2018-06-18"), P90: day(t, "2018-06-20")},
				LastPick:  forecast.DateRange{P10: day(t, "2018-06-30"), P50: day(t, "2018-07-02"), P90: day(t, "2018-07-04")},
			}
			if p.earliest != "" {
				d.Stages.FirstRipe.Earliest = ptr(day(t, p.earliest))
			}
		}
		g.Forecast.Plantings = append(g.Forecast.Plantings, d)
	}
	// Grubbed out, and not bearing yet.
	g.Plantings = append(g.Plantings,
		forecast.Planting{ID: "gone", Block: "Creek", PlantedOn: day(t, "2010-04-20"), RemovedOn: ptr(day(t, "2018-05-30"))},
		forecast.Planting{ID: "young", Block: "Hill", PlantedOn: day(t, "2018-04-20")})
	return g
}

func ptr[T any](x T) *T { return &x }

func blocksOf(t testing.TB, g forecast.Grounds) map[string]forecast.Block {
	t.Helper()
	list, err := forecast.Blocks(g)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.IsSortedFunc(list, func(a, b forecast.Block) int { return strings.Compare(a.Name, b.Name) }) {
		t.Errorf("not in order: %v", list)
	}
	out := map[string]forecast.Block{}
	for _, b := range list {
		out[b.Name] = b
	}
	return out
}

// tell writes a first day in a line.
func tell(f forecast.FirstDay) string {
	text := "none"
	if f.Day != nil {
		text = f.Day.String() + " " + string(f.From)
	}
	if f.Fruit != nil {
		text += fmt.Sprintf("; fruit %s of %s", f.Fruit, f.Planting)
	}
	for _, d := range f.Doubts(strings.ToUpper, weather.Date.String) {
		text += "; " + d
	}
	return text
}

// Worked by hand: the earliest planting in its earliest member, or the announced
// day if that is earlier; from today once ripe fruit was seen.
func TestFirstDayOfABlockWorkedByHand(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		early, late string
		announced   string
		seen        map[string]string
		none        bool // No forecast.
		want        string
	}{
		"the earliest planting":                  {"2018-06-12", "2018-06-20", "", nil, false, "2018-06-12 earliest_member; fruit 2018-06-12 of early"},
		"whichever it is":                        {"2018-06-12", "2018-06-10", "", nil, false, "2018-06-10 earliest_member; fruit 2018-06-10 of late"},
		"a later announced day changes nothing":  {"2018-06-12", "2018-06-20", "2018-06-16", nil, false, "2018-06-12 earliest_member; fruit 2018-06-12 of early"},
		"an earlier announced day counts":        {"2018-06-12", "2018-06-20", "2018-06-09", nil, false, "2018-06-09 announced; fruit 2018-06-12 of early"},
		"an announced day counts once it passed": {"2018-06-12", "2018-06-20", "2018-05-26", nil, false, "2018-05-26 announced; fruit 2018-06-12 of early"},
		"seen ripe: from today":                  {"2018-06-12", "2018-06-20", "2018-06-09", map[string]string{"late": "2018-05-30"}, false, "2018-06-01 seen; fruit 2018-05-30 of late"},
		"seen ripe in another block":             {"2018-06-12", "2018-06-20", "", map[string]string{"mid": "2018-05-30"}, false, "2018-06-12 earliest_member; fruit 2018-06-12 of early"},
		"no earliest member: no quantile instead": {
			"", "", "", nil, false, "none; The forecast of 2018-06-01 does not hold the earliest possible fruit yet, so it is not known for EARLY, LATE. The next forecast will tell.",
		},
		"no earliest member but an announced day": {
			"", "2018-06-20", "2018-06-09", nil, false,
			"2018-06-09 announced; fruit 2018-06-20 of late; The forecast of 2018-06-01 does not hold the earliest possible fruit yet, so it is not known for EARLY. The next forecast will tell.",
		},
		"no dates of one of them": {
			"-", "2018-06-20", "", nil, false, "2018-06-20 earliest_member; fruit 2018-06-20 of late; The forecast of 2018-06-01 has no dates of EARLY: fruit there may be ripe earlier.",
		},
		"no forecast": {"2018-06-12", "2018-06-20", "", nil, true, "none; There is no forecast of this season yet, so the earliest fruit is not known. The first forecast will tell."},
		"no forecast and an announced day": {
			"", "", "2018-06-09", nil, true, "2018-06-09 announced; There is no forecast of this season yet, so the earliest fruit is not known. The first forecast will tell.",
		},
		"no forecast and seen ripe": {"", "", "", map[string]string{"early": "2018-06-01"}, true, "2018-06-01 seen; fruit 2018-06-01 of early"},
	} {
		g := sprayFarm(t, tt.early, tt.late, "2018-06-05")
		if tt.none {
			g.Forecast = nil
		}
		if tt.announced != "" {
			g.Announced = ptr(day(t, tt.announced))
		}
		g.Ripe = map[string]weather.Date{}
		for p, d := range tt.seen {
			g.Ripe[p] = day(t, d)
		}
		b := blocksOf(t, g)
		if got := tell(b["Creek"].First); got != tt.want {
			t.Errorf("%s:\n%s\nwant\n%s", name, got, tt.want)
		}
		if got := b["Creek"].Plantings; !slices.Equal(got, []string{"early", "late"}) || !slices.Equal(b["Hill"].Plantings, []string{"mid"}) {
			t.Errorf("%s: plantings %v", name, b)
		}
	}
}

// Worked by hand, with a plan of seven days and 24 hours of re-entry that was
// entered when the 14th was known: of seven whole days before the 12th the first
// is the 5th, so the 4th is the last day of spraying.
func TestAPlanIsRaisedWhenTheFirstDayMovesEarlier(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		earliest, known, seen string
		now                   string
		last                  string
		passed, raised        bool
	}{
		"as it was known":                     {"2018-06-14", "2018-06-14", "", "", "Wed 2018-06-06 23:59 -0400", false, false},
		"later than was known":                {"2018-06-16", "2018-06-14", "", "", "Fri 2018-06-08 23:59 -0400", false, false},
		"earlier than was known":              {"2018-06-12", "2018-06-14", "", "", "Mon 2018-06-04 23:59 -0400", false, true},
		"earlier, and somebody took note":     {"2018-06-12", "2018-06-14", "2018-06-12", "", "Mon 2018-06-04 23:59 -0400", false, false},
		"earlier again after that":            {"2018-06-11", "2018-06-14", "2018-06-12", "", "Sun 2018-06-03 23:59 -0400", false, true},
		"back again after somebody took note": {"2018-06-14", "2018-06-14", "2018-06-12", "", "Wed 2018-06-06 23:59 -0400", false, false},
		"known now, and not when it was entered": {
			"2018-06-14", "", "", "", "Wed 2018-06-06 23:59 -0400", false, true,
		},
		"the last safe minute":         {"2018-06-14", "2018-06-14", "", "Wed 2018-06-06 23:59 -0400", "Wed 2018-06-06 23:59 -0400", false, false},
		"the minute after it":          {"2018-06-14", "2018-06-14", "", "Thu 2018-06-07 00:00 -0400", "Wed 2018-06-06 23:59 -0400", true, false},
		"passed as the forecast moved": {"2018-06-07", "2018-06-14", "", "", "Wed 2018-05-30 23:59 -0400", true, true},
	} {
		g := sprayFarm(t, tt.earliest, "2018-06-25", "2018-06-05")
		s := forecast.Spray{ID: "s", Block: "Creek", Name: "from the can", Season: 2018, PreHarvestDays: 7, ReentryHours: 24}
		if tt.known != "" {
			s.Known = ptr(day(t, tt.known))
		}
		if tt.seen != "" {
			s.Seen = &forecast.SpraySeen{Day: day(t, tt.seen), By: "Ann"}
		}
		if tt.now != "" {
			g.Now = instantOf(t, tt.now)
		}
		g.Sprays = []forecast.Spray{s}
		b := blocksOf(t, g)
		if len(b["Creek"].Planned) != 1 || len(b["Hill"].Planned) != 0 || b["Creek"].Closed != nil {
			t.Fatalf("%s: %+v", name, b)
		}
		p := b["Creek"].Planned[0]
		if got := p.LastSafe.Format(clockLayout); got != tt.last || p.Passed != tt.passed || p.Raised != tt.raised {
			t.Errorf("%s: last safe %s, passed %v, raised %v, want %s, %v, %v", name, got, p.Passed, p.Raised, tt.last, tt.passed, tt.raised)
		}
	}
	// Once ripe fruit was seen it counts from today, and has passed.
	g := sprayFarm(t, "2018-06-14", "2018-06-25", "2018-06-05")
	g.Ripe = map[string]weather.Date{"early": day(t, "2018-05-31")}
	g.Sprays = []forecast.Spray{{ID: "s", Block: "Creek", Season: 2018, PreHarvestDays: 1, ReentryHours: 4, Known: ptr(day(t, "2018-06-14"))}}
	p := blocksOf(t, g)["Creek"].Planned[0]
	if got := p.LastSafe.Format(clockLayout); got != "Wed 2018-05-30 23:59 -0400" || !p.Passed || !p.Raised {
		t.Errorf("seen ripe: last safe %s, passed %v, raised %v", got, p.Passed, p.Raised)
	}
	if got := p.IfNow.Format(clockLayout); got != "Sun 2018-06-03 00:00 -0400" {
		t.Errorf("sprayed now it would be open from %s", got)
	}
	// Where nothing is known there is no moment, and no calm either.
	g = sprayFarm(t, "", "", "2018-06-05")
	g.Sprays = []forecast.Spray{{ID: "s", Block: "Creek", Season: 2018, PreHarvestDays: 1}}
	if p := blocksOf(t, g)["Creek"].Planned[0]; p.LastSafe != nil || p.Passed || p.Raised {
		t.Errorf("not known: %+v", p)
	}
}

// Worked by hand: sprayed on Thu 31 May at 19:00 with three days, the block may
// be picked from Mon 4 June on.
func TestASprayedBlockIsClosed(t *testing.T) {
	t.Parallel()
	at := instantOf(t, "Thu 2018-05-31 19:00 -0400")
	spray := forecast.Spray{ID: "s", Block: "Creek", Plantings: []string{"early", "late"}, Name: "x", Season: 2018, SprayedAt: &at, PreHarvestDays: 3, ReentryHours: 24}
	const open = "Mon 2018-06-04 00:00 -0400"
	for name, tt := range map[string]struct {
		earliest, announced, now string
		closed, fruit, told      bool
	}{
		"before anything is ripe":          {"2018-06-10", "", "", true, false, false},
		"until the last minute":            {"2018-06-10", "", "Sun 2018-06-03 23:59 -0400", true, false, false},
		"open again":                       {"2018-06-10", "", open, false, false, false},
		"ripe on the day it opens again":   {"2018-06-04", "2018-06-04", "", true, false, false},
		"ripe the day before":              {"2018-06-03", "", "", true, true, false},
		"announced the day before":         {"2018-06-10", "2018-06-03", "", true, false, true},
		"announced for the day of it":      {"2018-06-10", "2018-05-31", "", true, false, true},
		"announced for the day before it":  {"2018-06-10", "2018-05-30", "", true, false, false},
		"ripe and announced":               {"2018-06-02", "2018-06-03", "", true, true, true},
		"ripe, and it is not known so yet": {"", "", "", true, false, false},
	} {
		g := sprayFarm(t, tt.earliest, "2018-06-25", "2018-06-05")
		g.Sprays = []forecast.Spray{spray}
		if tt.announced != "" {
			g.Announced = ptr(day(t, tt.announced))
		}
		if tt.now != "" {
			g.Now = instantOf(t, tt.now)
		}
		b := blocksOf(t, g)["Creek"]
		if (b.Closed != nil) != tt.closed || len(b.Sprayed) != 1 {
			t.Fatalf("%s: %+v", name, b)
		}
		c := b.Sprayed[0]
		if got := c.Until.Format(clockLayout); got != open || c.InForce != tt.closed || c.Fruit != tt.fruit || c.Announced != tt.told {
			t.Errorf("%s: until %s, in force %v, fruit %v, announced %v", name, got, c.InForce, c.Fruit, c.Announced)
		}
	}
}

// A closure follows what stands in the block, and is not lost with its name.
func TestAClosureIsNotLost(t *testing.T) {
	t.Parallel()
	at := instantOf(t, "Thu 2018-05-31 19:00 -0400")
	short := forecast.Spray{ID: "a", Block: "Creek", Plantings: []string{"early", "late"}, Season: 2018, SprayedAt: &at, PreHarvestDays: 1, ReentryHours: 4}
	long := short
	long.ID, long.PreHarvestDays = "b", 5
	g := sprayFarm(t, "2018-06-10", "2018-06-25", "2018-06-05")
	g.Sprays = []forecast.Spray{long, short}
	if c := blocksOf(t, g)["Creek"].Closed; c == nil || c.ID != "b" {
		t.Errorf("of two closures the longer one counts, not %+v", c)
	}

	g.Plantings[0].Block = "Lower Creek" // late.
	g.Plantings[1].Block = "Upper Creek"
	b := blocksOf(t, g)
	for _, name := range []string{"Creek", "Lower Creek", "Upper Creek"} {
		if b[name].Closed == nil {
			t.Errorf("%s is open", name)
		}
	}
	if b["Hill"].Closed != nil {
		t.Error("Hill is closed")
	}

	// A season later only what still closes matters.
	g.Now = g.Now.AddDate(1, 0, 0)
	g.Forecast = nil
	if b := blocksOf(t, g); len(b["Creek"].Sprayed) != 0 || len(b["Lower Creek"].Sprayed) != 0 {
		t.Errorf("a year later: %+v", b)
	}
	long.PreHarvestDays = 365
	g.Now = g.Now.Add(-36 * time.Hour)
	g.Sprays = []forecast.Spray{long}
	if b := blocksOf(t, g); b["Lower Creek"].Closed == nil {
		t.Error("a closure ended with its season")
	}
}

func TestRipeSinceTheFirstLookOrPicking(t *testing.T) {
	t.Parallel()
	farm := forecast.Farm{Latitude: 42}
	d := func(text string) weather.Date { return day(t, text) }
	got := forecast.RipeSince(farm, 2018,
		[]forecast.Sighting{
			{Planting: "a", Date: d("2018-06-10"), Stage: forecast.Peak, Seen: true}, {Planting: "a", Date: d("2018-06-04"), Stage: forecast.FirstRipe, Seen: true},
			{Planting: "b", Date: d("2018-06-04"), Stage: forecast.FirstRipe}, {Planting: "c", Date: d("2018-05-04"), Stage: forecast.BloomFull, Seen: true},
			{Planting: "d", Date: d("2017-06-04"), Stage: forecast.FirstRipe, Seen: true}, {Planting: "e", Date: d("2018-06-09"), Stage: forecast.FirstRipe, Seen: true},
		},
		[]forecast.Picking{
			{Planting: "a", Date: d("2018-06-03"), Kg: 2}, {Planting: "b", Date: d("2018-06-05"), Kg: 0}, {Planting: "c", Date: d("2018-06-06"), Kg: 1},
			{Planting: "d", Date: d("2017-06-06"), Kg: 1},
		})
	if diff := cmp.Diff(map[string]weather.Date{"a": d("2018-06-03"), "c": d("2018-06-06"), "e": d("2018-06-09")}, got); diff != "" {
		t.Error(diff)
	}
}

// The ranges of the last pick end on Wed 4 July.
func TestPickingIsOverOnceTheLastRangesHavePassed(t *testing.T) {
	t.Parallel()
	for now, over := range map[string]bool{"Wed 2018-07-04 20:00 -0400": false, "Thu 2018-07-05 08:00 -0400": true} {
		g := sprayFarm(t, "2018-06-12", "2018-06-20", "2018-06-05")
		g.Now = instantOf(t, now)
		at := g.Now.Add(-time.Hour)
		g.Sprays = []forecast.Spray{{ID: "s", Block: "Creek", Season: 2018, SprayedAt: &at, PreHarvestDays: 3}}
		b := blocksOf(t, g)["Creek"]
		// It is closed all the same, but no fruit is left that must not be picked.
		if b.First.Over != over || b.Closed == nil || b.Closed.Fruit == over {
			t.Errorf("%s: %+v, closed %+v", now, b.First, b.Closed)
		}
	}
	g := sprayFarm(t, "2018-06-12", "-", "2018-06-05") // No dates of one of them.
	g.Now = instantOf(t, "Thu 2018-07-05 08:00 -0400")
	if blocksOf(t, g)["Creek"].First.Over {
		t.Error("over, and of one planting nothing is known")
	}
}
