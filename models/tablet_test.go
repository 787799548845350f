package models_test

import (
	"slices"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

func TestStaffAtAStore(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		hire(t, db)
		here := []retail.Scope{{Store: "S-1"}}
		must(t, db.SaveStore(t.Context(), office, retail.Store{Code: "S-11", Name: "Eleven", Region: "SOUTH", Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"}))
		for _, s := range []retail.Staff{
			{Code: "F-2", Role: retail.Trainee, Scopes: append(here, retail.Scope{Store: "S-2"})},
			{Code: "F-3", Role: retail.Fitter, Scopes: here, Retired: "2026-03-01"},
			{Code: "F-4", Role: retail.Fitter, Scopes: []retail.Scope{{Store: "S-11"}}},
			{Code: "M-1", Role: retail.Manager, Scopes: []retail.Scope{{Region: "SOUTH"}}},
		} {
			must(t, db.SaveStaff(t.Context(), office, s))
		}
		all, err := db.StaffAt(t.Context(), "S-1")
		must(t, err)
		var codes []string
		for _, a := range all {
			codes = append(codes, a.Code)
		}
		if want := []string{"F-1", "F-2"}; !slices.Equal(codes, want) {
			t.Errorf("at S-1 are %v, want %v: neither the retired, nor those of S-11, nor the region's", codes, want)
		}
	})
}

func TestMarkAndLanguage(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		hire(t, db)
		before, err := db.Account(t.Context(), "F-1")
		must(t, err)
		must(t, db.SetMark(t.Context(), office, "F-1", "fish"))
		must(t, db.SetLang(t.Context(), office, "F-1", "es"))
		after, err := db.Account(t.Context(), "F-1")
		must(t, err)
		if after.Mark != "fish" || after.Lang != "es" || after.Epoch != before.Epoch {
			t.Errorf("got %+v, want fish, es and the sessions kept", after)
		}
		must(t, db.SaveStaff(t.Context(), office, retail.Staff{Code: "F-1", Role: retail.Trainer, Scopes: models.Fleet}))
		if after, err = db.Account(t.Context(), "F-1"); err != nil || after.Mark != "fish" || after.Lang != "es" {
			t.Errorf("a change of role leaves %+v, %v", after, err)
		}
		wantField(t, db.SetMark(t.Context(), office, "F-1", "anchor"), "mark")
		wantField(t, db.SetLang(t.Context(), office, "F-1", "no language"), "lang")
		wantErr(t, db.SetMark(t.Context(), office, "F-9", "fish"), models.ErrNotFound)
	})
}

func TestSignOff(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		hire(t, db)
		reading, other := assess.NewV7(1, [10]byte{1}), assess.NewV7(2, [10]byte{2})
		by := models.Actor{Account: "F-1", Device: "T-1"}
		credit := func(reading assess.UUID, minor int64, currency string) models.SignOff {
			return models.SignOff{Reading: reading, Purpose: models.ForCredit, Credit: minor, Currency: currency}
		}
		must(t, db.SignOff(t.Context(), by, credit(reading, 2000, "EUR")))
		must(t, db.SignOff(t.Context(), by, credit(reading, 2000, "EUR")))
		wantField(t, db.SignOff(t.Context(), by, credit(reading, 2000, "")), "currency")
		wantField(t, db.SignOff(t.Context(), by, credit(reading, -1, "EUR")), "credit")
		wantField(t, db.SignOff(t.Context(), by, models.SignOff{Reading: reading, Purpose: models.ForReading, Credit: 1}), "credit")
		for _, c := range []struct {
			name    string
			signed  models.SignOff
			account string
			want    bool
		}{
			{"what was signed stands", credit(reading, 2000, "EUR"), "F-1", true},
			{"another amount was not signed", credit(reading, 20000, "EUR"), "F-1", false},
			{"another currency was not signed", credit(reading, 2000, "GBP"), "F-1", false},
			{"another reading was not signed", credit(other, 2000, "EUR"), "F-1", false},
			{"another purpose was not signed", models.SignOff{Reading: reading, Purpose: models.ForReading}, "F-1", false},
			{"nobody else signed", credit(reading, 2000, "EUR"), "F-2", false},
		} {
			t.Run(c.name, func(t *testing.T) {
				got, err := db.SignedOff(t.Context(), c.signed, c.account)
				if err != nil || got != c.want {
					t.Errorf("got %v, %v, want %v", got, err, c.want)
				}
			})
		}
		all, _, err := db.Audit(t.Context(), models.AuditFilter{Action: "sign-off."}, models.Page{Limit: 10})
		must(t, err)
		if len(all) != 1 || all[0].Account != "F-1" || all[0].Device != "T-1" || all[0].After != "2000 EUR" {
			t.Errorf("the trail holds %+v, want it once", all)
		}
	})
}
