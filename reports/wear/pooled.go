package wear

import (
	"errors"
	"math"

	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// PooledLife answers how long the pairs asked about last, for others to be held against:
// see [LifeAgainst]. It is nil where fewer than [MinPairs] have an interval of life, or
// where all of them say the same.
func PooledLife(v *fleet.View, a Ask) (*stats.PooledLife, error) {
	a.By = nil
	groups, err := lives(v, a)
	if err != nil {
		return nil, err
	}
	intervals, pairs, err := intervalsOf(groups)
	if err != nil || pairs < MinPairs {
		return nil, err
	}
	v.Rest()
	pooled, err := stats.PoolLife(intervals, stats.SunScores)
	if errors.Is(err, stats.ErrNoSpread) {
		return nil, nil
	}
	return pooled, err
}

// LifeAgainst tests whether the pairs asked about, which are some of those of a pooled
// life, last as long as the others of it: the score test that tally life makes of two
// groups. It is nil where either has fewer than [MinPairs]. Ask the view that the pooled
// life is of.
func LifeAgainst(v *fleet.View, a Ask, pooled *stats.PooledLife) (*stats.ScoreResult, error) {
	a.By = nil
	groups, err := lives(v, a)
	if err != nil {
		return nil, err
	}
	intervals, pairs, err := intervalsOf(groups)
	if err != nil || pairs < MinPairs || pooled.N-pairs < MinPairs {
		return nil, err
	}
	return pooled.Against(intervals)
}

// intervalsOf puts the intervals of groups together, and counts the pairs.
func intervalsOf(groups []fleet.LifeGroup) ([]stats.Interval, int, error) {
	var lower, upper []float64
	var count []int
	pairs := 0
	for i := range groups {
		for _, s := range groups[i].Spans {
			to := math.Inf(1)
			if s.Upper.OK() {
				to = float64(s.Upper.Int())
			}
			lower, upper, count = append(lower, float64(s.Lower)), append(upper, to), append(count, s.N)
			pairs += s.N
		}
	}
	intervals, err := stats.Intervals(lower, upper, count)
	return intervals, pairs, err
}
