package archive

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"
)

// OpenFile is [Open] for a file; the caller closes it.
func OpenFile(name string) (*Archive, io.Closer, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, nil, err
	}
	info, err := f.Stat()
	if err != nil {
		return nil, nil, errors.Join(err, f.Close())
	}
	a, err := Open(f, info.Size())
	if err != nil {
		return nil, nil, errors.Join(err, f.Close())
	}
	return a, f, nil
}

// WriteFile makes an archive by write as a new file, which only its owner may
// read. The file is there under its name once it is on the disk and was read
// again and found whole; before, and if anything fails, there is none. Errors:
// [fs.ErrExist] for a name that is taken, [ErrDamaged].
func WriteFile(name string, write func(io.Writer) (Manifest, error)) (m Manifest, err error) {
	if _, err := os.Lstat(name); err == nil {
		return m, &fs.PathError{Op: "write", Path: name, Err: fs.ErrExist}
	}
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+".*"+partEnd)
	if err != nil {
		return m, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	m, err = write(f)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return m, err
	}
	a, file, err := OpenFile(f.Name())
	if err != nil {
		return m, fmt.Errorf("read again: %w", err)
	}
	if err := file.Close(); err != nil {
		return m, err
	}
	if !slices.EqualFunc(a.Tables, m.Tables, func(x, y Table) bool { return x.Name == y.Name && x.SHA256 == y.SHA256 && x.Rows == y.Rows }) {
		return m, fmt.Errorf("read again: %w", &DamagedError{File: manifestName, Reason: "is not as it was written"})
	}
	if err := nameFile(f.Name(), name); err != nil {
		return m, err
	}
	return m, syncFolder(filepath.Dir(name))
}

// nameFile gives a file its name, which must be free. Where a folder knows no links,
// as on many sticks, whoever has taken the name in this moment loses it.
func nameFile(part, name string) error {
	err := os.Link(part, name)
	switch {
	case err == nil:
		return os.Remove(part)
	case errors.Is(err, fs.ErrExist):
		return err
	}
	return os.Rename(part, name)
}

// syncFolder makes the name of a new file last.
func syncFolder(name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// Folder holds the backups that are made by themselves, the newest of them.
type Folder struct {
	Dir  string
	Keep int // How many; 1 at least.
}

const (
	begin   = "ripetide-"
	stamp   = "20060102T150405Z"
	end     = ".zip"
	partEnd = ".part"
	// A file that is not ended after so long is left over from a program that
	// was killed.
	abandoned = 24 * time.Hour
)

// made returns when the backup of this name was made, by its name.
func made(name string) (time.Time, bool) {
	middle, begins := strings.CutPrefix(name, begin)
	middle, ends := strings.CutSuffix(middle, end)
	t, err := time.Parse(stamp, middle)
	return t, begins && ends && err == nil
}

// list returns the names of the folder's backups, the oldest first.
func (f Folder) list() ([]string, error) {
	entries, err := os.ReadDir(f.Dir)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries { // In order of names, hence of time.
		if _, ok := made(e.Name()); ok && e.Type().IsRegular() {
			names = append(names, e.Name())
		}
	}
	return names, nil
}

// Newest returns when the newest backup was made; false: there is none, or no
// folder. One from after now was made by a clock that was ahead, and would hold up
// those to come, so it does not count.
func (f Folder) Newest(now time.Time) (time.Time, bool, error) {
	names, err := f.list()
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return time.Time{}, false, err
	}
	for _, name := range slices.Backward(names) {
		if t, ok := made(name); ok && !t.After(now) {
			return t, true, nil
		}
	}
	return time.Time{}, false, nil
}

// Lock makes the folder if there is none and keeps other instances from making a
// backup in it until unlock; false: one of them does.
func (f Folder) Lock() (unlock func() error, locked bool, err error) {
	if err := os.MkdirAll(f.Dir, 0o700); err != nil {
		return nil, false, err
	}
	file, err := os.Open(f.Dir) // The lock is on the folder itself.
	if err != nil {
		return nil, false, err
	}
	err = syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, false, file.Close()
	}
	if err != nil {
		return nil, false, errors.Join(&fs.PathError{Op: "lock", Path: file.Name(), Err: err}, file.Close())
	}
	return file.Close, true, nil
}

// Make makes a backup as of an instant, in a folder that is there.
func (f Folder) Make(at time.Time, write func(io.Writer) (Manifest, error)) (name string, m Manifest, err error) {
	name = filepath.Join(f.Dir, begin+at.UTC().Format(stamp)+end)
	if m, err = WriteFile(name, write); err != nil {
		return "", m, err
	}
	return name, m, nil
}

// Prune removes the oldest that are too many, and what was left half-way long ago.
// Those from after now, see [Folder.Newest], neither count nor go. Nothing else in
// the folder is touched.
func (f Folder) Prune(now time.Time) error {
	names, err := f.list()
	if err != nil {
		return err
	}
	names = slices.DeleteFunc(names, func(name string) bool {
		t, _ := made(name)
		return t.After(now)
	})
	var errs []error
	for _, name := range names[:max(0, len(names)-max(f.Keep, 1))] {
		errs = append(errs, os.Remove(filepath.Join(f.Dir, name)))
	}
	entries, err := os.ReadDir(f.Dir)
	errs = append(errs, err)
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), "."+begin) || !strings.HasSuffix(e.Name(), partEnd) {
			continue
		}
		if info, err := e.Info(); err == nil && now.Sub(info.ModTime()) > abandoned {
			errs = append(errs, os.Remove(filepath.Join(f.Dir, e.Name())))
		}
	}
	return errors.Join(errs...)
}
