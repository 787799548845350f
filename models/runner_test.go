package models_test

import (
	"crypto/sha256"
	"fmt"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// runner is a code that occurs nowhere by accident.
const runner = "R-7Q4ZK"

// everywhere returns the places in the whole database where a word stands, by
// table and column.
func everywhere(t *testing.T, db *models.DB, word string) []string {
	t.Helper()
	var places []string
	for _, table := range tables(t, db) {
		rows, err := db.Primary().QueryContext(t.Context(), "SELECT * FROM "+table)
		must(t, err)
		columns, err := rows.Columns()
		must(t, err)
		for rows.Next() {
			values := make([]any, len(columns))
			into := make([]any, len(columns))
			for i := range values {
				into[i] = &values[i]
			}
			must(t, rows.Scan(into...))
			for i, v := range values {
				s := fmt.Sprint(v)
				if b, ok := v.([]byte); ok {
					s = string(b)
				}
				if strings.Contains(s, word) {
					places = append(places, table+"."+columns[i])
				}
			}
		}
		must(t, rows.Err())
		must(t, rows.Close())
	}
	return places
}

// wear stores a runner with everything that is kept about one, and returns the
// reading as it was sent.
func wear(t *testing.T, db *models.DB, teaching string) (models.NewInspection, retail.Fitting) {
	t.Helper()
	must(t, db.SaveRunner(t.Context(), office, retail.Runner{
		Code: runner, Unit: "mi", MassBand: "60-74",
		HealthNotes: retail.Consent{Date: "2026-01-02", Text: "3"}, TeachingPhotos: retail.Consent{Date: teaching, Text: "3"},
	}))
	must(t, db.SaveRunner(t.Context(), office, retail.Runner{Code: runner, Unit: "km", TeachingPhotos: retail.Consent{Date: teaching, Text: "3"}}))
	in := reading(1, ref(1), 400, assess.Keep)
	in.Record.Runner, in.Record.Note = runner, "sore heel, says "+runner
	in.Record.SetPair(assess.PainMentioned, assess.Of(assess.Yes))
	in.Record.Gait = assess.Of(3)
	in = judged(in.Record)
	save(t, db, in)
	f := retail.Fitting{
		ID: reading(2, "", 0, assess.Keep).Record.ID, Store: "S-1", Staff: "F-1", Runner: runner, At: at,
		Referred: true, Note: "asked about " + runner, Gait: assess.Of(3),
	}
	_, _, err := db.SaveFitting(t.Context(), office, f, sha256.Sum256([]byte("fitting")))
	must(t, err)
	for _, sha := range []string{"'\\x01'", "'\\x02'"} {
		if db.Dialect() == "sqlite" {
			sha = "x'0" + sha[4:5] + "'"
		}
		sha = strings.Replace(sha, "\\x", "\\x"+strings.Repeat("00", 31), 1)
		sha = strings.Replace(sha, "x'", "x'"+strings.Repeat("00", 31), 1)
		_, err := db.Primary().ExecContext(t.Context(), "INSERT INTO photo (sha, bytes, width, height, created_at) VALUES ("+sha+", 1, 1, 1, "+now(db)+")")
		must(t, err)
		_, err = db.Primary().ExecContext(t.Context(), "INSERT INTO inspection_photo (store, inspection_id, sha, foot, view) SELECT store, id, "+sha+", 0, 'back' FROM inspection WHERE runner = '"+runner+"'")
		must(t, err)
	}
	return in, f
}

// now is an instant in plain SQL.
func now(db *models.DB) string {
	if db.Dialect() == "sqlite" {
		return "0"
	}
	return "now()"
}

func TestEraseRunner(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		in, f := wear(t, db, "")
		if len(everywhere(t, db, runner)) < 8 {
			t.Fatalf("the test stores too little: %v", everywhere(t, db, runner))
		}
		// The second photo also shows somebody else's pair.
		other := reading(3, ref(3), 100, assess.Keep)
		other.Record.Runner = "R-2"
		s := save(t, db, other)
		_, err := db.Primary().ExecContext(t.Context(), db.SQL("INSERT INTO inspection_photo (store, inspection_id, sha, foot, view) SELECT store, ?, max(sha), 0, 'back' FROM (SELECT store, sha FROM inspection_photo ORDER BY sha DESC LIMIT 1) p GROUP BY store"), s.ID[:])
		if db.Dialect() == "postgres" {
			// PostgreSQL has no max of bytea before version 18.
			_, err = db.Primary().ExecContext(t.Context(), db.SQL("INSERT INTO inspection_photo (store, inspection_id, sha, foot, view) SELECT store, ?, sha, 0, 'back' FROM inspection_photo ORDER BY sha DESC LIMIT 1"), s.ID[:])
		}
		must(t, err)

		e, err := db.EraseRunner(t.Context(), office, runner)
		must(t, err)
		if e.Inspections != 1 || e.Fittings != 1 || len(e.Pairs) != 1 || e.Pairs[0] != ref(1) {
			t.Errorf("got %+v", e)
		}
		t.Run("the code stands nowhere any more", func(t *testing.T) {
			if places := everywhere(t, db, runner); len(places) > 0 {
				t.Errorf("it stands in %v", places)
			}
		})
		t.Run("the key stands for the runner, so that pairs stay together", func(t *testing.T) {
			h, err := db.Pair(t.Context(), ref(1))
			must(t, err)
			if h.Runner != e.Key || h.Inspections[0].Runner != e.Key {
				t.Errorf("the pair is of %q, its reading of %q", h.Runner, h.Inspections[0].Runner)
			}
		})
		t.Run("what was said is gone, what was read off the shoe stays", func(t *testing.T) {
			got, err := db.Inspection(t.Context(), in.Record.ID)
			must(t, err)
			if got.Note != "" || got.Pair(assess.PainMentioned) != assess.Unread || !got.Erased {
				t.Errorf("note %q, pain %v", got.Note, got.Pair(assess.PainMentioned))
			}
			if got.Distance != in.Record.Distance || got.Gait != in.Record.Gait {
				t.Error("the reading changed")
			}
			fitted, err := db.Fitting(t.Context(), f.ID)
			must(t, err)
			if fitted.Referred || fitted.Note != "" || fitted.Runner != e.Key {
				t.Errorf("the fitting is %+v", fitted)
			}
		})
		t.Run("photos that show nobody else's pair are handed out to be deleted", func(t *testing.T) {
			if len(e.Photos) != 1 || e.Photos[0][31] != 1 {
				t.Errorf("got %x", e.Photos)
			}
		})
		t.Run("the reading sent again is told so", func(t *testing.T) {
			_, err := db.SaveInspection(t.Context(), office, in)
			wantErr(t, err, models.ErrConflict)
			if places := everywhere(t, db, runner); len(places) > 0 {
				t.Errorf("the code is back in %v", places)
			}
		})
		t.Run("a file with the reading passes over it", func(t *testing.T) {
			res, err := db.ImportInspections(t.Context(), office, given(in), models.ImportOptions{})
			must(t, err)
			same(t, res, models.ImportResult{Read: 1, Known: 1})
		})
		t.Run("erased twice it is not found", func(t *testing.T) {
			_, err := db.EraseRunner(t.Context(), office, runner)
			wantErr(t, err, models.ErrNotFound)
			_, err = db.Runner(t.Context(), runner)
			wantErr(t, err, models.ErrNotFound)
		})
		t.Run("other runners are as they were", func(t *testing.T) {
			got, err := db.Inspection(t.Context(), s.ID)
			must(t, err)
			if got.Runner != "R-2" || got.Erased {
				t.Errorf("got %+v", got.Record)
			}
		})
		list, err := db.Erasures(t.Context())
		must(t, err)
		if len(list) != 1 {
			t.Fatalf("the list has %d marks", len(list))
		}
		t.Run("the list holds neither code nor key", func(t *testing.T) {
			s := fmt.Sprintf("%s %x", list[0].Salt, list[0].CodeSHA)
			if strings.Contains(s, runner) || strings.Contains(s, e.Key) {
				t.Error(s)
			}
		})
		t.Run("the list replayed clears what came back", func(t *testing.T) {
			late := reading(9, ref(9), 100, assess.Keep)
			late.Record.Runner = runner
			save(t, db, late)
			done, err := db.ReplayErasures(t.Context(), office, list)
			must(t, err)
			if len(done) != 1 || done[0].Inspections != 1 || done[0].Key == e.Key {
				t.Errorf("got %+v", done)
			}
			if places := everywhere(t, db, runner); len(places) > 0 {
				t.Errorf("the code stands in %v", places)
			}
			done, err = db.ReplayErasures(t.Context(), office, list)
			must(t, err)
			if len(done) != 0 {
				t.Errorf("replayed again it did %+v", done)
			}
		})
	})
}

func TestPhotosGivenForTeachingStay(t *testing.T) {
	db := dbtest.Open(t)
	setUp(t, db)
	wear(t, db, "2026-01-02")
	e, err := db.EraseRunner(t.Context(), office, runner)
	must(t, err)
	var n int
	must(t, db.Primary().QueryRowContext(t.Context(), "SELECT count(*) FROM inspection_photo").Scan(&n))
	if len(e.Photos) != 0 || n != 2 {
		t.Errorf("%d are to be deleted, %d are linked", len(e.Photos), n)
	}
}

// TestTheListGoesWithoutTheDatabase replays a list on a database that never
// erased anybody, as a backup from before would be.
func TestTheListGoesWithoutTheDatabase(t *testing.T) {
	db, backup := dbtest.Open(t), dbtest.Open(t)
	for _, d := range []*models.DB{db, backup} {
		setUp(t, d)
		wear(t, d, "")
	}
	_, err := db.EraseRunner(t.Context(), office, runner)
	must(t, err)
	list, err := db.Erasures(t.Context())
	must(t, err)
	done, err := backup.ReplayErasures(t.Context(), office, list)
	must(t, err)
	if len(done) != 1 {
		t.Errorf("erased %+v", done)
	}
	if places := everywhere(t, backup, runner); len(places) > 0 {
		t.Errorf("the code stands in %v", places)
	}
	again, err := backup.Erasures(t.Context())
	must(t, err)
	same(t, again, list)
}

func TestRunners(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		want := retail.Runner{Code: "R-1", TeachingPhotos: retail.Consent{Date: "2026-01-01", Text: "2"}, Unit: "mi", MassBand: "60-74"}
		must(t, db.SaveRunner(t.Context(), office, want))
		got, err := db.Runner(t.Context(), "R-1")
		must(t, err)
		same(t, got, want)
		want.TeachingPhotos = retail.Consent{}
		must(t, db.SaveRunner(t.Context(), office, want))
		got, err = db.Runner(t.Context(), "R-1")
		must(t, err)
		same(t, got, want)
		must(t, db.SaveRunner(t.Context(), office, retail.Runner{Code: "R-0"}))
		var codes []string
		must(t, db.EachRunner(t.Context(), func(r *retail.Runner) error {
			codes = append(codes, r.Code)
			return nil
		}))
		same(t, codes, []string{"R-0", "R-1"})
		wantField(t, db.SaveRunner(t.Context(), office, retail.Runner{}), "runner")
	})
}

func TestFittings(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		want := retail.Fitting{
			ID: assess.UUID{1, 15: 7}, Store: "S-1", Staff: "F-1", Runner: "R-1", At: at,
			Foot: [2]retail.Foot{
				{LengthMM: 265, WidthMM: 101, Posture: [6]assess.Value{assess.Of(-2), assess.Of(-1), assess.Of(0), assess.Of(1), assess.Of(2), assess.Unread}},
				{LengthMM: 267},
			},
			Gait: assess.Of(2), GaitBy: assess.Of(1), Strike: assess.Of(0), StrikeBy: "index",
			StrikeIndex: [2]assess.Value{assess.Of(31), assess.Unread}, Surfaces: []string{"road", "trail"},
			UsedFor: assess.Of(0), WeeklyKM: assess.Of(40), BeforeWear: assess.Of(assess.Yes), OldPair: ref(1),
			ChosenID: assess.UUID{2}, ChosenSize: "EU 42", ChosenPair: ref(2), Referred: true, Note: "ä 👟",
			Tried: []retail.TriedPair{
				{Model: assess.UUID{2}, Size: "EU 42", Felt: "comfortable", Outcome: "chosen"},
				{Name: "Velm Arc, ä 3", Felt: "heel-slips", Outcome: "put-back"},
			},
		}
		sha := sha256.Sum256([]byte("body"))
		stored, created, err := db.SaveFitting(t.Context(), office, want, sha)
		must(t, err)
		same(t, stored.Fitting, want)
		if !created || stored.Day != "2026-03-14" || stored.Month != "2026-03" {
			t.Errorf("stored %+v", stored)
		}
		again, created, err := db.SaveFitting(t.Context(), office, want, sha)
		must(t, err)
		if created {
			t.Error("it was stored twice")
		}
		same(t, again, stored)
		got, err := db.Fitting(t.Context(), want.ID)
		must(t, err)
		same(t, got, stored)
		_, _, err = db.SaveFitting(t.Context(), office, want, sha256.Sum256(nil))
		wantErr(t, err, models.ErrConflict)
		t.Run("the pair that was chosen begins", func(t *testing.T) {
			h, err := db.Pair(t.Context(), ref(2))
			must(t, err)
			if h.Runner != "R-1" || h.SizeLabel != "EU 42" || h.ModelID != want.ChosenID || h.BoughtOn != "2026-03-14" {
				t.Errorf("got %+v", h.Pair)
			}
		})
		t.Run("a runner's are listed, and all streamed", func(t *testing.T) {
			all, err := db.FittingsOf(t.Context(), "R-1")
			must(t, err)
			n := 0
			must(t, db.EachFitting(t.Context(), func(f *models.StoredFitting) error {
				n++
				same(t, f, stored)
				return nil
			}))
			if len(all) != 1 || n != 1 {
				t.Errorf("%d are listed, %d streamed", len(all), n)
			}
		})
		t.Run("an item out of range is refused", func(t *testing.T) {
			bad := want
			bad.ID = assess.UUID{3}
			bad.Foot[1].Posture[0] = assess.Of(3)
			_, _, err := db.SaveFitting(t.Context(), office, bad, sha)
			wantField(t, err, "posture")
		})
		t.Run("a tried pair of no known outcome is refused", func(t *testing.T) {
			bad := want
			bad.ID, bad.Tried = assess.UUID{3}, []retail.TriedPair{{Name: "Velm Arc", Outcome: "sold"}}
			_, _, err := db.SaveFitting(t.Context(), office, bad, sha)
			wantField(t, err, "tried")
		})
		t.Run("a store that isn't there is refused", func(t *testing.T) {
			bad := want
			bad.ID, bad.Store = assess.UUID{3}, "S-9"
			_, _, err := db.SaveFitting(t.Context(), office, bad, sha)
			wantField(t, err, "store")
		})
	})
}
