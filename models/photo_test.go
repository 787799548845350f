package models_test

import (
	"crypto/sha256"
	"slices"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
)

// picture is the n-th photo of a test, and the hash of what it was made of.
func picture(n byte) (p models.StoredPhoto, sent [sha256.Size]byte) {
	return models.StoredPhoto{SHA: [sha256.Size]byte{n, 1}, Bytes: 1000, Width: 1600, Height: 1200}, [sha256.Size]byte{n, 2}
}

func TestPhoto(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		in := reading(1, ref(1), 420, assess.Keep)
		p, sent := picture(1)
		tilt := []float64{.1, .9, .9, .9, .5, .2, .5, .7}
		back := models.PhotoLink{Store: "S-1", Inspection: in.Record.ID, Foot: assess.Right, View: models.ViewBack, Points: tilt}
		save1 := func(p models.StoredPhoto, sent [sha256.Size]byte, l models.PhotoLink) bool {
			t.Helper()
			_, created, err := db.SavePhoto(t.Context(), office, p, sent, l)
			must(t, err)
			return created
		}
		// The photo may arrive before its reading.
		if !save1(p, sent, back) || save1(p, sent, back) {
			t.Error("it is not stored once")
		}
		save(t, db, in)
		t.Run("both hashes lead to it", func(t *testing.T) {
			for _, sha := range [][sha256.Size]byte{p.SHA, sent} {
				got, err := db.Photo(t.Context(), sha)
				must(t, err)
				if got.SHA != p.SHA || got.Width != 1600 || got.CreatedAt.IsZero() {
					t.Errorf("got %+v", got)
				}
			}
			_, err := db.Photo(t.Context(), [sha256.Size]byte{9})
			wantErr(t, err, models.ErrNotFound)
		})
		t.Run("it belongs to its reading, with its points", func(t *testing.T) {
			shown, err := db.PhotoShownBy(t.Context(), p.SHA)
			must(t, err)
			all, err := db.PhotosOf(t.Context(), in.Record.ID)
			must(t, err)
			back.SHA = p.SHA
			if len(shown) != 1 || shown[0].ID != in.Record.ID {
				t.Errorf("it belongs to %d readings", len(shown))
			}
			same(t, all[in.Record.ID], []models.PhotoLink{back})
		})
		t.Run("photos come left first, in the order of the views", func(t *testing.T) {
			for n, l := range map[byte]models.PhotoLink{
				2: {Foot: assess.Left, View: models.ViewSole}, 3: {Foot: assess.Left, View: models.ViewBack}, 4: {Foot: assess.Right, View: models.ViewSole},
			} {
				q, sent := picture(n)
				l.Store, l.Inspection = "S-1", in.Record.ID
				save1(q, sent, l)
			}
			all, err := db.PhotosOf(t.Context(), in.Record.ID)
			must(t, err)
			var order []byte
			for _, l := range all[in.Record.ID] {
				order = append(order, l.SHA[0])
			}
			if !slices.Equal(order, []byte{3, 2, 1, 4}) {
				t.Errorf("they come as %v", order)
			}
		})
		t.Run("another view of it replaces the one before", func(t *testing.T) {
			l := back
			l.View, l.Points = models.ViewInner, nil
			if save1(p, sent, l) {
				t.Error("it is stored twice")
			}
			all, err := db.PhotosOf(t.Context(), in.Record.ID)
			must(t, err)
			if got := all[in.Record.ID][3]; got.View != models.ViewInner || got.Points != nil {
				t.Errorf("got %+v", got)
			}
		})
		t.Run("what can't be is refused by name", func(t *testing.T) {
			for field, change := range map[string]func(*models.PhotoLink){
				"store":      func(l *models.PhotoLink) { l.Store = "" },
				"inspection": func(l *models.PhotoLink) { l.Inspection = assess.UUID{} },
				"shoe":       func(l *models.PhotoLink) { l.Foot = assess.Both },
				"view":       func(l *models.PhotoLink) { l.View = "above" },
				"points":     func(l *models.PhotoLink) { l.Points = []float64{0, 0, 0, 0, 0, 0, 0, 1.5} },
			} {
				l := back
				change(&l)
				_, _, err := db.SavePhoto(t.Context(), office, p, sent, l)
				wantField(t, err, field)
			}
		})
		t.Run("a thirteenth is too many", func(t *testing.T) {
			for n := byte(10); n < 18; n++ {
				q, sent := picture(n)
				save1(q, sent, back)
			}
			q, sent := picture(18)
			_, _, err := db.SavePhoto(t.Context(), office, q, sent, back)
			wantField(t, err, "inspection")
			_, err = db.Photo(t.Context(), q.SHA)
			wantErr(t, err, models.ErrNotFound)
		})
		t.Run("every photo is listed once", func(t *testing.T) {
			n := 0
			must(t, db.EachPhoto(t.Context(), func(models.StoredPhoto) error { n++; return nil }))
			if n != 12 {
				t.Errorf("%d are listed", n)
			}
		})
	})
}

// A file is written before the record that leads to it.
func TestAPhotoThatNothingShowsGoes(t *testing.T) {
	now := at
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		now = at
		toDelete := func(want ...models.StoredPhoto) {
			t.Helper()
			gone, err := db.PhotosToDelete(t.Context())
			must(t, err)
			if !slices.EqualFunc(gone, want, func(g, p models.StoredPhoto) bool { return g.SHA == p.SHA }) {
				t.Errorf("to delete are %x, want %d", gone, len(want))
			}
		}
		in := reading(1, ref(1), 420, assess.Keep)
		save(t, db, in)
		back := models.PhotoLink{Store: "S-1", Inspection: in.Record.ID, Foot: assess.Left, View: models.ViewBack}
		kept, sent := picture(1)
		lost, lostSent := picture(2)
		for _, p := range []*models.StoredPhoto{&kept, &lost} {
			var err error
			p.File, err = db.ExpectPhoto(t.Context(), *p)
			must(t, err)
			_, err = db.Photo(t.Context(), p.SHA)
			wantErr(t, err, models.ErrNotFound)
		}
		_, _, err := db.SavePhoto(t.Context(), office, kept, sent, back)
		must(t, err)
		if again, err := db.ExpectPhoto(t.Context(), kept); again != kept.File || err != nil { // sent again
			t.Errorf("its file is named %q, %v, want %q as it was", again, err, kept.File)
		}
		if _, err := db.Photo(t.Context(), sent); err != nil {
			t.Error(err)
		}
		toDelete()
		now = now.Add(59 * time.Minute)
		toDelete()
		now = now.Add(time.Minute)
		toDelete(lost)
		toDelete(lost) // until its file is gone
		old := lost.File
		lost.File, err = db.ExpectPhoto(t.Context(), lost)
		must(t, err)
		file, created, err := db.SavePhoto(t.Context(), office, lost, lostSent, back)
		must(t, err)
		now = now.Add(time.Hour)
		toDelete(lost)
		if !created || file != lost.File || file == old {
			t.Errorf("what was forgotten is stored again %t, its file named %q, said to be %q and %q before", created, file, lost.File, old)
		}
		lost.File = old
		must(t, db.PhotoDeleted(t.Context(), lost))
		toDelete()
	}, dbtest.Clock(func() time.Time { return now }))
}

// A reading may be stored with a photo while the one that showed it before is erased.
func TestAPhotoThatALiveReadingShowsIsNotForgotten(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		in := reading(1, ref(1), 420, assess.Keep)
		save(t, db, in)
		p, sent := picture(1)
		_, _, err := db.SavePhoto(t.Context(), office, p, sent, models.PhotoLink{Store: "S-1", Inspection: in.Record.ID, View: models.ViewBack})
		must(t, err)
		_, err = db.Primary().ExecContext(t.Context(), "UPDATE photo SET deleted_at = created_at")
		must(t, err)
		if gone, err := db.PhotosToDelete(t.Context()); err != nil || len(gone) != 0 {
			t.Errorf("to delete are %x, %v", gone, err)
		}
		if _, err := db.Photo(t.Context(), sent); err != nil {
			t.Error(err)
		}
	})
}

func TestPhotosOfAnErasedRunnerGo(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		in := reading(1, ref(1), 420, assess.Keep)
		in.Record.Runner = "R-1"
		in = judged(in.Record)
		save(t, db, in)
		p, sent := picture(1)
		back := models.PhotoLink{Store: "S-1", Inspection: in.Record.ID, Foot: assess.Left, View: models.ViewBack}
		_, _, err := db.SavePhoto(t.Context(), office, p, sent, back)
		must(t, err)
		_, err = db.EraseRunner(t.Context(), office, "R-1")
		must(t, err)
		_, err = db.Photo(t.Context(), sent)
		wantErr(t, err, models.ErrNotFound)
		gone, err := db.PhotosToDelete(t.Context())
		must(t, err)
		if len(gone) != 1 || gone[0].SHA != p.SHA {
			t.Fatalf("to delete are %x", gone)
		}
		// A tablet that was off line sends it once more.
		_, _, err = db.SavePhoto(t.Context(), office, p, sent, back)
		wantErr(t, err, models.ErrConflict)
		must(t, db.PhotoDeleted(t.Context(), gone[0]))
		if gone, err = db.PhotosToDelete(t.Context()); err != nil || len(gone) != 0 {
			t.Errorf("left to delete are %x, %v", gone, err)
		}
		// One that is wanted again is not forgotten.
		other := reading(2, ref(2), 100, assess.Keep)
		back.Inspection = other.Record.ID
		_, _, err = db.SavePhoto(t.Context(), office, p, sent, back)
		must(t, err)
		if gone, err = db.PhotosToDelete(t.Context()); err != nil || len(gone) != 0 {
			t.Errorf("to delete are %x, %v", gone, err)
		}
		if _, err := db.Photo(t.Context(), sent); err != nil {
			t.Error(err)
		}
	})
}
