package tally

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"solewright/reports/stats"
)

var regressStatistics = []statistic{{
	name: "regress", run: (*job).regress,
	flags:   []string{"time", "event", "lower", "upper", "worn", "current-status", "on", "ref"},
	help:    "How lives differ with the columns of --on: a Weibull regression whose ratios say how many times as long pairs last. Words are levels held against the first in sort order or --ref; a column of numbers is one term.",
	example: "--lower sound_km --upper worn_km --on gait,mass --ref gait=even readings.csv",
}}

var regressKeys = []string{"terms", "log_scale", "se_log_scale", "loglik", "loglik_null", "lrt", "df", "p"}

func (j *job) regress() error {
	columns, read, err := j.lives()
	if err != nil {
		return err
	}
	if err := j.need("on"); err != nil {
		return err
	}
	references, err := j.references()
	if err != nil {
		return err
	}
	own := len(columns)
	for _, name := range j.on {
		columns = append(columns, column{name, text})
	}
	type group struct {
		lives  []stats.Interval
		values [][]string // by column of --on
	}
	var groups []*group
	wordy := make([]bool, len(j.on))
	seen := make([]map[string]bool, len(j.on))
	for i, name := range j.on {
		_, wordy[i] = references[name]
		seen[i] = map[string]bool{}
	}
	err = j.in.distinct(columns, func(g, count int, c []cell) error {
		if g == len(groups) {
			groups = append(groups, &group{values: make([][]string, len(j.on))})
		}
		lower, upper, err := read(c)
		if err != nil {
			return err
		}
		in := groups[g]
		in.lives = append(in.lives, stats.Interval{Lower: lower, Upper: upper, N: count})
		for i, v := range c[own:] {
			in.values[i] = append(in.values[i], v.text)
			if _, err := decimal(v.text); err != nil {
				wordy[i] = true
			}
			seen[i][v.text] = true
		}
		return nil
	})
	if err != nil {
		return err
	}
	for i, name := range j.on {
		if level, named := references[name]; named && len(groups) > 0 && !seen[i][level] {
			return usage("--ref: no row has %s=%s", name, level)
		}
	}
	fill := func(g int, o *object) error {
		in := &group{values: make([][]string, len(j.on))} // every row may have been dropped
		if g < len(groups) {
			in = groups[g]
		}
		on := make([]stats.Covariate, len(j.on))
		for i, name := range j.on {
			on[i] = covariate(name, in.values[i], wordy[i], references[name])
		}
		r, err := stats.RegressLife(in.lives, on, j.conf)
		if errors.Is(err, stats.ErrBadInput) {
			// A life of exactly 0 has no logarithm.
			err = &stats.Reason{Code: "no-maximum", Detail: err.Error()}
		}
		return o.spread(r, err, regressKeys...)
	}
	if len(j.by) > 0 {
		return j.inGroups(fill)
	}
	j.out.set("groups", []object{})
	return fill(0, &j.out)
}

// covariate reads values as levels or numbers.
func covariate(name string, values []string, wordy bool, reference string) stats.Covariate {
	c := stats.Covariate{Name: name, Reference: reference}
	if wordy {
		c.Words = append([]string{}, values...)
		return c
	}
	c.Numbers = make([]float64, len(values))
	for i, s := range values {
		c.Numbers[i], _ = decimal(s) // the column is not wordy
	}
	return c
}

// references reads --ref; a column named there is read as levels.
func (j *job) references() (map[string]string, error) {
	levels := map[string]string{}
	for _, part := range j.ref {
		name, level, ok := strings.Cut(part, "=")
		switch {
		case !ok || level == "":
			return nil, usage("--ref: %q: want COL=LEVEL", part)
		case !slices.Contains(j.on, name):
			return nil, usage("--ref: %q is none of --on %s", name, j.on.String())
		}
		levels[name] = level
	}
	return levels, nil
}

// lives returns the columns that life reads and how a row of them says when a
// pair failed: after lower and at or before upper.
func (j *job) lives() ([]column, func(c []cell) (lower, upper float64, err error), error) {
	switch {
	case j.currentStatus:
		if err := j.need("time", "worn"); err != nil {
			return nil, nil, err
		}
		return []column{{j.time, number}, {j.worn, yesNo}}, func(c []cell) (float64, float64, error) {
			if c[1].num == 1 {
				return 0, c[0].num, distance(c[0], j.time)
			}
			return c[0].num, math.Inf(1), distance(c[0], j.time)
		}, nil
	case j.given["lower"] || j.given["upper"]:
		if err := j.need("lower", "upper"); err != nil {
			return nil, nil, err
		}
		return []column{{j.lower, number}, {j.upper, openEnded}}, func(c []cell) (float64, float64, error) {
			if c[1].num < c[0].num {
				return 0, 0, fmt.Errorf("%q: %s lies below %s", j.upper, c[1].text, c[0].text)
			}
			return c[0].num, c[1].num, distance(c[0], j.lower)
		}, nil
	}
	if err := j.need("time", "event"); err != nil {
		return nil, nil, err
	}
	return []column{{j.time, number}, {j.event, yesNo}}, func(c []cell) (float64, float64, error) {
		if c[1].num == 1 {
			return c[0].num, c[0].num, distance(c[0], j.time)
		}
		return c[0].num, math.Inf(1), distance(c[0], j.time)
	}, nil
}
