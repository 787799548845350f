package models_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// stock stores readings of both stores, every fourth with rare values: n-th at
// hour 6·n, so four a day.
func stock(t *testing.T, db *models.DB, n int) {
	t.Helper()
	setUp(t, db)
	var all []models.NewInspection
	for i := range n {
		in := reading(6*i, ref(i/2), 100*(i%2+1), []assess.Verdict{assess.Keep, assess.ReplacePair}[i%2])
		r := &in.Record
		r.Store, r.Staff = []string{"S-1", "S-2"}[i/2%2], fmt.Sprintf("F-%d", i%3)
		if i%4 == 0 {
			r.Shoe[assess.Right][assess.ForeCentreMM] = assess.Of(i % 100)
			r.Shoe[assess.Left][assess.ShoreOutsole] = assess.CantWet
		}
		all = append(all, judged(*r))
	}
	_, err := db.ImportInspections(t.Context(), office, given(all...), models.ImportOptions{})
	must(t, err)
}

// walk returns the ids of every page of a list.
func walk(t *testing.T, db *models.DB, f models.InspectionFilter, limit int) []assess.UUID {
	t.Helper()
	var ids []assess.UUID
	for after := ""; ; {
		page, next, err := db.Inspections(t.Context(), f, models.Page{After: after, Limit: limit})
		must(t, err)
		for _, in := range page {
			ids = append(ids, in.ID)
		}
		if len(page) > limit {
			t.Fatalf("a page of %d, want %d at most", len(page), limit)
		}
		if next == "" {
			return ids
		}
		after = next
	}
}

func TestInspectionsList(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		stock(t, db, 40)
		fleet := models.InspectionFilter{Scopes: models.Fleet}
		with := func(change func(*models.InspectionFilter)) models.InspectionFilter {
			f := fleet
			change(&f)
			return f
		}
		for _, c := range []struct {
			name string
			f    models.InspectionFilter
			want int
		}{
			{"the fleet sees all", fleet, 40},
			{"no scope sees nothing", models.InspectionFilter{}, 0},
			{"a store's scope sees the store", models.InspectionFilter{Scopes: []retail.Scope{{Store: "S-2"}}}, 20},
			{"a region's scope sees its stores", models.InspectionFilter{Scopes: []retail.Scope{{Region: "SOUTH"}}}, 20},
			{"several scopes see what any sees", models.InspectionFilter{Scopes: []retail.Scope{{Region: "SOUTH"}, {Store: "S-2"}}}, 40},
			{"a scope bounds what is asked for", models.InspectionFilter{Scopes: []retail.Scope{{Store: "S-2"}}, Store: "S-1"}, 0},
			{"one store", with(func(f *models.InspectionFilter) { f.Store = "S-1" }), 20},
			{"one region", with(func(f *models.InspectionFilter) { f.Region = "FAR" }), 20},
			{"one pair", with(func(f *models.InspectionFilter) { f.PairRef = ref(3) }), 2},
			{"one fitter", with(func(f *models.InspectionFilter) { f.Staff = "F-1" }), 13},
			{"one verdict", with(func(f *models.InspectionFilter) { f.Verdict = assess.ReplacePair }), 20},
			{"one kind", with(func(f *models.InspectionFilter) { f.Kind = assess.TradeIn }), 0},
			{"from a day", with(func(f *models.InspectionFilter) { f.Store, f.From = "S-1", "2026-03-23" }), 2},
			{"up to a day", with(func(f *models.InspectionFilter) { f.Store, f.To = "S-1", "2026-03-14" }), 2},
			{"days across stores", with(func(f *models.InspectionFilter) { f.From, f.To = "2026-03-15", "2026-03-15" }), 4},
		} {
			t.Run(c.name, func(t *testing.T) {
				ids := walk(t, db, c.f, 7)
				if len(ids) != c.want {
					t.Errorf("%d readings, want %d", len(ids), c.want)
				}
				if !slices.IsSortedFunc(ids, func(a, b assess.UUID) int { return slices.Compare(b[:], a[:]) }) && c.f.Store != "" {
					t.Error("not newest first")
				}
				seen := map[assess.UUID]bool{}
				for _, id := range ids {
					if seen[id] {
						t.Fatalf("%s stands twice", id)
					}
					seen[id] = true
				}
				f := c.f
				f.OldestFirst = true
				other := walk(t, db, f, 3)
				slices.Reverse(other)
				if !slices.Equal(ids, other) {
					t.Error("oldest first is not newest first turned round")
				}
				n := 0
				must(t, db.EachInspection(t.Context(), c.f, func(*models.Inspection) error { n++; return nil }))
				if n != c.want {
					t.Errorf("%d are streamed", n)
				}
			})
		}
		t.Run("a bad day or cursor says so", func(t *testing.T) {
			_, _, err := db.Inspections(t.Context(), with(func(f *models.InspectionFilter) { f.From = "14/3/2026" }), models.Page{})
			wantField(t, err, "from")
			for _, c := range []string{"x", "AAAA", "====", "QQBCAEM"} {
				_, _, err = db.Inspections(t.Context(), fleet, models.Page{After: c})
				wantField(t, err, "cursor")
			}
		})
		t.Run("rare values are there", func(t *testing.T) {
			page, _, err := db.Inspections(t.Context(), fleet, models.Page{Limit: 40})
			must(t, err)
			n := 0
			for _, in := range page {
				if in.Shoe[assess.Left][assess.ShoreOutsole] == assess.CantWet && in.Shoe[assess.Right][assess.ForeCentreMM].OK() {
					n++
				}
			}
			if n != 10 {
				t.Errorf("%d readings have them, want 10", n)
			}
		})
		t.Run("live leaves out what was voided", func(t *testing.T) {
			first := walk(t, db, fleet, 1)[0]
			_, err := db.VoidInspection(t.Context(), office, first, "why")
			must(t, err)
			if n := len(walk(t, db, with(func(f *models.InspectionFilter) { f.Live = true }), 50)); n != 39 {
				t.Errorf("%d are live", n)
			}
		})
	})
}

// TestListsTakeAFixedNumberOfStatements guards against a statement for each row.
func TestListsTakeAFixedNumberOfStatements(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		stock(t, db, 100)
		for i := range 20 {
			_, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{Brand: "B", Model: fmt.Sprint(i), GTINs: []string{fmt.Sprint(1000 + i)}})
			must(t, err)
			must(t, db.SaveStaff(t.Context(), office, retail.Staff{Code: fmt.Sprintf("X-%d", i), Role: retail.Fitter, Scopes: models.Fleet}))
		}
		statements := func() (n int64) {
			for _, p := range db.Pools() {
				n += p.Statements
			}
			return n
		}
		for _, c := range []struct {
			name string
			most int64
			list func() (int, error)
		}{
			{"inspections", 2, func() (int, error) {
				all, _, err := db.Inspections(t.Context(), models.InspectionFilter{Scopes: models.Fleet}, models.Page{Limit: 100})
				return len(all), err
			}},
			{"pairs", 1, func() (int, error) {
				all, _, err := db.Pairs(t.Context(), models.PairFilter{Scopes: models.Fleet}, models.Page{Limit: 100})
				return len(all), err
			}},
			{"a pair's history", 3, func() (int, error) {
				h, err := db.Pair(t.Context(), ref(0))
				return len(h.Inspections) * 10, err
			}},
			{"the catalogue", 3, func() (int, error) {
				all, err := db.ShoeModels(t.Context())
				return len(all), err
			}},
			{"a search of the catalogue", 3, func() (int, error) {
				all, err := db.SearchShoeModels(t.Context(), "b", 20)
				return len(all), err
			}},
			{"accounts", 1, func() (int, error) {
				all, err := db.Accounts(t.Context())
				return len(all), err
			}},
			{"stores", 1, func() (int, error) {
				all, err := db.Stores(t.Context())
				return len(all) * 10, err
			}},
			{"the audit trail", 1, func() (int, error) {
				all, _, err := db.Audit(t.Context(), models.AuditFilter{}, models.Page{Limit: 100})
				return len(all), err
			}},
			{"the change feed", 1, func() (int, error) {
				all, err := db.Changes(t.Context(), models.Position{}, 100)
				return len(all), err
			}},
			// The database's id, and for each page its end and its rows; then the end of the last.
			{"pair lines", 4, func() (n int, err error) {
				err = db.EachPairLine(t.Context(), models.Fleet, "", "", "", func(*models.PairLine) error { n++; return nil })
				return n, err
			}},
		} {
			t.Run(c.name, func(t *testing.T) {
				before := statements()
				n, err := c.list()
				must(t, err)
				if n < 20 {
					t.Errorf("only %d entries", n)
				}
				if took := statements() - before; took > c.most {
					t.Errorf("%d statements for %d entries, want %d at most", took, n, c.most)
				}
			})
		}
	})
}

func TestPairsList(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		stock(t, db, 40)
		backwards := reading(900, ref(0), 10, assess.Keep)
		backwards.Record.Runner = "R-1"
		s := save(t, db, judged(backwards.Record))
		_, _, err := db.SaveTradeIn(t.Context(), office, tradeIn(901, s.ID), [32]byte{1})
		must(t, err)
		for _, c := range []struct {
			name string
			f    models.PairFilter
			want int
		}{
			{"the fleet sees all", models.PairFilter{Scopes: models.Fleet}, 20},
			{"no scope sees nothing", models.PairFilter{}, 0},
			{"a region sees those last read there", models.PairFilter{Scopes: []retail.Scope{{Region: "FAR"}}}, 10},
			{"one store", models.PairFilter{Scopes: models.Fleet, Store: "S-1"}, 10},
			{"one model", models.PairFilter{Scopes: models.Fleet, Model: s.ModelID}, 20},
			{"one runner", models.PairFilter{Scopes: models.Fleet, Runner: "R-1"}, 1},
			{"those that contradict themselves", models.PairFilter{Scopes: models.Fleet, Contradicting: true}, 1},
			{"those that are open", models.PairFilter{Scopes: models.Fleet, Open: true}, 19},
		} {
			t.Run(c.name, func(t *testing.T) {
				var refs []string
				for after := ""; ; {
					page, next, err := db.Pairs(t.Context(), c.f, models.Page{After: after, Limit: 6})
					must(t, err)
					for _, p := range page {
						refs = append(refs, p.Ref)
					}
					if after = next; next == "" {
						break
					}
				}
				if len(refs) != c.want || !slices.IsSorted(refs) || len(slices.Compact(slices.Clone(refs))) != len(refs) {
					t.Errorf("%d pairs, want %d: %v", len(refs), c.want, refs)
				}
			})
		}
	})
}

func TestPairLines(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		_, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{Brand: "Norrvik", Model: "Strand", Version: "3", Category: "daily"})
		must(t, err)
		in := reading(1, ref(1), 300, assess.Keep)
		in.Record.Runner = "R-1"
		save(t, db, judged(in.Record))
		in = reading(2, ref(1), 700, assess.ReplacePair)
		r := &in.Record
		r.Runner, r.Batch, r.Store = "R-1", "B7", "S-2"
		r.Gait, r.Strike, r.Surface, r.UsedFor = assess.Of(3), assess.Of(0), assess.Of(1), assess.Of(0)
		r.Posture = [2]assess.Value{assess.Of(1), assess.Of(4)}
		in = judged(*r)
		in.Facts.Codes = []string{"fore-through", "lining-worn"}
		in.Facts.Pattern = assess.PairPattern{Heel: assess.LateralWear, Fore: assess.BroadWear, Side: assess.RightMore, DecidedBy: assess.Right}
		save(t, db, in)
		other := reading(3, ref(3), 100, assess.Keep)
		other.Record.Runner = "R-1"
		save(t, db, judged(other.Record))
		blind := reading(4, ref(4), 100, assess.Keep)
		blind.Record.Kind = assess.Blind
		save(t, db, blind)
		lines := map[string]models.PairLine{}
		collect := func(from, to, store string) {
			clear(lines)
			must(t, db.EachPairLine(t.Context(), models.Fleet, from, to, store, func(l *models.PairLine) error {
				lines[l.Ref] = *l
				return nil
			}))
		}
		collect("", "", "")
		if len(lines) != 2 {
			t.Fatalf("%d lines, want 2", len(lines))
		}
		l := lines[ref(1)]
		if l.RunnerKey == "" || l.RunnerKey == "R-1" || l.RunnerKey != lines[ref(3)].RunnerKey {
			t.Errorf("the runner's keys are %q and %q", l.RunnerKey, lines[ref(3)].RunnerKey)
		}
		same(t, l, models.PairLine{
			Ref: ref(1), Model: "Norrvik Strand 3", Category: "daily", Batch: "B7", ModelID: l.ModelID, Gait: assess.Of(3),
			Strike: assess.Of(0), Posture: assess.Of(4), Surface: assess.Of(1), UsedFor: assess.Of(0), Store: "S-2", Month: "2026-03",
			RunnerKey: l.RunnerKey, Kind: assess.WearCheck, Heel: assess.LateralWear, Fore: assess.BroadWear, Side: assess.RightMore,
			Lower: assess.Of(300), Upper: assess.Of(700), Verdict: assess.ReplacePair, Reason: "fore-through",
		})
		collect("", "", "S-2")
		if len(lines) != 1 {
			t.Errorf("%d of one store", len(lines))
		}
		collect("2026-03-16", "", "")
		if len(lines) != 0 {
			t.Errorf("%d of a later day", len(lines))
		}
		save(t, db, reading(5, ref(1), 10, assess.Keep))
		collect("", "", "")
		if l := lines[ref(1)]; l.Lower.OK() || l.Upper.OK() {
			t.Errorf("a pair that contradicts itself has %v to %v", l.Lower, l.Upper)
		}
	})
}

func TestSalesAndEvents(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		m, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{Brand: "B", Model: "M"})
		must(t, err)
		sale := retail.Sale{Store: "S-1", Model: m.ID, Batch: "", Month: "2026-03", Pairs: 12}
		for range 2 {
			must(t, db.SaveSale(t.Context(), office, sale))
		}
		sale.Pairs = 13
		must(t, db.SaveSale(t.Context(), office, sale))
		must(t, db.SaveSale(t.Context(), office, retail.Sale{Store: "S-1", Model: m.ID, Batch: "B7", Month: "2026-04", Pairs: 0}))
		must(t, db.SaveSale(t.Context(), office, retail.Sale{Store: "S-1", Model: m.ID, Batch: "B7", Month: "2026-06", Pairs: 5}))
		batches, err := db.Batches(t.Context(), m.ID)
		must(t, err)
		same(t, batches, []models.Batch{{Name: "B7", First: "2026-04", Last: "2026-06", Pairs: 5}})
		for _, tt := range []struct {
			f     models.SaleFilter
			first string
			pairs int
		}{
			{models.SaleFilter{Scopes: models.Fleet, Model: m.ID}, "2026-03", 18},
			{models.SaleFilter{Scopes: models.Fleet, Model: m.ID, Batch: "B7"}, "2026-06", 5},
			{models.SaleFilter{Scopes: models.Fleet, Store: "S-9"}, "", 0},
			{models.SaleFilter{Model: m.ID}, "", 0}, // nobody in reach
			{models.SaleFilter{Scopes: models.Fleet, Within: [][]retail.Scope{{{Region: "SOUTH"}}}, Model: m.ID}, "2026-03", 18},
			{models.SaleFilter{Scopes: models.Fleet, Within: [][]retail.Scope{{{Region: "FAR"}}}, Model: m.ID}, "", 0},
			{models.SaleFilter{Scopes: models.Fleet, Within: [][]retail.Scope{{{Region: "SOUTH"}}, {{Store: "S-9"}, {Store: "S-1"}}}, Model: m.ID}, "2026-03", 18},
			{models.SaleFilter{Scopes: []retail.Scope{{Store: "S-9"}}, Within: [][]retail.Scope{{{Region: "SOUTH"}}}, Model: m.ID}, "", 0},
		} {
			first, pairs, err := db.Sold(t.Context(), tt.f)
			must(t, err)
			if first != tt.first || pairs != tt.pairs {
				t.Errorf("%+v: %d pairs since %q, want %d since %q", tt.f, pairs, first, tt.pairs, tt.first)
			}
		}
		var got []retail.Sale
		must(t, db.EachSale(t.Context(), "", "2026-03", func(s *retail.Sale) error { got = append(got, *s); return nil }))
		same(t, got, []retail.Sale{sale})
		for field, change := range map[string]func(*retail.Sale){
			"month": func(s *retail.Sale) { s.Month = "2026-13" },
			"pairs": func(s *retail.Sale) { s.Pairs = -1 },
			"store": func(s *retail.Sale) { s.Store = "S-9" },
			"model": func(s *retail.Sale) { s.Model = assess.UUID{9} },
		} {
			bad := sale
			change(&bad)
			wantField(t, db.SaveSale(t.Context(), office, bad), field)
		}
		offer := retail.Event{Store: "S-1", From: "2026-03-01", To: "2026-03-14", Word: "offer"}
		race := retail.Event{From: "2026-04-19", To: "2026-04-19", Word: "city race"}
		for _, e := range []retail.Event{offer, race, offer} {
			must(t, db.SaveEvent(t.Context(), office, e))
		}
		all, err := db.Events(t.Context(), "", "")
		must(t, err)
		same(t, all, []retail.Event{race, offer})
		some, err := db.Events(t.Context(), "2026-03-14", "2026-04-01")
		must(t, err)
		same(t, some, []retail.Event{offer})
		for field, bad := range map[string]retail.Event{
			"from":  {From: "x", To: "2026-04-19", Word: "w"},
			"to":    {From: "2026-04-19", To: "2026-04-18", Word: "w"},
			"word":  {From: "2026-04-19", To: "2026-04-19"},
			"store": {Store: "S-9", From: "2026-04-19", To: "2026-04-19", Word: "w"},
		} {
			wantField(t, db.SaveEvent(t.Context(), office, bad), field)
		}
	})
}

func TestVersions(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		t.Run("rule set 1 is there from the start", func(t *testing.T) {
			set, err := db.RuleSet(t.Context(), 1)
			must(t, err)
			same(t, set, assess.DefaultRules())
		})
		t.Run("another rule set holds from its day", func(t *testing.T) {
			next := assess.DefaultRules()
			next.From, next.Rules = "2026-06-01", next.Rules[:len(next.Rules)-1]
			n, err := db.AddRuleSet(t.Context(), office, *next, "without its last rule")
			must(t, err)
			for day, want := range map[string]int{"2026-05-31": 1, "2026-06-01": 2, "2030-01-01": 2} {
				set, err := db.RuleSetOn(t.Context(), day)
				must(t, err)
				if set.Number != want || n != 2 {
					t.Errorf("on %s rule set %d holds, want %d", day, set.Number, want)
				}
			}
			_, err = db.RuleSetOn(t.Context(), "2025-12-31")
			wantErr(t, err, models.ErrNotFound)
		})
		t.Run("one that does not compile is refused", func(t *testing.T) {
			bad := assess.DefaultRules()
			bad.Rules[0].Check = "sole"
			_, err := db.AddRuleSet(t.Context(), office, *bad, "")
			wantErr(t, err, assess.ErrOutOfRange)
		})
		t.Run("any other table is kept the same way", func(t *testing.T) {
			n, err := db.AddVersion(t.Context(), office, models.CreditTables, "2026-01-01", `{"rows":[]}`, "first")
			must(t, err)
			v, err := db.VersionOf(t.Context(), models.CreditTables, n)
			must(t, err)
			same(t, v, models.Numbered{Number: 1, From: "2026-01-01", Body: `{"rows":[]}`, Note: "first", CreatedBy: office.Account, CreatedAt: v.CreatedAt})
			_, err = db.AddVersion(t.Context(), office, models.CreditTables, "2026-01-01", `{`, "")
			wantField(t, err, "body")
			_, err = db.AddVersion(t.Context(), office, models.CreditTables, "soon", `{}`, "")
			wantField(t, err, "from")
			_, err = db.VersionOf(t.Context(), models.CreditTables, 9)
			wantErr(t, err, models.ErrNotFound)
		})
		t.Run("what was changed behind the program's back is noticed", func(t *testing.T) {
			_, err := db.Primary().ExecContext(t.Context(), `UPDATE credit_table SET body = '{"rows":[1]}'`)
			must(t, err)
			_, err = db.VersionOf(t.Context(), models.CreditTables, 1)
			wantErr(t, err, models.ErrDamaged)
		})
	})
}

func TestJobs(t *testing.T) {
	c := &clock{t: at}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		claim := func(owner string) bool {
			t.Helper()
			mine, err := db.ClaimJob(t.Context(), "report", "2026-03", owner, time.Minute)
			must(t, err)
			return mine
		}
		won := make(chan bool, 8)
		for i := range cap(won) {
			go func() {
				mine, err := db.ClaimJob(t.Context(), "close", "2026-03", fmt.Sprint(i), time.Minute)
				won <- mine && err == nil
			}()
		}
		n := 0
		for range cap(won) {
			if <-won {
				n++
			}
		}
		if n != 1 {
			t.Errorf("%d of %d won", n, cap(won))
		}
		if !claim("a") || claim("b") {
			t.Error("the first did not win")
		}
		c.move(time.Minute + time.Microsecond)
		if !claim("b") || claim("c") {
			t.Error("a dead owner was not taken over from, once")
		}
		wantErr(t, db.FinishJob(t.Context(), "report", "2026-03", "a"), models.ErrConflict)
		must(t, db.FinishJob(t.Context(), "report", "2026-03", "b"))
		c.move(time.Hour)
		if claim("c") {
			t.Error("what is done was taken up again")
		}
	}, dbtest.Clock(c.now))
}
