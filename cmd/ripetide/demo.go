package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"ripetide/api"
	"ripetide/charts"
	"ripetide/db"
	"ripetide/forecast"
	"ripetide/testdata"
	"ripetide/weather"
)

const progressThrottle = 100 * time.Millisecond

type demoCmd struct {
	Serve bool `default:"true" negatable:"" help:"Serve afterwards; --no-serve ends instead."`
}

// Run loads the demo farm, forecasts, prints, draws and serves. What is there
// already is left as it is.
func (d *demoCmd) Run(ctx context.Context, w *world, c *config) (err error) {
	fmt.Fprintln(w.Stderr, "Opening the database (the first time makes a private PostgreSQL, a few seconds) …")
	o, err := open(ctx, c, demoDatabase, nil)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, o.close(ctx)) }()
	demo, err := testdata.ReadDemo()
	if err != nil {
		return fmt.Errorf("read demo: %w", err)
	}
	s := &staged{o: o, demo: demo}
	if err := s.load(ctx); err != nil {
		return fmt.Errorf("load demo: %w", err)
	}
	f, err := s.forecast(ctx)
	if err != nil {
		return fmt.Errorf("forecast demo: %w", err)
	}
	for _, p := range demo.About {
		fmt.Fprintf(w.Stdout, "%s\n\n", wrap(p, 100))
	}
	if err := printForecast(w.Stdout, demo.Farm, demo.Varieties, f); err != nil {
		return err
	}
	folder := filepath.Join(c.Data, "demo")
	if err := s.draw(folder, f); err != nil {
		return fmt.Errorf("draw demo: %w", err)
	}
	key, err := s.key(ctx, folder, w.Now())
	if err != nil {
		return fmt.Errorf("make a key for the demo: %w", err)
	}
	fmt.Fprintf(w.Stdout, "\nSeason chart: %s and %s\n", filepath.Join(folder, svgName), filepath.Join(folder, pngName))
	fmt.Fprintf(w.Stdout, "Key for the demo's farm %s: %s (kept in %s)\n", demo.Farm.ID, key, filepath.Join(folder, keyName))
	if s.changes == 0 {
		fmt.Fprintln(w.Stdout, "Everything was there already; nothing was changed.")
	}
	if !d.Serve {
		return nil
	}
	return serve(ctx, w, c, o, c.logger(w))
}

const (
	svgName = "season.svg"
	pngName = "season.png"
	keyName = "key"
)

// staged is the demo on its stage: its records are entered, and its forecast
// made, as if on the morning that the demo stands on, so that it is a forecast
// and no hindcast.
type staged struct {
	o       *opened
	demo    testdata.Demo
	changes int
}

const demoBy = "the demo"

// now is half past five in the morning of the demo's day.
func (s *staged) now() time.Time {
	y, m, d := s.demo.AsOf.Civil()
	loc, err := s.demo.Farm.Location()
	if err != nil {
		loc = time.UTC
	}
	return time.Date(y, m, d, 5, 30, 0, 0, loc)
}

// load enters what the farm had on record by that morning.
func (s *staged) load(ctx context.Context) error {
	d, at, farm := s.demo, s.now(), s.demo.Farm.ID
	count := func(created bool, err error) error {
		if created {
			s.changes++
		}
		return err
	}
	if err := count(s.o.PutFarm(ctx, d.Farm, demoBy, at)); err != nil {
		return err
	}
	record, err := testdata.AnnArbor()
	if err != nil {
		return err
	}
	for _, st := range d.Stations {
		if err := count(s.o.PutStation(ctx, farm, st, demoBy, at)); err != nil {
			return err
		}
		done, err := s.o.AddDays(ctx, farm, st.ID, weather.Delivery{Source: "demo", Days: record.Until(d.AsOf - 1).Days()}, at)
		if err != nil {
			return err
		}
		s.changes += done.Added + done.Corrected
	}
	for _, v := range d.Varieties {
		if err := count(s.o.PutVariety(ctx, farm, v, demoBy, at)); err != nil {
			return err
		}
	}
	for _, p := range d.Plantings {
		if err := count(s.o.PutPlanting(ctx, farm, p, demoBy, at)); err != nil {
			return err
		}
	}
	before, err := s.o.Sightings(ctx, farm, db.SightingFilter{})
	if err != nil {
		return err
	}
	results, err := s.o.AddSightings(ctx, farm, d.Sightings, demoBy, at)
	if err != nil {
		return err
	}
	for i, r := range results {
		if r.Err != nil {
			return fmt.Errorf("sighting %d: %w", i+1, r.Err)
		}
	}
	s.changes += len(results) - min(len(before), len(results))
	return nil
}

// forecast makes and freezes the demo's forecast, or reads the one that is
// there.
func (s *staged) forecast(ctx context.Context) (*forecast.Forecast, error) {
	z, err := s.o.LatestOfSeason(ctx, s.demo.Farm.ID, s.demo.AsOf.Year())
	if err == nil {
		return forecast.Decode(z.Body)
	}
	if !errors.Is(err, forecast.ErrForecastNotFound) {
		return nil, err
	}
	s.changes++
	service := &forecast.Service{Store: s.o.Store, Now: s.now, Program: version}
	f, _, err := service.Make(ctx, s.demo.Farm.ID, forecast.Request{AsOf: &s.demo.AsOf, Freeze: true})
	return f, err
}

// draw writes the season chart unless it is there.
func (s *staged) draw(folder string, f *forecast.Forecast) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	chart := api.SeasonChart(s.demo.Farm, s.demo.Varieties, f)
	for name, write := range map[string]func(*os.File) error{
		svgName: func(w *os.File) error { return chart.WriteSVG(w, charts.Options{Fixed: true}) },
		pngName: func(w *os.File) error { return chart.WritePNG(w, charts.Options{}) },
	} {
		path := filepath.Join(folder, name)
		if _, err := os.Stat(path); err == nil {
			continue
		}
		s.changes++
		if err := writeFile(path, 0o644, write); err != nil {
			return err
		}
	}
	return nil
}

// writeFile writes beside path and renames, so that no half file is ever
// taken for a whole one.
func writeFile(path string, mode os.FileMode, write func(*os.File) error) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return err
	}
	err = errors.Join(write(tmp), tmp.Chmod(mode), tmp.Close())
	if err == nil {
		err = os.Rename(tmp.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(tmp.Name()))
	}
	return nil
}

// key returns the demo's key, making one the first time.
func (s *staged) key(ctx context.Context, folder string, now time.Time) (string, error) {
	path := filepath.Join(folder, keyName)
	if b, err := os.ReadFile(path); err == nil {
		return strings.TrimSpace(string(b)), nil
	}
	s.changes++
	key, _, err := newKey(ctx, s.o.Store, string(api.Owner), "demo", "", 0, now)
	if err != nil {
		return "", err
	}
	return key, writeFile(path, 0o600, func(f *os.File) error {
		_, err := f.WriteString(key + "\n")
		return err
	})
}

// wrap breaks text into lines of at most n characters.
func wrap(text string, n int) string {
	var b strings.Builder
	line := 0
	for word := range strings.FieldsSeq(text) {
		l := len([]rune(word))
		switch {
		case line > 0 && line+1+l > n:
			b.WriteByte('\n')
			line = 0
		case line > 0:
			b.WriteByte(' ')
			line++
		}
		b.WriteString(word)
		line += l
	}
	return b.String()
}
