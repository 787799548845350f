package models_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"iter"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
)

// given yields readings to import.
func given(all ...models.NewInspection) iter.Seq2[*models.NewInspection, error] {
	return func(yield func(*models.NewInspection, error) bool) {
		for i := range all {
			if !yield(&all[i], nil) {
				return
			}
		}
	}
}

// refusals collects what an import refuses.
type refusals map[int]error

func (r refusals) note(row int, err error) { r[row] = err }

func TestImportInspections(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		file := []models.NewInspection{
			reading(1, ref(1), 300, assess.Keep),
			reading(2, ref(1), 620, assess.ReplacePair),
			reading(3, ref(2), 100, assess.Keep),
			reading(4, "", 200, assess.Keep),
		}
		file[2].Record.Shoe[assess.Left][assess.HeelMedialMM] = assess.Of(31)
		file[2].SHA = sha256.Sum256(assess.Canonical(&file[2].Record))
		res, err := db.ImportInspections(t.Context(), office, given(file...), models.ImportOptions{})
		must(t, err)
		same(t, res, models.ImportResult{Read: 4, Stored: 4, Pairs: 3})

		t.Run("the same file twice changes nothing", func(t *testing.T) {
			res, err := db.ImportInspections(t.Context(), office, given(file...), models.ImportOptions{})
			must(t, err)
			same(t, res, models.ImportResult{Read: 4, Known: 4})
		})
		t.Run("pairs have their interval of life", func(t *testing.T) {
			h, err := db.Pair(t.Context(), ref(1))
			must(t, err)
			same(t, h.Life, models.Interval{Lower: 300, Upper: assess.Of(620), Readings: 2})
		})
		t.Run("an imported reading is the one that would have been sent", func(t *testing.T) {
			s := save(t, db, file[2])
			if s.Created {
				t.Error("it was stored a second time")
			}
			if got := s.Shoe[assess.Left][assess.HeelMedialMM]; got != assess.Of(31) {
				t.Errorf("the depth is %v, want 31 tenths", got)
			}
		})
	})
}

func TestImportRefuses(t *testing.T) {
	other := reading(1, ref(1), 300, assess.Keep)
	other.Record.Note = "another"
	other.SHA = sha256.Sum256(assess.Canonical(&other.Record))
	nowhere := reading(7, ref(7), 300, assess.Keep)
	nowhere.Record.Store = "S-9"
	amend := func(n int) models.NewInspection {
		in := reading(n, ref(1), 310, assess.Keep)
		in.Record.Supersedes = reading(1, "", 0, assess.Keep).Record.ID
		return judged(in.Record)
	}
	for _, c := range []struct {
		name   string
		before []models.NewInspection
		file   []models.NewInspection
		row    int
		want   error
		stored int // with KeepGood
	}{
		{"a store that is not set up", nil, []models.NewInspection{reading(2, ref(1), 1, assess.Keep), nowhere}, 1, assess.ErrOutOfRange, 1},
		{"another content under a stored id", []models.NewInspection{reading(1, ref(1), 300, assess.Keep)}, []models.NewInspection{reading(2, ref(1), 301, assess.Keep), other}, 1, models.ErrConflict, 1},
		{"another content under an id of the same file", nil, []models.NewInspection{reading(1, ref(1), 300, assess.Keep), reading(2, ref(2), 1, assess.Keep), other}, 2, models.ErrConflict, 2},
		{"a second amendment", []models.NewInspection{reading(1, ref(1), 300, assess.Keep), amend(2)}, []models.NewInspection{amend(3), reading(4, ref(4), 1, assess.Keep)}, 0, models.ErrConflict, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			dbtest.Each(t, func(t *testing.T, db *models.DB) {
				setUp(t, db)
				for _, in := range c.before {
					save(t, db, in)
				}
				before := count(t, db)
				got := refusals{}
				_, err := db.ImportInspections(t.Context(), office, given(c.file...), models.ImportOptions{Refused: got.note})
				if !errors.Is(err, models.ErrRefused) {
					t.Errorf("got %v, want ErrRefused", err)
				}
				if len(got) != 1 || !errors.Is(got[c.row], c.want) {
					t.Errorf("refused %v, want row %d for %v", got, c.row, c.want)
				}
				if n := count(t, db); n != before {
					t.Errorf("%d readings are stored, want the %d of before", n, before)
				}
				res, err := db.ImportInspections(t.Context(), office, given(c.file...), models.ImportOptions{KeepGood: true})
				must(t, err)
				if n := count(t, db); res.Stored != c.stored || res.Refused != 1 || n != before+c.stored {
					t.Errorf("keeping the good stored %d (%+v), want %d", n-before, res, c.stored)
				}
			})
		})
	}
}

// count returns how many readings the database holds.
func count(t *testing.T, db *models.DB) int {
	t.Helper()
	n := 0
	must(t, db.EachInspection(t.Context(), models.InspectionFilter{Scopes: models.Fleet}, func(*models.Inspection) error {
		n++
		return nil
	}))
	return n
}

func TestImportStops(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		broken := errors.New("line 2 is broken")
		rows := func(yield func(*models.NewInspection, error) bool) {
			in := reading(1, ref(1), 1, assess.Keep)
			if yield(&in, nil) {
				yield(nil, broken)
			}
		}
		t.Run("at an error of the input, and stores nothing", func(t *testing.T) {
			if _, err := db.ImportInspections(t.Context(), office, rows, models.ImportOptions{KeepGood: true}); !errors.Is(err, broken) {
				t.Errorf("got %v", err)
			}
			if n := count(t, db); n != 0 {
				t.Errorf("%d readings are stored", n)
			}
		})
		t.Run("when the context is over, and stores nothing", func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			rows := func(yield func(*models.NewInspection, error) bool) {
				for n := 1; ; n++ {
					in := reading(n, ref(n), 1, assess.Keep)
					if n == 100 {
						cancel()
					}
					if !yield(&in, nil) {
						return
					}
					if n > 100_000 {
						t.Fatal("a cancelled import goes on")
					}
				}
			}
			if _, err := db.ImportInspections(ctx, office, rows, models.ImportOptions{}); !errors.Is(err, context.Canceled) {
				t.Errorf("got %v", err)
			}
			if n := count(t, db); n != 0 {
				t.Errorf("%d readings are stored", n)
			}
		})
		t.Run("after a dry run, and stores nothing", func(t *testing.T) {
			res, err := db.ImportInspections(t.Context(), office, given(reading(1, ref(1), 1, assess.Keep)), models.ImportOptions{DryRun: true})
			must(t, err)
			if n := count(t, db); n != 0 || res.Stored != 1 {
				t.Errorf("%d readings are stored, and %d said to be", n, res.Stored)
			}
		})
	})
}

// Rows are copied on the import's one connection while the next are taken; what
// has to be looked up for these must wait until the connection is free.
func TestAnImportMayNameNewModelsAndPairsAtAnyRow(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		const copied, after = 5000, 600
		res, err := db.ImportInspections(t.Context(), office, func(yield func(*models.NewInspection, error) bool) {
			for i := range copied + after {
				in := reading(i, ref(i), 300, assess.Keep)
				if i >= copied {
					in.Record.Model, in.Record.PairRef = fmt.Sprint("Late ", i%(after/2)), ""
				}
				if !yield(&in, nil) {
					return
				}
			}
		}, models.ImportOptions{})
		must(t, err)
		same(t, res, models.ImportResult{Read: copied + after, Stored: copied + after, Pairs: copied + after})
		waiting, err := db.TypedInModels(t.Context())
		must(t, err)
		if len(waiting) != 1+after/2 {
			t.Errorf("%d models wait for the office, want %d", len(waiting), 1+after/2)
		}
	})
}

// A table that is analysed while an import fills it looks empty to the planner.
func TestAnImportLooksUpByKeyWhateverTheStatisticsSay(t *testing.T) {
	for _, kind := range dbtest.Kinds(t) {
		if kind == "sqlite" {
			continue // its plans don't depend on statistics that change meanwhile
		}
		t.Run(kind, func(t *testing.T) {
			const rows, batch = 16_000, 5000
			ctx := t.Context()
			address := dbtest.MigratedURL(t, kind)
			other := dbtest.OpenURL(t, address)
			setUp(t, other)
			seqScans := func() (n int) {
				must(t, other.Primary().QueryRowContext(ctx, "SELECT coalesce(seq_scan, 0) FROM pg_stat_user_tables WHERE relname = 'inspection'").Scan(&n))
				return n
			}
			before := seqScans()
			db, err := models.Open(ctx, models.Options{URL: address})
			must(t, err)
			res, err := db.ImportInspections(ctx, office, func(yield func(*models.NewInspection, error) bool) {
				for i := range rows {
					if i%batch == batch-1 {
						_, err := other.Primary().ExecContext(ctx, "ANALYZE inspection")
						must(t, err)
					}
					in := reading(i, ref(i/2), 300, assess.Keep)
					if i%100 == 1 { // of whom it is looked up whether they knew the pair
						in.Record.Kind, in.Record.Staff = assess.Blind, "F-2"
					}
					if !yield(&in, nil) {
						return
					}
				}
			}, models.ImportOptions{})
			must(t, errors.Join(err, db.Close())) // a backend that ends reports its statistics
			same(t, res, models.ImportResult{Read: rows, Stored: rows, Pairs: rows / 2})
			if n := seqScans() - before; n > 0 {
				t.Errorf("the readings were read from end to end %d times", n)
			}
		})
	}
}
