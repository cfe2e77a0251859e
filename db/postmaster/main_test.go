//go:build linux

package postmaster_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"ripetide/db/postmaster"
)

// patience bounds every wait. The machine may be busy; a wait that ends takes
// no longer for it.
const patience = 30 * time.Second

// TestMain runs the tests or, in a process that a test started, a helper.
func TestMain(m *testing.M) {
	switch mode := os.Getenv("POSTMASTER_HELPER"); mode {
	case "":
		os.Exit(run(m))
	case "open":
		os.Exit(helpOpen(false))
	case "throwaway":
		os.Exit(helpOpen(true))
	case "noptrace":
		os.Exit(helpNoPtrace())
	case "container":
		os.Exit(helpContainer())
	case "forge":
		os.Exit(helpForge())
	case "wait":
		io.Copy(io.Discard, os.Stdin)
	case "connect":
		os.Exit(helpConnect())
	default:
		fmt.Println("unknown helper", mode)
		os.Exit(2)
	}
}

// scratch is where template puts its cluster.
var scratch string

func run(m *testing.M) int {
	var err error
	if scratch, err = os.MkdirTemp("", "postmaster-test-"); err != nil {
		fmt.Println(err)
		return 1
	}
	defer os.RemoveAll(scratch)
	if err := os.Chmod(scratch, 0o755); err != nil {
		fmt.Println(err)
		return 1
	}
	return m.Run()
}

// helpOpen opens the folder, says so, and closes it at the end of its input.
func helpOpen(throwaway bool) int {
	ctx := context.Background()
	s, err := postmaster.Open(ctx, postmaster.Options{
		Folder:    os.Getenv("POSTMASTER_FOLDER"),
		Log:       slog.New(slog.NewTextHandler(os.Stderr, nil)),
		Throwaway: throwaway,
	})
	if err != nil {
		fmt.Println("error:", err)
		return 1
	}
	fmt.Println("ready", s.PID(), s.Started(), s.DSN("postgres"))
	io.Copy(io.Discard, os.Stdin)
	if err := s.Close(ctx); err != nil {
		fmt.Println("error:", err)
		return 1
	}
	return 0
}

// helpNoPtrace does what helpOpen does as a root without CAP_SYS_PTRACE, which
// is what root is in most containers.
func helpNoPtrace() int {
	const capbsetDrop, capSysPtrace = 24, 19
	runtime.LockOSThread()
	if _, _, no := syscall.Syscall(syscall.SYS_PRCTL, capbsetDrop, capSysPtrace, 0); no != 0 {
		fmt.Println("error:", no)
		return 1
	}
	os.Setenv("POSTMASTER_HELPER", "open")
	fmt.Println("error:", syscall.Exec("/proc/self/exe", os.Args, os.Environ()))
	return 1
}

// helpContainer does what helpOpen does where the processes of the machine
// cannot be seen.
func helpContainer() int {
	exe, err := os.Executable()
	if err == nil {
		cmd := exec.Command("unshare", "--pid", "--fork", "--kill-child", "--mount-proc", exe)
		cmd.Env = append(os.Environ(), "POSTMASTER_HELPER=open")
		cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
		cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGTERM}
		err = cmd.Run()
	}
	if err != nil {
		fmt.Println("error:", err)
		return 1
	}
	return 0
}

// helpForge runs on under the command line of a server.
func helpForge() int {
	exe, err := os.Executable()
	if err == nil {
		fmt.Println("ready", os.Getpid())
		os.Setenv("POSTMASTER_HELPER", "wait")
		err = syscall.Exec(exe, []string{"postgres", "-D", filepath.Join(os.Getenv("POSTMASTER_FOLDER"), "postgres")}, os.Environ())
	}
	fmt.Println("error:", err)
	return 1
}

// helpConnect asks a server who it thinks we are.
func helpConnect() int {
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, os.Getenv("POSTMASTER_DSN"))
	if err != nil {
		fmt.Println("error:", strings.ReplaceAll(err.Error(), "\n", " "))
		return 1
	}
	var role string
	if err := conn.QueryRow(ctx, "SELECT current_user").Scan(&role); err != nil {
		fmt.Println("error:", err)
		return 1
	}
	fmt.Println("ready", role)
	return 0
}

// A helper is another process that runs this test program.
type helper struct {
	cmd   *exec.Cmd
	in    io.WriteCloser
	out   *bufio.Scanner
	ended bool
}

// startHelper starts a helper, as another user if u is not nil.
func startHelper(t *testing.T, u *user.User, mode string, env ...string) *helper {
	t.Helper()
	if u == nil {
		return startHelperAs(t, nil, mode, env...)
	}
	return startHelperAs(t, credential(t, u), mode, env...)
}

func credential(t *testing.T, u *user.User) *syscall.Credential {
	t.Helper()
	return &syscall.Credential{Uid: uint32(atoi(t, u.Uid)), Gid: uint32(atoi(t, u.Gid))}
}

func startHelperAs(t *testing.T, c *syscall.Credential, mode string, env ...string) *helper {
	t.Helper()
	program := "/proc/self/exe"
	if c != nil {
		program = publicCopy(t)
	}
	h := &helper{cmd: exec.Command(program)}
	h.cmd.Dir = "/"
	h.cmd.Env = append(os.Environ(), append(env, "POSTMASTER_HELPER="+mode,
		"GORACE=atexit_sleep_ms=0")...) // Or each helper takes a second to end under -race.
	h.cmd.SysProcAttr = &syscall.SysProcAttr{Credential: c}
	h.cmd.Stderr = &logWriter{t: t}
	h.cmd.WaitDelay = patience
	var err error
	if h.in, err = h.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := h.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	h.out = bufio.NewScanner(out)
	if err := h.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { h.kill() })
	return h
}

// publicCopy gives the test program a name that other users can reach.
func publicCopy(t *testing.T) string {
	t.Helper()
	path, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	public := filepath.Join(tempDir(t), "postmaster.test")
	if os.Link(path, public) == nil {
		return public
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(public, data, 0o755); err != nil {
		t.Fatal(err)
	}
	return public
}

// ready waits until the helper says that it is, and returns what else it says.
func (h *helper) ready(t *testing.T) []string {
	t.Helper()
	if !h.out.Scan() {
		t.Fatalf("helper ended without a word: %v", h.out.Err())
	}
	f := strings.Fields(h.out.Text())
	if f[0] != "ready" {
		t.Fatal("helper:", h.out.Text())
	}
	return f[1:]
}

// opened is ready for a helper that opens a server.
func (h *helper) opened(t *testing.T) (pid int, started bool) {
	t.Helper()
	f := h.ready(t)
	return atoi(t, f[0]), f[1] == "true"
}

// fails waits for the helper to give up, and returns why.
func (h *helper) fails(t *testing.T) string {
	t.Helper()
	if !h.out.Scan() {
		t.Fatalf("helper ended without a word: %v", h.out.Err())
	}
	text, ok := strings.CutPrefix(h.out.Text(), "error: ")
	if !ok {
		t.Fatal("helper did not fail:", h.out.Text())
	}
	h.kill()
	return text
}

// finish lets the helper close its server and end.
func (h *helper) finish(t *testing.T) {
	t.Helper()
	h.in.Close()
	for h.out.Scan() {
		t.Error("helper:", h.out.Text())
	}
	h.ended = true
	if err := h.cmd.Wait(); err != nil {
		t.Error("helper:", err)
	}
}

// kill is kill -9.
func (h *helper) kill() {
	if !h.ended {
		h.ended = true
		h.cmd.Process.Kill()
		h.cmd.Wait()
	}
}

// logWriter sends the log of a program to the test's.
type logWriter struct{ t *testing.T }

func (w *logWriter) Write(p []byte) (int, error) {
	w.t.Log(strings.TrimSpace(string(p)))
	return len(p), nil
}

// logger is for servers opened in this process.
func logger(t *testing.T) *slog.Logger {
	return slog.New(slog.NewTextHandler(&logWriter{t}, nil))
}

// tempDir is t.TempDir, but one that every user may enter.
func tempDir(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.Chmod(filepath.Dir(dir), 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// newFolder returns a data folder that does not exist yet. At the end of the
// test no process may be left in it.
func newFolder(t *testing.T) string {
	t.Helper()
	folder := filepath.Join(tempDir(t), "data")
	watch(t, folder)
	return folder
}

// template makes a cluster for tests that are not about making one, which is
// what takes the longest.
var template = sync.OnceValues(func() (string, error) {
	folder := filepath.Join(scratch, "data")
	s, err := postmaster.Open(context.Background(), postmaster.Options{Folder: folder})
	if err != nil {
		return "", err
	}
	return folder, s.Close(context.Background())
})

// usedFolder returns a data folder with a cluster on which nothing runs. It is
// in memory if possible: copying takes half the time.
func usedFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "postmaster-test-")
	if err != nil {
		dir = tempDir(t)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(dir, "data")
	watch(t, folder)
	useFolder(t, folder)
	return folder
}

// useFolder makes such a folder.
func useFolder(t *testing.T, folder string) {
	t.Helper()
	from, err := template()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.CommandContext(t.Context(), "cp", "-a", from+"/postgres", folder).CombinedOutput(); err != nil {
		t.Fatalf("cp: %v: %s", err, out)
	}
}

// watch fails the test if processes are left in the folder at its end, and
// ends them.
func watch(t *testing.T, folder string) {
	t.Helper()
	t.Cleanup(func() {
		pids := living(t, filepath.Join(folder, "postgres"))
		if len(pids) == 0 {
			return
		}
		t.Error("processes left:", pids)
		for _, pid := range pids {
			syscall.Kill(pid, syscall.SIGKILL)
		}
		eventually(t, "the rest is gone", func() bool { return len(living(t, filepath.Join(folder, "postgres"))) == 0 })
	})
}

// living returns the processes that work in a folder.
func living(t *testing.T, dir string) []int {
	t.Helper()
	links, err := filepath.Glob("/proc/[0-9]*/cwd")
	if err != nil {
		t.Fatal(err)
	}
	var pids []int
	for _, link := range links {
		if at, err := os.Readlink(link); err == nil && at == dir { // A zombie has no folder.
			pids = append(pids, atoi(t, strings.Split(link, "/")[2]))
		}
	}
	return pids
}

// open opens a folder, and closes it at the end of the test.
func open(t *testing.T, folder string) *postmaster.Server {
	t.Helper()
	s, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder, Log: logger(t)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { closeServer(t, s) })
	return s
}

func closeServer(t *testing.T, s *postmaster.Server) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.WithoutCancel(t.Context()), patience)
	defer cancel()
	if err := s.Close(ctx); err != nil {
		t.Error(err)
	}
}

// connect connects to a server until the end of the test.
func connect(t *testing.T, s *postmaster.Server) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), s.DSN("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close(context.WithoutCancel(t.Context())) })
	return conn
}

// execute runs statements.
func execute(t *testing.T, s *postmaster.Server, statements ...string) {
	t.Helper()
	conn := connect(t, s)
	for _, sql := range statements {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
}

// query returns the text of the one value that a query has.
func query(t *testing.T, s *postmaster.Server, sql string) string {
	t.Helper()
	return queryConn(t, connect(t, s), sql)
}

func queryConn(t *testing.T, conn *pgx.Conn, sql string) string {
	t.Helper()
	var v string
	if err := conn.QueryRow(t.Context(), sql).Scan(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

// settings checks settings of the server.
func settings(t *testing.T, s *postmaster.Server, want map[string]string) {
	t.Helper()
	conn, got := connect(t, s), map[string]string{}
	for name := range want {
		got[name] = queryConn(t, conn, "SHOW "+name)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// eventually waits until something is so.
func eventually(t *testing.T, what string, so func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !so(); {
		if time.Now().After(end) {
			t.Fatal("waited in vain until", what)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// killHard is kill -9, for a process whose parent buries it.
func killHard(t *testing.T, pid int) {
	t.Helper()
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
}

// state returns the letter for the state of a process, or "" if there is none.
func state(pid int) string {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return ""
	}
	s := string(data)
	return strings.Fields(s[strings.LastIndex(s, ")")+1:])[0]
}

func dead(pid int) bool { s := state(pid); return s == "" || s == "Z" || s == "X" }

// needRoot skips a test of what root alone can do.
func needRoot(t *testing.T) {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("only root can take on another user")
	}
}

func lookupUser(t *testing.T, name string) *user.User {
	t.Helper()
	u, err := user.Lookup(name)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// serverUser returns the owner of the cluster in a folder.
func serverUser(t *testing.T, folder string) *user.User {
	t.Helper()
	fi, err := os.Stat(filepath.Join(folder, "postgres"))
	if err != nil {
		t.Fatal(err)
	}
	u, err := user.LookupId(strconv.Itoa(int(fi.Sys().(*syscall.Stat_t).Uid)))
	if err != nil {
		t.Fatal(err)
	}
	return u
}

func atoi(t *testing.T, s string) int {
	t.Helper()
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func absent(t *testing.T, path string) {
	t.Helper()
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%s is there (%v)", path, err)
	}
}
