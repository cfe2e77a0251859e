package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

type healthCmd struct {
	Station string `arg:"" help:"The station."`
	Farm    string `help:"The farm. Default: the only one."`
}

// Run prints how a station's record stands.
func (h *healthCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, h.Farm)
		if err != nil {
			return err
		}
		in, err := (&forecast.Service{Store: o.Store, Now: w.Now}).Known(ctx, farm.ID)
		if err != nil {
			return err
		}
		days, err := o.Days(ctx, farm.ID, h.Station, nil, nil, nil)
		if err != nil {
			return err
		}
		remarks := make([]weather.Remark, len(days))
		for i, d := range days {
			remarks[i] = d.Remark
		}
		today, err := farm.Today(w.Now())
		if err != nil {
			return err
		}
		x, err := forecast.StationHealth(in, h.Station, remarks, today)
		if err != nil {
			return err
		}
		corrections, err := o.Corrections(ctx, farm.ID, h.Station, w.Now().AddDate(0, 0, -correctionDays), correctionsMax)
		if err != nil {
			return err
		}
		zone, err := farm.Location()
		if err != nil {
			return err
		}
		return printHealth(w.Stdout, x, today, len(corrections), zone)
	})
}

// Late corrections are those of the last days; more than correctionsMax of them
// are not counted.
const correctionDays, correctionsMax = 30, 1000

func printHealth(out io.Writer, h *forecast.Health, today weather.Date, corrections int, zone *time.Location) error {
	days := func(n int) string { return plural(n, "day", "days") }
	say := func(what, format string, args ...any) {
		fmt.Fprintf(out, "%-16s %s\n", what, fmt.Sprintf(format, args...))
	}
	say("station", "%s, looked at on %s", h.Station, today.Time().Format("Mon 2 January 2006"))
	if h.Last == nil {
		say("record", "none: load a weather file, or send days")
	} else {
		say("record", "%s, %s to %s", days(h.Days), *h.First, *h.Last)
		if h.DaysOld > 0 {
			say("last record", "%s missing since", plural(h.DaysOld, "day is", "days are"))
		}
	}
	missing := 0
	for _, x := range h.Holes {
		missing += x.Len()
	}
	say("holes", "%d, of %s together", len(h.Holes), days(missing))
	say("suspects", "%s; %s left out of forecasts", days(suspectDays(h.Suspects)), plural(len(h.LeftOut), "day is", "days are"))
	if h.Misfit != "" {
		say("", "so many that none is left out: look at the station's place, unit and record (%s)", h.Misfit)
	}
	for _, x := range h.Suspects[max(0, len(h.Suspects)-mostTold):] {
		say("", "%s (%s): %s", x.Date, x.Test, x.Detail)
	}
	if corrections > 0 {
		say("corrections", "%s in the last %d days", plural(corrections, "day was corrected", "days were corrected"), correctionDays)
	}
	switch {
	case h.Proposal != nil:
		say("hour of reading", "%s; nothing is changed until you set it", h.Proposal.Evidence)
	case len(h.Hours) > 0:
		last := h.Hours[len(h.Hours)-1]
		say("hour of reading", "%d, since %s", last.Hour, last.From)
	}
	if s := h.StandIn; s != nil {
		if s.Used {
			o := s.Offsets.Year.Middle
			say("stand-in", "%s, moved by %+.1f °C (give or take %.1f) by %s in common; it lends %s", s.Station, o.C, o.SD, days(s.Offsets.Days), days(s.Lent))
		} else {
			say("stand-in", "%s, but they have only %s in common: it lends nothing", s.Station, days(s.Offsets.Days))
		}
	}
	l := h.Leaning
	say("this season", "%s from %s to %s: %d bridged, %d lent by the stand-in, %d from other years", days(l.Days), l.From, l.To, l.Bridged, l.Lent, l.OtherYears)
	if h.OutlookAt != nil {
		say("outlook", "issued %s", h.OutlookAt.In(zone).Format("Mon 2 January 2006 15:04"))
	} else {
		say("outlook", "none")
	}
	_, err := fmt.Fprintf(out, "%-16s %d past seasons can be replayed, five are needed\n", "days ahead", l.PastSeasons)
	return err
}
