package postmaster_test

import (
	"strings"
	"testing"

	"ripetide/db/postmaster"
)

func TestPidFile(t *testing.T) {
	t.Parallel()
	// As PostgreSQL 15 writes it.
	const full = "11708\n/var/lib/ripetide/postgres\n1795593096\n5432\n/var/lib/ripetide/postgres\n\n  9977969         8\nready   \n"
	const socket = " at /var/lib/ripetide/postgres/.s.PGSQL.5432"
	for _, tt := range []struct{ name, data, want string }{
		{"ready", full, "pid 11708" + socket + " ready"},
		{"starting", strings.Replace(full, "ready   ", "starting", 1), "pid 11708" + socket},
		{"stopping", strings.Replace(full, "ready   ", "stopping", 1), "pid 11708" + socket},
		{"before it listens", "11708\n/var/lib/ripetide/postgres\n1795593096\n5432\n\n", "pid 11708"},
		{"its first line", "11708\n", "pid 11708"},
		{"single user", "-11708\n/var/lib/ripetide/postgres\n1795593096\n", "pid 11708 standalone"},
		{"empty", "", "pid 0"},
		{"junk", "\x00\x00\n\n\n\n\n\n\n\n\n\n", "pid 0"},
	} {
		if got := postmaster.PidFile(tt.data); got != tt.want {
			t.Errorf("%s: got %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestSocketFolder(t *testing.T) {
	t.Parallel()
	// 14 bytes are for the slash and the name of the socket.
	fits := "/" + strings.Repeat("x", 107-14-1)
	for _, tt := range []struct {
		name, cluster, temp string
		own, bad            bool
	}{
		{"fits exactly", fits, "/tmp", true, false},
		{"one byte too long", fits + "x", "/tmp", false, false},
		{"neither fits", fits + "x", fits, false, true},
		{"bytes count, not letters", "/" + strings.Repeat("ü", 60), "/tmp", false, false},
		{"a comma ends a name", "/a,b", "/tmp", false, false},
		{"also in the temporary directory", "/a,b", "/t,mp", false, true},
	} {
		dir, err := postmaster.SocketDir(tt.cluster, tt.temp)
		if (err != nil) != tt.bad {
			t.Errorf("%s: %v", tt.name, err)
		}
		if err == nil && (dir == tt.cluster) != tt.own {
			t.Errorf("%s: %s", tt.name, dir)
		}
	}
}

func TestComplaint(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ out, want string }{
		{"LOG:  a\n2026 [1] FATAL:  it broke\n2026 [1] HINT:  mend it\n", "it broke"},
		{"initdb: error: no room\n", "no room"},
		{"just this\n", "just this"},
		{"", ""},
	} {
		if got := postmaster.Complaint(tt.out); got != tt.want {
			t.Errorf("%q: got %q, want %q", tt.out, got, tt.want)
		}
	}
}
