package api

import (
	lru "container/list"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

// Address returns from where a request comes, for counting tries: of IPv6 the
// network, since everybody has at least a /64 of addresses to change between.
func Address(r *http.Request) string {
	at, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	a := at.Addr().Unmap().WithZone("")
	if a.Is4() {
		return a.String()
	}
	return netip.PrefixFrom(a, 64).Masked().String()
}

// Tries bound how often an address may fail to say who it is. They are safe for
// concurrent use.
type Tries struct {
	Now    func() time.Time
	Most   int           // Failures that are allowed within the window.
	Window time.Duration // How long one counts.

	mu    sync.Mutex
	fails map[string]*lru.Element
	order lru.List // Of *failures, those that failed last at the back.
}

// failures are those of an address within the window.
type failures struct {
	from  string
	times []time.Time
}

// mostSeen is how many addresses are remembered: those that failed last.
const mostSeen = 10_000

// Allow reports whether an address may try, or how long it must wait.
func (l *Tries) Allow(from string) (wait time.Duration, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.forget()
	e, known := l.fails[from]
	if !known {
		return 0, true
	}
	f := e.Value.(*failures)
	f.times = l.recent(f.times)
	if len(f.times) < l.Most {
		return 0, true
	}
	return f.times[0].Add(l.Window).Sub(l.Now()), false
}

// Failed counts a try that failed.
func (l *Tries) Failed(from string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.forget()
	e, known := l.fails[from]
	if !known {
		if l.fails == nil {
			l.fails = map[string]*lru.Element{}
		}
		if len(l.fails) >= mostSeen {
			l.drop(l.order.Front())
		}
		e = l.order.PushBack(&failures{from: from})
		l.fails[from] = e
	}
	f := e.Value.(*failures)
	f.times = append(l.recent(f.times), l.Now())
	l.order.MoveToBack(e)
}

// forget drops the addresses that have not failed within the window.
func (l *Tries) forget() {
	for e := l.order.Front(); e != nil && len(l.recent(e.Value.(*failures).times)) == 0; e = l.order.Front() {
		l.drop(e)
	}
}

func (l *Tries) drop(e *lru.Element) {
	delete(l.fails, l.order.Remove(e).(*failures).from)
}

// recent returns those of times that lie within the window. One that is still to
// come was counted by a clock that was ahead, and is not.
func (l *Tries) recent(times []time.Time) []time.Time {
	now := l.Now()
	for len(times) > 0 && (times[0].After(now) || !times[0].After(now.Add(-l.Window))) {
		times = times[1:]
	}
	return times
}
