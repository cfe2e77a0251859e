package feed_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"ripetide/weather/feed"
)

// store is a store in memory. Its errors are set by tests.
type store struct {
	mu     sync.Mutex
	jobs   map[feed.Key]feed.Job
	locked map[feed.Key]bool
	kept   []line
	reads  int // Calls of Feeds.

	feedsErr, lockErr, keepErr error
	panics                     bool // In Keep.
}

// line is a line of history.
type line struct {
	key     feed.Key
	outcome feed.Outcome
	started time.Time
}

func storeOf(jobs ...feed.Job) *store {
	s := &store{jobs: map[feed.Key]feed.Job{}, locked: map[feed.Key]bool{}}
	for _, j := range jobs {
		s.jobs[j.Key()] = j
	}
	return s
}

func (s *store) Feeds(context.Context) ([]feed.Job, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reads++
	return slices.Collect(maps.Values(s.jobs)), s.feedsErr
}

func (s *store) Feed(_ context.Context, k feed.Key) (feed.Job, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	j, ok := s.jobs[k]
	if !ok {
		return feed.Job{}, fmt.Errorf("store: %w", feed.ErrFeedNotFound)
	}
	if !s.locked[k] {
		return feed.Job{}, errors.New("read without its lock")
	}
	return j, nil
}

func (s *store) Lock(_ context.Context, k feed.Key) (unlock func(), got bool, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lockErr != nil || s.locked[k] {
		return nil, false, s.lockErr
	}
	s.locked[k] = true
	return func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.locked, k)
	}, true, nil
}

func (s *store) Keep(ctx context.Context, j feed.Job, r feed.Result, st feed.State, started time.Time) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.panics:
		panic("in the store")
	case s.keepErr != nil:
		return s.keepErr
	case ctx.Err() != nil:
		return ctx.Err()
	case !s.locked[j.Key()]:
		return errors.New("kept without its lock")
	}
	s.kept = append(s.kept, line{j.Key(), r.Outcome, started})
	j.State = st
	s.jobs[j.Key()] = j
	return nil
}

func (s *store) history() []line {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.kept)
}

func (s *store) change(k feed.Key, f func(*feed.Job)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	j := s.jobs[k]
	f(&j)
	s.jobs[k] = j
}

// fetcher fetches by a function.
type fetcher func(ctx context.Context, s feed.Spec, st feed.State) (feed.Result, feed.State)

func (f fetcher) Fetch(ctx context.Context, s feed.Spec, _ *time.Location, st feed.State) (feed.Result, feed.State) {
	return f(ctx, s, st)
}

// hourly takes a second and wants to be asked again after an hour.
func hourly(ctx context.Context, s feed.Spec, st feed.State) (feed.Result, feed.State) {
	st = settled(ctx, s, st)
	st.LastAt = time.Now()
	select {
	case <-time.After(time.Second):
	case <-ctx.Done():
		return feed.Result{Outcome: feed.Failed}, st
	}
	st.NextAt = time.Now().Add(time.Hour)
	return feed.Result{Outcome: feed.New}, st
}

// settled returns st as a fetch of s leaves it, which tells for which settings
// it is.
func settled(ctx context.Context, s feed.Spec, st feed.State) feed.State {
	cl := client(&clock{})
	cl.SetTransport(roundTrip(func(*http.Request) (*http.Response, error) { return nil, errors.New("no network") }))
	_, of := cl.Fetch(context.WithoutCancel(ctx), s, time.UTC, feed.State{})
	st.Of = of.Of
	return st
}

func job(id string) feed.Job {
	s := nceiSpec("")
	s.ID = id
	return feed.Job{Farm: "hill", Station: "barn", Spec: s, Zone: time.UTC}
}

func runner(s feed.Store, f feed.Fetcher) (*feed.Runner, *bytes.Buffer) {
	log := &bytes.Buffer{}
	return &feed.Runner{Store: s, Client: f, Now: time.Now, Log: slog.New(slog.NewTextHandler(log, nil))}, log
}

// run runs runners for a while.
func run(t *testing.T, d time.Duration, runners ...*feed.Runner) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), d)
	defer cancel()
	var wg sync.WaitGroup
	for _, r := range runners {
		wg.Go(func() { r.Run(ctx) })
	}
	wg.Wait()
}

func TestFeedsAreFetchedWhenTheyAreDue(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		s := storeOf(job("a"), job("b"))
		r, log := runner(s, fetcher(hourly))
		start := time.Now()
		run(t, 5*time.Hour+30*time.Minute, r)
		count := map[string]int{}
		for _, l := range s.history() {
			n := count[l.key.Feed]
			count[l.key.Feed]++
			// Each takes a second, an hour passes, and it is seen when due.
			if want := time.Duration(n) * (time.Hour + time.Second); l.started.Sub(start) < want || l.started.Sub(start) > want+time.Duration(n)*6*time.Second {
				t.Errorf("%s started the %d. time after %v, want %v", l.key, n+1, l.started.Sub(start), want)
			}
		}
		if count["a"] != 6 || count["b"] != 6 {
			t.Errorf("fetched %v times, want 6 each", count)
		}
		if s.reads > 5*60+30+2*12 {
			t.Errorf("the store was read %d times", s.reads)
		}
		if !strings.Contains(log.String(), "feed=hill/barn/a outcome=new") {
			t.Errorf("log: %s", log)
		}
	})
}

// The clock is ahead by more than a year for an hour. Once it is right, feeds are
// fetched as often as before, also those that could not be kept meanwhile, and a
// person may fetch one at once.
func TestFeedsGoOnAfterAClockThatWasAhead(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		s := storeOf(job("a"), job("b"))
		var ahead atomic.Int64
		now := func() time.Time { return time.Now().Add(time.Duration(ahead.Load())) }
		r, _ := runner(s, fetcher(func(ctx context.Context, sp feed.Spec, st feed.State) (feed.Result, feed.State) {
			res, st := hourly(ctx, sp, st)
			st.LastAt, st.NextAt = now(), now().Add(time.Hour)
			return res, st
		}))
		r.Now = now
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); r.Run(ctx) }()
		time.Sleep(10 * time.Minute)
		ahead.Store(int64(400 * 24 * time.Hour))
		time.Sleep(30 * time.Minute)
		if n := len(s.history()); n != 4 {
			t.Fatalf("%d fetches before the clock is set right, want one by each clock of each feed", n)
		}
		ahead.Store(0)
		if _, err := r.Once(t.Context(), job("a").Key()); err != nil {
			t.Errorf("a person may not fetch one: %v", err)
		}
		right := time.Now()
		time.Sleep(5*time.Hour + 30*time.Minute)
		count := map[string]int{}
		for _, l := range s.history() {
			if !l.started.Before(right.Add(-2*time.Second)) && l.started.Before(right.Add(10*time.Hour)) {
				count[l.key.Feed]++
			}
		}
		if count["a"] != 6 || count["b"] != 6 {
			t.Errorf("fetched %v times in five and a half hours, want 6 each", count)
		}
		// Ahead again, and what is fetched cannot be kept.
		fail := func(err error) {
			s.mu.Lock()
			defer s.mu.Unlock()
			s.keepErr = err
		}
		fail(errors.New("disk full"))
		ahead.Store(int64(400 * 24 * time.Hour))
		time.Sleep(5 * time.Minute) // Both are left alone now.
		ahead.Store(0)
		fail(nil)
		before := len(s.history())
		time.Sleep(70 * time.Minute)
		cancel()
		<-done
		if n := len(s.history()) - before; n < 2 {
			t.Errorf("%d fetches within 70 minutes after both were left alone by a clock that was ahead", n)
		}
	})
}

// Two instances whose clocks differ by a minute do not take each other's for one
// that is ahead.
func TestClocksThatDifferALittleFetchOnce(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		j := job("a")
		s := storeOf(j)
		ahead, _ := runner(s, fetcher(hourly))
		behind, _ := runner(s, fetcher(hourly))
		behind.Now = func() time.Time { return time.Now().Add(-time.Minute) }
		run(t, 3*time.Hour+30*time.Minute, ahead, behind)
		if n := len(s.history()); n != 4 {
			t.Errorf("fetched %d times in three and a half hours, want 4", n)
		}
	})
}

func TestTwoRunnersFetchEachFeedOnce(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var jobs []feed.Job
		for i := range 25 {
			jobs = append(jobs, job(fmt.Sprint("f", i)))
		}
		s := storeOf(jobs...)
		var mu sync.Mutex
		running, most := map[string]bool{}, 0
		f := fetcher(func(ctx context.Context, spec feed.Spec, st feed.State) (feed.Result, feed.State) {
			mu.Lock()
			if running[spec.ID] {
				t.Errorf("%s is fetched twice at a time", spec.ID)
			}
			running[spec.ID] = true
			most = max(most, len(running))
			mu.Unlock()
			defer func() {
				mu.Lock()
				defer mu.Unlock()
				delete(running, spec.ID)
			}()
			return hourly(ctx, spec, st)
		})
		one, _ := runner(s, f)
		two, _ := runner(s, f)
		one.AtOnce, two.AtOnce = 3, 2
		run(t, 50*time.Minute, one, two)
		seen := map[feed.Key]int{}
		for _, l := range s.history() {
			seen[l.key]++
		}
		for _, j := range jobs {
			if seen[j.Key()] != 1 {
				t.Errorf("%s fetched %d times, want once", j.Key(), seen[j.Key()])
			}
		}
		if most != 5 {
			t.Errorf("%d at a time, want 3 + 2", most)
		}
		if len(s.locked) != 0 {
			t.Errorf("still locked: %v", s.locked)
		}
	})
}

func TestFourFeedsAtATimeUnlessSaid(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var jobs []feed.Job
		for i := range 9 {
			jobs = append(jobs, job(fmt.Sprint("f", i)))
		}
		s := storeOf(jobs...)
		r, _ := runner(s, fetcher(hourly))
		run(t, 2500*time.Millisecond, r)
		if n := len(s.history()); n != 8 { // Four a second; the third lot is broken off.
			t.Errorf("%d fetched, want 8", n)
		}
	})
}

func TestPausedAndVanishedFeedsAreNotFetched(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		paused, gone := job("paused"), job("gone")
		paused.Spec.Paused = true
		s := storeOf(paused, gone, job("a"))
		r, log := runner(vanishing{s, gone.Key()}, fetcher(hourly))
		run(t, 10*time.Minute, r)
		if h := s.history(); len(h) != 1 || h[0].key.Feed != "a" {
			t.Errorf("fetched %v, want a only", h)
		}
		if strings.Contains(log.String(), "ERROR") {
			t.Errorf("log: %s", log)
		}
	})
}

// vanishing is a store in which a feed is gone, or paused, once it is looked at
// closely.
type vanishing struct {
	*store
	gone feed.Key
}

func (v vanishing) Feed(ctx context.Context, k feed.Key) (feed.Job, error) {
	if k == v.gone {
		return feed.Job{}, feed.ErrFeedNotFound
	}
	return v.store.Feed(ctx, k)
}

func TestWhatWasFetchedMeanwhileIsNotFetchedAgain(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		a := job("a")
		s := storeOf(a)
		fetched := 0
		r, _ := runner(stale{s, []feed.Job{a}}, fetcher(func(ctx context.Context, spec feed.Spec, st feed.State) (feed.Result, feed.State) {
			fetched++
			return hourly(ctx, spec, st)
		}))
		run(t, 30*time.Minute, r)
		if fetched != 1 {
			t.Errorf("fetched %d times, want once", fetched)
		}
	})
}

// stale is a store whose list is as it was in the beginning.
type stale struct {
	*store
	jobs []feed.Job
}

func (s stale) Feeds(context.Context) ([]feed.Job, error) { return s.jobs, nil }

func TestNewSettingsAreTriedWithinAMinute(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		a := job("a")
		s := storeOf(a)
		r, _ := runner(s, fetcher(hourly))
		go func() {
			time.Sleep(20 * time.Minute)
			s.change(a.Key(), func(j *feed.Job) { j.Spec.SourceStation = "USW00014922" })
		}()
		run(t, 21*time.Minute, r)
		if n := len(s.history()); n != 2 {
			t.Errorf("fetched %d times, want twice", n)
		}
	})
}

func TestOneFeedsTroubleDoesNotStopTheOthers(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name  string
		spoil func(*store)
		log   string
		most  int // Fetches of the feed in trouble in an hour and a half.
	}{
		{"it cannot be stored", func(s *store) { s.keepErr = errors.New("disk full") }, "disk full", 7},
		{"storing it panics", func(s *store) { s.panics = true }, "in the store", 7},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				bad := storeOf(job("bad"))
				tt.spoil(bad)
				s := storeOf(job("good"))
				both := &double{bad, s}
				fetched := map[string]int{}
				var mu sync.Mutex
				r, log := runner(both, fetcher(func(ctx context.Context, spec feed.Spec, st feed.State) (feed.Result, feed.State) {
					mu.Lock()
					fetched[spec.ID]++
					mu.Unlock()
					return hourly(ctx, spec, st)
				}))
				run(t, 90*time.Minute, r)
				if len(s.history()) != 2 || fetched["good"] != 2 {
					t.Errorf("the good one was kept %d times, want 2", len(s.history()))
				}
				// Not again and again: after a quarter of an hour.
				if n := fetched["bad"]; n < 5 || n > tt.most {
					t.Errorf("the bad one was fetched %d times", n)
				}
				if !strings.Contains(log.String(), tt.log) || len(bad.locked) != 0 {
					t.Errorf("locked %v, log: %s", bad.locked, log)
				}
			})
		})
	}
}

// double is two stores as one: the feed "bad" is in the first.
type double struct{ bad, good *store }

func (d *double) of(k feed.Key) *store {
	if k.Feed == "bad" {
		return d.bad
	}
	return d.good
}

func (d *double) Feeds(ctx context.Context) ([]feed.Job, error) {
	a, _ := d.bad.Feeds(ctx)
	b, err := d.good.Feeds(ctx)
	return append(a, b...), err
}

func (d *double) Feed(ctx context.Context, k feed.Key) (feed.Job, error) { return d.of(k).Feed(ctx, k) }

func (d *double) Lock(ctx context.Context, k feed.Key) (func(), bool, error) {
	return d.of(k).Lock(ctx, k)
}

func (d *double) Keep(ctx context.Context, j feed.Job, r feed.Result, st feed.State, at time.Time) error {
	return d.of(j.Key()).Keep(ctx, j, r, st, at)
}

func TestAStoreThatIsAwayIsAskedOnceAMinute(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		s := storeOf(job("a"))
		s.feedsErr = errors.New("connection refused")
		r, log := runner(s, fetcher(hourly))
		run(t, 10*time.Minute-time.Second, r)
		if s.reads != 10 || len(s.history()) != 0 || strings.Count(log.String(), "connection refused") != 10 {
			t.Errorf("read %d times, log: %s", s.reads, log)
		}
		s.feedsErr, s.lockErr = nil, errors.New("no lock")
		run(t, 10*time.Minute-time.Second, r)
		if n := strings.Count(log.String(), "no lock"); n != 1 {
			t.Errorf("%d lines about the lock, want one in a quarter of an hour", n)
		}
	})
}

func TestAFeedThatIsFetchedElsewhereIsLeftAlone(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		a := job("a")
		s := storeOf(a)
		unlock, _, _ := s.Lock(t.Context(), a.Key())
		r, log := runner(s, fetcher(hourly))
		run(t, 10*time.Minute-time.Second, r)
		if s.reads > 11 || len(s.history()) != 0 || log.Len() != 0 {
			t.Errorf("read %d times, history %v, log %s", s.reads, s.history(), log)
		}
		unlock()
		run(t, time.Minute, r)
		if len(s.history()) != 1 {
			t.Error("not fetched when the other was done")
		}
	})
}

func TestWhatIsBrokenOffByStoppingIsNoFailure(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		a := job("a")
		s := storeOf(a)
		r, log := runner(s, fetcher(hourly))
		run(t, 500*time.Millisecond, r) // It takes a second.
		if len(s.history()) != 0 || !s.jobs[a.Key()].State.NextAt.IsZero() || len(s.locked) != 0 || strings.Contains(log.String(), "ERROR") {
			t.Errorf("history %v, log %s", s.history(), log)
		}
		// What is there is still kept.
		r, _ = runner(s, fetcher(func(ctx context.Context, _ feed.Spec, st feed.State) (feed.Result, feed.State) {
			<-ctx.Done()
			return feed.Result{Outcome: feed.New}, st
		}))
		run(t, time.Second, r)
		if len(s.history()) != 1 {
			t.Error("an answer that was there is lost")
		}
	})
}

func TestFetchNow(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		a := job("a")
		a.Spec.Paused = true
		a.State = settled(t.Context(), a.Spec, feed.State{NextAt: time.Now().Add(time.Hour)})
		s := storeOf(a)
		r, _ := runner(s, fetcher(hourly))
		once := func() error {
			res, err := r.Once(t.Context(), a.Key())
			if err == nil && res.Outcome != feed.New {
				t.Errorf("outcome %s", res.Outcome)
			}
			return err
		}
		if err := once(); err != nil || len(s.history()) != 1 {
			t.Errorf("paused and not due: %v", err)
		}
		err := once()
		if tooSoon, ok := errors.AsType[*feed.TooSoonError](err); !ok || !errors.Is(err, feed.ErrTooSoon) || time.Until(tooSoon.At) != 59*time.Second {
			t.Errorf("at once again: %v, want too soon for another 59 s", err)
		}
		time.Sleep(time.Minute)
		if err := once(); err != nil {
			t.Errorf("a minute later: %v", err)
		}
		s.change(a.Key(), func(j *feed.Job) { j.State.NotBefore = time.Now().Add(time.Hour) })
		time.Sleep(59 * time.Minute)
		if err := once(); !errors.Is(err, feed.ErrTooSoon) || !strings.Contains(err.Error(), "but at 2000-01-01T01:01:02Z") {
			t.Errorf("before the service wants it: %v", err)
		}
		s.change(a.Key(), func(j *feed.Job) { j.Spec.Contact = "a@example.org" })
		if err := once(); err != nil {
			t.Errorf("with other settings: %v", err)
		}
		unlock, _, _ := s.Lock(t.Context(), a.Key())
		if err := once(); !errors.Is(err, feed.ErrBusy) {
			t.Errorf("while it is fetched: %v", err)
		}
		unlock()
		if _, err := r.Once(t.Context(), job("b").Key()); !errors.Is(err, feed.ErrFeedNotFound) || len(s.locked) != 0 {
			t.Errorf("one that there is not: %v", err)
		}
		time.Sleep(time.Hour)
		s.keepErr = errors.New("disk full")
		if res, err := r.Once(t.Context(), a.Key()); !errors.Is(err, s.keepErr) || res.Outcome != feed.New {
			t.Errorf("when it cannot be stored: %v %v", res, err)
		}
		s.lockErr = errors.New("no lock")
		if err := once(); !errors.Is(err, s.lockErr) {
			t.Errorf("when it cannot be locked: %v", err)
		}
	})
}

func TestTheLogTellsTroubleButNoKey(t *testing.T) {
	t.Parallel()
	s := serveTLS(t, answers(400, `{"reason":"k3y is not known"}`))
	j := feed.Job{Farm: "hill", Station: "barn", Spec: meteoSpec(s.URL), Zone: zone(t, "Europe/Berlin")}
	j.Spec.Key = "k3y"
	st := storeOf(j)
	c := at(t, berlin)
	r, log := runner(st, client(c, trust(s)))
	r.Now = c.Now
	res, err := r.Once(t.Context(), j.Key())
	if err != nil || res.Outcome != feed.Refused {
		t.Errorf("%v %v", res, err)
	}
	if said := log.String(); strings.Contains(said, "k3y") || !strings.Contains(said, "level=WARN") || !strings.Contains(said, "outcome=refused") || !strings.Contains(said, "status=400") {
		t.Errorf("log: %s", said)
	}
	if h := st.history(); len(h) != 1 || !h[0].started.Equal(c.Now()) {
		t.Errorf("history %v", h)
	}
}

func TestFeedsThatAreDueSoonAreNotWaitedForAMinute(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		a := job("a")
		a.State = settled(t.Context(), a.Spec, feed.State{NextAt: time.Now().Add(20 * time.Second)})
		s := storeOf(a)
		r, _ := runner(s, fetcher(hourly))
		start := time.Now()
		run(t, 50*time.Second, r)
		if h := s.history(); len(h) != 1 || h[0].started.Sub(start) != 20*time.Second {
			t.Errorf("fetched %v, want after 20 s", h)
		}
	})
}

func TestTheStoreIsNotReadForEachFeed(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var jobs []feed.Job
		of := settled(t.Context(), job("a").Spec, feed.State{}).Of
		for i := range 500 { // Due ten times a second.
			j := job("a")
			j.Farm = fmt.Sprint("f", i)
			j.State = feed.State{Of: of, NextAt: time.Now().Add(time.Duration(i) * 100 * time.Millisecond)}
			jobs = append(jobs, j)
		}
		s := storeOf(jobs...)
		r, _ := runner(s, fetcher(func(_ context.Context, _ feed.Spec, st feed.State) (feed.Result, feed.State) {
			st.NextAt = time.Now().Add(time.Hour)
			return feed.Result{Outcome: feed.New}, st
		}))
		run(t, time.Minute, r)
		if len(s.history()) != 500 || s.reads > 13 { // Once in five seconds.
			t.Errorf("%d feeds fetched, the store read %d times", len(s.history()), s.reads)
		}
	})
}
