package models_test

import (
	"crypto/sha256"
	"errors"
	"slices"
	"sync"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// overruled is the n-th reading of a test, whose advised replace was given as
// keep, and what signs for that.
func overruled(n int) (models.NewInspection, models.SignOff) {
	r := reading(n, ref(n), 100*n, assess.ReplacePair).Record
	r.Given, r.GivenReason, r.SecondReader = assess.Keep, "walks in them", "F-2"
	return judged(r), models.SignOff{Reading: r.ID, Purpose: models.ForReading, Advised: assess.ReplacePair, Given: assess.Keep}
}

func TestWhatCanBeSignedOff(t *testing.T) {
	db := dbtest.Open(t)
	hire(t, db)
	by := models.Actor{Account: "F-1", Device: "T-1"}
	_, verdict := overruled(1)
	credit := models.SignOff{Reading: verdict.Reading, Purpose: models.ForCredit, Credit: 2000, Currency: "EUR"}
	for _, c := range []struct {
		name, field string
		of          models.SignOff
		change      func(*models.SignOff)
	}{
		{"a credit without its currency", "currency", credit, func(s *models.SignOff) { s.Currency = "" }},
		{"a credit below nothing", "credit", credit, func(s *models.SignOff) { s.Credit = -1 }},
		{"a credit with a verdict", "given", credit, func(s *models.SignOff) { s.Given = assess.Keep }},
		{"a verdict with a credit", "credit", verdict, func(s *models.SignOff) { s.Credit = 1 }},
		{"a verdict in no other's place", "advised", verdict, func(s *models.SignOff) { s.Advised = assess.NoVerdict }},
		{"no verdict", "given", verdict, func(s *models.SignOff) { s.Given = assess.NoVerdict }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := c.of
			c.change(&s)
			wantField(t, db.SignOff(t.Context(), by, s), c.field)
		})
	}
}

func TestAReadingTakesItsSignature(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		hire(t, db)
		ctx, second := t.Context(), models.Actor{Account: "F-2", Device: "T-1"}
		in, signed := overruled(1)
		in.Signed = &models.Signature{SignOff: signed, Account: "F-2"}
		refuse := func(t *testing.T, in models.NewInspection) {
			t.Helper()
			if _, err := db.SaveInspection(ctx, office, in); !errors.Is(err, models.ErrUnsigned) {
				t.Errorf("got %v, want it refused as unsigned", err)
			}
			if _, err := db.Inspection(ctx, in.Record.ID); !errors.Is(err, models.ErrNotFound) {
				t.Errorf("a reading that was refused is stored: %v", err)
			}
		}
		refuse(t, in)
		for name, change := range map[string]func(*models.SignOff, *models.Actor){
			"another reading":           func(s *models.SignOff, _ *models.Actor) { _, s2 := overruled(2); s.Reading = s2.Reading },
			"another verdict":           func(s *models.SignOff, _ *models.Actor) { s.Given = assess.RecheckPair },
			"in place of another":       func(s *models.SignOff, _ *models.Actor) { s.Advised = assess.RetirePair },
			"signed by another account": func(_ *models.SignOff, a *models.Actor) { a.Account = "F-1" },
		} {
			t.Run(name+" opens nothing", func(t *testing.T) {
				s, by := signed, second
				change(&s, &by)
				must(t, db.SignOff(ctx, by, s))
				refuse(t, in)
			})
		}
		must(t, db.SignOff(ctx, second, signed))
		must(t, db.SignOff(ctx, second, signed))
		first, err := db.SaveInspection(ctx, office, in)
		must(t, err)
		t.Run("sent again it is the same, and takes no second signature", func(t *testing.T) {
			again, err := db.SaveInspection(ctx, office, in)
			must(t, err)
			if again.Created || again.ID != first.ID {
				t.Errorf("got %v, created %v", again.ID, again.Created)
			}
		})
		t.Run("what served once serves nothing else", func(t *testing.T) {
			other := in
			other.Record.Store = "S-2"
			other.Record.PairRef = ref(9)
			if _, err := db.SaveInspection(ctx, office, other); !errors.Is(err, models.ErrUnsigned) {
				t.Errorf("got %v, want it refused as unsigned", err)
			}
		})
		t.Run("the trail holds the signature once", func(t *testing.T) {
			all, _, err := db.Audit(ctx, models.AuditFilter{Account: "F-2", Action: "sign-off.", Subject: "inspection:" + first.ID.String()}, models.Page{Limit: 10})
			must(t, err)
			words := []string{}
			for _, e := range all {
				words = append(words, e.After)
			}
			slices.Sort(words)
			if want := []string{"keep, advised replace", "keep, advised retire", "recheck, advised replace"}; !slices.Equal(words, want) {
				t.Errorf("the trail holds %q, want %q", words, want)
			}
		})
		who, err := db.SignedFor(ctx, first.ID)
		must(t, err)
		if who[first.ID] != "F-2" {
			t.Errorf("%v stand by it, want F-2", who)
		}
	})
}

// Two tablets that send at once what one signature is for: it serves one.
func TestOneSignatureServesOneRecord(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		hire(t, db)
		ctx := t.Context()
		read := save(t, db, reading(1, ref(1), 200, assess.Keep))
		amount := models.SignOff{Reading: read.ID, Purpose: models.ForCredit, Credit: 2000, Currency: "EUR"}
		must(t, db.SignOff(ctx, models.Actor{Account: "M-1"}, amount))
		var errs [4]error
		var all sync.WaitGroup
		for i := range errs {
			all.Go(func() {
				in := tradeIn(10+i, read.ID)
				in.Credit, in.OverrideBy, in.Reason = 2000, "M-1", "regular"
				in.Signed = &models.Signature{SignOff: amount, Account: "M-1"}
				_, _, errs[i] = db.SaveTradeIn(ctx, office, in, sha256.Sum256([]byte{byte(i)}))
			})
		}
		all.Wait()
		stored := 0
		for _, err := range errs {
			switch {
			case err == nil:
				stored++
			case !errors.Is(err, models.ErrUnsigned) && !errors.Is(err, models.ErrConflict):
				t.Errorf("got %v", err)
			}
		}
		if stored != 1 {
			t.Errorf("%d trade-ins are stored on one signature", stored)
		}
	})
}

func TestWhatWasKeptOffLineWaitsForAManager(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		hire(t, db)
		ctx, manager := t.Context(), models.Actor{Account: "M-1"}
		waiting := func() (ids []assess.UUID) {
			all, _, err := db.Inspections(ctx, models.InspectionFilter{Scopes: []retail.Scope{{Store: "S-1"}}, Live: true, Waiting: true}, models.Page{})
			must(t, err)
			for _, in := range all {
				ids = append(ids, in.ID)
			}
			return ids
		}
		in, _ := overruled(1)
		in.Record.Flags = assess.FlagSecondUnproven
		kept := save(t, db, in)
		sound := save(t, db, reading(2, ref(2), 100, assess.Keep))
		if got := waiting(); !slices.Equal(got, []assess.UUID{kept.ID}) {
			t.Fatalf("%v wait, want the one", got)
		}
		wantField(t, db.ConfirmSecond(ctx, models.Actor{Account: "F-1"}, kept.ID), "account")
		wantErr(t, db.ConfirmSecond(ctx, manager, sound.ID), models.ErrConflict)
		must(t, db.ConfirmSecond(ctx, manager, kept.ID))
		if got := waiting(); len(got) > 0 {
			t.Errorf("%v still wait", got)
		}
		wantErr(t, db.ConfirmSecond(ctx, manager, kept.ID), models.ErrConflict)
		who, err := db.SignedFor(ctx, kept.ID, sound.ID)
		must(t, err)
		if len(who) != 1 || who[kept.ID] != "M-1" {
			t.Errorf("%v stand by readings, want M-1 by the one", who)
		}
		other, _ := overruled(3)
		other.Record.Flags = assess.FlagSecondUnproven
		gone := save(t, db, other)
		_, err = db.VoidInspection(ctx, manager, gone.ID, "nobody stands by it")
		must(t, err)
		wantErr(t, db.ConfirmSecond(ctx, manager, gone.ID), models.ErrConflict)
	})
}
