package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"ripetide/db"
	"ripetide/weather/feed"
)

// newRunner returns what fetches the feeds of a store.
func newRunner(w *world, c *config, store *db.Store, log *slog.Logger) *feed.Runner {
	return &feed.Runner{
		Store: store, Now: w.Now, Log: log,
		Client: feed.NewClient(feed.Options{Now: w.Now, UserAgent: "ripetide/" + version, Allow: c.FeedNetworks}),
	}
}

type feedCmds struct {
	List  feedListCmd  `cmd:"" help:"List the feeds of a station with their last results."`
	Fetch feedFetchCmd `cmd:"" help:"Fetch a feed now."`
}

type feedListCmd struct {
	Station string `arg:"" help:"The station."`
	Farm    string `help:"The farm. Default: the only one."`
}

// Run lists the feeds of a station.
func (l *feedListCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, l.Farm)
		if err != nil {
			return err
		}
		jobs, err := o.StationFeeds(ctx, farm.ID, l.Station)
		if err != nil {
			return err
		}
		if len(jobs) == 0 {
			_, err := fmt.Fprintln(w.Stdout, "no feeds: PUT /v1/farms/{farm}/stations/{station}/feeds/{feed} adds one")
			return err
		}
		for _, j := range jobs {
			runs, err := o.FeedRuns(ctx, j.Key(), 1)
			if err != nil {
				return err
			}
			state := "never fetched"
			if len(runs) > 0 {
				state = fmt.Sprintf("%s, %s: %s", runs[0].StartedAt.In(j.Zone).Format("Mon 2 January 15:04"), runs[0].Outcome, runs[0].Detail)
			}
			if j.Spec.Paused {
				state = "paused; " + state
			}
			fmt.Fprintf(w.Stdout, "%-16s %-10s every %d h; %s\n", j.Spec.ID, j.Spec.Kind, int(j.Spec.Every.Hours()), state)
		}
		return nil
	})
}

type feedFetchCmd struct {
	Station string `arg:"" help:"The station."`
	Feed    string `arg:"" help:"The feed."`
	Farm    string `help:"The farm. Default: the only one."`
}

// Run fetches a feed.
func (f *feedFetchCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, f.Farm)
		if err != nil {
			return err
		}
		r, err := newRunner(w, c, o.Store, slog.New(slog.DiscardHandler)).Once(ctx, feed.Key{Farm: farm.ID, Station: f.Station, Feed: f.Feed})
		if soon, ok := errors.AsType[*feed.TooSoonError](err); ok {
			zone, err := farm.Location()
			if err != nil {
				return err
			}
			return fmt.Errorf("it was asked a moment ago, or its service does not want to be asked yet: try again after %s", soon.At.In(zone).Format("Mon 2 January 15:04:05"))
		}
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(w.Stdout, "%s: %s\n", r.Outcome, r.Detail)
		return err
	})
}
