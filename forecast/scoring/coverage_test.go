package scoring_test

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// The 95 % acceptance bands of an 80 % range, from sums of binomial
// coefficients made apart from this code.
func TestBinomialBandTabulated(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ n, lo, hi int }{
		{10, 5, 10}, {15, 9, 15}, {19, 12, 18}, {20, 12, 19}, {30, 19, 28}, {60, 42, 54},
	} {
		if lo, hi := scoring.BinomialBand(tt.n, 0.8); lo != tt.lo || hi != tt.hi {
			t.Errorf("n = %d: %d to %d, want %d to %d", tt.n, lo, hi, tt.lo, tt.hi)
		}
	}
}

func TestBinomialBandByItsDefinition(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 2, 7, 40, 300} {
		for _, p := range []float64{0.01, 0.3, 0.5, 0.87, 0.99} {
			b := distuv.Binomial{N: float64(n), P: p}
			lo, hi := scoring.BinomialBand(n, p)
			if !(b.CDF(float64(lo)) >= 0.025-1e-9) || lo > 0 && !(b.CDF(float64(lo-1)) < 0.025) {
				t.Errorf("n = %d, p = %g: low end %d", n, p, lo)
			}
			if !(b.CDF(float64(hi)) >= 0.975-1e-9) || hi > 0 && !(b.CDF(float64(hi-1)) < 0.975) {
				t.Errorf("n = %d, p = %g: high end %d", n, p, hi)
			}
		}
	}
}

func TestBandsOfWhatIsCertain(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		ps     []float64
		lo, hi int
	}{
		{"nothing", nil, 0, 0},
		{"never", []float64{0, 0, 0}, 0, 0},
		{"always", []float64{1, 1, 1}, 3, 3},
		{"two always, one never", []float64{1, 0, 1}, 2, 2},
		{"one open among certain ones", []float64{1, 0.5, 0, 1}, 2, 3},
		{"an even chance of exactly the tail", []float64{0.025}, 0, 0}, // P(0) is 97.5 %.
		{"a hair more", []float64{0.0251}, 0, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if lo, hi := scoring.HitBand(tt.ps); lo != tt.lo || hi != tt.hi {
				t.Errorf("%d to %d, want %d to %d", lo, hi, tt.lo, tt.hi)
			}
		})
	}
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		if !panics(func() { scoring.HitBand([]float64{0.5, p}) }) || !panics(func() { scoring.BinomialBand(3, p) }) {
			t.Errorf("p = %g: does not panic", p)
		}
	}
	if !panics(func() { scoring.BinomialBand(-1, 0.5) }) {
		t.Error("n = -1: does not panic")
	}
}

// All 2ⁿ ways in which unlike events can turn out.
func TestHitBandByAllOutcomes(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(5, 5))
	for range 60 {
		ps := make([]float64, 1+r.IntN(10))
		for i := range ps {
			ps[i] = r.Float64()
		}
		chance := make([]float64, len(ps)+1)
		for set := range uint(1) << len(ps) {
			c := 1.0
			for i, p := range ps {
				if set>>i&1 == 1 {
					c *= p
				} else {
					c *= 1 - p
				}
			}
			chance[bits.OnesCount(set)] += c
		}
		lo, hi := scoring.HitBand(ps)
		below, above := 0.0, 0.0
		for k, c := range chance {
			if k < lo {
				below += c
			}
			if k > hi {
				above += c
			}
		}
		if !(below < 0.025 && below+chance[lo] >= 0.025) || !(above <= 0.025 && above+chance[hi] > 0.025) {
			t.Fatalf("%g: %d to %d leaves %g below and %g above", ps, lo, hi, below, above)
		}
	}
}

func TestCoverByHand(t *testing.T) {
	t.Parallel()
	ten := counts(t, may(1), 1, 1, 1, 1, 1, 1, 1, 1, 1, 1) // 1 to 9 May, 0.9 of the mass.
	point := scoring.Point(may(4))
	got := scoring.Cover([]scoring.Case{
		{Forecast: ten, Actual: may(1)},
		{Forecast: ten, Actual: may(9)},
		{Forecast: ten, Actual: may(10)},
		{Forecast: ten, Actual: may(0)},
		{Forecast: point, Actual: may(4)},
		{Forecast: point, Actual: may(5)},
	})
	// Two are certain of their ranges; four hold with 0.9: at most 4, and
	// P(1 or fewer) = 0.0037, P(2 or fewer) = 0.0523.
	want := scoring.Coverage{Hits: 3, N: 6, Expected: got.Expected, Lo: 4, Hi: 6}
	if got != want || !near(got.Expected, 5.6, 1e-12) {
		t.Errorf("got %+v, want %+v with 5.6 expected", got, want)
	}
	for hits, agrees := range map[int]bool{3: false, 4: true, 6: true, 7: false} {
		c := want
		c.Hits = hits
		if c.Agrees() != agrees {
			t.Errorf("%d hits of 4 to 6: agrees %t", hits, c.Agrees())
		}
	}
	if c := scoring.Cover(nil); c != (scoring.Coverage{}) || !c.Agrees() {
		t.Errorf("no cases: %+v", c)
	}
}

// drawn makes cases whose outcomes are drawn from their own forecasts, one a
// season.
func drawn(tb testing.TB, n int, r *rand.Rand) []scoring.Case {
	tb.Helper()
	cases := make([]scoring.Case, n)
	for i := range cases {
		first, ns := randomCounts(r)
		xs := members(first, ns)
		cases[i] = scoring.Case{
			Season:   1000 + i,
			Key:      string(rune('a'+i%26)) + weather.Date(i).String(),
			Forecast: counts(tb, first, ns...),
			Actual:   xs[r.IntN(len(xs))],
		}
	}
	return cases
}

func TestHonestForecastsKeepWithinTheirBand(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(6, 6))
	agree := 0
	for range 400 {
		c := scoring.Cover(drawn(t, 40, r))
		if !(c.Expected >= 0.8*40 && c.Expected <= 40) {
			t.Fatalf("%+v: closed ranges hold less than 0.8", c)
		}
		if c.Agrees() {
			agree++
		}
	}
	// At least 95 %: 380, and three standard deviations of chance below it 367.
	if agree < 367 {
		t.Errorf("%d of 400 agree", agree)
	}
	all := scoring.Cover(drawn(t, 2000, r))
	if !all.Agrees() {
		t.Errorf("%+v does not agree", all)
	}
}

// Ranges half as wide as they should be do not.
func TestNarrowForecastsLeaveTheirBand(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 7))
	cases := make([]scoring.Case, 60)
	for i := range cases {
		cases[i] = scoring.Case{Forecast: normal(t, 20000, 3), Actual: weather.Date(20000 + math.Round(6*r.NormFloat64()))}
	}
	if c := scoring.Cover(cases); c.Agrees() {
		t.Errorf("%+v agrees", c)
	}
}
