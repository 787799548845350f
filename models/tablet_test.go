package models_test

import (
	"slices"
	"testing"

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
			{Code: "T-1", Role: retail.Trainer, Scopes: models.Fleet, Also: retail.Grants(retail.Trainee, here...)},
		} {
			must(t, db.SaveStaff(t.Context(), office, s))
		}
		all, err := db.StaffAt(t.Context(), "S-1")
		must(t, err)
		var codes []string
		for _, a := range all {
			codes = append(codes, a.Code)
		}
		if want := []string{"F-1", "F-2", "T-1"}; !slices.Equal(codes, want) {
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
