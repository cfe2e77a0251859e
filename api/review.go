package api

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/review"
	"ripetide/forecast/scoring"
	"ripetide/weather"
)

// Review is a season looked back at, beside all seasons up to it.
type Review struct {
	Inputs forecast.Inputs // As they are known now.
	Season review.Season
	Scores []review.Score
	Judged int // 1, or 0 when nothing that was said of it can be held against what came.
	// Together is of all seasons up to it of which forecasts were frozen on their
	// mornings.
	Together Together
}

// Together is several seasons looked back at.
type Together struct {
	Seasons []int // Rising.
	Windows []review.Window
	Scores  []review.Score
	Judged  int // How many of them have something said that can be held against what came.
}

// ReadReview looks back at a season of a farm. Errors: [forecast.ErrFarmNotFound].
func ReadReview(ctx context.Context, f *forecast.Service, store FrozenStore, farm string, year int) (*Review, error) {
	in, err := f.Known(ctx, farm)
	if err != nil {
		return nil, err
	}
	all, err := store.Forecasts(ctx, farm, nil)
	if err != nil {
		return nil, err
	}
	r := &Review{Inputs: in}
	for _, z := range all {
		if !z.Hindcast && z.Season <= year && !slices.Contains(r.Together.Seasons, z.Season) {
			r.Together.Seasons = append(r.Together.Seasons, z.Season)
		}
	}
	slices.Sort(r.Together.Seasons)
	var rows []review.Row
	for _, season := range r.Together.Seasons {
		issued, err := store.IssuedOfAll(ctx, farm, season)
		if err != nil {
			return nil, err
		}
		if season == year {
			r.Season = review.NewSeason(in, year, issued)
			rows = append(rows, r.Season.Rows...)
			r.Together.Windows = append(r.Together.Windows, r.Season.Windows...)
			continue
		}
		more, ws := review.Beside(in, season, issued)
		rows, r.Together.Windows = append(rows, more...), append(r.Together.Windows, ws...)
	}
	if r.Season.Year == 0 { // Nothing was frozen; what came is told all the same.
		r.Season = review.NewSeason(in, year, nil)
	}
	r.Judged, r.Together.Judged = judged(r.Season.Rows), judged(rows)
	if r.Scores, err = review.Scores(in, r.Season.Rows); err != nil {
		return nil, fmt.Errorf("score season %d: %w", year, err)
	}
	if r.Together.Scores, err = review.Scores(in, rows); err != nil {
		return nil, fmt.Errorf("score seasons up to %d: %w", year, err)
	}
	return r, nil
}

// judged is of how many seasons what was said can be held against what came.
func judged(rows []review.Row) int {
	seasons := map[int]bool{}
	for _, r := range rows {
		if _, ok := r.Error(); ok {
			seasons[r.Season] = true
		}
	}
	return len(seasons)
}

// ReviewOut is what was said of a season beside what came.
type ReviewOut struct {
	Farm    string `json:"farm"`
	Season  int    `json:"season"`
	Caution string `json:"caution" doc:"How much the figures can bear, in words."`
	ReviewFiguresOut
	Rows     []ReviewRowOut    `json:"rows" doc:"By planting, stage and lead; of every stage that is on record as it came."`
	Windows  []ReviewWindowOut `json:"windows" doc:"By planting and lead before its first ripe fruit; of every planting whose first ripe fruit and last pick are known to the day."`
	Gaps     ReviewGapsOut     `json:"gaps"`
	Opening  ReviewOpeningOut  `json:"opening"`
	Together ReviewTogetherOut `json:"together" doc:"All seasons up to this one of which forecasts were frozen on their mornings."`
}

// ReviewFiguresOut is how good forecasts were.
type ReviewFiguresOut struct {
	Scores       []ReviewScoreOut       `json:"scores" doc:"By stage, all stages first, and lead; then by ripening class and lead."`
	WindowTotals []ReviewWindowTotalOut `json:"window_totals" doc:"Of the length of picking windows, by lead."`
}

// ReviewTogetherOut is how good the forecasts of several seasons were.
type ReviewTogetherOut struct {
	Seasons []int  `json:"seasons"`
	Caution string `json:"caution"`
	ReviewFiguresOut
}

// ReviewRowOut is what was said of a stage at a lead.
type ReviewRowOut struct {
	ActualOut
	Lead      string         `json:"lead" enum:"at bloom,21 days before,14 days before,7 days before,3 days before"`
	Said      *ReviewSaidOut `json:"said" doc:"Null: nothing was said; why says why."`
	Why       string         `json:"why" doc:"Why nothing was said, in words."`
	ErrorDays *int           `json:"error_days" doc:"Median of the forecast minus what came; positive is late. Null when nothing was said, or when the date is only a bound."`
	Inside    *bool          `json:"inside" doc:"Whether it came within the range, both ends included; null as error_days."`
}

// ReviewSaidOut is what a frozen forecast said.
type ReviewSaidOut struct {
	Forecast string       `json:"forecast"`
	AsOf     weather.Date `json:"as_of"`
	P10      weather.Date `json:"p10"`
	P50      weather.Date `json:"p50"`
	P90      weather.Date `json:"p90"`
}

// ReviewScoreOut is how good the forecasts of a slice were.
type ReviewScoreOut struct {
	Stage        string              `json:"stage" enum:"all stages,first_ripe,peak,last_pick"`
	Ripens       *string             `json:"ripens" doc:"The ripening class; null: all of them."`
	Lead         string              `json:"lead" enum:"at bloom,21 days before,14 days before,7 days before,3 days before"`
	N            int                 `json:"n" doc:"Forecasts that can be held against what came."`
	Seasons      int                 `json:"seasons" doc:"Different seasons among them. Plantings of one season share one weather: it is these that count."`
	LeftOut      int                 `json:"left_out" doc:"Nothing was said, or the date is only a bound."`
	BiasDays     *float64            `json:"bias_days" doc:"Mean error; positive is late. This and what follows is null when n is 0."`
	MAEDays      *float64            `json:"mae_days" doc:"Mean absolute error."`
	MAERange     *ReviewRangeOut     `json:"mae_range" doc:"What holds 8 in 10 when the seasons are drawn anew; null with fewer than two."`
	PinballDays  *float64            `json:"pinball_days" doc:"Mean pinball loss of p10, p50 and p90."`
	Inside       int                 `json:"inside" doc:"Of n, how many came within the range, both ends included."`
	InsideHonest *ReviewHitsOut      `json:"inside_honest" doc:"How many agree with honest ranges, if each forecast were a try of its own."`
	Against      []ReviewBaselineOut `json:"against" doc:"Simpler forecasts of the same events on the same mornings."`
}

// ReviewRangeOut is a range of a figure in days.
type ReviewRangeOut struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// ReviewHitsOut is a range of counts, both included.
type ReviewHitsOut struct {
	Low  int `json:"low"`
	High int `json:"high"`
}

// ReviewBaselineOut is a simpler way to forecast the same events.
type ReviewBaselineOut struct {
	Name         string          `json:"name" enum:"mean date,bloom + 30 days,own mean days,usual heat,mean temperature" doc:"mean date: of the variety in the seasons before. bloom + 30 days: 34 to the peak, 39 to the last pick. own mean days: from bloom, in the seasons before. usual heat: the variety's mean requirement in the usual weather. mean temperature: a straight line of days on the mean temperature after bloom."`
	N            int             `json:"n" doc:"For how many of the events it is defined."`
	MAEDays      *float64        `json:"mae_days" doc:"Its mean absolute error on these; null when n is 0."`
	OursDays     *float64        `json:"ours_days" doc:"That of the frozen forecasts on the same events."`
	Skill        *float64        `json:"skill" doc:"1 - ours / its own: 1 is perfect, 0 no better, below 0 worse; null when it is not defined."`
	SkillRange   *ReviewRangeOut `json:"skill_range" doc:"What holds 9 in 10 when the seasons are drawn anew; null with fewer than two."`
	PinballSkill *float64        `json:"pinball_skill" doc:"The same by the pinball loss of three quantiles, the baseline with a range of its own."`
}

// ReviewWindowOut is how long a planting could be picked, beside what was said.
type ReviewWindowOut struct {
	Planting  string              `json:"planting"`
	Lead      string              `json:"lead" enum:"at bloom,21 days before,14 days before,7 days before,3 days before"`
	Days      int                 `json:"days" doc:"First ripe to last pick, both included."`
	Said      *forecast.DayCounts `json:"said"`
	Forecast  *string             `json:"forecast"`
	Why       string              `json:"why" doc:"Why nothing was said."`
	ErrorDays *int                `json:"error_days" doc:"Median said minus what came; positive is too long."`
	Inside    *bool               `json:"inside"`
}

// ReviewWindowTotalOut is how good the lengths said at a lead were.
type ReviewWindowTotalOut struct {
	Lead     string   `json:"lead" enum:"at bloom,21 days before,14 days before,7 days before,3 days before"`
	N        int      `json:"n"`
	Seasons  int      `json:"seasons"`
	LeftOut  int      `json:"left_out"`
	BiasDays *float64 `json:"bias_days" doc:"Positive is too long; null when n is 0."`
	MAEDays  *float64 `json:"mae_days"`
	Inside   int      `json:"inside"`
}

// ReviewGapsOut is the days on which nothing was ripe, beside what was said.
type ReviewGapsOut struct {
	From        *weather.Date       `json:"from" doc:"First ripe fruit on record; null: none."`
	To          *weather.Date       `json:"to" doc:"Last pick on record."`
	UnknownDays int                 `json:"unknown_days" doc:"Days between of which the record does not tell whether something was ripe."`
	Came        []ReviewGapOut      `json:"came"`
	Said        []ReviewGapTotalOut `json:"said" doc:"How gap days were foreseen, by lead."`
}

// ReviewGapOut is a run of days on which nothing was ripe.
type ReviewGapOut struct {
	From    weather.Date         `json:"from"`
	To      weather.Date         `json:"to"`
	Chances []ReviewGapChanceOut `json:"chances" doc:"By lead before its first day."`
}

// ReviewGapChanceOut is the chance that was given.
type ReviewGapChanceOut struct {
	Lead   string   `json:"lead" enum:"21 days before,14 days before,7 days before,3 days before"`
	Chance *float64 `json:"chance" doc:"The highest given to one of its days; null: nothing was said."`
}

// ReviewGapTotalOut is how gap days were foreseen at a lead.
type ReviewGapTotalOut struct {
	Lead     string   `json:"lead" enum:"21 days before,14 days before,7 days before,3 days before"`
	Days     int      `json:"days" doc:"Days of which it is known and something was said."`
	Came     int      `json:"came" doc:"Of these, gap days."`
	Foreseen int      `json:"foreseen" doc:"Of the gap days, those within a gap that the forecast reported."`
	False    int      `json:"false" doc:"Days within a reported gap on which something was ripe."`
	Brier    *float64 `json:"brier" doc:"Mean squared error of the probabilities; null when days is 0."`
}

// ReviewOpeningOut is when the farm could have opened, what was advised and what
// it told.
type ReviewOpeningOut struct {
	Possible  *weather.Date      `json:"possible" doc:"First day, of the weekdays on which the farm opens, with enough ripe by all that is known now."`
	Why       string             `json:"why" doc:"Why there is none."`
	Announced []ReviewDecidedOut `json:"announced" doc:"Every version of the decision, the last one counts."`
	Advised   []ReviewAdvisedOut `json:"advised" doc:"By lead before the day announced or, if none was, the possible one."`
	PastShare *float64           `json:"past_share" doc:"Share of the crop that ripened and spoiled from the possible to the announced day."`
}

// ReviewDecidedOut is a version of a decision.
type ReviewDecidedOut struct {
	Day *weather.Date `json:"day" doc:"Null: taken back."`
	At  time.Time     `json:"at"`
	By  string        `json:"by"`
}

// ReviewAdvisedOut is what a forecast advised.
type ReviewAdvisedOut struct {
	Lead     string        `json:"lead" enum:"21 days before,14 days before,7 days before,3 days before"`
	Forecast *string       `json:"forecast" doc:"Null: none was made on its morning."`
	Day      *weather.Date `json:"day" doc:"Null: none could be advised."`
}

// reviewCaution says what the figures of so many seasons can bear.
func reviewCaution(seasons int) string {
	switch {
	case seasons == 0:
		return "No forecast of it was frozen on its morning, so there is nothing to hold against what came."
	case seasons == 1:
		return "All plantings of a season share its weather: this is one season and not as many tries as there are plantings. Decide nothing by it alone."
	case seasons < scoring.MinSeasons:
		return fmt.Sprintf("All plantings of a season share its weather: these are %d seasons, not as many tries as there are dates. With fewer than %d, differences like these can be chance.", seasons, scoring.MinSeasons)
	}
	return fmt.Sprintf("%d seasons are enough to judge by. The plantings of a season share its weather: it is the seasons that count.", seasons)
}

// ReviewPath names a season and the form of its review. The router cannot part
// what stands between two slashes, so the ending is part of the parameter.
type ReviewPath struct {
	FarmPath
	Year string `path:"year" pattern:"^[0-9]{4}([.]csv)?$" doc:"Harvest year; with the ending .csv the rows as CSV."`
}

// season returns the season and whether its rows are wanted as CSV.
func (p ReviewPath) season() (year int, csv bool) {
	digits, csv := strings.CutSuffix(p.Year, ".csv")
	year, _ = strconv.Atoi(digits) // Four digits, by the pattern.
	return year, csv
}

func (s *Server) reviewRoutes() {
	const what = "What was said of a season beside what came"
	add(s, Reader, long(huma.Operation{
		Method: http.MethodGet, Path: "/v1/farms/{farm}/reviews/{year}", OperationID: "review", Tags: []string{"Forecast"},
		Summary: what,
		Description: "Only forecasts that were frozen on their morning count: neither hindcasts nor late ones do. " +
			"A lead in days takes the forecast of that morning or, if there was none, the latest of the three mornings before it; " +
			"at bloom it is the first forecast from the day on which bloom was seen, three days later at most.",
		Responses: map[string]*huma.Response{"200": {Description: what, Content: map[string]*huma.MediaType{
			jsonType: {Schema: schemaOf[ReviewOut](s)}, "text/csv": {Schema: &huma.Schema{Type: huma.TypeString}},
		}}},
	}), func(ctx context.Context, in *ReviewPath) (*frozenBody, error) {
		year, csv := in.season()
		r, err := ReadReview(ctx, s.forecast, s.store, in.Farm, year)
		if err != nil {
			return nil, err
		}
		var buf bytes.Buffer
		if csv {
			err := review.WriteCSV(&buf, r.Season.Rows)
			return &frozenBody{Status: http.StatusOK, ContentType: "text/csv; charset=utf-8", Body: buf.Bytes()}, err
		}
		err = s.huma.Marshal(&buf, jsonType, newReviewOut(in.Farm, r))
		return &frozenBody{Status: http.StatusOK, ContentType: jsonType, Body: buf.Bytes()}, err
	})
}

func newReviewOut(farm string, r *Review) ReviewOut {
	out := ReviewOut{
		Farm: farm, Season: r.Season.Year, Caution: reviewCaution(r.Judged),
		ReviewFiguresOut: newReviewFigures(r.Scores, r.Season.Windows),
		Rows:             []ReviewRowOut{}, Windows: []ReviewWindowOut{}, Gaps: newReviewGaps(r.Season.Gaps), Opening: newReviewOpening(r.Season.Opening),
		Together: ReviewTogetherOut{
			Seasons: list(r.Together.Seasons), Caution: reviewCaution(r.Together.Judged),
			ReviewFiguresOut: newReviewFigures(r.Together.Scores, r.Together.Windows),
		},
	}
	for _, r := range r.Season.Rows {
		o := ReviewRowOut{
			ActualOut: ActualOut{r.Planting, r.Stage.String(), r.Date, string(r.From), string(r.Bound)},
			Lead:      r.Lead.String(), Why: string(r.Why),
		}
		if r.Said != nil {
			o.Said = &ReviewSaidOut{r.Said.Forecast, r.Said.AsOf, r.Said.P10, r.Said.P50, r.Said.P90}
		}
		if days, ok := r.Error(); ok {
			inside, _ := r.Inside()
			o.ErrorDays, o.Inside = &days, &inside
		}
		out.Rows = append(out.Rows, o)
	}
	for _, w := range r.Season.Windows {
		o := ReviewWindowOut{Planting: w.Planting, Lead: w.Lead.String(), Days: w.Days, Said: w.Said, Forecast: some(w.Forecast), Why: string(w.Why)}
		if days, ok := w.Error(); ok {
			o.ErrorDays, o.Inside = &days, new(w.Inside())
		}
		out.Windows = append(out.Windows, o)
	}
	return out
}

// list returns xs, never nil.
func list[T any](xs []T) []T {
	if xs == nil {
		return []T{}
	}
	return xs
}

func newReviewFigures(scores []review.Score, ws []review.Window) ReviewFiguresOut {
	out := ReviewFiguresOut{Scores: []ReviewScoreOut{}, WindowTotals: []ReviewWindowTotalOut{}}
	for _, s := range scores {
		o := ReviewScoreOut{Stage: stageOrAll(s.Stage), Lead: s.Lead.String(), N: s.N, Seasons: s.Seasons, LeftOut: s.LeftOut, Inside: s.Inside, Against: []ReviewBaselineOut{}}
		if s.Ripens != nil {
			o.Ripens = new(s.Ripens.String())
		}
		if s.N > 0 {
			o.BiasDays, o.MAEDays, o.PinballDays = &s.Bias, &s.MAE, &s.Pinball
			o.InsideHonest = &ReviewHitsOut{s.InsideLo, s.InsideHi}
		}
		if s.MAERange.OK {
			o.MAERange = &ReviewRangeOut{s.MAERange.Lo, s.MAERange.Hi}
		}
		for _, a := range s.Against {
			b := ReviewBaselineOut{Name: a.Baseline.String(), N: a.N}
			if a.N > 0 {
				b.MAEDays, b.OursDays = &a.MAE, &a.Ours
			}
			if a.Skill.OK {
				b.Skill = &a.Skill.Value
			}
			if a.Skill.RangeOK {
				b.SkillRange = &ReviewRangeOut{a.Skill.Lo, a.Skill.Hi}
			}
			if a.Pinball.OK {
				b.PinballSkill = &a.Pinball.Value
			}
			o.Against = append(o.Against, b)
		}
		out.Scores = append(out.Scores, o)
	}
	for _, t := range review.WindowTotals(ws) {
		o := ReviewWindowTotalOut{Lead: t.Lead.String(), N: t.N, Seasons: t.Seasons, LeftOut: t.LeftOut, Inside: t.Inside}
		if t.N > 0 {
			o.BiasDays, o.MAEDays = &t.Bias, &t.MAE
		}
		out.WindowTotals = append(out.WindowTotals, o)
	}
	return out
}

// stageOrAll is a stage's name in interfaces; of all together in words.
func stageOrAll(s forecast.Stage) string {
	if s == hindcast.AllStages {
		return hindcast.StageName(s)
	}
	return s.String()
}

func newReviewGaps(g review.Gaps) ReviewGapsOut {
	out := ReviewGapsOut{From: g.First, To: g.Last, UnknownDays: g.Unknown, Came: []ReviewGapOut{}, Said: []ReviewGapTotalOut{}}
	for _, c := range g.Came {
		o := ReviewGapOut{From: c.From, To: c.To, Chances: []ReviewGapChanceOut{}}
		for i, l := range review.GapLeads() {
			o.Chances = append(o.Chances, ReviewGapChanceOut{l.String(), c.Chances[i]})
		}
		out.Came = append(out.Came, o)
	}
	for _, t := range g.Said {
		o := ReviewGapTotalOut{Lead: t.Lead.String(), Days: t.Days, Came: t.Came, Foreseen: t.Foreseen, False: t.False}
		if t.Days > 0 {
			o.Brier = &t.Brier
		}
		out.Said = append(out.Said, o)
	}
	return out
}

func newReviewOpening(o review.Opening) ReviewOpeningOut {
	out := ReviewOpeningOut{Possible: o.Possible, Why: o.Why, Announced: []ReviewDecidedOut{}, Advised: []ReviewAdvisedOut{}, PastShare: o.Past}
	for _, d := range o.Announced {
		out.Announced = append(out.Announced, ReviewDecidedOut{d.Day, d.DecidedAt, d.DecidedBy})
	}
	for _, a := range o.Advised {
		out.Advised = append(out.Advised, ReviewAdvisedOut{a.Lead.String(), some(a.Forecast), a.Day})
	}
	return out
}
