package feed_test

import (
	"io"
	"math/rand/v2"
	"net/http"
	"testing"
	"time"

	"ripetide/weather/feed"
)

func TestWhenToAskAgainAfterAGoodAnswer(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		every  time.Duration
		header []string
		want   time.Duration // With half of the jitter.
	}{
		{"as often as is said, with up to a tenth", time.Hour, nil, 63 * time.Minute},
		{"the jitter is ten minutes at most", 24 * time.Hour, nil, 24*time.Hour + 5*time.Minute},
		{"an answer that is fresh for less", time.Hour, []string{"Cache-Control", "public, max-age=481, s-maxage=36000"}, 63 * time.Minute},
		{"an answer that is fresh for longer", time.Hour, []string{"Cache-Control", "max-age=7200"}, 123 * time.Minute},
		{"of which a part is over", time.Hour, []string{"Cache-Control", "max-age=9000", "Age", "1800"}, 123 * time.Minute},
		{"an answer that is fresh for a year", time.Hour, []string{"Cache-Control", "max-age=31536000"}, 363 * time.Minute},
		{"for longer than there are numbers", time.Hour, []string{"Cache-Control", "max-age=99999999999999999999"}, 363 * time.Minute},
		{"for less than nothing", time.Hour, []string{"Cache-Control", "max-age=-7200"}, 63 * time.Minute},
		{"not to be kept", time.Hour, []string{"Cache-Control", "max-age=7200, No-Store"}, 63 * time.Minute},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c := at(t, "1991-06-11T12:00:00Z")
			s := serve(t, answers(200, nceiJSON, tt.header...))
			spec := nceiSpec(s.URL)
			spec.Every = tt.every
			res, st := fetch(t, client(c), spec, time.UTC, feed.State{Failures: 3, NotBefore: c.Now()})
			wantOutcome(t, res, feed.New)
			if got := st.NextAt.Sub(c.Now()); got != tt.want {
				t.Errorf("asked again after %v, want %v", got, tt.want)
			}
			if st.Failures != 0 || !st.NotBefore.IsZero() {
				t.Errorf("state %+v", st)
			}
		})
	}
}

func TestPausesDouble(t *testing.T) {
	t.Parallel()
	c := at(t, berlin)
	s := serve(t, answers(502, ""))
	cl := client(c)
	var st feed.State
	// Three quarters, for the jitter is half of its half, of 5, 10, 20 … minutes.
	for i, minutes := range []float64{3.75, 7.5, 15, 30, 60, 120, 240, 270, 270, 270, 270, 270, 270} {
		_, st = fetch(t, cl, nceiSpec(s.URL), time.UTC, st)
		if got := st.NextAt.Sub(c.Now()).Minutes(); got != minutes || st.Failures != i+1 {
			t.Fatalf("after failure %d: %g minutes, want %g; state %+v", i+1, got, minutes, st)
		}
	}
	// A spec whose failures have been counted for ever.
	st.Failures = 1 << 40
	_, st = fetch(t, cl, nceiSpec(s.URL), time.UTC, st)
	if got := st.NextAt.Sub(c.Now()).Minutes(); got != 270 {
		t.Errorf("%g minutes, want 270", got)
	}
}

func TestRetryAfter(t *testing.T) {
	t.Parallel()
	const date = "Sat, 27 Nov 2021 03:00:00 GMT" // The server's clock is three hours behind.
	for _, tt := range []struct {
		name, after string
		wait        time.Duration // Until NotBefore; 0 none.
		next        time.Duration // With half of the jitter.
	}{
		{"seconds", "7200", 2 * time.Hour, 125 * time.Minute},
		{"fewer seconds than we would wait", "60", time.Minute, 6 * time.Minute},
		{"an instant by the server's clock", "Sat, 27 Nov 2021 04:30:00 GMT", 90 * time.Minute, 95 * time.Minute},
		{"an instant that is over", "Sat, 27 Nov 2021 02:00:00 GMT", 0, 225 * time.Second},
		{"a month", "2592000", 24 * time.Hour, 24*time.Hour + 5*time.Minute},
		{"an instant in another year", "Sun, 27 Nov 2022 03:00:00 GMT", 24 * time.Hour, 24*time.Hour + 5*time.Minute},
		{"more than there are numbers", "99999999999999999999", 24 * time.Hour, 24*time.Hour + 5*time.Minute},
		{"less than nothing", "-5", 0, 225 * time.Second},
		{"words", "soon", 0, 225 * time.Second},
		{"nothing", "", 0, 225 * time.Second},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c := at(t, berlin)
			s := serve(t, answers(429, "", "Retry-After", tt.after, "Date", date))
			_, st := fetch(t, client(c), nceiSpec(s.URL), time.UTC, feed.State{})
			if got := st.NextAt.Sub(c.Now()); got != tt.next {
				t.Errorf("asked again after %v, want %v", got, tt.next)
			}
			var not time.Duration
			if !st.NotBefore.IsZero() {
				not = st.NotBefore.Sub(c.Now())
			}
			if not != tt.wait {
				t.Errorf("not before %v, want %v", not, tt.wait)
			}
		})
	}
	c := at(t, berlin)
	s := serve(t, answers(503, "", "Retry-After", "Sat, 27 Nov 2021 06:10:00 GMT", "Date", "?"))
	_, st := fetch(t, client(c), nceiSpec(s.URL), time.UTC, feed.State{})
	if got := st.NotBefore.Sub(c.Now()); got != 10*time.Minute {
		t.Errorf("not before %v by our clock, want 10m", got)
	}
}

func TestAServiceThatIsDownForADay(t *testing.T) {
	t.Parallel()
	var first []time.Time // When feeds with different seeds asked the third time.
	for seed := range uint64(20) {
		c := at(t, berlin)
		start := c.Now()
		down := true
		s := serve(t, func(w http.ResponseWriter, _ *http.Request) {
			if down {
				w.WriteHeader(http.StatusBadGateway)
				return
			}
			io.WriteString(w, sample(t, "openmeteo_berlin.json"))
		})
		cl := client(c, func(o *feed.Options) { o.Rand = rand.New(rand.NewPCG(seed, 1)).Float64 })
		var st feed.State
		for c.Now().Before(start.Add(24 * time.Hour)) {
			_, st = fetch(t, cl, meteoSpec(s.URL), zone(t, "Europe/Berlin"), st)
			if gap := st.NextAt.Sub(c.Now()); gap < 150*time.Second || gap > 6*time.Hour {
				t.Fatalf("asked again after %v", gap)
			}
			if st.Failures == 3 {
				first = append(first, c.Now())
			}
			c.to(st.NextAt)
		}
		// 5 + 10 + … + 320 minutes are 10 h 35 min, then every 6 h, or half of
		// all that.
		if n := len(s.requests()); n < 9 || n > 14 {
			t.Errorf("seed %d: asked %d times a day", seed, n)
		}
		down = false
		res, st := fetch(t, cl, meteoSpec(s.URL), zone(t, "Europe/Berlin"), st)
		wantOutcome(t, res, feed.New)
		if st.Failures != 0 {
			t.Errorf("seed %d: state %+v", seed, st)
		}
	}
	same := 0
	for i := range first {
		for j := range i {
			if d := first[i].Sub(first[j]).Abs(); d < time.Second {
				same++
			}
		}
	}
	if len(first) != 20 || same > 5 { // Of 190 pairs within 7.5 minutes.
		t.Errorf("%d feeds, %d pairs of them asked in the same second", len(first), same)
	}
}
