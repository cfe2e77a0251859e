package postmaster

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

const (
	// oldestMajor is the oldest PostgreSQL we use: the one of Debian 12, on
	// which everything is tested.
	oldestMajor = 15

	// programTimeout bounds a program that only prints a line.
	programTimeout = 15 * time.Second
)

// programs is a folder with initdb and postgres. The other programs, such as
// pg_ctl, are not needed.
type programs struct {
	dir   string
	major int
}

func (p programs) path(program string) string { return filepath.Join(p.dir, program) }

// usualDirs are the places where packages put the programs, tried in this
// order; in each the newest version first.
var usualDirs = []string{
	"/usr/lib/postgresql/*/bin", // Debian, Ubuntu
	"/usr/pgsql-*/bin",          // postgresql.org for Fedora and Red Hat
	"/usr/libexec/postgresql*",  // Alpine
	"/usr/lib/postgresql*/bin",  // SUSE
	"/usr/local/pgsql/bin",      // built from source
	"/opt/homebrew/opt/postgresql@*/bin",
	"/usr/local/opt/postgresql@*/bin",
	"/opt/local/lib/postgresql*/bin",
	"/Applications/Postgres.app/Contents/Versions/*/bin",
	"/usr/bin",       // Arch, Fedora
	"/usr/local/bin", // last, for anything may lie there
}

// findPrograms returns the programs of version major or, if major is 0, the
// best ones for a new cluster. It looks only in dirs unless that is empty.
func findPrograms(ctx context.Context, a account, dirs []string, major int) (programs, error) {
	config := func() []string { return configDir(ctx, a) }
	usual := func() []string { return expand(usualDirs) }
	sources := []func() []string{config, usual}
	if major != 0 {
		sources = []func() []string{usual, config} // Asking pg_config takes 20 ms.
	}
	if len(dirs) > 0 {
		sources = []func() []string{func() []string { return dirs }}
	}
	var found []programs
	for _, source := range sources {
		for _, dir := range source() {
			if slices.ContainsFunc(found, func(p programs) bool { return p.dir == dir }) {
				continue
			}
			p, ok := inspect(ctx, a, dir)
			if !ok {
				continue
			}
			if p.major == major || major == 0 && p.major >= oldestMajor {
				return p, nil
			}
			found = append(found, p)
		}
	}
	if err := ctx.Err(); err != nil {
		return programs{}, err
	}
	if major == 0 || len(found) == 0 {
		return programs{}, ErrNoPrograms
	}
	e := &VersionError{Major: major}
	for _, p := range found {
		e.Have = append(e.Have, fmt.Sprintf("%d in %s", p.major, p.dir))
	}
	return programs{}, e
}

// configDir returns where the pg_config in the PATH says the programs are. On
// Debian this program comes without them too, and then fails.
func configDir(ctx context.Context, a account) []string {
	path, err := exec.LookPath("pg_config")
	if err != nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, programTimeout)
	defer cancel()
	out, err := a.command(ctx, "/", path, "--bindir").Output()
	dir := strings.TrimSpace(string(out))
	if err != nil || !filepath.IsAbs(dir) {
		return nil
	}
	return []string{dir}
}

// expand returns the folders that match the patterns, those of one pattern
// with the highest version first.
func expand(patterns []string) []string {
	var dirs []string
	for _, pattern := range patterns {
		some, err := filepath.Glob(pattern)
		if err != nil {
			continue // The patterns are constants, and good ones.
		}
		slices.SortStableFunc(some, func(x, y string) int { return versionIn(y) - versionIn(x) })
		dirs = append(dirs, some...)
	}
	return dirs
}

var number = regexp.MustCompile(`([0-9]+)(\.[0-9]+)*`)

// versionIn returns the major part of the last version number in a path, or 0.
func versionIn(dir string) int {
	all := number.FindAllStringSubmatch(dir, -1)
	if len(all) == 0 {
		return 0
	}
	n, err := strconv.Atoi(all[len(all)-1][1])
	if err != nil {
		return 0
	}
	return n
}

// inspect asks the programs in dir for their version. They count only if both
// are there and the account can run them.
func inspect(ctx context.Context, a account, dir string) (programs, bool) {
	for _, program := range []string{"initdb", "postgres"} {
		fi, err := os.Stat(filepath.Join(dir, program))
		if err != nil || !fi.Mode().IsRegular() || fi.Mode()&0o111 == 0 {
			return programs{}, false
		}
	}
	ctx, cancel := context.WithTimeout(ctx, programTimeout)
	defer cancel()
	out, err := a.command(ctx, "/", filepath.Join(dir, "postgres"), "--version").Output()
	if err != nil {
		return programs{}, false
	}
	// For example "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)".
	_, version, _ := strings.Cut(string(out), "(PostgreSQL) ")
	var major int
	_, err = fmt.Sscanf(version, "%d", &major)
	return programs{dir: dir, major: major}, err == nil
}
