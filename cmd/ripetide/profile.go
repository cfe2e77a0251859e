package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"ripetide/api"
	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/weather"
)

type methodProfileCmd struct {
	AsOf  string `placeholder:"DATE" help:"Use what was known on this morning, YYYY-MM-DD. Default: the farm's today."`
	Chart string `placeholder:"FILE" help:"Also draw the profile, to a file that ends in .svg or .png."`
	Farm  string `help:"The farm. Default: the only one."`
}

// Run prints the profile and what follows from it.
func (m *methodProfileCmd) Run(ctx context.Context, w *world, c *config) error {
	var asOf *weather.Date
	if m.AsOf != "" {
		d, err := weather.ParseDate(m.AsOf)
		if err != nil {
			return fmt.Errorf("--as-of: %s", plain(err))
		}
		asOf = &d
	}
	ending := strings.ToLower(filepath.Ext(m.Chart))
	if m.Chart != "" && ending != ".svg" && ending != ".png" {
		return errors.New("--chart: the file must end in .svg or .png")
	}
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, m.Farm)
		if err != nil {
			return err
		}
		s := &forecast.Service{Store: o.Store, Now: w.Now, Program: version}
		p, farm, err := s.Profile(ctx, farm.ID, asOf)
		if err != nil {
			return err
		}
		if err := printProfile(w.Stdout, farm, p); err != nil {
			return err
		}
		if m.Chart == "" {
			return nil
		}
		chart, ok := api.ProfileChart(farm, p)
		if !ok {
			return errors.New("--chart: there is nothing to draw without a past season")
		}
		err = writeFile(m.Chart, 0o644, func(f *os.File) error {
			if ending == ".png" {
				return chart.WritePNG(f, charts.Options{})
			}
			return chart.WriteSVG(f, charts.Options{Fixed: true})
		})
		if err != nil {
			return fmt.Errorf("--chart: %s", plain(err))
		}
		_, err = fmt.Fprintf(w.Stdout, "\nChart: %s\n", m.Chart)
		return err
	})
}

// printProfile prints a profile as a table, with a row for each base, and then
// in words what follows from it.
func printProfile(w io.Writer, farm forecast.Farm, p *forecast.MethodProfile) error {
	s := speech{us: farm.Units == forecast.US}
	fmt.Fprintf(w, "%s, as of the morning of %s %d. In use: %s.\n\n", farm.Name, s.day(p.AsOf), p.AsOf.Year(), s.method(p.InUse.Method))
	if len(p.Curves) > 0 {
		if err := s.profile(w, p); err != nil {
			return err
		}
	}
	say := func(text string) { fmt.Fprintf(w, "%s\n\n", wrap(text, 96)) }
	say(p.Finding)
	say(p.Basis)
	if l := p.LeftOut; l != (forecast.LeftOut{}) {
		var out []string
		for _, x := range []struct {
			n         int
			one, many string
		}{
			{l.OwnMethod, "variety with a requirement of its own", "varieties with a requirement of their own"},
			{l.NoBloom, "planting in a season without bloom", "plantings in a season without bloom"},
			{l.NoWeather, "planting in a season with too few days of weather", "plantings in a season with too few days of weather"},
		} {
			if x.n > 0 {
				out = append(out, plural(x.n, x.one, x.many))
			}
		}
		say("Left out: " + strings.Join(out, ", ") + ".")
	}
	var err error
	if p.Proposed != nil {
		_, err = fmt.Fprintf(w, "Nothing changes until somebody accepts it:\n  %s\nor, by HTTP, PUT /v1/farms/%s/method.\n", accept(farm, p), farm.ID)
	} else {
		_, err = fmt.Fprintln(w, "Nothing was changed.")
	}
	return err
}

// accept is the command that goes over to what p proposes.
func accept(farm forecast.Farm, p *forecast.MethodProfile) string {
	m := p.Proposed.Method
	args := fmt.Sprintf("ripetide method use --farm %s --degree-days %q --base=%g", farm.ID, m.Kind, m.Base)
	if m.Cutoff != forecast.NoCutoff {
		args += fmt.Sprintf(" --upper=%g --cutoff=%s", m.Upper, m.Cutoff)
	}
	return args + fmt.Sprintf(" --by NAME --reason %q", api.ProfileReason(p))
}

// profile writes the table of errors.
func (s speech) profile(w io.Writer, p *forecast.MethodProfile) error {
	var bases []float64
	for _, c := range p.Curves {
		for _, q := range c.Points {
			bases = append(bases, q.Method.Base)
		}
	}
	slices.Sort(bases)
	bases = slices.Compact(bases)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	var head strings.Builder
	head.WriteString("BASE")
	for i, c := range p.Curves {
		head.WriteString("\t" + strings.ToUpper(string(c.Kind)))
		if i == 0 {
			head.WriteString("\tGAIN")
		}
	}
	fmt.Fprintln(t, head.String())
	for _, b := range bases {
		row := fmt.Sprintf("%g °C", b)
		if s.us {
			row = fmt.Sprintf("%.1f °F", b*9/5+32)
		}
		for i, c := range p.Curves {
			at := slices.IndexFunc(c.Points, func(q forecast.ProfilePoint) bool { return q.Method.Base == b })
			if at < 0 {
				row += "\t"
				if i == 0 {
					row += "\t"
				}
				continue
			}
			q := c.Points[at]
			row += fmt.Sprintf("\t%.2f", q.RMSE)
			switch {
			case q.Method == p.InUse.Method:
				row += " in use"
			case p.Proposed != nil && q.Method == p.Proposed.Method:
				row += " proposed"
			}
			if i == 0 {
				row += "\t" + gainOf(q)
			}
		}
		fmt.Fprintln(t, row)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\n%s\n\n", wrap("Error in days, the root of the mean square. Gain: how much less it is than that of the method in use, with the range that holds 9 in 10 of what seasons drawn anew give.", 96))
	return err
}

// gainOf writes a gain with its range.
func gainOf(q forecast.ProfilePoint) string {
	signed := func(x float64) string {
		if s := fmt.Sprintf("%+.2f", x); s != "+0.00" && s != "-0.00" {
			return s
		}
		return "0.00"
	}
	if q.GainRange == nil {
		return signed(q.Gain)
	}
	return fmt.Sprintf("%s (%s to %s)", signed(q.Gain), signed(q.GainRange.Low), signed(q.GainRange.High))
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
