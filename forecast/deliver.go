package forecast

import (
	"context"
	"fmt"
	"slices"
	"time"

	"ripetide/weather"
	"ripetide/weather/quality"
)

// WeatherStore is what taking in weather needs of a database.
type WeatherStore interface {
	// AddDays records days, see [weather.Delivery]; ErrStationNotFound.
	AddDays(ctx context.Context, farm, station string, d weather.Delivery, at time.Time) (weather.Stored, error)
	// Record returns a station with its days, without its outlooks, as it was on
	// record at an instant, nil being now; ErrStationNotFound.
	Record(ctx context.Context, farm, station string, knownAt *time.Time) (Record, error)
}

// Delivered is what became of a delivery.
type Delivered struct {
	weather.Stored
	Suspects []quality.Suspect // Of its days, by date.
}

// Deliver records days of a station and says which of them are doubted, now
// that they stand beside the rest of the record.
func Deliver(ctx context.Context, store WeatherStore, farm, station string, d weather.Delivery, at time.Time) (Delivered, error) {
	stored, err := store.AddDays(ctx, farm, station, d, at)
	if err != nil {
		return Delivered{}, err
	}
	r, err := store.Record(ctx, farm, station, nil)
	if err != nil {
		return Delivered{}, fmt.Errorf("read record: %w", err)
	}
	return Delivered{stored, doubted(r, d.Days)}, nil
}

// Preview is what a delivery would do.
type Preview struct {
	weather.Stored
	Suspects []quality.Suspect // Of its days, by date.
	Holes    []weather.Hole    // Between its days.
	// Hour is at which hour the thermometers seem to be read, by what the source
	// says or by the days themselves; nil if nothing says so.
	Hour *quality.Guess
}

// PreviewDelivery says what [Deliver] would do with d, and keeps nothing. r is
// the record as it is, and remarks are those that are on record of its days.
func PreviewDelivery(r Record, remarks map[weather.Date]weather.Remark, d weather.Delivery) (Preview, error) {
	series, err := weather.NewSeries(d.Days)
	if err != nil {
		return Preview{}, err
	}
	var p Preview
	merged := make([]weather.Day, 0, r.Days.Len()+len(d.Days))
	flags := map[weather.Date]string{}
	for _, f := range r.Flags {
		flags[f.Date] = f.Text
	}
	was := r.Days.Days()
	for i, day := range d.Days {
		for len(was) > 0 && was[0].Date < day.Date {
			merged, was = append(merged, was[0]), was[1:]
		}
		var said weather.Remark
		if d.Remarks != nil {
			said = d.Remarks[i]
		}
		switch {
		case len(was) == 0 || was[0].Date > day.Date:
			p.Added++
		case was[0] == day && (d.Remarks == nil || remarks[day.Date] == said):
			p.Unchanged++
			was = was[1:]
			merged = append(merged, day)
			continue
		default:
			p.Corrected++
			was = was[1:]
		}
		merged = append(merged, day)
		delete(flags, day.Date)
		if said.Flag != "" {
			flags[day.Date] = said.Flag
		}
	}
	merged = append(merged, was...)
	if r.Days, err = weather.NewSeries(merged); err != nil {
		return Preview{}, err
	}
	r.Flags = r.Flags[:0:0]
	for date, text := range flags {
		r.Flags = append(r.Flags, weather.Flag{Date: date, Text: text})
	}
	slices.SortFunc(r.Flags, func(a, b weather.Flag) int { return int(a.Date - b.Date) })
	p.Suspects = doubted(r, d.Days)
	p.Holes = series.Holes()
	if g, ok := quality.GuessHour(d.Days, d.Remarks); ok {
		p.Hour = &g
	}
	return p, nil
}

// doubted returns the suspects of r that are about one of days, which rise.
func doubted(r Record, days []weather.Day) []quality.Suspect {
	out := []quality.Suspect{}
	_, last, ok := r.Days.Span()
	if !ok {
		return out
	}
	sent := make(map[weather.Date]bool, len(days))
	for _, d := range days {
		sent[d.Date] = true
	}
	for _, s := range r.Sift(last).Suspects {
		if sent[s.Date] {
			out = append(out, s)
		}
	}
	return out
}
