package hindcast

import (
	"fmt"
	"maps"
	"slices"

	"ripetide/forecast"
	"ripetide/forecast/scoring"
)

// AllStages stands for every stage that is forecast.
const AllStages forecast.Stage = -1

// Stages returns AllStages and the stages that are forecast.
func Stages() []forecast.Stage {
	return []forecast.Stage{AllStages, forecast.FirstRipe, forecast.Peak, forecast.LastPick}
}

// PITBins is the number of parts of a row's PIT.
const PITBins = 10

// Row is how good the forecasts of a group and stage were.
type Row struct {
	Group Group
	Stage forecast.Stage // Or AllStages.
	// Accuracy is of all cases; without any, all but its Excluded is 0.
	scoring.Accuracy
	// MAERange and BiasRange hold 80 % of what comes out, days, when the seasons
	// are drawn anew.
	MAERange, BiasRange scoring.Range
	// PIT is [scoring.PITHistogram]: where the truth fell in the forecasts, flat
	// if their ranges are honest and the group is one that can tell; see the
	// package's documentation. Nil without cases.
	PIT     []float64
	Against [baselines]Against // By Baseline.
}

// Against is a baseline on the cases of a row.
type Against struct {
	Baseline Baseline
	// Accuracy is of the baseline, on the cases for which it is defined;
	// Excluded counts the others.
	scoring.Accuracy
	Why []Undefined // Why it was not defined for the others.
	// Skill compares with the baseline and its range, AsPoint with the one date
	// that it names; both on the cases for which it is defined.
	Skill, AsPoint scoring.Comparison
}

// Undefined counts cases without a forecast of a baseline.
type Undefined struct {
	Reason Reason
	Cases  int
}

// Rows returns the accuracy of each group and stage, groups in order and in
// each AllStages first.
func (r Result) Rows() ([]Row, error) {
	var rows []Row
	for _, g := range Groups() {
		for _, s := range Stages() {
			row, err := r.row(g, s)
			if err != nil {
				return nil, fmt.Errorf("%s, %s: %w", g, StageName(s), err)
			}
			rows = append(rows, row)
		}
	}
	return rows, nil
}

// StageName returns the name of a stage in words; AllStages is "all stages".
func StageName(s forecast.Stage) string {
	switch s {
	case AllStages:
		return "all stages"
	case forecast.FirstRipe:
		return "first ripe"
	case forecast.LastPick:
		return "last pick"
	}
	return s.String()
}

func (r Result) row(g Group, s forecast.Stage) (row Row, err error) {
	row = Row{Group: g, Stage: s}
	for _, b := range Baselines() {
		row.Against[b].Baseline = b
	}
	excluded := 0
	for _, x := range r.Excluded {
		if x.Group == g && (s == AllStages || x.Stage == s) {
			excluded += x.Cases
		}
	}
	row.Excluded = excluded
	var cases []Case
	var plain []scoring.Case
	for _, c := range r.Cases {
		if c.In(g) && (s == AllStages || c.Stage == s) {
			cases, plain = append(cases, c), append(plain, c.Case)
		}
	}
	if len(cases) == 0 {
		return row, nil
	}
	if row.Accuracy, err = scoring.Score(plain, excluded); err != nil {
		return Row{}, err
	}
	row.MAERange = scoring.Redrawn(plain, func(c scoring.Case) float64 {
		return scoring.CRPS(scoring.Point(c.Forecast.Median()), c.Actual)
	})
	row.BiasRange = scoring.Redrawn(plain, func(c scoring.Case) float64 { return c.Forecast.Mean() - float64(c.Actual) })
	row.PIT = scoring.PITHistogram(plain, PITBins)
	for _, b := range Baselines() {
		if row.Against[b], err = against(b, cases, plain); err != nil {
			return Row{}, fmt.Errorf("%s: %w", b, err)
		}
	}
	return row, nil
}

// against scores a baseline on cases, which plain are without their baselines.
func against(b Baseline, cases []Case, plain []scoring.Case) (a Against, err error) {
	a.Baseline = b
	var reference, points []scoring.Case
	why := map[Reason]int{}
	for _, c := range cases {
		if r := c.why[b]; r != "" {
			why[r]++
			continue
		}
		x := c.against(b)
		reference = append(reference, x)
		x.Forecast = scoring.Point(x.Forecast.Median())
		points = append(points, x)
	}
	for _, r := range slices.Sorted(maps.Keys(why)) {
		a.Why = append(a.Why, Undefined{r, why[r]})
	}
	if len(reference) == 0 {
		a.Excluded = len(cases)
		return a, nil
	}
	if a.Accuracy, err = scoring.Score(reference, len(cases)-len(reference)); err != nil {
		return a, err
	}
	if a.Skill, err = scoring.Skill(plain, reference); err != nil {
		return a, err
	}
	a.AsPoint, err = scoring.Skill(plain, points)
	return a, err
}
