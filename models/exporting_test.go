package models_test

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// TestAnExportIsTheReadingsOneByOne compares what an export takes straight from
// the columns with the readings as they are read elsewhere.
func TestAnExportIsTheReadingsOneByOne(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		all := []models.NewInspection{
			reading(1, ref(1), 400, assess.ReplacePair), reading(2, ref(1), 500, assess.Keep), // a contradiction
			reading(0x1f1f, ref(2), 400, assess.Keep), // an id with what stands between the values of a row
		}
		drawn := rapid.Custom(drawRecord)
		for i := range 60 {
			r := drawn.Example(i)
			in := judged(r)
			in.Facts.Verdict = r.Advised
			all = append(all, in)
		}
		_, err := db.ImportInspections(t.Context(), office, given(all...), models.ImportOptions{})
		must(t, err)
		for _, c := range []struct {
			name            string
			scopes          []retail.Scope
			from, to, store string
		}{
			{"the fleet", models.Fleet, "", "", ""},
			{"one store", models.Fleet, "", "", "S-2"},
			{"a region", []retail.Scope{{Region: "FAR"}}, "", "", ""},
			{"some years", models.Fleet, "1985-01-01", "2050-12-31", ""},
			{"some years of one store", models.Fleet, "1985-01-01", "2050-12-31", "S-1"},
			{"nothing", nil, "", "", ""},
		} {
			t.Run(c.name, func(t *testing.T) {
				var want []byte
				n := 0
				must(t, db.EachInspection(t.Context(), models.InspectionFilter{Scopes: c.scopes, From: c.from, To: c.to, Store: c.store}, func(in *models.Inspection) error {
					n++
					want = assess.AppendCSV(want, &in.Record)
					return nil
				}))
				if (n == 0) != (c.scopes == nil) || n == len(all) && c.name != "the fleet" {
					t.Fatalf("%d of %d are there to compare", n, len(all))
				}
				// Each reading to the file by itself, some at a time, some left in memory, all.
				for _, run := range []int{1, 2000, len(want)/2 + 1, len(want) + 1} {
					got, err := db.Exported(t.Context(), run, c.scopes, c.from, c.to, c.store)
					must(t, err)
					sameRows(t, got, string(want))
				}
			})
		}
	})
}

// sameRows compares two files and shows the first row that differs.
func sameRows(t *testing.T, got, want string) {
	t.Helper()
	g, w := strings.Split(got, "\r\n"), strings.Split(want, "\r\n")
	for i := range min(len(g), len(w)) {
		if g[i] != w[i] {
			t.Fatalf("row %d: got\n%s\nwant\n%s", i, g[i], w[i])
		}
	}
	if len(g) != len(w) {
		t.Errorf("got %d rows, want %d", len(g)-1, len(w)-1)
	}
}

func TestAnExportEnds(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		stock(t, db, 40)
		t.Run("with the error of its writer", func(t *testing.T) {
			gone := errors.New("the reader is gone")
			wantErr(t, db.ExportInspections(t.Context(), models.Fleet, "", "", "", func([]byte) error { return gone }), gone)
		})
		t.Run("with its context", func(t *testing.T) {
			ctx, stop := context.WithCancel(t.Context())
			stop()
			wantErr(t, db.ExportInspections(ctx, models.Fleet, "", "", "", func([]byte) error { return nil }), context.Canceled)
		})
		t.Run("before it begins where a day is none", func(t *testing.T) {
			wantField(t, db.ExportInspections(t.Context(), models.Fleet, "yesterday", "", "", func([]byte) error { return nil }), "from")
		})
		t.Run("with the reason why there is no temporary file", func(t *testing.T) {
			t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "gone"))
			_, err := db.Exported(t.Context(), 1, models.Fleet, "", "", "")
			wantErr(t, err, fs.ErrNotExist)
		})
		t.Run("and leaves no temporary file", func(t *testing.T) {
			dir := t.TempDir()
			t.Setenv("TMPDIR", dir)
			gone := errors.New("the reader is gone")
			seen := 0
			wantErr(t, db.ExportedTo(t.Context(), 1, func([]byte) error {
				left, err := os.ReadDir(dir)
				must(t, err)
				seen = len(left)
				return gone
			}), gone)
			left, err := os.ReadDir(dir)
			must(t, err)
			if seen != 1 || len(left) != 0 {
				t.Errorf("%d files while it is written and %d after, want 1 and none", seen, len(left))
			}
		})
		written := func(t *testing.T) (rows int, err error) {
			t.Helper()
			err = db.ExportInspections(t.Context(), models.Fleet, "", "", "", func([]byte) error { rows++; return nil })
			return rows, err
		}
		t.Run("before a reading with a value that this program doesn't know", func(t *testing.T) {
			_, err := db.Primary().ExecContext(t.Context(), "INSERT INTO inspection_value (store, id, foot, name, value) SELECT store, id, 0, 'age_of_laces', 3 FROM inspection")
			must(t, err)
			if rows, err := written(t); err == nil || !strings.Contains(err.Error(), "age_of_laces") || rows > 0 {
				t.Errorf("%v after %d times some rows, want the value's name at once", err, rows)
			}
		})
		t.Run("before readings whose values can't be read", func(t *testing.T) {
			_, err := db.Primary().ExecContext(t.Context(), "ALTER TABLE inspection_value RENAME TO inspection_value_away")
			must(t, err)
			if rows, err := written(t); err == nil || rows > 0 {
				t.Errorf("%v after %d times some rows, want an error at once", err, rows)
			}
		})
		t.Run("and leaves every connection idle", func(t *testing.T) {
			if n := db.Reader().Stats().InUse; n != 0 {
				t.Errorf("%d connections are in use", n)
			}
		})
	})
}

// A reason that an import would refuse is refused at once, or what is exported
// couldn't be read back.
func TestAVoidReasonIsPlainText(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		in := save(t, db, reading(1, ref(1), 100, assess.Keep))
		for _, reason := range []string{"two\nlines", "a\x00b", "a\x1fb", strings.Repeat("x", 301)} {
			_, err := db.VoidInspection(t.Context(), office, in.ID, reason)
			wantField(t, err, "void_reason")
		}
	})
}
