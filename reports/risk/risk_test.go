package risk_test

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"solewright/assess"
	"solewright/reports/risk"
)

// looked is what two looks tell of pairs with a Weibull life, as many as they
// are to be expected among n: every pair is looked at each 25 km to the end.
func looked(model, category string, shape, scale float64, n, end int) []risk.Life {
	failed := func(km int) float64 { return 1 - math.Exp(-math.Pow(float64(km)/scale, shape)) }
	var all []risk.Life
	left := n
	for km := 0; km < end; km += 25 {
		k := int(math.Round(float64(n) * (failed(km+25) - failed(km))))
		all = append(all, risk.Life{Model: model, Category: category, Lower: km, Upper: assess.Of(km + 25), Pairs: k})
		left -= k
	}
	return append(all, risk.Life{Model: model, Category: category, Lower: end, Upper: assess.Unread, Pairs: left})
}

func tables(t testing.TB, lives []risk.Life) *assess.RiskTables {
	t.Helper()
	got, err := risk.Tables(lives, "2026-11-01")
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestTheStepsAreTheConditionalQuantileOfLife(t *testing.T) {
	const closed = "[O] η((k/η)^β − log(1 − r))^(1/β), told in tens to the early side"
	square := tables(t, looked("m", "daily", 2, 500, 1_000_000, 900))
	forgets := tables(t, looked("m", "daily", 1, 500, 1_000_000, 2000))
	for _, tc := range []struct {
		name     string
		of       *assess.RiskTables
		at, next int
		source   string
	}{
		{"a shape of 2, new", square, 0, 230, closed + ": 236.19"},
		{"a shape of 2, sound at 300 km", square, 300, 380, closed + ": 381.82"},
		{"a shape of 1 forgets: new", forgets, 0, 110, closed + ": 111.57"},
		{"a shape of 1 forgets: sound at 300 km", forgets, 300, 410, closed + ": 411.57"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			for _, c := range tc.of.Curves {
				i := slices.IndexFunc(c.Steps, func(s assess.RiskStep) bool { return s.AtKM == tc.at })
				if i < 0 || c.Steps[i].NextKM != tc.next {
					t.Errorf("%s: %v, want %d to %d (%s)", c.By, c.Steps, tc.at, tc.next, tc.source)
				}
			}
		})
	}
}

func TestACurveEndsWhereTheDataDo(t *testing.T) {
	// Sound pairs are followed to 400 km only: beyond it nothing is known, though
	// the fitted life runs on.
	for _, c := range tables(t, looked("m", "daily", 2, 500, 10_000, 400)).Curves {
		last := c.Steps[len(c.Steps)-1]
		if c.EndKM != 400 || last.NextKM > c.EndKM || last.AtKM != 300 || c.Pairs != 10_000 {
			t.Errorf("%s ends at %d km by %d pairs, last step %v", c.By, c.EndKM, c.Pairs, last)
		}
	}
}

func TestTheHandOverFallsBackFromModelToCategoryToAll(t *testing.T) {
	lives := slices.Concat(
		looked("long", "daily", 2, 700, 4000, 900), // by itself
		looked("few", "daily", 2, 500, 15, 900),    // too few: by its category
		looked("other", "race", 2, 300, 18, 600),   // alone in its category: by all
	)
	risks := tables(t, lives)
	for _, tc := range []struct {
		name, model, category string
		km                    int
		want                  assess.NextBy
	}{
		{"a model with pairs enough", "long", "daily", 100, assess.NextByModel},
		{"too few pairs of the model", "few", "daily", 100, assess.NextByCategory},
		{"too few of the category", "other", "race", 100, assess.NextByAll},
		{"a model unknown", "", "", 100, assess.NextByAll},
		{"beyond all data", "long", "daily", 1200, assess.NextByTable},
	} {
		t.Run(tc.name, func(t *testing.T) {
			next, ok := assess.Default().NextCheck(assess.Keep, assess.NoHow, tc.category, tc.model, assess.Of(tc.km), risks)
			if !ok || next.By != tc.want {
				t.Errorf("by %s, want %s: %+v", next.By, tc.want, next)
			}
		})
	}
}

func TestWhatSaysNothingGetsNoCurve(t *testing.T) {
	for _, tc := range []struct {
		name  string
		lives []risk.Life
	}{
		{"no pairs", nil},
		{"nobody worn", []risk.Life{{Model: "m", Lower: 300, Pairs: 500}}},
		{"all worn at the first look", []risk.Life{{Model: "m", Upper: assess.Of(500), Pairs: 500}}},
		{"a distance of 0", []risk.Life{{Model: "m", Upper: assess.Of(0), Pairs: 500}}},
		{"too few", looked("m", "daily", 2, 500, 15, 900)},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got := tables(t, tc.lives); len(got.Curves) != 0 {
				t.Errorf("%+v", got.Curves)
			}
		})
	}
}

func TestAnyLivesMakeTablesThatCanBeRead(t *testing.T) {
	life := rapid.Custom(func(t *rapid.T) risk.Life {
		l := risk.Life{
			Model:    rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "model"),
			Category: rapid.SampledFrom([]string{"", "daily", "race"}).Draw(t, "category"),
			Lower:    rapid.IntRange(0, 1500).Draw(t, "lower"),
			Upper:    assess.Unread,
			Pairs:    rapid.IntRange(1, 30).Draw(t, "pairs"),
		}
		if rapid.Bool().Draw(t, "worn") {
			l.Upper = assess.Of(l.Lower + rapid.IntRange(1, 600).Draw(t, "after"))
		}
		return l
	})
	rapid.Check(t, func(r *rapid.T) {
		lives := rapid.SliceOfN(life, 0, 60).Draw(r, "lives")
		got, err := risk.Tables(lives, "2026-11-01")
		if err != nil {
			r.Fatal(err)
		}
		text, err := got.MarshalJSON()
		if err != nil {
			r.Fatal(err)
		}
		again, err := assess.ParseRiskTables(text)
		if err != nil || !reflect.DeepEqual(again, got) {
			r.Fatalf("read back %+v, %v, want %+v", again, err, got)
		}
		for _, c := range got.Curves {
			for _, s := range c.Steps {
				if s.NextKM > c.EndKM {
					r.Fatalf("%v leads beyond %d km", s, c.EndKM)
				}
			}
		}
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(r, "seed"), 0))
		rng.Shuffle(len(lives), func(i, k int) { lives[i], lives[k] = lives[k], lives[i] })
		if shuffled, err := risk.Tables(lives, "2026-11-01"); err != nil || !reflect.DeepEqual(shuffled, got) {
			r.Fatalf("in another order %+v, want %+v", shuffled, got)
		}
	})
}
