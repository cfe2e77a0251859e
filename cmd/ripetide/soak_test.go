package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

var soak = flag.Duration("soak", 0, "how long TestSoak lasts; 0: it is left out")

// sample is what the metrics say at one moment.
type sample struct{ memory, goroutines, connections float64 }

func metric(t *testing.T, text, name string) float64 {
	t.Helper()
	m := regexp.MustCompile(`(?m)^` + name + ` (\S+)$`).FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("no %s", name)
	}
	x, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// TestSoak asks 200 times a second, reads and writes, and wants memory, goroutines
// and connections of the last third to be what they were in the middle one.
//
//	go test ./cmd/ripetide -run TestSoak -soak 30m -timeout 45m -v
func TestSoak(t *testing.T) {
	if *soak == 0 {
		t.Skip("-soak says how long")
	}
	const rate = 200
	addr := freeAddr(t)
	p := newProgram(t, dataFolder(t), "serve")
	p.cmd.Env = append(p.cmd.Env, "RIPETIDE_METRICS="+addr)
	p.serve(t)
	h := &herd{t: t, patient: true}
	key, err := newProgram(t, p.data, "key", "new", "--role", "owner", "--name", "test").cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	h.key = string(key[:len(key)-1])
	h.setUp(p.base)
	for _, query := range []string{"", "?as_of=2018-06-01"} { // The latest, and one of a season with fruit.
		if acked, _ := h.send(p.base, "POST", "/forecasts"+query, "application/json", "", nil); !acked {
			t.Fatal("no forecast" + query)
		}
	}
	reads := []string{"", "/plantings", "/forecasts/latest", "/seasons/2018/overlap.svg", "/stations/long/days?from=2018-05-01", "/sightings", "/opening"}
	read := func(what string) (ok bool) {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, p.base+"/v1/farms/f"+what, nil)
		if err != nil {
			return false
		}
		req.Header.Set("Authorization", "Bearer "+h.key)
		res, err := herdClient.Do(req)
		if err != nil {
			return false
		}
		_, err = io.Copy(io.Discard, res.Body)
		return errors.Join(err, res.Body.Close()) == nil && res.StatusCode == http.StatusOK
	}
	for _, what := range reads {
		if !read(what) {
			t.Fatalf("%s cannot be read at all", what)
		}
	}
	var bad, asked atomic.Int64
	var mu, writing sync.Mutex
	took := map[string][]time.Duration{}
	var samples []sample
	var wg sync.WaitGroup
	tick := time.NewTicker(time.Second / rate)
	defer tick.Stop()
	begin, next := time.Now(), time.Now()
	slots := make(chan struct{}, 100)
	for n := 0; time.Since(begin) < *soak; n++ {
		<-tick.C
		if time.Now().After(next) {
			next = next.Add(*soak / 60)
			samples = append(samples, takeSample(t, addr))
		}
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			at, what := time.Now(), "writes"
			if n%20 == 0 {
				writing.Lock()
				if !h.write(n/20%9, p.base) {
					bad.Add(1)
				}
				writing.Unlock()
			} else {
				what = reads[n%len(reads)]
				if !read(what) {
					bad.Add(1)
				}
			}
			asked.Add(1)
			mu.Lock()
			took[what] = append(took[what], time.Since(at))
			mu.Unlock()
		})
	}
	wg.Wait()
	h.forecasts(&config{Data: p.data})
	h.ledger.check(t, &config{Data: p.data})
	t.Logf("%d requests in %v, %.0f a second, %d bad", asked.Load(), time.Since(begin).Round(time.Second), float64(asked.Load())/time.Since(begin).Seconds(), bad.Load())
	for what, times := range took {
		slices.Sort(times)
		t.Logf("%d of %q: median %v, p99 %v", len(times), what, times[len(times)/2].Round(time.Microsecond), times[len(times)*99/100].Round(time.Microsecond))
	}
	third := len(samples) / 3
	for name, of := range map[string]func(sample) float64{
		"memory, MB":  func(s sample) float64 { return s.memory / (1 << 20) },
		"goroutines":  func(s sample) float64 { return s.goroutines },
		"connections": func(s sample) float64 { return s.connections },
	} {
		middle, end := most(samples[third:2*third], of), most(samples[2*third:], of)
		t.Logf("%s: at most %.0f in the middle third, %.0f in the last", name, middle, end)
		if end > 1.15*middle+5 {
			t.Errorf("%s grows from %.0f to %.0f", name, middle, end)
		}
	}
	if bad.Load() > 0 || float64(asked.Load()) < 0.95*rate*soak.Seconds() {
		t.Errorf("%d of %d requests were bad", bad.Load(), asked.Load())
	}
}

func takeSample(t *testing.T, addr string) sample {
	t.Helper()
	res, err := http.Get(fmt.Sprintf("http://%s/metrics", addr))
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	s := string(text)
	return sample{metric(t, s, "process_resident_memory_bytes"), metric(t, s, "go_goroutines"), metric(t, s, "ripetide_connections_used") + metric(t, s, "ripetide_connections_idle")}
}

func most(samples []sample, of func(sample) float64) float64 {
	x := math.Inf(-1)
	for _, s := range samples {
		x = max(x, of(s))
	}
	return x
}
