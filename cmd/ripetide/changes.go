package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"ripetide/api"
	"ripetide/weather"
)

type changesCmd struct {
	Farm  string `help:"The farm. Default: the only one."`
	Since string `help:"Only from this date on, YYYY-MM-DD."`
	By    string `help:"Only what this key or source recorded, as it is printed."`
	What  string `help:"Only changes of this kind, such as planting."`
}

// changesPage is how many are read at a time.
const changesPage = 500

// Run prints who changed what, the newest first.
func (x *changesCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, x.Farm)
		if err != nil {
			return err
		}
		zone, err := farm.Location()
		if err != nil {
			return err
		}
		var since time.Time
		if x.Since != "" {
			d, err := weather.ParseDate(x.Since)
			if err != nil {
				return fmt.Errorf("--since %q: give a date YYYY-MM-DD", x.Since)
			}
			year, month, day := d.Civil()
			since = time.Date(year, month, day, 0, 0, 0, 0, zone)
		}
		var before *api.Change
		for {
			page, err := (stores{o.Store}).Changes(ctx, farm.ID, api.ChangeQuery{Before: before, By: x.By, What: x.What, Limit: changesPage})
			if err != nil {
				return err
			}
			for _, one := range page {
				if one.At.Before(since) {
					return nil
				}
				if _, err := fmt.Fprintln(w.Stdout, changeLine(one, zone)); err != nil {
					return err
				}
			}
			if len(page) < changesPage {
				return nil
			}
			before = &page[len(page)-1]
		}
	})
}

// changeLine tells a change in a line.
func changeLine(c api.Change, zone *time.Location) string {
	var fields []string
	for _, f := range c.Fields() {
		if c.Was == nil {
			fields = append(fields, f.Name+" "+f.Is)
			continue
		}
		fields = append(fields, fmt.Sprintf("%s %s → %s", f.Name, or(f.Was, "none"), or(f.Is, "none")))
	}
	line := c.At.In(zone).Format("2006-01-02 15:04:05") + "  " + or(c.By, "unknown") + "  " + strings.TrimSpace(c.What+" "+c.Which)
	if len(fields) > 0 {
		line += ": " + strings.Join(fields, ", ")
	}
	return oneLine(line)
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// oneLine keeps what somebody has typed from making lines, or more, of its own.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f && r < 0xa0 || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
			return ' '
		}
		return r
	}, s)
}
