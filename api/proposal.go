package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
)

// ProposalOut is a constant that past seasons say would better be another.
type ProposalOut struct {
	ID        string          `json:"id" doc:"Names the kind, what it is about and the value."`
	Kind      string          `json:"kind" enum:"method,requirement,yield" doc:"method: how the farm sums degree-days. requirement: that what the farm states of a variety be dropped, in favour of its records. yield: expected kg/m² of a planting."`
	Subject   string          `json:"subject" doc:"The variety of a requirement, the planting of a yield; empty for the method."`
	From      string          `json:"from" doc:"The value in use, in words."`
	To        string          `json:"to" doc:"The new value, in words."`
	Seasons   int             `json:"seasons" doc:"Past seasons that it rests on."`
	Now       float64         `json:"error_now" doc:"On past seasons, each told by the others: root mean square error in days, of a yield mean distance in kg/m²."`
	Then      float64         `json:"error_then" doc:"The same with the new value."`
	Gain      float64         `json:"gain"`
	GainRange *ReviewRangeOut `json:"gain_range" doc:"What holds 9 in 10 when the seasons are drawn anew."`
	Text      string          `json:"text" doc:"All of it in a sentence."`
}

// ProposalKeptOut is a constant of which nothing is proposed.
type ProposalKeptOut struct {
	Kind    string `json:"kind" enum:"method,requirement,yield"`
	Subject string `json:"subject" doc:"As of a proposal."`
	Why     string `json:"why" doc:"In a sentence: too few seasons, or no clear gain."`
}

// ProposalDecisionOut is what a person decided about a proposal.
type ProposalDecisionOut struct {
	Proposal string    `json:"proposal"`
	Kind     string    `json:"kind" enum:"method,requirement,yield"`
	Subject  string    `json:"subject"`
	State    string    `json:"state" enum:"accepted,declined,taken back"`
	By       string    `json:"by" doc:"The name of the key that decided."`
	At       time.Time `json:"at"`
	Reason   *string   `json:"reason"`
	Told     string    `json:"told" doc:"The proposal as it was told then, with its effect."`
	Counts   bool      `json:"counts" doc:"It is the newest about this proposal."`
}

// ProposalList is what is proposed and what was decided.
type ProposalList struct {
	Open      []ProposalOut         `json:"open" doc:"What is proposed and was not declined."`
	Kept      []ProposalKeptOut     `json:"kept" doc:"Of what nothing is proposed, and why."`
	Decisions []ProposalDecisionOut `json:"decisions" doc:"All that was decided, the latest first."`
	From      int                   `json:"from_season" doc:"The season that what is accepted now is for: the first of which nothing was seen."`
	Running   bool                  `json:"season_runs" doc:"Fruit is on its way: nothing can be accepted or taken back until the last pick."`
}

// ProposalPath names a proposal.
type ProposalPath struct {
	FarmPath
	Proposal string `path:"proposal" maxLength:"200" doc:"Its id."`
}

type putProposal struct {
	ProposalPath
	Body struct {
		Accept bool    `json:"accept" doc:"False declines it."`
		Reason *string `json:"reason" required:"false" doc:"One line of at most 200 characters."`
	}
}

// OpenProposals returns the proposals that nobody has declined, given all that
// was decided, the latest first.
func OpenProposals(all []forecast.Proposal, decided []forecast.ProposalDecision) []forecast.Proposal {
	return slices.DeleteFunc(slices.Clone(all), func(p forecast.Proposal) bool {
		i := slices.IndexFunc(decided, func(d forecast.ProposalDecision) bool { return d.Proposal == p.ID })
		return i >= 0 && decided[i].State == forecast.ProposalDeclined
	})
}

// ReadProposals returns what the past seasons of a farm propose
// that nobody has declined, and all that was decided, the latest first.
func ReadProposals(ctx context.Context, f *forecast.Service, store ProposalStore, farm string) (r FarmProposals, err error) {
	in, err := f.Known(ctx, farm)
	if err != nil {
		return r, err
	}
	today, err := in.Farm.Today(f.Now())
	if err != nil {
		return r, err
	}
	all, kept, err := forecast.Proposals(in, today)
	if err != nil {
		return r, err
	}
	decided, err := store.Proposals(ctx, farm)
	return FarmProposals{OpenProposals(all, decided), kept, decided, forecast.NextSeason(in, today), forecast.Running(in, today)}, err
}

// FarmProposals is what past seasons of a farm propose and what was decided.
type FarmProposals struct {
	Open    []forecast.Proposal
	Kept    []forecast.Kept
	Decided []forecast.ProposalDecision // The latest first.
	From    int                         // Season, see [forecast.NextSeason].
	Running bool
}

// DecideProposal decides about a proposal that is open, or takes back what was
// decided about one. Errors: [forecast.ErrProposalNotFound]; [forecast.ErrSeasonRuns]
// when it would change a constant while fruit is on its way; those of the store.
func DecideProposal(ctx context.Context, f *forecast.Service, store ProposalStore, farm string, d forecast.ProposalDecision) (forecast.ProposalDecision, error) {
	if err := invalid(d.Validate()); err != nil {
		return d, err
	}
	r, err := ReadProposals(ctx, f, store, farm)
	if err != nil {
		return d, err
	}
	was := slices.IndexFunc(r.Decided, func(x forecast.ProposalDecision) bool { return x.Proposal == d.Proposal })
	changes := d.State == forecast.ProposalAccepted ||
		d.State == forecast.ProposalTakenBack && was >= 0 && r.Decided[was].State == forecast.ProposalAccepted
	if changes && r.Running {
		return d, forecast.ErrSeasonRuns
	}
	if d.State == forecast.ProposalTakenBack {
		return store.DecideProposal(ctx, farm, d, forecast.Proposal{ID: d.Proposal})
	}
	i := slices.IndexFunc(r.Open, func(p forecast.Proposal) bool { return p.ID == d.Proposal })
	if i < 0 {
		return d, forecast.ErrProposalNotFound
	}
	p := r.Open[i]
	d.Kind, d.Subject, d.Told = p.Kind, p.Subject, p.Text
	if d.State == forecast.ProposalAccepted {
		d.Told += fmt.Sprintf(" Accepted for %d and later.", r.From)
	}
	return store.DecideProposal(ctx, farm, d, p)
}

func (s *Server) proposalRoutes() {
	const path = "/v1/farms/{farm}/proposals"
	tags := []string{"Set-up"}
	add(s, Reader, long(huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "list-proposals", Tags: tags,
		Summary: "Read which constants past seasons propose, and what was decided about them",
		Description: "Each is worked out anew with its effect on past seasons, every season told by the others. What was declined is proposed again only with another value. " +
			"Requirements of varieties that the farm does not state are learned from each season without being asked.",
	}), func(ctx context.Context, in *FarmPath) (*got[ProposalList], error) {
		r, err := ReadProposals(ctx, s.forecast, s.store, in.Farm)
		if err != nil {
			return nil, err
		}
		out := ProposalList{Open: []ProposalOut{}, Kept: []ProposalKeptOut{}, Decisions: []ProposalDecisionOut{}, From: r.From, Running: r.Running}
		for _, k := range r.Kept {
			out.Kept = append(out.Kept, ProposalKeptOut{string(k.Kind), k.Subject, k.Why})
		}
		for _, p := range r.Open {
			o := ProposalOut{p.ID, string(p.Kind), p.Subject, p.From, p.To, p.Seasons, p.Now, p.Then, p.Gain, nil, p.Text}
			if p.GainRange != nil {
				o.GainRange = &ReviewRangeOut{p.GainRange.Low, p.GainRange.High}
			}
			out.Open = append(out.Open, o)
		}
		for i, d := range r.Decided {
			newest := slices.IndexFunc(r.Decided, func(x forecast.ProposalDecision) bool { return x.Proposal == d.Proposal })
			out.Decisions = append(out.Decisions, proposalDecisionOut(d, newest == i))
		}
		return &got[ProposalList]{out}, nil
	})
	// An owner, as for the method: it changes dates from the next forecast on.
	add(s, Owner, long(huma.Operation{
		Method: http.MethodPut, Path: path + "/{proposal}", OperationID: "put-proposal", Tags: tags,
		Summary: "Accept or decline what past seasons propose",
		Description: "Accepted, the value is a new version of what it is about, from the next forecast on; frozen forecasts stay as they are. " +
			"While fruit is on its way nothing can be accepted, so that a season is forecast by one set of constants.",
		Errors: []int{http.StatusNotFound, http.StatusConflict},
	}), func(ctx context.Context, in *putProposal) (*put[ProposalDecisionOut], error) {
		d := forecast.ProposalDecision{Proposal: in.Proposal, State: forecast.ProposalDeclined, Reason: oneLine(or(in.Body.Reason, "")), By: by(ctx), At: s.now()}
		if in.Body.Accept {
			d.State = forecast.ProposalAccepted
		}
		kept, err := DecideProposal(ctx, s.forecast, s.store, in.Farm, d)
		if err != nil {
			return nil, err
		}
		return putDone(kept.Version == 1, proposalDecisionOut(kept, true)), nil
	})
	add(s, Owner, long(huma.Operation{
		Method: http.MethodDelete, Path: path + "/{proposal}", OperationID: "delete-proposal", Tags: tags,
		Summary:     "Take back what was decided about a proposal",
		Description: "Where it was accepted, the value that held before becomes a new version, unless somebody has changed it since. Where it was declined, it is proposed again.", DefaultStatus: http.StatusNoContent,
		Errors: []int{http.StatusNotFound, http.StatusConflict},
	}), func(ctx context.Context, in *ProposalPath) (*struct{}, error) {
		_, err := DecideProposal(ctx, s.forecast, s.store, in.Farm, forecast.ProposalDecision{
			Proposal: in.Proposal, State: forecast.ProposalTakenBack, By: by(ctx), At: s.now(),
		})
		return nil, err
	})
}

func proposalDecisionOut(d forecast.ProposalDecision, counts bool) ProposalDecisionOut {
	return ProposalDecisionOut{d.Proposal, string(d.Kind), d.Subject, string(d.State), d.By, d.At, some(d.Reason), d.Told, counts}
}
