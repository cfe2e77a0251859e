package db_test

import (
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ripetide/db"
)

func TestALinkOpensOneSession(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	if err := s.NewKey(ctx, db.Key{ID: "ann", Role: "grower", Name: "Ann", Hash: [32]byte{9}, CreatedAt: t0}); err != nil {
		t.Fatal(err)
	}
	link := db.Link{Hash: [32]byte{1}, Key: "ann", CreatedAt: t0, CreatedBy: "test", ExpiresAt: at(60)}
	if err := s.NewLink(ctx, link); err != nil {
		t.Fatal(err)
	}
	stranger := link
	stranger.Key, stranger.Hash = "bob", [32]byte{3}
	if err := s.NewLink(ctx, stranger); !errors.Is(err, db.ErrKeyNotFound) {
		t.Errorf("a link for nobody: %v", err)
	}
	if _, err := s.UseLink(ctx, [32]byte{7}, [32]byte{8}, at(1), at(90)); !errors.Is(err, db.ErrLinkNotFound) {
		t.Errorf("a link that there is not: %v", err)
	}
	if _, err := s.UseLink(ctx, link.Hash, [32]byte{8}, at(60), at(90)); !errors.Is(err, db.ErrLinkNotFound) {
		t.Errorf("a link that has expired: %v", err)
	}
	if k, err := s.LinkKey(ctx, link.Hash, at(59)); err != nil || k.ID != "ann" {
		t.Errorf("looked at: %+v, %v", k, err)
	}
	var opened atomic.Int32
	var wg sync.WaitGroup
	for i := range 20 {
		wg.Go(func() {
			k, err := s.UseLink(ctx, link.Hash, [32]byte{100, byte(i)}, at(59), at(90))
			switch {
			case err == nil && k.ID == "ann" && k.Role == "grower":
				opened.Add(1)
			case !errors.Is(err, db.ErrLinkNotFound):
				t.Errorf("%+v, %v", k, err)
			}
		})
	}
	wg.Wait()
	if opened.Load() != 1 {
		t.Errorf("%d sessions were opened", opened.Load())
	}
	if _, err := s.LinkKey(ctx, link.Hash, at(59)); !errors.Is(err, db.ErrLinkNotFound) {
		t.Errorf("looked at when it was used: %v", err)
	}
}

func TestASessionEnds(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	expires := at(500)
	if err := s.NewKey(ctx, db.Key{ID: "ann", Role: "owner", Name: "Ann", Hash: [32]byte{9}, CreatedAt: t0, ExpiresAt: &expires}); err != nil {
		t.Fatal(err)
	}
	open := func(n byte, until time.Time) [32]byte {
		t.Helper()
		h := [32]byte{n}
		if err := s.NewSession(ctx, "ann", h, t0, until); err != nil {
			t.Fatal(err)
		}
		return h
	}
	is := func(h [32]byte, n int, want bool) {
		t.Helper()
		k, err := s.SessionKey(ctx, h, at(n))
		if want && (err != nil || k.ID != "ann") || !want && !errors.Is(err, db.ErrKeyNotFound) {
			t.Errorf("session %d at %d: %+v, %v, want %v", h[0], n, k, err, want)
		}
	}
	a, b, c := open(1, at(100)), open(2, at(1000)), open(3, at(1000))
	is(a, 99, true)
	is(a, 100, false)
	is([32]byte{8}, 1, false)
	is(b, 499, true)
	is(b, 500, false) // The key has expired.
	if err := s.EndSession(ctx, b, at(10)); err != nil {
		t.Fatal(err)
	}
	is(b, 11, false)
	is(c, 11, true)
	if err := s.TouchSession(ctx, c, at(7)); err != nil {
		t.Fatal(err)
	}
	if k, err := s.SessionKey(ctx, c, at(8)); err != nil || !k.LastUsedAt.Equal(at(7)) {
		t.Errorf("last used %v, %v", k.LastUsedAt, err)
	}
	if err := s.RevokeKey(ctx, nil, "ann", at(20)); err != nil {
		t.Fatal(err)
	}
	is(c, 21, false)
	if err := s.NewSession(ctx, "bob", [32]byte{4}, t0, at(1)); !errors.Is(err, db.ErrKeyNotFound) {
		t.Errorf("a session of nobody: %v", err)
	}
}
