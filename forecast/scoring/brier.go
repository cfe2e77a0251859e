package scoring

import "ripetide/weather"

// Event is something that was given a probability and then happened or not.
type Event struct {
	Probability float64 // In [0, 1].
	Happened    bool
}

// By returns the event that the date of c is no later than date, with the
// probability its forecast gave. It panics if c has no forecast.
func (c Case) By(date weather.Date) Event {
	return Event{c.Forecast.CDF(date), c.Actual <= date}
}

// outcome is 1 if e happened and else 0.
func (e Event) outcome() float64 {
	if e.Happened {
		return 1
	}
	return 0
}

// Brier returns the Brier score, the mean of (p - o)² with o = 1 for what
// happened and 0 for what did not. It lies in [0, 1]; 0 is perfect, and one
// half said of everything has 0.25.
//
// Brier panics if there are no events or a probability is not in [0, 1].
//
// Brier (1950), Mon. Wea. Rev. 78, 1-3, in its form for two outcomes.
func Brier(events []Event) float64 {
	if len(events) == 0 {
		panic("scoring: no events")
	}
	sum := 0.0
	for _, e := range events {
		mustBeProbability(e.Probability)
		diff := e.Probability - e.outcome()
		sum += diff * diff
	}
	return sum / float64(len(events))
}
