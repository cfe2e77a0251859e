package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
)

// TestReviewHoldsWhatWasFrozenAgainstWhatCame by hand: first ripe came on
// 9 December; a week before it the 12th was said, three days before the 8th, and
// afterwards, in a hindcast, the very day.
func TestReviewHoldsWhatWasFrozenAgainstWhatCame(t *testing.T) {
	t.Parallel()
	s := newService(t)
	s.planted()
	s.json(200, "POST", "/v1/farms/f/sightings", `{"sightings":[
		{"planting":"p","date":"2024-11-08","stage":"bloom_10","seen":true},{"planting":"p","date":"2024-12-09","stage":"first_ripe","seen":true}]}`)
	store, err := db.Open(t.Context(), s.env["DATABASE_URL"], db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	for i, z := range []struct {
		asOf     string
		hindcast bool
		p10, p50 int
		p90      int
	}{
		{"2024-12-02", false, 10, 12, 14}, {"2024-12-06", false, 6, 8, 9}, {"2024-11-25", true, 9, 9, 9},
	} {
		d := fmt.Sprintf(`{"p10":"2024-12-%02d","p50":"2024-12-%02d","p90":"2024-12-%02d","seen":null}`, z.p10, z.p50, z.p90)
		at := time.Now() // Once the farm was known.
		asOf, _ := weather.ParseDate(z.asOf)
		f := forecast.Frozen{
			ID: fmt.Sprint("z", i), Farm: "f", Season: 2025, AsOf: asOf, KnownAt: at, MadeAt: at, Hindcast: z.hindcast, Program: "test",
			Body: []byte(`{"plantings":[{"planting":"p","stages":{"first_ripe":` + d + `,"peak":` + d + `,"last_pick":` + d + `}}]}`),
		}
		if err := store.Freeze(t.Context(), f); err != nil {
			t.Fatal(err)
		}
	}
	const path = "/v1/farms/f/reviews/2025" // South of the equator.
	csv := string(s.call(200, "GET", path+".csv", "", ""))
	for _, want := range []string{
		"2025,p,first_ripe,at bloom,2024-12-09,sighting,,,,,,,,,no forecast was made on its morning\n",
		"2025,p,first_ripe,14 days before,2024-12-09,sighting,,,,,,,,,no forecast was made on its morning\n",
		"2025,p,first_ripe,7 days before,2024-12-09,sighting,,z0,2024-12-02,2024-12-10,2024-12-12,2024-12-14,3,false,\n",
		"2025,p,first_ripe,3 days before,2024-12-09,sighting,,z1,2024-12-06,2024-12-06,2024-12-08,2024-12-09,-1,true,\n",
	} {
		if !strings.Contains(csv, want) {
			t.Errorf("the CSV lacks %q:\n%s", want, csv)
		}
	}
	out := s.json(200, "GET", path, "")
	for _, of := range []map[string]any{out, out["together"].(map[string]any)} {
		scores := listed(of, "scores")
		if want := "bias_days:3 inside:0 inside_honest:map[high:1 low:0] lead:7 days before left_out:0 mae_days:3 mae_range:<nil> n:1"; !strings.Contains(scores, want) {
			t.Errorf("scores lack %s:\n%s", want, scores)
		}
	}
	if n := len(out["rows"].([]any)); n != 5 {
		t.Errorf("%d rows, want one for each of five leads", n)
	}
	if got := listed(s.json(200, "GET", strings.Replace(path, "2025", "2024", 1), ""), "rows"); got != "" {
		t.Errorf("of another season: %s", got)
	}
	s.call(404, "GET", strings.Replace(path, "/f/", "/g/", 1), "", "")

	why := s.json(200, "GET", path+"/why", "")
	for _, want := range []string{"error_days:3 lead:7 days before parts:<nil> planting:p stage:first_ripe", "error_days:-1 lead:3 days before"} {
		if got := listed(why, "rows"); !strings.Contains(got, want) {
			t.Errorf("the reasons lack %q: %s", want, got)
		}
	}

	rows := filepath.Join(t.TempDir(), "rows.csv")
	told := strings.Join(strings.Fields(s.command("review", "2025", "--csv", rows)), " ")
	for _, want := range []string{"one season and not as many tries", "FIRST RIPE", "3 days late *", "7 days before it came, first ripe fruit of", "3 days too late. Where that came from cannot be said: the forecast cannot be made again as it was", "1 day early", "no last pick is on record", "ALL STAGES, 2025", "(5 rows)"} {
		if !strings.Contains(told, want) {
			t.Errorf("the command does not say %q:\n%s", want, told)
		}
	}
	if b, err := os.ReadFile(rows); err != nil || string(b) != csv {
		t.Errorf("its rows are not those of the service: %v\n%s", err, b)
	}
}
