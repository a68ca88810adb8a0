package web

import (
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// metrics are what the server counts, in the Prometheus format.
type metrics struct {
	registry *prometheus.Registry
	handler  http.Handler
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	inFlight prometheus.Gauge
}

func newMetrics(s *Server) *metrics {
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "fairpull_http_requests_total", Help: "Requests answered, by route and status."}, []string{"route", "status"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "fairpull_http_request_seconds", Help: "Time to answer, by route; streams of events left out.",
			Buckets: []float64{0.005, 0.01, 0.025, 0.05, 0.1, 0.15, 0.25, 0.5, 1, 2.5, 5, 10}}, []string{"route"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{Name: "fairpull_http_requests_in_flight", Help: "Requests being answered now."}),
	}
	streams := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "fairpull_event_streams", Help: "Pages that follow the workspace now."},
		func() float64 { return float64(s.watch.count()) })
	looks := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "fairpull_analyses_kept", Help: "Analyses kept in memory for those who look next."},
		func() float64 { return float64(s.desk.LooksKept()) })
	m.registry.MustRegister(m.requests, m.seconds, m.inFlight, streams, looks,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	m.handler = promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{DisableCompression: true})
	return m
}

func (s *Server) showMetrics(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Cache-Control", "no-store")
	s.metrics.handler.ServeHTTP(w, r)
	return nil
}

// healthy says that the server answers.
func (s *Server) healthy(w http.ResponseWriter, _ *http.Request) error { return say(w, "ok\n") }

// ready says that the workspace answers, too.
func (s *Server) ready(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.desk.LastChange(r.Context()); err != nil {
		s.o.Log.Error("not ready", "error", err)
		http.Error(w, "the workspace does not answer", http.StatusServiceUnavailable)
		return nil
	}
	return say(w, "ready\n")
}

func say(w http.ResponseWriter, text string) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write([]byte(text)) // who asked and went away needs no answer
	return nil
}

// counted notes the status of an answer.
type counted struct {
	http.ResponseWriter
	status int
}

func (c *counted) WriteHeader(status int) {
	if c.status == 0 {
		c.status = status
	}
	c.ResponseWriter.WriteHeader(status)
}

func (c *counted) Write(p []byte) (int, error) {
	if c.status == 0 {
		c.status = http.StatusOK
	}
	return c.ResponseWriter.Write(p)
}

// Flush sends what there is.
func (c *counted) Flush() { _ = http.NewResponseController(c.ResponseWriter).Flush() }

// Unwrap lets a response controller reach the connection.
func (c *counted) Unwrap() http.ResponseWriter { return c.ResponseWriter }

// observe logs and counts every request. What a request carries is not logged,
// its address apart.
func (s *Server) observe(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		begun := time.Now()
		c := &counted{ResponseWriter: w}
		s.metrics.inFlight.Inc()
		defer func() {
			s.metrics.inFlight.Dec()
			route, took := r.Pattern, time.Since(begun)
			if route == "" {
				route = "none"
			}
			s.metrics.requests.WithLabelValues(route, strconv.Itoa(c.status)).Inc()
			if route != "GET /events" {
				s.metrics.seconds.WithLabelValues(route).Observe(took.Seconds())
			}
			s.o.Log.Info("request", "method", r.Method, "path", r.URL.Path, "status", c.status, "ms", took.Milliseconds())
		}()
		next.ServeHTTP(c, r)
	})
}
