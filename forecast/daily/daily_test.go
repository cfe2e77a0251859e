package daily_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/forecast/daily"
	"ripetide/weather"
)

// shed is a store and a maker that remember what was asked of them.
type shed struct {
	mu     sync.Mutex
	farms  []forecast.Farm
	there  []daily.Morning
	locked bool  // By somebody else.
	fails  error // Of Make.
	late   error // Of Make, for mornings that went by.
	made   []string
	zone   *time.Location
}

func (s *shed) Farms(context.Context) ([]forecast.Farm, error) { return s.farms, nil }

func (s *shed) Mornings(_ context.Context, _ string, from weather.Date) (out []daily.Morning, _ error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, d := range s.there {
		if d.Day >= from {
			out = append(out, d)
		}
	}
	return out, nil
}

func (s *shed) LockMorning(context.Context, string) (func(), bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.locked {
		return nil, false, nil
	}
	s.locked = true
	return func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.locked = false
	}, true, nil
}

func (s *shed) Make(_ context.Context, farm string, r forecast.Request) (*forecast.Forecast, forecast.Frozen, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fails != nil {
		s.made = append(s.made, "tried")
		return nil, forecast.Frozen{}, s.fails
	}
	if r.Late && s.late != nil {
		s.made = append(s.made, "tried")
		return nil, forecast.Frozen{}, s.late
	}
	text := fmt.Sprintf("%s %s", farm, r.AsOf)
	if r.Late {
		text += " late, known at " + r.KnownAt.In(s.zone).Format("2006-01-02 15:04")
	}
	if !r.Freeze {
		text += " only computed"
	}
	s.made = append(s.made, text)
	s.there = append(s.there, daily.Morning{Day: *r.AsOf, MadeAt: time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)}) // After any morning.
	return nil, forecast.Frozen{}, nil
}

func at(t *testing.T, zone, text string) time.Time {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	x, err := time.ParseInLocation("2006-01-02 15:04", text, loc)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func date(t *testing.T, s string) weather.Date {
	t.Helper()
	d, err := weather.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestMorningsAreMadeWhenTheyBegin(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, zone, now string
		there           []string
		want            []string
	}{
		{"a farm that is new, before its first morning begins", "Europe/Berlin", "2026-06-03 04:59", nil, nil},
		{"a farm that is new", "Europe/Berlin", "2026-06-03 05:00", nil, []string{"f 2026-06-03"}},
		{"in the evening", "Europe/Berlin", "2026-06-03 23:59", []string{"2026-06-02"}, []string{"f 2026-06-03"}},
		{"the morning is there", "Europe/Berlin", "2026-06-03 09:00", []string{"2026-06-02", "2026-06-03"}, nil},
		{"somebody has made one in the night", "Europe/Berlin", "2026-06-03 05:00", []string{"2026-06-02", "2026-06-03 00:20"}, []string{"f 2026-06-03"}},
		{"somebody has made one in the night, and it still is", "Europe/Berlin", "2026-06-03 04:59", []string{"2026-06-02", "2026-06-03 00:20"}, nil},
		{"before the morning begins", "Europe/Berlin", "2026-06-03 04:59", []string{"2026-06-02"}, nil},
		{
			"after two days without power", "America/Detroit", "2026-06-03 08:00", []string{"2026-05-31"},
			[]string{"f 2026-06-01 late, known at 2026-06-01 05:00", "f 2026-06-02 late, known at 2026-06-02 05:00", "f 2026-06-03"},
		},
		{"after a month: only the last morning", "America/Detroit", "2026-06-30 08:00", []string{"2026-05-31"}, []string{"f 2026-06-30"}},
		{"the night in which summer time begins", "Europe/Berlin", "2026-03-29 05:00", []string{"2026-03-28"}, []string{"f 2026-03-29"}},
		{"an hour before that", "Europe/Berlin", "2026-03-29 04:00", []string{"2026-03-28"}, nil},
		{"the night in which it ends", "Europe/Berlin", "2026-10-25 05:00", []string{"2026-10-24"}, []string{"f 2026-10-25"}},
		{"another day already", "Pacific/Auckland", "2026-12-04 05:01", []string{"2026-12-03"}, []string{"f 2026-12-04"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			now := at(t, tt.zone, tt.now)
			s := &shed{farms: []forecast.Farm{{ID: "f", TimeZone: tt.zone}}, zone: now.Location()}
			for _, d := range tt.there {
				day, hour, found := strings.Cut(d, " ")
				if !found {
					hour = "05:00"
				}
				s.there = append(s.there, daily.Morning{Day: date(t, day), MadeAt: at(t, tt.zone, day+" "+hour)})
			}
			r := &daily.Runner{Store: s, Maker: s, Now: func() time.Time { return now.UTC() }, Log: slog.New(slog.DiscardHandler)}
			r.Pass(t.Context())
			r.Pass(t.Context()) // Nothing is made twice.
			if !slices.Equal(s.made, tt.want) {
				t.Errorf("made %q, want %q", s.made, tt.want)
			}
		})
	}
}

// A farm of which no forecast can be made is left alone for an hour and does not
// keep another one from its own.
func TestAFarmThatFailsIsLeftAlone(t *testing.T) {
	t.Parallel()
	now := at(t, "Europe/Berlin", "2026-06-03 06:00")
	var log bytes.Buffer
	s := &shed{farms: []forecast.Farm{{ID: "f", TimeZone: "Europe/Berlin"}, {ID: "nowhere", TimeZone: "Moon/Crater"}}, zone: now.Location(), fails: errors.New("the barn burns")}
	r := &daily.Runner{Store: s, Maker: s, Now: func() time.Time { return now }, Log: slog.New(slog.NewTextHandler(&log, nil))}
	for range 3 {
		r.Pass(t.Context())
		now = now.Add(29 * time.Minute)
	}
	if len(s.made) != 1 || !strings.Contains(log.String(), "the barn burns") || !strings.Contains(log.String(), "Moon/Crater") {
		t.Errorf("tried %d times in 87 minutes\n%s", len(s.made), log.String())
	}
	s.fails = nil
	r.Pass(t.Context())
	if want := []string{"tried", "f 2026-06-03"}; !slices.Equal(s.made, want) {
		t.Errorf("made %q, want %q", s.made, want)
	}
}

// A farm that is new and has looked back has no mornings to catch up with: what
// was not there then never will have been. What may work later is tried again.
func TestAMorningThatNeverWasKeepsNoOther(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		late error
		want []string
	}{
		{"there was no farm yet", fmt.Errorf("read inputs: %w", forecast.ErrFarmNotFound), []string{"tried", "tried", "f 2026-06-03"}},
		{"there were too few years yet", &forecast.TooFewYearsError{}, []string{"tried", "tried", "f 2026-06-03"}},
		{"the database is away", errors.New("no route to the barn"), []string{"tried"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			now := at(t, "Europe/Berlin", "2026-06-03 06:00")
			s := &shed{farms: []forecast.Farm{{ID: "f", TimeZone: "Europe/Berlin"}}, zone: now.Location(), there: []daily.Morning{{Day: date(t, "2026-05-31")}}, late: tt.late}
			r := &daily.Runner{Store: s, Maker: s, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler)}
			r.Pass(t.Context())
			r.Pass(t.Context())
			if !slices.Equal(s.made, tt.want) {
				t.Errorf("made %q, want %q", s.made, tt.want)
			}
		})
	}
}

func TestWhatAnotherInstanceMakesIsLeftToIt(t *testing.T) {
	t.Parallel()
	now := at(t, "Europe/Berlin", "2026-06-03 06:00")
	s := &shed{farms: []forecast.Farm{{ID: "f", TimeZone: "Europe/Berlin"}}, zone: now.Location(), locked: true}
	r := &daily.Runner{Store: s, Maker: s, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler)}
	r.Pass(t.Context())
	if len(s.made) != 0 {
		t.Errorf("made %q under another's lock", s.made)
	}
}
