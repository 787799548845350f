package stats

import (
	"math"
)

// BernoulliReference returns the reference value k of a Bernoulli CUSUM that
// tells p1 from p0:
//
//	r₁ = −log((1 − p1)/(1 − p0)),  r₂ = log(p1 (1 − p0)/(p0 (1 − p1))),  k = r₁/r₂
//
// Round 1/k to a whole m for a chart on the lattice 1/m (BernoulliRunLength);
// the rounding changes the run length by several percent, so state it for m.
//
// Errors: ErrBadInput unless 0 < p0 < p1 < 1.
//
// Source: Reynolds MR, Stoumbos ZG (1999) Journal of Quality Technology
// 31:87–108.
func BernoulliReference(p0, p1 float64) (float64, error) {
	if !(0 < p0 && p0 < p1 && p1 < 1) {
		return 0, badInput("p0 %v and p1 %v, must be 0 < p0 < p1 < 1", p0, p1)
	}
	return -math.Log((1-p1)/(1-p0)) / math.Log(p1*(1-p0)/(p0*(1-p1))), nil
}

// BernoulliRunLength returns the run length of the chart
//
//	S_t = max(0, S_{t−1} + X_t − 1/m), signal at S_t ≥ h
//
// where each pair fails (X = 1) with probability p. The sum lives on the
// lattice 1/m, so the length is exact. (A signal only beyond h, not at it,
// would differ on the lattice.)
//
// Errors: ErrBadInput for p outside 0–1, m below 1 or h outside 0–m⁻¹·100,000;
// ErrNotReached for p = 0.
//
// Source: Reynolds & Stoumbos 1999.
func BernoulliRunLength(p float64, m int, h float64) (*RunLength, error) {
	if !(p >= 0 && p <= 1) || m < 1 || !(h > 0) || h*float64(m) > longestLattice {
		return nil, badInput("p %v, m %d, h %v: p must lie in 0–1, m and h above 0, h·m up to %d", p, m, h, longestLattice)
	}
	return oneSided(latticeRunLength([]latticeStep{{-1, 1 - p}, {m - 1, p}}, latticeTop(h*float64(m))))
}

// BinomialRunLength returns the run length in batches of the chart
//
//	S_t = max(0, S_{t−1} + X_t − k), signal at S_t ≥ h
//
// where each batch of n pairs has X ~ Bin(n, p) failures and k = num/den.
//
// Errors: ErrBadInput for p outside 0–1, or n, num, den or h not above 0;
// ErrNotReached where the sum never rises.
//
// Source: Reynolds & Stoumbos 1999.
func BinomialRunLength(n int, p float64, num, den int, h float64) (*RunLength, error) {
	if !(p >= 0 && p <= 1) || min(n, num, den) < 1 || !(h > 0) || h*float64(den) > longestLattice {
		return nil, badInput("n %d, p %v, k %d/%d, h %v: p must lie in 0–1, the others above 0, h·den up to %d", n, p, num, den, h, longestLattice)
	}
	steps := make([]latticeStep, 0, n+1)
	for x := range n + 1 {
		steps = append(steps, latticeStep{x*den - num, binomialPMF(x, n, p)})
	}
	return oneSided(latticeRunLength(steps, latticeTop(h*float64(den))))
}

// longestLattice bounds the number of states.
const longestLattice = 100_000

// latticeTop returns the first lattice point at or beyond h, forgiving the
// rounding of h·m.
func latticeTop(h float64) int {
	return max(1, int(math.Ceil(h-1e-9)))
}
