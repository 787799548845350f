package models_test

import (
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
)

// correction amends the reading in as number n, to a verdict and a grade.
func correction(in models.NewInspection, n int, verdict assess.Verdict, grade assess.GradeLetter) models.NewInspection {
	rec := in.Record
	rec.Supersedes, rec.ID, rec.Advised, rec.AmendReason = rec.ID, reading(n, "", 0, verdict).Record.ID, verdict, "overlooked"
	next := judged(rec)
	next.Facts.Grade = grade
	return next
}

func TestPhotosFollowACorrection(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		in := reading(1, ref(1), 420, assess.Keep)
		shoot := func(n byte) {
			t.Helper()
			p, sent := picture(n)
			_, _, err := db.SavePhoto(t.Context(), office, p, sent, models.PhotoLink{Store: "S-1", Inspection: in.Record.ID, Foot: assess.Right, View: models.ViewSole})
			must(t, err)
		}
		shoot(1)
		save(t, db, in)
		second := correction(in, 2, assess.ReplacePair, assess.GradeD)
		save(t, db, second)
		third := correction(second, 3, assess.Keep, assess.GradeB)
		save(t, db, third)
		shoot(2) // from a tablet that was off line
		wantPhotos(t, db, 2, in, second, third)
		t.Run("whichever reading comes first", func(t *testing.T) {
			in = reading(11, ref(2), 420, assess.Keep)
			later := correction(in, 12, assess.ReplacePair, assess.GradeD)
			save(t, db, later)
			shoot(3)
			save(t, db, in)
			wantPhotos(t, db, 1, later)
		})
	})
}

func TestPhotosFollowCorrectionsThatAreImported(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		in := reading(1, ref(1), 420, assess.Keep)
		second := correction(in, 2, assess.ReplacePair, assess.GradeD)
		third := correction(second, 3, assess.Keep, assess.GradeB)
		save(t, db, in)
		p, sent := picture(1)
		_, _, err := db.SavePhoto(t.Context(), office, p, sent, models.PhotoLink{Store: "S-1", Inspection: in.Record.ID, Foot: assess.Right, View: models.ViewSole})
		must(t, err)
		_, err = db.ImportInspections(t.Context(), office, given(third, second), models.ImportOptions{})
		must(t, err)
		wantPhotos(t, db, 1, in, second, third)
	})
}

// Readings that were corrected before photos followed are brought along by a
// migration.
func TestPhotosThatStayedBehindAreBroughtAlong(t *testing.T) {
	const before = 14
	for _, kind := range dbtest.Kinds(t) {
		t.Run(kind, func(t *testing.T) {
			db := dbtest.OpenURL(t, dbtest.EmptyURL(t, kind))
			_, _, err := db.Migrate(t.Context())
			must(t, err)
			setUp(t, db)
			chain := func(n int, runner string) []models.NewInspection {
				in := reading(10*n, ref(n), 420, assess.Keep)
				in.Record.Runner = runner
				in = judged(in.Record)
				second := correction(in, 10*n+1, assess.ReplacePair, assess.GradeD)
				return []models.NewInspection{in, second, correction(second, 10*n+2, assess.Keep, assess.GradeB)}
			}
			lasting, erased := chain(1, ""), chain(2, "R-1")
			for i, all := range [][]models.NewInspection{lasting, erased} {
				for _, in := range all {
					save(t, db, in)
				}
				for n := range byte(2) {
					p, sent := picture(10*byte(i) + n)
					_, _, err := db.SavePhoto(t.Context(), office, p, sent, models.PhotoLink{
						Store: "S-1", Inspection: all[0].Record.ID, Foot: assess.Right, View: models.ViewBack, Points: []float64{0, 1, 1, 1, .5, 0, .5, 1},
					})
					must(t, err)
				}
			}
			_, err = db.EraseRunner(t.Context(), office, "R-1")
			must(t, err)
			_, err = db.Primary().ExecContext(t.Context(), "DELETE FROM inspection_photo WHERE inspection_id IN (SELECT id FROM inspection WHERE supersedes IS NOT NULL)")
			must(t, err)
			wantPhotos(t, db, 0, lasting[1:]...)
			must(t, db.Down(t.Context(), before))

			_, _, err = db.Migrate(t.Context())
			must(t, err)
			wantPhotos(t, db, 2, lasting...)
			wantPhotos(t, db, 0, erased...)
			all, err := db.PhotosOf(t.Context(), lasting[2].Record.ID)
			must(t, err)
			if got := all[lasting[2].Record.ID][0]; got.View != models.ViewBack || got.Foot != assess.Right || len(got.Points) != 8 {
				t.Errorf("it shows %+v", got)
			}
		})
	}
}

// wantPhotos fails where one of the readings has not n photos.
func wantPhotos(t *testing.T, db *models.DB, n int, readings ...models.NewInspection) {
	t.Helper()
	for i, in := range readings {
		all, err := db.PhotosOf(t.Context(), in.Record.ID)
		must(t, err)
		if got := len(all[in.Record.ID]); got != n {
			t.Errorf("reading %d has %d photos, want %d", i+1, got, n)
		}
	}
}

func TestATradeInWaitsForADecision(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		trade := func(n int, in models.NewInspection, grade assess.GradeLetter, route assess.Route) models.TradeIn {
			return models.TradeIn{
				ID: reading(n, "", 0, assess.Keep).Record.ID, Store: "S-1", InspectionID: in.Record.ID, Staff: "F-1", At: at.Add(time.Hour),
				Grade: grade, Route: route, Credit: 1600, Advised: 1600,
			}
		}
		waits := func() []models.Corrected {
			t.Helper()
			all, err := db.CorrectedTradeIns(t.Context(), models.Fleet)
			must(t, err)
			if n, err := db.CountCorrectedTradeIns(t.Context(), models.Fleet); err != nil || n != len(all) {
				t.Errorf("%d are counted of %d, %v", n, len(all), err)
			}
			return all
		}
		in := reading(1, ref(1), 420, assess.Keep)
		in.Facts.Grade = assess.GradeB
		save(t, db, in)
		first := trade(100, in, assess.GradeB, assess.Resale)
		_, _, err := db.SaveTradeIn(t.Context(), office, first, [32]byte{1})
		must(t, err)
		if n := len(waits()); n != 0 {
			t.Errorf("%d wait before anything was corrected", n)
		}
		same := correction(in, 2, assess.Keep, assess.GradeB)
		save(t, db, same)
		if n := len(waits()); n != 0 {
			t.Errorf("%d wait after a correction that changes nothing", n)
		}
		worn := correction(same, 3, assess.ReplacePair, assess.GradeD)
		save(t, db, worn)
		all := waits()
		if len(all) != 1 || all[0].TradeIn.ID != first.ID || all[0].Was.ID != in.Record.ID || all[0].Is.ID != worn.Record.ID {
			t.Fatalf("got %+v, want the trade-in of the first reading, over the third", all)
		}
		if none, err := db.CorrectedTradeIns(t.Context(), nil); err != nil || len(none) != 0 {
			t.Errorf("in no scope wait %d, %v", len(none), err)
		}

		anew := trade(101, worn, assess.GradeD, assess.RecyclingNeverResale)
		wrong := anew
		wrong.Grade = assess.NoGrade
		if _, err := db.DecideTradeIn(t.Context(), office, first.ID, wrong, "read again"); err == nil {
			t.Error("a trade-in without a grade is stored")
		}
		if n := len(waits()); n != 1 {
			t.Fatalf("%d wait after a decision that failed", n)
		}
		stored, err := db.DecideTradeIn(t.Context(), office, first.ID, anew, "read again")
		must(t, err)
		if stored.Grade != assess.GradeD || stored.Route != assess.RecyclingNeverResale || stored.Credit != 1600 {
			t.Errorf("got %+v", stored)
		}
		of, err := db.TradeInsOf(t.Context(), ref(1))
		must(t, err)
		pair, err := db.Pair(t.Context(), ref(1))
		must(t, err)
		if len(of) != 2 || len(waits()) != 0 || pair.Open() {
			t.Errorf("%d trade-ins, %d wait, open %v", len(of), len(waits()), pair.Open())
		}
		if old, err := db.TradeIn(t.Context(), first.ID); err != nil || old.VoidReason != "read again" {
			t.Errorf("the trade-in before is void for %q, %v", old.VoidReason, err)
		}
		_, err = db.DecideTradeIn(t.Context(), office, first.ID, trade(102, worn, assess.GradeD, assess.RecyclingNeverResale), "again")
		wantErr(t, err, models.ErrConflict)
	})
}
