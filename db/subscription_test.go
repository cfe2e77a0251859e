package db_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
)

func TestSecretAddressesAreUsedAndRevoked(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	x := forecast.Subscription{ID: "one", Farm: "hill", Name: "Ann's phone", MadeAt: at(1), MadeBy: "key owner"}
	one, two := [32]byte{1}, [32]byte{2}
	if err := s.NewSubscription(ctx, x, one); err != nil {
		t.Fatal(err)
	}
	y := x
	y.ID, y.MadeAt = "two", at(0)
	if err := s.NewSubscription(ctx, y, two); err != nil {
		t.Fatal(err)
	}
	y.Farm, y.ID = "moor", "three"
	if err := s.NewSubscription(ctx, y, [32]byte{3}); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("of a farm that is not there: %v", err)
	}
	if got, err := s.Subscription(ctx, one); err != nil || cmp.Diff(x, got) != "" {
		t.Errorf("%v, %v", got, err)
	}
	if _, err := s.Subscription(ctx, [32]byte{9}); !errors.Is(err, forecast.ErrSubscriptionNotFound) {
		t.Errorf("of an unknown secret: %v", err)
	}
	for _, n := range []int{5, 4, 5, 6} { // Neither back nor twice in a minute.
		if err := s.TouchSubscription(ctx, "hill", "one", at(n)); err != nil {
			t.Fatal(err)
		}
	}
	for _, farm := range []string{"moor", "hill", "hill"} {
		err := s.RevokeSubscription(ctx, farm, "one", "key owner", at(7))
		if want := farm == "hill" && x.RevokedAt == nil; want != (err == nil) || !want && !errors.Is(err, forecast.ErrSubscriptionNotFound) {
			t.Errorf("revoked on farm %s, revoked before %v: %v", farm, x.RevokedAt, err)
		} else if want {
			x.RevokedAt = ptr(at(7))
		}
	}
	if _, err := s.Subscription(ctx, one); !errors.Is(err, forecast.ErrSubscriptionNotFound) {
		t.Errorf("revoked, it still opens: %v", err)
	}
	x.LastUsedAt, x.RevokedBy = ptr(at(6)), "key owner"
	list, err := s.Subscriptions(ctx, "hill")
	if err != nil || len(list) != 2 || list[0].ID != "two" || cmp.Diff(x, list[1]) != "" {
		t.Errorf("listed %v, %v", list, err)
	}
	if list, err := s.Subscriptions(ctx, "moor"); err != nil || len(list) != 0 {
		t.Errorf("of another farm: %v, %v", list, err)
	}
}

// Every change of what a farm tells people is one that the state tells, and
// nothing else is.
func TestStateOfWhatIsToldChangesWithIt(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	if _, _, err := s.ToldState(ctx, "moor"); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("of a farm that is not there: %v", err)
	}
	seen := map[string]string{}
	last := ""
	step := func(name string, changes bool, minute int, do func() error) {
		t.Helper()
		if err := do(); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		state, changed, err := s.ToldState(ctx, "hill")
		if err != nil {
			t.Fatal(err)
		}
		if !changed.Equal(at(minute)) {
			t.Errorf("%s: changed at %s, want %s", name, changed, at(minute))
		}
		if changes && seen[state] != "" {
			t.Errorf("%s: the state is that of %s", name, seen[state])
		}
		if !changes && state != last {
			t.Errorf("%s: the state changed", name)
		}
		seen[state], last = name, state
	}
	step("the farm", true, 0, func() error { return nil })
	step("its name", true, 1, func() error {
		f := hill
		f.Name = "Other Hill"
		_, err := s.PutFarm(ctx, f, "test", at(1))
		return err
	})
	step("a variety's name", true, 1, func() error {
		v := jewel
		v.Name = "Other Jewel"
		_, err := s.PutVariety(ctx, "hill", v, "test", at(1))
		return err
	})
	step("a forecast", true, 2, func() error { return s.Freeze(ctx, frozen("one", "2026-06-01", 2, false)) })
	step("a hindcast", false, 2, func() error { return s.Freeze(ctx, frozen("two", "2026-06-02", 3, true)) })
	for i, day := range []string{"2026-06-13", "2026-06-14", ""} {
		step("decided on "+day, true, 3+i, func() error {
			_, _, err := s.PutDecision(ctx, "hill", decided(3+i, forecast.DecideOpening, day))
			return err
		})
	}
	step("what is public", true, 9, func() error {
		_, err := s.PutAnnouncing(ctx, "hill", forecast.Announcing{Public: forecast.PublicPage{On: true}}, "test", at(9))
		return err
	})
	step("a spray", true, 10, func() error {
		_, err := s.AddSprays(ctx, "hill", []forecast.Spray{planned("good")}, "test", at(10))
		return err
	})
	step("a planting", true, 11, func() error {
		p := north
		p.Block = "Elsewhere"
		_, err := s.PutPlanting(ctx, "hill", p, "test", at(11))
		return err
	})
	step("a picking", false, 11, func() error {
		_, err := s.AddPickings(ctx, "hill", []forecast.Picking{picked("2026-06-12", 90)}, "test", at(12))
		return err
	})
}
