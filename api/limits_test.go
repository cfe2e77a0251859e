package api_test

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ripetide/api"
	"ripetide/forecast"
)

// keyedStore knows the keys "a" and "b", and counts how often it is asked.
type keyedStore struct {
	api.Store

	asked *int
}

func (s keyedStore) Caller(_ context.Context, hash [32]byte, _ time.Time) (api.Caller, error) {
	*s.asked++
	for _, key := range []string{"a", "b"} {
		if hash == api.HashKey(key) {
			return api.Caller{KeyID: key, Role: api.Reader}, nil
		}
	}
	return api.Caller{}, api.ErrUnauthorized
}

func (keyedStore) Farms(context.Context) ([]forecast.Farm, error) { return nil, nil }

// limited is a server with a clock of its own.
type limited struct {
	t     *testing.T
	now   time.Time
	asked int
	srv   *api.Server
}

func newLimited(t *testing.T, l api.Limits) *limited {
	t.Helper()
	x := &limited{t: t, now: time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)}
	x.srv = api.New(api.Config{Store: keyedStore{asked: &x.asked}, Now: func() time.Time { return x.now }, Log: slog.New(slog.DiscardHandler), Version: "test", Limits: l})
	return x
}

func (x *limited) get(from, key string, headers ...string) *httptest.ResponseRecorder {
	x.t.Helper()
	req := httptest.NewRequestWithContext(x.t.Context(), http.MethodGet, "/v1/farms", nil)
	req.RemoteAddr = from + ":40000"
	if key != "" {
		req.Header.Set("Authorization", "Bearer "+key)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Add(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	x.srv.ServeHTTP(w, req)
	return w
}

// A key may ask two a second in the long run and eight at once.
func TestAKeyThatAsksTooOftenWaits(t *testing.T) {
	t.Parallel()
	x := newLimited(t, api.Limits{Rate: 2})
	for i := range 8 {
		if w := x.get("192.0.2.1", "a"); w.Code != http.StatusOK {
			t.Fatalf("request %d: %d", i+1, w.Code)
		}
	}
	w := x.get("192.0.2.1", "a")
	if w.Code != http.StatusTooManyRequests || w.Header().Get("Retry-After") != "1" || !strings.Contains(w.Body.String(), "/problems/too-many") {
		t.Errorf("the ninth at once: %d, Retry-After %q, %s", w.Code, w.Header().Get("Retry-After"), w.Body)
	}
	if w := x.get("192.0.2.1", "b"); w.Code != http.StatusOK {
		t.Errorf("another key of the same address: %d", w.Code)
	}
	x.now = x.now.Add(time.Second)
	for i, want := range []int{200, 200, 429} {
		if w := x.get("192.0.2.9", "a"); w.Code != want {
			t.Errorf("a second later, request %d from elsewhere: %d, want %d", i+1, w.Code, want)
		}
	}
}

func TestNoRateIsNoLimit(t *testing.T) {
	t.Parallel()
	x := newLimited(t, api.Limits{})
	for range 3000 {
		if w := x.get("192.0.2.1", "a"); w.Code != http.StatusOK {
			t.Fatal(w.Code)
		}
	}
}

// After a hundred keys that nobody has an address is told to wait with more of
// them; a key that somebody has opens all the same.
func TestKeysThatNobodyHasAreCounted(t *testing.T) {
	t.Parallel()
	x := newLimited(t, api.Limits{Rate: 500})
	for range 100 {
		if w := x.get("192.0.2.1", "guess"); w.Code != http.StatusUnauthorized {
			t.Fatal(w.Code)
		}
		x.now = x.now.Add(time.Second)
	}
	if w := x.get("192.0.2.1", "guess"); w.Code != http.StatusTooManyRequests || w.Header().Get("Retry-After") != "201" {
		t.Errorf("after a hundred: %d, Retry-After %q", w.Code, w.Header().Get("Retry-After"))
	}
	if w := x.get("192.0.2.1", "a"); w.Code != http.StatusOK {
		t.Errorf("a key that somebody has: %d", w.Code)
	}
	if w := x.get("192.0.2.2", "guess"); w.Code != http.StatusUnauthorized {
		t.Errorf("another address: %d", w.Code)
	}
	if w := x.get("192.0.2.1", ""); w.Code != http.StatusUnauthorized {
		t.Errorf("without a key: %d", w.Code)
	}
	if x.now = x.now.Add(5 * time.Minute); x.get("192.0.2.1", "guess").Code != http.StatusUnauthorized {
		t.Error("five minutes later it still waits")
	}
}

// Without a key an address may ask as often as a key.
func TestAnAddressWithoutAKeyIsLimited(t *testing.T) {
	t.Parallel()
	x := newLimited(t, api.Limits{Rate: 2})
	for i := range 9 {
		want := http.StatusUnauthorized
		if i == 8 {
			want = http.StatusTooManyRequests
		}
		if w := x.get("192.0.2.1", ""); w.Code != want {
			t.Errorf("request %d: %d, want %d", i+1, w.Code, want)
		}
	}
}

// Only a proxy that is named is believed, and only the last address that is not
// one of its own.
func TestWhereARequestComesFrom(t *testing.T) {
	t.Parallel()
	const proxy, forwarded = "10.0.0.7", "X-Forwarded-For"
	guess := func(x *limited, from string, headers ...string) {
		for range 100 {
			x.get(from, "guess", headers...)
		}
	}
	x := newLimited(t, api.Limits{Proxies: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")}})
	guess(x, proxy, forwarded, "203.0.113.5, 192.0.2.1, 10.0.0.9")
	for _, c := range []struct {
		from, forwarded string
		want            int
	}{
		{proxy, "192.0.2.1", 429},
		{proxy, "203.0.113.5", 401},
		{"192.0.2.1", "", 429},
		{proxy, "", 401},
		{"192.0.2.2", "192.0.2.1", 401},    // No proxy.
		{proxy, "192.0.2.1, garbage", 401}, // The proxy itself.
	} {
		headers := []string{forwarded, c.forwarded}
		if c.forwarded == "" {
			headers = nil
		}
		if w := x.get(c.from, "guess", headers...); w.Code != c.want {
			t.Errorf("from %s for %q: %d, want %d", c.from, c.forwarded, w.Code, c.want)
		}
	}
	y := newLimited(t, api.Limits{})
	guess(y, "192.0.2.1", forwarded, "198.51.100.1")
	if w := y.get("192.0.2.1", "guess", forwarded, "198.51.100.2"); w.Code != 429 {
		t.Errorf("an address that says it is another: %d", w.Code)
	}
}

// While every place for long work is taken, more of it waits and is then told to
// come again; other work goes on.
func TestLongWorkWaitsForAPlace(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		srv := api.New(api.Config{Store: lockedStore{}, Now: time.Now, Log: slog.New(slog.DiscardHandler), Version: "test"})
		ask := func(method, path string) *httptest.ResponseRecorder {
			req := httptest.NewRequestWithContext(t.Context(), method, path, strings.NewReader("{}"))
			req.Header.Set("Authorization", "Bearer x")
			w := httptest.NewRecorder()
			srv.ServeHTTP(w, req)
			return w
		}
		var last func()
		n := 0
		for caller := 0; ; caller++ { // Each takes all they may.
			ctx := api.WithCaller(t.Context(), api.Caller{KeyID: strconv.Itoa(caller)})
			of := 0
			leave, err := srv.Place(ctx)
			for ; err == nil; leave, err = srv.Place(ctx) {
				last = leave
				of++
			}
			if n += of; errors.Is(err, forecast.ErrBusy) {
				break
			}
			if pr := srv.Problem(ctx, err); pr.Status != http.StatusTooManyRequests || of != max(4, 2*runtime.GOMAXPROCS(0))/2 {
				t.Fatalf("one caller has %d places, and is then told %v", of, err)
			}
		}
		if n < 4 {
			t.Errorf("%d places", n)
		}
		began := time.Now()
		if w := ask(http.MethodGet, "/v1/farms/a/reviews/2018"); w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" || time.Since(began) != 10*time.Second {
			t.Errorf("long work without a place: %d after %v, %v", w.Code, time.Since(began), w.Header())
		}
		began = time.Now()
		ask(http.MethodGet, "/v1/farms/a")
		if time.Since(began) != 0 {
			t.Errorf("other work waited %v", time.Since(began))
		}
		last()
		leave, err := srv.Place(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		leave()
	})
}
