package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"solewright/assess"
	"solewright/reports/sim"
)

// What a measurement of put does: readings by clients at once.
const (
	putClients = 16
	putEach    = 500 // readings a client and measurement
	putRounds  = 5
	putTarget  = 0.5 // of pgbench's rate
)

// sample is two readings of a pair, one after the other; what is sent are their
// copies under other ids, of other pairs.
type sample [2]assess.Record

// provePut measures how many readings a second are stored over HTTP, against
// pgbench with the statements that the server sends for them.
func provePut(l *lab) error {
	c, err := l.startCluster("postgres")
	if err != nil {
		return err
	}
	defer c.stop()
	durable, err := c.psql("SELECT string_agg(name || ' ' || setting, ', ' ORDER BY name) FROM pg_settings WHERE name IN ('fsync', 'full_page_writes', 'synchronous_commit')")
	if err != nil {
		return err
	}
	fleet := sim.New(sim.Options{Seed: 16, Inspections: 20_000, Judge: true})
	secret, err := l.settle(c.url, fleet)
	if err != nil {
		return err
	}
	samples := samplesOf(fleet, l.roundsOr(putRounds))
	sent, err := l.capture(c, secret, samples)
	if err != nil {
		return err
	}
	t := newTable("One reading over HTTP against pgbench with the same statements",
		"reading", "round", "PUT/s", "pgbench tps", "ratio", "target")
	t.note("PUT /api/v1/inspections/{id} by %d clients, bearer token, HTTP/1.1 on loopback, %d readings a measurement; the clients run on the same processors", putClients, putClients*putEach)
	t.note("PostgreSQL %s, %s", c.version, durable)
	t.note("pgbench -M prepared -c %d runs what log_statement shows of the same PUTs (%d statement for the first reading of a pair, %d for the next), with the same values bound but for new UUIDv7 and pair references", putClients, len(sent[0][0]), len(sent[1][0]))
	t.note("each round sends the readings of another pair of the invented retailer; PUT and pgbench alternate in one database, a CHECKPOINT before each")

	s, err := l.serve("serve", "--db", c.url, "--data", l.path("data"))
	if err != nil {
		return err
	}
	defer s.kill()
	var ratios [2][]float64
	for round := range samples {
		bodies := copies(samples[round:round+1], putClients*putEach)
		for step, name := range []string{"first of its pair", "next of its pair"} {
			put, err := c.measurePut(s, secret, bodies[step])
			if err != nil {
				return err
			}
			raw, err := c.measurePgbench(&samples[round][step], sent[step][round], round)
			if err != nil {
				return err
			}
			ratios[step] = append(ratios[step], put/raw)
			t.row(name, round+1, fmt.Sprintf("%.0f", put), fmt.Sprintf("%.0f", raw), fmt.Sprintf("%.2f", put/raw), "")
		}
	}
	t.row("first of its pair", "median", "", "", fmt.Sprintf("%.2f", median(ratios[0])), fmt.Sprint("≥ ", putTarget))
	t.row("next of its pair", "median", "", "", fmt.Sprintf("%.2f", median(ratios[1])), fmt.Sprint("≥ ", putTarget))
	return l.write("put", t)
}

// samplesOf picks n pairs of the retailer with two ordinary readings.
func samplesOf(fleet *sim.Fleet, n int) []sample {
	first := map[string]assess.Record{}
	var samples []sample
	for r := range fleet.Inspections() {
		if r.Kind == assess.Blind || !r.Supersedes.IsZero() || !r.VoidedAt.IsZero() || takesSecret(r) {
			continue
		}
		before, seen := first[r.PairRef]
		switch {
		case !seen:
			first[r.PairRef] = *r
		case before.At.Before(r.At):
			samples = append(samples, sample{before, *r})
			delete(first, r.PairRef)
		}
		if len(samples) == n {
			break
		}
	}
	return samples
}

// copies returns n readings of new pairs, and one more of each.
func copies(samples []sample, n int) [2][]*sending {
	var all [2][]*sending
	now := time.Now().UnixMilli()
	for i := range n {
		var random [25]byte
		_, _ = rand.Read(random[:]) // never fails: see crypto/rand
		pairRef := assess.NewPairRef([5]byte(random[20:]))
		for step := range all {
			r := samples[i%len(samples)][step]
			r.ID = assess.NewV7(now+int64(i/putClients), [10]byte(random[10*step:]))
			r.PairRef = pairRef
			all[step] = append(all[step], sendingOf(&r))
		}
	}
	return all
}

// capture returns the statements that the server sends for the first and for
// the next reading of each sample's pair, and gives the samples the id and pair
// that stand in them.
func (l *lab) capture(c *cluster, secret string, samples []sample) ([2][][]statement, error) {
	var sent [2][][]statement
	s, err := l.serve("serve", "--db", c.url+"&log_statement=all", "--data", l.path("data"))
	if err != nil {
		return sent, err
	}
	defer s.kill()
	api := newClient(s.url, secret, 1)
	defer api.close()
	log := filepath.Join(c.dir, "server.log")
	for warm := 1; warm >= 0; warm-- { // once over, so that what is asked once is known
		bodies := copies(samples, len(samples))
		for step := range bodies {
			for i, one := range bodies[step] {
				before, err := os.Stat(log)
				if err != nil {
					return sent, err
				}
				if status, answer, err := api.put(l.ctx, one.id, one.body); err != nil || status != http.StatusCreated {
					return sent, fmt.Errorf("%s: %w", one.id, unexpected(status, answer, err))
				}
				if warm > 0 {
					continue
				}
				text, err := os.ReadFile(log)
				if err != nil {
					return sent, err
				}
				statements, err := parseLog(string(text[before.Size():]))
				if err != nil {
					return sent, err
				}
				sent[step] = append(sent[step], statements)
				if samples[i][step], err = assess.DecodeJSON(one.body); err != nil {
					return sent, err
				}
			}
		}
	}
	for step := range sent {
		for i := range sent[step] {
			if len(sent[step][i]) == 0 || !sameStatements(sent[step][i], sent[step][0]) {
				return sent, fmt.Errorf("reading %d takes %d statements, the first takes %d, and not the same", i, len(sent[step][i]), len(sent[step][0]))
			}
		}
	}
	return sent, nil
}

// measurePut sends readings by all clients and returns how many a second were
// stored.
func (c *cluster) measurePut(s *server, secret string, bodies []*sending) (float64, error) {
	if _, err := c.psql("CHECKPOINT"); err != nil {
		return 0, err
	}
	api := newClient(s.url, secret, putClients)
	defer api.close()
	ctx, cancel := context.WithCancel(c.l.ctx)
	defer cancel()
	errs := make([]error, putClients)
	begin := time.Now()
	var wg sync.WaitGroup
	for n := range putClients {
		wg.Go(func() {
			for i := n; i < len(bodies); i += putClients {
				status, answer, err := api.put(ctx, bodies[i].id, bodies[i].body)
				if err != nil || status != http.StatusCreated {
					errs[n] = fmt.Errorf("%s: %w", bodies[i].id, unexpected(status, answer, err))
					cancel()
					return
				}
			}
		})
	}
	wg.Wait()
	return float64(len(bodies)) / time.Since(begin).Seconds(), errors.Join(errs...)
}

// measurePgbench runs the statements that stored a reading.
func (c *cluster) measurePgbench(r *assess.Record, sent []statement, round int) (float64, error) {
	if _, err := c.psql("CHECKPOINT"); err != nil {
		return 0, err
	}
	var s script
	text, err := s.write(sent, r.ID.String(), r.PairRef, time.Now().UnixMilli(), round)
	if err != nil {
		return 0, err
	}
	name := c.l.path("put.sql")
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		return 0, err
	}
	return c.pgbench(name, s.variables, putClients, putEach)
}

// median returns the middle of some numbers; of an even count, the lower of the
// two in the middle.
func median(all []float64) float64 {
	sorted := slices.Sorted(slices.Values(all))
	return sorted[(len(sorted)-1)/2]
}
