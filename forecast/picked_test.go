package forecast_test

import (
	"math"
	"slices"
	"testing"

	"ripetide/forecast"
	"ripetide/weather"
)

// pickedAfter is a picking of p, so many days after bloom.
func pickedAfter(bloom weather.Date, after int, kg float64, set ...func(*forecast.Picking)) forecast.Picking {
	x := forecast.Picking{Planting: "p", Date: bloom + weather.Date(after), Kg: kg, Source: forecast.PickedByAll}
	for _, f := range set {
		f(&x)
	}
	return x
}

func leaving(l forecast.Left) func(*forecast.Picking) {
	return func(x *forecast.Picking) { x.Left = l }
}

func closed(x *forecast.Picking) { x.Closed = true }

func byStaff(x *forecast.Picking) { x.Source = forecast.PickedByStaff }

// bearingFarm is the even farm with the one planting p of 1,000 kg, first ripe on
// the 35th day after bloom and its peak on the 41st. It opens every day.
func bearingFarm(t *testing.T) (forecast.Inputs, weather.Date) {
	t.Helper()
	in, bloom := evenFarm(t)
	in.Plantings = in.Plantings[:1]
	in.Plantings[0].AreaM2 = 1000
	in.Sightings = append(slices.Clone(in.Sightings[:1]), saw("p", forecast.FirstRipe, bloom+35, true), saw("p", forecast.Peak, bloom+41, true))
	return in, bloom
}

// standing is the mean ripe fruit standing so many days after bloom, kg.
func standing(t *testing.T, in forecast.Inputs, bloom weather.Date, asOf, after int, ps ...forecast.Picking) float64 {
	t.Helper()
	in.Pickings = ps
	f := compute(t, in, bloom+weather.Date(asOf))
	i := slices.IndexFunc(f.Days, func(d forecast.DaySupply) bool { return d.Date == bloom+weather.Date(after) })
	return f.Days[i].RipeKgBy["p"]
}

// Ripe fruit has a half-life of three days, so of a kg that is picked 0.794, 0.630
// and 0.5 kg are missing on the next three. Figures are published to a tenth.
func TestStandingFruitIsWhatTheRecordSays(t *testing.T) {
	t.Parallel()
	in, bloom := bearingFarm(t)
	at := func(after int, ps ...forecast.Picking) float64 { return standing(t, in, bloom, 42, after, ps...) }
	nothing := pickedAfter(bloom, 36, 0, leaving(forecast.LeftLots)) // Somebody looked, and picked nothing.
	left, ten := at(41, nothing), pickedAfter(bloom, 39, 10)
	if d := at(39, nothing) - at(39, nothing, ten); d != 0 {
		t.Errorf("on the day of picking %v kg less are standing in the morning", d)
	}
	for k, want := range []float64{7.94, 6.30, 5} {
		if got := at(40+k, nothing) - at(40+k, nothing, ten); !near(got, want, 0.11) {
			t.Errorf("%d days later %v kg are missing of 10, want %v", k+1, got, want)
		}
	}
	clean := at(41, nothing, pickedAfter(bloom, 40, 1, leaving(forecast.LeftNone)))
	// What is picked clean leaves what ripens on the day: as when more was picked
	// than can have stood.
	if got := at(41, nothing, pickedAfter(bloom, 40, 5000)); !near(got, clean, 1e-9) || !(clean < left-100) {
		t.Errorf("%v kg after picking more than there was, %v after picking clean, %v after nothing", got, clean, left)
	}
	// By the curve through 5 % on day 35 and its height on day 41, 9 to 10 % of
	// the crop ripen on the 41st.
	if !(80 < clean && clean < 110) {
		t.Errorf("%v kg ripen on the day of the peak", clean)
	}
	for name, x := range map[string]forecast.Picking{
		"nothing picked, lots left":                pickedAfter(bloom, 40, 0, leaving(forecast.LeftLots)),
		"closed, and it is said that none is left": pickedAfter(bloom, 40, 0, leaving(forecast.LeftNone), closed),
	} {
		if got := at(41, nothing, x); got != left {
			t.Errorf("%s: %v kg, want %v", name, got, left)
		}
	}
	// The rule without a record: everything ripe is picked on open days.
	if got := at(41); !near(got, clean, 0.11) {
		t.Errorf("%v kg without a record, want what ripens on the day, %v", got, clean)
	}
}

// The record tells of the days before the morning and of the morning's own day
// if it has an entry; then everything ripe is picked again on open days.
func TestTheRecordTellsUntilTheMorning(t *testing.T) {
	t.Parallel()
	in, bloom := bearingFarm(t)
	at := func(asOf, after int, ps ...forecast.Picking) float64 {
		return standing(t, in, bloom, asOf, after, ps...)
	}
	looked := pickedAfter(bloom, 38, 0, leaving(forecast.LeftLots))
	// Nobody has picked through the 41st, so on the 42nd three days' fruit and more
	// is standing; it opens then, and one day's is there on the 43rd.
	today, tomorrow, rule := at(42, 42, looked), at(42, 43, looked), at(42, 43)
	if !(today > 3*tomorrow) || !near(tomorrow, rule, 0.11) {
		t.Errorf("%v kg today and %v tomorrow, %v tomorrow by the rule", today, tomorrow, rule)
	}
	// An entry of this morning's day holds instead of the rule.
	if got := at(42, 43, looked, pickedAfter(bloom, 42, 10)); !near(got, (today-10)*math.Exp2(-1.0/3)+tomorrow, 0.3) {
		t.Errorf("%v kg tomorrow with 10 kg picked today, want %v", got, (today-10)*math.Exp2(-1.0/3)+tomorrow)
	}
	// A picking of another planting is a record of the farm: nobody picked p.
	other := in
	other.Plantings = append(slices.Clone(in.Plantings), in.Plantings[0])
	other.Plantings[1].ID = "q"
	other.Pickings = []forecast.Picking{{Planting: "q", Date: bloom + 38, Source: forecast.PickedByAll}}
	if got := standing(t, other, bloom, 42, 42, other.Pickings...); !near(got, today, 5) { // Other draws.
		t.Errorf("%v kg of p where q has an entry, want %v", got, today)
	}
}

// The farm has opened when customers have picked. Picking by staff opens nothing,
// and while the record tells, nobody opens by the rule.
func TestPickingsTellWhenTheFarmOpened(t *testing.T) {
	t.Parallel()
	in, bloom := bearingFarm(t)
	in.Farm.ThinKgPerDay = 5000 // Thin whenever it is open, and never enough.
	in.Farm.Opening.ReadyKg = 1
	thin := func(after int, ps ...forecast.Picking) float64 {
		in.Pickings = ps
		f := compute(t, in, bloom+42)
		i := slices.IndexFunc(f.Days, func(d forecast.DaySupply) bool { return d.Date == bloom+weather.Date(after) })
		return f.Days[i].ThinProbability
	}
	for _, tt := range []struct {
		name string
		ps   []forecast.Picking
		want map[int]float64 // Thin, and so open, by day.
	}{
		{"no record", nil, map[int]float64{35: 1, 38: 1, 41: 1, 42: 1}},
		{"customers from the 39th on", []forecast.Picking{pickedAfter(bloom, 39, 5)}, map[int]float64{35: 0, 38: 0, 39: 1, 41: 1, 42: 1}},
		{"staff on the 37th, customers from the 40th on", []forecast.Picking{pickedAfter(bloom, 37, 5, byStaff), pickedAfter(bloom, 40, 5)}, map[int]float64{37: 0, 39: 0, 40: 1, 42: 1}},
		{"staff alone", []forecast.Picking{pickedAfter(bloom, 37, 5, byStaff)}, map[int]float64{37: 0, 41: 0, 42: 1}},
	} {
		for after, want := range tt.want {
			if got := thin(after, tt.ps...); got != want {
				t.Errorf("%s: open with %v on day %d, want %v", tt.name, got, after, want)
			}
		}
	}
}

// Advice asks how much would stand if nobody had picked, whatever was.
func TestPickingsDoNotChangeWhatIsReady(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	in.Sightings = demoLater(t).Sightings
	before := compute(t, in, asOf+8)
	in.Pickings = pickingsOf(in, asOf, asOf+7)
	after := compute(t, in, asOf+8)
	changed := false
	for i, d := range before.Days {
		x := after.Days[i]
		if d.Ready != x.Ready || d.ReadyBy != x.ReadyBy || d.Past != x.Past {
			t.Errorf("%s: ready %v, %v by then, past %v; without pickings %v, %v, %v", d.Date, x.Ready, x.ReadyBy, x.Past, d.Ready, d.ReadyBy, d.Past)
		}
		changed = changed || d.RipeKg != x.RipeKg
	}
	if !changed {
		t.Error("the pickings changed no fruit standing: the test sees nothing")
	}
	if *before.Advice.Opening.Day != *after.Advice.Opening.Day || before.Advice.Opening.Probability != nil && *before.Advice.Opening.Probability != *after.Advice.Opening.Probability {
		t.Errorf("advice moved from %v to %v", before.Advice.Opening, after.Advice.Opening)
	}
}

// That nothing has been entered for a while is said, for fruit then counts as
// standing that may have been picked.
func TestARecordOfPickingsThatEndsIsNoted(t *testing.T) {
	t.Parallel()
	in, bloom := bearingFarm(t)
	for _, tt := range []struct {
		name string
		asOf int
		ps   []forecast.Picking
		want bool
	}{
		{"no record", 42, nil, false},
		{"yesterday", 42, []forecast.Picking{pickedAfter(bloom, 36, 3), pickedAfter(bloom, 41, 3)}, false},
		{"the day before yesterday", 42, []forecast.Picking{pickedAfter(bloom, 36, 3), pickedAfter(bloom, 40, 3)}, true},
		{"long after the season", 90, []forecast.Picking{pickedAfter(bloom, 41, 3)}, false},
	} {
		x := in
		x.Pickings = tt.ps
		if got := noted(compute(t, x, bloom+weather.Date(tt.asOf)), forecast.NotePickings, ""); got != tt.want {
			t.Errorf("%s: noted is %v", tt.name, got)
		}
	}
}
