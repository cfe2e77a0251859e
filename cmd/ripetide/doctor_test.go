package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgproto3"

	"ripetide/db"
	"ripetide/db/dbtest"
	"ripetide/db/postmaster"
	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/feed"
)

// canary is a password that nobody must see.
const canary = "canary-4711"

// openTo returns a new folder that the user of a private server may enter.
func openTo(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.Chmod(filepath.Dir(dir), 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// clinic is a durable PostgreSQL for installations to be looked at. That of
// dbtest is not: it is unsafe on purpose.
type clinic struct {
	server *postmaster.Server
	n      chan int // Of the next database.
}

func newClinic(t *testing.T) *clinic {
	t.Helper()
	s, err := postmaster.Open(t.Context(), postmaster.Options{Folder: filepath.Join(openTo(t), "data")})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(context.WithoutCancel(t.Context())); err != nil {
			t.Error(err)
		}
	})
	c := &clinic{server: s, n: make(chan int, 1)}
	c.n <- 1
	return c
}

// order runs statements as the superuser.
func order(t testing.TB, dsn string, statements ...string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	for _, sql := range statements {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
}

// database makes a database, a copy of template unless that is "". Its
// connection string has a password, for which the socket does not ask.
func (c *clinic) database(t *testing.T, template string) string {
	t.Helper()
	n := <-c.n
	name := "patient" + strconv.Itoa(n)
	sql := "CREATE DATABASE " + name
	if template != "" {
		sql += " TEMPLATE " + template
	}
	order(t, c.server.DSN("postgres"), sql) // One after the other, for a template is copied by one at a time.
	c.n <- n + 1
	u, err := url.Parse(c.server.DSN(name))
	if err != nil {
		t.Fatal(err)
	}
	u.User = url.UserPassword(u.User.Username(), canary)
	return u.String()
}

// growing is the latitude of a farm whose stations are wanted to report now.
func growing(now time.Time) (latitude float64) {
	if forecast.Growing(weather.DateOf(now.Date()), false) {
		return 42.3
	}
	return -42.3
}

// wellFarm puts a farm on record that wants for nothing.
func wellFarm(t *testing.T, dsn string, now time.Time) {
	t.Helper()
	ctx := t.Context()
	if err := db.Migrate(ctx, dsn); err != nil {
		t.Fatal(err)
	}
	s, err := db.Open(ctx, dsn, db.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	made := func(_ bool, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	lat := growing(now)
	made(s.PutFarm(ctx, forecast.Farm{ID: "hill", Name: "Hill Farm", Latitude: lat, TimeZone: "UTC", Units: forecast.Metric, GapProbability: 0.5}, "test", now))
	for _, id := range []string{"post", "new", "still"} {
		made(s.PutStation(ctx, "hill", weather.Station{ID: id, Name: id, Latitude: lat, Elevation: 100}, "test", now))
	}
	made(s.PutVariety(ctx, "hill", forecast.Variety{ID: "first", Name: "First", Ripens: forecast.Early}, "test", now))
	made(s.PutPlanting(ctx, "hill", standing("first-home", "post", now), "test", now))
	if _, err := s.AddDays(ctx, "hill", "post", weather.Delivery{Source: "test", Days: daysUntil(weather.DateOf(time.Now().Date())-1, 4000)}, now); err != nil {
		t.Fatal(err)
	}
	if _, _, err := newKey(ctx, s, "owner", "Ann", "", 0, now); err != nil {
		t.Fatal(err)
	}
}

// standing is a planting that bears.
func standing(id, station string, now time.Time) forecast.Planting {
	return forecast.Planting{ID: id, Variety: "first", Block: id, Station: station, PlantedOn: weather.DateOf(now.Year()-4, time.May, 1), AreaM2: 500, KgPerM2: 1}
}

// daysUntil returns n days of made-up weather that end on last, warmest in
// July, or in January on the farm of a southern season.
func daysUntil(last weather.Date, n int) []weather.Day {
	warmest := 197.0 // The day of the year of 16 July.
	if growing(last.Time()) < 0 {
		warmest -= 182
	}
	r := rand.New(rand.NewPCG(1, 1))
	days := make([]weather.Day, n)
	for i := range days {
		d := last - weather.Date(n-1-i)
		mean := 10 + 12*math.Cos(2*math.Pi*(float64(d.Time().YearDay())-warmest)/365) + 3*r.NormFloat64()
		half := 4 + 2*r.Float64()
		days[i] = weather.Day{Date: d, Min: math.Round(10*(mean-half)) / 10, Max: math.Round(10*(mean+half)) / 10}
	}
	return days
}

// told is what doctor printed and whether it found what must be mended.
type told struct {
	text string
	err  error
}

// look runs doctor.
func look(t *testing.T, w *world, env map[string]string, args ...string) told {
	t.Helper()
	var out bytes.Buffer
	v := *w
	v.Stdout, v.Getenv = &out, func(k string) string { return env[k] }
	if v.Stderr == nil {
		v.Stderr = &out
	}
	if v.Now == nil {
		v.Now = time.Now
	}
	err := run(t.Context(), &v, append(args, "doctor"))
	x := told{out.String(), err}
	if err != nil && strings.Contains(plain(err), canary) || strings.Contains(x.text, canary) {
		t.Errorf("the password is told:\n%s%v", x.text, err)
	}
	return x
}

// lines are those of a thing.
func (x told) lines(what string) (lines []string) {
	for line := range strings.Lines(x.text) {
		if len(line) > 9 && strings.HasPrefix(line[9:], what+" ") {
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	return lines
}

// mends fails unless a thing must be mended and the line says all of want.
func (x told) mends(t *testing.T, what string, want ...string) {
	t.Helper()
	text := strings.Join(x.lines(what), "\n")
	if !strings.HasPrefix(text, "mend ") || !strings.Contains(text, " Fix: ") || x.err == nil {
		t.Errorf("%s is not found wrong (%v):\n%s", what, x.err, x.text)
	}
	for _, w := range want {
		if !strings.Contains(text, w) {
			t.Errorf("%s does not say %q:\n%s", what, w, text)
		}
	}
}

// has fails unless a thing is in a state and the line says want.
func (x told) has(t *testing.T, s state, what, want string) {
	t.Helper()
	text := strings.Join(x.lines(what), "\n")
	if !strings.HasPrefix(text, string(s)+" ") || !strings.Contains(text, want) {
		t.Errorf("%s is not %s, saying %q:\n%s", what, s, want, x.text)
	}
}

// freeAddr is an address that nobody listens on.
func freeAddr(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
	return l.Addr().String()
}

func TestDoctorPassesAWholeInstallation(t *testing.T) {
	t.Parallel()
	env := map[string]string{"RIPETIDE_DATA": filepath.Join(openTo(t), "data"), "RIPETIDE_ADDR": "127.0.0.1:0"}
	w := &world{Getenv: func(k string) string { return env[k] }, Stdout: new(bytes.Buffer), Stderr: new(bytes.Buffer), Now: time.Now}

	// Before the first run there is nothing, and looking makes nothing.
	x := look(t, w, env)
	x.mends(t, "data folder", "does not exist", "`ripetide serve`, which makes it")
	x.mends(t, "database", "there is none yet", "`ripetide serve`")
	x.has(t, unknown, "owner", "not looked at")
	if _, err := os.Lstat(env["RIPETIDE_DATA"]); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("looking made the data folder: %v", err)
	}

	if err := run(t.Context(), w, []string{"demo", "--no-serve"}); err != nil {
		t.Fatal(err)
	}
	x = look(t, w, env, "--demo-farm")
	if x.err != nil || strings.Contains(x.text, "mend ") || strings.Contains(x.text, "unknown ") {
		t.Errorf("%v\n%s", x.err, x.text)
	}
	x.has(t, good, "data folder", "can be written")
	x.has(t, good, "PostgreSQL here", "version ")
	x.has(t, good, "safe writing", "fsync")
	x.has(t, good, "station ann-arbor", "42 past seasons") // 1976 to 2017.
	x.has(t, good, "farm", "lanternfen")

	// The other database was never made, and is not now.
	for range 2 {
		x = look(t, w, env)
		x.mends(t, "database", "does not exist yet", "`ripetide serve`")
	}

	// As a program of its own: the exit status.
	program := func(args ...string) (string, error) {
		cmd := exec.Command("/proc/self/exe", args...)
		cmd.Env = append(os.Environ(), asProgram+"=1", "DATABASE_URL=", "RIPETIDE_DATA="+env["RIPETIDE_DATA"], "RIPETIDE_ADDR=127.0.0.1:0")
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	if out, err := program("doctor", "--demo-farm"); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
	out, err := program("doctor")
	if e, ok := errors.AsType[*exec.ExitError](err); !ok || e.ExitCode() != 1 || !strings.Contains(out, "ripetide: 1 thing is to be mended") {
		t.Errorf("%v\n%s", err, out)
	}
}

func TestDoctorNamesFaultsOfSettings(t *testing.T) {
	t.Parallel()
	x := look(t, &world{}, map[string]string{
		"RIPETIDE_ADDR": "here", "RIPETIDE_DATA": t.TempDir(), "RIPETIDE_FEED_NETWORKS": "home", "RIPETIDE_DAILY": "so", "RIPETIDE_LOG": "loud",
		"RIPETIDE_PUBLIC_URL": "farm", "RIPETIDE_SMTP": "mail", "RIPETIDE_SMTP_FROM": "me", "RIPETIDE_SMTP_USER": "ann", "RIPETIDE_SMTP_TLS": "some",
		"RIPETIDE_SMTP_CA": "/no/such/file", "RIPETIDE_SMTP_PASSWORD_FILE": "/no/such/file", "DATABASE_URL": "postgres://u:" + canary + "@127.0.0.1:1/x",
	})
	for _, name := range []string{"ADDR", "FEED_NETWORKS", "DAILY", "LOG", "PUBLIC_URL", "SMTP", "SMTP_FROM", "SMTP_USER", "SMTP_TLS", "SMTP_CA", "SMTP_PASSWORD_FILE"} {
		x.mends(t, "settings", "mend     settings         RIPETIDE_"+name, "Fix: correct RIPETIDE_"+name+", or unset it")
	}
	x.has(t, unknown, "address", "RIPETIDE_ADDR")
	x.has(t, unknown, "mail", "its settings")
	if n := len(x.lines("settings")); n != 11 {
		t.Errorf("%d lines of settings, want one for each fault:\n%s", n, x.text)
	}
}

func TestDoctorLooksAtTheDataFolder(t *testing.T) {
	t.Parallel()
	at := func(path string) told {
		t.Helper()
		return look(t, &world{}, map[string]string{"RIPETIDE_DATA": path, "RIPETIDE_ADDR": "127.0.0.1:0"})
	}
	base := openTo(t)
	file := filepath.Join(base, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	at(file).mends(t, "data folder", "is a file and no folder", "set RIPETIDE_DATA to a folder")

	taken := filepath.Join(base, "taken", "postgres")
	if err := os.MkdirAll(taken, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(taken, "letter.txt"), []byte("Dear Ann"), 0o600); err != nil {
		t.Fatal(err)
	}
	if os.Geteuid() != 0 {
		t.Log("only root can make folders of others")
		at(filepath.Dir(taken)).mends(t, "PostgreSQL here", "is no database of PostgreSQL", "move it away")
		return
	}
	at(filepath.Dir(taken)).mends(t, "data folder", "belongs to another user", "chown -R")
	nobody, err := user.Lookup("nobody")
	if err != nil {
		t.Fatal(err)
	}
	uid, gid := number(t, nobody.Uid), number(t, nobody.Gid)
	if err := os.Chown(taken, uid, gid); err != nil {
		t.Fatal(err)
	}
	at(filepath.Dir(taken)).mends(t, "PostgreSQL here", "is no database of PostgreSQL", "move it away")

	// Made by a version of PostgreSQL that nobody installs any more.
	if err := os.WriteFile(filepath.Join(taken, "PG_VERSION"), []byte("9\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	x := at(filepath.Dir(taken))
	x.mends(t, "PostgreSQL here", "was made by PostgreSQL 9, and installed is", "apt-get install postgresql-9")
	x.has(t, unknown, "database", "cannot be started")

	closed := filepath.Join(base, "closed")
	if err := os.Mkdir(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	at(filepath.Join(closed, "data")).mends(t, "data folder", "may not enter", "RIPETIDE_DATA")

	// As an ordinary user.
	ordinary := func(path string, set ...string) told {
		t.Helper()
		cmd := exec.Command("/proc/self/exe", "doctor")
		cmd.Env = append([]string{asProgram + "=1", "RIPETIDE_DATA=" + path, "RIPETIDE_ADDR=127.0.0.1:0", "PATH=" + os.Getenv("PATH")}, set...)
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
		out, err := cmd.CombinedOutput()
		return told{string(out), err}
	}
	roots := filepath.Join(base, "roots")
	if err := os.Mkdir(roots, 0o755); err != nil {
		t.Fatal(err)
	}
	ordinary("").mends(t, "settings", "RIPETIDE_DATA is not set")
	ordinary(roots).mends(t, "data folder", "belongs to user root and cannot be written by user nobody", "chown -R")
	ordinary(filepath.Join(roots, "data")).mends(t, "data folder", "may not make it", "chown nobody")
	ordinary(filepath.Join(closed, "data")).mends(t, "data folder", "may not look into "+closed)
	if err := os.Chown(roots, uid, gid); err != nil {
		t.Fatal(err)
	}
	x = ordinary(roots)
	x.has(t, good, "data folder", "can be written")
	x.has(t, note, "backups", "the first is made")
	ordinary(roots, "RIPETIDE_BACKUPS="+filepath.Join(base, "elsewhere")).mends(t, "backups", "user nobody may not write into "+base, "mkdir -p "+filepath.Join(base, "elsewhere")+" && chown nobody")
	if err := os.Chmod(roots, 0o555); err != nil {
		t.Fatal(err)
	}
	x = ordinary(roots)
	x.mends(t, "data folder", "cannot be written", "chmod u+rwx")
	x.has(t, unknown, "backups", "the data folder cannot be written")
}

func number(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func TestDoctorFindsADiskThatIsFull(t *testing.T) {
	t.Parallel()
	folder := openTo(t)
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=16m"); err != nil {
		// A container may not. Then the disk is one that is too small for more.
		p := &patient{conf: &config{Data: folder}, folder: seeFolder(folder), least: 1 << 62}
		if f := checkSpace(p)[0]; f.state != mend || !strings.Contains(f.found, "and 4294967296.0 GB are needed") {
			t.Errorf("%+v", f)
		}
		return
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, 0); err != nil {
			t.Error(err)
		}
	})
	x := look(t, &world{}, map[string]string{"RIPETIDE_DATA": folder, "RIPETIDE_ADDR": "127.0.0.1:0"})
	x.mends(t, "disk space", "0.0 GB free at "+folder+", and 1.0 GB are needed", "make room")
}

func TestDoctorWithoutPostgreSQL(t *testing.T) {
	t.Parallel()
	w := &world{Programs: []string{t.TempDir()}}
	x := look(t, w, map[string]string{"RIPETIDE_DATA": openTo(t), "RIPETIDE_ADDR": "127.0.0.1:0"})
	x.mends(t, "PostgreSQL here", "no PostgreSQL 15 or newer is installed", "apt-get install postgresql, or set DATABASE_URL")
}

func TestDoctorAsksTheDatabase(t *testing.T) {
	t.Parallel()
	c := newClinic(t)
	with := func(t *testing.T, dsn string) told {
		t.Helper()
		return look(t, &world{}, map[string]string{"DATABASE_URL": dsn, "RIPETIDE_DATA": t.TempDir(), "RIPETIDE_ADDR": "127.0.0.1:0"})
	}
	for _, dsn := range []string{
		"postgres://ann:" + canary + "@host:port/x", "postgres://ann:" + canary + "/x@host/x", "postgres://ann:12/" + canary + "@host/x",
		"postgres://ann:12?" + canary + "@host/x", "postgres://ann:12#" + canary + "@host/x", "postgres://ann:%zz" + canary + "@host/x",
		"host=x password=" + canary + " port=many", "host=x password='" + canary, canary,
	} {
		with(t, dsn).mends(t, "database", "DATABASE_URL cannot be read", "%2F for a /")
		// Nor do the other commands tell it.
		err := run(t.Context(), &world{Getenv: func(k string) string { return map[string]string{"DATABASE_URL": dsn, "RIPETIDE_DATA": t.TempDir()}[k] }, Now: time.Now}, []string{"key", "list"})
		if err == nil || strings.Contains(err.Error()+plain(err), canary) || !strings.Contains(plain(err), "DATABASE_URL") {
			t.Errorf("key list with DATABASE_URL %q: %v", dsn, err)
		}
	}
	dead := freeAddr(t)
	with(t, "postgres://ann:"+canary+"@"+dead+"/x").mends(t, "database", "database x at "+dead+" as user ann does not answer", "connection refused", "start that PostgreSQL")

	// A user with a password, on the socket.
	conn, err := pgx.Connect(t.Context(), c.server.DSN("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	var hba string
	if err := conn.QueryRow(t.Context(), "SHOW hba_file").Scan(&hba); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(hba, os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintln(f, "local all guest scram-sha-256")
	f.Close()
	order(t, c.server.DSN("postgres"), "CREATE ROLE guest LOGIN PASSWORD 'another'", "SELECT pg_reload_conf()")
	guest, err := url.Parse(c.server.DSN("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	guest.User = url.UserPassword("guest", canary)
	with(t, guest.String()).mends(t, "database", "as user guest: the server refuses the user or the password", "in DATABASE_URL")
	guest.User = url.UserPassword("stranger", canary)
	with(t, guest.String()).mends(t, "database", "the server refuses")

	missing := strings.Replace(c.database(t, ""), "/patient", "/nobodys", 1)
	with(t, missing).mends(t, "database", "database nobodys1", "does not exist", "make it with createdb")

	x := with(t, oldServer(t))
	x.has(t, good, "database", "answers")
	x.mends(t, "PostgreSQL", "the server is version 14.11 (Debian 14.11-1)", "PostgreSQL 15 or newer")
	x.has(t, unknown, "tables", "")

	empty := c.database(t, "")
	with(t, empty).mends(t, "tables", "there are none yet", "`ripetide serve`, which makes them")
	var tables int
	if err := conn.QueryRow(t.Context(), "SELECT count(*) FROM pg_database WHERE datname LIKE 'nobodys%'").Scan(&tables); err != nil || tables != 0 {
		t.Errorf("%d databases were made: %v", tables, err)
	}
	own, err := pgx.Connect(t.Context(), empty)
	if err != nil {
		t.Fatal(err)
	}
	defer own.Close(t.Context())
	if err := own.QueryRow(t.Context(), "SELECT count(*) FROM pg_tables WHERE schemaname = 'public'").Scan(&tables); err != nil || tables != 0 {
		t.Errorf("%d tables were made: %v", tables, err)
	}

	// A server for tests does without what makes others durable.
	x = with(t, dbtest.DSN(t))
	if os.Getenv("TEST_DATABASE_URL") == "" {
		x.mends(t, "safe writing", "fsync, full_page_writes, synchronous_commit off", "ALTER SYSTEM SET fsync = on;", "pg_reload_conf()")
	}
}

// oldServer answers as a PostgreSQL does that is too old.
func oldServer(t *testing.T) (dsn string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer conn.Close()
				b := pgproto3.NewBackend(conn, conn)
				if _, err := b.ReceiveStartupMessage(); err != nil {
					return
				}
				b.Send(&pgproto3.AuthenticationOk{})
				b.Send(&pgproto3.ParameterStatus{Name: "server_version", Value: "14.11 (Debian 14.11-1)"})
				b.Send(&pgproto3.ReadyForQuery{TxStatus: 'I'})
				if b.Flush() != nil {
					return
				}
				_, _ = b.Receive() // Until it hangs up.
			}()
		}
	}()
	return "postgres://ann:" + canary + "@" + l.Addr().String() + "/x?sslmode=disable"
}

func TestDoctorReadsTheRecord(t *testing.T) {
	t.Parallel()
	c := newClinic(t)
	now := time.Now()
	order(t, c.server.DSN("postgres"), "CREATE DATABASE well")
	wellFarm(t, c.server.DSN("well"), now.Add(-10*time.Minute))
	env := func(dsn string) map[string]string {
		return map[string]string{"DATABASE_URL": dsn, "RIPETIDE_DATA": t.TempDir(), "RIPETIDE_ADDR": "127.0.0.1:0"}
	}
	// Each case breaks one thing and nothing else.
	for _, tt := range []struct {
		name string
		do   func(t *testing.T, dsn string, s *db.Store)
		what string   // Must be mended; "": nothing.
		want []string // Is said of it.
		now  func() time.Time
	}{
		{name: "a whole one"},
		{
			name: "tables of a newer program", what: "tables", want: []string{"version 9999, made by a newer program", "run the newer ripetide"},
			do: func(t *testing.T, dsn string, _ *db.Store) {
				order(t, dsn, "INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, true)")
			},
		},
		{
			name: "tables of an older program", what: "tables", want: []string{"version 7, older than this program's", "`ripetide serve`"},
			do: func(t *testing.T, dsn string, _ *db.Store) {
				order(t, dsn, "DELETE FROM goose_db_version WHERE version_id > 7")
			},
		},
		{
			name: "commits that may be lost", what: "safe writing", want: []string{"synchronous_commit off: a power cut", "ALTER SYSTEM SET synchronous_commit = on;"},
			do: func(t *testing.T, dsn string, _ *db.Store) {
				order(t, dsn, "DO $$ BEGIN EXECUTE 'ALTER DATABASE ' || current_database() || ' SET synchronous_commit = off'; END $$")
			},
		},
		{
			name: "a clock that is slow", what: "clock", want: []string{"2m0s ahead of", "timedatectl set-ntp true"},
			now: func() time.Time { return time.Now().Add(-2 * time.Minute) },
		},
		{
			name: "a clock that is fast", what: "clock", want: []string{"2m0s behind", "timedatectl set-ntp true"},
			now: func() time.Time { return time.Now().Add(2 * time.Minute) },
		},
		{
			name: "a record of tomorrow", what: "newest record", want: []string{"of farm hill it is of", "after now", "timedatectl"},
			do: func(t *testing.T, _ string, s *db.Store) {
				if _, err := s.PutVariety(t.Context(), "hill", forecast.Variety{ID: "late", Name: "Late", Ripens: forecast.Late}, "test", now.Add(30*time.Hour)); err != nil {
					t.Fatal(err)
				}
			},
		},
		{
			name: "no valid key of an owner", what: "owner", want: []string{"nobody can sign in as an owner", "`ripetide link`", "`ripetide key new --role owner"},
			do: func(t *testing.T, _ string, s *db.Store) {
				keys, err := s.Keys(t.Context(), nil)
				if err != nil || len(keys) != 1 {
					t.Fatal(keys, err)
				}
				if err := s.RevokeKey(t.Context(), nil, keys[0].ID, now); err != nil {
					t.Fatal(err)
				}
				if _, _, err := newKey(t.Context(), s, "grower", "Ben", "", 0, now); err != nil {
					t.Fatal(err)
				}
				if _, _, err := newKey(t.Context(), s, "owner", "Cy", "", time.Minute, now.Add(-time.Hour)); err != nil {
					t.Fatal(err)
				}
			},
		},
		{
			name: "an old installation without a backup", what: "backups", want: []string{"and things are on record since", "`ripetide backup FILE`"},
			do: func(t *testing.T, _ string, s *db.Store) {
				if _, _, err := newKey(t.Context(), s, "reader", "Dee", "", 0, now.Add(-backupAge-time.Hour)); err != nil {
					t.Fatal(err)
				}
			},
		},
		{
			name: "a farm that nobody owns", what: "owner", want: []string{"as an owner of far"},
			do: func(t *testing.T, _ string, s *db.Store) {
				if _, err := s.PutFarm(t.Context(), forecast.Farm{ID: "far", Name: "Far", TimeZone: "UTC", Units: forecast.Metric, GapProbability: 0.5}, "test", now); err != nil {
					t.Fatal(err)
				}
				keys, err := s.Keys(t.Context(), nil)
				if err != nil {
					t.Fatal(err)
				}
				if err := s.RevokeKey(t.Context(), nil, keys[0].ID, now); err != nil {
					t.Fatal(err)
				}
				if _, _, err := newKey(t.Context(), s, "owner", "Di", "hill", 0, now); err != nil {
					t.Fatal(err)
				}
			},
		},
		{
			name: "a station with a short record", what: "station new", want: []string{"of farm hill: 3 past seasons can be replayed, and 5 are needed", "`ripetide load new FILE`"},
			do: func(t *testing.T, _ string, s *db.Store) {
				today := weather.DateOf(now.Date())
				if _, err := s.PutPlanting(t.Context(), "hill", standing("first-new", "new", now), "test", now); err != nil {
					t.Fatal(err)
				}
				if _, err := s.AddDays(t.Context(), "hill", "new", weather.Delivery{Source: "test", Days: daysUntil(today-1, 3*365+200)}, now); err != nil {
					t.Fatal(err)
				}
			},
		},
		{
			name: "a station without a record", what: "station new", want: []string{"0 past seasons", "`ripetide load new FILE`"},
			do: func(t *testing.T, _ string, s *db.Store) {
				if _, err := s.PutPlanting(t.Context(), "hill", standing("first-new", "new", now), "test", now); err != nil {
					t.Fatal(err)
				}
			},
		},
		{
			name: "a station that is silent", what: "station still", want: []string{"no day since " + (weather.DateOf(now.Date()) - 8).String(), "`ripetide load still FILE`"},
			do: func(t *testing.T, _ string, s *db.Store) { // The last seven days are missing.
				if _, err := s.PutPlanting(t.Context(), "hill", standing("first-still", "still", now), "test", now); err != nil {
					t.Fatal(err)
				}
				if _, err := s.AddDays(t.Context(), "hill", "still", weather.Delivery{Source: "test", Days: daysUntil(weather.DateOf(now.Date())-8, 4000)}, now); err != nil {
					t.Fatal(err)
				}
			},
		},
		{
			name: "a station that was silent for five days",
			do: func(t *testing.T, _ string, s *db.Store) {
				if _, err := s.PutPlanting(t.Context(), "hill", standing("first-still", "still", now), "test", now); err != nil {
					t.Fatal(err)
				}
				if _, err := s.AddDays(t.Context(), "hill", "still", weather.Delivery{Source: "test", Days: daysUntil(weather.DateOf(now.Date())-6, 4000)}, now); err != nil {
					t.Fatal(err)
				}
			},
		},
		{
			name: "a feed that fails again and again", what: "feed airport", want: []string{"of station post, farm hill: the last fetch failed at", "nobody answers at the third try", "`ripetide feed fetch post airport`"},
			do: func(t *testing.T, _ string, s *db.Store) { fetched(t, s, now, feed.Failed, feed.Failed, feed.Failed) },
		},
		{
			name: "a feed that is refused", what: "feed airport", want: []string{"the last fetch refused"},
			do: func(t *testing.T, _ string, s *db.Store) { fetched(t, s, now, feed.New, feed.Refused) },
		},
		{
			name: "a feed that failed and works again",
			do: func(t *testing.T, _ string, s *db.Store) {
				fetched(t, s, now, feed.Failed, feed.Failed, feed.Failed, feed.New)
			},
		},
		{
			name: "a feed that failed twice",
			do:   func(t *testing.T, _ string, s *db.Store) { fetched(t, s, now, feed.New, feed.Failed, feed.Failed) },
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dsn := c.database(t, "well")
			if tt.do != nil {
				s, err := db.Open(t.Context(), dsn, db.Options{})
				if err != nil {
					t.Fatal(err)
				}
				tt.do(t, dsn, s)
				s.Close()
			}
			before := content(t, dsn)
			x := look(t, &world{Now: tt.now}, env(dsn))
			if after := content(t, dsn); after != before {
				t.Errorf("looking changed the database:\n%s\n%s", before, after)
			}
			if tt.what == "" {
				if x.err != nil || strings.Contains(x.text, "mend ") {
					t.Errorf("%v\n%s", x.err, x.text)
				}
				return
			}
			x.mends(t, tt.what, tt.want...)
			if n := strings.Count(x.text, " Fix: "); n != 1 {
				t.Errorf("%d things are wrong, want one:\n%s", n, x.text)
			}
		})
	}

	t.Run("no farm", func(t *testing.T) {
		t.Parallel()
		dsn := c.database(t, "")
		if err := db.Migrate(t.Context(), dsn); err != nil {
			t.Fatal(err)
		}
		x := look(t, &world{}, env(dsn))
		x.mends(t, "farm", "there is none yet", "`ripetide link`")
		x.mends(t, "owner", "nobody can sign in", "`ripetide key new --role owner")
	})

	t.Run("addresses", func(t *testing.T) {
		t.Parallel()
		e := env(c.database(t, "well"))
		at := func(addr string) told {
			t.Helper()
			e["RIPETIDE_ADDR"] = addr
			return look(t, &world{}, e)
		}
		other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "alive") }))
		defer other.Close()
		taken := other.Listener.Addr().String()
		at(taken).mends(t, "address", taken+" is taken by another program", "RIPETIDE_ADDR")
		at("192.0.2.1:8321").mends(t, "address", "this machine has no address 192.0.2.1") // For documentation only, RFC 5737.
		at(freeAddr(t)).has(t, good, "address", "is free")

		// Metrics are answered on an address of their own.
		e["RIPETIDE_METRICS"] = taken
		at("127.0.0.1:0").mends(t, "metrics", taken+" is taken by another program", "set RIPETIDE_METRICS to another address")
		e["RIPETIDE_METRICS"] = "0.0.0.0:0"
		at("127.0.0.1:0").has(t, note, "metrics", "everybody who reaches 0.0.0.0:0 can read them")
		e["RIPETIDE_METRICS"] = "here"
		at("127.0.0.1:0").has(t, unknown, "metrics", "RIPETIDE_METRICS cannot be read")
		e["RIPETIDE_METRICS"] = freeAddr(t)
		at("127.0.0.1:0").has(t, good, "metrics", "for this machine alone")

		e["RIPETIDE_ADDR"] = "127.0.0.1:0"
		s := &service{t: t, env: e}
		bare(t, s)
		x := at(strings.TrimPrefix(s.base, "http://"))
		x.has(t, good, "address", "a ripetide runs at")
		x.has(t, good, "metrics", "for this machine alone")
	})

	t.Run("mail and the public address", func(t *testing.T) {
		t.Parallel()
		e := env(c.database(t, "well"))
		dead := freeAddr(t)
		e["RIPETIDE_SMTP"], e["RIPETIDE_SMTP_FROM"], e["RIPETIDE_PUBLIC_URL"] = dead, "farm@farm.example", "https://farm.example/berries"
		x := look(t, &world{}, e)
		x.mends(t, "mail", dead+" cannot be reached", "RIPETIDE_SMTP", "firewall")
		x.has(t, note, "public address", "a proxy must pass requests on to 127.0.0.1:0; all addresses on pages begin with /berries")

		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		e["RIPETIDE_SMTP"], e["RIPETIDE_PUBLIC_URL"] = l.Addr().String(), "http://ripetide.farm.example"
		x = look(t, &world{}, e)
		x.has(t, good, "mail", "can be reached")
		x.has(t, note, "public address", "is not https")
		if x.err != nil {
			t.Errorf("a note is taken for a fault: %v\n%s", x.err, x.text)
		}
	})
}

func TestDoctorWaitsSevenDaysForAStation(t *testing.T) {
	t.Parallel()
	last := weather.DateOf(2026, time.May, 1)
	for _, tt := range []struct {
		name    string
		today   weather.Date
		daysOld int
		want    state
	}{
		{"in season, six days", weather.DateOf(2026, time.May, 8), 6, good},
		{"in season, seven days", weather.DateOf(2026, time.May, 9), 7, mend},
		{"on the last day of September", weather.DateOf(2026, time.September, 30), 151, mend},
		{"after harvest", weather.DateOf(2026, time.October, 1), 152, good},
		{"in January", weather.DateOf(2027, time.January, 31), 274, good},
		{"on the first day of February", weather.DateOf(2027, time.February, 1), 275, mend},
	} {
		f := farmSeen{Farm: forecast.Farm{ID: "hill", Latitude: 42.3}, today: tt.today}
		h := &forecast.Health{Station: "post", Last: &last, DaysOld: tt.daysOld, Leaning: forecast.Leaning{PastSeasons: 5}}
		if got := checkStation(f, stationSeen{h, true}); got.state != tt.want {
			t.Errorf("%s: %+v", tt.name, got)
		}
	}
}

// fetched puts a feed of the station post on record, with fetches that came out
// so.
func fetched(t *testing.T, s *db.Store, now time.Time, outcomes ...feed.Outcome) {
	t.Helper()
	k := feed.Key{Farm: "hill", Station: "post", Feed: "airport"}
	if _, err := s.PutFeed(t.Context(), k, feed.Spec{Kind: feed.ACIS, SourceStation: "KARB", Every: 6 * time.Hour}, "test", now); err != nil {
		t.Fatal(err)
	}
	j, err := s.Feed(t.Context(), k)
	if err != nil {
		t.Fatal(err)
	}
	ordinals := []string{"first", "second", "third", "fourth"}
	for i, o := range outcomes {
		r := feed.Result{Outcome: o, Detail: "nobody answers at the " + ordinals[i] + " try"}
		if err := s.Keep(t.Context(), j, r, feed.State{}, now.Add(time.Duration(i-len(outcomes))*time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
}

// content counts what is in the tables of a database, and how often they were
// written.
func content(t *testing.T, dsn string) (text string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	// A changed row is another file of its table, or another number of rows.
	err = conn.QueryRow(t.Context(), `
		SELECT string_agg(concat_ws(' ', c.relname, (xpath('/row/n/text()', query_to_xml('SELECT count(*) || ''/'' || COALESCE(sum(xmin::text::bigint), 0) AS n FROM ' || c.oid::regclass, false, true, '')))[1]), E'\n' ORDER BY c.relname)
		FROM pg_class AS c
		WHERE c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace`).Scan(&text)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestDoctorLooksAtBackups(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)
	dir := filepath.Join(openTo(t), "backups")
	w := &world{Now: func() time.Time { return now }}
	env := map[string]string{"RIPETIDE_DATA": filepath.Dir(dir), "RIPETIDE_BACKUPS": dir, "RIPETIDE_ADDR": freeAddr(t), "DATABASE_URL": "postgres://127.0.0.1:1/none"}
	look(t, w, env).has(t, note, "backups", "the first is made when the service has run for an hour")
	if err := errors.Join(os.Mkdir(dir, 0o700), os.WriteFile(filepath.Join(dir, "ripetide-20261124T030000Z.zip"), nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	look(t, w, env).mends(t, "backups", "of 2026-11-24 03:00 UTC", "ripetide backup FILE")
	if err := os.WriteFile(filepath.Join(dir, "ripetide-20261126T030000Z.zip"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	look(t, w, env).has(t, good, "backups", "on the disk of the records: copy it elsewhere now and then")
	env["RIPETIDE_BACKUPS"] = "off"
	look(t, w, env).has(t, note, "backups", "RIPETIDE_BACKUPS is off")
	env["RIPETIDE_BACKUPS"] = filepath.Join(dir, "ripetide-20261126T030000Z.zip")
	look(t, w, env).mends(t, "backups", "cannot be looked into")
}
