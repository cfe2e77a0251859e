package forecast

import (
	"time"

	"ripetide/weather"
)

// Decision is what a farm has decided and told people, apart from what was
// advised. A changed mind is a new version of it.
type Decision struct {
	Season    int
	Kind      DecisionKind
	Day       *weather.Date // Of a peak week its first; nil: taken back.
	Forecast  string        // The frozen forecast it was made on.
	Note      string        // At most 200 characters.
	Version   int           // From 1.
	DecidedAt time.Time
	DecidedBy string // In words: the name of a key.
}

// DecisionKind says what was decided.
type DecisionKind string

// What is decided.
const (
	DecideOpening  DecisionKind = "opening"
	DecidePeakWeek DecisionKind = "peak_week"
	DecideClosing  DecisionKind = "closing"
)

// DecisionKinds are all of them in the order of a season.
var DecisionKinds = []DecisionKind{DecideOpening, DecidePeakWeek, DecideClosing}

// Validate returns every fault of d on a farm, each a [*FieldError].
func (d Decision) Validate(f Farm) []error {
	var v faults
	switch d.Kind {
	case DecideOpening, DecidePeakWeek, DecideClosing:
	default:
		v.add("kind", "must be one of opening, peak_week, closing")
	}
	if d.Day != nil && SeasonOf(*d.Day, f.Southern()) != d.Season {
		first, last := SeasonBounds(d.Season, f.Southern())
		v.add("day", "must lie in season %d, from %s to %s", d.Season, first, last)
	}
	v.note("note", d.Note)
	return v.errs
}

// Against returns what is wrong with d beside all that was decided of its season:
// a farm does not close before it opens.
func (d Decision) Against(ds []Decision) []error {
	var v faults
	if d.Day == nil {
		return nil
	}
	opening, opens := Decided(ds, d.Season, DecideOpening)
	closing, closes := Decided(ds, d.Season, DecideClosing)
	switch {
	case d.Kind == DecideOpening && closes && *d.Day > closing:
		v.add("day", "must not be after %s, the last day that was decided", closing)
	case d.Kind == DecideClosing && opens && *d.Day < opening:
		v.add("day", "must not be before %s, the opening day that was decided", opening)
	}
	return v.errs
}

// Decided returns the day that was decided of a season; the newest version
// counts.
func Decided(ds []Decision, season int, kind DecisionKind) (day weather.Date, ok bool) {
	newest := 0
	for _, d := range ds {
		if d.Season != season || d.Kind != kind || d.Version <= newest {
			continue
		}
		if newest, ok = d.Version, d.Day != nil; ok {
			day = *d.Day
		}
	}
	return day, ok
}
