package forecast_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/quality"
)

const siftFirst = weather.Date(20_000) // 2024-10-04.

// ordinary returns n days from first on which no test doubts: the warmth of a
// night goes over into the afternoons before and after it.
func ordinary(first weather.Date, n int) []weather.Day {
	r := rand.New(rand.NewPCG(1, 1))
	days := make([]weather.Day, n)
	tonight := 0.0
	for i := range days {
		next := 0.5*tonight + r.Float64() - 0.5
		days[i] = weather.Day{
			Date: first + weather.Date(i), Min: math.Round(50+20*tonight) / 10, Max: math.Round(150+10*(tonight+next)) / 10,
		}
		tonight = next
	}
	return days
}

func seriesOf(tb testing.TB, days []weather.Day) weather.Series {
	tb.Helper()
	s, err := weather.NewSeries(days)
	if err != nil {
		tb.Fatal(err)
	}
	return s
}

// told is what became of a record, days by their number from siftFirst.
func told(s forecast.Sifted) string {
	numbers := func(dates []weather.Date) []int {
		out := []int{}
		for _, d := range dates {
			out = append(out, int(d-siftFirst))
		}
		return out
	}
	var suspects []weather.Date
	for _, x := range s.Suspects {
		suspects = append(suspects, x.Date)
	}
	return fmt.Sprintf("%d days, suspects %v, left out %v", s.Days.Len(), numbers(suspects), numbers(s.LeftOut))
}

// A day that its source doubts is left out, unless a person or the station's
// rule says otherwise; a person's word counts before either.
func TestSiftRules(t *testing.T) {
	t.Parallel()
	flag := func(days ...int) (out []weather.Flag) {
		for _, d := range days {
			out = append(out, weather.Flag{Date: siftFirst + weather.Date(d), Text: "min: gap (G)"})
		}
		return out
	}
	say := func(day int, use bool) weather.Verdict {
		return weather.Verdict{Date: siftFirst + weather.Date(day), Use: use, By: "Ann"}
	}
	for _, tt := range []struct {
		name     string
		days     int
		flags    []weather.Flag
		verdicts []weather.Verdict
		rule     weather.SuspectRule
		through  int
		want     string
		misfit   bool
	}{
		{"nothing to say", 40, nil, nil, "", 39, "40 days, suspects [], left out []", false},
		{"doubted", 40, flag(3, 7), nil, weather.LeaveOutSuspects, 39, "38 days, suspects [3 7], left out [3 7]", false},
		{"used by the station's rule", 40, flag(3, 7), nil, weather.UseSuspects, 39, "40 days, suspects [3 7], left out []", false},
		{"used by a person's word", 40, flag(3, 7), []weather.Verdict{say(7, true)}, "", 39, "39 days, suspects [3 7], left out [3]", false},
		{"left out by a person's word", 40, nil, []weather.Verdict{say(5, false)}, "", 39, "39 days, suspects [], left out [5]", false},
		{"left out against the station's rule", 40, flag(3, 7), []weather.Verdict{say(5, false), say(7, false)}, weather.UseSuspects, 39, "38 days, suspects [3 7], left out [5 7]", false},
		{"both say so, once", 40, flag(3), []weather.Verdict{say(3, false)}, "", 39, "39 days, suspects [3], left out [3]", false},
		{"what is later is not seen", 40, flag(3, 20), []weather.Verdict{say(3, true), say(20, false), say(21, false)}, "", 19, "20 days, suspects [3], left out []", false},
		{"on its very day it is", 40, flag(20), []weather.Verdict{say(19, false)}, "", 20, "19 days, suspects [20], left out [19 20]", false},
		{"a quarter doubted", 8, flag(1, 4), nil, "", 7, "6 days, suspects [1 4], left out [1 4]", false},
		{"more than a quarter doubted", 8, flag(1, 4, 6), nil, "", 7, "8 days, suspects [1 4 6], left out []", true},
		{"then a person's word still counts", 8, flag(1, 4, 6), []weather.Verdict{say(4, false)}, "", 7, "7 days, suspects [1 4 6], left out [4]", true},
		{"one of three is no misfit", 3, flag(1), nil, "", 2, "2 days, suspects [1], left out [1]", false},
		{"nor is one day doubted twice", 3, append(flag(1), flag(1)...), nil, "", 2, "2 days, suspects [1 1], left out [1]", false},
	} {
		r := forecast.Record{
			Station: weather.Station{Latitude: 48, Suspects: tt.rule}, Days: seriesOf(t, ordinary(siftFirst, tt.days)), Flags: tt.flags, Verdicts: tt.verdicts,
		}
		got := r.Sift(siftFirst + weather.Date(tt.through))
		if told(got) != tt.want || (got.Misfit != "") != tt.misfit {
			t.Errorf("%s: got %s, misfit %q, want %s", tt.name, told(got), got.Misfit, tt.want)
		}
	}
}

// Whatever is delivered, doubted or said of later days changes nothing.
func TestSiftSeesNothingLater(t *testing.T) {
	t.Parallel()
	days := ordinary(siftFirst, 60)
	days[10].Min = -25 // A spike.
	through := siftFirst + 39
	hours := []weather.ReadingHour{{From: siftFirst, Hour: 7}}
	early := forecast.Record{Station: weather.Station{Latitude: 48}, Days: seriesOf(t, days[:40]), Hours: hours, Flags: []weather.Flag{{Date: siftFirst + 5, Text: "max: streak (K)"}}}
	poisoned := slices.Clone(days)
	for i := 40; i < len(poisoned); i++ {
		poisoned[i].Min, poisoned[i].Max = -80, 55
	}
	late := early
	late.Days = seriesOf(t, poisoned)
	late.Flags = append(slices.Clone(early.Flags), weather.Flag{Date: through + 1, Text: "max: streak (K)"})
	late.Verdicts = []weather.Verdict{{Date: through + 1, Use: false, By: "Ann"}}
	a, b := early.Sift(through), late.Sift(through)
	if told(a) != told(b) || !slices.Equal(a.Suspects, b.Suspects) || !slices.Equal(a.Days.Days(), b.Days.Days()) {
		t.Errorf("got %s, without the later days %s", told(b), told(a))
	}
	if !slices.ContainsFunc(a.Suspects, func(s quality.Suspect) bool { return s.Test == quality.Spike && s.Date == siftFirst+10 }) {
		t.Errorf("the spike is not among %v", a.Suspects)
	}
}

// Highs that are read in the morning are of the day before, and so is what their
// source doubts of them; lows are not.
func TestSiftByTheHourOfReading(t *testing.T) {
	t.Parallel()
	days := ordinary(siftFirst, 20)
	days[9].Max = days[8].Min - 0.5 // Moved to the day before it is below its low.
	days[9].Min = days[9].Max - 1
	r := forecast.Record{
		Station: weather.Station{Latitude: 48}, Days: seriesOf(t, days),
		Hours:    []weather.ReadingHour{{From: siftFirst, Hour: 7}},
		Flags:    []weather.Flag{{Date: siftFirst + 4, Text: "min: gap (G); max: streak (K)"}, {Date: siftFirst + 14, Text: "min: gap (G)"}},
		Verdicts: []weather.Verdict{{Date: siftFirst + 8, By: "Ann"}}, // Left out by her too.
	}
	s := r.Sift(siftFirst + 19)
	if n := len(s.LeftOut); n != 4 || s.Days.Len() != 15 {
		t.Errorf("left out %v of 19, %d are used", s.LeftOut, s.Days.Len())
	}
	type suspect struct {
		day  int
		test quality.Test
	}
	var got []suspect
	for _, x := range s.Suspects {
		if x.Test == forecast.TestSource || x.Test == forecast.TestReadingHour {
			got = append(got, suspect{int(x.Date - siftFirst), x.Test})
		}
	}
	want := []suspect{{3, forecast.TestSource}, {4, forecast.TestSource}, {8, forecast.TestReadingHour}, {14, forecast.TestSource}}
	if !slices.Equal(got, want) {
		t.Errorf("suspects %v, want %v; all %v", got, want, s.Suspects)
	}
	for _, d := range []int{3, 4, 8, 14} {
		if _, there := s.Days.At(siftFirst + weather.Date(d)); there || !slices.Contains(s.LeftOut, siftFirst+weather.Date(d)) {
			t.Errorf("day %d is used; left out %v", d, s.LeftOut)
		}
	}
	if d, ok := s.Days.At(siftFirst + 1); !ok || d.Min != days[1].Min || d.Max != days[2].Max {
		t.Errorf("day 1 is %v, want the low of %v and the high of %v", d, days[1], days[2])
	}
	if _, there := s.Days.At(siftFirst + 19); there {
		t.Error("the last day has a high, which was not read yet")
	}
}

// healthFarm is a farm in the north with the records of some stations.
func healthFarm(records ...forecast.Record) forecast.Inputs {
	return forecast.Inputs{Farm: forecast.Farm{ID: "f", Latitude: 48, TimeZone: "Europe/Berlin"}, Records: records}
}

// A record with holes of two and of six days in February, that ends on the
// 28th, seen on the morning of 6 March: 1 February to 5 March are 33 days, two
// of them bridged, six in the long hole and five after the end.
func TestHealthOfAStation(t *testing.T) {
	t.Parallel()
	first, end := weather.DateOf(2023, time.January, 1), weather.DateOf(2025, time.February, 28)
	asOf := weather.DateOf(2025, time.March, 6)
	all := ordinary(first, int(end-first)+1)
	own := slices.DeleteFunc(slices.Clone(all), func(d weather.Day) bool {
		_, _, day := d.Date.Civil()
		return d.Date >= weather.DateOf(2025, time.February, 1) && (day == 5 || day == 6 || 10 <= day && day <= 15)
	})
	later := weather.Day{Date: asOf, Min: 1, Max: 2} // Not over yet, so not looked at.
	post := forecast.Record{Station: weather.Station{ID: "post", Latitude: 48}, Days: seriesOf(t, append(own, later))}
	h, err := forecast.StationHealth(healthFarm(post), "post", nil, asOf)
	if err != nil {
		t.Fatal(err)
	}
	if *h.First != first || *h.Last != end || h.Days != len(own) || h.DaysOld != 5 || len(h.Holes) != 2 || h.Holes[1].Len() != 6 {
		t.Errorf("%v to %v, %d days, %d old, holes %v", h.First, h.Last, h.Days, h.DaysOld, h.Holes)
	}
	want := forecast.Leaning{
		Season: 2025, From: weather.DateOf(2025, time.February, 1), To: asOf - 1, Days: 33, Bridged: 2, OtherYears: 11, PastSeasons: 2,
	}
	if h.Leaning != want {
		t.Errorf("leaning %+v, want %+v", h.Leaning, want)
	}
	if h.StandIn != nil || h.Proposal != nil || h.OutlookAt != nil || h.Misfit != "" {
		t.Errorf("%+v", h)
	}

	// A stand-in has the long hole and what came after the end.
	post.Station.StandIn = "hill"
	hill := forecast.Record{Station: weather.Station{ID: "hill", Latitude: 48}, Days: seriesOf(t, ordinary(first, int(asOf-first)))}
	h, err = forecast.StationHealth(healthFarm(post, hill), "post", nil, asOf)
	if err != nil {
		t.Fatal(err)
	}
	want.Lent, want.OtherYears = 11, 0
	if h.Leaning != want || !h.StandIn.Used || h.StandIn.Lent != 11 || len(h.StandIn.LentDays) != 11 || h.StandIn.Offsets.Days != len(own) {
		t.Errorf("leaning %+v, want %+v; stand-in %+v", h.Leaning, want, h.StandIn)
	}
	// What is doubted there is not lent.
	hill.Flags = []weather.Flag{{Date: weather.DateOf(2025, time.February, 12), Text: "min: gap (G)"}}
	h, err = forecast.StationHealth(healthFarm(post, hill), "post", nil, asOf)
	if err != nil || h.StandIn.Lent != 10 || h.Leaning.Lent != 10 || h.Leaning.Bridged != 3 {
		t.Errorf("%v; %+v %+v", err, h.StandIn, h.Leaning)
	}
	// With too few days in common it lends nothing.
	hill.Days = seriesOf(t, ordinary(end-40, 41))
	h, err = forecast.StationHealth(healthFarm(post, hill), "post", nil, asOf)
	if err != nil || h.StandIn.Used || h.StandIn.Lent != 0 || h.StandIn.Offsets.Days != 33 || h.Leaning.OtherYears != 11 {
		t.Errorf("%v; %+v %+v", err, h.StandIn, h.Leaning)
	}
	if _, err := forecast.StationHealth(healthFarm(post), "nobody", nil, asOf); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("of a station that there is not: %v", err)
	}
}

// What is not on record leans on other years, also without any record; before
// February all of the year counts.
func TestHealthWithoutARecord(t *testing.T) {
	t.Parallel()
	empty := forecast.Record{Station: weather.Station{ID: "post", Latitude: 48}}
	for _, tt := range []struct {
		asOf, from weather.Date
		days       int
	}{
		{weather.DateOf(2025, time.March, 6), weather.DateOf(2025, time.February, 1), 33},
		{weather.DateOf(2025, time.January, 11), weather.DateOf(2025, time.January, 1), 10},
		{weather.DateOf(2025, time.January, 1), weather.DateOf(2025, time.January, 1), 0},
	} {
		h, err := forecast.StationHealth(healthFarm(empty), "post", nil, tt.asOf)
		if err != nil {
			t.Fatal(err)
		}
		want := forecast.Leaning{Season: 2025, From: tt.from, To: tt.asOf - 1, Days: tt.days, OtherYears: tt.days}
		if h.Leaning != want || h.First != nil || h.Last != nil || h.Days != 0 {
			t.Errorf("on %s: %+v, want %+v", tt.asOf, h.Leaning, want)
		}
	}
}

// The hours that a source tells are proposed until they are set.
func TestHealthProposesTheHourOfReading(t *testing.T) {
	t.Parallel()
	days := ordinary(siftFirst, 60)
	remarks := make([]weather.Remark, len(days))
	for i := range remarks {
		remarks[i].Hour = 7
	}
	post := forecast.Record{Station: weather.Station{ID: "post", Latitude: 48}, Days: seriesOf(t, days)}
	h, err := forecast.StationHealth(healthFarm(post), "post", remarks, siftFirst+60)
	if err != nil {
		t.Fatal(err)
	}
	want := []weather.ReadingHour{{From: siftFirst, Hour: 7}}
	if h.Proposal == nil || !slices.Equal(h.Proposal.Hours, want) || h.Days != 60 {
		t.Fatalf("proposal %+v", h.Proposal)
	}
	post.Hours = want
	post.Outlooks = []weather.Outlook{{IssuedAt: time.Unix(1, 0)}, {IssuedAt: time.Unix(2, 0)}}
	h, err = forecast.StationHealth(healthFarm(post), "post", remarks, siftFirst+60)
	if err != nil || h.Proposal != nil || !slices.Equal(h.Hours, want) || !h.OutlookAt.Equal(time.Unix(2, 0)) {
		t.Errorf("%v; proposal %+v, hours %v, outlook %v", err, h.Proposal, h.Hours, h.OutlookAt)
	}
}
