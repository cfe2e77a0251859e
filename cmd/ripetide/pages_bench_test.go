package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"ripetide/api/mail"
	"ripetide/db/dbtest"
	"ripetide/testdata"
)

// readers is how many ask at once. None of them pauses, so that the service is
// never without as many requests to answer.
const readers = 50

// BenchmarkPages asks for every page of the demo's farm over loopback, many
// readers at once. It reports how long a request is on the server, and how long
// a reader waits, who shares the cores with the server. The baseline is a bare
// echo handler that writes as many bytes, of the same run.
func BenchmarkPages(b *testing.B) {
	demo, handler, visit := benchFarm(b)
	farm, year := "/f/"+demo.Farm.ID, strconv.Itoa(demo.AsOf.Year())
	season, station := farm+"/season/"+year, farm+"/weather/"+demo.Stations[0].ID
	planting := "wrenlight-sandbar"
	chart := "/v1/farms/" + demo.Farm.ID + "/seasons/" + year + "/overlap.svg?theme=light&width=1184"
	for _, page := range []struct{ name, path string }{
		{"morning", farm},
		{"row", farm + "/row"},
		{"row planting", farm + "/row?planting=" + planting},
		{"season", season},
		{"season chart", chart},
		{"opening", farm + "/opening"},
		{"opening chart", "/v1/farms/lanternfen/opening.svg?theme=light&width=1184"},
		{"sprays", farm + "/sprays"},
		{"story", season + "/planting/" + planting},
		{"review", "/f/lanternfen/review/2018"},
		{"proposals", "/f/lanternfen/proposals"},
		{"story narrowing", season + "/planting/" + planting + "/narrowing.svg?theme=light&width=1184"},
		{"weather station", station},
		{"weather chart", station + "/record.svg?theme=light&width=1184"},
		{"weather day", station + "/day/" + (demo.AsOf - 3).String()},
		{"book", farm + "/book"},
		{"people", farm + "/people"},
		{"setup", farm + "/setup"},
	} {
		b.Run(page.name, func(b *testing.B) {
			size := 0
			b.Run("ripetide", func(b *testing.B) { size = readPage(b, handler, page.path, visit.cookie) })
			b.Run("bare echo", func(b *testing.B) {
				e, body := echo.New(), make([]byte, size)
				e.GET("/*", func(c echo.Context) error { return c.Blob(http.StatusOK, "text/html; charset=UTF-8", body) })
				readPage(b, e, page.path, visit.cookie)
			})
		})
	}
}

// benchFarm returns the service with the demo's farm, and its owner, signed in.
func benchFarm(b *testing.B) (testdata.Demo, http.Handler, *visitor) {
	b.Helper()
	w := &world{Getenv: func(string) string { return "" }, Stdout: io.Discard, Stderr: io.Discard, Now: time.Now}
	o, err := open(b.Context(), &config{DatabaseURL: dbtest.DSN(b), Data: b.TempDir()}, mainDatabase, nil)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = o.close(context.WithoutCancel(b.Context())) })
	demo, err := testdata.ReadDemo()
	if err != nil {
		b.Fatal(err)
	}
	s := &staged{o: o, demo: demo}
	if _, err := s.play(b.Context()); err != nil {
		b.Fatal(err)
	}
	if w.Now, err = s.clock(b.Context(), time.Now); err != nil {
		b.Fatal(err)
	}
	log := slog.New(slog.DiscardHandler)
	letGarbageLie(os.Getenv) // As serve does.
	handler := newHandler(w, handling{}, o.Store, newRunner(w, &config{}, o.Store, log), &mail.Runner{}, log)
	key, _, err := newKey(b.Context(), o.Store, "owner", "Noor", demo.Farm.ID, 0, w.Now())
	if err != nil {
		b.Fatal(err)
	}
	srv := httptest.NewServer(handler)
	defer srv.Close()
	v := newVisitor(b, srv.URL)
	v.signIn(key)
	return demo, handler, v
}

// readPage has readers ask for a page, reports how long that took, and returns
// the page's size.
func readPage(b *testing.B, h http.Handler, path string, cookie *http.Cookie) (size int) {
	b.Helper()
	var mu sync.Mutex
	var served, waited []time.Duration
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		start := time.Now()
		h.ServeHTTP(w, r)
		took := time.Since(start)
		mu.Lock()
		defer mu.Unlock()
		served = append(served, took)
	}))
	defer srv.Close()
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: readers}}
	defer client.CloseIdleConnections()
	read := func() (int, error) {
		req, err := http.NewRequestWithContext(b.Context(), http.MethodGet, srv.URL+path, nil)
		if err != nil {
			return 0, err
		}
		req.AddCookie(cookie)
		res, err := client.Do(req)
		if err != nil {
			return 0, err
		}
		defer res.Body.Close()
		n, err := io.Copy(io.Discard, res.Body)
		if err == nil && res.StatusCode != http.StatusOK {
			err = fmt.Errorf("GET %s: %s", path, res.Status)
		}
		return int(n), err
	}
	size, err := read()
	if err != nil {
		b.Fatal(err)
	}
	served = nil
	b.SetParallelism(max(1, readers/runtime.GOMAXPROCS(0)))
	b.ResetTimer()
	b.RunParallel(func(pb *testing.PB) {
		var own []time.Duration
		for pb.Next() {
			start := time.Now()
			if _, err := read(); err != nil {
				b.Error(err)
				return
			}
			own = append(own, time.Since(start))
		}
		mu.Lock()
		defer mu.Unlock()
		waited = append(waited, own...)
	})
	b.StopTimer()
	for _, m := range []struct {
		name  string
		times []time.Duration
	}{{"", served}, {"reader-", waited}} {
		slices.Sort(m.times)
		for _, q := range []int{50, 95} {
			d := m.times[(len(m.times)-1)*q/100]
			b.ReportMetric(float64(d)/float64(time.Millisecond), fmt.Sprintf("%sp%d-ms", m.name, q))
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "req/s")
	b.ReportMetric(float64(size)/1000, "kB")
	return size
}
