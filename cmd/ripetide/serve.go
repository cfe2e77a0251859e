package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"ripetide/api"
	"ripetide/api/pages"
	"ripetide/forecast"
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

// serve listens and answers until ctx ends, then lets requests finish.
func serve(ctx context.Context, w *world, c *config, o *opened, log *slog.Logger) error {
	if o.server != nil {
		keep, cancel := context.WithCancel(ctx)
		defer cancel()
		go o.server.Keep(keep)
	}
	feeds := newRunner(w, c, o.Store, log)
	service := &forecast.Service{Store: o.Store, Now: w.Now, Program: version}
	handler := api.New( //nolint:contextcheck // A handler takes the context of its request.
		api.Config{Store: stores{o.Store}, Forecast: service, Feeds: feeds, Now: w.Now, Log: log, Version: version})
	pages.Add(pages.Config{
		API: handler, Store: stores{o.Store}, People: stores{o.Store}, Forecast: service,
		Now: w.Now, Log: log, Version: version,
	})
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
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	fetching, cancelFetching := context.WithCancel(ctx)
	fetched := make(chan struct{})
	go func() {
		defer close(fetched)
		feeds.Run(fetching)
	}()
	defer func() { // Before the database is closed.
		cancelFetching()
		<-fetched
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
