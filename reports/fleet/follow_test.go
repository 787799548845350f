package fleet_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/facts"
	"solewright/models/retail"
	"solewright/reports/fleet"
)

// places stores two stores in two regions and two models.
func places(t testing.TB, db *models.DB) {
	t.Helper()
	ctx := t.Context()
	for i, code := range []string{"S-1", "S-2"} {
		region := []string{"NORTH", "SOUTH"}[i]
		check(t, db.SaveRegion(ctx, office, retail.Region{Code: region, Name: region, Currency: "EUR"}))
		check(t, db.SaveStore(ctx, office, retail.Store{
			Code: code, Name: code, Region: region, Zone: []string{"Europe/Madrid", "Pacific/Auckland"}[i], Currency: "EUR", Unit: "km",
		}))
	}
	for i, name := range []string{"Arc", "Bow"} {
		must(db.SaveShoeModel(ctx, office, retail.ShoeModel{ID: assess.UUID{byte(i + 1)}, Brand: "Velm", Model: name, Category: "daily"}))(t)
	}
}

// reading makes the n-th reading of a pair.
func reading(n int, pair string, day, km int, verdict assess.Verdict) models.NewInspection {
	r := assess.Record{
		ID: assess.NewV7(int64(n), [10]byte{byte(n), byte(n >> 8)}), PairRef: pair, Store: "S-1", Staff: "F-1",
		At:   time.Date(2026, 1, 1, 20, 0, 0, 0, time.UTC).AddDate(0, 0, day),
		Kind: assess.WearCheck, Brand: "Velm", Model: "Arc", Distance: assess.Of(10 * km), KMUnit: assess.Of(assess.Kilometres),
		Gait: assess.Of(n % 5), Runner: fmt.Sprint("R-", n%4),
	}
	r.Derive()
	return models.NewInspection{
		Record: r, SHA: sha256.Sum256(fmt.Append(nil, n, pair, day, km, verdict)),
		Facts: models.Facts{
			Verdict: verdict, Codes: []string{"heel-through", "bond-lifting"}[n%2:],
			Pattern: assess.PairPattern{Heel: assess.LateralWear, Fore: assess.LightWear, Side: assess.EvenWear, DecidedBy: assess.Right},
		},
	}
}

func pairRef(n int) string { return assess.NewPairRef([5]byte{1, 2, 3, byte(n >> 8), byte(n)}) }

// sameAsFresh fails unless a copy that followed equals one that reads the whole
// database, and counts as the export does by some dimensions.
func sameAsFresh(t testing.TB, db *models.DB, followed *fleet.View, dims ...fleet.Dim) {
	t.Helper()
	c := fleet.New(fleet.Options{Source: db.Feed(), Clock: now})
	check(t, c.Load(t.Context()))
	fresh := c.View()
	if followed.Rows != fresh.Rows || followed.Pairs != fresh.Pairs || followed.Fingerprint() != fresh.Fingerprint() {
		t.Errorf("followed: %d readings of %d pairs, %s; read anew: %d of %d, %s", followed.Rows, followed.Pairs, followed.Fingerprint(),
			fresh.Rows, fresh.Pairs, fresh.Fingerprint())
	}
	all := lines(t, db)
	for _, d := range dims {
		if diff := cmp.Diff(counts(all, d), asMap(must(followed.Count(fleetWide(), d))(t))); diff != "" {
			t.Errorf("by %s (-export +copy):\n%s", d, diff)
		}
	}
}

// catchUp has a copy follow everything that was written by now. A transaction
// anywhere on the server holds the feed back, such as that of another package's
// tests, so it waits until all that are open now have ended.
func catchUp(t testing.TB, db *models.DB, c *fleet.Copy) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	begun := must(db.Feed().Changed(ctx, facts.Position{}, 1))(t).Newest
	for must(db.Feed().Changed(ctx, facts.Position{}, 1))(t).Horizon < begun {
		runtime.Gosched()
	}
	must(c.Step(ctx))(t)
}

// TestHistories runs random histories through a database and a copy that follows
// it, starting again from the snapshot now and then.
func TestHistories(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		places(t, db)
		next := 1 // numbers of readings and pairs go on, as histories share the database
		snapshot := filepath.Join(t.TempDir(), "fleet.snapshot")
		rapid.Check(t, func(r *rapid.T) {
			ctx := t.Context()
			// The loop of a server, held still: it saves when its context ends.
			start := func() *fleet.Copy {
				return fleet.New(fleet.Options{Source: db.Feed(), Clock: now, Snapshot: snapshot})
			}
			c := start()
			check(t, c.Load(ctx))
			var stored []models.NewInspection
			var pairs []string
			verdict := rapid.SampledFrom([]assess.Verdict{assess.Keep, assess.ReplacePair, assess.Incomplete, assess.RecheckPair})
			// What the records refuse, such as voiding twice, changes nothing.
			one := rapid.SampledFrom([]string{"add", "add", "again", "again", "amend", "void", "blind", "merge", "split", "erase", "step", "restart"})
			for range rapid.IntRange(1, 15).Draw(r, "length") {
				what := one.Draw(r, "what")
				if what == "step" {
					must(c.Step(ctx))(t)
					continue
				}
				if what == "restart" {
					check(t, c.Save(ctx))
					c = start()
					check(t, c.Load(ctx))
					continue
				}
				if what != "add" && len(stored) == 0 {
					continue
				}
				n := next
				next++
				in := reading(n, pairRef(n), rapid.IntRange(0, 60).Draw(r, "day"), rapid.IntRange(0, 900).Draw(r, "km"), verdict.Draw(r, "verdict"))
				of := func(label string) int { return rapid.IntRange(0, len(stored)-1).Draw(r, label) }
				switch what {
				case "again", "blind": // of an earlier day too: it arrives late
					in.Record.PairRef = rapid.SampledFrom(pairs).Draw(r, "pair")
					if in.Record.Store = "S-2"; what == "blind" {
						in.Record.Kind = assess.Blind
					}
				case "amend":
					old := stored[of("amended")]
					in.Record.PairRef, in.Record.Store, in.Record.Supersedes = old.Record.PairRef, old.Record.Store, old.Record.ID
				case "void":
					_, _ = db.VoidInspection(ctx, office, stored[of("voided")].Record.ID, "why")
					continue
				case "merge":
					_ = db.MergePairs(ctx, office, rapid.SampledFrom(pairs).Draw(r, "from"), rapid.SampledFrom(pairs).Draw(r, "into"), "why")
					continue
				case "split":
					s := stored[of("taken out")]
					_, _ = db.SplitPair(ctx, office, s.Record.PairRef, []assess.UUID{s.Record.ID}, "why")
					continue
				case "erase":
					_, _ = db.EraseRunner(ctx, office, stored[of("erased")].Record.Runner)
					continue
				}
				if _, err := db.SaveInspection(ctx, office, in); err == nil {
					stored = append(stored, in)
					if !slices.Contains(pairs, in.Record.PairRef) {
						pairs = append(pairs, in.Record.PairRef)
					}
				}
			}
			catchUp(t, db, c)
			sameAsFresh(t, db, c.View(), fleet.Gait, fleet.Verdict)
		})
		if next < 50 {
			t.Errorf("only %d readings were made", next)
		}
	}, dbtest.Clock(now))
}

// TestAStoreWithoutReadingsAnyMore has the only reading of a store voided: a copy that saw
// it says the same of the rest as one that didn't.
func TestAStoreWithoutReadingsAnyMore(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		places(t, db)
		first, second := reading(1, pairRef(1), 1, 100, assess.Keep), reading(2, pairRef(2), 2, 200, assess.Keep)
		second.Record.Store = "S-2"
		must(db.SaveInspection(t.Context(), office, first))(t)
		c := fleet.New(fleet.Options{Source: db.Feed(), Clock: now})
		check(t, c.Load(t.Context()))
		must(db.VoidInspection(t.Context(), office, first.Record.ID, "why"))(t)
		must(db.SaveInspection(t.Context(), office, second))(t)
		catchUp(t, db, c)
		sameAsFresh(t, db, c.View(), fleet.Store)
	}, dbtest.Clock(now))
}

// TestADayOutOfTheCalendar has a tablet's clock that had stopped, and one that ran
// ahead: the copy goes on following what comes after them.
func TestADayOutOfTheCalendar(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		places(t, db)
		c := fleet.New(fleet.Options{Source: db.Feed(), Clock: now})
		check(t, c.Load(t.Context()))
		for n, at := range []time.Time{
			time.Date(1970, 1, 1, 0, 5, 0, 0, time.UTC), time.Date(1999, 12, 31, 12, 0, 0, 0, time.UTC),
			time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC), time.Date(2180, 1, 1, 12, 0, 0, 0, time.UTC), time.Date(9999, 12, 31, 12, 0, 0, 0, time.UTC),
		} {
			in := reading(n+1, pairRef(n+1), 0, 100, assess.Keep)
			in.Record.At = at
			must(db.SaveInspection(t.Context(), office, in))(t)
		}
		catchUp(t, db, c)
		sameAsFresh(t, db, c.View(), fleet.Store)
		got := asMap(must(c.View().Count(fleetWide(), fleet.Month))(t))
		want := map[string]int{"[2000-01]": 2, "[2026-01]": 1, "[2179-06]": 2}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("by month (-want +got):\n%s", diff)
		}
	}, dbtest.Clock(now))
}

func TestTwoWritersAtOnce(t *testing.T) {
	for _, kind := range dbtest.Kinds(t) {
		t.Run(kind, func(t *testing.T) {
			url := dbtest.MigratedURL(t, kind)
			db, other := dbtest.OpenURL(t, url, dbtest.Clock(now)), dbtest.OpenURL(t, url, dbtest.Clock(now))
			places(t, db)
			c := fleet.New(fleet.Options{Source: db.Feed(), Clock: now})
			check(t, c.Load(t.Context()))
			const each = 60
			var writers sync.WaitGroup
			for w, to := range []*models.DB{db, other} {
				writers.Go(func() {
					for i := range each {
						// Both write the same forty pairs.
						if _, err := to.SaveInspection(t.Context(), office, reading(2*i+w+1, pairRef(i%40), i, 10*i, assess.Keep)); err != nil {
							t.Error(err)
						}
					}
				})
			}
			done := make(chan struct{})
			go func() { writers.Wait(); close(done) }()
			// One that reads the whole database meanwhile is put right as it follows.
			late := fleet.New(fleet.Options{Source: db.Feed(), Clock: now})
			check(t, late.Load(t.Context()))
			for running := true; running; {
				select {
				case <-done:
					running = false
				default:
				}
				must(c.Step(t.Context()))(t)
			}
			catchUp(t, db, c)
			v := c.View()
			if v.Rows != 2*each || v.Pairs != 40 {
				t.Errorf("%d readings of %d pairs, want %d of 40", v.Rows, v.Pairs, 2*each)
			}
			sameAsFresh(t, db, v, exported...)
			catchUp(t, db, late)
			sameAsFresh(t, db, late.View(), exported...)
		})
	}
}

// TestCommitsOutOfOrder has a transaction begin first and end last: what comes
// between must not make the copy pass it over, and as of must wait for it. SQLite
// has one writer at a time, so that there is no such order.
func TestCommitsOutOfOrder(t *testing.T) {
	for _, kind := range dbtest.Kinds(t) {
		if kind == "sqlite" {
			continue
		}
		t.Run(kind, func(t *testing.T) {
			ctx := t.Context()
			at := now()
			db := dbtest.OpenURL(t, dbtest.MigratedURL(t, kind), dbtest.Clock(now))
			places(t, db)
			c := fleet.New(fleet.Options{Source: db.Feed(), Clock: func() time.Time { return at }})
			check(t, c.Load(ctx))
			written, goOn, ended := make(chan struct{}), make(chan struct{}), make(chan error)
			go func() {
				ended <- db.Together(ctx, func(db *models.DB) error {
					_, err := db.SaveInspection(ctx, office, reading(1, pairRef(1), 1, 100, assess.Keep))
					close(written)
					<-goOn
					return err
				})
			}()
			<-written
			must(db.SaveInspection(ctx, office, reading(2, pairRef(2), 1, 100, assess.Keep)))(t)
			before := c.View().AsOf
			at = at.Add(time.Minute)
			must(c.Step(ctx))(t)
			if v := c.View(); v.Rows != 0 || !v.AsOf.Equal(before) {
				t.Errorf("while the first is open: %d readings as of %s, want none as of %s", v.Rows, v.AsOf, before)
			}
			close(goOn)
			check(t, <-ended)
			at = at.Add(time.Minute)
			catchUp(t, db, c)
			if v := c.View(); v.Rows != 2 || !v.AsOf.Equal(at) {
				t.Errorf("when all have ended: %d readings as of %s, want 2 as of %s", v.Rows, v.AsOf, at)
			}
		})
	}
}

func TestSnapshotIsPassedOver(t *testing.T) {
	db := dbtest.Open(t, dbtest.Clock(now))
	places(t, db)
	must(db.SaveInspection(t.Context(), office, reading(1, pairRef(1), 1, 100, assess.Keep)))(t)
	saved := filepath.Join(t.TempDir(), "fleet.snapshot")
	c := fleet.New(fleet.Options{Source: db.Feed(), Clock: now, Snapshot: saved})
	check(t, c.Load(t.Context()))
	check(t, c.Save(t.Context()))
	good := must(os.ReadFile(saved))(t)
	other := dbtest.Open(t, dbtest.Clock(now))
	places(t, other)
	for name, spoil := range map[string]func(b []byte) ([]byte, *models.DB){
		"with a bit turned":        func(b []byte) ([]byte, *models.DB) { b[len(b)/2] ^= 4; return b, db },
		"cut short":                func(b []byte) ([]byte, *models.DB) { return b[:len(b)-9], db },
		"empty":                    func([]byte) ([]byte, *models.DB) { return nil, db },
		"of another format":        func(b []byte) ([]byte, *models.DB) { b[len("solewright fleet\n")]++; return b, db },
		"of another database":      func(b []byte) ([]byte, *models.DB) { return b, other },
		"untouched, which is read": func(b []byte) ([]byte, *models.DB) { return b, db },
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "fleet.snapshot")
			b, of := spoil(slices.Clone(good))
			check(t, os.WriteFile(path, b, 0o600))
			source := &counting{Source: of.Feed()}
			c := fleet.New(fleet.Options{Source: source, Clock: now, Snapshot: path})
			check(t, c.Load(t.Context()))
			if wholly := name != "untouched, which is read"; (source.whole > 0) != wholly {
				t.Errorf("the database was read %d times", source.whole)
			}
			sameAsFresh(t, of, c.View(), exported...)
		})
	}
}

// TestAServerElsewhereFetchesTheSnapshot has one server read the whole fleet and
// share it, and others come up without a file.
func TestAServerElsewhereFetchesTheSnapshot(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		places(t, db)
		must(db.SaveInspection(t.Context(), office, reading(1, pairRef(1), 1, 100, assess.Keep)))(t)
		first := &shared{Shared: db.Snapshots(), kept: make(chan error, 1)}
		run := func(s *shared) {
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			ended := make(chan struct{})
			go func() {
				defer close(ended)
				fleet.New(fleet.Options{Source: db.Feed(), Clock: now, Snapshot: filepath.Join(t.TempDir(), "fleet.snapshot"), Shared: s}).Run(ctx)
			}()
			check(t, <-s.kept)
			stop()
			<-ended
		}
		run(first)
		must(db.SaveInspection(t.Context(), office, reading(2, pairRef(2), 1, 100, assess.ReplacePair)))(t)
		wholly := db.Dialect() == "sqlite" // where the file is what is kept
		comesUp := func(as string, s *shared, wholly bool) {
			source := &counting{Source: db.Feed()}
			c := fleet.New(fleet.Options{Source: source, Clock: now, Snapshot: filepath.Join(t.TempDir(), "fleet.snapshot"), Shared: s})
			check(t, c.Load(t.Context()))
			if (source.whole > 0) != wholly {
				t.Errorf("%s: the database was read %d times", as, source.whole)
			}
			catchUp(t, db, c)
			sameAsFresh(t, db, c.View(), exported...)
		}
		comesUp("elsewhere", first, wholly)
		comesUp("of half a snapshot", &shared{Shared: db.Snapshots(), most: 100}, true)
		comesUp("where it can't be fetched", &shared{Shared: db.Snapshots(), fails: true}, true)
		comesUp("elsewhere again", first, wholly)
	})
}

// shared is shared snapshots that may fail: with most, no more than so many bytes
// are fetched.
type shared struct {
	fleet.Shared
	kept  chan error
	most  int
	fails bool
}

func (s *shared) Fetch(ctx context.Context, to io.Writer) error {
	if s.fails {
		return io.ErrUnexpectedEOF
	}
	var all bytes.Buffer
	if err := s.Shared.Fetch(ctx, &all); err != nil {
		return err
	}
	if s.most > 0 {
		all.Truncate(s.most)
	}
	_, err := all.WriteTo(to)
	return err
}

func (s *shared) Keep(ctx context.Context, from io.Reader) error {
	err := s.Shared.Keep(ctx, from)
	s.kept <- err
	return err
}

// counting counts how often the whole database is read.
type counting struct {
	fleet.Source
	whole int
}

func (c *counting) EachFact(ctx context.Context, begin func() func(*facts.Fact) error) (facts.Position, error) {
	c.whole++
	return c.Source.EachFact(ctx, begin)
}

// TestReadersSeeOneMoment has readers ask while readings are stored and followed:
// whatever a view counts adds up to the view, and stays.
func TestReadersSeeOneMoment(t *testing.T) {
	db := dbtest.Open(t, dbtest.Clock(now))
	places(t, db)
	c := fleet.New(fleet.Options{Source: db.Feed(), Clock: now})
	check(t, c.Load(t.Context()))
	stop := make(chan struct{})
	var readers sync.WaitGroup
	for range 4 {
		readers.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				v := c.View()
				before := v.Fingerprint()
				for _, d := range []fleet.Dim{fleet.Gait, fleet.Store, fleet.Month} {
					n := 0
					cells, err := v.Count(fleetWide(), d)
					for _, cell := range cells {
						n += cell.N
					}
					if err != nil || n != v.Pairs || v.Fingerprint() != before {
						t.Errorf("by %s: %d of %d pairs, %v", d, n, v.Pairs, err)
						return
					}
				}
				if _, err := v.Life(fleetWide(), fleet.Model); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	for n := 1; n <= 60; n++ {
		must(db.SaveInspection(t.Context(), office, reading(n, pairRef(n%25), n, 10*n, assess.ReplacePair)))(t)
		must(c.Step(t.Context()))(t)
	}
	close(stop)
	readers.Wait()
	if v := c.View(); v.Rows != 60 || v.Pairs != 25 {
		t.Errorf("%d readings of %d pairs, want 60 of 25", v.Rows, v.Pairs)
	}
}
