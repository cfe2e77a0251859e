package db_test

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
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

func TestLastOwnerStays(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		keys []string // Name, farm or *, role, and what is of it; the first is to be revoked.
		last bool
	}{
		"alone":                          {[]string{"ann hill owner used"}, true},
		"no owner":                       {[]string{"ann hill grower used"}, false},
		"another":                        {[]string{"ann hill owner used", "ben hill owner used"}, false},
		"another who signed in":          {[]string{"ann hill owner used", "ben hill owner session"}, false},
		"another who never came":         {[]string{"ann hill owner used", "ben hill owner"}, true},
		"another who was revoked":        {[]string{"ann hill owner used", "ben hill owner used revoked"}, true},
		"another whose key expires":      {[]string{"ann hill owner used", "ben hill owner used expires"}, true},
		"another of another farm":        {[]string{"ann hill owner used", "ben dale owner used"}, true},
		"another of the installation":    {[]string{"ann hill owner used", "ben * owner used"}, false},
		"another who is no owner":        {[]string{"ann hill owner used", "ben hill grower used"}, true},
		"of all, and one farm is left":   {[]string{"ann * owner used", "ben hill owner used"}, true},
		"of all, and each has another":   {[]string{"ann * owner used", "ben hill owner used", "cem dale owner used"}, false},
		"of all, and another is for all": {[]string{"ann * owner used", "ben * owner used"}, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, _ := farmed(t)
			ctx := t.Context()
			dale := hill
			dale.ID = "dale"
			must(t)(s.PutFarm(ctx, dale, "test", t0))
			for _, text := range tt.keys {
				f := strings.Fields(text)
				k := db.Key{ID: f[0], Name: f[0], Role: f[2], Hash: sha256.Sum256([]byte(f[0])), CreatedAt: at(0)}
				if f[1] != "*" {
					k.Farm = &f[1]
				}
				if slices.Contains(f, "expires") {
					k.ExpiresAt = ptr(at(1e6))
				}
				err := s.NewKey(ctx, k)
				if slices.Contains(f, "used") {
					err = errors.Join(err, s.TouchKey(ctx, k.ID, at(1)))
				}
				if slices.Contains(f, "session") {
					err = errors.Join(err, s.NewSession(ctx, k.ID, k.Hash, at(1), at(2)))
				}
				if slices.Contains(f, "revoked") {
					err = errors.Join(err, s.RevokeKey(ctx, nil, k.ID, at(2)))
				}
				if err != nil {
					t.Fatal(err)
				}
			}
			if last, err := s.LastOwner(ctx, "ann"); err != nil || last != tt.last {
				t.Errorf("last %t, want %t (%v)", last, tt.last, err)
			}
			want := error(nil)
			if tt.last {
				want = db.ErrLastOwner
			}
			if err := s.RevokeUnlessLast(ctx, nil, "ann", at(3)); !errors.Is(err, want) {
				t.Errorf("revoke: %v, want %v", err, want)
			}
			_, err := s.KeyByHash(ctx, sha256.Sum256([]byte("ann")), at(4))
			if opens := err == nil; opens != tt.last {
				t.Errorf("the key opens: %t, want %t", opens, tt.last)
			}
		})
	}
}

// TestTwoOwnersRevokeEachOther lets two instances do so at once.
func TestTwoOwnersRevokeEachOther(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	one, pool := farmed(t)
	two, err := db.Open(ctx, pool.Config().ConnString(), db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer two.Close()
	for n := range 50 {
		names := [2]string{fmt.Sprintf("ann%d", n), fmt.Sprintf("ben%d", n)}
		if _, err := pool.Exec(ctx, "UPDATE api_key SET revoked_at = $1 WHERE revoked_at IS NULL", at(n)); err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			if err := errors.Join(one.NewKey(ctx, db.Key{ID: name, Farm: ptr("hill"), Role: "owner", Name: name, Hash: sha256.Sum256([]byte(name)), CreatedAt: at(n)}), one.TouchKey(ctx, name, at(n))); err != nil {
				t.Fatal(err)
			}
		}
		var all sync.WaitGroup
		var errs [2]error
		for i, s := range []*db.Store{one, two} {
			all.Go(func() { errs[i] = s.RevokeUnlessLast(ctx, ptr("hill"), names[i], at(n+1)) })
		}
		all.Wait()
		kept := 0
		for _, err := range errs {
			if errors.Is(err, db.ErrLastOwner) {
				kept++
			} else if err != nil {
				t.Fatal(err)
			}
		}
		if kept != 1 {
			t.Fatalf("round %d: %d of two owners stayed: %v", n, kept, errs)
		}
	}
}
