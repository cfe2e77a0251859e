package dbtest

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"ripetide/db/postmaster"
)

const (
	folderName = "ripetide-dbtest-"

	// staleAfter is the age from which a folder without a server is a
	// left-over. A younger one may be about to get its server.
	staleAfter = 10 * time.Minute
)

// A server is where the databases are made.
type server struct {
	admin string // The connection string of the database to give orders from.
	dsn   func(database string) string
	stop  func(context.Context) error
}

// startServer uses the server that the environment names, or starts one.
func startServer(ctx context.Context, programs []string) (*server, error) {
	if admin := os.Getenv("TEST_DATABASE_URL"); admin != "" {
		return &server{
			admin: admin,
			dsn:   func(database string) string { return withDatabase(admin, database) },
			stop:  func(context.Context) error { return nil },
		}, nil
	}
	if err := sweep(os.TempDir(), time.Now().Add(-staleAfter)); err != nil {
		return nil, fmt.Errorf("remove the folders of killed tests: %w", err)
	}
	folder, err := os.MkdirTemp("", folderName)
	if err != nil {
		return nil, err
	}
	// For root, another user runs the server and must get in.
	if err := os.Chmod(folder, 0o711); err != nil {
		return nil, err
	}
	pm, err := postmaster.Open(ctx, postmaster.Options{
		Folder:    filepath.Join(folder, "data"),
		Programs:  programs,
		Throwaway: true,
	})
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	return &server{
		admin: pm.DSN("postgres"),
		dsn:   pm.DSN,
		stop: func(ctx context.Context) error {
			return errors.Join(pm.Close(ctx), os.RemoveAll(folder))
		},
	}, nil
}

// withDatabase returns the connection string of another database on the same
// server.
func withDatabase(dsn, database string) string {
	if u, err := url.Parse(dsn); err == nil && strings.HasPrefix(u.Scheme, "postgres") {
		u.Path = "/" + database
		return u.String()
	}
	return dsn + " dbname=" + database // The last one counts.
}

// sweep removes what killed test processes left in the temporary directory
// before a point in time.
func sweep(temp string, before time.Time) error {
	folders, err := filepath.Glob(filepath.Join(temp, folderName+"*"))
	if err != nil {
		return err
	}
	for _, folder := range folders {
		fi, err := os.Lstat(folder)
		if err != nil || !fi.IsDir() || fi.ModTime().After(before) {
			continue
		}
		if int(fi.Sys().(*syscall.Stat_t).Uid) != os.Geteuid() || inUse(folder) {
			continue
		}
		if err := os.RemoveAll(folder); err != nil {
			return err
		}
	}
	return nil
}

// inUse reports whether a test process holds the folder.
func inUse(folder string) bool {
	f, err := os.Open(filepath.Join(folder, "data", "postgres.use"))
	if err != nil {
		return false
	}
	defer f.Close()
	return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) != nil
}
