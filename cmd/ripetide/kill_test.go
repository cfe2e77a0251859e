package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"ripetide/weather"
)

var (
	kills    = flag.Int("kills", 20, "how often TestKills kills")
	killSeed = flag.Uint64("kill-seed", 0, "seed of TestKills; 0: by the clock")
)

// asProgram is the variable that has the test's own program run as ripetide.
const asProgram = "RIPETIDE_TEST_AS_PROGRAM"

// program is ripetide in a process of its own.
type program struct {
	t    *testing.T
	cmd  *exec.Cmd
	data string // Its data folder.
	base string
	out  *wholeLog
	done chan struct{}
}

// newProgram starts a command on a data folder.
func newProgram(t *testing.T, folder string, args ...string) *program {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := &program{t: t, data: folder, cmd: exec.Command(self, args...), out: &wholeLog{}, done: make(chan struct{})}
	p.cmd.Env = append(os.Environ(), asProgram+"=1", "DATABASE_URL=", "RIPETIDE_DATA="+folder, "RIPETIDE_ADDR=127.0.0.1:0", "RIPETIDE_DAILY=off", "RIPETIDE_BACKUPS=off")
	return p
}

// serve waits until it answers and is ready.
func (p *program) serve(t *testing.T) *program {
	t.Helper()
	if err := p.begin(); err != nil {
		t.Fatal(err)
	}
	return p
}

// serveAtOnce is serve for n programs on one folder.
func serveAtOnce(t *testing.T, folder string, n int) []*program {
	t.Helper()
	programs, errs := make([]*program, n), make([]error, n)
	var all sync.WaitGroup
	for i := range n {
		programs[i] = newProgram(t, folder, "serve")
		all.Go(func() { errs[i] = programs[i].begin() })
	}
	all.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	return programs
}

func (p *program) begin() error {
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		return err
	}
	p.cmd.Stderr = p.out
	if err := p.cmd.Start(); err != nil {
		return err
	}
	p.t.Cleanup(p.kill)
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if _, rest, ok := strings.Cut(lines.Text(), "Serving at "); ok {
			p.base, _, _ = strings.Cut(rest, " ")
			break
		}
	}
	go func() {
		_, _ = io.Copy(io.Discard, out)
		_ = p.cmd.Wait()
		close(p.done)
	}()
	if p.base == "" {
		<-p.done
		return fmt.Errorf("serve ended: %s", p.out)
	}
	return nil
}

// kill is kill -9. What the race detector had told by then counts.
func (p *program) kill() {
	_ = p.cmd.Process.Kill()
	<-p.done
	if strings.Contains(p.out.String(), "WARNING: DATA RACE") {
		p.t.Errorf("%s", p.out)
	}
}

func (p *program) ready() bool {
	res, err := http.Get(p.base + "/readyz")
	if err != nil {
		return false
	}
	_ = res.Body.Close()
	return res.StatusCode == http.StatusOK
}

// write is something that is recorded whole or not at all: a row for each key,
// which holds its values.
type write []string

// ledger is what a client knows of its writes.
type ledger struct {
	mu    sync.Mutex
	acked []write // They were acknowledged.
	maybe []write // They were not, or not yet.
	n     atomic.Int64
}

func (l *ledger) note(w write, acked bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if acked {
		l.acked = append(l.acked, w)
		l.n.Add(1)
	} else {
		l.maybe = append(l.maybe, w)
	}
}

// onRecord reads the keys of everything that is on record, with SQL of its own.
const onRecordSQL = `
	SELECT concat_ws(' ', 'day', station, day, min_c, max_c) FROM station_day WHERE station NOT IN ('corrected', 'long')
	UNION ALL SELECT concat_ws(' ', 'correction', min_c) FROM station_day WHERE station = 'corrected'
	UNION ALL SELECT concat_ws(' ', 'picking', planting, day, kg) FROM picking_version
	UNION ALL SELECT concat_ws(' ', 'sighting', planting, day) FROM sighting WHERE NOT seen
	UNION ALL SELECT concat_ws(' ', 'area', area_m2) FROM planting_version WHERE planting = 'sized'
	UNION ALL SELECT concat_ws(' ', 'forecast', id) FROM frozen_forecast`

// check holds what is on record against what the client knows. What may have
// been recorded is known afterwards.
func (l *ledger) check(t *testing.T, c *config) {
	t.Helper()
	l.mu.Lock()
	defer l.mu.Unlock()
	o, err := attach(t.Context(), c, mainDatabase, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer o.close(t.Context())
	conn, err := pgx.Connect(t.Context(), o.dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	rows, _ := conn.Query(t.Context(), onRecordSQL)
	keys, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]int{}
	for _, k := range keys {
		found[k]++
	}
	for _, w := range l.acked {
		for _, k := range w {
			if found[k] != 1 {
				t.Errorf("%s was acknowledged and is there %d times", k, found[k])
			}
			delete(found, k)
		}
	}
	for _, w := range l.maybe {
		there := 0
		for _, k := range w {
			there += found[k]
			delete(found, k)
		}
		switch there {
		case 0:
		case len(w):
			l.acked = append(l.acked, w)
		default:
			t.Errorf("of %q %d rows of %d are there", w[0], there, len(w))
		}
	}
	l.maybe = nil
	n := 0
	for k := range found {
		if n++; n > 5 {
			break
		}
		t.Errorf("%s is there, and nobody knows of it", k)
	}
}

// herd is a load of clients, whose counters go on from round to round.
type herd struct {
	t       *testing.T
	key     string
	ledger  ledger
	loads   int          // Begun by the command.
	patient bool         // Clients go on when nobody answers.
	away503 atomic.Int64 // Writes that were answered with 503.
	at      [9]int       // How far each client has come.
}

var herdClient = &http.Client{Timeout: 20 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: 40}}

// send sends a request; true: it was acknowledged.
func (h *herd) send(base, method, path, contentType, body string, into any) (acked, alive bool) {
	req, err := http.NewRequest(method, base+"/v1/farms/f"+path, strings.NewReader(body))
	if err != nil {
		h.t.Error(err)
		return false, false
	}
	req.Header.Set("Authorization", "Bearer "+h.key)
	req.Header.Set("Content-Type", contentType)
	res, err := herdClient.Do(req)
	if err != nil {
		return false, false
	}
	answer, err := io.ReadAll(res.Body)
	_ = res.Body.Close()
	switch {
	case res.StatusCode == http.StatusServiceUnavailable:
		if res.Header.Get("Retry-After") == "" {
			h.t.Errorf("%s %s: 503 without Retry-After", method, path)
		}
		h.away503.Add(1)
		time.Sleep(20 * time.Millisecond)
		return false, true
	case res.StatusCode >= 300:
		h.t.Errorf("%s %s: %s\n%s", method, path, res.Status, answer)
		return false, true
	case err != nil:
		return false, false // What was said is not known.
	}
	if into != nil {
		if err := json.Unmarshal(answer, into); err != nil {
			h.t.Error(err)
		}
	}
	return true, true
}

func day(n int) string {
	d, err := weather.ParseDate("1900-01-01")
	if err != nil {
		panic(err)
	}
	return (d + weather.Date(n)).String()
}

// write makes the next write of a client.
func (h *herd) write(client int, base string) (alive bool) {
	n := h.at[client]
	h.at[client]++
	var w write
	var method, path, kind, body string
	switch client % 6 {
	case 0, 1: // A batch of ten days.
		method, path, kind = "POST", fmt.Sprintf("/stations/s%d/days", client), "text/csv"
		var b strings.Builder
		b.WriteString("date,min_c,max_c\n")
		for i := range 10 {
			fmt.Fprintf(&b, "%s,%d,%d\n", day(10*n+i-73000), n%20, 20+n%20)
			w = append(w, fmt.Sprintf("day s%d %s %d %d", client, day(10*n+i-73000), n%20, 20+n%20))
		}
		body = b.String()
	case 2: // Pickings of three days.
		method, path, kind = "POST", "/pickings", "application/json"
		var items []string
		for i := range 3 {
			items = append(items, fmt.Sprintf(`{"planting":"p%d","date":"%s","kg":%d}`, client, day(3*n+i), n+1))
			w = append(w, fmt.Sprintf("picking p%d %s %d", client, day(3*n+i), n+1))
		}
		body = `{"pickings":[` + strings.Join(items, ",") + `]}`
	case 3: // A look in vain.
		method, path, kind = "POST", "/sightings", "application/json"
		body = fmt.Sprintf(`{"sightings":[{"planting":"p%d","date":"%s","stage":"last_pick","seen":false}]}`, client, day(n))
		w = write{fmt.Sprintf("sighting p%d %s", client, day(n))}
	case 4: // A correction of one day.
		method, path, kind = "POST", "/stations/corrected/days", "text/csv"
		low := -80 + float64(n+1)/128 // Told without rounding.
		body = fmt.Sprintf("date,min_c,max_c\n1950-01-01,%v,60\n", low)
		w = write{fmt.Sprintf("correction %v", low)}
	case 5:
		method, path, kind = "PUT", "/plantings/sized", "application/json"
		body = fmt.Sprintf(`{"variety":"v","block":"B","station":"s0","planted_on":"1900-01-01","area_m2":%d}`, n+2)
		w = write{fmt.Sprintf("area %d", n+2)}
	}
	acked, alive := h.send(base, method, path, kind, body, nil)
	h.ledger.note(w, acked)
	return alive
}

// pace is how often a client writes at most, so that the days there are last for
// some 15,000 writes of each: eight minutes, which is two hundred kills and more.
const pace = time.Second / 30

// run writes until stop is closed or the services are gone.
func (h *herd) run(stop <-chan struct{}, bases []string, forecasts bool) *sync.WaitGroup {
	var wg sync.WaitGroup
	for _, client := range []int{0, 1, 2, 3, 4, 5, 6, 7, 8} {
		wg.Go(func() {
			tick := time.NewTicker(pace)
			defer tick.Stop()
			for {
				select {
				case <-stop:
					return
				case <-tick.C:
				}
				if !h.write(client, bases[client%len(bases)]) && !h.patient {
					return
				}
			}
		})
	}
	if forecasts {
		wg.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				var made struct {
					ID string `json:"id"`
				}
				acked, alive := h.send(bases[0], "POST", "/forecasts?as_of=2018-06-01", "application/json", "", &made)
				if acked {
					h.ledger.note(write{"forecast " + made.ID}, true)
				}
				if !alive {
					return
				}
			}
		})
	}
	return &wg
}

// postmasterOf returns the private server's process of a data folder.
func postmasterOf(folder string) (int, error) {
	files, err := filepath.Glob(filepath.Join(folder, "*", "postmaster.pid"))
	if err != nil || len(files) != 1 {
		return 0, fmt.Errorf("found %v, %w", files, err)
	}
	text, err := os.ReadFile(files[0])
	if err != nil {
		return 0, err
	}
	first, _, _ := strings.Cut(string(text), "\n")
	return strconv.Atoi(first)
}

func killPostmaster(t *testing.T, folder string) {
	t.Helper()
	pid, err := postmasterOf(folder)
	if err == nil {
		err = syscall.Kill(pid, syscall.SIGKILL)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// dataFolder is a folder that the unprivileged server may enter.
func dataFolder(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := errors.Join(os.Chmod(filepath.Dir(dir), 0o755), os.Chmod(dir, 0o755)); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "data")
}

// eventually waits for something, for so long at most, and tells how long it
// took.
func eventually(t *testing.T, most time.Duration, what string, so func() bool) time.Duration {
	t.Helper()
	begin := time.Now()
	for !so() {
		if time.Since(begin) > most {
			t.Fatalf("not within %v: %s", most, what)
		}
		time.Sleep(10 * time.Millisecond)
	}
	return time.Since(begin)
}

// TestKills kills the service, its database or both, again and again, while
// clients write. What was acknowledged is there once, what was not is there whole
// or not at all, and nothing else is there.
//
//	go test ./cmd/ripetide -run TestKills -kills 200 -timeout 60m -v
func TestKills(t *testing.T) {
	seed := *killSeed
	if seed == 0 {
		seed = uint64(time.Now().UnixNano())
	}
	t.Logf("-kill-seed %d", seed)
	const kinds = 7
	rounds, least := *kills, 50.0 // Acknowledged writes a second, without which a round proves nothing.
	if watched {
		rounds, least = kinds, 0 // For the detector, one of each kind.
	}
	random := rand.New(rand.NewPCG(seed, 1)) //nolint:gosec // No secret.
	folder := dataFolder(t)
	services := []*program{newProgram(t, folder, "serve").serve(t)}
	h := &herd{t: t}
	key, err := newProgram(t, folder, "key", "new", "--role", "owner", "--name", "test").cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	h.key = strings.TrimSpace(string(key))
	h.setUp(services[0].base)

	var voids int
	var slowest time.Duration
	for round := 0; round < rounds; {
		kind := []string{"service", "database", "both", "service in a forecast", "both in a load", "three instances", "database in a forecast"}[round%kinds]
		if kind == "three instances" {
			services = append(services, serveAtOnce(t, folder, 3-len(services))...)
		}
		var bases []string
		for _, p := range services {
			eventually(t, 30*time.Second, "ready before the round", p.ready)
			bases = append(bases, p.base)
		}
		stop := make(chan struct{})
		before, begin := h.ledger.n.Load(), time.Now()
		running := h.run(stop, bases, strings.Contains(kind, "forecast"))
		var loading *exec.Cmd
		if kind == "both in a load" {
			loading = h.load(folder)
		}
		time.Sleep(time.Duration(500+random.IntN(1000)) * time.Millisecond)
		rate := float64(h.ledger.n.Load()-before) / time.Since(begin).Seconds()
		if !strings.HasPrefix(kind, "service") && kind != "three instances" {
			killPostmaster(t, folder)
		}
		if !strings.HasPrefix(kind, "database") {
			for _, p := range services {
				p.kill()
			}
			if kind == "three instances" && round%2 == 1 {
				_ = syscall.Kill(must1(postmasterOf(folder)), syscall.SIGKILL)
			}
		} else { // Readiness tells it at once.
			eventually(t, 5*time.Second, "not ready while the database is dead", func() bool { return !services[0].ready() })
		}
		dead := time.Now()
		if strings.HasPrefix(kind, "database") {
			eventually(t, 30*time.Second, "ready after the database died", services[0].ready)
		} else {
			close(stop)
			running.Wait()
			services = []*program{newProgram(t, folder, "serve").serve(t)}
			eventually(t, 30*time.Second, "ready after the service died", services[0].ready)
			stop = nil
		}
		slowest = max(slowest, time.Since(dead))
		if stop != nil {
			close(stop)
			running.Wait()
		}
		if loading != nil {
			h.loaded(loading)
		}
		h.forecasts(&config{Data: folder})
		h.ledger.check(t, &config{Data: folder})
		if t.Failed() {
			t.Fatalf("round %d: %s", round, kind)
		}
		if rate < least {
			if voids++; voids > rounds {
				t.Fatalf("void for the %dth time: %.0f acknowledged writes a second, want %.0f", voids, rate, least)
			}
			t.Logf("round %d is void and made again: %.0f acknowledged writes a second", round, rate)
			continue
		}
		t.Logf("round %d: %s, %.0f acknowledged writes a second, %d in all", round, kind, rate, h.ledger.n.Load())
		round++
	}
	t.Logf("%d kills, %d writes acknowledged, none lost, none half-written; slowest back %v; %d rounds void", rounds, h.ledger.n.Load(), slowest.Round(time.Millisecond), voids)
}

func must1(n int, err error) int {
	if err != nil {
		panic(err)
	}
	return n
}

// setUp puts a farm that can be forecast.
func (h *herd) setUp(base string) {
	h.t.Helper()
	put := func(method, path, kind, body string) {
		h.t.Helper()
		if acked, _ := h.send(base, method, path, kind, body, nil); !acked {
			h.t.Fatalf("%s %s was not taken", method, path)
		}
	}
	put("PUT", "", "application/json", `{"name":"F","latitude":42.3,"longitude":-83.7,"time_zone":"America/Detroit","units":"metric"}`)
	for _, id := range []string{"s0", "s1", "s6", "s7", "bulk", "corrected", "long"} {
		put("PUT", "/stations/"+id, "application/json", `{"name":"S","latitude":42.3,"longitude":-83.7,"elevation_m":40,"stand_in":null}`)
	}
	put("PUT", "/varieties/v", "application/json", `{"name":"V","ripens":"mid"}`)
	for _, id := range []string{"p2", "p3", "p8"} {
		put("PUT", "/plantings/"+id, "application/json", `{"variety":"v","block":"B","station":"s0","planted_on":"1900-01-01","area_m2":100}`)
	}
	put("PUT", "/plantings/sized", "application/json", `{"variety":"v","block":"B","station":"s0","planted_on":"1900-01-01","area_m2":1}`)
	put("PUT", "/plantings/told", "application/json", `{"variety":"v","block":"B","station":"long","planted_on":"2010-01-01","area_m2":100}`)
	h.ledger.note(write{"area 1"}, true)
	file, err := os.ReadFile("../../testdata/weather/ann_arbor_1976_2018.csv")
	if err != nil {
		h.t.Fatal(err)
	}
	put("POST", "/stations/long/days", "text/csv", string(file))
	put("POST", "/sightings", "application/json", `{"sightings":[{"planting":"told","date":"2018-05-12","stage":"bloom_10","seen":true}]}`)
}

const bulk = 2000 // Days of a load by the command.

// bulkDays are the days of the nth load.
func bulkDays(nth int) (text string, w write) {
	var b strings.Builder
	b.WriteString("date,min_c,max_c\n")
	for i := range bulk {
		n := nth*bulk + i - 73000 // From 1700 on.
		fmt.Fprintf(&b, "%s,1,11\n", day(n))
		w = append(w, "day bulk "+day(n)+" 1 11")
	}
	return b.String(), w
}

// load begins a load by the command.
func (h *herd) load(folder string) *exec.Cmd {
	h.loads++ // A round that is void makes another one.
	text, _ := bulkDays(h.loads)
	name := filepath.Join(h.t.TempDir(), "bulk.csv")
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		h.t.Fatal(err)
	}
	cmd := newProgram(h.t, folder, "load", "bulk", name).cmd
	if err := cmd.Start(); err != nil {
		h.t.Fatal(err)
	}
	return cmd
}

// loaded waits for the end of the load.
func (h *herd) loaded(cmd *exec.Cmd) {
	_, w := bulkDays(h.loads)
	h.ledger.note(w, cmd.Wait() == nil)
}

// forecasts notes those that were frozen and not acknowledged: their names are
// not known to the client, so each may be there.
func (h *herd) forecasts(c *config) {
	h.t.Helper()
	o, err := attach(h.t.Context(), c, mainDatabase, nil)
	if err != nil {
		h.t.Fatal(err)
	}
	defer o.close(h.t.Context())
	conn, err := pgx.Connect(h.t.Context(), o.dsn)
	if err != nil {
		h.t.Fatal(err)
	}
	defer conn.Close(h.t.Context())
	rows, _ := conn.Query(h.t.Context(), "SELECT id::text, convert_from(body, 'UTF8')::json ->> 'id' FROM frozen_forecast")
	var id, within string
	known := map[string]bool{}
	for _, w := range append(h.ledger.acked, h.ledger.maybe...) {
		known[w[0]] = true
	}
	if _, err := pgx.ForEachRow(rows, []any{&id, &within}, func() error {
		if id != within {
			return fmt.Errorf("forecast %s calls itself %s", id, within)
		}
		if !known["forecast "+id] {
			h.ledger.note(write{"forecast " + id}, false)
		}
		return nil
	}); err != nil {
		h.t.Fatal(err)
	}
}

// TestKilledWhileItMigrates kills the program at every step of making the tables,
// and then lets three start at once.
func TestKilledWhileItMigrates(t *testing.T) {
	t.Parallel()
	folder := dataFolder(t)
	o, err := attach(t.Context(), &config{Data: folder}, mainDatabase, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer o.close(context.WithoutCancel(t.Context()))
	conn, err := pgx.Connect(t.Context(), o.dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	version := func() (n int) {
		if err := conn.QueryRow(t.Context(), "SELECT count(*) FROM pg_class WHERE relname = 'goose_db_version'").Scan(&n); err != nil || n == 0 {
			return 0
		}
		if err := conn.QueryRow(t.Context(), "SELECT COALESCE(max(version_id), 0) FROM goose_db_version").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	files, err := filepath.Glob("../../db/migrations/*.sql")
	if err != nil {
		t.Fatal(err)
	}
	reached := map[int]bool{}
	for at := 0; at < len(files); { // Each is killed as soon as it has made a step.
		p := newProgram(t, folder, "key", "list")
		if err := p.cmd.Start(); err != nil {
			t.Fatal(err)
		}
		was := at
		eventually(t, time.Minute, "a program makes a step", func() bool {
			at = version()
			return at > was
		})
		_ = p.cmd.Process.Kill()
		_ = p.cmd.Wait()
		at = version()
		reached[at] = true
	}
	t.Logf("killed with tables of versions %v", reached)
	delete(reached, 0)
	if delete(reached, len(files)); len(reached) == 0 {
		t.Error("none was killed in the middle")
	}
	for _, p := range serveAtOnce(t, folder, 3) {
		if !p.ready() {
			t.Error("one of three that start at once is not ready")
		}
	}
	if version() != len(files) {
		t.Errorf("tables of version %d after %d migrations", version(), len(files))
	}
}
