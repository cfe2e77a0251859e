package forecast_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// withOutlook returns in with an outlook, for its first station, of ten days
// from the given one on that are c °C warmer than what came.
func withOutlook(t *testing.T, in forecast.Inputs, issued time.Time, from weather.Date, c float64) forecast.Inputs {
	t.Helper()
	var days []weather.Day
	for _, d := range in.Records[0].Days.Between(from, from+9) {
		days = append(days, weather.Day{Date: d.Date, Min: d.Min + c, Max: d.Max + c})
	}
	s, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	out := in
	out.Records = append([]forecast.Record(nil), in.Records...)
	out.Records[0].Outlooks = append(slices.Clip(out.Records[0].Outlooks), weather.Outlook{IssuedAt: issued, Days: s})
	return out
}

// meanFirst is the mean of first ripe over the plantings that are not ripe, in
// days.
func meanFirst(t *testing.T, in forecast.Inputs, asOf weather.Date) (sum float64) {
	t.Helper()
	spreads, err := forecast.Spreads(in, asOf)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range spreads {
		sum += s.Stages[0].Mean() / float64(len(spreads))
	}
	return sum
}

func TestOutlookMovesTheForecast(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	morning := time.Date(2018, time.June, 11, 9, 0, 0, 0, time.UTC) // Five in the morning at the farm.
	none := meanFirst(t, in, asOf)
	var before float64
	for i, c := range []float64{-6, -3, 0, 3, 6} {
		o := withOutlook(t, in, morning, asOf, c)
		f := compute(t, o, asOf)
		if f.OutlookIssuedAt == nil || !f.OutlookIssuedAt.Equal(morning) {
			t.Fatalf("outlook_issued_at is %v, want %v", f.OutlookIssuedAt, morning)
		}
		at := meanFirst(t, o, asOf)
		if i > 0 && !(at < before) {
			t.Errorf("with an outlook %g °C warmer than what came first ripe is %.2f days on, no earlier than with the cooler one (%.2f)", c, at-none, before-none)
		}
		before = at
	}
	if f := compute(t, in, asOf); f.OutlookIssuedAt != nil {
		t.Errorf("without an outlook one issued at %v is named", f.OutlookIssuedAt)
	}
}

// What was issued before the end of the morning's day at the farm is known;
// later outlooks are not, nor do they teach how good outlooks are.
func TestLaterOutlooksAreNotSeen(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	// In Michigan 11 June ends at 4:00 UTC on the 12th.
	last, late := time.Date(2018, time.June, 12, 3, 59, 0, 0, time.UTC), time.Date(2018, time.June, 12, 4, 0, 0, 0, time.UTC)
	none := meanFirst(t, in, asOf)
	if at := meanFirst(t, withOutlook(t, in, last, asOf, 8), asOf); !(at < none-0.2) {
		t.Errorf("a hot outlook of the last minute of the day moves first ripe by %.2f days", at-none)
	}
	if at := meanFirst(t, withOutlook(t, in, late, asOf+1, 8), asOf); at != none {
		t.Errorf("an outlook of the day after moves first ripe by %.2f days", at-none)
	}
	// An old one is used for what it still reaches, and its age is told.
	f := compute(t, withOutlook(t, in, last.AddDate(0, 0, -6), asOf-5, 8), asOf)
	if f.OutlookIssuedAt == nil || !noted(f, forecast.NoteOutlook, "") {
		t.Errorf("of an outlook six days old is said %v, issued at %v", f.Notes, f.OutlookIssuedAt)
	}
}

// A sensor with one year of its own borrows forty from a station nearby that
// is two degrees warmer.
func TestYoungSensorBorrowsARecord(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	full := compute(t, in, asOf)
	old := in.Records[0]
	var nearby, young []weather.Day
	for _, d := range old.Days.Days() {
		nearby = append(nearby, weather.Day{Date: d.Date, Min: d.Min + 2, Max: d.Max + 2})
		// A week in May is missing.
		if d.Date >= weather.DateOf(2017, time.March, 1) && (d.Date < weather.DateOf(2018, time.May, 28) || d.Date > weather.DateOf(2018, time.June, 3)) {
			young = append(young, d)
		}
	}
	series := func(days []weather.Day) weather.Series {
		s, err := weather.NewSeries(days)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	sensor := old.Station
	in.Records = []forecast.Record{
		{Station: sensor, Days: series(young)},
		{Station: weather.Station{ID: "nearby"}, Days: series(nearby)},
	}
	if _, err := forecast.Compute(in, asOf); !errors.Is(err, forecast.ErrTooFewYears) {
		t.Errorf("without a stand-in the error is %v, want too few years", err)
	}
	in.Records[0].Station.StandIn = "nearby"
	f := compute(t, in, asOf)
	if f.DaysNotObserved != 7 || !noted(f, forecast.NoteStandIn, "") {
		t.Errorf("%d days not observed, notes %v; want 7 and a word on the stand-in", f.DaysNotObserved, f.Notes)
	}
	if f.Method.Traces != full.Method.Traces {
		t.Errorf("%d traces, want the %d of the station nearby", f.Method.Traces, full.Method.Traces)
	}
	// The offset is the same on every day, so what is lent is what was.
	for i, p := range f.Plantings {
		if p.Planting != full.Plantings[i].Planting || p.Stages.Peak.P50-full.Plantings[i].Stages.Peak.P50 > 1 || full.Plantings[i].Stages.Peak.P50-p.Stages.Peak.P50 > 1 {
			t.Errorf("%s peaks on %s, with the whole record on %s", p.Planting, p.Stages.Peak.P50, full.Plantings[i].Stages.Peak.P50)
		}
	}
}
