package review

import (
	"math"

	"ripetide/forecast"
	"ripetide/weather"
)

// Window is how long a planting could be picked, beside how long it was said it
// could be, at a lead before its first ripe fruit.
type Window struct {
	Planting string
	Season   int
	Lead     Lead
	Days     int // First ripe to last pick, both included.
	Said     *forecast.DayCounts
	Forecast string // Identifier; empty when nothing was said.
	Why      Why    // Why nothing was said.
}

// Error returns the median of the days said minus the days that came; positive
// is too long. It is not ok when nothing was said.
func (w Window) Error() (days int, ok bool) {
	if w.Said == nil {
		return 0, false
	}
	return w.Said.P50 - w.Days, true
}

// Inside reports whether the days lie within the range said, both ends included.
func (w Window) Inside() bool { return w.Said != nil && w.Said.P10 <= w.Days && w.Days <= w.Said.P90 }

// windows returns a row for each lead of a planting whose first ripe fruit and
// last pick are both known to the day; none else. came are its stages as they
// came.
func windows(came []forecast.Actual, bloom *weather.Date, issued []forecast.Issued) []Window {
	var first, last *forecast.Actual
	for i, a := range came {
		switch {
		case a.Bound != forecast.BoundNone:
		case a.Stage == forecast.FirstRipe:
			first = &came[i]
		case a.Stage == forecast.LastPick:
			last = &came[i]
		}
	}
	if first == nil || last == nil {
		return nil
	}
	var out []Window
	for _, l := range Leads() {
		w := Window{Planting: first.Planting, Season: first.Season, Lead: l, Days: int(last.Date-first.Date) + 1}
		z, why := l.pick(first.Date, bloom, issued)
		switch {
		case z == nil:
			w.Why = why
		case z.Window == nil:
			w.Why = NoDates
		default:
			w.Said, w.Forecast = z.Window, z.ID
		}
		out = append(out, w)
	}
	return out
}

// WindowTotal is how good the lengths said at a lead were.
type WindowTotal struct {
	Lead    Lead
	N       int // Lengths that can be held against what came.
	Seasons int // Different seasons among them.
	LeftOut int // Nothing was said.
	Bias    float64
	MAE     float64 // Days; both 0 when N is 0.
	Inside  int
}

// WindowTotals adds windows up by lead, every lead.
func WindowTotals(ws []Window) []WindowTotal {
	out := make([]WindowTotal, 0, len(leads))
	for _, l := range Leads() {
		t := WindowTotal{Lead: l}
		seasons := map[int]bool{}
		for _, w := range ws {
			if w.Lead != l {
				continue
			}
			days, ok := w.Error()
			if !ok {
				t.LeftOut++
				continue
			}
			t.N++
			t.Bias += float64(days)
			t.MAE += math.Abs(float64(days))
			if w.Inside() {
				t.Inside++
			}
			seasons[w.Season] = true
		}
		if t.Seasons = len(seasons); t.N > 0 {
			t.Bias /= float64(t.N)
			t.MAE /= float64(t.N)
		}
		out = append(out, t)
	}
	return out
}
