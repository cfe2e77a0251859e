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
	"time"

	"github.com/schollz/progressbar/v3"

	"ripetide/forecast"
	"ripetide/weather"
	"ripetide/weather/quality"
)

type loadCmd struct {
	Station       string   `arg:"" help:"The station whose record it is."`
	Files         []string `arg:"" type:"existingfile" help:"Weather files, packed by gzip or zip or not."`
	Farm          string   `help:"The farm. Default: the only one."`
	Preview       bool     `help:"Say how each file is understood and what it would change, and keep nothing."`
	Unit          string   `enum:"C,F,tenths," default:"" help:"C, F or tenths (of °C), of files that do not tell."`
	Dates         string   `enum:"dmy,mdy,ymd," default:"" help:"dmy, mdy or ymd: the order of dates that can be read in more than one."`
	Column        string   `help:"Heading of the temperature column to take, of files that have several."`
	SourceStation string   `help:"The source's own identifier of the station to take, of files that have several."`
	Format        string   `help:"Of files that cannot be told by their content."`
	AllOrNothing  bool     `help:"Keep nothing of a file with a bad row."`
}

// errSomeRefused ends a load in which a file was refused as a whole.
var errSomeRefused = errors.New("not everything was loaded, see above")

const mostTold = 20 // Refusals, suspects or holes that are told one by one for a file.

// loading is a load as it goes.
type loading struct {
	*loadCmd
	w     *world
	o     *opened
	farm  string
	today weather.Date
	zone  *time.Location
}

// Run loads the files one after the other; a file is kept whole or, when the
// load is broken off, not at all, so that it can be run again: what is on record
// already is not written twice.
func (l *loadCmd) Run(ctx context.Context, w *world, c *config) error {
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, l.Farm)
		if err != nil {
			return err
		}
		if _, err := o.Station(ctx, farm.ID, l.Station); err != nil {
			return err
		}
		run := loading{loadCmd: l, w: w, o: o, farm: farm.ID}
		if run.today, err = farm.Today(w.Now()); err != nil {
			return err
		}
		if run.zone, err = farm.Location(); err != nil {
			return err
		}
		bad := false
		for i, name := range l.Files {
			if err := run.file(ctx, name, i); err != nil {
				if ctx.Err() != nil {
					return err
				}
				fmt.Fprintf(w.Stdout, "%s: not loaded: %s\n", name, plain(err))
				bad = true
			}
		}
		if bad {
			return errSomeRefused
		}
		return nil
	})
}

func (l *loading) options() weather.ReadOptions {
	return weather.ReadOptions{
		Format: l.Format, Unit: weather.Unit(l.Unit), Dates: weather.DateOrder(l.Dates), Column: l.Column,
		Station: l.SourceStation, Zone: l.zone, Latest: l.today,
	}
}

func (l *loading) file(ctx context.Context, name string, i int) error {
	body, err := l.read(name, i)
	if err != nil {
		return err
	}
	r, err := weather.Read(strings.NewReader(body), l.options())
	if errors.Is(err, weather.ErrOutlook) {
		return l.outlook(ctx, name, body)
	}
	if err != nil {
		return asked(err)
	}
	if l.Preview {
		return l.preview(ctx, name, r)
	}
	l.tellRefused(name, r.Refused)
	if l.AllOrNothing && len(r.Refused) > 0 {
		return errors.New("a row is bad and --all-or-nothing was asked for")
	}
	if len(r.Days) == 0 {
		return errors.New("no row was good")
	}
	fmt.Fprintf(l.w.Stderr, "%s: storing %s …\n", name, plural(len(r.Days), "day", "days"))
	d := weather.Delivery{Source: "file " + r.Format, Days: r.Days, Remarks: r.Remarks}
	done, err := forecast.Deliver(ctx, l.o, l.farm, l.Station, d, l.w.Now())
	if err != nil {
		return err
	}
	l.tellSuspects(name, done.Suspects)
	_, err = fmt.Fprintf(l.w.Stdout, "%s: %s read as %s, %s added, %d corrected, %d unchanged, %d refused, %d suspect (%s to %s)\n",
		name, plural(r.Received, "row", "rows"), r.Format, plural(done.Added, "day", "days"), done.Corrected, done.Unchanged+r.Repeats, len(r.Refused), suspectDays(done.Suspects),
		r.Days[0].Date, r.Days[len(r.Days)-1].Date)
	return err
}

// read reads a file and shows how far it is.
func (l *loading) read(name string, i int) (string, error) {
	f, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close() //nolint:errcheck // It was only read.
	info, err := f.Stat()
	if err != nil {
		return "", err
	}
	title := filepath.Base(name)
	if n := len(l.Files); n > 1 {
		title = fmt.Sprintf("%d of %d: %s", i+1, n, title)
	}
	size := info.Size()
	if size == 0 { // Empty, or a pipe; of nothing there is no share.
		size = -1
	}
	bar := progressbar.NewOptions64(size, progressbar.OptionSetWriter(l.w.Stderr), progressbar.OptionShowBytes(true),
		progressbar.OptionSetDescription(title), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(progressThrottle))
	var body strings.Builder
	body.Grow(int(min(info.Size(), weather.MaxBytes)) + 1)
	_, err = io.Copy(&body, io.TeeReader(io.LimitReader(f, weather.MaxBytes+1), bar))
	return body.String(), cmp.Or(err, bar.Finish())
}

// askedError is the questions of a file, with how they are answered here.
type askedError struct {
	error
	detail string
}

func (e *askedError) Unwrap() error { return e.error }

// Detail says what is open and how to answer.
func (e *askedError) Detail() string { return e.detail }

// asked adds to the questions of a file how they are answered here.
func asked(err error) error {
	fe, ok := errors.AsType[*weather.FileError](err)
	if !ok || len(fe.Questions()) == 0 {
		return err
	}
	var answers []string
	for _, q := range fe.Questions() {
		for _, c := range q.Choices {
			if strings.ContainsAny(c, " \"'()°") {
				c = fmt.Sprintf("%q", c)
			}
			answers = append(answers, "--"+strings.ReplaceAll(q.Option, "_", "-")+"="+c)
		}
	}
	return &askedError{err, fe.Detail() + " Answer with " + strings.Join(answers, ", ") + "."}
}

// outlook records predicted days.
func (l *loading) outlook(ctx context.Context, name, body string) error {
	r, err := weather.ReadOutlook(strings.NewReader(body), l.options())
	if err != nil {
		return asked(err)
	}
	l.tellRefused(name, r.Refused)
	if r.IssuedAt.IsZero() {
		return errors.New("the file does not tell when the outlook was issued")
	}
	o, faults := weather.NewOutlook(r.Draft(r.IssuedAt), l.zone, l.w.Now())
	if len(faults) > 0 {
		return fmt.Errorf("the outlook cannot be: %s %s", faults[0].Field, faults[0].Reason)
	}
	first, last, _ := o.Days.Span()
	if l.Preview {
		l.tellFindings(name, r.Format, r.Findings)
		_, err = fmt.Fprintf(l.w.Stdout, "%s: an outlook of %s (%s to %s), issued %s. Nothing was kept.\n",
			name, plural(o.Days.Len(), "day", "days"), first, last, o.IssuedAt.In(l.zone).Format("Mon 2 January 15:04"))
		return err
	}
	if _, _, err := l.o.PutOutlook(ctx, l.farm, l.Station, o, loadBy, l.w.Now()); err != nil {
		return err
	}
	_, err = fmt.Fprintf(l.w.Stdout, "%s: an outlook of %s kept (%s to %s)\n", name, plural(o.Days.Len(), "day", "days"), first, last)
	return err
}

const loadBy = "command load"

func (l *loading) preview(ctx context.Context, name string, r *weather.Reading) error {
	record, err := l.o.Record(ctx, l.farm, l.Station, nil)
	if err != nil {
		return err
	}
	days, err := l.o.Days(ctx, l.farm, l.Station, nil, nil, nil)
	if err != nil {
		return err
	}
	remarks := make(map[weather.Date]weather.Remark, len(days))
	for _, d := range days {
		remarks[d.Date] = d.Remark
	}
	p, err := forecast.PreviewDelivery(record, remarks, weather.Delivery{Days: r.Days, Remarks: r.Remarks})
	if err != nil {
		return err
	}
	l.tellFindings(name, r.Format, r.Findings)
	out := l.w.Stdout
	for i, d := range r.Days {
		if i == previewRows {
			fmt.Fprintf(out, "  … %d more days, the last %s\n", len(r.Days)-i, r.Days[len(r.Days)-1].Date)
			break
		}
		fmt.Fprintf(out, "  %s  %6.1f to %5.1f °C\n", d.Date, d.Min, d.Max)
	}
	for i, h := range p.Holes {
		if i == mostTold {
			fmt.Fprintf(out, "  and %d more holes\n", len(p.Holes)-i)
			break
		}
		fmt.Fprintf(out, "  hole: %s to %s, %s\n", h.From, h.To, plural(h.Len(), "day", "days"))
	}
	l.tellRefused(name, r.Refused)
	l.tellSuspects(name, p.Suspects)
	if p.Hour != nil {
		fmt.Fprintf(out, "  hour of reading: %s\n", p.Hour.Evidence)
	}
	_, err = fmt.Fprintf(out, "%s: %s; it would add %s, correct %d and leave %d as they are; %d refused, %d suspect. Nothing was kept.\n",
		name, plural(r.Received, "row", "rows"), plural(p.Added, "day", "days"), p.Corrected, p.Unchanged+r.Repeats, len(r.Refused), suspectDays(p.Suspects))
	return err
}

const previewRows = 10

func (l *loading) tellFindings(name, format string, list []weather.Finding) {
	fmt.Fprintf(l.w.Stdout, "%s: format %s\n", name, format)
	for _, f := range list {
		fmt.Fprintf(l.w.Stdout, "  %s: %s\n", f.What, f.Found)
	}
}

func (l *loading) tellRefused(name string, list []weather.Refusal) {
	for i, x := range list {
		if i == mostTold {
			fmt.Fprintf(l.w.Stdout, "%s: and %d more refused\n", name, len(list)-i)
			break
		}
		fmt.Fprintf(l.w.Stdout, "%s: row %d (%s) refused: %s\n", name, x.Row, x.Date, x.Reason)
	}
}

// tellSuspects tells the latest ones, for they matter most.
func (l *loading) tellSuspects(name string, list []quality.Suspect) {
	if n := len(list) - mostTold; n > 0 {
		fmt.Fprintf(l.w.Stdout, "%s: %d earlier suspects, then\n", name, n)
		list = list[n:]
	}
	for _, x := range list {
		fmt.Fprintf(l.w.Stdout, "%s: %s suspect (%s): %s\n", name, x.Date, x.Test, x.Detail)
	}
}

// suspectDays counts the days of suspects.
func suspectDays(list []quality.Suspect) int {
	days := make([]weather.Date, len(list))
	for i, x := range list {
		days[i] = x.Date
	}
	slices.Sort(days)
	return len(slices.Compact(days))
}
