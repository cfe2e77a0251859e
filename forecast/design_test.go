package forecast_test

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// steadyFarm has a station at 15 °C day and night from 2009 to 2017, so that a day
// is 12 °C·d above 3 °C and 15 above 0 °C, and two plantings that bloomed on
// 1 May in five seasons: the first is picked from 20 to 30 days after bloom, the
// second from 40 to 50, by what the farm itself believes. A third, which was
// picked from 29 to 42, is gone since 2017 but has taught what its variety needs.
func steadyFarm(t *testing.T) forecast.Inputs {
	t.Helper()
	var days []weather.Day
	for d := weather.DateOf(2009, time.January, 1); d <= weather.DateOf(2017, time.December, 31); d++ {
		days = append(days, weather.Day{Date: d, Min: 15, Max: 15})
	}
	series, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	variety := func(id string, first, last float64) forecast.Variety {
		return forecast.Variety{ID: id, Name: strings.ToUpper(id), Ripens: forecast.Mid, Requirement: &forecast.Requirement{
			FirstRipe: 12 * first, Peak: 12 * (first + last) / 2, LastPick: 12 * last, Method: forecast.DefaultMethod,
		}}
	}
	planting := func(id, variety string) forecast.Planting {
		return forecast.Planting{ID: id, Variety: variety, Block: "Low Field", Station: "weir", PlantedOn: weather.DateOf(2011, time.April, 1), AreaM2: 500, KgPerM2: 1}
	}
	in := forecast.Inputs{
		Farm:      forecast.Farm{ID: "weir-farm", Name: "Weir Farm", Latitude: 45, TimeZone: "UTC", GapProbability: 0.5, ThinKgPerDay: 10},
		Records:   []forecast.Record{{Station: weather.Station{ID: "weir", Name: "Weir", Latitude: 45}, Days: series}},
		Varieties: []forecast.Variety{variety("a", 20, 30), variety("b", 40, 50), variety("between", 29, 42), variety("last", 80, 85), variety("first", 3, 6)},
		Plantings: []forecast.Planting{planting("one", "a"), planting("two", "b"), planting("gone", "between")},
	}
	gone := weather.DateOf(2017, time.December, 1)
	in.Plantings[2].RemovedOn = &gone
	for y := 2013; y <= 2017; y++ {
		for i, p := range in.Plantings {
			bloom := weather.DateOf(y, time.May, 1)
			first, last := weather.Date([]int{20, 40, 29}[i]), weather.Date([]int{30, 50, 42}[i])
			in.Sightings = append(in.Sightings,
				forecast.Sighting{Planting: p.ID, Stage: forecast.Bloom10, Seen: true, Date: bloom},
				forecast.Sighting{Planting: p.ID, Stage: forecast.FirstRipe, Seen: true, Date: bloom + first},
				forecast.Sighting{Planting: p.ID, Stage: forecast.LastPick, Seen: true, Date: bloom + last})
		}
	}
	return in
}

func design(t *testing.T, in forecast.Inputs, season int, changes ...forecast.Change) *forecast.Designed {
	t.Helper()
	d, faults, err := forecast.Design(in, season, changes)
	if err != nil || len(faults) > 0 {
		t.Fatal(faults, err)
	}
	return d
}

func addition(variety string, m2 float64) forecast.Change {
	return forecast.Change{Add: &forecast.Addition{Variety: variety, AreaM2: m2, Block: "New Ground"}}
}

func TestASteadyFarmHasTheGapThatIsCountedByHand(t *testing.T) {
	t.Parallel()
	in := steadyFarm(t)
	d := design(t, in, 2018)
	// Picked to day 30 and from day 40 after bloom: the nine days between are the
	// gap, in all nine years, for all have the same weather. Requirements vary by a
	// few hundredths, which moves its ends by a day or two but not its middle.
	if d.Members == 0 || !slices.Equal(d.Years, []int{2009, 2010, 2011, 2012, 2013, 2014, 2015, 2016, 2017}) {
		t.Fatalf("%d members of years %v", d.Members, d.Years)
	}
	b := d.Before
	if !near(b.GapDays, 9, 0.6) || b.GapYears != 9 || !near(b.GapShare, 1, 0.02) {
		t.Errorf("gap days %g, in %d years, share %g", b.GapDays, b.GapYears, b.GapShare)
	}
	if len(b.Between) != 1 || b.Between[0].After != "A" || b.Between[0].Before != "B" || !near(b.Between[0].Days, b.GapDays, 1e-9) {
		t.Errorf("gaps lie between %+v", b.Between)
	}
	// From day 20 to day 50, both included.
	if !near(b.SeasonMean, 31, 0.7) || !near(b.CropKg, 1000, 1e-9) {
		t.Errorf("season of %g days, crop of %g kg", b.SeasonMean, b.CropKg)
	}
	if d.Difference.GapDays.Mean != 0 || !d.Difference.GapDays.ByChance() || d.Difference.CropKg.Mean != 0 {
		t.Errorf("nothing was changed, and the difference is %+v", d.Difference)
	}

	// What is picked from day 29 to day 42 closes it, and is ranked first for it.
	d = design(t, in, 2018, addition("between", 100))
	if g := d.Difference.GapDays; !near(g.Mean, -8.5, 0.7) || g.ByChance() || d.After.GapDays > 1.2 {
		t.Errorf("with a planting between: %+v, %g gap days are left", g, d.After.GapDays)
	}
	if got := d.Difference.CropKg; !near(got.Mean, 100, 1e-9) || !near(got.Lo, 100, 1e-9) || !near(got.Hi, 100, 1e-9) {
		t.Errorf("100 m² at 1 kg/m² change the crop by %+v kg", got)
	}
	if best := design(t, in, 2018).Ranking[0]; best.Variety != "between" || !best.Records || !near(best.GapDays.Mean, -8.5, 0.7) {
		t.Errorf("ranked first is %+v", best)
	}

	// What is picked from day 80 on closes nothing and opens the days from 51 to 79.
	d = design(t, in, 2018, addition("last", 100))
	if g := d.Difference; !near(g.GapDays.Mean, 29, 2.5) || !near(g.Longer, g.GapDays.Mean, 0.3) || !near(g.SeasonDays.Mean, 35, 3) {
		t.Errorf("with a last planting: %+v", g)
	}
	// What is picked from day 3 to day 6 opens the days from 7 to 19 before it.
	d = design(t, in, 2018, addition("first", 100))
	if g := d.Difference; !near(g.GapDays.Mean, 13, 2.5) || !near(g.Longer, g.GapDays.Mean, 0.3) || !near(g.SeasonDays.Mean, 17, 2.5) {
		t.Errorf("with a first planting: %+v", g)
	}
	// Without the second planting there is no gap left, and the season is short.
	d = design(t, in, 2018, forecast.Change{Drop: "two"})
	if d.After.GapDays != 0 || !near(d.After.SeasonMean, 11, 0.7) || !near(d.After.CropKg, 500, 1e-9) || d.After.GapYears != 0 || d.Difference.GapYears != -9 {
		t.Errorf("with one planting: %+v", d.After)
	}
	// Nor is there anything without both.
	d = design(t, in, 2018, forecast.Change{Drop: "two"}, forecast.Change{Drop: "one"})
	if d.After.GapShare != 0 || d.After.SeasonMean != 0 || d.After.CropKg != 0 || len(d.After.Days) != 0 {
		t.Errorf("without plantings: %+v", d.After)
	}
}

// Where no fruit is on record what the farm itself believes of its varieties is
// all there is, and it is surer than what is assumed of the classes that are
// ranked: they change nothing of what stands.
func TestWhatIsRankedChangesNothingOfWhatStands(t *testing.T) {
	t.Parallel()
	in := steadyFarm(t)
	in.Sightings = slices.DeleteFunc(in.Sightings, func(s forecast.Sighting) bool { return s.Stage != forecast.Bloom10 })
	d, f := design(t, in, 2018), compute(t, in, weather.DateOf(2018, time.January, 1))
	if len(f.Plantings) != 2 {
		t.Fatalf("%d plantings bear", len(f.Plantings))
	}
	for _, p := range f.Plantings {
		i := slices.IndexFunc(d.Plantings, func(x forecast.DesignedPlanting) bool { return x.Planting == p.Planting })
		a, b := p.Stages.FirstRipe, p.Stages.LastPick
		want := forecast.DesignedDates{First: forecast.SpanEnd{P10: a.P10, P50: a.P50, P90: a.P90}, Last: forecast.SpanEnd{P10: b.P10, P50: b.P50, P90: b.P90}}
		if got := *d.Plantings[i].Before; got != want {
			t.Errorf("%s: %v, by the forecast %v", p.Planting, got, want)
		}
	}
}

// A design of what stands is the forecast of the season's first morning.
func TestADesignIsTheForecastOfTheFirstMorning(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	f := compute(t, in, weather.DateOf(2019, time.January, 1))
	d := design(t, in, 2019, addition(in.Varieties[0].ID, 400))
	if d.Members != f.Method.Members || len(d.Years) != f.Method.Traces {
		t.Fatalf("%d members of %d years, the forecast has %d of %d", d.Members, len(d.Years), f.Method.Members, f.Method.Traces)
	}
	seen := 0
	for _, p := range d.Plantings {
		i := slices.IndexFunc(f.Plantings, func(x forecast.PlantingDates) bool { return x.Planting == p.Planting })
		if i < 0 {
			continue
		}
		seen++
		s := f.Plantings[i].Stages
		got, want := p.Before.First, forecast.SpanEnd{P10: s.FirstRipe.P10, P50: s.FirstRipe.P50, P90: s.FirstRipe.P90}
		if got != want || *p.Before != *p.After {
			t.Errorf("%s: first ripe %v, by the forecast %v; after %v", p.Planting, got, want, p.After.First)
		}
	}
	if seen != len(f.Plantings) || len(d.Plantings) != seen+1 {
		t.Errorf("%d plantings, the forecast has %d", len(d.Plantings), len(f.Plantings))
	}
	if d.Before.First != f.SeasonSpan.First || d.Before.Last != f.SeasonSpan.Last {
		t.Errorf("season %v to %v, by the forecast %v", d.Before.First, d.Before.Last, f.SeasonSpan)
	}
	for i, x := range d.Before.Days {
		y := f.Days[i]
		if x.Date != y.Date || !near(x.Gap, y.GapProbability, 5e-4) || !near(x.Thin, y.ThinProbability, 5e-4) {
			t.Errorf("%s: %+v, by the forecast gap %g, thin %g", y.Date, x, y.GapProbability, y.ThinProbability)
		}
		k := slices.IndexFunc(d.Before.Saturdays, func(s forecast.DesignKg) bool { return s.Date == x.Date })
		if (k >= 0) != (x.Date.Weekday() == time.Saturday) || k >= 0 && d.Before.Saturdays[k].Kg != y.RipeKg {
			t.Errorf("%s: fruit standing is not that of the forecast", x.Date)
		}
	}
}

// The oracle: every member of both lists worked out again from the definitions.
func TestEveryCountOfADesignAgreesWithMembersWorkedOutAgain(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	in.Farm.ThinKgPerDay = 300
	first := weather.DateOf(2019, time.January, 1)
	late := forecast.VeryLate
	standing := in.Plantings[slices.IndexFunc(in.Plantings, func(p forecast.Planting) bool { return p.ID == "bridgewell-windbreak" })]
	changes := []forecast.Change{
		{Drop: standing.ID}, {Drop: "plowmoon-creekside"},
		{Resize: &forecast.Resizing{Planting: "firstbell-sandbar", AreaM2: 5000}},
		{Add: &forecast.Addition{Ripens: &late, AreaM2: 700, KgPerM2: 1.5}},
		addition("corduroy", 300),
	}
	d, before, after, err := forecast.DesignOf(in, 2019, changes, 172)
	if err != nil {
		t.Fatal(err)
	}
	perYear := d.Members / len(d.Years)
	thinBy := map[string][]float64{} // Mean thin days with the weather of each year.
	for _, list := range []struct {
		name    string
		members [][]forecast.DesignMember
		got     forecast.DesignOutcome
	}{{"before", before, d.Before}, {"after", after, d.After}} {
		var gaps, thins, spans []int16
		weeks, saturdays := map[weather.Date][]float32{}, map[weather.Date][]float32{}
		var all []oneMember
		for _, row := range list.members {
			var ms []forecast.Member
			for _, m := range row {
				ms = append(ms, m.Member)
			}
			all = append(all, workOut(in, first, ms))
		}
		for _, o := range all {
			gap := int16(0)
			for x := o.first; x <= o.last; x++ {
				if len(o.ripe[x]) == 0 {
					gap++
				}
			}
			gaps, spans = append(gaps, gap), append(spans, int16(o.last-o.first+1))
			thin := int16(0)
			for _, yes := range o.thin {
				if yes {
					thin++
				}
			}
			thins = append(thins, thin)
		}
		years := 0
		by := make([]float64, len(d.Years))
		for y := range by {
			with := 0
			for m := y * perYear; m < (y+1)*perYear; m++ {
				by[y] += float64(thins[m]) / float64(perYear)
				if gaps[m] > 0 {
					with++
				}
			}
			if 2*with >= perYear {
				years++
			}
		}
		if thinBy[list.name] = by; years != list.got.GapYears {
			t.Errorf("%s: a gap is more likely than not in %d years, worked out %d", list.name, list.got.GapYears, years)
		}
		for _, w := range list.got.Weeks {
			for _, o := range all {
				weeks[w.Date] = append(weeks[w.Date], float32(o.weeks[w.Date]))
			}
			if q := forecast.KgQuantiles(weeks[w.Date]); !near(q[0], w.Kg.P10, 0.5) || !near(q[1], w.Kg.P50, 0.5) || !near(q[2], w.Kg.P90, 0.5) {
				t.Errorf("%s: week of %s: %v, worked out %v", list.name, w.Date, w.Kg, q)
			}
		}
		for _, s := range list.got.Saturdays {
			for _, o := range all {
				saturdays[s.Date] = append(saturdays[s.Date], float32(o.total[s.Date]))
			}
			if q := forecast.KgQuantiles(saturdays[s.Date]); !near(q[0], s.Kg.P10, 0.5) || !near(q[1], s.Kg.P50, 0.5) || !near(q[2], s.Kg.P90, 0.5) {
				t.Errorf("%s: Saturday %s: %v, worked out %v", list.name, s.Date, s.Kg, q)
			}
		}
		if len(list.got.Weeks) < 6 || len(list.got.Saturdays) < 6 {
			t.Errorf("%s: %d weeks, %d Saturdays", list.name, len(list.got.Weeks), len(list.got.Saturdays))
		}
		for _, x := range []struct {
			name   string
			days   []int16
			mean   float64
			range3 forecast.DayCounts
		}{{"gap", gaps, list.got.GapDays, list.got.GapRange}, {"thin", thins, list.got.ThinDays, list.got.ThinRange}, {"season", spans, list.got.SeasonMean, list.got.SeasonDays}} {
			if got, q := meanOf16(x.days), forecast.DayQuantiles(x.days); !near(got, x.mean, 1e-9) || q != [3]int{x.range3.P10, x.range3.P50, x.range3.P90} {
				t.Errorf("%s: %s days %g %v, worked out %g %v", list.name, x.name, x.mean, x.range3, got, q)
			}
		}
	}
	diffs := make([]float64, len(d.Years))
	for y := range diffs {
		diffs[y] = thinBy["after"][y] - thinBy["before"][y]
	}
	if lo, hi := forecast.RedrawnMeans(diffs); !near(d.Difference.ThinDays.Lo, lo, 1e-9) || !near(d.Difference.ThinDays.Hi, hi, 1e-9) || !(lo < hi) {
		t.Errorf("thin days differ by %+v, worked out %g to %g", d.Difference.ThinDays, lo, hi)
	}
	if d.Before.ThinDays == d.After.ThinDays {
		t.Error("the changes change nothing, so this proves little")
	}
}

func meanOf16(xs []int16) (sum float64) {
	for _, x := range xs {
		sum += float64(x) / float64(len(xs))
	}
	return sum
}

// Shifted plantings: dates move by whole days, what ripens moves with them.
func TestShiftedPlantingsAreMovedAsTheyAreDrawn(t *testing.T) {
	t.Parallel()
	in := steadyFarm(t)
	seven := 7.0
	d, _, after, err := forecast.DesignOf(in, 2018, []forecast.Change{
		{Shift: &forecast.Shifting{Planting: "two", By: forecast.RowCover, Days: &seven}}, {Shift: &forecast.Shifting{Planting: "one", By: forecast.LateStraw}},
	}, 200)
	if err != nil {
		t.Fatal(err)
	}
	gaps, kg := 0.0, 0.0
	for _, row := range after {
		var from, to [2]weather.Date
		for i, m := range row {
			m.Bloom = bloomOf(m.Member)
			day := stagesOf(m.Member, heatTo(m.Member), m.Need)
			from[i], to[i] = day[0]+weather.Date(m.Shift), day[2]+weather.Date(m.Shift)
			kg += m.Kg * m.Keep / float64(len(after))
		}
		for x := min(from[0], from[1]); x <= max(to[0], to[1]); x++ {
			if !(from[0] <= x && x <= to[0]) && !(from[1] <= x && x <= to[1]) {
				gaps += 1 / float64(len(after))
			}
		}
	}
	if !near(d.After.GapDays, gaps, 1e-9) || !near(d.After.CropKg, kg, 1e-6) {
		t.Errorf("%g gap days and %g kg, worked out %g and %g", d.After.GapDays, d.After.CropKg, gaps, kg)
	}
	// By hand: seven days earlier and two later take nine from the gap of nine.
	if !(d.After.GapDays < 2.5) || !(d.After.CropKg > 875 && d.After.CropKg < 990) {
		t.Errorf("%g gap days, %g kg", d.After.GapDays, d.After.CropKg)
	}
	total := 0.0
	for _, w := range d.After.Weeks {
		total += w.Kg.P50
	}
	if !(total > 500 && total < 1100) {
		t.Errorf("medians of weeks add up to %g kg", total)
	}
	if n := len(d.Cautions); n != 4 || !strings.Contains(strings.Join(d.Cautions, " "), "Purdue") || !strings.Contains(strings.Join(d.Cautions, " "), "Pollard") {
		t.Errorf("cautions are %q", d.Cautions)
	}
}

// What ripens moves with the dates, and late straw takes its part of it.
func TestWhatRipensMovesWithAShift(t *testing.T) {
	t.Parallel()
	in := steadyFarm(t)
	var days []weather.Day
	for _, d := range in.Records[0].Days.Days() { // Cold until the second planting ripens, then hot: whose heat it is matters.
		d.Min, d.Max = 11, 11
		if _, m, _ := d.Date.Civil(); m >= time.June {
			d.Min, d.Max = 27, 27
		}
		days = append(days, d)
	}
	var err error
	if in.Records[0].Days, err = weather.NewSeries(days); err != nil {
		t.Fatal(err)
	}
	middle := func(ws []forecast.DesignKg) (day, kg float64) {
		for _, w := range ws {
			kg += w.Kg.P50
			day += w.Kg.P50 * float64(w.Date-ws[0].Date)
		}
		return float64(ws[0].Date) + day/kg, kg
	}
	for _, tt := range []struct {
		by       forecast.Measure
		days     float64
		earliest float64 // Days that the middle of the crop moves, from.
		latest   float64
		least    float64 // Of the crop, from.
		most     float64
	}{
		{forecast.RowCover, 10, -11, -6, 0.85, 1.15}, // Drawn up to ten days: nearly nine on average.
		{forecast.LateStraw, 3, 1, 4, 0.75, 0.99},    // A tenth is lost on average.
	} {
		d := design(t, in, 2018, forecast.Change{Drop: "one"}, forecast.Change{Shift: &forecast.Shifting{Planting: "two", By: tt.by, Days: &tt.days}})
		was, before := middle(design(t, in, 2018, forecast.Change{Drop: "one"}).After.Weeks)
		is, after := middle(d.After.Weeks)
		if moved := is - was; !(tt.earliest < moved && moved < tt.latest) {
			t.Errorf("%s: the middle of what ripens moves by %g days", tt.by, moved)
		}
		if part := after / before; !(tt.least < part && part < tt.most) {
			t.Errorf("%s: %g of the crop ripens", tt.by, part)
		}
	}
}

// What ripens in the weeks of a season is the crop, of shifted plantings too.
func TestWhatRipensIsTheCrop(t *testing.T) {
	t.Parallel()
	three, ten := 3.0, 10.0
	ripened, crop, err := forecast.DesignRipened(steadyFarm(t), 2018, []forecast.Change{
		{Shift: &forecast.Shifting{Planting: "one", By: forecast.LateStraw, Days: &three}}, {Shift: &forecast.Shifting{Planting: "two", By: forecast.RowCover, Days: &ten}},
		{Resize: &forecast.Resizing{Planting: "two", AreaM2: 300}}, addition("between", 100),
	}, 200)
	if err != nil {
		t.Fatal(err)
	}
	least, most := slices.Min(crop), slices.Max(crop)
	if !(least > 500*0.75+400-1e-6 && least < 850 && most > 890 && most < 900+1e-6) {
		t.Errorf("crops from %g to %g kg", least, most)
	}
	for m := range ripened {
		if !near(ripened[m], crop[m], 0.005*crop[m]) {
			t.Fatalf("member %d: %g kg ripen, of a crop of %g", m, ripened[m], crop[m])
		}
	}
	for by, want := range map[int][]float64{0: {0, 1, 3, 6, 10}, 1: {0, 0, 1, 3, 6}, -2: {3, 6, 10, 10, 10}} {
		if got := forecast.ShiftedHeat([]float64{0, 1, 3, 6, 10}, by); !slices.Equal(got, want) {
			t.Errorf("by %d days: %v, want %v", by, got, want)
		}
	}
}

func TestShiftsStayWithinWhatWasPublished(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		by         forecast.Measure
		days       float64
		lo, hi     int
		mean, loss float64
	}{
		{forecast.RowCover, 5, -10, 0, -5, 0},                      // Symmetric about the middle of what is allowed.
		{forecast.LateStraw, 1.5, 0, 3, 1.5, 0.25 * 0.5 * 1.5 / 3}, // Likewise; half of a quarter at three days.
	} {
		days, keep := forecast.ShiftsOf(forecast.Shifting{By: tt.by, Days: &tt.days}, "Low Field", 4000)
		mean, loss := 0.0, 0.0
		for m, n := range days {
			if n < tt.lo || n > tt.hi || keep[m] < 0.75 || keep[m] > 1 {
				t.Fatalf("%s: member %d: %d days, %g kept", tt.by, m, n, keep[m])
			}
			mean += float64(n) / 4000
			loss += (1 - keep[m]) / 4000
		}
		if !near(mean, tt.mean, 0.08) || !near(loss, tt.loss, 0.004) || slices.Min(days) == slices.Max(days) {
			t.Errorf("%s: mean %g days, loss %g", tt.by, mean, loss)
		}
	}
	_, five := forecast.RowCover.Days()
	if a, _ := forecast.ShiftsOf(forecast.Shifting{By: forecast.RowCover, Days: &five}, "X", 9); !slices.Equal(a, first9(forecast.ShiftsOf(forecast.Shifting{By: forecast.RowCover}, "X", 9))) {
		t.Error("the modest number does not stand in where none is given")
	}
}

func first9(days []int, _ []float64) []int { return days }

func TestWhatIsNotChangedStaysAsItIs(t *testing.T) {
	t.Parallel()
	unwatched(t)
	in, _ := demo(t)
	p := in.Plantings[slices.IndexFunc(in.Plantings, func(p forecast.Planting) bool { return p.ID == "plowmoon-creekside" })]
	again := design(t, in, 2019, forecast.Change{Drop: p.ID}, forecast.Change{Add: &forecast.Addition{Variety: p.Variety, Block: p.Block, Station: p.Station, AreaM2: p.AreaM2}})
	if !reflect.DeepEqual(again.Before, again.After) || again.Difference.GapDays != (forecast.Paired{}) || again.Difference.ThinDays != (forecast.Paired{}) || again.Difference.CropKg != (forecast.Paired{}) {
		t.Errorf("dropped and added again: %+v", again.Difference)
	}
	larger := design(t, in, 2019, forecast.Change{Resize: &forecast.Resizing{Planting: p.ID, AreaM2: 2 * p.AreaM2}})
	for i, x := range larger.Plantings {
		if *x.Before != *x.After || *x.Before != *again.Plantings[i].Before {
			t.Errorf("%s: another area moves dates", x.Planting)
		}
	}
	if g := larger.Difference; g.GapDays != (forecast.Paired{}) || g.SeasonDays != (forecast.Paired{}) || !near(g.CropKg.Mean, p.AreaM2*p.KgPerM2, 1e-6) || !(g.ThinDays.Mean < 0) {
		t.Errorf("twice the area: %+v", g)
	}
	// What is tried besides does not change what is tried.
	one := design(t, in, 2019, addition("corduroy", 300))
	two := design(t, in, 2019, forecast.Change{Drop: p.ID}, addition("tamsin-red", 300), addition("corduroy", 300))
	a, b := one.Plantings[len(one.Plantings)-1], two.Plantings[len(two.Plantings)-1]
	if a.Name != b.Name || !within(a.After.First, b.After.First, 1) || !reflect.DeepEqual(one.Before, two.Before) {
		t.Errorf("%+v beside %+v", a.After, b.After)
	}
	if x, y := design(t, in, 2019, addition("corduroy", 300)), one; !reflect.DeepEqual(x, y) {
		t.Error("two runs differ")
	}
}

func within(a, b forecast.SpanEnd, days int) bool {
	for _, d := range []weather.Date{a.P10 - b.P10, a.P50 - b.P50, a.P90 - b.P90} {
		if math.Abs(float64(d)) > float64(days) {
			return false
		}
	}
	return true
}

// One more planting can only fill days of the season there was; what it adds lies
// outside.
func TestAnAdditionOpensNoGapWithinTheSeasonThereWas(t *testing.T) {
	t.Parallel()
	demoIn, _ := demo(t)
	for _, x := range []struct {
		in     forecast.Inputs
		season int
	}{{demoIn, 2019}, {steadyFarm(t), 2018}} {
		d := design(t, x.in, x.season)
		if len(d.Ranking) != 6+len(x.in.Varieties) {
			t.Errorf("%d are ranked", len(d.Ranking))
		}
		for _, r := range d.Ranking {
			if r.GapDays.Mean-r.Longer > 1e-9 || r.Season.Mean < 0 || r.Longer < 0 {
				t.Errorf("%s: %g gap days, %g of them outside; season %g", r.Name, r.GapDays.Mean, r.Longer, r.Season.Mean)
			}
		}
	}
}

func TestFaultyChangesAreToldWithTheirPlace(t *testing.T) {
	t.Parallel()
	in := steadyFarm(t)
	nan, mid := math.NaN(), forecast.Mid
	_, faults, err := forecast.Design(in, 2018, []forecast.Change{
		{}, {Drop: "three"}, {Drop: "one"}, {Resize: &forecast.Resizing{Planting: "one", AreaM2: nan}},
		{Add: &forecast.Addition{AreaM2: 10}}, {Add: &forecast.Addition{Variety: "a", Ripens: &mid, AreaM2: 10}},
		{Add: &forecast.Addition{Variety: "c", AreaM2: 10, Station: "hill"}},
		{Shift: &forecast.Shifting{Planting: "two", By: "prayer"}}, {Shift: &forecast.Shifting{Planting: "two", By: forecast.LateStraw, Days: &nan}},
	})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range faults {
		f, ok := errors.AsType[*forecast.FieldError](e)
		if !ok {
			t.Fatal(e)
		}
		got = append(got, f.Field)
	}
	want := []string{"changes[0]", "changes[1].drop", "changes[3].resize.area_m2", "changes[3].resize.planting", "changes[4].add", "changes[5].add",
		"changes[6].add.variety", "changes[6].add.station", "changes[7].shift.by", "changes[8].shift.days", "changes[8].shift.planting"}
	if !slices.Equal(got, want) {
		t.Errorf("faults at\n%q, want\n%q", got, want)
	}
}

func TestAFarmWithoutBloomOrWeatherIsTold(t *testing.T) {
	t.Parallel()
	in := steadyFarm(t)
	in.Sightings = nil
	if _, _, err := forecast.Design(in, 2018, nil); !errors.Is(err, forecast.ErrNoBloom) {
		t.Errorf("without bloom: %v", err)
	}
	in = steadyFarm(t)
	in.Records[0].Days = in.Records[0].Days.Until(weather.DateOf(2012, time.December, 31))
	if _, _, err := forecast.Design(in, 2018, nil); !errors.Is(err, forecast.ErrTooFewYears) {
		t.Errorf("with four years: %v", err)
	}
}

func TestRangesOfDifferencesAreByYear(t *testing.T) {
	t.Parallel()
	if lo, hi := forecast.RedrawnMeans([]float64{2, 2, 2}); !near(lo, 2, 1e-12) || !near(hi, 2, 1e-12) {
		t.Errorf("equal years: %g to %g", lo, hi)
	}
	// Of two years each mean of two is 0, ½ or 1 with probabilities ¼, ½, ¼.
	if lo, hi := forecast.RedrawnMeans([]float64{0, 1}); lo != 0 || hi != 1 {
		t.Errorf("two years: %g to %g", lo, hi)
	}
	// The mean of 100 years of noughts and ones has an sd of 0.05.
	xs := make([]float64, 100)
	for i := range 50 {
		xs[2*i] = 1
	}
	if lo, hi := forecast.RedrawnMeans(xs); !near(lo, 0.5-1.2816*0.05, 0.015) || !near(hi, 0.5+1.2816*0.05, 0.015) {
		t.Errorf("a hundred years: %g to %g", lo, hi)
	}
	for _, tt := range []struct {
		lo, hi float64
		want   bool
	}{{-1, 1, true}, {0, 1, true}, {-1, 0, true}, {0.1, 1, false}, {-1, -0.1, false}} {
		if got := (forecast.Paired{Lo: tt.lo, Hi: tt.hi}).ByChance(); got != tt.want {
			t.Errorf("from %g to %g: by chance is %t", tt.lo, tt.hi, got)
		}
	}
}

func TestOrderedPlantsBearTheYearAfterTheyArePlanted(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		day  weather.Date
		want int
	}{
		{weather.DateOf(2026, time.November, 26), 2028}, {weather.DateOf(2027, time.February, 1), 2028},
		{weather.DateOf(2027, time.June, 30), 2028}, {weather.DateOf(2027, time.July, 1), 2029},
	} {
		if got := forecast.OrderedSeason(tt.day); got != tt.want {
			t.Errorf("ordered on %s: %d, want %d", tt.day, got, tt.want)
		}
	}
}
