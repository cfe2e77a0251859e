package hindcast

import (
	"cmp"
	"maps"
	"slices"

	"ripetide/forecast"
)

// Reason says why something that was asked for is not there. Its value is a
// clause in plain words.
type Reason string

// Why an event and a morning make no case.
const (
	NotEntered  Reason = "the stage was never entered"
	NoBloom     Reason = "bloom was never entered"
	BeforeBloom Reason = "bloom was not yet entered that morning"
	NotAfter    Reason = "the stage was entered no later than that morning's bloom"
	NotForecast Reason = "the planting could not be forecast that morning"
	TooFewYears Reason = "there were too few past years of weather"
)

// Why a case has no forecast of a baseline.
const (
	NoPast     Reason = "the variety had no past season on record"
	NoBloomYet Reason = "bloom was not yet entered"
	NoWeather  Reason = "the weather record does not cover it"
	NotReached Reason = "the heat was not reached within the season"
)

// Why a season is not replayed.
const (
	NothingEarlier Reason = "no earlier season has sightings"
	TooFewEarlier  Reason = "too few earlier seasons have sightings"
	// Unfinished is the last season on record while less than half of its
	// plantings have a last pick entered: what is there then is what came early,
	// and scoring it would flatter forecasts that are early. Asking for it by
	// Options.To replays it all the same.
	Unfinished Reason = "it looks unfinished: less than half of its plantings have a last pick"
)

// Excluded counts what made no case.
type Excluded struct {
	Group  Group
	Stage  forecast.Stage
	Reason Reason
	Cases  int // Events times mornings.
	Events int // Different events among them: a stage of a planting in a season.
}

// event is a stage of a planting in a season.
type event struct {
	season   int
	planting string
	stage    forecast.Stage
}

// ledger gathers what made no case.
type ledger map[Excluded]*struct {
	cases  int
	events map[event]bool
}

// add enters n cases of an event.
func (l ledger) add(g Group, e event, why Reason, n int) {
	if n == 0 {
		return
	}
	k := Excluded{Group: g, Stage: e.stage, Reason: why}
	if l[k] == nil {
		l[k] = &struct {
			cases  int
			events map[event]bool
		}{events: map[event]bool{}}
	}
	l[k].cases += n
	l[k].events[e] = true
}

// list returns the entries in order of group, stage and reason.
func (l ledger) list() []Excluded {
	out := make([]Excluded, 0, len(l))
	for k := range maps.Keys(l) {
		k.Cases, k.Events = l[k].cases, len(l[k].events)
		out = append(out, k)
	}
	slices.SortFunc(out, func(a, b Excluded) int {
		return cmp.Or(cmp.Compare(a.Group, b.Group), cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.Reason, b.Reason))
	})
	return out
}
