package tally

import (
	"cmp"
	"errors"
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
	var rounds []*round
	var values numbers
	err := j.in.each([]column{{j.item, text}, {j.rater, text}, {j.grade, text}}, func(g, count int, c []cell) error {
		if g == len(rounds) {
			rounds = append(rounds, &round{})
		}
		seen := len(values.names)
		r, level := rounds[g], values.of(c[2].text)
		if err := r.add(r.items.of(c[0].text), grade{r.raters.of(c[1].text), level}, count); err != nil {
			return err
		}
		if int(level) < seen {
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
	renumber := make([]int32, len(values.names))
	for i, name := range values.names {
		renumber[i] = int32(at[name])
	}
	return j.inGroups(func(g int, o *object) error {
		o.set("levels", levels)
		round := rounds[g]
		ratings, err := round.reduce(renumber, len(levels))
		if err != nil {
			return err
		}
		fleiss, err := stats.FleissKappa(ratings)
		if err := o.put("fleiss", fleiss, err); err != nil {
			return err
		}
		alpha, err := stats.Krippendorff(ratings, scale, measured, stats.BootstrapReplicates, j.seed, j.conf)
		if err := o.spread(alpha, err, "alpha", "alpha_low", "alpha_high"); err != nil {
			return err
		}
		ac1, err := stats.GwetAC1(ratings, j.conf)
		if err != nil {
			ac1 = new(stats.Agreement) // none of it is defined
		}
		if err := o.put("ac1", ac1.Value, err); err != nil {
			return err
		}
		o.set("ac1_se", ac1.SE)
		o.set("ac1_low", ac1.Low)
		o.set("ac1_high", ac1.High)
		if err := j.intraclass(o, round, measured); err != nil {
			return err
		}
		return j.pairwiseKappas(o, round, len(levels))
	})
}

// round holds the grades of a group. Items and raters are numbered within it.
type round struct {
	items, raters numbers
	of            []int32 // the item of each grade, while they are read
	grades        []grade // from reduce on by item and rater
	ends          []int   // where the grades of each item end
	// repeated says that a rater graded an item more than once: as grades they
	// all count, but the rater's reading of the item is not one.
	repeated bool
	many     []repeat
}

type grade struct{ rater, level int32 }

// repeat is a grade that stands more often than once.
type repeat struct {
	item  int32
	level int32
	more  int
}

// mostGrades bounds how often one grade of one item stands.
const mostGrades = 1 << 30

func (r *round) add(item int32, g grade, count int) error {
	if count > mostGrades {
		return fmt.Errorf("%q: more than %d equal grades of one item", r.items.names[item], mostGrades)
	}
	if count == 0 {
		return nil
	}
	r.of, r.grades = append(r.of, item), append(r.grades, g)
	if count > 1 {
		r.repeated = true
		r.many = append(r.many, repeat{item, g.level, count - 1})
	}
	return nil
}

// reduce sorts the grades, their levels renumbered, and counts them.
func (r *round) reduce(renumber []int32, levels int) (*stats.Ratings, error) {
	counts := square(len(r.items.names), levels)
	r.ends = make([]int, len(counts)+1)
	for i, item := range r.of {
		r.grades[i].level = renumber[r.grades[i].level]
		counts[item][r.grades[i].level]++
		r.ends[item+1]++
	}
	for _, m := range r.many {
		counts[m.item][renumber[m.level]] += m.more
	}
	for i := range counts {
		r.ends[i+1] += r.ends[i]
	}
	sorted := make([]grade, len(r.grades))
	for i, item := range r.of {
		sorted[r.ends[item]] = r.grades[i]
		r.ends[item]++ // from where the item begins to where it ends
	}
	r.of, r.grades, r.ends = nil, sorted, r.ends[:len(counts)]
	for i := range counts {
		own := r.item(i)
		slices.SortFunc(own, func(a, b grade) int { return cmp.Compare(a.rater, b.rater) })
		for k := 1; k < len(own); k++ {
			r.repeated = r.repeated || own[k].rater == own[k-1].rater
		}
	}
	ratings, err := stats.RatingsOf(counts)
	if errors.Is(err, stats.ErrEmpty) {
		return &stats.Ratings{Levels: levels}, nil
	}
	return ratings, err
}

// item returns the grades of an item, by rater.
func (r *round) item(i int) []grade {
	begin := 0
	if i > 0 {
		begin = r.ends[i-1]
	}
	return r.grades[begin:r.ends[i]]
}

// numbers numbers names from 0 in order of first appearance.
type numbers struct {
	names []string
	at    map[string]int32
}

func (n *numbers) of(name string) int32 {
	i, known := n.at[name]
	if !known {
		if n.at == nil {
			n.at = map[string]int32{}
		}
		i = int32(len(n.names))
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

var errRepeated = &stats.Reason{Code: "repeated", Detail: "a rater graded an item more than once"}

// intraclass adds the ICC, which needs numbers and every item graded once by
// every rater.
func (j *job) intraclass(o *object, r *round, measured []float64) error {
	items, raters := len(r.items.names), len(r.raters.names)
	switch {
	case measured == nil:
		return o.put("icc", nil, &stats.Reason{Code: "words", Detail: "the grades are words"})
	case r.repeated:
		return o.put("icc", nil, errRepeated)
	case len(r.grades) != items*raters:
		return o.put("icc", nil, &stats.Reason{Code: "not-crossed", Detail: "not every rater graded every item"})
	}
	readings := make([][]float64, items)
	for i := range readings {
		readings[i] = make([]float64, raters)
		for k, g := range r.item(i) {
			readings[i][k] = measured[g.level]
		}
	}
	icc, err := stats.ICC(readings, j.conf)
	return o.put("icc", icc, err)
}

// mostPairs bounds what is compared two by two: more pairs nobody reads.
const mostPairs = 100_000

// tooMany is why n things are not compared two by two, nil where they are.
func tooMany(n int, what string) error {
	if n*(n-1)/2 <= mostPairs {
		return nil
	}
	return &stats.Reason{Code: "too-many", Detail: fmt.Sprintf("%d %s make more than %d pairs", n, what, mostPairs)}
}

// pairwiseKappas adds kappa of every two raters over the items both graded.
func (j *job) pairwiseKappas(o *object, r *round, levels int) error {
	raters := r.raters.names
	if err := tooMany(len(raters), "raters"); err != nil {
		return o.put("pairwise", nil, err)
	}
	if r.repeated {
		return o.put("pairwise", nil, errRepeated)
	}
	tables := map[[2]int32][][]int{}
	for i := range r.ends {
		own := r.item(i)
		for k, a := range own {
			for _, b := range own[k+1:] {
				table := tables[[2]int32{a.rater, b.rater}]
				if table == nil {
					table = square(levels, levels)
					tables[[2]int32{a.rater, b.rater}] = table
				}
				table[a.level][b.level]++
			}
		}
	}
	pairs := []object{}
	for a := range raters {
		for b := a + 1; b < len(raters); b++ {
			var pair object
			pair.set("a", raters[a])
			pair.set("b", raters[b])
			var kappas *stats.Kappas
			err := error(&stats.Reason{Code: stats.ErrEmpty.Code, Detail: "no item was graded by both"})
			if table := tables[[2]int32{int32(a), int32(b)}]; table != nil {
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
