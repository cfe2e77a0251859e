package quality_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"ripetide/weather"
	"ripetide/weather/quality"
)

// TestConfusion sets what Check says of the whole record of Ann Arbor against
// the flags of the record's own source: G gap, I internal consistency and S
// spatial consistency. It also tests for D duplicate, K streak, N naught, O
// climatological outlier, R lagged range and T temporal consistency, and found
// none.
func TestConfusion(t *testing.T) {
	t.Parallel()
	var days []weather.Day
	flags := map[weather.Date]string{} // Of a day, in order, each once.
	total := map[string]int{}
	for _, d := range full(t) {
		if d.Min > d.Max {
			continue // Refused at the door.
		}
		days = append(days, d.Day)
		f := strings.ReplaceAll(string([]byte{d.lowFlag, d.highFlag}), " ", "")
		if len(f) == 2 && f[0] == f[1] {
			f = f[:1]
		}
		flags[d.Date] = f
		total[f]++
	}
	table := map[string]map[string]int{}
	seen := map[weather.Date]bool{}
	add := func(test string, flag string) {
		if table[test] == nil {
			table[test] = map[string]int{}
		}
		table[test][flag]++
	}
	for _, s := range quality.Check(days, quality.Place{Latitude: 42.3, Elevation: 274}) {
		add(string(s.Test), flags[s.Date])
		if !seen[s.Date] {
			seen[s.Date] = true
			add("any", flags[s.Date])
		}
	}
	table["days"] = total
	var text strings.Builder
	columns := []string{"G", "I", "S", "SI", ""}
	fmt.Fprintf(&text, "%-10s %6s %6s %6s %6s %8s\n", "", "G", "I", "S", "S and I", "none")
	for _, test := range slices.Sorted(maps.Keys(table)) {
		fmt.Fprintf(&text, "%-10s", test)
		for _, c := range columns {
			fmt.Fprintf(&text, " %6d", table[test][c])
		}
		fmt.Fprintln(&text)
	}
	t.Log("\n" + text.String())
	// The four days with the low above the high, all flagged I, are refused.
	want := map[string]map[string]int{
		"days":      {"": 45_605, "I": 265, "S": 10, "SI": 1, "G": 1},
		"any":       {"": 23, "I": 117, "S": 1, "SI": 1, "G": 1},
		"neighbour": {"": 13, "I": 117, "SI": 1},
		"spike":     {"": 10, "S": 1, "G": 1},
		"gap":       {"G": 1},
		"range":     {"G": 1},
		"season":    {"G": 1},
	}
	if len(table) != len(want) {
		t.Errorf("%d rows, want %d", len(table), len(want))
	}
	for test, row := range want {
		if !maps.Equal(table[test], row) {
			t.Errorf("%s: %v, want %v", test, table[test], row)
		}
	}
	if marked := table["any"][""]; 1000*marked >= total[""] {
		t.Errorf("%d of %d days without a flag are marked, want fewer than 1 in 1,000", marked, total[""])
	}
	if low := weather.DateOf(1991, 6, 8); !seen[low] {
		t.Errorf("the low of %s is not marked", low)
	}
}

// TestGoodRecords has records of other places and lengths, all of whose days
// passed the tests of their sources. The whole record of Lahr, 24,322 days
// from 1950 to 2020, which is too large to be kept here, has 5 suspects.
func TestGoodRecords(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		path       string
		place      quality.Place
		days, most int
	}{
		{"lahr_2005_2014.csv", quality.Place{Latitude: 48.4, Elevation: 155}, 3652, 0},
		{"ann_arbor_1976_2018.csv", quality.Place{Latitude: 42.3, Elevation: 274}, 15_579, 3},
		{"formats/kamloops_2018.csv", quality.Place{Latitude: 50.7, Elevation: 345}, 361, 0},
		{"formats/minneapolis_2014_2015.csv", quality.Place{Latitude: 44.9, Elevation: 266}, 401, 0},
	} {
		t.Run(tt.path, func(t *testing.T) {
			t.Parallel()
			days := plain(t, data+tt.path)
			suspects := quality.Check(days, tt.place)
			marked := map[weather.Date]bool{}
			for _, s := range suspects {
				marked[s.Date] = true
				t.Log(s)
			}
			if len(days) != tt.days || len(marked) != tt.most {
				t.Errorf("%d of %d days are marked, want %d of %d", len(marked), len(days), tt.most, tt.days)
			}
			// Nor of any year by itself, or of two.
			for from := days[0].Date; from+365 <= days[len(days)-1].Date; from += 365 {
				for _, length := range []weather.Date{365, 730} {
					part := slices.DeleteFunc(slices.Clone(days), func(d weather.Day) bool { return d.Date < from || d.Date >= from+length })
					if s := quality.Check(part, tt.place); len(s) > 1 {
						t.Errorf("%s and %d days on: %v", from, length, s)
					}
				}
			}
		})
	}
}
