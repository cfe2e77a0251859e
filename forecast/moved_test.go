package forecast_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

// evenFarm is a farm that can be worked out by hand: every day of every year
// brings 10 °C·d, nothing is on record but bloom, on 10 May 2025, of the
// plantings p and q of one mid variety, which takes about 345 °C·d.
func evenFarm(t *testing.T) (in forecast.Inputs, bloom weather.Date) {
	t.Helper()
	bloom = weather.DateOf(2025, time.May, 10)
	in = forecast.Inputs{
		Farm:      forecast.Farm{ID: "even", Name: "Even", Latitude: 48, Longitude: 8, TimeZone: "Europe/Berlin", Units: forecast.Metric, GapProbability: 0.5},
		Records:   []forecast.Record{{Station: weather.Station{ID: "s"}, Days: evenDays(t, 13)}},
		Varieties: []forecast.Variety{{ID: "v", Name: "V", Ripens: forecast.Mid}},
	}
	for _, id := range []string{"p", "q"} {
		in.Plantings = append(in.Plantings, forecast.Planting{
			ID: id, Variety: "v", Block: id, Station: "s", PlantedOn: weather.DateOf(2020, time.April, 1), AreaM2: 100, KgPerM2: 1,
		})
		in.Sightings = append(in.Sightings, forecast.Sighting{Planting: id, Date: bloom, Stage: forecast.Bloom10, Seen: true})
	}
	return in, bloom
}

// evenDays are days of one temperature; the days from one date to another have
// other ones.
func evenDays(t *testing.T, c float64, change ...weather.Day) weather.Series {
	t.Helper()
	var days []weather.Day
	for d := weather.DateOf(2012, time.January, 1); d <= weather.DateOf(2025, time.December, 31); d++ {
		days = append(days, flat(d, c))
	}
	for _, x := range change {
		days[x.Date-days[0].Date] = x
	}
	return series(t, days)
}

func movedOf(t *testing.T, in forecast.Inputs, asOf weather.Date, was forecast.Earlier) map[string]*forecast.Moved {
	t.Helper()
	f, err := forecast.ComputeSince(in, asOf, was)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]*forecast.Moved{}
	for _, p := range f.Plantings {
		out[p.Planting] = p.Moved
	}
	return out
}

func saw(planting string, s forecast.Stage, d weather.Date, seen bool) forecast.Sighting {
	return forecast.Sighting{Planting: planting, Stage: s, Date: d, Seen: seen}
}

// Each case changes one thing; the farm is worked out by hand.
func TestMovedNamesWhatWasChanged(t *testing.T) {
	t.Parallel()
	base, bloom := evenFarm(t)
	with := func(set func(*forecast.Inputs)) forecast.Inputs {
		in := base
		in.Sightings, in.Varieties, in.Records = slices.Clone(base.Sightings), slices.Clone(base.Varieties), slices.Clone(base.Records)
		set(&in)
		return in
	}
	needs := func(first, peak, last float64) forecast.Inputs {
		return with(func(in *forecast.Inputs) {
			in.Varieties[0].Requirement = &forecast.Requirement{FirstRipe: first, Peak: peak, LastPick: last, Method: forecast.DefaultMethod}
		})
	}
	var week []weather.Day // Days five to eleven after bloom bring 17 °C·d each.
	for d := bloom + 5; d <= bloom+11; d++ {
		week = append(week, flat(d, 20))
	}
	for _, tt := range []struct {
		name       string
		was, in    forecast.Inputs
		then, asOf int     // Days after bloom.
		least      float64 // Days that first ripe of p moves, from least to most.
		most       float64
		cause      forecast.MoveCause // "": nothing moved.
	}{
		// 49 °C·d more are 4.9 days of 10 °C·d less.
		{
			"a week of 7 °C·d a day more than usual", base,
			with(func(in *forecast.Inputs) { in.Records[0].Days = evenDays(t, 13, week...) }), 5, 12, -5, -4.8, forecast.CauseWeather,
		},
		{"a week as warm as every week", base, base, 5, 12, 0, 0, ""},
		// A day that both mornings know is corrected by 5 °C·d.
		{
			"a correction of a day long past", base,
			with(func(in *forecast.Inputs) { in.Records[0].Days = evenDays(t, 13, flat(bloom+2, 18)) }), 5, 6, -0.6, -0.4, forecast.CauseWeather,
		},
		// 290 °C·d, 55 less than believed: 5.5 days, of which p is taught most, for
		// it is of the same variety.
		{
			"the other planting is ripe early", base,
			with(func(in *forecast.Inputs) {
				in.Sightings = append(in.Sightings, saw("q", forecast.FirstRipe, bloom+29, true))
			}), 29, 29, -6, -4, forecast.CauseSightings,
		},
		{
			"a look in vain", base,
			with(func(in *forecast.Inputs) {
				in.Sightings = append(in.Sightings, saw("p", forecast.FirstRipe, bloom+33, false))
			}), 33, 33, 0.5, 4, forecast.CauseSightings,
		},
		// The flowers that opened on the four days before the third after bloom are
		// 11 % of the crop; without them first ripe takes 25.3 °C·d more.
		{
			"a frost entered late", base,
			with(func(in *forecast.Inputs) {
				in.Frosts = []forecast.Frost{{Planting: "p", Date: bloom + 3, ShareLost: 1}}
			}), 5, 6, 2.4, 2.7, forecast.CauseFrosts,
		},
		{
			"a frost before bloom", base,
			with(func(in *forecast.Inputs) {
				in.Frosts = []forecast.Frost{{Planting: "p", Date: bloom, ShareLost: 1}}
			}), 5, 6, 0, 0, "",
		},
		{
			"a frost on another planting", base,
			with(func(in *forecast.Inputs) {
				in.Frosts = []forecast.Frost{{Planting: "q", Date: bloom + 3, ShareLost: 1}}
			}), 5, 6, 0, 0, "",
		},
		{"three days on which nothing is entered", base, base, 33, 36, 0.5, 3, forecast.CauseSilence},
		// 35 °C·d more are 3.5 days.
		{"a requirement of 35 °C·d more", needs(345, 405, 495), needs(380, 440, 530), 5, 6, 3.4, 3.6, forecast.CauseConstants},
		// Above a base of 8 °C a day has half the heat, and the requirement falls
		// by 5 °C for 31.5 days: 187.5 in 5 °C·d a day are 37.5 days, 3 more.
		{
			"another base", base,
			with(func(in *forecast.Inputs) {
				in.Choice = &forecast.MethodChoice{Method: forecast.Method{Kind: forecast.SingleSine, Base: 8, Upper: 30, Cutoff: forecast.Horizontal}}
			}), 5, 6, 2.8, 3.4, forecast.CauseConstants,
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			then := bloom + weather.Date(tt.then)
			m := movedOf(t, tt.in, bloom+weather.Date(tt.asOf), forecast.Earlier{Forecast: "before", AsOf: then, Inputs: tt.was})["p"]
			if m == nil || m.Stage != "first_ripe" || m.Since != then || m.Forecast != "before" || !(tt.least <= m.Days && m.Days <= tt.most) {
				t.Fatalf("moved is %+v, want first ripe by %v to %v since %s", m, tt.least, tt.most, then)
			}
			want := []forecast.Cause{}
			if tt.cause != "" {
				want = append(want, forecast.Cause{Cause: tt.cause, Days: m.Days})
			}
			if diff := cmp.Diff(want, m.Because); diff != "" {
				t.Errorf("causes (-want +got):\n%s", diff)
			}
		})
	}
}

// An exchange of outlooks leaves days as they are, and the other way round;
// stations that are new come with their days.
func TestDaysAndOutlooksAreExchangedApart(t *testing.T) {
	t.Parallel()
	record := func(id string, c float64, outlooks int) forecast.Record {
		return forecast.Record{
			Station: weather.Station{ID: id, Elevation: c}, Days: series(t, []weather.Day{flat(1, c)}),
			Outlooks: make([]weather.Outlook, outlooks),
		}
	}
	old := []forecast.Record{record("a", 1, 1), record("b", 2, 2)}
	now := []forecast.Record{record("c", 30, 3), record("b", 20, 5), record("a", 10, 4)}
	tell := func(rs []forecast.Record) (out []string) {
		for _, r := range rs {
			out = append(out, fmt.Sprintf("%s %g m, %g °C, %d", r.Station.ID, r.Station.Elevation, r.Days.Days()[0].Min, len(r.Outlooks)))
		}
		return out
	}
	days, outlooks := forecast.Exchanged(old, now)
	if diff := cmp.Diff([]string{"a 1 m, 10 °C, 1", "b 2 m, 20 °C, 2", "c 30 m, 30 °C, 0"}, tell(days)); diff != "" {
		t.Errorf("days:\n%s", diff)
	}
	if diff := cmp.Diff([]string{"a 1 m, 10 °C, 4", "b 2 m, 20 °C, 5", "c 30 m, 30 °C, 3"}, tell(outlooks)); diff != "" {
		t.Errorf("outlooks:\n%s", diff)
	}
	if diff := cmp.Diff([]string{"a 1 m, 1 °C, 1", "b 2 m, 2 °C, 2"}, tell(old)); diff != "" {
		t.Errorf("the earlier records changed:\n%s", diff)
	}
}

func TestMovedIsOfTheNextStage(t *testing.T) {
	t.Parallel()
	base, bloom := evenFarm(t)
	withdrawn := base
	withdrawn.Sightings = append(slices.Clone(base.Sightings), saw("p", forecast.FirstRipe, bloom+33, true))
	peaked := base
	peaked.Sightings = append(slices.Clone(base.Sightings), saw("p", forecast.Peak, bloom+35, true))
	over := base
	over.Sightings = append(slices.Clone(base.Sightings), saw("p", forecast.LastPick, bloom+35, true))
	for _, tt := range []struct {
		name    string
		was, in forecast.Inputs
		want    string // "": null.
	}{
		{"nothing seen", base, base, "first_ripe"},
		{"first ripe seen since", base, withdrawn, "peak"},
		{"first ripe withdrawn since", withdrawn, base, "peak"},
		{"the peak seen and first ripe never entered", base, peaked, "last_pick"},
		{"over", base, over, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			m := movedOf(t, tt.in, bloom+36, forecast.Earlier{AsOf: bloom + 34, Inputs: tt.was})["p"]
			switch {
			case m == nil && tt.want != "":
				t.Errorf("null, want %s", tt.want)
			case m != nil && m.Stage != tt.want:
				t.Errorf("of %s, want %q", m.Stage, tt.want)
			}
		})
	}
}

// The whole agrees with the mean dates of the two forecasts, and the parts with
// it, whatever was changed.
func TestCausesAddUp(t *testing.T) {
	t.Parallel()
	unwatched(t)
	base, asOf := demo(t)
	base.Frosts = frostsAfterBloom(base, [][2]float64{{3, 0.9}})
	r := rand.New(rand.NewPCG(3, 1))
	moves, causes := 0, map[forecast.MoveCause]int{}
	for range 6 {
		was, then := base, asOf-weather.Date(r.IntN(9))
		was.Records = slices.Clone(base.Records)
		if r.IntN(2) == 0 {
			days := slices.Clone(base.Records[0].Days.Days())
			for i := range days {
				if d := &days[i]; d.Date > asOf-20 && d.Max < 50 {
					d.Max += 3 * r.Float64()
				}
			}
			was.Records[0].Days = series(t, days)
		}
		was.Sightings = slices.DeleteFunc(slices.Clone(base.Sightings), func(s forecast.Sighting) bool {
			return s.Stage >= forecast.FirstRipe && r.IntN(4) == 0
		})
		was.Varieties = slices.Clone(base.Varieties)
		for i := range was.Varieties {
			if r.IntN(3) == 0 {
				was.Varieties[i].Ripens = forecast.Class(r.IntN(6))
			}
		}
		was.Frosts = slices.DeleteFunc(slices.Clone(base.Frosts), func(forecast.Frost) bool { return r.IntN(2) == 0 })
		if r.IntN(2) == 0 {
			was.Choice = &forecast.MethodChoice{Method: forecast.Method{Kind: forecast.Average, Base: 5, Cutoff: forecast.NoCutoff}}
		}
		earlier := forecast.Earlier{Forecast: "x", AsOf: then, Inputs: was}
		steps, err := forecast.MeanDates(base, asOf, earlier)
		if err != nil {
			t.Fatal(err)
		}
		for p, m := range movedOf(t, base, asOf, earlier) {
			if m == nil {
				continue
			}
			moves++
			s := stageIndex(t, m.Stage)
			whole := meanDate(t, base, asOf, p, s) - meanDate(t, was, then, p, s)
			if !near(m.Days, whole, 0.05+1e-9) {
				t.Errorf("%s: %v days, mean dates say %v", p, m.Days, whole)
			}
			sum, last := 0, -1
			order := []forecast.MoveCause{forecast.CauseWeather, forecast.CauseOutlook, forecast.CauseSightings, forecast.CauseFrosts, forecast.CauseSilence, forecast.CauseConstants}
			for _, c := range m.Because {
				causes[c.Cause]++
				sum += int(math.Round(10 * c.Days))
				k := slices.Index(order, c.Cause)
				if k <= last || c.Days == 0 {
					t.Errorf("%s: causes %v are out of order, or nothing", p, m.Because)
				}
				if want := steps[k+1][p][s] - steps[k][p][s]; !near(c.Days, want, 0.1) {
					t.Errorf("%s: %v days by %s, mean dates say %v", p, c.Days, c.Cause, want)
				}
				last = k
			}
			if float64(sum)/10 != m.Days {
				t.Errorf("%s: parts %v add up to %v, the whole is %v", p, m.Because, float64(sum)/10, m.Days)
			}
		}
	}
	if moves < 40 || causes[forecast.CauseWeather] == 0 || causes[forecast.CauseSightings] == 0 || causes[forecast.CauseFrosts] == 0 || causes[forecast.CauseConstants] == 0 {
		t.Errorf("%d moves by %v: the cases do not try all", moves, causes)
	}
}

func stageIndex(t *testing.T, name string) int {
	t.Helper()
	s, err := forecast.ParseStage(name)
	if err != nil {
		t.Fatal(err)
	}
	return int(s - forecast.FirstRipe)
}

func meanDate(t *testing.T, in forecast.Inputs, asOf weather.Date, planting string, stage int) float64 {
	t.Helper()
	all, err := forecast.Spreads(in, asOf)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range all {
		if s.Planting == planting {
			return s.Stages[stage].Mean()
		}
	}
	t.Fatalf("%s has no spread", planting)
	return 0
}

func TestTenthsAddUpAndAreOffByLessThanOne(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		parts  []float64
		tenths []int
		sum    int
	}{
		{[]float64{0.25, 0.25, 0.25, 0.25}, []int{3, 3, 2, 2}, 10}, // Of equals the first.
		{[]float64{0.04, 0.04, 0.04, 0}, []int{1, 0, 0, 0}, 1},
		{[]float64{-0.04, -0.04, -0.04, 0}, []int{0, 0, -1, 0}, -1},
		{[]float64{1.26, 0, -0.13, 0}, []int{12, 0, -1, 0}, 11},
		{[]float64{0, 0, 0, 0}, []int{0, 0, 0, 0}, 0},
		{[]float64{-4.9, 0, 0, 0}, []int{-49, 0, 0, 0}, -49},
	} {
		tenths, sum := forecast.Apportion(tt.parts)
		if !slices.Equal(tenths, tt.tenths) || sum != tt.sum {
			t.Errorf("%v: %v, %d, want %v, %d", tt.parts, tenths, sum, tt.tenths, tt.sum)
		}
	}
	r := rand.New(rand.NewPCG(1, 1))
	for range 20000 {
		parts := make([]float64, 4)
		total := 0.0
		for i := range parts {
			switch r.IntN(3) {
			case 0:
				parts[i] = math.Round(r.NormFloat64()*50) / 20 // Halves of a tenth.
			case 1:
				parts[i] = r.NormFloat64()
			}
			total += parts[i]
		}
		tenths, sum := forecast.Apportion(parts)
		got := 0
		for i, n := range tenths {
			got += n
			if !(math.Abs(float64(n)-10*parts[i]) < 1) || parts[i] == 0 && n != 0 {
				t.Fatalf("%v: %v", parts, tenths)
			}
		}
		if got != sum || sum != int(math.Round(10*total)) {
			t.Fatalf("%v: %v add up to %d, want %d", parts, tenths, got, sum)
		}
	}
}

func TestIdenticalInputsMoveNothing(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	for p, m := range movedOf(t, in, asOf, forecast.Earlier{Forecast: "same", AsOf: asOf, Inputs: in}) {
		want := &forecast.Moved{Stage: m.Stage, Since: asOf, Forecast: "same", Because: []forecast.Cause{}}
		if diff := cmp.Diff(want, m); diff != "" {
			t.Errorf("%s:\n%s", p, diff)
		}
	}
}

// The forecast itself is the same with and without a comparison, twice the same
// bytes, and blind to what either morning cannot know though it is on record.
func TestMovedIsRepeatableAndBlindToLaterRecords(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	then := asOf - 4
	since := func(in, was forecast.Inputs) *forecast.Forecast {
		f, err := forecast.ComputeSince(in, asOf, forecast.Earlier{Forecast: "x", AsOf: then, Inputs: was})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	f := since(in, in)
	want := encode(t, f)
	if got := encode(t, since(in, in)); !bytes.Equal(got, want) {
		t.Error("two runs differ")
	}
	moves := 0
	for i := range f.Plantings {
		if m := f.Plantings[i].Moved; m != nil && m.Days != 0 {
			moves++
		}
		f.Plantings[i].Moved = nil
	}
	if moves < 5 {
		t.Errorf("%d plantings moved in four days", moves)
	}
	if !bytes.Equal(encode(t, f), encode(t, compute(t, in, asOf))) {
		t.Error("a comparison changes the forecast itself")
	}
	poisoned := func(from weather.Date) forecast.Inputs {
		out := in
		var days []weather.Day
		for _, d := range in.Records[0].Days.Days() {
			if d.Date >= from {
				d.Min, d.Max = 55, 60
			}
			days = append(days, d)
		}
		out.Records = []forecast.Record{{Station: in.Records[0].Station, Days: series(t, days)}}
		out.Sightings = slices.Clone(in.Sightings)
		for _, p := range in.Plantings {
			out.Sightings = append(out.Sightings, saw(p.ID, forecast.FirstRipe, from+1, true), saw(p.ID, forecast.LastPick, from+2, false))
		}
		return out
	}
	if got := encode(t, since(in, poisoned(then))); !bytes.Equal(got, want) {
		t.Error("what the earlier morning could not know came in through it")
	}
	if got := encode(t, since(poisoned(asOf), in)); !bytes.Equal(got, want) {
		t.Error("what this morning cannot know came in")
	}
	if got := encode(t, since(in, poisoned(then-1))); bytes.Equal(got, want) {
		t.Error("the test cannot fail: what the earlier morning did know does not matter")
	}
}

func TestMovedIsNullWhenItCannotBeSaid(t *testing.T) {
	t.Parallel()
	base, bloom := evenFarm(t)
	asOf := bloom + 10
	short := base
	short.Records = []forecast.Record{{Station: base.Records[0].Station, Days: series(t, base.Records[0].Days.Between(weather.DateOf(2023, time.January, 1), asOf))}}
	fresh := base
	fresh.Plantings = base.Plantings[:1]
	// p now stands by another station; by its own, whose record was corrected
	// since, it would freeze.
	cold := base
	cold.Records = []forecast.Record{
		{Station: weather.Station{ID: "s"}, Days: evenDays(t, 2)},
		{Station: weather.Station{ID: "valley"}, Days: evenDays(t, 13)},
	}
	cold.Plantings = slices.Clone(base.Plantings)
	for i := range cold.Plantings {
		cold.Plantings[i].Station = "valley"
	}
	for _, tt := range []struct {
		name     string
		was, in  forecast.Inputs
		p, q     bool   // Whether they have moved.
		planting string // Of the note; "-": no note.
	}{
		{"both had dates", base, base, true, true, "-"},
		{"too few years then", short, base, false, false, ""},
		{"one is new", fresh, base, true, false, "-"},
		{"one is gone", base, fresh, true, false, "-"},
		{"none has dates with only some of what changed", base, cold, false, false, "p"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f, err := forecast.ComputeSince(tt.in, asOf, forecast.Earlier{AsOf: asOf - 2, Inputs: tt.was})
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]bool{}
			for _, p := range f.Plantings {
				got[p.Planting] = p.Moved != nil
				if p.Stages == nil {
					t.Errorf("%s has no dates", p.Planting)
				}
			}
			if got["p"] != tt.p || got["q"] != tt.q {
				t.Errorf("moved is there: %v, want p %t, q %t", got, tt.p, tt.q)
			}
			if tt.planting != "-" && !noted(f, forecast.NoteMoved, tt.planting) || tt.planting == "-" && slices.ContainsFunc(f.Notes, func(n forecast.Note) bool { return n.Kind == forecast.NoteMoved }) {
				t.Errorf("notes: %v", f.Notes)
			}
		})
	}
}

// A day that a test doubts and a person vouches for is used by every forecast
// that the causes are worked out from, so that it moves nothing by itself.
func TestAJudgedDayMovesNothing(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	odd := asOf - 6
	days := slices.Clone(in.Records[0].Days.Days())
	i := slices.IndexFunc(days, func(d weather.Day) bool { return d.Date == odd })
	days[i].Max += 15 // A hot day in the middle of cool ones.
	in.Records = slices.Clone(in.Records)
	in.Records[0].Days = series(t, days)
	doubted := in.Records[0].Sift(asOf - 1)
	if !slices.Contains(doubted.LeftOut, odd) {
		t.Fatalf("%s is not doubted: the test sees nothing", odd)
	}
	in.Records[0].Verdicts = []weather.Verdict{{Date: odd, Use: true, By: "Ann"}}
	before := in
	before.Farm.Name = "Before it was renamed" // So that not all inputs are alike, which would need no working out.
	for planting, m := range movedOf(t, in, asOf, forecast.Earlier{Forecast: "before", AsOf: asOf, Inputs: before}) {
		if m != nil && (m.Days != 0 || len(m.Because) > 0) {
			t.Errorf("%s moved by %v days for %v, and nothing has changed", planting, m.Days, m.Because)
		}
	}
}
