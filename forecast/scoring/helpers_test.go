package scoring_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// near reports whether got is within tol of want; NaN is near nothing.
func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

// finite reports whether x is a number of some size.
func finite(x float64) bool { return math.Abs(x) <= math.MaxFloat64 }

// panics reports whether f panics.
func panics(f func()) (yes bool) {
	defer func() { yes = recover() != nil }()
	f()
	return false
}

// may is a date in the May of a year without a leap day to think of.
func may(day int) weather.Date { return weather.DateOf(2025, 5, day) }

// counts is [scoring.FromCounts] of what is known to be valid.
func counts(tb testing.TB, first weather.Date, ns ...int) scoring.Distribution {
	tb.Helper()
	d, err := scoring.FromCounts(first, ns)
	if err != nil {
		tb.Fatal(err)
	}
	return d
}

// normal is [scoring.FromNormal] of what is known to be valid.
func normal(tb testing.TB, mean, sd float64) scoring.Distribution {
	tb.Helper()
	d, err := scoring.FromNormal(mean, sd)
	if err != nil {
		tb.Fatal(err)
	}
	return d
}

// randomCounts draws members per day, some days without and at least one with.
func randomCounts(r *rand.Rand) (first weather.Date, ns []int) {
	ns = make([]int, 1+r.IntN(30))
	for i := range ns {
		if r.IntN(3) > 0 {
			ns[i] = r.IntN(12)
		}
	}
	ns[r.IntN(len(ns))]++
	return may(r.IntN(20)), ns
}

// members lists the dates that counts stand for.
func members(first weather.Date, ns []int) []weather.Date {
	var dates []weather.Date
	for i, n := range ns {
		for range n {
			dates = append(dates, first+weather.Date(i))
		}
	}
	return dates
}

// days returns the dates as numbers.
func days(dates []weather.Date) []float64 {
	xs := make([]float64, len(dates))
	for i, d := range dates {
		xs[i] = float64(d)
	}
	return xs
}
