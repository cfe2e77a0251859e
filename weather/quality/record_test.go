package quality_test

import (
	"bufio"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"ripetide/weather"
)

const data = "../../testdata/weather/"

// flagged is a day of a record with the flags of its own source, of which any
// may be blank, as are those of a good day.
type flagged struct {
	weather.Day
	lowFlag, highFlag byte
}

// fullRecord reads the whole record of Ann Arbor, with the flags, from the
// fixed columns of the GHCN-Daily layout: it shares no code with the reader of
// the package weather. Days with one value only are left out, those with a low
// above the high are not.
var fullRecord = sync.OnceValues(func() ([]flagged, error) {
	f, err := os.Open(data + "formats/ann_arbor_full.dly.gz")
	if err != nil {
		return nil, err
	}
	defer f.Close()
	unpacked, err := gzip.NewReader(f)
	if err != nil {
		return nil, err
	}
	type half struct {
		value int
		flag  byte
		seen  bool
	}
	halves := map[weather.Date]*[2]half{}
	lines := bufio.NewScanner(unpacked)
	for lines.Scan() {
		line := lines.Text() + strings.Repeat(" ", 269)
		which := map[string]int{"TMIN": 0, "TMAX": 1}
		c, ok := which[line[17:21]]
		if !ok {
			continue
		}
		for d := range 31 {
			cell := line[21+8*d : 29+8*d]
			value, err := strconv.Atoi(strings.TrimSpace(cell[:5]))
			if err != nil || value == -9999 {
				continue
			}
			date, err := weather.ParseDate(line[11:15] + "-" + line[15:17] + "-" + strconv.Itoa(101 + d)[1:])
			if err != nil {
				return nil, err
			}
			if halves[date] == nil {
				halves[date] = new([2]half)
			}
			halves[date][c] = half{value, cell[6], true}
		}
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	var out []flagged
	for date := weather.DateOf(1891, 1, 1); date < weather.DateOf(2020, 1, 1); date++ {
		if h := halves[date]; h != nil && h[0].seen && h[1].seen {
			out = append(out, flagged{weather.Day{Date: date, Min: float64(h[0].value) / 10, Max: float64(h[1].value) / 10}, h[0].flag, h[1].flag})
		}
	}
	return out, nil
})

// full returns the whole record of Ann Arbor.
func full(t testing.TB) []flagged {
	t.Helper()
	days, err := fullRecord()
	if err != nil {
		t.Fatal(err)
	}
	return days
}

// good returns the days of a record that its source does not flag.
func good(days []flagged) []weather.Day {
	var out []weather.Day
	for _, d := range days {
		if d.lowFlag == ' ' && d.highFlag == ' ' {
			out = append(out, d.Day)
		}
	}
	return out
}

// plain returns the days of a file with the header date,min_c,max_c.
func plain(t testing.TB, path string) []weather.Day {
	t.Helper()
	f, err := os.Open(filepath.FromSlash(path))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	var out []weather.Day
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		date, err := weather.ParseDate(row[0])
		if err != nil {
			continue // The header.
		}
		low, err1 := strconv.ParseFloat(row[1], 64)
		high, err2 := strconv.ParseFloat(row[2], 64)
		if err1 == nil && err2 == nil && low <= high {
			out = append(out, weather.Day{Date: date, Min: low, Max: high})
		}
	}
}
