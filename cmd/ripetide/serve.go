package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"ripetide/api"
	"ripetide/api/mail"
	"ripetide/api/pages"
	"ripetide/db"
	"ripetide/db/archive"
	"ripetide/forecast"
	"ripetide/forecast/daily"
)

type serveCmd struct{}

// Run answers requests until ctx ends.
func (serveCmd) Run(ctx context.Context, w *world, c *config) error {
	log := c.logger(w)
	o, err := open(ctx, c, c.Database, log)
	if err != nil {
		return err
	}
	err = serve(ctx, w, c, o, log)
	return errors.Join(err, o.close(ctx))
}

// garbage is how much may lie about before it is collected, in per cent of what
// is in use. That is little, some tens of megabytes, and every page leaves some
// behind, so that the usual 100 would collect many times a second.
const garbage = 300

// letGarbageLie sets it, unless whoever started the program has set GOGC.
func letGarbageLie(getenv func(string) string) {
	if getenv("GOGC") == "" {
		debug.SetGCPercent(garbage)
	}
}

// serve listens and answers until ctx ends, then lets requests finish.
func serve(ctx context.Context, w *world, c *config, o *opened, log *slog.Logger) error {
	letGarbageLie(w.Getenv)
	if o.server != nil {
		keep, cancel := context.WithCancel(ctx)
		defer cancel()
		go o.server.Keep(keep)
	}
	feeds := newRunner(w, c, o.Store, log)
	mailer := newMailer(w, c, o.Store, log)
	counted := newMetrics()
	handler := newHandler(w, handling{c.Limits, c.Under, counted.observe}, o.Store, feeds, mailer, log) //nolint:contextcheck // A handler takes the context of its request.
	srv := &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       30 * time.Second, // An upload asks for more by itself.
		WriteTimeout:      2 * time.Minute,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", c.Addr)
	if err != nil {
		return fmt.Errorf("listen on %s: %w; set RIPETIDE_ADDR to another address", c.Addr, err)
	}
	addr := "http://" + l.Addr().String()
	fmt.Fprintf(w.Stdout, "Serving at %s (reference: %s/reference). Stop with Ctrl-C.\n", addr, addr)
	log.InfoContext(ctx, "serving", slog.String("addr", addr), slog.String("version", version))
	if err := firstRun(ctx, w, o.Store, l.Addr().String()); err != nil {
		return errors.Join(fmt.Errorf("make the first sign-in link: %w", err), l.Close())
	}
	if c.Metrics != "" {
		counted.watch(o.Store, archive.Folder{Dir: c.Backups}, w.Now)
		stop, err := counted.serve(ctx, c.Metrics, log)
		if err != nil {
			return errors.Join(err, l.Close())
		}
		defer stop()
	}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	working, stopWorking := context.WithCancel(ctx)
	var work sync.WaitGroup
	work.Go(func() { feeds.Run(working) })
	work.Go(func() { mailer.Run(working) })
	if keeper := newKeeper(w, c, o.Store, log); keeper != nil {
		work.Go(func() { keeper.Run(working) })
	}
	if !c.NoDaily {
		mornings := &daily.Runner{
			Store: o.Store, Maker: &forecast.Service{Store: o.Store, Now: w.Now, Program: version}, Now: w.Now, Log: log,
		}
		work.Go(func() { mornings.Run(working) })
	}
	defer func() { // Before the database is closed.
		stopWorking()
		work.Wait()
	}()
	if w.Serving != nil {
		w.Serving(addr)
	}
	select {
	case err := <-done:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	log.InfoContext(ctx, "stopping")
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
	defer cancel()
	if err := srv.Shutdown(end); err != nil {
		return fmt.Errorf("stop: %w", errors.Join(err, srv.Close()))
	}
	return nil
}

// firstRun prints a sign-in link for an owner on an installation that nobody
// has set up: it has no farm and, but for the one that an earlier first run
// made, no key.
func firstRun(ctx context.Context, w *world, s *db.Store, addr string) error {
	keys, err := s.Keys(ctx, nil)
	if err != nil {
		return err
	}
	farms, err := s.Farms(ctx)
	if err != nil {
		return err
	}
	others := slices.ContainsFunc(keys, func(k db.Key) bool {
		return k.Name != firstOwner || k.Role != string(api.Owner) || k.Farm != nil || k.LastUsedAt != nil
	})
	if len(farms) > 0 || others {
		return nil
	}
	link, err := newLink(ctx, s, firstOwner, string(api.Owner), "", firstLinkTime, w.Now())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w.Stdout, "First run: open http://%s%s within an hour to set up your farm.\n", browsable(addr), link)
	return err
}

const (
	firstOwner    = "me"
	firstLinkTime = time.Hour
)

// handling is how requests are bounded and counted.
type handling struct {
	limits  api.Limits
	under   string // See config.Under.
	observe func(method, route string, status int, took time.Duration)
}

// newHandler returns what answers requests: the API and the pages.
func newHandler(w *world, h handling, s *db.Store, feeds api.Fetcher, mailer *mail.Runner, log *slog.Logger) *api.Server {
	service := &forecast.Service{Store: s, Now: w.Now, Program: version}
	handler := api.New(
		api.Config{Store: stores{s}, Forecast: service, Feeds: feeds, Mail: mailer, Now: w.Now, Log: log, Version: version, Unavailable: db.Unavailable, Limits: h.limits, Under: h.under, Observe: h.observe})
	pages.Add(pages.Config{
		API: handler, Store: stores{s}, People: stores{s}, Access: stores{s}, Forecast: service, Feeds: feeds, Mail: mailer, Issued: s, States: s,
		Now: w.Now, Log: log, Version: version,
	})
	return handler
}
