//go:build !linux

package postmaster

import (
	"errors"
	"io/fs"
	"syscall"
)

// Elsewhere there is no /proc. A server whose number is in postmaster.pid is
// believed, and orphans are left to PostgreSQL.

func dieWithParent(*syscall.SysProcAttr, syscall.Signal) {}

func (c *cluster) processes() ([]int, error) {
	p, err := readPidFile(c.path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && !exists(p.pid) {
		return nil, nil
	}
	return []int{p.pid}, err
}

func (c *cluster) judge(pid int) verdict {
	if exists(pid) {
		return ours
	}
	return gone
}
