package db_test

import (
	"errors"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
)

func TestVarietyIsReadAsItWasPut(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	want := []forecast.Variety{jewel}
	for _, m := range []forecast.Method{
		forecast.DefaultMethod,
		{Kind: forecast.ClippedAverage, Base: 0, Cutoff: forecast.NoCutoff},
		{Kind: forecast.DoubleTriangle, Base: -2.5, Upper: 28.25, Cutoff: forecast.Vertical},
		{Kind: forecast.Average, Base: 1, Upper: 25, Cutoff: forecast.Intermediate},
	} {
		v := forecast.Variety{
			ID: "v" + string(rune('0'+len(want))), Name: "Variety", Ripens: forecast.Class(len(want)),
			Requirement: &forecast.Requirement{FirstRipe: 340.1, Peak: 400.2, LastPick: 490.3, Method: m},
		}
		must(t)(s.PutVariety(t.Context(), "hill", v, "test", at(1)))
		want = append(want, v)
	}
	got, err := s.Varieties(t.Context(), "hill")
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	one, err := s.Variety(t.Context(), "hill", "v2")
	if diff := cmp.Diff(want[2], one); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	// The belief is given up.
	without := want[2]
	without.Requirement = nil
	if _, err := s.PutVariety(t.Context(), "hill", without, "test", at(2)); err != nil {
		t.Fatal(err)
	}
	if one, err := s.Variety(t.Context(), "hill", "v2"); err != nil || one.Requirement != nil {
		t.Errorf("%+v, %v", one, err)
	}
}

func TestVarietyThatCannotBe(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	if _, err := s.PutVariety(t.Context(), "dale", jewel, "test", t0); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("on no farm: %v", err)
	}
	if _, err := s.Variety(t.Context(), "hill", "earliglow"); !errors.Is(err, forecast.ErrVarietyNotFound) {
		t.Errorf("not there: %v", err)
	}
	bad := jewel
	bad.Requirement = &forecast.Requirement{FirstRipe: 340, Peak: math.NaN(), LastPick: 490, Method: forecast.DefaultMethod}
	if _, err := s.PutVariety(t.Context(), "hill", bad, "test", at(1)); !errors.Is(err, forecast.ErrInvalid) {
		t.Errorf("NaN: %v", err)
	}
	bad = jewel
	bad.Name = "nul\x00"
	if _, err := s.PutVariety(t.Context(), "hill", bad, "test", at(1)); !errors.Is(err, forecast.ErrInvalid) {
		t.Errorf("a name that text cannot hold: %v", err)
	}
}
