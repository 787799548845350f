package sim

import (
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models/retail"
)

func TestCheckDigitsAreThoseOfPublishedExamples(t *testing.T) {
	for _, row := range []struct{ gtin, source string }{
		{"6291041500213", "GS1, how to calculate a check digit: worked example, weighted sum 57"},
		{"1234567890128", "example in the documentation of several barcode libraries"},
		{"73513537", "GTIN-8, value from memory, check computed"},
		{"036000291452", "UPC-A, value from memory, check computed"},
	} {
		t.Run(row.gtin, func(t *testing.T) {
			last := len(row.gtin) - 1
			if got := gtinCheck(row.gtin[:last]); got != row.gtin[last] {
				t.Errorf("check digit %c, want %c (%s)", got, row.gtin[last], row.source)
			}
		})
	}
}

func TestLabelsAreThoseOfTheFootFormulas(t *testing.T) {
	// EU and UK: halves of EU = 0.15 mm + 2 and UK = 3 in − 23 of the foot, the
	// check table of the project's size formulas; US is common practice, no source.
	for _, row := range []struct {
		mm                 int
		eu, uk, usMan, usW string
		source             string
	}{
		{230, "EU 36.5", "UK 4", "US M 5", "US W 6.5", "36.500 and 4.165 by the formulas"},
		{250, "EU 39.5", "UK 6.5", "US M 7.5", "US W 9", "39.500 and 6.528 by the formulas"},
		{270, "EU 42.5", "UK 9", "US M 10", "US W 11.5", "42.500 and 8.890 by the formulas"},
		{280, "EU 44", "UK 10", "US M 11", "US W 12.5", "44.000 and 10.071 by the formulas"},
		{290, "EU 45.5", "UK 11.5", "US M 12.5", "US W 14", "45.500 and 11.252 by the formulas"},
	} {
		got := [...]string{
			sizeLabel(sizeEU, false, row.mm), sizeLabel(sizeUK, true, row.mm),
			sizeLabel(sizeUS, false, row.mm), sizeLabel(sizeUS, true, row.mm),
		}
		if want := [...]string{row.eu, row.uk, row.usMan, row.usW}; got != want {
			t.Errorf("%d mm: got %q, want %q (%s)", row.mm, got, want, row.source)
		}
	}
}

func TestTheCatalogueIsWhole(t *testing.T) {
	for _, n := range []int{defaultModels, 137, maxModels} {
		f := New(Options{Inspections: 1, Models: n, Stores: 12})
		if len(f.Models) != n {
			t.Fatalf("%d models, want %d", len(f.Models), n)
		}
		words, gtins, ids := map[string]bool{}, map[string]bool{}, map[assess.UUID]bool{}
		for i := range f.Models {
			m := &f.Models[i]
			word := m.Brand + " " + m.Model + " " + m.Version
			if words[word] || ids[m.ID] || m.ID.Version() != 7 {
				t.Errorf("%s, %s: given twice or no UUIDv7", word, m.ID)
			}
			words[word], ids[m.ID] = true, true
			for _, g := range m.GTINs {
				if len(g) != 13 || g[0] != '2' || gtinCheck(g[:12]) != g[12] || gtins[g] {
					t.Errorf("%s: GTIN %s is wrong or given twice", word, g)
				}
				gtins[g] = true
			}
			if m.Retired != "" && m.Retired <= m.Released {
				t.Errorf("%s: retired %s, released %s", word, m.Retired, m.Released)
			}
			batches := map[string]bool{}
			for _, b := range f.laws[i].batches {
				if batches[b.code] {
					t.Errorf("%s: batch %s twice", word, b.code)
				}
				batches[b.code] = true
			}
			if (m.Category == retail.Categories[trail]) != m.AsNew.Trail {
				t.Errorf("%s: category %s, trail %v", word, m.Category, m.AsNew.Trail)
			}
			checkMask(t, word, m, &f.laws[i])
		}
	}
}

// checkMask compares a model's mask with its law.
func checkMask(t *testing.T, word string, m *retail.ShoeModel, l *law) {
	t.Helper()
	for z := range assess.Col(assess.NumZones) {
		built := m.AsNew.Built.Has(z)
		cut := l.cut[z]
		if cut[0] <= 0 || cut[0] >= cut[1] || cut[1] >= cut[2] || cut[2] >= cut[3] {
			t.Errorf("%s: cuts of %v are %v", word, z, cut)
		}
		for g := range gaits {
			for s := range strikes {
				if (l.wear[g][s][z] == 0) != built {
					t.Errorf("%s: %v wears at %d, as built is %v", word, z, l.wear[g][s][z], built)
				}
			}
		}
	}
}

func TestEveryNameIsGivenOnce(t *testing.T) {
	models := map[string]bool{}
	for i := range maxModels / versionsPerName {
		models[modelName(i)] = true
	}
	towns := map[string]bool{}
	for i := range maxStores {
		towns[townName(i)] = true
	}
	if len(models) != maxModels/versionsPerName || len(towns) != maxStores {
		t.Errorf("%d names of models and %d towns, want %d and %d", len(models), len(towns), maxModels/versionsPerName, maxStores)
	}
	for name := range models {
		if name != strings.TrimSpace(name) || name == "" {
			t.Errorf("name %q", name)
		}
	}
}
