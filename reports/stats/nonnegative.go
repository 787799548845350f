package stats

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// pivoter minimises quadratic functions over non-negative vectors; it keeps
// its scratch between calls.
type pivoter struct {
	free   []int
	isFree []bool
	x, y   []float64
	chol   []float64
	z      []float64
}

// minimise returns the x ≥ 0 that minimises ½ xᵀHx − bᵀx for a symmetric
// positive definite H (row by row, len(b) squared entries). It starts from
// guess's positive entries as the free ones and solves for those alone; free
// entries that turn negative are then held at 0, held ones with a negative
// slope freed, all at once while that lowers their number, the last one only
// where it does not, which ends surely.
//
// The result is valid until the next call.
//
// Source: Júdice JJ, Pires FM (1994) "A block principal pivoting algorithm for
// large-scale strictly monotone linear complementarity problems", Computers &
// Operations Research 21:587–596; Murty KG (1974) for the last-index rule.
func (q *pivoter) minimise(h, b, guess []float64) []float64 {
	const patience = 3
	k := len(b)
	q.isFree = resized(q.isFree, k)
	q.x = resized(q.x, k)
	q.y = resized(q.y, k)
	for i, v := range guess {
		q.isFree[i] = v > 0
	}
	fewest, left := k+1, patience
	// Exact arithmetic ends before the bound; with rounding the caller's line
	// search judges whatever stands then.
	for range 10 * (k + 10) {
		q.solveFree(h, b)
		wrong, last := 0, -1
		for i := range k {
			if q.isWrong(i) {
				wrong++
				last = i
			}
		}
		if wrong == 0 {
			break
		}
		all := true
		switch {
		case wrong < fewest:
			fewest, left = wrong, patience
		case left > 0:
			left--
		default:
			all = false
		}
		for i := range k {
			if q.isWrong(i) && (all || i == last) {
				// Flipping changes what isWrong says of i, not of the others.
				q.isFree[i] = !q.isFree[i]
			}
		}
	}
	for i, v := range q.x {
		q.x[i] = math.Max(0, v)
	}
	return q.x
}

// isWrong says whether a free entry is negative or a held one would gain by
// being freed. The slope of a held entry is of order 1 in this package's
// problems; smaller ones than this are rounding.
func (q *pivoter) isWrong(i int) bool {
	const rounding = 1e-13
	if q.isFree[i] {
		return q.x[i] < 0
	}
	return q.y[i] < -rounding
}

// solveFree solves for the free entries with the others at 0, and sets the
// slopes y of the others.
func (q *pivoter) solveFree(h, b []float64) {
	k := len(b)
	q.free = q.free[:0]
	for i, f := range q.isFree {
		q.x[i], q.y[i] = 0, 0
		if f {
			q.free = append(q.free, i)
		}
	}
	n := len(q.free)
	q.chol = resized(q.chol, n*n)
	q.z = resized(q.z, n)
	for i, r := range q.free {
		row := q.chol[i*n : i*n+i+1]
		for j, c := range q.free[:i] {
			other := q.chol[j*n : j*n+j+1]
			row[j] = (h[r*k+c] - floats.Dot(row[:j], other[:j])) / other[j]
		}
		// A pivot lost to rounding keeps a trace of its row.
		const trace = 1e-15
		d := h[r*k+r]
		row[i] = math.Sqrt(math.Max(d-floats.Dot(row[:i], row[:i]), trace*d))
		q.z[i] = (b[r] - floats.Dot(row[:i], q.z[:i])) / row[i]
	}
	for i := n - 1; i >= 0; i-- {
		q.z[i] /= q.chol[i*n+i]
		floats.AddScaled(q.z[:i], -q.z[i], q.chol[i*n:i*n+i])
	}
	for i, r := range q.free {
		q.x[r] = q.z[i]
	}
	for i, f := range q.isFree {
		if f {
			continue
		}
		y := -b[i]
		for j, c := range q.free {
			y += h[i*k+c] * q.z[j]
		}
		q.y[i] = y
	}
}
