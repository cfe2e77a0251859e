package postmaster

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

const (
	clusterName = "postgres"      // The cluster, in the data folder.
	makingName  = "postgres.new-" // Begins the name of a cluster in the making.
	versionName = "PG_VERSION"    // The file that initdb writes first.
	confName    = "ripetide.conf" // Our settings, in the cluster.
)

// A cluster is the folder that holds the databases.
type cluster struct {
	path      string // Absolute and free of links, as /proc shows it.
	account   account
	throwaway bool
	log       *slog.Logger
}

// name is what the cluster's processes call themselves.
func (c *cluster) name() string { return Role + "-" + fingerprint(c.path) }

// version returns the major version that made the cluster, or 0 if there is no
// cluster yet.
func (c *cluster) version() (int, error) {
	uid, err := ownerOf(c.path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	if uid != c.account.uid {
		return 0, fmt.Errorf("%w: %s belongs to user %s, not to %s; run this as that user or as root",
			ErrOwner, c.path, userName(uid), c.account.name)
	}
	data, err := os.ReadFile(filepath.Join(c.path, versionName))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		entries, err := os.ReadDir(c.path)
		if err == nil && len(entries) > 0 {
			err = fmt.Errorf("%w: %s has files, but no %s among them", ErrNotCluster, c.path, versionName)
		}
		return 0, err
	case err != nil:
		return 0, err
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(data)))
	if err != nil || major <= 0 {
		return 0, fmt.Errorf("%w: %s in %s says %q", ErrNotCluster, versionName, c.path, data)
	}
	return major, nil
}

// create makes the cluster. It works in a sibling folder, which becomes the
// cluster by a rename, so what is killed on the way leaves nothing half-made.
func (c *cluster) create(ctx context.Context, folder *os.Root, p programs) error {
	c.sweep(ctx, folder)
	name := makingName + rand.Text()[:8]
	if err := c.account.mkdir(folder, name); err != nil {
		return err
	}
	if err := c.fill(ctx, folder, name, p); err != nil {
		return errors.Join(err, folder.RemoveAll(name))
	}
	return nil
}

// sweep removes what a killed create left. What cannot be removed is in
// nobody's way.
func (c *cluster) sweep(ctx context.Context, folder *os.Root) {
	entries, err := fs.ReadDir(folder.FS(), ".")
	if err != nil {
		c.log.WarnContext(ctx, "looking for unfinished clusters", "error", err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), makingName) {
			continue
		}
		err := folder.RemoveAll(e.Name())
		c.log.WarnContext(ctx, "removing a cluster that was never finished", "name", e.Name(), "error", err)
	}
}

func (c *cluster) fill(ctx context.Context, folder *os.Root, name string, p programs) error {
	args := []string{
		"--pgdata=" + name,
		"--username=" + Role,
		"--auth=peer",
		"--encoding=UTF8",
		// Sorting by bytes never changes with the system's locale data, which
		// would break indexes; upper and lower still know every letter.
		"--locale=C",
		"--lc-ctype=C.UTF-8",
		"--data-checksums",
		"--no-instructions",
	}
	if c.throwaway {
		args = append(args, "--no-sync", "--wal-segsize=1") // Less to write.
	}
	cmd := c.account.command(ctx, folder.Name(), p.path("initdb"), args...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	// SIGTERM lets it clear up. Killing it would leave its own child running.
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	dieWithParent(cmd.SysProcAttr, syscall.SIGTERM)
	run, err := spawn(cmd)
	if err != nil {
		return err
	}
	<-run.done
	if run.err != nil {
		return fmt.Errorf("initdb: %w: %s", errors.Join(run.err, ctx.Err()), complaint(out.String()))
	}
	if err := appendFile(folder, filepath.Join(name, "postgresql.conf"), "include_if_exists '"+confName+"'\n"); err != nil {
		return err
	}
	if err := folder.Rename(name, clusterName); err != nil {
		return err
	}
	return syncDir(folder)
}

// appendFile adds a line to a file.
func appendFile(in *os.Root, name, line string) error {
	f, err := in.OpenFile(name, os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		return err
	}
	_, err = f.WriteString(line)
	return errors.Join(err, f.Sync(), f.Close())
}

// syncDir makes a rename in the folder durable.
func syncDir(in *os.Root) error {
	d, err := in.Open(".")
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// configure writes the files that say who may connect and how the server
// behaves. It is done at every start, so that a new release brings its
// settings along and a cluster can move to another user or machine.
func (c *cluster) configure() error {
	in, err := os.OpenRoot(c.path)
	if err != nil {
		return err
	}
	defer in.Close()
	for _, file := range []struct{ name, text string }{
		{confName, c.settings()},
		{"pg_hba.conf", hba},
		{"pg_ident.conf", ident(userName(0), c.account.name)},
	} {
		if err := c.account.writeFile(in, file.name, []byte(header+file.text)); err != nil {
			return err
		}
	}
	return nil
}

const header = "# Written by ripetide at every start. ALTER SYSTEM goes before the settings here.\n"

// hba admits nobody over TCP and nobody as another role.
const hba = "local all " + Role + " peer map=" + Role + "\n"

// ident says which system users may connect as Role.
func ident(names ...string) string {
	var b strings.Builder
	for _, name := range names {
		fmt.Fprintf(&b, "%s \"%s\" %s\n", Role, name, Role)
	}
	return b.String()
}

// settings are ours, but no promise depends on them: an operator may override
// each by ALTER SYSTEM.
func (c *cluster) settings() string {
	if c.throwaway {
		// Many test databases at a time, none of them large.
		return `max_connections = 200
shared_buffers = 64MB
wal_level = minimal
max_wal_senders = 0
jit = off
timezone = 'UTC'
log_timezone = 'UTC'
`
	}
	return `# A small machine, shared with the service.
max_connections = 60
shared_buffers = 128MB
# Our queries are short; compiling them costs more than it saves.
jit = off
timezone = 'UTC'
log_timezone = 'UTC'
# One file a weekday, overwritten a week later. No statements: they hold the
# farm's data.
logging_collector = on
log_directory = 'log'
log_filename = 'postgresql-%a.log'
log_truncate_on_rotation = on
log_rotation_age = 1d
log_rotation_size = 0
log_line_prefix = '%m [%p] '
log_checkpoints = off
log_statement = none
log_min_duration_statement = -1
log_min_error_statement = panic
`
}

// arguments are the settings that our promises rest on. On the command line
// they go before any file and ALTER SYSTEM.
func (c *cluster) arguments(s socket) []string {
	onoff := "on"
	if c.throwaway {
		onoff = "off"
	}
	args := []string{"-D", c.path}
	for _, setting := range []struct{ name, value string }{
		{"listen_addresses", ""},
		{"port", strconv.Itoa(s.port)},
		{"unix_socket_directories", s.dir},
		{"unix_socket_permissions", "0600"},
		{"cluster_name", c.name()},
		{"fsync", onoff},
		{"full_page_writes", onoff},
	} {
		args = append(args, "-c", setting.name+"="+setting.value)
	}
	if c.throwaway {
		args = append(args, "-c", "synchronous_commit=off")
	}
	return args
}

// complaint returns the part of a program's output that says what went wrong.
func complaint(out string) string {
	lines := strings.Split(strings.TrimSpace(out), "\n")
	for i := len(lines) - 1; i >= 0; i-- {
		for _, word := range []string{"FATAL: ", "PANIC: ", "error: "} {
			if _, text, ok := strings.Cut(lines[i], word); ok {
				return strings.TrimSpace(text)
			}
		}
	}
	return lines[len(lines)-1]
}
