package models_test

import (
	"crypto/sha256"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

var office = models.Actor{Account: "office-1"}

// at is when the readings of these tests were made, unless they say otherwise.
var at = time.Date(2026, 3, 14, 10, 30, 0, 0, time.UTC)

// setUp sets up two stores: one in Madrid, one in Auckland.
func setUp(t *testing.T, db *models.DB) {
	t.Helper()
	ctx := t.Context()
	must(t, db.SaveRegion(ctx, office, retail.Region{Code: "SOUTH", Name: "South", Currency: "EUR"}))
	must(t, db.SaveRegion(ctx, office, retail.Region{Code: "FAR", Name: "Far", Currency: "NZD"}))
	must(t, db.SaveStore(ctx, office, retail.Store{Code: "S-1", Name: "One", Region: "SOUTH", Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"}))
	must(t, db.SaveStore(ctx, office, retail.Store{Code: "S-2", Name: "Two", Region: "FAR", Zone: "Pacific/Auckland", Currency: "NZD", Unit: "km"}))
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// reading returns the n-th reading of a test: a check of a pair at a distance.
func reading(n int, ref string, km int, advised assess.Verdict) models.NewInspection {
	r := assess.Record{
		ID: assess.NewV7(at.Add(time.Duration(n)*time.Hour).UnixMilli(), [10]byte{9: byte(n), 8: byte(n >> 8), 7: byte(n >> 16)}), PairRef: ref,
		Store: "S-1", Staff: "F-1", Device: "T-1", At: at.Add(time.Duration(n) * time.Hour), Kind: assess.WearCheck,
		Brand: "Norrvik", Model: "Strand", Version: "3", Distance: assess.Of(10 * km), Advised: advised, Rules: 1,
	}
	r.Derive()
	return judged(r)
}

// judged makes what is sent of a record, with its advised verdict as computed.
func judged(r assess.Record) models.NewInspection {
	return models.NewInspection{
		Record: r, SHA: sha256.Sum256(assess.Canonical(&r)),
		Facts: models.Facts{Verdict: r.Advised, Engine: assess.EngineVersion, Codes: []string{"fore-through"}},
	}
}

// ref returns the n-th pair reference of a test.
func ref(n int) string {
	return assess.NewPairRef([5]byte{2: byte(n >> 16), 3: byte(n >> 8), 4: byte(n)})
}

// same fails where what was got is not what was wanted.
func same[T any](t *testing.T, got, want T) {
	t.Helper()
	if d := cmp.Diff(want, got, cmpopts.EquateComparable(assess.Reading{}), cmpopts.EquateEmpty()); d != "" {
		t.Errorf("-want +got:\n%s", d)
	}
}

func save(t *testing.T, db *models.DB, in models.NewInspection) models.Saved {
	t.Helper()
	s, err := db.SaveInspection(t.Context(), models.Actor{Account: "F-1", Device: "T-1"}, in)
	must(t, err)
	return s
}

func TestSaveInspection(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		in := reading(1, ref(1), 420, assess.Keep)
		first := save(t, db, in)
		if !first.Created {
			t.Error("the first call says it was stored before")
		}
		again := save(t, db, in)
		if again.Created {
			t.Error("the same body again was stored twice")
		}
		same(t, again.Inspection, first.Inspection)
		other := in
		other.Record.Note = "another"
		other.SHA = sha256.Sum256(assess.Canonical(&other.Record))
		if _, err := db.SaveInspection(t.Context(), office, other); !errors.Is(err, models.ErrConflict) {
			t.Errorf("another body under the same id: %v, want ErrConflict", err)
		}
		h, err := db.Pair(t.Context(), ref(1))
		must(t, err)
		if len(h.Inspections) != 1 || h.Life.Lower != 420 || h.Life.Upper.OK() {
			t.Errorf("the pair has %d readings and life %+v, want 1 and 420 to open", len(h.Inspections), h.Life)
		}
	})
}
