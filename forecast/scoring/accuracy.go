package scoring

import (
	"fmt"
	"math"
)

// Accuracy is how good forecasts were. Scores are means over cases, in days.
type Accuracy struct {
	N        int // Cases.
	Seasons  int // Different seasons among them.
	Excluded int // Cases left out before, for whatever reason; in no figure here.
	// InSample says that the forecaster had seen the outcomes: a measure of fit,
	// not of forecasting.
	InSample bool
	Bias     float64 // Mean of the forecast minus actual: positive is late.
	MAE      float64 // Mean absolute error of the median of the forecast.
	CRPS     float64 // See [CRPS].
	Pinball  float64 // See [MeanPinball].
	Coverage Coverage
}

// Conclusive reports whether there are at least [MinSeasons] seasons. With
// fewer, print the figures with a word of caution and decide nothing by them.
func (a Accuracy) Conclusive() bool { return a.Seasons >= MinSeasons }

// Score returns the accuracy of the forecasts in cases. The caller says how
// many others were excluded, such as plantings whose harvest was not recorded,
// so that it stands beside the figures.
//
// It is an error if there are no cases ([ErrNoCases]), if some are in sample
// and others not ([ErrMixed]), if a case has no forecast or if excluded is
// negative ([ErrInvalidCase]).
func Score(cases []Case, excluded int) (Accuracy, error) {
	switch {
	case excluded < 0:
		return Accuracy{}, fmt.Errorf("%w: %d excluded", ErrInvalidCase, excluded)
	case len(cases) == 0:
		return Accuracy{}, ErrNoCases
	}
	if err := check(cases); err != nil {
		return Accuracy{}, err
	}
	a := Accuracy{
		N:        len(cases),
		Seasons:  seasons(cases),
		Excluded: excluded,
		InSample: cases[0].InSample,
		Coverage: Cover(cases),
	}
	for _, c := range cases {
		a.Bias += c.Forecast.Mean() - float64(c.Actual)
		s := scoresOf(c)
		a.MAE += s[byMAE]
		a.CRPS += s[byCRPS]
		a.Pinball += s[byPinball]
	}
	n := float64(a.N)
	a.Bias /= n
	a.MAE /= n
	a.CRPS /= n
	a.Pinball /= n
	return a, nil
}

// scores are the figures of a case, or sums of them, days.
type scores [3]float64

const (
	byCRPS = iota
	byPinball
	byMAE
)

// scoresOf returns what a case adds to each score.
func scoresOf(c Case) scores {
	return scores{
		byCRPS:    CRPS(c.Forecast, c.Actual),
		byPinball: MeanPinball(c.Forecast, c.Actual),
		byMAE:     math.Abs(float64(c.Forecast.Median()) - float64(c.Actual)),
	}
}

// add adds t to s.
func (s *scores) add(t scores) {
	for i := range s {
		s[i] += t[i]
	}
}
