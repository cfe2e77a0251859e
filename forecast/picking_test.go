package forecast_test

import (
	"bytes"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

// faultyFields returns the fields that errs find fault with.
func faultyFields(t *testing.T, errs []error) (fields []string) {
	t.Helper()
	for _, err := range errs {
		f, ok := errors.AsType[*forecast.FieldError](err)
		if !ok {
			t.Fatalf("%v is no fault of a field", err)
		}
		fields = append(fields, f.Field)
	}
	return fields
}

func TestPickingsThatCannotBe(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		change func(*forecast.Picking)
		want   []string
	}{
		{"a good one", func(*forecast.Picking) {}, nil},
		{"nothing picked", func(p *forecast.Picking) { p.Kg = 0 }, nil},
		{"the most that can be", func(p *forecast.Picking) { p.Kg = 100_000 }, nil},
		{"more than that", func(p *forecast.Picking) { p.Kg = math.Nextafter(100_000, 2e5) }, []string{"kg"}},
		{"less than nothing", func(p *forecast.Picking) { p.Kg = -1e-9 }, []string{"kg"}},
		{"no number", func(p *forecast.Picking) { p.Kg = math.NaN() }, []string{"kg"}},
		{"closed, with nothing picked", func(p *forecast.Picking) { p.Kg, p.Closed, p.Left = 0, true, forecast.LeftLots }, nil},
		{"closed, with fruit", func(p *forecast.Picking) { p.Closed = true }, []string{"kg"}},
		{"none left", func(p *forecast.Picking) { p.Left = forecast.LeftNone }, nil},
		{"some left", func(p *forecast.Picking) { p.Left = forecast.LeftSome }, nil},
		{"another word", func(p *forecast.Picking) { p.Left = "Some" }, []string{"left"}},
		{"by customers", func(p *forecast.Picking) { p.Source = forecast.PickedByCustomers }, nil},
		{"by staff", func(p *forecast.Picking) { p.Source = forecast.PickedByStaff }, nil},
		{"by nobody", func(p *forecast.Picking) { p.Source = "" }, []string{"source"}},
		{"a note of 200 characters", func(p *forecast.Picking) { p.Note = strings.Repeat("ä", 200) }, nil},
		{"a note of 201", func(p *forecast.Picking) { p.Note = strings.Repeat("ä", 201) }, []string{"note"}},
		{"a note of two lines", func(p *forecast.Picking) { p.Note = "a\nb" }, []string{"note"}},
		{"a note that turns the line around", func(p *forecast.Picking) { p.Note = "a\u202eb" }, []string{"note"}},
		{"a note that is no text", func(p *forecast.Picking) { p.Note = "\xff" }, []string{"note"}},
		{"everything", func(p *forecast.Picking) { *p = forecast.Picking{Kg: -1, Left: "x", Note: "\x00"} }, []string{"planting", "kg", "left", "source", "note"}},
	} {
		p := forecast.Picking{Planting: "p", Date: 20000, Kg: 90.5, Source: forecast.PickedByAll}
		tt.change(&p)
		if got := faultyFields(t, p.Validate()); !cmp.Equal(got, tt.want) {
			t.Errorf("%s: faults of %v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestFrostsThatCannotBe(t *testing.T) {
	t.Parallel()
	low := func(c float64) func(*forecast.Frost) { return func(f *forecast.Frost) { f.LowC = &c } }
	for _, tt := range []struct {
		name   string
		change func(*forecast.Frost)
		want   []string
	}{
		{"a good one", func(*forecast.Frost) {}, nil},
		{"all flowers lost", func(f *forecast.Frost) { f.ShareLost = 1 }, nil},
		{"none lost", func(f *forecast.Frost) { f.ShareLost = 0 }, []string{"share_lost"}},
		{"more than all", func(f *forecast.Frost) { f.ShareLost = 1.001 }, []string{"share_lost"}},
		{"no number", func(f *forecast.Frost) { f.ShareLost = math.NaN() }, []string{"share_lost"}},
		{"the lowest low", low(-40), nil},
		{"the highest low", low(10), nil},
		{"below", low(-40.1), []string{"low_c"}},
		{"28 °F taken for °C", low(28), []string{"low_c"}},
		{"a low that is no number", low(math.NaN()), []string{"low_c"}},
		{"everything", func(f *forecast.Frost) { *f = forecast.Frost{Note: strings.Repeat("x", 201)} }, []string{"planting", "share_lost", "note"}},
	} {
		f := forecast.Frost{Planting: "p", Date: 20000, ShareLost: 0.5}
		tt.change(&f)
		if got := faultyFields(t, f.Validate()); !cmp.Equal(got, tt.want) {
			t.Errorf("%s: faults of %v, want %v", tt.name, got, tt.want)
		}
	}
}

// TestLaterPickingsAndFrostsAreNotSeen: the morning knows those dated up to and
// including it, and its inputs stay as they were.
func TestLaterPickingsAndFrostsAreNotSeen(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	for _, d := range []weather.Date{asOf + 1, asOf - 400, asOf, asOf + 30, asOf - 1} {
		in.Pickings = append(in.Pickings, forecast.Picking{Planting: "p", Date: d})
		in.Frosts = append(in.Frosts, forecast.Frost{Planting: "p", Date: d})
	}
	seen := forecast.AsSeenOn(in, asOf)
	var picked, frosted []weather.Date
	for i := range seen.Pickings {
		picked = append(picked, seen.Pickings[i].Date)
	}
	for i := range seen.Frosts {
		frosted = append(frosted, seen.Frosts[i].Date)
	}
	want := []weather.Date{asOf - 400, asOf, asOf - 1}
	if !cmp.Equal(picked, want) || !cmp.Equal(frosted, want) {
		t.Errorf("pickings of %v and frosts of %v are seen, want %v", picked, frosted, want)
	}
	if len(in.Pickings) != 5 || in.Pickings[0].Date != asOf+1 || in.Frosts[0].Date != asOf+1 {
		t.Error("the inputs themselves were changed")
	}
}

// Pickings of other seasons, and frosts that met no open flower, leave all
// figures as they are, to the byte.
func TestPickingsAndFrostsOfOtherTimesChangeNothing(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	want := encode(t, compute(t, in, asOf))
	for _, p := range in.Plantings {
		in.Pickings = append(in.Pickings, forecast.Picking{Planting: p.ID, Date: asOf - 365, Kg: 500, Source: forecast.PickedByAll})
	}
	if got := encode(t, compute(t, in, asOf)); !bytes.Equal(got, want) {
		t.Error("pickings of the season before change the forecast")
	}
	for _, s := range in.Sightings {
		if s.Stage == forecast.Bloom10 && s.Seen && s.Date.Year() == asOf.Year() {
			in.Frosts = append(in.Frosts, forecast.Frost{Planting: s.Planting, Date: s.Date, ShareLost: 1})
		}
	}
	f := compute(t, in, asOf)
	told := len(f.Notes)
	f.Notes = slices.DeleteFunc(f.Notes, func(n forecast.Note) bool { return n.Kind == forecast.NoteFrost })
	if got := encode(t, f); !bytes.Equal(got, want) {
		t.Error("frosts in the night before bloom change the forecast")
	}
	if n := told - len(f.Notes); n != len(in.Frosts) || n == 0 {
		t.Errorf("%d notes of %d frosts", n, len(in.Frosts))
	}
}
