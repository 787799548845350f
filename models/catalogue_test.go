package models_test

import (
	"fmt"
	"slices"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// caseFolding is where the expected folds come from.
const caseFolding = "Unicode 15, CaseFolding.txt, full folding; NFKC (UAX #15)"

func TestFold(t *testing.T) {
	for _, c := range []struct{ name, a, b, source string }{
		{"Ä is ä", "Älvdal", "äLVDAL", caseFolding},
		{"a combining mark is the letter with it", "A\u0308lvdal", "Älvdal", caseFolding},
		{"ß is ss, in either case", "Straße", "STRASSE", caseFolding},
		{"capital ẞ is ss", "STRAẞE", "strasse", caseFolding},
		{"a final sigma is a sigma", "ΔΡΌΜΟΣ", "δρόμος", caseFolding},
		{"a ligature is its letters", "ﬂow", "flow", caseFolding},
		{"full-width letters are letters", "Ｒ２", "r2", caseFolding},
		{"space of any kind and number is one", "  Nord\u00a0 \tvik ", "nord vik", "house rule"},
		{"an emoji is itself", "Run 👟 3", "run 👟 3", caseFolding},
	} {
		t.Run(c.name, func(t *testing.T) {
			if models.Folded(c.a) != models.Folded(c.b) {
				t.Errorf("%q and %q differ: %s", c.a, c.b, c.source)
			}
			if f := models.Folded(c.a); models.Folded(f) != f {
				t.Errorf("folding %q twice changes it", c.a)
			}
		})
	}
	for _, c := range []struct{ a, b string }{{"Älv", "Alv"}, {"👟", "🥾"}, {"a b", "ab"}, {"R2", "R3"}} {
		t.Run(fmt.Sprintf("%q is not %q", c.a, c.b), func(t *testing.T) {
			if models.Folded(c.a) == models.Folded(c.b) {
				t.Error("they fold to the same")
			}
		})
	}
	t.Run("where one word ends and the next begins makes a difference", func(t *testing.T) {
		if models.Identity("a b", "c", "") == models.Identity("a", "b c", "") {
			t.Error("it makes none")
		}
	})
}

func TestSearchShoeModels(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		for _, m := range []retail.ShoeModel{
			{Brand: "Älvdal", Model: "Straße", Version: "4", Category: "daily"},
			{Brand: "Norrvik", Model: "Strand", Version: "3", Category: "trail"},
			{Brand: "Norrvik", Model: "100% Fell_run", Version: `\o/`, Category: "trail"},
			{Brand: "Fjord", Model: "Run 👟", Version: "", Category: "daily"},
			{Brand: "Norrvik", Model: "Strand", Version: "1", Category: "trail", Retired: "2020-01-01"},
		} {
			_, err := db.SaveShoeModel(t.Context(), office, m)
			must(t, err)
		}
		for _, c := range []struct {
			query string
			want  []string
		}{
			{"alv", []string{"Älvdal Straße 4"}},
			{"ÄLV", []string{"Älvdal Straße 4"}},
			{"strasse", []string{"Älvdal Straße 4"}},
			{"STRAß", []string{"Älvdal Straße 4"}},
			{"nor str", []string{"Norrvik Strand 3", "Norrvik Strand 1"}},
			{"str nor", []string{"Norrvik Strand 3", "Norrvik Strand 1"}},
			{"trand", nil},
			{"100%", []string{`Norrvik 100% Fell_run \o/`}},
			{"%", nil},
			{"fell_", []string{`Norrvik 100% Fell_run \o/`}},
			{"fellx", nil},
			{"_", nil},
			{`\`, []string{`Norrvik 100% Fell_run \o/`}},
			{"👟", []string{"Fjord Run 👟 "}},
			{"'; DROP TABLE pair; --", nil},
		} {
			t.Run(c.query, func(t *testing.T) {
				found, err := db.SearchShoeModels(t.Context(), c.query, 10)
				must(t, err)
				var got []string
				for _, m := range found {
					got = append(got, m.Brand+" "+m.Model+" "+m.Version)
				}
				same(t, got, c.want)
			})
		}
		t.Run("nothing typed offers what is sold", func(t *testing.T) {
			found, err := db.SearchShoeModels(t.Context(), "", 4)
			must(t, err)
			if len(found) != 4 || found[3].Retired != "" {
				t.Errorf("got %+v", found)
			}
		})
	})
}

func TestSaveShoeModel(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		m := retail.ShoeModel{
			Brand: "Älvdal", Model: "Stig", Version: "2", Category: "trail", GTINs: []string{"4006381333931", "96385074"},
			Features: retail.Features{Cushioning: "high", StackMM: 32, DropMM: 0, Widths: "D 2E"}, Released: "2025-03-01",
			AsNew: assess.AsNew{
				Built: assess.ColSet(0).With(assess.MidMedial), NoRigidCounter: true, Trail: true,
				Tilt: assess.Of(-50), Depth: [assess.NumParts]assess.Value{assess.Of(42), assess.Unread, assess.Of(40), assess.Of(0)},
				Torsion: assess.Of(assess.Stiff), Shore: assess.Of(650),
			},
		}
		saved, err := db.SaveShoeModel(t.Context(), office, m)
		must(t, err)
		m.ID = saved.ID
		same(t, saved.ShoeModel, m)
		if saved.AsNewNumber != 1 {
			t.Errorf("as-new values have number %d, want 1", saved.AsNewNumber)
		}
		find := func(name string, got models.ShoeModel, err error) {
			t.Run(name, func(t *testing.T) {
				must(t, err)
				same(t, got, saved)
			})
		}
		byID, err := db.ShoeModel(t.Context(), saved.ID)
		find("found by its id", byID, err)
		byGTIN, err := db.ShoeModelByGTIN(t.Context(), "96385074")
		find("found by a GTIN", byGTIN, err)
		byName, err := db.ShoeModelNamed(t.Context(), "ÄLVDAL", " stig", "2")
		find("found by its words in another spelling", byName, err)
		again, err := db.SaveShoeModel(t.Context(), office, m)
		find("saved again it is the same", again, err)
		m.ID = assess.UUID{}
		imported, err := db.SaveShoeModel(t.Context(), office, m)
		find("saved again without its id it is the same", imported, err)

		t.Run("as-new values that change get a new number, and the old stay", func(t *testing.T) {
			changed := m
			changed.AsNew.Tilt = assess.Of(75)
			next, err := db.SaveShoeModel(t.Context(), office, changed)
			must(t, err)
			if next.AsNewNumber != 2 || next.AsNew.Tilt != assess.Of(75) {
				t.Errorf("got %+v", next)
			}
			old, err := db.AsNew(t.Context(), saved.ID, 1)
			must(t, err)
			same(t, old, m.AsNew)
		})
		t.Run("a GTIN that is taken away is nobody's", func(t *testing.T) {
			less := m
			less.GTINs = m.GTINs[:1]
			_, err := db.SaveShoeModel(t.Context(), office, less)
			must(t, err)
			_, err = db.ShoeModelByGTIN(t.Context(), "96385074")
			wantErr(t, err, models.ErrNotFound)
		})
		t.Run("another model with its GTIN conflicts", func(t *testing.T) {
			_, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{Brand: "B", Model: "M", GTINs: m.GTINs[:1]})
			wantErr(t, err, models.ErrConflict)
		})
		t.Run("another id with its words conflicts", func(t *testing.T) {
			_, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{ID: assess.UUID{1}, Brand: "älvdal", Model: "STIG", Version: "2"})
			wantErr(t, err, models.ErrConflict)
		})
		t.Run("a model of no words is refused", func(t *testing.T) {
			_, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{Brand: "B"})
			wantField(t, err, "model")
		})
		t.Run("unknown ids, numbers and words are not found", func(t *testing.T) {
			_, err := db.ShoeModel(t.Context(), assess.UUID{9})
			wantErr(t, err, models.ErrNotFound)
			_, err = db.ShoeModelNamed(t.Context(), "no", "such", "model")
			wantErr(t, err, models.ErrNotFound)
			_, err = db.AsNew(t.Context(), saved.ID, 99)
			wantErr(t, err, models.ErrNotFound)
		})
	})
}

func TestTypedInModel(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		first := save(t, db, reading(1, ref(1), 100, assess.Keep))
		typed, err := db.TypedInModels(t.Context())
		must(t, err)
		if len(typed) != 1 || typed[0].ID != first.ModelID || typed[0].Known() != nil {
			t.Fatalf("typed in: %+v, want the reading's %s, of which nothing is known", typed, first.ModelID)
		}
		catalogued, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{Brand: "Norrvik", Model: "Strand", Version: "III", Category: "daily"})
		must(t, err)
		must(t, db.LinkShoeModel(t.Context(), office, typed[0].ID, catalogued.ID))

		t.Run("its readings and pairs become the catalogued model's, and keep their words", func(t *testing.T) {
			in, err := db.Inspection(t.Context(), first.ID)
			must(t, err)
			if in.ModelID != catalogued.ID || in.Version != "3" {
				t.Errorf("the reading is of %s, in words %q", in.ModelID, in.Version)
			}
			h, err := db.Pair(t.Context(), ref(1))
			must(t, err)
			if h.ModelID != catalogued.ID {
				t.Errorf("the pair is of %s", h.ModelID)
			}
		})
		t.Run("the next reading with its words is of the catalogued model", func(t *testing.T) {
			for i, in := range []models.NewInspection{reading(2, ref(1), 200, assess.Keep), reading(3, ref(3), 200, assess.Keep)} {
				if s := save(t, db, in); s.ModelID != catalogued.ID {
					t.Errorf("reading %d is of %s", i, s.ModelID)
				}
			}
			_, err := db.ImportInspections(t.Context(), office, given(reading(4, ref(4), 1, assess.Keep)), models.ImportOptions{})
			must(t, err)
			h, err := db.Pair(t.Context(), ref(4))
			must(t, err)
			if h.ModelID != catalogued.ID {
				t.Errorf("the imported pair is of %s", h.ModelID)
			}
		})
		t.Run("its words lead to the catalogued model", func(t *testing.T) {
			m, err := db.ShoeModelNamed(t.Context(), "norrvik", "strand", "3")
			must(t, err)
			if m.ID != catalogued.ID {
				t.Errorf("got %s", m.ID)
			}
		})
		t.Run("it waits no longer, and search leaves it out", func(t *testing.T) {
			typed, err := db.TypedInModels(t.Context())
			must(t, err)
			found, err := db.SearchShoeModels(t.Context(), "strand", 10)
			must(t, err)
			if len(typed) != 0 || len(found) != 1 {
				t.Errorf("%d wait, %d are found", len(typed), len(found))
			}
		})
		t.Run("it can't be linked twice, nor a catalogued model at all", func(t *testing.T) {
			wantErr(t, db.LinkShoeModel(t.Context(), office, typed[0].ID, catalogued.ID), models.ErrConflict)
			wantErr(t, db.LinkShoeModel(t.Context(), office, catalogued.ID, typed[0].ID), models.ErrConflict)
			wantErr(t, db.LinkShoeModel(t.Context(), office, assess.UUID{7}, catalogued.ID), models.ErrNotFound)
		})
		t.Run("a reading of no model has none", func(t *testing.T) {
			in := reading(5, ref(5), 1, assess.Keep)
			in.Record.Brand, in.Record.Model, in.Record.Version = "", "", ""
			if s := save(t, db, in); !s.ModelID.IsZero() {
				t.Errorf("got %s", s.ModelID)
			}
		})
	})
}

func TestModelVersions(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		for _, words := range [][2]string{{"Strand", "3"}, {"STRAND ", "3 wide"}, {"Strand", ""}, {"Strandvik", "3"}, {"Stran", "d"}} {
			_, err := db.SaveShoeModel(t.Context(), office, retail.ShoeModel{Brand: "Norrvik", Model: words[0], Version: words[1], Category: "daily"})
			must(t, err)
		}
		for model, want := range map[string][]string{" strand": {"", "3", "3 wide"}, "Stran": {"d"}, "Str": nil} {
			all, err := db.ShoeModelVersions(t.Context(), " NORRVIK", model)
			must(t, err)
			var versions []string
			for _, m := range all {
				versions = append(versions, m.Version)
			}
			if !slices.Equal(versions, want) {
				t.Errorf("versions of %q are %q, want %q", model, versions, want)
			}
		}
	})
}
