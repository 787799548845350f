package stats

import (
	"cmp"
	"math"
	"slices"
)

// Case is one pair looked at: whether it failed, and the probability of that
// under the baseline.
type Case[O cmp.Ordered] struct {
	Order    O
	Failed   bool
	Expected float64
}

// RiskCUSUM is a risk-adjusted chart: the value of each point is X_t, before
// the restart where it signals.
type RiskCUSUM[O cmp.Ordered] struct {
	Points      []CUSUMPoint[O] `json:"points"`
	FirstSignal *O              `json:"first_signal"`
}

// RiskAdjustedCUSUM watches for odds of failure that are odds times those
// expected (odds above 1: worse, below 1: better). For a case with expected
// probability p the weight is
//
//	W = log(odds/(1 − p + odds p)) if it failed, log(1/(1 − p + odds p)) if not
//	X_t = max(0, X_{t−1} + W_t), X_0 = 0
//
// and X_t ≥ h signals; the sum then starts again from 0. Cases of one order
// keep the order given. The run length between false alarms holds only while
// the expected probabilities do (RiskRunLength): recalibrate them, and start
// again after a change of rule set.
//
// Errors: ErrEmpty, ErrBadInput for an expected value outside 0–1, odds that
// are not above 0 or equal 1, or h not above 0.
//
// Source: Steiner SH, Cook RJ, Farewell VT, Treasure T (2000) Biostatistics
// 1:441–452.
func RiskAdjustedCUSUM[O cmp.Ordered](cases []Case[O], odds, h float64) (*RiskCUSUM[O], error) {
	if err := checkRisk(odds, h); err != nil {
		return nil, err
	}
	if len(cases) == 0 {
		return nil, ErrEmpty
	}
	sorted := slices.Clone(cases)
	slices.SortStableFunc(sorted, func(a, b Case[O]) int { return cmp.Compare(a.Order, b.Order) })
	chart := &RiskCUSUM[O]{Points: make([]CUSUMPoint[O], len(sorted))}
	x := 0.0
	for i, c := range sorted {
		if err := checkExpected(i, c.Expected); err != nil {
			return nil, err
		}
		failed, sound := riskWeights(c.Expected, odds)
		w := sound
		if c.Failed {
			w = failed
		}
		x = max(0, x+w)
		out := x >= h
		chart.Points[i] = CUSUMPoint[O]{c.Order, x, out}
		if out {
			if chart.FirstSignal == nil {
				chart.FirstSignal = &chart.Points[i].Order
			}
			x = 0
		}
	}
	return chart, nil
}

// riskWeights returns the log likelihood ratios of a failed and a sound case.
func riskWeights(p, odds float64) (failed, sound float64) {
	sound = -math.Log1p((odds - 1) * p)
	return math.Log(odds) + sound, sound
}

func checkRisk(odds, h float64) error {
	if !(odds > 0) || odds == 1 || math.IsInf(odds, 1) {
		return badInput("odds is %v, must be above 0 and not 1", odds)
	}
	if !(h > 0) || math.IsInf(h, 1) {
		return badInput("h is %v, must be above 0", h)
	}
	return nil
}

func checkExpected(i int, p float64) error {
	if !(p >= 0 && p <= 1) {
		return badInput("expected value %d is %v, must lie in 0–1", i+1, p)
	}
	return nil
}
