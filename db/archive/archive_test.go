package archive_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ripetide/db/archive"
)

var t0 = time.Date(2026, 11, 1, 3, 0, 0, 0, time.UTC)

// small writes an archive of one table.
func small(w io.Writer) (archive.Manifest, error) {
	a := archive.NewWriter(w, "1.2.3", 20, t0)
	err := a.Table(archive.Table{Name: "farm", Columns: []archive.Column{{Name: "farm", Type: "text"}}}, func(w io.Writer) (int64, error) {
		_, err := io.WriteString(w, "farm\nhill\n")
		return 1, err
	})
	if err != nil {
		return archive.Manifest{}, err
	}
	return a.Close()
}

func TestWhatIsWrittenIsRead(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	want, err := small(&b)
	if err != nil {
		t.Fatal(err)
	}
	a, err := archive.Open(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	in, err := a.Table(a.Tables[0])
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(in)
	if string(text) != "farm\nhill\n" || err != nil || a.Rows() != 1 || !a.MadeAt.Equal(t0) || a.Tables[0].SHA256 != want.Tables[0].SHA256 {
		t.Errorf("%q, %v, %+v", text, err, a.Manifest)
	}
}

func TestNoFileIsLeftHalfWritten(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	name := filepath.Join(dir, "farm.zip")
	broken := errors.New("the database has gone away")
	_, err := archive.WriteFile(name, func(w io.Writer) (archive.Manifest, error) {
		_, err := io.WriteString(w, "half")
		return archive.Manifest{}, errors.Join(err, broken)
	})
	if !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
	// A writer that says it wrote what it did not.
	_, err = archive.WriteFile(name, func(w io.Writer) (archive.Manifest, error) {
		m, err := small(w)
		m.Tables[0].SHA256 = strings.Repeat("0", 64)
		return m, err
	})
	if !errors.Is(err, archive.ErrDamaged) {
		t.Errorf("got %v", err)
	}
	if left := names(t, dir); len(left) != 0 {
		t.Errorf("left are %v", left)
	}
	if _, err := archive.WriteFile(name, small); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(name); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v: others can read it", info, err)
	}
	if _, err := archive.WriteFile(name, small); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a second one over it: %v", err)
	}
}

func names(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

// TestADayADayAndNoMoreThanAreKept lets a keeper run through eleven days.
func TestADayADayAndNoMoreThanAreKept(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "backups")
	now := t0
	made := 0
	k := &archive.Keeper{
		Folder: archive.Folder{Dir: dir, Keep: 3}, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler),
		Backup: func(_ context.Context, w io.Writer) (archive.Manifest, error) { made++; return small(w) },
	}
	k.Pass(t.Context())
	if now = now.Add(59 * time.Minute); made != 0 {
		t.Error("one at once, before anything can be there")
	}
	k.Pass(t.Context())
	if made != 0 {
		t.Error("one before the first hour was over")
	}
	for range 10 * 24 * 12 {
		now = now.Add(5 * time.Minute)
		k.Pass(t.Context())
	}
	if made != 10 {
		t.Errorf("%d in ten days", made)
	}
	want := []string{"ripetide-20261108T040400Z.zip", "ripetide-20261109T040400Z.zip", "ripetide-20261110T040400Z.zip"}
	if got := names(t, dir); !slices.Equal(got, want) {
		t.Errorf("kept are %v, want %v", got, want)
	}
}

func TestKeeperTouchesNothingElse(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	now := t0
	others := []string{"notes.txt", "ripetide-old.zip", "farm.zip", ".ripetide-20261101T030000Z.zip.1.part"}
	for _, name := range others {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	left := filepath.Join(dir, ".ripetide-20261001T030000Z.zip.2.part") // By a program that was killed a month ago.
	if err := errors.Join(os.WriteFile(left, nil, 0o600), os.Chtimes(left, now.AddDate(0, -1, 0), now.AddDate(0, -1, 0))); err != nil {
		t.Fatal(err)
	}
	f := archive.Folder{Dir: dir, Keep: 1}
	for range 3 {
		now = now.Add(24 * time.Hour)
		if _, _, err := f.Make(now, small); err != nil {
			t.Fatal(err)
		}
		if err := f.Prune(now); err != nil {
			t.Fatal(err)
		}
	}
	want := append(slices.Clone(others), "ripetide-20261104T030000Z.zip")
	slices.Sort(want)
	if got := names(t, dir); !slices.Equal(got, want) {
		t.Errorf("there are %v, want %v", got, want)
	}
}

// TestKeeperAfterTrouble: a failure is tried again after an hour, and a backup
// dated by a clock that was ahead holds none up.
func TestKeeperAfterTrouble(t *testing.T) {
	t.Parallel()
	now := t0
	tried, fails := 0, true
	k := &archive.Keeper{
		Folder: archive.Folder{Dir: t.TempDir(), Keep: 1}, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler),
		Backup: func(_ context.Context, w io.Writer) (archive.Manifest, error) {
			tried++
			if fails {
				return archive.Manifest{}, errors.New("no space left")
			}
			return small(w)
		},
	}
	step := func(d time.Duration, want int, why string) {
		t.Helper()
		now = now.Add(d)
		k.Pass(t.Context())
		if tried != want {
			t.Errorf("%s: tried %d times, want %d", why, tried, want)
		}
	}
	step(0, 0, "at the start")
	step(time.Hour, 1, "after an hour")
	step(time.Minute, 1, "a minute after the failure")
	fails = false
	step(time.Hour, 2, "an hour after the failure")
	step(23*time.Hour, 2, "within a day")
	step(time.Hour, 3, "after a day")
	step(400*24*time.Hour, 4, "a clock that jumps ahead")
	step(-399*24*time.Hour, 5, "and back")
	step(time.Minute, 5, "a minute later")
	step(24*time.Hour, 6, "and the next day")
}

// Of two instances with one folder one makes the day's backup, also when it takes
// longer than the other's look.
func TestTwoKeepersMakeOneBackup(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	now := t0
	var made atomic.Int64
	keeper := func() *archive.Keeper {
		return &archive.Keeper{
			Folder: archive.Folder{Dir: dir, Keep: 9}, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler),
			Backup: func(_ context.Context, w io.Writer) (archive.Manifest, error) {
				made.Add(1)
				time.Sleep(50 * time.Millisecond)
				return small(w)
			},
		}
	}
	both := []*archive.Keeper{keeper(), keeper()}
	for _, k := range both {
		k.Pass(t.Context())
	}
	for day := range int64(3) {
		now = now.Add(24 * time.Hour)
		var wg sync.WaitGroup
		for _, k := range both {
			wg.Go(func() { k.Pass(t.Context()) })
		}
		wg.Wait()
		if made.Load() != day+1 {
			t.Fatalf("on day %d %d backups were made", day+1, made.Load())
		}
	}
}
