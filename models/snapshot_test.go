package models_test

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"testing"

	"solewright/models"
	"solewright/models/dbtest"
)

func TestSnapshotsAreKeptWholeOrNotAtAll(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		kept := db.Snapshots()
		fetched := func() []byte {
			t.Helper()
			var b bytes.Buffer
			if err := kept.Fetch(t.Context(), &b); errors.Is(err, fs.ErrNotExist) {
				return nil
			} else if err != nil {
				t.Fatal(err)
			}
			return b.Bytes()
		}
		if db.Dialect() == "sqlite" { // the file beside it is what is kept
			must(t, kept.Keep(t.Context(), bytes.NewReader([]byte("a fleet"))))
			if got := fetched(); got != nil {
				t.Errorf("SQLite keeps %d bytes", len(got))
			}
			return
		}
		for _, size := range []int{5 << 19, 1 << 20, 1<<20 + 1, 1, 0, 3} {
			snapshot := bytes.Repeat([]byte{byte(size), byte(size >> 8), 7}, size/3+1)[:size]
			must(t, kept.Keep(t.Context(), bytes.NewReader(snapshot)))
			if got := fetched(); !bytes.Equal(got, snapshot) {
				t.Errorf("of %d bytes %d came back, or others", size, len(got))
			}
		}
		before := fetched()
		torn := errors.New("torn")
		err := kept.Keep(t.Context(), io.MultiReader(bytes.NewReader(make([]byte, 3<<20)), failingReader{torn}))
		if !errors.Is(err, torn) || !bytes.Equal(fetched(), before) {
			t.Errorf("of one that tears (%v), %d bytes are kept", err, len(fetched()))
		}
		if _, err := db.Primary().ExecContext(t.Context(), "INSERT INTO fleet_snapshot (made, part, ends) SELECT max(made) + 1, 0, false FROM fleet_snapshot"); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(fetched(), before) {
			t.Error("what a server that was killed left is taken for a snapshot")
		}
		must(t, kept.Keep(t.Context(), bytes.NewReader(before)))
		var rows int
		must(t, db.Primary().QueryRowContext(t.Context(), "SELECT count(*) FROM fleet_snapshot").Scan(&rows))
		if rows != 2 || !bytes.Equal(fetched(), before) {
			t.Errorf("%d rows of the last snapshot and of those before", rows)
		}
		if err := kept.Fetch(t.Context(), failingWriter{torn}); !errors.Is(err, torn) {
			t.Errorf("fetching into what fails: %v", err)
		}
	})
}

type failingReader struct{ error }

func (f failingReader) Read([]byte) (int, error) { return 0, f.error }

type failingWriter struct{ error }

func (f failingWriter) Write([]byte) (int, error) { return 0, f.error }
