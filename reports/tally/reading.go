package tally

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"solewright/reports/stats"
)

var readingStatistics = []statistic{
	{
		name: "trend", flags: []string{"hits", "size", "score", "value", "order"}, run: (*job).trend,
		help:    "Whether a share rises along --score, or a series along --order. A series also gets its slope.",
		example: "--value grip --order month months.csv",
	},
	{
		name: "agreement", flags: []string{"item", "rater", "grade", "scale", "first", "second"}, run: (*job).agreement,
		help:    "How far raters agree beyond chance, from --item, --rater and --grade or from two readings. --levels lists the grades in order, unused ones included.",
		example: "--item pair --rater reader --grade verdict --scale ordinal round.csv",
	},
	{
		name: "match", flags: []string{"first", "second"}, run: (*job).match,
		help:    "Whether two readings of the same pairs use the categories equally often. With --count a row stands for several pairs.",
		example: "--first shop --second bench twice.csv",
	},
	{
		name: "limits", flags: []string{"first", "second"}, run: (*job).limits,
		help:    "How far two methods of measuring the same thing part. The limits hold about 95 % of differences.",
		example: "--first gauge --second camera twice.csv",
	},
	{
		name: "heaping", flags: []string{"value", "range"}, run: (*job).heaping,
		help:    "Whether whole numbers were written down as round ones. Whipple's index reads 23–62, or all values where one is above 120, and Myers' 10–89, unless --range says otherwise.",
		example: "--value km --range 0:999 readings.csv",
	},
	{
		name: "symmetry", flags: []string{"left", "right"}, run: (*job).symmetry,
		help:    "The symmetry index of each row, left against right, in percent. It is null where both are 0.",
		example: "--left left_mm --right right_mm pairs.csv",
	},
}

func (j *job) trend() error {
	if j.given["value"] {
		if err := j.need("value", "order"); err != nil {
			return err
		}
		var order, value [][]float64
		err := j.in.distinct([]column{{j.order, number}, {j.value, number}}, func(g, count int, c []cell) error {
			if g == len(order) {
				order, value = append(order, nil), append(value, nil)
			}
			if len(order[g])+count > stats.LongestTrend {
				return fmt.Errorf("%q: more than %d points: every pair of them has a slope", j.order, stats.LongestTrend)
			}
			for range count {
				order[g], value[g] = append(order[g], c[0].num), append(value[g], c[1].num)
			}
			return nil
		})
		if err != nil {
			return err
		}
		return j.inGroups(func(g int, o *object) error {
			t, err := stats.MannKendall(order[g], value[g], j.conf, stats.Outward)
			return o.spread(t, err, "s", "var_s", "z", "p", "tau_b", "slope", "slope_low", "slope_high")
		})
	}
	if err := j.need("hits", "size", "score"); err != nil {
		return err
	}
	type key struct {
		group int
		score float64
	}
	var seen tallies[key]
	var doses [][]stats.Dose
	var slot []int // where each key stands among the doses of its group
	err := j.in.distinct([]column{{j.hits, whole}, {j.size, whole}, {j.score, number}}, func(g, count int, c []cell) error {
		if c[0].num > c[1].num {
			return fmt.Errorf("%q: %s hits among %s", j.hits, c[0].text, c[1].text)
		}
		if g == len(doses) {
			doses = append(doses, nil)
		}
		i := seen.add(key{g, c[2].num}, count)
		if i == len(slot) {
			slot = append(slot, len(doses[g]))
			doses[g] = append(doses[g], stats.Dose{Score: c[2].num})
		}
		d := &doses[g][slot[i]]
		if err := addTimes(&d.Size, count, c[1], j.size); err != nil {
			return err
		}
		return addTimes(&d.Hits, count, c[0], j.hits)
	})
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		t, err := stats.CochranArmitage(doses[g])
		return o.spread(t, err, "z", "chi2", "p")
	})
}

// affirmative are the words that mean yes wherever --levels puts them.
var affirmative = map[string]bool{"yes": true, "y": true, "true": true, "t": true}

func (j *job) match() error {
	levels, tables, err := j.twoReadings()
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		o.set("levels", levels)
		if len(levels) == 2 {
			yes := 1 // the later level: 1 of 0 and 1, worn of sound and worn
			if affirmative[strings.ToLower(levels[0])] && !affirmative[strings.ToLower(levels[1])] {
				yes = 0
			}
			m, err := stats.McNemar(tables[g][yes][1-yes], tables[g][1-yes][yes])
			return o.spread(m, err)
		}
		m, err := stats.StuartMaxwell(tables[g])
		return o.spread(m, err, "chi2", "df", "p")
	})
}

// twoReadings counts --first against --second by group.
func (j *job) twoReadings() (levels []string, tables [][][]int, err error) {
	if err := j.need("first", "second"); err != nil {
		return nil, nil, err
	}
	type key struct {
		group         int
		first, second string
	}
	var seen tallies[key]
	var values tallies[string]
	err = j.in.distinct([]column{{j.first, text}, {j.second, text}}, func(g, count int, c []cell) error {
		values.add(c[0].text, count)
		values.add(c[1].text, count)
		seen.add(key{g, c[0].text, c[1].text}, count)
		if err := j.level(j.first, c[0].text); err != nil {
			return err
		}
		return j.level(j.second, c[1].text)
	})
	if err != nil {
		return nil, nil, err
	}
	levels = j.categories(values.keys)
	at := places(levels)
	for range j.in.groups {
		tables = append(tables, square(len(levels), len(levels)))
	}
	for i, k := range seen.keys {
		tables[k.group][at[k.first]][at[k.second]] += seen.counts[i]
	}
	return levels, tables, nil
}

func (j *job) limits() error {
	if err := j.need("first", "second"); err != nil {
		return err
	}
	var first, second [][]float64
	var counts [][]int
	err := j.in.distinct([]column{{j.first, number}, {j.second, number}}, func(g, count int, c []cell) error {
		if g == len(first) {
			first, second, counts = append(first, nil), append(second, nil), append(counts, nil)
		}
		first[g], second[g], counts[g] = append(first[g], c[0].num), append(second[g], c[1].num), append(counts[g], count)
		if math.IsInf(c[0].num-c[1].num, 0) {
			return fmt.Errorf("%q: %s and %s are too far apart", j.first, c[0].text, c[1].text)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		l, err := stats.BlandAltmanCounted(first[g], second[g], counts[g], j.conf)
		return o.spread(l, err, "bias", "sd", "low", "high", "bias_low", "bias_high", "se_limit")
	})
}

func (j *job) heaping() error {
	if err := j.need("value"); err != nil {
		return err
	}
	var opt stats.HeapingOptions
	if j.span != "" {
		from, to, ok := strings.Cut(j.span, ":")
		a, errA := strconv.Atoi(from)
		b, errB := strconv.Atoi(to)
		if !ok || errA != nil || errB != nil || a > b {
			return usage("--range: %q: want whole numbers FROM:TO", j.span)
		}
		opt.Whipple = &stats.Range[int]{From: a, To: b}
		if a%10 == 0 && b%10 == 9 && b-a > 10 { // Myers reads whole decades only
			opt.Myers = opt.Whipple
		}
	}
	var counted []*stats.HeapingCount
	err := j.in.each([]column{{j.value, whole}}, func(g, count int, c []cell) error {
		if g == len(counted) {
			h, err := stats.NewHeapingCount(opt)
			if err != nil {
				return err
			}
			counted = append(counted, h)
		}
		counted[g].Add(c[0].int(), count)
		return nil
	})
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		h, err := counted[g].Measure()
		return o.spread(h, err, "digits", "chi2", "df", "p", "share50", "share100", "whipple_05", "myers")
	})
}

func (j *job) symmetry() error {
	if err := j.need("left", "right"); err != nil {
		return err
	}
	var rows [][]object
	err := j.in.each([]column{{j.left, number}, {j.right, number}}, func(g, count int, c []cell) error {
		if g == len(rows) {
			rows = append(rows, nil)
		}
		for i, name := range []string{j.left, j.right} {
			if err := distance(c[i], name); err != nil {
				return err
			}
		}
		si, err := stats.SymmetryIndex(c[0].num, c[1].num)
		if err != nil {
			return fmt.Errorf("%q: %w", j.left, err)
		}
		var row object
		row.set("si", si)
		if !si.OK {
			row.why = []string{"both sides are 0"}
		}
		if j.count != "" {
			row.set("count", count)
		}
		rows[g] = append(rows[g], row)
		return nil
	})
	if err != nil {
		return err
	}
	return j.inGroups(func(g int, o *object) error {
		// --by names the unit, which as a rule is one row.
		if len(j.by) > 0 && len(rows[g]) == 1 {
			row := rows[g][0]
			o.fields, o.why = append(o.fields, row.fields...), row.why
		}
		o.set("rows", rows[g])
		return nil
	})
}
