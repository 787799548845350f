package stats

import (
	"math"
	"slices"
)

// minorantRound raises the masses by one pass of self-consistency and one
// iterative convex minorant step: a Newton step in the cumulative masses with
// the diagonal of the Hessian only, projected to non-decreasing ones by
// weighted isotonic regression, and halved until the likelihood rises. A
// round costs rows + intervals whatever the support, and ends slowly.
//
// Source: Wellner JA, Zhan Y (1997) J Am Stat Assoc 92:945–959, after
// Groeneboom P, Wellner JA (1992); halving after Jongbloed G (1998) J Comput
// Graph Stat 7:310–321.
func (m *massProblem) minorantRound() {
	m.selfConsistentPass()
	k := len(m.inner)
	if k == 1 {
		return
	}
	from := m.loglik(m.prob)

	// The last cumulative mass is 1; the others are free. Two runs meet at
	// every bound between innermost intervals, so no curvature is 0.
	curvature := make([]float64, k-1)
	for i, r := range m.runs {
		c := r.w / (m.prob[i] * m.prob[i])
		if r.first > 0 {
			curvature[r.first-1] += c
		}
		if int(r.last) < k-1 {
			curvature[r.last] += c
		}
	}
	cum, target := make([]float64, k), make([]float64, k-1)
	sum := 0.0
	for j, s := range m.mass {
		sum += s
		cum[j] = sum
		if j < k-1 {
			target[j] = sum + (m.grad[j]-m.grad[j+1])/curvature[j]
		}
	}
	to := append(isotonic(target, curvature), 1)
	for j, f := range to {
		to[j] = math.Min(1, math.Max(0, f))
	}

	const shortest = 1e-6
	before := slices.Clone(m.mass)
	for t := 1.0; t > shortest; t /= 2 {
		below := 0.0
		for j := range m.mass {
			f := (1-t)*cum[j] + t*to[j]
			m.mass[j] = math.Max(0, f-below)
			below = f
		}
		m.refresh()
		if m.loglik(m.prob) > from {
			return
		}
	}
	copy(m.mass, before)
	m.refresh()
}
