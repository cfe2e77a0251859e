package api_test

import (
	"strconv"
	"testing"
	"time"

	"ripetide/api"
)

// When there are too many addresses to remember, those are forgotten that have
// not failed for longest, and no other.
func TestAFullCountOfTriesForgetsTheOldest(t *testing.T) {
	t.Parallel()
	const most = 10
	at := time.Date(2018, 6, 11, 5, 40, 0, 0, time.UTC)
	l := api.Tries{Now: func() time.Time { return at }, Most: most, Window: 15 * time.Minute}
	allow := func(from string) bool { _, ok := l.Allow(from); return ok }
	fail := func(from string, n int) {
		for range n {
			l.Failed(from)
			at = at.Add(time.Millisecond)
		}
	}
	fail("oldest", most)
	fail("other", most-1)
	for i := range api.MostSeen - 2 {
		fail(strconv.Itoa(i), 1)
	}
	fail("other", 1) // It is no longer the one that has rested longest.
	if allow("oldest") || allow("other") || l.Seen() != api.MostSeen {
		t.Fatalf("with a table that is just full: oldest %t, other %t, %d addresses", allow("oldest"), allow("other"), l.Seen())
	}
	fail("one more", 1)
	if !allow("oldest") || allow("other") || l.Seen() != api.MostSeen {
		t.Errorf("with one more: oldest %t, other %t, %d addresses", allow("oldest"), allow("other"), l.Seen())
	}
	at = at.Add(time.Hour)
	if !allow("other") || l.Seen() != 0 {
		t.Errorf("an hour later: other %t, %d addresses", allow("other"), l.Seen())
	}
}

// Tries that were counted by a clock that was ahead do not lock an address out
// until that time has come.
func TestTriesByAClockThatWasAheadAreForgotten(t *testing.T) {
	t.Parallel()
	at := time.Date(2018, 6, 11, 5, 40, 0, 0, time.UTC)
	l := api.Tries{Now: func() time.Time { return at }, Most: 2, Window: 15 * time.Minute}
	allow := func() bool { _, ok := l.Allow("here"); return ok }
	at = at.AddDate(0, 0, 400)
	l.Failed("here")
	l.Failed("here")
	if allow() {
		t.Error("two of two are not counted")
	}
	at = at.AddDate(0, 0, -400)
	if !allow() {
		t.Error("when the clock is right again, it is still locked out")
	}
	l.Failed("here")
	l.Failed("here")
	if allow() {
		t.Error("by the right clock two of two are not counted")
	}
}
