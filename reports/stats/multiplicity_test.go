package stats

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// thrombolysis holds the 15 p-values of Benjamini & Hochberg (1995) section 4.
var thrombolysis = []float64{
	0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
	0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000,
}

func TestAdjustedValues(t *testing.T) {
	for _, tt := range []struct {
		name   string
		adjust func([]float64) []float64
		p      []float64
		want   []float64
		tol    float64
		source string
	}{
		{
			"Benjamini–Hochberg on the thrombolysis trial", BH, thrombolysis,
			[]float64{.0015, .003, .0095, .035625, .0603, .063857, .063857, .0645, .0765, .486, .581182, .714875, .753231, .813214, 1},
			5e-7, "[R] R 4.2.2 p.adjust(p, 'BH'), six decimals; data of Benjamini & Hochberg 1995 sec. 4",
		},
		{
			"Holm on the thrombolysis trial", Holm, thrombolysis,
			[]float64{.0015, .0056, .0247, .1140, .2211, .2780, .2780, .2780, .3213, 1, 1, 1, 1, 1, 1},
			1e-12, "[R] R 4.2.2 p.adjust(p, 'holm'); data of Benjamini & Hochberg 1995 sec. 4",
		},
		{
			"Bonferroni on the thrombolysis trial", Bonferroni, thrombolysis[:5],
			[]float64{.0005, .002, .0095, .0475, .1005},
			1e-12, "[R] R 4.2.2 p.adjust(p[1:5], 'bonferroni')",
		},
		{
			"a sixth value fixed exactly by its seventh neighbour", BH, thrombolysis,
			slices.Concat(nans(5), []float64{0.0298 * 15 / 7, 0.0298 * 15 / 7}, nans(8)),
			1e-15, "closed form 0.0298·15/7 = 0.063857142857",
		},
		{
			"zero stays zero and ties stay tied, in input order", BH,
			[]float64{.04, 0, .02, .04, .02},
			[]float64{.04, 0, 0.1 / 3, .04, 0.1 / 3},
			1e-15, "[R] R 4.2.2 p.adjust(c(.04,0,.02,.04,.02), 'BH')",
		},
		{"no tests", BH, nil, []float64{}, 0, "definition"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := tt.adjust(tt.p)
			if len(got) != len(tt.want) {
				t.Fatalf("got %d values, want %d (%s)", len(got), len(tt.want), tt.source)
			}
			for i, want := range tt.want {
				if !math.IsNaN(want) && math.Abs(got[i]-want) > tt.tol {
					t.Errorf("adjusted[%d] = %.15g, want %.15g (%s)", i, got[i], want, tt.source)
				}
			}
		})
	}
}

// nans returns n placeholders for values a row does not state.
func nans(n int) []float64 {
	return slices.Repeat([]float64{math.NaN()}, n)
}

func TestRejectionsOfTheThrombolysisTrial(t *testing.T) {
	const source = "[P2] Benjamini & Hochberg 1995 sec. 4: BH rejects 4, Bonferroni 3, at 0.05"
	p := make([]Float, len(thrombolysis))
	for i, v := range thrombolysis {
		p[i] = Some(v)
	}
	r, err := Adjust(p, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	byBH, byBonferroni := 0, 0
	for i := range p {
		if r.RejectedBH[i] {
			byBH++
		}
		if r.Bonferroni[i].V <= 0.05 {
			byBonferroni++
		}
	}
	if byBH != 4 || byBonferroni != 3 {
		t.Errorf("BH rejects %d and Bonferroni %d, want 4 and 3 (%s)", byBH, byBonferroni, source)
	}
}

func TestAdjustLeavesOutUndefinedValues(t *testing.T) {
	r, err := Adjust([]Float{Some(.02), None, Some(.5)}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	got, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	// m is 2: .02·2/1, .5·2/2 (R 4.2.2 p.adjust with NA gives the same).
	const want = `{"bh":[0.04,null,0.5],"holm":[0.04,null,0.5],"bonferroni":[0.04,null,1],"rejected_bh":[true,false,false]}`
	if string(got) != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestAdjustRefuses(t *testing.T) {
	for _, tt := range []struct {
		name string
		p    []Float
		conf float64
		want error
	}{
		{"a value above one", []Float{Some(.5), Some(1.5)}, .95, ErrBadInput},
		{"a value below zero", []Float{Some(-.1)}, .95, ErrBadInput},
		{"a confidence of one", []Float{Some(.5)}, 1, ErrBadInput},
		{"nothing defined", []Float{None}, .95, ErrEmpty},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := Adjust(tt.p, tt.conf); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestAdjustmentLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 40).Draw(t, "p")
		shuffle := rapid.Permutation(indices(len(p))).Draw(t, "shuffle")
		bh, holm, bonferroni := BH(p), Holm(p), Bonferroni(p)
		for i := range p {
			const ulps = 1 + 1e-15
			if !(p[i] <= bh[i] && bh[i] <= holm[i]*ulps && holm[i] <= bonferroni[i] && bonferroni[i] <= 1) {
				t.Fatalf("p ≤ BH ≤ Holm ≤ Bonferroni ≤ 1 broken at %d: %v %v %v %v", i, p[i], bh[i], holm[i], bonferroni[i])
			}
			for j := range p {
				if p[i] <= p[j] && (bh[i] > bh[j] || holm[i] > holm[j]) {
					t.Fatalf("a smaller p got a larger adjusted value: %v %v", p[i], p[j])
				}
			}
		}
		moved := make([]float64, len(p))
		for to, from := range shuffle {
			moved[to] = p[from]
		}
		for to, v := range BH(moved) {
			if v != bh[shuffle[to]] {
				t.Fatalf("BH depends on the order of tests: %v and %v", v, bh[shuffle[to]])
			}
		}
	})
}

// indices returns 0 to n−1.
func indices(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return all
}
