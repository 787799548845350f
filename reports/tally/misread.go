package tally

import (
	"errors"
	"fmt"

	"solewright/reports/stats"
)

var misreadStatistics = []statistic{{
	name: "misread", run: (*job).misread,
	flags:   []string{"item", "rater", "grade", "patterns", "hits", "size", "se-hits", "se-size", "sp-hits", "sp-size", "bootstrap"},
	help:    "What is true, knowing how readers err: from grades alone by --item, --rater and --grade or by --patterns, or from a share and readings of pairs of known state. --by names the unit where --hits are given.",
	example: "--hits worn --size seen --se-hits a --se-size b --sp-hits c --sp-size d --by store counts.csv",
}}

func (j *job) misread() error {
	switch {
	case j.given["hits"] || j.given["size"]:
		return j.knownErrors()
	case j.given["patterns"]:
		return j.gradePatterns()
	}
	return j.gradedItems()
}

// voters are the grades of one group by numbered items and raters.
type voters struct {
	grades        []stats.Grade
	items, raters numbers
	weight        []int // of each item; nil for one each
}

// mostVotes bounds the grades that a group may hold.
const mostVotes = 50_000_000

func (v *voters) add(item, rater, level, count int) error {
	if count > mostVotes-len(v.grades) {
		return errors.New("there are more grades than can be held")
	}
	for range count {
		v.grades = append(v.grades, stats.Grade{Item: item, Rater: rater, Level: level})
	}
	return nil
}

func (j *job) gradedItems() error {
	if err := j.need("item", "rater", "grade"); err != nil {
		return err
	}
	var groups []*voters
	var levels numbers
	err := j.in.distinct([]column{{j.item, text}, {j.rater, text}, {j.grade, text}}, func(g, count int, c []cell) error {
		if g == len(groups) {
			groups = append(groups, &voters{})
		}
		v := groups[g]
		if err := v.add(int(v.items.of(c[0].text)), int(v.raters.of(c[1].text)), int(levels.of(c[2].text)), count); err != nil {
			return fmt.Errorf("%q: %w", j.grade, err)
		}
		return j.level(j.grade, c[2].text)
	})
	if err != nil {
		return err
	}
	return j.trueClasses(groups, levels.names)
}

// gradePatterns reads a row as so many items, graded alike by all raters.
func (j *job) gradePatterns() error {
	if len(j.patterns) < 2 {
		return usage("--patterns: %s: want the columns of two raters or more", j.patterns.String())
	}
	columns := make([]column, len(j.patterns))
	for i, name := range j.patterns {
		columns[i] = column{name, text}
	}
	var groups []*voters
	var levels numbers
	err := j.in.distinct(columns, func(g, count int, c []cell) error {
		if g == len(groups) {
			groups = append(groups, &voters{})
			for _, name := range j.patterns {
				groups[g].raters.of(name)
			}
		}
		v := groups[g]
		for rater, grade := range c {
			if err := v.add(len(v.weight), rater, int(levels.of(grade.text)), 1); err != nil {
				return fmt.Errorf("%q: %w", j.patterns[rater], err)
			}
			if err := j.level(j.patterns[rater], grade.text); err != nil {
				return err
			}
		}
		v.weight = append(v.weight, count)
		return nil
	})
	if err != nil {
		return err
	}
	return j.trueClasses(groups, levels.names)
}

// trueClasses estimates what is true in each group; seen names the levels by
// the numbers that grades have.
func (j *job) trueClasses(groups []*voters, seen []string) error {
	levels := j.categories(seen)
	at := places(levels)
	return j.inGroups(func(g int, o *object) error {
		v := groups[g]
		for i, grade := range v.grades {
			v.grades[i].Level = at[seen[grade.Level]]
		}
		o.set("levels", levels)
		o.set("raters", v.raters.names)
		if v.weight == nil {
			o.set("items", v.items.names)
		}
		classes, err := stats.DawidSkene(v.grades, v.weight, len(levels))
		if err != nil {
			return o.spread(nil, err, "prevalence", "confusion", "loglik", "map")
		}
		likeliest := make([]string, len(classes.Map))
		for i, level := range classes.Map {
			likeliest[i] = levels[level]
		}
		o.set("prevalence", classes.Prevalence)
		if j.bootstrap > 0 {
			limits, err := stats.DawidSkeneLimits(v.grades, v.weight, len(levels), j.bootstrap, j.seed, j.conf)
			low, high := make([]float64, len(limits)), make([]float64, len(limits))
			for i, l := range limits {
				low[i], high[i] = l.Low, l.High
			}
			if err := o.put("prevalence_low", low, err); err != nil {
				return err
			}
			if err := o.put("prevalence_high", high, err); err != nil {
				return err
			}
		}
		o.set("confusion", classes.Confusion)
		o.set("loglik", classes.LogLik)
		o.set("map", likeliest)
		o.set("certainty", classes.Certainty)
		o.set("iterations", classes.Iterations)
		if classes.Note != "" {
			o.set("note", classes.Note)
		}
		return nil
	})
}

// knownErrors corrects shares by readings of pairs of known state. Rows of one
// unit add up; its readings of known state must be the same on all of them, as
// they are one sample.
func (j *job) knownErrors() error {
	flags := []string{"hits", "size", "se-hits", "se-size", "sp-hits", "sp-size"}
	if err := j.need(flags...); err != nil {
		return err
	}
	names := []string{j.hits, j.size, j.seHits, j.seSize, j.spHits, j.spSize}
	columns := make([]column, len(names))
	for i, name := range names {
		columns[i] = column{name, number} // a share of a size need not be whole
	}
	type unit struct{ read, sensitivity, specificity stats.Reading }
	var units []unit
	err := j.in.distinct(columns, func(g, count int, c []cell) error {
		for i := 0; i < len(c); i += 2 {
			if !(c[i].num >= 0 && c[i].num <= c[i+1].num) {
				return fmt.Errorf("%q: %s hits among %s", names[i], c[i].text, c[i+1].text)
			}
		}
		known := unit{
			sensitivity: stats.Reading{Hits: c[2].num, Size: c[3].num},
			specificity: stats.Reading{Hits: c[4].num, Size: c[5].num},
		}
		if g == len(units) {
			units = append(units, known)
		}
		u := &units[g]
		switch {
		case u.sensitivity != known.sensitivity:
			return fmt.Errorf("%q: another sample than on the unit's first row", j.seHits)
		case u.specificity != known.specificity:
			return fmt.Errorf("%q: another sample than on the unit's first row", j.spHits)
		}
		u.read.Hits += float64(count) * c[0].num
		u.read.Size += float64(count) * c[1].num
		if u.read.Size > maxTotal {
			return fmt.Errorf("%q: the numbers add up to more than can be counted", j.size)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		u := units[g]
		p, err := stats.RoganGladen(u.read, u.sensitivity, u.specificity, j.conf)
		return o.spread(p, err, "apparent", "raw", "estimate", "se", "low", "high", "lr_low", "lr_high")
	})
}
