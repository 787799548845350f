package stats

import (
	"fmt"
	"math"
	"slices"
)

// Bonferroni returns the p-values adjusted for the number of tests made,
// in the order of p:
//
//	adj_i = min(1, m p_i)
//
// Rejecting where adj ≤ α keeps the chance of any false rejection at α or
// below, whatever the dependence. Values lie in 0–1 (it panics otherwise:
// p-values of this package always do; data from outside go through Adjust).
func Bonferroni(p []float64) []float64 {
	mustBeProbabilities("Bonferroni", p)
	m := float64(len(p))
	adj := make([]float64, len(p))
	for i, v := range p {
		adj[i] = math.Min(1, m*v)
	}
	return adj
}

// Holm returns the step-down adjusted p-values in the order of p. With the
// values sorted upwards and counted from 1,
//
//	adj_(i) = max over j ≤ i of min(1, (m − j + 1) p_(j))
//
// It keeps the same promise as Bonferroni and never rejects less. Ties get
// equal values. It panics on a value outside 0–1.
//
// Source: Holm S (1979) "A simple sequentially rejective multiple test
// procedure", Scandinavian Journal of Statistics 6:65–70.
func Holm(p []float64) []float64 {
	mustBeProbabilities("Holm", p)
	order := ascending(p)
	m := len(p)
	adj := make([]float64, m)
	highest := 0.0
	for j, i := range order {
		highest = math.Max(highest, math.Min(1, float64(m-j)*p[i]))
		adj[i] = highest
	}
	return adj
}

// BH returns the false discovery rate (q) at which each test would just be
// rejected, in the order of p. With the values sorted upwards and counted
// from 1,
//
//	adj_(m) = p_(m),  adj_(i) = min(adj_(i+1), m p_(i) / i)
//
// Rejecting where adj ≤ q keeps the expected share of false rejections at q
// for independent or positively dependent tests. Ties get equal values and a
// p of 0 stays 0. It panics on a value outside 0–1.
//
// Source: Benjamini Y, Hochberg Y (1995) "Controlling the false discovery
// rate", Journal of the Royal Statistical Society B 57:289–300.
func BH(p []float64) []float64 {
	mustBeProbabilities("BH", p)
	order := ascending(p)
	m := len(p)
	adj := make([]float64, m)
	lowest := 1.0
	for j := m - 1; j >= 0; j-- {
		i := order[j]
		lowest = math.Min(lowest, float64(m)/float64(j+1)*p[i])
		adj[i] = lowest
	}
	return adj
}

// Adjusted holds one family of tests, each array in the order of the input.
type Adjusted struct {
	BH         []Float `json:"bh"`
	Holm       []Float `json:"holm"`
	Bonferroni []Float `json:"bonferroni"`
	// RejectedBH says which tests BH rejects at a false discovery rate of
	// 1 − conf.
	RejectedBH []bool `json:"rejected_bh"`
}

// Adjust adjusts a family of p-values in the three ways of this file. An
// undefined value is not a test made: it is left out of the count m, stays
// undefined and is never rejected.
//
// Errors: ErrBadInput for a value outside 0–1 or conf outside (0, 1),
// ErrEmpty where nothing is defined.
func Adjust(p []Float, conf float64) (*Adjusted, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	var made []float64
	for i, v := range p {
		if !v.OK {
			continue
		}
		if !(v.V >= 0 && v.V <= 1) {
			return nil, badInput("p-value %d is %v, must lie in 0–1", i+1, v.V)
		}
		made = append(made, v.V)
	}
	if len(made) == 0 {
		return nil, ErrEmpty
	}
	spread := func(adj []float64) []Float {
		all := make([]Float, len(p))
		next := 0
		for i, v := range p {
			if v.OK {
				all[i] = Some(adj[next])
				next++
			}
		}
		return all
	}
	r := &Adjusted{
		BH:         spread(BH(made)),
		Holm:       spread(Holm(made)),
		Bonferroni: spread(Bonferroni(made)),
		RejectedBH: make([]bool, len(p)),
	}
	for i, q := range r.BH {
		r.RejectedBH[i] = q.OK && q.V <= 1-conf
	}
	return r, nil
}

// ascending returns the indices of p from its smallest value to its largest.
func ascending(p []float64) []int {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case p[a] < p[b]:
			return -1
		case p[a] > p[b]:
			return 1
		}
		return 0
	})
	return order
}

func mustBeProbabilities(caller string, p []float64) {
	for i, v := range p {
		if !(v >= 0 && v <= 1) {
			panic(fmt.Sprintf("stats: %s: p[%d] is %v, not a probability", caller, i, v))
		}
	}
}
