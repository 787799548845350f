package stats

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
)

// NormalRunLength returns the run length of the CUSUM of standardised normal
// values with allowance k and decision limit h, where the mean has shifted by
// shift standard deviations. Both sums start at headStart (0, or h/2 for a
// fast first response). The one-sided length solves
//
//	L(u) = 1 + L(0) Φ(k − u − shift) + ∫₀ʰ L(x) φ(x + k − u − shift) dx
//
// by Gauss–Legendre quadrature (Nyström), exact to about ten digits. The two
// sides combine as
//
//	[L⁺(s) L⁻(0) + L⁻(s) L⁺(0) − L⁺(0) L⁻(0)] / [L⁺(0) + L⁻(0)]
//
// which for s = 0 is 1/ARL = 1/ARL⁺ + 1/ARL⁻.
//
// Errors: ErrBadInput for k below 0, h not above 0 or above 100, a head start
// outside 0–h; ErrNotReached where the length is beyond float64 (upper side).
//
// Source: Lucas JM, Crosier RB (1982) Technometrics 24:199–205; integral
// equation of Page 1954.
func NormalRunLength(k, h, shift, headStart float64) (*RunLength, error) {
	if !(k >= 0) || !(h > 0 && h <= 100) || !(headStart >= 0 && headStart < h) || math.IsNaN(shift) || math.IsInf(shift, 0) {
		return nil, badInput("k %v, h %v, shift %v, head start %v: k must be 0 or more, h above 0 to 100, the head start within 0–h", k, h, shift, headStart)
	}
	fromZero, fromHead, err := cusumLength(k, h, shift, headStart)
	if err != nil {
		return nil, err
	}
	r := &RunLength{ARLOne: fromHead}
	otherZero, otherHead, err := cusumLength(k, h, -shift, headStart)
	if err != nil { // the other side never signals: it adds nothing
		r.ARLTwo = Some(fromHead)
		return r, nil
	}
	// Divided through by the product, so that long lengths do not overflow.
	r.ARLTwo = Some((fromHead/fromZero + otherHead/otherZero - 1) / (1/fromZero + 1/otherZero))
	return r, nil
}

// cusumLength returns the one-sided run length from 0 and from the head start.
func cusumLength(k, h, shift, headStart float64) (fromZero, fromHead float64, err error) {
	drift := k - shift
	x, w := gaussLegendre(0, h, nodesFor(h))
	kernel := func(u float64) []float64 {
		row := make([]float64, len(x)+1)
		row[0] = normalCDF(drift - u)
		for j := range x {
			row[j+1] = w[j] * normalDensity(x[j]+drift-u)
		}
		return row
	}
	nodes := append([]float64{0}, x...)
	length, err := nystrom(nodes, kernel)
	if err != nil {
		return 0, 0, err
	}
	fromHead = 1.0
	for j, v := range kernel(headStart) {
		fromHead += v * length[j]
	}
	return length[0], fromHead, nil
}

// EWMARunLength returns the run length of the two-sided EWMA chart of
// standardised normal values with weight lambda and asymptotic limits of
// width standard errors, where the mean has shifted by shift standard
// deviations. With c = width √(λ/(2 − λ)) it solves
//
//	L(u) = 1 + (1/λ) ∫₋c^c L(x) φ((x − (1 − λ)u)/λ − shift) dx
//
// Errors: ErrBadInput for lambda outside (0.001, 1] or a width outside (0, 10];
// ErrNotReached where the length is beyond float64.
//
// Source: Crowder SV (1987) Technometrics 29:401–407.
func EWMARunLength(lambda, width, shift float64) (float64, error) {
	if !(lambda > 0.001 && lambda <= 1) || !(width > 0 && width <= 10) || math.IsNaN(shift) || math.IsInf(shift, 0) {
		return 0, badInput("lambda %v, width %v, shift %v: lambda must lie in (0.001, 1], width in (0, 10]", lambda, width, shift)
	}
	c := width * math.Sqrt(lambda/(2-lambda))
	x, w := gaussLegendre(-c, c, nodesFor(2*c/lambda))
	kernel := func(u float64) []float64 {
		row := make([]float64, len(x))
		for j := range x {
			row[j] = w[j] / lambda * normalDensity((x[j]-(1-lambda)*u)/lambda-shift)
		}
		return row
	}
	length, err := nystrom(x, kernel)
	if err != nil {
		return 0, err
	}
	fromTarget := 1.0
	for j, v := range kernel(0) {
		fromTarget += v * length[j]
	}
	return fromTarget, nil
}

// nodesFor returns how many nodes resolve a kernel of unit width over a span:
// ten a unit, at least 60.
func nodesFor(span float64) int {
	return max(60, int(math.Ceil(10*span)))
}

func gaussLegendre(from, to float64, n int) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, from, to)
	return x, w
}

// nystrom solves L = 1 + K L at the nodes.
func nystrom(nodes []float64, kernel func(u float64) []float64) ([]float64, error) {
	n := len(nodes)
	a := mat.NewDense(n, n, nil)
	one := mat.NewVecDense(n, nil)
	for i, u := range nodes {
		for j, v := range kernel(u) {
			a.Set(i, j, -v)
		}
		a.Set(i, i, a.At(i, i)+1)
		one.SetVec(i, 1)
	}
	var length mat.VecDense
	err := length.SolveVec(a, one)
	out := make([]float64, n)
	for i := range out {
		out[i] = length.AtVec(i)
		if !(out[i] >= 1) || out[i] > longestRun {
			err = ErrNotReached
		}
	}
	if err != nil {
		return nil, ErrNotReached.because("the run length is beyond what can be computed")
	}
	return out, nil
}

// longestRun bounds a run length that the linear system still resolves.
const longestRun = 1e12

func normalCDF(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

func normalDensity(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }
