package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

func problemOf(x []Interval) *massProblem {
	count := make([]int, len(x))
	for i, v := range x {
		count[i] = v.N
	}
	var m massProblem
	m.load(newBounds(x), count)
	m.start()
	return &m
}

// withExactLives makes every third row an exact life.
func withExactLives(lower, upper []float64, seed uint64) []Interval {
	r := rand.New(rand.NewPCG(seed, 2))
	for i := 0; i < len(lower); i += 3 {
		lower[i] = 300 + 600*r.Float64()
		upper[i] = lower[i]
	}
	x, err := Intervals(lower, upper, nil)
	if err != nil {
		panic(err)
	}
	return x
}

func TestTwoMethodsReachTheSameMaximum(t *testing.T) {
	lower, upper := simulatedRows(1000, 0, 4)
	for name, x := range map[string][]Interval{
		"cosmesis":                       readPublished(t, "breast_cosmesis.csv").intervals("left", "right"),
		"1,000 pairs, 10 km grid":        simulatedIntervals(1000, 10, 1),
		"10,000 pairs, 10 km grid":       simulatedIntervals(10000, 10, 2),
		"1,000 pairs, unrounded":         simulatedIntervals(1000, 0, 3),
		"1,000 pairs, a third exact":     withExactLives(lower, upper, 1),
		"one interval":                   {{100, 200, 3}},
		"all worn at the first look":     {{0, 200, 3}, {0, 300, 1}},
		"all sound so far":               {{200, math.Inf(1), 3}, {300, math.Inf(1), 1}},
		"counts of very different sizes": {{0, 3, 1}, {1, 4, 1e6}, {2, 2, 1}, {2, 6, 100}, {3, 5, 1e6}, {5, math.Inf(1), 1}},
	} {
		t.Run(name, func(t *testing.T) {
			newton := problemOf(x)
			newton.newtonLimit = math.MaxInt
			gap, loglik, ok := newton.maximise()
			if !ok {
				t.Fatalf("Newton steps stopped at a gap of %v", gap)
			}
			minorant := problemOf(x)
			minorant.newtonLimit = 0
			gap, again, ok := minorant.maximise()
			if !ok {
				t.Fatalf("minorant rounds stopped at a gap of %v", gap)
			}
			if math.Abs(again-loglik) > 2*certifiedGap {
				t.Errorf("mean log-likelihood %.15g, by minorant rounds %.15g", loglik, again)
			}
		})
	}
}
