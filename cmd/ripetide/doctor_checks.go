package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"ripetide/api"
	"ripetide/db"
	"ripetide/db/postmaster"
	"ripetide/forecast"
	"ripetide/weather/feed"
)

// say is one diagnosis.
func say(s state, found, fix string) []diagnosis {
	return []diagnosis{{state: s, found: found, fix: fix}}
}

// unseen is said of what rests on something that is wrong itself.
func unseen(why string) []diagnosis { return say(unknown, "not looked at, for "+why, "") }

func checkSettings(p *patient) (out []diagnosis) {
	for _, err := range faultsIn(p.conf.faults) {
		name, _, _ := strings.Cut(err.Error(), " ")
		out = append(out, say(mend, strings.TrimRight(err.Error(), "."), "correct "+strings.TrimRight(name, ":")+", or unset it")...)
	}
	if out == nil {
		return say(good, "all can be read", "")
	}
	return out
}

// faultsIn takes joined errors apart.
func faultsIn(err error) (out []error) {
	if err == nil {
		return nil
	}
	if j, ok := err.(interface{ Unwrap() []error }); ok { // Joined ones are not wrapped.
		for _, e := range j.Unwrap() {
			out = append(out, faultsIn(e)...)
		}
		return out
	}
	return []error{err}
}

func checkFolder(p *patient) []diagnosis {
	f, path := p.folder, p.conf.Data
	owner := func(path string) string {
		return fmt.Sprintf("run ripetide as the user that %s belongs to, or give it to user %s (chown -R)", path, userOf(os.Geteuid()))
	}
	switch {
	case path == "":
		return unseen("no folder is set")
	case errors.Is(f.err, syscall.ENOTDIR):
		return say(mend, f.path+" is a file and no folder", "set RIPETIDE_DATA to a folder")
	case f.err != nil:
		return say(mend, fmt.Sprintf("user %s may not look into %s", userOf(os.Geteuid()), filepath.Dir(f.path)), owner(filepath.Dir(f.path)))
	case errors.Is(p.privateErr, postmaster.ErrUnreachable):
		return say(mend, fmt.Sprintf("user %s, who runs PostgreSQL, may not enter %s", p.private.User, path),
			"set RIPETIDE_DATA to a folder that everybody may enter, such as /var/lib/ripetide, or open the folders above it (chmod o+x)")
	case !f.exists && !p.isPrivate():
		return say(note, path+" does not exist; with a DATABASE_URL only the demo writes there", "")
	case !f.exists && f.access == nil:
		return say(mend, path+" does not exist", "correct RIPETIDE_DATA, or start `ripetide serve`, which makes it")
	case !f.exists:
		return say(mend, fmt.Sprintf("%s does not exist, and user %s may not make it", path, userOf(os.Geteuid())),
			fmt.Sprintf("correct RIPETIDE_DATA, or as root: mkdir -p %s && chown %s %[1]s", path, userOf(os.Geteuid())))
	case errors.Is(f.access, syscall.EROFS):
		return say(mend, path+" is on a disk that can only be read", "set RIPETIDE_DATA to a folder that can be written, or mount the disk for writing")
	case f.access != nil && f.owner != os.Geteuid():
		return say(mend, fmt.Sprintf("%s belongs to user %s and cannot be written by user %s", path, userOf(f.owner), userOf(os.Geteuid())), owner(path))
	case f.access != nil:
		return say(mend, path+" cannot be written", "give its owner the right to write: chmod u+rwx "+path)
	case errors.Is(p.privateErr, postmaster.ErrOwner):
		return say(mend, fmt.Sprintf("the database in %s belongs to another user than %s, who is to run it", path, p.private.User),
			"run ripetide as the user that "+filepath.Join(path, "postgres")+" belongs to, or give it to user "+p.private.User+" (chown -R)")
	}
	return say(good, path+" can be written", "")
}

func userOf(uid int) string {
	n := strconv.Itoa(uid)
	if u, err := user.LookupId(n); err == nil {
		return u.Username
	}
	return n
}

func checkSpace(p *patient) []diagnosis {
	f := p.folder
	switch {
	case f.path == "" || f.err != nil:
		return unseen("the data folder cannot be looked at")
	case f.space != nil:
		return say(unknown, fmt.Sprintf("the disk of %s does not say how much is free", f.path), "")
	case f.free < p.least:
		return say(mend, fmt.Sprintf("%s free at %s, and %s are needed", gigabytes(f.free), f.path, gigabytes(p.least)),
			"make room on that disk, or move the folder to a larger one and set RIPETIDE_DATA")
	}
	return say(good, fmt.Sprintf("%s free at %s", gigabytes(f.free), f.path), "")
}

func gigabytes(n uint64) string { return fmt.Sprintf("%.1f GB", float64(n)/(1<<30)) }

// checkPrograms is about the PostgreSQL that the service runs itself.
func checkPrograms(p *patient) []diagnosis {
	if !p.isPrivate() {
		return nil
	}
	const keep = "; the old version must be there to read it"
	version, isVersion := errors.AsType[*postmaster.VersionError](p.privateErr)
	switch {
	case p.conf.Data == "":
		return unseen("there is no data folder")
	case isVersion:
		return say(mend, fmt.Sprintf("the database in %s was made by PostgreSQL %d, and installed is %s", p.conf.Data, version.Major, strings.Join(version.Have, ", ")),
			fmt.Sprintf("apt-get install postgresql-%d", version.Major)+keep)
	case errors.Is(p.privateErr, postmaster.ErrNoPrograms) && p.private.Major > 0:
		return say(mend, fmt.Sprintf("no PostgreSQL is installed, and the database in %s was made by version %d", p.conf.Data, p.private.Major),
			fmt.Sprintf("apt-get install postgresql-%d", p.private.Major))
	case errors.Is(p.privateErr, postmaster.ErrNoPrograms):
		return say(mend, "no PostgreSQL 15 or newer is installed", "apt-get install postgresql, or set DATABASE_URL to a server elsewhere")
	case errors.Is(p.privateErr, postmaster.ErrNotCluster):
		return say(mend, filepath.Join(p.conf.Data, "postgres")+" is no database of PostgreSQL", "move it away, or correct RIPETIDE_DATA")
	case p.privateErr != nil:
		return unseen("the data folder cannot be used")
	case p.private.Running:
		return say(good, fmt.Sprintf("version %d runs", p.private.Major), "")
	}
	return say(good, fmt.Sprintf("version %d in %s", p.private.Version, p.private.Programs), "")
}

func checkDatabase(p *patient) []diagnosis {
	err := p.serverErr
	switch {
	case p.startErr != nil:
		return say(mend, "the private PostgreSQL does not start: "+firstLine(p.startErr), "read the newest file in "+filepath.Join(p.conf.Data, "postgres", "log")+" and mend what it says")
	case !p.asked && p.privateErr == nil && p.conf.Data != "":
		return say(mend, "there is none yet", "start `ripetide serve`, which makes it")
	case !p.asked:
		return unseen("its PostgreSQL cannot be started")
	case errors.Is(err, db.ErrDSN):
		return say(mend, "DATABASE_URL cannot be read", dsnHelp)
	case errors.Is(err, db.ErrRefused):
		return say(mend, p.place+": the server refuses the user or the password", "correct user and password in DATABASE_URL, or what the server's pg_hba.conf allows")
	case errors.Is(err, db.ErrNoDatabase) && (p.isPrivate() || p.conf.Database != mainDatabase):
		return say(mend, p.place+" does not exist yet", "start `ripetide serve`, or `ripetide demo` for the demo's, which makes it")
	case errors.Is(err, db.ErrNoDatabase):
		return say(mend, p.place+" does not exist", "make it with createdb, or correct its name in DATABASE_URL")
	case errors.Is(err, db.ErrNoAnswer):
		return say(mend, p.place+" does not answer: "+networkCause(err), "start that PostgreSQL, or correct host and port in DATABASE_URL")
	case err != nil && !errors.Is(err, db.ErrServerTooOld):
		return say(mend, p.place+" cannot be read: "+firstLine(err), "look into the server's log")
	}
	return say(good, p.place+" answers", "")
}

// networkCause says why there is no connection, without what was to be said
// over it.
func networkCause(err error) string {
	if e, ok := errors.AsType[*net.OpError](err); ok {
		return firstLine(e)
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return fmt.Sprintf("nothing came for %s", databaseTime)
	}
	return "the connection was not made"
}

func firstLine(err error) string {
	line, _, _ := strings.Cut(err.Error(), "\n")
	return strings.TrimRight(line, ". ")
}

func checkServerVersion(p *patient) []diagnosis {
	switch {
	case errors.Is(p.serverErr, db.ErrServerTooOld):
		return say(mend, "the server is version "+p.server.Version+", too old for the tables", "move the database to PostgreSQL 15 or newer")
	case p.server.Version == "":
		return unseen("the database does not answer")
	}
	return say(good, "the server is version "+p.server.Version, "")
}

// unasked says why nothing is known of the database.
const unasked = "the database cannot be asked"

func checkSchema(p *patient) []diagnosis {
	s := p.server
	switch {
	case !p.asked || p.serverErr != nil:
		return unseen(unasked)
	case s.Schema > s.Program:
		return say(mend, fmt.Sprintf("they have version %d, made by a newer program, and this one knows version %d", s.Schema, s.Program), "run the newer ripetide")
	case s.Schema == 0:
		return say(mend, "there are none yet", "start `ripetide serve`, which makes them")
	case s.Schema < s.Program:
		return say(mend, fmt.Sprintf("they have version %d, older than this program's %d", s.Schema, s.Program), "start `ripetide serve` of this version, which brings them up to date")
	case p.recordErr != nil:
		return say(mend, "they have this program's version and cannot be read: "+firstLine(p.recordErr), "see that the user of the database may read all tables, and look into the server's log")
	}
	return say(good, fmt.Sprintf("version %d, as this program wants them", s.Schema), "")
}

func checkSafety(p *patient) []diagnosis {
	switch {
	case !p.asked || p.serverErr != nil:
		return unseen(unasked)
	case len(p.server.Off) > 0:
		set := make([]string, len(p.server.Off))
		for i, name := range p.server.Off {
			set[i] = "ALTER SYSTEM SET " + name + " = on"
		}
		return say(mend, strings.Join(p.server.Off, ", ")+" off: a power cut can lose records, or all of them",
			"as a superuser of the database run "+strings.Join(set, "; ")+"; SELECT pg_reload_conf(); and take what its command line, role or database sets away")
	}
	return say(good, "fsync, full_page_writes and synchronous_commit are on", "")
}

// clocksApart is how far clocks may differ.
const clocksApart = time.Minute

func checkClock(p *patient) []diagnosis {
	switch d := p.server.Ahead; {
	case !p.asked || p.serverErr != nil:
		return unseen(unasked)
	case d.Abs() > clocksApart:
		way := "ahead of"
		if d < 0 {
			way = "behind"
		}
		return say(mend, fmt.Sprintf("the database's is %s %s this machine's", d.Abs().Round(time.Second), way), "set both by a time server: timedatectl set-ntp true")
	}
	return say(good, "the database's and this machine's agree", "")
}

func checkNewest(p *patient) (out []diagnosis) {
	if !p.current() {
		return unseen(unasked)
	}
	for _, f := range p.farms {
		if ahead := f.newest.Sub(p.now); ahead > clocksApart {
			out = append(out, diagnosis{mend, "", fmt.Sprintf("of farm %s it is of %s, %s after now", f.ID, f.newest.Format("2006-01-02 15:04 MST"), ahead.Round(time.Second)),
				"set this machine's clock right (timedatectl set-ntp true); if it is, somebody entered things by a wrong one, and what is entered until then is recorded as of that instant"})
		}
	}
	if out == nil {
		return say(good, "none lies in the future", "")
	}
	return out
}

func checkListen(p *patient) []diagnosis {
	addr, l := p.conf.Addr, p.listen
	switch _, _, err := net.SplitHostPort(addr); {
	case err != nil:
		return unseen("RIPETIDE_ADDR cannot be read")
	case l.ours && l.ready:
		return say(good, "a ripetide runs at "+addr, "")
	case l.ours:
		return say(mend, "a ripetide runs at "+addr+", and its database does not answer", "see what it logs, and start it again")
	case l.err != nil:
		return cannotListen(l.err, "RIPETIDE_ADDR", addr, "and put a proxy before it")
	}
	return say(good, addr+" is free", "")
}

// checkMetrics is about those who have asked for metrics.
func checkMetrics(p *patient) []diagnosis {
	const name = "RIPETIDE_METRICS"
	addr, l := p.conf.Metrics, p.metrics
	host, _, err := net.SplitHostPort(addr)
	switch {
	case addr == "":
		return nil
	case err != nil:
		return unseen(name + " cannot be read")
	case !l.ours && l.err != nil:
		return cannotListen(l.err, name, addr, "")
	case !isLoopback(host):
		return say(note, "everybody who reaches "+addr+" can read them", "set "+name+" to an address of this machine alone, such as 127.0.0.1:9321, or let only your monitoring through to it")
	}
	return say(good, addr+" is for this machine alone", "")
}

// cannotListen says why nobody can listen on the address that a setting names.
func cannotListen(err error, setting, addr, low string) []diagnosis {
	other := "set " + setting + " to another address"
	host, port, _ := net.SplitHostPort(addr)
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return say(mend, addr+" is taken by another program", fmt.Sprintf("stop that one (ss -ltnp 'sport = :%s' names it), or %s", port, other))
	case errors.Is(err, syscall.EACCES):
		return say(mend, fmt.Sprintf("user %s may not listen on %s", userOf(os.Geteuid()), addr), strings.TrimSpace("choose a port above 1023 in "+setting+" "+low))
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		return say(mend, "this machine has no address "+host, "set "+setting+" to one that it has, such as 127.0.0.1:"+port)
	}
	return say(mend, "nobody can listen on "+addr+": "+firstLine(err), other)
}

func isLoopback(host string) bool { return host == "localhost" || net.ParseIP(host).IsLoopback() }

func checkFarm(p *patient) []diagnosis {
	switch {
	case !p.current():
		return unseen(unasked)
	case len(p.farms) == 0:
		return say(mend, "there is none yet", "sign in by `ripetide link` while `ripetide serve` runs, and set it up in the browser")
	}
	ids := make([]string, len(p.farms))
	for i, f := range p.farms {
		ids[i] = f.ID
	}
	return say(good, strings.Join(ids, ", "), "")
}

// checkOwner sees whether somebody can set things up: with a key or, since
// sessions and links are keys', in a browser.
func checkOwner(p *patient) []diagnosis {
	if !p.current() {
		return unseen(unasked)
	}
	owns := map[string]bool{} // Farms; "": all.
	n := 0
	for _, k := range p.keys {
		if k.Role != string(api.Owner) || !valid(k, p.now) {
			continue
		}
		n++
		if k.Farm == nil {
			owns[""] = true
		} else {
			owns[*k.Farm] = true
		}
	}
	const fix = "`ripetide link` prints a way in, or make a key with `ripetide key new --role owner --name NAME`"
	var without []string
	for _, f := range p.farms {
		if !owns[""] && !owns[f.ID] {
			without = append(without, f.ID)
		}
	}
	switch {
	case n == 0:
		return say(mend, "nobody can sign in as an owner: there is no valid key of one", fix)
	case without != nil:
		return say(mend, "nobody can sign in as an owner of "+strings.Join(without, ", "), fix)
	}
	return say(good, plural(n, "valid key", "valid keys"), "")
}

// freshDays is how many days may be missing during the season.
const freshDays = 7

func checkStations(p *patient) (out []diagnosis) {
	if !p.current() {
		return unseen(unasked)
	}
	for _, f := range p.farms {
		for _, s := range f.stations {
			x := checkStation(f, s)
			x.what = "station " + s.Station
			out = append(out, x)
		}
	}
	return out
}

func checkStation(f farmSeen, s stationSeen) diagnosis {
	years := s.Leaning.PastSeasons
	load := fmt.Sprintf("load older daily records with `ripetide load %s FILE`, or give it a stand-in that has them", s.Station)
	switch {
	case !s.bears:
		return diagnosis{note, "", fmt.Sprintf("of farm %s: no planting that bears stands at it", f.ID), ""}
	case years < forecast.LeastYears:
		return diagnosis{mend, "", fmt.Sprintf("of farm %s: %s can be replayed, and %d are needed", f.ID, plural(years, "past season", "past seasons"), forecast.LeastYears), load}
	case forecast.Growing(f.today, f.Southern()) && s.DaysOld >= freshDays:
		return diagnosis{mend, "", fmt.Sprintf("of farm %s: no day since %s", f.ID, s.Last), fmt.Sprintf("see to the thermometer or its feed, and load what is missing with `ripetide load %s FILE`", s.Station)}
	}
	return diagnosis{good, "", fmt.Sprintf("of farm %s: %s, last day %s", f.ID, plural(years, "past season", "past seasons"), s.Last), ""}
}

func checkFeeds(p *patient) (out []diagnosis) {
	if !p.current() {
		return unseen(unasked)
	}
	for _, f := range p.farms {
		for _, x := range f.feeds {
			y := checkFeed(x)
			y.what = "feed " + x.Feed
			out = append(out, y)
		}
	}
	return out
}

func checkFeed(f feedSeen) diagnosis {
	at := fmt.Sprintf("of station %s, farm %s: ", f.Station, f.Farm)
	bad := func(r db.FeedRun) bool { return r.Outcome == feed.Failed || r.Outcome == feed.Refused }
	switch {
	case f.paused:
		return diagnosis{note, "", at + "paused", ""}
	case len(f.runs) == 0:
		return diagnosis{note, "", at + "never fetched yet", ""}
	case f.runs[0].Outcome == feed.Refused, len(f.runs) == failedRuns && !slices.ContainsFunc(f.runs, func(r db.FeedRun) bool { return !bad(r) }):
		last := f.runs[0]
		return diagnosis{mend, "", at + fmt.Sprintf("the last fetch %s at %s: %s", last.Outcome, last.StartedAt.Format("2006-01-02 15:04 MST"), strings.TrimRight(last.Detail, ".")),
			fmt.Sprintf("see what its service says, correct the feed on the page of the weather, and try it with `ripetide feed fetch %s %s`", f.Station, f.Feed)}
	case bad(f.runs[0]):
		return diagnosis{note, "", at + "the last fetch failed, the next may not", ""}
	}
	return diagnosis{good, "", at + string(f.runs[0].Outcome), ""}
}

// checkPublic never finds what must be mended: a proxy may be in front.
func checkPublic(p *patient) []diagnosis {
	url := p.conf.PublicURL
	host, _, err := net.SplitHostPort(p.conf.Addr)
	under := ""
	if p.conf.Under != "" {
		under = "; all addresses on pages begin with " + p.conf.Under + ", which the proxy may leave in front of what it passes on or take off"
	}
	loopback := err == nil && isLoopback(host)
	switch {
	case url == "":
		return say(note, "none is set, and nobody is sent a morning mail", "")
	case !strings.HasPrefix(url, "https://"):
		return say(note, url+" is not https: keys and cookies can be read on the way, and mail programs show no button to leave", "put a proxy with a certificate before it, and set RIPETIDE_PUBLIC_URL to its https address")
	case loopback:
		return say(note, url+" is set while only this machine is listened to: a proxy must pass requests on to "+p.conf.Addr+under, "")
	}
	return say(good, url+under, "")
}

func checkMail(p *patient) []diagnosis {
	m := p.conf.Mail
	switch {
	case m == nil && slices.ContainsFunc(faultsIn(p.conf.faults), func(err error) bool { return strings.HasPrefix(err.Error(), "RIPETIDE_SMTP") }):
		return unseen("its settings cannot be read")
	case m == nil:
		return say(note, "no server is set, and none is sent", "")
	case p.mail != nil:
		return say(mend, m.Server+" cannot be reached: "+firstLine(p.mail), "correct RIPETIDE_SMTP, or let this machine through to that port (a firewall may be in the way)")
	}
	return say(good, m.Server+" can be reached", "")
}

// backupAge is how old the newest backup may be: one was missed, and then some.
const backupAge = 50 * time.Hour

// checkBackups looks at the folder of the backups that are made by themselves.
func checkBackups(p *patient) []diagnosis {
	dir := p.conf.Backups
	const (
		fix  = "see what the service logs of it, and make one with `ripetide backup FILE`"
		when = "2006-01-02 15:04 MST"
	)
	since := p.since()
	switch age := p.now.Sub(p.backup); {
	case p.conf.Database == demoDatabase:
		return say(note, "none is made of the demo's farm by itself", "")
	case dir == "" && p.conf.Data == "":
		return unseen("there is no data folder")
	case dir == "":
		return say(note, "none is made by itself: RIPETIDE_BACKUPS is off", "")
	case p.backupErr != nil:
		return say(mend, dir+" cannot be looked into: "+firstLine(p.backupErr), "give the service's user the right to read and write it, or correct RIPETIDE_BACKUPS")
	case p.backups.access != nil && p.folder.access != nil && within(dir, p.conf.Data):
		return unseen("the data folder cannot be written")
	case errors.Is(p.backups.access, syscall.EROFS):
		return say(mend, p.backups.path+" is on a disk that can only be read: no backup can be made", "set RIPETIDE_BACKUPS to a folder that can be written, or mount the disk for writing")
	case p.backups.access != nil:
		return say(mend, fmt.Sprintf("user %s may not write into %s: no backup can be made", userOf(os.Geteuid()), p.backups.path),
			fmt.Sprintf("as root: mkdir -p %s && chown %s %[1]s, or correct RIPETIDE_BACKUPS", dir, userOf(os.Geteuid())))
	case p.backup.IsZero() && !since.IsZero() && p.now.Sub(since) > backupAge:
		return say(mend, fmt.Sprintf("none is in %s, and things are on record since %s", dir, since.Format(when)), fix)
	case p.backup.IsZero():
		return say(note, "none is in "+dir+" yet: the first is made when the service has run for an hour", "")
	case age > backupAge:
		return say(mend, fmt.Sprintf("the newest in %s is of %s", dir, p.backup.Format(when)), fix)
	case within(dir, p.conf.Data):
		return say(good, fmt.Sprintf("the newest is of %s, on the disk of the records: copy it elsewhere now and then", p.backup.Format(when)), "")
	}
	return say(good, fmt.Sprintf("the newest in %s is of %s", dir, p.backup.Format(when)), "")
}

// since is when the oldest key was made: nothing is recorded without one. It is
// zero if that is not known.
func (p *patient) since() (oldest time.Time) {
	for _, k := range p.keys {
		if oldest.IsZero() || k.CreatedAt.Before(oldest) {
			oldest = k.CreatedAt
		}
	}
	return oldest
}

// within reports whether a path lies in a folder.
func within(path, folder string) bool {
	rel, err := filepath.Rel(folder, path)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, "../")
}
