package announce

import (
	"slices"

	"ripetide/forecast"
	"ripetide/weather"
)

// Near is how many days ahead a single day may be told.
const Near = 7

// State is what the sentences are made from.
type State struct {
	Farm      forecast.Farm
	Forecast  *forecast.Forecast
	Decisions []forecast.Decision // Of the season, all versions.
	Varieties map[string]string   // Names by identifier.
	Today     weather.Date
	// Shut is, by planting, the last date on which a spray keeps its block closed:
	// what stands there is not offered.
	Shut map[string]weather.Date
}

// decided returns the day that the farm has decided on.
func (s State) decided(kind forecast.DecisionKind) (weather.Date, bool) {
	return forecast.Decided(s.Decisions, s.Forecast.Season, kind)
}

// Certainty returns how sure the farm may be of its opening.
func (s State) Certainty() Certainty { return CertaintyOf(s.Forecast) }

// IsOpen reports whether the farm, by its decisions, is open today.
func (s State) IsOpen() bool {
	from, ok := s.decided(forecast.DecideOpening)
	return ok && from <= s.Today && !s.IsOver()
}

// forgotten is how many days after the last fruit, at its late end, a farm that
// has told no last day counts as closed. Nobody shall read in autumn that it is
// open.
const forgotten = 14

// IsOver reports whether the farm has closed for the season: by its decision, or,
// without one, because nothing has been left to pick for long.
func (s State) IsOver() bool {
	if to, ok := s.decided(forecast.DecideClosing); ok {
		return to < s.Today
	}
	span := s.Forecast.SeasonSpan
	return span != nil && span.Last.P90+forgotten < s.Today
}

// Opening is the public sentence on when the farm opens.
func (l *Language) Opening(s State) string { return l.opening(s, false) }

// When is the same in a few words, for a sign.
func (l *Language) When(s State) string { return l.opening(s, true) }

// opening says when the farm opens. A single day is told only when it has been
// decided and lies no more than Near days ahead; before that a decided day is
// told by its week or part of a month, an advised one by its range.
func (l *Language) opening(s State, short bool) string {
	pick := func(long, brief phrase, pairs ...string) string {
		if short {
			return l.say(brief, pairs...)
		}
		return l.say(long, pairs...)
	}
	if s.IsOver() {
		return pick(over, overShort)
	}
	if s.IsOpen() {
		if to, ok := s.decided(forecast.DecideClosing); ok && to-s.Today <= Near {
			return pick(openUntil, openShort, "a", l.Date(to))
		}
		return pick(open, openShort)
	}
	if d, ok := s.decided(forecast.DecideOpening); ok {
		monday, sunday := weekOf(d)
		switch {
		case d-s.Today <= Near:
			return pick(day, dayShort, "a", l.Date(d))
		case d-s.Today <= 2*Near:
			return pick(week, betweenShort, "a", l.Date(monday), "b", l.Date(sunday))
		}
		return pick(partly, partlyShort, "part", l.parts(d, d))
	}
	var r *forecast.SpanEnd
	if s.Forecast.Advice != nil {
		r = s.Forecast.Advice.Opening.Range
	}
	certainty := s.Certainty()
	switch {
	case certainty == Ripe:
		return pick(soon, soonShort)
	case certainty == Guess || r == nil:
		return pick(unknown, unknownShort)
	case r.P90 < s.Today && fieldStep(s.Forecast) == Day: // It is too soon for nothing any more.
		return pick(soon, soonShort)
	case r.P90 < s.Today:
		return pick(unknown, unknownShort)
	case certainty == Season:
		return pick(partly, partlyShort, "part", l.parts(r.P10, r.P90))
	}
	from, to := max(r.P10, s.Today), r.P90
	if from >= to { // Undecided, one day would promise too much.
		from, to = max(to-1, s.Today), to+1
	}
	return pick(between, betweenShort, "a", l.Date(from), "b", l.Date(to))
}

// Peak is the public sentence on the heaviest week, or "" when it is past, not
// sure enough to be told, or the season has not come into sight.
func (l *Language) Peak(s State) string {
	if d, ok := s.decided(forecast.DecidePeakWeek); ok {
		if d+6 < s.Today {
			return ""
		}
		return l.say(peak, "a", l.Date(d), "b", l.Date(d+6))
	}
	a := s.Forecast.Advice
	if a == nil || a.PeakWeek.From == nil || !a.PeakWeek.Sure || *a.PeakWeek.To < s.Today || s.Certainty().Step() < Week.Step() {
		return ""
	}
	return l.say(peak, "a", l.Date(*a.PeakWeek.From), "b", l.Date(*a.PeakWeek.To))
}

// Ripe is the public sentence on what is ripe this week, or "" while the farm
// is not open.
func (l *Language) Ripe(s State) string {
	names := s.RipeThisWeek()
	if !s.IsOpen() || len(names) == 0 {
		return ""
	}
	return l.say(ripeNow, "list", l.list(names))
}

// Next is the public sentence on what comes next, or "" while the farm is not
// open.
func (l *Language) Next(s State) string {
	names := s.ComingNext()
	if !s.IsOpen() || len(names) == 0 {
		return ""
	}
	return l.say(next, "list", l.list(names))
}

// Caution is the public sentence that goes with every date.
func (l *Language) Caution() string { return l.say(caution) }

// thisWeek is how many days count as this week, from today on.
const thisWeek = 7

// RipeThisWeek returns the names of the varieties whose picking window, by its
// middle dates, touches the coming seven days, in order of ripening.
func (s State) RipeThisWeek() []string {
	return s.names(func(planting string, d forecast.StageDates) bool {
		return d.FirstRipe.P50 <= s.Today+thisWeek-1 && max(s.Today, s.opensAgain(planting)) <= min(d.LastPick.P50, s.Today+thisWeek-1)
	})
}

// ComingNext returns the names of the varieties that begin in the week after
// it.
func (s State) ComingNext() []string {
	now := s.RipeThisWeek()
	return slices.DeleteFunc(s.names(func(_ string, d forecast.StageDates) bool {
		return s.Today+thisWeek <= d.FirstRipe.P50 && d.FirstRipe.P50 < s.Today+2*thisWeek
	}), func(name string) bool { return slices.Contains(now, name) })
}

// opensAgain returns the first date on which no spray keeps a planting's block
// closed; 0 for one that is open.
func (s State) opensAgain(planting string) weather.Date {
	if d, ok := s.Shut[planting]; ok {
		return d + 1
	}
	return 0
}

func (s State) names(is func(planting string, d forecast.StageDates) bool) []string {
	var out []string
	for _, p := range s.Forecast.Plantings {
		if p.Stages == nil || !is(p.Planting, *p.Stages) {
			continue
		}
		name := s.Varieties[p.Variety]
		if name == "" {
			name = p.Variety
		}
		if !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}
