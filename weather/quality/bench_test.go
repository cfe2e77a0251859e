package quality_test

import (
	"testing"

	"ripetide/weather"
	"ripetide/weather/quality"
)

// A forecast checks every station each time: 5 ms for 15,000 days and 20 ms
// for 46,000 are wanted.
func BenchmarkCheck(b *testing.B) {
	var all []weather.Day
	for _, d := range full(b) {
		if d.Min <= d.Max {
			all = append(all, d.Day)
		}
	}
	for _, tt := range []struct {
		name string
		days []weather.Day
	}{{"365", all[len(all)-365:]}, {"15000", all[len(all)-15_000:]}, {"46000", all}} {
		b.Run(tt.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				quality.Check(tt.days, quality.Place{Latitude: 42.3, Elevation: 274})
			}
		})
	}
}
