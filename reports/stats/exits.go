package stats

import (
	"cmp"
	"math"
	"slices"
)

// Exit is what happened at one distance: how many pairs failed there and how
// many were last seen sound there. A slice of exits, one for each distinct
// distance, holds all that the right-censored statistics need of a group.
type Exit struct {
	Time             float64
	Events, Censored int
}

// Exits counts right-censored rows on their distinct times. Row i stands for
// count[i] pairs (nil: one each) that failed at time[i] where event[i], and
// were sound so far there otherwise.
//
// Whole distances, the fleet's own, are counted in one pass; others are
// sorted. Errors: ErrBadInput for slices of different length, a time that is
// negative or not finite, or a negative count.
func Exits(time []float64, event []bool, count []int) ([]Exit, error) {
	by, err := ExitsBy(time, event, count, nil, 1)
	if err != nil {
		return nil, err
	}
	return by[0], nil
}

// ExitsBy is Exits for several groups in one pass: row i belongs to group[i],
// a number from 0 to groups − 1 (nil: all rows to group 0). A group without
// rows comes back empty.
func ExitsBy(time []float64, event []bool, count, group []int, groups int) ([][]Exit, error) {
	n := len(time)
	switch {
	case len(event) != n:
		return nil, badInput("%d times but %d events", n, len(event))
	case count != nil && len(count) != n:
		return nil, badInput("%d times but %d counts", n, len(count))
	case group != nil && len(group) != n:
		return nil, badInput("%d times but %d group numbers", n, len(group))
	case groups < min(n, 1): // no rows may have no groups
		return nil, badInput("groups is %d, must be 1 or more", groups)
	}
	whole, longest := true, 0.0
	for i, t := range time {
		if !(t >= 0 && t <= math.MaxFloat64) {
			return nil, badInput("time %d is %v, must be finite and 0 or more", i+1, t)
		}
		if count != nil && count[i] < 0 {
			return nil, badInput("count %d is %d, must be 0 or more", i+1, count[i])
		}
		if group != nil && (group[i] < 0 || group[i] >= groups) {
			return nil, badInput("group number %d is %d, must lie in 0–%d", i+1, group[i], groups-1)
		}
		whole = whole && t == math.Floor(t)
		longest = math.Max(longest, t)
	}
	if whole && countable(longest, groups, n) {
		return countExits(time, event, count, group, groups, int(longest)), nil
	}

	by := make([][]Exit, groups)
	for i, t := range time {
		g, c := 0, 1
		if group != nil {
			g = group[i]
		}
		if count != nil {
			c = count[i]
		}
		e := Exit{Time: t}
		if event[i] {
			e.Events = c
		} else {
			e.Censored = c
		}
		by[g] = append(by[g], e)
	}
	for g := range by {
		by[g] = mergeExits(by[g])
	}
	return by, nil
}

// countable says whether a table of one cell for each whole distance and
// group is a fair price for n rows.
func countable(longest float64, groups, n int) bool {
	const smallTable = 1 << 16
	cells := (longest + 1) * float64(groups)
	return cells <= math.Max(smallTable, float64(n))
}

// countExits counts whole times in a table with one cell for each distance
// up to longest and each group.
func countExits(time []float64, event []bool, count, group []int, groups, longest int) [][]Exit {
	type cell struct{ events, censored int }
	table := make([]cell, (longest+1)*groups)
	for i, t := range time {
		at, c := int(t), 1
		if group != nil {
			at += group[i] * (longest + 1)
		}
		if count != nil {
			c = count[i]
		}
		if event[i] {
			table[at].events += c
		} else {
			table[at].censored += c
		}
	}
	by := make([][]Exit, groups)
	for g := range by {
		for t, c := range table[g*(longest+1) : (g+1)*(longest+1)] {
			if c.events+c.censored > 0 {
				by[g] = append(by[g], Exit{Time: float64(t), Events: c.events, Censored: c.censored})
			}
		}
	}
	return by
}

// tidyExits returns x with one exit for each distinct time, in order, and
// without empty ones. It returns x itself where it is so already and never
// writes to it.
func tidyExits(x []Exit) ([]Exit, error) {
	tidy := true
	for i, e := range x {
		if !(e.Time >= 0 && e.Time <= math.MaxFloat64) {
			return nil, badInput("exit %d is at %v, must be finite and 0 or more", i+1, e.Time)
		}
		if e.Events < 0 || e.Censored < 0 {
			return nil, badInput("exit %d counts %d events and %d censored, must be 0 or more", i+1, e.Events, e.Censored)
		}
		tidy = tidy && e.Events+e.Censored > 0 && (i == 0 || x[i-1].Time < e.Time)
	}
	if tidy {
		return x, nil
	}
	return mergeExits(slices.Clone(x)), nil
}

// mergeExits sorts x in place, adds up equal times and drops empty exits.
func mergeExits(x []Exit) []Exit {
	slices.SortFunc(x, func(a, b Exit) int { return cmp.Compare(a.Time, b.Time) })
	merged := x[:0]
	for _, e := range x {
		switch last := len(merged) - 1; {
		case e.Events+e.Censored == 0:
		case last >= 0 && merged[last].Time == e.Time:
			merged[last].Events += e.Events
			merged[last].Censored += e.Censored
		default:
			merged = append(merged, e)
		}
	}
	return merged
}

// countPairs returns the pairs and the events in x.
func countPairs(x []Exit) (n, events int) {
	for _, e := range x {
		n += e.Events + e.Censored
		events += e.Events
	}
	return n, events
}
