package wear

import (
	"errors"
	"math"
	"slices"

	"solewright/assess"
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
	ofA, err := outcomes(v, a)
	if err != nil {
		return nil, err
	}
	ofB, err := outcomes(v, b)
	if err != nil {
		return nil, err
	}
	var all []Comparison
	var p []float64
	for _, word := range append([]string{""}, Patterns...) {
		x, y, c := ofA[word], ofB[word], Comparison{Word: word}
		var err error
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

// twoShares is the two-sided chance of two shares as far apart, by z with the
// pooled share.
func twoShares(a, b rate) float64 {
	n, m := float64(a.size), float64(b.size)
	pooled := float64(a.hits+b.hits) / (n + m)
	variance := pooled * (1 - pooled) * (1/n + 1/m)
	if variance == 0 {
		return 1
	}
	return twoSided((float64(a.hits)/n - float64(b.hits)/m) / math.Sqrt(variance))
}

// outcomes counts the pairs asked about that have each pattern of the part, among those
// that have one, and under "" those found worn among those judged. Like [lives] it asks
// for all gaits at once.
func outcomes(v *fleet.View, a Ask) (map[string]rate, error) {
	gaits, ok := a.gaits()
	if ok {
		a = a.Without(fleet.Gait)
	}
	cells, err := v.Count(a.filter(), fleet.Gait, fleet.Verdict, a.Part.Dim())
	if err != nil {
		return nil, err
	}
	all, patterned := map[string]rate{}, 0
	for _, c := range cells {
		verdict, pattern := c.By[1], c.By[2]
		if ok && !slices.Contains(gaits, c.By[0]) {
			continue
		}
		if verdict != "" && verdict != assess.Incomplete.String() {
			r := all[""]
			r.size += c.N
			if slices.Contains(worn, verdict) {
				r.hits += c.N
			}
			all[""] = r
		}
		if pattern != "" {
			all[pattern] = rate{hits: all[pattern].hits + c.N}
			patterned += c.N
		}
	}
	for _, pattern := range Patterns {
		all[pattern] = rate{all[pattern].hits, patterned}
	}
	return all, nil
}

// Change is how the readings of one question differ from like readings of
// another: of the same kind of visit, category and distance (bands of 100 km).
type Change struct {
	// Known says that there are enough readings on both sides to tell; without it
	// Hits and Size alone are filled.
	Known      bool
	Hits, Size int
	// Expected is the share that like readings of both have together.
	Expected float64
	// P is the chance of as much among like readings, Z positive for more worn.
	Z, P float64
}

// Changed compares the readings found worn of now with those of before, like for
// like, by Mantel and Haenszel. Readings of unknown distance, and those that
// nothing like them was read on the other side, are left out. It is in readings:
// runs of one runner's pairs are taken as many.
func Changed(v *fleet.View, now, earlier Ask) (Change, error) {
	count := func(a Ask) (all []stratum, err error) {
		a.Pattern, a.Readings = "", true
		groups, err := v.Bands(a.filter(), 2*bandKM, fleet.Kind, fleet.Category)
		for i := range groups {
			all = append(all, strata(&groups[i], alike(groups[i].By[0], groups[i].By[1]), 2*bandKM, 0)...)
		}
		return all, err
	}
	var c Change
	mine, err := count(now)
	if err != nil {
		return c, err
	}
	theirs, err := count(earlier)
	if err != nil {
		return c, err
	}
	var all []stats.Stratum
	others := 0
	before := total([]measured{{by: theirs}})
	for _, a := range mine {
		b := before[a.like]
		if b.size == 0 {
			continue
		}
		all = append(all, stats.Stratum{A: stats.Trials{Hits: a.hits, Size: a.size}, B: stats.Trials{Hits: b.hits, Size: b.size}})
		c.Hits, c.Size, others = c.Hits+a.hits, c.Size+a.size, others+b.size
	}
	if c.Size < MinPairs || others < MinPairs {
		return c, nil
	}
	found, err := stats.MantelHaenszel(all)
	if err != nil {
		if errors.Is(err, stats.ErrNoSpread) { // all or none are worn
			err = nil
		}
		return c, err
	}
	c.Known, c.Expected, c.Z, c.P = true, found.Expected/float64(c.Size), found.Z, found.P
	return c, nil
}
