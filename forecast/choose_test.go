package forecast_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"ripetide/forecast"
)

func TestNewMethod(t *testing.T) {
	t.Parallel()
	at := func(x float64) *float64 { return &x }
	for _, tt := range []struct {
		name   string
		kind   forecast.Kind
		base   float64
		upper  *float64
		cutoff forecast.Cutoff
		fields []string // That are at fault.
	}{
		{"with a cutoff", forecast.SingleSine, 2, at(30), forecast.Horizontal, nil},
		{"without", forecast.Average, 2, nil, forecast.NoCutoff, nil},
		{"cutoff at 0 °C", forecast.DoubleSine, -5, at(0), forecast.Vertical, nil},
		{"threshold without a cutoff", forecast.SingleSine, 2, at(30), forecast.NoCutoff, []string{"upper_c"}},
		{"cutoff without a threshold", forecast.SingleSine, 2, nil, forecast.Horizontal, []string{"upper_c"}},
		{"cutoff without a threshold, below 0 °C", forecast.SingleSine, -5, nil, forecast.Horizontal, []string{"upper_c"}},
		{"threshold at the base", forecast.SingleSine, 2, at(2), forecast.Horizontal, []string{"upper_c"}},
		{"no number", forecast.SingleSine, math.NaN(), at(math.NaN()), forecast.Horizontal, []string{"base_c", "upper_c"}},
		{"nothing right", "sine", 21, nil, "soft", []string{"method", "base_c", "cutoff"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			m, errs := forecast.NewMethod(tt.kind, tt.base, tt.upper, tt.cutoff)
			var fields []string
			for _, err := range errs {
				f, ok := errors.AsType[*forecast.FieldError](err)
				if !ok {
					t.Fatalf("%v is no FieldError", err)
				}
				fields = append(fields, f.Field)
			}
			if !slices.Equal(fields, tt.fields) {
				t.Errorf("faults of %q, want %q", fields, tt.fields)
			}
			want := forecast.Method{}
			if tt.fields == nil {
				want = forecast.Method{Kind: tt.kind, Base: tt.base, Cutoff: tt.cutoff}
				if tt.upper != nil {
					want.Upper = *tt.upper
				}
			}
			if m != want {
				t.Errorf("got %+v, want %+v", m, want)
			}
		})
	}
}
