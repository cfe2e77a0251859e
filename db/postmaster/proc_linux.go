package postmaster

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// dieWithParent lets the kernel send sig to the child when we die.
func dieWithParent(attr *syscall.SysProcAttr, sig syscall.Signal) {
	attr.Pdeathsig = sig
}

// processes returns the living PostgreSQL processes of the cluster.
func (c *cluster) processes() ([]int, error) {
	entries, err := os.ReadDir("/proc")
	if err != nil {
		return nil, fmt.Errorf("list processes: %w", err)
	}
	var pids []int
	for _, e := range entries {
		if pid, err := strconv.Atoi(e.Name()); err == nil && c.judge(pid) == ours {
			pids = append(pids, pid)
		}
	}
	return pids, nil
}

// judge says what process pid is to the cluster. It takes a process for one of
// ours only if it runs as the cluster's user, is a postgres, and works in the
// cluster folder.
func (c *cluster) judge(pid int) verdict {
	proc := filepath.Join("/proc", strconv.Itoa(pid))
	status, err := os.ReadFile(filepath.Join(proc, "status"))
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ESRCH) {
		return gone
	}
	if err != nil {
		return unclear
	}
	state, uid := parseStatus(string(status))
	if state == "Z" || state == "X" {
		return gone
	}
	if uid != strconv.Itoa(c.account.uid) {
		return foreign
	}
	cwd, err := os.Readlink(filepath.Join(proc, "cwd"))
	if err == nil && cwd != c.path {
		return foreign
	}
	if err == nil {
		exe, err := os.Readlink(filepath.Join(proc, "exe"))
		// A process that is just ending has no program any more. An upgrade
		// of the package deletes the file that a process runs from.
		if err != nil || filepath.Base(strings.TrimSuffix(exe, " (deleted)")) == "postgres" {
			return ours
		}
		return foreign
	}
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ESRCH) {
		return gone // It ended while we looked.
	}
	// In a container even root may not follow these links of another user,
	// for lack of CAP_SYS_PTRACE. The command line is open to all.
	line, err := os.ReadFile(filepath.Join(proc, "cmdline"))
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ESRCH) {
		return gone
	}
	if err != nil {
		return unclear
	}
	return c.judgeLine(string(line))
}

// judgeLine says what a process with this command line is to the cluster.
func (c *cluster) judgeLine(line string) verdict {
	args := strings.Split(strings.TrimRight(line, "\x00"), "\x00")
	if title, ok := strings.CutPrefix(args[0], "postgres: "); ok {
		// Children overwrite the line with a title: cluster name and duty.
		if strings.HasPrefix(title, c.name()+": ") {
			return ours
		}
		return foreign
	}
	if filepath.Base(args[0]) != "postgres" {
		return foreign
	}
	for i, arg := range args[1:] {
		if arg != "-D" || i+2 >= len(args) {
			continue
		}
		if args[i+2] == c.path {
			return ours
		}
		if filepath.IsAbs(args[i+2]) {
			return foreign
		}
	}
	return unclear
}

// parseStatus returns the state letter and the effective user from a
// /proc/PID/status file.
func parseStatus(status string) (state, uid string) {
	for line := range strings.Lines(status) {
		f := strings.Fields(line)
		switch {
		case len(f) > 1 && f[0] == "State:":
			state = f[1]
		case len(f) > 2 && f[0] == "Uid:":
			uid = f[2]
		}
	}
	return state, uid
}
