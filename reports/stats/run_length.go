package stats

import "math"

// RunLength is the average number of points before a chart signals, from a
// sum of 0.
type RunLength struct {
	// ARLOne is that of the one-sided chart, ARLTwo that of both sides
	// together; undefined for a chart that has one side only.
	ARLOne float64 `json:"arl_one"`
	ARLTwo Float   `json:"arl_two"`
	Why    string  `json:"why,omitempty"`
}

const oneSidedWhy = "the chart watches one side only"

// oneSided wraps the run length of a chart that has one side.
func oneSided(arl float64, err error) (*RunLength, error) {
	if err != nil {
		return nil, err
	}
	return &RunLength{ARLOne: arl, Why: oneSidedWhy}, nil
}

// latticeStep moves a sum by whole lattice units with a probability.
type latticeStep struct {
	by int
	p  float64
}

// latticeRunLength returns the average number of steps a sum on the lattice
// 0 … states−1 takes from 0 until it reaches states or beyond, where a move
// below 0 ends at 0. It solves (I − Q) L = 1 by banded elimination: Q is
// substochastic, so no pivoting is needed. Cost: states × longest fall ×
// longest rise.
func latticeRunLength(steps []latticeStep, states int) (float64, error) {
	fall, rise := 0, 0
	up := false
	for _, s := range steps {
		if s.p > 0 {
			fall, rise = max(fall, -s.by), max(rise, s.by)
			up = up || s.by > 0
		}
	}
	if !up {
		return 0, ErrNotReached.because("the sum never rises, so the chart never signals")
	}
	rise = min(rise, states-1)
	fall = min(fall, states-1)
	width := fall + rise + 1
	// band[i][fall + j − i] holds entry (i, j).
	band := make([][]float64, states)
	flat := make([]float64, states*width)
	left := make([]float64, states)
	for i := range band {
		band[i] = flat[i*width : (i+1)*width]
		band[i][fall] = 1
		left[i] = 1
		for _, s := range steps {
			if j := max(0, i+s.by); j < states {
				band[i][fall+j-i] -= s.p
			}
		}
	}
	for i := range band {
		pivot := band[i][fall]
		if !(pivot > 0) {
			return 0, ErrNotReached.because("the run length is beyond what can be computed")
		}
		reach := min(rise, states-1-i)
		for r := i + 1; r <= min(i+fall, states-1); r++ {
			at := fall + i - r
			factor := band[r][at] / pivot
			if factor == 0 {
				continue
			}
			row, base := band[r][at:at+reach+1], band[i][fall:fall+reach+1]
			for c := range row {
				row[c] -= factor * base[c]
			}
			left[r] -= factor * left[i]
		}
	}
	for i := states - 1; i >= 0; i-- {
		for c := 1; c <= min(rise, states-1-i); c++ {
			left[i] -= band[i][fall+c] * left[i+c]
		}
		left[i] /= band[i][fall]
	}
	if !(left[0] > 0) || math.IsInf(left[0], 0) {
		return 0, ErrNotReached.because("the run length is beyond what can be computed")
	}
	return left[0], nil
}
