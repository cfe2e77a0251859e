package hindcast

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"sync"

	"ripetide/forecast"
	"ripetide/weather"
)

// Result is what came of a replay.
type Result struct {
	Seasons  []int // That were replayed, rising.
	Mornings int   // Different ones, that a forecast was made for.
	Every    int   // Days between the mornings of AllMornings.
	// Cases in order of season, planting, stage and morning.
	Cases    []Case
	Excluded []Excluded
	// Skipped are the seasons with sightings that were not replayed, though they
	// were not ruled out by From and To.
	Skipped []Skipped
	// Strangers counts the sightings of plantings that are not on record.
	Strangers int
	Foreknown Foreknown
}

// Skipped is a season that was not replayed.
type Skipped struct {
	Season int
	Reason Reason
}

// Foreknown is what the forecasts of a replay used although it may have been
// settled by people who knew how the seasons ended. A forecast issued in its
// time has none of it.
type Foreknown struct {
	Method       bool     // The farm chose its way to sum degree-days later than the first morning.
	Requirements []string // Varieties whose requirement the farm states, sorted.
}

// Replay makes the forecasts of past mornings again, with the baselines beside
// them, and tells what came of them. Inputs are those of [forecast.Compute],
// with all that is on record today.
//
// Mornings are every Options.Every days from the farm's first bloom in the
// season to its last entered stage ([AllMornings]), and for each event those
// of the other groups. An event is a ripe stage of a planting that bears that
// season or of which something was entered.
//
// The error is that of ctx, or matches [ErrInvalidOptions], or is one of
// package forecast that says more than that a morning has too few past years.
// Without a season to replay the result is empty, which is no error.
func Replay(ctx context.Context, in forecast.Inputs, opt Options) (Result, error) {
	if err := opt.Validate(); err != nil {
		return Result{}, err
	}
	if opt.Every == 0 {
		opt.Every = DefaultEvery
	}
	f := newFarm(in)
	r := Result{Every: opt.Every, Strangers: f.strangers}
	r.Seasons, r.Skipped = f.choose(opt)
	left := ledger{}
	var jobs []*job
	for _, s := range r.Seasons {
		jobs = append(jobs, f.plan(f.year(s), opt, left)...)
	}
	r.Mornings = len(jobs)
	if err := runAll(ctx, in, f, jobs, opt.Progress); err != nil {
		return Result{}, err
	}
	for _, j := range jobs {
		r.Cases = append(r.Cases, j.cases...)
		for _, m := range j.missed {
			for _, g := range Groups() {
				if m.groups.has(g) {
					left.add(g, m.event(j.year), m.why, 1)
				}
			}
		}
	}
	slices.SortFunc(r.Cases, func(a, b Case) int {
		return cmp.Or(cmp.Compare(a.Season, b.Season), cmp.Compare(a.Planting, b.Planting), cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.AsOf, b.AsOf))
	})
	r.Excluded = left.list()
	r.Foreknown = foreknown(in, jobs)
	return r, nil
}

// choose returns the seasons to replay.
func (f *farm) choose(opt Options) (seasons []int, skipped []Skipped) {
	for i, s := range f.seasons {
		if s < opt.From || opt.To > 0 && s > opt.To {
			continue
		}
		switch n := f.earlier(s); {
		case n == 0 && opt.From == 0:
			skipped = append(skipped, Skipped{s, NothingEarlier})
		case n < opt.Learn:
			skipped = append(skipped, Skipped{s, TooFewEarlier})
		case opt.To == 0 && i == len(f.seasons)-1 && f.unfinished(s):
			skipped = append(skipped, Skipped{s, Unfinished})
		default:
			seasons = append(seasons, s)
		}
	}
	return seasons, skipped
}

// unfinished reports whether less than half of the plantings of which
// something was entered in season have a last pick.
func (f *farm) unfinished(season int) bool {
	all, over := 0, 0
	for k, e := range f.entered {
		if k.season == season {
			all++
			if e.seen[forecast.LastPick] {
				over++
			}
		}
	}
	return 2*over < all
}

// foreknown says what of in was settled after the first morning of jobs.
func foreknown(in forecast.Inputs, jobs []*job) (k Foreknown) {
	if len(jobs) == 0 {
		return k
	}
	first := jobs[0].asOf // Seasons and their mornings are in order.
	k.Method = in.Choice != nil && weather.DateIn(in.Choice.At.UTC()) > first
	for _, v := range in.Varieties {
		if v.Requirement != nil {
			k.Requirements = append(k.Requirements, v.ID)
		}
	}
	slices.Sort(k.Requirements)
	return k
}

// job is a morning.
type job struct {
	year   *year
	asOf   weather.Date
	wants  []want
	cases  []Case
	missed []missed
}

// missed is a want that made no case.
type missed struct {
	want
	why Reason
}

// plan returns the mornings of a season, in order, and enters into left what is
// known from the start to make no case.
func (f *farm) plan(y *year, opt Options, left ledger) []*job {
	from, to, bloomed := f.span(y.season)
	var grid []weather.Date
	if bloomed {
		for d := from - weather.Date(opt.BeforeBloom); d <= to; d += weather.Date(opt.Every) {
			grid = append(grid, d)
		}
	}
	jobs := map[weather.Date]*job{}
	for i, p := range f.plantings {
		e := f.entered[plantingSeason{i, y.season}]
		if e == nil && !p.Bears(y.season, from) {
			continue
		}
		for k := range ripe {
			ev := event{y.season, p.ID, stageOf(k)}
			if e == nil || !e.seen[ev.stage] {
				for _, g := range Groups() {
					n := 1
					if g == AllMornings {
						n = len(grid)
					}
					left.add(g, ev, NotEntered, n)
				}
				continue
			}
			ask := func(g Group, asOf weather.Date) {
				if why := e.askable(asOf, ev.stage, y.toFull, opt.BeforeBloom > 0); why != "" {
					left.add(g, ev, why, 1)
					return
				}
				if jobs[asOf] == nil {
					jobs[asOf] = &job{year: y, asOf: asOf}
				}
				jobs[asOf].ask(want{i, k, e.on[ev.stage], 1 << g})
			}
			for _, g := range Groups() {
				switch n := g.days(); {
				case n > 0:
					ask(g, e.on[ev.stage]-weather.Date(n))
				case g == AtBloom:
					if b, ok := e.bloomEntered(); ok {
						ask(g, b)
					} else {
						left.add(g, ev, NoBloom, 1)
					}
				default:
					for _, d := range grid {
						if d < e.on[ev.stage] {
							ask(g, d)
						}
					}
				}
			}
		}
	}
	return slices.SortedFunc(maps.Values(jobs), func(a, b *job) int { return cmp.Compare(a.asOf, b.asOf) })
}

// span returns the first day of bloom that was entered in season, and the last
// day of any ripe stage. Without bloom from is the first day of anything, and ok
// is false.
func (f *farm) span(season int) (from, to weather.Date, ok bool) {
	var any weather.Date
	some := false
	for k, e := range f.entered {
		if k.season != season {
			continue
		}
		if b, is := e.bloomEntered(); is && (!ok || b < from) {
			from, ok = b, true
		}
		for s, seen := range e.seen {
			if !seen {
				continue
			}
			if !some || e.on[s] < any {
				any, some = e.on[s], true
			}
			if forecast.Stage(s) >= forecast.FirstRipe {
				to = max(to, e.on[s])
			}
		}
	}
	if !ok {
		from = any
	}
	return from, to, ok
}

// askable says why the morning asOf cannot be asked for a stage that was
// entered.
func (e *entered) askable(asOf weather.Date, s forecast.Stage, toFull int, beforeBloom bool) Reason {
	if _, ok := e.bloomEntered(); !ok && !beforeBloom {
		return NoBloom
	}
	if e.on[s] <= asOf {
		return NotAfter
	}
	if _, ok := e.bloom(asOf, toFull); !ok && !beforeBloom {
		return BeforeBloom
	}
	return ""
}

// ask adds a want to the morning, or its groups to the same one.
func (j *job) ask(w want) {
	for i, x := range j.wants {
		if x.planting == w.planting && x.stage == w.stage {
			j.wants[i].groups |= w.groups
			return
		}
	}
	j.wants = append(j.wants, w)
}

// runAll runs the jobs on all cores.
func runAll(ctx context.Context, in forecast.Inputs, f *farm, jobs []*job, progress func(done, total int)) error {
	var (
		mu   sync.Mutex
		done int
		errs = make([]error, len(jobs)) // By job, so that the one returned does not depend on timing.
		next = make(chan int)
		wg   sync.WaitGroup
	)
	for range min(len(jobs), runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := range next {
				errs[i] = jobs[i].run(in, f)
				mu.Lock()
				done++
				if progress != nil {
					progress(done, len(jobs))
				}
				mu.Unlock()
			}
		})
	}
	var stopped error
	for i := range jobs {
		if stopped = ctx.Err(); stopped != nil {
			break
		}
		next <- i
	}
	close(next)
	wg.Wait()
	if stopped != nil {
		return stopped
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// run makes the morning's forecast and its cases.
func (j *job) run(in forecast.Inputs, f *farm) error {
	spreads, err := forecast.Spreads(in, j.asOf)
	if err != nil && !errors.Is(err, forecast.ErrTooFewYears) {
		return fmt.Errorf("forecast as of %s: %w", j.asOf, err)
	}
	why := NotForecast
	if err != nil {
		why = TooFewYears
	}
	for _, w := range j.wants {
		id := j.year.plantings[w.planting].ID
		i := slices.IndexFunc(spreads, func(s forecast.Spread) bool { return s.Planting == id })
		if i < 0 {
			j.missed = append(j.missed, missed{w, why})
			continue
		}
		c, err := j.year.newCase(w, j.asOf, f.entered[plantingSeason{w.planting, j.year.season}], spreads[i].Stages[w.stage])
		if err != nil {
			return fmt.Errorf("%s as of %s: %w", id, j.asOf, err)
		}
		j.cases = append(j.cases, c)
	}
	return nil
}
