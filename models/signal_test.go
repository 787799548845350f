package models_test

import (
	"crypto/sha256"
	"encoding/json"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

func TestSignalsAreActedOn(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		ctx := t.Context()
		setUp(t, db)
		must(t, db.SaveStaff(ctx, office, retail.Staff{Code: "M-7", Role: retail.Manager, Scopes: []retail.Scope{{}}}))
		found := models.Signal{
			ID: assess.UUID{1}, Kind: "early-batch", Scope: "fleet", Subject: "batch", Month: "2026-03", Evidence: json.RawMessage(`{"hits":9}`),
		}
		act := func(do models.SignalAct) error { return db.ActOnSignal(ctx, models.Actor{Account: "M-1"}, found, do) }
		t.Run("without evidence one that isn't stored is not found", func(t *testing.T) {
			wantErr(t, db.ActOnSignal(ctx, office, models.Signal{ID: assess.UUID{1}}, models.SignalAct{Do: "take"}), models.ErrNotFound)
		})
		for _, c := range []struct {
			name  string
			do    models.SignalAct
			field string
		}{
			{"an act that there isn't", models.SignalAct{Do: "ignore"}, "do"},
			{"assigning to nobody", models.SignalAct{Do: "assign"}, "to"},
			{"assigning to who isn't here", models.SignalAct{Do: "assign", To: "M-9"}, "to"},
			{"a comment without words", models.SignalAct{Do: "comment", Words: " "}, "words"},
			{"closing as something else", models.SignalAct{Do: "close", Outcome: "weather", Words: "wet"}, "outcome"},
			{"closing without saying why", models.SignalAct{Do: "close", Outcome: "shoe"}, "words"},
		} {
			t.Run(c.name+" is refused and stores nothing", func(t *testing.T) {
				f, ok := asFields(act(c.do))
				if !ok || f != c.field {
					t.Errorf("at %q, want %q", f, c.field)
				}
				all, err := db.Signals(ctx, "fleet")
				must(t, err)
				if len(all) != 0 {
					t.Errorf("stored %+v", all)
				}
			})
		}
		must(t, act(models.SignalAct{Do: "take"}))
		must(t, act(models.SignalAct{Do: "assign", To: "M-7", Words: "please ask the maker"}))
		must(t, act(models.SignalAct{Do: "comment", Words: "second reads agree"}))
		must(t, act(models.SignalAct{Do: "close", Outcome: "shoe", Words: "bond of one batch"}))
		wantErr(t, act(models.SignalAct{Do: "take"}), models.ErrConflict)
		must(t, act(models.SignalAct{Do: "comment", Words: "maker told"}))
		all, err := db.Signals(ctx, "fleet")
		must(t, err)
		if len(all) != 1 {
			t.Fatalf("stored %+v", all)
		}
		s := all[0]
		if s.State != models.SignalClosed || s.TakenBy != "M-7" || s.Outcome != "shoe" || string(s.Evidence) != `{"hits":9}` || len(s.Notes) != 4 ||
			s.Notes[0].Words != "please ask the maker" || s.Notes[3].Words != "maker told" || s.Notes[3].Account != "M-1" || s.Notes[3].At.IsZero() {
			t.Errorf("stored %+v", s)
		}
		if other, err := db.Signals(ctx, "region:FAR"); err != nil || len(other) != 0 {
			t.Errorf("another scope sees %+v, %v", other, err)
		}
	})
}

func TestCreditsAddUp(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		ctx := t.Context()
		setUp(t, db)
		for i, credit := range []int64{1500, 900} {
			read := save(t, db, reading(10+i, ref(10+i), 200, assess.Keep))
			in := tradeIn(20+i, read.ID)
			in.Credit, in.Advised = credit, 1500
			if credit != 1500 {
				in.OverrideBy, in.Reason = "M-1", "worn more than it looks"
			}
			_, _, err := db.SaveTradeIn(ctx, office, in, sha256.Sum256([]byte{byte(i)}))
			must(t, err)
		}
		all, err := db.Credits(ctx, models.CreditFilter{Scopes: models.Fleet})
		must(t, err)
		if len(all) != 1 || all[0].Currency != "EUR" || all[0].Pairs != 2 || all[0].Overridden != 1 || all[0].Given != 2400 || all[0].Advised != 3000 || all[0].Month != "2026-03" {
			t.Errorf("credits %+v", all)
		}
		routed, err := db.Routes(ctx, models.CreditFilter{Scopes: models.Fleet})
		must(t, err)
		if want := (models.Routed{Store: "S-1", Category: all[0].Category, Month: "2026-03", Grade: assess.GradeB, Route: assess.Resale, Pairs: 2}); len(routed) != 1 || routed[0] != want {
			t.Errorf("routes %+v, want %+v", routed, want)
		}
		for name, f := range map[string]models.CreditFilter{
			"nobody":         {},
			"another month":  {Scopes: models.Fleet, From: "2026-04-01"},
			"another store":  {Scopes: models.Fleet, Store: "S-9"},
			"another region": {Scopes: models.Fleet, Region: "NOWHERE"},
		} {
			if got, err := db.Credits(ctx, f); err != nil || len(got) != 0 {
				t.Errorf("%s: %+v, %v", name, got, err)
			}
			if got, err := db.Routes(ctx, f); err != nil || len(got) != 0 {
				t.Errorf("routes of %s: %+v, %v", name, got, err)
			}
		}
		_, err = db.Routes(ctx, models.CreditFilter{Scopes: models.Fleet, From: "spring"})
		wantField(t, err, "from")
		_, err = db.Credits(ctx, models.CreditFilter{Scopes: models.Fleet, From: "spring"})
		wantField(t, err, "from")
	})
}
