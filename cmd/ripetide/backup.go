package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"time"

	"ripetide/db"
	"ripetide/db/archive"
)

type backupCmd struct {
	File string `arg:"" help:"A new file, such as farm.zip."`
}

// Run writes everything on record to a file, while the service goes on. The tables
// stay of the version they are: before an upgrade it is a newer program that runs.
func (b *backupCmd) Run(ctx context.Context, w *world, c *config) (err error) {
	o, err := attach(ctx, c, c.Database, nil)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, o.close(ctx)) }()
	m, err := archive.WriteFile(b.File, func(out io.Writer) (archive.Manifest, error) { return db.BackupOf(ctx, o.dsn, out, version) })
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already: name a new file", b.File)
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w.Stdout, "%s: %s. It was read again and is whole.\nWhoever has it can read everything in it: keep it on another machine, where only you can.\n", b.File, holds(m))
	return err
}

// holds says what an archive holds.
func holds(m archive.Manifest) string {
	return fmt.Sprintf("%s in %d tables as of %s", plural(int(m.Rows()), "row", "rows"), len(m.Tables), m.MadeAt.Format(time.RFC3339))
}

type restoreCmd struct {
	File  string `arg:"" help:"What \"backup\" has written."`
	Check bool   `help:"Only look whether the file is whole."`
}

// Run puts a backup onto an empty database.
func (r *restoreCmd) Run(ctx context.Context, w *world, c *config) (err error) {
	a, file, err := archive.OpenFile(r.File)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	if r.Check {
		_, err := fmt.Fprintf(w.Stdout, "%s is whole: %s, by ripetide %s.\n", r.File, holds(a.Manifest), a.Program)
		return err
	}
	o, err := attach(ctx, c, c.Database, nil)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, o.close(ctx)) }()
	if err := db.Restore(ctx, o.dsn, a); err != nil {
		return err
	}
	_, err = fmt.Fprintf(w.Stdout, "Restored: %s. Every table was written out again and has the hash it had.\n", holds(a.Manifest))
	return err
}

// newKeeper returns what makes the backups of every day; nil: none are made.
func newKeeper(w *world, c *config, s *db.Store, log *slog.Logger) *archive.Keeper {
	if c.Backups == "" || c.Database != mainDatabase { // The demo's farm can be grown again.
		return nil
	}
	return &archive.Keeper{
		Folder: archive.Folder{Dir: c.Backups, Keep: c.BackupsKept},
		Backup: func(ctx context.Context, out io.Writer) (archive.Manifest, error) { return s.Backup(ctx, out, version) },
		Now:    w.Now, Log: log,
	}
}
