//go:build linux

package postmaster_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"ripetide/db/postmaster"
)

func TestOpenStartsOnAnEmptyFolder(t *testing.T) {
	t.Parallel()
	folder := newFolder(t)
	link := filepath.Join(tempDir(t), "link")
	if err := os.Symlink(filepath.Dir(folder), link); err != nil {
		t.Fatal(err)
	}
	s := open(t, filepath.Join(link, "data"))
	if !s.Started() {
		t.Error("Started is false")
	}
	settings(t, s, map[string]string{
		"listen_addresses":        "",
		"unix_socket_directories": filepath.Join(folder, "postgres"),
		"unix_socket_permissions": "0600",
		"fsync":                   "on",
		"full_page_writes":        "on",
		"synchronous_commit":      "on",
		"data_checksums":          "on",
		"server_encoding":         "UTF8",
		"lc_collate":              "C",
		"timezone":                "UTC",
		"max_connections":         "60",
		"shared_buffers":          "128MB",
		"log_statement":           "none",
		"logging_collector":       "on",
	})
	if got := query(t, s, "SELECT upper('straße, größe, œuf') || (SELECT string_agg(v, '' ORDER BY v) FROM unnest(ARRAY['b','B','a']) v)"); got != "STRAßE, GRÖßE, ŒUFBab" {
		t.Errorf("letters: %q", got)
	}
	if got := query(t, s, "SELECT current_user || rolsuper FROM pg_roles WHERE rolname = current_user"); got != "ripetidetrue" {
		t.Errorf("role: %q", got)
	}
	for path, want := range map[string]fs.FileMode{
		"postgres":                        fs.ModeDir | 0o700,
		"postgres/.s.PGSQL.5432":          fs.ModeSocket | 0o600,
		"postgres.lock":                   0o600,
		"postgres.use":                    0o600,
		"postgres.run":                    0o600,
		postmaster.StartLogName:           0o600,
		"postgres/pg_hba.conf":            0o600,
		"postgres/log":                    fs.ModeDir | 0o700,
		"postgres/log/" + todaysLog(t, s): 0o600,
	} {
		fi, err := os.Lstat(filepath.Join(folder, path))
		if err != nil {
			t.Error(err)
			continue
		}
		if fi.Mode() != want {
			t.Errorf("%s has mode %v, want %v", path, fi.Mode(), want)
		}
		if got, want := fmt.Sprint(fi.Sys().(*syscall.Stat_t).Uid), serverUser(t, folder).Uid; got != want {
			t.Errorf("%s belongs to %s, want %s", path, got, want)
		}
	}
	// Ctrl-C at a terminal reaches every process of the session.
	if sid, _, _ := syscall.Syscall(syscall.SYS_GETSID, uintptr(s.PID()), 0, 0); int(sid) != s.PID() {
		t.Errorf("the server is in session %d, not in its own", sid)
	}

	execute(t, s, "CREATE TABLE kept AS SELECT 7 AS n")
	closeServer(t, s)
	if pids := living(t, filepath.Join(folder, "postgres")); len(pids) > 0 {
		t.Error("left after Close:", pids)
	}
	absent(t, filepath.Join(folder, "postgres", "postmaster.pid"))
	closeServer(t, s) // A second time: nothing.

	s = open(t, folder)
	if got := query(t, s, "SELECT n::text FROM kept"); got != "7" || !s.Started() {
		t.Errorf("after a restart: n = %s, started %t", got, s.Started())
	}
}

func todaysLog(t *testing.T, s *postmaster.Server) string {
	t.Helper()
	return filepath.Base(query(t, s, "SELECT pg_current_logfile()"))
}

func TestServerRunsAsAnOrdinaryUserOnly(t *testing.T) {
	t.Parallel()
	needRoot(t)
	folder := usedFolder(t)
	// A root with a group more than he needs, and with secrets.
	h := startHelperAs(t, &syscall.Credential{Groups: []uint32{4}}, "open", "POSTMASTER_FOLDER="+folder, "RIPETIDE_SECRET=secret", "PGOPTIONS=-c work_mem=5MB")
	pid, _ := h.opened(t)
	defer h.finish(t)
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	u := lookupUser(t, "postgres")
	got := map[string]string{}
	for line := range strings.Lines(string(data)) {
		key, value, _ := strings.Cut(line, ":")
		if strings.Contains("Uid Gid Groups CapEff CapPrm", key) {
			got[key] = strings.TrimSpace(value)
		}
	}
	four := func(id string) string { return strings.Join([]string{id, id, id, id}, "\t") }
	want := map[string]string{
		"Uid": four(u.Uid), "Gid": four(u.Gid), "Groups": "",
		"CapEff": "0000000000000000", "CapPrm": "0000000000000000",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	env, err := os.ReadFile(fmt.Sprintf("/proc/%d/environ", pid))
	if err != nil {
		t.Fatal(err)
	}
	for v := range strings.SplitSeq(strings.TrimRight(string(env), "\x00"), "\x00") {
		switch name, _, _ := strings.Cut(v, "="); name {
		case "PATH", "LC_ALL", "LD_LIBRARY_PATH":
		default:
			t.Errorf("the server was told %s", name)
		}
	}
}

func TestLastOneStopsTheServer(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	first := open(t, folder)
	second := open(t, folder)
	if second.Started() || first.PID() != second.PID() {
		t.Errorf("second started %t, pids %d and %d", second.Started(), first.PID(), second.PID())
	}
	other := startHelper(t, nil, "open", "POSTMASTER_FOLDER="+folder)
	if pid, started := other.opened(t); started || pid != first.PID() {
		t.Errorf("other process: started %t, pid %d, want %d", started, pid, first.PID())
	}

	closeServer(t, first) // The one that started it goes first.
	if got := query(t, second, "SELECT 'alive'"); got != "alive" {
		t.Error(got)
	}
	other.finish(t)
	if got := query(t, second, "SELECT 'alive'"); got != "alive" {
		t.Error(got)
	}
	pid := second.PID()
	closeServer(t, second)
	if !dead(pid) {
		t.Error("the last Close did not stop the server")
	}
}

func TestServerOfAnotherProcessIsStoppedByTheLastUser(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	other := startHelper(t, nil, "open", "POSTMASTER_FOLDER="+folder)
	pid, _ := other.opened(t)
	s := open(t, folder)
	other.finish(t)
	if got := query(t, s, "SELECT 'alive'"); got != "alive" || s.PID() != pid {
		t.Errorf("%s, pid %d, want %d", got, s.PID(), pid)
	}
	closeServer(t, s)
	if !dead(pid) {
		t.Error("Close did not stop the server")
	}
}

func TestThreeProcessesAtOnceOnAnEmptyFolder(t *testing.T) {
	t.Parallel()
	folder := newFolder(t)
	var helpers [3]*helper
	for i := range helpers {
		helpers[i] = startHelper(t, nil, "open", "POSTMASTER_FOLDER="+folder)
	}
	pids, starters := map[int]bool{}, 0
	for _, h := range helpers {
		pid, started := h.opened(t)
		pids[pid] = true
		if started {
			starters++
		}
	}
	if len(pids) != 1 || starters != 1 {
		t.Errorf("servers %v, started by %d, want one and one", pids, starters)
	}
	var all sync.WaitGroup
	for _, h := range helpers {
		all.Go(func() { h.finish(t) })
	}
	all.Wait()
	for pid := range pids {
		eventually(t, "the server stopped", func() bool { return dead(pid) })
	}
}

// TestComingAndGoing opens and closes from several sides, so that starts, stops
// and attaches meet in every order.
func TestComingAndGoing(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			for range 5 {
				s, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
				if err != nil {
					t.Error(err)
					return
				}
				conn, err := pgx.Connect(t.Context(), s.DSN("postgres"))
				if err == nil {
					err = errors.Join(conn.Ping(t.Context()), conn.Close(t.Context()))
				}
				if err := errors.Join(err, s.Close(t.Context())); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
}

func TestOpenGivesUpOnALockThatStaysHeld(t *testing.T) {
	t.Parallel()
	folder := newFolder(t)
	if err := os.Mkdir(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(filepath.Join(folder, "postgres.lock"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX); err != nil {
		t.Fatal(err)
	}
	_, err = postmaster.Open(t.Context(), postmaster.Options{Folder: folder, StartTimeout: 50 * time.Millisecond})
	if !errors.Is(err, postmaster.ErrBusy) {
		t.Errorf("got %v, want ErrBusy", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := postmaster.Open(ctx, postmaster.Options{Folder: folder}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want context.Canceled", err)
	}
}

// fakePrograms returns a folder with the real initdb and a postgres that
// prints the real version and otherwise runs the script, with its own number
// in the file pid.
func fakePrograms(t *testing.T, script string) (dir, pidFile string) {
	t.Helper()
	real, _, err := postmaster.Find(t.Context(), nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	dir = tempDir(t)
	if err := os.Chmod(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	pidFile = filepath.Join(dir, "pid")
	for name, text := range map[string]string{
		"initdb":   fmt.Sprintf("exec %s/initdb \"$@\"\n", real),
		"postgres": fmt.Sprintf("[ \"$1\" = --version ] && exec %s/postgres --version\necho $$ > %s\n%s\n", real, pidFile, script),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("#!/bin/sh\n"+text), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	return dir, pidFile
}

func TestServerThatNeverGetsReadyIsEnded(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	dir, pidFile := fakePrograms(t, "exec sleep 1000")
	for _, tt := range []struct {
		name    string
		ctx     time.Duration
		timeout time.Duration
	}{
		{"by its own time limit", time.Hour, time.Second},
		{"by the caller's", time.Second, time.Hour},
	} {
		ctx, cancel := context.WithTimeout(t.Context(), tt.ctx)
		_, err := postmaster.Open(ctx, postmaster.Options{Folder: folder, Programs: []string{dir}, StartTimeout: tt.timeout})
		cancel()
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%s: %v", tt.name, err)
		}
		data, err := os.ReadFile(pidFile)
		if err != nil {
			t.Fatal(err)
		}
		if pid := atoi(t, strings.TrimSpace(string(data))); !dead(pid) {
			t.Errorf("%s: process %d was left", tt.name, pid)
			syscall.Kill(pid, syscall.SIGKILL)
		}
		os.Remove(pidFile)
	}
}

func TestServerThatEndsSaysWhy(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	s := open(t, folder)
	execute(t, s, "ALTER SYSTEM SET shared_preload_libraries = 'no_such_library'")
	closeServer(t, s)
	_, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
	if err == nil || !strings.Contains(err.Error(), `could not access file "no_such_library"`) {
		t.Error("before its own log:", err)
	}
	auto := filepath.Join(folder, "postgres", "postgresql.auto.conf")
	if err := os.WriteFile(auto, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(folder, "postgres", "pg_wal"), filepath.Join(folder, "pg_wal")); err != nil {
		t.Fatal(err)
	}
	_, err = postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
	if err == nil || !strings.Contains(err.Error(), `required WAL directory "pg_wal" does not exist`) {
		t.Error("in its own log:", err)
	}
}

// TestOperatorsSettings checks which of our settings an operator can change.
func TestOperatorsSettings(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	s := open(t, folder)
	execute(t, s, "ALTER SYSTEM SET max_connections = 70",
		"ALTER SYSTEM SET listen_addresses = '*'",
		"ALTER SYSTEM SET fsync = off")
	closeServer(t, s)
	s = open(t, folder)
	settings(t, s, map[string]string{"max_connections": "70", "listen_addresses": "", "fsync": "on"})
}

func TestCreateDatabase(t *testing.T) {
	t.Parallel()
	s := open(t, usedFolder(t))
	const name = `odd "name", with / and ?`
	var all sync.WaitGroup
	for range 3 {
		all.Go(func() {
			if err := s.CreateDatabase(t.Context(), name); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if err := s.CreateDatabase(t.Context(), name); err != nil {
		t.Error("once more:", err)
	}
	conn, err := pgx.Connect(t.Context(), s.DSN(name))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	var got string
	if err := conn.QueryRow(t.Context(), "SELECT current_database()").Scan(&got); err != nil || got != name {
		t.Errorf("got %q, %v", got, err)
	}
}

func TestKeepStartsADeadServerAgain(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	s := open(t, folder)
	execute(t, s, "CREATE TABLE kept AS SELECT 7 AS n")
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.Keep(t.Context())
	}()
	first := s.PID()
	killHard(t, first)
	eventually(t, "another server runs", func() bool { return s.PID() != first })
	if got := query(t, s, "SELECT n::text FROM kept"); got != "7" {
		t.Errorf("n = %s", got)
	}
	// Keep ends with its Server, also when others keep the server running.
	other := open(t, folder)
	closeServer(t, s)
	select {
	case <-done:
	case <-time.After(patience):
		t.Error("Keep goes on after Close")
	}
	if dead(other.PID()) || other.Started() {
		t.Error("the server was stopped under another user")
	}
}

func TestThrowaway(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	s, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder, Log: logger(t), Throwaway: true})
	if err != nil {
		t.Fatal(err)
	}
	defer closeServer(t, s)
	settings(t, s, map[string]string{"fsync": "off", "full_page_writes": "off", "synchronous_commit": "off"})
}

func TestThrowawayDiesWithItsProcess(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	h := startHelper(t, nil, "throwaway", "POSTMASTER_FOLDER="+folder)
	h.opened(t)
	if len(living(t, filepath.Join(folder, "postgres"))) == 0 {
		t.Fatal("nothing runs")
	}
	h.kill()
	eventually(t, "the server is gone", func() bool { return len(living(t, filepath.Join(folder, "postgres"))) == 0 })
}

func TestBadFolderNames(t *testing.T) {
	t.Parallel()
	for _, folder := range []string{"", "/tmp/two\nlines"} {
		if _, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder}); err == nil {
			t.Errorf("%q was accepted", folder)
		}
	}
}
