//go:build linux

package postmaster_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"ripetide/db/postmaster"
)

// versions makes folders with programs that do nothing but name a version.
func versions(t *testing.T, base string, names ...string) []string {
	t.Helper()
	var dirs []string
	for _, name := range names {
		dir := filepath.Join(base, name, "bin")
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		for _, program := range []string{"initdb", "postgres"} {
			text := fmt.Sprintf("#!/bin/sh\necho 'postgres (PostgreSQL) %s'\n", name)
			if err := os.WriteFile(filepath.Join(dir, program), []byte(text), 0o755); err != nil {
				t.Fatal(err)
			}
		}
		dirs = append(dirs, dir)
	}
	return dirs
}

func TestFind(t *testing.T) {
	t.Parallel()
	base := tempDir(t)
	dirs := versions(t, base, "9.6", "14", "16.3 (Debian 16.3-1)", "18beta1", "15")
	// A folder with the wrong programs, like /usr/local/bin with its pg_ctl.
	distractor := filepath.Join(base, "distractor")
	if err := os.Mkdir(distractor, 0o755); err != nil {
		t.Fatal(err)
	}
	for name, mode := range map[string]os.FileMode{"pg_ctl": 0o755, "initdb": 0o755, "postgres": 0o644} {
		if err := os.WriteFile(filepath.Join(distractor, name), []byte("#!/bin/sh\n"), mode); err != nil {
			t.Fatal(err)
		}
	}
	dirs = append([]string{filepath.Join(base, "missing"), distractor}, dirs...)
	for _, tt := range []struct {
		name        string
		major, want int
		err         error
	}{
		{"for a new cluster, the first that is new enough", 0, 16, nil},
		{"for an old cluster, its own", 15, 15, nil},
		{"even one too old for a new cluster", 14, 14, nil},
		{"and a beta", 18, 18, nil},
		{"but no other", 17, 0, postmaster.ErrVersion},
	} {
		_, got, err := postmaster.Find(t.Context(), dirs, tt.major)
		if got != tt.want || !errors.Is(err, tt.err) {
			t.Errorf("%s: got %d, %v, want %d, %v", tt.name, got, err, tt.want, tt.err)
		}
	}
	for _, major := range []int{0, 15} {
		if _, _, err := postmaster.Find(t.Context(), []string{distractor}, major); !errors.Is(err, postmaster.ErrNoPrograms) {
			t.Errorf("in a folder without: %v", err)
		}
	}
	if _, _, err := postmaster.Find(t.Context(), versions(t, base, "13"), 0); !errors.Is(err, postmaster.ErrNoPrograms) {
		t.Errorf("only an old one: %v", err)
	}
}

func TestNewestVersionFirst(t *testing.T) {
	t.Parallel()
	base := t.TempDir()
	versions(t, base, "9.6", "16", "15", "100")
	var got []string
	for _, dir := range postmaster.ExpandDirs([]string{filepath.Join(base, "none-*"), filepath.Join(base, "*", "bin")}) {
		got = append(got, strings.TrimPrefix(dir, base))
	}
	if diff := cmp.Diff([]string{"/100/bin", "/16/bin", "/15/bin", "/9.6/bin"}, got); diff != "" {
		t.Error(diff)
	}
}

func TestMissingPrograms(t *testing.T) {
	t.Parallel()
	folder := newFolder(t)
	_, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder, Programs: []string{t.TempDir()}})
	if !errors.Is(err, postmaster.ErrNoPrograms) {
		t.Fatalf("got %v, want ErrNoPrograms", err)
	}
	const want = "postmaster: no PostgreSQL 15 or newer found on this machine; install it with: apt-get install postgresql"
	if err.Error() != want {
		t.Errorf("got %q", err)
	}
	absent(t, filepath.Join(folder, "postgres"))
}

func TestClusterOfAnotherVersion(t *testing.T) {
	t.Parallel()
	folder := usedFolder(t)
	if err := os.WriteFile(filepath.Join(folder, "postgres", "PG_VERSION"), []byte("14\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
	if !errors.Is(err, postmaster.ErrVersion) || !strings.Contains(err.Error(), "apt-get install postgresql-14") {
		t.Errorf("got %v, want ErrVersion", err)
	}
}

func TestNotACluster(t *testing.T) {
	t.Parallel()
	folder := newFolder(t)
	mine := filepath.Join(folder, "postgres", "mine.txt")
	if err := os.MkdirAll(filepath.Dir(mine), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(mine, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if u := os.Geteuid(); u == 0 { // Or it would be refused for its owner.
		pg := lookupUser(t, "postgres")
		if err := os.Chown(filepath.Dir(mine), atoi(t, pg.Uid), atoi(t, pg.Gid)); err != nil {
			t.Fatal(err)
		}
	}
	_, err := postmaster.Open(t.Context(), postmaster.Options{Folder: folder})
	if !errors.Is(err, postmaster.ErrNotCluster) {
		t.Errorf("got %v, want ErrNotCluster", err)
	}
	if data, err := os.ReadFile(mine); err != nil || string(data) != "mine" {
		t.Errorf("the file that was there: %q, %v", data, err)
	}
}
