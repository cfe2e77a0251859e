package forecast

import (
	"slices"
	"time"

	"ripetide/weather"
)

// Advice says when to open, which week will be the heaviest and when to close,
// by the farm's own rule. What the farm then decides is recorded apart from it.
type Advice struct {
	Confidence float64    `json:"confidence"`  // Probability that the days are held to.
	NoticeDays int        `json:"notice_days"` // Of the slowest way of telling people.
	Ready      ReadyNote  `json:"ready"`
	Opening    DayAdvice  `json:"opening"`
	PeakWeek   WeekAdvice `json:"peak_week"`
	Closing    DayAdvice  `json:"closing"`
	// MayMove says how the advice is likely to move until the opening day has to
	// be committed to; null when that is now, when there is no day, or when it
	// was not worked out.
	MayMove *MayMove `json:"may_move"`
}

// ReadyNote says what "ready" means. Weights are kg of ripe fruit standing.
type ReadyNote struct {
	By             ReadyBy            `json:"by"`
	Kg             *float64           `json:"kg"`
	KgOn           map[string]float64 `json:"kg_on"` // By weekday, where it is another.
	Share          *float64           `json:"share"` // Of the first varieties' crop.
	FirstVarieties int                `json:"first_varieties"`
}

// ReadyBy says which of the farm's settings says what is ready.
type ReadyBy string

// What says that a farm is ready.
const (
	ReadyByKg    ReadyBy = "ready_kg"
	ReadyByShare ReadyBy = "ready_share"
	ReadyByThin  ReadyBy = "thin_kg_per_day" // Nothing is set but the least that serves the crowd.
	ReadyByAny   ReadyBy = "anything ripe"   // Nothing is set.
)

// DayAdvice is the day that is advised.
type DayAdvice struct {
	Day         *weather.Date `json:"day"` // Null when no open day reaches the confidence.
	Probability *float64      `json:"probability"`
	CommitBy    *weather.Date `json:"commit_by"` // The last morning on which every way of telling people still reaches them in time.
	// Next is the next day on which the farm opens, and PastIfNext the mean share
	// of the crop that spoils by then over what has spoiled by Day. Of a closing
	// day they are null.
	Next       *weather.Date `json:"next"`
	PastIfNext *float64      `json:"past_if_next"`
	// Range holds quantiles over members of the first open day that is ready, of
	// a closing day of the last with enough; null when more than a tenth of the
	// members have none.
	Range *SpanEnd `json:"range"`
}

// WeekAdvice is the week, from Monday to Sunday, in which most is likely to
// ripen.
type WeekAdvice struct {
	From        *weather.Date `json:"from"`
	To          *weather.Date `json:"to"`
	Probability *float64      `json:"probability"` // Of being the heaviest of the season.
	Sure        bool          `json:"sure"`        // Whether that reaches the confidence.
	CommitBy    *weather.Date `json:"commit_by"`
	Weeks       []WeekSupply  `json:"weeks"` // Of the season, in order.
}

// WeekSupply is one week, from Monday to Sunday.
type WeekSupply struct {
	From        weather.Date `json:"from"`
	RipeningKg  KgRange      `json:"ripening_kg"`
	Probability float64      `json:"probability"` // Of being the heaviest.
}

// MayMove says how advice would move between two mornings. It is found by
// forecasting again, as seen from the later morning, with possible seasons of
// the forecast in place of what will have come by then.
type MayMove struct {
	By      weather.Date `json:"by"`      // The later morning: of the opening's commit_by.
	Seasons int          `json:"seasons"` // How many were tried.
	Opening Move         `json:"opening"`
	Peak    Move         `json:"peak_week"`
	Closing Move         `json:"closing"`
}

// Move says how one day of the advice moved in the seasons that were tried, of
// those in which the later morning has a day to advise.
type Move struct {
	Stays   float64    `json:"stays"` // Share in which it is the same.
	Earlier float64    `json:"earlier"`
	Later   float64    `json:"later"`
	None    float64    `json:"none"` // Share in which the later morning has none.
	Days    *DayCounts `json:"days"` // By how many it moved, later is positive; null when none has a day.
}

// advise reads the advice off the days and members.
func (t *tally) advise(f Farm, first, asOf weather.Date, days []DaySupply) *Advice {
	o := f.Opening
	a := &Advice{Confidence: o.confidence(), NoticeDays: o.Notice(), Ready: newReadyNote(f)}
	a.Opening = t.adviseOpening(a, first, asOf, days)
	a.Opening.Range = t.span(first, t.firstReady)
	a.Closing = t.adviseClosing(a, first, asOf, days)
	a.PeakWeek = t.adviseWeek(a, first)
	return a
}

func newReadyNote(f Farm) ReadyNote {
	o := f.Opening
	n := ReadyNote{By: ReadyByAny, KgOn: map[string]float64{}, FirstVarieties: max(1, o.FirstVarieties)}
	switch {
	case o.ReadyKg > 0:
		n.By, n.Kg = ReadyByKg, &o.ReadyKg
	case o.ReadyShare > 0:
		n.By, n.Share = ReadyByShare, &o.ReadyShare
	case f.ThinKgPerDay > 0:
		n.By, n.Kg = ReadyByThin, &f.ThinKgPerDay
	}
	for w, kg := range o.ReadyKgOn {
		if kg > 0 {
			n.KgOn[WeekdayName(time.Weekday(w))] = kg
		}
	}
	return n
}

// adviseOpening returns the first day from asOf on that is ready with the farm's
// confidence, of those on whose weekdays it opens: a day that it has decided on
// does not become advised for that.
func (t *tally) adviseOpening(a *Advice, first, asOf weather.Date, days []DaySupply) (d DayAdvice) {
	open := func(s DaySupply) bool { return t.allowed[s.Date-first] && s.Date >= asOf }
	i := slices.IndexFunc(days, func(s DaySupply) bool { return open(s) && s.Ready >= a.Confidence })
	if i < 0 {
		return d
	}
	d = a.on(days[i].Date, days[i].Ready)
	if j := slices.IndexFunc(days[i+1:], open); j >= 0 {
		next := days[i+1+j]
		lost := round(next.Past-days[i].Past, 3)
		d.Next, d.PastIfNext = &next.Date, &lost
	}
	return d
}

// adviseClosing returns the last open day from asOf on with enough for its
// crowd with the farm's confidence.
func (t *tally) adviseClosing(a *Advice, first, asOf weather.Date, days []DaySupply) (d DayAdvice) {
	for _, s := range slices.Backward(days) {
		if t.allowed[s.Date-first] && s.Date >= asOf && s.Enough >= a.Confidence {
			d = a.on(s.Date, s.Enough)
			break
		}
	}
	return d
}

func (a *Advice) on(day weather.Date, p float64) DayAdvice {
	commit := day - weather.Date(a.NoticeDays)
	return DayAdvice{Day: &day, Probability: &p, CommitBy: &commit}
}

// span returns quantiles of days by member; t.days is none.
func (t *tally) span(first weather.Date, days []int16) *SpanEnd {
	none := 0
	for _, d := range days {
		none += btoi(int(d) >= t.days)
	}
	if 10*none > len(days) {
		return nil
	}
	e := spanEnd(first, dayQuantiles(days))
	return &e
}

// adviseWeek returns the week that is the heaviest in most members.
func (t *tally) adviseWeek(a *Advice, first weather.Date) WeekAdvice {
	counts := make([]int, len(t.weekKg))
	for _, k := range t.bestWeek {
		counts[k]++
	}
	w := WeekAdvice{Weeks: []WeekSupply{}}
	monday := first - weather.Date((int(first.Weekday())+6)%7)
	best := -1
	for k, row := range t.weekKg {
		if row == nil {
			continue
		}
		if counts[k] > 0 && (best < 0 || counts[k] > counts[best]) {
			best = k
		}
		q := kgQuantiles(row)
		if q[2] < 0.05 {
			continue
		}
		w.Weeks = append(w.Weeks, WeekSupply{
			From:        monday + weather.Date(7*k),
			RipeningKg:  KgRange{round(q[0], 1), round(q[1], 1), round(q[2], 1)},
			Probability: round(float64(counts[k])/float64(t.members), 3),
		})
	}
	if best < 0 {
		return w
	}
	from := monday + weather.Date(7*best)
	to, commit := from+6, from-weather.Date(a.NoticeDays)
	p := round(float64(counts[best])/float64(t.members), 3)
	w.From, w.To, w.Probability, w.CommitBy = &from, &to, &p, &commit
	w.Sure = p >= a.Confidence
	return w
}

// mayMove says how the advice moves until its opening has to be committed to.
func (c *computing) mayMove() {
	a := c.f.Advice
	if a == nil || a.Opening.CommitBy == nil || *a.Opening.CommitBy <= c.asOf {
		return
	}
	by := *a.Opening.CommitBy
	seen := make([]*Advice, len(c.years))
	inParts(len(seen), func(_, lo, hi int) {
		for trace := lo; trace < hi; trace++ {
			// Another of each trace's members for every trace.
			seen[trace] = c.seenFrom(by, trace, (trace*7)%c.members.perTrace)
		}
	})
	m := &MayMove{By: by}
	var opening, peak, closing moves
	for _, s := range seen {
		if s == nil {
			continue
		}
		m.Seasons++
		opening.add(a.Opening.Day, s.Opening.Day)
		peak.add(a.PeakWeek.From, s.PeakWeek.From)
		closing.add(a.Closing.Day, s.Closing.Day)
	}
	if m.Seasons == 0 {
		return
	}
	m.Opening, m.Peak, m.Closing = opening.move(), peak.move(), closing.move()
	a.MayMove = m
}

// revisited is about how many members a forecast as seen from a later morning
// has: enough for a probability to a few hundredths.
const revisited = 250

// seenFrom returns the advice of the morning by, in the season of one member:
// with its weather until the day before, with what its fields will have shown,
// and with nobody having overlooked any of it. Nil: there is none.
func (c *computing) seenFrom(by weather.Date, trace, k int) *Advice {
	in := c.in
	in.Records = slices.Clone(in.Records)
	for i, r := range in.Records {
		if c.ahead[r.Station.ID] == nil {
			continue
		}
		days, err := c.withDays(r.Days, r.Station.ID, trace, by)
		if err != nil {
			return nil
		}
		in.Records[i].Days, in.Records[i].Outlooks = days, nil
	}
	in.Sightings = slices.Clone(in.Sightings)
	member := trace*c.members.perTrace + k
	for _, t := range c.members.ripening {
		tg := c.targets[t]
		id := c.in.Plantings[tg.planting].ID
		if tg.spring != nil {
			if d := tg.bloomIn(member, c.members.first); d <= by {
				in.Sightings = append(in.Sightings, Sighting{Planting: id, Stage: Bloom10, Date: d, Seen: true})
			} else {
				in.Sightings = append(in.Sightings, Sighting{Planting: id, Stage: Bloom10, Date: by})
			}
		}
		for s := range ripeStages {
			if tg.seen[s] != nil {
				continue
			}
			d := c.members.first + weather.Date(c.members.when.of(t, s)[member])
			in.Sightings = append(in.Sightings, Sighting{Planting: id, Stage: FirstRipe + Stage(s), Date: min(d, by), Seen: d <= by})
		}
	}
	later := newComputing(in, by)
	later.about = revisited
	if err := later.forecast(); err != nil {
		return nil
	}
	return later.f.Advice
}

// withDays returns s with the days of a path after its end, up to the day
// before by.
func (c *computing) withDays(s weather.Series, station string, trace int, by weather.Date) (weather.Series, error) {
	days := slices.Clone(s.Days())
	from := c.asOf
	if _, last, ok := s.Span(); ok {
		from = last + 1
	}
	for _, d := range c.ahead[station].paths[trace] {
		if from <= d.Date && d.Date < by {
			d.Min = min(max(d.Min, weather.Coldest), weather.Warmest)
			d.Max = min(max(d.Max, d.Min), weather.Warmest)
			days = append(days, d)
		}
	}
	return weather.NewSeries(days)
}

// moves gathers how a day moved.
type moves struct {
	n, none int
	days    []int16
}

func (m *moves) add(was, is *weather.Date) {
	m.n++
	if was == nil || is == nil {
		m.none++
		return
	}
	m.days = append(m.days, int16(*is-*was))
}

func (m *moves) move() Move {
	share := func(is func(int16) bool) float64 {
		n := 0
		for _, d := range m.days {
			n += btoi(is(d))
		}
		return round(float64(n)/float64(m.n), 3)
	}
	out := Move{
		Stays:   share(func(d int16) bool { return d == 0 }),
		Earlier: share(func(d int16) bool { return d < 0 }),
		Later:   share(func(d int16) bool { return d > 0 }),
		None:    round(float64(m.none)/float64(m.n), 3),
	}
	if len(m.days) > 0 {
		out.Days = signedQuantiles(m.days)
	}
	return out
}

// signedQuantiles returns quantiles of day counts that may be negative.
func signedQuantiles(days []int16) *DayCounts {
	sorted := slices.Sorted(slices.Values(days))
	var q [3]int
	for i, p := range published {
		q[i] = int(sorted[rank(p, len(sorted))-1])
	}
	return &DayCounts{q[0], q[1], q[2]}
}
