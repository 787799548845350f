package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestFreemanHaltonReproducesItsReferences(t *testing.T) {
	for _, tt := range []struct {
		name   string
		counts [][]int
		want   string
		source string
	}{
		{"job satisfaction by income", [][]int{{1, 3, 10, 6}, {2, 3, 10, 7}, {1, 6, 14, 12}, {0, 1, 9, 11}}, "0.7827", "[M] Agresti 2002, Categorical Data Analysis, p. 57"},
		{"job satisfaction by income", [][]int{{1, 3, 10, 6}, {2, 3, 10, 7}, {1, 6, 14, 12}, {0, 1, 9, 11}}, "0.782684939", "[R] R 4.2.2 fisher.test"},
		{"a small table", [][]int{{3, 0, 2}, {0, 5, 1}, {1, 1, 4}}, "0.01801629743", "[R] R 4.2.2 fisher.test"},
		{"one row in use", [][]int{{0, 0}, {3, 5}}, "1", "[R] R 4.2.2 fisher.test"},
		{"tea tasting", [][]int{{3, 1}, {1, 3}}, "0.485714285714", "[R] R 4.2.2 fisher.test"},
		{"2×5", [][]int{{12, 40, 55, 31, 9}, {20, 44, 60, 22, 5}}, "0.2924630789", "[R] R 4.2.2 fisher.test"},
		{"2×3, thirteen hundred pairs", [][]int{{300, 200, 150}, {280, 230, 170}}, "0.18913063981", "exact fractions: 0.18913063981134859"},
		{"2×3", [][]int{{12, 40, 15}, {20, 44, 10}}, "0.27086047244", "exact fractions: 0.27086047244233613"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := FreemanHaltonTest(tt.counts, 1)
			if err != nil {
				t.Fatal(err)
			}
			reproduce(t, []printed{{"p_exact", got.P, tt.want, tt.source}})
			if got.Method != "exact" || got.SE.OK {
				t.Errorf("method %q with error %v, want exact without", got.Method, got.SE)
			}
		})
	}
}

// beyond holds a table whose margins allow far more than 10 million tables.
var beyond = [][]int{
	{14, 9, 8, 6, 5, 4}, {10, 12, 9, 7, 6, 6}, {5, 8, 11, 10, 9, 7}, {4, 5, 8, 9, 11, 12}, {7, 8, 7, 8, 9, 9},
}

func TestLargeTablesFallBackOnSeededMonteCarlo(t *testing.T) {
	const (
		reference = 0.428205571794428
		source    = "[R] R 4.2.2 set.seed(1); fisher.test(simulate.p.value = TRUE, B = 1e6), standard error 0.0005"
	)
	first, err := FreemanHaltonTest(beyond, 7)
	if err != nil {
		t.Fatal(err)
	}
	if first.Method != "monte-carlo" || !first.SE.OK || !(first.SE.V > 0 && first.SE.V < 0.002) {
		t.Fatalf("got %+v, want Monte Carlo with an error below 0.002", first)
	}
	if off := math.Abs(first.P - reference); off > 4*math.Hypot(first.SE.V, 0.0005) {
		t.Errorf("p = %v, want %v within four standard errors (%s)", first.P, reference, source)
	}
	again, err := FreemanHaltonTest([][]int{beyond[3], beyond[1], beyond[4], beyond[0], beyond[2]}, 7)
	if err != nil {
		t.Fatal(err)
	}
	if first != again {
		t.Errorf("the same seed gave %v, and %v for reordered rows", first, again)
	}
}

func TestMonteCarloAgreesWithTheExactTest(t *testing.T) {
	job := [][]int{{1, 3, 10, 6}, {2, 3, 10, 7}, {1, 6, 14, 12}, {0, 1, 9, 11}}
	rows, cols, n := margins(job)
	w := newNetwork(cols, job, n)
	got := w.monteCarlo(rows, 3)
	const source = "[R] R 4.2.2 fisher.test"
	if math.Abs(got.P-0.782684939) > 4*got.SE.V {
		t.Errorf("p = %v, want 0.782684939 within four standard errors of %v (%s)", got.P, got.SE.V, source)
	}
}

func TestFreemanHaltonRefuses(t *testing.T) {
	for _, tt := range []struct {
		name   string
		counts [][]int
		want   error
	}{
		{"no table", nil, ErrEmpty},
		{"no pairs", [][]int{{0, 0}, {0, 0}}, ErrEmpty},
		{"a ragged table", [][]int{{1, 2}, {3}}, ErrBadInput},
		{"a negative count", [][]int{{1, -2}, {3, 1}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := FreemanHaltonTest(tt.counts, 1); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestFreemanHaltonLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, c := rapid.IntRange(2, 3).Draw(t, "rows"), rapid.IntRange(2, 4).Draw(t, "columns")
		counts := rapid.SliceOfN(rapid.SliceOfN(rapid.IntRange(0, 3), c, c), r, r).Draw(t, "counts")
		counts[0][0]++
		got, err := FreemanHaltonTest(counts, 1)
		if err != nil {
			t.Fatal(err)
		}
		if !(got.P > 0 && got.P <= 1) {
			t.Fatalf("p = %v, outside (0, 1]", got.P)
		}
		turned := make([][]int, c)
		for j := range turned {
			turned[j] = make([]int, r)
			for i := range r {
				turned[j][r-1-i] = counts[i][j]
			}
		}
		other, err := FreemanHaltonTest(turned, 1)
		if err != nil {
			t.Fatal(err)
		}
		if !relativelyClose(got.P, other.P, 1e-9) {
			t.Fatalf("turning the table changed p: %v and %v", got.P, other.P)
		}
		if brute := enumerated(counts); !relativelyClose(got.P, brute, 1e-9) {
			t.Fatalf("p = %v, but %v by listing every table", got.P, brute)
		}
		if r == 2 && c == 2 {
			f, err := FisherTest(counts[0][0], counts[0][1], counts[1][0], counts[1][1], .95)
			if err != nil {
				t.Fatal(err)
			}
			if !relativelyClose(got.P, f.PTwo, 1e-9) {
				t.Fatalf("a 2×2 table: %v, Fisher %v", got.P, f.PTwo)
			}
		}
	})
}

// enumerated is the definition itself: every table with the margins of
// counts, one by one.
func enumerated(counts [][]int) float64 {
	rows, cols, n := margins(counts)
	lf := logFactorials(n)
	observed := 0.0
	for _, row := range counts {
		for _, x := range row {
			observed -= lf[x]
		}
	}
	extreme, total := 0.0, 0.0
	var fill func(i, j, row int, logp float64)
	fill = func(i, j, row int, logp float64) {
		if i == len(rows)-1 {
			for _, x := range cols {
				logp -= lf[x]
			}
			total += math.Exp(logp - observed)
			if logp <= observed+exactTie {
				extreme += math.Exp(logp - observed)
			}
			return
		}
		if j == len(cols)-1 {
			if row > cols[j] {
				return
			}
			cols[j] -= row
			fill(i+1, 0, rows[i+1], logp-lf[row])
			cols[j] += row
			return
		}
		for x := 0; x <= min(row, cols[j]); x++ {
			cols[j] -= x
			fill(i, j+1, row-x, logp-lf[x])
			cols[j] += x
		}
	}
	fill(0, 0, rows[0], 0)
	return extreme / total
}
