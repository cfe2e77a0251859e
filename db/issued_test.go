package db_test

import (
	"fmt"
	"strings"
	"testing"

	"ripetide/forecast"
)

// issued is a frozen forecast that says of the planting home that it is first
// ripe on a day of June.
func issued(id, asOf string, n int, hindcast bool, day int) forecast.Frozen {
	z := frozen(id, asOf, n, hindcast)
	d := fmt.Sprintf(`{"p10":"2026-06-%02d","p50":"2026-06-%02d","p90":"2026-06-%02d","seen":null}`, day-1, day, day+2)
	z.Body = []byte(`{"plantings":[{"planting":"away","stages":null},{"planting":"home","stages":{"first_ripe":` + d + `,"peak":` + d + `,"last_pick":` + d + `}}]}`)
	return z
}

func TestIssuedDatesOfASeason(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	for _, z := range []forecast.Frozen{
		issued("b", "2026-06-02", 4, false, 12), issued("a", "2026-06-01", 2, false, 10), issued("a2", "2026-06-01", 3, false, 11),
		issued("h", "2026-05-20", 9, true, 20), issued("h1", "2026-06-01", 9, true, 21),
		issued("old", "2025-06-01", 5, true, 13), issued("older", "2025-05-01", 6, true, 14),
	} {
		if err := s.Freeze(ctx, z); err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct {
		name     string
		farm     string
		season   int
		planting string
		want     string
	}{
		{"one of a morning, the last made, and no hindcast beside forecasts", "hill", 2026, "home", "a2 2026-06-01 2026-06-11, b 2026-06-02 2026-06-12"},
		{"hindcasts where there is nothing else", "hill", 2025, "home", "older 2025-05-01 2026-06-14 hindcast, old 2025-06-01 2026-06-13 hindcast"},
		{"a planting without dates", "hill", 2026, "away", "a2 2026-06-01 none, b 2026-06-02 none"},
		{"a planting that is not told of", "hill", 2026, "nowhere", "a2 2026-06-01 none, b 2026-06-02 none"},
		{"a season without forecasts", "hill", 2024, "home", ""},
		{"another farm", "dale", 2026, "home", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			list, err := s.Issued(ctx, tt.farm, tt.season, tt.planting)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, i := range list {
				said := "none"
				if i.Stages != nil {
					said = i.Stages.FirstRipe.P50.String()
				}
				if i.Hindcast {
					said += " hindcast"
				}
				got = append(got, fmt.Sprint(i.ID, " ", i.AsOf, " ", said))
			}
			if strings.Join(got, ", ") != tt.want {
				t.Errorf("got  %s\nwant %s", strings.Join(got, ", "), tt.want)
			}
		})
	}
	bad := issued("bad", "2026-06-03", 5, false, 10)
	bad.Body = []byte(`{"plantings":7}`)
	if err := s.Freeze(ctx, bad); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Issued(ctx, "hill", 2026, "home"); err == nil {
		t.Error("a body that is no forecast was read")
	}
}
