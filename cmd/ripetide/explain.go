package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
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
			return fmt.Errorf("--as-of: %w", err)
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
		t := telling{speech{us: farm.Units == forecast.US}, x, w.Stdout}
		t.all(varieties, farm, z, reproduced)
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
			return fmt.Errorf("--chart: %w", err)
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

// telling tells an explanation to a grower.
type telling struct {
	speech
	x *forecast.Explanation
	w io.Writer
}

var stageWords = map[string]string{"first_ripe": "first ripe fruit", "peak": "the peak", "last_pick": "the last pick"}

// say writes a paragraph; sentences that are empty are left out.
func (t telling) say(sentences ...string) {
	sentences = slices.DeleteFunc(sentences, func(s string) bool { return s == "" })
	if len(sentences) > 0 {
		fmt.Fprintf(t.w, "%s\n\n", wrap(strings.Join(sentences, " "), 96))
	}
}

func (t telling) all(varieties []forecast.Variety, farm forecast.Farm, z forecast.Frozen, reproduced bool) {
	x := t.x
	name := x.Variety
	for _, v := range varieties {
		if v.ID == x.Variety {
			name = v.Name
		}
	}
	kind := "forecast"
	if z.Hindcast {
		kind = "hindcast"
	}
	fmt.Fprintf(t.w, "%s, %s: %s of season %d, as of the morning of %s %d\n\n", name, x.Block, kind, x.Season, t.day(x.AsOf), x.AsOf.Year())
	t.dates()
	t.moved()
	t.heat()
	t.requirements()
	t.thisSeason()
	t.doubts()
	for _, n := range x.Notes {
		switch n.Kind {
		case forecast.NoteEstimate, forecast.NoteFullBloom: // Said above.
		default:
			fmt.Fprintln(t.w, wrap("Note: "+n.Text, 96))
		}
	}
	t.origin(farm, z, reproduced)
}

// origin says which forecast is explained.
func (t telling) origin(farm forecast.Farm, z forecast.Frozen, reproduced bool) {
	zone, err := farm.Location()
	if err != nil {
		zone = time.UTC
	}
	made := z.MadeAt.In(zone)
	kind := "forecast"
	if z.Hindcast {
		kind = "hindcast"
	}
	text := fmt.Sprintf("This explains the %s %s, frozen on %s %d at %s.", kind, z.ID, t.day(weather.DateIn(made)), made.Year(), made.Format("15:04"))
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

// within writes a range of dates, each with its weekday.
func (t telling) within(a, b weather.Date) string {
	if a == b {
		return "all but sure"
	}
	return fmt.Sprintf("8 in 10: %s to %s", t.day(a), t.day(b))
}

// dates says when the stages came or will come.
func (t telling) dates() {
	var out []string
	for _, r := range t.x.Stages {
		d := r.Date
		what := upper(stageWords[r.Stage])
		switch {
		case d == nil:
		case d.Seen != nil:
			out = append(out, fmt.Sprintf("%s was seen on %s.", what, t.day(*d.Seen)))
		default:
			out = append(out, fmt.Sprintf("%s comes about %s (%s).", what, t.day(d.P50), t.within(d.P10, d.P90)))
		}
	}
	if len(out) == 0 {
		t.say("It cannot be forecast; the notes say why.")
		return
	}
	if d := t.x.PickingWindowDays; d != nil {
		days := fmt.Sprintf("It is picked for %d days", d.P50)
		if d.P10 != d.P90 {
			days += fmt.Sprintf(" (8 in 10: %d to %d)", d.P10, d.P90)
		}
		out = append(out, days+".")
	}
	t.say(append(out, "An estimate: walk the field.")...)
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// moved says what changed since the forecast before.
func (t telling) moved() {
	m := t.x.Moved
	if m == nil {
		return
	}
	what := stageWords[m.Stage]
	if m.Days == 0 && len(m.Because) == 0 {
		t.say(fmt.Sprintf("Since the forecast of %s %s has not moved.", t.day(m.Since), what))
		return
	}
	var because []string
	for _, c := range m.Because {
		because = append(because, fmt.Sprintf("%s %s", c.Cause, days(c.Days)))
	}
	t.say(fmt.Sprintf("Since the forecast of %s %s has moved: %s. By cause: %s.", t.day(m.Since), what, days(m.Days), strings.Join(because, ", ")))
}

// days writes a difference of dates.
func days(d float64) string {
	unit := "days"
	if math.Abs(d) == 1 {
		unit = "day"
	}
	switch {
	case d < 0:
		return fmt.Sprintf("%.1f %s earlier", -d, unit)
	case d > 0:
		return fmt.Sprintf("%.1f %s later", d, unit)
	}
	return "no change"
}

// heat says how much warmth there was since bloom, and how much is missing.
func (t telling) heat() {
	x := t.x
	b := x.Bloom
	if b == nil {
		return
	}
	var out []string
	switch {
	case b.From == forecast.BloomSighted:
		out = append(out, fmt.Sprintf("It bloomed on %s.", t.day(b.Date)))
	case b.From == forecast.BloomFromFull:
		out = append(out, fmt.Sprintf("Only full bloom was entered; the first open flowers are reckoned back to %s.", t.day(b.Date)))
	case b.P10 != nil && b.P90 != nil:
		out = append(out, fmt.Sprintf("Bloom is not entered; by the warmth of the spring it is on about %s (%s).", t.day(b.Date), t.within(*b.P10, *b.P90)))
	default:
		out = append(out, fmt.Sprintf("Bloom is not entered; it is reckoned back from the fruit to about %s.", t.day(b.Date)))
	}
	if sum := x.DegreeDaysSinceBloom; sum != nil && len(x.Days) > 0 {
		known := "all observed"
		if n := x.Weather.FilledDays; n > 0 {
			known = fmt.Sprintf("%d observed and %d filled in", x.Weather.ObservedDays, n)
		}
		out = append(out, fmt.Sprintf("The %s from then through %s (%s) brought %s, counted by %s.",
			plural(len(x.Days), "day", "days"), t.day(*x.WeatherThrough), known, t.speech.heat(*sum), t.method(methodOf(x.Method))))
	}
	if r := t.next(); r != nil && x.DegreeDaysSinceBloom != nil {
		less := r.Requirement.Mean - *x.DegreeDaysSinceBloom
		short := fmt.Sprintf("so about %s are still to come", t.speech.heat(less))
		if less <= 0 {
			short = "which is reached"
		}
		out = append(out, fmt.Sprintf("To %s it takes about %s (8 in 10: %s to %s), %s.", stageWords[r.Stage],
			t.speech.heat(r.Requirement.Mean), t.figure(r.Requirement.P10), t.figure(r.Requirement.P90), short))
	}
	if p := x.DegreeDaysPerDay; p != nil {
		out = append(out, fmt.Sprintf("A day brings about %s now.", t.speech.heat(*p)))
	}
	if n := len(x.Ahead); n > 0 {
		ahead := fmt.Sprintf("For the days ahead the weather of %d past years is played on", x.Weather.PastYears)
		if k := x.Weather.OutlookDays; k > 0 {
			ahead = fmt.Sprintf("For the %s ahead there is an outlook; after it the weather of %d past years is played on", plural(k, "day", "days"), x.Weather.PastYears)
		}
		if tr := x.Weather.TrendCPerYr; tr != nil {
			ahead += fmt.Sprintf(", each shifted to the present by the trend of this place, %s a decade", t.degrees(10**tr))
		}
		out = append(out, ahead+".")
	}
	t.say(out...)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func methodOf(n forecast.MethodNote) forecast.Method {
	m := forecast.Method{Kind: n.DegreeDays, Base: n.BaseC, Cutoff: n.Cutoff}
	if n.UpperC != nil {
		m.Upper = *n.UpperC
	}
	return m
}

// degrees writes a difference of temperatures.
func (t telling) degrees(c float64) string {
	if t.us {
		return fmt.Sprintf("%+.1f °F", c*9/5)
	}
	return fmt.Sprintf("%+.1f °C", c)
}

// figure writes °C·d in the farm's unit, without its name.
func (t telling) figure(c float64) string {
	text, _, _ := strings.Cut(t.speech.heat(c), " ")
	return text
}

// next returns the stage that is to come next; nil: none.
func (t telling) next() *forecast.StageReasons {
	for i := len(t.x.Stages); i > 0; i-- {
		if d := t.x.Stages[i-1].Date; d == nil || d.Seen != nil {
			if i == len(t.x.Stages) {
				return nil
			}
			return &t.x.Stages[i]
		}
	}
	if len(t.x.Stages) == 0 {
		return nil
	}
	return &t.x.Stages[0]
}

// requirements is the table of what each stage takes and where that comes from.
func (t telling) requirements() {
	x := t.x
	if len(x.Stages) == 0 {
		return
	}
	unit := "°C·d"
	if t.us {
		unit = "°F·d"
	}
	tab := tabwriter.NewWriter(t.w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tab, "%s FROM BLOOM TO\tFIRST RIPE\tPEAK\tLAST PICK\n", unit)
	row := func(head string, cell func(forecast.StageReasons) string) {
		fmt.Fprint(tab, head)
		for _, r := range x.Stages {
			fmt.Fprint(tab, "\t", cell(r))
		}
		fmt.Fprintln(tab)
	}
	first := x.Stages[0]
	from := "its class, " + strings.ReplaceAll(x.Ripens, "_", "-")
	if first.Prior.From == forecast.PriorOwn {
		from = "the farm's own figure"
	}
	// Rounded as sums, so that what is printed adds up.
	at := func(r forecast.StageReasons, through int) int {
		log := r.Prior.Log
		for _, e := range r.Effects[:through] {
			log += e.Log
		}
		c := math.Exp(log)
		if t.us {
			c *= 9.0 / 5
		}
		return int(math.Round(c))
	}
	row(from, func(r forecast.StageReasons) string { return fmt.Sprint(at(r, 0)) })
	for i, e := range first.Effects {
		if !slices.ContainsFunc(x.Stages, func(r forecast.StageReasons) bool { return at(r, i+1) != at(r, i) }) {
			continue
		}
		row(t.taught(e), func(r forecast.StageReasons) string {
			return fmt.Sprintf("%+d (%s)", at(r, i+1)-at(r, i), percent(r.Effects[i].Pct))
		})
	}
	row("now", func(r forecast.StageReasons) string { return fmt.Sprint(at(r, len(r.Effects))) })
	row("8 in 10", func(r forecast.StageReasons) string {
		return t.figure(r.Requirement.P10) + " to " + t.figure(r.Requirement.P90)
	})
	_ = tab.Flush() // As fmt.Fprint to the same writer.
	fmt.Fprintln(t.w)
}

// percent writes a difference, and nothing without a sign.
func percent(p float64) string {
	if p = math.Round(p); p == 0 {
		return "0 %"
	}
	return fmt.Sprintf("%+.0f %%", p)
}

// taught heads the row of an effect.
func (t telling) taught(e forecast.Effect) string {
	past := fmt.Sprintf(" (%s)", plural(e.Seasons, "past season", "past seasons"))
	switch e.Effect {
	case forecast.EffectFarm:
		return "+ this farm" + past
	case forecast.EffectVariety:
		return "+ this variety" + past
	case forecast.EffectPlanting:
		return "+ this planting" + past
	case forecast.EffectSeason:
		return "+ this season, all plantings"
	case forecast.EffectOwn:
		return "+ this season, this planting"
	case forecast.EffectLasting:
		return "+ this season, in the three above"
	}
	return "+ what has not come yet, and chance"
}

// thisSeason says what was seen this season and what that has taught.
func (t telling) thisSeason() {
	x := t.x
	if len(x.Stages) == 0 {
		return
	}
	if len(x.ThisSeason) == 0 {
		t.say("No ripe fruit has been seen this season, so it has taught nothing yet.")
		return
	}
	plantings := map[string]bool{}
	var sum float64
	var own []string
	for _, s := range x.ThisSeason {
		plantings[s.Planting] = true
		sum += s.Pct
		if s.Planting == x.Planting {
			own = append(own, fmt.Sprintf("%s on %s at %s, %s", stageWords[s.Stage], t.day(s.Date), t.speech.heat(s.DegreeDays), than(s.Pct)))
		}
	}
	out := []string{fmt.Sprintf("This season so far: %s seen on %s, at %s on the whole.",
		plural(len(x.ThisSeason), "ripe stage", "ripe stages"), plural(len(plantings), "planting", "plantings"), than(sum/float64(len(x.ThisSeason))))}
	if len(own) > 0 {
		out = append(out, "Of this planting itself: "+strings.Join(own, "; ")+".")
	}
	if r := t.next(); r != nil {
		i := slices.IndexFunc(r.Effects, func(e forecast.Effect) bool { return e.Effect == forecast.EffectSeason })
		if e := r.Effects[i]; e.Days != nil && *e.Days != 0 {
			out = append(out, fmt.Sprintf("What all plantings have in common this season puts %s of this one about %s.", stageWords[r.Stage], days(*e.Days)))
		}
	}
	t.say(out...)
}

// than says how a heat compares with what was expected.
func than(pct float64) string {
	switch n := math.Round(math.Abs(pct)); {
	case n == 0:
		return "the heat that past seasons made expect"
	case pct < 0:
		return fmt.Sprintf("%.0f %% less heat than past seasons made expect", n)
	default:
		return fmt.Sprintf("%.0f %% more heat than past seasons made expect", n)
	}
}

// doubts says why there is a range, and what looks in vain say.
func (t telling) doubts() {
	r := t.next()
	if r == nil {
		return
	}
	from := "defaults, until there are four past seasons"
	if r.Spread.Estimated {
		from = fmt.Sprintf("read from %s here", plural(r.Spread.Seasons, "past season", "past seasons"))
	}
	out := []string{fmt.Sprintf("Why there is a range: what %s takes differs by about %.0f %% from season to season, and by %.0f %% between plantings within one (%s); the rest is the weather ahead.",
		stageWords[r.Stage], r.Spread.SeasonSDPct, r.Spread.OwnSDPct, from)}
	if f := r.Spread.Widened; f > 1 {
		out = append(out, fmt.Sprintf("This season is unlike those on record, so both are taken %.1f times as large.", f))
	}
	for _, r := range t.x.Stages {
		if n := r.NotYet; n != nil {
			s := fmt.Sprintf("Looked for on %s and not there yet: %s", t.day(n.Date), stageWords[r.Stage])
			if n.DegreeDays != nil {
				s += ", so it takes more than " + t.speech.heat(*n.DegreeDays)
			}
			out = append(out, s+".")
		}
	}
	if r.Entered != nil {
		out = append(out, r.Entered.Text)
	}
	t.say(out...)
}

// days lists the days since bloom and those ahead.
func (t telling) days() error {
	temp := func(c float64) string {
		if t.us {
			return fmt.Sprintf("%.0f", c*9/5+32)
		}
		return fmt.Sprintf("%.1f", c)
	}
	heat := func(c float64) string { return t.figure(c) }
	unit, heatUnit := "°C", "°C·d"
	if t.us {
		unit, heatUnit = "°F", "°F·d"
	}
	tab := tabwriter.NewWriter(t.w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tab, "\nDAY\tMIN %s\tMAX %s\t%s\tSINCE BLOOM\tKNOWN BY\n", unit, unit, heatUnit)
	for _, d := range t.x.Days {
		fmt.Fprintf(tab, "%s\t%s\t%s\t%s\t%s\t%s\n", t.day(d.Date), temp(d.MinC), temp(d.MaxC), heat(d.DegreeDays), heat(d.Sum), d.Source)
	}
	for _, d := range t.x.Ahead {
		fmt.Fprintf(tab, "%s\t\t\t\t%s (%s to %s)\t%s\n", t.day(d.Date), heat(d.P50), heat(d.P10), heat(d.P90), d.Source)
	}
	return tab.Flush()
}
