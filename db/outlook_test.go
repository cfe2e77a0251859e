package db_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

// outlook returns the outlook issued at minute n. Days that cannot be a series
// give one without days.
func outlook(n int, days []weather.Day) weather.Outlook {
	s, _ := weather.NewSeries(days)
	return weather.Outlook{IssuedAt: at(n), Days: s}
}

// plainOutlook is an outlook that cmp can look into.
type plainOutlook struct {
	Issued   time.Time
	Days     []weather.Day
	Received time.Time
	Version  int
}

func plainly(list ...db.StationOutlook) []plainOutlook {
	out := []plainOutlook{}
	for _, o := range list {
		out = append(out, plainOutlook{o.IssuedAt, o.Days.Days(), o.ReceivedAt, o.Version})
	}
	return out
}

// send puts an outlook issued at minute issued at the minute received.
func send(t testing.TB, s *db.Store, issued, received int, days []weather.Day) (db.StationOutlook, bool) {
	t.Helper()
	o, created, err := s.PutOutlook(t.Context(), "hill", "barn", outlook(issued, days), "test", at(received))
	if err != nil {
		t.Fatal(err)
	}
	return o, created
}

func TestOutlookIsReadAsItWasPut(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	days := run("2026-03-01", 16, -2.5)
	days[3].Max = 10.0 / 3
	fine := outlook(0, days)
	fine.IssuedAt = t0.Add(1999 * time.Nanosecond).In(time.FixedZone("", 3600)) // To the microsecond is kept, in UTC.
	kept, created, err := s.PutOutlook(t.Context(), "hill", "barn", fine, "key ann", at(1))
	want := []plainOutlook{{t0.Add(time.Microsecond), days, at(1), 1}}
	if diff := cmp.Diff(want, plainly(kept)); err != nil || !created || diff != "" {
		t.Errorf("kept, created %v, %v\n%s", created, err, diff)
	}
	latest, err := s.LatestOutlook(t.Context(), "hill", "barn", nil)
	if diff := cmp.Diff(want, plainly(latest)); err != nil || diff != "" {
		t.Errorf("latest, %v\n%s", err, diff)
	}
	all, err := s.Outlooks(t.Context(), "hill", "barn", nil, nil, nil)
	if diff := cmp.Diff(want, plainly(all...)); err != nil || diff != "" {
		t.Errorf("all, %v\n%s", err, diff)
	}
	var by string
	if err := pool.QueryRow(t.Context(), "SELECT recorded_by FROM outlook_version").Scan(&by); err != nil || by != "key ann" {
		t.Errorf("recorded by %q, %v", by, err)
	}
}

func TestOutlookAgain(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	one, two := run("2026-03-01", 3, 1), run("2026-03-02", 5, 2)
	for i, tt := range []struct {
		days []weather.Day
		want plainOutlook
	}{
		{one, plainOutlook{t0, one, at(10), 1}},
		{one, plainOutlook{t0, one, at(10), 1}}, // Nothing new.
		{two, plainOutlook{t0, two, at(12), 2}},
		{two, plainOutlook{t0, two, at(12), 2}},
		{one, plainOutlook{t0, one, at(14), 3}}, // As it was first.
	} {
		kept, created := send(t, s, 0, 10+i, tt.days)
		if diff := cmp.Diff([]plainOutlook{tt.want}, plainly(kept)); created != (i == 0) || diff != "" {
			t.Errorf("time %d: created %v\n%s", i+1, created, diff)
		}
	}
	if n := count(t, pool, "outlook_version"); n != 3 {
		t.Errorf("%d versions, want 3", n)
	}
}

func TestOutlooksAsTheyWereKnown(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	a, b, c := run("2026-03-01", 2, 1), run("2026-03-01", 2, 2), run("2026-03-01", 2, 3)
	send(t, s, 5, 10, a)
	send(t, s, 3, 20, b) // Issued before, received later.
	send(t, s, 5, 30, c)
	send(t, s, 5, 25, b) // By a clock that is behind: it counts from 30 on.
	for n, want := range map[int][]plainOutlook{
		9:  {},
		10: {{at(5), a, at(10), 1}},
		19: {{at(5), a, at(10), 1}},
		20: {{at(3), b, at(20), 1}, {at(5), a, at(10), 1}},
		29: {{at(3), b, at(20), 1}, {at(5), a, at(10), 1}},
		30: {{at(3), b, at(20), 1}, {at(5), b, at(30), 3}},
		99: {{at(3), b, at(20), 1}, {at(5), b, at(30), 3}},
	} {
		got, err := s.Outlooks(ctx, "hill", "barn", nil, nil, ptr(at(n)))
		if diff := cmp.Diff(want, plainly(got...)); err != nil || diff != "" {
			t.Errorf("at minute %d: %v\n%s", n, err, diff)
		}
		latest, err := s.LatestOutlook(ctx, "hill", "barn", ptr(at(n)))
		if len(want) == 0 {
			if !errors.Is(err, weather.ErrOutlookNotFound) {
				t.Errorf("latest at minute %d: %v", n, err)
			}
		} else if diff := cmp.Diff(want[len(want)-1:], plainly(latest)); err != nil || diff != "" {
			t.Errorf("latest at minute %d: %v\n%s", n, err, diff)
		}
		in, err := s.Inputs(ctx, "hill", at(n))
		if err != nil {
			t.Fatal(err)
		}
		var seen []plainOutlook
		for i, o := range in.Records[0].Outlooks {
			seen = append(seen, plainOutlook{o.IssuedAt, o.Days.Days(), want[min(i, len(want)-1)].Received, want[min(i, len(want)-1)].Version})
		}
		if diff := cmp.Diff(want, append([]plainOutlook{}, seen...)); diff != "" {
			t.Errorf("inputs at minute %d:\n%s", n, diff)
		}
	}
}

func TestOutlooksFromTo(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	for n := range 10 {
		send(t, s, n, 20, run("2026-03-01", 2, float64(n)))
	}
	for _, tt := range []struct {
		from, to    *time.Time
		first, want int
	}{
		{nil, nil, 0, 10},
		{ptr(at(3)), nil, 3, 7},
		{nil, ptr(at(3)), 0, 3},
		{ptr(at(3)), ptr(at(5)), 3, 2},
		{ptr(at(3)), ptr(at(3)), 0, 0},
		{ptr(at(5)), ptr(at(3)), 0, 0},
	} {
		got, err := s.Outlooks(t.Context(), "hill", "barn", tt.from, tt.to, nil)
		if err != nil || got == nil || len(got) != tt.want {
			t.Errorf("from %v to %v: %d outlooks, %v, want %d", tt.from, tt.to, len(got), err, tt.want)
			continue
		}
		for i, o := range got {
			if !o.IssuedAt.Equal(at(tt.first + i)) {
				t.Errorf("from %v to %v: outlook %d was issued at %s", tt.from, tt.to, i, o.IssuedAt)
			}
		}
	}
}

func TestOutlookThatCannotBeKept(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	ctx := t.Context()
	good := run("2026-03-01", 2, 1)
	for name, tt := range map[string]struct {
		farm, station string
		outlook       weather.Outlook
		want          error
	}{
		"no station":       {"hill", "tower", outlook(0, good), forecast.ErrStationNotFound},
		"no farm":          {"dale", "barn", outlook(0, good), forecast.ErrStationNotFound},
		"no days":          {"hill", "barn", outlook(0, nil), weather.ErrInvalidDay},
		"a hole":           {"hill", "barn", outlook(0, append(good[:2:2], run("2026-03-04", 1, 1)...)), weather.ErrInvalidDay},
		"seventeen days":   {"hill", "barn", outlook(0, run("2026-03-01", 17, 1)), weather.ErrInvalidDay},
		"days of long ago": {"hill", "barn", outlook(0, run("2020-03-01", 2, 1)), forecast.ErrInvalid},
	} {
		if kept, created, err := s.PutOutlook(ctx, tt.farm, tt.station, tt.outlook, "test", at(1)); !errors.Is(err, tt.want) || created || kept.Version != 0 {
			t.Errorf("%s: created %v, kept %+v, %v, want %v", name, created, kept, err, tt.want)
		}
	}
	if n := count(t, pool, "outlook"); n != 0 {
		t.Errorf("%d outlooks were left", n)
	}
	if _, err := s.LatestOutlook(ctx, "hill", "barn", nil); !errors.Is(err, weather.ErrOutlookNotFound) {
		t.Errorf("the latest of none: %v", err)
	}
	if _, err := s.LatestOutlook(ctx, "hill", "tower", nil); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("the latest of no station: %v", err)
	}
	if _, err := s.Outlooks(ctx, "hill", "tower", nil, nil, nil); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("outlooks of no station: %v", err)
	}
	none, err := s.Outlooks(ctx, "hill", "barn", nil, nil, nil)
	if err != nil || none == nil || len(none) != 0 {
		t.Errorf("outlooks of a station without: %#v, %v", none, err)
	}
}

// TestOutlookIsNotKnownBeforeItsStation: what is known at an instant refers to
// nothing that is not.
func TestOutlookIsNotKnownBeforeItsStation(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	o, _ := send(t, s, 0, -10, run("2026-03-01", 2, 1))
	if !o.ReceivedAt.Equal(t0) {
		t.Errorf("received at %s, want %s, when the station was made", o.ReceivedAt, t0)
	}
}

// TestManyPutOneOutlook: those who put the same write one version, whoever is
// first; those who put what differs write versions that differ from the one
// before.
func TestManyPutOneOutlook(t *testing.T) {
	t.Parallel()
	for _, values := range []int{1, 2} {
		t.Run(fmt.Sprint(values, " values"), func(t *testing.T) {
			t.Parallel()
			s, pool := farmed(t)
			var created atomic.Int32
			var wg sync.WaitGroup
			for i := range 20 {
				wg.Go(func() {
					days := run("2026-03-01", 10, float64(i%values))
					kept, ok, err := s.PutOutlook(t.Context(), "hill", "barn", outlook(0, days), "test", at(1))
					if err != nil || kept.Days.Days()[0] != days[0] {
						t.Errorf("kept %v, %v", kept.Days.Days(), err)
					}
					if ok {
						created.Add(1)
					}
				})
			}
			wg.Wait()
			if created.Load() != 1 {
				t.Errorf("created %d times", created.Load())
			}
			if n := count(t, pool, "outlook_version"); n < values || values == 1 && n != 1 {
				t.Errorf("%d versions of %d values", n, values)
			}
			if n := count(t, pool, `outlook_version AS a JOIN outlook_version AS b ON b.version = a.version + 1 AND b.min_c = a.min_c`); n != 0 {
				t.Errorf("%d versions say what the one before said", n)
			}
		})
	}
}

// BenchmarkInputsWithOutlooks measures what a forecast reads of one station of
// 40 years for which an outlook of ten days was received each day of ten years.
func BenchmarkInputsWithOutlooks(b *testing.B) {
	const years, ahead = 10, 10
	s, _ := farmed(b)
	if _, err := s.AddDays(b.Context(), "hill", "barn", weather.Delivery{Source: "bench", Days: benchRecord()}, t0); err != nil {
		b.Fatal(err)
	}
	first := time.Date(2016, time.January, 1, 6, 0, 0, 0, time.UTC)
	n := years * 365
	sendAll(b, s, first, n, ahead)
	b.ReportAllocs()
	for b.Loop() {
		in, err := s.Inputs(b.Context(), "hill", first.AddDate(years+1, 0, 0))
		if err != nil || len(in.Records[0].Outlooks) != n {
			b.Fatal(len(in.Records[0].Outlooks), err)
		}
	}
}

// sendAll puts an outlook for the days ahead on each of n days.
func sendAll(b *testing.B, s *db.Store, first time.Time, n, ahead int) {
	b.Helper()
	work := make(chan int)
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for i := range work {
				issued := first.AddDate(0, 0, i)
				days, err := weather.NewSeries(run(weather.DateIn(issued).String(), ahead, float64(i%30)))
				if err == nil {
					_, _, err = s.PutOutlook(context.WithoutCancel(b.Context()), "hill", "barn", weather.Outlook{IssuedAt: issued, Days: days}, "bench", issued)
				}
				if err != nil {
					b.Error(err)
				}
			}
		})
	}
	for i := range n {
		work <- i
	}
	close(work)
	wg.Wait()
}
