package db_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

const (
	benchStations = 69
	benchDays     = 14_600 // 40 years.
)

// benchRecord returns a record that looks like weather.
func benchRecord() []weather.Day {
	r := rand.New(rand.NewPCG(1, 1))
	first := weather.DateOf(1985, time.January, 1)
	days := make([]weather.Day, benchDays)
	for i := range days {
		mean := 10 - 14*math.Cos(2*math.Pi*float64(i)/365.25) + 4*r.NormFloat64()
		half := 2 + 6*r.Float64()
		days[i] = weather.Day{Date: first + weather.Date(i), Min: math.Round((mean-half)*10) / 10, Max: math.Round((mean+half)*10) / 10}
	}
	return days
}

// BenchmarkLoadMillion compares the load of a million days through AddDays,
// one call for a station of 40 years, with the COPY of the same rows into a
// bare table that has the same key. The two take turns.
func BenchmarkLoadMillion(b *testing.B) {
	days := benchRecord()
	const rows = benchStations * benchDays
	var bare, added time.Duration
	for b.Loop() {
		s, pool := benchFarm(b)
		bare += timed(b, pool, func() { copyBare(b, pool, days) })
		added += timed(b, pool, func() { load(b, s, days, benchDays) })
		s.Close()
		pool.Close()
	}
	rate := func(d time.Duration) float64 { return rows * float64(b.N) / d.Seconds() }
	b.ReportMetric(rate(bare), "bare-rows/s")
	b.ReportMetric(rate(added), "rows/s")
	b.ReportMetric(bare.Seconds()/added.Seconds(), "ratio")
}

// BenchmarkReload measures the load of a million days that are on record.
func BenchmarkReload(b *testing.B) {
	days := benchRecord()
	s, _ := benchFarm(b)
	load(b, s, days, benchDays)
	for b.Loop() {
		load(b, s, days, benchDays)
	}
	b.ReportMetric(benchStations*benchDays*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

// BenchmarkAddDays measures single calls of different lengths.
func BenchmarkAddDays(b *testing.B) {
	days := benchRecord()
	for _, n := range []int{1, 10, 100, 1000, 14_600} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s, _ := benchFarm(b)
			i := 0
			for b.Loop() {
				station, chunk := i/(benchDays/n)%benchStations, i%(benchDays/n)
				if _, err := s.AddDays(b.Context(), "bench", stationName(station), weather.Delivery{Source: "bench", Days: days[chunk*n : (chunk+1)*n]}, t0); err != nil {
					b.Fatal(err)
				}
				i++
			}
			b.ReportMetric(float64(n*b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}

// BenchmarkInputs measures what a forecast reads: one station of 40 years.
func BenchmarkInputs(b *testing.B) {
	days := benchRecord()
	s, _ := farmed(b)
	if _, err := s.AddDays(b.Context(), "hill", "barn", weather.Delivery{Source: "bench", Days: days}, t0); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		in, err := s.Inputs(b.Context(), "hill", at(1))
		if err != nil || in.Records[0].Days.Len() != benchDays {
			b.Fatal(err)
		}
	}
}

// BenchmarkDays measures the reading of the whole record of a station.
func BenchmarkDays(b *testing.B) {
	s, _ := farmed(b)
	if _, err := s.AddDays(b.Context(), "hill", "barn", weather.Delivery{Source: "bench", Days: benchRecord()}, t0); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		days, err := s.Days(b.Context(), "hill", "barn", nil, nil, nil)
		if err != nil || len(days) != benchDays {
			b.Fatal(err)
		}
	}
}

func benchFarm(b *testing.B) (*db.Store, *pgxpool.Pool) {
	b.Helper()
	s, pool := open(b)
	must(b)(s.PutFarm(b.Context(), forecast.Farm{ID: "bench", Name: "Bench", TimeZone: "UTC", Units: forecast.Metric, GapProbability: 0.5}, "bench", t0))
	for i := range benchStations {
		must(b)(s.PutStation(b.Context(), "bench", weather.Station{ID: stationName(i), Name: "Station"}, "bench", t0))
	}
	return s, pool
}

func stationName(i int) string { return fmt.Sprintf("station-%02d", i) }

// timed returns how long f takes, without the writes that others left to the
// server.
func timed(b *testing.B, pool *pgxpool.Pool, f func()) time.Duration {
	b.Helper()
	if _, err := pool.Exec(b.Context(), "CHECKPOINT"); err != nil {
		b.Fatal(err)
	}
	start := time.Now()
	f()
	return time.Since(start)
}

func load(b *testing.B, s *db.Store, days []weather.Day, n int) {
	b.Helper()
	for i := range benchStations {
		for chunk := days; len(chunk) > 0; chunk = chunk[min(n, len(chunk)):] {
			if _, err := s.AddDays(b.Context(), "bench", stationName(i), weather.Delivery{Source: "bench", Days: chunk[:min(n, len(chunk))]}, t0); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func copyBare(b *testing.B, pool *pgxpool.Pool, days []weather.Day) {
	b.Helper()
	if _, err := pool.Exec(b.Context(), `
		CREATE TABLE bare (
			farm text COLLATE "C", station text COLLATE "C", day date, min_c float8, max_c float8,
			PRIMARY KEY (farm, station, day)
		)`); err != nil {
		b.Fatal(err)
	}
	i := 0
	n, err := pool.CopyFrom(b.Context(), pgx.Identifier{"bare"}, []string{"farm", "station", "day", "min_c", "max_c"},
		pgx.CopyFromFunc(func() ([]any, error) {
			if i == benchStations*benchDays {
				return nil, nil
			}
			d := days[i%benchDays]
			station := stationName(i / benchDays)
			i++
			return []any{"bench", station, d.Date.Time(), d.Min, d.Max}, nil
		}))
	if err != nil || n != benchStations*benchDays {
		b.Fatal(n, err)
	}
}
