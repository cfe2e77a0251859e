package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"ripetide/db/dbtest"
	"ripetide/forecast"
	"ripetide/weather"
)

const wholeStation = "../../testdata/weather/formats/ann_arbor_full.dly.gz"

// BenchmarkLoad loads a million days of 22 stations, each in one file of one of
// six formats, by the command. The baseline is psql's \copy of the same rows
// into a bare indexed table of the same server. Reported besides: the rate of a
// second load, which writes nothing, and the largest heap.
func BenchmarkLoad(b *testing.B) {
	const stations = 22
	f, err := os.Open(wholeStation)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	r, err := weather.Read(f, weather.ReadOptions{Latest: weather.DateOf(2026, time.January, 1)})
	if err != nil {
		b.Fatal(err)
	}
	dir, rows := b.TempDir(), stations*len(r.Days)
	var files [stations]string
	for i := range files {
		files[i] = filepath.Join(dir, fmt.Sprintf("station%d.txt", i))
		if i%len(writers) == 0 {
			files[i] = wholeStation
			continue
		}
		if err := os.WriteFile(files[i], []byte(writers[i%len(writers)](r)), 0o600); err != nil {
			b.Fatal(err)
		}
	}
	plain := filepath.Join(dir, "plain.csv")
	writeBare(b, plain, r, stations)
	for b.Loop() {
		dsn := dbtest.DSN(b)
		w := &world{Getenv: func(string) string { return "" }, Stdout: io.Discard, Stderr: io.Discard, Now: time.Now}
		conf := &config{DatabaseURL: dsn, Data: b.TempDir(), Database: mainDatabase}
		o, err := open(b.Context(), conf, mainDatabase, nil)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := o.PutFarm(b.Context(), forecast.Farm{ID: "f", Name: "F", Latitude: 42, Longitude: -83, TimeZone: "America/Detroit", Units: forecast.Metric, GapProbability: 0.5}, "bench", time.Now()); err != nil {
			b.Fatal(err)
		}
		for i := range stations {
			if _, err := o.PutStation(b.Context(), "f", weather.Station{ID: fmt.Sprintf("s%d", i), Name: "S", Latitude: 42, Longitude: -83}, "bench", time.Now()); err != nil {
				b.Fatal(err)
			}
		}
		if err := o.close(context.WithoutCancel(b.Context())); err != nil {
			b.Fatal(err)
		}
		var heap uint64
		load := func() time.Duration {
			start := time.Now()
			for i, name := range files {
				l := loadCmd{Station: fmt.Sprintf("s%d", i), Files: []string{name}}
				if err := l.Run(b.Context(), w, conf); err != nil {
					b.Fatal(err)
				}
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				heap = max(heap, m.HeapSys)
			}
			return time.Since(start)
		}
		bare := copyByPsql(b, dsn, plain)
		first := load()
		second := load()
		b.ReportMetric(float64(rows)/bare.Seconds(), "copy-rows/s")
		b.ReportMetric(float64(rows)/first.Seconds(), "load-rows/s")
		b.ReportMetric(float64(rows)/second.Seconds(), "again-rows/s")
		b.ReportMetric(bare.Seconds()/first.Seconds(), "of-copy")
		b.ReportMetric(float64(heap)/(1<<20), "heap-MiB")
	}
}

// copyByPsql returns how long psql takes to copy a file into a bare table.
func copyByPsql(b *testing.B, dsn, file string) time.Duration {
	b.Helper()
	psql := func(sql string) {
		out, err := exec.CommandContext(b.Context(), "psql", "--no-psqlrc", "--quiet", "-v", "ON_ERROR_STOP=1", dsn, "-c", sql).CombinedOutput()
		if err != nil {
			b.Fatalf("psql: %v\n%s", err, out)
		}
	}
	psql(`DROP TABLE IF EXISTS bare; CREATE TABLE bare (
		farm text COLLATE "C", station text COLLATE "C", day date, min_c float8, max_c float8, flag text,
		PRIMARY KEY (farm, station, day))`)
	start := time.Now()
	psql(`\copy bare FROM '` + file + `' WITH (FORMAT csv)`)
	return time.Since(start)
}

func writeBare(b *testing.B, name string, r *weather.Reading, stations int) {
	b.Helper()
	var out strings.Builder
	for i := range stations {
		for k, d := range r.Days {
			fmt.Fprintf(&out, "f,s%d,%s,%g,%g,%s\n", i, d.Date, d.Min, d.Max, r.Remarks[k].Flag)
		}
	}
	if err := os.WriteFile(name, []byte(out.String()), 0o600); err != nil {
		b.Fatal(err)
	}
}

// writers write a record in several formats; the first stands for the file
// itself.
var writers = []func(r *weather.Reading) string{
	nil,
	func(r *weather.Reading) string {
		return written(r, "date,min_c,max_c", func(d weather.Day) string { return fmt.Sprintf("%s,%.1f,%.1f", d.Date, d.Min, d.Max) })
	},
	func(r *weather.Reading) string {
		return written(r, "Tag;Tiefstwert (°C);Höchstwert (°C)", func(d weather.Day) string {
			return strings.ReplaceAll(fmt.Sprintf("%s;%.1f;%.1f", d.Date.Time().Format("02/01/2006"), d.Min, d.Max), ".", ",")
		})
	},
	func(r *weather.Reading) string {
		return written(r, "STATIONS_ID;MESS_DATUM;QN_3;  FX;  FM;QN_4; RSK;RSKF; SDK;SHK_TAG;  NM; VPM;  PM; TMK; UPM; TXK; TNK; TGK;eor", func(d weather.Day) string {
			return fmt.Sprintf("       2667;%s;-999;-999;-999;    3;-999;-999;-999;-999;-999;-999;-999;-999;-999;%7.1f;%7.1f;-999;eor", d.Date.Time().Format("20060102"), d.Max, d.Min)
		})
	},
	func(r *weather.Reading) string {
		return written(r, "# STN,YYYYMMDD,   TG,   TN,  TNH,   TX,  TXH", func(d weather.Day) string {
			return fmt.Sprintf("  356,%s,     ,%5.0f,    6,%5.0f,   15", d.Date.Time().Format("20060102"), math.Round(10*d.Min), math.Round(10*d.Max))
		})
	},
	func(r *weather.Reading) string {
		return written(r, "Date\tLow (°F)\tHigh (°F)", func(d weather.Day) string {
			return fmt.Sprintf("%s\t%.2f\t%.2f", d.Date.Time().Format("Jan 2, 2006"), d.Min*9/5+32, d.Max*9/5+32)
		})
	},
}

func written(r *weather.Reading, heading string, line func(weather.Day) string) string {
	var out strings.Builder
	out.WriteString(heading + "\n")
	for _, d := range r.Days {
		out.WriteString(line(d) + "\n")
	}
	return out.String()
}
