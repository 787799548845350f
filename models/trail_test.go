package models_test

import (
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

func TestAudit(t *testing.T) {
	c := &clock{t: at}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		tablet := models.Actor{Account: "F-1", Device: "T-1"}
		must(t, db.SaveRunner(t.Context(), tablet, retail.Runner{Code: "R-1", Unit: "km"}))
		c.move(time.Hour)
		must(t, db.SaveRunner(t.Context(), tablet, retail.Runner{Code: "R-1", Unit: "mi"}))
		must(t, db.SaveRunner(t.Context(), tablet, retail.Runner{Code: "R-1", Unit: "mi"}))
		must(t, db.AuditRead(t.Context(), office, "pair:"+ref(1)))
		for _, f := range []struct {
			name   string
			filter models.AuditFilter
			want   int
		}{
			{"everything", models.AuditFilter{}, 7},
			{"by account", models.AuditFilter{Account: "F-1"}, 2},
			{"by device", models.AuditFilter{Device: "T-1"}, 2},
			{"by action", models.AuditFilter{Action: "runner.change"}, 1},
			{"by kind of action", models.AuditFilter{Action: "runner."}, 2},
			{"by subject", models.AuditFilter{Subject: "pair:" + ref(1)}, 1},
			{"from a time", models.AuditFilter{From: c.now()}, 2},
			{"up to a time", models.AuditFilter{To: c.now()}, 5},
			{"by what nobody did", models.AuditFilter{Account: "nobody"}, 0},
		} {
			t.Run(f.name, func(t *testing.T) {
				var all []models.AuditEntry
				for after := ""; ; {
					page, next, err := db.Audit(t.Context(), f.filter, models.Page{After: after, Limit: 2})
					must(t, err)
					for _, e := range page {
						if e.Account != "solewright" { // what the schema came with
							all = append(all, e)
						}
					}
					if after = next; next == "" {
						break
					}
				}
				if len(all) != f.want {
					t.Errorf("%d entries, want %d", len(all), f.want)
				}
				for i := 1; i < len(all); i++ {
					if all[i].Number >= all[i-1].Number {
						t.Error("not newest first")
					}
				}
			})
		}
		t.Run("a change says what was and what is", func(t *testing.T) {
			all, _, err := db.Audit(t.Context(), models.AuditFilter{Action: "runner.change"}, models.Page{})
			must(t, err)
			want := models.AuditEntry{
				Number: all[0].Number, At: c.now(), Account: "F-1", Device: "T-1", Action: "runner.change", Subject: "runner:R-1",
				Before: `{"code":"R-1","unit":"km"}`, After: `{"code":"R-1","unit":"mi"}`,
			}
			same(t, all, []models.AuditEntry{want})
		})
		t.Run("a bad cursor says so", func(t *testing.T) {
			_, _, err := db.Audit(t.Context(), models.AuditFilter{}, models.Page{After: "x"})
			wantField(t, err, "cursor")
		})
		c.move(-time.Hour)
	}, dbtest.Clock(c.now))
}

// follow reads the change feed from a position to its end.
func follow(t *testing.T, db *models.DB, from models.Position) ([]models.Change, models.Position) {
	t.Helper()
	var all []models.Change
	for {
		some, err := db.Changes(t.Context(), from, 7)
		must(t, err)
		all = append(all, some...)
		if len(some) > 0 {
			from = some[len(some)-1].Position
		}
		if len(some) < 7 {
			return all, from
		}
	}
}

func TestChanges(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		first := reading(1, ref(1), 500, assess.Keep)
		save(t, db, first)
		save(t, db, amending(2, first, func(*assess.Record) {}))
		voided := reading(3, ref(3), 100, assess.Keep)
		_, err := db.ImportInspections(t.Context(), office, given(voided), models.ImportOptions{})
		must(t, err)
		_, err = db.VoidInspection(t.Context(), office, voided.Record.ID, "why")
		must(t, err)
		must(t, db.MergePairs(t.Context(), office, ref(3), ref(1), "why"))
		all, end := follow(t, db, models.Position{})
		n := map[models.Op]int{}
		for _, c := range all {
			n[c.Op]++
		}
		// A merge tells of each reading and of both pairs.
		same(t, n, map[models.Op]int{models.Added: 3, models.Superseded: 1, models.Voided: 1, models.PairMoved: 3})
		if c := all[0]; c.ID != first.Record.ID || c.Store != "S-1" || c.PairRef != ref(1) {
			t.Errorf("the first is %+v", c)
		}
		more, _ := follow(t, db, end)
		if len(more) != 0 {
			t.Errorf("%d after the end", len(more))
		}
	})
}

// TestAFollowerMissesNothing follows the feed while many write, some of them
// slowly, so that numbers commit out of order.
func TestAFollowerMissesNothing(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		const writers, each = 6, 15
		var wg sync.WaitGroup
		errs := make([]error, writers)
		undone := errors.New("undone")
		for w := range writers {
			wg.Go(func() {
				for i := range each {
					n := w*each + i
					in := reading(n, ref(n), 100, assess.Keep)
					if w%2 == 0 {
						_, errs[w] = db.SaveInspection(t.Context(), office, in)
					} else {
						// Two in one transaction, and now and then none.
						errs[w] = db.Together(t.Context(), func(db *models.DB) error {
							if _, err := db.SaveInspection(t.Context(), office, in); err != nil {
								return err
							}
							if i%5 == 0 {
								return undone
							}
							_, err := db.SaveInspection(t.Context(), office, reading(1000+n, ref(1000+n), 100, assess.Keep))
							return err
						})
						if errors.Is(errs[w], undone) {
							errs[w] = nil
						}
					}
					if errs[w] != nil {
						return
					}
				}
			})
		}
		done := make(chan struct{})
		go func() {
			wg.Wait()
			close(done)
		}()
		seen := map[assess.UUID]int{}
		var from models.Position
		for last := false; !last; {
			select {
			case <-done:
				last = true
			default:
			}
			var some []models.Change
			some, from = follow(t, db, from)
			for _, c := range some {
				if c.Op == models.Added {
					seen[c.ID]++
				}
			}
		}
		for _, err := range errs {
			must(t, err)
		}
		stored := map[assess.UUID]int{}
		must(t, db.EachInspection(t.Context(), models.InspectionFilter{Scopes: models.Fleet}, func(in *models.Inspection) error {
			stored[in.ID] = 1
			return nil
		}))
		if len(stored) != writers/2*each+writers/2*(each-3)*2 {
			t.Errorf("%d are stored", len(stored))
		}
		same(t, seen, stored)
	})
}

// TestAnOpenTransactionHoldsTheFeedBack is the trap itself: a transaction that
// took its numbers first and commits last.
func TestAnOpenTransactionHoldsTheFeedBack(t *testing.T) {
	for _, kind := range dbtest.Kinds(t) {
		if kind == "sqlite" {
			continue // it has one writer, so numbers commit in order
		}
		t.Run(kind, func(t *testing.T) {
			db := dbtest.OpenPostgres(t)
			setUp(t, db)
			// Two that type in the same model at once would wait for one another.
			_, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{Brand: "Norrvik", Model: "Strand", Version: "3"})
			must(t, err)
			_, start := follow(t, db, models.Position{})
			err = db.Together(t.Context(), func(slow *models.DB) error {
				if _, err := slow.SaveInspection(t.Context(), office, reading(1, ref(1), 100, assess.Keep)); err != nil {
					return err
				}
				save(t, db, reading(2, ref(2), 100, assess.Keep))
				if early, _ := follow(t, db, start); len(early) != 0 {
					return fmt.Errorf("the feed went past the open transaction: %+v", early)
				}
				return nil
			})
			must(t, err)
			if all, _ := follow(t, db, start); len(all) != 2 {
				t.Errorf("%d changes, want 2", len(all))
			}
		})
	}
}

func TestTogether(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		broken := errors.New("broken")
		region := func(code string) retail.Region { return retail.Region{Code: code, Name: code, Currency: "EUR"} }
		t.Run("all or nothing", func(t *testing.T) {
			err := db.Together(t.Context(), func(db *models.DB) error {
				must(t, db.SaveRegion(t.Context(), office, region("EAST")))
				must(t, db.SaveStore(t.Context(), office, retail.Store{Code: "E-1", Region: "EAST", Zone: "UTC"}))
				if _, err := db.Store(t.Context(), "E-1"); err != nil {
					t.Errorf("what was written is not seen: %v", err)
				}
				return broken
			})
			wantErr(t, err, broken)
			_, err = db.Region(t.Context(), "EAST")
			wantErr(t, err, models.ErrNotFound)
		})
		t.Run("a verb that fails undoes only itself", func(t *testing.T) {
			must(t, db.Together(t.Context(), func(db *models.DB) error {
				must(t, db.SaveRegion(t.Context(), office, region("WEST")))
				_, err := db.AddToken(t.Context(), office, models.Token{Name: "t", Role: retail.Office, Scopes: models.Fleet}, time.Hour)
				must(t, err)
				// The database itself refuses this one.
				_, err = db.AddToken(t.Context(), office, models.Token{Name: "t", Role: retail.Office, Scopes: models.Fleet}, time.Hour)
				wantErr(t, err, models.ErrConflict)
				wantField(t, db.SaveStore(t.Context(), office, retail.Store{Code: "W-1", Region: "NOWHERE", Zone: "UTC"}), "region")
				return db.SaveStore(t.Context(), office, retail.Store{Code: "W-2", Region: "WEST", Zone: "UTC"})
			}))
			stores, err := db.Stores(t.Context())
			must(t, err)
			if len(stores) != 3 {
				t.Errorf("%d stores", len(stores))
			}
		})
		t.Run("an import is a transaction of its own", func(t *testing.T) {
			err := db.Together(t.Context(), func(db *models.DB) error {
				_, err := db.ImportInspections(t.Context(), office, given(), models.ImportOptions{})
				return err
			})
			if err == nil {
				t.Error("it ran inside another")
			}
		})
	})
}
