package weather_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"ripetide/weather"
)

func TestAligned(t *testing.T) {
	t.Parallel()
	const day0 = weather.Date(20_000) // 2024-10-04.
	day := func(n int, low, high float64) weather.Day {
		return weather.Day{Date: day0 + weather.Date(n), Min: low, Max: high}
	}
	from := func(n, hour int) weather.ReadingHour {
		return weather.ReadingHour{From: day0 + weather.Date(n), Hour: hour}
	}
	written := []weather.Day{day(1, 1, 11), day(2, 2, 12), day(3, 3, 13), day(4, 4, 14), day(6, 6, 16), day(7, 7, 17)}
	for _, tt := range []struct {
		name    string
		days    []weather.Day
		hours   []weather.ReadingHour
		want    string // Date, min and max of each day, by the number of the date.
		dropped string
	}{
		{"no hours", written, nil, "1:1,11 2:2,12 3:3,13 4:4,14 6:6,16 7:7,17", ""},
		{"read at midnight", written, []weather.ReadingHour{from(0, 24)}, "1:1,11 2:2,12 3:3,13 4:4,14 6:6,16 7:7,17", ""},
		{"read in the afternoon", written, []weather.ReadingHour{from(0, 17)}, "1:1,11 2:2,12 3:3,13 4:4,14 6:6,16 7:7,17", ""},
		{"read at 11", written, []weather.ReadingHour{from(0, 11)}, "1:1,11 2:2,12 3:3,13 4:4,14 6:6,16 7:7,17", ""},
		{"read at 10, to a hole and to the end", written, []weather.ReadingHour{from(0, 10)}, "1:1,12 2:2,13 3:3,14 6:6,17", ""},
		{"read at 1", written, []weather.ReadingHour{from(0, 1)}, "1:1,12 2:2,13 3:3,14 6:6,17", ""},
		{"an hour that no clock has", written, []weather.ReadingHour{from(0, 0)}, "1:1,11 2:2,12 3:3,13 4:4,14 6:6,16 7:7,17", ""},
		{"to the morning: 2 keeps its own", written, []weather.ReadingHour{from(0, 24), from(3, 7)}, "1:1,11 2:2,12 3:3,14 6:6,17", ""},
		{"from the morning: 2 has none", written, []weather.ReadingHour{from(0, 7), from(3, 17)}, "1:1,12 3:3,13 4:4,14 6:6,16 7:7,17", ""},
		{"from a morning hour to another", written, []weather.ReadingHour{from(0, 7), from(3, 8)}, "1:1,12 2:2,13 3:3,14 6:6,17", ""},
		{"a day of the morning", written, []weather.ReadingHour{from(0, 24), from(3, 7), from(4, 24)}, "1:1,11 2:2,12 4:4,14 6:6,16 7:7,17", ""},
		{"changes in the hole", written, []weather.ReadingHour{from(0, 24), from(4, 7), from(5, 24)}, "1:1,11 2:2,12 3:3,13 6:6,16 7:7,17", ""},
		{"before the first hour as written", written, []weather.ReadingHour{from(3, 7)}, "1:1,11 2:2,12 3:3,14 6:6,17", ""},
		{"hours all before the days", written, []weather.ReadingHour{from(-9, 17), from(-5, 24), from(-2, 7)}, "1:1,12 2:2,13 3:3,14 6:6,17", ""},
		{"hours all after the days", written, []weather.ReadingHour{from(9, 7)}, "1:1,11 2:2,12 3:3,13 4:4,14 6:6,16 7:7,17", ""},
		{"a low above its high", []weather.Day{day(1, 5, 9), day(2, 1, 4.9), day(3, -5, 1), day(4, -7, 0)}, []weather.ReadingHour{from(0, 7)}, "2:1,1 3:-5,0", "1"},
		{"two dropped", []weather.Day{day(1, 5, 9), day(2, 3, 4), day(3, 1, 2), day(4, 0, 8)}, []weather.ReadingHour{from(0, 7)}, "3:1,8", "1 2"},
		{"nothing", nil, []weather.ReadingHour{from(0, 7)}, "", ""},
		{"a day", written[:1], []weather.ReadingHour{from(0, 7)}, "", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			before := slices.Clone(tt.days)
			days, dropped := weather.Aligned(tt.days, tt.hours)
			var got, gone []string
			for _, d := range days {
				got = append(got, fmt.Sprintf("%d:%g,%g", d.Date-day0, d.Min, d.Max))
			}
			for _, d := range dropped {
				gone = append(gone, fmt.Sprintf("%d", d-day0))
			}
			if strings.Join(got, " ") != tt.want || strings.Join(gone, " ") != tt.dropped {
				t.Errorf("got  %v, dropped %v\nwant %s, dropped %s", got, gone, tt.want, tt.dropped)
			}
			if !slices.Equal(tt.days, before) {
				t.Error("the days were changed")
			}
		})
	}
	if days, _ := weather.Aligned(written, []weather.ReadingHour{from(0, 24)}); &days[0] != &written[0] {
		t.Error("days that need not be aligned were copied")
	}
}

// A record of civil days, written as by a reader in the morning, comes back.
func TestAlignedUndoesAMorning(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 1))
	var civil, written []weather.Day
	for i := range 200 {
		low := r.NormFloat64()
		civil = append(civil, weather.Day{Date: weather.Date(i), Min: low, Max: low + 10 + r.Float64()})
	}
	for i := 1; i < len(civil); i++ {
		written = append(written, weather.Day{Date: civil[i].Date, Min: civil[i].Min, Max: civil[i-1].Max})
	}
	got, dropped := weather.Aligned(written, []weather.ReadingHour{{From: -5, Hour: 7}})
	if !slices.Equal(got, civil[1:len(civil)-1]) || dropped != nil {
		t.Errorf("%d days and %d dropped, want the %d there were", len(got), len(dropped), len(civil)-2)
	}
}

func FuzzAligned(f *testing.F) {
	f.Add([]byte("0a0b1a0c0x"), uint8(7), uint8(24), uint8(3))
	f.Add([]byte("abcdefghijklmnopqrstuvwxyz"), uint8(10), uint8(7), uint8(5))
	f.Fuzz(func(t *testing.T, b []byte, first, second, change uint8) {
		var days []weather.Day
		date := weather.Date(0)
		for ; len(b) >= 2 && len(days) < 2000; b = b[2:] {
			date += 1 + weather.Date(b[0]/200)
			low := float64(int8(b[0]*7)) / 4
			days = append(days, weather.Day{Date: date, Min: low, Max: low + float64(b[1])/10})
		}
		hours := []weather.ReadingHour{{From: 1, Hour: int(first % 26)}, {From: weather.Date(change), Hour: int(second % 26)}}
		got, dropped := weather.Aligned(days, hours)
		if _, err := weather.NewSeries(got); err != nil {
			t.Fatal(err)
		}
		at := map[weather.Date]weather.Day{}
		for _, d := range days {
			at[d.Date] = d
		}
		for _, d := range got {
			// The low is of its date, the high of the date or of the next.
			if was, ok := at[d.Date]; !ok || was.Min != d.Min || was.Max != d.Max && at[d.Date+1].Max != d.Max {
				t.Fatalf("%v was not written", d)
			}
			if slices.Contains(dropped, d.Date) {
				t.Fatalf("%v was dropped and is there", d)
			}
		}
		if !slices.IsSorted(dropped) || len(got)+len(dropped) > len(days) {
			t.Fatalf("%d days and %v of %d", len(got), dropped, len(days))
		}
	})
}
