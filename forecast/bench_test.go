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

// BenchmarkDesign tries a change of the demo farm's planting list, 12 plantings
// over 43 years, and ranks 17 things to plant.
func BenchmarkDesign(b *testing.B) {
	d, err := testdata.ReadDemo()
	if err != nil {
		b.Fatal(err)
	}
	in, err := d.Inputs()
	if err != nil {
		b.Fatal(err)
	}
	late := forecast.VeryLate
	for b.Loop() {
		if _, _, err := forecast.Design(in, 2019, []forecast.Change{{Add: &forecast.Addition{Ripens: &late, AreaM2: 1000}}}); err != nil {
			b.Fatal(err)
		}
	}
}
