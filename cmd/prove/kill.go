package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"solewright/assess"
	"solewright/reports/sim"
)

// What each round of a kill sends, and by how many clients.
const (
	killReadings = 1000
	killClients  = 4
	killRounds   = 10
)

// sending is one reading on its way.
type sending struct {
	id        string
	body      []byte
	canonical []byte // of what is sent
	tried     bool
	ack       []byte // what the server said it stored, nil without an answer
}

// takesSecret reports whether a reading takes the signature of a second person,
// whose secret isn't known here.
func takesSecret(r *assess.Record) bool { return r.HasSecond && r.Given != assess.NoVerdict }

// sendingOf returns a reading as a tablet sends it, nil for one that takes a secret.
func sendingOf(r *assess.Record) *sending {
	if takesSecret(r) {
		return nil
	}
	r.VoidedAt, r.VoidReason = time.Time{}, "" // a reading is voided by another request
	return &sending{id: r.ID.String(), body: assess.AppendJSON(nil, r), canonical: assess.Canonical(r)}
}

// killing is one kind of kill.
type killing struct {
	name string
	db   string
	// strike kills, and returns once what was killed has ended.
	strike func(*server) error
	// recover starts what was killed, and returns the server to go on with.
	recover func(*server) (*server, error)
}

// losses counts what the rounds of a kill left.
type losses struct {
	acked, intact           int // before the kill, and the same afterwards
	unanswered, storedOf    int // sent without an answer; those of them that are stored, whole
	sentAgain, known, fresh int // after the restart: answered 200 and 201
	verified                int // rounds after which verify found no difference
	longest                 time.Duration
	earliest, latest        int // acknowledged readings of a round at the kill
}

func proveKill(l *lab) error {
	t := newTable("No acknowledged reading is lost to kill -9",
		"killed", "rounds", "acknowledged before", "of them the same after", "acknowledged in a round", "no answer, tried", "of them stored whole",
		"sent again", "answered 200", "answered 201", "verify exits 0", "longest restart s")
	t.note("each round: %d PUT /api/v1/inspections/{id} by %d clients, SIGKILL in the middle, restart, then GET of every acknowledged reading against its acknowledgement, every member but the flag pair-contradicts, which is of the pair as it is now, and against the canonical form of what was sent", killReadings, killClients)
	t.note("then every other reading is sent again, all %d are read back, and `solewright verify` recounts every reading and pair of all rounds so far", killReadings)
	t.note("one reading lost, half there or otherwise than it was ends the proof without a table")
	t.note("a killed process, not a power cut: what the operating system had taken over was kept")
	rounds := l.roundsOr(killRounds)
	fleet := sim.New(sim.Options{Seed: 4, Inspections: 2 * rounds * killReadings, Judge: true})

	if err := l.killKind(t, fleet, killing{name: "server on SQLite", db: "file:" + l.path("kill.db"), strike: strikeServer}); err != nil {
		return err
	}
	c, err := l.startCluster("postgres")
	if err != nil {
		return err
	}
	defer c.stop()
	t.note("PostgreSQL %s with fsync, full_page_writes and synchronous_commit on", c.version)
	if err := l.killKind(t, fleet, killing{name: "server on PostgreSQL", db: c.url, strike: strikeServer}); err != nil {
		return err
	}
	db, err := c.another("killed")
	if err != nil {
		return err
	}
	if err := l.killKind(t, fleet, killing{
		name: "every process of PostgreSQL", db: db,
		strike: func(*server) error { return c.killAll() },
		recover: func(s *server) (*server, error) {
			if _, err := c.restart(); err != nil {
				return nil, err
			}
			ctx, cancel := context.WithTimeout(l.ctx, readyWithin)
			defer cancel()
			return s, poll(ctx, func() bool { return s.isReady(ctx) })
		},
	}); err != nil {
		return err
	}
	return l.write("kill", t)
}

func strikeServer(s *server) error {
	s.kill()
	return nil
}

// killKind runs the rounds of one kind of kill and adds their row.
func (l *lab) killKind(t *table, fleet *sim.Fleet, k killing) error {
	secret, err := l.settle(k.db, fleet)
	if err != nil {
		return err
	}
	serve := func(*server) (*server, error) { return l.serve("serve", "--db", k.db, "--data", l.path("data")) }
	if k.recover == nil {
		k.recover = serve
	}
	s, err := serve(nil)
	if err != nil {
		return err
	}
	defer func() { s.kill() }()
	var sum losses
	draw := rand.New(rand.NewPCG(uint64(len(k.name)), uint64(fleet.Len())))
	batch := make([]*sending, 0, killReadings)
	round := 0
	for r := range fleet.Inspections() {
		one := sendingOf(r)
		if one == nil {
			continue
		}
		batch = append(batch, one)
		if len(batch) < killReadings {
			continue
		}
		round++
		after := killReadings/10 + draw.IntN(killReadings*8/10)
		if s, err = l.killRound(k, s, secret, batch, after, &sum); err != nil {
			return fmt.Errorf("%s, round %d: %w", k.name, round, err)
		}
		batch = batch[:0]
		if round == l.roundsOr(killRounds) {
			break
		}
	}
	if round < l.roundsOr(killRounds) {
		return fmt.Errorf("%s: readings for %d rounds of %d", k.name, round, l.roundsOr(killRounds))
	}
	t.row(k.name, round, sum.acked, sum.intact, fmt.Sprintf("%d–%d", sum.earliest, sum.latest), sum.unanswered, sum.storedOf,
		sum.sentAgain, sum.known, sum.fresh, fmt.Sprintf("%d of %d", sum.verified, round), seconds(sum.longest))
	return nil
}

// killRound sends a batch, kills after so many acknowledgements, starts again
// and looks at what is stored. Anything lost, changed or half there is an error.
func (l *lab) killRound(k killing, s *server, secret string, batch []*sending, after int, sum *losses) (*server, error) {
	if err := l.sendUntilKilled(k, s, secret, batch, after); err != nil {
		return s, err
	}
	begin := time.Now()
	next, err := k.recover(s)
	if err != nil {
		return s, err
	}
	sum.longest = max(sum.longest, time.Since(begin))
	c := newClient(next.url, secret, 1)
	defer c.close()
	acked := 0
	for _, one := range batch {
		status, stored, err := c.get(l.ctx, one.id)
		switch {
		case err != nil:
			return next, err
		case one.ack != nil:
			acked++
			if status != http.StatusOK {
				return next, fmt.Errorf("%s was acknowledged and is lost: %w", one.id, unexpected(status, stored, nil))
			}
			if err := errors.Join(one.whole(stored), one.acknowledged(stored)); err != nil {
				return next, err
			}
			sum.intact++
			continue
		case status != http.StatusOK && status != http.StatusNotFound:
			return next, fmt.Errorf("%s: GET answers %d %s", one.id, status, stored)
		}
		present := status == http.StatusOK
		if present {
			if err := one.whole(stored); err != nil {
				return next, err
			}
		}
		if one.tried {
			sum.unanswered++
			if present {
				sum.storedOf++
			}
		} else if present {
			return next, fmt.Errorf("%s was never sent and is stored", one.id)
		}
		want := http.StatusCreated
		if present {
			want = http.StatusOK
		}
		status, answer, err := c.put(l.ctx, one.id, one.body)
		if err != nil || status != want {
			return next, fmt.Errorf("%s sent again: want %d: %w", one.id, want, unexpected(status, answer, err))
		}
		sum.sentAgain++
		if present {
			sum.known++
		} else {
			sum.fresh++
		}
	}
	for _, one := range batch {
		status, stored, err := c.get(l.ctx, one.id)
		if err != nil || status != http.StatusOK {
			return next, fmt.Errorf("%s at the end: %w", one.id, unexpected(status, stored, err))
		}
		if err := one.whole(stored); err != nil {
			return next, err
		}
	}
	if _, _, err := l.solewright(nil, "verify", "--db", k.db); err != nil {
		return next, err
	}
	sum.verified++
	sum.acked += acked
	if sum.earliest == 0 || acked < sum.earliest {
		sum.earliest = acked
	}
	sum.latest = max(sum.latest, acked)
	return next, nil
}

// sendUntilKilled sends a batch by all clients, and kills once after readings
// are acknowledged. A client stops at its first reading without an answer.
func (l *lab) sendUntilKilled(k killing, s *server, secret string, batch []*sending, after int) error {
	c := newClient(s.url, secret, killClients)
	defer c.close()
	var acked atomic.Int64
	var struck atomic.Bool
	errs := make([]error, killClients+1)
	middle := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		<-middle
		struck.Store(true) // before the blow, or an answer could fail unexplained
		errs[killClients] = k.strike(s)
	})
	var clients sync.WaitGroup
	for n := range killClients {
		clients.Go(func() {
			for i := n; i < len(batch); i += killClients {
				one := batch[i]
				one.tried = true
				status, answer, err := c.put(l.ctx, one.id, one.body)
				if err == nil && status == http.StatusCreated {
					one.ack = answer
					if acked.Add(1) == int64(after) {
						close(middle)
					}
					continue
				}
				if !struck.Load() || err == nil && status < http.StatusInternalServerError {
					errs[n] = fmt.Errorf("%s: %w", one.id, unexpected(status, answer, err))
				}
				return
			}
		})
	}
	clients.Wait()
	if int(acked.Load()) < after {
		close(middle) // so that the one who waits to kill ends
	}
	wg.Wait()
	if int(acked.Load()) == len(batch) {
		return errors.New("every reading was acknowledged before the kill")
	}
	return errors.Join(errs...)
}

// whole reports how a stored reading differs from what was sent.
func (one *sending) whole(stored []byte) error {
	r, err := assess.DecodeJSON(stored)
	if err != nil {
		return fmt.Errorf("%s is stored as %s: %w", one.id, stored, err)
	}
	if got := assess.Canonical(&r); !bytes.Equal(got, one.canonical) {
		return fmt.Errorf("%s is stored as %s, was sent as %s", one.id, got, one.canonical)
	}
	return nil
}

// acknowledged reports how a stored reading differs from its acknowledgement.
// The flag that says that the pair's readings contradict each other is counted
// as it is read, by all that is stored then, and left out.
func (one *sending) acknowledged(stored []byte) error {
	was, err := assess.DecodeJSON(one.ack)
	if err != nil {
		return fmt.Errorf("%s was acknowledged as %s: %w", one.id, one.ack, err)
	}
	is, err := assess.DecodeJSON(stored)
	if err != nil {
		return fmt.Errorf("%s is stored as %s: %w", one.id, stored, err)
	}
	was.Flags &^= assess.FlagPairContradicts
	is.Flags &^= assess.FlagPairContradicts
	if before, after := assess.AppendJSON(nil, &was), assess.AppendJSON(nil, &is); !bytes.Equal(before, after) {
		return fmt.Errorf("%s was acknowledged as %s and is stored as %s", one.id, before, after)
	}
	return nil
}
