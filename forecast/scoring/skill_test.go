package scoring_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// off makes a case in which a forecast without spread is late by some days: all
// three scores are the error, but for pinball that is half of it.
func off(season int, key string, late int) scoring.Case {
	return scoring.Case{Season: season, Key: key, Forecast: scoring.Point(may(10 + late)), Actual: may(10)}
}

// all are the three skills of a comparison.
func all(c scoring.Comparison) []scoring.SkillScore {
	return []scoring.SkillScore{c.CRPS, c.Pinball, c.MAE}
}

func TestSkillByHand(t *testing.T) {
	t.Parallel()
	c, err := scoring.Skill(
		[]scoring.Case{off(2024, "b", -2), off(2023, "a", 1), off(2025, "new", 40)},
		[]scoring.Case{off(2023, "a", 4), off(2019, "old", 9), off(2024, "b", 4), off(2018, "older", 9)},
	)
	if err != nil {
		t.Fatal(err)
	}
	// 1 - 3/8; of the four resamples one has 2023 twice, 1 - 1/4, and one 2024
	// twice, 1 - 2/4.
	want := scoring.SkillScore{Value: 0.625, OK: true, Lo: 0.5, Hi: 0.75, RangeOK: true}
	tol := cmp.Comparer(func(a, b float64) bool { return near(a, b, 1e-12) })
	for i, got := range all(c) {
		if diff := cmp.Diff(want, got, tol); diff != "" {
			t.Errorf("score %d (-want +got):\n%s", i, diff)
		}
	}
	if c.N != 2 || c.Seasons != 2 || c.OnlyForecast != 1 || c.OnlyReference != 2 || c.InSample || c.Conclusive() {
		t.Errorf("got %+v", c)
	}
}

func TestSkillTellsTheScoresApart(t *testing.T) {
	t.Parallel()
	ten := counts(t, may(1), 1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	f := scoring.Case{Forecast: ten, Actual: may(7)}
	ref := scoring.Case{Forecast: scoring.Point(may(3)), Actual: may(7)}
	c, err := scoring.Skill([]scoring.Case{f}, []scoring.Case{ref})
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name      string
		got, want float64
	}{
		{"CRPS", c.CRPS.Value, 1 - (0.01+0.04+0.09+0.16+0.25+0.36+0.09+0.04+0.01)/4},
		{"pinball", c.Pinball.Value, 1 - (0.6+1+0.2)/(1.5*4)},
		{"MAE", c.MAE.Value, 1 - 2.0/4},
	} {
		if !near(tt.got, tt.want, 1e-12) {
			t.Errorf("%s: %g, want %g", tt.name, tt.got, tt.want)
		}
	}
}

// With three seasons there are 27 resamples, ten that differ.
func TestSkillRangeByAllResamples(t *testing.T) {
	t.Parallel()
	late := []int{1, 3, 8}    // Of the forecast, by season.
	lateRef := []int{6, 2, 9} // Of the reference.
	var f, ref []scoring.Case
	for i := range late {
		f = append(f, off(i, fmt.Sprint(i), late[i]))
		ref = append(ref, off(i, fmt.Sprint(i), lateRef[i]))
	}
	var skills []float64
	for a := range late {
		for b := range late {
			for c := range late {
				skills = append(skills, 1-float64(late[a]+late[b]+late[c])/float64(lateRef[a]+lateRef[b]+lateRef[c]))
			}
		}
	}
	slices.Sort(skills)
	got, err := scoring.Skill(f, ref)
	if err != nil {
		t.Fatal(err)
	}
	// 5 % and 95 % of 27 are the second and the 26th.
	for _, s := range all(got) {
		if !s.RangeOK || !near(s.Lo, skills[1], 1e-12) || !near(s.Hi, skills[25], 1e-12) {
			t.Errorf("%+v, want %g to %g", s, skills[1], skills[25])
		}
	}
}

// The plantings of a season stay together: two seasons of many plantings give
// the range of two seasons.
func TestSkillResamplesSeasons(t *testing.T) {
	t.Parallel()
	var f, ref []scoring.Case
	for i := range 60 {
		season := i % 2
		f = append(f, off(season, fmt.Sprint(i), 1+3*season))
		ref = append(ref, off(season, fmt.Sprint(i), 4))
	}
	c, err := scoring.Skill(f, ref)
	if err != nil {
		t.Fatal(err)
	}
	if c.N != 60 || c.Seasons != 2 || !near(c.MAE.Lo, 0, 1e-12) || !near(c.MAE.Hi, 0.75, 1e-12) {
		t.Errorf("%+v, want the range from 0 to 0.75", c)
	}
}

func TestSkillDoesNotDependOnTheOrder(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(15, 15))
	f := drawn(t, 90, r)
	ref := slices.Clone(f)
	for i := range f {
		f[i].Season, ref[i].Season = i%9, i%9
		ref[i].Forecast = normal(t, float64(may(18)), 6)
	}
	want, err := scoring.Skill(f, ref)
	if err != nil {
		t.Fatal(err)
	}
	for range 5 {
		r.Shuffle(len(f), func(i, j int) { f[i], f[j] = f[j], f[i] })
		r.Shuffle(len(ref), func(i, j int) { ref[i], ref[j] = ref[j], ref[i] })
		got, err := scoring.Skill(f, ref)
		if err != nil {
			t.Fatal(err)
		}
		if got != want {
			t.Fatalf("got %+v, then %+v", want, got)
		}
	}
	for _, s := range all(want) {
		if !(s.Lo < s.Value && s.Value < s.Hi) {
			t.Errorf("%+v: not within its range", s)
		}
	}
}

// Ninety of a hundred such ranges, more or less, hold the skill that endlessly
// many seasons would show.
func TestSkillRangeHoldsTheTrueSkill(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(16, 16))
	held := 0
	const worlds, seasons = 200, 40
	for range worlds {
		var f, ref []scoring.Case
		for i := range seasons {
			// Errors of 0 to 4 days against 2 to 6: on average 2 and 4.
			f = append(f, off(i, fmt.Sprint(i), r.IntN(5)))
			ref = append(ref, off(i, fmt.Sprint(i), 2+r.IntN(5)))
		}
		c, err := scoring.Skill(f, ref)
		if err != nil {
			t.Fatal(err)
		}
		if !c.Conclusive() {
			t.Fatal("forty seasons are not enough")
		}
		if c.MAE.Lo <= 0.5 && 0.5 <= c.MAE.Hi {
			held++
		}
	}
	if held < 165 || held > 192 { // 180 and three standard deviations either way, and a little for small samples.
		t.Errorf("%d of %d hold it", held, worlds)
	}
}

func TestSkillAgainstItselfIsZero(t *testing.T) {
	t.Parallel()
	f := drawn(t, 30, rand.New(rand.NewPCG(17, 17)))
	c, err := scoring.Skill(f, f)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range all(c) {
		if s != (scoring.SkillScore{OK: true, RangeOK: true}) {
			t.Errorf("%+v, want 0 from 0 to 0", s)
		}
	}
}

func TestSkillThatIsNotDefined(t *testing.T) {
	t.Parallel()
	right := []scoring.Case{off(1, "a", 0), off(2, "b", 0), off(3, "c", 0)}
	once := []scoring.Case{off(1, "a", 0), off(2, "b", 0), off(3, "c", 2)}
	wrong := []scoring.Case{off(1, "a", 3), off(2, "b", 3), off(3, "c", 3)}
	for _, tt := range []struct {
		name          string
		f, ref        []scoring.Case
		value         float64
		ok, rangeOK   bool
		n, onlyF, onR int
	}{
		{"a perfect reference", wrong, right, 0, false, false, 3, 0, 0},
		{"both perfect", right, right, 0, false, false, 3, 0, 0},
		{"a perfect forecast", right, wrong, 1, true, true, 3, 0, 0},
		{"a reference perfect in some resamples", wrong, once, 1 - 9.0/2, true, false, 3, 0, 0},
		{"one season", wrong[:1], []scoring.Case{off(1, "a", 6)}, 0.5, true, false, 1, 0, 0},
		{"no pair", wrong[:1], wrong[1:], 0, false, false, 0, 1, 2},
		{"no forecast", nil, wrong, 0, false, false, 0, 0, 3},
		{"no reference", wrong, nil, 0, false, false, 0, 3, 0},
		{"nothing", nil, nil, 0, false, false, 0, 0, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c, err := scoring.Skill(tt.f, tt.ref)
			if err != nil {
				t.Fatal(err)
			}
			if c.N != tt.n || c.OnlyForecast != tt.onlyF || c.OnlyReference != tt.onR {
				t.Errorf("got %+v", c)
			}
			for _, s := range all(c) {
				if !near(s.Value, tt.value, 1e-12) || s.OK != tt.ok || s.RangeOK != tt.rangeOK {
					t.Errorf("got %+v", s)
				}
			}
		})
	}
	// A score that is rounding and nothing else is perfect too.
	almost := normal(t, float64(may(10)), 0.07)
	c, err := scoring.Skill(wrong[:1], []scoring.Case{{Season: 1, Key: "a", Forecast: almost, Actual: may(10)}})
	if err != nil || c.CRPS.OK || scoring.CRPS(almost, may(10)) == 0 {
		t.Errorf("%+v, %v", c, err)
	}
}

func TestSkillRefuses(t *testing.T) {
	t.Parallel()
	a := off(2024, "a", 1)
	with := func(change func(*scoring.Case)) []scoring.Case {
		c := a
		change(&c)
		return []scoring.Case{c}
	}
	one := []scoring.Case{a}
	for _, tt := range []struct {
		name   string
		f, ref []scoring.Case
		want   error
	}{
		{"a key twice in the forecast", []scoring.Case{a, a}, one, scoring.ErrDuplicateKey},
		{"a key twice in the reference", one, []scoring.Case{a, a}, scoring.ErrDuplicateKey},
		{"another date", one, with(func(c *scoring.Case) { c.Actual++ }), scoring.ErrMismatch},
		{"another season", one, with(func(c *scoring.Case) { c.Season++ }), scoring.ErrMismatch},
		{"another lead, which the key is to tell", one, with(func(c *scoring.Case) { c.Lead++ }), nil},
		{"the reference in sample", one, with(func(c *scoring.Case) { c.InSample = true }), scoring.ErrMixed},
		{"the forecast in sample", with(func(c *scoring.Case) { c.InSample = true }), one, scoring.ErrMixed},
		{"no forecast", with(func(c *scoring.Case) { c.Forecast = scoring.Distribution{} }), one, scoring.ErrInvalidCase},
		{"no reference", one, with(func(c *scoring.Case) { c.Forecast = scoring.Distribution{} }), scoring.ErrInvalidCase},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c, err := scoring.Skill(tt.f, tt.ref)
			if !errors.Is(err, tt.want) {
				t.Fatalf("error %v, want %v", err, tt.want)
			}
			if err != nil && c != (scoring.Comparison{}) {
				t.Errorf("with an error also %+v", c)
			}
		})
	}
	seen := with(func(c *scoring.Case) { c.InSample = true })
	if c, err := scoring.Skill(seen, seen); err != nil || !c.InSample {
		t.Errorf("both in sample: %+v, %v", c, err)
	}
}

// BenchmarkSkill is a farm of twelve plantings over forty seasons.
func BenchmarkSkill(b *testing.B) {
	var f, ref []scoring.Case
	for i := range 480 {
		y := weather.Date(20000 + i%40)
		f = append(f, scoring.Case{Season: i % 40, Key: fmt.Sprint(i), Forecast: normal(b, 20019, 4), Actual: y})
		ref = append(ref, scoring.Case{Season: i % 40, Key: fmt.Sprint(i), Forecast: normal(b, 20010, 8), Actual: y})
	}
	for b.Loop() {
		if _, err := scoring.Skill(f, ref); err != nil {
			b.Fatal(err)
		}
	}
}
