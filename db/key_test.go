package db_test

import (
	"crypto/sha256"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/db"
	"ripetide/forecast"
)

func key(id string, farm *string) db.Key {
	return db.Key{ID: id, Farm: farm, Role: "grower", Name: "Key " + id, Hash: sha256.Sum256([]byte(id)), CreatedAt: t0}
}

func TestKeyOpensUntilItExpiresOrIsRevoked(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	a, b, c := key("a", nil), key("b", ptr("hill")), key("c", ptr("hill"))
	b.ExpiresAt = ptr(at(10))
	for _, k := range []db.Key{a, b, c} {
		if err := s.NewKey(ctx, k); err != nil {
			t.Fatal(err)
		}
		got, err := s.KeyByHash(ctx, k.Hash, at(1))
		if diff := cmp.Diff(k, got); err != nil || diff != "" {
			t.Errorf("%v\n%s", err, diff)
		}
	}
	opens := func(k db.Key, n int) bool {
		t.Helper()
		_, err := s.KeyByHash(ctx, k.Hash, at(n))
		if err != nil && !errors.Is(err, db.ErrKeyNotFound) {
			t.Fatal(err)
		}
		return err == nil
	}
	if !opens(b, 9) || opens(b, 10) || opens(key("d", nil), 1) {
		t.Error("a key opens too long, not long enough, or without being there")
	}
	// A farm revokes its own keys only.
	if err := s.RevokeKey(ctx, ptr("hill"), "a", at(2)); !errors.Is(err, db.ErrKeyNotFound) || !opens(a, 3) {
		t.Errorf("the farm revoked the installation's key: %v", err)
	}
	for n, id := range []string{"c", "c", "a"} {
		farm := ptr("hill")
		if id == "a" {
			farm = nil
		}
		if err := s.RevokeKey(ctx, farm, id, at(3+n)); err != nil {
			t.Fatal(err)
		}
	}
	if opens(c, 2) || opens(a, 2) {
		t.Error("a revoked key opens")
	}
	c.RevokedAt, a.RevokedAt = ptr(at(3)), ptr(at(5))
	all, err := s.Keys(ctx, nil)
	if diff := cmp.Diff([]db.Key{a, b, c}, all); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	own, err := s.Keys(ctx, ptr("hill"))
	if diff := cmp.Diff([]db.Key{b, c}, own); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	if err := s.NewKey(ctx, key("e", ptr("dale"))); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("of no farm: %v", err)
	}
	twin := a
	twin.ID = "twin"
	if err := s.NewKey(ctx, twin); err == nil {
		t.Error("two keys with one hash")
	}
}

func TestTouchKeyOnceAMinute(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	k := key("a", nil)
	if err := s.NewKey(ctx, k); err != nil {
		t.Fatal(err)
	}
	for _, step := range []struct{ touched, want time.Time }{
		{at(1), at(1)},
		{at(2).Add(-time.Microsecond), at(1)},
		{at(2), at(2)},
		{at(1), at(2)}, // Never back.
	} {
		if err := s.TouchKey(ctx, "a", step.touched); err != nil {
			t.Fatal(err)
		}
		got, err := s.KeyByHash(ctx, k.Hash, at(9))
		if err != nil || got.LastUsedAt == nil || !got.LastUsedAt.Equal(step.want) {
			t.Errorf("touched at %s: last used at %v, %v, want %s", step.touched, got.LastUsedAt, err, step.want)
		}
	}
	if err := s.TouchKey(ctx, "none", at(1)); err != nil {
		t.Error(err)
	}
}

// TestWhatAKeyIsStays: only when it was revoked and used may change.
func TestWhatAKeyIsStays(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	if err := s.NewKey(t.Context(), key("a", nil)); err != nil {
		t.Fatal(err)
	}
	for set, want := range map[string]bool{
		"id = id": false, "farm = farm": false, "role = role": false, "name = name": false, "hash = hash": false,
		"created_at = created_at": false, "expires_at = expires_at": false, "revoked_at = now(), role = 'owner'": false,
		"revoked_at = now()": true, "last_used_at = now()": true,
	} {
		if _, err := pool.Exec(t.Context(), "UPDATE api_key SET "+set); (err == nil) != want {
			t.Errorf("%s: %v", set, err)
		}
	}
}
