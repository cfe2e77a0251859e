package review

import (
	"cmp"
	"math"
	"slices"

	"ripetide/forecast"
)

// Total is how good the forecasts of a stage were at a lead. Plantings of one
// season share one weather, so N of them are one try and not N: Seasons says how
// many there were.
type Total struct {
	Stage   forecast.Stage
	Lead    Lead
	N       int     // Forecasts that can be held against what came.
	Seasons int     // Different seasons among them.
	LeftOut int     // Nothing was said, or what came is only known to a bound.
	Bias    float64 // Mean error, days, positive is late; 0 when N is 0.
	MAE     float64 // Mean absolute error, days; likewise.
	Inside  int     // Of N, how many came within the range from p10 to p90.
}

// Totals adds rows up by stage and lead, in that order. There is a total for
// each lead of each stage that rows speak of.
func Totals(rows []Row) []Total {
	type key struct {
		stage forecast.Stage
		lead  Lead
	}
	by := map[key]*Total{}
	seasons := map[key]map[int]bool{}
	for _, r := range rows {
		k := key{r.Stage, r.Lead}
		t := by[k]
		if t == nil {
			t = &Total{Stage: r.Stage, Lead: r.Lead}
			by[k], seasons[k] = t, map[int]bool{}
		}
		days, ok := r.Error()
		if !ok {
			t.LeftOut++
			continue
		}
		t.N++
		t.Bias += float64(days)
		t.MAE += math.Abs(float64(days))
		if inside, _ := r.Inside(); inside {
			t.Inside++
		}
		seasons[k][r.Season] = true
	}
	out := make([]Total, 0, len(by))
	for k, t := range by {
		if t.Seasons = len(seasons[k]); t.N > 0 {
			t.Bias /= float64(t.N)
			t.MAE /= float64(t.N)
		}
		out = append(out, *t)
	}
	slices.SortFunc(out, func(a, b Total) int { return cmp.Or(cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.Lead, b.Lead)) })
	return out
}
