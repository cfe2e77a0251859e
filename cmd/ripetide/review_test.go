package main

import (
	"fmt"
	"strings"
	"testing"

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
		at := weather.DateOf(2024, 12, 20).Time()
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
	totals := listed(out, "totals")
	if want := "[bias_days:3 inside:0 lead:7 days before left_out:0 mae_days:3 n:1 seasons:1 stage:first_ripe]"; !strings.Contains(totals, want) {
		t.Errorf("totals lack %s:\n%s", want, totals)
	}
	if n := len(out["rows"].([]any)); n != 5 {
		t.Errorf("%d rows, want one for each of five leads", n)
	}
	if got := listed(s.json(200, "GET", strings.Replace(path, "2025", "2024", 1), ""), "rows"); got != "" {
		t.Errorf("of another season: %s", got)
	}
	s.call(404, "GET", strings.Replace(path, "/f/", "/g/", 1), "", "")
}
