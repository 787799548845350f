package stats

import (
	"slices"
)

// LogRankResult is a log-rank test. Observed and Expected count events by
// group, in the order of the groups given.
type LogRankResult struct {
	Chi2     float64   `json:"chi2"`
	DF       int       `json:"df"`
	P        float64   `json:"p"`
	Observed []int     `json:"observed"`
	Expected []float64 `json:"expected"`
}

// LogRank tests whether k groups of right-censored pairs share one life. At
// each distance j with d_j events among n_j at risk, n_gj of them in group g,
//
//	E_gj = n_gj d_j/n_j
//	V_gh = Σ_j d_j (n_j − d_j)/(n_j − 1) · n_gj/n_j · (δ_gh − n_hj/n_j)
//	χ² = (O − E)ᵀ V⁻ (O − E), df = rank of V, k − 1 as a rule
//
// Terms with n_j = 1 are 0. A group never at risk at an event adds nothing.
//
// Errors: ErrBadInput; ErrOneGroup where fewer than two groups hold data;
// ErrNoEvents; ErrNoSpread where at every event only one group, or everyone
// at once, was at stake.
//
// Sources: Mantel N (1966) Cancer Chemother Rep 50:163–170; Peto R, Peto J
// (1972) J R Stat Soc A 135:185–206.
func LogRank(groups [][]Exit) (*LogRankResult, error) {
	return StratifiedLogRank([][][]Exit{groups})
}

// StratifiedLogRank is LogRank within strata (stores, surfaces): strata[s][g]
// is group g in stratum s, every stratum lists the same groups (empty where
// it holds none), and O, E and V are summed over strata before the test.
func StratifiedLogRank(strata [][][]Exit) (*LogRankResult, error) {
	if len(strata) == 0 {
		return nil, ErrEmpty
	}
	k := len(strata[0])
	r := &LogRankResult{Observed: make([]int, k), Expected: make([]float64, k)}
	v := newSymmetric(k)
	held := make([]bool, k)
	for s, groups := range strata {
		if len(groups) != k {
			return nil, badInput("stratum %d lists %d groups, the first %d", s+1, len(groups), k)
		}
		tidy := make([][]Exit, k)
		for g, x := range groups {
			var err error
			if tidy[g], err = tidyExits(x); err != nil {
				return nil, err
			}
			held[g] = held[g] || len(tidy[g]) > 0
		}
		addStratum(r, v, tidy)
	}
	holding, events := 0, 0
	for g := range k {
		if held[g] {
			holding++
		}
		events += r.Observed[g]
	}
	switch {
	case holding < 2:
		return nil, ErrOneGroup
	case events == 0:
		return nil, ErrNoEvents
	}

	u := make([]float64, k)
	for g := range u {
		u[g] = float64(r.Observed[g]) - r.Expected[g]
	}
	r.Chi2, r.DF = v.quadraticForm(u, v.diagonal(), 1e-10)
	if r.DF == 0 {
		return nil, ErrNoSpread.because("at every event only one group, or everyone at once, was at stake")
	}
	r.P = chiSquareTail(r.Chi2, r.DF)
	return r, nil
}

// addStratum adds one stratum's observed and expected events and their
// covariance.
func addStratum(r *LogRankResult, v *symmetric, groups [][]Exit) {
	var times []float64
	next := make([]int, len(groups))
	atRisk := make([]float64, len(groups))
	total := 0.0
	for g, x := range groups {
		for _, e := range x {
			if e.Events > 0 {
				times = append(times, e.Time)
			}
		}
		n, events := countPairs(x)
		r.Observed[g] += events
		atRisk[g] = float64(n)
		total += float64(n)
	}
	slices.Sort(times)

	share := make([]float64, len(groups))
	for _, t := range slices.Compact(times) {
		events := 0
		for g, x := range groups {
			for ; next[g] < len(x) && x[next[g]].Time < t; next[g]++ {
				gone := float64(x[next[g]].Events + x[next[g]].Censored)
				atRisk[g] -= gone
				total -= gone
			}
			if next[g] < len(x) && x[next[g]].Time == t {
				events += x[next[g]].Events
			}
		}
		d := float64(events)
		for g := range groups {
			share[g] = atRisk[g] / total
			r.Expected[g] += share[g] * d
		}
		if total > 1 {
			c := d * (total - d) / (total - 1)
			for g := range groups {
				if share[g] == 0 {
					continue
				}
				v.add(g, g, c*share[g]*(1-share[g]))
				for h := range g {
					v.add(g, h, -c*share[g]*share[h])
				}
			}
		}
	}
}

// PairTest is the log-rank test of two named groups within a family of
// pairs, its p adjusted over the family by Benjamini–Hochberg and by Holm.
type PairTest struct {
	A    string `json:"a"`
	B    string `json:"b"`
	Chi2 Float  `json:"chi2"`
	P    Float  `json:"p"`
	BH   Float  `json:"bh"`
	Holm Float  `json:"holm"`
	// Why says why a pair has no test; such a pair does not count as made.
	Why string `json:"why,omitempty"`
}

// PairwiseLogRank tests every pair of the named groups, within strata, each
// pair on its own pairs of shoes only, and adjusts the p-values for the
// number of tests that could be made. Pairs come in the order of the groups.
//
// Errors: ErrBadInput, ErrOneGroup where there is no pair.
func PairwiseLogRank(names []string, strata [][][]Exit) ([]PairTest, error) {
	if len(names) < 2 {
		return nil, ErrOneGroup
	}
	for s, groups := range strata {
		if len(groups) != len(names) {
			return nil, badInput("stratum %d lists %d groups for %d names", s+1, len(groups), len(names))
		}
	}
	var tests []PairTest
	var ps []Float
	for a := range names {
		for b := a + 1; b < len(names); b++ {
			two := make([][][]Exit, len(strata))
			for s, groups := range strata {
				two[s] = [][]Exit{groups[a], groups[b]}
			}
			t := PairTest{A: names[a], B: names[b]}
			r, err := StratifiedLogRank(two)
			switch reason, ok := err.(*Reason); {
			case ok:
				t.Why = reason.Detail
			case err != nil:
				return nil, err
			default:
				t.Chi2, t.P = Some(r.Chi2), Some(r.P)
			}
			tests = append(tests, t)
			ps = append(ps, t.P)
		}
	}
	if !slices.ContainsFunc(ps, func(p Float) bool { return p.OK }) {
		return tests, nil
	}
	// The level bears on which tests Adjust rejects, not on the values.
	adjusted, err := Adjust(ps, 0.95)
	if err != nil {
		return nil, err
	}
	for i := range tests {
		tests[i].BH, tests[i].Holm = adjusted.BH[i], adjusted.Holm[i]
	}
	return tests, nil
}

// symmetric is a small symmetric matrix; only its lower triangle is kept.
type symmetric struct {
	n int
	a []float64
}

func newSymmetric(n int) *symmetric { return &symmetric{n, make([]float64, n*n)} }

// diagonal returns a copy of the diagonal.
func (s *symmetric) diagonal() []float64 {
	d := make([]float64, s.n)
	for i := range d {
		d[i] = s.a[i*s.n+i]
	}
	return d
}

// add adds x to the entry of row i and column j ≤ i.
func (s *symmetric) add(i, j int, x float64) { s.a[i*s.n+j] += x }

// quadraticForm returns uᵀ S⁻ u and the rank of S, for S positive
// semidefinite and u in its range: any generalised inverse gives the same
// form. It overwrites S with its Cholesky factor, taking next the row that
// keeps the largest part of its variance, until each keeps no more than the
// part singular, which is rounding. Variance is the diagonal of S, or what was
// it was before something was taken off that left rounding behind.
func (s *symmetric) quadraticForm(u, variance []float64, singular float64) (form float64, rank int) {
	at := func(i, j int) *float64 { return &s.a[max(i, j)*s.n+min(i, j)] }
	w := slices.Clone(u)
	var rest []int
	for i := range s.n {
		if variance[i] > 0 {
			rest = append(rest, i)
		}
	}
	for len(rest) > 0 {
		best, kept := 0, 0.0
		for i, r := range rest {
			if k := *at(r, r) / variance[r]; k > kept {
				best, kept = i, k
			}
		}
		if kept <= singular {
			break
		}
		p := rest[best]
		pivot := *at(p, p)
		rest = slices.Delete(rest, best, best+1)
		form += w[p] * w[p] / pivot
		rank++
		for _, i := range rest {
			f := *at(i, p) / pivot
			w[i] -= f * w[p]
			for _, j := range rest {
				if j <= i {
					*at(i, j) -= f * *at(j, p)
				}
			}
		}
	}
	return form, rank
}
