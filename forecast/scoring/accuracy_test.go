package scoring_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"ripetide/forecast/scoring"
)

func TestScoreByHand(t *testing.T) {
	t.Parallel()
	// Mean 3.25 May, median 2 May, range 2 to 7 May, all of the mass.
	skewed := counts(t, may(2), 6, 0, 0, 0, 0, 2)
	a, err := scoring.Score([]scoring.Case{
		{Season: 2024, Key: "a", Forecast: skewed, Actual: may(3)},
		{Season: 2024, Key: "b", Forecast: scoring.Point(may(9)), Actual: may(5)},
		{Season: 2025, Key: "c", Forecast: scoring.Point(may(9)), Actual: may(19)},
	}, 4)
	if err != nil {
		t.Fatal(err)
	}
	// Of the first: F is 3/4 from 2 to 6 May, so (3/4)² + 4 (1/4)²; the losses
	// are 0.1·1, 0.5·1 and 0.1·4.
	for _, tt := range []struct {
		name      string
		got, want float64
	}{
		{"bias, of the mean", a.Bias, (0.25 + 4 - 10) / 3},
		{"MAE, of the median", a.MAE, (1.0 + 4 + 10) / 3},
		{"CRPS", a.CRPS, (9.0/16 + 4.0/16 + 4 + 10) / 3},
		{"pinball", a.Pinball, ((0.1+0.5+0.4)/3 + (0.9+0.5+0.1)*4/3 + (0.1+0.5+0.9)*10/3) / 3},
		{"expected hits", a.Coverage.Expected, 3},
	} {
		if !near(tt.got, tt.want, 1e-10) {
			t.Errorf("%s: got %g, want %g", tt.name, tt.got, tt.want)
		}
	}
	if a.N != 3 || a.Seasons != 2 || a.Excluded != 4 || a.InSample || a.Conclusive() {
		t.Errorf("got %+v", a)
	}
	if c := a.Coverage; c.Hits != 1 || c.N != 3 || c.Lo != 3 || c.Hi != 3 {
		t.Errorf("coverage %+v", c)
	}
}

// Dates subtract as numbers, not as 32 bits.
func TestScoreOverTheWholeCalendar(t *testing.T) {
	t.Parallel()
	a, err := scoring.Score([]scoring.Case{{Forecast: scoring.Point(math.MaxInt32), Actual: math.MinInt32}}, 0)
	if err != nil {
		t.Fatal(err)
	}
	if a.Bias != math.MaxUint32 || a.MAE != math.MaxUint32 || a.CRPS != math.MaxUint32 || !near(a.Pinball, math.MaxUint32/2.0, 1e-3) {
		t.Errorf("got %+v", a)
	}
}

func TestScoreOfWhatIsNoCase(t *testing.T) {
	t.Parallel()
	p := scoring.Point(may(9))
	seen := scoring.Case{Key: "seen", Forecast: p, Actual: may(9), InSample: true}
	unseen := scoring.Case{Key: "unseen", Forecast: p, Actual: may(9)}
	for _, tt := range []struct {
		name     string
		cases    []scoring.Case
		excluded int
		want     error
	}{
		{"none", nil, 3, scoring.ErrNoCases},
		{"a negative count", []scoring.Case{unseen}, -1, scoring.ErrInvalidCase},
		{"no forecast", []scoring.Case{unseen, {Key: "bare"}}, 0, scoring.ErrInvalidCase},
		{"in sample and not", []scoring.Case{unseen, seen}, 0, scoring.ErrMixed},
		{"not in sample and in", []scoring.Case{seen, seen, unseen}, 0, scoring.ErrMixed},
		{"all in sample", []scoring.Case{seen, seen}, 0, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			a, err := scoring.Score(tt.cases, tt.excluded)
			if !errors.Is(err, tt.want) {
				t.Fatalf("error %v, want %v", err, tt.want)
			}
			if err != nil && a != (scoring.Accuracy{}) {
				t.Errorf("with an error also %+v", a)
			}
			if err == nil && !a.InSample {
				t.Error("not marked as in sample")
			}
		})
	}
}

func TestConclusiveFromTwentySeasonsOn(t *testing.T) {
	t.Parallel()
	var cases []scoring.Case
	for season := range 20 {
		for range 3 { // Plantings do not count.
			cases = append(cases, scoring.Case{Season: season, Forecast: scoring.Point(may(9)), Actual: may(8)})
		}
		a, err := scoring.Score(cases, 0)
		if err != nil {
			t.Fatal(err)
		}
		if a.Seasons != season+1 || a.Conclusive() != (season+1 >= 20) {
			t.Errorf("%d seasons: %+v, conclusive %t", season+1, a, a.Conclusive())
		}
	}
}

func TestScoreTellsHonestFromBiased(t *testing.T) {
	t.Parallel()
	honest := drawn(t, 2000, rand.New(rand.NewPCG(13, 13)))
	a, err := scoring.Score(honest, 0)
	if err != nil {
		t.Fatal(err)
	}
	if !near(a.Bias, 0, 0.5) { // Of sd about 5 over 2000 cases: four standard deviations.
		t.Errorf("honest forecasts have bias %g", a.Bias)
	}
	for i := range honest {
		honest[i].Actual -= 2 // All came two days before: the forecast is late.
	}
	b, err := scoring.Score(honest, 0)
	if err != nil {
		t.Fatal(err)
	}
	if !near(b.Bias-a.Bias, 2, 1e-9) {
		t.Errorf("two days late: bias goes from %g to %g", a.Bias, b.Bias)
	}
	if !(b.CRPS > a.CRPS && b.MAE > a.MAE && b.Pinball > a.Pinball) {
		t.Errorf("two days late scores no worse: %+v, then %+v", a, b)
	}
}

// Whatever valid cases come, every figure is a number.
func TestNoFigureIsNaN(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(14, 14))
	odd := []scoring.Distribution{
		scoring.Point(math.MinInt32), scoring.Point(math.MaxInt32), scoring.Point(0),
		normal(t, 0.5, 1e-320), normal(t, -700_000, 1000), normal(t, 20000, 0.3),
		counts(t, may(1), 1_000_000_000), counts(t, may(1), 1, 0, 0, 999_999_999),
	}
	for range 200 {
		f := make([]scoring.Case, 1+r.IntN(5))
		for i := range f {
			d := odd[r.IntN(len(odd))]
			actual, _ := odd[r.IntN(len(odd))].Support()
			f[i] = scoring.Case{Season: r.IntN(3), Key: string(rune('a' + i)), Forecast: d, Actual: actual}
		}
		ref := append([]scoring.Case(nil), f...)
		for i := range ref {
			ref[i].Forecast = odd[r.IntN(len(odd))]
		}
		a, err := scoring.Score(f, 0)
		if err != nil {
			t.Fatal(err)
		}
		c, err := scoring.Skill(f, ref)
		if err != nil {
			t.Fatal(err)
		}
		chi2, p := scoring.Flatness(scoring.RandomisedPITHistogram(f, 10))
		figures := []float64{a.Bias, a.MAE, a.CRPS, a.Pinball, a.Coverage.Expected, chi2, p}
		for _, s := range []scoring.SkillScore{c.CRPS, c.Pinball, c.MAE} {
			figures = append(figures, s.Value, s.Lo, s.Hi)
			if !s.OK && (s.Value != 0 || s.RangeOK) || !s.RangeOK && (s.Lo != 0 || s.Hi != 0) {
				t.Fatalf("not defined, but a figure: %+v", s)
			}
		}
		figures = append(figures, scoring.PITHistogram(f, 10)...)
		for _, x := range figures {
			if !finite(x) {
				t.Fatalf("%+v against %+v: %g", f, ref, figures)
			}
		}
	}
}
