package weather_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/quick"

	"ripetide/weather"
)

// day is a plain day of a date.
func day(d weather.Date) weather.Day {
	return weather.Day{Date: d, Min: float64(d % 10), Max: float64(d%10) + 8}
}

func series(t *testing.T, dates ...weather.Date) weather.Series {
	t.Helper()
	var days []weather.Day
	for _, d := range dates {
		days = append(days, day(d))
	}
	s, err := weather.NewSeries(days)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func dates(days []weather.Day) []weather.Date {
	var out []weather.Date
	for _, d := range days {
		out = append(out, d.Date)
	}
	return out
}

func TestNewSeries(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		days []weather.Day
		want error
	}{
		{"no days", nil, nil},
		{"one day", []weather.Day{day(5)}, nil},
		{"with a hole", []weather.Day{day(5), day(9)}, nil},
		{"a date twice", []weather.Day{day(5), day(5)}, weather.ErrDaysOutOfOrder},
		{"backwards", []weather.Day{day(5), day(4)}, weather.ErrDaysOutOfOrder},
		{"min above max", []weather.Day{day(5), {Date: 6, Min: 3, Max: 2}}, weather.ErrInvalidDay},
		{"NaN", []weather.Day{{Date: 6, Min: math.NaN(), Max: 2}}, weather.ErrInvalidDay},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s, err := weather.NewSeries(tt.days)
			if !errors.Is(err, tt.want) || err == nil && !slices.Equal(s.Days(), tt.days) {
				t.Errorf("got %v, %v; want %v", s.Days(), err, tt.want)
			}
			if err != nil && s.Len() != 0 {
				t.Errorf("%d days beside the error", s.Len())
			}
		})
	}
}

func TestSeriesCopiesAndKeepsItsDays(t *testing.T) {
	t.Parallel()
	given := []weather.Day{day(1), day(2), day(3)}
	s, err := weather.NewSeries(given)
	if err != nil {
		t.Fatal(err)
	}
	given[1].Max = 50
	_ = append(s.Between(1, 1), day(99))
	_ = append(s.Until(2).Days(), day(99))
	if want := []weather.Day{day(1), day(2), day(3)}; !slices.Equal(s.Days(), want) {
		t.Errorf("changed from outside: %v", s.Days())
	}
}

func TestSeriesParts(t *testing.T) {
	t.Parallel()
	const first, last = math.MinInt32, math.MaxInt32 // Dates are 32 bits wide.
	s := series(t, 10, 11, 12, 20, 21, 40)
	for _, tt := range []struct {
		name     string
		from, to weather.Date
		want     []weather.Date
	}{
		{"all", 10, 40, []weather.Date{10, 11, 12, 20, 21, 40}},
		{"all and more", first, last, []weather.Date{10, 11, 12, 20, 21, 40}},
		{"both ends included", 11, 20, []weather.Date{11, 12, 20}},
		{"from within a hole to within a hole", 15, 30, []weather.Date{20, 21}},
		{"within one hole", 13, 19, nil},
		{"one day", 40, 40, []weather.Date{40}},
		{"before", first, 9, nil},
		{"after", 41, last, nil},
		{"the last date there can be", last, last, nil},
		{"ends the wrong way round", 20, 11, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := dates(s.Between(tt.from, tt.to)); !slices.Equal(got, tt.want) {
				t.Errorf("Between: got %v, want %v", got, tt.want)
			}
			got := dates(s.Until(tt.to).Between(tt.from, last))
			if !slices.Equal(got, tt.want) {
				t.Errorf("Until: got %v, want %v", got, tt.want)
			}
		})
	}
	if got := s.Until(last).Len(); got != 6 {
		t.Errorf("until the last date there can be: %d days", got)
	}
	if _, _, ok := s.Until(9).Span(); ok {
		t.Error("an empty part has a span")
	}
	if a, b, ok := s.Until(30).Span(); a != 10 || b != 21 || !ok {
		t.Errorf("span of a part: %d to %d, %t", a, b, ok)
	}
	old := series(t, first, -5, last)
	if _, ok := old.At(last); !ok || old.Between(last, last) == nil {
		t.Error("the ends of the count are too far apart")
	}
}

func TestSeriesHoles(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		dates []weather.Date
		want  []weather.Hole
	}{
		{nil, nil},
		{[]weather.Date{7}, nil},
		{[]weather.Date{7, 8, 9}, nil},
		{[]weather.Date{7, 9}, []weather.Hole{{From: 8, To: 8}}},
		{[]weather.Date{7, 11, 12, 20}, []weather.Hole{{From: 8, To: 10}, {From: 13, To: 19}}},
	} {
		got := series(t, tt.dates...).Holes()
		if !slices.Equal(got, tt.want) {
			t.Errorf("%v: got %v, want %v", tt.dates, got, tt.want)
		}
	}
	if n := (weather.Hole{From: 8, To: 10}).Len(); n != 3 {
		t.Errorf("8 to 10 is %d dates", n)
	}
}

// A series against a map from date to day, on records with holes.
func TestSeriesIsAMap(t *testing.T) {
	t.Parallel()
	same := func(seed uint64, start int16, a, b int16) bool {
		r := rand.New(rand.NewPCG(seed, 1))
		naive := map[weather.Date]weather.Day{}
		var days []weather.Day
		d := weather.Date(start)
		for range r.IntN(60) {
			d += 1 + weather.Date(r.IntN(2)*r.IntN(30))
			naive[d] = day(d)
			days = append(days, day(d))
		}
		s, err := weather.NewSeries(days)
		if err != nil || s.Len() != len(naive) {
			return false
		}
		from, to := weather.Date(start)+weather.Date(a%300), weather.Date(start)+weather.Date(b%300)
		var between, until []weather.Date
		holes := 0
		for x := weather.Date(start) - 400; x <= d+400; x++ {
			want, ok := naive[x]
			if got, has := s.At(x); got != want || has != ok {
				return false
			}
			if ok && from <= x && x <= to {
				between = append(between, x)
			}
			if ok && x <= to {
				until = append(until, x)
			}
			if !ok && len(days) > 0 && days[0].Date < x && x < d {
				holes++
			}
		}
		for _, h := range s.Holes() {
			holes -= h.Len()
			for x := h.From; x <= h.To; x++ {
				if _, ok := naive[x]; ok {
					return false
				}
			}
		}
		return holes == 0 && slices.Equal(dates(s.Between(from, to)), between) && slices.Equal(dates(s.Until(to).Days()), until)
	}
	err := quick.Check(same, &quick.Config{MaxCount: 500})
	if err != nil {
		t.Error(err)
	}
}
