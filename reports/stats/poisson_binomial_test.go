package stats

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestPoissonBinomialReproducesExactFractions(t *testing.T) {
	small := []float64{.1, .2, .3, .4}
	dozen := []float64{.02, .05, .05, .1, .12, .2, .01, .3, .07, .15, .08, .25}
	var thousand []float64
	for i := range 1000 {
		thousand = append(thousand, .001*float64(i%50+1))
	}
	const source = "[O] exact fractions; convolution by a second program agrees to 13 digits"
	f, first := poissonBinomialPMF(small)
	if first != 0 || len(f) != 5 {
		t.Fatalf("%d terms from %d, want five from 0", len(f), first)
	}
	for k, want := range []float64{189. / 625, 1101. / 2500, 134. / 625, 101. / 2500, 3. / 1250} {
		if !relativelyClose(f[k], want, 1e-14) {
			t.Errorf("f[%d] = %v, want %v (%s)", k, f[k], want, source)
		}
	}
	for _, tt := range []struct {
		p                  []float64
		hits               int
		least, most, midst string
	}{
		{small, 2, ".2572", ".9572", ".15"},
		{small, 3, ".0428", "", ".0226"},
		{dozen, 3, ".148973304785149", ".96452859653382", ".0922223541256645"},
		{dozen, 4, ".03547140346618", "", ""},
		{dozen, 5, ".00577099155857", "", ""},
		{thousand, 26, ".487446368175", "", ""},
		{thousand, 40, ".004090874339345", "", ""},
		{thousand, 60, "1.886671669421e-09", "", ""},
		{thousand, 100, "1.151398247846e-30", "", ""},
		{slices.Repeat([]float64{.3}, 10), 5, ".1502683326", "", ""},
	} {
		tail, err := PoissonBinomial(tt.p, tt.hits)
		if err != nil {
			t.Fatal(err)
		}
		rows := []printed{{"p_at_least", tail.PAtLeast, tt.least, source}}
		if tt.most != "" {
			rows = append(rows, printed{"p_at_most", tail.PAtMost, tt.most, source})
		}
		if tt.midst != "" {
			rows = append(rows, printed{"p_mid", tail.PMid, tt.midst, source})
		}
		reproduce(t, rows)
	}
}

func TestPoissonBinomialAtItsEdges(t *testing.T) {
	tail, err := PoissonBinomial([]float64{1, 0, 1, .5}, 2)
	if err != nil {
		t.Fatal(err)
	}
	if tail.PAtLeast != 1 || tail.PAtMost != .5 || tail.PMid != .75 {
		t.Errorf("two sure failures of four: %+v, want 1, .5, .75 (by hand)", tail)
	}
	none, err := PoissonBinomial([]float64{.2, .3}, 0)
	if err != nil {
		t.Fatal(err)
	}
	if none.PAtLeast != 1 {
		t.Errorf("P(X ≥ 0) = %v, want exactly 1 (definition)", none.PAtLeast)
	}
	more, err := PoissonBinomial([]float64{.1, .2}, 3)
	if err != nil {
		t.Fatal(err)
	}
	if more.PAtLeast != 0 || more.PAtMost != 1 || more.PMid != 0 {
		t.Errorf("three failures of two pairs: %+v, want 0, 1 and 0 (definition)", more)
	}
	for _, tt := range []struct {
		name string
		p    []float64
		hits int
		want error
	}{
		{"no pairs", nil, 0, ErrEmpty},
		{"fewer failures than none", []float64{.1}, -1, ErrBadInput},
		{"an impossible expectation", []float64{-.1}, 0, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := PoissonBinomial(tt.p, tt.hits); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestPoissonBinomialLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 60).Draw(t, "p")
		hits := rapid.IntRange(0, len(p)).Draw(t, "hits")
		a, err := PoissonBinomial(p, hits)
		if err != nil {
			t.Fatal(err)
		}
		b, err := PoissonBinomial(rapid.Permutation(p).Draw(t, "order"), hits)
		if err != nil {
			t.Fatal(err)
		}
		if !relativelyClose(a.PAtLeast, b.PAtLeast, 1e-9) && a.PAtLeast > 1e-290 {
			t.Fatalf("the order of pairs matters: %v and %v", a.PAtLeast, b.PAtLeast)
		}
		mirrored := make([]float64, len(p))
		for i, v := range p {
			mirrored[i] = 1 - v
		}
		c, err := PoissonBinomial(mirrored, len(p)-hits)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(a.PAtLeast-c.PAtMost) > 1e-9 {
			t.Fatalf("counting the sound instead of the failed changed the tail: %v and %v", a.PAtLeast, c.PAtMost)
		}
	})
}
