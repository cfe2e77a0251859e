package quality_test

import (
	"cmp"
	"encoding/binary"
	"math"
	"reflect"
	"slices"
	"testing"

	"ripetide/weather"
	"ripetide/weather/quality"
)

// fuzzDays makes days in order of any bytes: a step, and tenths of a degree,
// seldom something impossible.
func fuzzDays(start int32, b []byte) []weather.Day {
	var days []weather.Day
	date := weather.Date(start % 200_000)
	for ; len(b) >= 5 && len(days) < 4000; b = b[5:] {
		date++
		if b[0] > 250 {
			date += weather.Date(b[0]-250) * 77
		}
		d := weather.Day{Date: date, Min: float64(int16(binary.LittleEndian.Uint16(b[1:]))%700) / 10, Max: float64(int16(binary.LittleEndian.Uint16(b[3:]))%700) / 10}
		switch {
		case b[0] == 250:
			d.Min = math.NaN()
		case b[0] == 249:
			d.Max = math.Inf(1)
		case b[0] < 240 && d.Min > d.Max:
			d.Min, d.Max = d.Max, d.Min
		}
		days = append(days, d)
	}
	return days
}

func FuzzCheck(f *testing.F) {
	seed := func(days []weather.Day) []byte {
		var b []byte
		for _, d := range days {
			b = append(b, 0)
			b = binary.LittleEndian.AppendUint16(b, uint16(int16(math.Round(10*d.Min))))
			b = binary.LittleEndian.AppendUint16(b, uint16(int16(math.Round(10*d.Max))))
		}
		return b
	}
	days := plain(f, data+"lahr_2005_2014.csv")
	f.Add(int32(12_784), seed(days[:200]), 48.4, 155.0, uint8(1))
	f.Add(int32(-40_000), seed(days[:100]), -91.0, math.NaN(), uint8(7))
	f.Add(int32(0), []byte("\xfa0000\xf90000\xff00000000000000000000000000000"), 0.0, 0.0, uint8(0))
	f.Fuzz(func(t *testing.T, start int32, b []byte, latitude, elevation float64, hour uint8) {
		days := fuzzDays(start, b)
		place := quality.Place{Latitude: latitude, Elevation: elevation}
		before := slices.Clone(days)
		got := quality.Check(days, place)
		if !slices.EqualFunc(days, before, func(a, b weather.Day) bool { return reflect.DeepEqual(a, b) || a.Min != a.Min || a.Max != a.Max }) {
			t.Fatal("days were changed")
		}
		if again := quality.Check(days, place); !slices.Equal(got, again) {
			t.Fatal("not the same again")
		}
		for i, s := range got {
			at, ok := slices.BinarySearchFunc(days, s.Date, func(d weather.Day, date weather.Date) int { return cmp.Compare(d.Date, date) })
			if !ok {
				t.Fatalf("%v is not on record", s)
			}
			if _, err := weather.NewDay(days[at].Date, days[at].Min, days[at].Max); err != nil || s.Test == "" || s.Detail == "" {
				t.Fatalf("%v of %v", s, days[at])
			}
			if i > 0 && cmp.Or(cmp.Compare(got[i-1].Date, s.Date), cmp.Compare(got[i-1].Test, s.Test)) >= 0 {
				t.Fatalf("%v before %v", got[i-1], s)
			}
		}
		remarks := make([]weather.Remark, len(days))
		for i := range remarks {
			remarks[i].Hour = int8(int(b[5*i]) % (int(hour) + 1))
		}
		for _, r := range [][]weather.Remark{remarks, nil} {
			g, ok := quality.GuessHour(days, r)
			if ok != (len(g.Hours) > 0) || ok != (g.Evidence != "") {
				t.Fatalf("%v %v", ok, g)
			}
			for i, h := range g.Hours {
				if h.Hour < 1 || h.Hour > 24 || i == 0 && h.From != days[0].Date || i > 0 && (h.From <= g.Hours[i-1].From || h.Hour == g.Hours[i-1].Hour) {
					t.Fatalf("hours %v", g.Hours)
				}
			}
		}
	})
}
