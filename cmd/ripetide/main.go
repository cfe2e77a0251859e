// Command ripetide forecasts when each strawberry variety of a pick-your-own
// farm is ripe, from daily temperatures and what was seen in the field. Run it
// with --help for its commands.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/alecthomas/kong"
)

// version is set when a release is built: -ldflags "-X main.version=…".
var version = "dev"

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	w := &world{Getenv: os.Getenv, Stdout: os.Stdout, Stderr: os.Stderr, Now: time.Now}
	if err := run(ctx, w, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "ripetide:", plain(err))
		os.Exit(1) //nolint:gocritic // Nothing but the signal handler is left to stop.
	}
}

// world is what the program touches outside itself.
type world struct {
	Getenv func(string) string
	Stdout io.Writer
	Stderr io.Writer
	Now    func() time.Time
	// Programs are the folders of PostgreSQL's programs; nil: the usual ones.
	Programs []string
	// Serving is told the address once requests are answered; nil: nobody.
	Serving func(addr string)
}

// commands are the commands and what they take.
type commands struct {
	Serve    serveCmd    `cmd:"" help:"Answer requests until stopped."`
	Demo     demoCmd     `cmd:"" help:"Load an invented farm on a real weather record, forecast its season, draw it, and serve it."`
	Load     loadCmd     `cmd:"" help:"Load weather files into a station's record."`
	Health   healthCmd   `cmd:"" help:"Say how a station's record stands: last day, holes, suspects, stand-in."`
	Feed     feedCmds    `cmd:"" help:"List feeds, or fetch one now."`
	Forecast forecastCmd `cmd:"" help:"Make a forecast, freeze it and print it."`
	Explain  explainCmd  `cmd:"" help:"Say why a planting's dates are what they are."`
	Changes  changesCmd  `cmd:"" help:"Say who changed what, the newest first."`
	Method   methodCmds  `cmd:"" help:"Show or choose how the farm sums degree-days."`
	Review   reviewCmd   `cmd:"" help:"Look back at a season: what was said on its mornings beside what came."`
	Hindcast hindcastCmd `cmd:"" help:"Make the forecasts of past seasons again and tell how good they are."`
	Backup   backupCmd   `cmd:"" help:"Write everything on record to a new file, as open files."`
	Restore  restoreCmd  `cmd:"" help:"Put a backup onto an empty database."`
	Key      keyCmds     `cmd:"" help:"Make, list and revoke access keys."`
	Link     linkCmd     `cmd:"" help:"Make a link by which a person signs in in a browser, once."`
	Config   configCmd   `cmd:"" help:"Print the settings as they are understood, without what is secret."`
	Doctor   doctorCmd   `cmd:"" help:"Look for what is wrong with this installation, and say how to mend it. Changes nothing."`
	Unit     unitCmd     `cmd:"" help:"Print a service of systemd for this program, which may do little."`
	Version  versionCmd  `cmd:"" help:"Print the program's version."`

	DemoFarm bool `help:"Act on the farm of the demo, which has a database of its own."`
}

const about = `Harvest forecasts for pick-your-own strawberries.

Settings come from the environment: RIPETIDE_ADDR (default 127.0.0.1:8321), RIPETIDE_DATA (where a private PostgreSQL and files are kept), DATABASE_URL (a PostgreSQL of your own instead), RIPETIDE_FEED_NETWORKS (private networks that feeds may reach), RIPETIDE_PUBLIC_URL (where browsers elsewhere reach the pages), RIPETIDE_SMTP and the like (a mail server, see the README), RIPETIDE_BACKUPS (folder of the daily backups, or off) and RIPETIDE_BACKUPS_KEEP (how many, 14), RIPETIDE_LOG (text or json).

Forecasts are estimates: walk the field. Not a frost alarm.`

// errUsage is a command line that cannot be understood; what is wrong with it
// has been said.
var errUsage = errors.New("see --help")

func run(ctx context.Context, w *world, args []string) error {
	var c commands
	exited, code := false, 0
	parser, err := kong.New(&c, kong.Name("ripetide"), kong.Description(about), kong.Writers(w.Stdout, w.Stderr),
		kong.Exit(func(n int) { exited, code = true, n }), kong.UsageOnError(), kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
	if err != nil {
		return fmt.Errorf("set up commands: %w", err)
	}
	k, err := parser.Parse(args)
	switch {
	case exited && code == 0:
		return nil // --help was asked for.
	case err != nil:
		return fmt.Errorf("%w; %w", err, errUsage)
	}
	conf, err := readConfig(w.Getenv)
	if k.Command() == "doctor" {
		conf.faults, err = err, nil
	}
	if err != nil {
		return err
	}
	if c.DemoFarm {
		conf.Database = demoDatabase
	}
	k.BindTo(ctx, (*context.Context)(nil))
	return k.Run(w, conf)
}

type versionCmd struct{}

func (versionCmd) Run(w *world) error {
	_, err := fmt.Fprintln(w.Stdout, "ripetide", version)
	return err
}
