package postmaster

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// Role is the one role that can connect to a private server. It is a
// superuser; SET ROLE leads to lesser ones.
const Role = "ripetide"

// Defaults of Options, and shorter time limits.
const (
	// DefaultStartTimeout is long, for a server that was killed first repeats
	// what its write-ahead log says.
	DefaultStartTimeout = 2 * time.Minute

	// DefaultStopTimeout leaves time for a last checkpoint on a slow disk.
	DefaultStopTimeout = 30 * time.Second

	endTimeout       = 5 * time.Second        // For a server that is told to end at once.
	orphanTimeout    = 5 * time.Second        // For a backend that is told to end.
	useTimeout       = 2 * time.Second        // For a use lock that nobody should hold exclusively.
	lastWordsTimeout = time.Second            // For the log of a server that ended.
	aloneTimeout     = 100 * time.Millisecond // For the locks of a process that was just killed.
	pollInterval     = 5 * time.Millisecond   // Between two looks at a server that starts or stops.
	keepInterval     = time.Second            // Between two looks at one that runs.
)

// Options says which server is meant and how it is run.
type Options struct {
	// Folder is the data folder. It is made if there is none, 0755 by root
	// and 0700 by others. The cluster is Folder/postgres. Required.
	Folder string

	// Log is told what is started, adopted, ended and left. Default: nobody.
	Log *slog.Logger

	// Programs are folders with initdb and postgres to try in this order, and
	// no others. Default: what pg_config says, then the places where packages
	// put them, the newest version first.
	Programs []string

	// StartTimeout bounds the waiting for another process and the start, each.
	// Default: DefaultStartTimeout.
	StartTimeout time.Duration

	// StopTimeout bounds an orderly stop. After it, the server is ended at
	// once; no data are lost, but the next start takes longer.
	// Default: DefaultStopTimeout.
	StopTimeout time.Duration

	// Throwaway makes a server for tests: quick, not durable, and on Linux
	// ended by the kernel if this process dies.
	Throwaway bool
}

// A Server is a running PostgreSQL, and this process's share in it. Its
// methods may be called at the same time.
type Server struct {
	opt     Options
	log     *slog.Logger
	folder  string
	cluster *cluster
	use     *lock

	mu      sync.Mutex
	socket  socket
	pid     int
	started bool
	closed  bool
}

// Open returns the server of a folder, ready for queries. It makes the cluster
// and starts the server as far as that is needed. The caller must Close it.
//
// ctx bounds Open only, not the life of the server.
func Open(ctx context.Context, o Options) (*Server, error) {
	s, err := open(ctx, o)
	if errors.Is(err, ErrNoPrograms) {
		return nil, ErrNoPrograms // Nothing to add to that sentence.
	}
	if err != nil {
		return nil, fmt.Errorf("open postgres: %w", err)
	}
	return s, nil
}

func open(ctx context.Context, o Options) (*Server, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.StartTimeout <= 0 {
		o.StartTimeout = DefaultStartTimeout
	}
	if o.StopTimeout <= 0 {
		o.StopTimeout = DefaultStopTimeout
	}
	s := &Server{opt: o, log: o.Log}
	if err := s.locate(ctx); err != nil {
		return nil, err
	}
	start, err := s.lockStart(ctx)
	if err != nil {
		return nil, err
	}
	defer start.release() //nolint:errcheck // The kernel would have to fail; it unlocks on exit.
	in, err := os.OpenRoot(s.folder)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	s.use, err = openLock(in, useName, s.cluster.account)
	if err != nil {
		return nil, err
	}
	if err := s.use.wait(ctx, syscall.LOCK_SH, useTimeout); err != nil {
		return nil, errors.Join(err, s.use.release())
	}
	if err := s.up(ctx); err != nil {
		return nil, errors.Join(err, s.use.release())
	}
	return s, nil
}

// locate finds out where everything is and whom it belongs to, and makes the
// folder.
func (s *Server) locate(ctx context.Context) error {
	folder, a, err := s.reach(ctx)
	if err != nil {
		return err
	}
	mode := os.FileMode(0o700)
	if a.drop {
		mode = 0o755
	}
	if err := os.MkdirAll(folder, mode); err != nil {
		return err
	}
	return s.enter(ctx, folder, a)
}

// reach returns the folder, which may not be there yet, and whom it is for.
func (s *Server) reach(ctx context.Context) (string, account, error) {
	if s.opt.Folder == "" || strings.ContainsAny(s.opt.Folder, "\n\r") {
		return "", account{}, fmt.Errorf("unusable folder name %q", s.opt.Folder)
	}
	folder, err := filepath.Abs(s.opt.Folder)
	if err != nil {
		return "", account{}, err
	}
	a, err := chooseAccount(folder, filepath.Join(folder, clusterName))
	if err != nil {
		return "", account{}, err
	}
	return folder, a, a.checkReach(ctx, folder)
}

// enter finds the cluster in a folder that is there.
func (s *Server) enter(ctx context.Context, folder string, a account) (err error) {
	// One folder with two names must have one lock, one socket and one name.
	if s.folder, err = filepath.EvalSymlinks(folder); err != nil {
		return err
	}
	path := filepath.Join(s.folder, clusterName)
	if moved, err := filepath.EvalSymlinks(path); err == nil {
		path = moved // To a larger disk, say.
	}
	for _, dir := range []string{s.folder, filepath.Dir(path)} {
		if err := a.checkReach(ctx, dir); err != nil {
			return err
		}
	}
	s.cluster = &cluster{path: path, account: a, throwaway: s.opt.Throwaway, log: s.log}
	_, err = s.cluster.version() // Whose is it? Better asked before anything is locked.
	return err
}

// lockStart waits until nobody else starts or stops the server.
func (s *Server) lockStart(ctx context.Context) (*lock, error) {
	in, err := os.OpenRoot(s.folder)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	l, err := openLock(in, startName, s.cluster.account)
	if err != nil {
		return nil, err
	}
	if err := l.wait(ctx, syscall.LOCK_EX, s.opt.StartTimeout); err != nil {
		return nil, errors.Join(err, l.release())
	}
	return l, nil
}

// DSN returns the connection string of a database on the server. It is a URL
// that pgx and PostgreSQL's own programs understand.
func (s *Server) DSN(database string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.socket.dsn(database)
}

// Started reports whether the server was started by this Server, rather than
// found running.
func (s *Server) Started() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.started
}

// PID returns the number of the server's process.
func (s *Server) PID() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.pid
}

// Keep watches the server and starts it again if it dies, until ctx ends or
// the Server is closed. A service runs it beside its work; a command that
// takes a moment need not.
func (s *Server) Keep(ctx context.Context) {
	for pause(ctx, keepInterval) == nil {
		if s.isClosed() {
			return
		}
		if _, alive, err := s.look(); err == nil && alive {
			continue
		}
		s.log.WarnContext(ctx, "postgres has died", "pid", s.PID())
		if err := s.revive(ctx); errors.Is(err, ErrClosed) {
			return
		} else if err != nil {
			s.log.ErrorContext(ctx, "postgres cannot be started again", "error", err)
		}
	}
}

func (s *Server) isClosed() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.closed
}

func (s *Server) revive(ctx context.Context) error {
	start, err := s.lockStart(ctx)
	if err != nil {
		return err
	}
	defer start.release() //nolint:errcheck // As in open.
	// Close waits for the lock that we hold, so this stays true until the end.
	if s.isClosed() {
		return ErrClosed
	}
	return s.up(ctx)
}

// Close gives up this process's share. If nobody else has one, it stops the
// server and returns when that is done. Closing again does nothing.
//
// If ctx ends first, the server may be left running; the next Open finds it.
func (s *Server) Close(ctx context.Context) error {
	s.mu.Lock()
	closed := s.closed
	s.closed = true
	s.mu.Unlock()
	if closed {
		return nil
	}
	if err := errors.Join(s.leave(ctx), s.use.release()); err != nil {
		return fmt.Errorf("close postgres: %w", err)
	}
	return nil
}

func (s *Server) leave(ctx context.Context) error {
	start, err := s.lockStart(ctx)
	if err != nil {
		return err
	}
	defer start.release() //nolint:errcheck // As in open.
	// The lock of a process that was just killed can outlive it a little.
	switch err := s.use.wait(ctx, syscall.LOCK_EX, aloneTimeout); {
	case errors.Is(err, ErrBusy):
		s.log.InfoContext(ctx, "postgres left running for others", "pid", s.PID())
		return nil
	case err != nil:
		return err
	}
	return s.stop(ctx)
}

// userName returns the name of a user, or his number if he has none.
func userName(uid int) string {
	number := strconv.Itoa(uid)
	if u, err := user.LookupId(number); err == nil {
		return u.Username
	}
	return number
}
