package db_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/db"
)

func TestKeyUsesTellSessionsAndOpenLinks(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	for _, k := range []db.Key{key("a", nil), key("b", ptr("hill")), key("c", ptr("hill"))} {
		if err := s.NewKey(ctx, k); err != nil {
			t.Fatal(err)
		}
	}
	for i, l := range []db.Link{{Key: "b", ExpiresAt: at(30)}, {Key: "b", ExpiresAt: at(60)}, {Key: "c", ExpiresAt: at(5)}, {Key: "a", ExpiresAt: at(90)}} {
		l.Hash, l.CreatedAt, l.CreatedBy = [32]byte{byte(i + 1)}, t0, "test"
		if err := s.NewLink(ctx, l); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.UseLink(ctx, [32]byte{4}, [32]byte{40}, at(3), at(99)); err != nil {
		t.Fatal(err)
	}
	if err := s.TouchSession(ctx, [32]byte{40}, at(7)); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		farm *string
		want []db.KeyUse
	}{
		{"all", nil, []db.KeyUse{{Key: "a", SessionAt: ptr(at(7))}, {Key: "b", LinkUntil: ptr(at(60))}, {Key: "c"}}},
		{"of a farm", ptr("hill"), []db.KeyUse{{Key: "b", LinkUntil: ptr(at(60))}, {Key: "c"}}},
	} {
		got, err := s.KeyUses(ctx, tt.farm, at(10))
		if diff := cmp.Diff(tt.want, got); err != nil || diff != "" {
			t.Errorf("%s: %v\n%s", tt.name, err, diff)
		}
	}
}
