package weather_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/weather"
)

// Half past nine in the evening of 3 June in New York is 4 June in UTC.
var (
	evening = time.Date(2025, time.June, 4, 1, 30, 0, 0, time.UTC)
	newYork = mustZone("America/New_York")
)

func mustZone(name string) *time.Location {
	zone, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return zone
}

func date(s string) weather.Date {
	d, err := weather.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

// draft returns a draft of n days from first on, of 10 to 20 °C, or 50 to
// 68 °F.
func draft(unit weather.Unit, first string, n int) weather.OutlookDraft {
	lo, hi := 10.0, 20.0
	if unit == weather.Fahrenheit {
		lo, hi = 50, 68
	}
	d := weather.OutlookDraft{IssuedAt: &evening, Unit: unit}
	from := date(first)
	for i := range n {
		date, lo, hi := from+weather.Date(i), lo, hi
		d.Days = append(d.Days, weather.OutlookDay{Date: &date, Min: &lo, Max: &hi})
	}
	return d
}

func TestNewOutlook(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		unit  weather.Unit
		first string
		n     int
	}{
		{weather.Celsius, "2025-06-03", 10},    // From the day it was issued on.
		{weather.Fahrenheit, "2025-06-04", 16}, // From the day after.
		{weather.Celsius, "2025-06-03", 1},
	} {
		o, faults := weather.NewOutlook(draft(tt.unit, tt.first, tt.n), newYork, evening)
		if faults != nil || !o.IssuedAt.Equal(evening) || o.Days.Len() != tt.n {
			t.Errorf("%+v: %+v, faults %v", tt, o, faults)
			continue
		}
		for i, d := range o.Days.Days() {
			if want := date(tt.first) + weather.Date(i); d != (weather.Day{Date: want, Min: 10, Max: 20}) {
				t.Errorf("%+v: day %d is %v", tt, i, d)
			}
		}
	}
}

func TestOutlookFaults(t *testing.T) {
	t.Parallel()
	ptr := func(x float64) *float64 { return &x }
	for _, tt := range []struct {
		name   string
		change func(d *weather.OutlookDraft)
		want   []string // Fields with the beginning of what is said of them.
	}{
		{"nothing sent", func(d *weather.OutlookDraft) { *d = weather.OutlookDraft{} }, []string{"issued_at: is needed", "unit: must be", "days: must hold at least one"}},
		{"issued too far ahead", func(d *weather.OutlookDraft) {
			at := evening.Add(weather.ClockSkew + time.Second)
			d.IssuedAt = &at
		}, []string{"issued_at: must not be later than now, 2025-06-04T01:30:00Z"}},
		{"a clock that is ahead", func(d *weather.OutlookDraft) {
			at := evening.Add(weather.ClockSkew)
			d.IssuedAt = &at
		}, nil},
		{"unknown unit", func(d *weather.OutlookDraft) { d.Unit = "K" }, []string{"unit: must be"}},
		{"no unit, then nothing is said of bounds", func(d *weather.OutlookDraft) { d.Unit, d.Days[0].Max = "", ptr(75) }, []string{"unit: must be"}},
		{"seventeen days", func(d *weather.OutlookDraft) { *d = draft(weather.Celsius, "2025-06-03", 17) }, []string{"days: must hold at most 16"}},
		{"from the day before it was issued", func(d *weather.OutlookDraft) { *d = draft(weather.Celsius, "2025-06-02", 3) },
			[]string{"days[0].date: must be 2025-06-03, the day it was issued on at the farm, or the day after"}},
		{"from two days after", func(d *weather.OutlookDraft) { *d = draft(weather.Celsius, "2025-06-05", 3) }, []string{"days[0].date: must be 2025-06-03"}},
		{"a date missing", func(d *weather.OutlookDraft) { d.Days = append(d.Days[:1], d.Days[2:]...) }, []string{"days[1].date: must be 2025-06-04, the day after"}},
		{"a date twice", func(d *weather.OutlookDraft) { d.Days[2].Date = d.Days[1].Date }, []string{"days[2].date: is there twice", "days[3].date: must be 2025-06-05"}},
		{"a day twice", func(d *weather.OutlookDraft) { d.Days = append(d.Days[:1:1], d.Days...) }, []string{"days[1].date: is there twice"}},
		{"backwards", func(d *weather.OutlookDraft) { d.Days[0], d.Days[1] = d.Days[1], d.Days[0] },
			[]string{"days[1].date: must be 2025-06-05", "days[2].date: must be 2025-06-04"}},
		{"what could not be read", func(d *weather.OutlookDraft) {
			d.Days[0].Date, d.Days[1].Min, d.Days[2].Max = nil, nil, nil
		}, []string{"days[0].date: is needed", "days[1].min: is needed", "days[2].max: is needed"}},
		{"min above max", func(d *weather.OutlookDraft) { d.Days[1].Min = ptr(20.5) }, []string{"days[1].min: min 20.5 is above max 20"}},
		{"min at max", func(d *weather.OutlookDraft) { d.Days[1].Min = ptr(20) }, nil},
		{"out of bounds", func(d *weather.OutlookDraft) { d.Days[0].Min, d.Days[0].Max = ptr(-90.1), ptr(60.1) },
			[]string{"days[0].min: min -90.1 °C is below -90 °C", "days[0].max: max 60.1 °C is above 60 °C, is it °F?"}},
		{"within the bounds in °F", func(d *weather.OutlookDraft) {
			*d = draft(weather.Fahrenheit, "2025-06-03", 2)
			d.Days[0].Min, d.Days[0].Max = ptr(-130), ptr(140)
		}, nil},
		{"out of bounds in °F", func(d *weather.OutlookDraft) {
			*d = draft(weather.Fahrenheit, "2025-06-03", 2)
			d.Days[0].Max = ptr(141)
		}, []string{"days[0].max: max 141 °F is above 140 °F"}},
		{"no numbers", func(d *weather.OutlookDraft) { d.Days[0].Min, d.Days[1].Max = ptr(math.NaN()), ptr(math.Inf(1)) },
			[]string{"days[0].min: min is not a number", "days[1].max: max +Inf"}},
		{"°F given as °C", func(d *weather.OutlookDraft) {
			for i := range d.Days {
				d.Days[i].Min, d.Days[i].Max = ptr(45+float64(i)), ptr(58)
			}
		}, []string{"unit: 4 of 4 rows have a mean above 50 °C"}},
		{"everything at once", func(d *weather.OutlookDraft) {
			at := evening.Add(time.Hour)
			d.IssuedAt, d.Days[0].Min, d.Days[2].Date, d.Days[3].Max = &at, ptr(75), d.Days[0].Date, ptr(-91)
		}, []string{"issued_at: ", "days[0].min: min 75 °C", "days[2].date: is there twice", "days[3].date: must be 2025-06-04", "days[3].max: max -91"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d := draft(weather.Celsius, "2025-06-03", 4)
			tt.change(&d)
			o, faults := weather.NewOutlook(d, newYork, evening)
			var got []string
			for i, f := range faults {
				s := fmt.Sprintf("%s: %s", f.Field, f.Reason)
				if i < len(tt.want) && strings.HasPrefix(s, tt.want[i]) {
					s = tt.want[i]
				}
				got = append(got, s)
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
			if len(faults) > 0 && (o.Days.Len() > 0 || !o.IssuedAt.IsZero()) {
				t.Errorf("an outlook in spite of its faults: %+v", o)
			}
		})
	}
}

// TestOutlookBeginsByTheCalendarOfTheFarm: the same instant is another date
// elsewhere.
func TestOutlookBeginsByTheCalendarOfTheFarm(t *testing.T) {
	t.Parallel()
	for zone, want := range map[string][]string{ // First days that are taken.
		"America/New_York":   {"2025-06-03", "2025-06-04"},
		"UTC":                {"2025-06-04", "2025-06-05"},
		"Pacific/Kiritimati": {"2025-06-04", "2025-06-05"}, // 14 h ahead: half past three in the afternoon.
		"Pacific/Pago_Pago":  {"2025-06-03", "2025-06-04"},
	} {
		var got []string
		for _, first := range []string{"2025-06-02", "2025-06-03", "2025-06-04", "2025-06-05", "2025-06-06"} {
			if _, faults := weather.NewOutlook(draft(weather.Celsius, first, 2), mustZone(zone), evening); faults == nil {
				got = append(got, first)
			}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", zone, diff)
		}
	}
}
