package feed

import "time"

const (
	// After the first failure in a row a feed waits firstPause, then twice as
	// long each time, up to maxPause. A service that is down for a day is asked
	// about ten times.
	firstPause = 5 * time.Minute
	maxPause   = 6 * time.Hour
	// stalePause is after an outlook that is not of today.
	stalePause = time.Hour
	maxJitter  = 10 * time.Minute
)

// succeed settles st after a good answer that is fresh for so long.
func (st *State) succeed(c *Client, s Spec, now time.Time, fresh time.Duration) {
	st.Failures, st.NotBefore, st.LastOK = 0, time.Time{}, now
	wait := max(s.Every, fresh)
	st.NextAt = now.Add(wait + c.jitter(min(s.Every/10, maxJitter)))
}

// wait settles st after an answer that is good but not of today.
func (st *State) wait(c *Client, now time.Time, fresh time.Duration) {
	st.Failures, st.NotBefore = 0, time.Time{}
	st.NextAt = now.Add(max(stalePause, fresh) + c.jitter(maxJitter))
}

// fail settles st after a failure; the service wants not to be asked for
// retryAfter.
func (st *State) fail(c *Client, now time.Time, retryAfter time.Duration) {
	pause := maxPause
	if n := st.Failures; n < 10 { // Beyond, it is longer than maxPause anyhow.
		pause = min(firstPause<<n, maxPause)
	}
	st.Failures++
	// From half of it to all of it, so that those who failed together do not
	// come back together.
	pause = pause/2 + c.jitter(pause/2)
	st.NotBefore = time.Time{}
	if retryAfter > 0 {
		st.NotBefore = now.Add(retryAfter)
		pause = max(pause, retryAfter+c.jitter(maxJitter))
	}
	st.NextAt = now.Add(pause)
}

// jitter returns a chance duration from 0 to most.
func (c *Client) jitter(most time.Duration) time.Duration {
	return time.Duration(c.opt.Rand() * float64(most))
}
