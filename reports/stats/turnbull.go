package stats

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// This file solves for the masses of a non-parametric life; npmle.go states
// the problem and reports the answer.

// endpoint is a bound of an observation. At the same distance an exact life
// opens before any interval closes, and (L, R] opens only after: kind is the
// order.
type endpoint struct {
	at   float64
	kind endpointKind
}

type endpointKind int8

const (
	opensAt    endpointKind = iota // [t of an exact life
	closes                         // R]
	opensAfter                     // (L
)

func compareEndpoints(a, b endpoint) int {
	if c := cmp.Compare(a.at, b.at); c != 0 {
		return c
	}
	return cmp.Compare(a.kind, b.kind)
}

// bounds is a set of distinct intervals with their endpoints ranked; row i
// runs from the left[i]th to the right[i]th.
type bounds struct {
	ends        []endpoint
	left, right []int32
}

func newBounds(x []Interval) *bounds {
	opening := func(v Interval) endpoint {
		if v.Lower == v.Upper {
			return endpoint{v.Lower, opensAt}
		}
		return endpoint{v.Lower, opensAfter}
	}
	b := &bounds{left: make([]int32, len(x)), right: make([]int32, len(x))}
	for _, v := range x {
		b.ends = append(b.ends, opening(v), endpoint{v.Upper, closes})
	}
	slices.SortFunc(b.ends, compareEndpoints)
	b.ends = slices.Compact(b.ends)
	rank := func(e endpoint) int32 {
		r, _ := slices.BinarySearchFunc(b.ends, e, compareEndpoints)
		return int32(r)
	}
	for i, v := range x {
		b.left[i], b.right[i] = rank(opening(v)), rank(endpoint{v.Upper, closes})
	}
	return b
}

// run says that a row of weight w (a count over the total) covers the
// innermost intervals first to last.
type run struct {
	first, last int32
	w           float64
}

// innermost is the interval between two neighbouring endpoints, by rank.
type innermost struct{ left, right int32 }

// massProblem is interval data seen from their innermost intervals: maximise
// Σ w_i log Σ over j in run i of s_j over s ≥ 0, Σ s = 1.
//
// Every row of the matrix A of runs is a stretch of ones, so A s is a
// difference of prefix sums and Aᵀv a sum of differences: a pass costs
// rows + intervals.
type massProblem struct {
	inner []innermost
	runs  []run

	// The state of the solver: masses, probabilities of the rows, reduced
	// gradient, and scratch for all three.
	mass, prob, grad []float64
	prefix           []float64
	trial            []float64

	support []int32   // the innermost intervals in play, in order
	rank    []int32   // rank[j] of them lie before innermost interval j
	cells   []float64 // row weights by first and last supported interval, then the Hessian
	qp      pivoter

	// newtonLimit is the largest support that Newton steps are taken on while
	// minorant rounds may still do.
	newtonLimit int
}

// load takes the rows of b with a count above 0 as the problem to solve.
func (m *massProblem) load(b *bounds, count []int) {
	total := 0
	present := make([]bool, len(b.ends))
	for i, c := range count {
		if c > 0 {
			total += c
			present[b.left[i]], present[b.right[i]] = true, true
		}
	}
	// A left end directly followed by a right end bounds an innermost
	// interval; before[r] of them open below rank r. As their right end
	// follows at once, before[r] of them also close at or below a right end r.
	m.inner = m.inner[:0]
	before := make([]int32, len(b.ends))
	opened := int32(-1)
	for r, e := range b.ends {
		before[r] = int32(len(m.inner))
		if !present[r] {
			continue
		}
		if e.kind != closes {
			opened = int32(r)
			continue
		}
		if opened >= 0 {
			m.inner = append(m.inner, innermost{opened, int32(r)})
			before[r]++
			opened = -1
		}
	}
	m.runs = m.runs[:0]
	for i, c := range count {
		if c > 0 {
			m.runs = append(m.runs, run{before[b.left[i]], before[b.right[i]] - 1, float64(c) / float64(total)})
		}
	}
	m.newtonLimit = newtonLimit
	k := len(m.inner)
	m.mass = resized(m.mass, k)
	m.grad = resized(m.grad, k)
	m.prob = resized(m.prob, len(m.runs))
	m.trial = resized(m.trial, len(m.runs))
	m.rank = resized(m.rank, k+1)
}

func resized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	s = s[:n]
	clear(s)
	return s
}

const (
	// certifiedGap is the largest reduced gradient above 1, and the largest
	// shortfall from 1 on the support, at which masses count as the maximum.
	certifiedGap = 1e-9
	// openingPasses of self-consistency bring the masses near enough for
	// Newton steps to be taken whole.
	openingPasses = 20
	// newtonLimit is a support on which a Newton step, which costs its cube,
	// takes some hundredths of a second. Intervals leave dozens of supported
	// intervals; only distinct exact lives leave more.
	newtonLimit = 400
	// patientRounds bounds the minorant rounds; nearly all data need under
	// 100, a few end so slowly that Newton steps are the cheaper end.
	patientRounds = 1000
	// mostSteps bounds all steps, far above the 5 to 20 Newton steps that data
	// take.
	mostSteps = patientRounds + 500
	// ridge keeps the Hessian of alike neighbours invertible. It is centred
	// on the present masses, so it slows a step and moves no solution.
	ridge = 1e-10
	// sufficientRise is the part of the rise foretold by the gradient that a
	// step must bring (Armijo).
	sufficientRise = 1.0 / 3
	// roundingOfLogLik is the relative error of a log-likelihood near the
	// maximum; a step that loses no more is no step down.
	roundingOfLogLik = 1e-14
)

// start sets masses that give every row a probability above 0: the maximum
// itself where all rows are exact or sound so far, stabbing masses otherwise.
func (m *massProblem) start() {
	if !m.productLimit() {
		m.stab()
	}
}

// productLimit sets the masses of the Kaplan–Meier curve and returns true, if
// every row covers one innermost interval or all from some one onwards.
func (m *massProblem) productLimit() bool {
	last := int32(len(m.inner)) - 1
	clear(m.grad)
	died, leftAt := m.mass, m.grad
	clear(died)
	for _, r := range m.runs {
		switch {
		case r.first == r.last:
			died[r.first] += r.w
		case r.last == last:
			leftAt[r.first] += r.w
		default:
			return false
		}
	}
	atRisk, surv := 1.0, 1.0
	for j := range died {
		atRisk -= leftAt[j]
		d := died[j]
		// The last interval takes all: rounding leaves atRisk a hair off.
		share := 1.0
		if int32(j) < last {
			share = d / atRisk
		}
		m.mass[j] = surv * share
		surv *= 1 - share
		atRisk -= d
	}
	return true
}

// stab sets the masses to equal parts on the fewest innermost intervals that
// touch every row.
func (m *massProblem) stab() {
	latestFirst := resized(m.rank, len(m.inner)+1)
	for i := range latestFirst {
		latestFirst[i] = -1
	}
	for _, r := range m.runs {
		latestFirst[r.last] = max(latestFirst[r.last], r.first)
	}
	clear(m.mass)
	stabbed, n := int32(-1), 0
	for j := range m.mass {
		// A row that ends here and starts after the last stab needs one now.
		if latestFirst[j] > stabbed {
			m.mass[j] = 1
			stabbed = int32(j)
			n++
		}
	}
	floats.Scale(1/float64(n), m.mass)
}

// maximise raises the masses, which must give every row a probability above
// 0, to the maximum by the dimension-reduced constrained Newton method: the
// support is widened by the steepest innermost interval between each two of
// its members, the quadratic expansion of
//
//	φ(s) = Σ w_i log (A s)_i − Σ s_j
//
// is maximised over s ≥ 0 on that support (its maximum sums to 1 by itself),
// and a line search makes sure that φ rises. While the support is larger than
// newtonLimit, cheaper minorant rounds stand in for the steps.
//
// It returns the largest reduced gradient minus 1 and Σ w_i log p_i; ok is
// false where neither fell below certifiedGap within mostSteps.
//
// Source: Wang Y (2008) "Dimension-reduced nonparametric maximum likelihood
// computation for interval-censored data", Comput Stat Data Anal
// 52:2388–2402; Wang Y (2007) J R Stat Soc B 69:185–198.
func (m *massProblem) maximise() (gap, loglik float64, ok bool) {
	m.refresh()
	m.gradient()
	for range openingPasses {
		m.selfConsistentPass()
	}
	for step := range mostSteps {
		var short float64
		gap, short = 0, 0
		for j, d := range m.grad {
			gap = math.Max(gap, d-1)
			if m.mass[j] > 0 {
				short = math.Max(short, 1-d)
			}
		}
		loglik = m.loglik(m.prob)
		if gap < certifiedGap && short < certifiedGap {
			return gap, loglik, true
		}
		m.indexSupport(true)
		if len(m.support) <= m.newtonLimit || step >= patientRounds {
			m.step(loglik)
		} else {
			m.minorantRound()
		}
		m.gradient()
	}
	return gap, loglik, false
}

// selfConsistentPass multiplies each mass by its gradient (Turnbull's EM).
func (m *massProblem) selfConsistentPass() {
	for j, d := range m.grad {
		m.mass[j] *= d
	}
	m.refresh()
	m.gradient()
}

// refresh brings the support and the probabilities up to date with the
// masses.
func (m *massProblem) refresh() {
	m.indexSupport(false)
	m.probabilities(m.prob)
}

// indexSupport lists the innermost intervals that hold mass and, if widen is
// set, the steepest one with a gradient above 1 in each gap between them.
func (m *massProblem) indexSupport(widen bool) {
	m.support = m.support[:0]
	steepest := int32(-1)
	closeGap := func() {
		if widen && steepest >= 0 && m.grad[steepest] > 1 {
			m.support = append(m.support, steepest)
		}
		steepest = -1
	}
	for j, s := range m.mass {
		switch {
		case s > 0:
			closeGap()
			m.support = append(m.support, int32(j))
		case steepest < 0 || m.grad[j] > m.grad[steepest]:
			steepest = int32(j)
		}
	}
	closeGap()
	before := int32(0)
	for j := range m.rank {
		m.rank[j] = before
		if int(before) < len(m.support) && m.support[before] == int32(j) {
			before++
		}
	}
}

// probabilities sets p to A s. Short runs are added up one by one: the
// difference of two prefix sums would cost a rare row its digits.
func (m *massProblem) probabilities(p []float64) {
	const short = 8
	m.prefix = append(m.prefix[:0], 0)
	sum := 0.0
	for _, j := range m.support {
		sum += m.mass[j]
		m.prefix = append(m.prefix, sum)
	}
	for i, r := range m.runs {
		a, b := m.rank[r.first], m.rank[r.last+1]
		if b-a > short {
			p[i] = m.prefix[b] - m.prefix[a]
			continue
		}
		p[i] = 0
		for _, j := range m.support[a:b] {
			p[i] += m.mass[j]
		}
	}
}

// gradient sets the reduced gradient D_j = Σ over rows on j of w_i/p_i.
func (m *massProblem) gradient() {
	clear(m.grad)
	for i, r := range m.runs {
		v := r.w / m.prob[i]
		m.grad[r.first] += v
		if int(r.last)+1 < len(m.grad) {
			m.grad[r.last+1] -= v
		}
	}
	sum := 0.0
	for j, v := range m.grad {
		sum += v
		m.grad[j] = sum
	}
}

func (m *massProblem) loglik(p []float64) float64 {
	sum := 0.0
	for i, r := range m.runs {
		sum += r.w * math.Log(p[i])
	}
	return sum
}

// step moves the masses on the support to the maximum of the quadratic
// expansion, or part of the way there, and scales them to 1.
func (m *massProblem) step(loglik float64) {
	k := len(m.support)
	h := m.hessian()
	from := make([]float64, k)
	b := make([]float64, k)
	for i, j := range m.support {
		// The expansion at s is gᵀ(x − s) − ½ (x − s)ᵀH(x − s), g = D − 1, and
		// H s = D.
		from[i] = m.mass[j]
		b[i] = 2*m.grad[j] - 1
		r := ridge * h[i*k+i]
		h[i*k+i] += r
		b[i] += r * from[i]
	}
	to := m.qp.minimise(h, b, from)

	foretold := 0.0
	for i, j := range m.support {
		foretold += (m.grad[j] - 1) * (to[i] - from[i])
	}
	start := loglik - floats.Sum(from)
	total := 0.0
	for t := 1.0; ; t /= 2 {
		total = 0
		for i, j := range m.support {
			m.mass[j] = (1-t)*from[i] + t*to[i]
			total += m.mass[j]
		}
		m.probabilities(m.trial)
		rise := m.loglik(m.trial) - total - start
		if rise >= sufficientRise*t*foretold-roundingOfLogLik*math.Abs(start) || t < ridge {
			break
		}
	}
	for _, j := range m.support {
		m.mass[j] /= total
	}
	for i, p := range m.trial {
		m.prob[i] = p / total
	}
}

// hessian returns H = Aᵀ diag(w/p²) A on the support: H_jk adds up the rows
// that start at or before the lower of j, k and end at or after the higher, a
// two-dimensional prefix sum.
func (m *massProblem) hessian() []float64 {
	k := len(m.support)
	m.cells = resized(m.cells, k*k)
	h := m.cells
	for i, r := range m.runs {
		a, b := int(m.rank[r.first]), int(m.rank[r.last+1])-1
		h[a*k+b] += r.w / (m.prob[i] * m.prob[i])
	}
	for a := range k {
		row := h[a*k : (a+1)*k]
		for b := k - 2; b >= a; b-- {
			row[b] += row[b+1]
		}
		if a > 0 {
			floats.Add(row[a:], h[(a-1)*k+a:a*k])
		}
	}
	for a := range k {
		for b := range a {
			h[a*k+b] = h[b*k+a]
		}
	}
	return h
}
