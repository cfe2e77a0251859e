package postmaster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"syscall"
	"time"
)

// A verdict says what a process is to a cluster.
type verdict int

const (
	gone    verdict = iota // No such process, or one that is dead and not yet buried.
	foreign                // It has nothing to do with the cluster.
	ours                   // It is a PostgreSQL process of the cluster.
	unclear                // We are not allowed to see.
)

// exists reports whether a process has the number pid, dead or alive.
func exists(pid int) bool {
	return !errors.Is(syscall.Kill(pid, 0), syscall.ESRCH)
}

// signal sends sig to the process pid if it belongs to the cluster, and
// reports whether it did.
func (c *cluster) signal(pid int, sig os.Signal) (bool, error) {
	p, err := os.FindProcess(pid)
	if err != nil {
		return false, err
	}
	defer p.Release() //nolint:errcheck // It only fails for a process that was released before.
	// The handle was taken before the look, so what is signalled is what was
	// seen even if the number is reused in between.
	if c.judge(pid) != ours {
		return false, nil
	}
	err = p.Signal(sig)
	if errors.Is(err, os.ErrProcessDone) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("signal process %d: %w", pid, err)
	}
	return true, nil
}

// waitGone waits until no process of the cluster is left, or for limit. It
// returns those that are left.
func (c *cluster) waitGone(ctx context.Context, limit time.Duration) ([]int, error) {
	deadline := time.Now().Add(limit)
	for {
		pids, err := c.processes()
		if err != nil || len(pids) == 0 || time.Now().After(deadline) {
			return pids, err
		}
		if err := pause(ctx, 10*time.Millisecond); err != nil {
			return pids, err
		}
	}
}

// endOrphans ends the processes that outlived their postmaster. Most do so by
// themselves; a backend in a long computation does not notice, and as long as
// it holds the shared memory PostgreSQL refuses to start.
func (c *cluster) endOrphans(ctx context.Context) error {
	for _, sig := range []os.Signal{syscall.SIGTERM, syscall.SIGQUIT} {
		pids, err := c.processes()
		if err != nil || len(pids) == 0 {
			return err
		}
		for _, pid := range pids {
			if _, err := c.signal(pid, sig); err != nil {
				return err
			}
		}
		c.log.WarnContext(ctx, "postgres processes outlived their server", "pids", pids, "signal", sig.String())
		if pids, err = c.waitGone(ctx, orphanTimeout); err != nil || len(pids) == 0 {
			return err
		}
	}
	// PostgreSQL has the last word on whether these are in the way.
	return nil
}

// A child is a server that we started.
type child struct {
	process *os.Process
	done    chan struct{} // Closed when it ended; then err says how.
	err     error
}

// spawn starts cmd and buries it when it ends.
func spawn(cmd *exec.Cmd) (*child, error) {
	c := &child{done: make(chan struct{})}
	started := make(chan error)
	go func() {
		// A parent-death signal is sent when the thread that started the
		// child ends, so it is kept for as long as the child lives.
		runtime.LockOSThread()
		err := cmd.Start()
		if err == nil {
			c.process = cmd.Process
		}
		started <- err
		if err == nil {
			c.err = cmd.Wait()
			close(c.done)
		}
	}()
	return c, <-started
}

// end ends a server that did not become ready: politely, then firmly.
func (c *child) end() {
	for _, sig := range []syscall.Signal{syscall.SIGINT, syscall.SIGQUIT, syscall.SIGKILL} {
		select {
		case <-c.done:
			return
		default:
		}
		if err := c.process.Signal(sig); err != nil {
			return // It has just ended.
		}
		select {
		case <-c.done:
		case <-time.After(endTimeout):
		}
	}
}
