package models_test

import (
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
)

func TestLivesAreCountedByModel(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		for _, in := range []models.NewInspection{
			reading(1, ref(1), 300, assess.Keep), reading(2, ref(1), 600, assess.ReplacePair), // worn between two looks
			reading(3, ref(2), 300, assess.Keep), reading(4, ref(2), 600, assess.RetirePair), // the same again
			reading(5, ref(3), 400, assess.Keep),         // sound so far
			reading(6, ref(4), 500, assess.ReplacePair),  // worn at the first look
			reading(7, ref(5), -1, assess.Keep),          // distance unknown: says nothing
			reading(8, ref(6), 500, assess.Keep),         // runs backwards: contradicts itself
			reading(9, ref(6), 300, assess.Keep),         //
			reading(10, ref(7), 200, assess.Keep),        // merged into the next: counts once
			reading(11, ref(8), 700, assess.ReplacePair), //
			reading(12, ref(9), 300, assess.Incomplete),  // not finished: says nothing
		} {
			if in.Record.Distance.OK() && in.Record.Distance.Int() < 0 {
				in.Record.Distance = assess.Unread
				in.Record.Derive()
				in = judged(in.Record)
			}
			save(t, db, in)
		}
		must(t, db.MergePairs(t.Context(), office, ref(7), ref(8), "same slip, printed twice"))
		h, err := db.Pair(t.Context(), ref(1))
		must(t, err)
		got, err := db.Lives(t.Context())
		must(t, err)
		want := map[models.Interval]int{ // by hand from the definition in Life's doc comment
			{Lower: 300, Upper: assess.Of(600)}: 2,
			{Lower: 400, Upper: assess.Unread}:  1,
			{Lower: 0, Upper: assess.Of(500)}:   1,
			{Lower: 200, Upper: assess.Of(700)}: 1,
		}
		for _, l := range got {
			k := models.Interval{Lower: l.Lower, Upper: l.Upper}
			if want[k] != l.Pairs || l.Model != h.ModelID || l.Model == (assess.UUID{}) {
				t.Errorf("got %+v, want %d pairs of %s", l, want[k], h.ModelID)
			}
			delete(want, k)
		}
		if len(want) > 0 {
			t.Errorf("not counted: %v", want)
		}
	})
}

func TestRisksHoldFromTheirDay(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		none, err := db.Risks(t.Context(), "2026-11-01")
		must(t, err)
		if none != nil {
			t.Errorf("before any were computed there are %+v", none)
		}
		tables := func(day string, next int) *assess.RiskTables {
			return &assess.RiskTables{AsOf: day, Risk: 2000, Curves: []assess.RiskCurve{
				{By: assess.NextByAll, Steps: []assess.RiskStep{{AtKM: 0, NextKM: next}}, Pairs: 400, Worn: 120, EndKM: 900},
			}}
		}
		for i, day := range []string{"2026-11-01", "2026-11-02"} {
			n, err := db.AddRisks(t.Context(), models.Actor{Account: "solewright"}, tables(day, 300+i), "measured")
			must(t, err)
			if n != i+1 {
				t.Errorf("number %d, want %d", n, i+1)
			}
		}
		for day, want := range map[string]*assess.RiskTables{
			"2026-10-31": nil, "2026-11-01": tables("2026-11-01", 300), "2026-11-02": tables("2026-11-02", 301), "2027-01-01": tables("2026-11-02", 301),
		} {
			got, err := db.Risks(t.Context(), day)
			must(t, err)
			same(t, got, want)
		}
		bad := tables("2026-11-03", 0)
		if _, err := db.AddRisks(t.Context(), models.Actor{Account: "solewright"}, bad, ""); err == nil {
			t.Error("tables that lead backwards were stored")
		}
	})
}
