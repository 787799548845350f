package tally

import (
	"cmp"
	"fmt"
	"slices"

	"solewright/reports/stats"
)

func (j *job) agreement() error {
	scale := stats.Scale(j.scale)
	if !slices.Contains([]stats.Scale{stats.Nominal, stats.Ordinal, stats.IntervalData}, scale) {
		return usage("--scale: %q: want nominal, ordinal or interval", j.scale)
	}
	if j.given["first"] || j.given["second"] {
		return j.twoRaters()
	}
	if err := j.need("item", "rater", "grade"); err != nil {
		return err
	}
	if j.count != "" {
		return usage("--count goes with --first and --second: here a row is one grade of one item")
	}
	// Items and raters are numbered within their group, levels as first seen.
	type round struct {
		items, raters numbers
		grades        []stats.Grade
		given         map[[2]int]struct{} // by item and rater
	}
	var rounds []*round
	var values numbers
	err := j.in.each([]column{{j.item, text}, {j.rater, text}, {j.grade, text}}, func(g, _ int, c []cell) error {
		if g == len(rounds) {
			rounds = append(rounds, &round{given: map[[2]int]struct{}{}})
		}
		r := rounds[g]
		at := [2]int{r.items.of(c[0].text), r.raters.of(c[1].text)}
		if _, twice := r.given[at]; twice {
			return fmt.Errorf("%q: %s graded %s before", j.rater, c[1].text, c[0].text)
		}
		r.given[at] = struct{}{}
		seen := len(values.names)
		level := values.of(c[2].text)
		r.grades = append(r.grades, stats.Grade{Item: at[0], Rater: at[1], Level: level})
		if level < seen {
			return nil
		}
		if _, err := decimal(c[2].text); err != nil && scale == stats.IntervalData {
			return fmt.Errorf("%q: %w", j.grade, err)
		}
		return j.level(j.grade, c[2].text)
	})
	if err != nil {
		return err
	}
	levels := j.categories(values.names)
	measured, err := measures(levels)
	if err != nil && scale == stats.IntervalData {
		return usage("--levels: %v", err)
	}
	at := places(levels)
	for _, r := range rounds {
		r.given = nil
		for i, g := range r.grades {
			r.grades[i].Level = at[values.names[g.Level]]
		}
	}
	return j.inGroups(func(g int, o *object) error {
		o.set("levels", levels)
		r, err := stats.Reduce(rounds[g].grades, len(levels))
		if err != nil {
			return err
		}
		fleiss, err := stats.FleissKappa(r)
		if err := o.put("fleiss", fleiss, err); err != nil {
			return err
		}
		alpha, err := stats.Krippendorff(r, scale, measured, stats.BootstrapReplicates, j.seed, j.conf)
		if err := o.spread(alpha, err, "alpha", "alpha_low", "alpha_high"); err != nil {
			return err
		}
		ac1, err := stats.GwetAC1(r)
		if err := o.put("ac1", ac1, err); err != nil {
			return err
		}
		if err := j.intraclass(o, rounds[g].grades, measured, len(rounds[g].items.names), len(rounds[g].raters.names)); err != nil {
			return err
		}
		return j.pairwiseKappas(o, rounds[g].grades, rounds[g].raters.names, len(levels))
	})
}

// numbers numbers names from 0 in order of first appearance.
type numbers struct {
	names []string
	at    map[string]int
}

func (n *numbers) of(name string) int {
	i, known := n.at[name]
	if !known {
		if n.at == nil {
			n.at = map[string]int{}
		}
		i = len(n.names)
		n.at[name] = i
		n.names = append(n.names, name)
	}
	return i
}

// measures reads levels as numbers; nil where one is a word.
func measures(levels []string) ([]float64, error) {
	all := make([]float64, len(levels))
	for i, l := range levels {
		v, err := decimal(l)
		if err != nil {
			return nil, err
		}
		all[i] = v
	}
	return all, nil
}

// intraclass adds the ICC, which needs numbers and every item graded by every
// rater.
func (j *job) intraclass(o *object, grades []stats.Grade, measured []float64, items, raters int) error {
	var why string
	switch {
	case measured == nil:
		why = "the grades are words"
	case len(grades) != items*raters:
		why = "not every rater graded every item"
	}
	if why != "" {
		return o.put("icc", nil, &stats.Reason{Code: "not-crossed", Detail: why})
	}
	readings := make([][]float64, items)
	for i := range readings {
		readings[i] = make([]float64, raters)
	}
	for _, g := range grades {
		readings[g.Item][g.Rater] = measured[g.Level]
	}
	icc, err := stats.ICC(readings, j.conf)
	return o.put("icc", icc, err)
}

// mostPairs bounds what is compared two by two; more pairs than these nobody
// reads.
const mostPairs = 100_000

// pairwiseKappas adds kappa of every two raters over the items both graded.
func (j *job) pairwiseKappas(o *object, grades []stats.Grade, raters []string, levels int) error {
	if n := len(raters); n*(n-1)/2 > mostPairs {
		return o.put("pairwise", nil, tooMany(n, "raters"))
	}
	slices.SortFunc(grades, func(a, b stats.Grade) int {
		return cmp.Or(cmp.Compare(a.Item, b.Item), cmp.Compare(a.Rater, b.Rater))
	})
	tables := map[[2]int][][]int{}
	for from := 0; from < len(grades); {
		to := from + 1
		for to < len(grades) && grades[to].Item == grades[from].Item {
			to++
		}
		for i, a := range grades[from:to] {
			for _, b := range grades[from+i+1 : to] {
				table := tables[[2]int{a.Rater, b.Rater}]
				if table == nil {
					table = square(levels, levels)
					tables[[2]int{a.Rater, b.Rater}] = table
				}
				table[a.Level][b.Level]++
			}
		}
		from = to
	}
	pairs := []object{}
	for a := range raters {
		for b := a + 1; b < len(raters); b++ {
			var pair object
			pair.set("a", raters[a])
			pair.set("b", raters[b])
			var kappas *stats.Kappas
			err := error(&stats.Reason{Code: stats.ErrEmpty.Code, Detail: "no item was graded by both"})
			if table := tables[[2]int{a, b}]; table != nil {
				kappas, err = stats.CohenKappa(table, j.conf)
			}
			if err := pair.put("kappa", kappas, err); err != nil {
				return err
			}
			pairs = append(pairs, pair)
		}
	}
	o.set("pairwise", pairs)
	return nil
}

// tooMany is why n things are not compared two by two.
func tooMany(n int, what string) *stats.Reason {
	return &stats.Reason{Code: "too-many", Detail: fmt.Sprintf("%d %s make more than %d pairs", n, what, mostPairs)}
}

func (j *job) twoRaters() error {
	levels, tables, err := j.twoReadings()
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		o.set("levels", levels)
		kappas, err := stats.CohenKappa(tables[g], j.conf)
		return o.put("kappa", kappas, err)
	})
}
