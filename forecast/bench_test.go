package forecast_test

import (
	"testing"

	"ripetide/forecast"
	"ripetide/testdata"
)

// BenchmarkMayMove is the whole forecast of the demo farm a fortnight earlier, and
// how its advice may move, which forecasts again from every trace.
func BenchmarkMayMove(b *testing.B) {
	d, err := testdata.ReadDemo()
	if err != nil {
		b.Fatal(err)
	}
	in, err := d.Inputs()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		f, err := forecast.ComputeMayMove(in, d.AsOf-14)
		if err != nil || f.Advice.MayMove == nil {
			b.Fatal(f, err)
		}
	}
}

// BenchmarkCompute is the whole forecast of the demo farm, without a database:
// 11 plantings, 42 traces, about 1,000 members, eleven past seasons.
func BenchmarkCompute(b *testing.B) {
	d, err := testdata.ReadDemo()
	if err != nil {
		b.Fatal(err)
	}
	in, err := d.Inputs()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := forecast.Compute(in, d.AsOf); err != nil {
			b.Fatal(err)
		}
	}
}
