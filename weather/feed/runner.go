package feed

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"runtime/debug"
	"sync"
	"time"

	"ripetide/weather"
)

// Errors of a [Runner]; match with [errors.Is].
var (
	// ErrFeedNotFound is a feed that there is not, or no more.
	ErrFeedNotFound = errors.New("feed: not found")
	// ErrBusy is a feed that is being fetched, here or by another instance.
	ErrBusy = errors.New("feed: is being fetched")
	// ErrTooSoon is a feed whose service does not want to be asked yet.
	ErrTooSoon = errors.New("feed: too soon to ask again")
	errNotDue  = errors.New("feed: not due")
)

// TooSoonError says when a feed may be asked again. It matches [ErrTooSoon].
type TooSoonError struct{ At time.Time }

func (e *TooSoonError) Error() string {
	return ErrTooSoon.Error() + ", but at " + e.At.UTC().Format(time.RFC3339)
}

// Is reports whether target is [ErrTooSoon].
func (e *TooSoonError) Is(target error) bool { return target == ErrTooSoon }

// Key names a feed.
type Key struct{ Farm, Station, Feed string }

func (k Key) String() string { return k.Farm + "/" + k.Station + "/" + k.Feed }

// Job is a feed to fetch.
type Job struct {
	Farm, Station string
	Spec          Spec
	Zone          *time.Location // Of the farm.
	State         State
}

// Key returns the name of the feed.
func (j Job) Key() Key { return Key{j.Farm, j.Station, j.Spec.ID} }

// Due returns when the feed is to be asked: at once, the zero time, if its
// settings have changed since it was, or if it was last asked by a clock that was
// ahead of now, for then none of its times means anything.
func (j Job) Due(now time.Time) time.Time {
	zone := j.Zone
	if zone == nil {
		zone = time.UTC
	}
	if j.State.Of != j.Spec.fingerprint(zone) || j.State.LastAt.After(now.Add(weather.ClockSkew)) {
		return time.Time{}
	}
	return j.State.NextAt
}

// Store keeps the feeds of all farms and what they deliver.
type Store interface {
	// Feeds returns all feeds.
	Feeds(ctx context.Context) ([]Job, error)
	// Feed returns a feed as it is now, or an error that matches
	// ErrFeedNotFound.
	Feed(ctx context.Context, k Key) (Job, error)
	// Lock takes the lock of a feed across all instances and reports whether it
	// got it; it does not wait for it. unlock works also when ctx has ended.
	Lock(ctx context.Context, k Key) (unlock func(), got bool, err error)
	// Keep stores, in one transaction, the days and the outlook of r that are
	// not nil, st in place of the state of j, and a line of history.
	Keep(ctx context.Context, j Job, r Result, st State, started time.Time) error
}

// Fetcher asks a service once, as [Client.Fetch] does.
type Fetcher interface {
	Fetch(ctx context.Context, s Spec, zone *time.Location, st State) (Result, State)
}

// Runner fetches the feeds of a store when they are due. Any number of them may
// run on one store.
type Runner struct {
	Store  Store
	Client Fetcher
	Now    func() time.Time
	Log    *slog.Logger
	AtOnce int // How many feeds are fetched at a time; default 4.

	mu   sync.Mutex
	held map[Key]time.Time // Feeds that this runner leaves alone until then.
}

const (
	// The runner looks for feeds that are due at least once in longestSleep, so
	// that it sees new ones, and never more often than once in shortestSleep.
	longestSleep  = time.Minute
	shortestSleep = 5 * time.Second
	// keepTime is how long storing may take when the runner is told to stop.
	keepTime = 10 * time.Second
	// holdBroken is after a feed cannot be stored.
	holdBroken = 15 * time.Minute
	// manualPause is between two fetches by Once.
	manualPause = time.Minute
)

// Run fetches what is due until ctx ends, and returns when all fetches have.
// Nothing that goes wrong with a feed stops it.
func (r *Runner) Run(ctx context.Context) {
	for {
		timer := time.NewTimer(r.pass(ctx))
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-timer.C:
		}
	}
}

// pass fetches all feeds that are due and returns how long to sleep.
func (r *Runner) pass(ctx context.Context) time.Duration {
	jobs, err := r.Store.Feeds(ctx)
	if err != nil {
		if ctx.Err() == nil {
			r.Log.ErrorContext(ctx, "feeds cannot be read", slog.Any("error", err))
		}
		return longestSleep
	}
	now := r.Now()
	r.release(now)
	places := make(chan struct{}, r.atOnce())
	var wg sync.WaitGroup
	for _, j := range jobs {
		if ctx.Err() != nil {
			break
		}
		if r.due(j, now).After(now) || j.Spec.Paused {
			continue
		}
		places <- struct{}{}
		wg.Go(func() {
			defer func() { <-places }()
			r.scheduled(ctx, j.Key())
		})
	}
	wg.Wait()
	return r.sleep(jobs)
}

func (r *Runner) atOnce() int {
	if r.AtOnce <= 0 {
		return 4
	}
	return r.AtOnce
}

// sleep returns the time to the first feed that is due of those that were not a
// moment ago. When the others are due again is seen within longestSleep.
func (r *Runner) sleep(jobs []Job) time.Duration {
	now, wait := r.Now(), longestSleep
	for _, j := range jobs {
		if d := r.due(j, now).Sub(now); d > 0 && !j.Spec.Paused {
			wait = min(wait, d)
		}
	}
	return max(wait, shortestSleep)
}

// due returns when this runner may take j.
func (r *Runner) due(j Job, now time.Time) time.Time {
	r.mu.Lock()
	defer r.mu.Unlock()
	due := j.Due(now)
	if held := r.held[j.Key()]; held.After(due) {
		return held
	}
	return due
}

// hold leaves a feed that is broken alone for a while.
func (r *Runner) hold(k Key) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.held == nil {
		r.held = map[Key]time.Time{}
	}
	r.held[k] = r.Now().Add(holdBroken)
}

// release forgets the holds that are over, and those by a clock that was ahead.
func (r *Runner) release(now time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	maps.DeleteFunc(r.held, func(_ Key, until time.Time) bool { return !until.After(now) || until.After(now.Add(holdBroken)) })
}

// scheduled fetches a feed that seemed due. It does not panic.
func (r *Runner) scheduled(ctx context.Context, k Key) {
	defer func() {
		if p := recover(); p != nil {
			r.hold(k)
			r.Log.ErrorContext(ctx, "feed panicked", slog.String("feed", k.String()),
				slog.Any("panic", p), slog.String("stack", string(debug.Stack())))
		}
	}()
	_, err := r.take(ctx, k, func(j Job) error {
		if now := r.Now(); j.Spec.Paused || j.Due(now).After(now) {
			return errNotDue
		}
		return nil
	})
	switch {
	case err == nil, ctx.Err() != nil:
	case errors.Is(err, errNotDue), errors.Is(err, ErrBusy), errors.Is(err, ErrFeedNotFound): // Another saw to it.
	default:
		r.hold(k)
		r.Log.ErrorContext(ctx, "feed cannot be kept", slog.String("feed", k.String()), slog.Any("error", err))
	}
}

// Once fetches a feed now, due or paused or not, for a person who asks for it.
// Errors: [ErrFeedNotFound]; [ErrBusy]; [ErrTooSoon], less than a minute after
// the last time or while the service wants not to be asked; those of the store.
// What went wrong with the service is in the result.
func (r *Runner) Once(ctx context.Context, k Key) (Result, error) {
	return r.take(ctx, k, func(j Job) error {
		at := j.State.NotBefore
		if pause := j.State.LastAt.Add(manualPause); !j.State.LastAt.IsZero() && pause.After(at) {
			at = pause
		}
		if now := r.Now(); at.After(now) && !j.Due(now).IsZero() { // New settings may be tried at once.
			return &TooSoonError{at}
		}
		return nil
	})
}

// take fetches a feed under its lock, if it is ready, and stores what came.
func (r *Runner) take(ctx context.Context, k Key, ready func(Job) error) (Result, error) {
	unlock, got, err := r.Store.Lock(ctx, k)
	switch {
	case err != nil:
		return Result{}, fmt.Errorf("lock feed: %w", err)
	case !got:
		return Result{}, ErrBusy
	}
	defer unlock()
	// Another may have fetched it since it was looked at.
	j, err := r.Store.Feed(ctx, k)
	if err != nil {
		return Result{}, fmt.Errorf("read feed: %w", err)
	}
	if err := ready(j); err != nil {
		return Result{}, err
	}
	started := r.Now()
	res, st := r.Client.Fetch(ctx, j.Spec, j.Zone, j.State)
	if ctx.Err() != nil && res.Outcome == Failed {
		return res, ctx.Err() // It was we who broke it off: no failure of the feed.
	}
	r.tell(ctx, k, res)
	keep, cancel := context.WithTimeout(context.WithoutCancel(ctx), keepTime)
	defer cancel()
	if err := r.Store.Keep(keep, j, res, st, started); err != nil {
		return res, fmt.Errorf("keep feed: %w", err)
	}
	return res, nil
}

// tell logs what came of a fetch.
func (r *Runner) tell(ctx context.Context, k Key, res Result) {
	level := slog.LevelInfo
	if res.Outcome != New && res.Outcome != Unchanged {
		level = slog.LevelWarn
	}
	attrs := []slog.Attr{
		slog.String("feed", k.String()), slog.String("outcome", string(res.Outcome)), slog.String("detail", res.Detail),
		slog.Int("status", res.Status), slog.Int("requests", res.Requests), slog.Int64("ms", res.Took.Milliseconds()),
	}
	if res.Err != nil {
		attrs = append(attrs, slog.String("error", res.Err.Error()))
	}
	r.Log.LogAttrs(ctx, level, "feed fetched", attrs...)
}
