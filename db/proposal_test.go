package db_test

import (
	"errors"
	"sync"
	"testing"

	"ripetide/db"
	"ripetide/forecast"
)

var yieldProposed = forecast.Proposal{
	ID: "yield.north.1500", Kind: forecast.ProposeYield, Subject: "north", Value: forecast.ProposalValue{KgPerM2: ptr(1.5)}, Text: "Expect more.",
}

// proposed is a decision about yieldProposed.
func proposed(n int, state forecast.ProposalState) forecast.ProposalDecision {
	return forecast.ProposalDecision{
		Proposal: yieldProposed.ID, Kind: yieldProposed.Kind, Subject: yieldProposed.Subject, State: state, Told: yieldProposed.Text, By: "Ann", At: at(n),
	}
}

func kgPerM2(t *testing.T, s *db.Store) float64 {
	t.Helper()
	p, err := s.Planting(t.Context(), "hill", "north")
	if err != nil {
		t.Fatal(err)
	}
	return p.KgPerM2
}

func TestAProposalIsAcceptedAndTakenBack(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	decide := func(d forecast.ProposalDecision, want error, version int) {
		t.Helper()
		kept, err := s.DecideProposal(ctx, "hill", d, yieldProposed)
		if !errors.Is(err, want) || err == nil && (kept.Version != version || kept.State != d.State || kept.Told != "Expect more.") {
			t.Fatalf("%s: %+v, %v; want version %d, %v", d.State, kept, err, version, want)
		}
	}
	decide(proposed(1, forecast.ProposalTakenBack), forecast.ErrProposalNotFound, 0)
	decide(proposed(1, forecast.ProposalDeclined), nil, 1)
	decide(proposed(2, forecast.ProposalDeclined), nil, 1) // Nothing new.
	if got := kgPerM2(t, s); got != 1 {
		t.Errorf("declined, it is %g", got)
	}
	decide(proposed(3, forecast.ProposalAccepted), nil, 2)
	if got := kgPerM2(t, s); got != 1.5 {
		t.Errorf("accepted, it is %g", got)
	}
	// What was known before it stays.
	was, err := s.Inputs(ctx, "hill", at(2))
	if err != nil || was.Plantings[0].KgPerM2 != 1 {
		t.Errorf("what was known before: %+v, %v", was.Plantings, err)
	}
	decide(proposed(4, forecast.ProposalDeclined), forecast.ErrProposalOvertaken, 0)
	other := north
	other.KgPerM2 = 1.2
	if _, err := s.PutPlanting(ctx, "hill", other, "Bob", at(5)); err != nil {
		t.Fatal(err)
	}
	decide(proposed(6, forecast.ProposalTakenBack), forecast.ErrProposalOvertaken, 0)
	if got := kgPerM2(t, s); got != 1.2 {
		t.Errorf("what Bob entered is gone: %g", got)
	}
	// It is proposed again, and what Bob entered is what it is taken back to.
	decide(proposed(7, forecast.ProposalAccepted), nil, 3)
	decide(proposed(7, forecast.ProposalAccepted), nil, 3) // Nothing new.
	if got := kgPerM2(t, s); got != 1.5 {
		t.Errorf("accepted again, it is %g", got)
	}
	decide(proposed(8, forecast.ProposalTakenBack), nil, 4)
	decide(proposed(8, forecast.ProposalTakenBack), forecast.ErrProposalNotFound, 0)
	if got := kgPerM2(t, s); got != 1.2 {
		t.Errorf("taken back, it is %g", got)
	}
	decide(proposed(9, forecast.ProposalAccepted), nil, 5)
	other.KgPerM2 = 1.3
	if _, err := s.PutPlanting(ctx, "hill", other, "Bob", at(10)); err != nil {
		t.Fatal(err)
	}
	decide(proposed(11, forecast.ProposalDeclined), nil, 6)
	decide(proposed(12, forecast.ProposalTakenBack), nil, 7) // It may be proposed again; nothing changes.
	if got := kgPerM2(t, s); got != 1.3 {
		t.Errorf("declined and taken back, it is %g", got)
	}
	list, err := s.Proposals(ctx, "hill")
	if err != nil || len(list) != 7 || list[0].State != forecast.ProposalTakenBack || list[0].Version != 7 || list[6].State != forecast.ProposalDeclined || list[6].By != "Ann" {
		t.Errorf("what was decided: %+v, %v", list, err)
	}
	if _, err := s.DecideProposal(ctx, "dale", proposed(1, forecast.ProposalDeclined), yieldProposed); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("of a farm that is not there: %v", err)
	}
}

func TestMethodsAndRequirementsAreProposedToo(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	stated := jewel
	stated.Requirement = &forecast.Requirement{FirstRipe: 300, Peak: 340, LastPick: 420, Method: forecast.DefaultMethod}
	if _, err := s.PutVariety(ctx, "hill", stated, "test", at(1)); err != nil {
		t.Fatal(err)
	}
	drop := forecast.Proposal{ID: "requirement.jewel.records", Kind: forecast.ProposeRequirement, Subject: "jewel"}
	change := forecast.Proposal{ID: "method.single-sine.2", Kind: forecast.ProposeMethod, Value: forecast.ProposalValue{Method: &base2}}
	for i, p := range []forecast.Proposal{drop, change} {
		d := forecast.ProposalDecision{Proposal: p.ID, Kind: p.Kind, Subject: p.Subject, State: forecast.ProposalAccepted, By: "Ann", At: at(2 + i)}
		if _, err := s.DecideProposal(ctx, "hill", d, p); err != nil {
			t.Fatal(err)
		}
	}
	in, err := s.Inputs(ctx, "hill", at(9))
	if err != nil || in.Varieties[0].Requirement != nil || in.Choice == nil || in.Choice.Method != base2 || in.Choice.By != "Ann" {
		t.Fatalf("accepted: %+v, %+v, %v", in.Varieties[0].Requirement, in.Choice, err)
	}
	for i, p := range []forecast.Proposal{drop, change} {
		d := forecast.ProposalDecision{Proposal: p.ID, State: forecast.ProposalTakenBack, By: "Bob", At: at(10 + i)}
		kept, err := s.DecideProposal(ctx, "hill", d, forecast.Proposal{ID: p.ID})
		if err != nil || kept.Kind != p.Kind || kept.Subject != p.Subject {
			t.Fatalf("%s: %+v, %v", p.ID, kept, err)
		}
	}
	in, err = s.Inputs(ctx, "hill", at(20))
	if err != nil || in.Varieties[0].Requirement == nil || *in.Varieties[0].Requirement != *stated.Requirement || in.Choice.Method != forecast.DefaultMethod {
		t.Errorf("taken back: %+v, %+v, %v", in.Varieties[0].Requirement, in.Choice, err)
	}
}

// TestManyAcceptOneProposal at once: it is accepted once.
func TestManyAcceptOneProposal(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			if kept, err := s.DecideProposal(t.Context(), "hill", proposed(3, forecast.ProposalAccepted), yieldProposed); err != nil || kept.Version != 1 {
				t.Errorf("%+v, %v", kept, err)
			}
		})
	}
	wg.Wait()
	if n := count(t, pool, "proposal_version"); n != 1 {
		t.Errorf("%d decisions", n)
	}
	if n := count(t, pool, "planting_version"); n != 2 {
		t.Errorf("%d versions of the planting", n)
	}
}
