package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"ripetide/api"
	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

type explainCmd struct {
	Planting string `arg:"" help:"The planting, by its identifier."`
	AsOf     string `placeholder:"DATE" help:"Explain what was said on this morning, YYYY-MM-DD. Default: the latest forecast that was frozen."`
	Days     bool   `help:"Also list every day since bloom, and those to come."`
	Chart    string `placeholder:"FILE" help:"Also draw the planting's story, to a file that ends in .svg or .png."`
	Farm     string `help:"The farm. Default: the only one."`
}

// Run explains a planting's dates in words.
func (e *explainCmd) Run(ctx context.Context, w *world, c *config) error {
	var asOf *weather.Date
	if e.AsOf != "" {
		d, err := weather.ParseDate(e.AsOf)
		if err != nil {
			return fmt.Errorf("--as-of: %s", plain(err))
		}
		asOf = &d
	}
	ending := strings.ToLower(filepath.Ext(e.Chart))
	if e.Chart != "" && ending != ".svg" && ending != ".png" {
		return errors.New("--chart: the file must end in .svg or .png")
	}
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, e.Farm)
		if err != nil {
			return err
		}
		s := &forecast.Service{Store: o.Store, Now: w.Now, Program: version}
		z, err := e.meant(ctx, o, s, farm.ID, asOf)
		if err != nil {
			return err
		}
		x, reproduced, err := s.Explain(ctx, z, e.Planting)
		if errors.Is(err, forecast.ErrPlantingNotFound) {
			return e.notIn(z)
		}
		if err != nil {
			return err
		}
		varieties, err := o.Varieties(ctx, farm.ID)
		if err != nil {
			return err
		}
		t := telling{api.Telling{Farm: farm, Of: x}, w.Stdout}
		t.all(varieties, z, reproduced)
		if e.Days {
			if err := t.days(); err != nil {
				return err
			}
		}
		if e.Chart == "" {
			return nil
		}
		story, ok := api.StoryChart(farm, varieties, x, z.Hindcast)
		if !ok {
			return errors.New("--chart: there is nothing to draw before the planting was seen to bloom")
		}
		err = writeFile(e.Chart, 0o644, func(f *os.File) error {
			if ending == ".png" {
				return story.WritePNG(f, charts.Options{})
			}
			return story.WriteSVG(f, charts.Options{Fixed: true})
		})
		if err != nil {
			return fmt.Errorf("--chart: %s", plain(err))
		}
		_, err = fmt.Fprintf(w.Stdout, "\nChart: %s\n", e.Chart)
		return err
	})
}

// meant returns the forecast to explain: the one that was frozen last, for the
// morning asked for if there is one, and one that is only computed when none
// was frozen.
func (e *explainCmd) meant(ctx context.Context, o *opened, s *forecast.Service, farm string, asOf *weather.Date) (forecast.Frozen, error) {
	if asOf == nil {
		z, err := o.LatestForecast(ctx, farm)
		if !errors.Is(err, forecast.ErrForecastNotFound) {
			return z, err
		}
	} else {
		all, err := o.Forecasts(ctx, farm, nil)
		if err != nil {
			return forecast.Frozen{}, err
		}
		all = slices.DeleteFunc(all, func(z forecast.Frozen) bool { return z.AsOf != *asOf })
		if len(all) > 0 {
			of := max(slices.IndexFunc(all, func(z forecast.Frozen) bool { return !z.Hindcast }), 0)
			return o.Forecast(ctx, farm, all[of].ID)
		}
	}
	_, z, err := s.Make(ctx, farm, forecast.Request{AsOf: asOf})
	return z, err
}

// notIn says which plantings a forecast does tell of.
func (e *explainCmd) notIn(z forecast.Frozen) error {
	f, err := forecast.Decode(z.Body)
	if err != nil {
		return err
	}
	var names []string
	for _, p := range f.Plantings {
		names = append(names, p.Planting)
	}
	return fmt.Errorf("the forecast of %s has no planting %q; it has: %s", z.AsOf, e.Planting, cmp.Or(strings.Join(names, ", "), "none"))
}

// telling prints an explanation for a grower.
type telling struct {
	api.Telling
	w io.Writer
}

// say writes a paragraph; sentences that are empty are left out.
func (t telling) say(sentences ...string) {
	sentences = slices.DeleteFunc(sentences, func(s string) bool { return s == "" })
	if len(sentences) > 0 {
		fmt.Fprintf(t.w, "%s\n\n", wrap(strings.Join(sentences, " "), 96))
	}
}

func (t telling) all(varieties []forecast.Variety, z forecast.Frozen, reproduced bool) {
	x := t.Of
	kind := "forecast"
	if z.Hindcast {
		kind = "hindcast"
	}
	fmt.Fprintf(t.w, "%s, %s: %s of season %d, as of the morning of %s\n\n", api.VarietyName(varieties, x.Variety), x.Block, kind, x.Season, t.Farm.DayYear(x.AsOf))
	t.dates()
	t.moved()
	t.say(t.Heat()...)
	t.requirements()
	t.say(t.Taught()...)
	if doubts := t.Doubts(); len(doubts) > 0 {
		t.say(append([]string{"Why there is a range:"}, doubts...)...)
	}
	for _, n := range t.Notes() {
		fmt.Fprintln(t.w, wrap("Note: "+n, 96))
	}
	t.origin(z, reproduced)
}

// origin says which forecast is explained.
func (t telling) origin(z forecast.Frozen, reproduced bool) {
	zone, err := t.Farm.Location()
	if err != nil {
		zone = time.UTC
	}
	made := z.MadeAt.In(zone)
	kind := "forecast"
	if z.Hindcast {
		kind = "hindcast"
	}
	text := fmt.Sprintf("This explains the %s %s, frozen on %s at %s.", kind, z.ID, t.Farm.DayYear(weather.DateIn(made)), made.Format("15:04"))
	switch {
	case z.ID == "":
		text = "This was worked out now, from what is on record; it is not frozen."
	case reproduced:
		text += " Worked out again it is the same to the last byte."
	default:
		text += fmt.Sprintf(" It was made by version %s; worked out again it comes out otherwise, so figures here may differ from those that were issued.", z.Program)
	}
	fmt.Fprintln(t.w, wrap(text, 96))
}

// dates says when the stages came or will come.
func (t telling) dates() {
	d := t.Dates()
	if d.Stages == nil {
		t.say("It cannot be forecast; the notes say why.")
		return
	}
	var out []string
	for i, r := range []forecast.DateRange{d.Stages.FirstRipe, d.Stages.Peak, d.Stages.LastPick} {
		what := [...]string{"First ripe fruit", "The peak", "The last pick"}[i]
		switch {
		case r.Seen != nil:
			out = append(out, fmt.Sprintf("%s was seen on %s.", what, t.Farm.Day(*r.Seen)))
		case r.P10 == r.P90:
			out = append(out, fmt.Sprintf("%s comes about %s (all but sure).", what, t.Farm.Day(r.P50)))
		default:
			out = append(out, fmt.Sprintf("%s comes about %s (8 in 10: %s).", what, t.Farm.Day(r.P50), t.Farm.Span(r.P10, r.P90)))
		}
	}
	t.say(append(out, api.TellWindow(d, t.Of.AsOf), "An estimate: walk the field.")...)
}

// moved says what changed since the forecast before.
func (t telling) moved() {
	if t.Of.Moved == nil {
		return
	}
	text, because := api.TellMoved(t.Farm, t.Dates(), t.Of.AsOf, true)
	var causes []string
	for _, c := range because {
		causes = append(causes, c.Days+" by "+c.Cause)
	}
	if len(causes) > 0 {
		text += " By cause: " + strings.Join(causes, ", ") + "."
	}
	t.say(text)
}

// requirements is the table of what each stage takes and where that comes from.
func (t telling) requirements() {
	needs := t.Needs()
	if len(needs) == 0 {
		return
	}
	tab := tabwriter.NewWriter(t.w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tab, "%s FROM BLOOM TO\tFIRST RIPE\tPEAK\tLAST PICK\n", t.Farm.HeatUnit())
	for _, n := range needs {
		what := n.What
		if n.Kind == api.NeedEffect {
			what = "+ " + what
		}
		fmt.Fprintf(tab, "%s\t%s\n", what, strings.ReplaceAll(strings.Join(n.Cells[:], "\t"), "−", "-")) // A plain minus can be copied.
	}
	_ = tab.Flush() // As fmt.Fprint to the same writer.
	fmt.Fprintln(t.w)
}

// days lists the days since bloom and those ahead.
func (t telling) days() error {
	temp := func(c float64) string {
		text, _, _ := strings.Cut(t.Farm.Temperature(c), " ")
		return text
	}
	heat, x := t.Farm.BareHeat, t.Of
	tab := tabwriter.NewWriter(t.w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tab, "\nDAY\tMIN %s\tMAX %s\t%s\tSINCE BLOOM\tKNOWN BY\n", t.Farm.DegreeUnit(), t.Farm.DegreeUnit(), t.Farm.HeatUnit())
	for _, d := range x.Days {
		fmt.Fprintf(tab, "%s\t%s\t%s\t%s\t%s\t%s\n", t.Farm.Day(d.Date), temp(d.MinC), temp(d.MaxC), heat(d.DegreeDays), heat(d.Sum), d.Source)
	}
	for _, d := range x.Ahead {
		fmt.Fprintf(tab, "%s\t\t\t\t%s (%s to %s)\t%s\n", t.Farm.Day(d.Date), heat(d.P50), heat(d.P10), heat(d.P90), d.Source)
	}
	return tab.Flush()
}
