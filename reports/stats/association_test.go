package stats

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// party is the General Social Survey table of party identification by gender.
var party = Crosstab{
	Rows: []string{"female", "male"}, Cols: []string{"Democrat", "Independent", "Republican"},
	Counts: [][]int{{762, 327, 468}, {484, 239, 477}},
}

func TestAssociationReproducesItsReferences(t *testing.T) {
	a, err := Associate(party, false, 1)
	if err != nil {
		t.Fatal(err)
	}
	const (
		agresti = "[M] Agresti 2007, An Introduction to Categorical Data Analysis, p. 39"
		r       = "[R] R 4.2.2 chisq.test"
	)
	reproduce(t, []printed{
		{"chi2", a.Chi2, "30.1", agresti},
		{"chi2", a.Chi2, "30.0701490958", r},
		{"p", a.P, "2.953589e-07", r},
		{"expected", a.Expected[0][0], "703.6713819", r},
		{"expected", a.Expected[0][1], "319.6452666", r},
		{"expected", a.Expected[0][2], "533.6833515", r},
		{"residual", a.AdjustedResiduals[0][0], "4.502053521", r},
		{"residual", a.AdjustedResiduals[0][1], "0.699451733", r},
		{"residual", a.AdjustedResiduals[0][2], "-5.315945543", r},
		{"residual", a.AdjustedResiduals[1][0], "-4.502053521", r},
		{"V", a.CramersV, "0.1044358024", "[R] scipy 1.10.1 association(method = 'cramer')"},
		{"corrected V", a.CramersVCorrected.V, "0.1009199828", "[R] by Bergsma's formula on R's chi2"},
	})
	if a.DF != 2 || a.N != 2757 || a.Sparse {
		t.Errorf("df %d, n %d, sparse %v, want 2, 2757, false (%s)", a.DF, a.N, a.Sparse, r)
	}
	if a.FreemanHalton != nil || a.Fisher != nil {
		t.Error("an exact test was made unasked on a full 2×3 table")
	}
}

func TestCorrectedVIsCutAtNought(t *testing.T) {
	a, err := Associate(Crosstab{
		Rows: []string{"a", "b"}, Cols: []string{"x", "y", "z"},
		Counts: [][]int{{10, 20, 30}, {11, 19, 31}},
	}, false, 1)
	if err != nil {
		t.Fatal(err)
	}
	const source = "[R] R 4.2.2 chisq.test; Bergsma's formula"
	reproduce(t, []printed{
		{"chi2", a.Chi2, "0.08139461243", source},
		{"V", a.CramersV, "0.02593612823", source},
	})
	if a.CramersVCorrected != Some(0) {
		t.Errorf("corrected V = %v, want 0 (%s)", a.CramersVCorrected, source)
	}
}

func TestEmptyLevelsAreLeftOut(t *testing.T) {
	wide := Crosstab{
		Rows: []string{"none", "female", "male"}, Cols: []string{"Democrat", "Green", "Independent", "Republican"},
		Counts: [][]int{{0, 0, 0, 0}, {762, 0, 327, 468}, {484, 0, 239, 477}},
	}
	a, err := Associate(wide, false, 1)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Associate(party, false, 1)
	if err != nil {
		t.Fatal(err)
	}
	if a.DF != b.DF || a.Chi2 != b.Chi2 || a.CramersV != b.CramersV || strings.Join(a.Cols, " ") != "Democrat Independent Republican" {
		t.Errorf("got %+v, want as without the empty levels", a)
	}
	if wide.Counts[1][2] != 327 || len(wide.Counts[1]) != 4 {
		t.Error("the caller's table was changed")
	}
}

func TestThinTablesGetTheExactTest(t *testing.T) {
	thin := Crosstab{Rows: []string{"a", "b", "c"}, Cols: []string{"x", "y", "z"}, Counts: [][]int{{3, 0, 2}, {0, 5, 1}, {1, 1, 4}}}
	a, err := Associate(thin, false, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !a.Sparse || a.FreemanHalton == nil {
		t.Fatalf("got %+v, want a sparse table with p_exact", a)
	}
	reproduce(t, []printed{{"p_exact", a.FreemanHalton.P, "0.01801629743", "[R] R 4.2.2 fisher.test"}})
	out, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{`"p_exact":`, `"p_exact_se":null`, `"method":"exact"`, `"cramers_v_corrected":`, `"adjusted_residuals":`} {
		if !strings.Contains(string(out), key) {
			t.Errorf("JSON lacks %s: %s", key, out)
		}
	}
	asked, err := Associate(party, true, 1)
	if err != nil {
		t.Fatal(err)
	}
	if asked.FreemanHalton == nil {
		t.Error("an exact test that was asked for is missing")
	}
}

func TestAssociationRefuses(t *testing.T) {
	two := []string{"a", "b"}
	for _, tt := range []struct {
		name  string
		table Crosstab
		want  error
	}{
		{"no pairs", Crosstab{two, two, [][]int{{0, 0}, {0, 0}}}, ErrEmpty},
		{"one row in use", Crosstab{two, two, [][]int{{0, 0}, {3, 5}}}, ErrOneGroup},
		{"one column in use", Crosstab{two, two, [][]int{{2, 0}, {3, 0}}}, ErrOneGroup},
		{"a ragged table", Crosstab{two, two, [][]int{{2}, {3, 0}}}, ErrBadInput},
		{"rows without names", Crosstab{two[:1], two, [][]int{{2, 1}, {3, 0}}}, ErrBadInput},
		{"a negative count", Crosstab{two, two, [][]int{{2, -1}, {3, 0}}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := Associate(tt.table, false, 1); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	one, err := Associate(Crosstab{two, two, [][]int{{1, 0}, {0, 1}}}, false, 1)
	if err != nil {
		t.Fatal(err)
	}
	if one.CramersVCorrected.OK {
		t.Errorf("corrected V of one pair a row = %v, want undefined", one.CramersVCorrected)
	}
}

func TestAssociationLaws(t *testing.T) {
	names := []string{"a", "b", "c", "d", "e"}
	rapid.Check(t, func(t *rapid.T) {
		r, c := rapid.IntRange(2, 4).Draw(t, "rows"), rapid.IntRange(2, 5).Draw(t, "columns")
		counts := rapid.SliceOfN(rapid.SliceOfN(rapid.IntRange(15, 90), c, c), r, r).Draw(t, "counts")
		a, err := Associate(Crosstab{names[:r], names[:c], counts}, false, 1)
		if err != nil {
			t.Fatal(err)
		}
		order := rapid.Permutation(indices(r)).Draw(t, "order")
		moved := make([][]int, r)
		turned := make([][]int, c)
		for i, from := range order {
			moved[i] = counts[from]
		}
		for j := range turned {
			turned[j] = make([]int, r)
			for i := range r {
				turned[j][i] = counts[i][j]
			}
		}
		b, err := Associate(Crosstab{names[:r], names[:c], moved}, false, 1)
		if err != nil {
			t.Fatal(err)
		}
		d, err := Associate(Crosstab{names[:c], names[:r], turned}, false, 1)
		if err != nil {
			t.Fatal(err)
		}
		for _, other := range []*Association{b, d} {
			if !relativelyClose(a.Chi2, other.Chi2, 1e-9) || !relativelyClose(a.CramersV, other.CramersV, 1e-9) || a.DF != other.DF {
				t.Fatalf("order of rows or turning the table matters: %v and %v", a.Chi2, other.Chi2)
			}
		}
		if !(a.CramersV >= 0 && a.CramersV <= 1 && a.P >= 0 && a.P <= 1) {
			t.Fatalf("V %v or p %v outside 0–1", a.CramersV, a.P)
		}
		if v := a.CramersVCorrected; v.OK && !(v.V >= 0 && v.V <= 1) {
			t.Fatalf("corrected V %v outside 0–1", v)
		}
		if r == 2 && c == 2 {
			if res := a.AdjustedResiduals; !relativelyClose(res[0][0]*res[0][0], a.Chi2, 1e-9) && math.Abs(a.Chi2) > 1e-9 {
				t.Fatalf("the squared residual of a 2×2 table is not its chi-square: %v and %v", res[0][0], a.Chi2)
			}
		}
	})
}
