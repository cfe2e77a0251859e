package hindcast_test

import (
	"bytes"
	"context"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// Whatever is dated after a morning must not move what that morning is said to
// have forecast, nor a baseline: the rest of the record is made absurd.
func TestReplayIsBlindToLaterRecords(t *testing.T) {
	t.Parallel()
	in := grown(t, 2008, 2013)
	opt := hindcast.Options{From: 2011, To: 2011, Every: 8}
	clean := replay(t, in, opt)
	grid := map[weather.Date]bool{}
	for _, c := range clean.Cases {
		if c.In(hindcast.AllMornings) {
			grid[c.AsOf] = true
		}
	}
	mornings := 0
	for asOf := range grid {
		mornings++
		poisoned := in
		poisoned.Records = slices.Clone(in.Records)
		days := slices.Clone(in.Records[0].Days.Days())
		for i := range days {
			if days[i].Date >= asOf {
				days[i].Min, days[i].Max = 30, 45
			}
		}
		poisoned.Records[0].Days = series(t, days)
		poisoned.Records[0].Outlooks = []weather.Outlook{{
			IssuedAt: (asOf + 1).Time(), Days: series(t, []weather.Day{{Date: asOf + 1, Min: 40, Max: 50}, {Date: asOf + 2, Min: 40, Max: 50}}),
		}}
		poisoned.Sightings = slices.Clone(in.Sightings)
		for i := range poisoned.Sightings {
			if s := &poisoned.Sightings[i]; s.Date > asOf {
				s.Date += 9 // Later in the season, and wrong in all the years to come.
			}
		}
		got := replay(t, poisoned, opt)
		compared := 0
		for _, c := range clean.Cases {
			if c.AsOf > asOf || !c.In(hindcast.AllMornings) {
				continue
			}
			p := find(t, got, c.Planting, c.Stage, c.AsOf)
			compared++
			if !reflect.DeepEqual(c.Forecast, p.Forecast) {
				t.Errorf("poisoned after %s: the forecast of %s changed", asOf, c.Key)
			}
			for _, b := range hindcast.Baselines() {
				x, wx := c.Versus(b)
				y, wy := p.Versus(b)
				if wx != wy || !reflect.DeepEqual(x, y) {
					t.Errorf("poisoned after %s: %s of %s changed", asOf, b, c.Key)
				}
			}
			if c.AsOf == asOf && (p.Actual != c.Actual+9 || p.Lead != c.Lead+9) {
				t.Errorf("%s: the poison was not taken", c.Key)
			}
		}
		if compared == 0 {
			t.Errorf("nothing was compared as of %s", asOf)
		}
	}
	if mornings < 4 {
		t.Errorf("only %d mornings", mornings)
	}
}

// Every forecast is that of package forecast, and what came is what was
// entered.
func TestCasesAreTheForecastsOfTheirMornings(t *testing.T) {
	t.Parallel()
	in := grown(t, 2009, 2011)
	r := replay(t, in, hindcast.Options{From: 2011, Every: 12})
	o := newOracle(in)
	groups := map[hindcast.Group]int{}
	for i, c := range r.Cases {
		if i > 0 && r.Cases[i-1].Key >= c.Key && r.Cases[i-1].Planting == c.Planting && r.Cases[i-1].Stage == c.Stage {
			t.Errorf("%s is not after %s", c.Key, r.Cases[i-1].Key)
		}
		on := o.on[c.Planting][c.Season]
		if c.Actual != on[c.Stage] || c.Lead != int(c.Actual-c.AsOf) || c.Lead < 1 || c.Season != 2011 || c.InSample {
			t.Errorf("%s: %+v", c.Key, c)
		}
		for g, lead := range map[hindcast.Group]weather.Date{hindcast.Days21: 21, hindcast.Days14: 14, hindcast.Days7: 7, hindcast.Days3: 3} {
			if c.In(g) != (c.Actual-c.AsOf == lead) {
				t.Errorf("%s: in %s: %t", c.Key, g, c.In(g))
			}
		}
		if c.In(hindcast.AtBloom) != (c.AsOf == on[forecast.Bloom10]) {
			t.Errorf("%s: at bloom %t", c.Key, c.In(hindcast.AtBloom))
		}
		some := false
		for _, g := range hindcast.Groups() {
			if c.In(g) {
				groups[g]++
				some = true
			}
		}
		if !some {
			t.Errorf("%s belongs nowhere", c.Key)
		}
		if i%4 > 0 {
			continue
		}
		spreads, err := forecast.Spreads(in, c.AsOf)
		if err != nil {
			t.Fatal(err)
		}
		k := slices.IndexFunc(spreads, func(s forecast.Spread) bool { return s.Planting == c.Planting })
		s := spreads[k].Stages[c.Stage-forecast.FirstRipe]
		if want, err := scoring.FromCounts(s.First, s.Counts); err != nil || !reflect.DeepEqual(c.Forecast, want) {
			t.Errorf("%s is not what was forecast (%v)", c.Key, err)
		}
	}
	// Each of four plantings and three stages has each of the leads; first ripe
	// may be within 21 days of bloom.
	for _, g := range []hindcast.Group{hindcast.AtBloom, hindcast.Days14, hindcast.Days7, hindcast.Days3} {
		if groups[g] != 12 {
			t.Errorf("%s: %d cases, want 12", g, groups[g])
		}
	}
}

// The mornings of all plantings begin with the farm's first bloom and end with
// its last stage.
func TestMorningsOfTheSeason(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	in.Plantings = append(in.Plantings, planting("q", "v")) // Blooms 10 days after p.
	bloom := weather.DateOf(2010, 5, 8)
	in.Sightings = append(in.Sightings, seen("q", forecast.Bloom10, bloom+10), seen("q", forecast.FirstRipe, bloom+40))
	r := replay(t, in, hindcast.Options{From: 2010, Every: 10})
	got := map[string][]int{}
	for _, c := range r.Cases {
		if c.In(hindcast.AllMornings) {
			k := c.Planting + " " + c.Stage.String()
			got[k] = append(got[k], int(c.AsOf-bloom))
		}
	}
	// p: first ripe on day 32, peak 36, last pick 41. q is asked from its own
	// bloom on. Day 40 is its first ripe, so it is no case any more.
	want := map[string][]int{"p first_ripe": {0, 10, 20, 30}, "p peak": {0, 10, 20, 30}, "p last_pick": {0, 10, 20, 30, 40}, "q first_ripe": {10, 20, 30}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	// Before bloom is asked only of those who say so.
	r = replay(t, in, hindcast.Options{From: 2010, Every: 10, BeforeBloom: 10})
	early := 0
	for _, c := range r.Cases {
		if c.Planting == "q" && c.In(hindcast.AllMornings) && c.AsOf < bloom+10 {
			early++
			for _, b := range hindcast.Baselines() {
				if _, why := c.Versus(b); (why == "") != (b == hindcast.MeanDate) || why != "" && why != hindcast.NoBloomYet {
					t.Errorf("%s, %s: %q", c.Key, b, why)
				}
			}
		}
	}
	if early != 2 { // Days -10 and 0.
		t.Errorf("%d cases before bloom, want 2", early)
	}
}

func TestWhatMakesNoCaseIsCounted(t *testing.T) {
	t.Parallel()
	in := north(flat(t, 2001, 13, 13, 13, 13, 13, 13, 13, 13, 13))
	in.Varieties = []forecast.Variety{{ID: "v"}}
	young := planting("young", "v")
	young.PlantedOn = weather.DateOf(2008, 4, 1)
	gone := planting("gone", "v")
	out := weather.DateOf(2008, 3, 1)
	gone.RemovedOn = &out
	odd := planting("odd", "unheard-of")
	for _, p := range []string{"p", "full", "bare", "blank"} {
		in.Plantings = append(in.Plantings, planting(p, "v"))
	}
	in.Plantings = append(in.Plantings, young, gone, odd)
	may := weather.DateOf(2008, 5, 0)
	in.Sightings = []forecast.Sighting{
		seen("p", forecast.Bloom10, weather.DateOf(2007, 5, 8)), seen("p", forecast.FirstRipe, weather.DateOf(2007, 6, 9)), // To learn from.
		// Mornings are on days 10, 20, 30 and 40: the last ripe stage is on 42.
		seen("p", forecast.Bloom10, may+10), seen("p", forecast.FirstRipe, may+40), seen("p", forecast.LastPick, may+42),
		seen("full", forecast.BloomFull, may+18), seen("full", forecast.FirstRipe, may+39),
		seen("bare", forecast.FirstRipe, may+41),
		// Nothing was entered of blank; young does not bear yet, but was seen.
		seen("young", forecast.Bloom10, may+12), seen("young", forecast.Peak, may+41),
		seen("odd", forecast.Bloom10, may+14), seen("odd", forecast.FirstRipe, may+14),
		seen("nobody", forecast.FirstRipe, may+41), seen("nobody", forecast.Peak, may+42),
	}
	r := replay(t, in, hindcast.Options{Every: 10, To: 2008})
	type key struct {
		g   hindcast.Group
		s   forecast.Stage
		why hindcast.Reason
	}
	type count struct{ cases, events int }
	got := map[key]count{}
	for _, x := range r.Excluded {
		got[key{x.Group, x.Stage, x.Reason}] = count{x.Cases, x.Events}
	}
	want := map[key]count{}
	fr, pk, lp := forecast.FirstRipe, forecast.Peak, forecast.LastPick
	// Never entered: first ripe of blank and young; peak of p, full, bare, blank
	// and odd; last pick of full, bare, blank, young and odd. Each of the four
	// mornings would have been asked.
	for s, n := range map[forecast.Stage]int{fr: 2, pk: 5, lp: 5} {
		for _, g := range hindcast.Groups() {
			want[key{g, s, hindcast.NotEntered}] = count{n, n}
		}
		want[key{hindcast.AllMornings, s, hindcast.NotEntered}] = count{4 * n, n}
	}
	// bare has no bloom.
	for _, g := range hindcast.Groups() {
		want[key{g, fr, hindcast.NoBloom}] = count{1, 1}
	}
	want[key{hindcast.AllMornings, fr, hindcast.NoBloom}] = count{4, 1}
	// full is not asked on day 10, nor on days 18 (as 21 days before 39 is day 18,
	// it is asked); odd's first ripe on day 14 was after day 10, 11 and 7, before
	// bloom.
	want[key{hindcast.AllMornings, fr, hindcast.BeforeBloom}] = count{2, 2}
	want[key{hindcast.AllMornings, pk, hindcast.BeforeBloom}] = count{1, 1} // young, day 10.
	for _, g := range []hindcast.Group{hindcast.Days21, hindcast.Days14, hindcast.Days7, hindcast.Days3} {
		want[key{g, fr, hindcast.BeforeBloom}] = count{1, 1} // odd.
	}
	want[key{hindcast.AtBloom, fr, hindcast.NotAfter}] = count{1, 1} // odd.
	// young bears from the year after planting on: at bloom, four leads, and the
	// mornings of days 20, 30 and 40.
	for _, g := range hindcast.Groups() {
		want[key{g, pk, hindcast.NotForecast}] = count{1, 1}
	}
	want[key{hindcast.AllMornings, pk, hindcast.NotForecast}] = count{3, 1}
	for k, n := range want {
		if got[k] != n {
			t.Errorf("%s, %s, %s: %d cases of %d events, want %d of %d", k.g, k.s, k.why, got[k].cases, got[k].events, n.cases, n.events)
		}
	}
	for k, n := range got {
		if _, ok := want[k]; !ok {
			t.Errorf("%s, %s, %s: %d cases of %d events, want none", k.g, k.s, k.why, n.cases, n.events)
		}
	}
	if r.Strangers != 2 {
		t.Errorf("%d sightings of strangers, want 2", r.Strangers)
	}
	// What is left: p, first ripe on days 10, 20, 30 and by lead 19, 26, 33, 37;
	// last pick on 10, 20, 30, 40 and by lead 21, 28, 35, 39. full on 18, 20, 30
	// and by lead 18 (at bloom too), 25, 32, 36.
	if len(r.Cases) != 7+8+6 {
		t.Errorf("%d cases, want 21", len(r.Cases))
	}
	// full's bloom_10 is taken to be six days before its full bloom, for there
	// is no season with both.
	d, _ := find(t, r, "full", forecast.FirstRipe, may+18).Versus(hindcast.BloomRule)
	if !sameAsNormal(t, d, may, 12+30, 5, may+18, 2e-5) {
		t.Errorf("the rule for full puts it on %v", d.Median())
	}
	rows, err := r.Rows()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		n, excluded := 0, 0
		for _, c := range r.Cases {
			if c.In(row.Group) && (row.Stage == hindcast.AllStages || row.Stage == c.Stage) {
				n++
			}
		}
		for k, x := range want {
			if k.g == row.Group && (row.Stage == hindcast.AllStages || row.Stage == k.s) {
				excluded += x.cases
			}
		}
		if row.N != n || row.Excluded != excluded {
			t.Errorf("%s, %s: %d cases and %d excluded, want %d and %d", row.Group, row.Stage, row.N, row.Excluded, n, excluded)
		}
	}
}

// The days from bloom_10 to full bloom are the farm's own where earlier
// seasons tell them.
func TestFullBloomAloneIsReckonedBack(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	for i, s := range in.Sightings {
		switch {
		case s.Stage != forecast.Bloom10:
		case s.Date.Year() == 2010:
			in.Sightings[i].Stage = forecast.BloomFull
		default:
			in.Sightings = append(in.Sightings, seen("p", forecast.BloomFull, s.Date+weather.Date(s.Date.Year()-2005))) // 2, 3 and 4 days.
		}
	}
	r := replay(t, in, hindcast.Options{From: 2010})
	asOf := weather.DateOf(2010, 5, 8)
	d, _ := find(t, r, "p", forecast.FirstRipe, asOf).Versus(hindcast.OwnDays)
	if !sameAsNormal(t, d, asOf, -3+31, 4*math.Sqrt(4.0/3), asOf, 2e-5) {
		t.Errorf("own days from %s give %s", asOf-3, d.Median())
	}
}

func TestTooFewYearsOfWeatherAreCounted(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	in.Records[0].Days = flat(t, 2009, 11, 16)
	r := replay(t, in, hindcast.Options{From: 2010})
	if len(r.Cases) != 0 || len(r.Excluded) == 0 {
		t.Fatalf("%d cases, %v", len(r.Cases), r.Excluded)
	}
	for _, x := range r.Excluded {
		if x.Reason != hindcast.TooFewYears {
			t.Errorf("%+v", x)
		}
	}
	rows, err := r.Rows()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		if row.N != 0 || row.Excluded == 0 || row.PIT != nil || row.MAERange.OK {
			t.Errorf("%+v", row)
		}
	}
}

// Without weather of its own past, what needs weather is not there; the rest
// is.
func TestBaselinesWithoutWeatherSayWhy(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	in.Plantings = append(in.Plantings, planting("q", "v"))
	in.Plantings[0].Station = "new"
	in.Records = append(in.Records, forecast.Record{Station: weather.Station{ID: "new"}, Days: weather.Series{}})
	for y := 2008; y <= 2010; y++ { // q stands at the old station.
		b := weather.DateOf(y, 5, 10)
		in.Sightings = append(in.Sightings, seen("q", forecast.Bloom10, b), seen("q", forecast.FirstRipe, b+30))
	}
	r := replay(t, in, hindcast.Options{From: 2010})
	for _, c := range r.Cases {
		if c.Planting == "p" {
			t.Errorf("%s: forecast without weather", c.Key)
		}
	}
	// Half of each May is missing in 2007 to 2009: no past season is covered.
	in = handFarm(t)
	days := slices.DeleteFunc(slices.Clone(in.Records[0].Days.Days()), func(d weather.Day) bool {
		y, m, day := d.Date.Civil()
		return y >= 2007 && y < 2010 && m == 5 && day > 15
	})
	in.Records[0].Days = series(t, days)
	r = replay(t, in, hindcast.Options{From: 2010})
	c := find(t, r, "p", forecast.FirstRipe, weather.DateOf(2010, 5, 8))
	for b, want := range map[hindcast.Baseline]hindcast.Reason{hindcast.MeanDate: "", hindcast.BloomRule: "", hindcast.OwnDays: "", hindcast.UsualHeat: hindcast.NoWeather, hindcast.MeanTemperature: hindcast.NoWeather} {
		if _, why := c.Versus(b); why != want {
			t.Errorf("%s: %q, want %q", b, why, want)
		}
	}
}

func TestHeatThatIsNotReached(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	in.Sightings = slices.DeleteFunc(in.Sightings, func(s forecast.Sighting) bool { return s.Date.Year() == 2007 || s.Date.Year() == 2009 })
	// A last pick so late in the warm 2008, 222 days after bloom at 12 °C·d, that
	// the usual year does not get there: it has 237 days at about 10.
	for i := range in.Sightings {
		if s := &in.Sightings[i]; s.Date.Year() == 2008 && s.Stage == forecast.LastPick {
			s.Date = weather.DateOf(2008, 12, 20)
		}
	}
	r := replay(t, in, hindcast.Options{From: 2010})
	found := false
	for _, c := range r.Cases {
		if c.Stage == forecast.LastPick && c.In(hindcast.AtBloom) {
			found = true
			if _, why := c.Versus(hindcast.UsualHeat); why != hindcast.NotReached {
				t.Errorf("%s: %q", c.Key, why)
			}
		}
	}
	if !found {
		t.Error("no case")
	}
}

func TestSeasonsThatAreReplayed(t *testing.T) {
	t.Parallel()
	whole := handFarm(t)
	begun := handFarm(t)
	begun.Sightings = slices.DeleteFunc(begun.Sightings, func(s forecast.Sighting) bool {
		return s.Date > weather.DateOf(2010, 6, 10)
	})
	type skipped = []hindcast.Skipped
	for _, tt := range []struct {
		name    string
		in      forecast.Inputs
		opt     hindcast.Options
		seasons []int
		skipped skipped
	}{
		{"all with an earlier one", whole, hindcast.Options{}, []int{2008, 2009, 2010}, skipped{{2007, hindcast.NothingEarlier}}},
		{"with two earlier ones", whole, hindcast.Options{Learn: 2}, []int{2009, 2010}, skipped{{2007, hindcast.NothingEarlier}, {2008, hindcast.TooFewEarlier}}},
		{"from the very first, when asked for", whole, hindcast.Options{From: 2007, To: 2008}, []int{2007, 2008}, nil},
		{"from the first, with one earlier", whole, hindcast.Options{From: 2007, Learn: 1, To: 2008}, []int{2008}, skipped{{2007, hindcast.TooFewEarlier}}},
		{"the last is unfinished", begun, hindcast.Options{From: 2009}, []int{2009}, skipped{{2010, hindcast.Unfinished}}},
		{"the last is unfinished and asked for", begun, hindcast.Options{From: 2009, To: 2010}, []int{2009, 2010}, nil},
		{"none", whole, hindcast.Options{From: 2011}, nil, nil},
		{"no sightings", north(whole.Records[0].Days), hindcast.Options{}, nil, nil},
		{"nothing at all", forecast.Inputs{}, hindcast.Options{}, nil, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := replay(t, tt.in, tt.opt)
			if !slices.Equal(r.Seasons, tt.seasons) || !slices.Equal(r.Skipped, tt.skipped) {
				t.Errorf("seasons %v, skipped %v; want %v, %v", r.Seasons, r.Skipped, tt.seasons, tt.skipped)
			}
			for _, c := range r.Cases {
				if !slices.Contains(tt.seasons, c.Season) {
					t.Errorf("%s is of no season that was replayed", c.Key)
				}
			}
			if r.Every != hindcast.DefaultEvery || r.Mornings > 0 != (len(tt.seasons) > 0) {
				t.Errorf("every %d days, %d mornings", r.Every, r.Mornings)
			}
		})
	}
}

func TestForeknown(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	if k := replay(t, in, hindcast.Options{From: 2010}).Foreknown; k.Method || k.Requirements != nil {
		t.Errorf("of nothing: %+v", k)
	}
	in.Varieties[0].Requirement = &forecast.Requirement{FirstRipe: 300, Peak: 340, LastPick: 400, Method: forecast.DefaultMethod}
	in.Choice = &forecast.MethodChoice{Method: forecast.DefaultMethod, By: "x", At: time.Date(2010, 5, 9, 1, 0, 0, 0, time.UTC)}
	k := replay(t, in, hindcast.Options{From: 2010}).Foreknown
	if !k.Method || !slices.Equal(k.Requirements, []string{"v"}) {
		t.Errorf("of a method chosen the day after the first morning: %+v", k)
	}
	in.Choice.At = time.Date(2010, 5, 8, 23, 0, 0, 0, time.UTC)
	if replay(t, in, hindcast.Options{From: 2010}).Foreknown.Method {
		t.Error("of a method chosen on the first morning")
	}
}

func TestReplayIsTheSameEveryTime(t *testing.T) {
	t.Parallel()
	in := grown(t, 2010, 2012)
	opt := hindcast.Options{Every: 7}
	a := replay(t, in, opt)
	before := slices.Clone(in.Plantings)
	slices.Reverse(in.Plantings) // Their order is nobody's business.
	b := replay(t, in, opt)
	slices.Reverse(in.Plantings)
	if !reflect.DeepEqual(in.Plantings, before) {
		t.Error("the inputs were changed")
	}
	if !reflect.DeepEqual(a, b) {
		t.Error("two results differ")
	}
	var x, y bytes.Buffer
	if err := errors.Join(a.WriteCSV(&x), b.WriteCSV(&y)); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(x.Bytes(), y.Bytes()) || x.Len() == 0 {
		t.Error("two files differ")
	}
	ra, err := a.Rows()
	if err != nil {
		t.Fatal(err)
	}
	rb, err := b.Rows()
	if err != nil || !reflect.DeepEqual(ra, rb) {
		t.Errorf("two tables differ (%v)", err)
	}
}

func TestReplayTellsProgressAndStops(t *testing.T) {
	t.Parallel()
	in := handFarm(t)
	var told []int
	r := replay(t, in, hindcast.Options{Progress: func(done, total int) {
		if done != len(told)+1 || total < done {
			t.Errorf("%d of %d after %d", done, total, len(told))
		}
		told = append(told, total)
	}})
	if len(told) != r.Mornings || told[0] != r.Mornings {
		t.Errorf("told %d times of %d mornings", len(told), r.Mornings)
	}
	ctx, stop := context.WithCancel(t.Context())
	n := 0
	_, err := hindcast.Replay(ctx, in, hindcast.Options{Progress: func(int, int) { n++; stop() }})
	if !errors.Is(err, context.Canceled) || n >= r.Mornings {
		t.Errorf("stopped after %d mornings with %v", n, err)
	}
}

func TestOptionsThatCannotBe(t *testing.T) {
	t.Parallel()
	for _, o := range []hindcast.Options{
		{From: -1}, {To: -1}, {From: 2010, To: 2009}, {Learn: -1}, {Every: -1}, {Every: 366}, {BeforeBloom: -1}, {BeforeBloom: 366},
	} {
		_, err := hindcast.Replay(t.Context(), forecast.Inputs{}, o)
		if !errors.Is(err, hindcast.ErrInvalidOptions) || !strings.HasPrefix(err.Error(), "hindcast: invalid options: ") {
			t.Errorf("%+v: %v", o, err)
		}
	}
	for _, o := range []hindcast.Options{{}, {From: 2010, To: 2010, Learn: 30, Every: 365, BeforeBloom: 365}} {
		if err := o.Validate(); err != nil {
			t.Errorf("%+v: %v", o, err)
		}
	}
}
