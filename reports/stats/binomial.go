package stats

import "math"

// binomialPMF returns P(X = k) for X ~ Bin(n, p), to about 1e-15 of itself
// however small it is.
//
// Source: Loader C (2000) "Fast and accurate computation of binomial
// probabilities": a saddle-point expansion, so that no two large logarithms
// cancel.
func binomialPMF(k, n int, p float64) float64 {
	switch {
	case k < 0 || k > n:
		return 0
	case p == 0 || p == 1:
		if (p == 0) == (k == 0) && (p == 1) == (k == n) {
			return 1
		}
		return 0
	case k == 0:
		return math.Exp(float64(n) * math.Log1p(-p))
	case k == n:
		return math.Exp(float64(n) * math.Log(p))
	}
	x, y, m := float64(k), float64(n-k), float64(n)
	exponent := stirlingError(m) - stirlingError(x) - stirlingError(y) - deviance(x, m*p) - deviance(y, m*(1-p))
	return math.Exp(exponent) * math.Sqrt(m/(2*math.Pi*x*y))
}

// binomialAtLeast returns P(X ≥ k) for X ~ Bin(n, p). On the far side of the
// mean the terms are summed as they are, so small tails keep full relative
// accuracy.
func binomialAtLeast(k, n int, p float64) float64 {
	switch {
	case k <= 0:
		return 1
	case k > n || p == 0:
		return 0
	case p == 1:
		return 1
	case float64(k) <= float64(n)*p:
		return 1 - binomialAtMost(k-1, n, p)
	}
	term := 1.0
	sum := term
	odds := p / (1 - p)
	for i := k; i < n && term > sum*1e-17; i++ {
		term *= odds * float64(n-i) / float64(i+1)
		sum += term
	}
	return binomialPMF(k, n, p) * sum
}

// binomialAtMost returns P(X ≤ k) for X ~ Bin(n, p), with the care of
// binomialAtLeast.
func binomialAtMost(k, n int, p float64) float64 {
	switch {
	case k < 0:
		return 0
	case k >= n || p == 0:
		return 1
	case p == 1:
		return 0
	case float64(k) >= float64(n)*p:
		return 1 - binomialAtLeast(k+1, n, p)
	}
	term := 1.0
	sum := term
	odds := (1 - p) / p
	for i := k; i > 0 && term > sum*1e-17; i-- {
		term *= odds * float64(i) / float64(n-i+1)
		sum += term
	}
	return binomialPMF(k, n, p) * sum
}

// stirlingError returns log n! − log(√(2πn) (n/e)^n).
func stirlingError(n float64) float64 {
	if n < 16 {
		lg, _ := math.Lgamma(n + 1)
		return lg - (n+0.5)*math.Log(n) + n - 0.5*math.Log(2*math.Pi)
	}
	nn := n * n
	return (1.0/12 - (1.0/360-(1.0/1260-(1.0/1680-1.0/1188/nn)/nn)/nn)/nn) / n
}

// deviance returns x log(x/m) + m − x, without cancellation near x = m.
func deviance(x, m float64) float64 {
	if math.Abs(x-m) >= 0.1*(x+m) {
		return x*math.Log(x/m) + m - x
	}
	v := (x - m) / (x + m)
	s := (x - m) * v
	term := 2 * x * v
	for j := 3.0; ; j += 2 {
		term *= v * v
		next := s + term/j
		if next == s {
			return s
		}
		s = next
	}
}
