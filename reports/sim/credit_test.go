package sim_test

import (
	"slices"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models/retail"
	"solewright/reports/sim"
)

func TestCreditTablesAreValidAndOneForEachCurrency(t *testing.T) {
	f, _ := theFleet()
	begun := map[string]bool{}
	for i, table := range f.CreditTables() {
		if err := table.Check(); err != nil {
			t.Errorf("table %d: %v", i, err)
		}
		if table.Number != i+1 {
			t.Errorf("table %d has number %d", i, table.Number)
		}
		begun[table.Currency] = begun[table.Currency] || table.From == f.Start().Format(time.DateOnly)
		for g := assess.GradeA; g <= assess.GradeX; g++ {
			before := int64(-1)
			for _, age := range []int{800, 400, 100} { // younger is worth no less
				minor, ok := table.Credit(g, "daily", assess.Of(age))
				if !ok || minor < before {
					t.Errorf("table %d, grade %s at %d days: %d, %t, after %d", i, g, age, minor, ok, before)
				}
				before = minor
			}
		}
	}
	for _, s := range f.Stores {
		if !begun[s.Currency] {
			t.Errorf("no table of %s, of store %s, from the start", s.Currency, s.Code)
		}
	}
}

// TestHandOversFollowTheirReadings holds every hand-over against the reading it
// names, the grade and routes of the default rules, and the tables.
func TestHandOversFollowTheirReadings(t *testing.T) {
	f, rows := theFleet()
	readings, last, superseded := map[assess.UUID]*row{}, map[string]*row{}, map[assess.UUID]bool{}
	for i := range rows {
		r := &rows[i]
		readings[r.rec.ID] = r
		superseded[r.rec.Supersedes] = true
		if r.rec.Kind != assess.Blind {
			last[r.rec.PairRef] = r
		}
	}
	tables := f.CreditTables()
	engine := assess.Default()
	seen := map[string]bool{}
	all, paid, overrides, other, closed, graded := 0, 0, 0, 0, 0, 0
	var before time.Time
	var result assess.Result
	for h := range f.TradeIns() {
		all++
		r := readings[h.Inspection]
		switch {
		case r == nil || r.rec.Kind != assess.TradeIn || r.rec.PairRef != h.PairRef || r.rec.Store != h.Store || r != last[h.PairRef]:
			t.Fatalf("%+v goes by no last reading of its pair for trade-in", *h)
		case superseded[h.Inspection] || !r.rec.VoidedAt.IsZero():
			t.Fatalf("%+v goes by a reading that doesn't stand", *h)
		case seen[h.PairRef]:
			t.Fatalf("pair %s is handed over twice", h.PairRef)
		case !h.At.After(r.rec.At) || h.At.Before(before.Add(-time.Hour)):
			t.Fatalf("%+v is out of time", *h)
		}
		seen[h.PairRef], before = true, h.At
		model := &f.Models[r.truth.Model]
		engine.Judge(&r.rec.Reading, &model.AsNew, &result)
		if h.Grade != result.Grade {
			t.Fatalf("%+v: the reading's grade is %s", *h, result.Grade)
		}
		if !slices.ContainsFunc(engine.Routes(h.Grade), func(o assess.RouteOption) bool { return o.Route == h.Route && o.Open }) {
			t.Fatalf("%+v: grade %s closes the route %s", *h, h.Grade, h.Route)
		}
		if h.Route != result.Route {
			other++
		}
		table := tables[h.Table]
		store := slices.IndexFunc(f.Stores, func(s retail.Store) bool { return s.Code == h.Store })
		if table.Currency != h.Currency || f.Stores[store].Currency != h.Currency || table.From > h.At.Format(time.DateOnly) {
			t.Fatalf("%+v goes by table %+v", *h, table)
		}
		if minor, _ := table.Credit(h.Grade, model.Category, r.rec.AgeDays); minor != h.Advised {
			t.Fatalf("%+v: the table says %d", *h, minor)
		}
		if (h.Credit != h.Advised) != (h.OverrideBy != "") || (h.OverrideBy == "") != (h.Reason == "") || (h.Credit > 0) != (h.Voucher != "") {
			t.Fatalf("%+v", *h)
		}
		if h.Advised > 0 {
			paid++
		}
		if h.OverrideBy != "" {
			overrides++
		}
	}
	for _, r := range last {
		engine.Judge(&r.rec.Reading, &f.Models[r.truth.Model].AsNew, &result)
		if r.rec.Kind == assess.TradeIn && r.rec.VoidedAt.IsZero() && result.Grade != assess.NoGrade {
			graded++
		}
		if r.rec.Kind == assess.TradeIn {
			closed++
		}
	}
	if all != graded || all < closed/2 {
		t.Errorf("%d hand-overs of %d last readings with a grade, of %d for trade-in", all, graded, closed)
	}
	// House assumptions of the simulation itself; wide enough for any draw.
	if overrides < paid/100 || overrides > paid/25 || other == 0 {
		t.Errorf("%d overrides of %d that get credit, %d other routes of %d", overrides, paid, other, all)
	}
}

func TestTheSameSeedGivesTheSameHandOvers(t *testing.T) {
	of := func(seed uint64) (all []sim.TradeIn) {
		for h := range sim.New(sim.Options{Seed: seed, Inspections: 500}).TradeIns() {
			all = append(all, *h)
		}
		return all
	}
	if a, b := of(3), of(3); len(a) == 0 || !slices.Equal(a, b) {
		t.Errorf("%d and %d hand-overs that differ", len(a), len(b))
	}
	if slices.Equal(of(3), of(4)) {
		t.Error("another seed gives the same")
	}
}
