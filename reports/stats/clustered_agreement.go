package stats

import "math"

// GradePair is the levels that two raters gave one item, from 0.
type GradePair struct{ First, Second int }

// ClusteredKappa returns kappa of two raters under weights where items come in
// clusters: the zones of one pair of shoes are read alike or apart together, and
// tell less than as many zones of as many pairs. Kappa is that of WeightedKappa.
// With u_i what item i adds to it there (its mean ū), of N items in m clusters:
//
//	Var = m/(m − 1) Σ_j [Σ_{i∈j} (u_i − ū)]² / N²
//
// Limits by t with m − 1 degrees of freedom, cut at −1 and 1. With one item in
// each cluster Var is that of WeightedKappa times m/(m − 1). Empty clusters count
// for nothing, and a single one has no interval. Below about 15 clusters the
// interval is too short.
//
// Errors: ErrEmpty for no items, ErrBadInput for a level that weights don't have,
// and as WeightedKappa.
//
// Source: Yang Z, Zhou M (2014) "Kappa statistic for clustered matched-pair data",
// Statistics in Medicine 33:2612–2633, whose variance this is but for m/(m − 1),
// the usual factor of cluster samples (Cochran WG (1977) Sampling Techniques, 3rd
// ed., section 11.8). Both from memory.
func ClusteredKappa(clusters [][]GradePair, weights [][]float64, conf float64) (*Agreement, error) {
	counts, err := tabled(clusters, len(weights), conf)
	if err != nil {
		return nil, err
	}
	f, err := weigh(counts, weights)
	if err != nil {
		return nil, err
	}
	mean := f.mean()
	return clustered(f.kappa(), clusters, func(p GradePair) float64 { return f.score(p.First, p.Second) - mean }, conf)
}

// ClusteredAC1 returns Gwet's AC1 of two raters where items come in clusters:
// that of GwetAC1, with the variance of ClusteredKappa over its x_i.
//
// Errors: ErrOneCategory for fewer than two levels, and as ClusteredKappa.
func ClusteredAC1(clusters [][]GradePair, levels int, conf float64) (*Agreement, error) {
	counts, err := tabled(clusters, levels, conf)
	if err != nil {
		return nil, err
	}
	r := &Ratings{Levels: levels}
	for i, row := range counts {
		for j, n := range row {
			if n > 0 {
				r.Patterns = append(r.Patterns, GradePair{i, j}.pattern(levels, n))
			}
		}
	}
	g, err := gwet(r)
	if err != nil {
		return nil, err
	}
	scores := make([][]float64, levels)
	for i := range scores {
		scores[i] = make([]float64, levels)
		for j := range scores[i] {
			scores[i][j] = g.score(GradePair{i, j}.pattern(levels, 1)) - g.value
		}
	}
	return clustered(g.value, clusters, func(p GradePair) float64 { return scores[p.First][p.Second] }, conf)
}

// pattern is the grades of so many equal items: which rater gave which is lost.
func (p GradePair) pattern(levels, items int) Pattern {
	counts := make([]int, levels)
	counts[p.First]++
	counts[p.Second]++
	return Pattern{Counts: counts, Items: items}
}

// tabled counts items by the levels of both raters.
func tabled(clusters [][]GradePair, levels int, conf float64) ([][]int, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	counts := make([][]int, levels)
	for i := range counts {
		counts[i] = make([]int, levels)
	}
	for c, items := range clusters {
		for _, p := range items {
			if min(p.First, p.Second) < 0 || max(p.First, p.Second) >= levels {
				return nil, badInput("cluster %d has the levels %d and %d, must be 0 to %d", c+1, p.First, p.Second, levels-1)
			}
			counts[p.First][p.Second]++
		}
	}
	return counts, nil
}

// clustered is a coefficient whose items move it by so much each, around 0.
func clustered(value float64, clusters [][]GradePair, by func(GradePair) float64, conf float64) (*Agreement, error) {
	m, n, sum := 0.0, 0.0, 0.0
	for _, items := range clusters {
		if len(items) == 0 {
			continue
		}
		m++
		n += float64(len(items))
		moved := 0.0
		for _, p := range items {
			moved += by(p)
		}
		sum += moved * moved
	}
	a := &Agreement{Value: value}
	if m < 2 {
		return a, nil
	}
	a.spread(math.Sqrt(m/(m-1)*sum)/n, m-1, conf)
	return a, nil
}
