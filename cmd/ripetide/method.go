package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"ripetide/forecast"
)

type methodCmds struct {
	Show    methodShowCmd    `cmd:"" default:"withargs" help:"Print the method in use and what was chosen before; so does \"method\" alone."`
	Use     methodUseCmd     `cmd:"" help:"Choose a method. Every date is reckoned by it from the next forecast on."`
	Profile methodProfileCmd `cmd:"" help:"Try other base temperatures and ways to sum heat on past seasons, and say whether one is clearly better. Changes nothing."`
}

type methodShowCmd struct {
	Farm string `help:"The farm. Default: the only one."`
}

// Run prints the method and its history.
func (m *methodShowCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, m.Farm)
		if err != nil {
			return err
		}
		return printMethods(ctx, w.Stdout, o, farm)
	})
}

type methodUseCmd struct {
	DegreeDays string   `required:"" placeholder:"KIND" help:"How the heat of a day is summed: average, clipped average, single triangle, double triangle, single sine or double sine."`
	Base       *float64 `required:"" placeholder:"°C" help:"Lower threshold."`
	Upper      *float64 `placeholder:"°C" help:"Upper threshold. Default: none."`
	Cutoff     string   `help:"What heat above --upper does: horizontal (it counts as --upper), intermediate (it takes away again what exceeds it), vertical (it counts nothing), none. Default: horizontal with --upper, none without."`
	By         string   `required:"" placeholder:"NAME" help:"Who decides."`
	Reason     string   `help:"Why, in a few words."`
	Farm       string   `help:"The farm. Default: the only one."`
}

const methodBy = `the command "method use"`

// Run records the choice and prints what is in use then.
func (m *methodUseCmd) Run(ctx context.Context, w *world, c *config) error {
	choice, err := m.choice(w.Now())
	if err != nil {
		return err
	}
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, m.Farm)
		if err != nil {
			return err
		}
		if _, err := o.PutMethod(ctx, farm.ID, choice, methodBy); err != nil {
			return err
		}
		return printMethods(ctx, w.Stdout, o, farm)
	})
}

// methodFlags says which flag a field of a choice comes from.
var methodFlags = map[string]string{
	"method": "--degree-days", "base_c": "--base", "upper_c": "--upper", "cutoff": "--cutoff", "by": "--by", "reason": "--reason",
}

// choice returns what was chosen, or everything that is wrong with it.
func (m *methodUseCmd) choice(now time.Time) (forecast.MethodChoice, error) {
	cutoff := forecast.Cutoff(m.Cutoff)
	if cutoff == "" {
		cutoff = forecast.NoCutoff
		if m.Upper != nil {
			cutoff = forecast.Horizontal
		}
	}
	method, errs := forecast.NewMethod(forecast.Kind(m.DegreeDays), *m.Base, m.Upper, cutoff)
	c := forecast.MethodChoice{Method: forecast.DefaultMethod, By: strings.TrimSpace(m.By), At: now, Reason: strings.TrimSpace(m.Reason)}
	errs = append(errs, c.Validate()...)
	c.Method = method
	for i, err := range errs {
		if f, ok := errors.AsType[*forecast.FieldError](err); ok {
			errs[i] = fmt.Errorf("%s %s", methodFlags[f.Field], strings.ReplaceAll(f.Reason, "base_c", "--base"))
		}
	}
	return c, errors.Join(errs...)
}

// printMethods prints the method that a farm uses, and then all that it chose.
func printMethods(ctx context.Context, w io.Writer, o *opened, farm forecast.Farm) error {
	choices, err := o.Methods(ctx, farm.ID)
	if err != nil {
		return err
	}
	zone, err := farm.Location()
	if err != nil {
		return err
	}
	s := speech{us: farm.Units == forecast.US}
	if len(choices) == 0 {
		_, err := fmt.Fprintf(w, "%s uses the default method: %s.\n", farm.Name, s.method(forecast.DefaultMethod))
		return err
	}
	fmt.Fprintf(w, "%s uses: %s.\n\n", farm.Name, s.method(choices[0].Method))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "CHOSEN\tMETHOD\tBY\tREASON")
	for _, c := range choices {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", c.At.In(zone).Format("2006-01-02 15:04"), s.method(c.Method), c.By, c.Reason)
	}
	return t.Flush()
}

// method writes a method, with °F for those who read them.
func (s speech) method(m forecast.Method) string {
	const perC, zero = 9.0 / 5, 32 // °F.
	switch {
	case !s.us:
		return m.String()
	case m.Cutoff == forecast.NoCutoff:
		return fmt.Sprintf("%s (%.4g °F)", m, m.Base*perC+zero)
	}
	return fmt.Sprintf("%s (%.4g to %.4g °F)", m, m.Base*perC+zero, m.Upper*perC+zero)
}
