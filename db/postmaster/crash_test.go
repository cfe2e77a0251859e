//go:build linux

package postmaster_test

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/db/postmaster"
)

func TestKilledServiceIsFollowedByAdoption(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	h := startHelper(t, nil, "open", "POSTMASTER_FOLDER="+folder)
	pid, _ := h.opened(t)
	h.kill()
	if dead(pid) {
		t.Fatal("the server died with the service, so there is nothing to adopt")
	}
	s := open(t, folder)
	if s.Started() || s.PID() != pid {
		t.Errorf("started %t, pid %d, want the server %d adopted", s.Started(), s.PID(), pid)
	}
	closeServer(t, s)
	if !dead(pid) {
		t.Error("Close left the adopted server")
	}
}

func TestKilledServiceDoesNotKeepTheServerRunning(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	s := open(t, folder)
	h := startHelper(t, nil, "open", "POSTMASTER_FOLDER="+folder)
	h.opened(t)
	h.kill()
	closeServer(t, s)
	if !dead(s.PID()) {
		t.Error("the lock of a dead process kept the server running")
	}
}

func TestKilledServerIsRecovered(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	first := open(t, folder)
	execute(t, first, "CREATE TABLE kept AS SELECT generate_series(1, 1000) AS n")
	killHard(t, first.PID())
	// first is still open: its lock must not keep others from starting.
	second := open(t, folder)
	if !second.Started() || second.PID() == first.PID() {
		t.Errorf("started %t, pid %d after %d", second.Started(), second.PID(), first.PID())
	}
	if got := query(t, second, "SELECT count(*)::text FROM kept"); got != "1000" {
		t.Errorf("%s rows, want 1000", got)
	}
	// And first, which did not notice, can still connect.
	if got := query(t, first, "SELECT count(*)::text FROM kept"); got != "1000" {
		t.Errorf("%s rows, want 1000", got)
	}
}

func TestKilledServiceAndServerAreRecovered(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	h := startHelper(t, nil, "open", "POSTMASTER_FOLDER="+folder)
	said := h.ready(t)
	conn, err := pgx.Connect(t.Context(), said[2])
	if err != nil {
		t.Fatal(err)
	}
	if _, err := conn.Exec(t.Context(), "CREATE TABLE kept AS SELECT generate_series(1, 1000) AS n"); err != nil {
		t.Fatal(err)
	}
	h.kill()
	killHard(t, atoi(t, said[0]))
	if got := query(t, open(t, folder), "SELECT count(*)::text FROM kept"); got != "1000" {
		t.Errorf("%s rows, want 1000", got)
	}
}

// TestZombieServer: the parent of a killed server does not bury it, so its
// number stays in use for as long as the parent likes.
func TestZombieServer(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	h := startHelper(t, nil, "open", "POSTMASTER_FOLDER="+folder)
	pid, _ := h.opened(t)
	if err := h.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	// A thread that still runs would bury the server at once.
	eventually(t, "every thread of the parent is stopped", func() bool { return stopped(t, h.cmd.Process.Pid) })
	killHard(t, pid)
	eventually(t, "the server is a zombie", func() bool { return state(pid) == "Z" })
	s := open(t, folder)
	if !s.Started() || s.PID() == pid {
		t.Errorf("started %t, pid %d after %d", s.Started(), s.PID(), pid)
	}
	if state(pid) != "Z" {
		t.Error("the zombie was buried too early: this proved nothing")
	}
	h.kill()
}

// stopped reports whether every thread of a process is stopped by a signal.
func stopped(t *testing.T, pid int) bool {
	t.Helper()
	stats, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/stat", pid))
	if err != nil || len(stats) == 0 {
		t.Fatalf("threads of %d: %v, %v", pid, stats, err)
	}
	for _, name := range stats {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		// The state follows the command, which stands in brackets and may hold any.
		if i := bytes.LastIndexByte(b, ')'); i < 0 || !bytes.HasPrefix(b[i:], []byte(") T")) {
			return false
		}
	}
	return true
}

// TestOrphanBackend: a backend that computes does not notice that its server
// was killed. It holds the shared memory, and PostgreSQL refuses to start.
func TestOrphanBackend(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	first := open(t, folder)
	execute(t, first, "CREATE TABLE kept AS SELECT 7 AS n")
	conn := connect(t, first)
	backend := int(conn.PgConn().PID())
	done := make(chan error, 1)
	go func() { done <- compute(t, conn) }()
	watcher := connect(t, first)
	eventually(t, "the backend computes", func() bool {
		return queryConn(t, watcher, fmt.Sprintf("SELECT coalesce(max(state), '') FROM pg_stat_activity WHERE pid = %d AND query LIKE '%%generate_series%%'", backend)) == "active"
	})
	killHard(t, first.PID())
	// The log writer stays until the last one who could write has gone.
	eventually(t, "all others are gone", func() bool { return len(living(t, filepath.Join(folder, "postgres"))) <= 2 })
	if dead(backend) {
		t.Fatal("the backend did not survive: this proves nothing")
	}
	begin := time.Now()
	second := open(t, folder)
	t.Log("recovered in", time.Since(begin))
	if !dead(backend) {
		t.Error("the orphan lives on")
	}
	if got := query(t, second, "SELECT n::text FROM kept"); got != "7" {
		t.Errorf("n = %s", got)
	}
	if err := <-done; err == nil {
		t.Error("the orphan's query came to an end")
	}
}

// compute keeps a backend busy for years. (pg_sleep would not do: it wakes up
// when the server dies.)
func compute(t *testing.T, conn *pgx.Conn) error {
	_, err := conn.Exec(t.Context(), "SELECT count(*) FROM generate_series(1, 1000000) a, generate_series(1, 1000000) b, generate_series(1, 1000000) c")
	return err
}

// startSleeper starts a process of the server's user that has nothing to do
// with the server.
func startSleeper(t *testing.T, u *user.User, dir string) int {
	t.Helper()
	cmd := exec.Command("sleep", "1000")
	cmd.Dir = dir
	if os.Geteuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: credential(t, u)}
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
	})
	return cmd.Process.Pid
}

func TestStalePidFile(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	cluster := filepath.Join(folder, "postgres")
	pidFile := filepath.Join(cluster, "postmaster.pid")
	s := open(t, folder)
	execute(t, s, "CREATE TABLE kept AS SELECT 7 AS n")
	was, err := os.ReadFile(pidFile)
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(was), "\n")
	socketLock := filepath.Join(cluster, ".s.PGSQL.5432.lock")
	wasLock, err := os.ReadFile(socketLock)
	if err != nil {
		t.Fatal(err)
	}
	_, restLock, _ := strings.Cut(string(wasLock), "\n")
	closeServer(t, s)
	u := serverUser(t, folder)
	outside := startSleeper(t, u, "/")
	inside := startSleeper(t, u, cluster) // Somebody reads the log there, say.

	// Another server has taken the socket that the last one had.
	taken := tempDir(t)
	l, err := net.Listen("unix", filepath.Join(taken, ".s.PGSQL.5432"))
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()

	for _, tt := range []struct{ name, first, socket string }{
		{"a stranger", fmt.Sprintln(outside), cluster},
		{"a stranger who works in the cluster", fmt.Sprintln(inside), cluster},
		{"nobody", fmt.Sprintln(1<<22 + 1), cluster},
		{"a single-user server that is gone", fmt.Sprintln(-outside), cluster},
		{"nothing, for it was cut short", "", cluster},
		{"the socket of another server", fmt.Sprintln(outside), taken},
	} {
		for path, rest := range map[string]string{pidFile: rest, socketLock: restLock} {
			if tt.first == "" {
				rest = ""
			}
			rest = strings.Replace(rest, "5432\n"+cluster+"\n", "5432\n"+tt.socket+"\n", 1)
			if err := os.WriteFile(path, []byte(tt.first+rest), 0o600); err != nil {
				t.Fatal(err)
			}
			if os.Geteuid() == 0 {
				if err := os.Chown(path, atoi(t, u.Uid), atoi(t, u.Gid)); err != nil {
					t.Fatal(err)
				}
			}
		}
		s, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder, Log: logger(t)})
		if err != nil {
			t.Errorf("the file names %s: %v", tt.name, err)
			continue
		}
		if got := query(t, s, "SELECT n::text FROM kept"); got != "7" || !s.Started() {
			t.Errorf("the file names %s: n = %s, started %t", tt.name, got, s.Started())
		}
		closeServer(t, s)
	}
	if dead(outside) || dead(inside) {
		t.Error("a stranger was ended")
	}
	syscall.Kill(inside, syscall.SIGKILL) // It would be reported as left.
	eventually(t, "the sleeper is gone", func() bool { return dead(inside) })
}

// TestStalePidFileKeepsTheSharedMemoryCheck: a stranger has the number of the server, but
// a backend of the old server lives on where we cannot see it. PostgreSQL, not
// we, must have the last word.
func TestStalePidFileKeepsTheSharedMemoryCheck(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	open(t, folder)
	sleeper := startSleeper(t, serverUser(t, folder), "/")
	pidFile := filepath.Join(folder, "postgres", "postmaster.pid")
	was, err := os.ReadFile(pidFile)
	if err != nil {
		t.Fatal(err)
	}
	pid, rest, _ := strings.Cut(string(was), "\n")
	write := func(data string) {
		if err := os.WriteFile(pidFile, []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(fmt.Sprintf("%d\n%s", sleeper, rest))
	if err := postmaster.SettlePidFile(folder); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(pidFile)
	if err != nil {
		t.Fatal(err)
	}
	if want := "2147483647\n" + rest; string(got) != want {
		t.Errorf("the file is\n%s, want\n%s", got, want)
	}
	// The true server still runs and holds the memory that the file names.
	out := startByHand(t, folder)
	if !strings.Contains(out, "pre-existing shared memory block") {
		t.Errorf("PostgreSQL did not refuse: %s", out)
	}
	write(pid + "\n" + rest)
}

// startByHand starts a second server on a cluster and returns what it says.
func startByHand(t *testing.T, folder string) string {
	t.Helper()
	dir, _, err := postmaster.Find(t.Context(), nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), filepath.Join(dir, "postgres"), "-D", filepath.Join(folder, "postgres"), "-c", "logging_collector=off", "-c", "listen_addresses=")
	if u := serverUser(t, folder); os.Geteuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: credential(t, u)}
	}
	cmd.Dir = "/"
	out, _ := cmd.CombinedOutput()
	return string(out)
}

func TestSingleUserServerIsLeftAlone(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	dir, _, err := postmaster.Find(t.Context(), nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(filepath.Join(dir, "postgres"), "--single", "-D", filepath.Join(folder, "postgres"), "postgres")
	cmd.Dir = "/"
	if u := serverUser(t, folder); os.Geteuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: credential(t, u)}
	}
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	eventually(t, "it says it is there", func() bool {
		data, err := os.ReadFile(filepath.Join(folder, "postgres", "postmaster.pid"))
		return err == nil && strings.HasPrefix(string(data), fmt.Sprintf("-%d\n", cmd.Process.Pid))
	})
	_, err = postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
	if err == nil || !strings.Contains(err.Error(), "single-user") {
		t.Error(err)
	}
	if dead(cmd.Process.Pid) {
		t.Error("it was ended")
	}
	in.Close()
	cmd.Wait()
}

func TestKilledInitdbLeavesNothing(t *testing.T) {
	t.Parallel()
	folder := newFolder(t)
	h := startHelper(t, nil, "open", "POSTMASTER_FOLDER="+folder)
	eventually(t, "initdb works", func() bool {
		found, err := filepath.Glob(filepath.Join(folder, "postgres.new-*", "PG_VERSION"))
		return err == nil && len(found) > 0
	})
	h.kill()
	eventually(t, "initdb has ended", func() bool { return len(living(t, folder)) == 0 })
	absent(t, filepath.Join(folder, "postgres"))
	if found, err := filepath.Glob(filepath.Join(folder, "postgres.new-*", "*")); err != nil || len(found) > 0 {
		t.Errorf("initdb went on to the end: %v, %v", found, err)
	}
	// What a machine that was switched off would leave.
	half := filepath.Join(folder, "postgres.new-AAAAAAAA", "base")
	if err := os.MkdirAll(half, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(half, "1"), []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := open(t, folder)
	if got := query(t, s, "SELECT 'alive'"); got != "alive" {
		t.Error(got)
	}
	absent(t, filepath.Dir(half))
	found, err := filepath.Glob(filepath.Join(folder, "postgres.new-*"))
	if err != nil || len(found) > 0 {
		t.Error("left:", found, err)
	}
}

// TestServerOutOfSight: a server lives on the cluster, but neither its
// processes nor its socket can be seen, as in a container with the folder
// mounted under another name.
func TestServerOutOfSight(t *testing.T) {
	t.Parallel()
	needRoot(t)
	folder := usedFolder(t)
	s := open(t, folder)
	cluster := filepath.Join(folder, "postgres")
	pidFile := filepath.Join(cluster, "postmaster.pid")
	was, err := os.ReadFile(pidFile)
	if err != nil {
		t.Fatal(err)
	}
	// There, its number belongs to another process.
	hidden := strings.NewReplacer(cluster, "/elsewhere", fmt.Sprintf("%d\n", s.PID()), "1\n").Replace(string(was))
	if err := os.WriteFile(pidFile, []byte(hidden), 0o600); err != nil {
		t.Fatal(err)
	}
	// The helper sees other processes than we do.
	h := startHelper(t, nil, "container", "POSTMASTER_FOLDER="+folder)
	if got := h.fails(t); !strings.Contains(got, postmaster.ErrElsewhere.Error()) {
		t.Errorf("got %s, want ErrElsewhere", got)
	}
	if now, err := os.ReadFile(pidFile); err != nil || string(now) != hidden {
		t.Errorf("the file of the other server was changed: %s, %v", now, err)
	}
	if err := os.WriteFile(pidFile, was, 0o600); err != nil {
		t.Fatal(err)
	}
	if got := query(t, s, "SELECT 'alive'"); got != "alive" {
		t.Error(got)
	}
}

// TestServerInAnotherContainer: its processes cannot be seen, but its socket.
func TestServerInAnotherContainer(t *testing.T) {
	t.Parallel()
	needRoot(t)
	folder := usedFolder(t)
	s := open(t, folder)
	first := startHelper(t, nil, "container", "POSTMASTER_FOLDER="+folder)
	if pid, started := first.opened(t); started || pid != s.PID() {
		t.Errorf("started %t, pid %d, want %d", started, pid, s.PID())
	}
	first.finish(t)
	if got := query(t, s, "SELECT 'alive'"); got != "alive" {
		t.Error(got)
	}
	// The last one to go cannot stop what it cannot see.
	last := startHelper(t, nil, "container", "POSTMASTER_FOLDER="+folder)
	last.opened(t)
	closeServer(t, s)
	last.finish(t)
	if dead(s.PID()) {
		t.Error("the server was stopped")
	}
	closeServer(t, open(t, folder))
	if !dead(s.PID()) {
		t.Error("the server was not stopped")
	}
}

// TestOpenDuringASlowStop: who comes while the last one stops the server waits
// for that, and gets a new one.
func TestOpenDuringASlowStop(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	first := open(t, folder)
	if err := syscall.Kill(first.PID(), syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	closed := make(chan error, 1)
	go func() { closed <- first.Close(t.Context()) }()
	eventually(t, "the stop has begun", func() bool { return locked(t, filepath.Join(folder, "postgres.use"), syscall.LOCK_SH) })
	type result struct {
		s   *postmaster.Server
		err error
	}
	opened := make(chan result, 1)
	go func() {
		s, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
		opened <- result{s, err}
	}()
	select {
	case r := <-opened:
		t.Errorf("Open did not wait: %v", r.err)
		opened <- r
	case <-time.After(2500 * time.Millisecond): // Longer than it waits for the lock of a dead process.
	}
	if err := syscall.Kill(first.PID(), syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	if err := <-closed; err != nil {
		t.Error(err)
	}
	r := <-opened
	if r.err != nil {
		t.Fatal(r.err)
	}
	defer closeServer(t, r.s)
	if !r.s.Started() || r.s.PID() == first.PID() || query(t, r.s, "SELECT 'alive'") != "alive" {
		t.Errorf("started %t, pid %d after %d", r.s.Started(), r.s.PID(), first.PID())
	}
}

// locked reports whether a lock file cannot be locked in this way.
func locked(t *testing.T, path string, how int) bool {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	return syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB) != nil
}
