package stats

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
)

// FreemanHalton is the exact test of an r×c table.
type FreemanHalton struct {
	P float64 `json:"p_exact"`
	// SE is the Monte Carlo standard error of P, undefined where P is exact.
	SE Float `json:"p_exact_se"`
	// Method is "exact" or "monte-carlo".
	Method string `json:"method"`
}

// reachableTables bounds the exact test: it is made wherever the margins allow
// no more tables than this.
const reachableTables = 10_000_000

// mergedTables lets it run beyond: margins that allow more tables are still
// done exactly while no stage of the network takes more steps than this (a
// second or less), equal partial tables being one.
const mergedTables = 1_000_000

// monteCarloTables is the number of tables drawn in the fallback: the standard
// error is then √(p(1 − p)/100000), at most 0.0016.
const monteCarloTables = 100_000

// FreemanHaltonTest returns the total probability, given all margins, of the
// tables no likelier than the one observed:
//
//	P(table) = Π R_i! Π C_j! / (N! Π x_ij!)
//
// It walks the columns as a network: partial tables with the same remaining
// row totals and the same probability so far are one, and a node whose
// completions all count, or none, is closed at once (Mehta CR, Patel NR 1983
// JASA 78:427–434). That is done wherever the margins allow up to 10 million
// tables, and beyond while the merged network stays small; else it draws
// 100,000 tables with the given margins from the seed and returns
// (1 + count)/(draws + 1). A table with fewer than two rows or columns in use
// has p = 1.
//
// Errors: ErrEmpty for no pairs, ErrBadInput for a ragged table or a negative
// count.
//
// Source: Freeman GH, Halton JH (1951) Biometrika 38:141–149.
func FreemanHaltonTest(counts [][]int, seed uint64) (FreemanHalton, error) {
	if len(counts) == 0 {
		return FreemanHalton{}, ErrEmpty
	}
	if err := checkTable(counts, len(counts[0])); err != nil {
		return FreemanHalton{}, err
	}
	rows, cols, n := margins(counts)
	if n == 0 {
		return FreemanHalton{}, ErrEmpty
	}
	positive := func(totals []int) []int {
		kept := slices.DeleteFunc(totals, func(v int) bool { return v == 0 })
		// Sorted margins make the answer independent of the order of levels.
		slices.Sort(kept)
		return kept
	}
	rows, cols = positive(rows), positive(cols)
	if len(rows) > len(cols) {
		rows, cols = cols, rows
	}
	if len(rows) < 2 {
		return FreemanHalton{P: 1, Method: "exact"}, nil
	}
	slices.Reverse(cols) // wide stages first, while few partial tables exist
	net := newNetwork(cols, counts, n)
	net.limit = mergedTables
	if !net.moreTablesThan(reachableTables, rows) {
		net.limit = math.MaxInt
	}
	if p, ok := net.exact(rows); ok {
		return FreemanHalton{P: math.Min(1, p), Method: "exact"}, nil
	}
	return net.monteCarlo(rows, seed), nil
}

// logFactorials returns log k! for k = 0 … n.
func logFactorials(n int) []float64 {
	table := make([]float64, n+1)
	for k := range table {
		table[k], _ = math.Lgamma(float64(k) + 1)
	}
	return table
}

// network walks tables column by column. A node is a stage and the row totals
// still to be filled, sorted; the log probability of a table, up to a
// constant, is −Σ log x_ij!.
type network struct {
	cols       []int
	factorials []float64
	observed   float64 // log probability of the table seen, and exactTie more
	limit      int     // steps allowed in each stage
	bounds     []map[string]bound
	boundSteps []int // by stage
}

func newNetwork(cols []int, counts [][]int, n int) *network {
	w := &network{
		cols: cols, factorials: logFactorials(n), observed: exactTie,
		bounds: make([]map[string]bound, len(cols)), boundSteps: make([]int, len(cols)),
	}
	for k := range w.bounds {
		w.bounds[k] = map[string]bound{}
	}
	for _, row := range counts {
		for _, x := range row {
			w.observed -= w.factorials[x]
		}
	}
	return w
}

// bound holds the largest and the smallest log probability with which a node
// can be completed.
type bound struct{ most, least float64 }

// past is a partial table: its log probability so far and how many share it.
type past struct{ logp, ways float64 }

type node struct {
	left  []int
	pasts []past
}

// moreTablesThan says whether the margins allow more tables than most. Every
// partial table can be completed, so it stops at the first stage with more
// partial tables, before it lists them.
func (w *network) moreTablesThan(most float64, rows []int) bool {
	type partial struct {
		left []int
		ways float64
	}
	stage := map[string]*partial{string(nodeKey(nil, rows)): {rows, 1}}
	var key []byte
	for _, total := range w.cols[:len(w.cols)-1] {
		all := 0.0
		for _, from := range stage {
			all += from.ways * placements(from.left, total)
		}
		if all > most {
			return true
		}
		next := map[string]*partial{}
		for _, from := range stage {
			w.each(from.left, total, func(rest []int, _ float64) bool {
				key = nodeKey(key[:0], rest)
				to := next[string(key)]
				if to == nil {
					to = &partial{left: slices.Clone(rest)}
					next[string(key)] = to
				}
				to.ways += from.ways
				return true
			})
		}
		stage = next
	}
	return false
}

// placements counts the ways to put a column of the given total into rows
// that can hold left.
func placements(left []int, total int) float64 {
	ways := make([]float64, total+1)
	ways[0] = 1
	for _, room := range left {
		// A running sum over the last room + 1 entries, from the top down.
		for t := 1; t <= total; t++ {
			ways[t] += ways[t-1]
		}
		for t := total; t > room; t-- {
			ways[t] -= ways[t-room-1]
		}
	}
	return ways[total]
}

// exact sums over the network, or gives up where a stage grows too large.
func (w *network) exact(rows []int) (p float64, ok bool) {
	if _, ok := w.bound(0, rows); !ok {
		return 0, false
	}
	total := w.mass(0, rows)
	stage := map[string]*node{string(nodeKey(nil, rows)): {rows, []past{{0, 1}}}}
	var key []byte
	for k := range w.cols {
		next := map[string]*node{}
		steps := 0
		for _, name := range sortedKeys(stage) {
			from := stage[name]
			from.pasts = merged(from.pasts)
			fits := w.each(from.left, w.cols[k], func(rest []int, logp float64) bool {
				steps += len(from.pasts)
				if steps > w.limit {
					return false
				}
				b, _ := w.bound(k+1, rest)
				var to *node
				closed := math.NaN() // mass of the child, once it is needed
				for _, q := range from.pasts {
					v := q.logp + logp
					switch {
					case v+b.most <= w.observed:
						if math.IsNaN(closed) {
							closed = w.mass(k+1, rest) - total
						}
						p += q.ways * math.Exp(v+closed)
					case v+b.least > w.observed:
					default:
						if to == nil {
							key = nodeKey(key[:0], rest)
							if to = next[string(key)]; to == nil {
								to = &node{left: slices.Clone(rest)}
								next[string(key)] = to
							}
						}
						to.pasts = append(to.pasts, past{v, q.ways})
					}
				}
				return true
			})
			if !fits {
				return 0, false
			}
		}
		stage = next
	}
	return p, true
}

// bound returns the extremes over all completions of a node from stage k, or
// false where that takes too many steps.
func (w *network) bound(k int, left []int) (bound, bool) {
	if k >= len(w.cols)-1 {
		v := 0.0
		if k == len(w.cols)-1 {
			for _, x := range left {
				v -= w.factorials[x]
			}
		}
		return bound{v, v}, true
	}
	var room [64]byte
	key := nodeKey(room[:0], left)
	if b, ok := w.bounds[k][string(key)]; ok {
		return b, true
	}
	b := bound{math.Inf(-1), math.Inf(1)}
	fits := w.each(left, w.cols[k], func(rest []int, logp float64) bool {
		w.boundSteps[k]++
		if w.boundSteps[k] > w.limit {
			return false
		}
		child, ok := w.bound(k+1, rest)
		b.most = math.Max(b.most, logp+child.most)
		b.least = math.Min(b.least, logp+child.least)
		return ok
	})
	w.bounds[k][string(key)] = b
	return b, fits
}

// mass returns the log of the summed probabilities of all completions:
// n! / (Π left! Π cols!), from the theorem of Vandermonde.
func (w *network) mass(k int, left []int) float64 {
	n, v := 0, 0.0
	for _, x := range left {
		n += x
		v -= w.factorials[x]
	}
	for _, c := range w.cols[k:] {
		v -= w.factorials[c]
	}
	return v + w.factorials[n]
}

// each calls visit for every way to put a column of the given total into the
// rows, with the sorted row totals left after it (valid during the call only)
// and the column's log probability, until visit returns false.
func (w *network) each(left []int, total int, visit func(rest []int, logp float64) bool) bool {
	last := len(left) - 1
	placed := make([]int, 2*len(left))
	rest, sorted := placed[:len(left)], placed[len(left):]
	room := make([]int, len(left)+1) // what the rows from i on can still hold
	for i := last; i >= 0; i-- {
		room[i] = room[i+1] + left[i]
	}
	var place func(i, total int, logp float64) bool
	place = func(i, total int, logp float64) bool {
		if i == last {
			rest[i] = left[i] - total
			copy(sorted, rest)
			slices.Sort(sorted)
			return visit(sorted, logp-w.factorials[total])
		}
		for x := max(0, total-room[i+1]); x <= min(left[i], total); x++ {
			rest[i] = left[i] - x
			if !place(i+1, total-x, logp-w.factorials[x]) {
				return false
			}
		}
		return true
	}
	return place(0, total, 0)
}

// merged joins the pasts of equal probability.
func merged(pasts []past) []past {
	slices.SortFunc(pasts, func(a, b past) int {
		switch {
		case a.logp < b.logp:
			return -1
		case a.logp > b.logp:
			return 1
		}
		return 0
	})
	kept := pasts[:0]
	for _, q := range pasts {
		// Far below exactTie: which side of the observed table a past falls
		// on does not change.
		if last := len(kept) - 1; last >= 0 && q.logp-kept[last].logp < exactTie/100 {
			kept[last].ways += q.ways
			continue
		}
		kept = append(kept, q)
	}
	return kept
}

// nodeKey appends the name of a node, its sorted row totals, to buf.
func nodeKey(buf []byte, left []int) []byte {
	for _, x := range left {
		buf = binary.AppendUvarint(buf, uint64(x))
	}
	return buf
}

func sortedKeys(stage map[string]*node) []string {
	keys := make([]string, 0, len(stage))
	for key := range stage {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	return keys
}

// monteCarlo draws tables with the given margins, cell by cell from the
// hypergeometric of what is left.
func (w *network) monteCarlo(rows []int, seed uint64) FreemanHalton {
	rng := rand.New(rand.NewPCG(seed, 0))
	n := 0
	for _, r := range rows {
		n += r
	}
	extreme := 0
	left := make([]int, len(w.cols))
	for range monteCarloTables {
		copy(left, w.cols)
		pool, logp := n, 0.0
		for _, row := range rows[:len(rows)-1] {
			rest := pool // pairs of this and later rows in the columns from j on
			for j := range left {
				x := w.drawHypergeometric(rng, left[j], rest-left[j], row)
				rest -= left[j]
				row -= x
				left[j] -= x
				pool -= x
				logp -= w.factorials[x]
			}
		}
		for _, x := range left {
			logp -= w.factorials[x]
		}
		if logp <= w.observed {
			extreme++
		}
	}
	p := float64(1+extreme) / float64(monteCarloTables+1)
	return FreemanHalton{P: p, SE: Some(math.Sqrt(p * (1 - p) / monteCarloTables)), Method: "monte-carlo"}
}

// drawHypergeometric draws the white among drawn balls by inversion, walking
// outward from the mode.
func (w *network) drawHypergeometric(rng *rand.Rand, white, black, drawn int) int {
	lo, hi := max(0, drawn-black), min(white, drawn)
	if lo == hi {
		return lo
	}
	lf := w.factorials
	mode := min(hi, max(lo, int(float64(drawn+1)*float64(white+1)/float64(white+black+2))))
	peak := math.Exp(lf[white] + lf[black] + lf[drawn] + lf[white+black-drawn] - lf[white+black] -
		lf[mode] - lf[white-mode] - lf[drawn-mode] - lf[black-drawn+mode])
	u := rng.Float64() - peak
	if u < 0 {
		return mode
	}
	down, up := peak, peak
	for i, j := mode, mode; i > lo || j < hi; {
		if j < hi {
			up *= float64(white-j) * float64(drawn-j) / (float64(j+1) * float64(black-drawn+j+1))
			j++
			if u -= up; u < 0 {
				return j
			}
		}
		if i > lo {
			down *= float64(i) * float64(black-drawn+i) / (float64(white-i+1) * float64(drawn-i+1))
			i--
			if u -= down; u < 0 {
				return i
			}
		}
	}
	return mode // rounding left a sliver of u beyond the last value
}
