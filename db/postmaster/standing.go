package postmaster

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
)

// Standing is what there is of a private server before anything is made or
// started.
type Standing struct {
	User     string // Whom the server runs as.
	Major    int    // Version of PostgreSQL that made the cluster; 0: there is none yet.
	Running  bool
	Programs string // Folder of the programs that would run it; "" while it runs.
	Version  int    // Their major version; 0 while it runs.
}

// Examine looks at what [Open] would find. It makes, starts and changes
// nothing. Its errors are those of Open.
func Examine(ctx context.Context, o Options) (Standing, error) {
	st, err := examine(ctx, o)
	if err != nil && !errors.Is(err, ErrNoPrograms) {
		return st, fmt.Errorf("examine postgres: %w", err)
	}
	return st, err
}

func examine(ctx context.Context, o Options) (st Standing, err error) {
	s := &Server{opt: o, log: slog.New(slog.DiscardHandler)}
	folder, a, err := s.reach(ctx)
	st.User = a.name
	if err != nil {
		return st, err
	}
	switch _, err := os.Stat(folder); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return st, err
	default:
		if err := s.enter(ctx, folder, a); err != nil {
			return st, err
		}
		if st.Major, err = s.cluster.version(); err != nil {
			return st, err
		}
		if st.Major > 0 {
			if _, st.Running, err = s.look(); err != nil || st.Running {
				return st, err
			}
		}
	}
	p, err := findPrograms(ctx, a, o.Programs, st.Major)
	st.Programs, st.Version = p.dir, p.major
	return st, err
}
