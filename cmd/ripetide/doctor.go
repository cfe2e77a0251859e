package main

import (
	"context"
	"fmt"
	"io"
)

type doctorCmd struct{}

// Run looks the installation over and prints a line for each thing. It is an
// error if something must be mended.
func (doctorCmd) Run(ctx context.Context, w *world, c *config) error {
	return report(w.Stdout, examine(ctx, w, c))
}

// state is how a thing was found.
type state string

const (
	good    state = "good"
	note    state = "note"    // As somebody may want it, and they should know.
	unknown state = "unknown" // It could not be looked at, for something else is wrong.
	mend    state = "mend"    // It must be mended.
)

// diagnosis is what was found of a thing. Nothing in it is secret.
type diagnosis struct {
	state state
	what  string // Was looked at; "": what the check is called.
	found string
	fix   string // In one sentence; "" where nothing need be done.
}

// checks are all checks, in the order in which things rest on each other. A
// check says nothing of what does not concern an installation.
var checks = []struct {
	what string
	look func(*patient) []diagnosis
}{
	{"settings", checkSettings},
	{"data folder", checkFolder},
	{"disk space", checkSpace},
	{"PostgreSQL here", checkPrograms},
	{"database", checkDatabase},
	{"PostgreSQL", checkServerVersion},
	{"tables", checkSchema},
	{"safe writing", checkSafety},
	{"clock", checkClock},
	{"newest record", checkNewest},
	{"address", checkListen},
	{"metrics", checkMetrics},
	{"farm", checkFarm},
	{"owner", checkOwner},
	{"stations", checkStations},
	{"feeds", checkFeeds},
	{"public address", checkPublic},
	{"mail", checkMail},
	{"backups", checkBackups},
}

// report prints what the checks find.
func report(out io.Writer, p *patient) error {
	sick := 0
	for _, c := range checks {
		for _, f := range c.look(p) {
			if f.what == "" {
				f.what = c.what
			}
			if f.state == mend {
				sick++
			}
			line := fmt.Sprintf("%-8s %-16s %s.", f.state, f.what, f.found)
			if f.fix != "" {
				line += " Fix: " + f.fix + "."
			}
			fmt.Fprintln(out, line)
		}
	}
	if sick > 0 {
		return fmt.Errorf("%s to be mended", plural(sick, "thing is", "things are"))
	}
	_, err := fmt.Fprintln(out, "Nothing is to be mended.")
	return err
}
