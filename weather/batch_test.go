package weather_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"ripetide/weather"
)

var today = weather.DateOf(2026, 6, 10)

func newBatch(t *testing.T, unit weather.Unit) *weather.Batch {
	t.Helper()
	b, err := weather.NewBatch(unit, today)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func done(t *testing.T, b *weather.Batch) *weather.Reading {
	t.Helper()
	r, err := b.Done()
	if err != nil {
		t.Fatal(err)
	}
	mustAddUp(t, r)
	return r
}

// mustAddUp checks what is true of every reading.
func mustAddUp(t *testing.T, r *weather.Reading) {
	t.Helper()
	if r.Received != len(r.Days)+r.Repeats+len(r.Refused) {
		t.Fatalf("%d received, but %d days, %d repeats, %d refused", r.Received, len(r.Days), r.Repeats, len(r.Refused))
	}
	if _, err := weather.NewSeries(r.Days); err != nil {
		t.Fatal(err)
	}
	if !slices.IsSortedFunc(r.Refused, func(a, b weather.Refusal) int { return a.Row - b.Row }) {
		t.Fatalf("refusals out of order: %v", r.Refused)
	}
	for _, f := range r.Refused {
		text := f.Date + f.Reason
		if f.Reason == "" || len(text) > 400 || !utf8.ValidString(text) || strings.ContainsAny(text, "\x00\n\r") {
			t.Fatalf("refusal %+v", f)
		}
	}
}

func TestBatchRefuses(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name           string
		unit           weather.Unit
		date, min, max string
		want           string // "": kept.
	}{
		{"a good row", "C", "2026-06-01", "8.3", "21.7", ""},
		{"blanks around", "C", " 2026-06-01 ", "  8.3", "21.7\t", ""},
		{"signs and exponents", "C", "2026-06-01", "-1.5e0", "+2.", ""},
		{"a printer's minus", "C", "2026-06-01", "−1.5", "2", ""},
		{"today", "C", "2026-06-10", "8", "9", ""},
		{"tomorrow", "C", "2026-06-11", "8", "9", "date 2026-06-11 is after today"},
		{"no calendar date", "C", "2026-06-31", "8", "9", `date "2026-06-31" is not a calendar date YYYY-MM-DD`},
		{"another order", "C", "06/01/2026", "8", "9", `date "06/01/2026" is not a calendar date YYYY-MM-DD`},
		{"a slip of the century", "C", "0206-06-01", "8", "9", "date year 206 is outside 1700 to 2400"},
		{"no date", "C", " ", "8", "9", "date is empty"},
		{"no min", "C", "2026-06-01", "", "9", "min is empty"},
		{"no max", "C", "2026-06-01", "8", " ", "max is empty"},
		{"neither", "C", "2026-06-01", "", "", "min and max are empty"},
		{"a letter", "C", "2026-06-01", "8", "M", `max "M" is not a number`},
		{"a flag behind it", "C", "2026-06-01", "8E", "9", `min "8E" is not a number`},
		{"a decimal comma", "C", "2026-06-01", "8,5", "9", `min "8,5" is not a number`},
		{"nan", "C", "2026-06-01", "nan", "9", `min "nan" is not a number`},
		{"infinity", "C", "2026-06-01", "8", "Inf", `max "Inf" is not a number`},
		{"hexadecimal", "C", "2026-06-01", "0x1p2", "9", `min "0x1p2" is not a number`},
		{"too large for a number", "C", "2026-06-01", "8", "1e999", `max "1e999" is not a number`},
		{"a stand-in for missing", "C", "2026-06-01", "-9999", "9", "min -9999 °C is below -90 °C"},
		{"evidently °F", "C", "2026-06-01", "55", "81.5", "max 81.5 °C is above 60 °C, is it °F?"},
		{"beyond °F too", "C", "2026-06-01", "8", "999.9", "max 999.9 °C is above 60 °C"},
		{"min above max", "C", "2026-06-01", "9.1", "8.9", "min 9.1 °C is above max 8.9 °C"},
		{"a good row in °F", "F", "2026-06-01", "50", "77", ""},
		{"the bounds in °F", "F", "2026-06-01", "-130", "140", ""},
		{"above the bounds in °F", "F", "2026-06-01", "50", "141", "max 141 °F is above 140 °F"},
		{"below the bounds in °F", "F", "2026-06-01", "-131", "50", "min -131 °F is below -130 °F"},
		{"min above max in °F", "F", "2026-06-01", "55", "49", "min 55 °F is above max 49 °F"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newBatch(t, tt.unit)
			b.Add(7, tt.date, tt.min, tt.max)
			r := done(t, b)
			if tt.want == "" {
				if len(r.Days) != 1 || len(r.Refused) != 0 {
					t.Fatalf("refused: %v", r.Refused)
				}
				return
			}
			want := []weather.Refusal{{Row: 7, Date: strings.TrimSpace(tt.date), Reason: tt.want}}
			if len(r.Days) != 0 || !slices.Equal(r.Refused, want) {
				t.Errorf("got %v, refused %v; want %v", r.Days, r.Refused, want)
			}
		})
	}
}

func TestBatchNumbers(t *testing.T) {
	t.Parallel()
	number := func(x float64) *float64 { return &x }
	b := newBatch(t, weather.Fahrenheit)
	b.AddNumbers(1, "2026-06-01", number(50), number(77))
	b.AddNumbers(2, "2026-06-02", nil, number(77))
	b.AddNumbers(3, "2026-06-03", number(50), nil)
	b.AddNumbers(4, "2026-06-04", nil, nil)
	b.AddNumbers(5, "2026-06-05", number(math.NaN()), number(77))
	b.AddNumbers(6, "2026-06-06", number(50), number(math.Inf(1)))
	read := weather.Remark{Flag: "max: bounds (X)", Hour: 7}
	b.AddDay(7, weather.DateOf(2026, 6, 7), number(50), number(68), read)
	b.AddDay(8, weather.DateOf(2026, 6, 8), number(50), number(149), weather.Remark{})
	b.AddDay(9, weather.DateOf(2026, 6, 9), number(math.NaN()), number(70), weather.Remark{})
	b.AddDay(10, weather.DateOf(2026, 6, 11), number(50), number(68), weather.Remark{})
	b.AddBlank()
	b.Refuse(11, "2026-06-xx", `min 5.0 is flagged "X"`)
	r := done(t, b)
	wantDays := []weather.Day{
		{Date: weather.DateOf(2026, 6, 1), Min: 10, Max: 25},
		{Date: weather.DateOf(2026, 6, 7), Min: 10, Max: 20},
	}
	if !slices.Equal(r.Remarks, []weather.Remark{{}, read}) || r.Blank != 1 {
		t.Errorf("remarks %v, %d blank", r.Remarks, r.Blank)
	}
	if !slices.Equal(r.Days, wantDays) {
		t.Errorf("got %v, want %v", r.Days, wantDays)
	}
	want := []weather.Refusal{
		{2, "2026-06-02", "min is missing"},
		{3, "2026-06-03", "max is missing"},
		{4, "2026-06-04", "min and max are missing"},
		{5, "2026-06-05", "min NaN is not a number"},
		{6, "2026-06-06", "max +Inf is not a number"},
		{8, "2026-06-08", "max 149 °F is above 140 °F"},
		{9, "2026-06-09", "min NaN is not a number"},
		{10, "2026-06-11", "date 2026-06-11 is after today"},
		{11, "2026-06-xx", `min 5.0 is flagged "X"`},
	}
	if !slices.Equal(r.Refused, want) {
		t.Errorf("refused:\n%v\nwant\n%v", r.Refused, want)
	}
	if r.Unit != weather.Fahrenheit || r.Received != 11 {
		t.Errorf("unit %s, %d received", r.Unit, r.Received)
	}
}

func TestBatchSameDateTwice(t *testing.T) {
	t.Parallel()
	also := func(d string, row int) string {
		return fmt.Sprintf("date %s is also in row %d, with other values", d, row)
	}
	for _, tt := range []struct {
		name    string
		rows    []string
		days    int
		repeats int
		refused []weather.Refusal
	}{
		{"with equal values, kept once", []string{"2026-05-02 4 9", "2026-05-01 1 2", "2026-05-02 4.0 9"}, 2, 1, nil},
		{"three times", []string{"2026-05-02 4 9", "2026-05-02 4 9", "2026-05-02 4 9"}, 1, 2, nil},
		{
			"with different values, both refused",
			[]string{"2026-05-02 4 9", "2026-05-01 1 2", "2026-05-02 4 9.1"}, 1, 0,
			[]weather.Refusal{{1, "2026-05-02", also("2026-05-02", 3)}, {3, "2026-05-02", also("2026-05-02", 1)}},
		},
		{
			"a repeat does not outvote the other",
			[]string{"2026-05-02 4 9", "2026-05-02 5 9", "2026-05-02 4 9"}, 0, 0,
			[]weather.Refusal{
				{1, "2026-05-02", also("2026-05-02", 2)}, {2, "2026-05-02", also("2026-05-02", 1)},
				{3, "2026-05-02", also("2026-05-02", 2)},
			},
		},
		{
			"an impossible row contradicts too", // Which extreme of the first is wrong nobody knows.
			[]string{"2026-05-02 12 9", "2026-05-02 9 12"}, 0, 0,
			[]weather.Refusal{
				{1, "2026-05-02", "min 12 °C is above max 9 °C"},
				{2, "2026-05-02", also("2026-05-02", 1)},
			},
		},
		{
			"a row without a number does not", []string{"2026-05-02 M 9", "2026-05-02 4 9", "2026-05-02 - -"}, 1, 0,
			[]weather.Refusal{{1, "2026-05-02", `min "M" is not a number`}, {3, "2026-05-02", `min "-" is not a number`}},
		},
		{
			"an impossible row twice is refused twice, and is no repeat",
			[]string{"2026-05-02 12 9", "2026-05-02 12 9"}, 0, 0,
			[]weather.Refusal{{1, "2026-05-02", "min 12 °C is above max 9 °C"}, {2, "2026-05-02", "min 12 °C is above max 9 °C"}},
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newBatch(t, weather.Celsius)
			for i, row := range tt.rows {
				f := strings.Fields(row)
				b.Add(i+1, f[0], f[1], f[2])
			}
			r := done(t, b)
			if len(r.Days) != tt.days || r.Repeats != tt.repeats || !slices.Equal(r.Refused, tt.refused) {
				t.Errorf("%d days, %d repeats, refused %v; want %d, %d, %v", len(r.Days), r.Repeats, r.Refused, tt.days, tt.repeats, tt.refused)
			}
		})
	}
}

// A batch against the rules written down the slow way: each row is judged by
// looking at all the others.
func TestBatchIsTheRules(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 4))
	type row struct{ date, min, max string }
	for range 2000 {
		rows := make([]row, r.IntN(30))
		for i := range rows {
			rows[i] = row{fmt.Sprintf("2026-06-%02d", 1+r.IntN(12)), strconv.Itoa(r.IntN(4)), strconv.Itoa(2 + r.IntN(3))}
			switch r.IntN(12) {
			case 0:
				rows[i].min = "x"
			case 1:
				rows[i].date = "June"
			case 2:
				rows[i].max = "150"
			}
		}
		number := func(s string) bool { return s != "x" }
		good := func(x row) bool {
			lo, _ := strconv.Atoi(x.min)
			hi, _ := strconv.Atoi(x.max)
			return x.date != "June" && x.date <= today.String() && number(x.min) && lo <= hi && hi <= 60
		}
		var wantDays, wantRefused []string
		repeats := 0
		for i, x := range rows {
			bad, again := !good(x), false
			for j, y := range rows {
				if x.date == y.date && number(y.min) {
					bad = bad || x != y
					again = again || x == y && j < i
				}
			}
			switch {
			case bad:
				wantRefused = append(wantRefused, strconv.Itoa(i+1))
			case again:
				repeats++
			default:
				wantDays = append(wantDays, x.date+" "+x.min+" "+x.max)
			}
		}
		slices.Sort(wantDays)
		b := newBatch(t, weather.Celsius)
		for i, x := range rows {
			b.Add(i+1, x.date, x.min, x.max)
		}
		got := done(t, b)
		var gotDays, gotRefused []string
		for _, d := range got.Days {
			gotDays = append(gotDays, fmt.Sprintf("%s %g %g", d.Date, d.Min, d.Max))
		}
		for _, f := range got.Refused {
			gotRefused = append(gotRefused, strconv.Itoa(f.Row))
		}
		if !slices.Equal(gotDays, wantDays) || !slices.Equal(gotRefused, wantRefused) || got.Repeats != repeats {
			t.Fatalf("%v:\ngot  %v, refused %v, %d repeats\nwant %v, refused %v, %d repeats",
				rows, gotDays, gotRefused, got.Repeats, wantDays, wantRefused, repeats)
		}
	}
}

func TestBatchUnit(t *testing.T) {
	t.Parallel()
	for _, u := range []weather.Unit{"", "K", "c"} {
		if _, err := weather.NewBatch(u, today); !errors.Is(err, weather.ErrUnitUnknown) {
			t.Errorf("unit %q: %v", u, err)
		}
	}
}

func TestBatchTooLarge(t *testing.T) {
	t.Parallel()
	b := newBatch(t, weather.Celsius)
	for i := range 300_001 {
		b.Add(i+1, "2026-06-01", "1", "2")
	}
	if r, err := b.Done(); !errors.Is(err, weather.ErrTooLarge) || r != nil {
		t.Errorf("got %v, %v", r, err)
	}
}

func TestBatchInTheWrongUnit(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		unit weather.Unit
		rows string // min and max of consecutive days.
		want string // How the detail begins; "" when the good rows are kept.
		ask  string // What it asks.
	}{
		{"a June in °F", "C", "58 80, 61 83, 49 70, 60 78, 55 77", "5 of 5 rows have a mean above 50 °C", "°F?"},
		{"a May in °F, some of whose days would pass", "C", "40 58, 38 60, 44 66, 39 65, 36 55, 41 60", "3 of 6 rows", "°F?"},
		{"a few warm days in ten", "C", "30 40, 29 41, 31 44, 28 40, 33 45, 30 38, 35 45, 38 64, 40 63, 39 66", "3 of 10 rows", "°F?"},
		{"three warm days in twenty-five", "C", strings.Repeat("30 40, ", 22) + "38 64, 40 63, 39 66", "3 of 25 rows", "°F?"},
		{"three warm days in thirty-one", "C", strings.Repeat("30 40, ", 28) + "38 64, 40 63, 39 66", "", ""},
		{"a January in °F cannot be told", "C", "15 28, 20 31, -4 12, 10 25, 22 36", "", ""},
		{"two rows are too few", "C", "58 80, 61 83", "", ""},
		{"the hottest place there is", "C", "38 53, 41 54, 42 55, 40 53, 39 54", "", ""},
		{"a sensor in the sun", "C", "18 62, 21 70, 24 71, 16 66, 22 68", "", ""},
		{"a stand-in for missing", "C", "8 20, 99.9 99.9, 99.9 99.9, 7 19, 99.9 99.9", "", ""},
		{"a column of humidity", "C", "95 20, 91 19, 99 18, 98 17, 94 16", "", ""},
		{"tenths of °C", "C", "83 217, 101 245, 97 256, 120 280", "4 of 4 rows", "tenths of a degree?"},
		{"tenths of °C given as °F", "F", "133 217, 131 245, 127 256, 140 280", "4 of 4 rows have a mean above 122 °F", "tenths of a degree?"},
		{"a June in °F, as it says", "F", "58 80, 61 83, 49 70, 60 78, 55 77", "", ""},
		{"a June in °C given as °F cannot be told", "F", "14 27, 16 28, 9 21, 16 26, 13 25", "", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newBatch(t, tt.unit)
			for i, row := range strings.Split(tt.rows, ", ") {
				lo, hi, _ := strings.Cut(row, " ")
				b.Add(i+1, (weather.DateOf(2026, 5, 1) + weather.Date(i)).String(), lo, hi)
			}
			_, err := b.Done()
			if tt.want == "" {
				if err != nil {
					t.Error(err)
				}
				return
			}
			var file *weather.FileError
			if !errors.Is(err, weather.ErrWrongUnit) || !errors.As(err, &file) ||
				!strings.HasPrefix(file.Detail(), tt.want) || !strings.HasSuffix(file.Detail(), tt.ask) {
				t.Errorf("got %v, want %s … %s", err, tt.want, tt.ask)
			}
		})
	}
}

// What the rule finds in the months of a real record given in °F as °C, and
// that it leaves the record alone as it is.
func TestBatchInTheWrongUnitOnARealRecord(t *testing.T) {
	t.Parallel()
	days := annArbor(t)
	refused := func(days []weather.Day, f func(float64) float64) bool {
		b, err := weather.NewBatch(weather.Celsius, today)
		if err != nil {
			t.Fatal(err)
		}
		for i, d := range days {
			lo, hi := f(d.Min), f(d.Max)
			b.AddNumbers(i+1, d.Date.String(), &lo, &hi)
		}
		_, err = b.Done()
		return errors.Is(err, weather.ErrWrongUnit)
	}
	same := func(c float64) float64 { return c }
	toF := func(c float64) float64 { return c*9/5 + 32 }
	if refused(days, same) || !refused(days, toF) {
		t.Error("the whole record")
	}
	var found, months [13]int
	for i, j := 0, 0; i < len(days); i = j {
		y, m, _ := days[i].Date.Civil()
		for j = i; j < len(days) && days[j].Date < weather.DateOf(y, m+1, 1); j++ {
		}
		months[m]++
		if refused(days[i:j], same) {
			t.Errorf("%d-%02d in °C is refused", y, m)
		}
		if refused(days[i:j], toF) {
			found[m]++
		}
	}
	for m := 4; m <= 10; m++ {
		if 10*found[m] < 9*months[m] || m > 4 && m < 10 && found[m] != months[m] {
			t.Errorf("month %d in °F: %d of %d found", m, found[m], months[m])
		}
	}
	t.Logf("found by month: %v of %v", found[1:], months[1:])
}

func TestBatchWithoutRows(t *testing.T) {
	t.Parallel()
	got := done(t, newBatch(t, weather.Celsius))
	if want := (&weather.Reading{Unit: weather.Celsius, Days: []weather.Day{}}); !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v", got)
	}
}
