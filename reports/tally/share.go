package tally

import (
	"fmt"
	"strconv"

	"solewright/reports/stats"
)

var shareStatistics = []statistic{
	{
		name: "shares", flags: []string{"of", "hits", "size", "cluster"}, run: (*job).shares,
		help:    "The share of each level with its Wilson interval. Name --cluster where one runner brings several pairs.",
		example: "--of verdict --by store --cluster runner readings.csv",
	},
	{
		name: "difference", flags: []string{"hits", "size"}, run: (*job).difference,
		help:    "The difference of two shares with its interval, for every pair of groups. --by names the groups.",
		example: "--hits worn --size seen --by store counts.csv",
	},
	{
		name: "association", flags: []string{"rows", "cols", "two-by-two", "exact"}, run: (*job).association,
		help:    "Whether the rows and columns of a table go together, and how strongly. It never says which causes which.",
		example: "--rows surface --cols verdict readings.csv",
	},
	{
		name: "adjust", flags: []string{"p"}, run: (*job).adjust,
		help:    "p-values adjusted for how many tests were made. The arrays keep the order of the file.",
		example: "--p p tests.csv",
	},
	{
		name: "funnel", flags: []string{"hits", "size", "target"}, run: (*job).funnel,
		help:    "Each unit's share against a common target, with limits that narrow as size grows. --by names the units.",
		example: "--hits returned --size sold --by store counts.csv",
	},
	{
		name: "tail", flags: []string{"expected", "hits-number"}, run: (*job).tail,
		help:    "How surprising a number of failures is against the probability expected of each pair. Both tails include the number itself.",
		example: "--expected p --hits 7 pairs.csv",
	},
}

// each group carries what fill sets, after its by.
func (j *job) inGroups(fill func(group int, o *object) error) error {
	all := make([]object, len(j.in.groups))
	for g := range all {
		all[g].set("by", j.in.groups[g])
		if err := fill(g, &all[g]); err != nil {
			return err
		}
	}
	j.out.set("groups", all)
	return nil
}

// unclustered says why shares of independent pairs have no design effect.
func unclustered(shares []stats.Share) []stats.Share {
	for i := range shares {
		shares[i].Why = "deff and n_eff: no --cluster was named"
	}
	return shares
}

// trials reads hits and sizes, added up by group.
func (j *job) trials() ([]stats.Trials, error) {
	if err := j.need("hits", "size"); err != nil {
		return nil, err
	}
	var all []stats.Trials
	err := j.in.distinct([]column{{j.hits, whole}, {j.size, whole}}, func(g, count int, c []cell) error {
		if c[0].num > c[1].num {
			return fmt.Errorf("%q: %s hits among %s", j.hits, c[0].text, c[1].text)
		}
		if g == len(all) {
			all = append(all, stats.Trials{})
		}
		if err := addTimes(&all[g].Size, count, c[1], j.size); err != nil {
			return err
		}
		return addTimes(&all[g].Hits, count, c[0], j.hits)
	})
	for g, name := range j.in.labels() {
		if g < len(all) {
			all[g].Name = name
		}
	}
	return all, err
}

func (j *job) shares() error {
	if j.of == "" && j.cluster == "" {
		all, err := j.trials()
		if err != nil {
			return err
		}
		return j.inGroups(func(g int, o *object) error {
			s, err := stats.HitShare(all[g].Hits, all[g].Size, j.conf)
			s.Level = j.hits
			return o.put("levels", unclustered([]stats.Share{s}), err)
		})
	}
	type key struct {
		group          int
		cluster, level string
	}
	var seen tallies[key]
	var levels tallies[string]
	cluster := func(string) string { return "" }
	columns := []column{}
	if j.cluster != "" {
		columns = append(columns, column{j.cluster, text})
		cluster = func(s string) string { return s }
	}
	byHits := j.of == ""
	if byHits {
		if err := j.need("hits", "size"); err != nil {
			return err
		}
		columns = append(columns, column{j.hits, whole}, column{j.size, whole})
	} else {
		columns = append(columns, column{j.of, text})
	}
	total := 0
	err := j.in.distinct(columns, func(g, count int, c []cell) error {
		own := cluster(c[0].text)
		if byHits {
			if c[1].num > c[2].num {
				return fmt.Errorf("%q: %s hits among %s", j.hits, c[1].text, c[2].text)
			}
			seen.add(key{g, own, j.hits}, count*c[1].int())
			seen.add(key{g, own, ""}, count*(c[2].int()-c[1].int()))
			return addTimes(&total, count, c[2], j.size)
		}
		level := c[len(c)-1].text
		levels.add(level, count)
		seen.add(key{g, own, level}, count)
		return j.level(j.of, level)
	})
	if err != nil {
		return err
	}
	list := j.categories(levels.keys)
	if byHits {
		list = []string{j.hits, ""}
	}
	at := places(list)
	clusters := make([]tallies[string], len(j.in.groups))
	counts := make([][][]int, len(j.in.groups))
	for i, k := range seen.keys {
		row := clusters[k.group].add(k.cluster, 0)
		if row == len(counts[k.group]) {
			counts[k.group] = append(counts[k.group], make([]int, len(list)))
		}
		counts[k.group][row][at[k.level]] += seen.counts[i]
	}
	return j.inGroups(func(g int, o *object) error {
		var s []stats.Share
		var err error
		if j.cluster != "" {
			s, err = stats.ClusteredShares(list, counts[g], j.conf)
		} else {
			s, err = stats.Shares(list, counts[g][0], j.conf)
			s = unclustered(s)
		}
		if byHits && err == nil {
			s = s[:1]
		}
		return o.put("levels", s, err)
	})
}

func (j *job) difference() error {
	if err := j.need("hits", "size", "by"); err != nil {
		return err
	}
	all, err := j.trials()
	if err != nil {
		return err
	}
	err = j.inGroups(func(g int, o *object) error {
		s, err := stats.HitShare(all[g].Hits, all[g].Size, j.conf)
		if _, fault := reason(err); fault != nil {
			return fault
		}
		for _, f := range []field{{"hits", s.Hits}, {"size", s.Size}, {"share", s.Share}, {"low", s.Low}, {"high", s.High}} {
			o.set(f.key, f.value)
		}
		if !s.Share.OK {
			o.why = []string{stats.ErrEmpty.Detail}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := tooMany(len(all), "groups"); err != nil {
		return j.out.put("pairs", nil, err)
	}
	pairs, err := stats.Differences(all, j.conf)
	return j.out.put("pairs", pairs, err)
}

func (j *job) funnel() error {
	if err := j.need("hits", "size", "by"); err != nil {
		return err
	}
	all, err := j.trials()
	if err != nil {
		return err
	}
	target := stats.None
	if j.given["target"] {
		target = stats.Some(j.target)
	}
	labels := j.in.labels() // need not differ where values hold commas
	for g := range all {
		all[g].Name = strconv.Itoa(g)
	}
	f, err := stats.MakeFunnel(all, target)
	if err != nil {
		return j.out.spread(nil, err, "target", "groups", "phi", "phi_winsorised", "tau2")
	}
	units := make([]object, len(all))
	full := f.Groups
	for g := range units {
		units[g].set("by", j.in.groups[g])
		if len(full) > 0 && full[0].Name == all[g].Name {
			u := full[0]
			full, u.Name = full[1:], labels[g]
			err = units[g].spread(u, nil)
		} else {
			units[g].set("size", 0)
			err = units[g].spread(nil, stats.ErrEmpty, "share", "z", "low95", "high95", "low998", "high998", "normal_low95", "normal_high95")
		}
		if err != nil {
			return err
		}
	}
	j.out.set("target", f.Target)
	j.out.set("groups", units)
	j.out.set("phi", f.Phi)
	j.out.set("phi_p", f.PhiP)
	j.out.set("phi_winsorised", f.PhiWinsorised)
	j.out.set("tau2", f.Tau2)
	if !f.Tau2.OK {
		j.out.why = append(j.out.why, "tau2: "+stats.ErrOneGroup.Detail)
	}
	return nil
}

var associationKeys = []string{"rows", "cols", "observed", "expected", "chi2", "df", "p", "adjusted_residuals", "cramers_v", "cramers_v_corrected"}

func (j *job) association() error {
	if len(j.twoByTwo) > 0 {
		return j.twoByTwos()
	}
	if err := j.need("rows", "cols"); err != nil {
		return err
	}
	type key struct {
		group    int
		row, col string
	}
	var seen tallies[key]
	var rows, cols tallies[string]
	err := j.in.distinct([]column{{j.rows, text}, {j.cols, text}}, func(g, count int, c []cell) error {
		rows.add(c[0].text, count)
		cols.add(c[1].text, count)
		seen.add(key{g, c[0].text, c[1].text}, count)
		return j.level(j.cols, c[1].text)
	})
	if err != nil {
		return err
	}
	r, c := inOrder(rows.keys), j.categories(cols.keys)
	row, col := places(r), places(c)
	cells := make([][]int, len(j.in.groups)) // of seen, by group
	for i, k := range seen.keys {
		cells[k.group] = append(cells[k.group], i)
	}
	return j.inGroups(func(g int, o *object) error {
		table := stats.Crosstab{Rows: r, Cols: c, Counts: square(len(r), len(c))}
		for _, i := range cells[g] {
			table.Counts[row[seen.keys[i].row]][col[seen.keys[i].col]] = seen.counts[i]
		}
		a, err := stats.Associate(table, j.exact, j.seed)
		return o.spread(a, err, associationKeys...)
	})
}

func square(rows, cols int) [][]int {
	m, all := make([][]int, rows), make([]int, rows*cols)
	for i := range m {
		m[i] = all[i*cols : (i+1)*cols : (i+1)*cols]
	}
	return m
}

// twoByTwos tests one 2×2 table a unit.
func (j *job) twoByTwos() error {
	if len(j.twoByTwo) != 4 {
		return usage("--two-by-two: %s: want four columns a,b,c,d", j.twoByTwo.String())
	}
	if err := j.need("by"); err != nil {
		return err
	}
	columns := make([]column, 4)
	for i, name := range j.twoByTwo {
		columns[i] = column{name, whole}
	}
	var tables [][4]int
	err := j.in.distinct(columns, func(g, count int, c []cell) error {
		if g == len(tables) {
			tables = append(tables, [4]int{})
		}
		for i := range c {
			if err := addTimes(&tables[g][i], count, c[i], j.twoByTwo[i]); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		t := tables[g]
		fisher, err := stats.FisherTest(t[0], t[1], t[2], t[3], j.conf)
		if err != nil {
			return err
		}
		a, err := stats.Associate(stats.Crosstab{
			Rows: []string{"1", "2"}, Cols: []string{"1", "2"},
			Counts: [][]int{{t[0], t[1]}, {t[2], t[3]}},
		}, j.exact, j.seed)
		if err == nil {
			a.Fisher = &fisher
			return o.spread(a, nil)
		}
		if err := o.spread(nil, err, associationKeys...); err != nil {
			return err
		}
		return o.spread(fisher, nil)
	})
}

func (j *job) adjust() error {
	if err := j.need("p"); err != nil {
		return err
	}
	if len(j.by) > 0 || j.count != "" {
		return usage("adjust takes neither --by nor --count: the tests of a file are one family")
	}
	var p []stats.Float
	err := j.in.each([]column{{j.p, number}}, func(_, _ int, c []cell) error {
		p = append(p, stats.Some(c[0].num))
		return probability(c[0], j.p)
	})
	if err != nil {
		return err
	}
	j.out.set("groups", []object{})
	a, err := stats.Adjust(p, j.conf)
	return j.out.spread(a, err, "bh", "holm", "bonferroni", "rejected_bh")
}

// longestTail bounds the pairs of an exact tail, whose time grows with their
// square.
const longestTail = 100_000

// probability refuses what lies outside 0 to 1.
func probability(c cell, name string) error {
	if c.num < 0 || c.num > 1 {
		return fmt.Errorf("%q: %s: want 0 to 1", name, c.text)
	}
	return nil
}

func (j *job) tail() error {
	if err := j.need("expected", "hits"); err != nil {
		return err
	}
	var expected [][]float64
	err := j.in.distinct([]column{{j.expected, number}}, func(g, count int, c []cell) error {
		if g == len(expected) {
			expected = append(expected, nil)
		}
		if len(expected[g])+count > longestTail {
			return fmt.Errorf("%q: more than %d pairs: the exact tail of so many is not computed", j.expected, longestTail)
		}
		for range count {
			expected[g] = append(expected[g], c[0].num)
		}
		return probability(c[0], j.expected)
	})
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		t, err := stats.PoissonBinomial(expected[g], j.failures)
		return o.spread(t, err, "p_at_least", "p_at_most", "p_mid")
	})
}
