package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// diagnoses is Fleiss' table of two readers: schizophrenia, affective, other.
var diagnoses = [][]int{{35, 5, 0}, {15, 20, 5}, {10, 5, 5}}

func TestMcNemarReproducesItsReferences(t *testing.T) {
	r, err := McNemar(150, 86)
	if err != nil {
		t.Fatal(err)
	}
	const source = "[R] R 4.2.2 mcnemar.test(correct = FALSE), binom.test; approval ratings, Agresti 2002, Table 10.1"
	reproduce(t, []printed{
		{"z²", r.Chi2.V, "17.36", "[M] Agresti 2002, Table 10.1"},
		{"chi2", r.Chi2.V, "17.3559322", source},
		{"p", r.P.V, "3.09929344e-05", source},
		{"p_exact", r.PExact, "3.71593614e-05", source},
	})
}

func TestMcNemarAtItsEdges(t *testing.T) {
	none, err := McNemar(0, 0)
	if err != nil {
		t.Fatal(err)
	}
	if none.PExact != 1 || none.PMid != 1 || none.Chi2.OK || none.P.OK || none.Why == "" {
		t.Errorf("no difference: %+v, want p 1 and chi2 undefined with why", none)
	}
	even, err := McNemar(3, 3)
	if err != nil {
		t.Fatal(err)
	}
	// 1 − C(6,3)/2⁶/2 by hand.
	if even.PExact != 1 || !relativelyClose(even.PMid, 1-20./64/2, 1e-12) || even.Chi2 != Some(0) {
		t.Errorf("as many each way: %+v, want p_exact 1, p_mid .84375", even)
	}
	uneven, err := McNemar(1, 5)
	if err != nil {
		t.Fatal(err)
	}
	// 2 (1 + 6)/64 and less 6/64 by hand.
	if !relativelyClose(uneven.PExact, 14./64, 1e-12) || !relativelyClose(uneven.PMid, 8./64, 1e-12) {
		t.Errorf("one against five: %+v, want p_exact .21875, p_mid .125 (by hand)", uneven)
	}
	if _, err := McNemar(-1, 2); !errors.Is(err, ErrBadInput) {
		t.Errorf("a negative count: err = %v, want ErrBadInput", err)
	}
}

func TestStuartMaxwellReproducesItsReferences(t *testing.T) {
	r, err := StuartMaxwell(diagnoses)
	if err != nil {
		t.Fatal(err)
	}
	const source = "[R] R package coin, mh_test; by hand (1/500)(30·400 − 2·20·200 + 30·100) = 14"
	reproduce(t, []printed{
		{"chi2", r.Chi2, "14.00", "[M] Fleiss 1981 p. 121"},
		{"chi2", r.Chi2, "14.0000000000", source},
		{"p", r.P, ".000911881966", source},
	})
	if r.DF != 2 {
		t.Errorf("df %d, want 2 (%s)", r.DF, source)
	}
}

func TestStuartMaxwellLeavesOutIdleCategories(t *testing.T) {
	wide := [][]int{{35, 0, 5, 0, 0}, {0, 7, 0, 0, 0}, {15, 0, 20, 5, 0}, {10, 0, 5, 5, 0}, {0, 0, 0, 0, 0}}
	r, err := StuartMaxwell(wide)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.Chi2-14) > 1e-9 || r.DF != 2 {
		t.Errorf("with a diagonal-only and an unused category: %+v, want 14 on 2 df", r)
	}
	blocks := [][]int{{5, 9, 0, 0}, {3, 4, 0, 0}, {0, 0, 6, 2}, {0, 0, 7, 1}}
	if r, err = StuartMaxwell(blocks); err != nil {
		t.Fatal(err)
	}
	first, err := McNemar(9, 3)
	if err != nil {
		t.Fatal(err)
	}
	second, err := McNemar(2, 7)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.Chi2-first.Chi2.V-second.Chi2.V) > 1e-9 || r.DF != 2 {
		t.Errorf("two blocks: %+v, want the sum of two McNemar tests, 2 df", r)
	}
	if _, err := StuartMaxwell([][]int{{3, 0}, {0, 2}}); !errors.Is(err, ErrNoDisagreement) {
		t.Errorf("no difference: err = %v, want ErrNoDisagreement", err)
	}
	if _, err := StuartMaxwell([][]int{{3, 0}}); !errors.Is(err, ErrBadInput) {
		t.Errorf("a table that is not square: err = %v, want ErrBadInput", err)
	}
}

func TestBowkerReproducesItsReference(t *testing.T) {
	r, err := Bowker(diagnoses)
	if err != nil {
		t.Fatal(err)
	}
	const source = "[O] by hand, 100/20 + 100/10 + 0 = 15; Fleiss 1981 p. 121"
	reproduce(t, []printed{{"chi2", r.Chi2, "15.0000000000", source}, {"p", r.P, ".001816649", source}})
	if r.DF != 3 {
		t.Errorf("df %d, want 3 (%s)", r.DF, source)
	}
	if _, err := Bowker([][]int{{3, 0}, {0, 2}}); !errors.Is(err, ErrNoDisagreement) {
		t.Errorf("no difference: err = %v, want ErrNoDisagreement", err)
	}
}

func TestMatchedLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(2, 5).Draw(t, "k")
		counts := rapid.SliceOfN(rapid.SliceOfN(rapid.IntRange(1, 30), k, k), k, k).Draw(t, "counts")
		a, err := StuartMaxwell(counts)
		if err != nil {
			t.Fatal(err)
		}
		order := rapid.Permutation(indices(k)).Draw(t, "order")
		turned := make([][]int, k) // renamed categories and readings swapped
		for i := range turned {
			turned[i] = make([]int, k)
			for j := range turned {
				turned[i][j] = counts[order[j]][order[i]]
			}
		}
		b, err := StuartMaxwell(turned)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(a.Chi2-b.Chi2) > 1e-9*(1+a.Chi2) || a.DF != b.DF || a.DF != k-1 {
			t.Fatalf("renaming categories or swapping readings matters: %+v and %+v", a, b)
		}
		c, err := Bowker(counts)
		if err != nil {
			t.Fatal(err)
		}
		d, err := Bowker(turned)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(c.Chi2-d.Chi2) > 1e-9*(1+c.Chi2) || c.Chi2 < a.Chi2-1e-9*(1+a.Chi2) {
			t.Fatalf("Bowker %+v and %+v, Stuart–Maxwell %+v: the first two equal, the third never above", c, d, a)
		}
		if k == 2 {
			m, err := McNemar(counts[0][1], counts[1][0])
			if err != nil {
				t.Fatal(err)
			}
			swapped, err := McNemar(counts[1][0], counts[0][1])
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(m.Chi2.V-a.Chi2) > 1e-9*(1+a.Chi2) || m.PExact != swapped.PExact || m.PMid != swapped.PMid {
				t.Fatalf("two categories: McNemar %+v, swapped %+v, Stuart–Maxwell %+v", m, swapped, a)
			}
		}
	})
}
