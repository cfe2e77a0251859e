package forecast_test

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

// shelf is a store in memory: a farm's inputs by the instant they were known
// from, and frozen forecasts.
type shelf struct {
	from   []time.Time
	inputs []forecast.Inputs
	frozen []forecast.Frozen
}

func (s *shelf) put(at time.Time, in forecast.Inputs) {
	s.from, s.inputs = append(s.from, at), append(s.inputs, in)
}

func (s *shelf) Inputs(_ context.Context, farm string, knownAt time.Time) (forecast.Inputs, error) {
	for i, at := range slices.Backward(s.from) {
		if !at.After(knownAt) && s.inputs[i].Farm.ID == farm {
			return s.inputs[i], nil
		}
	}
	return forecast.Inputs{}, forecast.ErrFarmNotFound
}

func (s *shelf) Settle(_ context.Context, _ string, at time.Time) (time.Time, func(), error) {
	return at, func() {}, nil
}

func (s *shelf) Settled(context.Context, string) (time.Time, error) { return time.Time{}, nil }

func (s *shelf) Freeze(_ context.Context, f forecast.Frozen) error {
	s.frozen = append(s.frozen, f)
	return nil
}

func (s *shelf) Previous(_ context.Context, farm string, season int, before weather.Date, knownAt time.Time) (z forecast.Frozen, ok bool, err error) {
	for _, f := range s.frozen {
		if f.Farm == farm && f.Season == season && f.AsOf < before && !f.MadeAt.After(knownAt) && (!ok || f.AsOf >= z.AsOf) {
			z, ok = f, true
		}
	}
	return z, ok, nil
}

// plain returns a forecast without what may differ between two runs.
func plain(t *testing.T, f *forecast.Forecast) []byte {
	t.Helper()
	g := *f
	g.ID, g.MadeAt = nil, time.Time{}
	return encode(t, &g)
}

// The farm's even days, told morning by morning.
func TestForecastIsComparedWithTheOneBefore(t *testing.T) {
	t.Parallel()
	base, bloom := evenFarm(t)
	morning := func(d weather.Date) time.Time { return d.Time().Add(5 * time.Hour) }
	warm := base
	warm.Records = []forecast.Record{{Station: base.Records[0].Station, Days: evenDays(t, 13, flat(bloom+4, 18))}}
	s := &shelf{}
	s.put(morning(bloom), base)
	now := morning(bloom + 6)
	service := &forecast.Service{Store: s, Now: func() time.Time { return now }, Program: "test"}
	ctx := t.Context()
	issue := func(r forecast.Request) (*forecast.Forecast, forecast.Frozen) {
		t.Helper()
		f, z, err := service.Make(ctx, "even", r)
		if err != nil {
			t.Fatal(err)
		}
		return f, z
	}
	first, z1 := issue(forecast.Request{Freeze: true})
	if m := first.Plantings[0].Moved; m != nil {
		t.Errorf("with none before it moved is %+v", m)
	}
	// Later that morning, the same again: of the same morning, so not compared
	// with the first.
	now = now.Add(time.Hour)
	_, z2 := issue(forecast.Request{Freeze: true})
	// The next morning a day that is past is corrected by 5 °C·d.
	now = morning(bloom + 7)
	s.put(now, warm)
	second, z3 := issue(forecast.Request{Freeze: true})
	m := second.Plantings[0].Moved
	if m == nil || m.Forecast != z2.ID || m.Since != bloom+6 || !near(m.Days, -0.5, 0.11) {
		t.Fatalf("moved is %+v, want half a day earlier since %s", m, z2.ID)
	}

	// The same request at the same knowledge gives the same bytes, whatever was
	// frozen since and then; also for the past.
	now = morning(bloom + 9)
	hot := base
	hot.Records = []forecast.Record{{Station: base.Records[0].Station, Days: evenDays(t, 13, flat(bloom+3, 28))}}
	s.put(now, hot)
	issue(forecast.Request{AsOf: &z2.AsOf, Freeze: true})
	again, _ := issue(forecast.Request{AsOf: &z3.AsOf, KnownAt: &z3.KnownAt})
	again.Hindcast = false
	if a, b := plain(t, second), plain(t, again); !bytes.Equal(a, b) {
		t.Errorf("a rerun differs:\n%s", cmp.Diff(string(a), string(b)))
	}

	// Every frozen forecast can be worked out again.
	for _, z := range s.frozen {
		x, same, err := service.Explain(ctx, z, "p")
		if err != nil || !same {
			t.Errorf("%s: reproduced %t, %v", z.ID, same, err)
			continue
		}
		f, err := forecast.Decode(z.Body)
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(f.Plantings, func(d forecast.PlantingDates) bool { return d.Planting == "p" })
		if diff := cmp.Diff(f.Plantings[i].Moved, x.Moved); diff != "" {
			t.Errorf("%s: moved:\n%s", z.ID, diff)
		}
	}
	if _, _, err := service.Explain(ctx, z1, "r"); !errors.Is(err, forecast.ErrPlantingNotFound) {
		t.Errorf("no such planting: %v", err)
	}
	if _, _, err := service.Explain(ctx, forecast.Frozen{Farm: "even", Body: []byte("?")}, "p"); err == nil {
		t.Error("a body that cannot be read is explained")
	}

	// Another program said something else: the explanation owns up, and tells
	// of the move as it was issued.
	other := z3
	other.Body = bytes.Replace(z3.Body, []byte(`"days":-0.5`), []byte(`"days":-7.5`), 1)
	if !strings.Contains(string(other.Body), "-7.5") {
		t.Fatalf("no move of -0.5 days in %s", z3.Body)
	}
	if x, same, err := service.Explain(ctx, other, "p"); err != nil || same || x.Moved == nil || x.Moved.Days != -7.5 {
		t.Errorf("of other bytes: reproduced %t, %+v, %v", same, x.Moved, err)
	}
}
