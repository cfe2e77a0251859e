package scoring_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// crpsByDays is the definition: over each day from well before to well after,
// the squared difference of the two distribution functions.
func crpsByDays(xs []weather.Date, y weather.Date) float64 {
	lo, hi := y, y
	for _, x := range xs {
		lo, hi = min(lo, x), max(hi, x)
	}
	sum := 0.0
	for day := lo - 3; day <= hi+3; day++ {
		k := 0
		for _, x := range xs {
			if x <= day {
				k++
			}
		}
		step := 0.0
		if y <= day {
			step = 1
		}
		sum += math.Pow(float64(k)/float64(len(xs))-step, 2)
	}
	return sum
}

// crpsByPairs is the other definition, member by member and pair by pair.
func crpsByPairs(xs []weather.Date, y weather.Date) float64 {
	n := len(xs)
	dist, spread := 0, 0
	for _, x := range xs {
		dist += max(int(x-y), int(y-x))
		for _, x2 := range xs {
			spread += max(int(x-x2), int(x2-x))
		}
	}
	return float64(2*n*dist-spread) / float64(2*n*n)
}

func TestCRPSFiveWays(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(2, 2))
	for range 400 {
		first, ns := randomCounts(r)
		xs := members(first, ns)
		f := counts(t, first, ns...)
		y := first + weather.Date(r.IntN(len(ns)+20)-10)
		want := crpsByDays(xs, y)
		for name, got := range map[string]float64{
			"CRPS":            scoring.CRPS(f, y),
			"CRPSEnergy":      scoring.CRPSEnergy(f, y),
			"EnsembleCRPS":    scoring.EnsembleCRPS(days(xs), float64(y)),
			"pair after pair": crpsByPairs(xs, y),
		} {
			if !near(got, want, 1e-12) {
				t.Fatalf("%s of %v from %v, y = %v: got %.15g, day by day %.15g", name, ns, first, y, got, want)
			}
		}
	}
}

func TestCRPSOfNormalsAgreesWithItsOtherForm(t *testing.T) {
	t.Parallel()
	for _, sd := range []float64{0.01, 0.4, 3, 40} {
		f := normal(t, 20000.3, sd)
		for _, y := range []weather.Date{19900, 19998, 20000, 20001, 20004, 20300} {
			if a, b := scoring.CRPS(f, y), scoring.CRPSEnergy(f, y); !near(a, b, 1e-10) || !(a >= 0) {
				t.Errorf("sd %g, y = %d: %.15g and %.15g", sd, y, a, b)
			}
		}
	}
}

func TestCRPSOfAPointIsTheAbsoluteError(t *testing.T) {
	t.Parallel()
	for _, late := range []int{-400, -3, -1, 0, 1, 2, 90} {
		f, y := scoring.Point(may(20)), may(20-late)
		want := math.Abs(float64(late))
		if a, b := scoring.CRPS(f, y), scoring.CRPSEnergy(f, y); a != want || b != want {
			t.Errorf("%d days late: %g and %g", late, a, b)
		}
	}
	far := float64(math.MaxInt32) - math.MinInt32
	if got := scoring.CRPS(scoring.Point(math.MinInt32), math.MaxInt32); got != far {
		t.Errorf("over the whole calendar: %g, want %g", got, far)
	}
}

func TestCRPSByHand(t *testing.T) {
	t.Parallel()
	// Half the mass on 1 May and half on 5 May: F is 1/2 for four days.
	f := counts(t, may(1), 1, 0, 0, 0, 1)
	for _, tt := range []struct {
		y    weather.Date
		want float64
	}{
		{may(3), 1}, // 4 · 1/4.
		{may(1), 1},
		{may(5), 1},
		{may(8), 4},  // And three days at 1.
		{may(-1), 3}, // And two.
	} {
		if got := scoring.CRPS(f, tt.y); got != tt.want {
			t.Errorf("y = %v: got %g, want %g", tt.y, got, tt.want)
		}
	}
}

// expected is the mean of a score over outcomes drawn from g.
func expected(g scoring.Distribution, score func(y weather.Date) float64) float64 {
	first, last := g.Support()
	sum := 0.0
	for y := first; y <= last; y++ {
		sum += g.Mass(y, y) * score(y)
	}
	return sum
}

// No one gains by saying what he does not believe. The loss is Σ (F-G)².
func TestCRPSIsProper(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 3))
	for range 300 {
		first, ns := randomCounts(r)
		g := counts(t, first, ns...)
		first2, ns2 := randomCounts(r)
		f := counts(t, first2, ns2...)
		honest := expected(g, func(y weather.Date) float64 { return scoring.CRPS(g, y) })
		other := expected(g, func(y weather.Date) float64 { return scoring.CRPS(f, y) })
		loss := 0.0
		for day := may(-5); day < may(80); day++ {
			loss += math.Pow(f.CDF(day)-g.CDF(day), 2)
		}
		if !near(other-honest, loss, 1e-10) {
			t.Fatalf("belief %v from %v, forecast %v from %v: loses %g, want %g", ns, first, ns2, first2, other-honest, loss)
		}
	}
}
