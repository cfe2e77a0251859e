package review

import (
	"cmp"
	"errors"
	"slices"

	"ripetide/forecast"
	"ripetide/weather"
)

// Opening is when the farm could have opened, beside what was advised and what
// it told people.
type Opening struct {
	// Possible is the first day, of those on whose weekdays the farm opens, on
	// which enough was ripe by all that is known now; nil when Why says why not.
	Possible *weather.Date
	Why      string
	// Announced holds every version of the decision, the first first; the last one
	// counts.
	Announced []forecast.Decision
	// Advised is what forecasts advised by lead before the day that was announced
	// or, if none was, the possible one.
	Advised []Advised
	// Past is the share of the crop that had ripened and spoiled by the announced
	// day, by all that is known now, less what had by the possible day; nil when
	// either is not known.
	Past *float64
}

// Advised is the opening day that a forecast advised.
type Advised struct {
	Lead     Lead
	Forecast string        // Identifier; empty: no forecast was made on its morning.
	Day      *weather.Date // Nil: none could be advised.
}

// Day returns the day that was announced in the end.
func (o Opening) Day() (d weather.Date, ok bool) {
	if n := len(o.Announced); n > 0 && o.Announced[n-1].Day != nil {
		return *o.Announced[n-1].Day, true
	}
	return 0, false
}

// newOpening looks back at the opening. What was possible is read off a forecast
// made once the last fruit had been picked: of all that came it knows the dates,
// and what it does not know is as it would be now.
func newOpening(in forecast.Inputs, season int, came []forecast.Actual, issued []forecast.IssuedAll) Opening {
	var o Opening
	for _, d := range in.Decisions {
		if d.Season == season && d.Kind == forecast.DecideOpening {
			o.Announced = append(o.Announced, d)
		}
	}
	slices.SortFunc(o.Announced, func(a, b forecast.Decision) int { return cmp.Compare(a.Version, b.Version) })
	days := o.possible(in, season, came)
	day, announced := o.Day()
	at := func(d weather.Date) *forecast.DaySupply {
		if i := slices.IndexFunc(days, func(s forecast.DaySupply) bool { return s.Date == d }); i >= 0 {
			return &days[i]
		}
		return nil
	}
	if announced && o.Possible != nil {
		if a, b := at(day), at(*o.Possible); a != nil && b != nil {
			o.Past = new(a.Past - b.Past)
		}
	}
	if !announced {
		if o.Possible == nil {
			return o
		}
		day = *o.Possible
	}
	for _, l := range GapLeads() {
		a := Advised{Lead: l}
		before, _ := l.Days()
		if z := nearestAll(issued, day-weather.Date(before)); z != nil {
			a.Forecast, a.Day = z.ID, z.Opening
		}
		o.Advised = append(o.Advised, a)
	}
	return o
}

// possible sets what was possible and returns the days of the season.
func (o *Opening) possible(in forecast.Inputs, season int, came []forecast.Actual) []forecast.DaySupply {
	var last *weather.Date
	for _, a := range came {
		if a.Stage == forecast.LastPick && (last == nil || a.Date > *last) {
			last = &a.Date
		}
	}
	if last == nil {
		o.Why = "no last pick is on record"
		return nil
	}
	_, end := forecast.SeasonBounds(season, in.Farm.Southern())
	f, err := forecast.Compute(in, min(*last+1, end))
	switch {
	case errors.Is(err, forecast.ErrTooFewYears):
		o.Why = "the season cannot be reckoned again: there are too few past years of weather"
		return nil
	case err != nil:
		o.Why = "the season cannot be reckoned again: " + err.Error()
		return nil
	case f.Advice == nil:
		o.Why = "nothing of it can be reckoned again"
		return nil
	}
	for _, d := range f.Days {
		if d.Ready >= f.Advice.Confidence && in.Farm.Opening.OpensOn(d.Date.Weekday()) {
			o.Possible = &d.Date
			return f.Days
		}
	}
	o.Why = "by the farm's own rule there never was enough at once"
	return f.Days
}
