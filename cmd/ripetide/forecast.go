package main

import (
	"context"
	"fmt"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

type forecastCmd struct {
	Farm    string    `help:"The farm. Default: the only one."`
	AsOf    string    `help:"The morning it is made for, YYYY-MM-DD. Default: the farm's today."`
	KnownAt time.Time `help:"Use only what had been received by this instant (RFC 3339). Default: now."`
	Freeze  bool      `default:"true" negatable:"" help:"Keep it as issued; --no-freeze only computes."`
}

// Run makes a forecast and prints it.
func (f *forecastCmd) Run(ctx context.Context, w *world, c *config) error {
	r := forecast.Request{Freeze: f.Freeze}
	if f.AsOf != "" {
		d, err := weather.ParseDate(f.AsOf)
		if err != nil {
			return fmt.Errorf("--as-of: %s", plain(err))
		}
		r.AsOf = &d
	}
	if !f.KnownAt.IsZero() {
		r.KnownAt = &f.KnownAt
	}
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, f.Farm)
		if err != nil {
			return err
		}
		s := &forecast.Service{Store: o.Store, Now: w.Now, Program: version}
		made, _, err := s.Make(ctx, farm.ID, r)
		if err != nil {
			return err
		}
		varieties, err := o.Varieties(ctx, farm.ID)
		if err != nil {
			return err
		}
		return printForecast(w.Stdout, farm, varieties, made)
	})
}
