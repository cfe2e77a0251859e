//go:build linux

package postmaster_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"ripetide/db/postmaster"
)

func TestExamineMakesAndStartsNothing(t *testing.T) {
	t.Parallel()
	folder := newFolder(t)
	st, err := postmaster.Examine(t.Context(), postmaster.Options{Folder: folder})
	if err != nil || st.Major != 0 || st.Running || st.Version < 15 || st.Programs == "" || st.User == "" {
		t.Errorf("of nothing: %+v, %v", st, err)
	}
	absent(t, folder)
	_, err = postmaster.Examine(t.Context(), postmaster.Options{Folder: folder, Programs: []string{t.TempDir()}})
	if !errors.Is(err, postmaster.ErrNoPrograms) {
		t.Errorf("without programs: %v", err)
	}

	folder = usedFolder(t)
	st, err = postmaster.Examine(t.Context(), postmaster.Options{Folder: folder})
	if err != nil || st.Major < 15 || st.Running || st.Version != st.Major {
		t.Errorf("of a cluster at rest: %+v, %v", st, err)
	}
	if pids := living(t, folder); len(pids) > 0 {
		t.Errorf("looking started %v", pids)
	}
	s := open(t, folder)
	st, err = postmaster.Examine(t.Context(), postmaster.Options{Folder: folder, Programs: []string{t.TempDir()}})
	if err != nil || !st.Running || st.Programs != "" {
		t.Errorf("of a server that runs: %+v, %v", st, err)
	}
	closeServer(t, s)

	if err := os.WriteFile(filepath.Join(folder, "postgres", "PG_VERSION"), []byte("9\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = postmaster.Examine(t.Context(), postmaster.Options{Folder: folder})
	if e, ok := errors.AsType[*postmaster.VersionError](err); !ok || e.Major != 9 || len(e.Have) == 0 || !errors.Is(err, postmaster.ErrVersion) {
		t.Errorf("of a cluster of version 9: %v", err)
	}
}
