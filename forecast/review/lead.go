package review

import "ripetide/weather"

// Lead is a moment at which a forecast of a stage is looked back at.
type Lead int

// The moments, in the order in which they come.
const (
	AtBloom Lead = iota // The first morning on which bloom was known.
	Before21
	Before14
	Before7
	Before3 // Three days before the stage came.
)

var leads = [...]struct {
	name string
	days int // Before the stage came; 0: at bloom.
}{{"at bloom", 0}, {"21 days before", 21}, {"14 days before", 14}, {"7 days before", 7}, {"3 days before", 3}}

// Leads returns all leads in order.
func Leads() []Lead { return []Lead{AtBloom, Before21, Before14, Before7, Before3} }

// String returns the lead's name in interfaces and files.
func (l Lead) String() string { return leads[l].name }

// Days returns how many days before the stage l lies; false at bloom.
func (l Lead) Days() (days int, ok bool) { return leads[l].days, l != AtBloom }

// reach is how many days the forecast of another morning may be off, either
// way never on the side that knows more: a service that did not run for longer
// had nothing to say. A judgement.
const reach = 3

// between returns the mornings whose forecasts may stand for l, the best one
// first; ok is false when there are none. Bloom may be known from the morning of
// its own date on; mostly it is on the next, since mornings are forecast before
// anybody is in the field.
func (l Lead) between(bloom *weather.Date, came weather.Date) (best, worst weather.Date, ok bool) {
	if days, ok := l.Days(); ok {
		at := came - weather.Date(days)
		if bloom != nil && at < *bloom {
			return 0, 0, false // Bloom tells that better.
		}
		return at, at - reach, true
	}
	if bloom == nil {
		return 0, 0, false
	}
	return *bloom, *bloom + reach, true
}
