package models_test

import (
	"crypto/sha256"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// amending returns a reading that supersedes another.
func amending(n int, old models.NewInspection, change func(*assess.Record)) models.NewInspection {
	r := old.Record
	r.ID, r.Supersedes = reading(n, "", 0, assess.Keep).Record.ID, old.Record.ID
	change(&r)
	r.Derive()
	return judged(r)
}

func life(t *testing.T, db *models.DB, ref string) models.Interval {
	t.Helper()
	h, err := db.Pair(t.Context(), ref)
	must(t, err)
	return h.Life
}

func TestAmend(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		first := reading(1, ref(1), 500, assess.ReplacePair)
		save(t, db, first)
		amended := amending(2, first, func(r *assess.Record) { r.Advised = assess.Keep })
		s := save(t, db, amended)
		t.Run("the old reading is struck out, and stays", func(t *testing.T) {
			old, err := db.Inspection(t.Context(), first.Record.ID)
			must(t, err)
			if old.SupersededBy != s.ID || old.Live() {
				t.Errorf("superseded by %s, want %s", old.SupersededBy, s.ID)
			}
		})
		t.Run("the pair goes by the new one", func(t *testing.T) {
			same(t, life(t, db, ref(1)), models.Interval{Lower: 500, Readings: 1})
		})
		t.Run("the same amendment again changes nothing", func(t *testing.T) {
			if save(t, db, amended).Created {
				t.Error("it was stored twice")
			}
		})
		t.Run("a second amendment of the same conflicts", func(t *testing.T) {
			_, err := db.SaveInspection(t.Context(), office, amending(3, first, func(*assess.Record) {}))
			wantErr(t, err, models.ErrConflict)
		})
		t.Run("the amendment can be amended, to another pair", func(t *testing.T) {
			save(t, db, amending(4, amended, func(r *assess.Record) { r.PairRef = ref(2) }))
			same(t, life(t, db, ref(1)), models.Interval{})
			same(t, life(t, db, ref(2)), models.Interval{Lower: 500, Readings: 1})
		})
		t.Run("what was voided can't be amended", func(t *testing.T) {
			in := reading(5, ref(5), 100, assess.Keep)
			save(t, db, in)
			_, err := db.VoidInspection(t.Context(), office, in.Record.ID, "wrong shoe")
			must(t, err)
			_, err = db.SaveInspection(t.Context(), office, amending(6, in, func(*assess.Record) {}))
			wantErr(t, err, models.ErrConflict)
		})
		t.Run("an amendment that comes before what it amends strikes it out on arrival", func(t *testing.T) {
			for n, way := range map[int]func(models.NewInspection){
				10: func(in models.NewInspection) { save(t, db, in) },
				20: func(in models.NewInspection) {
					_, err := db.ImportInspections(t.Context(), office, given(in), models.ImportOptions{})
					must(t, err)
				},
			} {
				late := reading(n, ref(n), 500, assess.ReplacePair)
				save(t, db, amending(n+1, late, func(r *assess.Record) { r.Advised = assess.Keep }))
				way(late)
				same(t, life(t, db, ref(n)), models.Interval{Lower: 500, Readings: 1})
			}
		})
	})
}

// TestTwoShoesUnderOneReference is what happens where two tablets off line drew
// the same reference: both readings are kept, the pair is shown to the office,
// and leaves life until it is split.
func TestTwoShoesUnderOneReference(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		save(t, db, reading(1, ref(1), 300, assess.Keep))
		other := reading(2, ref(1), 700, assess.ReplacePair)
		other.Record.Model, other.Record.Version = "Lauf", "1"
		stranger := judged(other.Record)
		s := save(t, db, stranger)
		if s.Flags&assess.FlagPairContradicts == 0 {
			t.Error("who stored the second is told nothing")
		}
		contradicting := func() int {
			t.Helper()
			all, _, err := db.Pairs(t.Context(), models.PairFilter{Scopes: models.Fleet, Contradicting: true}, models.Page{Limit: 9})
			must(t, err)
			return len(all)
		}
		twoShoes := models.Interval{Readings: 2, Contradicts: models.OtherShoe}
		same(t, life(t, db, ref(1)), twoShoes)
		h, err := db.Pair(t.Context(), ref(1))
		must(t, err)
		if len(h.Inspections) != 2 || contradicting() != 1 {
			t.Errorf("%d readings are kept, %d pairs are shown", len(h.Inspections), contradicting())
		}
		t.Run("the migration says the same of what was stored before it", func(t *testing.T) {
			_, err := db.Primary().ExecContext(t.Context(), "UPDATE pair SET contradicts = 0, lower_km = 300, upper_km = 700")
			must(t, err)
			up, _, _ := strings.Cut(migration(t, db, "00010_other_shoes.sql"), "-- +goose Down")
			for statement := range strings.SplitSeq(up, ";\n") {
				_, err := db.Primary().ExecContext(t.Context(), statement)
				must(t, err)
			}
			same(t, life(t, db, ref(1)), twoShoes)
		})
		t.Run("a typed-in model that is linked to the other is the same shoe", func(t *testing.T) {
			typed, err := db.TypedInModels(t.Context())
			must(t, err)
			m, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{Brand: "Norrvik", Model: "Strand", Version: "III", Category: "daily"})
			must(t, err)
			third := reading(3, ref(3), 100, assess.Keep)
			save(t, db, third)
			fourth := reading(4, ref(3), 200, assess.Keep)
			fourth.Record.Version = "III"
			save(t, db, judged(fourth.Record))
			same(t, life(t, db, ref(3)), twoShoes)
			for _, was := range typed {
				if was.Model == "Strand" {
					must(t, db.LinkShoeModel(t.Context(), office, was.ID, m.ID))
				}
			}
			same(t, life(t, db, ref(3)), models.Interval{Lower: 200, Readings: 2})
			same(t, life(t, db, ref(1)), twoShoes)
		})
		t.Run("split they are two pairs", func(t *testing.T) {
			next, err := db.SplitPair(t.Context(), office, ref(1), []assess.UUID{stranger.Record.ID}, "another slip")
			must(t, err)
			same(t, life(t, db, ref(1)), models.Interval{Lower: 300, Readings: 1})
			same(t, life(t, db, next), models.Interval{Upper: assess.Of(700), Readings: 1})
			if contradicting() != 0 {
				t.Error("they are still shown")
			}
		})
	})
}

// migration returns the text of a migration in the database's dialect.
func migration(t *testing.T, db *models.DB, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("migrations", db.Dialect(), name))
	must(t, err)
	return string(text)
}

func TestVoid(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		save(t, db, reading(1, ref(1), 500, assess.Keep))
		second := reading(2, ref(1), 300, assess.Keep)
		save(t, db, second)
		if l := life(t, db, ref(1)); l.Contradicts != models.Backwards {
			t.Errorf("the pair does not contradict itself: %+v", l)
		}
		in, err := db.Inspection(t.Context(), second.Record.ID)
		must(t, err)
		if in.Flags&assess.FlagPairContradicts == 0 {
			t.Error("its readings are not flagged")
		}
		voided, err := db.VoidInspection(t.Context(), office, second.Record.ID, "read off the wrong watch")
		must(t, err)
		if voided.VoidedAt.IsZero() || voided.VoidReason != "read off the wrong watch" || voided.Flags&assess.FlagPairContradicts != 0 {
			t.Errorf("got %+v", voided.Record)
		}
		same(t, life(t, db, ref(1)), models.Interval{Lower: 500, Readings: 1})
		t.Run("a second time conflicts", func(t *testing.T) {
			_, err := db.VoidInspection(t.Context(), office, second.Record.ID, "again")
			wantErr(t, err, models.ErrConflict)
		})
		t.Run("needs a reason", func(t *testing.T) {
			_, err := db.VoidInspection(t.Context(), office, second.Record.ID, "")
			wantField(t, err, "void_reason")
		})
		t.Run("of what isn't there is not found", func(t *testing.T) {
			_, err := db.VoidInspection(t.Context(), office, assess.UUID{1}, "why")
			wantErr(t, err, models.ErrNotFound)
		})
		t.Run("the body sent again is what is stored", func(t *testing.T) {
			if s := save(t, db, second); s.Created || s.VoidedAt.IsZero() {
				t.Errorf("got %+v", s.Record)
			}
		})
		t.Run("is in the audit trail with its reason", func(t *testing.T) {
			all, _, err := db.Audit(t.Context(), models.AuditFilter{Action: "inspection.void"}, models.Page{})
			must(t, err)
			if len(all) != 1 || all[0].Account != office.Account || all[0].After != "read off the wrong watch" {
				t.Errorf("got %+v", all)
			}
		})
	})
}

func TestPairs(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		t.Run("a reading that names no pair makes one", func(t *testing.T) {
			s := save(t, db, reading(1, "", 100, assess.Keep))
			if _, err := assess.ParsePairRef(s.PairRef); err != nil {
				t.Errorf("its reference is %q", s.PairRef)
			}
			same(t, life(t, db, s.PairRef), models.Interval{Lower: 100, Readings: 1})
		})
		t.Run("and never takes one that is there", func(t *testing.T) {
			in := reading(2, "", 100, assess.Keep)
			id := in.Record.ID
			sum := sha256.Sum256(append(id[:], 0, 0, 0, 0))
			taken := assess.NewPairRef([5]byte(sum[:5]))
			save(t, db, reading(3, taken, 900, assess.Keep))
			if s := save(t, db, in); s.PairRef == taken {
				t.Error("it was given to another pair")
			}
			imported := reading(4, "", 100, assess.Keep)
			id = imported.Record.ID
			sum = sha256.Sum256(append(id[:], 0, 0, 0, 0))
			taken = assess.NewPairRef([5]byte(sum[:5]))
			save(t, db, reading(5, taken, 900, assess.Keep))
			_, err := db.ImportInspections(t.Context(), office, given(imported), models.ImportOptions{})
			must(t, err)
			same(t, life(t, db, taken), models.Interval{Lower: 900, Readings: 1})
		})
		t.Run("a blind reading makes none", func(t *testing.T) {
			for n, ref := range map[int]string{10: "", 11: ref(11)} {
				in := reading(n, ref, 100, assess.Keep)
				in.Record.Kind = assess.Blind
				if s := save(t, db, in); s.PairRef != ref {
					t.Errorf("its reference is %q", s.PairRef)
				}
			}
			_, err := db.Pair(t.Context(), ref(11))
			wantErr(t, err, models.ErrNotFound)
		})
		t.Run("of a runner, a model and a size that are open are offered", func(t *testing.T) {
			in := reading(20, ref(20), 100, assess.Keep)
			in.Record.Runner, in.Record.SizeLabel = "R-1", "EU 42"
			s := save(t, db, in)
			must(t, db.CreatePair(t.Context(), office, models.Pair{Ref: ref(21), Store: "S-2", ModelID: s.ModelID, Runner: "R-1"}))
			for _, c := range []struct {
				runner, size string
				want         int
			}{{"R-1", "EU 42", 2}, {"R-1", "", 2}, {"R-1", "EU 43", 1}, {"R-2", "EU 42", 0}} {
				open, err := db.OpenPairs(t.Context(), c.runner, s.ModelID, c.size)
				must(t, err)
				if len(open) != c.want {
					t.Errorf("%s %s: %d are open, want %d", c.runner, c.size, len(open), c.want)
				}
			}
		})
		t.Run("what a sale knew stays until a reading says more", func(t *testing.T) {
			must(t, db.CreatePair(t.Context(), office, models.Pair{Ref: ref(30), Store: "S-2", Batch: "B7", Runner: "R-3", BoughtOn: "2025-01-02", SizeLabel: "EU 40"}))
			in := reading(31, ref(30), 100, assess.Keep)
			in.Record.SizeLabel = "EU 41"
			save(t, db, in)
			h, err := db.Pair(t.Context(), ref(30))
			must(t, err)
			if h.Batch != "B7" || h.Runner != "R-3" || h.BoughtOn != "2025-01-02" || h.SizeLabel != "EU 41" || h.Store != "S-2" || h.LastStore != "S-1" {
				t.Errorf("got %+v", h.Pair)
			}
			wantErr(t, db.CreatePair(t.Context(), office, models.Pair{Ref: ref(30), Store: "S-1"}), models.ErrConflict)
		})
		t.Run("are found by their reference as people type it", func(t *testing.T) {
			_, err := db.Pair(t.Context(), strings.ToLower(ref(20)[:4]+" "+ref(20)[4:]))
			must(t, err)
			_, err = db.Pair(t.Context(), "nonsense")
			wantField(t, err, "pair_ref")
			_, err = db.Pair(t.Context(), ref(9999))
			wantErr(t, err, models.ErrNotFound)
		})
	})
}

func TestMergeAndSplit(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		must(t, db.CreatePair(t.Context(), office, models.Pair{Ref: ref(1), Store: "S-1", Runner: "R-1", Batch: "B1"}))
		save(t, db, reading(1, ref(1), 200, assess.Keep))
		worn := save(t, db, reading(2, ref(2), 600, assess.ReplacePair))
		must(t, db.MergePairs(t.Context(), office, ref(1), ref(2), "same slip, printed twice"))
		both := models.Interval{Lower: 200, Upper: assess.Of(600), Readings: 2}
		t.Run("a merged pair has the readings of both, and what the sale knew", func(t *testing.T) {
			h, err := db.Pair(t.Context(), ref(2))
			must(t, err)
			same(t, h.Life, both)
			if len(h.Inspections) != 2 || h.Runner != "R-1" || h.Batch != "B1" {
				t.Errorf("got %+v", h.Pair)
			}
		})
		t.Run("the old slip leads to it", func(t *testing.T) {
			h, err := db.Pair(t.Context(), ref(1))
			must(t, err)
			if h.Ref != ref(2) {
				t.Errorf("it leads to %s", h.Ref)
			}
		})
		t.Run("a reading under the old slip joins it, by both ways", func(t *testing.T) {
			in := reading(3, ref(1), 700, assess.ReplacePair)
			s := save(t, db, in)
			if s.PairRef != ref(2) {
				t.Errorf("it is of %s", s.PairRef)
			}
			if save(t, db, in).Created {
				t.Error("sent again it was stored twice")
			}
			res, err := db.ImportInspections(t.Context(), office, given(in, reading(4, ref(1), 800, assess.ReplacePair)), models.ImportOptions{})
			must(t, err)
			same(t, res, models.ImportResult{Read: 2, Stored: 1, Known: 1, Pairs: 1})
			h, err := db.Pair(t.Context(), ref(2))
			must(t, err)
			if len(h.Inspections) != 4 {
				t.Errorf("it has %d readings", len(h.Inspections))
			}
		})
		t.Run("it can't be merged again, nor with itself, nor without a reason", func(t *testing.T) {
			wantErr(t, db.MergePairs(t.Context(), office, ref(1), ref(2), "why"), models.ErrConflict)
			wantErr(t, db.MergePairs(t.Context(), office, ref(2), ref(9), "why"), models.ErrNotFound)
			wantField(t, db.MergePairs(t.Context(), office, ref(2), ref(2), "why"), "into")
			wantField(t, db.MergePairs(t.Context(), office, ref(2), ref(3), ""), "reason")
		})
		t.Run("a chain of merges leads to its end", func(t *testing.T) {
			save(t, db, reading(5, ref(3), 900, assess.ReplacePair))
			must(t, db.MergePairs(t.Context(), office, ref(2), ref(3), "one pair after all"))
			h, err := db.Pair(t.Context(), ref(1))
			must(t, err)
			if h.Ref != ref(3) || len(h.Inspections) != 5 {
				t.Errorf("it leads to %s with %d readings", h.Ref, len(h.Inspections))
			}
		})
		t.Run("readings can be taken out again", func(t *testing.T) {
			next, err := db.SplitPair(t.Context(), office, ref(3), []assess.UUID{worn.ID}, "another shoe")
			must(t, err)
			same(t, life(t, db, next), models.Interval{Upper: assess.Of(600), Readings: 1})
			same(t, life(t, db, ref(3)), models.Interval{Lower: 200, Upper: assess.Of(700), Readings: 4})
			in, err := db.Inspection(t.Context(), worn.ID)
			must(t, err)
			if in.PairRef != next {
				t.Errorf("the reading is of %s", in.PairRef)
			}
			t.Run("but not all, none, or another pair's", func(t *testing.T) {
				_, err := db.SplitPair(t.Context(), office, next, []assess.UUID{worn.ID}, "why")
				wantField(t, err, "inspections")
				_, err = db.SplitPair(t.Context(), office, ref(3), nil, "why")
				wantField(t, err, "inspections")
				_, err = db.SplitPair(t.Context(), office, ref(3), []assess.UUID{worn.ID}, "why")
				wantField(t, err, "inspections")
				_, err = db.SplitPair(t.Context(), office, ref(77), []assess.UUID{worn.ID}, "why")
				wantErr(t, err, models.ErrNotFound)
			})
		})
		t.Run("both are in the audit trail with what was moved", func(t *testing.T) {
			all, _, err := db.Audit(t.Context(), models.AuditFilter{Action: "pair."}, models.Page{})
			must(t, err)
			n := map[string]int{}
			for _, e := range all {
				n[e.Action]++
				if e.Action == "pair.split" && e.Before != worn.ID.String() {
					t.Errorf("got %+v", e)
				}
			}
			same(t, n, map[string]int{"pair.create": 1, "pair.merge": 2, "pair.split": 1})
		})
		t.Run("and every pair is as its readings say", func(t *testing.T) {
			_, err := db.Verify(t.Context(), func(d models.Difference) error {
				if d.What == "life" {
					t.Errorf("%+v", d)
				}
				return nil
			})
			must(t, err)
		})
	})
}

// tradeIn hands a reading's pair over.
func tradeIn(n int, of assess.UUID) models.TradeIn {
	return models.TradeIn{
		ID: reading(n, "", 0, assess.Keep).Record.ID, Store: "S-1", InspectionID: of, Staff: "F-1", At: at.Add(time.Hour),
		Grade: assess.GradeB, Route: assess.Resale, Credit: 1500, Advised: 1500, CreditTable: 1, Voucher: "V-1",
	}
}

func TestTradeIn(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		read := save(t, db, reading(1, ref(1), 200, assess.Keep))
		in, sha := tradeIn(2, read.ID), sha256.Sum256([]byte("body"))
		stored, created, err := db.SaveTradeIn(t.Context(), office, in, sha)
		must(t, err)
		if !created || stored.Currency != "EUR" || stored.PairRef != ref(1) || stored.Day != "2026-03-14" {
			t.Errorf("stored %+v", stored)
		}
		t.Run("the same body again returns it", func(t *testing.T) {
			again, created, err := db.SaveTradeIn(t.Context(), office, in, sha)
			must(t, err)
			if created {
				t.Error("it was stored twice")
			}
			same(t, again, stored)
			got, err := db.TradeIn(t.Context(), in.ID)
			must(t, err)
			same(t, got, stored)
		})
		t.Run("another body under its id conflicts", func(t *testing.T) {
			_, _, err := db.SaveTradeIn(t.Context(), office, in, sha256.Sum256(nil))
			wantErr(t, err, models.ErrConflict)
		})
		t.Run("it ends the pair", func(t *testing.T) {
			h, err := db.Pair(t.Context(), ref(1))
			must(t, err)
			if h.Open() || !h.EndedAt.Equal(in.At) {
				t.Errorf("ended at %s", h.EndedAt)
			}
			_, _, err = db.SaveTradeIn(t.Context(), office, tradeIn(3, read.ID), sha)
			wantErr(t, err, models.ErrConflict)
		})
		for _, c := range []struct {
			name   string
			change func(*models.TradeIn)
			field  string
		}{
			{"another credit than the table's needs a name", func(t *models.TradeIn) { t.Credit, t.Reason = 2000, "regular" }, "override_by"},
			{"another credit than the table's needs a reason", func(t *models.TradeIn) { t.Credit, t.OverrideBy = 2000, "M-1" }, "reason"},
			{"a voucher on two lines is refused", func(t *models.TradeIn) { t.Voucher = "V-1\nV-2" }, "voucher"},
			{"a name that turns the line around is refused", func(t *models.TradeIn) { t.Staff = "\u202eF-1" }, "staff"},
			{"a credit below zero is refused", func(t *models.TradeIn) { t.Credit, t.Advised = -1, -1 }, "credit"},
			{"another currency than the store's is refused", func(t *models.TradeIn) { t.Currency = "USD" }, "currency"},
			{"a reading that isn't there is refused", func(t *models.TradeIn) { t.InspectionID = assess.UUID{9} }, "inspection_id"},
			{"a pair that isn't the reading's is refused", func(t *models.TradeIn) { t.PairRef = ref(9) }, "pair_ref"},
			{"no grade is refused", func(t *models.TradeIn) { t.Grade = assess.NoGrade }, "grade"},
			{"no route is refused", func(t *models.TradeIn) { t.Route = assess.NoRoute }, "route"},
		} {
			t.Run(c.name, func(t *testing.T) {
				in := tradeIn(4, save(t, db, reading(5, ref(5), 1, assess.Keep)).ID)
				c.change(&in)
				_, _, err := db.SaveTradeIn(t.Context(), office, in, sha)
				f, ok := asFields(err)
				if !ok || f != c.field {
					t.Errorf("got %v, want %s", err, c.field)
				}
			})
		}
		t.Run("voided it opens the pair again, once", func(t *testing.T) {
			must(t, db.VoidTradeIn(t.Context(), office, in.ID, "runner changed their mind"))
			h, err := db.Pair(t.Context(), ref(1))
			must(t, err)
			if !h.Open() {
				t.Error("the pair is not open")
			}
			wantErr(t, db.VoidTradeIn(t.Context(), office, in.ID, "again"), models.ErrConflict)
		})
		t.Run("those that stand are listed with their override", func(t *testing.T) {
			next := tradeIn(6, read.ID)
			next.Credit, next.OverrideBy, next.Reason = 2500, "M-1", "a fault of the shoe"
			_, _, err := db.SaveTradeIn(t.Context(), office, next, sha)
			must(t, err)
			var got []models.StoredTradeIn
			must(t, db.EachTradeIn(t.Context(), models.Fleet, "2026-03-14", "2026-03-14", func(t *models.StoredTradeIn) error {
				got = append(got, *t)
				return nil
			}))
			if len(got) != 1 || got[0].ID != next.ID || got[0].Credit != 2500 {
				t.Errorf("got %+v", got)
			}
			all, err := db.TradeInsOf(t.Context(), ref(1))
			must(t, err)
			if len(all) != 2 {
				t.Errorf("the pair has %d", len(all))
			}
			trail, _, err := db.Audit(t.Context(), models.AuditFilter{Action: "trade-in.override"}, models.Page{})
			must(t, err)
			if len(trail) != 1 || !strings.Contains(trail[0].After, `"credit":2500`) {
				t.Errorf("the trail says %+v", trail)
			}
			must(t, db.EachTradeIn(t.Context(), []retail.Scope{{Store: "S-2"}}, "", "", func(*models.StoredTradeIn) error {
				t.Error("another store's is seen")
				return nil
			}))
		})
	})
}
