package main

import (
	"context"
	"crypto/sha256"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"ripetide/api"
	"ripetide/db/dbtest"
	"ripetide/forecast"
	"ripetide/testdata"
)

// BenchmarkLatest asks for the latest forecast over loopback. The baseline is a
// bare echo handler that checks the key and returns the same bytes from one
// row of the same server.
func BenchmarkLatest(b *testing.B) {
	dsn := dbtest.DSN(b)
	w := &world{Getenv: func(string) string { return "" }, Stdout: io.Discard, Stderr: io.Discard, Now: time.Now}
	conf := &config{DatabaseURL: dsn, Data: b.TempDir()}
	o, err := open(b.Context(), conf, mainDatabase, nil)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = o.close(context.Background()) })
	demo, err := testdata.ReadDemo()
	if err != nil {
		b.Fatal(err)
	}
	s := &staged{o: o, demo: demo}
	if _, err := s.play(b.Context()); err != nil {
		b.Fatal(err)
	}
	key, _, err := newKey(b.Context(), o.Store, "reader", "bench", "", 0, time.Now())
	if err != nil {
		b.Fatal(err)
	}
	z, err := o.LatestForecast(b.Context(), demo.Farm.ID)
	if err != nil {
		b.Fatal(err)
	}

	b.Run("ripetide", func(b *testing.B) {
		srv := api.New(api.Config{
			Store: stores{o.Store}, Forecast: &forecast.Service{Store: o.Store, Now: w.Now}, Now: w.Now,
			Log: slog.New(slog.DiscardHandler), Version: "bench",
		})
		ask(b, srv, "/v1/farms/"+demo.Farm.ID+"/forecasts/latest", key, len(z.Body))
	})
	b.Run("bare echo", func(b *testing.B) {
		pool := dbtest.Connect(b, dsn)
		for _, sql := range []string{"CREATE TABLE IF NOT EXISTS bare_key (hash bytea PRIMARY KEY)", "CREATE TABLE IF NOT EXISTS bare (id int PRIMARY KEY, body bytea)"} {
			if _, err := pool.Exec(b.Context(), sql); err != nil {
				b.Fatal(err)
			}
		}
		hash := sha256.Sum256([]byte(key))
		if _, err := pool.Exec(b.Context(), "INSERT INTO bare_key VALUES ($1) ON CONFLICT DO NOTHING", hash[:]); err != nil {
			b.Fatal(err)
		}
		if _, err := pool.Exec(b.Context(), "INSERT INTO bare VALUES (1, $1) ON CONFLICT DO NOTHING", z.Body); err != nil {
			b.Fatal(err)
		}
		e := echo.New()
		e.GET("/latest", func(c echo.Context) error {
			hash := sha256.Sum256([]byte(strings.TrimPrefix(c.Request().Header.Get("Authorization"), "Bearer ")))
			var ok bool
			if err := pool.QueryRow(c.Request().Context(), "SELECT true FROM bare_key WHERE hash = $1", hash[:]).Scan(&ok); err != nil {
				return echo.ErrUnauthorized
			}
			var body []byte
			if err := pool.QueryRow(c.Request().Context(), "SELECT body FROM bare WHERE id = 1").Scan(&body); err != nil {
				return err
			}
			return c.Blob(http.StatusOK, "application/json", body)
		})
		ask(b, e, "/latest", key, len(z.Body))
	})
}

// ask sends requests from several clients at once.
func ask(b *testing.B, h http.Handler, path, key string, size int) {
	b.Helper()
	srv := httptest.NewServer(h)
	defer srv.Close()
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64}}
	defer client.CloseIdleConnections()
	b.SetParallelism(8)
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			req, err := http.NewRequestWithContext(b.Context(), http.MethodGet, srv.URL+path, nil)
			if err != nil {
				b.Error(err)
				return
			}
			req.Header.Set("Authorization", "Bearer "+key)
			res, err := client.Do(req)
			if err != nil {
				b.Error(err)
				return
			}
			n, err := io.Copy(io.Discard, res.Body)
			res.Body.Close()
			if err != nil || int(n) != size || res.StatusCode != http.StatusOK {
				b.Errorf("%s: %d bytes, %v", res.Status, n, err)
				return
			}
		}
	})
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "req/s")
}
