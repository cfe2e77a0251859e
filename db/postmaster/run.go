package postmaster

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// startLogName is the file for what the server says before it opens its log.
const startLogName = "postgres.start.log"

// maxTries is how often up looks for a server or starts one. A second try is
// needed when the server that was found was just ending, or when the one that
// was started met a left-over that is gone by then.
const maxTries = 3

// up sees to it that the server runs. The caller holds the start lock.
func (s *Server) up(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, s.opt.StartTimeout)
	defer cancel()
	begin := time.Now()
	for try := 1; ; try++ {
		p, alive, err := s.look()
		if err != nil {
			return err
		}
		if alive && p.standalone {
			return fmt.Errorf("process %d works on the cluster in single-user mode", p.pid)
		}
		var c *child
		if !alive {
			if c, err = s.launch(ctx); err != nil {
				return fmt.Errorf("start postgres: %w", err)
			}
		}
		p, err = s.await(ctx, c)
		if err == nil {
			s.mu.Lock()
			s.pid, s.socket, s.started = p.pid, p.socket, c != nil && p.pid == c.process.Pid
			s.mu.Unlock()
			s.log.InfoContext(ctx, "postgres is ready", "pid", p.pid, "started", s.Started(),
				"folder", s.cluster.path, "ms", time.Since(begin).Milliseconds())
			return nil
		}
		if c != nil {
			c.end() // Or it would stay, out of sight and perhaps half dead.
		}
		if !errors.Is(err, errGone) || try == maxTries {
			return fmt.Errorf("start postgres: %w", err)
		}
		s.log.WarnContext(ctx, "postgres did not come up, trying again", "error", err)
	}
}

// look reports whether the server runs, and what it says about itself.
func (s *Server) look() (p pidFile, alive bool, err error) {
	p, err = readPidFile(s.cluster.path)
	if errors.Is(err, fs.ErrNotExist) {
		return p, false, nil
	}
	if err != nil {
		return p, false, err
	}
	if p.pid != 0 && s.cluster.judge(p.pid) == ours {
		return p, true, nil
	}
	// In another container that shares the folder, processes have other
	// numbers, but the socket is the same. Only one that nobody else could
	// have made is trusted.
	own := p.socket.dir == s.cluster.path || strings.HasSuffix(p.socket.dir, fingerprint(s.cluster.path))
	return p, own && p.socket.answers(), nil
}

// launch starts the server, on a new cluster if there is none. It does not
// wait until it is ready.
func (s *Server) launch(ctx context.Context) (*child, error) {
	c := s.cluster
	major, err := c.version()
	if err != nil {
		return nil, err
	}
	programs, err := findPrograms(ctx, c.account, s.opt.Programs, major)
	if err != nil {
		return nil, err
	}
	in, err := os.OpenRoot(s.folder)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	if major == 0 {
		if err := c.create(ctx, in, programs); err != nil {
			return nil, fmt.Errorf("make a cluster: %w", err)
		}
	}
	if err := c.endOrphans(ctx); err != nil {
		return nil, err
	}
	run, err := openLock(in, runName, c.account)
	if err != nil {
		return nil, err
	}
	// Nothing of the cluster is touched before this lock is ours. It must
	// not be given back, only our copy of the file closed: the server has it
	// too. If none is started, closing the last copy unlocks.
	defer run.f.Close()
	if err := run.wait(ctx, syscall.LOCK_EX, useTimeout); errors.Is(err, ErrBusy) {
		return nil, ErrElsewhere
	} else if err != nil {
		return nil, err
	}
	at, err := socketFor(c.path, os.TempDir(), c.account)
	if err != nil {
		return nil, err
	}
	if at.dir != c.path {
		if err := makeSocketDir(at.dir, c.account); err != nil {
			return nil, err
		}
	}
	for _, file := range []struct{ dir, name string }{
		{c.path, pidName},
		{at.dir, at.name() + ".lock"},
	} {
		if err := settle(file.dir, file.name, c.account); err != nil {
			return nil, err
		}
	}
	if err := c.configure(); err != nil {
		return nil, err
	}
	out, err := c.account.openFile(in, startLogName)
	if err != nil {
		return nil, err
	}
	defer out.Close()
	if err := out.Truncate(0); err != nil {
		return nil, err
	}
	// The server outlives both ctx and, unless it is a throw-away, us.
	cmd := c.account.command(context.WithoutCancel(ctx), c.path, programs.path("postgres"), c.arguments(at)...)
	cmd.ExtraFiles = []*os.File{run.f}
	cmd.Stdout, cmd.Stderr = out, out // A pipe would break when we die.
	cmd.SysProcAttr.Setsid = true     // Ctrl-C is for us, who first answer the last requests.
	if c.throwaway {
		dieWithParent(cmd.SysProcAttr, syscall.SIGQUIT)
	}
	return spawn(cmd)
}

// await returns when the server answers a query. c is nil if we did not start
// it.
func (s *Server) await(ctx context.Context, c *child) (pidFile, error) {
	var done chan struct{}
	if c != nil {
		done = c.done
	}
	var refusal error
	for {
		p, alive, err := s.look()
		if err != nil {
			return p, err
		}
		// While a server starts or stops, it would refuse us and log that.
		if alive && p.ready {
			again, err := ping(ctx, p.socket)
			if !again {
				return p, err
			}
			refusal = err
		}
		if c == nil && !alive {
			return p, errGone
		}
		select {
		case <-done:
			// Its log writer may still be writing down why.
			_, err := s.cluster.waitGone(ctx, lastWordsTimeout)
			return p, errors.Join(fmt.Errorf("%w: %w: %s", errGone, c.err, s.lastWords()), err)
		default:
		}
		if err := pause(ctx, pollInterval); err != nil {
			return p, fmt.Errorf("wait for the first answer: %w", errors.Join(err, refusal))
		}
	}
}

// ping connects to the server once. After an error, again says whether another
// try makes sense.
func ping(ctx context.Context, at socket) (again bool, err error) {
	ctx, cancel := context.WithTimeout(ctx, endTimeout)
	defer cancel()
	conn, err := pgx.Connect(ctx, at.dsn("postgres"))
	if err == nil {
		err = errors.Join(conn.Ping(ctx), conn.Close(ctx))
	}
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		switch e.Code {
		case "53300": // too_many_connections: it works, and how.
			return false, nil
		case "57P03", "57P01": // cannot_connect_now, admin_shutdown
			return true, err
		}
		return false, err
	}
	return err != nil, err
}

// lastWords returns what a server that ended said about it.
func (s *Server) lastWords() string {
	text := tail(filepath.Join(s.folder, startLogName))
	if !strings.Contains(text, "logging collector") {
		return complaint(text)
	}
	// It got as far as its own log.
	logs, err := filepath.Glob(filepath.Join(s.cluster.path, "log", "*.log"))
	if err != nil {
		return complaint(text) // Not reached: the pattern is good unless the path has brackets.
	}
	var newest string
	var at time.Time
	for _, name := range logs {
		if fi, err := os.Stat(name); err == nil && fi.ModTime().After(at) {
			newest, at = name, fi.ModTime()
		}
	}
	return complaint(tail(newest))
}

// tail returns the last part of a file, or nothing.
func tail(name string) string {
	f, err := os.Open(name)
	if err != nil {
		return ""
	}
	defer f.Close()
	const size = 8 << 10
	if fi, err := f.Stat(); err == nil && fi.Size() > size {
		if _, err := f.Seek(-size, io.SeekEnd); err != nil {
			return ""
		}
	}
	data, err := io.ReadAll(io.LimitReader(f, size))
	if err != nil {
		return ""
	}
	return string(data)
}

// stop ends the server and waits for it. The caller holds both locks
// exclusively.
func (s *Server) stop(ctx context.Context) error {
	p, alive, err := s.look()
	if err != nil || !alive {
		return err
	}
	begin := time.Now()
	// SIGINT ends every session and writes a checkpoint. SIGQUIT ends at once,
	// and the next start repeats the log.
	for _, step := range []struct {
		signal syscall.Signal
		limit  time.Duration
	}{{syscall.SIGINT, s.opt.StopTimeout}, {syscall.SIGQUIT, endTimeout}} {
		sent, err := s.cluster.signal(p.pid, step.signal)
		if err != nil {
			return err
		}
		if !sent && p.socket.answers() {
			s.log.WarnContext(ctx, "postgres is left running: it is out of our reach", "pid", p.pid)
			return nil
		}
		// The log writer goes a moment after the server itself.
		left, err := s.cluster.waitGone(ctx, step.limit)
		if err != nil {
			return fmt.Errorf("stop postgres: %w", err)
		}
		if len(left) == 0 {
			s.forget(ctx)
			s.log.InfoContext(ctx, "postgres stopped", "pid", p.pid, "ms", time.Since(begin).Milliseconds())
			return nil
		}
		s.log.WarnContext(ctx, "postgres does not stop", "pids", left, "signal", step.signal.String())
	}
	return fmt.Errorf("stop postgres: process %d does not end", p.pid)
}

// forget removes the socket folder in the temporary directory.
func (s *Server) forget(ctx context.Context) {
	s.mu.Lock()
	dir := s.socket.dir
	s.mu.Unlock()
	if dir == s.cluster.path {
		return
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		s.log.WarnContext(ctx, "socket folder left behind", "folder", dir, "error", err)
	}
}
