package stats

import "math"

// ErrOneCluster says that likeness within clusters cannot be told from chance.
var ErrOneCluster = &Reason{"one-cluster", "all pairs belong to one runner, so the spread between runners cannot be seen"}

// ClusteredShares returns the share of each level where pairs come in
// clusters (the pairs of one runner are alike). counts[j][i] is the number of
// pairs of cluster j at levels[i]. For each level against the rest, with n_j
// pairs and y_j hits in cluster j of m, n = Σ n_j and p = Σ y_j / n:
//
//	r_j = y_j − p n_j
//	v = m/(m − 1) Σ r_j² / n²
//	deff = v / (p(1 − p)/n),  n_eff = n / max(deff, 1)
//
// and the interval is Wilson's at p and n_eff. The denominator is
// p(1 − p)/n, not the p(1 − p)/(n − 1) of some survey software.
//
// One cluster: deff, n_eff and interval are undefined. No spread (p is 0 or
// 1): deff and n_eff are undefined and the interval is Wilson's at n, which
// takes the pairs as independent; Why says so. Below about 15 clusters the
// interval is too short whatever the formula: show their number beside it.
// Empty clusters count for nothing.
//
// Errors: ErrEmpty for no pairs, ErrBadInput for a row of another length than
// levels, a negative count or conf outside (0, 1).
//
// Source: Rao JNK, Scott AJ (1992) "A simple method for the analysis of
// clustered binary data", Biometrics 48:577–585. The floor of deff at 1 is
// common practice of Rao–Scott software.
func ClusteredShares(levels []string, counts [][]int, conf float64) ([]Share, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	m := 0
	n := 0
	sizes := make([]int, len(counts))
	for j, row := range counts {
		if len(row) != len(levels) {
			return nil, badInput("cluster %d has %d counts for %d levels", j+1, len(row), len(levels))
		}
		for i, c := range row {
			if c < 0 {
				return nil, badInput("cluster %d has count %d at level %q, must be 0 or more", j+1, c, levels[i])
			}
			sizes[j] += c
		}
		if sizes[j] > 0 {
			m++
			n += sizes[j]
		}
	}
	if n == 0 {
		return nil, ErrEmpty
	}
	shares := make([]Share, len(levels))
	for i, level := range levels {
		hits := 0
		for _, row := range counts {
			hits += row[i]
		}
		s, err := shareOf(level, hits, n, conf)
		if err != nil {
			return nil, err
		}
		switch {
		case m == 1:
			s.Low, s.High, s.Why = None, None, ErrOneCluster.Detail
		case hits == 0 || hits == n:
			s.Why = "all pairs agree, so their likeness within runners cannot be seen: the interval takes them as independent"
		default:
			p := float64(hits) / float64(n)
			sum := 0.0
			for j, row := range counts {
				r := float64(row[i]) - p*float64(sizes[j])
				sum += r * r
			}
			v := float64(m) / float64(m-1) * sum / float64(n) / float64(n)
			deff := v / (p * (1 - p) / float64(n))
			effective := float64(n) / math.Max(deff, 1)
			low, high, err := Wilson(p*effective, effective, conf)
			if err != nil {
				return nil, err
			}
			s.Deff, s.NEff, s.Low, s.High = Some(deff), Some(effective), Some(low), Some(high)
		}
		shares[i] = s
	}
	return shares, nil
}
