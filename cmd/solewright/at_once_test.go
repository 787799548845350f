package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"sync"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
	"solewright/reports/sim"
)

// A shop's day at once, in one process for the race detector: tablets judge and
// store, one pair of them the same readings, while managers look at pages and
// the office exports. Every reading is acknowledged, kept once, and counts.
func TestEverybodyAtOnce(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		const tablets, readings, settled = 4, 6, 200
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		a := &app{ctx: ctx, getenv: func(string) string { return "" }, now: time.Now, stdout: io.Discard, stderr: io.Discard}
		if err := settle(a, db, sim.New(sim.Options{Seed: 1, Inspections: settled, Judge: true})); err != nil {
			t.Fatal(err)
		}
		if err := db.SetPassword(ctx, operator, "HQ-02", demoPassword); err != nil {
			t.Fatal(err)
		}
		secret, err := db.AddToken(ctx, operator, models.Token{Name: "tablets", Role: retail.Fitter, Scopes: models.Fleet}, time.Hour)
		if err != nil {
			t.Fatal(err)
		}
		address, ended := make(chan string, 1), make(chan error, 1)
		s := serveCmd{database: database{Data: t.TempDir()}, Addr: "127.0.0.1:0", MetricsToken: "measured"}
		go func() {
			ended <- s.serve(a, db, a.logger(), func(addr string) { address <- addr })
		}()
		var root string
		select {
		case addr := <-address:
			root = "http://" + addr
		case err := <-ended:
			t.Fatalf("the server ended: %v", err)
		}

		const kind = "application/json"
		tablet := &caller{t: t, url: root, token: secret}
		metrics := &caller{t: t, url: root, token: "measured"}
		office := &caller{t: t, url: root}
		for begin := time.Now(); ; {
			status, text := office.ask("GET", "/readyz", kind, nil)
			if status == http.StatusOK {
				break
			}
			if time.Since(begin) > startsWithin {
				t.Fatalf("/readyz: %d %s", status, text)
			}
		}
		jar, err := cookiejar.New(nil)
		if err != nil {
			t.Fatal(err)
		}
		office.client.Jar = jar
		resp, err := office.client.PostForm(root+"/sign-in", url.Values{"staff": {"HQ-02"}, "password": {demoPassword}, "next": {"/fleet"}})
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusOK || resp.Request.URL.Path != "/fleet" {
			t.Fatalf("signed in at %s: %d", resp.Request.URL, resp.StatusCode)
		}

		pair := assess.NewPairRef([5]byte{1})
		var mu sync.Mutex
		answers := map[int]int{}
		var busy sync.WaitGroup
		for who := range tablets {
			busy.Go(func() {
				for n := range readings {
					// The first two tablets send the same readings, of one pair.
					at := time.Date(2026, 11, 2, 10, n, 0, 0, time.UTC)
					body := fmt.Sprintf(`{"store":"E1","staff":"E1-01","at":%q,"kind":"check","km":%d,"pair_ref":%q,"left":{"bond":"parted"}}`,
						at.Format(time.RFC3339), 100+n, pair)
					own := byte(max(who, 1))
					id := assess.NewV7(at.UnixMilli(), [10]byte{own, byte(n)})
					if status, text := tablet.ask("POST", "/api/v1/judge", kind, []byte(body)); status != http.StatusOK {
						t.Errorf("judge: %d %s", status, text)
					}
					status, text := tablet.ask("PUT", "/api/v1/inspections/"+id.String(), kind, []byte(body))
					if status != http.StatusCreated && status != http.StatusOK {
						t.Errorf("tablet %d, reading %d: %d %s", who, n, status, text)
					}
					mu.Lock()
					answers[status]++
					mu.Unlock()
					if status, text := tablet.ask("GET", "/api/v1/pairs/"+pair, kind, nil); status != http.StatusOK {
						t.Errorf("the pair: %d %s", status, text)
					}
				}
			})
		}
		for _, paths := range [][]string{
			{"/fleet", "/fleet/stores/E1", "/fleet?region=E", "/api/v1/wear/shares", "/fleet/compare", "/methods"},
			{"/api/v1/wear/signals", "/fleet", "/api/v1/wear/stores", "/office/catalogue", "/fleet/pairs", "/"},
			{"/bench", "/bench/context.json", "/api/v1/export/inspections.csv", "/api/v1/wear/life", "/office/trail", "/readyz"},
		} {
			busy.Go(func() {
				for range 2 {
					for _, path := range paths {
						if status, text := office.ask("GET", path, kind, nil); status != http.StatusOK {
							t.Errorf("%s: %d %.300s", path, status, text)
						}
					}
				}
			})
		}
		busy.Go(func() {
			for range 20 {
				if status, text := metrics.ask("GET", "/metrics", kind, nil); status != http.StatusOK {
					t.Errorf("/metrics: %d %.300s", status, text)
				}
			}
		})
		busy.Wait()

		if answers[http.StatusCreated] != (tablets-1)*readings || answers[http.StatusOK] != readings {
			t.Errorf("answers %v, want %d readings stored, %d found to be there", answers, (tablets-1)*readings, readings)
		}
		_, text := tablet.ask("GET", "/api/v1/pairs/"+pair, kind, nil)
		var history struct {
			Life struct{ Readings, Upper int }
		}
		if err := json.Unmarshal(text, &history); err != nil || history.Life.Readings != (tablets-1)*readings || history.Life.Upper != 100 {
			t.Errorf("the pair's life is %+v (%v), want %d readings and worn at 100", history.Life, err, (tablets-1)*readings)
		}
		counted, err := db.Verify(ctx, func(d models.Difference) error { t.Errorf("%+v", d); return nil })
		if err != nil || counted.Inspections < (tablets-1)*readings {
			t.Errorf("verify: %+v, %v", counted, err)
		}
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
}
