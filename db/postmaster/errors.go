package postmaster

import (
	"errors"
	"fmt"
	"strings"
)

var (
	// ErrNoPrograms means that no usable PostgreSQL is installed. Its text is
	// a sentence for the person who can install one.
	ErrNoPrograms = errors.New("postmaster: no PostgreSQL 15 or newer found on this machine; install it with: apt-get install postgresql")

	// ErrVersion means that the cluster was made by another major version of
	// PostgreSQL than those installed; see VersionError.
	ErrVersion = errors.New("postmaster: the installed PostgreSQL cannot read this cluster")

	// ErrUnreachable means that the server's user cannot enter the folder.
	ErrUnreachable = errors.New("postmaster: the server's user cannot enter the folder")

	// ErrOwner means that the folder belongs to somebody else.
	ErrOwner = errors.New("postmaster: the folder belongs to another user")

	// ErrNotCluster means that the place of the cluster is taken by something
	// that is none. It is left as it is.
	ErrNotCluster = errors.New("postmaster: not a PostgreSQL cluster")

	// ErrBusy means that another process has been starting or stopping the
	// server for longer than the time limit.
	ErrBusy = errors.New("postmaster: another process is starting or stopping the server")

	// ErrElsewhere means that the cluster is in use by a server that this
	// process cannot see. A second server would destroy the data.
	ErrElsewhere = errors.New("postmaster: a server that cannot be seen from here is at work on the cluster, perhaps in another container")

	// ErrClosed means that the Server was used after Close.
	ErrClosed = errors.New("postmaster: closed")

	// errGone means that the server ended while it was waited for. It may have
	// been on its way out, so this is worth another try.
	errGone = errors.New("the server ended before it was ready")
)

// VersionError says which version of PostgreSQL made a cluster. It matches
// ErrVersion.
type VersionError struct {
	Major int      // That made it.
	Have  []string // What is installed: "15 in /usr/lib/postgresql/15/bin".
}

func (e *VersionError) Error() string {
	return fmt.Sprintf("%s: it was made by version %d, and here is only %s; install the old one with: apt-get install postgresql-%[2]d",
		ErrVersion, e.Major, strings.Join(e.Have, ", "))
}

// Is matches ErrVersion.
func (e *VersionError) Is(target error) bool { return target == ErrVersion }
