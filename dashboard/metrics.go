package dashboard

import (
	"crypto/sha256"
	"crypto/subtle"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"solewright/models"
)

// namespace begins every metric's name.
const namespace = "solewright"

// metrics is what the server counts. Labels are closed sets: route patterns,
// known methods, words of the domain; never an address, a code or a path.
type metrics struct {
	requests       *prometheus.HistogramVec
	inFlight       prometheus.Gauge
	inspections    *prometheus.CounterVec
	signInFailures *prometheus.CounterVec
}

// newMetrics makes the metrics and registers them.
func newMetrics(reg prometheus.Registerer, db *models.DB) (*metrics, error) {
	m := &metrics{
		requests: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Namespace: namespace,
			Name:      "http_request_duration_seconds",
			Help:      "Time from the first byte of a request to the last of its answer, by route pattern, method and status.",
			Buckets:   []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30},
		}, []string{"route", "method", "code"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{
			Namespace: namespace,
			Name:      "http_requests_in_flight",
			Help:      "Requests being answered now.",
		}),
		inspections: prometheus.NewCounterVec(prometheus.CounterOpts{
			Namespace: namespace,
			Name:      "inspections_recorded_total",
			Help:      "Inspections stored for the first time, by kind and advised verdict.",
		}, []string{"kind", "verdict"}),
		signInFailures: prometheus.NewCounterVec(prometheus.CounterOpts{
			Namespace: namespace,
			Name:      "sign_in_failures_total",
			Help:      "Sign-ins refused, by reason.",
		}, []string{"reason"}),
	}
	for _, c := range []prometheus.Collector{
		m.requests, m.inFlight, m.inspections, m.signInFailures,
		poolCollector{db},
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	} {
		if err := reg.Register(c); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// poolCollector reads the state of the database's pools when it is asked.
type poolCollector struct{ db *models.DB }

// poolMetric is one thing told of a pool.
type poolMetric struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
	of   func(models.Pool) float64
}

// poolMetrics are what is told of each pool.
var poolMetrics = []poolMetric{
	newPoolMetric("db_connections_open", "Connections to the database, in use or idle.", prometheus.GaugeValue,
		func(p models.Pool) float64 { return float64(p.OpenConnections) }),
	newPoolMetric("db_connections_in_use", "Connections that a statement is using.", prometheus.GaugeValue,
		func(p models.Pool) float64 { return float64(p.InUse) }),
	newPoolMetric("db_connections_max", "Connections that the pool may open.", prometheus.GaugeValue,
		func(p models.Pool) float64 { return float64(p.MaxOpenConnections) }),
	newPoolMetric("db_waits_total", "Times a request waited for a connection.", prometheus.CounterValue,
		func(p models.Pool) float64 { return float64(p.WaitCount) }),
	newPoolMetric("db_wait_seconds_total", "Time requests waited for a connection.", prometheus.CounterValue,
		func(p models.Pool) float64 { return p.WaitDuration.Seconds() }),
	newPoolMetric("db_statements_total", "Statements sent to the database.", prometheus.CounterValue,
		func(p models.Pool) float64 { return float64(p.Statements) }),
}

func newPoolMetric(name, help string, kind prometheus.ValueType, of func(models.Pool) float64) poolMetric {
	return poolMetric{prometheus.NewDesc(prometheus.BuildFQName(namespace, "", name), help, []string{"pool"}, nil), kind, of}
}

// Describe tells what Collect will send.
func (poolCollector) Describe(ch chan<- *prometheus.Desc) {
	for _, m := range poolMetrics {
		ch <- m.desc
	}
}

// Collect sends the state of every pool.
func (p poolCollector) Collect(ch chan<- prometheus.Metric) {
	for _, pool := range p.db.Pools() {
		for _, m := range poolMetrics {
			ch <- prometheus.MustNewConstMetric(m.desc, m.kind, m.of(pool), pool.Name)
		}
	}
}

// routeLabel returns the pattern of the request's route, never its path:
// whatever somebody types into an address must not become a time series.
func routeLabel(c *gin.Context) string {
	if p := c.FullPath(); p != "" {
		return p
	}
	return "unmatched"
}

// methods are the methods that routes use; the rest is counted together.
var methods = []string{
	http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodOptions,
}

func methodLabel(m string) string {
	if slices.Contains(methods, m) {
		return m
	}
	return "other"
}

// Metrics serves what is counted, for a listener of its own that only the
// monitoring reaches.
func (s *Server) Metrics() http.Handler {
	return promhttp.HandlerFor(s.registry, promhttp.HandlerOpts{Registry: s.registry})
}

// getMetrics serves the metrics to whoever knows the token.
func (s *Server) getMetrics(c *gin.Context) error {
	want := sha256.Sum256([]byte("Bearer " + s.cfg.MetricsToken))
	got := sha256.Sum256([]byte(c.GetHeader("Authorization")))
	if s.cfg.MetricsToken == "" || subtle.ConstantTimeCompare(want[:], got[:]) != 1 {
		return refuse(notFound, "there is nothing at this address")
	}
	s.Metrics().ServeHTTP(c.Writer, c.Request)
	return nil
}
