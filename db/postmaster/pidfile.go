package postmaster

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

const (
	pidName = "postmaster.pid"

	// noPID is a process number that no system gives: Linux stops at 2^22.
	noPID = 1<<31 - 1
)

// A pidFile is what postmaster.pid says.
type pidFile struct {
	pid        int // 0 if the file says none.
	standalone bool
	socket     socket // Empty until the server listens.
	ready      bool
}

// readPidFile reads the file of a cluster. An error wrapping fs.ErrNotExist
// means that no server runs: PostgreSQL ends when the file vanishes.
func readPidFile(cluster string) (pidFile, error) {
	data, err := os.ReadFile(filepath.Join(cluster, pidName))
	if err != nil {
		return pidFile{}, err
	}
	return parsePidFile(string(data)), nil
}

// parsePidFile reads what is there: the server writes the file line by line as
// it starts.
func parsePidFile(data string) pidFile {
	// 1 process, 2 data folder, 3 start time, 4 port, 5 socket folder,
	// 6 TCP address, 7 shared memory, 8 status. See miscadmin.h.
	var line [9]string
	copy(line[1:], strings.Split(data, "\n"))
	var p pidFile
	if pid, err := strconv.Atoi(strings.TrimSpace(line[1])); err == nil {
		p.pid, p.standalone = max(pid, -pid), pid < 0
	}
	if port, err := strconv.Atoi(line[4]); err == nil && line[5] != "" {
		p.socket = socket{dir: line[5], port: port}
	}
	p.ready = strings.TrimSpace(line[8]) == "ready"
	return p
}

// settle sees to it that a lock file of a dead server, postmaster.pid or the
// one beside the socket, does not keep the next from starting. Call it only
// when no server runs and no process works in the cluster.
//
// PostgreSQL finds such a file stale by itself if no process has its number. A
// zombie has it still, and after a reboot a stranger may. Then the number is
// replaced by an impossible one. The file stays, because in postmaster.pid
// PostgreSQL also looks for the shared memory that nobody may use any more.
func settle(dir, name string, a account) error {
	in, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer in.Close()
	data, err := in.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	p := parsePidFile(string(data))
	if p.pid == 0 {
		// The machine stopped while it was written. PostgreSQL would wait for
		// somebody to remove it; it names no shared memory that could be lost.
		return in.Remove(name)
	}
	if p.pid == noPID || !exists(p.pid) {
		return nil
	}
	_, rest, _ := strings.Cut(string(data), "\n")
	return a.writeFile(in, name, []byte(strconv.Itoa(noPID)+"\n"+rest))
}
