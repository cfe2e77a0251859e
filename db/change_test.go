package db_test

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

// allChanges reads them page by page.
func allChanges(t testing.TB, s *db.Store, farm string, size int) (out []db.Change) {
	t.Helper()
	var before *db.Change
	for {
		page, err := s.Changes(t.Context(), farm, db.ChangeFilter{Before: before, Limit: size})
		if err != nil {
			t.Fatal(err)
		}
		if out = append(out, page...); len(page) < size {
			return out
		}
		before = &page[len(page)-1]
	}
}

func TestEveryChangeIsToldOnce(t *testing.T) {
	t.Parallel()
	s, pool := everything(t)
	if _, err := s.AddDays(t.Context(), "hill", "barn", weather.Delivery{Source: "second file", Days: []weather.Day{{Date: date("2026-05-01"), Min: 5, Max: 16}, {Date: date("2026-05-02"), Min: 5, Max: 16}}}, at(600)); err != nil {
		t.Fatal(err)
	}
	larger := north
	larger.AreaM2 = 2 * north.AreaM2
	if _, err := s.PutPlanting(t.Context(), "hill", larger, "key a (Ann)", at(601)); err != nil {
		t.Fatal(err)
	}
	all := allChanges(t, s, "hill", 1000)
	told := map[string]int{}
	for i, c := range all {
		told[c.What]++
		if i > 0 && c.At.After(all[i-1].At) {
			t.Errorf("%s comes after what is older", c.What)
		}
		for name := range c.Is {
			if strings.Contains(name, "hash") || strings.Contains(name, "secret") || name == "body" {
				t.Errorf("%s tells its %s", c.What, name)
			}
		}
	}
	for _, kind := range db.ChangeKinds() {
		want := 1
		switch kind {
		case "key", "key revoked", "link to sign in", "sign-in": // The key of this test is the installation's.
			want = 0
		case "recipient ended", "subscription revoked":
			want = 0
		case "days", "planting":
			want = 2
		}
		if told[kind] < want || want == 0 && told[kind] > 0 {
			t.Errorf("%s: told %d times, want %d", kind, told[kind], want)
		}
	}
	if c := all[0]; c.What != "planting" || c.By != "key a (Ann)" || c.Which != "north" || c.Number != 2 ||
		string(c.Was["area_m2"]) != fmt.Sprint(north.AreaM2) || string(c.Is["area_m2"]) != fmt.Sprint(larger.AreaM2) {
		t.Errorf("the newest is %+v", c)
	}
	if c := all[1]; c.What != "days" || c.By != "second file" || string(c.Is["days"]) != "2" || string(c.Is["corrected"]) != "1" || string(c.Is["last"]) != `"2026-05-02"` {
		t.Errorf("the one before is %+v", c)
	}
	// Page by page nothing is left out or told twice.
	for _, size := range []int{1, 2, 7} {
		paged := allChanges(t, s, "hill", size)
		if !slices.EqualFunc(paged, all, func(a, b db.Change) bool {
			return a.At.Equal(b.At) && a.What == b.What && a.Which == b.Which && a.Number == b.Number
		}) {
			t.Errorf("by pages of %d there are %d changes, and %d at once", size, len(paged), len(all))
		}
	}
	// By person and kind.
	some, err := s.Changes(t.Context(), "hill", db.ChangeFilter{By: "key a (Ann)", Limit: 10})
	if err != nil || len(some) != 1 || some[0].What != "planting" {
		t.Errorf("of Ann: %v, %v", some, err)
	}
	if some, err = s.Changes(t.Context(), "hill", db.ChangeFilter{What: "station", Limit: 10}); err != nil || len(some) != 1 {
		t.Errorf("of stations: %v, %v", some, err)
	}
	for _, f := range []db.ChangeFilter{{Limit: 10}, {By: "key a (Ann)", Limit: 10}, {What: "station", Limit: 10}, {Before: &all[0], Limit: 10}} {
		if _, err := s.Changes(t.Context(), "nowhere", f); !errors.Is(err, forecast.ErrFarmNotFound) {
			t.Errorf("%+v of a farm that is not there: %v", f, err)
		}
		f.By = "nobody"
		if none, err := s.Changes(t.Context(), "hill", f); err != nil || len(none) != 0 {
			t.Errorf("%+v: %v %v", f, none, err)
		}
	}
	// A forecast is told with all its columns but the body, though not from the whole row.
	var columns, names []string
	if err := pool.QueryRow(t.Context(), `SELECT array_agg(attname::text ORDER BY attname) FROM pg_attribute
		WHERE attrelid = 'frozen_forecast'::regclass AND attnum > 0 AND attname NOT IN ('farm', 'id', 'made_at', 'body')`).Scan(&columns); err != nil {
		t.Fatal(err)
	}
	if made, err := s.Changes(t.Context(), "hill", db.ChangeFilter{What: "forecast", Limit: 1}); err != nil || len(made) != 1 {
		t.Errorf("of forecasts: %v, %v", made, err)
	} else if names = slices.Sorted(maps.Keys(made[0].Is)); !slices.Equal(names, columns) {
		t.Errorf("a forecast is told with %v, want %v", names, columns)
	}
	// Every table is told of, or it is said why not.
	ofNoAccount := map[string]string{
		"farm": "when it was made is its first version", "station": "likewise", "variety": "likewise", "planting": "likewise", "feed": "likewise", "outlook": "likewise",
		"known_mark": "no record", "station_state": "no record", "mail_try": "what the service did, told beside the recipient", "mail_answer": "likewise",
		"feed_run": "what the service did, told beside the feed", "spray_seen": "that somebody took note, told beside the spray",
		"station_day": "told by deliveries",
	}
	for _, table := range tablesOf(t, pool) {
		if _, known := ofNoAccount[table]; !known && !strings.Contains(db.ChangesSQL, " "+table+" AS t ") {
			t.Errorf("%s is not told of", table)
		}
	}
}

func BenchmarkChanges(b *testing.B) {
	s, _ := farmed(b)
	days := make([]weather.Day, 40*365)
	for i := range days {
		days[i] = weather.Day{Date: date("1985-01-01") + weather.Date(i), Min: 1.5, Max: 11.25}
	}
	if _, err := s.AddDays(b.Context(), "hill", "barn", weather.Delivery{Source: "test", Days: days}, t0); err != nil {
		b.Fatal(err)
	}
	for i := range 50 {
		var ss []forecast.Sighting
		for j := range 100 {
			ss = append(ss, forecast.Sighting{Planting: "north", Date: date("2026-05-08") - weather.Date(i*100+j), Stage: forecast.Peak})
		}
		if _, err := s.AddSightings(b.Context(), "hill", ss, "test", at(i)); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		if _, err := s.Changes(b.Context(), "hill", db.ChangeFilter{Limit: 100}); err != nil {
			b.Fatal(err)
		}
	}
}
