package review

import (
	"cmp"
	"slices"

	"ripetide/forecast"
)

// Split is where the error of a row came from, days; the parts add up to it.
type Split struct {
	Bloom       int // The bloom entry was corrected since, or came late.
	Weather     int // The weather that came was unlike what was to be expected, or was corrected.
	Requirement int // What is left: the heat that the planting took was another.
}

// Unsplit says why an error is not split.
type Unsplit string

// The reasons.
const (
	NoError    Unsplit = "there is no error to split"
	NotAgain   Unsplit = "the forecast cannot be made again as it was: the program has changed since"
	NoWeather  Unsplit = "the weather record ends before it came"
	NoDateThen Unsplit = "with what is known now it would have had no date"
)

// Split splits the error of r by h, the hindsight of its forecast; nil when that
// could not be made again. Medians are whole days, and so are the parts: what is
// less than half a day does not show.
func (r Row) Split(h *forecast.Hindsight) (Split, Unsplit) {
	days, ok := r.Error()
	if !ok {
		return Split{}, NoError
	}
	if h == nil {
		return Split{}, NotAgain
	}
	s := r.Stage - forecast.FirstRipe
	again, ok := h.Issued[r.Planting]
	if !ok || again[s] != r.Said.P50 {
		return Split{}, NotAgain
	}
	if through, ok := h.Through[r.Planting]; !ok || through < r.Date {
		return Split{}, NoWeather
	}
	bloomed, ok1 := h.Bloomed[r.Planting]
	came, ok2 := h.Came[r.Planting]
	if !ok1 || !ok2 {
		return Split{}, NoDateThen
	}
	x := Split{Bloom: int(again[s] - bloomed[s]), Weather: int(bloomed[s] - came[s])}
	x.Requirement = days - x.Bloom - x.Weather
	return x, ""
}

// Misses returns up to n rows with the largest errors, the largest first: of each
// stage of a planting the lead at which it was missed by most, of equals the
// earliest. A stage that was never missed is not among them.
func Misses(rows []Row, n int) []Row {
	type event struct {
		planting string
		season   int
		stage    forecast.Stage
	}
	worst := map[event]Row{}
	size := func(r Row) int {
		days, _ := r.Error()
		return max(days, -days)
	}
	for _, r := range rows {
		e := event{r.Planting, r.Season, r.Stage}
		was, ok := worst[e]
		if size(r) > 0 && (!ok || size(r) > size(was) || size(r) == size(was) && r.Lead < was.Lead) {
			worst[e] = r
		}
	}
	out := make([]Row, 0, len(worst))
	for _, r := range worst {
		out = append(out, r)
	}
	slices.SortFunc(out, func(a, b Row) int {
		return cmp.Or(cmp.Compare(size(b), size(a)), cmp.Compare(a.Lead, b.Lead), cmp.Compare(a.Season, b.Season),
			cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.Planting, b.Planting))
	})
	return out[:min(n, len(out))]
}
