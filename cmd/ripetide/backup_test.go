package main

import (
	"bytes"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripetide/db/archive"
	"ripetide/db/dbtest"
)

// TestAFarmIsBackedUpAndLivesOnElsewhere moves the demo's farm to another
// database: the same people sign in, the same forecasts stand there, and the same
// inputs forecast the same, to the byte.
func TestAFarmIsBackedUpAndLivesOnElsewhere(t *testing.T) {
	t.Parallel()
	s := newDemoService(t)
	file := filepath.Join(t.TempDir(), "farm.zip")
	if out := s.command("backup", file); !strings.Contains(out, "read again and is whole") {
		t.Errorf("backup says %q", out)
	}
	if out, err := s.try("backup", file); err == nil || !strings.Contains(plain(err), "is there already: name a new file") {
		t.Errorf("a second backup to the file: %v, %q", err, out)
	}
	if out := s.command("restore", "--check", file); !strings.Contains(out, "is whole: ") {
		t.Errorf("restore --check says %q", out)
	}
	if _, err := s.try("restore", file); err == nil || !strings.Contains(plain(err), "a backup goes onto an empty database only") {
		t.Errorf("a restore over what is there: %v", err)
	}

	e := &service{t: t, now: s.now, key: s.key, env: maps.Clone(s.env)}
	e.env["DATABASE_URL"], e.env["RIPETIDE_DATA"] = dbtest.DSN(t), t.TempDir()
	if out := e.command("restore", file); !strings.Contains(out, "has the hash it had") {
		t.Errorf("restore says %q", out)
	}
	e.start()
	for _, path := range []string{
		"/v1/farms", "/v1/farms/lanternfen", "/v1/farms/lanternfen/plantings", "/v1/farms/lanternfen/sightings?season=2018",
		"/v1/farms/lanternfen/forecasts", "/v1/farms/lanternfen/forecasts/latest", "/v1/farms/lanternfen/seasons/2018/overlap.svg",
	} {
		was, is := s.call(200, "GET", path, "", ""), e.call(200, "GET", path, "", "")
		if !bytes.Equal(was, is) {
			t.Errorf("%s was\n%.500s\nand is\n%.500s", path, was, is)
		}
	}
	const anew = "/v1/farms/lanternfen/forecasts?as_of=2018-06-05&freeze=false"
	if was, is := s.call(200, "POST", anew, "application/json", ""), e.call(200, "POST", anew, "application/json", ""); !bytes.Equal(was, is) {
		t.Errorf("made again, a forecast was\n%.500s\nand is\n%.500s", was, is)
	}
}

func TestARestoreThatCannotBe(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	e := &service{t: t, env: map[string]string{"DATABASE_URL": dbtest.DSN(t), "RIPETIDE_DATA": dir}}
	if _, err := e.try("restore", filepath.Join(dir, "nowhere.zip")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a file that is not there: %v", err)
	}
	name := filepath.Join(dir, "notes.zip")
	if err := os.WriteFile(name, []byte("pick early"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := e.try("restore", name); !errors.Is(err, archive.ErrDamaged) || plain(err) != "the file is no whole backup: it is not a zip file, or was cut off; nothing was restored" {
		t.Errorf("a file that is no backup: %v", err)
	}
}

func TestWhereBackupsGo(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		env  map[string]string
		want string
		kept int
	}{
		{map[string]string{"RIPETIDE_DATA": "/srv/farm"}, "/srv/farm/backups", 14},
		{map[string]string{"RIPETIDE_DATA": "/srv/farm", "RIPETIDE_BACKUPS": "/mnt/other", "RIPETIDE_BACKUPS_KEEP": "60"}, "/mnt/other", 60},
		{map[string]string{"RIPETIDE_DATA": "/srv/farm", "RIPETIDE_BACKUPS": "off"}, "", 14},
	} {
		c, err := readConfig(func(name string) string { return x.env[name] })
		if err != nil || c.Backups != x.want || c.BackupsKept != x.kept {
			t.Errorf("%v: %q, %d kept, %v; want %q, %d", x.env, c.Backups, c.BackupsKept, err, x.want, x.kept)
		}
	}
	_, err := readConfig(func(name string) string {
		return map[string]string{"RIPETIDE_DATA": "/srv/farm", "RIPETIDE_BACKUPS_KEEP": "0"}[name]
	})
	if err == nil || !strings.Contains(err.Error(), `RIPETIDE_BACKUPS_KEEP "0": give a number of backups, 1 or more`) {
		t.Errorf("none kept: %v", err)
	}
}
