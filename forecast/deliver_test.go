package forecast_test

import (
	"testing"

	"ripetide/forecast"
	"ripetide/weather"
)

// A preview counts as a delivery does: equal days with other remarks of a
// source that makes any are corrected, also where only the hour is other.
func TestPreviewDelivery(t *testing.T) {
	t.Parallel()
	const first = weather.Date(20000)
	series, err := weather.NewSeries([]weather.Day{{Date: first, Min: 1, Max: 9}, {Date: first + 1, Min: 2, Max: 9}, {Date: first + 2, Min: 3, Max: 9}})
	if err != nil {
		t.Fatal(err)
	}
	r := forecast.Record{Days: series, Flags: []weather.Flag{{Date: first + 1, Text: "min: gap (G)"}}}
	on := map[weather.Date]weather.Remark{first: {Hour: 17}, first + 1: {Flag: "min: gap (G)"}}
	same := series.Days()
	with := func(remarks ...weather.Remark) weather.Delivery {
		return weather.Delivery{Days: same, Remarks: remarks}
	}
	for _, tt := range []struct {
		name string
		d    weather.Delivery
		want weather.Stored
		left int // Suspects by the source.
	}{
		{"the same without remarks", weather.Delivery{Days: same}, weather.Stored{Unchanged: 3}, 1},
		{"the same with the same remarks", with(weather.Remark{Hour: 17}, weather.Remark{Flag: "min: gap (G)"}, weather.Remark{}), weather.Stored{Unchanged: 3}, 1},
		{"another hour", with(weather.Remark{Hour: 7}, weather.Remark{Flag: "min: gap (G)"}, weather.Remark{}), weather.Stored{Unchanged: 2, Corrected: 1}, 1},
		{"an hour less and a flag less", with(weather.Remark{}, weather.Remark{}, weather.Remark{}), weather.Stored{Unchanged: 1, Corrected: 2}, 0},
		{"a flag more", with(weather.Remark{Hour: 17}, weather.Remark{Flag: "min: gap (G)"}, weather.Remark{Flag: "max: streak (K)"}), weather.Stored{Unchanged: 2, Corrected: 1}, 2},
		{"a day beside one that is doubted", weather.Delivery{Days: same[:1]}, weather.Stored{Unchanged: 1}, 0},
		{
			"other values and another day, which has a hole before it",
			weather.Delivery{Days: []weather.Day{{Date: first + 1, Min: 2, Max: 8}, {Date: first + 4, Min: 2, Max: 8}}},
			weather.Stored{Added: 1, Corrected: 1}, 0,
		},
	} {
		p, err := forecast.PreviewDelivery(r, on, tt.d)
		if err != nil {
			t.Fatal(err)
		}
		sources := 0
		for _, s := range p.Suspects {
			if s.Test == forecast.TestSource {
				sources++
			}
		}
		if p.Stored != tt.want || sources != tt.left {
			t.Errorf("%s: got %+v and %d suspects of the source, want %+v and %d", tt.name, p.Stored, sources, tt.want, tt.left)
		}
	}
}
