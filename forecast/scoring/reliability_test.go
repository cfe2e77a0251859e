package scoring_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast/scoring"
)

func TestDecomposeByHand(t *testing.T) {
	t.Parallel()
	// Of four at 0.2 one happened, of four at 0.7 three, of two at 1 both.
	d := scoring.Decompose([]scoring.Event{
		{0.7, true}, {0.2, false}, {1, true}, {0.7, true}, {0.2, true},
		{0.2, false}, {0.7, false}, {0.7, true}, {0.2, false}, {1, true},
	}, 10)
	for _, tt := range []struct {
		name      string
		got, want float64
	}{
		{"Brier score", d.Brier, (3*0.04 + 0.64 + 3*0.09 + 0.49) / 10},
		{"reliability", d.Reliability, 0.4*0.05*0.05 + 0.4*0.05*0.05},
		{"resolution", d.Resolution, 0.4*0.35*0.35 + 0.4*0.15*0.15 + 0.2*0.4*0.4},
		{"uncertainty", d.Uncertainty, 0.6 * 0.4},
	} {
		if !near(tt.got, tt.want, 1e-15) {
			t.Errorf("%s %g, want %g", tt.name, tt.got, tt.want)
		}
	}
	if d.WithinVariance != 0 || d.WithinCovariance != 0 {
		t.Errorf("one probability in each bin, yet within: %g and %g", d.WithinVariance, d.WithinCovariance)
	}
	want := []scoring.Bin{
		{From: 0.2, To: 0.3, N: 4, Probability: 0.2, Frequency: 0.25},
		{From: 0.7, To: 0.8, N: 4, Probability: 0.7, Frequency: 0.75},
		{From: 0.9, To: 1, N: 2, Probability: 1, Frequency: 1},
	}
	if diff := cmp.Diff(want, d.Table); diff != "" {
		t.Errorf("table (-want +got):\n%s", diff)
	}
}

func TestDecomposeWithinABinByHand(t *testing.T) {
	t.Parallel()
	// 0.1 did not happen and 0.3 did, in one bin: mean 0.2, frequency 0.5.
	d := scoring.Decompose([]scoring.Event{{0.1, false}, {0.3, true}}, 2)
	want := scoring.Decomposition{
		Brier: (0.01 + 0.49) / 2, Reliability: 0.09, Uncertainty: 0.25,
		WithinVariance: 0.01, WithinCovariance: 0.1, // 0.25 = 0.09 - 0 + 0.25 + 0.01 - 0.1.
		Table: []scoring.Bin{{From: 0, To: 0.5, N: 2, Probability: 0.2, Frequency: 0.5}},
	}
	if diff := cmp.Diff(want, d, cmp.Comparer(func(a, b float64) bool { return near(a, b, 1e-15) })); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestDecompositionAddsUp(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(12, 12))
	for range 300 {
		events := make([]scoring.Event, 1+r.IntN(80))
		values := 1 + r.IntN(12) // Few values, each in a bin of its own.
		fine := r.IntN(2) == 0   // Or any.
		for i := range events {
			p := (float64(r.IntN(values)) + 0.3) / float64(values)
			if fine {
				p = r.Float64()
			}
			events[i] = scoring.Event{Probability: p, Happened: r.Float64() < p*p}
		}
		d := scoring.Decompose(events, values)
		three := d.Reliability - d.Resolution + d.Uncertainty
		if got := three + d.WithinVariance - d.WithinCovariance; !near(got, d.Brier, 1e-14) {
			t.Fatalf("%d events: five terms %g, Brier %g", len(events), got, d.Brier)
		}
		if !fine && !near(three, d.Brier, 1e-14) {
			t.Fatalf("%d events, %d values: three terms %g, Brier %g", len(events), values, three, d.Brier)
		}
		if !(d.Reliability >= 0 && d.Resolution >= 0 && d.Resolution <= d.Uncertainty+1e-14 && d.WithinVariance >= 0) {
			t.Fatalf("out of bounds: %+v", d)
		}
		n := 0
		for i, b := range d.Table {
			n += b.N
			if !(b.From <= b.Probability+1e-9 && b.Probability <= b.To+1e-9) || i > 0 && !(d.Table[i-1].To <= b.From) {
				t.Fatalf("row %d of %+v", i, d.Table)
			}
		}
		if n != len(events) {
			t.Fatalf("the table has %d events of %d", n, len(events))
		}
	}
}

// Probabilities that are the edges of bins stand in the bins that begin there,
// though 0.57·100 is 56.99999999999999 in binary.
func TestBinsBeginAtTheirEdges(t *testing.T) {
	t.Parallel()
	for k := range 100 {
		d := scoring.Decompose([]scoring.Event{{float64(k) / 100, true}}, 100)
		if len(d.Table) != 1 || !near(d.Table[0].From, float64(k)/100, 1e-15) {
			t.Errorf("%d %%: %+v", k, d.Table)
		}
	}
}

func TestDecomposePanics(t *testing.T) {
	t.Parallel()
	one := []scoring.Event{{0.5, true}}
	for name, f := range map[string]func(){
		"no events":     func() { scoring.Decompose(nil, 10) },
		"no bins":       func() { scoring.Decompose(one, 0) },
		"negative bins": func() { scoring.Decompose(one, -3) },
		"no number":     func() { scoring.Decompose([]scoring.Event{{math.NaN(), true}}, 10) },
		"above 1":       func() { scoring.Decompose([]scoring.Event{{1.5, true}}, 10) },
	} {
		if !panics(f) {
			t.Errorf("%s: does not panic", name)
		}
	}
}
