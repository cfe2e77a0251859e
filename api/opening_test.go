package api_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"ripetide/api"
	"ripetide/api/announce"
	"ripetide/forecast"
	"ripetide/weather"
)

// lean is an opening by a forecast whose days are 10 and 11 June.
func lean() *api.Opening {
	june := func(n int) weather.Date { return weather.DateOf(2018, time.June, n) }
	day, next, p, past := june(10), june(11), 0.9, 0.034
	return &api.Opening{State: announce.State{
		Today: june(1),
		Farm:  forecast.Farm{ID: "f", Name: "Hill Farm"},
		Forecast: &forecast.Forecast{
			Season: 2018, AsOf: june(1), Days: []forecast.DaySupply{{Date: day, Opens: true, Ready: p}, {Date: next, Opens: true, Ready: 0.95}},
			Advice: &forecast.Advice{Confidence: 0.8, Opening: forecast.DayAdvice{Day: &day, Probability: &p, Next: &next, PastIfNext: &past}},
		},
	}}
}

func TestWhyIsToldInSentences(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		make func(*api.Opening)
		want string
	}{
		{"why this day", func(*api.Opening) {}, "Sun 10 Jun is the first of your open days on which at least 80 in 100 possible seasons are ready: 90 are."},
		{"waiting", func(*api.Opening) {}, "Waiting until Mon 11 Jun, the next open day, lets about 3 in 100 of the crop spoil."},
		{"waiting costs hardly anything", func(o *api.Opening) { *o.Forecast.Advice.Opening.PastIfNext = 0.004 }, "Waiting until Mon 11 Jun, the next open day, lets fewer than 1 in 100 of the crop spoil."},
		{"waiting costs nothing", func(o *api.Opening) { *o.Forecast.Advice.Opening.PastIfNext = 0 }, "Waiting until Mon 11 Jun, the next open day, lets 0 in 100 of the crop spoil."},
		{"decided on another day", decideOn(11), "You have decided on Mon 11 Jun: 95 in 100 possible seasons are ready then."},
		{"decided on a day before anything ripens", decideOn(3), "You have decided on Sun 3 Jun: in hardly any possible season is anything in its picking window then."},
	} {
		o := lean()
		tt.make(o)
		if why := o.Why(); !slices.Contains(why, tt.want) {
			t.Errorf("%s: %q has no %q", tt.name, why, tt.want)
		}
	}
	o := lean()
	decideOn(1)(o) // Today.
	if why := strings.Join(o.Why(), " "); strings.Contains(why, "Waiting") || strings.Contains(why, "You have decided") {
		t.Errorf("open, it waits: %q", why)
	}
	o = lean()
	decideOn(10)(o)
	if why := strings.Join(o.Why(), " "); strings.Contains(why, "You have decided") {
		t.Errorf("decided as advised: %q", why)
	}
}

func decideOn(n int) func(*api.Opening) {
	return func(o *api.Opening) {
		d := weather.DateOf(2018, time.June, n)
		o.Decisions = []forecast.Decision{{Season: 2018, Kind: forecast.DecideOpening, Day: &d, Version: 1}}
	}
}
