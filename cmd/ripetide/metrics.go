package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"ripetide/db"
	"ripetide/db/archive"
)

// builtMetric is the name of the one metric that no other program has.
const builtMetric = "ripetide_build_info"

// metrics count what the service does. Labels are routes and classes of statuses,
// never what somebody sent, so that there are as many series as routes.
type metrics struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	took     *prometheus.HistogramVec
}

func newMetrics() *metrics {
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "ripetide_requests_total", Help: "Requests that were answered."}, []string{"method", "route", "status"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "ripetide_request_seconds", Help: "How long answers took.", Buckets: []float64{.005, .02, .05, .1, .25, .5, 1, 2.5, 5, 10, 30},
		}, []string{"method", "route"}),
	}
	built := prometheus.NewGauge(prometheus.GaugeOpts{Name: builtMetric, Help: "1.", ConstLabels: prometheus.Labels{"version": version}})
	built.Set(1)
	m.registry.MustRegister(m.requests, m.took, built, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// methods are those that are told by name; any other text may be sent as one.
var methods = map[string]bool{http.MethodGet: true, http.MethodHead: true, http.MethodPost: true, http.MethodPut: true, http.MethodDelete: true}

// observe counts a request.
func (m *metrics) observe(method, route string, status int, took time.Duration) {
	if !methods[method] {
		method = "other"
	}
	if route == "" {
		route = "unknown"
	}
	m.requests.WithLabelValues(method, route, strconv.Itoa(status/100)+"xx").Inc()
	m.took.WithLabelValues(method, route).Observe(took.Seconds())
}

// watch adds the pool of connections and the backups.
func (m *metrics) watch(s *db.Store, backups archive.Folder, now func() time.Time) {
	gauge := func(name, help string, value func() float64) {
		m.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help}, value))
	}
	gauge("ripetide_connections_used", "Connections to the database in use.", func() float64 { return float64(s.Connections().Used) })
	gauge("ripetide_connections_idle", "Connections to the database at rest.", func() float64 { return float64(s.Connections().Idle) })
	gauge("ripetide_connections_most", "Most connections to the database.", func() float64 { return float64(s.Connections().Most) })
	if backups.Dir == "" {
		return
	}
	gauge("ripetide_newest_backup_timestamp_seconds", "When the newest backup was made; 0: there is none.", func() float64 {
		t, there, err := backups.Newest(now())
		if err != nil || !there {
			return 0
		}
		return float64(t.Unix())
	})
}

// serve answers on an address of its own until ctx ends.
func (m *metrics) serve(ctx context.Context, addr string, log *slog.Logger) (stop func(), err error) {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn)}))
	srv := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 10 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10}
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("listen on %s: %w; set RIPETIDE_METRICS to another address", addr, err)
	}
	log.InfoContext(ctx, "metrics", slog.String("addr", "http://"+l.Addr().String()+"/metrics"))
	go func() {
		if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			log.ErrorContext(ctx, "metrics ended", slog.Any("error", err))
		}
	}()
	return func() { _ = srv.Close() }, nil // Nothing of it need be finished.
}
