package charts_test

import (
	"io"
	"testing"

	"ripetide/charts"
)

func BenchmarkSVG(b *testing.B) {
	s := sample()
	b.ReportAllocs()
	for b.Loop() {
		if err := s.WriteSVG(io.Discard, charts.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPNG(b *testing.B) {
	s := sample()
	b.ReportAllocs()
	for b.Loop() {
		if err := s.WritePNG(io.Discard, charts.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
