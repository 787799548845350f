package stats

import "math"

// riskStates is the finer of the two lattices of RiskRunLength.
const riskStates = 800

// RiskRunLength returns the run length, in cases, of RiskAdjustedCUSUM for
// cases drawn from the mix of expected probabilities given, when the true
// odds are trueOdds times those expected (1: in control). By Markov chain on
// a lattice of h/n, each weight split between its two neighbours so that the
// mean is kept, at n = 400 and 800, extrapolated. The length is not smooth
// in h: good to two digits, and quoted so.
//
// The in-control length holds only if the expected probabilities do.
//
// Errors: ErrEmpty, ErrBadInput as RiskAdjustedCUSUM and for trueOdds not
// above 0, ErrNotReached where the chart can never signal.
//
// Source: Steiner SH et al. (2000) Biostatistics 1:441–452, appendix.
func RiskRunLength(expected []float64, odds, h, trueOdds float64) (*RunLength, error) {
	if err := checkRisk(odds, h); err != nil {
		return nil, err
	}
	if !(trueOdds > 0) || math.IsInf(trueOdds, 1) {
		return nil, badInput("true odds is %v, must be above 0", trueOdds)
	}
	if len(expected) == 0 {
		return nil, ErrEmpty
	}
	for i, p := range expected {
		if err := checkExpected(i, p); err != nil {
			return nil, err
		}
	}
	coarse, err := riskLatticeLength(expected, odds, h, trueOdds, riskStates/2)
	if err != nil {
		return nil, err
	}
	fine, err := riskLatticeLength(expected, odds, h, trueOdds, riskStates)
	if err != nil {
		return nil, err
	}
	return oneSided(2*fine-coarse, nil)
}

func riskLatticeLength(expected []float64, odds, h, trueOdds float64, states int) (float64, error) {
	unit := h / float64(states)
	mass := map[int]float64{}
	move := func(w, p float64) {
		at := w / unit
		floor := math.Floor(at)
		// A jump past the whole chart is as good as one over its rim.
		down := min(max(int(math.Max(floor, -1e9)), -states), states)
		if math.Abs(floor) > float64(states) {
			mass[down] += p
			return
		}
		mass[down] += p * (1 - (at - floor))
		mass[down+1] += p * (at - floor)
	}
	each := 1 / float64(len(expected))
	for _, p := range expected {
		failed, sound := riskWeights(p, odds)
		truly := trueOdds * p / (1 - p + trueOdds*p)
		move(failed, truly*each)
		move(sound, (1-truly)*each)
	}
	steps := make([]latticeStep, 0, len(mass))
	for by := -states; by <= states+1; by++ {
		if p := mass[by]; p > 0 {
			steps = append(steps, latticeStep{by, p})
		}
	}
	return latticeRunLength(steps, states)
}
