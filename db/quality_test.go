package db_test

import (
	"errors"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

func hours(pairs ...any) []weather.ReadingHour {
	out := []weather.ReadingHour{}
	for i := 0; i < len(pairs); i += 2 {
		out = append(out, weather.ReadingHour{From: date(pairs[i].(string)), Hour: pairs[i+1].(int)})
	}
	return out
}

func record(t testing.TB, s *db.Store, n int) forecast.Record {
	t.Helper()
	known := at(n)
	r, err := s.Record(t.Context(), "hill", "barn", &known)
	if err != nil {
		t.Fatal(err)
	}
	in, err := s.Inputs(t.Context(), "hill", known)
	if err != nil {
		t.Fatal(err)
	}
	all := in.Records[0]
	all.Outlooks = nil
	if diff := cmp.Diff(r, all, cmp.Comparer(sameRecord)); diff != "" {
		t.Fatalf("a record by itself is not what the farm's inputs hold: %s", diff)
	}
	return r
}

func sameRecord(a, b forecast.Record) bool {
	return a.Station == b.Station && cmp.Equal(a.Days.Days(), b.Days.Days()) && cmp.Equal(a.Flags, b.Flags) &&
		cmp.Equal(a.Hours, b.Hours) && cmp.Equal(a.Verdicts, b.Verdicts)
}

func TestReadingHoursAreKnownFromWhenTheyWereSet(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	first, second := hours("1950-01-01", 17, "1980-06-01", 7), hours("1950-01-01", 17)
	for i, tt := range []struct {
		hours   []weather.ReadingHour
		at      int
		created bool
	}{{first, 1, true}, {first, 2, false}, {second, 3, false}, {hours(), 4, false}, {hours(), 5, false}} {
		created, err := s.PutReadingHours(t.Context(), "hill", "barn", tt.hours, "test", at(tt.at))
		if err != nil || created != tt.created {
			t.Errorf("setting %d: created %v, %v", i, created, err)
		}
	}
	for n, want := range map[int][]weather.ReadingHour{0: nil, 1: first, 2: first, 3: second, 4: hours(), 5: hours()} {
		if got := record(t, s, n).Hours; !cmp.Equal(got, want) {
			t.Errorf("known at %d: %v, want %v", n, got, want)
		}
	}
	if n := count(t, pool, "reading_hours_version"); n != 3 {
		t.Errorf("%d versions, want 3", n)
	}
	if _, err := s.PutReadingHours(t.Context(), "hill", "tower", first, "test", at(1)); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("no station: %v", err)
	}
	for name, bad := range map[string][]weather.ReadingHour{"hour 0": hours("1950-01-01", 0), "hour 25": hours("1950-01-01", 25)} {
		if _, err := s.PutReadingHours(t.Context(), "hill", "barn", bad, "test", at(6)); !errors.Is(err, forecast.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestVerdictsReplaceEachOtherAndAreTakenBack(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	day := date("2026-05-01")
	use, not := &weather.Verdict{Date: day, Use: true, By: "Ann", Note: "it was that cold"}, &weather.Verdict{Date: day, By: "Bob"}
	if _, err := s.PutVerdict(t.Context(), "hill", "barn", day, nil, "test", at(1)); !errors.Is(err, weather.ErrVerdictNotFound) {
		t.Errorf("nothing to take back: %v", err)
	}
	for i, tt := range []struct {
		verdict *weather.Verdict
		at      int
		created bool
	}{{use, 2, true}, {use, 3, false}, {not, 4, false}, {nil, 5, false}, {not, 6, true}} {
		created, err := s.PutVerdict(t.Context(), "hill", "barn", day, tt.verdict, "test", at(tt.at))
		if err != nil || created != tt.created {
			t.Errorf("verdict %d: created %v, %v", i, created, err)
		}
	}
	if _, err := s.PutVerdict(t.Context(), "hill", "barn", day+1, nil, "test", at(7)); !errors.Is(err, weather.ErrVerdictNotFound) {
		t.Errorf("of another day: %v", err)
	}
	for n, want := range map[int][]weather.Verdict{1: nil, 2: {*use}, 3: {*use}, 4: {*not}, 5: nil, 6: {*not}} {
		if got := record(t, s, n).Verdicts; !cmp.Equal(got, want) {
			t.Errorf("known at %d: %v, want %v", n, got, want)
		}
	}
	h, err := s.DayHistory(t.Context(), "hill", "barn", day)
	if err != nil {
		t.Fatal(err)
	}
	want := []db.VerdictVersion{{use, at(2), "test"}, {not, at(4), "test"}, {nil, at(5), "test"}, {not, at(6), "test"}}
	if diff := cmp.Diff(want, h.Verdicts); diff != "" || len(h.Values) != 0 {
		t.Errorf("history: %s, values %v", diff, h.Values)
	}
	if n := count(t, pool, "day_verdict_version"); n != 4 {
		t.Errorf("%d versions, want 4", n)
	}
	if _, err := s.PutVerdict(t.Context(), "hill", "tower", day, use, "test", at(1)); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("no station: %v", err)
	}
}

func TestTwentyJudgeTheSameDay(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	var created atomic.Int32
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			c, err := s.PutVerdict(t.Context(), "hill", "barn", date("2026-05-01"), &weather.Verdict{Use: true, By: "Ann"}, "test", at(1))
			if err != nil {
				t.Error(err)
			}
			if c {
				created.Add(1)
			}
		})
	}
	wg.Wait()
	if n := count(t, pool, "day_verdict_version"); n != 1 || created.Load() != 1 {
		t.Errorf("%d versions, %d created", n, created.Load())
	}
}

// TestRemarksOfASource: what a source says of its days is on record, a source
// that says nothing takes nothing back, and one that does is believed anew.
func TestRemarksOfASource(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	days := run("2026-05-01", 3, 4)
	failed := weather.Remark{Flag: "min: spatial consistency (S)", Hour: 7}
	put := func(n int, d weather.Delivery, want weather.Stored) {
		t.Helper()
		if got, err := s.AddDays(t.Context(), "hill", "barn", d, at(n)); err != nil || got != want {
			t.Errorf("delivery at %d: %+v, %v, want %+v", n, got, err, want)
		}
	}
	put(1, weather.Delivery{Source: "a", Days: days, Remarks: []weather.Remark{{Hour: 7}, failed, {}}}, weather.Stored{Added: 3})
	put(2, weather.Delivery{Source: "b", Days: days}, weather.Stored{Unchanged: 3})
	put(3, weather.Delivery{Source: "b", Days: days, Remarks: []weather.Remark{{Hour: 7}, failed, {}}}, weather.Stored{Unchanged: 3})
	if got := record(t, s, 3).Flags; !cmp.Equal(got, []weather.Flag{{Date: days[1].Date, Text: failed.Flag}}) {
		t.Errorf("flags %v", got)
	}
	put(4, weather.Delivery{Source: "b", Days: days, Remarks: []weather.Remark{{Hour: 7}, {Hour: 7}, {}}}, weather.Stored{Unchanged: 2, Corrected: 1})
	if got := record(t, s, 4).Flags; got != nil {
		t.Errorf("flags %v after they were taken back", got)
	}
	if got := record(t, s, 3).Flags; len(got) != 1 {
		t.Errorf("flags %v as known before", got)
	}
	h, err := s.DayHistory(t.Context(), "hill", "barn", days[1].Date)
	if err != nil || len(h.Values) != 2 || h.Values[0].Flag != failed.Flag || h.Values[0].Hour != 7 || h.Values[1].Flag != "" || h.Values[1].Source != "b" {
		t.Errorf("history %+v, %v", h, err)
	}
	if _, err := s.AddDays(t.Context(), "hill", "barn", weather.Delivery{Days: days, Remarks: make([]weather.Remark, 2)}, at(5)); !errors.Is(err, weather.ErrInvalidDay) {
		t.Errorf("fewer remarks than days: %v", err)
	}
}

// TestAFeedLeavesTheDaysOfOthers: what a person corrected is not undone by the
// feed that delivers the same wrong value again.
func TestAFeedLeavesTheDaysOfOthers(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	put := func(n int, d weather.Delivery, want weather.Stored) {
		t.Helper()
		if got, err := s.AddDays(t.Context(), "hill", "barn", d, at(n)); err != nil || got != want {
			t.Errorf("delivery at %d: %+v, %v, want %+v", n, got, err, want)
		}
	}
	feed := func(days []weather.Day) weather.Delivery {
		return weather.Delivery{Source: "feed grid", Days: days, OnlyOwn: true}
	}
	put(1, feed(run("2026-05-01", 4, 4)), weather.Stored{Added: 4})
	put(2, weather.Delivery{Source: "json", Days: run("2026-05-02", 1, 2)}, weather.Stored{Corrected: 1})
	put(3, feed(run("2026-05-01", 4, 4)), weather.Stored{Unchanged: 3, Kept: 1})
	put(4, feed(run("2026-05-01", 5, 5)), weather.Stored{Added: 1, Corrected: 3, Kept: 1})
	put(5, feed(run("2026-05-02", 1, 2)), weather.Stored{Unchanged: 1})
	days := readDays(t, s, nil, nil, nil)
	if len(days) != 5 || days[1].Min != 2 || days[1].Source != "json" || days[0].Min != 5 || days[0].Revision != 2 {
		t.Errorf("days %+v", days)
	}
}

func TestCorrectionsAreToldLatestFirst(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	add(t, s, run("2026-05-01", 5, 4), "a", at(1))
	add(t, s, run("2026-05-02", 1, 5), "b", at(2))
	add(t, s, run("2026-05-03", 2, 6), "c", at(3))
	list, err := s.Corrections(t.Context(), "hill", "barn", at(3), 10)
	if err != nil || len(list) != 2 || list[0].Date != date("2026-05-04") || list[1].Date != date("2026-05-03") || list[0].Min != 6 {
		t.Errorf("%+v, %v", list, err)
	}
	if list, err = s.Corrections(t.Context(), "hill", "barn", t0, 1); err != nil || len(list) != 1 || list[0].Source != "c" {
		t.Errorf("%+v, %v", list, err)
	}
	if _, err := s.Corrections(t.Context(), "hill", "tower", t0, 1); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Error(err)
	}
}
