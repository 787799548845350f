package dashboard

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"solewright/models/dbtest"
)

// clients is how many tablets send at once.
const clients = 16

// BenchmarkPutInspection stores readings over HTTP as sixteen tablets would,
// each reading a pair of its own.
func BenchmarkPutInspection(b *testing.B) {
	for _, kind := range dbtest.Kinds(b) {
		b.Run(kind, func(b *testing.B) {
			clock := &testClock{now: time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)}
			db := dbtest.OpenURL(b, dbtest.MigratedURL(b, kind), dbtest.Clock(clock.Now))
			r := newRigOn(b, db, clock, func(c *Config) { c.Logger = slog.New(slog.NewJSONHandler(io.Discard, nil)) })
			token := r.fitter()
			srv := httptest.NewServer(r)
			defer srv.Close()
			client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: clients}}
			body, err := json.Marshal(soundReading)
			must(b, err)
			var n atomic.Int64
			b.SetParallelism(max(1, clients/runtime.GOMAXPROCS(0)))
			b.ResetTimer()
			b.RunParallel(func(pb *testing.PB) {
				for pb.Next() {
					url := fmt.Sprintf("%s%s/inspections/%s", srv.URL, apiRoot, id(int(n.Add(1))))
					req, err := http.NewRequestWithContext(context.Background(), "PUT", url, bytes.NewReader(body))
					if err != nil {
						b.Error(err)
						return
					}
					req.Header.Set("Content-Type", "application/json")
					req.Header.Set("Authorization", "Bearer "+token)
					resp, err := client.Do(req)
					if err != nil {
						b.Error(err)
						return
					}
					_, _ = io.Copy(io.Discard, resp.Body)
					resp.Body.Close()
					if resp.StatusCode != http.StatusCreated {
						b.Errorf("status %d", resp.StatusCode)
						return
					}
				}
			})
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}
