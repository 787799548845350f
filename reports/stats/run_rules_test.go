package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func TestRunRulesReproduceTheirRunLengths(t *testing.T) {
	const source = "[M] Champ & Woodall 1987, Technometrics 29:393–399; [O] recomputed by exact Markov chain"
	for _, tt := range []struct {
		rules  RunRule
		want   string
		source string
	}{
		{BeyondThree, "370.398347", source},
		{BeyondThree | TwoOfThree, "225.438407", source},
		{BeyondThree | FourOfFive, "166.054517", source},
		{BeyondThree | EightInRow, "152.73006534", "closed form of the run of eight, mpmath 1.2.1"},
		{BeyondThree | TwoOfThree | FourOfFive, "132.892811", source},
		{BeyondThree | TwoOfThree | EightInRow, "122.050772", source},
		{BeyondThree | FourOfFive | EightInRow, "105.783065", source},
		{BeyondThree | TwoOfThree | FourOfFive | EightInRow, "91.750773", source},
		{BeyondThree | TwoOfThree | FourOfFive | EightInRow, "91.75", "[P2] one false alarm in 91.75, quoted of the same table"},
		{BeyondThree | NineInRow, "216.695544", source},
		{BeyondThree | TwoOfThree | FourOfFive | NineInRow, "109.049317", source},
	} {
		arl, err := RunRulesARL(tt.rules)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"run length", arl, tt.want, tt.source}})
	}
}

func TestRunSignalsFindEachRule(t *testing.T) {
	all := BeyondThree | TwoOfThree | FourOfFive | EightInRow | NineInRow
	for _, tt := range []struct {
		name string
		z    []float64
		want []RunSignal
	}{
		{"one point beyond three", []float64{0, -3.1, 0}, []RunSignal{{1, BeyondThree}}},
		{"a point on three is not beyond it", []float64{0, 3, 0}, nil},
		{"two of three beyond two", []float64{2.1, 0, 2.2, 0}, []RunSignal{{2, TwoOfThree}}},
		{"beyond two on both sides is no rule", []float64{2.1, 0, -2.2}, nil},
		{"four of five beyond one", []float64{1.1, 1.2, 0, 1.3, 1.4}, []RunSignal{{4, FourOfFive}}},
		{"eight, then nine in a row", slices.Repeat([]float64{-.5}, 9), []RunSignal{{7, EightInRow}, {8, EightInRow}, {8, NineInRow}}},
		{"a point on the centre ends a run", []float64{.1, .1, .1, .1, 0, .1, .1, .1, .1}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := RunSignals(tt.z, all)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(got, tt.want) {
				t.Errorf("got %v, want %v (Western Electric 1956, Nelson 1984)", got, tt.want)
			}
		})
	}
}

func TestRunSignalsHoldTheirRunLength(t *testing.T) {
	const seriesLong = 400_000
	rng := rand.New(rand.NewPCG(5, 0))
	runs, since := 0, 0
	var total float64
	var window []float64
	for range seriesLong {
		window = append(window, rng.NormFloat64())
		since++
		signals, err := RunSignals(window[max(0, len(window)-8):], ShareRules)
		if err != nil {
			t.Fatal(err)
		}
		if n := len(signals); n > 0 && signals[n-1].At == min(len(window), 8)-1 {
			runs, total, since, window = runs+1, total+float64(since), 0, window[:0]
		}
	}
	want, err := RunRulesARL(ShareRules)
	if err != nil {
		t.Fatal(err)
	}
	mean := total / float64(runs)
	if math.Abs(mean-want) > 4*want/math.Sqrt(float64(runs)) {
		t.Errorf("simulated run length %v over %d runs, want %v within four standard errors", mean, runs, want)
	}
}

func TestRunRulesRefuse(t *testing.T) {
	if _, err := RunRulesARL(EightInRow); !errors.Is(err, ErrBadInput) {
		t.Errorf("no limits: err = %v, want ErrBadInput", err)
	}
	if _, err := RunSignals([]float64{math.NaN()}, ShareRules); !errors.Is(err, ErrBadInput) {
		t.Errorf("not a number: err = %v, want ErrBadInput", err)
	}
}
