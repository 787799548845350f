package dashboard

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"solewright/models"
	"solewright/models/dbtest"
)

func TestMetricsKeepToTheConventions(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading)
	r.post("/sign-in", credentials("nobody", "wrong", ""))
	problems, err := testutil.GatherAndLint(r.registry)
	must(t, err)
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
	if got := testutil.ToFloat64(r.metrics.inspections.WithLabelValues("trade-in", "keep")); got != 1 {
		t.Errorf("%v sound trade-ins counted, want 1", got)
	}
	if got := testutil.ToFloat64(r.metrics.signInFailures.WithLabelValues("denied")); got != 1 {
		t.Errorf("%v refused sign-ins counted, want 1", got)
	}
	if got := testutil.ToFloat64(r.metrics.inFlight); got != 0 {
		t.Errorf("%v requests in flight, want none", got)
	}
}

func TestAReadingSentAgainCountsOnce(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading)
	want(t, r.call("PUT", apiRoot+"/inspections/"+id(1), r.office(), soundReading), http.StatusOK)
	if got := testutil.ToFloat64(r.metrics.inspections.WithLabelValues("trade-in", "keep")); got != 1 {
		t.Errorf("%v counted, want 1", got)
	}
}

// TestNobodyMakesTimeSeries sends what somebody might make up: paths, methods
// and codes must not become labels.
func TestNobodyMakesTimeSeries(t *testing.T) {
	r := newRig(t)
	r.call("GET", "/healthz", "", nil)
	r.call("GET", "/no-a", "", nil)
	before := testutil.CollectAndCount(r.metrics.requests)
	for _, path := range []string{"/no-b", "/no-c", "/.env", "/no?d=1"} {
		r.call("GET", path, "", nil)
	}
	if after := testutil.CollectAndCount(r.metrics.requests); after != before {
		t.Errorf("%d series became %d by unknown addresses", before, after)
	}
	r.call("BREW", "/healthz", "", nil)
	r.call("STEEP", "/healthz", "", nil)
	if after := testutil.CollectAndCount(r.metrics.requests); after != before+1 {
		t.Errorf("%d series became %d by two unknown methods, want one more", before, after)
	}
}

func TestMetricsNeedTheirToken(t *testing.T) {
	r := newRig(t)
	want(t, r.call("GET", "/metrics", "", nil), http.StatusNotFound)
	want(t, r.call("GET", "/metrics", "wrong", nil), http.StatusNotFound)
	w := r.call("GET", "/metrics", "metrics-secret", nil)
	want(t, w, http.StatusOK)
	for _, name := range []string{
		"solewright_http_request_duration_seconds_bucket", "solewright_http_requests_in_flight",
		`solewright_db_connections_open{pool="primary"}`, "go_goroutines", "process_start_time_seconds",
	} {
		if !strings.Contains(w.Body.String(), name) {
			t.Errorf("%s isn't told", name)
		}
	}
	off := newRig(t, func(c *Config) { c.MetricsToken = "" })
	want(t, off.call("GET", "/metrics", "", nil), http.StatusNotFound)
	want(t, off.call("GET", "/metrics", "", nil, "Authorization", "Bearer "), http.StatusNotFound)
}

func TestARegistryIsUsedByOneServer(t *testing.T) {
	reg := prometheus.NewRegistry()
	r := newRig(t, func(c *Config) { c.Registry = reg })
	if _, err := New(Config{DB: r.db, Logger: r.log, Registry: reg}); err == nil {
		t.Error("two servers count into one registry")
	}
}

func TestReadinessSaysWhatIsMissing(t *testing.T) {
	r := newRig(t)
	w := r.call("GET", "/readyz", "", nil)
	want(t, w, http.StatusOK)
	if got := decoded[readiness](t, w); got.Checks["database"] != "ok" || got.Checks["schema"] != "ok" {
		t.Errorf("ready with %v", got.Checks)
	}
	t.Run("a check of another part", func(t *testing.T) {
		const internal = "host db-7 has no route"
		r := newRig(t, func(c *Config) {
			c.Ready = []Check{
				{"copy", func(context.Context) (string, error) { return "3 s behind", nil }},
				{"photos", func(context.Context) (string, error) { return "", errors.New(internal) }},
			}
		})
		w := r.call("GET", "/readyz", "", nil)
		want(t, w, http.StatusServiceUnavailable)
		got := decoded[readiness](t, w)
		if got.Checks["copy"] != "3 s behind" || got.Checks["photos"] == "ok" || strings.Contains(w.Body.String(), internal) {
			t.Errorf("not ready with %v", got.Checks)
		}
	})
	t.Run("a schema that is behind", func(t *testing.T) {
		db, err := models.Open(t.Context(), models.Options{URL: dbtest.EmptyURL(t, "sqlite")})
		must(t, err)
		defer db.Close()
		s, err := New(Config{DB: db, Logger: r.log})
		must(t, err)
		r := &rig{Server: s, t: t}
		w := r.call("GET", "/readyz", "", nil)
		want(t, w, http.StatusServiceUnavailable)
		if got := decoded[readiness](t, w); !strings.Contains(got.Checks["schema"], "migration") {
			t.Errorf("not ready with %v", got.Checks)
		}
	})
	// deploy/prove.sh disk fills a disk; here the write that is tried succeeds.
	t.Run("after a write that found the database full, a write is tried", func(t *testing.T) {
		r := newRig(t)
		c, _ := gin.CreateTestContext(httptest.NewRecorder())
		c.Request = httptest.NewRequest("PUT", apiRoot+"/inspections/"+id(1), nil)
		r.api(func(*gin.Context) error { return fmt.Errorf("saving: %w", models.ErrFull) })(c)
		if !r.unwritable.Load() {
			t.Error("the full database isn't remembered")
		}
		w := r.call("GET", "/readyz", "", nil)
		want(t, w, http.StatusOK)
		if got := decoded[readiness](t, w); got.Checks["writes"] != "ok" || r.unwritable.Load() {
			t.Errorf("ready with %v", got.Checks)
		}
		r.unwritable.Store(true)
		must(t, r.db.Close())
		w = r.call("GET", "/readyz", "", nil)
		want(t, w, http.StatusServiceUnavailable)
		if got := decoded[readiness](t, w); got.Checks["writes"] == "ok" || !r.unwritable.Load() {
			t.Errorf("ready to write with %v", got.Checks)
		}
	})
	t.Run("no database", func(t *testing.T) {
		r := newRig(t)
		token := r.fitter()
		must(t, r.db.Close())
		want(t, r.call("GET", "/healthz", "", nil), http.StatusOK)
		want(t, r.call("GET", "/readyz", "", nil), http.StatusServiceUnavailable)
		w := r.call("PUT", apiRoot+"/inspections/"+id(1), token, soundReading)
		if w.Code < http.StatusInternalServerError {
			t.Errorf("status %d without a database", w.Code)
		}
		if strings.Contains(w.Body.String(), "sql") {
			t.Errorf("the answer tells of the database: %s", w.Body)
		}
	})
}
