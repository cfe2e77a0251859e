package archive

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"time"
)

const (
	every = 24 * time.Hour // Between two backups.
	first = time.Hour      // Until the first of a new folder.
	again = time.Hour      // After one that failed.
	look  = time.Minute    // Between two looks at the clock.
)

// Keeper makes a backup a day and keeps the newest. Of several instances with one
// folder whoever is first makes it.
type Keeper struct {
	Folder Folder
	Backup func(context.Context, io.Writer) (Manifest, error)
	Now    func() time.Time
	Log    *slog.Logger

	since time.Time // The keeper runs.
	held  time.Time // Nothing is tried until then.
}

// Run makes what is due until ctx ends.
func (k *Keeper) Run(ctx context.Context) {
	for {
		k.Pass(ctx)
		timer := time.NewTimer(look)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-timer.C:
		}
	}
}

// Pass makes a backup if one is due now.
func (k *Keeper) Pass(ctx context.Context) {
	now := k.Now()
	if k.since.IsZero() || now.Before(k.since) { // Or the clock was set back.
		k.since = now
	}
	if k.held.Sub(now) > 0 && k.held.Sub(now) <= again {
		return
	}
	if err := k.make(ctx, now); err != nil && ctx.Err() == nil {
		k.held = now.Add(again)
		k.Log.ErrorContext(ctx, "backup was not made", slog.String("folder", k.Folder.Dir), slog.Any("error", err))
	}
}

// make makes a backup if one is due and nobody else is making it.
func (k *Keeper) make(ctx context.Context, now time.Time) (err error) {
	if due, err := k.due(now); !due || err != nil {
		return err
	}
	unlock, locked, err := k.Folder.Lock()
	if !locked || err != nil {
		return err
	}
	defer func() { err = errors.Join(err, unlock()) }()
	if due, err := k.due(now); !due || err != nil { // Another one may have made it by now.
		return err
	}
	name, m, err := k.Folder.Make(now, func(w io.Writer) (Manifest, error) { return k.Backup(ctx, w) })
	if err != nil {
		return err
	}
	k.Log.InfoContext(ctx, "backup made", slog.String("file", name), slog.Int64("rows", m.Rows()), slog.Duration("took", k.Now().Sub(now)))
	if err := k.Folder.Prune(now); err != nil {
		k.Log.ErrorContext(ctx, "old backups were not removed", slog.String("folder", k.Folder.Dir), slog.Any("error", err))
	}
	return nil
}

// due reports whether it is time.
func (k *Keeper) due(now time.Time) (bool, error) {
	newest, there, err := k.Folder.Newest(now)
	if !there {
		return now.Sub(k.since) >= first, err
	}
	return now.Sub(newest) >= every, err
}
