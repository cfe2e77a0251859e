package db_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

// run returns n days from first on whose minimum is minC.
func run(first string, n int, minC float64) []weather.Day {
	days := make([]weather.Day, n)
	for i := range days {
		days[i] = weather.Day{Date: date(first) + weather.Date(i), Min: minC, Max: minC + 10}
	}
	return days
}

// tally is the outcome of AddDays.
type tally struct{ Added, Corrected, Unchanged int }

func add(t testing.TB, s *db.Store, days []weather.Day, source string, at time.Time) tally {
	t.Helper()
	got, err := s.AddDays(t.Context(), "hill", "barn", weather.Delivery{Source: source, Days: days}, at)
	if err != nil {
		t.Fatal(err)
	}
	return tally{got.Added, got.Corrected, got.Unchanged}
}

func readDays(t testing.TB, s *db.Store, from, to *weather.Date, knownAt *time.Time) []db.StationDay {
	t.Helper()
	days, err := s.Days(t.Context(), "hill", "barn", from, to, knownAt)
	if err != nil {
		t.Fatal(err)
	}
	return days
}

// Lengths of a load.
const few, many = 10, 1200

func TestDaysAreAddedOnceCorrectedAndKept(t *testing.T) {
	t.Parallel()
	for name, n := range map[string]int{"few": few, "many": many} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, pool := farmed(t)
			days := run("1969-12-28", n, 4)
			if got, want := add(t, s, days, "csv", at(1)), (tally{n, 0, 0}); got != want {
				t.Errorf("first: %+v, want %+v", got, want)
			}
			if got, want := add(t, s, days, "another file", at(2)), (tally{0, 0, n}); got != want {
				t.Errorf("again: %+v, want %+v", got, want)
			}
			days[3].Min = -2.5
			days[n-1].Max = 30
			if got, want := add(t, s, days, "corrected", at(3)), (tally{0, 2, n - 2}); got != want {
				t.Errorf("corrected: %+v, want %+v", got, want)
			}
			if got := count(t, pool, "station_day"); got != n+2 {
				t.Errorf("%d rows, want %d", got, n+2)
			}
			got := readDays(t, s, nil, nil, nil)
			want := make([]db.StationDay, n)
			for i, d := range days {
				want[i] = db.StationDay{Day: d, Source: "csv", ReceivedAt: at(1), Revision: 1}
			}
			for _, i := range []int{3, n - 1} {
				want[i].Source, want[i].ReceivedAt, want[i].Revision = "corrected", at(3), 2
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestDaysAsTheyWereKnown(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	add(t, s, run("2026-05-01", 3, 1), "a", at(10))
	add(t, s, run("2026-05-02", 3, 2), "b", at(20))
	add(t, s, run("2026-05-02", 1, 1), "a", at(30)) // Back to what it was.
	add(t, s, run("2026-05-03", 1, 5), "c", at(25)) // By a clock that is behind, which has nothing to hold on to here.
	add(t, s, run("2026-05-02", 1, 7), "c", at(25)) // And here has.
	for n, want := range map[int][]float64{
		9: {}, 10: {1, 1, 1}, 19: {1, 1, 1}, 20: {1, 2, 2, 2}, 24: {1, 2, 2, 2}, 25: {1, 2, 5, 2},
		29: {1, 2, 5, 2}, 30: {1, 7, 5, 2}, 99: {1, 7, 5, 2},
	} {
		got := []float64{}
		for _, d := range readDays(t, s, nil, nil, ptr(at(n))) {
			got = append(got, d.Min)
		}
		if !slices.Equal(got, want) {
			t.Errorf("at minute %d: %v, want %v", n, got, want)
		}
		in, err := s.Inputs(t.Context(), "hill", at(n))
		if err != nil {
			t.Fatal(err)
		}
		got = []float64{}
		for _, d := range in.Records[0].Days.Days() {
			got = append(got, d.Min)
		}
		if !slices.Equal(got, want) {
			t.Errorf("inputs at minute %d: %v, want %v", n, got, want)
		}
	}
}

func TestDaysFromTo(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	add(t, s, run("2026-05-01", 10, 1), "a", at(1))
	for _, tt := range []struct {
		from, to *weather.Date
		want     int
	}{
		{nil, nil, 10},
		{ptr(date("2026-05-03")), nil, 8},
		{nil, ptr(date("2026-05-03")), 3},
		{ptr(date("2026-05-03")), ptr(date("2026-05-03")), 1},
		{ptr(date("2026-05-04")), ptr(date("2026-05-03")), 0},
		{ptr(date("2020-05-04")), ptr(date("2030-05-03")), 10},
	} {
		got := readDays(t, s, tt.from, tt.to, nil)
		if len(got) != tt.want || got == nil {
			t.Errorf("from %v to %v: %d days, want %d", tt.from, tt.to, len(got), tt.want)
		}
	}
	if _, err := s.Days(t.Context(), "hill", "tower", nil, nil, nil); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("days of no station: %v", err)
	}
}

func TestDaysInAnyOrder(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	days := append(run("2026-05-01", 10, 1), run("2026-05-05", 3, 1)...)
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(days), func(i, j int) { days[i], days[j] = days[j], days[i] })
	given := slices.Clone(days)
	if got, want := add(t, s, days, "a", at(1)), (tally{10, 0, 3}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	if !slices.Equal(days, given) {
		t.Error("the caller's days were moved")
	}
	if got := readDays(t, s, nil, nil, nil); len(got) != 10 || got[0].Date != date("2026-05-01") || got[9].Date != date("2026-05-10") {
		t.Errorf("got %v", got)
	}
	if got, want := add(t, s, nil, "a", at(1)), (tally{}); got != want {
		t.Errorf("no days: %+v", got)
	}
}

func TestDaysThatCannotBe(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	nan := math.NaN()
	for name, tt := range map[string]struct {
		station string
		bad     []weather.Day
		want    error
	}{
		"no station":                     {"tower", run("2026-05-01", 1, 1), forecast.ErrStationNotFound},
		"no station, empty":              {"tower", nil, forecast.ErrStationNotFound},
		"NaN":                            {"barn", []weather.Day{{Date: date("2026-05-01"), Min: nan, Max: nan}}, weather.ErrInvalidDay},
		"NaN maximum":                    {"barn", []weather.Day{{Date: date("2026-05-01"), Min: 1, Max: nan}}, weather.ErrInvalidDay},
		"too hot":                        {"barn", run("2026-05-01", 1, 55), weather.ErrInvalidDay},
		"min above max":                  {"barn", []weather.Day{{Date: date("2026-05-01"), Min: 2, Max: 1}}, weather.ErrInvalidDay},
		"before there were thermometers": {"barn", []weather.Day{{Date: date("1700-01-01") - 1, Min: 1, Max: 2}}, weather.ErrInvalidDate},
		"one date, two values":           {"barn", append(run("2026-05-01", 1, 1), run("2026-05-01", 1, 2)...), weather.ErrInvalidDay},
	} {
		for _, n := range []int{0, many} { // Good days beside the bad ones.
			days := append(run("2020-01-01", n, 1), tt.bad...)
			if tt.bad == nil {
				days = nil
			}
			got, err := s.AddDays(t.Context(), "hill", tt.station, weather.Delivery{Source: "test", Days: days}, at(1))
			if !errors.Is(err, tt.want) || got != (weather.Stored{}) {
				t.Errorf("%s with %d good days: %+v, %v, want %v", name, n, got, err, tt.want)
			}
		}
	}
	if n := count(t, pool, "station_day"); n != 0 {
		t.Errorf("%d rows were left", n)
	}
}

func TestFiftyCorrectTheSameDay(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	add(t, s, run("2026-05-01", few, 1), "first", at(1))
	var sum [3]atomic.Int32
	var wg sync.WaitGroup
	for range 50 {
		wg.Go(func() {
			got, err := s.AddDays(t.Context(), "hill", "barn", weather.Delivery{Source: "correction", Days: run("2026-05-01", few, 2)}, at(2))
			if err != nil {
				t.Error(err)
			}
			sum[0].Add(int32(got.Added))
			sum[1].Add(int32(got.Corrected))
			sum[2].Add(int32(got.Unchanged))
		})
	}
	wg.Wait()
	if got := [3]int32{sum[0].Load(), sum[1].Load(), sum[2].Load()}; got != [3]int32{0, few, 49 * few} {
		t.Errorf("added, corrected, unchanged %v", got)
	}
	if n := count(t, pool, "station_day"); n != 2*few {
		t.Errorf("%d rows, want %d", n, 2*few)
	}
}

// TestOverlappingLoads: many load pieces of one record that overlap, in any
// order; the record is whole and nothing is in it twice.
func TestOverlappingLoads(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	var added, unchanged, total atomic.Int32
	var wg sync.WaitGroup
	for i := range 12 {
		wg.Go(func() {
			n := 200 + 100*i
			first := date("2015-01-01") + weather.Date(i*137%1000)
			days := run(first.String(), n, 1)
			got, err := s.AddDays(t.Context(), "hill", "barn", weather.Delivery{Source: "load", Days: days}, at(1))
			if err != nil || got.Corrected != 0 {
				t.Error(got.Corrected, err)
			}
			added.Add(int32(got.Added))
			unchanged.Add(int32(got.Unchanged))
			total.Add(int32(n))
		})
	}
	wg.Wait()
	days := readDays(t, s, nil, nil, nil)
	if n := count(t, pool, "station_day"); n != len(days) || int(added.Load()) != n {
		t.Errorf("%d rows, %d days, %d added", n, len(days), added.Load())
	}
	if added.Load()+unchanged.Load() != total.Load() {
		t.Errorf("%d added and %d unchanged of %d", added.Load(), unchanged.Load(), total.Load())
	}
	for _, d := range days {
		if d.Revision != 1 {
			t.Fatalf("%s has revision %d", d.Date, d.Revision)
		}
	}
}
