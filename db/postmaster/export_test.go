package postmaster

import (
	"context"
	"log/slog"
	"os/user"
	"path/filepath"
	"strconv"
)

// For the tests of package postmaster_test.
var (
	ExpandDirs   = expand
	Complaint    = complaint
	StartLogName = startLogName
)

// Find returns where the programs are found and their major version.
func Find(ctx context.Context, dirs []string, major int) (string, int, error) {
	p, err := findPrograms(ctx, self(), dirs, major)
	return p.dir, p.major, err
}

// self is the account of the tests, which need not be root.
func self() account {
	u, err := user.Current()
	if err != nil {
		panic(err)
	}
	a, err := newAccount(u, false)
	if err != nil {
		panic(err)
	}
	return a
}

// SocketDir returns the folder of the socket.
func SocketDir(cluster, temp string) (string, error) {
	s, err := socketFor(cluster, temp, self())
	return s.dir, err
}

// SocketDirOf is SocketDir for the account that root would choose.
func SocketDirOf(folder, cluster, temp string) (string, error) {
	a, err := chooseAccount(folder, cluster)
	if err != nil {
		return "", err
	}
	s, err := socketFor(cluster, temp, a)
	return s.dir, err
}

// MakeSocketDir is makeSocketDir for this account.
func MakeSocketDir(dir string) error { return makeSocketDir(dir, self()) }

// PidFile returns what parsePidFile reads, in one line.
func PidFile(data string) string {
	p := parsePidFile(data)
	s := "pid " + strconv.Itoa(p.pid)
	if p.standalone {
		s += " standalone"
	}
	if p.socket.dir != "" {
		s += " at " + p.socket.path()
	}
	if p.ready {
		s += " ready"
	}
	return s
}

func testCluster(path string) *cluster {
	return &cluster{path: path, account: self(), log: slog.New(slog.DiscardHandler)}
}

// ClusterName returns what the processes of a cluster call themselves.
func ClusterName(path string) string { return testCluster(path).name() }

// SettlePidFile is settle for the pid file of the cluster in a folder.
func SettlePidFile(folder string) error {
	path := filepath.Join(folder, clusterName)
	a, err := chooseAccount(folder, path)
	if err != nil {
		return err
	}
	return settle(path, pidName, a)
}
