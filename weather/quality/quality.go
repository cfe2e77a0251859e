package quality

import (
	"cmp"
	"slices"

	"ripetide/weather"
)

// Test is the name of a test, in one plain word.
type Test string

// The tests there are. Bounds and a min above max are refused before a day is
// one, by [weather.NewDay].
const (
	Columns   Test = "columns"   // A column holds the other one's values.
	Duplicate Test = "duplicate" // A run of days has the values of another run.
	Gap       Test = "gap"       // Far from all other values of the calendar month.
	Naught    Test = "naught"    // 0 °C or 0 °F written for a missing value.
	Neighbour Test = "neighbour" // Contradicts the day before or after.
	Range     Test = "range"     // Too far between the lows and highs of three days.
	Season    Test = "season"    // Far from what the station has at that time of year.
	Shifted   Test = "shifted"   // The highs of a run of days belong to other dates.
	Spike     Test = "spike"     // Far from both the day before and the day after.
	Streak    Test = "streak"    // The same value too many times in a row.
	Unit      Test = "unit"      // A run of days fits the season only in another unit.
)

// Suspect is a day that failed a test.
type Suspect struct {
	Date weather.Date
	Test Test
	// Detail is a clause with the values, such as "min -15.0 °C, where the days
	// around have 11.1 and 13.9".
	Detail string
}

// Place is where the record was made. Only the test of units in a record too
// young to know its own seasons looks at it; with a latitude that is NaN that
// one is left out.
type Place struct {
	Latitude  float64 // Degrees north, -90 to 90.
	Elevation float64 // m above sea level.
}

// Check returns the suspects among days, in order of date and then of test,
// each test at most once a day. The days must be in strictly rising order,
// with or without holes, and are °C; one that [weather.NewDay] would refuse
// is passed over. The result depends on nothing but the arguments, and its
// cost grows with the number of days alone.
func Check(days []weather.Day, p Place) []Suspect {
	r := newRecord(days)
	if len(r.days) < 2 {
		return nil
	}
	r.season()
	r.gap()
	r.spike()
	r.rangeOfThree()
	r.naught()
	r.streak()
	r.columns()
	r.duplicate()
	r.unit()
	r.climate(p)
	r.shifted()
	r.neighbour()
	return r.suspects()
}

// record is a record under test.
type record struct {
	days   []weather.Day
	tenths [columns][]int16 // Of °C, rounded; of a change the day's less the day before's.
	bin    []uint8          // The five days of the year that a day is in.
	month  []uint8          // From 0.
	normal [columns][bins]normal
	marks  []mark
}

// A record has four columns. Of the first day after a hole there is no change.
const (
	lows = iota
	highs
	lowChanges
	highChanges
	columns
)

// noChange is the change that there is not.
const noChange = -1 << 15

var names = [...]string{lows: "min", highs: "max"}

// value returns a low or a high, °C.
func (r *record) value(column, i int) float64 {
	if column == lows {
		return r.days[i].Min
	}
	return r.days[i].Max
}

// mark is a suspect by the place of its day.
type mark struct {
	i      int
	test   Test
	detail string
}

func (r *record) mark(i int, t Test, detail string) {
	r.marks = append(r.marks, mark{i, t, detail})
}

// markAll marks the days from i to j, both included, with the same detail.
func (r *record) markAll(i, j int, t Test, detail string) {
	for ; i <= j; i++ {
		r.mark(i, t, detail)
	}
}

// follows reports whether the day at i is the day after the one at i-1.
func (r *record) follows(i int) bool {
	return 0 < i && i < len(r.days) && r.days[i].Date == r.days[i-1].Date+1
}

// possible reports whether [weather.NewDay] would take d.
func possible(d weather.Day) bool {
	return weather.Coldest <= d.Min && d.Min <= d.Max && d.Max <= weather.Warmest
}

func newRecord(days []weather.Day) *record {
	r := &record{days: days}
	for _, d := range days {
		if !possible(d) {
			r.days = slices.DeleteFunc(slices.Clone(days), func(d weather.Day) bool { return !possible(d) })
			break
		}
	}
	n := len(r.days)
	r.bin, r.month = make([]uint8, n), make([]uint8, n)
	all := make([]int16, columns*n)
	for c := range r.tenths {
		r.tenths[c] = all[c*n : (c+1)*n : (c+1)*n]
	}
	var first, next weather.Date // 1 January of the year of the day before, and of the year after.
	for i, d := range r.days {
		if i == 0 || d.Date >= next {
			y := d.Date.Year()
			first, next = weather.DateOf(y, 1, 1), weather.DateOf(y+1, 1, 1)
		}
		day := int(d.Date - first)
		if leap := next-first == 366; leap && day > 58 {
			day-- // 29 February counts as the 28th.
		}
		r.bin[i] = uint8(min(day/5, bins-1))
		for int(r.month[i]) < 11 && day >= ends[r.month[i]] {
			r.month[i]++
		}
		r.tenths[lows][i], r.tenths[highs][i] = toTenths(d.Min), toTenths(d.Max)
		r.tenths[lowChanges][i], r.tenths[highChanges][i] = noChange, noChange
		if r.follows(i) {
			r.tenths[lowChanges][i] = r.tenths[lows][i] - r.tenths[lows][i-1]
			r.tenths[highChanges][i] = r.tenths[highs][i] - r.tenths[highs][i-1]
		}
	}
	for c := range r.normal {
		r.normal[c] = normals(r.tenths[c], r.bin)
	}
	return r
}

// ends are the days of a common year on which the months are over.
var ends = [12]int{31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365}

func toTenths(c float64) int16 {
	if c < 0 {
		return int16(c*10 - 0.5)
	}
	return int16(c*10 + 0.5)
}

// enoughSaid is the length of a detail to which no other is added, in bytes.
const enoughSaid = 100

// suspects returns the marks in order.
func (r *record) suspects() []Suspect {
	slices.SortStableFunc(r.marks, func(a, b mark) int {
		return cmp.Or(cmp.Compare(a.i, b.i), cmp.Compare(a.test, b.test))
	})
	var out []Suspect
	for k, m := range r.marks {
		if k > 0 && r.marks[k-1].i == m.i && r.marks[k-1].test == m.test {
			if last := &out[len(out)-1]; len(last.Detail) < enoughSaid {
				last.Detail += "; " + m.detail
			}
			continue
		}
		out = append(out, Suspect{r.days[m.i].Date, m.test, m.detail})
	}
	return out
}
