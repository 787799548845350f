package study

import (
	"fmt"
	"math"
	"math/rand/v2"

	"solewright/reports/stats"
)

const (
	whyStep = "the estimate is a step function at rate n^(1/3), which the bootstrap does not follow (Sen, Banerjee & Woodroofe 2010), and mass inside a support interval counts at its end"
	// pageStep is what the pages do about it.
	pageStep     = "where most pairs were looked at once the band comes by likelihood ratio; ends of the curve are not drawn"
	whyInverse   = "the limit law of the likelihood ratio at 200 pairs (Banerjee & Wellner 2001)"
	pageInverse  = "the number of looks stands beside the curve"
	whySubsample = "the quantile of the absolute difference is on the safe side (Politis & Romano 1994)"
	whySchedules = "permutation takes the groups as looked at alike; here one is seen twice as often"
	pageSchedule = "where looks differ the page uses the test by observed information"
	whyScore     = "the variance is that of large samples"
)

// looks are the intervals and tests of lives seen between two looks.
func looks() []Scenario {
	return []Scenario{
		twoLooks(60).parametricStrays(0, 0.92),
		twoLooks(200).parametricStrays(0, 0.935),
		oneLook(200).strays(1, 0.93, 0.965, whyInverse, pageInverse).strays(2, 0.93, 0.965, whyInverse, pageInverse).parametricStrays(2, 0.93),
		oneLook(1000).strays(1, 0.93, 0.965, whyInverse, pageInverse).strays(2, 0.93, 0.965, whyInverse, pageInverse).parametricStrays(2, 0.94),
		scoreTests("2 groups of 50 pairs, looked at alike", 1).
			strays(1, 0.04, 0.06, whyScore, pageEvents).strays(2, 0.04, 0.06, whyScore, pageEvents).strays(3, 0.03, 0.09, whyScore, pageEvents),
		scoreTests("2 groups of 50 pairs, one looked at twice as often", 0.5).
			strays(1, 0.02, 0.2, whySchedules, pageSchedule).strays(2, 0.02, 0.2, whySchedules, pageSchedule).strays(3, 0.03, 0.09, whyScore, pageEvents),
	}
}

// bands are the intervals by resampling of lives seen between two looks.
func bands() []Scenario {
	return []Scenario{
		lifeBand(100).strays(1, 0.85, 0.98, whyStep, pageStep).strays(2, 0.85, 0.98, whyStep, pageStep),
	}
}

// once are the intervals by resampling of lives looked at once.
func once() []Scenario {
	return []Scenario{
		oneLookBand(200).strays(1, 0.94, 0.99, whyStep, pageStep),
		subsampled(200).strays(1, 0.94, 0.99, whySubsample, pageInverse).strays(2, 0.94, 0.99, whySubsample, pageInverse),
		subsampled(1000).strays(1, 0.94, 0.99, whySubsample, pageInverse).strays(2, 0.94, 0.99, whySubsample, pageInverse),
	}
}

// schedule draws distances to look at, whatever the wear: first between 100 and
// 500 km, then every 150 to 350 km, three times; a gap below 1 makes them that
// much closer and as many more.
func schedule(r *rand.Rand, gap float64) []float64 {
	at := between(r, 100, 500) * gap
	looks := []float64{at}
	for range int(math.Round(3/gap)) - 1 {
		at += between(r, 150, 350) * gap
		looks = append(looks, at)
	}
	return looks
}

// seenPairs draws lives and looks at them by schedule.
func seenPairs(r *rand.Rand, n int, gap float64) (lower, upper []float64) {
	lower, upper = make([]float64, n), make([]float64, n)
	for i := range lower {
		lower[i], upper[i] = look(life.draw(r), schedule(r, gap))
	}
	return lower, upper
}

func twoLooks(n int) Scenario {
	return Scenario{
		Part: "looks", Data: fmt.Sprintf("%d pairs looked at up to three times", n), Claims: weibullClaims(),
		Try: func(r *rand.Rand) ([]Outcome, error) {
			lower, upper := seenPairs(r, n, 1)
			return weibullOutcomes(lower, upper, nil)
		},
	}
}

func lifeBand(n int) Scenario {
	return Scenario{
		Part: "bands", Data: fmt.Sprintf("%d pairs looked at up to three times; 200 resamples", n),
		Claims: []Claim{covers(fmt.Sprintf("NPMLE at %d km, bootstrap", askEarly)), covers(fmt.Sprintf("NPMLE at %d km, bootstrap", askLate))},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			lower, upper := seenPairs(r, n, 1)
			x, err := stats.Intervals(lower, upper, nil)
			if err != nil {
				return nil, err
			}
			band, err := stats.LifeBand(x, []float64{askEarly, askLate}, 200, r.Uint64(), Conf)
			if err != nil {
				return none(2, err)
			}
			return []Outcome{
				coveredBy(life.sound(askEarly), band[0].Low, band[0].High), coveredBy(life.sound(askLate), band[1].Low, band[1].High),
			}, nil
		},
	}
}

// status draws n pairs looked at once, evenly from 100 to 1,300 km, in whole
// tens.
func status(r *rand.Rand, n int) (at []float64, worn []bool) {
	at, worn = make([]float64, n), make([]bool, n)
	for i := range at {
		at[i] = km10(between(r, 100, 1300))
		worn[i] = life.draw(r) <= at[i]
	}
	return at, worn
}

func oneLook(n int) Scenario {
	claims := []Claim{
		covers(fmt.Sprintf("current status at %d km, likelihood ratio", askEarly)),
		covers(fmt.Sprintf("current status at %d km, likelihood ratio", askLate)),
	}
	return Scenario{
		Part: "looks", Data: fmt.Sprintf("%d pairs looked at once", n), Claims: append(claims, weibullClaims()...),
		Try: func(r *rand.Rand) ([]Outcome, error) {
			at, worn := status(r, n)
			x, err := stats.Exits(at, worn, nil)
			if err != nil {
				return nil, err
			}
			limits, err := stats.CurrentStatusLimits(x, []float64{askEarly, askLate}, Conf)
			if err != nil {
				return none(2+9, err)
			}
			out := []Outcome{
				coveredBy(1-life.sound(askEarly), limits[0].Low, limits[0].High), coveredBy(1-life.sound(askLate), limits[1].Low, limits[1].High),
			}
			lower, upper, count := asLooks(at, worn)
			fitted, err := weibullOutcomes(lower, upper, count)
			return append(out, fitted...), err
		},
	}
}

// asLooks says the same of looks in intervals.
func asLooks(at []float64, worn []bool) (lower, upper []float64, count []int) {
	lower, upper = make([]float64, len(at)), make([]float64, len(at))
	for i, km := range at {
		if worn[i] {
			upper[i] = km
		} else {
			lower[i], upper[i] = km, math.Inf(1)
		}
	}
	return lower, upper, nil
}

func oneLookBand(n int) Scenario {
	return Scenario{
		Part: "once", Data: fmt.Sprintf("%d pairs looked at once; 200 resamples", n),
		Claims: []Claim{covers(fmt.Sprintf("NPMLE at %d km, bootstrap", askEarly))},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			x, err := stats.Intervals(asLooks(status(r, n)))
			if err != nil {
				return nil, err
			}
			band, err := stats.LifeBand(x, []float64{askEarly}, 200, r.Uint64(), Conf)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{coveredBy(life.sound(askEarly), band[0].Low, band[0].High)}, nil
		},
	}
}

func subsampled(n int) Scenario {
	return Scenario{
		Part: "once", Data: fmt.Sprintf("%d pairs looked at once; 500 subsamples", n),
		Claims: []Claim{
			covers(fmt.Sprintf("current status at %d km, symmetric subsampling", askEarly)),
			covers(fmt.Sprintf("current status at %d km, symmetric subsampling", askLate)),
		},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			at, worn := status(r, n)
			x, err := stats.Exits(at, worn, nil)
			if err != nil {
				return nil, err
			}
			limits, err := stats.CurrentStatusSubsampled(x, []float64{askEarly, askLate}, 500, r.Uint64(), Conf)
			if err != nil {
				return none(2, err)
			}
			return []Outcome{
				coveredBy(1-life.sound(askEarly), limits[0].Low, limits[0].High), coveredBy(1-life.sound(askLate), limits[1].Low, limits[1].High),
			}, nil
		},
	}
}

func scoreTests(data string, gap float64) Scenario {
	return Scenario{
		Part: "looks", Data: data,
		Claims: []Claim{rejects("interval log-rank (Sun), permutation"), rejects("Finkelstein score, permutation"), rejects("Finkelstein score, information")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			groups := make([][]stats.Interval, 2)
			for g, gap := range []float64{1, gap} {
				lower, upper := seenPairs(r, 50, gap)
				var err error
				if groups[g], err = stats.Intervals(lower, upper, nil); err != nil {
					return nil, err
				}
			}
			out := make([]Outcome, 3)
			for i, scores := range []stats.Scores{stats.SunScores, stats.FinkelsteinScores} {
				t, err := stats.ScoreTest(groups, scores)
				if err != nil {
					return none(3, err)
				}
				out[i] = rejected(t.P)
			}
			if t, err := stats.InformationScoreTest(groups); err == nil {
				out[2] = rejected(t.P)
			} else {
				out[2].None = true
			}
			return out, nil
		},
	}
}
