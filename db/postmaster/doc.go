// Package postmaster runs a private PostgreSQL for a service that was given
// no database of its own.
//
// [Open] makes the cluster if there is none, starts the server if it does not
// run, attaches to it if it does, and returns when it answers a query.
// [Server.Close] stops it once nobody else uses it. Several processes may open
// the same folder: the first one starts the server, the last one stops it.
//
// # Folder
//
//	postgres/            the cluster, 0700, owned by the server's user
//	postgres/log/        the server's log, one file a weekday, a week long
//	postgres.start.log   what the server said before its own log was open
//	postgres.lock        held while a process starts or stops the server
//	postgres.use         held, shared, by every process that uses the server
//	postgres.run         held by the server for as long as it lives
//	postgres.new-*       a cluster in the making; it is renamed when complete
//
// Nothing else in the folder is touched.
//
// # Who may connect
//
// The server opens no TCP port. Its socket lies in the cluster folder, which
// only the server's user and root can enter, is itself 0600, and inside
// PostgreSQL peer authentication admits only these two as the one role,
// [Role], a superuser. So there is no password to keep, and no other local
// user can connect. Where the folder's name is too long for a socket address
// (107 bytes) the socket lies in a folder of the temporary directory that is
// guarded in the same way.
//
// # Which user
//
// An ordinary user runs the server as himself. Root cannot run PostgreSQL, so
// the server's user is then the owner of the cluster or of the folder, where
// that is not root, else postgres, _postgres or nobody, without supplementary
// groups. That user must be able to enter the folder: it cannot lie below
// /root. (Whatever else runs as nobody could connect too; the package postgres
// makes a user of its own.)
//
// # What it survives
//
// A killed service leaves the server running, and the next Open adopts it. A
// killed server leaves a stale postmaster.pid, sometimes one whose number now
// belongs to a stranger, and sometimes a backend that still works in the
// shared memory: Open deals with each and never deletes data or shared memory.
// A killed initdb leaves a sibling folder, which the next Open removes.
//
// A systemd unit should say KillMode=mixed. With the default the server gets
// the SIGTERM meant for the service, and refuses new connections while the
// service still answers its last requests.
//
// Everything is tested on Linux, which is what we run. The package compiles on
// other Unix systems, without the cures that need /proc.
package postmaster
