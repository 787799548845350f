package tally

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"solewright/reports/stats"
)

var lifeStatistics = []statistic{{
	name: "life", run: (*job).life,
	flags:   []string{"time", "event", "ci", "tau", "strata", "lower", "upper", "bootstrap", "worn", "current-status", "given", "risk"},
	help:    "How long pairs last: from exact and right-censored distances, from two looks, or from one look each. Groups are compared where there are several.",
	example: "--lower sound_km --upper worn_km --by model readings.csv",
}}

func (j *job) life() error {
	switch {
	case j.currentStatus:
		return j.oneLook()
	case j.given["lower"] || j.given["upper"]:
		return j.twoLooks()
	}
	return j.rightCensored()
}

// observed is one distinct observation of one group.
type observed struct {
	group, stratum int
	lower, upper   float64
}

// columnsOf splits tallies into the arrays that stats counts.
func columnsOf(seen *tallies[observed]) (lower, upper []float64, group []int) {
	for _, k := range seen.keys {
		lower, upper, group = append(lower, k.lower), append(upper, k.upper), append(group, k.group)
	}
	return lower, upper, group
}

func distance(c cell, name string) error {
	if c.num < 0 {
		return fmt.Errorf("%q: %s: want 0 or more", name, c.text)
	}
	return nil
}

func (j *job) rightCensored() error {
	if err := j.need("time", "event"); err != nil {
		return err
	}
	ci := stats.CurveCI(j.ci)
	if !slices.Contains([]stats.CurveCI{stats.LogLog, stats.Log, stats.Plain}, ci) {
		return usage("--ci: %q: want log-log, log or plain", j.ci)
	}
	columns := []column{{j.time, number}, {j.event, yesNo}}
	if j.strata != "" {
		columns = append(columns, column{j.strata, text})
	}
	var seen tallies[observed]
	var strata tallies[string]
	err := j.in.distinct(columns, func(g, count int, c []cell) error {
		upper := c[0].num
		if c[1].num == 0 {
			upper = math.Inf(1)
		}
		stratum := ""
		if j.strata != "" {
			stratum = c[2].text
		}
		seen.add(observed{g, strata.add(stratum, count), c[0].num, upper}, count)
		return distance(c[0], j.time)
	})
	if err != nil {
		return err
	}
	lower, upper, group := columnsOf(&seen)
	failed := make([]bool, len(upper))
	for i := range upper {
		failed[i] = !math.IsInf(upper[i], 1)
	}
	groups := len(j.in.groups)
	exits, err := stats.ExitsBy(lower, failed, seen.counts, group, groups)
	if err != nil {
		return err
	}
	intervals, err := stats.IntervalsBy(lower, upper, seen.counts, group, groups)
	if err != nil {
		return err
	}
	err = j.inGroups(func(g int, o *object) error {
		km, err := stats.KaplanMeier(exits[g], stats.KMOptions{Conf: j.conf, CI: ci, Tau: j.tau})
		if err := o.spread(km, err, "n", "events", "curve", "median", "median_low", "median_high", "rmst", "rmst_se"); err != nil {
			return err
		}
		if !j.given["tau"] {
			o.why = append(o.why, "rmst: no --tau was named")
		}
		return j.parametric(o, intervals[g])
	})
	if err != nil || groups < 2 {
		return err
	}
	if err := tooMany(groups, "groups"); err != nil {
		return j.out.spread(nil, err, "logrank", "pairwise")
	}
	byStratum := make([][][]stats.Exit, len(strata.keys))
	for s := range byStratum {
		var part tallies[observed]
		for i, k := range seen.keys {
			if k.stratum == s {
				part.add(k, seen.counts[i])
			}
		}
		time, ends, group := columnsOf(&part)
		failed := make([]bool, len(ends))
		for i := range ends {
			failed[i] = !math.IsInf(ends[i], 1)
		}
		if byStratum[s], err = stats.ExitsBy(time, failed, part.counts, group, groups); err != nil {
			return err
		}
	}
	test, err := stats.StratifiedLogRank(byStratum)
	if err := j.out.put("logrank", test, err); err != nil {
		return err
	}
	pairs, err := stats.PairwiseLogRank(j.in.labels(), byStratum)
	return j.out.put("pairwise", pairs, err)
}

func (j *job) twoLooks() error {
	if err := j.need("lower", "upper"); err != nil {
		return err
	}
	if j.strata != "" {
		return usage("--strata goes with --time and --event")
	}
	var seen tallies[observed]
	err := j.in.distinct([]column{{j.lower, number}, {j.upper, openEnded}}, func(g, count int, c []cell) error {
		if c[1].num < c[0].num {
			return fmt.Errorf("%q: %s lies below %s", j.upper, c[1].text, c[0].text)
		}
		seen.add(observed{g, 0, c[0].num, c[1].num}, count)
		return distance(c[0], j.lower)
	})
	if err != nil {
		return err
	}
	lower, upper, group := columnsOf(&seen)
	all, err := stats.IntervalsBy(lower, upper, seen.counts, group, len(j.in.groups))
	if err != nil {
		return err
	}
	err = j.inGroups(func(g int, o *object) error {
		life, err := stats.NPMLE(all[g])
		if err != nil {
			return o.spread(nil, err, "support", "loglik", "gap", "curve", "median")
		}
		o.set("n", life.N)
		o.set("support", life.Support)
		o.set("loglik", life.LogLik)
		o.set("gap", life.Gap)
		o.set("curve", life.Curve)
		if life.Median == nil {
			o.set("median", nil)
			o.why = append(o.why, life.Why)
		} else {
			o.set("median", []stats.Float{stats.Some(life.Median[0]), stats.Some(life.Median[1])})
		}
		if err := j.parametric(o, all[g]); err != nil || j.bootstrap == 0 {
			return err
		}
		at := make([]float64, len(life.Curve))
		for i, p := range life.Curve {
			at[i] = p.Time
		}
		band, err := stats.LifeBand(all[g], at, j.bootstrap, j.seed, j.conf)
		return o.put("band", band, err)
	})
	if err != nil || len(all) < 2 {
		return err
	}
	if err := tooMany(len(all), "groups"); err != nil {
		return j.out.put("score", nil, err)
	}
	test, err := stats.ScoreTest(all, stats.SunScores)
	return j.out.put("score", test, err)
}

// parametric adds the Weibull life and what follows from it.
func (j *job) parametric(o *object, x []stats.Interval) error {
	w, err := stats.FitWeibull(x, j.conf)
	if errors.Is(err, stats.ErrBadInput) {
		// A life of exactly 0 has no logarithm; the curve above stands.
		err = &stats.Reason{Code: "no-maximum", Detail: err.Error()}
	}
	if err := o.put("weibull", w, err); err != nil || !j.given["given"] {
		return err
	}
	if j.given0 < 0 || j.risk <= 0 || j.risk >= 1 {
		return usage("--given %v --risk %v: want a distance of 0 or more and a risk between 0 and 1", j.given0, j.risk)
	}
	var next object
	var km *stats.ConditionalKm
	if err == nil {
		km, err = w.ConditionalQuantile(j.given0, j.risk)
	}
	if err := next.spread(km, err, "km", "low", "high"); err != nil {
		return err
	}
	life, err := stats.NPMLE(x)
	var bracket *stats.ConditionalBracket
	if err == nil {
		bracket, err = life.ConditionalQuantile(j.given0, j.risk)
	}
	err = next.put("npmle", bracket, err)
	o.set("next", next)
	return err
}

func (j *job) oneLook() error {
	if err := j.need("time", "worn"); err != nil {
		return err
	}
	var seen tallies[observed]
	err := j.in.distinct([]column{{j.time, number}, {j.worn, yesNo}}, func(g, count int, c []cell) error {
		seen.add(observed{g, c[1].int(), c[0].num, 0}, count)
		return distance(c[0], j.time)
	})
	if err != nil {
		return err
	}
	time, _, group := columnsOf(&seen)
	worn := make([]bool, len(time))
	for i, k := range seen.keys {
		worn[i] = k.stratum == 1
	}
	exits, err := stats.ExitsBy(time, worn, seen.counts, group, len(j.in.groups))
	if err != nil {
		return err
	}
	// Worn at t, a pair failed in (0, t]; sound at t, beyond it.
	lower, upper := make([]float64, len(time)), make([]float64, len(time))
	for i, t := range time {
		lower[i], upper[i] = t, math.Inf(1)
		if worn[i] {
			lower[i], upper[i] = 0, t
		}
	}
	intervals, err := stats.IntervalsBy(lower, upper, seen.counts, group, len(j.in.groups))
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		life, err := stats.CurrentStatus(exits[g])
		if err := o.spread(life, err, "steps"); err != nil {
			return err
		}
		if life != nil && j.bootstrap > 0 {
			if err := j.statusBand(o, exits[g], life); err != nil {
				return err
			}
		}
		return j.parametric(o, intervals[g])
	})
}

// statusBand adds limits of the share failed by each look: by likelihood ratio
// or, at a level where its law is not known, by subsampling.
func (j *job) statusBand(o *object, x []stats.Exit, life *stats.StatusLife) error {
	at := make([]float64, len(life.Steps))
	for i, s := range life.Steps {
		at[i] = s.Time
	}
	method := "likelihood-ratio"
	band, err := stats.CurrentStatusLimits(x, at, j.conf)
	if errors.Is(err, stats.ErrNoLaw) {
		method = "subsampling"
		band, err = stats.CurrentStatusSubsampled(x, at, j.bootstrap, j.seed, j.conf)
	}
	if err := o.put("band", band, err); err != nil {
		return err
	}
	o.set("band_method", method)
	return nil
}
