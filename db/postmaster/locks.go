package postmaster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"
)

// Three locks keep the processes that share a server in order.
//
// The lock file useName is held shared by every process that uses the server.
// Whoever can get it exclusively is alone, and may stop the server. The lock
// file startName is held exclusively while anything is started or stopped, so
// nobody attaches to a server on its way out, and two cannot start one.
//
// The lock file runName is held by the server itself, who inherits it open and
// does not know of it. So it is held as long as one process of the server
// lives, also where we cannot see that process.
//
// The kernel drops a lock when the last process that holds it dies, however it
// dies.
const (
	startName = "postgres.lock"
	useName   = "postgres.use"
	runName   = "postgres.run"
)

// A lock is an open lock file. Two locks of one process exclude each other
// like those of two processes.
type lock struct{ f *os.File }

func openLock(in *os.Root, name string, a account) (*lock, error) {
	f, err := a.openFile(in, name)
	if err != nil {
		return nil, err
	}
	return &lock{f}, nil
}

// try takes the lock, syscall.LOCK_SH or LOCK_EX, if it is free. What was held
// before is lost in any case.
func (l *lock) try(how int) (bool, error) {
	for {
		switch err := syscall.Flock(int(l.f.Fd()), how|syscall.LOCK_NB); {
		case err == nil:
			return true, nil
		case errors.Is(err, syscall.EWOULDBLOCK):
			return false, nil
		case !errors.Is(err, syscall.EINTR):
			return false, fmt.Errorf("lock %s: %w", l.f.Name(), err)
		}
	}
}

// wait takes the lock as soon as it is free, or gives up with ErrBusy.
func (l *lock) wait(ctx context.Context, how int, limit time.Duration) error {
	ctx, cancel := context.WithTimeoutCause(ctx, limit, ErrBusy)
	defer cancel()
	for {
		if ok, err := l.try(how); ok || err != nil {
			return err
		}
		if err := pause(ctx, 10*time.Millisecond); err != nil {
			return fmt.Errorf("lock %s: %w", l.f.Name(), err)
		}
	}
}

// release gives the lock back. It unlocks before it closes, because a program
// that is being started right now holds a copy of the file until it runs.
func (l *lock) release() error {
	return errors.Join(syscall.Flock(int(l.f.Fd()), syscall.LOCK_UN), l.f.Close())
}

// pause waits for d, or returns early with the cause for which ctx ended.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
