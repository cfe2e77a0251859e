package pages

import "time"

// Of the count of tries to sign in, for the tests.
const (
	MostFails = mostFails
	MostSeen  = mostSeen
)

// Limiter is what counts tries.
type Limiter struct{ l limiter }

// NewLimiter returns one that goes by a clock.
func NewLimiter(now func() time.Time) *Limiter { return &Limiter{limiter{now: now}} }

// Allow reports whether an address may try.
func (l *Limiter) Allow(from string) bool {
	_, ok := l.l.allow(from)
	return ok
}

// Failed counts a try.
func (l *Limiter) Failed(from string) { l.l.failed(from) }

// Seen is how many addresses are remembered.
func (l *Limiter) Seen() int { return len(l.l.fails) }
