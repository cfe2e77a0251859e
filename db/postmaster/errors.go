package postmaster

import "errors"

var (
	// ErrNoPrograms means that no usable PostgreSQL is installed. Its text is
	// a sentence for the person who can install one.
	ErrNoPrograms = errors.New("postmaster: no PostgreSQL 15 or newer found on this machine; install it with: apt-get install postgresql")

	// ErrVersion means that the cluster was made by another major version of
	// PostgreSQL than those installed.
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
