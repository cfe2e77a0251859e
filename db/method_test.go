package db_test

import (
	"errors"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/db"
	"ripetide/forecast"
)

var (
	base2  = forecast.Method{Kind: forecast.SingleSine, Base: 2, Upper: 30, Cutoff: forecast.Horizontal}
	uncut  = forecast.Method{Kind: forecast.DoubleTriangle, Base: 2.5, Cutoff: forecast.NoCutoff}
	cutAt0 = forecast.Method{Kind: forecast.Average, Base: -5, Upper: 0, Cutoff: forecast.Vertical}
)

func chose(m forecast.Method, by string, n int, reason string) forecast.MethodChoice {
	return forecast.MethodChoice{Method: m, By: by, At: at(n), Reason: reason}
}

func methods(t testing.TB, s *db.Store) []forecast.MethodChoice {
	t.Helper()
	list, err := s.Methods(t.Context(), "hill")
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func TestMethodsAreReadAsTheyWereChosen(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	if got := methods(t, s); got == nil || len(got) != 0 {
		t.Errorf("of a farm that never chose: %#v", got)
	}
	sloppy := uncut
	sloppy.Upper = 30 // Means nothing.
	for i, c := range []forecast.MethodChoice{
		chose(base2, "Ann", 10, "fits our seasons"),
		chose(base2, "Bob", 11, "fits our seasons"), // Nothing new, whoever says it.
		chose(sloppy, "Bob", 12, ""),
		chose(uncut, "Bob", 13, ""), // Nothing new.
		chose(sloppy, "Bob", 13, ""),
		chose(cutAt0, "Ann", 14, ""),
		chose(cutAt0, "Ann", 15, "a trial"), // A reason is.
		chose(base2, "Ann", 16, "back"),
	} {
		if created, err := s.PutMethod(t.Context(), "hill", c, "test"); err != nil || created != (i == 0) {
			t.Errorf("choice %d: created %v, %v", i+1, created, err)
		}
	}
	want := []forecast.MethodChoice{
		chose(base2, "Ann", 16, "back"),
		chose(cutAt0, "Ann", 15, "a trial"),
		chose(cutAt0, "Ann", 14, ""),
		chose(uncut, "Bob", 12, ""),
		chose(base2, "Ann", 10, "fits our seasons"),
	}
	if diff := cmp.Diff(want, methods(t, s)); diff != "" {
		t.Error(diff)
	}
	if n := count(t, pool, "method_version WHERE recorded_by = 'test'"); n != len(want) {
		t.Errorf("%d versions, want %d", n, len(want))
	}
}

func TestMethodAsItWasKnown(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	for _, c := range []forecast.MethodChoice{
		chose(base2, "Ann", 10, ""),
		chose(uncut, "Ann", 20, ""),
		chose(cutAt0, "Ann", 15, ""), // By a clock that is behind: it holds from 20 on.
	} {
		if _, err := s.PutMethod(t.Context(), "hill", c, "test"); err != nil {
			t.Fatal(err)
		}
	}
	for n, want := range map[int]*forecast.MethodChoice{
		0: nil, 9: nil,
		10: ptr(chose(base2, "Ann", 10, "")), 19: ptr(chose(base2, "Ann", 10, "")),
		20: ptr(chose(cutAt0, "Ann", 20, "")), 99: ptr(chose(cutAt0, "Ann", 20, "")),
	} {
		in, err := s.Inputs(t.Context(), "hill", at(n))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, in.Choice); diff != "" {
			t.Errorf("at minute %d:\n%s", n, diff)
		}
	}
}

func TestMethodBelongsToAFarm(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	dale := hill
	dale.ID = "dale"
	must(t)(s.PutFarm(t.Context(), dale, "test", at(5)))
	must(t)(s.PutMethod(t.Context(), "dale", chose(base2, "Ann", 1, ""), "test"))
	if got := methods(t, s); len(got) != 0 {
		t.Errorf("another farm's method: %v", got)
	}
	in, err := s.Inputs(t.Context(), "hill", at(9))
	if err != nil || in.Choice != nil {
		t.Errorf("inputs have another farm's method: %v, %v", in.Choice, err)
	}
	// It is not known before its farm is.
	in, err = s.Inputs(t.Context(), "dale", at(5))
	if diff := cmp.Diff(ptr(chose(base2, "Ann", 5, "")), in.Choice); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	if _, err := s.PutMethod(t.Context(), "moor", chose(base2, "Ann", 1, ""), "test"); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("a method of no farm: %v", err)
	}
	for _, m := range []forecast.Method{{}, {Kind: forecast.Average, Base: 21, Cutoff: forecast.NoCutoff}, {Kind: forecast.Average, Base: 3, Upper: 3, Cutoff: forecast.Vertical}} {
		if _, err := s.PutMethod(t.Context(), "hill", chose(m, "Ann", 9, ""), "test"); !errors.Is(err, forecast.ErrInvalid) {
			t.Errorf("%+v: %v, want ErrInvalid", m, err)
		}
	}
	if n := count(t, pool, "method_version"); n != 1 {
		t.Errorf("%d versions, want 1", n)
	}
}

// TestManyChooseOneMethod: those who choose the same write one version.
func TestManyChooseOneMethod(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	for _, m := range []forecast.Method{base2, uncut} {
		var created atomic.Int32
		var wg sync.WaitGroup
		for range 20 {
			wg.Go(func() {
				ok, err := s.PutMethod(t.Context(), "hill", chose(m, "Ann", 1, ""), "test")
				if err != nil {
					t.Error(err)
				}
				if ok {
					created.Add(1)
				}
			})
		}
		wg.Wait()
		if want := map[forecast.Method]int32{base2: 1}[m]; created.Load() != want {
			t.Errorf("%s was the first %d times, want %d", m, created.Load(), want)
		}
	}
	want := []forecast.MethodChoice{chose(uncut, "Ann", 1, ""), chose(base2, "Ann", 1, "")}
	if diff := cmp.Diff(want, methods(t, s)); diff != "" {
		t.Error(diff)
	}
}
