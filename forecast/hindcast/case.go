package hindcast

import (
	"fmt"

	"ripetide/forecast"
	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// Case is a forecast of one stage of one planting on one morning, beside the
// baselines, and what came of it. Its key is season/planting/stage/morning.
type Case struct {
	scoring.Case
	Planting string // forecast.Planting.ID.
	Variety  string // forecast.Variety.ID.
	Stage    forecast.Stage
	AsOf     weather.Date
	groups   groupSet
	versus   [baselines]scoring.Distribution // Zero: there is none.
	why      [baselines]Reason
}

// In reports whether the case belongs to g. It can belong to several groups.
func (c Case) In(g Group) bool { return c.groups.has(g) }

// Versus returns what a baseline said of the same event on the same morning;
// without a forecast, why there is none. Its median is the date that it would
// name if it named only one.
func (c Case) Versus(b Baseline) (d scoring.Distribution, why Reason) { return c.versus[b], c.why[b] }

// against returns the case with the baseline's forecast in place of ours.
func (c Case) against(b Baseline) scoring.Case {
	out := c.Case
	out.Forecast = c.versus[b]
	return out
}

// want is a stage of a planting that a morning is asked for.
type want struct {
	planting int // Index into the plantings.
	stage    int // From first ripe.
	actual   weather.Date
	groups   groupSet
}

// event returns what w is about.
func (w want) event(y *year) event {
	return event{y.season, y.plantings[w.planting].ID, stageOf(w.stage)}
}

// newCase makes a case of a forecast.
func (y *year) newCase(w want, asOf weather.Date, e *entered, counts forecast.DateCounts) (Case, error) {
	f, err := scoring.FromCounts(counts.First, counts.Counts)
	if err != nil {
		return Case{}, err
	}
	p := y.plantings[w.planting]
	c := Case{
		Case: scoring.Case{
			Season: y.season, Key: fmt.Sprintf("%d/%s/%s/%s", y.season, p.ID, stageOf(w.stage), asOf),
			Lead: int(w.actual - asOf), Forecast: f, Actual: w.actual,
		},
		Planting: p.ID, Variety: p.Variety, Stage: stageOf(w.stage), AsOf: asOf, groups: w.groups,
	}
	bloom, bloomed := e.bloom(asOf, y.toFull)
	for _, b := range Baselines() {
		n, why := y.baseline(b, w.planting, w.stage, asOf, bloom, bloomed)
		if why != "" {
			c.why[b] = why
			continue
		}
		d, err := scoring.FromNormal(n.mean, n.sd)
		if err != nil {
			return Case{}, fmt.Errorf("%s: %w", b, err)
		}
		c.versus[b] = rest(d, asOf)
	}
	return c, nil
}

// Within returns, for each case of a group, the event that its stage comes
// within so many days of the morning. [scoring.Decompose] tells whether the
// chances given for it came true as often as they said.
func (r Result) Within(g Group, days int) (events []scoring.Event) {
	for _, c := range r.Cases {
		if c.In(g) {
			events = append(events, c.By(c.AsOf+weather.Date(days)))
		}
	}
	return events
}
