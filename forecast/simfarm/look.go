package simfarm

import (
	"math"
	"slices"

	"ripetide/forecast"
	"ripetide/weather"
)

// look fills in what people wrote down: each stage on the first of their
// rounds on or after the day on which they would take it for come, which
// differs from the true one by the eye of the observer. Stages keep their
// order.
func (f Farm) look(t *Truth, own luck) {
	for s := range t.Dates {
		taken := t.Dates[s] + weather.Date(math.Round(f.Scatter.Eye*own.eye[s]))
		if s > 0 {
			taken = max(taken, t.Noted[s-1]+1)
		}
		for !f.walks(forecast.Stage(s), taken) {
			taken++
		}
		t.Noted[s] = taken
		before := taken - 1
		for !f.walks(forecast.Stage(s), before) {
			before--
		}
		t.NotYet[s] = before
	}
}

// walks reports whether somebody looks for a stage on d.
func (f Farm) walks(s forecast.Stage, d weather.Date) bool {
	return s >= forecast.FirstRipe || len(f.Rounds) == 0 || slices.Contains(f.Rounds, d.Weekday())
}
