package stats

import (
	"cmp"
	"math"
	"slices"
)

// Interval is a count of pairs whose life is known to lie in (Lower, Upper]:
// Lower is the last distance seen sound (0: worn at the first look), Upper
// the first seen worn (+Inf: sound so far). Lower = Upper is an exact life.
type Interval struct {
	Lower, Upper float64
	N            int
}

// Intervals counts interval observations on their distinct bounds, in order
// of Lower, then Upper. Row i stands for count[i] pairs (nil: one each).
//
// Errors: ErrBadInput for slices of different length, a lower bound that is
// negative or not finite, an upper bound below the lower, or a negative
// count.
func Intervals(lower, upper []float64, count []int) ([]Interval, error) {
	by, err := IntervalsBy(lower, upper, count, nil, 1)
	if err != nil {
		return nil, err
	}
	return by[0], nil
}

// IntervalsBy is Intervals for several groups in one pass: row i belongs to
// group[i], a number from 0 to groups − 1 (nil: all rows to group 0). A group
// without rows comes back empty.
func IntervalsBy(lower, upper []float64, count, group []int, groups int) ([][]Interval, error) {
	n := len(lower)
	switch {
	case len(upper) != n:
		return nil, badInput("%d lower bounds but %d upper", n, len(upper))
	case count != nil && len(count) != n:
		return nil, badInput("%d lower bounds but %d counts", n, len(count))
	case group != nil && len(group) != n:
		return nil, badInput("%d lower bounds but %d group numbers", n, len(group))
	case groups < min(n, 1): // no rows may have no groups
		return nil, badInput("groups is %d, must be 1 or more", groups)
	}
	by := make([][]Interval, groups)
	seen := make([]map[[2]float64]int32, groups)
	for g := range seen {
		seen[g] = map[[2]float64]int32{}
	}
	for i := range lower {
		x := Interval{lower[i], upper[i], 1}
		g := 0
		if count != nil {
			x.N = count[i]
		}
		if group != nil {
			g = group[i]
		}
		if g < 0 || g >= groups {
			return nil, badInput("group number %d is %d, must lie in 0–%d", i+1, g, groups-1)
		}
		if err := x.check(i); err != nil {
			return nil, err
		}
		key := [2]float64{x.Lower, x.Upper}
		at, ok := seen[g][key]
		if !ok {
			at = int32(len(by[g]))
			seen[g][key] = at
			by[g] = append(by[g], Interval{x.Lower, x.Upper, 0})
		}
		by[g][at].N += x.N
	}
	for g := range by {
		by[g] = mergeIntervals(by[g])
	}
	return by, nil
}

func (x Interval) check(i int) error {
	if !(x.Lower >= 0 && x.Lower <= math.MaxFloat64) {
		return badInput("lower bound %d is %v, must be finite and 0 or more", i+1, x.Lower)
	}
	if !(x.Upper >= x.Lower) {
		return badInput("upper bound %d is %v, must not lie below the lower, %v", i+1, x.Upper, x.Lower)
	}
	if x.N < 0 {
		return badInput("count %d is %d, must be 0 or more", i+1, x.N)
	}
	return nil
}

// tidyIntervals returns x with one entry for each distinct pair of bounds, in
// order, and without empty ones. It never writes to x.
func tidyIntervals(x []Interval) ([]Interval, error) {
	tidy := true
	for i, v := range x {
		if err := v.check(i); err != nil {
			return nil, err
		}
		tidy = tidy && v.N > 0 && (i == 0 || compareBounds(x[i-1], v) < 0)
	}
	if tidy {
		return x, nil
	}
	return mergeIntervals(slices.Clone(x)), nil
}

// mergeIntervals sorts x in place, adds up equal bounds and drops empty
// entries.
func mergeIntervals(x []Interval) []Interval {
	slices.SortFunc(x, compareBounds)
	merged := x[:0]
	for _, e := range x {
		switch last := len(merged) - 1; {
		case e.N == 0:
		case last >= 0 && compareBounds(merged[last], e) == 0:
			merged[last].N += e.N
		default:
			merged = append(merged, e)
		}
	}
	return merged
}

func compareBounds(a, b Interval) int {
	if c := cmp.Compare(a.Lower, b.Lower); c != 0 {
		return c
	}
	return cmp.Compare(a.Upper, b.Upper)
}
