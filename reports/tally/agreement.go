package tally

import (
	"fmt"
	"slices"
	"strconv"

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
	type key struct {
		group       int
		item, rater string
	}
	var seen tallies[key]
	var grades []string
	var values tallies[string]
	err := j.in.each([]column{{j.item, text}, {j.rater, text}, {j.grade, text}}, func(g, _ int, c []cell) error {
		if i := seen.add(key{g, c[0].text, c[1].text}, 1); i < len(grades) {
			return fmt.Errorf("%q: %s graded %s before", j.rater, c[1].text, c[0].text)
		}
		if _, _, err := parse(c[2].text, number); err != nil && scale == stats.IntervalData {
			return fmt.Errorf("%q: %w", j.grade, err)
		}
		grades = append(grades, c[2].text)
		values.add(c[2].text, 1)
		return j.level(j.grade, c[2].text)
	})
	if err != nil {
		return err
	}
	levels := j.categories(values.keys)
	measured, err := measures(levels)
	if err != nil && scale == stats.IntervalData {
		return usage("--levels: %v", err)
	}
	at := map[string]int{}
	for i, l := range levels {
		at[l] = i
	}
	// Items and raters are numbered within their group.
	items, raters := make([]tallies[string], len(j.in.groups)), make([]tallies[string], len(j.in.groups))
	all := make([][]stats.Grade, len(j.in.groups))
	for i, k := range seen.keys {
		item, rater := items[k.group].add(k.item, 1), raters[k.group].add(k.rater, 1)
		all[k.group] = append(all[k.group], stats.Grade{Item: item, Rater: rater, Level: at[grades[i]]})
	}
	return j.inGroups(func(g int, o *object) error {
		o.set("levels", levels)
		r, err := stats.Reduce(all[g], len(levels))
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
		if err := j.intraclass(o, all[g], measured, len(items[g].keys), len(raters[g].keys)); err != nil {
			return err
		}
		return j.pairwiseKappas(o, all[g], raters[g].keys, len(levels))
	})
}

// measures reads levels as numbers; nil where one is a word.
func measures(levels []string) ([]float64, error) {
	all := make([]float64, len(levels))
	for i, l := range levels {
		v, err := strconv.ParseFloat(l, 64)
		if err != nil {
			return nil, fmt.Errorf("%q is not a number", l)
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

// pairwiseKappas adds kappa of every two raters over the items both graded.
func (j *job) pairwiseKappas(o *object, grades []stats.Grade, raters []string, levels int) error {
	given := make([]map[int]int, len(raters))
	for i := range given {
		given[i] = map[int]int{}
	}
	for _, g := range grades {
		given[g.Rater][g.Item] = g.Level
	}
	pairs := []object{}
	for a := range raters {
		for b := a + 1; b < len(raters); b++ {
			table := square(levels, levels)
			for item, level := range given[a] {
				if other, both := given[b][item]; both {
					table[level][other]++
				}
			}
			var pair object
			pair.set("a", raters[a])
			pair.set("b", raters[b])
			kappas, err := stats.CohenKappa(table, j.conf)
			if err := pair.put("kappa", kappas, err); err != nil {
				return err
			}
			pairs = append(pairs, pair)
		}
	}
	o.set("pairwise", pairs)
	return nil
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
