//go:build linux

package postmaster_test

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"ripetide/db/postmaster"
)

func TestOrdinaryUser(t *testing.T) {
	t.Parallel()
	needRoot(t)
	nobody := lookupUser(t, "nobody")
	folder := newFolder(t)
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(folder, atoi(t, nobody.Uid), atoi(t, nobody.Gid)); err != nil {
		t.Fatal(err)
	}
	// Root is the first to come to a folder that was made for a service user.
	s := open(t, folder)
	if u := serverUser(t, folder); u.Uid != nobody.Uid {
		t.Errorf("root made a cluster for %s", u.Username)
	}
	h := startHelper(t, nobody, "open", "POSTMASTER_FOLDER="+folder)
	if pid, started := h.opened(t); started || pid != s.PID() {
		t.Errorf("started %t, pid %d, want %d", started, pid, s.PID())
	}
	closeServer(t, s)
	h.finish(t)
	if !dead(s.PID()) {
		t.Error("the user did not stop the server that root started")
	}
	// And the other way round.
	h = startHelper(t, nobody, "open", "POSTMASTER_FOLDER="+folder)
	pid, started := h.opened(t)
	if !started {
		t.Error("not started")
	}
	s = open(t, folder)
	if s.Started() || s.PID() != pid || query(t, s, "SELECT 'alive'") != "alive" {
		t.Errorf("started %t, pid %d, want %d", s.Started(), s.PID(), pid)
	}
	h.finish(t)
	closeServer(t, s)
	if !dead(pid) {
		t.Error("root did not stop the server of the other user")
	}
}

func TestStrangersCannotConnect(t *testing.T) {
	t.Parallel()
	needRoot(t)
	nobody := lookupUser(t, "nobody")
	folder := usedFolder(t)
	cluster := filepath.Join(folder, "postgres")
	s := open(t, folder)
	dsn := "POSTMASTER_DSN=" + s.DSN("postgres")

	// Those who may.
	if got := startHelper(t, nil, "connect", dsn).ready(t); got[0] != "ripetide" {
		t.Errorf("root connects as %s", got)
	}
	if got := startHelper(t, serverUser(t, folder), "connect", dsn).ready(t); got[0] != "ripetide" {
		t.Errorf("the server's user connects as %s", got)
	}
	// Not even root connects as another role.
	execute(t, s, "CREATE ROLE other LOGIN SUPERUSER")
	other, err := url.Parse(s.DSN("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	other.User = url.User("other")
	if _, err := pgx.Connect(t.Context(), other.String()); err == nil || !strings.Contains(err.Error(), "no pg_hba.conf entry") {
		t.Errorf("as another role: %v", err)
	}

	// Three walls, taken down one after the other.
	if got := startHelper(t, nobody, "connect", dsn).fails(t); !strings.Contains(got, "permission denied") {
		t.Errorf("at the folder: %s", got)
	}
	if err := os.Chmod(cluster, 0o711); err != nil {
		t.Fatal(err)
	}
	if got := startHelper(t, nobody, "connect", dsn).fails(t); !strings.Contains(got, "permission denied") {
		t.Errorf("at the socket: %s", got)
	}
	if err := os.Chmod(filepath.Join(cluster, ".s.PGSQL.5432"), 0o666); err != nil {
		t.Fatal(err)
	}
	if got := startHelper(t, nobody, "connect", dsn).fails(t); !strings.Contains(strings.ToLower(got), "peer authentication failed") {
		t.Errorf("at the server: %s", got)
	}
	if err := os.Chmod(cluster, 0o700); err != nil {
		t.Fatal(err)
	}

	// Nor does a stranger get to hold the locks, or to use the folder.
	got := startHelper(t, nobody, "open", "POSTMASTER_FOLDER="+folder).fails(t)
	if !strings.Contains(got, postmaster.ErrOwner.Error()) || !strings.Contains(got, "run this as that user or as root") {
		t.Errorf("open: %s", got)
	}
}

// TestRootInAContainer: there root lacks the capability to look at another
// user's processes, and has to go by their command lines.
func TestRootInAContainer(t *testing.T) {
	t.Parallel()
	needRoot(t)
	folder := usedFolder(t)
	// Anybody can call himself a server.
	forger := startHelper(t, lookupUser(t, "nobody"), "forge", "POSTMASTER_FOLDER="+folder)
	forged := atoi(t, forger.ready(t)[0])
	eventually(t, "it looks like a server", func() bool {
		line, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", forged))
		return err == nil && strings.HasPrefix(string(line), "postgres\x00-D\x00"+folder)
	})
	first := startHelper(t, nil, "noptrace", "POSTMASTER_FOLDER="+folder)
	pid, started := first.opened(t)
	if !started {
		t.Error("not started")
	}
	first.kill()
	second := startHelper(t, nil, "noptrace", "POSTMASTER_FOLDER="+folder)
	if got, started := second.opened(t); started || got != pid {
		t.Errorf("started %t, pid %d, want %d adopted", started, got, pid)
	}
	killHard(t, pid)
	third := startHelper(t, nil, "noptrace", "POSTMASTER_FOLDER="+folder)
	if got, started := third.opened(t); !started || got == pid {
		t.Errorf("started %t, pid %d after %d", started, got, pid)
	}
	second.finish(t)
	third.finish(t) // The cleanup sees that nothing is left.
	if dead(forged) {
		t.Error("the process of another user was ended")
	}
}

func TestUnreachableFolder(t *testing.T) {
	t.Parallel()
	needRoot(t)
	closed := filepath.Join(tempDir(t), "home")
	if err := os.Mkdir(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	_, err := postmaster.Open(t.Context(), postmaster.Options{Folder: filepath.Join(closed, "some", "data")})
	if !errors.Is(err, postmaster.ErrUnreachable) || !strings.Contains(err.Error(), closed+"/ is closed to postgres") {
		t.Errorf("got %v", err)
	}
	absent(t, filepath.Join(closed, "some"))
}

func TestLongAndOddFolderNames(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ name, folder string }{
		{"longer than a socket address", strings.Repeat("long/", 25) + "data"},
		{"two hosts to pgx", "a,b/data"},
		{"quotes and blanks", `it's "my" data`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			base := tempDir(t)
			folder := filepath.Join(base, tt.folder)
			watch(t, folder)
			useFolder(t, folder)
			s := open(t, folder)
			dir := query(t, s, "SHOW unix_socket_directories")
			if filepath.Dir(dir) != os.TempDir() {
				t.Errorf("the socket is in %s", dir)
			}
			fi, err := os.Stat(dir)
			if err != nil {
				t.Fatal(err)
			}
			if fi.Mode() != os.ModeDir|0o700 {
				t.Errorf("mode %v", fi.Mode())
			}
			// A process with another temporary directory finds the socket all the same.
			h := startHelper(t, nil, "open", "POSTMASTER_FOLDER="+folder, "TMPDIR="+base)
			if pid, started := h.opened(t); started || pid != s.PID() {
				t.Errorf("started %t, pid %d, want %d", started, pid, s.PID())
			}
			h.finish(t)
			closeServer(t, s)
			absent(t, dir)
		})
	}
}

func TestOddNameThatFitsASocket(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(tempDir(t), "it's my ümlaut %20 & data")
	watch(t, folder)
	useFolder(t, folder)
	if got := query(t, open(t, folder), "SHOW data_directory"); got != filepath.Join(folder, "postgres") {
		t.Error(got)
	}
}

func TestFolderBehindALink(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	first := open(t, folder)
	link := filepath.Join(tempDir(t), "link")
	if err := os.Symlink(folder, link); err != nil {
		t.Fatal(err)
	}
	if second := open(t, link); second.Started() || second.PID() != first.PID() {
		t.Errorf("started %t, pids %d and %d", second.Started(), first.PID(), second.PID())
	}
}

func TestMovedCluster(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	s := open(t, folder)
	execute(t, s, "CREATE TABLE kept AS SELECT 7 AS n")
	closeServer(t, s)
	large := filepath.Join(filepath.Dir(folder), "large")
	if err := os.Rename(filepath.Join(folder, "postgres"), large); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(large, filepath.Join(folder, "postgres")); err != nil {
		t.Fatal(err)
	}
	s = open(t, folder)
	if got := query(t, s, "SELECT n::text FROM kept"); got != "7" {
		t.Errorf("n = %s", got)
	}
	closeServer(t, s)
	if pids := living(t, large); len(pids) > 0 {
		t.Error("left:", pids)
	}
}

// TestTakenSocketFolder: anybody can make the folder for the socket first.
func TestTakenSocketFolder(t *testing.T) {
	t.Parallel()
	needRoot(t)
	nobody := lookupUser(t, "nobody")
	folder := filepath.Join(tempDir(t), strings.Repeat("long/", 25)+"data")
	useFolder(t, folder)
	dir, err := postmaster.SocketDirOf(folder, filepath.Join(folder, "postgres"), os.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	elsewhere := tempDir(t)
	for _, tt := range []struct {
		name, want string
		take       func() error
	}{
		{"a folder", "belongs to another user", func() error {
			return errors.Join(os.Mkdir(dir, 0o777), os.Chown(dir, atoi(t, nobody.Uid), atoi(t, nobody.Gid)))
		}},
		{"a link", "not a directory", func() error { return os.Symlink(elsewhere, dir) }},
	} {
		if err := tt.take(); err != nil {
			t.Fatal(err)
		}
		s, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
		if err == nil {
			s.Close(context.WithoutCancel(t.Context()))
		}
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: got %v, want %q", tt.name, err, tt.want)
		}
		os.Remove(dir)
	}
}

func TestSocketFolderParent(t *testing.T) {
	t.Parallel()
	temp := t.TempDir()
	for _, tt := range []struct {
		mode os.FileMode
		good bool
	}{{0o700, true}, {0o755, true}, {0o777 | os.ModeSticky, true}, {0o777, false}, {0o775, false}} {
		if err := os.Chmod(temp, tt.mode); err != nil {
			t.Fatal(err)
		}
		if err := postmaster.MakeSocketDir(filepath.Join(temp, "s")); (err == nil) != tt.good {
			t.Errorf("parent %v: %v", tt.mode, err)
		}
	}
}
