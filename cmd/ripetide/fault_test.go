package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/db/postmaster"
)

// underLoad is a service of its own process that clients write to.
type underLoad struct {
	*herd
	service *program
	conf    *config
	stop    chan struct{}
	running *sync.WaitGroup
}

// newUnderLoad starts one on a data folder, or on a DATABASE_URL, and the load.
func newUnderLoad(t *testing.T, folder, dsn string) *underLoad {
	t.Helper()
	u := &underLoad{herd: &herd{t: t, patient: true}, conf: &config{Data: folder, DatabaseURL: dsn}, stop: make(chan struct{})}
	url := "DATABASE_URL=" + dsn
	serve := newProgram(t, folder, "serve")
	serve.cmd.Env = append(serve.cmd.Env, url)
	u.service = serve.serve(t)
	key := newProgram(t, folder, "key", "new", "--role", "owner", "--name", "test")
	key.cmd.Env = append(key.cmd.Env, url)
	out, err := key.cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	u.key = strings.TrimSpace(string(out))
	u.setUp(u.service.base)
	u.running = u.run(u.stop, []string{u.service.base}, false)
	u.writes("before")
	return u
}

// writes waits for twenty more acknowledged writes.
func (u *underLoad) writes(when string) {
	u.t.Helper()
	n := u.ledger.n.Load()
	eventually(u.t, 20*time.Second, "twenty writes "+when, func() bool { return u.ledger.n.Load() >= n+20 })
}

// away waits until the service says that it is not ready, five seconds at most.
func (u *underLoad) away() {
	u.t.Helper()
	eventually(u.t, 5*time.Second, "not ready while the database is away", func() bool { return !u.service.ready() })
}

// back waits until it is ready again, writes more, and looks whether what was
// acknowledged is there.
func (u *underLoad) back() {
	u.t.Helper()
	took := eventually(u.t, 5*time.Second, "ready once the database is back", u.service.ready)
	u.writes("afterwards")
	close(u.stop)
	u.running.Wait()
	u.ledger.check(u.t, u.conf)
	select {
	case <-u.service.done:
		u.t.Errorf("the service has ended: %s", u.service.out)
	default:
	}
	u.t.Logf("ready again after %v; %d writes acknowledged", took.Round(time.Millisecond), u.ledger.n.Load())
}

// TestADatabaseThatRestarts stops and starts the database of a DATABASE_URL under
// load, at once and without care.
func TestADatabaseThatRestarts(t *testing.T) {
	folder := dataFolder(t)
	server, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = server.Close(context.WithoutCancel(t.Context())) }()
	if err := server.CreateDatabase(t.Context(), mainDatabase); err != nil {
		t.Fatal(err)
	}
	u := newUnderLoad(t, dataFolder(t), server.DSN(mainDatabase))
	pid := server.PID()
	if err := syscall.Kill(pid, syscall.SIGQUIT); err != nil { // Its immediate stop.
		t.Fatal(err)
	}
	u.away()
	keep, enough := context.WithCancel(t.Context())
	go server.Keep(keep)
	eventually(t, 20*time.Second, "the database is started again", func() bool { return server.PID() != pid })
	u.back()
	enough()
}

// TestNoMoreConnections: somebody else holds all connections of the server. What
// cannot be done is told as such, soon, and everything works once they are free.
func TestNoMoreConnections(t *testing.T) {
	folder := dataFolder(t)
	server, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = server.Close(context.WithoutCancel(t.Context())) }()
	if err := server.CreateDatabase(t.Context(), mainDatabase); err != nil {
		t.Fatal(err)
	}
	u := newUnderLoad(t, dataFolder(t), server.DSN(mainDatabase))
	var held []*pgx.Conn
	defer func() {
		for _, c := range held {
			_ = c.Close(context.WithoutCancel(t.Context()))
		}
	}()
	// The service's own connections are ended until it has none and gets none.
	eventually(t, 20*time.Second, "all connections are held", func() bool {
		for {
			c, err := pgx.Connect(t.Context(), server.DSN("postgres"))
			if err != nil {
				break
			}
			held = append(held, c)
		}
		var ended int
		const end = "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE datname = 'ripetide'"
		if err := held[0].QueryRow(t.Context(), end).Scan(&ended); err != nil {
			t.Fatal(err)
		}
		return ended == 0
	})
	u.away()
	begin := time.Now()
	res, body := u.get("/v1/farms/f")
	if took := time.Since(begin); res == nil || res.StatusCode != http.StatusServiceUnavailable || res.Header.Get("Retry-After") == "" || took > 5*time.Second {
		t.Errorf("without connections: %v after %v: %s", res, took, body)
	}
	for _, c := range held {
		_ = c.Close(t.Context())
	}
	held = nil
	u.back()
}

func (u *underLoad) get(path string) (*http.Response, string) {
	u.t.Helper()
	req, err := http.NewRequestWithContext(u.t.Context(), http.MethodGet, u.service.base+path, nil)
	if err != nil {
		u.t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+u.key)
	res, err := herdClient.Do(req)
	if err != nil {
		u.t.Error(err)
		return nil, ""
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		u.t.Error(err)
	}
	return res, string(text)
}

// smallDisk is a folder on a disk of so many megabytes. The test is skipped where
// none may be mounted.
func smallDisk(t *testing.T, megabytes int) string {
	t.Helper()
	dir := filepath.Join(filepath.Dir(dataFolder(t)), "disk")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.CommandContext(t.Context(), "mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%dm,mode=755", megabytes), "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("no disk can be mounted here: %v %s", err, out)
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", "-l", dir).CombinedOutput(); err != nil {
			t.Errorf("%v %s", err, out)
		}
	})
	return dir
}

// TestAFullDisk fills the disk of the private database under load. Writes are
// refused as such; once there is room the service starts the database again by
// itself, and nothing that was acknowledged is missing.
func TestAFullDisk(t *testing.T) {
	disk := smallDisk(t, 300)
	u := newUnderLoad(t, filepath.Join(disk, "data"), "")
	ballast := filepath.Join(disk, "ballast")
	fill(t, ballast)
	eventually(t, 60*time.Second, "writes are refused on a full disk", func() bool { return u.away503.Load() > 20 })
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	eventually(t, 30*time.Second, "the database works again", u.service.ready)
	u.back()
}

// TestADiskThatCanOnlyBeRead makes the folder of the private database one that can
// only be read, as a kernel does with a disk that fails, and ends the database: it
// cannot be started again. Once the folder can be written the service does that by
// itself, and nothing that was acknowledged is missing.
func TestADiskThatCanOnlyBeRead(t *testing.T) {
	folder := filepath.Join(smallDisk(t, 300), "data")
	u := newUnderLoad(t, folder, "")
	// Over itself, for a disk cannot be made so while files on it are being written.
	mount := func(args ...string) {
		t.Helper()
		if out, err := exec.CommandContext(t.Context(), "mount", append(args, folder)...).CombinedOutput(); err != nil {
			t.Fatalf("mount %v: %v %s", args, err, out)
		}
	}
	mount("--bind", folder)
	away := sync.OnceFunc(func() {
		if out, err := exec.Command("umount", "-l", folder).CombinedOutput(); err != nil {
			t.Errorf("%v %s", err, out)
		}
	})
	t.Cleanup(away)
	mount("-o", "remount,bind,ro")
	pid, err := postmasterOf(folder)
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(pid, syscall.SIGQUIT); err != nil { // Its immediate stop.
		t.Fatal(err)
	}
	u.away()
	begin := time.Now()
	res, body := u.get("/v1/farms/f")
	if took := time.Since(begin); res == nil || res.StatusCode != http.StatusServiceUnavailable || res.Header.Get("Retry-After") == "" || took > 5*time.Second {
		t.Errorf("on a disk that can only be read: %v after %v: %s", res, took, body)
	}
	eventually(t, 30*time.Second, "the database is seen not to start", func() bool {
		return u.away503.Load() > 20 && strings.Contains(u.service.out.String(), "read-only file system")
	})
	if u.service.ready() {
		t.Error("ready on a disk that can only be read")
	}
	away()
	eventually(t, 30*time.Second, "the database works again", u.service.ready)
	u.back()
}

// fill writes a file until the disk is full.
func fill(t *testing.T, name string) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	block := make([]byte, 1<<20)
	for size := len(block); size > 0; {
		if _, err := f.Write(block[:size]); err != nil {
			size /= 2
		}
	}
}

// pair is a primary and its standby on this machine.
type pair struct {
	t   *testing.T
	bin string // Folder of PostgreSQL's programs.
	dir string
}

// newPair makes a primary that says a write is done once its standby has it too.
func newPair(t *testing.T) *pair {
	t.Helper()
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/pg_basebackup")
	if err != nil || len(found) == 0 {
		t.Skip("pg_basebackup is not where Debian has it")
	}
	p := &pair{t: t, bin: filepath.Dir(found[len(found)-1]), dir: filepath.Dir(dataFolder(t))}
	if err := os.Chmod(p.dir, 0o777); err != nil {
		t.Fatal(err)
	}
	p.do("initdb", "-D", p.dir+"/a", "-U", "postgres", "-A", "trust", "--locale=C", "--encoding=UTF8")
	p.start("a", 5433)
	p.do("pg_basebackup", "-D", p.dir+"/b", "-R", "-X", "stream", "-c", "fast", "-h", p.dir, "-p", "5433", "-U", "postgres")
	p.start("b", 5434)
	p.sql(5433, "CREATE DATABASE ripetide", "ALTER SYSTEM SET synchronous_standby_names = '*'", "ALTER SYSTEM SET synchronous_commit = 'remote_apply'", "SELECT pg_reload_conf()")
	return p
}

// command is a program of PostgreSQL, which does not run as root.
func (p *pair) command(program string, args ...string) *exec.Cmd {
	cmd := exec.Command(filepath.Join(p.bin, program), args...)
	cmd.Dir, cmd.Env = p.dir, append(os.Environ(), "LC_ALL=C")
	if os.Geteuid() == 0 {
		u, err := user.Lookup("postgres")
		if err != nil {
			p.t.Fatal(err)
		}
		uid, gid := must1(strconv.Atoi(u.Uid)), must1(strconv.Atoi(u.Gid))
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}} //nolint:gosec // Numbers of users.
	}
	return cmd
}

func (p *pair) do(program string, args ...string) {
	p.t.Helper()
	if out, err := p.command(program, args...).CombinedOutput(); err != nil {
		p.t.Fatalf("%s: %v\n%s", program, err, out)
	}
}

// start starts a cluster and waits until it answers.
func (p *pair) start(name string, port int) {
	p.t.Helper()
	cmd := p.command("postgres", "-D", filepath.Join(p.dir, name), "-c", "listen_addresses=", "-c", "unix_socket_directories="+p.dir, "-c", fmt.Sprint("port=", port))
	if err := cmd.Start(); err != nil {
		p.t.Fatal(err)
	}
	p.t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGQUIT)
		_ = cmd.Wait()
	})
	eventually(p.t, 20*time.Second, "the cluster "+name+" answers", func() bool {
		conn, err := pgx.Connect(p.t.Context(), p.dsn("postgres", port))
		if err != nil {
			return false
		}
		return conn.Close(p.t.Context()) == nil
	})
}

func (p *pair) dsn(database string, port int) string {
	return fmt.Sprintf("host=%s port=%d user=postgres dbname=%s", p.dir, port, database)
}

func (p *pair) sql(port int, statements ...string) {
	p.t.Helper()
	order(p.t, p.dsn("postgres", port), statements...)
}

// TestAFailover stops the primary under load and promotes its standby. A
// DATABASE_URL that names both leads to the one that takes writes.
func TestAFailover(t *testing.T) {
	p := newPair(t)
	dsn := fmt.Sprintf("host=%s,%s port=5433,5434 user=postgres dbname=ripetide target_session_attrs=read-write", p.dir, p.dir)
	u := newUnderLoad(t, dataFolder(t), dsn)
	pid, err := os.ReadFile(filepath.Join(p.dir, "a", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	first, _, _ := strings.Cut(string(pid), "\n")
	if err := syscall.Kill(must1(strconv.Atoi(first)), syscall.SIGQUIT); err != nil {
		t.Fatal(err)
	}
	u.away()
	p.sql(5434, "SELECT pg_promote()")
	u.back()
}
