package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/review"
)

type reviewCmd struct {
	Year int    `arg:"" help:"The season to look back at, by the year of its harvest."`
	CSV  string `name:"csv" placeholder:"FILE" help:"Write a row for every date and lead to this file."`
	Farm string `help:"The farm. Default: the only one."`
}

// Run tells what was said of a season beside what came.
func (r *reviewCmd) Run(ctx context.Context, w *world, c *config) error {
	if r.Year < 1700 || 2400 < r.Year {
		return fmt.Errorf("season %d is no year of a harvest", r.Year)
	}
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, r.Farm)
		if err != nil {
			return err
		}
		s := &forecast.Service{Store: o.Store, Now: w.Now, Program: version}
		found, err := api.ReadReview(ctx, s, o.Store, farm.ID, r.Year)
		if err != nil {
			return err
		}
		splits, err := api.ReadSplits(ctx, s, o.Store, found)
		if err != nil {
			return err
		}
		if err := printReview(w.Stdout, api.NewReviewTelling(found), splits); err != nil {
			return err
		}
		if r.CSV == "" {
			return nil
		}
		if err := writeFile(r.CSV, 0o644, func(f *os.File) error { return review.WriteCSV(f, found.Season.Rows) }); err != nil {
			return fmt.Errorf("--csv: %s", plain(err))
		}
		_, err = fmt.Fprintf(w.Stdout, "\nEvery row: %s (%s)\n", r.CSV, many(len(found.Season.Rows), "row"))
		return err
	})
}

// printReview prints a review. It is wholly made of what it was given.
func printReview(w io.Writer, t api.ReviewTelling, splits []api.ReviewSplit) error {
	fmt.Fprintf(w, "Season %d of %s, looked back at: what was frozen on its morning beside what came.\n", t.Season.Year, t.Inputs.Farm.Name)
	fmt.Fprintf(w, "%s\n", wrap(t.Caution(), 100))
	for _, x := range []struct {
		head  string
		stage forecast.Stage
	}{{"FIRST RIPE", forecast.FirstRipe}, {"PEAK", forecast.Peak}, {"LAST PICK", forecast.LastPick}} {
		if err := printOutcomes(w, x.head, t.Outcomes(x.stage)); err != nil {
			return err
		}
	}
	var misses []string
	for _, m := range t.Misses(splits) {
		misses = append(misses, strings.Join(m.Text, " "))
	}
	for _, x := range []struct {
		head  string
		lines []string
	}{{"The largest misses, and where they came from", misses}, {"Opening", t.Opening()}, {"Gaps", t.Gaps()}} {
		if len(x.lines) == 0 {
			continue
		}
		fmt.Fprintf(w, "\n%s\n", x.head)
		for _, l := range x.lines {
			fmt.Fprintln(w, wrap("- "+l, 100))
		}
	}
	for _, f := range t.Foreseen() {
		fmt.Fprintf(w, "- %s: %s gap days foreseen, %s days in vain.\n", f.Lead, f.Foreseen, f.InVain)
	}
	if err := printScores(w, fmt.Sprintf("ALL STAGES, %d", t.Season.Year), api.Told(t.Scores, hindcast.AllStages, nil)); err != nil {
		return err
	}
	if text := t.CautionTogether(); text != "" {
		fmt.Fprintf(w, "\n%s\n", wrap(text, 100))
		return printScores(w, fmt.Sprintf("ALL STAGES, %d SEASONS", len(t.Together.Seasons)), api.Told(t.Together.Scores, hindcast.AllStages, nil))
	}
	return nil
}

// printOutcomes prints what was said of a stage: the error at each lead, with a
// mark where what came lay outside the range.
func printOutcomes(w io.Writer, head string, all []api.ToldOutcome) error {
	if len(all) == 0 {
		return nil
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s\tBLOCK\tCAME", head)
	for _, l := range review.Leads() {
		fmt.Fprintf(t, "\t%s", l)
	}
	fmt.Fprintln(t)
	for _, o := range all {
		came := o.Came
		if o.How != "" {
			came += " " + o.How
		}
		fmt.Fprintf(t, "%s\t%s\t%s", o.Variety, o.Block, came)
		for _, s := range o.Said {
			cell := "–"
			if s.Off != "" {
				cell = s.Off
			}
			if s.Outside {
				cell += " *"
			}
			fmt.Fprintf(t, "\t%s", cell)
		}
		fmt.Fprintln(t)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, o := range all {
		for _, s := range o.Said {
			if s.Outside {
				_, err := fmt.Fprintln(w, "* outside the range that was said")
				return err
			}
		}
	}
	return nil
}

// printScores prints how good the forecasts were, lead by lead.
func printScores(w io.Writer, head string, scores []api.ToldScore) error {
	if len(scores) == 0 {
		return nil
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s\tDATES\tOFF BY, DAYS\tLEAN\tIN RANGE", head)
	for _, a := range scores[0].Against {
		fmt.Fprintf(t, "\tBY %s\t", a.Name)
	}
	fmt.Fprintln(t)
	for _, s := range scores {
		fmt.Fprintf(t, "%s\t%d\t%s\t%s\t%s", s.Lead, s.N, s.Off, s.Bias, s.Inside)
		for _, a := range s.Against {
			fmt.Fprintf(t, "\t%s\t%s", a.Off, a.Skill)
		}
		fmt.Fprintln(t)
	}
	return t.Flush()
}
