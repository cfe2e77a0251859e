package memo_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"ripetide/forecast/memo"
)

// double is a value that lasts.
func double(made *atomic.Int64, n int) func(context.Context) (int, bool, error) {
	return func(context.Context) (int, bool, error) {
		made.Add(1)
		return 2 * n, true, nil
	}
}

func TestAValueIsMadeOnce(t *testing.T) {
	t.Parallel()
	var c memo.Cache[int, int]
	var made atomic.Int64
	for range 3 {
		if v, err := c.Get(t.Context(), 4, double(&made, 4)); v != 8 || err != nil {
			t.Fatalf("4 doubled is %d, %v", v, err)
		}
	}
	if n := made.Load(); n != 1 {
		t.Errorf("made %d times", n)
	}
}

func TestThoseAskedForLastAreKept(t *testing.T) {
	t.Parallel()
	c := memo.Cache[int, int]{Most: 2}
	c.Put(1, 10)
	c.Put(2, 20)
	c.Look(1)
	c.Put(3, 30)
	c.Put(3, 31) // Again: no second place is taken.
	for key, want := range map[int]int{1: 10, 2: 0, 3: 31} {
		if v, ok := c.Look(key); v != want || ok != (want != 0) {
			t.Errorf("of %d is kept %d, %v; want %d", key, v, ok, want)
		}
	}
}

func TestTheZeroCacheIsBounded(t *testing.T) {
	t.Parallel()
	var c memo.Cache[int, int]
	for i := range 100 {
		c.Put(i, i)
	}
	n := 0
	for i := range 100 {
		if _, ok := c.Look(i); ok {
			n++
		}
	}
	if n != 32 {
		t.Errorf("%d are kept, want 32", n)
	}
}

func TestWhatDoesNotLastIsMadeAgain(t *testing.T) {
	t.Parallel()
	var c memo.Cache[string, int]
	bad := errors.New("bad")
	n := 0
	for range 2 {
		if v, err := c.Get(t.Context(), "brief", func(context.Context) (int, bool, error) { n++; return n, false, nil }); v != n || err != nil {
			t.Errorf("%d, %v; want %d", v, err, n)
		}
		if _, err := c.Get(t.Context(), "bad", func(context.Context) (int, bool, error) { n++; return n, true, bad }); !errors.Is(err, bad) {
			t.Errorf("%v, want the error", err)
		}
	}
	if n != 4 {
		t.Errorf("made %d times, want 4", n)
	}
}

func TestManyWhoAskAtOnceWaitForOne(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var c memo.Cache[int, int]
		var made atomic.Int64
		open := make(chan struct{})
		var all sync.WaitGroup
		for range 50 {
			all.Go(func() {
				v, err := c.Get(t.Context(), 1, func(ctx context.Context) (int, bool, error) {
					<-open
					return double(&made, 1)(ctx)
				})
				if v != 2 || err != nil {
					t.Errorf("%d, %v", v, err)
				}
			})
		}
		synctest.Wait()
		// Another value need not wait for this one.
		if v, err := c.Get(t.Context(), 3, double(&made, 3)); v != 6 || err != nil {
			t.Errorf("%d, %v", v, err)
		}
		close(open)
		all.Wait()
		if n := made.Load(); n != 2 {
			t.Errorf("made %d times, want 2", n)
		}
	})
}

// One who goes, or panics, while making a value leaves it to the next.
func TestOneWhoGivesUpLeavesItToTheNext(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]func(context.Context) error{
		"gone":   func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() },
		"panics": func(ctx context.Context) error { <-ctx.Done(); panic("on purpose") },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				var c memo.Cache[int, int]
				var made atomic.Int64
				first, leave := context.WithCancel(t.Context())
				var all sync.WaitGroup
				all.Go(func() {
					defer func() { _ = recover() }()
					if _, err := c.Get(first, 1, func(ctx context.Context) (int, bool, error) { return 0, true, end(ctx) }); !errors.Is(err, context.Canceled) {
						t.Errorf("the first has %v", err)
					}
				})
				synctest.Wait()
				for range 3 {
					all.Go(func() {
						if v, err := c.Get(t.Context(), 1, double(&made, 1)); v != 2 || err != nil {
							t.Errorf("another has %d, %v", v, err)
						}
					})
				}
				synctest.Wait()
				leave()
				all.Wait()
				if n := made.Load(); n != 1 {
					t.Errorf("made %d times, want 1", n)
				}
			})
		})
	}
}

// callerError is an error of one who asks.
type callerError struct{ error }

func (callerError) OfCaller() {}

func TestOneWhoMayNotLeavesItToTheNext(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var c memo.Cache[string, int]
		refused := fmt.Errorf("make: %w", callerError{errors.New("too often")})
		var all sync.WaitGroup
		all.Go(func() {
			if _, err := c.Get(t.Context(), "a", func(context.Context) (int, bool, error) {
				time.Sleep(time.Second) // The other waits by then.
				return 0, false, refused
			}); !errors.Is(err, refused) {
				t.Errorf("the first: %v", err)
			}
		})
		synctest.Wait()
		all.Go(func() {
			if v, err := c.Get(t.Context(), "a", func(context.Context) (int, bool, error) { return 7, true, nil }); v != 7 || err != nil {
				t.Errorf("the second: %d %v", v, err)
			}
		})
		all.Wait()
	})
}

func TestOneWhoWaitsMayGo(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var c memo.Cache[int, int]
		open := make(chan struct{})
		go func() {
			_, _ = c.Get(t.Context(), 1, func(context.Context) (int, bool, error) { <-open; return 1, true, nil })
		}()
		synctest.Wait()
		gone, leave := context.WithCancelCause(t.Context())
		why := errors.New("gone home")
		leave(why)
		if _, err := c.Get(gone, 1, func(context.Context) (int, bool, error) { panic("not asked") }); !errors.Is(err, why) {
			t.Errorf("%v, want %v", err, why)
		}
		close(open)
	})
}

func ExampleCache() {
	var squares memo.Cache[int, int]
	for range 2 {
		v, err := squares.Get(context.Background(), 12, func(context.Context) (int, bool, error) {
			fmt.Println("working it out")
			return 12 * 12, true, nil
		})
		fmt.Println(v, err)
	}
	// Output:
	// working it out
	// 144 <nil>
	// 144 <nil>
}
