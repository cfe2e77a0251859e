package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/schollz/progressbar/v3"

	"ripetide/weather"
)

type loadCmd struct {
	Station      string   `arg:"" help:"The station whose record it is."`
	Files        []string `arg:"" type:"existingfile" help:"Weather files, packed by gzip or not."`
	Farm         string   `help:"The farm. Default: the only one."`
	Unit         string   `enum:"C,F," default:"" help:"C or F, of files that do not tell."`
	Format       string   `help:"Of files that cannot be told by their content."`
	AllOrNothing bool     `help:"Keep nothing of a file with a bad row."`
}

// errSomeRefused ends a load in which a file was refused as a whole.
var errSomeRefused = errors.New("not everything was loaded, see above")

const mostRefusals = 20 // That are told for one file.

// Run loads the files one after the other; a file is kept whole or, when the
// load is broken off, not at all, so that it can be run again.
func (l *loadCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, l.Farm)
		if err != nil {
			return err
		}
		if _, err := o.Station(ctx, farm.ID, l.Station); err != nil {
			return err
		}
		today, err := farm.Today(w.Now())
		if err != nil {
			return err
		}
		bad := false
		for _, name := range l.Files {
			if err := l.file(ctx, w, o, farm.ID, name, today); err != nil {
				if ctx.Err() != nil {
					return err
				}
				fmt.Fprintf(w.Stdout, "%s: not loaded: %s\n", name, plain(err))
				bad = true
			}
		}
		if bad {
			return errSomeRefused
		}
		return nil
	})
}

func (l *loadCmd) file(ctx context.Context, w *world, o *opened, farm, name string, today weather.Date) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close() //nolint:errcheck // It was only read.
	info, err := f.Stat()
	if err != nil {
		return err
	}
	bar := progressbar.NewOptions64(info.Size(), progressbar.OptionSetWriter(w.Stderr), progressbar.OptionShowBytes(true),
		progressbar.OptionSetDescription(filepath.Base(name)), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(progressThrottle))
	r, err := weather.Read(io.TeeReader(f, bar), weather.ReadOptions{Format: l.Format, Unit: weather.Unit(l.Unit), Latest: today})
	if cerr := bar.Finish(); err == nil && cerr != nil {
		err = cerr
	}
	if err != nil {
		return err
	}
	for i, x := range r.Refused {
		if i == mostRefusals {
			fmt.Fprintf(w.Stdout, "%s: and %d more\n", name, len(r.Refused)-i)
			break
		}
		fmt.Fprintf(w.Stdout, "%s: row %d (%s) refused: %s\n", name, x.Row, x.Date, x.Reason)
	}
	if l.AllOrNothing && len(r.Refused) > 0 {
		return errors.New("a row is bad and --all-or-nothing was asked for")
	}
	if len(r.Days) == 0 {
		return errors.New("no row was good")
	}
	fmt.Fprintf(w.Stderr, "%s: storing %d days …\n", name, len(r.Days))
	added, corrected, unchanged, err := o.AddDays(ctx, farm, l.Station, r.Days, "file "+r.Format, w.Now())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w.Stdout, "%s: %d rows read, %d days added, %d corrected, %d unchanged, %d refused (%s to %s)\n",
		name, r.Received, added, corrected, unchanged+r.Repeats, len(r.Refused), r.Days[0].Date, r.Days[len(r.Days)-1].Date)
	return err
}
