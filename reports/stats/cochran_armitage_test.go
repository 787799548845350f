package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestCochranArmitageReproducesItsReferences(t *testing.T) {
	const (
		fleiss = "[R] R 4.2.2 prop.trend.test; Fleiss 1981 p. 139"
		korn   = "[R] by formula, R 4.2.2; Graubard & Korn 1987"
	)
	smokers := []Dose{{1, 83, 86}, {2, 90, 93}, {3, 129, 136}, {4, 70, 82}}
	alcohol := []Dose{{0, 48, 17114}, {.5, 38, 14502}, {1.5, 5, 793}, {4, 1, 127}, {7, 1, 38}}
	ranks := []Dose{{1, 48, 17114}, {2, 38, 14502}, {3, 5, 793}, {4, 1, 127}, {5, 1, 38}}
	pain := []Dose{{0, 6, 32}, {1, 7, 33}, {2, 9, 32}, {3, 14, 32}, {4, 23, 32}}
	of := func(doses []Dose) *ShareTrend {
		r, err := CochranArmitage(doses)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	reproduce(t, []printed{
		{"smokers chi2", of(smokers).Chi2, "8.2249", "[M] R help page of prop.trend.test"},
		{"smokers chi2", of(smokers).Chi2, "8.2249223", fleiss},
		{"smokers p", of(smokers).P, ".004131897", fleiss},
		{"alcohol z", of(alcohol).Z, "2.563", "[M] Agresti 1990"},
		{"alcohol chi2", of(alcohol).Chi2, "6.57", "[M] Agresti 1990"},
		{"alcohol z", of(alcohol).Z, "2.56322725", korn},
		{"alcohol chi2", of(alcohol).Chi2, "6.57013394", korn},
		{"alcohol p", of(alcohol).P, ".01037041", korn},
		{"alcohol by rank, z", of(ranks).Z, "1.35196736", korn},
		{"alcohol by rank, p", of(ranks).P, ".17638576", "[R] R 4.2.2 2*pnorm(-1.35196736)"},
		{"pain z", of(pain).Z, "4.7918", "[M] SAS PROC FREQ example, |z|"},
		{"pain z", of(pain).Z, "4.791812576", "[R] by formula, R 4.2.2"},
	})
	heterogeneity := func(doses []Dose) *Association {
		table := Crosstab{Rows: []string{"hit", "miss"}, Counts: [][]int{nil, nil}}
		for _, d := range doses {
			table.Cols = append(table.Cols, "x")
			table.Counts[0] = append(table.Counts[0], d.Hits)
			table.Counts[1] = append(table.Counts[1], d.Size-d.Hits)
		}
		a, err := Associate(table, false, 1)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	reproduce(t, []printed{
		{"smokers heterogeneity", heterogeneity(smokers).Chi2, "12.6004113", fleiss},
		{"smokers heterogeneity p", heterogeneity(smokers).P, ".005585477", fleiss},
		{"alcohol heterogeneity", heterogeneity(alcohol).Chi2, "12.08205481", korn},
	})
}

func TestCochranArmitageRefuses(t *testing.T) {
	for _, tt := range []struct {
		name  string
		doses []Dose
		want  error
	}{
		{"no pairs", []Dose{{1, 0, 0}}, ErrEmpty},
		{"no hits", []Dose{{1, 0, 5}, {2, 0, 5}}, ErrNoSpread},
		{"all hits", []Dose{{1, 5, 5}, {2, 5, 5}}, ErrNoSpread},
		{"one score in use", []Dose{{1, 2, 5}, {1, 3, 5}, {4, 0, 0}}, ErrNoSpread},
		{"more hits than pairs", []Dose{{1, 6, 5}}, ErrBadInput},
		{"a score that is no number", []Dose{{math.NaN(), 1, 5}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := CochranArmitage(tt.doses); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestCochranArmitageLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var doses, split, mirrored, scaled []Dose
		for i := range rapid.IntRange(2, 8).Draw(t, "n") {
			size := rapid.IntRange(2, 60).Draw(t, "size")
			hits := rapid.IntRange(1, size-1).Draw(t, "hits")
			x := float64(i)
			doses = append(doses, Dose{x, hits, size})
			split = append(split, Dose{x, hits, hits}, Dose{x, 0, size - hits})
			mirrored = append(mirrored, Dose{-x, hits, size})
			scaled = append(scaled, Dose{5 + 3*x, hits, size})
		}
		a, err := CochranArmitage(doses)
		if err != nil {
			t.Fatal(err)
		}
		for name, other := range map[string][]Dose{"splitting": rapid.Permutation(split).Draw(t, "order"), "rescaling": scaled, "mirroring": mirrored} {
			b, err := CochranArmitage(other)
			if err != nil {
				t.Fatal(err)
			}
			z := b.Z
			if name == "mirroring" {
				z = -z
			}
			if math.Abs(z-a.Z) > 1e-9 {
				t.Fatalf("%s changed z from %v to %v", name, a.Z, b.Z)
			}
		}
	})
}
