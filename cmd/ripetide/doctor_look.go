package main

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"ripetide/db"
	"ripetide/db/archive"
	"ripetide/db/postmaster"
	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/feed"
)

// Limits of looking: nobody waits long for what does not answer.
const (
	databaseTime = 5 * time.Second
	recordTime   = time.Minute
	dialTime     = 3 * time.Second
	failedRuns   = 3       // Fetches in a row that failed make a feed one to be mended.
	leastFree    = 1 << 30 // Bytes.
)

// patient is what was seen of an installation. Looking is done first and once;
// the checks only judge.
type patient struct {
	conf   *config
	now    time.Time
	folder folder
	least  uint64 // Bytes that must be free.

	private    postmaster.Standing // Without a DATABASE_URL.
	privateErr error
	startErr   error // The private server could not be started.

	asked     bool   // The database was asked for.
	place     string // Where it is, for people.
	server    db.Standing
	serverErr error

	farms     []farmSeen
	keys      []db.Key
	recordErr error

	backups   folder    // Where they are made by themselves.
	backup    time.Time // The newest; zero: none.
	backupErr error

	listen  listening
	metrics listening // If they are answered.
	mail    error     // Of asking the mail server for a connection.
}

// folder is the data folder, or the deepest part of it that exists.
type folder struct {
	exists bool
	err    error // Of looking at it.
	path   string
	owner  int   // User number.
	access error // Of writing into it.
	free   uint64
	space  error // Of asking how much is free.
}

// farmSeen is what is on record of a farm.
type farmSeen struct {
	forecast.Farm
	today    weather.Date
	newest   time.Time // Record.
	stations []stationSeen
	feeds    []feedSeen
}

type stationSeen struct {
	*forecast.Health
	bears bool // A planting that bears stands at it.
}

type feedSeen struct {
	feed.Key
	paused bool
	runs   []db.FeedRun // The last ones, the latest first.
}

// listening is what became of listening on the service's address.
type listening struct {
	err   error
	ours  bool // A ripetide answers there.
	ready bool // And its database does.
}

// isPrivate reports whether the service has a PostgreSQL of its own.
func (p *patient) isPrivate() bool { return p.conf.DatabaseURL == "" }

// current reports whether the records could be looked at: the database answers
// and its tables are those of this program.
func (p *patient) current() bool {
	return p.asked && p.serverErr == nil && p.server.Schema == p.server.Program && p.recordErr == nil
}

// examine looks at everything and changes nothing. A private server that is
// there is started, if it does not run, and stopped again.
func examine(ctx context.Context, w *world, c *config) *patient {
	p := &patient{conf: c, now: w.Now(), least: leastFree}
	p.folder = seeFolder(c.Data)
	p.listen = seeAddress(ctx, c.Addr)
	if c.Metrics != "" {
		p.metrics = seeMetrics(ctx, c.Metrics)
	}
	if c.Backups != "" {
		p.backups = seeFolder(c.Backups)
		p.backup, _, p.backupErr = archive.Folder{Dir: c.Backups}.Newest(p.now)
	}
	if c.Mail != nil {
		d := net.Dialer{Timeout: dialTime}
		conn, err := d.DialContext(ctx, "tcp", c.Mail.Server)
		if p.mail = err; err == nil {
			_ = conn.Close() // Nothing was said.
		}
	}
	dsn, leave := p.reach(ctx, w)
	defer leave()
	if dsn == "" {
		return p
	}
	p.asked = true
	if p.place, p.serverErr = db.Place(dsn); p.serverErr != nil {
		return p
	}
	short, cancel := context.WithTimeout(ctx, databaseTime)
	defer cancel()
	p.server, p.serverErr = db.Examine(short, dsn, w.Now)
	if p.serverErr == nil && p.server.Schema == p.server.Program {
		p.recordErr = p.seeRecords(ctx, dsn)
	}
	return p
}

// reach returns the connection string of the database, "" if there is none to
// ask, and what to do in the end. It makes neither a server nor a database.
func (p *patient) reach(ctx context.Context, w *world) (dsn string, leave func()) {
	leave = func() {}
	c := p.conf
	switch {
	case !p.isPrivate() && c.Database == mainDatabase:
		return c.DatabaseURL, leave
	case !p.isPrivate():
		return withDatabase(c.DatabaseURL, c.Database), leave
	case c.Data == "":
		return "", leave
	}
	opt := postmaster.Options{Folder: c.Data, Programs: w.Programs}
	if p.private, p.privateErr = postmaster.Examine(ctx, opt); p.privateErr != nil || p.private.Major == 0 {
		return "", leave
	}
	s, err := postmaster.Open(ctx, opt)
	if p.startErr = err; err != nil {
		return "", leave
	}
	return s.DSN(c.Database), func() {
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
		defer cancel()
		_ = s.Close(end) // What goes wrong is for the next who opens it.
	}
}

// seeFolder looks at a folder. A program that is to write there later may not
// try to, so the rights are asked for.
func seeFolder(path string) folder {
	f := folder{path: path}
	for {
		fi, err := os.Stat(f.path)
		if errors.Is(err, fs.ErrNotExist) && f.path != filepath.Dir(f.path) {
			f.path = filepath.Dir(f.path)
			continue
		}
		if err == nil && !fi.IsDir() {
			err = syscall.ENOTDIR
		}
		if f.err = err; err != nil {
			return f
		}
		f.owner = int(fi.Sys().(*syscall.Stat_t).Uid)
		break
	}
	const enterAndWrite = 1 | 2 // X_OK and W_OK.
	f.exists = f.path == path
	f.access = syscall.Access(f.path, enterAndWrite)
	var s syscall.Statfs_t
	if f.space = syscall.Statfs(f.path, &s); f.space == nil {
		f.free = s.Bavail * uint64(s.Bsize)
	}
	return f
}

// seeAddress listens for a moment and, where that fails, asks who does.
func seeAddress(ctx context.Context, addr string) listening {
	seen := listening{err: tryListen(ctx, addr)}
	if errors.Is(seen.err, syscall.EADDRINUSE) && answer(ctx, addr, "/healthz") == "alive\n" {
		ready := answer(ctx, addr, "/readyz")
		seen.ready = ready == "ready\n"
		seen.ours = seen.ready || ready == "database does not answer\n"
	}
	return seen
}

// seeMetrics does so where metrics are answered.
func seeMetrics(ctx context.Context, addr string) listening {
	seen := listening{err: tryListen(ctx, addr)}
	seen.ours = errors.Is(seen.err, syscall.EADDRINUSE) && strings.Contains(answer(ctx, addr, "/metrics"), builtMetric)
	return seen
}

func tryListen(ctx context.Context, addr string) error {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", addr)
	if err != nil {
		return err
	}
	_ = l.Close() // It was only to see.
	return nil
}

// answer is what whoever listens on an address of this machine answers, or "".
func answer(ctx context.Context, addr, path string) string {
	client := &http.Client{Timeout: dialTime, Transport: &http.Transport{DisableKeepAlives: true}} // No proxy: it is this machine.
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+browsable(addr)+path, nil)
	if err != nil {
		return ""
	}
	res, err := client.Do(req)
	if err != nil {
		return ""
	}
	defer res.Body.Close()                                     //nolint:errcheck // It was only read.
	body, err := io.ReadAll(io.LimitReader(res.Body, 256<<10)) // Ours are shorter.
	if err != nil {
		return ""
	}
	return string(body)
}

// seeRecords reads what is on record of all farms.
func (p *patient) seeRecords(ctx context.Context, dsn string) error {
	ctx, cancel := context.WithTimeout(ctx, recordTime)
	defer cancel()
	s, err := db.Open(ctx, dsn, db.Options{ApplicationName: "ripetide doctor", ReadOnly: true})
	if err != nil {
		return err
	}
	defer s.Close()
	if p.keys, err = s.Keys(ctx, nil); err != nil {
		return err
	}
	farms, err := s.Farms(ctx)
	if err != nil {
		return err
	}
	for _, f := range farms {
		seen, err := p.seeFarm(ctx, s, f)
		if err != nil {
			return err
		}
		p.farms = append(p.farms, seen)
	}
	return nil
}

func (p *patient) seeFarm(ctx context.Context, s *db.Store, farm forecast.Farm) (seen farmSeen, err error) {
	seen.Farm = farm
	if seen.newest, err = s.LastRecorded(ctx, farm.ID); err != nil {
		return seen, err
	}
	now := p.now
	if p.conf.Database == demoDatabase {
		now = seen.newest // The demo stands still on a morning.
	}
	if seen.today, err = farm.Today(now); err != nil {
		return seen, err
	}
	if now.Before(seen.newest) {
		now = seen.newest // By a clock that is wrong, here or where it was entered.
	}
	in, err := s.Inputs(ctx, farm.ID, now)
	if err != nil {
		return seen, err
	}
	season := forecast.SeasonOf(seen.today, farm.Southern())
	bears := map[string]bool{}
	for _, x := range in.Plantings {
		if x.Bears(season, seen.today) {
			bears[x.Station] = true
		}
	}
	for _, r := range in.Records {
		h, err := forecast.StationHealth(in, r.Station.ID, nil, seen.today)
		if err != nil {
			return seen, err
		}
		seen.stations = append(seen.stations, stationSeen{h, bears[r.Station.ID]})
		jobs, err := s.StationFeeds(ctx, farm.ID, r.Station.ID)
		if err != nil {
			return seen, err
		}
		for _, j := range jobs {
			runs, err := s.FeedRuns(ctx, j.Key(), failedRuns)
			if err != nil {
				return seen, err
			}
			seen.feeds = append(seen.feeds, feedSeen{j.Key(), j.Spec.Paused, runs})
		}
	}
	return seen, nil
}
