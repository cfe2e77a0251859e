package forecast_test

import (
	"math"
	"slices"
	"sort"
	"testing"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// The oracle for everything that is counted. It takes the members as they were
// drawn and works out each from the definitions, day by day and in one pass,
// with none of the forecaster's sums, searches or tables of days; then it
// counts and sorts. It shares the degree-days of a day and the crop curve with
// the forecaster, which have tests of their own.

// oneMember is one member, worked out.
type oneMember struct {
	stages map[string][3]weather.Date
	first  weather.Date
	last   weather.Date
	ripe   map[weather.Date]map[string]bool // Varieties in their window.
	kg     map[weather.Date]map[string]float64
	total  map[weather.Date]float64
	thin   map[weather.Date]bool
	opens  map[weather.Date]bool
	ready  map[weather.Date]bool    // Enough to open, if nobody has picked.
	enough map[weather.Date]bool    // Enough for the crowd, since the farm opened.
	past   map[weather.Date]float64 // Share of the crop that has spoiled, if nobody has picked.
	weeks  map[weather.Date]float64 // kg ripening, by Monday.
}

// heatTo returns the heat since bloom through each day of the path.
func heatTo(m forecast.Member) map[weather.Date]float64 {
	h := map[weather.Date]float64{}
	sum := 0.0
	for i, d := range m.Path {
		if d.Date <= m.Bloom {
			h[d.Date] = 0
			continue
		}
		next := d.Min
		if i+1 < len(m.Path) {
			next = m.Path[i+1].Min
		}
		sum += m.Method.DegreeDays(d.Min, d.Max, next)
		h[d.Date] = sum
	}
	return h
}

// bloomOf returns the first day on which the warmth above 0 °C since the end of
// winter is enough.
func bloomOf(m forecast.Member) weather.Date {
	sum := 0.0
	for _, d := range m.Path {
		if d.Date <= m.Winter {
			continue
		}
		sum += forecast.Method{Kind: forecast.SingleSine, Cutoff: forecast.NoCutoff}.DegreeDays(d.Min, d.Max, d.Min)
		if sum >= m.Spring {
			return d.Date
		}
	}
	return m.Path[len(m.Path)-1].Date
}

func stagesOf(m forecast.Member, h map[weather.Date]float64, need [3]float64) (day [3]weather.Date) {
	for s := range day {
		if m.Seen[s] != nil {
			day[s] = *m.Seen[s]
			continue
		}
		for _, d := range m.Path { // The first day on which the heat is enough.
			if day[s] = d.Date; d.Date > m.Bloom && h[d.Date] >= need[s] {
				break
			}
		}
		if n := m.NotYet[s]; n != nil && day[s] <= *n {
			day[s] = *n + 1
		}
	}
	// A later stage waits for an earlier one; a seen one stands.
	for s := 1; s < 3; s++ {
		if m.Seen[s] == nil && day[s] < day[s-1] {
			day[s] = day[s-1]
		}
	}
	for s := 1; s >= 0; s-- {
		if m.Seen[s] == nil && day[s] > day[s+1] {
			day[s] = day[s+1]
		}
	}
	return day
}

func workOut(in forecast.Inputs, asOf weather.Date, ms []forecast.Member) oneMember {
	farm, decided := in.Farm, in.Decisions
	o := oneMember{
		stages: map[string][3]weather.Date{}, ripe: map[weather.Date]map[string]bool{},
		kg: map[weather.Date]map[string]float64{}, total: map[weather.Date]float64{}, thin: map[weather.Date]bool{},
		opens: map[weather.Date]bool{}, ready: map[weather.Date]bool{}, enough: map[weather.Date]bool{}, past: map[weather.Date]float64{}, weeks: map[weather.Date]float64{},
	}
	crop := 0.0
	ms = slices.Clone(ms)
	ripening := map[string]map[weather.Date]float64{}
	for i, m := range ms {
		if m.Spring > 0 {
			m.Bloom = bloomOf(m)
		}
		h := heatTo(m)
		frosts := killed(m, h, frostsOf(in, asOf, m.Planting))
		after := m.Need
		if len(frosts) > 0 {
			after, _, _ = thinOut(m.Need, frosts)
		}
		day := stagesOf(m, h, after)
		o.stages[m.Planting] = day
		if i == 0 || day[0] < o.first {
			o.first = day[0]
		}
		if i == 0 || day[2] > o.last {
			o.last = day[2]
		}
		for d := day[0]; d <= day[2]; d++ {
			if o.ripe[d] == nil {
				o.ripe[d] = map[string]bool{}
			}
			o.ripe[d][m.Variety] = true
		}
		// The crop curve goes through the stages that were seen; what frosts add
		// to their heat is added when they cut it.
		need := m.Need
		for s := range need {
			if m.Seen[s] != nil {
				need[s] = h[day[s]] - (after[s] - m.Need[s])
			}
		}
		for s := 1; s >= 0; s-- {
			if m.Seen[s] == nil && m.Seen[s+1] != nil {
				need[s] = min(need[s], need[s+1]-1)
			}
		}
		for s := 1; s < 3; s++ {
			need[s] = max(need[s], need[s-1]+1)
		}
		var hs []float64
		for _, d := range m.Path {
			hs = append(hs, h[d.Date])
		}
		shares := forecast.CropShares(need[0], need[1], need[2], hs)
		if len(frosts) > 0 {
			_, left, ripeBy := thinOut(need, frosts)
			for j := range hs {
				shares[j] = ripeBy(hs[j])
			}
			m.Kg *= left
			ms[i].Kg = m.Kg // Of what is left, a share may be asked for.
			for j := range hs {
				shares[j] /= left
			}
		}
		crop += m.Kg
		ripening[m.Planting] = map[weather.Date]float64{}
		for j, d := range m.Path {
			if d.Date > m.Bloom {
				before := 0.0
				if j > 0 && m.Path[j-1].Date > m.Bloom {
					before = shares[j-1]
				}
				ripening[m.Planting][d.Date] = m.Kg * (shares[j] - before)
			}
		}
	}

	open := false
	standing, alone := map[string]float64{}, map[string]float64{}
	ripened := 0.0
	rec := recordOf(in, asOf)
	for j, d := range ms[0].Path {
		total, unpicked := 0.0, 0.0
		by := map[string]float64{}
		for _, m := range ms {
			half := 3.0 // Days in which half of the ripe fruit spoils; hot days 1.5.
			if m.Path[j].Max > 30 {
				half = 1.5
			}
			kg := ripening[m.Planting][d.Date]
			standing[m.Planting] = standing[m.Planting]*math.Pow(0.5, 1/half) + kg
			alone[m.Planting] = alone[m.Planting]*math.Pow(0.5, 1/half) + kg
			by[m.Planting] = standing[m.Planting]
			total += standing[m.Planting]
			unpicked += alone[m.Planting]
			ripened += kg
			o.weeks[d.Date-weather.Date((d.Date.Weekday()+6)%7)] += kg
		}
		o.kg[d.Date], o.total[d.Date] = by, total
		o.past[d.Date] = (ripened - unpicked) / crop
		need := needOn(farm, d.Date.Weekday(), ms, o.stages)
		opens := allows(farm, d.Date)
		inSeason := o.first <= d.Date && d.Date <= o.last
		o.ready[d.Date] = inSeason && unpicked >= need
		shut := slices.ContainsFunc(decided, func(x forecast.Decision) bool { return x.Kind == forecast.DecideClosing && d.Date > *x.Day })
		if i := slices.IndexFunc(decided, func(x forecast.Decision) bool { return x.Kind == forecast.DecideOpening }); i >= 0 {
			open = d.Date >= *decided[i].Day
			opens = opens || d.Date == *decided[i].Day
		} else if rec.any && d.Date <= rec.until {
			open = rec.opened > 0 && d.Date >= rec.opened
		} else if total >= need && d.Date >= o.first && opens {
			open = true
		}
		if open && !shut && d.Date <= o.last && farm.ThinKgPerDay > 0 && total < farm.ThinKgPerDay {
			o.thin[d.Date] = true
		}
		crowd := need
		if farm.ThinKgPerDay > 0 {
			crowd = farm.ThinKgPerDay
		}
		o.opens[d.Date] = opens && !shut
		o.enough[d.Date] = open && d.Date <= o.last && total >= crowd
		switch {
		case rec.any && d.Date <= rec.until:
			for p := range standing {
				switch x, ok := rec.on[p][d.Date]; {
				case ok && x.Left == forecast.LeftNone && !x.Closed:
					standing[p] = 0
				case ok:
					standing[p] -= min(standing[p], x.Kg)
				}
			}
		case open && opens:
			clear(standing)
		}
	}
	return o
}

// pickings are those of the season by planting and day.
type pickings struct {
	any    bool
	until  weather.Date // The last day that they tell of.
	opened weather.Date // When others than staff picked first; 0: never.
	on     map[string]map[weather.Date]forecast.Picking
}

func recordOf(in forecast.Inputs, asOf weather.Date) pickings {
	r := pickings{until: asOf - 1, on: map[string]map[weather.Date]forecast.Picking{}}
	for _, x := range in.Pickings {
		if x.Date.Year() != asOf.Year() || x.Date > asOf {
			continue
		}
		r.any = true
		if x.Date == asOf { // The morning's own day is told of only with an entry.
			r.until = asOf
		}
		if x.Kg > 0 && x.Source != forecast.PickedByStaff && (r.opened == 0 || x.Date < r.opened) {
			r.opened = x.Date
		}
		if r.on[x.Planting] == nil {
			r.on[x.Planting] = map[weather.Date]forecast.Picking{}
		}
		r.on[x.Planting][x.Date] = x
	}
	return r
}

func frostsOf(in forecast.Inputs, asOf weather.Date, planting string) (out []forecast.Frost) {
	for _, f := range in.Frosts {
		if f.Planting == planting && f.Date <= asOf && f.Date.Year() == asOf.Year() {
			out = append(out, f)
		}
	}
	return out
}

// killed are the flowers that were open on the night of each frost, as the heat
// after bloom on which they opened: on one of the four days before. The clock
// runs backwards before bloom.
func killed(m forecast.Member, h map[weather.Date]float64, frosts []forecast.Frost) (out []forecast.KilledNight) {
	// The day's end on the clock, which runs backwards before bloom.
	clock := map[weather.Date]float64{}
	bloom := slices.IndexFunc(m.Path, func(d weather.Day) bool { return d.Date == m.Bloom })
	for _, d := range m.Path[bloom:] {
		clock[d.Date] = h[d.Date]
	}
	for i := bloom; i > bloom-6; i-- {
		clock[m.Path[i-1].Date] = clock[m.Path[i].Date] - m.Method.DegreeDays(m.Path[i].Min, m.Path[i].Max, m.Path[i+1].Min)
	}
	for _, f := range frosts {
		if f.Date > m.Bloom { // Else no flower of it was open.
			out = append(out, forecast.KilledNight{From: clock[f.Date-5], To: clock[f.Date-1], Lost: f.ShareLost})
		}
	}
	return out
}

// thinOut takes the berries of killed flowers out of a crop that requires need,
// an eighth of a degree-day at a time: each flower opened as much heat before its
// berry is ripe as there is from the first flowers to first ripe. It returns the
// heat to the stages of what is left, the share that is left, and how much of the
// whole crop is ripe and left at a heat.
func thinOut(need [3]float64, frosts []forecast.KilledNight) (after [3]float64, left float64, ripeBy func(float64) float64) {
	type slice struct{ from, to, share float64 }
	var nights []slice
	width := need[2] - need[0]
	var grid []float64
	for x := need[0] - 2*width; x < need[2]+2*width; x += 0.125 {
		grid = append(grid, x)
	}
	grid = append(grid, need[1])
	for _, f := range frosts {
		k := slice{f.From + need[0], f.To + need[0], f.Lost}
		nights = append(nights, k)
		grid = append(grid, k.from, k.to)
	}
	slices.Sort(grid)
	whole := forecast.CropShares(need[0], need[1], need[2], grid)
	sums := make([]float64, len(grid)) // Left by each point of the grid.
	keep := make([]float64, len(grid)) // Of what ripens from each point to the next.
	sums[0] = whole[0]
	for i := range len(grid) - 1 {
		keep[i] = 1
		for _, k := range nights {
			if mid := (grid[i] + grid[i+1]) / 2; k.from < mid && mid < k.to {
				keep[i] *= 1 - k.share
			}
		}
		sums[i+1] = sums[i] + keep[i]*(whole[i+1]-whole[i])
	}
	left = sums[len(sums)-1] + 1 - whole[len(whole)-1]
	at := func(x float64) float64 {
		i := sort.SearchFloat64s(grid, x)
		switch {
		case i == 0:
			return 0
		case i == len(grid):
			return left
		}
		return sums[i-1] + keep[i-1]*(forecast.CropShares(need[0], need[1], need[2], []float64{x})[0]-whole[i-1])
	}
	by := func(share float64) float64 {
		i := max(sort.SearchFloat64s(sums, share*left), 1)
		return grid[i-1] + (grid[i]-grid[i-1])*(share*left-sums[i-1])/(sums[i]-sums[i-1])
	}
	after[0], after[2] = by(0.05), by(0.95)
	density := twoPiece(need)
	most := -1.0
	for i := range len(grid) - 1 {
		// Every two degree-days will do, and wherever it may turn.
		turns := i == 0 || keep[i] != keep[i-1] || keep[i] != keep[i+1] || grid[i] == need[1] ||
			grid[i] <= after[0] && after[0] < grid[i+1] || grid[i] <= after[2] && after[2] < grid[i+1]
		if i%16 > 0 && !turns {
			continue
		}
		for _, x := range []float64{max(grid[i], after[0]), min(grid[i+1], after[2])} {
			if d := keep[i] * density(x); after[0] <= x && x <= after[2] && grid[i] <= x && x <= grid[i+1] && d > most+1e-12 {
				most, after[1] = d, x
			}
		}
	}
	return after, left, at
}

// twoPiece returns the density of a two-piece normal with its mode, and 5 and
// 95 % of it, where they are given, relative to that at the mode: the share
// before the mode is found by halving.
func twoPiece(need [3]float64) func(float64) float64 {
	z := func(p float64) float64 { return -math.Sqrt2 * math.Erfinv(2*p-1) }
	lo, hi := 0.0251, 0.9749
	sds := func(w float64) (before, after float64) {
		return (need[1] - need[0]) / z(0.025/w), (need[2] - need[1]) / z(0.025/(1-w))
	}
	for range 50 {
		w := (lo + hi) / 2
		if b, a := sds(w); b/(b+a) > w {
			lo = w
		} else {
			hi = w
		}
	}
	before, after := sds(lo)
	return func(x float64) float64 {
		sd := before
		if x > need[1] {
			sd = after
		}
		return math.Exp(-(x - need[1]) * (x - need[1]) / (2 * sd * sd))
	}
}

// needOn is what the farm calls enough on a weekday.
func needOn(farm forecast.Farm, w time.Weekday, ms []forecast.Member, stages map[string][3]weather.Date) float64 {
	o := farm.Opening
	switch {
	case o.ReadyKgOn[w] > 0:
		return o.ReadyKgOn[w]
	case o.ReadyKg > 0:
		return o.ReadyKg
	case o.ReadyShare > 0:
		// The varieties, each with its first day and its crop.
		first, kg := map[string]weather.Date{}, map[string]float64{}
		var names []string
		for _, m := range ms {
			if d, ok := first[m.Variety]; !ok {
				names = append(names, m.Variety)
				first[m.Variety] = stages[m.Planting][0]
			} else {
				first[m.Variety] = min(d, stages[m.Planting][0])
			}
			kg[m.Variety] += m.Kg
		}
		slices.Sort(names) // As the inputs are, so that equal days go by it.
		slices.SortStableFunc(names, func(a, b string) int { return int(first[a] - first[b]) })
		sum := 0.0
		for _, v := range names[:min(max(1, o.FirstVarieties), len(names))] {
			sum += kg[v]
		}
		return o.ReadyShare * sum
	}
	return farm.ThinKgPerDay
}

// quantile is the definition: the smallest value with at least a share p of
// the values at or below it.
func quantile[T int | weather.Date | float64](xs []T, p float64) T {
	s := slices.Sorted(slices.Values(xs))
	for i, x := range s {
		if float64(i+1) >= p*float64(len(s))-1e-9 {
			return x
		}
	}
	panic("no values")
}

func TestForecastIsWhatItsMembersSay(t *testing.T) {
	t.Parallel()
	base, asOf := demo(t)
	for name, set := range map[string]func(*forecast.Inputs) weather.Date{
		"the demo": func(*forecast.Inputs) weather.Date { return asOf },
		"open every day, no fruit asked for": func(in *forecast.Inputs) weather.Date {
			in.Farm.Opening = forecast.Opening{}
			in.Farm.ThinKgPerDay = 0
			return asOf - 7
		},
		"thin minimum alone, later, another method for one variety": func(in *forecast.Inputs) weather.Date {
			in.Farm.Opening = forecast.Opening{}
			in.Farm.GapProbability = 0.2
			in.Varieties = slices.Clone(in.Varieties)
			m := forecast.Method{Kind: forecast.DoubleSine, Base: 5, Upper: 28, Cutoff: forecast.Vertical}
			in.Varieties[0].Requirement = &forecast.Requirement{FirstRipe: 280, Peak: 330, LastPick: 400, Method: m}
			return asOf + 9
		},
		"two stations, the second eight degrees warmer by day": func(in *forecast.Inputs) weather.Date {
			var warm []weather.Day
			for _, d := range in.Records[0].Days.Days() {
				d.Max = min(d.Max+8, weather.Warmest)
				warm = append(warm, d)
			}
			s, err := weather.NewSeries(warm)
			if err != nil {
				t.Fatal(err)
			}
			in.Records = append(slices.Clone(in.Records), forecast.Record{Station: weather.Station{ID: "warm"}, Days: s})
			in.Plantings = slices.Clone(in.Plantings)
			for i := range in.Plantings {
				if i%2 == 0 {
					in.Plantings[i].Station = "warm"
				}
			}
			return asOf
		},
		"open on Saturdays and Wednesdays with a share of the first two varieties, more on Saturdays": func(in *forecast.Inputs) weather.Date {
			in.Farm.ThinKgPerDay = 40
			in.Farm.Opening = forecast.Opening{
				ReadyShare: 0.1, FirstVarieties: 2, Confidence: 0.7, NoticeDays: 1,
				ReadyKgOn: [7]float64{time.Saturday: 400},
				Weekdays:  []time.Weekday{time.Wednesday, time.Saturday},
				Channels:  []forecast.Channel{{Name: "weekly paper", NoticeDays: 4}},
			}
			return asOf - 14
		},
		"opening announced for a day on which it does not open as a rule, and closing": func(in *forecast.Inputs) weather.Date {
			// A changed mind: the oracle is given what counts alone.
			opening, closing := weather.DateOf(2018, time.June, 11), weather.DateOf(2018, time.July, 3) // A Monday.
			in.Decisions = []forecast.Decision{
				{Season: 2018, Kind: forecast.DecideOpening, Day: &opening, Version: 2},
				{Season: 2018, Kind: forecast.DecideClosing, Day: &closing, Version: 1},
			}
			return asOf - 2
		},
		"frosts before, at and after the height of bloom, one night twice as bad": func(in *forecast.Inputs) weather.Date {
			in.Frosts = frostsAfterBloom(*in, [][2]float64{{-3, 1}, {1, 1}, {4, 0.6}, {7, 1}, {9, 0.3}})
			return asOf - 7
		},
		"a frost that leaves a hole, and first ripe seen since": func(in *forecast.Inputs) weather.Date {
			in.Farm.ThinKgPerDay = 100
			in.Sightings = demoLater(t).Sightings
			in.Frosts = frostsAfterBloom(*in, [][2]float64{{6, 1}})
			return asOf + 12
		},
		"a frost before bloom is seen": func(in *forecast.Inputs) weather.Date {
			in.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool { return s.Date.Year() == asOf.Year() })
			for _, p := range in.Plantings {
				in.Frosts = append(in.Frosts, forecast.Frost{Planting: p.ID, Date: weather.DateOf(2018, time.May, 20), ShareLost: 0.8})
			}
			return weather.DateOf(2018, time.May, 20)
		},
		"pickings on record, and a frost": func(in *forecast.Inputs) weather.Date {
			in.Frosts = frostsAfterBloom(*in, [][2]float64{{3, 0.5}})
			in.Pickings = pickingsOf(*in, asOf+2, asOf+5)
			return asOf + 8
		},
		"pickings on record up to the morning's own day, some by staff": func(in *forecast.Inputs) weather.Date {
			in.Farm.Opening.Weekdays = nil
			in.Pickings = pickingsOf(*in, asOf, asOf+9)
			return asOf + 9
		},
		"before most have bloomed": func(*forecast.Inputs) weather.Date { return weather.DateOf(2018, time.May, 14) },
		"from winter on":           func(*forecast.Inputs) weather.Date { return weather.DateOf(2018, time.January, 20) },
		"nobody has found ripe fruit yet": func(in *forecast.Inputs) weather.Date {
			in.Sightings = slices.DeleteFunc(slices.Clone(in.Sightings), func(s forecast.Sighting) bool {
				return s.Date.Year() == asOf.Year() && s.Stage >= forecast.FirstRipe
			})
			for _, p := range in.Plantings {
				in.Sightings = append(in.Sightings, forecast.Sighting{Planting: p.ID, Stage: forecast.FirstRipe, Date: asOf + 4})
			}
			return asOf + 4
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := base
			at := set(&in)
			ms, perTrace, err := forecast.MembersOf(in, at)
			if err != nil {
				t.Fatal(err)
			}
			all := make([]oneMember, len(ms))
			for i, m := range ms {
				all[i] = workOut(in, at, m)
			}
			f := compute(t, in, at)
			compareDates(t, f, all)
			compareDays(t, in.Farm, f, all)
			compareGaps(t, in.Farm, f, all, perTrace)
			compareAdvice(t, in.Farm, f, all)
		})
	}
}

// frostsAfterBloom are frosts of every third planting, each so many days after
// its bloom, with the share lost.
func frostsAfterBloom(in forecast.Inputs, at [][2]float64) (out []forecast.Frost) {
	n := 0
	for _, s := range in.Sightings {
		if s.Stage != forecast.Bloom10 || !s.Seen || s.Date.Year() != 2018 {
			continue
		}
		if n++; n%3 != 1 {
			continue
		}
		for _, x := range at {
			out = append(out, forecast.Frost{Planting: s.Planting, Date: s.Date + weather.Date(x[0]), ShareLost: x[1]})
		}
	}
	return out
}

// pickingsOf are pickings of every third planting on every second day from one
// to another, both included: at first by staff, some of all that is ripe, one on
// a day that was closed.
func pickingsOf(in forecast.Inputs, from, to weather.Date) (out []forecast.Picking) {
	for i, p := range in.Plantings {
		if i%3 != 0 {
			continue
		}
		for d := from; d <= to; d++ {
			x := forecast.Picking{Planting: p.ID, Date: d, Kg: float64(10 * (1 + i)), Source: forecast.PickedByCustomers, Left: forecast.LeftSome}
			switch {
			case (d-from)%2 == 1 && d != to:
				continue
			case d < from+3:
				x.Source = forecast.PickedByStaff
			case (d-from)%5 == 0:
				x.Left = forecast.LeftNone
			case i == 0:
				x.Kg, x.Closed, x.Left = 0, true, forecast.LeftNone
			}
			out = append(out, x)
		}
	}
	return out
}

func compareDates(t *testing.T, f *forecast.Forecast, all []oneMember) {
	t.Helper()
	for _, p := range f.Plantings {
		if p.Stages == nil {
			continue
		}
		var windows []int
		for s, r := range []forecast.DateRange{p.Stages.FirstRipe, p.Stages.Peak, p.Stages.LastPick} {
			var ds []weather.Date
			for _, m := range all {
				ds = append(ds, m.stages[p.Planting][s])
			}
			if a, b, c := quantile(ds, 0.1), quantile(ds, 0.5), quantile(ds, 0.9); r.P10 != a || r.P50 != b || r.P90 != c {
				t.Errorf("%s, stage %d: %s %s %s, members say %s %s %s", p.Planting, s, r.P10, r.P50, r.P90, a, b, c)
			}
			switch least := slices.Min(ds); {
			case s == 0 && (r.Earliest == nil || *r.Earliest != least):
				t.Errorf("%s: earliest %v, members say %s", p.Planting, r.Earliest, least)
			case s > 0 && r.Earliest != nil:
				t.Errorf("%s, stage %d has an earliest member, %s", p.Planting, s, r.Earliest)
			}
		}
		for _, m := range all {
			d := m.stages[p.Planting]
			windows = append(windows, int(d[2]-d[0])+1) // Both days are picked.
		}
		if w := *p.PickingWindowDays; w != (forecast.DayCounts{P10: quantile(windows, 0.1), P50: quantile(windows, 0.5), P90: quantile(windows, 0.9)}) {
			t.Errorf("%s: window %v", p.Planting, w)
		}
	}
	var firsts, lasts []weather.Date
	for _, m := range all {
		firsts, lasts = append(firsts, m.first), append(lasts, m.last)
	}
	want := forecast.Span{
		First: forecast.SpanEnd{P10: quantile(firsts, 0.1), P50: quantile(firsts, 0.5), P90: quantile(firsts, 0.9)},
		Last:  forecast.SpanEnd{P10: quantile(lasts, 0.1), P50: quantile(lasts, 0.5), P90: quantile(lasts, 0.9)},
	}
	if *f.SeasonSpan != want {
		t.Errorf("season span %v, members say %v", *f.SeasonSpan, want)
	}
}

// isGap: inside the member's season, and nothing in its window.
func (m oneMember) isGap(d weather.Date) bool {
	return m.first <= d && d <= m.last && len(m.ripe[d]) == 0
}

func share(all []oneMember, is func(oneMember) bool) float64 {
	n := 0
	for _, m := range all {
		if is(m) {
			n++
		}
	}
	return float64(n) / float64(len(all))
}

func compareDays(t *testing.T, farm forecast.Farm, f *forecast.Forecast, all []oneMember) {
	t.Helper()
	if len(f.Days) == 0 {
		t.Fatal("no days")
	}
	for _, d := range f.Days {
		if !(share(all, func(m oneMember) bool { return m.first <= d.Date && d.Date <= m.last }) >= 0.05) {
			t.Errorf("%s is published and in the season of few members", d.Date)
		}
		var kg []float64
		ripe := 0
		by := map[string]float64{}
		for _, m := range all {
			kg = append(kg, m.total[d.Date])
			ripe += len(m.ripe[d.Date])
			for p, x := range m.kg[d.Date] {
				by[p] += x / float64(len(all))
			}
		}
		// Published to a tenth of a kg, summed in another order in single precision.
		const tol = 0.06
		for _, c := range []struct{ got, p float64 }{{d.RipeKg.P10, 0.1}, {d.RipeKg.P50, 0.5}, {d.RipeKg.P90, 0.9}} {
			if want := quantile(kg, c.p); !near(c.got, want, tol+1e-5*want) {
				t.Errorf("%s: %v kg at %v, members say %v", d.Date, c.got, c.p, want)
			}
		}
		for p, want := range by {
			if !near(d.RipeKgBy[p], want, tol) {
				t.Errorf("%s: %v kg of %s, members say %v", d.Date, d.RipeKgBy[p], p, want)
			}
		}
		if want := float64(ripe) / float64(len(all)); !near(d.Ripe, want, 0.006) {
			t.Errorf("%s: %v varieties, members say %v", d.Date, d.Ripe, want)
		}
		if want := share(all, func(m oneMember) bool { return m.isGap(d.Date) }); !near(d.GapProbability, want, 6e-4) {
			t.Errorf("%s: gap %v, members say %v", d.Date, d.GapProbability, want)
		}
		if want := share(all, func(m oneMember) bool { return m.ready[d.Date] }); !near(d.Ready, want, 6e-4) {
			t.Errorf("%s: ready %v, members say %v", d.Date, d.Ready, want)
		}
		if want := share(all, func(m oneMember) bool {
			for x := m.first; x <= d.Date; x++ {
				if m.ready[x] {
					return true
				}
			}
			return false
		}); !near(d.ReadyBy, want, 6e-4) {
			t.Errorf("%s: ready by %v, members say %v", d.Date, d.ReadyBy, want)
		}
		if want := share(all, func(m oneMember) bool { return m.enough[d.Date] }); !near(d.Enough, want, 6e-4) {
			t.Errorf("%s: enough %v, members say %v", d.Date, d.Enough, want)
		}
		past := 0.0
		for _, m := range all {
			past += m.past[d.Date] / float64(len(all))
		}
		// What is left of the fruit at the very end is dropped.
		if !near(d.Past, past, 2e-3) {
			t.Errorf("%s: %v of the crop is past, members say %v", d.Date, d.Past, past)
		}
		if want := all[0].opens[d.Date]; d.Opens != want {
			t.Errorf("%s: opens is %v", d.Date, d.Opens)
		}
		if want := share(all, func(m oneMember) bool { return m.thin[d.Date] }); !near(d.ThinProbability, want, 6e-4) {
			t.Errorf("%s: thin %v, members say %v (minimum %v)", d.Date, d.ThinProbability, want, farm.ThinKgPerDay)
		}
	}
}

// allows reports whether a farm opens on the weekday of a date, whatever it has
// decided.
func allows(farm forecast.Farm, d weather.Date) bool {
	return len(farm.Opening.Weekdays) == 0 || slices.Contains(farm.Opening.Weekdays, d.Weekday())
}

// compareAdvice works the advice out again from the members.
func compareAdvice(t *testing.T, farm forecast.Farm, f *forecast.Forecast, all []oneMember) {
	t.Helper()
	a := f.Advice
	conf := farm.Opening.Confidence
	if conf == 0 {
		conf = 0.8
	}
	notice := farm.Opening.NoticeDays
	for _, c := range farm.Opening.Channels {
		notice = max(notice, c.NoticeDays)
	}
	var opening, closing *weather.Date
	var next *weather.Date
	for _, d := range f.Days {
		if d.Date < f.AsOf {
			continue
		}
		if opening != nil && next == nil && allows(farm, d.Date) {
			next = &d.Date
		}
		// Probabilities are published to a thousandth, and advice follows them.
		if opening == nil && allows(farm, d.Date) && math.Round(1000*share(all, func(m oneMember) bool { return m.ready[d.Date] }))/1000 >= conf {
			opening = &d.Date
		}
		if allows(farm, d.Date) && math.Round(1000*share(all, func(m oneMember) bool { return m.enough[d.Date] }))/1000 >= conf {
			closing = &d.Date
		}
	}
	for _, c := range []struct {
		name      string
		got, want *weather.Date
	}{{"opening", a.Opening.Day, opening}, {"next", a.Opening.Next, next}, {"closing", a.Closing.Day, closing}} {
		if (c.got == nil) != (c.want == nil) || c.got != nil && *c.got != *c.want {
			t.Errorf("%s is %v, members say %v", c.name, c.got, c.want)
		}
	}
	if opening != nil && *a.Opening.CommitBy != *opening-weather.Date(notice) {
		t.Errorf("commit by %s for %s with %d days of notice", a.Opening.CommitBy, opening, notice)
	}
	var firsts []weather.Date
	best := map[weather.Date]int{}
	for _, m := range all {
		for d := m.first; d <= m.last; d++ {
			if m.ready[d] && allows(farm, d) {
				firsts = append(firsts, d)
				break
			}
		}
		var monday weather.Date
		for w, kg := range m.weeks {
			if kg > m.weeks[monday] {
				monday = w
			}
		}
		best[monday]++
	}
	if r := a.Opening.Range; 10*(len(all)-len(firsts)) > len(all) {
		if r != nil {
			t.Errorf("range %v, and only %d of %d members are ever ready", r, len(firsts), len(all))
		}
	} else {
		for range len(all) - len(firsts) { // Never is later than any day.
			firsts = append(firsts, f.AsOf+1000)
		}
		if r.P10 != quantile(firsts, 0.1) || r.P50 != quantile(firsts, 0.5) || r.P90 != quantile(firsts, 0.9) {
			t.Errorf("range %v, members say %v to %v", r, quantile(firsts, 0.1), quantile(firsts, 0.9))
		}
	}
	most := 0
	for _, n := range best {
		most = max(most, n)
	}
	if got := best[*a.PeakWeek.From]; got != most || !near(*a.PeakWeek.Probability, float64(most)/float64(len(all)), 6e-4) {
		t.Errorf("peak week from %s with %v, members say %v", a.PeakWeek.From, *a.PeakWeek.Probability, best)
	}
	for _, w := range a.PeakWeek.Weeks {
		var kg []float64
		for _, m := range all {
			kg = append(kg, m.weeks[w.From])
		}
		if want := quantile(kg, 0.5); !near(w.RipeningKg.P50, want, 0.06+1e-5*want) {
			t.Errorf("week of %s: %v kg, members say %v", w.From, w.RipeningKg.P50, want)
		}
	}
}

func compareGaps(t *testing.T, farm forecast.Farm, f *forecast.Forecast, all []oneMember, perTrace int) {
	t.Helper()
	gapped := map[weather.Date]bool{}
	var want []forecast.Gap
	for _, k := range []struct {
		kind forecast.GapKind
		is   func(oneMember, weather.Date) bool
	}{
		{forecast.KindGap, oneMember.isGap},
		{forecast.KindThin, func(m oneMember, d weather.Date) bool { return m.thin[d] && !gapped[d] }},
	} {
		first, last := forecast.SeasonBounds(f.Season, false)
		var run *forecast.Gap
		for d := first; d <= last; d++ {
			if gapped[d] || !(share(all, func(m oneMember) bool { return k.is(m, d) }) >= farm.GapProbability-1e-9) {
				run = nil
				continue
			}
			if run == nil {
				want = append(want, forecast.Gap{From: d, Kind: k.kind})
				run = &want[len(want)-1]
			}
			run.To = d
		}
		for i := range want {
			g := &want[i]
			if g.Kind != k.kind {
				continue
			}
			has := func(m oneMember) bool {
				for d := g.From; d <= g.To; d++ {
					if k.is(m, d) {
						return true
					}
				}
				return false
			}
			g.Probability = math.Round(1000*share(all, has)) / 1000
			for y := 0; y < len(all); y += perTrace {
				if share(all[y:y+perTrace], has) >= 0.5 {
					g.PastYears++
				}
			}
			if g.Kind == forecast.KindGap {
				for d := g.From; d <= g.To; d++ {
					gapped[d] = true
				}
			}
		}
	}
	if len(f.Gaps) != len(want) {
		t.Fatalf("%d gaps %v, members say %v", len(f.Gaps), f.Gaps, want)
	}
	slices.SortFunc(want, func(a, b forecast.Gap) int { return int(a.From - b.From) })
	for i, g := range f.Gaps {
		w := want[i]
		if g.From != w.From || g.To != w.To || g.Kind != w.Kind || g.PastYears != w.PastYears || !near(g.Probability, w.Probability, 1e-9) {
			t.Errorf("gap %d is %+v, members say %+v", i, g, w)
		}
		mid := g.From.Time().Add(g.To.Time().Sub(g.From.Time()) / 2)
		for _, p := range f.Plantings {
			if p.Stages == nil {
				continue
			}
			// Nothing ends later before the middle of it, nothing begins earlier
			// after it, than the two that are named.
			end, begin := p.Stages.LastPick.P50, p.Stages.FirstRipe.P50
			if !end.Time().After(mid) && (g.After == nil || medianLast(f, *g.After) < end) {
				t.Errorf("gap %d comes after %v, but %s ends on %s", i, g.After, p.Planting, end)
			}
			if !begin.Time().Before(mid) && (g.Before == nil || medianFirst(f, *g.Before) > begin) {
				t.Errorf("gap %d comes before %v, but %s begins on %s", i, g.Before, p.Planting, begin)
			}
		}
		if g.After != nil && medianLast(f, *g.After).Time().After(mid) || g.Before != nil && medianFirst(f, *g.Before).Time().Before(mid) {
			t.Errorf("gap %d from %s to %s is not between %s and %s", i, g.From, g.To, *g.After, *g.Before)
		}
	}
}

func medianLast(f *forecast.Forecast, planting string) weather.Date {
	return datesOf(f, planting).LastPick.P50
}

func medianFirst(f *forecast.Forecast, planting string) weather.Date {
	return datesOf(f, planting).FirstRipe.P50
}

func datesOf(f *forecast.Forecast, planting string) *forecast.StageDates {
	for _, p := range f.Plantings {
		if p.Planting == planting {
			return p.Stages
		}
	}
	panic("no planting " + planting)
}

// Members of an even and the odd one after it mirror each other around the
// mean, and all of them together have the posterior's mean and sd.
func TestDrawsAreAntitheticAndHaveThePosteriorsMoments(t *testing.T) {
	t.Parallel()
	e := effects()
	mean, sd, err := e.Posterior()
	if err != nil {
		t.Fatal(err)
	}
	const n = 4000
	xs, err := forecast.Draws(e, n)
	if err != nil {
		t.Fatal(err)
	}
	mirrored := 0
	for i := 0; i < n; i += 2 {
		same := true
		for k := range mean {
			same = same && near(xs[i][k]+xs[i+1][k], 2*mean[k], 1e-9)
		}
		if same {
			mirrored++
		}
	}
	// A pair is broken only when one of the two had its stages out of order.
	if mirrored < n/2*9/10 {
		t.Errorf("%d of %d pairs mirror each other", mirrored, n/2)
	}
	for k := range mean {
		var sum, squares float64
		for _, x := range xs {
			sum += x[k]
			squares += (x[k] - mean[k]) * (x[k] - mean[k])
		}
		if got := sum / n; !near(got, mean[k], 4*sd[k]/math.Sqrt(n)) {
			t.Errorf("mean of component %d is %v, want %v", k, got, mean[k])
		}
		// Four standard errors of an sd from n/2 independent pairs.
		if got := math.Sqrt(squares / n); !near(got, sd[k], 4*sd[k]/math.Sqrt(n)) {
			t.Errorf("sd of component %d is %v, want %v", k, got, sd[k])
		}
	}
}

func TestPlantingBearsFromTheYearAfterUntilItIsRemoved(t *testing.T) {
	t.Parallel()
	removed := weather.DateOf(2020, time.October, 21)
	p := forecast.Planting{PlantedOn: weather.DateOf(2018, time.April, 20), RemovedOn: &removed}
	for _, tt := range []struct {
		name string
		d    weather.Date
		want bool
	}{
		{"in the year it was planted", weather.DateOf(2018, time.June, 20), false},
		{"in the year after", weather.DateOf(2019, time.June, 20), true},
		{"the day before it is removed", removed - 1, true},
		{"the day it is removed", removed, false},
	} {
		if got := p.Bears(tt.d.Year(), tt.d); got != tt.want {
			t.Errorf("%s: bears is %v", tt.name, got)
		}
	}
}
