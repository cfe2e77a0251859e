package db_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/forecast"
)

func TestAnnouncingIsReadAsItWasPut(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	ctx := t.Context()
	if a, err := s.Announcing(ctx, "hill"); err != nil || cmp.Diff(forecast.Announcing{}, a) != "" {
		t.Errorf("before anything is set: %v, %v", a, err)
	}
	full := forecast.Announcing{
		Language: "fr", Hours: "Tous les jours", Where: "Route du lac", Phone: "555 0100", Website: "https://example.org",
		Texts:  map[forecast.Text]string{forecast.TextSign: "{farm}\n{when}", forecast.TextPaper: "{opening}"},
		Public: forecast.PublicPage{On: true, Ahead: true}, Windows: true,
	}
	if created, err := s.PutAnnouncing(ctx, "hill", full, "key ann", t0); err != nil || !created {
		t.Fatal(created, err)
	}
	for range 2 { // Putting it again changes nothing.
		a, err := s.Announcing(ctx, "hill")
		if diff := cmp.Diff(full, a); err != nil || diff != "" {
			t.Errorf("%v\n%s", err, diff)
		}
		if created, err := s.PutAnnouncing(ctx, "hill", full, "key ann", at(1)); err != nil || created {
			t.Fatal(created, err)
		}
	}
	if n := count(t, pool, "announcing_version"); n != 1 {
		t.Errorf("%d versions of one content", n)
	}
	full.Texts = map[forecast.Text]string{forecast.TextSign: "{farm}"}
	full.Public.On = false
	if created, err := s.PutAnnouncing(ctx, "hill", full, "key ann", at(2)); err != nil || created {
		t.Fatal(created, err)
	}
	a, err := s.Announcing(ctx, "hill")
	if diff := cmp.Diff(full, a); err != nil || diff != "" {
		t.Errorf("%v\n%s", err, diff)
	}
	if _, err := s.PutAnnouncing(ctx, "moor", full, "key ann", t0); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("of a farm that is not there: %v", err)
	}
}
