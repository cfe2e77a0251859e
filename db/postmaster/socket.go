package postmaster

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const (
	// socketPort only names the socket file; no TCP port is opened.
	socketPort = 5432

	// socketMax is the longest path of a socket in bytes: sun_path is 108
	// bytes long on Linux, and one is for the final NUL. (104 elsewhere.)
	socketMax = 107
)

// A socket is the address of a server.
type socket struct {
	dir  string
	port int
}

func (s socket) name() string { return ".s.PGSQL." + strconv.Itoa(s.port) }

func (s socket) path() string { return filepath.Join(s.dir, s.name()) }

// answers reports whether a process listens at the socket.
func (s socket) answers() bool {
	c, err := net.DialTimeout("unix", s.path(), time.Second) //nolint:noctx // A local socket answers or refuses at once.
	if err != nil {
		return false
	}
	c.Close()
	return true
}

// dsn returns a URL that pgx and PostgreSQL's own programs understand. What it
// does not say they would take from the PG* variables.
func (s socket) dsn(database string) string {
	q := url.Values{
		"host":    {s.dir},
		"port":    {strconv.Itoa(s.port)},
		"sslmode": {"disable"},
	}
	u := url.URL{
		Scheme:   "postgres",
		User:     url.User(Role),
		Path:     "/" + database,
		RawQuery: strings.ReplaceAll(q.Encode(), "+", "%20"), // They read a plus as a plus.
	}
	return u.String()
}

// socketFor returns the address of the server of a cluster: in the cluster
// folder, or in the temporary directory if the name of the former does not fit
// in a socket address or would be taken for two by PostgreSQL or pgx.
func socketFor(cluster, temp string, a account) (socket, error) {
	s := socket{dir: cluster, port: socketPort}
	if len(s.path()) <= socketMax && !strings.ContainsAny(cluster, `,"`) {
		return s, nil
	}
	s.dir = filepath.Join(temp, fmt.Sprintf("ripetide-%d-%s", a.uid, fingerprint(cluster)))
	if len(s.path()) > socketMax || strings.ContainsAny(s.dir, `,"`) {
		return socket{}, fmt.Errorf("neither %s nor the temporary directory %s can hold a socket: choose a shorter folder", cluster, temp)
	}
	return s, nil
}

// fingerprint returns a short name for a cluster.
func fingerprint(cluster string) string {
	sum := sha256.Sum256([]byte(cluster))
	return fmt.Sprintf("%x", sum[:8])
}

// makeSocketDir makes a folder in the temporary directory, where everybody may
// make things under the same name, and sees that it is the account's alone.
func makeSocketDir(dir string, a account) error {
	temp := filepath.Dir(dir)
	fi, err := os.Stat(temp)
	if err != nil {
		return err
	}
	if fi.Mode()&0o022 != 0 && fi.Mode()&fs.ModeSticky == 0 {
		return fmt.Errorf("anybody may replace a folder in %s: it has no sticky bit", temp)
	}
	if uid := uidOf(fi); uid != 0 && uid != a.uid {
		return fmt.Errorf("%s belongs to another user", temp)
	}
	if err := os.Mkdir(dir, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	f, err := os.OpenFile(dir, os.O_RDONLY|syscall.O_DIRECTORY|syscall.O_NOFOLLOW, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	if fi, err = f.Stat(); err != nil {
		return err
	}
	switch uid := uidOf(fi); {
	case uid == 0 && a.drop: // Just made.
		err = f.Chown(a.uid, a.gid)
	case uid != a.uid:
		err = fmt.Errorf("%s belongs to another user: remove it or choose a shorter data folder", dir)
	}
	if err != nil {
		return err
	}
	return f.Chmod(0o700)
}
