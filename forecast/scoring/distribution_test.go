package scoring_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// Every method against its definition, member by member.
func TestDistributionByItsMembers(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 1))
	for range 300 {
		first, ns := randomCounts(r)
		xs := members(first, ns)
		n := float64(len(xs))
		share := func(lo, hi weather.Date) float64 {
			k := 0
			for _, x := range xs {
				if lo <= x && x <= hi {
					k++
				}
			}
			return float64(k) / n
		}
		shuffled := append([]weather.Date(nil), xs...)
		r.Shuffle(len(xs), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		fromDates, err := scoring.FromDates(shuffled)
		if err != nil {
			t.Fatal(err)
		}
		for name, d := range map[string]scoring.Distribution{"counts": counts(t, first, ns...), "dates": fromDates} {
			if lo, hi := d.Support(); lo != xs[0] || hi != xs[len(xs)-1] {
				t.Fatalf("%s %v: support %v to %v, want %v to %v", name, ns, lo, hi, xs[0], xs[len(xs)-1])
			}
			mean := 0.0
			for _, x := range xs {
				mean += float64(x) / n
			}
			if got := d.Mean(); !near(got, mean, 1e-9) {
				t.Fatalf("%s %v: mean %.12g, want %.12g", name, ns, got, mean)
			}
			for day := xs[0] - 2; day <= xs[len(xs)-1]+2; day++ {
				if got, want := d.CDF(day), share(math.MinInt32, day); !near(got, want, 0) {
					t.Fatalf("%s %v: F(%v) = %g, want %g", name, ns, day, got, want)
				}
				for hi := day - 4; hi <= xs[len(xs)-1]+2; hi++ {
					if got, want := d.Mass(day, hi), share(day, hi); !near(got, want, 0) {
						t.Fatalf("%s %v: mass of %v to %v = %g, want %g", name, ns, day, hi, got, want)
					}
				}
			}
			for _, tenth := range []int{1, 2, 3, 5, 7, 9, 10} {
				want := xs[0]
				for 10*len(members(first, ns[:want-first+1])) < tenth*len(xs) {
					want++
				}
				if got := d.Quantile(float64(tenth) / 10); got != want {
					t.Fatalf("%s %v: quantile %d/10 = %v, want %v", name, ns, tenth, got, want)
				}
			}
			if d.Median() != d.Quantile(0.5) {
				t.Fatalf("%s %v: median is not the 0.5-quantile", name, ns)
			}
		}
	}
}

func TestQuantilesByHand(t *testing.T) {
	t.Parallel()
	ten := counts(t, may(1), 1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	for _, tt := range []struct {
		name string
		d    scoring.Distribution
		p    float64
		want weather.Date
	}{
		{"one of ten is a tenth", ten, 0.1, may(1)},
		{"a hair more than a tenth takes the next", ten, 0.1 + 1e-9, may(2)},
		{"seven tenths and the last digit of rounding", ten, math.Nextafter(0.7, 1), may(7)},
		{"all of it is the last day", ten, 1, may(10)},
		{"next to nothing is the first day", ten, 1e-300, may(1)},
		{"a median between two is the earlier", counts(t, may(1), 2, 0, 0, 2), 0.5, may(1)},
		{"empty days are no quantile", counts(t, may(1), 0, 0, 2, 0, 3, 0), 0.5, may(5)},
		{"a point at any level", scoring.Point(may(9)), 0.1, may(9)},
		{"one member too few among a billion", counts(t, may(1), 99_999_999, 900_000_001), 0.1, may(2)},
		{"enough members among a billion", counts(t, may(1), 100_000_000, 900_000_000), 0.1, may(1)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := tt.d.Quantile(tt.p); got != tt.want {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
}

func TestDistributionKeepsItsOwnCounts(t *testing.T) {
	t.Parallel()
	ns := []int{1, 2, 1}
	d := counts(t, may(1), ns...)
	ns[0] = 50
	if got := d.CDF(may(1)); got != 0.25 {
		t.Errorf("changed from outside: F = %g, want 0.25", got)
	}
}

func TestDistributionAtTheEndsOfTheCalendar(t *testing.T) {
	t.Parallel()
	d := counts(t, may(1), 1, 1)
	const early, late = weather.Date(math.MinInt32), weather.Date(math.MaxInt32)
	if a, b := d.CDF(early), d.CDF(late); a != 0 || b != 1 {
		t.Errorf("F at the ends: %g and %g, want 0 and 1", a, b)
	}
	if got := d.Mass(early, late); got != 1 {
		t.Errorf("mass of everything %g, want 1", got)
	}
	for _, date := range []weather.Date{early, late} {
		p := scoring.Point(date)
		if got := p.Median(); got != date {
			t.Errorf("point at %d: median %d", date, got)
		}
		if got := p.Mean(); !near(got, float64(date), 0) {
			t.Errorf("point at %d: mean %g", date, got)
		}
	}
}

func TestDistributionsRefused(t *testing.T) {
	t.Parallel()
	many := make([]int, 36527)
	many[0], many[36525] = 1, 1
	atMost := make([]int, 36525)
	atMost[0], atMost[36524] = 1, 1
	for _, tt := range []struct {
		name  string
		make  func() (scoring.Distribution, error)
		valid bool
	}{
		{"no counts", func() (scoring.Distribution, error) { return scoring.FromCounts(0, nil) }, false},
		{"counts of nothing", func() (scoring.Distribution, error) { return scoring.FromCounts(0, []int{0, 0}) }, false},
		{"a negative count", func() (scoring.Distribution, error) { return scoring.FromCounts(0, []int{3, -1}) }, false},
		{"too many members", func() (scoring.Distribution, error) { return scoring.FromCounts(0, []int{1_000_000_000, 1}) }, false},
		{"counts that overflow", func() (scoring.Distribution, error) {
			return scoring.FromCounts(0, []int{5, math.MaxInt, math.MaxInt})
		}, false},
		{"a century and a day", func() (scoring.Distribution, error) { return scoring.FromCounts(0, many) }, false},
		{"a century", func() (scoring.Distribution, error) { return scoring.FromCounts(0, atMost) }, true},
		{"long, but empty at the ends", func() (scoring.Distribution, error) {
			ns := make([]int, 50_000)
			ns[20_000], ns[30_000] = 1, 1
			return scoring.FromCounts(0, ns)
		}, true},
		{"too early", func() (scoring.Distribution, error) { return scoring.FromCounts(-1_000_001, []int{1}) }, false},
		{"too late", func() (scoring.Distribution, error) { return scoring.FromCounts(1_000_000, []int{0, 1}) }, false},
		{"no dates", func() (scoring.Distribution, error) { return scoring.FromDates(nil) }, false},
		{"dates all over", func() (scoring.Distribution, error) {
			return scoring.FromDates([]weather.Date{math.MinInt32, math.MaxInt32})
		}, false},
		{"dates beyond a century", func() (scoring.Distribution, error) { return scoring.FromDates([]weather.Date{0, 36525}) }, false},
		{"sd 0", func() (scoring.Distribution, error) { return scoring.FromNormal(20000, 0) }, false},
		{"sd not a number", func() (scoring.Distribution, error) { return scoring.FromNormal(20000, math.NaN()) }, false},
		{"sd too large", func() (scoring.Distribution, error) { return scoring.FromNormal(20000, 1001) }, false},
		{"sd as large as may be", func() (scoring.Distribution, error) { return scoring.FromNormal(20000, 1000) }, true},
		{"sd tiny", func() (scoring.Distribution, error) { return scoring.FromNormal(20000.5, 1e-320) }, true},
		{"mean not a number", func() (scoring.Distribution, error) { return scoring.FromNormal(math.NaN(), 3) }, false},
		{"mean infinite", func() (scoring.Distribution, error) { return scoring.FromNormal(math.Inf(-1), 3) }, false},
		{"mean far out", func() (scoring.Distribution, error) { return scoring.FromNormal(1_000_000, 3) }, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d, err := tt.make()
			if (err == nil) != tt.valid || err != nil && !errors.Is(err, scoring.ErrInvalidDistribution) {
				t.Fatalf("error %v", err)
			}
			if d.IsZero() == tt.valid {
				t.Errorf("zero: %t", d.IsZero())
			}
		})
	}
}

func TestDistributionPanics(t *testing.T) {
	t.Parallel()
	var zero scoring.Distribution
	d := scoring.Point(0)
	for name, f := range map[string]func(){
		"support of the zero value":      func() { zero.Support() },
		"F of the zero value":            func() { zero.CDF(0) },
		"mass of the zero value":         func() { zero.Mass(0, 1) },
		"quantile of the zero value":     func() { zero.Quantile(0.5) },
		"median of the zero value":       func() { zero.Median() },
		"mean of the zero value":         func() { zero.Mean() },
		"CRPS of the zero value":         func() { scoring.CRPS(zero, 0) },
		"energy form of the zero value":  func() { scoring.CRPSEnergy(zero, 0) },
		"mean pinball of the zero value": func() { scoring.MeanPinball(zero, 0) },
		"PIT of the zero value":          func() { scoring.PIT(zero, 0) },
		"coverage of the zero value":     func() { scoring.Cover([]scoring.Case{{}}) },
		"event of the zero value":        func() { scoring.Case{}.By(0) },
		"quantile of 0":                  func() { d.Quantile(0) },
		"quantile above 1":               func() { d.Quantile(1.0000001) },
		"quantile of no number":          func() { d.Quantile(math.NaN()) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if !panics(f) {
				t.Error("does not panic")
			}
		})
	}
}

// TestQuantilesAreThoseGiven also where two or all of them are one day.
func TestQuantilesAreThoseGiven(t *testing.T) {
	t.Parallel()
	for _, q := range [][3]weather.Date{{100, 104, 109}, {100, 100, 109}, {100, 109, 109}, {100, 100, 100}} {
		d, err := scoring.FromQuantiles(q[0], q[1], q[2])
		if err != nil {
			t.Fatal(err)
		}
		if got := [3]weather.Date{d.Quantile(0.1), d.Quantile(0.5), d.Quantile(0.9)}; got != q {
			t.Errorf("quantiles %v, want %v", got, q)
		}
	}
	if _, err := scoring.FromQuantiles(100, 99, 109); !errors.Is(err, scoring.ErrInvalidDistribution) {
		t.Errorf("falling quantiles: %v", err)
	}
}
