package forecast_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"ripetide/forecast"
	"ripetide/weather"
)

// The closed form against the sum of an eighth of a degree-day at a time, which
// shares the whole curve with it but nothing of what frosts do to it.
func TestFrostedCropIsWhatIsLeftPieceByPiece(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 21))
	for i := range 300 {
		width := 60 + 200*r.Float64()
		first := 250 + 200*r.Float64()
		need := [3]float64{first, first + width*(0.2+0.5*r.Float64()), first + width}
		var ns []forecast.KilledNight
		for range 1 + r.IntN(4) {
			from := width * (1.6*r.Float64() - 0.4)
			ns = append(ns, forecast.KilledNight{From: from, To: from + 60*r.Float64(), Lost: 1 - 0.9*r.Float64()*float64(r.IntN(2))})
		}
		got, left := forecast.FrostedStages(need, ns)
		want, wantLeft, ripeBy := thinOut(need, ns)
		if wantLeft < 0.01 { // Of hardly anything the stages mean nothing.
			want = need
		}
		if !near(left, wantLeft, 1e-5) {
			t.Errorf("case %d: %v of the crop is left, want %v", i, left, wantLeft)
		}
		for s := range got {
			if !near(got[s], want[s], 0.02) {
				t.Errorf("case %d: %v after %v, want %v (%v)", i, got, ns, want, need)
				break
			}
		}
		var hs []float64
		for h := need[0] - width; h < need[2]+width; h += 7.3 {
			hs = append(hs, h)
		}
		for k, x := range forecast.FrostedShares(need, ns, hs) {
			if !near(x*left, ripeBy(hs[k]), 2e-5) {
				t.Errorf("case %d: %v of what is left is ripe at %v, want %v", i, x, hs[k], ripeBy(hs[k])/wantLeft)
			}
		}
	}
}

// The density of a normal distribution with its mode at 400 and an sd of 40
// °C·d, 5 % at 400-65.79 = 334.21; first ripe, and with it how long a flower
// takes, is there. What is left was worked out from a table of the normal
// distribution.
func TestFrostTakesItsSliceOfTheCrop(t *testing.T) {
	t.Parallel()
	const sd, fruit = 40, 334.2059
	need := [3]float64{fruit, 400, 465.7941}
	// In sd from the mode, on the day the berries would have ripened.
	slice := func(from, to, lost float64) forecast.KilledNight {
		return forecast.KilledNight{From: 400 + from*sd - fruit, To: 400 + to*sd - fruit, Lost: lost}
	}
	for _, tt := range []struct {
		name  string
		ns    []forecast.KilledNight
		left  float64
		after [3]float64
	}{
		{"none", nil, 1, need},
		// 15.9 % are lost; 5 % of the rest is ripe at 20.1 % of the whole.
		{"the first flowers, all of them", []forecast.KilledNight{slice(-9, -1, 1)}, 0.84134, [3]float64{366.438, 400, 469.087}},
		// 34.1 % before the mode are lost, so 5 % of the rest is 3.3 % of the whole
		// and comes earlier; 95 % comes later by as much.
		{"the sd before the height, all of them", []forecast.KilledNight{slice(-1, 0, 1)}, 0.65866, [3]float64{326.426, 400, 473.574}},
		{"half of them", []forecast.KilledNight{slice(-1, 0, 0.5)}, 0.82933, [3]float64{330.643, 400, 469.357}},
		{"half of them on two nights", []forecast.KilledNight{slice(-1, 0, 0.5), slice(-1, 0, 0.5)}, 0.74399, [3]float64{328.634, 400, 471.366}},
		// A quarter is left of what was open on both nights, and the densest heat is
		// the end of the later slice: exp(-1/8) of the mode against 0.25 and 0.61.
		{"half of them on two nights that overlap", []forecast.KilledNight{slice(-1, 0, 0.5), slice(-0.5, 0.5, 0.5)}, 0.68573, [3]float64{327.151, 420, 472.849}},
		{"the last flowers, all of them", []forecast.KilledNight{slice(1, 9, 1)}, 0.84134, [3]float64{330.913, 400, 433.562}},
		{"a night long after the last flower", []forecast.KilledNight{slice(9, 10, 1)}, 1, need},
		{"a crop of which hardly anything is left", []forecast.KilledNight{slice(-9, 2.5, 1)}, 0.00621, need},
	} {
		after, left := forecast.FrostedStages(need, tt.ns)
		if !near(left, tt.left, 1e-4) {
			t.Errorf("%s: %v is left, want %v", tt.name, left, tt.left)
		}
		for s := range after {
			if !near(after[s], tt.after[s], 0.02) {
				t.Errorf("%s: stages at %v, want %v", tt.name, after, tt.after)
				break
			}
		}
	}
}

// On a clock of 10 °C·d a day.
func TestFlowersAreOpenOnTheFourDaysBeforeTheMorning(t *testing.T) {
	t.Parallel()
	_, bloom := evenFarm(t)
	h := forecast.NewHeat(forecast.DefaultMethod, evenDays(t, 13).Between(bloom-100, bloom+100))
	for _, tt := range []struct {
		after int // Days from bloom to the morning.
		want  []forecast.KilledNight
	}{
		{-1, nil},
		{0, nil}, // The night before the first flowers.
		{1, []forecast.KilledNight{{From: -40, To: 0, Lost: 0.5}}},
		{3, []forecast.KilledNight{{From: -20, To: 20, Lost: 0.5}}},
		{9, []forecast.KilledNight{{From: 40, To: 80, Lost: 0.5}}},
		{101, []forecast.KilledNight{{From: 960, To: 1000, Lost: 0.5}}},
		{102, nil}, // Beyond the season.
	} {
		got := forecast.Nights([]forecast.Frost{{Date: bloom + weather.Date(tt.after), ShareLost: 0.5}}, h, bloom)
		if diff := cmp.Diff(tt.want, got, cmpopts.EquateApprox(0, 1e-9)); diff != "" {
			t.Errorf("%d days after bloom:\n%s", tt.after, diff)
		}
	}
}

// frosted is the even farm with frosts on p so many days after bloom, each with
// the share lost.
func frosted(in forecast.Inputs, bloom weather.Date, at ...[2]float64) forecast.Inputs {
	in.Frosts = slices.Clone(in.Frosts)
	for _, x := range at {
		in.Frosts = append(in.Frosts, forecast.Frost{Planting: "p", Date: bloom + weather.Date(x[0]), ShareLost: x[1]})
	}
	return in
}

// The plantings of the even farm take 345, 405 and 495 °C·d, 10 a day; both are
// drawn from one belief, so q is what p would be without frost. Shares and heats
// by summing the curve of that belief in steps of a hundredth. Members with a
// shorter window lose more, and the densest heat jumps over what is cut off, so
// they agree with it roughly; TestForecastIsWhatItsMembersSay is exact.
func TestFrostMovesStagesAndTakesCrop(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	for _, tt := range []struct {
		name string
		at   [][2]float64
		lost float64
		days [3]float64 // By which first ripe, peak and last pick move.
	}{
		{"first flowers", [][2]float64{{3, 1}}, 0.110, [3]float64{2.53, 0, 0.29}},
		{"the flowers of the days after bloom", [][2]float64{{5, 1}}, 0.205, [3]float64{-0.43, 0, 0.56}},
		{"the height of bloom", [][2]float64{{8, 1}}, 0.326, [3]float64{-0.73, 1, 0.94}},
		{"half of the height of bloom", [][2]float64{{8, 0.5}}, 0.163, [3]float64{-0.34, 1, 0.43}},
		{"two nights", [][2]float64{{1, 1}, {5, 1}}, 0.251, [3]float64{4.43, 0, 0.70}},
		{"before bloom", [][2]float64{{0, 1}, {-6, 1}}, 0, [3]float64{}},
	} {
		fx, err := forecast.FrostEffects(in, bloom+20, frosted(in, bloom, tt.at...).Frosts)
		if err != nil {
			t.Fatal(err)
		}
		if len(fx) != 1 || fx[0].Planting != "p" || !near(fx[0].CropLost, tt.lost, 0.045) {
			t.Errorf("%s: %+v, want %v of the crop of p", tt.name, fx, tt.lost)
			continue
		}
		if b, w := fx[0].Before.CropKg, fx[0].With.CropKg; !near(b, 100, 1e-9) || !near(w, 100*(1-fx[0].CropLost), 1e-6) {
			t.Errorf("%s: %v and %v kg", tt.name, b, w)
		}
		for s := range tt.days {
			got := meanDate(t, frosted(in, bloom, tt.at...), bloom+20, "p", s) - meanDate(t, in, bloom+20, "p", s)
			if tol := [3]float64{0.3, 0.8, 0.3}[s]; !near(got, tt.days[s], tol) {
				t.Errorf("%s: stage %d moves by %v days, want %v", tt.name, s, got, tt.days[s])
			}
		}
		// What the effect says is what a forecast says once it is on record.
		after, before := compute(t, frosted(in, bloom, tt.at...), bloom+20), compute(t, in, bloom+20)
		if diff := cmp.Diff(*datesOf(after, "p"), fx[0].With.Stages); diff != "" {
			t.Errorf("%s, with it:\n%s", tt.name, diff)
		}
		if diff := cmp.Diff(*datesOf(before, "p"), fx[0].Before.Stages); diff != "" {
			t.Errorf("%s, before:\n%s", tt.name, diff)
		}
		if !noted(after, forecast.NoteFrost, "p") || noted(before, forecast.NoteFrost, "p") {
			t.Errorf("%s: notes %v", tt.name, after.Notes)
		}
	}
}

// A frost takes the place of the one on record of its planting and night, and the
// later one of two for a night counts.
func TestAFrostReplacesTheOneOnRecord(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	kg := func(in forecast.Inputs, at ...[2]float64) (before, with float64) {
		fx, err := forecast.FrostEffects(in, bloom+20, frosted(forecast.Inputs{}, bloom, at...).Frosts)
		if err != nil || len(fx) != 1 {
			t.Fatal(fx, err)
		}
		return fx[0].Before.CropKg, fx[0].With.CropKg
	}
	whole, half := kg(in, [2]float64{8, 0.5})
	recorded := frosted(in, bloom, [2]float64{8, 1})
	if before, with := kg(recorded, [2]float64{8, 0.5}); !(before < half) || with != half || !near(whole, 100, 1e-9) {
		t.Errorf("%v kg with all flowers lost on record, %v with half of them, want %v", before, with, half)
	}
	if _, with := kg(in, [2]float64{8, 1}, [2]float64{8, 0.5}); with != half {
		t.Errorf("of two for one night %v kg are left, want %v", with, half)
	}
	if _, with := kg(recorded, [2]float64{5, 0.5}); !(with < half) {
		t.Errorf("a frost of another night leaves %v kg", with)
	}
}

// What led to a requirement adds up to it, and the frost is the last part: 25.3
// °C·d on the mean.
func TestFrostIsAPartOfTheExplanation(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	x, err := forecast.Explain(frosted(in, bloom, [2]float64{3, 1}), bloom+20, "p")
	if err != nil {
		t.Fatal(err)
	}
	for s, r := range x.Stages {
		sum := r.Prior.Log
		for _, e := range r.Effects {
			sum += e.Log
		}
		frost := r.Effects[len(r.Effects)-1]
		if !near(sum, r.Requirement.Log, 1e-9) || frost.Effect != forecast.EffectFrost || frost.Observations != 1 {
			t.Errorf("%s: %v add up to %v, the requirement is %v", r.Stage, r.Effects, sum, r.Requirement.Log)
		}
		if want := [3]float64{25.3, 0, 2.9}[s]; !near(frost.DegreeDays, want, 3) || !near(*frost.Days, want/10, 0.3) {
			t.Errorf("%s: the frost adds %v °C·d, %v days, want %v", r.Stage, frost.DegreeDays, *frost.Days, want)
		}
	}
	whole, err := forecast.Explain(frosted(in, bloom, [2]float64{3, 1}), bloom+20, "q")
	if err != nil || slices.ContainsFunc(whole.Stages[0].Effects, func(e forecast.Effect) bool { return e.Effect == forecast.EffectFrost }) {
		t.Errorf("q: %v, %v", whole, err)
	}
}

// All open flowers lost in the middle of bloom: for four days nothing ripens.
// The planting is picked before and after, so it is no gap, but thin.
func TestAHoleWithinTheWindowIsThinAndNoGap(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	in.Plantings = in.Plantings[:1]
	in.Plantings[0].AreaM2 = 1000
	in.Farm.ThinKgPerDay = 20
	in.Sightings = append(slices.Clone(in.Sightings[:1]), saw("p", forecast.FirstRipe, bloom+35, true), saw("p", forecast.Peak, bloom+40, true))
	asOf := bloom + 40
	before, after := compute(t, in, asOf), compute(t, frosted(in, bloom, [2]float64{8, 1}), asOf)
	// Ripe from 34.5 days after bloom on; the flowers of the fourth to the seventh
	// day after bloom would have ripened on the 39th to 42nd.
	at := func(f *forecast.Forecast, d weather.Date) forecast.DaySupply {
		i := slices.IndexFunc(f.Days, func(x forecast.DaySupply) bool { return x.Date == d })
		return f.Days[i]
	}
	for d := bloom + 40; d <= bloom+41; d++ {
		with, without := at(after, d), at(before, d)
		if with.GapProbability > 0 || with.Ripe < 0.9 {
			t.Errorf("%s: gap %v, %v varieties in their window", d, with.GapProbability, with.Ripe)
		}
		if without.ThinProbability > 0.05 || with.ThinProbability < 0.95 {
			t.Errorf("%s: thin with %v, without the frost %v", d, with.ThinProbability, without.ThinProbability)
		}
	}
	if d := at(after, bloom+44); d.ThinProbability > 0.05 {
		t.Errorf("after the hole %s is thin with %v", d.Date, d.ThinProbability)
	}
}

// Of a planting whose every flower was killed nothing is said but that; it takes
// part in no supply.
func TestNothingIsLeft(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	var nights [][2]float64
	for d := range 10 {
		nights = append(nights, [2]float64{float64(1 + 4*d), 1})
	}
	in = frosted(in, bloom, nights...)
	f := compute(t, in, bloom+45)
	for _, p := range f.Plantings {
		if (p.Stages == nil) != (p.Planting == "p") {
			t.Errorf("%s has dates: %v", p.Planting, p.Stages != nil)
		}
	}
	if !noted(f, forecast.NoteFrost, "p") || noted(f, forecast.NoteNotReached, "p") {
		t.Errorf("notes %v", f.Notes)
	}
	for _, d := range f.Days {
		if d.RipeKgBy["p"] > 0 {
			t.Errorf("%s: %v kg", d.Date, d.RipeKgBy)
		}
	}
}

// A season in which frost made p later teaches of its requirement what it would
// have taught without: a frost three days after bloom makes first ripe 2.53 days
// later and takes the last pick 0.29 days on.
func TestFrostedSeasonsTeachWhatTheyWouldHaveTaught(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	then := weather.DateOf(2024, time.May, 12)
	season := func(first, last int, frost bool) forecast.Inputs {
		x := in
		x.Sightings = append(slices.Clone(in.Sightings), saw("p", forecast.Bloom10, then, true),
			saw("p", forecast.FirstRipe, then+weather.Date(first), true), saw("p", forecast.LastPick, then+weather.Date(last), true))
		if frost {
			x.Frosts = []forecast.Frost{{Planting: "p", Date: then + 3, ShareLost: 1}}
		}
		return x
	}
	logs := func(x forecast.Inputs) [3]float64 {
		m, err := forecast.LogMeans(x, bloom+5)
		if err != nil {
			t.Fatal(err)
		}
		return m["p"]
	}
	undisturbed := logs(season(38, 52, false)) // 3.5 days later than believed.
	knowing := logs(season(41, 52, true))      // 2.5 days of them by the frost.
	naive := logs(season(41, 52, false))
	none := logs(in)
	if !(undisturbed[0]-none[0] > 0.02) {
		t.Fatalf("the season teaches nothing: %v, %v", undisturbed, none)
	}
	// Dates are whole days, which leaves half of one; and a frosted season is
	// believed a little less.
	if d, e := math.Abs(knowing[0]-undisturbed[0]), naive[0]-undisturbed[0]; !(d < 0.35*e) {
		t.Errorf("first ripe is believed to take exp(%v), without frost exp(%v), had nobody known of the frost exp(%v)", knowing[0], undisturbed[0], naive[0])
	}
	// This season too: p ripe, or looked at in vain, on day 38 with its first flowers
	// lost says as much of q as on day 35 (35.5) without.
	for _, look := range []struct {
		what string
		seen bool
		p, q int // Days after bloom: with the frost, and without.
	}{{"seen", true, 38, 35}, {"looked for in vain", false, 38, 35}} {
		at := func(day int, at ...[2]float64) float64 {
			x := frosted(in, bloom, at...)
			x.Sightings = append(slices.Clone(in.Sightings), saw("p", forecast.FirstRipe, bloom+weather.Date(day), look.seen))
			return meanDate(t, x, bloom+38, "q", 0)
		}
		a, b, c := at(look.p, [2]float64{3, 1}), at(look.q), at(look.p)
		if !(math.Abs(a-b) < 0.5*(c-b)) {
			t.Errorf("first ripe of p %s: q is ripe on %v, without a frost and as much earlier on %v, had nobody known of the frost on %v", look.what, a, b, c)
		}
	}
}

// That nothing is entered says that a stage has probably not come, which with a
// frost it does later: through day 37, 2.53 days later, as much as through day 34
// or 35 without.
func TestSilenceAfterAFrostSaysLess(t *testing.T) {
	t.Parallel()
	in, bloom := evenFarm(t)
	in.Plantings, in.Sightings = in.Plantings[:1], in.Sightings[:1]
	got := meanDate(t, frosted(in, bloom, [2]float64{3, 1}), bloom+38, "p", 0)
	least, most := meanDate(t, in, bloom+35, "p", 0)+2.2, meanDate(t, in, bloom+36, "p", 0)+2.9
	if naive := meanDate(t, in, bloom+38, "p", 0) + 2.5; !(least <= got && got <= most && most < naive) {
		t.Errorf("first ripe on %v, want %v to %v, and less than %v", got-float64(bloom), least-float64(bloom), most-float64(bloom), naive-float64(bloom))
	}
}

// A base temperature is judged by dates as the frosts of their seasons left them.
func TestProfileKnowsFrosts(t *testing.T) {
	t.Parallel()
	in, _ := evenFarm(t)
	in.Sightings = nil
	rmse := func(frost bool) float64 {
		x := in
		for y := 2018; y <= 2024; y++ {
			bloom := weather.DateOf(y, time.May, 10)
			first := bloom + 35
			if y%2 == 0 {
				first += 3 // Of which 2.53 days by the frost.
			}
			x.Sightings = append(x.Sightings, saw("p", forecast.Bloom10, bloom, true), saw("p", forecast.FirstRipe, first, true))
			if frost && y%2 == 0 {
				x.Frosts = append(x.Frosts, forecast.Frost{Planting: "p", Date: bloom + 3, ShareLost: 1})
			}
		}
		p, err := forecast.Profile(x, weather.DateOf(2025, time.January, 10), forecast.ProfileOptions{Bases: []float64{3}, Kinds: []forecast.Kind{forecast.SingleSine}})
		if err != nil {
			t.Fatal(err)
		}
		return p.Curves[0].Points[0].RMSE
	}
	if with, without := rmse(true), rmse(false); !(with < 0.8) || !(without > 1.3) {
		t.Errorf("off by %v days, had nobody known of the frosts %v", with, without)
	}
}
