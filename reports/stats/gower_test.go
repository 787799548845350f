package stats

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func smallGower(t testing.TB) *Gower {
	p := readPublished(t, "gower_small.csv")
	var columns []Column
	for _, name := range []string{"heel", "toe", "tilt"} {
		c := Column{Name: name}
		for _, v := range p.numbers(name) {
			c.Numbers = append(c.Numbers, Some(v)) // NaN, a missing cell, is undefined
		}
		columns = append(columns, c)
	}
	columns = append(columns, Column{Name: "side", Words: p.words("side")})
	g, err := NewGower(columns)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestGowerOfTheLargestNumbers(t *testing.T) {
	g, err := NewGower([]Column{{Name: "x", Numbers: []Float{Some(1e308), Some(-1e308), Some(0)}}})
	if err != nil {
		t.Fatal(err)
	}
	if far, near := g.Distance(0, 1), g.Distance(0, 2); far != Some(1) || near != Some(.5) {
		t.Errorf("distances %v and %v, want 1 and ½ of the range", far, near)
	}
}

func TestGowerReproducesItsReferences(t *testing.T) {
	g := smallGower(t)
	const source = "[R] R package cluster 2.1.4 daisy(metric = 'gower'); R package gower agrees"
	var rows []printed
	for pair, want := range map[[2]int]string{
		{0, 1}: ".1079545455", {0, 2}: ".8465909091", {0, 3}: ".6212121212", {0, 4}: ".3068181818", {1, 2}: ".7386363636",
		{1, 3}: ".5606060606", {1, 4}: ".5227272727", {2, 3}: ".2575757576", {2, 4}: "1", {3, 4}: ".7272727273",
	} {
		rows = append(rows, printed{"distance", g.Distance(pair[0], pair[1]).V, want, source})
	}
	item, mean, err := g.Medoid(1)
	if err != nil {
		t.Fatal(err)
	}
	rows = append(rows, printed{"mean distance of the medoid", mean, ".4706439394", "[R] R package cluster, pam"})
	for i, want := range []string{".4706439394", ".4824810606", ".7107007576", ".5416666667", ".6392045455"} {
		sum := 0.0
		for j := range 5 {
			if j != i {
				sum += g.Distance(i, j).V
			}
		}
		rows = append(rows, printed{"mean distance of " + string("ABCDE"[i]), sum / 4, want, source})
	}
	reproduce(t, rows)
	if item != 0 {
		t.Errorf("medoid %d, want item A ([R] R package cluster, pam)", item)
	}
	near, err := g.Nearest(0, nil)
	if err != nil {
		t.Fatal(err)
	}
	var order []int
	for _, n := range near {
		order = append(order, n.Item)
	}
	if !slices.Equal(order, []int{1, 4, 3, 2}) {
		t.Errorf("nearest to A: %v, want B E D C (%s)", order, source)
	}
}

func TestContrastsAreNearAndJudgedDifferently(t *testing.T) {
	g := smallGower(t)
	pairs, err := g.Contrasts([]string{"keep", "keep", "replace", "replace", "replace"}, 5, 1)
	if err != nil {
		t.Fatal(err)
	}
	// A–E .307 first; then B–D .561 (by the distances above).
	if len(pairs) != 2 || pairs[0].A != 0 || pairs[0].B != 4 || pairs[1].A != 1 || pairs[1].B != 3 {
		t.Errorf("contrasts %+v, want A–E, B–D", pairs)
	}
	verdicts := []string{"keep", "keep", "replace", "", "replace"}
	other, err := g.Nearest(1, func(i int) bool { return verdicts[i] != "" && verdicts[i] != verdicts[1] })
	if err != nil {
		t.Fatal(err)
	}
	if len(other) != 2 || other[0].Item != 4 || other[1].Item != 2 {
		t.Errorf("nearest to B judged otherwise: %+v, want E, C (.523 and .739 by the distances above)", other)
	}
	if one, err := g.Contrasts([]string{"keep", "keep", "replace", "replace", "replace"}, 1, 1); err != nil || len(one) != 1 {
		t.Errorf("one contrast asked: %+v, %v", one, err)
	}
	if _, err := g.Contrasts([]string{"keep", "keep", "", "keep", "keep"}, 5, 1); !errors.Is(err, ErrOneGroup) {
		t.Errorf("one verdict: err = %v, want ErrOneGroup", err)
	}
	if _, err := g.Contrasts([]string{"keep"}, 5, 1); !errors.Is(err, ErrBadInput) {
		t.Errorf("too few verdicts: err = %v, want ErrBadInput", err)
	}
}

func TestGowerAtItsEdges(t *testing.T) {
	apart, err := NewGower([]Column{
		{Name: "x", Numbers: []Float{Some(1), Some(3), None}},
		{Name: "side", Words: []string{"", "", "medial"}},
		{Name: "flat", Numbers: []Float{Some(2), Some(2), Some(2)}},
	})
	if err != nil {
		t.Fatal(err)
	}
	if d := apart.Distance(0, 2); d.OK {
		t.Errorf("no column in common: %v, want undefined", d)
	}
	if d := apart.Distance(0, 1); d != Some(1) {
		t.Errorf("a column without spread counted: %v, want 1", d)
	}
	for _, tt := range []struct {
		name    string
		columns []Column
		want    error
	}{
		{"no columns", nil, ErrEmpty},
		{"no spread", []Column{{Name: "x", Numbers: []Float{Some(1), Some(1)}}}, ErrNoSpread},
		{"columns of different length", []Column{{Name: "x", Numbers: []Float{Some(1), Some(2)}}, {Name: "y", Words: []string{"a"}}}, ErrBadInput},
		{"a column of nothing", []Column{{Name: "x"}}, ErrBadInput},
		{"an infinite number", []Column{{Name: "x", Numbers: []Float{{V: math.Inf(1), OK: true}, Some(2)}}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := NewGower(tt.columns); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	if _, err := apart.Nearest(3, nil); !errors.Is(err, ErrBadInput) {
		t.Errorf("an item out of range: err = %v, want ErrBadInput", err)
	}
}

func TestALargeGowerIsSampledBySeed(t *testing.T) {
	const items = gowerSample + 500
	x := Column{Name: "x", Numbers: make([]Float, items)}
	verdicts := make([]string, items)
	for i := range items {
		x.Numbers[i] = Some(float64(i * i))
		verdicts[i] = []string{"keep", "replace"}[i%2]
	}
	g, err := NewGower([]Column{x})
	if err != nil {
		t.Fatal(err)
	}
	a, mean, err := g.Medoid(1)
	if err != nil {
		t.Fatal(err)
	}
	b, _, err := g.Medoid(1)
	if err != nil {
		t.Fatal(err)
	}
	// On a line the medoid is the median, item items/2; the sample's lies near.
	if a != b || math.Abs(float64(a)-items/2) > items/50 || mean <= 0 {
		t.Errorf("medoids %d and %d, want the same one near %d", a, b, items/2)
	}
	pairs, err := g.Contrasts(verdicts, 3, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range pairs {
		if verdicts[c.A] == verdicts[c.B] || g.Distance(c.A, c.B) != Some(c.Distance) {
			t.Errorf("contrast %+v: verdicts %s and %s", c, verdicts[c.A], verdicts[c.B])
		}
	}
}

func TestGowerLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "n")
		number := Column{Name: "x", Numbers: []Float{Some(0), Some(9)}}
		word := Column{Name: "w", Words: []string{"a", "b"}}
		for range n - 2 {
			if rapid.Bool().Draw(t, "missing") {
				number.Numbers = append(number.Numbers, None)
			} else {
				number.Numbers = append(number.Numbers, Some(float64(rapid.IntRange(0, 9).Draw(t, "x"))))
			}
			word.Words = append(word.Words, rapid.SampledFrom([]string{"", "a", "b", "c"}).Draw(t, "w"))
		}
		a, err := NewGower([]Column{number, word})
		if err != nil {
			t.Fatal(err)
		}
		scaled := Column{Name: "x"}
		renamed := Column{Name: "w"}
		for i := range n {
			v := None
			if number.Numbers[i].OK {
				v = Some(40 - 3*number.Numbers[i].V)
			}
			scaled.Numbers = append(scaled.Numbers, v)
			renamed.Words = append(renamed.Words, map[string]string{"": "", "a": "left", "b": "right", "c": "both"}[word.Words[i]])
		}
		b, err := NewGower([]Column{renamed, scaled})
		if err != nil {
			t.Fatal(err)
		}
		for i := range n {
			for j := range n {
				x, y := a.Distance(i, j), b.Distance(i, j)
				if x.OK != y.OK || math.Abs(x.V-y.V) > 1e-9 || x != a.Distance(j, i) || x.V < 0 || x.V > 1+1e-12 || i == j && x.V != 0 {
					t.Fatalf("distance %d–%d: %v and %v: not symmetric, not within 0–1, or units and names matter", i, j, x, y)
				}
			}
		}
	})
}
