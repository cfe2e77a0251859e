package forecast_test

import (
	"strings"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// Dates, temperatures and heat are written as the farm's people do.
func TestFarmSays(t *testing.T) {
	t.Parallel()
	d := weather.DateOf
	metric, us := forecast.Farm{Units: forecast.Metric}, forecast.Farm{Units: forecast.US}
	for _, tt := range []struct{ name, metric, us, wantMetric, wantUS string }{
		{"day", metric.Day(d(2018, 5, 29)), us.Day(d(2018, 5, 29)), "Tue 29 May", "Tue May 29"},
		{"one day", metric.Span(d(2018, 6, 14), d(2018, 6, 14)), us.Span(d(2018, 6, 14), d(2018, 6, 14)), "Thu 14 Jun", "Thu Jun 14"},
		{"one month", metric.Span(d(2018, 6, 14), d(2018, 6, 16)), us.Span(d(2018, 6, 14), d(2018, 6, 16)), "Thu 14 to Sat 16 Jun", "Thu Jun 14 to Sat 16"},
		{"two months", metric.Span(d(2018, 6, 30), d(2018, 7, 1)), us.Span(d(2018, 6, 30), d(2018, 7, 1)), "Sat 30 Jun to Sun 1 Jul", "Sat Jun 30 to Sun Jul 1"},
		{"two years", metric.Span(d(2018, 12, 31), d(2019, 1, 1)), us.Span(d(2018, 12, 31), d(2019, 1, 1)), "Mon 31 Dec 2018 to Tue 1 Jan 2019", "Mon Dec 31, 2018 to Tue Jan 1, 2019"},
		{"temperature", metric.Temperature(-4), us.Temperature(-4), "-4 °C", "24.8 °F"},
		{"warmer", metric.Difference(0.5), us.Difference(0.5), "+0.5 °C", "+0.9 °F"},
		{"colder", metric.Difference(-0.04), us.Difference(-1), "+0 °C", "−1.8 °F"},
		{"heat", metric.Heat(1234.4), us.Heat(1234.4), "1,234 °C·d", "2,222 °F·d"},
		{"little heat", metric.BareHeat(-99.6), us.BareHeat(10), "-100", "18"},
		{"method", metric.Method(forecast.DefaultMethod), us.Method(forecast.DefaultMethod),
			"the single sine method above 3 °C, with a horizontal cutoff at 30 °C", "the single sine method above 37.4 °F, with a horizontal cutoff at 86 °F"},
		// What the tests of a record say: degrees are converted, differences by the
		// scale alone, and nought, counts and other units stay.
		{"season", metric.Finding("max 30.0 °C, where 10.5 is usual at that time of year and 2.0 the standard deviation"),
			us.Finding("max 30.0 °C, where 10.5 is usual at that time of year and 2.0 the standard deviation"),
			"max 30.0 °C, where 10.5 is usual at that time of year, give or take 2.0", "max 86 °F, where 50.9 is usual at that time of year, give or take 3.6"},
		{"nought", metric.Finding("min is 0 °C, where the days around have 11.0 and -10.0 °C"), us.Finding("min is 0 °C, where the days around have 11.0 and -10.0 °C"),
			"min is 0 °C, where the days around have 11.0 and -10.0 °C", "min is 0 °C, where the days around have 51.8 and 14 °F"},
		{"unit", metric.Finding("12 days from 2018-05-29 on fit the season only as °F taken for °C"), us.Finding("12 days from 2018-05-29 on fit the season only as °F taken for °C"),
			"12 days from Tue 29 May 2018 on fit the season only as °F taken for °C", "12 days from Tue May 29, 2018 on fit the season only as °F taken for °C"},
		{"hour", metric.Finding("with those before (correlation 0.61) rather than after (0.32)"), us.Finding("with those before (correlation 0.61) rather than after (0.32)"),
			"with those before rather than after", "with those before rather than after"},
	} {
		if tt.metric != tt.wantMetric {
			t.Errorf("%s, metric: %q, want %q", tt.name, tt.metric, tt.wantMetric)
		}
		if tt.us != tt.wantUS {
			t.Errorf("%s, US: %q, want %q", tt.name, tt.us, tt.wantUS)
		}
	}
}

// Notes name stations and write dates and degrees as the farm does.
func TestNotesSpeakAsTheFarm(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	in.Records[0].Station.Name = "The Old Pump House"
	in.Records[0].Days = in.Records[0].Days.Until(asOf - 4)
	for _, tt := range []struct {
		units forecast.Units
		want  string
	}{
		{forecast.Metric, (asOf - 4).Time().Format("Mon 2 Jan")}, {forecast.US, (asOf - 4).Time().Format("Mon Jan 2")},
	} {
		in.Farm.Units = tt.units
		f := compute(t, in, asOf)
		var said []string
		for _, n := range f.Notes {
			if n.Kind == forecast.NoteStale {
				said = append(said, n.Text)
			}
		}
		if text := strings.Join(said, " "); !strings.Contains(text, "The record of The Old Pump House ends on "+tt.want+", 3 days before") {
			t.Errorf("%s: %q does not name the station and %s", tt.units, text, tt.want)
		}
	}
}

// Bloom is asked for from a week before its early end, not before.
func TestBloomIsAskedForAWeekBefore(t *testing.T) {
	t.Parallel()
	in, _ := demo(t)
	asked, silent := 0, 0
	for _, asOf := range []weather.Date{weather.DateOf(2018, time.March, 1), weather.DateOf(2018, time.April, 12), weather.DateOf(2018, time.May, 4), weather.DateOf(2018, time.May, 10)} {
		f := compute(t, in, asOf)
		due := 0
		for _, p := range f.Plantings {
			if b := p.Bloom; b != nil && b.From == forecast.BloomForecast && asOf >= *b.P10-7 {
				due++
			}
		}
		if noted(f, forecast.NoteNoBloom, "") != (due > 0) {
			t.Errorf("as of %s bloom of %d is near, and whether it is asked for is %t", asOf, due, due == 0)
		}
		if due > 0 {
			asked++
		} else {
			silent++
		}
	}
	if asked == 0 || silent == 0 {
		t.Errorf("asked for on %d mornings, not on %d: the mornings do not try both", asked, silent)
	}
}

// TestYieldPerAcre by hand: 1.1 kg/m² over 4,046.856 m² is 4,451.5 kg, 9,814 lb.
func TestYieldPerAcre(t *testing.T) {
	t.Parallel()
	for units, want := range map[forecast.Units]string{forecast.US: "9,810 lb/acre", forecast.Metric: "1.1 kg/m²"} {
		if got := (forecast.Farm{Units: units}).Yield(1.1); got != want {
			t.Errorf("%s: %q, want %q", units, got, want)
		}
	}
}
