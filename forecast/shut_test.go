package forecast_test

import (
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

func TestBlocksAreShutThroughTheirLastDay(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("", -4*3600)
	at := func(day, hour int) time.Time { return time.Date(2018, time.June, day, hour, 0, 0, 0, zone).UTC() }
	closed := func(until time.Time, now bool) forecast.Closure { return forecast.Closure{Until: until, InForce: now} }
	got := forecast.ShutThrough([]forecast.Block{
		{Plantings: []string{"a", "b"}, Sprayed: []forecast.Closure{closed(at(13, 0), true), closed(at(11, 9), true), closed(at(20, 9), false)}},
		{Plantings: []string{"b"}, Sprayed: []forecast.Closure{closed(at(14, 23), true)}},
		{Plantings: []string{"c"}},
	}, zone)
	if len(got) != 2 || got["a"] != weather.DateOf(2018, time.June, 12) || got["b"] != weather.DateOf(2018, time.June, 14) {
		t.Errorf("shut through %v", got)
	}
}
