package pages

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/weather"
)

// addProposals adds the page of what past seasons propose to change.
func (p *Pages) addProposals() {
	p.get("/f/:farm/proposals", p.proposals)
	p.post("/f/:farm/proposals", api.Owner, p.decideProposal)
}

// proposalsPage is what past seasons propose, and what was decided.
type proposalsPage struct {
	Fault   string
	Running bool // Nothing can be changed now.
	From    int  // The season that what is accepted now is for.
	Open    []proposalRow
	Kept    []keptRow
	Decided []decidedRow
	Owner   bool
}

type proposalRow struct {
	ID, Title, From, To, Text string
}

// keptRow is a constant of which nothing is proposed.
type keptRow struct{ Title, Why string }

type decidedRow struct {
	ID, Title, State, Who, Reason, Told string
	Back                                bool // It can be taken back.
}

// proposals shows what past seasons propose.
func (p *Pages) proposals(v *visit) error { return p.showProposals(v, http.StatusOK, "") }

func (p *Pages) showProposals(v *visit, status int, fault string) error {
	ctx := v.Request().Context()
	known, err := p.proposed(v)
	if err != nil {
		return err
	}
	decided, err := p.Store.Proposals(ctx, v.farm.ID)
	if err != nil {
		return err
	}
	page := proposalsPage{Fault: fault, Running: known.running, From: known.from, Owner: v.may(api.Owner)}
	names := known.names
	for _, x := range api.OpenProposals(known.all, decided) {
		page.Open = append(page.Open, proposalRow{x.ID, proposalTitle(x.Kind, names.name(x.Kind, x.Subject)), x.From, x.To, x.Text})
	}
	for _, k := range known.keep {
		page.Kept = append(page.Kept, keptRow{proposalTitle(k.Kind, names.name(k.Kind, k.Subject)), k.Why})
	}
	for i, d := range decided {
		newest := slices.IndexFunc(decided, func(x forecast.ProposalDecision) bool { return x.Proposal == d.Proposal }) == i
		page.Decided = append(page.Decided, decidedRow{
			ID: d.Proposal, Title: proposalTitle(d.Kind, names.name(d.Kind, d.Subject)), State: strings.ToUpper(string(d.State)[:1]) + string(d.State)[1:],
			Who: d.By + ", " + DayYear(&v.farm, weather.DateIn(d.At.In(v.zone))), Reason: d.Reason, Told: d.Told,
			Back: newest && page.Owner && (d.State == forecast.ProposalDeclined || d.State == forecast.ProposalAccepted && !page.Running),
		})
	}
	return p.render(v, status, v, "proposals", "What to change", page)
}

// proposalsKey names all that proposals rest on.
type proposalsKey struct {
	farm, state string
	today       weather.Date
}

// proposed is what past seasons propose. It is shared: it must not be changed.
type proposed struct {
	all     []forecast.Proposal
	keep    []forecast.Kept
	from    int // Season.
	names   subjects
	running bool
}

// proposed returns what past seasons propose, which is dear to work out.
func (p *Pages) proposed(v *visit) (*proposed, error) {
	ctx := v.Request().Context()
	state, err := p.States.FarmState(ctx, v.farm.ID)
	if err != nil {
		return nil, err
	}
	today, err := p.today(v)
	if err != nil {
		return nil, err
	}
	return p.kept.proposals.Get(ctx, proposalsKey{v.farm.ID, state, today}, func(ctx context.Context) (*proposed, bool, error) {
		var out *proposed
		err := p.API.Placed(ctx, func() error {
			in, err := p.Forecast.Known(ctx, v.farm.ID)
			if err != nil {
				return err
			}
			all, keep, err := forecast.Proposals(in, today)
			out = &proposed{all, keep, forecast.NextSeason(in, today), subjectNames(in), forecast.Running(in, today)}
			return err
		})
		return out, true, err
	})
}

// subjects are what proposals are about: a variety and a planting may have the same
// identifier.
type subjects struct{ varieties, plantings map[string]string }

func subjectNames(in forecast.Inputs) subjects {
	s := subjects{map[string]string{}, map[string]string{}}
	for _, x := range in.Varieties {
		s.varieties[x.ID] = x.Name
	}
	for _, x := range in.Plantings {
		s.plantings[x.ID] = s.varieties[x.Variety] + " (" + x.Block + ")"
	}
	return s
}

// name names what a proposal of a kind is about.
func (s subjects) name(kind forecast.ProposalKind, id string) string {
	if kind == forecast.ProposeRequirement {
		return s.varieties[id]
	}
	return s.plantings[id]
}

// proposalTitle says what a proposal is about.
func proposalTitle(kind forecast.ProposalKind, name string) string {
	switch kind {
	case forecast.ProposeMethod:
		return "How degree-days are summed"
	case forecast.ProposeRequirement:
		return "What is stated of " + name
	}
	return "Yield of " + name
}

// decideProposal accepts or declines what is proposed, or takes it back.
func (p *Pages) decideProposal(v *visit) error {
	state, ok := map[string]forecast.ProposalState{
		"accept": forecast.ProposalAccepted, "decline": forecast.ProposalDeclined, "back": forecast.ProposalTakenBack,
	}[v.FormValue("do")]
	if !ok {
		return errNoPage
	}
	ctx := v.Request().Context()
	err := p.API.Placed(ctx, func() error {
		_, err := api.DecideProposal(ctx, p.Forecast, p.Store, v.farm.ID, forecast.ProposalDecision{
			Proposal: v.FormValue("proposal"), State: state, Reason: strings.TrimSpace(v.FormValue("reason")), By: v.who.By(), At: p.Now(),
		})
		return err
	})
	if err == nil {
		return v.Redirect(http.StatusSeeOther, "/f/"+v.farm.ID+"/proposals")
	}
	status, _, text := p.explain(v.Request().Context(), err)
	if errors.Is(err, forecast.ErrFarmNotFound) || status >= http.StatusInternalServerError {
		return err
	}
	return p.showProposals(v, status, text)
}
