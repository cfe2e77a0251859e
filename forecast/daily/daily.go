// Package daily makes the forecast of every morning and freezes it, for each
// farm in its own early morning and once whatever number of instances run.
//
// Mornings that went by while nothing ran are caught up with, from what had been
// received by then; such a forecast says that it is late, and is a hindcast.
package daily

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// Hour is when a farm's morning begins, by its own clock: early enough to be
// read before the field is walked, late enough for the weather of yesterday to
// have come.
const Hour = 5

const (
	pause    = time.Minute // Between two looks at the clock.
	caughtUp = 14          // Mornings that are caught up with, at most.
	hold     = time.Hour   // After a farm's forecast cannot be made.
	stopTime = 30 * time.Second
)

// Store is what the runner needs of a database.
type Store interface {
	Farms(ctx context.Context) ([]forecast.Farm, error)
	// Mornings returns the mornings from a date on of which a forecast is frozen,
	// hindcasts too, in order.
	Mornings(ctx context.Context, farm string, from weather.Date) ([]Morning, error)
	// LockMorning takes the lock of a farm's daily forecast across all instances
	// and reports whether it got it; it does not wait for it.
	LockMorning(ctx context.Context, farm string) (unlock func(), got bool, err error)
}

// Morning is one of which a forecast is frozen.
type Morning struct {
	Day    weather.Date
	MadeAt time.Time // Of the newest of them.
}

// Maker makes forecasts, as [forecast.Service] does.
type Maker interface {
	Make(ctx context.Context, farm string, r forecast.Request) (*forecast.Forecast, forecast.Frozen, error)
}

// Runner makes what is due. Any number of them may run on one store.
type Runner struct {
	Store Store
	Maker Maker
	Now   func() time.Time
	Log   *slog.Logger

	held map[string]time.Time // Farms that are left alone until then.
}

// Run makes forecasts until ctx ends. Nothing that goes wrong with a farm stops
// it.
func (r *Runner) Run(ctx context.Context) {
	for {
		r.Pass(ctx)
		timer := time.NewTimer(pause)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-timer.C:
		}
	}
}

// Pass makes what is due now.
func (r *Runner) Pass(ctx context.Context) {
	farms, err := r.Store.Farms(ctx)
	if err != nil {
		if ctx.Err() == nil {
			r.Log.ErrorContext(ctx, "farms cannot be read", slog.Any("error", err))
		}
		return
	}
	if r.held == nil {
		r.held = map[string]time.Time{}
	}
	for _, f := range farms {
		if ctx.Err() != nil {
			return
		}
		now := r.Now()
		if left := r.held[f.ID].Sub(now); 0 < left && left <= hold { // More is left only if the clock was set back.
			continue
		}
		if err := r.farm(ctx, f, now); err != nil && ctx.Err() == nil {
			r.held[f.ID] = now.Add(hold)
			level := slog.LevelError
			if errors.Is(err, forecast.ErrTooFewYears) { // What is missing stands on its pages.
				level = slog.LevelInfo
			}
			r.Log.Log(ctx, level, "daily forecast was not made", slog.String("farm", f.ID), slog.Any("error", err))
		}
	}
}

// farm makes what is due of one farm.
func (r *Runner) farm(ctx context.Context, f forecast.Farm, now time.Time) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	due, err := r.due(ctx, f, now)
	if err != nil || len(due) == 0 {
		return err
	}
	unlock, got, err := r.Store.LockMorning(ctx, f.ID)
	if err != nil || !got {
		return err
	}
	defer unlock()
	if due, err = r.due(ctx, f, now); err != nil { // Another instance may have been first.
		return err
	}
	// What is begun is ended, so that a stop does not leave half a morning.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
	defer cancel()
	for _, d := range due {
		_, _, err := r.Maker.Make(ctx, f.ID, d.request())
		if d.late && neverWas(err) { // It must not keep the mornings after it from theirs.
			r.Log.InfoContext(ctx, "a morning that went by cannot be caught up with",
				slog.String("farm", f.ID), slog.String("morning", d.morning.String()), slog.Any("error", err))
			continue
		}
		if err != nil {
			return fmt.Errorf("morning of %s: %w", d.morning, err)
		}
	}
	return nil
}

// neverWas reports whether a forecast could not have been made on its morning,
// whenever it is tried: there was no farm yet, or too little on record.
func neverWas(err error) bool {
	return errors.Is(err, forecast.ErrFarmNotFound) || errors.Is(err, forecast.ErrTooFewYears)
}

// job is a morning of which a forecast is missing.
type job struct {
	morning weather.Date
	begun   time.Time // When it began at the farm.
	late    bool      // It is over.
}

func (j job) request() forecast.Request {
	req := forecast.Request{AsOf: &j.morning, Freeze: true}
	if j.late {
		req.KnownAt, req.Late = &j.begun, true
	}
	return req
}

// due returns the mornings that are missing, the earliest first: those since the
// newest that is there, and the one that it is. A farm without any forecast has
// missed none. Mornings still to come, of which forecasts were made by a clock
// that was ahead, keep no other from its own.
func (r *Runner) due(ctx context.Context, f forecast.Farm, now time.Time) ([]job, error) {
	zone, err := f.Location()
	if err != nil {
		return nil, fmt.Errorf("time zone %q: %w", f.TimeZone, err)
	}
	today := weather.DateIn(now.In(zone))
	if now.Before(begin(today, zone)) {
		today--
	}
	there, err := r.Store.Mornings(ctx, f.ID, today-caughtUp)
	if err != nil {
		return nil, err
	}
	for len(there) > 0 && there[len(there)-1].Day > today {
		there = there[:len(there)-1]
	}
	over := weather.DateIn(now.In(zone)) // The day after its own, a morning is over.
	next := over
	if len(there) > 0 {
		last := there[len(there)-1]
		// One that somebody made in the night does not know yesterday's weather.
		if next = last.Day + 1; last.Day == today && last.MadeAt.Before(begin(today, zone)) {
			next = today
		}
	}
	var out []job
	for d := next; d <= today; d++ {
		b := begin(d, zone)
		if weather.DateIn(b) != d { // Who moves to the other side of the date line skips a day.
			continue
		}
		out = append(out, job{d, b, d < over})
	}
	return out, nil
}

// begin returns when a morning begins.
func begin(d weather.Date, zone *time.Location) time.Time {
	y, m, day := d.Civil()
	return time.Date(y, m, day, Hour, 0, 0, 0, zone)
}
