package forecast_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"ripetide/forecast"
)

func effects() forecast.Effects {
	r := rand.New(rand.NewPCG(1, 1))
	season := []float64{-0.05, 0.07, 0.01, -0.02}
	noise := make(map[[3]int]float64)
	return forecast.Effects{
		Plantings: 5, Seasons: 4, Noise: 0.012, Bloom: 0.03, SeenNow: math.Log(290),
		Log: func(p, y, s int) float64 {
			k := [3]int{p, y, s}
			if _, ok := noise[k]; !ok {
				noise[k] = 0.03 * r.NormFloat64()
			}
			return math.Log([]float64{330, 390, 470}[s]+10*float64(p)) + season[y] + noise[k]
		},
	}
}

// The oracle conditions in the space of observations, by the textbook formula
// for a partitioned Gaussian: no precision matrix, no effects.
func TestConditioningAgreesWithPartitionedGaussian(t *testing.T) {
	t.Parallel()
	e := effects()
	mean, sd, err := e.Posterior()
	if err != nil {
		t.Fatal(err)
	}
	prior, observed, cov := e.Covariances()
	n, d := len(observed), len(mean)
	s := mat.NewDense(n+d, n+d, nil)
	for i, row := range cov {
		s.SetRow(i, row)
	}
	soo, sto, stt := s.Slice(0, n, 0, n), s.Slice(n, n+d, 0, n), s.Slice(n, n+d, n, n+d)
	diff := mat.NewVecDense(n, nil)
	for i, y := range observed {
		diff.SetVec(i, y-prior[i])
	}
	var w, wt, shift mat.Dense
	if err := w.Solve(soo, diff); err != nil {
		t.Fatal(err)
	}
	shift.Mul(sto, &w)
	if err := wt.Solve(soo, sto.T()); err != nil {
		t.Fatal(err)
	}
	var less, left mat.Dense
	less.Mul(sto, &wt)
	left.Sub(stt, &less)
	for i := range d {
		if want := prior[n+i] + shift.At(i, 0); !near(mean[i], want, 1e-9) {
			t.Errorf("mean of requirement %d is %v, want %v", i, mean[i], want)
		}
		if want := math.Sqrt(left.At(i, i)); !near(sd[i], want, 1e-9) {
			t.Errorf("sd of requirement %d is %v, want %v", i, sd[i], want)
		}
	}
}

// What the first planting does moves the others the same way.
func TestOneStageSeenMovesTheOtherPlantings(t *testing.T) {
	t.Parallel()
	early, late := effects(), effects()
	early.SeenNow, late.SeenNow = math.Log(280), math.Log(380)
	a, _, err := early.Posterior()
	if err != nil {
		t.Fatal(err)
	}
	b, _, err := late.Posterior()
	if err != nil {
		t.Fatal(err)
	}
	for i := range a {
		if !(a[i] < b[i]) {
			t.Errorf("requirement %d is %v after an early first planting and %v after a late one", i, a[i], b[i])
		}
	}
}

// Slice sampling and rejection must agree on a distribution that both can draw
// from, here with two stages "not yet" reached.
func TestSliceSamplingAgreesWithRejection(t *testing.T) {
	t.Parallel()
	e := effects()
	mean, sd, err := e.Posterior()
	if err != nil {
		t.Fatal(err)
	}
	above := make([]float64, len(mean))
	for i := range above {
		above[i] = math.Inf(-1)
	}
	above[3], above[6] = mean[3]+0.3*sd[3], mean[6]+0.2*sd[6]
	const n = 4000
	a, strained, err := forecast.Truncated(e, above, n)
	if err != nil {
		t.Fatal(err)
	}
	if strained > n/100 {
		t.Fatalf("rejection failed for %d of %d", strained, n)
	}
	b, err := forecast.Settled(e, above, n)
	if err != nil {
		t.Fatal(err)
	}
	for i := range mean {
		ma, mb := column(a, i), column(b, i)
		// Four standard errors of the difference of two means.
		if tol := 4 * sd[i] * math.Sqrt(2.0/n); !near(ma, mb, tol) {
			t.Errorf("mean of component %d: rejection %v, slice sampling %v, tolerance %v", i, ma, mb, tol)
		}
		for k := range b {
			if !(b[k][i] > above[i]) {
				t.Fatalf("slice sampling draw %d has component %d at %v, bound %v", k, i, b[k][i], above[i])
			}
		}
	}
}

// Far outside the record nothing fails: the draws come from the tail.
func TestDrawsFarOutsideTheRecordStayFinite(t *testing.T) {
	t.Parallel()
	e := effects()
	mean, sd, err := e.Posterior()
	if err != nil {
		t.Fatal(err)
	}
	above := make([]float64, len(mean))
	for i := range above {
		above[i] = math.Inf(-1)
	}
	above[3] = mean[3] + 12*sd[3]
	xs, strained, err := forecast.Truncated(e, above, 100)
	if err != nil {
		t.Fatal(err)
	}
	if strained != 100 {
		t.Errorf("%d of 100 draws were strained, want all", strained)
	}
	for _, x := range xs {
		for i, v := range x {
			if !(v > above[i]) || math.IsInf(v, 0) || i%3 != 0 && !(v > x[i-1]) {
				t.Fatalf("draw %v breaks its bounds at %d", x, i)
			}
		}
	}
}

func column(xs [][]float64, i int) (mean float64) {
	for _, x := range xs {
		mean += x[i]
	}
	return mean / float64(len(xs))
}
