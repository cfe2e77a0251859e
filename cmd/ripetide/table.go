package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"ripetide/api"
	"ripetide/api/announce"
	"ripetide/forecast"
	"ripetide/weather"
)

// speech writes dates and figures as the people of a farm do.
type speech struct {
	us    bool
	names map[string]string // Of plantings.
}

// day writes a date with its weekday: "Sat 9 Jun", "Sat Jun 9".
func (s speech) day(d weather.Date) string { return d.Time().Format("Mon ") + s.short(d) }

func (s speech) short(d weather.Date) string {
	if s.us {
		return d.Time().Format("Jan 2")
	}
	return d.Time().Format("2 Jan")
}

// dates writes the likeliest date with its range.
func (s speech) dates(r forecast.DateRange) string {
	if r.Seen != nil {
		return s.day(*r.Seen) + " seen"
	}
	if r.P10 == r.P90 {
		return s.day(r.P50)
	}
	return fmt.Sprintf("%s (%s – %s)", s.day(r.P50), s.short(r.P10), s.short(r.P90))
}

// heat writes °C·d in the farm's unit.
func (s speech) heat(c float64) string {
	if s.us {
		return fmt.Sprintf("%.0f °F·d", c*9/5)
	}
	return fmt.Sprintf("%.0f °C·d", c)
}

// kg writes a weight in the farm's unit.
func (s speech) kg(kg float64) string {
	if s.us {
		return fmt.Sprintf("%.0f lb", kg/forecast.KgPerLb)
	}
	return fmt.Sprintf("%.0f kg", kg)
}

func (s speech) planting(id *string) string {
	if id == nil {
		return ""
	}
	return s.names[*id]
}

// printForecast prints a forecast as a table, then gaps, the advice to open, and
// notes in words.
func printForecast(w io.Writer, farm forecast.Farm, varieties []forecast.Variety, f *forecast.Forecast) error {
	s := speech{us: farm.Units == forecast.US, names: map[string]string{}}
	variety := map[string]string{}
	for _, v := range varieties {
		variety[v.ID] = v.Name
	}
	kind := "Forecast"
	if f.Hindcast {
		kind = "Hindcast"
	}
	fmt.Fprintf(w, "%s for %s, season %d, as of the morning of %s %d\n", kind, farm.Name, f.Season, s.day(f.AsOf), f.AsOf.Year())
	if f.WeatherThrough != nil {
		fmt.Fprintf(w, "Weather through %s; what is to come: %d past years, %d possible seasons.\n",
			s.day(*f.WeatherThrough), f.Method.Traces, f.Method.Members)
	}
	fmt.Fprintf(w, "Each date: as likely before as after (8 in 10 fall in the range).\n\n")

	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "VARIETY\tBLOCK\tBLOOM\tHEAT SINCE\tFIRST RIPE\tPEAK\tLAST PICK\tDAYS")
	for _, p := range f.Plantings {
		name := variety[p.Variety]
		if name == "" {
			name = p.Variety
		}
		s.names[p.Planting] = name + " (" + p.Block + ")"
		if p.Stages == nil {
			fmt.Fprintf(t, "%s\t%s\t–\t–\tnot yet to be forecast\t\t\t\n", name, p.Block)
			continue
		}
		bloom := s.short(p.Bloom.Date)
		if p.Bloom.From != forecast.BloomSighted {
			bloom = "~" + bloom
		}
		since := "–" // Not before it has bloomed.
		if h := p.DegreeDaysSinceBloom; h != nil {
			since = s.heat(*h)
		}
		d := p.PickingWindowDays
		days := fmt.Sprint(d.P50)
		if d.P10 != d.P90 {
			days = fmt.Sprintf("%d (%d–%d)", d.P50, d.P10, d.P90)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", name, p.Block, bloom, since,
			s.dates(p.Stages.FirstRipe), s.dates(p.Stages.Peak), s.dates(p.Stages.LastPick), days)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w)
	for _, g := range f.Gaps {
		fmt.Fprintln(w, s.gap(g, farm, f.Method.Traces))
	}
	if len(f.Gaps) == 0 && f.SeasonSpan != nil {
		fmt.Fprintln(w, "No gap and no thin stretch is likely.")
	}
	if f.Advice != nil {
		o := api.Opening{State: announce.State{Farm: farm, Forecast: f, Today: f.AsOf}}
		for _, why := range o.Why() {
			fmt.Fprintln(w, "Opening:", why)
		}
	}
	for _, n := range f.Notes {
		text := n.Text
		if name := s.names[n.Planting]; name != "" {
			text = name + ": " + text
		}
		fmt.Fprintln(w, "Note:", text)
	}
	return nil
}

// gap tells of a gap or a thin stretch.
func (s speech) gap(g forecast.Gap, farm forecast.Farm, traces int) string {
	var b strings.Builder
	what := "Nothing ripe"
	if g.Kind == forecast.KindThin {
		what = "Thin (under " + s.kg(farm.ThinKgPerDay) + " standing)"
	}
	fmt.Fprintf(&b, "%s %s", what, s.day(g.From))
	if g.To != g.From {
		fmt.Fprintf(&b, " to %s", s.day(g.To))
	}
	fmt.Fprintf(&b, ": %.0f %% likely (more likely than not with the weather of %d in %d past years)", 100*g.Probability, g.PastYears, traces)
	if after := s.planting(g.After); after != "" {
		fmt.Fprintf(&b, "; after %s", after)
	}
	if before := s.planting(g.Before); before != "" {
		fmt.Fprintf(&b, ", before %s", before)
	}
	return b.String() + "."
}
