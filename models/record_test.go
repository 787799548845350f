package models_test

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
)

// drawValue is any value that a column can have: unread, can't read, or a step
// or measure within its bounds.
func drawValue(t *rapid.T, c assess.Col) assess.Value {
	column := &assess.Columns[c]
	switch rapid.IntRange(0, 3).Draw(t, "state of "+column.Name) {
	case 0:
		return assess.Unread
	case 1:
		if column.CantRead {
			return rapid.SampledFrom([]assess.Value{assess.CantWet, assess.CantDirty, assess.CantRepaired, assess.CantOther}).Draw(t, "cant")
		}
	}
	lo, hi := column.Min, column.Max
	switch column.Kind {
	case assess.Word:
		lo, hi = 0, len(column.Words)-1
	case assess.Zones:
		lo, hi = 1, 1<<assess.NumZones-1
	}
	return assess.Of(rapid.IntRange(lo, hi).Draw(t, column.Name))
}

func drawWord(t *rapid.T, words []string, name string) assess.Value {
	if n := rapid.IntRange(-1, len(words)-1).Draw(t, name); n >= 0 {
		return assess.Of(n)
	}
	return assess.Unread
}

// drawRecord is any record that a row can hold.
func drawRecord(t *rapid.T) assess.Record {
	text := func(name string) string {
		return rapid.SampledFrom([]string{"", "x", "Käse ß", "👟 runs", `quo"te`, "two\nlines", "O'Shea; DROP TABLE pair", " spaced "}).Draw(t, name)
	}
	r := assess.Record{
		ID:      assess.NewV7(rapid.Int64Range(0, 1<<47).Draw(t, "ms"), [10]byte(rapid.SliceOfN(rapid.Byte(), 10, 10).Draw(t, "random"))),
		PairRef: assess.NewPairRef([5]byte(rapid.SliceOfN(rapid.Byte(), 5, 5).Draw(t, "pair"))),
		Store:   rapid.SampledFrom([]string{"S-1", "S-2"}).Draw(t, "store"), Staff: "F-1", Device: text("device"),
		At:   time.UnixMicro(rapid.Int64Range(0, 4e15).Draw(t, "at")).UTC(),
		Kind: assess.RecordKind(rapid.IntRange(1, 3).Draw(t, "kind")), Brand: text("brand"), Model: text("model"), Version: text("version"),
		SizeLabel: text("size_label"), SizeMM: drawWord(t, make([]string, 350), "size_mm"), Runner: text("runner"),
		Gait: drawWord(t, assess.GaitWords, "gait"), GaitBy: drawWord(t, assess.GaitByWords, "gait_by"),
		GaitBefore: drawWord(t, make([]string, 2), "gait_before"), Strike: drawWord(t, assess.StrikeWords, "strike"),
		UsedFor: drawWord(t, assess.UsedForWords, "used_for"), Distance: drawWord(t, make([]string, 9999), "distance"),
		KMUnit: drawWord(t, assess.KMUnitWords, "km_unit"), KMSource: drawWord(t, assess.KMSourceWords, "km_source"),
		BoughtOn: rapid.SampledFrom([]string{"", "1999-02-28"}).Draw(t, "bought_on"), Batch: text("batch"),
		SecondReader: text("second_reader"), Advised: assess.Verdict(rapid.IntRange(0, 5).Draw(t, "advised")),
		Given: assess.Verdict(rapid.IntRange(0, 5).Draw(t, "given")), GivenReason: text("given_reason"),
		Rules: rapid.IntRange(0, 3).Draw(t, "rules"), Note: text("note"), VoidReason: text("void_reason"), AmendReason: text("amend_reason"),
		Flags:      assess.Flags(rapid.Uint32Range(0, 1<<len(assess.FlagWords)-1).Draw(t, "flags")) &^ assess.FlagPairContradicts,
		ReceivedAt: time.UnixMicro(rapid.Int64Range(1, 4e15).Draw(t, "received_at")).UTC(),
	}
	r.Posture[assess.Left], r.Posture[assess.Right] = drawWord(t, assess.GaitWords, "l_posture"), drawWord(t, assess.GaitWords, "r_posture")
	r.Surface = drawWord(t, assess.Surfaces, "surface")
	if rapid.Bool().Draw(t, "voided") {
		r.VoidedAt = time.UnixMicro(rapid.Int64Range(1, 4e15).Draw(t, "voided_at")).UTC()
	}
	for f := range r.Shoe {
		for c := range assess.NumShoe {
			r.Shoe[f][c] = drawValue(t, c)
		}
	}
	for c := assess.NumShoe; c < assess.NumCols; c++ {
		r.SetPair(c, drawValue(t, c))
	}
	for range rapid.IntRange(0, 3).Draw(t, "second_on") {
		r.SecondOn = r.SecondOn.With(assess.Col(rapid.IntRange(0, int(assess.NumCols)-1).Draw(t, "check")))
	}
	r.Derive()
	return r
}

// TestARecordComesBackAsItWas stores records of every shape by both ways, one at
// a time and in bulk, and reads them again.
func TestARecordComesBackAsItWas(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		var all []assess.Record
		seen := map[assess.UUID]bool{}
		rapid.Check(t, func(r *rapid.T) {
			want := drawRecord(r)
			if seen[want.ID] {
				return
			}
			seen[want.ID] = true
			in := judged(want)
			in.Facts.Verdict = want.Advised
			if rapid.Bool().Draw(r, "in bulk") {
				if _, err := db.ImportInspections(t.Context(), office, given(in), models.ImportOptions{}); err != nil {
					r.Fatal(err)
				}
			} else if _, err := db.SaveInspection(t.Context(), office, in); err != nil {
				r.Fatal(err)
			}
			got, err := db.Inspection(t.Context(), want.ID)
			if err != nil {
				r.Fatal(err)
			}
			got.Flags &^= assess.FlagPairContradicts
			if got.Record != want {
				r.Fatalf("got  %s\nwant %s", assess.AppendJSON(nil, &got.Record), assess.AppendJSON(nil, &want))
			}
			all = append(all, want)
		})
		if len(all) == 0 {
			t.Fatal("nothing was stored")
		}
	})
}

func TestFactsComeBackAsTheyWere(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		engine, err := assess.Compile(assess.DefaultRules())
		must(t, err)
		in := reading(1, ref(1), 420, assess.Keep)
		r := &in.Record
		for f := range r.Shoe {
			for z := range assess.Col(assess.NumZones) {
				r.Shoe[f][z] = assess.Of(int(z+assess.Col(f)) % 5)
			}
			r.Shoe[f][assess.Bond] = assess.Of(assess.Lifting)
		}
		var result assess.Result
		engine.Judge(&r.Reading, nil, &result)
		in.Facts = models.FactsOf(&result, assess.EngineVersion)
		save(t, db, in)
		got, err := db.Inspection(t.Context(), r.ID)
		must(t, err)
		f := in.Facts
		same(t, got.Facts.Codes, f.Codes)
		if got.Facts.Verdict != f.Verdict || got.Facts.How != f.How || got.Facts.Grade != f.Grade || got.Facts.Route != f.Route || got.Facts.Engine != f.Engine {
			t.Errorf("got %+v, want %+v", got.Facts, f)
		}
		for s := range f.Pattern.Shoe {
			g, w := got.Facts.Pattern.Shoe[s], f.Pattern.Shoe[s]
			if g.Heel != w.Heel || g.Fore != w.Fore {
				t.Errorf("shoe %d: got %s and %s, want %s and %s", s, g.Heel, g.Fore, w.Heel, w.Fore)
			}
			for i, pair := range [][2]assess.Ratio{{g.MLHeel, w.MLHeel}, {g.MLFore, w.MLFore}, {g.CentreHeel, w.CentreHeel}, {g.CentreFore, w.CentreFore}, {g.ForeAft, w.ForeAft}} {
				got, want := pair[0], pair[1]
				if (got.Den == 0) != (want.Den == 0) {
					t.Errorf("shoe %d, index %d: got %v, want %v", s, i, got, want)
					continue
				}
				if want.Den == 0 {
					continue
				}
				// Half a ten-thousandth is what rounding may take.
				d := float64(got.Num)/float64(got.Den) - float64(want.Num)/float64(want.Den)
				if d > 0.5e-4 || d < -0.5e-4 {
					t.Errorf("shoe %d, index %d: got %v, want %v", s, i, got, want)
				}
			}
		}
		t.Run("and verify finds nothing to say", func(t *testing.T) {
			v, err := db.Verify(t.Context(), func(d models.Difference) error {
				t.Errorf("%+v", d)
				return nil
			})
			must(t, err)
			same(t, v, models.Verification{Inspections: 1, Pairs: 1})
		})
	})
}

// TestVerifyFinds changes what is derived behind the program's back.
func TestVerifyFinds(t *testing.T) {
	for _, c := range []struct{ name, query, what string }{
		{"a verdict that the rules don't give", "UPDATE inspection SET advised = 4", "advised"},
		{"a pattern that the zones don't give", "UPDATE inspection SET heel = 3", "pattern"},
		{"an index that the zones don't give", "UPDATE inspection SET l_ml_heel = 1234", "pattern"},
		{"another finding", "UPDATE inspection SET codes = 'bond-parted'", "findings"},
		{"a grade that does not follow", "UPDATE inspection SET grade = 1", "hand-over"},
		{"an interval that the readings don't give", "UPDATE pair SET upper_km = 500", "life"},
		{"zones that were changed after judging", "UPDATE inspection SET l_zones = '4444444444'", "advised"},
	} {
		t.Run(c.name, func(t *testing.T) {
			db := dbtest.Open(t) // the recount is the same code on both databases
			setUp(t, db)
			in := reading(1, ref(1), 420, assess.Keep)
			engine, err := assess.Compile(assess.DefaultRules())
			must(t, err)
			var result assess.Result
			engine.Judge(&in.Record.Reading, nil, &result)
			in.Facts = models.FactsOf(&result, assess.EngineVersion)
			save(t, db, in)
			_, err = db.Primary().ExecContext(t.Context(), c.query)
			must(t, err)
			found := map[string]bool{}
			v, err := db.Verify(t.Context(), func(d models.Difference) error {
				found[d.What] = true
				return nil
			})
			must(t, err)
			if v.Differences == 0 || !found[c.what] {
				t.Errorf("found %v, want %s", found, c.what)
			}
		})
	}
}

// TestManyWriters lets many write at once and looks whether what they leave is
// what one after the other would have left.
func TestManyWriters(t *testing.T) {
	const writers = 8
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		each := func(f func(i int) error) []error {
			errs := make([]error, writers)
			var wg sync.WaitGroup
			for i := range writers {
				wg.Go(func() { errs[i] = f(i) })
			}
			wg.Wait()
			return errs
		}
		t.Run("of one reading store it once", func(t *testing.T) {
			created := make([]bool, writers)
			for _, err := range each(func(i int) error {
				s, err := db.SaveInspection(t.Context(), office, reading(1, ref(1), 100, assess.Keep))
				created[i] = s.Created
				return err
			}) {
				must(t, err)
			}
			n := 0
			for _, c := range created {
				if c {
					n++
				}
			}
			if n != 1 {
				t.Errorf("%d say that they stored it", n)
			}
		})
		t.Run("of different bodies under one id store one", func(t *testing.T) {
			n := 0
			for _, err := range each(func(i int) error {
				in := reading(2, ref(2), 100+i, assess.Keep)
				_, err := db.SaveInspection(t.Context(), office, in)
				return err
			}) {
				switch {
				case err == nil:
					n++
				case !errors.Is(err, models.ErrConflict):
					t.Error(err)
				}
			}
			if n != 1 {
				t.Errorf("%d bodies were stored", n)
			}
		})
		t.Run("of one pair count every reading", func(t *testing.T) {
			for _, err := range each(func(i int) error {
				for k := range 5 {
					n := 100 + i*5 + k
					if _, err := db.SaveInspection(t.Context(), office, reading(n, ref(3), n, assess.Keep)); err != nil {
						return err
					}
				}
				return nil
			}) {
				must(t, err)
			}
			h, err := db.Pair(t.Context(), ref(3))
			must(t, err)
			same(t, h.Life, models.Interval{Lower: 139, Readings: 40})
		})
		t.Run("of one typed-in model, and of an import beside them, make one model and every pair", func(t *testing.T) {
			for _, err := range each(func(i int) error {
				in := reading(300+i, ref(300), 300+i, assess.Keep)
				in.Record.Brand, in.Record.Model = []string{"Ärlig", "ÄRLIG"}[i%2], "Typed"
				in = judged(in.Record)
				if i%2 == 0 {
					_, err := db.SaveInspection(t.Context(), office, in)
					return err
				}
				_, err := db.ImportInspections(t.Context(), office, given(in), models.ImportOptions{})
				return err
			}) {
				must(t, err)
			}
			h, err := db.Pair(t.Context(), ref(300))
			must(t, err)
			same(t, h.Life, models.Interval{Lower: 307, Readings: writers})
			typed, err := db.TypedInModels(t.Context())
			must(t, err)
			n := 0
			for _, m := range typed {
				if strings.EqualFold(m.Brand, "ärlig") {
					n++
				}
			}
			if n != 1 {
				t.Errorf("%d models were added", n)
			}
		})
	})
}
