package stats

import "math"

// SymmetryIndex compares the left and the right shoe of a pair:
//
//	SI = 100 (right − left) / ((right + left)/2)
//
// in percent, signed: 0 is symmetric, positive is more on the right, −200 and
// 200 are one side only. Undefined where both are 0. (Some papers drop the
// sign.)
//
// Errors: ErrBadInput for a side below 0 or not a finite number.
//
// Source: Robinson RO, Herzog W, Nigg BM (1987) Journal of Manipulative and
// Physiological Therapeutics 10:172–176.
func SymmetryIndex(left, right float64) (Float, error) {
	if !(left >= 0 && right >= 0) || math.IsInf(left, 1) || math.IsInf(right, 1) {
		return None, badInput("left %v and right %v, must be 0 or more", left, right)
	}
	if left == 0 && right == 0 {
		return None, nil
	}
	// Halved before adding, so that no sum overflows.
	return Some(200 * ((right/2 - left/2) / (right/2 + left/2))), nil
}
