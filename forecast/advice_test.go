package forecast_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
	"ripetide/weather"
)

// The move of the advice, worked out again with inputs that are written down as
// a farm would have them on the later morning: its weather, and its fields as
// the members of the first forecast have them.
func TestAdviceMovesAsTheLaterMorningSays(t *testing.T) {
	t.Parallel()
	unwatched(t)
	in, asOf := demo(t)
	asOf -= 16 // Three weeks before the fruit: nothing is ripe.
	in.Farm.Opening.NoticeDays = 6
	f, err := forecast.ComputeMayMove(in, asOf)
	if err != nil {
		t.Fatal(err)
	}
	move := f.Advice.MayMove
	by := *f.Advice.Opening.CommitBy
	if by <= asOf {
		t.Fatalf("commit by %s on %s: nothing to try", by, asOf)
	}
	ms, perTrace, err := forecast.MembersOf(in, asOf)
	if err != nil {
		t.Fatal(err)
	}
	traces := len(ms) / perTrace
	var stays, earlier, later, none int
	var days []int
	for trace := range traces {
		member := ms[trace*perTrace+(trace*7)%perTrace]
		out := workOut(in, asOf, member)
		then := in
		then.Records = slices.Clone(in.Records)
		for i, r := range then.Records {
			ds := slices.Clone(r.Days.Until(asOf - 1).Days())
			for _, d := range member[0].Path { // The demo has one station.
				if asOf <= d.Date && d.Date < by {
					ds = append(ds, d)
				}
			}
			s, err := weather.NewSeries(ds)
			if err != nil {
				t.Fatal(err)
			}
			then.Records[i].Days, then.Records[i].Outlooks = s, nil
		}
		then.Sightings = nil
		for _, s := range in.Sightings {
			if s.Date <= asOf {
				then.Sightings = append(then.Sightings, s)
			}
		}
		for _, m := range member {
			if m.Spring == 0 {
				continue
			}
			look := forecast.Sighting{Planting: m.Planting, Stage: forecast.Bloom10, Date: by}
			if d := bloomOf(m); d <= by {
				look.Date, look.Seen = d, true
			}
			then.Sightings = append(then.Sightings, look)
		}
		for planting, stages := range out.stages {
			for s, d := range stages {
				look := forecast.Sighting{Planting: planting, Stage: forecast.FirstRipe + forecast.Stage(s), Date: by}
				if d <= by {
					look.Date, look.Seen = d, true
				}
				then.Sightings = append(then.Sightings, look)
			}
		}
		advice, err := forecast.AdviceAbout(then, by, 250)
		if err != nil {
			t.Fatal(err)
		}
		d := advice.Opening.Day
		if d == nil {
			none++
			continue
		}
		n := int(*d - *f.Advice.Opening.Day)
		days = append(days, n)
		stays, earlier, later = stays+count(n == 0), earlier+count(n < 0), later+count(n > 0)
	}
	share := func(n int) float64 { return float64(n) / float64(traces) }
	got := move.Opening
	if move.By != by || move.Seasons != traces || !near(got.Stays, share(stays), 6e-4) || !near(got.Earlier, share(earlier), 6e-4) ||
		!near(got.Later, share(later), 6e-4) || !near(got.None, share(none), 6e-4) {
		t.Errorf("%+v %+v, the later mornings say %d stay, %d earlier, %d later, %d none, of %d", move, got, stays, earlier, later, none, traces)
	}
	if want := (forecast.DayCounts{P10: quantile(days, 0.1), P50: quantile(days, 0.5), P90: quantile(days, 0.9)}); *got.Days != want {
		t.Errorf("moves by %v, the later mornings say %v", got.Days, want)
	}
	if stays == traces || earlier == 0 || later == 0 {
		t.Errorf("%d stay, %d earlier, %d later of %d: the test sees too little", stays, earlier, later, traces)
	}
}

func count(is bool) int {
	if is {
		return 1
	}
	return 0
}

// With nothing left to wait for there is nothing to move.
func TestAdviceThatMustBeCommittedToNowDoesNotMove(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	in.Farm.Opening.NoticeDays = 60
	f, err := forecast.ComputeMayMove(in, asOf)
	if err != nil {
		t.Fatal(err)
	}
	if a := f.Advice; a.MayMove != nil || *a.Opening.CommitBy > asOf {
		t.Errorf("commit by %s on %s: %+v", a.Opening.CommitBy, asOf, a.MayMove)
	}
}

// A rule that nothing meets gets no day, and a rule that anything meets gets the
// first open day with a berry.
func TestAdviceAtTheEdges(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	in.Farm.Opening = forecast.Opening{ReadyKg: 1e6, Weekdays: []time.Weekday{time.Saturday}}
	a := compute(t, in, asOf).Advice
	if o := a.Opening; o.Day != nil || o.Probability != nil || o.CommitBy != nil || o.Next != nil || o.PastIfNext != nil || o.Range != nil {
		t.Errorf("more fruit than there is, and advice %+v", o)
	}
	in.Farm.Opening, in.Farm.ThinKgPerDay = forecast.Opening{}, 0
	a = compute(t, in, asOf).Advice
	if o := a.Opening; o.Day == nil || *o.Probability < 0.8 || a.Confidence != 0.8 || a.Ready.By != forecast.ReadyByAny {
		t.Errorf("anything ripe will do, and advice %+v", a)
	}
}

// A changed mind counts, also when it takes a day back, and a decision is not
// known before it is made.
func TestNewestDecisionCounts(t *testing.T) {
	t.Parallel()
	day := func(d int) *weather.Date { x := weather.DateOf(2018, time.June, d); return &x }
	ds := []forecast.Decision{
		{Season: 2018, Kind: forecast.DecideOpening, Day: day(9), Version: 1},
		{Season: 2018, Kind: forecast.DecideOpening, Day: day(14), Version: 3},
		{Season: 2018, Kind: forecast.DecideOpening, Version: 2},
		{Season: 2017, Kind: forecast.DecideOpening, Day: day(1), Version: 4},
		{Season: 2018, Kind: forecast.DecideClosing, Day: day(30), Version: 1},
		{Season: 2018, Kind: forecast.DecideClosing, Version: 2},
	}
	if d, ok := forecast.Decided(ds, 2018, forecast.DecideOpening); !ok || d != *day(14) {
		t.Errorf("opening %s, %v", d, ok)
	}
	if d, ok := forecast.Decided(ds, 2018, forecast.DecideClosing); ok {
		t.Errorf("closing on %s was taken back", d)
	}

	in, asOf := demo(t)
	at := func(d weather.Date) time.Time { return d.Time().Add(20 * time.Hour) }
	plain := compute(t, in, asOf)
	in.Decisions = []forecast.Decision{{Season: 2018, Kind: forecast.DecideOpening, Day: day(28), Version: 1, DecidedAt: at(asOf + 1)}}
	if later := compute(t, in, asOf); later.Days[10].Enough != plain.Days[10].Enough {
		t.Error("a decision of tomorrow is known today")
	}
	in.Decisions[0].DecidedAt = at(asOf - 1)
	if f := compute(t, in, asOf); f.Days[10].Enough != 0 || plain.Days[10].Enough == 0 {
		t.Errorf("%s: enough %v before the announced opening, %v without one", f.Days[10].Date, f.Days[10].Enough, plain.Days[10].Enough)
	}
}

// What a farm has decided does not come back to it as advice: neither a day on
// which it does not open as a rule, nor one after which it closes.
func TestDecidedOpeningChangesNoAdvice(t *testing.T) {
	t.Parallel()
	in, asOf := demo(t)
	want := compute(t, in, asOf).Advice.Opening
	monday := weather.DateOf(2018, time.June, 11) // The demo's farm is closed on Mondays.
	if *want.Day == monday || in.Farm.Opening.OpensOn(time.Monday) {
		t.Fatalf("advised is %s", want.Day)
	}
	for _, kind := range []forecast.DecisionKind{forecast.DecideOpening, forecast.DecideClosing} {
		in.Decisions = append(in.Decisions, forecast.Decision{Season: 2018, Kind: kind, Day: &monday, Version: 1})
		if diff := cmp.Diff(want, compute(t, in, asOf).Advice.Opening); diff != "" {
			t.Errorf("with %d decisions (-want +got)\n%s", len(in.Decisions), diff)
		}
	}
}
