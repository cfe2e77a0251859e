package db_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

func states(t testing.TB, s *db.Store, farm string) string {
	t.Helper()
	out, err := s.StationStates(t.Context(), farm)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestEveryChangeOfAStationGivesItAnotherState(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	st, err := s.Station(ctx, "hill", "barn")
	if err != nil {
		t.Fatal(err)
	}
	st.Suspects = weather.UseSuspects
	day := weather.Day{Date: date("2026-03-02"), Min: 3, Max: 14}
	warmer := day
	warmer.Max = 15
	outlook := weather.Outlook{IssuedAt: at(5), Days: series(t, day)}
	newer := outlook
	newer.Days = series(t, warmer)
	deliver := func(d weather.Day) func() error {
		return func() error {
			_, err := s.AddDays(ctx, "hill", "barn", weather.Delivery{Source: "test", Days: []weather.Day{d}}, at(1))
			return err
		}
	}
	verdict := func(v *weather.Verdict) func() error {
		return func() error {
			_, err := s.PutVerdict(ctx, "hill", "barn", day.Date, v, "test", at(1))
			return err
		}
	}
	put := func(o weather.Outlook) func() error {
		return func() error {
			_, _, err := s.PutOutlook(ctx, "hill", "barn", o, "test", at(6))
			return err
		}
	}
	was := map[string]string{states(t, s, "hill"): "the beginning"}
	dale := states(t, s, "dale")
	for _, c := range []struct {
		name    string
		do      func() error
		changes bool
	}{
		{"a day", deliver(day), true},
		{"the same day", deliver(day), false},
		{"a correction", deliver(warmer), true},
		{"the day as it was", deliver(day), true},
		{"a verdict", verdict(&weather.Verdict{Date: day.Date, By: "Noor"}), true},
		{"the same verdict", verdict(&weather.Verdict{Date: day.Date, By: "Noor"}), false},
		{"a verdict taken back", verdict(nil), true},
		{"a verdict that was not there", func() error {
			if err := verdict(nil)(); !errors.Is(err, weather.ErrVerdictNotFound) {
				return errors.New("there was one")
			}
			return nil
		}, false},
		{"hours of reading", func() error {
			_, err := s.PutReadingHours(ctx, "hill", "barn", hours("2026-01-01", 7), "test", at(1))
			return err
		}, true},
		{"a setting", func() error { _, err := s.PutStation(ctx, "hill", st, "test", at(1)); return err }, true},
		{"the same setting", func() error { _, err := s.PutStation(ctx, "hill", st, "test", at(1)); return err }, false},
		{"another station", func() error {
			_, err := s.PutStation(ctx, "hill", weather.Station{ID: "shed", Name: "Shed", Latitude: 42, Longitude: -83}, "test", at(1))
			return err
		}, true},
		{"an outlook", put(outlook), true},
		{"an outlook in its place", put(newer), true},
		{"something else of the farm", func() error {
			f, err := s.Farm(ctx, "hill")
			if err == nil {
				f.Name = "Another"
				_, err = s.PutFarm(ctx, f, "test", at(1))
			}
			return err
		}, false},
	} {
		before := states(t, s, "hill")
		if err := c.do(); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		after := states(t, s, "hill")
		if (after != before) != c.changes {
			t.Errorf("%s: changed is %t, want %t", c.name, after != before, c.changes)
		}
		barn, err := s.StationState(ctx, "hill", "barn")
		if err != nil || barn == "" || !strings.Contains(" "+after+" ", " barn "+barn+" ") {
			t.Errorf("%s: the state of the barn is %q, %v; of all %q", c.name, barn, err, after)
		}
		if then, again := was[after]; again && c.changes {
			t.Errorf("after %s the state is that after %s", c.name, then)
		}
		was[after] = c.name
	}
	if now := states(t, s, "dale"); now != dale {
		t.Errorf("the other farm's states went from %q to %q", dale, now)
	}
	if got := states(t, s, "nowhere"); got != "" {
		t.Errorf("of no farm: %q", got)
	}
}

// A change and its state are seen at one time.
func TestAStateIsSeenWithItsChange(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	before := states(t, s, "hill")
	tx, err := pool.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback(context.WithoutCancel(t.Context()))
	if _, err := tx.Exec(t.Context(), `
		INSERT INTO station_day (farm, station, day, revision, min_c, max_c, source, received_at)
		VALUES ('hill', 'barn', '2026-05-01', 1, 1, 9, 'test', '2020-01-01')`); err != nil {
		t.Fatal(err)
	}
	if now := states(t, s, "hill"); now != before {
		t.Error("a change that is not committed shows in the state")
	}
	if err := tx.Commit(t.Context()); err != nil {
		t.Fatal(err)
	}
	if now := states(t, s, "hill"); now == before {
		t.Error("a change that was committed does not show in the state")
	}
	for _, sql := range []string{
		"DELETE FROM station_state", "TRUNCATE station_state", "UPDATE station_state SET station = 'x'",
	} {
		if _, err := pool.Exec(t.Context(), sql); err == nil {
			t.Errorf("%s was let through", sql)
		}
	}
}

// While days come in, what is read between two looks at the same state is always
// the same.
func TestOneStateHasOneRecord(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	const n = 30
	first := date("2026-01-01")
	var writing sync.WaitGroup
	for _, start := range []weather.Date{first, first + n} { // Two who write.
		writing.Go(func() {
			for i := range n {
				d := weather.Delivery{Source: "test", Days: []weather.Day{{Date: start + weather.Date(i), Min: 1, Max: 2}}}
				if _, err := s.AddDays(ctx, "hill", "barn", d, at(i)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	held := map[string]int{}
	for end := time.Now().Add(time.Minute); ; {
		state := states(t, s, "hill")
		r, err := s.Record(ctx, "hill", "barn", nil)
		if err != nil {
			t.Fatal(err)
		}
		if again := states(t, s, "hill"); again == state {
			if n, known := held[state]; known && n != r.Days.Len() {
				t.Fatalf("one state has %d days and %d", n, r.Days.Len())
			}
			held[state] = r.Days.Len()
		}
		if held[state] == 2*n || time.Now().After(end) {
			break
		}
	}
	writing.Wait()
	if len(held) < 1 || held[states(t, s, "hill")] != 2*n {
		t.Errorf("in the end %d days are held, want %d", held[states(t, s, "hill")], 2*n)
	}
}

func series(t testing.TB, days ...weather.Day) weather.Series {
	t.Helper()
	out, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestEveryChangeOfSightingsGivesThemAnotherState(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	state := func() string {
		t.Helper()
		out, err := s.SightingState(ctx, "hill")
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	seen := forecast.Sighting{Planting: "north", Date: date("2026-05-10"), Stage: forecast.Bloom10, Seen: true}
	add := func(x forecast.Sighting) func() error {
		return func() error {
			r, err := s.AddSightings(ctx, "hill", []forecast.Sighting{x}, "test", at(1))
			if err == nil {
				seen.ID, err = r[0].Sighting.ID, r[0].Err
			}
			return err
		}
	}
	earlier := seen
	earlier.Date--
	noted := earlier
	noted.Note = "by the gate"
	was := map[string]string{state(): "the beginning"}
	for _, c := range []struct {
		name    string
		do      func() error
		changes bool
	}{
		{"a sighting", add(seen), true},
		{"the same", add(seen), false},
		{"another date", add(earlier), true},
		{"a note", add(noted), true},
		{"withdrawn", func() error { return s.WithdrawSighting(ctx, "hill", seen.ID, "test", at(2)) }, true},
		{"seen again", add(noted), true},
	} {
		before := state()
		if err := c.do(); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		after := state()
		if (after != before) != c.changes {
			t.Errorf("%s: changed is %t, want %t", c.name, after != before, c.changes)
		}
		if then, again := was[after]; again && c.changes {
			t.Errorf("after %s the state is that after %s", c.name, then)
		}
		was[after] = c.name
	}
}

// TestTheStateOfAFarmCountsEveryTable that forecasts may be made from: one that
// is neither counted nor named here as of no account fails.
func TestTheStateOfAFarmCountsEveryTable(t *testing.T) {
	t.Parallel()
	_, pool := open(t)
	rows, _ := pool.Query(t.Context(), `
		SELECT c.relname::text
		FROM pg_class AS c
		JOIN pg_attribute AS a ON a.attrelid = c.oid AND a.attname = 'farm' AND NOT a.attisdropped
		WHERE c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace
		ORDER BY c.relname`)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(tables) == 0 {
		t.Fatal(tables, err)
	}
	ofNoAccount := []string{
		"farm", "station", "variety", "planting", // Each begins with a version.
		"station_version", "station_day", "outlook", "outlook_version", "day_verdict_version", "reading_hours_version", // By the state.
		"feed", "feed_version", "feed_run", "api_key", "spray_version", "spray_seen",
		"announcing_version", "subscription", "recipient", "mail_try", "mail_answer", "known_mark",
		"proposal_version", // What it changes is a version of something else.
	}
	for _, table := range ofNoAccount {
		if !slices.Contains(tables, table) {
			t.Errorf("there is no table %s", table)
		}
	}
	for _, table := range tables {
		counted := strings.Contains(db.FarmStateSQL, "FROM "+table+" WHERE")
		if counted == slices.Contains(ofNoAccount, table) {
			t.Errorf("table %s is %s", table, map[bool]string{true: "counted, and of no account here", false: "not counted"}[counted])
		}
	}
}
