package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"ripetide/weather"
)

// Proposal is a constant that past seasons say would better be another. It is
// worked out anew whenever it is asked for; only what a person decides about it
// is kept.
type Proposal struct {
	// ID names the kind, what it is about and the value, so that another value is
	// another proposal: "yield.plum-hill.1230".
	ID      string
	Kind    ProposalKind
	Subject string        // Variety.ID or Planting.ID; empty for the method.
	Value   ProposalValue // The new one.
	From    string        // The value in use, in the farm's words.
	To      string        // The new value, likewise.
	Seasons int           // Past seasons that it rests on.
	// Now and Then are the errors on past seasons with the value in use and with
	// the new one, each season told by the others: in days the root of the mean
	// square, of a yield the mean distance in kg/m².
	Now, Then float64
	// Gain is Now - Then, and GainRange what holds 90 % when seasons are drawn anew.
	Gain      float64
	GainRange *DayRange
	Text      string // All of it in a sentence.
}

// Kept is a constant of which nothing is proposed.
type Kept struct {
	Kind    ProposalKind
	Subject string // As Proposal.Subject.
	Why     string // In a sentence.
}

// ProposalValue is the value of what a proposal is about. One of them is set; of
// a requirement that is dropped none is, so that records alone tell it.
type ProposalValue struct {
	Method      *Method      `json:"method,omitempty"`
	Requirement *Requirement `json:"requirement,omitempty"`
	KgPerM2     *float64     `json:"kg_per_m2,omitempty"`
}

// ProposalKind says what kind of constant a proposal is about.
type ProposalKind string

// The kinds.
const (
	ProposeMethod      ProposalKind = "method"      // How the farm sums degree-days.
	ProposeRequirement ProposalKind = "requirement" // What the farm states of a variety.
	ProposeYield       ProposalKind = "yield"       // Expected kg/m² of a planting.
)

const (
	// yieldSeasons is how many seasons with a whole record of pickings propose a
	// yield, at least. Where the expected yield was the true one, and seasons
	// differed by 15 to 30 %, another was proposed on 7 % of simulated plantings
	// with three seasons and on 3 % with four.
	yieldSeasons = 4
	yieldGain    = 0.05 // kg/m² by which the error must fall, at least.
)

// Proposals returns what a farm's past seasons propose, seen from the morning
// asOf, by kind and subject: another method, see [Profile]; that a requirement
// which the farm states be dropped in favour of its records; and another yield.
// Of those of which nothing is proposed, kept says why; of yields only where a
// season was picked to the end. A planting that is removed needs none. A ripening class is not
// proposed: its prior gives way to each season that is recorded.
//
// A requirement is proposed to be dropped when the variety's dates of six past
// seasons or more would have been missed by less without it, each season told by
// the others: by a tenth of a day at least and, drawing seasons anew, not by
// chance. A yield is proposed when four seasons or more were picked to the end,
// and the mean of the others would have told each better than the expected yield
// does, by 0.05 kg/m² at least and likewise. No proposal rests on one season.
func Proposals(in Inputs, asOf weather.Date) (out []Proposal, kept []Kept, err error) {
	p, err := Profile(in, asOf, ProfileOptions{})
	if err != nil {
		return nil, nil, err
	}
	if p.Proposed == nil {
		kept = append(kept, Kept{ProposeMethod, "", p.Finding})
	}
	if q := p.Proposed; q != nil {
		m := q.Method
		out = append(out, Proposal{
			ID:   fmt.Sprintf("method.%s.%g", strings.ReplaceAll(string(m.Kind), " ", "-"), m.Base),
			Kind: ProposeMethod, Value: ProposalValue{Method: &m}, From: in.Farm.Method(in.method()), To: in.Farm.Method(m), Seasons: len(p.Seasons),
			Now: p.InUse.RMSE, Then: q.RMSE, Gain: q.Gain, GainRange: q.GainRange, Text: p.Finding,
		})
	}
	for _, v := range slices.SortedFunc(slices.Values(in.Varieties), func(a, b Variety) int { return cmp.Compare(a.ID, b.ID) }) {
		if v.Requirement == nil {
			continue
		}
		x, why, err := proposeRequirement(in, v, asOf)
		if err != nil {
			return nil, nil, fmt.Errorf("requirement of %s: %w", v.ID, err)
		}
		if x != nil {
			out = append(out, *x)
		} else {
			kept = append(kept, Kept{ProposeRequirement, v.ID, why})
		}
	}
	for _, pl := range slices.SortedFunc(slices.Values(in.Plantings), func(a, b Planting) int { return cmp.Compare(a.ID, b.ID) }) {
		if pl.RemovedOn != nil && *pl.RemovedOn <= asOf {
			continue
		}
		x, why := proposeYield(in, pl, asOf)
		switch {
		case x != nil:
			out = append(out, *x)
		case why != "":
			kept = append(kept, Kept{ProposeYield, pl.ID, why})
		}
	}
	return out, kept, nil
}

// proposeRequirement proposes that what is stated of v be dropped; nil: why says
// why not.
func proposeRequirement(in Inputs, v Variety, asOf weather.Date) (x *Proposal, why string, err error) {
	of := func(p Planting) bool { return p.Variety == v.ID }
	without := in
	without.Varieties = slices.Clone(in.Varieties)
	for i := range without.Varieties {
		if without.Varieties[i].ID == v.ID {
			without.Varieties[i].Requirement = nil
		}
	}
	now, err := retriedErrors(in, asOf, of)
	if err != nil {
		return nil, "", err
	}
	then, err := retriedErrors(without, asOf, of)
	if err != nil {
		return nil, "", err
	}
	n := len(now) // As many as then: what is compared does not depend on what is stated.
	if n < proposalSeasons {
		return nil, fmt.Sprintf("%s on record with bloom and ripe fruit, and %d are needed.", count(n, "past season is", "past seasons are"), proposalSeasons), nil
	}
	draws := drawSeasons(n)
	q := ProfilePoint{BySeason: then}
	gain, r := q.gainOver(now, draws)
	if !convincing(gain, r) {
		return nil, fmt.Sprintf("Stated as it is, its dates of %d past seasons are missed by %.2f days, and by its own seasons alone by %.2f: not clearly less.",
			n, rmse(now, nil), rmse(then, nil)), nil
	}
	x = &Proposal{
		ID: fmt.Sprintf("requirement.%s.%g", v.ID, v.Requirement.FirstRipe), Kind: ProposeRequirement, Subject: v.ID, Seasons: len(now),
		From: in.Farm.Heat(v.Requirement.FirstRipe) + " to first ripe, as stated", To: "what its own seasons tell",
		Now: rmse(now, nil), Then: rmse(then, nil), Gain: gain, GainRange: r,
	}
	x.Text = fmt.Sprintf("Proposed: go by the seasons of %s alone, and drop what is stated of it. On %s its dates would have been missed by %.2f days instead of %.2f; seasons drawn anew give a gain of %s, 9 times in 10.",
		v.Name, count(x.Seasons, "past season"), x.Then, x.Now, r.words())
	return x, "", nil
}

// retriedErrors returns the errors with which the past seasons of the plantings
// in question are dated, each by the others; seasons without any are left out.
func retriedErrors(in Inputs, asOf weather.Date, of func(Planting) bool) ([]SeasonError, error) {
	var out LeftOut
	r := newRetrial(in, asOf, &out, true)
	es, err := r.bySeason(in.method(), of)
	return slices.DeleteFunc(es, func(e SeasonError) bool { return e.Cases == 0 }), err
}

// proposeYield proposes another yield of p; nil: why says why not, unless no
// season was picked to the end.
func proposeYield(in Inputs, p Planting, asOf weather.Date) (x *Proposal, why string) {
	ys := yields(in, p, asOf)
	n := len(ys)
	if n == 0 {
		return nil, ""
	}
	if n < yieldSeasons {
		return nil, fmt.Sprintf("%s to the end, and %d are needed.", count(n, "past season was picked", "past seasons were picked"), yieldSeasons)
	}
	sum := 0.0
	for _, y := range ys {
		sum += y
	}
	now, then := make([]float64, n), make([]float64, n)
	for i, y := range ys {
		now[i] = math.Abs(p.KgPerM2 - y)
		then[i] = math.Abs((sum-y)/float64(n-1) - y)
	}
	mean := func(xs []float64, times []int) float64 {
		sum := 0.0
		for i, x := range xs {
			if times == nil {
				sum += x
			} else {
				sum += float64(times[i]) * x
			}
		}
		return sum / float64(n)
	}
	gain := func(times []int) float64 { return mean(now, times) - mean(then, times) }
	r := rangeOf(drawSeasons(n), gain)
	if !(gain(nil) >= yieldGain && r.Low > 0) {
		return nil, fmt.Sprintf("Pickings of %d seasons miss what is expected by %s on average, and the mean of the others by %s: not clearly less.",
			n, in.Farm.Yield(mean(now, nil)), in.Farm.Yield(mean(then, nil)))
	}
	to := math.Round(100*sum/float64(n)) / 100 // Nobody knows a yield better.
	x = &Proposal{
		ID: fmt.Sprintf("yield.%s.%.0f", p.ID, 1000*to), Kind: ProposeYield, Subject: p.ID, Value: ProposalValue{KgPerM2: &to}, Seasons: n,
		From: in.Farm.Yield(p.KgPerM2), To: in.Farm.Yield(to),
		Now: mean(now, nil), Then: mean(then, nil), Gain: gain(nil), GainRange: r,
	}
	x.Text = fmt.Sprintf("Proposed: expect %s of %s and not %s, the mean of %s that were picked to the end. Told by the mean of the others, each season would have been missed by %s instead of %s.",
		x.To, in.plantingName(p), x.From, count(n, "season"), in.Farm.Yield(x.Then), in.Farm.Yield(x.Now))
	return x, ""
}

// plantingName names a planting by its variety and block.
func (in Inputs) plantingName(p Planting) string {
	i := slices.IndexFunc(in.Varieties, func(v Variety) bool { return v.ID == p.Variety })
	if i < 0 {
		return p.ID
	}
	return in.Varieties[i].Name + " (" + p.Block + ")"
}

// yields returns what p gave in past seasons, kg/m² of its area now, in order: of
// those that pickings tell to the end. Seasons with a frost on record are left out,
// for what frosts take is cut off the expected crop once more.
func yields(in Inputs, p Planting, asOf weather.Date) (out []float64) {
	southern := in.Farm.Southern()
	by := map[int][]Picking{}
	for _, k := range in.Pickings {
		if s := SeasonOf(k.Date, southern); k.Planting == p.ID && isPast(s, asOf, southern) {
			by[s] = append(by[s], k)
		}
	}
	for _, f := range in.Frosts {
		if f.Planting == p.ID {
			delete(by, SeasonOf(f.Date, southern))
		}
	}
	var seasons []int
	for s := range by {
		seasons = append(seasons, s)
	}
	slices.Sort(seasons)
	for _, s := range seasons {
		if last := FromPicked(by[s])[ripeStages-1]; last == nil || last.Bound != BoundNone {
			continue
		}
		kg := 0.0
		for _, k := range by[s] {
			kg += k.Kg
		}
		out = append(out, kg/p.AreaM2)
	}
	return out
}

// isPast reports whether the harvest of a season is over on the morning asOf.
func isPast(season int, asOf weather.Date, southern bool) bool {
	_, end := SeasonBounds(season, southern)
	return asOf > end-afterHarvest
}

// Running reports whether a season's fruit is on its way on the morning asOf: of
// some planting that stands bloom or fruit was seen or picked, and no last pick was
// seen, nor has a fortnight gone by since it was picked. Constants stay as they are
// in that time, so that a season is forecast by one set of them.
func Running(in Inputs, asOf weather.Date) bool {
	running, _ := running(in, asOf)
	return running
}

// NextSeason returns the first season of which nothing has been seen on the
// morning asOf: the one that constants changed now are for.
func NextSeason(in Inputs, asOf weather.Date) int {
	southern := in.Farm.Southern()
	season := SeasonOf(asOf, southern)
	if _, begun := running(in, asOf); begun || isPast(season, asOf, southern) {
		season++
	}
	return season
}

// restsFrom is how many days after its last picking on record a planting whose last
// pick nobody saw counts as picked to the end. A judgement: at its height a field is
// picked every few days.
const restsFrom = 14

// running also reports whether anything was seen or picked of the season at all.
func running(in Inputs, asOf weather.Date) (running, begun bool) {
	southern := in.Farm.Southern()
	season := SeasonOf(asOf, southern)
	over := map[string]bool{}
	for _, s := range in.Sightings {
		if s.Seen && SeasonOf(s.Date, southern) == season && s.Date <= asOf {
			over[s.Planting] = over[s.Planting] || s.Stage == LastPick
		}
	}
	picked := map[string]weather.Date{}
	for _, k := range in.Pickings {
		if SeasonOf(k.Date, southern) == season && k.Date <= asOf {
			picked[k.Planting] = max(picked[k.Planting], k.Date)
		}
	}
	for planting, last := range picked {
		over[planting] = over[planting] || asOf-last > restsFrom
	}
	for _, p := range in.Plantings {
		if p.RemovedOn != nil && *p.RemovedOn <= asOf {
			if _, seen := over[p.ID]; seen {
				over[p.ID] = true
			}
		}
	}
	for _, o := range over { // In any order.
		running = running || !o
	}
	return running && !isPast(season, asOf, southern), len(over) > 0
}

// ProposalDecision is what a person decided about a proposal.
type ProposalDecision struct {
	Proposal string // Proposal.ID.
	Kind     ProposalKind
	Subject  string
	State    ProposalState
	Told     string // The proposal as it was told then, with its effect.
	Reason   string // At most 200 characters; may be empty.
	By       string // In words: the name of a key.
	At       time.Time
	Version  int // From 1.
}

// ProposalState is what became of a proposal.
type ProposalState string

// The states.
const (
	ProposalAccepted  ProposalState = "accepted"
	ProposalDeclined  ProposalState = "declined"
	ProposalTakenBack ProposalState = "taken back" // As if nobody had decided; where it was accepted, the former value holds again.
)

// Validate returns every fault of d, each a [*FieldError].
func (d ProposalDecision) Validate() []error {
	var f faults
	f.note("reason", d.Reason)
	return f.errs
}
