package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// gradedTable is the table of Fleiss, Cohen & Everitt (1969) as single items.
func gradedTable() []GradePair {
	var items []GradePair
	for i, row := range [][]int{{106, 10, 4}, {22, 28, 10}, {2, 12, 6}} {
		for j, n := range row {
			for range n {
				items = append(items, GradePair{i, j})
			}
		}
	}
	return items
}

// repeatedItems are clusters of so many equal items each.
func repeatedItems(items []GradePair, times int) [][]GradePair {
	clusters := make([][]GradePair, len(items))
	for c, p := range items {
		for range times {
			clusters[c] = append(clusters[c], p)
		}
	}
	return clusters
}

// Items that are each a cluster of their own have the published standard error,
// and equal items in a cluster say no more than one of them.
func TestClusteredAgreementOfSingleItemsIsThePublishedOne(t *testing.T) {
	items := gradedTable()
	m := float64(len(items))
	for _, times := range []int{1, 3} {
		clusters := append(repeatedItems(items, times), nil) // an empty one counts for nothing
		kappa, err := ClusteredKappa(clusters, IdentityWeights(3), .95)
		if err != nil {
			t.Fatal(err)
		}
		ac1, err := ClusteredAC1(clusters, 3, .95)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{
			{"kappa", kappa.Value, ".4285714286", "[R] statsmodels 0.13.5 cohens_kappa on the table of Fleiss, Cohen & Everitt 1969 [M]"},
			{"its standard error", kappa.SE.V * math.Sqrt((m-1)/m), ".05371100", "[R] the same"},
			{"AC1", ac1.Value, ".5935648", "by hand from the formula of Gwet 2008: p_a .7, p_e .261875"},
		})
		if times == 1 {
			whole, err := GwetAC1(ratings(t, pairCounts([][]int{{106, 10, 4}, {22, 28, 10}, {2, 12, 6}})), .95)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(whole.SE.V-ac1.SE.V) > 1e-12 || math.Abs(whole.Low.V-ac1.Low.V) > 1e-12 {
				t.Errorf("AC1 of single items %+v, without clusters %+v", ac1, whole)
			}
		}
	}
}

// The jackknife that leaves out one cluster after the other knows no formula of
// a variance. Source: Efron B, Stein C (1981) Annals of Statistics 9:586–596.
func TestClusteredAgreementIsThatOfTheJackknife(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	const m, levels = 150, 4
	clusters := make([][]GradePair, m)
	for c := range clusters {
		// Some pairs of shoes are hard to read: in them the second reader is off more often.
		base, off := rng.IntN(levels), .05+.6*rng.Float64()*rng.Float64()
		for range 2 + rng.IntN(9) {
			p := GradePair{base, base}
			if rng.Float64() < .3 {
				p.First = rng.IntN(levels)
				p.Second = p.First
			}
			if rng.Float64() < off {
				p.Second = min(levels-1, p.Second+1)
			}
			clusters[c] = append(clusters[c], p)
		}
	}
	for name, run := range map[string]func([][]GradePair) (*Agreement, error){
		"kappa":                 func(c [][]GradePair) (*Agreement, error) { return ClusteredKappa(c, IdentityWeights(levels), .95) },
		"kappa, linear weights": func(c [][]GradePair) (*Agreement, error) { return ClusteredKappa(c, LinearWeights(levels), .95) },
		"AC1":                   func(c [][]GradePair) (*Agreement, error) { return ClusteredAC1(c, levels, .95) },
	} {
		t.Run(name, func(t *testing.T) {
			whole, err := run(clusters)
			if err != nil {
				t.Fatal(err)
			}
			without := make([]float64, m)
			mean := 0.0
			for c := range clusters {
				left := append(append([][]GradePair{}, clusters[:c]...), clusters[c+1:]...)
				a, err := run(left)
				if err != nil {
					t.Fatal(err)
				}
				without[c] = a.Value
				mean += a.Value / m
			}
			sum := 0.0
			for _, v := range without {
				sum += (v - mean) * (v - mean)
			}
			if se := math.Sqrt(sum * (m - 1) / m); math.Abs(whole.SE.V/se-1) > .03 {
				t.Errorf("standard error %.5f, the jackknife has %.5f", whole.SE.V, se)
			}
			var single [][]GradePair
			for _, items := range clusters {
				single = append(single, repeatedItems(items, 1)...)
			}
			alone, err := run(single)
			if err != nil {
				t.Fatal(err)
			}
			if alone.SE.V > .95*whole.SE.V {
				t.Errorf("standard error %.5f with clusters, %.5f without: the test has nothing to tell", whole.SE.V, alone.SE.V)
			}
		})
	}
}

func TestClusteredAgreementRefuses(t *testing.T) {
	one := [][]GradePair{{{0, 1}, {1, 1}}}
	if a, err := ClusteredKappa(one, IdentityWeights(2), .95); err != nil || a.SE.OK || a.Low.OK || a.High.OK {
		t.Errorf("one cluster: %+v, %v; want a value without limits", a, err)
	}
	for _, tt := range []struct {
		name     string
		clusters [][]GradePair
		levels   int
		conf     float64
		want     error
	}{
		{"no items", [][]GradePair{nil}, 2, .95, ErrEmpty},
		{"one grade ever", [][]GradePair{{{1, 1}}, {{1, 1}}}, 2, .95, ErrOneCategory},
		{"a level beyond the last", [][]GradePair{{{0, 2}}}, 2, .95, ErrBadInput},
		{"a level below the first", [][]GradePair{{{-1, 0}}}, 2, .95, ErrBadInput},
		{"a confidence of 1", one, 2, 1, ErrBadInput},
	} {
		if _, err := ClusteredKappa(tt.clusters, IdentityWeights(tt.levels), tt.conf); !errors.Is(err, tt.want) {
			t.Errorf("kappa, %s: %v, want %v", tt.name, err, tt.want)
		}
	}
	if _, err := ClusteredAC1([][]GradePair{{{0, 0}}}, 1, .95); !errors.Is(err, ErrOneCategory) {
		t.Errorf("AC1 of one level: %v, want ErrOneCategory", err)
	}
	if _, err := ClusteredAC1([][]GradePair{{}}, 2, .95); !errors.Is(err, ErrNotPaired) {
		t.Errorf("AC1 of no items: %v, want ErrNotPaired", err)
	}
}
