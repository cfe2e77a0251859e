package db_test

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ripetide/db"
	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/feed"
)

var (
	gridKey  = feed.Key{Farm: "hill", Station: "barn", Feed: "grid"}
	gridSpec = feed.Spec{
		ID: "grid", Kind: feed.OpenMeteo, Address: "https://weather.example/v1", Key: "s3cret", Contact: "ann@hill.example",
		Every: 3 * time.Hour,
	}
)

// atBarn returns spec with the point of the station.
func atBarn(spec feed.Spec) feed.Spec {
	spec.Latitude, spec.Longitude = barn.Latitude, barn.Longitude
	return spec
}

func jobOf(t testing.TB, s *db.Store, k feed.Key) feed.Job {
	t.Helper()
	j, err := s.Feed(t.Context(), k)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func TestFeedsAreReadAsTheyWerePut(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	put := func(k feed.Key, spec feed.Spec, created bool) {
		t.Helper()
		if got, err := s.PutFeed(t.Context(), k, spec, "test", at(1)); err != nil || got != created {
			t.Errorf("%s: created %v, %v", k, got, err)
		}
	}
	if _, err := s.Feed(t.Context(), gridKey); !errors.Is(err, feed.ErrFeedNotFound) {
		t.Errorf("before there is one: %v", err)
	}
	put(gridKey, gridSpec, true)
	put(gridKey, gridSpec, false)
	j := jobOf(t, s, gridKey)
	if j.Spec != atBarn(gridSpec) || j.Key() != gridKey || j.Zone.String() != "America/New_York" || j.State != (feed.State{}) {
		t.Errorf("got %+v", j)
	}
	// Without a key the one on record stays; with another service it must not.
	keyless := gridSpec
	keyless.Key, keyless.Paused = "", true
	put(gridKey, keyless, false)
	if got := jobOf(t, s, gridKey).Spec; got.Key != "s3cret" || !got.Paused {
		t.Errorf("got %+v", got)
	}
	keyless.Address = "https://other.example"
	put(gridKey, keyless, false)
	if got := jobOf(t, s, gridKey).Spec; got.Key != "" {
		t.Errorf("the key went to another address: %#v", string(got.Key))
	}
	// The point is the station's.
	moved := barn
	moved.Latitude = 43
	if _, err := s.PutStation(t.Context(), "hill", moved, "test", at(2)); err != nil {
		t.Fatal(err)
	}
	if got := jobOf(t, s, gridKey).Spec; got.Latitude != 43 {
		t.Errorf("got %+v", got)
	}
	second := feed.Key{Farm: "hill", Station: "barn", Feed: "airport"}
	put(second, feed.Spec{Kind: feed.NCEI, SourceStation: "USC00200230", Every: 24 * time.Hour}, true)
	all, err := s.Feeds(t.Context())
	if err != nil || len(all) != 2 || all[0].Key() != second || all[1].Key() != gridKey {
		t.Errorf("all feeds: %+v, %v", all, err)
	}
	if of, err := s.StationFeeds(t.Context(), "hill", "barn"); err != nil || !cmp.Equal(len(of), 2) {
		t.Errorf("feeds of the station: %v, %v", of, err)
	}
	if _, err := s.StationFeeds(t.Context(), "hill", "tower"); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("of no station: %v", err)
	}
	if _, err := s.PutFeed(t.Context(), feed.Key{Farm: "hill", Station: "tower", Feed: "x"}, gridSpec, "test", at(1)); !errors.Is(err, forecast.ErrStationNotFound) {
		t.Errorf("at no station: %v", err)
	}
	if n := count(t, pool, "feed_version"); n != 4 {
		t.Errorf("%d versions, want 4", n)
	}
}

func TestARemovedFeedIsGoneAndForgetsItsKey(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	must(t)(s.PutFeed(t.Context(), gridKey, gridSpec, "test", at(1)))
	if err := s.RemoveFeed(t.Context(), gridKey, "test", at(2)); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Feed(t.Context(), gridKey); !errors.Is(err, feed.ErrFeedNotFound) {
		t.Errorf("read: %v", err)
	}
	if err := s.RemoveFeed(t.Context(), gridKey, "test", at(2)); !errors.Is(err, feed.ErrFeedNotFound) {
		t.Errorf("again: %v", err)
	}
	var secret string
	if err := pool.QueryRow(t.Context(), "SELECT secret FROM feed_version ORDER BY version DESC LIMIT 1").Scan(&secret); err != nil || secret != "" {
		t.Errorf("secret %q, %v", secret, err)
	}
	bare := gridSpec
	bare.Key = ""
	if created, err := s.PutFeed(t.Context(), gridKey, bare, "test", at(3)); err != nil || !created {
		t.Errorf("put again: %v, %v", created, err)
	}
	if got := jobOf(t, s, gridKey).Spec; got != atBarn(bare) {
		t.Errorf("got %+v", got)
	}
}

// TestKeepStoresAllOfAFetchOrNothing stores days, outlook, state and history
// of fetches.
func TestKeepStoresAllOfAFetchOrNothing(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	must(t)(s.PutFeed(t.Context(), gridKey, gridSpec, "test", at(1)))
	o := outlook(0, run("2026-03-01", 3, 1))
	good := feed.Result{
		Outcome: feed.New, Detail: "3 days.", Status: 200, Requests: 2, Took: 1500 * time.Millisecond,
		Days: &weather.Reading{Days: run("2026-02-20", 3, 4)}, Outlook: &o,
	}
	st := feed.State{NextAt: at(200), Failures: 2, ETag: `"x"`, LastDay: date("2026-02-22"), LastIssued: o.IssuedAt}
	if err := s.Keep(t.Context(), jobOf(t, s, gridKey), good, st, at(10)); err != nil {
		t.Fatal(err)
	}
	if got := jobOf(t, s, gridKey).State; !cmp.Equal(got, st) {
		t.Errorf("state %s", cmp.Diff(st, got))
	}
	days := readDays(t, s, nil, nil, nil)
	if len(days) != 3 || days[0].Source != "feed grid" || !days[0].ReceivedAt.Equal(at(10).Add(1500*time.Millisecond)) {
		t.Errorf("days %+v", days)
	}
	if kept, err := s.LatestOutlook(t.Context(), "hill", "barn", nil); err != nil || !kept.IssuedAt.Equal(o.IssuedAt) {
		t.Errorf("outlook %+v, %v", kept, err)
	}
	// A day that a person corrected stays; a fetch that brought nothing is told.
	add(t, s, run("2026-02-21", 1, 1), "json", at(11))
	if err := s.Keep(t.Context(), jobOf(t, s, gridKey), good, st, at(20)); err != nil {
		t.Fatal(err)
	}
	failed := feed.Result{Outcome: feed.Failed, Detail: "The service did not answer.", Requests: 1}
	if err := s.Keep(t.Context(), jobOf(t, s, gridKey), failed, feed.State{Failures: 3}, at(30)); err != nil {
		t.Fatal(err)
	}
	runs, err := s.FeedRuns(t.Context(), gridKey, 10)
	if err != nil {
		t.Fatal(err)
	}
	issued := o.IssuedAt
	if diff := cmp.Diff([]db.FeedRun{
		{StartedAt: at(30), Outcome: feed.Failed, Detail: "The service did not answer.", Requests: 1},
		{StartedAt: at(20), Took: 1500 * time.Millisecond, Outcome: feed.New, Detail: "3 days.", Status: 200, Requests: 2, Stored: weather.Stored{Kept: 1}, OutlookIssuedAt: &issued},
		{StartedAt: at(10), Took: 1500 * time.Millisecond, Outcome: feed.New, Detail: "3 days.", Status: 200, Requests: 2, Stored: weather.Stored{Added: 3}, OutlookIssuedAt: &issued},
	}, runs); diff != "" {
		t.Error(diff)
	}
	if last, err := s.FeedRuns(t.Context(), gridKey, 1); err != nil || len(last) != 1 || last[0].Outcome != feed.Failed {
		t.Errorf("%+v, %v", last, err)
	}
	// What cannot be stored leaves nothing.
	bad := good
	bad.Days = &weather.Reading{Days: []weather.Day{{Date: date("2026-02-25"), Min: 5, Max: 4}}}
	if err := s.Keep(t.Context(), jobOf(t, s, gridKey), bad, st, at(40)); !errors.Is(err, weather.ErrInvalidDay) {
		t.Errorf("a day that cannot be: %v", err)
	}
	if n := count(t, pool, "feed_run"); n != 3 {
		t.Errorf("%d runs, want 3", n)
	}
	gone := jobOf(t, s, gridKey)
	gone.Spec.ID = "other"
	if err := s.Keep(t.Context(), gone, good, st, at(50)); !errors.Is(err, feed.ErrFeedNotFound) {
		t.Errorf("a feed that there is not: %v", err)
	}
}

func TestOneLockForAllInstances(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	var unlocks [8]func()
	var wg sync.WaitGroup
	for i := range unlocks {
		wg.Go(func() {
			unlock, got, err := s.Lock(t.Context(), gridKey)
			if err != nil || got != (unlock != nil) {
				t.Error(got, err)
			}
			unlocks[i] = unlock
		})
	}
	wg.Wait() // Nobody gave it back meanwhile.
	var held []func()
	for _, unlock := range unlocks {
		if unlock != nil {
			held = append(held, unlock)
		}
	}
	if len(held) != 1 {
		t.Fatalf("%d have the lock", len(held))
	}
	other, got, err := s.Lock(t.Context(), feed.Key{Farm: "hill", Station: "barn", Feed: "other"})
	if err != nil || !got {
		t.Fatalf("another feed is locked too: %v, %v", got, err)
	}
	other()
	held[0]()
	again, got, err := s.Lock(t.Context(), gridKey)
	if err != nil || !got {
		t.Fatalf("not given back: %v, %v", got, err)
	}
	again()
}
