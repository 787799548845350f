package wear

import (
	"errors"
	"slices"

	"solewright/assess"
	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// GaitGroup is a grouping of the five words of gait to three, as thin cells
// need it, and all pairs, whose gait may not have been tested.
type GaitGroup struct {
	Name  string
	Words []string // none for all pairs
}

// GaitGroups are the columns of a [Grid].
var GaitGroups = []GaitGroup{
	{"pronated", []string{assess.GaitWords[3], assess.GaitWords[4]}},
	{"neutral", []string{assess.GaitWords[2]}},
	{"supinated", []string{assess.GaitWords[0], assess.GaitWords[1]}},
	{"all", nil},
}

// holds reports whether pairs of a gait are in the group.
func (g GaitGroup) holds(gait string) bool { return g.Words == nil || slices.Contains(g.Words, gait) }

// Grid is the share of pairs with a pattern, by a dimension and gait.
type Grid struct {
	Rows []GridRow
	// All are the shares of all rows together, by column.
	All []stats.Share
}

// GridRow is one word of the dimension; cells are by [GaitGroups].
type GridRow struct {
	Word  string
	Cells []GridCell
}

// GridCell is one share, and what it shrinks to among the cells of its column:
// the beta-binomial estimate, undefined where rows don't differ enough to say.
type GridCell struct {
	stats.Share
	Pooled, PooledLow, PooledHigh stats.Float
}

// Few says that there are too few pairs to rank.
func (c *GridCell) Few() bool { return c.Size < MinPairs }

// gridSeed makes the intervals of pooled shares come out alike each time.
const gridSeed = 1

// Patterned counts the pairs that have each pattern of the part asked about, and all
// pairs, with or without one. It asks what a [MakeGrid] of categories asks.
func Patterned(v *fleet.View, a Ask) (shares map[string]stats.Share, all int, err error) {
	cells, err := v.Count(a.filter(), fleet.Category, fleet.Gait, a.Part.Dim())
	if err != nil {
		return nil, 0, err
	}
	of := map[string]int{}
	for _, c := range cells {
		of[c.By[2]] += c.N
		all += c.N
	}
	var levels []string
	var counts []int
	for _, p := range Patterns {
		if of[p] > 0 {
			levels, counts = append(levels, p), append(counts, of[p])
		}
	}
	shares = map[string]stats.Share{}
	if len(levels) == 0 {
		return shares, all, nil
	}
	list, err := stats.Shares(levels, counts, conf)
	for _, s := range list {
		shares[s.Level] = s
	}
	return shares, all, err
}

// MakeGrid answers which share of pairs has the pattern asked about, by the
// words of a dimension and by gait. Pairs without a pattern are left out.
func MakeGrid(v *fleet.View, a Ask, rows fleet.Dim) (*Grid, error) {
	cells, err := v.Count(a.filter(), rows, fleet.Gait, a.Part.Dim())
	if err != nil {
		return nil, err
	}
	var words []string
	counts := map[string][]rate{}
	all := make([]rate, len(GaitGroups))
	for _, c := range cells {
		if c.By[0] == "" || c.By[2] == "" {
			continue
		}
		if counts[c.By[0]] == nil {
			words, counts[c.By[0]] = append(words, c.By[0]), make([]rate, len(GaitGroups))
		}
		for k, g := range GaitGroups {
			if !g.holds(c.By[1]) {
				continue
			}
			for _, r := range []*rate{&counts[c.By[0]][k], &all[k]} {
				r.size += c.N
				if c.By[2] == a.Pattern {
					r.hits += c.N
				}
			}
		}
	}
	g := &Grid{}
	for _, r := range all {
		s, err := share(r)
		if err != nil {
			return nil, err
		}
		g.All = append(g.All, s)
	}
	for _, w := range words {
		row := GridRow{Word: w}
		for _, r := range counts[w] {
			s, err := share(r)
			if err != nil {
				return nil, err
			}
			row.Cells = append(row.Cells, GridCell{Share: s})
		}
		g.Rows = append(g.Rows, row)
	}
	return g, g.pool()
}

// share is a share with its interval; of no pairs it is undefined.
func share(r rate) (stats.Share, error) {
	if r.size == 0 {
		return stats.Share{Why: "no pairs"}, nil
	}
	return stats.HitShare(r.hits, r.size, conf)
}

// pool shrinks the shares of each column that has a cell of few pairs: it is
// they that need it, and it takes its time.
func (g *Grid) pool() error {
	for k := range GaitGroups {
		if !slices.ContainsFunc(g.Rows, func(r GridRow) bool { return r.Cells[k].Size > 0 && r.Cells[k].Few() }) {
			continue
		}
		var trials []stats.Trials
		var at []int
		for i, row := range g.Rows {
			if c := row.Cells[k]; c.Size > 0 {
				trials, at = append(trials, stats.Trials{Name: row.Word, Hits: c.Hits, Size: c.Size}), append(at, i)
			}
		}
		pool, err := stats.PoolShares(trials, gridSeed, conf)
		if _, unknown := errors.AsType[*stats.Reason](err); unknown {
			continue // too few rows, or all alike: nothing is shrunk
		}
		if err != nil {
			return err
		}
		for i, s := range pool.Groups {
			c := &g.Rows[at[i]].Cells[k]
			c.Pooled, c.PooledLow, c.PooledHigh = s.Pooled, s.Low, s.High
		}
	}
	return nil
}
