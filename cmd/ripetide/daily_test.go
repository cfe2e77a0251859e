package main

import (
	"log/slog"
	"sync"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/daily"
)

// Three instances that wake up after two days without power make every morning
// once; the late ones say so, know no more than their morning did, and are not
// the latest.
func TestMorningsAreMadeOnceAcrossInstances(t *testing.T) {
	t.Parallel()
	d, at := demoMorning(t)
	clock := newTestClock(t)
	clock.set(at)
	s := newDemoServiceAt(t, clock.now)
	o, err := open(t.Context(), &config{DatabaseURL: s.env["DATABASE_URL"], Data: s.env["RIPETIDE_DATA"]}, mainDatabase, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer o.close(t.Context())
	// Two days later the power is back; a bloom was entered in the meantime.
	now := at.Add(72 * time.Hour)
	clock.set(now)
	s.json(200, "POST", "/v1/farms/lanternfen/sightings", `{"sightings":[{"planting":"lastlantern-creekside","date":"2018-06-12","stage":"first_ripe","seen":false}]}`)
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			r := &daily.Runner{
				Store: o.Store, Maker: &forecast.Service{Store: o.Store, Now: clock.now, Program: version},
				Now: clock.now, Log: slog.New(slog.DiscardHandler),
			}
			for range 3 { // Who finds the lock taken looks again.
				r.Pass(t.Context())
			}
		})
	}
	wg.Wait()
	got := map[string][]map[string]any{}
	for _, x := range s.json(200, "GET", "/v1/farms/lanternfen/forecasts?season=2018", "")["forecasts"].([]any) {
		x := x.(map[string]any)
		if day := x["as_of"].(string); day > d.AsOf.String() {
			f := s.json(200, "GET", "/v1/farms/lanternfen/forecasts/"+x["id"].(string), "")
			f["known_at"] = x["known_at"]
			got[day] = append(got[day], f)
		}
	}
	for day, late := range map[string]bool{"2018-06-12": true, "2018-06-13": true, "2018-06-14": false} {
		if len(got[day]) != 1 {
			t.Errorf("%s: %d forecasts", day, len(got[day]))
			continue
		}
		f := got[day][0]
		if f["late"] != late || f["hindcast"] != late {
			t.Errorf("%s: late %v, hindcast %v, want %v", day, f["late"], f["hindcast"], late)
		}
		if want := day + "T09:00:00Z"; late && f["known_at"] != want { // Five o'clock at the farm.
			t.Errorf("%s knows what was received by %v, want %s", day, f["known_at"], want)
		}
	}
	if f := s.json(200, "GET", "/v1/farms/lanternfen/forecasts/latest", ""); f["as_of"] != "2018-06-14" {
		t.Errorf("the latest is as of %v", f["as_of"])
	}
}
