package api

import (
	lru "container/list"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"

	"ripetide/forecast"
)

// Limits bound what one caller may ask for, so that one who asks too much harms
// the others little.
type Limits struct {
	// Rate is how many requests a second a key, or an address without one, may
	// send in the long run, and four times as many at once; 0: any number.
	Rate float64
	// Proxies are the networks of proxies whose word is taken for where a request
	// comes from.
	Proxies []netip.Prefix
}

const (
	atOnce = 4 // Seconds of the rate that may come in one go.
	// Keys that nobody has are counted by address. Many programs may share one
	// address, and one of them have an old key, so these are more than may fail at
	// the sign-in page.
	mostUnknown   = 100
	unknownWindow = 5 * time.Minute
	queueTime     = 10 * time.Second // For a place.
	uploadsAtOnce = 6                // Of 32 MiB at most, and twice that while they grow.
)

var errTooMany = errors.New("api: too many requests")

// tooManyError says how long to wait. It matches errTooMany.
type tooManyError struct{ wait time.Duration }

func (e *tooManyError) Error() string        { return errTooMany.Error() }
func (e *tooManyError) OfCaller()            {} // See [memo.Cache].
func (e *tooManyError) Is(target error) bool { return target == errTooMany }

// Detail says how long.
func (e *tooManyError) Detail() string {
	return fmt.Sprintf("ask again in %d s", e.seconds())
}

func (e *tooManyError) seconds() int { return int(e.wait/time.Second) + 1 }

// rates hold how much each caller has asked for of late.
type rates struct {
	limit rate.Limit
	now   func() time.Time

	mu    sync.Mutex
	by    map[string]*lru.Element
	order lru.List // Of *bucket, those that asked last at the back.
}

type bucket struct {
	who string
	*rate.Limiter
}

// take counts a request of a caller, and refuses it if there were too many.
func (r *rates) take(who string) error {
	if r.limit == 0 {
		return nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	e, known := r.by[who]
	if !known {
		if r.by == nil {
			r.by = map[string]*lru.Element{}
		}
		if len(r.by) >= mostSeen {
			delete(r.by, r.order.Remove(r.order.Front()).(*bucket).who)
		}
		e = r.order.PushBack(&bucket{who, rate.NewLimiter(r.limit, max(int(atOnce*r.limit), 1))})
		r.by[who] = e
	}
	r.order.MoveToBack(e)
	b := e.Value.(*bucket)
	if now := r.now(); !b.AllowN(now, 1) {
		return &tooManyError{time.Duration((1 - b.TokensAt(now)) / float64(r.limit) * float64(time.Second))}
	}
	return nil
}

// long marks an operation that takes long, of which only some are worked on at a
// time.
func long(op huma.Operation) huma.Operation {
	op.Metadata = map[string]any{takesLong: true}
	return op
}

const takesLong = "takes-long"

// places are for so many at a time, of which one caller has a part at most, so that
// who holds all of theirs keeps nobody else out.
type places struct {
	all chan struct{}

	mu  sync.Mutex
	own map[string]*ownPlaces // By caller; only of those who hold or wait for one.
}

type ownPlaces struct {
	taken chan struct{}
	users int
}

const ownPart = 2 // One caller has half of the places at most.

func newPlaces(n int) *places {
	return &places{all: make(chan struct{}, n), own: map[string]*ownPlaces{}}
}

// enter waits for a place and returns what gives it back.
func (p *places) enter(ctx context.Context, who string) (leave func(), err error) {
	p.mu.Lock()
	own, there := p.own[who]
	if !there {
		own = &ownPlaces{taken: make(chan struct{}, max(1, cap(p.all)/ownPart))}
		p.own[who] = own
	}
	own.users++
	p.mu.Unlock()
	gone := func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		if own.users--; own.users == 0 {
			delete(p.own, who)
		}
	}
	timer := time.NewTimer(queueTime)
	defer timer.Stop()
	select {
	case own.taken <- struct{}{}:
	case <-timer.C:
		gone()
		return nil, &tooManyError{queueTime}
	case <-ctx.Done():
		gone()
		return nil, ctx.Err()
	}
	select {
	case p.all <- struct{}{}:
		return func() { <-p.all; <-own.taken; gone() }, nil
	case <-timer.C:
		err = forecast.ErrBusy
	case <-ctx.Done():
		err = ctx.Err()
	}
	<-own.taken
	gone()
	return nil, err
}

// Place waits for a place for work that takes long, and returns what gives it back.
// Who comes for one has all that the work needs: a body that trickles in holds none.
// A caller has half of them at most. Errors: [forecast.ErrBusy] when there is
// none for ten seconds, and one that is answered with 429 when the caller has their
// part already.
func (s *Server) Place(ctx context.Context) (leave func(), err error) {
	return s.places.enter(ctx, callerOf(ctx).KeyID)
}

// Placed does what takes long in a place. Errors: as [Server.Place], and those of do.
func (s *Server) Placed(ctx context.Context, do func() error) error {
	leave, err := s.Place(ctx)
	if err != nil {
		return err
	}
	defer leave()
	return do()
}

// Upload waits for one of the places of weather files, which are held in memory from
// their first byte on, and returns what gives it back. Errors: as [Server.Place].
func (s *Server) Upload(ctx context.Context) (leave func(), err error) {
	return s.uploads.enter(ctx, callerOf(ctx).KeyID)
}

// Admit counts a request of somebody who is not signed in, by its address. Errors:
// one that is answered with 429.
func (s *Server) Admit(r *http.Request) error { return s.rates.take("from " + Address(r)) }

// inPlace has an operation worked on in a place, once its body is there.
func inPlace[I, O any](s *Server, do func(context.Context, *I) (*O, error)) func(context.Context, *I) (*O, error) {
	return func(ctx context.Context, in *I) (out *O, err error) {
		err = s.Placed(ctx, func() error {
			out, err = do(ctx, in)
			return err
		})
		return out, err
	}
}

// fromProxy takes a proxy's word for where a request comes from: the last address
// that is not a proxy's own.
func (s *Server) fromProxy(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if at, err := netip.ParseAddrPort(r.RemoteAddr); err == nil && s.proxied(at.Addr()) {
			hops := strings.Split(strings.Join(r.Header.Values(echo.HeaderXForwardedFor), ","), ",")
			for i := len(hops) - 1; i >= 0; i-- {
				hop, err := netip.ParseAddr(strings.TrimSpace(hops[i]))
				if err != nil {
					break
				}
				r.RemoteAddr = netip.AddrPortFrom(hop, 0).String()
				if !s.proxied(hop) {
					break
				}
			}
		} else {
			r.Header.Del(echo.HeaderXForwardedFor) // Nobody else may say so.
		}
		return next(c)
	}
}

func (s *Server) proxied(a netip.Addr) bool {
	for _, p := range s.proxies {
		if p.Contains(a.Unmap()) {
			return true
		}
	}
	return false
}

// known looks up who has a key. Who sends too many keys that nobody has is told to
// wait; one that somebody has is let in all the same, for many may share an
// address, and a key of 160 bits is not found by trying.
func (s *Server) known(r *http.Request, key string) (Caller, error) {
	c, err := s.store.Caller(r.Context(), HashKey(key), s.now())
	if err == nil {
		return c, s.rates.take("key " + c.KeyID)
	}
	if !errors.Is(err, ErrUnauthorized) {
		return Caller{}, err
	}
	from := Address(r)
	if wait, ok := s.unknown.Allow(from); !ok {
		return Caller{}, &tooManyError{wait}
	}
	s.unknown.Failed(from)
	return Caller{}, err
}
