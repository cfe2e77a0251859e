package pages

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"ripetide/api"
	"ripetide/forecast"
	"ripetide/forecast/hindcast"
	"ripetide/forecast/review"
)

// addReview adds the page that looks back at a season, and its pictures.
func (p *Pages) addReview() {
	p.get("/f/:farm/review/:year", p.review)
	for name, chart := range reviewCharts {
		p.get("/f/:farm/review/:year/"+name+".svg", func(v *visit) error {
			key, err := p.reviewKey(v)
			if err != nil {
				return err
			}
			r, err := p.readReview(v.Request().Context(), key)
			if err != nil {
				return err
			}
			c, err := chart(v.Request().Context(), p, api.NewReviewTelling(r))
			if err != nil {
				return err
			}
			return p.answerChart(v, c)
		})
	}
}

// reviewChart is a chart of a review; Validate says what keeps it from being
// drawn.
type reviewChart interface {
	drawable
	Title() string
	Description() string
	Validate() error
}

// reviewCharts are the pictures of a review, by the name in their address.
var reviewCharts = map[string]func(context.Context, *Pages, api.ReviewTelling) (reviewChart, error){
	"error": func(_ context.Context, _ *Pages, t api.ReviewTelling) (reviewChart, error) {
		return t.ErrorChart(), nil
	},
	"season": func(_ context.Context, _ *Pages, t api.ReviewTelling) (reviewChart, error) {
		return t.OutcomeChart(), nil
	},
	"weather": func(_ context.Context, _ *Pages, t api.ReviewTelling) (reviewChart, error) {
		return t.DepartureChart(), nil
	},
	"pickings": func(ctx context.Context, p *Pages, t api.ReviewTelling) (reviewChart, error) {
		id := t.PickingsForecast()
		if id == "" {
			return t.PickingsChart(nil), nil
		}
		z, err := p.Store.Forecast(ctx, t.Inputs.Farm.ID, id)
		if err != nil {
			return nil, err
		}
		f, err := p.Forecast.Decode(ctx, z)
		return t.PickingsChart(f), err
	},
}

// reviewPicture is a chart on the page.
type reviewPicture struct {
	*picture
	Name  string
	Words string
}

// pictured returns the pictures of a review that can be drawn, by name.
func (p *Pages) pictured(ctx context.Context, farm *forecast.Farm, t api.ReviewTelling) (map[string]*reviewPicture, error) {
	out := map[string]*reviewPicture{}
	for name, chart := range reviewCharts {
		c, err := chart(ctx, p, t)
		switch {
		case err != nil:
			return nil, err
		case c.Validate() != nil: // There is nothing in it.
			continue
		}
		out[name] = &reviewPicture{newPicture(reviewAddress(farm, t.Season.Year)+"/"+name+".svg", nil, c.Title()), name, c.Description()}
	}
	return out, nil
}

// reviewKey names all that a review rests on.
type reviewKey struct {
	farm  string
	year  int
	state string
}

// reviewsKept is how many reviews are kept: one, for a page and its pictures, of
// several farms.
const reviewsKept = 16

// reviewKey names the season that the address asks for, as it is on record.
func (p *Pages) reviewKey(v *visit) (reviewKey, error) {
	year, err := seasonOf(v)
	if err != nil {
		return reviewKey{}, err
	}
	state, err := p.States.FarmState(v.Request().Context(), v.farm.ID)
	return reviewKey{v.farm.ID, year, state}, err
}

// readReview looks back at a season. It is shared: it must not be changed.
func (p *Pages) readReview(ctx context.Context, key reviewKey) (*api.Review, error) {
	return p.kept.reviews.Get(ctx, key, func(ctx context.Context) (*api.Review, bool, error) {
		var r *api.Review
		err := p.API.Placed(ctx, func() (err error) {
			r, err = api.ReadReview(ctx, p.Forecast, p.Store, key.farm, key.year)
			return err
		})
		return r, true, err
	})
}

// readSplits tells where the errors of a season came from. It is shared too.
func (p *Pages) readSplits(ctx context.Context, key reviewKey, r *api.Review) ([]api.ReviewSplit, error) {
	return p.kept.splits.Get(ctx, key, func(ctx context.Context) ([]api.ReviewSplit, bool, error) {
		var splits []api.ReviewSplit
		err := p.API.Placed(ctx, func() (err error) {
			splits, err = api.ReadSplits(ctx, p.Forecast, p.Store, r)
			return err
		})
		return splits, true, err
	})
}

// reviewPage is a season looked back at. All of it is decided here; the template
// only sets it out.
type reviewPage struct {
	Year      int
	Season    string     // Address of its forecasts.
	CSV       string     // Address of its rows.
	Years     []pageLink // Seasons with forecasts, the newest first.
	Running   string     // That it is not over; "" when it is.
	None      string     // Why there is nothing to look back at; "" when there is.
	Caution   string
	Charts    map[string]*reviewPicture // By name.
	First     []reviewRow               // What was said of first ripe fruit, and what else is on record.
	Leads     []string
	Others    []reviewStage  // Peak and last pick.
	Misses    []api.ToldMiss // The largest, with where they came from.
	Gaps      []string
	Foreseen  []api.ToldForeseen
	Opening   []string
	Scores    []reviewScores
	Baselines []string // Their names.
	Windows   []reviewWindows
}

// reviewRow is a planting.
type reviewRow struct {
	api.ToldSeasoned
	Href string
	Said []api.ToldSaid // Of first ripe fruit, a cell for each lead; empty without a date.
	How  string
}

// reviewStage is what was said of another stage.
type reviewStage struct {
	Name string
	Rows []api.ToldOutcome
}

// reviewScores is a table of scores.
type reviewScores struct {
	Caption string
	Caution string
	Rows    []api.ToldScore
	Fold    bool // It is shown on demand.
}

// reviewWindows is a table of how good the lengths of picking windows were.
type reviewWindows struct {
	Caption string
	Rows    []api.ToldWindow
}

// reviewAddress is where a season is looked back at.
func reviewAddress(farm *forecast.Farm, year int) string {
	return fmt.Sprintf("/f/%s/review/%d", farm.ID, year)
}

// review looks back at a season.
func (p *Pages) review(v *visit) error {
	key, err := p.reviewKey(v)
	if err != nil {
		return err
	}
	ctx, year := v.Request().Context(), key.year
	r, err := p.readReview(ctx, key)
	if err != nil {
		return err
	}
	splits, err := p.readSplits(ctx, key, r)
	if err != nil {
		return err
	}
	all, err := p.Store.Forecasts(ctx, v.farm.ID, nil)
	if err != nil {
		return err
	}
	today, err := p.today(v)
	if err != nil {
		return err
	}
	page := newReviewPage(&v.farm, r, forecast.SeasonOf(today, v.farm.Southern()))
	page.Years = seasonYears(&v.farm, slices.DeleteFunc(slices.Clone(all), func(z forecast.Frozen) bool { return z.Hindcast }), year)
	for i := range page.Years {
		y, err := strconv.Atoi(page.Years[i].Text)
		if err == nil {
			page.Years[i].Href = reviewAddress(&v.farm, y)
		}
	}
	page.Misses = api.NewReviewTelling(r).Misses(splits)
	if page.Charts, err = p.pictured(ctx, &v.farm, api.NewReviewTelling(r)); err != nil {
		return err
	}
	return p.render(v, http.StatusOK, v, "review", "Looking back at "+strconv.Itoa(year), page)
}

// newReviewPage tells a review; now is the season that runs.
func newReviewPage(farm *forecast.Farm, r *api.Review, now int) reviewPage {
	t := api.NewReviewTelling(r)
	year := r.Season.Year
	page := reviewPage{
		Year: year, Season: seasonAddress(farm, year, ""), CSV: fmt.Sprintf("/v1/farms/%s/reviews/%d.csv", farm.ID, year),
		Caution: t.Caution(), Gaps: t.Gaps(), Foreseen: t.Foreseen(), Opening: t.Opening(),
	}
	if year > now {
		page.None = fmt.Sprintf("Season %d has not begun.", year)
		return page
	}
	for _, l := range review.Leads() {
		page.Leads = append(page.Leads, l.String())
	}
	outcomes := t.Outcomes(forecast.FirstRipe)
	over := true // Every planting that bore has a last pick on record.
	for _, s := range t.Seasoned() {
		over = over && s.Last != ""
		row := reviewRow{ToldSeasoned: s, Href: storyAddress(farm, year, s.Planting, "")}
		if i := slices.IndexFunc(outcomes, func(o api.ToldOutcome) bool { return o.Planting == s.Planting }); i >= 0 {
			row.Said, row.How = outcomes[i].Said, outcomes[i].How
		}
		page.First = append(page.First, row)
	}
	if year == now && !over {
		page.Running = fmt.Sprintf("Season %d is not over: this is what can be said so far.", year)
	}
	if len(page.First) == 0 {
		page.None = fmt.Sprintf("No planting bore in season %d, so there is nothing to look back at.", year)
		return page
	}
	for _, s := range []forecast.Stage{forecast.Peak, forecast.LastPick} {
		if rows := t.Outcomes(s); len(rows) > 0 {
			page.Others = append(page.Others, reviewStage{map[forecast.Stage]string{forecast.Peak: "Peak", forecast.LastPick: "Last pick"}[s], rows})
		}
	}
	page.scores(r, t)
	return page
}

// scores fills in how good the forecasts were: of this season, then of all up to
// it, all stages and each of them, then by class.
func (page *reviewPage) scores(r *api.Review, t api.ReviewTelling) {
	this := strconv.Itoa(r.Season.Year)
	add := func(scores []review.Score, stage forecast.Stage, class *forecast.Class, caption, caution string, fold bool) {
		rows := api.Told(scores, stage, class)
		if !slices.ContainsFunc(rows, func(s api.ToldScore) bool { return s.N > 0 }) {
			return
		}
		if len(page.Baselines) == 0 {
			for _, a := range rows[0].Against {
				page.Baselines = append(page.Baselines, a.Name)
			}
		}
		page.Scores = append(page.Scores, reviewScores{caption, caution, rows, fold})
	}
	scores, of := r.Scores, "season "+this
	add(scores, hindcast.AllStages, nil, "All stages, "+of, "", false)
	if n := len(r.Together.Seasons); n > 1 {
		scores, of = r.Together.Scores, fmt.Sprintf("%d seasons from %d to %s", n, r.Together.Seasons[0], this)
		add(scores, hindcast.AllStages, nil, "All stages, "+of, t.CautionTogether(), false)
	}
	for _, s := range hindcast.Stages()[1:] {
		add(scores, s, nil, strings.TrimSuffix(sentence(hindcast.StageName(s)), ".")+", "+of, "", true)
	}
	for c := forecast.Early; c <= forecast.VeryLate; c++ {
		add(scores, hindcast.AllStages, &c, strings.TrimSuffix(sentence(className[c]), ".")+" varieties, all stages, "+of, "", true)
	}
	if rows := api.TellWindows(r.Together.Windows); len(rows) > 0 {
		page.Windows = append(page.Windows, reviewWindows{"Length of the picking windows, " + of, rows})
	}
}
