package postmaster

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// An account is the user that PostgreSQL's programs run as.
type account struct {
	name     string
	uid, gid int
	drop     bool // We are root, and become this user to run a program.
}

// chooseAccount returns the account for a cluster: ourselves, or, since
// PostgreSQL refuses to run as root, somebody harmless.
func chooseAccount(folder, cluster string) (account, error) {
	if uid := os.Geteuid(); uid != 0 {
		return accountOf(uid, false)
	}
	// What an ordinary user began, root carries on as that user. Else root's
	// one command would lock the service out of its own data.
	for _, path := range []string{cluster, folder} {
		switch uid, err := ownerOf(path); {
		case errors.Is(err, fs.ErrNotExist):
		case err != nil:
			return account{}, err
		case uid != 0:
			return accountOf(uid, true)
		}
	}
	for _, name := range []string{"postgres", "_postgres", "nobody"} {
		if u, err := user.Lookup(name); err == nil {
			return newAccount(u, true)
		}
	}
	return account{}, errors.New("no user postgres, _postgres or nobody to run the server as")
}

func accountOf(uid int, drop bool) (account, error) {
	u, err := user.LookupId(strconv.Itoa(uid))
	if err != nil {
		// PostgreSQL looks it up too, and ends with a less helpful message.
		return account{}, fmt.Errorf("find the name of user %d: %w", uid, err)
	}
	return newAccount(u, drop)
}

func newAccount(u *user.User, drop bool) (account, error) {
	uid, err := strconv.Atoi(u.Uid)
	if err != nil {
		return account{}, fmt.Errorf("user %s: %w", u.Username, err)
	}
	gid, err := strconv.Atoi(u.Gid)
	if err != nil {
		return account{}, fmt.Errorf("user %s: %w", u.Username, err)
	}
	return account{name: u.Username, uid: uid, gid: gid, drop: drop}, nil
}

// ownerOf returns the user that the file at path, or what it links to, belongs
// to.
func ownerOf(path string) (int, error) {
	fi, err := os.Stat(path)
	if err != nil {
		return 0, err
	}
	return uidOf(fi), nil
}

func uidOf(fi fs.FileInfo) int {
	return int(fi.Sys().(*syscall.Stat_t).Uid)
}

// command prepares a program to be run as the account, in folder dir, and with
// an environment that holds neither our secrets nor the PG* variables.
func (a account) command(ctx context.Context, dir, program string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, program, args...)
	cmd.Dir = dir
	cmd.Env = []string{"LC_ALL=C"} // Messages in English; the cluster has its own locale.
	for _, name := range []string{"PATH", "LD_LIBRARY_PATH"} {
		if v, ok := os.LookupEnv(name); ok {
			cmd.Env = append(cmd.Env, name+"="+v)
		}
	}
	cmd.SysProcAttr = &syscall.SysProcAttr{}
	if a.drop {
		// No groups listed: the supplementary groups of root are dropped.
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
	cmd.WaitDelay = 5 * time.Second // For a grandchild that keeps the output open.
	return cmd
}

// mkdir makes a folder that belongs to the account alone.
func (a account) mkdir(in *os.Root, name string) error {
	if err := in.Mkdir(name, 0o700); err != nil {
		return err
	}
	if a.drop {
		return in.Lchown(name, a.uid, a.gid)
	}
	return nil
}

// openFile opens the file name for reading and writing and makes it, private
// to the account, if there is none.
func (a account) openFile(in *os.Root, name string) (*os.File, error) {
	const tries = 3 // The file can appear or vanish between two calls.
	for try := 1; ; try++ {
		f, err := in.OpenFile(name, os.O_RDWR, 0)
		if err == nil || !errors.Is(err, fs.ErrNotExist) || try == tries {
			return f, err
		}
		// Only a file we certainly made is given away. Otherwise the owner of
		// the folder could have root hand over a file of his choice.
		f, err = in.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err == nil && a.drop {
			err = f.Chown(a.uid, a.gid)
		}
		return f, err
	}
}

// writeFile replaces the file name by data at one stroke.
func (a account) writeFile(in *os.Root, name string, data []byte) error {
	next := name + ".new"
	if err := in.Remove(next); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	f, err := a.openFile(in, next)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return in.Rename(next, name)
}

// checkReach returns an error wrapping ErrUnreachable if the account cannot
// enter folder or, while that is still to be made, the deepest part of it that
// exists.
func (a account) checkReach(ctx context.Context, folder string) error {
	if !a.drop {
		return nil // Every call of ours would fail just as well.
	}
	var parts []string // The root folder first.
	for dir := folder; ; dir = filepath.Dir(dir) {
		parts = append([]string{dir}, parts...)
		if dir == filepath.Dir(dir) {
			break
		}
	}
	for _, dir := range parts {
		fi, err := os.Stat(dir)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		if !a.mayEnter(fi) && !a.enters(ctx, dir) {
			return fmt.Errorf("%w: %s is closed to %s, who has to run the server; choose a folder elsewhere, such as /var/lib/ripetide",
				ErrUnreachable, strings.TrimSuffix(dir, "/")+"/", a.name)
		}
	}
	return nil
}

// mayEnter reports what the permission bits of a folder say.
func (a account) mayEnter(fi fs.FileInfo) bool {
	st := fi.Sys().(*syscall.Stat_t)
	switch {
	case int(st.Uid) == a.uid:
		return fi.Mode()&0o100 != 0
	case int(st.Gid) == a.gid:
		return fi.Mode()&0o010 != 0
	}
	return fi.Mode()&0o001 != 0
}

// enters tries it: an access list may allow what the bits do not.
func (a account) enters(ctx context.Context, dir string) bool {
	ctx, cancel := context.WithTimeout(ctx, programTimeout)
	defer cancel()
	return a.command(ctx, dir, "/bin/sh", "-c", ":").Run() == nil
}
