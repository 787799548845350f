package wear

import (
	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// Comparison is one thing that two groups of pairs are compared in.
type Comparison struct {
	// Word is a pattern of the part asked about, or empty for pairs found worn.
	Word string
	A, B stats.Share
	// Difference is the share of A less that of B, by Newcombe's method 10; it is
	// not Known where a group is too small to compare.
	Difference stats.Difference
	Known      bool
	// Q is the chance of shares as far apart, after Benjamini and Hochberg over
	// everything compared.
	Q float64
}

// Compare sets two groups of pairs side by side: each pattern of a's part, and
// the share found worn. Groups under [MinPairs] are shown and not compared.
func Compare(v *fleet.View, a, b Ask) ([]Comparison, error) {
	b.Part = a.Part
	var all []Comparison
	var p []float64
	for _, word := range append([]string{""}, Patterns...) {
		a.Pattern, b.Pattern = word, word
		x, err := asked(v, a)
		if err != nil {
			return nil, err
		}
		y, err := asked(v, b)
		if err != nil {
			return nil, err
		}
		c := Comparison{Word: word}
		if c.A, err = share(x); err != nil {
			return nil, err
		}
		if c.B, err = share(y); err != nil {
			return nil, err
		}
		if c.Known = x.size >= MinPairs && y.size >= MinPairs; c.Known {
			d, err := stats.Newcombe(stats.Trials{Name: "a", Hits: x.hits, Size: x.size}, stats.Trials{Name: "b", Hits: y.hits, Size: y.size}, conf)
			if err != nil {
				return nil, err
			}
			c.Difference = d
			p = append(p, twoShares(x, y))
		}
		all = append(all, c)
	}
	q := stats.BH(p)
	for i := range all {
		if all[i].Known {
			all[i].Q, q = q[0], q[1:]
		}
	}
	return all, nil
}

// asked counts the pairs asked about, and how many are hits.
func asked(v *fleet.View, a Ask) (rate, error) {
	trials, _, err := hits(v, a)
	if err != nil || len(trials) == 0 {
		return rate{}, err
	}
	return rate{trials[0].Hits, trials[0].Size}, nil
}
