package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/photos"
	"solewright/models/photos/s3test"
	"solewright/models/retail"
)

func TestPhotosMayLieInABucket(t *testing.T) {
	flags := retailer(t)
	bucket := s3test.New(t)
	secret := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(secret, []byte(s3test.Secret+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	verify := func(env map[string]string, args ...string) outcome {
		return command(t, "", env, slices.Concat([]string{"verify"}, args, flags)...)
	}
	in := map[string]string{"SOLEWRIGHT_PHOTOS": bucket.URL, "SOLEWRIGHT_PHOTOS_KEY": s3test.Key}
	if got := verify(in, "--photos-secret-file", secret); got.code != exitDone || !strings.Contains(got.out, "0 photos") {
		t.Errorf("exit %d, %s%s", got.code, got.out, got.err)
	}
	for _, c := range []struct {
		args []string
		says string
		code int
	}{
		{nil, "a bucket takes a key and its secret", exitUsage},
		{[]string{"--photos-secret-file", secret + ".gone"}, "--photos-secret-file", exitWrong},
		{[]string{"--photos", "s3://shoes"}, "want s3:https://HOST/BUCKET", exitUsage},
	} {
		if got := verify(in, c.args...); got.code != c.code || !strings.Contains(got.err, c.says) || strings.Count(got.err, "\n") != 1 {
			t.Errorf("%q: exit %d, %q, want one line that says %q", c.args, got.code, got.err, c.says)
		}
	}
}

// A photo of an erased runner is sent again, as it shows somebody else's pair too,
// while two servers delete its file: in whatever order the steps of the tablet and
// of one server come, and though the other is held up from before the first of them
// until after the last, the photo has its file in the end, and there is no other.
// Sent again for the erased reading it is refused, and nothing stays. Every order is
// tried: 7! / (4! 3!) of them, and 6! / (3! 3!).
func TestAPhotoThatIsSentAgainOutlivesTheDeletionOfItsFile(t *testing.T) {
	now := time.Date(2026, 11, 2, 10, 0, 0, 0, time.UTC)
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		ctx := t.Context()
		no := func(err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
		}
		no(db.SaveRegion(ctx, operator, retail.Region{Code: "N", Name: "North", Currency: "EUR"}))
		no(db.SaveStore(ctx, operator, retail.Store{Code: "N1", Name: "One", Region: "N", Zone: "Europe/Berlin", Currency: "EUR", Unit: "km"}))
		dir := t.TempDir()
		files, err := photos.Open("file:"+dir, photos.Access{})
		no(err)
		kept := func(sha [sha256.Size]byte) []string {
			names, err := filepath.Glob(filepath.Join(dir, "*", hex.EncodeToString(sha[:])+"*"))
			no(err)
			return names
		}
		n := 0
		reading := func() assess.UUID { return assess.NewV7(now.UnixMilli(), [10]byte{8: byte(n >> 8), 9: byte(n)}) }
		// sent is a photo that an erased runner's reading showed, whose file waits to
		// be deleted.
		sent := func() (*photos.Photo, models.StoredPhoto, models.PhotoLink) {
			n++
			p := &photos.Photo{Bytes: fmt.Appendf(nil, "photo %d", n)}
			p.SHA = sha256.Sum256(p.Bytes)
			runner := fmt.Sprintf("R-%d", n)
			of := models.PhotoLink{Store: "N1", Inspection: reading(), View: models.ViewSole}
			_, err := db.SaveInspection(ctx, operator, models.NewInspection{Record: assess.Record{
				ID: of.Inspection, Store: "N1", Staff: "F-1", At: now, Kind: assess.WearCheck, Runner: runner,
			}})
			no(err)
			row := models.StoredPhoto{SHA: p.SHA, Bytes: len(p.Bytes), Width: 1, Height: 1}
			row.File, err = db.ExpectPhoto(ctx, row)
			no(err)
			no(files.Put(ctx, p, row.File))
			_, _, err = db.SavePhoto(ctx, operator, row, p.SHA, of)
			no(err)
			_, err = db.EraseRunner(ctx, operator, runner)
			no(err)
			return p, row, of
		}
		steps := func(p *photos.Photo, row models.StoredPhoto, of models.PhotoLink) (sender, deleter, held []func() error) {
			file := ""
			sender = []func() error{
				func() (err error) { row.File, err = db.ExpectPhoto(ctx, row); return err },
				func() error { return files.Put(ctx, p, row.File) },
				func() (err error) { file, _, err = db.SavePhoto(ctx, operator, row, p.SHA, of); return err },
				func() error { return files.Put(ctx, p, file) },
			}
			deletes := func() []func() error {
				var gone []models.StoredPhoto
				each := func(f func(models.StoredPhoto) error) func() error {
					return func() error {
						var failed []error
						for _, g := range gone {
							failed = append(failed, f(g))
						}
						return errors.Join(failed...)
					}
				}
				return []func() error{
					func() (err error) { gone, err = db.PhotosToDelete(ctx); return err },
					each(func(g models.StoredPhoto) error { return files.Delete(ctx, photos.Name{SHA: g.SHA, File: g.File}) }),
					each(func(g models.StoredPhoto) error { return db.PhotoDeleted(ctx, g) }),
				}
			}
			return sender, deletes(), deletes()
		}
		heldUp := func(order []int) []int { return slices.Concat([]int{2}, order, []int{2, 2}) }
		orders := ordersOf([]int{4, 3})
		if len(orders) != 35 {
			t.Fatalf("%d orders are tried", len(orders))
		}
		for _, order := range orders {
			p, row, of := sent()
			of.Inspection = assess.NewV7(now.UnixMilli(), [10]byte{3: 1, 8: byte(n >> 8), 9: byte(n)})
			sender, deleter, held := steps(p, row, of)
			no(inOrder(heldUp(order), sender, deleter, held))
			for range 2 { // and after whatever else there is to delete
				stored, err := db.Photo(ctx, p.SHA)
				no(err)
				if wrong, err := files.Check(ctx, photos.Name{SHA: stored.SHA, File: stored.File}); wrong != "" || err != nil {
					t.Fatalf("in the order %v: %s, %v", order, wrong, err)
				}
				_, err = deletePhotos(ctx, db, files)
				no(err)
			}
			if names := kept(p.SHA); len(names) != 1 {
				t.Fatalf("in the order %v %v are left", order, names)
			}
		}
		for _, order := range ordersOf([]int{3, 3}) {
			p, row, of := sent()
			sender, deleter, held := steps(p, row, of)
			if err := inOrder(heldUp(order), sender, deleter, held); !errors.Is(err, models.ErrConflict) {
				t.Fatalf("in the order %v: %v", order, err)
			}
			now = now.Add(2 * time.Hour)
			_, err := deletePhotos(ctx, db, files)
			no(err)
			if names := kept(p.SHA); len(names) != 0 {
				t.Fatalf("in the order %v %v are left of an erased runner", order, names)
			}
		}
	}, dbtest.Clock(func() time.Time { return now }))
}

// ordersOf returns every order of the steps of some actors, of whom each takes a
// number of steps one after the other: by the places of the actors.
func ordersOf(left []int) [][]int {
	var all [][]int
	for actor, n := range left {
		if n == 0 {
			continue
		}
		rest := slices.Clone(left)
		rest[actor]--
		for _, order := range ordersOf(rest) {
			all = append(all, append([]int{actor}, order...))
		}
	}
	if all == nil {
		return [][]int{nil}
	}
	return all
}

// inOrder takes the steps of actors in an order, each one although another failed.
func inOrder(order []int, actors ...[]func() error) error {
	taken := make([]int, len(actors))
	var failed []error
	for _, actor := range order {
		failed = append(failed, actors[actor][taken[actor]]())
		taken[actor]++
	}
	return errors.Join(failed...)
}
