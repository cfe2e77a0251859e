package announce

import (
	"ripetide/forecast"
	"ripetide/weather"
)

// Certainty is how sure a farm may be of its opening day, in five steps. Each
// is named after what may be told.
type Certainty string

// The steps, from the least sure on.
const (
	Guess  Certainty = "guess"  // Nothing but a guess: nothing has bloomed.
	Season Certainty = "season" // A part of the season.
	Week   Certainty = "week"   // A week or so to aim for.
	Day    Certainty = "day"    // A day to count on.
	Ripe   Certainty = "ripe"   // Enough is ripe in the rows.
)

// Steps are all of them in order.
var Steps = []Certainty{Guess, Season, Week, Day, Ripe}

// Step returns which of the five it is, from 1.
func (c Certainty) Step() int {
	for i, s := range Steps {
		if s == c {
			return i + 1
		}
	}
	return 0
}

// How far apart the early and the late end of the opening may lie, in days, for
// a step. Judgement, and no finding.
const (
	weekApart = 7
	dayApart  = 3
)

// ripeEnough is the probability of having enough today from which fruit counts
// as ripe in the rows, once some was seen.
const ripeEnough = 0.9

// CertaintyOf returns how sure a farm may be of its opening on the morning of a
// forecast. The field comes first: nothing is sure beyond [Guess] before
// something has bloomed, nor beyond [Week] before ripe fruit was seen, however
// narrow the range.
func CertaintyOf(f *forecast.Forecast) Certainty {
	if f.Advice == nil {
		return Guess
	}
	field := fieldStep(f)
	if field == Day && readyOn(f, f.AsOf) >= ripeEnough {
		return Ripe
	}
	r := f.Advice.Opening.Range
	spread := Season
	switch {
	case r == nil:
	case int(r.P90-r.P10) <= dayApart:
		spread = Day
	case int(r.P90-r.P10) <= weekApart:
		spread = Week
	}
	if spread.Step() < field.Step() {
		return spread
	}
	return field
}

// fieldStep returns how far what was seen lets anybody go.
func fieldStep(f *forecast.Forecast) Certainty {
	step := Guess
	for _, p := range f.Plantings {
		if p.Stages != nil && (p.Stages.FirstRipe.Seen != nil || p.Stages.Peak.Seen != nil || p.Stages.LastPick.Seen != nil) {
			return Day
		}
		if p.Bloom != nil && p.Bloom.From != forecast.BloomForecast {
			step = Week
		}
	}
	return step
}

// readyOn returns the probability of having enough to open on a day.
func readyOn(f *forecast.Forecast, day weather.Date) float64 {
	for _, d := range f.Days {
		if d.Date == day {
			return d.Ready
		}
	}
	return 0
}
