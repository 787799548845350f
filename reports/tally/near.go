package tally

import (
	"fmt"
	"slices"

	"solewright/reports/stats"
)

var nearStatistics = []statistic{{
	name: "near", flags: []string{"item", "to", "columns"}, run: (*job).near,
	help:    "The items most like one, nearest first, or without --to the most typical one. An empty cell is left out of a comparison; only an item without a name is dropped.",
	example: "--item pair --to A17 --columns heel,toe,side readings.csv",
}}

// near reads every cell as it stands: a missing one takes no part in a
// distance, where other statistics drop its row.
func (j *job) near() error {
	if err := j.need("item"); err != nil {
		return err
	}
	if j.count != "" {
		return usage("near takes no --count: an item stands once")
	}
	read := slices.Clone(j.columns)
	if read == nil {
		for _, name := range j.in.from.header() {
			if name != j.item && !slices.Contains(j.by, name) {
				read = append(read, name)
			}
		}
	}
	columns := []column{{j.item, text}}
	for _, name := range read {
		columns = append(columns, column{name, optional})
	}
	type items struct {
		numbers
		cells [][]string // by column
	}
	var groups []*items
	wordy := make([]bool, len(read)) // columns with a cell that is no number
	err := j.in.each(columns, func(g, _ int, c []cell) error {
		if g == len(groups) {
			groups = append(groups, &items{cells: make([][]string, len(read))})
		}
		in := groups[g]
		if before := len(in.names); int(in.of(c[0].text)) < before {
			return fmt.Errorf("%q: %s stands on a row before", j.item, c[0].text)
		}
		for i, v := range c[1:] {
			in.cells[i] = append(in.cells[i], v.text)
			if _, err := decimal(v.text); err != nil && !absent(v.text, text) {
				wordy[i] = true
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if j.given["to"] && !slices.ContainsFunc(groups, func(in *items) bool { return slices.Contains(in.names, j.to) }) {
		return usage("--to: no item is %q", j.to)
	}
	return j.inGroups(func(g int, o *object) error {
		in := groups[g]
		compared := make([]stats.Column, len(read))
		for i, name := range read {
			compared[i] = comparedColumn(name, in.cells[i], wordy[i])
		}
		gower, err := stats.NewGower(compared)
		if !j.given["to"] {
			return j.typical(o, gower, err, in.names)
		}
		to := slices.Index(in.names, j.to)
		if err == nil && to < 0 {
			err = &stats.Reason{Code: "elsewhere", Detail: "the item stands in another group"}
		}
		if err != nil {
			return o.put("rows", nil, err)
		}
		near, err := gower.Nearest(to, nil)
		rows := make([]object, len(near))
		for i, n := range near {
			rows[i].set("item", in.names[n.Item])
			rows[i].set("distance", n.Distance)
		}
		return o.put("rows", rows, err)
	})
}

// typical adds the medoid.
func (j *job) typical(o *object, gower *stats.Gower, err error, names []string) error {
	var item int
	var mean float64
	if err == nil {
		item, mean, err = gower.Medoid(j.seed)
	}
	if err != nil {
		return o.spread(nil, err, "medoid", "mean_distance")
	}
	o.set("medoid", names[item])
	o.set("mean_distance", mean)
	return nil
}

// comparedColumn reads cells as words or numbers; empty and NA are missing.
func comparedColumn(name string, cells []string, wordy bool) stats.Column {
	c := stats.Column{Name: name}
	for _, s := range cells {
		missing := absent(s, text)
		switch {
		case wordy && missing:
			c.Words = append(c.Words, "")
		case wordy:
			c.Words = append(c.Words, s)
		case missing:
			c.Numbers = append(c.Numbers, stats.None)
		default:
			v, _ := decimal(s) // the column is not wordy
			c.Numbers = append(c.Numbers, stats.Some(v))
		}
	}
	return c
}
