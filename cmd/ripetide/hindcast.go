package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/schollz/progressbar/v3"

	"ripetide/charts"
	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/scoring"
)

type hindcastCmd struct {
	From   int    `help:"The first season. Default: the first that has an earlier one on record."`
	To     int    `help:"The last season. Default: the last that looks finished."`
	Every  int    `default:"5" help:"Days from one morning to the next."`
	CSV    string `name:"csv" placeholder:"FILE" help:"Write a row for every forecast to this file."`
	Charts string `placeholder:"DIR" help:"Draw charts of error by lead and of reliability in this folder."`
	Farm   string `help:"The farm. Default: the only one."`
}

// Run makes the forecasts of past seasons again and tells how good they are.
func (h *hindcastCmd) Run(ctx context.Context, w *world, c *config) error {
	if err := h.options().Validate(); err != nil || h.Every == 0 {
		return errors.Join(err, errIf(h.Every == 0, "--every must be at least 1"))
	}
	return with(ctx, c, w, c.Database, func(o *opened) error {
		farm, err := farmOr(ctx, o.Store, h.Farm)
		if err != nil {
			return err
		}
		in, err := (&forecast.Service{Store: o.Store, Now: w.Now}).Known(ctx, farm.ID)
		if err != nil {
			return fmt.Errorf("read inputs: %w", err)
		}
		return h.replay(ctx, w, in)
	})
}

func errIf(bad bool, text string) error {
	if bad {
		return errors.New(text)
	}
	return nil
}

func (h *hindcastCmd) options() hindcast.Options {
	return hindcast.Options{From: h.From, To: h.To, Every: h.Every}
}

// replay replays in, prints what came of it and writes the files asked for.
func (h *hindcastCmd) replay(ctx context.Context, w *world, in forecast.Inputs) error {
	var bar *progressbar.ProgressBar
	opt := h.options()
	opt.Progress = func(_, total int) {
		if bar == nil {
			bar = progressbar.NewOptions(total, progressbar.OptionSetWriter(w.Stderr), progressbar.OptionSetDescription("mornings"),
				progressbar.OptionShowCount(), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(progressThrottle))
		}
		_ = bar.Add(1) // A bar that cannot be drawn is no reason to stop.
	}
	r, err := hindcast.Replay(ctx, in, opt)
	if bar != nil {
		_ = bar.Finish()
	}
	if err != nil {
		return err
	}
	rows, err := r.Rows()
	if err != nil {
		return err
	}
	p := replayTold{farm: in.Farm, result: r, rows: rows}
	if err := p.print(w.Stdout); err != nil {
		return err
	}
	if h.CSV != "" {
		if err := writeFile(h.CSV, 0o644, func(f *os.File) error { return r.WriteCSV(f) }); err != nil {
			return fmt.Errorf("--csv: %s", plain(err))
		}
		fmt.Fprintf(w.Stdout, "\nEvery forecast: %s (%s)\n", h.CSV, many(len(r.Cases), "row"))
	}
	if h.Charts != "" {
		names, err := p.draw(h.Charts)
		if err != nil {
			return fmt.Errorf("--charts: %s", plain(err))
		}
		if len(names) == 0 {
			fmt.Fprintf(w.Stdout, "\nNo chart: there is no forecast to draw.\n")
		} else {
			fmt.Fprintf(w.Stdout, "\nCharts in %s: %s, each as .svg and .png\n", h.Charts, strings.Join(names, ", "))
		}
	}
	return nil
}

// replayTold is a hindcast in words and pictures.
type replayTold struct {
	farm   forecast.Farm
	result hindcast.Result
	rows   []hindcast.Row
}

// row returns the row of a group and stage.
func (p replayTold) row(g hindcast.Group, s forecast.Stage) hindcast.Row {
	for _, r := range p.rows {
		if r.Group == g && r.Stage == s {
			return r
		}
	}
	return hindcast.Row{Group: g, Stage: s}
}

// stages are in the order in which they are told: each alone, then together.
func reviewStages() []forecast.Stage { return append(hindcast.Stages()[1:], hindcast.AllStages) }

// print prints the hindcast. It is wholly made of what it was given: no clock, no
// locale.
func (p replayTold) print(w io.Writer) error {
	r := p.result
	if len(r.Seasons) == 0 {
		fmt.Fprintf(w, "There is nothing to replay for %s: a hindcast takes two seasons of sightings or more.\n", p.farm.Name)
		_, err := fmt.Fprint(w, p.skipped())
		return err
	}
	fmt.Fprintf(w, "Hindcast of %s: %s, forecast again as of %s.\n", p.farm.Name, p.seasons(), many(r.Mornings, "morning"))
	fmt.Fprintln(w, wrap("Each forecast knows what its morning knew and no later day. But it is made from the records as they are known today, corrected ones too, and by today's program: it is no substitute for the forecasts that were frozen in their time.", 100))
	fmt.Fprintln(w)

	if len(r.Cases) > 0 {
		fmt.Fprintln(w, "OFF BY is the mean distance of the date named from the date entered, in days; the range beside it holds")
		fmt.Fprintln(w, "8 in 10 of what comes out when the seasons are drawn anew. BIAS: + is late. The baselines at the right: OFF BY.")
		for _, s := range reviewStages() {
			fmt.Fprintln(w)
			if err := p.stage(w, s); err != nil {
				return err
			}
		}
		fmt.Fprintln(w)
		fmt.Fprint(w, p.undefined())
		fmt.Fprintln(w, "IN RANGE: dates within the forecast's range, in brackets how many of them agree with what the ranges promise.")
		fmt.Fprintln(w, wrap("Rows of so many days before lean to late where the days are few: their mornings are chosen by a date that nobody knew yet. Judge ranges by the rows at bloom and of all mornings.", 100))
		fmt.Fprint(w, baselinesInWords)
		fmt.Fprintln(w)
		if err := p.skill(w); err != nil {
			return err
		}
		fmt.Fprintln(w)
		fmt.Fprintln(w, p.pit())
		fmt.Fprintln(w)
		fmt.Fprintln(w, wrap(p.verdict(), 100))
	} else {
		fmt.Fprintln(w, "Not one forecast could be scored.")
	}
	if text := p.excluded() + p.skipped() + p.foreknown(); text != "" {
		fmt.Fprintf(w, "\n%s", text)
	}
	return nil
}

const baselinesInWords = `Baselines, each with a range of its own and told that the date is still to come:
  MEAN DATE    the variety's mean calendar date in the seasons before
  BLOOM + 30   30 days from bloom to first ripe, 34 to peak, 39 to last pick (ten days of picking)
  OWN DAYS     the variety's mean days from bloom in the seasons before
  USUAL HEAT   degree-days to the variety's mean requirement (sine, 3 to 30 °C), with the usual weather to come
  TEMPERATURE  a straight line of days on the mean temperature after bloom, fitted to the seasons before
`

// seasons names the seasons that were replayed.
func (p replayTold) seasons() string {
	s := p.result.Seasons
	if len(s) == 1 {
		return fmt.Sprintf("season %d", s[0])
	}
	return fmt.Sprintf("%d seasons from %d to %d", len(s), s[0], s[len(s)-1])
}

// stage prints a stage lead by lead.
func (p replayTold) stage(w io.Writer, s forecast.Stage) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s\tDATES\tSEASONS\tBIAS\tOFF BY\t\tCRPS\tPINBALL\tIN RANGE\t\tMEAN DATE\tBLOOM + 30\tOWN DAYS\tUSUAL HEAT\tTEMPERATURE\n", strings.ToUpper(hindcast.StageName(s)))
	for _, g := range hindcast.Groups() {
		r := p.row(g, s)
		if r.N == 0 {
			fmt.Fprintf(t, "%s\t0\t\t\t\t\t\t\t\t\t\t\t\t\t\n", g)
			continue
		}
		c := r.Coverage
		fmt.Fprintf(t, "%s\t%d\t%d\t%s\t%.1f\t%s\t%.2f\t%.2f\t%d\t(%d–%d)", g, r.N, r.Seasons, signed(r.Bias), r.MAE, between(r.MAERange), r.CRPS, r.Pinball, c.Hits, c.Lo, c.Hi)
		for _, a := range r.Against {
			switch {
			case a.N == 0:
				fmt.Fprint(t, "\t–*")
			case a.Excluded > 0:
				fmt.Fprintf(t, "\t%.1f*", a.MAE)
			default:
				fmt.Fprintf(t, "\t%.1f", a.MAE)
			}
		}
		fmt.Fprintln(t)
	}
	return t.Flush()
}

// signed writes a bias; what rounds to nothing has no sign.
func signed(x float64) string {
	s := fmt.Sprintf("%+.1f", x)
	if s == "+0.0" || s == "-0.0" {
		return "0.0"
	}
	return strings.Replace(s, "-", "−", 1)
}

func between(r scoring.Range) string {
	if !r.OK {
		return ""
	}
	return fmt.Sprintf("(%.1f–%.1f)", r.Lo, r.Hi)
}

// skill prints how much better than each baseline the forecasts are.
func (p replayTold) skill(w io.Writer) error {
	fmt.Fprintln(w, "Skill by CRPS over all stages: 1 is perfect, 0 no better than the baseline on the same dates, below 0 worse.")
	fmt.Fprintln(w, "In brackets what 9 in 10 draws of the seasons give.")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "\tMEAN DATE\t\tBLOOM + 30\t\tOWN DAYS\t\tUSUAL HEAT\t\tTEMPERATURE\t")
	for _, g := range hindcast.Groups() {
		fmt.Fprint(t, g)
		for _, a := range p.row(g, hindcast.AllStages).Against {
			s := a.Skill.CRPS
			switch {
			case !s.OK:
				fmt.Fprint(t, "\t–\t")
			case !s.RangeOK:
				fmt.Fprintf(t, "\t%s\t", minus(s.Value))
			default:
				fmt.Fprintf(t, "\t%s\t(%s to %s)", minus(s.Value), minus(s.Lo), minus(s.Hi))
			}
		}
		fmt.Fprintln(t)
	}
	return t.Flush()
}

// minus writes a skill with a true minus sign.
func minus(x float64) string {
	s := fmt.Sprintf("%.2f", x)
	if s == "-0.00" {
		return "0.00"
	}
	return strings.Replace(s, "-", "−", 1)
}

// pit tells where the truth fell in the forecasts of all mornings.
func (p replayTold) pit() string {
	r := p.row(hindcast.AllMornings, hindcast.AllStages)
	if r.N == 0 {
		return "No morning of all could be scored, so nothing is told of the ranges as a whole."
	}
	parts := make([]string, len(r.PIT))
	for i, n := range r.PIT {
		parts[i] = fmt.Sprintf("%.0f", 100*n/float64(r.N))
	}
	return wrap(fmt.Sprintf("Where the truth fell in the forecasts of all mornings, in ten parts from earlier than forecast to later, %%: %s. "+
		"Honest ranges have about 10 in each; more at both ends means too narrow, more in the middle too wide.", strings.Join(parts, ", ")), 100)
}

// verdict says how little the seasons prove.
func (p replayTold) verdict() string {
	r := p.row(hindcast.AllMornings, hindcast.AllStages)
	for _, g := range hindcast.Groups() { // Of the most seasons.
		if x := p.row(g, hindcast.AllStages); x.Seasons > r.Seasons {
			r = x
		}
	}
	if r.Conclusive() {
		return fmt.Sprintf("%d seasons are enough to judge by. The plantings of a season share its weather: it is the seasons that count, not the dates.", r.Seasons)
	}
	return fmt.Sprintf("%s little: the plantings of a season share its weather, so that however many dates there are, they count for hardly more than %s. "+
		"With fewer than %d seasons differences like these can be chance. Change nothing because of them alone.",
		proves(r.Seasons), many(r.Seasons, "season"), scoring.MinSeasons)
}

func proves(seasons int) string {
	if seasons == 1 {
		return "One season proves"
	}
	return fmt.Sprintf("%d seasons prove", seasons)
}

// many counts things: "1 morning", "438 mornings".
func many(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// undefined says which baselines had no figure.
func (p replayTold) undefined() string {
	var b strings.Builder
	type gap struct {
		reason hindcast.Reason
		cases  int
	}
	names := map[gap][]string{}
	var order []gap
	r := p.row(hindcast.AllMornings, hindcast.AllStages)
	for _, a := range r.Against {
		for _, u := range a.Why {
			g := gap{u.Reason, u.Cases}
			if names[g] == nil {
				order = append(order, g)
			}
			names[g] = append(names[g], a.Baseline.String())
		}
	}
	for _, g := range order {
		fmt.Fprintf(&b, "* Of the %d forecasts of all mornings %d are without %s: %s.\n", r.N, g.cases, strings.Join(names[g], ", "), g.reason)
	}
	return b.String()
}

// excluded says what could not be scored, and why.
func (p replayTold) excluded() string {
	var order []hindcast.Reason
	parts := map[hindcast.Reason][]string{}
	for _, g := range hindcast.Groups() {
		cases, events := map[hindcast.Reason]int{}, map[hindcast.Reason]int{}
		var here []hindcast.Reason
		for _, x := range p.result.Excluded {
			if x.Group != g {
				continue
			}
			if cases[x.Reason] == 0 {
				here = append(here, x.Reason)
			}
			cases[x.Reason] += x.Cases
			events[x.Reason] += x.Events
		}
		for _, why := range here {
			if parts[why] == nil {
				order = append(order, why)
			}
			text := fmt.Sprintf("%d %s", cases[why], g)
			if g == hindcast.AllMornings {
				text = fmt.Sprintf("%d of all mornings (%s)", cases[why], many(events[why], "date"))
			}
			parts[why] = append(parts[why], text)
		}
	}
	var b strings.Builder
	for _, why := range order {
		fmt.Fprintf(&b, "Left out because %s: %s.\n", why, strings.Join(parts[why], ", "))
	}
	if n := p.result.Strangers; n > 0 {
		fmt.Fprintf(&b, "Left out because the planting is not on record: %s.\n", many(n, "sighting"))
	}
	return b.String()
}

// skipped says which seasons were not replayed.
func (p replayTold) skipped() string {
	var b strings.Builder
	for _, s := range p.result.Skipped {
		fmt.Fprintf(&b, "Season %d is not replayed: %s.", s.Season, s.Reason)
		if s.Reason == hindcast.Unfinished {
			fmt.Fprintf(&b, " What is entered is what came early. --to %d replays it all the same.", s.Season)
		}
		fmt.Fprintln(&b)
	}
	return b.String()
}

// foreknown warns of what may have been fitted to the seasons.
func (p replayTold) foreknown() string {
	var b strings.Builder
	if p.result.Foreknown.Method {
		fmt.Fprintln(&b, "The farm chose its way to sum degree-days after some of these seasons. If they had a say in it, the forecasts look better here than they will be.")
	}
	if n := len(p.result.Foreknown.Requirements); n > 0 {
		fmt.Fprintf(&b, "The farm states requirements of its own (%s). If they were worked out from these seasons, the forecasts look better here than they will be.\n",
			strings.Join(p.result.Foreknown.Requirements, ", "))
	}
	return b.String()
}

// chart is what can be drawn.
type chart interface {
	WriteSVG(w io.Writer, opt charts.Options) error
	WritePNG(w io.Writer, opt charts.Options) error
}

// draw writes the charts into folder and returns their names.
func (p replayTold) draw(folder string) (names []string, err error) {
	if len(p.result.Cases) == 0 {
		return nil, nil
	}
	type named struct {
		name string
		chart
	}
	var all []named
	for _, s := range reviewStages() {
		if c, ok := p.leadChart(s); ok {
			all = append(all, named{"error-by-lead-" + strings.ReplaceAll(hindcast.StageName(s), " ", "-"), c})
		}
	}
	if c, ok := p.reliabilityChart(); ok {
		all = append(all, named{"reliability", c})
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return nil, err
	}
	for _, c := range all {
		path := filepath.Join(folder, c.name)
		if err := writeFile(path+".svg", 0o644, func(f *os.File) error { return c.WriteSVG(f, charts.Options{Fixed: true}) }); err != nil {
			return nil, err
		}
		if err := writeFile(path+".png", 0o644, func(f *os.File) error { return c.WritePNG(f, charts.Options{}) }); err != nil {
			return nil, err
		}
		names = append(names, c.name)
	}
	return names, nil
}

// basis says what a chart rests on.
func (p replayTold) basis() string {
	return fmt.Sprintf("%s, %s, from the records as they are known today", p.farm.Name, p.seasons())
}

// finding is a sentence for both charts.
func (p replayTold) finding(r hindcast.Row) string {
	if r.Conclusive() {
		return ""
	}
	return proves(r.Seasons) + " little: differences like these can be chance."
}

// leadChart is the error by lead of a stage, if there is any.
func (p replayTold) leadChart(s forecast.Stage) (charts.LeadError, bool) {
	c := charts.LeadError{Heading: "Error by lead, " + hindcast.StageName(s), Basis: p.basis(), Hindcast: true}
	lines := make([]charts.LeadSeries, len(hindcast.Baselines()))
	most := hindcast.Row{}
	for i, g := range hindcast.Groups() {
		if g == hindcast.AllMornings { // No lead.
			continue
		}
		r := p.row(g, s)
		c.Leads = append(c.Leads, charts.Lead{Label: g.String(), Cases: r.N, Seasons: r.Seasons})
		if r.N == 0 {
			continue
		}
		if r.Seasons > most.Seasons {
			most = r
		}
		c.Forecast.Points = append(c.Forecast.Points, charts.LeadPoint{Lead: i, Days: r.MAE, Low: r.MAERange.Lo, High: r.MAERange.Hi})
		c.Bias = append(c.Bias, charts.LeadPoint{Lead: i, Days: r.Bias, Low: r.BiasRange.Lo, High: r.BiasRange.Hi})
		for b, a := range r.Against {
			if a.N > 0 {
				lines[b].Points = append(lines[b].Points, charts.LeadPoint{Lead: i, Days: a.MAE})
			}
		}
	}
	for b, line := range lines {
		if len(line.Points) > 0 {
			line.Name = hindcast.Baseline(b).String()
			c.Baselines = append(c.Baselines, line)
		}
	}
	c.Finding = p.finding(most)
	return c, most.N > 0
}

// withinDays is how far ahead the chances of the reliability chart look.
const withinDays = 7

// reliabilityChart is whether chances and ranges of all mornings came true. It
// has no bands: those of independent cases would be too narrow, for the cases
// of a season share its weather.
func (p replayTold) reliabilityChart() (charts.Reliability, bool) {
	c := charts.Reliability{
		Heading: "Reliability, all mornings", Basis: p.basis(), Hindcast: true,
		Event: fmt.Sprintf("a stage within %d days", withinDays),
	}
	var cases []scoring.Case
	for _, x := range p.result.Cases {
		if x.In(hindcast.AllMornings) {
			cases = append(cases, x.Case)
		}
	}
	if len(cases) == 0 {
		return c, false
	}
	c.Finding = p.finding(p.row(hindcast.AllMornings, hindcast.AllStages))
	for _, b := range scoring.Decompose(p.result.Within(hindcast.AllMornings, withinDays), hindcast.PITBins).Table {
		c.Chances = append(c.Chances, charts.ChanceBin{Forecast: b.Probability, Came: b.Frequency, Cases: b.N})
	}
	for _, n := range scoring.RandomisedPITHistogram(cases, hindcast.PITBins) {
		c.Falls = append(c.Falls, int(n))
	}
	return c, true
}
