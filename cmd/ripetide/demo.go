package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
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
	f, err := s.play(ctx)
	if err != nil {
		return fmt.Errorf("set the stage of the demo: %w", err)
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
	link, err := newLink(ctx, o.Store, "demo", string(api.Owner), "", demoLinkTime, w.Now())
	if err != nil {
		return err
	}
	clock, err := s.clock(ctx, w.Now)
	if err != nil {
		return err
	}
	there := *w
	there.Now = clock
	there.Serving = func(addr string) {
		fmt.Fprintf(w.Stdout, "Its pages, on the morning of %s: %s%s\n", clock().Format("Monday 2 January 2006"), addr, link)
		if w.Serving != nil {
			w.Serving(addr)
		}
	}
	return serve(ctx, &there, c, o, c.logger(w))
}

const demoLinkTime = 24 * time.Hour

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

// mornings are those on which the demo's farm made a forecast, as many days
// before the last one.
var mornings = []int{28, 21, 14, 7, 6, 5, 4, 3, 2, 1, 0}

// morning is half past five on the demo's day, or as many days before.
func (s *staged) morning(before int) time.Time {
	y, m, d := (s.demo.AsOf - weather.Date(before)).Civil()
	loc, err := s.demo.Farm.Location()
	if err != nil {
		loc = time.UTC
	}
	return time.Date(y, m, d, 5, 30, 0, 0, loc)
}

// clock starts where the demo stands, or after what was entered there since, and
// runs on as now does.
func (s *staged) clock(ctx context.Context, now func() time.Time) (func() time.Time, error) {
	start := s.morning(0).Add(time.Minute)
	last, err := s.o.LastRecorded(ctx, s.demo.Farm.ID)
	if err != nil {
		return nil, err
	}
	if last.After(start) {
		start = last.Add(time.Second)
	}
	began := now()
	zone := s.morning(0).Location()
	return func() time.Time { return start.Add(now().Sub(began)).In(zone) }, nil
}

// play enters, morning by morning, what the farm had on record by then, and
// makes its forecasts; it returns the last one. What is there is left as it is.
func (s *staged) play(ctx context.Context) (*forecast.Forecast, error) {
	if err := s.setUp(ctx); err != nil {
		return nil, err
	}
	record, err := testdata.AnnArbor()
	if err != nil {
		return nil, err
	}
	made, err := s.o.Forecasts(ctx, s.demo.Farm.ID, nil)
	if err != nil {
		return nil, err
	}
	for _, n := range mornings {
		asOf, at := s.demo.AsOf-weather.Date(n), s.morning(n)
		if err := s.enter(ctx, record, asOf, at); err != nil {
			return nil, fmt.Errorf("morning of %s: %w", asOf, err)
		}
		if slices.ContainsFunc(made, func(z forecast.Frozen) bool { return z.AsOf == asOf && !z.Hindcast }) {
			continue
		}
		s.changes++
		service := &forecast.Service{Store: s.o.Store, Now: func() time.Time { return at }, Program: version}
		if _, _, err := service.Make(ctx, s.demo.Farm.ID, forecast.Request{AsOf: &asOf, Freeze: true}); err != nil {
			return nil, err
		}
	}
	z, err := s.o.LatestOfSeason(ctx, s.demo.Farm.ID, s.demo.AsOf.Year())
	if err != nil {
		return nil, err
	}
	return forecast.Decode(z.Body)
}

// setUp puts the farm with its stations, varieties and plantings.
func (s *staged) setUp(ctx context.Context) error {
	d, at, farm := s.demo, s.morning(mornings[0]), s.demo.Farm.ID
	count := func(created bool, err error) error {
		if created {
			s.changes++
		}
		return err
	}
	if _, err := s.o.Farm(ctx, farm); err == nil {
		return nil // What its people changed since stays.
	}
	if err := count(s.o.PutFarm(ctx, d.Farm, demoBy, at)); err != nil {
		return err
	}
	for _, st := range d.Stations {
		if err := count(s.o.PutStation(ctx, farm, st, demoBy, at)); err != nil {
			return err
		}
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
	return nil
}

// enter enters what was known on a morning, unless it was before.
func (s *staged) enter(ctx context.Context, record weather.Series, asOf weather.Date, at time.Time) error {
	farm := s.demo.Farm.ID
	for _, st := range s.demo.Stations {
		d := weather.Delivery{Source: "demo", Days: record.Until(asOf - 1).Days(), OnlyOwn: true}
		done, err := s.o.AddDays(ctx, farm, st.ID, d, at)
		if err != nil {
			return err
		}
		s.changes += done.Added + done.Corrected
	}
	before, err := s.o.Sightings(ctx, farm, db.SightingFilter{})
	if err != nil {
		return err
	}
	var news []forecast.Sighting
	for _, x := range s.demo.Sightings {
		entered := slices.ContainsFunc(before, func(y forecast.Sighting) bool {
			return y.Planting == x.Planting && y.Stage == x.Stage && y.Date.Year() == x.Date.Year() && y.Seen == x.Seen
		})
		if x.Date <= asOf && !entered {
			news = append(news, x)
		}
	}
	results, err := s.o.AddSightings(ctx, farm, news, demoBy, at)
	if err != nil {
		return err
	}
	for i, r := range results {
		if r.Err != nil {
			return fmt.Errorf("sighting %d: %w", i+1, r.Err)
		}
	}
	s.changes += len(results)
	return nil
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
