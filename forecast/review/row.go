package review

import (
	"ripetide/forecast"
	"ripetide/weather"
)

// Row is what was said of a stage of a planting at a lead, beside what came.
type Row struct {
	forecast.Actual
	Lead Lead
	Said *Said // Nil: nothing was said; Why says why.
	Why  Why
}

// Said is what a frozen forecast said of a stage.
type Said struct {
	Forecast      string // Its identifier.
	AsOf          weather.Date
	P10, P50, P90 weather.Date
}

// Why says why nothing was said.
type Why string

// The reasons.
const (
	NotIssued   Why = "no forecast was made on its morning"
	NoDates     Why = "the forecast could give no date"
	AlreadySeen Why = "the stage had been seen by then" // Entered with an earlier date, and mended later.
	NoBloom     Why = "bloom was not entered"
	NotEntered  Why = "bloom was not entered within three days"
	BeforeBloom Why = "it lies before bloom"
)

// Error returns forecast minus actual in days, positive is late. It is not ok
// when nothing was said, or when what came is only known to a bound.
func (r Row) Error() (days int, ok bool) {
	if r.Said == nil || r.Bound != forecast.BoundNone {
		return 0, false
	}
	return int(r.Said.P50 - r.Date), true
}

// Inside reports whether the stage came within the range from p10 to p90, both
// included. It is not ok when [Row.Error] is not.
func (r Row) Inside() (inside, ok bool) {
	if _, ok := r.Error(); !ok {
		return false, false
	}
	return r.Said.P10 <= r.Date && r.Date <= r.Said.P90, true
}

// Rows returns a row for each lead of a stage as it came, given the day its
// planting bloomed, nil if nobody entered it, and what frozen forecasts said of
// the planting, in any order. Hindcasts among them are passed over, late
// forecasts too, which are hindcasts; of several of one morning the one made
// last counts.
//
// A lead in days takes the forecast of that morning or, if there was none, the
// latest of the three mornings before it. At bloom it is the first forecast that
// knew of bloom, three days after it at most.
func Rows(came forecast.Actual, bloom *weather.Date, issued []forecast.Issued) []Row {
	rows := make([]Row, 0, len(leads))
	for _, l := range Leads() {
		r := Row{Actual: came, Lead: l}
		z, why := l.pick(came.Date, bloom, issued)
		if r.Why = why; z != nil {
			r.Said, r.Why = said(came.Stage, z)
		}
		rows = append(rows, r)
	}
	return rows
}

// pick returns the forecast that stands for l, or why there is none.
func (l Lead) pick(came weather.Date, bloom *weather.Date, issued []forecast.Issued) (*forecast.Issued, Why) {
	best, worst, ok := l.between(bloom, came)
	switch {
	case !ok && bloom == nil:
		return nil, NoBloom
	case !ok:
		return nil, BeforeBloom
	}
	if z := nearest(issued, best, worst, l != AtBloom); z != nil {
		return z, ""
	}
	if l == AtBloom && nearest(issued, best, worst, true) != nil {
		return nil, NotEntered
	}
	return nil, NotIssued
}

// nearest returns the forecast whose morning is nearest to best of those up to
// worst, which may lie on either side; nil if there is none. Unless all count, those
// do that knew of bloom.
func nearest(issued []forecast.Issued, best, worst weather.Date, all bool) *forecast.Issued {
	lo, hi := min(best, worst), max(best, worst)
	off := func(d weather.Date) weather.Date { return max(best-d, d-best) }
	var n *forecast.Issued
	for i := range issued {
		z := &issued[i]
		if z.Hindcast || z.AsOf < lo || z.AsOf > hi || !all && !z.Bloomed {
			continue
		}
		if n == nil || off(z.AsOf) < off(n.AsOf) || z.AsOf == n.AsOf && z.MadeAt.After(n.MadeAt) {
			n = z
		}
	}
	return n
}

// said returns what z said of a stage.
func said(s forecast.Stage, z *forecast.Issued) (*Said, Why) {
	if z.Stages == nil {
		return nil, NoDates
	}
	r := z.Stages.FirstRipe
	switch s {
	case forecast.Peak:
		r = z.Stages.Peak
	case forecast.LastPick:
		r = z.Stages.LastPick
	}
	if r.Seen != nil {
		return nil, AlreadySeen
	}
	return &Said{z.ID, z.AsOf, r.P10, r.P50, r.P90}, ""
}
