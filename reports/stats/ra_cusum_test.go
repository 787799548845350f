package stats

import (
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

func TestRiskAdjustedCUSUMByHand(t *testing.T) {
	expected := []float64{.1, .05, .2, .1, .05, .3, .02, .1}
	failed := []bool{false, true, false, false, true, true, false, true}
	var cases []Case[int]
	for i, p := range expected {
		cases = append(cases, Case[int]{i + 1, failed[i], p})
	}
	const source = "[O] by hand, W = log 2 − log(1 + p) or −log(1 + p); weights as Steiner et al. 2000"
	c, err := RiskAdjustedCUSUM(cases, 2, 2)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"0", ".6443570164", ".4620354596", ".3667252798", "1.0110822962", "1.4418652123", "1.422062585", "2.0198995857"} {
		reproduce(t, []printed{{"X", c.Points[i].Value, want, source}})
	}
	if c.FirstSignal == nil || *c.FirstSignal != 8 || !c.Points[7].Out || c.Points[6].Out {
		t.Errorf("first signal %v, want case 8 (%s)", c.FirstSignal, source)
	}
	for i, want := range []string{"-.0953101798", ".6443570164", "-.1823215568", "-.0953101798", ".6443570164", ".4307829161", "-.0198026273", ".5978370008"} {
		w, sound := riskWeights(expected[i], 2)
		if !failed[i] {
			w = sound
		}
		reproduce(t, []printed{{fmt.Sprintf("W of case %d", i+1), w, want, source}})
	}
	again, err := RiskAdjustedCUSUM(append(cases, Case[int]{9, true, .05}), 2, 2)
	if err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{{"X after a signal", again.Points[8].Value, ".6443570164", "the sum goes on from 0"}})
}

func TestRiskAdjustedCUSUMRefuses(t *testing.T) {
	one := []Case[int]{{1, true, .1}}
	for _, tt := range []struct {
		name    string
		cases   []Case[int]
		odds, h float64
		want    error
	}{
		{"no cases", nil, 2, 4, ErrEmpty},
		{"odds of one", one, 1, 4, ErrBadInput},
		{"odds of nought", one, 0, 4, ErrBadInput},
		{"no decision limit", one, 2, 0, ErrBadInput},
		{"an impossible expectation", []Case[int]{{1, true, 1.1}}, 2, 4, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := RiskAdjustedCUSUM(tt.cases, tt.odds, tt.h); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestRiskAdjustedCUSUMLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var cases []Case[int]
		for i := range rapid.IntRange(1, 40).Draw(t, "n") {
			cases = append(cases, Case[int]{i, rapid.Bool().Draw(t, "failed"), rapid.Float64Range(0, 1).Draw(t, "expected")})
		}
		odds := rapid.SampledFrom([]float64{.5, 2, 3}).Draw(t, "odds")
		a, err := RiskAdjustedCUSUM(cases, odds, 1.5)
		if err != nil {
			t.Fatal(err)
		}
		b, err := RiskAdjustedCUSUM(rapid.Permutation(cases).Draw(t, "order"), odds, 1.5)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range a.Points {
			if p != b.Points[i] {
				t.Fatalf("the order of rows matters at %d", i)
			}
			if p.Value < 0 || p.Out != (p.Value >= 1.5) {
				t.Fatalf("point %+v: below 0, or a signal not at h", p)
			}
		}
	})
}
