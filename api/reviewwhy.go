package api

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"runtime"
	"slices"
	"strings"
	"sync"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/forecast/review"
	"ripetide/weather"
)

// ReviewSplit is a row of a review with an error, and where that came from.
type ReviewSplit struct {
	review.Row
	Split *review.Split  // Nil: Why says why not.
	Why   review.Unsplit // "" with a split.
}

// ReadSplits splits every error of a review, in the order of its rows. Each
// forecast that it takes is made again, on all cores.
func ReadSplits(ctx context.Context, f *forecast.Service, store FrozenStore, r *Review) ([]ReviewSplit, error) {
	all, err := store.Forecasts(ctx, r.Inputs.Farm.ID, &r.Season.Year)
	if err != nil {
		return nil, err
	}
	var todo []forecast.Frozen
	for _, row := range r.Season.Rows {
		if days, ok := row.Error(); !ok || days == 0 || slices.ContainsFunc(todo, func(z forecast.Frozen) bool { return z.ID == row.Said.Forecast }) {
			continue
		}
		if i := slices.IndexFunc(all, func(z forecast.Frozen) bool { return z.ID == row.Said.Forecast }); i >= 0 {
			todo = append(todo, all[i])
		}
	}
	found := make([]*forecast.Hindsight, len(todo))
	errs := make([]error, len(todo))
	next := make(chan int)
	var wg sync.WaitGroup
	for range min(len(todo), runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := range next {
				h, err := f.Hindsight(ctx, todo[i], r.Inputs)
				if found[i], errs[i] = &h, err; err != nil {
					found[i] = nil
				}
			}
		})
	}
	for i := range todo {
		next <- i
	}
	close(next)
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	var out []ReviewSplit
	for _, row := range r.Season.Rows {
		days, ok := row.Error()
		if !ok {
			continue
		}
		x := ReviewSplit{Row: row}
		i := slices.IndexFunc(todo, func(z forecast.Frozen) bool { return z.ID == row.Said.Forecast })
		switch {
		case days == 0:
			x.Why = review.NoError
		case i < 0:
			x.Why = review.NotAgain
		case errs[i] != nil && !errors.Is(errs[i], forecast.ErrTooFewYears):
			return nil, errs[i]
		default:
			var s review.Split
			if s, x.Why = row.Split(found[i]); x.Why == "" {
				x.Split = &s
			}
		}
		out = append(out, x)
	}
	return out, nil
}

// ReviewWhyOut is where the errors of a season came from.
type ReviewWhyOut struct {
	Farm   string           `json:"farm"`
	Season int              `json:"season"`
	Rows   []ReviewSplitOut `json:"rows" doc:"Every error of the review, in its order."`
	Misses []ReviewMissOut  `json:"misses" doc:"The three largest in words, each stage of a planting once."`
}

// ReviewSplitOut is where an error came from.
type ReviewSplitOut struct {
	Planting  string          `json:"planting"`
	Stage     string          `json:"stage" enum:"first_ripe,peak,last_pick"`
	Lead      string          `json:"lead" enum:"at bloom,21 days before,14 days before,7 days before,3 days before"`
	ErrorDays int             `json:"error_days" doc:"Median of the forecast minus what came; positive is late."`
	Parts     *ReviewPartsOut `json:"parts" doc:"They add up to error_days. Null: why says why."`
	Why       string          `json:"why"`
}

// ReviewPartsOut are the parts of an error, whole days.
type ReviewPartsOut struct {
	Bloom       int `json:"bloom" doc:"The bloom entry was corrected since, or came late."`
	Weather     int `json:"weather" doc:"The weather that came was unlike what was to be expected, or was corrected."`
	Requirement int `json:"requirement" doc:"What is left: it took another heat."`
}

// ReviewMissOut is a large error in words.
type ReviewMissOut struct {
	Planting  string          `json:"planting"`
	Stage     string          `json:"stage" enum:"first_ripe,peak,last_pick"`
	Lead      string          `json:"lead"`
	ErrorDays int             `json:"error_days"`
	Parts     *ReviewPartsOut `json:"parts" doc:"As of its row."`
	Text      []string        `json:"text" doc:"Sentences, in the farm's units."`
}

func (s *Server) reviewWhyRoutes() {
	add(s, Reader, long(huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/reviews/{year}/why", OperationID: "review-why", Tags: []string{"Forecast"},
		Summary: "Where the errors of a season came from",
		Description: "Each forecast is made again from what was known to it, then with the bloom as it is known now, then with the weather that came as well. " +
			"What each changes is its part of the error; what is left is the requirement's. This takes a few seconds.",
	}), func(ctx context.Context, in *SeasonPath) (*got[ReviewWhyOut], error) {
		r, err := ReadReview(ctx, s.forecast, s.store, in.Farm, in.Year)
		if err != nil {
			return nil, err
		}
		splits, err := ReadSplits(ctx, s.forecast, s.store, r)
		if err != nil {
			return nil, err
		}
		return &got[ReviewWhyOut]{newReviewWhyOut(r, splits)}, nil
	})
}

func newReviewWhyOut(r *Review, splits []ReviewSplit) ReviewWhyOut {
	out := ReviewWhyOut{Farm: r.Inputs.Farm.ID, Season: r.Season.Year, Rows: []ReviewSplitOut{}, Misses: []ReviewMissOut{}}
	for _, x := range splits {
		days, _ := x.Error()
		o := ReviewSplitOut{Planting: x.Planting, Stage: x.Stage.String(), Lead: x.Lead.String(), ErrorDays: days, Why: string(x.Why)}
		o.Parts = newReviewParts(x.Split)
		out.Rows = append(out.Rows, o)
	}
	for _, m := range NewReviewTelling(r).Misses(splits) {
		out.Misses = append(out.Misses, ReviewMissOut{m.Planting, m.Stage, m.Lead, m.Days, newReviewParts(m.Split), m.Text})
	}
	return out
}

func newReviewParts(s *review.Split) *ReviewPartsOut {
	if s == nil {
		return nil
	}
	return &ReviewPartsOut{s.Bloom, s.Weather, s.Requirement}
}

// ToldMiss is a large error in sentences.
type ToldMiss struct {
	Planting, Stage, Lead string
	Days                  int           // The error.
	Split                 *review.Split // Nil: Text says why.
	Text                  []string
}

// mostMisses is how many large errors are told.
const mostMisses = 3

// Misses tells the largest errors: what was missed, where that came from, and
// what to make of it.
func (t ReviewTelling) Misses(splits []ReviewSplit) (out []ToldMiss) {
	for _, row := range review.Misses(t.Season.Rows, mostMisses) {
		m := ToldMiss{Planting: row.Planting, Stage: row.Stage.String(), Lead: row.Lead.String()}
		days, _ := row.Error()
		m.Days = days
		m.Text = append(m.Text, fmt.Sprintf("%s %s of %s was forecast for %s and came on %s: %s.",
			capital(whenSaid(row.Lead)), stagePhrase(row.Stage.String()), t.names[row.Planting], t.farm.Day(row.Said.P50), t.farm.Day(row.Date), tooMuch(days)))
		i := slices.IndexFunc(splits, func(x ReviewSplit) bool {
			return x.Planting == row.Planting && x.Stage == row.Stage && x.Lead == row.Lead
		})
		if i < 0 || splits[i].Split == nil {
			why := review.NotAgain
			if i >= 0 {
				why = splits[i].Why
			}
			m.Text = append(m.Text, fmt.Sprintf("Where that came from cannot be said: %s.", why))
		} else {
			m.Split = splits[i].Split
			m.Text = append(m.Text, t.parts(row, *m.Split)...)
		}
		out = append(out, m)
	}
	return out
}

// whenSaid says a lead at the beginning of a sentence.
func whenSaid(l review.Lead) string {
	if days, ok := l.Days(); ok {
		return fmt.Sprintf("%d days before it came,", days)
	}
	return l.String() + ","
}

// tooMuch says an error that is none of nought.
func tooMuch(days int) string {
	if days < 0 {
		return countOf(-days, "day", "days") + " too early"
	}
	return countOf(days, "day", "days") + " too late"
}

// parts tells where an error came from and what to make of it.
func (t ReviewTelling) parts(row review.Row, s review.Split) (out []string) {
	part := func(days int) string {
		if days == 0 {
			return "nothing"
		}
		return tooMuch(days)
	}
	text := "The weather made it " + part(s.Weather)
	if s.Weather == 0 {
		text = "The weather had no part in it"
	}
	if c, ok := t.departure(row.Planting, row.Said.AsOf, row.Date); ok {
		word := "warmer"
		if c < 0 {
			word = "cooler"
		}
		text += fmt.Sprintf(": from %s it was %s %s than in other years", t.farm.Span(row.Said.AsOf, row.Date), strings.TrimLeft(t.farm.Difference(math.Abs(c)), "+"), word)
	}
	out = append(out, text+".")
	switch {
	case s.Requirement < 0:
		out = append(out, fmt.Sprintf("Its own requirement made it %s: it took more heat than your records said.", part(s.Requirement)))
	case s.Requirement > 0:
		out = append(out, fmt.Sprintf("Its own requirement made it %s: it took less heat than your records said.", part(s.Requirement)))
	}
	if s.Bloom == 0 {
		out = append(out, "What was entered of bloom had no part in it.")
	} else {
		out = append(out, fmt.Sprintf("The bloom that was entered then made it %s; it was corrected since, or entered late.", part(s.Bloom)))
	}
	size := func(x int) int { return max(x, -x) }
	switch w, b, q := size(s.Weather), size(s.Bloom), size(s.Requirement); {
	case w >= b+q:
		out = append(out, "Nobody could know that weather: change nothing for it.")
	case b >= q:
		out = append(out, "A bloom that is a day off makes every date a day off: look again before you enter it.")
	default:
		way := "high"
		if s.Requirement < 0 {
			way = "low"
		}
		out = append(out, "One season proves nothing; if others say the same, its requirement is too "+way+".")
	}
	return out
}

// departure returns how much warmer than in other years the days from from through
// to were at the station of a planting, °C.
func (t ReviewTelling) departure(planting string, from, to weather.Date) (float64, bool) {
	i := slices.IndexFunc(t.Inputs.Plantings, func(p forecast.Planting) bool { return p.ID == planting })
	if i < 0 {
		return 0, false
	}
	ds := t.departures(t.Inputs.Plantings[i].Station, from, to)
	return forecast.MeanDeparture(ds, from, to)
}

// departures returns how warm days of a station were, doubtful ones left out.
func (t ReviewTelling) departures(station string, from, to weather.Date) []forecast.Departure {
	i := slices.IndexFunc(t.Inputs.Records, func(r forecast.Record) bool { return r.Station.ID == station })
	if i < 0 {
		return nil
	}
	r := t.Inputs.Records[i]
	_, last, ok := r.Days.Span()
	if !ok {
		return nil
	}
	return forecast.Departures(r.Sift(last).Days, from, to) // Years after the season are others too.
}
